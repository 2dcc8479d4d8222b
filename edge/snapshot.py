"""What readers of a station get: an immutable picture, already in the shapes that are published.

Times are RFC 3339 UTC with milliseconds, or null; names tell the units. Beside a text stands what it says without words
(edge/domain/messages.py): `msg` beside the main text, `<name>_msg` beside another, `msgs` beside several; null where there is no text.
"""

# No postponed annotations here: which keys are required is asked at run time, and texts wouldn't tell.

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NotRequired, TypedDict

from edge.domain.dates import Dates
from edge.domain.entries import Now
from edge.domain.entry_bodies import MessageBody


class DrawHistory(TypedDict):
    """What a condition rests on: an entry (null while it is under way), and how old it is."""

    seq: int | None
    at: str
    age_s: int
    probability: NotRequired[float]


class ConditionPicture(TypedDict):
    """One condition. `state`: met, unmet, unknown, by_eye."""

    id: str
    state: str
    text: str
    since: str | None
    expected_at: str | None  # of one that mends itself
    evidence: DrawHistory | None
    msg: MessageBody


class VerdictPicture(TypedDict):
    """The verdict: ready, not_ready, unknown."""

    at: str
    trusted: bool
    site: str
    station: str
    verdict: str
    phase: str
    expected_at: str | None
    earliest: str | None  # 90 % interval
    latest: str | None
    waits_for: list[str]  # what people must do
    conditions: list[ConditionPicture]
    note: str
    waits_for_msgs: list[MessageBody]
    note_msg: MessageBody
    unsaved: NotRequired[int]  # entries that are not on disk yet
    display: NotRequired[str]  # the word for people


class ShownValue(TypedDict):
    """A value in the unit of the station file; of a contact its word."""

    value: float | str
    unit: str


class CorrectionPicture(TypedDict):
    """The calibration in force: it reads gain * raw + offset."""

    gain: float
    offset: float
    due_at: str
    at: str
    u_parts: dict[str, float]


class PointPicture(TypedDict):
    """A point. `value` is null unless it may be shown as a number."""

    id: str
    role: str
    of: str | None
    value: float | None
    unit: str
    quality: str
    reason: str | None
    text: str
    advice: str
    detail: str
    at: str | None
    age_s: float | None
    stale_after_s: float
    u: float | None
    calibrated: bool
    correction: CorrectionPicture | None
    uncorrected: float | None
    errors: int
    shown: ShownValue | None
    msg: MessageBody | None
    advice_msg: MessageBody | None
    by: NotRequired[str | None]  # a person entered it
    seq: NotRequired[int | None]


class DutyPicture(TypedDict):
    """Beside the alarm of something that people do: what was done last, by whom, and when it is due again."""

    done_at: str | None
    by: str | None
    seq: int | None  # of its record
    due_at: str | None
    text: str
    msg: MessageBody


class AlarmPicture(TypedDict):
    """An alarm that this station can raise, also when normal."""

    id: str
    state: str
    active: bool
    announced: bool
    priority: str
    since: str | None
    point: str | None
    value: float | None
    unit: str | None
    limit: float | None
    cause: str
    consequence: str
    response: str
    respond_within_s: int | None
    acknowledged_by: str | None
    acknowledged_at: str | None
    consequence_of: str | None
    seq: int | None
    at: str | None
    msg: MessageBody | None
    consequence_msg: MessageBody
    response_msg: MessageBody
    duty: NotRequired[DutyPicture]


class EstimatePicture(TypedDict):
    """What is computed rather than read, with its 90 % interval; `value` is null where nothing can be said, `why` says so."""

    at: str
    of: str
    value: float | str | None  # a time is text
    low: float | str | None
    high: float | str | None
    unit: str
    why: str
    msg: MessageBody | None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One picture of one station; points and alarms by id, estimates by name. Readers must not change what is in it."""

    version: int  # grows by one with each picture
    seq: int  # highest entry of the journal that it takes into account
    now: Now
    verdict: VerdictPicture
    points: Mapping[str, PointPicture] = field(default_factory=dict)
    alarms: Mapping[str, AlarmPicture] = field(default_factory=dict)
    estimates: Mapping[str, EstimatePicture] = field(default_factory=dict)
    dates: Dates = field(default_factory=Dates)  # of the journal's entries, as known now
    seen: Mapping[str, Mapping[str, str]] = field(
        default_factory=dict
    )  # by bus, what it turned out to be at the last start
