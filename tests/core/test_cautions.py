"""Cautions shared by the plugins: said once, in the same words, wherever they hold."""

import pytest

from garboard import cautions
from garboard.findings import BasisKind
from garboard.hosting.host import make_host
from garboard.job_view import JobView
from garboard.records import Job, Vessel
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
