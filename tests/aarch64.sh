#!/usr/bin/env bash
# Tests on an emulated aarch64: Debian's own Python for it and the lock's wheels for it, by qemu's user-mode emulation. Not in the
# usual run: it fetches some 150 MB, and all is five to ten times slower.
#
#   bash tests/aarch64.sh                       every compiled module of the lock, `warmwell check`, then what is fast and pure
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
    mkdir -p "$into/state/lists/partial" "$into/cache/archives/partial" "$into/emulator" "$into/root"
    : >"$into/status" # so that apt takes nothing for installed
    arm=(-o APT::Architecture=arm64 -o APT::Architectures=arm64 -o Dir::State="$into/state" -o Dir::State::status="$into/status"
        -o Dir::Cache="$into/cache" -o Debug::NoLocking=true -o APT::Sandbox::User="$(id -un)")
    _say "fetching Debian's Python for aarch64, the emulator and the lock's wheels"
    {
        apt-get "${arm[@]}" update
        apt-get "${arm[@]}" -y --no-install-recommends --download-only install python3 libstdc++6 tzdata
        for package in "$into"/cache/archives/*.deb; do dpkg-deb -x "$package" "$into/root"; done
        (cd "$into/emulator" && apt-get -o APT::Sandbox::User="$(id -un)" download qemu-user-static && dpkg-deb -x qemu-user-static_*.deb . && rm -f ./*.deb)
        version=$(basename "$(find "$into/root/usr/bin" -name 'python3.*' | head -n 1)" | cut -c7-)
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
    env -u PYTHONHOME PYTHONDONTWRITEBYTECODE=1 PYTHONPATH="$into/site:$root" \
        "$into/emulator/usr/bin/qemu-aarch64-static" -L "$into/root" "$(find "$into/root/usr/bin" -name 'python3.*' | head -n 1)" "$@"
}
arm64 - "$into/site" <<'END'
import importlib, platform, sys
from pathlib import Path

assert platform.machine() == "aarch64", platform.machine()
site, done = Path(sys.argv[1]), 0
for file in sorted(site.rglob("*.so")):
    if ".libs" in str(file) or not ({"abi3", "cpython"} & {part.split("-")[0] for part in file.name.split(".")}):
        continue  # what such modules are linked with
    importlib.import_module(".".join((*file.relative_to(site).parent.parts, file.name.split(".")[0])))
    done += 1
assert done > 20, done
print(f"aarch64, Python {platform.python_version()}: {done} compiled modules of the lock load")
END
for file in config/station-*.toml; do arm64 -m edge.cli check "$file" >/dev/null; done
_say "aarch64: warmwell check takes the example files"
[ $# -gt 0 ] || set -- tests/handbook tests/unit/domain/maths tests/unit/domain/sensing tests/unit/store
arm64 -m pytest -q --plain-count -p no:cacheprovider -p no:xdist "$@"
