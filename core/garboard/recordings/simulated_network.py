"""The simulated boat's instrument network, served on sockets: Signal K deltas, CAN frames as text, NMEA 0183.

For practice, demonstrations and tests. It drives a scripted outing of `simulator` and knows the truth of it. Each of
its streams says of itself that nobody measured it: the word MARK stands in front of whatever is sent at once, among
frames also as a message of its own, and whoever hears it takes nothing of that sender for a measurement.

[1] Signal K specification 1.7, delta format and the paths of its schema; SI units, angles in radians.
[2] Frames as text: "(seconds) interface identifier#bytes", as the open can-utils write them.
[3] ISO address claim (60928) and product information (126996): open PGN database of the canboat project.
"""

from __future__ import annotations

import json
import math
import selectors
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

import attrs

from garboard.record_types import frozen
from garboard.recordings.encode import fast_packet_frames, nmea0183_sentence, nmea0183_sentences, nmea2000_messages
from garboard.recordings.nmea2000 import MESSAGES
from garboard.recordings.notes import MARK, MARK_MESSAGE
from garboard.recordings.simulator import Boat, Compass, Order, simulate
from garboard.samples import Sample

if TYPE_CHECKING:
    from websockets.server import ServerProtocol

MARK_LINE = nmea0183_sentence(MARK, "1")
TICK = 0.1
SELDOM = 1.0
"""What changes slowly is sent so often [s]."""
KEPT_BACK = 1 << 20
"""A listener that does not take what is sent is given up when so much waits [bytes]."""

# --- outings

TURNING = 2.5
"""Rate of turn of slow circles [deg/s]."""
STEPS = (1000.0, 1500.0, 2000.0, 2500.0, 3000.0, 3500.0, 4000.0, 4500.0, 5000.0, 5800.0)
"""Engine speeds of ten throttle steps [rev/min]."""


def slow_circles() -> Iterator[Order]:
    """Two circles to starboard, two to port, with a straight stretch between; the helm wanders as hands do."""
    for side in (1.0, -1.0):
        for wander in (0.0, 0.6, 0.1, -0.5, 0.2, -0.2, 0.4, 0.0) * 4:
            yield Order(seconds=9.0, engine_speed=1100.0, rate_of_turn=side * (TURNING + wander))
        yield Order(seconds=15.0, engine_speed=1100.0, course=80.0)


def full_throttle(courses: Iterable[float] = (80.0,), seconds: float = 60.0) -> Iterator[Order]:
    """A run at full throttle on each course."""
    for course in courses:
        yield Order(seconds=5.0, engine_speed=1500.0, course=course)
        yield Order(seconds=seconds, engine_speed=5800.0, course=course)
        yield Order(seconds=30.0, engine_speed=1500.0, course=course)


def throttle_steps(course: float = 80.0, seconds: float = 30.0) -> Iterator[Order]:
    """The throttle held at one engine speed after the other."""
    for engine_speed in STEPS:
        yield Order(seconds=seconds, engine_speed=engine_speed, course=course)


def outing() -> Iterator[Order]:
    """What a commissioning asks for on the water: circles, full throttle both ways, throttle steps both ways."""
    yield Order(seconds=20.0, engine_speed=650.0, course=80.0)
    yield from slow_circles()
    yield from full_throttle((80.0, 260.0, 80.0, 260.0))
    for course in (80.0, 260.0):
        yield from throttle_steps(course)


TWIN = Boat(
    engines=2,
    engine_offsets=(30.0, -20.0),
    compasses=(Compass(source="20", sine=2.4, cosine=1.1), Compass(source="35", noise=0.1)),
)

# --- what devices say of themselves


