"""A boat with several hull numbers is one boat in the search, on the day sheet and in every count of it."""

from __future__ import annotations

import pytest

from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, entry_id, make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.fittings import CAME_WITH
from garboard.history.authoring import keep_forecast, measure, retract, same_boat
from garboard.history.registers import RegisterKey
from garboard.history.replay import replay
from garboard.records import ExpectedOf, Forecast, Vessel
from garboard.report.equipment import vessel_facts
from garboard.units import Amount
from garboard_shop.pages import sheet
from garboard_shop.pages.sheet import RECEIVED, day_sheet
from garboard_shop.pages.wording import day_of
from histories import tablet
from pages_rig import NOON, Browser, Pages, words_of

RIGHT, WRONG, THIRD = "QQZ05555A626", "XQZ99955A626", "QQZ05557A626"


def fact(hull: str, path: tuple[str, ...], value: str, number: int = 1) -> Entry:
    at = "2026-11-25T10:00:00+00:00"
    return make_entry(
        "field", hull, dev="tablet 1", by="R. Vane", clock=Stamp(NOON, number), at=at, subject=path, value=value
    )


def deliver(pages: Pages, *entries: Entry, at: int = NOON) -> None:
    for hull in sorted({entry.hull for entry in entries}):
        ours = CheckedEntries((entry_id(one.raw), one.raw) for one in entries if one.hull == hull)
        pages.store.put_if_absent({hull: ours}, "000000000001", at, 0)
    pages.desk.index.refresh()


def joined(pages: Pages) -> tuple[Entry, Entry]:
    first, second = fact(RIGHT, ("name",), "Marlin"), fact(WRONG, ("engines", "port", "propeller", "pitch"), "19 in")
    halves = same_boat(tablet("a").author, replay(RIGHT, [first]), replay(WRONG, [second]), "one transom, read twice")
    deliver(pages, first, second)
    deliver(pages, *halves)
    return halves


def test_the_search_lists_it_once_by_either_number_and_by_words_from_both(pages: Pages) -> None:
    index, before = pages.desk.index, len(pages.desk.index)
    halves = joined(pages)
    assert len(index) == before + 1
    for words in (RIGHT, WRONG, "marlin", "19 marlin", "XQZ999"):
        assert [card.hull for card in index.search(words)] == [RIGHT], words
    (card,) = index.search("marlin")
    assert (card.also, card.entries) == ((WRONG,), 4)
    assert [card.hull for card in index.search("", "2026-11-25") if card.hull in (RIGHT, WRONG)] == [RIGHT]
    author = tablet("a").author
    for half in halves:
        state = replay(half.hull, [half])
        deliver(pages, retract(author, state, RegisterKey("alias", "", half.subject), "two boats after all"))
    assert [card.hull for card in index.search("19")][-1:] == [WRONG]
    assert [card.hull for card in index.search("marlin")] == [RIGHT]
    assert len(index) == before + 2


def test_the_boats_page_counts_it_once(pages: Pages, manager: Browser) -> None:
    joined(pages)
    words = words_of(manager.text(f"/boats?q={WRONG}"))
    assert "1 boat." in words
    assert "Marlin" in words


def test_it_stands_on_one_page_of_the_day_sheet(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its numbers came ashore an hour apart, with another boat between: they were on two pages."""
    monkeypatch.setattr(sheet, "MOST_BOATS", 1)
    joined(pages)
    deliver(pages, fact(THIRD, ("name",), "Third", 5), at=NOON + 60_000)
    deliver(pages, fact(WRONG, ("beam",), "2.4 m", 6), at=NOON + 120_000)
    day = day_of(NOON)
    first = day_sheet(pages.store, pages.desk.summaries, pages.desk.index, day, RECEIVED)
    all_pages = [
        day_sheet(pages.store, pages.desk.summaries, pages.desk.index, day, RECEIVED, page)
        for page in range(1, first.pages + 1)
    ]
    shown = [boat.summary.key for one in all_pages for boat in one.boats]
    assert [hull for hull in shown if hull in (RIGHT, WRONG, THIRD)] == [RIGHT, THIRD]


def test_its_page_sets_the_propellers_that_were_tried_side_by_side(pages: Pages, manager: Browser) -> None:
    hull = "QQZ05558A626"
    runs = "prop_check.full_throttle"
    facts = {
        ("engines", "centre", "position"): "centre",
        ("engines", "centre", "full_throttle_low"): "5400 rev/min",
        ("engines", "centre", "full_throttle_high"): "6000 rev/min",
        ("engines", "centre", "fitted"): "17 steel",
        ("propellers", "17 steel", "pitch"): "17 in",
        ("propellers", "17 steel", "stock_number"): "S-4417",
    }
    entries = [fact(hull, path, value, number) for number, (path, value) in enumerate(facts.items(), start=1)]
    state, author = replay(hull, entries), tablet("a").author
    for row, (turns, name) in enumerate((("5150", CAME_WITH), ("5160", CAME_WITH), ("5560", "17 steel")), start=1):
        entries.append(measure(author, state, "1", runs, "engine_speed", f"{turns} rev/min", row=str(row), of="centre"))
        entries.append(measure(author, state, "1", runs, "propeller", name, row=str(row), of="centre"))
    expected = ExpectedOf(of="centre", low=Amount("5400", "rev/min"), high=Amount("5800", "rev/min"), chance=90)
    foreseen = Forecast(propeller="16", pitch=Amount("16", "in"), expected=(expected,))
    entries.append(keep_forecast(author, state, "1", foreseen))
    deliver(pages, *entries)
    assert [card.hull for card in pages.desk.index.search("S-4417")] == [hull]
    words = words_of(manager.text(f"/boats/{hull}"))
    assert "What was tried" in words
    assert "17 steel, fitted" in words
    assert "Engine speed 5155 ± 31 rev/min 5560 ± 40 rev/min" in words
    assert "As delivered was tried: “Trim” is not entered" in words
    told = "Forecast of 16: Foreseen: 5600 ± 200 rev/min, 90 in 100 to land in the window. Not run yet."
    assert told in words.partition("What was tried")[2]


def test_a_number_stands_everywhere_as_its_form_prints_it(pages: Pages, manager: Browser) -> None:
    """FIQQZCAT01D626 stood on pages, FI-QQZCAT01D626 in the book and FI-QQZCAT01-D6-26 on tablets and transom."""
    typed, printed = "FI-QQZCAT01D626", "FI-QQZCAT01-D6-26"
    deliver(pages, fact(typed, ("hull_number",), typed), fact(typed, ("name",), "Raft", 2))
    for page in ("/boats/FIQQZCAT01D626", "/boats"):
        assert printed in words_of(manager.text(page))
    assert dict(vessel_facts(Vessel(hull_number=typed)))["Hull number"] == printed
