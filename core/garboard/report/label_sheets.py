"""Labels of circuits as PDF: a sheet to cut, a strip of tape, the panel's schedule, and a sticker that names the boat.

Everything is drawn in millimetres, in lines and type, nothing as a picture: it is as large on paper as it says when it
is printed without scaling. No text is smaller than `LEAST_TYPE`.

Imports fpdf2 and segno at the top, so import this module only where labels are being made.

[1] ISO/IEC 18004, 6.3.8: a QR symbol has four clear modules on each side.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from io import BytesIO
from pathlib import Path

import segno
from fpdf import FPDF, FontFace
from fpdf.fonts import TTFFont

from garboard import hull_number
from garboard.labels import CircuitLabel
from garboard.records import Circuit, Vessel
from garboard.report.palette import DAY, rgb
from garboard.report.unit_signs import with_signs
from garboard.report.visible import in_print
from garboard.units import in_full

LEAST_TYPE, LARGEST_TYPE = 6.0, 14.0
"""Sizes of type on a label [pt]."""
PAPERS = {"letter": (215.9, 279.4), "A4": (210.0, 297.0)}
"""Width and height [mm]."""
TAPES = (9, 12, 18, 24)
"""Widths of tape [mm]."""
LABEL, SMALLEST_LABEL, LARGEST_LABEL = (60.0, 20.0), (20.0, 8.0), (190.0, 250.0)
"""Width and height of a label on a sheet, where nobody says otherwise, and its bounds [mm]."""
STICKER = (60.0, 30.0)
"""Width and height of the sticker [mm]."""
LEAST_MODULE = 0.33
"""Smallest module of a QR symbol that a phone's camera reads from a hand's breadth; common practice, no source [mm]."""
ENDS = ("source end", "load end")
"""Every circuit has a label at each."""

_EDGE, _PAPER_EDGE, _QUIET_MODULES = 1.0, 10.0, 4  # clear around a label and on paper [mm]; clear modules [1]
_ARROW = "→"
_LONGEST_CELL = 300
_LEADING = 1.34


def font_folder() -> Path:
    """Where the open fonts lie that travel with matplotlib: they have the arrow."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def line_height(size: float) -> float:
    """Distance from line to line [mm] for a type size [pt]."""
    return size * 25.4 / 72 * _LEADING


class _Sheet(FPDF):
    """Pages without margins, feet or breaks of their own."""

    def __init__(self, title: str) -> None:
        super().__init__(unit="mm")
        for style, file in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
            self.add_font("labels", style=style, fname=font_folder() / file)
        self.set_margin(0)
        self.c_margin = 0.0
        self.set_auto_page_break(False)
        self.set_title(in_print(title))
        self.set_lang("en")

    def normalize_text(self, text: str) -> str:
        """Called by fpdf2 with everything that is set in type."""
        return str(super().normalize_text(in_print(with_signs(" ".join(text.split("\n"))))))

    def wide(self, text: str, size: float, *, bold: bool = False) -> float:
        """How wide a text is [mm] in a size [pt]."""
        self.set_font("labels", style="B" if bold else "", size=size)
        return self.get_string_width(text)

    def line_of(self, text: str, x: float, y: float, size: float, *, bold: bool = False) -> None:
        """A line of text; `y` is the top of its line [mm]. Nothing where there is none, as a boat's without a name."""
        if not self.normalize_text(text).strip():
            return
        self.set_font("labels", style="B" if bold else "", size=size)
        self.set_text_color(*rgb(DAY.ink))
        self.set_xy(x, y)
        self.cell(text=text, h=line_height(size))

    def bytes(self) -> bytes:
        """The finished file."""
        out = BytesIO()
        self.output(out)
        return out.getvalue()


