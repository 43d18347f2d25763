"""Makes the sample jobs: three invented boats of an invented shop, with typed readings and simulated recordings.

    python sample_jobs/make_samples.py

Everything here is made up: boats, people, place, readings. The same call gives the same bytes.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from garboard.recordings.encode import nmea0183_sentences, nmea2000_lines
from garboard.recordings.simulator import Boat, Compass, Order, simulate
from garboard.records import JsonValue
from garboard.samples import Sample

HERE = Path(__file__).parent
SHOP = "Tern Harbour Boat Works"
Plain = dict[str, JsonValue]

CLEAN_WALK_THROUGH: Mapping[str, Sequence[str]] = {
    "handover.fuel_system": ("dry_at_rest", "dry_under_pressure", "no_vapour", "vent_and_fill_clear"),
    "handover.steering": ("full_travel", "no_play", "no_leaks", "fastened"),
    "handover.lights_and_horn": ("side_lights", "stern_or_all_round", "anchor", "horn"),
    "handover.tabs_under_way": ("levels", "bow_down"),
}
GEAR = ("Life jackets, six", "Throwable cushion", "Fire extinguishers", "Visual signals", "Anchor, chain and line")
TOPICS = (
    "Battery switches",
    "Starting, stopping, cut-off link",
    "Fuel, blower, vapour",
    "Bilge pumps and alarm",
    "Fire and safety gear",
    "Radio and distress call",
    "Trim and tabs",
    "Service dates",
)


class Sheet:
    """Measurements of one job, written down one after the other."""

    def __init__(self, day: str, by: str) -> None:
        self.day, self.by, self.minute = day, by, 8 * 60
        self.measurements: list[JsonValue] = []
        self.steps: list[JsonValue] = []

    def put(
        self, step: str, field: str, value: JsonValue, *, row: str = "", of: str = "", instrument: str = ""
    ) -> None:
        """Write one value down, a minute after the last."""
        self.minute += 1
        plain: Plain = {"step": step, "field": field}
        plain |= {"row": row} if row else {}
        plain |= {"of": of} if of else {}
        plain |= {"value": value, "at": self._time(), "by": self.by}
        plain |= {"instrument": instrument} if instrument else {}
        self.measurements.append(plain)

    def put_all(self, step: str, values: Mapping[str, JsonValue], *, row: str = "", of: str = "") -> None:
        """Write several values of one step, row and piece down."""
        for field, value in values.items():
            self.put(step, field, value, row=row, of=of)

    def state(self, step: str, state: str) -> None:
        """Say how far a step is."""
        self.steps.append({"step": step, "state": state, "by": self.by, "at": self._time()})

    def all_measured_are_done(self) -> None:
        """Mark every step with a measurement as done."""
        for step in dict.fromkeys(str(m["step"]) for m in self.measurements if isinstance(m, dict)):
            self.state(step, "done")

    def walk_through(self, engines: Sequence[str], pumps: Sequence[str], identity: str) -> None:
        """A walk-through in which everything works."""
        for step, fields in CLEAN_WALK_THROUGH.items():
            self.put_all(step, dict.fromkeys(fields, True))
        for engine in engines:
            fields = ("full_trim", "trim_gauge", "stays_up")
            self.put_all("handover.trim_and_tabs", dict.fromkeys(fields, True), of=engine)
        self.put_all("handover.trim_and_tabs", {"tabs_move": True, "tab_gauge": True})
        for row, pump in enumerate(pumps, start=1):
            values: Plain = {"pump": pump, "by_hand": True, "by_float": True}
            self.put_all("handover.bilge_pumps", values, row=str(row))
        self.put("handover.bilge_pumps", "high_water_alarm", True)
        self.put_all(
            "handover.radio",
            {
                "licence_identity": identity,
                "vhf_identity": identity,
                "ais_identity": identity,
                "vhf_has_position": True,
                "radio_check": True,
                "ais_seen": True,
            },
        )
        for row, item in enumerate(GEAR, start=1):
            self.put_all("handover.safety_gear", {"item": item, "aboard": True}, row=str(row))
        self.put("handover.safety_gear", "list_checked", True)

    def briefing(self) -> None:
        """The owner shown everything."""
        for row, topic in enumerate(TOPICS, start=1):
            self.put_all("handover.owner_briefing", {"topic": topic, "understood": True}, row=str(row))
        self.put("handover.owner_briefing", "manuals_handed_over", True)

    def propeller_checked(self, engines: Sequence[str]) -> None:
        """Propellers looked at, capacity label read."""
        self.put("prop_check.capacity", "label_read", True)
        for engine in engines:
            fields = ("stamp_read", "nut_secured", "blades_sound")
            self.put_all("prop_check.propeller", dict.fromkeys(fields, True), of=engine)

    def conditions(self, load: str, fuel: str, persons: int, temperature: str, pressure: str, hull: str) -> None:
        """Conditions of the full-throttle runs."""
        self.put_all(
            "prop_check.conditions",
            {
                "trim": "at best",
                "load": load,
                "fuel_level": fuel,
                "persons": persons,
                "water": "calm",
                "air_temperature": temperature,
                "air_pressure": pressure,
                "humidity": "65 %",
                "hull_kind": hull,
            },
        )

    def circuits(
        self, circuits: Iterable[Plain], readings: Mapping[str, tuple[str, str]], unlabelled: str = ""
    ) -> None:
        """Readings of every circuit: (current, drop)."""
        for circuit in circuits:
            name = str(circuit["name"])
            current, drop = readings[name]
            values: Plain = {
                "label_present": name != unlabelled,
                "current": current,
                "drop": drop,
                "source_voltage": f"{12.64 - 0.005 * float(current.split()[0]):.2f} V",
                "terminations_tight": True,
                "polarity_right": True,
                "supported": True,
            }
            self.put_all("wiring_audit.circuits", values, of=name)

    def battery(self, name: str, voltage: str, standing: str, load: str, fuse: str = "150 A") -> None:
        """A battery at rest, its standing current and its load."""
        self.put_all(
            "wiring_audit.batteries",
            {
                "rest_voltage": voltage,
                "hours_at_rest": "14 h",
                "temperature": "16 degC",
                "held_down": True,
                "terminals_covered": True,
                "terminals_fixed": True,
                "vented": True,
                "clear_of_fuel": True,
                "fuse_distance": "6 in",
                "fuse_rating": fuse,
            },
            of=name,
        )
        self.put("wiring_audit.standing_current", "standing_current", standing, of=name)
        self.put("wiring_audit.loads", "load_current", load, of=name)

    def network(self, resistance: str, worst: str) -> None:
        """The instrument network."""
        values: Plain = {
            "signal_resistance": resistance,
            "tee_voltage": "12.6 V",
            "worst_voltage": worst,
            "spare_drops": 2,
            "on_start_battery": False,
        }
        self.put_all("wiring_audit.networks", values, of="main")

    def sensor_place(self, sensors: Sequence[str]) -> None:
        """Heading sensors clear of disturbers, and the place for the variation."""
        for sensor in sensors:
            values: Plain = {
                "distance_to_loudspeakers": "1.6 m",
                "distance_to_motors": "2.4 m",
                "distance_to_cables": "1.2 m",
                "distance_to_steel": "1.5 m",
                "steady_when_switched": True,
                "mounted_as_told": True,
            }
            self.put_all("heading_calibration.location", values, of=sensor)
        place: Plain = {"latitude": "37.5 deg", "longitude": "-68.0 deg", "date": self.day}
        self.put_all("heading_calibration.place", place)

    def engines_rigged(self, engines: Sequence[str], heights: Sequence[str], idles: Sequence[str]) -> None:
        """Engines within the maker's limits, as rigged and at their first start."""
        for engine, height, idle in zip(engines, heights, idles, strict=True):
            window: Plain = {
                "idle_low": "600 rev/min",
                "idle_high": "750 rev/min",
                "height_low": "0 in",
                "height_high": "2 in",
                "temperature_high": "80 degC",
                "water_low": "12 psi",
                "voltage_low": "13.0 V",
                "voltage_high": "14.8 V",
            }
            self.put_all("engine_trial.makers_window", window, of=engine)
            rigged: Plain = {
                "height": height,
                "bolted": True,
                "torque_set": "55 ft-lb",
                "oils": True,
                "serial_read": True,
            }
            self.put_all("engine_trial.as_rigged", rigged, of=engine)
            points = (
                "throttle_travel",
                "starts_in_neutral_only",
                "cut_off_stops",
                "alarms_sound",
                "tell_tale",
                "shifts_right",
            )
            self.put_all("engine_trial.first_start", dict.fromkeys(points, True), of=engine)
            self.put("engine_trial.first_start", "idle", idle, of=engine)

    def displays(self, displays: Sequence[str], engines: Sequence[str], gauges: Mapping[str, str]) -> None:
        """Every display alive and in agreement with the engines; the main tank's gauge by what is in the tank."""
        step = "engine_trial.data"
        for row, display in enumerate(displays, start=1):
            self.put_all(step, {"display": display, "alive": True, "named_right": True}, row=str(row))
        for engine in engines:
            read: Plain = {"own_speed": "700 rev/min", "shown_speed": "710 rev/min"}
            read |= {"own_voltage": "13.9 V", "shown_voltage": "13.8 V"}
            self.put_all(step, read, of=engine)
        for row, (volume, gauge) in enumerate(gauges.items(), start=1):
            self.put_all(step, {"in_tank": volume, "gauge": gauge}, row=str(row), of="main")

    def instruments(self, pumps: Mapping[str, str]) -> None:
        """Depth, radar and VHF in order; each bilge pump with what it moved in 20 s."""
        step = "engine_trial.instruments"
        read: Plain = {
            "depth_by_lead": "11.2 ft",
            "transducer_depth": "1.4 ft",
            "depth_shown": "9.7 ft",
            "depth_offset": "1.4 ft",
            "power_forward": "24 W",
            "power_reflected": "0.6 W",
        }
        self.put_all(step, read)
        for row, (pump, collected) in enumerate(pumps.items(), start=1):
            values: Plain = {"pump_tried": pump, "pumped": collected, "seconds": "20 s", "label_flow": "1100 gal/h"}
            self.put_all(step, values, row=str(row))

    def fitted_out(self, items: Sequence[str], **label: JsonValue) -> None:
        """Fit-out looked at, fuel system under pressure, safety gear for six on coastal waters."""
        gear: Plain = {
            "waters": "coastal or Great Lakes",
            "spaces": "closed spaces",
            "most_persons": 6,
            "wearables": 6,
            "throwable": True,
            "extinguishers": 2,
            "distress_signals": True,
        }
        self.put_all("engine_trial.label_and_gear", {**label, **gear})
        for row, item in enumerate(items, start=1):
            points: Plain = {"item": item, "through_bolted": True, "moves_clear": True, "holds_load": True}
            self.put_all("engine_trial.fit_out", points, row=str(row))
        test: Plain = {"test_pressure": "3.0 psi", "pressure_after": "3.0 psi", "test_minutes": "10 min"}
        self.put_all("engine_trial.fit_out", test)

    def under_load(self, engines: Sequence[str], steps: Mapping[str, tuple[str, str, str, str]]) -> None:
        """Temperature, water pressure, voltage and charge current at each throttle step."""
        step = "engine_trial.under_load"
        for row, (revs, (warm, water, volts, charge)) in enumerate(steps.items(), start=1):
            self.put(step, "step_speed", f"{revs} rev/min", row=str(row))
            for engine in engines:
                values: Plain = {"temperature": warm, "water_pressure": water, "voltage": volts}
                self.put_all(step, values, row=str(row), of=engine)
            self.put(step, "charge", charge, row=str(row), of="house")
        self.put(step, "no_alarm", True)
        for engine in engines:
            self.put(step, "holds_in_turn", True, of=engine)

    def places_aboard(self, places: Sequence[tuple[str, str, int, int, bool]]) -> None:
        """Where things are: what, in words, along from the transom and across from port in per cent, whether first."""
        for row, (thing, called, along, across, is_first) in enumerate(places, start=1):
            values: Plain = {"thing": thing, "called": called, "along": f"{along} %", "across": f"{across} %"}
            values["kind"] = "first, when something is wrong" if is_first else "good to know"
            self.put_all("handover.places", values, row=str(row))

    def after_the_trial(self, engines: Sequence[str], owner: str) -> None:
        """Bolts again, the break-in plan, the service calendar, and what was filed."""
        step = "engine_trial.after"
        for engine in engines:
            self.put(step, "retorqued", True, of=engine)
        bands = {"slow, out of full throttle": "1 h", "up to three quarters": "3 h", "full throttle at times": "10 h"}
        for row, (band, until) in enumerate(bands.items(), start=1):
            self.put_all(step, {"band": band, "until": until}, row=str(row))
        services = (("20 hour check", "20 h", "2026-06-15"), ("100 hour or yearly service", "100 h", "2027-05-15"))
        for row, (service, hours, day) in enumerate(services, start=1):
            self.put_all(step, {"service": service, "due_hours": hours, "due_date": day}, row=str(row))
        for row, (record, by) in enumerate({"Engine warranty": self.by, "Boat registration": owner}.items(), start=1):
            self.put_all(step, {"record": record, "filed_by": by, "filed_on": self.day}, row=str(row))

    def _time(self) -> str:
        return f"{self.day}T{self.minute // 60:02d}:{self.minute % 60:02d}:00-04:00"


