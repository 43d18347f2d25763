"""From what fails to the value and back, each with one touch; and what is said of a boat is so."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path
from typing import Any

import attrs
import pytest

from garboard.disk.clock import Stamp, moment_in_words
from garboard.disk.entries import make_entry
from garboard.findings import Verdict
from garboard.report.palette import STEP_MARKS, VERDICT_MARKS, Mark
from garboard_tablet.models.vessels import FILE
from tablet.driver import Drive, Driver, new_job, view_of


def mark_of(widget: Any) -> Mark:
    """The mark of a line of a list."""
    mark: Mark = widget._shape.mark
    return mark


@pytest.fixture
def failing(drive: Drive) -> Driver:
    """A horn nobody heard."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice No", "back")
    return d


def test_from_a_why_to_the_value_and_back(failing: Driver) -> None:
    """The value stands there with who and when; changed, the page is there again and says what became of it."""
    d = failing
    d.press("finding 0")
    assert d.says("From these values")
    (one,) = (one for one in view_of(d).measurements if one.field == "heard")
    assert d.says(f"Robin, {moment_in_words(one.at)}")
    d.press("rests on Heard from the end of the dock", "choice Yes")
    assert d.app.tablet.session.here.page == "why"
    assert d.says("was fail, now pass")
    assert view_of(d).value("dock.horn", "heard") is True


def test_from_the_punch_list_to_the_value_and_back(failing: Driver) -> None:
    """It rests on one value, so the press leads straight to it."""
    d = failing
    d.press("back", "punch list")
    name = "missing Not heard. Check its fuse and its earth, then sound it again."
    d.press(name)
    assert d.app.tablet.session.here.page == "entry"
    d.press("choice Yes")
    assert d.app.tablet.session.here.page == "punch list"
    assert not d.has(name)


def test_from_what_is_missing_to_the_value_and_back(failing: Driver) -> None:
    """Also from the job's own list, which is there again."""
    d = failing
    d.press(
        "back", "tab missing", "missing Not heard. Check its fuse and its earth, then sound it again.", "choice Yes"
    )
    assert d.app.tablet.session.here.page == "job"
    assert d.app.tablet.session.here.subject == ("missing",)


def test_filling_in_a_step_goes_on_to_the_next_value(drive: Drive) -> None:
    """Nothing has changed for whoever enters one value after the other."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes")
    assert d.app.shell.page.form.field.name == "tone"


def test_the_line_that_fails_has_another_mark_than_one_that_is_complete(failing: Driver) -> None:
    """Its own value, and no other's."""
    d = failing
    assert mark_of(d.find("value Heard from the end of the dock")) == VERDICT_MARKS[Verdict.FAIL]
    assert mark_of(d.find("value Its tone")) == STEP_MARKS["to do"]
    d.press("value Heard from the end of the dock", "choice Yes", "back")
    assert mark_of(d.find("value Heard from the end of the dock")) == STEP_MARKS["done"]


def test_a_failing_circuit_is_marked_and_a_sound_one_is_not(tmp_path: Path) -> None:
    """With the real rules: of the sample boat's circuits those with a fail, whatever else is complete."""
    from garboard.demo.samples_folder import sample_job_files
    from garboard.history import exchange
    from garboard.job_files.job_file import read_job_file
    from garboard_tablet.models.pages import asks_here, fails_first, lines_of_step, table_titles
    from garboard_tablet.models.tablet import open_tablet

    tablet = open_tablet(tmp_path / "saltgrass")
    path = next(path for path in sample_job_files() if path.parent.name == "saltgrass")
    exchange.import_job(tablet.files, read_job_file(path), path.parent, tablet.author(by="Robin"))
    (hull,) = tablet.files.hulls()
    job, key = tablet.state_of(hull).jobs[-1], "wiring_audit.circuits"
    step = tablet.step(key)
    assert step is not None
    findings = [one.finding for one in tablet.assess(hull, job, [key])]
    asks = asks_here(tablet, hull, job, step)
    lines = lines_of_step(tablet, hull, job, asks, table_titles(step), findings)
    failing = {finding.of for finding in findings if finding.verdict is Verdict.FAIL and finding.of}
    assert failing
    assert {line.ask.of for line in lines if line.verdict is Verdict.FAIL and line.ask.of} == failing
    assert {line.ask.of for line in fails_first(lines)[: len(failing)]} == failing, "they stand first"
    tablet.close()


