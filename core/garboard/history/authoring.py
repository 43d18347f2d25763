"""Writing entries: each names what it replaces, so that nothing another person wrote is passed over unseen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from uuid import uuid4

import attrs

from garboard.disk.clock import HybridClock, wall_text
from garboard.disk.entries import FORECAST, Entry, make_entry
from garboard.faults import Fault, InputError
from garboard.history.halves import DECISION
from garboard.history.moves import JOINING, LEAVING
from garboard.history.registers import Register, RegisterKey, register_of
from garboard.history.replay import HullState
from garboard.history.values import member, same_value
from garboard.job_files.convert import unstructure
from garboard.job_files.job_file import JobFile
from garboard.job_view import JobView, stated_left_out
from garboard.labels import CircuitLabel
from garboard.records import NEW_BOAT, Forecast, Job, JsonValue, Vessel, is_equipment, named_by
from garboard.settings import DEFAULT, JOB, SETTING, SettingSet


@attrs.frozen
class Author:
    """Who writes, on which tablet.

    plugins : versions of the plugins at work, written into every entry
    at_job  : the job in which facts about the vessel are written or taken back: its signatures stand for these too
    """

    tablet: str
    by: str
    clock: HybridClock = attrs.field(factory=HybridClock)
    plugins: Mapping[str, str] = attrs.field(factory=dict)
    wall: Callable[[], str] = wall_text
    at_job: str = ""

    def write(
        self,
        state: HullState,
        kind: str,
        subject: tuple[str, ...],
        value: JsonValue,
        *,
        job: str = "",
        replaces: tuple[str, ...] | None = None,
        more: Mapping[str, JsonValue] | None = None,
        at: str = "",
        hull: str = "",
    ) -> Entry:
        """A new entry that replaces what is now current in its register, unless `replaces` says otherwise.

        hull : the number it is kept under, where the boat has several and not the one asked for is meant
        """
        register_job = "" if kind == "field" else job
        is_fact = kind == "field" or (kind == "retract" and member(value, "kind") == "field")
        heads = state.heads(RegisterKey(kind, register_job, subject)) if replaces is None else replaces
        return make_entry(
            kind,
            hull or state.hull_number,
            dev=self.tablet,
            by=self.by,
            clock=self.clock.now(),
            at=at or self.wall(),
            job=job or (self.at_job if is_fact else ""),
            subject=subject,
            value=value,
            replaces=heads,
            plugins=self.plugins,
            more=more,
        )


STATED_IN_FILE = "stated in the job file"
"""The reason kept with a setting that came in a job file."""


def new_job_id() -> str:
    """A random id, so that two tablets never give one id to two jobs."""
    return uuid4().hex[:12]


def open_job(
    author: Author,
    state: HullState,
    hull: str,
    kind: str = NEW_BOAT,
    owner: str = "",
    technicians: Sequence[str] = (),
) -> list[Entry]:
    """A new job, opened today. Every entry carries the hull number as it was typed just now, whatever was before."""
    job = new_job_id()
    facts: dict[str, JsonValue] = {
        "kind": kind,
        "opened": author.wall()[:10],
        "owner": owner,
        "technicians": [*technicians],
    }
    return [author.write(state, "job", (name,), value, job=job, hull=hull) for name, value in facts.items() if value]


def measure(
    author: Author,
    state: HullState,
    job: str,
    step: str,
    field: str,
    value: JsonValue,
    *,
    row: str = "",
    of: str = "",
    instrument: str = "",
) -> Entry:
    """A measurement that replaces what stands in its place."""
    more: dict[str, JsonValue] = {"instrument": instrument} if instrument else {}
    return author.write(state, "measure", (step, field, row, of), value, job=job, more=more)


def keep_forecast(author: Author, state: HullState, job: str, forecast: Forecast) -> Entry:
    """What is foreseen of a propeller that will be tried next. Each stands by itself: none replaces another."""
    value = _without(forecast, "by", "at")
    return author.write(state, FORECAST, (uuid4().hex[:12],), value, job=job)


def labels_printed(author: Author, state: HullState, labels: Iterable[CircuitLabel]) -> list[Entry]:
    """What the labels of circuits say, kept with them; nothing anew for a label that says what is kept already.

    state : of the hull that holds what is known of the boat's circuits
    """
    return [
        author.write(state, "field", ("circuits", label.name, "label"), label.text)
        for label in labels
        if label.printed != label.text
    ]


def retract(author: Author, state: HullState, key: RegisterKey, reason: str) -> Entry:
    """Take back everything that is current in a register. What was replaced earlier does not come back."""
    if not reason.strip():
        raise InputError("retraction", [Fault("reason", "why it is taken back", "nothing")])
    heads = state.heads(key)
    if not heads:
        got = f"{'/'.join(key.subject).rstrip('/')}, where none stands"
        raise InputError("retraction", [Fault("value", "a value that stands", got)])
    value: JsonValue = {"kind": key.kind, "reason": reason}
    return author.write(state, "retract", key.subject, value, job=key.job, replaces=heads)


def settle(author: Author, state: HullState, key: RegisterKey, value: JsonValue, reason: str) -> Entry:
    """Choose a value where several disagree. The choice replaces them all and says why."""
    if not reason.strip():
        raise InputError("settling", [Fault("reason", "why this value is right", "nothing")])
    if len(state.current(key)) < 2:
        got = f"{'/'.join(key.subject).rstrip('/')}, where nothing disagrees"
        raise InputError("settling", [Fault("value", "a disagreement; enter the value anew, or take it back", got)])
    read_with = {one.instrument for one in state.current(key) if one.value == value}
    more: dict[str, JsonValue] = {"reason": reason}
    if len(read_with) == 1 and (instrument := read_with.pop()):  # the reading chosen was made with it
        more["instrument"] = instrument
    return author.write(state, key.kind, key.subject, value, job=key.job, more=more)


def sign_off(
    author: Author,
    state: HullState,
    job: str,
    role: str,
    name: str,
    *,
    at: str = "",
    covers: Iterable[str] | None = None,
    settings: Mapping[str, JsonValue] | None = None,
    replaces: tuple[str, ...] | None = None,
    drawn: str = "",
) -> Entry:
    """A signature over what the signer saw, listed by id: everything in the job that this program understands.

    covers   : ids of less, where the signer saw less
    settings : those it is given under, as `signed_under` states them: the job keeps them, whatever the shop decides
    replaces : ids of earlier signatures it stands in the place of; None for the same person's that stand
    drawn    : name of the attachment with its strokes, where it was drawn
    """
    ids: list[JsonValue] = [*(state.coverage(job) if covers is None else sorted(covers))]
    value: dict[str, JsonValue] = {"role": role, "name": name, "covers": ids}
    if settings:
        value["settings"] = dict(settings)
    if drawn:
        value["signature"] = {"file": drawn}
    return author.write(state, "signoff", (role, name), value, job=job, at=at, replaces=replaces)


def signed_under(view: JobView) -> dict[str, JsonValue]:
    """What a signature states of the settings it is given under, and of the steps that the shop leaves out.

    The job's own settings are entries it covers.
    """
    stated = stated_left_out(view.left_out)
    for key, used in view.settings_used.items():
        by = used.set[0] if len(used.set) == 1 else SettingSet(key=key, value=used.value)
        if used.state != DEFAULT and not any(one.source == JOB for one in used.set):
            stated[key] = {"value": used.value, "by": by.by, "at": by.at, "reason": by.reason}
    return stated


def same_boat(author: Author, one: HullState, other: HullState, reason: str) -> tuple[Entry, Entry]:
    """Say that two hull numbers are one boat: one entry in each hull's file, so that either leads to the other."""
    more: dict[str, JsonValue] = {DECISION: new_job_id()}
    return tuple(  # type: ignore[return-value]
        author.write(here, "alias", (there.hull,), {"hull": there.hull, "reason": reason}, more=more)
        for here, there in ((one, other), (other, one))
    )


