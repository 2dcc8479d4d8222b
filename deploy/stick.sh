#!/usr/bin/env bash
# Writes a folder from which deploy/install.sh installs without a network: all packages of the lock as wheels, Warmwell's own wheel,
# the scripts, the handbook for print, a bill of materials with licences, and SHA256SUMS over all of it. Needs a checkout, and the network or
# pip's settings for an index.
#
#   bash deploy/stick.sh FOLDER                                      for this kind of computer and this Python
#   bash deploy/stick.sh FOLDER --machine aarch64 --python 3.13      for another
#
# FOLDER must not be there yet. deploy/release.sh signs it. The same checkout gives Warmwell's wheel with the same bytes each time.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd -P)
# shellcheck source=deploy/environment.sh
. "$here/environment.sh"

folder='' machine='' python=''
while [ $# -gt 0 ]; do
    case $1 in
        --machine) machine=${2:-} && shift ;;
        --python) python=${2:-} && shift ;;
        -*) refuse "stick.sh" "$1 is no option" "--machine or --python" "Correct it" ;;
        *) folder=$1 ;;
    esac
    shift || break
done
[ -n "$folder" ] || refuse "stick.sh" "no folder is named" "where the stick is mounted, and a new name there" "Say bash deploy/stick.sh FOLDER"
[ ! -e "$folder" ] || refuse "$folder" "it is there already" "a new folder" "Name another, or remove it"
case $machine in '' | x86_64 | aarch64) ;; *) refuse "--machine" "$machine is none that is known" "x86_64 or aarch64" "Correct it" ;; esac
case $python in '' | 3.1[1-9]) ;; *) refuse "--python" "$python is none that will do" "3.11 or later" "Correct it" ;; esac

warmwell_environment run "$here/requirements-run.lock" || exit
pip=("$warmwell_env/bin/python" -m pip --disable-pip-version-check)
part=$folder.part
rm -rf "$part"
mkdir -p "$part/wheels" "$part/deploy"
trap 'rm -rf "$part"' EXIT
{
    "${pip[@]}" wheel --quiet --no-deps --no-build-isolation --wheel-dir "$part/wheels" "$warmwell_root"
    tags=()
    if [ -n "$machine$python" ]; then
        : "${machine:=$(uname -m)}" "${python:=$("$warmwell_python" -I -c 'import sys; print("%d.%d" % sys.version_info[:2])')}"
        tags=(--no-deps --python-version "$python" --implementation cp --abi "cp${python/./}" --abi abi3 --abi none)
        for glibc in 2_17 2_24 2_26 2_27 2_28; do tags+=(--platform "manylinux_${glibc}_$machine"); done
        tags+=(--platform "manylinux2014_$machine" --platform "linux_$machine")
    fi
    "${pip[@]}" download --quiet --require-hashes --only-binary :all: "${tags[@]}" --dest "$part/wheels" -r "$here/requirements-run.lock"
} >&2 || { _say "the packages could not be fetched: the lines above say why; nothing was written."; exit 1; }
for file in "$here"/*; do
    case ${file##*/} in
        requirements-test.lock | relock.sh | demo.sh | stick.sh | package.sh | release.sh | sbom.py | handbook.py | warmwell | __pycache__) ;; # of use in a checkout alone
        *) cp -R "$file" "$part/deploy/" ;;
    esac
done
cp "$warmwell_root/LICENSE" "$part/LICENSE"
"$warmwell_env/bin/python" -I "$here/sbom.py" >"$part/sbom.cdx.json"
"$warmwell_env/bin/python" -I "$here/sbom.py" --licences >"$part/licences.txt"
"$warmwell_env/bin/python" -I "$here/handbook.py" "$part/handbook.pdf"
(cd "$part" && find LICENSE handbook.pdf licences.txt sbom.cdx.json deploy wheels -type f -print0 | sort -z | xargs -0 sha256sum >SHA256SUMS)
mv "$part" "$folder"
_say "written: $folder ($(du -sm "$folder" | cut -f1) MB). On the board: sudo bash $(basename "$folder")/deploy/install.sh --station FILE"
