"""What an engine would turn after a change of pitch: by the balance of power, beyond its reach by the trade's rule."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import attrs

from garboard.job_view import JobView
from garboard.uncertainty import MeasuredValue, Part
from garboard_prop_check.fitted import Fitted
from garboard_prop_check.pitch import parts_of_forecast
from garboard_prop_check.power_balance import LEAST_SLIP, MOST_SLIP, Candidate, Foreseen, Model, Tried, fit
from garboard_prop_check.slip_findings import Slip

NO_LIMITER_ENTERED = 300.0
"""How far above its window a limiter cuts in where nobody entered it [rev/min]; common practice, no source."""

SMALLEST_DIAMETER, LARGEST_DIAMETER = 5.0, 30.0
"""Outside these no outboard's propeller lies, and a forecast rests on a diameter that was misread [in]; common
practice, no source."""


@attrs.frozen(kw_only=True)
class Expected:
    """What to expect of one engine after a change of pitch.

    change : above 0 means more pitch [in]
    speed  : of the boat, None where nothing tells it
    chance : that the engine lands in its window [-]
    """

    change: int
    engine_speed: MeasuredValue
    speed: MeasuredValue | None
    chance: float


@attrs.frozen
class Forecasts:
    """Each engine, and what its balance of power has learned of the runs."""

    view: JobView
    fitted: Sequence[Fitted]
    models: Mapping[str, Model]

    def of(self, one: Fitted, change: int) -> Expected:
        """What to expect of one engine after a change of pitch that leaves some."""
        foreseen = self._foreseen(one, change)
        return self._by_rule(one, change) if foreseen is None else _by_balance(one, change, foreseen)

    def _foreseen(self, one: Fitted, change: int) -> Foreseen | None:
        return self.models[one.engine.position].foresee(Candidate(pitch=one.pitch + change))

    def after(self, change: int) -> list[Expected]:
        """What to expect of every engine."""
        return [self.of(one, change) for one in self.fitted]

    def _by_rule(self, one: Fitted, change: int) -> Expected:
        """The rule goes on from where the balance ends: begun from the run, less pitch would turn slower there.

        An inch is worth no less there than up to there: of a small propeller it is worth much more than of a large one.
        """
        way = 1 if change > 0 else -1
        reach = next((to for to in range(change - way, 0, -way) if self._foreseen(one, to)), 0)
        reached = self._foreseen(one, reach) if reach else None
        start, rule = one.engine_speed.measured, self._setting("per_inch_high")  # tried: nearer than the low end
        per_inch = rule
        if reached:
            balanced = Part("balance of power", reached.standard_uncertainty)
            per_inch = max(rule, (start.value - reached.engine_speed) / reach)
            start = MeasuredValue.of_parts(reached.engine_speed, "rev/min", [balanced])
        for_an_inch = self._setting("per_inch_deviation") * per_inch / rule
        parts = parts_of_forecast(change - reach, for_an_inch, self._setting("forecast_deviation"))
        value = start.value - (change - reach) * per_inch
        measured = MeasuredValue.of_parts(value, "rev/min", (*start.parts, *parts))
        return Expected(change=change, engine_speed=measured, speed=None, chance=_chance(measured, one))

    def _setting(self, name: str) -> float:
        return self.view.setting_value(f"prop_check.{name}", "rev/min")


def forecasts_of(view: JobView, fitted: Sequence[Fitted], slips: Sequence[Slip]) -> Forecasts:
    """A forecast for every engine; the boat's speed too where its slip can be true."""
    slip_of = {one.engine.position: one for one in slips}
    tolerance = view.setting_value("prop_check.pitch_tolerance", "%") / 100
    models = {}
    for one in fitted:
        of = one.engine.position
        models[of] = fit([_tried(one, slip_of.get(of))], rated_speed_of(one), tolerance)
    return Forecasts(view, fitted, models)


def rated_speed_of(one: Fitted) -> float:
    """Engine speed at which it gives its rated power, or where nobody entered it the middle of its window [rev/min]."""
    known = one.engine.rated_speed
    return known.to("rev/min") if known and known.to("rev/min") > 0 else (one.low + one.high) / 2


def limiter_of(one: Fitted) -> float:
    """Engine speed at which its limiter cuts in, as entered or as usual [rev/min]."""
    known = one.engine.limiter_speed
    return known.to("rev/min") if known else one.high + NO_LIMITER_ENTERED


def _tried(one: Fitted, slip: Slip | None) -> Tried:
    propeller = one.engine.propeller
    diameter = propeller.diameter.to("in") if propeller and propeller.diameter else None
    turned = one.engine_speed
    run = Tried(
        engine_speed=turned.value,
        doubt=turned.measured.standard_uncertainty,
        pitch=one.pitch,
        diameter=diameter if diameter and SMALLEST_DIAMETER <= diameter <= LARGEST_DIAMETER else None,
    )
    if slip is None or not LEAST_SLIP <= slip.measured.value / 100 <= MOST_SLIP or not slip.speed.value > 0:
        return run
    doubt = slip.speed.measured.standard_uncertainty
    return attrs.evolve(run, speed=slip.speed.value, speed_doubt=doubt, slip=slip.measured.value / 100)


def _by_balance(one: Fitted, change: int, foreseen: Foreseen) -> Expected:
    speed = None
    if foreseen.speed is not None:
        speed = MeasuredValue(foreseen.speed, "kn", foreseen.speed_standard_uncertainty)
    return Expected(
        change=change,
        engine_speed=MeasuredValue(foreseen.engine_speed, "rev/min", foreseen.standard_uncertainty),
        speed=speed,
        chance=foreseen.chance(one.low, one.high),
    )


def _chance(expected: MeasuredValue, one: Fitted) -> float:
    def below(engine_speed: float) -> float:
        return (1 + math.erf((engine_speed - expected.value) / expected.standard_uncertainty / math.sqrt(2))) / 2

    return below(one.high) - below(one.low)
