"""Figures drawn from plain data in the house look: readable in black and white, at the size they are printed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from io import BytesIO
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import attrs

from garboard.findings import Axis, Band, Figure, Series
from garboard.report.palette import DAY, SERIES_STYLES, SeriesStyle
from garboard.report.printed import as_printed
from garboard.report.visible import in_print

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis as MatplotlibAxis
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as Sheet
    from matplotlib.lines import Line2D
    from matplotlib.text import Annotation
    from matplotlib.transforms import Bbox
    from numpy.typing import NDArray

MILLIMETRES_PER_INCH = 25.4
NOTE_POINTS = 8.5
_MARKERS = {"round": "o", "square": "s", "diamond": "D"}
_HATCHES = ("////", "\\\\\\\\", "....")
_MOST_POINTS_WITH_MARKERS = 40
_OFFSETS = [(across, sign * up) for up in range(10, 91, 8) for across in (9, -9, 0, 40, -40) for sign in (1, -1)]
"""Where a point's name may stand from it, the nearest first [pt]."""
_LEADS_FROM = 20  # a name so far above or below its point has a line to it [pt]
_CLEAR = 2.0
"""Left clear around a name [dots]."""
_LEAST_SHARE_BETWEEN_NAMES = 0.07
_DOTS_PER_INCH = 200  # of a png
_LEGEND_LINE, _LEGEND_LETTER = 15.0, 1.7  # widths of a line sample and of a letter [mm]


def figure_bytes(figure: Figure, kind: str = "png", width: float = 160.0, height: float = 90.0) -> bytes:
    """A figure as a file's content. The same figure gives the same bytes.

    kind          : "png", "svg" or "pdf"; the last two are vectors
    width, height : as printed [mm]
    """
    import matplotlib as mpl

    sheet = draw(figure, width, height)
    out = BytesIO()
    # The font that travels with matplotlib; text in an svg as outlines, so that it looks the same everywhere.
    with mpl.rc_context({"svg.hashsalt": "garboard", "svg.fonttype": "path", "pdf.fonttype": 42}):
        sheet.savefig(out, format=kind, dpi=_DOTS_PER_INCH, metadata=_no_date(kind))
    return out.getvalue()


def draw(figure: Figure, width: float = 160.0, height: float = 90.0) -> Sheet:
    """A figure as a matplotlib figure; width and height as printed [mm]."""
    import matplotlib as mpl

    with mpl.rc_context({"text.parse_math": False}):  # a dollar sign in a name is a dollar sign
        return _drawn(_in_print(figure), width, height)


def _in_print(figure: Figure) -> Figure:
    """The figure with names that can be set in type."""
    return attrs.evolve(
        figure,
        title=in_print(figure.title),
        series=tuple(attrs.evolve(one, name=in_print(one.name)) for one in figure.series),
        bands=tuple(attrs.evolve(one, name=in_print(one.name)) for one in figure.bands),
        markers=tuple(attrs.evolve(one, name=in_print(one.name)) for one in figure.markers),
    )


def _drawn(figure: Figure, width: float, height: float) -> Sheet:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as Sheet

    sheet = Sheet(figsize=(width / MILLIMETRES_PER_INCH, height / MILLIMETRES_PER_INCH), facecolor=DAY.panel)
    canvas = FigureCanvasAgg(sheet)
    sheet.set_layout_engine("constrained")
    axes = sheet.add_subplot()
    second = axes.twinx() if figure.y2 is not None else None
    _dress(axes, figure, second)
    lines = [
        _plot(second if series.second_axis and second is not None else axes, series, position)
        for position, series in enumerate(figure.series)
    ]
    for position, band in enumerate(figure.bands):
        _shade(second if band.axis == "y2" and second is not None else axes, band, position)
    _set_limits(axes, figure, second)
    for band in figure.bands:
        _name_band(second if band.axis == "y2" and second is not None else axes, band)
    if _ends_stand_apart(axes, figure):
        _name_ends(axes, figure)
    elif len(figure.series) > 1:
        _legend(sheet, lines, figure, width)
    _point_out(canvas, axes, second, figure)
    return sheet


def axis_title(axis: Axis) -> str:
    """The axis's label with its unit in brackets."""
    return as_printed(f"{axis.label} [{axis.unit}]") if axis.unit else axis.label


def style_of(position: int) -> tuple[SeriesStyle, bool]:
    """The style of a figure's n-th series, from 0, and whether its markers are hollow."""
    return SERIES_STYLES[position % len(SERIES_STYLES)], position >= len(SERIES_STYLES)


def _words(*, bold: bool = False, colour: str = DAY.ink) -> dict[str, Any]:
    return {
        "fontsize": NOTE_POINTS,
        "fontfamily": "DejaVu Sans",
        "color": colour,
        "fontweight": "bold" if bold else "normal",
    }


