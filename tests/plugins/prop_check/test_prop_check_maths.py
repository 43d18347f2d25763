"""The plain functions: their ranges, their limits, and what their docstrings promise."""

import doctest
import importlib
import inspect
import math
import re
from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard_prop_check import air, averages, crouch, least_squares, pitch, power_limit, slip, window
from garboard_prop_check.least_squares import dot
from garboard_prop_check.window import WindowPosition

MODULES = (air, crouch, pitch, power_limit, slip, window)


def calculations() -> Iterator[Callable[..., object]]:
    for module in MODULES:
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == module.__name__ and not name.startswith("_"):
                yield function
    yield from (averages.weights_of_opposite_runs, least_squares.left_over)


@pytest.mark.parametrize("calculation", list(calculations()), ids=lambda function: function.__name__)
def test_every_argument_and_result_has_its_unit(calculation: Callable[..., object]) -> None:
    """A docstring names every argument and the result with a unit in brackets, on one line or the next."""
    text = inspect.getdoc(calculation) or ""
    for name in (*inspect.signature(calculation).parameters, "returns"):
        assert re.search(rf"^{name}\s+:[^\[]*\[[^\]]+\]", text, re.MULTILINE), name


@pytest.mark.parametrize("module", [*MODULES, averages, least_squares], ids=lambda module: module.__name__)
def test_examples_in_docstrings_run(module: object) -> None:
    """Every example gives what it shows."""
    failed, tried = doctest.testmod(importlib.import_module(getattr(module, "__name__", "")))
    assert (failed, tried > 0) == (0, True)


@pytest.mark.parametrize(
    ("engine_speed", "expanded_uncertainty", "place"),
    [
        (5389, 10, WindowPosition.BELOW),
        (5390, 10, WindowPosition.LOW_END),
        (5400, 10, WindowPosition.LOW_END),
        (5409, 10, WindowPosition.LOW_END),
        (5410, 10, WindowPosition.IN),
        (5400, 0, WindowPosition.IN),
        (6000, 0, WindowPosition.IN),
        (5990, 10, WindowPosition.IN),
        (5991, 10, WindowPosition.HIGH_END),
        (6010, 10, WindowPosition.HIGH_END),
        (6011, 10, WindowPosition.ABOVE),
        (5700, 400, WindowPosition.HIGH_END),
    ],
)
def test_position_in_window(engine_speed: float, expanded_uncertainty: float, place: WindowPosition) -> None:
    """An interval over an end of the window is not called; touching an end from inside is inside."""
    assert window.position_in_window(engine_speed, expanded_uncertainty, 5400, 6000) is place


@pytest.mark.parametrize(("low", "high", "expanded_uncertainty"), [(6000, 5400, 1), (0, 6000, 1), (5400, 6000, -1)])
def test_a_window_without_width_is_refused(low: float, high: float, expanded_uncertainty: float) -> None:
    """Nonsense is refused rather than judged."""
    with pytest.raises(ValueError, match="expected"):
        window.position_in_window(5700, expanded_uncertainty, low, high)


@pytest.mark.parametrize(("engine_speed", "near"), [(6139, False), (6140, True), (6300, True)])
def test_near_limiter(engine_speed: float, near: bool) -> None:
    """The caution starts where the interval reaches the margin before the limiter."""
    assert window.near_limiter(engine_speed, 10, 6250, 100) is near


@given(st.floats(500, 8000), st.floats(1, 3), st.floats(5, 40), st.floats(0, 1))
def test_slip_and_theory_give_the_speed_back(turns: float, ratio: float, inches: float, share: float) -> None:
    """Theoretical speed times one minus slip is the speed over ground."""
    theory = slip.theoretical_speed(turns, ratio, inches)
    assert math.isclose(theory * (1 - slip.slip(share * theory, theory)), share * theory, abs_tol=1e-9)


@pytest.mark.parametrize("wrong", [(0, 2, 17), (4000, 0, 17), (4000, 2, 0), (math.nan, 2, 17), (-1, 2, 17)])
def test_no_theoretical_speed_from_nothing(wrong: tuple[float, float, float]) -> None:
    """Zero, negative and missing numbers are refused."""
    with pytest.raises(ValueError, match="above zero"):
        slip.theoretical_speed(*wrong)


def test_slip_refuses_a_standing_propeller() -> None:
    """A propeller that does not turn has no slip."""
    with pytest.raises(ValueError, match="above zero"):
        slip.slip(10, 0)
    with pytest.raises(ValueError, match="above zero"):
        slip.parts_of_theoretical_speed(10, 0, (), 0.01)
    with pytest.raises(ValueError, match="above zero"):
        slip.parts_of_slip(10, (), 0, ())


@pytest.mark.parametrize(
    ("pressure", "temperature"), [(89.9, 25), (105.1, 25), (99, 14.9), (99, 35.1), (math.nan, 25), (99, math.nan)]
)
def test_power_factor_stays_in_its_range(pressure: float, temperature: float) -> None:
    """Outside the range of the method there is no factor."""
    with pytest.raises(ValueError, match="must lie between"):
        air.power_factor(pressure, temperature)


