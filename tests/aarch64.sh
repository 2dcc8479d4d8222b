#!/usr/bin/env bash
# Tests on an emulated aarch64: Debian's own Python for it and the lock's wheels for it, by qemu's user-mode emulation. Not in the
# usual run: it fetches some 150 MB, and all is five to ten times slower.
#
#   bash tests/aarch64.sh                       each compiled module that boards have, `warmwell check`, then what is fast and pure
#   bash tests/aarch64.sh tests/unit/config     the same, with other tests (arguments go to pytest)
#
# Needs apt and the network (or a mirror by apt's and pip's settings); no root. Nothing is installed on this machine: packages are
# unpacked below .cache/aarch64-…, and found there the next time. Tests that start the interpreter anew can't run so.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
# shellcheck source=deploy/environment.sh
. "$root/deploy/environment.sh"
lock=$root/deploy/requirements-test.lock
for tool in apt-get dpkg-deb; do
    command -v "$tool" >/dev/null 2>&1 || refuse "$tool" "it isn't installed" "Debian or a relative" "Run this on one"
done
warmwell_environment test "$lock" || exit
into=$warmwell_cache/aarch64-$(sha256sum "$lock" | cut -c1-12)

if [ ! -e "$into/.complete" ]; then
    rm -rf "$into"
    mkdir -p "$into/state/lists/partial" "$into/cache/archives/partial" "$into/emulator" "$into/board"
    : >"$into/status" # so that apt takes nothing for installed
    arm=(-o APT::Architecture=arm64 -o APT::Architectures=arm64 -o Dir::State="$into/state" -o Dir::State::status="$into/status"
        -o Dir::Cache="$into/cache" -o Debug::NoLocking=true -o APT::Sandbox::User="$(id -un)")
    _say "fetching Debian's Python for aarch64, the emulator and the lock's wheels"
    {
        apt-get "${arm[@]}" update
        apt-get "${arm[@]}" -y --no-install-recommends --download-only install python3 libstdc++6 tzdata
        for package in "$into"/cache/archives/*.deb; do dpkg-deb -x "$package" "$into/board"; done
        (cd "$into/emulator" && apt-get -o APT::Sandbox::User="$(id -un)" download qemu-user-static && dpkg-deb -x qemu-user-static_*.deb . && rm -f ./*.deb)
        version=$(basename "$(find "$into/board/usr/bin" -name 'python3.*' | head -n 1)" | cut -c7-)
        tags=(--python-version "$version" --implementation cp --abi "cp${version/./}" --abi abi3 --abi none)
        for glibc in 2_17 2_24 2_26 2_27 2_28; do tags+=(--platform "manylinux_${glibc}_aarch64"); done
        tags+=(--platform manylinux2014_aarch64 --platform linux_aarch64 --platform any)
        "$warmwell_env/bin/python" -m pip --disable-pip-version-check install --quiet --no-deps --require-hashes --only-binary :all: \
            "${tags[@]}" --target "$into/site" -r "$lock"
    } >"$into/log" 2>&1 || { _say "it could not be had: the last lines of $into/log say why."; exit 1; }
    : >"$into/.complete"
fi

cd "$root"
arm64() {
    env -u PYTHONHOME -u PYTHONDONTWRITEBYTECODE PYTHONPYCACHEPREFIX="$into/compiled" PYTHONPATH="$into/site:$root" \
        "$into/emulator/usr/bin/qemu-aarch64-static" -L "$into/board" "$(find "$into/board/usr/bin" -name 'python3.*' | head -n 1)" "$@"
}
arm64 - deploy/requirements-run.lock <<'END'
import importlib, platform, re, sys
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

assert platform.machine() == "aarch64", platform.machine()
import psycopg  # psycopg_binary wants to come after it

loaded = 0
for package in re.findall(r"^([\w.-]+)==", Path(sys.argv[1]).read_text(), re.MULTILINE):
    try:
        own = files(package) or ()
    except PackageNotFoundError:  # for another system
        continue
    for file in own:
        if re.search(r"\.(cpython-3\w+-aarch64-linux-gnu|abi3)\.so$", file.name):  # not what such a module is linked with
            try:
                importlib.import_module(".".join((*file.parent.parts, file.name.split(".")[0])))
            except ModuleNotFoundError as exc:
                if exc.name != "tkinter":  # windows on a desktop: another package of Debian's
                    raise
            loaded += 1
assert loaded > 10, loaded
print(f"aarch64, Python {platform.python_version()}: {loaded} compiled modules of the lock load")
END
arm64 -m edge.cli check config/station-example.toml
[ $# -gt 0 ] || set -- tests/handbook tests/unit/domain/maths tests/unit/domain/sensing tests/unit/store
arm64 -m pytest -q --plain-count -p no:cacheprovider -p no:xdist "$@"