@frozen(kw_only=True)
class Device:
    """One device of the simulated network.

    address  : on NMEA 2000, as the sources of its samples
    number   : tells devices of one kind apart, as their makers number them
    function : what it is, with `kind`, by the numbers of an address claim [3]
    """

    address: int
    model: str
    number: int
    function: int
    kind: int

    @property
    def name(self) -> bytes:
        """What it claims its address by [3]; of a maker's number that no maker has."""
        low = self.number & 0x1FFFFF | 0x7FF << 21
        high = self.function << 8 | self.kind << 17 | 4 << 28 | 1 << 31
        return struct.pack("<II", low, high)

    @property
    def product(self) -> bytes:
        """Product information [3]: model, software, version, serial number."""
        texts = (self.model, "1.0", "1", f"{self.number:06d}")
        return struct.pack("<HH", 2100, 1) + b"".join(text.encode().ljust(32, b"\xff") for text in texts) + b"\1\1"


DEVICES = (
    Device(address=3, model="Simulated receiver", number=101, function=145, kind=60),
    Device(address=10, model="Simulated engines", number=102, function=160, kind=50),
    Device(address=20, model="Simulated compass", number=103, function=140, kind=60),
    Device(address=35, model="Simulated heading sensor", number=104, function=140, kind=60),
    Device(address=40, model="Simulated tank and battery", number=105, function=150, kind=75),
    Device(address=41, model="Simulated weather and depth", number=106, function=130, kind=85),
)
CLAIM, PRODUCT = 60928, 126996

# --- the three forms


def can_frame(at: float, pgn: int, source: int, data: bytes, priority: int = 6) -> str:
    """A frame of NMEA 2000 as text [2].

    at   : time since 1970-01-01 UTC [s]
    data : up to 8 bytes

    >>> can_frame(1.5, 127250, 20, bytes.fromhex("ffbe87ff7fff7ffc"), 2)
    '(1.500000) can0 09F11214#FFBE87FF7FFF7FFC'
    """
    low = pgn if pgn >> 8 & 0xFF >= 240 else pgn | 0xFF
    return f"({at:.6f}) can0 {priority << 26 | low << 8 | source:08X}#{data.hex().upper()}"


def can_frames(samples: Iterable[Sample]) -> Iterator[str]:
    """Samples as frames; those of SLOW or of what `encode.nmea2000_lines` writes."""
    samples = list(samples)
    for sample in samples:
        if sample.quantity in _SHORT:
            pgn, data = _SHORT[sample.quantity](sample)
            yield can_frame(sample.time, pgn, int(sample.source), data)
    tabled = nmea2000_messages(sample for sample in samples if sample.quantity not in _SHORT)
    for number, (at, pgn, source, data) in enumerate(tabled):
        priority = MESSAGES[pgn].priority
        for part in fast_packet_frames(data, number) if len(data) > 8 else [data]:
            yield can_frame(at, pgn, int(source), part, priority)


def _frame_marks(at: float) -> list[str]:
    """The mark before frames: for a person who reads them, and for whatever turns them into another form."""
    return [f"# {MARK}", can_frame(at, int(MARK_MESSAGE), DEVICES[0].address, MARK.encode().ljust(8, b"\xff"))]


def introductions(devices: Iterable[Device], at: float) -> Iterator[str]:
    """Frames by which devices claim their addresses and say what they are."""
    for device in devices:
        yield can_frame(at, CLAIM, device.address, device.name)
        for part in fast_packet_frames(device.product):
            yield can_frame(at, PRODUCT, device.address, part)


def _tank_frame(sample: Sample) -> tuple[int, bytes]:
    instance = int(sample.instance.split()[-1])  # fuel is the first kind of tank
    return 127505, struct.pack("<BhIB", instance, round(sample.value / 0.004), 0xFFFFFFFF, 0xFF)


def _air_temperature_frame(sample: Sample) -> tuple[int, bytes]:
    return 130312, struct.pack("<BBBHHB", 0xFF, 0, 1, round((sample.value + 273.15) / 0.01), 0xFFFF, 0xFF)


def _air_pressure_frame(sample: Sample) -> tuple[int, bytes]:
    return 130314, struct.pack("<BBBiB", 0xFF, 0, 0, round(sample.value / 0.001), 0xFF)


