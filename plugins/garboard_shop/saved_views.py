"""Views of the board under names of the shop's own, as the board opens them.

What a view asks is read anew each time, so that whatever an entry holds leads nowhere but to the board.
"""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import parse_qsl, urlsplit

import attrs

from garboard.history.board_views import SavedView
from garboard_shop.board import Asked


@attrs.frozen(kw_only=True)
class OwnView:
    """A view as the board lists it."""

    saved: SavedView
    asked: Asked

    @property
    def address(self) -> str:
        return self.asked.address()


def shown(saved: Iterable[SavedView]) -> tuple[OwnView, ...]:
    """The shop's own views with what they ask."""
    return tuple(OwnView(saved=one, asked=asked_in(one.asked)) for one in saved)


def asked_in(query: str) -> Asked:
    """What a view asks. What the board does not know is left out."""
    return Asked.of(dict(parse_qsl(query)))


def query_of(asked: Asked) -> str:
    """As a view keeps it.

    >>> query_of(Asked(view="stuck", q="a&b", page=3))
    'view=stuck&q=a%26b'
    """
    return urlsplit(asked.address()).query
