#!/usr/bin/env bash
# Installs Warmwell on Debian and its relatives (x86-64, aarch64; Python 3.11 or later, systemd), so that it runs unattended.
# From a checkout with the network, or from a folder that deploy/stick.sh has made, without. See deploy/install.md.
#
#   sudo bash deploy/install.sh                       the program, its user, units and rules; no station yet
#   sudo bash deploy/install.sh --station FILE        the same, and this station: checked, put into /etc/warmwell, started
#   sudo bash deploy/install.sh --upgrade             also where another version is installed: replace it
#   sudo bash deploy/install.sh --uninstall           remove the program; stations' files and what they kept stay
#   --root FOLDER     everything below FOLDER, as for an image of a card; nothing is started then
#
# Theory of operation. A version is a folder of its own, /opt/warmwell/versions/ID: Python environment, launcher, units and rules. It
# is made and looked over beside the one that runs; every installed station file has to pass its check. Then the link `current`
# moves, in one step, and the stations that run are started again. One that doesn't come up brings the version before back. So whoever
# pulls the plug at any moment has either the old or the new one, whole, and running this again finishes what was begun: the file
# `restart-owed` says that the link has moved and the stations still have to be told, and names the version before.
# Whatever this file says goes to standard error. Exit codes: 0 done; 1 a fault, the version before runs; 2 refused; 3 no Python.
#
# WARMWELL_SYSTEMCTL names the service manager's command in place of systemctl, and says that it runs: for tests.
set -euo pipefail
umask 022 # the daemon's user has to read what root puts here
PATH=/usr/sbin:/usr/bin:/sbin:/bin:/usr/local/sbin:/usr/local/bin
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd -P)
# shellcheck source=deploy/environment.sh
. "$here/environment.sh"
# shellcheck source=deploy/sums.sh
. "$here/sums.sh"

step() { _say "$*"; }

# ---- what was asked for ---------------------------------------------------------------------------------------------

root='' station='' upgrade='' uninstall=''
while [ $# -gt 0 ]; do
    case $1 in
        --station | --root)
            [ $# -ge 2 ] || refuse "$1" "nothing stands behind it" "a name" "Say which"
            if [ "$1" = --root ]; then root=$2; else station=$2; fi
            shift
            ;;
        --upgrade) upgrade=yes ;;
        --uninstall) uninstall=yes ;;
        -h | --help)
            sed -n '2,/^set -/{/^#/s/^# \{0,1\}//p}' "${BASH_SOURCE[0]}"
            exit 0
            ;;
        *) refuse "install.sh" "$1 is no option" "--station FILE, --upgrade, --uninstall or --root FOLDER" "Correct it" ;;
    esac
    shift
done
if [ -n "$root" ]; then
    [ -d "$root" ] || refuse "--root" "$root is no folder" "the root of an image, mounted" "Mount it, or name another"
    root=$(cd "$root" && pwd -P)
    root=${root%/}
fi
if [ -n "$station" ]; then
    { [ -f "$station" ] && [ -r "$station" ]; } || refuse "$station" "there is no such file" "a station file" "Correct its name; the installation is as it was"
    station=$(cd "$(dirname "$station")" && pwd -P)/$(basename "$station")
