"""Full-throttle runs averaged so that current drops out, with what each source adds to the uncertainty."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TypeGuard

from garboard.findings import Lack, Missing, NotEnoughData, rounded
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.series import mean, signed_angle
from garboard.uncertainty import DEVIATION_FREEDOM, MeasuredValue, Part, Shape, of_last_digit, pooled
from garboard_prop_check.agreement import Agreement, agreement_of, check_made_once
from garboard_prop_check.least_squares import dot, left_over
from garboard_prop_check.runs import SPEED, TYPED, Reading, Run
from garboard_prop_check.steps import FULL_THROTTLE


@frozen
class Average:
    """A mean over runs.

    runs    : how many it is made of
    current : part of the current along the runs, where it was taken out [kn]
    method  : how, in words
    places  : of the readings it rests on
    """

    measured: MeasuredValue
    runs: int
    method: str = ""
    current: float = 0.0
    places: tuple[FieldKey, ...] = ()

    @property
    def value(self) -> float:
        """The mean itself, in its unit."""
        return self.measured.value

    @property
    def expanded_uncertainty(self) -> float:
        """Half width of its 95 % interval, same unit."""
        return self.measured.expanded_uncertainty


def sides(runs: Sequence[Run], within: float) -> tuple[int, ...]:
    """+1 for runs the same way as the first, -1 for the opposite way.

    within : how far courses may lie off one line [deg]
    Raises NotEnoughData when a run says neither course nor side, a course lies off the line, or a course contradicts a
    side.
    """
    contradicted = labels_contradicted(runs, within)
    if contradicted is not None:
        row = contradicted.runs[-1].row
        raise NotEnoughData(
            Missing(contradicted.text, lack=Lack.CONTRADICTS, step=FULL_THROTTLE, field="direction", row=row)
        )
    if all(run.side for run in runs):
        return tuple(1 if run.side == runs[0].side else -1 for run in runs)
    first = runs[0].course if runs else None
    reasons: list[Missing] = []
    found: list[int] = []
    for run in runs:
        name, course = run.name, run.course
        if course is None or first is None:
            if course is None:
                text = f"{name}: say with or against for every run, or give every course"
                reasons.append(Missing(text, lack=Lack.NOT_ENTERED, step=FULL_THROTTLE, field="direction", row=run.row))
            continue
        off = abs(signed_angle(course - first))
        if min(off, 180 - off) > within:
            text = f"{name}: course {rounded(course)} is neither that of the first run ({rounded(first)}) nor opposite"
            reasons.append(Missing(text, lack=Lack.OUT_OF_RANGE, step=FULL_THROTTLE, field="course", row=run.row))
        found.append(1 if off <= 90 else -1)
    if reasons:
        raise NotEnoughData(*reasons)
    return tuple(found)


@frozen
class Contradicted:
    """Runs whose labels, with or against, are not what their courses say."""

    text: str
    runs: tuple[Run, ...]


def labels_contradicted(runs: Sequence[Run], within: float) -> Contradicted | None:
    """The labels that the courses contradict; None where they agree, or too few runs have both.

    within : how far courses may lie off one line [deg]

    Where most labels fit each other, the rest are in doubt; otherwise all are.
    """
    known = [(run, run.course) for run in runs if run.side and run.course is not None]
    fitting = _fitting(known, within)
    contradicted = [(one, count) for one, count in zip(known, fitting, strict=True) if count < len(known)]
    if not contradicted:  # one may fit all the others while those contradict each other: it is in no pair to tell
        return None
    (base, its), _ = max(contradicted, key=lambda one: one[1])
    wrong = [other for other, to in known if _is_contradicted(base, its, other, to, within)]
    if not wrong:
        return None
    fits = {id(run): count for (run, _), count in zip(known, fitting, strict=True)}
    if 2 * len(wrong) >= len(known):
        in_doubt = [run for run, _ in known]
    elif all(fits[id(run)] < fits[id(base)] for run in wrong):
        in_doubt = wrong
    else:  # they fit the others alike
        in_doubt = [run for run, _ in known if run is base or any(run is other for other in wrong)]
    told = " and ".join(f"{run.name} ({run.side}, {rounded(run.course or 0.0):0>3}°)" for run in (base, wrong[0]))
    text = f"labels and courses of {told} contradict each other; correct the label or the course"
    return Contradicted(text, tuple(in_doubt))


def _fitting(known: Sequence[tuple[Run, float]], within: float) -> list[int]:
    """For each run, how many have a course that fits its own by their labels.

    Courses of the one label are turned round, so that all that fit lie beside each other: they are sorted and counted,
    as a job from elsewhere may hold thousands.
    """
    if not known:
        return []
    turned = [(course + (0.0 if run.side == known[0][0].side else 180.0)) % 360.0 for run, course in known]
    around = sorted(to + full for to in turned for full in (-360.0, 0.0, 360.0))
    return [bisect_right(around, to + within) - bisect_left(around, to - within) for to in turned]


def _is_contradicted(run: Run, course: float, other: Run, to: float, within: float) -> bool:
    off = abs(signed_angle(to - course))
    return (off if run.side == other.side else 180 - off) > within


def weights_of_opposite_runs(ways: Sequence[int]) -> tuple[tuple[float, ...], str]:
    """What each run counts in the speed, so that the current drops out.

    ways    : +1 or -1 for each run, in the order they were made; both must occur [-]
    returns : weights that add up to 1 [-], and the method in words
    Raises ValueError when the runs all went one way.

    Runs by turns: mean of means [1]. Otherwise the mean of the two sides' means, which takes out a steady current
    only.

    >>> weights_of_opposite_runs([1, -1, 1, -1])[0]
    (0.125, 0.375, 0.375, 0.125)

    [1] Tupper, Introduction to Naval Architecture, pp. 243-245: (V1 + 3 V2 + 3 V3 + V4) / 8.
    """
    if len(set(ways)) < 2:
        raise ValueError("expected runs both ways")
    count = len(ways)
    if all(way != following for way, following in pairwise(ways)):
        method = "mean of two opposite runs" if count == 2 else f"mean of means of {count} runs"
        return tuple(math.comb(count - 1, n) / 2 ** (count - 1) for n in range(count)), method
    there, back = ways.count(1), ways.count(-1)
    method = f"mean of both ways, {there} and {back} runs"
    return tuple(0.5 / (there if way == 1 else back) for way in ways), method


def average_speed(view: JobView, runs: Sequence[Run]) -> Average:
    """Boat speed with current dropped out [kn].

    A run not fully entered yet is left out where the others suffice without it; see `left_out_of_speed`. So is one
    that the others contradict; see `agreement`.
    """
    complete = [run for run in runs if not _lacking_for_speed(view, run)]
    if len(complete) < len(runs):
        try:
            return _average_speed(view, complete)
        except NotEnoughData:
            pass  # what the complete runs lack, the others may have: say what is missing of all
    return _average_speed(view, runs)


def left_out_of_speed(view: JobView, runs: Sequence[Run]) -> tuple[Missing, ...]:
    """What is still to be entered of the runs that the average speed leaves out."""
    lacking = [one for run in runs for one in _lacking_for_speed(view, run)]
    complete = [run for run in runs if not _lacking_for_speed(view, run)]
    try:
        _average_speed(view, complete)
    except NotEnoughData:
        return ()  # nothing is left out: there is no average
    return tuple(lacking)


def left_out_of_engine_speed(runs: Sequence[Run], position: str) -> tuple[Missing, ...]:
    """What is still to be entered of the runs that an engine's average speed leaves out."""
    found = [_engine_speed(run, position) for run in runs]
    lacking = tuple(one for one in found if _is_to_enter(one))
    return lacking if len(lacking) < len(found) else ()


