"""What is typed is kept as typed, and judged only when the person says it is done."""

from __future__ import annotations

from datetime import date

import attrs

from garboard.faults import Fault, ValueRefused
from garboard.fields import Field, Kind, check_value, implausible
from garboard.records import JsonValue, Vessel
from garboard.units import Amount
from garboard_tablet.language import phrase
from garboard_tablet.models.keys import POINT

_QUANTITIES_BELOW_ZERO = frozenset({"angle", "rate of turn", "temperature", "number", "current", "share"})


def takes_point(field: Field) -> bool:
    """Whether the pad offers a decimal point."""
    return field.kind is Kind.AMOUNT


def takes_sign(field: Field) -> bool:
    """Whether the pad offers a minus sign: only where a value below zero can be right."""
    limits = field.hard or field.plausible
    if limits is not None:
        return limits[0] < 0
    return field.kind is Kind.AMOUNT and field.quantity in _QUANTITIES_BELOW_ZERO


@attrs.frozen
class ValidationResult:
    """What became of a value: a value to save, a question to ask again, or a problem that refuses it.

    instrument : what it was read with, where it was not typed
    """

    value: JsonValue = None
    question: str = ""
    problem: str = ""
    instrument: str = ""


def judge_number(field: Field, text: str, unit: str, vessel: Vessel | None = None, of: str = "") -> ValidationResult:
    """Judge what stands on the pad.

    field   : an amount or a count
    text    : as typed
    unit    : the unit chosen
    vessel, of : the boat and the piece it is of, where that is known
    returns : the value with its question when it lies outside the plausible range; or the problem
    """
    digits = text.removesuffix(POINT)
    if digits.strip("-") == "":
        return ValidationResult(problem="Type a number first.")
    value: JsonValue = str(Amount(digits, unit)) if field.kind is Kind.AMOUNT else int(digits)
    return judge(field, value, vessel, of)


def judge(
    field: Field, value: JsonValue, vessel: Vessel | None = None, of: str = "", entered: date | None = None
) -> ValidationResult:
    """Judge any value against its field; `entered` is the day it is entered, where that counts."""
    try:
        check_value(field, value)
    except ValueRefused as refused:
        return ValidationResult(problem=_in_words(refused.fault))
    return ValidationResult(value, question=implausible(field, value, vessel, of, entered))


def _in_words(fault: Fault) -> str:
    typed = fault.got.strip("'")
    cure = f" {fault.cure[:1].upper()}{fault.cure[1:]}." if fault.cure else ""
    return phrase("Must be {expected}. You typed {typed}.{cure}", expected=fault.expected, typed=typed, cure=cure)