fi
opt=$root/opt/warmwell etc=$root/etc/warmwell var=$root/var/lib/warmwell lib=$root/usr/local/lib
current=$(readlink "$opt/current" 2>/dev/null || true)
current=${current#versions/}

# ---- the service manager --------------------------------------------------------------------------------------------

# Whether there is one that runs here. In a folder, or a chroot, there is none: what is enabled starts at the first boot.
is_live() { [ -n "${WARMWELL_SYSTEMCTL:-}" ] || { [ -z "$root" ] && [ -d /run/systemd/system ]; }; }

manage() { "${WARMWELL_SYSTEMCTL:-systemctl}" "$@" 9>&-; }

# Enable or disable the units of station $2; for a folder, by its links alone.
switch() {
    local offline=()
    [ -z "$root" ] || [ -n "${WARMWELL_SYSTEMCTL:-}" ] || offline=(--root="$root")
    manage --quiet "${offline[@]}" "$1" "warmwell@$2.service" "warmwell@$2.path" 2>/dev/null \
        || { [ "$1" = disable ] || { _say "the units of station $2 could not be enabled: systemctl enable warmwell@$2.service says why." && exit 1; }; }
}

# Names of the stations in one of the states $1.
stations() {
    manage list-units --all --plain --no-legend --state="$1" 'warmwell@*.service' 2>/dev/null \
        | sed -n 's/^.*warmwell@\([^ ]*\)\.service.*$/\1/p'
}

# Start stations again; names of those that don't come up.
restarted() {
    local name
    for name in "$@"; do
        manage restart "warmwell@$name.service" >&2 || printf '%s\n' "$name"
    done
}

# ---- files ----------------------------------------------------------------------------------------------------------

# Put file $1 in the place $2 in one step, unless it stands there already.
put() {
    cmp -s "$1" "$2" && return 0
    install -D -m 0644 "$1" "$2.new"
    mv -f "$2.new" "$2"
}

link() { # link TARGET NAME
    mkdir -p "$(dirname "$2")"
    ln -sfn "$1" "$2.new"
    mv -fT "$2.new" "$2"
}

system_files=(
    "warmwell@.service:$lib/systemd/system/warmwell@.service"
    "warmwell@.path:$lib/systemd/system/warmwell@.path"
    "warmwell-bus@.service:$lib/systemd/system/warmwell-bus@.service"
    "warmwell-face@.service:$lib/systemd/system/warmwell-face@.service"
    "60-warmwell-gpio.rules:$lib/udev/rules.d/60-warmwell-gpio.rules"
    "60-warmwell-onewire.rules:$lib/udev/rules.d/60-warmwell-onewire.rules"
    "warmwell.sysusers:$lib/sysusers.d/warmwell.conf"
)

# Make version $1 the one that is used, forwards or back.
activate() {
    local pair
    for pair in "${system_files[@]}"; do
        if [ -e "$opt/versions/$1/system/${pair%%:*}" ]; then
            put "$opt/versions/$1/system/${pair%%:*}" "${pair#*:}"
        else # an older version didn't have it
            rm -f "${pair#*:}"
        fi
    done
    link "versions/$1" "$opt/current"
    link ../../../opt/warmwell/current/bin/warmwell "$root/usr/local/bin/warmwell"
    sync -f "$opt"
    if is_live; then
        manage daemon-reload
        manage try-restart 'warmwell-bus@*.service' || true # lines that stations share; each station says so by itself where one stays away
        manage try-restart 'warmwell-face@*.service' || true # what a building sees of stations
        [ -n "$root" ] || ! command -v udevadm >/dev/null 2>&1 || {
            udevadm control --reload && udevadm trigger --action=add --subsystem-match=w1 --subsystem-match=gpio
        } 2>/dev/null || true
    fi
}

# Run a command as the daemon's user: what it opens in the stations' folders stays the daemon's.
as_user() {
    if [ "$uid" = "$(id -u)" ]; then "$@"; else setpriv --reuid "$uid" --regid "$gid" --clear-groups -- "$@"; fi
}

# ---- remove ---------------------------------------------------------------------------------------------------------

if [ -n "$uninstall" ]; then
    [ -e "$opt" ] || [ -e "$lib/systemd/system/warmwell@.service" ] || refuse "$opt" "Warmwell isn't installed here" "an installation" "Nothing was changed"
    step "stopping the stations, and removing the program"
    names=$(for file in "$etc"/*.toml "$root"/etc/systemd/system/*.wants/warmwell@*.service; do
        name=$(basename "$file" .toml)
        name=$(basename "$name" .service)
        printf '%s\n' "${name#warmwell@}"
    done | grep -vxF '*' | sort -u || true)
    for name in $names; do
        if is_live; then manage stop "warmwell@$name.path" "warmwell@$name.service" || true; fi
        switch disable "$name"
    done
    if is_live; then manage stop 'warmwell-bus@*.service' 'warmwell-face@*.service' || true; fi
    rm -f "$root"/etc/systemd/system/*.wants/warmwell-{bus,face}@*.service
    for pair in "${system_files[@]}"; do rm -f "${pair#*:}" "${pair#*:}.new"; done
    rm -f "$root/usr/local/bin/warmwell" "$root/usr/local/bin/warmwell.new"
    rm -rf "$opt"
    if is_live; then manage daemon-reload; fi
    step "removed. What stations kept stays in $var, their files in $etc; the user warmwell owns them. Remove both only when nobody has to be shown the record any more."
    exit 0
fi

# ---- may it be installed here? --------------------------------------------------------------------------------------

step "looking at this machine"
[ -n "$root" ] || [ "$(id -u)" -eq 0 ] || refuse "install.sh" "it was started by $(id -un)" "root" "Start it with sudo"
for tool in systemctl systemd-sysusers setpriv flock; do
    command -v "$tool" >/dev/null 2>&1 || refuse "$tool" "it isn't installed" "Debian or a relative, with systemd" "Run 'apt install systemd util-linux'"
done
case $(uname -m) in
    x86_64 | aarch64) ;;
    *) _say "note: this processor ($(uname -m)) is none of those that Warmwell is meant for (x86_64, aarch64)." ;;
esac
if ! mkdir -p "$opt/versions" 2>/dev/null; then
    refuse "$opt" "it can't be written" "a system that can be changed" "Make it writable for the time of the installation (a read-only root: deploy/install.md)"
fi
exec 9>"$opt/.lock"
flock -n 9 || refuse "$opt" "another installation is under way" "one at a time" "Wait until it has ended"
free_kb=$(df -Pk "$opt" | awk 'NR == 2 { print $4 }')
[ "$free_kb" -ge "${WARMWELL_ROOM_KB:-400000}" ] || refuse "$opt" "there are $((free_kb / 1000)) MB free" "400 MB, as the old version stays until the new one runs" "Make room"
_find_python || exit 3

# A board that was told whose releases it takes, takes no other.
if [ -e "$etc/release.pub" ]; then
    [ -e "$warmwell_root/SHA256SUMS" ] || refuse "$warmwell_root" "it is a checkout, which nobody signed" "a stick signed by the key in $etc/release.pub" "Use one, or remove that file"
    signed_by "$etc/release.pub" "$warmwell_root"
fi

# From a stick: everything on it is whole, and nothing comes from the network. From a checkout: its own files.
if [ -e "$warmwell_root/SHA256SUMS" ]; then
    whole "$warmwell_root"
    export PIP_NO_INDEX=1 PIP_FIND_LINKS="$warmwell_root/wheels" PIP_CONFIG_FILE=/dev/null
    source=$(find "$warmwell_root/wheels" -name 'warmwell-*.whl' | sort | tail -n 1)
    [ -n "$source" ] || refuse "$warmwell_root/wheels" "Warmwell's own wheel isn't there" "warmwell-*.whl" "Write the stick anew"
    version=${source##*/warmwell-}
    version=${version%%-*}
    stamp=$(cat "$warmwell_root/SHA256SUMS")
else
    source=$warmwell_root
    version=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$warmwell_root/pyproject.toml")
    stamp=$(cd "$warmwell_root" && find edge adapters simulators config deploy pyproject.toml -type f ! -name '*.pyc' -print0 | sort -z | xargs -0 sha256sum)
fi
id=$version-$({ printf '%s\n' "$stamp"; "$warmwell_python" -I -c 'import sys; print(sys.version, sys.executable)'; } | sha256sum | cut -c1-10)
new=$opt/versions/$id
if [ -n "$current" ] && [ "$current" != "$id" ] && [ -z "$upgrade" ]; then
    refuse "$opt" "version $current is installed, this is $id" "the same, or to be told to replace it" "Add --upgrade; stations go on meanwhile"
fi

# ---- the new version, beside the one that runs ----------------------------------------------------------------------

if [ ! -e "$new/.complete" ]; then
    step "making version $id from $(basename "$source") (a minute or two)"
    _make "$new" "$here/requirements-run.lock" "$opt/install.log" "$source" || exit
    "$new/bin/python" -I -m compileall -q "$new/lib" >>"$opt/install.log" 2>&1 || true # the daemon can't write what Python compiles
    # It finds its version by its own place, and stays with it when the link moves: a running daemon never mixes two.
    rm -f "$new/bin/warmwell"
    cat >"$new/bin/warmwell" <<'END'
#!/bin/sh
exec "$(dirname "$(readlink -f "$0")")/python" -I -X faulthandler -c '
import sys
try:
    from edge.cli.app import main
except ModuleNotFoundError as exc:
    if exc.name != "edge":
        raise
    version = "%d.%d" % sys.version_info[:2]
    print(f"warmwell: {sys.prefix}: it was installed for another Python; expected one that {version} can use. "
        f"Run install.sh --upgrade, from a stick for Python {version}.", file=sys.stderr)
    sys.exit(2)
main()
' "$@"
END
    chmod 0755 "$new/bin/warmwell"
    for pair in "${system_files[@]}"; do
        install -D -m 0644 "$here/${pair%%:*}" "$new/system/${pair%%:*}"
    done
    "$new/bin/warmwell" --version >>"$opt/install.log" 2>&1 || { _say "$new/bin/warmwell doesn't run: the last lines of $opt/install.log say why; what was installed before still runs." && exit 1; }
    sync -f "$opt"
    : >"$new/.complete"
fi

step "user, groups and folders"
mkdir -p "$root/etc"
put "$new/system/warmwell.sysusers" "$lib/sysusers.d/warmwell.conf"
systemd-sysusers ${root:+--root="$root"} warmwell.conf >&2 || { _say "the user warmwell could not be made: the line above says why." && exit 1; }
uid=$(awk -F: '$1 == "warmwell" { print $3 }' "$root/etc/passwd")
gid=$(awk -F: '$1 == "warmwell" { print $4 }' "$root/etc/passwd")
install -d -m 0750 -g "$gid" "$etc" "$etc/lines"
install -d -m 0750 -o "$uid" -g "$gid" "$var"

# ---- every station file has to pass before anything is replaced -----------------------------------------------------

step "checking station files"
for file in "$etc"/*.toml; do
    [ -e "$file" ] || continue
    as_user "$new/bin/warmwell" check "$file" >/dev/null \
        || refuse "$file" "version $id can't use it, as said above" "a file that warmwell check takes" "Correct it and start again; what was installed before still runs"
done
name=''
if [ -n "$station" ]; then
    staged=$etc/.to-be-checked
    install -m 0640 -g "$gid" "$station" "$staged"
    trap 'rm -f "$staged"' EXIT
    usable=yes
    said=$(as_user "$new/bin/warmwell" check "$staged" 2>&1) || usable=''
    printf '%s\n' "${said//"$staged"/$station}" >&2
    [ -n "$usable" ] || refuse "$station" "it can't be used, as said above" "a file that warmwell check takes" "Correct it and start again; nothing was replaced"
    facts=$(as_user "$new/bin/warmwell" check --json "$staged" | "$warmwell_python" -I -c 'import json, sys; said = json.load(sys.stdin); print(said["station"].split("/")[-1], said["keep"])')
    name=${facts%% *} keep=${facts#* }
    case $keep/ in
        /var/lib/warmwell/*) ;;
        *) refuse "$station" "[keep] folder is $keep, where its service may not write" "/var/lib/warmwell or a folder below it" "Write folder = \"/var/lib/warmwell/$name\" under [keep]" ;;
    esac
fi

# ---- over to the new one --------------------------------------------------------------------------------------------

before=$current
if [ -e "$opt/restart-owed" ]; then before=$(cat "$opt/restart-owed"); fi
if [ "$current" != "$id" ]; then
    printf '%s\n' "$current" >"$opt/restart-owed.new" && mv -f "$opt/restart-owed.new" "$opt/restart-owed"
    step "over to version $id"
fi
activate "$id"
replaced=''
if [ -n "$station" ]; then
    step "station $name"
    if ! cmp -s "$staged" "$etc/$name.toml"; then
        if [ -e "$etc/$name.toml" ]; then
            cp -p "$etc/$name.toml" "$etc/$name.toml.before"
            replaced=yes
        fi
        mv -f "$staged" "$etc/$name.toml"
    fi
    switch enable "$name"
fi
failed=''
if is_live; then
    again=$name down=''
    if [ -e "$opt/restart-owed" ]; then
        again=$(printf '%s\n' "$(stations active,activating,reloading)" "$name" | grep . | sort -u || true)
        down=$(stations failed)
    fi
    # shellcheck disable=SC2086 # names of stations have no spaces
    step "starting:" ${again:-nothing}
    # shellcheck disable=SC2086
    failed=$(restarted $again)
    # shellcheck disable=SC2086 # these were down before: they prove nothing about the new version
    restarted $down >/dev/null
    [ -z "$name" ] || manage start "warmwell@$name.path"
fi
if [ -n "$failed" ]; then
    failed=$(printf '%s' "$failed" | tr '\n' ' ')
    if [ -z "$before" ] || [ "$before" = "$id" ]; then
        rm -f "$opt/restart-owed"
        _say "station $failed: it doesn't come up; expected READY=1 from its daemon. 'journalctl -u warmwell@${failed%% *}' says why; it is installed, and tried again at the next boot."
        exit 1
    fi
    if [ -n "$replaced" ]; then mv -f "$etc/$name.toml.before" "$etc/$name.toml"; fi
    activate "$before"
    # shellcheck disable=SC2086
    worse=$(restarted $again | tr '\n' ' ')
    rm -f "$opt/restart-owed"
    _say "version $id: station $failed doesn't come up with it; expected READY=1 from its daemon. Version $before is back (not up: ${worse:-none}); 'journalctl -u warmwell@${failed%% *}' says why."
    exit 1
fi

# ---- what is no longer needed ---------------------------------------------------------------------------------------

rm -f "$opt/restart-owed"
for old in "$opt"/versions/*; do
    case ${old##*/} in
        "$id" | "$before") ;;
        *) rm -rf "$old" ;;
    esac
done
step "version $id is installed"
if [ -z "$name" ]; then
    compgen -G "$etc/*.toml" >/dev/null || _say "no station is set up yet: add --station FILE."
elif is_live; then
    _say "station $name runs: warmwell status shows it, journalctl -u warmwell@$name what it says."
else
    _say "station $name starts at the next boot."
fi
