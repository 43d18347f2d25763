"""Under load: every gauge at each throttle step against the maker's limits, charging, and what weight costs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import attrs

from garboard.findings import (
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Table,
    Verdict,
    decimals_beside,
    not_enough_data,
    rounded,
)
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.records import LEAST_AT_FULL
from garboard.steps import Calculator
from garboard_engine_trial.bases import MAKER, practice
from garboard_engine_trial.limits import Reading, read
from garboard_engine_trial.points import engines, is_entered, is_left_out, pieces, rows_of, settled
from garboard_engine_trial.rigging import is_without_limit, limits_of, no_window, see_low_below_high
from garboard_engine_trial.settings import ENGINE_SPEED_WITHIN, PRESSURE_WITHIN, TEMPERATURE_WITHIN, VOLTAGE_WITHIN
from garboard_engine_trial.steps import table_of
from garboard_engine_trial.under_way_steps import UNDER_LOAD

CHARGING = practice("above idle the engines charge every battery", "a full one takes little")
WEIGHT_COSTS = practice("a loaded boat turns its engines slower and planes later", "the maker's window decides")
IDLE_UP_TO = 1000.0
"""An alternator may give less at or below this engine speed; common practice, no source [rev/min]."""
NEAR_FULL = 0.95
"""Share of the maker's full-throttle speed from which the highest step counts as full throttle; common practice."""
METER_ZERO = 0.5
"""A current meter may be off by as much at zero; common practice, no source [A]."""
COLDEST = 30.0
"""No engine stays colder above idle, even in winter's water; common practice, no source [degC]."""
FAR_APART = 3.0
"""An engine's own pump gives more at so many times the engine speed; common practice, no source."""
SLOWER_LOADED = 1.0
"""A loaded boat does not plane slower than a light one, but for reading; common practice, no source [kn]."""
_GAUGES = {"temperature": ("degC", "temperature"), "water_pressure": ("psi", "pressure"), "voltage": ("V", "")}
"""Fields with the unit they are judged in, and the quantity whose typed unit they are shown in."""
_LIMITS = ("temperature_high", "water_low", "voltage_low", "voltage_high")


@frozen
class Step:
    """One throttle step: its row, and its engine speed [rev/min]."""

    row: str
    speed: float


def _steps(view: JobView) -> list[Step]:
    """Throttle steps from slow to fast. Raises NotEnoughData where a row has no engine speed."""
    asking = view.asking()
    rows = rows_of(view, UNDER_LOAD, table_of(UNDER_LOAD, "loads"))
    asking.need(
        bool(rows), "no throttle step is entered", lack=Lack.NOT_ENTERED, step=UNDER_LOAD, field="step_speed", row="1"
    )
    found = [Step(row, asking.amount(UNDER_LOAD, "step_speed", "rev/min", row=row)) for row in rows]
    asking.check()
    return sorted(found, key=lambda step: step.speed)


def _read(view: JobView, steps: Sequence[Step], field: str, unit: str, of: str) -> dict[Step, float]:
    """What one gauge showed, by step [unit]; without the steps at which it was not read. Raises for a dispute."""
    found = ((step, settled(view, UNDER_LOAD, field, unit, row=step.row, of=of)) for step in steps)
    return {step: value for step, value in found if value is not None}


def _gauges(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, UNDER_LOAD):
        return
    steps = view.once(_steps)
    table = _gauge_table(view, steps)
    tables = () if table is None else (table,)
    for position in engines(view):
        judged: dict[str, list[Reading]] = {}
        lacks = False
        for gauge, judge in (("temperature", _temperature), ("water pressure", _water), ("voltage", _voltage)):
            try:  # each by itself: what cannot be told of one hides nothing of another
                judged |= {gauge: found} if (found := list(judge(view, position, steps))) else {}
            except NotEnoughData as lacking:
                lacks = True
                yield not_enough_data(f"{position} engine, {gauge}", lacking.missing, (MAKER,))
        if judged:
            yield attrs.evolve(_gauges_of(view, position, judged), tables=tables)
            tables = ()  # it holds every engine, and stands once
        elif not lacks and not is_without_limit(view, position, *_LIMITS):
            yield not_enough_data(f"{position} engine", _nothing_to_judge(view, position, steps), (MAKER,))


def _nothing_to_judge(view: JobView, position: str, steps: Sequence[Step]) -> tuple[Missing, ...]:
    if any(_read(view, steps, field, unit, position) for field, (unit, _) in _GAUGES.items()):
        return no_window(position, "temperature_high").missing
    text = f"no gauge of the {position} engine is read"
    row = steps[0].row
    return (Missing(text, lack=Lack.NOT_ENTERED, step=UNDER_LOAD, field="temperature", row=row, of=position),)


