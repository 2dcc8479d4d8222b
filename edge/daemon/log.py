"""What the daemon says while it runs: plain lines on a terminal, JSON lines for the system journal.

A stack trace is of use to whoever mends Warmwell and to nobody else: it goes into the JSON lines (which only the system
journal keeps), and to a terminal only with WARMWELL_DEBUG=1.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import time
from typing import Final, TextIO

from edge.domain.entries import rfc3339

#: chatter of libraries that says nothing about a station
QUIET: Final = ("amqtt", "transitions", "uvicorn", "asyncio", "paho", "multipart", "httpx", "httpcore")


def debugging() -> bool:
    """Whether stack traces may be shown."""
    return os.environ.get("WARMWELL_DEBUG") == "1"


class PlainLines(logging.Formatter):
    """`06:30:02 warning judge: text`."""

    def format(self, record: logging.LogRecord) -> str:
        at = time.strftime("%H:%M:%S", time.localtime(record.created))
        level = "" if record.levelno == logging.INFO else f"{record.levelname.lower()} "
        text = f"{at} {level}{_part(record)}: {record.getMessage()}"
        if record.exc_info and record.exc_info[0] is not None:
            exc = record.exc_info[1]
            text += f" ({type(exc).__name__}: {str(exc)[:200]})"
            if debugging():
                text += "\n" + self.formatException(record.exc_info)
        return text


class JsonLines(logging.Formatter):
    """One JSON object a line, with the priority that systemd takes from `<N>` in front of it."""

    _PRIORITY: Final = {logging.DEBUG: 7, logging.INFO: 6, logging.WARNING: 4, logging.ERROR: 3, logging.CRITICAL: 2}

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "at": rfc3339(int(record.created * 1000)),
            "level": record.levelname.lower(),
            "part": _part(record),
            "text": record.getMessage(),
        }
        if record.exc_info and record.exc_info[0] is not None:
            line["trace"] = self.formatException(record.exc_info)
        return f"<{self._PRIORITY.get(record.levelno, 6)}>{json.dumps(line, ensure_ascii=False)}"


def _part(record: logging.LogRecord) -> str:
    return record.name.removeprefix("warmwell.").removeprefix("edge.")


def set_up(form: str = "auto", level: int = logging.INFO, stream: TextIO | None = None) -> None:
    """Say what is logged on standard error.

    Args:
        form: "text", "json", or "auto": JSON where the system journal listens (systemd sets JOURNAL_STREAM), else text.
    """
    if form == "auto":
        form = "json" if os.environ.get("JOURNAL_STREAM") else "text"
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(JsonLines() if form == "json" else PlainLines())
    root = logging.getLogger()
    for old in root.handlers[:]:
        root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(level)
    logging.raiseExceptions = debugging()
    for name in QUIET:
        logging.getLogger(name).setLevel(logging.CRITICAL)
