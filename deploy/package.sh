#!/usr/bin/env bash
# Makes a Debian package of a folder that deploy/stick.sh has written. Installing it runs deploy/install.sh, which needs no network
# then; removing it runs the same with --uninstall. The same folder gives the same bytes each time. A signature that the folder has
# (deploy/release.sh) is in the package, too, and looked at on a board that was told whose releases it takes.
#
#   bash deploy/stick.sh stick && bash deploy/package.sh stick .
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd -P)
# shellcheck source=deploy/environment.sh
. "$here/environment.sh"
# shellcheck source=deploy/sums.sh
. "$here/sums.sh"

stick=${1:-} into=${2:-.}
[ -e "$stick/SHA256SUMS" ] || refuse "${stick:-package.sh}" "it is no folder of deploy/stick.sh" "one with SHA256SUMS" "Make it: bash deploy/stick.sh FOLDER"
[ -d "$into" ] || refuse "$into" "it is no folder" "where the package is to go" "Make it, or name another"
command -v dpkg-deb >/dev/null 2>&1 || refuse "dpkg-deb" "it isn't installed" "Debian or a relative" "Run 'apt install dpkg'"
whole "$stick"

wheel=$(basename "$(find "$stick/wheels" -name 'warmwell-*.whl' | sort | tail -n 1)")
version=$(printf '%s' "$wheel" | cut -d- -f2)
wheels=$(ls "$stick/wheels")
case $wheels in
    *x86_64.whl*) architecture=amd64 ;;
    *aarch64.whl*) architecture=arm64 ;;
    *) architecture=all ;;
esac
# Wheels with compiled parts are for one Python: cp313-cp313 is, cp39-abi3 isn't.
one=$(printf '%s\n' "$wheels" | sed -n 's/.*-cp3\([0-9]*\)-cp3.*/\1/p' | sort -u | head -n 1)
depends="python3 (>= 3.${one:-11}), python3-venv, systemd, udev, util-linux"
[ -z "$one" ] || depends="python3 (>= 3.$one), python3 (<< 3.$((one + 1))), python3-venv, systemd, udev, util-linux"

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
tree=$work/tree
mkdir -p "$tree/DEBIAN" "$tree/usr/lib" "$tree/usr/share/doc/warmwell"
cp -R "$stick" "$tree/usr/lib/warmwell"
cp "$stick/LICENSE" "$tree/usr/share/doc/warmwell/copyright"
cat >"$tree/DEBIAN/control" <<END
Package: warmwell
Version: $version
Architecture: $architecture
Maintainer: Whoever looks after the station <warmwell@harbour-lane.example>
Installed-Size: $(du -sk "$tree/usr" | cut -f1)
Depends: $depends
Recommends: chrony | systemd-timesyncd
Section: science
Priority: optional
Description: watches the surroundings of an endoscope reprocessor
 Reads retrofit sensors for water, warmth, filters and outlets, judges them, keeps the evidence, raises
 alarms, and says at any moment whether the station may start. It only watches.
END
cat >"$tree/DEBIAN/postinst" <<'END'
#!/bin/sh
set -e
[ "$1" != configure ] || exec bash "$DPKG_ROOT/usr/lib/warmwell/deploy/install.sh" --upgrade ${DPKG_ROOT:+--root "$DPKG_ROOT"}
END
cat >"$tree/DEBIAN/prerm" <<'END'
#!/bin/sh
set -e
[ "$1" != remove ] || exec bash "$DPKG_ROOT/usr/lib/warmwell/deploy/install.sh" --uninstall ${DPKG_ROOT:+--root "$DPKG_ROOT"}
END
chmod 0755 "$tree/DEBIAN/postinst" "$tree/DEBIAN/prerm"
chmod -R u=rwX,go=rX "$tree"
name=warmwell_${version}_$architecture.deb
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-1580601600} dpkg-deb --root-owner-group -Znone --build "$tree" "$work/$name" >&2
mv "$work/$name" "$into/$name"
printf '%s\n' "$into/$name"
