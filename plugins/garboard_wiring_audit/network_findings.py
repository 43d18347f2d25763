"""Findings on NMEA 2000 networks: load, lengths, terminators and the voltage at the worst device."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial

from garboard.findings import (
    OF_VESSEL,
    Axis,
    Band,
    Basis,
    Doubt,
    Figure,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
    in_full,
    rounded,
    rounded_beside,
)
from garboard.job_view import JobView
from garboard.records import NetworkBus, NetworkDevice
from garboard.uncertainty import MeasuredValue
from garboard.units import Amount
from garboard_wiring_audit import bases
from garboard_wiring_audit.bus import (
    AMPERES_PER_LOAD_NUMBER,
    LARGEST_BACKBONE,
    LARGEST_CURRENT,
    LARGEST_DEVICE_LOAD,
    LARGEST_DROP_LENGTH,
    LARGEST_DROPS_TOGETHER,
    LIGHT_CABLE_RESISTANCE,
    MOST_DEVICES,
    TERMINATOR,
    BusDevice,
    bus_drop,
    device_drop,
    load_number,
    terminators_by_resistance,
    worst_device,
)
from garboard_wiring_audit.pieces import each_piece
from garboard_wiring_audit.readings import all_of, at_most, known, read, read_yes, times, together
from garboard_wiring_audit.rules import rules_of
from garboard_wiring_audit.steps import NETWORKS
from garboard_wiring_audit.voltage_drop import with_sag

HEAVY = "heavy"
NO_CABLE = Missing("cable (light, mid or heavy) is not entered", lack=Lack.NOT_ENTERED, field="networks.cable")
RESISTANCE = "networks.cable_resistance_per_metre"
MOST_RESISTANCE = 0.5  # light network cable has conductors of 24 AWG, of 0.08; common practice, no source [ohm/m]
OPEN_LINE = 1000.0  # from here on nothing closes the signal lines; common practice, no source [ohm]
SHORTED_LINE = 5.0  # down here they touch; common practice, no source [ohm]
LEAST_RESISTANCE = 0.01  # the heaviest network cable has conductors of 16 AWG; common practice, no source [ohm/m]
MOST_LIFTED = 1.3  # a charger lifts 12 V to 15 at most; common practice, no source [-]
BEFORE_THE_TEE = "lost before the power tee"
SHEETS = (bases.NETWORK_SHEETS,)


def about(bus: NetworkBus) -> str:
    """What findings on a network are about."""
    return f"{bus.name} network"


def _each_bus(
    view: JobView, judge: Callable[[NetworkBus], Iterator[Finding]], basis: tuple[Basis, ...]
) -> Iterator[Finding]:
    return each_piece(view.vessel.networks, about, judge, basis)


# Load


def load_number_of(device: NetworkDevice) -> int:
    """Load equivalency number: as given, else from the current. Raises NotEnoughData when neither is known."""
    given = device.load_equivalency
    if given is not None:
        if 0 <= given <= 1000:
            return given
        text = f"load number of {device.name} cannot be {given}"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field="networks.devices.load_equivalency", of=device.name)
    what, field = f"load number or current of {device.name}", "networks.devices.load_equivalency"
    return load_number(known(device.current, "A", what, True, field=field, of=device.name).value)


def _load_numbers(bus: NetworkBus) -> list[int]:
    if not bus.devices:
        raise NotEnoughData("no devices are entered", lack=Lack.NOT_ENTERED, field="networks.devices", of=bus.name)
    return all_of(*(partial(load_number_of, device) for device in bus.devices))


def load_sum_of(bus: NetworkBus) -> int:
    """Sum of load equivalency numbers. Raises NotEnoughData naming the devices that lack one."""
    return sum(_load_numbers(bus))


def load_findings(view: JobView) -> Iterator[Finding]:
    """Sum of load equivalency numbers against cable and fuse; single devices; number of devices."""

    def judge(bus: NetworkBus) -> Iterator[Finding]:
        numbers = _load_numbers(bus)
        total = sum(numbers)
        amperes = total * AMPERES_PER_LOAD_NUMBER
        if not bus.cable:
            raise NotEnoughData(NO_CABLE)
        limit = LARGEST_CURRENT[bus.cable]
        faults = [
            f"{device.name} draws more than 1 A: power it from its own circuit."
            for device, number in zip(bus.devices, numbers, strict=True)
            if number > LARGEST_DEVICE_LOAD
        ]
        if amperes > limit:
            faults.append(f"{bus.cable} cable carries {in_full(limit)} A: fit heavier cable or a second power tee.")
        if len(bus.devices) > MOST_DEVICES:
            faults.append(f"{len(bus.devices)} devices, {MOST_DEVICES} at most: split the network.")
        faults += _fuse_faults(bus, amperes, limit)
        fuse = (
            () if bus.protection_rating is None else (Number("fuse", bus.protection_rating.to("A"), "A", decimals=0),)
        )
        least = min(amperes, limit)  # a load beyond the cable is the load's fault, not the fuse's
        yield Finding(
            code="wiring_audit.network_load.too_much" if faults else "wiring_audit.network_load.within_limits",
            verdict=Verdict.FAIL if faults else Verdict.PASS,
            about=about(bus),
            sentence=" ".join([f"Load number {total}, {rounded(amperes, 2)} A on {bus.cable} cable.", *faults]),
            numbers=(
                Number("load number", total, decimals=0),
                Number("current", amperes, "A", decimals=2),
                Number("cable carries", limit, "A", decimals=0),
                Number("largest load number of a device", max(numbers), decimals=0),
                Number("devices", len(bus.devices), decimals=0),
                *fuse,
            ),
            limits=(
                Limit("current", high=limit),
                Limit("largest load number of a device", high=LARGEST_DEVICE_LOAD),
                Limit("devices", high=MOST_DEVICES),
                *(Limit(one.name, low=least, high=limit) for one in fuse),
            ),
            tables=(_device_table(bus, numbers),),
            basis=SHEETS,
        )

    return _each_bus(view, judge, SHEETS)


def _fuse_faults(bus: NetworkBus, amperes: float, limit: float) -> list[str]:
    if bus.protection_rating is None:
        return []
    rating = known(bus.protection_rating, "A", "network fuse rating", field="networks.protection_rating").value
    if rating > limit:
        return [f"{in_full(rating)} A fuse on {bus.cable} cable: fit {in_full(limit)} A."]
    return [f"{in_full(rating)} A fuse opens at this load: take load off the network."] if rating < amperes else []


def _device_table(bus: NetworkBus, numbers: list[int]) -> Table:
    rows = tuple(
        (device.name, str(number), _text(device.distance_from_power), _text(device.drop_length), device.leg)
        for device, number in zip(bus.devices, numbers, strict=True)
    )
    return Table(f"{bus.name}: devices", ("Device", "Load number", "From power tee", "Drop cable", "Leg"), rows)


def _text(amount: Amount | None) -> str:
    return "" if amount is None else str(amount)


# Lengths


def length_findings(view: JobView) -> Iterator[Finding]:
    """Backbone, single drop cables and their sum."""

    def judge(bus: NetworkBus) -> Iterator[Finding]:
        if not bus.cable:
            raise NotEnoughData(NO_CABLE)
        backbone, *drops = all_of(
            partial(known, bus.backbone_length, "m", "backbone length", field="networks.backbone_length"),
            *(partial(_drop_length, each) for each in bus.devices),
        )
        _refuse_beyond(bus)
        names = (device.name for device in bus.devices)
        lengths = {name: drop.value for name, drop in zip(names, drops, strict=True)}
        yield _length_finding(bus, backbone.value, lengths)

    return _each_bus(view, judge, SHEETS)


def _refuse_beyond(bus: NetworkBus) -> None:
    """Raise NotEnoughData where a device sits further along the backbone than that is long: one of the two is wrong."""
    backbone = bus.backbone_length.to("m") if bus.backbone_length else math.inf
    for device in bus.devices:
        away = device.distance_from_power.to("m") if device.distance_from_power else 0.0
        if away > max(backbone * 1.05, backbone + 0.5):  # both are paced or taped
            text = f"{device.name} sits {device.distance_from_power} from the power tee on a backbone of "
            text += f"{bus.backbone_length}; correct one"
            raise NotEnoughData(text, lack=Lack.CONTRADICTS, field="networks.backbone_length", of=bus.name)


def _drop_length(device: NetworkDevice) -> MeasuredValue:
    what, field = f"drop length of {device.name}", "networks.devices.drop_length"
    return known(device.drop_length, "m", what, True, field=field, of=device.name)


def _length_finding(bus: NetworkBus, backbone: float, drops: dict[str, float]) -> Finding:
    total = sum(drops.values())
    longest = LARGEST_BACKBONE[bus.cable]
    faults = [
        f"{name}: drop cable {rounded_beside(length, [LARGEST_DROP_LENGTH], 1)} m, {in_full(LARGEST_DROP_LENGTH)} "
        f"m allowed. "
        "Extend the backbone to it."
        for name, length in drops.items()
        if length > LARGEST_DROP_LENGTH
    ]
    if total > LARGEST_DROPS_TOGETHER:
        faults.append(f"Shorten the drop cables: {in_full(LARGEST_DROPS_TOGETHER)} m together allowed.")
    failed = bool(faults)
    if backbone > longest:
        faults.append(f"Shorten the backbone to {in_full(longest)} m, or split the network.")
    memory = bus.cable == HEAVY
    failed = failed or (backbone > longest and not memory)
    return Finding(
        code="wiring_audit.network_lengths.too_long" if faults else "wiring_audit.network_lengths.within_limits",
        verdict=Verdict.FAIL if failed else Verdict.ADVISE if faults else Verdict.PASS,
        about=about(bus),
        sentence=" ".join([f"Backbone {rounded(backbone, 1)} m, drop cables {rounded(total, 1)} m together.", *faults]),
        numbers=(
            Number("backbone", backbone, "m"),
            Number("drop cables", total, "m"),
            Number("longest drop cable", max(drops.values(), default=0.0), "m"),
        ),
        limits=(
            Limit("backbone", high=longest),
            Limit("drop cables", high=LARGEST_DROPS_TOGETHER),
            Limit("longest drop cable", high=LARGEST_DROP_LENGTH),
        ),
        basis=(*SHEETS, *([bases.practice("Heavy backbone of NMEA 2000: 200 m at most")] if memory else [])),
    )


# Terminators


def terminator_findings(view: JobView) -> Iterator[Finding]:
    """Terminators by the resistance between the signal lines, and by count where they were counted."""
    tolerance, two = rules_of(view).share("terminator_tolerance"), TERMINATOR / 2

    def judge(bus: NetworkBus) -> Iterator[Finding]:
        counted = bus.terminators
        reading = read(view, NETWORKS, "signal_resistance", "ohm", bus.name)
        count = terminators_by_resistance(reading.value, tolerance)
        code, verdict, advice = _terminator_advice(count, reading.value, counted)
        yield Finding(
            code=code,
            verdict=verdict,
            about=about(bus),
            sentence=f"{rounded(reading.value)} ohm between the signal lines. {advice}",
            numbers=(Number.of("signal lines", reading, 0),),
            limits=(Limit("signal lines", low=two * (1 - tolerance), high=two * (1 + tolerance)),),
            basis=SHEETS,
        )

    return _each_bus(view, judge, SHEETS)


def _terminator_advice(count: int | None, ohms: float, counted: int | None) -> tuple[str, Verdict, str]:
    if count == 2:
        if counted is not None and counted != 2:
            advice = f"That is two terminators, but {counted} were counted: look again."
            return "wiring_audit.network_terminators.count_differs", Verdict.ADVISE, advice
        return "wiring_audit.network_terminators.two", Verdict.PASS, "Two terminators, as it should be."
    if count == 1:
        advice = "One terminator is missing: fit one of 120 ohm at the bare end."
        return "wiring_audit.network_terminators.one_missing", Verdict.FAIL, advice
    if count is not None:
        advice = f"{count} terminators: take out all but the two at the ends."
        return "wiring_audit.network_terminators.too_many", Verdict.FAIL, advice
    if ohms >= OPEN_LINE:
        advice = "No terminator, or a line is open: check both ends and every tee."
        return "wiring_audit.network_terminators.open_line", Verdict.FAIL, advice
    if ohms <= SHORTED_LINE:
        advice = "The signal lines touch: part the backbone in halves to find where."
        return "wiring_audit.network_terminators.lines_touch", Verdict.FAIL, advice
    advice = "60 ohm expected: power down and read again, then check tees for damp and damage."
    return "wiring_audit.network_terminators.unclear", Verdict.ADVISE, advice


# Voltage


def _resistance(bus: NetworkBus) -> float:
    if bus.cable_resistance_per_metre is not None:
        what = "cable resistance of one metre"
        found = known(bus.cable_resistance_per_metre, "ohm", what, field=RESISTANCE, of=bus.name).value
        if not LEAST_RESISTANCE <= found <= MOST_RESISTANCE:
            than = "less than that of the heaviest" if found < LEAST_RESISTANCE else "more than that of the lightest"
            text = f"{what} reads {bus.cable_resistance_per_metre}, {than} network cable; "
            raise NotEnoughData(
                f"{text}read the data sheet again", lack=Lack.OUT_OF_RANGE, field=RESISTANCE, of=bus.name
            )
        return found
    if bus.cable == "light":
        return LIGHT_CABLE_RESISTANCE
    text = "resistance of one metre of cable is not entered; take it from the cable's data sheet"
    raise NotEnoughData(text, lack=Lack.NOT_ENTERED, field=RESISTANCE, of=bus.name)


def bus_devices(bus: NetworkBus) -> list[BusDevice] | None:
    """Devices with their places; None where a place is not entered. Raises NotEnoughData for lacking loads."""
    numbers = _load_numbers(bus)
    if any(device.distance_from_power is None for device in bus.devices):
        return None
    return [
        BusDevice(
            device.name,
            number * AMPERES_PER_LOAD_NUMBER,
            known(
                device.distance_from_power,
                "m",
                f"distance of {device.name} from power",
                True,
                field="networks.devices.distance_from_power",
                of=device.name,
            ).value,
            0.0 if device.drop_length is None else _drop_length(device).value,
            device.leg,
        )
        for device, number in zip(bus.devices, numbers, strict=True)
    ]


def calculated_voltage_findings(view: JobView) -> Iterator[Finding]:
    """Drop to the worst device with every device where it sits; with all load at the far end where places lack."""
    rules = rules_of(view)
    limit = rules.amount("network_drop", "V")

    def judge(bus: NetworkBus) -> Iterator[Finding]:
        _refuse_beyond(bus)
        resistance = _resistance(bus)
        devices = bus_devices(bus)
        if devices is None:
            what = "backbone length, or each device's distance from power,"
            length = known(bus.backbone_length, "m", what, field="networks.backbone_length").value
            drop, where = bus_drop(sum(_load_numbers(bus)), length, resistance), "with all load at the far end"
        else:
            device, drop = worst_device(devices, resistance)
            where = f"at {device.name}"
        figures = () if devices is None else (_drop_figure(bus, devices, resistance, limit),)
        too_much = drop > limit
        verdict = (Verdict.ADVISE if devices is None else Verdict.FAIL) if too_much else Verdict.PASS
        code, advice = "wiring_audit.network_voltage_calculated.within_limit", ""
        if too_much:
            code = "wiring_audit.network_voltage_calculated.too_much"
            advice = " Feed the backbone in its middle, or fit heavier cable."
            if devices is None:
                code = "wiring_audit.network_voltage_calculated.places_unknown"
                advice = " Enter where each device sits: the true drop is less."
        yield Finding(
            code=code,
            verdict=verdict,
            about=about(bus),
            sentence=f"{rounded_beside(drop, [limit], 2, may_touch=not too_much)} V lost {where}, by calculation; "
            f"{in_full(limit)} V allowed.{advice}",
            of=bus.name,
            places=((OF_VESSEL, "networks.supply_voltage", "", bus.name),),
            numbers=(Number("supply drop", drop, "V", decimals=2), *_voltage_left(view, bus, drop)),
            limits=(Limit("supply drop", high=limit),),
            figures=figures,
            basis=(bases.NETWORK_DROP, bases.NETWORK_SHEETS),
        )

    return _each_bus(view, judge, (bases.NETWORK_DROP,))


def _drop_figure(bus: NetworkBus, devices: list[BusDevice], resistance: float, limit: float) -> Figure:
    """Supply drop at every device by its distance from the power tee, one line for each leg."""
    legs = dict.fromkeys(device.leg for device in devices)
    series = []
    for leg in legs:
        along = sorted((each for each in devices if each.leg == leg), key=lambda device: device.distance)
        drops = tuple(device_drop(devices, device, resistance) for device in along)
        series.append(Series(leg or "devices", tuple(device.distance for device in along), drops))
    return Figure(
        title=f"{bus.name}: supply drop along the backbone",
        x=Axis("distance from the power tee", "m", low=0.0),
        y=Axis("supply drop", "V", low=0.0),
        series=tuple(series),
        bands=(Band("allowed", "y", 0.0, limit),),
    )


def _voltage_left(view: JobView, bus: NetworkBus, drop: float) -> tuple[Number, ...]:
    try:
        supply = (
            read(view, NETWORKS, "tee_voltage", "V", bus.name)
            if bus.supply_voltage is None
            else known(bus.supply_voltage, "V", "supply voltage")
        )
    except NotEnoughData:
        return ()
    return (Number("worst device", supply.value - drop, "V"),) if supply.value > drop else ()


def measured_voltage_findings(view: JobView) -> Iterator[Finding]:
    """Voltage at the worst device by meter: its drop from the power tee and its least value.

    The drop is the difference of two readings with one meter, whose scale they share, and the supply sags between them.
    """
    rules = rules_of(view)
    limit, least = rules.amount("network_drop", "V"), rules.amount("network_volts", "V")
    feed = rules.amount("network_feed", "V")

    def judge(bus: NetworkBus) -> Iterator[Finding]:
        meter = rules.share("voltmeter")
        worst, tee = all_of(
            partial(read, view, NETWORKS, "worst_voltage", "V", bus.name, meter),
            partial(read, view, NETWORKS, "tee_voltage", "V", bus.name, meter),
        )
        drop = with_sag(together([tee, times(worst, -1)], "V"))
        before: tuple[Number, ...] = ()
        if (lost := _lost_on_the_way(bus, tee)) is not None:
            is_lost = round(lost.value, 2) >= 0  # what feeds it stands above its nominal voltage while it is charged
            before = (Number.of(BEFORE_THE_TEE, lost, 2),) if is_lost else ()
            if lost.low > feed:
                yield _feed_loses(bus, tee, Number.of(BEFORE_THE_TEE, lost, 2), feed)
                before = ()
        if drop.high < 0:
            text = "the worst device reads above the power tee; measure both again, all on"
            raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=NETWORKS, field="worst_voltage", of=bus.name)
        verdict = at_most(drop, limit)
        low = worst.low < least
        if verdict is Verdict.PASS and low:
            verdict = Verdict.ADVISE
        advice = {
            Verdict.PASS: "",
            Verdict.ADVISE: f" Too close to tell, or below {in_full(least)} V: check supply and tees, measure again.",
            Verdict.FAIL: " Feed the backbone in its middle, fit heavier cable, or clean the tees.",
        }[verdict]
        code = {
            Verdict.PASS: "wiring_audit.network_voltage_measured.within_limit",
            Verdict.ADVISE: "wiring_audit.network_voltage_measured.open_or_low",
            Verdict.FAIL: "wiring_audit.network_voltage_measured.too_much",
        }[verdict]
        yield Finding(
            code=code,
            verdict=verdict,
            about=about(bus),
            of=bus.name,
            sentence=f"{rounded_beside(worst.value, [least], 2)} V measured at the worst device, "
            f"{rounded_beside(drop.value, [limit], 2)} V below the power tee, "
            f"{in_full(limit)} V allowed.{advice}",
            numbers=(
                Number.of("worst device", worst, 2),
                Number.of("supply drop", drop, 2),
                *before,
            ),
            limits=(
                Limit("supply drop", high=limit),
                Limit("worst device", low=least),
                *(Limit(number.name, high=feed) for number in before),
            ),
            basis=(bases.NETWORK_DROP, bases.NETWORK_VOLTS, *([bases.NETWORK_FEED] if before else [])),
        )

    return _each_bus(view, judge, (bases.NETWORK_DROP,))


def _lost_on_the_way(bus: NetworkBus, tee: MeasuredValue) -> MeasuredValue | None:
    """What is lost between the supply entered and the power tee; None where no supply is entered.

    A tee above it says nothing: a charger is on. Raises NotEnoughData where none lifts it so far.
    """
    if bus.supply_voltage is None:
        return None
    supply = known(bus.supply_voltage, "V", "supply voltage", field="networks.supply_voltage", of=bus.name)
    if tee.value > MOST_LIFTED * supply.value:
        text = (
            f"{rounded(tee.value, 2)} V at the power tee, and {bus.supply_voltage} entered as its supply; correct one"
        )
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, field="networks.supply_voltage", of=bus.name)
    return together([supply, times(tee, -1)], "V")


def _feed_loses(bus: NetworkBus, tee: MeasuredValue, lost: Number, limit: float) -> Finding:
    said = f"{bus.name} network: {rounded(tee.value, 2)} V at the power tee, {bus.supply_voltage} entered as its supply"
    return Finding(
        code="wiring_audit.network_voltage_measured.feed_loses",
        verdict=Verdict.ADVISE,
        about=about(bus),
        of=bus.name,
        sentence=(
            f"{rounded(tee.value, 2)} V at the power tee, "
            f"{rounded(lost.value, 2)} V below the {bus.supply_voltage} entered as supply, "
            f"{in_full(limit)} V allowed. Check feed, fuse holder and joints, and the supply entered; then measure "
            f"again."
        ),
        numbers=(lost,),
        limits=(Limit(lost.name, high=limit),),
        basis=(bases.NETWORK_FEED,),
        doubts=(
            Doubt(said, step=NETWORKS, field="tee_voltage", of=bus.name),
            Doubt(said, step=OF_VESSEL, field="networks.supply_voltage", of=bus.name),
        ),
    )


def supply_findings(view: JobView) -> Iterator[Finding]:
    """Whether the network is powered from an engine-start battery."""

    def judge(bus: NetworkBus) -> Iterator[Finding]:
        on_start = read_yes(view, NETWORKS, "on_start_battery", bus.name)
        start, own = "wiring_audit.network_supply.start_battery", "wiring_audit.network_supply.not_start_battery"
        yield Finding(
            code=start if on_start else own,
            verdict=Verdict.ADVISE if on_start else Verdict.PASS,
            about=about(bus),
            sentence="Powered from an engine-start battery: move it to the house battery's own fused circuit."
            if on_start
            else "Not powered from an engine-start battery.",
            basis=SHEETS,
        )

    return _each_bus(view, judge, SHEETS)