@given(st.floats(90, 105), st.floats(15, 35))
def test_thinner_and_warmer_air_costs_power(pressure: float, temperature: float) -> None:
    """Less pressure and more heat both raise the factor."""
    factor = air.power_factor(pressure, temperature)
    assert air.power_factor(90, temperature) >= factor
    assert air.power_factor(pressure, 35) >= factor


@given(st.floats(3000, 7000), st.floats(0, 50), st.floats(0.9, 1.2))
def test_reference_air_covers_both_laws(turns: float, expanded_uncertainty: float, factor: float) -> None:
    """The interval reaches from no less than the reading's own to the square-root law."""
    expected, width = air.engine_speed_in_reference_air(turns, expanded_uncertainty, factor)
    assert width >= expanded_uncertainty - 1e-9
    assert abs(turns * math.sqrt(factor) - expected) <= width + 1e-6
    assert (expected - turns) * (factor - 1) >= 0


@pytest.mark.parametrize("wrong", [(101, 20, -0.1), (101, 20, 1.1), (101, 70, 0.5), (101, math.nan, 0.5)])
def test_dry_pressure_refuses_impossible_air(wrong: tuple[float, float, float]) -> None:
    """Humidity beyond 100 % and air no one breathes are refused."""
    with pytest.raises(ValueError, match="must lie between"):
        air.dry_pressure(*wrong)


def test_crouch_refuses_weightless_boats_and_dead_engines() -> None:
    """Weight and power must be above zero."""
    for displacement, power in ((0, 100), (3000, 0), (math.nan, 100)):
        with pytest.raises(ValueError, match="above zero"):
            crouch.crouch_speed(150, displacement, power)


@given(st.floats(3000, 7000), st.floats(4000, 6500), st.floats(8, 30), st.floats(50, 400))
def test_both_rules_point_the_same_way(turns: float, aim: float, inches: float, per_inch: float) -> None:
    """Too slow asks for less pitch, too fast for more, by either rule."""
    by_step = pitch.change_by_step_rule(turns, aim, per_inch)
    there = pitch.engine_speed_by_proportion(turns, inches, inches + math.copysign(1, by_step))
    assert (there - turns) * by_step <= 0
    assert (by_step > 0) == (turns > aim)


@pytest.mark.parametrize(
    "call",
    [
        lambda: pitch.change_by_step_rule(5000, 5500, 0),
        lambda: pitch.engine_speed_by_proportion(5000, 0, 19),
        lambda: pitch.engine_speed_by_proportion(5000, 19, 0),
        lambda: pitch.parts_of_forecast(1, -1, 90),
        lambda: air.engine_speed_in_reference_air(5000, 1, 0),
        lambda: power_limit.power_limit(0, True, False),
        lambda: power_limit.power_limit(math.nan, True, False),
        lambda: averages.weights_of_opposite_runs([1, 1]),
    ],
)
def test_impossible_numbers_are_refused(call: Callable[[], object]) -> None:
    """A calculation outside its range raises instead of answering."""
    with pytest.raises(ValueError, match=r"above zero|zero or above|both ways"):
        call()


def test_no_line_below_the_table() -> None:
    """A flat bottom at the lowest line of the table has no line below it."""
    with pytest.raises(ValueError, match="no line below"):
        power_limit.power_limit(30, False, True)


def test_an_exact_half_goes_down() -> None:
    """35.5 reads as 35, the smaller power."""
    assert power_limit.power_limit(35.5, False, False).computed == 3
    assert power_limit.power_limit(35.6, False, False).computed == 5


@given(st.lists(st.tuples(st.floats(10, 60), st.sampled_from([1, -1])), min_size=2, max_size=8), st.floats(-5, 5))
def test_a_steady_current_drops_out_whatever_the_order(through_water: list[tuple[float, int]], current: float) -> None:
    """Adding a steady current changes no average, by turns or not."""
    speeds, ways = zip(*through_water, strict=True)
    if len(set(ways)) < 2:
        return
    weights, _ = averages.weights_of_opposite_runs(ways)
    still, moved = dot(weights, speeds), dot(weights, [s + w * current for s, w in through_water])
    assert math.isclose(still, moved, abs_tol=1e-9)


@pytest.mark.parametrize(
    ("dry", "degrees", "nearest", "further"),
    [
        (96.0, 25, (96.0, 25), 0),
        (96.0, 36, (96.0, 35), 1),
        (84.0, 25, (90.0, 25), 1),
        (96.0, 3, (96.0, 15), -1),
        (106.0, 3, (105.0, 15), -1),
        (84.0, 3, (90.0, 15), 0),
    ],
)
def test_beyond_its_range_the_power_factor_is_that_of_the_nearest_air(
    dry: float, degrees: float, nearest: tuple[float, float], further: int
) -> None:
    """And the true one lies further from it; where it is cold and thin nobody can say which way."""
    assert air.nearest_power_factor(dry, degrees) == (air.power_factor(*nearest), further)
