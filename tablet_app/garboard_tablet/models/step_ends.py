"""When a step is done without a press: its last value was entered here, and none of its points asks for anything."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import STARTED, Tablet

if TYPE_CHECKING:
    from garboard.steps import Assessed

DONE = "done"
Key = tuple[str, str, str]
"""Hull, job and step."""


class StepEnds:
    """Steps whose last value was just entered here, until it is known what is found in them.

    Only whoever enters ends a step: to look at a page writes nothing.
    """

    def __init__(self, tablet: Tablet) -> None:
        self._tablet = tablet
        self._entered: set[Key] = set()
        self._ended: set[Key] = set()  # done by themselves since the app was started

    def value_entered(self, route: Route) -> None:
        """A value was entered and more are asked for: a step that was done by itself is looked at again."""
        key = (route.hull, route.job, route.step)
        if key in self._ended:
            self._entered.add(key)

    def last_value_entered(self, route: Route, known: Sequence[Assessed] | None) -> bool:
        """Nothing is left to enter in the step of a route. Returns whether its state changed with that.

        known : what is found in it as it stands; None where that is still to be worked out
        """
        key = (route.hull, route.job, route.step)
        self._entered.add(key)
        return known is not None and self.found(key, known)

    def found(self, key: Key, found: Sequence[Assessed]) -> bool:
        """Take in what is found in a step: it is done where all is entered and all of it passes.

        One that was done by itself is under way again once something of it passes no more.
        Returns whether its state changed.
        """
        if key not in self._entered:
            return False
        self._entered.discard(key)
        from garboard.findings import Verdict  # here and below: the app's first frame needs none of them

        hull, job, step = key
        passes = all(one.finding.verdict is Verdict.PASS for one in found)
        state = self._tablet.view(hull, job).state_of(step)
        if passes and state == STARTED and _is_all_entered(self._tablet, key):
            self._ended.add(key)
            self._tablet.set_state(hull, job, step, DONE)
            return True
        if not passes and state == DONE and key in self._ended:
            self._ended.discard(key)
            self._tablet.set_state(hull, job, step, STARTED)
            return True
        return False

    def taken_back(self, route: Route, reason: str) -> bool:
        """A value was taken back: a step that needs it is done no more, and Next leads to it again.

        Returns whether its state changed.
        """
        key = (route.hull, route.job, route.step)
        is_done = bool(route.step) and self._tablet.view(route.hull, route.job).state_of(route.step) == DONE
        opens = is_done and not _is_all_entered(self._tablet, key)
        if opens:
            self._tablet.set_state(*key, STARTED, reason)
        return opens


def _is_all_entered(tablet: Tablet, key: Key) -> bool:
    """Whether a step has every value that it needs."""
    from garboard_tablet.models.asks import missing_equipment
    from garboard_tablet.models.entry import first_open
    from garboard_tablet.models.pages import asks_here

    hull, job, name = key
    step = tablet.step(name)
    if step is None or missing_equipment(step, tablet.view(hull, job).vessel):
        return False
    needed = [ask for ask in asks_here(tablet, hull, job, step) if ask.field.required]
    return first_open(tablet, Route(page="step", hull=hull, job=job, step=name), needed) is None
