"""What a technician is asked before the boat runs: the engines as rigged, first start, data, instruments."""

from __future__ import annotations

from garboard.cautions import BATTERY_OFF, CUT_OFF_LINK, DEFER, FUEL_FIRE, FUEL_VAPOUR, PROPELLERS, TEST_CALLS
from garboard.records import Vessel
from garboard.steps import Caution, Phase, Step
from garboard_engine_trial.asked import amount, table, text, yes
from garboard_engine_trial.bases import practice

MAKERS_WINDOW = "engine_trial.makers_window"
AS_RIGGED = "engine_trial.as_rigged"
FIRST_START = "engine_trial.first_start"
DATA = "engine_trial.data"
INSTRUMENTS = "engine_trial.instruments"

WATER_FIRST = Caution(
    "Start an engine only with its intake under water or fed by a hose. Stop at once when no water comes out.",
    practice("no outboard runs dry", "the engine maker's manual decides"),
    to_owner="Start an engine only with its intake under water or fed by a hose. Once it runs, see cooling water come "
    "out. Stop it at once when none comes.",
)
LIFTED = Caution(
    "Nobody under a hoisted or tilted engine. The hoist stays on until the bolts are tight.",
    practice("people clear of hoisted and tilted engines"),
)
RADAR = Caution("Nobody in front of a radar that transmits.", practice("people clear of a radar that transmits"))

_HEIGHT = ((-2.0, 8.0), (-24.0, 48.0))
_IDLE = ((450.0, 1000.0), (100.0, 3000.0))
_HOT = ((40.0, 110.0), (0.0, 300.0))
_WATER = ((1.0, 40.0), (0.0, 200.0))
_TURNS = ((500.0, 7000.0), (0.0, 15000.0))
_WARM = ((10.0, 110.0), (-40.0, 300.0))
_VOLTS = ((11.0, 16.0), (1.0, 100.0))

_NO_IDLE, _NO_HEIGHT, _NO_HOT, _NO_WATER, _NO_VOLTS = (
    (300.0, 1500.0),
    (-12.0, 24.0),
    (30.0, 150.0),
    (0.5, 60.0),
    (10.0, 16.5),
)
"""No outboard in order idles, sits, is cooled or charges outside these, and no maker allows it; common practice, no
source. A small one idles faster, and one of 24 V charges with twice as much: `usual_idle`, `usual_voltage`."""
_SMALL, _SMALL_IDLES = 30.0, (450.0, 2100.0)
"""Below so many horsepower [hp] an outboard idles between these [rev/min]; common practice, no source."""
_STARTED_WITH = (12.0, 24.0)
"""From the lowest to the highest nominal voltage that starts an outboard [V]; common practice, no source."""


def usual_idle(vessel: Vessel, engine: str) -> tuple[float, float] | None:
    """What a small engine idles with [rev/min]; None for one that is not small, or of a power nobody entered."""
    piece = vessel.pieces["engines"].get(engine)
    power = piece.rated_power.to("hp") if piece and piece.rated_power else _SMALL
    return _SMALL_IDLES if power < _SMALL else None


def usual_voltage(vessel: Vessel, _engine: str) -> tuple[float, float] | None:
    """What an engine charges with [V], on the batteries that start one, or on all where none is entered to do so."""
    cranking = {one.battery for one in vessel.circuits if one.use == "cranking motor"}
    starting = [one for one in vessel.batteries if one.name in cranking] or vessel.batteries
    volts = [one.nominal_voltage.to("V") for one in starting if one.nominal_voltage]
    volts = [one for one in volts if _STARTED_WITH[0] <= one <= _STARTED_WITH[1]]
    (low, high), _ = _VOLTS
    return (low * min(volts) / 12, high * max(volts) / 12) if volts else None


