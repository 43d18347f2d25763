"""Tables written out: one zip with Parquet, CSV and a workbook, or one DuckDB file.

Rows go to one file of JSON lines a table as they come, so that a shop of any size fits in memory; DuckDB, which knows
all the column types and writes Parquet, makes the rest of it.

[1] RFC 4180: CSV.
"""

from __future__ import annotations

import csv
import json
import math
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, date, datetime
from importlib.util import find_spec
from io import TextIOWrapper
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from garboard.disk.scratch import ScratchFolder
from garboard.faults import Fault, InputError, in_words
from garboard.report.data_tables import LEFT_OUT, SAMPLES, TABLES, Cell, Column, DataTable, Kind, Row
from garboard.report.spreadsheet import harmless
from garboard.report.visible import visible

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection
    from openpyxl.workbook import Workbook

ZIP, DATABASE = ".zip", ".duckdb"
ENDINGS = (ZIP, DATABASE)
MOST_SHEET_ROWS = 1_048_575
"""Rows of a sheet under its headings: a workbook holds 1 048 576 with them (ECMA-376 leaves it to the program)."""
_WIDEST, _ROWS_MEASURED = 60, 200
_PIECE = 1 << 20


Rows = Iterable[tuple[DataTable, Row]]


def write_tables(rows: Rows, out: Path, write: Callable[[Path, Iterable[bytes]], None]) -> None:
    """Write all rows to one file, a zip or a DuckDB file by its ending. It is as before or whole.

    write : puts the bytes in their place, and raises where that cannot be done
    Raises InputError for another ending.
    """
    make = {ZIP: _make_zip, DATABASE: _make_database}.get(out.suffix.lower())
    if make is None:
        raise InputError(str(out), [Fault("--out", "a file that ends with .zip or .duckdb", out.name)])
    if find_spec("duckdb") is None or find_spec("openpyxl") is None:
        expected = "the office part: pip install 'garboard[office]'"
        raise InputError("tables", [Fault("packages", expected, "duckdb or openpyxl is not installed")])
    _refuse_what_is_open(out)
    with ScratchFolder("tables") as folder:
        made = Path(folder) / f"made{out.suffix.lower()}"
        with _room_in(folder):
            make(_as_lines(rows, Path(folder)), made)
        write(out, _pieces(made))


def _refuse_what_is_open(out: Path) -> None:
    """Raise InputError where changes to an older DuckDB file lie beside it: nobody could open a new one with them."""
    for path in (out, out.resolve()):
        log = path.with_name(f"{path.name}.wal")
        if path.suffix.lower() == DATABASE and log.exists():
            got = f"{log.name} beside it: a program has the older file open, or ended without closing it"
            cure = "close it there, open it once more if nothing has it open, or name another file"
            raise InputError(str(out), [Fault("--out", "a DuckDB file that nothing has open", got, cure=cure)])


@contextmanager
def _room_in(folder: str) -> Iterator[None]:
    """Raise InputError where the tables cannot be made for want of room, or of anything else."""
    import duckdb

    try:
        yield
    except (OSError, duckdb.Error) as failure:
        fault = Fault("folder", "room for the tables while they are made", in_words(failure))
        raise InputError(folder, [fault]) from None


