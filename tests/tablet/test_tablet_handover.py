"""Hand over on the tablet: what is missing, said once and the same everywhere, and what a signature stands for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import attrs
import pytest

from garboard.demo.samples_folder import sample_job_files
from garboard.findings import Verdict
from garboard.history import exchange
from garboard.job_files.job_file import read_job_file
from garboard.records import SignOff
from garboard.report import outline
from garboard.report.outline import is_handed_over, punch_list
from garboard.report.palette import VERDICT_MARKS
from garboard.steps import is_open
from garboard_tablet.models.ashore import _amount
from garboard_tablet.models.asks import shown
from garboard_tablet.models.covered import coverage
from garboard_tablet.models.day_path import whole_day
from garboard_tablet.models.pages import (
    PunchLine,
    steps_by_phase,
    still_to_do,
    to_put_right,
    what_is_missing,
)
from garboard_tablet.models.session import Route
from garboard_tablet.models.step_page import counted
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessels import VesselLine
from tablet.driver import Drive, new_job, view_of

Opened = Callable[[str], tuple[Tablet, str, str]]
SAMPLES = {path.parent.name: path for path in sample_job_files()}


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Opened]:
    """A tablet with one of the sample jobs: the tablet, the hull and the job."""
    made = []

    def open_(name: str) -> tuple[Tablet, str, str]:
        tablet = open_tablet(tmp_path / name)
        made.append(tablet)
        path = SAMPLES[name]
        exchange.import_job(tablet.files, read_job_file(path), path.parent, tablet.author(by="Robin"))
        (hull,) = tablet.files.hulls()
        return tablet, hull, tablet.state_of(hull).jobs[-1]

    yield open_
    for tablet in made:
        tablet.close()


@pytest.mark.parametrize("name", SAMPLES)
def test_the_punch_list_is_the_one_of_the_book_and_the_day_sheet(opened: Opened, name: str) -> None:
    """The same things to put right, each with what it is about; nothing of them is left out of what is missing."""
    tablet, hull, job = opened(name)
    assessed, view = tablet.assess(hull, job), tablet.view(hull, job)
    lines = to_put_right(tablet, hull, job, assessed)
    listed = punch_list(view, tablet.host, assessed)
    assert sorted(line.why for line in lines) == sorted(item.why for item in listed)
    failing = [(line.about, line.text) for line in lines if line.why == "fails"]
    assert failing == [(item.about, item.text) for item in listed if item.why == "fails"]
    assert all(about for about, _ in failing)
    missing = what_is_missing(tablet, hull, job, assessed)
    assert missing[: len(lines)] == lines
    assert len(failing) == len({(a.finding.about, a.finding.sentence) for a in assessed
                                if a.finding.verdict is Verdict.FAIL})  # fmt: skip


def test_what_fails_in_the_phases_of_the_day_adds_up_to_what_fails(opened: Opened) -> None:
    """Two circuits that fail in one step are two fails, over the day and over its phase."""
    tablet, hull, job = opened("long_reach")
    assessed = tablet.assess(hull, job)
    day = whole_day([*steps_by_phase(tablet, hull, job, assessed)])
    fails = sum(count for verdict, count in filter(None, (stretch.worst for stretch in day)) if verdict is Verdict.FAIL)
    assert fails == dict(counted(assessed))[Verdict.FAIL] > len({one.step for one in assessed
                                                                 if one.finding.verdict is Verdict.FAIL})  # fmt: skip


def test_two_values_that_disagree_are_named_by_what_they_are_of(opened: Opened) -> None:
    """Which pump and which question, not which row of which field."""
    from garboard.disk.clock import Stamp
    from garboard.disk.entries import make_entry

    tablet, hull, job = opened("long_reach")
    tablet.save(
        make_entry(
            "measure",
            hull,
            dev="another tablet",
            by="Kim",
            clock=Stamp(1, 1),
            at="2026-05-15T09:30:00+02:00",
            job=job,
            subject=("handover.bilge_pumps", "by_hand", "1", ""),
            value=False,
        )
    )
    (line,) = [line for line in to_put_right(tablet, hull, job, ()) if line.why == "values disagree"]
    assert line.about == "Bilge pumps and alarm: Runs by its switch and pumps overboard, Forward"
    assert set(line.text.partition(".")[0].split(" against ")) == {"yes", "no"}
    assert line.step == "handover.bilge_pumps"


def test_one_way_to_the_deviation_card_spares_the_others(opened: Opened) -> None:
    """Kittiwake was swung by straight runs and handed over: neither the swing by hand nor the raw circle is missing."""
    tablet, hull, job = opened("kittiwake")
    view = tablet.view(hull, job)
    steps = {step.key.partition(".")[2]: step for step in tablet.host.steps if "heading" in step.key}
    assert view.state_of(steps["straight_runs"].key) == "done"
    assert view.state_of(steps["swing"].key) == view.state_of(steps["magnetometer"].key) == "to do"
    assert not any(is_open(view, steps[name]) for name in ("straight_runs", "swing", "magnetometer"))
    assert what_is_missing(tablet, hull, job, tablet.assess(hull, job)) == []


def test_a_raw_circle_alone_spares_no_swing(opened: Opened) -> None:
    """It says how a sensor is disturbed, and gives no card."""
    tablet, hull, job = opened("long_reach")
    steps = {step.key.partition(".")[2]: step for step in tablet.host.steps if "heading" in step.key}
    tablet.set_state(hull, job, steps["magnetometer"].key, "done")
    view = tablet.view(hull, job)
    assert is_open(view, steps["swing"])
    assert is_open(view, steps["straight_runs"])
    tablet.set_state(hull, job, steps["swing"].key, "not fitted", "no bearing compass")
    assert is_open(tablet.view(hull, job), steps["straight_runs"]), "not fitted is no swing"
    tablet.set_state(hull, job, steps["swing"].key, "done")
    assert not is_open(tablet.view(hull, job), steps["straight_runs"])


@pytest.mark.parametrize("name", SAMPLES)
def test_every_value_a_signature_covers_is_in_a_table(opened: Opened, name: str) -> None:
    """Counted, and each to be read under its step or its piece, in the words it was entered in."""
    tablet, hull, job = opened(name)
    covered = coverage(tablet, hull, job)
    state = tablet.state_of(hull, job)
    ids = set(state.coverage(job))
    measured = [
        (key, entry.value)
        for key in state.registers
        for entry in state.current(key)
        if entry.id in ids and key.kind == "measure"
    ]
    cells = [cell for part in covered.parts for row in part.table.rows for cell in row[1:] if cell]
    assert covered.count == len(ids) == len(cells)
    titles = {step.key: step.title for step in tablet.host.steps}
    for key, value in measured:
        step, _, row, of = key.subject
        tables = [part.table for part in covered.parts if part.title == titles[step]]
        found = [line for table in tables for line in table.rows if row in ("", line[0]) or of == line[0]]
        assert any(shown(value) in line for line in found), key
    assert len({(part.title, part.whose) for part in covered.parts}) == len(covered.parts), "two lines say the same"


def test_the_counts_of_what_is_missing_are_told_apart() -> None:
    """What fails is never added up with what is only still to do."""
    fails, to_do = PunchLine(text="x", why="fails"), PunchLine(text="y", why="to do")
    assert still_to_do([fails] * 9 + [to_do] * 8) == "9 checks fail, 8 to do"
    assert still_to_do([fails, to_do]) == "1 check fails, 1 to do"
    assert still_to_do([to_do]) == "1 to do"
    assert still_to_do([]) == "Nothing is missing"


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (1, ("1 entry, as it is now", "1 entry and 1 file", "1 check fails", "1 check fails in other jobs")),
        (2, ("2 entries, as they are now", "2 entries and 2 files", "2 checks fail", "2 checks fail in other jobs")),
    ],
)
def test_one_of_a_thing_is_told_as_one(count: int, said: tuple[str, ...]) -> None:
    from garboard_tablet.pages.handover import _as_now  # it loads the window

    line = VesselLine(
        hull="A", hull_number="A", name="", job="a", phase="", done=0, total=count, saved="", stamp="",
        failing={"a": count},
    )  # fmt: skip
    assert (_as_now(count), _amount(count, count), line.stands, attrs.evolve(line, job="b").stands) == said
    assert line.share.endswith("step" if count == 1 else "steps")


def test_a_job_with_a_fail_says_so_in_red_and_asks_to_look_before_anybody_signs(drive: Drive) -> None:
    """What is missing is the press under the thumb; signing stays possible beside it."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice No", "back", "back", "hand over")
    card = next(w for w in d.widgets() if type(w).__name__ == "Card")
    assert card._shape.mark == VERDICT_MARKS[Verdict.FAIL]
    here = d.app.tablet.session.here
    to_do = sum(is_open(view_of(d), step) for step in d.app.tablet.host.steps)
    assert here.page == "hand over"
    assert d.says(f"1 fail, {to_do} to do")
    assert (d.find("open point").kind, d.find("technician signs").kind) == ("main", "plain")
    about = next(w for w in d.widgets() if getattr(w, "text", "") == "Horn" and getattr(w, "bold", False))
    assert about.parent._shape.mark == VERDICT_MARKS[Verdict.FAIL]
    d.press("open point")
    assert d.app.tablet.session.here.step == "dock.horn", "the worst is one press from where it is put right"
    d.press("back", "technician signs")
    assert d.says("The signature does not cover them")
    height = {text: w.y for w in d.widgets() if (text := getattr(w, "text", ""))}
    (failing,) = (y for text, y in height.items() if "Not heard" in text)
    assert failing > max(y for text, y in height.items() if text.startswith("To do: ")), "what fails stands first"
    while not d.says("entries, as they are now"):
        d.press("page down")
    d.press("part 0", "all of it", "go on")
    assert d.says(f"{to_do + 1} points are open, and not covered: horn, "), "it stays in sight while one signs"


