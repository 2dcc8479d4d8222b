#!/usr/bin/env bash
# Renews the two locks from pyproject.toml: newest versions that have wheels for Linux on x86-64 and aarch64, Python 3.11 to
# 3.13. Needs the network and a Python with venv. Index settings come from uv's environment variables; none is written down.
#   bash deploy/relock.sh            keep the locked versions where they still do
#   bash deploy/relock.sh --upgrade  take the newest
#
# `deploy/requirements-run.lock` (running, with the demo's broker) and `deploy/requirements-test.lock` (the same, and the
# tests' tools) pin everything with hashes, wheels only, for Python 3.11 to 3.13 on x86-64 and aarch64. They name no
# index: where packages come from is up to pip's or uv's settings on the machine. To renew:
#
# It checks that each platform and Python has its wheels. Run the tests, look at what changed, commit both locks together
# with `pyproject.toml`. A package without wheels can't be used. sqlite-utils needs pip at run time, hence pip in the
# locks; hatchling is there so that the checkout installs itself without fetching anything.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd -P)
cd "$here/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
python3 -m venv "$work/uv"
"$work/uv/bin/pip" install --quiet --disable-pip-version-check uv
uv=$work/uv/bin/uv
backend=$(python3 -c 'import tomllib; print(*tomllib.load(open("pyproject.toml", "rb"))["build-system"]["requires"])')

lock() {  # lock FILE EXTRA-OPTION...
    local file=$1
    shift
    printf '%s\n' "$backend" >"$work/backend.in"  # so that the project itself installs without fetching anything
    "$uv" pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-build --no-annotate --no-header \
        "$@" pyproject.toml "$work/backend.in" --output-file "$file"
    { printf '# Made by deploy/relock.sh; do not edit.\n--only-binary :all:\n'; cat "$file"; } >"$work/lock"
    cat "$work/lock" >"$file"
    if grep -nE '://|--index|--find-links|/tmp/' "$file"; then
        echo "relock: the lines above name a place; a lock must not" >&2
        exit 1
    fi
    local version platform
    for version in 3.11 3.12 3.13; do
        for platform in x86_64-manylinux_2_28 aarch64-manylinux_2_28; do
            "$uv" pip install --quiet --dry-run --require-hashes --only-binary :all: --target "$work/target" \
                --python-version "$version" --python-platform "$platform" -r "$file"
            echo "$file: has wheels for Python $version on $platform"
        done
    done
}

# every extra that a station may have
mapfile -t extras < <(python3 -c 'import tomllib; print(*("--extra=" + name for name in tomllib.load(open("pyproject.toml", "rb"))["project"]["optional-dependencies"] if name != "test"), sep="\n")')
lock deploy/requirements-run.lock "${extras[@]}" "$@"
lock deploy/requirements-test.lock "${extras[@]}" --extra=test --constraint deploy/requirements-run.lock "$@"
