"""`warmwell completion`: a script by which a shell completes verbs, options, kinds of records, their keys, and words to choose from.

The script is made from the verbs as they are and from the records' forms, and knows all by itself: pressing Tab starts no program. Files
are completed where a file is expected.
"""

from __future__ import annotations

import shlex
import types
import typing
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any, Final

from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.records.forms import FORMS, keys_of
from edge.domain.words.languages import LANGUAGES
from simulators.scenarios.scenarios import SCENARIOS

#: stands for any file among the words of a place
FILES: Final = "<files>"
#: options and arguments whose words the verbs' own types don't tell, by verb and name
_TOLD: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("demo", "scenario"): tuple(SCENARIOS),
    ("status", "lang"): tuple(LANGUAGES),
    ("ack", "alarm"): tuple(f"{ident}:" if row.per else ident for ident, row in CATALOGUE.items()),
}
_OWN_KEYS: Final = frozenset({"by", "at", "record"})


@dataclass(slots=True)
class Place:
    """What may stand behind a verb.

    Attributes:
        values: of each option that takes a value the words that it may be.
        arguments: the words of the first argument, of the second …; the last may come several times.
    """

    says: str
    verbs: list[str] = field(default_factory=list)
    flags: list[str] = field(default_factory=list)
    values: dict[str, tuple[str, ...]] = field(default_factory=dict)
    arguments: list[tuple[str, ...]] = field(default_factory=list)


def script(command: Any, shell: str) -> str:
    """The script for the whole command line, for bash, zsh or fish."""
    return _SCRIPTS[shell](places(command))


def places(command: Any) -> dict[str, Place]:
    """What may stand behind each verb, by its words; below `record` each kind."""
    return dict(_places(command, ""))


def _places(command: Any, path: str) -> Iterator[tuple[str, Place]]:
    place = Place(str(command.help or "").split(". ")[0].split("\n")[0].rstrip("."))
    hints = _hints(command)
    for parameter in command.params:
        words = _TOLD.get((path, parameter.name)) or _words(hints.get(parameter.name))
        if parameter.param_type_name == "argument":
            place.arguments.append(words)
        elif getattr(parameter, "is_flag", False) or parameter.name == "version":
            place.flags += parameter.opts
        else:
            place.values |= dict.fromkeys(parameter.opts, words)
    place.flags.append("--help")
    verbs: Mapping[str, Any] = getattr(command, "commands", {})
    place.verbs = list(verbs)
    if path == "record":
        place.verbs, place.arguments = list(FORMS), []
        for kind, form in FORMS.items():
            yield f"record {kind}", Place(form.says, [], place.flags, place.values, [tuple(_pairs(kind))])
    yield path, place
    for name, verb in verbs.items():
        yield from _places(verb, f"{path} {name}".strip())


def _pairs(kind: str) -> Iterator[str]:
    """What may be typed of a record: `key=`, with its value where there are only a few."""
    for name, key in keys_of(kind).items():
        if name not in _OWN_KEYS:
            words = key.words or (("yes", "no") if key.kind == "flag" else ("",))
            yield from (f"{name}={word}" for word in words)


def _hints(command: Any) -> Mapping[str, Any]:
    """The types of a verb's parameters, by name."""
    callback = getattr(command, "callback", None)
    return typing.get_type_hints(getattr(callback, "__wrapped__", callback)) if callback is not None else {}


def _words(hint: Any) -> tuple[str, ...]:
    """The words that a parameter of this type may be."""
    for one in (hint, *_within(hint)):
        if isinstance(one, type) and issubclass(one, Enum):
            return tuple(str(member.value) for member in one)
        if isinstance(one, type) and issubclass(one, Path):
            return (FILES,)
    return ()


def _within(hint: Any) -> Iterator[Any]:
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is not None:
        for one in typing.get_args(hint):
            yield one
            yield from _within(one)


