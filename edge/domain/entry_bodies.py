"""The shape of each kind of entry's body, as it is written today.

Entries are kept for good, so these shapes only grow. A key that is NotRequired is left out where it has nothing to say; a reader asks by
`get` too for those that earlier versions didn't write, each named under "later". A body is plain JSON; the names tell the units
(_c, _k, _kpa, _l_min, _l, _s, _ms), times are RFC 3339 in UTC.

Every entry goes to whoever reads the journal: MQTT, the API and its stream, exports, replays. "Read by" names who reads the body.

These shapes are described to others (`warmwell schema mqtt`): a docstring's first paragraph and the remark behind a key stand there as
they stand here.
"""

# No postponed annotations here: which keys are required is asked at run time, and texts wouldn't tell.

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final, Literal, NotRequired, TypeAlias, TypedDict, cast

from edge.domain.record_bodies import MessageBody as MessageBody  # others take it from here
from edge.domain.record_bodies import RecordBody
from edge.domain.vocabulary import (
    AlarmState,
    ConditionState,
    Digest,
    EntryKind,
    PhaseWord,
    Priority,
    Time,
    VerdictWord,
)

#: what an `access` entry is about: a code that was wrong, an address that is locked out; a write without a sign-in, in a session that is
#: over, without a page's proof, beyond a role or a token's scope, in another's name; the file of people that can't be read; and what was
#: done to people on the board
AccessWord: TypeAlias = Literal[
    "signed_in", "signed_out", "wrong_code", "locked", "not_signed_in", "session_over", "no_proof", "role", "scope", "other_name",
    "unreadable", "readable", "person_added", "person_removed", "code_renewed", "sessions_ended", "token_made", "token_revoked",
    "first_offered", "foreign_host", "foreign_origin",
]  # fmt: skip

_AlarmStates = TypedDict("_AlarmStates", {"from": AlarmState, "to": AlarmState})
_Verdicts = TypedDict("_Verdicts", {"from": VerdictWord | None, "to": VerdictWord})
_Phases = TypedDict("_Phases", {"from": PhaseWord, "to": PhaseWord})
_Times = TypedDict("_Times", {"from": Time, "to": Time})
_Missing = TypedDict("_Missing", {"from": int, "to": int}, total=False)


class StartedBody(TypedDict):
    """The station began to be watched.

    Written by the judge at its start, and by a replay (`why` alone). Read by people, and refold (the kind).
    """

    version: NotRequired[str]
    demo: NotRequired[str]  # name of the scenario
    hardware: NotRequired[bool]  # a demo whose sensors are devices
    after: NotRequired[str]  # how the run before ended
    why: NotRequired[str]


class StoppedBody(TypedDict):
    """It ended in good order; where this is missing, it was killed or the power went.

    Written by the judge. Read by the judge's next start (the kind).
    """

    why: str


class SettingsBody(TypedDict):
    """The settings in force, at each start and each change.

    Written by the judge, and by a replay. Read by the station (`digest`), the judge's start (`document`: what was owed under the
    settings of before) and refold.
    """

    digest: Digest  # SHA-256 of the document's RFC 8785 form, 64 hex digits
    document: dict[str, Any]  # the whole station file as written, plain JSON


class SettingsRefusedBody(TypedDict):
    """A changed station file could not be taken.

    Written by the daemon where a reload fails. Read by people.
    """

    why: str
    in_force: Digest  # digest of the settings that stay


class ClockStepBody(_Times):
    """The wall clock was set, `from` one time `to` another, or became trusted.

    Written by the station, read by it (`by_ms`).
    """

    by_ms: int  # forwards is positive; 0 where only the trust changed
    why: str


class BusChangeBody(TypedDict):
    """A bus, by which sensors are read, was lost or is back.

    Written by the station, read by it: which buses are lost is remembered over a restart.
    """

    bus: str
    what: Literal["lost", "back"]
    why: str


class BusSeenBody(TypedDict):
    """What a bus turned out to be. Other keys are its adapter's own texts.

    Told by the adapter (`Adapter.seen`). Written by the station; read by it, so that the next start hands it to the adapter.
    """

    bus: str
    what: Literal["seen"]
    why: str
    chip: NotRequired[str]  # path of a gpio chip
    label: NotRequired[str]  # what the chip calls itself


