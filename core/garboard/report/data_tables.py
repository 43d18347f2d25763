"""What a shop holds as tables for its own analysis: one observation a row, every column described.

Owners are named only where somebody asks for it: in the place of the name of a job's owner stands "owner".

A moment stands in UTC, with the offset of the clock that wrote it beside it. A number stands in the unit its table
names, or with its unit beside it. `TABLES` describes every table; the table "dictionary" is made from it.
"""

from __future__ import annotations

import enum
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import PurePath
from unicodedata import normalize

import attrs

from garboard import hull_number
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import in_words
from garboard.fields import Field
from garboard.fields import Kind as FieldKind
from garboard.findings import OF_VESSEL, NotEnoughData, Number
from garboard.history.boat import Boat
from garboard.history.plans import PROMISED, aside_in, planned_for
from garboard.history.values import amount_in
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import place_in_words
from garboard.hosting.unused import why_not_used
from garboard.job_view import JobView, place_of
from garboard.judging.assessing import boats_and_jobs
from garboard.record_types import frozen
from garboard.recordings.clocks import DATED_FROM
from garboard.records import Engine, JsonValue, Measurement, OwnPiece, Propeller, Vessel
from garboard.report.outline import counts, hand_over, punch_list, still_aside
from garboard.report.unit_signs import with_signs
from garboard.samples import UNIT_OF_QUANTITY, Recording
from garboard.steps import Assessed
from garboard.units import UNITS_OF, Amount
from garboard.verdict import Verdict

OWNER = "owner"
"""Role of who signs as the boat's owner; stands in the place of their name."""
_WRITTEN = frozenset({"value", "entered_by", "sentence", "about", "technicians", "place", "open", "set_aside", "owner"})
"""Columns that hold what people wrote."""
_PIECES = frozenset({"of", "row", "title", "propeller"})
"""Columns that hold names of pieces, which join tables."""
_PROSE = frozenset({("measurements", "value"), ("plans", "value"), ("findings", "sentence"), ("recordings", "name")})
"""Columns that hold what people wrote freely, and names of files."""
SHORTEST_LAST_NAME = 3
"""Letters; a shorter last word is an initial or a numeral."""
_FILE_NAME = re.compile(r"\.[A-Za-z0-9]{1,5}$")

Cell = str | float | int | bool | datetime | date | None
Row = tuple[Cell, ...]


class Kind(enum.Enum):
    """What a column holds; the value is its type in DuckDB and Parquet."""

    TEXT = "VARCHAR"
    NUMBER = "DOUBLE"
    COUNT = "BIGINT"
    YES_NO = "BOOLEAN"
    MOMENT = "TIMESTAMPTZ"
    DAY = "DATE"


@frozen
class Column:
    """One column.

    unit : of its numbers; "" where they have none or it stands in a column beside
    """

    name: str
    meaning: str
    kind: Kind = Kind.TEXT
    unit: str = ""


@frozen
class DataTable:
    """One table; an empty cell says that nothing is known there."""

    name: str
    meaning: str
    columns: tuple[Column, ...]


def _number(name: str, meaning: str, unit: str = "") -> Column:
    return Column(name, meaning, Kind.NUMBER, unit)


def _count(name: str, meaning: str) -> Column:
    return Column(name, meaning, Kind.COUNT)


def _yes(name: str, meaning: str) -> Column:
    return Column(name, meaning, Kind.YES_NO)


def _moment(name: str, of: str) -> tuple[Column, Column]:
    return (
        Column(f"{name}_utc", f"when {of}", Kind.MOMENT),
        Column(f"{name}_offset", f"by how much the clock that wrote {name}_utc was ahead of UTC", Kind.NUMBER, "min"),
    )


