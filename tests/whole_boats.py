"""Two boats of our own invention, whole: what the office prepared, and what a rigger reads from begin to signed.

Boats, makers, people and readings are made up; the readings are of a boat in order. Values without a unit are typed in
the unit the page opens with.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import attrs

from garboard.records import JsonValue

Said = str | bool | Sequence["Said"] | Mapping[str, "Said"]
"""What is read: one value, one a row, or one a piece of equipment."""
Plain = dict[str, JsonValue]

CIRCUITS = (
    # name, gauge, length, running current, breaker
    ("Bilge pump forward", "14", "14 ft", "4.2 A", "7.5 A"),
    ("Bilge pump aft", "14", "9 ft", "4.2 A", "7.5 A"),
    ("Navigation lights", "14", "22 ft", "2.1 A", "5 A"),
    ("Anchor light", "14", "19 ft", "0.5 A", "3 A"),
    ("VHF radio", "10", "8 ft", "5.5 A", "10 A"),
    ("Chart plotter", "14", "7 ft", "2.6 A", "5 A"),
    ("Radar", "10", "18 ft", "3.6 A", "10 A"),
    ("Sounder", "14", "7 ft", "1.2 A", "3 A"),
    ("Stereo", "12", "9 ft", "5.0 A", "10 A"),
    ("Horn", "12", "11 ft", "4.0 A", "10 A"),
    ("Livewell pump", "12", "16 ft", "6.0 A", "10 A"),
    ("Washdown pump", "10", "15 ft", "9.5 A", "15 A"),
    ("Deck lights", "14", "17 ft", "2.4 A", "5 A"),
    ("Courtesy lights", "16", "15 ft", "0.8 A", "3 A"),
    ("Trim tabs", "12", "16 ft", "6.0 A", "15 A"),
    ("USB sockets", "14", "6 ft", "3.0 A", "5 A"),
    ("12 V socket", "12", "6 ft", "8.0 A", "15 A"),
    ("Wiper", "14", "8 ft", "3.0 A", "5 A"),
    ("Fresh water pump", "12", "13 ft", "5.0 A", "10 A"),
    ("Windlass control", "16", "21 ft", "0.5 A", "3 A"),
)


CRITICAL = ("Bilge pump forward", "Bilge pump aft", "Navigation lights", "VHF radio", "Chart plotter")


TOGETHER = ("Navigation lights", "VHF radio", "Chart plotter", "Radar", "Sounder")
"""They run at once on passage: 15.0 A."""


@attrs.frozen(kw_only=True)
class WholeBoat:
    """A boat, the model of it the shop did last, and what is read on it.

    hull    : its number
    model   : job file of the boat of its model that was done before
    not_fitted : steps it does not need
    read    : what is read, by step and field; a point that is not here is in order, and anything else is left out
    """

    hull: str
    model: str
    not_fitted: Sequence[str]
    read: Mapping[str, Mapping[str, Said]]


def _circuit(name: str, gauge: str, length: str, current: str, breaker: str) -> Plain:
    return {
        "name": name,
        "fed_from": "panel",
        "conductor_awg": gauge,
        "insulation_temperature": "105 degC",
        "in_engine_space": False,
        "in_sheath": True,
        "bundled_conductors": 2,
        "length": length,
        "nominal_voltage": "12 V",
        "design_current": current,
        "protection": "breaker",
        "protection_rating": breaker,
        "protection_distance": "4 in",
        "runs_with_others": name in TOGETHER,
        "critical": name in CRITICAL,
        "battery": "house",
    }


def _engine(position: str, power: str, pitch: str) -> Plain:
    propeller: Plain = {"diameter": "14.5 in", "pitch": pitch, "blades": 3, "material": "stainless steel"}
    return {
        "position": position,
        "maker": "Fellwater",
        "model": f"FW{power.split()[0]}",
        "rated_power": power,
        "rated_speed": "5500 rev/min",
        "full_throttle_low": "5000 rev/min",
        "full_throttle_high": "6000 rev/min",
        "limiter_speed": "6200 rev/min",
        "gear_ratio": "2.08",
        "charging_current": "48 A",
        "propeller": {**propeller, "handing": "left" if position == "port" else "right", "cup": "light"},
    }


_WINDOW = {
    "idle_low": "600 rev/min",
    "idle_high": "750 rev/min",
    "height_low": "0 in",
    "height_high": "2 in",
    "temperature_high": "80 degC",
    "water_low": "12 psi",
    "voltage_low": "13.0 V",
    "voltage_high": "14.8 V",
}
_BANDS = {"slow, out of full throttle": "1 h", "up to three quarters": "3 h"}
_SERVICES = {"20 hour check": "20 h", "100 hour or yearly service": "100 h"}


def _of_the_model(engines: Sequence[str]) -> list[JsonValue]:
    """The maker's limits, break-in plan and service calendar, as read off the manual on the boat before."""
    found: list[JsonValue] = [
        {"step": "engine_trial.makers_window", "field": field, "of": engine, "value": value}
        for engine in engines
        for field, value in _WINDOW.items()
    ]
    for names, rows in ((("band", "until"), _BANDS), (("service", "due_hours"), _SERVICES)):
        for row, pair in enumerate(rows.items(), start=1):
            found += [
                {"step": "engine_trial.after", "field": field, "row": str(row), "value": value}
                for field, value in zip(names, pair, strict=True)
            ]
    return found


