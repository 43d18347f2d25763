"""The day sheet: what came ashore from whom, what disagrees, fails or is ready, and nothing a name can break."""

from __future__ import annotations

import contextlib
import errno
import re
import threading
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard import hull_number
from garboard.disk.clock import Stamp
from garboard.disk.entries import SHOP_RECORD, Entry, make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.faults import InputError
from garboard.history.authoring import Author, retract, settle
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.recordings import load_recording
from garboard.records import Job, Vessel
from garboard.report.outline import PunchItem
from garboard.report.unit_signs import with_signs
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.job_rows import Came, job_rows
from garboard_shop.pages import sheet, summaries
from garboard_shop.pages.desk import PAGES_AT_ONCE, ShopDesk
from garboard_shop.pages.index import LOOKED_THROUGH, Card, Index, Wanted, card_of
from garboard_shop.pages.summaries import BoatSummary, Stale, Summaries
from garboard_shop.store import Delivery, Store
from pages_rig import (
    CHIEF,
    KITTIWAKE,
    LONG_REACH,
    MINUTE,
    MISTYPED,
    NOON,
    SALTGRASS,
    Browser,
    Pages,
    tags_in,
    words_of,
)

TODAY = "/days/2026-11-25"
PAGES = (
    TODAY,
    f"/boats/{SALTGRASS}",
    f"/boats/{KITTIWAKE}",
    "/boats",
    "/tablets",
    "/people",
    "/changes",
    "/plugins",
    "/plugins/new-check",
    "/settings",
    "/settings/wiring_audit.drop_other",
    "/memory",
    "/data",
    "/days/2026-01-01",
)
MARKUP = "\"><script src=//elsewhere.test></script><img src=x onerror=alert(1)>'{{7*7}}"


def put(pages: Pages, *entries: Entry, tablet: str = "000000000001", at: int = NOON) -> None:
    """Entries come ashore."""
    offered: dict[str, CheckedEntries] = {}
    for entry in entries:
        offered.setdefault(entry.hull_key, CheckedEntries())[entry.id] = entry.raw
    pages.store.put_if_absent(offered, tablet, at, 0)


def entry(kind: str, subject: tuple[str, ...], value: object, **more: str) -> Entry:
    return make_entry(
        kind,
        more.get("hull", SALTGRASS),
        dev=more.get("dev", "tablet 9"),
        by=more.get("by", "A. Hand"),
        clock=Stamp(NOON, 0),
        at=more.get("at", "2026-11-25T11:00:00+00:00"),
        job=more.get("job", "saltgrass-2026-05"),
        subject=subject,
        value=value,  # type: ignore[arg-type]
    )


def test_today_opens_first(manager: Browser) -> None:
    assert manager.get("/").headers["location"] == TODAY


def test_each_boat_says_what_came_from_which_tablet_and_who_entered_it(pages: Pages, manager: Browser) -> None:
    words = words_of(manager.text(TODAY))
    assert "boats came ashore 4" in words
    brought = sum(
        len(ids) for one in pages.store.deliveries(0, NOON) for ids in one.ids.values() if one.tablet.endswith("3")
    )
    on_the_sheet = sheet.day_sheet(
        pages.store, pages.desk.summaries, pages.desk.index, date(2026, 11, 25), sheet.RECEIVED
    ).boats
    from_third = [received for boat in on_the_sheet for received in boat.received if received.tablet == "Tablet 3"]
    assert sum(received.entries for received in from_third) == brought > 0
    assert {received.by for received in from_third} == {("T. Quill",)}
    assert "from Tablet 3 at" in words


def test_a_disagreement_shows_both_values_with_who_when_and_which_instrument(pages: Pages, manager: Browser) -> None:
    words = words_of(manager.text(TODAY))
    place = words.index("Full-throttle runs both ways: Speed over ground, run 2, against")
    shown = words[place : place + 300]
    assert "31.9 kn R. Vane 14 May 2026, 10:29 plotter, tablet 1" in shown
    assert "31.4 kn N. Sorrel" in shown
    assert "tablet 2" in shown
    pages.store.register.note_device("000000000001", "tablet 1", pages.at)  # it says what stands for it in entries
    assert "31.9 kn R. Vane 14 May 2026, 10:29 plotter, Tablet 1" in words_of(manager.text(TODAY))


