"""What a book is made of, as plain data for `book.typ`: words, headings, tables, figures, photos."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from garboard.findings import Figure
from garboard.owner_pages import key_of
from garboard.report.chart import FEW_POINTS, chart
from garboard.report.figures import axis_title
from garboard.report.palette import STEP_MARKS, VERDICT_MARKS, Mark
from garboard.report.printed import as_printed
from garboard.report.type_faces import breakable, printable, width_of

Block = dict[str, Any]
"""One block; `kind` says which, `book.typ` what else stands in it."""

TEXT_WIDTH = 176.0
"""Of the text block, on every paper [mm]."""
_LONGEST_CELL, _MOST_LINES = 400, 12
_CARD_ROWS = 12
_LONG_TABLE, _MOST_GROUPS = 16, 3  # rows from which a narrow table is set in groups side by side
_BESIDE = 2.8  # clear within a cell, both sides together [mm]
CARD_WIDTH, FRAME, _CARD_COLUMNS = 86.0, 4.0, 5
"""Of a card, and from its frame to its words [mm]; a card of more columns is as wide as the text."""
_WIDEST_LETTER = 2.3  # as printed in a table [mm]
_KEPT_WHOLE, _LONGEST_KEPT = 80.0, 24
"""Height up to which a table stands on one page [mm], and rows above which nobody asks."""
_LINE_PER_POINT, _BETWEEN_ROWS = 0.44, 2.1
_EXACT = 0.05
"""A column is as wide as its longest cell, but for what rounding took [mm]."""
"""Height of a line for a type size [mm/pt], and what is clear between rows [mm]."""
OWNER_SIZE = 10.5
"""Of text and tables in Your boat [pt]."""
_RECORD_SIZE, _CARD_SIZE = 8.0, 9.0
"""Of tables in the Record and of cards [pt]."""
_DARK = re.compile(rb"\x01+")
_NUMERIC = re.compile(r"[-+−]?\d[\d.,]*(/\d)?( ?± ?[\d.]+)?((–| to )\d[\d.,]*)?( ?[A-Za-z%°][A-Za-z0-9/]*)?")


def words(text: str, size: str = "note", *, bold: bool = False, colour: str = "ink", leads: bool = False) -> Block:
    """A paragraph. size: "body", "note" or "small". One that leads, or ends in a colon, stays with what follows."""
    leads = leads or text.endswith(":")
    return {"kind": "words", "words": text, "size": size, "bold": bold, "colour": colour, "leads": leads}


def heading(text: str, level: int, *, mark: str = "", listed: bool = False) -> Block:
    """A heading below a chapter's, with the mark of a state at its right; `listed` in contents and bookmarks."""
    return {"kind": "heading", "words": text, "level": level, "mark": mark, "listed": listed}


def big_number(number: str, name: str) -> Block:
    """The one number of a section, its name under it. size: of its digits [pt]."""
    return {"kind": "number", "number": as_printed(number), "name": name, "size": 15}


def qr_code(text: str) -> Mapping[str, Any]:
    """A QR code (ISO/IEC 18004) with a clear margin of four modules: its side, and runs of dark modules.

    runs : across, down and length of each
    """
    import segno

    rows = [bytes(row) for row in segno.make_qr(text, error="m").matrix_iter(border=4)]
    dark = [(one.start(), down, len(one.group())) for down, row in enumerate(rows) for one in _DARK.finditer(row)]
    return {"side": len(rows), "runs": [list(run) for run in dark]}


_DIGITS, _WIDER = (34.0, 24.0, 18.0, 14.0), 1.2  # sizes [pt]; B612 is so much wider than Roboto
_DIGITS_IN_ROW, _BETWEEN_DIGITS = 3, 4.0


def big_digits(items: Sequence[tuple[str, str, Sequence[str]]]) -> Block:
    """Large digits with name and lines under them, three in a row; all as large as the longest has room for."""
    widest = max(items, key=lambda one: width_of(one[0], 10.0, bold=True))[0]
    columns = min(_DIGITS_IN_ROW, len(items))
    room = (TEXT_WIDTH - _BETWEEN_DIGITS * (columns - 1)) / columns
    fitting = (size for size in _DIGITS if width_of(widest, size, bold=True) * _WIDER <= room)
    rows = [[digits, name, list(lines)] for digits, name, lines in items]
    return {"kind": "digits", "items": rows, "columns": columns, "size": next(fitting, _DIGITS[-1])}


