"""Verdicts and sentences at and around every limit."""

from collections.abc import Sequence
from typing import Any

import pytest

from builders import boat, findings_of, job_view
from fuel_curve_jobs import DISPLACEMENT, HOST, PLANING, STEPS, TANKS, Row, recorded, typed
from garboard.findings import Finding, Lack, Number, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue, StepState, Tank, Vessel
from garboard.samples import Sample, gather
from garboard.units import Amount

TWINS = boat(2, rated_power=Amount.parse("200 hp"), rated_speed=Amount.parse("6000 rev/min"))


def finding(view: JobView, calculator: str) -> Finding:
    return findings_of(HOST, view, f"fuel_curve.{calculator}")[0]


def number(found: Finding, name: str) -> Number:
    return next(one for one in found.numbers if one.name == name)


def planing(extra: dict[FieldKey, JsonValue] | None = None, vessel: Vessel = TWINS, **settings: str) -> JobView:
    values = {**typed(PLANING, len(vessel.engines)), **(extra or {})}
    return job_view(vessel, values, settings={f"fuel_curve.{name}": value for name, value in settings.items()})


def of_rows(rows: Sequence[Row], vessel: Vessel = TWINS, **more: str) -> JobView:
    return job_view(vessel, typed(rows, len(vessel.engines)), settings={f"fuel_curve.{k}": v for k, v in more.items()})


def test_the_curve_gives_a_table_row_for_every_step_and_a_figure_with_the_hump() -> None:
    found = finding(planing(), "curve")
    assert found.verdict is Verdict.PASS
    assert found.sentence == "12 steps from 650 to 6000 rev/min, from typed rows."
    table, figure = found.tables[0], found.figures[0]
    assert len(table.rows) == len(PLANING)
    row = dict(zip(table.headings, table.rows[5], strict=True))
    assert row["Engine speed [rev/min]"] == "3000"
    assert row["Speed [kn]"] == "17.0"
    assert row["port [gal/h]"] == "4.8"
    assert row["Fuel flow [gal/h]"] == "9.5"
    assert row["Economy [nm/gal]"] == "1.79"  # 17 / 9.5
    assert row["Economy [mi/gal]"] == "2.06"  # 1.7895 x 1852 / 1609.344
    assert row["Fuel [L/nm]"] == "2.1"  # 3.7854 / 1.7895
    assert [band.name for band in figure.bands] == ["planing hump", "best cruise"]
    assert figure.markers == ()  # steps 500 rev/min apart tell no one place
    hump, cruise = figure.bands
    assert hump.high < cruise.low < 3700 < cruise.high  # read economies 1.79, 2.09, 2.08, 1.94 from 3000 to 4500


@pytest.mark.parametrize(("steps", "verdict"), [(5, Verdict.NOT_ENOUGH_DATA), (6, Verdict.PASS)])
def test_six_different_steps_make_a_curve(steps: int, verdict: Verdict) -> None:
    assert finding(of_rows(PLANING[:steps]), "curve").verdict is verdict


def test_too_few_steps_say_how_many_are_needed() -> None:
    said = finding(of_rows(PLANING[:5]), "curve").sentence
    assert "5 different throttle steps, at least 6 are needed" in said


def test_a_step_that_burns_less_than_the_one_below_is_to_be_repeated() -> None:
    rows = [row if row[0] != 4000 else (4000.0, 27.5, 10.0) for row in PLANING]
    found = finding(of_rows(rows), "curve")
    assert found.verdict is Verdict.ADVISE
    assert "Repeat row 8: fuel flow (port) 5.0 gal/h does not fit the other steps." in found.sentence


def test_one_way_steps_are_advised_to_be_run_both_ways() -> None:
    values = typed(PLANING, 2)
    del values[STEPS, "speed_back", "3", ""]
    found = finding(job_view(TWINS, values), "curve")
    assert found.verdict is Verdict.ADVISE
    assert "1 step was run one way only" in found.sentence


