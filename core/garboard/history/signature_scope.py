"""What the signatures over a job cover: the entries they name, and everything those replaced, step by step.

A signature stands for values: where what stands now is what its signer saw, typed again or not, it covers that too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.disk.entries import Entry
from garboard.history.registers import Register, RegisterKey, say_the_same
from garboard.history.values import member


@attrs.frozen
class Staleness:
    """What a sign-off does not cover, by name."""

    sign_off: Entry
    not_covered: tuple[Entry, ...]


@attrs.define
class SignatureScope:
    """A job's entries and, for each of its sign-offs, those it does not cover. Kept up as entries come.

    everything  : the hull's entries: a job's value of a vessel field may be replaced by another job's
    register_of : the register an entry belongs to in the hull's state
    register    : everything entered in a register
    entries     : what a sign-off over the job should cover: all but sign-offs
    """

    everything: Mapping[str, Entry]
    register_of: Callable[[Entry], RegisterKey]
    register: Callable[[RegisterKey], Register]
    entries: dict[str, Entry] = attrs.field(factory=dict)
    _covered: dict[str, set[str]] = attrs.field(factory=dict)
    _not_covered: dict[str, dict[str, Entry]] = attrs.field(factory=dict)

    def add(self, entry: Entry, key: RegisterKey) -> bool:
        """Take in an entry of the job; whether it is one to cover. A sign-off taken back is none."""
        if entry.kind == "signoff":
            self._add_sign_off(entry)
        if "signoff" in (entry.kind, key.kind):
            return False
        self.entries[entry.id] = entry
        for sign_off, covered in self._covered.items():
            if entry.id not in covered:
                self._not_covered[sign_off][entry.id] = entry
        return True

    def reach(self, entry: Entry, replacing: Iterable[str]) -> None:
        """An entry came, of this job or another: sign-offs cover it that cover one of those replacing it."""
        ids = (entry.id, *replacing)
        for sign_off, covered in self._covered.items():
            if not covered.isdisjoint(ids):
                self._cover(sign_off, [entry.id])

    def staleness(self, sign_off: Entry) -> Staleness | None:
        """What one of the job's sign-offs misses; None when it covers everything."""
        missing = self._not_covered[sign_off.id]
        same = {key for key in set(map(self.register_of, missing.values())) if self._stands_as_signed(sign_off, key)}
        told = [one for one in missing.values() if not one.is_understood or self.register_of(one) not in same]
        return Staleness(sign_off, tuple(sorted(told, key=lambda one: one.id))) if told else None

    def not_named(self, sign_off: Entry) -> tuple[Entry, ...]:
        """Entries a sign-off neither names nor reaches from those it names, whatever they say."""
        missing = self._not_covered[sign_off.id]
        return tuple(missing[name] for name in sorted(missing))

    def _stands_as_signed(self, sign_off: Entry, key: RegisterKey) -> bool:
        """Whether the values that stand in a register are those that stood there for the signer, who saw one."""
        register, covered = self.register(key), self._covered[sign_off.id]
        if register.is_of_one_text:
            return not covered.isdisjoint(register.entries)
        seen = [entry for name, entry in register.entries.items() if name in covered]
        replaced = {name for entry in seen for name in entry.replaces}
        signed = [entry for entry in seen if entry.id not in replaced and entry.kind != "retract"]
        standing = [entry for name in register.head_ids if (entry := register.entries[name]).kind != "retract"]
        return bool(seen) and _all_in(signed, standing) and _all_in(standing, signed)

    def _add_sign_off(self, entry: Entry) -> None:
        self._covered[entry.id] = set()
        self._not_covered[entry.id] = dict(self.entries)
        covers = member(entry.value, "covers")
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
            self._covered[sign_off].add(covered)
            self._not_covered[sign_off].pop(covered, None)
            if (entry := self.everything.get(covered)) and entry.replaces:
                waiting.extend(self._replaced_by(entry))

    def _replaced_by(self, entry: Entry) -> Iterator[str]:
        """What an entry replaces, as far as it is here: what it names in its own register."""
        here = [other for other in entry.replaces if other in self.everything]
        return (other for other in here if self.register_of(self.everything[other]) == self.register_of(entry))


def _all_in(some: Iterable[Entry], others: Sequence[Entry]) -> bool:
    """Whether everything that some entries say is said by others."""
    return all(any(say_the_same(one, other) for other in others) for one in some)