STEPS = (
    Step(
        key=MAKERS_WINDOW,
        title="Maker's limits of each engine",
        phase=Phase.ALONGSIDE,
        order=121,  # after the fuel system and the steering
        cautions=(DEFER,),
        at_hand=("engine maker's rigging and owner's manuals",),
        fields=(
            table(
                "window",
                "Limits",
                amount(
                    "idle_low",
                    "Idle speed in neutral, lowest",
                    "engine speed",
                    "rev/min",
                    *_IDLE,
                    plausible_for=usual_idle,
                    doubted_outside=_NO_IDLE,
                    of_model=True,
                ),
                amount(
                    "idle_high",
                    "Idle speed in neutral, highest",
                    "engine speed",
                    "rev/min",
                    *_IDLE,
                    plausible_for=usual_idle,
                    doubted_outside=_NO_IDLE,
                    of_model=True,
                ),
                amount(
                    "height_low",
                    "Mounting height over the keel, lowest",
                    "length",
                    "in",
                    *_HEIGHT,
                    doubted_outside=_NO_HEIGHT,
                    of_model=True,
                ),
                amount(
                    "height_high",
                    "Mounting height over the keel, highest",
                    "length",
                    "in",
                    *_HEIGHT,
                    doubted_outside=_NO_HEIGHT,
                    of_model=True,
                ),
                amount(
                    "temperature_high",
                    "Engine temperature, highest",
                    "temperature",
                    "degC",
                    *_HOT,
                    doubted_outside=_NO_HOT,
                    of_model=True,
                ),
                amount(
                    "water_low",
                    "Water pressure at full throttle, lowest",
                    "pressure",
                    "psi",
                    *_WATER,
                    doubted_outside=_NO_WATER,
                    of_model=True,
                ),
                amount(
                    "voltage_low",
                    "Voltage while running, lowest",
                    "voltage",
                    "V",
                    *_VOLTS,
                    plausible_for=usual_voltage,
                    doubted_outside=_NO_VOLTS,
                    of_model=True,
                ),
                amount(
                    "voltage_high",
                    "Voltage while running, highest",
                    "voltage",
                    "V",
                    *_VOLTS,
                    plausible_for=usual_voltage,
                    doubted_outside=_NO_VOLTS,
                    of_model=True,
                ),
                text(
                    "limits_of",
                    "Engine model they are of",
                    begins=("engines", "model"),
                    of_model=True,
                    help="As the manual says. Limits of another model judge nothing.",
                ),
                each="engines",
                help="Leave out what the manual does not give: what is read then is kept and not judged.",
            ),
        ),
    ),
    Step(
        key=AS_RIGGED,
        title="Engines as rigged, before launch",
        phase=Phase.ALONGSIDE,
        order=122,
        cautions=(LIFTED, BATTERY_OFF, PROPELLERS, DEFER),
        at_hand=("tape measure", "straight edge", "torque wrench"),
        fields=(
            table(
                "rigged",
                "Engines",
                amount(
                    "height",
                    "Antiventilation plate over the keel",
                    "length",
                    "in",
                    *_HEIGHT,
                    required=True,
                    help="Straight edge along the keel; below the keel counts as less than zero.",
                ),
                yes("bolted", "Through-bolted and tightened as the maker says"),
                amount("torque_set", "Torque set on the wrench", "torque", "ft-lb", (20, 120), (1, 500)),
                yes("oils", "Engine oil and gear oil to the mark"),
                yes("serial_read", "Serial number on the plate is the one entered"),
                text("software", "Software of the engine"),
                text("key_number", "Key number"),
                each="engines",
            ),
            amount(
                "spacing",
                "Between the outer engines, centre to centre",
                "length",
                "in",
                (18, 120),
                (1, 400),
                of_several="engines",
            ),
            amount(
                "toe_ahead",
                "Between the outer gearcases, leading edges",
                "length",
                "in",
                (18, 120),
                (1, 400),
                of_several="engines",
                help="Steered straight ahead. Same height as the trailing edges.",
            ),
            amount(
                "toe_aft",
                "Between the outer gearcases, trailing edges",
                "length",
                "in",
                (18, 120),
                (1, 400),
                of_several="engines",
            ),
        ),
    ),
    Step(
        key=FIRST_START,
        title="First start: controls, protection, cut-off",
        phase=Phase.ALONGSIDE,
        order=125,
        cautions=(WATER_FIRST, PROPELLERS, CUT_OFF_LINK, FUEL_VAPOUR, FUEL_FIRE),
        at_hand=("cooling water", "cut-off link", "a second person at the engine"),
        fields=(
            table(
                "started",
                "Engines",
                yes("throttle_travel", "Throttle lever reaches both stops freely, engine off"),
                yes("starts_in_neutral_only", "Starts in neutral, and in no gear"),
                yes("cut_off_stops", "Stops when the cut-off link is pulled, and does not start without it"),
                yes("alarms_sound", "Alarm and warning lamps show at key-on"),
                yes("tell_tale", "Tell-tale runs within a minute of the start"),
                yes("shifts_right", "Ahead and astern as the lever says"),
                amount(
                    "idle",
                    "Idle speed in neutral, warm",
                    "engine speed",
                    "rev/min",
                    *_IDLE,
                    plausible_for=usual_idle,
                    required=True,
                    heard="engine_speed",
                ),
                each="engines",
            ),
            yes(
                "levers_level",
                "Levers side by side give one engine speed",
                required=False,
                of_several="engines",
            ),
        ),
    ),
    Step(
        key=DATA,
        title="Engine data and tanks on every display",
        phase=Phase.ALONGSIDE,
        order=352,
        cautions=(PROPELLERS, FUEL_VAPOUR, FUEL_FIRE),
        at_hand=("engines running warm", "the engines' own gauges or the maker's tool", "the pump's meter"),
        fields=(
            table(
                "displays",
                "Displays",
                text(
                    "display", "Which display", required=True, offers=("Helm", "Helm, port", "Helm, starboard", "Tower")
                ),
                yes("alive", "Every value of every engine shows and moves"),
                yes("named_right", "Units right, and port is port"),
            ),
            table(
                "agreement",
                "Engine and display",
                amount(
                    "own_speed", "Engine speed, the engine's own", "engine speed", "rev/min", *_TURNS, required=True
                ),
                amount(
                    "shown_speed",
                    "Engine speed, on the display",
                    "engine speed",
                    "rev/min",
                    *_TURNS,
                    required=True,
                    heard="engine_speed",
                ),
                amount("own_temperature", "Temperature, the engine's own", "temperature", "degC", *_WARM),
                amount(
                    "shown_temperature",
                    "Temperature, on the display",
                    "temperature",
                    "degC",
                    *_WARM,
                    heard="engine_temperature",
                ),
                amount(
                    "own_voltage",
                    "Voltage, by meter at the engine",
                    "voltage",
                    "V",
                    *_VOLTS,
                    plausible_for=usual_voltage,
                    doubted_outside=_NO_VOLTS,
                ),
                amount(
                    "shown_voltage",
                    "Voltage, on the display",
                    "voltage",
                    "V",
                    *_VOLTS,
                    plausible_for=usual_voltage,
                    doubted_outside=_NO_VOLTS,
                    heard="alternator_voltage",
                ),
                each="engines",
            ),
            table(
                "senders",
                "Tank senders",
                amount(
                    "in_tank", "In the tank by the pump's meter", "volume", "gal", (0, 500), (0, 5000), each="tanks"
                ),
                amount("gauge", "Gauge shows", "share", "%", (0, 100), (0, 110), each="tanks", heard="tank_level"),
                required=False,
                help="Three steps or more, empty to full, boat level.",
            ),
        ),
    ),
    Step(
        key=INSTRUMENTS,
        title="Depth, radar, VHF and pump flow",
        phase=Phase.ALONGSIDE,
        order=366,
        cautions=(RADAR, TEST_CALLS, DEFER),
        at_hand=("lead line or pole", "directional wattmeter", "bucket with marks and a watch"),
        fields=(
            amount("depth_by_lead", "Depth by lead line, from the water line", "length", "ft", (2, 60), (0, 1000)),
            amount("transducer_depth", "Transducer below the water line", "length", "ft", (0, 5), (0, 50)),
            amount(
                "depth_shown",
                "Depth below the transducer, on the network",
                "length",
                "ft",
                (1, 60),
                (0, 1000),
                heard="depth",
            ),
            amount(
                "keel_depth", "Lowest point of hull or gear below the water line", "length", "ft", (0.5, 8), (0, 50)
            ),
            amount(
                "depth_offset",
                "Depth offset set",
                "length",
                "ft",
                (-8, 5),
                (-50, 50),
                heard="depth_offset",
                help="Above zero: depth from the water line. Below zero: depth under the lowest point.",
            ),
            amount(
                "object_seen",
                "One known object: off the bow by eye, starboard positive",
                "angle",
                "deg",
                (-90, 90),
                (-180, 180),
                help="Steer at it and it is 0.",
            ),
            amount(
                "object_on_radar",
                "The same object: off the bow on radar",
                "angle",
                "deg",
                (-90, 90),
                (-180, 180),
            ),
            amount(
                "power_forward",
                "VHF: forward power at the antenna cable",
                "radio power",
                "W",
                (0.5, 30),
                (0, 200),
                doubted_outside=(0.0, 50.0),
            ),
            amount("power_reflected", "VHF: reflected power", "radio power", "W", (0, 5), (0, 200)),
            table(
                "pumps",
                "Bilge pumps",
                text("pump_tried", "Which pump", offers=("Bilge pump", "Forward", "Aft")),
                amount("pumped", "Water pumped", "bucket volume", "L", (2, 100), (0, 1000)),
                amount("seconds", "In", "time", "s", (5, 120), (0, 3600)),
                amount("label_flow", "Flow on its label", "pump flow", "gal/h", (200, 4000), (1, 50_000)),
                required=False,
            ),
        ),
    ),
)