def test_a_complete_job_is_signed_with_the_press_under_the_thumb(drive: Drive) -> None:
    """Nothing is missing: the technician signs."""
    d = drive()
    new_job(d)
    here = d.app.tablet.session.here
    for step in d.app.tablet.host.steps:
        d.app.tablet.set_state(here.hull, here.job, step.key, "done")
    d.app.screen.redraw()
    assert d.find("next step").text == d.find("hand over").text == "Sign over", "one place has one name"
    d.press("hand over")
    d.wait(lambda: d.says("Nothing is missing."))  # once the findings are known, and not before
    assert d.find("technician signs").kind == "main"
    assert not d.has("open point")
    d.app.tablet.sign(here.hull, here.job, "technician", "Kim", b"<svg/>")
    d.app.screen.redraw()
    d.wait(lambda: bool(d.find("owner signs").kind == "main"))
    assert d.find("technician signs").kind == "plain"
    d.app.tablet.sign(here.hull, here.job, "owner", "A. Marsh", b"<svg/>")
    d.app.screen.redraw()
    d.wait(lambda: d.has("to the book"))
    assert d.find("to the book").kind == "main", "both have signed: the book is what is left"
    assert (d.says("Handed over"), d.says("Ready")) == (True, False)
    assert (d.says("Signed over"), d.says("Sign over")) == (True, False), "nothing asks for what was done"
    d.app.way.go(Route(page="job", hull=here.hull, job=here.job, subject=("missing",)))
    assert d.says("The boat is handed over.")
    assert (d.find("hand over").text, d.find("next step").text) == ("Signed over", "The owner's book")
    d.press("next step")
    assert d.app.tablet.session.here.page == "book"


