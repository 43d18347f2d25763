"""When Python looks through what is no longer needed: between presses, never in the middle of one.

Widgets hold each other, so that what leaves the screen stays in memory, with its pictures, until Python looks.
"""

from __future__ import annotations

import gc
import sys
import time

from kivy.clock import Clock

from garboard_tablet.ui.between_touches import is_finger_down

TIDY = 0.15
"""Once nothing has left the screen for so long, what left it is cleared away [s]."""
MOST_LEFT = 3
"""After so many pages in quick succession they are cleared away all the same: each takes megabytes."""
MANY_OBJECTS = 20_000
"""Python looks by itself through what is new after so many objects: a page is made of a third of them."""
SELDOM = 100
"""How seldom Python looks through everything by itself: it is a fallback, since what goes is cleared away."""
MANY = 50
"""So many modules loaded since the last time are set aside; for fewer, going through all of them takes longer."""

_left: list[float] = []
"""When pages and lists left the screen that are not cleared away yet."""
_modules = 0  # of this process, as what is set aside is: a window opened again need not go through it all


def look_seldom() -> None:
    """Python looks by itself but seldom, and through everything most seldom."""
    gc.set_threshold(MANY_OBJECTS, gc.get_threshold()[1], SELDOM)


def has_left() -> None:
    """Something has left the screen: it is cleared away once nothing more does for a moment.

    Counted from the first that left, the search fell between a press and its page, and took half as long as both.
    """
    _left.append(time.monotonic())
    tidy_soon()


def _is_no_moment() -> bool:
    """Whether a person presses now, or has just pressed."""
    is_new = bool(_left) and time.monotonic() - _left[-1] < tidy_soon.timeout
    return is_finger_down() or (is_new and len(_left) < MOST_LEFT)


def _tidy(_dt: float) -> None:
    """Much that was loaded meanwhile stays for good, and is not looked through again."""
    global _modules
    if _is_no_moment():
        tidy_soon()
        return
    _left.clear()
    if len(sys.modules) < _modules + MANY:
        gc.collect()
        return
    _modules = len(sys.modules)
    gc.unfreeze()
    gc.collect()
    gc.freeze()


tidy_soon = Clock.create_trigger(_tidy, TIDY)
"""Clear away, in a moment, what has just left the screen."""
