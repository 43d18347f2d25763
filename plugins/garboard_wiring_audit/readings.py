"""What was read on a piece of equipment, with the uncertainty its meter and its last digit give it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

import attrs

from garboard.findings import Lack, Missing, NotEnoughData, Verdict, rounded
from garboard.job_view import JobView, nothing_at
from garboard.uncertainty import MeasuredValue, Part
from garboard.units import Amount

T = TypeVar("T")

SMALLEST, LARGEST = 1e-6, 1e8
"""What lies outside these is no reading, whatever the unit: a slip of the finger."""


def measured(amount: Amount, unit: str, meter: float, place: str = "") -> MeasuredValue:
    """An amount with its uncertainty [unit].

    meter : its share of the reading, an expanded uncertainty [-]. All readings of a unit share one meter's scale
    place : names the last digit, which no other reading shares
    """
    value = amount.to(unit)
    digit = Part.bound(f"last digit {place}", amount.last_digit(unit) / 2)
    return MeasuredValue.of_parts(value, unit, (Part.of_expanded(f"meter {unit}", meter * value), digit))


def times(reading: MeasuredValue, factor: float, unit: str = "") -> MeasuredValue:
    """A reading by a factor that is exact, in the factor's unit."""
    parts = (part.times(factor) for part in reading.parts)
    return MeasuredValue.of_parts(reading.value * factor, unit or reading.unit, parts)


def together(readings: Iterable[MeasuredValue], unit: str, value: float | None = None) -> MeasuredValue:
    """The sum of readings. What they share adds up, or cancels where one was taken times -1.

    value : where it is not the sum of theirs
    """
    each = list(readings)
    total = sum(one.value for one in each) if value is None else value
    return MeasuredValue.of_parts(total, unit, (part for one in each for part in one.parts))


def known(
    amount: Amount | None, unit: str, what: str, zero_allowed: bool = False, *, field: str = "", of: str = ""
) -> MeasuredValue:
    """An amount of a record [unit], as sure as its last digit. Raises NotEnoughData for one that cannot be used.

    field, of : its record and key, and the piece, as in `Missing`
    """
    usable = _usable(amount, unit, what, zero_allowed, field, of)
    return measured(usable, unit, 0.0, f"{field} {of} {what}")


def known_value(amount: Amount | None, unit: str, what: str, zero_allowed: bool = False, *, field: str = "") -> float:
    """The same where nobody asks how sure it is [unit]."""
    return _usable(amount, unit, what, zero_allowed, field, "").to(unit)


def _usable(amount: Amount | None, unit: str, what: str, zero_allowed: bool, field: str, of: str) -> Amount:
    if amount is None:
        raise NotEnoughData(f"{what} is not entered", lack=Lack.NOT_ENTERED, field=field, of=of)
    value = amount.to(unit)
    if SMALLEST <= value <= LARGEST or (zero_allowed and value == 0):
        return amount
    text = f"{what} cannot be {_short(str(amount))}; enter it again"
    raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field=field, of=of)


def read(
    view: JobView, step: str, field: str, unit: str, of: str, meter: float = 0.0, signed: bool = False
) -> MeasuredValue:
    """The amount read at a place [unit], zero or above unless signed. Raises NotEnoughData for one of no use."""
    what = view.field_in_words(step, field)

    def refused(lack: Lack, text: str) -> NotEnoughData:
        return NotEnoughData(Missing(text, lack=lack, step=step, field=field, of=of))

    try:
        reading = measured(Amount.parse(str(_entered(view, step, field, of))), unit, meter, f"{step} {field} {of}")
    except ValueError as fault:
        raise refused(Lack.UNREADABLE, f"{what}: {fault}") from None
    if reading.value < 0 and not signed:
        raise refused(Lack.OUT_OF_RANGE, f"{what} is below zero; turn the probes round and enter it again")
    if not abs(reading.value) <= LARGEST:
        raise refused(Lack.OUT_OF_RANGE, f"{what} is beyond any reading; enter it again")
    return reading


def _short(text: str) -> str:
    return text if len(text) <= 20 else f"{text[:20]}..."


def read_yes(view: JobView, step: str, field: str, of: str) -> bool:
    """The yes or no at a place. Raises NotEnoughData when there is none."""
    found = _entered(view, step, field, of)
    if not isinstance(found, bool):
        text = f"{view.field_in_words(step, field)} is {found!r}; enter yes or no"
        raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE, step=step, field=field, of=of))
    return found


def has_been_read(view: JobView, step: str, field: str, of: str) -> bool:
    """Whether there is anything at a place, in dispute or not: an optional reading that has to be reckoned with."""
    return view.find(step, field, of=of) is not None or view.in_dispute(step, field, of=of)


def _entered(view: JobView, step: str, field: str, of: str) -> object:
    found = view.value(step, field, of=of)
    if found is None:
        nothing = nothing_at(view, step, field, of=of)
        raise NotEnoughData(attrs.evolve(nothing, text=nothing.text.replace(f" ({of})", "", 1)))  # it is about `of`
    return found


def all_of(*questions: Callable[[], T]) -> list[T]:
    """The answers to all questions. Raises NotEnoughData with the reasons of every one that has none."""
    answers: list[T] = []
    missing: list[Missing] = []
    for question in questions:
        try:
            answers.append(question())
        except NotEnoughData as lacking:
            missing += lacking.missing
    if missing:
        raise NotEnoughData(*missing)
    return answers


def at_most(reading: MeasuredValue, limit: float) -> Verdict:
    """Pass when surely within a limit, fail when surely beyond it, advise when its uncertainty leaves it open."""
    if reading.high <= limit:
        return Verdict.PASS
    return Verdict.FAIL if reading.low > limit else Verdict.ADVISE


def distance_told(view: JobView, inches: float) -> str:
    """A distance to a fuse or breaker [in], in the unit small lengths of the boat were typed in."""
    unit = view.unit_to_tell("in")
    return f"{rounded(inches)} in" if unit == "in" else view.told(inches, "in")
