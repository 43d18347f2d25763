"""Measurements as tables for the shop's own analysis: CSV for anything, a workbook for a spreadsheet.

[1] RFC 4180: CSV.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from decimal import Decimal
from io import BytesIO, StringIO
from itertools import chain

from garboard.disk.entries import Entry
from garboard.history.boat import Boat
from garboard.history.registers import RegisterKey
from garboard.hosting.host import PluginHost
from garboard.hosting.unused import why_not_used
from garboard.job_view import JobView
from garboard.report.spreadsheet import harmless
from garboard.report.visible import visible
from garboard.units import Amount
from garboard_shop.pages.summaries import register_in_words
from garboard_shop.pages.wording import value_in_words

HEADINGS = (
    "hull number",
    "vessel",
    "job",
    "kind of job",
    "opened",
    "where",
    "step",
    "field",
    "row",
    "of",
    "value",
    "number",
    "unit",
    "entered at",
    "by",
    "tablet",
    "instrument",
    "state",
)
"""`value` is as entered; where it is an amount, `number` and `unit` hold its parts. A value that disagrees with
another stands in a row of its own, marked so in `state`; so is one of equipment that the boat does not have. What
cannot be read has a row with its name and the reason alone."""

Cell = str | Decimal | None
Row = tuple[Cell, ...]


def row_not_whole(what: str, why: str) -> Row:
    """The row that says what the table lacks: a boat, or a file, and why."""
    return (what, *[None] * (len(HEADINGS) - 2), f"not here, or not whole: {why}")


def measurement_rows(boat: Boat, host: PluginHost, day: str = "") -> Iterator[Row]:
    """A row for every measurement that stands.

    day : only those entered on a day, "2026-05-14"
    """
    number, name = boat.state.hull_number, boat.vessel().name
    for job in boat.jobs:
        home, seen = boat.state_of(job), boat.view(job)
        record = seen.job
        about = (number, name, job, record.kind, record.opened)
        for key in sorted(home.registers):
            if key.kind == "measure" and key.job == job and len(key.subject) == 4:
                step, field, row, of = key.subject
                unused = why_not_used((step, field, row, of), seen.vessel, host)
                state = "disagrees" if home.disagrees(key) else "" if unused else "stands"
                state = "; ".join(filter(None, (state, unused)))
                for entry in home.current(key):
                    if entry.at.startswith(day):
                        yield (*about, *_measured(key, entry, host, seen), state)


def _measured(key: RegisterKey, entry: Entry, host: PluginHost, seen: JobView) -> Row:
    number, unit = _parts(entry)
    instrument = entry.more.get("instrument", "")
    return (
        register_in_words(key, host, seen),
        *key.subject,
        value_in_words(entry.value),
        number,
        unit,
        entry.at,
        entry.by,
        entry.tablet,
        instrument if isinstance(instrument, str) else "",
    )


def _parts(entry: Entry) -> tuple[Decimal | None, str]:
    try:
        amount = Amount.parse(entry.value) if isinstance(entry.value, str) else None
    except ValueError:
        return None, ""
    return (Decimal(amount.text), amount.unit) if amount else (None, "")


def as_csv(rows: Iterable[Row]) -> Iterator[str]:
    """Rows as CSV [1], a line at a time, headings first. Text a spreadsheet would run as a formula is quoted."""
    for row in chain([HEADINGS], rows):
        line = StringIO()
        csv.writer(line).writerow([harmless(cell) if isinstance(cell, str) else cell for cell in row])
        yield line.getvalue()


def as_workbook(rows: Iterable[Row]) -> bytes:
    """Rows as a workbook of one sheet: numbers as numbers, text as text whatever it begins with."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    book = Workbook(write_only=True)
    sheet = book.create_sheet("Measurements")
    sheet.freeze_panes = "A2"

    def cell_of(value: Cell, bold: bool = False) -> object:
        cell = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("", visible(value)) if isinstance(value, str) else value)
        if isinstance(value, str):
            cell.data_type = "s"
        if bold:
            cell.font = Font(bold=True)
        return cell

    sheet.append([cell_of(heading, bold=True) for heading in HEADINGS])
    for row in rows:
        sheet.append([cell_of(value) for value in row])
    out = BytesIO()
    book.save(out)
    return out.getvalue()
