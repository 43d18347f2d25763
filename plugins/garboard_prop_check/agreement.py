"""Runs held against each other: a current no sea has, and the one run that the others contradict."""

from __future__ import annotations

import enum
import math
from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import TypeVar

from garboard.findings import Lack, Missing, NotEnoughData, plain_text, rounded
from garboard.job_view import JobView, in_unit
from garboard.record_types import frozen
from garboard.series import mean
from garboard_prop_check.least_squares import left_over
from garboard_prop_check.runs import SPEED, Reading, Run
from garboard_prop_check.steps import FULL_THROTTLE

Item = TypeVar("Item")


CLEARLY = 0.25
"""A run is slower than the others from this share of what they may differ by; common practice, no source."""


FASTEST_STREAM = 10.0
"""Runs both ways that repeat are believed up to this current [kn]; common practice, no source."""


UNEXPLAINED = 0.7
"""What a current, steady or changing evenly, may leave over of speeds both ways, root mean square [kn].

Five times what one run differs from the next; a tide that turns leaves half a knot. Common practice, no source.
"""


MOST_LEFT_OUT = 100
"""Runs of which each is left out in turn: the work grows as their square, and nobody makes more than a dozen."""


class OddRun(enum.Enum):
    """What the one run shows that the others contradict."""

    VENTILATED = "ventilated"
    NOT_FULL_THROTTLE = "not at full throttle"
    ENGINE_SPEED = "engine speed misread"
    SPEED = "speed misread"


@frozen
class Limits:
    """How far runs may differ.

    current      : along the runs, at most [kn]
    speed        : between runs the same way, at most [kn]
    engine_speed : between runs, at most [rev/min]
    told_in      : the unit to tell speeds in
    """

    current: float
    speed: float
    engine_speed: float
    told_in: str = "kn"

    def told(self, speed: float, decimals: int | None = 1) -> str:
        """A speed [kn] in words."""
        value = in_unit(speed, "kn", self.told_in)
        return (
            f"{plain_text(value)} {self.told_in}" if decimals is None else f"{rounded(value, decimals)} {self.told_in}"
        )


@frozen
class Fault:
    """Runs that contradict each other.

    what : SPEED, or the position of the engine
    runs : those that lie furthest apart
    """

    what: str
    text: str
    runs: tuple[Run, ...]


@frozen
class Agreement:
    """Whether runs agree.

    odd    : the one run without which the others agree
    kind   : what it shows
    spoilt : what of it is not counted: SPEED, positions of engines
    faults : where they do not agree, with no one run to blame
    """

    odd: Run | None = None
    kind: OddRun | None = None
    spoilt: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()

    def counts(self, run: Run, what: str) -> bool:
        """Whether a run counts in the speed (SPEED) or in an engine's."""
        return run is not self.odd or what not in self.spoilt

    def check(self, what: str) -> None:
        """Raise NotEnoughData where the runs contradict each other in a speed or an engine's speed.

        Runs at unlike engine speed give no speed either: what would be left for a current is a difference of throttle
        or of a propeller that let go, and one sound run alone is one-way.
        """
        found = [fault for fault in self.faults if what in (SPEED, fault.what)]
        if found:
            of_speed = found[0].what == SPEED
            field, of = ("speed", "") if of_speed else ("engine_speed", found[0].what)
            row = found[0].runs[-1].row
            text = "; ".join(fault.text for fault in found)
            raise NotEnoughData(
                Missing(text, lack=Lack.CONTRADICTS, step=FULL_THROTTLE, field=field, row=row, of=of),
            )


def limits_of(view: JobView) -> Limits:
    """What the shop lets runs differ by."""
    return Limits(
        view.setting_value("prop_check.largest_current", "kn"),
        view.setting_value("prop_check.same_way_difference", "kn"),
        view.setting_value("prop_check.run_difference", "rev/min"),
        view.unit_to_tell("kn"),
    )


