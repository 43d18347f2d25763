"""Many objects made at once: Python does not look for garbage among them meanwhile.

What an entry, a state and a view are made of hangs together in no circles, so that nothing is found. Over a hull of
100 000 entries the looking took a third of the time, wherever nobody set it to seldom.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def makes_many(work: Callable[P, R]) -> Callable[P, R]:
    """Has Python look for garbage after a work only, in other threads as well. Where it never looks, it stays so."""

    @wraps(work)
    def done(*args: P.args, **more: P.kwargs) -> R:
        if not gc.isenabled():
            return work(*args, **more)
        gc.disable()
        try:
            return work(*args, **more)
        finally:
            gc.enable()

    return done
