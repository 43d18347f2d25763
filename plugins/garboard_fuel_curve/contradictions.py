"""Readings that other readings of the job contradict: which row to repeat, and which value of it."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Sequence

import attrs

from garboard.findings import Doubt, Lack, Missing
from garboard.job_view import FieldKey, JobView
from garboard.records import Engine
from garboard_fuel_curve.engine_limits import FASTER_THAN_THE_PROPELLER, advance_per_turn, most_flow
from garboard_fuel_curve.odd import OF_FLOW, OF_SPEED, Column, Limits, odd_ones
from garboard_fuel_curve.readings import Readings, ThrottleStep, flow_repeats
from garboard_fuel_curve.steps import STEPS

WIDE = 3.0
"""Readings that differ by fewer of their standard uncertainties contradict nobody."""

PLANING_FROM = 0.62
"""Share of the highest engine speed by which outboard boats plane; common practice, no source."""

SLOWEST_FULL_THROTTLE = 5000.0
"""Taken for the highest engine speed where neither a step nor a rating says more [rev/min]."""


@attrs.frozen(kw_only=True)
class Contradiction:
    """A reading that others contradict.

    step, place : where it was taken
    of_unit     : whether it is the unit of the whole column, so that no one row is at fault
    text        : what contradicts it ("row 7: fuel flow 3.1 gal/h, where the other rows say about 12.6")
    """

    step: ThrottleStep
    place: FieldKey
    text: str
    of_unit: bool = False

    @property
    def doubt(self) -> Doubt:
        """The same for the program: nothing that rests on the value passes."""
        step, field, row, of = self.place
        return Doubt(self.text, step=step, field=field, row=row, of=of)

    @property
    def missing(self) -> Missing:
        """The same where a figure is withheld for it."""
        step, field, row, of = self.place
        return Missing(f"{self.text}; repeat it", lack=Lack.CONTRADICTS, step=step, field=field, row=row, of=of)


def contradictions(view: JobView, found: Readings) -> tuple[Contradiction, ...]:
    """Every reading of the steps that others contradict, one for each step at most, in order of engine speed."""
    said = (*_misread_currents(view, found.taken), *_out_of_line(view, found), *_beyond_the_engine(view, found.taken))
    by_step = {id(step): [one for one in said if one.step is step] for step in found.taken}
    return tuple(_of_one_step(several) for step in found.taken if (several := by_step[id(step)]))


def without_odd(view: JobView, found: Readings, odd: Sequence[Contradiction]) -> Readings:
    """The readings without steps that others contradict; all where too few would be left."""
    lone = [one.step for one in odd if not one.of_unit]
    same = view.setting_value("fuel_curve.same_step", "rev/min")
    sound = found.without(lone, same) if lone else found
    return sound if len(sound.steps) > 2 else found


def _of_one_step(several: Sequence[Contradiction]) -> Contradiction:
    """One contradiction for a step. Where speed and fuel flow are both out, it is the engine speed that is misread."""
    first = several[0]
    fields = {one.place[1] for one in several}
    if len(fields) == 1 or not first.step.rows or fields <= {"speed_out", "speed_back"} or "fuel_flow" not in fields:
        return first
    stated = f"{first.step.engine_speed:.0f} rev/min"
    text = f"{first.step.name}: speed and fuel flow both belong to another engine speed than {stated}"
    return attrs.evolve(first, place=(STEPS, "nominal_engine_speed", first.step.rows[0], ""), text=text)


@attrs.frozen
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
    tops = [top for engine in view.vessel.engines for top in (engine.rated_speed, engine.full_throttle_high) if top]
    fastest = max([SLOWEST_FULL_THROTTLE, found.taken[-1].engine_speed, *(top.to("rev/min") for top in tops)])
    for typed in _columns(view, found.taken):
        column = Column(
            engine_speeds=tuple(step.engine_speed for step in typed.steps),
            values=typed.values,
            within=typed.within,
            same=view.setting_value("fuel_curve.same_step", "rev/min"),
            planing_from=PLANING_FROM * fastest,
            limits=typed.limits,
        )
        for place in odd_ones(column):
            step = typed.steps[place]
            of = f" ({typed.of})" if typed.of and len(view.vessel.engines) > 1 else ""
            what = f"{typed.field.replace('_', ' ')}{of} {typed.values[place]:.1f} {typed.unit}"
            text = f"{step.name}: {what} does not fit the other steps"
            yield Contradiction(step=step, place=_place(step, typed.field, typed.of), text=text)


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


def _misread_currents(view: JobView, steps: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Steps whose two ways differ by more than any current and wind, or otherwise than at all other steps."""
    both = [step for step in steps if step.both_ways]
    halves = {id(step): (step.legs[0] - step.legs[1]) / 2 for step in both}
    largest = view.setting_value("fuel_curve.largest_current", "kn")
    usual = statistics.median(halves.values()) if len(both) > 2 else 0.0
    for step in both:
        if abs(halves[id(step)] - usual) > max(largest / 2, 0.08 * step.speed) or abs(halves[id(step)]) > largest:
            text = f"{step.name}: {step.legs[0]:.1f} kn out and {step.legs[1]:.1f} kn back, unlike the other steps"
            yield Contradiction(step=step, place=_place(step, "speed_out"), text=text)


def _beyond_the_engine(view: JobView, steps: Sequence[ThrottleStep]) -> Iterator[Contradiction]:
    """Steps with more fuel than the engine can burn, or more speed than its propeller advances.

    Of more than two only the last is named, with their number: then it is the unit, not a slip in each row. So it may
    be where it is the highest step alone.
    """
    for number, engine in enumerate(view.vessel.engines):
        most, advance = _most_flow(view, engine), advance_per_turn(engine)
        flows = [step for step in steps if most is not None and step.flows[number] > most]
        for step in _named(flows):
            flow = f"fuel flow {step.flows[number]:.1f} gal/h"
            text = f"{step.name}: {flow} is more than the engine can burn, {most:.1f} gal/h"
            yield _beyond(step, flows, "fuel_flow", engine.position, text, step is steps[-1])
        speeds = [
            step
            for step in steps
            if advance and step.speed > FASTER_THAN_THE_PROPELLER * advance * step.engine_speeds[number]
        ]
        for step in _named(speeds):
            theory = (advance or 0.0) * step.engine_speeds[number]
            text = f"{step.name}: {step.speed:.1f} kn is more than the propeller advances, {theory:.1f} kn"
            yield _beyond(step, speeds, "speed_out", "", text, step is steps[-1])


def _named(beyond: Sequence[ThrottleStep]) -> Sequence[ThrottleStep]:
    return beyond if len(beyond) <= 2 else beyond[-1:]


def _beyond(
    step: ThrottleStep, all_of_them: Sequence[ThrottleStep], field: str, of: str, text: str, highest: bool
) -> Contradiction:
    several = len(all_of_them) > 2
    others = f", and so in {len(all_of_them) - 1} other steps: check the unit" if several else ""
    return Contradiction(step=step, place=_place(step, field, of), text=text + others, of_unit=several or highest)


def _most_flow(view: JobView, engine: Engine) -> float | None:
    """The most an engine can burn [gal/h], by the shop's settings."""
    fuel = "diesel" if view.value(STEPS, "fuel") == "diesel" else "gasoline"
    poorest = view.setting_value("fuel_curve.poorest", "%") / 100
    most = most_flow(engine, poorest, view.setting_value(f"fuel_curve.{fuel}_density", "lb/gal"))
    return most and most * (1 + view.setting_value("fuel_curve.power_tolerance", "%") / 100)
