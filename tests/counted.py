"""How much work something is, counted without a clock."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable


def calls_of(work: Callable[[], object]) -> int:
    """How many functions are called, Python's and those it is built on."""
    calls = 0

    def count(_frame: object, event: str, _argument: object) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    before, looked = sys.getprofile(), gc.isenabled()
    gc.disable()  # a collection in between would call what others hang on it
    sys.setprofile(count)
    try:
        work()
    finally:
        sys.setprofile(before)
        if looked:
            gc.enable()
    return calls
