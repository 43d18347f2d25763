"""What boats of each kind kept: told in the shop's record, read back by tablets, nearest kind first."""

from __future__ import annotations

import attrs
import pytest

from garboard.disk.entries import SHOP_RECORD
from garboard.history.boats_alike import KindOfBoat, kind_of, kinds_entry, kinds_in, lines_of
from garboard.history.replay import replay
from garboard.records import Engine, JsonValue, Vessel
from garboard.units import Amount
from histories import tablet

SMALL = KindOfBoat("planing", 1, 85.0, 5.5, 12, 17.0, 15.0, 19.0, "13.5 x 17")
LARGE = KindOfBoat("planing", 1, 150.0, 6.5, 8, 19.0, 17.0, 21.0, "14.5 x 19")
KINDS = (SMALL, LARGE, attrs.evolve(LARGE, engines=2, boats=5), attrs.evolve(SMALL, hull_form="multihull"))


def boat(power: str = "115 hp", length: str = "18 ft", engines: int = 1, hull_form: str = "planing") -> Vessel:
    one = tuple(Engine(position=f"e{each}", rated_power=Amount(*power.split())) for each in range(engines))
    return Vessel(hull_number="QQZ01234A626", hull_form=hull_form, length=Amount(*length.split()), engines=one)


def test_what_is_told_last_is_read_back() -> None:
    """Of two tellings that do not know of each other the later counts, and nobody has to choose."""
    author = tablet("a").author
    empty = replay(SHOP_RECORD, [])
    assert kinds_in(empty) == ()
    first, second = kinds_entry(author, empty, KINDS[:1]), kinds_entry(author, empty, KINDS)
    shop = replay(SHOP_RECORD, [first, second])
    assert kinds_in(shop) == KINDS
    assert kinds_in(replay(SHOP_RECORD, [second, kinds_entry(author, shop, KINDS[1:])])) == KINDS[1:]


NOT_KINDS: tuple[JsonValue, ...] = (
    "x",
    [],
    ["planing", 1],
    ["planing", 1, "85", "5", 9, "1", "1", "1", "", "more"],
    ["planing", 1, "nan", "5", 9, "1", "1", "1", ""],
    ["planing", 1, "85", "5", "9" * 400, "1", "1", "1", ""],
)


def test_a_line_from_before_gear_ratios_is_read() -> None:
    """It says of boats of any ratio what it said."""
    author = tablet("a").author
    lines = [line[:-1] for line in lines_of(KINDS) if isinstance(line, list)]
    entry = author.write(replay(SHOP_RECORD, []), "alike", ("propellers",), [*lines])
    assert kinds_in(replay(SHOP_RECORD, [entry])) == KINDS


@pytest.mark.parametrize("line", NOT_KINDS)
def test_a_line_that_cannot_be_read_costs_itself(line: JsonValue) -> None:
    author = tablet("a").author
    entry = author.write(replay(SHOP_RECORD, []), "alike", ("propellers",), [line, *lines_of(KINDS)])
    assert kinds_in(replay(SHOP_RECORD, [entry])) == KINDS


@pytest.mark.parametrize(
    ("vessel", "kind"),
    [
        (boat(), SMALL),
        (boat("200 hp", "21 ft"), LARGE),
        (boat(hull_form="multihull"), KINDS[3]),
        (boat("100 hp", "21 ft", engines=2), KINDS[2]),
        (boat("300 hp", "21 ft"), None),
        (boat("115 hp", "24 ft"), None),
        (boat(hull_form="displacement"), None),
        (attrs.evolve(boat(), length=None), None),
        (attrs.evolve(boat(), engines=()), None),
    ],
)
def test_a_boat_is_of_the_kind_nearest_to_it_or_of_none(vessel: Vessel, kind: KindOfBoat | None) -> None:
    assert kind_of(vessel, KINDS) == kind
