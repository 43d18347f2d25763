"""Findings on batteries: charge at rest, installation, standing current, load and reserve."""

from __future__ import annotations

import enum
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial

import attrs

from garboard.faults import in_number
from garboard.findings import (
    OF_VESSEL,
    Basis,
    Doubt,
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
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Battery, Circuit, Engine
from garboard.uncertainty import MeasuredValue, Part
from garboard_wiring_audit import bases
from garboard_wiring_audit.bank_voltage import DEAD, NOMINAL_VOLTS, another_voltage, is_dead, nominal_volts
from garboard_wiring_audit.batteries import days_left_alone, over_rate, rate_exponent, reserve_hours, state_of_charge
from garboard_wiring_audit.circuit_facts import AT_THE_BATTERY, always_live, facts_of, in_a_list
from garboard_wiring_audit.circuit_rules import CRANKING, PANEL_FEED, distance_basis
from garboard_wiring_audit.loads import COLUMNS, load_sum
from garboard_wiring_audit.overcurrent import distance_limit, distance_verdict
from garboard_wiring_audit.pieces import each_piece
from garboard_wiring_audit.readings import (
    all_of,
    at_most,
    distance_told,
    has_been_read,
    known,
    read,
    read_yes,
    times,
    together,
)
from garboard_wiring_audit.rules import Rules, charge_basis, rules_of, usable_basis
from garboard_wiring_audit.steps import BATTERIES, CIRCUITS, LOADS, STANDING

CAPACITY, NOMINAL_VOLTAGE = "batteries.capacity", "batteries.nominal_voltage"
"""Facts of a bank: one of another voltage than entered is another bank, or lacks a battery and what that holds."""
TABLE_TEMPERATURES = (0.0, 45.0)

INSTALLATION = (
    ("held_down", "Fit a hold-down."),
    ("terminals_covered", "Cover the live terminals."),
    ("terminals_fixed", "Replace the spring clips."),
    ("vented", "Vent the space to the open."),
    ("clear_of_fuel", "Move the battery or the fuel fitting: none may sit above or below it."),
)


def about(battery: Battery) -> str:
    """What findings on a battery are about."""
    return f"{battery.name} battery"


# Charge at rest


@frozen
class RestCharge:
    """Charge of a battery at rest [%], with its rest voltage [V]."""

    volts: MeasuredValue
    percent: MeasuredValue
    from_memory: bool


def rest_charge(view: JobView, battery: Battery) -> RestCharge:
    """State of charge of a battery. Raises NotEnoughData unless it rested long enough and its table is known."""
    rules = rules_of(view)
    volts, rest, _entered = all_of(
        partial(read, view, BATTERIES, "rest_voltage", "V", battery.name, rules.share("voltmeter")),
        partial(read, view, BATTERIES, "hours_at_rest", "h", battery.name),
        partial(known, battery.nominal_voltage, "V", "nominal voltage", field="batteries.nominal_voltage"),
    )
    needed = rules.amount("rest_needed", "h")
    if rest.value < needed:
        text = f"rested {in_full(rest.value)} h, {in_full(needed)} h needed; read the voltage again after that"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=BATTERIES, field="hours_at_rest", of=battery.name)
    _require_table_temperature(view, battery)
    nominal = nominal_volts(battery)
    if nominal is None or nominal not in NOMINAL_VOLTS:
        text = f"nominal voltage {battery.nominal_voltage}; the table serves 6, 12, 24, 36 and 48 V"
        raise NotEnoughData(text, lack=Lack.NOT_COVERED, field="batteries.nominal_voltage")
    other = another_voltage(view, battery)
    if other is not None:
        raise NotEnoughData(other)
    charge = state_of_charge(times(volts, 12.0 / nominal), battery.chemistry)
    return RestCharge(volts, charge.percent, charge.from_memory)


def _require_table_temperature(view: JobView, battery: Battery) -> None:
    if not has_been_read(view, BATTERIES, "temperature", battery.name):
        return
    temperature = read(view, BATTERIES, "temperature", "degC", battery.name, signed=True).value
    low, high = TABLE_TEMPERATURES
    if not low <= temperature <= high:
        text = f"battery is not between {rounded(low, 0)} and {rounded(high, 0)} degC; let it come near 25 degC"
        raise NotEnoughData(text, lack=Lack.UNSUITABLE, step=BATTERIES, field="temperature", of=battery.name)


