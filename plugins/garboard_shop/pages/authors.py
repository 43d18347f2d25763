"""Who writes for the shop on its server."""

from __future__ import annotations

from garboard.disk.clock import HybridClock
from garboard.history.authoring import Author
from garboard.history.authority import ON_THE_PAGE
from garboard.history.replay import HullState


def author_after(state: HullState, by: str, *more: HullState) -> Author:
    """Whoever is about to write in the shop. The clock starts after everything in the hulls concerned."""
    clock = HybridClock()
    for one in (state, *more):
        for register in one.registers.values():
            for entry in register.entries.values():
                clock.follow(entry.clock)
    return Author(ON_THE_PAGE, by, clock)