_HULL = Column("hull", "the boat: letters and numerals of its hull number; joins every table")
_JOB = Column("job", "id of the job; with hull it joins every table of jobs")
_OF = Column("of", "the piece of equipment it is about")
_PLACE = (
    Column("step", "key of the step"),
    Column("field", "name of the field"),
    Column("row", "row of the step's table"),
    Column("of", "the piece of equipment it was read on"),
)

BOATS = DataTable(
    "boats",
    "a row for each boat",
    (
        _HULL,
        Column("hull_number", "as it was typed"),
        Column("name", "the boat's name"),
        Column("maker", "who built it"),
        Column("model", "model"),
        Column("hull_form", "form of the hull"),
        _number("length", "length of the hull", "m"),
        _number("beam", "beam", "m"),
        _number("deadrise", "deadrise at the transom", "deg"),
        _number("weight_as_run", "displacement as run", "kg"),
        _number("weight_full_load", "displacement fully laden", "kg"),
        _count("engines", "how many engines"),
        _number("power", "rated power of all engines together", "kW"),
    ),
)
ENGINES = DataTable(
    "engines",
    "a row for each engine of a job, with the propeller on it now",
    (
        _HULL,
        _JOB,
        Column("of", "where the engine is"),
        Column("maker", "who made the engine"),
        Column("model", "its model"),
        _number("power", "rated power", "kW"),
        _number("window_low", "low end of the maker's full-throttle window", "rev/min"),
        _number("window_high", "high end of the maker's full-throttle window", "rev/min"),
        _number("gear_ratio", "engine turns for each turn of the propeller"),
        Column("propeller", "name of the propeller on it; empty for the one it came with"),
        _number("diameter", "the propeller's diameter", "in"),
        _number("pitch", "the propeller's pitch as measured, or as stamped", "in"),
        _count("blades", "the propeller's blades"),
        Column("cup", "the propeller's cup"),
    ),
)
FACTS = DataTable(
    "facts",
    "a row for each fact of a job's boat and of each piece of its equipment",
    (
        _HULL,
        _JOB,
        Column("kind", "vessel, or the kind of equipment"),
        Column("of", "name of the piece"),
        Column("fact", "which fact"),
        Column("value", "as entered"),
        _number("number", "its number, as entered"),
        Column("unit", "unit of number"),
    ),
)
JOBS = DataTable(
    "jobs",
    "a row for each job",
    (
        _HULL,
        _JOB,
        Column("kind", "kind of work"),
        Column("opened", "the day it was opened", Kind.DAY),
        Column("place", "where"),
        Column("technicians", "who works on it"),
        _count("passes", "findings that pass"),
        _count("advises", "findings that advise"),
        _count("fails", "findings that fail"),
        _count("not_enough_data", "findings that lack something"),
        _count("disagreements", "values that disagree and are not settled"),
        _yes("is_handed_over", "technician and owner have signed, and nothing was changed since"),
        _count("open_points", "what stands on its punch list, fails among it"),
        Column("open", "what keeps it from that, or is open though it is"),
        Column("set_aside", "why a manager set it aside, while that holds"),
        Column("owner", "the owner's reference; \"owner\" in tables without owners' names"),
    ),
)
SIGNATURES = DataTable(
    "signatures",
    "a row for each signature of a job",
    (
        _HULL,
        _JOB,
        Column("role", "technician, manager or owner"),
        Column("name", 'who signed; "owner" for an owner in tables without owners\' names'),
        *_moment("signed", "it was signed"),
        _yes("is_stale", "something was entered or changed after it"),
    ),
)
PLANS = DataTable(
    "plans",
    "a row for each thing that a manager planned for a job and that stands, and for each comment",
    (
        _HULL,
        _JOB,
        Column("what", "assigned, promised, waiting_for or comment"),
        Column("value", "to whom, which day, for whom, or the comment"),
        Column("day", "of a promise, the day", Kind.DAY),
        *_moment("planned", "it was written"),
        Column("planned_by", "who wrote it"),
    ),
)
MEASUREMENTS = DataTable(
    "measurements",
    "a row for each value entered that stands, or that disagrees with another",
    (
        _HULL,
        _JOB,
        *_PLACE,
        Column("title", "what it is, in words"),
        Column(
            "value",
            'as entered; of a recording or a photo its name; "owner" for an owner in tables without their names',
        ),
        _number("number", "its number, as entered"),
        Column("unit", "unit of number"),
        Column("quantity", "what is measured"),
        _number("standard_number", "the same in standard_unit, to be compared with others"),
        Column("standard_unit", "the one unit of this quantity in this table"),
        Column("state", "stands, disagrees, or not used"),
        *_moment("entered", "it was entered"),
        Column("entered_by", "who entered it"),
        Column("tablet", "on which tablet"),
        Column("instrument", "with which instrument"),
    ),
)
FINDINGS = DataTable(
    "findings",
    "a row for each finding, computed anew from what is entered",
    (
        _HULL,
        _JOB,
        _count("finding", "its place in the job's report; joins the table numbers"),
        Column("phase", "alongside, under way or hand over"),
        Column("step", "key of the step it belongs to"),
        Column("calculator", "what found it"),
        Column("plugin", "plugin of that"),
        Column("plugin_version", "its version"),
        Column("code", "what was found, for programs"),
        Column("verdict", "pass, advise, fail or not enough data"),
        Column("about", "what it is about"),
        _OF,
        Column("sentence", "what it says"),
        _yes("is_doubted", "a value it rests on is in doubt"),
        Column("basis", "where its rules and limits come from"),
    ),
)
NUMBERS = DataTable(
    "numbers",
    "a row for each number of a finding",
    (
        _HULL,
        _JOB,
        _count("finding", "as in the table findings"),
        Column("code", "code of the finding"),
        Column("verdict", "verdict of the finding"),
        Column("about", "what the finding is about"),
        _OF,
        Column("name", "what the number is"),
        _number("value", "the number, in unit"),
        _number("standard_uncertainty", "u: one standard deviation of what it may be, in unit, where there is one"),
        _number("expanded_uncertainty", "U: half the width of its 95 % interval, in unit"),
        _number("coverage_factor", "k: by which u was multiplied to give U"),
        _count("degrees_of_freedom", "of u, where it was told by repeating"),
        Column("unit", "unit of value, u, U, low and high"),
        _number("low", "low end of the limit it is held against"),
        _number("high", "high end of the limit it is held against"),
    ),
)
RECORDINGS = DataTable(
    "recordings",
    "a row for each recording that counts for a field of a job",
    (
        _HULL,
        _JOB,
        *_PLACE,
        Column("file", "names the recording; joins the table samples"),
        Column("name", "the file's name as it came"),
        Column("begins_utc", "time of its first sample; empty where it tells no date", Kind.MOMENT),
        _number("duration", "from its first to its last sample", "s"),
        _count("samples", "how many samples it holds"),
        Column("not_used", "why it cannot be read or used"),
    ),
)
SAMPLES = DataTable(
    "samples",
    "a row for each sample of those recordings",
    (
        _HULL,
        Column("file", "as in the table recordings"),
        Column("quantity", "what is measured"),
        Column("source", "the instrument it came from"),
        Column("instance", "which of several, such as the engine's number"),
        Column("at_utc", "when; empty where the recording tells no date", Kind.MOMENT),
        _number("seconds", "since the recording's first sample", "s"),
        _number("value", "the sample, in unit"),
        Column("unit", "unit of value"),
    ),
)
PEOPLE = DataTable(
    "people",
    'a row for each person who entered or signed something; without owners\' names all of them are one row, "owner"',
    (
        Column("name", "as they entered it"),
        _count("values", "values of theirs that stand"),
        _count("boats", "boats they are on"),
        _count("signatures", "how often they signed"),
        Column("first_day", "first day of a value of theirs that stands", Kind.DAY),
        Column("last_day", "last day of a value of theirs that stands", Kind.DAY),
    ),
)
DAYS = DataTable(
    "days",
    "a row for each day on which a value that stands was entered, by the clock of who entered it",
    (
        Column("day", "the day", Kind.DAY),
        _count("boats", "boats worked on"),
        _count("jobs", "jobs worked on"),
        _count("people", "people who entered something"),
        _count("values", "values that stand"),
    ),
)
LEFT_OUT = DataTable(
    "left_out",
    "a row for each thing that is not in these tables, or not whole",
    (Column("what", "file, boat or table"), Column("why", "what keeps it out")),
)
DICTIONARY = DataTable(
    "dictionary",
    "a row for each column of every table",
    (
        Column("in_table", "the table"),
        Column("name", "the column"),
        Column("holds", "text, number, whole number, yes or no, moment or day"),
        Column("unit", "unit of its numbers"),
        Column("meaning", "what it means"),
    ),
)

