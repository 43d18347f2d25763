"""Units of a formula: each spelling is a unit of its own, so that plain numbers in the fields' units stay right.

Inches and feet are not mixed silently: a formula that adds them is refused, because its plain numbers would be wrong.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping

import attrs

from garboard.faults import ValueRefused
from garboard.units import UNITS_OF

Powers = tuple[tuple[str, int], ...]
"""Each symbol with its power, by name; none for a plain number."""

KELVIN, FAHRENHEIT_DIFFERENCE = "K", "degF difference"
_DIFFERENCE_OF: Mapping[str, str] = {"degC": KELVIN, "degF": FAHRENHEIT_DIFFERENCE}
"""A temperature counts from no true zero: what two of them differ by is told in another unit."""

_MADE_OF: Mapping[str, str] = {"kn": "nm/h", "mph": "mi/h", "Ah": "A h", "W": "V A", "ohm": "V/A"}
"""Units that are exactly a product of others known here."""
_PART = re.compile(r"([A-Za-z%]+(?:-[a-z]+)?)([1-9]?)")
_LONGEST = 40
_MOST_POWER = 9


@attrs.frozen
class Unit:
    """A product of units.

    >>> str(unit_of("lb ft")), str(unit_of("A h")), unit_of("kn") == unit_of("nm/h")
    ('ft lb', 'Ah', True)
    """

    powers: Powers = ()

    @property
    def is_temperature(self) -> bool:
        """Whether it counts from a zero that is no true zero."""
        return any(symbol in _DIFFERENCE_OF for symbol, _ in self.powers)

    @property
    def difference(self) -> Unit:
        """What two amounts of it differ by."""
        return Unit(((_DIFFERENCE_OF[self.powers[0][0]], 1),)) if self.is_temperature else self

    def times(self, other: Unit, sign: int = 1) -> Unit:
        powers = dict(self.powers)
        for symbol, power in other.powers:
            powers[symbol] = powers.get(symbol, 0) + sign * power
        return _unit(powers)

    def __str__(self) -> str:
        if self.powers in _SPELLED:
            return _SPELLED[self.powers]
        over = " ".join(_told(symbol, power) for symbol, power in self.powers if power > 0)
        under = "/".join(_told(symbol, -power) for symbol, power in self.powers if power < 0)
        return "/".join(filter(None, (over or "1", under))) if self.powers else ""

    @property
    def in_words(self) -> str:
        return str(self) or "a plain number"


def _unit(powers: Mapping[str, int]) -> Unit:
    if any(abs(power) > _MOST_POWER for power in powers.values()):
        raise ValueRefused(f"a unit to the power of at most {_MOST_POWER}", "a higher one", "multiply less often")
    return Unit(tuple(sorted((symbol, power) for symbol, power in powers.items() if power)))


def _told(symbol: str, power: int) -> str:
    return symbol if power == 1 else f"{symbol}{power}"


PLAIN = Unit()


def _parts(text: str) -> Iterator[tuple[str, int]]:
    for place, group in enumerate(text.split("/")):
        for word in group.split():
            match = _PART.fullmatch(word)
            if match is None:
                raise ValueError(word)
            symbol, power = match[1], int(match[2] or "1") * (-1 if place else 1)
            for inner, times in _parts(_MADE_OF[symbol]) if symbol in _MADE_OF else ((symbol, 1),):
                yield inner, power * times


def unit_of(text: str) -> Unit:
    """A unit as it is written: "in", "lb ft", "lb/ft", "ft2"; "" for a plain number. Raises ValueRefused.

    "1/ft" is one over a length.
    """
    if text == FAHRENHEIT_DIFFERENCE:
        return Unit(((text, 1),))
    try:
        if len(text) > _LONGEST:
            raise ValueError(text)
        powers: dict[str, int] = {}
        for symbol, power in _parts(text.removeprefix("1") if text.startswith("1/") else text):
            if symbol not in _SYMBOLS:
                raise ValueError(symbol)
            powers[symbol] = powers.get(symbol, 0) + power
    except ValueError:
        known = ", ".join(sorted(_SYMBOLS))
        raise ValueRefused(f"a unit made of {known}, such as 'lb ft' or 'lb/ft'", repr(text[:_LONGEST])) from None
    unit = _unit(powers)
    if unit.is_temperature and len(unit.powers) + abs(unit.powers[0][1]) > 2:
        raise ValueRefused("a temperature alone", repr(text), "write K for a difference of degC")
    return unit


_SPELLED: dict[Powers, str] = {}
_SYMBOLS: frozenset[str] = frozenset()


def _read_table() -> tuple[frozenset[str], dict[Powers, str]]:
    known = [unit for units in UNITS_OF.values() for unit in units if unit]
    parts = {unit: tuple(_parts(unit)) for unit in known}
    symbols = frozenset(symbol for each in parts.values() for symbol, _ in each) | {KELVIN}
    return symbols, {_unit(dict(each)).powers: unit for unit, each in reversed(parts.items())}


_SYMBOLS, _SPELLED = _read_table()


@attrs.frozen
class Quantity:
    """A number in a unit. Each operator refuses units for which the plain numbers would be wrong.

    is_zero : a zero that was written without a unit; it goes with any
    """

    value: float
    unit: Unit = PLAIN
    is_zero: bool = False

    def plus(self, other: Quantity, sign: int = 1) -> Quantity:
        value = self.value + sign * other.value
        one, two = self.unit, other.unit
        if one.is_temperature or two.is_temperature:
            return Quantity(value, _sum_of_temperatures(one, two, sign))
        return Quantity(value, self.same(other, "add" if sign > 0 else "subtract"))

    def times(self, other: Quantity) -> Quantity:
        self.refuse_temperature()
        other.refuse_temperature()
        return Quantity(self.value * other.value, self.unit.times(other.unit))

    def over(self, other: Quantity) -> Quantity:
        self.refuse_temperature()
        other.refuse_temperature()
        if other.value == 0:
            raise ZeroDivisionError
        return Quantity(self.value / other.value, self.unit.times(other.unit, -1))

    def to_the(self, power: int) -> Quantity:
        self.refuse_temperature()
        return Quantity(self.value**power, _unit({symbol: each * power for symbol, each in self.unit.powers}))

    def root(self) -> Quantity:
        self.refuse_temperature()
        if any(power % 2 for _, power in self.unit.powers):
            raise ValueRefused("an area, or a plain number, under sqrt()", self.unit.in_words)
        half = {symbol: power // 2 for symbol, power in self.unit.powers}
        return Quantity(math.sqrt(self.value), _unit(half))

    def negated(self) -> Quantity:
        self.refuse_temperature()
        return attrs.evolve(self, value=-self.value)

    def with_value(self, value: float) -> Quantity:
        return Quantity(value, self.unit)

    def same(self, other: Quantity, what: str) -> Unit:
        """The unit of both. Raises ValueRefused where they differ."""
        if self.is_zero or other.is_zero:
            return other.unit if self.is_zero else self.unit
        return same_unit(self.unit, other.unit, what)

    def compared_with(self, other: Quantity) -> None:
        """Raise ValueRefused where the two cannot be compared."""
        if (self.unit.is_temperature or other.unit.is_temperature) and (self.is_zero or other.is_zero):
            raise ValueRefused("a temperature with its unit", "0", "write it with its unit, such as '0 degC'")
        self.same(other, "compare")

    def refuse_temperature(self) -> None:
        if self.unit.is_temperature:
            raise ValueRefused(
                "a difference of temperatures, or kelvin(...)", self.unit.in_words, "subtract another temperature first"
            )


def same_unit(one: Unit, two: Unit, what: str) -> Unit:
    """The unit of both. Raises ValueRefused where they differ."""
    if one == two:
        return one
    cure = "give both in one unit"
    if PLAIN in (one, two):
        unit = str(one if two == PLAIN else two)
        cure = f"write the plain number with its unit, such as '6 {unit}'"
        cure += ", or multiply the share by '100 %'" if unit == "%" else ""
    elif len(one.powers) == len(two.powers) == 1:
        cure = f"write convert(..., '{two}', '{one}')"
    raise ValueRefused(f"one unit to {what}", f"{one.in_words} and {two.in_words}", cure)


def _sum_of_temperatures(one: Unit, two: Unit, sign: int) -> Unit:
    if one == two and sign < 0:
        return one.difference
    if one.is_temperature and two == one.difference:
        return one
    if two.is_temperature and one == two.difference and sign > 0:
        return two
    raise ValueRefused(
        "a temperature plus or minus a difference, or one less another",
        f"{one.in_words} and {two.in_words}",
        "write a difference of degC in K",
    )
