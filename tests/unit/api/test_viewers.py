"""Answers in a viewer's language and units, of a real station's picture.

Conversions: NIST SP 811 (2008), appendix B.8: 1 psi = 6.894757 kPa, t/degF = 1.8 t/degC + 32; 1 gal (US) = 3.785412 L. Accept-Language:
RFC 9110, 12.5.4. What is never changed by a viewer (values, ids, messages, the journal) is the project's own contract.
"""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.api.picture import Watch
from edge.api.preference import preferred
from edge.api.viewers import AS_IT_IS, MOST_VIEWERS, Viewer, Viewers
from edge.domain.messages import of_json
from edge.domain.words.german import DE
from edge.domain.words.language import Language
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.units import Chosen
from edge.snapshot import Snapshot
from tests.api_fakes import Fakes
from tests.unit.api.test_picture import Told
from tests.unit.api.test_routes import ONE, Desk, assert_problem
from tests.unit.api.test_stream import entries, hub_over, opened
from tests.unit.stations import DRAWING, PSI, QUIET, SETTINGS, Driver

AMERICAN = Chosen("degF", "psi", "gal")
METRIC = Chosen("degC", "kPa", "L")
#: two letters side by side that are no unit: something is said
WORD = re.compile(r"(?!psi|min|gal)[A-Za-z]{3,}")
PATHS = [f"{ONE}/{name}" for name in ("verdict", "points", "alarms", "estimates", "journal?after=0")]


@cache
def driver() -> Driver:
    """A station whose supply is weak, whose room's probe is silent, and whose duties wait."""
    driver = Driver(SETTINGS)
    driver.run(30, QUIET)
    driver.run(60, DRAWING | {"supply": 20 * PSI})
    driver.tell(room=None)
    driver.run(2, {ident: value for ident, value in QUIET.items() if ident != "room"})
    return driver


def parts() -> dict[str, Any]:
    station, now = driver().station, driver().now
    return {
        "verdict": station.verdict(now), "points": station.points(now), "alarms": station.alarms(now),
        "estimates": station.estimates(now), "dates": station.dates, "units": station.units,
    }  # fmt: skip


def picture(version: int = 1, **more: Any) -> Snapshot:
    return Snapshot(version, 1, driver().now, **(parts() | more))


@pytest.fixture
def desk() -> Desk:
    desk = Desk()
    desk.fakes.judge.newest = picture(7)
    for entry in driver().said:
        desk.fakes.journal.add(entry.kind, dict(entry.body))
    return desk


def json_of(desk: Desk, target: str, **headers: str) -> Any:
    answer = desk("GET", target, **headers)
    assert answer.status == 200, answer.body
    return answer.json


def texts(shape: Any) -> Iterator[str]:
    """All that a shape says: what stands beside a message."""
    if isinstance(shape, Mapping):
        for key, value in shape.items():
            if key in ("text", "cause", "advice", "consequence", "response", "note", "why") and isinstance(value, str):
                yield value
            else:
                yield from value if key == "waits_for" else texts(value)
    elif isinstance(shape, list):
        for each in shape:
            yield from texts(each)


def without_age(shape: Any) -> Any:
    return json.loads(
        json.dumps(shape), object_hook=lambda d: {k: v for k, v in d.items() if k not in ("quiet_s", "age_s")}
    )


# -- who asks for nothing


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    "header", ["", "en-IE,en;q=0.9,de;q=0.4", "nl,*", "x" * 600], ids=["none", "english", "other", "long"]
)
def test_without_a_language_everything_stands_as_the_station_tells_it(desk: Desk, path: str, header: str) -> None:
    said = without_age(json_of(desk, path, **({"accept_language": header} if header else {})))
    snapshot = without_age(parts() | {"dates": None, "units": None})
    if path.startswith(f"{ONE}/journal"):
        bodies = [entry["body"] for entry in said["entries"]][-len(driver().said) :]
        assert bodies == json.loads(json.dumps([e.body for e in driver().said]))
        assert not {"language", "as_kept"} & said["entries"][-1].keys()
    elif path.endswith("verdict"):
        answers = said.pop("answers")  # which records answer what is asked
        assert len(answers) == len(said["waits_for"]) and said == snapshot["verdict"] | {"seq": 1}
    else:
        name = path.rpartition("/")[2]
        assert said[name] == snapshot[name]


def test_english_that_is_asked_for_says_the_same_texts(desk: Desk) -> None:
    for path in PATHS[:4]:
        assert without_age(json_of(desk, f"{path}?lang=en")) == without_age(json_of(desk, path))
    chosen = Viewers(ZoneInfo(SETTINGS.timezone)).picture(Viewer("en", Chosen(temperature="degC")), picture())
    assert [c["text"] for c in chosen.verdict["conditions"]] == [c["text"] for c in parts()["verdict"]["conditions"]]


