"""The tables of deploy/reference-*.md, terms.md, wiring.md, security.md, handbook.md and api.md, there, that are drawn from the code.

`python tests/tables.py` writes them anew between their marks; tests compare.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

ROOT = Path(__file__).parents[1]
REFERENCES = [*sorted((ROOT / "deploy").glob("reference-*.md")), ROOT / "deploy/terms.md"]
MESSAGES = ROOT / "deploy/reference-messages.md"
WIRING = ROOT / "deploy/wiring.md"
SECURITY = ROOT / "deploy/security.md"
HANDBOOK = ROOT / "deploy/handbook.md"
API = ROOT / "deploy/api.md"
ALARMS = ROOT / "config/alarms.toml"
ITEMS = ROOT / "config/commissioning.toml"
sys.path.insert(0, str(ROOT))  # when run as a program, from any folder

from edge.api.words import WORDS as TITLES  # noqa: E402
from edge.domain import quantities  # noqa: E402
from edge.domain.alarms.catalogue import CATALOGUE, OWN  # noqa: E402
from edge.domain.alarms.states import COMES_BACK, LATCHING, TABLE, Event, State  # noqa: E402  (after the path)
from edge.domain.doubts.table import CHECKS  # noqa: E402
from edge.domain.messages import say  # noqa: E402
from edge.domain.permits import MAY_RECORD, TECHNICIAN_SHELVES_MIN, PersonRole  # noqa: E402
from edge.domain.quantities import from_kind  # noqa: E402
from edge.domain.readings import KIND_OF, REASONS, UNIT_OF, Kind  # noqa: E402
from edge.domain.records import commissioning  # noqa: E402
from edge.domain.roles import ROLES  # noqa: E402
from edge.domain.words.english import ENGLISH  # noqa: E402
from edge.domain.words.languages import LANGUAGES  # noqa: E402
from edge.domain.words.saying import Words  # noqa: E402
from tests.integration.adapter_table import TABLE as MISBEHAVIOURS  # noqa: E402
from tests.said import kinds_of  # noqa: E402
from tests.terms import CODES, TERMS, used  # noqa: E402


def _table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    lines = ["| " + " | ".join(cells) + " |" for cells in [list(head), *map(list, rows)]]
    lines.insert(1, re.sub(r"[^|]+", " --- ", lines[0]))
    return "\n".join(lines)


def reasons() -> str:
    rows = ((f"`{key}`", str(why.quality), why.text, why.advice) for key, why in REASONS.items())
    return _table(("reason", "quality", "text", "advice"), rows)


def roles() -> str:
    return _table(("role", "kind", "unit"), ((f"`{role}`", str(kind), UNIT_OF[kind]) for role, kind in KIND_OF.items()))


def units() -> str:
    """Units of the station file, replay and records, by what they measure, with their other spellings."""

    def also(names: Iterable[str]) -> str:
        return ", ".join(f"`{other}`" for other, name in quantities._ALSO.items() if name in names)

    rows = (
        (dimension.called, ", ".join(f"`{name}`" for name in dimension.units), also(dimension.units))
        for key, dimension in quantities.DIMENSIONS.items()
        if not key.endswith("_rate")
    )
    return _table(("quantity", "units", "also written"), rows)


def alarms() -> str:
    rows = (
        (
            f"`{name.replace('.', ':')}`", row.priority, f"`{row.stops}`" if row.stops else "", f"{row.on_ms / 1000:g} s",
            f"{row.respond_within_s / 60:g} min", row.consequence, row.response,
        )
        for name, row in {**CATALOGUE, **OWN}.items()
    )  # fmt: skip
    return _table(("alarm", "priority", "not READY", "on-delay", "respond within", "consequence", "response"), rows)


_CATALOGUE_HEAD = """\
# A site's alarm catalogue: [station] alarms = "alarms.toml" of a station file names it, for as many stations as have it.
# Here it says what holds without it. Change what is different at the site and leave the rest out; a station file's own [alarm.<id>]
# comes before it, key by key. `warmwell check` finds mistakes, `warmwell alarms FILE` prints what holds. Delays and deadbands are common
# practice without a published source. Further keys: priority (else it follows from consequence and time to respond), limit,
# re_announce and escalate_after (unanswered for so long, it is announced again; with the next higher priority).
# Written by tests/tables.py.
"""


def alarm_catalogue() -> str:
    """config/alarms.toml: every alarm's row, written out. Duties are left out: their rows differ by duty."""
    blocks = [_CATALOGUE_HEAD]
    for name, row in CATALOGUE.items():
        if name == "duty_due":
            continue
        lines = [f"[alarm.{name}]", f'consequence = "{row.consequence}"', f'response = "{row.response}"']
        lines += [f'respond_within = "{row.respond_within_s / 60:g} min"', f'on_delay = "{row.on_ms / 1000:g} s"']
        lines += [f'off_delay = "{row.off_ms / 1000:g} s"', f"latching = {str(row.latching).lower()}"]
        if row.compares is not None:
            kind = ROLES[row.compares.role].kind
            unit = {Kind.PRESSURE: "psi", Kind.TEMPERATURE: "K"}.get(kind, "L/min")
            deadband = from_kind(row.deadband, unit, kind) if kind is Kind.PRESSURE else row.deadband
            lines.append(f'deadband = "{deadband:.4g} {unit}"')
        blocks.append("\n".join(lines) + "\n")
    return "\n".join(blocks)


