"""The calculators this plugin offers."""

from __future__ import annotations

from collections.abc import Iterator

from garboard.findings import OF_VESSEL, Finding
from garboard.fittings import runs_of_no_propeller
from garboard.job_view import JobView
from garboard.steps import Calculator
from garboard_prop_check import advice, alongside, engine_speed, readings, slip_findings, speed
from garboard_prop_check.break_in import MANUAL, held_back, hours_before_full_throttle
from garboard_prop_check.foreseen import AS_FORESEEN, forecasts_scored
from garboard_prop_check.settings import basis_of
from garboard_prop_check.steps import CAPACITY, FULL_THROTTLE, PROPELLER
from garboard_prop_check.tried import judged_now, names_of_runs, of_now
from garboard_prop_check.words import AIR, AVERAGING, CROUCH, FITTING, LABEL, READINGS, SLIP, WINDOW


def readings_of_each(view: JobView) -> Iterator[Finding]:
    """What contradicts what among the runs of the propellers now fitted, and which runs are of none."""
    yield from runs_of_no_propeller(view, FULL_THROTTLE, names_of_runs)
    yield from readings.against_each_other(of_now(view))


CALCULATORS = (
    Calculator(
        key="prop_check.capacity",
        title="Power fitted and maximum power",
        step=CAPACITY,
        compute=alongside.capacity,
        basis=(LABEL,),
    ),
    Calculator(
        key="prop_check.propeller",
        title="Propellers as fitted",
        step=PROPELLER,
        compute=alongside.propeller_fitted,
        basis=(FITTING,),
    ),
    Calculator(
        key="prop_check.readings",
        title="Readings against each other",
        step=FULL_THROTTLE,
        order=90,
        compute=readings_of_each,
        basis=(READINGS,),
        may_doubt=True,
        doubts_in=("prop_check", OF_VESSEL),
    ),
    Calculator(
        key="prop_check.break_in",
        title="Running in",
        step=FULL_THROTTLE,
        order=60,
        compute=hours_before_full_throttle,
        basis=(MANUAL,),
        leads=True,
    ),
    Calculator(
        key="prop_check.forecast",
        title="Forecasts put to the test",
        step=FULL_THROTTLE,
        order=650,
        compute=forecasts_scored,
        of_shop=True,
        basis=(AS_FORESEEN,),
        applies=lambda view: bool(view.forecasts),
    ),
    Calculator(
        key="prop_check.speed",
        title="Full-throttle speed",
        step=FULL_THROTTLE,
        order=100,
        compute=judged_now(speed.full_throttle_speed),
        compared=("speed",),
        basis=(AVERAGING,),
    ),
    Calculator(
        key="prop_check.window",
        title="Engine speed against the window",
        step=FULL_THROTTLE,
        order=200,
        compute=judged_now(engine_speed.against_window),
        compared=("engine speed",),
        basis=(WINDOW,),
    ),
    Calculator(
        key="prop_check.engine_difference",
        title="Difference between engines",
        step=FULL_THROTTLE,
        order=500,
        compute=judged_now(engine_speed.engine_difference),
        basis=(basis_of("engine_difference"),),
        applies=lambda view: len(view.vessel.engines) > 1,
    ),
    Calculator(
        key="prop_check.slip",
        title="Slip",
        step=FULL_THROTTLE,
        order=300,
        compute=judged_now(slip_findings.engine_slip),
        compared=("slip",),
        basis=(SLIP,),
        may_doubt=True,
        doubts_in=("prop_check", OF_VESSEL),
    ),
    Calculator(
        key="prop_check.reference_air",
        title="Engine speed in reference air",
        step=FULL_THROTTLE,
        order=600,
        compute=judged_now(engine_speed.in_reference_air),
        basis=(AIR,),
    ),
    Calculator(
        key="prop_check.crouch",
        title="Speed for weight and power",
        step=FULL_THROTTLE,
        order=700,
        compute=judged_now(speed.crouch_estimate),
        basis=(CROUCH,),
        may_doubt=True,
        doubts_in=("prop_check", OF_VESSEL),
    ),
    Calculator(
        key="prop_check.pitch",
        title="Pitch advice",
        step=FULL_THROTTLE,
        order=50,
        leads=True,
        compute=held_back(advice.pitch_advice),
        basis=advice.BASIS,
    ),
)