def owner_table(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> Block:
    """A table as the owner reads it: as large as the text."""
    return table(title, headings, rows, size=OWNER_SIZE)


def listed(items: Iterable[tuple[str, str]], *, size: str = "note", indent: float = 6.0, whole: bool = False) -> Block:
    """Labels and texts, each text beside its label; `whole` on one page."""
    return {"kind": "list", "items": [list(one) for one in items], "size": size, "indent": indent, "whole": whole}


def facts(items: Iterable[tuple[str, str]]) -> Block:
    return {"kind": "facts", "items": [list(one) for one in items]}


def signature(line: str, covers: str, lacks: str, *, drawn: Mapping[str, Any] | None = None) -> Block:
    """Who signed, the strokes as drawn, what they cover, and what they do not."""
    return {"kind": "signature", "words": line, "covers": covers, "lacks": lacks, "drawn": drawn, "to_sign": False}


def to_sign(line: str) -> Block:
    """A line to sign on."""
    return {"kind": "signature", "words": line, "covers": "", "lacks": "", "drawn": None, "to_sign": True}


def table(
    title: str,
    headings: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    note: str = "",
    size: float = 0.0,
) -> Block:
    """A table; with `note` a card in a frame to be cut out. A long and narrow one is set in groups side by side."""
    rows = _that_fit(rows)
    heads: Sequence[str] = [one[:1].upper() + one[1:] for one in headings]
    if len(rows) >= _LONG_TABLE and not note and not size:
        heads, rows = _side_by_side(heads, rows, _RECORD_SIZE)
    elif len(rows) > _CARD_ROWS:
        heads, rows = _side_by_side(heads, rows, _CARD_SIZE, groups=2)
    numeric = [_is_numeric(rows, column) for column in range(len(heads))]
    size = size or (_CARD_SIZE if note else _RECORD_SIZE)
    whole = TEXT_WIDTH if not note else (TEXT_WIDTH if len(heads) > _CARD_COLUMNS else CARD_WIDTH) - 2 * FRAME
    widths = [round(width, 2) for width in _widths(heads, rows, size, whole)]
    return {
        "kind": "card" if note else "table",
        "title": title,
        "key": key_of(title),
        "note": note,
        "heads": [printable(breakable(as_printed(one), _letters(len(heads)))) for one in heads],
        "rows": [[printable(breakable(as_printed(cell), _letters(len(heads)))) for cell in row] for row in rows],
        "numeric": numeric,
        "whole": _height(rows, widths, size) <= _KEPT_WHOLE,
        "widths": widths,
        "size": size,
        "outer": whole + 2 * FRAME,
    }


def _height(rows: Sequence[Sequence[str]], widths: Sequence[float], size: float) -> float:
    """How high rows are, roughly [mm]: as many lines as the longest cell of each needs."""
    line = size * _LINE_PER_POINT
    height = sum(_BETWEEN_ROWS + line * lines_of(row, widths, size) for row in rows[:_LONGEST_KEPT])
    return height + (_KEPT_WHOLE if len(rows) > _LONGEST_KEPT else 0.0)


def lines_of(row: Sequence[str], widths: Sequence[float], size: float) -> int:
    """How many lines a row of a table needs, roughly: those of its longest cell."""

    def lines(cell: str, width: float) -> int:
        room = max(1.0, width - _BESIDE)
        asked = (width_of(part, size) for part in cell.split("\n"))
        return sum(1 if one <= room + _EXACT else 1 + int(1.1 * one / room) for one in asked)

    return max((lines(cell, width) for cell, width in zip(row, widths, strict=True)), default=1)


def _letters(columns: int) -> int:
    """After how many letters a long word may break, so that a narrow column holds it."""
    return max(1, int((TEXT_WIDTH / max(1, columns) - _BESIDE) / _WIDEST_LETTER))


def figure(one: Figure) -> Block:
    """A figure, with the words that stand for it where it cannot be seen."""
    names = ", ".join(series.name for series in one.series)
    alt = f"{one.title}. {axis_title(one.y)} against {axis_title(one.x)}: {names}."
    return {"kind": "figure", "alt": alt, "chart": chart(one, *_size_of(one))}


def _size_of(one: Figure) -> tuple[float, float]:
    """Width and height as printed: two axes need room; a few points do not [mm]."""
    if one.equal_scales:
        return 96.0, 90.0
    if all(len(series.x) <= FEW_POINTS for series in one.series):
        return TEXT_WIDTH, 50.0
    return TEXT_WIDTH, 54.0 if one.y2 is None else 78.0


def marks() -> Mapping[str, Any]:
    """The shapes and words of all verdicts and states."""
    named = {**{verdict.value: mark for verdict, mark in VERDICT_MARKS.items()}, **STEP_MARKS}
    return {name: _mark(mark) for name, mark in named.items()}


def _mark(mark: Mark) -> Mapping[str, Any]:
    parts = [
        {"form": part.form, "points": [list(one) for one in part.points], "width": part.width, "cut": part.cut}
        for part in mark.parts
    ]
    return {"word": mark.word, "colour": mark.colour, "parts": parts}


def _that_fit(rows: Sequence[Sequence[str]]) -> Sequence[Sequence[str]]:
    """Rows whose cells fit on a page: a cell higher than a page cannot be set."""
    if all(len(cell) <= _LONGEST_CELL and cell.count("\n") <= _MOST_LINES for row in rows for cell in row):
        return rows
    return [
        [cell if len(cell) <= _LONGEST_CELL else f"{cell[: _LONGEST_CELL - 1]}…" for cell in row]
        for row in ([" ".join(cell.split()) for cell in row] for row in rows)
    ]


def _side_by_side(
    headings: Sequence[str], rows: Sequence[Sequence[str]], size: float, groups: int = _MOST_GROUPS
) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
    """The table as so many groups of columns as fit, an empty column between them."""
    columns = zip(headings, *rows, strict=True)
    wide = sum(_BESIDE + max(width_of(cell, size, bold=True) for cell in column) for column in columns)
    groups = max(1, min(groups, int((TEXT_WIDTH + _BESIDE) // (wide + _BESIDE))))
    if groups == 1:
        return headings, rows
    each = -(-len(rows) // groups)
    blank = ("",) * len(headings)
    parts = [[*rows[start : start + each]] for start in range(0, len(rows), each)]
    lines = [
        [cell for part in parts for cell in (*(part[line] if line < len(part) else blank), "")][:-1]
        for line in range(each)
    ]
    return [one for _ in parts for one in (*headings, "")][:-1], lines


def _is_numeric(rows: Sequence[Sequence[str]], column: int) -> bool:
    filled = [cell for cell in (row[column].strip() for row in rows) if cell]
    return bool(filled) and all(_NUMERIC.fullmatch(cell) for cell in filled)


def _widths(headings: Sequence[str], rows: Sequence[Sequence[str]], size: float, whole: float) -> list[float]:
    """Widths of columns that fill the whole [mm]: as their words ask, or shared out so that narrow ones keep theirs."""
    asked = [
        _BESIDE
        + max(width_of(line, size, bold=place == 0) for place, cell in enumerate(column) for line in cell.split("\n"))
        for column in zip(headings, *rows, strict=True)
    ]
    spare = whole - sum(asked)
    if spare < 0:
        return _shared_out(asked, whole)
    longest = max(asked, default=0.0)
    if longest > whole / 3:
        return [width + (spare if place == asked.index(longest) else 0.0) for place, width in enumerate(asked)]
    return [width + spare / len(asked) for width in asked]


def _shared_out(asked: Sequence[float], whole: float) -> list[float]:
    """Each as much as it asks, up to a share that is the same for all who ask for more."""
    left, waiting = whole, sorted(asked)
    while waiting and waiting[0] <= left / len(waiting):
        left -= waiting.pop(0)
    share = left / len(waiting) if waiting else 0.0
    return [min(width, share) if waiting else width for width in asked]
