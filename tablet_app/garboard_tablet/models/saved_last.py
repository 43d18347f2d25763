"""The value saved last: what one press takes back. Apart from what is said of it, since the tablet itself holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import attrs

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.session import Route


@attrs.frozen(kw_only=True)
class Echo:
    """The value saved last.

    route  : the page it was entered on
    text   : the value as people say it
    before : what stood there; with several that disagreed, it cannot be undone
    now    : what stands there since
    also   : what the same touch saved beside it, where nothing stood, and what stands there since
    """

    route: Route
    ask: Ask
    text: str
    before: tuple[Entry, ...]
    now: tuple[Entry, ...]
    also: tuple[tuple[Ask, tuple[Entry, ...]], ...] = ()

    @property
    def can_be_undone(self) -> bool:
        return len(self.before) < 2