def test_the_pitch_advice_stands_first_where_it_asks_for_anything(tmp_path: Path) -> None:
    """Before the window it is about; of the others the worst."""
    from garboard.hosting.host import make_host
    from garboard.steps import Assessed, Phase
    from garboard_tablet.models.pages import ranked
    from garboard_tablet.models.tablet import open_tablet

    tablet = open_tablet(tmp_path, partial(make_host, ("garboard_prop_check",), entry_points=False))

    def one(calculator: str, verdict: Verdict) -> Assessed:
        from garboard.findings import Basis, BasisKind, Finding

        basis = (Basis(BasisKind.COMMON_PRACTICE, "x"),)
        found = Finding(verdict=verdict, about=calculator, sentence="x", basis=basis)
        return Assessed(
            calculator=f"prop_check.{calculator}", title="", step="prop_check.full_throttle", phase=Phase.UNDER_WAY,
            plugin="", plugin_version="", finding=found,
        )  # fmt: skip

    def order(pitch: Verdict) -> list[str]:
        found = [
            one("speed", Verdict.PASS),
            one("window", Verdict.FAIL),
            one("slip", Verdict.ADVISE),
            one("pitch", pitch),
        ]
        return [each.finding.about for each in ranked(tablet, found)]

    assert order(Verdict.ADVISE) == ["pitch", "window", "slip", "speed"]
    assert order(Verdict.FAIL) == ["pitch", "window", "slip", "speed"]
    assert order(Verdict.PASS) == ["window", "slip", "speed", "pitch"]
    calculators = [c for c in tablet.host.calculators if c.step == "prop_check.full_throttle"]
    assert calculators[0].key == "prop_check.pitch", "in the book as well"
    tablet.close()


def disagree(d: Driver) -> None:
    """Two tablets read the speed, each with its own receiver."""
    here = d.app.tablet.session.here
    for number, (by, value, receiver) in enumerate((("Kim", "40 kn", "receiver 1"), ("Lee", "44 kn", "receiver 2"))):
        entry = make_entry(
            "measure", here.hull, dev=f"tablet {number}", by=by, clock=Stamp(1, number), job=here.job,
            at=f"2026-05-14T09:3{number}:00+02:00", subject=("dock.full", "speed", "", ""), value=value,
            more={"instrument": receiver},
        )  # fmt: skip
        d.app.tablet.save(entry)
    d.app.screen.redraw()


def test_a_disagreement_says_who_when_and_with_which_instrument(drive: Drive) -> None:
    """On the list, and where one is chosen; the list leads straight there, and is there again."""
    d = drive()
    new_job(d)
    disagree(d)
    d.press("punch list")
    told = ("Kim, 14 May 2026, 09:30, receiver 1", "Lee, 14 May 2026, 09:31, receiver 2")
    assert all(d.says(f"{value}: {who}") for value, who in zip(("40 kn", "44 kn"), told, strict=True))
    d.press("missing 40 kn against 44 kn. Choose the right one.")
    cards = [card_with(d, value) for value in ("40\u00a0kn", "44\u00a0kn")]
    assert [tuple(card[1:]) for card in cards] == [
        ("Kim", "14 May 2026, 09:30", "receiver 1"),
        ("Lee", "14 May 2026, 09:31", "receiver 2"),
    ]
    d.press("value 44 kn", "reason other instrument")
    assert view_of(d).value("dock.full", "speed") == "44 kn"
    assert d.app.tablet.session.here.page == "punch list"


def card_with(d: Driver, text: str) -> list[str]:
    """What stands on the card that has a text, from top to bottom."""
    (said,) = [widget for widget in d.widgets() if getattr(widget, "text", "") == text]
    return [one.text for one in sorted(said.parent.children, key=lambda one: -one.y)]


