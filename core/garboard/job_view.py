"""The one frozen object a calculator reads: vessel, job and everything measured, ready to be asked."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, Concatenate, ParamSpec, TypeVar

import attrs

from garboard.faults import ValueRefused
from garboard.findings import (
    OF_VESSEL,
    Lack,
    Missing,
    NotEnoughData,
    plain_text,
    rounded,
    row_in_words,
    with_uncertainty,
)
from garboard.record_types import frozen
from garboard.records import (
    NETWORK_SOURCES,
    Forecast,
    Job,
    JsonValue,
    Measurement,
    Note,
    SignOff,
    StepState,
    Vessel,
    is_own_kind,
)
from garboard.samples import Recording
from garboard.settings import SETTING, SIGNED, SettingSet, SettingUsed, Signed, setting_number
from garboard.units import UNITS_OF, Amount, convert, parse_amount

__all__ = [
    "Asking",
    "Disagreement",
    "FieldKey",
    "InputCollector",
    "JobView",
    "LeftOut",
    "Place",
    "Unreadable",
    "Waiting",
    "amount_or_fault",
    "in_unit",
    "is_left_out_key",
    "nothing_at",
    "place_of",
    "place_of_fact",
    "refuse_set_back",
    "signed_left_out",
    "stated_left_out",
]

T = TypeVar("T")
P = ParamSpec("P")

FieldKey = tuple[str, str, str, str]
"""Where a measurement belongs, as four texts: step, field, row, of. Row and of are empty where there is none."""

Place = FieldKey
"""A former name of `FieldKey`, which older plugins may use."""


def place_of(measurement: Measurement) -> FieldKey:
    """The place a measurement belongs to."""
    return measurement.step, measurement.field, measurement.row, measurement.of


def _with_chosen(recording: Recording, vessel: Vessel) -> Recording:
    """A recording without the streams of those instruments that a person did not choose."""
    choices = vessel.more.get(NETWORK_SOURCES)
    if not isinstance(choices, dict):
        return recording
    heard = {(key.quantity, key.instance or "0", key.source) for key in recording.streams}
    left = {}
    for key, stream in recording.streams.items():
        number = key.instance or "0"
        choice = choices.get(f"{key.quantity} {number}", choices.get(key.quantity))
        chosen = choice.partition("#")[0] if isinstance(choice, str) else ""
        if not chosen or key.source == chosen or (key.quantity, number, chosen) not in heard:
            left[key] = stream
    return recording if len(left) == len(recording.streams) else attrs.evolve(recording, streams=left)


@frozen
class Disagreement:
    """Two or more values for one place that a person has not yet settled. None of them is used."""

    place: FieldKey
    values: tuple[Measurement, ...]


@frozen(kw_only=True)
class Unreadable:
    """Something entered that this program cannot read: it is kept as it came, and nothing is worked out from it.

    place    : as of a measurement; for anything else a step and field that stand for it, empty where it says none
    expected : what should stand there
    got      : what does, shortened
    id       : of the entry
    """

    place: FieldKey
    expected: str
    got: str
    by: str = ""
    at: str = ""
    id: str = ""


@frozen
class Waiting:
    """An entry of a kind or a version that this program does not know: kept for what reads it.

    plugins : names of the plugins at work where it was written
    """

    kind: str
    plugins: tuple[str, ...] = ()


@frozen(kw_only=True)
class LeftOut:
    """A step that the shop leaves out of such a job.

    reason, by, on : why, who decided it, and the day since when
    check          : the check file that says so, with its edition
    is_signed      : whether the job was signed so, and keeps it
    """

    step: str
    reason: str
    by: str
    on: str
    check: str
    is_signed: bool = False


_SMALL_LENGTHS = ("in", "cm", "mm")
_GAUGE_PRESSURES = ("psi", "kPa")
"""The air's is typed in hPa or inHg, and says nothing of gauges."""

_TOLD_AS_TYPED = ("speed", "power", "weight", "density")
"""Quantities of which a boat has values of one kind, told in one unit throughout."""


