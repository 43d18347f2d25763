"""The walk-through of everything aboard, the owner's briefing and the punch list."""

from __future__ import annotations

from garboard.cautions import FUEL_FIRE, FUEL_VAPOUR, LOOK_OUT, PROPELLERS, TEST_CALLS
from garboard.fields import PEOPLE, amount_field
from garboard.findings import Basis, BasisKind
from garboard.settings import amount_setting
from garboard.steps import Caution, Field, Kind, Phase, Setting, Step

FUEL_SYSTEM = "handover.fuel_system"
STEERING = "handover.steering"
SECOND_STATION = "handover.second_station"
TRIM_AND_TABS = "handover.trim_and_tabs"
THRUSTER = "handover.thruster"
BILGE_PUMPS = "handover.bilge_pumps"
LIGHTS_AND_HORN = "handover.lights_and_horn"
RADIO = "handover.radio"
SAFETY_GEAR = "handover.safety_gear"
AUTOPILOT = "handover.autopilot"
TRIAL_SPEED = "trial_speed"
TABS_UNDER_WAY = "handover.tabs_under_way"
OWNER_BRIEFING = "handover.owner_briefing"
PUNCH_LIST = "handover.punch_list"

NO_VAPOUR = "no_vapour"
DANGERS = (NO_VAPOUR, "dry_at_rest", "dry_under_pressure")
"""Points of the fuel system whose "no" says first what nobody may do: vapour and leaks."""

WALK_THROUGH = Basis(BasisKind.COMMON_PRACTICE, "everything aboard is tried once before the boat is signed over")
MAKERS = Basis(BasisKind.MANUAL, "the makers' manuals of the equipment aboard")
LOCAL_LAW = Basis(
    BasisKind.REGULATION,
    "the law where the boat is used",
    "the list here is a reminder; the law decides what is carried",
)
THRUSTER_CLEAR = Caution(
    "Lines, swimmers and hands clear of the thruster. It starts at full force.",
    Basis(BasisKind.COMMON_PRACTICE, "people and lines clear of thrusters"),
)
PILOT_IS_BLIND = Caution(
    "The pilot steers; it does not see. One hand stays near the wheel and the pilot's stand-by key.",
    Basis(BasisKind.COMMON_PRACTICE, "a hand near the wheel under pilot", "the pilot's manual comes first"),
)
SHARP_TABS = Caution(
    "Move one tab at a time and slowly. A tab put full down at speed can throw the bow to one side.",
    Basis(BasisKind.COMMON_PRACTICE, "tabs tried in small steps"),
)


def _yes(name: str, title: str, *, required: bool = True, each: str = "", help: str = "") -> Field:
    return Field(name=name, title=title, kind=Kind.YES_NO, required=required, each=each, help=help)


def _text(
    name: str,
    title: str,
    *,
    required: bool = False,
    help: str = "",
    offers: tuple[str, ...] = (),
    offers_from: tuple[str, ...] = (),
) -> Field:
    return Field(
        name=name,
        title=title,
        kind=Kind.TEXT,
        required=required,
        help=help,
        offers=offers,
        offers_from=offers_from,
    )


