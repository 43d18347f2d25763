"""What is aboard in the runs: as each run says itself, or else the conditions of the day."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import attrs

from garboard.findings import rounded
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.records import Forecast
from garboard.units import Amount
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE

PERSON = 165.0
"""Weight of one person [lb]: the 75 kg that ISO 14946 counts with; from memory."""

GALLON = 6.1
"""Weight of a gallon of gasoline [lb]: Fuel property comparison, US Department of Energy; 6.0 to 6.5."""


@frozen(kw_only=True)
class Aboard:
    """People, level of the fuel [%] and gear [lb], in the mean of some runs; None where not known of every one."""

    persons: float | None = None
    fuel_level: float | None = None
    gear: float | None = None


def aboard(view: JobView) -> Aboard:
    """What was aboard in the full-throttle runs of a view."""
    rows = view.rows(FULL_THROTTLE) or ("",)
    return Aboard(
        persons=_mean([persons_in(view, row) for row in rows]),
        fuel_level=_mean([fuel_level_in(view, row) for row in rows]),
        gear=_mean([view.amount(FULL_THROTTLE, "gear", "lb", row=row) if row else None for row in rows]),
    )


def aboard_on_the_day(view: JobView) -> Aboard:
    """What the conditions say: the boat's weight as run is told with that."""
    return Aboard(persons=persons_in(view, ""), fuel_level=fuel_level_in(view, ""))


def aboard_when_foreseen(forecast: Forecast) -> Aboard:
    """The load a forecast was made for."""
    return Aboard(
        persons=forecast.persons,
        fuel_level=forecast.fuel_level.to("%") if forecast.fuel_level else None,
        gear=forecast.gear.to("lb") if forecast.gear else None,
    )


def with_load(forecast: Forecast, load: Aboard) -> Forecast:
    """A forecast with the load it is made for."""
    return attrs.evolve(
        forecast,
        persons=None if load.persons is None else int(rounded(load.persons)),
        fuel_level=None if load.fuel_level is None else Amount(rounded(load.fuel_level), "%"),
        gear=None if load.gear is None else Amount(rounded(load.gear), "lb"),
    )


def persons_in(view: JobView, row: str) -> int | None:
    """People aboard in a run; with "" for its row on the day."""
    step, field, of_row, _ = place_of_load(view, "persons", row)
    own = view.value(step, field, row=of_row)
    return own if isinstance(own, int) and not isinstance(own, bool) else None


def fuel_level_in(view: JobView, row: str) -> float | None:
    """Level of the fuel in a run [%]; with "" for its row on the day."""
    step, field, of_row, _ = place_of_load(view, "fuel_level", row)
    return view.amount(step, field, "%", row=of_row)


def place_of_load(view: JobView, field: str, row: str) -> FieldKey:
    """Where the load of a run stands: in its row where that says it, else in the conditions."""
    own = bool(row) and view.value(FULL_THROTTLE, field, row=row) is not None
    return (FULL_THROTTLE, field, row, "") if own else (CONDITIONS, field, "", "")


def heavier_by(view: JobView, one: Aboard, other: Aboard) -> float:
    """By how much one load weighs more than another [lb], of what is known of both; 0 where nothing is."""
    pounds: Sequence[tuple[float | None, float | None, Callable[[float], float | None]]] = (
        (one.persons, other.persons, lambda persons: PERSON * persons),
        (one.fuel_level, other.fuel_level, lambda level: fuel_weight(view, level)),
        (one.gear, other.gear, lambda gear: gear),
    )
    known = ((weigh(mine), weigh(theirs)) for mine, theirs, weigh in pounds if mine is not None and theirs is not None)
    return sum(mine - theirs for mine, theirs in known if mine is not None and theirs is not None)


def is_comparable(one: Aboard, other: Aboard) -> bool:
    """Whether anything is known of both."""
    pairs = zip(attrs.astuple(one), attrs.astuple(other), strict=True)
    return any(mine is not None and theirs is not None for mine, theirs in pairs)


def weight_as_run(view: JobView) -> float:
    """Weight of the boat in the runs of a view [lb]: as entered, and what they had aboard beside that of the day.

    0 where nobody entered it, or the two cannot be.
    """
    whole = view.vessel.displacement_as_run.to("lb") if view.vessel.displacement_as_run else 0.0
    if not whole > 0:
        return 0.0
    weight = whole + heavier_by(view, aboard(view), aboard_on_the_day(view))
    return weight if 0.5 * whole <= weight <= 2 * whole else whole


def fuel_weight(view: JobView, level: float | None) -> float | None:
    """Weight of the fuel in the tanks at a level [%], in pounds; None where it cannot be told."""
    capacities = [tank.capacity.to("gal") for tank in view.vessel.tanks if tank.capacity]
    if level is None or not capacities or len(capacities) < len(view.vessel.tanks):
        return None
    return GALLON * level / 100 * sum(capacities)


def _mean(values: Sequence[float | None]) -> float | None:
    known = [one for one in values if one is not None]
    return math.fsum(known) / len(known) if known and len(known) == len(values) else None
