"""The full-throttle runs of a job: typed, or cut from recordings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise

import attrs

from garboard.findings import Lack, Missing, NotEnoughData, in_full, rounded, row_in_words
from garboard.fittings import fitted_now
from garboard.job_view import FieldKey, JobView, nothing_at, refuse_set_back
from garboard.numeric import median
from garboard.record_types import frozen
from garboard.records import LEAST_AT_FULL, Engine
from garboard.samples import UNIT_OF_QUANTITY, Recording, Stream, StreamKey
from garboard.series import (
    Steady,
    engine_instance,
    engine_streams,
    is_copy,
    mean,
    mean_direction,
    not_heard,
    signed_angle,
    standard_deviation,
    steady_stretches,
    two_in_turn,
    unchanging_stretches,
)
from garboard.uncertainty import NORMAL_95
from garboard.units import Amount
from garboard_prop_check.steps import FULL_THROTTLE, SIDES

TYPED = {"step": FULL_THROTTLE, "field": "direction"}
"""Where a run that is missing would be typed."""

FASTEST_BOAT = 200.0
FASTEST_ENGINE = 15000.0
"""Readings beyond these [kn], [rev/min] are slips of the finger."""

SAME_THROTTLE = 0.97
"""A steady stretch belongs to the full-throttle runs from this share of their engine speed; common practice."""


RUN_LENGTH = 6.0
"""The deviations from run to run are those of runs as long as this [s]; common practice, no source."""

VENTILATED = 0.9
"""A propeller that lets go in a run leaves the others above this share of its engine speed; common practice."""

LONGEST_SILENCE = 3.0
"""A stream silent for longer ends a steady stretch [s]; common practice, no source."""
LONGEST_BREAK = 15.0
"""A run that a wave breaks for longer is two [s]; common practice, no source."""

LEAST_SAMPLES = 4
"""A source with fewer samples in a run says nothing of it."""

SPEED, ALL_RUNS = "speed", "all_runs"
NOWHERE: FieldKey = ("", "", "", "")
ROUNDING = 1e-9  # 41.3 - 41.0 comes out a hair above 0.3

OTHER_SPEED = 8.0
"""No engine keeps its speed to the last digit while the boat is so far from a run's speed [kn] for LAG.

Common practice, no source.
"""
OTHER_THROTTLE, LAG = 300.0, 10.0
"""No boat keeps its speed so far from a run's engine speed [rev/min] for so long [s]; common practice, no source."""


@frozen
class Reading:
    """One reading of a run.

    digit     : what one step of the last digit typed is worth [same unit]
    deviation : standard deviation of a recorded one about what the run was [same unit]
    place     : where it was entered; of a recorded one, the recording
    source    : who sent a recorded one

    What a display and an eye add to a typed one is the shop's to say: see `read_off`.
    """

    value: float
    unit: str
    digit: float = 0.0
    deviation: float = 0.0
    place: FieldKey = NOWHERE
    source: str = ""

    @property
    def is_typed(self) -> bool:
        """Whether a person read it off."""
        return self.place[1] in (SPEED, "engine_speed")

    def read_off(self, view: JobView) -> Reading:
        """The same with what the display and the eye add, where a person read it."""
        if not self.is_typed:
            return self
        field = self.place[1]
        by_eye = view.setting_value(f"prop_check.by_eye_{field}", self.unit)
        if field == SPEED:
            return attrs.evolve(self, deviation=by_eye)
        step = view.setting_value("prop_check.engine_speed_resolution", self.unit)
        return attrs.evolve(self, digit=step, deviation=by_eye)

    def differs_from(self, other: Reading, bound: float) -> bool:
        """Whether two readings of one thing are further apart than two instruments and two eyes explain.

        bound : how far an instrument may be off [same unit]
        """
        explained = 2 * bound + (self.digit + other.digit) / 2 + NORMAL_95 * math.hypot(self.deviation, other.deviation)
        return abs(self.value - other.value) > explained + ROUNDING


