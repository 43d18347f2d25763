"""A finding names the settings it used; a setting it names can change it."""

import functools
from collections.abc import Mapping

import attrs
import pytest

from garboard.fields import Kind
from garboard.findings import NotEnoughData
from garboard.hosting.host import make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.settings import ReadSettings, Setting
from garboard.steps import Calculator
from setting_jobs import SAMPLES

HOST = make_host(entry_points=False)
DECLARED = {setting.key: setting for setting in HOST.settings}
JOBS = [sample for sample in SAMPLES if sample.name == "job.json"]

BELIEVES = "it decides whether a reading can be believed, and no sample has one near that border"
IN_THE_CURE = "it decides which conductor to fit, and the samples' cures come out the same"
COUNTS = "it counts in what a reading is good to, and no sample lies near enough to its limit"
WITH_THE_READINGS = "it is read with the runs, of which this check uses another part"
OTHER_BRANCH = "it is one of several limits, and the samples lie beyond another or far within all"

CONTRADICTS = "it decides whether readings contradict each other, and those of the samples agree"

OF_RUNS = ("reference_air", "slip", "speed", "window")

SELDOM = {
    **dict.fromkeys(
        (
            (f"fuel_curve.{key}", f"fuel_curve.{check}")
            for key in (
                "density_tolerance",
                "engine_speed_accuracy",
                "gasoline_density",
                "largest_current",
                "meter_off_by",
                "power_tolerance",
            )
            for check in ("best_cruise", "curve", "mixed_use", "planing_hump", "range")
        ),
        BELIEVES,
    ),
    **dict.fromkeys(
        (
            ("fuel_curve.full_throttle_from", f"fuel_curve.{check}")
            for check in ("best_cruise", "curve", "planing_hump", "range")
        ),
        BELIEVES,
    ),
    ("fuel_curve.by_eye_speed", "fuel_curve.fuel_for_power"): WITH_THE_READINGS,
    ("fuel_curve.by_eye_speed", "fuel_curve.mixed_use"): WITH_THE_READINGS,
    ("fuel_curve.engine_speed_resolution", "fuel_curve.curve"): COUNTS,
    ("fuel_curve.flow_scatter", "fuel_curve.curve"): COUNTS,
    ("fuel_curve.largest_current", "fuel_curve.flow_meter"): BELIEVES,
    ("fuel_curve.largest_current", "fuel_curve.fuel_for_power"): BELIEVES,
    ("fuel_curve.meter_off_by", "fuel_curve.fuel_for_power"): BELIEVES,
    ("fuel_curve.planing_recovery", "fuel_curve.best_cruise"): OTHER_BRANCH,
    ("fuel_curve.planing_recovery", "fuel_curve.mixed_use"): WITH_THE_READINGS,
    ("fuel_curve.planing_recovery", "fuel_curve.range"): OTHER_BRANCH,
    ("fuel_curve.run_to_run_speed", "fuel_curve.fuel_for_power"): WITH_THE_READINGS,
    ("fuel_curve.run_to_run_speed", "fuel_curve.mixed_use"): WITH_THE_READINGS,
    ("fuel_curve.speed_accuracy", "fuel_curve.curve"): BELIEVES,
    ("fuel_curve.speed_accuracy", "fuel_curve.fuel_for_power"): WITH_THE_READINGS,
    ("fuel_curve.speed_accuracy", "fuel_curve.mixed_use"): WITH_THE_READINGS,
    ("fuel_curve.steady_course", "fuel_curve.fuel_for_power"): OTHER_BRANCH,
    ("handover.overshoot", "handover.course_change"): OTHER_BRANCH,
    ("handover.settle_seconds", "handover.course_change"): OTHER_BRANCH,
    ("heading_calibration.leeway", "heading_calibration.straight_runs"): COUNTS,
    ("heading_calibration.spread_limit", "heading_calibration.straight_runs"): OTHER_BRANCH,
    ("heading_calibration.wind_speed_error", "heading_calibration.straight_runs"): COUNTS,
    **dict.fromkeys(
        (
            (f"prop_check.{key}", f"prop_check.{check}")
            for key in ("largest_current", "same_way_difference", "run_difference", "opposite_within")
            for check in ("crouch", "engine_difference", "pitch", "readings", *OF_RUNS)
        ),
        CONTRADICTS,
    ),
    **dict.fromkeys(
        (
            (f"prop_check.{key}", "prop_check.readings")
            for key in (
                *("by_eye_speed", "by_eye_engine_speed", "run_to_run_speed", "run_to_run_engine_speed"),
                *("speed_uncertainty", "engine_speed_uncertainty", "engine_speed_resolution"),
                *("steady_seconds", "steady_speed", "steady_engine_speed"),
            )
        ),
        CONTRADICTS,
    ),
    ("prop_check.engine_difference", "prop_check.slip"): CONTRADICTS,
    ("prop_check.by_eye_speed", "prop_check.pitch"): BELIEVES,
    ("prop_check.run_to_run_speed", "prop_check.pitch"): BELIEVES,
    ("prop_check.limiter_margin", "prop_check.pitch"): OTHER_BRANCH,
    ("prop_check.limiter_margin", "prop_check.readings"): CONTRADICTS,
    ("prop_check.pitch_tolerance", "prop_check.pitch"): BELIEVES,
    ("prop_check.slip_beyond_usual", "prop_check.pitch"): BELIEVES,
    ("prop_check.slip_beyond_usual", "prop_check.slip"): BELIEVES,
    ("prop_check.slip_high_planing", "prop_check.pitch"): BELIEVES,
    ("prop_check.slip_low_planing", "prop_check.pitch"): BELIEVES,
    ("prop_check.speed_uncertainty", "prop_check.pitch"): BELIEVES,
    ("wiring_audit.bundling_rule", "wiring_audit.drop_calculated"): IN_THE_CURE,
    ("wiring_audit.bundling_rule", "wiring_audit.drop_measured"): IN_THE_CURE,
    ("wiring_audit.minimum_rule", "wiring_audit.drop_calculated"): IN_THE_CURE,
    ("wiring_audit.minimum_rule", "wiring_audit.drop_measured"): IN_THE_CURE,
    ("wiring_audit.drop_excess", "wiring_audit.drop_calculated"): OTHER_BRANCH,
    ("wiring_audit.drop_excess", "wiring_audit.drop_measured"): OTHER_BRANCH,
    ("wiring_audit.ambient", "wiring_audit.overcurrent_rating"): CONTRADICTS,
    ("wiring_audit.voltmeter", "wiring_audit.overcurrent_rating"): CONTRADICTS,
    ("wiring_audit.load_rule", "wiring_audit.battery_reserve"): CONTRADICTS,
    ("wiring_audit.voltmeter", "wiring_audit.drop_calculated"): OTHER_BRANCH,
    ("wiring_audit.current_meter", "wiring_audit.ampacity"): COUNTS,
    ("wiring_audit.current_meter", "wiring_audit.main_fuse"): COUNTS,
    ("wiring_audit.current_meter", "wiring_audit.overcurrent_rating"): COUNTS,
    ("wiring_audit.terminator_tolerance", "wiring_audit.network_terminators"): OTHER_BRANCH,
    **dict.fromkeys(
        (
            (f"fuel_curve.{key}", "fuel_curve.flow_meter")
            for key in (
                *("run_to_run_speed", "same_step"),
                *("steady_course", "steady_engine_speed", "steady_fuel_flow", "steady_seconds", "steady_speed"),
            )
        ),
        CONTRADICTS,
    ),
    **dict.fromkeys(
        (
            (f"fuel_curve.{key}", "fuel_curve.against_others")
            for key in (
                *("by_eye_speed", "flow_scatter", "gasoline_density", "largest_current", "poorest", "power_tolerance"),
                *("run_to_run_speed", "same_step", "speed_accuracy"),
                *("steady_course", "steady_engine_speed", "steady_fuel_flow", "steady_seconds", "steady_speed"),
            )
        ),
        CONTRADICTS,
    ),
}
"""Settings a check reads that change none of the samples' findings, and why each is read all the same."""


