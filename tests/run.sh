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
debian_packages "$warmwell_cache/apt.log" mosquitto:mosquitto mosquitto_sub:mosquitto-clients chromium:chromium fusermount3:fuse3 shellcheck:shellcheck openssl:openssl

cd "$root" || exit 1
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
    # Many tests wait: two shares of the files run side by side.
    other=$(mktemp)
    trap 'rm -f "$other"' EXIT
    run --share 2/2 >"$other" 2>&1 &
    second=$!
    trap 'kill "$second" 2>/dev/null; exit 130' INT TERM
    first_out=$(mktemp)
    run --share 1/2 2>&1 | tee "$first_out"
    status=${PIPESTATUS[0]}
    wait "$second" || status=$?
    cat "$other"
    awk '/^[0-9]+ passed, [0-9]+ failed, [0-9]+ skipped$/ { p += $1; f += $3; s += $5; n++ }
         END { if (n == 2) print p " passed, " f " failed, " s " skipped"; else exit 1 }' "$first_out" "$other" || status=1
    rm -f "$first_out"
fi
if [ ${#faults[@]} -gt 0 ]; then
    printf 'not passed: %s\n' "${faults[@]}" >&2
    [ "$status" -ne 0 ] || status=1
fi
exit "$status"
