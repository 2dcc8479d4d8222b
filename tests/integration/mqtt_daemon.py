"""`warmwell run FILE` with the times of the telling a hundred times as short (mqtt_kit.FAST), so that tests needn't wait."""

from __future__ import annotations

import sys
from pathlib import Path

import edge.mqtt.timing
from edge.daemon.run import run
from tests.integration.mqtt_kit import FAST

if __name__ == "__main__":
    edge.mqtt.timing.Timing = lambda: FAST  # type: ignore[assignment,misc]  # the daemon asks for one without arguments
    sys.exit(run(Path(sys.argv[1])))
