"""Views of the board under names of the shop's own: a manager saves, renames and removes them; everybody opens them."""

from __future__ import annotations

from collections.abc import Callable

from starlette.responses import Response

from garboard.disk.entries import Entry
from garboard.faults import Fault, InputError
from garboard.history import board_views
from garboard.history.authoring import Author
from garboard.history.board_views import LONGEST_NAME
from garboard.history.replay import HullState
from garboard_shop.pages import decisions
from garboard_shop.pages.authors import author_after
from garboard_shop.pages.board import asked_in_words, built_in_views, stuck_days
from garboard_shop.pages.settings import record_of
from garboard_shop.pages.visits import Visit
from garboard_shop.saved_views import asked_in, query_of, shown

OWN_VIEWS = "/board/views"


def views_page(visit: Visit) -> Response:
    """A form that saves what the board showed, and every view of the shop's own, to be renamed or removed."""
    asked = asked_in(visit.asked("asked")) if "asked" in visit.request.query_params else None
    stuck = stuck_days(visit.desk)
    return visit.page(
        "views.html",
        asks="" if asked is None else query_of(asked),
        in_words="" if asked is None else asked_in_words(asked, stuck, visit.desk.host),
        back="/board" if asked is None else asked.address(),
        views=[(one, asked_in_words(one.asked, stuck, visit.desk.host)) for one in shown(visit.desk.remembering.views)],
        longest=LONGEST_NAME,
    )


def save(visit: Visit) -> Response:
    """Save what the board showed under a name."""
    asked, name = asked_in(visit.form.get("asked", "")), _own_name(visit)
    _write(visit, lambda author, shop: board_views.save_view(author, shop, name, query_of(asked)))
    return visit.go(asked.address(), "Saved. It stands above the list for everybody.")


def rename(visit: Visit) -> Response:
    """Give a view another name."""
    view, name = visit.form.get("view", ""), _own_name(visit)
    _write(visit, lambda author, shop: board_views.rename_view(author, shop, view, name))
    return visit.go(OWN_VIEWS, "Renamed.")


def remove(visit: Visit) -> Response:
    """Remove a view for everybody."""
    view = visit.form.get("view", "")
    _write(visit, lambda author, shop: board_views.remove_view(author, shop, view))
    return visit.go(OWN_VIEWS, "Removed.")


def _own_name(visit: Visit) -> str:
    """The name that was typed. Raises InputError for that of a view every shop has."""
    name = visit.form.get("name", "")
    built_in = {one.casefold() for one, _ in built_in_views(stuck_days(visit.desk))}
    if " ".join(name.split()).casefold() in built_in:
        raise InputError("view", [Fault("name", "one that no other view has", repr(name))])
    return name


def _write(visit: Visit, entry: Callable[[Author, HullState], Entry]) -> None:
    desk = visit.desk
    with desk.store.deciding():
        shop = record_of(desk.store)
        decisions.keep(desk.store, [entry(author_after(shop, visit.who), shop)], desk.now())
    desk.remembering.learn_views()