def test_the_hump_lies_between_the_steps_where_economy_dips() -> None:
    # By hand from the readings: economy 2.31, 1.67, 1.33, 1.79, 2.09 at 1500 to 3500 rev/min. Half of the rise from
    # 1.33 to about 2.1 is 1.72: passed falling just below 2000, and rising just below 3000 rev/min.
    found = finding(planing(), "planing_hump")
    assert found.verdict is Verdict.PASS
    assert [number(found, f"hump begins, {end}").value for end in ("from", "to")] == [1500, 2000]
    assert number(found, "hump deepest").value == 2500
    assert number(found, "economy in the hump").value == pytest.approx(10.0 / 7.5, abs=0.01)
    assert [number(found, f"planing begins, {end}").value for end in ("from", "to")] == [2500, 3000]
    assert found.sentence.startswith("Planing begins between the steps at 2500 and 3000 rev/min, 10.0 and 17.0 kn.")


FINE = sorted([*PLANING, (1750, 6.75, 3.55), (2250, 8.75, 6.0), (2750, 13.5, 8.5), (3250, 20.0, 10.25)])
"""The same boat with steps 250 rev/min apart about its hump, half way between those of `PLANING`."""


def test_close_steps_tell_closer_where_planing_begins() -> None:
    found = finding(of_rows(FINE), "planing_hump")
    assert [number(found, f"hump begins, {end}").value for end in ("from", "to")] == [1750, 2000]
    assert [number(found, f"planing begins, {end}").value for end in ("from", "to")] == [2750, 3000]


def test_more_recovery_asked_for_makes_planing_begin_later() -> None:
    places = [
        number(finding(of_rows(FINE, planing_recovery=share), "planing_hump"), "planing begins, to").value
        for share in ("20 %", "50 %", "90 %")
    ]
    assert places == sorted(places)
    assert places[0] < places[-1]


def test_a_wide_gap_at_the_hump_asks_for_steps_between() -> None:
    rows = [row for row in PLANING if row[0] not in (2500, 3000)]
    found = finding(of_rows([*rows[:4], (2200.0, 7.8, 5.2), *rows[4:]]), "planing_hump")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert "add steps at 2630 and 3070 rev/min" in found.sentence  # with one near 2850 gaps of 650 would be left


@pytest.mark.parametrize(
    ("widest", "verdict"), [("500 rev/min", Verdict.PASS), ("499 rev/min", Verdict.NOT_ENOUGH_DATA)]
)
def test_the_widest_gap_is_the_shops_to_decide(widest: str, verdict: Verdict) -> None:
    assert finding(planing(widest_gap=widest), "planing_hump").verdict is verdict


def test_a_gap_away_from_the_hump_does_no_harm() -> None:
    rows = [row for row in PLANING if row[0] not in (4500, 5000)]
    assert finding(of_rows(rows), "planing_hump").verdict is Verdict.PASS


def test_a_boat_that_never_planes_gets_no_slowest_planing_speed() -> None:
    found = finding(of_rows(DISPLACEMENT), "planing_hump")
    assert found.verdict is Verdict.PASS
    assert found.sentence.startswith("No hump between 700 and 3700 rev/min")
    assert not found.numbers


def test_without_a_hump_wide_gaps_could_hide_one_unless_the_hull_cannot_plane() -> None:
    rows = [row for row in DISPLACEMENT if row[0] != 2200]
    assert finding(of_rows(rows), "planing_hump").verdict is Verdict.NOT_ENOUGH_DATA
    slow = boat(1, hull_form="displacement")
    assert finding(of_rows(rows, slow), "planing_hump").verdict is Verdict.PASS


def test_the_best_cruise_is_the_best_beyond_the_hump_and_names_the_slow_one() -> None:
    found = finding(planing(), "best_cruise")
    assert found.verdict is Verdict.PASS
    assert found.about == "best-economy cruise"
    # Read economies 2.09 at 3500 and 2.08 at 4000 rev/min: the best lies between and just above both.
    assert 3500 < number(found, "engine speed of these figures").value < 4000
    assert 2.09 <= number(found, "economy").value < 2.16
    assert "Slower goes farther: 4.00 ± " in found.sentence  # 2.4 / 0.6 at the first step, with its own half width
    assert "nm/gal at 650 rev/min, 2.4 kn, the best step below the hump." in found.sentence
    sure = {"cruise, from", "cruise, to", "engine speed of these figures"}  # what the owner's own tachometer shows
    assert {one.name for one in found.numbers if not one.expanded_uncertainty} == sure