TABLES = (
    BOATS,
    ENGINES,
    FACTS,
    JOBS,
    SIGNATURES,
    PLANS,
    MEASUREMENTS,
    FINDINGS,
    NUMBERS,
    RECORDINGS,
    SAMPLES,
    PEOPLE,
    DAYS,
    LEFT_OUT,
    DICTIONARY,
)


@frozen(kw_only=True)
class JobToExport:
    """A job with what the calculators say of it.

    tablets : by the id of an entry, the tablet that wrote it
    plans   : what managers planned for it
    """

    view: JobView
    assessed: tuple[Assessed, ...]
    tablets: Mapping[str, str] = attrs.field(factory=dict)
    plans: tuple[Entry, ...] = ()
    aside: str = ""

    @classmethod
    def of(cls, boat: Boat, view: JobView, assessed: Sequence[Assessed]) -> JobToExport:
        """A job of a boat, with what stands beside it there."""
        home = boat.state_of(view.job.id)
        parts = (view.job.id, *home.parts(view.job.id))
        plans, aside = planned_for(home, parts), still_aside(aside_in(home, view.job.id), view)
        tablets = {entry.id: entry.tablet for at, key in boat.registers(view.job.id) for entry in at.current(key)}
        told = "" if aside is None else aside.reason
        return cls(view=view, assessed=tuple(assessed), tablets=tablets, plans=tuple(plans), aside=told)


