"""Which record answers what a station asks for. Pure: it goes by the ids of what is said, and reads no text.

A station asks in messages (`waits_for_msgs` of its verdict) and by alarms of what is owed. Each row here names the records that answer
one, and which of its values are keys of their form already: "Record when filter fine was last changed" is a filter change of fine.
What no record answers (to wait, to draw water, to have something mended) has no row.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from edge.domain.messages import Message
from edge.domain.roles import Role


class Answer(NamedTuple):
    """A record that answers something, and what its form is given already."""

    record: str
    keys: Mapping[str, str]


class _Row(NamedTuple):
    """Records, keys of their forms from named values of the message, and keys that stand."""

    records: tuple[str, ...]
    keys: Mapping[str, str] = MappingProxyType({})
    given: Mapping[str, str] = MappingProxyType({})


_TEST: Final = _Row(("daily_test",))
_TREATMENT: Final = _Row(("water_path_treatment",))
_FILL: Final = _Row(("disinfectant_fill",))
_CHECK_OR_FILL: Final = _Row(("concentration_check", "disinfectant_fill"))
_SERVICE: Final = _Row(("service",), {"duty": "duty"})
_FILTER: Final = _Row(("filter_change",), {"filters": "filter"})
_RELEASE: Final = _Row(("release",))


def _read(role: Role) -> _Row:
    return _Row(("entered_reading",), given={"role": str(role)})


#: id of what is asked -> what answers it
_ASKED: Final[Mapping[str, _Row]] = MappingProxyType(
    {
        "daily_test.ask": _TEST, "daily_test.last_failed.ask": _TEST, "daily_test.port_failed.ask": _TEST,
        "daily_test.ports_failed.ask": _TEST, "daily_test.items_failed.ask": _TEST,
        "daily_test.power_unsure.ask": _Row(("daily_test", "release")),
        "treatment.ask": _TREATMENT, "treatment.tested.ask": _TREATMENT, "treatment.untested.ask": _TREATMENT,
        "treatment.under_way.ask": _TREATMENT, "treatment.contact_done.ask": _TREATMENT, "treatment.waits.ask": _TREATMENT,
        "treatment.unfinished.ask": _TREATMENT,
        "disinfectant.ask": _FILL, "disinfectant.no_fill.ask": _FILL, "disinfectant.opening_not_known.ask": _FILL,
        "disinfectant.check_failed.ask": _CHECK_OR_FILL, "disinfectant.equipment_changed.ask": _CHECK_OR_FILL,
        "disinfectant.check_owed.ask": _Row(("concentration_check",)),
        "duty.ask": _SERVICE, "duty.failed.ask": _SERVICE, "duty.above_action.ask": _SERVICE, "duty.cant_be_compared.ask": _SERVICE,
        "hold.held.ask": _RELEASE, "hold.held_in.ask": _Row(("release",), {"basin": "basin"}), "hold.overlooked.ask": _RELEASE,
        "loss.ask": _RELEASE, "dropped.ask": _RELEASE,
        "machine.work_declared.ask": _Row(("work_ends",)), "machine.work_declared_in.ask": _Row(("work_ends",), {"basin": "basin"}),
        "machine.seen_off.ask": _read(Role.MACHINE_POWER), "outlet.seen_tripped.ask": _read(Role.OUTLET_PROTECTION),
        "outlet.test_failed.ask": _Row(("outlet_test",), {"outlet": "outlet"}),
        "outlet.test_none": _Row(("outlet_test",), {"outlet": "outlet"}), "outlet.seen.ask": _Row(("outlet_test",), {"outlet": "outlet"}),
        "by_eye.read_point": _Row(("entered_reading",), {"point": "point"}),
        "by_eye.read_role": _Row(("entered_reading",), {"role": "role"}), "by_eye.seen.ask": _Row(("entered_reading",), {"role": "role"}),
        "filter.no_change.ask": _FILTER, "filter.fell.ask": _FILTER, "filter.alone_may_be.ask": _FILTER,
        "filter.total_above.ask": _Row(("filter_change",)),
        "clock.untrusted.ask": _Row(("clock_confirmed",)), "commissioning.ask": _Row(("commissioning",)),
    }
)  # fmt: skip
#: the same of alarms, by what stands before the last ":"; what stands behind it is the value `of`
_ALARMS: Final[Mapping[str, _Row]] = MappingProxyType(
    {
        "duty_due:daily_test": _Row(("daily_test",), {"basin": "of"}), "duty_due:water_path_treatment": _TREATMENT,
        "duty_due:disinfectant_change": _FILL, "duty_due:concentration_check": _Row(("concentration_check",)),
        "duty_due:calibration": _Row(("calibration",), {"point": "of"}), "duty_due:outlet_test": _Row(("outlet_test",), {"outlet": "of"}),
        "outlet_test_failed": _Row(("outlet_test",), {"outlet": "of"}), "filter_due": _Row(("filter_change",), {"filters": "of"}),
        "filter_fell": _Row(("filter_change",), {"filters": "of"}), "hold": _RELEASE,
        "duty_due": _Row(("service",), {"duty": "of"}),
    }
)  # fmt: skip


def to_message(asked: Message) -> list[Answer]:
    """What answers something that is asked, the first the plainest; none where no record does.

    Messages that are made of others are looked into; one that names a basin says which.

    >>> from edge.domain.messages import name, part, say
    >>> to_message(say("daily_test.in_basin", basin=name("left"), ask=part(say("daily_test.ask"))))
    [Answer(record='daily_test', keys={'basin': 'left'})]
    >>> to_message(say("draw.ask"))
    []
    """
    found = list(_of_row(_ASKED[asked.id], asked)) if asked.id in _ASKED else []
    if asked.id == "undated.ask":
        found.append(Answer(str(asked.values["record"].value), {}))
    basin = asked.values.get("basin")
    for value in asked.values.values():
        if value.kind == "message" and isinstance(value.value, Message):
            keys = {} if basin is None else {"basin": str(basin.value)}
            found += [Answer(one.record, {**one.keys, **keys}) for one in to_message(value.value)]
    return found


def _of_row(row: _Row, asked: Message) -> Iterator[Answer]:
    keys = {key: str(asked.values[value].value) for key, value in row.keys.items() if value in asked.values}
    for record in row.records:
        yield Answer(record, {**row.given, **keys})


def to_alarm(alarm: str) -> Answer | None:
    """What answers an alarm of something that people owe; None where no record ends it.

    >>> to_alarm("duty_due:calibration:supply"), to_alarm("duty_due:drip-tray"), to_alarm("reservoir_cold")
    (Answer(record='calibration', keys={'point': 'supply'}), Answer(record='service', keys={'duty': 'drip-tray'}), None)
    """
    base, _, of = alarm.rpartition(":")
    row = _ALARMS.get(alarm)
    if row is not None:
        return Answer(row.records[0], {})
    row = _ALARMS.get(base)
    return None if row is None else Answer(row.records[0], dict.fromkeys(row.keys, of))