_ITEMS_HEAD = """\
# A site's commissioning list: [commissioning] list = "commissioning.toml" of a station file names it, for as many stations as have it.
# Here it says what holds without it. Change what is different at the site and leave the rest out; a station file's own
# [commissioning_item.<id>] comes before it, key by key. `warmwell check` finds mistakes. Keys: low and high (limits of its number), source
# (where they are from), reopened_by (records after which it has to be done again), do (what to look at), caution, leave_out (why it does
# not apply at this site), duration (how long the station times it). An item of the site's own has a title, and a number where it has a
# limit. Limits that don't stand here are those of the station file. Practice: common practice without a published source; the maker's
# instructions come first.
# Written by tests/tables.py.
"""
#: limits that are no station file's, as they are written
_ITEM_LIMITS = {
    "bucket": [f'low = "-{commissioning.BUCKET_SHARE:.0%}"', f'high = "{commissioning.BUCKET_SHARE:.0%}"'],
    "decay": [f'duration = "{commissioning.DECAY_MIN} min"', f'high = "{commissioning.DECAY_KPA:g} kPa"'],
}


def commissioning_list() -> str:
    """config/commissioning.toml: every row, written out. The zero of a gauge is within a share of what its point can read."""
    said = Words()
    blocks = [_ITEMS_HEAD]
    for base, row in commissioning.ROWS.items():
        lines = [
            f"[commissioning_item.{base}]",
            f"# {said.text(commissioning.ask(base, commissioning.lasts_ms(base)))}",
        ]
        lines += ["# Practice."] if row.practice else []
        if base == "zero":
            lines.append(f"# Within {commissioning.ZERO_SHARE:.0%} of what the point can read, to either side.")
        quoted = ", ".join(f'"{record}"' for record in row.reopened_by)
        blocks.append("\n".join([*lines, *_ITEM_LIMITS.get(base, []), f"reopened_by = [{quoted}]"]) + "\n")
    return "\n".join(blocks)


def crossed() -> str:
    advised = Words()
    rows = (
        (f"`{name}`", row.together, row.after, row.until, advised.text(say(f"check.{name}.advice")))
        for name, row in CHECKS.items()
    )
    return _table(("check", "what is true together", "doubted after", "until", "advice"), rows)


def states() -> str:
    def to(state: State, event: Event) -> str:
        if (state, event) in COMES_BACK:
            return "unacknowledged if still there, else normal"
        then = str(TABLE.get((state, event), ""))
        latched = LATCHING.get((state, event))
        return f"{then}; latching: {latched}" if latched else then

    used = [event for event in Event if any(to(state, event) for state in State)]
    return _table(("state", *used), ((f"`{state}`", *(to(state, event) for event in used)) for state in State))


def misbehaviours() -> str:
    def says(reason: str | None) -> tuple[str, str]:
        return ("read all the same", "") if reason is None else (str(REASONS[reason].quality), f"`{reason}`")

    rows = (
        (f"`{row.adapter}`" if row.adapter != "any" else "any", row.what, *says(row.reason)) for row in MISBEHAVIOURS
    )
    return _table(("adapter", "what is wrong", "quality", "reason"), rows)


#: a row of the table of messages: its id, and its values with their kinds
_MESSAGE = re.compile(r"^\| `([a-z0-9_.]+)` \| ([^|]*) \|", re.MULTILINE)


def messages() -> str:
    """Every message with its values and its English words.

    Raises:
        ValueError: a published id has gone, or a value of it: whoever reads messages relies on both.
    """
    kept = MESSAGES.read_text(encoding="utf-8") if MESSAGES.is_file() else ""
    published = {ident: set(re.findall(r"`(\w+)`", values)) for ident, values in _MESSAGE.findall(kept)}
    gone = [ident for ident, values in published.items() if ident not in ENGLISH or values - kinds_of(ident).keys()]
    if gone:
        raise ValueError(
            f"{', '.join(gone)}: published ids and names of values stay; add another id, or take its row out by hand"
        )
    rows = (
        (
            f"`{ident}`",
            ", ".join(f"`{key}` {' or '.join(kinds)}".strip() for key, kinds in sorted(kinds_of(ident).items())),
            words.replace("|", "\\|"),
        )
        for ident, words in ENGLISH.items()
    )
    return _table(("id", "values", "English"), rows)


_MOST_USES = 3


