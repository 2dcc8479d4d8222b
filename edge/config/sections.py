"""The whole station file as tables: which sections there are, how each is read, and the JSON Schema of it all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Final

from pydantic import Field

from edge.config.fields import Is, listed, nearest, told
from edge.config.locate import Path
from edge.config.points import KINDS, AnyBus, AnyPoint, BusTable, OtherBus, OtherPoint, PointTable
from edge.config.reading import Findings, Reader
from edge.config.tables import (
    AlarmTable,
    ApiTable,
    BackupTable,
    BasinTable,
    CommissioningItemTable,
    CommissioningTable,
    DailyTestTable,
    DisinfectantTable,
    DutyTable,
    FiltersTable,
    FilterTable,
    HoursTable,
    KeepTable,
    MqttTable,
    OutletTestTable,
    PeopleTable,
    ReportsTable,
    ReservoirTable,
    StationTable,
    SupplyTable,
    Table,
    WaterPathTreatmentTable,
)
from edge.config.telling_tables import OutputTable, TargetTable, TellTable
from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.readings import Role

#: alarms by their id without what follows ':'
ALARM_IDS: Final = tuple(CATALOGUE)

Standing = Annotated[float, Is("not_fitted")]
ADAPTERS_GROUP: Final = "warmwell.adapters"


class WholeFile(Table):
    """A station file of Warmwell. Quantities carry their unit; counts and ratios are bare numbers."""

    station: StationTable
    hours: HoursTable | None = None
    basin: list[BasinTable] = Field(default_factory=list)
    reservoir: ReservoirTable | None = None
    supply: SupplyTable | None = None
    filter: list[FilterTable] = Field(default_factory=list)
    filters: FiltersTable | None = None
    daily_test: DailyTestTable | None = None
    water_path_treatment: WaterPathTreatmentTable | None = None
    disinfectant: DisinfectantTable | None = None
    outlet_test: OutletTestTable | None = None
    commissioning: CommissioningTable | None = None
    commissioning_item: dict[str, CommissioningItemTable] = Field(
        default_factory=dict, description="The site's own commissioning list, by id without what follows ':'."
    )
    not_fitted: dict[str, Standing] = Field(
        default_factory=dict,
        description="Roles looked at by eye instead, or while their sensor is broken: how long an entered reading stands.",
    )
    alarm: dict[str, AlarmTable] = Field(
        default_factory=dict, description="Tuning by alarm id without what follows ':'."
    )
    duty: dict[str, DutyTable] = Field(default_factory=dict, description="The site's own list of duties.")
    bus: list[AnyBus] = Field(min_length=1)
    point: list[AnyPoint] = Field(min_length=1)
    mqtt: MqttTable | None = None
    api: ApiTable | None = None
    people: PeopleTable | None = None
    keep: KeepTable | None = None
    backup: BackupTable | None = None
    reports: ReportsTable | None = None
    tell: TellTable | None = None
    target: list[TargetTable] = Field(default_factory=list)
    output: list[OutputTable] = Field(default_factory=list)


#: sections that are one table
SINGLE: Final[Mapping[str, type[Table]]] = MappingProxyType(
    {
        "station": StationTable, "hours": HoursTable, "reservoir": ReservoirTable, "supply": SupplyTable,
        "filters": FiltersTable, "daily_test": DailyTestTable, "water_path_treatment": WaterPathTreatmentTable,
        "disinfectant": DisinfectantTable, "outlet_test": OutletTestTable, "commissioning": CommissioningTable,
        "mqtt": MqttTable, "api": ApiTable, "keep": KeepTable,
        "backup": BackupTable, "reports": ReportsTable, "tell": TellTable, "people": PeopleTable,
    }
)  # fmt: skip
#: lists of tables whose model depends on nothing else
PLAIN_ROWS: Final[Mapping[str, type[Table]]] = MappingProxyType(
    {"basin": BasinTable, "filter": FilterTable, "target": TargetTable, "output": OutputTable}
)
MANY: Final = (*PLAIN_ROWS, "bus", "point")
NAMED: Final[Mapping[str, type[Table]]] = MappingProxyType(
    {"alarm": AlarmTable, "duty": DutyTable, "commissioning_item": CommissioningItemTable}
)
SECTIONS: Final = (*SINGLE, *MANY, *NAMED, "not_fitted")


@dataclass(slots=True)
class Tables:
    """What could be read. A value in a table is None where it can't be used; then there is a mistake on record."""

    station: StationTable | None = None
    hours: HoursTable | None = None
    reservoir: ReservoirTable | None = None
    supply: SupplyTable | None = None
    filters: FiltersTable | None = None
    daily_test: DailyTestTable | None = None
    water_path_treatment: WaterPathTreatmentTable | None = None
    disinfectant: DisinfectantTable | None = None
    outlet_test: OutletTestTable | None = None
    commissioning: CommissioningTable | None = None
    commissioning_item: dict[str, CommissioningItemTable] = field(default_factory=dict)
    mqtt: MqttTable | None = None
    api: ApiTable | None = None
    people: PeopleTable | None = None
    keep: KeepTable | None = None
    backup: BackupTable | None = None
    reports: ReportsTable | None = None
    tell: TellTable | None = None
    target: list[TargetTable] = field(default_factory=list)
    output: list[OutputTable] = field(default_factory=list)
    basin: list[BasinTable] = field(default_factory=list)
    filter: list[FilterTable] = field(default_factory=list)
    bus: list[BusTable] = field(default_factory=list)
    point: list[PointTable] = field(default_factory=list)
    alarm: dict[str, AlarmTable] = field(default_factory=dict)
    duty: dict[str, DutyTable] = field(default_factory=dict)
    not_fitted: dict[Role, float] = field(default_factory=dict)
    places: dict[int, Path] = field(default_factory=dict)  # id() of a table of a list -> its path

    def path(self, table: Table) -> Path:
        """Where a table of a list stands."""
        return self.places[id(table)]

    def by_index(self) -> dict[int, PointTable]:
        """Points by their index in the file; those that are no tables at all are missing."""
        return {index: point for point in self.point if isinstance(index := self.path(point)[-1], int)}

    def bus_of(self, point: PointTable) -> BusTable | None:
        """The bus that a point names, or the only one there is."""
        if point.bus is None:
            return self.bus[0] if len(self.bus) == 1 else None
        return next((bus for bus in self.bus if bus.id == point.bus), None)


