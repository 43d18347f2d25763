"""What propellers that are no longer fitted turned on the boat: each teaches the forecast what the next one will do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

from garboard.findings import NotEnoughData
from garboard.fittings import Fitting, fitted_now, fittings_of, of_fitting
from garboard.job_view import JobView
from garboard.records import Engine, Propeller
from garboard.uncertainty import MeasuredValue
from garboard_prop_check.aboard import Aboard, aboard, aboard_on_the_day, heavier_by
from garboard_prop_check.averages import average_speed
from garboard_prop_check.candidates import likened
from garboard_prop_check.fitted import fitted_of
from garboard_prop_check.forecast import Before, tried_of
from garboard_prop_check.power_balance import LEAST_SLIP, MOST_SLIP, Tried
from garboard_prop_check.runs import Run, runs_of
from garboard_prop_check.slip_findings import Slip, slips_of
from garboard_prop_check.steps import FULL_THROTTLE
from garboard_prop_check.tried import RUN_WITH, check_sound
from garboard_prop_check.window import WindowPosition
from garboard_prop_check.words import pitch_tolerance, stamped_pitch

SAME_LOAD = 0.05
"""Weights within so much of each other are one load [-]."""


def tried_before(whole: JobView) -> Before:
    """Of each engine the propellers it ran and does not have now, in the order they were tried.

    whole : the job with the runs of all propellers

    Left out: what the rev limiter may have held, a propeller that did not bite, was damaged or is not as stamped, an
    engine mounted at another height. None of these is put back on either.
    """
    now, found = fitted_now(whole.vessel), dict[str, list[Tried]]()
    suited = list[tuple[Fitting, Mapping[str, MeasuredValue]]]()
    run, known = fittings_of(whole, RUN_WITH), dict[str, list[tuple[Propeller, float]]]()
    others = [fitting for fitting in run if fitting != now]
    if others:
        at_present = of_fitting(whole, now, RUN_WITH)
        for fitting in others:
            before = of_fitting(whole, fitting, RUN_WITH)
            weight = weight_against(before, at_present)
            pairs = list(zip(before.vessel.engines, at_present.vessel.engines, strict=True))
            as_now = all(_heights(before, engine) == _heights(at_present, engine) for engine, _ in pairs)
            shown = [_tried(before, engine, present.propeller or Propeller()) for engine, present in pairs]
            if as_now and all(shown) and abs(weight - 1) <= SAME_LOAD and (turned := _inside(before)):
                suited.insert(0, (fitting, turned))
            for (engine, _), one in zip(pairs, shown, strict=True):
                if one is not None and _heights(before, engine) == _heights(at_present, engine):
                    found.setdefault(engine.position, []).append(attrs.evolve(one, weight=weight))
                    known.setdefault(engine.position, []).append((engine.propeller or Propeller(), one.engine_speed))
    return Before(frozenset(name for fitting in run for name in fitting), found, known, tuple(suited))


def slips_known(view: JobView, runs: Sequence[Run]) -> Sequence[Slip]:
    """The slips that are known; none where the speed is not."""
    try:
        return view.once(slips_of, runs, view.once(average_speed, runs))
    except NotEnoughData:
        return ()


def _inside(view: JobView) -> Mapping[str, MeasuredValue]:
    """What the engines of a fitting turned, where every one of them was inside its window; else nothing."""
    try:
        runs = view.once(runs_of)
        fitted = [fitted_of(view, engine, runs) for engine in view.vessel.engines]
    except NotEnoughData:
        return {}
    inside = all(one.position is WindowPosition.IN for one in fitted)
    return {one.engine.position: one.engine_speed.measured for one in fitted} if inside else {}


def tells_of_its_propeller(view: JobView, engine: Engine) -> bool:
    """Whether the runs of a view show what its propeller does: sound, biting, off the limiter."""
    return _tried(view, engine, engine.propeller or Propeller()) is not None


def _tried(view: JobView, engine: Engine, present: Propeller) -> Tried | None:
    """As if it were like the one now fitted: a cup counts as pitch, another series as doubt."""
    try:
        check_sound(view, engine)
        stamped_pitch(view, engine)
        runs = view.once(runs_of)
        one = fitted_of(view, engine, runs)
    except NotEnoughData:
        return None
    slip = next((each for each in slips_known(view, runs) if each.engine.position == engine.position), None)
    bites = slip is None or LEAST_SLIP <= slip.measured.value / 100 <= MOST_SLIP
    if not bites or one.held_by_limiter(view.setting_value("prop_check.limiter_margin", "rev/min")):
        return None
    pitch, doubt = likened(one.pitch, engine.propeller or Propeller(), present)
    tolerance = pitch_tolerance(view, engine)
    return attrs.evolve(tried_of(one, slip), pitch=pitch, tolerance=tolerance, other_series=doubt)


def _heights(view: JobView, engine: Engine) -> set[str]:
    rows = view.rows(FULL_THROTTLE, "mounting_height")
    told = (view.value(FULL_THROTTLE, "mounting_height", row=row, of=engine.position) for row in rows)
    return {one for one in told if isinstance(one, str)}


def weight_against(view: JobView, other: JobView) -> float:
    """Weight of the boat in the runs of one view over that in those of another, as far as it is known [-]."""
    return times_as_heavy(view, aboard(view), aboard(other))


def times_as_heavy(view: JobView, one: Aboard, other: Aboard) -> float:
    """Weight of a boat with one load over that with another [-]; 1 where it is not known, or cannot be."""
    whole = view.vessel.displacement_as_run.to("lb") if view.vessel.displacement_as_run else 0.0
    if not whole > 0:
        return 1.0
    of_other = whole + heavier_by(view, other, aboard_on_the_day(view))
    times = 1 + heavier_by(view, one, other) / of_other if of_other > 0 else 1.0
    return times if 0.5 <= times <= 2.0 else 1.0
