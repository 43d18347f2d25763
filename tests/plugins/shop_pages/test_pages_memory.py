"""The shop's memory on the pages: rows of the boats there are, what boats alike kept, and how forecasts did."""

from __future__ import annotations

import re

import attrs
import pytest

from boat_rows import rows
from garboard.disk.clock import Stamp
from garboard.disk.entries import SHOP_RECORD, make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.findings import Number, Verdict
from garboard.history.authoring import Author, move_job, same_boat
from garboard.history.authority import ON_THE_PAGE
from garboard.history.boats_alike import REGISTER, kinds_in
from garboard.history.plans import SetAside
from garboard.history.setting_entries import set_setting
from garboard_shop.boat_rows import ECONOMY, Row
from garboard_shop.embedded import ROWS_FILE, SHOP_FOLDER
from garboard_shop.memory import FEWEST, kinds_of, of_text, of_vessel, row_of
from garboard_shop.pages.authors import author_after
from garboard_shop.pages.remembering import A_WEEK, Remembering, judging
from garboard_shop.pages.settings import record_of
from garboard_shop.pages.summaries import BoatSummary, JobSummary, Summaries, open_boat
from garboard_shop.store import KeptRow
from pages_rig import CHIEF, HAND, KITTIWAKE, LONG_REACH, MISTYPED, NOON, SALTGRASS, Pages, words_of

BELOW = "prop_check.window.below"
NEW, AT = "QQZ05555A626", "2026-11-25T10:00:00+00:00"


def test_every_boat_gets_its_row_and_another_only_when_it_changed(pages: Pages) -> None:
    """Made of what is judged; kept beside the store; nothing of an owner is in it."""
    remembering, store = pages.desk.remembering, pages.store
    boats = len(pages.desk.index.boats())
    assert remembering.behind() == remembering.bring_up_to_date() == boats > 2
    assert (remembering.behind(), remembering.bring_up_to_date()) == (0, 0)
    kept = {hull: of_text(one.text) for hull, one in store.rows().items()}
    row = kept[SALTGRASS]
    assert row is not None
    summary = pages.desk.summaries.of(SALTGRASS)
    assert summary is not None
    assert (row.pitch, row.diameter, row.engines) == (19, 14.5, 1)
    assert row.engine_speed > 4000
    assert not row.is_kept, "its engine is below its window"
    assert "prop_check.window.below" in row.codes
    owners = {job.view.job.owner for job in summary.jobs} - {""}
    assert owners
    owners |= {one.name for job in summary.jobs for one in job.view.sign_offs if one.role == "owner"}
    assert not [one for one in owners for text in store.rows().values() if one in text.text]
    assert [(one.state, one.phase, one.more) for one in row.jobs] == [("to settle", "under way", 0)]
    assert "prop_check.window.below" in row.jobs[0].ever_failed


def test_a_mistake_of_the_program_over_one_boat_costs_its_own_row(pages: Pages) -> None:
    """The first of all boats: every other one would have been kept from its row, for ever."""
    remembering = pages.desk.remembering
    first, summary_of = min(card.hull for card in pages.desk.index.search("")), remembering._summary

    def broken(hull: str) -> BoatSummary | None:
        if hull == first:
            raise RuntimeError("a mistake")
        return summary_of(hull)

    remembering._summary = broken
    boats = len(pages.desk.index.boats())
    assert remembering.bring_up_to_date() == boats - 1
    assert remembering.behind() == 1


def test_a_boat_with_two_numbers_has_one_row(pages: Pages) -> None:
    """Whichever of them something is entered under, before or after they were said to be one."""
    remembering = pages.desk.remembering
    boats = remembering.bring_up_to_date()
    one, other = (open_boat(pages.store, hull)[0].state for hull in (LONG_REACH, MISTYPED))
    pages.store.put_if_absent(
        {
            half.hull_key: CheckedEntries({half.id: half.raw})
            for half in same_boat(Author("m", "M"), one, other, "typo")
        },
        "000000000001",
        NOON,
        0,
    )
    remembering.bring_up_to_date()
    assert len(remembering.memory) == boats - 1
    again = Remembering(pages.store, pages.desk.summaries.of)
    again.bring_up_to_date()
    assert len(again.memory) == boats - 1


def test_a_row_is_made_again_once_the_recordings_are_here(pages: Pages) -> None:
    """A tablet's entries come before its files: a row made between the two says nothing was run."""
    files = [path for path in pages.store.hulls.folder.rglob("*") if path.is_file() and "attachments" in path.parts]
    held = {path: path.read_bytes() for path in files}
    assert held
    for path in held:
        path.unlink()
    remembering = Remembering(pages.store, Summaries(pages.store, pages.desk.host).of)
    remembering.bring_up_to_date()
    before = remembering.memory.rows()
    for path, content in held.items():
        path.write_bytes(content)
    assert remembering.bring_up_to_date() > 0
    assert remembering.memory.rows() != before
    assert (remembering.behind(), remembering.bring_up_to_date()) == (0, 0)


