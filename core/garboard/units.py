"""Amounts with units: kept as they were typed, converted only when a calculator asks."""

from __future__ import annotations

import math
import re
from calendar import month_name
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from typing import NoReturn

import attrs

from garboard.faults import ValueRefused

__all__ = [
    "EXAMPLE_OF",
    "OF_INSTRUMENTS",
    "SPELLED_OTHERWISE",
    "UNITS_OF",
    "Amount",
    "amount_in_words",
    "convert",
    "day_in_words",
    "in_full",
    "in_own_spelling",
    "own_spelling_of",
    "parse_amount",
    "plain_text",
    "range_in_words",
    "rounded",
    "with_minus",
]

_SCALE: Mapping[str, Mapping[str, float]] = {
    "kn": {"mph": 1.1507794480235425, "km/h": 1.8519999999999999, "m/s": 0.5144444444444445},
    "mph": {"kn": 0.8689762419006481, "km/h": 1.609344, "m/s": 0.44704},
    "km/h": {"kn": 0.5399568034557236, "mph": 0.621371192237334, "m/s": 0.2777777777777778},
    "m/s": {"kn": 1.9438444924406049, "mph": 2.2369362920544025, "km/h": 3.6},
    "nm": {
        "mi": 1.1507794480235425,
        "km": 1.8519999999999999,
        "m": 1852.0,
        "cm": 185200.0,
        "mm": 1852000.0,
        "ft": 6076.115485564304,
        "in": 72913.38582677166,
    },
    "mi": {
        "nm": 0.8689762419006481,
        "km": 1.609344,
        "m": 1609.344,
        "cm": 160934.4,
        "mm": 1609344.0,
        "ft": 5280.0,
        "in": 63360.0,
    },
    "km": {
        "nm": 0.5399568034557236,
        "mi": 0.621371192237334,
        "m": 1000.0,
        "cm": 100000.0,
        "mm": 1000000.0,
        "ft": 3280.839895013124,
        "in": 39370.07874015748,
    },
    "m": {
        "nm": 0.0005399568034557236,
        "mi": 0.0006213711922373339,
        "km": 0.001,
        "cm": 100.0,
        "mm": 1000.0,
        "ft": 3.2808398950131235,
        "in": 39.37007874015748,
    },
    "cm": {
        "nm": 5.399568034557236e-06,
        "mi": 6.213711922373339e-06,
        "km": 1e-05,
        "m": 0.01,
        "mm": 10.0,
        "ft": 0.03280839895013123,
        "in": 0.3937007874015748,
    },
    "mm": {
        "nm": 5.399568034557235e-07,
        "mi": 6.21371192237334e-07,
        "km": 1e-06,
        "m": 0.001,
        "cm": 0.1,
        "ft": 0.0032808398950131233,
        "in": 0.03937007874015749,
    },
    "ft": {
        "nm": 0.00016457883369330452,
        "mi": 0.00018939393939393937,
        "km": 0.0003048,
        "m": 0.30479999999999996,
        "cm": 30.479999999999997,
        "mm": 304.79999999999995,
        "in": 12.0,
    },
    "in": {
        "nm": 1.3714902807775378e-05,
        "mi": 1.5782828282828283e-05,
        "km": 2.54e-05,
        "m": 0.0254,
        "cm": 2.54,
        "mm": 25.4,
        "ft": 0.08333333333333333,
    },
    "gal/h": {"L/h": 3.7854117839999986, "gal/min": 0.016666666666666666, "L/min": 0.06309019639999998},
    "L/h": {"gal/h": 0.26417205235814856, "gal/min": 0.0044028675393024755, "L/min": 0.016666666666666666},
    "gal": {"L": 3.7854117839999986},
    "L": {"gal": 0.26417205235814856},
    "hp": {"kW": 0.7456998715822701, "W": 745.6998715822701, "mW": 745699.8715822701},
    "kW": {"hp": 1.3410220895950282, "W": 1000.0, "mW": 1000000.0},
    "lb": {"kg": 0.4535923700000001},
    "kg": {"lb": 2.2046226218487757},
    "lb/gal": {"kg/L": 0.1198264273168967},
    "kg/L": {"lb/gal": 8.345404452019327},
    "rev/min": {"deg/s": 6.0, "deg/min": 360.0},
    "deg": {"%": 1.7453292519943298, "": 0.017453292519943295},
    "deg/s": {"rev/min": 0.16666666666666669, "deg/min": 60.0},
    "deg/min": {"rev/min": 0.002777777777777778, "deg/s": 0.016666666666666666},
    "degC": {"degF": 1.8},
    "degF": {"degC": 0.5555555555555571},
    "kPa": {"hPa": 10.0, "psi": 0.1450377377302092, "inHg": 0.29529983301010093},
    "hPa": {"kPa": 0.1, "psi": 0.014503773773020926, "inHg": 0.029529983301010098},
    "psi": {"kPa": 6.894757293168363, "hPa": 68.94757293168364, "inHg": 2.036020677317793},
    "inHg": {"kPa": 3.386388640341, "hPa": 33.86388640341, "psi": 0.4911541474703375},
    "V": {"mV": 1000.0},
    "mV": {"V": 0.001},
    "A": {"mA": 1000.0},
    "mA": {"A": 0.001},
    "Ah": {},
    "ohm": {"mohm": 1000.0, "kohm": 0.001},
    "mohm": {"ohm": 0.001, "kohm": 1e-06},
    "kohm": {"ohm": 1000.0, "mohm": 1000000.0},
    "W": {"hp": 0.0013410220895950279, "kW": 0.001, "mW": 1000.0},
    "s": {"min": 0.016666666666666666, "h": 0.0002777777777777778},
    "min": {"s": 60.0, "h": 0.016666666666666666},
    "h": {"s": 3600.0, "min": 60.0},
    "mm2": {"cmil": 1973.5252413899852},
    "cmil": {"mm2": 0.0005067074790974977},
    "uT": {},
    "ft-lb": {"Nm": 1.3558179483314001, "in-lb": 12.0},
    "Nm": {"ft-lb": 0.7375621492772655, "in-lb": 8.850745791327183},
    "in-lb": {"ft-lb": 0.08333333333333333, "Nm": 0.11298482902761671},
    "gal/min": {"gal/h": 60.0, "L/h": 227.12470703999992, "L/min": 3.7854117839999986},
    "L/min": {"gal/h": 15.85032314148891, "L/h": 60.0, "gal/min": 0.26417205235814856},
    "mW": {"hp": 1.3410220895950279e-06, "kW": 1e-06, "W": 0.001},
    "%": {"deg": 0.5729577951308232, "": 0.01},
    "": {"deg": 57.29577951308232, "%": 100.0},
}
"""Every unit the program knows, by the spelling it shows, with what one of it is in the units it converts to.

The gallon is the US gallon. The numbers are pint's to the last digit: `test_units.py` compares them and prints what it
expects, so a new unit is a name there and a row here. To load pint would take longer than to assess a job.
"""