def test_stale_signatures_name_what_they_do_not_cover(manager: Browser) -> None:
    words = words_of(manager.text(TODAY))
    for who in ("N. Sorrel , technician", "J. Ashdown , owner"):
        place = words.index(f"stale {who}")
        assert "Not covered: Circuit by circuit: Drop, running, Bilge pump forward" in words[place : place + 200]


def test_of_many_values_a_signature_misses_a_page_folds_all_but_the_first(pages: Pages) -> None:
    """Signed on a tablet that had brought nothing yet, 565 names of values stood on the page before all else."""
    missed = Stale("owner", "J. Ashdown", "", tuple(f"Value {number}" for number in range(1, 566)))
    parts: Any = pages.desk.templates.get_template("parts.html").module
    shown, folded = parts.stale({"stale": [missed]}, 3).split("<details>")
    assert "Value 12; and 553 more." in shown
    assert "Value 13; " in folded
    assert "Value 565." in folded


def test_a_wrong_clock_a_missing_plugin_and_a_look_alike_number_are_said(manager: Browser) -> None:
    words = words_of(manager.text(TODAY))
    assert "This tablet's clock is 24 h ahead" in words
    assert "1 entry needs the plugin shop_paint , which is not at work here: paint check gloss. The" in words
    assert words.count("One boat, or two?") == 1
    assert (
        f"{MISTYPED} and {LONG_REACH} . One boat, or two? Position 4: letter O in the first, numeral 0 in the second."
        in words
    )


def test_what_fails_is_not_left_out_of_the_count_of_the_punch_list() -> None:
    """Beside "3 checks fail" stood "3 items open on the punch list", and there were six."""
    items = [PunchItem("", f"{why} {number}", why) for why in ("fails", "in doubt") for number in range(2)]
    view = JobView(vessel=Vessel(hull_number=KITTIWAKE), job=Job(id="J-1"))
    assert "2 more items open on the punch list" in summaries._missing(view, [], items, 0)
    assert "2 items open on the punch list" in summaries._missing(view, [], items[2:], 0)


def test_what_is_missing_before_hand_over_is_said_and_what_is_ready_too(pages: Pages, manager: Browser) -> None:
    def missing(job: str) -> tuple[str, ...]:
        found = pages.desk.summaries.of(KITTIWAKE if job.startswith("kitti") else SALTGRASS)
        summary = found.job(job) if found else None
        assert summary is not None
        return summary.missing

    assert missing("saltgrass-2026-05")[0] == "1 disagreement to settle"
    assert missing("saltgrass-2026-05")[-1] == "no technician has signed"
    assert missing("kittiwake-2026-05") == ("the technician signed before later changes",)
    boat = pages.desk.summaries.of(KITTIWAKE)
    assert boat is not None
    covers: list[object] = [*boat.boat.state.coverage("kittiwake-2026-05")]
    signed = {"role": "technician", "name": "R. Vane", "covers": covers}
    put(pages, entry("signoff", ("technician", "R. Vane"), signed, hull=KITTIWAKE, job="kittiwake-2026-05"))
    assert missing("kittiwake-2026-05") == ()
    assert "Ready to hand over" in words_of(manager.text(TODAY))
    signed = {"role": "owner", "name": "J. Ashdown", "covers": covers}
    put(pages, entry("signoff", ("owner", "J. Ashdown"), signed, hull=KITTIWAKE, job="kittiwake-2026-05"))
    for path in (TODAY, f"/boats/{KITTIWAKE}"):
        words = words_of(manager.text(path))
        assert ("handed over" in words.casefold(), "Ready to hand over" in words) == (True, False), path
    assert "ready to hand over 0" in words_of(manager.text(TODAY))


def both_sign(pages: Pages, job: str) -> None:
    """Technician and owner sign for all that is entered of Kittiwake."""
    for role, name in (("technician", "R. Vane"), ("owner", "J. Ashdown")):
        boat = pages.desk.summaries.of(KITTIWAKE)
        assert boat is not None
        signed = {"role": role, "name": name, "covers": [*boat.boat.state.coverage(job)]}
        put(pages, entry("signoff", (role, name), signed, hull=KITTIWAKE, job=job))


