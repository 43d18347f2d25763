"""From a set of entries to the state of a hull and its jobs. Pure: the same entries give the same state,
whatever the order they come in and however often.

Every value lives in a slot: one kind of fact about one subject. An entry replaces the entries it names, in its
own slot only. Entries nobody replaced are the slot's heads. Heads that say the same agree; heads that differ
disagree until a person writes an entry that replaces them all. No clock decides anything: it only orders what
is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from decimal import Decimal
from typing import NamedTuple, TypeVar

import attrs

from garboard import hull_number
from garboard.clock import Stamp, order_key
from garboard.convert import structure
from garboard.entries import Entry
from garboard.faults import Fault, InputError
from garboard.job_view import Disagreement, JobView
from garboard.records import EQUIPMENT, Job, JsonValue, Measurement, Note, SignOff, StepState, Vessel
from garboard.samples import Recording
from garboard.units import Amount

Record = TypeVar("Record")

VESSEL = "vessel"
"""Stands for the step in the place of a vessel's field, for disagreements about the vessel itself."""


class SlotKey(NamedTuple):
    """One kind of fact about one subject. The job is empty for facts about the vessel."""

    kind: str
    job: str
    subject: tuple[str, ...]


def slot_of(entry: Entry) -> SlotKey:
    """The slot an entry belongs to. A retraction belongs to the slot of what it retracts.

    Vessel fields share one slot a field, whichever job they were written in.
    """
    kind = entry.kind
    if kind == "retract":
        kind = str(_member(entry.value, "kind"))
    return SlotKey(kind, "" if kind == "field" else entry.job, entry.subject)


@attrs.define
class Slot:
    """All entries of one slot. Cost of `add` does not depend on how many there are."""

    entries: dict[str, Entry] = attrs.field(factory=dict)
    head_ids: set[str] = attrs.field(factory=set)
    _replaced: set[str] = attrs.field(factory=set)

    def add(self, entry: Entry) -> None:
        self.entries[entry.id] = entry
        self._replaced.update(entry.replaces)
        self.head_ids.difference_update(entry.replaces)
        if entry.id not in self._replaced:
            self.head_ids.add(entry.id)

    @property
    def heads(self) -> tuple[Entry, ...]:
        """Entries nobody replaced, retractions included, in order of display."""
        return self._ordered(self.head_ids)

    @property
    def standing(self) -> tuple[Entry, ...]:
        """Heads that say something: one for each different value, in order of display."""
        kept: list[Entry] = []
        for head in self.heads:
            if head.kind != "retract" and not any(same_value(head.value, other.value) for other in kept):
                kept.append(head)
        return tuple(kept)

    @property
    def history(self) -> tuple[Entry, ...]:
        """Every entry, in order of display: never before one it replaces."""
        return self._ordered(self.entries)

    def _ordered(self, ids: Iterable[str]) -> tuple[Entry, ...]:
        ids = list(ids)
        if len(ids) < 2:
            return tuple(self.entries[found] for found in ids)
        keys = self.order_keys()
        return tuple(self.entries[found] for found in sorted(ids, key=lambda found: (keys[found], found)))

    def order_keys(self) -> Mapping[str, Stamp]:
        """The display order of every entry: its own stamp, yet always after what it replaces."""
        keys: dict[str, Stamp] = {}
        for start in self.entries:
            waiting = [start]
            while waiting:
                entry = self.entries[waiting[-1]]
                missing = [other for other in entry.replaces if other in self.entries and other not in keys]
                if missing:
                    waiting.extend(missing)
                else:
                    replaced = [keys[other] for other in entry.replaces if other in keys]
                    keys[waiting.pop()] = order_key(entry.clock, replaced)
        return keys


def same_value(one: JsonValue, other: JsonValue) -> bool:
    """Whether two values say the same: "38.2 kn" and "38.20 kn" do, "38.2 kn" and "43.96 mph" do not.

    >>> same_value("38.2 kn", "38.20 kn"), same_value("38.2 kn", "43.96 mph"), same_value(True, 1)
    (True, False, False)
    """
    if isinstance(one, str) and isinstance(other, str):
        return one == other or _number_and_unit(one) == _number_and_unit(other) is not None
    return type(one) is type(other) and one == other


