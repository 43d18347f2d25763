"""The rules of one circuit: each judges what is known of it, and names the change that would cure it."""

from __future__ import annotations

import enum
from collections.abc import Callable
from functools import partial

import attrs

from garboard.faults import GarboardError
from garboard.findings import (
    Basis,
    Doubt,
    Lack,
    Limit,
    NotEnoughData,
    Number,
    Verdict,
    in_full,
    rounded,
    rounded_beside,
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.uncertainty import MeasuredValue
from garboard_wiring_audit import bases
from garboard_wiring_audit.ampacity import ISO_BY_AREA, Allowable, allowable
from garboard_wiring_audit.bank_voltage import another_voltage, fed_by, fed_by_another_voltage, odd_source
from garboard_wiring_audit.circuit_facts import AT_THE_BATTERY, OVER_DESIGN, CircuitFacts
from garboard_wiring_audit.conductors import (
    AREA_ROUNDING,
    Conductor,
    circular_mils,
    conductor_temperature,
    gauge_within,
    larger_sizes,
    metric_size_within,
    of_area,
    of_gauge,
    resistance_per_metre,
)
from garboard_wiring_audit.overcurrent import (
    BATTERY_LEAD,
    CFR_DISTANCE,
    E11_DISTANCE,
    ISO_DISTANCE,
    LOW_VOLTAGE,
    distance_limit,
    distance_verdict,
    largest_rating,
    suggested_rating,
)
from garboard_wiring_audit.readings import (
    all_of,
    at_most,
    distance_told,
    has_been_read,
    read,
    read_yes,
    times,
    together,
)
from garboard_wiring_audit.rules import BUNDLING_ALWAYS, ISO_MINIMUM, Rules
from garboard_wiring_audit.steps import CIRCUITS
from garboard_wiring_audit.voltage_drop import (
    as_difference,
    circular_mils_needed,
    copper_drop,
    drop_at_temperature,
    drop_by_circular_mils,
)

FEET_PER_METRE = 1 / 0.3048
CRANKING = "cranking motor"
PANEL_FEED = "panel feed"
ELECTRONICS = "navigation or communication electronics"
STRICTER_FIRST = (Verdict.FAIL, Verdict.ADVISE, Verdict.NOT_ENOUGH_DATA, Verdict.PASS)


class NotCovered(GarboardError):
    """A rule does not cover a circuit; the text says why."""


class Cure(enum.Enum):
    """What puts a drop right. A circuit has one conductor to fit, so two rules that say so ask for the same."""

    ENTRY = "entry"
    CONDUCTOR = "conductor"
    JOINTS = "joints"
    FINER_METER = "finer meter"
    SOURCE = "source"


@frozen(kw_only=True)
class CircuitResult:
    """What a rule says of one circuit.

    code     : of the finding, unless the circuit passes
    cells    : the circuit's row in the rule's table, after its name and before the verdict
    basis    : beside the rule's own
    found    : what was found, before the sentence: another rule's finding takes it in when both ask for the same cure
    cure     : what the sentence asks for, where another rule may ask for the same
    doubts   : readings that it shows to contradict each other
    limits   : what its numbers are held against
    """

    code: str
    verdict: Verdict
    sentence: str
    cells: tuple[str, ...]
    numbers: tuple[Number, ...] = ()
    basis: tuple[Basis, ...] = ()
    found: tuple[str, ...] = ()
    cure: Cure | None = None
    doubts: tuple[Doubt, ...] = ()
    limits: tuple[Limit, ...] = ()

    @property
    def told(self) -> str:
        """The finding's sentence."""
        return f"Drop {', '.join(self.found)}, {self.sentence}" if self.found else self.sentence

    def with_other(self, other: CircuitResult) -> CircuitResult:
        """This with what another rule says beside it; both ask for the same cure."""
        return attrs.evolve(
            self,
            found=(*self.found, *other.found),
            numbers=(*self.numbers, *other.numbers),
            basis=(*self.basis, *other.basis),
            doubts=(*self.doubts, *other.doubts),
            limits=(*self.limits, *other.limits),
        )


@frozen(kw_only=True)
class CircuitRule:
    """A rule every circuit is held against.

    passed_code : of the finding about the circuits that pass
    passed   : what the circuits that pass do, after their number ("carry no more than their conductors allow")
    headings : of the rule's table, between circuit and verdict
    joins    : name of the rule whose finding takes this one's in where both ask for the same cure
    weighs_current : whether what the current meter is good to counts in it
    may_doubt: whether its results may show readings to contradict each other
    reads    : fields of a circuit that its result rests on
    resizes  : whether what it asks for may be a thicker conductor
    """

    name: str
    title: str
    passed_code: str
    passed: str
    headings: tuple[str, ...]
    judge: Callable[[JobView, CircuitFacts, Rules], CircuitResult]
    basis: Callable[[Rules], tuple[Basis, ...]]
    joins: str = ""
    weighs_current: bool = True
    may_doubt: bool = False
    reads: tuple[str, ...] = ("current",)
    resizes: bool = False


def _stricter(*verdicts: Verdict) -> Verdict:
    return min(verdicts, key=STRICTER_FIRST.index)


def _memory(values: tuple[str, ...]) -> tuple[Basis, ...]:
    return tuple(bases.practice(f"{value}, as commonly used") for value in values)


# Ampacity


def _needed_for_ampacity(facts: CircuitFacts, rules: Rules) -> tuple[str, ...]:
    bundling = ("bundled",) if _bundling_counts(facts, rules) else ()
    return ("conductor", "insulation", "engine_space", "volts", *bundling)


def _bundling_counts(facts: CircuitFacts, rules: Rules) -> bool:
    return facts.volts >= LOW_VOLTAGE or rules.chosen("bundling_rule") == BUNDLING_ALWAYS


def allowed(facts: CircuitFacts, rules: Rules, conductor: Conductor) -> Allowable:
    """What a conductor of this size may carry in this circuit's place. Raises NotEnoughData."""
    facts.require(*_needed_for_ampacity(facts, rules))
    return allowable(
        rules.chosen("ampacity_rule"),
        conductor,
        facts.insulation,
        rules.amount("engine_space", "degC") if facts.circuit.in_engine_space else None,
        (facts.circuit.bundled_conductors or 1) if _bundling_counts(facts, rules) else 1,
    )


def judge_ampacity(_view: JobView, facts: CircuitFacts, rules: Rules) -> CircuitResult:
    """Load against what the conductor may carry."""
    _not_for_cranking(facts)
    facts.require(*_needed_for_ampacity(facts, rules), "load")
    limit = allowed(facts, rules, facts.conductor)
    verdict = at_most(facts.load, limit.amperes)
    if verdict is Verdict.FAIL and limit.from_memory and facts.load.value <= limit.table:
        verdict = Verdict.ADVISE
    counted = [limit.size] if limit.converted else []
    counted += [f"{rounded(limit.insulation)} degC insulation"] if limit.lower_row else []
    as_row = f", counted as {' with '.join(counted)}," if counted else ""
    told = f"{_amperes(facts.load)} on {facts.conductor.label}{as_row} that may carry {rounded(limit.amperes, 1)} A."
    formula = () if limit.by_formula is None else (bases.ambient_formula(limit.by_formula),)
    return CircuitResult(
        code="wiring_audit.ampacity.overloaded",
        verdict=verdict,
        sentence=told if verdict is Verdict.PASS else f"{told} {_cure(facts, rules)}.",
        cells=(
            facts.conductor.label,
            _insulation_cell(facts, limit),
            rounded(facts.load.value, 1),
            rounded(limit.table),
            rounded(limit.factor, 2),
            rounded(limit.amperes, 1),
        ),
        numbers=(
            Number.of("load", facts.load),
            Number("allowed", limit.amperes, "A"),
        ),
        limits=(Limit("load", high=limit.amperes),),
        basis=(*formula, *_memory(limit.from_memory), *_lower_row(limit)),
    )


def _insulation_cell(facts: CircuitFacts, limit: Allowable) -> str:
    """The rating as printed, and the row it counts as where the table lacks it."""
    return rounded(facts.insulation) + (f" as {rounded(limit.insulation)}" if limit.lower_row else "")


def _lower_row(limit: Allowable) -> tuple[Basis, ...]:
    return (bases.LOWER_ROW,) if limit.lower_row else ()


def _ampacity_basis(rules: Rules) -> tuple[Basis, ...]:
    table = (
        (bases.AMPACITY_ISO,)
        if rules.chosen("ampacity_rule") == ISO_BY_AREA
        else (bases.AMPACITY_CFR, bases.ENGINE_SPACE_CFR)
    )
    always = rules.chosen("bundling_rule") == BUNDLING_ALWAYS
    return (*table, bases.BUNDLING_SHOP if always else bases.BUNDLING_CFR)


# Overcurrent protection


def _in_table(facts: CircuitFacts, rules: Rules, conductor: Conductor) -> Allowable:
    """The table's own ampacity, no factor applied: what the fuse limit points to. Raises NotEnoughData."""
    facts.require("conductor", "insulation", "volts")
    return allowable(rules.chosen("ampacity_rule"), conductor, facts.insulation, None, 1)


def judge_overcurrent_rating(_view: JobView, facts: CircuitFacts, rules: Rules) -> CircuitResult:
    """Rating of fuse or breaker between the load and the largest the conductor allows.

    A current far above the design current fails before all else but a fuse that is wrong by itself.
    """
    _not_for_cranking(facts)
    needed = ("protection", "conductor", "insulation", "volts")
    rated = facts.circuit.protection == "none" or facts.knows(["rating"])
    if facts.draws_too_much and not (rated and facts.knows(needed)):
        return _draws_too_much(facts)
    facts.require(*needed)
    in_table = _in_table(facts, rules, facts.conductor)
    found = _judge_rating(facts, rules, largest_rating(in_table.table, facts.volts))
    return attrs.evolve(found, basis=(*found.basis, *_lower_row(in_table)))


def _judge_rating(facts: CircuitFacts, rules: Rules, largest: float) -> CircuitResult:
    if facts.circuit.protection == "none":
        code = "wiring_audit.overcurrent_rating.none_fitted"
        return _rating(facts, rules, largest, code, Verdict.FAIL, "No fuse or breaker.")
    facts.require("rating")
    if facts.rating > largest + 1e-9:
        return _rating(
            facts,
            rules,
            largest,
            "wiring_audit.overcurrent_rating.too_large",
            Verdict.FAIL,
            f"{in_full(facts.rating)} A {facts.circuit.protection} on {facts.conductor.label} that allows "
            f"{in_full(largest)} A.",
        )
    facts.require("load")
    if facts.draws_too_much:
        return _draws_too_much(facts)
    if facts.rating <= facts.load.value:
        return _rating(
            facts,
            rules,
            largest,
            "wiring_audit.overcurrent_rating.will_open",
            Verdict.ADVISE,
            f"{in_full(facts.rating)} A {facts.circuit.protection} for a load of {_amperes(facts.load)}: it will open.",
        )
    code = "wiring_audit.overcurrent_rating.fits"
    return _rating(
        facts, rules, largest, code, Verdict.PASS, f"{in_full(facts.rating)} A, at most {in_full(largest)} A."
    )


def _rating(
    facts: CircuitFacts, rules: Rules, largest: float, code: str, verdict: Verdict, result: str
) -> CircuitResult:
    fitted = facts.circuit.protection != "none" and facts.knows(["rating"])
    numbers = (Number("rating", facts.rating, "A"),) if fitted else ()
    limits = _rating_limits(facts.load.value if facts.knows(["load"]) else None, largest) if fitted else ()
    return CircuitResult(
        code=code,
        verdict=verdict,
        sentence=result if verdict is Verdict.PASS else f"{result} {_fuse_cure(facts, rules, largest)}",
        cells=(
            facts.conductor.label,
            rounded(facts.load.value, 1) if facts.knows(["load"]) else "",
            f"{in_full(facts.rating)} A {facts.circuit.protection}" if fitted else facts.circuit.protection,
            in_full(largest),
        ),
        numbers=(*numbers, Number("largest rating", largest, "A")),
        limits=limits,
    )


def _draws_too_much(facts: CircuitFacts) -> CircuitResult:
    fitted = facts.knows(["protection", "rating"]) and facts.circuit.protection != "none"
    return CircuitResult(
        code="wiring_audit.overcurrent_rating.draws_too_much",
        verdict=Verdict.FAIL,
        sentence=_find_cause(facts),
        cells=(
            facts.conductor.label,
            rounded(facts.load.value, 1),
            f"{in_full(facts.rating)} A {facts.circuit.protection}" if fitted else facts.circuit.protection,
            "",
        ),
        numbers=(Number.of("current", facts.current), Number("design current", facts.design.value, "A")),
        limits=(Limit("current", high=OVER_DESIGN * facts.design.value),),
        basis=(bases.OVER_DESIGN,),
    )


def _find_cause(facts: CircuitFacts) -> str:
    """What to do about a current far above the design current, where a fuse would be sized by it."""
    return (
        f"{_amperes(facts.current)} measured, {in_full(facts.design.value)} A by design: a stalled motor, a short "
        f"or a wrong "
        "entry. Switch it off, find the cause and measure again. Fit no larger fuse."
    )


def _rating_limits(load: float | None, largest: float) -> tuple[Limit, ...]:
    """Above the load and at most the largest; each end by itself where the load is beyond what the conductor allows."""
    if load is not None and load > largest:
        return Limit("rating", high=largest), Limit("rating", low=load)
    return (Limit("rating", low=load, high=largest),)


def _fuse_cure(facts: CircuitFacts, rules: Rules, largest: float) -> str:
    device = "breaker" if facts.circuit.protection == "breaker" else "fuse"
    if facts.draws_too_much:
        return f"{_find_cause(facts)} Then size the {device}: at most {in_full(largest)} A."
    if not facts.knows(["load"]):
        return f"Enter the current, then fit a {device} above it and at most {in_full(largest)} A."
    load, margin = facts.load.value, rules.share("fuse_margin")
    rating = suggested_rating(load, largest, margin)
    if rating is not None:
        in_hand = f"{rounded(load, 1)} A load and {rounded(100 * margin - 100)} % in hand"
        why = (
            in_hand
            if rating >= margin * load
            else f"the largest that fits between {rounded(load, 1)} and {in_full(largest)} A"
        )
        return f"Fit a {in_full(rating)} A {device}: {why}."
    return (
        f"No rating in stock lies above the load and within {in_full(largest)} A. {_cure(facts, rules)}, then fuse it."
    )


def judge_overcurrent_distance(view: JobView, facts: CircuitFacts, rules: Rules) -> CircuitResult:
    """Distance of fuse or breaker from the source, along the conductor."""
    _not_for_cranking(facts)
    facts.require("protection")
    if facts.circuit.protection == "none":
        raise NotCovered("no fuse or breaker fitted")
    facts.require("distance")
    rule = rules.chosen("distance_rule")
    at_battery = facts.circuit.fed_from == AT_THE_BATTERY
    unsheathed, sheathed = (distance_limit(rule, answer, at_battery) for answer in (False, True))
    if facts.circuit.in_sheath is None and unsheathed.inches < facts.distance <= sheathed.inches:
        facts.require("sheathed")
    limit = sheathed if facts.circuit.in_sheath else unsheathed
    verdict = distance_verdict(rule, facts.distance, limit, at_battery)
    by_memory = verdict is Verdict.ADVISE and rule == CFR_DISTANCE
    told = [distance_told(view, inches) for inches in (facts.distance, limit.inches, BATTERY_LEAD)]
    remark = f" {told[2]} may be allowed for a battery lead." if by_memory else ""
    return CircuitResult(
        code="wiring_audit.overcurrent_distance.too_far",
        verdict=verdict,
        sentence=(
            f"{told[0]} from the source to its {facts.circuit.protection}, {told[1]} allowed."
            f"{remark} Move it to within {told[1]}."
        ),
        cells=(facts.circuit.protection, told[0], _allowed(view, unsheathed.inches, limit.inches)),
        numbers=(Number("distance", facts.distance, "in", decimals=0), Number("allowed", limit.inches, "in")),
        limits=(Limit("distance", high=limit.inches),),
        basis=(bases.DISTANCE_BATTERY,) if by_memory else (),
    )


def _allowed(view: JobView, bare: float, allowed: float) -> str:
    """What a rule allows [in]: what it allows any circuit, and what this one because it is sheathed throughout."""
    told = distance_told(view, bare)
    return f"{told}, sheathed {distance_told(view, allowed)}" if allowed > bare else told


def distance_basis(rules: Rules) -> tuple[Basis, ...]:
    """The basis of the shop's distance rule."""
    rule = rules.chosen("distance_rule")
    if rule == ISO_DISTANCE:
        return (bases.DISTANCE_ISO,)
    if rule == E11_DISTANCE:
        return (bases.DISTANCE_E11,)
    return (bases.DISTANCE_CFR,) if rule == CFR_DISTANCE else (bases.DISTANCE_CFR, bases.DISTANCE_BATTERY)


# Minimum size


def _smallest(facts: CircuitFacts, rules: Rules) -> Conductor:
    sheathed = bool(facts.circuit.in_sheath)
    if rules.chosen("minimum_rule") == ISO_MINIMUM:
        return Conductor("0.75 mm2", 0.75) if sheathed else Conductor("1 mm2", 1.0)
    return of_gauge("18") if sheathed else of_gauge("16")


def _thick_enough(conductor: Conductor, smallest: Conductor) -> bool:
    return conductor.area >= smallest.area * (1 - AREA_ROUNDING)


def judge_minimum_size(_view: JobView, facts: CircuitFacts, rules: Rules) -> CircuitResult:
    """Conductor not thinner than the rule's smallest."""
    _not_for_cranking(facts)
    if facts.circuit.use == ELECTRONICS:
        raise NotCovered("navigation and communication electronics are exempt")
    facts.require("conductor", "sheathed")
    smallest = _smallest(facts, rules)
    where = "in a sheath" if facts.circuit.in_sheath else "alone"
    verdict = Verdict.PASS if _thick_enough(facts.conductor, smallest) else Verdict.FAIL
    told = f"{facts.conductor.label} {where}, {smallest.label} is the smallest."
    return CircuitResult(
        code="wiring_audit.minimum_size.too_thin",
        verdict=verdict,
        sentence=told if verdict is Verdict.PASS else f"{told} {_cure(facts, rules)}.",
        cells=(facts.conductor.label, where, smallest.label),
        numbers=(Number("cross-section", facts.conductor.area, "mm2", decimals=2),),
        limits=(Limit("cross-section", low=smallest.area),),
    )


def _minimum_basis(rules: Rules) -> tuple[Basis, ...]:
    return (bases.MINIMUM_ISO if rules.chosen("minimum_rule") == ISO_MINIMUM else bases.MINIMUM_CFR,)


# Voltage drop


def _drop_share(facts: CircuitFacts, rules: Rules) -> float:
    """Share of the nominal voltage the circuit may lose; the stricter where its class is not entered."""
    return rules.share("drop_other" if facts.circuit.critical is False else "drop_critical")


def _in_class(facts: CircuitFacts, rules: Rules, lost: MeasuredValue) -> Verdict:
    """The verdict on a drop [V]; where the class is not entered, only if both classes agree."""
    limits = {"critical": rules.share("drop_critical"), "other": rules.share("drop_other")}
    if facts.circuit.critical is not None:
        return at_most(lost, limits["critical" if facts.circuit.critical else "other"] * facts.volts)
    verdicts = {at_most(lost, limit * facts.volts) for limit in limits.values()}
    if len(verdicts) > 1:
        facts.require("critical")
    return verdicts.pop()


def _most_lost(facts: CircuitFacts, rules: Rules, verdict: Verdict) -> float:
    """Largest drop the verdict rests on [%]. Of a class not entered, a pass keeps the stricter, a fail breaks both."""
    critical, other = rules.share("drop_critical") * 100, rules.share("drop_other") * 100
    if facts.circuit.critical is None:
        return max(critical, other) if verdict is Verdict.FAIL else min(critical, other)
    return critical if facts.circuit.critical else other


def _class_name(facts: CircuitFacts, rules: Rules) -> str:
    critical, other = (f"{in_full(rules.share(name) * 100)} %" for name in ("drop_critical", "drop_other"))
    if facts.circuit.critical is None:
        return f"{critical} or {other}"
    return critical if facts.circuit.critical else other


def _warmed(facts: CircuitFacts, rules: Rules, current: float, conductor: Conductor) -> float:
    """Temperature of a conductor [degC]: of its surroundings where its ampacity is not known."""
    surroundings = rules.amount("engine_space" if facts.circuit.in_engine_space else "ambient", "degC")
    try:
        row = _in_table(facts, rules, conductor)
    except NotEnoughData:
        return surroundings
    return conductor_temperature(surroundings, row.insulation, current, row.table)


def _warm_drop(facts: CircuitFacts, rules: Rules, current: float, conductor: Conductor) -> float:
    """Drop at the conductor's own temperature [V]."""
    temperature = _warmed(facts, rules, current, conductor)
    return drop_at_temperature(current, facts.length.value, conductor.area, temperature)


def _copper(facts: CircuitFacts, rules: Rules, current: MeasuredValue) -> MeasuredValue:
    """Drop of the copper alone at a current, with its uncertainty [V]."""
    temperature = _warmed(facts, rules, current.value, facts.conductor)
    return copper_drop(current, facts.length, facts.conductor.area, temperature)


def judge_drop_calculated(view: JobView, facts: CircuitFacts, rules: Rules) -> CircuitResult:
    """Drop by circular mils, and at the conductor's own temperature.

    The circular-mil drop decides; a conductor that passes by it and not when warm is advised on. Its uncertainty is
    that of the copper: temperature, area, load and length. Joints only add, so it is the least the circuit loses.
    """
    _not_for_cranking(facts)
    facts.require("conductor", "length", "load", "volts")
    _require_bank(view, facts)
    load, length = facts.load.value, facts.length.value
    by_mils = drop_by_circular_mils(load, 2 * length * FEET_PER_METRE, circular_mils(facts.conductor.area))
    temperature = _warmed(facts, rules, load, facts.conductor)
    warm = _warm_drop(facts, rules, load, facts.conductor)
    verdict = _in_class(facts, rules, MeasuredValue(by_mils, "V"))
    if verdict is Verdict.PASS and _in_class(facts, rules, MeasuredValue(warm, "V")) is not Verdict.PASS:
        verdict = Verdict.ADVISE
    copper = _copper(facts, rules, facts.load)
    percent = times(copper, by_mils / copper.value / facts.volts * 100, "%")
    shown = Number.of("drop by circular mils", percent)
    warmed = Number("drop, conductor warm", warm / facts.volts * 100, "%")
    most = _most_lost(facts, rules, verdict)
    cure, to_do = Cure.CONDUCTOR, "" if verdict is Verdict.PASS else f"{_cure(facts, rules)}."
    contradiction = view.once(_contradiction, facts, rules)
    if contradiction is not None:
        verdict, cure, to_do = Verdict.ADVISE, Cure.ENTRY, contradiction.sentence
    return CircuitResult(
        code=_ENTRY_CODE if contradiction else "wiring_audit.drop_calculated.too_much",
        verdict=verdict,
        found=(f"{shown} by circular mils, {rounded(warm / facts.volts * 100, 1)} % at {rounded(temperature)} degC",),
        sentence="" if verdict is Verdict.PASS else f"{_class_name(facts, rules)} allowed. {to_do}",
        cure=cure,
        cells=(
            facts.conductor.label,
            str(facts.circuit.length),  # as typed, as the equipment tells it
            rounded(load, 1),
            rounded(percent.value, 1),
            f"{rounded(warm / facts.volts * 100, 1)} at {rounded(temperature)} degC",
            _class_name(facts, rules),
        ),
        numbers=(shown, warmed),
        limits=(Limit(shown.name, high=most), Limit(warmed.name, high=most)),
    )


def _require_bank(view: JobView, facts: CircuitFacts) -> None:
    """Raise NotEnoughData where battery or source contradict the circuit's voltage: a share of what is not known."""
    batteries = view.vessel.batteries
    own = (each for each in batteries if facts.circuit.battery == each.name or len(batteries) == 1)
    battery = next(own, None)
    other = another_voltage(view, battery) if battery is not None else None
    if battery is not None and other is not None:
        text = f"the {battery.name} battery is of another voltage than entered; put that right first"
        raise NotEnoughData(attrs.evolve(other, text=text))
    fed = fed_by_another_voltage(view, facts.circuit, facts.volts, battery)
    if fed is not None:
        raise NotEnoughData(fed)


@frozen
class Contradiction:
    """A drop read that is less than the copper entered can lose.

    doubt    : what contradicts the reading
    sentence : what to do
    """

    doubt: Doubt
    sentence: str


FAR_BELOW = 0.8
"""Share of the copper's own drop below which a reading contradicts it: a size wrong by one gauge shows 0.63 of it
[-]; common practice, no source."""
_ENTRY_CODE = "wiring_audit.drop_measured.less_than_copper"


def size_in_doubt(view: JobView, facts: CircuitFacts, rules: Rules) -> bool:
    """Whether the drop read says that the size or the length entered is wrong."""
    return view.once(_contradiction, facts, rules) is not None


def _contradiction(view: JobView, facts: CircuitFacts, rules: Rules) -> Contradiction | None:
    """Whether the drop read is surely less than the copper alone loses at the current read; None where it is not."""
    if not facts.knows(["conductor", "length", "current"]) or not facts.current.value > 0:
        return None
    try:
        drop = view.once(_measured_drop, facts, rules)
    except NotEnoughData:
        return None  # said where the reading is asked for
    copper = _copper(facts, rules, facts.current)
    if drop.value > FAR_BELOW * copper.value or together([drop, times(copper, -1)], "V").high >= 0:
        return None
    read_as = f"{with_uncertainty(drop.value, drop.expanded_uncertainty, 2)} V read"
    alone = f"{with_uncertainty(copper.value, copper.expanded_uncertainty, 2)} V"
    doubt = f"circuit {facts.name}: {read_as}, and the copper entered loses {alone} alone"
    wrong = "the current, the length or the size" if facts.draws_too_much else "the length or the size"
    sentence = (
        f"The copper alone would lose {alone} at {rounded(facts.current.value, 1)} A, {read_as}: {wrong} "
        "entered is wrong, or only one of the two leads was read. Put that right first; rewire nothing."
    )
    return Contradiction(Doubt(doubt, step=CIRCUITS, field="drop", of=facts.name), sentence)


def judge_drop_measured(view: JobView, facts: CircuitFacts, rules: Rules) -> CircuitResult:
    """Drop by meter, brought to the design current where that is larger than the current it was read at.

    The uncertainty is that of two voltages read with one meter and, where scaled, the current's.
    """
    _not_for_cranking(facts)
    drop = view.once(_measured_drop, facts, rules)
    facts.require("volts", "usable_current")
    _require_current(facts, drop)
    at_load = _left_at_load(view, facts, drop)
    _require_bank(view, facts)
    scale = facts.load.value / facts.current.value if facts.current.value > 0 else 1.0
    lost = drop
    if scale > 1:
        of_current = times(facts.current, -drop.value * scale / facts.current.value)
        lost = together([times(drop, scale), of_current], "V", drop.value * scale)
    verdict = _in_class(facts, rules, lost)
    explained = _explained_drop(facts, rules)
    joints = None if explained is None else together([drop, times(explained, -1)], "V")
    poor_joint = joints is not None and joints.low > rules.amount("drop_excess", "V")
    percent = times(lost, 100 / facts.volts, "%")
    shown = Number.of("drop", percent)
    as_read = Number.of("drop, as read", drop, 2)
    limits = [Limit(shown.name, high=_most_lost(facts, rules, verdict))]
    if poor_joint and explained is not None:
        limits.append(Limit(as_read.name, high=explained.value + rules.amount("drop_excess", "V")))
    contradiction = view.once(_contradiction, facts, rules)
    if contradiction is not None:
        verdict, cure, to_do = Verdict.ADVISE, Cure.ENTRY, contradiction.sentence
    else:
        of_joints = explained.value if explained is not None and poor_joint else None
        cure, to_do = _measured_cure(facts, rules, verdict, drop, of_joints)
        thinner = view.once(thinner_by_drop, facts, rules) if poor_joint else None
        to_do += f" Read the size printed on it too: {thinner.label} would lose as much." if thinner else ""
        if verdict is not Verdict.FAIL and not poor_joint:
            _require_running(facts)
    odd = _odd_source(view, facts)
    if odd is not None:
        in_order = verdict is Verdict.PASS and not poor_joint
        cure, to_do = (Cure.SOURCE, odd.sentence) if in_order else (cure, f"{to_do} {odd.sentence}")
        limits.append(odd.limit)
    return CircuitResult(
        code=_DROP_CODES[cure],
        verdict=_stricter(verdict, Verdict.ADVISE) if poor_joint or odd else verdict,
        found=(f"{shown} measured" if scale <= 1 else _brought_to_the_load(facts, drop, percent),),
        sentence=f"{_class_name(facts, rules)} allowed. {to_do}",
        cure=cure,
        cells=(
            with_uncertainty(drop.value, drop.expanded_uncertainty, 2),
            rounded(facts.current.value, 1) if facts.knows(["current"]) else "",
            with_uncertainty(shown.value, shown.expanded_uncertainty),
            "" if explained is None else with_uncertainty(explained.value, explained.expanded_uncertainty, 2),
            at_load,
            _class_name(facts, rules),
        ),
        numbers=(shown, as_read, *((odd.number,) if odd else ())),
        limits=tuple(limits),
        basis=(bases.FED_BY,) if odd else (),
        doubts=tuple(one.doubt for one in (contradiction, odd) if one),
    )


@attrs.frozen
class OddSource:
    """A voltage at the source of a circuit that nothing in order feeds it with: what was read, and what to do."""

    number: Number
    limit: Limit
    doubt: Doubt
    sentence: str


def _odd_source(view: JobView, facts: CircuitFacts) -> OddSource | None:
    """The voltage at the source in doubt: the drop was read while the battery, its charging or the meter was wrong."""
    source = odd_source(view, facts.circuit, facts.volts)
    if source is None:
        return None
    low, high = fed_by(facts.volts)
    told = f"{rounded(source, 2)} V at its source"
    if source < low:
        why = "the battery is empty, its feed loses too much, or the reading is wrong. Charge it and read again"
    else:
        why = "charged too hard, or the reading is wrong. See what charges it and read again"
    doubt = f"circuit {facts.name}: {told}, and it is of {in_full(facts.volts)} V"
    return OddSource(
        Number("voltage at the source", source, "V", decimals=2),
        Limit("voltage at the source", low=low, high=high),
        Doubt(doubt, step=CIRCUITS, field="source_voltage", of=facts.name),
        f"{told} while it ran: {why}.",
    )


def _brought_to_the_load(facts: CircuitFacts, drop: MeasuredValue, at_load: MeasuredValue) -> str:
    """A drop at the current it was read at, and what it is at the load's [%]."""
    as_read = Number.of("drop", times(drop, 100 / facts.volts, "%"))
    scaled = with_uncertainty(at_load.value, at_load.expanded_uncertainty)
    current, load = rounded(facts.current.value, 1), rounded(facts.load.value, 1)
    return f"{as_read} measured at {current} A; {scaled} % at the load's {load} A"


FAR_BELOW_DESIGN = 0.25
"""Share of its design current below which a circuit was hardly running: its drop shows a fault and proves none absent
[-]; common practice, no source."""


def _require_current(facts: CircuitFacts, drop: MeasuredValue) -> None:
    """Raise NotEnoughData where nothing ran: without a current no conductor and no joint loses anything."""
    if drop.value == 0:
        facts.require("current")
    if facts.current.value == 0:
        text = "no current: nothing ran. Run it and read current and drop again"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=CIRCUITS, field="current", of=facts.name)


