"""What the full-throttle runs of the job say of speed and engine speed: typed, or cut from their recordings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from garboard.findings import rounded
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.samples import Recording
from garboard.series import engine_streams, mean, mean_direction, mean_of_means, signed_angle, steady_stretches
from garboard_fuel_curve.full_throttle import RUNS
from garboard_fuel_curve.recorded import per_second
from garboard_fuel_curve.wording import tens

SAME_THROTTLE = 0.03
"""Runs are at full throttle within this share of the fastest one's engine speed; common practice, no source."""

RUN_SECONDS = 5.0
"""A stretch of a recording as long as this is a run; common practice, no source [s]."""


@frozen(kw_only=True)
class Run:
    """One full-throttle run.

    speed, engine_speed : over ground [kn], mean of the engines [rev/min]
    way                 : course over ground [deg] or side; None where not known
    """

    speed: float
    engine_speed: float
    way: float | str | None
    speed_place: FieldKey
    engine_speed_places: tuple[FieldKey, ...]


@frozen(kw_only=True)
class Runs:
    """All full-throttle runs together.

    both_ways : whether a current is taken out of the speed
    """

    speed: float
    engine_speed: float
    both_ways: bool
    speed_places: tuple[FieldKey, ...]
    engine_speed_places: tuple[FieldKey, ...]

    def told(self, view: JobView) -> tuple[str, str]:
        """Speed and engine speed in words: of a recording rounded, for the propeller check cuts it a little otherwise
        and gives the exact figures."""
        exact = [place[1] == "speed" for place in self.speed_places]
        if all(exact):
            return view.told(self.speed, "kn", 1), rounded(self.engine_speed, 0)
        return f"about {view.told(self.speed, 'kn', 0)}", tens(self.engine_speed)


def runs_of(view: JobView) -> Runs | None:
    """The runs of a job as one; None where there are none, or where they contradict each other.

    A propeller that lets go turns faster and drives slower: full throttle is the engine speed of the fastest run.
    """
    entered = list(_entered(view))
    if not entered:
        return None
    fastest = max(entered, key=lambda run: run.speed)
    within = SAME_THROTTLE * fastest.engine_speed
    full = [run for run in entered if abs(run.engine_speed - fastest.engine_speed) <= within]
    ways = [group for group in _by_way(full) if group]
    by_turns = len(full) > 1 and all(_is_against(before.way, after.way) for before, after in pairwise(full))
    # As the propeller check does: one boat, one speed.
    speed = mean_of_means([run.speed for run in full]) if by_turns else mean([mean_of(group) for group in ways])
    if any(abs(run.speed - speed) > view.setting_value("fuel_curve.largest_current", "kn") for run in full):
        return None
    return Runs(
        speed=speed,
        engine_speed=mean([run.engine_speed for run in full]),
        both_ways=len(ways) > 1,
        speed_places=tuple(dict.fromkeys(run.speed_place for run in full)),
        engine_speed_places=tuple(dict.fromkeys(place for run in full for place in run.engine_speed_places)),
    )


def mean_of(runs: Sequence[Run]) -> float:
    """Mean speed of runs [kn]."""
    return mean([run.speed for run in runs])


def _by_way(runs: Sequence[Run]) -> tuple[list[Run], list[Run]]:
    """Runs that go the way of the first, or nobody knows which, and runs that go against it."""
    first = runs[0].way
    against = [run for run in runs if _is_against(first, run.way)]
    return [run for run in runs if run not in against], against


def _is_against(first: float | str | None, way: float | str | None) -> bool:
    if isinstance(first, float) and isinstance(way, float):
        return abs(signed_angle(way - first)) > 90
    return isinstance(first, str) and isinstance(way, str) and first != way


def _entered(view: JobView) -> Iterator[Run]:
    """Typed runs where there are any, each filled in from its own recording; else those of the recording of all."""
    rows = view.rows(RUNS)
    for row in rows:
        place = (RUNS, "recording", row, "")
        recorded = max(_recorded(view, place), key=lambda run: run.speed, default=None)
        typed = _typed(view, row)
        if one := typed or recorded:
            yield one
    if not rows:
        yield from _recorded(view, (RUNS, "all_runs", "", ""))


def _typed(view: JobView, row: str) -> Run | None:
    asking = view.asking()
    speed = asking.amount(RUNS, "speed", "kn", row=row)
    positions = [engine.position for engine in view.vessel.engines]
    read = {of: asking.amount(RUNS, "engine_speed", "rev/min", row=row, of=of) for of in positions}
    known = {of: value for of, value in read.items() if 0 < value < math.inf}
    if not (0 < speed < math.inf and known):
        return None
    course = view.asking().amount(RUNS, "course", "deg", row=row)
    side = view.value(RUNS, "direction", row=row)
    return Run(
        speed=speed,
        engine_speed=mean(list(known.values())),
        way=side if isinstance(side, str) and side else None if math.isnan(course) else course,
        speed_place=(RUNS, "speed", row, ""),
        engine_speed_places=tuple((RUNS, "engine_speed", row, of) for of in known),
    )


def _recorded(view: JobView, place: FieldKey) -> list[Run]:
    step, field, row, of = place
    if view.value(step, field, row=row, of=of) is None:
        return []
    recording = view.asking().recording(step, field, row=row, of=of)
    return [] if recording.was_set_back else list(_cut(view, recording, place))


def _cut(view: JobView, recording: Recording, place: FieldKey) -> Iterator[Run]:
    engines = view.vessel.engines
    heard = engine_streams(recording, "engine_speed", len(engines), [one.network_instance for one in engines])
    streams = {f"n{number}": per_second(one) for number, one in enumerate(heard) if one is not None}
    speeds, courses = recording.of("speed_over_ground"), recording.of("course_over_ground")
    if not streams or not speeds:
        return
    names = tuple(streams)
    tolerance = dict.fromkeys(names, view.setting_value("fuel_curve.steady_engine_speed", "rev/min"))
    streams["s"], tolerance["s"] = per_second(speeds[0]), view.setting_value("fuel_curve.steady_speed", "kn")
    if courses:
        streams["c"] = per_second(courses[0], turning=True)
        tolerance["c"] = view.setting_value("fuel_curve.steady_course", "deg")
    for one in steady_stretches(streams, tolerance, RUN_SECONDS):
        if all(one.means[name] > 0 for name in ("s", *names)):  # a boat adrift makes no run
            yield Run(
                speed=one.means["s"],
                engine_speed=mean([one.means[name] for name in names]),
                way=mean_direction([one.means["c"]]) if courses else None,
                speed_place=place,
                engine_speed_places=(place,),
            )
