"""What a vessel's facts say of each other: which are unusual, and which cannot all be right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from garboard.findings import OF_VESSEL, Doubt, in_full, rounded
from garboard.records import Battery, Engine, NetworkBus, Vessel, unusual_in, unusual_of
from garboard.units import Amount

WIDEST_WINDOW = 1_500.0
"""From the low to the high end of a full-throttle window [rev/min]; common practice, no source."""
WEIGHED_WITHIN = 0.05
"""Two weights of one boat that differ by less, as a share, may be the same [-]; common practice, no source."""
LIMITER_ABOVE = 1_500.0
"""A limiter stands no further above the window's high end [rev/min]; common practice, no source."""
LIMITER_BELOW = 100.0
"""A limiter that stands no further below the end of a window may be right [rev/min]; common practice, no source."""
LEAST_TO_START = 20.0
"""A battery of less than this starts no outboard of STARTED_BY_HAND or more [Ah]; common practice, no source."""
STARTED_BY_HAND = 40.0
"""Below this an outboard may be started by hand, or by a small battery [hp]; common practice, no source."""
LEAST_TO_CRANK = 30.0
"""No motor that cranks an outboard draws less [A]; common practice, no source."""
MOST_HOURS = 20_000.0
"""No outboard runs longer [h]; common practice, no source."""
CHARGES, CHARGES_BESIDES = 0.75, 15.0
"""No outboard charges with more than so many amperes for each horsepower, and so many besides [A]; common practice, no
source."""
BURNS = 0.50 / 6.1
"""What an engine burns at full throttle for each hp, by 0.50 lb/(hp h) and 6.1 lb/gal; common practice [gal/h]."""
LEAST_FULL_THROTTLE = 0.25
"""No boat has tanks for less than this at full throttle [h]; common practice, no source."""
PLATE_PER_LENGTH = 60.0
"""No maximum-power plate says more for each foot of length [hp/ft]; common practice, no source."""
CABLE_BY_LENGTH = 3.0
"""A cable run of more than so many times the boat's length is asked about [-]; common practice, no source."""
BACKBONE_BY_LENGTH = 6.0
"""The same of the backbone of a network, which goes there and back [-]; common practice, no source."""
LADEN_BY_RUN = 4.0
"""No boat weighs so many times as much fully laden as it was run [-]; common practice, no source."""
SAME_WIDTH = 0.02
"""A transom may be measured wider than the beam by this share of it [-]; common practice, no source."""
THIN_FROM, THINNEST = 75.0, 11.0
"""An engine of so many horsepower and more turns no propeller of a smaller diameter [hp] [in]; common practice, no
source."""
HOURS_APART = 50.0
"""Engines of one boat that have run further apart than this are asked about [h]; common practice, no source."""
PRINTED = (60, 70, 75, 80, 85, 90, 105, 125, 200)
"""Ratings printed on a cable's insulation: those of the tables that judge it [degC]."""


def unusual_facts(vessel: Vessel) -> Iterator[str]:
    """A question for every number of a vessel and its equipment that is outside its usual range, and every doubt.

    >>> list(unusual_facts(Vessel(hull_number="QQZ01234A626", beam=Amount("45", "ft"))))
    ['Vessel, beam: 45 ft is outside the usual 3 to 20 ft. Is it right?']
    """
    yield from (f"Vessel, {asked}" for _, asked in unusual_in(vessel))
    for engine in vessel.engines:
        yield from unusual_of(engine)
    for kind, pieces in (
        ("propeller", vessel.propellers),
        ("tank", vessel.tanks),
        ("battery", vessel.batteries),
        ("circuit", vessel.circuits),
        ("network", vessel.networks),
    ):
        for piece in pieces:
            yield from (f"{kind} {piece.name}, {asked}" for _, asked in unusual_in(piece))
            for device in piece.devices if isinstance(piece, NetworkBus) else ():
                yield from (f"{piece.name} device {device.name}, {asked}" for _, asked in unusual_in(device))
    yield from _not_printed(vessel)
    yield from _cranks_too_little(vessel)
    yield from _hours_apart(vessel)
    yield from _laden(vessel)
    yield from _too_thin(vessel)
    yield from _longer_than_the_boat(vessel)
    for number, engines in _shared((one.serial_number.strip().casefold(), one.position) for one in vessel.engines):
        yield f"{engines[0]} engine and {engines[1]} engine have one serial number, {number.upper()}. Is it right?"
    yield from dict.fromkeys(f"{doubt.text}. Is it right?" for doubt in doubts_of(vessel))


