"""How entries of the fuel steps are asked for: amounts that may be left open, and the digit they were typed to."""

from __future__ import annotations

from garboard.job_view import InputCollector, JobView
from garboard.uncertainty import of_last_digit
from garboard.units import Amount


def optional(asking: InputCollector, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float | None:
    """An amount that may be left open [unit]; values that disagree are still a reason."""
    view, where = asking.view, {"row": row, "of": of}
    if view.value(step, field, **where) is None and not view.in_dispute(step, field, **where):
        return None
    return asking.amount(step, field, unit, row=row, of=of)


def digit(view: JobView, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float:
    """Standard uncertainty that comes from the last digit a value was typed with [unit]; 0 where there is none."""
    value = view.value(step, field, row=row, of=of)
    try:
        return of_last_digit(Amount.parse(str(value)).last_digit(unit))
    except ValueError:
        return 0.0  # asked for elsewhere, with the reason
