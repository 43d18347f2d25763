"""The way through the app: which page comes next, and what back leads to."""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from garboard.disk.storage import NotSaved
from garboard_tablet.models.session import HOME, Route

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

    def go(self, route: Route) -> None:
        self._move(partial(self._tablet.session.go, route))

    def go_named(self, route: Route) -> None:
        """To a page where entries are made; who makes them is asked first, once."""
        if self._tablet.settings.working:
            self.go(route)
        else:
            self._tablet.session.way.append(route)
            self.go(route.to("who"))

    def instead(self, route: Route) -> None:
        self._move(partial(self._tablet.session.instead, route))

    def back(self) -> None:
        self._move(self._tablet.session.back)

    def back_to(self, page: str) -> None:
        self._move(partial(self._tablet.session.back_to, page))

    def home(self) -> None:
        """To the first page, from wherever."""
        self.back_to(HOME.page)

    def open_step(self, route: Route, step_key: str) -> None:
        """Open a step: at its cautions when it is new, else at what has been entered."""
        from garboard_tablet.models.entry import first_route
        from garboard_tablet.models.pages import asks_here

        tablet = self._tablet
        step = tablet.step(step_key)
        target = route.to("step", step=step_key)
        tablet.session.way.append(target)
        begun = tablet.view(route.hull, route.job).state_of(step_key) != "to do"
        if step is not None and not begun:
            first = first_route(tablet, target, asks_here(tablet, route.hull, route.job, step))
            if step.cautions_for(tablet.view(route.hull, route.job).fuel) or step.at_hand:
                tablet.session.way.append(target.to("cautions"))
            elif first is not None:
                tablet.session.way.append(first)
        self._move(tablet.session.save)

    def on_to_step(self, route: Route, step_key: str) -> None:
        """Open a step in the place of the one on the screen: back leads to where that one was opened."""
        self._tablet.session.way.pop()
        self.open_step(route, step_key)

    def next_step(self, route: Route) -> str | None:
        """The first step neither done nor not fitted."""
        from garboard_tablet.models.pages import open_steps

        steps = open_steps(self._tablet, route.hull, route.job)
        return steps[0].key if steps else None