def test_economy_in_its_three_units_agrees() -> None:
    found = finding(planing(), "best_cruise")
    good = number(found, "economy")
    assert number(found, "economy in statute miles").value == pytest.approx(good.value * 1852 / 1609.344)
    assert number(found, "fuel for a nautical mile").value == pytest.approx(3.785411784 / good.value)


def test_miles_to_the_gallon_are_told_once() -> None:
    """A boat whose speeds were typed in mph is told its economy in them."""
    values = typed(PLANING, 2)
    speeds = {place: text.replace("kn", "mph") for place, text in values.items() if isinstance(text, str)}
    found = finding(job_view(TWINS, {**values, **speeds}), "best_cruise")
    assert [one.name for one in found.numbers if one.name.startswith("economy")] == ["economy"]


def test_economy_still_rising_at_the_highest_step_is_not_a_best_cruise() -> None:
    found = finding(of_rows(PLANING[:7]), "best_cruise")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert "still rises at the highest step, 3500 rev/min" in found.sentence


def test_without_a_hump_the_best_is_called_the_best_at_any_speed() -> None:
    found = finding(of_rows(DISPLACEMENT), "best_cruise")
    assert found.about == "best economy"
    assert "No planing hump was seen" in found.sentence
    assert number(found, "engine speed of these figures").value == 700
    assert number(found, "economy").value == pytest.approx(6.25)  # 2.5 / 0.4, the best that was read


USABLE: dict[FieldKey, JsonValue] = {(TANKS, "usable_fuel", "", ""): "90.0 gal"}


def test_range_by_thirds_and_with_the_shops_reserve() -> None:
    found = finding(planing(USABLE), "range")
    good = number(found, "economy").value
    assert found.verdict is Verdict.PASS
    assert number(found, "out and back by thirds").value == pytest.approx(30 * good)
    assert number(found, "whole range with 20 % in reserve").value == pytest.approx(72 * good)
    assert number(found, "reserve by thirds").value == pytest.approx(30)
    assert "Plan with your own gauge and weather." in found.sentence
    share = number(found, "economy").expanded_uncertainty
    assert share is not None
    assert number(found, "out and back by thirds").expanded_uncertainty == pytest.approx(30 * share, rel=0.05)


def test_the_reserve_is_the_shops_to_decide() -> None:
    found = finding(planing(USABLE, reserve="33 %"), "range")
    assert number(found, "whole range with 33 % in reserve").value == pytest.approx(
        60.3 * number(found, "economy").value
    )


def test_range_at_the_owners_cruise() -> None:
    found = finding(planing({**USABLE, (TANKS, "cruise", "", ""): "5000 rev/min"}), "range")
    assert number(found, "economy").value == pytest.approx(35.5 / 21, abs=0.01)
    assert "the owner's cruise" in found.sentence


@pytest.mark.parametrize(
    ("cruise", "verdict"),
    [
        ("649 rev/min", Verdict.NOT_ENOUGH_DATA),
        ("650 rev/min", Verdict.PASS),
        ("6000 rev/min", Verdict.PASS),
        ("6001 rev/min", Verdict.NOT_ENOUGH_DATA),
    ],
)
def test_a_cruise_outside_the_steps_has_no_range(cruise: str, verdict: Verdict) -> None:
    assert finding(planing({**USABLE, (TANKS, "cruise", "", ""): cruise}), "range").verdict is verdict


@pytest.mark.parametrize(
    ("usable", "told"),
    [
        (None, "“Usable fuel of all tanks together” is not entered"),
        ("0 gal", "usable fuel must be above zero"),
        ("101 gal", "more than the 100 gal the tanks hold"),
        ("9 gal", "less than half of the 100 gal the tanks hold"),
    ],
)
def test_range_needs_usable_fuel_that_the_tanks_can_hold(usable: str | None, told: str) -> None:
    vessel = boat(
        2,
        tanks=[Tank(name="main", capacity=Amount.parse("100 gal"))],
        rated_power=Amount.parse("200 hp"),
        rated_speed=Amount.parse("6000 rev/min"),
    )
    found = finding(planing({(TANKS, "usable_fuel", "", ""): usable}, vessel), "range")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert told in found.sentence


