# Sourced by tests/run.sh: Debian packages that the tests use, installed where we may, named where we may not.
#
#   debian_packages LOG COMMAND:PACKAGE...    packages whose command is missing; what apt says goes to the file LOG
#
# Needs deploy/environment.sh (its lock, its voice). WARMWELL_NO_APT=1 means: install nothing.
# Services that an installation would start are kept from starting by policy-rc.d, which is made only where there is none
# and removed afterwards. Services that run are never touched.

_policy=${WARMWELL_POLICY:-/usr/sbin/policy-rc.d}
_policy_mark='# made by Warmwell while packages are installed; to be removed'

_policy_away() {
    if grep -qsF "$_policy_mark" "$_policy"; then rm -f "$_policy"; fi
}

_apt_install() (  # a subshell: its trap and its lock end with it
    export DEBIAN_FRONTEND=noninteractive
    exec 8>"${WARMWELL_APT_LOCK:-/run/lock/warmwell-apt.lock}"
    _hold 8 || exit
    trap _policy_away EXIT
    trap 'exit 1' INT TERM HUP
    if [ ! -e "$_policy" ] && [ ! -L "$_policy" ]; then
        printf '#!/bin/sh\n%s\nexit 101\n' "$_policy_mark" >"$_policy" && chmod 755 "$_policy" || exit
    fi
    apt-get -qq -o DPkg::Lock::Timeout=300 update || exit
    apt-get -qq -y -o DPkg::Lock::Timeout=300 --no-install-recommends install "$@" 8>&-
)

debian_packages() {
    local log=$1 pair packages=()
    shift
    for pair in "$@"; do
        command -v "${pair%%:*}" >/dev/null 2>&1 || packages+=("${pair#*:}")
    done
    [ ${#packages[@]} -gt 0 ] || return 0
    if [ "$(id -u)" -ne 0 ] || [ -n "${WARMWELL_NO_APT:-}" ] || ! command -v apt-get >/dev/null 2>&1; then
        _say "not installed, so some tests will skip: ${packages[*]} (as root: apt install ${packages[*]})"
        return 0
    fi
    _say "installing for the tests: ${packages[*]}"
    if ! _apt_install "${packages[@]}" >"$log" 2>&1; then
        _say "could not be installed, so some tests will skip: ${packages[*]} (see $log)"
    fi
}