def _number_and_unit(text: str) -> tuple[Decimal, str] | None:
    try:
        amount = Amount.parse(text)
    except ValueError:
        return None
    return Decimal(amount.text), amount.unit


@attrs.frozen
class Struck:
    """A value taken back, with who did it and why."""

    entry: Entry
    by: str
    reason: str


@attrs.frozen
class Staleness:
    """What a sign-off does not cover, by name."""

    sign_off: Entry
    not_covered: tuple[Entry, ...]


@attrs.define
class _JobIndex:
    """A job's slots and, for its sign-offs, what they do not cover. Kept up as entries come."""

    slots: set[SlotKey] = attrs.field(factory=set)
    entries: dict[str, Entry] = attrs.field(factory=dict)
    covered: dict[str, set[str]] = attrs.field(factory=dict)
    not_covered: dict[str, dict[str, Entry]] = attrs.field(factory=dict)

    def add(self, entry: Entry) -> None:
        if entry.kind == "signoff":
            self._add_sign_off(entry)
        elif slot_of(entry).kind != "signoff":
            self._add_other(entry)

    def _add_other(self, entry: Entry) -> None:
        self.entries[entry.id] = entry
        for sign_off in self.covered:
            if entry.id in self.covered[sign_off]:
                self._cover(sign_off, [entry.id])
            else:
                self.not_covered[sign_off][entry.id] = entry

    def _add_sign_off(self, entry: Entry) -> None:
        self.covered[entry.id] = set()
        self.not_covered[entry.id] = dict(self.entries)
        covers = _member(entry.value, "covers")
        self._cover(entry.id, [str(covered) for covered in covers] if isinstance(covers, list) else [])

    def _cover(self, sign_off: str, ids: Iterable[str]) -> None:
        """Cover entries and all they replace, as far as they are here; the rest when it comes."""
        waiting = list(ids)
        seen: set[str] = set()
        while waiting:
            covered = waiting.pop()
            if covered in seen:
                continue
            seen.add(covered)
            self.covered[sign_off].add(covered)
            self.not_covered[sign_off].pop(covered, None)
            if covered in self.entries:
                waiting.extend(self.entries[covered].replaces)


