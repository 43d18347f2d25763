"""The page of a step: the worst finding first and large, with its number and limits; Next says where it leads."""

from __future__ import annotations

from typing import Any

import pytest

from garboard.findings import Basis, BasisKind, Finding, Limit, Number, Verdict
from garboard.hosting.host import make_host
from garboard.steps import Assessed, Phase
from garboard_tablet.models.limit_bar import LimitScale
from garboard_tablet.models.step_page import counted, headline, standing
from tablet.driver import Drive, Driver, new_job, view_of

PRACTICE = (Basis(BasisKind.COMMON_PRACTICE, "tried once"),)
DROP = Number("drop", 1.72, "V", 0.09, 2)


def finding(verdict: Verdict, *numbers: Number, limits: tuple[Limit, ...] = ()) -> Finding:
    return Finding(verdict=verdict, about="horn", sentence="It is so.", basis=PRACTICE, numbers=numbers, limits=limits)


def ranked(*verdicts: Verdict) -> list[Assessed]:
    return [
        Assessed(calculator=f"a.c{number}", title="C", step="a.b", phase=Phase.ALONGSIDE, plugin="a",
                 plugin_version="1", finding=finding(verdict))
        for number, verdict in enumerate(verdicts)
    ]  # fmt: skip


def test_the_worst_is_large_and_many_passes_are_one_row() -> None:
    found = ranked(Verdict.FAIL, Verdict.ADVISE, Verdict.PASS, Verdict.PASS)
    stands = standing(found)
    assert stands.worst == (0, found[0])
    assert [number for number, _ in stands.others] == [1]
    assert [number for number, _ in stands.passes] == [2, 3]
    assert counted(found) == ((Verdict.FAIL, 1), (Verdict.ADVISE, 1))


def test_a_single_pass_is_not_hidden_and_nothing_found_is_nothing_shown() -> None:
    stands = standing(ranked(Verdict.FAIL, Verdict.PASS))
    assert ([number for number, _ in stands.others], stands.passes) == ([1], ())
    assert standing([]).worst is None
    assert counted(ranked(Verdict.PASS)) == ()


def test_the_number_set_large_is_the_one_that_has_a_limit() -> None:
    other = Number("current", 9.6, "A")
    top = headline(finding(Verdict.FAIL, other, DROP, limits=(Limit("drop", high=1.2),)))
    assert top is not None
    assert top.number == DROP
    assert top.scale == LimitScale(low=None, high=1.2, value=1.72, half_width=0.09)
    without = headline(finding(Verdict.FAIL, other, DROP))
    assert without is not None
    assert (without.number, without.scale) == (other, None)
    assert headline(finding(Verdict.PASS)) is None


@pytest.mark.parametrize(
    "scale",
    [
        LimitScale(low=None, high=1.2, value=1.72, half_width=0.09),
        LimitScale(low=5000.0, high=6000.0, value=4845.0, half_width=12.0),
        LimitScale(low=100.0, high=None, value=86.0),
        LimitScale(low=-2.0, high=2.0, value=0.0),
        LimitScale(low=0.0, high=0.0, value=0.0),
        LimitScale(low=11.5, high=13.5),
    ],
)
def test_value_and_limits_lie_on_the_bar_as_they_lie_to_each_other(scale: LimitScale) -> None:
    allowed_low, allowed_high = scale.allowed
    assert 0 <= allowed_low <= allowed_high <= 1
    if scale.value is None:
        assert scale.spread is None
        return
    assert scale.spread is not None
    low, high = scale.spread
    assert 0 < low <= scale.share(scale.value) <= high < 1
    assert (low > allowed_high) == (scale.high is not None and scale.value - scale.half_width > scale.high)
    assert (high < allowed_low) == (scale.low is not None and scale.value + scale.half_width < scale.low)


def names(d: Driver) -> list[str]:
    """Names on the page in the order in which one reads a column, the left before the right."""
    found = [w for w in d.widgets() if getattr(w, "name", "").partition(" ")[0] in ("finding", "value", "cautions")]
    return [w.name for w in sorted(found, key=lambda w: (w.x, -w.y))]