def _job(hull: str, name: str, vessel: Plain, engines: Sequence[str]) -> str:
    whole: Plain = {
        "format": "garboard job",
        "version": 1,
        "vessel": {"hull_number": hull, "name": name, **vessel},
        "job": {"id": f"{name.lower()}-1", "opened": "2026-03-02", "shop": "Alder Reach Boats"},
        "measurements": _of_the_model(engines),
    }
    return json.dumps(whole)


def _vessel(model: str, length: str, power: str, engines: Sequence[Plain], circuits: int) -> Plain:
    batteries = ["house", *(("start",) if len(engines) == 1 else ("start port", "start starboard"))]
    return {
        "maker": "Alder Reach",
        "model": model,
        "hull_form": "planing",
        "length": length,
        "beam": "8.2 ft",
        "deadrise": "18 deg",
        "transom_width": "7.2 ft",
        "transom_height": "25 in",
        "steering": "remote",
        "plate_power": power,
        "engines": [*engines],
        "tanks": [{"name": "main", "capacity": "60 gal"}],
        "batteries": [
            {
                "name": name,
                "chemistry": "AGM",
                "nominal_voltage": "12 V",
                "capacity": "210 Ah" if name == "house" else "100 Ah",
            }
            for name in batteries
        ],
        "circuits": [_circuit(*one) for one in CIRCUITS[:circuits]],
        "heading_sensors": [{"name": "compass", "source": "HC", "location": "console"}],
        "networks": [
            {
                "name": "main",
                "backbone_length": "8 m",
                "cable": "mid",
                "cable_resistance_per_metre": "0.053 ohm",
                "protection_rating": "3 A",
                "devices": [
                    {"name": "plotter", "load_equivalency": 9, "drop_length": "2 m", "distance_from_power": "3 m"}
                ],
            }
        ],
    }


def _number(amount: str) -> str:
    return amount.partition(" ")[0]


def _read_on(engines: Sequence[str], circuits: int) -> dict[str, Mapping[str, Said]]:
    """What is the same on both boats, with a reading of each engine where it has several."""

    def each(value: Said) -> Said:
        return dict.fromkeys(engines, value)

    pumps = [name for name, *_ in CIRCUITS[:circuits] if name.startswith("Bilge")]
    return {
        "wiring_audit.batteries": {
            "rest_voltage": "12.72",
            "hours_at_rest": "14",
            "temperature": "16",
            "fuse_distance": "6",
        },
        "wiring_audit.standing_current": {"standing_current": {"house": "0.012", "": "0.004"}},
        "wiring_audit.circuits": {
            "current": {name: _number(current) for name, _, _, current, _ in CIRCUITS},
            "drop": "0.15",
            "source_voltage": "12.70",
        },
        "wiring_audit.loads": {"load_current": {"house": "15.0", "": "0.4"}},
        "wiring_audit.networks": {
            "signal_resistance": "60",
            "tee_voltage": "12.6",
            "worst_voltage": "12.4",
            "spare_drops": "2",
            "on_start_battery": False,
        },
        "heading_calibration.location": {
            "distance_to_loudspeakers": "1.6",
            "distance_to_motors": "2.4",
            "distance_to_cables": "1.2",
            "distance_to_steel": "1.5",
        },
        "heading_calibration.place": {"latitude": "37.5", "longitude": "-68.0"},
        "heading_calibration.steady_turn": {"instrument_result": "accepted"},
        "engine_trial.as_rigged": {"height": "1.0", "torque_set": "55", "toe_ahead": "28.0", "toe_aft": "28.1"},
        "engine_trial.first_start": {"idle": "680"},
        "engine_trial.data": {
            "display": ["Helm"],
            "own_speed": "700",
            "shown_speed": "710",
            "own_voltage": "13.9",
            "shown_voltage": "13.8",
            "in_tank": ["0", "30", "60"],
            "gauge": ["1", "52", "98"],
        },
        "engine_trial.instruments": {
            "depth_by_lead": "11.2",
            "transducer_depth": "1.4",
            "depth_shown": "9.7",
            "depth_offset": "1.4",
            "power_forward": "24",
            "power_reflected": "0.6",
            "pump_tried": ["Bilge pump"] if len(pumps) == 1 else ["Forward", "Aft"],
            "pumped": ["14.5", "15.5"],
            "seconds": ["20", "20"],
            "label_flow": ["1100", "1100"],
        },
        "engine_trial.fit_out": {
            "item": ["Seats", "Cleats", "Hatches and doors"],
            "test_pressure": "3.0",
            "pressure_after": "3.0",
            "test_minutes": "10",
        },
        "handover.bilge_pumps": {"pump": ["Bilge pump"] if len(pumps) == 1 else ["Forward", "Aft"]},
        "handover.radio": {"licence_identity": "200000017", "vhf_identity": "200000017", "ais_identity": "200000017"},
        "handover.safety_gear": {"item": ["Life jackets", "Throwable cushion", "Fire extinguishers", "Visual signals"]},
        "handover.owner_briefing": {
            "topic": ["Battery switches", "Starting, stopping, cut-off link", "Radio and distress call"]
        },
        "prop_check.conditions": {
            "trim": "at best",
            "load": "half",
            "fuel_level": "55",
            "persons": "2",
            "water": "calm",
            "air_temperature": "19",
            "air_pressure": "1016",
            "humidity": "65",
            "hull_kind": "cruiser or average runabout",
        },
        "engine_trial.under_load": {
            "step_speed": ["700", "3000", "5600"],
            "temperature": ["62", "66", "71"],
            "water_pressure": ["3", "11", "19"],
            "voltage": ["13.4", "14.0", "14.1"],
            "charge": [{"house": "9"}, {"house": "38"}, {"house": "41"}],
        },
        "fuel_curve.tanks": {"usable_fuel": "52"},
        "engine_trial.after": {
            "band": [],
            "service": [],
            "due_date": ["choice", "choice"],
            "record": ["Engine warranty", "Boat registration"],
            "filed_by": ["choice", "choice"],
            "filed_on": ["choice", "choice"],
        },
    }


