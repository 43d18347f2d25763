"""Series typed by hand or exported, as comma-separated values.

The first row names the columns, the first of them `time`:

    time, heading magnetic@compass [deg], engine_speed#0@port engine [rev/min], speed_over_ground [mph]

A name is `quantity [unit]`, in full `quantity reference#instance@source [unit]`:

quantity  : one the program knows (heading, engine_speed, fuel_flow, ...)
reference : `true` or `magnetic`, for heading and course_over_ground; left out when not known
instance  : which of several, such as the engine
source    : who measured it; the same quantity may stand in several columns of different source
unit      : any unit of that quantity the program knows; values are converted

Times are dates with times (ISO 8601, UTC unless they say otherwise) or seconds, the same all through the file.
An empty cell is no value, and one outside `HARD_RANGE` is damaged. Columns may be separated by commas, semicolons or
tabs; between semicolons or tabs a number may have a decimal comma, which is remarked on. Lines that begin with # are
comments.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Iterator, Sequence

import attrs

from garboard.faults import Fault, GarboardError, InputError
from garboard.record_types import frozen
from garboard.recordings.clocks import DATED_FROM
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.times import finite, parse_time
from garboard.samples import HARD_RANGE, UNIT_OF_QUANTITY, Sample, StreamKey
from garboard.units import in_full

DIRECTIONS = ("heading", "course_over_ground", "course_to_steer")
EXAMPLE_HEADER = "time,heading magnetic@compass [deg],engine_speed#0 [rev/min]"

_NAME = re.compile(
    r"(?P<quantity>[a-z_]+)(?:\s+(?P<reference>[a-z]+))?"
    r"(?:#(?P<instance>[^@#\[\]]*))?(?:@(?P<source>.*))?\s*\[(?P<unit>[^\[\]]*)\]"  # a server may call one @a#b[c]
)

_DECIMAL_COMMA = re.compile(r"[0-9]+,[0-9]+")


@frozen
class Column:
    """What one column holds, and how its numbers become values in the unit of its quantity."""

    name: str
    key: StreamKey
    scale: float
    offset: float


def read(lines: Iterable[str], notes: ReadingNotes, source: str) -> Iterator[Sequence[Sample]]:
    """The samples of each row. Raises InputError with every fault of the header.

    lines  : without their ends
    notes  : filled on the way
    source : name of the file, for messages

    >>> [row] = read(["time,rate_of_turn@gyro [deg/min]", "0,90"], ReadingNotes(), "turn.csv")
    >>> row
    [Sample(time=0.0, quantity='rate_of_turn', value=1.5, source='gyro', instance='', reference='')]
    """
    reader = CsvReader(notes, source)
    yield from filter(None, (reader.take([line]) for line in lines))


@attrs.define
class CsvReader:
    """Reads the lines of a series.

    notes  : what was met so far
    source : name of the file, for messages
    """

    notes: ReadingNotes
    source: str
    _columns: list[Column] = attrs.field(factory=list)
    _separator: str = ","
    _read_time: Callable[[str], float] | None = None

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]:
        """The samples of some more lines. Raises InputError with every fault of the header."""
        samples = list[Sample]()
        for line in lines:
            self.notes.lines += 1
            if not line or line.isspace() or line[0] == "#":
                continue
            if self._columns:
                samples += self._row(line)
            else:
                self._separator = max(",;\t", key=line.count)
                self._columns = _columns(_names(line, self._separator, self.source), self.source)
        self.notes.samples += len(samples)
        return samples

    def close(self) -> list[Sample]:
        """At the end, once."""
        return []

    def _row(self, line: str) -> Sequence[Sample]:
        notes, columns = self.notes, self._columns
        try:
            cells = _cells(line, self._separator, notes)
        except csv.Error as fault:
            notes.damage(notes.lines, f"expected values between separators: {fault}")
            return ()
        if len(cells) != len(columns) + 1:
            notes.damage(notes.lines, f"expected {len(columns) + 1} cells, got {len(cells)}")
            return ()
        self._read_time = self._read_time or _time_reader(cells[0], notes)
        try:
            time = self._read_time(cells[0])
        except ValueError as fault:
            notes.damage(notes.lines, f"time: {fault}")
            return ()
        return list(_row_samples(time, columns, cells[1:], notes))


def _names(line: str, separator: str, source: str) -> list[str]:
    try:
        return [name.strip() for name in next(csv.reader([_printable(line)], delimiter=separator))]
    except csv.Error as fault:
        expected = "names of columns between separators, such as time,rate_of_turn [deg/s]"
        raise InputError(source, [Fault("header", expected, str(fault))]) from None


def _cells(line: str, separator: str, notes: ReadingNotes) -> list[str]:
    if separator != "," and "," in line:
        for number in _DECIMAL_COMMA.findall(line):
            notes.met_decimal_comma(number)
        line = line.replace(",", ".")
    cells = next(csv.reader([line], delimiter=separator)) if '"' in line else line.split(separator)
    return [cell.strip() for cell in cells]


def _printable(text: str) -> str:
    """The text with a mark in place of bytes that are no text."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _row_samples(time: float, columns: Sequence[Column], cells: Sequence[str], notes: ReadingNotes) -> Iterator[Sample]:
    for column, text in zip(columns, cells, strict=True):
        notes.kinds[column.name] = notes.kinds.get(column.name, 0) + 1
        if not text:
            notes.empty[column.name] = notes.empty.get(column.name, 0) + 1
            continue
        try:
            value = _in_range(column, finite(text) * column.scale + column.offset, text)
        except ValueError as fault:
            notes.damage(notes.lines, f"{column.name}: {fault}")
            continue
        key = column.key
        yield Sample(time, key.quantity, value, key.source, key.instance, key.reference)


