"""What a comparison with a reference comes to, and the uncertainty that a corrected reading then has, part by part.

Theory. GUM (JCGM 100:2008): independent standard uncertainties add in quadrature (5.1.2); what was read several times is of type A,
s/sqrt(n) of a mean (4.2); what is only known to lie within bounds is rectangular (4.3.7), so a step of an indication is step/sqrt(12)
(F.2.2.1). A reference's own uncertainty is the same in all its comparisons (5.2, F.1.2.3): it shifts a line, it doesn't tilt it.

From one reference, or several that are near to each other, only an offset is taken. A slope is taken where the comparisons tell it
better than the sensor's class does; else how far the use is from the references counts with the class's uncertainty of a slope.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import isfinite, sqrt
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.messages import Message, moment, name, number, say, text
from edge.domain.messages import quantity as quantity_of
from edge.domain.quantities import DIFFERENCE_OF, DIMENSIONS, UnitError, quantity, split
from edge.domain.readings import UNIT_OF, Role
from edge.domain.sensing.calibration import Correction, Line, combined, fit_line, rectangular
from edge.domain.settings import Point, Settings

LINE_FROM: Final = 3
YEAR_MS: Final = 365 * 86_400_000
DUE_AFTER_MS: Final = YEAR_MS
#: a longer interval is a slip of the pen (our own number; a year is common practice)
DUE_AT_MOST_MS: Final = 5 * YEAR_MS
MOST_POINTS: Final = 50
#: a step of an indication, as a standard uncertainty
STEP: Final = 1.0 / sqrt(12.0)
#: readings that fall by more than so many standard uncertainties where their references rise don't belong to them
BACKWARDS: Final = 3.0

#: the parts of a budget in the order in which they are shown
PARTS: Final[Mapping[str, Message]] = MappingProxyType(
    {
        key: say(f"budget.{key}")
        for key in (
            "reference", "reference_step", "step_compared", "repeatability", "step", "noise", "fit", "distance", "drift",
        )
    }
)  # fmt: skip


class Unusable(ValueError):
    """What of a comparison can't be used: one clause."""

    def __init__(self, why: Message) -> None:
        super().__init__(why.id)
        self.why = why


class Class(NamedTuple):
    """A class of sensors. Slope: standard uncertainty of 1. The others: K; a share of the span; or of the reading, by `share_of`."""

    slope: float
    repeats: float  # type B, of one reading that stands alone
    drifts: float  # in a year, to either side
    step: float = 0.0  # where the station file doesn't tell
    share_of: str = ""  # "", "span" or "reading"


#: by class, else by kind. Slopes of platinum: IEC 60751:2008, class B, 0.005 |t|; of thermocouples: IEC 60584-1:2013, class 2,
#: 0.0075 |t|, both as rectangles (from memory). The step of digital thermometers: 12 bits, makers' data sheets. All else is common
#: practice, no published source.
CLASSES: Final[Mapping[str, Class]] = MappingProxyType(
    {
        "digital": Class(0.006, 0.02, 0.1, step=0.0625),
        "platinum": Class(rectangular(0.005), 0.01, 0.05),
        "thermistor": Class(0.01, 0.01, 0.1),
        "thermocouple": Class(rectangular(0.0075), 0.05, 0.5),
        "temperature": Class(0.01, 0.02, 0.1),
        "pressure": Class(0.006, 0.0003, 0.002, share_of="span"),
        "flow": Class(0.012, 0.003, 0.01, share_of="reading"),
        "conductivity": Class(0.02, 0.005, 0.02, share_of="reading"),
    }
)


def class_of(point: Point) -> Class:
    """A point's class of sensor, by the station file; else by what it measures."""
    return CLASSES.get(point.sensor) or CLASSES[str(point.kind)]