def charge_findings(view: JobView) -> Iterator[Finding]:
    """State of charge of every battery from its rest voltage."""

    def judge(battery: Battery) -> Iterator[Finding]:
        if is_dead(view, battery):
            yield _dead(view, battery)
            return
        if (other := another_voltage(view, battery)) is not None:
            yield _another_voltage(battery, other)
            return
        charge = rest_charge(view, battery)
        least = rules_of(view).share("charge_least") * 100
        percent = charge.percent
        code, verdict, advice = _charge_verdict(percent, least)
        shown = _charge(percent)[0]
        result = f"{charge_words(percent)} charged at {rounded(charge.volts.value, 2)} V."
        # What is shown of a flat one is its upper end, which may lie above what is wanted.
        told = shown.value < least or percent.low >= 0
        yield Finding(
            code=code,
            verdict=verdict,
            about=about(battery),
            of=battery.name,
            sentence=f"{result} {advice}",
            short=result if verdict is Verdict.PASS else "",
            numbers=(
                shown,
                Number.of("rest voltage", charge.volts, 2),
            ),
            limits=(Limit(shown.name, low=least),) if told else (),
            places=_facts(battery, "batteries.capacity"),  # a full battery that is too small does not start the engine
            basis=(bases.REST_VOLTAGE_AGM if charge.from_memory else bases.REST_VOLTAGE, charge_basis(least)),
        )

    return each_piece(view.vessel.batteries, about, judge, (bases.REST_VOLTAGE,))


def _another_voltage(battery: Battery, other: Missing) -> Finding:
    """No charge, and a doubt about the voltage entered: what the bank holds and carries rests on it."""
    said = f"{about(battery)}: {other.text}"
    return attrs.evolve(
        not_enough_data(about(battery), [other], (bases.REST_VOLTAGE,)),
        of=battery.name,
        doubts=(
            Doubt(said, step=OF_VESSEL, field=NOMINAL_VOLTAGE, of=battery.name),
            Doubt(said, step=BATTERIES, field="rest_voltage", of=battery.name),
        ),
    )


def _facts(battery: Battery, *fields: str) -> tuple[tuple[str, str, str, str], ...]:
    """Facts of a bank that a finding rests on, beside what was read."""
    return tuple((OF_VESSEL, field, "", battery.name) for field in fields)


def _dead(view: JobView, battery: Battery) -> Finding:
    volts = read(view, BATTERIES, "rest_voltage", "V", battery.name, rules_of(view).share("voltmeter"))
    nominal = nominal_volts(battery) or 0.0
    return Finding(
        code="wiring_audit.battery_charge.dead",
        verdict=Verdict.FAIL,
        about=about(battery),
        of=battery.name,
        sentence=f"{rounded(volts.value, 2)} V: no {in_full(nominal)} V battery in order reads so low. "
        "It is dead, switched off or "
        "misread. Read it again at the posts, then charge it and have it tested.",
        numbers=(Number.of("rest voltage", volts, 2),),
        limits=(Limit("rest voltage", low=DEAD * nominal / 12),),
        basis=(bases.DEAD_BATTERY,),
    )


def _charge_verdict(percent: MeasuredValue, least: float) -> tuple[str, Verdict, str]:
    """Code, verdict and advice on a charge, against the least that is wanted [%]."""
    if percent.value <= 0:
        return "wiring_audit.battery_charge.flat", Verdict.FAIL, "Flat: charge it and have it tested."
    if percent.low >= least:
        return "wiring_audit.battery_charge.enough", Verdict.PASS, "Enough for hand over."
    charge_it = "Charge it before the sea trial and read it again."
    if percent.high >= least:
        return (
            "wiring_audit.battery_charge.open",
            Verdict.ADVISE,
            f"Too close to call: {in_full(least)} % wanted. {charge_it}",
        )
    return "wiring_audit.battery_charge.low", Verdict.ADVISE, f"{in_full(least)} % wanted. {charge_it}"


def charge_words(percent: MeasuredValue) -> str:
    """A charge with its uncertainty; only its lower or upper end where that reaches past full or empty.

    >>> [charge_words(MeasuredValue.of_expanded(percent, "%", 13)) for percent in (50, 97, 1)]
    ['50 ± 13 %', '84 % or more', '14 % or less']
    """
    number, more = _charge(percent)
    return f"{number}{more}"


def _charge(percent: MeasuredValue) -> tuple[Number, str]:
    """A charge as a number, and what to write after it where only one end of it is known."""
    if percent.high > 100:
        return Number("charge, at least", max(0.0, percent.low), "%", decimals=0), " or more"
    if percent.low < 0:
        return Number("charge, at most", percent.high, "%", decimals=0), " or less"
    return Number.of("charge", percent, 0), ""


# Installation


