"""Fuel figures against published tables and worked examples. Each source is named beside its check."""

from math import isclose

import pytest

from garboard.series import mean_of_means
from garboard_fuel_curve.curve import Point, Shared, study
from garboard_fuel_curve.duty_cycle import FIVE_MODES, Mode, exponent, weighted
from garboard_fuel_curve.economy import economy, litres_per_mile, radius_by_thirds, range_with_reserve, statute_economy
from garboard_fuel_curve.specific_consumption import (
    BTU_PER_HORSEPOWER_HOUR,
    HEATING_VALUE,
    HEATING_VALUE_WITHIN,
    ORDINARY_CONSUMPTION,
    brake_efficiency,
    flow_at_power,
    metric_consumption,
    specific_consumption,
)
from garboard_fuel_curve.steps import SETTINGS

DEFAULTS = {setting.key: str(setting.default) for setting in SETTINGS}


# --- 40 CFR 1045 Appendix II, five-mode duty cycle -------------------------------------------------------------


def test_the_modes_are_those_of_the_regulation() -> None:
    """Source: 40 CFR 1045 Appendix II, discrete-mode cycle: speed %, torque %, weighting of modes 1 to 5."""
    published = [(100, 100, 0.06), (80, 71.6, 0.14), (60, 46.5, 0.15), (40, 25.3, 0.25), (None, 0, 0.40)]
    assert published == [(mode.speed, mode.torque, mode.weight) for mode in FIVE_MODES]


def test_the_weights_add_up_to_one() -> None:
    """Source: 40 CFR 1045 Appendix II; the sum is arithmetic."""
    assert isclose(1.0, weighted([1.0] * 5), rel_tol=1e-12)


def power_share(mode: Mode) -> float:
    """Power of a mode as a share of that at full speed: speed share times torque share."""
    return (mode.speed or 0) / 100 * mode.torque / 100


def test_the_weighted_power_of_the_cycle() -> None:
    """Source: 40 CFR 1045 Appendix II. By hand: 0.06 + 0.14 x 0.5728 + 0.15 x 0.279 + 0.25 x 0.1012 = 0.207342."""
    assert isclose(0.207342, weighted([power_share(mode) for mode in FIVE_MODES]), abs_tol=5e-7)


@pytest.mark.parametrize(("speed", "torque"), [(0.8, 0.71554), (0.6, 0.46476), (0.4, 0.25298)])
def test_the_published_torques_follow_speed_to_the_power_one_and_a_half(speed: float, torque: float) -> None:
    """Source: 40 CFR 1045 Appendix II prints 71.6, 46.5, 25.3 %; speed^1.5 gives the values here, to a thousandth."""
    mode = next(mode for mode in FIVE_MODES if mode.speed == speed * 100)
    assert isclose(torque, speed**1.5, abs_tol=5e-6)
    assert isclose(torque, mode.torque / 100, abs_tol=1e-3)


def test_the_power_of_the_cycle_follows_speed_to_the_power_two_and_a_half() -> None:
    """Source: 40 CFR 1045 Appendix II; exponent by least squares over modes 1 to 4, where the torques are rounded."""
    running = [mode for mode in FIVE_MODES if mode.speed]
    shares = [(mode.speed or 0) / 100 for mode in running]
    assert isclose(2.5, exponent(shares, [power_share(mode) for mode in running]), abs_tol=0.005)


def test_the_exponent_is_that_of_an_exact_power_law() -> None:
    """Source: arithmetic; the propeller law of the diesel cycle in 40 CFR 1042 Appendix II is power 3."""
    assert isclose(3.0, exponent([1.0, 0.91, 0.80, 0.63], [s**3 for s in (1.0, 0.91, 0.80, 0.63)]), rel_tol=1e-12)