# -- a language


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_all_texts_are_said_anew_and_nothing_else_changes(desk: Desk, code: str) -> None:
    for path in PATHS[:4]:
        english, said = json_of(desk, path), json_of(desk, f"{path}?lang={code}")
        pairs = list(zip(texts(english), texts(said), strict=True))
        assert pairs and [before for before, after in pairs if before == after and WORD.search(before)] == []
    english, said = json_of(desk, f"{ONE}/verdict"), json_of(desk, f"{ONE}/verdict?lang={code}")
    words = viewers_words(code)
    assert [c["text"] for c in said["conditions"]] == [words.text(of_json(c["msg"])) for c in english["conditions"]]
    assert said["waits_for"] == [words.text(of_json(msg)) for msg in english["waits_for_msgs"]]
    assert said["note"] == words.text(of_json(english["note_msg"])) != english["note"]
    assert without_texts(said) == without_texts(english)


def viewers_words(code: str) -> Any:
    return Viewers(ZoneInfo(SETTINGS.timezone)).words(Viewer(code), picture())


def without_texts(verdict: dict[str, Any]) -> Any:
    bare = {k: v for k, v in without_age(verdict).items() if k not in ("waits_for", "note")}
    return bare | {"conditions": [{k: v for k, v in c.items() if k != "text"} for c in bare["conditions"]]}


def test_german_by_name_and_by_header(desk: Desk) -> None:
    asked = json_of(desk, f"{ONE}/verdict?lang=de")
    assert "Den Tagestest durchführen und erfassen" in asked["waits_for"]
    by_header = json_of(desk, f"{ONE}/verdict", accept_language="de-AT,de;q=0.9,en;q=0.8")
    assert by_header["waits_for"] == asked["waits_for"]
    both = json_of(desk, f"{ONE}/verdict?lang=en", accept_language="de")
    assert "Do the daily test and record it" in both["waits_for"]


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("de", "de"), ("DE-ch", "de"), ("nl, en-GB;q=0.7, fr;q=0.9", "fr"), ("es;q=0, de;q=0.1", "de"), ("*", "en"), ("", "en"),
        ("fr;q=many, es", "es"), ("de;q=2", "en"), (";;,,q=1", "en"), ("fr; q=0.5, de", "de"),
    ],
)  # fmt: skip
def test_the_header_names_what_a_reader_likes_best(header: str, code: str) -> None:
    assert preferred(header) == code


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("reader=paper", ["'page'"]),
        ("lang=it", ["'it'", "no language"]),
        ("lang=deu", ["nearest 'de'"]),
        ("lang=", ["no language"]),
        ("units=degK", ["'degK'", "nearest 'deg"]),
        ("units=psi,bar", ["psi and bar", "pressure"]),
        ("units=", ["not said in the unit"]),
        ("units=degF,,psi", ["not said in the unit"]),
        ("lang=de&lang=fr", ["twice"]),
        ("langs=de", ["nearest 'lang'"]),
    ],
)
def test_what_is_not_known_is_refused_with_the_nearest(desk: Desk, query: str, words: list[str]) -> None:
    for path in (f"{ONE}/verdict", f"{ONE}/station", f"{ONE}/stream"):
        assert_problem(desk("GET", f"{path}?{query}"), 422, *words)


def test_the_station_tells_its_languages_and_titles(desk: Desk) -> None:
    desk.fakes.judge.show(settings=SETTINGS)
    english, german = json_of(desk, f"{ONE}/station"), json_of(desk, f"{ONE}/station?lang=de")
    assert (english["language"], english["reviewed"]) == ("en", True)
    assert (german["language"], german["reviewed"]) == ("de", False)
    assert german["languages"] == english["languages"] == {
        "en": {"name": "English", "reviewed": True}, "de": {"name": "Deutsch", "reviewed": False},
        "fr": {"name": "Français", "reviewed": False}, "es": {"name": "Español", "reviewed": False},
    }  # fmt: skip
    assert german["words"]["conditions"]["daily_test"] == "Tagestest"
    assert german["words"]["contacts"]["leak"] == ["trocken", "nass"]
    said = dict.fromkeys(("words", "items", "language", "reviewed"), 0)
    assert german["items"]["static"] == "Druck in Ruhe" and {**english, **said} == {**german, **said}