def _gauges_of(view: JobView, position: str, judged: Mapping[str, Sequence[Reading]]) -> Finding:
    readings = [reading for several in judged.values() for reading in several]
    verdicts = [reading.verdict for reading in readings]
    verdict = next((one for one in (Verdict.FAIL, Verdict.ADVISE) if one in verdicts), Verdict.PASS)
    named = ", ".join(reading.number.name for reading in readings if reading.verdict is verdict)
    each = "; ".join(_beside_its_limit(view, reading, position) for reading in readings)
    words = {
        Verdict.PASS: (
            "engine_trial.gauges.within",
            f"Within the maker's limits: {each}.",
        ),
        Verdict.ADVISE: ("engine_trial.gauges.close", f"Too close to the limit to tell: {named}. Read again."),
        Verdict.FAIL: (
            "engine_trial.gauges.beyond",
            f"Beyond the maker's limits: {named}. Stop running it hard and find the cause.",
        ),
    }
    code, sentence = words[verdict]
    return Finding(
        code=code,
        verdict=verdict,
        about=f"{position} engine",
        sentence=sentence,
        basis=(MAKER,),
        numbers=tuple(reading.number for reading in readings),
        limits=tuple(reading.limit for reading in readings if reading.limit is not None),
        of=position,
    )


def _gauges_read(view: JobView, position: str) -> tuple[FieldKey, ...]:
    return tuple((UNDER_LOAD, field, row, position) for row in view.rows(UNDER_LOAD) for field in _GAUGES)


def _beside_its_limit(view: JobView, reading: Reading, position: str) -> str:
    """What was read, and the limit it was held against."""
    read_at = _gauges_read(view, position)
    number, limit = reading.number, reading.limit
    ends = [("at least", limit.low), ("at most", limit.high)] if limit else []
    given = [(words, end) for words, end in ends if end is not None]
    decimals = decimals_beside(number.value, [end for _, end in given], 1)
    said = [(number.name, number.value), *given]
    return ", ".join(f"{words} {view.told(value, number.unit, decimals, places=read_at)}" for words, value in said)


def _temperature(view: JobView, position: str, steps: Sequence[Step]) -> Iterator[Reading]:
    """The highest of all steps. Raises NotEnoughData for an engine under load that reads as cold as a sensor alone."""
    of_step = _read(view, steps, "temperature", "degC", position)
    _, high = limits_of(view, position, "", "temperature_high", "degC")
    if high is not None and of_step:
        fastest = max(of_step, key=lambda step: step.speed)
        if fastest.speed > IDLE_UP_TO and of_step[fastest] < COLDEST:
            told = view.told(of_step[fastest], "degC", 0, places=_gauges_read(view, position))
            text = f"{told} at {rounded(fastest.speed)} rev/min, colder than any that runs; see its sensor"
            raise _contradicts(text, "temperature", fastest, position)
        yield read(
            "highest temperature", max(of_step.values()), "degC", view.setting_value(TEMPERATURE_WITHIN), None, high
        )


def _water(view: JobView, position: str, steps: Sequence[Step]) -> Iterator[Reading]:
    """At the highest step: pressure rises with the engine, so what is enough below full throttle is enough at it.

    Raises NotEnoughData for too little at a step that is not full throttle, and for a gauge that does not rise.
    """
    of_step = _read(view, steps, "water_pressure", "psi", position)
    low, _ = limits_of(view, position, "water_low", "", "psi")
    if low is None or not of_step:
        return
    fastest = max(of_step, key=lambda step: step.speed)
    reading = read(
        "water pressure at the highest step",
        of_step[fastest],
        "psi",
        view.setting_value(PRESSURE_WITHIN, "psi"),
        low,
    )
    if reading.verdict is not Verdict.PASS and not _is_full(view, position, fastest):
        text = (
            f"the limit of water pressure is for full throttle, and {rounded(fastest.speed)} "
            "rev/min is not; read it there"
        )
        raise NotEnoughData(
            text, lack=Lack.NOT_COVERED, step=UNDER_LOAD, field="water_pressure", row=fastest.row, of=position
        )
    slowest = min(of_step, key=lambda step: step.speed)
    is_far = fastest.speed >= FAR_APART * slowest.speed > 0
    if reading.verdict is not Verdict.FAIL and is_far and of_step[fastest] <= of_step[slowest]:
        text = (
            f"water pressure at {rounded(fastest.speed)} rev/min is no more than at "
            f"{rounded(slowest.speed)}; see the gauge and the pump"
        )
        raise _contradicts(text, "water_pressure", fastest, position)
    yield reading


