"""The steps of heading calibration."""

from __future__ import annotations

from garboard.cautions import BATTERY_OFF, CUT_OFF_LINK, LOOK_OUT
from garboard.fields import TODAY, amount_field
from garboard.findings import Basis, BasisKind
from garboard.steps import Caution, Field, Kind, Phase, Step

LOCATION = "heading_calibration.location"
PLACE = "heading_calibration.place"
STEADY_TURN = "heading_calibration.steady_turn"
MAGNETOMETER = "heading_calibration.magnetometer"
SWING = "heading_calibration.swing"
STRAIGHT_RUNS = "heading_calibration.straight_runs"
COMPARISON = "heading_calibration.comparison"

SENSORS = "heading_sensors"
REFERENCES = ("magnetic", "true", "course over ground")

CLEARANCES = {
    "distance_to_loudspeakers": "loudspeakers and magnets",
    "distance_to_motors": "windlass, pump and thruster motors",
    "distance_to_cables": "battery and engine cables",
    "distance_to_steel": "steel and other compasses",
}
"""Fields of the location step and what they measure to."""

_ROOM = Caution(
    "Turn only where a full circle fits with room to spare: deep water, no traffic, no moorings, no swimmers. A "
    "circle hides what comes from astern.",
    Basis(BasisKind.COMMON_PRACTICE, "room for the circle and a way out before starting it"),
)
_SLOW = Caution(
    "Go slowly and tell everyone aboard before you turn. Everyone is seated or holding on.",
    Basis(BasisKind.COMMON_PRACTICE, "slow speed in a turn; people fall when a boat turns without warning"),
)
UNDER_WAY_CAUTIONS = (LOOK_OUT, _ROOM, _SLOW, CUT_OFF_LINK)


def _heading(name: str, title: str, *, each: str = "", required: bool = True, help: str = "") -> Field:
    return amount_field(name, title, "angle", "deg", None, (0, 360), each=each, required=required, help=help)


def _speed(name: str, title: str, high: float, help: str) -> Field:
    return amount_field(name, title, "speed", "kn", (0, high), (0, 100), required=False, help=help)


_CURRENT = (
    _speed("current_speed", "Strongest current", 5, "0 kn on a lake; needed with course over ground."),
    _heading(
        "current_sets_towards",
        "Current sets towards, true",
        required=False,
        help="Leave empty when you do not know; the uncertainty then grows.",
    ),
    _speed("boat_speed", "Speed through the water", 30, "Needed with course over ground."),
)

