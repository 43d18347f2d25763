"""How figures of the fuel curve are written."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from garboard.findings import Number, is_numbered, rounded
from garboard.job_view import JobView, in_unit
from garboard.uncertainty import MeasuredValue


def tens(engine_speed: float) -> str:
    """An engine speed to the nearest ten, as closely as anyone can set it.

    >>> tens(3544.9), tens(3545)
    ('3540', '3550')
    """
    return f"{10 * int(rounded(engine_speed / 10, 0))}"


def to_plan_by(distance: float) -> str:
    """A distance to plan by, never told as more than it is.

    >>> to_plan_by(25.99), to_plan_by(86.0)
    ('25', '86')
    """
    return f"{math.floor(distance + 1e-9)}"


def is_number(row: str) -> bool:
    """Whether a row is called by its number, as the tablet calls it; a file from elsewhere may call it otherwise."""
    return row.isdecimal() and len(row) < 10


def rows_named(rows: Sequence[str]) -> str:
    """Rows of a table, three and more in a row by the first and the last.

    >>> rows_named(["3"]), rows_named(["2", "7"]), rows_named(["2", "3", "4", "9"])
    ('row 3', 'rows 2 and 7', 'rows 2 to 4 and 9')
    >>> rows_named(["aft"]), rows_named(["aft", "2"])
    ('aft', 'row 2 and aft')
    """
    runs: list[list[str]] = []
    for row in sorted(rows, key=is_numbered, reverse=True):  # those called by a word last
        follows = runs and is_number(row) and is_number(runs[-1][-1]) and int(row) == int(runs[-1][-1]) + 1
        runs[-1].append(row) if follows else runs.append([row])
    texts = [text for run in runs for text in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else run)]
    *others, last = texts
    word = ("", "row ", "rows ")[min(sum(map(is_numbered, rows)), 2)]
    return f"{word}{', '.join(others)}{' and ' if others else ''}{last}"


def is_at_least(measured: MeasuredValue) -> bool:
    """Whether a current is still in a figure: then its low end is told, with the current against the boat."""
    return any(part.source == "current" for part in measured.parts)


def least(measured: MeasuredValue) -> float:
    """The value; of one that a current is in, its low end, as `shown` and `number` tell it."""
    return max(0.0, measured.low) if is_at_least(measured) else measured.value


def all_told(view: JobView, unit: str, joined: str, values: Iterable[float], decimals: int = 1) -> str:
    """Several figures with one unit, as typed: "10.5 and 12.0 kn"."""
    shown = view.unit_to_tell(unit)
    return f"{joined.join(rounded(in_unit(one, unit, shown), decimals) for one in values)} {shown}"


def speeds_told(view: JobView, joined: str, *speeds: MeasuredValue) -> str:
    """Speeds without their uncertainty, such as "25.1 to 31.2 kn"; with a current in them "or more"."""
    unit = view.unit_to_tell("kn")
    texts = joined.join(rounded(in_unit(least(speed), "kn", unit), 1) for speed in speeds)
    return f"{texts} {unit}{' or more' if any(map(is_at_least, speeds)) else ''}"


def shown(view: JobView, measured: MeasuredValue, decimals: int = 1) -> str:
    """A figure with its uncertainty and unit, as typed; one that a current is in as "at least 23.1 kn"."""
    if is_at_least(measured):
        return f"at least {view.told(least(measured), measured.unit, decimals)}"
    return view.told(measured.value, measured.unit, decimals, measured.expanded_uncertainty)


def number(name: str, measured: MeasuredValue, decimals: int = 1) -> Number:
    """The same as a number of a finding."""
    if is_at_least(measured):
        return Number(f"{name}, at least", least(measured), measured.unit, decimals=decimals)
    return Number.of(name, measured, decimals)


def times(measured: MeasuredValue, factor: float, unit: str) -> MeasuredValue:
    """A figure that follows another by a factor, in a unit of its own."""
    return MeasuredValue.of_parts(factor * measured.value, unit, [part.times(factor) for part in measured.parts])


def decimals_to_tell(value: float, low: float, high: float) -> int:
    """The fewest decimals, at least one, at which a value reads inside two limits just where it is."""
    inside = low <= value <= high
    return next((some for some in range(1, 15) if (low <= float(rounded(value, some)) <= high) == inside), 15)
