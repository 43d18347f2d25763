"""Everything known of a circuit, as plain numbers, with a reason for each thing that is not known."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import attrs

from garboard.findings import Lack, Missing, NotEnoughData
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Battery, Circuit, Vessel
from garboard.uncertainty import MeasuredValue
from garboard.units import Amount
from garboard_wiring_audit.bank_voltage import nominal_volts
from garboard_wiring_audit.conductors import Conductor, of_area, of_gauge
from garboard_wiring_audit.readings import has_been_read, known, known_value, read
from garboard_wiring_audit.rules import Rules
from garboard_wiring_audit.steps import CIRCUITS

AT_THE_BATTERY = "battery terminal"
_SWITCHED = ("panel feed", "cranking motor")
"""Uses of circuits that a switch is meant for, though they are fed at the battery; common practice, no source."""
_MOST_NAMED = 6
UNKNOWN = MeasuredValue(math.nan, "", math.nan)
SIZES_AGREE = 0.1
"""Share by which a gauge and an area entered for one conductor may differ."""
OVER_DESIGN = 1.25
"""Share of its design current a sound circuit may draw: charging raises the voltage, a pump works hard [-]; common
practice, no source."""


@frozen(kw_only=True)
class CircuitFacts:
    """A circuit. What is unknown is NaN or None, and `missing` says why, by the fact's name.

    "usable_current" is missing where a current was read but is in dispute or cannot be right.

    length : one way [m]; load : larger of design and measured current [A]; distance : source to protection [in]
    design, current : by design, taken as exact, and measured [A]
    """

    circuit: Circuit
    conductor: Conductor
    insulation: float
    length: MeasuredValue
    volts: float
    load: MeasuredValue
    design: MeasuredValue
    current: MeasuredValue
    rating: float
    distance: float
    missing: Mapping[str, Missing]

    @property
    def name(self) -> str:
        """The circuit's name."""
        return self.circuit.name

    @property
    def draws_too_much(self) -> bool:
        """Whether the current measured is surely far above the design current: nothing is sized by it."""
        return self.current.low > OVER_DESIGN * self.design.value

    def require(self, *facts: str) -> None:
        """Raise NotEnoughData naming each of these facts that is not known."""
        lacking = [self.missing[fact] for fact in facts if fact in self.missing]
        if lacking:
            raise NotEnoughData(*lacking)

    def knows(self, facts: Iterable[str]) -> bool:
        """Whether all these facts are known."""
        return not any(fact in self.missing for fact in facts)


@attrs.define
class _Gathering:
    missing: dict[str, Missing] = attrs.field(factory=dict)

    def amount(
        self, fact: str, amount: Amount | None, unit: str, what: str, field: str, zero_allowed: bool = False
    ) -> float:
        try:
            return known_value(amount, unit, what, zero_allowed, field=f"circuits.{field}")
        except NotEnoughData as lacking:
            self.missing[fact] = lacking.missing[0]
            return math.nan

    def length(self, length: Amount | None) -> MeasuredValue:
        try:
            return known(length, "m", "cable run from source to load", field="circuits.length")
        except NotEnoughData as lacking:
            self.missing["length"] = lacking.missing[0]
            return UNKNOWN

    def answer(self, fact: str, value: object, what: str, field: str) -> None:
        if value is None or value == "":
            self.missing[fact] = Missing(f"{what} is not entered", lack=Lack.NOT_ENTERED, field=f"circuits.{field}")


