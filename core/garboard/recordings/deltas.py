"""Signal K deltas, one JSON object a line: data model 1.7, an open standard; SI units and radians.

Only what is said of the own vessel is read. What another vessel sends over AIS comes in deltas too, with its context.

Names of engines: [1] the Signal K project's converter from NMEA 2000, https://github.com/SignalK/n2k-signalk: engine 0
is "port", engine 1 is "starboard", others go by their number.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from math import pi
from typing import Any

import attrs

from garboard.faults import GarboardError
from garboard.recordings.clocks import Clock
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.times import parse_time
from garboard.samples import HARD_RANGE, UNIT_OF_QUANTITY, Sample
from garboard.units import in_full

DEGREES, KNOTS, ZERO_CELSIUS = 180 / pi, 3600 / 1852, 273.15
LONGEST_DELTA = 262_144  # characters
ROUNDING = 0.05
"""Of a direction given in radians with three decimals [deg]."""
OTHER_VESSEL = "another vessel"

Reading = tuple[str, float, float, str]  # quantity, scale, offset, reference

_PLAIN: Mapping[str, Reading] = {
    "navigation.headingMagnetic": ("heading", DEGREES, 0.0, "magnetic"),
    "navigation.headingTrue": ("heading", DEGREES, 0.0, "true"),
    "navigation.magneticVariation": ("variation", DEGREES, 0.0, ""),
    "navigation.magneticDeviation": ("deviation", DEGREES, 0.0, ""),
    "navigation.rateOfTurn": ("rate_of_turn", DEGREES, 0.0, ""),
    "navigation.courseOverGroundTrue": ("course_over_ground", DEGREES, 0.0, "true"),
    "navigation.courseOverGroundMagnetic": ("course_over_ground", DEGREES, 0.0, "magnetic"),
    "navigation.speedOverGround": ("speed_over_ground", KNOTS, 0.0, ""),
    "navigation.speedThroughWater": ("speed_through_water", KNOTS, 0.0, ""),
    "navigation.attitude.roll": ("roll", DEGREES, 0.0, ""),
    "navigation.attitude.pitch": ("pitch", DEGREES, 0.0, ""),
    "navigation.attitude.yaw": ("yaw", DEGREES, 0.0, ""),
    "navigation.position.latitude": ("latitude", 1.0, 0.0, ""),
    "navigation.position.longitude": ("longitude", 1.0, 0.0, ""),
    "steering.rudderAngle": ("rudder_angle", DEGREES, 0.0, ""),
    "steering.autopilot.target.headingMagnetic": ("course_to_steer", DEGREES, 0.0, "magnetic"),
    "steering.autopilot.target.headingTrue": ("course_to_steer", DEGREES, 0.0, "true"),
    "environment.depth.belowTransducer": ("depth", 1.0, 0.0, ""),
    "environment.outside.relativeHumidity": ("humidity", 100.0, 0.0, ""),
    "environment.outside.humidity": ("humidity", 100.0, 0.0, ""),
    "environment.water.temperature": ("water_temperature", 1.0, -ZERO_CELSIUS, ""),
    "environment.outside.temperature": ("air_temperature", 1.0, -ZERO_CELSIUS, ""),
    "environment.outside.pressure": ("air_pressure", 0.01, 0.0, ""),
}
_OF_AN_ENGINE: Mapping[str, Reading] = {
    "revolutions": ("engine_speed", 60.0, 0.0, ""),
    "temperature": ("engine_temperature", 1.0, -ZERO_CELSIUS, ""),
    "oilPressure": ("oil_pressure", 0.001, 0.0, ""),
    "coolantPressure": ("coolant_pressure", 0.001, 0.0, ""),
    "alternatorVoltage": ("alternator_voltage", 1.0, 0.0, ""),
    "fuel.rate": ("fuel_flow", 3.6e6, 0.0, ""),
    "runTime": ("engine_hours", 1 / 3600, 0.0, ""),
    "drive.trimState": ("engine_trim", 100.0, 0.0, ""),
    "transmission.oilPressure": ("transmission_oil_pressure", 0.001, 0.0, ""),
    "transmission.oilTemperature": ("transmission_oil_temperature", 1.0, -ZERO_CELSIUS, ""),
}
_OF_A_BATTERY: Mapping[str, Reading] = {
    "voltage": ("battery_voltage", 1.0, 0.0, ""),
    "current": ("battery_current", 1.0, 0.0, ""),
    "temperature": ("battery_temperature", 1.0, -ZERO_CELSIUS, ""),
    "capacity.stateOfCharge": ("battery_charge", 100.0, 0.0, ""),
}
_OF_A_TANK: Mapping[str, Reading] = {
    "currentLevel": ("tank_level", 100.0, 0.0, ""),
    "capacity": ("tank_capacity", 1000.0, 0.0, ""),
}
_TANKS: Mapping[str, str] = {
    "fuel": "fuel",
    "freshWater": "fresh water",
    "wasteWater": "grey water",
    "blackWater": "black water",
    "liveWell": "live well",
    "lubrication": "oil",
}
_SEVERAL = re.compile(r"(propulsion|electrical\.batteries|tanks\.(\w+))\.([^.]{1,40})\.(.+)", re.ASCII)
NO_PART_OF_A_SOURCE, NO_PART_OF_AN_INSTANCE = ',;"#', ',;"#@[]'
"""A run is kept as a CSV series, and a choice of instrument as source#instance: there these part one from the next."""
_OF_A_TWIN: Mapping[str, str] = {"port": "0", "starboard": "1"}
"""Engines by their names [1]: a number tells a boat's engines apart."""
_MIDDLE = ("centre", "center", "middle")
_COMPOUND = ("navigation.attitude", "navigation.position")
_TOLD_ABOARD = ("propulsion.", "electrical.", "tanks.", "steering.", "navigation.headingMagnetic", "environment.depth.")
_NAMES: Mapping[str, str] = {"name": "name", "mmsi": "mmsi", "communication.callsignVhf": "call_sign"}


