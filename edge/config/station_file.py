"""The station file: read whole, checked whole, turned into settings and plans. See config/station-example.toml.

The reading is spread over modules of one question each: locate.py (lines), reading.py (file to values), fields.py (kinds of
value), bounds.py (defaults and bounds), tables.py and points.py (the tables), sections.py (the whole), build.py (settings), plans.py
(what the daemon needs beside them), checks.py and wiring.py (values against each other), notes.py (warnings).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from edge.config import checks as config_checks
from edge.config import former
from edge.config import notes as config_notes
from edge.config import ports as config_ports
from edge.config import telling as config_telling
from edge.config import wiring as config_wiring
from edge.config.bounds import ONEWIRE_READ_MS
from edge.config.build import commissioning_item as build_item
from edge.config.build import point as build_point
from edge.config.build import station as build_station
from edge.config.build import tuning as build_tuning
from edge.config.build import whole_ms
from edge.config.plans import (
    OWN_CERTIFICATE,
    OWN_KEY,
    ApiPlan,
    BackupPlan,
    BusPlan,
    KeepPlan,
    MqttPlan,
    PageTlsPlan,
    PeoplePlan,
    ReportsPlan,
    StationFile,
    TlsPlan,
)
from edge.config.points import ACTIVE_KINDS, BusTable, OneWireBus
from edge.config.reading import Findings, Mistake, UnusableInputs, document_of, text_of
from edge.config.sections import Tables, kind_of, other_kinds, read
from edge.config.shared_files import SHARED, add_shared
from edge.config.tables import BackupTable, BrokerTable, KeepTable, PeopleTable, ReportsTable
from edge.domain.errors import UnusableInput
from edge.domain.settings import AlarmTuning, Commissioning, Point, Settings


def load(path: Path) -> StationFile:
    """Read and check a station file.

    Raises:
        UnusableInputs: all mistakes of the file, in the order of its lines; its text is one sentence a line.
    """
    try:
        text = text_of(path)
    except UnusableInput as exc:
        raise UnusableInputs([exc]) from exc
    return loads(text, path)


def loads(text: str, path: Path) -> StationFile:
    """As load(), from text; `path` names the file in sentences, and relative names in it are looked for beside it."""
    found = Findings(str(path))
    document_of(text, found)
    if not text.strip() or not (found.document or found.mistakes):
        found.mistakes.append(
            Mistake(1, "", "the file is empty", "at least [station], one [[bus]] and one [[point]]", "Fill it")
        )
    former.bring_up(found)
    of_others: tuple[UnusableInput, ...] = ()
    for kind in SHARED:
        try:
            add_shared(found, path.parent, kind)
        except UnusableInputs as exc:
            of_others += exc.mistakes
    tables = read(found)
    points = _points(tables, found)
    tunings, asked = _tunings(tables, found), _commissioning(tables, found)
    config_checks.check(tables, points, found)
    config_wiring.check(tables, found)
    config_telling.check(tables, found)
    found.refuse(of_others)
    digest = _digest(found)
    found.refuse()
    settings = _asking(build_station(tables, _bound(points, found.document), tunings), asked)
    config_notes.warn(tables, settings, found)
    config_telling.warn(tables, found)
    keep = _keep(tables.keep, path.parent)
    return StationFile(
        path=path,
        settings=settings,
        buses=tuple(_bus_plan(tables, bus, points, found) for bus in tables.bus),
        mqtt=_mqtt(tables, path.parent),
        api=_api(tables, path.parent, keep.folder),
        keep=keep,
        document=dict(found.document),
        digest=digest,
        warnings=tuple(found.warnings),
        never_ready=tuple(found.never_ready),
        not_active=tuple(config_notes.not_active(tables)),
        tell=config_telling.tell_plan(tables, path.parent),
        outputs=config_telling.output_plans(tables),
        people=_people(tables.people),
        backup=_backup(tables.backup, path.parent),
        reports=_reports(tables.reports, path.parent),
    )


def settings_of(document: Mapping[str, Any]) -> Settings:
    """What a station file's document, as the journal keeps it, makes of its station. Raises UnusableInputs."""
    found = Findings("the journal's settings")
    found.document = document
    former.bring_up(found)  # an earlier version may have written it
    tables = read(found)
    points, tunings = _points(tables, found), _tunings(tables, found)
    asked = _commissioning(tables, found)
    found.refuse()
    return _asking(build_station(tables, _bound(points, found.document), tunings), asked)