def jobs_in_folder(hulls: HullFolder, host: PluginHost, hull: str = "") -> Iterator[JobToExport]:
    """The jobs in a folder of hull files, or those of one boat, judged. What cannot be read, `hulls` names."""
    for boat, view in boats_and_jobs(hulls, hull):
        yield JobToExport.of(boat, view, host.assess(view))


Rows = Iterator[tuple[DataTable, Row]]


class Collector:
    """Turns jobs into rows, one job after another, and keeps only what the last tables count."""

    def __init__(self, host: PluginHost, *, with_samples: bool = True, with_owners: bool = False) -> None:
        self._host = host
        self._with_owners = with_owners
        self._with_samples = with_samples
        self._boats: set[str] = set()
        self._files: set[tuple[str, str]] = set()
        self._people: dict[str, _Person] = {}
        self._days: dict[date, _Day] = {}

    def rows_of(self, job: JobToExport) -> Rows:
        """All rows of a job; of its boat, with the first of its jobs."""
        view, hull = job.view, hull_number.key(job.view.vessel.hull_number)
        if hull not in self._boats:
            self._boats.add(hull)
            yield BOATS, _boat(hull, view.vessel)
        about = (hull, view.job.id)
        owners = Owners(() if self._with_owners else _owners_of(view))
        yield JOBS, owners.out_of(JOBS, (*about, *_job(view, self._host, job.assessed), job.aside, view.job.owner))
        engines = ((*about, *_engine(view.vessel, engine)) for engine in view.vessel.engines)
        yield from ((ENGINES, owners.out_of(ENGINES, engine)) for engine in engines)
        yield from ((FACTS, owners.out_of(FACTS, (*about, *fact))) for fact in _facts(view.vessel))
        for signed in view.sign_offs:
            name = owners.out(signed.name)
            self._person(name).signatures += 1
            yield SIGNATURES, (*about, signed.role, name, *_utc(signed.at), signed.stale)
        yield from ((PLANS, owners.out_of(PLANS, (*about, *_planned(one)))) for one in job.plans)
        yield from ((table, owners.out_of(table, row)) for table, row in self._measurements(about, job, owners))
        yield from ((table, owners.out_of(table, row)) for table, row in _findings(about, job.assessed))
        yield from ((table, owners.out_of(table, row)) for table, row in self._recordings(about, view))

    def files_not_here(self, job: JobToExport, is_here: Callable[[str], bool]) -> Iterator[tuple[str, str]]:
        """Recordings and photos that a job names and that are not here, each with that."""
        for one in job.view.measurements:
            file = one.value.get("file") if isinstance(one.value, dict) else None
            if isinstance(file, str) and not is_here(file):
                yield f"{'recording' if self._is_recording(one) else 'photo'} {file}", "it is not here"

    def last_rows(self, left_out: Iterable[tuple[str, str]] = ()) -> Rows:
        """The tables that count over all jobs, what is left out, and the dictionary."""
        for name, one in sorted(self._people.items()):
            span = (min(one.days), max(one.days)) if one.days else (None, None)
            yield PEOPLE, (name, one.values, len(one.boats), one.signatures, *span)
        for day, each in sorted(self._days.items()):
            yield DAYS, (day, len(each.boats), len(each.jobs), len(each.people), each.values)
        yield from ((LEFT_OUT, (what, why)) for what, why in left_out)
        yield from ((DICTIONARY, row) for row in dictionary())

    def _measurements(self, about: tuple[str, str], job: JobToExport, owners: Owners) -> Rows:
        view = job.view
        stand = [(one, "stands") for one in view.measurements]
        stand += [(one, "disagrees") for each in view.disagreements for one in each.values]
        for one, state in stand:
            if one.step == OF_VESSEL:  # a fact of the boat: it stands in a table of its own
                continue
            unused = why_not_used(place_of(one), view.vessel, self._host)
            told = "not used: " + unused if unused and state == "stands" else state
            self._count(about, one, owners.out(one.by))
            yield MEASUREMENTS, (*about, *self._measured(one), told, *_utc(one.at), *_who(one, job.tablets))

    def _measured(self, one: Measurement) -> Row:
        title = place_in_words(place_of(one), self._host)
        quantity, standard = self._standard(one)
        number, unit = _parts(one.value) if quantity else (None, "")
        in_standard = _in(one.value, standard) if quantity else None
        shown = (quantity, in_standard, standard if in_standard is not None else "")
        return (*place_of(one), title, _as_text(one.value), number, unit, *shown)

    def _standard(self, one: Measurement) -> tuple[str, str]:
        quantity = next((field.quantity for field in self._fields(one)), "")
        return quantity, UNITS_OF[quantity][0] if quantity else ""

    def _count(self, about: tuple[str, str], one: Measurement, by: str) -> None:
        person, moment = self._person(by), _moment_of(one.at)
        person.values += 1
        person.boats.add(about[0])
        if moment is not None:
            person.days.add(moment.date())
            self._days.setdefault(moment.date(), _Day()).add(about, by)

    def _person(self, name: str) -> _Person:
        return self._people.setdefault(name, _Person())

    def _recordings(self, about: tuple[str, str], view: JobView) -> Rows:
        for one in view.measurements:
            file = one.value.get("file") if isinstance(one.value, dict) else None
            if isinstance(file, str) and self._is_recording(one):
                recording, why = _loaded(view, one)
                yield RECORDINGS, (*about, *place_of(one), file, _as_text(one.value), *_span(recording), why)
                if recording is not None and self._with_samples and (about[0], file) not in self._files:
                    self._files.add((about[0], file))
                    yield from _samples(about[0], file, recording)

    def _is_recording(self, one: Measurement) -> bool:
        return any(field.kind is FieldKind.RECORDING for field in self._fields(one))

    def _fields(self, one: Measurement) -> Iterator[Field]:
        step = self._host.step(one.step)
        return (field for field in (step.all_fields() if step else ()) if field.is_called(one.field))