def test_range_is_refused_while_the_fuel_flow_cannot_be_true() -> None:
    rows = [(e, s, f / 3.785) for e, s, f in PLANING]
    view = job_view(TWINS, {**typed(rows, 2), **USABLE})
    assert finding(view, "range").verdict is Verdict.NOT_ENOUGH_DATA
    assert "cannot be true" in finding(view, "range").sentence


def test_mixed_use_weights_the_flows_at_the_five_modes() -> None:
    # By hand, 40 CFR 1045 Appendix II weights, rated 6000 rev/min: 33.0, 15.0 at 4800 (read between 13.2 .. 21),
    # 3600 and 2400 between steps; idle 0.6 at 650.
    found = finding(planing(), "mixed_use")
    low = 0.06 * 33 + 0.14 * 16.2 + 0.15 * 11.0 + 0.25 * 4.5 + 0.40 * 0.6
    high = 0.06 * 33 + 0.14 * 21.0 + 0.15 * 13.2 + 0.25 * 7.5 + 0.40 * 0.6
    assert found.verdict is Verdict.PASS
    assert low < number(found, "fuel flow over mixed use").value < high
    assert [row[1] for row in found.tables[0].rows] == ["6", "14", "15", "25", "40"]
    assert [row[2] for row in found.tables[0].rows] == ["6000", "4800", "3600", "2400", "650"]


def test_flow_that_hardly_rises_with_engine_speed_is_questioned() -> None:
    rows = [(float(e), s, 2.0 + e / 1000) for e, s, _ in PLANING]
    found = finding(of_rows(rows), "mixed_use")
    assert found.verdict is Verdict.ADVISE
    assert "check the readings and the units" in found.sentence


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (PLANING[2:], "no step at idle, 1000 rev/min or below"),
        (PLANING[:10], "no step at full throttle, 5700 rev/min or above"),
    ],
)
def test_mixed_use_needs_idle_and_full_throttle(rows: Sequence[Row], told: str) -> None:
    found = finding(of_rows(rows), "mixed_use")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert told in found.sentence


@pytest.mark.parametrize(
    ("settings", "fastest", "told"),
    [
        ({"idle_at_most": "650 rev/min", "full_throttle_from": "100 %"}, 6000.0, ""),
        ({"idle_at_most": "649 rev/min"}, 6000.0, "no step at idle, 649 rev/min or below"),
        ({"full_throttle_from": "100 %"}, 5999.0, "no step at full throttle, 6000 rev/min or above"),
    ],
)
def test_a_step_just_at_idle_and_one_just_at_full_throttle_are_enough(
    settings: dict[str, Any], fastest: float, told: str
) -> None:
    """The steps begin at 650 rev/min, the rated speed is 6000."""
    rows = [*PLANING[:-1], (fastest, *PLANING[-1][1:])]
    found = finding(of_rows(rows, TWINS, **settings), "mixed_use")
    assert (found.verdict is Verdict.NOT_ENOUGH_DATA) == bool(told)
    assert told in found.sentence


@pytest.mark.parametrize(("lowest", "told"), [(1600.0, ""), (1610.0, "no step at or below 1600 rev/min")])
def test_a_step_at_the_fourth_mode_is_needed_even_where_idle_may_be_fast(lowest: float, told: str) -> None:
    """40 % of the rated 4000 rev/min is 1600."""
    slow = boat(2, rated_power=Amount.parse("70 hp"), rated_speed=Amount.parse("4000 rev/min"))
    rows = [(lowest, 6.4, 3.0), *(row for row in PLANING if 1610 < row[0] <= 4000)]
    found = finding(of_rows(rows, slow, idle_at_most="2000 rev/min"), "mixed_use")
    assert (found.verdict is Verdict.NOT_ENOUGH_DATA) == bool(told)
    assert told in found.sentence


def test_mixed_use_needs_a_rated_speed() -> None:
    found = finding(of_rows(PLANING, boat(1)), "mixed_use")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert "centre engine: rated speed is not entered" in found.sentence