def installation_findings(view: JobView) -> Iterator[Finding]:
    """Hold-down, covers, clamps, venting, fuel fittings and main fuse of every battery."""

    def judge(battery: Battery) -> Iterator[Finding]:
        answers = {field: view.value(BATTERIES, field, of=battery.name) for field, _cure in INSTALLATION}
        wrong = [cure for field, cure in INSTALLATION if answers[field] is False]
        verdict, fuse, fuse_numbers, fuse_limits = _fuse_verdict(view, battery)
        if not wrong and verdict is Verdict.PASS:
            all_of(*(partial(read_yes, view, BATTERIES, field, battery.name) for field, _cure in INSTALLATION))
        if wrong:
            verdict = Verdict.FAIL
        faults = [*wrong, *([fuse] if fuse else [])]
        code = "wiring_audit.battery_installation.in_order"
        if faults:
            far = "wiring_audit.battery_installation.fuse_far"
            code = "wiring_audit.battery_installation.faulty" if wrong else far
        yield Finding(
            code=code,
            verdict=verdict,
            about=about(battery),
            of=battery.name,
            sentence=" ".join(faults) if faults else "Held down, covered, vented and clear of fuel.",
            basis=(bases.BATTERY_CFR, *distance_basis(rules_of(view)), *([bases.DISTANCE_BATTERY] if fuse else [])),
            numbers=fuse_numbers,
            limits=fuse_limits if fuse or not wrong else (),
        )

    return each_piece(view.vessel.batteries, about, judge, (bases.BATTERY_CFR,))


def _fuse_verdict(view: JobView, battery: Battery) -> tuple[Verdict, str, tuple[Number, ...], tuple[Limit, ...]]:
    if not has_been_read(view, BATTERIES, "fuse_distance", battery.name):
        return Verdict.PASS, "", (), ()
    distance = read(view, BATTERIES, "fuse_distance", "in", battery.name).value
    rule = rules_of(view).chosen("distance_rule")
    limit, sheathed = (distance_limit(rule, in_sheath, True) for in_sheath in (False, True))
    verdict = distance_verdict(rule, distance, limit, True)
    numbers = (Number("main fuse from the post", distance, "in", decimals=0),)
    limits = (Limit("main fuse from the post", high=limit.inches),)
    if verdict is Verdict.PASS:
        return verdict, "", numbers, limits
    measured = f"Main fuse {distance_told(view, distance)} from the post: {distance_told(view, limit.inches)} allowed"
    if verdict is Verdict.ADVISE or distance <= sheathed.inches:
        advice = f"{measured}, more only for some sheathed or battery leads. Move it closer if you can."
        return Verdict.ADVISE, advice, numbers, limits
    return Verdict.FAIL, f"{measured}. Move it closer.", numbers, limits


# Standing current


def standing_findings(view: JobView) -> Iterator[Finding]:
    """Days every battery carries what is drawn with the switches off."""
    rules = rules_of(view)

    def judge(battery: Battery) -> Iterator[Finding]:
        current = read(view, STANDING, "standing_current", "A", battery.name, rules.share("current_meter"))
        wanted, most = rules.amount("standing_days", ""), rules.amount("standing_most", "")
        shown = Number("standing current", current.value * 1000, "mA", current.expanded_uncertainty * 1000, 0)
        with_all_on = _measured_load(view, battery)
        if with_all_on is not None and together([current, times(with_all_on, -1)], "A").low > 0:
            yield _more_than_the_load(battery, shown, with_all_on)
            return
        days = days_left_alone(_usable(battery, rules), current, most, rules.share("capacity"))
        enough = days.value >= wanted
        counted = Number.of("days", days, 0)
        told = f"{with_uncertainty(days.value, days.expanded_uncertainty, 0)} days, self-discharge counted"
        advice = "" if enough else " Find what stays on, or fit a switch, or leave a charger on."
        if not enough and most <= wanted:  # nothing that stays on is to blame
            advice = " Leave a charger on."
        is_lithium = battery.chemistry == "LiFePO4"
        by_itself = bases.SELF_DISCHARGE_LITHIUM if is_lithium else bases.SELF_DISCHARGE
        live = always_live(view.vessel, battery)
        stays_on = f" Fed at the battery and still connected: {in_a_list(live)}." if live else ""
        yield Finding(
            code="wiring_audit.standing_current.small" if enough else "wiring_audit.standing_current.too_much",
            verdict=Verdict.PASS if enough else Verdict.ADVISE,
            about=about(battery),
            of=battery.name,
            sentence=f"{shown} with the switches off: {told}, {rounded(wanted, 0)} wanted.{advice}{stays_on}",
            places=_facts(battery, CAPACITY, NOMINAL_VOLTAGE),
            numbers=(shown, counted),
            limits=(Limit(counted.name, low=wanted),),
            basis=(bases.STANDING, by_itself, _usable_basis(battery, rules)),
        )

    return each_piece(view.vessel.batteries, about, judge, (bases.STANDING,))


