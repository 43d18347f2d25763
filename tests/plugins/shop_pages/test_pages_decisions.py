"""Every decision of a manager is an entry with who and why, over exactly what stood on the page."""

from __future__ import annotations

import contextlib
import threading
from itertools import count
from typing import Any

import attrs
import pytest

from garboard.disk.entries import Entry
from garboard.disk.hullfile import CheckedEntries, PutResult
from garboard.disk.storage import NotSaved
from garboard.history.authoring import Author, measure, sign_off
from garboard.history.authority import ON_THE_PAGE
from garboard.history.boat import open_hull
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard_shop.pages import decisions
from garboard_shop.pages.summaries import seen_in, token_of, told_apart
from garboard_shop.store import StoreAway
from pages_rig import (
    CHIEF,
    HAND,
    KITTIWAKE,
    LONG_REACH,
    MISTYPED,
    NOON,
    SALTGRASS,
    Browser,
    Form,
    Pages,
    fields_of,
    form_to,
    words_of,
)

TODAY = "/days/2026-11-25"
JOB = "saltgrass-2026-05"
SPEED = RegisterKey("measure", JOB, ("prop_check.full_throttle", "speed", "2", ""))
WHY = "read at the plotter during the run"


def state_of(pages: Pages, hull: str = SALTGRASS) -> HullState:
    return replay(hull, pages.store.hulls.entries(hull))


def choice(browser: Browser, path: str = TODAY) -> Form:
    return form_to(browser.text(path), f"/boats/{SALTGRASS}/choose")


def written_since(pages: Pages, before: set[str], hull: str) -> list[Entry]:
    return [entry for entry in pages.store.hulls.entries(hull) if entry.id not in before]


def measured_elsewhere(pages: Pages, value: str) -> Entry:
    """A third tablet measured the same, without having seen the others."""
    step, field = SPEED.subject[:2]
    entry = measure(Author("tablet 9", "A. Hand"), HullState(SALTGRASS), JOB, step, field, value, row="2")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    return entry


def test_two_values_that_read_the_same_are_told_apart_by_file_and_second_and_others_need_nothing() -> None:
    def recorded(tablet: str, file: str, second: int) -> Entry:
        author = attrs.evolve(Author(tablet, "T. Wray"), wall=lambda: f"2026-05-14T11:18:{second:02d}-04:00")
        return measure(author, HullState(SALTGRASS), JOB, "s", "recording", {"file": file * 64, "name": "change.csv"})

    alike = recorded("office", "a", 7), recorded("office", "b", 41)
    sizes = {"a" * 64: 48210}
    assert told_apart(alike, sizes.get) == ("48 210 bytes, file aaaaaaaa, at 11:18:07", "file bbbbbbbb, at 11:18:41")
    typed = measure(Author("office", "T. Wray"), HullState(SALTGRASS), JOB, "s", "speed", "31 kn")
    assert told_apart((alike[0], typed), sizes.get) == ("", "")


def test_a_boats_page_says_what_took_the_place_of_values_that_disagreed_and_how(pages: Pages, manager: Browser) -> None:
    """Settled with a reason, or measured again by someone who saw both: the page tells one from the other."""
    path = f"/boats/{SALTGRASS}"
    heading = "Settled disagreements"
    assert heading not in manager.text(path)
    step, field, row, _ = SPEED.subject
    again = measure(Author("tablet 9", "A. Hand"), state_of(pages), JOB, step, field, "31.6 kn", row=row)
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({again.id: again.raw})}, "000000000001", NOON, 0)
    said = words_of(manager.text(path))
    assert heading in said
    assert "Speed over ground, run 2, against: 31.6 kn , measured again by A. Hand" in said
    assert "without a reason. Instead of 31.9 kn by R. Vane, 31.4 kn by N. Sorrel." in said