def _require_running(facts: CircuitFacts) -> None:
    """Raise NotEnoughData where the circuit hardly ran while its drop was read."""
    if facts.current.value < FAR_BELOW_DESIGN * facts.design.value:
        ran = (
            f"{rounded_beside(facts.current.value, [facts.design.value], 1)} A, {in_full(facts.design.value)} A "
            f"by design"
        )
        text = f"{ran}: it hardly ran. Run it at full load and read current and drop again"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=CIRCUITS, field="current", of=facts.name)


def _measured_drop(view: JobView, facts: CircuitFacts, rules: Rules) -> MeasuredValue:
    try:
        return as_difference(read(view, CIRCUITS, "drop", "V", facts.name, rules.share("voltmeter")))
    except NotEnoughData as lacking:
        volts = [facts.missing["volts"]] if "volts" in facts.missing else []
        raise NotEnoughData(*lacking.missing, *volts) from None


def _left_at_load(view: JobView, facts: CircuitFacts, drop: MeasuredValue) -> str:
    """Voltage left at the load as text, blank where the source was not read. Raises NotEnoughData for nonsense."""
    if not has_been_read(view, CIRCUITS, "source_voltage", facts.name):
        return ""
    source = read(view, CIRCUITS, "source_voltage", "V", facts.name).value
    if drop.value > source:
        text = "drop is more than the voltage at the source; read both again"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=CIRCUITS, field="drop", of=facts.name)
    return rounded(source - drop.value, 2)


