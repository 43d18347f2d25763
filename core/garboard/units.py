"""Amounts with units: kept as they were typed, converted only when a calculator asks."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

import attrs

if TYPE_CHECKING:
    import pint

_PINT_NAME: Mapping[str, str] = {
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
    "W": "watt",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "mm2": "millimeter ** 2",
    "cmil": "circular_mil",
    "uT": "microtesla",
    "%": "percent",
    "": "dimensionless",
}
"""Every unit the program knows, by the spelling it shows, and pint's name for it (gallon is the US gallon)."""

UNITS_OF: Mapping[str, tuple[str, ...]] = {
    "speed": ("kn", "mph", "km/h", "m/s"),
    "distance": ("nm", "mi", "km", "m", "ft"),
    "length": ("ft", "in", "m", "cm", "mm"),
    "fuel flow": ("gal/h", "L/h"),
    "volume": ("gal", "L"),
    "power": ("hp", "kW", "W"),
    "weight": ("lb", "kg"),
    "density": ("lb/gal", "kg/L"),
    "engine speed": ("rev/min",),
    "angle": ("deg",),
    "rate of turn": ("deg/s", "deg/min"),
    "temperature": ("degC", "degF"),
    "pressure": ("kPa", "hPa", "psi", "inHg"),
    "voltage": ("V", "mV"),
    "current": ("A", "mA"),
    "charge": ("Ah",),
    "resistance": ("ohm", "mohm"),
    "time": ("s", "min", "h"),
    "area": ("mm2", "cmil"),
    "magnetic field": ("uT",),
    "share": ("%",),
    "number": ("",),
}
"""The quantities a field or a record may name, and the units each accepts; the first is what the tablet offers."""

EXAMPLE_OF: Mapping[str, str] = {
    "speed": "38.2 kn",
    "length": "24.5 ft",
    "engine speed": "5800 rev/min",
    "fuel flow": "22.4 gal/h",
    "number": "1.85",
}

_AMOUNT = re.compile(r"(?P<text>[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+))(?:\s*(?P<unit>[A-Za-z%][A-Za-z0-9/%]*))?")


@attrs.frozen
class Amount:
    """A number with its unit, kept as typed.

    text : decimal digits as given, leading and trailing zeros kept
    unit : a spelling from `UNITS_OF`; empty for a plain number

    >>> Amount.parse("38.20 kn")
    Amount(text='38.20', unit='kn')
    >>> round(Amount.parse("38.20 kn").to("mph"), 2)
    43.96
    """

    text: str
    unit: str = ""

    @classmethod
    def parse(cls, text: str, example: str = "38.2 kn") -> Amount:
        """Read "38.2 kn", "38.2kn" or "1.85". Raises ValueError naming what was expected, with the example."""
        match = _AMOUNT.fullmatch(text.strip())
        if match is None:
            hint = " (use a point, not a comma)" if re.search(r"\d,\d", text) else ""
            what = "a number with its unit" if " " in example else "a plain number"
            raise ValueError(f"expected {what}, such as {example!r}{hint}, got {text!r}")
        unit = match["unit"] or ""
        if unit not in _PINT_NAME:
            raise ValueError(f"expected a unit out of {', '.join(filter(None, _PINT_NAME))}, got {unit!r} in {text!r}")
        return cls(match["text"], unit)

    def to(self, unit: str) -> float:
        """The number in another unit of the same quantity. Raises ValueError when the units do not agree."""
        return convert(float(self.text), self.unit, unit)

    def __str__(self) -> str:
        return f"{self.text} {self.unit}".rstrip()


def parse_amount(text: str, quantity: str) -> Amount:
    """Read an amount of one quantity.

    quantity : a key of `UNITS_OF`
    Raises ValueError when the text is no number or its unit is of another quantity.

    >>> str(parse_amount("1.85", "number"))
    '1.85'
    """
    example = EXAMPLE_OF.get(quantity, f"12 {UNITS_OF[quantity][0]}".strip())
    amount = Amount.parse(text, example)
    if amount.unit not in UNITS_OF[quantity]:
        units = " or ".join(UNITS_OF[quantity])
        how = f"in {units}" if units else "without a unit"
        raise ValueError(f"expected {_article(quantity)} {quantity} {how}, such as {example!r}, got {text!r}")
    return amount


def convert(value: float, unit: str, wanted: str) -> float:
    """A value in another unit of the same quantity.

    value, unit : number and its unit's spelling
    wanted      : spelling of the unit to convert to
    Raises ValueError for unknown units and for units of different quantities.

    >>> convert(1, "nm", "m")
    1852.0
    """
    if unit == wanted:
        return value
    scale, offset = _line(unit, wanted)
    return value * scale + offset


@lru_cache(maxsize=512)
def _line(unit: str, wanted: str) -> tuple[float, float]:
    """Scale and offset of a conversion, read off pint once per pair of units."""
    import pint

    registry = _registry()
    try:
        zero, ten = (registry.Quantity(n, _PINT_NAME[unit]).to(_PINT_NAME[wanted]).magnitude for n in (0.0, 10.0))
    except KeyError as unknown:
        raise ValueError(f"unknown unit {unknown.args[0]!r}; known: {', '.join(filter(None, _PINT_NAME))}") from None
    except pint.DimensionalityError:
        raise ValueError(f"{unit or 'a plain number'} cannot be given in {wanted or 'a plain number'}") from None
    return (float(ten) - float(zero)) / 10, float(zero)


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry()


def _article(noun: str) -> str:
    return "an" if noun[0] in "aeiou" else "a"