STEPS = (
    Step(
        key=FUEL_SYSTEM,
        title="Fuel system: leaks and blower",
        phase=Phase.ALONGSIDE,
        order=110,
        cautions=(FUEL_VAPOUR, FUEL_FIRE),
        at_hand=("vapour detector", "torch rated for vapour", "rags"),
        fields=(
            _yes("dry_at_rest", "Every fitting dry with the system at rest"),
            _yes("dry_under_pressure", "Every fitting dry with the primer bulb hard or the pump on"),
            _yes(NO_VAPOUR, "No vapour by nose and detector"),
            _yes("blower_works", "Blower draws air out", required=False, help="Leave empty where there is none."),
            _yes("vent_and_fill_clear", "Vent and fill hoses clear, fill grounded"),
        ),
    ),
    Step(
        key=STEERING,
        title="Steering",
        phase=Phase.ALONGSIDE,
        order=120,
        cautions=(PROPELLERS,),
        fields=(
            _yes("full_travel", "Lock to lock both ways, nothing touches"),
            _yes("no_play", "No play and no air at the wheel"),
            _yes("no_leaks", "Hoses and cylinder dry"),
            _yes("fastened", "Tie bar and pivot fastened and locked"),
        ),
    ),
    Step(
        key=SECOND_STATION,
        title="Second station and control transfer",
        phase=Phase.ALONGSIDE,
        order=310,
        cautions=(PROPELLERS,),
        fields=(
            _yes(
                "takes_control",
                "Takes control only in neutral",
                help="Where there is none, mark the step not fitted.",
            ),
            _yes("gives_back", "Gives control back"),
            _yes("shifts_and_throttles", "Shifts and throttles every engine the right way"),
            _yes("stops_engines", "Cut-off and stop work there"),
            _yes("readings_agree", "Gauges show the same at both stations"),
        ),
    ),
    Step(
        key=TRIM_AND_TABS,
        title="Engine trim and trim tabs",
        phase=Phase.ALONGSIDE,
        order=320,
        cautions=(PROPELLERS,),
        fields=(
            _yes("full_trim", "Trims through its whole range", each="engines"),
            _yes("trim_gauge", "Trim gauge follows", each="engines"),
            _yes("stays_up", "Stays up when tilted", each="engines"),
            _yes("tabs_move", "Tabs move the way the switch says, both sides", required=False),
            _yes("tab_gauge", "Tab indicators follow", required=False),
        ),
    ),
    Step(
        key=THRUSTER,
        title="Bow thruster",
        phase=Phase.ALONGSIDE,
        order=330,
        cautions=(THRUSTER_CLEAR,),
        fields=(
            _yes("pushes_to_port", "Pushes the bow to port when told to"),
            _yes("pushes_to_starboard", "Pushes the bow to starboard when told to"),
            _yes("stops", "Stops at once when let go"),
        ),
    ),
    Step(
        key=BILGE_PUMPS,
        title="Bilge pumps and alarm",
        phase=Phase.ALONGSIDE,
        order=340,
        fields=(
            Field(
                name="pumps",
                title="Pumps",
                kind=Kind.TABLE,
                columns=(
                    _text("pump", "Which pump", required=True, offers=("Bilge pump", "Forward", "Aft")),
                    _yes("by_hand", "Runs by its switch and pumps overboard"),
                    _yes("by_float", "Starts by itself with water, batteries switched off"),
                ),
            ),
            _yes("high_water_alarm", "High-water alarm sounds at the helm", required=False),
        ),
    ),
    Step(
        key=LIGHTS_AND_HORN,
        title="Navigation lights and horn",
        phase=Phase.ALONGSIDE,
        order=350,
        fields=(
            _yes("side_lights", "Red to port, green to starboard"),
            _yes("stern_or_all_round", "Stern light, or all-round white light"),
            _yes("masthead", "Masthead light, where fitted apart", required=False),
            _yes("anchor", "Anchor light"),
            _yes("horn", "Horn heard from the dock"),
        ),
    ),
    Step(
        key=RADIO,
        title="VHF and AIS identity",
        phase=Phase.ALONGSIDE,
        order=360,
        cautions=(TEST_CALLS,),
        at_hand=("the owner's radio licence or registration",),
        fields=(
            _text("licence_identity", "Identity on the licence (MMSI)", help="Nine digits, off the paper."),
            _text("vhf_identity", "Identity read back from the VHF", help="Nine digits, off its own screen."),
            _text(
                "ais_identity", "Identity read back from the AIS", help="Nine digits. Leave empty where there is none."
            ),
            _yes("vhf_has_position", "VHF shows the position"),
            _yes("radio_check", "Radio check answered"),
            _yes("ais_seen", "AIS seen by another boat or receiver", required=False),
        ),
    ),
    Step(
        key=SAFETY_GEAR,
        title="Safety gear aboard",
        phase=Phase.ALONGSIDE,
        order=380,
        fields=(
            Field(
                name="gear",
                title="Gear",
                kind=Kind.TABLE,
                help="Life jackets, extinguishers, flares, throwable, anchor and line, sound signal, first aid, and "
                "what local law adds.",
                columns=(
                    _text(
                        "item",
                        "Item",
                        required=True,
                        offers=(
                            "Life jackets",
                            "Throwable cushion",
                            "Fire extinguishers",
                            "Visual signals",
                            "Anchor, chain and line",
                            "Sound signal",
                            "First aid kit",
                        ),
                    ),
                    _yes("aboard", "Aboard, in date, in reach"),
                ),
            ),
            _yes("list_checked", "Checked against the law where the boat will be used"),
        ),
    ),
    Step(
        key=AUTOPILOT,
        title="Autopilot: hold a heading, change course",
        phase=Phase.UNDER_WAY,
        order=560,
        cautions=(LOOK_OUT, PILOT_IS_BLIND),
        at_hand=("recorder running on the instrument network", "two minutes of clear water ahead"),
        fields=(
            _yes("stand_by", "Stand-by gives the wheel back at once"),
            Field(name="hold_recording", title="Recording of holding a heading", kind=Kind.RECORDING, required=False),
            Field(name="change_recording", title="Recording of a course change", kind=Kind.RECORDING, required=False),
            _text(
                "steered_by",
                "Heading sensor the pilot steers by",
                offers_from=("heading_sensors",),
                help="A sensor's name or its source. Left empty, the vessel's first sensor counts.",
            ),
            amount_field(
                "ordered_change",
                "Course change ordered, starboard positive",
                "angle",
                "deg",
                (-120, 120),
                (-180, 180),
                required=False,
            ),
            amount_field(
                TRIAL_SPEED,
                "Speed during the trial",
                "speed",
                "kn",
                (3, 50),  # common practice, no source
                (0, 120),
                required=False,
                help="Needed where the recordings hold no speed.",
            ),
        ),
    ),
    Step(
        key=TABS_UNDER_WAY,
        title="Trim tabs under way",
        phase=Phase.UNDER_WAY,
        order=570,
        cautions=(LOOK_OUT, SHARP_TABS),
        fields=(
            _yes("levels", "Takes out a list"),
            _yes("bow_down", "Brings the bow down, both together"),
        ),
    ),
    Step(
        key=PUNCH_LIST,
        title="Faults found",
        phase=Phase.HAND_OVER,
        order=800,
        fields=(
            Field(
                name="faults",
                title="Faults",
                kind=Kind.TABLE,
                required=False,
                columns=(
                    _text("fault", "Fault", required=True),
                    _yes("put_right", "Put right"),
                    _text("retested_by", "Tried again by", offers_from=(PEOPLE,)),
                ),
            ),
        ),
    ),
    Step(
        key=OWNER_BRIEFING,
        title="Walk through the boat with the owner",
        phase=Phase.HAND_OVER,
        order=850,
        fields=(
            Field(
                name="topics",
                title="Shown and tried by the owner",
                kind=Kind.TABLE,
                help="Battery switches, starting and stopping, cut-off link, fuel and blower, bilge pumps, fire, "
                "radio, lights, pilot, trim, engine care, service dates.",
                columns=(
                    _text(
                        "topic",
                        "Topic",
                        required=True,
                        offers=(
                            "Battery switches",
                            "Starting, stopping, cut-off link",
                            "Fuel, blower, vapour",
                            "Bilge pumps and alarm",
                            "Fire",
                            "Radio and distress call",
                            "Lights",
                            "Trim and tabs",
                            "Engine care",
                            "Service dates",
                        ),
                    ),
                    _yes("understood", "Tried by the owner"),
                ),
            ),
            _yes("manuals_handed_over", "Manuals, keys, spares and registration papers handed over"),
        ),
    ),
)