def use_of(point: Point, settings: Settings) -> tuple[float, float] | None:
    """Between which values a point decides, in the unit of its kind; None where nothing tells."""
    plan, supply, role = settings.reservoir, settings.supply, point.role
    if plan is not None:
        top = plan.set_point_c + plan.thermostat_band_k
        if role is Role.RESERVOIR_TEMPERATURE:
            return plan.contact_min_c, max(top, plan.maximum_c or top)
        if role is Role.BASIN_TEMPERATURE:
            return plan.contact_min_c, max(top, plan.contact_max_c or top)
        if role is Role.ROOM_TEMPERATURE:
            return min(ROOM_C[0], plan.coldest_room_c or ROOM_C[0]), ROOM_C[1]
    if role is Role.SUPPLY_TEMPERATURE:
        return SUPPLY_C
    if supply is not None:
        if role is Role.SUPPLY_PRESSURE:
            return supply.pressure_low_kpa, max(supply.pressure_high_kpa, supply.static_high_kpa or 0.0)
        if role in (Role.BETWEEN_FILTERS_PRESSURE, Role.FILTERED_PRESSURE):
            return 0.5 * supply.pressure_low_kpa, supply.pressure_high_kpa
        if role is Role.SUPPLY_FLOW:
            low = supply.draw_starts_l_min if supply.flow_low_l_min is None else supply.flow_low_l_min
            return low, low if supply.flow_high_l_min is None else supply.flow_high_l_min
    return None


ROOM_C: Final = (16.0, 28.0)
SUPPLY_C: Final = (5.0, 20.0)


@dataclass(frozen=True, slots=True)
class Pair:
    """One reference and the mean of what was read beside it."""

    reading: float
    reference: float
    n: int
    squares: float  # sum of squares of the readings about their mean
    step: float  # of the reference, as it was written


