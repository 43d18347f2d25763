"""The steps alongside: batteries, standing current, circuits, loads and networks."""

from __future__ import annotations

import math

from garboard.cautions import BATTERY_OFF, DEFER, FUEL_FIRE, FUEL_VAPOUR, HYDROGEN, SHORE_POWER
from garboard.fields import amount_field
from garboard.records import Battery, Circuit, Vessel
from garboard.steps import GASOLINE, Caution, Field, Kind, Phase, Step
from garboard_wiring_audit import bases

BATTERIES = "wiring_audit.batteries"
STANDING = "wiring_audit.standing_current"
CIRCUITS = "wiring_audit.circuits"
LOADS = "wiring_audit.loads"
NETWORKS = "wiring_audit.networks"

IGNITION = Caution(
    "Parts near gasoline are ignition protected, or kept apart from it by 24 in of open air, a bulkhead or a deck.",
    bases.IGNITION,
    fuels=(GASOLINE,),
)
CAUTIONS = (BATTERY_OFF, FUEL_VAPOUR, FUEL_FIRE, IGNITION, SHORE_POWER, DEFER)
SUPPLY_FROM_START = Caution(
    "Do not power the data network from engine-start battery terminals or other high-current feeds.",
    bases.NETWORK_SHEETS,
)


USUAL_REST, USUAL_DROP, USUAL_SOURCE = (11.5, 13.5), (0.0, 1.5), (11.0, 15.0)
"""For each 12 V entered: at rest, lost on the way and at the source; common practice, no source [V]."""
NETWORK_VOLTS = (6.0, 16.0)
"""Of an NMEA 2000 network: it works from 9 to 16 V, and one that is read at 6 V is flat; common practice [V]."""


def usual_rest_voltage(vessel: Vessel, battery: str) -> tuple[float, float] | None:
    """What a bank shows at rest [V]; None where its voltage is not entered."""
    return _for_each_12_volts(USUAL_REST, vessel.pieces["batteries"].get(battery))


def usual_drop(vessel: Vessel, circuit: str) -> tuple[float, float] | None:
    """What a circuit loses on the way [V]; None where its voltage is not entered."""
    return _for_each_12_volts(USUAL_DROP, vessel.pieces["circuits"].get(circuit))


def usual_source_voltage(vessel: Vessel, circuit: str) -> tuple[float, float] | None:
    """What a circuit is fed with while it runs [V]; None where its voltage is not entered."""
    return _for_each_12_volts(USUAL_SOURCE, vessel.pieces["circuits"].get(circuit))


def _for_each_12_volts(usual: tuple[float, float], piece: Battery | Circuit | None) -> tuple[float, float] | None:
    nominal = piece.nominal_voltage if piece else None
    volts = nominal.to("V") if nominal else 0.0
    return (usual[0] * volts / 12, usual[1] * volts / 12) if 0 < volts < math.inf else None


def _yes_no(name: str, title: str, help: str = "", required: bool = True) -> Field:
    return Field(name=name, title=title, kind=Kind.YES_NO, help=help, required=required)


def _table(name: str, title: str, each: str, *columns: Field) -> Field:
    return Field(name=name, title=title, kind=Kind.TABLE, each=each, columns=columns)