def test_a_contact_is_shown_by_its_word(desk: Desk) -> None:
    assert json_of(desk, f"{ONE}/points")["points"]["heater-outlet"]["shown"] == {"value": "ok", "unit": ""}
    assert json_of(desk, f"{ONE}/points?lang=fr")["points"]["heater-outlet"]["shown"] == {
        "value": "en ordre",
        "unit": "",
    }


def test_a_silent_judge_is_told_in_the_viewer_s_language() -> None:
    fakes, clock = Fakes(), Told()
    fakes.judge.newest = picture()
    watch = Watch(fakes.judge, 1.0, clock)
    watch.see()
    clock.s += 42.0
    seen = watch.see(Viewer("de"))
    verdict = watch.verdict(seen)
    assert verdict["waits_for"][0].startswith("Warmwell neu starten")
    assert len(verdict["waits_for"]) == len(verdict["waits_for_msgs"])
    assert any(c["text"].endswith("(seit 42 s nicht beurteilt)") for c in verdict["conditions"])
    stale = watch.points(seen)["reservoir"]
    assert (stale["text"], stale["msg"]["id"]) == ("zu lange kein Messwert", "reason.stale")


# -- units


def test_who_chooses_units_reads_everything_in_these(desk: Desk) -> None:
    american, metric = (json_of(desk, f"{ONE}/points?units={u}")["points"] for u in ("degF,psi,gal", "degC,kPa,L"))
    base = {ident: point["value"] for ident, point in parts()["points"].items()}
    assert american["reservoir"]["shown"] == {
        "value": pytest.approx(base["reservoir"] * 1.8 + 32.0, abs=1e-4),
        "unit": "degF",
    }
    assert american["supply"]["shown"] == {"value": pytest.approx(base["supply"] / 6.894757, abs=1e-4), "unit": "psi"}
    assert metric["supply"]["shown"] == {"value": pytest.approx(base["supply"], abs=1e-4), "unit": "kPa"}
    assert metric["flow"]["shown"]["unit"] == "L/min" and american["flow"]["shown"]["unit"] == "gal/min"
    assert {i: p["value"] for i, p in american.items()} == base and american["reservoir"]["unit"] == "Cel"
    condition = {c["id"]: c for c in json_of(desk, f"{ONE}/verdict?units=degF,psi,gal")["conditions"]}
    assert "102.6 °F" in condition["reservoir"]["text"]  # 39.2 degC
    assert condition["reservoir"]["value"] == pytest.approx(39.2)
    metric_texts = {c["id"]: c["text"] for c in json_of(desk, f"{ONE}/verdict?units=kPa&lang=fr")["conditions"]}
    assert "137,9 kPa" in metric_texts["pressure"]  # 20 psi
    assert (
        "9,00 L/min"
        in {c["id"]: c for c in json_of(desk, f"{ONE}/verdict?units=L&lang=es")["conditions"]}["flow"]["text"]
    )


def test_a_flow_in_gallons_is_that_of_the_handbook(desk: Desk) -> None:
    desk.fakes.judge.newest = picture(8, points={"flow": parts()["points"]["flow"] | {"value": 3.785412}})
    assert json_of(desk, f"{ONE}/points?units=gal")["points"]["flow"]["shown"] == {"value": 1.0, "unit": "gal/min"}


# -- the journal


def test_entries_are_said_anew_where_they_have_a_message_and_marked_where_not(desk: Desk) -> None:
    desk.fakes.journal.add("bus", {"bus": "panel", "what": "lost", "why": "the plug is out"})
    desk.fakes.journal.add(
        "alarm", {"id": "leak", "from": "normal", "to": "unacknowledged", "cause": "tray is wet"}
    )  # older than messages
    english, german = (json_of(desk, f"{ONE}/journal?after=7&limit=1000{q}")["entries"] for q in ("", "&lang=de"))
    alarm = next(e for e in german if e["kind"] == "alarm" and e["body"]["id"] == "pressure_low")
    before = next(e for e in english if e["seq"] == alarm["seq"])
    assert alarm["body"]["cause"] == DE_WORDS.text(of_json(before["body"]["msg"])) != before["body"]["cause"]
    assert (alarm["language"], alarm["as_kept"]) == ("de", [])
    assert {**alarm["body"], "cause": 0} == {**before["body"], "cause": 0}
    verdict = next(e for e in german if e["kind"] == "verdict")
    assert any(text.startswith("Tagestest: ") for text in verdict["body"]["why"])
    old, bus = german[-1], german[-2]
    assert (old["body"]["cause"], old["as_kept"]) == ("tray is wet", ["cause"])
    assert (bus["body"]["why"], bus["as_kept"]) == ("the plug is out", ["why"])
    assert [e["body"] for e in english][-2:] == [bus["body"], old["body"]]


