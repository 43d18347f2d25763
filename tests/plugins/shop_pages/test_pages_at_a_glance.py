"""A boat's page at a glance: what each open value would give, one reason for several, and what came anew."""

from __future__ import annotations

from unittest.mock import Mock

import attrs
import pytest

from garboard.disk.hullfile import CheckedEntries
from garboard.findings import Basis, BasisKind, Finding, Number, Verdict
from garboard.history.authoring import Author, measure, settle
from garboard.history.boat import open_entries
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.report.as_typed import as_typed
from garboard.steps import Assessed, Phase
from garboard_shop.pages import consequences, looks, summaries
from garboard_shop.pages.boat_page import large_figures
from garboard_shop.pages.consequences import Consequence, differences
from garboard_shop.pages.summaries import disagreeing, token_of
from pages_rig import KITTIWAKE, MINUTE, NOON, SALTGRASS, Browser, Form, Pages, form_to, forms_in, words_of

PAGE, TODAY = f"/boats/{SALTGRASS}", "/days/2026-11-25"
JOB = "saltgrass-2026-05"
STEP = "prop_check.full_throttle"
BASES = (Basis(BasisKind.METHOD, "Made up for a test"),)


def found(calculator: str, verdict: Verdict, value: float, of: str = "") -> Assessed:
    finding = Finding(
        code=f"{calculator}.{verdict.name.lower()}",
        verdict=verdict,
        about=of or "speed",
        of=of,
        sentence="Said.",
        basis=BASES,
        numbers=(Number("speed", value, "kn", 0.3),),
    )
    return Assessed(
        calculator=calculator,
        title="Full-throttle speed",
        step="s",
        phase=Phase.UNDER_WAY,
        plugin="p",
        plugin_version="1",
        finding=finding,
    )


def test_the_values_of_a_disagreement_are_judged_one_by_one_and_nothing_of_it_is_kept(
    pages: Pages, manager: Browser
) -> None:
    before = pages.entries()
    for path in (PAGE, TODAY):
        words = words_of(manager.text(path))
        assert "No verdict changes either way." in words, path
        assert "Check with 31.9 kn with 31.4 kn" in words, path
        assert "Full-throttle speed speed pass 32.4 ± 0.3 kn pass 32.2 ± 0.3 kn" in words, path
        assert "No instrument noted, tablet 2" in words, path
    words = words_of(manager.text(PAGE))
    assert "Full speed 32.2 to 32.4 kn to settle" in words
    assert "Engine speed at full throttle 4845 ± 31 rev/min" in words  # hangs on nothing that is open
    assert pages.entries() == before
    other = manager.text(f"/boats/{KITTIWAKE}")
    assert 'class="consequence"' not in other
    assert "<b>2.4</b>°" in other, "no space before the sign of a degree, as in the vessel's facts below"


def test_only_checks_that_differ_are_told_and_a_verdict_that_hangs_on_the_choice_comes_first() -> None:
    same = found("a", Verdict.PASS, 1.0)
    one = [same, found("b", Verdict.PASS, 30.0, "port"), found("b", Verdict.PASS, 31.0, "starboard")]
    other = [same, found("b", Verdict.FAIL, 20.0, "port"), found("b", Verdict.PASS, 31.0, "starboard")]
    (row,) = differences([one, other])
    assert row.is_of_verdicts
    assert [cell.text for cell in row.cells if cell] == ["30.0 ± 0.3 kn", "20.0 ± 0.3 kn"]
    assert Consequence(("1", "2"), (row,), 0).in_words == "1 verdict hangs on it."
    assert Consequence(("1", "2"), (), 0).in_words == "No check changes either way."
    (row,) = differences([one, [same, one[1], found("b", Verdict.PASS, 32.0, "starboard")], one])
    assert Consequence(("1", "2", "3"), (row,), 0).in_words == "No verdict changes whichever you choose."
    assert [cell.text if cell else None for (lost,) in [differences([one, one[:2]])] for cell in lost.cells] == [
        "31.0 ± 0.3 kn",
        None,
    ]


def test_a_figure_shows_both_ends_only_where_it_hangs_on_what_is_open() -> None:
    low, high = [found("prop_check.speed", Verdict.PASS, value) for value in (31.0, 33.0)]
    open_ = large_figures([], [[low], [high]])[0]
    assert (open_.value, open_.unit, open_.to_settle) == ("31.0 to 33.0", "kn", True)
    sure = large_figures([low], [[low], [low]])[0]
    assert (sure.value, sure.unit, sure.to_settle) == ("31.0", "± 0.3 kn", False)
    assert large_figures([])[0].note == "not measured"
    assert large_figures([], [[low], [low]], are_all=False)[0].to_settle
    assert not large_figures([low], [[low], [low]], are_all=False)[0].to_settle


