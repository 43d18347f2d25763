"""How much a slow test tries: a third of its random examples in the README's run, all of them with `pytest --long`."""

from __future__ import annotations

import os
import random

LONG = "GARBOARD_TESTS_LONG"
"""Set in the environment of a long run, for its workers too."""


def examples(number: int) -> int:
    """So many in a long run."""
    return number if LONG in os.environ else max(10, number // 3)


def few(number: int) -> int:
    """So many in a long run, a tenth otherwise, where each takes long."""
    return number if LONG in os.environ else number // 10


def anew(step: int) -> range:
    """Places to begin at, for steps so long: all of them in a long run, one otherwise, drawn anew each time; on the
    server the first, so that a red run is the change's own fault."""
    if LONG in os.environ:
        return range(step)
    begin = 0 if os.environ.get("CI") else random.randrange(step)
    return range(begin, begin + 1)


def every(step: int) -> int:
    """Each so manieth place of a long run, each third of those otherwise."""
    return step if LONG in os.environ else 3 * step
