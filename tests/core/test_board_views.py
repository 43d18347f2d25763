"""Views of the board in the shop's record: names are checked, what cannot be read says nothing, the last one holds."""

from __future__ import annotations

from collections.abc import Callable

import attrs
import pytest

from garboard.disk.clock import HybridClock
from garboard.disk.entries import SHOP_RECORD, VIEW, Entry
from garboard.faults import InputError
from garboard.history.authoring import Author
from garboard.history.authority import ON_THE_PAGE, managers_part
from garboard.history.board_views import (
    LONGEST_ASKED,
    LONGEST_NAME,
    MOST_VIEWS,
    SavedView,
    remove_view,
    rename_view,
    save_view,
    views_in,
)
from garboard.history.replay import HullState, replay

AUTHOR = Author(ON_THE_PAGE, "M. Office", HybridClock())
OTHER = attrs.evolve(AUTHOR, by="K. Second")
NOTHING: HullState = replay(SHOP_RECORD, [])
OURS = save_view(AUTHOR, NOTHING, "Ours", "view=stuck")
THEIRS = save_view(OTHER, NOTHING, "  Also   theirs ", "state=failing")
BOTH = replay(SHOP_RECORD, [OURS, THEIRS])
VIEW_OURS = OURS.subject[0]


def test_views_are_listed_by_name_with_who_named_them() -> None:
    assert [(one.name, one.asked, one.by) for one in views_in(BOTH)] == [
        ("Also theirs", "state=failing", "K. Second"),
        ("Ours", "view=stuck", "M. Office"),
    ]
    assert managers_part(OURS) == "saves a view of the board"
    assert not BOTH.disagreements("")


def test_of_two_names_given_apart_the_last_holds_and_a_removed_view_is_gone() -> None:
    renamed = [rename_view(one, BOTH, VIEW_OURS, name) for one, name in ((AUTHOR, "First"), (OTHER, "Second"))]
    for order in (renamed, renamed[::-1]):
        shop = replay(SHOP_RECORD, [OURS, THEIRS, *order])
        assert SavedView(id=VIEW_OURS, name="Second", asked="view=stuck", by="K. Second") in views_in(shop)
        assert not shop.disagreements("")
    gone = replay(SHOP_RECORD, [OURS, THEIRS, remove_view(AUTHOR, BOTH, VIEW_OURS)])
    assert [one.name for one in views_in(gone)] == ["Also theirs"]
    with pytest.raises(InputError, match="one that is saved"):
        rename_view(AUTHOR, gone, VIEW_OURS, "Back")
    both = views_in(replay(SHOP_RECORD, [OURS, save_view(AUTHOR, gone, "ours", "")]))
    assert {one.name for one in both} == {"Ours", "ours"}


@pytest.mark.parametrize(
    "name", ["", " \t\n ", "n" * (LONGEST_NAME + 1), "a\u202eb", "a\x07b", "also THEIRS"], ids=ascii
)
@pytest.mark.parametrize(
    "write", [lambda name: save_view(AUTHOR, BOTH, name, ""), lambda name: rename_view(AUTHOR, BOTH, VIEW_OURS, name)]
)
def test_a_name_nobody_could_tell_apart_is_refused(name: str, write: Callable[[str], Entry]) -> None:
    with pytest.raises(InputError, match="name"):
        write(name)


def test_a_view_may_keep_its_own_name_in_other_letters() -> None:
    assert rename_view(AUTHOR, BOTH, VIEW_OURS, "OURS").value == {"name": "OURS", "asked": "view=stuck"}


def test_too_many_and_too_long_ones_are_refused() -> None:
    with pytest.raises(InputError, match="characters of filters"):
        save_view(AUTHOR, NOTHING, "Long", "q" * (LONGEST_ASKED + 1))
    many = [save_view(AUTHOR, NOTHING, f"View {number}", "") for number in range(MOST_VIEWS)]
    with pytest.raises(InputError, match="remove one first"):
        save_view(AUTHOR, replay(SHOP_RECORD, many), "One more", "")


@pytest.mark.parametrize(
    ("subject", "value"),
    [
        (("a",), "text"),
        (("a",), {"name": 1, "asked": ""}),
        (("a",), {"name": "x"}),
        ((), {"name": "x", "asked": ""}),
        (("a", "b"), {"name": "x", "asked": ""}),
        (("a",), {"name": "x" * 500, "asked": ""}),
        (("a",), {"name": "x\u202e", "asked": ""}),
        (("a",), {"name": "x", "asked": "q" * 5_000}),
    ],
)
def test_what_nobody_could_have_saved_is_not_listed(subject: tuple[str, ...], value: object) -> None:
    strange = AUTHOR.write(NOTHING, VIEW, subject, value)  # type: ignore[arg-type]
    assert views_in(replay(SHOP_RECORD, [strange, OURS])) == views_in(replay(SHOP_RECORD, [OURS]))