_SHORT: Mapping[str, Callable[[Sample], tuple[int, bytes]]] = {
    "tank_level": _tank_frame,
    "air_temperature": _air_temperature_frame,
    "air_pressure": _air_pressure_frame,
}
"""Number and bytes of messages of one frame whose place tells what the value is of [3]."""

_KNOT, _TURN, _LITRE_AN_HOUR = 1852 / 3600, 1 / 60, 1e-3 / 3600
_SIGNAL_K: Mapping[tuple[str, str], tuple[str, Callable[[float], float]]] = {
    ("heading", "magnetic"): ("navigation.headingMagnetic", math.radians),
    ("heading", "true"): ("navigation.headingTrue", math.radians),
    ("rate_of_turn", ""): ("navigation.rateOfTurn", math.radians),
    ("course_over_ground", "true"): ("navigation.courseOverGroundTrue", math.radians),
    ("speed_over_ground", ""): ("navigation.speedOverGround", lambda knots: knots * _KNOT),
    ("speed_through_water", ""): ("navigation.speedThroughWater", lambda knots: knots * _KNOT),
    ("engine_speed", ""): ("propulsion.{}.revolutions", lambda revs: revs * _TURN),
    ("fuel_flow", ""): ("propulsion.{}.fuel.rate", lambda litres: litres * _LITRE_AN_HOUR),
    ("engine_trim", ""): ("propulsion.{}.drive.trimState", lambda share: share / 100),
    ("engine_hours", ""): ("propulsion.{}.runTime", lambda hours: hours * 3600),
    ("battery_voltage", ""): ("electrical.batteries.{}.voltage", float),
    ("tank_level", ""): ("tanks.{}.currentLevel", lambda share: share / 100),
    ("air_temperature", ""): ("environment.outside.temperature", lambda celsius: celsius + 273.15),
    ("air_pressure", ""): ("environment.outside.pressure", lambda hectopascal: hectopascal * 100),
    ("depth", ""): ("environment.depth.belowTransducer", float),
}
"""Path and value in SI units [1] of each quantity and reference; the engine stands in the braces."""


_ENGINE_NAMES = {"0": "port", "1": "starboard"}
"""As servers call engines that they hear on NMEA 2000. From memory of an open one."""


def signal_k_deltas(samples: Iterable[Sample], label: str = "boat") -> Iterator[str]:
    """Samples as deltas [1], one for each source and time; what has no path is left out.

    label : of the source of each update

    >>> list(signal_k_deltas([Sample(0.0, "engine_speed", 600.0, "10", "1")], "engines"))
    ['{"context":"vessels.self","updates":[{"source":{"label":"engines","src":"10"},"timestamp":\
"1970-01-01T00:00:00.000Z","values":[{"path":"propulsion.starboard.revolutions","value":10.0}]}]}']
    """
    from garboard.recordings.encode import iso_time

    for (at, source), group in groupby(samples, lambda sample: (sample.time, sample.source)):
        values: list[dict[str, Any]] = []
        position: dict[str, float] = {}
        for sample in group:
            if sample.quantity in ("latitude", "longitude"):
                position[sample.quantity] = sample.value
            elif found := _SIGNAL_K.get((sample.quantity, sample.reference)):
                which = (sample.instance or "0").replace(" ", ".")
                name = _ENGINE_NAMES.get(which, which) if found[0].startswith("propulsion") else which
                values.append(
                    {
                        "path": found[0].format(name),
                        "value": found[1](sample.value),
                    }
                )
        if len(position) == 2:
            values.append({"path": "navigation.position", "value": position})
        if values:
            update = {"source": {"label": label, "src": source}, "timestamp": iso_time(at), "values": values}
            yield json.dumps({"context": "vessels.self", "updates": [update]}, separators=(",", ":"))