def test_a_row_is_made_again_after_a_change_of_what_judges(pages: Pages) -> None:
    """A setting of the shop's, or another plugin; not what tablets are told each week, nor after a mere restart."""
    store = pages.store

    remembering = Remembering(store, pages.desk.summaries.of, "")
    boats = remembering.bring_up_to_date()
    again = Remembering(store, pages.desk.summaries.of, "")
    assert (len(again.memory), again.behind()) == (boats, 0)
    like = attrs.evolve(next(iter(rows(1))), is_kept=True)
    for number in range(FEWEST):
        again.memory.take(attrs.evolve(like, hull=f"A{number}"))
    assert again.tell_tablets(NOON)
    assert (remembering.behind(), again.behind()) == (0, 0)
    other = Remembering(store, pages.desk.summaries.of, "prop_check 99")
    assert (len(other.memory), other.behind()) == (boats, boats)
    state = record_of(store)
    entry = set_setting(author_after(state, HAND), state, "prop_check.aim_in_window", "40 %", "as we like it")
    store.put_if_absent({SHOP_RECORD: CheckedEntries([(entry.id, entry.raw)])}, ON_THE_PAGE, NOON, 0)
    assert remembering.behind() == boats
    assert remembering.bring_up_to_date() == boats
    assert remembering.behind() == 0


def test_a_row_is_made_again_where_the_boat_changes_that_a_job_came_from(pages: Pages) -> None:
    """A tablet that does not know of the move writes under the old number; the run is shown on the new boat."""
    store, remembering = pages.store, pages.desk.remembering
    old, new = (open_boat(store, hull)[0].state for hull in (SALTGRASS, LONG_REACH))
    job = open_boat(store, SALTGRASS)[0].jobs[0]
    author = Author("t9", "Robin")
    for half in move_job(author, old, new, job, "typed wrongly"):
        store.put_if_absent({half.hull_key: CheckedEntries({half.id: half.raw})}, "000000000001", NOON, 0)
    remembering.bring_up_to_date()
    more = author.write(old, "note", ("n1",), {"text": "seen again"}, job=job)
    store.put_if_absent({more.hull_key: CheckedEntries({more.id: more.raw})}, "000000000001", NOON, 0)
    assert remembering.behind() == 2, "the boat it was written under, and the boat it is shown on"
    assert remembering.bring_up_to_date() == 2
    assert remembering.behind() == 0


def test_damaged_rows_are_told_and_made_anew(pages: Pages, caplog: pytest.LogCaptureFixture) -> None:
    """Of another type, under another boat's number, cut off, or of a boat nobody has."""
    store, remembering = pages.store, pages.desk.remembering
    boats = remembering.bring_up_to_date()
    good = store.rows()
    one, other, third = sorted(good)[:3]
    store.put_rows(
        {
            one: KeptRow(good[one].digest, re.sub('"is_kept":[a-z]+', '"is_kept":"no"', good[one].text)),
            other: good[third],
            "QQZ00009A626": KeptRow(good[one].digest, good[one].text.replace(one, "QQZ00009A626")),
        }
    )
    path = pages.store.hulls.folder / SHOP_FOLDER / ROWS_FILE
    path.write_bytes(path.read_bytes() + b'{"hull":"' + third.encode() + b'","digest":3,"row":{}}\n{"hull":')
    again = Remembering(store, pages.desk.summaries.of, judging(pages.desk.host, store), lambda: pages.at)
    assert len(again.memory) == boats - 2
    told = " ".join(record.getMessage() for record in caplog.records)
    assert f"the row of {one} " in told
    assert f"the row of {other} " in told
    assert "2 damaged lines" in told
    assert again.bring_up_to_date() == 2
    assert again.memory.rows() == remembering.memory.rows()


def test_a_boats_row_is_of_the_job_it_was_run_in_last(pages: Pages) -> None:
    """A propeller kept last year on a run of then, and too slow this year: what it turned is what it turns now."""
    summary = pages.desk.summaries.of(SALTGRASS)
    assert summary is not None
    job = next(one for one in summary.jobs if any(each.finding.code == BELOW for each in one.assessed))

    def opened(day: str, turned: float, verdict: Verdict) -> JobSummary:
        number = Number("engine speed", turned, "rev/min")
        found = tuple(
            attrs.evolve(one, finding=attrs.evolve(one.finding, verdict=verdict, numbers=(number,), limits=()))
            for one in job.assessed
            if one.finding.code == BELOW
        )
        view = attrs.evolve(job.view, job=attrs.evolve(job.view.job, opened=day))
        return attrs.evolve(job, view=view, assessed=found, judged=found)

    first, second = opened("2025-05-01", 5600.0, Verdict.PASS), opened("2026-05-01", 5100.0, Verdict.FAIL)
    unrun = attrs.evolve(opened("2026-06-01", 0.0, Verdict.PASS), assessed=(), judged=())
    for jobs in ((first, second, unrun), (second, unrun, first)):
        row = row_of(attrs.evolve(summary, jobs=jobs))
        assert (row.engine_speed, row.is_kept) == (5100.0, False)