def label_sheet(
    title: str, labels: Sequence[CircuitLabel], paper: str = "A4", label: tuple[float, float] = LABEL
) -> bytes:
    """Sheets of labels to cut along the lines, two a circuit.

    paper : a key of PAPERS
    label : width and height [mm], from SMALLEST_LABEL to LARGEST_LABEL
    errors: ValueError for a label out of its bounds
    """
    sheet, (wide, high) = _Sheet(f"Labels of {title}"), label
    across, down = (int((side - 2 * _PAPER_EDGE + 1e-9) // of) for side, of in zip(PAPERS[paper], label, strict=True))
    if not all(low <= side <= most for low, side, most in zip(SMALLEST_LABEL, label, LARGEST_LABEL, strict=True)):
        raise ValueError(f"a label of {in_full(wide)} x {in_full(high)} mm does not fit on paper, or holds no text")
    ends = [*_both_ends(labels)]
    for first in range(0, len(ends), across * down):
        sheet.add_page(format=PAPERS[paper])
        note = f"{title}. Print without scaling, cut along the lines."
        sheet.line_of(_cut(sheet, note, LEAST_TYPE, PAPERS[paper][0] - 2 * _PAPER_EDGE), _PAPER_EDGE, 4, LEAST_TYPE)
        for place, (one, end) in enumerate(ends[first : first + across * down]):
            x, y = _PAPER_EDGE + place % across * wide, _PAPER_EDGE + place // across * high
            sheet.set_draw_color(*rgb(DAY.line))
            sheet.set_line_width(0.1)
            sheet.rect(x, y, wide, high)
            _set_label(sheet, one, end, (x, y), label)
    return sheet.bytes()


def label_tape(title: str, labels: Sequence[CircuitLabel], width: int = 12) -> bytes:
    """Labels for a printer of tape: one page each, as high as the tape is wide and as long as its text.

    width : one of TAPES [mm]
    """
    if width not in TAPES:
        raise ValueError(f"tape is one of {', '.join(map(str, TAPES))} mm wide, not {width}")
    sheet = _Sheet(f"Labels of {title}")
    for one, end in _both_ends(labels):
        lines = _lines(one, end, 2 if width < 18 else 3)
        size = min(LARGEST_TYPE, (width - 2 * _EDGE) / len(lines) / line_height(1.0))
        long = max(sheet.wide(text, size, bold=bold) for text, bold in lines)
        sheet.add_page(format=(long + 4 * _EDGE, width))
        top = (width - len(lines) * line_height(size)) / 2
        for number, (text, bold) in enumerate(lines):
            sheet.line_of(text, 2 * _EDGE, top + number * line_height(size), size, bold=bold)
    return sheet.bytes()


def panel_schedule(title: str, vessel: Vessel, labels: Sequence[CircuitLabel], paper: str = "A4") -> bytes:
    """The list that hangs beside the fuses: every circuit by its number."""
    sheet = _Sheet(f"Circuits of {title}")
    sheet.set_margin(15)
    sheet.set_auto_page_break(True, margin=15)
    sheet.add_page(format=PAPERS[paper])
    sheet.line_of(_cut(sheet, f"Circuits of {title}", 14, sheet.epw, bold=True), 15, 15, 14, bold=True)
    sheet.line_of(f"Hull number {hull_number.printed(vessel.hull_number)}", 15, 15 + line_height(14), 9)
    sheet.set_y(15 + line_height(14) + line_height(9) + 4)
    sheet.set_font("labels", size=9)
    of_circuit = {circuit.name: circuit for circuit in vessel.circuits}
    columns = ("No.", "Circuit", "Fuse or breaker", "Size", "From", "Run")
    with sheet.table(
        col_widths=(8, 44, 30, 20, 34, 16),
        headings_style=FontFace(emphasis="BOLD"),
        line_height=line_height(9) * 1.15,
        borders_layout="HORIZONTAL_LINES",
        text_align="LEFT",
        padding=0.8,
    ) as table:
        for row in (columns, *(_schedule_row(one, of_circuit[one.name]) for one in labels)):
            table.row([in_print(_shortened(cell)) for cell in row])
    return sheet.bytes()


def boat_sticker(vessel: Vessel, address: str = "") -> bytes:
    """A sticker with the hull number, and as a QR symbol what opens the boat.

    address : of the boat's page at the shop; without it the symbol holds the hull number alone
    errors  : ValueError for more than a symbol of this size holds
    """
    wide, high = STICKER
    number = hull_number.printed(vessel.hull_number)
    sheet = _Sheet(f"Hull number {number}")
    sheet.add_page(format=STICKER)
    symbol = segno.make(address or vessel.hull_number, error="m", micro=False)
    dots = [list(row) for row in symbol.matrix]
    each = (high - 2 * _EDGE) / (len(dots) + 2 * _QUIET_MODULES)
    if each < LEAST_MODULE:
        raise ValueError(f"the symbol's modules would be {each:.2f} mm, below {in_full(LEAST_MODULE)} mm")
    left = _EDGE + _QUIET_MODULES * each
    sheet.set_fill_color(*rgb("#000000"))
    for down, row in enumerate(dots):
        for start, length in _runs(row):
            sheet.rect(left + start * each, left + down * each, length * each, each, style="F")
    x, room = high + _EDGE, wide - high - 2 * _EDGE
    size = _size_that_fits(sheet, number, room, LARGEST_TYPE, bold=True)
    sheet.line_of(_cut(sheet, number, size, room, bold=True), x, 6, size, bold=True)
    sheet.line_of(_cut(sheet, vessel.name, 8, room), x, 6 + line_height(size) + 1, 8)
    return sheet.bytes()


def without_type(texts: Iterable[str]) -> str:
    """The characters that print as empty boxes, as no typeface here has them: each once, in their order."""
    font = _Sheet("").fonts["labels"]
    assert isinstance(font, TTFFont)
    known = font.cmap
    return "".join(one for one in dict.fromkeys("".join(map(in_print, texts))) if ord(one) not in known and one != "\n")


def _both_ends(labels: Sequence[CircuitLabel]) -> Iterator[tuple[CircuitLabel, str]]:
    return ((label, end) for label in labels for end in ENDS)


def _lines(label: CircuitLabel, end: str, most: int) -> list[tuple[str, bool]]:
    """What stands on a label, line by line, and whether in bold."""
    first = (f"{label.number}  {label.name}", True)
    what = "  ".join(part for part in (label.protection, label.size) if part)
    where = f"{end}: {label.fed_from or 'source'} {_ARROW} {label.name}"  # the end first: the rest may be cut
    if most < 3:
        return [first, (f"{what}  {where}" if what else where, False)]
    return [first, *([(what, False)] if what else []), (where, False)]


def _set_label(
    sheet: _Sheet, label: CircuitLabel, end: str, corner: tuple[float, float], size: tuple[float, float]
) -> None:
    """One label on a sheet, each line as large as its room allows."""
    (x, y), high, room = corner, size[1], _room(size)
    lines = _lines(label, end, _lines_on(size))
    tall = (high - 2 * _EDGE) / len(lines)
    top = y + _EDGE
    for text, bold in lines:
        largest = min(LARGEST_TYPE, tall / line_height(1.0))
        fitting = _size_that_fits(sheet, text, room, largest, bold=bold)
        sheet.line_of(
            _cut(sheet, text, fitting, room, bold=bold),
            x + _EDGE + 0.5,
            top + (tall - line_height(fitting)) / 2,
            fitting,
            bold=bold,
        )
        top += tall


def cut_on_sheet(labels: Iterable[CircuitLabel], label: tuple[float, float] = LABEL) -> tuple[CircuitLabel, ...]:
    """The labels of which something does not fit on a label of a size, and is cut.

    label : width and height [mm]
    """
    sheet, room = _Sheet(""), _room(label)
    cut = {
        one: any(
            sheet.wide(text, LEAST_TYPE, bold=bold) > room
            for end in ENDS
            for text, bold in _lines(one, end, _lines_on(label))
        )
        for one in labels
    }
    return tuple(one for one, is_cut in cut.items() if is_cut)


def _room(label: tuple[float, float]) -> float:
    """Width of the lines of a label [mm]."""
    return label[0] - 2 * _EDGE - 1


def _lines_on(label: tuple[float, float]) -> int:
    return 3 if label[1] >= 12 else 2


def _size_that_fits(sheet: _Sheet, text: str, room: float, largest: float, *, bold: bool) -> float:
    wide = sheet.wide(text, largest, bold=bold)
    return max(LEAST_TYPE, min(largest, largest * room / wide * 0.999 if wide > room else largest))


def _cut(sheet: _Sheet, text: str, size: float, room: float, *, bold: bool = False) -> str:
    """A text that is too long even in its smallest type ends in "…": its number stands first and is never cut."""
    if sheet.wide(text, size, bold=bold) <= room:
        return text
    while text and sheet.wide(f"{text}…", size, bold=bold) > room:
        text = text[:-1]
    return f"{text}…"


def _shortened(cell: str) -> str:
    """A cell that is higher than a page is no table's: its row cannot be drawn."""
    return cell if len(cell) <= _LONGEST_CELL else f"{cell[:_LONGEST_CELL]}…"


def _schedule_row(label: CircuitLabel, circuit: Circuit) -> tuple[str, ...]:
    run = str(circuit.length) if circuit.length else ""
    return str(label.number), label.name, label.protection, label.size, label.fed_from, run


def _runs(row: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Where dark modules stand in a row, and how many side by side."""
    start = None
    for place, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = place
        elif not dark and start is not None:
            yield start, place - start
            start = None