# -- bash and zsh: one table, two ways to ask it


def _table(places: Mapping[str, Place]) -> Iterator[str]:
    """Functions that both shells read: from the words typed so far to what may follow."""
    yield "_warmwell_place() {  # sets verbs, flags, valued (options that take a value) and how many kinds of arguments there are"
    yield '    case "$1" in'
    for path, place in places.items():
        told = {"verbs": place.verbs, "flags": [*place.flags, *place.values], "valued": list(place.values)}
        yield f"        {shlex.quote(path)})"
        yield from (f"            {name}={shlex.quote(' '.join(words))}" for name, words in told.items())
        yield f"            arguments={len(place.arguments)} ;;"
    yield "    esac"
    yield "}"
    yield "_warmwell_words() {  # sets offer: of an option's value, or of the argument with that number"
    yield '    case "$1" in'
    for path, place in places.items():
        of = [*place.values.items(), *((str(n), words) for n, words in enumerate(place.arguments))]
        yield from (
            f"        {shlex.quote(f'{path} {name}'.strip())}) offer={shlex.quote(' '.join(words))} ;;"
            for name, words in of
            if words
        )
    yield "    esac"
    yield "}"


#: finds, from the words before the one that is typed (in `before`), what may stand there: sets offer
_WALK: Final = """\
    local at= word valueless=1 n=0 verbs= flags= valued= arguments=0
    _warmwell_place ""
    for word in "${before[@]}"; do
        if [ -z "$valueless" ]; then
            valueless=1
        elif [[ " $verbs " == *" $word "* ]]; then
            at="${at:+$at }$word" n=0
            _warmwell_place "$at"
        elif [[ " $valued " == *" $word "* ]]; then
            valueless=
        elif [[ $word != -* ]]; then
            n=$((n + 1))
        fi
    done
    offer=
    if [ -z "$valueless" ]; then
        _warmwell_words "$at $word"
    elif [[ $cur == -* ]]; then
        offer=$flags
    elif [ -n "$verbs" ]; then
        offer=$verbs
    elif [ "$arguments" -gt 0 ]; then
        [ "$n" -lt "$arguments" ] || n=$((arguments - 1))
        _warmwell_words "${at:+$at }$n"
    fi
"""
_BASH: Final = """\
# Completion of `warmwell` in bash. Put it where bash looks: ~/.local/share/bash-completion/completions/warmwell
%(table)s
_warmwell() {
    local line=${COMP_LINE:0:COMP_POINT} cur broken before offer
    read -ra before <<<"$line"
    before=("${before[@]:1}")
    cur=
    if [[ $line != *[[:space:]] ]] && [ ${#before[@]} -gt 0 ]; then
        cur=${before[${#before[@]}-1]}
        unset "before[${#before[@]}-1]"
    fi
%(walk)s
    COMPREPLY=()
    if [ "$offer" = "%(files)s" ]; then
        compopt -o filenames 2>/dev/null
        while IFS= read -r word; do COMPREPLY+=("$word"); done < <(compgen -f -- "$cur")
        return
    fi
    while IFS= read -r word; do COMPREPLY+=("$word"); done < <(compgen -W "$offer" -- "$cur")
    if [ ${#COMPREPLY[@]} -eq 1 ] && [[ ${COMPREPLY[0]} == *[=:] ]]; then
        compopt -o nospace 2>/dev/null  # a value follows
    fi
    broken=  # bash goes on from the last of its word breaks
    if [[ $cur == *=* && $COMP_WORDBREAKS == *=* ]]; then broken=${cur%%"${cur##*=}"}; fi
    if [[ $cur == *:* && $COMP_WORDBREAKS == *:* ]]; then broken=${cur%%"${cur##*[=:]}"}; fi
    COMPREPLY=("${COMPREPLY[@]#"$broken"}")
}
complete -F _warmwell warmwell
"""
_ZSH: Final = """\
#compdef warmwell
# Completion of `warmwell` in zsh. Put it into a folder of $fpath, as _warmwell, or source it once compinit has run.
%(table)s
_warmwell() {
    local cur=${words[CURRENT]} offer
    local -a before all open
    before=("${(@)words[2,CURRENT-1]}")
%(walk)s
    if [ "$offer" = "%(files)s" ]; then
        _files
        return
    fi
    all=(${=offer})
    open=(${(M)all:#*[=:]})
    compadd -- ${all:|open}
    compadd -S '' -- $open  # a value follows
}
if [ "$funcstack[1]" = "_warmwell" ]; then
    _warmwell "$@"
else
    compdef _warmwell warmwell
fi
"""


