"""Readings that other readings of the job contradict: which row to repeat, and which value of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations, islice, pairwise

import attrs

from garboard.findings import Doubt, Lack, Missing, rounded, row_in_words
from garboard.job_view import FieldKey, JobView, in_unit
from garboard.numeric import median
from garboard.record_types import frozen
from garboard.records import Engine
from garboard.uncertainty import NORMAL_95
from garboard.units import Amount, convert
from garboard_fuel_curve.engine_limits import (
    FASTER_THAN_THE_PROPELLER,
    SLOWER_THAN_THE_PROPELLER,
    advance_per_turn,
    most_flow,
)
from garboard_fuel_curve.odd import NEIGHBOURS, OF_FLOW, OF_SPEED, STEEPEST, Column, Limits, stretches
from garboard_fuel_curve.readings import Readings, ThrottleStep, flow_repeats, recorded_at
from garboard_fuel_curve.recorded import RECEIVERS_DIFFER
from garboard_fuel_curve.stands_out import REACH, Made, standing_out
from garboard_fuel_curve.steps import STEPS
from garboard_fuel_curve.twins import pairs
from garboard_fuel_curve.wording import all_told, is_number, rows_named, tens

WIDE = 3.0
"""Readings that differ by fewer of their standard uncertainties contradict nobody."""

PLANING_FROM = 0.62
"""Share of the highest engine speed by which outboard boats plane; common practice, no source."""

LEAST_DIGIT, DIGITS_GAINED = 0.1, 5.0
"""Planing, a boat that gains engine speed gains speed nearly in proportion: where that makes so many last digits,
at least tenths of a knot, it shows (common practice, no source) [kn], [-]."""

PLANES_AT, SHORTEST = 2.3, 16.0
"""A boat planes, past its hump, at this speed in knots over the root of its length in feet; the length where none is
entered [ft] (common practice, no source)."""

CURRENT_WANDERS, WIND_WANDERS = 0.5, 0.02
"""From one step to another half the difference of the two ways changes by so much current [kn] and, of the boat's
speed, so much wind and steering (common practice, no source) [-]."""

FEWEST_BOTH_WAYS = 5
"""So many steps run both ways tell how the current goes."""

FEWEST_ALIKE = 4
"""So many other rows in one unit make a unit of a single row look like a slip (common practice, no source)."""

SLOWEST_FULL_THROTTLE = 5000.0
"""Taken for the highest engine speed where neither a step nor a rating says more [rev/min]."""


@frozen(kw_only=True)
class Contradiction:
    """A reading that others contradict, or several of which one or more must be wrong.

    steps, places : where they were taken
    of_unit       : whether it is the unit of the whole column, so that no one row is at fault
    text          : what contradicts it ("row 7: fuel flow 3.1 gal/h, where the other rows say about 12.6")
    """

    steps: tuple[ThrottleStep, ...]
    places: tuple[FieldKey, ...]
    text: str
    of_unit: bool = False

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """The same for the program: nothing that rests on the values passes."""
        return tuple(Doubt(self.text, step=step, field=field, row=row, of=of) for step, field, row, of in self.places)

    @property
    def missing(self) -> Missing:
        """The same where a figure is withheld for it."""
        step, field, row, of = self.places[0]
        repeat = "repeat them" if len(self.steps) > 1 else "repeat it"
        return Missing(f"{self.text}; {repeat}", lack=Lack.CONTRADICTS, step=step, field=field, row=row, of=of)


def contradictions(view: JobView, found: Readings) -> tuple[Contradiction, ...]:
    """Every reading of the steps that others contradict, one for each step at most, in order of engine speed.

    Of readings that only together cannot be true none is named that another reason names by itself.
    """
    taken = found.taken
    lined, unlike = _told_by_twins(tuple(_out_of_line(view, found)), tuple(_unlike_twins(view, taken)))
    recorded = tuple(unlike_recorded(view, found))
    lined = [one for one in lined if not _is_borne_out(view, found, one, recorded)]
    units = tuple(_alone_in_their_unit(view, taken))
    said = [*recorded, *units, *_misread_currents(view, taken), *lined, *_beyond_the_engine(view, taken), *unlike]
    singles = [one for one in said if len(one.steps) == 1]
    by_step = {id(step): [one for one in singles if one.steps[0] is step] for step in taken}
    named = [_of_one_step(several) for several in by_step.values() if several]
    several = (one for one in said if len(one.steps) > 1)
    for one in (*_repeats_apart(view, taken), *_same_speeds(view, taken), *several):
        if not any(_share_a_step(one, other) for other in named):
            named.append(one)
    misread = [place for place, step in enumerate(found.steps) if any(_has(one, step) for one in named)]
    named += _standing_out(view, found, misread)
    return tuple(sorted(named, key=lambda one: taken.index(one.steps[0])))


def _share_a_step(one: Contradiction, other: Contradiction) -> bool:
    return any(step is another for step in one.steps for another in other.steps)


def _has(one: Contradiction, step: ThrottleStep) -> bool:
    return any(step is its or set(step.rows) & set(its.rows) for its in one.steps)


def without_odd(view: JobView, found: Readings, odd: Sequence[Contradiction]) -> Readings:
    """The readings without steps that others contradict; all where too few would be left."""
    lone = [step for one in odd if not one.of_unit for step in one.steps]
    same = view.setting_value("fuel_curve.same_step", "rev/min")
    sound = found.without(lone, same) if lone else found
    return sound if len(sound.steps) > 2 else found


def _of_one_step(several: Sequence[Contradiction]) -> Contradiction:
    """One contradiction for a step. Where speed and fuel flow are both out, it is the engine speed that is misread."""
    first = several[0]
    fields, step = {one.places[0][1] for one in several}, first.steps[0]
    if len(fields) == 1 or not step.rows or fields <= {"speed_out", "speed_back"} or "fuel_flow" not in fields:
        return first
    stated = f"{rounded(step.engine_speed, 0)} rev/min"
    text = f"{step.name}: speed and fuel flow both belong to another engine speed than {stated}"
    return attrs.evolve(first, places=((STEPS, "nominal_engine_speed", step.rows[0], ""),), text=text)


@frozen
class _Typed:
    """One column of the steps: field, of, and what each step shows in it."""

    field: str
    of: str
    steps: tuple[ThrottleStep, ...]
    values: tuple[float, ...]
    within: tuple[float, ...]
    limits: Limits
    unit: str


def _out_of_line(view: JobView, found: Readings) -> Iterator[Contradiction]:
    """Readings that the same column at other engine speeds contradicts; each is left out in turn."""
    planing_from = _planing_from(view, found.taken)
    for typed in _columns(view, found.taken):
        column = Column(
            engine_speeds=tuple(step.engine_speed for step in typed.steps),
            values=typed.values,
            within=typed.within,
            same=view.setting_value("fuel_curve.same_step", "rev/min"),
            planing_from=planing_from,
            limits=typed.limits,
        )
        of = f" ({typed.of})" if typed.of and len(view.vessel.engines) > 1 else ""
        what = f"{typed.field.replace('_', ' ')}{of}"
        for stretch in stretches(column):
            steps = tuple(typed.steps[place] for place in stretch)
            if len(steps) == 1:
                shown = _as_typed(view, typed, steps[0]) or view.told(typed.values[stretch[0]], typed.unit, 1)
                text = f"{what} {shown} does not fit the other steps"
            else:
                ends = f"from {tens(steps[0].engine_speed)} to {tens(steps[-1].engine_speed)} rev/min"
                either_way = what.removesuffix(" out").removesuffix(" back")
                text = f"{either_way} {ends} cannot be believed, though some of it may be true"
            places = tuple(_place(step, typed.field, typed.of) for step in steps)
            yield Contradiction(steps=steps, places=places, text=f"{_names(steps)}: {text}")


def _planing_from(view: JobView, taken: Sequence[ThrottleStep]) -> float:
    """Engine speed from which outboard boats plane [rev/min]."""
    tops = [top for engine in view.vessel.engines for top in (engine.rated_speed, engine.full_throttle_high) if top]
    return PLANING_FROM * max([SLOWEST_FULL_THROTTLE, taken[-1].engine_speed, *(top.to("rev/min") for top in tops)])


def _same_speeds(view: JobView, taken: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Planing steps with one speed to its last digit out, and one back: a display that hung, or a row typed twice."""
    planing = [
        step for step in taken if step.rows and step.both_ways and step.engine_speed >= _planing_from(view, taken)
    ]
    for one, other in pairwise(planing):
        gained = other.speed * (1 - one.engine_speed / other.engine_speed)
        digit = max(LEAST_DIGIT, *(step.speed_digit * math.sqrt(12) for step in (one, other)))
        if one.legs == other.legs and gained >= DIGITS_GAINED * digit:
            text = (
                f"{_ways_told(view, one)} at {tens(one.engine_speed)} and at {tens(other.engine_speed)} rev/min alike"
            )
            steps = (one, other)
            places = tuple(_place(step, field) for step in steps for field in ("speed_out", "speed_back"))
            yield Contradiction(steps=steps, places=places, text=f"{_names(steps)}: {text}")