TWO_GAUGES = 1.5
"""So many times the copper's own drop is what a conductor two gauges thinner loses, 1.59 times, or a poor joint [-];
common practice, no source."""
COLDEST = 0.0
"""No shop takes its conductors for colder: the lower end of the setting [degC]."""
_THINNER_CODE = "wiring_audit.drop_measured.thinner_than_entered"


def thinner_by_drop(view: JobView, facts: CircuitFacts, rules: Rules) -> Conductor | None:
    """The conductor of the tables that would lose the drop read by its copper alone, where the one entered loses far
    less; None elsewhere. A poor joint loses as much: nobody knows before the size printed on it is read."""
    if not _loses_far_more(view, facts):
        return None
    drop, explained = view.once(_measured_drop, facts, rules), _copper(facts, rules, facts.current)
    if drop.value < TWO_GAUGES * explained.value:
        return None
    if together([drop, times(explained, -1)], "V").low <= rules.amount("drop_excess", "V"):
        return None
    alike = of_area(facts.conductor.area * explained.value / drop.value)
    try:
        return of_gauge(gauge_within(alike)) if facts.conductor.gauge else of_area(metric_size_within(alike))
    except NotEnoughData:
        return None  # thinner than any in the tables: that is a joint


def _loses_far_more(view: JobView, facts: CircuitFacts) -> bool:
    """Whether it can be so at all, by the coldest copper. A rule that comes out the same reads no setting for it."""
    if not facts.knows(["conductor", "length", "current"]) or not facts.current.value > 0:
        return False
    try:
        drop = read(view, CIRCUITS, "drop", "V", facts.name).value
    except NotEnoughData:
        return False  # said where the reading is asked for
    cold = 2 * facts.length.value * resistance_per_metre(facts.conductor.area, COLDEST) * facts.current.value
    return drop >= TWO_GAUGES * cold


