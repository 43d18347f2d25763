"""What stands after ± on the fuel figures, against examples reckoned by hand, and what is told without one."""

import math

import attrs
import pytest

from builders import boat, findings_of, job_view
from fuel_curve_jobs import HOST, PLANING, STEPS, TANKS, Row, typed
from garboard.findings import Finding, Number, Verdict
from garboard.job_view import FieldKey
from garboard.records import JsonValue
from garboard.uncertainty import MeasuredValue, Part
from garboard.units import Amount
from garboard_fuel_curve.believed import curve_of
from garboard_fuel_curve.curve import FINE_STEPS

TEN: list[Row] = [
    (700, 3.0, 0.8),
    (1200, 5.0, 1.6),
    (1700, 6.5, 3.0),
    (2200, 8.0, 5.2),
    (2700, 12.0, 8.4),
    (3200, 18.5, 9.9),
    (3700, 24.0, 12.0),
    (4200, 28.9, 15.1),
    (4700, 33.0, 19.2),
    (5200, 36.5, 24.4),
]
"""An invented boat in ten steps: 24.0 kn and 2.00 nm/gal at 3700 rev/min."""


def number(found: Finding, name: str) -> Number:
    return next(one for one in found.numbers if one.name == name)


def finding(values: dict[FieldKey, JsonValue], calculator: str, **settings: str) -> Finding:
    view = job_view(boat(1), values, settings={f"fuel_curve.{name}": value for name, value in settings.items()})
    return findings_of(HOST, view, f"fuel_curve.{calculator}")[0]


def test_the_parts_of_a_speed_reckoned_by_hand() -> None:
    """Steps 0.07 kn with 14 degrees of freedom, a receiver within 0.1 kn, half a tachometer digit 0.03 kn: ± 0.19."""
    parts = [Part("run to run", 0.07, degrees_of_freedom=14), Part.bound("receiver", 0.1), Part("digit", 0.03)]
    assert MeasuredValue.of_parts(24.0, "kn", parts).expanded_uncertainty == pytest.approx(0.19, abs=0.005)


def test_the_speed_at_a_step_has_those_parts() -> None:
    """By hand: 0.13 kn known to 30 % and ten steps that do not scatter, 0.13 sqrt(6 / 14) = 0.085 kn with 14 degrees;
    two runs 0.060; their digits 0.1 / sqrt(12) / sqrt(2) = 0.020; receiver 0.1 / sqrt(3) = 0.058; the display's
    5 rev/min at 0.0104 kn for each, 0.052 / sqrt(3) = 0.030. Together 0.092, and ± 0.18."""
    speed = curve_of(job_view(boat(1), typed(TEN))).curve.speed_at(3700)
    found = {part.source: abs(part.standard_uncertainty) for part in speed.parts}
    assert speed.value == pytest.approx(24.0)
    assert found["run to run"] == pytest.approx(0.060, abs=0.001)
    assert found["speed digits"] == pytest.approx(0.020, abs=0.001)
    assert found["receiver"] == pytest.approx(0.058, abs=0.001)
    assert found["engine speed display"] == pytest.approx(0.030, abs=0.001)
    assert speed.degrees_of_freedom is not None
    assert speed.expanded_uncertainty == pytest.approx(0.18, abs=0.005)


def test_economy_and_range_have_the_flow_meters_share() -> None:
    """By hand: scale 2.00 x 3 % / 1.96 = 0.031, steps about 0.02 (flow repeats 0.8 %, its digit, speed): ± 0.07.
    A third of 60 gal at 2.00 nm/gal is 40 nm, and has the same share: ± 1.4 nm."""
    curve = curve_of(job_view(boat(1), typed(TEN))).curve
    assert curve.economy_at(3700).expanded_uncertainty == pytest.approx(0.07, abs=0.005)
    values = {**typed(TEN), (TANKS, "usable_fuel", "", ""): "60.0 gal", (TANKS, "cruise", "", ""): "3700 rev/min"}
    out = number(finding(values, "range"), "out and back by thirds")
    assert out.value == pytest.approx(40.0, abs=0.1)
    assert out.expanded_uncertainty == pytest.approx(1.4, abs=0.1)


