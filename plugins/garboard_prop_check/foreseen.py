"""What was foreseen of a propeller before it was run, held against what it then turned. It can be wrong in public."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import attrs

from garboard.findings import Basis, BasisKind, Finding, Limit, NotEnoughData, Number, Verdict, with_uncertainty
from garboard.fittings import Fitting, fittings_of, of_fitting, propeller_named
from garboard.job_view import JobView
from garboard.records import Engine, ExpectedOf, Forecast
from garboard_prop_check.averages import average_engine_speed
from garboard_prop_check.earlier import tells_of_its_propeller, weight_against
from garboard_prop_check.runs import runs_of
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


@attrs.frozen
class Scored:
    """A forecast of one engine with what the first runs with its propeller turned."""

    forecast: Forecast
    engine: Engine
    low: float
    high: float
    turned: float
    doubt: float

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
    if abs(weight_against(of_it, view) - 1) > OTHER_LOAD:
        return
    expected = {one.of: one for one in forecast.expected}
    for engine in of_it.vessel.engines:
        if not tells_of_its_propeller(of_it, engine):
            continue
        ends = _ends(expected.get(engine.position))
        try:
            turned = of_it.once(average_engine_speed, of_it.once(runs_of), engine.position)
        except NotEnoughData:
            continue
        if ends:
            yield Scored(forecast, engine, *ends, turned.value, turned.expanded_uncertainty)


def _ends(expected: ExpectedOf | None) -> tuple[float, float] | None:
    if expected is None or expected.low is None or expected.high is None:
        return None
    low, high = expected.low.to("rev/min"), expected.high.to("rev/min")
    return (low, high) if 0 < low < high else None


def _is_of(view: JobView, fitting: Fitting, forecast: Forecast) -> bool:
    """Whether every engine of a fitting has a propeller by name that is the one foreseen, by name or by its sizes."""
    return all(fitting) and all(
        name == forecast.propeller or _is_alike(view, engine, name, forecast)
        for engine, name in zip(view.vessel.engines, fitting, strict=True)
    )


def _is_alike(view: JobView, engine: Engine, name: str, forecast: Forecast) -> bool:
    propeller = propeller_named(view.vessel, engine, name)
    if propeller is None or propeller.pitch is None or forecast.pitch is None:
        return False
    sizes = [(propeller.pitch, forecast.pitch)]
    if propeller.diameter and forecast.diameter:
        sizes.append((propeller.diameter, forecast.diameter))
    return all(abs(one.to("in") - other.to("in")) <= SAME_SIZE for one, other in sizes)


def forecasts_scored(view: JobView) -> Iterable[Finding]:
    """A finding for every forecast that was put to the test."""
    return tuple(_finding(one) for one in scored(view))


def _finding(one: Scored) -> Finding:
    middle, within = (one.low + one.high) / 2, (one.high - one.low) / 2
    told = f"{with_uncertainty(middle, within, 0)} rev/min for {one.forecast.propeller}"
    turned = f"{one.turned:.0f} rev/min"
    name = f"engine speed as run, {one.engine.position}"
    if one.held:
        verdict, code, sentence = Verdict.PASS, HELD, f"The forecast held: {told}, and it turned {turned}."
    else:
        verdict, code = Verdict.ADVISE, MISSED
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
