"""Random histories of several tablets: edits, merges in part, clocks a day off and jumping, restored backups.

Everything follows from one seed, which a failing test shows.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping
from itertools import count

import attrs

from garboard.disk.clock import HybridClock, Stamp
from garboard.disk.entries import Entry, make_entry
from garboard.history.authoring import Author, measure, retract, settle, sign_off
from garboard.history.replay import HullState, replay
from garboard.records import JsonValue

HULL = "QQZ04417D626"
JOB = "job-1"
JOBS = (JOB, "job-2")
DAY = 24 * 60 * 60 * 1000
NOON = 1_780_000_000_000
PLACES = (
    ("prop_check.runs", "speed", "1", ""),
    ("prop_check.runs", "speed", "2", ""),
    ("steering.feel", "play", "", ""),
)
VALUES = ("30.0 kn", "30.00 kn", "31.5 kn", "fine", "stiff")
OTHER_HULLS = ("QQZ04418D626", "QQZ04419D626")


@attrs.define
class Wall:
    """A wall clock that is off by so many milliseconds and ticks a second each reading."""

    off: int
    _ticks: Iterable[int] = attrs.field(factory=lambda: count(1))

    def __call__(self) -> int:
        return NOON + self.off + next(iter(self._ticks)) * 1000


@attrs.define
class Tablet:
    """One tablet: its author, its clock, everything it holds, and what it held whenever it wrote something."""

    author: Author
    wall: Wall
    held: dict[str, Entry] = attrs.field(factory=dict)
    held_when_writing: dict[str, frozenset[str]] = attrs.field(factory=dict)

    @property
    def state(self) -> HullState:
        return replay(HULL, self.held.values())

    def write(self, entry: Entry) -> Entry:
        self.held_when_writing[entry.id] = frozenset(self.held)
        self.held[entry.id] = entry
        return entry


def tablet(name: str, clock_off: int = 0) -> Tablet:
    """A tablet whose clock is off by so many milliseconds."""
    wall = Wall(clock_off)
    author = Author(name, f"tech {name}", HybridClock(wall=wall), wall=lambda: "2026-05-14T09:30:00+02:00")
    return Tablet(author, wall)


def history(seed: int, moves: int = 40) -> list[Tablet]:
    """Three tablets after so many random moves."""
    chance = random.Random(seed)
    tablets = [tablet("a"), tablet("b", DAY), tablet("c", -DAY)]
    backup = dict(tablets[0].held)
    for number in range(moves):
        here = chance.choice(tablets)
        move = chance.choice((*EDITS, "measure", "measure", "merge", "merge", "backup", "clock"))
        if move == "backup":
            backup, tablets[0].held = dict(tablets[0].held), (backup if chance.random() < 0.3 else tablets[0].held)
        elif move == "clock":
            here.wall.off += chance.choice((-DAY, DAY))
        elif move == "merge":
            other = chance.choice(tablets)
            sample = chance.sample(sorted(other.held), k=chance.randint(0, len(other.held)))
            here.held.update({key: other.held[key] for key in sample})
        else:
            for entry in EDITS[move](here.author, here.state, chance, number):
                here.write(entry)
    if chance.random() < 0.5:  # the day ends with everything on one tablet, and a signature
        here = chance.choice(tablets)
        here.held.update(union(tablets))
        for entry in _sign(here.author, here.state, chance, moves):
            here.write(entry)
    return tablets


def union(tablets: list[Tablet]) -> dict[str, Entry]:
    """Everything any tablet holds."""
    return {key: entry for one in tablets for key, entry in one.held.items()}


def with_other_clocks(entries: Mapping[str, Entry], chance: random.Random) -> dict[str, Entry]:
    """The same facts with every stamp and wall time made up anew, by the ids of the entries they stand for."""
    again: dict[str, Entry] = {}
    waiting = [*entries]
    while waiting:
        here = waiting[-1]
        needed = [name for name in _named(entries[here]) if name in entries and name not in again]
        if needed:
            waiting += needed
            continue
        if waiting.pop() not in again:
            again[here] = _restamped(entries[here], again, chance)
    return again


def _named(entry: Entry) -> list[str]:
    """Ids an entry names: what it replaces, what it signs for."""
    covers = entry.value.get("covers") if isinstance(entry.value, dict) else None
    return [*entry.replaces, *(map(str, covers) if isinstance(covers, list) else ())]


def _restamped(entry: Entry, again: Mapping[str, Entry], chance: random.Random) -> Entry:
    ids = {name: again[name].id if name in again else name for name in _named(entry)}  # some were on a lost tablet
    value = entry.value
    if entry.kind == "signoff" and isinstance(value, dict):
        value = {**value, "covers": [new for old, new in ids.items() if old not in entry.replaces]}
    return make_entry(
        entry.kind,
        entry.hull,
        dev=entry.tablet,
        by=entry.by,
        clock=Stamp(NOON + chance.randint(-30 * DAY, 30 * DAY), chance.randint(0, 2**40)),
        at=f"20{chance.randint(10, 40)}-0{chance.randint(1, 9)}-14T09:30:00+02:00",
        job=entry.job,
        subject=entry.subject,
        value=value,
        replaces=[ids[name] for name in entry.replaces],
        more=entry.more,
    )


Edit = Callable[[Author, HullState, random.Random, int], Iterable[Entry]]


def _measure(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    step, field, row, of = chance.choice(PLACES)
    yield measure(author, state, chance.choice(JOBS), step, field, chance.choice(VALUES), row=row, of=of)


def _field(author: Author, state: HullState, chance: random.Random, number: int) -> Iterable[Entry]:
    """A fact of an engine, or of a piece of a kind that a plugin declares."""
    path = ("engines", "port", "gear_ratio") if number % 2 else ("yard.trailers", "road", "ratio")
    value = chance.choice(("1.85", "1.850", "2.0"))
    yield author.write(state, "field", path, value, job=chance.choice(JOBS))


def _step(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    value: JsonValue = {"state": chance.choice(("done", "look again"))}
    yield author.write(state, "step", ("prop_check.runs",), value, job=chance.choice(JOBS))


def _note(author: Author, state: HullState, chance: random.Random, number: int) -> Iterable[Entry]:
    subject = (f"note {chance.randint(0, number)}",)
    yield author.write(state, "note", subject, {"text": f"chafe at {number}"}, job=chance.choice(JOBS))


def _move(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    value: JsonValue = {"hull": chance.choice((HULL, *OTHER_HULLS)), "reason": "wrong boat"}
    yield author.write(state, "move", ("to",), value, job=chance.choice(JOBS))


def _join(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    """Into itself, too, and into one that is not here: what any program may have written."""
    value: JsonValue = {"job": chance.choice((*JOBS, "job-3")), "reason": "one piece of work"}
    yield author.write(state, "move", ("into",), value, job=chance.choice(JOBS))


def _alias(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    other = chance.choice(OTHER_HULLS)
    yield author.write(state, "alias", (other,), {"hull": other, "reason": "read again"})


def _retract(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    keys = sorted(key for key in state.registers if key.kind != "signoff")
    if keys:
        yield retract(author, state, chance.choice(keys), "read off the wrong gauge")


def _settle(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    keys = sorted(key for key in state.registers if state.disagrees(key))
    if keys:
        key = chance.choice(keys)
        yield settle(author, state, key, chance.choice(state.current(key)).value, "checked again")


def _sign(author: Author, state: HullState, chance: random.Random, _number: int) -> Iterable[Entry]:
    yield sign_off(author, state, chance.choice(JOBS), "technician", author.by)


def _unknown(author: Author, state: HullState, chance: random.Random, number: int) -> Iterable[Entry]:
    yield author.write(state, "shop_photo_tag", ("tag", str(number)), "bow", job=chance.choice(JOBS))


EDITS: Mapping[str, Edit] = {
    "measure": _measure,
    "field": _field,
    "step": _step,
    "note": _note,
    "move": _move,
    "join": _join,
    "alias": _alias,
    "retract": _retract,
    "settle": _settle,
    "sign": _sign,
    "unknown": _unknown,
}
