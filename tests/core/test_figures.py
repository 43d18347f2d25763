"""Figures: the plain data drawn in the house look, readable without colour."""

from __future__ import annotations

import math
from io import BytesIO
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np
import pytest
from PIL import Image

from garboard.findings import Axis, Band, Figure, Marker, Series
from garboard.report.figures import MILLIMETRES_PER_INCH, draw, figure_bytes
from garboard.report.palette import SERIES_STYLES

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Sheet
    from matplotlib.lines import Line2D

X = (1000.0, 2000.0, 3000.0, 4000.0)
THREE = Figure(
    title="Fuel and speed",
    x=Axis("Engine speed", "rev/min"),
    y=Axis("Fuel flow", "L/h", 0),
    y2=Axis("Speed", "kn", 0, 50),
    series=(
        Series("With the current", X, (4.0, 11.0, 28.0, 52.0)),
        Series("Against it", X, (5.0, 12.0, 30.0, 55.0)),
        Series("Speed", X, (6.0, 14.0, 27.0, 39.0), second_axis=True),
    ),
    bands=(Band("Window", "x", 3500, 4000), Band("Planing", "y2", 15, 20)),
    markers=(Marker("Best economy", 3000, 28.0),),
)


def all_text(sheet: Sheet) -> list[str]:
    from matplotlib.text import Text

    return [text.get_text() for text in sheet.findobj(Text) if text.get_text()]


def lines_of(figure: Figure) -> dict[object, Any]:
    return {line.get_label(): line for axes in draw(figure).axes for line in axes.get_lines()}


def heights(line: Line2D) -> list[float]:
    return [float(value) for value in np.asarray(line.get_ydata())]


def test_axes_carry_their_label_and_unit_and_everything_is_named() -> None:
    texts = all_text(draw(THREE))
    for expected in (
        *("Fuel and speed", "Engine speed [rev/min]", "Fuel flow [L/h]", "Speed [kn]"),
        *("With the current", "Against it", "Speed (right)", "Window", "Planing", "Best economy"),
    ):
        assert expected in texts


def test_series_are_told_apart_by_marker_and_dash_before_colour() -> None:
    lines = lines_of(THREE)
    drawn = [lines[series.name] for series in THREE.series]
    assert len({line.get_marker() for line in drawn}) == 3
    assert len({str(line._unscaled_dash_pattern) for line in drawn}) == 3
    assert [line.get_color() for line in drawn] == [style.colour for style in SERIES_STYLES]


def test_a_fourth_series_has_hollow_markers() -> None:
    four = attrs.evolve(THREE, series=(*THREE.series, Series("Fourth", X, X)))
    lines = lines_of(four)
    assert lines["Fourth"].get_marker() == lines["With the current"].get_marker()
    assert lines["Fourth"].get_markerfacecolor() != lines["With the current"].get_markerfacecolor()


def test_the_data_is_drawn_as_it_is_on_its_own_axis() -> None:
    sheet = draw(THREE)
    first, second = sheet.axes
    on_first = {line.get_label(): heights(line) for line in first.get_lines()}
    assert on_first["Against it"] == [5.0, 12.0, 30.0, 55.0]
    assert "Speed" not in on_first
    assert {line.get_label(): heights(line) for line in second.get_lines()}["Speed"] == [6, 14, 27, 39]


def test_axes_end_where_the_figure_says() -> None:
    first, second = draw(THREE).axes
    assert first.get_ylim()[0] == 0
    assert second.get_ylim() == (0, 50)


def test_bands_are_hatched_with_dark_edges_at_their_ends() -> None:
    first, second = draw(THREE).axes
    assert [patch.get_hatch() is not None for patch in (*first.patches, *second.patches)] == [True, True]
    assert {tuple(np.asarray(line.get_xdata()).tolist()) for line in first.get_lines()} >= {(3500, 3500), (4000, 4000)}
    assert {tuple(heights(line)) for line in second.get_lines()} >= {(15, 15), (20, 20)}


def test_a_band_beyond_the_data_is_still_in_the_picture() -> None:
    beyond = attrs.evolve(THREE, bands=(Band("Allowed", "y", 0, 300),))
    sheet = draw(beyond)
    assert sheet.axes[0].get_ylim()[1] >= 300
    assert "Allowed" in all_text(sheet)


def test_a_band_outside_fixed_axes_leaves_no_name_outside_the_picture() -> None:
    outside = attrs.evolve(THREE, x=Axis("Engine speed", "rev/min", 0, 2000))
    assert "Window" not in all_text(draw(outside))


def test_runs_are_counted_in_whole_numbers() -> None:
    runs = Figure("Runs", Axis("run", whole=True), Axis("speed", "kn"), (Series("s", (1.0, 2.0), (45.0, 46.0)),))
    ticks = draw(runs).axes[0].get_xticks()
    assert {1.0, 2.0} <= set(ticks)
    assert all(tick == int(tick) for tick in ticks)


def test_a_reading_on_north_is_drawn_whole() -> None:
    round_the_compass = Figure(
        "Deviation", Axis("heading", "deg", 0, 360), Axis("off", "deg"), (Series("s", (0.0, 360.0), (1.0, 1.0)),)
    )
    axes = draw(round_the_compass).axes[0]
    left, right = axes.get_xlim()
    assert left < 0
    assert right > 360
    assert list(axes.get_xticks()) == list(range(0, 361, 45))