def _more_than_the_load(battery: Battery, standing: Number, load: MeasuredValue) -> Finding:
    """What flows with the switches off flows with all on too: one of two such readings is wrong."""
    with_all_on = f"{rounded(load.value * 1000, 0)} mA" if load.value < 1 else f"{rounded(load.value, 1)} A"
    said = f"{battery.name} battery: {standing} with the switches off, {with_all_on} with all on"
    places = ((STANDING, "standing_current"), (LOADS, "load_current"))
    return Finding(
        code="wiring_audit.standing_current.more_than_the_load",
        verdict=Verdict.ADVISE,
        about=about(battery),
        of=battery.name,
        sentence=f"{standing} with the switches off, and {with_all_on} with all on: one is wrong. Read both again.",
        numbers=(standing, Number.of("load", load, 2)),
        basis=(bases.STANDING, bases.ALL_ON),
        doubts=tuple(Doubt(said, step=step, field=field, of=battery.name) for step, field in places),
    )


def _usable(battery: Battery, rules: Rules) -> float:
    """Charge that may be drawn from full [Ah]."""
    capacity = known(battery.capacity, "Ah", "capacity", field="batteries.capacity").value
    return capacity * _usable_share(battery, rules)


def _usable_share(battery: Battery, rules: Rules) -> float:
    if not battery.chemistry:
        raise NotEnoughData("chemistry is not entered", lack=Lack.NOT_ENTERED, field="batteries.chemistry")
    return rules.share(_usable_name(battery))


def _usable_name(battery: Battery) -> str:
    return "usable_lithium" if battery.chemistry == "LiFePO4" else "usable_lead"


def _usable_basis(battery: Battery, rules: Rules) -> Basis:
    name = _usable_name(battery)
    return usable_basis(name, rules.amount(name, "%"))


# Load and reserve


@frozen
class Load:
    """Load of a battery [A], and the circuits behind it.

    total   : by the shop's rule, each circuit with the larger of its design and its measured current
    running : what runs together as it was read, by design where it was not read
    """

    total: MeasuredValue
    running: MeasuredValue
    circuits: tuple[str, ...]


def loads_of(view: JobView, battery: Battery) -> Sequence[Circuit]:
    """Circuits a battery feeds, panel feeds and cranking motors left out. Raises NotEnoughData if any has no battery.

    With a single battery aboard, circuits that name none are its own.
    """
    circuits = [circuit for circuit in view.vessel.circuits if circuit.use not in (PANEL_FEED, CRANKING)]
    if homeless := _homeless(view, circuits):
        raise NotEnoughData(_of_no_battery(homeless))
    is_alone = len(view.vessel.batteries) == 1
    return [circuit for circuit in circuits if circuit.battery == battery.name or is_alone]


def _homeless(view: JobView, circuits: Iterable[Circuit]) -> list[str]:
    """Those of some circuits that name no battery aboard; a single battery feeds them all."""
    names = {each.name for each in view.vessel.batteries}
    return [] if len(names) == 1 else [circuit.name for circuit in circuits if circuit.battery not in names]


def _of_no_battery(circuits: Sequence[str]) -> Missing:
    text = f"battery is not entered for {', '.join(circuits)}"
    return Missing(text, lack=Lack.NOT_ENTERED, field="circuits.battery", of=circuits[0])


def _runs_or_not(circuit: Circuit) -> Missing:
    text = f"{circuit.name}: runs with others or not is not entered"
    return Missing(text, lack=Lack.NOT_ENTERED, field="circuits.runs_with_others", of=circuit.name)


def load_of(view: JobView, battery: Battery) -> Load:
    """Load of a battery by the shop's rule. Currents read with one meter share its scale."""
    rules = rules_of(view)
    counted: dict[str, MeasuredValue] = {}
    others: list[float] = []
    running: list[MeasuredValue] = []
    missing: list[Missing] = []
    for circuit in loads_of(view, battery):
        facts = view.once(facts_of, circuit, rules, weighs_current=True)
        if "load" in facts.missing:
            lacking = facts.missing["load"]
            missing.append(attrs.evolve(lacking, text=f"{circuit.name}: {lacking.text}", of=circuit.name))
        if circuit.runs_with_others is None:
            missing.append(_runs_or_not(circuit))
        if circuit.runs_with_others and facts.draws_too_much:
            text = f"{circuit.name} draws far more than its design current; find the cause first"
            missing.append(Missing(text, lack=Lack.CONTRADICTS, step=CIRCUITS, field="current", of=circuit.name))
        if circuit.runs_with_others:
            counted[circuit.name] = facts.load
            running.append(facts.current if facts.current.value > 0 else facts.load)
        else:
            others.append(facts.load.value)
    if missing:
        raise NotEnoughData(*missing)
    total = load_sum(rules.chosen("load_rule"), [each.value for each in counted.values()], others)
    return Load(together(counted.values(), "A", total), together(running, "A"), tuple(counted))