class Owners:
    """Names of a job's owner, to be left out.

    A name of one word is left out where it stands alone: within a sentence it may be any word. Of a longer name the
    last word is left out of what people write freely too, where it is written as a name: "Mrs Marsh", not "a marsh".
    In the name of a file its words may be joined by anything, and be small.
    """

    def __init__(self, names: Iterable[str]) -> None:
        typed = {" ".join(name.split()) for name in names} - {""}
        # An accent is part of its letter, or a character of its own, as the keyboard sent it.
        found = sorted({normalize(form, name) for name in typed for form in ("NFC", "NFD")}, key=len, reverse=True)
        longer = [name for name in found if " " in name]
        last = [name.rpartition(" ")[2] for name in longer]
        last = [name for name in last if name[:1].isalpha() and len(name) >= SHORTEST_LAST_NAME]
        self._names = {name.casefold() for name in found}
        self._within = _any_of(longer, re.IGNORECASE)
        self._last = _any_of([written for name in last for written in (name[0].upper() + name[1:], name.upper())])
        self._in_files = _any_of(last, re.IGNORECASE)

    def out(self, text: str) -> str:
        """A text without them."""
        return OWNER if " ".join(text.split()).casefold() in self._names else self.out_of_name(text)

    def out_of_name(self, text: str) -> str:
        """The name of a piece without them; one of a single word stays, as it may be any name."""
        return self._within.sub(OWNER, text) if self._within else text

    def out_of_prose(self, text: str) -> str:
        """What somebody wrote freely, or the name of a file, without them and without their last names."""
        last = self._in_files if _FILE_NAME.search(text) else self._last
        text = self.out(text)
        return last.sub(OWNER, text) if last else text

    def out_of(self, table: DataTable, row: Row) -> Row:
        """A row without them, as far as its columns hold what people wrote."""
        if not self._names:
            return row
        told = zip(table.columns, row, strict=True)
        return tuple(self._out_of(table, column.name)(cell) if isinstance(cell, str) else cell for column, cell in told)

    def _out_of(self, table: DataTable, column: str) -> Callable[[str], str]:
        if column in _PIECES or table is FACTS:
            return self.out_of_name
        if (table.name, column) in _PROSE:
            return self.out_of_prose
        return self.out if column in _WRITTEN else str