@frozen(kw_only=True)
class Run:
    """One full-throttle run. Where a reading is missing, what is missing stands in its place.

    speed        : over ground [kn]
    engine_speed : by the engine's position [rev/min]
    row          : of the table, "" for one cut from the recording of all runs
    course       : [deg], None when not entered
    side         : "with", "against" or empty
    heard        : what each source of its recording gives, by the engine's position or SPEED
    stretch      : start and end of what was cut from its recording [s], None for a run without one
    through_water: speed by the log in its recording [kn], None where none was heard
    """

    name: str
    row: str = ""
    speed: Reading | Missing
    engine_speed: Mapping[str, Reading | Missing]
    course: float | None = None
    side: str = ""
    heard: Mapping[str, Sequence[Reading]] = attrs.field(factory=dict)
    stretch: tuple[float, float] | None = None
    through_water: Reading | None = None

    def is_same_stretch(self, other: Run) -> bool:
        """Whether both were cut from the same seconds of the same samples, whatever the files are called."""
        return self.stretch is not None and self.stretch == other.stretch and self._samples() == other._samples()

    def _samples(self) -> Mapping[str, Sequence[tuple[float, str]]]:
        return {what: [(one.value, one.source) for one in found] for what, found in self.heard.items()}


_OF_A_RUN = {(FULL_THROTTLE, field) for field in ("direction", "course", "speed", "engine_speed", "recording")}
"""What makes a row a run: one with a propeller and a time to plane alone is a launch."""


def runs_of(view: JobView) -> tuple[Run, ...]:
    """The runs of a job, in the order they were made.

    Raises NotEnoughData when there are none, or when the recording of all runs has none.
    """
    disputed = (place[2] for place in (dispute.place for dispute in view.disagreements) if place[:2] in _OF_A_RUN)
    named = (one.row for one in view.measurements if (one.step, one.field) in _OF_A_RUN and one.row)
    rows = tuple(dict.fromkeys((*named, *filter(None, disputed))))
    if rows:
        return tuple(_at_full_throttle(view, _run_of_row(view, row)) for row in rows)
    recording = view.recording(FULL_THROTTLE, ALL_RUNS)
    if recording is None:
        if view.in_dispute(FULL_THROTTLE, ALL_RUNS):
            raise NotEnoughData(nothing_at(view, FULL_THROTTLE, ALL_RUNS))
        fitted = " and ".join(dict.fromkeys(filter(None, fitted_now(view.vessel))))
        text = f"no full-throttle run {f'with the propeller {fitted} ' if fitted else ''}is entered"
        raise NotEnoughData(f"{text}; make one run each way", lack=Lack.NOT_ENTERED, **TYPED)
    return tuple(_at_full_throttle(view, run) for run in runs_of_recording(view, recording))


def _at_full_throttle(view: JobView, run: Run) -> Run:
    """A run without its readings where an engine turned so slowly that nobody ran full throttle, or what was read is in
    turns a second: no propeller is judged by it.
    """
    slow: dict[str, Missing] = {}
    for engine in view.vessel.engines:
        reading, low = run.engine_speed.get(engine.position), engine.full_throttle_low
        if isinstance(reading, Reading) and low and reading.value < LEAST_AT_FULL * low.to("rev/min"):
            text = f"{run.name}: {rounded(reading.value)} rev/min is no full throttle of the {engine.position} engine"
            slow[engine.position] = Missing(
                f"{text}; open it fully, or correct the reading",
                lack=Lack.OUT_OF_RANGE,
                step=FULL_THROTTLE,
                field=reading.place[1] or "engine_speed",
                row=run.row,
                of=engine.position if reading.is_typed else "",
            )
    if not slow:
        return run
    speed = next(iter(slow.values())) if isinstance(run.speed, Reading) else run.speed
    return attrs.evolve(run, speed=speed, engine_speed={**run.engine_speed, **slow})


def runs_of_recording(view: JobView, recording: Recording) -> tuple[Run, ...]:
    """The full-throttle runs in the recording of all runs. Raises NotEnoughData when it holds none."""
    cut = cut_runs(view, recording)
    place = (FULL_THROTTLE, ALL_RUNS, "", "")
    return tuple(_run_of_stretch(view, f"run {n}", recording, one, place) for n, one in enumerate(cut, start=1))


