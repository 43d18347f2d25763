"""The throttle steps held against the rest of the job: the full-throttle runs, the limiter, and the meters' split.

Between two readings that contradict nobody can tell from here which is wrong, so both are doubted.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from garboard.faults import in_number
from garboard.findings import Basis, BasisKind, Doubt, Finding, NotEnoughData, Verdict, in_full, rounded, row_in_words
from garboard.job_view import FieldKey, JobView
from garboard.records import Engine
from garboard.series import LOG_WITHIN
from garboard_fuel_curve.contradictions import WIDE, contradictions, not_as_recorded
from garboard_fuel_curve.full_throttle_runs import Runs, runs_of
from garboard_fuel_curve.readings import Readings, ThrottleStep, readings
from garboard_fuel_curve.refill import meter_totals
from garboard_fuel_curve.steps import OTHER_READINGS, STEPS, TANKS

NEAR, FASTER = 0.9, 1.08
"""Steps at these shares of the runs' engine speed are held against the runs; the load makes an engine reach no more
than the latter (common practice, no source)."""

STEEPEST = 3.0
"""Near full throttle speed follows engine speed to the power of 0 to this, in the hump too (common practice, no
source)."""

LOADED = 0.08
"""At one engine speed, load, trim and weather change speed by less than this share of it (common practice, no
source)."""

OVER_LIMITER = 1.03
"""An engine that hunts about its limiter shows no more than this share of it (common practice, no source)."""

OVER_WINDOW = 1.15
"""The limiter comes in below this share of the high end of the maker's window (common practice, no source)."""

FAR_FROM_STEP = 0.15
FAR_AT_LEAST = 500.0
"""An engine speed farther from the throttle step it was read at, as a share and [rev/min], was not read there (common
practice, no source)."""


LOG = Basis(
    BasisKind.COMMON_PRACTICE,
    f"a log is set by the speed over ground of opposite runs, to {in_full(100 * LOG_WITHIN)} %",
)

SPLIT = 1.3
"""The meters of twins may differ so much more over a day than in the steps: one engine idles alone for a while (common
practice, no source)."""


def against_others(view: JobView) -> Iterator[Finding]:
    """What else in the job contradicts the throttle steps; nothing where nothing does."""
    try:
        found = view.once(readings)
    except NotEnoughData:
        return  # the figures of the steps say what is missing
    yield from _water_log(found)
    yield from _typed_otherwise(view, found)
    yield from _meters_split_otherwise(view, found.taken)
    runs = runs_of(view)
    by_engine_speed = (
        _far_from_their_step(view, found.taken)
        or _over_the_limiter(view, found.taken)
        or (_faster_turning(view, runs, found.taken) if runs else None)
    )
    if by_engine_speed:  # a speed read at a wrong engine speed says nothing
        yield by_engine_speed
    elif runs and not found.speed_doubted:
        named = [step for one in view.once(contradictions, found) for step in one.steps]
        yield from _other_speed(view, runs, [step for step in found.taken if all(step is not one for one in named)])


def _water_log(found: Readings) -> Iterator[Finding]:
    """A log that reads otherwise than the receiver over opposite runs. The speed over ground stands: a log is set by
    it."""
    off = found.log_off
    if off is None or found.speed_doubted or abs(off) <= LOG_WITHIN:
        return
    yield Finding(
        code="fuel_curve.against_others.water_log",
        verdict=Verdict.ADVISE,
        about="speed through water",
        sentence=(
            f"Over opposite runs the log reads {rounded(100 * abs(off))} % {'more' if off > 0 else 'less'} than the "
            "receiver shows over ground. Look for weed on it and set it. No figure here rests on it."
        ),
        basis=(LOG,),
        places=((STEPS, "recording", "", ""),),
    )


