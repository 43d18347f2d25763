"""Running in: below the hours its maker asks for, no engine is held at full throttle, and no propeller is judged."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import wraps

from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Verdict,
    in_full,
    not_enough_data,
    rounded,
)
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Engine
from garboard_prop_check.settings import basis_of
from garboard_prop_check.words import about

MANUAL = Basis(BasisKind.MANUAL, "engine maker's running-in rules", "they come before anything said here")
HOURS = "engines.hours"


@frozen
class RunningIn:
    """An engine that its maker does not let run at full throttle yet.

    hours, asked : it has run, and has to [h]
    up_to        : what it may be run at until then [rev/min]
    """

    engine: Engine
    hours: float
    asked: float
    up_to: float


def running_in(view: JobView) -> tuple[RunningIn, ...]:
    """The engines that are still running in; none where the shop's setting asks for no hours, or they are not known."""
    asked = view.setting_value("prop_check.break_in", "h")
    found = ((engine, engine.hours.to("h")) for engine in view.vessel.engines if engine.hours and asked > 0)
    return tuple(RunningIn(one, hours, asked, _up_to(view, one)) for one, hours in found if hours < asked)


def _of_unknown_hours(view: JobView) -> tuple[Engine, ...]:
    """The engines nobody entered hours of, where the shop's setting asks for some."""
    asked = view.setting_value("prop_check.break_in", "h")
    return tuple(one for one in view.vessel.engines if one.hours is None) if asked > 0 else ()


def _up_to(view: JobView, engine: Engine) -> float:
    """By the low end of its window; without one by what counts as full throttle."""
    low = engine.full_throttle_low
    full = low.to("rev/min") if low else view.setting_value("prop_check.full_throttle_from", "rev/min")
    return full * view.setting_value("prop_check.break_in_share", "%") / 100


def hours_before_full_throttle(view: JobView) -> Iterator[Finding]:
    """What may be run of each engine that is still running in; nothing of one that is not."""
    asked = view.setting_value("prop_check.break_in", "h")
    for engine in _of_unknown_hours(view):
        text = (
            f"hours of the {about(engine)} are not entered, and {in_full(asked)} h are asked for before full throttle"
        )
        lacking = Missing(text, lack=Lack.NOT_ENTERED, field=HOURS, of=engine.position)
        yield not_enough_data(about(engine), (lacking,), (MANUAL, basis_of("break_in")))
    for one in running_in(view):
        yield Finding(
            code="prop_check.break_in.running_in",
            verdict=Verdict.ADVISE,
            about=about(one.engine),
            of=one.engine.position,
            sentence=(
                f"Do not run full throttle yet: {in_full(one.hours)} h run, {in_full(one.asked)} h asked for. "
                f"Until then run up to "
                f"{rounded(one.up_to)} rev/min, change engine speed often, and do all steps but this one. The maker's "
                "manual comes first."
            ),
            basis=(MANUAL, basis_of("break_in"), basis_of("break_in_share")),
            numbers=(Number("hours run", one.hours, "h"), Number("hours asked for", one.asked, "h")),
            limits=(Limit("hours run", low=one.asked),),
        )


def held_back(compute: Callable[[JobView], Iterable[Finding]]) -> Callable[[JobView], Iterable[Finding]]:
    """The same calculator, which says nothing while an engine is or may be running in: it turns faster later."""

    @wraps(compute)
    def judged(view: JobView) -> Iterable[Finding]:
        lacking = [
            Missing(
                f"the {about(one.engine)} is running in, {in_full(one.hours)} of {in_full(one.asked)} h; judge its "
                f"propeller then",
                lack=Lack.UNSUITABLE,
                field=HOURS,
                of=one.engine.position,
            )
            for one in running_in(view)
        ]
        lacking += [
            Missing(
                f"hours of the {about(engine)} are not entered, so it may be running in; enter them, then judge its "
                "propeller",
                lack=Lack.NOT_ENTERED,
                field=HOURS,
                of=engine.position,
            )
            for engine in _of_unknown_hours(view)
        ]
        if lacking:
            raise NotEnoughData(*lacking)
        return compute(view)

    return judged
