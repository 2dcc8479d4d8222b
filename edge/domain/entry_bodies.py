"""The shape of each kind of entry's body, as it is written today.

Entries are kept for good, so these shapes only grow. A key that is NotRequired is left out where it has nothing to say; a reader asks by
`get` too for those that earlier versions didn't write, each named under "later". A body is plain JSON; the names tell the units
(_c, _k, _kpa, _l_min, _l, _s, _ms), times are RFC 3339 in UTC.

Every entry goes to whoever reads the journal: MQTT, the API and its stream, exports, replays. "Read by" names who reads the body.
"""

# No postponed annotations here: which keys are required is asked at run time, and texts wouldn't tell.

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final, Literal, NotRequired, TypeAlias, TypedDict, cast

from edge.domain.record_bodies import MessageBody as MessageBody  # others take it from here
from edge.domain.record_bodies import RecordBody

_FromTo = TypedDict("_FromTo", {"from": str, "to": str})
_FromNoneTo = TypedDict("_FromNoneTo", {"from": str | None, "to": str})
_Missing = TypedDict("_Missing", {"from": int, "to": int}, total=False)


class StartedBody(TypedDict):
    """`started`. Written by the judge at its start, and by a replay (`why` alone). Read by people, and refold (the kind)."""

    version: NotRequired[str]
    demo: NotRequired[str]  # name of the scenario
    hardware: NotRequired[bool]  # a demo whose sensors are devices
    after: NotRequired[str]  # how the run before ended
    why: NotRequired[str]


class StoppedBody(TypedDict):
    """`stopped`. Written by the judge when it ends in good order. Read by the judge's next start (the kind)."""

    why: str


class SettingsBody(TypedDict):
    """`settings`. Written by the judge at each start and reload, and by a replay. Read by the station (`digest`), the judge's
    start (`document`: what was owed under the settings of before) and refold."""

    digest: str  # SHA-256 of the document's RFC 8785 form, 64 hex digits
    document: dict[str, Any]  # the whole station file as written, plain JSON


class SettingsRefusedBody(TypedDict):
    """`settings_refused`. Written by the daemon where a reload fails. Read by people."""

    why: str
    in_force: str  # digest of the settings that stay


class ClockStepBody(_FromTo):
    """`clock_step`. Written by the station when the wall clock moved or became trusted. Read by the station (`by_ms`).

    `from`, `to`: wall time before and after.
    """

    by_ms: int  # forwards is positive; 0 where only the trust changed
    why: str


class BusChangeBody(TypedDict):
    """`bus`, a change. Written by the station. Read by the station: which buses are lost is remembered over a restart."""

    bus: str
    what: Literal["lost", "back"]
    why: str


class BusSeenBody(TypedDict):
    """`bus`, what it turned out to be, as its adapter tells it (`Adapter.seen`). Written by the station; read by it, so that the next
    start hands it to the adapter. Other keys are the adapter's own texts."""

    bus: str
    what: Literal["seen"]
    why: str
    chip: NotRequired[str]  # path of a gpio chip
    label: NotRequired[str]  # what the chip calls itself


class AlarmBody(_FromTo):
    """`alarm`: it changed its state, with the reading that decided it. Written by the alarm system. Read by the desk's fold, MQTT, the
    API, replays and the demo.

    `from`, `to`: alarm states of IEC 62682 / ISA-18.2. `value` and `limit` are in `unit`.
    """

    id: str
    cause: str
    value: float | None
    unit: str | None
    limit: float | None
    since: str | None
    point: str | None
    priority: str
    present: bool
    by: NotRequired[str]  # who answered
    consequence_of: NotRequired[str]  # id of the alarm that explains it
    until: NotRequired[str]  # end of its shelf
    msg: NotRequired[MessageBody]  # of `cause`


class VerdictBody(_FromNoneTo):
    """`verdict`: it changed. Written by the station. Read by the station's fold, replays and `warmwell listen`.

    `from`, `to`: ready, not_ready, unknown; `from` is null the first time.
    """

    conditions: dict[str, str]  # id -> state
    why: list[str]  # a text for each condition that is unmet or unknown
    msgs: NotRequired[list[MessageBody]]  # of `why`


class PhaseBody(_FromTo):
    """`phase`: it changed. Written by the station. Read by its fold: leaving `off` is a power-up."""


