"""Situations from the water: what must be said of each, and what must not be said of a sound curve.

The boat is the sample skiff; its steps are invented.
"""

from collections.abc import Sequence

import pytest

from builders import findings_of, job_view
from fuel_curve_jobs import HOST, TANKS, Row, typed
from garboard.demo.samples_folder import sample_jobs_folder
from garboard.findings import Finding, Lack, Verdict
from garboard.job_files.job_file import read_job_file
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue

BOAT = read_job_file(sample_jobs_folder() / "saltgrass" / "job.json").vessel

SKIFF: Sequence[Row] = (
    (700, 2.45, 0.6),
    (1500, 5.4, 1.5),
    (2000, 6.7, 2.4),
    (2500, 8.6, 3.9),
    (3000, 14.3, 4.9),
    (3500, 19.0, 5.7),
    (4000, 22.9, 7.0),
    (4500, 26.4, 8.9),
    (5000, 29.6, 10.9),
    (5600, 33.5, 13.4),
)


def skiff(
    rows: Sequence[Row] = SKIFF,
    cruise: str = "",
    current: float | None = 0.4,
    runs: Sequence[int] = (),
    **settings: JsonValue,
) -> JobView:
    values: dict[FieldKey, JsonValue] = {(TANKS, "usable_fuel", "", ""): "52 gal", **typed(rows, current=current)}
    for row, engine_speed in enumerate(runs, 1):
        values["prop_check.full_throttle", "engine_speed", str(row), "centre"] = f"{engine_speed} rev/min"
    if cruise:
        values[TANKS, "cruise", "", ""] = f"{cruise} rev/min"
    return job_view(BOAT, values, settings={f"fuel_curve.{name}": value for name, value in settings.items()})


def finding(view: JobView, calculator: str) -> Finding:
    return findings_of(HOST, view, f"fuel_curve.{calculator}")[0]


# --- no step near the engine speed a figure is asked for: fuel is safety

WITH_A_GAP = [row for row in SKIFF if not 2000 < row[0] < 4500]


@pytest.mark.parametrize("current", [0.4, None])  # run both ways, and one way only
@pytest.mark.parametrize("cruise", ["3500", "2500", "2060", "4440"])
def test_no_range_is_given_across_a_gap_that_could_hide_the_hump(cruise: str, current: float | None) -> None:
    """At 2500 rev/min 47 nm were told, a fifth farther than the fuel lasts."""
    found = finding(skiff(WITH_A_GAP, cruise, current), "range")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    (missing,) = found.missing
    assert (missing.lack, missing.field) == (Lack.TOO_LITTLE, "nominal_engine_speed")
    assert missing.text == (
        f"steps at 2000 and 4500 rev/min are too far apart to tell speed and fuel flow at {cruise} rev/min; "
        "add steps at 2500, 3000, 3500 and 4000 rev/min"
    )


@pytest.mark.parametrize("cruise", ["2000", "2040", "4460", "4800"])
def test_at_a_step_beside_the_gap_the_range_stands(cruise: str) -> None:
    assert finding(skiff(WITH_A_GAP, cruise), "range").code == "fuel_curve.range.reckoned"


def test_the_drawn_line_does_not_cross_the_gap() -> None:
    """Nor one from idle to 1500 rev/min. A step on no line is a point."""
    closer = [(700, 2.45, 0.6), (1100, 4.0, 0.9), *SKIFF[1:]]
    for rows, stretches in ((closer, 1), (SKIFF, 2), (WITH_A_GAP, 3)):
        (drawn,) = finding(skiff(rows), "curve").figures
        speed, economy, *as_read = drawn.series
        assert len(speed.stretches) == len(economy.stretches) == stretches
        assert any(2000 < x < 4500 for x in speed.x) is (stretches < 3)
        assert {row[0] for row in rows} <= set(speed.x)
        assert len(as_read) == (1 if stretches == 1 else 2)


@pytest.mark.parametrize("cruise", ["2060", "2500", "3300"])
def test_with_the_steps_asked_for_the_range_is_given(cruise: str) -> None:
    assert {row[0] for row in SKIFF} - {row[0] for row in WITH_A_GAP} == {2500, 3000, 3500, 4000}
    assert finding(skiff(cruise=cruise), "range").code == "fuel_curve.range.reckoned"