def _run_of_row(view: JobView, row: str) -> Run:
    typed_course = view.amount(FULL_THROTTLE, "course", "deg", row=row)
    course = typed_course if typed_course is not None and 0 <= typed_course <= 360 else None
    side = view.value(FULL_THROTTLE, "direction", row=row)
    typed = Run(
        name=f"run {row}",
        row=row,
        speed=_typed(view, "speed", "kn", row, FASTEST_BOAT),
        engine_speed={
            engine.position: _typed(view, "engine_speed", "rev/min", row, FASTEST_ENGINE, engine.position)
            for engine in view.vessel.engines
        },
        course=course,
        side=side if isinstance(side, str) and side in SIDES else "",
    )
    recorded = _recorded_run(view, row, course)
    if recorded is None:
        return typed
    if isinstance(recorded, Missing):
        return attrs.evolve(
            typed,
            speed=_or(typed.speed, recorded),
            engine_speed={position: _or(reading, recorded) for position, reading in typed.engine_speed.items()},
        )
    return attrs.evolve(
        typed,
        speed=_or(typed.speed, recorded.speed),
        engine_speed={p: _or(reading, recorded.engine_speed[p]) for p, reading in typed.engine_speed.items()},
        course=course if course is not None else recorded.course,
        heard=recorded.heard,
        stretch=recorded.stretch,
        through_water=recorded.through_water,
    )


def _or(typed: Reading | Missing, recorded: Reading | Missing) -> Reading | Missing:
    """What was typed, else what was recorded. A dispute between typed values is not settled by a recording."""
    return recorded if isinstance(typed, Missing) and typed.lack is Lack.NOT_ENTERED else typed


def _recorded_run(view: JobView, row: str, course: float | None) -> Run | Missing | None:
    try:
        recording = view.recording(FULL_THROTTLE, "recording", row=row)
        if recording is None:
            return None
        place = (FULL_THROTTLE, "recording", row, "")
        runs = [(s, _run_of_stretch(view, f"run {row}", recording, s, place)) for s in cut_runs(view, recording)]
    except NotEnoughData as lacking:
        first = lacking.missing[0]
        field = "recording" if first.field == ALL_RUNS else first.field
        return attrs.evolve(first, text=f"run {row}: {'; '.join(lacking.reasons)}", field=field, row=row)
    if course is not None:
        nearby = view.setting_value("prop_check.opposite_within", "deg")
        runs = [(s, r) for s, r in runs if r.course is None or abs(signed_angle(r.course - course)) <= nearby]
    if not runs:
        return Missing(
            f"run {row}: no full-throttle stretch of its recording is on course {rounded(course or 0.0)}",
            lack=Lack.NOT_IN_RECORDING,
            step=FULL_THROTTLE,
            field="recording",
            row=row,
        )
    return max(runs, key=lambda found: found[0].seconds)[1]


def _typed(view: JobView, field: str, unit: str, row: str, highest: float, of: str = "") -> Reading | Missing:
    asking = view.asking()
    value = asking.amount(FULL_THROTTLE, field, unit, row=row, of=of)
    if asking.missing:
        return asking.missing[0]
    if not 0 < value <= highest:
        where = f"{field.replace('_', ' ')}{f' ({of})' if of else ''}, {row_in_words(row)}"
        text = f"{where} must lie above 0 and up to {in_full(highest)} {unit}, it reads {in_full(value)}"
        return Missing(text, lack=Lack.OUT_OF_RANGE, step=FULL_THROTTLE, field=field, row=row, of=of)
    digit = _last_digit(view, field, unit, row) if field == SPEED else 0.0
    return Reading(value, unit, digit, place=(FULL_THROTTLE, field, row, of))


def _last_digit(view: JobView, field: str, unit: str, row: str) -> float:
    """What one step of the last digit typed is worth [unit]."""
    return Amount.parse(str(view.value(FULL_THROTTLE, field, row=row))).last_digit(unit)


def cut_runs(view: JobView, recording: Recording) -> tuple[Steady, ...]:
    """A steady stretch of each full-throttle run of a recording, in order of time; "speed" and engine positions name
    the means.

    Full throttle is the engine speed of the fastest stretch: a propeller that lets go turns faster and drives slower.
    It is the highest engine speed where the fastest is far below it, as a cruise with the current is.
    Raises NotEnoughData when a stream is missing, a clock was set back or nothing is steady long enough.
    """
    refuse_set_back(recording, step=FULL_THROTTLE, field=ALL_RUNS)
    streams = _streams(view.vessel.engines, recording)
    seconds, by_speed, by_engine = (
        view.setting_value("prop_check.steady_seconds", "s"),
        view.setting_value("prop_check.steady_speed", "kn"),
        view.setting_value("prop_check.steady_engine_speed", "rev/min"),
    )
    tolerance_of = {name: by_speed if name == SPEED else by_engine for name, _ in streams}
    stretches = _steady(streams, tuple(tolerance_of.values()), seconds)
    if not stretches:
        raise NotEnoughData(
            _why_nothing_is_steady(view, recording.name, streams, tolerance_of, seconds),
            lack=Lack.TOO_LITTLE,
            step=FULL_THROTTLE,
            field=ALL_RUNS,
        )
    positions = [name for name, _ in streams if name != SPEED]
    engine_speeds = [mean([stretch.means[position] for position in positions]) for stretch in stretches]
    of_fastest = max(zip(stretches, engine_speeds, strict=True), key=lambda found: found[0].means[SPEED])[1]
    highest = max(engine_speeds)
    least = SAME_THROTTLE * (of_fastest if of_fastest > VENTILATED * highest else highest)
    full = [s for s, engine_speed in zip(stretches, engine_speeds, strict=True) if engine_speed >= least]
    return _one_of_each_run(view, recording, dict(streams), full)