def _points(tables: Tables, found: Findings) -> dict[int, Point]:
    made = {}
    for table in tables.point:
        path = tables.path(table)
        bus = tables.bus_of(table)
        point = build_point(found, path, table, bus.id if bus is not None else "")
        if point is not None:
            made[_index(tables, table)] = point
    return made


def _index(tables: Tables, table: Any) -> int:
    index = tables.path(table)[-1]
    assert isinstance(index, int)  # a table of a list
    return index


def _tunings(tables: Tables, found: Findings) -> dict[str, AlarmTuning]:
    made = {alarm_id: build_tuning(found, alarm_id, table) for alarm_id, table in tables.alarm.items()}
    return {alarm_id: tuned for alarm_id, tuned in made.items() if tuned is not None}


def _commissioning(tables: Tables, found: Findings) -> Commissioning:
    own = tables.commissioning
    made = {ident: build_item(found, ident, table) for ident, table in tables.commissioning_item.items()}
    return Commissioning(own is not None, own is not None and own.keeps_from_ready, made)


def _asking(settings: Settings, asked: Commissioning) -> Settings:
    return replace(settings, rules=replace(settings.rules, commissioning=asked))


#: keys of a point that say nothing of how a quantity is made of what its sensor says
_NOT_TRANSDUCER: Final = frozenset(
    "id role of bus address serial every stale_after range max_rate resolution uncertainty unit".split()
)


def _bound(points: Mapping[int, Point], document: Mapping[str, Any]) -> tuple[Point, ...]:
    """Points with what their calibrations are bound to: which sensor, and a digest of the transducer's settings."""
    bound, tables = [], document["point"]
    wirings = [{key: value for key, value in table.items() if key not in _NOT_TRANSDUCER} for table in tables]
    wirings = former.first_named({"point": wirings})["point"]  # else a key that is renamed would undo calibrations
    for index, point in points.items():
        table, wiring = tables[index], wirings[index]
        identity = str(table.get("address") or table.get("serial") or "")
        digest = (
            hashlib.sha256(json.dumps(wiring, sort_keys=True, default=str).encode()).hexdigest()[:16] if wiring else ""
        )
        bound.append(replace(point, identity=identity, transducer=digest))
    return tuple(bound)


def _digest(found: Findings) -> str:
    """SHA-256 of the document's canonical form; a mistake where another package's keys hold what JSON can't."""
    import rfc8785

    try:
        return hashlib.sha256(rfc8785.dumps(dict(found.document))).hexdigest()
    except (ValueError, RecursionError):  # the library's own errors are ValueErrors
        expected = "texts, numbers that JSON can hold, true, false, lists and tables"
        found.wrong((), "holds a date, a number that is not finite or a whole number beyond 2^53", expected)
        return ""


def _bus_plan(tables: Tables, bus: BusTable, points: Mapping[int, Point], found: Findings) -> BusPlan:
    options = found.document["bus"][_index(tables, bus)]
    on_it = {_index(tables, point): point for point in tables.point if tables.bus_of(point) is bus}
    return BusPlan(
        id=bus.id,
        kind=kind_of(bus),
        options=dict(options),
        points={point.id: dict(found.document["point"][index]) for index, point in on_it.items()},
        active=kind_of(bus) in ACTIVE_KINDS or kind_of(bus) in other_kinds(),
        period_ms=min((points[index].every_ms for index in on_it), default=1000),
        time_limit_ms=whole_ms(bus.time_limit) if bus.time_limit is not None else _own_limit_ms(bus, len(on_it)),
    )


def _own_limit_ms(bus: BusTable, points: int) -> int | None:
    """A time limit by the kind of bus; None for acquisition's own. Probes that can't convert at once convert in turn."""
    return 2000 + ONEWIRE_READ_MS * points if isinstance(bus, OneWireBus) else None


def _beside(folder: Path, name: str | None) -> Path | None:
    return folder / name if name is not None else None


def _mqtt(tables: Tables, folder: Path) -> MqttPlan | None:
    own = tables.mqtt
    return None if own is None else replace(broker_plan(own, folder), archives=tuple(own.archives))


def broker_plan(own: BrokerTable, folder: Path) -> MqttPlan:
    """The broker that a table [mqtt] names; `folder`: where the file lies."""
    tls = None
    if own.tls is not None:
        tls = TlsPlan(*(_beside(folder, name) for name in (own.tls.ca, own.tls.certificate, own.tls.key)))
    return MqttPlan(
        host=own.host,
        port=own.port if own.port is not None else 1883 if tls is None else 8883,
        tls=tls,
        username=own.username,
        password_file=_beside(folder, own.password_file),
        client_id=own.client_id,
        keepalive_s=round(own.keep_alive / 1000),
    )


