"""What was foreseen of a propeller before it was run, held against what it then turned. It can be wrong in public."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Limit,
    NotEnoughData,
    Number,
    Verdict,
    rounded,
    with_uncertainty,
)
from garboard.fittings import Fitting, fittings_of, of_fitting, propeller_named
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Engine, ExpectedOf, Forecast, Propeller
from garboard.units import Amount
from garboard_prop_check.aboard import aboard, aboard_when_foreseen, is_comparable
from garboard_prop_check.averages import average_engine_speed
from garboard_prop_check.earlier import tells_of_its_propeller, times_as_heavy, weight_against
from garboard_prop_check.runs import runs_of
from garboard_prop_check.slip_findings import CUP_ACTS_AS
from garboard_prop_check.tried import RUN_WITH

OTHER_LOAD = 0.05
"""Run with a load that differs by so much of the boat's weight, a forecast is not scored [-]."""

SAME_SIZE = 0.05
"""Sizes of propellers within so much are the same [in]."""

AS_FORESEEN = Basis(
    BasisKind.METHOD,
    "a forecast holds where the next runs with its propeller come out inside its 95 % interval",
    "19 of 20 are to hold",
)

HELD, MISSED = "prop_check.forecast.held", "prop_check.forecast.missed"
ALSO_HELD, ALSO_MISSED = "prop_check.forecast.also_held", "prop_check.forecast.also_missed"
"""Of a further engine of the same propellers: one change of propellers is one forecast, and the first engine that tells
of it counts. Which that is stands before the runs, so 19 of 20 are to hold; the worse of two would hold less often."""
WAITING, NO_TEST = "prop_check.forecast.waiting", "prop_check.forecast.no_test"


@frozen
class Scored:
    """A forecast of one engine with what the first runs with its propeller turned."""

    forecast: Forecast
    engine: Engine
    low: float
    high: float
    turned: float
    doubt: float
    counts: bool

    @property
    def held(self) -> bool:
        """Whether it came out inside."""
        return self.low <= self.turned <= self.high


def scored(view: JobView) -> Iterator[Scored]:
    """Every forecast of a job whose propeller was run since, engine by engine; of one propeller the first counts.

    view : with the runs of all propellers
    """
    seen = set[Fitting]()
    for forecast in view.forecasts:
        fitting = next((one for one in fittings_of(view, RUN_WITH) if _is_of(view, one, forecast)), None)
        if fitting is None or fitting in seen:
            continue
        seen.add(fitting)
        yield from _scored(of_fitting(view, fitting, RUN_WITH), view, forecast)


def _scored(of_it: JobView, view: JobView, forecast: Forecast) -> Iterator[Scored]:
    if _is_other_load(of_it, view, forecast):
        return
    expected, counts = {one.of: one for one in forecast.expected}, True
    for engine in of_it.vessel.engines:
        if not tells_of_its_propeller(of_it, engine):
            continue
        ends = _ends(expected.get(engine.position))
        try:
            turned = of_it.once(average_engine_speed, of_it.once(runs_of), engine.position)
        except NotEnoughData:
            continue
        if ends:
            yield Scored(forecast, engine, *ends, turned.value, turned.expanded_uncertainty, counts)
            counts = False


def _is_other_load(of_it: JobView, view: JobView, forecast: Forecast) -> bool:
    """Whether the runs with its propeller carried another load than it was made for.

    One that keeps no load is held against what all runs had aboard.
    """
    load, kept = aboard(of_it), aboard_when_foreseen(forecast)
    times = times_as_heavy(of_it, load, kept) if is_comparable(load, kept) else weight_against(of_it, view)
    return abs(times - 1) > OTHER_LOAD


def _ends(expected: ExpectedOf | None) -> tuple[float, float] | None:
    if expected is None or expected.low is None or expected.high is None:
        return None
    low, high = expected.low.to("rev/min"), expected.high.to("rev/min")
    return (low, high) if 0 < low < high else None


def _is_of(view: JobView, fitting: Fitting, forecast: Forecast) -> bool:
    """Whether every engine of a fitting has a propeller by name that is the one foreseen."""
    return all(fitting) and all(
        _is_alike(propeller_named(view.vessel, engine, name), name, forecast)
        for engine, name in zip(view.vessel.engines, fitting, strict=True)
    )


