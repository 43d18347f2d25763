"""Measured values: coverage factors against scipy, standard uncertainties against draws."""

from __future__ import annotations

import ast
import math
import random
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

import garboard
from garboard.numeric import normal_draws
from garboard.uncertainty import (
    NORMAL_95,
    MeasuredValue,
    Part,
    Shape,
    of_last_digit,
    pooled,
    rectangular,
    student_t,
)

ROOT = Path(garboard.__file__).parents[2]
JUDGING = ("wiring_audit", "heading_calibration", "prop_check", "fuel_curve", "engine_trial", "handover")


@pytest.mark.parametrize("freedom", [*range(1, 41), 60, 120, 1000, 100_000])
def test_the_coverage_factor_agrees_with_scipy(freedom: int) -> None:
    """Source: scipy.stats.t."""
    from scipy import stats

    assert student_t(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), abs=0.0005)


def test_the_coverage_factor_of_many_repeats_is_that_of_a_data_sheet() -> None:
    assert student_t(1_000_000) == pytest.approx(NORMAL_95, abs=0.0001)


def test_no_repeats_give_no_coverage_factor() -> None:
    with pytest.raises(ValueError, match="1 degree of freedom"):
        student_t(0)


def test_bounds_have_the_standard_deviation_of_what_may_lie_anywhere_within_them() -> None:
    """Source: numpy's standard deviation of uniform draws."""
    drawn = np.random.default_rng(1).uniform(-1, 1, 400_000)
    assert rectangular(3.0) == pytest.approx(3 * float(drawn.std()), rel=0.005)
    assert of_last_digit(0.1) == pytest.approx(0.05 * float(drawn.std()), rel=0.005)


@pytest.mark.parametrize("repeats", [3, 5, 9])
def test_the_interval_of_repeated_readings_holds_the_truth_19_times_in_20(repeats: int) -> None:
    """Invented noise of one unit about 7; the share of 4000 intervals that hold 7."""
    draws, held = normal_draws(repeats), 0
    for _ in range(4000):
        readings = np.array([7 + one for one in islice(draws, repeats)])
        of_mean = float(readings.std(ddof=1)) / math.sqrt(repeats)
        found = MeasuredValue.by_repeating(float(readings.mean()), "V", of_mean, repeats - 1)
        held += found.low <= 7 <= found.high
    assert 0.935 <= held / 4000 <= 0.965


def test_the_half_width_of_a_data_sheet_comes_back() -> None:
    given = MeasuredValue.of_expanded(12.6, "V", 0.063)
    assert given.expanded_uncertainty == pytest.approx(0.063)
    assert [given.low, given.high] == pytest.approx([12.537, 12.663])


@pytest.mark.parametrize("wrong", [-0.1, -math.inf])
def test_an_uncertainty_below_zero_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="zero or above"):
        MeasuredValue(1.0, "V", wrong)


def _names(tree: ast.AST) -> set[str]:
    """Every name a module gives to something: arguments, fields, variables, keywords."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.arg):
            found.add(node.arg)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.add(node.id)
        elif isinstance(node, ast.keyword) and node.arg:
            found.add(node.arg)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
    return found


def test_no_calculation_calls_anything_uncertainty_alone() -> None:
    """One name, one meaning: `standard_uncertainty` or `expanded_uncertainty`."""
    files = [file for name in JUDGING for file in (ROOT / "plugins" / f"garboard_{name}").glob("*.py")]
    files += [file for file in (ROOT / "core" / "garboard").glob("*.py") if file.name != "findings.py"]  # old name
    assert len(files) > 60
    found = {str(file) for file in files if "uncertainty" in _names(ast.parse(file.read_text(encoding="utf-8")))}
    assert found == set()


# Parts: shapes, shared sources, few degrees of freedom. Sources: JCGM 100:2008 and JCGM 101:2008, clauses beside each.


def _half_width(*parts: Part) -> float:
    return MeasuredValue.of_parts(0.0, "", parts).expanded_uncertainty


def test_a_bound_alone_holds_95_percent_of_its_width() -> None:
    assert _half_width(Part.bound("tachometer", 20.0)) == pytest.approx(19.0)  # 0.95 a of a rectangle


def test_a_vector_of_unknown_direction_alone() -> None:
    # 95 % of the angles lie where |cos| is below sin(0.95 quarter turns).
    assert _half_width(Part.unknown_direction("current", 1.0)) == pytest.approx(math.sin(0.95 * math.pi / 2))


@pytest.mark.parametrize(
    "parts",
    [
        (Part.bound("a", 3.0), Part("b", 0.7)),
        (Part.bound("a", 1.0), Part("b", 2.0)),
        (Part.unknown_direction("a", 2.0), Part("b", 0.3)),
        (Part.unknown_direction("a", 1.0), Part("b", 1.0)),
    ],
)
def test_the_interval_holds_95_percent_of_draws(parts: tuple[Part, Part]) -> None:
    draw = random.Random(3)

    def one(part: Part) -> float:
        u = part.standard_uncertainty
        if part.shape is Shape.RECTANGULAR:
            return draw.uniform(-1, 1) * u * math.sqrt(3)
        if part.shape is Shape.ARCSINE:
            return u * math.sqrt(2) * math.cos(draw.uniform(0, 2 * math.pi))
        return draw.gauss(0, u)

    half_width = _half_width(*parts)
    inside = sum(abs(sum(map(one, parts))) <= half_width for _ in range(20_000)) / 20_000
    assert inside == pytest.approx(0.95, abs=0.006)  # four standard errors


def test_parts_of_one_source_add_with_their_signs() -> None:
    # JCGM 100:2008, 5.2.2: what two readings share does not average out, and cancels in their difference.
    shared = Part("flow scale", 0.5)
    assert _half_width(shared, shared) == pytest.approx(NORMAL_95 * 1.0)
    assert _half_width(shared, shared.times(-1)) == 0.0
    assert _half_width(shared, Part("another", 0.5)) == pytest.approx(NORMAL_95 * math.hypot(0.5, 0.5))


def test_degrees_of_freedom_of_the_whole() -> None:
    # JCGM 100:2008, G.4.1: 1.0 with 4 and 1.0 with none: 2**2 / (1/4) = 16.
    whole = MeasuredValue.of_parts(0.0, "", [Part("a", 1.0, degrees_of_freedom=4), Part("b", 1.0)])
    assert whole.degrees_of_freedom == 16
    assert whole.coverage_factor == pytest.approx(student_t(16))


def test_a_derived_value_carries_its_parts_on() -> None:
    first = MeasuredValue.of_parts(10.0, "kn", [Part.bound("receiver", 0.1), Part("run", 0.05)])
    twice = MeasuredValue.of_parts(20.0, "kn", [part.times(2.0) for part in first.parts])
    assert twice.expanded_uncertainty == pytest.approx(2 * first.expanded_uncertainty)


def test_a_deviation_known_beforehand_is_bettered_by_the_readings() -> None:
    # Two runs, 5500 and 5510 rev/min, 13.6 known to 30 %: squares about their mean 50 with 1 degree of freedom.
    deviation, freedom = pooled(13.6, 6, 50.0, 1)
    parts = [
        Part("run to run", deviation / math.sqrt(2), degrees_of_freedom=freedom),
        Part("digit", of_last_digit(10) / math.sqrt(2)),
        Part.bound("tachometer", 20.0),
    ]
    assert _half_width(*parts) == pytest.approx(31, abs=0.5)