def _why_nothing_is_steady(
    view: JobView, name: str, streams: Iterable[tuple[str, Stream]], tolerance: Mapping[str, float], seconds: float
) -> str:
    """What to do about it: most often hold the throttle better, unless what sends is to blame."""
    streams = tuple(streams)
    if mixed := [text for what, stream in streams if (text := _mixed(view, what, stream, 2 * tolerance[what]))]:
        return (
            f"in recording {name} {' and '.join(mixed)}: two instruments send under one name; give each its own number "
            "or talker, or switch one off, then make the runs again"
        )
    if seldom := [text for what, stream in streams if (text := _seldom(what, stream))]:
        return (
            f"recording {name} has {' and '.join(seldom)}, too seldom to see a run in; set what sends it to "
            f"{in_full(LONGEST_SILENCE)} s or less, then make the runs again"
        )
    by_engine = max(width for what, width in tolerance.items() if what != SPEED)
    return (
        f"recording {name} has no {in_full(seconds)} s with speed within {in_full(tolerance[SPEED])} kn and every "
        f"engine within "
        f"{in_full(by_engine)} rev/min; hold full throttle steadier, or longer where the shop allows"
    )


def _mixed(view: JobView, name: str, stream: Stream, least: float) -> str:
    """Between which values a stream jumps to and fro, as that of two instruments does; "" for one that does not."""
    unit = UNIT_OF_QUANTITY[stream.key.quantity]
    two = two_in_turn(stream.values, least)
    if two is None:
        return ""
    decimals = 1 if name == SPEED else 0
    low, high = (view.told(value, unit, decimals) for value in two)
    return f"{'speed over ground' if name == SPEED else f'engine speed ({name})'} jumps between {low} and {high}"


def _seldom(name: str, stream: Stream) -> str:
    """How seldom a stream comes that is silent for longer than a stretch may be; "" for one that comes often enough."""
    apart = median([later - earlier for earlier, later in pairwise(stream.times)] or [0.0])
    what = "speed over ground" if name == SPEED else f"engine speed ({name})"
    return f"{what} every {rounded(apart)} s only" if apart > LONGEST_SILENCE else ""


def _one_of_each_run(
    view: JobView, recording: Recording, streams: Mapping[str, Stream], stretches: Sequence[Steady]
) -> tuple[Steady, ...]:
    """A wave may break a run in parts. They are one run, not several: the longest part stands for it."""
    runs: list[list[Steady]] = []
    for stretch in stretches:
        if runs and _goes_on(view, recording, streams, runs[-1][-1], stretch):
            runs[-1].append(stretch)
        else:
            runs.append([stretch])
    return tuple(max(parts, key=lambda part: part.seconds) for parts in runs)


def _goes_on(view: JobView, recording: Recording, streams: Mapping[str, Stream], before: Steady, after: Steady) -> bool:
    """Whether one run goes on from a steady stretch to the next: throttle held, course kept, no silence between."""
    if after.start - before.end > LONGEST_BREAK:
        return False
    within = view.setting_value("prop_check.opposite_within", "deg")
    courses = recording.of("course_over_ground")
    course = _mean_course(courses[0].between(before.start, before.end).values) if courses else None
    if course is None or any(
        abs(signed_angle(one - course)) > within for one in courses[0].between(before.end, after.end).values
    ):
        return False
    return all(
        value >= VENTILATED * before.means[name]
        for name, stream in streams.items()
        if name != SPEED
        for value in stream.between(before.end, after.start).values
    )