def test_a_note_open_on_the_punch_list_is_told_with_handed_over_on_every_page(pages: Pages, manager: Browser) -> None:
    """Of a boat that both have signed for with the note on the list."""
    job = "kittiwake-2026-05"
    note = {"text": "Cleat is loose", "punch_list": True, "settled": False}
    put(pages, entry("note", ("n1",), note, hull=KITTIWAKE, job=job))
    both_sign(pages, job)
    for path in (TODAY, f"/boats/{KITTIWAKE}"):
        assert "Handed over with 1 point open" in words_of(manager.text(path)), path
    boat = pages.desk.summaries.of(KITTIWAKE)
    assert boat is not None
    pages.desk.remembering.bring_up_to_date()
    standing = words_of(manager.text(f"/boats/{KITTIWAKE}"))
    assert "known here since today. R. Vane had it." in standing, "it was signed for on another day, and is the owner's"
    (row,) = job_rows(boat, KITTIWAKE, {}, Came(NOON, NOON, NOON))
    assert (row.state, row.points, row.more) == ("handed over", 1, 0)
    assert row.open.startswith("Handed over with 1 point open. Open fault: Cleat is loose")
    put(pages, entry("measure", ("handover.safety_gear", "item", "1", ""), "another", hull=KITTIWAKE, job=job))
    both_sign(pages, job)
    pages.desk.remembering.bring_up_to_date()
    standing = words_of(manager.text(f"/boats/{KITTIWAKE}"))
    assert "to settle since today. Waiting for manager" in standing
    assert (" had it." in standing, " has it." in standing) == (True, False), "signed for, with values that disagree"


def test_boats_to_decide_about_come_first_and_ready_ones_last(manager: Browser) -> None:
    source = manager.text(TODAY)
    order = [source.index(f'id="boat-{hull}"') for hull in (SALTGRASS, MISTYPED, LONG_REACH, KITTIWAKE)]
    assert order == sorted(order)


def test_a_day_can_be_asked_by_what_was_entered_on_it(manager: Browser) -> None:
    words = words_of(manager.text("/days/2026-05-14?by=entered"))
    assert "Saltgrass" in words
    assert "Kittiwake" not in words.replace("Day sheet", "")
    assert "Nothing came ashore on this day" in words_of(manager.text("/days/2026-05-14"))
    assert manager.get("/days?day=2026-05-14&by=entered").headers["location"] == "/days/2026-05-14?by=entered"


def test_an_empty_day_leads_to_the_last_one_with_work(manager: Browser) -> None:
    words = words_of(manager.text("/days/2026-01-01"))
    assert "Nothing came ashore on this day. The latest work was entered on" in words


def test_a_tablet_a_day_ahead_does_not_make_the_latest_work_tomorrows(pages: Pages, manager: Browser) -> None:
    """Its time cannot be right: the shop's clock has not come to that day."""
    before = words_of(manager.text("/days/2026-01-01"))
    ahead = make_entry(
        "note",
        SALTGRASS,
        dev="tablet-09",
        by="R. Vane",
        clock=Stamp(NOON, 0),
        at="2026-11-26T12:00:00+00:00",
        job="saltgrass-2026-05",
        subject=("n1",),
        value={"text": "Chafe", "punch_list": True, "settled": False},
    )
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({ahead.id: ahead.raw})}, "000000000001", NOON, 0)
    pages.desk.index.refresh()
    assert "2026-11-26" in {pages.desk.index.last_day()}
    assert words_of(manager.text("/days/2026-01-01")) == before
    assert "26 November" not in before


@pytest.mark.parametrize("day", ["yesterday", "2026-13-01", "2026-11-25x"])
def test_what_is_no_day_is_not_found(manager: Browser, day: str) -> None:
    assert manager.get(f"/days/{day}").status_code == 404


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_the_first_and_the_last_day_there_are_break_nothing(manager: Browser, day: str) -> None:
    assert manager.get(f"/days/{day}").status_code in (200, 404)


