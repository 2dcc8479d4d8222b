"""The shape of each record's body in the journal: what a person told (forms.py says what each key is for), and what the station added.

A record that doesn't fit its form is kept as it came, with `counts` false: only what Kept requires is sure of it. So these shapes hold
for a record that counts; what a reader takes from another it has to look at first.

Written by the station from what people send (API, page, command line, a replay's records). Read by the book (what holds now), the
calibrations, the alarm system, the API's answers and replays.
"""

# No postponed annotations here: which keys are required is asked at run time, and texts wouldn't tell.

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final, NotRequired, TypeAlias, TypedDict

from edge.domain.vocabulary import RecordKind, Time

#: a value with its unit as a person writes it ("0.05 K"), or a bare number beside a key `unit`
Told: TypeAlias = str | int | float


class MessageValue(TypedDict):
    """One value of a message. A moment is RFC 3339; a message (or null) and a list (of values) stand within it."""

    kind: str
    value: Any
    unit: str
    point: NotRequired[str]  # in whose unit the station's people read it


class MessageBody(TypedDict):
    """What a text says, without words: an id that keeps its meaning, and named values (deploy/reference-messages.md)."""

    id: str
    values: dict[str, MessageValue]


class Kept(TypedDict):
    """What every record has."""

    record: RecordKind
    by: str
    at: Time  # when it happened
    counts: bool
    why_not: NotRequired[str]  # it doesn't count
    why_not_msg: NotRequired[MessageBody]
    stands: NotRequired[bool]  # it doesn't count, and keeps the station from starting all the same
    by_role: NotRequired[str]  # what whoever made it is at the station: "viewer", "technician", "biomed" or "auditor"
    proven: NotRequired[str]  # how it was proven who made it: "session", "token", or only "typed"
    note: NotRequired[str]


class RecordBody(Kept):
    """Any record: the keys that several kinds have. What else it may have is its kind's own shape."""

    alarm: NotRequired[str]
    filter: NotRequired[str]
    filters: NotRequired[list[str]]
    of: NotRequired[int | str]
    passed: NotRequired[bool]
    point: NotRequired[str]
    role: NotRequired[str]
    value: NotRequired[Told]
    unit: NotRequired[str]
    what: NotRequired[str]
    why: NotRequired[str]
    name: NotRequired[str]


class Port(TypedDict):
    """One measured channel port. `ml` where it isn't the volume of the station file."""

    port: int
    seconds: float
    ml: NotRequired[float]


class DailyTest(Kept):
    """`daily_test`. Measured ports decide, whatever `passed` says."""

    passed: NotRequired[bool]
    channel_ports: NotRequired[list[Port]]
    checked: NotRequired[list[str]]  # items of the station file's own list
    failed: NotRequired[list[str]]
    basin: NotRequired[str]  # whose ports are numbered from 1; without it: all, numbered through all basins


class WaterPathTreatment(Kept):
    """`water_path_treatment`. Times are RFC 3339. Of one that is told by its steps the station adds the last three."""

    contact_min: NotRequired[float]
    began_at: NotRequired[Time]
    ended_at: NotRequired[Time]
    step: NotRequired[str]  # "begins", "ends" or "finished"
    drained: NotRequired[bool]
    rinsed: NotRequired[bool]
    residue_free: NotRequired[bool]
    product: NotRequired[str]
    lot: NotRequired[str]
    contact_s: NotRequired[float]
    began_s: NotRequired[float]  # how long before `at` its contact began
    done: NotRequired[bool]  # is the treatment done with this step?


class FilterChange(Kept):
    """`filter_change`."""

    filters: NotRequired[list[str]]
    filter: NotRequired[str]
    product: NotRequired[str]
    lot: NotRequired[str]
    why: NotRequired[str]