def _api(tables: Tables, folder: Path, keep: Path) -> ApiPlan:
    own = tables.api
    if own is None:
        return ApiPlan()
    tls = None
    if own.tls is not None:
        certificate, key = _beside(folder, own.tls.certificate), _beside(folder, own.tls.key)
        tls = PageTlsPlan(
            certificate or keep / OWN_CERTIFICATE,
            key or keep / OWN_KEY,
            certificate is None,
            tuple(own.tls.names or ()),
        )
    host, port = own.listen
    return ApiPlan(host, port, tls, _beside(folder, own.people), _beside(folder, own.room))


def _people(own: PeopleTable | None) -> PeoplePlan:
    own = own if own is not None else PeopleTable.model_validate({})
    return PeoplePlan(whole_ms(own.idle), whole_ms(own.longest), own.looking == "open", own.names == "open")


def _keep(own: KeepTable | None, folder: Path) -> KeepPlan:
    own = own if own is not None else KeepTable.model_validate({})
    return KeepPlan(
        folder=folder / own.folder,
        raw_ms=whole_ms(own.raw),
        minutes_ms=whole_ms(own.minutes),
        hours_ms=whole_ms(own.hours) if own.hours is not None else None,
        size_bytes=round(own.size) if own.size is not None else None,
        segment_entries=own.segment_entries,
        timestamp_url=own.timestamp_url,
        timestamp_ca=_beside(folder, own.timestamp_ca),
    )


def _backup(own: BackupTable | None, folder: Path) -> BackupPlan | None:
    return None if own is None else BackupPlan(folder / own.folder, whole_ms(own.every), whole_ms(own.overdue_after))


def _reports(own: ReportsTable | None, folder: Path) -> ReportsPlan | None:
    return (
        None
        if own is None
        else ReportsPlan(
            folder / own.folder,
            tuple(own.forms),
            whole_ms(own.keep) // 86_400_000,
            own.language,
            _beside(folder, own.send),
        )
    )


def check_report(path: Path) -> tuple[int, str]:
    """What `warmwell check FILE` prints, and its exit code: 0 where the file can be used, 2 with one sentence a mistake."""
    try:
        station = load(path)
    except UnusableInputs as exc:
        return 2, str(exc)
    settings = station.settings
    size = f"{_many(len(settings.points), 'point')} on {_many(len(station.buses), 'bus', 'buses')}"
    usable = "can be used" if not station.never_ready else "can be used, but its station can never be READY: see below"
    lines = [f"{path}: {usable}. Station {settings.name}, {size}, settings {station.digest[:12]}."]
    lines += [f"Never READY: {text}" for text in station.never_ready]
    lines += [f"Warning: {text}" for text in warnings_of(station)]
    lines += [f"Not active yet: {text}" for text in station.not_active]
    return 0, "\n".join(lines)


def warnings_of(station: StationFile) -> list[str]:
    """What whoever wrote the file should look at, though it can be used, beside why it is never READY: a sentence each."""
    own = [text for text in station.warnings if text not in station.never_ready]
    return [*own, *_missing_files(station), *_shared_ports(station)]


def _many(count: int, word: str, words: str = "") -> str:
    return f"{count} {word if count == 1 else words or word + 's'}"


def _shared_ports(station: StationFile) -> list[str]:
    """Ports named by a maker's number that more than one converter of this board bears."""
    twins = config_ports.nameless(config_ports.SERIAL)
    named = [bus for bus in station.buses if str(bus.options.get("port", "")).startswith("/dev/serial/by-id/")]
    return [f"{station.path}, bus[{bus.id}].port: {config_ports.told(twins)}." for bus in named if twins]


def _missing_files(station: StationFile) -> list[str]:
    """Files that the station file names and that aren't there now; they may still come before the start."""
    if station.mqtt is None:
        return []
    tls = station.mqtt.tls or TlsPlan()
    named = {
        "mqtt.tls.ca": tls.ca,
        "mqtt.tls.certificate": tls.certificate,
        "mqtt.tls.key": tls.key,
        "mqtt.password_file": station.mqtt.password_file,
    }
    return [
        f"{station.path}, {key}: {name} isn't there."
        for key, name in named.items()
        if name is not None and not name.exists()
    ]