def kind_of(bus: BusTable | None) -> str:
    """A bus's kind; "" where it isn't known."""
    return str(getattr(bus, "kind", None) or "")


def other_kinds() -> frozenset[str]:
    """Kinds of bus whose adapters other installed packages bring."""
    from importlib.metadata import entry_points

    return frozenset(entry_points(group=ADAPTERS_GROUP).names)


def read(found: Findings) -> Tables:
    """All tables of `found.document`."""
    reader = Reader(found, _homes())
    document, tables = found.document, Tables()
    for key in document:
        if key not in SECTIONS:
            _unknown_section(found, key)
    for key, model in SINGLE.items():
        if key in document:
            setattr(tables, key, reader.table(model, document[key], (key,)))
    if "station" not in document and not found.parsed.may_lack and document:
        found.wrong(("station",), "the table [station] is missing", "[station] with site, id and timezone", "Add it")
    for key, row_model in PLAIN_ROWS.items():
        for path, row in _rows(found, key):
            _keep(tables, key, reader.table(row_model, row, path), path)
    _named(found, reader, tables)
    _not_fitted(found, tables)
    for path, row in _rows(found, "bus"):
        _keep(tables, "bus", reader.table(_bus_model(found, path, row), row, path), path)
    for path, row in _rows(found, "point"):
        _keep(tables, "point", _point(found, reader, tables, path, row), path)
    if "bus" not in document and not found.parsed.may_lack and document:
        found.wrong((), "no [[bus]] is there", "at least one bus that points are read through", "Add it")
    if not tables.point and "point" not in document and not found.parsed.may_lack and document:
        found.wrong((), "no [[point]] is there", "at least one point on a bus", "Add what the station measures")
    return tables


def read_named(found: Findings, section: str) -> Tables:
    """The [<section>.<id>] tables of `found.document`, and nothing else of it."""
    tables = Tables()
    _named(found, Reader(found, {}), tables, (section,))
    return tables


def _keep(tables: Tables, key: str, table: Table | None, path: Path) -> None:
    if table is not None:
        getattr(tables, key).append(table)
        tables.places[id(table)] = path


def _unknown_section(found: Findings, key: str) -> None:
    near = nearest(key, SECTIONS)
    home = _homes().get(key)
    if not near and home:
        near = f" (it belongs in {home})"
    found.wrong((key,), f"{told(key)} is not known here{near}", f"one of {', '.join(SECTIONS)}", "Correct or remove it")


def _rows(found: Findings, key: str) -> list[tuple[Path, Any]]:
    rows = found.document.get(key, [])
    if not isinstance(rows, list):
        found.wrong((key,), f"is {told(rows)}", f"a list of tables, each under [[{key}]]", "Use two brackets")
        return []
    return [((key, index), row) for index, row in enumerate(rows)]


def _table_of_tables(found: Findings, key: str) -> Mapping[str, Any]:
    value = found.document.get(key, {})
    if not isinstance(value, dict):
        found.wrong((key,), f"is {told(value)}", f"tables such as [{key}.name]", "Use one bracket and a name")
        return {}
    return value


def _named(found: Findings, reader: Reader, tables: Tables, sections: Sequence[str] = tuple(NAMED)) -> None:
    for section in sections:
        model = NAMED[section]
        for own, value in _table_of_tables(found, section).items():
            table = reader.table(model, value, (section, own))
            if table is not None:
                getattr(tables, section)[own] = table


