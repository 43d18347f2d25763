"""Round numbers along an axis."""

from __future__ import annotations

import math
from collections.abc import Iterable

from garboard.findings import Axis, Band, Figure, plain_text


def round_step(span: float, most: int) -> float:
    """The smallest step of 1, 2 or 5 times a power of ten that takes at most so many steps over a span.

    >>> round_step(47, 6), round_step(0.9, 5), round_step(360, 8)
    (10.0, 0.2, 50.0)
    """
    if not (math.isfinite(span) and span > 0):
        return 1.0
    power = 10.0 ** math.floor(math.log10(span / most))
    for times in (1, 2, 5, 10):
        step = times * power
        if span / step <= most + 1e-9:
            return float(f"{step:.12g}")
    return 10 * power


def ticks(low: float, high: float, most: int = 6, *, whole: bool = False) -> list[float]:
    """Round numbers from low to high; only whole ones where things are counted.

    >>> ticks(0, 47, 6), ticks(0.5, 2.5, 8, whole=True)
    ([0.0, 10.0, 20.0, 30.0, 40.0], [1.0, 2.0])
    """
    step = 90.0 if (low, high) == (0.0, 360.0) else round_step(high - low, most)
    if whole:
        step = max(1.0, step)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [float(f"{number * step:.12g}") for number in range(first, last + 1)]


def extent(axis: Axis, values: Iterable[float], bands: Iterable[Band] = ()) -> tuple[float, float]:
    """From where to where an axis runs: as it says itself, or around what is drawn on it."""
    finite = [value for value in values if math.isfinite(value)]
    finite += [edge for band in bands for edge in (band.low, band.high) if math.isfinite(edge)]
    low = min(finite, default=0.0) if axis.low is None else axis.low
    high = max(finite, default=1.0) if axis.high is None else axis.high
    if high <= low:
        low, high = low - 1, high + 1
    air = 0.04 * (high - low)
    return (low - air if axis.low is None else low), (high + air if axis.high is None else high)


def extents(figure: Figure) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float] | None]:
    """Where the x, the y and the second y axis of a figure run."""
    bands = {name: [band for band in figure.bands if band.axis == name] for name in ("x", "y", "y2")}
    x = [value for series in figure.series for value in series.x] + [marker.x for marker in figure.markers]
    on: dict[bool, list[float]] = {False: [], True: []}
    for series in figure.series:
        on[series.second_axis].extend(series.y)
    for marker in figure.markers:
        on[marker.second_axis].append(marker.y)
    second = extent(figure.y2, on[True], bands["y2"]) if figure.y2 else None
    return extent(figure.x, x, bands["x"]), extent(figure.y, on[False], bands["y"]), second


def number_text(value: float) -> str:
    """A tick's number, short.

    >>> number_text(1500.0), number_text(-0.25), number_text(0.0)
    ('1500', '−0.25', '0')
    """
    return plain_text(value, 10).replace("-", "−")