class AlarmBody(_AlarmStates):
    """An alarm changed its state, with the reading that decided it; `value` and `limit` are in `unit`.

    Written by the alarm system. Read by the desk's fold, MQTT, the API, replays and the demo.
    """

    id: str
    cause: str
    value: float | None
    unit: str | None
    limit: float | None
    since: Time | None
    point: str | None
    priority: Priority
    present: bool  # its cause is there
    since_at_latest: NotRequired[bool]  # it may have begun before `since`: nothing was known of it until then
    by: NotRequired[str]  # who answered, or put it aside
    why: NotRequired[str]  # why it is put aside
    first_out: NotRequired[bool]  # nothing else waited for an answer when it was announced
    again: NotRequired[int]  # announced again, so often; `from` and `to` are the same
    escalated: NotRequired[bool]  # nobody has answered for so long that its priority has risen
    consequence_of: NotRequired[str]  # id of the alarm that explains it
    until: NotRequired[Time]  # end of its shelf
    msg: NotRequired[MessageBody]  # of `cause`


class VerdictBody(_Verdicts):
    """The verdict changed, or that of one of several basins (then `from` and `to` may be the same); `from` is null the first time.

    Written by the station. Read by the station's fold, replays and `warmwell listen`.
    """

    conditions: dict[str, ConditionState]  # id -> state
    why: list[str]  # a text for each condition that is unmet or unknown
    msgs: NotRequired[list[MessageBody]]  # of `why`
    basins: NotRequired[dict[str, VerdictWord]]  # id -> verdict, where there are several


class PhaseBody(_Phases):
    """The phase changed: what the station does.

    Written by the station. Read by its fold: leaving `off` is a power-up.
    """


class DrawBody(TypedDict):
    """A finished draw of water. Means are over its steady part, null where there is none or no point.

    Written by the station. Read by its fold (supply, filters, leaks, usage) and replays. Later: reading_s, least_flow_l_min,
    least_supply_kpa, most_supply_kpa, static_kpa, early_supply_kpa, total_drop_kpa.
    """

    start: Time
    end: Time
    duration_s: float
    reading_s: float  # between two readings
    volume_l: float
    total_l: float  # all draws together, this one too
    steady: bool
    ended: str  # "flow": it was seen to end; "ran on": so late that it tells nothing; else why it was ended
    flow_l_min: float | None
    least_flow_l_min: float | None
    supply_kpa: float | None
    least_supply_kpa: float | None
    most_supply_kpa: float | None
    between_kpa: float | None
    filtered_kpa: float | None
    static_before_kpa: float | None  # of the supply, at rest before it
    static_kpa: dict[str, float]  # tap -> at rest before it
    supply_c: float | None
    drops_kpa: dict[str, float]  # filter -> normalised drop
    total_drop_kpa: NotRequired[float]  # of a train that is one stage for its taps
    early_supply_kpa: NotRequired[float | None]  # of a draw that ended before it was steady
    flow_assumed: NotRequired[bool]  # no flow meter: flow and volume are those of the station file


def announced(kind: str, body: Mapping[str, Any]) -> str | None:
    """The alarm that an entry announces (it became unacknowledged); None where it announces none."""
    if kind != "alarm":
        return None
    alarm = cast(AlarmBody, body)
    return alarm["id"] if alarm["to"] == "unacknowledged" else None


def tap_kpa(body: DrawBody, tap: str) -> float | None:
    """The mean pressure [kPa] at a tap ("supply", "between", "filtered") over the draw's steady part; None where there is none."""
    return {"supply": body["supply_kpa"], "between": body["between_kpa"], "filtered": body["filtered_kpa"]}[tap]


class HeatUpFit(TypedDict):
    """What a heat-up leaves to learn from: each [value, standard deviation] but `together`.

    `power` [K/min], `loss` [1/h], `damp`; `wall` and `outer` are ratios, `*_s` time constants; of those the deviation is of the logarithm.
    """

    power: list[float]
    loss: list[float]
    together: float  # correlation of power and loss
    damp: list[float]
    wall: list[float]
    wall_s: list[float]
    lag_s: list[float]
    element_s: list[float]
    outer: list[float]
    outer_s: list[float]


