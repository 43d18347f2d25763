"""The day's path: the phase one is in is open, what is next in it first, and nothing of the day is out of reach."""

from __future__ import annotations

from typing import Any

import pytest

from garboard.steps import Phase, Step
from garboard.verdict import Verdict
from garboard_tablet.models.day_path import Stretch, stations, whole_day
from garboard_tablet.models.pages import StepLine
from tablet.driver import Drive, new_job
from tablet.layout_lint import faults

STEPS = [Step(key=f"a.{name}", title=name, phase=Phase.ALONGSIDE, order=n) for n, name in enumerate("abcdef")]


def line(number: int, state: str, verdict: Verdict | None = None, note: str = "") -> StepLine:
    return StepLine(STEPS[number], state, verdict, note, state in ("to do", "under way"))


def names(lines: tuple[StepLine, ...]) -> str:
    return "".join(one.step.title for one in lines)


def test_what_fails_comes_before_what_is_advised_and_before_what_is_to_do() -> None:
    """Each group in the order of the day; what is in order is told as one row."""
    day = [
        line(0, "done"), line(1, "to do"), line(2, "done", Verdict.ADVISE), line(3, "done", Verdict.FAIL),
        line(4, "look again"), line(5, "not fitted"),
    ]  # fmt: skip
    found = stations(day)
    assert [names(part) for part in (found.asking, found.to_do, found.in_order)] == ["dce", "b", "af"]
    stretch = Stretch(Phase.ALONGSIDE, tuple(day))
    assert (stretch.share, stretch.worst) == ("5 of 6", (Verdict.FAIL, 1))


def test_a_single_step_in_order_is_not_hidden_and_a_note_is_never_folded_away() -> None:
    found = stations([line(0, "done"), line(1, "to do")])
    assert [names(part) for part in (found.asking, found.to_do, found.in_order)] == ["", "ab", ""]
    assert names(stations([line(0, "done", note="2 values not saved"), line(1, "done"), line(2, "done")]).asking) == "a"


def test_a_day_ends_in_hand_over_also_where_no_plugin_has_a_step_of_it() -> None:
    assert [stretch.phase for stretch in whole_day([(Phase.ALONGSIDE, [line(0, "done")])])] == [
        Phase.ALONGSIDE,
        Phase.HAND_OVER,
    ]


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280), (1024, 600)])
def test_every_step_is_a_press_or_two_away_and_signing_one(drive: Drive, size: tuple[int, int]) -> None:
    """The step that is next is named under the thumb; the ways to the vessel, the list and the end stay in sight."""
    d = drive(size=size)
    new_job(d)
    for step in d.app.tablet.host.steps:
        d.app.tablet.session.way[-1] = d.app.tablet.session.here.to("job", step.phase.value)
        d.app.screen.redraw()
        assert not faults(d.app.shell, d.window)
        while not d.has(f"step {step.key}"):
            d.press("page down")
        assert d.has("hand over")
        assert d.has("tab missing")
    first = d.app.tablet.host.steps[0]
    assert d.find("next step").text == f"Next: {first.title}"


def test_steps_in_order_are_shown_by_a_press(drive: Drive) -> None:
    d = drive()
    new_job(d)
    here, steps = d.app.tablet.session.here, d.app.tablet.host.steps
    done = [step for step in steps if step.phase is Phase.UNDER_WAY]
    for step in done:
        d.app.tablet.set_state(here.hull, here.job, step.key, "done")
    d.press("tab under way")
    assert not any(d.has(f"step {step.key}") for step in done)
    d.press("in order")
    assert all(d.has(f"step {step.key}") for step in done)


@pytest.mark.parametrize("count", [3, 42, 613])
@pytest.mark.parametrize("size", [(240, 220), (240, 113), (460, 113)])
def test_the_worst_of_a_closed_phase_covers_its_count_of_steps_in_no_size(
    kivy_window: Any, size: tuple[int, int], count: int
) -> None:
    """Of a boat with hundreds of circuits the mark lay over "26 of 26"."""
    from garboard_tablet.ui.day_path import Band, ClosedPhase
    from garboard_tablet.ui.theme import dp
    from garboard_tablet.ui.widgets import MarkShape, Txt, verdict_marks

    worst = (verdict_marks[Verdict.ADVISE], f"{count} advise")
    closed = ClosedPhase(Band(title="Alongside", share="26 of 26", worst=worst, marks=(worst[0],) * 26))
    closed.size = dp(size[0]), dp(size[1])
    share, told = (
        next(one for one in closed.children if getattr(one, "text", "") == text) for text in ("26 of 26", worst[1])
    )
    assert isinstance(share, Txt)
    shape = max((one for one in closed.children if isinstance(one, MarkShape)), key=lambda one: one.height)
    assert shape.x >= share.right or told.top <= share.y + 1
    assert told.y >= closed.y
    assert told.right <= closed.right
    assert all(dot.top <= told.y + 1 for dot in closed.children if isinstance(dot, MarkShape) and dot is not shape)
