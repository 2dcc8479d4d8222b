#!/usr/bin/env bash
# All checks: ruff, mypy, then the tests. Arguments go to pytest (`bash tests/run.sh -k filter`).
# Ends with one line, `N passed, N failed, N skipped`; a skip that isn't on tests/allowed_skips.txt is a failure.
# WARMWELL_NO_APT=1 leaves Debian packages alone; what they would have served then skips, visibly.
set -uo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
# shellcheck source=deploy/environment.sh
. "$root/deploy/environment.sh"
# shellcheck source=tests/debian.sh
. "$root/tests/debian.sh"
warmwell_environment test "$root/deploy/requirements-test.lock" || exit
debian_packages "$warmwell_cache/apt.log" mosquitto:mosquitto mosquitto_sub:mosquitto-clients chromium:chromium fusermount3:fuse3 shellcheck:shellcheck openssl:openssl systemd-analyze:systemd prometheus:prometheus rsyslogd:rsyslog snmptrapd:snmptrapd

cd "$root" || exit 1
unset PYTHONDONTWRITEBYTECODE  # hundreds of programs that tests start would each compile the same modules
bin=$warmwell_env/bin
faults=()
"$bin/ruff" check --cache-dir "$warmwell_cache/ruff" . || faults+=("ruff check")
"$bin/ruff" format --check --quiet --cache-dir "$warmwell_cache/ruff" . || faults+=("ruff format --check")
"$bin/mypy" --cache-dir "$warmwell_cache/mypy" || faults+=("mypy")
run() {
    PATH="$bin:$PATH" "$bin/python" -m pytest -q --plain-count -o cache_dir="$warmwell_cache/pytest" "$@"
}
if [ $# -gt 0 ]; then
    run "$@"
    status=$?
else
    # Many tests wait: one worker more than a small machine has processors. Each takes a file at a time.
    run --numprocesses 3 --dist loadfile --no-loadscope-reorder
    status=$?
fi
if [ ${#faults[@]} -gt 0 ]; then
    printf 'not passed: %s\n' "${faults[@]}" >&2
    [ "$status" -ne 0 ] || status=1
fi
exit "$status"