_ZERO: Mapping[tuple[str, str], float] = {
    ("degC", "degF"): 31.999999999999936,
    ("degF", "degC"): -17.777777777777743,
}
"""Where zero of one unit is not zero of the other."""

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
    "torque": ("ft-lb", "Nm", "in-lb"),
    "radio power": ("W", "mW"),
    "pump flow": ("gal/h", "L/h", "gal/min", "L/min"),
    "bucket volume": ("L", "gal"),
    "number": ("",),
}
"""The quantities a field or a record may name, and the units each accepts; the first is what the tablet offers."""

OF_INSTRUMENTS = frozenset({"radio power", "pump flow", "bucket volume"})
"""Quantities whose units say nothing of how the boat is told: a bucket in litres makes no tank of gallons metric."""

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
    "torque": "55 ft-lb",
    "radio power": "24 W",
    "pump flow": "1100 gal/h",
    "bucket volume": "15 L",
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
    "°/min": "deg/min",
    **dict.fromkeys(("c", "°c"), "degC"),
    **dict.fromkeys(("f", "°f"), "degF"),
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("ohms", "\u03a9", "\u2126"), "ohm"),
    **dict.fromkeys(("kohms", "k\u03a9", "k\u2126"), "kohm"),
    **dict.fromkeys(("watt", "watts"), "W"),
    **dict.fromkeys(("lb-ft", "lbf-ft", "ft-lbs", "ft-lbf", "lbft", "ftlb"), "ft-lb"),
    **dict.fromkeys(("n\u00b7m", "n-m", "n*m"), "Nm"),
    **dict.fromkeys(("lb-in", "lbf-in", "in-lbs", "in-lbf"), "in-lb"),
    **dict.fromkeys(("gpm", "gals/min"), "gal/min"),
    **dict.fromkeys(("lpm", "l/min"), "L/min"),
    **dict.fromkeys(("sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("hr", "hrs", "hour", "hours"), "h"),
    **dict.fromkeys(("mm^2", "mm\u00b2", "sqmm"), "mm2"),
    **dict.fromkeys(("\u00b5t", "\u03bct"), "uT"),
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
        return _parsed(text, example)

    @staticmethod
    def _read(text: str, example: str) -> Amount:
        match = _AMOUNT.fullmatch(text.strip())
        if match is None:
            cure = "use a point, not a comma" if re.search(r"\d,\d", text) else ""
            what = "a number with its unit" if " " in example else "a plain number"
            raise ValueRefused(f"{what}, such as {example!r}", repr(text), cure)
        unit = match["unit"] or ""
        if unit not in _SCALE:
            raise ValueRefused(f"a unit the program knows, as in {example!r}", repr(text), _unknown(unit))
        if len(match["text"]) > _LONGEST_NUMBER or abs(float(match["text"])) >= _LARGEST:
            raise ValueRefused(f"a number of a boat's size, such as {example!r}", _in_short(text), "write fewer digits")
        return Amount(match["text"], unit)

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


_parsed = lru_cache(maxsize=4096)(Amount._read)
"""Every check reads the defaults of its settings: of 350 000 texts that 550 jobs had read, few differ."""


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
    cure = _unknown(unit, units) if unit not in _SCALE else "" if unit else "add the unit"
    raise ValueRefused(amount_in_words(quantity), repr(text), cure)


def day_in_words(day: date) -> str:
    """A day as people write it; programs and journals keep 2026-05-14.

    >>> day_in_words(date(2026, 5, 14))
    '14 May 2026'
    """
    return f"{day.day} {month_name[day.month]} {day.year}"


def amount_in_words(quantity: str) -> str:
    """What an amount of a quantity looks like.

    quantity : a key of `UNITS_OF`

    >>> amount_in_words("charge"), amount_in_words("number")
    ("a charge in Ah, such as '100 Ah'", "a number without a unit, such as '1.85'")
    """
    return f"{_article(quantity)} {quantity} {_in_units(UNITS_OF[quantity])}, such as {EXAMPLE_OF[quantity]!r}"


def own_spelling_of(unit: str) -> str:
    """A unit that people often spell otherwise, spelled as here; any other as it is.

    >>> own_spelling_of("gph"), own_spelling_of("kn"), own_spelling_of("runs")
    ('gal/h', 'kn', 'runs')
    """
    return SPELLED_OTHERWISE.get(unit, unit) if isinstance(unit, str) else unit  # what is no text is refused as such


def in_own_spelling(text: str, quantity: str) -> str:
    """An amount of a quantity with its unit spelled as here, where people often spell it otherwise; else the text.

    quantity : a key of `UNITS_OF`

    >>> in_own_spelling("5600 rpm", "engine speed"), in_own_spelling("5600 rpm", "speed")
    ('5600 rev/min', '5600 rpm')
    >>> in_own_spelling("−5 °C", "temperature"), in_own_spelling("−3 °/min", "rate of turn")
    ('-5 degC', '-3 deg/min')

    A length may be written as on a rule or a propeller's hub: what is kept has decimals.

    >>> in_own_spelling("14 1/2 in", "length"), in_own_spelling("9¼ in", "length")
    ('14.5 in', '9.25 in')
    >>> in_own_spelling("24 ft 6 in", "length"), in_own_spelling("24 ft 4 in", "length")
    ('24.5 ft', '292 in')
    """
    typed = text.strip().replace("−", "-", 1)  # as screens and paper show it
    if quantity == "length":
        typed = _in_decimals(typed)
    match = _AMOUNT.fullmatch(typed)
    unit = (match["unit"] or "") if match else ""
    meant = _meant(unit, UNITS_OF[quantity])
    is_sure = meant in UNITS_OF[quantity] and not _is_two(unit, UNITS_OF[quantity])
    is_other = meant != unit or typed != text.strip()
    return f"{match['text']} {meant}".rstrip() if match and is_other and is_sure else text


_PARTS_OF_AN_INCH = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_FRACTION = re.compile(r"(?<![0-9./])(?:([0-9]{1,4})(?:\s+|\s*-\s*))?([0-9]{1,2})/(2|4|8|16|32|64)(?![0-9/.])")
_FEET_AND_INCHES = re.compile(
    r"""(-?)([0-9]{1,3})\s*(?:ft|feet|foot|')[\s-]*([0-9]{1,2}(?:\.[0-9]{1,6})?)\s*(?:inches|inch|in|"|'')""",
    re.IGNORECASE,
)
_INCHES_OF_A_FOOT = 12


def _in_decimals(length: str) -> str:
    """A length without fractions and in one unit; what is written otherwise stays.

    Feet and inches become inches where that many feet would have no end.
    """
    for sign, part in _PARTS_OF_AN_INCH.items():
        length = length.replace(sign, f" {part}", 1)
    length = _FRACTION.sub(_decimals_of, length.strip(), count=1)
    both = _FEET_AND_INCHES.fullmatch(length)
    if both is None or float(both[3]) >= _INCHES_OF_A_FOOT:
        return length
    inches = int(both[2]) * _INCHES_OF_A_FOOT + float(both[3])
    feet = round(inches / _INCHES_OF_A_FOOT, 4)
    is_even = feet * _INCHES_OF_A_FOOT == inches
    return f"{both[1]}{plain_text(feet, 8)} ft" if is_even else f"{both[1]}{plain_text(inches, 8)} in"


def _decimals_of(fraction: re.Match[str]) -> str:
    whole, above, below = int(fraction[1] or 0), int(fraction[2]), int(fraction[3])
    return plain_text(whole + above / below, 10) if above < below else fraction[0]


def _meant(unit: str, units: Iterable[str] = ()) -> str:
    """The unit known here that another spelling stands for; "" where that is not certain.

    units : those of the quantity, where it is known: "NM" is a distance or a torque
    """
    if unit in _SCALE:
        return unit
    small = {known.lower(): known for known in _SCALE if known}
    small |= {
        other.lower(): known for other, known in SPELLED_OTHERWISE.items()
    }  # the small form of the ohm sign is another
    small |= {known.lower(): known for known in units if known}
    meant = small.get(unit.lower(), "")
    is_mega = unit.startswith("M") and meant in ("mV", "mA", "mW", "mohm")  # Mohm is a thousand million mohm
    return "" if is_mega else meant


def _in_short(text: str) -> str:
    return repr(text if len(text) < 60 else f"{text[:40]}...")


def _is_two(unit: str, units: Iterable[str]) -> bool:
    """Whether a spelling can mean two of the units: M is printed for nautical miles, and typed for metres."""
    return unit == "M" and "nm" in units


def _unknown(unit: str, units: Sequence[str] = tuple(_SCALE)) -> str:
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


_LARGEST_ROUNDED = 1e15
"""Beyond it a number has no digits after its point."""


def rounded(value: float, decimals: int = 0, sign: str = "z") -> str:
    """A value to so many digits, one halfway between two away from zero, as people round.

    Every number that a person reads is written with this, so that none is told in two ways.

    >>> rounded(12.25, 1), rounded(2.5), rounded(-0.04, 1), rounded(2.675, 2)
    ('12.3', '3', '0.0', '2.68')
    """
    if not abs(value) < _LARGEST_ROUNDED:
        return f"{value:{sign}.{decimals}f}"
    # Its digits as it was typed: 2.675 is a little less as a binary number. As whole numbers: not every system a job
    # is judged on has Python's decimal module.
    mantissa, _, exponent = repr(abs(float(value))).partition("e")
    whole, _, part = mantissa.partition(".")
    digits, over = int(whole + part), len(part) - int(exponent or 0) - decimals
    scaled = (digits + 5 * 10 ** (over - 1)) // 10**over if over > 0 else digits * 10**-over
    text = str(scaled).rjust(decimals + 1, "0")
    is_below = math.copysign(1.0, value) < 0 and (scaled > 0 or "z" not in sign)
    before = "-" if is_below else "+" if "+" in sign else ""
    return f"{before}{text[:-decimals]}.{text[-decimals:]}" if decimals else f"{before}{text}"


_MOST_DIGITS = 1e15
"""From here on a number has fewer digits than stand before its point: the others would be made up."""


def plain_text(value: float, digits: int = 4) -> str:
    """A number with so many digits, and with all that stand before its point unless they are more than it has.

    >>> plain_text(12345.6), plain_text(9999.6), plain_text(0.25), plain_text(-2.5), plain_text(0.00002)
    ('12346', '10000', '0.25', '-2.5', '0.00002')
    >>> plain_text(-1.5e308)
    '-1.5e308'
    """
    if not value or not math.isfinite(value):
        return f"{value:z.0f}"
    if abs(value) >= _MOST_DIGITS:
        return f"{value:.{digits}g}".replace("e+", "e")
    text = rounded(value, max(0, digits - 1 - math.floor(math.log10(abs(value)))))
    return text.rstrip("0").rstrip(".") if "." in text else text  # never as 2e-05


def in_full(value: float) -> str:
    """A number that somebody chose, such as a limit or a rating, with the digits it has: six, or all before its point.

    >>> in_full(5500.0), in_full(0.1 + 0.2), in_full(1234567.0), in_full(-1.5)
    ('5500', '0.3', '1234567', '−1.5')
    """
    return plain_text(value, 6).replace("-", "−")


_HYPHEN_AS_MINUS = re.compile(r"(?<![\w.,:/-])-(?=\d)")


def with_minus(text: str) -> str:
    """Text with a real minus before its negative numbers; a hyphen within a word, a date or a range stays.

    >>> with_minus("-1.2 deg, NL-300, 2026-05-14, 3 to -2")
    '−1.2 deg, NL-300, 2026-05-14, 3 to −2'
    """
    is_hyphened = isinstance(text, str) and "-" in text  # what is no text its record refuses
    return _HYPHEN_AS_MINUS.sub("−", text) if is_hyphened else text


def range_in_words(low: float, high: float, unit: str, outside: Amount | None = None) -> str:
    """A range as people read it, in the unit of what was typed and lies outside it.

    unit    : of the ends
    outside : an amount of the same quantity. In another unit the ends are told to three digits, or to as many as it
              takes for the amount to lie outside them: 700 hp is 522 kW to three digits, and 522 kW is more

    >>> range_in_words(7, 70, "ft"), range_in_words(7, 70, "ft", Amount("58", "m")), range_in_words(1.2, 3.5, "")
    ('7 to 70 ft', '2.13 to 21.3 m', '1.2 to 3.5')
    >>> range_in_words(2, 700, "hp", Amount("522", "kW"))
    '1.4914 to 521.99 kW'
    """
    if outside is None or outside.unit == unit:
        return f"{in_full(low)} to {in_full(high)} {unit}".rstrip()
    ends = convert(low, unit, outside.unit), convert(high, unit, outside.unit)
    low, high = _shortest(ends, float(outside.text))
    return f"{plain_text(low, 15)} to {plain_text(high, 15)} {outside.unit}".replace("-", "−")


def _shortest(ends: tuple[float, float], outside: float) -> tuple[float, float]:
    """The ends of a range to three digits, or as many as it takes to leave out what lies outside."""
    shorter = (tuple(float(f"{end:.{digits}g}") for end in ends) for digits in range(3, 16))
    return next(((low, high) for low, high in shorter if not low <= outside <= high), ends)


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
    if wanted not in _SCALE.get(unit, {}):
        _refuse(unit, wanted)
    return value * _SCALE[unit][wanted] + _ZERO.get((unit, wanted), 0.0)


def _refuse(unit: str, wanted: str) -> NoReturn:
    for name in (unit, wanted):
        if name not in _SCALE:
            raise ValueError(f"unknown unit {name!r}; known: {', '.join(filter(None, _SCALE))}")
    raise ValueError(f"{unit or 'a plain number'} cannot be given in {wanted or 'a plain number'}")


def _article(noun: str) -> str:
    return "an" if noun[0] in "aeiou" else "a"