def test_names_and_values_with_markup_are_text_on_every_page(pages: Pages, manager: Browser) -> None:
    put(
        pages,
        entry("field", ("name",), MARKUP),
        entry("field", ("maker",), MARKUP),
        entry("job", ("owner",), MARKUP),
        entry("job", ("kind",), MARKUP),
        entry("note", ("n",), {"text": MARKUP, "punch_list": True}),
        entry("measure", ("prop_check.full_throttle", "speed", "2", ""), MARKUP, by=MARKUP, dev=MARKUP),
        entry(MARKUP, (MARKUP,), MARKUP),
        entry("measure", (MARKUP, MARKUP, MARKUP, MARKUP), MARKUP),
    )
    pages.desk.index.refresh()
    pages.store.register.add_tablet(
        type(pages.store.register.tablets()[0])(id="x1", name=MARKUP, role=MARKUP, token_hash="f" * 64, paired_at=NOON)
    )
    history = f"/boats/{SALTGRASS}/jobs/saltgrass-2026-05/history?of=prop_check.full_throttle/speed/2"
    shown = 0
    for path in (*PAGES, history, "/boats?q=%3Cscript%3E%22", "/sign-in?next=%22%3E%3Cscript%3E"):
        source = manager.text(path)
        shown += source.count("elsewhere.test")
        for tag, attributes in tags_in(source):
            assert not [name for name in attributes if name.startswith("on")], path
            assert tag != "script" or attributes == {"src": "/static/page.js", "defer": ""}, path
            assert tag != "img" or attributes["src"].startswith("/boats/"), path
            assert not attributes.get("href", "/").startswith(("javascript", "//")), path
        assert "'49" not in source
    assert shown > 10


