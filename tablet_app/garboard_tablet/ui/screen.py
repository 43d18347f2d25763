"""The screen: which page is up, and when it is drawn anew."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import TYPE_CHECKING

from garboard_tablet.ui.on_its_way import ON_ITS_WAY
from garboard_tablet.ui.shell import Page, Shell
from garboard_tablet.ui.tidy import has_left, look_seldom
from garboard_tablet.ui.widgets import Press, stood_before

if TYPE_CHECKING:
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import Tablet


class PageScreen:
    """Puts pages up in the shell. Made before the window; `open` makes what stands in it.

    make_page : makes the page of a route
    """

    shell: Shell

    def __init__(self, tablet: Tablet, make_page: Callable[[Route], Page]) -> None:
        self._tablet, self._make_page = tablet, make_page
        look_seldom()

    def open(self, back: Callable[[], object]) -> Shell:
        """Make what stands in the window."""
        self.shell = Shell(back)
        return self.shell

    @property
    def page(self) -> Page | None:
        """The page now shown."""
        return self.shell.page

    def show(self) -> None:
        """Put up the page the session stands at, made anew."""
        self._leave()
        self._comes_new()
        self._put(self._make_page(self._tablet.session.here))

    def redraw(self) -> None:
        """Draw the page anew; one that keeps what it knows goes on as it was."""
        page, here = self.page, self._tablet.session.here
        if page is None or page.route != here:
            self.show()
        else:
            self._put(page if page.keeps_what_it_knows else self._make_page(here))

    def redraw_as_it_is(self) -> None:
        """Draw the page now shown anew, with what it knows."""
        if self.page is not None:
            self._put(self.page)

    def say_saved(self) -> None:
        """Say anew at the upper right how far what was entered is on the disk."""
        if self.page is not None:
            self.shell.say_saved()

    def say_under(self) -> None:
        """Say anew what stands under the title."""
        if self.page is not None:
            self.shell.say_under()

    def begin(self) -> None:
        """Have what is typed go into the field of the page now shown."""
        if self.page is not None:
            self.page.begin()

    def shows(self, page: object) -> bool:
        """Whether a page is the one now shown."""
        return self.page is page

    def interrupt(self, page: Page) -> None:
        """Put up a page that no way leads to; its own presses lead away."""
        self._leave()
        self._comes_new()
        self.shell.show(page, first=True)

    def refill(self, pages: Collection[str]) -> None:
        """Have the page show what has changed, if it is one of these."""
        if self.page is not None and self.page.route.page in pages:
            self.page.refill()

    def close(self) -> None:
        self._leave()

    @staticmethod
    def _comes_new() -> None:
        Press.quiet_until = Press.now() + ON_ITS_WAY
        stood_before.page_comes()

    def _leave(self) -> None:
        if self.page is not None:
            self.page.leave()

    def _put(self, page: Page) -> None:
        self.shell.show(page, first=len(self._tablet.session.way) == 1)
        stood_before.changes()
        has_left()
