"""A refill: what it says about the flow meter, and what the fuel flow is multiplied by for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import attrs

from garboard.findings import (
    Doubt,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Verdict,
    in_full,
    rounded,
    with_uncertainty,
)
from garboard.job_view import FieldKey, InputCollector, JobView
from garboard.record_types import frozen
from garboard.uncertainty import MeasuredValue, Part
from garboard_fuel_curve import twins
from garboard_fuel_curve.entered import digit, optional
from garboard_fuel_curve.flow_meter import meter_factor
from garboard_fuel_curve.readings import readings
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION, TANKS
from garboard_fuel_curve.wording import times

FARTHEST_OFF = 1.25
"""A meter that shows this many times too much or too little is not met with: an entry is wrong, or the meter counted
over another time than the refill (common practice, no source)."""

OVERFULL = 1.05
"""Tanks, fillers and hoses hold up to this times what the tanks are stated to hold (common practice, no source)."""

METERS_DISAGREE = "fuel_curve.flow_meter.meters_disagree"
METERS_DIFFER = "fuel_curve.flow_meter.meters_differ"
"""Findings of these codes tell no factor to set."""
ENTRIES_CONTRADICT, SET_FACTOR, REFILL_TOO_SMALL, WITHIN_LIMIT = (
    "fuel_curve.flow_meter.entries_contradict",
    "fuel_curve.flow_meter.set_factor",
    "fuel_curve.flow_meter.refill_too_small",
    "fuel_curve.flow_meter.within_limit",
)


@frozen(kw_only=True)
class Refill:
    """What a refill says.

    ratio     : fuel put back over fuel metered [-]
    places    : of what it rests on
    allowed   : how far off the shop lets a meter be [-]
    refilled  : fuel put back [gal]
    held      : what the tanks hold together; infinite where that is not known [gal]
    told      : both, in the unit they were typed in
    too_small : it is smaller than the shop trusts to check a meter
    odd_meters : engines whose meters counted otherwise than their fuel flows compare, by their places among all
    """

    ratio: MeasuredValue
    places: tuple[FieldKey, ...]
    allowed: float
    refilled: float
    held: float = math.inf
    told: tuple[str, str] = ("", "")
    too_small: bool = False
    odd_meters: tuple[int, ...] = ()

    @property
    def is_off(self) -> bool:
        """Whether the meter is off by more than the shop lets pass."""
        return abs(self.ratio.value - 1) > self.allowed

    @property
    def is_surely_off(self) -> bool:
        """Whether the meter is off by more than the refill is unsure of."""
        return self.is_off and abs(self.ratio.value - 1) > self.ratio.expanded_uncertainty

    @property
    def meters_disagree(self) -> bool:
        """Whether one meter's count may be what is off, so that no factor fits all: the sum agrees with no refill."""
        return self.is_surely_off and bool(self.odd_meters)

    @property
    def contradicts(self) -> Missing | None:
        """Why refill and meter cannot both be right, if they cannot."""
        if self.refilled > OVERFULL * self.held:
            text = f"{self.told[0]} put back, more than the {self.told[1]} the tanks hold; check the entry"
            return Missing(text, lack=Lack.CONTRADICTS, step=TANKS, field="refilled")
        ratio = self.ratio.value
        sure = self.ratio.expanded_uncertainty if self.too_small else 0.0
        if not self.is_surely_off or 1 / FARTHEST_OFF - sure <= ratio <= FARTHEST_OFF + sure:
            return None
        text = (
            f"the refill is {rounded(ratio, 2)} times what the meter counted, more than any meter is off; check both "
            "entries and that the meter counted from fill to refill"
        )
        return Missing(text, lack=Lack.CONTRADICTS, step=TANKS, field="refilled")

    @property
    def relative_parts(self) -> tuple[Part, ...]:
        """What each source adds to the factor, as a share of it [-]."""
        return tuple(part.times(1 / self.ratio.value) for part in self.ratio.parts)


def correction(view: JobView) -> Refill | None:
    """The refill that fuel flows are corrected by; None where there is none, or none that knows more than the meter.

    Raises NotEnoughData where refill and meter, or their entries, contradict each other: then nobody knows by how much
    to correct.
    """
    try:
        found = view.once(refill_of)
    except NotEnoughData as lacking:
        if all(one.lack in (Lack.CONTRADICTS, Lack.DISAGREES) for one in lacking.missing):
            raise
        return None
    if found.contradicts:
        raise NotEnoughData(found.contradicts)
    accuracy = view.setting_value("fuel_curve.flow_meter_accuracy", "%") / 100
    if found.meters_disagree:
        return None
    knows_more = found.ratio.expanded_uncertainty < accuracy * found.ratio.value
    return found if knows_more or found.is_surely_off else None