STEPS = (
    Step(
        key=BATTERIES,
        title="Batteries at rest",
        phase=Phase.ALONGSIDE,
        order=200,
        cautions=(HYDROGEN, *CAUTIONS),
        at_hand=("voltmeter", "tape measure", "eye protection", "insulated wrench"),
        fields=(
            _table(
                "batteries",
                "Batteries",
                "batteries",
                amount_field(
                    "rest_voltage",
                    "Rest voltage",
                    "voltage",
                    "V",
                    USUAL_REST,
                    (0, 70),
                    help="At the posts.",
                    plausible_for=usual_rest_voltage,
                    heard="battery_voltage",
                ),
                amount_field("hours_at_rest", "Hours without charge or load", "time", "h", (3, 72), (0, 2000)),
                amount_field(
                    "temperature",
                    "Battery temperature",
                    "temperature",
                    "degC",
                    (0, 45),
                    (-40, 90),
                    required=False,
                ),
                _yes_no("held_down", "Held down", "It moves less than 1 in when you pull."),
                _yes_no("terminals_covered", "Live terminals covered"),
                _yes_no("terminals_fixed", "Terminals bolted or clamped", "No spring clips."),
                _yes_no("vented", "Space vented to the open"),
                _yes_no("clear_of_fuel", "No fuel fitting above or below"),
                amount_field(
                    "fuse_distance",
                    "Main fuse from the post",
                    "length",
                    "in",
                    (0, 72),
                    (0, 1000),
                    help="Along the lead. Leave empty for a lead to the cranking motor only.",
                    required=False,
                ),
                amount_field(
                    "fuse_rating",
                    "Main fuse, its rating",
                    "current",
                    "A",
                    (5, 400),
                    (1, 2000),
                    help="As printed on it. It has to carry what runs at once. It stands on the owner's card of fuses.",
                    required=False,
                ),
            ),
            Field(name="battery_photo", title="Photo of the batteries", kind=Kind.PHOTO, required=False),
        ),
    ),
    Step(
        key=STANDING,
        title="Switches off: standing current",
        phase=Phase.ALONGSIDE,
        order=210,
        cautions=CAUTIONS,
        at_hand=("meter that reads milliamperes in line", "spare fuse for the meter"),
        fields=(
            _table(
                "standing",
                "Standing current",
                "batteries",
                amount_field(
                    "standing_current",
                    "Current, switches off",
                    "current",
                    "mA",
                    (0, 500),
                    (0, 20000),
                    help="Turn every switch off. What is fed at the battery itself, such as an automatic bilge pump, "
                    "stays connected and must not run. Meter in the negative lead. Wait until the electronics have "
                    "gone to sleep.",
                ),
            ),
        ),
    ),
    Step(
        key=CIRCUITS,
        title="Circuit by circuit",
        phase=Phase.ALONGSIDE,
        order=220,
        cautions=CAUTIONS,
        at_hand=("voltmeter with a long lead", "clamp meter for direct current", "labels", "tape measure"),
        fields=(
            _table(
                "circuits",
                "Circuits",
                "circuits",
                # what is seen and pulled while the power is off, then what is read with the circuit running
                _yes_no("label_present", "Labelled at both ends"),
                _yes_no("terminations_tight", "Terminations tight", "Pull each one by hand."),
                _yes_no("supported", "Held and clear of chafe", "Held at least every 18 in (450 mm).", False),
                _yes_no("polarity_right", "Polarity right"),
                amount_field("current", "Current, running", "current", "A", (0.05, 200), (0, 2000)),
                amount_field(
                    "drop",
                    "Drop, running",
                    "voltage",
                    "V",
                    USUAL_DROP,
                    (0, 70),
                    help="Plus lead and minus lead added: source post to load terminal with the long lead.",
                    plausible_for=usual_drop,
                ),
                amount_field(
                    "source_voltage",
                    "Voltage at the source, running",
                    "voltage",
                    "V",
                    USUAL_SOURCE,
                    (0, 70),
                    required=False,
                    plausible_for=usual_source_voltage,
                ),
            ),
            Field(name="panel_photo", title="Photo of the labelled panel", kind=Kind.PHOTO, required=False),
        ),
    ),
    Step(
        key=LOADS,
        title="What runs together",
        phase=Phase.ALONGSIDE,
        order=230,
        cautions=CAUTIONS,
        at_hand=("clamp meter for direct current",),
        fields=(
            _yes_no(
                "classes_agreed",
                "List of what runs together gone through",
                "Each circuit is marked: may run for long with others, or is used now and then.",
            ),
            _table(
                "loads",
                "Load of each battery",
                "batteries",
                amount_field(
                    "load_current",
                    "Current with all of that on",
                    "current",
                    "A",
                    (0, 200),
                    (0, 2000),
                    help="Engines and chargers off.",
                ),
            ),
        ),
    ),
    Step(
        key=NETWORKS,
        title="NMEA 2000 network",
        phase=Phase.ALONGSIDE,
        order=240,
        cautions=(*CAUTIONS, SUPPLY_FROM_START),
        at_hand=("multimeter", "spare terminator", "list of devices with their load numbers"),
        fields=(
            _table(
                "networks",
                "Networks",
                "networks",
                amount_field(
                    "signal_resistance",
                    "Between the signal lines, powered down",
                    "resistance",
                    "ohm",
                    (54, 66),
                    (0, 10_000_000),
                    help="Network power off. Measure at any free tee.",
                ),
                amount_field(
                    "tee_voltage",
                    "Voltage at the power tee, all on",
                    "voltage",
                    "V",
                    (11, 15),
                    (0, 40),
                    doubted_outside=NETWORK_VOLTS,
                ),
                amount_field(
                    "worst_voltage",
                    "Voltage at the worst device, all on",
                    "voltage",
                    "V",
                    (9, 15),
                    (0, 40),
                    doubted_outside=NETWORK_VOLTS,
                ),
                Field(name="spare_drops", title="Spare tees", kind=Kind.COUNT, hard=(0, 50), required=False),
                _yes_no("on_start_battery", "Powered from an engine-start battery"),
            ),
        ),
    ),
)
