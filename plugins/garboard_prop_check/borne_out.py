"""Whether another source of speed bears out the speed of the full-throttle runs, and so the unit it was typed in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from garboard.findings import NotEnoughData
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.series import mean
from garboard.units import Amount
from garboard_prop_check.averages import Average, average_engine_speed, average_speed
from garboard_prop_check.runs import ALL_RUNS, SPEED, Reading, Run, runs_of, runs_of_recording
from garboard_prop_check.steps import FULL_THROTTLE, THROTTLE_STEPS

SAME_THROTTLE = 0.03
"""A throttle step within this share of the engine speed of the runs is at full throttle as they are; common practice,
no source."""


@frozen
class Source:
    """A speed from elsewhere, as a share of the one of the runs at the same throttle [-].

    told    : as the start of "... the speed out"
    is_free : whether it may be right where the unit typed for the runs is wrong
    """

    told: str
    share: float
    is_free: bool = True


def borne_out_by(view: JobView, speed: Average, other: float) -> Source | None:
    """A source nearer to the speed of the runs than to what it would be in another unit; None where there is none.

    other : the speed of the runs, had it been read in another unit [kn]
    """
    nearer = [one for one in view.once(_sources, speed) if abs(one.share - 1) < abs(one.share - other / speed.value)]
    return max(nearer, key=lambda one: one.is_free, default=None)


def _sources(view: JobView, speed: Average) -> Sequence[Source]:
    runs = view.once(runs_of)
    if not speed.value > 0:
        return ()
    return (*_recorded(view, runs, speed), *_throttle_steps(view, runs, speed))


def _recorded(view: JobView, runs: Sequence[Run], speed: Average) -> Iterator[Source]:
    """What the recordings of typed runs, or that of all runs, say."""
    pairs = [
        (run.speed.value, one.value)
        for run in runs
        if isinstance(run.speed, Reading) and run.speed.is_typed
        for one in run.heard.get(SPEED, ())
    ]
    yield from (Source("their recording bears", heard / typed) for typed, heard in pairs if typed > 0)
    try:
        recording = view.recording(FULL_THROTTLE, ALL_RUNS) if any(run.row for run in runs) else None
        if recording is not None:
            of_all = view.once(average_speed, runs_of_recording(view, recording))
            yield Source("the recording of all runs bears", of_all.value / speed.value)
    except NotEnoughData:
        return


def _throttle_steps(view: JobView, runs: Sequence[Run], speed: Average) -> Iterator[Source]:
    """The typed throttle steps at full throttle. In the unit of the runs they bear them out less: one display may have
    misled both."""
    try:
        speeds = [view.once(average_engine_speed, runs, one.position).value for one in view.vessel.engines]
    except NotEnoughData:
        return
    turns = mean(speeds) if speeds else 0.0
    ours = {_unit(view, place) for place in speed.places if place[:2] == (FULL_THROTTLE, "speed")}
    for row in view.rows(THROTTLE_STEPS):
        at = view.amount(THROTTLE_STEPS, "nominal_engine_speed", "rev/min", row=row)
        ways = [(THROTTLE_STEPS, f"speed_{way}", row, "") for way in ("out", "back")]
        read = [view.amount(step, field, "kn", row=of_row) for step, field, of_row, _ in ways]
        both = [one for one in read if one is not None]
        if not at or len(both) < len(ways) or abs(at - turns) > SAME_THROTTLE * turns:
            continue
        is_free = ours.isdisjoint(_unit(view, place) for place in ways)
        yield Source("the throttle steps bear", mean(both) / at * turns / speed.value, is_free)


def _unit(view: JobView, place: FieldKey) -> str:
    step, field, row, of = place
    return Amount.parse(str(view.value(step, field, row=row, of=of))).unit