def refill_of(view: JobView) -> Refill:
    """What the refill of a job says. Raises NotEnoughData where it cannot tell."""
    asking = view.asking()
    same_mark = asking.yes(TANKS, "same_mark")
    refilled = asking.amount(TANKS, "refilled", "gal")
    metered, of_meters = _metered(view, asking)
    smallest = view.setting_value("fuel_curve.smallest_refill", "gal")
    need = partial(asking.need, step=TANKS)
    need(
        same_mark or view.value(TANKS, "same_mark") is None,
        "the tank was not filled to the same mark before and after",
        lack=Lack.UNSUITABLE,
        field="same_mark",
    )
    need(
        math.isnan(refilled) or refilled > 0,
        "fuel put back must be above zero",
        lack=Lack.OUT_OF_RANGE,
        field="refilled",
    )
    least = view.told(smallest, "gal", 0)
    too_small = f"{view.told(refilled, 'gal', 1)} put back; at least {least} are needed to check a meter"
    if asking.missing:
        need(not refilled < smallest, too_small, lack=Lack.TOO_LITTLE, field="refilled")
    asking.check()
    ratio = meter_factor(refilled, metered)
    of_metered = math.hypot(*(digit(view, TANKS, field, "gal", of=of) for _, field, _, of in of_meters))
    one_filling = view.setting_value("fuel_curve.fill_repeatability", "gal")
    parts = (
        # The tank is filled to its mark twice, and misses it twice.
        Part.of_expanded("filling", math.sqrt(2) * one_filling / refilled),
        Part.bound("pump", view.setting_value("fuel_curve.pump_accuracy", "%") / 100),
        Part("refill digit", digit(view, TANKS, "refilled", "gal") / refilled),
        Part("meter digits", of_metered / metered),
    )
    capacities = [tank.capacity.to("gal") for tank in view.vessel.tanks if tank.capacity is not None]
    held = math.fsum(capacities) if capacities and len(capacities) == len(view.vessel.tanks) else math.inf
    found = Refill(
        ratio=MeasuredValue.of_parts(ratio, "", [part.times(ratio) for part in parts]),
        places=((TANKS, "same_mark", "", ""), (TANKS, "refilled", "", ""), *of_meters),
        allowed=view.setting_value("fuel_curve.meter_off_by", "%") / 100,
        refilled=refilled,
        held=held,
        told=(view.told(refilled, "gal", 0), view.told(held, "gal", 0) if math.isfinite(held) else ""),
        too_small=refilled < smallest,
        odd_meters=twins.odd_ones(view.once(otherwise_counted)),
    )
    # Too small to check a meter, a refill may still show that it and the meter cannot both be right.
    need(found.contradicts is not None or not found.too_small, too_small, lack=Lack.TOO_LITTLE, field="refilled")
    asking.check()
    return found


def _metered(view: JobView, asking: InputCollector) -> tuple[float, tuple[FieldKey, ...]]:
    """Fuel burned by the meters [gal] and where it stands: each engine's, or the total; never a partial sum."""
    total = optional(asking, TANKS, "metered_total", "gal")
    positions = [engine.position for engine in view.vessel.engines]
    parts = [optional(asking, TANKS, "metered", "gal", of=position) for position in positions]
    given = [part for part in parts if part is not None]
    not_entered, below = "fuel burned by the meter is not entered", "fuel burned by the meter must be above zero"
    of_total = partial(asking.need, step=TANKS, field="metered_total")
    of_total(total is not None or bool(given), not_entered, lack=Lack.NOT_ENTERED)
    for position, part in zip(positions, parts, strict=True):
        of_part = partial(asking.need, step=TANKS, field="metered", of=position)
        name = f"fuel burned by the meter ({position})"
        of_part(part is not None or not given, f"{name} is not entered", lack=Lack.NOT_ENTERED)
        of_part(part is None or not part <= 0, f"{name} must be above zero", lack=Lack.OUT_OF_RANGE)
    of_total(total is None or not total <= 0, below, lack=Lack.OUT_OF_RANGE)
    if total is not None and not given:
        return total, ((TANKS, "metered_total", "", ""),)
    burned = math.fsum(given)
    if total is not None:
        told = [view.told(one, "gal", 1) for one in (burned, total)]
        otherwise = f"the meters add up to {told[0]}, but their total is entered as {told[1]}; check both"
        of_total(not abs(total - burned) > 0.02 * burned, otherwise, lack=Lack.CONTRADICTS)
    return burned, tuple((TANKS, "metered", "", position) for position in positions)


def meter_totals(view: JobView) -> tuple[float, ...]:
    """Fuel burned by the meter of each engine [gal]; none where one is not entered."""
    read = [view.asking().amount(TANKS, "metered", "gal", of=engine.position) for engine in view.vessel.engines]
    return tuple(read) if all(one > 0 for one in read) else ()  # nan where one is not there


def otherwise_counted(view: JobView) -> tuple[twins.Pair, ...]:
    """Twins that burn alike in the steps, and whose meters counted unlike each other from fill to refill."""
    totals = meter_totals(view)
    if len(totals) < 2:
        return ()
    try:
        steps = view.once(readings).taken
    except NotEnoughData:  # the figures of the steps say what is missing
        return ()
    alike = [pair for pair in twins.pairs(view.vessel.engines, steps) if not pair.differs]
    return tuple(pair for pair in alike if abs(pair.otherwise_by(totals)) > math.log(twins.TOTALS_ALIKE))


