"""A register holds everything ever entered of one kind of fact about one subject.

An entry replaces the entries it names, in its own register only. Entries nobody replaced are the register's heads.
Heads that say the same agree; heads that differ disagree until a person writes an entry that replaces them all. No
clock decides anything: it only orders what is shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from itertools import combinations, starmap
from typing import NamedTuple

import attrs

from garboard.disk.clock import Stamp, order_key
from garboard.disk.entries import ALIKE, FORECAST, ISSUED, PLAN, VIEW, Entry
from garboard.history.moves import JOINING, target
from garboard.history.shapes import Misfit, is_reading, misfit_of
from garboard.history.values import alike, finest, member, same_value
from garboard.labels import is_as_printed
from garboard.records import JsonValue

ONLY_GROWING = frozenset({"note", "signoff", "run", FORECAST, ALIKE, ISSUED, VIEW})
"""Kinds of which several stand side by side: they never disagree."""

TECHNICIANS = ("job", ("technicians",))
"""Kind and subject of the list of a job's technicians. Several such lists do not disagree: whoever is on one worked."""

VESSEL = "vessel"
"""Stands for the step in the place of a vessel's field, for disagreements about the vessel itself."""


class RegisterKey(NamedTuple):
    """One kind of fact about one subject. The job is empty for facts about the vessel."""

    kind: str
    job: str
    subject: tuple[str, ...]

    @property
    def first(self) -> str:
        """The first word of its subject: a step, a kind of equipment, a setting. "" where an entry names none."""
        return self.subject[0] if self.subject else ""

    @property
    def is_measurement(self) -> bool:
        """Whether its values are measurements: of a step, a field, a row, of something."""
        return self.kind == "measure" and len(self.subject) == 4

    @property
    def is_arrival(self) -> bool:
        """Whether it says where a job moved here came from; each hull it came from has a register of its own."""
        return self.kind == "move" and self.subject[:1] == ("from",)

    @property
    def is_joining(self) -> bool:
        """Whether it says which job its own was joined into. What belongs to no job stays the vessel's."""
        return self.kind == "move" and self.subject == JOINING and self.job != ""

    @property
    def names_its_own_job(self) -> bool:
        """Whether it is about a job as it was written: a job it is joined into does not share it."""
        return self.is_arrival or self.is_joining


def register_of(entry: Entry) -> RegisterKey:
    """The register an entry belongs to, taken by itself; `HullState.register_of` knows which jobs are joined.

    A retraction belongs to the register of what it retracts. A vessel field has one register, whichever job it was
    written in.
    """
    kind = entry.kind
    if kind == "retract":
        kind = str(member(entry.value, "kind"))
    return tuple.__new__(RegisterKey, (kind, "" if kind == "field" else entry.job, entry.subject))  # of each entry


def job_named(entry: Entry) -> str:
    """The job an entry is about: its own, or that of a plan or of a book that was issued, which belong to none."""
    is_named = register_of(entry).kind in (PLAN, ISSUED) and bool(entry.subject)
    return entry.subject[0] if is_named else entry.job


def name_of(key: RegisterKey) -> str:
    """What a person calls a register: "vessel/beam", "step/field", "step/field/row/of", "signoff owner/A. Marsh".

    What stands in no step, field, row and piece is no measurement, and does not go by the name of one.
    """
    if key.kind == "field":
        return "/".join((VESSEL, *key.subject))
    if key.kind == "run" and key.subject:  # the field it is kept for, and enough of the file's hash to tell it
        return f"run {'/'.join(key.subject[:-1]).rstrip('/')} {key.subject[-1][:12]}"
    if key.kind == ISSUED and key.subject:  # the job, and enough of the file's hash to tell it
        return f"book {'/'.join(key.subject[:-1])} {key.subject[-1][:12]}"
    subject = "/".join(key.subject)
    if key.is_measurement and (name := subject.rstrip("/")):
        return name
    return f"{key.kind or 'entry'} {subject}" if subject else key.kind or "entry"


def disagree(key: RegisterKey, current: tuple[Entry, ...]) -> bool:
    """Whether several values are current in a register of which only one can be right."""
    if len(current) < 2 or key.kind in ONLY_GROWING or key[::2] == TECHNICIANS:
        return False
    return not (is_of_label(key) and all(is_as_printed(str(entry.value)) for entry in current))