def _any_of(names: Sequence[str], flags: int = 0) -> re.Pattern[str] | None:
    """Finds any of some names, whatever joins their words."""
    words = [r"[\W_]+".join(map(re.escape, re.findall(r"[^\W_]+", name))) for name in names]
    found = "|".join(one for one in words if one)
    return re.compile(rf"(?<![^\W_])(?:{found})(?![^\W_])", flags) if found else None


def _owners_of(view: JobView) -> Iterator[str]:
    yield view.job.owner
    yield from (one.name for one in view.sign_offs if one.role == OWNER)


@attrs.define
class _Person:
    values: int = 0
    signatures: int = 0
    boats: set[str] = attrs.field(factory=set)
    days: set[date] = attrs.field(factory=set)


@attrs.define
class _Day:
    values: int = 0
    boats: set[str] = attrs.field(factory=set)
    jobs: set[tuple[str, str]] = attrs.field(factory=set)
    people: set[str] = attrs.field(factory=set)

    def add(self, about: tuple[str, str], by: str) -> None:
        self.values += 1
        self.boats.add(about[0])
        self.jobs.add(about)
        self.people.add(by)


def dictionary() -> Iterator[Row]:
    """A row for every column of every table."""
    for table in TABLES:
        for column in table.columns:
            yield table.name, column.name, _TYPE_IN_WORDS[column.kind], column.unit, column.meaning