@attrs.define
class DeltaReader:
    """Reads deltas, of a file or of a server as they arrive.

    notes : what was met so far
    clock : gives the time
    """

    notes: ReadingNotes
    clock: Clock
    _own: str = ""
    _damaged_line: int = 0
    _engines: Mapping[str, str] = attrs.field(factory=lambda: dict(_OF_A_TWIN))

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]:
        """The samples of some more lines, without their ends."""
        samples = list[Sample]()
        for line in lines:
            self.notes.lines += 1
            if not line or line.isspace() or line[0] == "#":
                continue
            try:
                samples += self._delta(json.loads(line[max(0, line.find("{")) :]), arrived)
            except (ValueError, RecursionError) as fault:
                why = str(fault) if isinstance(fault, _NotADelta) else f"expected a delta as JSON, got {line[:60]!r}"
                self.notes.damage(self.notes.lines, why)
        self.notes.samples += len(samples)
        return samples

    def close(self) -> list[Sample]:
        """At the end, once."""
        return []

    def _delta(self, delta: Any, arrived: float | None) -> list[Sample]:
        if not isinstance(delta, dict):
            raise _NotADelta(f"expected a delta with updates, got {str(delta)[:60]!r}")
        if isinstance(delta.get("self"), str) and "updates" not in delta:  # a server's greeting
            own = f"vessels.{delta['self'].removeprefix('vessels.')}"
            self._own = own if own != "vessels.self" else ""  # which says nothing
            return []
        context, updates = delta.get("context", ""), delta.get("updates")
        if not isinstance(updates, list) or not isinstance(context, str):
            raise _NotADelta(f"expected a delta with updates, got {', '.join(map(str, delta))[:60]!r}")
        if not self._is_own(context, updates):
            self.notes.met_unknown(OTHER_VESSEL)
            return []
        return [sample for update in updates for sample in self._update(update, arrived)]

    def _is_own(self, context: str, updates: Sequence[Any]) -> bool:
        """A vessel met over AIS has its MMSI as context; so may the own one, and then the greeting says so.

        Without a greeting the own one is the first without an MMSI, or the first that says what no AIS unit sends.
        Buoys and shore stations have contexts too.
        """
        if context in ("", "vessels.self", self._own):
            return True
        if self._own or not context.startswith("vessels.") or (":mmsi:" in context and not _is_told_aboard(updates)):
            return False
        self._own = context
        return True

    def _update(self, update: Any, arrived: float | None) -> Iterable[Sample]:
        if not isinstance(update, dict) or not isinstance(update.get("values", []), list):
            self._damaged("expected an update with values")
            return []
        told = update.get("timestamp")
        when = None
        if isinstance(told, str):
            try:
                when = parse_time(told)
            except ValueError as fault:
                self._damaged(str(fault))
                return []
        time, source = self.clock.at(when, arrived), _source(update)
        return [sample for one in update.get("values", ()) for sample in self._value(one, time, source)]

    def _value(self, one: Any, time: float, source: str) -> list[Sample]:
        path, value = (one.get("path"), one.get("value")) if isinstance(one, dict) else (None, None)
        if not isinstance(path, str) or not path.isprintable():
            self._damaged("expected a path and a value")
            return []
        if path == "" and isinstance(value, dict):
            self._names(value)
            return []
        parts = {path: value}
        if path in _COMPOUND and isinstance(value, dict):
            parts = {f"{path}.{name}": part for name, part in value.items() if f"{path}.{name}" in _PLAIN}
        read = {name: found for name in parts if (found := reading_of(name)) is not None}
        if path in _NAMES and isinstance(value, str):
            self._names({path: value})
        if not read:
            self.notes.met_unknown(path[:60])
            self.notes.met_from(source, path[:60])
            return []
        self.notes.met_kind(path)
        self.notes.met_from(source, path)
        samples = list[Sample]()
        for name, ((quantity, scale, offset, reference), instance) in read.items():
            number = _number(parts[name])
            if number is None:
                continue
            try:
                value = _believable(quantity, number * scale + offset)
            except _NotADelta as fault:
                self._damaged(str(fault))
            else:
                samples.append(Sample(time, quantity, value, source, self._engine(name, instance), reference))
        if not samples:
            self.notes.met_kind(path, is_empty=True)
        return samples

    def _damaged(self, why: str) -> None:
        """One value that cannot be used takes none of the others of its line with it; a line is damaged once."""
        if self._damaged_line != self.notes.lines:
            self._damaged_line = self.notes.lines
            self.notes.damage(self.notes.lines, why)

    def _engine(self, path: str, instance: str) -> str:
        """Which of several; an engine by its number, since boats tell their engines apart by it."""
        if not path.startswith("propulsion."):
            return instance
        if instance in _MIDDLE:  # people gave these names: of three engines, the middle one is engine 1
            self._engines = {"port": "0", instance: "1", "starboard": "2"}
        return self._engines.get(instance, instance)

    def _names(self, told: Mapping[Any, Any]) -> None:
        for path, what in _NAMES.items():
            text = told.get(path)
            if isinstance(text, str) and text.strip() and text.isprintable():
                self.notes.own_ship[what] = text.strip()[:60]


