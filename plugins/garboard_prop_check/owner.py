"""Full speed and propellers as the owner knows them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from garboard.findings import NotEnoughData, Verdict, rounded
from garboard.fittings import fitted_now, with_fitting
from garboard.job_view import JobView
from garboard.owner_pages import HELM, Digits
from garboard.records import Engine
from garboard.steps import COVER, YOUR_BOAT, Assessed, Block, ReportSection
from garboard_prop_check.averages import average_engine_speed, average_speed
from garboard_prop_check.runs import Run, runs_of
from garboard_prop_check.tried import of_now

WINDOW = "prop_check.window"


def _full_speed(view: JobView, assessed: Sequence[Assessed]) -> tuple[str, tuple[Run, ...]] | None:
    """Full speed in words, and the runs it comes from; None where it was not measured, or is in doubt."""
    in_doubt = {doubt.place for item in assessed for doubt in item.finding.doubts}
    try:
        now = of_now(view)
        runs = now.once(runs_of)
        speed = now.once(average_speed, runs)
    except NotEnoughData:
        return None
    if not in_doubt.isdisjoint(speed.places):
        return None
    return view.told(speed.value, "kn", 1), tuple(runs)


def helm(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """Full speed, the propellers, and when to have them looked at."""
    full = _full_speed(view, assessed)
    reached: dict[str, float] = {}
    if full is not None:
        for engine in view.vessel.engines:
            try:
                found = of_now(view).once(average_engine_speed, full[1], engine.position)
            except NotEnoughData:
                continue
            reached[engine.position] = found.value
        told = ", ".join(f"{position} {rounded(speed, 0)}" for position, speed in reached.items())
        yield Digits(full[0], "full speed", (f"{told} rev/min",) if told else ())
    if sizes := _propellers(with_fitting(view.vessel, fitted_now(view.vessel)).engines):
        yield sizes
    if reached and _is_in_range(assessed):
        lowest = math.floor(min(reached.values()) / 5) * 5
        yield (
            f"If the engines no longer come near {lowest} rev/min with a like load, have propellers and bottom looked "
            "at."
        )


def _propellers(engines: Sequence[Engine]) -> str:
    """The propeller of every engine, its sizes as typed; those that are alike together."""
    sizes: dict[str, list[str]] = {}
    for engine in engines:
        fitted = engine.propeller
        if fitted is None or fitted.working_pitch is None:
            continue
        diameter, pitch = fitted.diameter, fitted.working_pitch
        across = "" if diameter is None else f"{diameter.text if diameter.unit == pitch.unit else diameter} x "
        blades = f", {fitted.blades} blades" if fitted.blades else ""
        sizes.setdefault(f"{across}{pitch}{blades}", []).append(engine.position)
    if not sizes:
        return ""
    told = "; ".join(size if len(sizes) == 1 else f"{', '.join(of)} {size}" for size, of in sizes.items())
    return f"Propeller{'s' if sum(map(len, sizes.values())) > 1 else ''} {told}."


def _verdicts(assessed: Sequence[Assessed]) -> list[Verdict]:
    return [one.finding.verdict for one in assessed if one.calculator == WINDOW]


def _is_in_range(assessed: Sequence[Assessed]) -> bool:
    found = _verdicts(assessed)
    return bool(found) and all(verdict is Verdict.PASS for verdict in found)


def cover(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """Full speed in a sentence, and whether the engines are where their maker wants them."""
    full = _full_speed(view, assessed)
    if full is None:
        return
    many = len(view.vessel.engines)
    engines = {1: "the engine", 2: "both engines"}.get(many, f"all {many} engines")
    found = _verdicts(assessed)
    said = f", with {engines} inside the maker's range" if _is_in_range(assessed) else ""
    if Verdict.FAIL in found:
        outside = "the engine" if many == 1 else "not every engine"
        said = f"; {outside} is {'outside' if many == 1 else 'inside'} the maker's range"
    yield f"Full speed is {full[0]}{said}."


SECTIONS = (
    ReportSection(key="prop_check.helm", title=HELM, order=220, part=YOUR_BOAT, build=lambda v, a: [*helm(v, a)]),
    ReportSection(key="prop_check.cover", title="Cover", order=20, part=COVER, build=lambda v, a: [*cover(v, a)]),
)