def as_thinner(
    judge: Callable[[JobView, CircuitFacts, Rules], CircuitResult],
    view: JobView,
    facts: CircuitFacts,
    rules: Rules,
    judged: CircuitResult,
) -> CircuitResult:
    """What a rule says of a circuit in order by its size entered, where its drop says that it may be a thinner one."""
    thinner = view.once(thinner_by_drop, facts, rules)
    if thinner is None:
        return judged
    try:
        other = judge(view, attrs.evolve(facts, conductor=thinner), rules)
    except (NotEnoughData, NotCovered):
        return judged
    if other.verdict is Verdict.PASS:
        return judged
    sentence = (
        f"In order as {facts.conductor.label}. Its drop is that of {thinner.label}, or of a poor joint, and "
        f"{thinner.label} would not be in order here. Read the size printed on it."
    )
    return attrs.evolve(judged, code=_THINNER_CODE, verdict=Verdict.ADVISE, sentence=sentence)


def _explained_drop(facts: CircuitFacts, rules: Rules) -> MeasuredValue | None:
    """Drop the copper alone makes at the current measured [V], or None where that cannot be said."""
    if not facts.knows(["conductor", "length", "current"]):
        return None
    return _copper(facts, rules, facts.current)


_DROP_CODES = {
    Cure.ENTRY: _ENTRY_CODE,
    Cure.CONDUCTOR: "wiring_audit.drop_measured.too_much",
    Cure.JOINTS: "wiring_audit.drop_measured.poor_joint",
    Cure.FINER_METER: "wiring_audit.drop_measured.meter_too_coarse",
    Cure.SOURCE: "wiring_audit.drop_measured.source_in_doubt",
}


