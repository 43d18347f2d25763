"""Propeller arithmetic against published figures; the source stands beside each check."""

import math

import numpy as np
import pytest

from garboard.uncertainty import MeasuredValue, Part
from garboard_prop_check.air import engine_speed_in_reference_air, power_factor, saturation_pressure
from garboard_prop_check.averages import weights_of_opposite_runs
from garboard_prop_check.crouch import CONSTANTS, crouch_constant, crouch_speed
from garboard_prop_check.least_squares import dot
from garboard_prop_check.pitch import change_by_step_rule, engine_speed_by_proportion
from garboard_prop_check.power_limit import PowerLimit, power_limit
from garboard_prop_check.slip import parts_of_slip, parts_of_theoretical_speed, slip, theoretical_speed

METRE_IN_INCHES = 1 / 0.0254
KNOT_IN_MPH = 1852 / 1609.344


# Slip.


@pytest.mark.parametrize(
    ("constant", "knots"),
    [(1056, 1 / KNOT_IN_MPH), (1215.2, 1.0), (656, 1 / 1.852)],
    ids=["mph", "knots", "km/h"],
)
def test_slip_constants(constant: float, knots: float) -> None:
    """Source: a public note deriving 1056, 1215.2 and 656 inches a minute for one mph, knot and km/h (rounded)."""
    assert theoretical_speed(constant, 1.0, 1.0) == pytest.approx(knots, rel=3e-4)


def test_apparent_slip_of_an_examination_question() -> None:
    """Source: propeller test examples, marine engineering examination set, Q1: 5 m, 105 rev/min, 14 kn: 17.7 %."""
    theory = theoretical_speed(105, 1.0, 5 * METRE_IN_INCHES)
    assert 100 * slip(14, theory) == pytest.approx(17.7, abs=0.05)


def test_slip_over_a_day_of_a_licence_question() -> None:
    """Source: USCG licence question, 19 ft at 44 rev/min, 183.5 miles in 24 h; by hand 1 - 183.5 / 198.12 = 7.38 %.

    By hand: 44 x 60 x 24 = 63360 turns x 19 ft = 1 203 840 ft / 6076.115 ft = 198.12 nm. Answer key +7.4 (memory).
    """
    assert 100 * slip(183.5 / 24, theoretical_speed(44, 1.0, 19 * 12)) == pytest.approx(7.38, abs=0.005)


def test_the_mile_taken_decides_the_slip() -> None:
    """Source: the same question with the 5280 ft statute mile: by hand 1 - 183.5 x 5280 / 1 203 840 = 19.5 %."""
    knots = 183.5 / 24 / KNOT_IN_MPH
    assert 100 * slip(knots, theoretical_speed(44, 1.0, 19 * 12)) == pytest.approx(19.5, abs=0.05)


def test_slip_of_an_outboard_by_hand() -> None:
    """By hand, constructed: 5000 / 1.85 x 19 / 1056 = 48.628 mph; 42 mph is 13.63 % slip."""
    theory = theoretical_speed(5000, 1.85, 19)
    assert theory * KNOT_IN_MPH == pytest.approx(48.628, abs=0.001)
    assert 100 * slip(42 / KNOT_IN_MPH, theory) == pytest.approx(13.63, abs=0.01)


def test_slip_interval_agrees_with_drawing_lots() -> None:
    """Source: JCGM 101:2008, propagation of distributions by drawing a million sets of readings (numpy)."""
    lots = np.random.default_rng(20261125)
    count, speed, turns, ratio, pitch = 1_000_000, 40.0, 5800.0, 1.85, 19.0
    speeds = lots.normal(speed, 0.4 / 2, count)
    engine = lots.normal(turns, 60 / 2, count)
    pitches = pitch * (1 + lots.uniform(-0.01, 0.01, count))
    drawn = 1 - speeds / (engine / ratio * pitches / 1215.2231)
    theory = theoretical_speed(turns, ratio, pitch)
    of_theory = parts_of_theoretical_speed(theory, turns, [Part.of_expanded("engine", 1.96 * 30)], 0.01)
    of_slip = parts_of_slip(speed, [Part.of_expanded("speed", 1.96 * 0.2)], theory, of_theory)
    found = MeasuredValue.of_parts(slip(speed, theory), "", of_slip)
    assert found.standard_uncertainty == pytest.approx(float(drawn.std()), rel=0.01)
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.0005)


SKIFF_RUN = (
    # speed [kn], engine speed [rev/min], theoretical speed [mph], slip [%]
    (2.8, 630, 4.66, 30.9),
    (4.3, 1000, 7.40, 33.1),
    (6.0, 1500, 11.10, 37.8),
    (8.0, 2000, 14.80, 37.8),
    (12.3, 2500, 18.50, 23.5),
    (16.5, 3000, 22.19, 14.4),
    (21.0, 3500, 25.89, 6.7),
    (23.1, 4000, 29.59, 10.2),
    (27.3, 4500, 33.29, 5.6),
    (30.0, 5000, 36.99, 6.7),
    (33.5, 5600, 41.43, 6.9),
)