REFILLED: dict[FieldKey, JsonValue] = {
    (TANKS, "same_mark", "", ""): True,
    (TANKS, "refilled", "", ""): "31.2 gal",
    (TANKS, "metered", "", "centre"): "30.0 gal",
}


def test_a_mark_hit_twice_counts_twice() -> None:
    """By hand: 0.5 gal x sqrt(2) / 31.2 = 2.27 %, a pump within 0.5 %, two digits 0.09 and 0.10 %: 1.040 ± 0.024."""
    factor = number(finding(REFILLED, "flow_meter"), "refill over meter")
    assert factor.value == pytest.approx(1.040)
    assert factor.expanded_uncertainty == pytest.approx(0.024, abs=0.0005)


def test_after_a_refill_its_uncertainty_stands_for_the_flow_meters() -> None:
    plain = curve_of(job_view(boat(1), typed(TEN))).curve.economy_at(3700)
    refilled = curve_of(job_view(boat(1), {**typed(TEN), **REFILLED})).curve.economy_at(3700)
    assert refilled.value == pytest.approx(plain.value / 1.04)
    assert "flow meter" in {part.source for part in plain.parts}
    assert {"filling", "pump"} <= {part.source for part in refilled.parts} - {"flow meter"}
    assert refilled.expanded_uncertainty < plain.expanded_uncertainty


def test_one_way_figures_are_told_as_at_least() -> None:
    """A current of 1 kn either way at 12.0 gal/h: 24.0 kn is at least 23.0, 2.00 nm/gal at least about 1.9."""
    one_way = {**typed(TEN, current=None), (TANKS, "usable_fuel", "", ""): "60.0 gal"}
    one_way[TANKS, "cruise", "", ""] = "3700 rev/min"
    found = finding(one_way, "range")
    assert number(found, "speed, at least").value == pytest.approx(24.0 - 1.0, abs=0.1)
    assert number(found, "economy, at least").value == pytest.approx(2.00 - 0.11, abs=0.02)
    assert number(found, "out and back by thirds, at least").value == pytest.approx(40.0 - 2.2, abs=0.5)
    assert found.sentence.startswith("At least 37 nm out"), (
        "37.9: a distance to plan by is never told as more than it is"
    )
    assert f"at {number(found, 'speed, at least').value:.1f} kn or more" in found.sentence
    assert all(one.expanded_uncertainty is None for one in found.numbers if one.name.endswith("at least"))


def test_no_figure_of_one_way_steps_passes_and_each_names_the_current_it_allows_for() -> None:
    """A current of 3.5 kn would make 2.00 nm/gal 1.71: "at least" holds for the shop's 1 kn only."""
    fuel: dict[FieldKey, JsonValue] = {(TANKS, "usable_fuel", "", ""): "60.0 gal"}
    for calculator in ("range", "best_cruise", "planing_hump"):
        found = finding({**typed(PLANING, current=None), **fuel}, calculator)
        assert (found.code, found.verdict) == (f"fuel_curve.{calculator}.one_way", Verdict.ADVISE)
        assert "Only if the current was no more than 1 kn: run back too." in found.sentence
        both_ways = finding({**typed(PLANING), **fuel}, calculator)
        assert both_ways.verdict is Verdict.PASS
        assert "current" not in both_ways.sentence


def test_the_table_gives_no_economy_for_a_step_run_one_way() -> None:
    values = typed(PLANING)
    del values[STEPS, "speed_back", "3", ""]
    table = finding(values, "curve").tables[0]
    assert table.title == "Fuel by engine speed, a current not taken out"
    assert table.rows[2][3:] == ("one way",) * 3
    assert table.rows[3][3:] == ("1.67", "1.92", "2.3")
    assert "current" not in finding(typed(PLANING), "curve").tables[0].title