STEPS = (
    Step(
        key=LOCATION,
        title="Check where the heading sensors sit",
        phase=Phase.ALONGSIDE,
        order=250,
        cautions=(BATTERY_OFF,),
        at_hand=("tape measure", "the sensor maker's mounting instructions", "hand compass"),
        fields=(
            *(
                amount_field(
                    name,
                    f"Distance to {what}",
                    "length",
                    "m",
                    (0.1, 15),
                    (0, 100),
                    doubted_outside=(0, 25),  # longer than a boat of this trade
                    each=SENSORS,
                    help="The nearest one. Look behind panels, and on the other side of a bulkhead.",
                )
                for name, what in CLEARANCES.items()
            ),
            Field(
                name="steady_when_switched",
                title="Heading holds within 2 degrees while each load is switched on and off",
                kind=Kind.YES_NO,
                each=SENSORS,
            ),
            Field(
                name="mounted_as_told",
                title="Level, firm, and pointing as its maker asks",
                kind=Kind.YES_NO,
                each=SENSORS,
            ),
        ),
    ),
    Step(
        key=PLACE,
        title="Place and date for the magnetic variation",
        phase=Phase.ALONGSIDE,
        order=255,
        at_hand=("position from the plotter",),
        fields=(
            amount_field("latitude", "Latitude, north positive", "angle", "deg", None, (-90, 90)),
            amount_field(
                "longitude",
                "Longitude, east positive",
                "angle",
                "deg",
                None,
                (-180, 180),
                help="West is negative: 70.5 degrees west is -70.5 deg.",
            ),
            Field(
                name="date",
                title="Date",
                kind=Kind.TEXT,
                required=False,
                help="As 2026-11-25. Left empty, the day the latitude was entered counts.",
                offers_from=(TODAY,),
            ),
        ),
    ),
    Step(
        key=STEADY_TURN,
        title="Steady turn for calibration",
        phase=Phase.UNDER_WAY,
        order=410,
        cautions=UNDER_WAY_CAUTIONS,
        at_hand=("the sensor maker's calibration instructions", "recorder running on the instrument network"),
        guide="heading_calibration.steady_turn",
        fields=(
            Field(name="turn_recording", title="Recording of the turn", kind=Kind.RECORDING),
            Field(
                name="calm_water",
                title="Calm water: no wake, little wind",
                kind=Kind.YES_NO,
                of_run="turn_recording",
            ),
            Field(
                name="instrument_result",
                title="What the instrument said",
                kind=Kind.CHOICE,
                choices=("accepted", "refused", "shows nothing"),
                each=SENSORS,
                required=False,
                of_run="turn_recording",
            ),
        ),
    ),
    Step(
        key=MAGNETOMETER,
        title="Raw magnetometer circle",
        phase=Phase.UNDER_WAY,
        order=420,
        cautions=UNDER_WAY_CAUTIONS,
        at_hand=("a log of the sensor's raw x and y in microtesla",),
        spared_by=(SWING, STRAIGHT_RUNS),
        fields=(
            Field(
                name="magnetometer_recording",
                title="Recording with magnetic x and y",
                kind=Kind.RECORDING,
                required=False,
                help="Only for sensors that give raw readings: a table with columns magnetic_x and magnetic_y.",
            ),
        ),
    ),
    Step(
        key=SWING,
        title="Swing: readings on eight headings or more",
        phase=Phase.UNDER_WAY,
        order=430,
        cautions=UNDER_WAY_CAUTIONS,
        at_hand=("hand bearing compass or a charted range line", "pencil and paper"),
        spared_by=(STRAIGHT_RUNS,),
        fields=(
            Field(
                name="reference",
                title="The reference direction is",
                kind=Kind.CHOICE,
                choices=REFERENCES,
                help="True and course over ground need the place and date.",
            ),
            *_CURRENT,
            Field(
                name="readings",
                title="Readings",
                kind=Kind.TABLE,
                required=False,
                help="Steady on each heading for half a minute before you read. Every 45 degrees or closer.",
                columns=(
                    _heading("reference_direction", "Reference: where the bow points"),
                    _heading("compass_heading", "Heading shown", each=SENSORS),
                ),
            ),
        ),
    ),
    Step(
        key=STRAIGHT_RUNS,
        title="Swing from recorded straight runs",
        phase=Phase.UNDER_WAY,
        order=435,
        cautions=UNDER_WAY_CAUTIONS,
        at_hand=("recorder running on the instrument network",),
        spared_by=(SWING,),
        fields=(
            Field(
                name="runs_recording",
                title="Recording of straight runs on eight headings or more",
                kind=Kind.RECORDING,
                required=False,
                help="Half a minute straight on each heading, at one throttle. Runs both ways on each line are best.",
            ),
            *_CURRENT,
        ),
    ),
    Step(
        key=COMPARISON,
        title="Compare heading sensors",
        phase=Phase.UNDER_WAY,
        order=440,
        cautions=UNDER_WAY_CAUTIONS,
        at_hand=("recorder running on the instrument network",),
        fields=(
            Field(
                name="comparison_recording",
                title="Recording of all sensors together",
                kind=Kind.RECORDING,
                required=False,
                help="Two minutes or more of straight running.",
            ),
            Field(
                name="trusted_source",
                title="Source to trust",
                kind=Kind.TEXT,
                required=False,
                offers_from=("heading_sensors",),
                help="A sensor's name or its source; left empty, the first sensor of the vessel.",
            ),
        ),
    ),
)