# --- fuel for the power ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("power", "consumption", "weight", "exact", "printed", "digit"),
    [
        # Boating magazine, "Calculating fuel consumption": prints 24.5, which is 24.59 cut off, not rounded.
        (300, 0.50, 6.1, 24.59, 24.5, 0.1),
        # Reference article on boat fuel consumption: prints 16.4 (gasoline) and 11.1 (diesel).
        (200, 0.50, 6.1, 16.393, 16.4, 0.1),
        (200, 0.40, 7.2, 11.111, 11.1, 0.1),
        # The same rule for 150 hp, by hand: 75 / 6.1.
        (150, 0.50, 6.1, 12.295, None, 0),
    ],
)
def test_fuel_flow_at_full_power(
    power: float, consumption: float, weight: float, exact: float, printed: float | None, digit: float
) -> None:
    flow = flow_at_power(power, consumption, weight)
    assert isclose(exact, flow, abs_tol=0.005)
    assert printed is None or abs(printed - flow) < digit
    assert isclose(consumption, specific_consumption(flow, weight, power), rel_tol=1e-12)


def test_the_second_printed_300_hp_example_is_wrong() -> None:
    """Source: a second public page with 300 hp examples prints 150 / 6.2 = 21.8; it is 24.19."""
    flow = flow_at_power(300, 0.50, 6.2)
    assert isclose(24.19, flow, abs_tol=0.005)
    assert abs(21.8 - flow) > 2


def test_specific_consumption_in_metric_units() -> None:
    """Source: NIST SP 811 (2008), appendix B.8, pound and horsepower; 1 lb/(hp h) = 608.277 g/kWh."""
    assert isclose(608.277, metric_consumption(1.0), abs_tol=0.0005)
    assert isclose(304.14, metric_consumption(0.50), abs_tol=0.005)


def test_efficiency_at_the_common_consumption() -> None:
    """Source: heating value 18 500 Btu/lb, the middle of the US Department of Energy's 18 000 to 19 000; 2544.43 Btu
    to the horsepower hour (NIST SP 811). By hand: 2544.43 / (0.50 x 18 500) = 0.27507."""
    assert isclose(2544.43, BTU_PER_HORSEPOWER_HOUR, abs_tol=0.005)
    assert isclose(0.27507, brake_efficiency(0.50, 18500), abs_tol=5e-6)


def test_fuel_properties_lie_within_the_published_table() -> None:
    """Source: Fuel property comparison, US Department of Energy, Alternative Fuels Data Center: gasoline 6.0 to 6.5
    and No. 2 diesel 6.7 to 7.4 lb/gal at 60 F; lower heating value of both 18 000 to 19 000 Btu/lb."""
    gasoline = float(DEFAULTS["fuel_curve.gasoline_density"].split()[0])
    diesel = float(DEFAULTS["fuel_curve.diesel_density"].split()[0])
    assert 6.0 <= gasoline <= 6.5
    assert 6.7 <= diesel <= 7.4
    assert (HEATING_VALUE - HEATING_VALUE_WITHIN, HEATING_VALUE + HEATING_VALUE_WITHIN) == (18000, 19000)


def test_the_common_consumption_is_believed_and_heat_for_nothing_is_not() -> None:
    """Sources: 0.50 and 0.40 lb/(hp h), public worked examples; no engine gives more work than its fuel has heat
    (first law); best efficiency about 40 % for a car or light truck engine and 45 % for a large truck engine,
    Competing technologies for transportation, CRC Press, doi 10.1201/9781420041552-15."""
    best = {fuel: float(DEFAULTS[f"fuel_curve.best_{fuel}"].split()[0]) / 100 for fuel in ("gasoline", "diesel")}
    poorest = float(DEFAULTS["fuel_curve.poorest"].split()[0]) / 100
    assert best == {"gasoline": 0.40, "diesel": 0.45}
    for fuel, consumption in ORDINARY_CONSUMPTION.items():
        assert poorest < brake_efficiency(consumption) < best[fuel] < 1


# --- the curve ------------------------------------------------------------------------------------------------

POWER_SQUADRON_CURVE = (
    # engine speed [rev/min], fuel flow [gal/h], printed rev/min per gal/h
    (1000, 2.2, 455),
    (1500, 2.5, 600),
    (2000, 2.9, 690),
    (2500, 3.3, 760),
    (3000, 4.0, 750),
    (3500, 5.8, 600),
    (4000, 8.9, 450),
)
"""United States Power Squadrons, Anna Maria: fuel topics. Printed ratios are rounded to the nearest 5 or 10."""


