"""The way through the app: which page comes next, and what back leads to."""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from garboard.disk.storage import NotSaved
from garboard_tablet.models.session import HOME, Place

if TYPE_CHECKING:
    from garboard_tablet.models.tablet import Tablet


log = logging.getLogger("garboard.tablet")


class Navigator:
    """Moves through the session, and has the page shown that it leads to.

    A full disk keeps nobody from another page: after a restart the app only opens at an earlier one.

    show : shows the page the session stands at
    """

    def __init__(self, tablet: Tablet, show: Callable[[], object]) -> None:
        self._tablet, self._show = tablet, show

    def _move(self, move: Callable[[], object]) -> None:
        try:
            move()
        except NotSaved as failure:
            log.warning("where the person is was not saved: %s", failure)
        self._show()

    def go(self, place: Place) -> None:
        self._move(partial(self._tablet.session.go, place))

    def go_named(self, place: Place) -> None:
        """To a page where entries are made; who makes them is asked first, once."""
        if self._tablet.settings.working:
            self.go(place)
        else:
            self._tablet.session.way.append(place)
            self.go(place.to("who"))

    def instead(self, place: Place) -> None:
        self._move(partial(self._tablet.session.instead, place))

    def back(self) -> None:
        self._move(self._tablet.session.back)

    def back_to(self, page: str) -> None:
        self._move(partial(self._tablet.session.back_to, page))

    def home(self) -> None:
        """To the first page, from wherever."""
        self.back_to(HOME.page)

    def open_step(self, place: Place, step_key: str) -> None:
        """Open a step: at its cautions when it is new, else at what has been entered."""
        from garboard_tablet.models.entry import first_place
        from garboard_tablet.models.pages import asks_here

        tablet = self._tablet
        step = tablet.step(step_key)
        target = place.to("step", step=step_key)
        tablet.session.way.append(target)
        begun = tablet.view(place.hull, place.job).state_of(step_key) != "to do"
        if step is not None and not begun:
            first = first_place(tablet, target, asks_here(tablet, place.hull, place.job, step))
            if step.cautions or step.at_hand:
                tablet.session.way.append(target.to("cautions"))
            elif first is not None:
                tablet.session.way.append(first)
        self._move(tablet.session.save)

    def next_step(self, place: Place) -> str | None:
        """The first step neither done nor not fitted."""
        from garboard_tablet.models.pages import open_steps

        steps = open_steps(self._tablet, place.hull, place.job)
        return steps[0].key if steps else None