def move_job(author: Author, source: HullState, target: HullState, job: str, reason: str) -> tuple[Entry, Entry]:
    """Move a job to the hull it belongs to: one entry in each hull's file. Undone by retracting both.

    To be saved in this order: the file that shows the job until the other has its half knows where it goes.
    """
    more: dict[str, JsonValue] = {DECISION: new_job_id()}
    leaving: JsonValue = {"hull": target.hull, "reason": reason}
    arriving: JsonValue = {"hull": source.hull, "reason": reason}
    return (
        author.write(source, "move", LEAVING, leaving, job=job, more=more),
        author.write(target, "move", ("from", source.hull), arriving, job=job, more=more),
    )


def join_job(author: Author, state: HullState, job: str, into: str, reason: str) -> Entry:
    """Join a job into another of the same boat: two people opened one each for the same piece of work.

    state : of the boat's own hull number, also where the jobs were moved to it
    """
    if not reason.strip():
        raise InputError("joining", [Fault("reason", "why the two are one job", "nothing")])
    if state.joined(into) == state.joined(job):
        raise InputError("joining", [Fault("job", f"one that {job} does not stand in already", into)])
    return author.write(state, "move", JOINING, {"job": into, "reason": reason}, job=job)


def part_job(author: Author, state: HullState, job: str, reason: str) -> Entry:
    """Take back that a job was joined into another: each is by itself again, as before."""
    return retract(author, state, RegisterKey("move", job, JOINING), reason)