_TYPE_IN_WORDS = {
    Kind.TEXT: "text",
    Kind.NUMBER: "number",
    Kind.COUNT: "whole number",
    Kind.YES_NO: "yes or no",
    Kind.MOMENT: "moment, UTC",
    Kind.DAY: "day",
}


def _boat(hull: str, vessel: Vessel) -> Row:
    powers = [engine.rated_power for engine in vessel.engines]
    return (
        hull,
        vessel.hull_number,
        vessel.name,
        vessel.maker,
        vessel.model,
        vessel.hull_form,
        _in(vessel.length, "m"),
        _in(vessel.beam, "m"),
        _in(vessel.deadrise, "deg"),
        _in(vessel.displacement_as_run, "kg"),
        _in(vessel.displacement_full_load, "kg"),
        len(vessel.engines),
        round(sum(power.to("kW") for power in powers if power), _DIGITS) if powers and all(powers) else None,
    )


def _engine(vessel: Vessel, engine: Engine) -> Row:
    named = vessel.pieces["propellers"].get(engine.fitted)
    propeller = (named if isinstance(named, Propeller) else engine.propeller) or Propeller()
    return (
        engine.position,
        engine.maker,
        engine.model,
        _in(engine.rated_power, "kW"),
        _in(engine.full_throttle_low, "rev/min"),
        _in(engine.full_throttle_high, "rev/min"),
        _in(engine.gear_ratio, ""),
        engine.fitted,
        _in(propeller.diameter, "in"),
        _in(propeller.working_pitch, "in"),
        propeller.blades,
        propeller.cup,
    )


def _facts(vessel: Vessel) -> Iterator[Row]:
    yield from (("vessel", "", *fact) for fact in _facts_of(vessel))
    for kind, pieces in vessel.pieces.items():
        for name, piece in pieces.items():
            facts = _facts_as_entered(piece) if isinstance(piece, OwnPiece) else _facts_of(piece)
            yield from ((kind, name, *fact) for fact in facts)


def _facts_as_entered(piece: OwnPiece) -> Iterator[Row]:
    """Facts of a piece that a plugin declares: an amount is text with its unit. The plugin need not be at work."""
    for name, value in piece.more.items():
        if isinstance(value, str | int) and value != "":
            yield name, _as_text(value), *_parts(value)


def _facts_of(record: attrs.AttrsInstance, before: str = "") -> Iterator[Row]:
    """Every fact of a record that is entered, those of what it holds within under its name and theirs."""
    for field in attrs.fields(type(record)):
        value = getattr(record, field.name)
        if attrs.has(type(value)) and not isinstance(value, Amount):
            yield from _facts_of(value, f"{before}{field.name}.")
        elif isinstance(value, Amount):
            yield f"{before}{field.name}", str(value), float(value.text), value.unit
        elif isinstance(value, str | int) and value != "":
            yield f"{before}{field.name}", _as_text(value), None, ""


def _job(view: JobView, host: PluginHost, assessed: Sequence[Assessed]) -> Row:
    found, job = counts(assessed), view.job
    handed = hand_over(view, assessed, punch_list(view, host, assessed))
    return (
        job.kind,
        _day(job.opened),
        job.place,
        "; ".join(job.technicians),
        *(found.get(verdict, 0) for verdict in (Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA)),
        len(view.disagreements),
        handed.is_done,
        handed.points,
        "; ".join(handed.lacking),
    )


def _planned(entry: Entry) -> Row:
    what, value = entry.subject[1], _as_text(entry.value)
    return what, value, _day(value) if what == PROMISED else None, *_utc(entry.at), entry.by


