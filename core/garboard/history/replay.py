"""From a set of entries to the state of a hull and its jobs. Pure: the same entries give the same state, whatever
the order they come in and however often.

Jobs joined into one share their registers for as long as the joining stands: two technicians opened one each for the
same piece of work. Taken back, each is by itself again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import chain

import attrs

from garboard import hull_number
from garboard.disk.bulk import makes_many
from garboard.disk.clock import Stamp
from garboard.disk.entries import ISSUED, STRAY, Entry
from garboard.faults import Fault
from garboard.history.moves import LEAVING, joined_jobs, named_hull, named_job
from garboard.history.registers import (
    Register,
    RegisterKey,
    Resolution,
    Retraction,
    disagree,
    is_of_label,
    name_of,
    register_of,
    resolution_in,
    retractions_in,
)
from garboard.history.shapes import Misfit, misfit_of
from garboard.history.signature_scope import SignatureScope, Staleness
from garboard.history.vessel import assemble_vessel
from garboard.history.views import job_view, unreadable_at
from garboard.job_view import JobView, Unreadable, Waiting
from garboard.labels import with_printed_apart
from garboard.records import JsonValue, Measurement, StepState, Vessel
from garboard.samples import Recording

_LISTED_AS_UNKNOWN = ("setting", ISSUED)
"""Kinds that came after the first program that compares digests."""


@attrs.define
class _JobIndex:
    """A job's registers, and what its signatures cover."""

    scope: SignatureScope
    registers: list[Register] = attrs.field(factory=list)
    _opened: Stamp | None = None

    def add(self, entry: Entry, key: RegisterKey) -> None:
        """Take in an entry of the job."""
        if self.scope.add(entry, key) and (self._opened is None or entry.clock < self._opened):
            self._opened = entry.clock

    @property
    def opened(self) -> Stamp:
        """When the first of its entries was written."""
        return self._opened or Stamp(0, 0)

    @property
    def says_only_where_it_went(self) -> bool:
        """Whether there is nothing of the job itself here: only that it was joined, or that it came from elsewhere."""
        entries = self.scope.entries.values()
        keys = chain((register.key for register in self.registers), map(register_of, entries))
        return all(key.names_its_own_job for key in keys)


