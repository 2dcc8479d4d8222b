"""How the command line speaks: what goes where, and what an error becomes. No stack trace reaches a user."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO, Final

from edge.domain.errors import AlreadyRunning, NewerStore, UnusableInput, WarmwellError

#: the documented exit codes
DONE, FAULT, UNUSABLE, NEWER, RUNNING = 0, 1, 2, 3, 4
_DISK_SAYS_NO: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EROFS})
_CODES: Final = ((AlreadyRunning, RUNNING), (NewerStore, NEWER), (UnusableInput, UNUSABLE))


def exit_code(refusal: WarmwellError) -> int:
    """The documented exit code of a refusal."""
    return next((code for kind, code in _CODES if isinstance(refusal, kind)), FAULT)


def guarded(call: Callable[[], int | None], *, as_json: bool = False) -> int:
    """Run a verb; whatever happens becomes an exit code and at most a few sentences on standard error, or one JSON object for each."""
    try:
        code = call()
        sys.stdout.flush()
        return code or DONE
    except BrokenPipeError:  # `warmwell … | head`: whoever read has enough
        _no_more_output()
        return DONE
    except KeyboardInterrupt:
        return 130
    except Exception as exc:  # supervision border: the last one there is
        refusal = exc if isinstance(exc, WarmwellError) else _as_refusal(exc)
        refuse(refusal, as_json=as_json)
        return exit_code(refusal)


def refuse(refusal: WarmwellError, *, as_json: bool) -> None:
    """Say a refusal: each of its sentences on a line, or as the JSON object of problem_json() on one."""
    if not as_json:
        complain(str(refusal))
        return
    several: Iterable[WarmwellError] = refusal if isinstance(refusal, Iterable) else (refusal,)
    for one in several:
        complain(json.dumps({**problem_json(one), "exit": exit_code(refusal)}, ensure_ascii=False))


def problem_json(refusal: WarmwellError) -> dict[str, Any]:
    """A refusal for programs: its sentence as `detail`, and the four parts, by the names that the API has for them."""
    parts = {"what": refusal.what, "where": refusal.where, "expected": refusal.expected, "do": refusal.do}
    return {"type": "about:blank", "detail": str(refusal), **parts}


def say_json(what: Mapping[str, Any]) -> None:
    """One object on one line of standard output, at once."""
    print(json.dumps(what, ensure_ascii=False, separators=(",", ":")), flush=True)


def _as_refusal(exc: Exception) -> WarmwellError:
    """What no part foresaw, as a refusal."""
    if isinstance(exc, EOFError):  # Ctrl-D where something was asked for
        return UnusableInput(
            "it ended where an answer was asked for", where="standard input", expected="an answer",
            do="Nothing was sent: start again",
        )  # fmt: skip
    if isinstance(exc, OSError) and exc.errno in _DISK_SAYS_NO:
        _no_more_output()
        return WarmwellError(
            f"it can't be written ({exc.strerror})", where=str(exc.filename or "output"), expected="a disk with room",
            do="Free some space, or write to another disk",
        )  # fmt: skip
    return WarmwellError(
        f"it met a fault of its own ({type(exc).__name__}: {str(exc)[:200]})", where="Warmwell", expected="none",
        do=f"Please report it; {_written_down(exc)}",
    )  # fmt: skip


def _open_streams() -> None:
    """Started with output or errors closed (`>&-`), what is said goes nowhere: Python has no stream there at all then."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115  # stays open as long as the program


def complain(text: str) -> None:
    """A sentence on standard error, if anybody still listens there."""
    with contextlib.suppress(OSError, ValueError):
        print(text, file=sys.stderr, flush=True)


def _no_more_output() -> None:
    """Let the interpreter's own last flush go nowhere."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _written_down(exc: Exception) -> str:
    """Where the trace of a fault is."""
    import tempfile
    import traceback

    if os.environ.get("WARMWELL_DEBUG") == "1":
        traceback.print_exception(exc)
    try:
        with tempfile.NamedTemporaryFile("w", prefix="warmwell-fault-", suffix=".log", delete=False) as file:
            traceback.print_exception(exc, file=file)
            return f"it is written down in {file.name}"
    except OSError:  # a full disk, perhaps the very cause
        return "run it again with WARMWELL_DEBUG=1 set to see where"


def use_utf8() -> None:
    """Print UTF-8 whatever the locale says; a terminal that can't show a sign gets a substitute, never an error."""
    _open_streams()
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")