def in_unit(value: float, unit: str, wanted: str) -> float:
    """A value in another unit of the same quantity, also of distance per fuel ("nm/gal" in "km/L").

    >>> round(in_unit(2.0, "nm/gal", "nm/L"), 3)
    0.528
    """
    if unit == wanted or unit != "nm/gal":
        return convert(value, unit, wanted)
    distance, volume = wanted.split("/")
    return convert(value, "nm", distance) / convert(1.0, "gal", volume)


def _unit_of(value: JsonValue) -> str:
    """The unit an entered amount carries; "" of anything else."""
    try:
        return Amount.parse(value).unit if isinstance(value, str) and value[-1:].isalpha() else ""
    except ValueError:
        return ""


def _units_of_vessel(vessel: Vessel) -> Iterator[tuple[FieldKey, str]]:
    yield from _units_in(vessel, "", "")
    for kind, pieces in vessel.pieces.items():
        for name, piece in pieces.items():
            yield from _units_in(piece, f"{kind}.", name)
    yield from ((place_of(one), unit) for one in _facts_of_own_kinds(vessel) if (unit := _unit_of(one.value)))


def _units_in(record: Any, before: str, of: str) -> Iterator[tuple[FieldKey, str]]:
    for field in attrs.fields(type(record)):
        value = getattr(record, field.name)
        if isinstance(value, Amount):
            yield (OF_VESSEL, f"{before}{field.name}", "", of), value.unit
        elif before and attrs.has(type(value)):
            yield from _units_in(value, f"{before}{field.name}.", of)


def _facts_of_own_kinds(vessel: Vessel) -> Iterator[Measurement]:
    """What is entered of equipment of plugins' own kinds, as values a calculator asks for.

    They stand under `OF_VESSEL`, the kind with the field, and the piece.
    """
    for kind in filter(is_own_kind, vessel.more):
        for name, piece in vessel.of_kind(kind).items():
            for field, value in piece.more.items():
                yield Measurement(step=OF_VESSEL, field=f"{kind}.{field}", value=value, of=name)


def place_of_fact(place: FieldKey) -> FieldKey:
    """The place of a fact of a plugin's own kind, where a disagreement names it by its path; any other as it is.

    >>> place_of_fact(("vessel", "yard.trailers/road/rating", "", ""))
    ('vessel', 'yard.trailers.rating', '', 'road')
    """
    kind, _, rest = place[1].partition("/")
    name, _, field = rest.rpartition("/")
    is_fact = place[0] == OF_VESSEL and is_own_kind(kind) and name
    return (OF_VESSEL, f"{kind}.{field}", "", name) if is_fact else place


def _no_recording(reference: str) -> Recording:
    text = f"recording {reference!r} is not here; bring it in and assess again"
    raise NotEnoughData(Missing(text, lack=Lack.RECORDING_NOT_HERE))


def _measured(load: Callable[[str], Recording], reference: str) -> Recording:
    recording = load(reference)
    if recording.is_simulated:
        text = "the recording is a simulated run, not a measurement; take it back and record aboard"
        raise NotEnoughData(Missing(text, lack=Lack.SIMULATED))
    if text := recording.no_times:
        raise NotEnoughData(Missing(text, lack=Lack.UNSUITABLE))
    return recording


def _only_measured(load: Callable[[str], Recording]) -> Callable[[str], Recording]:
    """A loader that refuses simulated runs: no calculator can reach one past it."""
    return load if isinstance(load, partial) and load.func is _measured else partial(_measured, load)