def is_of_label(key: RegisterKey) -> bool:
    """Whether it says what a circuit's label says. Two that were printed apart do not disagree."""
    return key.kind == "field" and len(key.subject) == 3 and key.subject[::2] == ("circuits", "label")


@attrs.define(eq=False)
class _Tables:
    """What a register of more than one plain reading keeps; see `Register`.

    replaced : ids that its entries replace, here or not
    text     : the first entry's value
    now      : what `current` gave since the last entry came
    """

    entries: dict[str, Entry] = attrs.field(factory=dict)
    head_ids: set[str] = attrs.field(factory=set)
    misfits: dict[str, Misfit] = attrs.field(factory=dict)
    replaced: set[str] = attrs.field(factory=set)
    is_of_one_text: bool = True
    text: JsonValue = None
    now: tuple[Entry, ...] | None = None

    def add(self, entry: Entry) -> None:
        if not self.entries:
            self.text = entry.value
        self.is_of_one_text = self.is_of_one_text and _states(entry, self.text)
        self.entries[entry.id] = entry
        self.now = None
        if misfit := misfit_of(entry):
            self.misfits[entry.id] = misfit
        if replaced := entry.replaces:
            self.replaced.update(replaced)
            self.head_ids.difference_update(replaced)
        if entry.id not in self.replaced:
            self.head_ids.add(entry.id)


@attrs.define(eq=False)
class Register:
    """The entries of one kind of fact about one subject. What `add` costs does not depend on how many there are.

    only : the one entry there is, where it is a plain reading that replaces none, as in nearly all registers. It
           stands, and no tables are kept
    """

    key: RegisterKey
    only: Entry | None = None
    _tables: _Tables | None = None

    def add(self, entry: Entry) -> None:
        if self._tables is None:
            if self.only is None and is_reading(entry) and not entry.replaces:
                self.only = entry
                return
            self._tables = _Tables()
            if self.only is not None:
                self._tables.add(self.only)
                self.only = None
        self._tables.add(entry)

    @property
    def _kept(self) -> _Tables:
        return self._tables or _Tables()

    @property
    def entries(self) -> Mapping[str, Entry]:
        return {self.only.id: self.only} if self.only else self._kept.entries

    @property
    def head_ids(self) -> Set[str]:
        """Of the entries that no other replaces."""
        return {self.only.id} if self.only else self._kept.head_ids

    @property
    def misfits(self) -> Mapping[str, Misfit]:
        """For each entry that cannot be read, why not; it replaces what it names, and says nothing itself."""
        return {} if self.only else self._kept.misfits

    @property
    def is_of_one_text(self) -> bool:
        """Whether every entry states the same text, letter for letter, as nearly all registers do.

        Then they all say the same, and nothing need be compared.
        """
        return isinstance(self.only.value, str) if self.only else self._kept.is_of_one_text

    @property
    def heads(self) -> tuple[Entry, ...]:
        """Entries nobody replaced, retractions included, in order of display."""
        return self._ordered(self.head_ids)

    @property
    def current(self) -> tuple[Entry, ...]:
        """Heads that say something: one for each different value, in order of display.

        Of heads that agree the one read most finely is used for all: no clock chooses what is calculated with. Typed in
        two units they agree as far as their digits go, where each does with every other: so whichever came first.
        Notes do not agree: two in the same words, written apart, are two remarks. What cannot be read says nothing.
        """
        if self.only:
            return (self.only,)
        kept = self._kept
        if kept.now is None:
            kept.now = self._current(kept.head_ids - kept.misfits.keys() if kept.misfits else kept.head_ids)
        return kept.now

    @property
    def stated(self) -> tuple[Entry, ...]:
        """As `current`, with heads that cannot be read."""
        return self._current(self.head_ids)

    @property
    def unreadable(self) -> tuple[Entry, ...]:
        """Heads that cannot be read, in order of display. Taken back, or replaced, one is a head no more."""
        return self._ordered(self.head_ids & self.misfits.keys()) if self.misfits else ()

    def _current(self, ids: Iterable[str]) -> tuple[Entry, ...]:
        said = self._ordered(ids)
        if self.is_of_one_text:
            return said[:1]
        said = tuple(head for head in said if head.kind != "retract")
        if len(said) < 2:
            return said
        groups: list[list[Entry]] = []
        for head in said:
            same = next((group for group in groups if _agree(group[0], head)), None)
            if same is None:
                groups.append([head])
            else:
                same.append(head)
        if len(groups) > 1 and _all_alike(said):
            groups = [[*said]]
        return tuple(map(finest, groups))

    def ever_set(self, value: JsonValue) -> bool:
        """Whether a setting ever had this value here, also where it was replaced or taken back since."""
        return any(one.kind != "retract" and same_value(one.value, value) for one in self.entries.values())

    @property
    def history(self) -> tuple[Entry, ...]:
        """Every entry, in order of display: never before one it replaces."""
        return self._ordered(self.entries)

    def _ordered(self, ids: Iterable[str]) -> tuple[Entry, ...]:
        entries = self.entries
        found = [entries[name] for name in ids]
        if len(found) < 2:
            return tuple(found)
        if self._kept.replaced.isdisjoint(entries):  # each is shown by its own stamp
            return tuple(sorted(found, key=lambda entry: (entry.clock, entry.id)))
        keys = self.order_keys()
        return tuple(sorted(found, key=lambda entry: (keys[entry.id], entry.id)))

    def order_keys(self) -> Mapping[str, Stamp]:
        """The display order of every entry: its own stamp, yet always after what it replaces."""
        entries, keys = self.entries, dict[str, Stamp]()
        for start in entries:
            waiting = [start]
            while waiting:
                entry = entries[waiting[-1]]
                missing = [other for other in entry.replaces if other in entries and other not in keys]
                if missing:
                    waiting.extend(missing)
                else:
                    replaced = [keys[other] for other in entry.replaces if other in keys]
                    keys[waiting.pop()] = order_key(entry.clock, replaced)
        return keys


