"""When a step is done without a press: its last value was entered here, and none of its points asks for anything."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import STARTED, Tablet

if TYPE_CHECKING:
    from garboard.steps import Assessed

DONE = "done"


class StepEnds:
    """Steps whose last value was just entered here, until it is known what is found in them.

    Only whoever enters ends a step: to look at a page writes nothing.
    """

    def __init__(self, tablet: Tablet) -> None:
        self._tablet = tablet
        self._entered: set[tuple[str, str, str]] = set()

    def last_value_entered(self, route: Route, known: Sequence[Assessed] | None) -> bool:
        """Nothing is left to enter in the step of a route. Returns whether it is done with that.

        known : what is found in it as it stands; None where that is still to be worked out
        """
        key = (route.hull, route.job, route.step)
        self._entered.add(key)
        return known is not None and self.found(key, known)

    def found(self, key: tuple[str, str, str], found: Sequence[Assessed]) -> bool:
        """Take in what is found in a step: it is done where all is entered and all of it passes. Returns whether so."""
        if key not in self._entered:
            return False
        self._entered.discard(key)
        from garboard.findings import Verdict  # here and below: the app's first frame needs none of them

        hull, job, step = key
        is_done = self._is_all_entered(hull, job, step) and all(one.finding.verdict is Verdict.PASS for one in found)
        if is_done:
            self._tablet.set_state(hull, job, step, DONE)
        return is_done

    def _is_all_entered(self, hull: str, job: str, key: str) -> bool:
        from garboard_tablet.models.asks import missing_equipment
        from garboard_tablet.models.entry import first_open
        from garboard_tablet.models.pages import asks_here

        step, view = self._tablet.step(key), self._tablet.view(hull, job)
        if step is None or view.state_of(key) != STARTED or missing_equipment(step, view.vessel):
            return False
        needed = [ask for ask in asks_here(self._tablet, hull, job, step) if ask.field.required]
        return first_open(self._tablet, Route(page="step", hull=hull, job=job, step=key), needed) is None
