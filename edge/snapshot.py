"""What readers of a station get: an immutable picture, already in the shapes that are published."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from edge.domain.dates import Dates
from edge.domain.entries import Now


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One picture of one station. Readers must not change what is in it.

    `verdict`: {"at","trusted","site","station","verdict","phase","expected_at","earliest","latest","waits_for":[str],
        "conditions":[{"id","state","text","since","expected_at","evidence"}],"note"}
    `points`, by id: {"id","role","of","value","unit","quality","reason","advice","text","detail","at","age_s","stale_after_s","u","shown"}
        (value null unless it may be shown as a number; `shown` is {"value","unit"} in the unit of the station file, or null)
        and, where a person entered it, {"by","seq"}
    `alarms`, by id: {"id","state","active","announced","priority","since","point","value","unit","limit","cause","consequence",
        "response","respond_within_s","acknowledged_by","acknowledged_at","consequence_of","seq","at"}
        (every alarm that this station can raise, also when normal)
    `estimates`, by name: {"at","of","value","low","high","unit","why"}
    Times are RFC 3339 UTC with milliseconds, or null.
    """

    version: int  # grows by one with each picture
    seq: int  # highest entry of the journal that it takes into account
    now: Now
    verdict: Mapping[str, Any]
    points: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    alarms: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    estimates: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    dates: Dates = field(default_factory=Dates)  # of the journal's entries, as known now
    seen: Mapping[str, Mapping[str, str]] = field(
        default_factory=dict
    )  # by bus, what it turned out to be at the last start