def test_one_step_run_one_way_leaves_the_figures_far_from_it_alone() -> None:
    values = typed(TEN)
    del values[STEPS, "speed_back", "1", ""]
    assert all("at least" not in one.name for one in finding(values, "best_cruise").numbers)
    del values[STEPS, "speed_back", "7", ""]
    assert any("at least" in one.name for one in finding(values, "best_cruise").numbers)


def test_steps_far_apart_tell_the_best_cruise_as_a_range_and_no_one_engine_speed() -> None:
    found = finding(typed(PLANING), "best_cruise")
    low, high = (number(found, f"cruise, {end}").value for end in ("from", "to"))
    assert found.sentence.startswith(f"{low:.0f}"[:-1])
    assert low < 3700 < high
    assert "best engine speed" not in {one.name for one in found.numbers}
    # Readings within 3 % of the best, 2.12 nm/gal: 2.09 at 3500 and 2.08 at 4000, but not 1.94 at 4500 rev/min.
    assert low < 3500
    assert 4000 < high < 4500


@pytest.mark.parametrize(("gap", "told"), [(200, False), (300, True), (320, False)])
def test_steps_300_apart_tell_the_best_engine_speed_with_its_uncertainty(gap: int, told: bool) -> None:
    def planing(engine_speed: float) -> Row:
        """Economy 2 nm/gal at 3700 rev/min, and by a parabola 0.3 nm/gal less 900 rev/min away."""
        speed = 24.0 + (engine_speed - 3700) * 0.009
        return engine_speed, speed, speed / (2.0 - 0.3 * ((engine_speed - 3700) / 900) ** 2)

    about = [planing(3700.0 + gap * number) for number in range(-3, 5)]
    numbers = finding(typed([*TEN[:4], *about]), "best_cruise").numbers
    best = [one for one in numbers if one.name == "best engine speed"]
    assert bool(best) is told
    for one in best:
        assert one.value == pytest.approx(3700, abs=30)
        assert one.expanded_uncertainty is not None
        assert 0.9 * 300 / 4 < one.expanded_uncertainty < 300  # at least a quarter of the gap, taken as a bound
    assert FINE_STEPS < 320


def test_the_tachometer_counts_in_mixed_use_and_not_in_the_curve() -> None:
    """Mixed use reckons with shares of the rated speed, which lies outside the boat."""
    rated = job_view(boat(1), typed(TEN), settings={"fuel_curve.engine_speed_accuracy": "200 rev/min"})
    usual = job_view(boat(1), typed(TEN))
    assert curve_of(rated).curve.speed_at(3700) == curve_of(usual).curve.speed_at(3700)
    power = boat(1, rated_speed=Amount.parse("5200 rev/min"), rated_power=Amount.parse("300 hp"))
    wide, narrow = (
        number(
            findings_of(HOST, attrs.evolve(view, vessel=power), "fuel_curve.mixed_use")[0], "fuel flow over mixed use"
        )
        for view in (rated, usual)
    )
    assert wide.value == narrow.value
    assert (wide.expanded_uncertainty or 0) > 1.5 * (narrow.expanded_uncertainty or 0)


def test_scattered_runs_widen_every_speed() -> None:
    """Differences of the two ways that scatter by 2 kn about their line say more than the deviation known beforehand.
    By hand: alternately 1 kn more and less is 2 / sqrt(2) in each difference; ten squares of 1.41, less a little for
    the line, over 14 degrees: about 1.2 kn."""
    values = typed(TEN)
    for row, (_, speed, _) in enumerate(TEN, 1):
        half = 0.5 + (1.0 if row % 2 else -1.0)
        values[STEPS, "speed_out", str(row), ""] = f"{speed + half:.1f} kn"
        values[STEPS, "speed_back", str(row), ""] = f"{speed - half:.1f} kn"
    scattered = curve_of(job_view(boat(1), values)).curve.speed_at(3700)
    run_to_run = next(part for part in scattered.parts if part.source == "run to run")
    assert run_to_run.standard_uncertainty == pytest.approx(1.2 / math.sqrt(2), rel=0.05)
    assert run_to_run.degrees_of_freedom == 14
