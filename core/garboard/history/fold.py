"""From a set of entries to the state of a hull and its jobs. Pure: the same entries give the same state,
whatever the order they come in and however often.

Every value lives in a slot: one kind of fact about one subject. An entry replaces the entries it names, in its
own slot only. Entries nobody replaced are the slot's heads. Heads that say the same agree; heads that differ
disagree until a person writes an entry that replaces them all. No clock decides anything: it only orders what
is shown.

Jobs joined into one share their slots for as long as the joining stands: two technicians opened one each for the same
piece of work. Taken back, each is by itself again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from decimal import Decimal
from typing import NamedTuple, TypeVar

import attrs

from garboard import hull_number
from garboard.disk.clock import Stamp, order_key
from garboard.disk.entries import Entry, canonical_bytes
from garboard.faults import Fault, InputError
from garboard.job_files.convert import structure
from garboard.job_view import Disagreement, JobView
from garboard.records import EQUIPMENT, Job, JsonValue, Measurement, Note, SignOff, StepState, Vessel
from garboard.samples import Recording
from garboard.units import Amount

Record = TypeVar("Record")

ONLY_GROWING = frozenset({"note", "signoff"})
"""Kinds of which several stand side by side: they never disagree."""

TECHNICIANS = ("job", ("technicians",))
"""Kind and subject of the list of a job's technicians. Several such lists do not disagree: whoever is on one worked."""

JOINING = ("into",)
"""Subject of a move that joins its job into another job of the boat."""

VESSEL = "vessel"
"""Stands for the step in the place of a vessel's field, for disagreements about the vessel itself."""


class SlotKey(NamedTuple):
    """One kind of fact about one subject. The job is empty for facts about the vessel."""

    kind: str
    job: str
    subject: tuple[str, ...]


def slot_of(entry: Entry) -> SlotKey:
    """The slot an entry belongs to, taken by itself; see `Fold.slot_of` for jobs that are joined. A retraction belongs
    to the slot of what it retracts.

    Vessel fields share one slot a field, whichever job they were written in.
    """
    kind = entry.kind
    if kind == "retract":
        kind = str(_member(entry.value, "kind"))
    return SlotKey(kind, "" if kind == "field" else entry.job, entry.subject)


def name_of(key: SlotKey) -> str:
    """What a person calls a slot: "vessel/beam", "step/field", "step/field/row/of", "signoff owner/A. Marsh"."""
    if key.kind == "field":
        return "/".join((VESSEL, *key.subject))
    subject = "/".join(key.subject).rstrip("/")
    return subject if key.kind == "measure" else f"{key.kind} {subject}".rstrip()


@attrs.define
class Slot:
    """All entries of one slot. Cost of `add` does not depend on how many there are."""

    entries: dict[str, Entry] = attrs.field(factory=dict)
    head_ids: set[str] = attrs.field(factory=set)
    _replaced: set[str] = attrs.field(factory=set)

    def add(self, entry: Entry) -> None:
        self.entries[entry.id] = entry
        if replaced := entry.replaces:
            self._replaced.update(replaced)
            self.head_ids.difference_update(replaced)
        if entry.id not in self._replaced:
            self.head_ids.add(entry.id)

    @property
    def heads(self) -> tuple[Entry, ...]:
        """Entries nobody replaced, retractions included, in order of display."""
        return self._ordered(self.head_ids)

    @property
    def standing(self) -> tuple[Entry, ...]:
        """Heads that say something: one for each different value, in order of display.

        Of heads that agree the one with most digits stands for all: no clock chooses what is calculated with.
        """
        groups: list[list[Entry]] = []
        for head in self.heads:
            if head.kind != "retract":
                alike = next((group for group in groups if same_value(_meaning(group[0]), _meaning(head))), None)
                if alike is None:
                    groups.append([head])
                else:
                    alike.append(head)
        return tuple(max(group, key=_digits) for group in groups)

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
    return type(one) is type(other) and canonical_bytes(one) == canonical_bytes(other)


def _meaning(entry: Entry) -> JsonValue:
    """What two entries of a slot must share to agree: of an alias or a move the hull or the job, not the reason."""
    return _target(entry) if entry.kind in ("alias", "move") else entry.value


def _target(entry: Entry) -> str:
    """The key of the hull an alias or a move names, or the job a joining names."""
    return _job_meant(entry) if _is_joining(slot_of(entry)) else _hull_meant(entry)


def _job_meant(entry: Entry) -> str:
    job = _member(entry.value, "job")
    return job if isinstance(job, str) else ""