def _states(entry: Entry, text: JsonValue) -> bool:
    """Whether an entry states a text, in a kind of which two entries with the same value agree."""
    return isinstance(text, str) and entry.value == text and entry.kind in ("measure", "field", "step", "job")


def _agree(one: Entry, other: Entry) -> bool:
    return one.kind != "note" and same_value(_meaning(one), _meaning(other))


def _all_alike(heads: Sequence[Entry]) -> bool:
    """Whether amounts typed in two units are each alike with every other."""
    values = [None if head.kind == "note" else head.value for head in heads]
    texts = {value for value in values if isinstance(value, str)}
    only_texts = all(isinstance(value, str) for value in values)
    return only_texts and len(texts) > 1 and all(starmap(alike, combinations(texts, 2)))


def say_the_same(one: Entry, other: Entry) -> bool:
    """Whether two entries of a register say the same. A note is one remark where its writer and its time are too."""
    return one.id == other.id or (
        alike(_meaning(one), _meaning(other)) and (one.kind != "note" or (one.by, one.at) == (other.by, other.at))
    )


def _meaning(entry: Entry) -> JsonValue:
    """What two entries of a register must share to agree: of an alias or a move the hull or the job, not the reason."""
    return target(entry) if entry.kind in ("alias", "move") else entry.value


@attrs.frozen
class Retraction:
    """A value taken back, with who did it and why."""

    entry: Entry
    by: str
    reason: str


def retractions_in(register: Register) -> Iterator[Retraction]:
    """Every value of a register that was taken back, in order of display."""
    for retraction in register.history:
        if retraction.kind == "retract":
            reason = str(member(retraction.value, "reason"))
            for taken_back in retraction.replaces:
                if taken_back in register.entries:
                    yield Retraction(register.entries[taken_back], retraction.by, reason)


@attrs.frozen
class Resolution:
    """A value that took the place of several that disagreed, with a reason or, measured again, without one."""

    entry: Entry
    instead: tuple[Entry, ...]


def resolution_in(register: Register) -> Resolution | None:
    """What a register's one head took the place of, where that differed."""
    if len(register.head_ids) != 1:
        return None
    (head,) = register.heads
    if head.id in register.misfits:
        return None
    instead = [entry for name in head.replaces if (entry := register.entries.get(name)) and entry.kind != "retract"]
    if head.kind not in ("measure", "field") or all(alike(one.value, instead[0].value) for one in instead):
        return None
    return Resolution(head, tuple(sorted(instead, key=lambda entry: (entry.clock, entry.id))))