def _contradicts(text: str, field: str, step: Step, position: str) -> NotEnoughData:
    return NotEnoughData(text, lack=Lack.CONTRADICTS, step=UNDER_LOAD, field=field, row=step.row, of=position)


def _is_full(view: JobView, position: str, step: Step) -> bool:
    engine = view.vessel.pieces["engines"].get(position)
    window = engine.full_throttle_low if engine else None
    return window is not None and step.speed >= NEAR_FULL * window.to("rev/min")


def _voltage(view: JobView, position: str, steps: Sequence[Step]) -> Iterator[Reading]:
    of_step = _read(view, steps, "voltage", "V", position)
    low, high = limits_of(view, position, "voltage_low", "voltage_high", "V")
    see_low_below_high(position, low, high, "voltage_low")
    bound = view.setting_value(VOLTAGE_WITHIN, "V")
    above_idle = [value for step, value in of_step.items() if step.speed > IDLE_UP_TO]
    if low is not None and above_idle:
        yield read("lowest voltage above idle", min(above_idle), "V", bound, low)
    if high is not None and of_step:
        yield read("highest voltage", max(of_step.values()), "V", bound, None, high)


def _gauge_table(view: JobView, steps: Sequence[Step]) -> Table | None:
    """What every engine's gauges showed, step by step, in the units they were typed in; None while values disagree."""
    units = {field: view.unit_as_typed(quantity) if quantity else unit for field, (unit, quantity) in _GAUGES.items()}
    try:
        read_of = {
            (position, field): _read(view, steps, field, units[field], position)
            for position in engines(view)
            for field in _GAUGES
        }
    except NotEnoughData:
        return None
    rows = tuple(
        (rounded(step.speed), position, *(_cell(read_of[position, field].get(step)) for field in _GAUGES))
        for step in steps
        for position in engines(view)
    )
    names = (f"{field.replace('_', ' ').capitalize()} [{units[field]}]" for field in _GAUGES)
    return Table("Gauges under load", ("Step [rev/min]", "Engine", *names), rows)


def _cell(value: float | None) -> str:
    return "" if value is None else rounded(value, 1)


def _charge(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, UNDER_LOAD):
        return
    steps = view.once(_steps)
    for battery in pieces(view, "batteries"):
        above_idle = {
            step: value for step, value in _read(view, steps, "charge", "A", battery).items() if step.speed > IDLE_UP_TO
        }
        if above_idle:
            yield _charge_of(battery, above_idle)


def _charge_of(battery: str, of_step: dict[Step, float]) -> Finding:
    least = min(of_step.values())
    limit = Limit("least charge current above idle", low=-METER_ZERO)
    charges = limit.holds(least)
    return Finding(
        code="engine_trial.charge.charges" if charges else "engine_trial.charge.discharges",
        verdict=Verdict.PASS if charges else Verdict.ADVISE,
        about=f"{battery} battery",
        sentence=(
            "Current flows into it at every step above idle."
            if charges
            else "Current flows out of it above idle. See its charging lead, switch and relay, and the meter's sign."
        ),
        basis=(CHARGING,),
        numbers=(
            Number("least charge current above idle", least, "A"),
            Number("most charge current", max(of_step.values()), "A"),
        ),
        limits=(limit,),
        of=battery,
    )


def _loaded(view: JobView) -> Iterator[Finding]:
    """Full throttle light and loaded against the maker's window; nothing where neither is entered."""
    if is_left_out(view, UNDER_LOAD):
        return
    for position in engines(view):
        if not is_entered(view, UNDER_LOAD, "full_light", "full_loaded", of=position):
            continue
        try:
            yield _loaded_of(view, position)
        except NotEnoughData as lacking:
            yield not_enough_data(f"{position} engine", lacking.missing, (WEIGHT_COSTS,))


