"""The board's page: what it lists, what stands behind each number, and what a manager plans on it."""

from __future__ import annotations

import html
import re
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from boat_rows import jobs
from garboard.disk.entries import PLAN
from garboard.disk.hullfile import CheckedEntries, PutResult
from garboard.disk.storage import NotSaved
from garboard.history.authoring import Author, measure
from garboard.history.plans import plan_of
from garboard.history.replay import HullState, replay
from garboard.hosting.host import PluginHost
from garboard_shop.board import Asked, Board
from garboard_shop.pages.board import asked_in_words, days_silent
from garboard_shop.pages.index import Index
from garboard_shop.pages.remembering import LONG_AGO, Progress, Remembering
from garboard_shop.pages.summaries import BoatSummary
from garboard_shop.pages.wording import second_of
from garboard_shop.store import TECHNICIAN, Tablet
from pages_rig import (
    CHIEF,
    HAND,
    KITTIWAKE,
    LONG_REACH,
    MINUTE,
    NOON,
    SALTGRASS,
    Browser,
    Pages,
    fields_of,
    form_to,
    forms_in,
    tags_in,
    words_of,
)

JOB = "saltgrass-2026-05"
STEP = "prop_check.full_throttle"
PLANNING = f"/boats/{SALTGRASS}/plan"
TODAY = "/days/2026-11-25"


