# Sourced by deploy/warmwell (and so deploy/demo.sh), tests/run.sh and deploy/install.sh: a Python environment of the project's own,
# made from a lock.
#
#   warmwell_environment NAME LOCK    makes or finds the environment NAME; its folder is then in $warmwell_env
#
# The environment lives in .cache/ of the checkout, or, where that can't be written, in the user's cache folder. Its name
# carries a stamp of lock, pyproject.toml, Python and place: nothing changed means nothing is done, and an environment that
# another run is using is never changed under it; two at once wait for each other. It is made by the first way that works: venv,
# venv with another pip, Debian's pip wheel, virtualenv, uv. Where packages come from is the business of pip's and uv's own settings.
# Everything this file says goes to standard error. Exit codes: 3, no way to make an environment; 1, packages didn't install.
#
# WARMWELL_PYTHON names the interpreter to use; default: the first of python3, python3.13, python3.12, python3.11 that will do.

warmwell_root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)

_say() { printf 'warmwell: %s\n' "$*" >&2; }

# End with one sentence: refuse WHERE WHAT EXPECTED DO
refuse() {
    _say "$1: $2; expected $3. $4."
    exit 2
}

# Hold an exclusive lock on the open file with descriptor $1 until this shell closes it. By Python: it is here anyway.
_hold() { "$warmwell_python" -I -c 'import fcntl, sys; fcntl.flock(int(sys.argv[1]), fcntl.LOCK_EX)' "$1"; }

_find_python() {
    local candidate candidates=(python3 python3.13 python3.12 python3.11)
    [ -z "${WARMWELL_PYTHON:-}" ] || candidates=("$WARMWELL_PYTHON")
    for candidate in "${candidates[@]}"; do
        if "$candidate" -I -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            warmwell_python=$candidate
            return 0
        fi
    done
    _say "no Python 3.11 or later found (looked for ${candidates[*]}): run 'apt install python3 python3-venv', or name one in WARMWELL_PYTHON."
    return 3
}

# The first folder of our own that can be written: in the checkout, the user's cache, the folder for temporary files.
_find_cache() {
    local mark folder
    mark=$(printf '%s' "$warmwell_root" | sha256sum | cut -c1-12)
    for folder in "$warmwell_root/.cache" "${XDG_CACHE_HOME:-${HOME:-/nonexistent}/.cache}/warmwell/$mark" "${TMPDIR:-/tmp}/warmwell-$(id -u)/$mark"; do
        # -O: ours. In a folder for temporary files anyone could have made it.
        if (umask 077 && mkdir -p "$folder/env") 2>/dev/null && [ -O "$folder/env" ] && : 2>/dev/null >"$folder/env/.lock"; then
            warmwell_cache=$folder
            return 0
        fi
    done
    _say "no folder for the Python environment can be written: set XDG_CACHE_HOME to one that can."
    return 3
}

# Each way makes the empty environment $1 and leaves in `install` the command that installs packages into it.
_by_venv() {
    "$warmwell_python" -m venv "$1" && install=("$1/bin/python" -m pip install)
}

_by_bare_venv() {  # Debian without python3-venv: the module is there, its pip isn't
    "$warmwell_python" -m venv --without-pip "$1" || return 1
    install=("$warmwell_python" -m pip --python "$1/bin/python" install)
    if "${install[@]:0:5}" --version; then  # pip 22.3 or later
        return 0
    fi
    install=(pip3 --python "$1/bin/python" install)
    "${install[@]:0:3}" --version
}

_by_pip_wheel() {  # pip can run from its wheel; Debian keeps one for virtualenv and for venv
    "$warmwell_python" -m venv --without-pip "$1" || return 1
    local wheel
    for wheel in "${WARMWELL_WHEELS:-/usr/share/python-wheels}"/pip-*.whl; do
        if "$1/bin/python" "$wheel/pip" --version; then
            install=("$1/bin/python" "$wheel/pip" install)
            return 0
        fi
    done
    return 1
}