def _not_fitted(found: Findings, tables: Tables) -> None:
    from pydantic import TypeAdapter, ValidationError

    words = [role.value for role in Role]
    adapter: TypeAdapter[float] = TypeAdapter(Standing)
    for word, value in _table_of_tables(found, "not_fitted").items():
        path = ("not_fitted", word)
        if word not in words:
            found.wrong(path, f"role {told(word)} is not known{nearest(word, words)}", f"one of {', '.join(words)}")
        try:
            standing = adapter.validate_python(value)
        except ValidationError as exc:
            context = exc.errors()[0].get("ctx", {})
            found.wrong(path, str(context.get("what")), str(context.get("expected")), str(context.get("do")))
            continue
        if word in words:
            tables.not_fitted[Role(word)] = standing


def _bus_model(found: Findings, path: Path, row: Any) -> type[BusTable]:
    kind = row.get("kind") if isinstance(row, dict) else None
    if isinstance(kind, str) and kind in KINDS:
        return KINDS[kind][0]
    if isinstance(kind, str) and kind.strip():
        others = other_kinds()
        if kind not in others:
            known = (*KINDS, *sorted(others))
            found.wrong((*path, "kind"), f"kind of bus {told(kind)} is not known{nearest(kind, known)}", listed(known))
    return OtherBus


def _point(found: Findings, reader: Reader, tables: Tables, path: Path, row: Any) -> PointTable | None:
    if not isinstance(row, dict):
        return reader.table(PointTable, row, path)
    named = row.get("bus")
    if named is None and len(tables.bus) > 1 and found.lacks((*path, "bus")):
        known = [bus.id for bus in tables.bus if bus.id]
        found.wrong((*path, "bus"), "bus is missing", f"the id of a bus: {', '.join(known)}", "Add it")
    bus = next((bus for bus in tables.bus if bus.id == named), None) if named is not None else None
    if named is None and len(tables.bus) == 1:
        bus = tables.bus[0]
    told_already = found.parsed.may_lack or not isinstance(found.document.get("bus", []), list)
    if isinstance(named, str) and bus is None and not told_already:
        ids = [bus.id for bus in tables.bus if bus.id]
        there = f"the id of a bus: {', '.join(ids)}" if ids else "a [[bus]] with this id"
        found.wrong((*path, "bus"), f"there is no bus {told(named)}{nearest(named, ids)}", there)
    kind = kind_of(bus)
    if kind in KINDS:
        return reader.table(KINDS[kind][1], row, path)
    if not kind or kind not in other_kinds():
        _judge_keys(found, path, row)
    return reader.table(OtherPoint, row, path)


def _judge_keys(found: Findings, path: Path, row: Mapping[str, Any]) -> None:
    """Of a point whose bus isn't known, a key that no kind of point has is wrong all the same."""
    known = {info.alias or own: None for _, model in KINDS.values() for own, info in model.model_fields.items()}
    for key in row:
        if key not in known:
            found.wrong(
                (*path, key), f"key {told(key)} is not known here{nearest(key, known)}", f"one of {', '.join(known)}"
            )


@cache
def _homes() -> Mapping[str, str]:
    """Where each key belongs, to help a key that stands in the wrong table."""
    homes: dict[str, str] = {}
    for section, model in (*SINGLE.items(), *NAMED.items()):
        for own, info in model.model_fields.items():
            homes.setdefault(info.alias or own, f"[{section}]")
    for section, row in PLAIN_ROWS.items():
        for own in row.model_fields:
            homes.setdefault(own, f"[[{section}]]")
    for place, models in (("[[bus]]", [k[0] for k in KINDS.values()]), ("[[point]]", [k[1] for k in KINDS.values()])):
        for kind in models:
            for own, info in kind.model_fields.items():
                homes.setdefault(info.alias or own, place)
    return homes


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the station file, for editors: form, words and bounds. The program checks what goes beyond."""
    made = WholeFile.model_json_schema(by_alias=True)
    made["properties"]["not_fitted"]["propertyNames"] = {"enum": [role.value for role in Role]}
    made["properties"]["alarm"]["propertyNames"] = {"enum": list(ALARM_IDS)}
    plain = _without_null(made)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:warmwell:station-file:1",
        **plain,
        "title": "Station file of Warmwell",
    }


def _without_null(node: Any) -> Any:
    """TOML has no null: what may be left out is not required, and that is all."""
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    made = {key: _without_null(item) for key, item in node.items() if not (key == "default" and item is None)}
    options = made.get("anyOf")
    if isinstance(options, list):
        kept = [option for option in options if option != {"type": "null"}]
        if len(kept) == 1 and len(kept) < len(options):
            del made["anyOf"]
            made = {**kept[0], **made}
    if isinstance(made.get("title"), str) and "type" in made and made.get("type") != "object":
        del made["title"]  # the key again, in other letters
    return made


__all__ = ["ALARM_IDS", "SECTIONS", "Tables", "WholeFile", "kind_of", "other_kinds", "read", "schema"]
