"""Reading every sensor stays under 5 % of a core, all good and all hung up. The bench has the longer figures and their floor."""

from __future__ import annotations

import json
import subprocess
import sys

from tests.integration.daemon_kit import ROOT


def test_all_adapters_stay_under_five_percent_of_a_core_good_or_hung_up():
    command = [sys.executable, "tests/bench/adapters_cpu.py", "--seconds", "3", "--json"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    found = json.loads(done.stdout)
    states = found["states"]
    assert {state: cost["share"] < found["limit"] for state, cost in states.items()} == dict.fromkeys(states, True), (
        found
    )
    assert done.returncode == 0
    # and it was measured while what it says was so
    assert states["good"]["good"] == states["good"]["readings"] > 30
    assert states["hung up"]["good"] == 0 < states["hung up"]["readings"]
    assert 0 < states["rubbish"]["good"] < states["rubbish"]["readings"]
    assert states["unplugged"]["good"] == 0
    assert found["floor"] > 0
