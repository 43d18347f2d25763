"""What a plugin says is cut to what a page can hold; the verdict stands, and the cut is told where it was made."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TypeVar

import attrs

from garboard.faults import in_words
from garboard.findings import Axis, Doubt, Figure, Finding, Limit, Number, Series, Table
from garboard.job_view import JobView
from garboard.records import Forecast

LONGEST_TEXT = 600
LONGEST_NAME = 120
"""Of what a finding is about, a title or a heading."""
MOST_PARTS = 100
"""Of each kind: numbers, tables, figures, bases, missing things, notes."""
MOST_ROWS = 2000
MOST_COLUMNS = 20
"""A page is as wide as this many short cells."""
DOUBTS_A_PLACE = 3
MOST_DOUBTS = 2000
MOST_POINTS = 20_000
FINDINGS_OF_ANY_JOB = 1000
FINDINGS_A_VALUE = 10

T = TypeVar("T")


def most_findings(view: JobView) -> int:
    """How many findings one calculator may give of a job: more than any page shows; it grows with what was entered."""
    pieces = sum(map(len, view.vessel.pieces.values()))
    return FINDINGS_OF_ANY_JOB + FINDINGS_A_VALUE * (len(view.measurements) + pieces)


def cut(finding: Finding) -> Finding:
    """The finding, or the same with what is too long or too many cut, and the sentence saying so."""
    return finding if _fits(finding) else _shortened(finding)


def told(failure: BaseException) -> str:
    """What a plugin raised, as far as a page can hold it."""
    return _text(in_words(failure))


def _fits(finding: Finding) -> bool:
    """A quick look, as nearly every finding fits."""
    if len(finding.about) > LONGEST_NAME or any(len(getattr(finding, name)) > MOST_PARTS for name in _PARTS):
        return False
    texts = [finding.sentence, finding.short, finding.sentence_in_doubt, *finding.notes]
    texts += [one.text for one in finding.missing]
    texts += [one.text for one in finding.doubts]
    texts += [text for one in finding.basis for text in (one.text, one.note)]
    names = [text for one in finding.numbers for text in (one.name, one.unit)]
    if any(len(text) > LONGEST_TEXT for text in texts) or any(len(name) > LONGEST_NAME for name in names):
        return False
    return (
        len(finding.limits) <= MOST_PARTS
        and len(finding.forecasts) <= MOST_PARTS
        and all(map(_fits_forecast, finding.forecasts))
        and len(finding.doubts) <= DOUBTS_A_PLACE
        and all(map(_fits_table, finding.tables))
        and all(map(_fits_figure, finding.figures))
    )


def _fits_forecast(forecast: Forecast) -> bool:
    return len(forecast.expected) <= MOST_PARTS and max(len(forecast.propeller), len(forecast.cup)) <= LONGEST_NAME


def _fits_table(table: Table) -> bool:
    cells = (cell for row in table.rows for cell in row)
    return (
        len(table.rows) <= MOST_ROWS
        and len(table.headings) <= MOST_COLUMNS
        and all(len(name) <= LONGEST_NAME for name in (table.title, *table.headings))
        and all(len(cell) <= LONGEST_TEXT for cell in cells)
    )


def _fits_figure(figure: Figure) -> bool:
    axes = [figure.x, figure.y, *([figure.y2] if figure.y2 else [])]
    drawn = (figure.series, figure.bands, figure.markers)
    names = [figure.title, *(text for axis in axes for text in (axis.label, axis.unit))]
    names += [one.name for several in drawn for one in several]
    return (
        all(len(several) <= MOST_PARTS for several in drawn)
        and all(len(name) <= LONGEST_NAME for name in names)
        and all(len(one.x) <= MOST_POINTS for one in figure.series)
    )


_CALLED = {"missing": "things missing", "basis": "bases"}
"""Parts of a finding whose names are no plural."""


def _shortened(finding: Finding) -> Finding:
    many = {name: parts for name in _PARTS if len(parts := getattr(finding, name)) > MOST_PARTS}
    rows = any(len(table.rows) > MOST_ROWS for table in finding.tables)
    columns = max((len(table.headings) for table in finding.tables), default=0)
    doubts, numbers = _doubts(finding.doubts), finding.numbers[:MOST_PARTS]
    shorter = attrs.evolve(
        finding,
        about=_name(finding.about),
        sentence=_text(finding.sentence),
        short=_text(finding.short),
        sentence_in_doubt=_text(finding.sentence_in_doubt),
        tables=tuple(map(_table, finding.tables[:MOST_PARTS])),
        figures=tuple(map(_figure, finding.figures[:MOST_PARTS])),
        basis=tuple(
            attrs.evolve(one, text=_text(one.text), note=_text(one.note)) for one in finding.basis[:MOST_PARTS]
        ),
        missing=tuple(attrs.evolve(one, text=_text(one.text)) for one in finding.missing[:MOST_PARTS]),
        notes=tuple(map(_text, finding.notes[:MOST_PARTS])),
        numbers=tuple(attrs.evolve(one, name=_name(one.name), unit=_name(one.unit)) for one in numbers),
        forecasts=tuple(filter(_fits_forecast, finding.forecasts))[:MOST_PARTS],
        limits=_limits(finding.limits, numbers),
        doubts=doubts,
    )
    said = [f"Of {len(parts)} {_CALLED.get(name, name)} {MOST_PARTS} are shown." for name, parts in many.items()]
    said += [f"Of a table {MOST_ROWS} rows are shown."] if rows else []
    said += [f"Of {columns} columns of a table {MOST_COLUMNS} are shown."] if columns > MOST_COLUMNS else []
    said += [f"Of {len(finding.doubts)} doubts {len(doubts)} are shown."] if len(doubts) < len(finding.doubts) else []
    return attrs.evolve(shorter, sentence=" ".join((shorter.sentence, *said))) if said else shorter


def _limits(limits: Sequence[Limit], numbers: Sequence[Number]) -> tuple[Limit, ...]:
    """Limits of the numbers that are left. A number has one name, however it is cut."""
    left = {one.name for one in numbers}
    kept = [one for one in limits if one.number in left][:MOST_PARTS]
    return tuple(attrs.evolve(one, number=_name(one.number)) for one in kept)


def _doubts(doubts: Sequence[Doubt]) -> tuple[Doubt, ...]:
    """Of each place the first few: one says as well as a hundred that nothing rests on it."""
    of_place: dict[tuple[str, str, str, str], list[Doubt]] = defaultdict(list)
    for one in doubts:
        if len(of_place[one.place]) < DOUBTS_A_PLACE:
            of_place[one.place].append(attrs.evolve(one, text=_text(one.text)))
    return tuple(one for several in of_place.values() for one in several)[:MOST_DOUBTS]


_PARTS = ("numbers", "tables", "figures", "basis", "missing", "notes")


def _text(text: str, longest: int = LONGEST_TEXT) -> str:
    return text if len(text) <= longest else f"{text[:longest]}… (cut: {len(text)} letters)"


def _name(text: str) -> str:
    return _text(text, LONGEST_NAME)


def _table(table: Table) -> Table:
    rows = tuple(tuple(map(_text, row[:MOST_COLUMNS])) for row in table.rows[:MOST_ROWS])
    headings = tuple(map(_name, table.headings[:MOST_COLUMNS]))
    return attrs.evolve(table, title=_name(table.title), headings=headings, rows=rows)


def _figure(figure: Figure) -> Figure:
    return attrs.evolve(
        figure,
        title=_name(figure.title),
        x=_axis(figure.x),
        y=_axis(figure.y),
        y2=figure.y2 and _axis(figure.y2),
        series=tuple(map(_series, figure.series[:MOST_PARTS])),
        bands=tuple(attrs.evolve(one, name=_name(one.name)) for one in figure.bands[:MOST_PARTS]),
        markers=tuple(attrs.evolve(one, name=_name(one.name)) for one in figure.markers[:MOST_PARTS]),
    )


def _axis(axis: Axis) -> Axis:
    return attrs.evolve(axis, label=_name(axis.label), unit=_name(axis.unit))


def _series(series: Series) -> Series:
    return attrs.evolve(series, name=_name(series.name), x=_thinned(series.x), y=_thinned(series.y))


def _thinned(points: Sequence[T]) -> tuple[T, ...]:
    """Every so many of the points: a line of a million is drawn by twenty thousand of them."""
    return tuple(points[:: -(-len(points) // MOST_POINTS)]) if len(points) > MOST_POINTS else tuple(points)