def _standing_out(view: JobView, found: Readings, misread: Sequence[int]) -> Iterator[Contradiction]:
    """Planing steps whose economy no curve through the others explains; of a repeated step the repeats tell.

    misread : places of steps that others contradict: they say nothing of those beside them
    """
    if view.vessel.hull_form == "displacement" or any(step.speed <= 0 for step in found.steps):
        return
    length = view.vessel.length.to("ft") if view.vessel.length else SHORTEST
    planes = PLANES_AT * math.sqrt(max(length, 1.0))
    made = [
        Made(
            engine_speed=step.engine_speed,
            economy=step.speed / step.flow,
            unsure=_share_unsure(view, found, step),
            planing=step.speed > planes,
        )
        for step in found.steps
    ]
    for place in standing_out(made):
        step = found.steps[place]
        beside = any(abs(place - other) <= REACH for other in misread)
        if not beside and any(step is one for one in found.taken):
            text = f"{step.name}: {view.told(made[place].economy, 'nm/gal', 2)} stands out from the steps beside it"
            flows = (_place(step, "fuel_flow", engine.position) for engine in view.vessel.engines)
            places = tuple(dict.fromkeys((_place(step, "speed_out"), *flows)))
            yield Contradiction(steps=(step,), places=places, text=text)


def _share_unsure(view: JobView, found: Readings, step: ThrottleStep) -> float:
    """Standard uncertainty of a step's economy against the others', as a share of it [-]."""
    mixed = 0 < len(found.one_way) < len(found.steps) and not step.both_ways
    current = view.setting_value("fuel_curve.unknown_current", "kn") / math.sqrt(3) if mixed else 0.0
    speed = math.hypot(math.hypot(step.deviation, step.speed_digit) / math.sqrt(step.worth), current)
    return math.hypot(speed / step.speed, math.hypot(flow_repeats(view, step), step.flow_digit) / step.flow)


