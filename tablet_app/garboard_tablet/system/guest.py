"""A good guest on somebody's tablet: what it asks of the system, for how long, and what it says before it hurts.

What is asked for follows from what goes on, and is given back when that ends. A system that refuses ends nothing.
"""

from __future__ import annotations

import logging
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from garboard_tablet.language import phrase
from garboard_tablet.system.services import Services

if TYPE_CHECKING:
    from garboard_tablet.models.live_source import LiveSource

log = logging.getLogger("garboard.tablet")

LEAST_FREE = 200_000_000
"""A day of runs and photos fits in so much [bytes]: an hour of a busy network is 40 MB, measured on our own files."""
LOW_BATTERY = 0.2
"""Said from here down, unless it is charging; common practice, no source."""
SMALLEST_WORDS, LARGEST_WORDS, LARGEST_ON_A_LOW_SCREEN = 1.0, 1.3, 1.15
"""Words follow the system's own setting between these: every page is checked in the largest."""
_WITHOUT = {
    "hear_groups": ("The tablet keeps part of the boat's network back.", "Restart the tablet, then listen again."),
    "keep_screen_on": ("The tablet may turn the screen off.", "Touch it now and then."),
    "record_out_of_sight": ("The tablet may end the run out of sight.", "Keep this app in front until you stop."),
}
"""What may happen while a service is refused, and what to do meanwhile."""
LOW = 700
"""A screen whose shorter side is less is low [dp]."""


def wanted(live: LiveSource) -> frozenset[str]:
    """What the work at hand asks of the system: names of its services that are turned on and off.

    A simulated run is nothing that anybody needs out of sight.
    """
    run = live.under_way.run if live.under_way is not None else None
    asked = {
        "keep_screen_on": run is not None,
        "hear_groups": live.network is not None,
        "record_out_of_sight": run is not None and not run.source.is_simulated,
    }
    return frozenset(name for name, is_asked in asked.items() if is_asked)


def within_layout(scale: float, side: float) -> float:
    """The size of words that every page has room for, nearest to what the person set.

    side : the shorter one of the screen [dp]

    >>> within_layout(0.85, 800), within_layout(1.2, 800), within_layout(2.0, 800), within_layout(2.0, 600)
    (1.0, 1.2, 1.3, 1.15)
    """
    return min(max(scale, SMALLEST_WORDS), LARGEST_ON_A_LOW_SCREEN if side < LOW else LARGEST_WORDS)


def free_space(folder: Path) -> int:
    """[bytes]"""
    return shutil.disk_usage(folder).free


class Guest:
    """Asks the system for what the work needs, and gives it back.

    warnings : what a person should know before it hurts, a sentence or two each
    in_brief : the same for a person at the helm
    """

    def __init__(
        self, services: Services, live: LiveSource, folder: Path, free: Callable[[Path], int] = free_space
    ) -> None:
        self.services = services
        self.warnings: Sequence[str] = ()
        self.in_brief: Sequence[str] = ()
        self._live, self._folder, self._free = live, folder, free
        self._has: frozenset[str] = frozenset()
        self._refused: frozenset[str] = frozenset()

    def settle(self) -> None:
        """Ask for what is needed now and not held yet; give back what is held and not needed."""
        self._bring(wanted(self._live))

    def leave(self) -> None:
        """Give everything back."""
        self._bring(frozenset())

    def _bring(self, want: frozenset[str]) -> None:
        """What was refused counts as not held: it is asked for again at the next look."""
        changed = want ^ self._has
        refused = {name for name in sorted(changed) if not self._turn(name, on=name in want)}
        self._refused = (self._refused - changed | refused) & want
        self._has = want

    def _ask_again(self) -> None:
        """A system may refuse while the app is out of sight, or until a person agrees, and no longer."""
        self._has -= self._refused
        self.settle()

    def _turn(self, name: str, *, on: bool) -> bool:
        """Whether the system did it."""

        def turned() -> bool:
            getattr(self.services, name)(on=on)
            return True

        return bool(self._ask(name, turned))

    def _ask(self, name: str, service: Callable[[], Any]) -> Any:
        """None where the system refuses. Java's exceptions are of no kind known on a desk, so any is caught."""
        try:
            return service()
        except Exception:
            log.exception("the tablet's system refused: %s", name)
            return None

    def look(self) -> bool:
        """Look at what was refused, free space and battery. Returns whether there is another thing to say."""
        if self._refused:
            self._ask_again()
        before, found = self.warnings, [*self._of_services(), *self._of_space(), *self._of_battery()]
        self.in_brief = [what for what, _do in found]
        self.warnings = [f"{what} {do}" for what, do in found]
        return list(before) != self.warnings

    def words_scale(self, side: float) -> float:
        """How large the words are to be on a screen whose shorter side is so long [dp]."""
        return within_layout(self._ask("font_scale", self.services.font_scale) or 1.0, side)

    def _of_services(self) -> list[tuple[str, str]]:
        """What the system refuses, as it hurts the work at hand, and what to do."""
        return [_WITHOUT[name] for name in sorted(self._refused)]

    def _of_space(self) -> list[tuple[str, str]]:
        """What is so, and what to do before a run."""
        try:
            free = self._free(self._folder)
        except OSError:
            return []
        if free >= LEAST_FREE:
            return []
        return [
            (
                phrase("Only {free} MB are free on this tablet.", free=free // 1000000),
                "Make room before you record a run.",
            )
        ]

    def _of_battery(self) -> list[tuple[str, str]]:
        battery = self._ask("battery", self.services.battery)
        if battery is None or battery.is_charging or battery.share > LOW_BATTERY:
            return []
        from garboard.findings import rounded  # the first frame does not need it

        return [
            (
                phrase("The battery is at {share}\u00a0%.", share=rounded(100 * battery.share)),
                "Charge the tablet before a run.",
            )
        ]
