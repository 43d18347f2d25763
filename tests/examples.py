"""How much a slow test tries: a third of its random examples in the README's run, all of them with `pytest --long`."""

from __future__ import annotations

import os

LONG = "GARBOARD_TESTS_LONG"
"""Set in the environment of a long run, for its workers too."""


def examples(number: int) -> int:
    """So many in a long run."""
    return number if LONG in os.environ else max(10, number // 3)


def few(number: int) -> int:
    """So many in a long run, a tenth otherwise, where each takes long."""
    return number if LONG in os.environ else number // 10


def every(step: int) -> int:
    """Each so manieth place of a long run, each third of those otherwise."""
    return step if LONG in os.environ else 3 * step