def circuit(
    name: str,
    awg: str,
    length: str,
    current: str,
    fuse: str,
    *,
    critical: bool = False,
    together: bool = True,
    **more: JsonValue,
) -> Plain:
    """A circuit with what is the same on all of these boats."""
    return {
        "name": name,
        "fed_from": "panel",
        "conductor_awg": awg,
        "insulation_temperature": "105 degC",
        "in_engine_space": False,
        "in_sheath": True,
        "bundled_conductors": 2,
        "length": length,
        "nominal_voltage": "12 V",
        "design_current": current,
        "protection": "breaker",
        "protection_rating": fuse,
        "protection_distance": "4 in",
        "runs_with_others": together,
        "critical": critical,
        "battery": "house",
        **more,
    }


def bilge_pump(name: str, length: str) -> Plain:
    """A pump that runs whatever is switched off: fed from the battery by a fuse of its own."""
    more: Plain = {"protection": "fuse", "fed_from": "battery terminal"}
    return {**circuit(name, "14", length, "4.6 A", "7.5 A", critical=True, together=False), **more}


def engine(
    position: str, power: str, window: tuple[str, str], ratio: str, pitch: str, diameter: str, handing: str
) -> Plain:
    """An engine with its propeller."""
    return {
        "position": position,
        "maker": "Northlight",
        "model": f"NL{power.split()[0]}",
        "serial_number": f"NL-{position[:2].upper()}-{power.split()[0]}-0{len(position)}",
        "rated_power": power,
        "rated_speed": "5750 rev/min",
        "full_throttle_low": window[0],
        "full_throttle_high": window[1],
        "limiter_speed": "6200 rev/min",
        "gear_ratio": ratio,
        "hours": "5.4 h",
        "charging_current": "48 A",
        "propeller": {
            "diameter": diameter,
            "pitch": pitch,
            "blades": 3,
            "handing": handing,
            "material": "stainless steel",
            "cup": "light",
        },
    }