_by_virtualenv() {
    { "$warmwell_python" -m virtualenv "$1" || virtualenv -p "$warmwell_python" "$1"; } \
        && install=("$1/bin/python" -m pip install)
}

_by_uv() {
    uv venv --python "$warmwell_python" "$1" || return 1
    # uv has settings of its own; where only pip's are made, they hold for uv too.
    [ -z "${PIP_INDEX_URL:-}" ] || export UV_DEFAULT_INDEX="${UV_DEFAULT_INDEX:-$PIP_INDEX_URL}"
    [ -z "${PIP_EXTRA_INDEX_URL:-}" ] || export UV_INDEX="${UV_INDEX:-$PIP_EXTRA_INDEX_URL}"
    [ -z "${PIP_FIND_LINKS:-}" ] || export UV_FIND_LINKS="${UV_FIND_LINKS:-$PIP_FIND_LINKS}"
    [ -z "${PIP_NO_INDEX:-}" ] || export UV_NO_INDEX="${UV_NO_INDEX:-$PIP_NO_INDEX}"
    [ -z "${PIP_CERT:-}" ] || export SSL_CERT_FILE="${SSL_CERT_FILE:-$PIP_CERT}"
    install=(uv pip install --python "$1/bin/python")
}

# Make environment $1 from lock $2; what the tools say goes to file $3. What follows is the project, as pip takes it.
_make() {
    local way install=() project=("${@:4}")
    for way in _by_venv _by_bare_venv _by_pip_wheel _by_virtualenv _by_uv; do
        rm -rf "$1"
        printf '== %s\n' "$way" >>"$3"
        if "$way" "$1" >>"$3" 2>&1; then
            break
        fi
        install=()
    done
    if [ ${#install[@]} -eq 0 ]; then
        rm -rf "$1"
        _say "no way to make a Python environment here (tried venv, venv with another pip, Debian's pip wheel, virtualenv and uv): run 'apt install python3-venv' and start again."
        return 3
    fi
    # First the locked packages, then the project: nothing outside the lock is fetched.
    if ! { "${install[@]}" --require-hashes --only-binary :all: -r "$2" \
        && "${install[@]}" --no-deps --no-build-isolation "${project[@]}"; } >>"$3" 2>&1; then
        rm -rf "$1"
        tail -n 15 "$3" >&2
        _say "the Python packages of $(basename "$2") could not be installed (the lines above say why; all of them: $3). Check the network and pip's index settings, then start again."
        return 1
    fi
}

warmwell_environment() {
    local name=$1 lock=$2 stamp log status old
    _find_python && _find_cache || return
    stamp=$({ cat "$lock" "$warmwell_root/pyproject.toml"; printf '%s\n' "$warmwell_root"; "$warmwell_python" -I -c 'import sys; print(sys.version, sys.executable)'; } | sha256sum | cut -c1-12)
    warmwell_env=$warmwell_cache/env/$name-$stamp
    if [ ! -e "$warmwell_env/.complete" ]; then
        log=$warmwell_cache/env/$name.log
        exec 9>"$warmwell_cache/env/.lock"
        _hold 9 || { _say "no lock on $warmwell_cache/env/.lock could be had: is that folder on a file system without locks?"; return 1; }
        if [ ! -e "$warmwell_env/.complete" ]; then  # nobody else made it while we waited
            _say "preparing the Python packages in $warmwell_env (the first time takes a minute or two)"
            : >"$log"
            status=0
            _make "$warmwell_env" "$lock" "$log" -e "$warmwell_root" || status=$?
            if [ "$status" -ne 0 ]; then
                exec 9>&-
                return "$status"
            fi
            : >"$warmwell_env/.complete"
            # Environments of earlier locks that nobody has started from for a week.
            find "$warmwell_cache/env" -mindepth 2 -maxdepth 2 -name .complete -mtime +7 -path "*/$name-*/.complete" | while read -r old; do
                rm -rf "$(dirname "$old")"
            done
        fi
        exec 9>&-
    fi
    touch -c "$warmwell_env/.complete" 2>/dev/null || true  # in use: see above
}
