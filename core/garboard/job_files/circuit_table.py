"""Circuits as a table that a spreadsheet opens: written, filled in, read back.

Comma, semicolon or tab between the cells; the first line names the columns as a job file names them [1]. An empty cell
says nothing, so a table of lengths alone is a table, too.

[1] RFC 4180: cells with quotes, commas or line ends stand in quotes.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, get_args, get_type_hints

import attrs

from garboard.faults import Fault, InputError, in_number, shown
from garboard.job_files.convert import structure, unstructure
from garboard.records import Circuit, JsonValue

NAME = "name"
COLUMNS = tuple(field.name for field in attrs.fields(Circuit) if field.name != "more")
LARGEST_TABLE = 1 << 20
"""Characters of a table that is read."""
_FORMULA = re.compile(r"'*[=+\-@]")
"""Begins what a spreadsheet runs, and what was kept from it: a name that begins with the apostrophe gets another."""
_YES_NO: Mapping[str, bool] = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
_TYPES = {name: {hint, *get_args(hint)} for name, hint in get_type_hints(Circuit).items()}


def circuits_as_csv(circuits: Iterable[Circuit]) -> str:
    """Circuits as a table with every column, yes and no in words.

    Text that a spreadsheet would run as a formula has an apostrophe in front, which reading takes off.
    """
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for circuit in circuits:
        plain = unstructure(circuit)
        table.writerow([_cell(plain.get(column)) for column in COLUMNS])
    return out.getvalue()


def circuits_in_csv(text: str, source: str = "circuits") -> dict[tuple[str, str], JsonValue]:
    """What a table says: a value for each circuit and column, by name and column.

    errors : InputError with every fault, each with its line and column
    """
    if len(text) > LARGEST_TABLE:
        raise InputError(source, [Fault("table", f"at most {LARGEST_TABLE} characters", f"{len(text)}")])
    lines, between = _between(text.removeprefix("\ufeff"))
    reader = csv.reader(io.StringIO(lines, newline=""), delimiter=between, strict=True)
    try:
        rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    except csv.Error as broken:
        raise InputError(source, [Fault("table", "a table of cells", f"{broken}", line=reader.line_num)]) from None
    filled = [(line, row) for line, row in rows if any(row)]
    if not filled:
        raise InputError(source, [Fault("table", f"a first line with {NAME} and other columns", "nothing")])
    (first, head), *body = filled
    last = max(place for place, column in enumerate(head) if column)
    columns = [column.casefold() for column in head[: last + 1]]  # a spreadsheet leaves empty ones behind
    faults = [*_faults_of_columns(columns, first)]
    found: dict[tuple[str, str], JsonValue] = {}
    named: dict[str, int] = {}
    for line, row in body if not faults else ():
        found |= _row(row, columns, line, named, faults)
    if faults:
        raise InputError(source, faults)
    return found


def _between(text: str) -> tuple[str, str]:
    """A table and what stands between its cells. Some spreadsheets say it themselves, on a line before all: "sep=;".

    That line is emptied and not taken away, so that the others keep their numbers.
    """
    head, end, rest = text.partition("\n")
    key, _, between = head.strip(" \r").strip('"').partition("=")
    if key.casefold() == "sep" and between in (",", ";", "\t"):
        return end + rest, between
    return text, max(",;\t", key=head.count)


def _cell(value: JsonValue) -> str:
    text = {True: "yes", False: "no"}[value] if isinstance(value, bool) else "" if value is None else str(value)
    return f"'{text}" if _FORMULA.match(text) else text


def _faults_of_columns(columns: list[str], line: int) -> Iterator[Fault]:
    if NAME not in columns:
        yield Fault("columns", f"a column {NAME!r}, the circuit's", shown(columns), line=line)
    for column in columns:
        if column not in COLUMNS:
            yield Fault("columns", f"one of {', '.join(COLUMNS)}", shown(column), line=line)
        elif columns.count(column) > 1:
            yield Fault("columns", "each column once", shown(column), line=line)


def _row(
    row: list[str], columns: list[str], line: int, named: dict[str, int], faults: list[Fault]
) -> Iterator[tuple[tuple[str, str], JsonValue]]:
    """What one row says; what is wrong with it is added to the faults."""
    cells = {column: cell for column, cell in zip(columns, row, strict=False) if cell}
    cells = {column: cell[1:] if cell[0] == "'" and _FORMULA.match(cell) else cell for column, cell in cells.items()}
    name = cells.get(NAME, "")
    if len(row) > len(columns) and any(row[len(columns) :]):
        faults.append(
            Fault("row", f"{in_number(len(columns), 'cell')}, as in the first line", f"{len(row)}", line=line)
        )
    elif not name:
        faults.append(Fault(NAME, "the circuit's name", "nothing", line=line))
    elif name in named:
        faults.append(Fault(NAME, "each circuit once", f"{name!r}, also on line {named[name]}", line=line))
    else:
        named[name] = line
        return _checked(cells, name, line, faults)
    return iter(())


def _checked(
    cells: dict[str, str], name: str, line: int, faults: list[Fault]
) -> Iterator[tuple[tuple[str, str], JsonValue]]:
    plain: dict[str, JsonValue] = {column: _value(column, cell) for column, cell in cells.items()}
    try:
        circuit = structure(plain, Circuit, "circuits")
    except InputError as refused:
        faults.extend(attrs.evolve(fault, line=line, about=name) for fault in refused.faults)
        return iter(())
    held: dict[str, Any] = unstructure(circuit)
    return (((name, column), held[column]) for column in cells if column in held)


def _value(column: str, cell: str) -> JsonValue:
    """A cell as a job file has it: yes and no, and whole numbers, are no text there."""
    if bool in _TYPES[column]:
        return _YES_NO.get(cell.casefold(), cell)
    if int in _TYPES[column] and cell.isascii() and cell.isdecimal() and len(cell) < 16:
        return int(cell)
    return cell
