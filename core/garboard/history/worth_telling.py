"""Which of a hull's entries a merge's report can come from: to replay the others would be most of a merge's work.

Values, names and subjects are compared as bytes. A report tells what disagrees, and what a signature does not cover. So
a place of one value, of which every signature covers an entry, is left out; most places of most boats are such. What is
kept is replayed, and that alone decides.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Mapping

import attrs

from garboard.disk.entries import STRAY, Entry, Parts, canonical_bytes, head_of, plain_parts, view
from garboard.history.registers import register_of
from garboard.history.values import member

_Place = bytes
"""A register's kind, job and subject, as they are spelt in an entry, each on a line. Bytes are looked up faster than
tuples, and Python does not look through them for garbage.
"""

_OF_A_WHOLE_HULL = frozenset({b"alias", b"move"})
"""With one of these, which entries belong together is for replay to find out."""

_ALIKE_BY_VALUE = frozenset({b"measure", b"field", b"step", b"job", b"run"})
"""Kinds of which a signature stands for every entry with the value it covers; two notes are two remarks."""

_BEGINS_AN_OBJECT = ord("{")

_TO_BE_READ = frozenset({b"retract", b"signoff"})


@attrs.define
class Places:
    """A hull's entries by the place they belong to.

    ids         : of every entry but sign-offs, by place
    values      : the value first seen there
    not_settled : places with several values, or with something taken back
    signatures  : the sign-offs
    is_whole    : whether only replay can tell which entries belong together
    may_name    : the entries that may name a file: all but those with one plain value
    """

    ids: dict[_Place, list[str]] = attrs.field(factory=dict)
    values: dict[_Place, bytes] = attrs.field(factory=dict)
    not_settled: set[_Place] = attrs.field(factory=set)
    signatures: list[Entry] = attrs.field(factory=list)
    is_whole: bool = False
    may_name: list[bytes] = attrs.field(factory=list)

    def take_in(self, entries: Mapping[str, bytes], seen: Iterable[Parts | None] | None = None) -> None:
        """Take in entries by id, each once.

        seen : what is plain of each, in their order, where somebody looked
        """
        ids, values, begins_with = self.ids, self.values, dict[bytes, bytes]()  # most of a report's time goes by here
        for (name, raw), parts in zip(entries.items(), seen or map(plain_parts, entries.values()), strict=True):
            if parts is None:
                self.may_name.append(raw)
                self._read(name, raw)
                continue
            head, subject, value = parts
            if head not in begins_with:
                begins_with[head] = self._begin(head)
            if value[0] == _BEGINS_AN_OBJECT:
                self.may_name.append(raw)
            if not (begins := begins_with[head]):
                self._read(name, raw)
                continue
            place = begins + subject
            if (found := ids.get(place)) is not None:
                found.append(name)
                if values[place] != value:
                    self.not_settled.add(place)
                continue
            ids[place], values[place] = [name], value

    def _begin(self, head: bytes) -> bytes:
        """What stands before the subject in the place of entries with a head; b"" where each of them must be read."""
        _, job, kind = head_of(head)
        if kind in _OF_A_WHOLE_HULL:
            self.is_whole = True
        return b"" if kind in _TO_BE_READ else b"%b\n%b\n" % (kind, b"" if kind == b"field" else job)

    def _read(self, name: str, raw: bytes) -> None:
        """Take in an entry that must be read for it."""
        entry = view(name, raw)
        if entry.kind == "signoff" and entry.is_understood:
            self.signatures.append(entry)
            return
        place, value = _place_of(entry), canonical_bytes(entry.value)
        self.ids.setdefault(place, []).append(name)
        first = self.values.setdefault(place, value)
        if entry.kind == "retract" or first != value:
            self.not_settled.add(place)
        self.is_whole |= place.split(b"\n")[0] in _OF_A_WHOLE_HULL


def worth_telling(
    entries: Mapping[str, bytes], received: Container[str], places: Places | None = None
) -> Mapping[str, bytes]:
    """Those of a hull's entries that a report can come from, in their order.

    entries  : all of the hull's, by id, as they lie on the disk
    received : ids of those that came now: a report holds what is against what was before
    places   : of those that came, where somebody took them in as they came
    """
    if places is None:
        places = Places()
        places.take_in(entries)
    else:
        places.take_in({name: raw for name, raw in entries.items() if name not in received})
    if places.is_whole:
        return entries
    if not (places.signatures or places.not_settled):
        return {}
    now = _Covered.of(places.signatures)
    before = _Covered.of(one for one in places.signatures if one.id not in received)

    def is_told(place: _Place, ids: list[str]) -> bool:
        return (
            place in places.not_settled
            or now.misses(place, ids)
            or before.misses(place, [name for name in ids if name not in received])
        )

    told = {place for place, ids in places.ids.items() if is_told(place, ids)}
    if not told:
        return {}
    first = _first_of_each_job(entries, places.signatures)
    kept = {one.id for one in places.signatures}
    kept.update(name for place, ids in places.ids.items() if place in told or first & {*ids} for name in ids)
    return {name: raw for name, raw in entries.items() if name in kept}


def _place_of(entry: Entry) -> _Place:
    """As it is spelt in an entry of the plain shape. An entry this program does not know has a place of its own."""
    if not entry.is_understood:
        return b"\n\n" + entry.id.encode()
    key = register_of(entry)
    job = canonical_bytes(key.job) if key.kind != "field" else b""
    kind = canonical_bytes(key.kind)[1:-1]  # in one line
    return b"\n".join((kind, job, canonical_bytes([*key.subject])))


@attrs.frozen
class _Covered:
    """What signatures name, each by itself: by job, and of all jobs together for what jobs share."""

    by_job: Mapping[bytes, list[frozenset[str]]]
    of_all: list[frozenset[str]]

    @classmethod
    def of(cls, signatures: Iterable[Entry]) -> _Covered:
        """Signatures signed again are left out: what the new one covers counts."""
        signatures = list(signatures)
        again = {(register_of(one), name) for one in signatures for name in one.replaces}
        by_job: dict[bytes, list[frozenset[str]]] = {}
        for one in signatures:
            if (register_of(one), one.id) not in again:
                by_job.setdefault(canonical_bytes(one.job), []).append(named_by(one))
        return cls(by_job, [named for signed in by_job.values() for named in signed])

    def misses(self, place: _Place, ids: Collection[str]) -> bool:
        """Whether one of the signatures over a place may not stand for what is there."""
        kind, job, _ = place.split(b"\n")
        signed = self.by_job.get(job, []) if job else self.of_all
        if not ids or not signed:
            return False
        return kind not in _ALIKE_BY_VALUE or any(named.isdisjoint(ids) for named in signed)


def named_by(signature: Entry) -> frozenset[str]:
    """Ids of the entries a sign-off names."""
    covers = member(signature.value, "covers")
    return frozenset(map(str, covers)) if isinstance(covers, list) else frozenset()


def _first_of_each_job(entries: Mapping[str, bytes], signatures: Iterable[Entry]) -> set[str]:
    """A report names jobs in the order they were opened: where several are signed, the first entry of each."""
    jobs = {one.job for one in signatures}
    if len(jobs) < 2:
        return set()
    read = [view(name, raw) for name, raw in entries.items()]
    opening = [one for one in read if register_of(one).kind not in ("signoff", STRAY)]
    of_jobs = [[one for one in opening if one.job == job] for job in jobs]
    return {min(of_job, key=lambda one: one.clock).id for of_job in of_jobs if of_job}