class DisinfectantFill(Kept):
    """`disinfectant_fill`. `expires`: 2027-03-31, or 2027-03 for its last day; `opened` likewise, a month for its first day."""

    product: NotRequired[str]
    lot: NotRequired[str]
    expires: NotRequired[str]
    opened: NotRequired[str]
    litres: NotRequired[float]
    opened_clean_side: NotRequired[bool]
    why: NotRequired[str]


class DisinfectantTopUp(Kept):
    """`disinfectant_top_up`."""

    litres: NotRequired[float]
    stirred: NotRequired[bool]
    product: NotRequired[str]
    lot: NotRequired[str]
    why: NotRequired[str]


class ConcentrationCheck(Kept):
    """`concentration_check`."""

    passed: bool
    value: NotRequired[Told]
    unit: NotRequired[str]
    strip: NotRequired[str]
    lot: NotRequired[str]
    expires: NotRequired[str]


class Compared(TypedDict):
    """One reference, and what the point read: one reading, several, or what it reads now."""

    reference: Told
    reading: NotRequired[Told]
    readings: NotRequired[list[Told]]


class CalibrationTold(Kept):
    """What a person tells of a `calibration`."""

    point: str
    points: list[Compared]
    reference_u: Told
    reference_resolution: NotRequired[Told]
    confirm: NotRequired[str]
    drift_allowance: NotRequired[Told]
    due_at: NotRequired[Time]
    instrument: NotRequired[str]
    certificate: NotRequired[str]
    adjust: NotRequired[bool]  # false: a check
    why: NotRequired[str]


class Calibration(CalibrationTold):
    """`calibration`, with what it comes to, in the unit of the point's quantity (`unit`).

    The point reads gain * raw + offset from then on; `u` is the standard uncertainty of that, `u_parts` what it is made of.
    Where the record doesn't count, the worked-out part is there as far as the comparison could be used.
    """

    gain: NotRequired[float]
    offset: NotRequired[float]
    u: NotRequired[float]
    u_parts: NotRequired[dict[str, float]]
    as_found: NotRequired[float]  # the greatest error before
    as_left: NotRequired[float]  # and after
    unit: NotRequired[str]
    identity: NotRequired[str]  # the sensor's address or serial; "" where none is told
    transducer: NotRequired[str]  # digest of the transducer's settings
    drift: NotRequired[float | None]  # since the calibration before; null at the first
    beyond_allowance: NotRequired[bool]
    was: NotRequired[float]  # the last reading compared, as it was shown
    becomes: NotRequired[float]
    reading: NotRequired[float]  # mean of what was read
    error: NotRequired[float]  # mean of reference - reading
    corrects: NotRequired[float]  # the most that is corrected in use
    changes: NotRequired[float]  # the most that it changes what is shown
    given: NotRequired[list[Compared]]  # `points` with the readings filled in
    told_at: NotRequired[str]
    beyond: NotRequired[str]  # "", "bound" or "hard"
    agrees_with: NotRequired[int]  # seq of the comparison that it confirms


class EnteredReading(Kept):
    """`entered_reading`: of a contact the value is its word."""

    point: NotRequired[str]
    role: NotRequired[str]
    value: Told
    unit: NotRequired[str]
    instrument: NotRequired[str]


class OutletTest(Kept):
    """`outlet_test`. `of` is another word for `outlet`."""

    outlet: NotRequired[str]
    of: NotRequired[str]
    passed: bool
    trip_ms: NotRequired[float]
    trip_ma: NotRequired[float]
    instrument: NotRequired[str]
    trip_seen: NotRequired[bool]  # one that passed: the outlet's contact showed a trip shortly before


class Hold(Kept):
    """`hold`."""

    why: NotRequired[str]
    name: NotRequired[str]
    released_by: NotRequired[str]  # who may release it
    basin: NotRequired[str]  # that is held alone


class Release(Kept):
    """`release`: of the hold of this name, or of this basin alone, or of every one."""

    name: NotRequired[str]
    why: NotRequired[str]
    basin: NotRequired[str]