def test_no_two_things_have_one_name(drive: Drive) -> None:
    """On the job's page, and among the steps beside it."""
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host(entry_points=False))
    new_job(d)
    pressed = [w.text.split("\n")[0] for w in d.widgets() if hasattr(w, "kind")]
    titles = [step.title for step in d.app.tablet.host.steps]
    names = [text.casefold() for text in (*pressed, *titles)]
    assert sorted({name for name in names if names.count(name) > 1}) == []


def hand_over(d: Driver) -> str:
    from garboard_tablet.models.session import Route

    here = d.app.tablet.session.here
    d.app.tablet.sign(here.hull, here.job, "technician", "R. Vane", b"<svg/>")
    d.app.tablet.sign(here.hull, here.job, "owner", "A. Marsh", b"<svg/>")
    d.app.vessels.refresh(here.hull)
    d.app.way.go(Route(page="vessels"))
    return f"vessel {here.hull}"


def test_a_boat_handed_over_with_a_fail_says_so_and_is_not_green(failing: Driver) -> None:
    """How many fail and how many points are open; after the next start as well."""
    d = failing
    name = hand_over(d)
    assert d.says("Handed over with 1 point open, 4 steps to do")
    assert mark_of(d.find(name)) == VERDICT_MARKS[Verdict.FAIL]
    d.restart()
    d.app.way.home()
    assert d.says("Handed over with 1 point open, 4 steps to do")
    assert mark_of(d.find(name)) == VERDICT_MARKS[Verdict.FAIL]


def test_a_boat_handed_over_in_order_is_green(drive: Drive) -> None:
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes")
    here = d.app.tablet.session.here
    for step in d.app.tablet.host.steps:
        d.app.tablet.set_state(here.hull, here.job, step.key, "done")
    name = hand_over(d)
    assert d.says("Handed over")
    assert not d.says("open")
    assert mark_of(d.find(name)) == STEP_MARKS["done"]


def test_a_line_an_older_version_kept_is_counted_anew(failing: Driver) -> None:
    """Its list did not count; green would be said of it until something changes."""
    d = failing
    name = hand_over(d)
    lines = [attrs.asdict(line) for line in d.app.vessels.lines.values()]
    for line in lines:
        del line["fails"], line["left"], line["rules"]
    (d.app.tablet.folder / FILE).unlink(missing_ok=True)
    (d.app.tablet.folder / "summaries.json").write_text(json.dumps(lines))
    d.app.vessels.read()
    for hull in d.app.vessels.stale():
        d.app.vessels.refresh(hull)
    d.app.screen.redraw()
    assert mark_of(d.find(name)) == VERDICT_MARKS[Verdict.FAIL]


def test_a_boats_card_and_its_list_of_jobs_say_which_job_fails(failing: Driver) -> None:
    """Three jobs of one day are told apart by their ids; the one that fails says so, after a restart too."""
    d = failing
    here = d.app.tablet.session.here
    d.press("back", "back")
    assert d.says("1 fail")
    others = [d.app.tablet.open_job(here.hull)[1] for _ in range(2)]
    d.app.vessels.refresh(here.hull)
    d.app.screen.redraw()
    assert d.says("1 check fails in other jobs")
    d.restart()
    assert d.says("1 check fails in other jobs")
    d.press(f"vessel {here.hull}")
    assert all(d.says(f", job {job}") for job in (here.job, *others))
    assert mark_of(d.find(f"job {here.job}")) == VERDICT_MARKS[Verdict.FAIL]
    assert all(mark_of(d.find(f"job {job}")) != VERDICT_MARKS[Verdict.FAIL] for job in others)
    assert d.words().count("1 check fails") == 1


def test_a_boat_with_one_job_in_order_shows_no_id_and_no_fail(drive: Drive) -> None:
    d = drive()
    new_job(d)
    here = d.app.tablet.session.here
    d.press("step dock.horn", "choice Yes", "back", "back")
    assert not d.says(here.job)
    d.press("back")
    assert not d.says("fail")
