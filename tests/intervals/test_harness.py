"""The rule of interval coverage itself: what it passes, and what it does not."""

from __future__ import annotations

import math
import random

import attrs
import pytest

from garboard.findings import Basis, BasisKind, Finding, Number, Verdict
from intervals.harness import Coverage, Figure, Says, Stated, shortcomings, typed

FIGURE = Figure(name="speed", calculator="a.b", number="speed")
SAFE = Figure(name="speed", calculator="a.b", number="speed", safe_side="few runs")


def found(inside: int, boats: int = 500, withheld: int = 0, bias: float = 0.0, error: float = 0.01) -> Coverage:
    return Coverage(boats=boats, withheld=withheld, inside=inside, bias=bias, bias_error=error, half_width=1.0)


@pytest.mark.parametrize(
    ("inside", "boats", "wrong"),
    [
        # 500 boats pass from 86.4 to 99.4 %, 2000 from 88.3 to 98.7 %
        (431, 500, "too narrow"),
        (432, 500, ""),
        (475, 500, ""),
        (497, 500, ""),
        (498, 500, "too wide"),
        (1764, 2000, "too narrow"),
        (1766, 2000, ""),
        (1974, 2000, ""),
        (1976, 2000, "too wide"),
    ],
)
def test_a_coverage_fails_when_all_of_its_interval_lies_outside(inside: int, boats: int, wrong: str) -> None:
    told = shortcomings(FIGURE, found(inside, boats))
    assert [one.split(":")[0] for one in told] == ([wrong] if wrong else [])


def test_a_figure_on_the_safe_side_may_hold_more_and_not_less() -> None:
    assert shortcomings(SAFE, found(500)) == []
    assert shortcomings(SAFE, found(470)) == []
    assert shortcomings(SAFE, found(455))[0].startswith("not on the safe side")


@pytest.mark.parametrize(("bias", "fails"), [(0.11, False), (0.13, True), (-0.13, True)])
def test_a_bias_above_a_tenth_of_the_half_width_fails(bias: float, fails: bool) -> None:
    assert bool(shortcomings(FIGURE, found(475, bias=bias))) is fails


def test_silence_does_not_pass() -> None:
    assert shortcomings(FIGURE, found(428, withheld=50)) == []
    assert shortcomings(FIGURE, found(427, withheld=51)) == ["withheld for 51 of 500 boats"]
    assert len(shortcomings(FIGURE, found(0, withheld=500))) == 2


def test_half_widths_that_are_too_small_are_seen() -> None:
    """1 000 normal errors: 1.96 deviations hold, 1.5 and 2.7 do not."""
    chance = random.Random(1)
    errors = [chance.gauss(0, 1) for _ in range(1000)]
    for factor, holds in ((1.96, True), (1.5, False), (2.7, False)):
        inside = sum(abs(error) <= factor for error in errors)
        of_all = found(inside, 1000, bias=sum(errors) / 1000, error=1 / math.sqrt(1000))
        told = shortcomings(FIGURE, attrs.evolve(of_all, half_width=factor))
        assert bool(told) is not holds


def test_a_number_is_read_with_its_half_width_or_not_at_all() -> None:
    basis = (Basis(BasisKind.COMMON_PRACTICE, "a rule"),)

    def stated(number: Number, figure: Figure = FIGURE) -> Stated | None:
        return figure.stated([Finding(verdict=Verdict.PASS, about="x", sentence="s", basis=basis, numbers=(number,))])

    assert stated(Number("speed", 30.0, "kn", 0.25)) == Stated(30.0, 29.75, 30.25)
    assert stated(Number("speed", 30.0, "kn")) is None
    assert stated(Number("slip", 12.0, "%", 1.0)) is None
    at_least = Figure(name="range", calculator="a.b", number="speed", says=Says.AT_LEAST)
    assert stated(Number("speed", 30.0, "kn"), at_least) == Stated(30.0, 30.0, math.inf)


@pytest.mark.parametrize(
    ("value", "digit", "text"), [(30.04, 0.1, "30.0 kn"), (5507.0, 10.0, "5510 kn"), (12.26, 0.5, "12.5 kn")]
)
def test_a_reading_is_typed_to_the_last_digit_of_its_display(value: float, digit: float, text: str) -> None:
    assert typed(value, digit, "kn") == text
