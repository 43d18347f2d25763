"""The way through the app: which page comes next, and what back leads to."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from garboard_tablet.models.session import HOME, Route

if TYPE_CHECKING:
    from garboard_tablet.models.tablet import Tablet


class Navigator:
    """Moves through the session, and has the page shown that it leads to.

    show : shows the page the session stands at
    """

    def __init__(self, tablet: Tablet, show: Callable[[], object]) -> None:
        self._tablet, self._show = tablet, show

    def go(self, route: Route) -> None:
        self._tablet.session.go(route)
        self._show()

    def go_named(self, route: Route) -> None:
        """To a page where entries are made; who makes them is asked first, once."""
        if self._tablet.settings.working:
            self.go(route)
        else:
            self._tablet.session.way.append(route)
            self.go(route.to("who"))

    def instead(self, route: Route) -> None:
        self._tablet.session.instead(route)
        self._show()

    def back(self) -> None:
        self._tablet.session.back()
        self._show()

    def back_to(self, page: str) -> None:
        self._tablet.session.back_to(page)
        self._show()

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
            if step.cautions or step.at_hand:
                tablet.session.way.append(target.to("cautions"))
            elif first is not None:
                tablet.session.way.append(first)
        tablet.session.save()
        self._show()

    def next_step(self, route: Route) -> str | None:
        """The first step neither done nor not fitted."""
        from garboard_tablet.models.pages import open_steps

        steps = open_steps(self._tablet, route.hull, route.job)
        return steps[0].key if steps else None