def terms() -> str:
    """The terms of the trade in each language, and where English uses them."""

    def where(uses: list[str]) -> str:
        more = len(uses) - _MOST_USES
        return ", ".join(f"`{use}`" for use in uses[:_MOST_USES]) + (f" and {more} more" if more > 0 else "")

    rows = ((*(term.said[code] for code in ("en", *CODES)), where(used(term))) for term in TERMS)
    return _table(("English", *(LANGUAGES[code].name for code in CODES), "used in"), rows)


def titles() -> str:
    """The titles in each language, by their tables and keys."""
    rows = (
        (title, *(LANGUAGES[code].titles[table][key] for code in CODES), f"`{table}: {key}`")
        for table, keys in TITLES.items()
        if table != "contacts"
        for key, title in keys.items()
    )
    contacts = (
        (word, *(LANGUAGES[code].titles["contact_words"][word] for code in CODES), f"`contacts: {role}`")
        for role, words in TITLES["contacts"].items()
        for word in words
    )
    return _table(("English", *(LANGUAGES[code].name for code in CODES), "used as"), [*rows, *contacts])


TABLES: dict[str, Callable[[], str]] = {
    "messages": messages, "reasons": reasons, "misbehaviours": misbehaviours, "roles": roles, "units": units,
    "alarms": alarms, "crossed": crossed, "states": states, "terms": terms, "titles": titles,
}  # fmt: skip


def permits() -> str:
    """Which role may make which record."""

    def may(record: str, role: PersonRole) -> str:
        if role not in MAY_RECORD[record]:
            return ""
        bounded = record == "shelve" and role is PersonRole.TECHNICIAN
        return f"up to {TECHNICIAN_SHELVES_MIN:g} min" if bounded else "yes"

    rows = ((f"`{record}`", *(may(record, role) for role in PersonRole)) for record in MAY_RECORD)
    return _table(("record", *PersonRole), rows)


def answers() -> str:
    """Each alarm by the name that people see, and what to do about it. Those with rows of their own: which duty."""

    def called(name: str, title: str) -> str:
        base, _, own = name.partition(".")
        return f"{title}: {own.replace('_', ' ')}<br>`{base}:{own}`" if own else f"{title}<br>`{name}`"

    def within(seconds: float) -> str:
        return f"{seconds / 3600:g} h" if seconds >= 3600 else f"{seconds / 60:g} min"

    rows = (
        (
            called(name, row.title), row.priority, TITLES["conditions"][row.stops] if row.stops else "", within(row.respond_within_s),
            row.consequence.replace("{basin}", "…"), row.response,
        )
        for name, row in {**CATALOGUE, **OWN}.items()
    )  # fmt: skip
    return _table(("alarm", "priority", "not READY", "answer within", "what follows", "what to do"), rows)


def paths() -> str:
    """Each path of the API and what it gives, as its route says."""
    from fastapi.routing import APIRoute

    from edge.api.app import build  # here: it imports much
    from edge.api.parts import Parts
    from tests.api_fakes import ABOUT, Fakes

    fakes = Fakes()
    app = build(Parts(fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status))
    routes = [one for one in app.routes if isinstance(one, APIRoute) and one.include_in_schema]
    rows = (
        (
            f"`{' '.join(sorted(one.methods))} {one.path}`",
            " ".join((one.endpoint.__doc__ or "").split("\n\n")[0].split()),
        )
        for one in routes
    )
    return _table(("path", "gives"), rows)


def mark(name: str) -> re.Pattern[str]:
    return re.compile(rf"(<!-- {name}: written by tests/tables.py -->\n)(.*?)(\n<!-- end -->)", re.DOTALL)


#: in deploy/wiring.md, the reasons that a kind of sensor can show
SAYS: re.Pattern[str] = re.compile(
    r"(<!-- says ([\w ]+): written by tests/tables.py -->\n)(.*?)(<!-- end -->)", re.DOTALL
)


def says(keys: str) -> str:
    """What Warmwell says of readings with these reasons, and what it advises."""
    rows = ((REASONS[key].text, str(REASONS[key].quality), REASONS[key].advice) for key in keys.split())
    return _table(("Warmwell says", "the reading is", "and advises"), rows)


def main() -> None:
    for path in REFERENCES:
        text = path.read_text(encoding="utf-8")
        for name, table in TABLES.items():
            text = mark(name).sub(lambda found, table=table: found[1] + table() + found[3], text)
        path.write_text(text, encoding="utf-8")
    ALARMS.write_text(alarm_catalogue(), encoding="utf-8")
    ITEMS.write_text(commissioning_list(), encoding="utf-8")
    text = SAYS.sub(lambda found: f"{found[1]}{says(found[2])}\n{found[4]}", WIRING.read_text(encoding="utf-8"))
    WIRING.write_text(text, encoding="utf-8")
    for path, name, table in ((SECURITY, "permits", permits), (HANDBOOK, "answers", answers), (API, "paths", paths)):
        text = mark(name).sub(
            lambda found, table=table: f"{found[1]}{table()}{found[3]}", path.read_text(encoding="utf-8")
        )
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
