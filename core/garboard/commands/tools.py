"""What several commands share: their exit statuses, a file written where a person named it, what the book needs."""

from __future__ import annotations

from pathlib import Path

from garboard.faults import Fault, InputError, in_words

SOMETHING_FAILS = 1
BAD_INPUT = 2


def write_file(path: Path, content: bytes) -> None:
    """Write a file the person named; its folder is made. Raises InputError when that cannot be done."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as failure:
        raise InputError(str(path), [Fault("file", "a place that can be written", in_words(failure))]) from None


def need_office() -> None:
    """Raise InputError unless what draws the handover book is installed."""
    from importlib.util import find_spec

    missing = [name for name in ("fpdf", "matplotlib") if find_spec(name) is None]
    if missing:
        raise InputError(
            "handover book", [Fault("packages", "the office part: pip install 'garboard[office]'", ", ".join(missing))]
        )