@frozen(kw_only=True)
class JobView:
    """A job as it stands.

    measurements   : at most one for each place; places in `disagreements` have none
    unreadable     : what was entered and cannot be read
    waiting        : what is kept for a plugin or a newer version
    load_recording : gives the recording behind a reference; raises NotEnoughData when it is not here or simulated
    settings       : the shop's settings, defaults filled in by the host
    settings_set   : values somebody set, for this job or for the shop's; the host decides which hold
    settings_used  : those that are not at their default or in doubt, by key; filled in by the host
    units_aside    : fields, by step and name, whose units do not tell how the boat is told; filled in by the host
    left_out       : steps that the shop leaves out of this job, by key; filled in by the host
    """

    vessel: Vessel
    job: Job
    measurements: tuple[Measurement, ...] = ()
    steps: tuple[StepState, ...] = ()
    notes: tuple[Note, ...] = ()
    forecasts: tuple[Forecast, ...] = ()
    sign_offs: tuple[SignOff, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()
    unreadable: tuple[Unreadable, ...] = ()
    waiting: tuple[Waiting, ...] = ()
    settings: Mapping[str, JsonValue] = attrs.field(factory=dict)
    settings_set: tuple[SettingSet, ...] = ()
    settings_used: Mapping[str, SettingUsed] = attrs.field(factory=dict)
    units_aside: frozenset[tuple[str, str]] = frozenset()
    left_out: Mapping[str, LeftOut] = attrs.field(factory=dict)
    load_recording: Callable[[str], Recording] = attrs.field(
        default=_no_recording, converter=_only_measured, eq=False, repr=False
    )
    _at: list[Mapping[FieldKey, Measurement]] = attrs.field(init=False, factory=list, eq=False, repr=False)
    _typed: list[tuple[tuple[FieldKey, str], ...]] = attrs.field(init=False, factory=list, eq=False, repr=False)
    _told_in: dict[str, str] = attrs.field(init=False, factory=dict, eq=False, repr=False)
    """What `unit_to_tell` gave where no places were named: it looks at all that was entered."""
    _disagree: frozenset[FieldKey] = attrs.field(init=False, eq=False, repr=False)

    @_disagree.default
    def _disagreeing(self) -> frozenset[FieldKey]:
        return frozenset(place_of_fact(disagreement.place) for disagreement in self.disagreements)

    def find(self, step: str, field: str, *, row: str = "", of: str = "") -> Measurement | None:
        """The measurement at a place; None when there is none or its values disagree."""
        return (self._at[0] if self._at else self._index()).get((step, field, row, of))

    def _index(self) -> Mapping[FieldKey, Measurement]:
        """By its place, each measurement and each fact of a plugin's own equipment. Made once it is asked for."""
        found = {place_of(one): one for one in _facts_of_own_kinds(self.vessel)}
        found |= {place_of(measurement): measurement for measurement in self.measurements}
        self._at.append(found)
        return found

    def value(self, step: str, field: str, *, row: str = "", of: str = "") -> JsonValue:
        """The value at a place as entered, or None."""
        found = self.find(step, field, row=row, of=of)
        return None if found is None else found.value

    def amount(self, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float | None:
        """The amount at a place [unit], or None. Raises NotEnoughData when what stands there cannot be read as one."""
        value = self.value(step, field, row=row, of=of)
        try:
            return Amount.parse(value).to(unit) if isinstance(value, str) else None
        except ValueError as unreadable:
            text = f"{self._where(step, field, row, of)}: {unreadable}"
            raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE, step=step, field=field, row=row, of=of)) from None

    def unit_as_typed(self, quantity: str, places: Collection[FieldKey] = ()) -> str:
        """The unit most amounts of a quantity were typed in; its first unit where none was.

        quantity : a key of `UNITS_OF`
        places   : of values and facts of the vessel, to look at these alone; without any, at all that was entered

        To look counts as reading nothing: no finding rests on the unit it is told in.
        """
        fitting = (
            unit
            for place, unit in self._typed_units()
            if unit in UNITS_OF[quantity] and (not places or place in places)
        )
        counts = Counter(fitting)
        return max(counts, key=counts.__getitem__, default=UNITS_OF[quantity][0])

    def unit_to_tell(self, unit: str, places: Collection[FieldKey] = ()) -> str:
        """The unit to tell a figure in that is worked out in another: the one the boat's values were typed in.

        unit   : it is worked out in ("gal/h", "nm", "nm/gal")
        places : what the figure rests on, where it is of inches: a boat's small lengths are typed in many units

        The same unit comes back for a quantity that is told in one unit only, or that nobody typed.
        """
        if places:
            return self._unit_to_tell(unit, places)
        if unit not in self._told_in:
            self._told_in[unit] = self._unit_to_tell(unit, ())
        return self._told_in[unit]

    def _unit_to_tell(self, unit: str, places: Collection[FieldKey]) -> str:
        if unit == "nm/gal":
            return f"{self.unit_to_tell('nm', places)}/{self.unit_to_tell('gal', places)}"
        if unit == "nm":  # a distance is typed nowhere: it goes with the speed
            speeds = {"mph": "mi", "km/h": "km", "m/s": "km"}
            return speeds.get(self.unit_as_typed("speed"), "nm")
        if unit in ("gal", "gal/h"):  # a recording types no flow, and a boat that was never refilled no volume
            own, other = ("volume", "fuel flow") if unit == "gal" else ("fuel flow", "volume")
            known = next((one for one in (own, other) if self._is_typed(one)), own)
            litres = self.unit_as_typed(known).startswith("L")
            return unit.replace("gal", "L") if litres else unit
        if unit == "in":
            return self._small_length_as_typed(places)
        if unit == "degC" and places:  # each where it was read: insulation is stamped in degC wherever it is sold
            return self.unit_as_typed("temperature", places)
        if unit == "psi":  # of water and fuel, by gauge
            return self._most_typed(_GAUGE_PRESSURES, "psi")
        quantity = next((one for one in _TOLD_AS_TYPED if unit in UNITS_OF[one]), "")
        return self.unit_as_typed(quantity) if quantity and self._is_typed(quantity) else unit

    def told(
        self,
        value: float,
        unit: str,
        decimals: int | None = None,
        expanded_uncertainty: float | None = None,
        places: Collection[FieldKey] = (),
    ) -> str:
        """An amount as to be told: in the unit the boat's values were typed in, see `unit_to_tell`.

        decimals : digits after the point; None for as many as four digits need

        >>> view = JobView(vessel=Vessel(hull_number="", plate_power=Amount("110", "kW")), job=Job(id="J-1"))
        >>> view.told(150, "hp", 0), view.told(150, "hp"), view.told(-12.7, "V", 1), view.told(-12.7, "V")
        ('112 kW', '111.9 kW', '−12.7 V', '−12.7 V')
        """
        shown = self.unit_to_tell(unit, places)
        one = in_unit(value, unit, shown)
        if decimals is None:
            return f"{plain_text(one)} {shown}".replace("-", "−")
        within = None if expanded_uncertainty is None else in_unit(expanded_uncertainty, unit, shown)
        return f"{with_uncertainty(one, within, decimals)} {shown}"

    def _small_length_as_typed(self, places: Collection[FieldKey]) -> str:
        """As pitch, transom or the way to a fuse were typed; of some places where a small length stands there."""
        return self._most_typed(_SMALL_LENGTHS, "in", places)

    def _most_typed(self, units: Collection[str], default: str, places: Collection[FieldKey] = ()) -> str:
        """Which of these units was typed most; at some places, where one of them was typed there."""
        typed = [(place, unit) for place, unit in self._typed_units() if unit in units]
        here = [unit for place, unit in typed if place in places] or [unit for _, unit in typed]
        counts = Counter(here)
        return max(counts, key=counts.__getitem__, default=default)

    def _is_typed(self, quantity: str) -> bool:
        return any(unit in UNITS_OF[quantity] for _, unit in self._typed_units())

    def _typed_units(self) -> tuple[tuple[FieldKey, str], ...]:
        """Where an amount was entered, and its unit: values first, then facts of the vessel. Looked up once."""
        if not self._typed:
            counting = (one for one in self.measurements if (one.step, one.field) not in self.units_aside)
            values = ((place_of(one), _unit_of(one.value)) for one in counting)
            self._typed.append((*((place, unit) for place, unit in values if unit), *_units_of_vessel(self.vessel)))
        return self._typed[0]

    def rows(self, step: str, field: str = "") -> tuple[str, ...]:
        """Rows of a step's tables, in the order they were first written; with `field`, those that have it."""
        hits = (m.row for m in self.measurements if m.step == step and m.row and field in ("", m.field))
        return tuple(dict.fromkeys(hits))

    def recording(self, step: str, field: str, *, row: str = "", of: str = "") -> Recording | None:
        """The recording attached at a place, or None, called as the person knows it.

        Of instruments that send the same it holds the one a person chose for this vessel, where that one is in it.
        Raises NotEnoughData when its file is not here, or simulated.
        """
        value = self.value(step, field, row=row, of=of)
        reference, name = (value.get("file"), value.get("name")) if isinstance(value, dict) else (None, None)
        if not isinstance(reference, str):
            return None
        try:
            recording = self.load_recording(reference)
        except NotEnoughData as lacking:
            raise NotEnoughData(
                *(attrs.evolve(one, step=step, field=field, row=row, of=of) for one in lacking.missing)
            ) from None
        recording = _with_chosen(recording, self.vessel)
        return attrs.evolve(recording, name=name) if isinstance(name, str) and name else recording

    @property
    def signed_under(self) -> tuple[Signed, ...]:
        """For each technician's signature that covers all that was entered, the settings it was given under.

        A setting of the job decided after it leaves the others as they were signed.
        """
        return tuple(_signed_under(one) for one in self.sign_offs if one.role == "technician" and _covers_entered(one))

    def setting(self, key: str) -> JsonValue:
        """A shop setting that is a choice, text, or yes or no. Raises KeyError for a key no plugin declared."""
        return self.settings[key]

    def setting_value(self, key: str, unit: str = "") -> float:
        """A shop setting that is an amount or a count [unit]. Raises KeyError for a key no plugin declared."""
        return setting_number(self.settings, key, unit)

    def setting_amount(self, key: str, unit: str) -> float:
        """A former name of `setting_value`, which older plugins may use: the same number, in the same unit [unit]."""
        return self.setting_value(key, unit)

    @property
    def fuel(self) -> str:
        """What the boat burns: the answer to the field of the name `fuel` of any step. "" where it is not known.

        It decides which cautions are shown; to look counts as reading nothing.
        """
        disputed = (one for disagreement in self.disagreements for one in disagreement.values)
        answers = (*self.measurements, *disputed)  # while two disagree the boat burns neither
        said = {one.value for one in answers if one.field == "fuel" and isinstance(one.value, str)}
        return said.pop() if len(said) == 1 else ""

    def in_dispute(self, step: str, field: str, *, row: str = "", of: str = "") -> bool:
        """Whether values at a place disagree and nobody has settled which holds."""
        return (step, field, row, of) in self._disagree

    def state_of(self, step: str) -> str:
        """The state of a step: to do, under way, done, look again, not fitted."""
        return next((state.state for state in reversed(self.steps) if state.step == step), "to do")

    def once(self, work: Callable[Concatenate[JobView, P], T], *asked: P.args, **named: P.kwargs) -> T:
        """`work(view, ...)`, worked out once while a job is assessed, however many calculators ask for it.

        What it gives is shared, so nobody may change it. Asked with the same objects, it is the same work. A finding
        rests on the values and the settings it read, as if it were worked out anew.
        """
        return work(self, *asked, **named)

    def with_vessel(self, change: Callable[[Vessel], Vessel]) -> JobView:
        """The same job of a changed vessel: the same boat with another propeller on it."""
        return attrs.evolve(self, vessel=change(self.vessel))

    def field_in_words(self, step: str, field: str) -> str:
        """What a person calls a field: its title in quotes, as its step declares it; without a host, its name."""
        name = field.rpartition(".")[2]  # of a piece of equipment the field comes after its kind
        return name.replace("_", " ")

    def _where(self, step: str, field: str, row: str, of: str) -> str:
        return self.field_in_words(step, field) + (f" ({of})" if of else "") + (f", {row_in_words(row)}" if row else "")

    def asking(self) -> InputCollector:
        """Start asking for what a calculation needs; see `InputCollector`."""
        return InputCollector(self)


