"""Figures on the tablet: names cover no curve, and what is counted has whole numbers."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import combinations
from typing import Any

import attrs
import pytest

from garboard.demo.samples_folder import sample_job_files
from garboard.findings import Axis, Figure, Marker, Series
from garboard.hosting.host import make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard_tablet.models.labels import holds, overlap
from garboard_tablet.models.scale import ticks

SIZES = ((1030, 676), (784, 900), (790, 420), (600, 420))


@cache
def sample_figures() -> tuple[Figure, ...]:
    return tuple(_assessed())


def _assessed() -> Iterator[Figure]:
    host = make_host(entry_points=False)
    for path in sample_job_files():
        view = view_of(read_job_file(path), path.parent)
        for one in host.assess(view):
            yield from one.finding.figures


def drawn(figure: Figure, size: tuple[int, int]) -> Any:
    from garboard_tablet.ui.drawing import Plot

    plot = Plot(figure)
    plot.size = size
    return plot


def _marked(figure: Figure) -> Figure:
    one = figure.series[0]
    highest = max(range(len(one.y)), key=lambda at: one.y[at])
    return attrs.evolve(figure, markers=(Marker("Best economy", one.x[highest], one.y[highest], one.second_axis),))


def test_two_bands_are_told_apart_without_colour_and_each_stays_in_its_place(kivy_window: Any) -> None:
    from garboard_tablet.ui.drawing import hatching

    box = (10.0, 20.0, 110.0, 80.0)
    first, second = (hatching(number, box, 10) for number in (0, 1))
    assert {(d - b) * (c - a) > 0 for a, b, c, d in first} == {True}
    assert {(d - b) * (c - a) > 0 for a, b, c, d in second} == {False}
    assert len(second) > len(first)
    for a, b, c, d in (*first, *second):
        assert {10 <= x <= 110 for x in (a, c)} | {20 <= y <= 80 for y in (b, d)} == {True}


def test_no_name_of_a_point_covers_a_curve_or_another_name(kivy_window: Any) -> None:
    """In every size, in every figure of the sample jobs; where none is marked, the highest point of each curve is."""
    figures = [figure if figure.markers else _marked(figure) for figure in sample_figures()]
    assert len(figures) > 3
    for figure in figures:
        for size in SIZES:
            plot = drawn(figure, size)
            names = plot.names[len(figure.bands) :]
            assert len(names) == len(figure.markers)
            for box in names:
                inner = (box[0] + 1, box[1] + 1, box[2] - 1, box[3] - 1)
                assert not any(holds(inner, point) for point in plot.curves), (figure.title, size)
                assert not any(overlap(box, other) for other in plot.names if other is not box), (figure.title, size)


@pytest.mark.parametrize("size", SIZES)
def test_no_name_of_a_band_covers_another_or_a_reading(kivy_window: Any, size: tuple[int, int]) -> None:
    """The shop aims at the middle of the full-throttle window, where the window has its name."""
    for figure in sample_figures():
        plot = drawn(figure, size)
        names = plot.names[: len(figure.bands)]
        assert not any(overlap(one, other) for one, other in combinations(names, 2)), (figure.title, size)
        if not any(series.line for series in figure.series):  # among curves it covers the least
            assert not any(holds(name, point) for name in names for point in plot.curves), (figure.title, size)


def test_a_point_of_the_second_axis_lies_on_the_curve_of_that_axis(kivy_window: Any) -> None:
    """The best economy is ringed where the economy is, not where the speed is."""
    figure = Figure(
        title="Two scales",
        x=Axis("x", low=0, high=10),
        y=Axis("left", low=0, high=100),
        y2=Axis("right", low=0, high=1),
        series=(Series("a", (0, 10), (0, 100)), Series("b", (0, 5, 10), (0.2, 0.9, 0.2), second_axis=True)),
        markers=(Marker("best", 5, 0.9, second_axis=True),),
    )
    plot = drawn(figure, SIZES[0])
    left, bottom, right, top = plot._box
    (box,) = plot.names
    x, y = (left + right) / 2, bottom + 0.9 * (top - bottom)
    nearest = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
    assert abs(nearest[0] - x) + abs(nearest[1] - y) < 150, "its name stands by the curve it belongs to"


@pytest.mark.parametrize(("low", "high"), [(0.5, 2.5), (0.5, 1.5), (0.9, 7.1)])
def test_what_is_counted_is_marked_in_whole_numbers(low: float, high: float) -> None:
    """There is no run and a half."""
    marked = ticks(low, high, 12, whole=True)
    assert marked
    assert all(value == int(value) for value in marked)


def test_runs_are_counted() -> None:
    """The figure of the runs says so itself."""
    runs = [figure for figure in sample_figures() if figure.x.label == "Run"]
    assert runs
    assert all(figure.x.whole for figure in runs)