def test_the_step_opens_with_its_worst_and_ends_with_the_cautions(drive: Drive) -> None:
    from garboard_tablet.ui.verdict_card import NumberLine, VerdictCard

    d = drive()
    new_job(d)
    d.press("tab vessel", "Equipment", "kind engines", "1 engines", "back", "back", "tab under way", "step dock.full")
    d.press("back")
    assert names(d)[0] == "cautions", "not read yet, so they come first"
    assert d.find("continue").text == "Next: Engine speed, centre"
    assert d.says("read first")
    d.press("cautions", "begin", "back")
    assert names(d)[-1] == "cautions"
    assert d.says("read ")
    assert not d.says("read first")
    d.press("continue")
    d.number("5800")
    d.number("38")
    d.press(*(["back"] if d.app.tablet.session.here.page == "entry" else []))
    read = names(d)
    assert (read[0], read[-1]) == ("finding 0", "cautions")
    card: Any = d.find("finding 0")
    assert isinstance(card, VerdictCard)
    assert any(isinstance(w, NumberLine) and " " not in w.text for w in d.widgets()), "never broken at a blank"
    assert d.find("next step").text.startswith("Next: "), "all of it passes: nobody need say that it is done"


def test_the_guide_is_reached_from_one_place(drive: Drive) -> None:
    """On the step's page and where its recording is asked for it has one name and one place."""
    d = drive()
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back")
    first = d.find("guide")
    place, text = first.pos[:], first.text
    d.press("value Recording of the run")
    guide = d.find("guide")
    assert (guide.pos[:], guide.text) == (place, text)
    assert not d.has("record now")
    d.press("guide")
    assert d.app.tablet.session.here.page == "live"


def test_one_pair_of_presses_turns_both_columns(kivy_window: Any) -> None:
    """The column that has no further page stays as it is; where both fit, nothing is offered."""
    from garboard_tablet.ui.shell import Halves
    from garboard_tablet.ui.widgets import Txt

    def shown(halves: Halves) -> list[str]:
        return sorted(one.text for column in halves._columns for one in column.children)

    def pages(halves: Halves) -> list[str]:
        assert halves.pager is not None
        return sorted(press.name for press in halves.pager.children)

    few = Halves([lambda: Txt("a")], [lambda: Txt("b")], turns_both=True)
    few.size = (1000, 300)
    assert (shown(few), pages(few)) == (["a", "b"], [])
    left = [lambda n=n: Txt(f"left {n}") for n in range(10)]
    many = Halves(left, [lambda: Txt("right")], turns_both=True)
    many.size = (1000, 300)
    first = shown(many)
    assert "right" in first
    assert "left 9" not in first
    assert pages(many) == ["page down"]
    assert many.pager is not None
    many.pager._turn()
    assert "left 9" in shown(many)
    assert "right" in shown(many)
    assert pages(many) == ["page up"]
    many.pager._turn_back()
    assert shown(many) == first