def _lacking_for_speed(view: JobView, run: Run) -> list[Missing]:
    """What keeps a run from counting that is simply not entered yet. A dispute is settled, never left out."""
    lacking = [run.speed] if _is_to_enter(run.speed) else []
    disputed = any(view.in_dispute(FULL_THROTTLE, field, row=run.row) for field in ("direction", "course"))
    if not run.side and run.course is None and not disputed:
        text = f"{run.name}: with or against, or the course, is not entered"
        lacking.append(Missing(text, lack=Lack.NOT_ENTERED, step=FULL_THROTTLE, field="direction", row=run.row))
    return lacking


def _is_to_enter(reading: Reading | Missing) -> TypeGuard[Missing]:
    return isinstance(reading, Missing) and reading.lack is Lack.NOT_ENTERED


def _average_speed(view: JobView, runs: Sequence[Run]) -> Average:
    readings = _readings((run.speed for run in runs), "no run is entered")
    asking = view.asking()
    for run in runs:
        asking.settled(FULL_THROTTLE, "direction", row=run.row)
        asking.settled(FULL_THROTTLE, "course", row=run.row)
    asking.check()
    check_made_once(runs)
    ways = sides(runs, view.setting_value("prop_check.opposite_within", "deg"))
    found = agreement_of(view, runs, ways)
    found.check(SPEED)
    counted = [one for one in zip(runs, readings, ways, strict=True) if found.counts(one[0], SPEED)]
    if len({way for _, _, way in counted}) < 2:
        spoilt = found.odd if len(counted) < len(runs) else None
        left = f"without {spoilt.name}, which the others contradict, " if spoilt else ""
        text = f"{left}all runs went one way; run the other way too, so that current drops out"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, **TYPED)
    return _speed_of(view, *zip(*counted, strict=True))