def take_in(author: Author, state: HullState, job_file: JobFile, home: HullState | None = None) -> list[Entry]:
    """Turn a job file written by hand into entries, adding each to the state.

    home : of the hull number that holds the job, where it was moved here; what is known of the vessel is written here

    What already stands with the same value is not repeated, nor what was replaced or taken back since it was written at
    the time the file gives, so a file taken in twice adds nothing. Where another value stands the file's joins it, and
    the two disagree until a person chooses: whoever wrote the file may never have seen the other. Only a measurement
    that carries the id of the entry it was exported from replaces that one. The file's signatures cover what stands in
    it.
    """
    written: list[Entry] = []
    shown: set[str] = set()
    of_job = home or state
    for fact in _facts(job_file):
        into = state if fact.kind == "field" else of_job
        key = RegisterKey(fact.kind, "" if fact.kind == "field" else job_file.job.id, fact.subject)
        if not _is_here(into.register(key), fact):
            signed = attrs.evolve(author, by=fact.by or author.by)
            try:
                entry = signed.write(
                    into,
                    fact.kind,
                    fact.subject,
                    fact.value,
                    job="" if home and fact.kind == "field" else job_file.job.id,
                    replaces=_replaced_knowingly(into.register(key), fact.saw),
                    more=fact.more,
                    at=fact.at,
                )
            except InputError as failure:
                raise InputError("job file", [_placed(fault, fact) for fault in failure.faults]) from None
            into.add(entry)
            written.append(entry)
        shown.update(head.id for head in into.register(key).heads if same_value(head.value, fact.value))
    for signature in job_file.sign_offs:
        signed = attrs.evolve(author, by=signature.name)
        entry = sign_off(
            signed,
            of_job,
            job_file.job.id,
            signature.role,
            signature.name,
            at=signature.at,
            covers=shown,
            settings=signature.settings,
            replaces=(),
        )
        there = of_job.register(register_of(entry)).history
        if not any(one.kind == "signoff" and signature.at in ("", one.at) for one in there):
            of_job.add(entry)
            written.append(entry)
    return written


def _placed(fault: Fault, fact: _Fact) -> Fault:
    return attrs.evolve(fault, about=f"{fact.kind} {', '.join(filter(None, fact.subject))}")


