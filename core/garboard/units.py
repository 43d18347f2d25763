"""Amounts with units: kept as they were typed, converted only when a calculator asks."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import attrs

from garboard.faults import ValueRefused

if TYPE_CHECKING:
    import pint

__all__ = [
    "EXAMPLE_OF",
    "SPELLED_OTHERWISE",
    "UNITS_OF",
    "Amount",
    "amount_in_words",
    "convert",
    "in_own_spelling",
    "parse_amount",
]

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
    "kohm": "kiloohm",
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
    "resistance": ("ohm", "mohm", "kohm"),
    "time": ("s", "min", "h"),
    "area": ("mm2", "cmil"),
    "magnetic field": ("uT",),
    "share": ("%",),
    "number": ("",),
}
"""The quantities a field or a record may name, and the units each accepts; the first is what the tablet offers."""

EXAMPLE_OF: Mapping[str, str] = {
    "speed": "38.2 kn",
    "distance": "1.5 nm",
    "length": "24.5 ft",
    "fuel flow": "22.4 gal/h",
    "volume": "60 gal",
    "power": "150 hp",
    "weight": "3200 lb",
    "density": "6.1 lb/gal",
    "engine speed": "5800 rev/min",
    "angle": "12.5 deg",
    "rate of turn": "2.5 deg/s",
    "temperature": "21 degC",
    "pressure": "101.3 kPa",
    "voltage": "12.6 V",
    "current": "4.2 A",
    "charge": "100 Ah",
    "resistance": "0.2 ohm",
    "time": "20 s",
    "area": "2.5 mm2",
    "magnetic field": "48.5 uT",
    "share": "80 %",
    "number": "1.85",
}
"""An amount of each quantity, as a person would write it."""

SPELLED_OTHERWISE: Mapping[str, str] = {
    **dict.fromkeys(("knot", "knots", "kt", "kts"), "kn"),
    **dict.fromkeys(("kmh", "kph"), "km/h"),
    **dict.fromkeys(("rpm", "r/min"), "rev/min"),
    **dict.fromkeys(("foot", "feet", "'"), "ft"),
    **dict.fromkeys(("inch", "inches", '"', "''"), "in"),
    "nmi": "nm",
    **dict.fromkeys(("mile", "miles"), "mi"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("gph", "gal/hr"), "gal/h"),
    **dict.fromkeys(("lph", "l/hr"), "L/h"),
    **dict.fromkeys(("gallon", "gallons", "gals"), "gal"),
    **dict.fromkeys(("liter", "liters", "litre", "litres"), "L"),
    **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
    **dict.fromkeys(("°", "degree", "degrees"), "deg"),
    **dict.fromkeys(("°/s", "dps"), "deg/s"),
    **dict.fromkeys(("c", "°c"), "degC"),
    **dict.fromkeys(("f", "°f"), "degF"),
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("ohms", "\u03a9", "\u2126"), "ohm"),
    **dict.fromkeys(("kohms", "k\u03a9", "k\u2126"), "kohm"),
    **dict.fromkeys(("watt", "watts"), "W"),
    **dict.fromkeys(("sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("hr", "hrs", "hour", "hours"), "h"),
    **dict.fromkeys(("mm^2", "mm\u00b2", "sqmm"), "mm2"),
    **dict.fromkeys(("percent", "pct"), "%"),
}
"""Spellings people type, in small letters, and the one known here. A job file may use them; what a tablet or a folder
keeps is always in our own."""

_AMOUNT = re.compile(r"(?P<text>[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+))(?:\s*(?P<unit>[^\s0-9.,+-]\S*))?")


_LONGEST_NUMBER = 40
_LARGEST = 1e15
"""No amount has as many digits, or is as large in any unit. Without a limit a long run of digits is infinite."""


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
        """Read "38.2 kn", "38.2kn" or "1.85". Raises ValueRefused naming what was expected, with the example."""
        match = _AMOUNT.fullmatch(text.strip())
        if match is None:
            cure = "use a point, not a comma" if re.search(r"\d,\d", text) else ""
            what = "a number with its unit" if " " in example else "a plain number"
            raise ValueRefused(f"{what}, such as {example!r}", repr(text), cure)
        unit = match["unit"] or ""
        if unit not in _PINT_NAME:
            raise ValueRefused(f"a unit the program knows, as in {example!r}", repr(text), _unknown(unit))
        if len(match["text"]) > _LONGEST_NUMBER or abs(float(match["text"])) >= _LARGEST:
            raise ValueRefused(f"a number of a boat's size, such as {example!r}", _in_short(text), "write fewer digits")
        return cls(match["text"], unit)

    def to(self, unit: str) -> float:
        """The number in another unit of the same quantity. Raises ValueError when the units do not agree."""
        return convert(float(self.text), self.unit, unit)

    def last_digit(self, unit: str) -> float:
        """What one step of the last digit typed is worth, in another unit of the same quantity.

        >>> Amount.parse("38.20 kn").last_digit("kn"), round(Amount.parse("70 degF").last_digit("degC"), 3)
        (0.01, 0.556)
        """
        step = 10.0 ** -len(self.text.partition(".")[2])
        return convert(step, self.unit, unit) - convert(0.0, self.unit, unit)  # degrees do not start at the same zero

    def __str__(self) -> str:
        return f"{self.text} {self.unit}".rstrip()


def parse_amount(text: str, quantity: str) -> Amount:
    """Read an amount of one quantity.

    quantity : a key of `UNITS_OF`
    Raises ValueRefused when the text is no number or its unit is of another quantity.

    >>> str(parse_amount("1.85", "number"))
    '1.85'
    """
    example, units = EXAMPLE_OF[quantity], UNITS_OF[quantity]
    match = _AMOUNT.fullmatch(text.strip())
    unit = (match["unit"] or "") if match else ""
    if match is None or unit in units:
        return Amount.parse(text, example)
    cure = _unknown(unit, units) if unit not in _PINT_NAME else "" if unit else "add the unit"
    raise ValueRefused(amount_in_words(quantity), repr(text), cure)


def amount_in_words(quantity: str) -> str:
    """What an amount of a quantity looks like.

    quantity : a key of `UNITS_OF`

    >>> amount_in_words("charge"), amount_in_words("number")
    ("a charge in Ah, such as '100 Ah'", "a number without a unit, such as '1.85'")
    """
    return f"{_article(quantity)} {quantity} {_in_units(UNITS_OF[quantity])}, such as {EXAMPLE_OF[quantity]!r}"


def in_own_spelling(text: str, quantity: str) -> str:
    """An amount of a quantity with its unit spelled as here, where people often spell it otherwise; else the text.

    quantity : a key of `UNITS_OF`

    >>> in_own_spelling("5600 rpm", "engine speed"), in_own_spelling("5600 rpm", "speed")
    ('5600 rev/min', '5600 rpm')
    """
    match = _AMOUNT.fullmatch(text.strip())
    unit = (match["unit"] or "") if match else ""
    meant = _meant(unit)
    is_sure = meant in UNITS_OF[quantity] and not _is_two(unit, UNITS_OF[quantity])
    return f"{match['text']} {meant}" if match and meant != unit and is_sure else text


def _meant(unit: str) -> str:
    """The unit known here that another spelling stands for; "" where that is not certain."""
    if unit in _PINT_NAME:
        return unit
    small = {known.lower(): known for known in _PINT_NAME if known}
    small |= {
        other.lower(): known for other, known in SPELLED_OTHERWISE.items()
    }  # the small form of the ohm sign is another
    meant = small.get(unit.lower(), "")
    is_mega = unit.startswith("M") and meant in ("mV", "mA", "mohm")  # Mohm is a thousand million mohm
    return "" if is_mega else meant


def _in_short(text: str) -> str:
    return repr(text if len(text) < 60 else f"{text[:40]}...")


def _is_two(unit: str, units: Iterable[str]) -> bool:
    """Whether a spelling can mean two of the units: M is printed for nautical miles, and typed for metres."""
    return unit == "M" and "nm" in units


def _unknown(unit: str, units: Sequence[str] = tuple(_PINT_NAME)) -> str:
    """What to say of a unit nobody knows, and how it is spelled here where people often spell it otherwise.

    units : those that may stand there: no other is proposed
    """
    meant = _meant(unit)
    if _is_two(unit, units):
        return f"unit {unit!r} is not known, write 'nm' for nautical miles or 'm' for metres"
    return f"unit {unit!r} is not known" + (f", write {meant!r}" if meant and meant in units else "")


def _in_units(units: tuple[str, ...]) -> str:
    *others, last = units
    return "without a unit" if units == ("",) else f"in {', '.join(others)} or {last}" if others else f"in {last}"


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