def test_of_several_compasses_the_one_furthest_off_stands_large_also_where_no_card_can_be_made() -> None:
    of_two = [of_compass("helm", "largest deviation", -5.9), of_compass("mast", "largest deviation", 1.0)]
    (deviation,) = [one for one in large_figures(of_two) if one.value]
    assert (deviation.value, deviation.note) == ("−5.9", "helm −5.9 ± 0.3, mast 1.0 ± 0.3")
    too_large = [of_compass("helm", "largest deviation read", 31.8)]
    assert [one.value for one in large_figures(too_large) if one.value] == ["31.8"]


def of_compass(name: str, number: str, value: float) -> Assessed:
    made = found("heading_calibration.swing", Verdict.PASS, value, name)
    numbers = (attrs.evolve(made.finding.numbers[0], name=number),)
    return attrs.evolve(made, finding=attrs.evolve(made.finding, numbers=numbers))


def disagreeing_again(pages: Pages, *more: str) -> RegisterKey:
    """A second pair of values that disagree, and as many more, each as a tablet would bring it."""
    for tablet, value in enumerate(("4800 rev/min", "4900 rev/min", *more), 1):
        state = HullState(SALTGRASS)
        entry = measure(
            Author(f"tablet {tablet}", "A. Hand"), state, JOB, STEP, "engine_speed", value, row="3", of="centre"
        )
        pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    return RegisterKey("measure", JOB, (STEP, "engine_speed", "3", "centre"))


def several(page: str) -> tuple[Form, dict[str, str]]:
    """The form that settles several, and the first value of each disagreement."""
    form = form_to(page, f"{PAGE}/choose-several")
    picked: dict[str, str] = {}
    for one in form.inputs:
        if one.get("type") == "radio" and one["value"]:
            picked.setdefault(one["name"], one["value"])
    return form, picked


def test_what_a_decision_changes_is_said_at_once_though_the_boards_row_is_made_later(
    pages: Pages, manager: Browser
) -> None:
    pages.desk.remembering.bring_up_to_date()
    assert "to settle since today. Waiting for manager" in words_of(manager.text(PAGE))
    form = next(one for one in forms_in(manager.text(PAGE)) if one.action == f"{PAGE}/choose")
    value = next(one["value"] for one in form.inputs if one.get("type") == "radio")
    assert manager.send(form, value=value, reason="read again").status_code == 303
    assert "failing since today. Waiting for rigger" in words_of(manager.text(PAGE))
    assert [job.state for job in pages.desk.remembering.memory.jobs() if job.hull == SALTGRASS] == ["to settle"]


