"""The calculators this plugin offers."""

from __future__ import annotations

from garboard.findings import OF_VESSEL
from garboard.steps import Calculator
from garboard_prop_check import advice, alongside, engine_speed, readings, slip_findings, speed
from garboard_prop_check.settings import basis_of
from garboard_prop_check.steps import CAPACITY, FULL_THROTTLE, PROPELLER
from garboard_prop_check.words import AIR, AVERAGING, CROUCH, FITTING, LABEL, READINGS, SLIP, WINDOW

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
        compute=readings.against_each_other,
        basis=(READINGS,),
        may_doubt=True,
        doubts_in=("prop_check",),
    ),
    Calculator(
        key="prop_check.speed",
        title="Full-throttle speed",
        step=FULL_THROTTLE,
        order=100,
        compute=speed.full_throttle_speed,
        basis=(AVERAGING,),
    ),
    Calculator(
        key="prop_check.window",
        title="Engine speed against the window",
        step=FULL_THROTTLE,
        order=200,
        compute=engine_speed.against_window,
        basis=(WINDOW,),
    ),
    Calculator(
        key="prop_check.engine_difference",
        title="Difference between engines",
        step=FULL_THROTTLE,
        order=500,
        compute=engine_speed.engine_difference,
        basis=(basis_of("engine_difference"),),
        applies=lambda view: len(view.vessel.engines) > 1,
    ),
    Calculator(
        key="prop_check.slip",
        title="Slip",
        step=FULL_THROTTLE,
        order=300,
        compute=slip_findings.engine_slip,
        basis=(SLIP,),
        may_doubt=True,
        doubts_in=("prop_check", OF_VESSEL),
    ),
    Calculator(
        key="prop_check.reference_air",
        title="Engine speed in reference air",
        step=FULL_THROTTLE,
        order=600,
        compute=engine_speed.in_reference_air,
        basis=(AIR,),
    ),
    Calculator(
        key="prop_check.crouch",
        title="Speed for weight and power",
        step=FULL_THROTTLE,
        order=700,
        compute=speed.crouch_estimate,
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
        compute=advice.pitch_advice,
        basis=advice.BASIS,
    ),
)
