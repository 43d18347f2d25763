"""Searching all boats finds what going through them one by one finds, in the same order."""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Mapping

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from examples import examples
from garboard import hull_number
from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import move_job
from garboard.history.replay import HullState
from garboard_shop.pages import index as index_module
from garboard_shop.pages.index import LONGEST_SEARCH, MOST_NEWER, MOST_SHOWN, Index, Wanted, card_of
from garboard_shop.store import Delivery
from histories import tablet
from pages_rig import NOON, Browser, Pages, words_of

WORDS = ("Petrel", "petrel ii", "\u00c9toile", "Stra\u00dfe", "\u0130nci", "a\nb", "19 in", "R. Vane", "O0", "abc0", "")
TEXTS = st.sampled_from(WORDS) | st.text("aAbB0Oo1I \n\u00df\u0130-", max_size=6)
HULLS = st.text("O0I1QA", min_size=2, max_size=3).map(lambda end: f"ABC000{end}A526")
DAYS = st.sampled_from(["2026-11-24", "2026-11-25"])
BOATS = st.dictionaries(HULLS, st.lists(st.tuples(TEXTS, TEXTS, DAYS), min_size=1, max_size=3), max_size=12)
"""By hull: names, propeller pitches and days, entry by entry."""
ASKED = st.one_of(
    TEXTS,
    st.lists(TEXTS, max_size=3).map(" ".join),
    HULLS,
    st.sampled_from(["ABC-000", "abc 000", "A526", "000", "\u212bBC0", "  ", "strasse", "i\u0307nci"]),
)


def fact(hull: str, number: int, path: tuple[str, ...], value: str, day: str) -> Entry:
    at = f"{day}T10:00:00+00:00"
    return make_entry(
        "field", hull, dev="tablet 1", by="R. Vane", clock=Stamp(NOON, number), at=at, subject=path, value=value
    )


class Growing:
    """A store whose hulls grow entry by entry."""

    def __init__(self) -> None:
        self.held: dict[str, dict[str, bytes]] = {}

    def add(self, boats: Mapping[str, Iterable[tuple[str, str, str]]]) -> None:
        for hull, facts in boats.items():
            held = self.held.setdefault(hull, {})
            for name, pitch, day in facts:
                for path, value in ((("name",), name), (("engines", "port", "propeller", "pitch"), pitch)):
                    made = fact(hull, len(held), path, value, day)
                    held[made.id] = made.raw

    def digests(self) -> Iterable[str]:
        return list(self.held)

    def deliveries(self, first: int, last: int) -> Iterable[Delivery]:
        return ()

    def ids(self, hull: str) -> frozenset[str]:
        return frozenset(self.held[hull])

    def get(self, hull: str, ids: Container[str]) -> CheckedEntries:
        return CheckedEntries((name, raw) for name, raw in self.held[hull].items() if name in ids)


def one_by_one(store: Growing, words: str, day: str) -> list[str]:
    """Hulls that have every word, anywhere, or the hull number typed; going through each boat's own entries."""
    found = []
    for hull, held in store.held.items():
        card = card_of(hull, held.values())
        given = (str(plain["value"]) for plain in map(json.loads, held.values()) if plain["subject"] == ["name"])
        said = hull_number.sought(" ".join((hull, *card.numbers, *given, *card.owners, *card.propellers)))
        number = hull_number.key(words) if words.strip() else ""
        has_words = all(word in said for word in hull_number.sought(words).split())
        if (has_words or (len(number) > 3 and number in hull)) and (not day or day in card.days):
            found.append((card.name or hull, hull))
    return [hull for _, hull in sorted(found)]


@settings(max_examples=examples(300), deadline=None)
@given(st.lists(BOATS, min_size=1, max_size=4), ASKED, st.just("") | DAYS, st.integers(0, 3))
@example([{"ABC000OOA526": [("a", "b", "2026-11-25")]}, {"ABC000OOA526": [("c", "", "2026-11-24")]}], "a b", "", 0)
@example([{"ABC00000A526": [("Petrel", "Petrel", "2026-11-24")]}], "\u00c5BC0", "", 0)
def test_a_search_finds_what_going_through_every_boat_finds(
    deliveries: list[dict[str, list[tuple[str, str, str]]]], words: str, day: str, most_newer: int
) -> None:
    """Also while boats change: cards read lately, those on the shelf, and those whose words were replaced there."""
    store = Growing()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(index_module, "MOST_NEWER", most_newer)
        index = Index(store, now=lambda: NOON)  # type: ignore[arg-type]
        for boats in deliveries:
            store.add(boats)
            for hull in boats:
                index.read(hull)
            expected = one_by_one(store, words, day)
            assert [card.hull for card in index.search(words, day)] == expected
            assert [card.hull for card in index.search(words, day, 2)] == expected[:2]


def test_a_search_of_thousands_of_words_costs_no_more_than_one_of_a_few() -> None:
    """Each word is looked for among all boats; what nobody types is not read to its end."""
    wanted = Wanted.typed("saltgrass " + "x " * 8000)
    assert len(wanted.words) <= LONGEST_SEARCH
    assert wanted.words[0] == "saltgrass"
    assert Wanted.typed("Saltgrass marina").words == ("saltgrass", "marina")