def worked_out(
    body: Mapping[str, Any],
    point: Point,
    before: Correction | None,
    at_ms: int,
    use: tuple[float, float] | None = None,
    noise: float = 0.0,
) -> dict[str, Any]:
    """What a calibration record comes to: to be kept with it.

    Args:
        body: `points`: [{"reference": "35.00 degC", "reading": "34.87 degC"}, or "readings": [several of one reference]]; a
            reference has its unit, a reading without one is in the unit of the point's kind; readings are those before any
            calibration. `reference_u` (standard uncertainty of the reference), optional `reference_resolution` (its step; else as
            it was written), `drift_allowance`, `due_at`, `instrument`, `certificate`.
        before: the correction in force until now.
        use: between which values the point decides.
        noise: standard deviation of one reading, as lately read.

    Returns:
        gain, offset, u, u_parts, due_at, as_found and as_left (greatest error before and after), was and becomes (the last reading
        compared, shown before and after), reading and error (means), corrects (the most that is corrected in use), drift and whether
        it is beyond the allowance, identity, transducer.

    Raises:
        Unusable: something in it can't be used.
    """
    pairs = pairs_of(body, point)
    reference_u = _difference(body, "reference_u", point)
    if reference_u is None:
        raise Unusable(say("calibration.no_reference_u"))
    if reference_u == 0.0:
        raise Unusable(say("calibration.reference_u_zero"))
    kind_of_sensor = class_of(point)
    scale = _scale(kind_of_sensor, point, pairs, use)
    allowance = _difference(body, "drift_allowance", point)
    due_ms = wall_ms_of(body["due_at"]) if isinstance(body.get("due_at"), str) else at_ms + DUE_AFTER_MS
    if not at_ms < due_ms <= at_ms + DUE_AT_MOST_MS:
        due, years = text(str(body.get("due_at"))), number(DUE_AT_MOST_MS // YEAR_MS)
        raise Unusable(say("calibration.due_at", due=due, compared=moment(at_ms), years=years))
    step = point.resolution or kind_of_sensor.step
    told = _difference(body, "reference_resolution", point)
    single, mean = _repeats(pairs, max(kind_of_sensor.repeats * scale, noise))
    drifts = kind_of_sensor.drifts * scale * max(due_ms - at_ms, 0) / YEAR_MS
    parts = {
        "reference": reference_u,
        "reference_step": STEP * (max(pair.step for pair in pairs) if told is None else told),
        "step_compared": STEP * step,
        "repeatability": mean,
        "step": STEP * step,
        "noise": max(single, noise),
        "fit": 0.0,
        "distance": 0.0,
        "drift": rectangular(drifts if allowance is None else allowance),
    }
    own = combined([parts["reference_step"], parts["step_compared"], parts["repeatability"]])
    _belong_together(pairs, own, point)
    gain, offset, parts["fit"], parts["distance"] = _fit(pairs, own, kind_of_sensor.slope, use)
    found = [(before.of(p.reading) if before is not None else p.reading) - p.reference for p in pairs]
    left = [gain * p.reading + offset - p.reference for p in pairs]
    looked_at = [p.reading for p in pairs] + [(value - offset) / gain for value in use or ()]
    ours = [gain * r + offset for r in looked_at]
    worst, last = max(found, key=abs), pairs[-1].reading
    return {
        "gain": gain, "offset": offset, "u": combined(list(parts.values())), "u_parts": parts, "due_at": rfc3339(due_ms),
        "as_found": worst, "as_left": max(left, key=abs), "unit": UNIT_OF[point.kind], "identity": point.identity,
        "transducer": point.transducer, "drift": worst if before is not None else None,
        "beyond_allowance": before is not None and allowance is not None and 0.0 < allowance < abs(worst),
        "was": before.of(last) if before is not None else last, "becomes": gain * last + offset,
        "reading": sum(p.reading for p in pairs) / len(pairs),
        "error": sum(p.reference - p.reading for p in pairs) / len(pairs),
        "corrects": max((c - r for c, r in zip(ours, looked_at, strict=True)), key=abs),
        "changes": max((c - (before.of(r) if before else r) for c, r in zip(ours, looked_at, strict=True)), key=abs),
    }  # fmt: skip


def _scale(of: Class, point: Point, pairs: Sequence[Pair], use: tuple[float, float] | None) -> float:
    if of.share_of == "span":
        return point.high - point.low
    if of.share_of == "reading":
        return float(max(abs(value) for value in (*(p.reference for p in pairs), *(use or ()))))
    return 1.0


def _repeats(pairs: Sequence[Pair], alone: float) -> tuple[float, float]:
    """(standard deviation of one reading, standard uncertainty of the worst mean); `alone`: where nothing was read twice."""
    freedom = sum(p.n - 1 for p in pairs)
    single = sqrt(sum(p.squares for p in pairs) / freedom) if freedom else alone
    return single, single / sqrt(min(p.n for p in pairs))


def _belong_together(pairs: Sequence[Pair], own: float, point: Point) -> None:
    """Readings rise with their references, but for what they are uncertain by."""
    ordered = sorted(pairs, key=lambda pair: pair.reference)
    for low, high in pairwise(ordered):
        if high.reading - low.reading < -BACKWARDS * sqrt(2.0) * own:
            read = {"from_reading": low.reading, "to_reading": high.reading}
            shown = {"from_reference": low.reference, "to_reference": high.reference}
            told = {key: quantity_of(point.kind, value) for key, value in (read | shown).items()}
            raise Unusable(say("calibration.falls", **told))


def _fit(
    pairs: Sequence[Pair], own: float, class_slope: float, use: tuple[float, float] | None
) -> tuple[float, float, float, float]:
    """(gain, offset, standard uncertainty of the fit, and by the distance to where the point is used)."""
    readings, references = [p.reading for p in pairs], [p.reference for p in pairs]
    ends = (*references, *(use or ()))
    line = _line(readings, references, own, class_slope)
    if line is not None:
        back = [(end - line.intercept) / line.slope for end in ends]
        return line.slope, line.intercept, max(line.u_at(r) for r in back), 0.0
    errors = [t - r for r, t in zip(readings, references, strict=True)]
    offset, centre = sum(errors) / len(errors), sum(references) / len(references)
    scatter = rectangular(max(abs(e - offset) for e in errors)) if len(errors) > 1 else 0.0
    return 1.0, offset, scatter, class_slope * max(abs(end - centre) for end in ends)


def _line(readings: list[float], references: list[float], own: float, class_slope: float) -> Line | None:
    """A line, where the references tell its slope better than the class does."""
    if len(readings) < LINE_FROM or max(readings) - min(readings) <= 0.0:
        return None
    line = fit_line(readings, references)
    line = replace(line, s=max(line.s, own))
    if line.s / sqrt(line.sxx) > class_slope:
        return None
    if not 0.5 < line.slope < 2.0:
        raise Unusable(say("calibration.slope", slope=number(line.slope, "1")))
    return line


def pairs_of(body: Mapping[str, Any], point: Point) -> list[Pair]:
    """References, each once: what was read beside the same one is of one comparison. Raises Unusable."""
    listed = body.get("points")
    if not isinstance(listed, list) or not 1 <= len(listed) <= MOST_POINTS:
        raise Unusable(say("calibration.no_points"))
    read: dict[float, list[float]] = {}
    steps: dict[float, float] = {}
    for one in listed:
        if not isinstance(one, Mapping):
            raise Unusable(say("calibration.no_pair", given=text(repr(one))))
        reference, step = _reference(one.get("reference"), point)
        many = one.get("readings", [one.get("reading")])
        if not isinstance(many, list) or not many:
            raise Unusable(say("calibration.no_list"))
        own = _is_own_unit(one.get("reference"), point)
        read.setdefault(reference, []).extend(_reading(r, point, own) for r in many)
        steps[reference] = max(step, steps.get(reference, 0.0))
    pairs = []
    for reference, values in read.items():
        mean = sum(values) / len(values)
        squares = sum((v - mean) ** 2 for v in values)
        pairs.append(Pair(mean, reference, len(values), squares, steps[reference]))
    return pairs


def _reference(given: Any, point: Point) -> tuple[float, float]:
    """(a reference, its step as it was written: "35.0 degC" is of 0.1 K)."""
    if not isinstance(given, str):
        raise Unusable(say("calibration.reference_without_unit", given=text(repr(given))))
    value = _quantity(given, point, "reference")
    if not point.low <= value <= point.high:
        low, high = quantity_of(point.kind, point.low), quantity_of(point.kind, point.high)
        told, unit = text(given.strip()[:40]), UNIT_OF[point.kind]
        raise Unusable(
            say("calibration.reference_outside", given=told, point=name(point.id), low=low, high=high, unit=name(unit))
        )
    number, unit = split(given, DIMENSIONS[str(point.kind)])
    mantissa, _, exponent = str(number).lower().partition("e")
    digits = len(mantissa.partition(".")[2]) - int(exponent or 0)
    one = _quantity(f"1 {unit}", point, "reference") - _quantity(f"0 {unit}", point, "reference")
    return value, one / float(10**digits) if digits >= 0 else one * float(10**-digits)


def _is_own_unit(given: Any, point: Point) -> bool:
    return isinstance(given, str) and _quantity(f"1 {split(given, DIMENSIONS[str(point.kind)])[1]}", point, "") == 1.0


def _reading(given: Any, point: Point, own: bool) -> float:
    """One reading; without a unit only where the reference is in the unit of the point's kind, too."""
    if isinstance(given, str):
        value = _quantity(given, point, "reading")
    elif isinstance(given, bool) or not isinstance(given, int | float) or not isfinite(given):
        raise Unusable(say("calibration.no_quantity", key=name("reading"), given=text(repr(given))))
    elif not own:
        unit = name(UNIT_OF[point.kind])
        raise Unusable(say("calibration.reading_without_unit", given=text(repr(given)), unit=unit))
    else:
        value = float(given)
    if not point.low <= value <= point.high:
        read, unit = quantity_of(point.kind, value), name(UNIT_OF[point.kind])
        raise Unusable(say("calibration.reading_outside", reading=read, unit=unit, point=name(point.id)))
    return value


def _quantity(given: str, point: Point, what: str) -> float:
    try:
        return quantity(given, str(point.kind))
    except UnitError as exc:
        raise Unusable(say("calibration.key", key=name(what), why=text(str(exc)))) from None


def _difference(body: Mapping[str, Any], key: str, point: Point) -> float | None:
    given = body.get(key)
    if given is None:
        return None
    if isinstance(given, str):
        try:
            value = quantity(given, DIFFERENCE_OF[point.kind])
        except UnitError as exc:
            raise Unusable(say("calibration.key", key=name(key), why=text(str(exc)))) from None
    elif isinstance(given, bool) or not isinstance(given, int | float):
        raise Unusable(say("calibration.no_quantity", key=name(key), given=text(repr(given))))
    else:
        value = float(given)
    if not isfinite(value) or value < 0.0:
        raise Unusable(say("calibration.below_zero", key=name(key)))
    return value
