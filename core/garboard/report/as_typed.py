"""Findings as people read them: numbers, limits and figures in the units that the boat's values were typed in.

What programs read, by `--json` and in a shop's folder, keeps the unit each number is declared in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import attrs

from garboard.findings import Axis, Band, Figure, Finding, Limit, Marker, Number, Series
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView, in_unit
from garboard.steps import Assessed, Block

Told = Callable[[str], str]
"""The unit to tell a figure in, by the one it is declared in."""


def as_typed(view: JobView, assessed: Sequence[Assessed], host: PluginHost) -> tuple[Assessed, ...]:
    """The same findings, told in the units the job's values were typed in. Told twice they are told the same.

    host : knows which fields' units tell nothing of how the boat is told, such as those of a radio's power
    """
    seen = host.with_defaults(view)
    return tuple(attrs.evolve(one, finding=finding_as_typed(seen, one.finding)) for one in assessed)


def finding_as_typed(view: JobView, finding: Finding) -> Finding:
    """One finding so. Its sentence and tables are its plugin's to write."""
    if not finding.numbers and not finding.figures:
        return finding

    def told(unit: str) -> str:
        return view.unit_to_tell(unit, finding.places)

    units = {number.name: (number.unit, told(number.unit)) for number in finding.numbers}
    numbers = tuple(_number(number, told) for number in finding.numbers)
    figures = tuple(_figure(figure, told) for figure in finding.figures)
    if numbers == finding.numbers and figures == finding.figures:
        return finding
    limits = tuple(_limit(limit, *units[limit.number]) for limit in finding.limits)
    return attrs.evolve(finding, numbers=numbers, limits=limits, figures=figures)


def block_as_typed(view: JobView, block: Block) -> Block:
    """A block that a section of the book made itself, so; a text and a table are its plugin's to write."""
    if isinstance(block, Finding):
        return finding_as_typed(view, block)
    if isinstance(block, Number):
        return _number(block, view.unit_to_tell)
    return _figure(block, view.unit_to_tell) if isinstance(block, Figure) else block


def _number(number: Number, told: Told) -> Number:
    unit = told(number.unit)
    if unit == number.unit:
        return number
    half_width = number.expanded_uncertainty
    return Number(
        number.name,
        in_unit(number.value, number.unit, unit),
        unit,
        None if half_width is None else _length(half_width, number.unit, unit),
        number.decimals,
        coverage_factor=number.coverage_factor,
        degrees_of_freedom=number.degrees_of_freedom,
    )


def _length(width: float, unit: str, wanted: str) -> float:
    """A difference of two values in another unit."""
    return in_unit(width, unit, wanted) - in_unit(0.0, unit, wanted)


def _limit(limit: Limit, unit: str, wanted: str) -> Limit:
    low, high = (None if end is None else in_unit(end, unit, wanted) for end in (limit.low, limit.high))
    return Limit(limit.number, low, high)


def _figure(figure: Figure, told: Told) -> Figure:
    axes = {"x": figure.x, "y": figure.y, "y2": figure.y2}
    units = {name: (axis.unit, told(axis.unit)) for name, axis in axes.items() if axis is not None}
    if all(unit == wanted for unit, wanted in units.values()):
        return figure

    def on(axis: str, value: float) -> float:
        return in_unit(value, *units[axis])

    return attrs.evolve(
        figure,
        x=_axis(figure.x, *units["x"]),
        y=_axis(figure.y, *units["y"]),
        y2=figure.y2 and _axis(figure.y2, *units["y2"]),
        series=tuple(_series(one, on) for one in figure.series),
        bands=tuple(Band(one.name, one.axis, on(one.axis, one.low), on(one.axis, one.high)) for one in figure.bands),
        markers=tuple(_marker(one, on) for one in figure.markers),
    )


def _axis(axis: Axis, unit: str, wanted: str) -> Axis:
    low, high = (None if end is None else in_unit(end, unit, wanted) for end in (axis.low, axis.high))
    return attrs.evolve(axis, unit=wanted, low=low, high=high)


def _series(series: Series, on: Callable[[str, float], float]) -> Series:
    y = "y2" if series.second_axis else "y"
    return attrs.evolve(
        series,
        x=tuple(on("x", value) for value in series.x),
        y=tuple(on(y, value) for value in series.y),
        gaps=tuple((on("x", low), on("x", high)) for low, high in series.gaps),
    )


def _marker(marker: Marker, on: Callable[[str, float], float]) -> Marker:
    y = "y2" if marker.second_axis else "y"
    return attrs.evolve(marker, x=on("x", marker.x), y=on(y, marker.y))