def _as_typed(view: JobView, typed: _Typed, step: ThrottleStep) -> str:
    """A value as somebody typed it, where that is in another unit than figures are told in; "" otherwise."""
    value = view.value(STEPS, typed.field, row=step.rows[0], of=typed.of) if len(step.rows) == 1 else None
    return value if isinstance(value, str) and Amount.parse(value).unit != typed.unit else ""


def _names(steps: Sequence[ThrottleStep]) -> str:
    rows = [row for step in steps for row in step.rows]
    numbered = sorted(rows, key=lambda row: int(row) if is_number(row) else 0)
    return rows_named(numbered) if rows else " and ".join(step.name for step in steps)


def _unlike_twins(view: JobView, taken: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Stretches in which two engines of one power compare otherwise than at the other steps."""
    engines, wander = view.vessel.engines, view.setting_value("fuel_curve.steady_fuel_flow", "gal/h")
    unit = view.unit_to_tell("gal/h")
    for pair in pairs(engines, taken):
        for run in _side_by_side(taken, pair.unusual(wander)):
            both = (pair.first, pair.second)
            told = [rounded(in_unit(run[0].flows[one], "gal/h", unit), 1) for one in both]
            flows = " and ".join(f"{engines[one].position} {flow}" for one, flow in zip(both, told, strict=True))
            text = f"fuel flow {flows} {unit} at {tens(run[0].engine_speed)} rev/min, unlike the other steps"
            places = tuple(_place(step, "fuel_flow", engines[one].position) for step in run for one in both)
            yield Contradiction(steps=run, places=places, text=f"{_names(run)}: {text}")


def _side_by_side(taken: Sequence[ThrottleStep], some: Sequence[ThrottleStep]) -> Iterator[tuple[ThrottleStep, ...]]:
    """Some of the steps taken, neighbours together."""
    run: list[ThrottleStep] = []
    for step in taken:
        if any(step is one for one in some):
            run.append(step)
        elif run:
            yield tuple(run)
            run = []
    if run:
        yield tuple(run)


def _told_by_twins(
    lined: Sequence[Contradiction], unlike: Sequence[Contradiction]
) -> tuple[list[Contradiction], list[Contradiction]]:
    """Fuel flows out of line and engines unlike each other, of each place only what tells more.

    One reading that is out of line by itself names its engine. Where several are wrong, or a neighbour of the wrong one
    is blamed, the other engine at the same step tells which.
    """
    flows = [one for one in lined if one.places[0][1] == "fuel_flow"]
    plain = [one for one in unlike if any(one.steps == other.steps for other in flows if len(other.steps) == 1)]
    telling = [one for one in unlike if one not in plain]
    doubted = [one for one in flows if any(_touch(one, other) for other in telling)]
    return [one for one in lined if one not in doubted], telling


def _touch(one: Contradiction, other: Contradiction) -> bool:
    """Whether two overlap, or are neighbours."""
    return (
        one.steps[0].engine_speed <= other.steps[-1].engine_speed + NEIGHBOURS
        and other.steps[0].engine_speed <= one.steps[-1].engine_speed + NEIGHBOURS
    )


def _repeats_apart(view: JobView, taken: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Two readings of one throttle step that differ by more than they are unsure of."""
    same = view.setting_value("fuel_curve.same_step", "rev/min")
    for one, other in _close_by(taken, same):
        apart = tuple(_apart(view, one, other))
        if apart:
            steps, texts = (one, other), ", ".join(text for text, _, _ in apart)
            places = tuple(_place(step, field, of) for step in steps for _, field, of in apart)
            at = f"both at about {tens(one.engine_speed)} rev/min"
            yield Contradiction(steps=steps, places=places, text=f"{_names(steps)}, {at}: {texts}")


def _close_by(taken: Sequence[ThrottleStep], same: float) -> Iterator[tuple[ThrottleStep, ThrottleStep]]:
    """Two readings each of one throttle step, from all in order of engine speed."""
    for place, one in enumerate(taken):
        for other in islice(taken, place + 1, None):
            if other.engine_speed - one.engine_speed > same:
                break
            yield one, other


def _apart(view: JobView, one: ThrottleStep, other: ThrottleStep) -> Iterator[tuple[str, str, str]]:
    """What differs beyond its ±, its field and its engine. Within a step engine speed wanders, and the rest with it."""
    wander = view.setting_value("fuel_curve.steady_engine_speed", "rev/min")
    off = STEEPEST * (other.engine_speed - one.engine_speed + wander) / one.engine_speed
    if one.both_ways and other.both_ways:
        receiver = view.setting_value("fuel_curve.speed_accuracy", "kn")
        parts = (part for step in (one, other) for part in (step.deviation, step.speed_digit, receiver))
        if abs(other.speed - one.speed) > NORMAL_95 * math.hypot(*parts) + off * max(one.speed, other.speed):
            yield f"speed {all_told(view, 'kn', ' and ', (one.speed, other.speed))}", "speed_out", ""
    for number, engine in enumerate(view.vessel.engines):
        flows = one.flows[number], other.flows[number]
        parts = (part for step in (one, other) for part in (flow_repeats(view, step), step.flow_digit))
        if abs(flows[1] - flows[0]) > NORMAL_95 * math.hypot(*parts) + off * max(flows):
            of = f" ({engine.position})" if len(view.vessel.engines) > 1 else ""
            yield f"fuel flow{of} {all_told(view, 'gal/h', ' and ', flows)}", "fuel_flow", engine.position


def _ways_told(view: JobView, step: ThrottleStep) -> str:
    return f"{view.told(step.legs[0], 'kn', 1)} out and {view.told(step.legs[1], 'kn', 1)} back"


def _columns(view: JobView, steps: Sequence[ThrottleStep]) -> Iterator[_Typed]:
    receiver = view.setting_value("fuel_curve.speed_accuracy", "kn")
    typed = bool(steps[0].rows)  # of a recording the legs of a step are no columns: there may be any number
    for way, field in enumerate(("speed_out", "speed_back") if typed else ("speed",)):
        those = tuple(step for step in steps if len(step.legs) > way)
        values = tuple(step.legs[way] if typed else step.speed for step in those)
        within = tuple(WIDE * math.hypot(step.deviation, step.speed_digit, receiver) for step in those)
        yield _Typed(field, "", those, values, within, OF_SPEED, "kn")
    for number, engine in enumerate(view.vessel.engines):
        flows = tuple(step.flows[number] for step in steps)
        within = tuple(WIDE * math.hypot(flow_repeats(view, step), step.flow_digit) for step in steps)
        yield _Typed("fuel_flow", engine.position, tuple(steps), flows, within, OF_FLOW, "gal/h")


def _place(step: ThrottleStep, field: str, of: str = "") -> FieldKey:
    return (STEPS, field, step.rows[0], of) if step.rows else (STEPS, "recording", "", "")


def unlike_recorded(view: JobView, found: Readings) -> Iterator[Contradiction]:
    """Typed steps that the recording beside them contradicts.

    Of more than two all are named as one: then it is another boat's recording, or of another propeller or load.
    """
    out = [(step, field, of, text) for step in found.taken for field, of, text in not_as_recorded(view, found, step)]
    steps = tuple(step for step in found.taken if any(step is one for one, *_ in out))
    if len(steps) > 2:
        places = tuple(_place(step, field, of) for step, field, of, _ in out)
        text = f"{_names(steps)}: not as recorded ({out[-1][3]}); find out whether both are of this boat and propeller"
        yield Contradiction(steps=steps, places=places, text=text, of_unit=True)
        return
    for step, field, of, text in out:
        yield Contradiction(steps=(step,), places=(_place(step, field, of),), text=f"{step.name}: {text}")


def not_as_recorded(view: JobView, found: Readings, step: ThrottleStep) -> Iterator[tuple[str, str, str]]:
    """What of a typed step is unlike the recorded one: field, engine, and both values in words."""
    same = view.setting_value("fuel_curve.same_step", "rev/min")
    other = recorded_at(found.taken if found.typed_beside else found.recorded, step, same)
    if other is None:
        return
    off = STEEPEST * abs(other.engine_speed - step.engine_speed) / step.engine_speed
    if step.both_ways and other.both_ways:
        receivers = 2 * view.setting_value("fuel_curve.speed_accuracy", "kn") + RECEIVERS_DIFFER * other.speed
        scatter = WIDE * math.hypot(step.deviation, other.deviation, step.speed_digit)
        if abs(step.speed - other.speed) > receivers + scatter + off * max(step.speed, other.speed):
            yield (
                "speed_out",
                "",
                f"{view.told(step.speed, 'kn', 1)} was typed and {view.told(other.speed, 'kn', 1)} recorded",
            )
    meter = math.sqrt(2) * view.setting_value("fuel_curve.flow_meter_accuracy", "%") / 100
    for number, engine in enumerate(view.vessel.engines):
        typed, recorded = step.flows[number], other.flows[number]
        scatter = WIDE * math.hypot(flow_repeats(view, step), flow_repeats(view, other), step.flow_digit)
        if abs(typed - recorded) > scatter + (meter + off) * max(typed, recorded):
            of = f" ({engine.position})" if len(view.vessel.engines) > 1 else ""
            text = (
                f"fuel flow{of} {view.told(typed, 'gal/h', 1)} was typed and {view.told(recorded, 'gal/h', 1)} recorded"
            )
            yield "fuel_flow", engine.position, text


def _is_borne_out(view: JobView, found: Readings, one: Contradiction, unlike: Sequence[Contradiction]) -> bool:
    """Whether the recording agrees with a reading out of line, and contradicts another of its column."""
    same = view.setting_value("fuel_curve.same_step", "rev/min")
    column = {place[1:2] + place[3:] for other in unlike for place in other.places}
    return all(
        (place[1], place[3]) in column
        and recorded_at(found.recorded, step, same) is not None
        and all((place[1], place[3]) != (field, of) for field, of, _ in not_as_recorded(view, found, step))
        for step, place in zip(one.steps, one.places, strict=True)
    )


def _misread_currents(view: JobView, steps: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Steps whose two ways differ by more than any current and wind, or otherwise than at all other steps."""
    both = [step for step in steps if step.both_ways]
    halves = [(step.legs[0] - step.legs[1]) / 2 for step in both]
    largest = view.setting_value("fuel_curve.largest_current", "kn")
    usual = median(halves) if len(both) > 2 else 0.0
    alone = _alone_in_their_current(both, halves)
    for place, step in enumerate(both):
        half = halves[place]
        if place in alone or abs(half - usual) > max(largest / 2, 0.08 * step.speed) or abs(half) > largest:
            text = f"{step.name}: {_ways_told(view, step)}, unlike the other steps"
            yield Contradiction(steps=(step,), places=(_place(step, "speed_out"),), text=text)


def _alone_in_their_unit(view: JobView, steps: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Typed rows with a value in another unit than all other rows, which would fit in theirs too: nobody can tell.

    A row with speed and fuel flow both in other units was read off another display, and is no slip.
    """
    columns = [("speed_out", "", "kn"), ("speed_back", "", "kn")]
    columns += [("fuel_flow", engine.position, "gal/h") for engine in view.vessel.engines]
    slips: dict[str, list[tuple[FieldKey, str]]] = {}
    for field, of, unit in columns:
        typed = {row: _amount(view, (STEPS, field, row, of)) for step in steps for row in step.rows}
        read = [(row, amount) for row, amount in typed.items() if amount]
        place = _of_another_unit([amount for _, amount in read], unit)
        if place is not None:
            row, amount = read[place]
            around = [float(near.text) for _, near in read[max(0, place - 1) : place + 2]]
            others = read[place - 1][1].unit  # of the first the last
            text = f"{row_in_words(row)}: {field.replace('_', ' ')} {amount}, where all other rows are in {others}"
            slips.setdefault(row, []).append(((STEPS, field, row, of), text if around == sorted(around) else ""))
    for step in steps:
        of_step = [slip for row in step.rows for slip in slips.get(row, [])]
        fits = [(place, text) for place, text in of_step if text]
        if fits and len({place[1] == "fuel_flow" for place, _ in of_step}) == 1:
            yield Contradiction(steps=(step,), places=tuple(place for place, _ in fits), text=fits[0][1])


def _amount(view: JobView, place: FieldKey) -> Amount | None:
    step, field, row, of = place
    value = view.value(step, field, row=row, of=of)
    return Amount.parse(value) if isinstance(value, str) else None


def _of_another_unit(read: Sequence[Amount], unit: str) -> int | None:
    """The place of the one amount in another unit than all others."""
    sizes = [convert(1.0, amount.unit, unit) for amount in read]
    for place, size in enumerate(sizes):
        others = [*sizes[:place], *sizes[place + 1 :]]
        if len(others) >= FEWEST_ALIKE and len(set(others)) == 1 and size != others[0]:
            return place
    return None


def _alone_in_their_current(both: Sequence[ThrottleStep], halves: Sequence[float]) -> set[int]:
    """Steps whose half difference is neither the others', which may grow with speed as wind makes it, nor like that of
    a step beside them, as where the tide turned between two steps."""
    if len(both) < FEWEST_BOTH_WAYS:
        return set()
    speeds = [step.speed for step in both]
    pairs_of = [(one, other) for one, other in combinations(range(len(both)), 2) if speeds[other] > speeds[one] + 1.0]
    rises = [(halves[other] - halves[one]) / (speeds[other] - speeds[one]) for one, other in pairs_of]
    rise = median(rises) if rises else 0.0  # medians, which one misread step does not move
    rests = [half - rise * speed for half, speed in zip(halves, speeds, strict=True)]
    level = median(rests)
    scatter = median(abs(rest - level) for rest in rests)
    alone = set()
    for place, step in enumerate(both):
        unsure = WIDE * math.hypot(step.deviation, step.speed_digit) / math.sqrt(2)
        within = CURRENT_WANDERS + WIND_WANDERS * step.speed + unsure + WIDE * scatter
        beside = [rests[other] for other in (place - 1, place + 1) if 0 <= other < len(both)]
        if all(abs(rests[place] - other) > within for other in (level, *beside)):
            alone.add(place)
    return alone


def _beyond_the_engine(view: JobView, steps: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Steps with more fuel than the engine can burn, or more speed than its propeller advances, or hardly any of it.

    Of more than two only the last is named, with their number: then it is the unit, not a slip in each row. So it may
    be where it is the highest step alone.
    """
    for number, engine in enumerate(view.vessel.engines):
        most, advance = _most_flow(view, engine), advance_per_turn(engine)
        flows = [step for step in steps if most is not None and step.flows[number] > most]
        for step in _named(flows):
            flow = f"fuel flow {view.told(step.flows[number], 'gal/h', 1)}"
            text = f"{step.name}: {flow} is more than the engine can burn, {view.told(most or 0.0, 'gal/h', 1)}"
            yield _beyond(step, flows, "fuel_flow", engine.position, text, step is steps[-1])
        speeds = [
            step
            for step in steps
            if advance and step.speed > FASTER_THAN_THE_PROPELLER * advance * step.engine_speeds[number]
        ]
        for step in _named(speeds):
            theory = (advance or 0.0) * step.engine_speeds[number]
            text = (
                f"{step.name}: {view.told(step.speed, 'kn', 1)} is more than the propeller advances, "
                f"{view.told(theory, 'kn', 1)}"
            )
            yield _beyond(step, speeds, "speed_out", "", text, step is steps[-1])
        yield from _behind_the_propeller(view, steps, number, advance)


def _behind_the_propeller(
    view: JobView, steps: Sequence[ThrottleStep], number: int, advance: float | None
) -> Iterator[Contradiction]:
    """Speeds of a planing boat of which all from planing speed on are too low for its propeller: the unit, or a gear
    ratio, is wrong. One slow step is for others to tell, as is a boat that climbs its bow wave.

    advance : of this engine's propeller [kn per rev/min]; None where it is not known
    """
    if view.vessel.hull_form != "planing" or not advance:
        return
    from_there = _planing_from(view, steps)
    planing = [step for step in steps if step.engine_speed >= from_there and step.speed > 0]
    slow = [step for step in planing if step.speed < SLOWER_THAN_THE_PROPELLER * advance * step.engine_speeds[number]]
    if len(slow) > 2 and len(slow) == len(planing):
        step, theory = slow[-1], advance * slow[-1].engine_speeds[number]
        text = (
            f"{step.name}: {view.told(step.speed, 'kn', 1)} is less than half of what the propeller advances, "
            f"{view.told(theory, 'kn', 1)}"
        )
        yield _beyond(step, slow, "speed_out", "", text, highest=True)


def _named(beyond: Sequence[ThrottleStep]) -> Sequence[ThrottleStep]:
    return beyond if len(beyond) <= 2 else beyond[-1:]


def _beyond(
    step: ThrottleStep, all_of_them: Sequence[ThrottleStep], field: str, of: str, text: str, highest: bool
) -> Contradiction:
    several = len(all_of_them) > 2
    others = f", and so in {len(all_of_them) - 1} other steps: check the unit" if several else ""
    place = _place(step, field, of)
    return Contradiction(steps=(step,), places=(place,), text=text + others, of_unit=several or highest)


def _most_flow(view: JobView, engine: Engine) -> float | None:
    """The most an engine can burn [gal/h], by the shop's settings."""
    fuel = "diesel" if view.value(STEPS, "fuel") == "diesel" else "gasoline"
    poorest = view.setting_value("fuel_curve.poorest", "%") / 100
    most = most_flow(engine, poorest, view.setting_value(f"fuel_curve.{fuel}_density", "lb/gal"))
    return most and most * (1 + view.setting_value("fuel_curve.power_tolerance", "%") / 100)