MAIN_FUSE_OPENS = "wiring_audit.main_fuse.will_open"


def behind_main_fuse(view: JobView, battery: Battery) -> tuple[MeasuredValue, tuple[Missing, ...]]:
    """What surely runs at once through a battery's main fuse [A], as far as entered, and what is not entered of it.
    Circuits that name no battery are left out: see `_homeless`.

    What is fed at the battery itself does not run through it. A circuit used now and then counts by itself alone, where
    it is entered that the panel feeds it; one that draws far more than its design current counts by that.
    """
    rules, names = rules_of(view), {each.name for each in view.vessel.batteries}
    running: list[MeasuredValue] = []
    others: list[MeasuredValue] = []
    missing: list[Missing] = []
    for circuit in _behind_main_fuses(view):
        if len(names) > 1 and circuit.battery != battery.name:
            continue
        facts = view.once(facts_of, circuit, rules, weighs_current=True)
        if "load" in facts.missing:
            lacking = facts.missing["load"]
            missing.append(attrs.evolve(lacking, text=f"{circuit.name}: {lacking.text}", of=circuit.name))
            continue
        load = facts.design if facts.draws_too_much else facts.load
        if circuit.runs_with_others is None:
            missing.append(_runs_or_not(circuit))
        if circuit.runs_with_others:
            running.append(load)
        elif circuit.fed_from:
            others.append(load)
    amperes = [[each.value for each in several] for several in (running, others)]
    at_once = together(running, "A", load_sum(rules.chosen("load_rule"), *amperes))
    return max(at_once, *others, key=lambda each: each.value) if others else at_once, tuple(missing)


def _behind_main_fuses(view: JobView) -> list[Circuit]:
    return [
        circuit
        for circuit in view.vessel.circuits
        if circuit.use not in (PANEL_FEED, CRANKING) and circuit.fed_from != AT_THE_BATTERY
    ]


def main_fuse_findings(view: JobView) -> Iterator[Finding]:
    """Rating of every battery's main fuse against what runs at once through it. Circuits that name no battery may run
    through any: they are told once, for all fuses that they leave open.
    """
    homeless = _homeless(view, _behind_main_fuses(view))
    left_open: list[str] = []

    def judge(battery: Battery) -> Iterator[Finding]:
        if not has_been_read(view, BATTERIES, "fuse_rating", battery.name):
            return
        rating = read(view, BATTERIES, "fuse_rating", "A", battery.name).value
        load, missing = behind_main_fuse(view, battery)
        opens, fits = rating <= load.low, rating > load.high
        if homeless and not opens:
            left_open.append(about(battery))
        if missing and not opens:
            raise NotEnoughData(*missing)
        if not load.value > 0 or (homeless and not opens):
            return
        shown = Number.of("load behind it", load)
        behind = f"{in_full(rating)} A main fuse, {shown} at once behind it"
        advice = " as far as entered: it will open. Read the fuse again, or fit a larger one that protects its lead."
        if not opens:
            advice = ": it may open. Fit a larger one that protects its lead, or measure what runs."
        beyond = MAIN_FUSE_OPENS if opens else "wiring_audit.main_fuse.may_open"
        rule = rules_of(view).chosen("load_rule")
        yield Finding(
            code="wiring_audit.main_fuse.fits" if fits else beyond,
            verdict=Verdict.PASS if fits else Verdict.ADVISE,
            about=about(battery),
            of=battery.name,
            sentence=f"{behind}{'.' if fits else advice}",
            numbers=(Number("main fuse", rating, "A"), shown),
            limits=(Limit(shown.name, high=rating),),
            basis=(bases.MAIN_FUSE, bases.LOAD_COLUMNS if rule == COLUMNS else bases.LOAD_SUM),
        )

    yield from each_piece(view.vessel.batteries, about, judge, (bases.MAIN_FUSE,))
    if left_open:
        yield not_enough_data(", ".join(left_open), [_of_no_battery(homeless)], (bases.MAIN_FUSE,))


class Unexplained(enum.Enum):
    """How a measured load differs from what is listed, beyond a tenth and what the meter is good to."""

    MORE = "more"
    LESS = "less"


UNEXPLAINED_FROM = 0.1
"""Share of the load listed by which the measured one may differ; common practice, no source [-]."""