@pytest.mark.parametrize(("knots", "turns", "theory_mph", "slip_percent"), SKIFF_RUN)
def test_slip_of_an_outboard_skiff(knots: float, turns: float, theory_mph: float, slip_percent: float) -> None:
    """Source: private test report of an outboard skiff, all eleven rows: propeller 15.25 x 15 in, gear ratio 1.92."""
    theory = theoretical_speed(turns, 1.92, 15)
    assert theory * KNOT_IN_MPH == pytest.approx(theory_mph, abs=0.01)
    assert 100 * slip(knots, theory) == pytest.approx(slip_percent, abs=0.1)


# Runs.


@pytest.mark.parametrize(
    ("speeds", "expected"),
    [((5.0, 6.0), 5.5), ((31.0, 28.7, 31.4, 28.7), 30.0), ((31.0, 28.6, 31.8), 30.0), ((31.2, 28.4), 29.8)],
    ids=[
        "Seamanship handbook: a mile in 12 and 10 min is 5.5, not 5.4545",
        "Tupper pp. 243-245 (V1 + 3 V2 + 3 V3 + V4) / 8, numbers constructed; the plain mean is 29.95",
        "three runs, (V1 + 2 V2 + V3) / 4 for a current that changes steadily, formula from memory, constructed",
        "ITTC 7.5-04-01-01.1: a double run is the mean of both",
    ],
)
def test_runs_both_ways(speeds: tuple[float, ...], expected: float) -> None:
    """Speed with the current dropped out; sources in the names of the cases."""
    ways = [(-1) ** n for n in range(len(speeds))]
    assert dot(weights_of_opposite_runs(ways)[0], speeds) == pytest.approx(expected, abs=1e-9)


# Air.


@pytest.mark.parametrize(
    ("dry_pressure", "temperature", "factor"), [(99.0, 25, 1.0), (96.0, 35, 1.05712), (90.0, 20, 1.10706)]
)
def test_power_factor(dry_pressure: float, temperature: float, factor: float) -> None:
    """Source: SAE J1349 (June 1990), formula read as quoted, dry reference 99 kPa (not 29.92 inHg); by hand."""
    assert power_factor(dry_pressure, temperature) == pytest.approx(factor, abs=1e-5)


@pytest.mark.parametrize(
    ("temperature", "pressure"), [(15, 1.7056), (20, 2.3388), (25, 3.1690), (30, 4.2455), (35, 5.6267)]
)
def test_vapour_pressure(temperature: float, pressure: float) -> None:
    """Source: table "Vapour pressure of water", encyclopaedia copy of handbook values, read."""
    assert saturation_pressure(temperature) == pytest.approx(pressure, rel=5e-3)


def test_reference_air_follows_the_propeller_law() -> None:
    """Source: propeller law as the cube of speed: 40 CFR 1042 Appendix II, duty cycle E3, 91 % speed at 75 % power."""
    turns, _ = engine_speed_in_reference_air(0.91 * 6000, 0, 1 / 0.75)
    assert turns == pytest.approx(6000, rel=0.005)


# Crouch.


@pytest.mark.parametrize(
    ("displacement", "power", "constant", "speed"),
    [(3000, 150, 180, 40.249), (3000, 150, 150, 33.541), (4000, 250, 190, 47.5), (2000, 90, 150, 31.82)],
)
def test_crouch_speed(displacement: float, power: float, constant: float, speed: float) -> None:
    """Source: J. F. Hughes, Crouch formula FAQ (1997), formula in knots; results by hand."""
    assert crouch_speed(constant, displacement, power) == pytest.approx(speed, abs=0.005)


@pytest.mark.parametrize("printed_for_mph", [172, 218, 240])
def test_constants_are_for_knots(printed_for_mph: float) -> None:
    """Source: a public page's constants for miles an hour (172, 218, 240): over 1.1508 they fall into our ranges."""
    low, high = min(low for low, _ in CONSTANTS.values()), max(high for _, high in CONSTANTS.values())
    assert low - 1 <= printed_for_mph / KNOT_IN_MPH <= high


@pytest.mark.parametrize("knots", [25, 30, 35, 40])
@pytest.mark.parametrize(("pounds", "beam", "lcg"), [(4000, 2.2, 2.3), (6000, 2.4, 2.5), (8000, 2.6, 2.8)])
@pytest.mark.parametrize("efficiency", [0.50, 0.65])
@pytest.mark.filterwarnings("ignore")
def test_planing_theory_falls_into_the_range(
    knots: float, pounds: float, beam: float, lcg: float, efficiency: float
) -> None:
    """Source: Savitsky's method by the library openplaning, invented hulls, propulsive efficiency 0.50 to 0.65
    (common practice): the constant that follows lies where the ranges for runabouts lie."""
    from openplaning import PlaningBoat  # with all of scipy, of which a worker that does not come here is free

    speed, weight = knots * 1852 / 3600, pounds * 4.4482216
    hull = PlaningBoat(speed, weight, beam, lcg, 0.7, 1.5, 18, 0, 0, 0, h_air=1.2, b_air=2.0, C_shape=0.8)
    hull.get_steady_trim()
    drag = float(hull.net_force[0])
    horsepower = drag * speed / 745.69987 / efficiency
    low, high = CONSTANTS["cruiser or average runabout"][0], CONSTANTS["light, fast runabout"][1]
    assert low <= crouch_constant(knots, pounds, horsepower) <= high