def _dress(axes: Axes, figure: Figure, second: Axes | None) -> None:
    axes.set_xlabel(axis_title(figure.x), **_words())
    _name_upright(axes, figure.y, at=0.0)
    axes.set_title(figure.title, **_words(bold=True), loc="left", pad=20)
    axes.grid(visible=True, color=DAY.line, linewidth=0.35, alpha=0.6)
    axes.set_axisbelow(True)
    if second is not None and figure.y2 is not None:
        _name_upright(second, figure.y2, at=1.0)
    for each in filter(None, (axes, second)):
        each.tick_params(labelsize=NOTE_POINTS, colors=DAY.ink, width=0.6, length=3)
        for label in (*each.get_xticklabels(), *each.get_yticklabels()):
            label.set_fontfamily("DejaVu Sans")
        for side, spine in each.spines.items():
            spine.set_color(DAY.line)
            spine.set_linewidth(0.6)
            spine.set_visible(side in ("bottom", "left") or (side == "right" and second is not None))
    if figure.equal_scales:
        axes.set_aspect("equal", adjustable="datalim")


def _name_upright(axes: Axes, axis: Axis, at: float) -> None:
    """The name of a vertical axis on its top, where it reads like any text and takes no width."""
    axes.set_ylabel(axis_title(axis), rotation=0, ha="left" if at == 0.0 else "right", va="bottom", **_words())
    axes.yaxis.set_label_coords(at, 1.03)


