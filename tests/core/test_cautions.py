"""Cautions shared by the plugins: said once, in the same words, wherever they hold."""

import attrs
import pytest

from garboard import cautions
from garboard.findings import BasisKind
from garboard.hosting.host import make_host
from garboard.job_view import Disagreement, JobView
from garboard.records import Job, Measurement, Vessel
from garboard.report.outline import cautions as cautions_of
from garboard.steps import Caution

HOST = make_host(entry_points=False)
VIEW = JobView(vessel=Vessel(hull_number="ABC12345C393"), job=Job(id="J-1"))
SHARED = [each for each in vars(cautions).values() if isinstance(each, Caution)]


@pytest.mark.parametrize(
    "subject",
    [
        "a look-out",
        "Wear the engine cut-off link",
        "blower",
        "Shore power",
        "hydrogen",
        "the battery before",
        "a knock",
    ],
)
def test_a_danger_several_plugins_meet_is_told_in_one_caution(subject: str) -> None:
    assert [subject in caution.text for caution in cautions_of(VIEW, HOST)].count(True) == 1


@pytest.mark.parametrize("caution", SHARED, ids=lambda caution: caution.text[:30])
def test_every_shared_caution_is_used_by_a_step(caution: Caution) -> None:
    assert any(caution in step.cautions for step in HOST.steps)


def test_look_out_and_cut_off_link_stand_before_every_run_at_speed() -> None:
    for key in ("prop_check.full_throttle", "fuel_curve.steps", "heading_calibration.steady_turn"):
        step = HOST.step(key)
        assert step is not None
        assert {cautions.LOOK_OUT, cautions.CUT_OFF_LINK} <= set(step.cautions), key


def test_the_law_on_the_cut_off_link_is_named() -> None:
    """46 U.S.C. 4312(b): the operator uses the link on plane or above displacement speed."""
    assert cautions.CUT_OFF_LINK.basis.kind is BasisKind.REGULATION
    assert "46 U.S.C. 4312(b)" in cautions.CUT_OFF_LINK.basis.text


# --- what the boat burns decides

DIESEL_BOAT = attrs.evolve(VIEW, measurements=(Measurement(step="fuel_curve.steps", field="fuel", value="diesel"),))
GASOLINE_BOAT = attrs.evolve(VIEW, measurements=(Measurement(step="fuel_curve.steps", field="fuel", value="gasoline"),))
TWO_ANSWERS = attrs.evolve(
    DIESEL_BOAT, measurements=(*DIESEL_BOAT.measurements, Measurement(step="dock.tank", field="fuel", value="gasoline"))
)
PETROL = attrs.evolve(VIEW, measurements=(Measurement(step="dock.tank", field="fuel", value="petrol"),))
SHOWN = ("book", "each step")


def shown_on(view: JobView, where: str) -> list[str]:
    if where == "book":
        return [caution.text for caution in cautions_of(view, HOST)]
    return list(dict.fromkeys(caution.text for step in HOST.steps for caution in step.cautions_for(view.fuel)))


@pytest.mark.parametrize("where", SHOWN)
def test_a_diesel_boat_is_warned_of_no_gasoline_vapour(where: str) -> None:
    told = shown_on(DIESEL_BOAT, where)
    assert [text for text in told if "gasoline" in text] == []
    assert cautions.FUEL_FIRE.text in told
    assert sum("Refuel with engines and heaters off" in text for text in told) == 1


@pytest.mark.parametrize("where", SHOWN)
@pytest.mark.parametrize("view", [VIEW, GASOLINE_BOAT, TWO_ANSWERS, PETROL], ids=["", "gasoline", "two", "petrol"])
def test_a_gasoline_boat_and_one_of_unknown_fuel_are_warned_of_vapour(view: JobView, where: str) -> None:
    told = shown_on(view, where)
    assert cautions.FUEL_VAPOUR.text in told
    assert [text for text in told if "iesel" in text] == []


def test_while_two_tablets_disagree_about_the_fuel_another_answer_hides_no_caution() -> None:
    place = ("fuel_curve.steps", "fuel", "", "")
    both = tuple(Measurement(step=place[0], field="fuel", value=fuel) for fuel in ("diesel", "gasoline"))
    heater = (Measurement(step="dock.heater", field="fuel", value="diesel"),)
    view = attrs.evolve(VIEW, measurements=heater, disagreements=(Disagreement(place=place, values=both),))
    assert view.fuel == ""
    assert cautions.FUEL_VAPOUR.text in shown_on(view, "each step")


def test_what_holds_for_every_fuel_is_told_on_every_boat() -> None:
    for caution in SHARED:
        if not caution.fuels:
            assert {caution.text} <= set(shown_on(DIESEL_BOAT, "book")) & set(shown_on(VIEW, "book"))


def test_each_step_with_fuel_has_a_caution_for_either() -> None:
    for step in HOST.steps:
        of_fuel = [{fuel for caution in step.cautions for fuel in caution.fuels if caution.holds_for(fuel)}]
        assert of_fuel in ([set()], [{"gasoline", "diesel"}]), step.key