@pytest.fixture(scope="module")
def judged_day(delivered_day: Path, plugins: PluginHost, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The day with the rows of its boats made, once for all."""
    folder = tmp_path_factory.mktemp("judged") / "shop"
    shutil.copytree(delivered_day, folder)
    with Pages(folder, plugins) as pages:
        pages.desk.remembering.bring_up_to_date()
    return folder


@pytest.fixture
def pages(judged_day: Path, plugins: PluginHost, tmp_path: Path) -> Iterator[Pages]:
    folder = tmp_path / "shop"
    shutil.copytree(judged_day, folder)
    with Pages(folder, plugins) as found:
        yield found


@pytest.fixture
def board(pages: Pages) -> Board:
    """The rows of the day's boats, read."""
    assert pages.desk.remembering.memory.jobs()
    found = pages.desk.remembering.board
    assert found is not None
    return found


def listed(page: str) -> list[str]:
    """The boats of a list, in order."""
    return [tag["href"].removeprefix("/boats/") for name, tag in tags_in(page) if name == "a" and "data-row" in tag]


def test_each_job_stands_on_the_board_with_one_link_and_each_number_opens_its_list(
    board: Board, manager: Browser
) -> None:
    page = manager.text("/board")
    assert listed(page)[:2] == [SALTGRASS, LONG_REACH], "to settle before failing"
    assert "1 to 4 of 4" in words_of(page)
    assert page.count("<a data-row") == page.count('<tr role="row">') - 1 == len(board)
    for state, count in (("to settle", 1), ("failing", 1), ("ready", 0)):
        address = f"/board?state={state.replace(' ', '+')}"
        assert f'<a href="{address}"><b>{count}</b> <span>{state}' in page
        assert len(listed(manager.text(address))) == count
    assert "31.9 kn or 31.4 kn" in words_of(page)
    assert "Stale: owner" in words_of(page)
    assert '<a href="/board" aria-current="page">Board</a>' in page


def test_a_facet_opens_as_many_jobs_as_it_counts_whatever_somebody_is_called(pages: Pages, manager: Browser) -> None:
    state = replay(SALTGRASS, pages.store.hulls.entries(SALTGRASS))
    author = Author("000000000001", f"\tN.  Sorrel {'x' * 200}\n")
    again = measure(author, state, JOB, STEP, "speed", "31 kn", row="2")
    offered = {SALTGRASS: CheckedEntries({again.id: again.raw})}
    assert not pages.store.put_if_absent(offered, "000000000001", NOON, 0).refused
    pages.desk.remembering.bring_up_to_date()
    links = re.findall(
        r'<a href="(/board[?]technician=[^"]*Sorrel[^"]*)"><span>[^<]*</span><b>1</b>', manager.text("/board")
    )
    assert [listed(manager.text(html.unescape(one))) for one in links] == [[SALTGRASS]]


def test_what_a_person_searches_for_is_found_also_by_the_owners_reference(board: Board, manager: Browser) -> None:
    assert listed(manager.text("/board?q=marlow")) == [SALTGRASS]
    assert listed(manager.text("/board?q=kitiwake")) == [KITTIWAKE]
    assert "Searched for kittiwake instead" in words_of(manager.text("/board?q=kitiwake"))
    assert listed(manager.text("/board?failing=prop_check.window.below")) == [SALTGRASS]
    assert "No job fits all of this" in words_of(manager.text("/board?q=nobody%3Cb%3E"))


def test_owners_are_known_to_the_search_once_all_boats_are_read(pages: Pages, manager: Browser) -> None:
    pages.desk.index = Index(pages.store, now=lambda: pages.at)
    assert listed(manager.text("/board?q=marlow")) == []
    pages.desk.remembering.learn_owners()
    assert listed(manager.text("/board?q=marlow")) == []
    pages.desk.index.refresh()
    pages.desk.remembering.learn_owners()
    assert listed(manager.text("/board?q=marlow")) == [SALTGRASS]


def test_how_far_the_rows_are_is_told_while_they_are_made_anew(pages: Pages) -> None:
    seen: list[Progress] = []

    def summary(hull: str) -> BoatSummary | None:
        seen.append(remembering.progress)
        return pages.desk.summaries.of(hull)

    remembering = Remembering(pages.store, summary, "another plugin", lambda: pages.at)
    before = remembering.memory.jobs()
    assert [(one.made, one.of) for one in seen] == []
    made = remembering.bring_up_to_date()
    assert [(one.made, one.of) for one in seen] == [(number, made) for number in range(made)]
    assert remembering.progress == Progress(is_read=True)
    assert remembering.memory.jobs() == before, "since when, and what ever failed, outlives it"


def test_the_board_says_of_what_time_it_is_and_when_it_is_long_ago(
    pages: Pages, board: Board, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    pages.desk.remembering.bring_up_to_date()
    as_of = f"As of {second_of(NOON)}."
    pages.at += 9_000
    assert as_of in words_of(manager.text("/board"))
    pages.desk.remembering.bring_up_to_date()
    assert f"As of {second_of(NOON + 9_000)}." in words_of(manager.text("/board"))
    pages.at += LONG_AGO + 1

    def full(*_: object) -> None:
        raise NotSaved("the disk is full")

    monkeypatch.setattr(pages.store, "put_rows", full)
    pages.desk.remembering._made.clear()
    with pytest.raises(NotSaved):
        pages.desk.remembering.bring_up_to_date()
    for path in ("/board", "/insight", "/memory"):
        assert "What came since is not on it" in words_of(manager.text(path))
    late = words_of(manager.text("/board"))
    assert f"As of {second_of(NOON + 9_000)}." in late


def test_a_manager_plans_a_job_and_everybody_sees_who_said_it(pages: Pages, board: Board, manager: Browser) -> None:
    form = form_to(manager.text(f"{PLANNING}?job={JOB}"), PLANNING)
    fields = {"assigned": "T. Quill", "promised": "2026-11-20", "waiting_for": "parts", "comment": "<b>ordered</b>"}
    before = pages.entries()
    manager.send(form, **fields)
    assert pages.entries() == before + 4
    said = replay(SALTGRASS, pages.store.hulls.entries(SALTGRASS))
    assert {entry.by for key in said.registers if key.kind == PLAN for entry in said.current(key)} == {CHIEF}

    def shown() -> str:
        page = manager.text("/board?waiting=parts")
        assert listed(page) == [SALTGRASS]
        return words_of(page)

    assert "0 of 1 boat judged anew" in shown(), "insight and what changed wait for its row"
    for words in (shown(), (pages.desk.remembering.bring_up_to_date(), shown())[1]):
        assert "T. Quill" in words
        assert "5 d late" in words
        assert f"“<b>ordered</b>” {CHIEF}" in words, 'no "has signed M. Office: ordered"'
    told = words_of(pages.signed_in(HAND).text(f"{PLANNING}?job={JOB}"))
    assert f"{CHIEF}: waiting for parts" in told
    assert f"{CHIEF}: promised 20 November 2026" in told
    assert f"Promised: 20 November 2026, by {CHIEF}" in words_of(manager.text(f"/boats/{SALTGRASS}"))
    assert "Keep" not in told
    manager.send(form_to(manager.text(f"{PLANNING}?job={JOB}"), PLANNING), waiting_for="", assigned="")
    assert plan_of(replay(SALTGRASS, pages.store.hulls.entries(SALTGRASS)), (JOB,)).assigned == ""
    assert listed(manager.text("/board?waiting=parts")) == []


def test_a_form_that_was_open_meanwhile_takes_nothing_back_that_another_planned(
    pages: Pages, board: Board, manager: Browser
) -> None:
    form = form_to(manager.text(f"{PLANNING}?job={JOB}"), PLANNING)
    manager.send(form, promised="2026-12-24")
    manager.send(form, comment="ordered")

    def kept() -> str:
        return plan_of(replay(SALTGRASS, pages.store.hulls.entries(SALTGRASS)), (JOB,)).promised

    assert kept() == "2026-12-24", "the form showed none, and nobody took it back"
    refused = manager.send(form, promised="2026-12-31")
    assert (refused.status_code, kept()) == (409, "2026-12-24")
    assert "The promised day was set to 2026-12-24 after you opened the form." in words_of(refused.text)


def test_a_full_disk_keeps_a_jobs_plan_whole_and_says_how_many_jobs_have_theirs(
    pages: Pages, board: Board, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    true, puts = pages.store.put_if_absent, []

    def full_at_the_second(*arguments: Any) -> PutResult:
        puts.append(1)
        if len(puts) == 2:
            raise NotSaved("the disk is full")
        return true(*arguments)

    monkeypatch.setattr(pages.store, "put_if_absent", full_at_the_second)
    form = form_to(manager.text(f"{PLANNING}?job={JOB}"), PLANNING)
    assert manager.send(form, promised="2026-12-24", comment="ordered", assigned="R. Vane").status_code == 303
    assert len(puts) == 1, "all of it, or nothing"
    puts.clear()
    ticks = form_to(manager.text("/board?change=1"), "/board/several")
    refused = manager.send(ticks, promised="2026-12-31")
    assert refused.status_code == 507
    assert f"Of {len(board)} ticked jobs 1 changed, the rest was not saved" in words_of(refused.text)


def test_a_technician_plans_nothing(pages: Pages, board: Board) -> None:
    hand, before = pages.signed_in(HAND), pages.entries()
    fields = {"csrf": hand.csrf(), "job": JOB, "assigned": HAND, "pick1": f"{SALTGRASS} {JOB}"}
    assert [hand.post(path, fields).status_code for path in (PLANNING, "/board/several")] == [403, 403]
    assert pages.entries() == before
    assert "Change several" not in hand.text("/board?change=1")


def test_several_jobs_are_changed_at_once_and_what_was_left_empty_stays(
    pages: Pages, board: Board, manager: Browser
) -> None:
    form = form_to(manager.text("/board?change=1"), "/board/several")
    ticks = {name: value for name, value in fields_of(form).items() if name.startswith("pick")}
    assert len(ticks) == len(board)
    two = {name: value for name, value in ticks.items() if value.startswith((SALTGRASS, KITTIWAKE))}
    hidden = {name: fields_of(form)[name] for name in ("csrf", "back")}
    manager.post(form.action, {**hidden, **two, "promised": "2026-11-27", "assigned": "", "waiting_for": ""})
    assert sorted(listed(manager.text("/board?view=due"))) == sorted([SALTGRASS, KITTIWAKE])
    manager.post(form.action, {**hidden, **two, "take_back": "promised"})
    assert listed(manager.text("/board?view=due")) == []
    for lacking in ({**two}, {"promised": "2026-11-27"}):
        before = pages.entries()
        manager.post(form.action, {**hidden, **lacking})
        assert pages.entries() == before
        assert "Nothing was changed" in words_of(manager.text("/board"))
    assert (
        manager.post(form.action, {**hidden, "pick1": f"{SALTGRASS} other", "promised": "2026-11-27"}).status_code
        == 404
    )
    assert manager.post(form.action, {**hidden, **two, "promised": "soon"}).status_code == 400


def test_what_changed_since_somebody_looked_is_gone_once_they_say_so(
    pages: Pages, board: Board, manager: Browser
) -> None:
    page = manager.text("/board?view=changed")
    assert len(listed(page)) == len(board)
    manager.send(form_to(page, "/board/looked"))
    assert listed(manager.text("/board?view=changed")) == []
    pages.at = NOON + 60_000
    manager.send(form_to(manager.text(f"{PLANNING}?job={JOB}"), PLANNING), promised="2026-12-24")
    shown = manager.text("/board?view=changed")
    pages.at += 1
    pages.desk.remembering.bring_up_to_date()
    manager.send(form_to(shown, "/board/looked"))  # of a page made before the row said it
    assert listed(manager.text("/board?view=changed")) == [SALTGRASS]
    manager.send(form_to(manager.text("/board?view=changed"), "/board/looked"))
    assert listed(manager.text("/board?view=changed")) == []


def test_a_managers_signature_and_what_makes_it_stale_stand_on_board_and_sheet(
    pages: Pages, board: Board, manager: Browser
) -> None:
    boat, day = f"/boats/{KITTIWAKE}", "/days/2026-11-25"
    assert manager.send(form_to(manager.text(boat), f"{boat}/sign")).status_code == 303
    pages.desk.remembering.bring_up_to_date()
    (row,) = board.jobs_of(KITTIWAKE)
    assert row.is_managers
    assert "Manager signed." in words_of(manager.text("/board?view=all&q=kittiwake"))
    assert f"signed {CHIEF} , manager" in words_of(manager.text(day))
    assert f"manager {CHIEF}" not in row.stale

    late = measure(Author("tablet 1", "R. Vane"), HullState(KITTIWAKE), row.job, STEP, "speed", "31.0 kn", row="9")
    pages.store.put_if_absent({KITTIWAKE: CheckedEntries({late.id: late.raw})}, "000000000001", NOON, 0)
    pages.desk.remembering.bring_up_to_date()
    page = manager.text("/board?view=stale")
    assert KITTIWAKE in listed(page)
    assert f"manager {CHIEF}" in board.jobs_of(KITTIWAKE)[0].stale
    assert "Manager signed." not in words_of(manager.text("/board?view=all&q=kittiwake"))
    assert f"stale {CHIEF} , manager" in words_of(manager.text(day))


def test_an_empty_list_says_what_is_good_about_it(pages: Pages, board: Board, manager: Browser) -> None:
    row = board.jobs_of(SALTGRASS)[0]
    board.take(SALTGRASS, [attrs.evolve(row, state="failing", settled=NOON - 5 * 86_400_000, settled_by="M. Office")])
    words = words_of(manager.text("/board?state=to+settle"))
    assert "Nothing to settle. The last was settled on Friday by M. Office." in words
    assert "Nothing is stuck." in words_of(manager.text("/board?view=stuck"))
    board.take(SALTGRASS, [attrs.evolve(row, since=NOON - 15 * 86_400_000)])
    assert listed(manager.text("/board?view=stuck")) == [SALTGRASS]
    for setting, count in (("16", 0), ("3", 1)):
        path = "/settings/shop.stuck_days"
        form = next(one for one in forms_in(manager.text(path)) if fields_of(one).get("value") is not None)
        manager.post(f"{path}/set", {**fields_of(form), "value": setting, "reason": "as we work"})
        assert pages.desk.remembering.bring_up_to_date() == 0, "no boat is judged anew for it"
        page = manager.text("/board?view=stuck")
        assert (len(listed(page)), f"Stuck over {setting} days" in words_of(page)) == (count, True)


def test_what_is_asked_is_told_in_words_and_not_as_the_address_has_it(plugins: PluginHost) -> None:
    asked = Asked(view="all", failed="wiring_audit.labels.unlabelled", handed="2026-05-04+7", known="2026-02")
    told = asked_in_words(asked, 14, plugins)
    assert told == (
        "Jobs of any state, failing now or before (Labels: unlabelled), handed over from 4 May 2026 to 10 May 2026, "
        "first ashore in February 2026; most urgent first."
    )


def test_settling_on_the_page_is_what_the_empty_list_tells(pages: Pages, board: Board, manager: Browser) -> None:
    form = form_to(manager.text(f"/boats/{SALTGRASS}"), f"/boats/{SALTGRASS}/choose")
    value = next(one["value"] for one in form.inputs if one.get("type") == "radio")
    assert manager.send(form, value=value, reason="read at the plotter").status_code == 303
    assert "0 of 1 boat judged anew" in words_of(manager.text("/board")), "its row is still as it was"
    pages.desk.remembering.bring_up_to_date()
    assert "judged anew" not in words_of(manager.text("/board"))
    assert f"by {CHIEF}." in words_of(manager.text("/board?state=to+settle"))
    assert board.jobs_of(SALTGRASS)[0].state != "to settle"


def test_ten_thousand_jobs_are_turned_over_fifty_at_a_time(pages: Pages, board: Board, manager: Browser) -> None:
    pages.desk.remembering._board = Board(jobs(10_312))
    first = manager.text("/board?view=all&sort=boat")
    assert "1 to 50 of 10 312" in words_of(first)
    assert len(listed(first)) == 50
    following = next(tag["href"] for name, tag in tags_in(first) if name == "a" and tag.get("rel") == "next")
    second = manager.text(following)
    assert "51 to 100 of 10 312" in words_of(second)
    assert not {*listed(first)} & {*listed(second)}
    assert "10 301 to 10 312 of 10 312" in words_of(manager.text("/board?view=all&page=99999"))
    assert re.search(r"\b(\d+) % right the first time, of (\d+) jobs in 8 weeks", words_of(first))


def test_until_the_rows_are_read_the_board_says_so_and_how_far_it_is(pages: Pages, manager: Browser) -> None:
    remembering = pages.desk.remembering
    remembering._thread = threading.Thread()  # as of a server just started
    assert "still reads the board" in words_of(manager.text("/board"))
    remembering._thread = None
    assert "judged anew" not in words_of(manager.text("/board"))
    remembering.progress = Progress(3, 20)
    assert "3 of 20 boats judged anew" in words_of(manager.text("/memory"))
    assert "3 of 20 boats judged anew" in words_of(manager.text("/board"))


def test_a_manager_sets_a_job_aside_and_a_tablet_that_brings_something_shows_it_again(
    pages: Pages, board: Board, manager: Browser
) -> None:
    """By page, with who and why; a technician reads it. The day sheet counts it nowhere."""
    assert listed(manager.text("/board?state=to+settle")) == [SALTGRASS]
    aside, up = f"/boats/{SALTGRASS}/set-aside", f"/boats/{SALTGRASS}/take-up"
    before = pages.entries()
    manager.send(form_to(manager.text(f"{PLANNING}?job={JOB}"), aside), reason="sold unrigged")
    assert pages.entries() == before + 1

    def open_and_aside() -> tuple[bool, bool]:
        pages.desk.remembering.bring_up_to_date()
        own = listed(manager.text("/board?view=all&state=set+aside"))
        return SALTGRASS in listed(manager.text("/board")), SALTGRASS in own

    told = f"Set aside by {CHIEF}: sold unrigged."
    assert open_and_aside() == (False, True)
    for path in ("/board?view=all&state=set+aside", f"/boats/{SALTGRASS}", TODAY, f"{PLANNING}?job={JOB}"):
        assert told in words_of(pages.signed_in(HAND).text(path)), path
    assert "to settle 0" in words_of(manager.text(TODAY))
    author = Author("tablet 9", "A. Hand")
    entry = measure(author, HullState(SALTGRASS), JOB, STEP, "speed", "31.0 kn")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    assert open_and_aside() == (True, False)
    again = f"Was set aside by {CHIEF}: sold unrigged. Open again, as 1 entry came since."
    for path in ("/board?state=to+settle", f"/boats/{SALTGRASS}", f"{PLANNING}?job={JOB}"):
        assert again in words_of(manager.text(path)), path
    form = form_to(manager.text(f"{PLANNING}?job={JOB}"), aside)
    later = measure(author, HullState(SALTGRASS), JOB, STEP, "speed", "31.1 kn")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({later.id: later.raw})}, "000000000001", NOON, 0)
    answer = manager.send(form, reason="sold all the same")
    assert (answer.status_code, open_and_aside()) == (409, (True, False)), (
        "what came meanwhile the manager had not seen"
    )
    manager.send(form_to(manager.text(f"{PLANNING}?job={JOB}"), aside), reason="sold all the same")
    assert open_and_aside() == (False, True)
    manager.send(form_to(manager.text(f"{PLANNING}?job={JOB}"), up))
    assert open_and_aside() == (True, False)
    assert "et aside by" not in words_of(manager.text("/board?state=to+settle"))


def test_a_contact_noted_by_a_clock_that_ran_ahead_hides_no_silent_tablet() -> None:
    """The shop's clock was a year ahead when the tablet last came, and was put right."""
    a_day = 24 * 60 * MINUTE
    ahead = Tablet(
        id="1",
        name="Tablet 1",
        role=TECHNICIAN,
        token_hash="h",
        paired_at=NOON - 10 * a_day,
        last_contact=NOON + 365 * a_day,
    )
    late = attrs.evolve(ahead, id="2", last_contact=NOON - 4 * a_day)
    fresh = attrs.evolve(ahead, id="3", last_contact=NOON + 5 * MINUTE)
    assert days_silent([ahead, late, fresh], NOON) == {"1": 10, "2": 4}