def _loaded_of(view: JobView, position: str) -> Finding:
    asking, unit = view.asking(), "rev/min"
    light = asking.amount(UNDER_LOAD, "full_light", unit, of=position)
    loaded = asking.amount(UNDER_LOAD, "full_loaded", unit, of=position)
    engine = view.vessel.pieces["engines"].get(position)
    named = "full-throttle range"
    low = asking.known(
        engine.full_throttle_low if engine else None, unit, named, field="engines.full_throttle_low", of=position
    )
    high = asking.known(
        engine.full_throttle_high if engine else None, unit, named, field="engines.full_throttle_high", of=position
    )
    asking.need(
        not low > high,
        f"{named} reads {rounded(low)} to {rounded(high)} rev/min; correct it",
        lack=Lack.CONTRADICTS,
        field="engines.full_throttle_low",
        of=position,
    )
    bound = view.setting_value(ENGINE_SPEED_WITHIN, unit)
    asking.need(
        not loaded > light + 2 * bound,
        "it turns faster loaded than light; read both again",
        lack=Lack.CONTRADICTS,
        step=UNDER_LOAD,
        field="full_loaded",
        of=position,
    )
    for name, turned in (("light", light), ("loaded", loaded)):
        asking.need(
            not turned < LEAST_AT_FULL * low,
            f"{rounded(turned)} rev/min {name} is no full throttle; read it again",
            lack=Lack.OUT_OF_RANGE,
            step=UNDER_LOAD,
            field=f"full_{name}",
            of=position,
        )
    asking.check()
    readings = (
        read("full throttle, light", light, unit, bound, None, high, 0),
        read("full throttle, loaded", loaded, unit, bound, low, None, 0),
    )
    verdicts = {reading.verdict for reading in readings}
    if Verdict.FAIL in verdicts:
        code = "engine_trial.loaded.outside"
        sentence = (
            "Light or loaded it leaves the maker's full-throttle range. Ask how the owner loads it, and "
            "choose the propeller for that."
        )
    elif Verdict.ADVISE in verdicts:
        code = "engine_trial.loaded.close"
        sentence = "Light or loaded it is too close to the end of the maker's full-throttle range to tell. Read again."
    else:
        code = "engine_trial.loaded.inside"
        told = f"{rounded(light)} rev/min light and {rounded(loaded)} loaded"
        sentence = f"{told}, both in the maker's full-throttle range."
    return Finding(
        code=code,
        verdict=Verdict.PASS if verdicts == {Verdict.PASS} else Verdict.ADVISE,
        about=f"{position} engine",
        sentence=sentence,
        basis=(WEIGHT_COSTS, MAKER),
        numbers=(*(one.number for one in readings), Number("lost with the load", light - loaded, unit, decimals=0)),
        limits=tuple(one.limit for one in readings if one.limit is not None),
        of=position,
    )


MOST_LOADED = 2.0
"""Loaded a boat planes from no more than so many times the speed it does light [-]: lift goes by the square of the
speed, and no boat is loaded to four times its weight; common practice, no source."""


def _planing(view: JobView) -> Iterator[Finding]:
    light = settled(view, UNDER_LOAD, "planing_light", "kn")
    loaded = settled(view, UNDER_LOAD, "planing_loaded", "kn")
    named = [("planes from, light", light), ("planes from, loaded", loaded)]
    numbers = tuple(Number(name, value, "kn") for name, value in named if value is not None)
    if not numbers or view.state_of(UNDER_LOAD) == "not fitted":
        return
    if light is not None and loaded is not None and loaded < light - SLOWER_LOADED:
        text = "it planes slower loaded than light; try both again"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=UNDER_LOAD, field="planing_loaded")
    if light is not None and loaded is not None and loaded > light * MOST_LOADED:
        text = "it planes at more than twice the speed loaded; try both again"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=UNDER_LOAD, field="planing_loaded")
    told = " and ".join(f"{view.told(one.value, 'kn', 1)} {one.name.rpartition(' ')[2]}" for one in numbers)
    yield Finding(
        code="engine_trial.planing.noted",
        verdict=Verdict.PASS,
        about="Lowest planing speed",
        sentence=f"It planes from {told}.",
        basis=(WEIGHT_COSTS,),
        numbers=numbers,
    )


CALCULATORS = (
    Calculator(key="engine_trial.gauges", title="Gauges", step=UNDER_LOAD, order=200, compute=_gauges, basis=(MAKER,)),
    Calculator(
        key="engine_trial.charge", title="Charging", step=UNDER_LOAD, order=300, compute=_charge, basis=(CHARGING,)
    ),
    Calculator(
        key="engine_trial.loaded",
        title="Light and loaded",
        step=UNDER_LOAD,
        order=400,
        compute=_loaded,
        basis=(WEIGHT_COSTS,),
    ),
    Calculator(
        key="engine_trial.planing",
        title="Lowest planing speed",
        step=UNDER_LOAD,
        order=500,
        compute=_planing,
        basis=(WEIGHT_COSTS,),
    ),
)
