"""Fuses and breakers: how large, and how far from the source."""

from __future__ import annotations

from garboard.findings import Verdict
from garboard.record_types import frozen

STANDARD_RATINGS: tuple[float, ...] = (
    *(1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80, 90, 100),
    *(110, 125, 150, 175, 200, 225, 250, 300, 350, 400),
)
"""Fuse and breaker ratings a chandler stocks [A]; common practice, no source."""

LOW_VOLTAGE = 50.0
"""33 CFR 183.455 allows 150 % of the ampacity below this [V]."""

BATTERY_LEAD = 72.0
"""33 CFR 183.460(a), from memory: longest lead from a battery to its fuse [in]."""

CFR_DISTANCE = "33 CFR 183.455"
CFR_BATTERY_DISTANCE = "33 CFR 183.455, 72 in for battery leads (from memory)"
E11_DISTANCE = "small-craft standard E-11 (from memory)"
ISO_DISTANCE = "ISO 10133: 200 mm"


@frozen
class DistanceLimit:
    """How far from its source a fuse or breaker may sit.

    inches      : the limit [in]
    from_memory : the limit was not read in its source
    """

    inches: float
    from_memory: bool = False


def largest_rating(ampacity: float, volts: float) -> float:
    """Largest fuse or breaker rating a conductor may have.

    ampacity : the table's ampacity, without the engine-space factor, above 0 [A]
    volts    : nominal voltage of the circuit, above 0 [V]
    returns  : largest rating: 150 % below 50 V; from 50 V the ampacity, or the next standard size within 150 % [A]

    >>> largest_rating(25.0, 12.0)
    37.5

    [1] 33 CFR 183.455(a) to (c); the text points to the amperage in Table 5.
    """
    if volts < LOW_VOLTAGE:
        return 1.5 * ampacity
    next_size = next((rating for rating in STANDARD_RATINGS if rating >= ampacity), ampacity)
    return next_size if next_size <= 1.5 * ampacity else ampacity


def suggested_rating(load: float, largest: float, margin: float) -> float | None:
    """The fuse or breaker to fit.

    load    : current of the circuit, 0 or above [A]
    largest : largest rating the conductor may have [A]
    margin  : rating wanted as a share of the load, 1.25 leaves a quarter in hand [-]
    returns : smallest standard rating of at least margin times load; else the largest that is above the load; None
              where no standard rating lies above the load and within the limit [A]

    >>> suggested_rating(10.0, 37.5, 1.25), suggested_rating(36.0, 37.5, 1.25)
    (15, None)

    [1] Common practice, no source.
    """
    fitting = [rating for rating in STANDARD_RATINGS if load < rating <= largest]
    return next((rating for rating in fitting if rating >= margin * load), fitting[-1] if fitting else None)


def distance_limit(rule: str, sheathed: bool, at_battery: bool) -> DistanceLimit:
    """Largest distance along the conductor from the source to its fuse or breaker.

    rule       : one of the distance rules of this module [-]
    sheathed   : the conductor is in a sheath or enclosure all the way to its fuse [-]
    at_battery : the source is a battery terminal [-]
    returns    : the limit [in]

    >>> distance_limit(CFR_DISTANCE, False, True).inches, distance_limit(CFR_DISTANCE, True, False).inches
    (7.0, 40.0)

    [1] 33 CFR 183.455: at the source; 7 in where that is impractical; 40 in if sheathed or enclosed throughout.
    [2] 33 CFR 183.460(a), from memory: 72 in for a lead from a battery.
    [3] Small-craft standard E-11, from memory: 7 in; sheathed 72 in from a battery, 40 in from other sources.
    [4] ISO 10133:2000, 8.1: 200 mm.
    """
    if rule == ISO_DISTANCE:
        return DistanceLimit(200 / 25.4)
    if rule == CFR_BATTERY_DISTANCE and at_battery:
        return DistanceLimit(BATTERY_LEAD, from_memory=True)
    if rule == E11_DISTANCE:
        return DistanceLimit((72.0 if at_battery else 40.0) if sheathed else 7.0, from_memory=True)
    return DistanceLimit(40.0 if sheathed else 7.0)


def distance_verdict(rule: str, distance: float, limit: DistanceLimit, at_battery: bool) -> Verdict:
    """Verdict on a distance. A limit from memory, or one that memory would widen, advises where it is passed.

    rule       : one of the distance rules of this module [-]
    distance   : along the conductor from the source to its fuse or breaker, 0 or above [in]
    limit      : the rule's limit [in]
    at_battery : the source is a battery terminal [-]
    returns    : pass, advise or fail [-]

    >>> distance_verdict(CFR_DISTANCE, 7.5, DistanceLimit(7.0), at_battery=False).value
    'fail'

    [1] As in `distance_limit`.
    """
    if distance <= limit.inches + 1e-9:
        return Verdict.PASS
    may_be_wider = rule == CFR_DISTANCE and at_battery and distance <= BATTERY_LEAD
    return Verdict.ADVISE if limit.from_memory or may_be_wider else Verdict.FAIL