def test_numbers_of_a_job_set_aside_are_not_counted(pages: Pages) -> None:
    """Insight counted two jobs, and drew three boats: the third was withdrawn."""
    summary = pages.desk.summaries.of(SALTGRASS)
    assert summary is not None
    aside = SetAside(by=CHIEF, at="", reason="sold unrigged", came=0, holds=True)
    assert {one.what for one in row_of(summary).seen} == {ECONOMY}
    for holds in (True, False):
        jobs = tuple(attrs.evolve(job, aside=attrs.evolve(aside, holds=holds)) for job in summary.jobs)
        assert bool(row_of(attrs.evolve(summary, jobs=jobs)).seen) is not holds


def test_before_the_first_run_a_boats_page_says_what_boats_alike_kept(pages: Pages) -> None:
    """Of one that was run it is said until it keeps its own propeller."""
    facts = {
        ("hull_form",): "planing",
        ("length",): "19.5 ft",
        ("engines", "centre", "rated_power"): "150 hp",
        ("engines", "centre", "propeller", "pitch"): "19 in",
    }
    entries = [
        make_entry("field", NEW, dev="t", by="R. Vane", clock=Stamp(NOON, number), at=AT, subject=path, value=value)
        for number, (path, value) in enumerate(facts.items())
    ]
    pages.store.put_if_absent({NEW: CheckedEntries((one.id, one.raw) for one in entries)}, "000000000001", NOON, 0)
    browser, memory = pages.signed_in(HAND), pages.desk.remembering.memory
    for hull in (SALTGRASS, KITTIWAKE, NEW):
        summary = pages.desk.summaries.of(hull)
        assert summary is not None
        like = of_vessel(hull, summary.boat.vessel())
        for number in range(6):
            memory.take(attrs.evolve(like, hull=f"{hull}{number}", pitch=16.0 + number % 2, is_kept=True))
    assert "What boats like this one kept" not in words_of(browser.text(f"/boats/{KITTIWAKE}"))
    labouring = words_of(browser.text(f"/boats/{SALTGRASS}"))
    assert "This boat was run and does not keep its own propeller yet." in labouring
    told = words_of(browser.text(f"/boats/{NEW}"))
    assert "What boats like this one kept" in told
    assert "boats of its kind, size and power kept a pitch of 16.5 in , 8 of 10 of them 16.0 to 17.0 in" in told


def test_the_score_stands_on_its_page_from_twenty_forecasts_on(pages: Pages) -> None:
    browser, remembering = pages.signed_in(HAND), pages.desk.remembering
    assert "No forecast was put to the test yet" in words_of(browser.text("/memory"))
    row = Row(hull="QQZ00001A626")
    for forecasts, held, said in (
        (19, 19, "19 forecasts put to the test. From 20 on this page says how many held."),
        (20, 17, "17 of 20 forecasts held."),
        (20, 16, "The intervals are too narrow for this shop's boats."),
    ):
        remembering.memory.take(attrs.evolve(row, forecasts=forecasts, held=held))
        shown = words_of(browser.text("/memory"))
        assert said in shown
        assert ("too narrow" in shown) == (held == 16)


def test_tablets_are_told_once_a_week_what_boats_of_each_kind_kept(pages: Pages) -> None:
    """In the shop's record, which comes to every tablet; nothing where nothing changed."""
    remembering, store = pages.desk.remembering, pages.store
    assert not remembering.tell_tablets(NOON), "too few boats"
    for row in rows(600):
        remembering.memory.take(row)
    assert remembering.tell_tablets(NOON)
    told = kinds_in(record_of(store))
    assert len(told) > 5
    assert told == kinds_of(remembering.memory.rows())
    assert all(one.boats >= FEWEST and one.low <= one.pitch <= one.high for one in told)
    clock = max(one.clock.milliseconds for one in record_of(store).current(REGISTER))
    for row in rows(40, seed=2):
        remembering.memory.take(attrs.evolve(row, hull=f"NEW{row.hull}"))
    assert not remembering.tell_tablets(clock + A_WEEK - 1)
    assert remembering.tell_tablets(clock + A_WEEK)
    assert kinds_in(record_of(store)) == kinds_of(remembering.memory.rows()) != told
    assert not remembering.tell_tablets(clock + 9 * A_WEEK), "nothing changed"
