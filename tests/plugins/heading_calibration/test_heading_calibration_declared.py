"""What heading calibration declares, its pages of the handover book, and that no odd job breaks it."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import garboard_heading_calibration as plugin
from garboard.findings import Finding, Number, Table, Verdict
from garboard.job_view import FieldKey
from garboard.records import JsonValue
from garboard.samples import Sample, gather
from garboard.steps import RECORD, Block, Kind, Phase
from heading_jobs import HELM, HOST, MAST, NAME, PLACE, findings, job, straight_runs, turn


def test_the_plugin_loads_without_a_problem_and_every_calculator_has_its_step() -> None:
    assert HOST.problems == []
    keys = {step.key for step in HOST.steps}
    assert {calculator.step for calculator in HOST.calculators} == keys
    assert {step.guide for step in HOST.steps if step.guide} == set(HOST.live_guides)


def test_every_step_under_way_cautions_about_look_out_and_room() -> None:
    for step in HOST.steps:
        if step.phase is Phase.UNDER_WAY:
            words = " ".join(caution.text for caution in step.cautions)
            assert "look-out" in words
            assert "full circle fits" in words


def test_every_default_setting_is_within_its_own_limits() -> None:
    view = job({})
    for setting in HOST.settings:
        field = setting.field
        if field.kind is Kind.AMOUNT and field.hard:
            low, high = field.hard
            assert low <= view.setting_amount(setting.key, field.unit) <= high
        else:
            assert setting.default in field.choices


OF_FORMULAS = (
    "comparison",
    "deviation",
    "directions",
    "ellipse",
    "odd_reading",
    "rates",
    "totals",
    "turns",
    "variation",
)
CALCULATIONS = [
    function
    for module in OF_FORMULAS
    for name, function in vars(importlib.import_module(f"garboard_heading_calibration.{module}")).items()
    if inspect.isfunction(function) and not name.startswith("_") and function.__module__.endswith(module)
]


@pytest.mark.parametrize("function", CALCULATIONS, ids=lambda function: function.__name__)
def test_every_argument_of_a_calculation_names_its_unit(function: object) -> None:
    assert callable(function)
    text = inspect.getdoc(function) or ""
    for argument in inspect.signature(function).parameters:
        assert re.search(rf"^\s*{argument}\s+: [^\n]*(\n\s{{5,}}[^\n]*)*\[[^\]]+\]", text, re.M), argument


def test_nothing_heavy_is_imported_before_it_is_needed() -> None:
    modules = [f"garboard_heading_calibration.{module.name}" for module in pkgutil.iter_modules(plugin.__path__)]
    code = (
        f"import sys, {', '.join(modules)}; print(sorted({{'numpy', 'pint', 'pygeomag', 'click'}} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-OO", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# --- the handover book


def pages(values: dict[FieldKey, JsonValue]) -> list[Block]:
    recordings = {"turn": turn(2.5, 181), "runs": straight_runs(range(0, 360, 45), lambda _z: 0.5, variation=-13.9)}
    view = job(values, recordings=recordings)
    (section,) = [one for one in HOST.report_sections if one.part == RECORD]
    return list(section.build(view, HOST.assess(view)))


FULL: dict[FieldKey, JsonValue] = {
    **PLACE,
    (f"{NAME}.steady_turn", "turn_recording", "", ""): {"file": "turn"},
    (f"{NAME}.steady_turn", "calm_water", "", ""): True,
    (f"{NAME}.straight_runs", "runs_recording", "", ""): {"file": "runs"},
    (f"{NAME}.straight_runs", "current_speed", "", ""): "0 kn",
}


def test_the_book_gives_card_figure_variation_and_turn_with_words_for_the_owner() -> None:
    blocks = pages(FULL)
    tables = [block.title for block in blocks if isinstance(block, Table)]
    assert tables == ["Deviation card: helm compass", "Steady turns"]
    findings = [block for block in blocks if isinstance(block, Finding)]
    assert [figure.title for finding in findings for figure in finding.figures] == ["Deviation of helm compass"]
    assert "variation" in {finding.about for finding in findings}
    assert any(isinstance(block, str) and "Add the deviation" in block for block in blocks)


def test_the_book_says_which_sensor_was_never_swung() -> None:
    """Turned but not swung: no card, and the book says so."""
    said = "Not swung, no deviation card: helm compass. Have a sensor swung before you steer by it alone."
    without_runs = {place: value for place, value in FULL.items() if "straight_runs" not in place[0]}
    assert said in pages(without_runs)
    assert not any(isinstance(block, str) and "Not swung" in block for block in pages(FULL))


def test_the_number_of_the_page_is_the_largest_deviation_whichever_way() -> None:
    """Runs made with 0.5 degrees on every heading: A alone, east."""
    (large,) = [block for block in pages(FULL) if isinstance(block, Number)]
    assert large.name == "largest deviation after calibration"
    assert large.value == pytest.approx(0.5, abs=0.1)


def test_the_table_of_turns_keeps_numbers_under_their_headings() -> None:
    (turns,) = [block for block in pages(FULL) if isinstance(block, Table) and block.title == "Steady turns"]
    (row,) = turns.rows
    cells = dict(zip(turns.headings, row, strict=True))
    assert cells["Sensor"] == "helm compass"
    assert cells["Turned [deg]"] == "452.5 ± 6.5"  # 181 s at 2.5 deg/s
    assert cells["By course over ground [deg]"] == "452.5 ± 6.9"
    assert cells["Mean rate [deg/s]"] == "2.500 ± 0.036"
    assert cells["Verdict"] == "pass"


def test_a_book_without_anything_measured_has_no_page() -> None:
    assert pages({}) == []


# --- odd jobs

_ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from(
        ["", "x", "refused", "9", "course over ground", "2026-11-25", "1e9 deg", "12 V", "-3 m", "0 m", "4 ft"]
    ),
    st.just({"file": "odd"}),
    st.just({"file": "missing"}),
    st.just({"file": 3}),
)
_PLACES = sorted(
    {
        (step.key, field.name, row, of)
        for step in HOST.steps
        for field in step.all_fields()
        for row in ("", "1")
        for of in (("", HELM.name) if field.each else ("",))
    }
)


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(st.sampled_from(_PLACES), _ODD, max_size=25),
    st.lists(st.sampled_from(_PLACES), max_size=3, unique=True),
    st.lists(
        st.tuples(
            st.floats(0, 300),
            st.sampled_from(["heading", "rate_of_turn", "course_over_ground", "variation", "magnetic_x", "magnetic_y"]),
            st.one_of(st.floats(-1e9, 1e9), st.just(float("nan")), st.just(float("inf"))),
            st.sampled_from(["7", "9", ""]),
        ),
        max_size=40,
    ),
)
def test_no_job_however_odd_makes_a_calculator_fail(
    values: dict[FieldKey, JsonValue], unsettled: list[FieldKey], rows: list[tuple[float, str, float, str]]
) -> None:
    recording = gather("odd", [Sample(*row) for row in rows])
    view = job(values, HELM, MAST, recordings={"odd": recording}, disagreements=unsettled)
    for assessed in HOST.assess(view):
        assert "failed in" not in assessed.finding.sentence
        assert assessed.finding.basis


def test_samples_that_are_no_numbers_are_left_out_of_every_calculation() -> None:
    """A long recording of two sensors in which every fifth value is not a number."""
    rows = []
    for second in range(200):
        for quantity, value in (("heading", 90.0), ("rate_of_turn", 2.5), ("course_over_ground", 95.0)):
            for source in ("7", "9"):
                rows.append(Sample(float(second), quantity, value if second % 5 else float("nan"), source))
    values: dict[FieldKey, JsonValue] = dict(PLACE)
    values |= {
        (f"{NAME}.{step}", field, "", ""): {"file": "odd"}
        for step, field in {
            "comparison": "comparison_recording",
            "straight_runs": "runs_recording",
            "steady_turn": "turn_recording",
        }.items()
    }
    values[f"{NAME}.straight_runs", "current_speed", "", ""] = "0 kn"
    view = job(values, HELM, MAST, recordings={"odd": gather("odd", rows)})
    (compared,) = findings(view, "comparison")
    assert compared.verdict is Verdict.PASS
    for assessed in HOST.assess(view):
        assert "failed in" not in assessed.finding.sentence


def test_values_that_disagree_are_not_used() -> None:
    latitude = (f"{NAME}.place", "latitude", "", "")
    view = job(dict(PLACE), disagreements=[latitude])
    (finding,) = findings(view, "variation")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "“Latitude, north positive”: values disagree, choose one" in finding.sentence
