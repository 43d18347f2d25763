"""Findings, worked out beside the drawing thread from a view that no longer changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from garboard_tablet.models.session import Route

if TYPE_CHECKING:
    from garboard.steps import Assessed
    from garboard_tablet.models.background import Background
    from garboard_tablet.models.tablet import Tablet

NEXT_FIELD_FIRST = 0.1
"""An assessment begins so long after it was asked for, so that the next field is on the screen before [s]."""
WHAT = "working out findings"

Key = tuple[str, str, str]
"""Hull, job and step; without a step, the whole job."""


class Assessor:
    """Keeps what was last found. Everything in it belongs to the drawing thread.

    changed : called with the hull, job and step whose findings have changed
    """

    def __init__(self, tablet: Tablet, background: Background, changed: Callable[[Key], object]) -> None:
        self._tablet, self._background, self._changed = tablet, background, changed
        self._found: dict[Key, tuple[Assessed, ...]] = {}
        self._found_at: dict[Key, int] = {}
        """How many entries there were when what was last found was worked out."""
        self._waiting: set[Key] = set()
        self._at_work: set[Key] = set()

    def of(self, route: Route) -> tuple[Assessed, ...]:
        """What was last found for a step, or for the whole job where the route names none."""
        return self._found.get(_key(route), ())

    def known(self, route: Route) -> tuple[Assessed, ...] | None:
        """What is found for the entries as they stand now; None as long as that is not worked out, or cannot be."""
        key = _key(route)
        return self._found[key] if self._found_at.get(key) == self._tablet.size(route.hull, route.job) else None

    def now(self, route: Route) -> tuple[Assessed, ...]:
        """Assess before going on."""
        steps = [route.step] if route.step else None
        size = self._tablet.size(route.hull, route.job)
        self._keep(_key(route), size, self._tablet.assess(route.hull, route.job, steps))
        return self.of(route)

    def soon(self, route: Route) -> None:
        """Assess in the background; `changed` is called when something has changed."""
        key = _key(route)
        if key not in self._waiting:
            self._waiting.add(key)
            self._background.later(lambda: self._assess(key), NEXT_FIELD_FIRST if self._background.threads else 0)

    def ask(self, route: Route) -> None:
        """Assess in the background what is not known; `changed` is called at once where it is."""
        if self.known(route) is None:
            self.soon(route)
        else:
            self._changed(_key(route))

    def look_again(self) -> None:
        """Something came that entries do not count, such as a recording that was missing: assess all when asked."""
        self._found_at.clear()

    def abandon(self) -> None:
        """Wait no more for what is at work, and begin it anew: what holds it up is passed over from now on."""
        given_up, self._at_work = self._at_work, set()
        for key in given_up:
            self._assess(key)

    def _assess(self, key: Key) -> None:
        """One assessment of a step at a time: one that is asked for meanwhile waits, and sees the newest values."""
        if key in self._at_work:
            return
        self._waiting.discard(key)
        hull, job, step = key
        size = self._tablet.size(hull, job)
        if self._found_at.get(key) == size:
            return
        from garboard.report.as_typed import as_typed  # once a step is shown: the first frame waits for no finding

        view, host = self._tablet.view(hull, job), self._tablet.host
        self._at_work.add(key)
        self._background.run(
            WHAT,
            lambda: as_typed(view, host.assess(view, [step] if step else None), host),
            lambda found: self._assessed(key, size, found),
            lambda failure: self._failed(key, failure),
        )

    def _assessed(self, key: Key, size: int, found: tuple[Assessed, ...]) -> None:
        self._at_work.discard(key)
        if size >= self._found_at.get(key, 0):  # else something newer was found meanwhile
            before = self._found_at.get(key), self._found.get(key)
            self._keep(key, size, found)
            if before != (size, found):  # that the same is found for more entries is news, too: see `known`
                self._changed(key)
        if key in self._waiting:
            self._assess(key)

    def _keep(self, key: Key, size: int, found: tuple[Assessed, ...]) -> None:
        self._found[key], self._found_at[key] = found, size

    def _failed(self, key: Key, failure: Exception) -> None:
        self._at_work.discard(key)
        if key in self._waiting:
            self._assess(key)
        self._background.tell(WHAT, failure)


def _key(route: Route) -> Key:
    return route.hull, route.job, route.step
