"""What the package nmea2000, on the open PGN database of canboat, finds in a message, in our names and units."""

from __future__ import annotations

from collections.abc import Callable
from math import degrees, isclose
from typing import Any

from garboard.samples import HARD_RANGE, Sample

KNOT = 1852 / 3600  # m/s
Convert = Callable[[float], float]
CELSIUS: Convert = lambda kelvin: kelvin - 273.15  # noqa: E731
KILOPASCAL: Convert = lambda pascal: pascal / 1000  # noqa: E731
HECTOPASCAL: Convert = lambda pascal: pascal / 100  # noqa: E731
KNOTS: Convert = lambda speed: speed / KNOT  # noqa: E731

OURS_OF_THEIRS: dict[int, dict[str, tuple[str, Convert, float]]] = {
    127237: {
        "commandedRudderAngle": ("rudder_order", degrees, degrees(1e-4)),
        "headingToSteerCourse": ("course_to_steer", degrees, degrees(1e-4)),
    },
    127245: {"position": ("rudder_angle", degrees, degrees(1e-4))},
    127250: {
        "heading": ("heading", degrees, degrees(1e-4)),
        "deviation": ("deviation", degrees, degrees(1e-4)),
        "variation": ("variation", degrees, degrees(1e-4)),
    },
    127251: {"rate": ("rate_of_turn", degrees, degrees(1e-6 / 32))},
    127257: {name: (name, degrees, degrees(1e-4)) for name in ("yaw", "pitch", "roll")},
    127258: {"variation": ("variation", degrees, degrees(1e-4))},
    127488: {"speed": ("engine_speed", float, 0.25), "tiltTrim": ("engine_trim", float, 1.0)},
    127489: {
        "oilPressure": ("oil_pressure", KILOPASCAL, 0.1),
        "coolantPressure": ("coolant_pressure", KILOPASCAL, 0.1),
        "temperature": ("engine_temperature", CELSIUS, 0.01),
        "alternatorPotential": ("alternator_voltage", float, 0.01),
        "fuelRate": ("fuel_flow", float, 0.1),
        "totalEngineHours": ("engine_hours", lambda s: s / 3600, 1 / 3600),
    },
    127493: {
        "oilPressure": ("transmission_oil_pressure", KILOPASCAL, 0.1),
        "oilTemperature": ("transmission_oil_temperature", CELSIUS, 0.1),
    },
    127497: {"tripFuelUsed": ("trip_fuel", float, 1.0), "fuelRateAverage": ("trip_fuel_flow", float, 0.1)},
    127498: {"ratedEngineSpeed": ("rated_engine_speed", float, 0.25)},
    127505: {"level": ("tank_level", float, 0.004), "capacity": ("tank_capacity", float, 0.1)},
    127506: {"stateOfCharge": ("battery_charge", float, 1.0), "stateOfHealth": ("battery_health", float, 1.0)},
    127508: {
        "voltage": ("battery_voltage", float, 0.01),
        "current": ("battery_current", float, 0.1),
        "temperature": ("battery_temperature", CELSIUS, 0.01),
    },
    128259: {
        "speedWaterReferenced": ("speed_through_water", KNOTS, 0.01 / KNOT),
        "speedGroundReferenced": ("speed_over_ground", KNOTS, 0.01 / KNOT),
    },
    128267: {"depth": ("depth", float, 0.01), "offset": ("depth_offset", float, 0.001)},
    129025: {"latitude": ("latitude", float, 1e-7), "longitude": ("longitude", float, 1e-7)},
    129026: {"cog": ("course_over_ground", degrees, degrees(1e-4)), "sog": ("speed_over_ground", KNOTS, 0.01 / KNOT)},
    129029: {"latitude": ("latitude", float, 1e-12), "longitude": ("longitude", float, 1e-12)},
    130310: {
        "waterTemperature": ("water_temperature", CELSIUS, 0.01),
        "outsideAmbientAirTemperature": ("air_temperature", CELSIUS, 0.01),
        "atmosphericPressure": ("air_pressure", HECTOPASCAL, 1.0),
    },
    130311: {
        "temperature": ("temperature", CELSIUS, 0.01),
        "humidity": ("humidity", float, 0.004),
        "atmosphericPressure": ("air_pressure", HECTOPASCAL, 1.0),
    },
    130312: {
        "actualTemperature": ("temperature", CELSIUS, 0.01),
        "setTemperature": ("set_temperature", CELSIUS, 0.01),
    },
    130313: {"actualHumidity": ("humidity", float, 0.004)},
    130314: {"pressure": ("pressure", KILOPASCAL, 0.0001)},
    130315: {"pressure": ("set_pressure", KILOPASCAL, 0.0001)},
    130316: {"temperature": ("temperature", CELSIUS, 0.001), "setTemperature": ("set_temperature", CELSIUS, 0.1)},
}
"""Our quantity, the conversion by the definitions of the units, and the resolution, by their field."""