def _in_range(column: Column, value: float, text: str) -> float:
    low, high = HARD_RANGE[column.key.quantity]
    if low <= value <= high:
        return value
    raise ValueError(
        f"expected {in_full(low)} to {in_full(high)} {UNIT_OF_QUANTITY[column.key.quantity]}, got {text[:40]!r}"
    )


def _time_reader(first: str, notes: ReadingNotes) -> Callable[[str], float]:
    """How the first row's time is written decides for the file: dates and seconds have different starts."""
    try:
        notes.dated = finite(first) >= DATED_FROM
    except ValueError:
        return _date_time
    return finite


def _date_time(text: str) -> float:
    if text[4:5] not in ("-", "/"):
        raise ValueError(f"expected a date and time such as 2026-05-04T09:30:00Z, got {text[:40]!r}")
    return parse_time(text)


def _columns(names: Sequence[str], source: str) -> list[Column]:
    faults: list[Fault] = []
    if names[0].lower() not in ("time", "time [s]"):
        faults.append(Fault("column 1", f"'time', as in {EXAMPLE_HEADER!r}", repr(names[0])))
    if len(names) < 2:
        faults.append(Fault("header", f"a column of values beside the time, as in {EXAMPLE_HEADER!r}", "none"))
    columns: list[Column] = []
    for number, name in enumerate(names[1:], 2):
        try:
            column = _column(name)
            twin = next((other for other in columns if other.key == column.key), None)
            if twin:
                raise _Unfit(f"another source or instance than column {twin.name!r} has")
            columns.append(column)
        except _Unfit as unfit:
            faults.append(Fault(f"column {number}", str(unfit), repr(name)))
    if faults:
        raise InputError(source, faults)
    return columns


class _Unfit(GarboardError):
    """A column's name does not say what it holds; the text is what was expected."""


def _column(name: str) -> Column:
    match = _NAME.fullmatch(name)
    if match is None:
        raise _Unfit("a name such as 'engine_speed#0 [rev/min]'")
    quantity, reference, unit = match["quantity"], match["reference"] or "", match["unit"].strip()
    if quantity not in UNIT_OF_QUANTITY:
        raise _Unfit(f"a quantity out of {', '.join(UNIT_OF_QUANTITY)}")
    if reference and (quantity not in DIRECTIONS or reference not in ("true", "magnetic")):
        raise _Unfit(f"'true' or 'magnetic' after {' or '.join(DIRECTIONS)}, and nothing after other quantities")
    key = StreamKey(quantity, (match["source"] or "").strip(), (match["instance"] or "").strip(), reference)
    return Column(name, key, *_conversion(unit, quantity))


def _conversion(unit: str, quantity: str) -> tuple[float, float]:
    """Scale and offset from a column's unit to the unit of its quantity; every unit we know is linear."""
    from garboard.units import SPELLED_OTHERWISE, UNITS_OF, convert

    wanted = UNIT_OF_QUANTITY[quantity]
    accepted = next((units for units in UNITS_OF.values() if wanted in units), (wanted,))
    meant = SPELLED_OTHERWISE.get(unit.lower(), unit)
    unit = meant if meant in accepted else unit
    if unit not in accepted:
        raise _Unfit(f"a unit out of {', '.join(accepted)}")
    zero, thousand = convert(0.0, unit, wanted), convert(1000.0, unit, wanted)
    return (thousand - zero) / 1000, zero
