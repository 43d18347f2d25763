"""The log file of a tablet: what the program did and where it failed, and nothing of what anybody measured or typed.

A message of an error may carry a value, a name or a path. So the file takes of a message only the fixed words, and of
an error only its kind and the lines of program it went through.
"""

from __future__ import annotations

import contextlib
import errno
import logging
import platform
import re
import sys
from collections.abc import Iterator
from importlib import metadata
from logging.handlers import RotatingFileHandler
from pathlib import Path
from traceback import walk_tb
from typing import Final

FOLDER: Final = "log"
FILE: Final = "garboard.log"
LARGEST: Final = 250_000
"""Size at which a new file is begun [bytes]."""
OLDER: Final = 3
"""So many older files are kept."""

log = logging.getLogger("garboard.tablet")
_FILLED_IN = re.compile(r"%(\(\w+\))?[-#0 +]*[\d.]*[a-zA-Z]")


class FixedWords(logging.Formatter):
    """Writes a record without anything that was filled in."""

    def format(self, record: logging.LogRecord) -> str:
        when = self.formatTime(record, "%Y-%m-%d %H:%M:%S")
        lines = [f"{when} {record.levelname} {record.name}: {_FILLED_IN.sub('…', str(record.msg))}"]
        if record.exc_info and record.exc_info[1] is not None:
            lines += failure_lines(record.exc_info[1])
        return "\n".join(lines)


def failure_lines(failure: BaseException) -> Iterator[str]:
    """Kinds of an error and of those it came from, each with the lines of program it went through."""
    seen: set[int] = set()
    now: BaseException | None = failure
    while now is not None and id(now) not in seen:
        seen.add(id(now))
        yield f"  {kind_of(now)}"
        for frame, line in walk_tb(now.__traceback__):
            yield f"    {frame.f_globals.get('__name__', '?')}:{line} {frame.f_code.co_name}"
        now = now.__cause__ or (None if now.__suppress_context__ else now.__context__)


def kind_of(failure: BaseException) -> str:
    """The kind of an error, with the system's code where it has one: "OSError ENOSPC"."""
    name = type(failure).__name__
    code = errno.errorcode.get(failure.errno or 0, "") if isinstance(failure, OSError) else ""
    return f"{name} {code}".rstrip()


def keep_log(folder: Path) -> logging.Handler:
    """Keep a log of the program in a tablet's folder from now on. Close it with `close_log`."""
    try:
        (folder / FOLDER).mkdir(parents=True, exist_ok=True)
        handler: logging.Handler = RotatingFileHandler(
            folder / FOLDER / FILE, maxBytes=LARGEST, backupCount=OLDER, encoding="utf-8"
        )
    except OSError:  # a full disk keeps nobody from the boats on it
        log.exception("no log can be kept")
        return logging.NullHandler()
    handler.setFormatter(FixedWords())
    ours = logging.getLogger("garboard")
    ours.addHandler(handler)
    if ours.level == logging.NOTSET:
        ours.setLevel(logging.INFO)
    for line in versions():
        ours.info(line)
    return handler


def close_log(handler: logging.Handler) -> None:
    logging.getLogger("garboard").removeHandler(handler)
    with contextlib.suppress(OSError):  # a full disk must not hide what ended the program
        handler.close()


def versions() -> tuple[str, ...]:
    """What the program runs on, a line each."""
    parts = ("garboard", "kivy", "attrs", "numpy", "tinydb")
    return (
        f"Python {platform.python_version()} on {platform.system()} {platform.release()}, {platform.machine()}",
        ", ".join(f"{part} {_version(part)}" for part in parts),
    )


def _version(part: str) -> str:
    try:
        return metadata.version(part)
    except metadata.PackageNotFoundError:  # a tablet's package carries no metadata
        return str(getattr(sys.modules.get(part), "__version__", "of an unknown version"))


def kept_log(folder: Path) -> str:
    """The whole log, oldest lines first."""
    names = [FILE, *(f"{FILE}.{number}" for number in range(1, OLDER + 1))]
    paths = [folder / FOLDER / name for name in reversed(names)]
    return "".join(path.read_text(encoding="utf-8", errors="replace") for path in paths if path.exists())