def power(flow_each: float, fuel: str = "gasoline", engines: int = 1, **more: str) -> list[Finding]:
    vessel = boat(engines, rated_power=Amount.parse("150 hp"), rated_speed=Amount.parse("6000 rev/min"))
    rows = [(e, s, f / 33.0 * flow_each * engines) for e, s, f in PLANING]
    values = typed(rows, engines, fuel=fuel)
    values.update({(STEPS, name, "", ""): value for name, value in more.items()})
    return findings_of(HOST, job_view(vessel, values), "fuel_curve.fuel_for_power")


def test_a_believable_flow_passes_with_its_specific_consumption() -> None:
    # 150 hp at 0.50 lb/(hp h) and 6.1 lb/gal is 12.295 gal/h: public worked examples, see the published checks.
    (found,) = power(12.3)
    assert found.verdict is Verdict.PASS
    assert number(found, "specific consumption").value == pytest.approx(0.500, abs=0.001)
    assert number(found, "specific consumption, metric").value == pytest.approx(304.1, abs=0.6)
    assert number(found, "brake efficiency").value == pytest.approx(27.5, abs=0.1)


@pytest.mark.parametrize(
    ("factor", "verdict", "told"),
    [
        (3.785, Verdict.FAIL, "looks like L/h entered as gal/h"),
        (1 / 3.785, Verdict.FAIL, "looks like gal/h entered as L/h"),
        (0.53, Verdict.FAIL, "looks like one flow shared among 2 engines"),
        (2.0, Verdict.ADVISE, "looks like the flow of all 2 engines entered for one"),
        (7.0, Verdict.FAIL, "no common slip explains it"),
        (0.66, Verdict.ADVISE, "no common slip explains it"),
        (0.70, Verdict.ADVISE, "far below the 0.50 commonly reckoned with for gasoline; a range by this flow is too"),
        (0.85, Verdict.PASS, "believable"),
        (1.40, Verdict.PASS, "believable"),
        (1.80, Verdict.ADVISE, "far above the 0.50 commonly reckoned with for gasoline"),
    ],
)
def test_a_flow_out_of_all_reason_is_flagged_with_what_usually_stands_behind_it(
    factor: float, verdict: Verdict, told: str
) -> None:
    for found in power(12.3 * factor, engines=2):
        assert found.verdict is verdict
        assert told in found.sentence


@pytest.mark.parametrize(
    ("flow", "fuel", "what"),
    [(13.5, "diesel", "far_above"), (11.0, "diesel", "believable"), (13.5, "gasoline", "believable")],
)
def test_a_diesel_that_burns_like_a_gasoline_engine_does_not_pass(flow: float, fuel: str, what: str) -> None:
    """0.63 lb/(hp h) at 7.0 lb/gal, with 0.40 commonly reckoned with; 0.51 is not surely above what may be."""
    (found,) = power(flow, fuel, fuel_density="7.0 lb/gal")
    assert (found.code, found.verdict is Verdict.PASS) == (f"fuel_curve.fuel_for_power.{what}", what == "believable")


@pytest.mark.parametrize(("share", "verdict"), [(0.70, Verdict.ADVISE), (1.0, Verdict.PASS)])
def test_a_range_by_a_meter_that_reads_far_low_does_not_pass(share: float, verdict: Verdict) -> None:
    values = typed(PLANING, 2)
    for row in range(1, len(PLANING) + 1):
        for engine in TWINS.engines:
            values[STEPS, "fuel_flow", str(row), engine.position] = f"{PLANING[row - 1][2] / 2 * share:.2f} gal/h"
    view = job_view(TWINS, values)
    told = HOST.assess(view)
    found = [one.finding for one in told if one.finding.code.startswith("fuel_curve.fuel_for_power.")]
    assert [one.verdict for one in found] == [verdict] * 2
    assert all(bool(one.doubts) is (verdict is Verdict.ADVISE) for one in found)
    doubted = {(doubt.step, doubt.field, doubt.row, doubt.of) for one in found for doubt in one.doubts}
    resting = [one.finding.verdict for one in told if doubted & {tuple(place) for place in one.finding.places}]
    assert Verdict.PASS not in resting
    assert bool(resting) is (verdict is Verdict.ADVISE)


@pytest.mark.parametrize("density", ["0.9 lb/gal", "20.1 lb/gal"])
def test_a_fuel_that_weighs_what_none_does_judges_no_engine(density: str) -> None:
    found = finding(planing({(STEPS, "fuel_density", "", ""): density}), "fuel_for_power")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert "fuel density must be" in found.sentence