def _streams(engines: Sequence[Engine], recording: Recording) -> tuple[tuple[str, Stream], ...]:
    """The streams runs are cut by: the speed, and the engine speed of every engine that is heard.

    Raises NotEnoughData where there is no speed, or no engine is heard.
    """
    speeds = recording.of("speed_over_ground")
    instances = [engine.network_instance for engine in engines]
    engine_speeds = engine_streams(recording, "engine_speed", len(engines), instances)
    place = {"step": FULL_THROTTLE, "field": ALL_RUNS}
    no_engine = Missing("no engine is entered for this vessel", lack=Lack.NOT_ENTERED, field="engines")
    reasons: list[Missing | str] = [] if speeds else [f"recording {recording.name} holds no speed over ground"]
    reasons += [] if engines else [no_engine]
    found = [(SPEED, speeds[0])] if speeds else []
    found += [(engine.position, one) for engine, one in zip(engines, engine_speeds, strict=True) if one is not None]
    if not any(one is not None for one in engine_speeds):
        reasons += dict.fromkeys(_not_heard(recording, engines, engine) for engine in engines)
    if reasons:
        raise NotEnoughData(*reasons, lack=Lack.NOT_IN_RECORDING, **place)
    return tuple(found)


def _not_heard(recording: Recording, engines: Sequence[Engine], engine: Engine) -> str:
    what = f"recording {recording.name} holds no engine speed"
    return not_heard(what, engines, engine, recording.of("engine_speed"))


@lru_cache(maxsize=8)
def _steady(
    streams: tuple[tuple[str, Stream], ...], tolerance: tuple[float, ...], seconds: float
) -> tuple[Steady, ...]:
    """Several calculators ask for the same recording one after the other; it is cut once."""
    names = [name for name, _ in streams]
    return steady_stretches(dict(streams), dict(zip(names, tolerance, strict=True)), seconds, LONGEST_SILENCE)


def _run_of_stretch(view: JobView, name: str, recording: Recording, stretch: Steady, place: FieldKey) -> Run:
    streams = dict(_streams(view.vessel.engines, recording))
    heard = {
        what: _heard(recording.of(stream.key.quantity), stream.key, stretch, place, len(view.vessel.engines))
        for what, stream in streams.items()
    }
    courses = recording.of("course_over_ground")
    step, field, row, of = place
    silent = {
        engine.position: Missing(
            _not_heard(recording, view.vessel.engines, engine),
            lack=Lack.NOT_IN_RECORDING,
            step=step,
            field=field,
            row=row,
            of=of,
        )
        for engine in view.vessel.engines
        if engine.position not in streams
    }
    return Run(
        name=name,
        speed=_frozen(name, place) if _stood_still(recording, stretch) else _one_of(view, name, SPEED, heard[SPEED]),
        engine_speed=silent
        | {
            p: _frozen_engine(name, p, place)
            if _engine_stood_still(recording, streams[p], stretch)
            else _copied_engine(name, p, twin, place)
            if (twin := _heard_twice(streams, p, stretch))
            else _one_of(view, name, p, found)
            for p, found in heard.items()
            if p != SPEED
        },
        course=_mean_course(courses[0].between(stretch.start, stretch.end).values if courses else ()),
        heard=heard,
        stretch=(stretch.start, stretch.end),
        through_water=_through_water(recording, stretch, place),
    )


def _through_water(recording: Recording, stretch: Steady, place: FieldKey) -> Reading | None:
    """What the first log heard gives in a stretch."""
    parts = (stream.between(stretch.start, stretch.end).values for stream in recording.of("speed_through_water"))
    values = next((values for values in parts if len(values) >= LEAST_SAMPLES), ())
    return Reading(mean(values), "kn", 0.0, standard_deviation(values), place) if values else None


def _heard(
    streams: Iterable[Stream], used: StreamKey, stretch: Steady, place: FieldKey, count: int
) -> tuple[Reading, ...]:
    """What each source gives of one quantity in a stretch; the one it was cut by stands first."""
    engine = engine_instance(used.instance, count)
    alike = [one for one in streams if engine_instance(one.key.instance, count) == engine]
    parts = {stream.key: stream.between(stretch.start, stretch.end).values for stream in alike}
    unit, as_long = UNIT_OF_QUANTITY[used.quantity], math.sqrt(RUN_LENGTH / stretch.seconds)
    return tuple(
        Reading(mean(values), unit, 0.0, standard_deviation(values) * as_long, place, key.source)
        for key, values in sorted(parts.items(), key=lambda part: part[0] != used)
        if key == used or len(values) >= LEAST_SAMPLES
    )


