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
    "report.signed": (
        "The station signed the journal up to entry {seq:d} on {at:date} at {at}; fingerprint of its key: {key}."
    ),
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
    "report.period": "Period record",
    "report.period_span": (
        "{period}, from {begins:date} {begins} to {ends:date} {ends}: {days:d} days by the station's clock ({zone})"
    ),
    "report.period_not_over": "The period was not over when this was made: it is told up to {at:date} {at}.",
    "report.period_entries": "{n:d} entries of the journal are of this period, from {first:d} to {last:d}.",
    "report.period_no_entries": "The journal has no entry of this period.",
    "report.period_undated": (
        "{n:d} entries that may be of this period have no date that can be relied on; `warmwell "
        "export journal` lists them."
    ),
    "report.head.days": "Day by day",
    "report.head.causes": "What kept it from starting",
    "report.head.performance": "How the alarms performed",
    "report.head.duties": "Duties that came due",
    "report.head.filters": "Pressure drops at the filters",
    "report.head.work": "Changes and service",
    "report.ready_at_first": "Ready at the first case on {n:d} of {of:d} days that had one.",
    "report.closed": "closed",
    "report.still_to_come": "still to come",
    "report.not_known": "not watched",
    "report.causes_overlap": (
        "Several may stand at one time, so these times overlap. Each is counted from one change of the "
        "station's state to the next: what was met in between stands in no entry. What a station that isn't "
        "watched lacks is not known."
    ),
    "report.figures_from": (
        "Figures and targets are those of the alarm standards (ISA-18.2, IEC 62682), from memory and public summaries."
    ),
    "report.counted": "{number:d}, of which {counted:d} counted",
    "report.col.day": "day",
    "report.col.first_case": "at the first case",
    "report.col.unwatched": "not watched",
    "report.col.condition": "condition",
    "report.col.figure": "figure",
    "report.col.value": "value",
    "report.col.number": "number",
    "report.col.duty": "duty",
    "report.col.filter": "filter",
    "report.col.first": "first",
    "report.col.last": "last",
    "report.figure.announced": "announced",
    "report.figure.per_day": "a day, on an average",
    "report.figure.most_in_period": "in ten minutes, at the most",
    "report.figure.flooded": "time in floods, per cent",
    "report.figure.chattering": "alarms that chatter",
    "report.figure.fleeting": "fleeting alarms",
    "report.figure.stale": "stood for more than a day",
    "report.figure.most_standing": "stood at one time, at the most",
    "report.figure.unanswered": "never acknowledged",
    "report.figure.half": "until acknowledged, half within",
    "report.figure.most": "until acknowledged, nine of ten within",
    "report.head.due": "What is due next",
    "report.due_not_known": "What is due can't be told: an earlier version wrote entries that this one can't follow.",
    "report.col.done": "last done",
    "report.col.again": "due again",
}