DE_WORDS = viewers_words("de")


def test_a_message_that_cant_be_read_leaves_the_words_that_were_kept(desk: Desk) -> None:
    desk.fakes.journal.add("alarm", {"id": "leak", "cause": "tray is wet", "msg": {"id": 3}})
    (entry,) = json_of(desk, f"{ONE}/journal?after={len(desk.fakes.journal.entries) - 1}&lang=de")["entries"]
    assert entry["body"]["cause"] == "tray is wet"


# -- the stream


def test_each_stream_is_in_its_own_language_and_units() -> None:
    async def run() -> None:
        fakes = Fakes(entries=2)
        fakes.judge.newest = replace(picture(7), seq=2)
        alarm = next(e for e in driver().said if e.kind == "alarm" and e.body["id"] == "pressure_low")
        async with hub_over(fakes) as hub:
            plain, german, kpa = [
                await opened(hub, None, viewer) for viewer in (AS_IT_IS, Viewer("de"), Viewer("fr", METRIC))
            ]
            for client in (plain, german, kpa):
                await client.until(lambda seen: bool(seen))
            fakes.journal.add("alarm", dict(alarm.body))
            fakes.judge.show()
            for client in (plain, german, kpa):
                await client.until(entries(1))
            causes = [next(e.data for e in c.seen if e.name == "entry")["body"]["cause"] for c in (plain, german, kpa)]
            assert causes[0] == alarm.body["cause"]
            assert "bei Entnahme" in causes[1] and "137,9 kPa" in causes[2]
            later = await opened(hub, 0, Viewer("de"))  # what is older comes from the journal, in German too
            await later.until(entries(3))
            assert later.seen and [e.data["body"] for e in later.seen if e.name == "entry"][-1]["cause"] == causes[1]
            first = [next(e.data for e in c.seen if e.name == "snapshot") for c in (plain, german, kpa)]
            assert first[0]["verdict"]["note"].startswith("Surroundings only")
            assert first[1]["verdict"]["note"].startswith("Nur die Umgebung")
            assert first[2]["points"]["supply"]["shown"]["unit"] == "kPa"

    asyncio.run(run())


# -- what it costs


class Counted(dict[str, str]):
    """A catalogue that counts how often it is asked for a sentence."""

    asked = 0

    def get(self, key: str, default: Any = None) -> Any:
        self.asked += 1
        return super().get(key, default)


def counted() -> tuple[Counted, Mapping[str, Language]]:
    catalogue = Counted(DE.catalogue)
    return catalogue, {"de": DE._replace(catalogue=catalogue)}


def test_a_picture_is_said_once_however_many_look() -> None:
    catalogue, languages = counted()
    viewers, snapshot, german = Viewers(languages=languages), picture(), Viewer("de")
    with ThreadPoolExecutor(8) as pool:
        said = list(pool.map(lambda _: viewers.picture(german, snapshot), range(100)))
    once = catalogue.asked
    assert all(one is said[0] for one in said)
    messages = json.dumps([snapshot.verdict, dict(snapshot.alarms), dict(snapshot.points), dict(snapshot.estimates)])
    assert 0 < once <= messages.count('"id": ')
    viewers.picture(german, picture(2, verdict=snapshot.verdict, alarms=snapshot.alarms, points={}, estimates={}))
    assert catalogue.asked == once, "texts whose message stands as it did are not said again"
    assert viewers.picture(Viewer("de", AMERICAN), snapshot) is not said[0]
    assert catalogue.asked > once


def test_rows_of_alarms_are_not_said_again_for_each_picture() -> None:
    catalogue, languages = counted()
    viewers, german = Viewers(languages=languages), Viewer("de")
    viewers.picture(german, picture(1))
    first = catalogue.asked
    viewers.picture(german, picture(2))
    assert catalogue.asked - first < first - len(
        parts()["alarms"]
    )  # consequence and response of each stand as they did


def test_pictures_are_kept_for_some_viewers_only() -> None:
    viewers, snapshot = Viewers(), picture()
    asked = [
        Viewer(code, Chosen(t, p, v)) for code in ("de", "fr") for t in ("", "degC", "degF") for p in ("", "kPa", "psi", "bar")
        for v in ("L", "gal")
    ]  # fmt: skip
    said = [viewers.picture(viewer, snapshot) for viewer in asked]
    assert len(asked) > MOST_VIEWERS
    assert viewers.picture(asked[-1], snapshot) is said[-1]
    assert viewers.picture(asked[0], snapshot) is not said[0]