def _typed_otherwise(view: JobView, found: Readings) -> Iterator[Finding]:
    """Rows typed beside a recording that it contradicts."""
    out = [(step, *one) for step in found.typed_beside for one in not_as_recorded(view, found, step)]
    if out:
        first, _, _, text = out[0]
        places = [place for step, field, of, _ in out for place in _of_step(step, field, of=of)]
        to_do = "Find out which is right, then repeat the wrong one."
        yield _finding(
            "fuel_curve.against_others.typed_and_recorded",
            f"{first.name}: {text}",
            to_do,
            [*places, (STEPS, "recording", "", "")],
        )


def _other_speed(view: JobView, runs: Runs, steps: Sequence[ThrottleStep]) -> Iterator[Finding]:
    """Steps near full throttle whose speed is not the runs'."""
    near = [step for step in steps if NEAR <= step.engine_speed / runs.engine_speed <= FASTER]
    out = [step for step in near if not _speed_fits(view, runs, step)]
    if out:
        top = out[-1]
        speed, turns = runs.told(view)
        text = (
            f"{view.told(top.speed, 'kn', 1)} at {rounded(top.engine_speed)} rev/min in the throttle steps, {speed} at "
            f"{turns} in the full-throttle runs"
        )
        places = [place for step in out for place in _of_step(step, "speed_out", "speed_back")]
        yield _finding(
            "fuel_curve.against_others.full_throttle_speed",
            text,
            "Check the unit of both, and whether propeller or load changed; then repeat the wrong one.",
            [*places, *runs.speed_places],
        )


def _speed_fits(view: JobView, runs: Runs, step: ThrottleStep) -> bool:
    steepest: float = (step.engine_speed / runs.engine_speed) ** STEEPEST
    receiver = 2 * view.setting_value("fuel_curve.speed_accuracy", "kn")
    one_way = view.setting_value("fuel_curve.largest_current", "kn")
    within = receiver + WIDE * math.hypot(step.deviation, step.speed_digit)
    within += one_way * ((not step.both_ways) + (not runs.both_ways))
    low, high = runs.speed * min(1.0, steepest) * (1 - LOADED), runs.speed * max(1.0, steepest) * (1 + LOADED)
    return low - within <= step.speed <= high + within


def _faster_turning(view: JobView, runs: Runs, steps: Sequence[ThrottleStep]) -> Finding | None:
    """Steps at engine speeds the engines do not reach at full throttle."""
    out = [step for step in steps if step.engine_speed > FASTER * runs.engine_speed]
    if not out:
        return None
    text = (
        f"the throttle steps go to {rounded(out[-1].engine_speed)} rev/min, the full-throttle runs only to "
        f"{runs.told(view)[1]}"
    )
    places = [place for step in out for place in _engine_speeds(view, step)]
    to_do = "Find out which is right, then repeat the wrong readings."
    return _finding(
        "fuel_curve.against_others.full_throttle_engine_speed", text, to_do, [*places, *runs.engine_speed_places]
    )


def _over_the_limiter(view: JobView, steps: Sequence[ThrottleStep]) -> Finding | None:
    """Steps at engine speeds above what the limiter lets an engine reach."""
    out: dict[FieldKey, str] = {}
    for number, engine in enumerate(view.vessel.engines):
        limit, what = _limit(engine)
        for step in steps:
            if step.engine_speeds[number] > limit:
                text = (
                    f"{engine.position} engine: {rounded(step.engine_speeds[number])} rev/min in the steps is above "
                    f"{what}"
                )
                out |= dict.fromkeys(_engine_speeds(view, step), text)
    if not out:
        return None
    return _finding(
        "fuel_curve.against_others.over_limiter",
        list(out.values())[-1],
        "Check both, then repeat the wrong readings.",
        out,
    )


def _limit(engine: Engine) -> tuple[float, str]:
    """The highest engine speed believed [rev/min], and what to call it."""
    if engine.limiter_speed is not None:
        return OVER_LIMITER * engine.limiter_speed.to("rev/min"), f"its limiter at {engine.limiter_speed}"
    if engine.full_throttle_high is not None:
        high = engine.full_throttle_high
        return OVER_WINDOW * high.to("rev/min"), f"any limiter; its window ends at {high}"
    return math.inf, ""