def slow(boat: Boat, at: float) -> Iterator[Sample]:
    """What a boat's network says seldom, once a second: a part of the truth that does not change on an outing."""
    for engine in range(boat.engines):
        yield Sample(at, "engine_trim", TRIM, "10", str(engine))
        yield Sample(at, "engine_hours", HOURS + engine, "10", str(engine))
    for number, battery in enumerate(boat.batteries):
        yield Sample(at, "battery_voltage", battery.voltage, "40", str(number))
    yield Sample(at, "tank_level", TANK_LEVEL, "40", "fuel 0")
    yield Sample(at, "depth", DEPTH, "41")
    yield Sample(at, "air_temperature", AIR_TEMPERATURE, "41")
    yield Sample(at, "air_pressure", AIR_PRESSURE, "41")


TRIM, HOURS, TANK_LEVEL, DEPTH, AIR_TEMPERATURE, AIR_PRESSURE = 22.0, 3.0, 62.0, 14.5, 21.5, 1009.0
SLOW = ("engine_trim", "engine_hours", "battery_voltage", "tank_level", "depth", "air_temperature", "air_pressure")


def sentences(samples: Iterable[Sample]) -> list[str]:
    """Samples as NMEA 0183; what has no sentence that is read alike everywhere, such as fuel flow, is left out."""
    return list(nmea0183_sentences(s for s in samples if s.quantity not in ("fuel_flow", *SLOW)))


# --- on sockets


@attrs.define(eq=False)
class _Listener:
    """One program that is connected."""

    socket: socket.socket
    form: str
    protocol: ServerProtocol | None = None
    waiting: bytearray = attrs.field(factory=bytearray)
    greeted: bool = False

    @property
    def is_ready(self) -> bool:
        from websockets.protocol import State

        return self.protocol is None or self.protocol.state is State.OPEN

    def give(self, lines: Sequence[str]) -> None:
        """Have lines wait to be sent."""
        if self.protocol is None:
            self.waiting += "".join(f"{line}\r\n" for line in lines).encode()
            return
        for line in lines:
            self.protocol.send_text(line.encode())
        self.waiting += b"".join(self.protocol.data_to_send())

    def take(self, data: bytes) -> None:
        """What a program sends: a handshake and what keeps a WebSocket. By plain TCP it is passed over."""
        if self.protocol is None:
            return
        from websockets.http11 import Request

        self.protocol.receive_data(data)
        for event in self.protocol.events_received():
            if isinstance(event, Request):
                self.protocol.send_response(self.protocol.accept(event))
        self.waiting += b"".join(self.protocol.data_to_send())


FORMS = ("nmea0183", "can", "signalk")


