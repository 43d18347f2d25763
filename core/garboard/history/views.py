"""The job as a calculator reads it, made from what is current in its registers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from garboard.disk.clock import Stamp
from garboard.disk.entries import FORECAST, Entry
from garboard.faults import Fault
from garboard.history.moves import target
from garboard.history.registers import TECHNICIANS, VESSEL, RegisterKey, disagree
from garboard.history.shapes import Misfit, signed
from garboard.history.sound import sound_part, sound_whole
from garboard.history.values import member
from garboard.job_view import Disagreement, JobView, Unreadable, Waiting
from garboard.records import Forecast, Job, JsonValue, Measurement, Note, SignOff, StepState, Vessel
from garboard.samples import Recording

Current = Mapping[RegisterKey, tuple[Entry, ...]]
"""For each register what is current in it: nothing, one value, or several that disagree."""


def job_view(
    job: str,
    of_job: Current,
    *,
    readings: Iterable[tuple[RegisterKey, Entry]] = (),
    vessel: Vessel,
    of_vessel: Current,
    not_covered: Mapping[str, tuple[str, ...]],
    unreadable: tuple[Unreadable, ...] = (),
    waiting: tuple[Waiting, ...] = (),
    settings: Mapping[str, JsonValue] | None = None,
    load_recording: Callable[[str], Recording] | None = None,
    measured: dict[str, Measurement] | None = None,
    stated: dict[str, tuple[StepState, ...]] | None = None,
) -> JobView:
    """The job as a calculator reads it.

    of_job      : its registers, but for those that each hold one plain reading
    readings    : what those hold
    of_vessel   : the vessel's fields, and the notes that belong to no job
    not_covered : by a stale sign-off's id, the names of what it does not cover
    unreadable  : what is entered and cannot be read
    waiting     : what is kept for a plugin or a newer version
    measured    : measurements made of entries before, by their ids; those made now are added
    stated      : the same of how far steps are
    """
    known_states = {} if stated is None else stated
    keys = sorted(of_job, key=lambda key: (of_job[key][0].clock if of_job[key] else Stamp(0, 0), key))
    of_one_value = [(key, of_job[key][0]) for key in keys if len(of_job[key]) == 1]
    alone = [(entry.clock, key, entry) for key, entry in of_one_value if key.is_measurement]
    alone += [(entry.clock, key, entry) for key, entry in readings]
    fields = sorted(key for key in of_vessel if key.kind == "field")
    loader: dict[str, Any] = {} if load_recording is None else {"load_recording": load_recording}
    return JobView(
        vessel=vessel,
        job=_job_record(job, of_job),
        measurements=tuple(_measurements(alone, {} if measured is None else measured)),
        steps=tuple(
            state
            for key, entry in of_one_value
            if key.kind == "step"
            for state in known_states.get(entry.id) or known_states.setdefault(entry.id, _step_state(key, entry))
        ),
        notes=tuple(note for entry in _notes(keys, of_job, of_vessel) for note in sound_whole(signed(entry), Note)),
        forecasts=tuple(
            one
            for key in keys
            if key.kind == FORECAST
            for entry in of_job[key]
            for one in sound_whole(signed(entry), Forecast)
        ),
        sign_offs=tuple(_sign_offs(of_job, not_covered)),
        disagreements=tuple(_disagreements([*_several(of_job, keys), *_several(of_vessel, fields)])),
        unreadable=unreadable,
        waiting=waiting,
        settings=settings or {},
        **loader,
    )


def _job_record(job: str, of_job: Current) -> Job:
    plain: dict[str, JsonValue] = {}
    for key, current in of_job.items():
        if key[::2] == TECHNICIANS and len(current) > 1:
            lists = [entry.value for entry in current if isinstance(entry.value, list)]
            plain["technicians"] = [*dict.fromkeys(name for names in lists for name in names if isinstance(name, str))]
        elif key.kind == "job" and len(key.subject) == 1 and len(current) == 1:
            plain[key.subject[0]] = current[0].value
    record, _ = sound_part({**plain, "id": job}, Job)
    return record


def _measurements(
    alone: list[tuple[Stamp, RegisterKey, Entry]], known: dict[str, Measurement]
) -> Iterator[Measurement]:
    """Of values that stand alone in their registers, in the order they were written."""
    alone.sort()
    for _, _, entry in alone:
        found = known.get(entry.id)
        if found is None:
            found = known[entry.id] = _measurement(entry)
        yield found


def _measurement(entry: Entry) -> Measurement:
    step, field, row, of = entry.subject
    return Measurement(
        step=step,
        field=field,
        row=row,
        of=of,
        value=entry.value,
        at=entry.at,
        by=entry.by,
        instrument=entry.instrument,
        id=entry.id,
    )


def _step_state(key: RegisterKey, entry: Entry) -> tuple[StepState, ...]:
    if len(key.subject) != 1 or not isinstance(entry.value, dict):
        return ()
    return sound_whole({**signed(entry), "step": key.subject[0]}, StepState)


def _notes(keys: Iterable[RegisterKey], of_job: Current, of_vessel: Current) -> Iterator[Entry]:
    for key in sorted(key for key in of_vessel if key.kind == "note"):
        yield from of_vessel[key]
    for key in keys:
        if key.kind == "note":
            yield from of_job[key]


def _sign_offs(of_job: Current, not_covered: Mapping[str, tuple[str, ...]]) -> Iterator[SignOff]:
    for key in sorted(key for key in of_job if key.kind == "signoff"):
        for entry in of_job[key]:
            plain = {name: value for name, value in signed(entry).items() if name != "covers"}
            missed: list[JsonValue] = [*not_covered.get(entry.id, ())]
            yield from sound_whole({**plain, "stale": bool(missed), "not_covered": missed}, SignOff)


def _several(current: Current, keys: Iterable[RegisterKey]) -> Iterator[tuple[RegisterKey, tuple[Entry, ...]]]:
    """The registers in which several values are current: few of hundreds."""
    return ((key, current[key]) for key in keys if len(current[key]) > 1)


def _disagreements(registers: Iterable[tuple[RegisterKey, tuple[Entry, ...]]]) -> Iterator[Disagreement]:
    for key, current in registers:
        if disagree(key, current) and key.kind != "setting":  # a setting in doubt has a value all the same
            yield _disagreement(key, current)


def _disagreement(key: RegisterKey, current: tuple[Entry, ...]) -> Disagreement:
    if key.is_measurement:
        step, field, row, of = key.subject
        return Disagreement((step, field, row, of), tuple(map(_measurement, current)))
    step, field = _place_in_words(key)
    values = (Measurement(step=step, field=field, value=_in_short(e), at=e.at, by=e.by, id=e.id) for e in current)
    return Disagreement((step, field, "", ""), tuple(values))


def unreadable_at(key: RegisterKey | None, entry: Entry, why: Misfit | Fault) -> Unreadable:
    """An entry that cannot be read, with its place where it has one."""
    place = ("", "", "", "")
    if key is not None and key.is_measurement:
        step, field, row, of = key.subject
        place = (step, field, row, of)
    elif key is not None:
        is_told = entry.kind != "retract" or member(entry.value, "kind") == key.kind != ""
        place = (*_place_in_words(key if is_told else key._replace(kind=entry.kind)), "", "")
    return Unreadable(place=place, expected=why.expected, got=why.got, by=entry.by, at=entry.at, id=entry.id)


def _place_in_words(key: RegisterKey) -> tuple[str, str]:
    """Step and field that stand for a register which holds no measurements."""
    subject = "/".join(key.subject)
    if key.kind == "step" and subject:
        return subject, "state"
    return VESSEL if key.kind == "field" else key.kind, subject


def _in_short(entry: Entry) -> JsonValue:
    """What a person chooses between where values disagree."""
    if entry.kind == "move":
        return target(entry)
    return member(entry.value, "state") if entry.kind == "step" and isinstance(entry.value, dict) else entry.value
