"""When Python looks through what is no longer needed: between presses, never in the middle of one."""

from __future__ import annotations

import gc
import sys

from kivy.clock import Clock

TIDY = 0.4
"""So long after a page has come up the one before is cleared away [s]: then, and not in the middle of a press."""
SELDOM = 100
"""How seldom Python looks through everything by itself: it is a fallback, since each page that goes is cleared away."""


class Tidier:
    """Clears away the page before, a moment after a new one has come up."""

    def __init__(self) -> None:
        gc.set_threshold(*gc.get_threshold()[:2], SELDOM)
        self.soon = Clock.create_trigger(self._tidy, TIDY)
        self._modules = 0

    def _tidy(self, _dt: float) -> None:
        """What was loaded meanwhile stays for good, and is not looked through."""
        if len(sys.modules) == self._modules:
            gc.collect()
            return
        self._modules = len(sys.modules)
        gc.unfreeze()
        gc.collect()
        gc.freeze()