@attrs.define
class HullState:
    """The state of one hull. `add` costs the same however long the history is.

    hull      : the hull number the state is asked for, as its key
    hull_keys : keys of the hull numbers replayed together: this one, and those said to be the same boat
    unknown   : entries of kinds or formats that this program does not know
    no_entries : bytes that are no entry, by the id they stand under or are carried by, each with the reason
    """

    hull: str
    hull_keys: frozenset[str] = attrs.field(
        default=attrs.Factory(lambda state: frozenset([state.hull]), takes_self=True)
    )
    registers: dict[RegisterKey, Register] = attrs.field(factory=dict)
    unknown: dict[str, Entry] = attrs.field(factory=dict)
    no_entries: dict[str, tuple[Entry, Misfit]] = attrs.field(factory=dict)
    _entries: dict[str, Entry] = attrs.field(factory=dict)
    _replacing: dict[str, list[str]] = attrs.field(factory=dict)
    _typed: dict[str, int] = attrs.field(factory=dict)
    _jobs: dict[str, _JobIndex] = attrs.field(factory=dict)
    _of_no_job: list[Register] = attrs.field(factory=list)
    _measured: dict[str, Measurement] = attrs.field(factory=dict)
    _stated: dict[str, tuple[StepState, ...]] = attrs.field(factory=dict)
    _vessel: tuple[Vessel, tuple[Fault, ...]] | None = None
    _joined: dict[str, str] = attrs.field(factory=dict)
    _is_signed: bool = False

    def add(self, entry: Entry) -> bool:
        """Take in one entry; False when it was here already."""
        if entry.id in self._entries:
            return False
        self._entries[entry.id] = entry
        if (not entry.kind or entry.kind == STRAY) and (misfit := misfit_of(entry)):
            self.no_entries[entry.id] = entry, misfit
            return True
        for replaced in entry.replaces:
            self._replacing.setdefault(replaced, []).append(entry.id)
        self._typed[entry.hull] = self._typed.get(entry.hull, 0) + 1
        key = self.register_of(entry)
        self._place(entry, key)
        if key.kind == "move" and key.is_joining and (joined := self._joined_now()) != self._joined:
            self._join_anew(joined)
        return True

    def _place(self, entry: Entry, key: RegisterKey) -> None:
        joins = key.kind == "move" and key.is_joining and entry.is_understood  # what it brings is listed itself
        if entry.job and not joins:
            self._index(self.joined(entry.job)).add(entry, key)
        if entry.kind == "signoff":
            self._is_signed = True
        if self._is_signed:
            self._reach(entry, key)
        if not entry.is_understood:
            self.unknown[entry.id] = entry
            return
        register = self.registers.get(key)
        if register is None:
            register = self.registers[key] = Register(key)
            (self._index(key.job).registers if key.job else self._of_no_job).append(register)
        register.add(entry)
        if key.kind == "field":
            self._vessel = None

    def _joined_now(self) -> dict[str, str]:
        """For each job joined into another, the one its entries are in. Where joinings disagree a job stays put."""
        into: dict[str, str] = {}
        for key in self.registers:
            if key.is_joining and len(said := self.current(key)) == 1 and (job := named_job(said[0])):
                into[key.job] = job
        return joined_jobs(into)

    def _join_anew(self, joined: dict[str, str]) -> None:
        """Deal all entries out anew. Joining is rare: this is simpler than keeping jobs mergeable and partable."""
        self._joined = joined
        for kept in (self.registers, self.unknown, self._jobs, self._of_no_job):
            kept.clear()
        self._vessel = None
        for entry in self._entries.values():
            if entry.id not in self.no_entries:
                self._place(entry, self.register_of(entry))

    def _index(self, job: str) -> _JobIndex:
        index = self._jobs.get(job)
        if index is None:
            index = self._jobs[job] = _JobIndex(SignatureScope(self._entries, self.register_of, self.register))
        return index

    def _reach(self, entry: Entry, key: RegisterKey) -> None:
        """Sign-offs learn what they cover. Only a vessel's field is shared by jobs."""
        replacing = [
            other for other in self._replacing.get(entry.id, ()) if self.register_of(self._entries[other]) == key
        ]
        for job in [self.joined(key.job)] if key.job else self._jobs:
            self._index(job).scope.reach(entry, replacing)

    def register_of(self, entry: Entry) -> RegisterKey:
        """The register an entry belongs to here, where its job may be joined into another."""
        key = register_of(entry)
        return self._home(key) if self._joined else key

    def joined(self, job: str) -> str:
        """The job a job's entries are in: itself, or the one it was joined into."""
        return self._joined.get(job, job)

    def parts(self, job: str) -> tuple[str, ...]:
        """Jobs that were joined into a job."""
        return tuple(sorted(part for part, whole in self._joined.items() if whole == job))

    def _home(self, key: RegisterKey) -> RegisterKey:
        whole = self._joined.get(key.job)
        return key if whole is None or key.names_its_own_job else key._replace(job=whole)

    def __contains__(self, entry_id: str) -> bool:
        return entry_id in self._entries

    def __len__(self) -> int:
        return len(self._entries)

    def current(self, key: RegisterKey) -> tuple[Entry, ...]:
        """What is current in a register: nothing, one value, or several that disagree."""
        return self.register(key).current

    def register(self, key: RegisterKey) -> Register:
        """Everything ever entered in a register; an empty one where there is nothing."""
        return self.registers.get(self._home(key)) or Register(key)

    def heads(self, key: RegisterKey) -> tuple[str, ...]:
        """Ids an entry must name to replace everything now current in a register."""
        return tuple(sorted(self.register(key).head_ids))

    def disagrees(self, key: RegisterKey) -> bool:
        """Whether several values are current in a register of which only one can be right."""
        return disagree(key, self.current(key))

    @property
    def jobs(self) -> tuple[str, ...]:
        """Ids of the hull's jobs, oldest first. Jobs moved away, and those moved here, are left out."""
        here = [
            job for job, index in self._jobs.items() if not index.says_only_where_it_went and self.moved_to(job) is None
        ]
        return tuple(sorted(here, key=lambda job: (self._jobs[job].opened, job)))

    @property
    def aliases(self) -> tuple[str, ...]:
        """Keys of other hull numbers said to be the same boat."""
        named = {named_hull(entry) for key in self.registers if key.kind == "alias" for entry in self.current(key)}
        return tuple(sorted(named - self.hull_keys - {""}))

    def moved_to(self, job: str) -> str | None:
        """The key of the hull a job was moved to; None when it stays, also when two moves disagree."""
        targets = {named_hull(entry) for entry in self.current(RegisterKey("move", job, LEAVING))}
        target = targets.pop() if len(targets) == 1 else ""
        return None if target in self.hull_keys else target or None

    @property
    def moved_away(self) -> dict[str, str]:
        """Jobs moved to other hulls, each with the key of that hull."""
        jobs = sorted(key.job for key in self.registers if key.kind == "move" and key.job and key.subject == LEAVING)
        return {job: target for job in jobs if (target := self.moved_to(job)) is not None}

    @property
    def moved_from(self) -> tuple[tuple[str, str], ...]:
        """Jobs moved here from other hulls: (key of the other hull, job)."""
        keys = [key for key in self.registers if key.is_arrival]
        found = {(named_hull(entry), key.job) for key in keys for entry in self.current(key)}
        return tuple(sorted((hull, job) for hull, job in found if hull and hull not in self.hull_keys))

    def disagreements(self, job: str) -> tuple[RegisterKey, ...]:
        """Registers of a job, and of the vessel, whose heads differ."""
        return tuple(one.key for one in self._registers_with_vessel(job) if disagree(one.key, one.current))

    def resolutions(self, job: str) -> tuple[Resolution, ...]:
        """Values of a job, and of the vessel, that took the place of several that differed."""
        found = map(resolution_in, self._registers_with_vessel(job))
        return tuple(resolution for resolution in found if resolution)

    def retractions(self, job: str) -> tuple[Retraction, ...]:
        """Values taken back in a job, and in the vessel's fields."""
        return tuple(chain.from_iterable(map(retractions_in, self._registers_with_vessel(job))))

    def stale(self, job: str) -> tuple[Staleness, ...]:
        """Sign-offs of a job that do not cover every value in it, each with what it misses."""
        scope = self._jobs[whole].scope if (whole := self.joined(job)) in self._jobs else None
        return tuple(stale for entry in self._signatures(job) if scope and (stale := scope.staleness(entry)))

    def _signatures(self, job: str) -> Iterator[Entry]:
        of_sign_offs = (one for one in self._registers(job) if one.key.kind == "signoff")
        return (entry for one in sorted(of_sign_offs, key=_key) for entry in one.current)

    def coverage(self, job: str) -> tuple[str, ...]:
        """Ids a sign-off written now must name: every head of the job that this program understands."""
        job = self.joined(job)
        entries = self._jobs[job].scope.entries.values() if job in self._jobs else ()
        keys = {self.register_of(entry) for entry in entries if entry.is_understood}
        registers = [self.registers[key] for key in keys]
        return tuple(sorted({head for one in registers for head in one.head_ids - one.misfits.keys()}))

    def unreadable(self, job: str) -> tuple[Unreadable, ...]:
        """What is entered in a job, and for the vessel, and cannot be read; not what was taken back or replaced."""
        found = [
            unreadable_at(None, entry, misfit) for entry, misfit in self.no_entries.values() if self._is_alone(entry)
        ]
        of_several = (one for one in chain(self._of_no_job, self._registers(job)) if not one.only)
        for register in sorted((one for one in of_several if one.unreadable), key=_key):
            found += [unreadable_at(register.key, entry, register.misfits[entry.id]) for entry in register.unreadable]
        return (*found, *self._not_in_the_vessel())

    def waiting(self, job: str) -> tuple[Waiting, ...]:
        """Entries of a job, and of the vessel, that this program does not know, by their ids."""
        whole = self.joined(job)
        known = ((name, one) for name, one in sorted(self.unknown.items()) if self.joined(one.job) in ("", whole))
        return tuple(Waiting(one.kind, tuple(sorted(one.plugins))) for _, one in known)

    def _is_alone(self, entry: Entry) -> bool:
        """Whether the bytes an entry carries do not stand here by themselves as well."""
        return entry.kind != STRAY or not any(name in self._entries for name in entry.subject)

    def _not_in_the_vessel(self) -> Iterator[Unreadable]:
        """Fields that no record of the vessel takes, such as a length in volts."""
        if not self.vessel()[1]:
            return
        for key in sorted(self._vessel_keys()):
            current = self.current(key)
            faults = assemble_vessel([(key.subject, current[0].value)], "")[1] if len(current) == 1 else ()
            for fault in faults[:1]:
                yield unreadable_at(key, current[0], fault)

    def _registers(self, job: str) -> Sequence[Register]:
        """A job's registers, in the order they came up."""
        job = self.joined(job)
        return self._jobs[job].registers if job in self._jobs else ()

    def _vessel_keys(self) -> Iterator[RegisterKey]:
        return (one.key for one in self._of_no_job if one.key.kind == "field")

    def _registers_with_vessel(self, job: str) -> list[Register]:
        """Those of a job and the vessel's fields that hold more than one plain reading, by their keys."""
        of_vessel = (one for one in self._of_no_job if one.key.kind == "field")
        return sorted((one for one in chain(of_vessel, self._registers(job)) if not one.only), key=_key)

    def vessel(self) -> tuple[Vessel, tuple[Fault, ...]]:
        """The vessel from its fields. Fields that disagree are left out; fields no record takes are faults."""
        if self._vessel is None:
            fields = [
                (key.subject, current[0].value)
                for key in sorted(self._vessel_keys(), key=self.written)
                if len(current := self.current(key)) == 1
            ]
            vessel, faults = assemble_vessel(fields, self.hull_number)
            self._vessel = with_printed_apart(vessel, self._printed_apart()), faults
        return self._vessel

    def _printed_apart(self) -> dict[str, tuple[str, ...]]:
        """What the labels of each circuit said that two machines printed, neither knowing of the other."""
        of_circuits = {key.subject[1]: key for key in self._vessel_keys() if is_of_label(key)}
        several = {name: self.current(key) for name, key in of_circuits.items() if not self.disagrees(key)}
        return {name: tuple(str(one.value) for one in found) for name, found in several.items() if len(found) > 1}

    def written(self, key: RegisterKey) -> tuple[Stamp, RegisterKey]:
        """Orders the vessel's fields by when each was first written."""
        return min(entry.clock for entry in self.registers[key].entries.values()), key

    @property
    def hull_number(self) -> str:
        """The hull number as it was typed most often; the key itself for a hull without entries."""
        of_this = [typed for typed in sorted(self._typed) if hull_number.key(typed) == self.hull]
        return max(of_this, key=lambda typed: self._typed[typed], default=self.hull)

    def hull_number_of(self, job: str) -> str:
        """The hull number a job was opened under, which may be another number of the boat; it stays with the job.

        The entry that opens it tells: what others wrote under the other number may have an earlier stamp.
        """
        entries = self._jobs[whole].scope.entries.values() if (whole := self.joined(job)) in self._jobs else ()
        own = [entry for entry in entries if entry.job == job]
        first = min(own, key=lambda entry: (*_does_not_open(entry), entry.clock, entry.id), default=None)
        return first.hull if first else self.hull_number

    @makes_many
    def view(
        self,
        job: str,
        *,
        settings: Mapping[str, JsonValue] | None = None,
        load_recording: Callable[[str], Recording] | None = None,
    ) -> JobView:
        """The job as a calculator reads it."""
        return job_view(
            self.joined(job),
            {one.key: one.current for one in self._registers(job) if not one.only},
            readings=[(one.key, one.only) for one in self._registers(job) if one.only],
            vessel=self.vessel()[0],
            of_vessel={one.key: one.current for one in self._of_no_job if one.key.kind in ("field", "note")},
            not_covered={one.sign_off.id: self._names_missed(one) for one in self.stale(job)},
            unreadable=self.unreadable(job),
            waiting=self.waiting(job),
            settings=settings,
            load_recording=load_recording,
            measured=self._measured,
            stated=self._stated,
        )

    def _names_missed(self, stale: Staleness) -> tuple[str, ...]:
        return tuple(sorted({name_of(self.register_of(entry)) for entry in stale.not_covered}))

    def summary(self) -> JsonValue:
        """The whole state as plain data; equal for equal states, whatever way they came about.

        Its words are part of the digest that two programs compare: they stay as they are. A setting, or a book that was
        issued, is listed as it is by a program that does not know the kind: unknown, but for what takes it back.
        """
        registers: list[JsonValue] = [
            [*key[:2], *key.subject, [entry.id for entry in register.stated if key.kind not in _LISTED_AS_UNKNOWN]]
            for key, register in sorted(self.registers.items())
            if key.kind not in _LISTED_AS_UNKNOWN or any(one.kind == "retract" for one in register.entries.values())
        ]
        later_kinds = [
            entry.id
            for register in self.registers.values()
            for entry in register.entries.values()
            if entry.kind in _LISTED_AS_UNKNOWN
        ]
        stale: list[JsonValue] = [  # by entries, as every version tells it; `stale` goes by values
            [sign_off.id, [entry.id for entry in missing]]
            for job in sorted(self._jobs)
            for sign_off in self._signatures(job)
            if (missing := self._jobs[self.joined(job)].scope.not_named(sign_off))
        ]
        return {
            "hull": self.hull,
            "slots": registers,
            "stale": stale,
            "unknown": [*sorted([*self.unknown, *later_kinds])],
        }


def _key(register: Register) -> RegisterKey:
    return register.key


def _does_not_open(entry: Entry) -> tuple[bool, bool]:
    return (entry.kind, entry.subject) != ("job", ("opened",)), entry.kind != "job"


@makes_many
def replay(hull: str, entries: Iterable[Entry], also: Iterable[str] = ()) -> HullState:
    """The state of a hull from a set of its entries, in any order.

    also : keys of other hull numbers said to be the same boat, whose entries are among these
    """
    key = hull_number.key(hull)
    state = HullState(key, frozenset([key, *also]))
    for entry in entries:
        state.add(entry)
    return state