@attrs.define
class Fold:
    """The state of one hull. `add` costs the same however long the history is.

    hull : the hull number the state is asked for, as its key
    """

    hull: str
    slots: dict[SlotKey, Slot] = attrs.field(factory=dict)
    unknown: dict[str, Entry] = attrs.field(factory=dict)
    _seen: set[str] = attrs.field(factory=set)
    _typed: dict[str, int] = attrs.field(factory=dict)
    _jobs: dict[str, _JobIndex] = attrs.field(factory=dict)
    _standing: dict[SlotKey, tuple[Entry, ...]] = attrs.field(factory=dict)
    _vessel: tuple[Vessel, tuple[Fault, ...]] | None = None

    def add(self, entry: Entry) -> bool:
        """Take in one entry; False when it was here already."""
        if entry.id in self._seen:
            return False
        self._seen.add(entry.id)
        if entry.hull_key == self.hull:
            self._typed[entry.hull] = self._typed.get(entry.hull, 0) + 1
        if entry.job:
            self._jobs.setdefault(entry.job, _JobIndex()).add(entry)
        if not entry.is_understood:
            self.unknown[entry.id] = entry
            return True
        key = slot_of(entry)
        self.slots.setdefault(key, Slot()).add(entry)
        if key.job:
            self._jobs.setdefault(key.job, _JobIndex()).slots.add(key)
        self._standing.pop(key, None)
        if key.kind == "field":
            self._vessel = None
        return True

    def __contains__(self, entry_id: str) -> bool:
        return entry_id in self._seen

    def __len__(self) -> int:
        return len(self._seen)

    def standing(self, key: SlotKey) -> tuple[Entry, ...]:
        """What stands in a slot: nothing, one value, or several that disagree."""
        if key not in self._standing:
            slot = self.slots.get(key)
            self._standing[key] = slot.standing if slot else ()
        return self._standing[key]

    def heads(self, key: SlotKey) -> tuple[str, ...]:
        """Ids an entry must name to replace everything now standing in a slot."""
        slot = self.slots.get(key)
        return tuple(sorted(slot.head_ids)) if slot else ()

    @property
    def jobs(self) -> tuple[str, ...]:
        """Ids of the hull's jobs, moved ones left out, oldest first."""
        return tuple(sorted((job for job in self._jobs if self.moved_to(job) is None), key=self._opened))

    def _opened(self, job: str) -> tuple[Stamp, str]:
        entries = self._jobs[job].entries.values()
        return min((entry.clock for entry in entries), default=Stamp(0, 0)), job

    @property
    def aliases(self) -> tuple[str, ...]:
        """Keys of other hull numbers said to be the same boat."""
        return tuple(sorted({key for key in map(hull_number.key, self._targets("alias")) if key != self.hull}))

    def moved_to(self, job: str) -> str | None:
        """The key of the hull a job was moved to; None when it stays, also when two moves disagree."""
        standing = self.standing(SlotKey("move", job, ("to",)))
        targets = {hull_number.key(str(_member(entry.value, "hull"))) for entry in standing}
        target = targets.pop() if len(targets) == 1 else None
        return None if target == self.hull else target

    @property
    def moved_from(self) -> tuple[tuple[str, str], ...]:
        """Jobs moved here from other hulls: (key of the other hull, job)."""
        keys = [key for key in self.slots if key.kind == "move" and key.subject == ("from",)]
        return tuple(
            sorted(
                (hull_number.key(str(_member(entry.value, "hull"))), key.job)
                for key in keys
                for entry in self.standing(key)
            )
        )

    def _targets(self, kind: str) -> Iterator[str]:
        for key in self.slots:
            if key.kind == kind:
                yield from (str(_member(entry.value, "hull")) for entry in self.standing(key))

    def disagreements(self, job: str) -> tuple[SlotKey, ...]:
        """Slots of a job, and of the vessel, whose heads differ."""
        keys = [*self._vessel_keys(), *self._job_keys(job)]
        return tuple(sorted(key for key in keys if key.kind != "note" and len(self.standing(key)) > 1))

    def struck(self, job: str) -> tuple[Struck, ...]:
        """Values taken back in a job, and in the vessel's fields."""
        keys = sorted([*self._vessel_keys(), *self._job_keys(job)])
        return tuple(struck for key in keys for struck in _struck_in(self.slots[key]))

    def stale(self, job: str) -> tuple[Staleness, ...]:
        """Sign-offs of a job that do not cover everything in it, each with what it misses."""
        index = self._jobs.get(job, _JobIndex())
        return tuple(
            Staleness(head, tuple(sorted(index.not_covered[head.id].values(), key=lambda entry: entry.id)))
            for head in self._sign_offs(job)
            if index.not_covered[head.id]
        )

    def coverage(self, job: str) -> tuple[str, ...]:
        """Ids a sign-off written now must name: every head of the job that this program understands."""
        index = self._jobs.get(job, _JobIndex())
        keys = {slot_of(entry) for entry in index.entries.values() if entry.is_understood}
        return tuple(sorted({head for key in keys for head in self.slots[key].head_ids}))

    def _sign_offs(self, job: str) -> Iterator[Entry]:
        for key in sorted(self._job_keys(job)):
            if key.kind == "signoff":
                yield from self.standing(key)

    def _job_keys(self, job: str) -> Iterable[SlotKey]:
        return self._jobs[job].slots if job in self._jobs else ()

    def _vessel_keys(self) -> Iterable[SlotKey]:
        return [key for key in self.slots if key.kind == "field"]

    def vessel(self) -> tuple[Vessel, tuple[Fault, ...]]:
        """The vessel from its fields. Fields that disagree are left out; fields no record takes are faults."""
        if self._vessel is None:
            self._vessel = self._fresh_vessel()
        return self._vessel

    def _fresh_vessel(self) -> tuple[Vessel, tuple[Fault, ...]]:
        tree: dict[str, JsonValue] = {}
        for key in sorted(self._vessel_keys(), key=self._written):
            standing = self.standing(key)
            if len(standing) == 1:
                _plant(tree, key.subject, standing[0].value)
        plain = _lists_of_equipment(tree)
        plain.setdefault("hull_number", self.hull_number)
        return _without_faults(plain, Vessel)

    def _written(self, key: SlotKey) -> tuple[Stamp, SlotKey]:
        first = min((entry.clock for entry in self.slots[key].entries.values()), default=Stamp(0, 0))
        return first, key

    @property
    def hull_number(self) -> str:
        """The hull number as it was typed most often; the key itself for a hull without entries."""
        return max(sorted(self._typed), key=lambda typed: self._typed[typed], default=self.hull)

    def view(
        self,
        job: str,
        *,
        settings: Mapping[str, JsonValue] | None = None,
        load_recording: Callable[[str], Recording] | None = None,
    ) -> JobView:
        """The job as a calculator reads it."""
        vessel, _ = self.vessel()
        keys = sorted(self._job_keys(job), key=self._first_shown)
        measured = [key for key in keys if key.kind == "measure" and len(key.subject) == 4]
        disagreeing = [key for key in measured if len(self.standing(key)) > 1]
        loader = {} if load_recording is None else {"load_recording": load_recording}
        return JobView(
            vessel=vessel,
            job=self._job_record(job),
            measurements=tuple(_measurement(self.standing(key)[0]) for key in measured if len(self.standing(key)) == 1),
            steps=tuple(state for key in keys if key.kind == "step" for state in self._step_state(key)),
            notes=tuple(note for note in self._notes(keys)),
            sign_offs=tuple(self._sign_off_records(job)),
            disagreements=tuple(self._disagreement(key) for key in (*disagreeing, *self._disagreeing_fields())),
            settings=settings or {},
            **loader,
        )

    def summary(self) -> JsonValue:
        """The whole state as plain data; equal for equal states, whatever way they came about."""
        slots: list[JsonValue] = [
            [*key[:2], *key.subject, [entry.id for entry in self.standing(key)]] for key in sorted(self.slots)
        ]
        stale: list[JsonValue] = [
            [staleness.sign_off.id, [entry.id for entry in staleness.not_covered]]
            for job in sorted(self._jobs)
            for staleness in self.stale(job)
        ]
        return {"hull": self.hull, "slots": slots, "stale": stale, "unknown": [*sorted(self.unknown)]}

    def _first_shown(self, key: SlotKey) -> tuple[Stamp, SlotKey]:
        standing = self.standing(key)
        return (standing[0].clock if standing else Stamp(0, 0)), key

    def _disagreeing_fields(self) -> Iterator[SlotKey]:
        return (key for key in sorted(self._vessel_keys()) if len(self.standing(key)) > 1)

    def _disagreement(self, key: SlotKey) -> Disagreement:
        if key.kind == "field":
            place = (VESSEL, "/".join(key.subject), "", "")
            values = tuple(_field_as_measurement(entry, place[1]) for entry in self.standing(key))
            return Disagreement(place, values)
        step, field, row, of = key.subject
        return Disagreement((step, field, row, of), tuple(map(_measurement, self.standing(key))))

    def _job_record(self, job: str) -> Job:
        plain: dict[str, JsonValue] = {}
        for key in self._job_keys(job):
            standing = self.standing(key)
            if key.kind == "job" and len(key.subject) == 1 and len(standing) == 1:
                plain[key.subject[0]] = standing[0].value
        record, _ = _without_faults({**plain, "id": job}, Job)
        return record

    def _step_state(self, key: SlotKey) -> Iterator[StepState]:
        standing = self.standing(key)
        if len(standing) == 1 and isinstance(standing[0].value, dict) and len(key.subject) == 1:
            state, faults = _without_faults({**_signed(standing[0]), "step": key.subject[0]}, StepState)
            if not faults:
                yield state

    def _notes(self, keys: Iterable[SlotKey]) -> Iterator[Note]:
        vessel_notes = [key for key in self.slots if key.kind == "note" and not key.job]
        for key in (*sorted(vessel_notes), *keys):
            if key.kind == "note":
                for entry in self.standing(key):
                    note, faults = _without_faults(_signed(entry), Note)
                    if not faults:
                        yield note

    def _sign_off_records(self, job: str) -> Iterator[SignOff]:
        stale = {staleness.sign_off.id for staleness in self.stale(job)}
        for entry in self._sign_offs(job):
            plain = {key: value for key, value in _signed(entry).items() if key != "covers"}
            record, faults = _without_faults({**plain, "stale": entry.id in stale}, SignOff)
            if not faults:
                yield record