def _plot(axes: Axes, series: Series, position: int) -> Line2D:
    style, hollow = style_of(position)
    many = len(series.x) > _MOST_POINTS_WITH_MARKERS
    x, y = _broken(series)
    (line,) = axes.plot(
        x,
        y,
        label=series.name,
        color=style.colour,
        linestyle=(0, style.dash) if style.dash and series.line else "-" if series.line else "none",
        linewidth=1.4,
        marker=_MARKERS[style.marker] if series.markers or not series.line else "none",
        markevery=max(1, len(series.x) // 20) if many and series.line else None,
        markersize=4.5 if not many or series.line else 2.0,
        markerfacecolor=DAY.panel if hollow else style.colour,
        markeredgecolor=style.colour,
        zorder=3,
    )
    return line


def _broken(series: Series) -> tuple[Sequence[float], Sequence[float]]:
    """The points, with one that is nowhere between two that no line joins."""
    if not series.gaps:
        return series.x, series.y
    nowhere = math.nan
    x, y = (
        [one for start, end in series.stretches for one in (*at[start:end], nowhere)] for at in (series.x, series.y)
    )
    return x[:-1], y[:-1]


def _set_limits(axes: Axes, figure: Figure, second: Axes | None) -> None:
    _limit(axes.set_xlim, figure.x)
    if (figure.x.low, figure.x.high) == (0, 360):
        axes.set_xticks(range(0, 361, 45))
        axes.set_xlim(-4, 364)  # a reading on north is drawn whole
    _limit(axes.set_ylim, figure.y)
    if second is not None and figure.y2 is not None:
        _limit(second.set_ylim, figure.y2)
        _mark_whole(second.yaxis, figure.y2)
    _mark_whole(axes.xaxis, figure.x)
    _mark_whole(axes.yaxis, figure.y)


def _mark_whole(ruler: MatplotlibAxis, axis: Axis) -> None:
    if axis.whole:
        from matplotlib.ticker import MaxNLocator

        ruler.set_major_locator(MaxNLocator(integer=True, min_n_ticks=1))


def _limit(set_limits: Any, axis: Axis) -> None:
    if axis.low is not None or axis.high is not None:
        set_limits(axis.low, axis.high)


def _shade(axes: Axes, band: Band, position: int) -> None:
    """A hatched area with dark edges."""
    span = axes.axvspan if band.axis == "x" else axes.axhspan
    area = span(band.low, band.high, facecolor="none", edgecolor=DAY.line, linewidth=0.0, zorder=1)
    area.set_hatch(_HATCHES[position % len(_HATCHES)])
    area.set_alpha(0.55)
    edge = axes.axvline if band.axis == "x" else axes.axhline
    for value in (band.low, band.high):
        edge(value, color=DAY.ink, linewidth=0.9, linestyle=(0, (6, 2)), zorder=2)


def _name_band(axes: Axes, band: Band) -> None:
    """The band's name in the middle of the part that shows."""
    ends = axes.get_xlim() if band.axis == "x" else axes.get_ylim()
    low, high = max(band.low, min(ends)), min(band.high, max(ends))
    if low >= high:
        return
    middle = (low + high) / 2
    words = _words() | {"bbox": _plate(), "zorder": 4}
    if band.axis == "x":
        axes.text(middle, 0.03, band.name, transform=axes.get_xaxis_transform(), ha="center", va="bottom", **words)
    else:
        axes.text(0.015, middle, band.name, transform=axes.get_yaxis_transform(), ha="left", va="center", **words)


def _plate() -> dict[str, Any]:
    return {"facecolor": DAY.panel, "edgecolor": "none", "pad": 1.5}


def _point_out(canvas: FigureCanvasAgg, axes: Axes, second: Axes | None, figure: Figure) -> None:
    """A ring on each point, and its name beside it where it covers least of the curves and of other names."""
    if not figure.markers:
        return
    canvas.figure.draw_without_rendering()  # only then is it known where everything lies
    taken = [text.get_window_extent().padded(_CLEAR) for on in _both(axes, second) for text in on.texts]
    curves = [
        _points_along(line)
        for on in _both(axes, second)
        for line in on.lines
        if not str(line.get_label()).startswith("_")
    ]
    for marker in figure.markers:
        on = second if marker.second_axis and second is not None else axes
        on.plot(
            [marker.x],
            [marker.y],
            "o",
            markersize=9,
            markerfacecolor="none",
            markeredgecolor=DAY.ink,
            zorder=5,
            label="_ring",
        )
        name = on.annotate(
            marker.name,
            (marker.x, marker.y),
            _OFFSETS[0],
            textcoords="offset points",
            arrowprops={"arrowstyle": "-", "color": DAY.ink, "linewidth": 0.6, "shrinkB": 5},
            bbox=_plate(),
            zorder=6,
            **_words(bold=True),
        )
        ways = [(_placed(name, offset, canvas), offset) for offset in _OFFSETS]
        _, best = min(enumerate(ways), key=lambda way: (_covered(way[1][0], taken, curves, axes.bbox), way[0]))
        taken.append(_placed(name, best[1], canvas))
        if name.arrow_patch is not None:
            name.arrow_patch.set_visible(abs(best[1][1]) > _LEADS_FROM)


def _both(axes: Axes, second: Axes | None) -> Sequence[Axes]:
    return [axes] if second is None else [axes, second]


def _placed(name: Annotation, offset: tuple[int, int], canvas: FigureCanvasAgg) -> Bbox:
    """Put a name so far from its point [pt], and tell what it covers [dots]."""
    from matplotlib.text import Text

    across, up = offset
    name.set_position(offset)
    name.set_horizontalalignment("left" if across > 0 else "right" if across < 0 else "center")
    name.set_verticalalignment("bottom" if up > 0 else "top" if up < 0 else "center")
    name.update_positions(canvas.get_renderer())  # type: ignore[no-untyped-call]  # matplotlib has no type for it
    return Text.get_window_extent(name).padded(_CLEAR)  # without the line that leads to it


def _points_along(line: Line2D) -> NDArray[np.float64]:
    """Points along a drawn line, close together [dots]; of loose points themselves."""
    import numpy as np

    corners = line.get_transform().transform(line.get_xydata())
    if line.get_linestyle() == "None" or len(corners) < 2:
        return np.asarray(corners)
    steps = np.linspace(0, len(corners) - 1, max(len(corners), 400))
    return np.column_stack([np.interp(steps, range(len(corners)), corners[:, axis]) for axis in (0, 1)])


def _covered(name: Bbox, taken: Sequence[Bbox], curves: Sequence[NDArray[np.float64]], inside: Bbox) -> float:
    """How much a name would cover: other names and the edge count most, then points of curves."""
    outside = not (inside.x0 <= name.x0 and name.x1 <= inside.x1 and inside.y0 <= name.y0 and name.y1 <= inside.y1)
    on_names = sum(name.overlaps(other) for other in taken)
    on_curves = sum(
        int(((name.x0 < c[:, 0]) & (c[:, 0] < name.x1) & (name.y0 < c[:, 1]) & (c[:, 1] < name.y1)).sum())
        for c in curves
    )
    return 1000 * (outside + on_names) + on_curves


def _ends_stand_apart(axes: Axes, figure: Figure) -> bool:
    """Whether each line can carry its name at its right end."""
    if len(figure.series) < 2 or figure.y2 is not None or not all(s.line and s.x for s in figure.series):
        return False
    left, right = axes.get_xlim()
    bottom, top = axes.get_ylim()
    if any(right - series.x[-1] > (right - left) / 8 for series in figure.series):
        return False
    heights = sorted((series.y[-1] - bottom) / (top - bottom) for series in figure.series)
    return all(higher - lower > _LEAST_SHARE_BETWEEN_NAMES for lower, higher in pairwise(heights))


def _name_ends(axes: Axes, figure: Figure) -> None:
    right = axes.get_xlim()[1]
    for position, series in enumerate(figure.series):
        axes.annotate(
            series.name,
            (right, series.y[-1]),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            annotation_clip=False,
            **_words(bold=True, colour=style_of(position)[0].colour),
        )


def _legend(sheet: Sheet, lines: Sequence[Line2D], figure: Figure, width: float) -> None:
    """Names below the plot, where they cover nothing; those on the second axis say so."""
    names = [f"{series.name} (right)" if series.second_axis else series.name for series in figure.series]
    widest = _LEGEND_LINE + _LEGEND_LETTER * max(len(name) for name in names)
    sheet.legend(
        lines,
        names,
        loc="outside lower left",
        ncols=max(1, min(3, len(names), int(width // widest))),
        frameon=False,
        handlelength=4.0,
        prop={"size": NOTE_POINTS, "family": "DejaVu Sans"},
        labelcolor=DAY.ink,
    )


def _no_date(kind: str) -> dict[str, Any]:
    return {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {"Software": None}}[kind]
