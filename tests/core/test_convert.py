"""Plain data becomes records strictly, with every fault at once; and comes back without loss."""

from typing import Any

import attrs
import pytest

from garboard.faults import Fault, InputError
from garboard.job_files.convert import faults_of_floats, structure, unstructure
from garboard.records import Engine, JsonValue, Measurement, Propeller, StepState, Vessel
from garboard.units import Amount

VESSEL: dict[str, JsonValue] = {
    "hull_number": "ABC12345C393",
    "length": "24.50 ft",
    "engines": [{"position": "port", "gear_ratio": "1.850", "propeller": {"pitch": "17 in", "blades": 3}}],
}


def faults_of(plain: JsonValue, kind: type[Any], root: str = "") -> dict[str, Fault]:
    with pytest.raises(InputError) as caught:
        structure(plain, kind, "test", root)
    return {fault.where: fault for fault in caught.value.faults}


def test_records_are_made_to_their_depth_with_amounts_as_typed() -> None:
    vessel = structure(VESSEL, Vessel, "test")
    assert vessel.length == Amount("24.50", "ft")
    assert vessel.engines[0] == Engine(
        position="port",
        gear_ratio=Amount("1.850"),
        propeller=Propeller(pitch=Amount("17", "in"), blades=3),
    )


def test_there_and_back_is_the_same_plain_data() -> None:
    assert unstructure(structure(VESSEL, Vessel, "test")) == VESSEL


def test_keys_nobody_knows_are_kept_at_every_depth() -> None:
    plain: JsonValue = {**VESSEL, "colour": "blue", "engines": [{"position": "port", "tilt": {"up": [1, None, True]}}]}
    vessel = structure(plain, Vessel, "test")
    assert vessel.more == {"colour": "blue"}
    assert vessel.engines[0].more == {"tilt": {"up": [1, None, True]}}
    assert unstructure(vessel) == plain


def test_a_key_named_more_is_kept_like_any_other() -> None:
    plain: JsonValue = {"hull_number": "X", "more": {"name": "inner"}}
    assert unstructure(structure(plain, Vessel, "test")) == plain


def test_every_fault_is_reported_at_once_with_its_path() -> None:
    faults = faults_of(
        {
            "length": "24.5 kn",
            "beam": 8,
            "hull_form": "round",
            "engines": [
                {"position": "port", "network_instance": "0"},
                {"propeller": {"blades": True, "pitch": "seventeen"}},
            ],
            "circuits": "none",
            "tanks": [7],
        },
        Vessel,
    )
    assert set(faults) == {
        "hull_number",
        "length",
        "beam",
        "hull_form",
        "engines[0].network_instance",
        "engines[1].position",
        "engines[1].propeller.blades",
        "engines[1].propeller.pitch",
        "circuits",
        "tanks[0]",
    }
    assert faults["hull_number"].got == "nothing (the key is missing)"
    assert faults["engines[1].propeller.blades"] == Fault("engines[1].propeller.blades", "a whole number", "true")


def test_paths_begin_where_the_caller_says() -> None:
    assert set(faults_of({}, Vessel, "vessel")) == {"vessel.hull_number"}


@pytest.mark.parametrize(
    ("plain", "where", "expected", "got"),
    [
        ({"step": 1, "state": "done"}, "step", "text in quotes", "1"),
        ({"step": None, "state": "done"}, "step", "text in quotes", "null"),
        (
            {"step": "a.b", "state": "finished"},
            "state",
            "one of to do, under way, done, look again, not fitted",
            "'finished'",
        ),
        (
            {"step": "a.b", "state": ["done"]},
            "state",
            "one of to do, under way, done, look again, not fitted",
            '["done"]',
        ),
    ],
)
def test_nothing_is_turned_into_something_else_on_the_way_in(
    plain: JsonValue, where: str, expected: str, got: str
) -> None:
    assert faults_of(plain, StepState) == {where: Fault(where, expected, got)}


@pytest.mark.parametrize("plain", [[], "text", 7, None, True])
def test_a_record_must_be_an_object(plain: JsonValue) -> None:
    (fault,) = faults_of(plain, Vessel, "vessel").values()
    assert "an object with keys such as hull_number" in fault.expected


def test_a_choice_may_be_left_out_but_not_be_empty_where_it_is_required() -> None:
    assert structure({"hull_number": "X"}, Vessel, "test").hull_form == ""
    assert set(faults_of({"step": "a.b"}, StepState)) == {"state"}


@pytest.mark.parametrize("value", [None, True, 3, "38.20 kn", [1, "two"], {"file": "run.log"}])
def test_a_measurements_value_is_kept_as_it_is(value: JsonValue) -> None:
    plain: JsonValue = {"step": "a.b", "field": "speed", "value": value}
    assert structure(plain, Measurement, "test").value == value
    assert unstructure(structure(plain, Measurement, "test")) == plain


def test_lists_of_records_are_made_too() -> None:
    made = structure([{"step": "a.b", "state": "done"}], tuple[StepState, ...], "test")
    assert made == (StepState(step="a.b", state="done"),)


def test_empty_values_are_left_out_when_written() -> None:
    assert unstructure(Vessel(hull_number="X")) == {"hull_number": "X"}


def test_a_number_with_a_fraction_is_a_fault_wherever_it_stands() -> None:
    plain: Any = {"a": 1, "b": [2, 2.5, {"c": 1e3}], "d": "3.5 ft", "e": True}
    assert [(fault.where, fault.got) for fault in faults_of_floats(plain)] == [("b[1]", "2.5"), ("b[2].c", "1000.0")]


def test_records_cannot_be_changed() -> None:
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        structure(VESSEL, Vessel, "test").name = "other"  # type: ignore[misc]