def battery(name: str, capacity: str) -> Plain:
    """A flooded battery."""
    return {"name": name, "chemistry": "flooded", "nominal_voltage": "12 V", "capacity": capacity}


def network(devices: Iterable[tuple[str, int, str, str]]) -> Plain:
    """An instrument network with its devices: name, load number, drop, distance from power."""
    return {
        "name": "main",
        "backbone_length": "11 m",
        "cable": "mid",
        "cable_resistance_per_metre": "0.053 ohm",
        "supply_voltage": "12.6 V",
        "protection_rating": "3 A",
        "terminators": 2,
        "devices": [
            {"name": name, "load_equivalency": load, "drop_length": drop, "distance_from_power": away}
            for name, load, drop, away in devices
        ],
    }


Colour = tuple[int, int, int]
Box = tuple[int, int, int, int, Colour]
"""Left, top, right, bottom and colour."""
SKY, SEA, HULL, GLASS, DARK = (214, 226, 230), (96, 132, 140), (246, 244, 238), (70, 96, 104), (52, 58, 62)


def write_picture(folder: Path, name: str, size: tuple[int, int], boxes: Iterable[Box]) -> None:
    """A drawn picture that stands for a photo: boxes on a ground, as a PNG."""
    wide, high = size
    rows = [bytearray(bytes(SKY) * wide) for _ in range(high)]
    for left, top, right, bottom, colour in boxes:
        for y in range(max(0, top), min(high, bottom)):
            rows[y][3 * left : 3 * right] = bytes(colour) * (right - left)
    lines = b"".join(b"\0" + bytes(row) for row in rows)
    head = struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(lines, 9)), (b"IEND", b""))
    packed = (
        struct.pack(">I", len(part)) + kind + part + struct.pack(">I", zlib.crc32(kind + part)) for kind, part in chunks
    )
    (folder / name).write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(packed))


def arrow(x: str, y: str, turn: int, word: str) -> Plain:
    """An arrow in a picture: its tip as shares of width and height, and what it points at."""
    return {"x": x, "y": y, "turn": turn, "word": word}


def seconds(day: str, clock: str) -> float:
    """Seconds since 1970 of a day and time UTC."""
    return datetime.fromisoformat(f"{day}T{clock}").replace(tzinfo=UTC).timestamp()


def only(samples: Iterable[Sample], *quantities: str) -> Iterator[Sample]:
    """Samples of some quantities."""
    return (sample for sample in samples if sample.quantity in quantities)


def write_log(folder: Path, name: str, lines: Iterable[str]) -> None:
    """Write a recording."""
    (folder / name).write_text("\n".join(lines) + "\n", encoding="ascii")