def fold(hull: str, entries: Iterable[Entry]) -> Fold:
    """The state of a hull from a set of its entries, in any order."""
    state = Fold(hull_number.key(hull))
    for entry in entries:
        state.add(entry)
    return state


def _member(value: JsonValue, name: str) -> JsonValue:
    return value.get(name, "") if isinstance(value, dict) else ""


def _signed(entry: Entry) -> dict[str, JsonValue]:
    value = entry.value if isinstance(entry.value, dict) else {}
    return {"by": entry.by, "at": entry.at, **value}


def _measurement(entry: Entry) -> Measurement:
    step, field, row, of = entry.subject
    instrument = entry.more.get("instrument", "")
    return Measurement(
        step=step,
        field=field,
        row=row,
        of=of,
        value=entry.value,
        at=entry.at,
        by=entry.by,
        instrument=instrument if isinstance(instrument, str) else "",
        id=entry.id,
    )


def _field_as_measurement(entry: Entry, path: str) -> Measurement:
    return Measurement(step=VESSEL, field=path, value=entry.value, at=entry.at, by=entry.by, id=entry.id)


def _struck_in(slot: Slot) -> Iterator[Struck]:
    for retraction in slot.history:
        if retraction.kind == "retract":
            reason = str(_member(retraction.value, "reason"))
            for target in retraction.replaces:
                if target in slot.entries:
                    yield Struck(slot.entries[target], retraction.by, reason)