class EquipmentChange(Kept):
    """`equipment_change`. `what`: loaner, swap, repair, sensor_fitted, …"""

    what: NotRequired[str]
    point: NotRequired[str]
    serial: NotRequired[str]
    opened_clean_side: NotRequired[bool]
    why: NotRequired[str]


class Service(Kept):
    """`service`. `duty`: which of the station file's own list."""

    what: NotRequired[str]
    duty: NotRequired[str]
    value: NotRequired[Told]
    unit: NotRequired[str]
    filter: NotRequired[str]
    point: NotRequired[str]
    opened_clean_side: NotRequired[bool]
    passed: NotRequired[bool]
    why: NotRequired[str]


class Work(Kept):
    """`work_begins`, `work_ends`."""

    what: NotRequired[str]
    why: NotRequired[str]
    basin: NotRequired[str]  # in which alone


class Acknowledge(Kept):
    """`acknowledge`."""

    alarm: str


class OutOfService(Kept):
    """`out_of_service`."""

    alarm: str
    why: str


class Shelve(Kept):
    """`shelve`."""

    alarm: str
    minutes: float
    why: NotRequired[str]


class OfAlarm(Kept):
    """`reset`, `unshelve`, `in_service`."""

    alarm: str
    why: NotRequired[str]


class Correction(Kept):
    """`correction`. `of`: seq of the entry that counts no more."""

    of: int
    why: NotRequired[str]


class Note(Kept):
    """`note`."""

    text: NotRequired[str]


class Commissioning(Kept):
    """`commissioning`: an item of the commissioning list, with what it came to; `number`, `low`, `high` in the unit of `quantity`."""

    item: str
    passed: NotRequired[bool]
    value: NotRequired[Told]
    unit: NotRequired[str]
    timing: NotRequired[str]  # "begins" or "ends": the station times a decay; what it gave is another record
    before: NotRequired[Told]
    after: NotRequired[Told]
    litres: NotRequired[float]
    seconds: NotRequired[float]
    litres_u: NotRequired[float]
    seconds_u: NotRequired[float]
    not_applicable: NotRequired[str]  # why
    instrument: NotRequired[str]
    result: NotRequired[str]  # "passed", "failed" or "not_applicable"
    taken: NotRequired[str]  # "live", "entered" or "timed"
    number: NotRequired[float]
    quantity: NotRequired[str]  # a dimension ("pressure": kPa, "flow": L/min, …) or "share"
    low: NotRequired[float | None]
    high: NotRequired[float | None]
    u: NotRequired[float]  # standard uncertainty of `number`
    flow_l_min: NotRequired[float]  # by bucket and stopwatch
    meter_l_min: NotRequired[float]
    rests_on: NotRequired[dict[str, str]]  # part of the station file -> its digest then


class ClockConfirmed(Kept):
    """`clock_confirmed`. `time`: the time then, RFC 3339."""

    time: Time
    why: NotRequired[str]


#: record -> its shape
RECORDS: Final[Mapping[str, type]] = MappingProxyType(
    {
        "daily_test": DailyTest, "water_path_treatment": WaterPathTreatment, "filter_change": FilterChange,
        "disinfectant_fill": DisinfectantFill, "disinfectant_top_up": DisinfectantTopUp, "concentration_check": ConcentrationCheck,
        "calibration": Calibration, "entered_reading": EnteredReading, "outlet_test": OutletTest, "hold": Hold, "release": Release,
        "equipment_change": EquipmentChange, "service": Service, "work_begins": Work, "work_ends": Work, "acknowledge": Acknowledge,
        "shelve": Shelve, "unshelve": OfAlarm, "reset": OfAlarm, "out_of_service": OutOfService, "in_service": OfAlarm,
        "correction": Correction, "note": Note,
        "clock_confirmed": ClockConfirmed, "commissioning": Commissioning,
    }
)  # fmt: skip