def facts_of(view: JobView, circuit: Circuit, rules: Rules, *, weighs_current: bool) -> CircuitFacts:
    """What is known of a circuit on this job.

    weighs_current : whether what the current meter is good to counts; where it does not, it is not asked for
    """
    gathering = _Gathering()
    design = gathering.amount("design", circuit.design_current, "A", "design current", "design_current")
    has_current = has_been_read(view, CIRCUITS, "current", circuit.name)
    meter = rules.share("current_meter") if weighs_current and has_current else 0.0
    current = _measured_current(view, circuit, meter, gathering)
    gathering.answer("engine_space", circuit.in_engine_space, "in engine space or not", "in_engine_space")
    gathering.answer("sheathed", circuit.in_sheath, "in a sheath or not", "in_sheath")
    gathering.answer("critical", circuit.critical, "critical or not", "critical")
    gathering.answer("protection", circuit.protection, "fuse, breaker or none", "protection")
    bundled = circuit.bundled_conductors if (circuit.bundled_conductors or 0) >= 0 else None
    gathering.answer("bundled", bundled, "number of bundled conductors", "bundled_conductors")
    return CircuitFacts(
        circuit=circuit,
        conductor=_conductor(circuit, gathering),
        insulation=round(
            gathering.amount(
                "insulation", circuit.insulation_temperature, "degC", "insulation rating", "insulation_temperature"
            ),
            1,
        ),
        length=gathering.length(circuit.length),
        volts=_volts(view, circuit, gathering),
        load=_load(design, current, gathering, circuit.name),
        design=MeasuredValue(design, "A"),
        current=current,
        rating=gathering.amount(
            "rating", circuit.protection_rating, "A", "fuse or breaker rating", "protection_rating"
        ),
        distance=gathering.amount(
            "distance",
            circuit.protection_distance,
            "in",
            "distance of fuse or breaker from the source",
            "protection_distance",
            True,
        ),
        missing=gathering.missing,
    )


def _measured_current(view: JobView, circuit: Circuit, meter: float, gathering: _Gathering) -> MeasuredValue:
    try:
        return read(view, CIRCUITS, "current", "A", circuit.name, meter)
    except NotEnoughData as lacking:
        gathering.missing["current"] = lacking.missing[0]
        if has_been_read(view, CIRCUITS, "current", circuit.name):
            gathering.missing["usable_current"] = gathering.missing["current"]
        return UNKNOWN


def _load(design: float, current: MeasuredValue, gathering: _Gathering, of: str) -> MeasuredValue:
    """The larger of design current, taken as exact, and measured current."""
    if "usable_current" in gathering.missing:
        gathering.missing["load"] = gathering.missing["usable_current"]
        return UNKNOWN
    if current.value > 0 and not design >= current.value:
        return current
    if design > 0:
        return MeasuredValue(design, "A")
    text = "current is not entered, neither by design nor measured above zero"
    gathering.missing["load"] = Missing(text, lack=Lack.NOT_ENTERED, step=CIRCUITS, field="current", of=of)
    return UNKNOWN


def _volts(view: JobView, circuit: Circuit, gathering: _Gathering) -> float:
    battery = view.vessel.pieces["batteries"].get(circuit.battery)
    nominal = circuit.nominal_voltage or (battery.nominal_voltage if battery else None)
    volts = gathering.amount("volts", nominal, "V", "nominal voltage", "nominal_voltage")
    bank = nominal_volts(battery) if battery is not None and circuit.nominal_voltage is None else None
    return volts if bank is None or "volts" in gathering.missing else bank


def _conductor(circuit: Circuit, gathering: _Gathering) -> Conductor:
    area = circuit.conductor_area
    unknown = Conductor("not known", math.nan)
    if not circuit.conductor_awg:
        given = gathering.amount("conductor", area, "mm2", "conductor size", "conductor_area")
        return unknown if math.isnan(given) else of_area(given)
    try:
        conductor = of_gauge(circuit.conductor_awg)
    except NotEnoughData as lacking:
        gathering.missing["conductor"] = lacking.missing[0]
        return unknown
    if area is not None and not abs(area.to("mm2") / conductor.area - 1) <= SIZES_AGREE:
        text = f"{conductor.label} and {area} do not agree; keep the one printed on it"
        gathering.missing["conductor"] = Missing(text, lack=Lack.CONTRADICTS, field="circuits.conductor_area")
        return unknown
    return conductor


def always_live(vessel: Vessel, battery: Battery | None = None) -> tuple[Circuit, ...]:
    """Circuits fed at the battery itself: no switch of the boat takes the voltage off them.

    battery : those of one battery alone
    """
    found = [one for one in vessel.circuits if one.fed_from == AT_THE_BATTERY and one.use not in _SWITCHED]
    if battery is not None:
        others = ("", battery.name) if len(vessel.batteries) == 1 else (battery.name,)
        found = [one for one in found if one.battery in others]
    return tuple(found)


def in_a_list(circuits: Sequence[Circuit]) -> str:
    """Names of circuits; of many the first, and how many more."""
    more = len(circuits) - _MOST_NAMED
    return ", ".join(one.name for one in circuits[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
