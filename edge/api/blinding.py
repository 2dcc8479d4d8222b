"""What leaves the station for somebody who helps, without secrets and without people: values that are read there, never the store itself.

A person becomes `person-1`, and so in all that is handed out at one time; an address that somebody came from becomes `address-1`. What
people typed is left out, as nobody knows what stands in it. Texts beside a message are said anew from the message, once its people are
gone: it knows which of its values is somebody. A text without one is left out where people may stand in it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from edge.api.viewers import said_anew
from edge.domain.messages import of_kept
from edge.domain.records.forms import COMMON, FORMS, KEPT, SIGNED
from edge.domain.words.saying import Words

LEFT_OUT: Final = "(left out)"
#: keys whose value is somebody
_SOMEBODY: Final = frozenset({"by", "released_by", "acknowledged_by", "aside_by"})
#: values of messages that are somebody
_SOMEBODY_SAID: Final = frozenset({"by", "who", "signed", "quoted"})
#: keys of records that hold an id of the station file, or a time: all other lines and notes were typed by somebody
_IDS: Final = frozenset(
    {"record", "at", "alarm", "point", "filter", "basin", "outlet", "of", "duty", "item", "role", "unit"}
)
#: keys of a station file whose values are secrets, lead to them, or say where people and machines are told
_SECRET: Final = re.compile(r"(?i).*(password|secret|token|passphrase|_file)|username|syslog|key|url|urls")
#: an address with a scheme may hold a password, or be one
_ADDRESS: Final = re.compile(r"\b[A-Za-z][A-Za-z0-9+.-]*://\S+")
#: a shorter name isn't looked for within other texts
_SHORTEST: Final = 3
#: kinds of entries whose texts may name people
_OF_PEOPLE: Final = frozenset({"alarm", "verdict", "record"})
_TEXTS: Final = ("cause", "why", "why_not", "text")


class Blinding:
    """Blinds all that belongs together. `people`: names that are known from elsewhere."""

    def __init__(self, people: Iterable[str] = ()) -> None:
        self._people: dict[str, str] = {}
        self._addresses: dict[str, str] = {}
        self._pattern: re.Pattern[str] | None = None
        for name in people:
            self._person(name)

    def learn(self, kind: str, body: Mapping[str, Any]) -> None:
        """Note who stands in an entry, before anything is blinded: they may be named in others."""
        for key in _SOMEBODY & set(body):
            self._person(body[key])
        if kind == "access":
            self._person(body.get("name"))
        for member, form in body.items():
            if member.endswith(("msg", "msgs")):
                self._learn_message(form)

    def _learn_message(self, form: Any) -> None:
        if isinstance(form, list):
            for one in form:
                self._learn_message(one)
        elif isinstance(form, Mapping):
            values = form.get("values")
            for key, value in (values if isinstance(values, Mapping) else {}).items():
                if key in _SOMEBODY_SAID and isinstance(value, Mapping) and isinstance(value.get("value"), str):
                    self._person(value["value"].strip("'"))
                elif isinstance(value, Mapping):
                    self._learn_message(value.get("value"))
            if "value" in form:
                self._learn_message(form["value"])

    # -- blinded

    def entry(self, shape: Mapping[str, Any], words: Words) -> dict[str, Any]:
        """An entry of the journal as it may be handed out, said in these words."""
        kind, body = str(shape["kind"]), shape["body"]
        if kind == "settings":
            return {**shape, "body": {**body, "document": self.settings(body.get("document"))}}
        if kind == "record":
            body = self._record(body)
        elif kind == "alarm" and "by" in body and "why" in body:
            body = {**body, "why": LEFT_OUT}
        elif kind == "access":
            body = self._access(body)
        forms = {member: self._message(form) for member, form in body.items() if member.endswith(("msg", "msgs"))}
        body = {**body, **forms}
        anew = {name: said for name, said, _ in said_anew(body, lambda form, kept: words.text(of_kept(form, kept)))}
        if kind in _OF_PEOPLE:
            anew |= {name: LEFT_OUT for name in _TEXTS if body.get(name) and name not in anew}
        return {**shape, "body": self.value({**body, **anew})}

    def settings(self, document: Any) -> Any:
        """A station file's document without what is secret, or leads to it."""
        if isinstance(document, Mapping):
            return {
                key: LEFT_OUT if _SECRET.fullmatch(str(key)) else self.settings(value)
                for key, value in document.items()
            }
        if isinstance(document, list):
            return [self.settings(one) for one in document]
        return self._text(document) if isinstance(document, str) else document

    def value(self, value: Any, key: str = "") -> Any:
        """Any value: who stands in it becomes a pseudonym, addresses are left out."""
        if isinstance(value, Mapping):
            return {name: self.value(one, str(name)) for name, one in value.items()}
        if isinstance(value, list | tuple):
            return [self.value(one, key) for one in value]
        if not isinstance(value, str):
            return value
        if key in _SOMEBODY:
            return self._person(value)
        return value if key in _IDS and "://" not in value else self._text(value)

    def _record(self, body: Mapping[str, Any]) -> dict[str, Any]:
        form = FORMS.get(str(body.get("record")))
        keys = {**COMMON, **({} if form is None else form.keys)}
        made = KEPT | SIGNED | (frozenset() if form is None else form.made)
        found: dict[str, Any] = {}
        for key, value in body.items():
            is_typed = key not in keys or (keys[key].kind in ("line", "note") and not keys[key].words)
            keeps = key in made or key in _IDS or key in _SOMEBODY or value is None
            found[key] = LEFT_OUT if is_typed and not keeps else value
        return found

    def _access(self, body: Mapping[str, Any]) -> dict[str, Any]:
        found = dict(body)
        if "name" in found:
            found["name"] = self._person(found["name"])
        if "address" in found:
            found["address"] = self._addresses.setdefault(str(found["address"]), f"address-{len(self._addresses) + 1}")
        return found

    def _message(self, form: Any) -> Any:
        """A message's form, or several: whoever stands in it, and what was typed beside, are gone."""
        if isinstance(form, list):
            return [self._message(one) for one in form]
        if not isinstance(form, Mapping):
            return form
        if "values" not in form:
            return {key: self._message(one) for key, one in form.items()}
        values = form["values"] if isinstance(form["values"], Mapping) else {}
        return {**form, "values": {key: self._value(key, value, "by" in values) for key, value in values.items()}}

    def _value(self, key: str, value: Any, beside_somebody: bool) -> Any:
        if not isinstance(value, Mapping):
            return value
        held = value.get("value")
        if isinstance(held, list | Mapping):
            return {**value, "value": self._message(held)}
        if key in _SOMEBODY_SAID and isinstance(held, str):
            return {**value, "value": self._person(held.strip("'"))}
        return {**value, "value": LEFT_OUT} if beside_somebody and value.get("kind") == "text" else value

    def _person(self, name: Any) -> str:
        if not isinstance(name, str) or not name.strip():
            return ""
        folded = " ".join(name.split()).casefold()
        if folded in self._people.values():
            return folded  # it is one already
        if folded not in self._people:
            self._people[folded] = f"person-{len(self._people) + 1}"
            self._pattern = None
        return self._people[folded]

    def _text(self, text: str) -> str:
        if self._pattern is None:
            names = sorted((name for name in self._people if len(name) >= _SHORTEST), key=len, reverse=True)
            spelt = (r"\s+".join(re.escape(piece) for piece in name.split()) for name in names)
            self._pattern = re.compile(rf"(?<!\w)(?:{'|'.join(spelt) or '(?!)'})(?!\w)", re.IGNORECASE)
        blind = self._pattern.sub(lambda found: self._person(found[0]), text)
        return _ADDRESS.sub(LEFT_OUT, blind)