def test_a_boat_is_read_and_opened_once_for_all_values_and_each_gives_what_choosing_it_gives(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same is worked out here from the entries that choosing would keep, replayed anew for each value."""
    disagreeing_again(pages, "5100 rev/min")
    summary = pages.desk.summaries.of(SALTGRASS)
    assert summary is not None
    (job,) = summary.jobs
    opening, reading = Mock(wraps=open_entries), Mock(wraps=pages.store.get)
    monkeypatch.setattr(summaries, "open_entries", opening)
    monkeypatch.setattr(pages.store, "get", reading)
    judged = consequences.judge(pages.store, pages.desk.host, summary, job)
    assert (opening.call_count, reading.call_count) == (1, 1)
    opened = {key: state.current(key) for state, key in disagreeing(summary.boat, job.id)}
    assert sorted(map(len, opened.values())) == [2, 3]
    firsts = {key: values[0] for key, values in opened.items()}
    wanted = [firsts, *({**firsts, key: value} for key, values in opened.items() for value in values[1:])]
    assert len(judged.outcomes) == len(wanted) == 4
    for found_with, chosen in zip(judged.outcomes, wanted, strict=True):
        state = replay(SALTGRASS, summary.entries.values())
        author = Author("page", "A. Hand")
        choices = [settle(author, state, key, value.value, "what if") for key, value in chosen.items()]
        boat = open_entries(lambda hull, more=choices: [*summary.entries.values(), *more], SALTGRASS)  # type: ignore[misc]
        seen = boat.view(job.id, summaries.recordings_of(pages.store))
        assert found_with == as_typed(seen, pages.desk.host.assess(seen), pages.desk.host)


def test_several_of_one_cause_are_settled_with_one_reason_all_or_none(pages: Pages, manager: Browser) -> None:
    assert "choose-several" not in manager.text(PAGE)  # one disagreement has its own form
    key, speed = disagreeing_again(pages), RegisterKey("measure", JOB, (STEP, "speed", "2", ""))
    text = manager.text(PAGE)
    assert "1 other open value stands at its first value here." in words_of(text)
    form, picked = several(text)
    assert set(picked) == {f"value {token_of(one)}" for one in (key, speed)}
    before = pages.entries()
    assert manager.send(form, reason="", **picked).status_code == 400
    assert manager.send(form, reason="why").status_code == 400  # nothing chosen
    late = measure(Author("tablet 9", "A. Hand"), HullState(SALTGRASS), JOB, STEP, "speed", "31.0 kn", row="2")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({late.id: late.raw})}, "000000000001", NOON, 0)
    assert manager.send(form, reason="why", **picked).status_code == 409
    assert pages.entries() == before + 1  # the late value; of the two choices neither
    form, picked = several(manager.text(PAGE))
    assert manager.send(form, reason="tablet 2 read the wrong gauge", **picked).status_code == 303
    state = replay(SALTGRASS, pages.store.hulls.entries(SALTGRASS))
    for one in (key, speed):
        (entry,) = state.current(one)
        assert entry.more["reason"] == "tablet 2 read the wrong gauge"
    assert pages.entries() == before + 3


def test_what_is_not_worked_out_says_so_and_what_to_do(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    disagreeing_again(pages)
    monkeypatch.setattr(consequences, "MOST_JUDGED", 2)  # the first of two disagreements
    words = words_of(manager.text(PAGE))
    assert words.count("either way.") == 1
    assert words.count("Too many values of this job are open") == words.count("Settle others first") == 1
    pages.desk.consequences = consequences.Consequences(pages.store, pages.desk.host)
    monkeypatch.setattr(consequences, "MOST_JUDGED", 1)  # too few for two values
    assert words_of(manager.text(PAGE)).count("It has too many values to work out what each of them changes.") == 2
    pages.desk.consequences = consequences.Consequences(pages.store, pages.desk.host)
    monkeypatch.setattr(consequences, "MOST_ON_A_SHEET", 0)
    words = words_of(manager.text(TODAY))
    assert words.count("Open the boat's page to see what each of these values changes.") == 2


def test_a_boats_page_says_what_came_since_the_last_look(pages: Pages, manager: Browser) -> None:
    assert "you last looked" not in manager.text(PAGE)
    pages.at += 10 * MINUTE
    assert "you last looked" not in manager.text(PAGE)  # the same look
    pages.at += 60 * MINUTE
    assert "Nothing changed since you last looked" in words_of(manager.text(PAGE))
    entry = measure(Author("tablet 9", "A. Hand"), HullState(SALTGRASS), JOB, STEP, "speed", "31.0 kn", row="8")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", pages.at, 0)
    pages.at += 5 * MINUTE
    words = words_of(manager.text(PAGE))
    assert "1 entry A. Hand , 1 entry: Full-throttle runs both ways: Speed over ground, run 8" in words
    assert manager.send(form_to(manager.text(PAGE), f"{PAGE}/sign")).status_code == 303
    assert "1 entry A. Hand" in words_of(manager.text(PAGE))  # what one decided oneself is no news
    pages.at += (looks.DAYS_BACK + 1) * 24 * 60 * MINUTE
    manager.sign_in()
    assert "Nothing changed in the last 14 days; you looked on" in words_of(manager.text(PAGE))


@pytest.mark.parametrize("cookie", ["", "x", "....", "0123456789-zz-1", "0123456789-1", "a" * 9000])
def test_whatever_a_browser_sends_as_its_looks_is_never_a_fault(cookie: str) -> None:
    assert looks.last_look(cookie, SALTGRASS, NOON) == 0


def test_the_managers_signature_stands_on_the_day_sheet_too_and_when_it_is_stale(
    pages: Pages, manager: Browser
) -> None:
    page = f"/boats/{KITTIWAKE}"
    assert manager.send(form_to(manager.text(page), f"{page}/sign")).status_code == 303
    for path in (page, TODAY):
        assert "signed M. Office , manager" in words_of(manager.text(path)), path
    author, state = Author("tablet 9", "A. Hand"), HullState(KITTIWAKE)
    entry = measure(author, state, "kittiwake-2026-05", STEP, "speed", "40 kn", row="9")
    pages.store.put_if_absent({KITTIWAKE: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    for path in (page, TODAY):
        words = words_of(manager.text(path))
        assert "stale M. Office , manager" in words, path
        assert "signed M. Office , manager" not in words, path


def test_nothing_a_manager_could_do_on_the_page_is_lost(manager: Browser) -> None:
    text = manager.text(PAGE)
    actions = {form.action.removeprefix(PAGE) for form in forms_in(text)}
    assert {"/choose", "/sign", "/move", "/template", "/circuits", "/labels/printed"} <= actions
    for address in (
        "book.pdf",
        "book.pdf?paper=A4",
        "/labels/sheet.pdf",
        "/labels/tape9.pdf",
        "/labels/schedule.pdf",
        "/labels/sticker.pdf",
        "/circuits.csv",
        "measurements.csv",
        "measurements.xlsx",
        "/history?of=",
    ):
        assert address in text, address
    folded = '<details class="phase">'
    assert manager.text(f"{PAGE}?open=all").count(folded) == 0 < text.count(folded)