def test_only_the_engine_at_fault_is_flagged() -> None:
    values = typed(PLANING, 2)
    for row in range(1, len(PLANING) + 1):
        values[STEPS, "fuel_flow", str(row), "port"] = f"{PLANING[row - 1][2] / 2 * 3.785:.2f} gal/h"
    verdicts = [one.verdict for one in findings_of(HOST, job_view(TWINS, values), "fuel_curve.fuel_for_power")]
    assert verdicts == [Verdict.FAIL, Verdict.PASS]


@pytest.mark.parametrize("calculator", ["best_cruise", "planing_hump", "mixed_use", "range"])
def test_no_figure_is_given_from_a_fuel_flow_that_cannot_be_true(calculator: str) -> None:
    """Litres typed as gallons: the engine's finding fails, and nothing beside it reckons with the flow."""
    litres = [(e, s, f * 3.785) for e, s, f in PLANING]
    view = job_view(TWINS, {**typed(litres, 2), (TANKS, "usable_fuel", "", ""): "60 gal"})
    found = finding(view, calculator)
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert found.missing[0].lack is Lack.CONTRADICTS
    curve = finding(view, "curve")
    assert (curve.code, curve.verdict) == ("fuel_curve.curve.flow_impossible", Verdict.ADVISE)


def test_diesel_is_judged_by_its_own_weight_and_a_known_density_narrows_the_answer() -> None:
    (diesel,) = power(150 * 0.40 / 7.2, "diesel")
    assert diesel.verdict is Verdict.PASS
    assert number(diesel, "specific consumption").value == pytest.approx(0.40, abs=0.001)
    (weighed,) = power(12.3, fuel_density="6.10 lb/gal")
    (guessed,) = power(12.3)
    sure, unsure = (number(one, "specific consumption").expanded_uncertainty for one in (weighed, guessed))
    assert sure is not None
    assert unsure is not None
    assert sure < unsure


@pytest.mark.parametrize(
    ("engine", "told"),
    [
        ({"rated_power": "150 hp", "rated_speed": "6400 rev/min"}, "full throttle begins at 6080 rev/min"),
        ({"rated_power": "150 hp", "full_throttle_low": "6001 rev/min"}, "full throttle begins at 6001 rev/min"),
        ({"rated_power": "150 hp"}, "neither rated speed nor full-throttle window"),
        ({"rated_speed": "6000 rev/min"}, "rated power is not entered"),
    ],
)
def test_fuel_for_the_power_needs_full_throttle_and_the_engines_rating(engine: dict[str, str], told: str) -> None:
    rating: dict[str, Any] = {name: Amount.parse(text) for name, text in engine.items()}
    vessel = boat(1, **rating)
    found = finding(of_rows(PLANING, vessel), "fuel_for_power")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert told in found.sentence


def refill(refilled: str, *metered: str, **more: JsonValue) -> Finding:
    values: dict[FieldKey, JsonValue] = {(TANKS, "refilled", "", ""): refilled, (TANKS, "same_mark", "", ""): True}
    for position, text in zip(("port", "starboard"), metered, strict=False):
        values[TANKS, "metered", "", position] = text
    values.update({(TANKS, name, "", ""): value for name, value in more.items()})
    return finding(job_view(TWINS, values), "flow_meter")


def test_a_boat_filled_in_litres_is_told_pulses_per_litre() -> None:
    found = refill("234.3 L", "113.6 L", "113.6 L")
    assert "to 1.031, or multiply pulses per litre by 0.970" in found.sentence


@pytest.mark.parametrize(
    ("refilled", "verdict", "told"),
    [
        ("60.0 gal", Verdict.PASS, "Within 3 %; leave it."),
        ("61.7 gal", Verdict.PASS, "leave it"),
        (
            "61.9 gal",
            Verdict.ADVISE,
            "Set the factor of the port and starboard meters to 1.032, or multiply pulses per gallon by 0.969",
        ),
        ("58.3 gal", Verdict.PASS, "leave it"),
        (
            "58.1 gal",
            Verdict.ADVISE,
            "Set the factor of the port and starboard meters to 0.968, or multiply pulses per gallon by 1.033",
        ),
    ],
)
def test_a_meter_is_left_alone_within_three_percent(refilled: str, verdict: Verdict, told: str) -> None:
    found = refill(refilled, "30.0 gal", "30.0 gal")
    assert found.verdict is verdict
    assert told in found.sentence