def test_a_gap_elsewhere_withholds_no_range() -> None:
    """From idle to 1500 rev/min nobody wants to go far."""
    assert finding(skiff(cruise="3500"), "range").code == "fuel_curve.range.reckoned"
    slow = finding(skiff(cruise="1100"), "range")
    assert slow.missing[0].text.endswith("at 1100 rev/min; add one near 1100 rev/min")


def test_mixed_use_takes_no_mode_from_a_gap() -> None:
    """Its modes at 40 and 60 % of the rated 5750 rev/min are 2300 and 3450."""
    found = finding(skiff(WITH_A_GAP), "mixed_use")
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert "too far apart to tell speed and fuel flow at 2300 and 3450 rev/min" in found.missing[0].text
    assert finding(skiff(), "mixed_use").code == "fuel_curve.mixed_use.ordinary"


def test_the_best_cruise_ends_at_the_step_where_a_gap_begins() -> None:
    """Economy stays within 3 % up to 4040 rev/min; without the step at 4500 nobody read anything above 4000."""
    band = finding(skiff(), "best_cruise").numbers[4]
    assert (band.name, band.value > 4000) == ("cruise, to", True)
    rows = [row for row in SKIFF if row[0] != 4500]
    cut = finding(skiff(rows), "best_cruise").numbers
    assert [one.value for one in cut if one.name == "cruise, to"] == [4000.0]


# --- the power of engine speed that fuel follows: a check of the readings behind the fuel of a day

HIGH_RUNNING: Sequence[Row] = (
    *((engine_speed, speed, 0.9 * flow) for engine_speed, speed, flow in SKIFF[:4]),
    *((engine_speed, 0.885 * speed, 0.8 * flow) for engine_speed, speed, flow in SKIFF[4:9]),
    (5600, 29.6, 10.7),
    (6190, 32.4, 13.0),
)
AT_THE_WINDOWS_TOP: Sequence[Row] = (
    *((engine_speed, speed, 0.95 * flow) for engine_speed, speed, flow in SKIFF[:4]),
    *((engine_speed, 0.94 * speed, 0.87 * flow) for engine_speed, speed, flow in SKIFF[4:9]),
    (5500, 31.2, 11.4),
    (5990, 33.7, 13.4),
)
THIRSTY_IN_THE_HUMP = [(row[0], row[1], 5.1) if row[0] in (2500, 3000) else row for row in SKIFF]


@pytest.mark.parametrize("rows", [SKIFF, HIGH_RUNNING, AT_THE_WINDOWS_TOP, THIRSTY_IN_THE_HUMP])
def test_a_sound_planing_boat_is_not_told_to_check_its_readings(rows: Sequence[Row]) -> None:
    """Fuel follows engine speed to the power 1.3 to 1.6: in the hump a boat is thirsty."""
    found = finding(skiff(rows), "mixed_use")
    assert (found.code, found.verdict) == ("fuel_curve.mixed_use.ordinary", Verdict.PASS)


@pytest.mark.parametrize(("least", "power"), [(7.8, 1), (0.1, 4)])
def test_a_fuel_flow_that_hardly_rises_or_shoots_up_is_questioned(least: float, power: int) -> None:
    rows = [(at, speed, least + (13.4 - least) * (at / 5600) ** power) for at, speed, _ in SKIFF]
    found = finding(skiff(rows), "mixed_use")
    assert (found.code, found.verdict) == ("fuel_curve.mixed_use.odd_exponent", Verdict.ADVISE)


@pytest.mark.parametrize("above", [-0.003, 0.003])
def test_the_power_and_its_limit_never_read_alike_on_different_sides(above: float) -> None:
    """1.498 was told as 1.5, outside 1.5 to 3.5."""
    power = finding(skiff(), "mixed_use").numbers[1].value
    limit = round(power + above, 3)
    found = finding(skiff(lowest_exponent=f"{limit:g}"), "mixed_use")
    told = round(found.numbers[1].value, found.numbers[1].decimals)
    assert (told < limit) == (found.verdict is Verdict.ADVISE) == (above > 0)
    assert (f"to the power {told}, outside {limit:g} to" in found.sentence) == (above > 0)


