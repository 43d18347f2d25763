"""Amounts are kept as typed; conversions agree with exact definitions and with an independent registry."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from functools import cache
from itertools import product
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.units import _SCALE, _ZERO, EXAMPLE_OF, SPELLED_OTHERWISE, UNITS_OF, Amount, convert, parse_amount

if TYPE_CHECKING:
    import pint

PAIRS = [(one, other) for units in UNITS_OF.values() for one, other in product(units, units)]


@cache
def registry() -> pint.UnitRegistry[float]:
    """Pint's, loaded when it is asked: it loads scipy where that is installed."""
    import pint

    return pint.UnitRegistry()


PINT_NAME: Mapping[str, str] = {
    "kn": "knot",
    "mph": "mile / hour",
    "km/h": "kilometer / hour",
    "m/s": "meter / second",
    "nm": "nautical_mile",
    "mi": "mile",
    "km": "kilometer",
    "m": "meter",
    "cm": "centimeter",
    "mm": "millimeter",
    "ft": "foot",
    "in": "inch",
    "gal/h": "gallon / hour",
    "L/h": "liter / hour",
    "gal": "gallon",
    "L": "liter",
    "hp": "horsepower",
    "kW": "kilowatt",
    "lb": "pound",
    "kg": "kilogram",
    "lb/gal": "pound / gallon",
    "kg/L": "kilogram / liter",
    "rev/min": "revolution / minute",
    "deg": "degree",
    "deg/s": "degree / second",
    "deg/min": "degree / minute",
    "degC": "degC",
    "degF": "degF",
    "kPa": "kilopascal",
    "hPa": "hectopascal",
    "psi": "pound_force_per_square_inch",
    "inHg": "inch_Hg_32F",
    "V": "volt",
    "mV": "millivolt",
    "A": "ampere",
    "mA": "milliampere",
    "Ah": "ampere_hour",
    "ohm": "ohm",
    "mohm": "milliohm",
    "kohm": "kiloohm",
    "W": "watt",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "mm2": "millimeter ** 2",
    "cmil": "circular_mil",
    "uT": "microtesla",
    "ft-lb": "foot * pound_force",
    "Nm": "newton * meter",
    "in-lb": "inch * pound_force",
    "gal/min": "gallon / minute",
    "L/min": "liter / minute",
    "mW": "milliwatt",
    "%": "percent",
    "": "dimensionless",
}


@pytest.mark.parametrize(
    ("value", "unit", "wanted", "expected"),
    [
        # NIST SP 811 (2008), appendix B: exact factors, so that only the last bit may differ.
        (1, "in", "mm", 25.4),
        (1, "ft", "m", 0.3048),
        (1, "mi", "m", 1609.344),
        (1, "nm", "m", 1852),
        (1, "kn", "km/h", 1.852),
        (1, "gal", "L", 3.785411784),
        (1, "lb", "kg", 0.45359237),
        (1, "h", "s", 3600),
        (1, "gal/h", "L/h", 3.785411784),
        (1, "deg/min", "deg/s", 1 / 60),
        (1, "gal/min", "gal/h", 60),
        (1, "L/min", "L/h", 60),
        (1, "W", "mW", 1000),
        (12, "in-lb", "ft-lb", 1),
        # Foot pound-force, from the pound-force below.
        (1, "ft-lb", "Nm", 0.45359237 * 9.80665 * 0.3048),
        # The same, by hand from exact definitions: pound-force is 0.45359237 kg x 9.80665 m/s2.
        (1, "psi", "kPa", 0.45359237 * 9.80665 / 0.0254**2 / 1000),
        # A circular mil is the area of a round of 0.001 in diameter.
        (1, "cmil", "mm2", math.pi / 4 * 0.0254**2),
        # Celsius and Fahrenheit by definition: water freezes at 0 and 32, and boils at 100 and 212.
        (32, "degF", "degC", 0),
        (212, "degF", "degC", 100),
        (100, "degC", "degF", 212),
        (-40, "degC", "degF", -40),
    ],
)
def test_conversions_follow_exact_definitions(value: int, unit: str, wanted: str, expected: float) -> None:
    assert convert(value, unit, wanted) == pytest.approx(expected, rel=1e-12, abs=1e-10)


