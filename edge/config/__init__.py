"""The station file: read, checked as a whole, and made into what the daemon needs. What others use stands here by name."""

from edge.config.plans import KeepPlan, MqttPlan, StationFile, TlsPlan
from edge.config.reading import UnusableInputs
from edge.config.sections import schema
from edge.config.station_file import check_report, load, loads, settings_of, warnings_of

__all__ = [
    "KeepPlan",
    "MqttPlan",
    "StationFile",
    "TlsPlan",
    "UnusableInputs",
    "check_report",
    "load",
    "loads",
    "schema",
    "settings_of",
    "warnings_of",
]
