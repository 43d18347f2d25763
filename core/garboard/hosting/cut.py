"""What a plugin says is cut to what a page can hold; the verdict stands, and the cut is told where it was made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import attrs

from garboard.findings import Figure, Finding, Series, Table
from garboard.job_view import JobView
from garboard.records import EQUIPMENT

LONGEST_TEXT = 600
LONGEST_NAME = 120
"""Of what a finding is about, a title or a heading."""
MOST_PARTS = 100
"""Of each kind: numbers, tables, figures, bases, missing things, notes."""
MOST_ROWS = 2000
MOST_POINTS = 20_000
FINDINGS_OF_ANY_JOB = 1000
FINDINGS_A_VALUE = 10

T = TypeVar("T")


def most_findings(view: JobView) -> int:
    """How many findings one calculator may give of a job: more than any page shows; it grows with what was entered."""
    pieces = sum(len(getattr(view.vessel, kind)) for kind in EQUIPMENT)
    return FINDINGS_OF_ANY_JOB + FINDINGS_A_VALUE * (len(view.measurements) + pieces)


def cut(finding: Finding) -> Finding:
    """The finding, or the same with what is too long or too many cut, and the sentence saying so."""
    return finding if _fits(finding) else _shortened(finding)


def _fits(finding: Finding) -> bool:
    """A quick look, as nearly every finding fits."""
    if len(finding.about) > LONGEST_NAME or any(len(getattr(finding, name)) > MOST_PARTS for name in _PARTS):
        return False
    texts = [finding.sentence, finding.short, *finding.notes]
    texts += [one.text for one in finding.missing]
    texts += [text for one in finding.basis for text in (one.text, one.note)]
    if any(len(text) > LONGEST_TEXT for text in texts):
        return False
    for table in finding.tables:
        cells = (cell for row in (table.headings, *table.rows) for cell in row)
        if len(table.rows) > MOST_ROWS or len(table.title) > LONGEST_NAME or any(len(c) > LONGEST_TEXT for c in cells):
            return False
    return all(len(one.x) <= MOST_POINTS for figure in finding.figures for one in figure.series)


def _shortened(finding: Finding) -> Finding:
    many = {name: parts for name in _PARTS if len(parts := getattr(finding, name)) > MOST_PARTS}
    rows = sum(len(table.rows) > MOST_ROWS for table in finding.tables)
    shorter = attrs.evolve(
        finding,
        about=_text(finding.about, LONGEST_NAME),
        sentence=_text(finding.sentence),
        short=_text(finding.short),
        tables=tuple(map(_table, finding.tables[:MOST_PARTS])),
        figures=tuple(map(_figure, finding.figures[:MOST_PARTS])),
        basis=tuple(
            attrs.evolve(one, text=_text(one.text), note=_text(one.note)) for one in finding.basis[:MOST_PARTS]
        ),
        missing=tuple(attrs.evolve(one, text=_text(one.text)) for one in finding.missing[:MOST_PARTS]),
        notes=tuple(map(_text, finding.notes[:MOST_PARTS])),
        numbers=finding.numbers[:MOST_PARTS],
    )
    said = [f"Of {len(parts)} {name} {MOST_PARTS} are shown." for name, parts in many.items()]
    said += [f"Of a table {MOST_ROWS} rows are shown."] if rows else []
    return attrs.evolve(shorter, sentence=" ".join((shorter.sentence, *said))) if said else shorter


_PARTS = ("numbers", "tables", "figures", "basis", "missing", "notes")


def _text(text: str, longest: int = LONGEST_TEXT) -> str:
    return text if len(text) <= longest else f"{text[:longest]}… (cut: {len(text)} letters)"


def _table(table: Table) -> Table:
    rows = tuple(tuple(map(_text, row)) for row in table.rows[:MOST_ROWS])
    headings = tuple(_text(one, LONGEST_NAME) for one in table.headings)
    return attrs.evolve(table, title=_text(table.title, LONGEST_NAME), headings=headings, rows=rows)


def _figure(figure: Figure) -> Figure:
    return attrs.evolve(figure, series=tuple(map(_series, figure.series[:MOST_PARTS])))


def _series(series: Series) -> Series:
    return attrs.evolve(series, x=_thinned(series.x), y=_thinned(series.y))


def _thinned(points: Sequence[T]) -> tuple[T, ...]:
    """Every so many of the points: a line of a million is drawn by twenty thousand of them."""
    return tuple(points[:: -(-len(points) // MOST_POINTS)]) if len(points) > MOST_POINTS else tuple(points)