def instrument_bound(view: JobView, what: str) -> float:
    """How far the receiver (SPEED) or an engine's tachometer may be off."""
    if what == SPEED:
        return view.setting_value("prop_check.speed_uncertainty", "kn")
    return view.setting_value("prop_check.engine_speed_uncertainty", "rev/min")


def _one_of(view: JobView, name: str, what: str, heard: Sequence[Reading]) -> Reading | Missing:
    """The first reading, unless another source of the same quantity contradicts it: then nobody knows which holds."""
    first, *others = heard
    other = next((one for one in others if one.differs_from(first, instrument_bound(view, what))), None)
    if other is None:
        return first
    decimals = 1 if what == SPEED else 0
    told = " and ".join(
        f"{view.told(one.value, one.unit, decimals)} from source {one.source}" for one in (first, other)
    )
    quantity = "speed over ground" if what == SPEED else f"engine speed ({what})"
    text = f"{name}: {quantity} is {told}; find out which is right and correct the other, then make the run again"
    return _contradicted(text, first.place)


def _frozen(name: str, place: FieldKey) -> Missing:
    text = f"{name}: speed over ground did not change at all: the receiver is dead or frozen; make the run again"
    return _contradicted(text, place)


def _frozen_engine(name: str, position: str, place: FieldKey) -> Missing:
    text = (
        f"{name}: engine speed ({position}) did not change at all while the boat did; its sender is dead or frozen: "
        "make the run again"
    )
    return _contradicted(text, place)


def _copied_engine(name: str, position: str, twin: str, place: FieldKey) -> Missing:
    pair = " and ".join(sorted((position, twin)))
    text = (
        f"{name}: engine speed is the same to the last digit for {pair}: one engine is heard under both numbers; "
        "set the other one's adapter to its own, then make the run again"
    )
    return _contradicted(text, place)


def _heard_twice(streams: Mapping[str, Stream], position: str, stretch: Steady) -> str:
    """The engine whose speed is that of another to the last digit; "" as a rule."""
    own = streams[position].between(stretch.start, stretch.end)
    others = ((name, one) for name, one in streams.items() if name not in (position, SPEED))
    return next((name for name, one in others if is_copy(own, one.between(stretch.start, stretch.end))), "")


def _contradicted(text: str, place: FieldKey) -> Missing:
    step, field, row, of = place
    return Missing(text, lack=Lack.CONTRADICTS, step=step, field=field, row=row, of=of)


def _stood_still(recording: Recording, stretch: Steady) -> bool:
    """Whether the speed of a run stood still also while an engine ran at another speed.

    Within one run it may: a live receiver that shows tenths of a knot keeps one figure for a minute in calm water.
    """
    for part in _still_parts(recording.of("speed_over_ground")[0]):
        if part.times[0] < stretch.end and part.times[-1] > stretch.start:
            for engine in recording.of("engine_speed"):
                at_it = engine.between(stretch.start, stretch.end).values
                meanwhile = engine.between(part.times[0], part.times[-1])
                off = [time for time, value in meanwhile if at_it and abs(value - mean(at_it)) > OTHER_THROTTLE]
                if off and off[-1] - off[0] >= LAG:
                    return True
    return False


def _engine_stood_still(recording: Recording, engine: Stream, stretch: Steady) -> bool:
    """Whether an engine's speed stood still to its last digit also while the boat ran at another speed."""
    speed = recording.of("speed_over_ground")[0]
    at_it = speed.between(stretch.start, stretch.end).values
    for part in _still_parts(engine):
        if at_it and part.times[0] < stretch.end and part.times[-1] > stretch.start:
            meanwhile = speed.between(part.times[0], part.times[-1])
            off = [time for time, value in meanwhile if abs(value - mean(at_it)) > OTHER_SPEED]
            if off and off[-1] - off[0] >= LAG:
                return True
    return False


@lru_cache(maxsize=16)
def _still_parts(stream: Stream) -> tuple[Stream, ...]:
    """Every run of a recording asks it of the same streams."""
    return unchanging_stretches(stream)


def _mean_course(courses: Sequence[float]) -> float | None:
    try:
        return mean_direction(courses)
    except ValueError:
        return None
