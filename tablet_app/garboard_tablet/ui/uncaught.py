"""Errors nobody caught on the drawing thread: one page says what to do, and work goes on."""

from __future__ import annotations

import logging
from collections.abc import Callable

from kivy.base import ExceptionHandler, ExceptionManager

log = logging.getLogger("garboard.tablet")


class ShowsThem(ExceptionHandler):
    """Hands errors on. One that cannot be shown ends the program, as without this."""

    def __init__(self, show: Callable[[Exception], object]) -> None:
        super().__init__()
        self._show = show

    def handle_exception(self, failure: BaseException) -> int:
        if not isinstance(failure, Exception):
            return int(ExceptionManager.RAISE)
        log.error("an error nobody caught", exc_info=failure)
        try:
            self._show(failure)
        except Exception:
            log.exception("the page that shows an error failed as well")
            return int(ExceptionManager.RAISE)
        return int(ExceptionManager.PASS)


def guarded(do: Callable[[], object]) -> None:
    """Do something outside Kivy's loop as the loop does it: what nobody catches goes to the handlers."""
    try:
        do()
    except Exception as failure:
        if ExceptionManager.handle_exception(failure) == ExceptionManager.RAISE:
            raise
