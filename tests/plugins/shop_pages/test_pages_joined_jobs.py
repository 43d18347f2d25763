"""A manager joins two jobs opened for one piece of work on the boat's page, and parts them again."""

from __future__ import annotations

import pytest

from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import Author, join_job, measure, move_job
from garboard.history.boat import open_hull
from garboard.history.replay import HullState
from pages_rig import CHIEF, MISTYPED, NOON, SALTGRASS, Browser, Pages, form_to, words_of

PAGE = f"/boats/{SALTGRASS}"
JOB, TWIN = "saltgrass-2026-05", "twin"


@pytest.fixture
def twin(pages: Pages) -> None:
    """A third tablet opened a job of its own for the same boat."""
    entry = measure(
        Author("tablet 9", "A. Hand"), HullState(SALTGRASS), TWIN, "prop_check.full_throttle", "speed", "3 kn", row="9"
    )
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)


@pytest.mark.usefixtures("twin")
def test_two_jobs_are_joined_with_who_and_why_shown_as_one_and_parted_again(pages: Pages, manager: Browser) -> None:
    form = form_to(manager.text(PAGE), f"{PAGE}/join-jobs", job=TWIN)
    assert manager.send(form, into=JOB).status_code == 400
    assert manager.send(form, into=JOB, reason="opened twice").status_code == 303
    boat = open_hull(pages.store.hulls, SALTGRASS)
    assert boat.jobs == (JOB,)
    assert boat.view(JOB).value("prop_check.full_throttle", "speed", row="9") == "3 kn"
    (entry,) = [one for one in pages.store.hulls.entries(SALTGRASS) if one.kind == "move"]
    assert (entry.by, entry.value) == (CHIEF, {"job": JOB, "reason": "opened twice"})
    page = manager.text(PAGE)
    assert f"no date was joined into this one by {CHIEF}" in words_of(page)
    assert "Join this job into another" not in page
    assert manager.send(form_to(page, f"{PAGE}/part-jobs", job=TWIN), reason="two after all").status_code == 303
    assert set(open_hull(pages.store.hulls, SALTGRASS).jobs) == {JOB, TWIN}


@pytest.mark.usefixtures("twin")
def test_parting_two_jobs_says_what_was_chosen_while_they_were_one(pages: Pages, manager: Browser) -> None:
    manager.send(form_to(manager.text(PAGE), f"{PAGE}/join-jobs", job=TWIN), into=JOB, reason="opened twice")
    boat = open_hull(pages.store.hulls, SALTGRASS)
    step, row = "prop_check.full_throttle", "9"
    late = measure(Author("tablet 9", "A. Hand"), boat.state, JOB, step, "speed", "4 kn", row=row)
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({late.id: late.raw})}, "000000000001", NOON, 0)
    manager.send(form_to(manager.text(PAGE), f"{PAGE}/part-jobs", job=TWIN), reason="two after all")
    words = words_of(manager.text(PAGE))
    assert "It is a separate job again. Chosen while they were one, and kept where it was written:" in words
    assert f"({SALTGRASS}, Commissioning, 14 May 2026). The other has its own value again." in words


@pytest.mark.parametrize(("into", "was_moved"), [("", True), (JOB, False)])
def test_a_job_is_not_said_to_be_moved_for_one_that_was_joined_into_it(
    pages: Pages, manager: Browser, into: str, was_moved: bool
) -> None:
    """It began here; the other was entered under a mistyped number, moved, and joined."""
    author, wrong = Author("tablet 9", "A. Hand"), HullState(MISTYPED)
    measured = measure(author, wrong, TWIN, "prop_check.full_throttle", "speed", "3 kn", row="9")
    wrong.add(measured)
    here = open_hull(pages.store.hulls, SALTGRASS).state
    entries = [measured, *move_job(author, wrong, here, TWIN, "mistyped")]
    here.add(entries[-1])
    if into:
        entries.append(join_job(author, here, TWIN, into, "one work"))
    for hull in (MISTYPED, SALTGRASS):
        ours = CheckedEntries({one.id: one.raw for one in entries if one.hull == hull})
        pages.store.put_if_absent({hull: ours}, "000000000001", NOON, 0)
    words = words_of(manager.text(PAGE))
    assert ("was joined into this one" in words) is bool(into)
    assert ("This job was moved here from another hull number" in words) is was_moved


@pytest.mark.usefixtures("twin")
@pytest.mark.parametrize("into", ["", "no such job", TWIN])
def test_a_job_is_joined_only_into_another_that_is_here(pages: Pages, manager: Browser, into: str) -> None:
    form = form_to(manager.text(PAGE), f"{PAGE}/join-jobs", job=TWIN)
    before = pages.entries()
    assert manager.send(form, into=into, reason="x").status_code == 400
    assert pages.entries() == before


@pytest.mark.usefixtures("twin")
def test_two_managers_who_join_a_job_into_different_ones_settle_it_like_any_value(
    pages: Pages, manager: Browser
) -> None:
    state = HullState(SALTGRASS)
    for into in (JOB, "gone"):
        entry = Author("shop", "B. Clerk").write(state, "move", ("into",), {"job": into, "reason": "x"}, job=TWIN)
        pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    page = manager.text(PAGE)
    assert "The job this one was joined into" in words_of(page)
    assert "gone" in words_of(page)