def test_horsepower_is_the_one_of_550_foot_pounds_a_second() -> None:
    """NIST SP 811 (2008), appendix B: 745.69987 W (550 ft lbf/s), not the metric or the electric one."""
    assert convert(1, "hp", "W") == pytest.approx(745.69987, abs=5e-6)


def test_the_gallon_is_the_american_one_of_231_cubic_inches() -> None:
    """NIST SP 811 (2008), appendix B: the US gallon is 231 cubic inches."""
    assert convert(1, "gal", "L") == pytest.approx(231 * 0.254**3, rel=1e-12)


@given(pair=st.sampled_from(PAIRS), value=st.floats(-1e6, 1e6))
def test_conversions_agree_with_the_reference_library(pair: tuple[str, str], value: float) -> None:
    """Against pint, asked directly for each value; the program has a line for each pair."""
    unit, wanted = pair
    expected = registry().Quantity(value, PINT_NAME[unit]).to(PINT_NAME[wanted]).magnitude
    assert convert(value, unit, wanted) == pytest.approx(expected, rel=1e-9, abs=1e-6)


def test_the_table_is_the_reference_library_s_to_the_last_digit() -> None:
    """Every pair of units that pint converts is in the table, with pint's own digits, and no other pair is."""
    expected = {one: dict(scales_of(one)) for one in PINT_NAME}
    assert expected == _SCALE, "\n".join(f'    "{one}": {scales},' for one, scales in expected.items())
    zeros = {(one, other): zero for one in expected for other in expected[one] if (zero := of_pint(0.0, one, other))}
    assert zeros == _ZERO


def scales_of(unit: str) -> Iterator[tuple[str, float]]:
    for wanted in PINT_NAME:
        if wanted != unit and registry().Quantity(1.0, PINT_NAME[unit]).is_compatible_with(PINT_NAME[wanted]):
            yield wanted, (of_pint(10.0, unit, wanted) - of_pint(0.0, unit, wanted)) / 10


def of_pint(value: float, unit: str, wanted: str) -> float:
    return float(registry().Quantity(value, PINT_NAME[unit]).to(PINT_NAME[wanted]).magnitude)


@given(pair=st.sampled_from(PAIRS), value=st.floats(-1e6, 1e6))
def test_there_and_back_is_where_it_started(pair: tuple[str, str], value: float) -> None:
    unit, wanted = pair
    assert convert(convert(value, unit, wanted), wanted, unit) == pytest.approx(value, rel=1e-9, abs=1e-6)


def test_every_unit_belongs_to_one_quantity_at_least() -> None:
    assert set(_SCALE) == {unit for units in UNITS_OF.values() for unit in units}


@pytest.mark.parametrize(("unit", "wanted"), [("kn", "V"), ("", "m"), ("ft", ""), ("gal", "lb")])
def test_units_of_different_quantities_are_refused(unit: str, wanted: str) -> None:
    with pytest.raises(ValueError, match="cannot be given in"):
        convert(1, unit, wanted)


@pytest.mark.parametrize(("unit", "wanted"), [("furlong", "m"), ("m", "furlong")])
def test_unknown_units_are_refused_by_name(unit: str, wanted: str) -> None:
    with pytest.raises(ValueError, match="unknown unit 'furlong'"):
        convert(1, unit, wanted)


@given(
    digits=st.from_regex(r"[+-]?(?:[0-9]{1,12}(?:\.[0-9]{1,12})?|\.[0-9]{1,12})", fullmatch=True),
    unit=st.sampled_from(sorted(_SCALE)),
    space=st.sampled_from(["", " ", "  "]),
)
def test_every_digit_is_kept_as_typed(digits: str, unit: str, space: str) -> None:
    amount = Amount.parse(f" {digits}{space}{unit} ")
    assert (amount.text, amount.unit) == (digits, unit)
    assert Amount.parse(str(amount)) == amount
    assert amount.to(unit) == float(digits)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "kn",
        "twelve V",
        "1,5 V",
        "1.5.2 V",
        "nan",
        "NaN V",
        "inf",
        "infinity V",
        "1e5 V",
        "0x10",
        "١٢ V",
        "12 V 3",
    ],
)
def test_what_is_no_amount_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"expected a (number with its unit|unit the program knows)"):
        Amount.parse(text)