def _hours_apart(vessel: Vessel) -> Iterator[str]:
    """Engines of one boat run together; one may be newer, so nothing is in doubt for it."""
    run = sorted((one.hours.to("h"), one.position, str(one.hours)) for one in vessel.engines if one.hours)
    if run and run[-1][0] - run[0][0] > HOURS_APART:
        (_, least, few), (_, most, many) = run[0], run[-1]
        yield f"{most} engine has run {many}, {least} engine {few}. Is it right?"


def _laden(vessel: Vessel) -> Iterator[str]:
    """Nothing is in doubt for it: what is foreseen fully laden is not told then."""
    run, full = vessel.displacement_as_run, vessel.displacement_full_load
    if run and full and full.to("lb") < run.to("lb") * (1 - WEIGHED_WITHIN):
        yield f"fully laden the boat weighs {full}, less than as run, {run}. Is it right?"
    if run and full and full.to("lb") > run.to("lb") * LADEN_BY_RUN:
        yield f"fully laden the boat weighs {full}, many times as much as it was run, {run}. Is it right?"


def _cranks_too_little(vessel: Vessel) -> Iterator[str]:
    """Of a lead to a cranking motor nothing is judged, so what is none must not be called one."""
    for one in vessel.circuits:
        told = (("design current", one.design_current), ("fuse or breaker", one.protection_rating))
        for what, amount in told:
            if one.use == "cranking motor" and amount and amount.to("A") < LEAST_TO_CRANK:
                yield f"circuit {one.name}: {what} {amount} is too little for a cranking motor. Is it one?"
                break


def _too_thin(vessel: Vessel) -> Iterator[str]:
    """Nothing is in doubt for it: slip is told by pitch, and no verdict by diameter."""
    for engine in vessel.engines:
        diameter = engine.propeller.diameter if engine.propeller else None
        if diameter and _power(engine) >= THIN_FROM and diameter.to("in") < THINNEST:
            yield f"{engine.position} engine: a propeller of {diameter} on {engine.rated_power}. Is it right?"


def _longer_than_the_boat(vessel: Vessel) -> Iterator[str]:
    """Nothing is in doubt for it: a length entered too long passes nothing that is too thin."""
    for circuit in vessel.circuits:
        if vessel.length and circuit.length and circuit.length.to("ft") > CABLE_BY_LENGTH * vessel.length.to("ft"):
            yield f"circuit {circuit.name}: {circuit.length} of cable on a boat of {vessel.length}. Is it right?"
    for bus in vessel.networks:
        run = bus.backbone_length
        if vessel.length and run and run.to("ft") > BACKBONE_BY_LENGTH * vessel.length.to("ft"):
            yield f"network {bus.name}: {run} of backbone on a boat of {vessel.length}. Is it right?"