@attrs.define
class InputCollector:
    """Asks for everything a calculation needs and reports all that is missing at once.

    Every question returns a usable value or a stand-in (NaN, empty text, False); `check` raises
    NotEnoughData with one reason for each stand-in given out, so call it before computing.
    """

    view: JobView
    _missing: list[Missing] = attrs.field(factory=list)
    _told: int = attrs.field(init=False, default=0)
    """So many of these were there when whoever asks last looked."""

    @property
    def missing(self) -> list[Missing]:
        """What is missing so far."""
        self._told = len(self._missing)
        return self._missing

    @missing.setter
    def missing(self, missing: list[Missing]) -> None:
        self._missing = missing
        self._told = len(missing)

    @property
    def reasons(self) -> tuple[str, ...]:
        """What is missing so far, in words. A tuple, so that adding to it fails instead of being lost: use `need`."""
        return tuple(item.text for item in self.missing)

    @property
    def not_looked_at(self) -> tuple[str, ...]:
        """What is missing, in words, where a stand-in was given out and nobody looked: see `check`."""
        return tuple(item.text for item in self._missing[self._told :])

    def amount(self, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float:
        """The amount at a place [unit]; one that cannot be read as such counts as missing, with the reason."""
        try:
            value = self.view.amount(step, field, unit, row=row, of=of)
        except NotEnoughData as unreadable:
            self._missing.extend(unreadable.missing)
            return math.nan
        return self._or_missing(value, math.nan, "a number with its unit", step, field, row, of)

    def count(self, step: str, field: str, *, row: str = "", of: str = "") -> int:
        """The whole number at a place; 0 stands in where there is none."""
        value = self.view.value(step, field, row=row, of=of)
        return self._or_missing(value if type(value) is int else None, 0, "a whole number", step, field, row, of)

    def choice(self, step: str, field: str, *, row: str = "", of: str = "") -> str:
        """The choice or text at a place."""
        value = self.view.value(step, field, row=row, of=of)
        return self._or_missing(value if isinstance(value, str) else None, "", "text", step, field, row, of)

    def yes(self, step: str, field: str, *, row: str = "", of: str = "") -> bool:
        """The yes or no at a place."""
        value = self.view.value(step, field, row=row, of=of)
        return self._or_missing(value if isinstance(value, bool) else None, False, "yes or no", step, field, row, of)

    def recording(self, step: str, field: str, *, row: str = "", of: str = "") -> Recording:
        """The recording attached at a place; an empty one stands in when there is none, not here or simulated."""
        try:
            found = self.view.recording(step, field, row=row, of=of)
        except NotEnoughData as lacking:
            self._missing.extend(lacking.missing)
            return Recording("", {})
        return self._or_missing(found, Recording("", {}), "a recording", step, field, row, of)

    def settled(self, step: str, field: str, *, row: str = "", of: str = "") -> None:
        """Add a reason where values at a place that may be left open disagree."""
        if self.view.in_dispute(step, field, row=row, of=of):
            self._missing.append(nothing_at(self.view, step, field, row=row, of=of))

    def known(self, amount: Amount | None, unit: str, what: str, *, field: str = "", of: str = "") -> float:
        """An amount of a record [unit]; `what` names it for the person ("port engine: gear ratio").

        field, of : its record and key, and the piece, for programs ("engines.gear_ratio", "port")
        """
        if amount is None:
            self._missing.append(Missing(f"{what} is not entered", lack=Lack.NOT_ENTERED, field=field, of=of))
            return math.nan
        return amount.to(unit)

    def need(
        self,
        condition: bool,
        reason: Missing | str,
        *,
        lack: Lack = Lack.OTHER,
        step: str = "",
        field: str = "",
        row: str = "",
        of: str = "",
    ) -> None:
        """Add a reason unless the condition holds. One given as text is of the kind and place that follow."""
        if not condition:
            self._missing += NotEnoughData(reason, lack=lack, step=step, field=field, row=row, of=of).missing

    def check(self) -> None:
        """Raise NotEnoughData when anything asked for was missing."""
        if self._missing:
            raise NotEnoughData(*self._missing)

    def _or_missing(self, value: T | None, stand_in: T, expected: str, step: str, field: str, row: str, of: str) -> T:
        if value is not None:
            return value
        self._missing.append(nothing_at(self.view, step, field, row=row, of=of, expected=expected))
        return stand_in


Asking = InputCollector
"""A former name of `InputCollector`, which older plugins may use; `JobView.asking` gives one."""


def nothing_at(
    view: JobView, step: str, field: str, *, row: str = "", of: str = "", expected: str = "it again"
) -> Missing:
    """What to say of a place without a usable value: values disagree, one cannot be read, or nothing is entered there.

    expected : what to enter where something stands there that is of no use
    """
    where, found = view._where(step, field, row, of), view.value(step, field, row=row, of=of)
    misfit = next((one for one in view.unreadable if one.place == (step, field, row, of)), None)
    if view.in_dispute(step, field, row=row, of=of):
        lack, text = Lack.DISAGREES, f"{where}: values disagree, choose one"
    elif misfit is not None:
        lack, text = Lack.UNREADABLE, f"{where}: {misfit.got} cannot be read, enter {misfit.expected}"
    elif found is not None:
        lack, text = Lack.UNREADABLE, f"{where}: {json.dumps(found)[:40]} cannot be read, enter {expected}"
    else:
        lack, text = Lack.NOT_ENTERED, f"{where} is not entered"
    return Missing(text, lack=lack, step=step, field=field, row=row, of=of)


def refuse_set_back(recording: Recording, *, step: str, field: str) -> None:
    """Raise NotEnoughData where the clock of a recording was set back: what it says of a moment may be of another."""
    if recording.was_set_back:
        text = (
            f"the clock of {recording.name} goes back by {rounded(recording.set_back)} s: two moments lie one over the "
            "other; record again"
        )
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=step, field=field)