class HeatUpBody(TypedDict):
    """A finished warm-up.

    Written by the station. Read by its fold (`fit`, `let_be`).
    """

    from_c: float
    to_c: float
    room_c: float
    start: Time
    duration_s: float
    fit: NotRequired[HeatUpFit]  # where it was undisturbed and enough of it was seen
    let_be: NotRequired[list[float]]  # [set point, highest temperature that the thermostat let be], both Cel


class CoolDownFit(TypedDict):
    """What a cool-down leaves to learn from."""

    loss: list[float]  # [median [1/h], standard deviation of the logarithm]


class CoolDownBody(TypedDict):
    """A finished cool-down; of pauses of the thermostat one in six hours.

    Written by the station. Read by its fold (`fit`).
    """

    start: Time
    from_c: float
    to_c: float
    room_c: float
    duration_s: float
    fit: CoolDownFit


class TransferSeenBody(TypedDict):
    """Liquid came into a basin that has a probe.

    Written by the station. Read by its fold (at, first, share, u, counts).
    """

    at: Time
    point: str  # of the basin
    first: bool  # the day's first: the basin was at the room's temperature
    was_c: float  # the basin, before
    cold_from: str  # what cold_c is from: "room", "basin", or ""
    cold_c: float | None  # what the liquid meets
    liquid_c: float | None  # when it left the reservoir
    basin_c: float | None  # what the basin came to
    share: float | None  # of its height above cold_c, what was lost on the way
    u: float | None  # standard uncertainty of the share
    falls_k_per_min: NotRequired[float]
    counts: bool
    why: str  # it doesn't count; "" where it does
    msg: NotRequired[MessageBody]  # of `why`


class TransferForgottenBody(TypedDict):
    """What was learned of transfers is forgotten.

    Written and read by the station.
    """

    forgotten: int  # cycles
    why: str
    text: str
    msg: NotRequired[MessageBody]  # of `text`, with `why` in it


class FilterDayBody(TypedDict):
    """One filter's figures of a day that has ended.

    Written by the station. Read by people and exports.
    """

    date: str  # local
    filter: str
    drop_kpa: float  # mean of the normalised drops
    draws: int
    volume_l: float  # of the day
    total_l: float


class ContradictionBody(TypedDict):
    """Points that can't both be right have come to be doubted, or no longer are.

    Written by the cross checks, read by their fold. Later: check, beside.
    """

    check: str  # row of the table of checks, with ":<filter>" where it is about one
    points: list[str]
    what: Literal["began", "ended"]
    cause: str
    advice: str  # "" where it ended
    msg: NotRequired[MessageBody]  # of `cause`
    advice_msg: NotRequired[MessageBody]
    beside: NotRequired[list[str]]  # points that it rests on and that aren't doubted


class AdviceBody(TypedDict):
    """Something to do that is no alarm.

    Written by the station and its points' watches. Read by people.
    """

    point: str | None
    reason: str  # a key of REASONS, or below_label, drip, coarse, fall
    what: str
    advice: str
    msg: NotRequired[MessageBody]  # of `what`
    advice_msg: NotRequired[MessageBody]


class OutletPowerBody(TypedDict):
    """An outlet tripped, or is live again.

    Written by the station, read by its fold: a power-up follows.
    """

    what: Literal["lost", "back"]
    outlet: str
    machine: bool  # it feeds the machine


class PowerUnsureBody(TypedDict):
    """The machine may have been powered up unseen.

    Written by the station, read by its fold.
    """

    what: Literal["unsure"]
    point: str
    silent_s: int | None  # null where it was over a restart


class UntoldBody(TypedDict):
    """The broker refuses an entry; it is passed over if it does so for a day.

    Written by the daemon for MQTT. Read by `warmwell listen`.
    """

    seq: int
    kind: EntryKind
    why: str


class TargetUntoldBody(UntoldBody):
    """`untold` with a `target`: it can't be told, once for each outage; it is tried on. Written by the tellers. Read by people."""

    target: str
    what: str  # as in ToldBody
    alarms: list[str]


