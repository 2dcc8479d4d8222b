"""The languages that a station can be asked in, by their tags (RFC 5646); the first is the station's own."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from edge.domain.words.english import EN
from edge.domain.words.french import FR
from edge.domain.words.german import DE
from edge.domain.words.language import Language
from edge.domain.words.spanish import ES

LANGUAGES: Final[Mapping[str, Language]] = MappingProxyType({language.code: language for language in (EN, DE, FR, ES)})