def test_of_two_managers_who_settle_at_once_the_second_is_told(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    form, values, answers = choice(manager), state_of(pages).current(SPEED), list[int]()
    true, both = pages.store.put_if_absent, threading.Barrier(2)

    def slow(*arguments: Any) -> PutResult:
        with contextlib.suppress(threading.BrokenBarrierError):
            both.wait(0.3)  # only if the other came as far as this, too
        return true(*arguments)

    monkeypatch.setattr(pages.store, "put_if_absent", slow)

    def settle(value: str) -> None:
        answers.append(manager.send(form, value=value, reason=WHY).status_code)

    at_once = [threading.Thread(target=settle, args=(one.id,)) for one in values]
    for thread in at_once:
        thread.start()
    for thread in at_once:
        thread.join()
    assert sorted(answers) == [303, 409]
    assert len(state_of(pages).current(SPEED)) == 1


def test_a_boats_page_says_why_a_value_was_settled(pages: Pages, manager: Browser) -> None:
    right = next(entry for entry in state_of(pages).current(SPEED) if entry.value == "31.9 kn")
    manager.send(choice(manager), value=right.id, reason=WHY)
    said = words_of(manager.text(f"/boats/{SALTGRASS}"))
    assert f"settled by {CHIEF}" in said
    assert f"{WHY}. Instead of 31.9 kn by R. Vane, 31.4 kn by N. Sorrel." in said


def test_the_value_chosen_replaces_all_and_says_who_and_why(pages: Pages, manager: Browser) -> None:
    before = set(pages.store.ids(SALTGRASS))
    standing = state_of(pages).current(SPEED)
    right = next(entry for entry in standing if entry.value == "31.9 kn")
    answer = manager.send(choice(manager), value=right.id, reason=WHY)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{TODAY}#boat-{SALTGRASS}")
    (entry,) = written_since(pages, before, SALTGRASS)
    assert (entry.by, entry.tablet, entry.value) == (CHIEF, ON_THE_PAGE, "31.9 kn")
    assert entry.more["reason"] == WHY
    assert set(entry.replaces) == {one.id for one in standing}
    assert [one.id for one in state_of(pages).current(SPEED)] == [entry.id]
    (delivery,) = [one for one in pages.store.deliveries(NOON, NOON) if one.tablet == ON_THE_PAGE]
    assert delivery.ids == {SALTGRASS: (entry.id,)}


@pytest.mark.parametrize("decided", ["choose", "choose-several", "take-back"])
def test_a_fact_of_the_boat_that_is_settled_after_the_owner_signed_makes_it_stale(pages: Pages, decided: str) -> None:
    """Of a measurement it did: the page had promised it of anything entered later."""
    job, author = "kittiwake-2026-05", Author("tablet 9", "A. Hand", at_job="kittiwake-2026-05")
    other = author.write(HullState(KITTIWAKE), "field", ("beam",), "9.5 ft")
    entries = [*pages.store.hulls.entries(KITTIWAKE), other]
    signed = sign_off(author, replay(KITTIWAKE, entries), job, "owner", "E. Marlow")
    given = CheckedEntries((one.id, one.raw) for one in (other, signed))
    pages.store.put_if_absent({KITTIWAKE: given}, "000000000001", NOON, 0)
    summary = pages.desk.summaries.of(KITTIWAKE)
    assert summary is not None
    state, key = summary.boat.state, RegisterKey("field", "", ("beam",))
    assert signed.id not in {one.sign_off.id for one in state.stale(job)}
    token, saw = token_of(key), seen_in(state, key)
    if decided == "choose":
        decisions.choose(
            (), pages.store, summary, {"slot": token, "saw": saw, "value": other.id, "reason": WHY}, CHIEF, 0
        )
    elif decided == "choose-several":
        form = {f"value {token}": other.id, f"saw {token}": saw, "reason": WHY}
        decisions.choose_several((), pages.store, summary, form, CHIEF, 0)
    else:
        decisions.take_all_back(pages.store, summary, {"slot": token, "saw": saw, "reason": WHY}, CHIEF, 0)
    assert signed.id in {one.sign_off.id for one in state_of(pages, KITTIWAKE).stale(job)}


def test_once_settled_the_sheet_says_so_once_and_asks_no_more(pages: Pages, manager: Browser) -> None:
    form = choice(manager)
    chosen = state_of(pages).current(SPEED)[0]
    manager.send(form, value=chosen.id, reason=WHY)
    words = words_of(manager.text(TODAY))
    assert "Settled. The value you chose is now used." in words
    assert "To settle" not in words
    assert "Settled." not in words_of(manager.text(TODAY))
    again = manager.send(form, value=chosen.id, reason=WHY)
    assert again.status_code == 409
    assert "This was settled before" in words_of(again.text)


@pytest.mark.parametrize("reason", ["", "   "])
def test_without_a_reason_nothing_is_written(pages: Pages, manager: Browser, reason: str) -> None:
    before = pages.entries()
    chosen = state_of(pages).current(SPEED)[0]
    answer = manager.send(choice(manager), value=chosen.id, reason=reason)
    assert answer.status_code == 400
    assert "reason: expected why this value is right, got nothing" in words_of(answer.text)
    assert pages.entries() == before


def test_a_value_nobody_entered_cannot_be_chosen(pages: Pages, manager: Browser) -> None:
    before = pages.entries()
    for value in ("", "0" * 32, "99 kn"):
        assert manager.send(choice(manager), value=value, reason=WHY).status_code == 400
    assert pages.entries() == before


def test_a_value_that_comes_while_the_manager_chooses_is_not_passed_over(pages: Pages, manager: Browser) -> None:
    form = choice(manager)
    chosen = state_of(pages).current(SPEED)[0]
    third = measured_elsewhere(pages, "30.7 kn")
    before = pages.entries()
    answer = manager.send(form, value=chosen.id, reason=WHY)
    assert answer.status_code == 409
    assert pages.entries() == before
    assert third in state_of(pages).current(SPEED)
    assert "30.7 kn" in words_of(manager.text(TODAY))


def test_a_late_value_opens_the_question_again_after_it_was_settled(pages: Pages, manager: Browser) -> None:
    manager.send(choice(manager), value=state_of(pages).current(SPEED)[0].id, reason=WHY)
    measured_elsewhere(pages, "30.7 kn")
    assert "To settle" in words_of(manager.text(TODAY))


def test_all_values_can_be_taken_back_and_stay_readable(pages: Pages, manager: Browser) -> None:
    form = choice(manager)
    form.action = f"/boats/{SALTGRASS}/take-back"
    assert manager.send(form).status_code == 400
    assert manager.send(form, reason="wrong course").status_code == 303
    assert state_of(pages).current(SPEED) == ()
    history = f"/boats/{SALTGRASS}/jobs/{JOB}/history?of=prop_check.full_throttle/speed/2"
    words = words_of(manager.text(history))
    assert words.count("taken back") == 2
    assert f"{CHIEF}" in words
    assert "Why: wrong course" in words


def test_two_numbers_of_one_boat_are_shown_as_one_and_taken_apart_again(pages: Pages, manager: Browser) -> None:
    form = form_to(manager.text(TODAY), f"/boats/{MISTYPED}/same-boat", other=LONG_REACH)
    assert manager.send(form).status_code == 400
    assert manager.send(form, reason="letter for a digit").status_code == 303
    source = manager.text(TODAY)
    assert "boats came ashore 3" in words_of(source)
    assert "One boat, or two?" not in words_of(source)
    assert "270 gal" in manager.text(f"/boats/{LONG_REACH}")
    assert {entry.by for entry in pages.store.hulls.entries(MISTYPED) if entry.kind == "alias"} == {CHIEF}
    assert open_hull(pages.store.hulls, LONG_REACH).hulls == {LONG_REACH, MISTYPED}

    apart = form_to(manager.text(f"/boats/{LONG_REACH}"), f"/boats/{LONG_REACH}/two-boats", other=MISTYPED)
    assert manager.send(apart, reason="they are two after all").status_code == 303
    assert "boats came ashore 4" in words_of(manager.text(TODAY))
    assert open_hull(pages.store.hulls, LONG_REACH).hulls == {LONG_REACH}


def test_parting_two_numbers_says_what_was_chosen_while_they_were_one(pages: Pages, manager: Browser) -> None:
    for hull, beam in ((LONG_REACH, "2.40 m"), (MISTYPED, "2.55 m")):
        entry = Author("tablet 9", "A. Hand").write(HullState(hull), "field", ("beam",), beam)
        pages.store.put_if_absent({hull: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    manager.send(form_to(manager.text(TODAY), f"/boats/{MISTYPED}/same-boat", other=LONG_REACH), reason="one")
    page = f"/boats/{LONG_REACH}"
    chosen = open_hull(pages.store.hulls, LONG_REACH).state.current(RegisterKey("field", "", ("beam",)))[0]
    assert manager.send(form_to(manager.text(page), f"{page}/choose"), value=chosen.id, reason=WHY).status_code == 303
    assert (
        manager.send(form_to(manager.text(page), f"{page}/two-boats", other=MISTYPED), reason="two").status_code == 303
    )
    words = words_of(manager.text(page))
    assert "is a separate boat again. Chosen while they were one, and kept where it was written: Vessel: beam" in words


def test_a_job_under_a_wrong_number_is_moved_to_its_boat(pages: Pages, manager: Browser) -> None:
    form = form_to(manager.text(TODAY), f"/boats/{MISTYPED}/move", other=LONG_REACH)
    assert manager.send(form, reason="written under a wrong number").status_code == 303
    (entry,) = [one for one in pages.store.hulls.entries(MISTYPED) if one.kind == "move"]
    assert entry.by == CHIEF
    whole = manager.text(f"/boats/{LONG_REACH}")
    assert "270 gal" in whole
    assert "circuit Deck wash" in whole  # what was written under the right number all along
    assert f"was moved from here to {LONG_REACH}" in words_of(manager.text(f"/boats/{MISTYPED}"))


def test_a_move_says_what_came_along_and_what_stayed(pages: Pages, manager: Browser) -> None:
    """To a boat with facts of its own, and what is left with the wrong number is named."""
    state = state_of(pages, MISTYPED)
    author, job = Author("tablet 9", "A. Hand"), state.jobs[0]
    photo = pages.store.hulls.attachments.put(b"\xff\xd8\xff a photo")
    entries = [
        measure(author, state, job, "prop_check.full_throttle", "attached", {"file": photo, "name": "a.jpg"}, row="1"),
        author.write(state, "setting", ("wiring_audit.drop_other",), "7 %", job=job),
        author.write(state, "field", ("beam",), "8 ft"),
        author.write(state, "field", ("displacement",), "4200 lb"),
    ]
    given = CheckedEntries((one.id, one.raw) for one in entries)
    pages.store.put_if_absent({MISTYPED: given}, "000000000001", NOON, 0)
    before = open_hull(pages.store.hulls, MISTYPED).view(job)
    facts, known = (
        {one.subject[0].replace("_", " ") for one in pages.store.hulls.entries(hull) if one.kind == "field"}
        for hull in (MISTYPED, LONG_REACH)
    )
    form = form_to(manager.text(TODAY), f"/boats/{MISTYPED}/move", other=LONG_REACH)
    manager.send(form, reason="written under a wrong number")
    said = words_of(manager.text(TODAY))
    values = sum(not isinstance(one.value, dict) for one in before.measurements)
    assert values > 0
    assert f"Came along: {values} value" in said
    assert "1 attached file, 1 setting" in said
    stayed = said.partition(f"Stayed with {MISTYPED}, as what is entered for {LONG_REACH} holds: ")[2].partition(".")[0]
    came = said.partition(f"From {MISTYPED}, as {LONG_REACH} has none of its own: ")[2].partition(".")[0]
    assert ({*stayed.split(", ")}, {*came.split(", ")}) == (facts & known, facts - known)
    assert facts & known
    assert facts - known


def full_at(pages: Pages, monkeypatch: pytest.MonkeyPatch, *calls: int) -> None:
    """The disk is full at these writings into a hull's file, counted from 1."""
    true, counted = pages.store.hulls.put_if_absent, count(1)

    def put(*arguments: Any) -> PutResult:
        if next(counted) in calls:
            raise NotSaved("the disk is full")
        return true(*arguments)

    monkeypatch.setattr(pages.store.hulls, "put_if_absent", put)


def test_a_move_saved_by_half_keeps_the_job_in_sight_and_ends_by_itself(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second hull's entry finds the disk full, twice."""
    form = form_to(manager.text(TODAY), f"/boats/{MISTYPED}/move", other=LONG_REACH)
    (job,) = open_hull(pages.store.hulls, MISTYPED).jobs
    full_at(pages, monkeypatch, 2, 4)
    refused = manager.send(form, reason="written under a wrong number")
    assert refused.status_code == 503
    said = words_of(refused.text)
    assert "Done in part Your decision is saved. It is not in the file of every boat it concerns yet." in said
    assert "the disk is full" in said
    assert open_hull(pages.store.hulls, MISTYPED).jobs == (job,)
    before = pages.entries()  # whoever asks what is held has it tried again; the disk is still full
    assert open_hull(pages.store.hulls, MISTYPED).jobs == (job,)
    assert pages.entries() == before + 1
    assert open_hull(pages.store.hulls, MISTYPED).jobs == ()
    assert "270 gal" in manager.text(f"/boats/{LONG_REACH}")


def test_a_decision_of_which_nothing_could_be_kept_is_not_kept_later(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    form = form_to(manager.text(TODAY), f"/boats/{MISTYPED}/move", other=LONG_REACH)
    before = pages.entries()
    full_at(pages, monkeypatch, 1)
    refused = manager.send(form, reason="written under a wrong number")
    assert refused.status_code == 507
    assert "Nothing was saved" in words_of(refused.text)
    assert pages.entries() == before
    assert manager.send(form, reason="written under a wrong number").status_code == 303
    assert pages.entries() == before + 2


def test_the_other_boat_is_looked_for_and_seen_before_a_job_is_moved(pages: Pages, manager: Browser) -> None:
    """By name, by owner or by a part of its number; never the boat itself; and moved only once one is chosen."""
    asked = form_to(manager.text(f"/boats/{SALTGRASS}"), f"/boats/{SALTGRASS}/move")
    assert {one["name"] for one in asked.inputs} == {"job", "q"}
    address = f"/boats/{SALTGRASS}/move?job={JOB}&q="
    for words in ("long reach", "holloway", "01209A"):
        said = words_of(manager.text(address + words))
        assert "Commissioning, 14 May 2026 for E. Marlow Now with Saltgrass" in said
        assert "Long Reach QQZ01209A626 P. Holloway last worked on 15 May 2026" in said
    assert "No other boat here has" in words_of(manager.text(address + "saltgrass"))
    assert "letter O in the first" in words_of(
        manager.text(f"/boats/{MISTYPED}/move?job={state_of(pages, MISTYPED).jobs[0]}&q=long")
    )
    assert manager.get(f"/boats/{SALTGRASS}/move?job=none&q=long").status_code == 404
    assert pages.signed_in(HAND).get(address + "long").status_code == 403
    form = form_to(manager.text(address + "long"), f"/boats/{SALTGRASS}/move", job=JOB, csrf=manager.csrf())
    before = pages.entries()
    assert manager.send(form, reason="x").status_code == 400
    assert pages.entries() == before
    assert manager.send(form, other=LONG_REACH, reason="written under a wrong number").status_code == 303
    assert "was moved from here to" in words_of(manager.text(f"/boats/{SALTGRASS}"))


@pytest.mark.parametrize("other", ["", "ABC00001A526", SALTGRASS])
def test_a_job_is_moved_only_to_another_boat_that_is_here(pages: Pages, manager: Browser, other: str) -> None:
    page = manager.text(f"/boats/{SALTGRASS}/move?job={JOB}&q=long")
    form = form_to(page, f"/boats/{SALTGRASS}/move", job=JOB, csrf=manager.csrf())
    before = pages.entries()
    assert manager.send(form, other=other, reason="x").status_code == 400
    assert pages.entries() == before


def test_a_managers_signature_covers_what_was_on_the_page_and_later_work_makes_it_stale(
    pages: Pages, manager: Browser
) -> None:
    form = form_to(manager.text(f"/boats/{KITTIWAKE}"), f"/boats/{KITTIWAKE}/sign")
    assert manager.send(form).status_code == 303
    state = state_of(pages, KITTIWAKE)
    (signature,) = [e for e in pages.store.hulls.entries(KITTIWAKE) if e.kind == "signoff" and e.by == CHIEF]
    assert isinstance(signature.value, dict)
    assert signature.value["role"] == "manager"
    assert signature.id not in {one.sign_off.id for one in state.stale("kittiwake-2026-05")}
    assert f"signed {CHIEF} , manager" in words_of(manager.text(f"/boats/{KITTIWAKE}"))
    late = measure(Author("tablet 9", "A. Hand"), state, "kittiwake-2026-05", "handover.lights_and_horn", "horn", False)
    pages.store.put_if_absent({KITTIWAKE: CheckedEntries({late.id: late.raw})}, "000000000001", NOON, 0)
    assert f"stale {CHIEF} , manager" in words_of(manager.text(f"/boats/{KITTIWAKE}"))


def test_nobody_signs_for_what_came_after_the_page_was_opened(pages: Pages, manager: Browser) -> None:
    form = form_to(manager.text(f"/boats/{SALTGRASS}"), f"/boats/{SALTGRASS}/sign")
    measured_elsewhere(pages, "30.7 kn")
    before = pages.entries()
    assert manager.send(form).status_code == 409
    assert pages.entries() == before


def test_nobody_signs_for_what_was_found_otherwise_when_the_page_was_opened(pages: Pages, manager: Browser) -> None:
    """A fact about the boat changed meanwhile: no entry of the job, and yet a check fails now."""
    page = manager.text(f"/boats/{KITTIWAKE}")
    form = form_to(page, f"/boats/{KITTIWAKE}/sign")
    state = state_of(pages, KITTIWAKE)
    engine = next(iter(key.subject[1] for key in state.registers if key.subject[:1] == ("engines",)))
    window = [("engines", engine, "full_throttle_low"), ("engines", engine, "full_throttle_high")]
    author = Author("tablet 9", "A. Hand")
    late = [
        author.write(state, "field", path, f"{speed} rev/min") for path, speed in zip(window, (7000, 7500), strict=True)
    ]
    pages.store.put_if_absent({KITTIWAKE: CheckedEntries((e.id, e.raw) for e in late)}, "000000000001", NOON, 0)
    before = pages.entries()
    assert manager.send(form).status_code == 409
    assert pages.entries() == before
    again = form_to(manager.text(f"/boats/{KITTIWAKE}"), f"/boats/{KITTIWAKE}/sign")
    assert [manager.send(again).status_code for _ in range(2)] == [303, 303], "pressed twice, it is signed"


def test_a_form_leads_back_to_this_server_only(pages: Pages, manager: Browser) -> None:
    chosen = state_of(pages).current(SPEED)[0]
    form = choice(manager)
    answer = manager.post(
        form.action, {**fields_of(form), "value": chosen.id, "reason": WHY, "back": "//elsewhere.test/"}
    )
    assert answer.headers["location"] == "/"


def test_a_tablet_removed_on_the_page_can_take_part_no_more_and_the_register_says_who_did_it(
    pages: Pages, manager: Browser
) -> None:
    words = words_of(manager.text("/tablets"))
    assert "3 tablets may bring work ashore" in words
    assert "24 h ahead" in words
    form = form_to(manager.text("/tablets"), "/tablets/000000000003/remove")
    assert manager.send(form).status_code == 303
    removed = next(one for one in pages.store.register.tablets() if one.id == "000000000003")
    assert (removed.is_removed, removed.removed_by) == (True, CHIEF)
    assert f"by {CHIEF}" in words_of(manager.text("/tablets"))
    assert manager.send(form).status_code == 404


def test_a_disk_that_refuses_is_told_and_nothing_is_called_settled(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    from garboard.disk.storage import NotSaved

    def refuse(*_arguments: object) -> None:
        raise NotSaved("no room on the disk")

    form, chosen = choice(manager), state_of(pages).current(SPEED)[0]
    monkeypatch.setattr(pages.store, "put_if_absent", refuse)
    answer = manager.send(form, value=chosen.id, reason=WHY)
    assert answer.status_code == 507
    assert "Nothing was saved: no room on the disk" in words_of(answer.text)


@pytest.mark.parametrize(
    ("fails", "failure", "said"),
    [
        ("after", NotSaved("no room on the disk"), "is now used. What follows from it was not saved: no room"),
        ("after", StoreAway("gone"), "is now used. After that the shop's database did not answer"),
        ("while", StoreAway("gone"), "does not answer. It may have kept this, or not"),
    ],
)
def test_what_was_kept_is_not_called_unsaved_for_what_failed_after_it(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch, fails: str, failure: Exception, said: str
) -> None:
    """A database whose answer got lost has kept it: whoever is told that nothing changed does it again."""
    form, chosen, keep = choice(manager), state_of(pages).current(SPEED)[0], pages.store.put_if_absent

    def fail(*given: Any) -> None:
        if fails == "while":
            keep(*given)
        raise failure

    holder, call = (decisions, "end_unfinished") if fails == "after" else (pages.store, "put_if_absent")
    monkeypatch.setattr(holder, call, fail)
    answer = words_of(manager.send(form, value=chosen.id, reason=WHY).text)
    assert said in answer
    assert ("Not done" in answer, "Nothing was" in answer) == (fails == "while", False)
    assert not state_of(pages).disagrees(SPEED)


def test_a_failure_is_told_without_its_insides(pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_arguments: object) -> None:
        raise RuntimeError("inner secret")

    monkeypatch.setattr(pages.desk.summaries, "of", fail)
    answer = manager.get(f"/boats/{SALTGRASS}")
    assert answer.status_code == 500
    assert "inner secret" not in answer.text
    assert "Traceback" not in answer.text


def test_two_runs_under_one_number_both_count_once_a_manager_says_so(pages: Pages) -> None:
    """Offered where two tablets wrote a row each, not where a value was typed again; a reason is asked for."""
    manager, page = pages.signed_in(CHIEF), f"/boats/{SALTGRASS}"
    assert "both count" not in words_of(manager.text(page)), "a value typed again"
    step = SPEED.subject[0]
    entries = [
        measure(Author(name, "A. Hand"), HullState(SALTGRASS), JOB, step, field, value, row="9")
        for name, speed in (("tablet 8", "36.0 kn"), ("tablet 9", "38.0 kn"))
        for field, value in (("direction", "with"), ("speed", speed))
    ]
    pages.store.put_if_absent(
        {SALTGRASS: CheckedEntries((one.id, one.raw) for one in entries)}, "000000000001", NOON, 0
    )
    text = manager.text(page)
    assert "Two rows: both count" in words_of(text)
    key = RegisterKey("measure", JOB, (step, "speed", "9", ""))
    form = Form(f"{page}/both-count", form_to(text, f"{page}/choose", slot=token_of(key)).inputs)
    assert manager.send(form, reason="").status_code == 400
    assert manager.send(form, reason="two runs").status_code == 303
    view = state_of(pages).view(JOB)
    speeds = {row: view.value(step, "speed", row=row) for row in ("9", "10")}
    assert set(speeds.values()) == {"36.0 kn", "38.0 kn"}, "which keeps its number hangs on clocks that ran as one"