def write_job(folder: Path, vessel: Plain, job: Plain, sheet: Sheet, **more: JsonValue) -> None:
    """Write a job file."""
    sheet.all_measured_are_done()
    plain: Plain = {"format": "garboard job", "version": 1, "vessel": vessel, "job": job}
    plain |= {"steps": sheet.steps, "measurements": sheet.measurements, **more}
    (folder / "job.json").write_text(json.dumps(plain, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


TURN = ("heading", "rate_of_turn", "course_over_ground", "speed_over_ground")
RUNS = ("engine_speed", "course_over_ground", "speed_over_ground")
STEPS = ("engine_speed", "fuel_flow", "course_over_ground", "speed_over_ground")
PILOT = ("heading", "course_over_ground", "speed_over_ground")


def saltgrass() -> None:
    """A single: the propeller holds the engine below its window, one circuit loses too much, one has no label."""
    folder, day = HERE / "saltgrass", "2026-05-14"
    folder.mkdir(exist_ok=True)
    circuits = [
        circuit("Bilge pump", "16", "9 ft", "4.2 A", "7.5 A", critical=True, together=False, protection="fuse"),
        circuit("Navigation lights", "16", "19 ft", "2.1 A", "5 A", critical=True),
        circuit(
            "Chart plotter", "16", "6 ft", "2.6 A", "5 A", critical=True, use="navigation or communication electronics"
        ),
        circuit(
            "VHF radio",
            "14",
            "7 ft",
            "5.5 A",
            "10 A",
            critical=True,
            together=False,
            use="navigation or communication electronics",
        ),
        circuit("Livewell pump", "16", "17 ft", "6.0 A", "10 A"),
        circuit("Baitwell light", "16", "14 ft", "0.6 A", "3 A", together=False),
        circuit("Washdown pump", "16", "21 ft", "9.5 A", "15 A", together=False),
    ]
    sheet = Sheet(day, "R. Vane")
    sheet.battery("house", "12.62 V", "18 mA", "11.8 A")
    sheet.battery("start", "12.66 V", "4 mA", "0.4 A")
    readings = {
        "Bilge pump": ("4.2 A", "0.31 V"),
        "Navigation lights": ("2.0 A", "0.32 V"),
        "Chart plotter": ("2.4 A", "0.14 V"),
        "VHF radio": ("5.1 A", "0.21 V"),
        "Livewell pump": ("5.8 A", "0.82 V"),
        "Baitwell light": ("0.6 A", "0.07 V"),
        "Washdown pump": ("9.6 A", "1.72 V"),
    }
    sheet.circuits(circuits, readings, unlabelled="Baitwell light")
    sheet.put("wiring_audit.loads", "classes_agreed", True)
    sheet.network("60.4 ohm", "12.3 V")
    sheet.sensor_place(["helm compass"])
    sheet.propeller_checked(["centre"])
    sheet.walk_through(["centre"], ["Bilge pump"], "200000017")
    for step in ("handover.second_station", "handover.thruster", "handover.autopilot"):
        sheet.state(step, "not fitted")
    sheet.put("heading_calibration.steady_turn", "turn_recording", {"file": "turn.nmea0183.log"})
    sheet.put("heading_calibration.steady_turn", "calm_water", True)
    sheet.put("heading_calibration.steady_turn", "instrument_result", "accepted", of="helm compass")
    sheet.conditions("half", "55 %", 2, "19 degC", "1016 hPa", "cruiser or average runabout")
    for row, (side, speed, revs) in enumerate((("with", "32.9 kn", "4850"), ("against", "31.9 kn", "4840")), start=1):
        sheet.put("prop_check.full_throttle", "direction", side, row=str(row))
        sheet.put("prop_check.full_throttle", "speed", speed, row=str(row), instrument="plotter")
        sheet.put("prop_check.full_throttle", "engine_speed", f"{revs} rev/min", row=str(row), of="centre")
    steps = (
        ("700", "2.6 kn", "2.3 kn", "0.6 gal/h"),
        ("1500", "6.1 kn", "5.7 kn", "1.6 gal/h"),
        ("2000", "7.4 kn", "7.0 kn", "2.9 gal/h"),
        ("2500", "10.2 kn", "9.6 kn", "4.7 gal/h"),
        ("3000", "17.6 kn", "17.0 kn", "5.4 gal/h"),
        ("3500", "22.1 kn", "21.5 kn", "6.5 gal/h"),
        ("4000", "26.2 kn", "25.6 kn", "8.3 gal/h"),
        ("4500", "30.2 kn", "29.4 kn", "10.9 gal/h"),
        ("4850", "32.9 kn", "31.9 kn", "12.9 gal/h"),
    )
    sheet.put("fuel_curve.steps", "fuel", "gasoline")
    sheet.put("fuel_curve.steps", "water_state", "calm")
    sheet.put("fuel_curve.steps", "load", "half")
    for row, (revs, out, back, flow) in enumerate(steps, start=1):
        values: Plain = {"nominal_engine_speed": f"{revs} rev/min", "speed_out": out, "speed_back": back}
        sheet.put_all("fuel_curve.steps", values, row=str(row))
        sheet.put("fuel_curve.steps", "fuel_flow", flow, row=str(row), of="centre")
    sheet.put("fuel_curve.tanks", "usable_fuel", "52 gal")
    sheet.engines_rigged(["centre"], ["1.0 in"], ["680 rev/min"])
    sheet.displays(["Helm"], ["centre"], {"0 gal": "1 %", "30 gal": "52 %", "60 gal": "98 %"})
    sheet.instruments({"Bilge pump": "14.5 L"})
    label: Plain = {"label_persons": 6, "label_persons_weight": "850 lb", "label_weight": "1750 lb"}
    sheet.fitted_out(["Seats", "Cleats", "Hatches and doors"], **label)
    for row, (item, weight) in enumerate((("Engine and controls", "480 lb"), ("Batteries", "110 lb")), start=1):
        sheet.put_all("engine_trial.label_and_gear", {"rigged_item": item, "item_weight": weight}, row=str(row))
    sheet.put("engine_trial.controls_under_way", "warm_up", True)
    sheet.under_load(
        ["centre"],
        {
            "700": ("62 degC", "3 psi", "13.4 V", "9 A"),
            "3000": ("66 degC", "11 psi", "14.0 V", "38 A"),
            "4850": ("71 degC", "19 psi", "14.1 V", "41 A"),
        },
    )
    sheet.after_the_trial(["centre"], "E. Marlow")
    sheet.places_aboard(
        [
            ("engine cut-off switch", "Engine cut-off switch, right of the wheel", 46, 62, True),
            ("battery switch", "Battery switch, in the port aft locker", 9, 24, True),
            ("fire extinguisher", "Fire extinguisher, under the helm seat", 40, 55, True),
            ("fuse panel", "Fuse panel, inside the console door", 50, 50, False),
            ("anchor", "Anchor and line, in the bow locker", 92, 50, False),
        ]
    )
    boat = Boat(
        full_throttle=4850,
        variation=-14.1,
        speed_per_rev=0.0067,
        compasses=(Compass(source="HC", constant=1.0, sine=2.0, cosine=-1.5, noise=0.4),),
    )
    orders = [Order(seconds=20, engine_speed=1100), Order(seconds=185, engine_speed=1100, rate_of_turn=2.5)]
    samples = simulate(boat, orders, start=seconds(day, "17:05:00"), seed=14, rate=2, heading=40)
    write_log(folder, "turn.nmea0183.log", nmea0183_sentences(only(samples, *TURN)))
    vessel: Plain = {
        "hull_number": "QQZ04417D626",
        "name": "Saltgrass",
        "maker": "Quarry Cove Boats",
        "model": "Shoal 195",
        "hull_form": "planing",
        "length": "19.5 ft",
        "beam": "8.0 ft",
        "deadrise": "17 deg",
        "transom_width": "7.2 ft",
        "transom_height": "25 in",
        "steering": "remote",
        "plate_power": "150 hp",
        "displacement_as_run": "2950 lb",
        "engines": [engine("centre", "150 hp", ("5000 rev/min", "6000 rev/min"), "2.08", "19 in", "14.5 in", "right")],
        "tanks": [{"name": "main", "capacity": "60 gal"}],
        "batteries": [battery("house", "90 Ah"), battery("start", "80 Ah")],
        "circuits": [*circuits],
        "heading_sensors": [{"name": "helm compass", "source": "HC", "location": "under the console"}],
        "networks": [network([("plotter", 9, "2 m", "3 m"), ("engine gateway", 2, "3 m", "5 m")])],
    }
    job: Plain = {
        "id": "saltgrass-2026-05",
        "opened": day,
        "place": "Tern Harbour",
        "shop": SHOP,
        "technicians": ["R. Vane"],
        "owner": "E. Marlow",
    }
    notes: list[JsonValue] = [
        {"text": "Chafe at the transom grommet, starboard side", "by": "R. Vane", "punch_list": True}
    ]
    write_job(folder, vessel, job, sheet, notes=notes)


def kittiwake() -> None:
    """A twin on which everything is in order: signed over."""
    folder, day = HERE / "kittiwake", "2026-05-15"
    folder.mkdir(exist_ok=True)
    engines = ("port", "starboard")
    circuits = [
        bilge_pump("Bilge pump forward", "12 ft"),
        bilge_pump("Bilge pump aft", "8 ft"),
        circuit("Navigation lights", "14", "22 ft", "1.4 A", "5 A", critical=True),
        circuit(
            "Chart plotter", "12", "8 ft", "6.5 A", "10 A", critical=True, use="navigation or communication electronics"
        ),
        circuit(
            "VHF radio",
            "12",
            "8 ft",
            "5.5 A",
            "10 A",
            critical=True,
            together=False,
            use="navigation or communication electronics",
        ),
        circuit("Autopilot", "10", "12 ft", "12 A", "20 A", critical=True),
        circuit("Trim tabs", "12", "15 ft", "8 A", "15 A", together=False),
        circuit("Courtesy lights", "16", "16 ft", "0.9 A", "3 A"),
    ]
    sheet = Sheet(day, "N. Sorrel")
    sheet.battery("house", "12.66 V", "22 mA", "17.5 A", fuse="100 A")
    sheet.battery("start port", "12.67 V", "3 mA", "0.3 A")
    sheet.battery("start starboard", "12.65 V", "3 mA", "0.3 A")
    readings = {
        "Bilge pump forward": ("4.4 A", "0.28 V"),
        "Bilge pump aft": ("4.5 A", "0.19 V"),
        "Navigation lights": ("1.3 A", "0.15 V"),
        "Chart plotter": ("6.1 A", "0.16 V"),
        "VHF radio": ("5.2 A", "0.14 V"),
        "Autopilot": ("9.8 A", "0.24 V"),
        "Trim tabs": ("7.2 A", "0.35 V"),
        "Courtesy lights": ("0.8 A", "0.11 V"),
    }
    sheet.circuits(circuits, readings)
    sheet.put("wiring_audit.loads", "classes_agreed", True)
    sheet.network("60.1 ohm", "12.2 V")
    sheet.sensor_place(["pilot compass", "satellite compass"])
    sheet.propeller_checked(engines)
    sheet.walk_through(engines, ["Forward", "Aft"], "200000025")
    for step in ("handover.second_station", "handover.thruster"):
        sheet.state(step, "not fitted")
    boat = Boat(
        engines=2,
        variation=-14.1,
        full_throttle=5850,
        hump=2700,
        speed_per_rev=46.0 / 5850,
        hull_speed=8.0,
        fuel_at_full=77.0,
        engine_offsets=(0.0, -25.0),
        compasses=(
            Compass(source="20", constant=0.5, sine=1.6, cosine=-1.1),
            Compass(source="21", constant=0.3, noise=0.15),
        ),
    )
    _kittiwake_logs(folder, day, boat)
    for field, name in (("turn_recording", "turn.n2k.csv"),):
        sheet.put("heading_calibration.steady_turn", field, {"file": name})
    sheet.put("heading_calibration.steady_turn", "calm_water", True)
    for sensor in ("pilot compass", "satellite compass"):
        sheet.put("heading_calibration.steady_turn", "instrument_result", "accepted", of=sensor)
    sheet.put("heading_calibration.straight_runs", "runs_recording", {"file": "straight_runs.n2k.csv"})
    values: Plain = {"current_speed": "0.6 kn", "current_sets_towards": "75 deg", "boat_speed": "20 kn"}
    sheet.put_all("heading_calibration.straight_runs", values)
    sheet.put("heading_calibration.comparison", "comparison_recording", {"file": "straight_runs.n2k.csv"})
    sheet.put("heading_calibration.comparison", "trusted_source", "satellite compass")
    sheet.conditions("half", "50 %", 3, "21 degC", "1014 hPa", "cruiser or average runabout")
    sheet.put("prop_check.full_throttle", "all_runs", {"file": "full_throttle.n2k.csv"})
    sheet.put("fuel_curve.steps", "fuel", "gasoline")
    sheet.put("fuel_curve.steps", "water_state", "calm")
    sheet.put("fuel_curve.steps", "load", "half")
    sheet.put("fuel_curve.steps", "recording", {"file": "throttle_steps.n2k.csv"})
    tanks: Plain = {
        "usable_fuel": "170 gal",
        "cruise": "4200 rev/min",
        "same_mark": True,
        "refilled": "31.0 gal",
        "present_factor": "1.00",
    }
    sheet.put_all("fuel_curve.tanks", tanks)
    for position, burned in zip(engines, ("15.4 gal", "15.3 gal"), strict=True):
        sheet.put("fuel_curve.tanks", "metered", burned, of=position)
    sheet.put("handover.autopilot", "stand_by", True)
    sheet.put("handover.autopilot", "hold_recording", {"file": "pilot_hold.n2k.csv"})
    sheet.put("handover.autopilot", "change_recording", {"file": "pilot_change.n2k.csv"})
    sheet.put("handover.autopilot", "ordered_change", "40 deg")
    faults: Plain = {"fault": "Loose clamp on the port fuel hose", "put_right": True, "retested_by": "N. Sorrel"}
    sheet.put_all("handover.punch_list", faults, row="1")
    sheet.briefing()
    sheet.engines_rigged(engines, ["1.0 in", "1.1 in"], ["670 rev/min", "660 rev/min"])
    twins: Plain = {"spacing": "28 in", "toe_ahead": "27.9 in", "toe_aft": "28.1 in"}
    sheet.put_all("engine_trial.as_rigged", twins)
    sheet.put("engine_trial.first_start", "levers_level", True)
    sheet.displays(["Helm, port", "Helm, starboard"], engines, {"0 gal": "2 %", "94 gal": "47 %", "188 gal": "97 %"})
    sheet.instruments({"Forward": "15.0 L", "Aft": "16.2 L"})
    sheet.put_all("engine_trial.instruments", {"object_seen": "0 deg", "object_on_radar": "0.4 deg"})
    label: Plain = {"label_persons": 8, "label_persons_weight": "1200 lb", "label_weight": "3000 lb"}
    sheet.fitted_out(["Hard top or tower", "Seats", "Cleats", "Hatches and doors"], **label)
    weights = (("Engines and controls", "1240 lb"), ("Batteries", "170 lb"), ("Electronics", "90 lb"))
    for row, (item, weight) in enumerate(weights, start=1):
        sheet.put_all("engine_trial.label_and_gear", {"rigged_item": item, "item_weight": weight}, row=str(row))
    sheet.put_all("engine_trial.controls_under_way", {"warm_up": True, "re_engage": True})
    sheet.under_load(
        engines,
        {
            "700": ("62 degC", "3 psi", "13.4 V", "9 A"),
            "3000": ("66 degC", "11 psi", "14.0 V", "38 A"),
            "5850": ("71 degC", "19 psi", "14.1 V", "41 A"),
        },
    )
    sheet.put_all("engine_trial.under_load", {"planing_light": "14.2 kn", "planing_loaded": "16.0 kn"})
    for position in engines:
        turns: Plain = {"full_light": "5850 rev/min", "full_loaded": "5640 rev/min"}
        sheet.put_all("engine_trial.under_load", turns, of=position)
    sheet.after_the_trial(engines, "J. Ashdown")
    sheet.places_aboard(
        [
            ("engine cut-off switch", "Engine cut-off switch, on the dash under the throttles", 44, 66, True),
            ("fuel shut-off", "Fuel shut-off, in the aft hatch, port side", 12, 36, True),
            ("battery switch", "Battery switches, in the aft hatch, starboard side", 10, 72, True),
            ("fire extinguisher", "Fire extinguisher, inside the cabin door", 55, 40, True),
            ("fire extinguisher", "Fire extinguisher, under the helm seat", 40, 62, True),
            ("main fuse", "Main fuses, beside the house battery", 16, 78, True),
            ("fuse panel", "Breaker panel, under the wheel", 47, 62, False),
            ("bilge pump", "Bilge pump aft, under the aft hatch", 6, 50, False),
            ("distress signals", "Distress signals, in the port locker", 50, 14, False),
            ("life jackets", "Life jackets, under the forward berth", 72, 30, False),
            ("first aid kit", "First aid kit, over the sink", 62, 76, False),
            ("anchor", "Anchor, chain and line, in the bow locker", 94, 50, False),
            ("wheel", "Wheel", 50, 62, False),
        ]
    )
    _kittiwake_pictures(folder, sheet)
    vessel: Plain = {
        "hull_number": "QQZ08832B626",
        "name": "Kittiwake",
        "maker": "Quarry Cove Boats",
        "model": "Outer Ledge 26",
        "hull_form": "planing",
        "length": "26.4 ft",
        "beam": "9.0 ft",
        "deadrise": "21 deg",
        "transom_width": "8.6 ft",
        "transom_height": "30 in",
        "steering": "remote",
        "plate_power": "500 hp",
        "displacement_as_run": "6800 lb",
        "engines": [
            engine(p, "250 hp", ("5400 rev/min", "6000 rev/min"), "1.75", "19 in", "15.3 in", h)
            for p, h in zip(engines, ("left", "right"), strict=True)
        ],
        "tanks": [{"name": "main", "capacity": "188 gal"}],
        "batteries": [battery("house", "210 Ah"), battery("start port", "95 Ah"), battery("start starboard", "95 Ah")],
        "circuits": [*circuits],
        "heading_sensors": [
            {"name": "pilot compass", "source": "20", "location": "berth locker"},
            {"name": "satellite compass", "source": "21", "location": "hard top"},
        ],
        "networks": [
            network(
                [
                    ("plotter", 9, "2 m", "3 m"),
                    ("pilot computer", 3, "2 m", "6 m"),
                    ("pilot compass", 1, "4 m", "7 m"),
                    ("satellite compass", 4, "5 m", "5 m"),
                    ("engine gateway", 2, "1 m", "8 m"),
                ]
            )
        ],
    }
    job: Plain = {
        "id": "kittiwake-2026-05",
        "opened": day,
        "place": "Tern Harbour",
        "shop": SHOP,
        "technicians": ["N. Sorrel", "R. Vane"],
        "owner": "J. Ashdown",
    }
    signed: list[JsonValue] = [
        {"role": "technician", "name": "N. Sorrel", "at": f"{day}T16:40:00-04:00"},
        {"role": "owner", "name": "J. Ashdown", "at": f"{day}T17:05:00-04:00"},
    ]
    write_job(folder, vessel, job, sheet, sign_offs=signed)


def _kittiwake_pictures(folder: Path, sheet: Sheet) -> None:
    """Drawn pictures: the boat, the breaker panel and the aft hatch."""
    hull = [(150 + 6 * row, 430 + 4 * row, 1060 - 3 * row, 434 + 4 * row, HULL) for row in range(34)]
    boat: list[Box] = [
        (0, 500, 1200, 800, SEA),
        *hull,
        (420, 330, 700, 430, HULL),
        (440, 345, 690, 400, GLASS),
        (380, 310, 740, 330, DARK),
        (1040, 400, 1090, 560, DARK),
        (170, 415, 400, 421, DARK),
    ]
    write_picture(folder, "boat.png", (1200, 800), boat)
    sheet.put("handover.places", "boat_photo", {"file": "boat.png"})
    breakers: list[Box] = [(60, 50, 1140, 480, DARK)]
    for column in range(4):
        for row in range(2):
            left, top = 130 + 250 * column, 110 + 190 * row
            breakers += [(left, top, left + 120, top + 120, HULL), (left + 45, top + 15, left + 75, top + 60, GLASS)]
    write_picture(folder, "breaker_panel.png", (1200, 530), breakers)
    panel: Plain = {
        "file": "breaker_panel.png",
        "arrows": [
            arrow("0.533", "0.32", 90, "VHF radio, 10 A breaker"),
            arrow("0.325", "0.32", 90, "Navigation lights, 5 A breaker"),
            arrow("0.742", "0.68", 90, "Courtesy lights, 3 A breaker"),
        ],
    }
    sheet.put("handover.places", "attached", panel, row="1")
    hatch: list[Box] = [
        (0, 0, 1200, 530, HULL),
        (80, 60, 1120, 500, GLASS),
        (160, 240, 380, 400, DARK),
        (820, 160, 960, 300, (138, 20, 20)),
        (980, 160, 1080, 300, (138, 20, 20)),
        (520, 380, 680, 470, DARK),
    ]
    write_picture(folder, "aft_hatch.png", (1200, 530), hatch)
    below: Plain = {
        "file": "aft_hatch.png",
        "arrows": [
            arrow("0.22", "0.50", 180, "Fuel shut-off: across is shut"),
            arrow("0.74", "0.33", 180, "Battery switches: red, turn to ON"),
            arrow("0.50", "0.75", 180, "Bilge pump aft"),
        ],
    }
    sheet.put("handover.places", "attached", below, row="2")


def _kittiwake_logs(folder: Path, day: str, boat: Boat) -> None:
    turn = [Order(seconds=15, engine_speed=1000), Order(seconds=190, engine_speed=1000, rate_of_turn=2.5)]
    samples = simulate(boat, turn, start=seconds(day, "14:00:00"), seed=21, rate=2, heading=200)
    write_log(folder, "turn.n2k.csv", nmea2000_lines(only(samples, *TURN)))

    straight = [
        Order(seconds=75, engine_speed=3600, course=float(course)) for course in (0, 180, 45, 225, 90, 270, 135, 315)
    ]
    samples = simulate(boat, straight, start=seconds(day, "14:20:00"), seed=22, rate=1)
    write_log(folder, "straight_runs.n2k.csv", nmea2000_lines(only(samples, *TURN)))

    full = [
        Order(seconds=60, engine_speed=5850, course=100.0),
        Order(seconds=40, engine_speed=1500, course=280.0),
        Order(seconds=60, engine_speed=5850, course=280.0),
    ]
    samples = simulate(boat, full, start=seconds(day, "14:40:00"), seed=23, rate=2, heading=100)
    write_log(folder, "full_throttle.n2k.csv", nmea2000_lines(only(samples, *RUNS)))

    levels = (650, 1200, 1700, 2200, 2700, 3100, 3600, 4200, 4800, 5400, 5850)
    steps = [
        Order(seconds=50, engine_speed=float(level), course=course) for course in (10.0, 190.0) for level in levels
    ]
    samples = simulate(boat, steps, start=seconds(day, "15:00:00"), seed=24, rate=0.5, heading=10)
    write_log(folder, "throttle_steps.n2k.csv", nmea2000_lines(only(samples, *STEPS)))

    hold = [Order(seconds=100, engine_speed=3200, course=60.0)]
    samples = simulate(boat, hold, start=seconds(day, "15:30:00"), seed=25, rate=2, heading=60)
    write_log(folder, "pilot_hold.n2k.csv", nmea2000_lines(only(samples, *PILOT)))

    change = [Order(seconds=20, engine_speed=3200, course=60.0), Order(seconds=50, engine_speed=3200, course=100.0)]
    samples = simulate(boat, change, start=seconds(day, "15:35:00"), seed=26, rate=2, heading=60)
    write_log(folder, "pilot_change.n2k.csv", nmea2000_lines(only(samples, *PILOT)))


def long_reach() -> None:
    """A triple with work left: turned too slowly, two compasses apart, one fuse too large, one engine behind."""
    folder, day = HERE / "long_reach", "2026-05-15"
    folder.mkdir(exist_ok=True)
    engines = ("port", "centre", "starboard")
    circuits = [
        circuit("Bilge pump forward", "14", "17 ft", "5.2 A", "10 A", critical=True, together=False, protection="fuse"),
        circuit("Bilge pump aft", "14", "11 ft", "5.2 A", "10 A", critical=True, together=False, protection="fuse"),
        circuit("Navigation lights", "14", "29 ft", "1.6 A", "5 A", critical=True),
        circuit(
            "Chart plotters", "10", "9 ft", "13 A", "20 A", critical=True, use="navigation or communication electronics"
        ),
        circuit("Radar", "12", "16 ft", "4.5 A", "10 A", critical=True, use="navigation or communication electronics"),
        circuit(
            "VHF radio", "12", "9 ft", "5.5 A", "10 A", critical=True, use="navigation or communication electronics"
        ),
        circuit("Deck wash", "14", "18 ft", "11 A", "60 A", together=False),
        circuit(
            "Bow thruster",
            "2/0",
            "21 ft",
            "180 A",
            "250 A",
            together=False,
            fed_from="battery terminal",
            protection="fuse",
        ),
    ]
    sheet = Sheet(day, "T. Quill")
    sheet.battery("house", "12.31 V", "65 mA", "27 A")
    for position in engines:
        sheet.battery(f"start {position}", "12.64 V", "3 mA", "0.3 A")
    readings = {
        "Bilge pump forward": ("5.0 A", "0.41 V"),
        "Bilge pump aft": ("5.1 A", "0.27 V"),
        "Navigation lights": ("1.5 A", "0.22 V"),
        "Chart plotters": ("12.1 A", "0.22 V"),
        "Radar": ("4.2 A", "0.21 V"),
        "VHF radio": ("5.3 A", "0.15 V"),
        "Deck wash": ("10.8 A", "0.98 V"),
        "Bow thruster": ("172 A", "0.58 V"),
    }
    sheet.circuits(circuits, readings)
    sheet.put("wiring_audit.loads", "classes_agreed", True)
    sheet.network("119.6 ohm", "11.9 V")
    sheet.sensor_place(["bow compass", "mast compass"])
    sheet.propeller_checked(engines)
    sheet.walk_through(engines, ["Forward", "Aft"], "200000033")
    fields = ("takes_control", "gives_back", "shifts_and_throttles", "stops_engines", "readings_agree")
    sheet.put_all("handover.second_station", dict.fromkeys(fields, True))
    thruster: Plain = {"pushes_to_port": True, "pushes_to_starboard": True, "stops": False}
    sheet.put_all("handover.thruster", thruster)
    sheet.put("heading_calibration.steady_turn", "turn_recording", {"file": "turn.n2k.csv"})
    sheet.put("heading_calibration.steady_turn", "calm_water", True)
    sheet.put("heading_calibration.steady_turn", "instrument_result", "refused", of="bow compass")
    sheet.put("heading_calibration.comparison", "comparison_recording", {"file": "turn.n2k.csv"})
    sheet.conditions("half", "60 %", 4, "24 degC", "1009 hPa", "cruiser or average runabout")
    sheet.put("prop_check.full_throttle", "all_runs", {"file": "full_throttle.n2k.csv"})
    boat = Boat(
        engines=3,
        variation=-14.1,
        full_throttle=5880,
        hump=2900,
        speed_per_rev=43.6 / 5880,
        hull_speed=8.8,
        fuel_at_full=93.0,
        engine_offsets=(0.0, 10.0, -170.0),
        compasses=(Compass(source="30", constant=0.4, sine=1.0), Compass(source="31", constant=4.1, cosine=1.8)),
    )
    turn = [Order(seconds=15, engine_speed=1000), Order(seconds=220, engine_speed=1000, rate_of_turn=-1.65)]
    samples = simulate(boat, turn, start=seconds(day, "18:00:00"), seed=31, rate=2, heading=300)
    write_log(folder, "turn.n2k.csv", nmea2000_lines(only(samples, *TURN)))
    full = [
        Order(seconds=60, engine_speed=5880, course=20.0),
        Order(seconds=40, engine_speed=1500, course=200.0),
        Order(seconds=60, engine_speed=5880, course=200.0),
    ]
    samples = simulate(boat, full, start=seconds(day, "18:20:00"), seed=32, rate=2, heading=20)
    write_log(folder, "full_throttle.n2k.csv", nmea2000_lines(only(samples, *RUNS)))
    sheet.places_aboard(
        [
            ("battery switch", "Battery switches, in the aft locker", 8, 50, True),
            ("fire extinguisher", "Fire extinguisher, under the leaning post", 45, 50, True),
        ]
    )
    vessel: Plain = {
        "hull_number": "QQZ01209A626",
        "name": "Long Reach",
        "maker": "Quarry Cove Boats",
        "model": "Far Bank 34",
        "hull_form": "planing",
        "length": "34.2 ft",
        "beam": "10.5 ft",
        "deadrise": "23 deg",
        "transom_width": "9.8 ft",
        "transom_height": "30 in",
        "steering": "remote",
        "plate_power": "900 hp",
        "displacement_as_run": "12400 lb",
        "engines": [
            engine(p, "300 hp", ("5600 rev/min", "6000 rev/min"), "1.75", "18 in", "15.8 in", h)
            for p, h in zip(engines, ("left", "right", "right"), strict=True)
        ],
        "tanks": [{"name": "main", "capacity": "300 gal"}],
        "batteries": [battery("house", "300 Ah"), *(battery(f"start {p}", "95 Ah") for p in engines)],
        "circuits": [*circuits],
        "heading_sensors": [
            {"name": "bow compass", "source": "30", "location": "forward locker"},
            {"name": "mast compass", "source": "31", "location": "radar arch"},
        ],
        "networks": [network([("plotters", 18, "2 m", "3 m"), ("bow compass", 1, "5 m", "9 m")])],
    }
    job: Plain = {
        "id": "long-reach-2026-05",
        "opened": day,
        "place": "Tern Harbour",
        "shop": SHOP,
        "technicians": ["T. Quill"],
        "owner": "P. Holloway",
    }
    write_job(folder, vessel, job, sheet)


if __name__ == "__main__":
    saltgrass()
    kittiwake()
    long_reach()