def _pieces(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            yield piece


Lines = dict[DataTable, Path]


def _as_lines(rows: Rows, folder: Path) -> Lines:
    """The rows as JSON, a line each, a file for each table."""
    lines = {table: folder / f"{table.name}.jsonl" for table in TABLES}
    with ExitStack() as open_:
        files = {table: open_.enter_context(path.open("w", encoding="ascii")) for table, path in lines.items()}
        for table, row in rows:
            plain = {column.name: _plain(cell) for column, cell in zip(table.columns, row, strict=True)}
            files[table].write(json.dumps(plain) + "\n")
    return lines


def _plain(cell: Cell) -> Cell:
    """A cell as JSON holds it. A number that is none is empty; a NUL and half a character get a mark."""
    if isinstance(cell, float):
        return cell if math.isfinite(cell) else None
    if isinstance(cell, datetime):
        return cell.astimezone(UTC).isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    return cell.replace("\0", "\u2400").encode(errors="replace").decode() if isinstance(cell, str) else cell


# --- a database


@contextmanager
def _database(lines: Lines, path: Path | str) -> Iterator[DuckDBPyConnection]:
    import duckdb

    with duckdb.connect(str(path)) as base:
        base.execute("SET TimeZone = 'UTC'")
        folder = next(iter(lines.values())).parent  # else what finds no room in memory goes to where the program runs
        base.execute(f"SET temp_directory = {_quoted(str(folder / 'no-room-in-memory'))}")
        for table, file in lines.items():
            typed = ", ".join(f"{_named(one)} {one.kind.value}" for one in table.columns)
            base.execute(f"CREATE TABLE {table.name} ({typed})")
            columns = ", ".join(f"'{one.name}': '{one.kind.value}'" for one in table.columns)
            if file.stat().st_size:
                base.execute(
                    f"INSERT INTO {table.name} SELECT * FROM "
                    f"read_json(?, format = 'newline_delimited', columns = {{{columns}}})",
                    [str(file)],
                )
        yield base


def _named(column: Column) -> str:
    return f'"{column.name}"'


def _make_database(lines: Lines, out: Path) -> None:
    with _database(lines, out) as base:
        for table in TABLES:
            base.execute(f"COMMENT ON TABLE {table.name} IS {_quoted(table.meaning)}")
            for column in table.columns:
                meaning = f"{column.meaning} [{column.unit}]" if column.unit else column.meaning
                base.execute(f"COMMENT ON COLUMN {table.name}.{_named(column)} IS {_quoted(meaning)}")
        base.execute("CHECKPOINT")


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


# --- a zip


def _make_zip(lines: Lines, out: Path) -> None:
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as whole, TemporaryDirectory(dir=out.parent) as folder:
        with _database(lines, ":memory:") as base:
            for table in TABLES:
                parquet = Path(folder) / f"{table.name}.parquet"
                base.execute(f"COPY {table.name} TO {_quoted(str(parquet))} (FORMAT parquet)")
                whole.write(parquet, f"parquet/{parquet.name}", zipfile.ZIP_STORED)  # packed already
        for table, file in lines.items():
            with whole.open(f"csv/{table.name}.csv", "w", force_zip64=True) as raw:
                _write_csv(table, file, TextIOWrapper(raw, encoding="utf-8", newline=""))
        with whole.open("tables.xlsx", "w") as raw:
            _workbook(lines).save(raw)


def _write_csv(table: DataTable, file: Path, out: TextIOWrapper) -> None:
    """A table as CSV [1]. Text a spreadsheet would run as a formula is quoted."""
    writer = csv.writer(out)
    writer.writerow(column.name for column in table.columns)
    for row in _rows_in(file):
        writer.writerow([harmless(cell) if isinstance(cell, str) else _yes_no(cell) for cell in row.values()])
    out.flush()
    out.detach()  # the member of the zip is closed by who opened it


def _yes_no(cell: object) -> object:
    return {True: "true", False: "false"}[cell] if isinstance(cell, bool) else cell


def _rows_in(file: Path) -> Iterator[dict[str, Any]]:
    with file.open(encoding="ascii") as lines:
        for line in lines:
            yield json.loads(line)


# --- a workbook


def _workbook(lines: Lines) -> Workbook:
    """A sheet for each table but that of the samples, which are too many: dates as dates, filters, widths."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    cut = [(SAMPLES.name, "not in the workbook, where a sheet is too short for them; see parquet and csv")]
    for table in TABLES:
        if table is not SAMPLES:
            rows = [*cut_rows(cut)] if table is LEFT_OUT else []
            if _sheet(book, table, lines[table], rows):
                cut.append((table.name, f"only {MOST_SHEET_ROWS} rows of it are in the workbook; see parquet and csv"))
    return book


def cut_rows(cut: Iterable[tuple[str, str]]) -> Iterator[dict[str, Any]]:
    """What the workbook lacks, as rows of the table that says so."""
    yield from ({"what": what, "why": why} for what, why in cut)


def _sheet(book: Workbook, table: DataTable, file: Path, first: list[dict[str, Any]]) -> bool:
    """Add a sheet; whether it holds fewer rows than there are."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(table.name)
    sheet.freeze_panes = "A2"
    measured = [*first, *islice(_rows_in(file), _ROWS_MEASURED)]
    for place, column in enumerate(table.columns, 1):
        longest = max((len(str(row[column.name])) for row in measured if row[column.name] is not None), default=0)
        sheet.column_dimensions[get_column_letter(place)].width = 2 + min(_WIDEST, max(longest, len(column.name) + 2))
    heads = [WriteOnlyCell(sheet, column.name) for column in table.columns]
    for head in heads:
        head.font = Font(bold=True)
    sheet.append(heads)
    count = 0
    for row in (*first, *_rows_in(file)) if first else _rows_in(file):
        if count == MOST_SHEET_ROWS:
            return True
        count += 1
        sheet.append([_sheet_cell(sheet, column, row[column.name]) for column in table.columns])
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(table.columns))}{count + 1}"
    return False


def _sheet_cell(sheet: Any, column: Column, value: Any) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    if value is None:
        return None
    if column.kind is Kind.MOMENT:  # a workbook knows no time zones: the heading says UTC
        return datetime.fromisoformat(value).replace(tzinfo=None)
    if column.kind is Kind.DAY:
        return date.fromisoformat(value)
    if column.kind is Kind.TEXT:
        cell = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("", visible(value))[:_LONGEST_CELL])
        cell.data_type = "s"  # text, whatever it begins with
        return cell
    return value


_LONGEST_CELL = 32_767