def unexplained(load: Load, measured: MeasuredValue) -> Unexplained | None:
    """How a measured load differs from the list; None where meter, a tenth and the design currents explain it."""
    more = together([measured, times(load.total, -1)], "A")
    if at_most(more, UNEXPLAINED_FROM * load.total.value) is Verdict.FAIL:
        return Unexplained.MORE
    less = together([load.running, times(measured, -1)], "A")
    return Unexplained.LESS if at_most(less, UNEXPLAINED_FROM * load.running.value) is Verdict.FAIL else None


def load_findings(view: JobView) -> Iterator[Finding]:
    """Load of every battery, and of all together against what the engines charge."""
    if not view.vessel.circuits:
        return
    loads: list[_Counted] = []

    def judge(battery: Battery) -> Iterator[Finding]:
        if not loads_of(view, battery):
            return
        load = load_of(view, battery)
        measured = _measured_load(view, battery)
        loads.append(_Counted(load.total, measured))
        if not loads[-1].larger.value > 0:  # a load of nothing passes nothing
            raise NotEnoughData(_nothing_runs(battery))
        yield _load_finding(view, battery, load, measured)

    fed = _fed(view)
    yield from each_piece(fed, about, judge, (bases.LOAD_SUM,))
    if fed and len(loads) == len(fed) and view.vessel.engines:
        yield from each_piece(
            [view.vessel.engines], lambda _: "Charging", _charging(loads, rules_of(view)), (bases.CHARGING,)
        )


def _fed(view: JobView) -> list[Battery]:
    """Batteries that feed circuits; the first alone where that cannot be told, so that it is said once."""
    try:
        return [battery for battery in view.vessel.batteries if loads_of(view, battery)]
    except NotEnoughData:
        return list(view.vessel.batteries[:1])


def _measured_load(view: JobView, battery: Battery) -> MeasuredValue | None:
    """The load as it was read; None where it was not."""
    if not has_been_read(view, LOADS, "load_current", battery.name):
        return None
    return read(view, LOADS, "load_current", "A", battery.name, rules_of(view).share("current_meter"))


@frozen
class _Counted:
    """The load of a battery as listed, and as it was read with all of that on [A]; None where it was not."""

    listed: MeasuredValue
    measured: MeasuredValue | None

    @property
    def larger(self) -> MeasuredValue:
        """What counts until somebody has explained the difference [A]."""
        return max(self.listed, self.measured or self.listed, key=lambda one: one.value)


_UNEXPLAINED = {
    Unexplained.MORE: ("wiring_audit.load_sum.unlisted_load", "Find what draws the rest and list it."),
    Unexplained.LESS: (
        "wiring_audit.load_sum.less_than_listed",
        "See what was off when it was read, or what the list has too high.",
    ),
}


def _load_in_words(counted: Number, circuits: int) -> str:
    """The load as listed; in words of its own where the list is empty."""
    if not circuits:
        return "No circuit on the list of what runs together"
    return f"{counted} from {in_number(circuits, 'circuit', 'circuits that run together')}"


