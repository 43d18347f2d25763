"""The plugin as a whole: what it registers, the owner's pages, odd jobs, and its docstrings."""

import inspect
import re
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builders import boat, findings_of, job_view
from examples import examples
from fuel_curve_jobs import DISPLACEMENT, HOST, PLANING, STEPS, TANKS, recorded, typed
from garboard.fields import LOAD, check_value
from garboard.findings import Figure, Finding, Number, Table, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.records import ENGINE_POSITIONS, JsonValue
from garboard.samples import gather
from garboard.steps import RECORD, Phase
from garboard.units import Amount, parse_amount
from garboard_fuel_curve import curve, duty_cycle, economy, flow_meter, odd, smooth, specific_consumption
from garboard_fuel_curve.recorded import in_turn

RATED: dict[str, Any] = {"rated_power": Amount.parse("200 hp"), "rated_speed": Amount.parse("6000 rev/min")}


def test_the_plugin_loads_whole() -> None:
    assert HOST.problems == []
    assert [step.key for step in HOST.steps] == [STEPS, TANKS]
    assert HOST.step(STEPS).phase is Phase.UNDER_WAY  # type: ignore[union-attr]
    assert set(HOST.live_guides) == {"fuel_curve.step"}
    assert {one.step for one in HOST.calculators} == {STEPS, TANKS}


def test_every_setting_has_a_default_in_its_own_quantity() -> None:
    for setting in HOST.settings:
        assert parse_amount(str(setting.default), setting.field.quantity)


def test_the_throttle_steps_warn_of_full_throttle_look_out_and_vapour_before_anything_else() -> None:
    told = " ".join(caution.text for step in HOST.steps for caution in step.cautions)
    for word in ("full throttle", "look-out", "cut-off link", "blower", "vapour"):
        assert word in told
    assert all(step.cautions for step in HOST.steps)


@pytest.mark.parametrize("said", [*LOAD, "two aboard, half fuel"])
def test_a_load_is_said_in_the_words_of_every_check_and_older_words_are_read(said: str) -> None:
    (field,) = (field for field in HOST.step(STEPS).fields if field.name == "load")  # type: ignore[union-attr]
    assert field.offers == LOAD
    check_value(field, said)
    view = job_view(boat(1), {**typed(PLANING), (STEPS, "load", "", ""): said})
    assert any(f"load: {said}." in block for block in pages(view) if isinstance(block, str))


def whole_job(factor: float = 1.0) -> JobView:
    values = typed([(e, s, f * factor) for e, s, f in PLANING], 2)
    values[TANKS, "usable_fuel", "", ""] = "90 gal"
    values[STEPS, "water_state", "", ""] = "light chop"
    return job_view(boat(2, **RATED), values)


def pages(view: JobView) -> list[object]:
    (section,) = [one for one in HOST.report_sections if one.part == RECORD]
    return list(section.build(HOST.with_defaults(view), HOST.assess(view)))


def test_the_owners_pages_hold_figure_table_cruise_range_and_a_warning() -> None:
    blocks = pages(whole_job())
    assert any(isinstance(block, Figure) for block in blocks)
    assert any(isinstance(block, Table) and block.title == "Fuel by engine speed" for block in blocks)
    assert {block.about for block in blocks if isinstance(block, Finding)} >= {"best-economy cruise", "range"}
    (mixed,) = (block for block in blocks if isinstance(block, Finding) and block.about == "mixed use")
    assert "how steeply fuel rises with engine speed" in mixed.numbers[1].name
    words = " ".join(block for block in blocks if isinstance(block, str))
    assert "water: light chop" in words
    assert "Where your fuel goes farthest while the boat planes:" in words
    assert "Plan with your own gauge and weather" in words


def test_the_owner_of_a_boat_that_never_planes_reads_of_the_best_at_any_speed() -> None:
    blocks = pages(job_view(boat(2, **RATED), typed(DISPLACEMENT, 2)))
    assert "Where your fuel goes farthest:" in blocks
    assert next(block.name for block in blocks if isinstance(block, Number)) == "at the best economy"


@pytest.mark.parametrize("noted", [{}, {(STEPS, "water_state", "", ""): ""}])
def test_the_owner_reads_no_conditions_where_none_were_noted(noted: dict[FieldKey, JsonValue]) -> None:
    view = job_view(boat(2, **RATED), {**typed(DISPLACEMENT, 2), **noted})
    assert "On that day" not in " ".join(block for block in pages(view) if isinstance(block, str))


def test_a_job_without_steps_has_no_fuel_pages() -> None:
    assert pages(job_view(boat(2), {})) == []


def test_the_owner_is_told_when_the_readings_could_not_be_true() -> None:
    blocks = pages(whole_job(factor=3.785))
    assert any("Do not plan on them" in block for block in blocks if isinstance(block, str))
    assert not any(isinstance(block, Finding) and block.about == "range" for block in blocks)


def test_the_owner_reads_of_a_reading_to_take_again_and_of_no_cruise() -> None:
    view = whole_job()
    sound = {"in doubt", "taken again"}
    assert not any(word in block for block in pages(view) if isinstance(block, str) for word in sound)
    values = typed(PLANING, 2)
    values[STEPS, "fuel_flow", "8", "port"] = "66 gal/h"  # 6.60
    blocks = pages(job_view(boat(2, **RATED), {**values, (TANKS, "usable_fuel", "", ""): "90 gal"}))
    assert any("has to be taken again. No cruise and no range" in block for block in blocks if isinstance(block, str))
    assert {block.about for block in blocks if isinstance(block, Finding)} == set()
    assert not any(isinstance(block, Number) for block in blocks)


