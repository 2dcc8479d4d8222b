#!/usr/bin/env bash
# One command to see it work: a simulated station, its journal, a broker, the API and the page, all on this machine.
# Arguments go to `warmwell demo`: --scenario NAME, --speed N, --for SECONDS, --port N, --keep DIR, --json.
set -euo pipefail
exec bash "$(dirname "${BASH_SOURCE[0]}")/warmwell" demo "$@"
