"""Running what a plugin wrote: it can neither end the program nor write into its output."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from garboard.faults import GarboardError, in_words


class PluginEnded(GarboardError):
    """A plugin raised what is meant to end a program or a generator."""


@contextmanager
def plugin_code() -> Iterator[None]:
    """Run a plugin's code. What it prints goes to the error output: the output may be data for other programs.

    errors : whatever it raises, as an Exception: one that is none comes as PluginEnded. A person who interrupts the
             program (KeyboardInterrupt) does end it.
    """
    with _printing_to_errors:
        try:
            yield
        except (Exception, KeyboardInterrupt):
            raise
        except BaseException as failure:
            raise PluginEnded(in_words(failure)) from failure


class _PrintingToErrors:
    """Standard output while plugins run. Counted, because threads may overlap and the last must put it back."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._inside = 0
        self._output: TextIO = sys.stdout

    def __enter__(self) -> None:
        with self._lock:
            if not self._inside:
                self._output, sys.stdout = sys.stdout, sys.stderr
            self._inside += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._inside -= 1
            if not self._inside:
                sys.stdout = self._output


_printing_to_errors = _PrintingToErrors()
