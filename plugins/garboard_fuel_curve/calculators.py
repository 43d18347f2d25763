"""What the fuel curve works out, in order of their steps."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import attrs

from garboard.findings import Basis, Finding
from garboard.fittings import runs_of_no_propeller
from garboard.job_view import JobView
from garboard.steps import Calculator
from garboard_fuel_curve.against_others import against_others
from garboard_fuel_curve.cruise import best_cruise, cruising_range
from garboard_fuel_curve.curve_findings import fuel_curve
from garboard_fuel_curve.fitted import judged_now, of_now
from garboard_fuel_curve.hump import planing_hump
from garboard_fuel_curve.mixed_use import mixed_use
from garboard_fuel_curve.power import fuel_for_power
from garboard_fuel_curve.refill import flow_meter
from garboard_fuel_curve.steps import (
    BEST_EFFICIENCY,
    FIVE_MODE_CYCLE,
    FUEL_TABLE,
    ORDINARY,
    OTHER_READINGS,
    PRACTICE,
    PROPAGATION,
    STEPS,
    TANKS,
    THIRDS,
)
from garboard_fuel_curve.wording import rows_named


def _fitted_out(step: str) -> Callable[[JobView], bool]:
    return lambda view: view.state_of(step) != "not fitted"


def _calculator(
    order: int,
    name: str,
    title: str,
    step: str,
    compute: Callable[[JobView], Iterable[Finding]],
    *basis: Basis,
    may_doubt: bool = False,
    compared: tuple[str, ...] = (),
) -> Calculator:
    return Calculator(
        key=f"fuel_curve.{name}",
        title=title,
        step=step,
        order=order,
        compute=judged_now(compute),
        basis=basis,
        applies=_fitted_out(step),
        may_doubt=may_doubt,
        compared=compared,
        doubts_in=("fuel_curve", "prop_check"),
    )


def _steps_of_each(view: JobView) -> Iterator[Finding]:
    """What contradicts the steps of the propellers now fitted, and which steps are of none."""
    yield from runs_of_no_propeller(view, STEPS, _called)
    yield from against_others(of_now(view))


def _called(rows: Sequence[str]) -> str:
    return rows_named(rows) if all(rows) else "recording of the throttle steps"


_AGAINST_OTHERS = _calculator(
    90, "against_others", "Steps against other readings", STEPS, against_others, OTHER_READINGS, may_doubt=True
)

CALCULATORS = (
    attrs.evolve(_AGAINST_OTHERS, compute=_steps_of_each),
    _calculator(
        100, "best_cruise", "Best-economy cruise", STEPS, best_cruise, PRACTICE, PROPAGATION, compared=("economy",)
    ),
    _calculator(200, "curve", "Fuel curve", STEPS, fuel_curve, PRACTICE, PROPAGATION, may_doubt=True),
    _calculator(300, "planing_hump", "Planing hump", STEPS, planing_hump, PRACTICE, PROPAGATION),
    _calculator(400, "mixed_use", "Fuel over mixed use", STEPS, mixed_use, FIVE_MODE_CYCLE),
    _calculator(
        500,
        "fuel_for_power",
        "Fuel for the power",
        STEPS,
        fuel_for_power,
        *(BEST_EFFICIENCY, ORDINARY, FUEL_TABLE),
        may_doubt=True,
    ),
    _calculator(100, "range", "Range", TANKS, cruising_range, THIRDS),
    _calculator(200, "flow_meter", "Flow meter", TANKS, flow_meter, PRACTICE, may_doubt=True),
)