def is_terminal(stream: Any) -> bool:
    """Whether a person sees this stream directly."""
    try:
        return bool(stream.isatty())
    except (AttributeError, ValueError):
        return False


def width(most: int) -> int:
    """How many characters a line may have: as the terminal is wide (or COLUMNS says), between 30 and `most`."""
    return max(30, min(most, shutil.get_terminal_size((most, 24)).columns))


@contextlib.contextmanager
def progress(what: str, unit: str = "") -> Iterator[Callable[[int, int | None], None]]:
    """A progress bar on standard error where that is a terminal, else nothing: `(done, of)`; `of` None where unknown."""
    if not is_terminal(sys.stderr):
        yield lambda _done, _of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.completed:,.0f} " + unit),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)


@contextlib.contextmanager
def output(path: Path | None) -> Iterator[BinaryIO]:
    """Standard output, or a file that only takes its name once it is whole.

    Raises:
        UnusableInput: the file can't be written.
    """
    if path is None:
        yield sys.stdout.buffer
        return
    if path.exists() and not path.is_file():  # a folder; or a device, which a rename would do away with
        raise UnusableInput(
            f"it is {'a folder' if path.is_dir() else 'not an ordinary file'}", where=str(path),
            expected="a file, new or to be replaced", do="Name a file",
        )  # fmt: skip
    part = path.with_name(path.name + ".part")
    try:
        file = part.open("wb")
    except OSError as exc:
        raise UnusableInput(
            f"it can't be written ({exc.strerror})", where=str(path), expected="a file in a folder that you may write to",
            do="Name another file",
        ) from exc  # fmt: skip
    try:
        with file:
            yield file
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def duration_ms(text: str, option: str) -> int:
    """A duration such as "60s" or "5 min" from the command line, in ms.

    Raises:
        UnusableInput: it is none, or not longer than nothing.
    """
    from edge.domain.quantities import UnitError, quantity

    try:
        ms = round(quantity(text, "duration"))
    except UnitError as exc:
        raise UnusableInput(
            exc.what, where=option, expected="a duration with its unit", do='Write such as "60s"'
        ) from exc
    if ms < 1:
        raise UnusableInput(
            f"{text!r} is no time to wait", where=option, expected="1 ms or more", do='Write such as "60s"'
        )
    return ms


_WORDS: Final = {
    "ready": "READY", "in_use": "IN USE", "reheating": "REHEATING", "at_rest": "AT REST", "not_ready": "NOT READY",
}  # fmt: skip


def display_word(verdict: Mapping[str, Any]) -> str:
    """The word for people; CAN'T TELL where nothing is known to be wrong.

    >>> display_word({"verdict": "not_ready", "display": "in_use"}), display_word({"verdict": "unknown"})
    ('IN USE', "NOT READY: CAN'T TELL")
    """
    return _WORDS.get(str(verdict.get("display") or verdict.get("verdict")), "NOT READY: CAN'T TELL")


def all_words(verdict: Mapping[str, Any]) -> list[str]:
    """The words of a station and of each of its basins, where it has several."""
    return [display_word(one) for one in (verdict, *verdict.get("verdicts", []))]


def basin_words(verdict: Mapping[str, Any]) -> str:
    """The word of one of several basins, and the first thing to do where it isn't READY.

    >>> basin_words({"basin": "left", "verdict": "not_ready", "waits_for": ["Have the hold of basin left released"]})
    'basin left: NOT READY: Have the hold of basin left released'
    """
    first = verdict.get("waits_for", [])[:1] if verdict.get("verdict") != "ready" else []
    return ": ".join([f"basin {verdict.get('basin')}", display_word(verdict), *first])


def value_words(value: Any, unit: str) -> str:
    """A value with its unit's usual sign.

    >>> value_words(39.0, "Cel"), value_words(102.2, "degF"), value_words(44.0, "psi"), value_words("ok", "")
    ('39.0 °C', '102.2 °F', '44.0 psi', 'ok')
    """
    from edge.domain.readings import Kind
    from edge.domain.wording import value_text

    if unit in ("Cel", "degC", "°C", "degF", "°F", "K"):
        return f"{value:.1f} {'K' if unit == 'K' else '°F' if unit.endswith('F') else '°C'}"
    if unit == "kPa":
        return value_text(float(value), "kPa", Kind.PRESSURE)
    return f"{value} {unit}".rstrip()
