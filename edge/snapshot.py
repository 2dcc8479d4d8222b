"""What readers of a station get: an immutable picture, already in the shapes that are published.

Times are RFC 3339 UTC with milliseconds, or null; names tell the units. Beside a text stands what it says without words
(edge/domain/messages.py): `msg` beside the main text, `<name>_msg` beside another, `msgs` beside several; null where there is no text.

These shapes are described to others (`warmwell schema mqtt`): a docstring's first paragraph and the remark behind a key stand there as
they stand here.
"""

# No postponed annotations here: which keys are required is asked at run time, and texts wouldn't tell.

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NotRequired, TypeAlias, TypedDict

from edge.domain.dates import Dates
from edge.domain.entries import Now
from edge.domain.entry_bodies import MessageBody
from edge.domain.records.commissioning import Live, Standing
from edge.domain.settings import Settings
from edge.domain.vocabulary import (
    AlarmState,
    ConditionState,
    DisplayWord,
    PhaseWord,
    Priority,
    QualityWord,
    ReasonWord,
    RoleWord,
    Time,
    UnitWord,
    VerdictWord,
)
from edge.domain.words.units import Units

#: items of the commissioning list as they stand, and what their numbers are now
Items: TypeAlias = tuple[tuple[Standing, Live], ...]


class Evidence(TypedDict):
    """What a condition rests on, and how old it is."""

    seq: int | None  # of the entry; null while what it tells is under way
    at: Time
    age_s: int
    probability: NotRequired[float]


class ConditionPicture(TypedDict):
    """One condition of READY. Only `met` and `by_eye` (met by a reading that a person entered) are fine."""

    id: str  # what stands behind ":" names a filter, an outlet, a duty or a basin of the station file
    state: ConditionState
    text: str  # for people, in the station's units
    since: Time | None
    expected_at: Time | None  # when it mends itself; null where it doesn't, or that can't be told
    evidence: Evidence | None
    msg: MessageBody
    value: float | None  # what was measured, in `unit`; null where nothing was, or it isn't known
    limit: float | None  # what `value` is held against; null where the text names none
    unit: UnitWord | None
    probability: float | None  # that what is asked for is truly so; null where the points aren't calibrated


class BasinVerdict(TypedDict):
    """May one of several basins start? It rests on what all share and on what is its own."""

    basin: str  # id in the station file
    verdict: VerdictWord
    display: DisplayWord
    expected_at: Time | None
    earliest: Time | None
    latest: Time | None
    waits_for: list[str]
    waits_for_msgs: list[MessageBody]
    conditions: list[str]  # ids of those that it rests on


class VerdictPicture(TypedDict):
    """May the station start? `not_ready`: a condition is unmet; `unknown`: none is unmet, one is unknown. Both mean: don't start.
    It is about the surroundings alone: the maker's instructions decide the rest."""

    at: Time
    trusted: bool  # the station's clock
    site: str
    station: str
    verdict: VerdictWord
    display: DisplayWord  # the word for people: in_use and reheating where nobody has to do anything
    phase: PhaseWord
    expected_at: Time | None  # of READY, where the conditions that lack mend themselves
    earliest: Time | None  # 90 % interval
    latest: Time | None
    waits_for: list[str]  # what people must do, the most urgent first
    conditions: list[ConditionPicture]
    note: str  # to be shown beside the verdict
    waits_for_msgs: list[MessageBody]
    note_msg: MessageBody
    verdicts: NotRequired[list[BasinVerdict]]  # of each basin, in the station file's order, where there are several
    unsaved: NotRequired[int]  # entries that are not on disk yet


class ShownValue(TypedDict):
    """A value in the unit of the station file; of a contact its word."""

    value: float | str
    unit: str  # as the station file writes it; "" of a contact


class CorrectionPicture(TypedDict):
    """The calibration in force: it reads gain * raw + offset."""

    gain: float
    offset: float
    due_at: Time
    at: Time
    u_parts: dict[str, float]


class PointPicture(TypedDict):
    """A point. What is not known is never fine: a value that may not be shown as a number is null, and `reason` says why."""

    id: str
    role: RoleWord
    of: str | None  # the outlet, filter or vessel that it belongs to
    value: float | None  # in `unit`; of a contact 1.0 (tripped, wet, on) or 0.0
    unit: UnitWord
    quality: QualityWord
    reason: ReasonWord | None  # null where the quality is good
    text: str  # the reason, for people
    advice: str  # what to do about it
    detail: str
    at: Time | None  # of the last reading that may be relied on
    age_s: float | None
    stale_after_s: float
    u: float | None  # standard uncertainty, in `unit`
    calibrated: bool
    correction: CorrectionPicture | None
    uncorrected: float | None  # before the calibration
    errors: int  # bad readings since the start
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

    id: str  # what stands behind ":" names an outlet, a filter, a point, a bus or a duty; behind duty_due:daily_test: a basin
    state: AlarmState
    active: bool  # its cause is there now
    announced: bool  # nobody has answered it yet
    priority: Priority
    since: Time | None
    since_at_latest: bool  # it may have begun before: nothing was known of it until then
    point: str | None
    value: float | None  # the reading that decided it
    unit: str | None  # of `value` and `limit`
    limit: float | None
    cause: str
    consequence: str
    response: str  # what to do
    respond_within_s: int | None
    latching: bool  # it stays until somebody resets it
    acknowledged_by: str | None
    acknowledged_at: Time | None
    consequence_of: str | None  # id of the alarm that explains this one
    first_out: bool  # nothing else waited for an answer when it came
    crossings: int  # how often its condition came while it stands, in this run of the station
    again: int  # nobody has answered: so often announced again
    escalated: bool  # nobody has answered for so long that its priority has risen
    aside_by: str | None  # who shelved it or took it out of service, why, and until when
    aside_why: str | None
    aside_until: Time | None
    seq: int | None  # of the entry that told its last change
    at: Time | None  # of that change
    msg: MessageBody | None
    consequence_msg: MessageBody
    response_msg: MessageBody
    duty: NotRequired[DutyPicture]


class EstimatePicture(TypedDict):
    """What is computed rather than read, with its 90 % interval; `value` is null where nothing can be said, `why` says so."""

    at: Time
    of: str
    value: float | str | None  # in `unit`; of the unit "time" it is text, RFC 3339
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
    settings: Settings | None = None  # by which it was judged; None: nothing is known of them yet
    units: Units | None = None  # in which the station's people read; None: nothing is known of it yet
    commissioning: Items = ()  # each item of the list, and what its number is now