def _plant(tree: dict[str, JsonValue], path: tuple[str, ...], value: JsonValue) -> None:
    for name in path[:-1]:
        branch = tree.setdefault(name, {})
        if not isinstance(branch, dict):
            return
        tree = branch
    if path:
        tree[path[-1]] = value


def _lists_of_equipment(tree: dict[str, JsonValue]) -> dict[str, JsonValue]:
    """Equipment kept by name turned into the lists the records have. A piece marked removed is left out."""
    plain = dict(tree)
    for kind, name in EQUIPMENT.items():
        if kind in plain:
            plain[kind] = _pieces(plain[kind], name)
    networks = plain.get("networks")
    for network in networks if isinstance(networks, list) else []:
        if isinstance(network, dict) and "devices" in network:
            network["devices"] = _pieces(network["devices"], "name")
    return plain


def _pieces(branch: JsonValue, name: str) -> list[JsonValue]:
    pieces = branch.items() if isinstance(branch, dict) else ()
    return [
        {name: key, **{k: v for k, v in piece.items() if k != "removed"}}
        for key, piece in pieces
        if isinstance(piece, dict) and piece.get("removed") is not True
    ]


def _without_faults(plain: dict[str, JsonValue], kind: type[Record]) -> tuple[Record, tuple[Fault, ...]]:
    """A record from what it takes, and faults for what it does not: one bad value must not hide a vessel."""
    found: list[Fault] = []
    while True:
        try:
            return structure(plain, kind, "hull file"), tuple(found)
        except InputError as failure:
            before = len(found)
            found.extend(fault for fault in failure.faults if _uproot(plain, fault.where))
            if len(found) == before:
                raise


def _uproot(plain: JsonValue, path: str) -> bool:
    """Take the value at a path ("engines[0].gear_ratio") out of plain data; False when it is not there."""
    *parents, last = path.replace("[", ".[").split(".")
    for part in parents:
        if part.startswith("[") and isinstance(plain, list):
            plain = plain[int(part[1:-1])]
        elif isinstance(plain, dict):
            plain = plain.get(part)
    if isinstance(plain, dict) and last in plain:
        del plain[last]
        return True
    if isinstance(plain, list) and last.startswith("["):
        del plain[int(last[1:-1])]
        return True
    return False