def _findings(about: tuple[str, str], assessed: Sequence[Assessed]) -> Rows:
    for place, one in enumerate(assessed, 1):
        found = one.finding
        head = (found.code, found.verdict.value, found.about, found.of)
        made = (one.phase.value, one.step, one.calculator, one.plugin, one.plugin_version)
        sentence, basis = with_signs(found.sentence), with_signs("; ".join(map(str, found.basis)))
        yield FINDINGS, (*about, place, *made, *head, sentence, bool(found.doubted), basis)
        limits = {limit.number: (limit.low, limit.high) for limit in found.limits}
        for number in found.numbers:
            low_and_high = limits.get(number.name, (None, None))
            yield NUMBERS, (*about, place, *head, *_number_cells(number), *low_and_high)


def _number_cells(number: Number) -> Row:
    half_width, factor = number.expanded_uncertainty, number.coverage_factor
    standard = half_width / factor if half_width is not None and factor else None
    return (
        number.name,
        number.value,
        standard,
        half_width,
        factor,
        number.degrees_of_freedom,
        number.unit,
    )


def _loaded(view: JobView, one: Measurement) -> tuple[Recording | None, str]:
    try:
        return view.recording(one.step, one.field, row=one.row, of=one.of), ""
    except NotEnoughData as lacking:
        return None, in_words(lacking)


def _span(recording: Recording | None) -> Row:
    if recording is None:
        return None, None, None
    first, last = _first_and_last(recording)
    return _utc_of(first), last - first, sum(map(len, recording.streams.values()))


def _first_and_last(recording: Recording) -> tuple[float, float]:
    times = [stream.times for stream in recording.streams.values() if len(stream)]
    return min((one[0] for one in times), default=0.0), max((one[-1] for one in times), default=0.0)


def _samples(hull: str, file: str, recording: Recording) -> Rows:
    first, _ = _first_and_last(recording)
    for key, stream in recording.streams.items():
        head, unit = (hull, file, key.quantity, key.source, key.instance), UNIT_OF_QUANTITY[key.quantity]
        for time, value in stream:
            yield SAMPLES, (*head, _utc_of(time), time - first, value, unit)


def _utc_of(seconds: float) -> datetime | None:
    return datetime.fromtimestamp(seconds, UTC) if seconds >= DATED_FROM else None


def _moment_of(at: str) -> datetime | None:
    try:
        return datetime.fromisoformat(at)
    except ValueError:
        return None


def _day(at: str) -> date | None:
    moment = _moment_of(at)
    return moment.date() if moment else None


def _utc(at: str) -> tuple[datetime | None, float | None]:
    """A moment in UTC, and by how much the clock that wrote it was ahead; nothing where it names no offset."""
    moment = _moment_of(at)
    offset = moment.utcoffset() if moment else None
    if moment is None or offset is None:
        return None, None
    try:
        return moment.astimezone(UTC), offset.total_seconds() / 60
    except OverflowError:  # a moment in the first or the last hours that a calendar holds
        return None, None


def _who(one: Measurement, tablets: Mapping[str, str]) -> Row:
    return one.by, tablets.get(one.id, ""), one.instrument


_DIGITS = 9
"""After the point: more of them are those of the conversion."""


def _in(value: JsonValue | Amount, unit: str) -> float | None:
    amount = value if isinstance(value, Amount) else amount_in(value)
    try:
        return round(amount.to(unit), _DIGITS) if amount else None
    except ValueError:
        return None


def _parts(value: JsonValue) -> tuple[float | None, str]:
    amount = amount_in(value)
    return (float(amount.text), amount.unit) if amount else (None, "")


def _as_text(value: JsonValue) -> str:
    if isinstance(value, dict):
        return PurePath(str(value.get("name") or value.get("file") or value)).name
    return {True: "yes", False: "no"}.get(value, "") if isinstance(value, bool) else "" if value is None else str(value)
