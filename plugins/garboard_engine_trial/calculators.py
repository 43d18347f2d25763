"""Everything the engine trial works out, step by step."""

from __future__ import annotations

from garboard.steps import Calculator
from garboard_engine_trial import data, instruments, rigging, steps
from garboard_engine_trial.bases import CUT_OFF, START_IN_GEAR
from garboard_engine_trial.points import Danger, check_of

_STEP = {step.key: step for step in steps.STEPS}
_DANGERS = {
    "starts_in_neutral_only": Danger(
        code="engine_trial.first_start.starts_in_gear",
        sentence="Starts in gear: do not run it. Correct the neutral switch or the control, then try again.",
        basis=START_IN_GEAR,
    ),
    "cut_off_stops": Danger(
        code="engine_trial.first_start.cut_off_dead",
        sentence="The cut-off link does not stop it: do not leave the dock. Correct the switch, then try again.",
        basis=CUT_OFF,
    ),
}

CALCULATORS: tuple[Calculator, ...] = (
    check_of(
        _STEP[steps.AS_RIGGED],
        (
            "engine_trial.as_rigged.in_order",
            "engine_trial.as_rigged.failed",
            "engine_trial.as_rigged.still_to_try",
        ),
    ),
    check_of(
        _STEP[steps.FIRST_START],
        (
            "engine_trial.first_start.in_order",
            "engine_trial.first_start.failed",
            "engine_trial.first_start.still_to_try",
        ),
        _DANGERS,
    ),
    check_of(
        _STEP[steps.DATA],
        ("engine_trial.data.in_order", "engine_trial.data.failed", "engine_trial.data.still_to_try"),
    ),
    *rigging.CALCULATORS,
    *data.CALCULATORS,
    *instruments.CALCULATORS,
)
