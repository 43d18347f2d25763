"""A refused value carries what was expected, what stands there and what to do as data."""

from __future__ import annotations

import pytest

from garboard.faults import Fault, GarboardError, ValueRefused
from garboard.fields import check_value
from garboard.records import JsonValue
from garboard.steps import Field, Kind
from garboard.units import Amount, parse_amount

SPEED = Field(name="speed", title="Speed", kind=Kind.AMOUNT, quantity="speed", unit="kn", hard=(0, 200))


def test_a_refused_value_says_the_same_as_data_and_in_words() -> None:
    refused = ValueRefused("a whole number", "'three'", "write digits")
    assert isinstance(refused, ValueError)
    assert isinstance(refused, GarboardError)
    assert str(refused) == "expected a whole number, got 'three': write digits"
    at = refused.at("propeller.blades")
    assert at == Fault("propeller.blades", "a whole number", "'three'", cure="write digits")
    assert str(at) == "propeller.blades: expected a whole number, got 'three': write digits"


def test_a_fault_in_which_the_words_of_a_fault_stand_is_not_torn_apart() -> None:
    """A value that holds ", got " was taken for the end of what was expected."""
    choice = Field(name="trim", title="Trim", kind=Kind.CHOICE, choices=("in, got wet", "out"))
    with pytest.raises(ValueRefused) as raised:
        check_value(choice, "soaked, got dry")
    assert raised.value.at("trim") == Fault("trim", "one of 'in, got wet', 'out'", "'soaked, got dry'")


A_SPEED = "a speed in kn, mph, km/h or m/s, such as '38.2 kn'"


@pytest.mark.parametrize(
    ("value", "expected", "got", "cure"),
    [
        ("412 kn", "between 0 and 200 kn", "'412 kn'", ""),
        (38, 'text with number and unit, such as "38 kn"', "38", ""),
        ("38", A_SPEED, "'38'", "add the unit"),
        ("38,2 kn", "a number with its unit, such as '38.2 kn'", "'38,2 kn'", "use a point, not a comma"),
        (
            "38 knots",
            A_SPEED,
            "'38 knots'",
            "unit 'knots' is not known, write 'kn'",
        ),
        ("38 V", A_SPEED, "'38 V'", ""),
    ],
)
def test_what_a_field_refuses_comes_apart_as_data(value: JsonValue, expected: str, got: str, cure: str) -> None:
    with pytest.raises(ValueRefused) as raised:
        check_value(SPEED, value)
    assert raised.value.at("speed") == Fault("speed", expected, got, cure=cure)


@pytest.mark.parametrize("text", ["fast", "12 furlong"])
def test_an_amount_that_cannot_be_read_is_refused_as_data(text: str) -> None:
    with pytest.raises(ValueRefused) as raised:
        Amount.parse(text)
    assert raised.value.fault.got == repr(text)
    with pytest.raises(ValueRefused) as raised:
        parse_amount(text, "speed")
    assert raised.value.fault.got == repr(text)