def _covers_entered(sign_off: SignOff) -> bool:
    """Whether nothing but settings of the job was changed after a signature."""
    return not sign_off.stale or 0 < len(sign_off.not_covered) == len(_decided_since(sign_off))


def _decided_since(sign_off: SignOff) -> list[str]:
    """Keys of the settings among what a signature does not cover; see `registers.name_of`."""
    named = (name.partition(" ") for name in sign_off.not_covered)
    return [key for kind, _, key in named if kind == SETTING]


def _signed_under(sign_off: SignOff) -> Signed:
    stated = {key: _signed(key, stated) for key, stated in sign_off.settings.items()}
    return {**stated, **dict.fromkeys(_decided_since(sign_off))}


def _signed(key: str, stated: JsonValue) -> SettingSet:
    """A setting as a signature states it."""
    plain = stated if isinstance(stated, dict) else {}
    by, at, reason = (one if isinstance(one := plain.get(name), str) else "" for name in ("by", "at", "reason"))
    return SettingSet(key=key, value=plain.get("value"), source=SIGNED, by=by, at=at, reason=reason)


_LEFT_OUT = "left_out."
"""With a step's key after it, the key under which a signature states that the step is left out."""


def stated_left_out(left_out: Mapping[str, LeftOut]) -> dict[str, JsonValue]:
    """What a signature states of the steps that are left out, among the settings it is given under."""
    return {
        f"{_LEFT_OUT}{step}": {"value": one.check, "by": one.by, "at": one.on, "reason": one.reason}
        for step, one in left_out.items()
    }


def is_left_out_key(key: str) -> bool:
    """Whether a signature states under it that a step is left out, and no setting."""
    return key.startswith(_LEFT_OUT)


def signed_left_out(signed: Sequence[Signed]) -> dict[str, LeftOut]:
    """The steps that are left out as a job was signed: those that every signature states."""
    first, *others = signed
    return {
        (step := key.removeprefix(_LEFT_OUT)): LeftOut(
            step=step, reason=one.reason, by=one.by, on=one.at, check=str(one.value), is_signed=True
        )
        for key, one in first.items()
        if one is not None and is_left_out_key(key) and all(key in other for other in others)
    }


def amount_or_fault(value: JsonValue, quantity: str) -> Amount:
    """A value of a job as an amount. Older plugins may use it; write `JobView.amount` or `units.parse_amount` now.

    value    : as it was entered, such as "12.5 V"
    quantity : a key of `units.UNITS_OF`
    Raises ValueRefused, saying what was expected, for what is no text, no number, or of another quantity.
    """
    if not isinstance(value, str):
        raise ValueRefused('text with number and unit, such as "12.5 V"', repr(value))
    return parse_amount(value, quantity)
