"""Closed sets of words and forms of text in what is published, as marks on `str`: who describes a shape to others finds them there.

Which words are in a set stands where they mean something (a state in alarms/states.py, a quality in readings.py); edge/mqtt/schema.py
brings both together.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple, TypeAlias


class OneOf(NamedTuple):
    """Marks a text as one of a set, or as having a form, by the name of it."""

    name: str


#: RFC 3339, UTC, with milliseconds
Time: TypeAlias = Annotated[str, OneOf("time")]
Digest: TypeAlias = Annotated[str, OneOf("digest")]
JournalMark: TypeAlias = Annotated[str, OneOf("journal_mark")]
NodeWord: TypeAlias = Annotated[str, OneOf("node_state")]
VerdictWord: TypeAlias = Annotated[str, OneOf("verdict_word")]
DisplayWord: TypeAlias = Annotated[str, OneOf("display_word")]
PhaseWord: TypeAlias = Annotated[str, OneOf("phase")]
ConditionState: TypeAlias = Annotated[str, OneOf("condition_state")]
AlarmState: TypeAlias = Annotated[str, OneOf("alarm_state")]
Priority: TypeAlias = Annotated[str, OneOf("priority")]
QualityWord: TypeAlias = Annotated[str, OneOf("quality")]
ReasonWord: TypeAlias = Annotated[str, OneOf("reason")]
RoleWord: TypeAlias = Annotated[str, OneOf("role")]
UnitWord: TypeAlias = Annotated[str, OneOf("unit")]
EntryKind: TypeAlias = Annotated[str, OneOf("entry_kind")]
RecordKind: TypeAlias = Annotated[str, OneOf("record")]