@given(st.permutations([0, 1, 2]))
def test_the_name_entered_last_is_shown_and_all_are_found_in_whatever_order_entries_are_kept(order: list[int]) -> None:
    names = ("Gannet", "Petrel", "Gannet II")
    made = [fact("ABC00001A526", number, ("name",), name, "2026-11-25") for number, name in enumerate(names)]
    card = card_of("ABC00001A526", [made[number].raw for number in order])
    assert card.name == "Gannet II"
    assert card.names == names


def test_a_boat_a_job_was_moved_to_is_found_by_what_came_with_the_job() -> None:
    """As its own page names it: whichever is read first, also when the other grew; its own name comes first."""
    wrong, right = HullState("ABC00001A526"), HullState("ABC00002A526")
    store, author = Growing(), tablet("c").author
    index = Index(store, now=lambda: NOON)  # type: ignore[arg-type]

    def keep(*entries: Entry) -> None:
        for entry in entries:
            state = wrong if entry.hull == wrong.hull else right
            state.add(entry)
            store.held.setdefault(state.hull, {})[entry.id] = entry.raw
            index.read(state.hull)

    keep(author.write(wrong, "job", ("owner",), "R-77", job="J-1"), author.write(wrong, "field", ("name",), "Petrel"))
    keep(*move_job(author, wrong, right, "J-1", "typed wrongly"))
    assert {card.hull: card.name for card in index.search("R-77")} == {wrong.hull: "Petrel", right.hull: "Petrel"}
    keep(author.write(wrong, "field", ("engines", "port", "propeller", "pitch"), "19 in"))
    (found,) = [card for card in index.search("19 in") if card.hull == right.hull]
    assert (found.propellers, found.numbers) == (("port: pitch 19 in",), (right.hull,))
    keep(author.write(right, "field", ("name",), "Gannet"))
    assert [card.hull for card in index.search("Gannet")] == [right.hull]
    assert [card.hull for card in index.search("Petrel")] == [wrong.hull]


@settings(max_examples=examples(50), deadline=None)
@given(BOATS)
def test_the_days_of_all_boats_are_those_of_each(boats: dict[str, list[tuple[str, str, str]]]) -> None:
    store = Growing()
    store.add(boats)
    index = Index(store, now=lambda: NOON)  # type: ignore[arg-type]
    index.refresh()
    days = {hull: card_of(hull, held.values()).days for hull, held in store.held.items()}
    for day in ("2026-11-24", "2026-11-25", "2026-11-26"):
        assert index.hulls_on(day) == tuple(sorted(hull for hull in days if day in days[hull]))
        earlier = [one for found in days.values() for one in found if one < day]
        assert index.last_day(day) == max(earlier, default="")


class Looked(str):
    """A boat's words that count how often they are looked at one by one."""

    __slots__ = ()
    times = 0

    def __contains__(self, word: object) -> bool:
        Looked.times += 1
        return super().__contains__(word)  # type: ignore[operator]


@pytest.mark.parametrize("words", ["boat 7", "boat", "petrel 7", "ABC-00007", ""])
def test_a_search_takes_in_hand_only_boats_it_shows_and_those_read_lately(words: str) -> None:
    """Counted, not timed: of 4000 boats, at most two words each of these."""
    store = Growing()
    store.add({f"ABC{at:05}A526": [(f"Boat {at}", "19 in", "2026-11-25")] for at in range(4000)})
    index = Index(store, now=lambda: NOON)  # type: ignore[arg-type]
    index.refresh()
    for card in index._cards.values():
        object.__setattr__(card, "text", Looked(card.text))
    Looked.times = 0
    index.search(words, "", MOST_SHOWN + 1)
    assert Looked.times <= 2 * (MOST_SHOWN + 1 + MOST_NEWER)


def test_boats_are_read_again_only_when_they_grew() -> None:
    """Ten boats, one of which grows: one is read, whatever else is held."""
    store = Growing()
    store.add({f"ABC{at:05}A526": [("Boat", "", "2026-11-25")] for at in range(10)})
    index = Index(store, now=lambda: NOON)  # type: ignore[arg-type]
    index.refresh()
    store.add({"ABC00003A526": [("Petrel", "", "2026-11-25")]})
    assert [hull for hull in sorted(store.held) if index.read(hull)] == ["ABC00003A526"]
    assert [card.name for card in index.search("petrel")] == ["Petrel"]


def test_when_more_boats_fit_than_are_shown_the_page_says_so(pages: Pages, manager: Browser) -> None:
    for number in range(MOST_SHOWN + 1):
        made = fact(f"XYZ{number:05}A626", number, ("name",), f"Gannet {number}", "2026-11-25")
        offered = {made.hull_key: CheckedEntries([(made.id, made.raw)])}
        pages.store.put_if_absent(offered, "000000000001", NOON, 0)
        pages.desk.index.read(made.hull_key)
    said = words_of(manager.text("/boats?q=gannet"))
    assert f"More than {MOST_SHOWN} boats. These are the first; add a word to narrow the search." in said
    assert "10 boats." in words_of(manager.text("/boats?q=gannet+XYZ0007"))