def test_the_owner_of_a_boat_run_one_way_reads_the_least_it_goes() -> None:
    blocks = pages(job_view(boat(2, **RATED), typed(PLANING, 2, current=None)))
    name = next(block.name for block in blocks if isinstance(block, Number))
    assert name == "at the best-economy cruise, at least, if the current was no more than 1 kn"


texts = st.sampled_from(
    ["0", "-1", "5", "9" * 400, "0.0000001", "12.5", "5800", "650", "90", "", "no", "1,5", "nan", "inf", "1e5"]
)
units = st.sampled_from(["", " rev/min", " kn", " mph", " gal/h", " L/h", " gal", " lb/gal", " V", " furlong"])
odd_values: st.SearchStrategy[JsonValue] = st.one_of(
    st.builds("{}{}".format, texts, units),
    st.none(),
    st.booleans(),
    st.integers(-5, 5),
    st.just({"file": "run.log"}),
    st.just({"file": 3}),
    st.just([]),
    st.sampled_from(["gasoline", "diesel", "water"]),
)
FIELDS = [(step.key, field) for step in HOST.steps for field in step.all_fields()]


ROW_FIELDS = {"nominal_engine_speed", "speed_out", "speed_back", "engine_speed", "fuel_flow"}


@st.composite
def odd_views(draw: st.DrawFn) -> JobView:
    """A sound job of up to four engines with any values put out of order."""
    engines = draw(st.integers(0, 4))
    each = RATED if draw(st.booleans()) else {}
    rows = draw(st.sampled_from([PLANING, DISPLACEMENT, PLANING[:3], ()]))
    values: dict[FieldKey, JsonValue] = typed(rows, engines) if engines else {}
    values[TANKS, "usable_fuel", "", ""] = "90 gal"
    values[TANKS, "refilled", "", ""] = "60 gal"
    values[TANKS, "same_mark", "", ""] = True
    positions = ENGINE_POSITIONS[engines] if engines else ()
    places = []
    for step, field in FIELDS:
        row_choices = [""] if field.name not in ROW_FIELDS else ["1", "2", "13"]
        of_choices = [*positions, "nobody"] if field.each else [""]
        places += [(step, field.name, row, of) for row in row_choices for of in of_choices]
    values.update(draw(st.dictionaries(st.sampled_from(places), odd_values, max_size=5)))
    unsettled = draw(st.lists(st.sampled_from(places), max_size=2))
    recording = gather("run", draw(st.sampled_from([[], recorded(PLANING[:2], max(engines, 1), hold=22)])))
    return job_view(boat(engines, **each), values, disagreements=unsettled, recordings={"run.log": recording})


@settings(max_examples=examples(100), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(odd_views())
def test_no_odd_job_brings_a_calculator_down(view: JobView) -> None:
    for assessed in HOST.assess(view):
        assert " failed in " not in assessed.finding.sentence
        for number in assessed.finding.numbers:
            assert abs(number.value) < 1e9


rising_rows = st.lists(st.tuples(st.floats(40, 900), st.floats(0, 9), st.floats(0.05, 9)), min_size=6, max_size=14)


@settings(max_examples=examples(60), deadline=None)
@given(rising_rows)
def test_landmarks_lie_within_the_steps_whatever_the_boat(increments: list[tuple[float, float, float]]) -> None:
    rows = []
    engine_speed, speed, flow = 500.0, 0.5, 0.3
    for more in increments:
        engine_speed, speed, flow = engine_speed + more[0], speed + more[1], flow + more[2]
        rows.append((engine_speed, speed, flow))
    view = job_view(boat(1), typed(rows, current=0.0), settings={"fuel_curve.widest_gap": "3000 rev/min"})
    for assessed in HOST.assess(view):
        assert " failed in " not in assessed.finding.sentence
    low, high = rows[0][0], rows[-1][0]
    (hump,) = findings_of(HOST, view, "fuel_curve.planing_hump")
    named = {number.name: number.value for number in hump.numbers if number.unit == "rev/min"}
    assert all(low - 101 <= value <= high + 101 for value in named.values())
    if "hump begins, from" in named:
        order = [named[n] for n in ("hump begins, from", "hump deepest", "planing begins, to")]
        assert order == sorted(order)


MODULES: tuple[ModuleType, ...] = (curve, duty_cycle, economy, flow_meter, odd, smooth, specific_consumption)
CALCULATIONS = [
    function
    for module in MODULES
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if not name.startswith("_") and function.__module__ == module.__name__
] + [inspect.unwrap(curve.study), in_turn]


@pytest.mark.parametrize("calculation", CALCULATIONS, ids=lambda function: function.__name__)
def test_every_argument_and_result_of_a_calculation_has_a_unit(calculation: Callable[..., object]) -> None:
    text = inspect.getdoc(calculation) or ""
    for name in (*inspect.signature(calculation).parameters, "returns"):
        assert re.search(rf"^{name}\s*:.*\[[^\]]+\]", text, re.M), f"{name} has no unit"


def test_what_cannot_be_said_is_said_so() -> None:
    for assessed in HOST.assess(job_view(boat(1), {})):
        assert assessed.finding.verdict is Verdict.NOT_ENOUGH_DATA
        assert assessed.finding.sentence.startswith("Not enough data: ")