LENGTHS = {127237: 21, 127489: 26, 127497: 9, 127498: 52, 127506: 11, 129029: 43}
"""[canboat]; all others fill one frame of 8."""
RANGE: dict[str, tuple[float, float]] = {
    **HARD_RANGE,
    **dict.fromkeys(
        ("deviation", "variation", "yaw", "pitch", "roll", "rudder_angle", "rudder_order"),
        (-degrees(3.1416), degrees(3.1416)),
    ),
    **dict.fromkeys(("heading", "course_over_ground", "course_to_steer"), (0, 360)),
    "latitude": (-90, 90),
    "longitude": (-180, 180),
}
"""Angles outside a circle, places off the globe and what no boat's instrument can show are no values to us."""
REFERENCE = {127237: "headingReference", 127250: "reference", 129026: "cogReference"}
DIRECTED = ("heading", "course_over_ground", "course_to_steer")
TANK = {"water": "fresh water", "gray water": "grey water", "gasoline": "petrol"}

Expected = tuple[str, float, str, str, float]
"""Quantity, value, instance, reference, resolution."""


def expected_of(message: Any) -> list[Expected]:
    """The values of a message as nmea2000 finds them."""
    fields = {field.id: field for field in message.fields}
    found: list[Expected] = []
    if message.PGN == 129029 and fields["method"].raw_value in (0, 7, 8):
        return []
    for theirs, (ours, convert, resolution) in OURS_OF_THEIRS[message.PGN].items():
        value = fields[theirs].value
        placed = _placed(message.PGN, ours, fields)
        if value is None or placed is None:
            continue
        quantity, instance = placed
        value = convert(value) / 10 if quantity != ours and quantity == "air_pressure" else convert(value)
        if quantity == "air_pressure" and ours == "pressure":
            value *= 100  # kPa to hPa
        low, high = RANGE.get(quantity, (-1e300, 1e300))
        if low <= round(value, 9) <= high:
            stated = fields[REFERENCE[message.PGN]].raw_value if quantity in DIRECTED else None
            reference = {0: "true", 1: "magnetic"}.get(stated, "") if isinstance(stated, int) else ""
            found.append((quantity, value, instance, reference, resolution * (10 if quantity != ours else 1)))
    if message.PGN == 127493 and fields["transmissionGear"].value in ("Forward", "Neutral", "Reverse"):
        gear = {"Forward": 1.0, "Neutral": 0.0, "Reverse": -1.0}[fields["transmissionGear"].value]
        found.append(("gear", gear, _number(fields), "", 0.5))
    return found


def _number(fields: dict[str, Any]) -> str:
    instance = fields["instance"].raw_value if "instance" in fields else None
    return str(instance) if isinstance(instance, int) and instance < 253 else ""


def _placed(pgn: int, quantity: str, fields: dict[str, Any]) -> tuple[str, str] | None:
    """Our quantity and instance, as a place or a kind of tank decides them; None where we know none."""
    number = _number(fields)
    if pgn == 127505:
        kind = fields["type"].value
        number = str(fields["instance"].raw_value) if isinstance(fields["instance"].raw_value, int) else ""
        named = TANK.get(str(kind).lower(), str(kind).lower())
        return (quantity, f"{named} {number}".rstrip()) if kind else None
    if quantity in ("temperature", "set_temperature"):
        place = fields["temperatureSource" if pgn == 130311 else "source"].value
        if not place:
            return None
        if quantity == "temperature" and place in ("Sea Temperature", "Outside Temperature"):
            return ("water_temperature" if place == "Sea Temperature" else "air_temperature"), number
        return quantity, f"{place.removesuffix(' Temperature').lower()} {number}".rstrip()
    if quantity == "humidity":
        place = fields["humiditySource" if pgn == 130311 else "source"].value
        return (quantity, f"{place.lower()} {number}".rstrip()) if place else None
    if quantity in ("pressure", "set_pressure"):
        place = fields["source"].value
        if not place:
            return None
        if quantity == "pressure" and place == "Atmospheric":
            return "air_pressure", number
        named = {"Atmospheric": "atmosphere", "AltimeterSetting": "altimeter setting"}.get(place, place.lower())
        return quantity, f"{named} {number}".rstrip()
    return quantity, number


def is_alike(sample: Sample, expected: Expected) -> bool:
    quantity, value, instance, reference, resolution = expected
    return (
        (sample.quantity, sample.instance, sample.reference) == (quantity, instance, reference)
        and isclose(sample.value, value, abs_tol=resolution / 2, rel_tol=1e-12)
    )  # fmt: skip


def differences(samples: list[Sample], expected: list[Expected]) -> str:
    """What differs between the two, whatever their order; "" when nothing does."""
    ours, theirs = sorted(samples, key=lambda s: s[1:2] + s[4:]), sorted(expected, key=lambda e: (e[0], *e[2:4]))
    if len(ours) != len(theirs):
        return f"{len(ours)} values, {len(theirs)} expected: {ours[:4]}, {theirs[:4]}"
    pairs = zip(ours, theirs, strict=True)
    return "".join(f"{one}, expected {other}" for one, other in pairs if not is_alike(one, other))
