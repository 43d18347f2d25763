"""Views of the shop's board that managers saved under names of their own, in the shop's record.

A view is what is asked of the board, as an address says it after the question mark. It is kept with who named it, and
every manager may rename or remove it: the shop has one list.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from unicodedata import normalize
from uuid import uuid4

import attrs

from garboard.disk.entries import VIEW
from garboard.faults import Fault, InputError
from garboard.history.registers import RegisterKey

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.history.authoring import Author
    from garboard.history.replay import HullState

LONGEST_NAME = 40
LONGEST_ASKED = 1_000
"""Characters of what a view asks."""
MOST_VIEWS = 30
"""More would not be found again above a list."""


@attrs.frozen(kw_only=True)
class SavedView:
    """A view with its name.

    id    : names it in entries
    asked : what it asks of the board: "view=stuck&technician=R.+Vane"
    by    : who named it last
    """

    id: str
    name: str
    asked: str
    by: str


def views_in(shop: HullState) -> tuple[SavedView, ...]:
    """The views of a shop's record by name. Of two that stand for one, as two managers renamed it, the one written last
    holds. One with a name that nobody could have typed is left out.
    """
    found = []
    for key in shop.registers:
        last = (
            max(shop.current(key), key=lambda entry: (entry.clock, entry.id), default=None) if _is_view(key) else None
        )
        if last is not None and isinstance(last.value, dict):
            name, asked = str(last.value.get("name", "")), str(last.value.get("asked", ""))
            if name and name.isprintable() and len(name) <= LONGEST_NAME and len(asked) <= LONGEST_ASKED:
                found.append(SavedView(id=key.subject[0], name=name, asked=asked, by=last.by))
    return tuple(sorted(found, key=lambda one: (one.name.casefold(), one.id)))


def _is_view(key: RegisterKey) -> bool:
    return key.kind == VIEW and len(key.subject) == 1


def save_view(author: Author, shop: HullState, name: str, asked: str) -> Entry:
    """An entry that saves a view. Raises InputError."""
    if len(views_in(shop)) >= MOST_VIEWS:
        fault = Fault("views", f"at most {MOST_VIEWS}", f"{MOST_VIEWS} and one more", cure="remove one first")
        raise InputError("view", [fault])
    if len(asked) > LONGEST_ASKED:
        raise InputError("view", [Fault("view", f"at most {LONGEST_ASKED} characters of filters", f"{len(asked)}")])
    return author.write(shop, VIEW, (uuid4().hex[:12],), {"name": _named(shop, name), "asked": asked})


def rename_view(author: Author, shop: HullState, view: str, name: str) -> Entry:
    """An entry that gives a view another name. Raises InputError."""
    known = _known(shop, view)
    return author.write(shop, VIEW, (view,), {"name": _named(shop, name, but=view), "asked": known.asked})


def remove_view(author: Author, shop: HullState, view: str) -> Entry:
    """An entry that removes a view; what it was stays readable in the record. Raises InputError."""
    _known(shop, view)
    return author.write(shop, VIEW, (view,), {"name": "", "asked": ""})


def _known(shop: HullState, view: str) -> SavedView:
    found = next((one for one in views_in(shop) if one.id == view), None)
    if found is None:
        fault = Fault(
            "view", "one that is saved", "one that is not", cure="open the board again: it may be removed by now"
        )
        raise InputError("view", [fault])
    return found


def _named(shop: HullState, typed: str, but: str = "") -> str:
    name = normalize("NFC", " ".join(typed.split()))
    if not name:
        raise InputError("view", [Fault("name", "a name", "none")])
    if len(name) > LONGEST_NAME:
        raise InputError("view", [Fault("name", f"at most {LONGEST_NAME} characters", f"{len(name)}")])
    if not name.isprintable():
        raise InputError("view", [Fault("name", "letters, numerals and signs that can be seen", repr(name))])
    if any(one.name.casefold() == name.casefold() and one.id != but for one in views_in(shop)):
        raise InputError("view", [Fault("name", "one that no other view has", repr(name))])
    return name