def test_a_comma_is_pointed_out() -> None:
    with pytest.raises(ValueError, match="use a point, not a comma"):
        Amount.parse("12,6 V")


@pytest.mark.parametrize(
    ("text", "quantity", "said"),
    [
        ("12 V", "speed", "a speed in kn, mph, km/h or m/s, such as '38.2 kn'"),
        ("12", "engine speed", "an engine speed in rev/min, such as '5800 rev/min'"),
        ("12 kn", "number", "a number without a unit, such as '1.85'"),
        ("long", "length", "a number with its unit, such as '24.5 ft'"),
        ("n/a", "number", "a plain number, such as '1.85'"),
    ],
)
def test_what_is_no_amount_of_a_quantity_is_refused_with_an_example_of_it(text: str, quantity: str, said: str) -> None:
    with pytest.raises(ValueError, match="expected") as caught:
        parse_amount(text, quantity)
    assert said in str(caught.value)
    assert f"got '{text}'" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "quantity", "write"),
    [
        ("33.9 knots", "speed", "kn"),
        ("39 MPH", "speed", "mph"),
        ("5620 rpm", "engine speed", "rev/min"),
        ("9.8 gph", "fuel flow", "gal/h"),
        ("21'", "length", "ft"),
        ("21 °C", "temperature", "degC"),
        ("12.7 volts", "voltage", "V"),
    ],
)
def test_a_unit_spelled_otherwise_is_refused_with_its_spelling_here(text: str, quantity: str, write: str) -> None:
    with pytest.raises(ValueError, match="is not known") as caught:
        parse_amount(text, quantity)
    assert str(caught.value).endswith(f"is not known, write {write!r}")


@pytest.mark.parametrize(
    ("text", "quantity", "said"),
    [
        (
            "60 M",
            "distance",
            "a distance in nm, mi, km, m or ft, such as '1.5 nm', got '60 M': unit 'M' is not known, ",
        ),
        ("60 M", "distance", "write 'nm' for nautical miles or 'm' for metres"),
        (
            "60 M",
            "engine speed",
            "an engine speed in rev/min, such as '5800 rev/min', got '60 M': unit 'M' is not known",
        ),
        (
            "60 rpm",
            "speed",
            "a speed in kn, mph, km/h or m/s, such as '38.2 kn', got '60 rpm': unit 'rpm' is not known",
        ),
    ],
)
def test_a_unit_that_is_not_sure_is_refused_with_the_units_the_field_takes(text: str, quantity: str, said: str) -> None:
    with pytest.raises(ValueError, match="is not known") as caught:
        parse_amount(text, quantity)
    assert said in str(caught.value)
    assert "write 'rev/min'" not in str(caught.value)
    assert "write 'm'" not in str(caught.value)


def test_a_unit_nobody_knows_is_refused_with_those_of_the_quantity_only() -> None:
    with pytest.raises(ValueError, match="furlong") as caught:
        parse_amount("12 furlongs", "speed")
    assert "a speed in kn, mph, km/h or m/s," in str(caught.value)
    assert "psi" not in str(caught.value)


def test_every_spelling_pointed_to_is_a_unit_and_none_pointed_from_is() -> None:
    assert set(SPELLED_OTHERWISE.values()) <= set(_SCALE)
    assert not set(SPELLED_OTHERWISE) & set(_SCALE)


@pytest.mark.parametrize("quantity", UNITS_OF)
def test_every_example_is_an_amount_of_its_quantity(quantity: str) -> None:
    assert str(parse_amount(EXAMPLE_OF[quantity], quantity)) == EXAMPLE_OF[quantity]


def test_a_number_without_a_unit_is_one() -> None:
    assert parse_amount("1.85", "number") == Amount("1.85", "")