def test_an_axis_that_is_measured_is_marked_between_whole_numbers() -> None:
    metres = Figure("Drop", Axis("distance", "m"), Axis("drop", "V"), (Series("s", (1.0, 2.0), (0.1, 0.2)),))
    assert any(tick != int(tick) for tick in draw(metres).axes[0].get_xticks())


def test_lines_that_end_apart_carry_their_names_at_their_ends() -> None:
    apart = attrs.evolve(
        THREE, y2=None, bands=(), markers=(), series=(Series("Low", X, (0, 1, 2, 3)), Series("High", X, (0, 5, 9, 20)))
    )
    sheet = draw(apart)
    assert sheet.legends == []
    assert {"Low", "High"} <= set(all_text(sheet))


def test_lines_that_end_together_are_named_below_the_plot() -> None:
    assert len(draw(THREE).legends) == 1


def test_equal_scales_draw_a_round_as_a_round() -> None:
    round_one = Figure("Round", Axis("x"), Axis("y"), (Series("s", (0, 1, 2), (1, 0, 1)),), equal_scales=True)
    assert draw(round_one).axes[0].get_aspect() == 1.0


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_the_same_figure_gives_the_same_bytes(kind: str) -> None:
    assert figure_bytes(THREE, kind) == figure_bytes(THREE, kind)


def test_a_png_has_the_size_it_is_printed_at() -> None:
    picture = Image.open(BytesIO(figure_bytes(THREE, "png", 127.0, 63.5)))
    assert picture.size == (127.0 / MILLIMETRES_PER_INCH * 200, 63.5 / MILLIMETRES_PER_INCH * 200)


def test_vectors_hold_no_picture() -> None:
    assert b"<image" not in figure_bytes(THREE, "svg")
    assert figure_bytes(THREE, "svg").lstrip().startswith(b"<?xml")
    pdf = figure_bytes(THREE, "pdf")
    assert pdf.startswith(b"%PDF-")
    assert b"/Subtype /Image" not in pdf


def test_nothing_touches_the_edge_of_the_sheet() -> None:
    grey = np.asarray(Image.open(BytesIO(figure_bytes(THREE))).convert("L"))
    edge = np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])
    assert edge.min() == 255


def test_drawing_changes_no_setting_of_the_plotting_library() -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    figure_bytes(THREE, "svg")
    assert dict(mpl.rcParams) == before


def test_drawing_opens_no_window() -> None:
    import matplotlib.pyplot as plt

    others = plt.get_fignums()
    figure_bytes(THREE)
    assert plt.get_fignums() == others


def test_no_line_is_drawn_across_a_gap() -> None:
    """The two ends of the gap are points; between them the line is nowhere."""
    whole = Series("Speed", (0.0, 1.0, 4.0, 5.0), (1.0, 2.0, 3.0, 4.0))
    assert whole.stretches == ((0, 4),)
    broken = attrs.evolve(whole, gaps=((1.0, 4.0),))
    assert broken.stretches == ((0, 2), (2, 4))
    lines = [draw(Figure("f", Axis("x"), Axis("y"), (one,))).axes[0].lines[0] for one in (whole, broken)]
    assert [[math.isnan(y) for y in map(float, np.asarray(line.get_ydata()))] for line in lines] == [
        [False] * 4,
        [False, False, True, False, False],
    ]


@pytest.mark.parametrize("series", [(), (Series("empty", (), ()),), (Series("one", (1.0,), (2.0,)),)])
def test_little_or_no_data_still_gives_a_figure(series: tuple[Series, ...]) -> None:
    assert figure_bytes(attrs.evolve(THREE, series=series, markers=())).startswith(b"\x89PNG")


def covered_by_names(sheet: Sheet, figure: Figure) -> list[str]:
    """Names of points that lie on a curve as drawn, or on each other."""
    from matplotlib.text import Text

    sheet.draw_without_rendering()
    names = {marker.name for marker in figure.markers}
    texts = [text for axes in sheet.axes for text in axes.texts if text.get_text() in names]
    for text in texts:
        text.get_window_extent()
    boxes = {text.get_text(): Text.get_window_extent(text) for text in texts}
    curves = [line for axes in sheet.axes for line in axes.get_lines() if len(np.asarray(line.get_xdata())) > 2]
    found = []
    for name, box in boxes.items():
        for line in curves:
            path = line.get_transform().transform_path(line.get_path())
            if path.intersects_bbox(box, filled=False):
                found.append(f"{name} on {line.get_label()}")
        found += [f"{name} on {other}" for other in boxes if other > name and boxes[other].overlaps(box)]
    return found


@pytest.mark.parametrize("place", [800, 1500, 2600, 3300, 4700])
def test_names_of_points_lie_on_no_curve_and_not_on_each_other(place: float) -> None:
    """A speed that rises and an economy that falls, with two points of note, wherever they lie on it."""
    x = tuple(float(speed) for speed in range(600, 5001, 100))
    speeds = tuple(2 + 30 / (1 + np.exp(-(speed - 2700) / 500)) for speed in x)
    economies = tuple(3.5 + np.cos((speed - 900) / 700) for speed in x)
    figure = Figure(
        title="Speed and economy",
        x=Axis("Engine speed", "rev/min"),
        y=Axis("Speed", "kn", 0),
        y2=Axis("Economy", "nm/gal", 0),
        series=(Series("speed", x, speeds), Series("economy", x, economies, second_axis=True)),
        markers=tuple(
            Marker(name, at, float(np.interp(at, x, speeds)))
            for name, at in (("slowest planing", place), ("best-economy cruise", place + 300))
        ),
    )
    assert covered_by_names(draw(figure, 170, 74), figure) == []
