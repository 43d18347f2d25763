"""Throttle steps as read: typed row by row, or cut from a recording where everything held steady."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import attrs

from garboard.findings import Lack, Missing, NotEnoughData, row_in_words
from garboard.fittings import fitted_now
from garboard.job_view import FieldKey, InputCollector, JobView
from garboard.numeric import slope
from garboard.record_types import frozen
from garboard.samples import Recording
from garboard.series import mean, mean_of_means
from garboard.uncertainty import DEVIATION_FREEDOM, NORMAL_95, pooled
from garboard_fuel_curve.entered import digit, optional
from garboard_fuel_curve.recorded import Held, cut, jump_of
from garboard_fuel_curve.steps import STEPS
from garboard_fuel_curve.wording import rows_named


@frozen(kw_only=True)
class ThrottleStep:
    """One throttle step, engines from port to starboard.

    name                 : what to call it when it has to be repeated ("row 3")
    rows                 : it was typed in; none for a recording
    engine_speeds, flows : of each engine [rev/min], [gal/h]
    legs                 : speed over ground of its runs in alternate directions, one where it was run one way [kn]
    readings             : how many readings its fuel flow is the mean of
    deviation            : from one leg to the next, known beforehand [kn]
    speed_digit          : standard uncertainty of each leg from its last digit [kn]
    flow_digit           : the same of the fuel flow of all engines together [gal/h]
    """

    name: str
    rows: tuple[str, ...] = ()
    engine_speeds: tuple[float, ...]
    flows: tuple[float, ...]
    legs: tuple[float, ...]
    readings: int = 1
    deviation: float
    speed_digit: float = 0.0
    flow_digit: float = 0.0

    @property
    def engine_speed(self) -> float:
        """Mean of the engines [rev/min]."""
        return mean(self.engine_speeds)

    @property
    def flow(self) -> float:
        """All engines together [gal/h]."""
        return math.fsum(self.flows)

    @property
    def speed(self) -> float:
        """Over ground, without the current where it was run both ways [kn]."""
        return mean_of_means(self.legs) if self.both_ways else self.legs[0]

    @property
    def both_ways(self) -> bool:
        """Whether it was run in opposite directions."""
        return len(self.legs) > 1

    @property
    def worth(self) -> float:
        """How many legs of equal weight its speed is worth."""
        last = len(self.legs) - 1
        return 1 / math.fsum((math.comb(last, place) / 2**last) ** 2 for place in range(last + 1))

    @property
    def difference(self) -> float:
        """Between the ways, over root two: it scatters as one leg does [kn]."""
        out, back = self.legs[::2], self.legs[1::2]
        return (mean(out) - mean(back)) / math.sqrt(1 / len(out) + 1 / len(back))


@frozen(kw_only=True)
class Readings:
    """All steps in order of engine speed, and where they come from.

    taken         : the steps one by one as read; `steps` holds repeats of one step as one
    speed_doubted : why no figure may rest on the speed, where another reading contradicts it
    recorded      : the steps of a recording beside typed ones, to hold these against
    typed_beside  : typed steps beside a recording, too few for a curve, to hold against it
    log_off       : as of `recorded.Cut`
    meter_jumps   : why no figure may rest on the fuel flow typed: beside it the meter jumps in the recording
    """

    steps: tuple[ThrottleStep, ...]
    taken: tuple[ThrottleStep, ...]
    source: str
    speed_doubted: Missing | None = None
    recorded: tuple[ThrottleStep, ...] = ()
    typed_beside: tuple[ThrottleStep, ...] = ()
    log_off: float | None = None
    meter_jumps: Missing | None = None

    @property
    def one_way(self) -> tuple[ThrottleStep, ...]:
        """Steps that were not run in opposite directions."""
        return tuple(step for step in self.steps if not step.both_ways)

    def without(self, steps: Sequence[ThrottleStep], same: float) -> Readings:
        """The same without some of the steps taken; those closer than `same` stay one [rev/min]."""
        left = tuple(step for step in self.taken if step not in steps)
        return attrs.evolve(self, taken=left, steps=merged(left, same))


def readings(view: JobView) -> Readings:
    """The throttle steps of a job: the typed ones where there are any, else those cut from the recording.

    Typed rows that are too few for a curve do not take the place of a recording that gives one; they are held against
    it.
    Raises NotEnoughData for whatever is missing in a typed row (a missing engine is never left out of a sum),
    and where neither rows nor a recording are there.
    """
    asking = view.asking()
    asking.need(bool(view.vessel.engines), "no engine is listed for this boat", lack=Lack.NOT_ENTERED, field="engines")
    asking.check()
    rows = _rows(view)
    recorded = view.value(STEPS, "recording") is not None
    if not rows:
        return _of_the_recording(view)
    steps = [_typed(view, asking, row) for row in rows]
    lacking = {one.row for one in asking.missing}
    if recorded and (instead := _recorded_instead(view, [step for step in steps if step.rows[0] not in lacking], rows)):
        return instead
    asking.missing = _each_said_once(asking.missing)
    asking.check()
    source = "typed rows" + (" (the recording was left aside)" if recorded else "")
    taken, same = _in_order(steps), view.setting_value("fuel_curve.same_step", "rev/min")
    beside, jumps = _recorded_beside(view) if recorded else ((), None)
    return Readings(steps=merged(taken, same), taken=taken, source=source, recorded=beside, meter_jumps=jumps)


def _of_the_recording(view: JobView) -> Readings:
    recorded = view.value(STEPS, "recording") is not None
    asking = view.asking()
    asking.settled(STEPS, "recording")
    attached = recorded or bool(asking.missing)
    fitted = " and ".join(
        dict.fromkeys(filter(None, fitted_now(view.vessel)))
    )  # those of other propellers are no steps
    of_it = f" with the propeller {fitted}" if fitted else ""
    nothing = f"no throttle step{of_it} is typed and no recording{of_it} is attached"
    asking.need(attached, nothing, lack=Lack.NOT_ENTERED, step=STEPS, field="recording")
    recording = asking.recording(STEPS, "recording") if recorded else Recording("", {})
    asking.check()
    found = cut(view, recording)
    taken = _in_order([_of_recording(view, held) for held in found.held])
    return Readings(
        steps=merged(taken, view.setting_value("fuel_curve.same_step", "rev/min")),
        taken=taken,
        source="the recording" + found.agreed,
        speed_doubted=found.speed_doubted,
        log_off=found.log_off,
    )


def _recorded_instead(view: JobView, complete: Sequence[ThrottleStep], rows: Sequence[str]) -> Readings | None:
    """The recording with the typed rows beside it, where it gives a curve and they do not.

    complete : the typed rows that lack nothing
    rows     : all of them
    """
    fewest, same = view.setting_value("fuel_curve.fewest_steps"), view.setting_value("fuel_curve.same_step", "rev/min")
    if len(merged(_in_order(complete), same)) >= fewest:
        return None
    try:
        found = _of_the_recording(view)
    except NotEnoughData:
        return None
    if len(found.steps) < fewest:
        return None
    beside = tuple(step for step in complete if recorded_at(found.taken, step, same))
    held = [row for step in beside for row in step.rows]
    aside = [row for row in rows if row not in held]
    source = found.source
    source += f"; {rows_named(held)} held against it" if held else ""
    source += f"; {rows_named(aside)} left aside, too few for a curve" if aside else ""
    return attrs.evolve(found, source=source, typed_beside=beside)


def recorded_at(recorded: Sequence[ThrottleStep], step: ThrottleStep, same: float) -> ThrottleStep | None:
    """The recorded step at the engine speed of a typed one, within `same` [rev/min]."""
    near = min(recorded, key=lambda other: abs(other.engine_speed - step.engine_speed), default=None)
    return near if near and abs(near.engine_speed - step.engine_speed) <= same else None


def _in_order(steps: Sequence[ThrottleStep]) -> tuple[ThrottleStep, ...]:
    return tuple(sorted(steps, key=lambda step: step.engine_speed))


def _recorded_beside(view: JobView) -> tuple[tuple[ThrottleStep, ...], Missing | None]:
    """The steps of a recording beside typed rows, none where nothing of it can be used; and why its meter is in doubt.

    The rows were read off the same meter.
    """
    recording: Recording | None = None
    try:
        recording = view.recording(STEPS, "recording")
        found = cut(view, recording) if recording else None
    except NotEnoughData:
        return (), jump_of(view, recording) if recording else None
    if found is None or found.speed_doubted:
        return (), None
    return tuple(_of_recording(view, held) for held in found.held), None


def corrected(steps: Sequence[ThrottleStep], factor: float) -> tuple[ThrottleStep, ...]:
    """Steps with every fuel flow multiplied by what a refill says [-]."""
    return tuple(
        attrs.evolve(step, flows=tuple(factor * flow for flow in step.flows), flow_digit=factor * step.flow_digit)
        for step in steps
    )


def deviation_of(steps: Sequence[ThrottleStep]) -> tuple[float, int]:
    """How far one leg differs from the next [kn], and the degrees of freedom of that.

    Known beforehand, and bettered by what the steps show: where they were run both ways, the difference of the ways
    goes along a line over engine speed, which is twice the current and the wind, and scatters about it.
    """
    beforehand = math.sqrt(mean([step.deviation**2 for step in steps]))
    both = [step for step in steps if step.both_ways]
    if len(both) < 3:
        return beforehand, DEVIATION_FREEDOM
    x, y = [step.engine_speed for step in both], [step.difference for step in both]
    rise, middle_x, middle_y = slope(x, y), mean(x), mean(y)
    squares = math.fsum((one - middle_y - rise * (at - middle_x)) ** 2 for at, one in zip(x, y, strict=True))
    return pooled(beforehand, DEVIATION_FREEDOM, squares, len(both) - 2)


def _rows(view: JobView) -> tuple[str, ...]:
    unsettled = (one.place[2] for one in view.disagreements if one.place[0] == STEPS and one.place[2])
    return tuple(dict.fromkeys((*view.rows(STEPS), *unsettled)))


def _typed(view: JobView, asking: InputCollector, row: str) -> ThrottleStep:
    nominal = asking.amount(STEPS, "nominal_engine_speed", "rev/min", row=row)
    out = asking.amount(STEPS, "speed_out", "kn", row=row)
    back = optional(asking, STEPS, "speed_back", "kn", row=row)
    positions = [engine.position for engine in view.vessel.engines]
    flows = [asking.amount(STEPS, "fuel_flow", "gal/h", row=row, of=position) for position in positions]
    own = [optional(asking, STEPS, "engine_speed", "rev/min", row=row, of=position) for position in positions]
    speeds = [nominal if speed is None else speed for speed in own]
    legs = (out,) if back is None else (out, back)
    need = partial(asking.need, lack=Lack.OUT_OF_RANGE, step=STEPS, row=row)
    for position, speed, of_its_own in zip(positions, speeds, own, strict=True):
        field, of = ("nominal_engine_speed", "") if of_its_own is None else ("engine_speed", position)
        fits = math.isnan(speed) or 0 < speed <= 15000
        need(fits, "engine speed must be above 0 and at most 15000 rev/min", field=field, of=of)
    for field, leg in zip(("speed_out", "speed_back"), legs, strict=False):
        need(math.isnan(leg) or 0 <= leg <= 200, f"{field.replace('_', ' ')} must be 0 to 200 kn", field=field)
    for position, flow in zip(positions, flows, strict=True):
        text = f"fuel flow ({position}) must be above 0 and at most 1000 gal/h"
        need(math.isnan(flow) or 0 < flow <= 1000, text, field="fuel_flow", of=position)
    return ThrottleStep(
        name=row_in_words(row),
        rows=(row,),
        engine_speeds=tuple(speeds),
        flows=tuple(flows),
        legs=legs,
        deviation=math.hypot(_run_to_run(view), view.setting_value("fuel_curve.by_eye_speed", "kn")),
        speed_digit=digit(view, STEPS, "speed_out", "kn", row=row),
        flow_digit=math.hypot(*(digit(view, STEPS, "fuel_flow", "gal/h", row=row, of=each) for each in positions)),
    )


def _each_said_once(missing: Sequence[Missing]) -> list[Missing]:
    """The same, each out of range with its rows; what several rows lack in one column in one text for all of them."""
    alike: dict[tuple[Lack, str, str], dict[str, None]] = {}
    for one in missing:
        alike.setdefault((one.lack, one.field, one.of), {})[one.row] = None
    named = {column: rows_named([*rows]) for column, rows in alike.items()}  # once: a table may have thousands of rows
    said: list[Missing] = []
    for one in missing:
        column = one.lack, one.field, one.of
        text = one.text
        if one.lack is Lack.OUT_OF_RANGE:
            text = f"{named[column]}: {text}"
        elif one.lack is Lack.NOT_ENTERED and len(alike[column]) > 1:
            of = f" ({one.of})" if one.of else ""
            text = f"{one.field.replace('_', ' ')}{of} is not entered in {named[column]}"
        said.append(attrs.evolve(one, text=text))
    return said


def _run_to_run(view: JobView) -> float:
    return view.setting_value("fuel_curve.run_to_run_speed", "kn")


def flow_repeats(view: JobView, step: ThrottleStep) -> float:
    """Standard uncertainty of the fuel flow of all engines from one reading to the next [gal/h]."""
    share = view.setting_value("fuel_curve.flow_scatter", "%") / 100 / NORMAL_95
    return share * math.hypot(*step.flows) / math.sqrt(step.readings)


def _of_recording(view: JobView, held: Held) -> ThrottleStep:
    return ThrottleStep(
        name=held.name,
        engine_speeds=held.engine_speeds,
        flows=held.flows,
        legs=held.legs,
        readings=held.stretches,
        deviation=math.hypot(_run_to_run(view), held.speed_deviation),
    )


def merged(taken: Sequence[ThrottleStep], same: float) -> tuple[ThrottleStep, ...]:
    """Steps in order of engine speed, those closer together than `same` [rev/min] as one."""
    groups: list[list[ThrottleStep]] = []
    for step in taken:
        if not groups or step.engine_speed - groups[-1][0].engine_speed > same:
            groups.append([])
        groups[-1].append(step)
    return tuple(_merged(group) for group in groups)


def _merged(group: Sequence[ThrottleStep]) -> ThrottleStep:
    """Repeats of one step as one: their legs one after the other where each was run both ways."""
    if len(group) == 1:
        return group[0]
    engines = range(len(group[0].flows))
    both = all(step.both_ways for step in group)
    return ThrottleStep(
        name=" and ".join(step.name for step in group),
        rows=tuple(row for step in group for row in step.rows),
        engine_speeds=tuple(mean([step.engine_speeds[number] for step in group]) for number in engines),
        flows=tuple(mean([step.flows[number] for step in group]) for number in engines),
        legs=tuple(mean([step.legs[way] for step in group]) for way in (0, 1)) if both else (mean_speed(group),),
        readings=sum(step.readings for step in group),
        deviation=math.sqrt(mean([step.deviation**2 for step in group]) / len(group)),
        speed_digit=math.hypot(*(step.speed_digit for step in group)) / len(group),
        flow_digit=math.hypot(*(step.flow_digit for step in group)) / len(group),
    )


def mean_speed(group: Sequence[ThrottleStep]) -> float:
    """Mean of steps' speeds [kn]."""
    return mean([step.speed for step in group])


def places(step: ThrottleStep, positions: Sequence[str], *fields: str) -> tuple[FieldKey, ...]:
    """Where the values of a step stand; those of each engine once for each."""
    each = ("fuel_flow", "engine_speed")
    return tuple(
        (STEPS, field, row, of)
        for row in step.rows
        for field in fields
        for of in (positions if field in each else ("",))
    )


def flow_places(step: ThrottleStep, positions: Sequence[str]) -> tuple[FieldKey, ...]:
    """Where the fuel flows of these engines stand, in typed rows or in the recording."""
    return places(step, positions, "fuel_flow") or ((STEPS, "recording", "", ""),)
