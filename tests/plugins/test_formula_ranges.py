"""Every formula of the checks states its range: at an end of it there is an answer, just beyond it a ValueError."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from garboard.uncertainty import student_t
from garboard_fuel_curve.curve import landmarks
from garboard_fuel_curve.duty_cycle import exponent, weighted
from garboard_fuel_curve.economy import economy, litres_per_mile, range_with_reserve
from garboard_fuel_curve.flow_meter import meter_factor
from garboard_fuel_curve.specific_consumption import brake_efficiency, flow_at_power, specific_consumption
from garboard_heading_calibration.deviation import coefficients_by_hand
from garboard_heading_calibration.directions import current_allowance
from garboard_heading_calibration.variation import earth_field
from garboard_prop_check.air import dry_pressure, engine_speed_in_reference_air, power_factor, saturation_pressure
from garboard_prop_check.averages import weights_of_opposite_runs
from garboard_prop_check.crouch import crouch_speed
from garboard_prop_check.pitch import change_by_step_rule, engine_speed_by_proportion, parts_of_forecast
from garboard_prop_check.power_limit import power_limit
from garboard_prop_check.slip import parts_of_slip, parts_of_theoretical_speed, slip, theoretical_speed
from garboard_prop_check.window import position_in_window
from garboard_wiring_audit.batteries import reserve_hours
from garboard_wiring_audit.conductors import ambient_factor, conductor_temperature, resistance_per_metre
from garboard_wiring_audit.voltage_drop import circular_mils_needed, drop_by_circular_mils

LITTLE = 1e-9
"""As near to an open end as a reading ever comes."""

Call = tuple[object, ...]
SHARES, FLOWS = (1.0, 0.5), (8.0, 2.0)

RANGES: list[tuple[Callable[..., object], list[Call], list[Call]]] = [
    (economy, [(20, LITTLE)], [(20, 0), (20, -1), (20, math.nan)]),
    (litres_per_mile, [(LITTLE,)], [(0,), (-1,), (math.nan,)]),
    (range_with_reserve, [(60, 0, 2), (60, 100, 2)], [(60, -0.1, 2), (60, 100.1, 2), (60, math.nan, 2)]),
    (weighted, [((1, 2, 3, 4, 5),)], [((1, 2, 3, 4),), ((1, 2, 3, 4, 5, 6),)]),
    (
        exponent,
        [(SHARES, FLOWS), ((1, 0.5, 0.5), (8, 2, 2))],
        [((1,), (8,)), ((1, 1), (8, 8)), (SHARES, (8, 2, 1)), (SHARES, (8, 0)), ((1, 0), FLOWS), (SHARES, (8, -1))],
    ),
    (specific_consumption, [(LITTLE, LITTLE, LITTLE)], [(0, 6, 150), (12, 0, 150), (12, 6, 0), (12, -6, 150)]),
    (flow_at_power, [(LITTLE, LITTLE, LITTLE)], [(0, 0.5, 6), (150, 0, 6), (150, 0.5, 0)]),
    (brake_efficiency, [(LITTLE, LITTLE)], [(0, 18500), (0.5, 0)]),
    (meter_factor, [(LITTLE, LITTLE)], [(0, 30), (30, 0), (-30, 30), (30, math.nan)]),
    (
        landmarks,
        [((1, 2, 3), (1, 2, 3), 1), ((1, 2, 3), (1, 2, 3), LITTLE)],
        [((1, 2), (1, 2), 1), ((1, 2, 3), (1, 2), 1), ((1, 2, 3), (1, 2, 3), 0), ((1, 2, 3), (1, 2, 3), 1.1)],
    ),
    (student_t, [(1,)], [(0,), (-1,)]),
    (coefficients_by_hand, [((0,) * 8,)], [((0,) * 7,), ((0,) * 9,)]),
    (current_allowance, [(0, 5), (5 - LITTLE, 5)], [(-0.1, 5), (5, 5), (0, 0)]),
    (
        earth_field,
        [(90, 0, 0, 2025), (-90, 180, 0, 2020), (0, -180, 0, 2030 - 1e-6)],
        [(90.1, 0, 0, 2025), (-90.1, 0, 0, 2025), (0, 180.1, 0, 2025), (0, -180.1, 0, 2025)],
    ),
    (earth_field, [], [(0, 0, 0, 2020 - 1e-6), (0, 0, 0, 2030)]),
    (saturation_pressure, [(-45,), (60,)], [(-45.1,), (60.1,), (math.nan,)]),
    (dry_pressure, [(101, 20, 0), (101, 20, 1)], [(101, 20, -0.01), (101, 20, 1.01)]),
    (power_factor, [(90, 15), (105, 35)], [(89.9, 25), (105.1, 25), (99, 14.9), (99, 35.1)]),
    (engine_speed_in_reference_air, [(5800, 5, LITTLE)], [(5800, 5, 0), (5800, 5, -1), (5800, 5, math.nan)]),
    (crouch_speed, [(150, LITTLE, LITTLE)], [(150, 0, 200), (150, 4000, 0), (150, -1, 200)]),
    (change_by_step_rule, [(5000, 5800, LITTLE)], [(5000, 5800, 0), (5000, 5800, -1)]),
    (engine_speed_by_proportion, [(5000, LITTLE, LITTLE)], [(5000, 0, 19), (5000, 19, 0)]),
    (parts_of_forecast, [(1, 0, 0)], [(1, -LITTLE, 90), (1, 60, -LITTLE), (1, math.nan, 90)]),
    (
        power_limit,
        [(1e-6, False, False), (52.499999, False, False), (52.500001, True, False)],
        [(0, False, False), (1e-7, False, False), (-1, False, False), (52.5, False, False), (30, False, True)],
    ),
    (weights_of_opposite_runs, [((1, -1),)], [((1, 1),), ((1,),), ((),)]),
    (theoretical_speed, [(LITTLE, LITTLE, LITTLE)], [(0, 2, 17), (4000, 0, 17), (4000, 2, 0)]),
    (slip, [(10, LITTLE)], [(10, 0), (10, -1)]),
    (parts_of_theoretical_speed, [(10, LITTLE, (), 0)], [(10, 0, (), 0), (10, -1, (), 0)]),
    (parts_of_slip, [(10, (), LITTLE, ())], [(10, (), 0, ()), (10, (), -1, ())]),
    (
        position_in_window,
        [(5800, 0, LITTLE, 6000), (5800, 1, 5400, 5400 + 1e-6)],
        [(5800, 1, 0, 6000), (5800, 1, 6000, 6000), (5800, 1, 6000, 5400), (5800, -LITTLE, 5400, 6000)],
    ),
    (reserve_hours, [(100, 0.5, LITTLE)], [(100, 0.5, 0), (100, 0.5, -1), (100, 0.5, math.nan)]),
    (resistance_per_metre, [(LITTLE, 20)], [(0, 20), (-1, 20), (math.nan, 20)]),
    (ambient_factor, [(30 + 1e-6, 30)], [(30, 30), (20, 30)]),
    (conductor_temperature, [(30, 105, 10, LITTLE)], [(30, 105, 10, 0), (30, 105, 10, -1)]),
    (circular_mils_needed, [(10, 21, LITTLE)], [(10, 21, 0), (10, 21, -1)]),
    (drop_by_circular_mils, [(10, 21, LITTLE)], [(10, 21, 0), (10, 21, -1)]),
]


@pytest.mark.parametrize(("formula", "within", "beyond"), RANGES, ids=[formula.__name__ for formula, *_ in RANGES])
def test_a_formula_answers_in_its_range_and_nowhere_else(
    formula: Callable[..., object], within: list[Call], beyond: list[Call]
) -> None:
    for call in within:
        formula(*call)
    for call in beyond:
        with pytest.raises(ValueError, match=r"above|expected|must|need|lies|no line"):
            formula(*call)