class SimulatedNetwork:
    """Serves one outing to whoever connects. `advance` moves it; `start` does so by the clock, in a thread.

    boat    : what it is like: the truth
    orders  : the outing; at its end the boat goes on as it was
    rate    : samples of each quantity a second [Hz]
    is_marked : whether it says that it is simulated. Only a test that plays a real boat leaves that out.
    """

    def __init__(
        self,
        boat: Boat = TWIN,
        orders: Iterable[Order] | None = None,
        *,
        host: str = "127.0.0.1",
        ports: Mapping[str, int] | None = None,
        start: float | None = None,
        seed: int = 1,
        rate: float = 10.0,
        noise: float = 1.0,
        devices: Sequence[Device] = DEVICES,
        is_marked: bool = True,
    ) -> None:
        self.boat, self.devices, self.is_marked = boat, devices, is_marked
        self.now = time.time() if start is None else start
        self.truth: tuple[Sample, ...] = ()
        self._slow_at = -math.inf
        self._samples = simulate(
            boat,
            outing() if orders is None else orders,
            start=self.now,
            seed=seed,
            rate=rate,
            noise=noise,
            heading=80.0,
        )
        self._next = next(self._samples, None)
        self._listeners: list[_Listener] = []
        self._selector = selectors.DefaultSelector()
        self._doors: dict[str, socket.socket] = {}
        for form in FORMS:
            try:
                door = socket.create_server((host, (ports or {}).get(form, 0)))
            except OSError:
                self._close_doors()
                raise
            door.setblocking(False)
            self._doors[form] = door
            self._selector.register(door, selectors.EVENT_READ, form)
        self._ending = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def ports(self) -> Mapping[str, int]:
        """By form: nmea0183, can, signalk."""
        return {form: door.getsockname()[1] for form, door in self._doors.items()}

    @property
    def is_over(self) -> bool:
        """Whether the outing has ended: nothing more is sent."""
        return self._next is None

    def listeners(self, form: str) -> int:
        """How many are connected and ready."""
        return sum(one.form == form and one.is_ready for one in self._listeners)

    def start(self) -> None:
        """Move by the clock until `close`."""
        self._thread = threading.Thread(target=self._run, name="simulated network", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        last = time.monotonic()
        while not self._ending.wait(TICK):
            now = time.monotonic()
            self.advance(now - last)
            last = now

    def close(self) -> None:
        """End it, with every connection."""
        self._ending.set()
        if self._thread is not None:
            self._thread.join(2.0)
        for one in self._listeners:
            one.socket.close()
        self._close_doors()

    def _close_doors(self) -> None:
        for door in self._doors.values():
            door.close()
        self._selector.close()

    def advance(self, seconds: float) -> tuple[Sample, ...]:
        """Go on so long; what is due is sent. Returns it."""
        self.now += seconds
        due: list[Sample] = []
        while self._next is not None and self._next.time <= self.now + 1e-6:
            due.append(self._next)
            self._next = next(self._samples, None)
        if due and self.now - self._slow_at >= SELDOM - 1e-6:
            self._slow_at = self.now
            due += slow(self.boat, self.now)
        self.truth = tuple(due)
        self.look()
        lines: dict[str, list[str]] = {}
        for one in self._listeners:
            if one.is_ready and due:
                if one.form not in lines:
                    lines[one.form] = self._lines(one.form, due)
                one.give([*([] if one.greeted else self._greeting(one.form)), *lines[one.form]])
                one.greeted = True
        self._send()
        return self.truth

    def look(self) -> None:
        """Let in who knocks, and hear what is asked."""
        while ready := self._selector.select(0):
            for key, _ in ready:
                if isinstance(key.data, str):
                    self._let_in(key.data)
                else:
                    self._hear(key.data)
        self._send()

    def _let_in(self, form: str) -> None:
        taken, _ = self._doors[form].accept()
        taken.setblocking(False)
        protocol = None
        if form == "signalk":
            from websockets.server import ServerProtocol

            protocol = ServerProtocol()
        one = _Listener(taken, form, protocol)
        self._listeners.append(one)
        self._selector.register(taken, selectors.EVENT_READ, one)

    def _hear(self, one: _Listener) -> None:
        try:
            data = one.socket.recv(65536)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if data:
            one.take(data)
        else:
            self.drop(one)

    def drop(self, one: _Listener | None = None) -> None:
        """End a connection, or all."""
        for gone in [one] if one is not None else list(self._listeners):
            self._selector.unregister(gone.socket)
            gone.socket.close()
            self._listeners.remove(gone)

    def _send(self) -> None:
        for one in list(self._listeners):
            try:
                if one.waiting:
                    del one.waiting[: one.socket.send(one.waiting)]
            except BlockingIOError:
                pass
            except OSError:
                self.drop(one)
                continue
            if len(one.waiting) > KEPT_BACK:
                self.drop(one)

    def send_raw(self, form: str, data: bytes) -> None:
        """Send bytes as they are: what a broken gateway sends."""
        for one in self._listeners:
            if one.form == form:
                one.waiting += data
        self._send()

    def _greeting(self, form: str) -> list[str]:
        if form == "can":
            return list(introductions(self.devices, self.now))
        if form == "signalk":
            name = MARK if self.is_marked else "boat"
            return [json.dumps({"name": name, "version": "1.7.0", "self": "vessels.self", "roles": ["main"]})]
        return []

    def _lines(self, form: str, due: Sequence[Sample]) -> list[str]:
        if form == "nmea0183":
            return [*([MARK_LINE] if self.is_marked else []), *sentences(due)]
        if form == "can":
            return [*(_frame_marks(self.now) if self.is_marked else []), *can_frames(due)]
        return list(signal_k_deltas(due, MARK if self.is_marked else "boat"))
