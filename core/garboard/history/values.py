"""What values say: whether two say the same, and what stands in one under a name."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from garboard.disk.entries import Entry, canonical_bytes
from garboard.records import JsonValue
from garboard.units import Amount


def same_value(one: JsonValue, other: JsonValue) -> bool:
    """Whether two values say the same, amounts also in other units. A reading that was rounded on the way does not.

    >>> same_value("38.2 kn", "38.20 kn"), same_value("1.0 h", "60 min"), same_value("38.2 kn", "43.96 mph")
    (True, True, False)
    >>> same_value("90 s", "90 m"), same_value(True, 1)
    (False, False)
    """
    if isinstance(one, str) and isinstance(other, str):
        return one == other or _same_amount(one, other)
    return type(one) is type(other) and canonical_bytes(one) == canonical_bytes(other)


_ROUNDING = 1e-9
"""More than converting between units costs, and less than anybody types."""


def _same_amount(one: str, other: str) -> bool:
    here, there = amount_in(one), amount_in(other)
    if here is None or there is None:
        return False
    if here.unit == there.unit:
        return Decimal(here.text) == Decimal(there.text)
    number = float(there.text)
    try:
        return math.isfinite(number) and math.isclose(here.to(there.unit), number, rel_tol=_ROUNDING, abs_tol=_ROUNDING)
    except ValueError:  # amounts of two quantities
        return False


def alike(one: JsonValue, other: JsonValue) -> bool:
    """Whether two values say the same, or one is the other read in another unit: 63 degF is 17.22 degC, typed 17.2.

    The coarser, rounded to the last digit of the finer, is the finer. In one unit nothing is rounded.

    >>> alike("63 degF", "17.2 degC"), alike("63 degF", "17.4 degC"), alike("2 h", "100 min")
    (True, False, False)
    """
    if same_value(one, other):
        return True
    here, there = amount_in(one), amount_in(other)
    if here is None or there is None or here.unit == there.unit:
        return False
    try:
        if here.last_digit(there.unit) < there.last_digit(there.unit):
            here, there = there, here
        off = abs(here.to(there.unit) - float(there.text))
        return off <= there.last_digit(there.unit) / 2 * (1 + _ROUNDING)
    except ValueError:  # amounts of two quantities
        return False


def amount_in(value: JsonValue) -> Amount | None:
    """The amount that a value is; None where it is none."""
    try:
        return Amount.parse(value) if isinstance(value, str) else None
    except ValueError:
        return None


def finest(alike: Sequence[Entry]) -> Entry:
    """Of entries whose values say the same, the one whose last digit is worth least: no clock chooses."""
    amounts = [amount_in(entry.value) for entry in alike]
    unit = amounts[0].unit if amounts[0] is not None else ""

    def fineness(index: int) -> tuple[float, int, str]:
        value, amount = alike[index].value, amounts[index]
        text = value if isinstance(value, str) else ""
        return (0.0 if amount is None else -amount.last_digit(unit), len(text), text)

    return alike[max(range(len(alike)), key=fineness)] if len(alike) > 1 else alike[0]


def member(value: JsonValue, name: str) -> JsonValue:
    """What an object holds under a name; "" where there is nothing, or no object."""
    return value.get(name, "") if isinstance(value, dict) else ""
