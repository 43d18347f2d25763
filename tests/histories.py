"""Random histories of several tablets: edits, merges in part, clocks a day off, restored backups.

Everything follows from one seed, which a failing test shows.
"""

from __future__ import annotations

import random

import attrs

from garboard.clock import HybridClock
from garboard.entries import Entry, make_entry
from garboard.fold import Fold, SlotKey, fold
from garboard.writing import Author, measure, retract, settle, sign_off

HULL = "QQZ04417D626"
JOB = "job-1"
DAY = 24 * 60 * 60 * 1000
NOON = 1_780_000_000_000
PLACES = (
    ("prop_check.runs", "speed", "1", ""),
    ("prop_check.runs", "speed", "2", ""),
    ("steering.feel", "play", "", ""),
)
VALUES = ("30.0 kn", "30.00 kn", "31.5 kn", "fine", "stiff")


@attrs.define
class Tablet:
    """One tablet: its author and everything it holds."""

    author: Author
    held: dict[str, Entry] = attrs.field(factory=dict)

    @property
    def state(self) -> Fold:
        return fold(HULL, self.held.values())

    def write(self, entry: Entry) -> Entry:
        self.held[entry.id] = entry
        return entry


def tablet(name: str, clock_off: int = 0) -> Tablet:
    """A tablet whose clock is off by so many milliseconds and ticks once each reading."""
    ticks = iter(range(1, 1_000_000))
    clock = HybridClock(wall=lambda: NOON + clock_off + next(ticks) * 1000)
    return Tablet(Author(name, f"tech {name}", clock, wall=lambda: "2026-05-14T09:30:00+02:00"))


def history(seed: int, moves: int = 30) -> list[Tablet]:
    """Three tablets after so many random moves."""
    chance = random.Random(seed)
    tablets = [tablet("a"), tablet("b", DAY), tablet("c", -DAY)]
    backup = dict(tablets[0].held)
    for number in range(moves):
        here = chance.choice(tablets)
        move = chance.choice(
            ("measure", "measure", "measure", "retract", "settle", "sign", "unknown", "merge", "backup")
        )
        if move == "backup":
            backup, tablets[0].held = dict(tablets[0].held), (backup if chance.random() < 0.3 else tablets[0].held)
        elif move == "merge":
            other = chance.choice(tablets)
            sample = chance.sample(sorted(other.held), k=chance.randint(0, len(other.held)))
            here.held.update({key: other.held[key] for key in sample})
        else:
            _edit(here, move, chance, number)
    return tablets


def _edit(here: Tablet, move: str, chance: random.Random, number: int) -> None:
    state, place = here.state, chance.choice(PLACES)
    key = SlotKey("measure", JOB, place)
    step, field, row, of = place
    if move == "measure":
        here.write(measure(here.author, state, JOB, step, field, chance.choice(VALUES), row=row, of=of))
    elif move == "retract" and state.heads(key):
        here.write(retract(here.author, state, key, "read off the wrong gauge"))
    elif move == "settle" and len(state.standing(key)) > 1:
        here.write(settle(here.author, state, key, chance.choice(state.standing(key)).value, "checked again"))
    elif move == "sign":
        here.write(sign_off(here.author, state, JOB, "technician", here.author.by))
    elif move == "unknown":
        here.write(
            make_entry(
                "shop_photo_tag",
                HULL,
                dev=here.author.tablet,
                by=here.author.by,
                clock=here.author.clock.now(),
                at=here.author.wall(),
                job=JOB,
                subject=("tag", str(number)),
                value="bow",
            )
        )


def union(tablets: list[Tablet]) -> dict[str, Entry]:
    """Everything any tablet holds."""
    return {key: entry for one in tablets for key, entry in one.held.items()}
