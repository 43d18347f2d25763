"""Errors nobody caught: logged wherever they come from, and shown once for each place they come from."""

from __future__ import annotations

import logging
import sys
import threading
from collections.abc import Callable
from functools import partial
from types import TracebackType
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from garboard_tablet.models.background import Later

log = logging.getLogger("garboard.tablet")


class Uncaught:
    """Takes over Python's own hooks while it is entered; what they did before is done as well.

    later : hands work to the drawing thread
    show  : shows a failure; called on the drawing thread
    """

    def __init__(self, later: Later, show: Callable[[BaseException], object]) -> None:
        self._later, self._show = later, show

    def __enter__(self) -> Self:
        self._before, self._before_in_thread = sys.excepthook, threading.excepthook
        sys.excepthook, threading.excepthook = self._at_the_end, self._in_a_thread
        return self

    def __exit__(
        self, kind: type[BaseException] | None, failure: BaseException | None, trace: TracebackType | None
    ) -> None:
        if failure is not None and isinstance(failure, Exception):
            log.critical("the program ended by an error", exc_info=failure)
        sys.excepthook, threading.excepthook = self._before, self._before_in_thread

    def _at_the_end(self, kind: type[BaseException], failure: BaseException, trace: TracebackType | None) -> None:
        if issubclass(kind, Exception):
            log.critical("the program ended by an error", exc_info=failure)
        self._before(kind, failure, trace)

    def _in_a_thread(self, told: threading.ExceptHookArgs) -> None:
        if told.exc_value is not None and not isinstance(told.exc_value, SystemExit):
            log.error("a thread ended by an error", exc_info=told.exc_value)
            self._later(partial(self._show, told.exc_value))
        self._before_in_thread(told)


class ShownOnce:
    """Which failures were shown: one that comes again and again from one place must not stand in the way of work."""

    def __init__(self) -> None:
        self._shown: set[tuple[str, str, int]] = set()

    def is_new(self, failure: BaseException) -> bool:
        """Whether none of its kind has come from its line of program before."""
        trace, where = failure.__traceback__, ("", 0)
        while trace is not None:
            where, trace = (trace.tb_frame.f_code.co_filename, trace.tb_lineno), trace.tb_next
        origin = (type(failure).__qualname__, *where)
        is_new = origin not in self._shown
        self._shown.add(origin)
        return is_new
