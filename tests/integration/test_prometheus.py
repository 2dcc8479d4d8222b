"""Prometheus itself (Debian's) reads a station, and its promtool the text form and the rules of deploy/prometheus."""

from __future__ import annotations

import json
import shutil
import subprocess
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.integration.daemon_kit import ROOT, free_port, until
from tests.integration.test_api_server import Running

PROMETHEUS, PROMTOOL = shutil.which("prometheus"), shutil.which("promtool")
pytestmark = pytest.mark.skipif(PROMETHEUS is None or PROMTOOL is None, reason="Prometheus is not installed here")
RULES = ROOT / "deploy/prometheus/warmwell.rules.yml"
CASES = ROOT / "tests/prometheus_rules.yml"


@pytest.fixture(scope="module")
def station() -> Iterator[Running]:
    running = Running()
    yield running
    running.server.stop()


def promtool(*arguments: str | Path, given: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [str(PROMTOOL), *map(str, arguments)], input=given, capture_output=True, timeout=120, check=False
    )


def test_the_rules_are_such_and_do_what_they_say(tmp_path: Path) -> None:
    checked = promtool("check", "rules", RULES)
    assert checked.returncode == 0 and b"SUCCESS: 7 rules found" in checked.stdout
    tried = promtool("test", "rules", CASES)
    assert tried.returncode == 0, tried.stdout + tried.stderr
    # rules that are wrong would be found: here the one of the first case forgets the case
    wrong, cases = tmp_path / "warmwell.rules.yml", tmp_path / "cases.yml"
    wrong.write_text(
        RULES.read_text(encoding="utf-8").replace("- time() <= 3600", "- time() <= 36000"), encoding="utf-8"
    )
    cases.write_text(CASES.read_text(encoding="utf-8").replace("../deploy/prometheus/", ""), encoding="utf-8")
    assert promtool("test", "rules", cases).returncode == 1


def test_promtool_reads_the_text_form_and_finds_no_fault_with_it(station: Running) -> None:
    with urllib.request.urlopen(station.url + "metrics", timeout=60) as answer:
        body = answer.read()
    linted = promtool("check", "metrics", given=body)
    assert (linted.returncode, linted.stdout, linted.stderr) == (0, b"", b"")
    assert promtool("check", "metrics", given=body.replace(b"# TYPE", b"# TYPE x", 1)).returncode != 0


def test_prometheus_scrapes_a_station_and_says_what_stands(station: Running, tmp_path: Path) -> None:
    settings = tmp_path / "prometheus.yml"
    settings.write_text(
        f"""
global: {{scrape_interval: 500ms, evaluation_interval: 500ms}}
rule_files: ["{RULES}"]
scrape_configs:
  - job_name: warmwell
    static_configs: [{{targets: ["127.0.0.1:{station.port}"], labels: {{instance: scope-room-2}}}}]
""",
        encoding="utf-8",
    )
    port = free_port()
    with (tmp_path / "log").open("wb") as log:
        process = subprocess.Popen(
            [
                str(PROMETHEUS), f"--config.file={settings}", f"--storage.tsdb.path={tmp_path / 'kept'}",
                f"--web.listen-address=127.0.0.1:{port}", "--log.level=warn",
            ],
            stdout=log, stderr=log,
        )  # fmt: skip
    try:

        def asked(what: str) -> Any:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/v1/{what}", timeout=30) as answer:
                    return json.load(answer)["data"]
            except OSError:
                return None

        def query(text: str) -> dict[str, str]:
            found = asked("query?" + urllib.parse.urlencode({"query": text}))
            return {json.dumps(one["metric"]): one["value"][1] for one in found["result"]} if found else {}

        until(lambda: set(query('up{job="warmwell"}').values()) == {"1"}, 180, (tmp_path / "log").read_text())
        verdicts = query("warmwell_verdict")
        assert {json.loads(one)["warmwell_verdict"]: told for one, told in verdicts.items()} == {
            "ready": "0", "not_ready": "1", "unknown": "0",
        }  # fmt: skip
        assert set(query('warmwell_point_value{point="reservoir"}').values()) == {"31.4375"}
        assert query('warmwell_point_value{point="between"}') == {}  # it has no value: nothing is told
        # it asked for OpenMetrics, and got it: only there is a set of states one
        (kind,) = asked("targets/metadata?metric=warmwell_verdict")
        assert kind["type"] == "stateset"
        standing = until(
            lambda: {one["labels"].get("alarm") for one in (asked("alerts") or {"alerts": []})["alerts"]} - {None}, 180
        )
        assert standing == {"reservoir_cold", "silent:between"}
        assert {"WarmwellWatchdog"} <= {one["labels"]["alertname"] for one in asked("alerts")["alerts"]}
    finally:
        process.terminate()
        process.wait(60)