# Pitch.


def test_step_rule() -> None:
    """Source: trade page on pitch: 4800 against 5600 wanted, 800 / 200 = 4 in less; 5000 of 6000 takes 5 in off."""
    assert change_by_step_rule(4800, 5600, 200) == -4
    assert change_by_step_rule(5000, 6000, 200) == -5


def test_step_rule_for_two_inches() -> None:
    """Source: fishing club article on choosing a propeller: 2 in more pitch cost 300 to 400 rev/min."""
    assert (change_by_step_rule(5800, 5500, 150), change_by_step_rule(5800, 5400, 200)) == (2, 2)


def test_proportional_rule() -> None:
    """Source: trade page on pitch: 5000 of 6000 rev/min with 19 in gives 15.8 in."""
    assert engine_speed_by_proportion(5000, 19, 15.8) == pytest.approx(6000, abs=20)


def test_the_two_rules_disagree() -> None:
    """By hand: 4800 to 5600 rev/min is 4 in by the one rule and 14 % by the other, 3 in from 21 in."""
    assert engine_speed_by_proportion(4800, 21, 18) == pytest.approx(5600)
    assert change_by_step_rule(4800, 5600, 200) == -4


# Power.


@pytest.mark.parametrize(
    ("length", "width", "remote", "flat", "computed", "allowed"),
    [
        (19.5, 7.0, True, False, 183, 185),
        (12.0, 46 / 12, False, False, 15, 15),
        (12.0, 46 / 12, False, True, 10, 10),
        (16.0, 6.5, True, False, 118, 120),
        (16.0, 6.5, False, False, 58.2, 60),
        (16.0, 6.5, False, True, 37, 40),
        (12.0, 4.0, False, True, 10, 10),
        (10.0, 4.0, False, False, 7.5, 7.5),
        (14.0, 5.0, False, False, 31, 35),
        (18.0, 7.25, True, False, 171, 175),
    ],
)
def test_power_examples(length: float, width: float, remote: bool, flat: bool, computed: float, allowed: float) -> None:
    """Source: 33 CFR 183.53 with a boat-building education site's restatement and first two examples; rest by hand.

    That site prints 45.96 and 10 hp for the second: 12 ft by 46 in is 46, and 10 holds only for a flat bottom.
    """
    found = power_limit(length * width, remote, flat)
    assert found.computed == pytest.approx(computed)
    assert found.allowed == allowed


TABLE = [(1, 35, 3.0), (36, 39, 5.0), (40, 42, 7.5), (43, 45, 10.0), (46, 52, 15.0)]
"""33 CFR 183.53, table for a factor up to 52, as restated in Wis. Admin. Code NR 5.12."""


@pytest.mark.parametrize(("lowest", "highest", "power"), TABLE)
def test_power_table(lowest: int, highest: int, power: float) -> None:
    """Source: 33 CFR 183.53, table, entered with the nearest whole number, never raised to a multiple of 5."""
    for factor in (lowest, highest, lowest - 0.4, highest + 0.4):
        for remote in (True, False):
            assert power_limit(factor, remote, False) == PowerLimit(power, power)


@pytest.mark.parametrize(("line", "above"), list(zip(TABLE[1:], TABLE, strict=False)))
def test_flat_bottom_is_one_line_down(line: tuple[int, int, float], above: tuple[int, int, float]) -> None:
    """Source: 33 CFR 183.53, note: a flat bottom hard chine boat with a factor of 52 or less takes one line less."""
    assert power_limit(line[0], False, True).computed == above[2]


@pytest.mark.parametrize(
    ("factor", "remote", "flat", "computed"), [(53, True, False, 16), (53, False, False, 17.4), (60, False, True, 15)]
)
def test_power_formulas_begin_above_the_gap(factor: float, remote: bool, flat: bool, computed: float) -> None:
    """Source: 33 CFR 183.53: 2 F - 90, 0.8 F - 25, 0.5 F - 15 for factors over 52.5; by hand."""
    assert power_limit(factor, remote, flat).computed == pytest.approx(computed)


def test_the_gap_is_not_filled() -> None:
    """52.49 is still 52 by the nearest whole number, 52.51 is over 52.5; 52.5 is neither."""
    assert power_limit(52.49, True, False).computed == 15
    assert power_limit(52.51, True, False).computed == pytest.approx(15.02)
    with pytest.raises(ValueError, match=r"exactly 52\.5"):
        power_limit(12.5 * 4.2, True, False)
    assert math.isclose(12.5 * 4.2, 52.5)


def test_power_is_raised_and_never_lowered() -> None:
    """Source: 33 CFR 183.53 and Wis. Admin. Code NR 5.12: a result of 31 may be raised to 35 and is never 30."""
    for factor in np.arange(53, 400, 0.7):
        found = power_limit(float(factor), True, False)
        assert 0 <= found.allowed - found.computed < 5
        assert found.allowed % 5 == 0
