"""The propeller page of the handover book, in the owner's language."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence, Set
from typing import TypeVar

from garboard.findings import NotEnoughData, Number, Table, Verdict, rounded, with_uncertainty
from garboard.job_view import FieldKey, JobView, in_unit
from garboard.records import Engine
from garboard.steps import Assessed, Block, ReportSection
from garboard_prop_check.averages import Average, average_engine_speed, average_speed
from garboard_prop_check.runs import Reading, Run, runs_of
from garboard_prop_check.slip_findings import Slip, reading_is_wrong, slip_of
from garboard_prop_check.speed import figure_of_runs, table_of_runs
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE
from garboard_prop_check.tried import of_now
from garboard_prop_check.words import by_pitch, window_of

Found = TypeVar("Found")


ALWAYS_TOLD = "prop_check.pitch"
TOLD_UNLESS_PASSED = tuple(
    f"prop_check.{name}" for name in ("readings", "window", "slip", "engine_difference", "crouch")
)


def build(view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
    """The blocks of the page; none when no run was made."""
    try:
        view = of_now(view)
        runs = view.once(runs_of)
    except NotEnoughData:
        return ()
    if not any(isinstance(read, Reading) for run in runs for read in run.engine_speed.values()):
        return ()
    in_doubt = {doubt.place for item in assessed for doubt in item.finding.doubts}
    speed = _or_none(lambda: view.once(average_speed, runs))
    is_doubted = speed is not None and not in_doubt.isdisjoint(speed.places)
    findings = [item.finding for item in assessed if _is_told(item)]
    return (
        *_large(view, None if is_doubted else speed),
        *_introduction(view, None if is_doubted else speed, is_doubted),
        *_conditions(view),
        _result_table(view, runs, speed, in_doubt),
        *findings,
        *_others(assessed),
        figure_of_runs(view, runs),
        table_of_runs(view, runs),
    )


def _others(assessed: Sequence[Assessed]) -> Iterator[Block]:
    """What other propellers would do, side by side, while the advice is to try one."""
    for item in assessed:
        if item.calculator == ALWAYS_TOLD and item.finding.forecasts:
            yield from item.finding.figures
            yield from item.finding.tables


def _is_told(item: Assessed) -> bool:
    """The advice always; what the table tells already only when it is not in order."""
    passed = item.finding.verdict is Verdict.PASS
    if item.finding.verdict is Verdict.NOT_ENOUGH_DATA:
        return False
    return item.calculator == ALWAYS_TOLD or (item.calculator in TOLD_UNLESS_PASSED and not passed)


def _or_none(ask: Callable[[], Found]) -> Found | None:
    try:
        return ask()
    except NotEnoughData:
        return None


def _large(view: JobView, speed: Average | None) -> Sequence[Block]:
    if speed is None:
        return ()
    unit = view.unit_to_tell("kn")
    value, within = (in_unit(one, "kn", unit) for one in (speed.value, speed.expanded_uncertainty))
    return (Number("full speed over ground", value, unit, within),)


def _introduction(view: JobView, speed: Average | None, is_doubted: bool) -> Sequence[str]:
    told = (
        "We ran your boat at full throttle, both ways so that wind and current drop out of the speed. The engine's "
        "maker gives a window for the engine speed at full throttle: inside it the propeller suits boat and load."
    )
    if speed is None:
        return (told, "Full speed is not given: another reading contradicts it.") if is_doubted else (told,)
    units = dict.fromkeys((view.unit_to_tell("kn"), "kn", "mph", "km/h"))
    first, *others = (f"{rounded(in_unit(speed.value, 'kn', unit), 1)} {unit}" for unit in units)
    return (
        told,
        f"Full speed was {first} ({', '.join(others)}), {speed.method}. Slip is the share of "
        "the propeller's advance that does not become speed; a change from the figure below, with the same load, "
        "is an early sign of a damaged propeller or a fouled bottom.",
    )


def _conditions(view: JobView) -> Sequence[str]:
    fields = (
        ("trim", "trim {}"),
        ("load", "load {}"),
        ("fuel_level", "fuel {}"),
        ("persons", "{} on board"),
        ("water", "water {}"),
        ("air_temperature", "air {}"),
        ("air_pressure", "{}"),
        ("humidity", "humidity {}"),
    )
    told = [words.format(value) for field, words in fields if (value := _as_run(view, field))]
    return (f"As run: {', '.join(told)}.",) if told else ()


def _as_run(view: JobView, field: str) -> str:
    """What holds for the runs: what they say themselves before what the conditions say; "" where nothing does."""
    own = [view.value(FULL_THROTTLE, field, row=row) for row in view.rows(FULL_THROTTLE)]
    day = view.value(CONDITIONS, field)
    found = dict.fromkeys(
        str(day if value is None else value) for value in own or [day] if (value, day) != (None, None)
    )
    return " or ".join(found)


def _result_table(view: JobView, runs: Sequence[Run], speed: Average | None, in_doubt: Set[FieldKey]) -> Table:
    return Table(
        title="Full throttle",
        headings=(
            "Engine",
            "Propeller",
            "Gear ratio",
            "Engine speed [rev/min]",
            "Window [rev/min]",
            f"Slip {by_pitch(view.vessel.engines)} [%]",
        ),
        rows=tuple(_row(view, engine, runs, speed, in_doubt) for engine in view.vessel.engines),
    )


IN_DOUBT = "in doubt"


def _row(
    view: JobView, engine: Engine, runs: Sequence[Run], speed: Average | None, in_doubt: Set[FieldKey]
) -> tuple[str, ...]:
    engine_speed = _or_none(lambda: view.once(average_engine_speed, runs, engine.position))
    window = _or_none(lambda: window_of(engine))
    slip = _or_none(lambda: slip_of(view, engine, engine_speed, speed)) if engine_speed and speed else None
    return (
        engine.position,
        _propeller(engine),
        engine.gear_ratio.text if engine.gear_ratio else "",
        _engine_speed_cell(engine_speed, in_doubt) if engine_speed else "",
        f"{rounded(window[0], 0)} to {rounded(window[1], 0)}" if window else "",
        _slip_cell(view, slip, in_doubt) if slip else "",
    )


def _engine_speed_cell(found: Average, in_doubt: Set[FieldKey]) -> str:
    is_sound = in_doubt.isdisjoint(found.places)
    return with_uncertainty(found.value, found.expanded_uncertainty, 0) if is_sound else IN_DOUBT


def _slip_cell(view: JobView, slip: Slip, in_doubt: Set[FieldKey]) -> str:
    if reading_is_wrong(view, slip.measured, slip.theory):
        return "a reading is wrong"
    if not in_doubt.isdisjoint(slip.places(view)):
        return IN_DOUBT
    return with_uncertainty(slip.by_stamp.value, slip.by_stamp.expanded_uncertainty)


def _propeller(engine: Engine) -> str:
    fitted = engine.propeller
    if fitted is None:
        return ""
    size = " x ".join(str(length) for length in (fitted.diameter, fitted.working_pitch) if length)
    blades = f"{fitted.blades} blades" if fitted.blades else ""
    return ", ".join(filter(None, (size, blades, fitted.material, fitted.handing and f"{fitted.handing}-handed")))


SECTION = ReportSection(key="prop_check.result", title="Propeller and full speed", order=300, build=build)