def test_a_boat_is_handed_over_on_the_tablet_as_it_is_in_the_book(opened: Opened) -> None:
    """With the owner's signature alone it was folded away as handed over, in order; book and board said it was not."""
    tablet, hull, job = opened("kittiwake")
    view = tablet.view(hull, job)
    for fresh, stale in (("owner", ()), ("owner", ("technician",)), ("technician", ("owner",)), ("", ("owner",))):
        signed = [SignOff(role=role, name="N. N.", stale=role in stale) for role in (fresh, *stale) if role]
        in_part = attrs.evolve(view, sign_offs=tuple(signed))
        assert not is_handed_over(in_part)
        assert not outline.hand_over(in_part, (), ()).is_done
    both = attrs.evolve(view, sign_offs=tuple(SignOff(role=role, name="N. N.") for role in ("technician", "owner")))
    assert is_handed_over(both)
    assert outline.hand_over(both, (), ()).is_done


def test_a_failing_check_stands_on_the_punch_list_and_leads_to_its_step(drive: Drive) -> None:
    """It is the list of the book; a remark is still settled with one press."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice No", "back", "back", "punch list")
    (failing,) = [w.name for w in d.widgets() if getattr(w, "name", "").startswith("missing ")]
    d.press("add punch")
    d.write("Port nav light is dark")
    d.press("save it", "punch Port nav light is dark")
    assert d.says("put right")
    d.press(failing)
    assert d.app.tablet.session.here.step == "dock.horn"
    assert [note.settled for note in view_of(d).notes] == [True]


def test_the_book_reads_the_strokes_the_pad_writes() -> None:
    from garboard.report.drawn_signatures import strokes_in
    from garboard_tablet.ui.inputs import svg_of

    found = strokes_in(svg_of([[(0.0, 0.0), (0.5, 1.0)], [(1.0, 0.25)]]))
    assert found is not None
    assert [len(stroke) for stroke in found.strokes] == [2, 2]
    assert (found.width, found.height) == (60.8, 20.8)
    assert found.strokes[0][0] == (0.4, 20.4), "a stroke begins at the lower left of the pad"
    assert strokes_in(svg_of([])) is None