def _digits(entry: Entry) -> tuple[int, str]:
    return (len(entry.value), entry.value) if isinstance(entry.value, str) else (0, "")


def _hull_meant(entry: Entry) -> str:
    """The key of the hull an alias or a move names; "" when it names none."""
    hull = _member(entry.value, "hull")
    return hull_number.key(hull) if isinstance(hull, str) and hull else ""


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
class Decided:
    """A value that took the place of several that disagreed, with a reason or, measured again, without one."""

    entry: Entry
    instead: tuple[Entry, ...]


@attrs.frozen
class Staleness:
    """What a sign-off does not cover, by name."""

    sign_off: Entry
    not_covered: tuple[Entry, ...]


@attrs.define
class _JobIndex:
    """A job's slots and, for its sign-offs, what they do not cover. Kept up as entries come.

    everything : the fold's entries: a job's value of a vessel field may be replaced by another job's
    slot_of    : the slot an entry belongs to in the fold
    """

    everything: Mapping[str, Entry]
    slot_of: Callable[[Entry], SlotKey]
    slots: set[SlotKey] = attrs.field(factory=set)
    entries: dict[str, Entry] = attrs.field(factory=dict)
    covered: dict[str, set[str]] = attrs.field(factory=dict)
    not_covered: dict[str, dict[str, Entry]] = attrs.field(factory=dict)

    def add(self, entry: Entry, slot: SlotKey) -> None:
        if entry.kind == "signoff":
            self._add_sign_off(entry)
        elif slot.kind != "signoff":
            self._add_other(entry)

    def reach(self, entry: Entry, replacing: Iterable[str]) -> None:
        """An entry came, of this job or another: sign-offs cover it that cover one of those replacing it."""
        ids = (entry.id, *replacing)
        for sign_off, covered in self.covered.items():
            if not covered.isdisjoint(ids):
                self._cover(sign_off, [entry.id])

    def _add_other(self, entry: Entry) -> None:
        self.entries[entry.id] = entry
        for sign_off, covered in self.covered.items():
            if entry.id not in covered:
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
            if covered in self.everything:
                waiting.extend(self._replaced_by(self.everything[covered]))

    def _replaced_by(self, entry: Entry) -> Iterator[str]:
        """What an entry replaces, as far as it is here: what it names in its own slot."""
        here = [other for other in entry.replaces if other in self.everything]
        return (other for other in here if self.slot_of(self.everything[other]) == self.slot_of(entry))


