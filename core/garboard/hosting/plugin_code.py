"""Running what a plugin wrote: it can neither end the program nor write into its output."""

from __future__ import annotations

import builtins
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType, ModuleType
from typing import Any, TextIO

from garboard.faults import GarboardError, in_words

end_at_once = os._exit
"""For the program itself: ends it, also while a plugin runs that does not come back."""


class PluginEnded(GarboardError):
    """A plugin raised what is meant to end a program or a generator."""


class PluginWaits(GarboardError):
    """A plugin asked the person at the keyboard, who is at another page, or not there."""


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


_REFUSED: tuple[tuple[ModuleType, str, type[GarboardError], str], ...] = (
    (os, "_exit", PluginEnded, "would end the program"),
    (os, "abort", PluginEnded, "would end the program"),
    (builtins, "input", PluginWaits, "waits for somebody to answer"),
    (builtins, "breakpoint", PluginWaits, "waits for somebody to answer"),
)


class _EndingNothing:
    """While plugins run, what ends the program at once, or waits for a person, raises instead.

    Counted, as for the output below.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._inside = 0
        self._process = os.getpid()
        self._real: list[tuple[ModuleType, str, Callable[..., Any]]] = []

    def __enter__(self) -> None:
        with self._lock:
            if not self._inside:
                self._process = os.getpid()
                for module, name, kind, what in _REFUSED:
                    real = getattr(module, name)
                    self._real.append((module, name, real))
                    setattr(
                        module, name, self._refusing(real, kind, f"it calls {module.__name__}.{name}, which {what}")
                    )
            self._inside += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._inside -= 1
            if not self._inside:
                while self._real:
                    module, name, real = self._real.pop()
                    setattr(module, name, real)

    def _refusing(self, real: Callable[..., Any], kind: type[GarboardError], reason: str) -> Callable[..., Any]:
        def refuse(*given: Any, **named: Any) -> Any:
            if self._inside and os.getpid() == self._process:
                raise kind(reason)
            return real(*given, **named)  # kept by somebody for later, or called in a process of its own

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