class ToldBody(TypedDict):
    """`told`: a target has a message. Written by the tellers. Read by people.

    `what`: alarm, right_again, came_and_went, summary, test; entry, of a syslog target that can be told again.
    """

    target: str
    what: str
    alarms: list[str]  # the first 50
    seq: int  # the highest entry that it tells of; 0 for none
    tries: int
    untold_since: NotRequired[str]  # it could not be told from then on


class DutyDroppedBody(TypedDict):
    """A changed station file no longer asks for what was owed.

    Written by the station, read by its fold.
    """

    owed: dict[str, str]  # condition -> why it wasn't met
    msgs: NotRequired[dict[str, MessageBody]]  # of `owed`


class LossBody(_Missing):
    """Entries are gone: `from` and `to` are the missing seqs, where `what` is lost.

    Written by the journal, the first entry after them. Read by the station (it isn't ready until a person has looked), verify, and the
    check of folds.
    """

    what: Literal["lost", "exchanged", "unproved"]
    known: int  # seq that was noted outside the journal; with `backup` as far as it can have gone on
    why: str
    backup: NotRequired[str]  # when the backup was made that this journal was restored from


class SetAsideBody(TypedDict):
    """A damaged file of readings was set aside. It has no `what`.

    Written by the series. Read by people.
    """

    file: str
    why: str
    set_aside: str  # its new name
    lost: str


class RenewedBody(TypedDict):
    """A file was made anew, opened anew as another stood under its name, or brought to the form of a newer version (`migrated`).

    Written by the caches, the journal and the series.
    """

    what: Literal["rebuilt", "reopened", "migrated"]
    file: str
    why: str
    lost: str


class CutBody(TypedDict):
    """Readings were deleted, by age or for space.

    Written by the series, for each tier at most once a day.
    """

    what: Literal["cut"]
    file: str
    tier: str
    why: str
    rows: int
    date: str | None  # null where the time isn't known


class EntriesLostBody(TypedDict):
    """Entries were given up while the disk refused.

    Written by the judge. Read by people.
    """

    what: Literal["entries_lost"]
    kinds: dict[str, int]


class AccessBody(TypedDict):
    """Who may sign in since then, who signed in, and what was refused to whom: one entry for an episode, however often it was tried.

    Written by the daemon. Read by people. No code and no token stands in it.
    """

    what: AccessWord
    tries: int  # how often, in this episode
    lasted_s: NotRequired[float]  # how long it lasted, where there were several
    name: NotRequired[str]  # of the person, where it is known
    role: NotRequired[str]  # and what they are at the station
    address: NotRequired[str]  # where it came from; "others": from many
    record: NotRequired[str]  # what was to be recorded, the first time
    why: NotRequired[str]  # the fault of people.db


FileRepair: TypeAlias = SetAsideBody | RenewedBody | CutBody
BusBody: TypeAlias = BusChangeBody | BusSeenBody
TransferBody: TypeAlias = TransferSeenBody | TransferForgottenBody
PowerBody: TypeAlias = OutletPowerBody | PowerUnsureBody

#: kind -> the shapes that its body can have; records have theirs in record_bodies.py
SHAPES: Final[Mapping[str, tuple[type, ...]]] = MappingProxyType(
    {
        "started": (StartedBody,), "stopped": (StoppedBody,), "settings": (SettingsBody,), "settings_refused": (SettingsRefusedBody,),
        "clock_step": (ClockStepBody,), "bus": (BusChangeBody, BusSeenBody), "alarm": (AlarmBody,), "verdict": (VerdictBody,),
        "phase": (PhaseBody,), "draw": (DrawBody,), "heat_up": (HeatUpBody,), "cool_down": (CoolDownBody,),
        "transfer": (TransferSeenBody, TransferForgottenBody), "filter_day": (FilterDayBody,), "contradiction": (ContradictionBody,),
        "advice": (AdviceBody,), "power": (OutletPowerBody, PowerUnsureBody), "record": (RecordBody,), "told": (ToldBody,),
        "untold": (UntoldBody, TargetUntoldBody), "duty_dropped": (DutyDroppedBody,),
        "access": (AccessBody,),
        "repair": (LossBody, SetAsideBody, RenewedBody, CutBody, EntriesLostBody),
    }
)  # fmt: skip
