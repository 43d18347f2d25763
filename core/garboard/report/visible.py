"""What others wrote, as it may be shown: nothing in it steers a terminal, hides, or turns the writing around."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Any, TextIO, cast

_CONTROLS = [code for code in (*range(0x20), *range(0x7F, 0xA0)) if chr(code) not in "\n\t"]
_TURNING = (*range(0x2028, 0x202F), *range(0x2066, 0x206A))
"""Separators of lines and paragraphs, and what turns the writing around."""
_SPELLED = {code: f"\\u{code:04x}" for code in (*_CONTROLS, *_TURNING)}
_MARKS = {**_SPELLED, **{code: chr(0x2400 + code) for code in _CONTROLS if code < 0x20}}
_LINE_BREAKS = str.maketrans("\n\t", "\u2424\u2409")


def visible(text: str) -> str:
    """Text with a mark for each character that would steer a terminal or turn the writing around.

    >>> visible("Saltgrass\\x1b[2J")
    'Saltgrass␛[2J'
    """
    return text if text.isprintable() else text.translate(_MARKS)  # nearly all text, and quick


def visible_name(text: str) -> str:
    """A name, which stands on one line: its line breaks are marks, too.

    >>> visible_name("Salt\\ngrass")
    'Salt␤grass'
    """
    return visible(text).translate(_LINE_BREAKS)


def in_print(text: str) -> str:
    """As `visible`, with marks that every typeface has: for paper and figures.

    >>> in_print("Saltgrass\\x1b[2J")
    'Saltgrass\\\\u001b[2J'
    """
    return text if text.isprintable() else text.translate(_SPELLED)


class _Visible:
    """A stream that writes everything visible. A rich console writes its colours past it, by `rich_proxied_file`."""

    def __init__(self, stream: TextIO) -> None:
        self.rich_proxied_file = stream

    def write(self, text: str) -> int:
        return self.rich_proxied_file.write(visible(text))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.rich_proxied_file, name)


@contextmanager
def visible_output() -> Iterator[None]:
    """What is printed within is shown by `visible`, on the output and the error output."""
    output, errors = (cast("TextIO", _Visible(stream)) for stream in (sys.stdout, sys.stderr))
    with redirect_stdout(output), redirect_stderr(errors):
        yield
