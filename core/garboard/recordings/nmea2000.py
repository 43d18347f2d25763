"""NMEA 2000 messages whose values stand at fixed places: how to read and to write them.

Layouts: [1] open PGN database of the canboat project, https://github.com/canboat/canboat.
Sign of angles and rates (from memory of the standard): clockwise, starboard and bow up are positive.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from garboard.record_types import frozen
from garboard.recordings.more_messages import DEGREES
from garboard.samples import HARD_RANGE

KNOTS = 3600 / 1852  # per metre a second
FULL_CIRCLE, HALF_CIRCLE = 62832, 31416  # in steps of 0.0001 rad


class Field(NamedTuple):
    """One value inside a message.

    quantity  : key of UNIT_OF_QUANTITY
    at        : first byte, counted from 0
    code      : as the module struct writes it, little-endian
    scale     : unit of the quantity per step
    offset    : added after scaling, in the unit of the quantity
    limits    : smallest step and first step too large; outside them the value counts as not available
    directed  : whether the message's reference (true, magnetic) says how to read it
    """

    quantity: str
    at: int
    code: str
    scale: float
    offset: float = 0.0
    limits: tuple[int, int] = (0, 0)
    directed: bool = False


Decoded = tuple[str, int, int, float, float, bool]


@frozen
class Message:
    """How to read and write one kind of message.

    blank        : the whole message with every value "not available"
    instance_at  : byte that tells which of several (engine, rudder)
    reference_at : byte whose two lowest bits are the reference of directions
    fix_at       : byte whose upper four bits tell how the receiver found its place, see WITH_FIX
    """

    pgn: int
    name: str
    blank: bytes
    fields: tuple[Field, ...]
    priority: int = 2
    instance_at: int | None = None
    reference_at: int | None = None
    fix_at: int | None = None

    @property
    def is_fast_packet(self) -> bool:
        return len(self.blank) > 8

    def reader(self) -> _Reader:
        """The same, arranged for the loop over millions of lines."""
        pattern, position = "<", 0
        for field in self.fields:
            pattern += f"{field.at - position}x{field.code}"
            position = field.at + struct.calcsize(field.code)
        layout = struct.Struct(pattern)
        needed = max(layout.size, *(at + 1 for at in (self.instance_at, self.reference_at, self.fix_at) if at), 0)
        fields = tuple((f.quantity, *limits_of(f), f.scale, f.offset, f.directed) for f in self.fields)
        return layout.unpack_from, needed, fields, self.instance_at, self.reference_at, self.fix_at


# unpack, bytes needed, fields, where the instance, the reference and the fix stand
_Reader = tuple[Callable[[bytes], tuple[Any, ...]], int, tuple[Decoded, ...], int | None, int | None, int | None]


def limits_of(field: Field) -> tuple[int, int]:
    """Smallest step and first step too large: the three largest mean "not available", "error" and "reserved" [1].

    What no boat's instrument can show is no value either: a sender that is not connected says 0 K, or fills a signed
    field with ones.
    """
    bits = 8 * struct.calcsize("<" + field.code)
    low, high = (-(1 << bits - 1), (1 << bits - 1) - 3) if field.code.islower() else (0, (1 << bits) - 3)
    if field.limits != (0, 0):
        return field.limits
    lowest, highest = ((end - field.offset) / field.scale for end in HARD_RANGE[field.quantity])
    return max(low, math.ceil(lowest - ROUNDING)), min(high, math.floor(highest + ROUNDING) + 1)


ROUNDING = 1e-6
"""Of the limits of a quantity, in steps [-]."""


def _angle(quantity: str, at: int) -> Field:
    return Field(quantity, at, "h", 1e-4 * DEGREES, limits=(-HALF_CIRCLE, HALF_CIRCLE + 1))


def _direction(quantity: str, at: int) -> Field:
    return Field(quantity, at, "H", 1e-4 * DEGREES, limits=(0, FULL_CIRCLE), directed=True)


def _position(quantity: str, at: int, code: str, steps_per_degree: int) -> Field:
    most = (90 if quantity == "latitude" else 180) * steps_per_degree
    return Field(quantity, at, code, 1 / steps_per_degree, limits=(-most, most + 1))


def _speed(quantity: str, at: int) -> Field:
    return Field(quantity, at, "H", 0.01 * KNOTS)


_ALL = (
    Message(
        127245,
        "rudder",
        bytes.fromhex("00 ff ff7f ff7f ffff"),
        (_angle("rudder_angle", 4),),
        instance_at=0,
    ),
    Message(
        127250,
        "vessel heading",
        bytes.fromhex("ff ffff ff7f ff7f ff"),
        (_direction("heading", 1), _angle("deviation", 3), _angle("variation", 5)),
        reference_at=7,
    ),
    Message(
        127251,
        "rate of turn",
        bytes.fromhex("ff ffffff7f ffffff"),
        (Field("rate_of_turn", 1, "i", 1e-6 / 32 * DEGREES),),
    ),
    Message(
        127257,
        "attitude",
        bytes.fromhex("ff ff7f ff7f ff7f ff"),
        (_angle("yaw", 1), _angle("pitch", 3), _angle("roll", 5)),
        priority=3,
    ),
    Message(
        127258,
        "magnetic variation",
        bytes.fromhex("ff ff ffff ff7f ffff"),
        (_angle("variation", 4),),
        priority=6,
    ),
    Message(
        127488,
        "engine, rapid",
        bytes.fromhex("00 ffff ffff 7f ffff"),
        (Field("engine_speed", 1, "H", 0.25), Field("engine_trim", 5, "b", 1.0)),
        instance_at=0,
    ),
    Message(
        127489,
        "engine, dynamic",
        bytes.fromhex("00 ffff ffff ffff ff7f ff7f ffffffff ffff ffff ff 0000 0000 7f 7f"),
        (
            Field("oil_pressure", 1, "H", 0.1),
            Field("engine_temperature", 5, "H", 0.01, offset=-273.15),
            Field("alternator_voltage", 7, "h", 0.01),
            Field("fuel_flow", 9, "h", 0.1),
            Field("engine_hours", 11, "I", 1 / 3600),
            Field("coolant_pressure", 15, "H", 0.1),
        ),
        instance_at=0,
    ),
    Message(
        127497,
        "trip fuel",
        bytes.fromhex("00 ffff ff7f ff7f ff7f"),
        (Field("trip_fuel", 1, "H", 1.0), Field("trip_fuel_flow", 3, "h", 0.1)),
        priority=5,
        instance_at=0,
    ),
    Message(
        127508,
        "battery",
        bytes.fromhex("00 ff7f ff7f ffff ff"),
        (
            Field("battery_voltage", 1, "h", 0.01),
            Field("battery_current", 3, "h", 0.1),
            Field("battery_temperature", 5, "H", 0.01, offset=-273.15),
        ),
        priority=6,
        instance_at=0,
    ),
    Message(
        128259,
        "speed",
        bytes.fromhex("ff ffff ffff ff ff ff"),
        (_speed("speed_through_water", 1), _speed("speed_over_ground", 3)),
    ),
    Message(
        128267,
        "depth",
        bytes.fromhex("ff ffffffff ff7f ff"),
        (Field("depth", 1, "I", 0.01), Field("depth_offset", 5, "h", 0.001)),
        priority=3,
    ),
    Message(
        129025,
        "position, rapid",
        bytes.fromhex("ffffff7f ffffff7f"),
        (_position("latitude", 0, "i", 10**7), _position("longitude", 4, "i", 10**7)),
    ),
    Message(
        129026,
        "course and speed over ground, rapid",
        bytes.fromhex("ff ff ffff ffff ffff"),
        (_direction("course_over_ground", 2), _speed("speed_over_ground", 4)),
        reference_at=1,
    ),
    Message(
        129029,
        "GNSS position",
        bytes.fromhex(f"ff ffff ffffffff {'ffffffffffffff7f' * 3} 10 fc ff ff7f ff7f ffffff7f 00"),
        (_position("latitude", 7, "q", 10**16), _position("longitude", 15, "q", 10**16)),
        priority=3,
        fix_at=31,
    ),
    Message(
        130310,
        "water, air and pressure",
        bytes.fromhex("ff ffff ffff ffff ff"),
        (
            Field("water_temperature", 1, "H", 0.01, offset=-273.15),
            Field("air_temperature", 3, "H", 0.01, offset=-273.15),
            Field("air_pressure", 5, "H", 1.0),
        ),
        priority=5,
    ),
)

MESSAGES: Mapping[int, Message] = {message.pgn: message for message in _ALL}
"""Every message the program reads and writes, by parameter group number [1]."""

WITH_FIX = range(1 << 4, 7 << 4)
"""What a byte with the method is where a receiver found its place: 0 is without a fix, 7 typed in, 8 simulated [1]."""
UNREAL = range(7 << 4, 9 << 4)
POSITION, OF_RECEIVER = "129029", frozenset({"129025", "129026"})
"""What tells the method, and what the same receiver sends beside it without telling."""

READERS = {str(message.pgn): message.reader() for message in _ALL}
FAST_TABLED = frozenset(str(message.pgn) for message in _ALL if message.is_fast_packet)
INSTANCES = [str(number) if number < 253 else "" for number in range(256)]