@functools.cache
def samples() -> tuple[JobView, ...]:
    return tuple(attrs.evolve(view_of(read_job_file(path), path.parent), sign_offs=()) for path in JOBS)


def other_values(setting: Setting) -> list[JsonValue]:
    if setting.field.kind is Kind.CHOICE:
        return [choice for choice in setting.field.choices if choice != setting.default]
    if setting.field.kind is Kind.TEXT:
        return [*setting.field.offers] or [f"{setting.default}; something else"]
    low, high = setting.field.hard or (0.0, 0.0)
    here = setting.number(setting.default)
    return [f"{each!r} {setting.field.unit}".strip() for each in (low, high, (low + here) / 2, (here + high) / 2)]


def found(view: JobView, calculator: Calculator, changed: Mapping[str, JsonValue]) -> tuple[object, set[str]]:
    """What a check finds, or lacks, and the settings it read."""
    ready = HOST.with_defaults(attrs.evolve(view, settings={**view.settings, **changed}))
    try:
        said: object = list(calculator.compute(ready)) if calculator.applies(ready) else []
    except NotEnoughData as lacking:
        said = lacking.missing
    assert isinstance(ready.settings, ReadSettings)
    return said, ready.settings.read


@pytest.mark.parametrize("calculator", HOST.calculators, ids=lambda calculator: calculator.key)
def test_a_setting_a_check_is_said_to_use_changes_what_it_finds(calculator: Calculator) -> None:
    """Otherwise a manager changes "Warmest engine space" in vain."""
    seldom = {key for key, check in SELDOM if check == calculator.key}
    reads, changing = set[str](), set[str]()
    for view in samples():
        before, read = found(view, calculator, {})
        reads |= read
        changing |= {
            key
            for key in read - changing - seldom
            if any(found(view, calculator, {key: value})[0] != before for value in other_values(DECLARED[key]))
        }
    assert reads - changing - seldom == set()


def test_on_a_boat_with_one_engine_no_check_uses_the_difference_between_engines() -> None:
    one_engine = [view for view in samples() if len(view.vessel.engines) == 1]
    assert one_engine
    for view in one_engine:
        read = set[str]().union(*(found(view, calculator, {})[1] for calculator in HOST.calculators))
        assert "prop_check.engine_difference" not in read