@attrs.define
class Fold:
    """The state of one hull. `add` costs the same however long the history is.

    hull   : the hull number the state is asked for, as its key
    family : keys of the hull numbers folded together: this one, and those said to be the same boat
    """

    hull: str
    family: frozenset[str] = attrs.field(default=attrs.Factory(lambda fold: frozenset([fold.hull]), takes_self=True))
    slots: dict[SlotKey, Slot] = attrs.field(factory=dict)
    unknown: dict[str, Entry] = attrs.field(factory=dict)
    _entries: dict[str, Entry] = attrs.field(factory=dict)
    _replacing: dict[str, list[str]] = attrs.field(factory=dict)
    _typed: dict[str, int] = attrs.field(factory=dict)
    _jobs: dict[str, _JobIndex] = attrs.field(factory=dict)
    _standing: dict[SlotKey, tuple[Entry, ...]] = attrs.field(factory=dict)
    _vessel: tuple[Vessel, tuple[Fault, ...]] | None = None
    _joined: dict[str, str] = attrs.field(factory=dict)
    _slot_of: dict[str, SlotKey] = attrs.field(factory=dict)

    def add(self, entry: Entry) -> bool:
        """Take in one entry; False when it was here already."""
        if entry.id in self._entries:
            return False
        self._entries[entry.id] = entry
        for target in entry.replaces:
            self._replacing.setdefault(target, []).append(entry.id)
        if entry.hull_key == self.hull:
            self._typed[entry.hull] = self._typed.get(entry.hull, 0) + 1
        key = self.slot_of(entry)
        self._place(entry, key)
        if _is_joining(key) and (joined := self._joined_now()) != self._joined:
            self._join_anew(joined)
        return True

    def _place(self, entry: Entry, key: SlotKey) -> None:
        self._slot_of[entry.id] = key
        if (job := entry.job) and not (_is_joining(key) and entry.is_understood):  # what it brings is listed itself
            self._index(self.joined(job)).add(entry, key)
        self._reach(entry, key)
        if not entry.is_understood:
            self.unknown[entry.id] = entry
            return
        if key not in self.slots:
            self.slots[key] = Slot()
        self.slots[key].add(entry)
        if key.job:
            self._index(key.job).slots.add(key)
        self._standing.pop(key, None)
        if key.kind == "field":
            self._vessel = None

    def slot_of(self, entry: Entry) -> SlotKey:
        """The slot an entry belongs to here, where its job may be joined into another."""
        return self._slot_of.get(entry.id) or self._home(slot_of(entry))

    def joined(self, job: str) -> str:
        """The job a job's entries stand in: itself, or the one it was joined into."""
        return self._joined.get(job, job)

    def parts(self, job: str) -> tuple[str, ...]:
        """Jobs that were joined into a job."""
        return tuple(sorted(part for part, whole in self._joined.items() if whole == job))

    def _home(self, key: SlotKey) -> SlotKey:
        whole = self._joined.get(key.job)
        return key if whole is None or _names_this_job(key) else key._replace(job=whole)

    def _joined_now(self) -> dict[str, str]:
        """For each job joined into another, the one its entries stand in. Where joinings disagree a job stays put."""
        into: dict[str, str] = {}
        for key in self.slots:
            if _is_joining(key) and len(said := self.standing(key)) == 1 and (job := _job_meant(said[0])):
                into[key.job] = job
        return {job: whole for job in into if (whole := _end_of(job, into)) != job}

    def _join_anew(self, joined: dict[str, str]) -> None:
        """Deal all entries out anew. Joining is rare: this is simpler than keeping jobs mergeable and partable."""
        self._joined = joined
        for kept in (self.slots, self.unknown, self._jobs, self._standing, self._slot_of):
            kept.clear()
        self._vessel = None
        for entry in self._entries.values():
            self._place(entry, self.slot_of(entry))

    def _index(self, job: str) -> _JobIndex:
        if job not in self._jobs:
            self._jobs[job] = _JobIndex(self._entries, self.slot_of)
        return self._jobs[job]

    def _reach(self, entry: Entry, slot: SlotKey) -> None:
        """Sign-offs learn what they cover. Only a vessel's field is shared by jobs."""
        replacing = [other for other in self._replacing.get(entry.id, ()) if self.slot_of(self._entries[other]) == slot]
        for job in [self.joined(slot.job)] if slot.job else self._jobs:
            self._index(job).reach(entry, replacing)

    def __contains__(self, entry_id: str) -> bool:
        return entry_id in self._entries

    def __len__(self) -> int:
        return len(self._entries)

    def standing(self, key: SlotKey) -> tuple[Entry, ...]:
        """What stands in a slot: nothing, one value, or several that disagree."""
        key = self._home(key)
        if key not in self._standing:
            self._standing[key] = self.slot(key).standing
        return self._standing[key]

    def slot(self, key: SlotKey) -> Slot:
        """Everything ever entered in a slot; an empty one where there is nothing."""
        return self.slots.get(self._home(key)) or Slot()

    def heads(self, key: SlotKey) -> tuple[str, ...]:
        """Ids an entry must name to replace everything now standing in a slot."""
        return tuple(sorted(self.slot(key).head_ids))

    def disagrees(self, key: SlotKey) -> bool:
        """Whether several values stand in a slot of which only one can be right."""
        return key.kind not in ONLY_GROWING and key[::2] != TECHNICIANS and len(self.standing(key)) > 1

    @property
    def jobs(self) -> tuple[str, ...]:
        """Ids of the hull's jobs, oldest first. Jobs moved away, and those moved here, are left out."""
        return tuple(sorted(filter(self._is_at_home, self._jobs), key=self._opened))

    def _is_at_home(self, job: str) -> bool:
        index = self._jobs[job]
        only_named = all(map(_names_this_job, index.slots)) and all(
            _names_this_job(slot_of(e)) for e in index.entries.values()
        )
        return not only_named and self.moved_to(job) is None

    def _opened(self, job: str) -> tuple[Stamp, str]:
        entries = self._jobs[job].entries.values()
        return min((entry.clock for entry in entries), default=Stamp(0, 0)), job

    @property
    def aliases(self) -> tuple[str, ...]:
        """Keys of other hull numbers said to be the same boat."""
        named = {_hull_meant(entry) for key in self.slots if key.kind == "alias" for entry in self.standing(key)}
        return tuple(sorted(named - self.family - {""}))

    def moved_to(self, job: str) -> str | None:
        """The key of the hull a job was moved to; None when it stays, also when two moves disagree."""
        targets = {_hull_meant(entry) for entry in self.standing(SlotKey("move", job, ("to",)))}
        target = targets.pop() if len(targets) == 1 else ""
        return None if target in self.family else target or None

    @property
    def moved_from(self) -> tuple[tuple[str, str], ...]:
        """Jobs moved here from other hulls: (key of the other hull, job)."""
        keys = [key for key in self.slots if _is_arrival(key)]
        found = {(_hull_meant(entry), key.job) for key in keys for entry in self.standing(key)}
        return tuple(sorted((hull, job) for hull, job in found if hull and hull not in self.family))

    def disagreements(self, job: str) -> tuple[SlotKey, ...]:
        """Slots of a job, and of the vessel, whose heads differ."""
        return tuple(sorted(filter(self.disagrees, [*self._vessel_keys(), *self._job_keys(job)])))

    def decided(self, job: str) -> tuple[Decided, ...]:
        """Values of a job, and of the vessel, that took the place of several that differed."""
        slots = [self.slots[key] for key in sorted([*self._vessel_keys(), *self._job_keys(job)])]
        return tuple(decided for slot in slots if len(slot.head_ids) == 1 and (decided := _decided(slot)))

    def struck(self, job: str) -> tuple[Struck, ...]:
        """Values taken back in a job, and in the vessel's fields."""
        keys = sorted([*self._vessel_keys(), *self._job_keys(job)])
        return tuple(struck for key in keys for struck in _struck_in(self.slots[key]))

    def stale(self, job: str) -> tuple[Staleness, ...]:
        """Sign-offs of a job that do not cover everything in it, each with what it misses."""
        return tuple(
            Staleness(head, tuple(sorted(missing.values(), key=lambda entry: entry.id)))
            for head in self._sign_offs(job)
            if (missing := self._jobs[self.joined(job)].not_covered[head.id])
        )

    def coverage(self, job: str) -> tuple[str, ...]:
        """Ids a sign-off written now must name: every head of the job that this program understands."""
        job = self.joined(job)
        entries = self._jobs[job].entries.values() if job in self._jobs else ()
        keys = {self.slot_of(entry) for entry in entries if entry.is_understood}
        return tuple(sorted({head for key in keys for head in self.slots[key].head_ids}))

    def _sign_offs(self, job: str) -> Iterator[Entry]:
        for key in sorted(self._job_keys(job)):
            if key.kind == "signoff":
                yield from self.standing(key)

    def _job_keys(self, job: str) -> Iterable[SlotKey]:
        job = self.joined(job)
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
        if not isinstance(plain.get("hull_number"), str):
            plain["hull_number"] = self.hull_number
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
        measured = [key for key in keys if _is_measurement(key)]
        loader = {} if load_recording is None else {"load_recording": load_recording}
        return JobView(
            vessel=vessel,
            job=self._job_record(job),
            measurements=tuple(_measurement(self.standing(key)[0]) for key in measured if len(self.standing(key)) == 1),
            steps=tuple(state for key in keys if key.kind == "step" for state in self._step_state(key)),
            notes=tuple(note for note in self._notes(keys)),
            sign_offs=tuple(self._sign_off_records(job)),
            disagreements=tuple(
                self._disagreement(key) for key in filter(self.disagrees, [*keys, *sorted(self._vessel_keys())])
            ),
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

    def _disagreement(self, key: SlotKey) -> Disagreement:
        entries = self.standing(key)
        if _is_measurement(key):
            step, field, row, of = key.subject
            return Disagreement((step, field, row, of), tuple(map(_measurement, entries)))
        step, field = _place_in_words(key)
        values = (Measurement(step=step, field=field, value=_in_short(e), at=e.at, by=e.by, id=e.id) for e in entries)
        return Disagreement((step, field, "", ""), tuple(values))

    def _job_record(self, job: str) -> Job:
        plain: dict[str, JsonValue] = {}
        for key in self._job_keys(job):
            standing = self.standing(key)
            if key[::2] == TECHNICIANS and len(standing) > 1:
                lists = [entry.value for entry in standing if isinstance(entry.value, list)]
                plain["technicians"] = [
                    *dict.fromkeys(name for names in lists for name in names if isinstance(name, str))
                ]
            elif key.kind == "job" and len(key.subject) == 1 and len(standing) == 1:
                plain[key.subject[0]] = standing[0].value
        record, _ = _without_faults({**plain, "id": self.joined(job)}, Job)
        return record

    def _step_state(self, key: SlotKey) -> Iterator[StepState]:
        standing = self.standing(key)
        if len(standing) == 1 and isinstance(standing[0].value, dict) and len(key.subject) == 1:
            yield from _if_sound({**_signed(standing[0]), "step": key.subject[0]}, StepState)

    def _notes(self, keys: Iterable[SlotKey]) -> Iterator[Note]:
        vessel_notes = [key for key in self.slots if key.kind == "note" and not key.job]
        for key in (*sorted(vessel_notes), *keys):
            if key.kind == "note":
                for entry in self.standing(key):
                    yield from _if_sound(_signed(entry), Note)

    def _sign_off_records(self, job: str) -> Iterator[SignOff]:
        missed = {one.sign_off.id: one.not_covered for one in self.stale(job)}
        for entry in self._sign_offs(job):
            plain = {key: value for key, value in _signed(entry).items() if key != "covers"}
            names: list[JsonValue] = [*sorted({name_of(self.slot_of(one)) for one in missed.get(entry.id, ())})]
            yield from _if_sound({**plain, "stale": bool(names), "not_covered": names}, SignOff)


def fold(hull: str, entries: Iterable[Entry], also: Iterable[str] = ()) -> Fold:
    """The state of a hull from a set of its entries, in any order.

    also : keys of other hull numbers said to be the same boat, whose entries are among these
    """
    key = hull_number.key(hull)
    state = Fold(key, frozenset([key, *also]))
    for entry in entries:
        state.add(entry)
    return state


def _decided(slot: Slot) -> Decided | None:
    """What a slot's one head took the place of, where that differed."""
    (head,) = slot.heads
    instead = [entry for name in head.replaces if (entry := slot.entries.get(name)) and entry.kind != "retract"]
    if head.kind not in ("measure", "field") or all(same_value(one.value, instead[0].value) for one in instead):
        return None
    return Decided(head, tuple(sorted(instead, key=lambda entry: (entry.clock, entry.id))))


def _is_arrival(key: SlotKey) -> bool:
    """Whether a slot says where a job moved here came from; each hull it came from has one of its own."""
    return key.kind == "move" and key.subject[:1] == ("from",)


def _is_joining(key: SlotKey) -> bool:
    """Whether a slot says which job its own was joined into. What belongs to no job stays the vessel's."""
    return key.kind == "move" and key.subject == JOINING and key.job != ""


def _names_this_job(key: SlotKey) -> bool:
    """Whether a slot is about a job as it was written: it is not shared with a job it is joined into."""
    return _is_arrival(key) or _is_joining(key)


def _end_of(job: str, into: Mapping[str, str]) -> str:
    """Where joining after joining leads. Of jobs joined in a ring all stand in the one whose id comes first."""
    way = [job]
    while (following := into.get(way[-1])) is not None:
        if following in way:
            return min(way[way.index(following) :])
        way.append(following)
    return way[-1]


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


def _is_measurement(key: SlotKey) -> bool:
    return key.kind == "measure" and len(key.subject) == 4


def _place_in_words(key: SlotKey) -> tuple[str, str]:
    """Step and field that stand for a slot which is no measurement."""
    subject = "/".join(key.subject)
    if key.kind == "step":
        return subject, "state"
    return VESSEL if key.kind == "field" else key.kind, subject


def _in_short(entry: Entry) -> JsonValue:
    """What a person chooses between where values disagree."""
    if entry.kind == "move":
        return _target(entry)
    return _member(entry.value, "state") if entry.kind == "step" and isinstance(entry.value, dict) else entry.value


def _struck_in(slot: Slot) -> Iterator[Struck]:
    for retraction in slot.history:
        if retraction.kind == "retract":
            reason = str(_member(retraction.value, "reason"))
            for target in retraction.replaces:
                if target in slot.entries:
                    yield Struck(slot.entries[target], retraction.by, reason)


def _plant(tree: dict[str, JsonValue], path: tuple[str, ...], value: JsonValue) -> None:
    """Put a field in. Where one field's path leads through another's value, the longer path wins, in any order."""
    for name in path[:-1]:
        branch = tree.get(name)
        if not isinstance(branch, _Branch):
            branch = tree[name] = _Branch()
        tree = branch
    if path and not isinstance(tree.get(path[-1]), _Branch):
        tree[path[-1]] = value


class _Branch(dict[str, JsonValue]):
    """Fields below a name; told apart from a field whose value is an object."""


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
        {name: key, **{k: v for k, v in piece.items() if k != "removed" and (k != name or isinstance(v, str))}}
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


def _if_sound(plain: dict[str, JsonValue], kind: type[Record]) -> Iterator[Record]:
    """A record from an entry's value; nothing where it is not one, such as a state only a newer version knows."""
    try:
        yield structure(plain, kind, "hull file")
    except InputError:
        return


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
