"""Boats of the proving shop that are more than one engine and no compass: compasses, twins, a change of propellers.

What their charts should show is reckoned here, by the definitions of the trade and from what is typed alone: slip is
what a propeller's screw would do less what the boat does, over the former; a compass is off by `B sin z + C cos z` on
its heading z. (Handbook of Magnetic Compass Adjustment, NGA: coefficients B and C. Slip is common practice, no source.)
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

import attrs

from garboard.demo.samples_folder import sample_jobs_folder

Plain = dict[str, Any]
FULL, STEPS, SWING, LOCATION = (
    "prop_check.full_throttle",
    "fuel_curve.steps",
    "heading_calibration.swing",
    "heading_calibration.location",
)
INCHES_OF_A_NAUTICAL_MILE = 1852 / 0.0254


def slip_of(speeds: Sequence[float], engine_speeds: Sequence[float], gear_ratio: float, pitch: float) -> float:
    """Slip [%] by the stamped pitch [in], from speeds [kn] and engine speeds [rev/min] of runs both ways."""
    turns = sum(engine_speeds) / len(engine_speeds) / gear_ratio
    in_theory = turns * 60 * pitch / INCHES_OF_A_NAUTICAL_MILE
    return 100 * (1 - sum(speeds) / len(speeds) / in_theory)


PLANES_FROM = 3000
"""Engine speed from which these boats plane, and cruise [rev/min]."""


def economy_of(plain: Plain) -> float:
    """The best of the throttle steps on the plane, as typed [nm/gal]; the curve through them may differ a little."""
    rows: dict[str, dict[str, list[float]]] = {}
    for one in plain["measurements"]:
        if one["step"] == STEPS and (row := one.get("row")):
            kind = one["field"].partition("_")[0]
            rows.setdefault(row, {}).setdefault(kind, []).append(float(one["value"].split()[0]))
    planing = [row for row in rows.values() if row["nominal"][0] >= PLANES_FROM]
    return max(sum(row["speed"]) / len(row["speed"]) / sum(row["fuel"]) for row in planing)


def measured(step: str, field: str, value: Any, row: str = "", of: str = "") -> Plain:
    """One value as a job file has it."""
    said = {"step": step, "field": field, "value": value}
    return said | ({"row": row} if row else {}) | ({"of": of} if of else {})


# --- compasses


@attrs.frozen
class Compass:
    """A heading sensor, and what the boat's iron does to it: the coefficients B and C [deg]."""

    name: str
    b: float
    c: float

    def off_on(self, heading: float) -> float:
        """Deviation on a heading by compass, east positive [deg]."""
        z = math.radians(heading)
        return self.b * math.sin(z) + self.c * math.cos(z)

    def shows(self, magnetic: float) -> float:
        """The heading it shows on a magnetic one [deg]."""
        shown = magnetic
        for _ in range(30):
            shown = magnetic - self.off_on(shown)
        return shown % 360

    @property
    def largest(self) -> float:
        """The largest deviation, whichever way [deg]."""
        return math.hypot(self.b, self.c)


HEADINGS = tuple(range(0, 360, 45))
_PLACED = {
    "distance_to_loudspeakers": "1.6 m",
    "distance_to_motors": "2.4 m",
    "distance_to_cables": "1.2 m",
    "distance_to_steel": "1.5 m",
    "steady_when_switched": True,
    "mounted_as_told": True,
}


def with_compasses(plain: Plain, compasses: Sequence[Compass]) -> None:
    """Put heading sensors into a job file, each swung on eight headings."""
    plain["vessel"]["heading_sensors"] = [
        {"name": one.name, "source": str(number), "location": "helm"} for number, one in enumerate(compasses, start=20)
    ]
    found = [measured(LOCATION, field, value, of=one.name) for one in compasses for field, value in _PLACED.items()]
    found.append(measured(SWING, "reference", "magnetic"))
    for row, magnetic in enumerate(HEADINGS, start=1):
        found.append(measured(SWING, "reference_direction", f"{magnetic} deg", str(row)))
        found += [
            measured(SWING, "compass_heading", f"{c.shows(magnetic):.1f} deg", str(row), c.name) for c in compasses
        ]
    plain["measurements"] += found
    for step in plain["steps"]:
        step["state"] = "done" if step["step"] in (SWING, LOCATION) else step["state"]


# --- twins


@attrs.frozen
class Twins:
    """Two engines at full throttle: their speeds [rev/min] and the boat's, out and back [kn]."""

    port: float
    starboard: float
    speeds: tuple[float, float] = (45.9, 45.1)

    @property
    def slips(self) -> tuple[float, ...]:
        """Of port and starboard [%]."""
        return tuple(slip_of(self.speeds, [turned], 1.75, 19) for turned in (self.port, self.starboard))


