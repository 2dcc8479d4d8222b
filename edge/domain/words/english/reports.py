"""English: reports."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

REPORTS: Final[Mapping[str, str]] = {
    "report.day": "Day record",
    "report.span": (
        "{day}, from {begins:date} {begins} to {ends:date} {ends}: {hours:.3g} hours by the station's clock ({zone})"
    ),
    "report.not_over": "The day was not over when this was made: it is told up to {at}.",
    "report.simulated": "This is a simulated station: nothing of it happened.",
    "report.head.verdict": "Could the station start?",
    "report.head.alarms": "Alarms",
    "report.head.records": "What people recorded",
    "report.head.readings": "Least and greatest readings",
    "report.head.reservoir": "Reservoir",
    "report.head.draws": "Draws of water",
    "report.head.heat_ups": "Warm-ups",
    "report.head.watch": "When nobody watched",
    "report.head.incidents": "What else stood in the way of watching",
    "report.head.evidence": "Evidence",
    "report.head.signatures": "Seen by",
    "report.none": "none",
    "report.word_lasted": "{word}: {span}",
    "report.unwatched": "not watched: {span}",
    "report.lasts": "still stood at the end",
    "report.at_latest": "{at} at the latest",
    "report.on_another_day": "{at:date} {at}",
    "report.at": "{at}",
    "report.event": "{at}: {state:state}",
    "report.event_by": "{at}: {state:state} ({by})",
    "report.event_again": "{at}: announced again",
    "report.does_not_count": "does not count: {why}",
    "report.water": "{volume:.1f L} in {number:d} draws",
    "report.volume": "{volume:.2f L}",
    "report.share": "{share:.1%}",
    "report.gap_stopped": "stopped: {why}",
    "report.gap_broken": "the run ended without a word",
    "report.undated": (
        "{n:d} entries that may be of this day have no date that can be relied on; `warmwell "
        "export journal` lists them."
    ),
    "report.untrusted": (
        "{n:d} entries of this day were made while the station's clock was not trusted; their "
        "times are as far as is known now."
    ),
    "report.entries": "{n:d} entries of the journal are of this day, from {first:d} to {last:d}.",
    "report.no_entries": "The journal has no entry of this day.",
    "report.rests_on": "This report rests on the journal up to entry {seq:d}, digest {digest}.",
    "report.chain_holds": "The chain of the journal held when this was made.",
    "report.chain_broken": "The chain of the journal did NOT hold when this was made: {why}. Nothing here is proved.",
    "report.signed": "The station signed the journal up to entry {seq:d} on {at:date} at {at}; fingerprint of its key: {key}.",
    "report.not_signed": "The station has not signed the journal yet.",
    "report.readings_apart": "Readings are no part of the chain; what the station made of them is.",
    "report.to_prove": "To check it against the journal: warmwell verify REPORT --journal FOLDER",
    "report.made": "Made {at:date} {at} by Warmwell {version}.",
    "report.only_watches": (
        "Warmwell only watches. What is done follows the makers' instructions, the label and the rules of the site."
    ),
    "report.kind.clock_step": "clock",
    "report.kind.bus": "bus",
    "report.kind.repair": "store",
    "report.kind.settings": "settings in force",
    "report.kind.settings_refused": "settings refused",
    "report.kind.contradiction": "sensors doubted",
    "report.kind.contradiction_over": "no longer doubted",
    "report.kind.power": "power",
    "report.kind.untold": "not told",
    "report.kind.duty_dropped": "duty",
    "report.col.from": "from",
    "report.col.to": "to",
    "report.col.at": "at",
    "report.col.word": "word",
    "report.col.why": "why",
    "report.col.alarm": "alarm",
    "report.col.priority": "priority",
    "report.col.cause": "cause",
    "report.col.answers": "what became of it",
    "report.col.record": "record",
    "report.col.by": "by",
    "report.col.told": "told",
    "report.col.point": "sensor",
    "report.col.low": "least",
    "report.col.high": "greatest",
    "report.col.covered": "of the day",
    "report.col.lasted": "lasted",
    "report.col.volume": "volume",
    "report.col.flow": "flow",
    "report.col.supply": "supply",
    "report.col.drops": "drops at the filters",
    "report.col.what": "what",
    "report.col.entry": "entry",
    "report.col.name": "name",
    "report.col.date": "date",
    "report.col.signature": "signature",
}