class _NotADelta(GarboardError, ValueError):
    """Something else than a delta; the text says what was expected."""


def reading_of(path: str) -> tuple[Reading, str] | None:
    """What a path holds, and which of several.

    >>> reading_of("propulsion.port.revolutions")
    (('engine_speed', 60.0, 0.0, ''), 'port')
    """
    if path in _PLAIN:
        return _PLAIN[path], ""
    found = _SEVERAL.fullmatch(path)
    if found is None:
        return None
    room, tank, instance, rest = found.groups()
    table = _OF_AN_ENGINE if room == "propulsion" else _OF_A_BATTERY if tank is None else _OF_A_TANK
    if rest not in table or (tank is not None and tank not in _TANKS):
        return None
    instance = _plain(instance, NO_PART_OF_AN_INSTANCE)
    return table[rest], instance if tank is None else f"{_TANKS[tank]} {instance}"


def _is_told_aboard(updates: Sequence[Any]) -> bool:
    """Whether any value is one that only a vessel itself can tell."""
    lists = (update.get("values") for update in updates if isinstance(update, dict))
    told = (one for values in lists if isinstance(values, list) for one in values if isinstance(one, dict))
    return any(str(one.get("path")).startswith(_TOLD_ABOARD) for one in told)


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) < 1e300 else None


def _believable(quantity: str, value: float) -> float:
    low, high = HARD_RANGE[quantity]
    if low <= value <= high:
        return value
    if (low, high) == (0, 360) and low - ROUNDING <= value <= high + ROUNDING:
        return value % 360  # a whole circle in radians, rounded
    raise _NotADelta(
        f"{quantity}: expected {in_full(low)} to {in_full(high)} {UNIT_OF_QUANTITY[quantity]}, got {in_full(value)}"
    )


def _source(update: Mapping[str, Any]) -> str:
    told = update.get("$source")
    if isinstance(told, str):
        return _plain(told)
    source = update.get("source")
    if not isinstance(source, dict):
        return ""
    parts = (source.get(part) for part in ("label", "src", "talker"))
    return _plain(".".join(str(part) for part in parts if isinstance(part, str | int)))


def _plain(text: str, without: str = NO_PART_OF_A_SOURCE) -> str:
    return "".join("-" if char in without else char for char in text[:60] if char.isprintable()).strip()
