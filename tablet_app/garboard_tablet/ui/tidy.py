"""When Python looks through what is no longer needed: between presses, never in the middle of one.

Widgets hold each other, so that what leaves the screen stays in memory, with its pictures, until Python looks.
"""

from __future__ import annotations

import gc
import sys

from kivy.clock import Clock

TIDY = 0.4
"""So long after a page has come up the one before is cleared away [s]: then, and not in the middle of a press."""
SELDOM = 100
"""How seldom Python looks through everything by itself: it is a fallback, since what goes is cleared away."""
MANY = 50
"""So many modules loaded since the last time are set aside; for fewer, going through all of them takes longer."""

_modules = 0  # of this process, as what is set aside is: a window opened again need not go through it all


def look_seldom() -> None:
    """Python looks through everything by itself but seldom."""
    gc.set_threshold(*gc.get_threshold()[:2], SELDOM)


def _tidy(_dt: float) -> None:
    """Much that was loaded meanwhile stays for good, and is not looked through again."""
    global _modules
    if len(sys.modules) < _modules + MANY:
        gc.collect()
        return
    _modules = len(sys.modules)
    gc.unfreeze()
    gc.collect()
    gc.freeze()


tidy_soon = Clock.create_trigger(_tidy, TIDY)
"""Clear away, in a moment, what has just left the screen."""
