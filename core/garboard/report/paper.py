"""The sheets of the handover book: type, marks, tables and figures in the house look. Knows nothing of jobs.

Imports fpdf2 at the top, so import this module only where a book is being made.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import cast

from fpdf import FPDF, FontFace, ViewerPreferences
from fpdf.enums import TableCellFillMode, XPos, YPos

from garboard.report.palette import DAY, Mark, rgb
from garboard.report.visible import in_print

MARGIN = 20.0
"""Clear on all sides [mm]."""

BODY, NOTE, SMALL, NUMBER, HEADING, SUBHEADING = 10.5, 8.5, 7.0, 24.0, 17.0, 12.0
"""Type sizes [pt]."""

MILLIMETRES_PER_POINT = 25.4 / 72
LEADING = 1.34
_FAMILY = "book"
_GAP = 3.0
_BESIDE, _ABOVE = {SMALL: 0.9}, {SMALL: 0.45}  # clear beside and above the words in a table's cell [mm]
_USUAL_BESIDE, _USUAL_ABOVE = 1.6, 0.65
_LONGEST_LINE = 400  # letters; no line on a page holds so many
_LONGEST_CELL = 400
_MOST_LINES = 12
_LONG_TABLE, _MOST_GROUPS = 16, 3  # rows from which a narrow table is set in groups side by side
_CARD_ROWS = 12
_BETWEEN_GROUPS, _BETWEEN_ITEMS = 3.0, 0.3  # columns side by side, items of a list in small type [mm]
_FRAME = 4.0  # from the frame of a card to its words [mm]
_NEW_PAGE_FROM = 0.82  # share of a page filled from which a chapter begins the next one
_NUMERIC = re.compile(r"[-+−]?\d[\d.,]*( ?± ?[\d.]+)?( ?[A-Za-z%°][A-Za-z0-9/]*)?")


Rows = tuple[str, Sequence[str], Sequence[Sequence[str]]]
"""Title, headings and rows of a table."""


def line_height(size: float) -> float:
    """Distance from line to line [mm] for a type size [pt]."""
    return size * MILLIMETRES_PER_POINT * LEADING


def _beside(size: float) -> float:
    return _BESIDE.get(size, _USUAL_BESIDE)


def _above(size: float) -> float:
    return _ABOVE.get(size, _USUAL_ABOVE)


class Paper(FPDF):
    """A document with a running foot: hull number, title, page number. The first page has none."""

    def __init__(self, *, title: str, hull_number: str, author: str, created: datetime | None, form: str) -> None:
        super().__init__(format=form)
        fonts = font_folder()
        self.add_font(_FAMILY, fname=fonts / "DejaVuSans.ttf")
        self.add_font(_FAMILY, style="B", fname=fonts / "DejaVuSans-Bold.ttf")
        title, hull_number, author = (in_print(" ".join(one.split())) for one in (title, hull_number, author))
        self.hull_number, self.running_title = hull_number, title
        self.set_margins(MARGIN, MARGIN, MARGIN)
        self.set_auto_page_break(True, margin=MARGIN + 4)
        self.set_title(title)
        self.set_subject(f"Hull number {hull_number}")
        self.set_author(author)
        self.set_lang("en")
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)
        if created is not None:
            self.set_creation_date(created)
        self.set_line_width(0.2)
        self.type(BODY)

    def normalize_text(self, text: str) -> str:
        """Called by fpdf2 with everything that is set in type."""
        return str(super().normalize_text(in_print(text)))

    def footer(self) -> None:
        """Called by fpdf2 at the end of each page."""
        if self.page_no() == 1:
            return
        self.set_y(-MARGIN - 2)
        self.rule()
        self.type(NOTE, colour=DAY.quiet)
        third = self.epw / 3
        height = line_height(NOTE)
        self.cell(third, height, f"Hull number {self.hull_number}")
        self.cell(third, height, self._shortened(self.running_title, third), align="C")
        self.cell(third, height, f"{self.page_no()}", align="R")

    def type(self, size: float = BODY, *, bold: bool = False, colour: str = DAY.ink) -> None:
        """Choose the type for what follows."""
        self.set_font(_FAMILY, style="B" if bold else "", size=size)
        self.set_text_color(*rgb(colour))

    def rule(self, colour: str = DAY.line) -> None:
        """A thin line across the page."""
        self.set_draw_color(*rgb(colour))
        self.set_line_width(0.2)
        self.line(self.l_margin, self.y, self.w - self.r_margin, self.y)
        self.y += 1.0

    def room(self, height: float) -> None:
        """Begin a new page unless so much is left on this one [mm]."""
        if self.will_page_break(min(height, self.eph)) and self.y > self.t_margin + 1:
            self.add_page()

    def chapter(self, title: str, *, keep: float = 40.0) -> None:
        """A chapter's heading, listed in the contents. It begins a new page when this one is well filled.

        keep : what must stand under it on the same page [mm]
        """
        filled = self.y > self.t_margin + self.eph * _NEW_PAGE_FROM
        self.room(self.eph if filled else line_height(HEADING) + 8 + keep)
        if self.y > self.t_margin + 1:
            self.y += 9
        self.start_section(title, level=0)
        self.words(title, HEADING, bold=True)
        self.y += 1
        self.rule(DAY.ink)
        self.y += _GAP

    def subheading(self, title: str, *, keep: float = 20.0, listed: bool = False) -> None:
        """A heading within a chapter; see `chapter`."""
        self.y += 2
        self.room(line_height(SUBHEADING) + 2 + keep)
        if listed:
            self.start_section(title, level=1)
        self.words(title, SUBHEADING, bold=True)
        self.y += 1.5

    def words(
        self, text: str, size: float = BODY, *, bold: bool = False, colour: str = DAY.ink, x: float | None = None
    ) -> None:
        """A paragraph from x to the right margin; the next thing begins below it."""
        self.type(size, bold=bold, colour=colour)
        self.x = self.l_margin if x is None else x
        left = self.x
        self.multi_cell(
            self.w - self.r_margin - left, line_height(size), text, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT
        )

    def height_of(self, text: str, size: float = BODY, *, bold: bool = False, x: float | None = None) -> float:
        """Height `words` would take [mm]."""
        self.type(size, bold=bold)
        width = self.w - self.r_margin - (self.l_margin if x is None else x)
        lines = self.multi_cell(width, line_height(size), text, align="L", dry_run=True, output="LINES")
        return len(cast("list[str]", lines)) * line_height(size)

    def hanging(self, label: str, text: str, indent: float = 9.0, size: float = BODY, gap: float = 1.2) -> None:
        """A paragraph with a label hanging to its left, kept on one page; a gap below [mm]."""
        self.room(self.height_of(text, size, x=self.l_margin + indent))
        top = self.y
        self.type(size, bold=True)
        self.set_xy(self.l_margin, top)
        self.cell(indent, line_height(size), label)
        self.set_y(top)
        self.words(text, size, x=self.l_margin + indent)
        self.y += gap

    def hanging_in_columns(self, items: Sequence[tuple[str, str]], indent: float = 7.0, size: float = SMALL) -> None:
        """Paragraphs with labels in two columns, as many pages as they need; the last columns end level.

        items : label and text of each
        """
        left, right = self.l_margin, self.r_margin
        column = (self.epw - 2 * _BETWEEN_GROUPS) / 2
        waiting = list(items)
        while waiting:
            self.room(20)
            top, bottom = self.y, self.h - self.b_margin
            lowest = top
            for start in (left, left + column + 2 * _BETWEEN_GROUPS):
                self.set_left_margin(start)
                self.set_right_margin(self.w - start - column)
                self.y = top
                heights = [self.height_of(text, size, x=start + indent) + _BETWEEN_ITEMS for _, text in waiting]
                level = top + sum(heights) / 2 if start == left else bottom
                while waiting and self.y + heights[0] <= bottom and self.y < level:
                    heights.pop(0)
                    self.hanging(*waiting.pop(0), indent, size, gap=_BETWEEN_ITEMS)
                lowest = max(lowest, self.y)
            self.set_left_margin(left)
            self.set_right_margin(right)
            self.y = lowest
            if waiting:
                self.add_page()

    def mark(self, mark: Mark, x: float, y: float, side: float) -> None:
        """Draw a mark in a square with its upper left at x, y [mm]."""
        colour = rgb(getattr(DAY, mark.colour))
        for part in mark.parts:
            ink = rgb(DAY.panel) if part.cut else colour
            self.set_draw_color(*ink)
            self.set_fill_color(*ink)
            self.set_line_width(part.width * side)
            corners = [(x + px * side, y + py * side) for px, py in part.points]
            if part.form == "disc":
                self.circle(x + side / 2, y + side / 2, side / 2, style="F")
            elif part.form == "ring":
                self.circle(x + side / 2, y + side / 2, side * (1 - part.width) / 2, style="D")
            elif part.form == "area":
                self.polygon(corners, style="F")
            else:
                self.polyline(corners)
        self.set_line_width(0.2)

    def marked(self, mark: Mark, x: float, size: float = BODY) -> None:
        """A mark with its word at x on the current line; the line does not end."""
        side = size * MILLIMETRES_PER_POINT
        self.mark(mark, x, self.y + (line_height(size) - side) / 2, side)
        self.type(size, bold=True, colour=getattr(DAY, mark.colour))
        self.set_x(x + side + 0.6)
        self.cell(None, line_height(size), mark.word)

    def big_number(self, number: str, name: str) -> None:
        """The one number of a page, its name under it."""
        self.room(line_height(NUMBER) + line_height(NOTE) + 20)
        self.words(number, NUMBER, bold=True, colour=DAY.action)
        self.words(name, NOTE, colour=DAY.quiet)
        self.y += _GAP

    def rows(self, title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], size: float = NOTE) -> None:
        """A table. Headings repeat on every page; cells wrap; columns of numbers are set flush right.

        A long and narrow one is set in groups side by side.
        """
        rows = _that_fit(rows)
        if len(rows) >= _LONG_TABLE:
            headings, rows = self._side_by_side(headings, rows, size, _MOST_GROUPS)
        numeric = _numeric_columns(rows, len(headings))
        widths = self._column_widths(headings, rows, numeric, size)
        whole = self._height_of_table(title, headings, rows, size)
        self.room(whole if whole < self.eph * 2 / 3 else line_height(BODY) + 4 * line_height(size) + 6)
        if title:
            self.words(title, BODY if size == NOTE else size, bold=True)
            self.y += 0.5
        self._draw_table(headings, rows, numeric, widths, size)
        self.y += _GAP

    def rows_side_by_side(self, tables: Sequence[Rows], size: float = NOTE) -> None:
        """Tables in their order, two beside each other where they fit."""
        left = self.l_margin
        waiting = [(title, headings, _that_fit(rows)) for title, headings, rows in tables]
        while waiting:
            first = waiting.pop(0)
            beyond = self._width_of(first, size) + 2 * _BETWEEN_GROUPS
            if not waiting or beyond + self._width_of(waiting[0], size) > self.epw:
                self.rows(*first, size)
                continue
            second = waiting.pop(0)
            self.room(max(self._height_of_table(*table, size) for table in (first, second)))
            top = self.y
            self.rows(*first, size)
            below, self.y = self.y, top
            self.set_left_margin(left + beyond)
            self.rows(*second, size)
            self.set_left_margin(left)
            self.y = max(below, self.y)

    def _width_of(self, table: Rows, size: float) -> float:
        """Width of a table with its title; of a long one the whole page."""
        title, headings, rows = table
        if len(rows) >= _LONG_TABLE:
            return self.epw
        widths = self._column_widths(headings, rows, _numeric_columns(rows, len(headings)), size)
        self.type(BODY if size == NOTE else size, bold=True)
        return max(self.get_string_width(title) + 2, sum(widths))

    def card(self, title: str, note: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """A table in a frame, in groups side by side, to be cut out and kept.

        note : a line under the title
        """
        rows = _that_fit(rows)
        headings, rows = self._side_by_side(headings, rows, NOTE, -(-len(rows) // _CARD_ROWS))
        numeric = _numeric_columns(rows, len(headings))
        left, right = self.l_margin, self.r_margin
        height = self._height_of_table(title, headings, rows, NOTE)
        self.room(height + line_height(SUBHEADING) + 2 * line_height(NOTE) + 2 * _FRAME)
        top = self.y
        self.set_left_margin(left + _FRAME)
        self.set_right_margin(right + _FRAME)
        self.y += _FRAME
        self.words(title, SUBHEADING, bold=True)
        self.words(note, NOTE, colour=DAY.quiet)
        self.y += 1
        self._draw_table(headings, rows, numeric, self._column_widths(headings, rows, numeric, NOTE), NOTE)
        self.y += _FRAME
        self.set_left_margin(left)
        self.set_right_margin(right)
        self.set_draw_color(*rgb(DAY.ink))
        self.set_line_width(0.3)
        with self.local_context(dash_pattern={"dash": 2, "gap": 1.5, "phase": 0}):
            self.rect(left, top, self.epw, self.y - top)
        self.set_line_width(0.2)
        self.y += _GAP

    def _side_by_side(
        self, headings: Sequence[str], rows: Sequence[Sequence[str]], size: float, groups: int
    ) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
        """The table as so many groups of columns as fit, an empty column between them."""
        numeric = _numeric_columns(rows, len(headings))
        least = self._least_widths(headings, rows, numeric, size)
        fitting = int((self.epw + _BETWEEN_GROUPS) // (sum(least) + _BETWEEN_GROUPS))
        groups = max(1, min(groups, fitting))
        if groups == 1:
            return headings, rows
        each = -(-len(rows) // groups)
        blank = ("",) * len(headings)
        columns = [[*rows[start : start + each]] for start in range(0, len(rows), each)]
        wide = [
            [cell for group in columns for cell in (*(group[line] if line < len(group) else blank), "")][:-1]
            for line in range(each)
        ]
        return [heading for _ in columns for heading in (*headings, "")][:-1], wide

    def _draw_table(
        self,
        headings: Sequence[str],
        rows: Sequence[Sequence[str]],
        numeric: Sequence[bool],
        widths: Sequence[float],
        size: float,
    ) -> None:
        self.type(size)
        self.set_draw_color(*rgb(DAY.line))
        self.set_fill_color(*rgb(DAY.panel))
        self.set_x(self.l_margin)
        with self.table(
            width=min(sum(widths), self.epw),  # the sum may be wider by the last bit
            col_widths=tuple(widths),
            align="LEFT",
            text_align=tuple("RIGHT" if right else "LEFT" for right in numeric),
            borders_layout="HORIZONTAL_LINES",
            cell_fill_mode=TableCellFillMode.NONE,
            headings_style=FontFace(emphasis="BOLD", color=rgb(DAY.ink)),
            line_height=line_height(size),
            padding=(_above(size), _beside(size)),
            v_align="TOP",
        ) as table:
            for cells in (headings, *rows):
                row = table.row()
                for cell in cells:
                    row.cell(cell)

    def picture(self, png: bytes, width: float, height: float, words: str) -> None:
        """A picture of a size [mm], described in words for those who cannot see it."""
        self.room(height + 2)
        self.image(BytesIO(png), x=self.l_margin, y=self.y, w=width, h=height, alt_text=words, title=words)
        self.y += height + _GAP

    def photo(self, jpeg: bytes, left: float, top: float, width: float, height: float, words: str) -> None:
        """A photo in its place [mm], described in words for those who cannot see it; a thin line ends it on paper."""
        self.image(BytesIO(jpeg), x=left, y=top, w=width, h=height, alt_text=words, title=words)
        self.set_draw_color(*rgb(DAY.line))
        self.set_line_width(0.2)
        self.rect(left, top, width, height)

    def _column_widths(
        self, headings: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[bool], size: float
    ) -> list[float]:
        """Widths at which nothing wraps, in small type headings only; where that is too wide, words wrap."""
        columns = list(zip(headings, *rows, strict=True))
        whole = [
            self._widest(_in_two_lines(column[0]) if size == SMALL else [column[0]], column[1:], size)
            for column in columns
        ]
        if sum(whole) <= self.epw:
            return whole
        least = self._least_widths(headings, rows, numeric, size)
        if sum(least) >= self.epw:
            return self._shared_out(least)
        share = (self.epw - sum(least)) / (sum(whole) - sum(least))
        return [small + (full - small) * share for small, full in zip(least, whole, strict=True)]

    def _shared_out(self, wanted: Sequence[float]) -> list[float]:
        """Widths where not even the longest words fit: a column with a long one leaves the others theirs."""
        fair = self.epw / len(wanted)
        given = [min(width, fair) for width in wanted]
        beyond = sum(wanted) - sum(given)
        share = (self.epw - sum(given)) / beyond if beyond else 0.0
        return [width + (want - width) * share for width, want in zip(given, wanted, strict=True)]

    def _height_of_table(
        self, title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], size: float
    ) -> float:
        """Height with its title, cells wrapped as they will be [mm]."""
        widths = self._column_widths(headings, rows, _numeric_columns(rows, len(headings)), size)
        lines = 0
        for number, cells in enumerate((headings, *rows)):
            self.type(size, bold=number == 0)
            lines += max(
                (self._lines_in(cell, width, size) for cell, width in zip(cells, widths, strict=True)), default=1
            )
        return (
            (line_height(BODY) if title else 0.0) + lines * line_height(size) + (len(rows) + 1) * 2 * _above(size) + 1
        )

    def _lines_in(self, text: str, width: float, size: float) -> int:
        """How many lines a cell takes, in the type at hand."""
        if not text:
            return 1
        inside = width - 2 * _beside(size) + 2 * self.c_margin
        return len(cast("list[str]", self.multi_cell(inside, size, text, align="L", dry_run=True, output="LINES")))

    def _least_widths(
        self, headings: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[bool], size: float
    ) -> list[float]:
        """Widths at which no word and no number is broken."""
        columns = list(zip(headings, *rows, strict=True))
        return [
            self._widest(column[0].split(), column[1:] if right else " ".join(column[1:]).split(), size)
            for column, right in zip(columns, numeric, strict=True)
        ]

    def _widest(self, heading: Sequence[str], cells: Sequence[str], size: float) -> float:
        """Width of a column none of whose texts wraps."""
        self.type(size, bold=True)
        widest = max((self.get_string_width(text) for text in heading), default=0.0)
        self.type(size)
        return max([widest, *(self.get_string_width(text) for text in cells)]) + 2 * _beside(size) + 0.3

    def _shortened(self, text: str, width: float) -> str:
        if len(text) <= _LONGEST_LINE and self.get_string_width(text) <= width - 2:
            return text
        longer = range(1, min(len(text), _LONGEST_LINE) + 1)
        fitting = bisect_right(longer, width - 2, key=lambda letters: self.get_string_width(text[:letters] + "…"))
        return text[:fitting] + "…"


def _that_fit(rows: Sequence[Sequence[str]]) -> Sequence[Sequence[str]]:
    """Rows whose cells fit on a page: a cell higher than a page cannot be drawn."""
    if all(len(cell) <= _LONGEST_CELL and cell.count("\n") <= _MOST_LINES for row in rows for cell in row):
        return rows
    return [
        [cell if len(cell) <= _LONGEST_CELL else f"{cell[: _LONGEST_CELL - 1]}…" for cell in row]
        for row in ([" ".join(cell.split()) for cell in row] for row in rows)
    ]


def font_folder() -> Path:
    """Where the open fonts lie that travel with matplotlib: Latin, Greek, Cyrillic, ° and ±."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def _in_two_lines(heading: str) -> tuple[str, str]:
    """A heading broken where the longer line is shortest."""
    words = heading.split()
    ways = [(" ".join(words[:cut]), " ".join(words[cut:])) for cut in range(len(words) + 1)]
    return min(ways, key=lambda way: max(map(len, way)))


def _numeric_columns(rows: Sequence[Sequence[str]], columns: int) -> list[bool]:
    return [_is_numeric(rows, column) for column in range(columns)]


def _is_numeric(rows: Sequence[Sequence[str]], column: int) -> bool:
    cells = [row[column].strip() for row in rows]
    filled = [cell for cell in cells if cell]
    return bool(filled) and all(_NUMERIC.fullmatch(cell) for cell in filled)
