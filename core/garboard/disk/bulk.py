"""Many objects made at once: Python does not look for garbage among them meanwhile.

What an entry, a state and a view are made of hangs together in no circles, so that nothing is found. A merge leaves
some 14 objects a hull that do. Over a hull of 100 000 entries the looking took a third of the time, wherever nobody set
it to seldom.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def makes_many(work: Callable[P, R]) -> Callable[P, R]:
    """Has Python look for garbage after a work only, in other threads as well. Where it never looks, it stays so.

    What was much is looked through before the work ends, and set among what is old: or the next save waits for that.
    """

    @wraps(work)
    def done(*args: P.args, **more: P.kwargs) -> R:
        if not gc.isenabled():
            return work(*args, **more)
        gc.disable()
        try:
            return work(*args, **more)
        finally:
            first, second, _ = gc.get_threshold()
            is_much = gc.get_count()[0] > first * second > 0  # asked now: enabled, it counts anew
            gc.enable()
            if is_much:
                gc.collect(1)

    return done