def _far_from_their_step(view: JobView, steps: Sequence[ThrottleStep]) -> Finding | None:
    """Typed engine speeds that were not read at the throttle step of their row."""
    far: dict[FieldKey, str] = {}
    for step in steps:
        for row in step.rows:
            stated = view.amount(STEPS, "nominal_engine_speed", "rev/min", row=row) or 0.0
            for engine, read in zip(view.vessel.engines, step.engine_speeds, strict=True):
                if abs(read - stated) > max(FAR_AT_LEAST, FAR_FROM_STEP * stated):
                    place = (STEPS, "engine_speed", row, engine.position)
                    far[place] = (
                        f"{row_in_words(row)}: engine speed {rounded(read)} rev/min ({engine.position}) "
                        f"at step {rounded(stated)}"
                    )
    if not far:
        return None
    rows = dict.fromkeys(row for _, _, row, _ in far)
    others = f", and {in_number(len(rows) - 1, 'more row')} like it" if len(rows) > 1 else ""
    text = next(iter(far.values())) + others
    nominal = [(STEPS, "nominal_engine_speed", row, "") for row in rows]
    return _finding(
        "fuel_curve.against_others.far_from_step", text, "Correct the wrong one, or repeat the step.", [*far, *nominal]
    )


def _meters_split_otherwise(view: JobView, steps: Sequence[ThrottleStep]) -> Iterator[Finding]:
    """Meters of several engines that share the fuel burned quite otherwise than the fuel flows of the steps do."""
    positions = [engine.position for engine in view.vessel.engines]
    read = view.once(meter_totals)
    if len(read) < 2:
        return
    burned = dict(zip(positions, read, strict=True))
    of_burned = [one / math.fsum(read) for one in read]
    shares = [[step.flows[number] / step.flow for step in steps] for number in range(len(positions))]
    if all(min(its) / SPLIT <= share <= max(its) * SPLIT for share, its in zip(of_burned, shares, strict=True)):
        return
    told = " and ".join(f"{view.told(one, 'gal')} ({position})" for position, one in burned.items())
    highest = steps[-1]
    flows = " and ".join(view.told(flow, "gal/h", 1) for flow in highest.flows)
    places = [
        *((TANKS, "metered", "", position) for position in positions),
        *(place for step in steps for position in positions for place in _of_step(step, "fuel_flow", of=position)),
    ]
    text = f"the meters burned {told}, while the top step shows {flows}"
    yield _finding(
        "fuel_curve.against_others.meters_split",
        text,
        "Check the meters' entries and which meter sits on which engine.",
        places,
    )


def _engine_speeds(view: JobView, step: ThrottleStep) -> Iterator[FieldKey]:
    for engine in view.vessel.engines:
        own = any(view.value(STEPS, "engine_speed", row=row, of=engine.position) is not None for row in step.rows)
        yield from _of_step(step, "engine_speed", of=engine.position) if own else _of_step(step, "nominal_engine_speed")


def _of_step(step: ThrottleStep, *fields: str, of: str = "") -> Iterator[FieldKey]:
    if not step.rows:
        yield (STEPS, "recording", "", "")
    yield from ((STEPS, field, row, of) for row in step.rows for field in fields)


def _finding(code: str, text: str, to_do: str, places: Iterable[FieldKey]) -> Finding:
    in_doubt = tuple(dict.fromkeys(places))
    return Finding(
        code=code,
        verdict=Verdict.ADVISE,
        about="throttle steps",
        sentence=f"{text[0].upper()}{text[1:]}. {to_do}",
        basis=(OTHER_READINGS,),
        places=in_doubt,
        doubts=tuple(Doubt(text, step=step, field=field, row=row, of=of) for step, field, row, of in in_doubt),
    )