def test_a_meter_is_set_by_the_unit_of_volume_that_was_typed() -> None:
    """The factor is the same; a meter set up in litres asks for pulses per litre."""
    told = [refill("61.9 gal", "30.0 gal", "30.0 gal"), refill("234.3 L", "113.6 L", "113.6 L")]
    asked = [one.sentence.partition("multiply pulses per ")[2].split(" by ")[0] for one in told]
    assert asked == ["gallon", "litre"]


def test_the_factor_in_the_meter_is_carried_on() -> None:
    found = refill("66.0 gal", "30.0 gal", "30.0 gal", present_factor="0.95")
    assert number(found, "refill over meter").value == pytest.approx(1.10)
    assert number(found, "factor to set").value == pytest.approx(1.045)


def test_the_steps_are_as_this_boats_tachometers_show_them() -> None:
    """Whoever steers reads the same ones, so their error is no doubt about the curve."""
    numbers = finding(planing(), "curve").numbers
    assert [str(one) for one in numbers] == ["650 rev/min", "6000 rev/min"]


@pytest.mark.parametrize(("refilled", "told"), [("0.5 gal", False), ("0 gal", True)])
def test_fuel_put_back_is_refused_as_none_only_when_it_is_none(refilled: str, told: bool) -> None:
    sentence = refill(refilled, "0.3 gal", "0.3 gal").sentence
    assert ("fuel put back must be above zero" in sentence) == told
    assert "at least 10 gal are needed" in sentence


def test_a_refill_too_small_to_tell_asks_for_a_longer_run() -> None:
    found = refill("10.4 gal", "5.0 gal", "5.0 gal")
    assert found.verdict is Verdict.ADVISE
    assert "repeat after a longer run" in found.sentence


@pytest.mark.parametrize(
    ("refilled", "metered", "more", "told"),
    [
        ("9.9 gal", ("5.0 gal", "5.0 gal"), {}, "at least 10 gal are needed"),
        ("60 gal", ("30 gal",), {}, "fuel burned by the meter (starboard) is not entered"),
        ("60 gal", (), {}, "fuel burned by the meter is not entered"),
        ("60 gal", ("30 gal", "0 gal"), {}, "fuel burned by the meter (starboard) must be above zero"),
        ("60 gal", ("30 gal", "30 gal"), {"same_mark": False}, "not filled to the same mark"),
        (
            "60 gal",
            ("30 gal", "30 gal"),
            {"same_mark": None},
            "“Filled to the same mark before and after, boat level” is not entered",
        ),
        ("60 gal", ("30 gal", "30 gal"), {"metered_total": "65 gal"}, "their total is entered as 65.0 gal"),
        ("60 gal", ("30 gal", "30 gal"), {"present_factor": "0"}, "factor set in the meter must be above zero"),
    ],
)
def test_a_meter_is_not_judged_without_a_full_account(
    refilled: str, metered: tuple[str, ...], more: dict[str, JsonValue], told: str
) -> None:
    found = refill(refilled, *metered, **more)
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert told in found.sentence


def test_the_total_of_the_meters_serves_where_no_engine_has_its_own() -> None:
    found = refill("62.0 gal", metered_total="60.0 gal")
    assert number(found, "refill over meter").value == pytest.approx(62 / 60)


@pytest.mark.parametrize("step", [STEPS, TANKS])
def test_a_step_that_is_not_fitted_says_nothing(step: str) -> None:
    view = job_view(TWINS, typed(PLANING, 2), states=[StepState(step=step, state="not fitted")])
    assert all(assessed.step != step for assessed in HOST.assess(view))


def test_every_finding_names_its_basis_and_shouts_at_nobody() -> None:
    view = planing({**USABLE, (TANKS, "refilled", "", ""): "60 gal"})
    for assessed in HOST.assess(view):
        assert assessed.finding.basis
        assert "!" not in assessed.finding.sentence