def _shared(named: Iterable[tuple[str, str]]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Names that are given to several pieces, each with the pieces that have it.

    >>> list(_shared([("20", "compass"), ("21", "pilot"), ("20", "dome"), ("", "spare"), ("", "old")]))
    [('20', ('compass', 'dome'))]
    """
    pieces: dict[str, dict[str, None]] = {}
    for name, piece in named:
        pieces.setdefault(name, {})[piece] = None
    yield from ((name, tuple(several)) for name, several in pieces.items() if name and len(several) > 1)


def _not_printed(vessel: Vessel) -> Iterator[str]:
    """Insulation ratings that no table has. Nothing is in doubt for them: they count as the next lower one.

    Only one above all that are printed is doubted: the next lower one lets it carry the most.
    """
    for circuit in vessel.circuits:
        rating = circuit.insulation_temperature
        if rating and rating.to("degC") < PRINTED[-1] and round(rating.to("degC")) not in PRINTED:
            yield f"circuit {circuit.name}: no cable insulation is rated {rating}. What is printed on it?"


def doubts_of(vessel: Vessel) -> Iterator[Doubt]:
    """Facts that contradict each other. Nothing that rests on one of them passes."""
    for engine in vessel.engines:
        yield from _of_engine(engine)
    for battery in vessel.batteries:
        yield from _of_battery(battery, vessel)
    for circuit in vessel.circuits:
        rating = circuit.insulation_temperature
        if rating and rating.to("degC") > PRINTED[-1] + 0.5:
            text = f"circuit {circuit.name}: {rating} is more than any cable's insulation is rated"
            yield from _doubts(text, circuit.name, "circuits.insulation_temperature")
    yield from _of_tanks(vessel)
    plate, length = vessel.plate_power, vessel.length
    if plate and length and plate.to("hp") > PLATE_PER_LENGTH * length.to("ft"):
        yield from _doubts(f"plate power {plate} is more than any boat of {length} is built for", "", "plate_power")
    if (width := vessel.transom_width) and vessel.beam and width.to("ft") > (1 + SAME_WIDTH) * vessel.beam.to("ft"):
        yield from _doubts(f"transom {width} is wider than the beam, {vessel.beam}", "", "transom_width", "beam")
    if vessel.length and vessel.beam and vessel.beam.to("ft") > vessel.length.to("ft"):
        yield from _doubts(f"beam {vessel.beam} is more than the length, {vessel.length}", "", "length", "beam")
    yield from _of_sensors(vessel)


def _of_sensors(vessel: Vessel) -> Iterator[Doubt]:
    """A source is one device. Entered for two sensors, its readings would be told of the first, whosever they are."""
    named = ((source, sensor.name) for sensor in vessel.heading_sensors for source in sensor.sources)
    for source, sensors in _shared(named):
        for sensor in sensors:
            text = f"source {source} is entered for {' and '.join(sensors)}"
            yield from _doubts(text, sensor, "heading_sensors.source")


def _of_tanks(vessel: Vessel) -> Iterator[Doubt]:
    """Tanks that would be empty before the boat has left: one of them was entered in another unit, or is not listed."""
    held = [tank.capacity.to("gal") for tank in vessel.tanks if tank.capacity]
    burnt = sum(map(_power, vessel.engines)) * BURNS
    if held and len(held) == len(vessel.tanks) and sum(held) < LEAST_FULL_THROTTLE * burnt:
        minutes = rounded(sum(held) / burnt * 60, 0)
        for tank in vessel.tanks:
            text = f"tank {tank.name}: {tank.capacity}, and full throttle burns all there is in {minutes} min"
            yield from _doubts(text, tank.name, "tanks.capacity")


def _power(engine: Engine) -> float:
    return engine.rated_power.to("hp") if engine.rated_power else 0.0


def _of_engine(engine: Engine) -> Iterator[Doubt]:
    of, ends = engine.position, ("engines.full_throttle_low", "engines.full_throttle_high")
    if engine.hours and engine.hours.to("h") > MOST_HOURS:
        yield from _doubts(f"{of} engine: no outboard runs {engine.hours}", of, "engines.hours")
    charges, power = engine.charging_current, _power(engine)
    if charges and power and charges.to("A") > CHARGES * power + CHARGES_BESIDES:
        text = f"{of} engine: {charges} is more than an outboard of {engine.rated_power} charges with"
        yield from _doubts(text, of, "engines.charging_current")
    low, high, limiter = map(_speed, (engine.full_throttle_low, engine.full_throttle_high, engine.limiter_speed))
    window = f"{of} engine: full-throttle window {in_full(low or 0)} to {in_full(high or 0)} rev/min"
    if low and high and low >= high:
        yield from _doubts(f"{window} has its low end first", of, *ends)
    if low and high and high - low > WIDEST_WINDOW:
        yield from _doubts(f"{window} is wider than {in_full(WIDEST_WINDOW)}", of, *ends)
    beside = f"{of} engine: limiter at {in_full(limiter or 0)} rev/min"
    for end, field in ((high, ends[1]), (None if high else low, ends[0])):
        if end and limiter and limiter < end - LIMITER_BELOW:
            yield from _doubts(f"{beside} is below the window's {in_full(end)}", of, field, "engines.limiter_speed")
    if high and limiter and limiter > high + LIMITER_ABOVE:
        yield from _doubts(f"{beside} is far above the window's {in_full(high)}", of, ends[1], "engines.limiter_speed")


def _of_battery(battery: Battery, vessel: Vessel) -> Iterator[Doubt]:
    """A battery that starts an outboard has to hold enough for it."""
    capacity = battery.capacity.to("Ah") if battery.capacity else LEAST_TO_START
    strongest = max(map(_power, vessel.engines), default=0.0)
    if capacity < LEAST_TO_START and strongest >= STARTED_BY_HAND and _may_start(battery, vessel):
        text = f"battery {battery.name}: {battery.capacity} does not start an outboard of {in_full(strongest)} hp"
        yield from _doubts(text, battery.name, "batteries.capacity")


def _may_start(battery: Battery, vessel: Vessel) -> bool:
    """Whether a battery starts an engine: by a circuit, by the name people gave it, or for want of a larger one."""
    cranks = any(one.use == "cranking motor" and one.battery == battery.name for one in vessel.circuits)
    larger = any(one.capacity is None or one.capacity.to("Ah") >= LEAST_TO_START for one in vessel.batteries)
    return cranks or "start" in battery.name.casefold().split() or not larger


def _speed(amount: Amount | None) -> float | None:
    return amount.to("rev/min") if amount else None


def _doubts(text: str, of: str, *fields: str) -> Iterator[Doubt]:
    for field in fields:
        yield Doubt(text, step=OF_VESSEL, field=field, of=of)