def _is_alike(propeller: Propeller | None, name: str, forecast: Forecast) -> bool:
    """By its name or its pitch, and nothing that is known of both may differ: a name does not make it another size."""
    known = propeller or Propeller()
    pitches = [pitch for pitch in (known.pitch, known.pitch_measured) if pitch]
    has_its_pitch = forecast.pitch and any(_is_within(one, forecast.pitch, SAME_SIZE) for one in pitches)
    if forecast.pitch and pitches and not has_its_pitch:
        return False
    within = max(SAME_SIZE, forecast.diameter_within.to("in") if forecast.diameter_within else 0.0)
    if known.diameter and forecast.diameter and not _is_within(known.diameter, forecast.diameter, within):
        return False
    if known.blades and forecast.blades and known.blades != forecast.blades:
        return False
    if forecast.cup and CUP_ACTS_AS.get(known.cup, 0.0) != CUP_ACTS_AS.get(forecast.cup, 0.0):
        return False
    return bool(has_its_pitch) or name == forecast.propeller


def _is_within(one: Amount, other: Amount, size: float) -> bool:
    return abs(one.to("in") - other.to("in")) <= size


def forecasts_scored(view: JobView) -> Iterable[Finding]:
    """A finding for every forecast: put to the test, run so that it is no test, or not run yet."""
    tested = tuple(scored(view))
    return (*(_finding(one) for one in tested), *_open(view, [one.forecast for one in tested]))


def _open(view: JobView, tested: Sequence[Forecast]) -> Iterator[Finding]:
    """Of each propeller that was foreseen and not put to the test, what was foreseen last."""
    run = fittings_of(view, RUN_WITH)
    proved = {fitting for fitting in run for one in tested if _is_of(view, fitting, one)}
    last = dict[str, tuple[Forecast, Fitting | None]]()
    for one in view.forecasts:
        fitting = next((each for each in run if _is_of(view, each, one)), None)
        if fitting is None or fitting not in proved:
            last[one.propeller] = one, fitting
    for one, fitting in last.values():
        yield _not_tested(view, one, fitting)


def _not_tested(view: JobView, one: Forecast, fitting: Fitting | None) -> Finding:
    told = _told(one)
    if fitting is None:
        code, what = WAITING, "Not run yet."
    elif _is_other_load(of_fitting(view, fitting, RUN_WITH), view, one):
        code, what = NO_TEST, "It was run with another load: that is no test of it. Run it with the load of before."
    else:
        code, what = NO_TEST, "Its runs do not show what it does: they are no test of it."
    return Finding(
        code=code,
        verdict=Verdict.PASS,
        about=f"forecast of {one.propeller}",
        sentence=f"Foreseen: {told}. {what}",
        basis=(AS_FORESEEN,),
    )


def _told(one: Forecast) -> str:
    """What a forecast says of each engine, in words."""
    several, said = len(one.expected) > 1, []
    for each in one.expected:
        ends = _ends(each)
        if ends:
            low, high = ends
            chance = "" if each.chance is None else f", {each.chance} in 100 to land in the window"
            of = f" ({each.of})" if several else ""
            said.append(f"{with_uncertainty((low + high) / 2, (high - low) / 2, 0)} rev/min{of}{chance}")
    return " and ".join(said) or "nothing of its engine speed"


def _finding(one: Scored) -> Finding:
    middle, within = (one.low + one.high) / 2, (one.high - one.low) / 2
    told = f"{with_uncertainty(middle, within, 0)} rev/min for {one.forecast.propeller}"
    turned = f"{rounded(one.turned, 0)} rev/min"
    name = f"engine speed as run, {one.engine.position}"
    if one.held:
        verdict, code = Verdict.PASS, HELD if one.counts else ALSO_HELD
        sentence = f"The forecast held: {told}, and it turned {turned}."
    else:
        verdict, code = Verdict.ADVISE, MISSED if one.counts else ALSO_MISSED
        sentence = (
            f"The forecast did not hold: {told}, and it turned {turned}. Read stamp and tachometer again; if both are "
            "right, the forecast was wrong, and it counts as that."
        )
    return Finding(
        code=code,
        verdict=verdict,
        about=f"forecast, {one.engine.position} engine",
        sentence=sentence,
        basis=(AS_FORESEEN,),
        numbers=(Number(name, one.turned, "rev/min", one.doubt or None, 0),),
        limits=(Limit(name, one.low, one.high),),
        of=one.engine.position,
    )