def _measured_cure(
    facts: CircuitFacts, rules: Rules, verdict: Verdict, drop: MeasuredValue, explained: float | None
) -> tuple[Cure, str]:
    """What to do about a drop, as a kind and in words; `explained` is given where a poor joint makes the rest of it."""
    if explained is not None:
        return Cure.JOINTS, (
            f"The copper accounts for {rounded(explained, 2)} V of {rounded(drop.value, 2)} V: "
            "clean and tighten connections, fuse holder and switch, then measure again."
        )
    if verdict is Verdict.PASS:
        return Cure.CONDUCTOR, ""
    if verdict is Verdict.ADVISE:
        advice = "The meter cannot tell which side of the limit: measure with a finer range or treat it as too much."
        return Cure.FINER_METER, advice
    return Cure.CONDUCTOR, f"{_cure(facts, rules)}."


# Terminations


TERMINATIONS = (
    ("terminations_tight", "Remake the loose termination."),
    ("polarity_right", "Polarity is reversed: swap the leads."),
    ("supported", "Clip the conductor clear of chafe."),
)

ALWAYS_LOOKED_AT = ("terminations_tight", "polarity_right")


def judge_terminations(view: JobView, facts: CircuitFacts, _rules: Rules) -> CircuitResult:
    """Terminations tight, polarity right, conductor held (where it was looked at)."""
    answers = [view.value(CIRCUITS, field, of=facts.name) for field, _cure in TERMINATIONS]
    wrong = [cure for (_field, cure), answer in zip(TERMINATIONS, answers, strict=True) if answer is False]
    if not wrong:
        looked_at = [
            field
            for field, _cure in TERMINATIONS
            if field in ALWAYS_LOOKED_AT or has_been_read(view, CIRCUITS, field, facts.name)
        ]
        all_of(*(partial(read_yes, view, CIRCUITS, field, facts.name) for field in looked_at))
    words = {True: "yes", False: "no"}
    return CircuitResult(
        code="wiring_audit.terminations.faulty",
        verdict=Verdict.FAIL if wrong else Verdict.PASS,
        sentence=" ".join(wrong),
        cells=tuple(words[answer] if isinstance(answer, bool) else "" for answer in answers),
    )