def test_full_throttle_begins_at_one_engine_speed_for_every_check() -> None:
    """At the low end of the window where one is entered, whatever share of rated speed counts where none is."""
    windowed = boat(
        2,
        rated_power=Amount.parse("200 hp"),
        rated_speed=Amount.parse("5750 rev/min"),
        full_throttle_low=Amount.parse("5000 rev/min"),
        full_throttle_high=Amount.parse("6000 rev/min"),
    )
    reaching = [*(row for row in PLANING if row[0] < 5000), (5000.0, *PLANING[-2][1:])]
    assert finding(of_rows(reaching, windowed), "mixed_use").verdict is not Verdict.NOT_ENOUGH_DATA
    short = of_rows([row for row in PLANING if row[0] < 5000], windowed)
    assert "no step at full throttle, 5000 rev/min or above" in finding(short, "mixed_use").sentence
    lacking = [one.finding for one in HOST.assess(short) if one.calculator == "fuel_curve.fuel_for_power"]
    assert all("full throttle begins at 5000 rev/min" in one.sentence for one in lacking)
    assert lacking


LIVELY = [
    one._replace(value=one.value + 0.001 * (round(one.time) % 7)) if one.quantity == "fuel_flow" else one
    for one in recorded(PLANING, 2)
]


def frozen(quantity: str, since: float) -> JobView:
    """A job whose recording shows one value of a quantity from a time on, of every engine its own."""
    last: dict[str, float] = {}

    def shown(one: Sample) -> Sample:
        if one.quantity == quantity and one.time <= since:
            last[one.instance] = one.value
        return one._replace(value=last[one.instance]) if one.quantity == quantity else one

    values: dict[FieldKey, JsonValue] = {
        (STEPS, "recording", "", ""): {"file": "run.log"},
        (STEPS, "fuel", "", ""): "gasoline",
        (TANKS, "usable_fuel", "", ""): "60 gal",
    }
    recordings = {"run.log": gather("run.log", [shown(one) for one in LIVELY])}
    return job_view(TWINS, values, recordings=recordings)


RESTING_ON_SPEED = ("best_cruise", "planing_hump", "range")


@pytest.mark.parametrize("since", [0, 450])
def test_a_speed_that_stood_still_while_the_engines_did_not_carries_no_figure(since: float) -> None:
    for calculator in RESTING_ON_SPEED:
        found = finding(frozen("speed_over_ground", since), calculator)
        assert [(one.lack, one.field) for one in found.missing] == [(Lack.CONTRADICTS, "recording")]
        assert "speed over ground did not change at all while engine speed went from" in found.sentence
    curve = finding(frozen("speed_over_ground", since), "curve")
    assert (curve.verdict, curve.code) == (Verdict.ADVISE, "fuel_curve.curve.speed_doubted")
    assert finding(frozen("speed_over_ground", since), "mixed_use").verdict is not Verdict.NOT_ENOUGH_DATA


@pytest.mark.parametrize("quantity", ["fuel_flow", "engine_speed"])
@pytest.mark.parametrize("since", [0, 450])
def test_an_engines_reading_that_stood_still_carries_no_figure(quantity: str, since: float) -> None:
    for calculator in (*RESTING_ON_SPEED, "curve", "mixed_use", "fuel_for_power"):
        found = finding(frozen(quantity, since), calculator)
        assert {(one.lack, one.field) for one in found.missing} == {(Lack.CONTRADICTS, "recording")}


def test_a_recording_that_lives_carries_every_figure() -> None:
    for calculator in (*RESTING_ON_SPEED, "curve", "mixed_use"):
        assert finding(frozen("speed_over_ground", 1e9), calculator).verdict is Verdict.PASS


def test_an_engine_revved_at_the_dock_leaves_its_speed_believed() -> None:
    """A speed of zero at idle and at 1000 rev/min, and then a live one."""
    still = [
        one._replace(value=0.0) if one.quantity == "speed_over_ground" and one.time < 144 else one for one in LIVELY
    ]
    values: dict[FieldKey, JsonValue] = {(STEPS, "recording", "", ""): {"file": "run.log"}}
    view = job_view(TWINS, values, recordings={"run.log": gather("run.log", still)})
    assert finding(view, "curve").code != "fuel_curve.curve.speed_doubted"