_TWIN_STEPS = (
    # [rev/min], [kn], fuel of one engine [gal/h]
    (700, 4.0, 0.6),
    (1500, 7.5, 2.2),
    (2000, 9.0, 3.9),
    (2500, 12.5, 5.8),
    (3000, 20.5, 6.4),
    (3500, 27.0, 7.4),
    (4000, 32.2, 9.9),
    (4500, 36.6, 13.2),
    (5000, 40.4, 17.1),
    (5700, 45.5, 24.0),
)
SIDES = ("port", "starboard")


@lru_cache(maxsize=1)
def _kittiwake() -> str:
    """The sample boat of two engines as text, without its compasses, its autopilot and what was recorded."""
    plain: Plain = json.loads((sample_jobs_folder() / "kittiwake" / "job.json").read_text())
    plain["vessel"]["heading_sensors"] = []
    plain.pop("sign_offs")
    gone = ("heading_calibration", "handover.autopilot")
    plain["measurements"] = [
        {key: value for key, value in one.items() if key not in ("at", "by")}
        for one in plain["measurements"]
        if not one["step"].startswith(gone) and not isinstance(one["value"], dict)
    ]
    plain["steps"] = [one for one in plain["steps"] if not one["step"].startswith(gone)]
    for row, (turned, speed, flow) in enumerate(_TWIN_STEPS, start=1):
        at = str(row)
        plain["measurements"] += [
            measured(STEPS, "nominal_engine_speed", f"{turned} rev/min", at),
            measured(STEPS, "speed_out", f"{speed + 0.3:.1f} kn", at),
            measured(STEPS, "speed_back", f"{speed - 0.3:.1f} kn", at),
            *(measured(STEPS, "fuel_flow", f"{flow} gal/h", at, side) for side in SIDES),
        ]
    return json.dumps(plain)


def twin_job(twins: Twins, not_fitted: Iterable[str]) -> Plain:
    """A whole job file of a boat with two engines."""
    plain: Plain = json.loads(_kittiwake())
    for row, (way, speed) in enumerate(zip(("with", "against"), twins.speeds, strict=True), start=1):
        at = str(row)
        plain["measurements"] += [measured(FULL, "direction", way, at), measured(FULL, "speed", f"{speed} kn", at)]
        turned = zip(SIDES, (twins.port, twins.starboard), strict=True)
        plain["measurements"] += [measured(FULL, "engine_speed", f"{one:g} rev/min", at, side) for side, one in turned]
    plain["steps"] += [{"step": step, "state": "not fitted"} for step in (*not_fitted, "handover.autopilot")]
    return plain


# --- a change of propellers


TRIED = "17 steel"
"""What the propeller that is tried is called."""
TURNED = ("5600 rev/min", "5590 rev/min")
"""What the engine turns with it, there and back; 5595 in the middle."""


def forecast_of(low: int, high: int) -> Plain:
    """What was foreseen of the propeller that is tried: an engine speed from one end to the other [rev/min]."""
    expected = [{"of": "centre", "low": f"{low} rev/min", "high": f"{high} rev/min", "chance": 90}]
    return {"propeller": TRIED, "pitch": "17 in", "made_by": "the proving shop", "expected": expected}


def with_change(plain: Plain, diameter: str, right: Mapping[tuple[str, str, str, str], Any]) -> None:
    """Fit and run a second propeller in a job file whose first one was run.

    right : values of places with the second
    """
    name = {"name": TRIED, "pitch": "17 in", "diameter": f"{diameter} in", "blades": 3, "cup": "light"}
    plain["vessel"]["propellers"] = [name]
    plain["vessel"]["engines"][0]["fitted"] = TRIED
    found = plain["measurements"]
    rows = dict.fromkeys(one["row"] for one in found if one["step"] == STEPS and one.get("row"))
    found += [measured(STEPS, "propeller", TRIED, row, "centre") for row in rows]
    for row, way, turned in zip(("1", "2"), ("with", "against"), TURNED, strict=True):
        at = str(int(row) + 2)
        found += [
            measured(FULL, "direction", way, at),
            measured(FULL, "speed", right[FULL, "speed", row, ""], at),
            measured(FULL, "engine_speed", turned, at, "centre"),
            measured(FULL, "propeller", TRIED, at, "centre"),
        ]
    for field, value in {"propeller": TRIED, "nut_secured_again": True, "blades_sound_again": True}.items():
        found.append(measured("prop_check.propeller", field, value, "1", "centre"))