# --- a propeller with too much pitch: full throttle is what the boat reaches, not what the maker's window says

TOO_MUCH_PITCH: Sequence[Row] = (
    (700, 2.45, 0.6),
    (1500, 5.9, 1.6),
    (2000, 7.2, 2.9),
    (2500, 9.9, 4.7),
    (3000, 17.3, 5.4),
    (3500, 21.8, 6.5),
    (4000, 25.9, 8.3),
    (4500, 29.8, 10.9),
    (4960, 33.0, 12.8),
)


def test_at_the_full_throttle_of_its_own_runs_a_boat_is_judged() -> None:
    """Its window begins at 5000 rev/min."""
    view = skiff(TOO_MUCH_PITCH, runs=(4965, 4955))
    assert finding(view, "mixed_use").code == "fuel_curve.mixed_use.ordinary"
    power = finding(view, "fuel_for_power")
    assert power.code == "fuel_curve.fuel_for_power.believable"
    # By hand: 149.4 hp between 148.8 and 150; 12.8 gal/h of 6.1 lb/gal.
    assert power.numbers[0].value == pytest.approx(12.8 * 6.1 / 149.4, abs=1e-6)
    assert "149 ± 1 hp of its 150 hp" in power.sentence


@pytest.mark.parametrize(
    ("rows", "runs", "begins"),
    [
        (TOO_MUCH_PITCH, (), 5000),  # nobody ran it at full throttle
        (TOO_MUCH_PITCH, (4960,), 5000),  # one run is not borne out by another
        (TOO_MUCH_PITCH, (4960, 560), 5000),  # a mistyped run
        (TOO_MUCH_PITCH, (5610, 5590), 5000),  # it reaches its window: nobody opened the throttle on the steps
        (TOO_MUCH_PITCH[:-1], (4965, 4955), 4712),  # 95 % of 4960: no step there
        (TOO_MUCH_PITCH[:6], (3510, 3490), 3750),  # held so low an engine does not run right
    ],
)
def test_without_a_step_at_full_throttle_nothing_is_judged_there(
    rows: Sequence[Row], runs: Sequence[int], begins: int
) -> None:
    view = skiff(rows, runs=runs)
    for calculator in ("mixed_use", "fuel_for_power"):
        (missing,) = finding(view, calculator).missing
        assert (missing.lack, missing.field) == (Lack.TOO_LITTLE, "nominal_engine_speed")
        assert f"{begins} rev/min" in missing.text
        assert ("enter the engine speed of its full-throttle runs" in missing.text) == (not telling(runs))


def telling(runs: Sequence[int]) -> bool:
    return len(runs) > 1 and min(runs) > 0.95 * max(runs)


@pytest.mark.parametrize("runs", [(4965, 4955, 5600), (4965, 560, 4955)])  # one let go, one is mistyped
def test_one_run_unlike_two_others_does_not_count(runs: Sequence[int]) -> None:
    power = finding(skiff(TOO_MUCH_PITCH, runs=runs), "fuel_for_power")
    assert power.code == "fuel_curve.fuel_for_power.believable"
    rows = {place[2] for place in power.places if place[0] == "prop_check.full_throttle"}
    assert rows == {str(row) for row, run in enumerate(runs, 1) if 4900 < run < 5000}


def test_a_doubt_about_a_run_that_is_not_counted_is_none_about_the_fuel() -> None:
    rests_on_runs = {
        place
        for calculator in ("best_cruise", "curve", "range", "mixed_use")
        for place in finding(skiff(TOO_MUCH_PITCH, runs=(4965, 4955, 5600)), calculator).places
        if place[0] == "prop_check.full_throttle"
    }
    assert {place[2] for place in rests_on_runs} == {"1", "2"}


def test_in_its_window_a_boat_is_judged_as_ever_whatever_its_runs_say() -> None:
    for runs in ((), (5610, 5600), (5610, 6090)):
        view = skiff(runs=runs)
        assert finding(view, "fuel_for_power") == finding(skiff(), "fuel_for_power")
        assert finding(view, "mixed_use") == finding(skiff(), "mixed_use")