# Cures


def _cure(facts: CircuitFacts, rules: Rules) -> str:
    """The next larger size that carries the load, keeps the drop and is not too thin."""
    if facts.draws_too_much:
        return (
            f"Find first why it draws {rounded_beside(facts.current.value, [facts.design.value], 1)} A, "
            f"{in_full(facts.design.value)} A by design, then size it"
        )
    checks = [_carries, _keeps_drop]
    known = [check for check in checks if check(facts, rules, facts.conductor) is not None]
    if not facts.knows(["conductor"]) or not known:
        return "Enter size, length, current and insulation to see which conductor to fit"
    only = "" if len(known) == 2 else " (by drop alone)" if known == [_keeps_drop] else " (by ampacity alone)"
    for size in larger_sizes(facts.conductor):
        smallest = None if facts.circuit.use == ELECTRONICS else _smallest(facts, rules)
        if all(check(facts, rules, size) for check in known) and (smallest is None or _thick_enough(size, smallest)):
            return f"Fit {size.label} or larger{only}"
    return "No size in the table is enough: shorten the run or split the load"


def _carries(facts: CircuitFacts, rules: Rules, size: Conductor) -> bool | None:
    if not facts.knows(["load"]):
        return None
    try:
        return facts.load.value <= allowed(facts, rules, size).amperes
    except NotEnoughData:
        return None