def test_every_page_forbids_scripts_and_frames_from_elsewhere(pages: Pages, manager: Browser) -> None:
    """W3C Content Security Policy Level 3: the directives' names."""
    for path in (*PAGES, "/sign-in", "/static/page.css", "/nothing-here"):
        answer = manager.get(path)
        if path == "/nothing-here":
            assert answer.status_code == 404
            continue
        policy = dict(one.strip().split(" ", 1) for one in answer.headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'none'", path
        assert policy["script-src"] == "'self'", path
        assert policy["frame-ancestors"] == "'none'", path
        assert answer.headers["x-content-type-options"] == "nosniff", path
        if path.startswith("/static"):
            continue
        assert answer.headers["cache-control"] == "no-store", path


def test_no_page_needs_another_server_or_a_style_inside(manager: Browser) -> None:
    for path in PAGES:
        for tag, attributes in tags_in(manager.text(path)):
            assert "style" not in attributes, (path, tag)
            for name in ("src", "href", "action"):
                assert attributes.get(name, "/").startswith(("/", "#")), (path, tag, attributes)


def test_the_boat_page_shows_every_finding_its_figures_and_what_it_rests_on(pages: Pages, manager: Browser) -> None:
    summary = pages.desk.summaries.of(KITTIWAKE)
    assert summary is not None
    (job,) = summary.jobs
    words = words_of(manager.text(f"/boats/{KITTIWAKE}"))
    for one in job.assessed:
        assert with_signs(" ".join(one.finding.sentence.split())) in words
    for basis in job.bases:
        assert with_signs(" ".join(str(basis).split())) in words
    assert re.search(r"\d°", words)
    assert not re.search(r"\d deg\b", words), "the book, the tablet and these pages write units in one way"
    drawn = [tag for tag in tags_in(manager.text(f"/boats/{KITTIWAKE}")) if tag[0] == "img"]
    pictures = [tag for tag in drawn if tag[1]["src"].endswith(".svg")]
    assert len(pictures) == len([f for one in job.assessed for f in one.finding.figures]) > 0
    for _, attributes in pictures:
        assert attributes["alt"]
        answer = manager.get(attributes["src"])
        assert answer.headers["content-type"].startswith("image/svg+xml")
        assert b"<svg" in answer.content


def test_the_history_of_a_value_keeps_what_was_replaced(pages: Pages, manager: Browser) -> None:
    path = f"/boats/{SALTGRASS}/jobs/saltgrass-2026-05/history?of=prop_check.full_throttle/speed/2"
    words = words_of(manager.text(path))
    assert "31.9 kn" in words
    assert "31.4 kn" in words
    assert words.count("disagrees") == 2
    assert manager.get(path + "/nothing").status_code == 404


@pytest.mark.parametrize("words", ["saltgrass", "marlow", "QQZ04417D626", "qqz-04417 d626", "E. Marlow Saltgrass"])
def test_a_boat_is_found_by_name_owner_and_hull_number_however_typed(manager: Browser, words: str) -> None:
    found = words_of(manager.client.get("/boats", params={"q": words}).text)
    assert "1 boat." in found
    assert SALTGRASS in found


def test_a_boat_is_found_by_its_propeller_and_by_the_day_it_was_worked_on(pages: Pages, manager: Browser) -> None:
    boat = pages.desk.summaries.of(SALTGRASS)
    assert boat is not None
    propeller = next(engine.propeller for engine in boat.boat.state.vessel()[0].engines if engine.propeller)
    found = words_of(manager.client.get("/boats", params={"q": f"pitch {propeller.pitch}"}).text)
    assert "Saltgrass" in found
    assert "Saltgrass" in words_of(manager.client.get("/boats", params={"day": "2026-05-14"}).text)
    assert "0 boats." in words_of(manager.client.get("/boats", params={"day": "2020-01-01"}).text)


def test_unknown_boats_jobs_and_figures_are_not_found(manager: Browser) -> None:
    for path in ("/boats/ABC00001A526", f"/boats/{SALTGRASS}/jobs/none/book.pdf", f"/boats/{SALTGRASS}/figures/x.svg"):
        answer = manager.get(path)
        assert answer.status_code == 404
        assert "<h1>Not found</h1>" in answer.text


def test_a_card_says_what_stands_and_is_found_by_what_stood() -> None:
    """Of what was taken back, its reason stood as the boat's name; of two values that disagree, one of them alone."""
    one, other = (Author(name, name) for name in ("tablet 8", "tablet 9"))
    held: dict[str, Entry] = {}

    def now() -> HullState:
        return replay(SALTGRASS, held.values())

    def keep(*entries: Entry) -> None:
        held.update((entry.id, entry) for entry in entries)

    def card() -> Card:
        return card_of(SALTGRASS, [entry.raw for entry in held.values()])

    pitch = RegisterKey("field", "", ("engines", "port", "propeller", "pitch"))
    for kind, subject, value in (
        ("field", ("name",), "Petrel"),
        ("field", pitch.subject, "19 in"),
        ("job", ("owner",), "B. Wren"),
    ):
        keep(one.write(now(), kind, subject, value, job="j1"))
    keep(retract(one, now(), pitch, "typed on the wrong boat"))
    keep(retract(one, now(), RegisterKey("field", "", ("name",)), "another boat's"))
    keep(one.write(now(), "job", ("owner",), "C. Tern", job="j1"))
    assert (card().name, card().owners, card().propellers) == ("", ("C. Tern",), ())
    assert all(Wanted.typed(words).fits(card()) for words in ("petrel", "wren", "tern"))
    before = now()
    keep(one.write(before, "field", pitch.subject, "21 in"), other.write(before, "field", pitch.subject, "17 in"))
    assert card().propellers == ("port: pitch 17 in or 21 in",)
    keep(settle(one, now(), pitch, "21 in", "read again"))
    assert card().propellers == ("port: pitch 21 in",)


def test_a_card_holds_what_a_boat_is_found_by() -> None:
    entries = [
        entry("field", ("name",), "Petrel"),
        entry("job", ("owner",), "B. Wren"),
        entry("field", ("engines", "port", "propeller", "pitch"), "19 in"),
        entry("measure", ("a", "b", "", ""), "1 V", at="2026-02-03T23:30:00-05:00"),
    ]
    told = [entry("field", ("engines", "port", "propeller", what), value)
            for what, value in (("blades", 3), ("later", "x"), ("cup", "light"), ("diameter", "15 in"))]  # fmt: skip
    said = ("port: 15 x 19 in, 3 blades, light cup, later x",)
    assert card_of(SALTGRASS, [one.raw for one in (*entries, *told)]).propellers == said, (
        "as a person tells a propeller"
    )
    another = [
        entry("field", ("propellers", "17 steel", "pitch"), "17 in"),
        entry("field", ("engines", "port", "fitted"), "17 steel"),
    ]
    assert card_of(SALTGRASS, [one.raw for one in (*entries, *another)]).propellers == (
        "port, as delivered: pitch 19 in",
        "propeller 17 steel, fitted: pitch 17 in",
    )
    card = card_of(SALTGRASS, [one.raw for one in entries])
    assert (card.name, card.owners, card.propellers) == ("Petrel", ("B. Wren",), ("port: pitch 19 in",))
    assert card.days == {"2026-11-25", "2026-02-03"}


def test_work_of_a_tablet_whose_clock_is_ahead_is_not_the_last_day_a_boat_was_worked_on(
    pages: Pages, manager: Browser
) -> None:
    put(pages, entry("field", ("name",), "Petrel", hull=MISTYPED, at="2027-12-14T11:00:00+00:00"))
    beam = entry("field", ("beam",), "8 ft", hull=MISTYPED)
    put(pages, beam)
    pages.desk.index.refresh()
    words = words_of(manager.text("/boats?q=petrel"))
    assert "25 November 2026 Some work has a day to come: a tablet's clock is ahead." in words
    assert "2027" not in words
    assert card_of(MISTYPED, [beam.raw.replace(b"2026-11-25", b"2026-99-99")]).days == set()
    assert "a day to come" not in words_of(manager.text("/boats?q=kittiwake"))


def test_a_boat_is_found_whose_delivery_was_noted_by_a_clock_that_was_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It came while the clock was a year ahead, which was then set back; or to another server, hours behind."""
    year = 365 * 24 * 60 * MINUTE
    times = [NOON + year]
    with contextlib.closing(EmbeddedStore(tmp_path)) as store:

        def comes(number: str, at: int) -> None:
            new = entry("field", ("name",), "Petrel", hull=number)
            store.put_if_absent({number: CheckedEntries({new.id: new.raw})}, "tablet 1", at, 0)

        index = Index(store, now=lambda: times[0])
        comes(SALTGRASS, NOON)
        index.refresh()
        comes(KITTIWAKE, NOON + year + MINUTE)
        times[0] = NOON
        index.refresh()
        assert {card.hull for card in index.search("petrel")} == {SALTGRASS, KITTIWAKE}
        comes(LONG_REACH, NOON - 60 * MINUTE)
        index.refresh()
        monkeypatch.setattr(index, "_looked_through", -LOOKED_THROUGH)
        times[0] += MINUTE
        index.refresh()
        assert len(index.search("petrel")) == 3


NUMBERS = st.text("O0I1QA2", min_size=4, max_size=5).map(lambda end: f"ABC0000{end}")


@settings(max_examples=examples(150), deadline=None)
@given(st.lists(st.one_of(NUMBERS, NUMBERS.map("US".__add__)), min_size=2, max_size=12, unique=True))
def test_look_alikes_found_among_many_are_those_the_rule_finds_one_by_one(numbers: list[str]) -> None:
    """Checked against `hull_number.look_alikes`, which compares a number with every other."""
    store = _Listing({hull_number.key(number): {} for number in numbers})
    index = Index(store, now=lambda: NOON)  # type: ignore[arg-type]
    index.refresh()
    for number in store.hulls:
        others = sorted(store.hulls.keys() - {number})
        assert set(index.look_alikes(number)) == set(hull_number.look_alikes(number, others))


class _Listing:
    """A store of hulls with one entry each."""

    def __init__(self, hulls: Mapping[str, object]) -> None:
        self.hulls = hulls

    def digests(self) -> Iterable[str]:
        return self.hulls

    def deliveries(self, first: int, last: int) -> Iterable[Delivery]:
        return ()

    def ids(self, hull: str) -> frozenset[str]:
        return frozenset([hull])

    def get(self, hull: str, ids: Iterable[str]) -> dict[str, bytes]:
        return {name: entry("field", ("name",), "x", hull=hull).raw for name in ids}


class Counting:
    """A store that counts which hulls are read."""

    def __init__(self, store: EmbeddedStore) -> None:
        self._store = store
        self.read: list[str] = []
        self.attachments, self.register = store.attachments, store.register

    def ids(self, hull: str) -> frozenset[str]:
        self.read.append(hull)
        return self._store.ids(hull)

    def get(self, hull: str, ids: Iterable[str]) -> CheckedEntries:
        self.read.append(hull)
        return self._store.get(hull, ids)

    def deliveries(self, first: int, last: int) -> Iterator[Delivery]:
        return self._store.deliveries(first, last)


def test_the_day_sheet_reads_only_the_boats_of_its_day_however_many_there_are(
    pages: Pages, plugins: PluginHost
) -> None:
    yesterday = NOON - 24 * 60 * 60 * 1000
    others = [f"XYZ{number:05}A626" for number in range(300)]
    for number in others:
        put(pages, entry("field", ("name",), f"Boat {number}", hull=number), at=yesterday)
    counting = Counting(pages.store)
    summaries = Summaries(counting, plugins)  # type: ignore[arg-type]
    index = Index(counting, now=lambda: NOON)  # type: ignore[arg-type]
    found = sheet.day_sheet(counting, summaries, index, date(2026, 11, 25), sheet.RECEIVED)  # type: ignore[arg-type]
    assert len(found.boats) == 4
    assert set(counting.read) == {SALTGRASS, KITTIWAKE, LONG_REACH, MISTYPED, SHOP_RECORD}


def test_a_day_with_very_many_boats_is_turned_over_page_by_page(pages: Pages, manager: Browser) -> None:
    hulls = [f"XYZ{number:05}A626" for number in range(sheet.MOST_BOATS)]
    for number in hulls:
        put(pages, entry("field", ("name",), f"Boat {number}", hull=number), at=NOON + MINUTE)
    shown = [
        [tag["id"] for _, tag in tags_in(manager.text(f"{TODAY}?page={page}")) if tag.get("class") == "boat"]
        for page in (1, 2)
    ]
    assert [len(ids) for ids in shown] == [sheet.MOST_BOATS, 4]
    assert set(shown[0]) == {f"boat-{hull}" for hull in hulls}
    assert not set(shown[0]) & set(shown[1])
    assert "Page 1 of 2" in words_of(manager.text(f"{TODAY}?page=0"))
    assert "Page 2 of 2" in words_of(manager.text(f"{TODAY}?page=99999"))
    assert "Page 1 of 2" in words_of(manager.text(f"{TODAY}?page=x"))


def test_what_was_not_judged_as_others_asked_is_judged_at_the_next_look(
    pages: Pages, plugins: PluginHost, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = pages.desk.summaries.of(SALTGRASS)
    assert whole is not None
    one = whole.jobs[0].assessed[0]
    busy = attrs.evolve(one, finding=attrs.evolve(one.finding, code=f"{one.calculator}.busy"))
    summaries = Summaries(pages.store, plugins)
    with monkeypatch.context() as patch:
        patch.setattr(PluginHost, "assess", lambda *_: (busy,))
        passing = summaries.of(SALTGRASS)
    assert passing is not None
    assert passing.is_passing
    after = summaries.of(SALTGRASS)
    assert after is not None
    assert (after.is_passing, len(after.jobs[0].assessed)) == (False, len(whole.jobs[0].assessed))
    assert summaries.of(SALTGRASS) is after


def test_a_full_disk_is_no_fault_of_a_recording_and_the_next_look_reads_it(
    pages: Pages, plugins: PluginHost, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept, "cannot be read" would stand on the page, the board and in the book until something new is entered."""
    whole = pages.desk.summaries.of(SALTGRASS)
    assert whole is not None
    assess, kept = PluginHost.assess, Summaries(pages.store, plugins)

    def full(*_: str) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(PluginHost, "assess", lambda *given: assess(*given))  # or an earlier test's would be found
        patch.setattr(summaries, "ScratchFolder", full)
        passing = kept.of(SALTGRASS)
    assert passing is not None
    assert passing.is_passing
    assert any("cannot be read now: no space" in str(one.finding.sentence) for one in passing.jobs[0].assessed)
    after = kept.of(SALTGRASS)
    assert after is not None
    assert (after.is_passing, after.jobs[0].counts) == (False, whole.jobs[0].counts)


def test_nobody_waits_long_for_a_boat_that_another_opens(pages: Pages, plugins: PluginHost) -> None:
    summaries = Summaries(pages.store, plugins)
    summaries.longest_wait = 0.01
    making = summaries._making[SALTGRASS] = threading.Lock()
    with making, ThreadPoolExecutor(1) as other:
        shown = other.submit(summaries.of, SALTGRASS).result(timeout=60)
    assert shown is not None
    assert summaries.of(SALTGRASS) is not shown


def test_pages_that_judge_leave_threads_for_signing_in_and_for_tablets(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert PAGES_AT_ONCE <= 20  # of 40, which anyio gives to all
    taken: list[int] = []
    monkeypatch.setattr(ShopDesk, "page_threads", lambda _: taken.append(1))
    for path, threads in (("/sign-in", 0), ("/", 1), ("/boats", 2), ("/v1/digests", 2)):
        manager.get(path)
        assert len(taken) == threads, path


def test_a_boat_is_assessed_again_only_when_an_entry_of_it_came(pages: Pages) -> None:
    before = pages.desk.summaries.of(SALTGRASS)
    assert pages.desk.summaries.of(SALTGRASS) is before
    put(pages, entry("measure", ("prop_check.full_throttle", "speed", "1", ""), "30.0 kn"))
    after = pages.desk.summaries.of(SALTGRASS)
    assert after is not None
    assert after is not before
    assert pages.desk.summaries.of(SALTGRASS) is after


def test_boats_are_kept_by_their_size_and_the_last_one_always(
    pages: Pages, plugins: PluginHost, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two hundred of any size were: with an hour recorded on each, that is gigabytes."""
    size = {hull: found.size for hull in (SALTGRASS, KITTIWAKE, LONG_REACH) if (found := pages.desk.summaries.of(hull))}
    make, made = summaries.make_summary, list[str]()

    def counted(store: Store, host: PluginHost, hull: str) -> BoatSummary:
        made.append(hull)
        return make(store, host, hull)

    monkeypatch.setattr(summaries, "make_summary", counted)
    room_for_two = Summaries(pages.store, plugins, most_bytes=sum(size.values()) - 1)
    for hull in (SALTGRASS, KITTIWAKE, SALTGRASS, LONG_REACH, SALTGRASS, LONG_REACH, KITTIWAKE):
        room_for_two.of(hull)
    assert made == [SALTGRASS, KITTIWAKE, LONG_REACH, KITTIWAKE]
    made.clear()
    room_for_none = Summaries(pages.store, plugins, most_bytes=0)
    assert room_for_none.of(KITTIWAKE) is room_for_none.of(KITTIWAKE)
    assert made == [KITTIWAKE]


def test_the_size_of_a_boat_counts_its_entries_and_the_samples_it_holds(pages: Pages) -> None:
    whole = pages.desk.summaries.of(KITTIWAKE)
    assert whole is not None
    samples = 0
    for name in whole.files:
        with contextlib.suppress(InputError):  # a photo
            recording, _ = load_recording(pages.store.hulls.attachments.folder / name)
            samples += sum(len(stream) for stream in recording.streams.values())
    assert samples > 1000
    assert whole.size == summaries.AN_ENTRY * len(whole.entries) + summaries.A_SAMPLE * samples


def test_a_recording_that_comes_later_is_used_when_it_is_there(pages: Pages) -> None:
    held = pages.store.hulls.attachments
    moved = {name: held.get(name) for name in held.names()}
    for name in moved:
        (held.folder / name).unlink()
    without = pages.desk.summaries.of(KITTIWAKE)
    assert without is not None
    assert without.lacking <= moved.keys()
    assert without.lacking
    for content in moved.values():
        held.put(content)
    complete = pages.desk.summaries.of(KITTIWAKE)
    assert complete is not None
    assert not complete.lacking
    assert len(complete.figures) > len(without.figures)


def test_boats_that_came_lately_are_ready_before_anyone_asks(pages: Pages) -> None:
    asked: list[str] = []
    Index(pages.store, asked.append, lambda: NOON).refresh()
    assert set(asked) == {SALTGRASS, KITTIWAKE, LONG_REACH, MISTYPED}
    asked.clear()
    Index(pages.store, asked.append, lambda: NOON + 2 * 24 * 60 * MINUTE).refresh()
    assert asked == []


def test_the_index_learns_of_new_boats_from_what_was_delivered(pages: Pages, manager: Browser) -> None:
    assert "0 boats." in words_of(manager.text("/boats?q=petrel"))
    put(pages, entry("field", ("name",), "Petrel", hull="XYZ00001A626"))
    pages.desk.index.refresh()
    assert "1 boat." in words_of(manager.text("/boats?q=petrel"))


def test_who_is_signed_in_stands_on_the_page(manager: Browser) -> None:
    assert f"{CHIEF}, manager" in words_of(manager.text(TODAY))
