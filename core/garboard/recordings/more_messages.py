"""NMEA 2000 messages whose values depend on more than their place: what a tank holds, where a temperature is taken.

Layouts and lists of places: [1] open PGN database of the canboat project, https://github.com/canboat/canboat.
A value that is "not available", "error" or "reserved", one of a place or kind the list does not name, and one that no
boat's instrument can show is no value.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import pi

from garboard.samples import HARD_RANGE

Found = tuple[str, float, str, str]
"""Quantity, value in the unit of UNIT_OF_QUANTITY, instance, reference."""

DEGREES = 180 / pi  # per radian
ZERO_CELSIUS = 273.15  # [K]
ROUNDING = 1e-3
"""A half circle is a whole number of steps and ends beyond 180 deg, by less than this."""
REFERENCES = ("true", "magnetic", "", "")
"""Meaning of the two reference bits; 2 is "error" and 3 "not available"."""

PLACES = (
    "sea",
    "outside",
    "inside",
    "engine room",
    "main cabin",
    "live well",
    "bait well",
    "refrigeration",
    "heating system",
    "dew point",
    "apparent wind chill",
    "theoretical wind chill",
    "heat index",
    "freezer",
    "exhaust gas",
    "shaft seal",
)
PRESSED = (
    "atmosphere",
    "water",
    "steam",
    "compressed air",
    "hydraulic",
    "filter",
    "altimeter setting",
    "oil",
    "fuel",
)
HUMID = ("inside", "outside")
TANKS = ("fuel", "fresh water", "grey water", "live well", "oil", "black water")
GEARS = (1.0, 0.0, -1.0)
"""Ahead, neutral, astern; 3 is "not available"."""


def _number(data: bytes, at: int, size: int, signed: bool = False) -> int | None:
    """The steps of a field; None where they mean "not available", "error" or "reserved", the three largest [1]."""
    steps = int.from_bytes(data[at : at + size], "little", signed=signed)
    most = (1 << 8 * size - (1 if signed else 0)) - 3
    return steps if steps < most else None


def _instance(number: int) -> str:
    return str(number) if number < 253 else ""


def _value(
    quantity: str,
    steps: int | None,
    scale: float,
    offset: float = 0.0,
    instance: str = "",
    reference: str = "",
) -> list[Found]:
    low, high = HARD_RANGE[quantity]
    if steps is None or not low - ROUNDING <= (value := steps * scale + offset) <= high + ROUNDING:
        return []
    return [(quantity, value, instance, reference)]


def _angle(steps: int | None) -> int | None:
    return steps if steps is not None and -31416 <= steps <= 31416 else None


def _pilot_order(data: bytes) -> list[Found]:
    to_steer = _number(data, 5, 2)
    return [
        *_value("rudder_order", _angle(_number(data, 3, 2, True)), 1e-4 * DEGREES),
        *_value(
            "course_to_steer",
            to_steer if to_steer is not None and to_steer < 62832 else None,
            1e-4 * DEGREES,
            reference=REFERENCES[data[1] >> 6],
        ),
    ]


def _transmission(data: bytes) -> list[Found]:
    instance, gear = _instance(data[0]), data[1] & 3
    return [
        *([("gear", GEARS[gear], instance, "")] if gear < len(GEARS) else []),
        *_value("transmission_oil_pressure", _number(data, 2, 2), 0.1, 0.0, instance),
        *_value("transmission_oil_temperature", _number(data, 4, 2), 0.1, -ZERO_CELSIUS, instance),
    ]


def _engine_rated(data: bytes) -> list[Found]:
    return _value("rated_engine_speed", _number(data, 1, 2), 0.25, 0.0, _instance(data[0]))


def _tank(data: bytes) -> list[Found]:
    number, kind = data[0] & 15, data[0] >> 4
    if kind >= len(TANKS):
        return []
    instance = f"{TANKS[kind]} {number}" if number < 14 else TANKS[kind]
    return [
        *_value("tank_level", _number(data, 1, 2, True), 0.004, 0.0, instance),
        *_value("tank_capacity", _number(data, 3, 4), 0.1, 0.0, instance),
    ]


def _battery_detail(data: bytes) -> list[Found]:
    instance = _instance(data[1])
    return [
        *_value("battery_charge", _number(data, 3, 1), 1.0, 0.0, instance),
        *_value("battery_health", _number(data, 4, 1), 1.0, 0.0, instance),
    ]


def _temperature(quantity: str, place: int, number: int | None, kelvin: tuple[int | None, float]) -> list[Found]:
    """A temperature; that of the sea and that of the air outside are quantities of their own."""
    steps, scale = kelvin
    if place >= len(PLACES):
        return []
    instance = "" if number is None else _instance(number)
    if quantity == "temperature" and place < 2:
        return _value(("water_temperature", "air_temperature")[place], steps, scale, -ZERO_CELSIUS, instance)
    return _value(quantity, steps, scale, -ZERO_CELSIUS, f"{PLACES[place]} {instance}".rstrip())


def _environment(data: bytes) -> list[Found]:
    place, humid = data[1] & 63, data[1] >> 6
    return [
        *_temperature("temperature", place, None, (_number(data, 2, 2), 0.01)),
        *(_value("humidity", _number(data, 4, 2, True), 0.004, 0.0, HUMID[humid]) if humid < len(HUMID) else []),
        *_value("air_pressure", _number(data, 6, 2), 1.0),
    ]


def _one_temperature(data: bytes) -> list[Found]:
    return [
        *_temperature("temperature", data[2], data[1], (_number(data, 3, 2), 0.01)),
        *_temperature("set_temperature", data[2], data[1], (_number(data, 5, 2), 0.01)),
    ]


def _fine_temperature(data: bytes) -> list[Found]:
    return [
        *_temperature("temperature", data[2], data[1], (_number(data, 3, 3), 0.001)),
        *_temperature("set_temperature", data[2], data[1], (_number(data, 6, 2), 0.1)),
    ]


def _humidity(data: bytes) -> list[Found]:
    if data[2] >= len(HUMID):
        return []
    return _value("humidity", _number(data, 3, 2, True), 0.004, 0.0, f"{HUMID[data[2]]} {_instance(data[1])}".rstrip())


def _pressure(data: bytes) -> list[Found]:
    steps, instance = _number(data, 3, 4, True), _instance(data[1])
    if data[2] == 0:
        return _value("air_pressure", steps, 0.001, 0.0, instance)
    return _of_place("pressure", data[2], instance, steps)


def _set_pressure(data: bytes) -> list[Found]:
    return _of_place("set_pressure", data[2], _instance(data[1]), _number(data, 3, 4, True))


def _of_place(quantity: str, place: int, instance: str, steps: int | None) -> list[Found]:
    if place >= len(PRESSED):
        return []
    return _value(quantity, steps, 0.0001, 0.0, f"{PRESSED[place]} {instance}".rstrip())


ORDER: Mapping[str, int] = {
    **dict.fromkeys(("rudder_order", "gear", "rated_engine_speed", "tank_level", "battery_charge"), 0),
    **dict.fromkeys(("temperature", "water_temperature", "air_temperature", "pressure", "set_pressure"), 0),
    **dict.fromkeys(("course_to_steer", "transmission_oil_pressure", "tank_capacity", "battery_health"), 1),
    **dict.fromkeys(("humidity", "set_temperature"), 1),
    **dict.fromkeys(("transmission_oil_temperature", "air_pressure"), 2),
}
"""Which comes first of the values of one message."""
MORE: Mapping[str, tuple[int, bool, Callable[[bytes], list[Found]]]] = {
    "127237": (7, True, _pilot_order),
    "127493": (6, False, _transmission),
    "127498": (3, True, _engine_rated),
    "127505": (7, False, _tank),
    "127506": (5, True, _battery_detail),
    "130311": (8, False, _environment),
    "130312": (7, False, _one_temperature),
    "130313": (5, False, _humidity),
    "130314": (7, False, _pressure),
    "130315": (7, False, _set_pressure),
    "130316": (8, False, _fine_temperature),
}
"""Bytes needed, whether it comes as a fast packet, and what reads it, by parameter group number [1]."""
