"""Everything the engine trial works out, step by step."""

from __future__ import annotations

from garboard.steps import Calculator
from garboard_engine_trial import after, data, fit_out, instruments, label, load, pilot_order, rigging
from garboard_engine_trial.after_steps import AFTER
from garboard_engine_trial.alongside_steps import AS_RIGGED, DATA, FIRST_START, INSTRUMENTS, MAKERS_WINDOW
from garboard_engine_trial.fit_out_steps import FIT_OUT, LAW
from garboard_engine_trial.law_texts import CUT_OFF, START_IN_GEAR
from garboard_engine_trial.points import Danger, check_of, tried_of
from garboard_engine_trial.steps import step_of
from garboard_engine_trial.under_way_steps import CONTROLS, UNDER_LOAD

_DANGERS = {
    "starts_in_neutral_only": Danger(
        code="engine_trial.first_start.starts_in_gear",
        sentence="Starts in gear: do not run it. Correct the neutral switch or the control, then try again.",
        basis=START_IN_GEAR.basis,
    ),
    "cut_off_stops": Danger(
        code="engine_trial.first_start.cut_off_dead",
        sentence="The cut-off link does not stop it: do not leave the dock. Correct the switch, then try again.",
        basis=CUT_OFF.basis,
    ),
}

CALCULATORS: tuple[Calculator, ...] = (
    check_of(
        step_of(AS_RIGGED),
        (
            "engine_trial.as_rigged.in_order",
            "engine_trial.as_rigged.failed",
            "engine_trial.as_rigged.still_to_try",
        ),
    ),
    check_of(
        step_of(FIRST_START),
        (
            "engine_trial.first_start.in_order",
            "engine_trial.first_start.failed",
            "engine_trial.first_start.still_to_try",
        ),
        _DANGERS,
    ),
    check_of(
        step_of(DATA),
        ("engine_trial.data.in_order", "engine_trial.data.failed", "engine_trial.data.still_to_try"),
    ),
    tried_of(step_of(MAKERS_WINDOW)),
    tried_of(step_of(INSTRUMENTS)),
    tried_of(step_of(LAW)),
    check_of(
        step_of(FIT_OUT),
        ("engine_trial.fit_out.in_order", "engine_trial.fit_out.failed", "engine_trial.fit_out.still_to_try"),
    ),
    check_of(
        step_of(CONTROLS),
        (
            "engine_trial.controls_under_way.in_order",
            "engine_trial.controls_under_way.failed",
            "engine_trial.controls_under_way.still_to_try",
        ),
    ),
    check_of(
        step_of(UNDER_LOAD),
        ("engine_trial.under_load.in_order", "engine_trial.under_load.failed", "engine_trial.under_load.still_to_try"),
    ),
    check_of(
        step_of(AFTER),
        ("engine_trial.after.in_order", "engine_trial.after.failed", "engine_trial.after.still_to_try"),
    ),
    *rigging.CALCULATORS,
    *data.CALCULATORS,
    *instruments.CALCULATORS,
    *label.CALCULATORS,
    *fit_out.CALCULATORS,
    *pilot_order.CALCULATORS,
    *load.CALCULATORS,
    *after.CALCULATORS,
)