def _speed_of(view: JobView, runs: Sequence[Run], readings: Sequence[Reading], ways: Sequence[int]) -> Average:
    speeds = [reading.value for reading in readings]
    weights, method = weights_of_opposite_runs(ways)
    value = dot(weights, speeds)
    drifting = [way * number for number, way in enumerate(ways)]
    squares, freedom = left_over(speeds, [1.0] * len(speeds), ways, drifting)
    of_mean = math.hypot(*weights)
    parts = (
        *_of_reading(view, "speed", readings, squares, freedom, of_mean),
        Part.bound("receiver", view.setting_value("prop_check.speed_uncertainty", "kn")),
    )
    there, back = (mean([s for s, way in zip(speeds, ways, strict=True) if way == side]) for side in (1, -1))
    said = [(FULL_THROTTLE, field, run.row, "") for run in runs for field in ("direction", "course")]
    places = (*(reading.place for reading in readings), *held(view, said))
    return Average(MeasuredValue.of_parts(value, "kn", parts), len(runs), method, abs(there - back) / 2, places)


def average_engine_speed(view: JobView, runs: Sequence[Run], position: str) -> Average:
    """Engine speed over the runs [rev/min].

    A run without it is left out where another has it; see `left_out_of_engine_speed`. So is one that the others
    contradict; see `agreement`.
    """
    agreed = agreement_among(view, runs)
    agreed.check(position)
    found = [_engine_speed(run, position) for run in runs if agreed.counts(run, position)]
    readings = _readings([one for one in found if not _is_to_enter(one)] or found, "no run is entered")
    values = [reading.value for reading in readings]
    squares, freedom = left_over(values, [1.0] * len(values))
    parts = (
        *_of_reading(view, "engine_speed", readings, squares, freedom, 1 / math.sqrt(len(values)), position),
        Part.bound(f"tachometer {position}", view.setting_value("prop_check.engine_speed_uncertainty", "rev/min")),
    )
    measured = MeasuredValue.of_parts(mean(values), "rev/min", parts)
    return Average(measured, len(values), places=tuple(reading.place for reading in readings))


def _of_reading(
    view: JobView,
    field: str,
    readings: Sequence[Reading],
    squares: float,
    freedom: int,
    of_mean: float,
    of: str = "",
) -> tuple[Part, ...]:
    """What a mean has of its readings: from run to run, told beforehand and by the runs, and the last digit.

    squares, freedom : what the runs show of themselves
    of_mean          : root of the sum of squared weights
    """
    unit = readings[0].unit
    readings = [reading.read_off(view) for reading in readings]
    own = math.sqrt(mean([reading.deviation**2 for reading in readings]))
    beforehand = math.hypot(view.setting_value(f"prop_check.run_to_run_{field}", unit), own)
    deviation, known = pooled(beforehand, DEVIATION_FREEDOM, squares, freedom)
    digit = of_last_digit(math.sqrt(mean([reading.digit**2 for reading in readings])))
    return (
        Part(f"{field} {of} from run to run", deviation * of_mean, degrees_of_freedom=known),
        Part(f"{field} {of} last digit", digit * of_mean, Shape.RECTANGULAR),
    )


def agreement_among(view: JobView, runs: Sequence[Run]) -> Agreement:
    """Whether runs agree, as far as it is known which way they went."""
    return agreement_of(view, runs, ways_or_none(view, runs))


def ways_or_none(view: JobView, runs: Sequence[Run]) -> tuple[int, ...] | None:
    """The ways of the runs as of `sides`, None where they are not known."""
    try:
        return sides(runs, view.setting_value("prop_check.opposite_within", "deg"))
    except NotEnoughData:
        return None


def held(view: JobView, places: Iterable[FieldKey]) -> tuple[FieldKey, ...]:
    """Those places that hold a value."""
    return tuple(p for p in places if view.find(p[0], p[1], row=p[2], of=p[3]) is not None)


def _engine_speed(run: Run, position: str) -> Reading | Missing:
    text = f"{run.name}: no engine speed"
    return run.engine_speed.get(position) or Missing(
        text, lack=Lack.NOT_ENTERED, step=FULL_THROTTLE, field="engine_speed", row=run.row, of=position
    )


def _readings(found: Iterable[Reading | Missing], none: str) -> list[Reading]:
    listed = list(found)
    missing = [one for one in listed if isinstance(one, Missing)]
    if not listed:
        raise NotEnoughData(none, lack=Lack.NOT_ENTERED, **TYPED)
    if missing:
        raise NotEnoughData(*missing)
    return [reading for reading in listed if isinstance(reading, Reading)]