def flow_meter(view: JobView) -> list[Finding]:
    """What to set the flow meter's factor to, from a refill."""
    asking = view.asking()
    present = optional(asking, TANKS, "present_factor", "")
    asking.need(
        present is None or not present <= 0,
        "the factor set in the meter must be above zero",
        lack=Lack.OUT_OF_RANGE,
        step=TANKS,
        field="present_factor",
    )
    try:
        found = view.once(refill_of)
    except NotEnoughData as lacking:
        asking.missing.extend(lacking.missing)
    asking.check()
    now = 1.0 if present is None else present
    doubts = _doubted_totals(view, found) if found.meters_disagree and not found.contradicts else ()
    code, says, short = _told_of(view, found, now, doubts)
    return [
        Finding(
            code=code,
            verdict=Verdict.ADVISE if found.is_off or found.contradicts else Verdict.PASS,
            about="flow meter",
            sentence=says,
            short=short,
            basis=(
                attrs.evolve(PRACTICE, text="Flow meters are set against a refill to the same mark"),
                PROPAGATION,
            ),
            numbers=(
                Number.of("refill over meter", found.ratio, 3),
                *(
                    []
                    if code in (METERS_DISAGREE, METERS_DIFFER)
                    else [Number.of("factor to set", times(found.ratio, now, ""), 3)]
                ),
            ),
            limits=(Limit("refill over meter", 1 - found.allowed, 1 + found.allowed),),
            # Not on the steps, which only tell whether the meters' totals fit each other.
            places=(*found.places, *([] if present is None else [(TANKS, "present_factor", "", "")])),
            doubts=doubts,
        )
    ]


def _told_of(view: JobView, found: Refill, now: float, doubts: Sequence[Doubt]) -> tuple[str, str, str]:
    """What a refill shows of the meter: its code, a sentence, and a shorter one, if any. now: the factor set in it."""
    ratio, within = found.ratio.value, found.ratio.expanded_uncertainty
    reads = f"{rounded(abs(1 / ratio - 1) * 100, 1)} % {'low' if ratio > 1 else 'high'}"
    says = f"Meter reads {reads} against the refill (factor {with_uncertainty(ratio, within, 3)}). "
    if found.contradicts:
        text = found.contradicts.text
        return ENTRIES_CONTRADICT, f"{text[:1].upper()}{text[1:]}. Until then no range or economy is given.", ""
    if found.meters_disagree:
        text = doubts[0].text
        told = (
            f"{text[:1].upper()}{text[1:]}. No factor is told or applied: check the entry, or refill again after a run "
            "of all engines."
        )
        return METERS_DISAGREE, told, ""
    if found.is_surely_off and view.once(_differ_in_the_steps):
        told = (
            f"The meters together read {reads} against the refill, and unlike each other in the steps. One factor does "
            "not fit all: refill after a run on each engine. Economy, range and mixed use are corrected for the sum."
        )
        return METERS_DIFFER, told, ""
    if found.is_surely_off:
        pulses = "pulses per gallon" if view.unit_to_tell("gal") == "gal" else "pulses per litre"
        told = (
            f"{says}Set {_whose(view)} to {rounded(now * ratio, 3)}, or multiply {pulses} by {rounded(1 / ratio, 3)}. "
            "Economy, range and mixed use are already corrected by it."
        )
        return SET_FACTOR, told, ""
    if found.is_off:
        return REFILL_TOO_SMALL, f"{says}The refill is too small to be sure; repeat after a longer run.", ""
    told = f"{says}Within {in_full(found.allowed * 100)} %"
    return WITHIN_LIMIT, f"{told}; leave it.", f"{told}."


def _differ_in_the_steps(view: JobView) -> bool:
    """Whether twins differ throughout the steps."""
    try:
        return bool(twins.differing(view.vessel.engines, view.once(readings).taken))
    except NotEnoughData:
        return False


def _whose(view: JobView) -> str:
    """Whose factor is to set."""
    *others, last = [engine.position for engine in view.vessel.engines]
    return f"the factor of the {', '.join(others)} and {last} meters" if others else "its factor"


def _doubted_totals(view: JobView, found: Refill) -> tuple[Doubt, ...]:
    """The meters' totals that do not fit the fuel flows of the steps."""
    positions = [engine.position for engine in view.vessel.engines]
    totals = [view.told(one, "gal") for one in meter_totals(view)]
    counted = ", ".join(f"{of} {one}" for of, one in zip(positions, totals, strict=True))
    odd = [positions[number] for number in found.odd_meters]
    text = (
        f"the total of the {' and '.join(odd)} meter{'s' if len(odd) > 1 else ''} does not fit the others "
        f"({counted}), while the engines burn alike in the steps"
    )
    return tuple(Doubt(text, step=TANKS, field="metered", of=of) for of in odd)
