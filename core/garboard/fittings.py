"""Which propeller was on which engine: every run names it, so no clock decides and no later change touches a run.

A fitting is one name for each engine, in the order of the vessel's engines: of a piece of `Vessel.propellers`, or ""
for the propeller the engine came with (`Engine.propeller`). A row of a step's table names it in the column `PROPELLER`,
once for each engine; a recording that no row holds in the field named after it and "_propeller". A job from before
names none: all its runs were made with the propeller the engine came with.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import partial

import attrs

from garboard.fields import Field, Kind, amount_field
from garboard.findings import (
    OF_VESSEL,
    Basis,
    BasisKind,
    Finding,
    Lack,
    Missing,
    NotEnoughData,
    not_enough_data,
)
from garboard.job_view import FieldKey, JobView, nothing_at, place_of
from garboard.records import HOLES, HOW_HIGH, Engine, JsonValue, Measurement, Propeller, Vessel, fact_of

__all__ = [
    "CAME_WITH",
    "PROPELLER",
    "Fitting",
    "check_fitted",
    "columns_of_a_run",
    "fitted_now",
    "fitting_named",
    "fittings_of",
    "is_of_runs",
    "name_of_fitting",
    "names_given",
    "next_row",
    "of_fitting",
    "plain_name",
    "propeller_named",
    "propeller_named_in_a_row",
    "propeller_of_recording",
    "row_order",
    "runs_of_no_propeller",
    "value_to_begin",
    "with_fitting",
]

PROPELLER = "propeller"
"""The column of a row, asked for each engine, that names the propeller of it."""

CAME_WITH = "as delivered"
"""A name that a person may give for the propeller the engine came with, where a run was said to be of another."""

_HELP = f"Its name in the list of propellers; '{CAME_WITH}' for the one the engine came with."

ONE_PROPELLER = Basis(BasisKind.COMMON_PRACTICE, "a run is judged by the propeller it was made with")

Fitting = tuple[str, ...]
"""Names of propellers by engine, from port to starboard."""


def columns_of_a_run(conditions: str) -> tuple[Field, ...]:
    """Columns that say with what a run was made: propeller, how high the engine is mounted, load.

    conditions : the step whose fields `persons` and `fuel_level` say the same of the day
    """
    return (
        propeller_named_in_a_row(),
        Field(
            name="mounting_height",
            title="Mounting height",
            kind=Kind.TEXT,
            each="engines",
            required=False,
            aside=True,
            offers=HOLES,
            begins=("engines", "mounting_height"),
            help=HOW_HIGH,
        ),
        Field(
            name="persons",
            title="Persons on board",
            kind=Kind.COUNT,
            plausible=(1, 12),
            hard=(1, 100),
            required=False,
            aside=True,
            begins=(conditions, "persons"),
        ),
        amount_field(
            "fuel_level",
            "Fuel on board",
            "share",
            "%",
            (2, 100),
            (0, 100),
            heard="tank_level",
            required=False,
            aside=True,
            begins=(conditions, "fuel_level"),
        ),
        amount_field(
            "gear",
            "Gear on board",
            "weight",
            "lb",
            (0, 3_000),
            (0, 100_000),
            required=False,
            aside=True,
            begins=("", "gear"),
        ),
    )


def is_of_runs(fields: Iterable[str]) -> bool:
    """Whether a step with these fields is of runs, whose rows say with what they were made."""
    return {PROPELLER, "mounting_height"} <= set(fields)


def propeller_named_in_a_row() -> Field:
    """The column that names the propeller of a row, as fitted when the row was begun."""
    return Field(
        name=PROPELLER,
        title="Propeller",
        kind=Kind.TEXT,
        each="engines",
        required=False,
        aside=True,
        begins=("engines", "fitted"),
        help=_HELP,
    )


def propeller_of_recording(recording: str) -> Field:
    """The field that names the propellers of a recording that no row holds."""
    return Field(
        name=f"{recording}_{PROPELLER}",
        title="Propeller of the recording",
        kind=Kind.TEXT,
        each="engines",
        required=False,
        aside=True,
        of_run=recording,
        begins=("engines", "fitted"),
        help=_HELP,
    )


def value_to_begin(view: JobView, field: Field, step: str, of: str) -> JsonValue:
    """What a row that is begun now takes for a field; None where nothing is known.

    of : the piece it is asked for
    """
    where, name = field.begins or ("", "")
    if where in view.vessel.pieces:
        value = fact_of(view.vessel.of_kind(where).get(of), name)
        return (value or CAME_WITH) if name == "fitted" else (value or None)
    if where:
        return view.value(where, name)
    said = [one for one in view.measurements if (one.step, one.field, one.of) == (step, name, of)]
    return max(said[::-1], key=lambda one: row_order(one.row)).value if said else None


def fitted_now(vessel: Vessel) -> Fitting:
    """The propellers now on its engines.

    >>> fitted_now(Vessel(hull_number="X", engines=(Engine(position="centre", fitted="17 steel"),)))
    ('17 steel',)
    """
    return tuple(plain_name(engine.fitted) for engine in vessel.engines)


def name_of_fitting(vessel: Vessel, fitting: Fitting) -> str:
    """Its propeller, or where engines have unlike ones the engines of each before it.

    >>> twins = Vessel(hull_number="X", engines=(Engine(position="port"), Engine(position="starboard")))
    >>> name_of_fitting(twins, ("17 steel", "17 steel")), name_of_fitting(twins, ("17 steel", ""))
    ('17 steel', 'port 17 steel, starboard as delivered')
    """
    on: dict[str, list[str]] = defaultdict(list)
    for engine, name in zip(vessel.engines, fitting, strict=False):  # a page may be open while an engine is added
        on[name or CAME_WITH].append(engine.position)
    if len(on) < 2:
        return "".join(on)
    return ", ".join(f"{' and '.join(positions)} {name}" for name, positions in on.items())


def check_fitted(view: JobView) -> None:
    """Raise NotEnoughData where values disagree about which propeller is on an engine now."""
    disputed = {one.place[1] for one in view.disagreements if one.place[0] == OF_VESSEL}
    missing = [
        Missing(
            f"two propellers are said to be on the {engine.position} engine now; choose one",
            lack=Lack.DISAGREES,
            field="engines.fitted",
            of=engine.position,
        )
        for engine in view.vessel.engines
        if f"engines/{engine.position}/fitted" in disputed
    ]
    if missing:
        raise NotEnoughData(*missing)


def propeller_named(vessel: Vessel, engine: Engine, name: str) -> Propeller | None:
    """A propeller by its name, "" for the one the engine came with; None where nobody entered it."""
    if name in ("", CAME_WITH):
        return engine.propeller
    return vessel.pieces["propellers"].get(name)


def with_fitting(vessel: Vessel, fitting: Fitting) -> Vessel:
    """The vessel with these propellers on its engines, as `Engine.propeller`; None for one nobody entered."""
    pairs = zip(vessel.engines, fitting, strict=True)
    engines = (attrs.evolve(one, propeller=propeller_named(vessel, one, name), fitted=name) for one, name in pairs)
    return attrs.evolve(vessel, engines=tuple(engines))


def fitting_named(view: JobView, step: str, row: str, field: str = PROPELLER) -> Fitting | None:
    """The fitting a row names, or with a field that of a recording; None where its values disagree."""
    return _named_in(view, (step,)).fitting(step, row, field)


def fittings_of(view: JobView, steps: Collection[str]) -> tuple[Fitting, ...]:
    """The fittings that rows and recordings of steps name, in the order of their rows, not by any clock."""
    named = _named_in(view, steps)
    of_steps = sorted((one for one in view.measurements if one.step in steps), key=lambda one: row_order(one.row))
    found = (named.of(one) for one in of_steps)
    return tuple(dict.fromkeys(one for one in found if one is not None))


def row_order(row: str) -> tuple[bool, int]:
    """Sorts rows, whatever the clocks of tablets were: numbered ones by their number, then the others."""
    is_number = row.isdecimal() and len(row) < _LONGEST_NUMBER
    return (False, int(row)) if is_number else (True, 0)


def next_row(rows: Iterable[str]) -> str:
    """The name of the row after those there are.

    >>> next_row(("1", "2", "calm")), next_row(()), next_row(("9" * 5000, "3", "4²"))
    ('3', '1', '4')
    """
    return str(max((int(row) for row in rows if not row_order(row)[0]), default=0) + 1)


_LONGEST_NUMBER = 9


def of_fitting(view: JobView, fitting: Fitting, steps: Collection[str]) -> JobView:
    """The job with this fitting on its engines, and of these steps only what was run with it.

    Where nothing names another, it is the view itself. Rows whose fitting disagrees are of none.
    """
    named = _named_in(view, steps)
    if not named.any and fitting == fitted_now(view.vessel) and not any(fitting):
        return view
    kept = tuple(one for one in view.measurements if one.step not in steps or named.belongs(one, fitting))
    disputes = tuple(one for one in view.disagreements if one.place[0] not in steps or named.is_of(one.place, fitting))
    unreadable = tuple(one for one in view.unreadable if one.place[0] not in steps or named.is_of(one.place, fitting))
    seen = view.with_vessel(partial(with_fitting, fitting=fitting))
    return attrs.evolve(seen, measurements=kept, disagreements=disputes, unreadable=unreadable)


def plain_name(name: str) -> str:
    """A propeller's name as a fitting has it.

    >>> plain_name(CAME_WITH), plain_name("17 steel")
    ('', '17 steel')
    """
    return "" if name == CAME_WITH else name


def names_given(view: JobView, steps: Collection[str]) -> Iterator[tuple[Measurement, str]]:
    """Every value of some steps that names a propeller, and the name as a fitting has it."""
    for one in _naming_fields(view.measurements, steps):
        if isinstance(one.value, str):
            yield one, plain_name(one.value)


def runs_of_no_propeller(view: JobView, step: str, called: Callable[[Sequence[str]], str]) -> Iterator[Finding]:
    """Runs that name a propeller nobody entered, or two at once: they count for none until that is put right.

    called : what rows of the step are called, "" among them for a recording beside the rows
    """
    engines = {engine.position: engine for engine in view.vessel.engines}
    unknown: dict[tuple[str, str], list[Measurement]] = defaultdict(list)
    for one, name in names_given(view, (step,)):
        engine = engines.get(one.of)
        if engine is not None and name and propeller_named(view.vessel, engine, name) is None:
            unknown[one.of, name].append(one)
    for (of, name), named in unknown.items():
        about = called([one.row for one in named])
        text = (
            f"{about}: the {of} propeller is said to be {name!r}, which is not in the list of propellers; enter it "
            "there, or correct the name"
        )
        lacking = (
            Missing(text, lack=Lack.NOT_ENTERED, step=step, field=one.field, row=one.row, of=of) for one in named
        )
        yield not_enough_data(about, lacking, (ONE_PROPELLER,))
    for _, field, row, of in _without_a_name(view, (step,)):
        yield not_enough_data(called([row]), (nothing_at(view, step, field, row=row, of=of),), (ONE_PROPELLER,))


def _without_a_name(view: JobView, steps: Collection[str]) -> tuple[FieldKey, ...]:
    """Where a propeller is named that nobody can tell: the values disagree, or what stands there cannot be read."""
    places = (*(one.place for one in view.disagreements), *(one.place for one in view.unreadable))
    return tuple(dict.fromkeys(place for place in places if place[0] in steps and _names(place[1])))


@attrs.frozen
class _Named:
    """What rows and recordings of some steps name.

    names    : by step, field, row and engine
    disputed : step, field and row of those whose values disagree or cannot be read
    """

    engines: tuple[str, ...]
    names: Mapping[tuple[str, str, str], Mapping[str, str]]
    disputed: Collection[tuple[str, str, str]]

    @property
    def any(self) -> bool:
        return bool(self.names or self.disputed)

    def fitting(self, step: str, row: str, field: str = PROPELLER) -> Fitting | None:
        where = step, field, row
        if where in self.disputed:
            return None
        names = self.names.get(where, {})
        return tuple(names.get(position, "") for position in self.engines)

    def of(self, one: Measurement) -> Fitting | None:
        """Of a value that a run is made of; None of any other, and where the names disagree."""
        return self.fitting(one.step, one.row, _naming(one.field, one.row)) if _is_of_a_run(one) else None

    def belongs(self, one: Measurement, fitting: Fitting) -> bool:
        return not _is_of_a_run(one) or self.is_of(place_of(one), fitting)

    def is_of(self, place: FieldKey, fitting: Fitting) -> bool:
        step, field, row, _ = place
        return self.fitting(step, row, _naming(field, row)) == fitting


def _is_of_a_run(one: Measurement) -> bool:
    """Whether a value is of a row, or a recording beside the rows."""
    return bool(one.row) or (isinstance(one.value, dict) and "file" in one.value)


def _naming(field: str, row: str) -> str:
    """The field that names the propeller of a value."""
    return PROPELLER if row else f"{field.removesuffix(f'_{PROPELLER}')}_{PROPELLER}"


def _named_in(view: JobView, steps: Collection[str]) -> _Named:
    """To look counts as reading nothing: the rows themselves are read."""
    names: dict[tuple[str, str, str], dict[str, str]] = defaultdict(dict)
    for one, name in names_given(view, steps):
        names[one.step, one.field, one.row][one.of] = name
    disputed = {place[:3] for place in _without_a_name(view, steps)}
    return _Named(tuple(engine.position for engine in view.vessel.engines), names, disputed)


def _naming_fields(measurements: Iterable[Measurement], steps: Collection[str]) -> Iterable[Measurement]:
    return (one for one in measurements if one.step in steps and _names(one.field))


def _names(field: str) -> bool:
    return field == PROPELLER or field.endswith(f"_{PROPELLER}")