def test_next_is_the_lowest_press_at_the_right_in_both_orientations(drive: Drive) -> None:
    """The others keep their places, whether there is a guide or not."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "back")
    places = {}
    for size in ((1280, 800), (800, 1280)):
        d.resize(*size)
        mark, on = d.find("state"), d.find("continue")
        assert on.kind == "main"
        assert (on.right, on.y) == (d.window.width - 16, 16)
        assert all(w.y >= on.y for w in d.widgets() if getattr(w, "kind", ""))
        places[size] = mark.pos[:]
    d.resize(1280, 800)
    d.press("back", "tab under way", "step dock.fuel", "back")
    for size, pos in places.items():
        d.resize(*size)
        assert d.has("guide")
        assert d.find("state").pos[:] == pos


def test_findings_of_former_values_are_said_to_be_under_check(drive: Drive) -> None:
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes", "back")
    assert "checking" not in d.app.shell.page.under
    d.app.findings.look_again()
    assert d.app.shell.page.under.startswith("Values changed, checking. ")


def test_readings_of_an_engine_that_is_not_on_the_boat_are_shown_and_marked(drive: Drive) -> None:
    """Taken off after it was read: the reading stands in the list, and leads to the engines."""
    d = drive()
    new_job(d)
    d.press("tab vessel", "Equipment", "kind engines", "1 engines", "back", "back", "tab under way", "step dock.full")
    d.press("begin")
    d.number("5800")
    d.press("back")
    assert not d.says("ot used")
    hull = d.app.tablet.session.here.hull
    d.app.tablet.remove_piece(hull, ("engines", "centre"))
    d.app.tablet.add_piece(hull, ("engines", "port"))
    d.app.screen.redraw()
    d.seek("unused not used: no centre engine on this boat")
    assert d.app.tablet.session.here.subject == ("engines",)
    d.press("back")
    assert d.says("Engine speed 5800 rev/min")


def test_a_step_with_a_fail_is_not_done_by_itself_and_to_look_at_one_writes_nothing(drive: Drive) -> None:
    d = drive()
    new_job(d)
    d.press("next step", "choice No", "choice hoarse", "skip")
    d.number("12")
    here = d.app.tablet.session.here
    assert (here.page, here.step) == ("step", "dock.horn")
    assert Verdict.FAIL in {one.finding.verdict for one in d.app.findings.of(here)}
    assert d.app.tablet.view(here.hull, here.job).state_of("dock.horn") == "under way"
    size = d.app.tablet.size(here.hull, here.job)
    d.press("back", "step dock.horn")
    assert d.find("done").text == "Step done"
    assert d.app.tablet.size(here.hull, here.job) == size


def test_a_step_done_by_itself_is_done_no_more_when_its_value_is_undone_or_turns_bad(drive: Drive) -> None:
    """Else the day passes it over, and the value goes missing. One that is not needed opens nothing."""
    d = drive()
    new_job(d)
    d.press("next step", "choice Yes", "choice hoarse")
    d.write("loud")
    d.press("next")
    d.number("12")
    assert view_of(d).state_of("dock.horn") == "done"
    d.press("undo")
    assert view_of(d).state_of("dock.horn") == "under way"
    d.press("back", "back")
    d.press("next step", "continue")  # Next leads to it again
    d.number("12")
    assert view_of(d).state_of("dock.horn") == "done"

    d.press("value Remark", "change", "take back", "back mistyped")
    assert view_of(d).value("dock.horn", "remark") is None
    assert view_of(d).state_of("dock.horn") == "done", "a remark is not needed"
    d.press("back", "value Heard from the end of the dock", "choice No", "back")
    assert view_of(d).state_of("dock.horn") == "under way", "it does not pass any more"
    assert d.find("done").text == "Step done", "and a person may still say that it is done"


def test_a_step_nobody_tried_leads_to_its_first_value_though_none_is_needed(drive: Drive) -> None:
    """The check says that it is not tried yet: a large "Step done" beside it would be the wrong way on."""
    d = drive(make_host=lambda: make_host(("garboard_engine_trial",), entry_points=False))
    new_job(d)
    here = d.app.tablet.session.here
    d.app.way.go(here.to("step", step="engine_trial.instruments"))
    d.step()
    assert d.find("continue").text == "Next: Depth by lead line, from the water line"
    assert not d.has("done")
    d.press("continue")
    d.number("3")
    while d.app.tablet.session.here.page == "entry":
        d.press("back")
    assert d.find("done").text == "Step done", "it is tried, and nothing else is needed"


def test_a_step_that_nothing_judges_promises_no_finding(drive: Drive) -> None:
    """The conditions of a run, all entered and marked done, were "under way" until "enough is entered"."""
    d = drive(make_host=lambda: make_host(("garboard_prop_check",), entry_points=False))
    new_job(d)
    d.press("tab under way", "step prop_check.conditions", "begin", "choice at best", "back")
    said = [getattr(widget, "text", "") for widget in d.widgets()]
    assert "Nothing is judged here. The book and other checks use these values." in said
    assert not any("enough is entered" in text for text in said)
