"""One way to a deviation card spares the others, on every surface."""

from __future__ import annotations

import pytest

from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.records import Job, StepState, Vessel
from garboard.report.outline import by_phase
from garboard.steps import NOT_NEEDED
from garboard_heading_calibration.steps import MAGNETOMETER, STRAIGHT_RUNS, SWING


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(("garboard_heading_calibration",), entry_points=False)


def shown(host: PluginHost, **states: str) -> tuple[str, ...]:
    """How the swing, the straight runs and the raw circle are shown, with some of them in a state."""
    names = {"swing": SWING, "runs": STRAIGHT_RUNS, "circle": MAGNETOMETER}
    steps = tuple(StepState(step=names[name], state=state) for name, state in states.items())
    view = JobView(vessel=Vessel(hull_number="X"), job=Job(id="1"), steps=steps)
    found = {step.step.key: step.state for phase in by_phase(view, host, ()) for step in phase.steps if step.step}
    return found[SWING], found[STRAIGHT_RUNS], found[MAGNETOMETER]


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        ({}, ("to do", "to do", "to do")),
        ({"runs": "done"}, (NOT_NEEDED, "done", NOT_NEEDED)),
        ({"swing": "done"}, ("done", NOT_NEEDED, NOT_NEEDED)),
        ({"swing": "done", "runs": "done"}, ("done", "done", NOT_NEEDED)),
        ({"circle": "done"}, ("to do", "to do", "done")),
        ({"swing": "not fitted"}, ("not fitted", "to do", "to do")),
        ({"runs": "done", "swing": "not fitted"}, ("not fitted", "done", NOT_NEEDED)),
        ({"runs": "under way"}, ("to do", "under way", "to do")),
    ],
)
def test_only_a_swing_that_was_done_spares_another(
    host: PluginHost, states: dict[str, str], expected: tuple[str, ...]
) -> None:
    """A raw circle says how a sensor is disturbed and gives no card; not fitted is no swing."""
    assert shown(host, **states) == expected