def _bash(places: Mapping[str, Place]) -> str:
    return _BASH % {"table": "\n".join(_table(places)), "walk": _WALK, "files": FILES}


def _zsh(places: Mapping[str, Place]) -> str:
    return _ZSH % {"table": "\n".join(_table(places)), "walk": _WALK, "files": FILES}


# -- fish: what may follow where, a line each


_FISH: Final = """\
# Completion of `warmwell` in fish. Put it into ~/.config/fish/completions/warmwell.fish
function __warmwell_at -d "Do the words so far lead to this verb; and is its argument of that number next, or a later one?"
    set -l typed (commandline -opc)
    set -l path ''
    set -l n 0
    for word in $typed[2..-1]
        set -l further (string trim -- "$path $word")
        if contains -- $further $__warmwell_paths
            set path $further
            set n 0
        else if contains -- "$path $word" $__warmwell_valued
            set n (math $n - 1) # its value is no argument
        else if not string match -q -- '-*' $word
            set n (math $n + 1)
        end
    end
    test "$path" = "$argv[1]"; or return 1
    switch (count $argv)
        case 1
            return 0
        case 2
            test $n -eq $argv[2]
        case 3
            test $n -ge $argv[2]
    end
end
"""


def _fish(places: Mapping[str, Place]) -> str:
    deep = {path: place for path, place in places.items() if path}
    lines = [
        _FISH.rstrip(),
        f"set -g __warmwell_paths {' '.join(map(shlex.quote, deep))}",
        f"set -g __warmwell_valued {' '.join(shlex.quote(f'{path} {one}') for path, place in deep.items() for one in place.values)}",
        "complete -c warmwell -f",
    ]
    for path, place in places.items():
        at = f"-n {shlex.quote(f'__warmwell_at {shlex.quote(path)}')}"
        for verb in place.verbs:
            said = places[f"{path} {verb}".strip()].says
            lines.append(f"complete -c warmwell {at} -a {shlex.quote(verb)} -d {_fish_quoted(said)}")
        lines += [f"complete -c warmwell {at} -l {flag.removeprefix('--')}" for flag in place.flags]
        for option, words in place.values.items():
            value = "-r -F" if words == (FILES,) else f"-x -a {_fish_quoted(' '.join(words))}" if words else "-x"
            lines.append(f"complete -c warmwell {at} -l {option.removeprefix('--')} {value}")
        for n, words in enumerate(place.arguments):
            last = " last" if n == len(place.arguments) - 1 else ""
            there = f"-n {shlex.quote(f'__warmwell_at {shlex.quote(path)} {n}{last}')}"
            if words:
                value = "-F" if words == (FILES,) else f"-a {_fish_quoted(' '.join(words))}"
                lines.append(f"complete -c warmwell {there} {value}")
    return "\n".join(lines) + "\n"


def _fish_quoted(text: str) -> str:
    """fish knows \\' within single quotes."""
    escaped = text.replace("\\", "\\\\").replace("'", "\\'")
    return f"'{escaped}'"


_SCRIPTS: Final[Mapping[str, Callable[[Mapping[str, Place]], str]]] = {"bash": _bash, "zsh": _zsh, "fish": _fish}