NOT_FITTED = (
    "handover.second_station",
    "handover.thruster",
    "handover.autopilot",
    "heading_calibration.magnetometer",
    "heading_calibration.swing",
    "heading_calibration.straight_runs",
    "heading_calibration.comparison",
)
"""No second station, thruster or pilot; one compass, calibrated by its steady turn."""
_FUEL_ROWS = ("700", "1500", "2000", "2500", "3000", "3500", "4000", "4500", "5000", "5600")

SINGLE = WholeBoat(
    hull="QRB20417A626",
    model=_job(
        "QRB20416A626",
        "Sedge",
        _vessel("Rushlight 19", "19.4 ft", "150 hp", [_engine("centre", "150 hp", "17 in")], 8),
        ["centre"],
    ),
    not_fitted=NOT_FITTED,
    read={
        **_read_on(["centre"], 8),
        "engine_trial.label_and_gear": {
            "label_persons": "6",
            "label_persons_weight": "850",
            "label_weight": "1750",
            "rigged_item": ["Engine", "Batteries"],
            "item_weight": ["480", "110"],
            "waters": "coastal or Great Lakes",
            "spaces": "closed spaces",
            "most_persons": "6",
            "wearables": "6",
            "extinguishers": "2",
            "distress_signals": True,
        },
        "prop_check.full_throttle": {
            "direction": ["with", "against"],
            "speed": ["36.1", "35.3"],
            "engine_speed": ["5600", "5590"],
        },
        "fuel_curve.steps": {
            "fuel": "gasoline",
            "water_state": "calm",
            "load": "half",
            "nominal_engine_speed": _FUEL_ROWS,
            "speed_out": ["2.6", "6.1", "7.4", "10.2", "17.6", "22.1", "26.2", "30.2", "33.4", "36.1"],
            "speed_back": ["2.3", "5.7", "7.0", "9.6", "17.0", "21.5", "25.6", "29.4", "32.6", "35.3"],
            "fuel_flow": ["0.6", "1.6", "2.9", "4.7", "5.4", "6.5", "8.3", "10.6", "12.6", "14.9"],
        },
    },
)
TWIN = WholeBoat(
    hull="QRB26209B626",
    model=_job(
        "QRB26208B626",
        "Heron",
        _vessel(
            "Causeway 26",
            "26.5 ft",
            "400 hp",
            [_engine("port", "200 hp", "21 in"), _engine("starboard", "200 hp", "21 in")],
            20,
        ),
        ["port", "starboard"],
    ),
    not_fitted=NOT_FITTED,
    read={
        **_read_on(["port", "starboard"], 20),
        "engine_trial.label_and_gear": {
            "waters": "coastal or Great Lakes",
            "spaces": "closed spaces",
            "most_persons": "8",
            "wearables": "8",
            "extinguishers": "2",
            "distress_signals": True,
        },
        "prop_check.full_throttle": {
            "direction": ["with", "against"],
            "speed": ["42.6", "41.8"],
            "engine_speed": [{"port": "5600", "starboard": "5620"}, {"port": "5590", "starboard": "5610"}],
        },
        "fuel_curve.steps": {
            "fuel": "gasoline",
            "water_state": "calm",
            "load": "half",
            "nominal_engine_speed": _FUEL_ROWS,
            "speed_out": ["3.1", "6.9", "8.2", "12.2", "20.6", "26.0", "30.8", "35.2", "39.2", "42.6"],
            "speed_back": ["2.8", "6.5", "7.8", "11.6", "19.9", "25.2", "30.0", "34.4", "38.4", "41.8"],
            "fuel_flow": ["0.7", "1.9", "3.3", "5.2", "6.4", "8.1", "10.4", "13.2", "15.9", "18.8"],
        },
    },
)