def _load_finding(view: JobView, battery: Battery, load: Load, measured: MeasuredValue | None) -> Finding:
    counted = Number.of("load", load.total)
    numbers: tuple[Number, ...] = (counted,)
    code, verdict, more = "wiring_audit.load_sum.listed", Verdict.PASS, ""
    limits: tuple[Limit, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    if measured is not None:
        more_than_listed = together([measured, times(load.total, -1)], "A")
        numbers = (counted, Number.of("measured", measured), Number.of("measured beyond the list", more_than_listed))
        limits = (Limit("measured beyond the list", high=UNEXPLAINED_FROM * load.total.value),)
        more = f" Measured {rounded(measured.value, 1)} A."
        how = unexplained(load, measured)
        if how is not None:
            code, what_to_do = _UNEXPLAINED[how]
            verdict, more = Verdict.ADVISE, f"{more} {what_to_do} Until then the larger counts for the reserve."
            if how is Unexplained.LESS:
                less = _less_than_listed(load, measured)
                allowed = UNEXPLAINED_FROM * load.running.value + load.total.value - load.running.value
                numbers, limits = (*numbers, less), (Limit(less.name, high=allowed),)
            read, listed = rounded(measured.value, 1), rounded(load.total.value, 1)
            text = f"{battery.name} battery: {read} A measured, {listed} A listed"
            doubts = (Doubt(text, step=LOADS, field="load_current", of=battery.name),)
    if view.value(LOADS, "classes_agreed") is False:
        more += " Go through the list of what runs together, and mark each circuit."
        if verdict is Verdict.PASS:
            code, verdict = "wiring_audit.load_sum.list_not_gone_through", Verdict.ADVISE
    rule = rules_of(view).chosen("load_rule")
    return Finding(
        code=code,
        verdict=verdict,
        about=about(battery),
        of=battery.name,
        sentence=f"{_load_in_words(counted, len(load.circuits))}.{more}",
        numbers=numbers,
        limits=limits,
        basis=(bases.LOAD_COLUMNS if rule == COLUMNS else bases.LOAD_SUM, *([bases.LOAD_EXPLAINED] if doubts else [])),
        doubts=doubts,
    )


def _less_than_listed(load: Load, measured: MeasuredValue) -> Number:
    """How far the load read is below the one listed; as sure as what was read of it."""
    by = together([load.running, times(measured, -1)], "A", load.total.value - measured.value)
    return Number.of("listed beyond the measured", by)


def _charging(loads: Sequence[_Counted], rules: Rules) -> Callable[[tuple[Engine, ...]], Iterator[Finding]]:
    def judge(engines: tuple[Engine, ...]) -> Iterator[Finding]:
        charging = sum(
            known(
                engine.charging_current,
                "A",
                f"charging current of {engine.position} engine",
                field="engines.charging_current",
                of=engine.position,
            ).value
            for engine in engines
        )
        load = together([one.larger for one in loads], "A")
        if not load.value > 0:
            text = "no load runs together; measure the load or mark what runs together"
            raise NotEnoughData(text, lack=Lack.NOT_ENTERED, step=LOADS, field="load_current")
        read_on = [one.measured for one in loads if one.measured is not None]
        measured = together(read_on, "A") if len(read_on) == len(loads) else None
        left = rules.share("charging_left")
        code, verdict, advice = _charging_verdict(load, measured, charging, left)
        run = f"{rounded(load.value, 1)} A run together"
        if measured is not None:
            listed = together([one.listed for one in loads], "A")
            run = f"{rounded(measured.value, 1)} A measured with all on, {rounded(listed.value, 1)} A listed"
        yield Finding(
            code=code,
            verdict=verdict,
            about="Charging",
            sentence=f"{run}, the engines charge {rounded(charging, 1)} A.{advice}",
            numbers=(
                Number.of("load", load),
                Number("charging", charging, "A"),
            ),
            limits=(Limit("load", high=charging / (1 + left)),),
            basis=(bases.CHARGING, bases.LOAD_SUM),
        )

    return judge


def _charging_verdict(
    load: MeasuredValue, measured: MeasuredValue | None, charging: float, left: float
) -> tuple[str, Verdict, str]:
    """Code, verdict and advice on what the engines charge, against the load that counts and the one read [A].

    left : to charge with, as a share of the load, 0 or above [-]

    Batteries are said to run down only where the meter shows it, or the list where no meter was read.
    """
    if at_most(load, charging / (1 + left)) is Verdict.PASS:
        return "wiring_audit.load_sum.charging_covers", Verdict.PASS, ""
    shown = load if measured is None else measured
    if at_most(shown, charging) is not Verdict.FAIL:
        advice = " Next to nothing is left to charge: run less together or charge more."
        return "wiring_audit.load_sum.charging_thin", Verdict.ADVISE, advice
    advice = " The batteries run down under way: run less together or charge more."
    return "wiring_audit.load_sum.charging_short", Verdict.ADVISE, advice


@frozen
class Reserve:
    """Time a full, sound battery carries its load, and that load [A].

    hours   : the most likely time [h]
    low     : lower end of its 95 % interval [h]
    high    : upper end; where the draw is below the 20 h rate, of what is credited [h]
    slow    : whether the draw is below the 20 h rate, where a battery gives more than is credited
    counted : how the load was found: "measured", "added up", or "the larger of both"
    """

    hours: float
    low: float
    high: float
    slow: bool
    load: float
    counted: str

    @property
    def words(self) -> str:
        """As people read it: less than an hour in minutes."""
        times, unit = (1.0, "h") if self.high >= 1 else (60.0, "min")
        decimals = _decimals(self.low * times)
        shown = [rounded(one * times, decimals) for one in (self.hours, self.low, self.high)]
        return f"{shown[1]} {unit} or more" if self.slow else f"{shown[0]} {unit} ({shown[1]} to {shown[2]} {unit})"

    @property
    def decimals(self) -> int:
        """Digits after the point worth showing."""
        return _decimals(self.low)


def _decimals(low: float) -> int:
    """Digits after the point of which the first is no nought, for a time that is at least so long.

    >>> _decimals(12), _decimals(4.5), _decimals(0.04)
    (0, 1, 2)
    """
    return 0 if low >= 10 else min(4, max(1, -math.floor(math.log10(low)))) if low > 0 else 1


def _nothing_runs(battery: Battery) -> Missing:
    text = "no load runs together on it; measure the load or mark what runs together"
    return Missing(text, lack=Lack.NOT_ENTERED, step=LOADS, field="load_current", of=battery.name)


def reserve_of(view: JobView, battery: Battery) -> Reserve:
    """Reserve time of a battery under the measured load where there is one, else under the sum.

    While the two differ and nobody has explained why, the larger counts. The logarithm of the time is what load,
    capacity and the exponent of Peukert's law add to [JCGM 100:2008, 5.1.6], so its ends are not alike.
    """
    rules = rules_of(view)
    capacity = known(battery.capacity, "Ah", "capacity", field="batteries.capacity").value
    share = _usable_share(battery, rules)
    load, counted = _reserve_load(view, battery)
    if not load.value > 0:
        raise NotEnoughData(_nothing_runs(battery))
    exponent, doubt = rate_exponent(battery.chemistry)
    hours = reserve_hours(capacity, share, load.value, exponent)
    over = over_rate(capacity, load.value)
    counts = exponent if over > 1 else 1.0  # by Peukert's law time goes with (capacity / load) ^ exponent
    logarithm = (
        *times(load, counts / load.value).parts,
        Part.of_expanded("capacity", counts * rules.share("capacity")),
        Part.of_expanded("exponent", math.log(over) * doubt),
    )
    factor = math.exp(MeasuredValue.of_parts(math.log(hours), "", logarithm).expanded_uncertainty)
    return Reserve(hours, hours / factor, hours * factor, over <= 1, load.value, counted)


def _reserve_load(view: JobView, battery: Battery) -> tuple[MeasuredValue, str]:
    """The load a reserve is reckoned with, and how it was found."""
    measured = _measured_load(view, battery)
    if measured is None:
        return load_of(view, battery).total, "added up"
    try:
        load = load_of(view, battery)
    except NotEnoughData as lacking:
        if any(one.lack is Lack.CONTRADICTS for one in lacking.missing):
            raise  # a circuit draws what it cannot: the meter may have caught it or not
        return measured, "measured"  # nothing is listed that it could be held against
    how = unexplained(load, measured) if load.circuits else None
    if how is None:
        return measured, "measured"
    return max(measured, load.total, key=lambda one: one.value), "the larger of measured and added up"


def reserve_findings(view: JobView) -> Iterator[Finding]:
    """Reserve time of every battery that feeds circuits."""
    least = rules_of(view).amount("reserve_least", "h")

    def judge(battery: Battery) -> Iterator[Finding]:
        reserve = reserve_of(view, battery)
        code, verdict, advice = _reserve_verdict(reserve, least)
        surely = Number(
            f"reserve time, {'at least' if reserve.slow else 'shortest'}", reserve.low, "h", decimals=reserve.decimals
        )
        shown: tuple[Number, ...] = (surely,)
        if not reserve.slow:
            shown = (
                Number("reserve time", reserve.hours, "h", decimals=reserve.decimals),
                surely,
                Number("reserve time, longest", reserve.high, "h", decimals=reserve.decimals),
            )
        yield Finding(
            code=code,
            verdict=verdict,
            about=about(battery),
            of=battery.name,
            sentence=f"{reserve.words} from full, as good as new, at {rounded(reserve.load, 1)} A ({reserve.counted}). "
            f"{in_full(least)} h wanted.{advice}",
            places=_facts(battery, CAPACITY, NOMINAL_VOLTAGE),
            numbers=shown,
            limits=(Limit(surely.name, low=least),),
            basis=(_usable_basis(battery, rules_of(view)), bases.RATE, bases.LOAD_SUM),
        )

    fed = _fed(view)
    loaded = [each for each in view.vessel.batteries if each in fed or _draws(view, each)]
    return each_piece(loaded, about, judge, (bases.RESERVE,))


def _reserve_verdict(reserve: Reserve, least: float) -> tuple[str, Verdict, str]:
    """Code, verdict and advice on a reserve, against the least that is wanted [h]."""
    if reserve.low >= least:
        return "wiring_audit.battery_reserve.enough", Verdict.PASS, ""
    if reserve.high >= least:
        return (
            "wiring_audit.battery_reserve.open",
            Verdict.ADVISE,
            " Too close to call: plan with less, or fit more capacity.",
        )
    return (
        "wiring_audit.battery_reserve.short",
        Verdict.ADVISE,
        " Fit more capacity, or tell the owner what to switch off.",
    )


def _draws(view: JobView, battery: Battery) -> bool:
    """Whether a load was read on a battery that feeds no circuit. 0 A is what one for starting alone shows."""
    if not has_been_read(view, LOADS, "load_current", battery.name):
        return False
    try:
        return view.amount(LOADS, "load_current", "A", of=battery.name) != 0
    except NotEnoughData:  # who judges it says why
        return True
