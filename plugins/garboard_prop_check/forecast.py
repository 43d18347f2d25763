"""What an engine would turn with another propeller: by the balance of power, beyond its reach by the trade's rule."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import attrs

from garboard.findings import rounded
from garboard.fittings import Fitting
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Propeller
from garboard.uncertainty import MeasuredValue, Part
from garboard_prop_check.aboard import weight_as_run
from garboard_prop_check.candidates import Option
from garboard_prop_check.fitted import Fitted
from garboard_prop_check.pitch import parts_of_forecast
from garboard_prop_check.power_balance import LEAST_SLIP, MOST_SLIP, Foreseen, Model, Tried, fit
from garboard_prop_check.slip_findings import Slip
from garboard_prop_check.steps import CONDITIONS
from garboard_prop_check.words import pitch_tolerance

NO_LIMITER_ENTERED = 300.0
"""How far above its window a limiter cuts in where nobody entered it [rev/min]; common practice, no source."""

SMALLEST_DIAMETER, LARGEST_DIAMETER = 5.0, 30.0
"""Outside these no outboard's propeller lies, and a forecast rests on a diameter that was misread [in]; common
practice, no source."""


MOST_LADEN = 2.5
"""Fully laden a boat weighs at most so many times what it weighs as run; above, one of the two is wrong [-]."""

SUREST = 99
"""No chance is told as higher, nor as lower than what is left of 100: the balance was not measured on boats."""


def in_100(chance: float) -> int:
    """A chance as it is told.

    >>> in_100(0.914), in_100(0.9999), in_100(0.0001)
    (91, 99, 1)
    """
    return min(max(int(rounded(100 * chance)), 100 - SUREST), SUREST)


@frozen(kw_only=True)
class Expected:
    """What to expect of one engine with another propeller.

    change       : of its stamped pitch, above 0 means more [in]
    speed        : of the boat, None where nothing tells it
    chance       : that the engine lands in its window [-]
    laden        : engine speed with the boat fully laden, None where nobody knows what it weighs then
    laden_chance : that the engine lands in its window then [-]
    """

    option: Option
    change: float
    engine_speed: MeasuredValue
    speed: MeasuredValue | None = None
    chance: float
    laden: MeasuredValue | None = None
    laden_chance: float = 1.0

    @property
    def worst_chance(self) -> float:
        """The smaller of the two chances [-]."""
        return min(self.chance, self.laden_chance)


@frozen
class Before:
    """What was run before the propellers now fitted.

    names  : of the propellers of all runs, those now fitted too
    known  : by engine, each of those before that showed what it does, with what it turned [rev/min]
    tried  : by engine, what each of those before turned
    suited : names of propellers, by engine, with which each was inside its window at the load of now, the last first;
             with what each turned
    """

    names: frozenset[str] = frozenset()
    tried: Mapping[str, Sequence[Tried]] = attrs.field(factory=dict)
    known: Mapping[str, Sequence[tuple[Propeller, float]]] = attrs.field(factory=dict)
    suited: tuple[tuple[Fitting, Mapping[str, MeasuredValue]], ...] = ()


@frozen
class Forecasts:
    """Each engine, and what its balance of power has learned of the runs; none where those tell it nothing.

    runs  : by engine, of each propeller tried, the one now fitted first
    known : as in `Before`
    laden : weight of the boat fully laden over that of the runs, None where nobody knows it [-]
    """

    view: JobView
    fitted: Sequence[Fitted]
    models: Mapping[str, Model]
    runs: Mapping[str, Sequence[Tried]]
    laden: float | None = None
    known: Mapping[str, Sequence[tuple[Propeller, float]]] = attrs.field(factory=dict)

    def of(self, one: Fitted, option: Option) -> Expected | None:
        """What to expect of one engine; None of a propeller at hand that lies beyond what can be foreseen.

        The change must leave some pitch.
        """
        foreseen = self._foreseen(one, option)
        if foreseen is not None:
            return self._by_balance(one, option, foreseen)
        return None if option.is_at_hand else self._by_rule(one, option)

    def _foreseen(self, one: Fitted, option: Option, weight: float = 1.0) -> Foreseen | None:
        model = self.models.get(one.engine.position)
        return model.foresee(option.candidate(one, weight)) if model else None

    def after(self, option: Option) -> list[Expected]:
        """What to expect of every engine; nothing where that of one cannot be told."""
        found = [self.of(one, option) for one in self.fitted]
        known = [one for one in found if one is not None]
        return known if len(known) == len(found) else []

    def laden_as_fitted(self, one: Fitted) -> MeasuredValue | None:
        """Engine speed with the propeller it has and the boat fully laden; None where nobody knows what it weighs."""
        foreseen = self._foreseen(one, Option(change=0), self.laden) if self.laden else None
        return _measured(foreseen) if foreseen else None

    def with_measured_pitches(self, one: Fitted, option: Option, tolerance: float) -> float | None:
        """Half width of the engine speed [rev/min] if the pitches of both propellers were measured.

        tolerance : a bound, as a share [-]
        """
        model = self.models.get(one.engine.position)
        if model is None:
            return None
        runs = [attrs.evolve(run, tolerance=tolerance) for run in self.runs[one.engine.position]]
        found = fit(runs, model.rated_speed, tolerance).foresee(option.candidate(one))
        return found.expanded_uncertainty if found else None

    def _by_balance(self, one: Fitted, option: Option, foreseen: Foreseen) -> Expected:
        speed = None
        if foreseen.speed is not None:
            speed = MeasuredValue(foreseen.speed, "kn", foreseen.speed_standard_uncertainty)
        found = Expected(
            option=option,
            change=option.change_of(one),
            engine_speed=_measured(foreseen),
            speed=speed,
            chance=foreseen.chance(one.low, one.high),
        )
        laden = self._foreseen(one, option, self.laden) if self.laden else None
        if laden is None:
            return found
        return attrs.evolve(found, laden=_measured(laden), laden_chance=laden.chance(one.low, one.high))

    def _by_rule(self, one: Fitted, option: Option) -> Expected:
        """The rule goes on from where the balance ends: begun from the run, less pitch would turn slower there.

        An inch is worth no less there than up to there: of a small propeller it is worth much more than of a large one.
        """
        change = option.change_of(one)
        way = 1 if change > 0 else -1
        nearer = (Option(change=to) for to in range(option.change - way, 0, -way))
        last = next((each for each in nearer if each.change_of(one) and self._foreseen(one, each)), None)
        reached, reach = (self._foreseen(one, last), last.change_of(one)) if last else (None, 0.0)
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
        return Expected(option=option, change=change, engine_speed=measured, chance=_chance(measured, one))

    def _setting(self, name: str) -> float:
        return self.view.setting_value(f"prop_check.{name}", "rev/min")


def forecasts_of(view: JobView, fitted: Sequence[Fitted], slips: Sequence[Slip], before: Before) -> Forecasts:
    """A forecast for every engine; the boat's speed too where its slip can be true.

    Where a slip is known and is that of no propeller that bites, the trade's rule alone foresees.
    """
    slip_of = {one.engine.position: one for one in slips}
    tolerance = view.setting_value("prop_check.pitch_tolerance", "%") / 100
    models, runs = {}, {}
    for one in fitted:
        of = one.engine.position
        slip = slip_of.get(of)
        now = attrs.evolve(tried_of(one, slip), tolerance=pitch_tolerance(view, one.engine))
        runs[of] = (now, *before.tried.get(of, ()))
        if slip is None or LEAST_SLIP <= slip.measured.value / 100 <= MOST_SLIP:
            models[of] = fit(runs[of], rated_speed_of(one), tolerance)
    return Forecasts(view, fitted, models, runs, _laden(view), before.known)


def _laden(view: JobView) -> float | None:
    """Weight of the boat fully laden over that as run [-].

    None where one is not known, where one must be wrong, and where it was run with its full load: that is told as run.
    """
    if view.value(CONDITIONS, "load") == "full":
        return None
    run, full = weight_as_run(view), view.vessel.displacement_full_load
    if full is None or not run > 0:
        return None
    times = full.to("lb") / run
    return times if 1 < times <= MOST_LADEN else None


BESIDE_WINDOW = 0.2
"""A rated speed lies in the full-throttle window or beside its ends by no more, as a share [-]; common practice, no
source."""


def rated_speed_of(one: Fitted) -> float:
    """Engine speed at which it gives its rated power, or the middle of its window where nothing that fits is entered
    [rev/min]: the balance of power is tried near the rated speed alone."""
    return _rated_speed_that_fits(one) or (one.low + one.high) / 2


def rated_speed_lacks(one: Fitted) -> str:
    """Why the middle of the window stands for the rated speed, in words; "" where it does not."""
    if _rated_speed_that_fits(one):
        return ""
    known = one.engine.rated_speed
    return f"The rated speed {known} does not fit the window" if known else "The rated speed is not entered"


def _rated_speed_that_fits(one: Fitted) -> float | None:
    known = one.engine.rated_speed.to("rev/min") if one.engine.rated_speed else 0.0
    return known if (1 - BESIDE_WINDOW) * one.low <= known <= (1 + BESIDE_WINDOW) * one.high else None


def limiter_of(one: Fitted) -> float:
    """Engine speed at which its limiter cuts in, as entered or as usual [rev/min]."""
    known = one.engine.limiter_speed
    return known.to("rev/min") if known else one.high + NO_LIMITER_ENTERED


def tried_of(one: Fitted, slip: Slip | None) -> Tried:
    """A propeller as it was run."""
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


def _measured(foreseen: Foreseen) -> MeasuredValue:
    return MeasuredValue(foreseen.engine_speed, "rev/min", foreseen.standard_uncertainty)


def _chance(expected: MeasuredValue, one: Fitted) -> float:
    def below(engine_speed: float) -> float:
        return (1 + math.erf((engine_speed - expected.value) / expected.standard_uncertainty / math.sqrt(2))) / 2

    return below(one.high) - below(one.low)
