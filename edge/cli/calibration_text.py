"""What a calibration would change and has changed, for a terminal: before and after, and its uncertainty line by line."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from typing import Any, cast

from edge.domain.quantities import converter, quantity
from edge.domain.readings import UNIT_OF, Kind
from edge.domain.record_bodies import Calibration
from edge.domain.sensing.calibration_budget import PARTS
from edge.domain.words.english import ENGLISH


class _Unit:
    """Says values and differences, held in the unit of a kind, in the point's own unit."""

    def __init__(self, point: Mapping[str, Any], kind: Kind) -> None:
        shown = point.get("shown") or {}
        self.name = str(shown.get("unit") or UNIT_OF[kind])
        self._scale, self._zero = converter(self.name, kind)
        self.of_difference = "K" if self.name in ("degC", "Cel", "°C") else self.name.removesuffix(" abs")

    def value(self, value: float) -> str:
        return f"{(value - self._zero) / self._scale:.2f} {self.name}"

    def difference(self, value: float) -> str:
        return f"{value / self._scale:+.3g} {self.of_difference}"

    def u(self, value: float) -> str:
        return f"{value / self._scale:.2g}"


def preview_lines(
    pairs: Sequence[Mapping[str, Any]], point: Mapping[str, Any], kind: Kind, is_check: bool
) -> list[str]:
    """What a calibration would do to the readings that were compared, before it is sent."""
    unit, lines = _Unit(point, kind), []
    correction = point.get("correction") or {"gain": 1.0, "offset": 0.0}
    for pair in pairs:
        readings = (
            [quantity(r, str(kind)) for r in pair["readings"]] if "readings" in pair else [point.get("uncorrected")]
        )
        if None in readings:
            continue
        raw = statistics.fmean(float(r) for r in readings if r is not None)
        shown, reference = correction["gain"] * raw + correction["offset"], quantity(pair["reference"], str(kind))
        becomes = shown if is_check else reference
        lines.append(
            f"  reference {unit.value(reference)}: reads {unit.value(shown)} now ({unit.difference(shown - reference)}), "
            f"would read about {unit.value(becomes)}"
        )
    return ["Before it is sent:", *lines]


def outcome_lines(entry: Mapping[str, Any], point: Mapping[str, Any], kind: Kind, kept: str) -> list[str]:
    """What a calibration came to, in the point's own unit."""
    body, lines = cast(Calibration, entry["body"]), [kept]
    if "as_found" not in body:
        return lines
    unit, counts = _Unit(point, kind), bool(body.get("counts"))
    lines.append(f"  as found: {unit.difference(body['as_found'])}, the greatest error before")
    if body.get("adjust") is False:
        lines.append("  a check: nothing was adjusted")
    else:
        lines.append(f"  as left: {unit.difference(body['as_left'])}{'' if counts else ', were it in force'}")
        own = UNIT_OF[kind]  # in another unit with another zero the offset would be another number
        lines.append(f"  correction: reading in {own} x {body['gain']:.6g} {body['offset']:+.4g}")
    if "was" in body:
        becomes = f"reads {unit.value(body['becomes'])} now" if counts else "still reads that: NOT IN FORCE"
        lines.append(f"  the point read {unit.value(body['was'])} and {becomes}")
    lines.append(f"  standard uncertainty: {unit.u(body['u'])} {unit.of_difference}, of")
    parts = body.get("u_parts") or {}
    lines += [f"    {unit.u(parts[part]):>8}  {ENGLISH[said.id]}" for part, said in PARTS.items() if part in parts]
    drift = body.get("drift")
    if drift is not None:
        beyond = ": beyond the allowance, look at the sensor" if body.get("beyond_allowance") else ""
        lines.append(f"  drift since the last calibration: {unit.difference(drift)}{beyond}")
    return [*lines, f"  due again: {str(body['due_at'])[:10]}"] if counts else lines