def _setting(
    name: str,
    title: str,
    quantity: str,
    unit: str,
    default: str,
    hard: tuple[float, float],
    stricter: str,
    practice: str,
) -> Setting:
    basis = Basis(BasisKind.COMMON_PRACTICE, practice, "the pilot's manual comes first")
    return amount_setting("handover", name, title, quantity, unit, default, hard, basis, stricter)


# The ranges are common practice, no source.
SETTINGS = (
    _setting(
        "hold_seconds",
        "Shortest heading hold that counts",
        "time",
        "s",
        "60 s",
        (10, 600),
        "higher",
        "a minute shows whether the pilot wanders",
    ),
    _setting(
        "hold_spread",
        "Widest spread of a held heading, 95 % within ±",
        "angle",
        "deg",
        "4 deg",
        (0.5, 20),
        "lower",
        "what a pilot holds in calm water",
    ),
    _setting(
        "overshoot",
        "Widest overshoot of a course change",
        "angle",
        "deg",
        "10 deg",
        (1, 45),
        "lower",
        "a pilot that swings past by more steers too hard",
    ),
    _setting(
        "settled_within", "Settled when within ±", "angle", "deg", "5 deg", (0.5, 20), "", "about what a pilot holds"
    ),
    _setting(
        "settle_seconds",
        "Longest time to settle",
        "time",
        "s",
        "40 s",
        (5, 300),
        "lower",
        "a pilot that takes longer hunts for its heading",
    ),
)
