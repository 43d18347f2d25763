"""The B-series against rows worked out elsewhere and a line that was read, and what the balance takes of it."""

import math
import random
import statistics
from collections.abc import Mapping

import pytest

from garboard_prop_check.open_water import open_water
from garboard_prop_check.power_balance import USUAL

# Derived by another program from the same coefficients: blades, area ratio, pitch ratio, advance, thrust, torque.
DERIVED = [
    (3, 0.50, 0.8, 0, 0.321692, 0.0387849),
    (3, 0.50, 0.8, 0.3, 0.231601, 0.0292905),
    (3, 0.50, 0.8, 0.5, 0.157893, 0.0214808),
    (3, 0.65, 1.0, 0, 0.44152, 0.067188),
    (3, 0.65, 1.0, 0.4, 0.295677, 0.0471784),
    (3, 0.65, 1.0, 0.6, 0.20859, 0.0349094),
    (3, 0.65, 1.2, 0, 0.535247, 0.096459),
    (3, 0.65, 1.2, 0.3, 0.431655, 0.0794962),
    (3, 0.65, 1.2, 0.6, 0.304033, 0.0582486),
    (4, 0.40, 0.8, 0.3, 0.242079, 0.029876),
    (4, 0.40, 0.8, 0.5, 0.172686, 0.0238282),
    (4, 0.55, 1.0, 0, 0.424253, 0.0612904),
    (4, 0.55, 1.0, 0.4, 0.303803, 0.046552),
    (4, 0.55, 1.0, 0.6, 0.224096, 0.0365689),
    (4, 0.55, 1.0, 0.8, 0.135553, 0.0247726),
    (4, 0.70, 1.0, 0.6, 0.225553, 0.0372697),
    (5, 0.75, 1.0, 0, 0.468994, 0.0689611),
    (5, 0.75, 1.0, 0.3, 0.371608, 0.0565581),
    (5, 0.75, 1.0, 0.8, 0.138567, 0.0257093),
]

# Read: a straight line fitted to a propeller of 3 blades, area ratio 0.65. The source labels its pitch ratio 0.4, which
# would give a thrust of 0.14 at rest; it is read as 1.2.
LINE = [
    (0, 0.53, 0.096),
    (0.3, 0.407, 0.075),
    (0.6, 0.284, 0.054),
    (0.9, 0.161, 0.033),
]


@pytest.mark.parametrize(("blades", "area", "pitch", "advance", "thrust", "torque"), DERIVED)
def test_rows_worked_out_elsewhere(
    blades: int, area: float, pitch: float, advance: float, thrust: float, torque: float
) -> None:
    """Source: rows derived from the published coefficients by another program."""
    found = open_water(blades, area, pitch, advance)
    assert found[0] == pytest.approx(thrust, abs=1e-6)
    assert found[1] == pytest.approx(torque, abs=1e-7)


def test_a_straight_line_that_was_read() -> None:
    """Source: a published exercise; a straight line laid by eye through a curve, so within 8 %."""
    for advance, thrust, torque in LINE:
        found = open_water(3, 0.65, 1.2, advance)
        assert found[0] == pytest.approx(thrust, rel=0.08)
        assert found[1] == pytest.approx(torque, rel=0.08)


def test_no_propeller_is_better_than_the_ideal() -> None:
    """Source: momentum theory: efficiency at most 2 / (1 + sqrt(1 + thrust loading)), inside the ranges."""
    chance = random.Random(15)
    tried = 0
    for _ in range(4000):
        pitch, advance = chance.uniform(0.5, 1.4), chance.uniform(0.05, 1.4)
        thrust, torque = open_water(chance.randint(2, 7), chance.uniform(0.35, 0.95), pitch, advance)
        if thrust > 0.005 and torque > 0.001:
            tried += 1
            loading = 8 * thrust / (math.pi * advance**2)
            assert advance * thrust / (2 * math.pi * torque) <= 2 / (1 + math.sqrt(1 + loading)) + 1e-9
    assert tried > 1500


@pytest.mark.parametrize(
    "wrong",
    [
        (1, 0.5, 1.0, 0.5),
        (8, 0.5, 1.0, 0.5),
        (3, 0.2, 1, 0.5),
        (3, 0.5, 1.5, 0.5),
        (3, 0.5, 1, -0.1),
        (3, 0.5, math.nan, 0.1),
    ],
)
def test_nothing_is_said_outside_the_series(wrong: tuple[int, float, float, float]) -> None:
    """Beyond a pitch ratio of 1.4 the polynomial would give efficiencies above 1."""
    with pytest.raises(ValueError, match="expected"):
        open_water(*wrong)


def test_the_balance_takes_its_usual_values_of_pitch_and_diameter_from_the_series() -> None:
    """How engine speed answers pitch and diameter at one power, over 150 seeded draws of propeller, slip and law of
    drag: 2.04 with a deviation of 0.16 and 1.97 with 0.23 when they were first told. The balance starts from 2, with
    0.30 and 0.60."""
    chance = random.Random(20261129)
    by_pitch, by_diameter = [], []
    for _ in range(150):
        made = chance.choice((3, 4)), chance.uniform(0.45, 0.75), chance.uniform(0.82, 1.37)
        at = made, made[2] * (1 - chance.uniform(0.05, 0.22)), chance.uniform(0.8, 2.0)
        by_turns = _slope(at, "turns")
        by_pitch.append(3 * _slope(at, "pitch") / by_turns)
        by_diameter.append(3 * _slope(at, "diameter") / by_turns)
    assert statistics.fmean(by_pitch) == pytest.approx(USUAL[1], abs=0.10)
    assert statistics.fmean(by_diameter) == pytest.approx(USUAL[2], abs=0.10)
    assert statistics.stdev(by_pitch) < 0.30
    assert statistics.stdev(by_diameter) < 0.60


Made = tuple[int, float, float]


def _slope(at: tuple[Made, float, float], what: str) -> float:
    """The power of one factor that the absorbed power follows [-]."""
    more, less = (_power_for(*at, {what: factor}) for factor in (1.02, 0.98))
    return math.log(more / less) / math.log(1.02 / 0.98)


def _power_for(made: Made, advance: float, drag: float, changed: Mapping[str, float]) -> float:
    """Absorbed power with one thing changed by a factor; drag goes as a power of speed [any unit]."""
    turns, pitch, diameter = (changed.get(what, 1.0) for what in ("turns", "pitch", "diameter"))
    blades, area, ratio = made
    thrust = open_water(blades, area, ratio, advance)[0]
    low, high = 0.5 * advance, 1.5 * advance
    for _ in range(26):
        middle = (low + high) / 2
        pushed = open_water(blades, area, ratio * pitch / diameter, middle)[0] * turns**2 * diameter**4
        speed = middle * turns * diameter / advance
        low, high = (middle, high) if pushed > thrust * speed**drag else (low, middle)
    return open_water(blades, area, ratio * pitch / diameter, low)[1] * turns**3 * diameter**5
