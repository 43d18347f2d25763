"""Running what a plugin wrote: it can neither end the program nor write into its output."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any, NoReturn, TextIO

from garboard.faults import GarboardError, in_words

end_at_once = os._exit
"""For the program itself: ends it, also while a plugin runs that does not come back."""


class PluginEnded(GarboardError):
    """A plugin raised what is meant to end a program or a generator."""


@contextmanager
def plugin_code() -> Iterator[None]:
    """Run a plugin's code. What it prints goes to the error output: the output may be data for other programs.

    errors : whatever it raises, as an Exception: one that is none comes as PluginEnded, and so does what it calls to
             end the program at once (`os._exit`). A person who interrupts the program does end it.
    """
    with _printing_to_errors, _ending_nothing, _minding_the_keyboard() as is_interrupted:
        try:
            yield
        except Exception:
            raise
        except BaseException as failure:
            if isinstance(failure, KeyboardInterrupt) and is_interrupted():
                raise
            raise PluginEnded(in_words(failure)) from failure


@contextmanager
def _minding_the_keyboard() -> Iterator[Callable[[], bool]]:
    """Whether a person interrupted the program: a plugin can raise KeyboardInterrupt, and sends no signal by it.

    Only the main thread gets signals; in any other nobody interrupts.
    """
    pressed: list[int] = []
    before = signal.getsignal(signal.SIGINT) if threading.current_thread() is threading.main_thread() else None
    if not callable(before):
        yield lambda: False
        return
    handle = before

    def note(number: int, frame: FrameType | None) -> Any:
        pressed.append(number)
        return handle(number, frame)

    try:
        signal.signal(signal.SIGINT, note)
    except ValueError:  # inside another program Python may not run in the main thread of the system's
        yield lambda: True
        return
    try:
        yield lambda: bool(pressed)
    finally:
        signal.signal(signal.SIGINT, before)


class _EndingNothing:
    """While plugins run, what ends the program at once raises instead. Counted, as for the output below."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._inside = 0
        self._process = os.getpid()
        self._real: dict[str, Callable[..., NoReturn]] = {}

    def __enter__(self) -> None:
        with self._lock:
            if not self._inside:
                self._process = os.getpid()
                for name in ("_exit", "abort"):
                    self._real[name] = getattr(os, name)
                    setattr(os, name, self._refusing(name, self._real[name]))
            self._inside += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._inside -= 1
            if not self._inside:
                for name, real in self._real.items():
                    setattr(os, name, real)

    def _refusing(self, name: str, real: Callable[..., NoReturn]) -> Callable[..., NoReturn]:
        def refuse(*given: Any) -> NoReturn:
            if self._inside and os.getpid() == self._process:
                raise PluginEnded(f"it calls os.{name}, which would end the program")
            real(*given)  # kept by somebody for later, or called in a process of its own

        return refuse


_ending_nothing = _EndingNothing()


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
