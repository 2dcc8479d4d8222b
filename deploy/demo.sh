#!/usr/bin/env bash
# One command to see it work: a simulated station, its journal, a broker, the API and the page, all on this machine.
# Arguments go to `warmwell demo`: --scenario NAME, --speed N, --for SECONDS, --port N, --keep DIR, --json.
# What the installation says goes to standard error, so that --json leaves nothing but JSON lines on standard output.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd -P)
# shellcheck source=deploy/environment.sh
. "$here/environment.sh"
warmwell_environment run "$here/requirements-run.lock" || exit
exec "$warmwell_env/bin/warmwell" demo "$@"