def agreement_of(view: JobView, runs: Sequence[Run], ways: Sequence[int] | None) -> Agreement:
    """Whether runs agree with each other; ways as of `averages.sides`, None where they are not known.

    Of three runs or more each is left out in turn. Where the rest agrees for one run only, that one is odd. Of more
    than MOST_LEFT_OUT runs none is called odd.
    """
    limits = limits_of(view)
    faults = tuple(_faults(runs, ways, limits))
    if not faults or not 3 <= len(runs) <= MOST_LEFT_OUT:
        return Agreement(faults=faults)
    to_blame = [n for n in range(len(runs)) if not any(_faults(_but(runs, n), ways and _but(ways, n), limits))]
    if len(to_blame) != 1:
        return Agreement(faults=faults)
    (number,) = to_blame
    others = _but(runs, number)
    same_way = [run for run, way in zip(runs, ways or (), strict=False) if ways and way == ways[number]]
    odd, beside = runs[number], [run for run in same_way if run is not runs[number]]
    kind = _kind_of(odd, others, beside, limits)
    what = [SPEED] if kind is OddRun.SPEED else [*odd.engine_speed]
    if kind in (OddRun.VENTILATED, OddRun.NOT_FULL_THROTTLE) or not beside:
        what = [SPEED, *odd.engine_speed]
    return Agreement(odd, kind, tuple(what))


def _kind_of(odd: Run, others: Sequence[Run], same_way: Sequence[Run], limits: Limits) -> OddRun:
    """What the odd run shows.

    same_way : those of the others that went its way; where there are none, its speed says nothing: the current may
               explain it
    """
    faster = _engine_off(odd, others)
    if abs(faster) <= limits.engine_speed / 2:
        return OddRun.SPEED
    theirs = [run.speed.value for run in same_way if isinstance(run.speed, Reading)]
    lost = mean(theirs) - odd.speed.value if theirs and isinstance(odd.speed, Reading) else 0.0
    if lost <= limits.speed * CLEARLY:
        return OddRun.ENGINE_SPEED
    return OddRun.VENTILATED if faster > 0 else OddRun.NOT_FULL_THROTTLE


def _engine_off(odd: Run, others: Sequence[Run]) -> float:
    """How far above the others' the engine speed of a run is, of the engine that is furthest off [rev/min]."""
    found = [0.0]
    for position, reading in odd.engine_speed.items():
        theirs = [value for _, value in _engine_speeds(others, position)]
        if isinstance(reading, Reading) and theirs:
            found.append(reading.value - mean(theirs))
    return max(found, key=abs)


def _but(items: Sequence[Item], number: int) -> list[Item]:
    return [*items[:number], *items[number + 1 :]]


def is_any_made_twice(runs: Sequence[Run]) -> bool:
    """Whether two rows hold one and the same run."""
    return any(True for _ in _made_twice(runs))


def _made_twice(runs: Sequence[Run]) -> Iterator[Fault]:
    """Rows that hold one and the same run: one file attached to both, or a copy of it."""
    cut: dict[object, list[Run]] = {}
    for run in runs:  # runs that were typed have no stretch: there may be thousands of them
        if run.stretch is not None:
            cut.setdefault(run.stretch, []).append(run)
    pairs = [pair for alike in cut.values() for pair in combinations(alike, 2) if pair[0].is_same_stretch(pair[1])]
    place = {id(run): number for number, run in enumerate(runs)}
    for first, again in sorted(pairs, key=lambda pair: (place[id(pair[0])], place[id(pair[1])])):
        told = f"{first.name} and {again.name} hold the same seconds of one recording, so they are one run, not two"
        yield Fault(SPEED, f"{told}; attach the right file to each, or enter the course of each", (first, again))


def check_made_once(runs: Sequence[Run]) -> None:
    """Raise NotEnoughData where two rows hold one and the same run."""
    for fault in _made_twice(runs):
        row = fault.runs[-1].row
        raise NotEnoughData(
            Missing(fault.text, lack=Lack.CONTRADICTS, step=FULL_THROTTLE, field="recording", row=row),
        )


def _faults(runs: Sequence[Run], ways: Sequence[int] | None, limits: Limits) -> Iterator[Fault]:
    yield from _made_twice(runs)
    if ways is not None:
        yield from _faults_of_speed(runs, ways, limits)
    for position in dict.fromkeys(position for run in runs for position in run.engine_speed):
        found = _engine_speeds(runs, position)
        if found and _apart(found) > limits.engine_speed:
            told = f"engine speed ({position}) differs by {rounded(_apart(found))} rev/min between {_between(found, 0)}"
            cure = "read both again, and look whether the propeller let go in the faster"
            yield Fault(position, f"{told}, too much for one throttle; {cure}", _ends(found))