@pytest.mark.parametrize(("engine_speed", "flow", "printed"), POWER_SQUADRON_CURVE)
def test_the_printed_ratios(engine_speed: float, flow: float, printed: float) -> None:
    """Source: United States Power Squadrons, Anna Maria: fuel topics. The example divides engine speed by fuel flow,
    a stand-in for economy that takes speed as proportional to engine speed."""
    assert isclose(printed, economy(engine_speed, flow), abs_tol=5)


def test_the_best_engine_speed_of_the_printed_example() -> None:
    """Source: as above; the example finds 2500 rev/min best among its steps. Taking speed as proportional to engine
    speed, the curve has no hump, so its best is that step itself: 2500 / 3.3 = 757.58, printed as 760."""
    points = tuple(Point(engine_speed=e, speed=e, flow=f) for e, f, _ in POWER_SQUADRON_CURVE)
    curve = study(points, Shared(), 0.5)
    ratios = {e: curve.economy_at(e).value for e, _, _ in POWER_SQUADRON_CURVE}
    assert max(ratios, key=ratios.__getitem__) == 2500
    assert curve.landmarks.hump is None
    assert curve.landmarks.best.engine_speed == 2500
    assert isclose(757.58, curve.landmarks.best.economy, abs_tol=0.005)


def test_the_stand_in_is_not_economy_on_a_planing_boat() -> None:
    """Common practice, no source: with a hump, engine speed over fuel flow points to another place than distance over
    fuel flow. Invented readings."""
    rows = ((1000, 4.5, 1.5), (2000, 7.5, 4.5), (2500, 10, 7.5), (3000, 17, 9.5), (3500, 23, 11), (4500, 31.5, 16.2))
    stand_in = max(rows, key=lambda row: row[0] / row[2])
    planing = max((row for row in rows if row[0] >= 3000), key=lambda row: economy(row[1], row[2]))
    assert stand_in[0] == 1000
    assert planing[0] == 3500


# --- range ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tank", "flow", "speed", "out", "round_trip", "left"),
    [(60, 12, 24, 40.0, 80.0, 20), (90, 15, 27, 54.0, 108.0, 30)],
)
def test_the_rule_of_thirds(tank: float, flow: float, speed: float, out: float, round_trip: float, left: float) -> None:
    """Rule: United States Power Squadrons, Anna Maria: fuel topics (one third out, one third back, one third in
    reserve). Numbers constructed: a third of 60 gal at 12 gal/h is 100 min, at 24 kn 40 nm."""
    good = economy(speed, flow)
    assert isclose(out, radius_by_thirds(tank, good), rel_tol=1e-12)
    assert isclose(round_trip, range_with_reserve(tank, 100 / 3, good), rel_tol=1e-12)
    assert isclose(left, tank - round_trip / good, rel_tol=1e-12)


# --- runs both ways -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("runs", "expected"),
    [
        # Mean of means over a measured mile, (V1 + 3 V2 + 3 V3 + V4) / 8; built from 30 kn and a current that
        # changes, 1 + 0.4 t - 0.1 t^2. The plain mean would be 29.95.
        ((31.0, 28.7, 31.4, 28.7), 30.0),
        # One mile in 12 and in 10 minutes: 5 and 6 mi/h. Averaging the times would give 5.4545.
        ((60 / 12, 60 / 10), 5.5),
    ],
)
def test_runs_both_ways_are_averaged_by_speed(runs: tuple[float, ...], expected: float) -> None:
    assert isclose(expected, mean_of_means(runs), rel_tol=1e-12)


def test_the_gallon_of_the_litres_per_mile_is_the_us_gallon() -> None:
    """Source: NIST SP 811 (2008), appendix B.8: 1 US gal = 231 cubic inches, 1 in = 2.54 cm, both exact."""
    assert isclose(231 * 2.54**3 / 1000, litres_per_mile(1.0), rel_tol=1e-12)


def test_the_statute_mile_of_the_economy() -> None:
    """Source: NIST SP 811 (2008), appendix B.8: 1 mi = 5280 ft of 0.3048 m, 1 nautical mile = 1852 m, all exact."""
    assert isclose(1852 / (5280 * 0.3048), statute_economy(1.0), rel_tol=1e-12)
