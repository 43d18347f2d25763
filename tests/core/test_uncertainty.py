"""Measured values: coverage factors against scipy, standard uncertainties against draws."""

from __future__ import annotations

import ast
import math
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import garboard
from garboard.numeric import normal_draws
from garboard.uncertainty import NORMAL_95, MeasuredValue, of_last_digit, rectangular, student_t

ROOT = Path(garboard.__file__).parents[2]
JUDGING = ("wiring_audit", "heading_calibration", "prop_check", "fuel_curve", "handover")


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 10, 11, 15, 30, 120, 100_000])
def test_the_coverage_factor_agrees_with_scipy(freedom: int) -> None:
    """Source: scipy.stats.t."""
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