def _is_here(register: Register, fact: _Fact) -> bool:
    """Whether a value stands already, or was written at the same time by the same person and is settled since.

    A note stands only where the same person wrote it: in the same words somebody else's is another. A setting in a
    file has no time: one that was ever here stays as it was decided since.
    """
    if fact.kind == SETTING:
        return register.ever_set(fact.value)
    if any(head.value == fact.value and (fact.kind != "note" or _may_be_of(head, fact)) for head in register.heads):
        return True
    return fact.at != "" and any(
        (one.value, one.by, one.at) == (fact.value, fact.by, fact.at) for one in register.entries.values()
    )


def _may_be_of(entry: Entry, fact: _Fact) -> bool:
    """Whether who wrote an entry, and when, are those of a fact, as far as the fact says."""
    return fact.by in ("", entry.by) and fact.at in ("", entry.at)


def _replaced_knowingly(register: Register, saw: str) -> tuple[str, ...]:
    """What whoever changed a value in an exported job file saw in its place: the entry it names, and what agrees."""
    seen = register.entries.get(saw)
    return tuple(head.id for head in register.heads if same_value(head.value, seen.value)) if seen else ()


@attrs.frozen
class _Fact:
    """saw : the id of the entry that stood in its place when the file was exported"""

    kind: str
    subject: tuple[str, ...]
    value: JsonValue
    by: str = ""
    at: str = ""
    more: Mapping[str, JsonValue] = attrs.field(factory=dict)
    saw: str = ""


def _facts(job_file: JobFile) -> Iterator[_Fact]:
    for path, value in vessel_fields(job_file.vessel):
        yield _Fact("field", path, value)
    for name, value in _job_fields(job_file.job):
        yield _Fact("job", (name,), value)
    for measured in job_file.measurements:
        place = (measured.step, measured.field, measured.row, measured.of)
        more: dict[str, JsonValue] = {"instrument": measured.instrument} if measured.instrument else {}
        yield _Fact("measure", place, measured.value, measured.by, measured.at, more, measured.id)
    for step in job_file.steps:
        yield _Fact("step", (step.step,), _without(step, "step", "by", "at"), step.by, step.at)
    for number, note in enumerate(job_file.notes, start=1):
        yield _Fact("note", (f"imported {number}",), _without(note, "by", "at"), note.by, note.at)
    for number, one in enumerate(job_file.forecasts, start=1):
        yield _Fact(FORECAST, (f"imported {number}",), _without(one, "by", "at"), one.by, one.at)
    for key, setting in job_file.settings.items():
        yield _Fact(SETTING, (key,), setting, more={"reason": STATED_IN_FILE})


def _without(record: object, *names: str) -> dict[str, JsonValue]:
    return {key: value for key, value in unstructure(record).items() if key not in names}


def vessel_fields(vessel: Vessel) -> Iterator[tuple[tuple[str, ...], JsonValue]]:
    """A vessel as fields: (path, value), equipment under its name ("engines", "port", "gear_ratio")."""
    plain = unstructure(vessel)
    for key, value in plain.items():
        if is_equipment(key) and isinstance(value, list):
            yield from _piece_fields((key,), value, named_by(key))
        else:
            yield from _leaves((key,), value)


def _piece_fields(path: tuple[str, ...], pieces: JsonValue, name: str) -> Iterator[tuple[tuple[str, ...], JsonValue]]:
    for piece in pieces if isinstance(pieces, list) else ():
        if isinstance(piece, dict) and name in piece:
            here = (*path, str(piece[name]))
            yield (*here, name), piece[name]
            for key, value in piece.items():
                if key == "devices":
                    yield from _piece_fields((*here, key), value, "name")
                elif key != name:
                    yield from _leaves((*here, key), value)


def _leaves(path: tuple[str, ...], value: JsonValue) -> Iterator[tuple[tuple[str, ...], JsonValue]]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _leaves((*path, key), item)
    else:
        yield path, value


def _job_fields(job: Job) -> Iterator[tuple[str, JsonValue]]:
    plain = unstructure(job)
    plain.pop("id", None)
    plain.setdefault("kind", job.kind)
    yield from plain.items()