def _faults_of_speed(runs: Sequence[Run], ways: Sequence[int], limits: Limits) -> Iterator[Fault]:
    there, back = (
        [(r, r.speed.value) for r, w in zip(runs, ways, strict=True) if w == way and isinstance(r.speed, Reading)]
        for way in (1, -1)
    )
    for same in (there, back):
        if same and _apart(same) > limits.speed:
            told = f"speeds the same way differ by {limits.told(_apart(same))} between {_between(same, 1, limits)}"
            yield Fault(SPEED, f"{told}; one of them is wrong: read them again, or make the runs again", _ends(same))
    if not any(same and _apart(same) > limits.speed for same in (there, back)):
        yield from _no_current_explains(runs, ways, limits)
    if there and back:
        current = abs(mean([v for _, v in there]) - mean([v for _, v in back])) / 2
        is_repeated = all(len(same) > 1 and _apart(same) <= limits.speed for same in (there, back))
        most = max(limits.current, FASTEST_STREAM) if is_repeated else limits.current
        if current > most:
            text = (
                f"speeds out and back would need a current of {limits.told(current)}, more than the "
                f"{limits.told(most, None)} believed; read {_between([*there, *back], 1, limits)} again, or make two "
                "more runs to show that it is so"
            )
            yield Fault(SPEED, text, _ends([*there, *back]))


def _no_current_explains(runs: Sequence[Run], ways: Sequence[int], limits: Limits) -> Iterator[Fault]:
    """Speeds one way that differ where the others do not: a current that changed shows both ways.

    What the engines turned differently is not held against the speeds.
    """
    found = [(run, run.speed.value, way) for run, way in zip(runs, ways, strict=True) if isinstance(run.speed, Reading)]
    of_way = {way: [(run, speed) for run, speed, its in found if its == way] for way in (1, -1)}
    if any(len(same) < 2 for same in of_way.values()):
        return
    speeds, signs = [speed for _, speed, _ in found], [float(way) for _, _, way in found]
    squares, freedom = left_over(speeds, [1.0] * len(speeds), signs, [n * way for n, way in enumerate(signs)])
    slow, fast = most_unlike([run for run, _, _ in found])
    allowed = UNEXPLAINED + (max(speeds) * (fast - slow) / fast if fast else 0.0)
    if not freedom or math.sqrt(squares / freedom) <= allowed:
        return
    same = max(of_way.values(), key=_apart)
    told = f"speeds the same way differ by {limits.told(_apart(same))} between {_between(same, 1, limits)}"
    text = f"{told}, and no current explains it beside the others; read them again, or make two more runs"
    yield Fault(SPEED, text, _ends(same))


def most_unlike(runs: Sequence[Run]) -> tuple[float, float]:
    """The slowest and the fastest of the engine that turned most unlike from run to run [rev/min]; 0 of none."""
    positions = dict.fromkeys(position for run in runs for position in run.engine_speed)
    read = [[value for _, value in _engine_speeds(runs, position)] for position in positions]
    ends = [(min(values), max(values)) for values in read if values]
    return max(ends, key=lambda one: one[1] - one[0], default=(0.0, 0.0))


Found = Sequence[tuple[Run, float]]


def _engine_speeds(runs: Sequence[Run], position: str) -> list[tuple[Run, float]]:
    pairs = ((run, run.engine_speed.get(position)) for run in runs)
    return [(run, reading.value) for run, reading in pairs if isinstance(reading, Reading)]


def _ends(found: Found) -> tuple[Run, Run]:
    lowest, highest = (end(found, key=lambda one: one[1])[0] for end in (min, max))
    return lowest, highest


def _apart(found: Found) -> float:
    values = [value for _, value in found]
    return max(values) - min(values)


def _between(found: Found, decimals: int, speeds: Limits | None = None) -> str:
    """The runs furthest apart, with what they read; of speeds in the unit these are told in."""
    value_of = {run.name: in_unit(value, "kn", speeds.told_in) if speeds else value for run, value in found}
    return " and ".join(f"{run.name} ({rounded(value_of[run.name], decimals)})" for run in _ends(found))