class DrawBody(TypedDict):
    """`draw`: a finished draw of water. Written by the station. Read by its fold (supply, filters, leaks, usage) and replays.

    Means are over the steady part, null where there is none or no point. Later: reading_s, least_flow_l_min, least_supply_kpa,
    most_supply_kpa, static_kpa, early_supply_kpa, total_drop_kpa.
    """

    start: str
    end: str
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
    """`heat_up`: a finished warm-up. Written by the station. Read by its fold (`fit`, `let_be`)."""

    from_c: float
    to_c: float
    room_c: float
    start: str
    duration_s: float
    fit: NotRequired[HeatUpFit]  # where it was undisturbed and enough of it was seen
    let_be: NotRequired[list[float]]  # [set point, highest temperature that the thermostat let be], both Cel


class CoolDownFit(TypedDict):
    """What a cool-down leaves to learn from."""

    loss: list[float]  # [median [1/h], standard deviation of the logarithm]


class CoolDownBody(TypedDict):
    """`cool_down`: a finished cool-down, of pauses one in six hours. Written by the station. Read by its fold (`fit`)."""

    start: str
    from_c: float
    to_c: float
    room_c: float
    duration_s: float
    fit: CoolDownFit


class TransferSeenBody(TypedDict):
    """`transfer`: liquid came into a basin that has a probe. Written by the station. Read by its fold (at, first, share, u, counts)."""

    at: str
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
    """`transfer`: what was learned of it is forgotten. Written and read by the station."""

    forgotten: int  # cycles
    why: str
    text: str
    msg: NotRequired[MessageBody]  # of `text`, with `why` in it


class FilterDayBody(TypedDict):
    """`filter_day`: one filter's figures of a day that has ended. Written by the station. Read by people and exports."""

    date: str  # local
    filter: str
    drop_kpa: float  # mean of the normalised drops
    draws: int
    volume_l: float  # of the day
    total_l: float


class ContradictionBody(TypedDict):
    """`contradiction`: points have come to be doubted, or no longer are. Written by the cross checks, read by their fold.

    Later: check, beside.
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
    """`advice`: something to do that is no alarm. Written by the station and its points' watches. Read by people."""

    point: str | None
    reason: str  # a key of REASONS, or below_label, drip, coarse
    what: str
    advice: str
    msg: NotRequired[MessageBody]  # of `what`
    advice_msg: NotRequired[MessageBody]


class OutletPowerBody(TypedDict):
    """`power`: an outlet tripped, or is live again. Written by the station, read by its fold: a power-up follows."""

    what: Literal["lost", "back"]
    outlet: str
    machine: bool  # it feeds the machine


class PowerUnsureBody(TypedDict):
    """`power`: the machine may have been powered up unseen. Written by the station, read by its fold."""

    what: Literal["unsure"]
    point: str
    silent_s: int | None  # null where it was over a restart


class UntoldBody(TypedDict):
    """`untold`: an entry was refused for good and passed over. Written by the daemon for MQTT. Read by `warmwell listen`."""

    seq: int
    kind: str
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
    """`duty_dropped`: a changed station file no longer asks for what was owed. Written by the station, read by its fold."""

    owed: dict[str, str]  # condition -> why it wasn't met
    msgs: NotRequired[dict[str, MessageBody]]  # of `owed`


class LossBody(_Missing):
    """`repair`: entries are gone. Written by the journal, the first entry after them. Read by the station (it isn't ready until a
    person has looked), verify, and the check of folds. `from`, `to`: the missing seqs, where `what` is lost."""

    what: Literal["lost", "exchanged", "unproved"]
    known: int  # seq that was noted outside the journal
    why: str


class SetAsideBody(TypedDict):
    """`repair`: a damaged series.db was set aside. Written by the series. Read by people. It has no `what`."""

    file: str
    why: str
    set_aside: str  # its new name
    lost: str


class RenewedBody(TypedDict):
    """`repair`: a file was made anew, or opened anew as another stood under its name. Written by the caches and the series."""

    what: Literal["rebuilt", "reopened"]
    file: str
    why: str
    lost: str


class CutBody(TypedDict):
    """`repair`: readings were deleted, by age or for space. Written by the series, for each tier at most once a day."""

    what: Literal["cut"]
    file: str
    tier: str
    why: str
    rows: int
    date: str | None  # null where the time isn't known


class EntriesLostBody(TypedDict):
    """`repair`: entries were given up while the disk refused. Written by the judge. Read by people."""

    what: Literal["entries_lost"]
    kinds: dict[str, int]


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
        "repair": (LossBody, SetAsideBody, RenewedBody, CutBody, EntriesLostBody),
    }
)  # fmt: skip
