"""Every condition that a station's readiness can rest on: its name for people, in the order in which they are published.

The key is what stands before ':' in a condition's id: of a filter or an outlet there is one each.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

CONDITIONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "free": "Station free", "no_hold": "No hold", "reservoir": "Reservoir warm", "pressure": "Supply pressure",
        "flow": "Supply flow", "filter": "Filter", "outlet": "Outlet", "no_leak": "No leak", "daily_test": "Daily test",
        "water_path_treatment": "Water-path treatment", "disinfectant": "Disinfectant", "sensors": "Sensors", "clock": "Clock",
    }
)  # fmt: skip