def _keeps_drop(facts: CircuitFacts, rules: Rules, size: Conductor) -> bool | None:
    if not facts.knows(["length", "load", "volts"]):
        return None
    round_trip = 2 * facts.length.value * FEET_PER_METRE
    limit = _drop_share(facts, rules) * facts.volts
    needed = circular_mils_needed(facts.load.value, round_trip, limit)
    return circular_mils(size.area) >= needed and _warm_drop(facts, rules, facts.load.value, size) <= limit


def _not_for_cranking(facts: CircuitFacts) -> None:
    if facts.circuit.use == CRANKING:
        raise NotCovered("cranking motor conductors are not covered")


def _amperes(reading: MeasuredValue) -> str:
    return str(Number.of("", reading))


RULES = (
    CircuitRule(
        name="ampacity",
        title="Ampacity",
        passed_code="wiring_audit.ampacity.passed",
        passed="carry no more than their conductors allow",
        headings=("Conductor", "Insulation [degC]", "Load [A]", "Table [A]", "Factor", "Allowed [A]"),
        judge=judge_ampacity,
        resizes=True,
        basis=_ampacity_basis,
    ),
    CircuitRule(
        name="overcurrent_rating",
        title="Fuse and breaker ratings",
        passed_code="wiring_audit.overcurrent_rating.passed",
        passed="are fused above their load and within what the conductor allows",
        headings=("Conductor", "Load [A]", "Fitted", "Largest [A]"),
        judge=judge_overcurrent_rating,
        resizes=True,
        basis=lambda rules: (
            bases.OVERCURRENT_ISO if rules.chosen("ampacity_rule") == ISO_BY_AREA else bases.OVERCURRENT_CFR,
            bases.STANDARD_RATINGS,
        ),
    ),
    CircuitRule(
        name="overcurrent_distance",
        title="Fuse and breaker distances",
        passed_code="wiring_audit.overcurrent_distance.passed",
        passed="have their fuse or breaker near enough to the source",
        headings=("Fitted", "Distance", "Allowed"),
        judge=judge_overcurrent_distance,
        reads=(),
        weighs_current=False,
        basis=distance_basis,
    ),
    CircuitRule(
        name="minimum_size",
        title="Smallest conductors",
        passed_code="wiring_audit.minimum_size.passed",
        passed="are no thinner than the smallest size allowed",
        headings=("Conductor", "Where", "Smallest"),
        judge=judge_minimum_size,
        resizes=True,
        weighs_current=False,
        basis=_minimum_basis,
    ),
    CircuitRule(
        name="drop_calculated",
        title="Voltage drop by calculation",
        passed_code="wiring_audit.drop_calculated.passed",
        passed="keep their drop by calculation",
        headings=("Conductor", "One way", "Load [A]", "Circular mils [%]", "Warm [%]", "Allowed"),
        judge=judge_drop_calculated,
        joins="drop_measured",
        basis=lambda _rules: (bases.DROP_CIRCULAR_MILS, bases.DROP_CLASSES, bases.DROP_AT_TEMPERATURE),
    ),
    CircuitRule(
        name="drop_measured",
        title="Voltage drop by meter",
        passed_code="wiring_audit.drop_measured.passed",
        passed="keep their drop by meter",
        headings=("Read [V]", "At [A]", "At load [%]", "Copper alone [V]", "Left at load [V]", "Allowed"),
        judge=judge_drop_measured,
        reads=("current", "drop", "source_voltage"),
        may_doubt=True,
        basis=lambda _rules: (bases.DROP_METER, bases.DROP_CLASSES, bases.DROP_EXCESS),
    ),
    CircuitRule(
        name="terminations",
        title="Terminations",
        passed_code="wiring_audit.terminations.passed",
        passed="are tight and of the right polarity",
        headings=("Tight", "Polarity right", "Held"),
        judge=judge_terminations,
        reads=tuple(field for field, _cure in TERMINATIONS),
        weighs_current=False,
        basis=lambda _rules: (bases.TERMINATIONS, bases.SUPPORT_ISO),
    ),
)
