"""What values say: whether two say the same, and what stands in one under a name."""

from __future__ import annotations

import math
from decimal import Decimal

from garboard.disk.entries import Entry, canonical_bytes
from garboard.records import JsonValue
from garboard.units import Amount


def same_value(one: JsonValue, other: JsonValue) -> bool:
    """Whether two values say the same: "38.2 kn" and "38.20 kn" do, "38.2 kn" and "43.96 mph" do not.

    >>> same_value("38.2 kn", "38.20 kn"), same_value("38.2 kn", "43.96 mph"), same_value(True, 1)
    (True, False, False)
    """
    if isinstance(one, str) and isinstance(other, str):
        return one == other or _number_and_unit(one) == _number_and_unit(other) is not None
    return type(one) is type(other) and canonical_bytes(one) == canonical_bytes(other)


def same_setting(one: JsonValue, other: JsonValue) -> bool:
    """Whether two values ask the same of a boat, also in other units: a rule is no reading, whose digits say more.

    >>> same_setting("90 s", "1.5 min"), same_setting("90 s", "91 s"), same_setting("90 s", "90 m")
    (True, False, False)
    """
    if same_value(one, other):
        return True
    if not (isinstance(one, str) and isinstance(other, str)):
        return False
    try:
        there = Amount.parse(other)
        return math.isclose(Amount.parse(one).to(there.unit), float(there.text), rel_tol=_ROUNDING, abs_tol=_ROUNDING)
    except ValueError:  # text, or amounts of two quantities
        return False


_ROUNDING = 1e-9
"""More than converting between units costs, and less than anybody types."""


def _number_and_unit(text: str) -> tuple[Decimal, str] | None:
    try:
        amount = Amount.parse(text)
    except ValueError:
        return None
    return Decimal(amount.text), amount.unit


def digits(entry: Entry) -> tuple[int, str]:
    """Orders entries whose values say the same: the one with most digits is the greatest."""
    return (len(entry.value), entry.value) if isinstance(entry.value, str) else (0, "")


def member(value: JsonValue, name: str) -> JsonValue:
    """What an object holds under a name; "" where there is nothing, or no object."""
    return value.get(name, "") if isinstance(value, dict) else ""
