"""What a technician is asked for the fuel curve, what to be careful of, and what a shop may decide."""

from __future__ import annotations

from garboard.cautions import CUT_OFF_LINK, FUEL_FIRE, FUEL_VAPOUR, FULL_THROTTLE, LOOK_OUT
from garboard.fields import LOAD, WATER, amount_field
from garboard.findings import Basis, BasisKind, in_full
from garboard.fittings import columns_of_a_run, propeller_of_recording
from garboard.settings import amount_setting, basis_used
from garboard.steps import DIESEL, GASOLINE, Caution, Field, Kind, Phase, Setting, Step
from garboard_fuel_curve.engine_limits import usual_flow, usual_speed

STEPS = "fuel_curve.steps"
TANKS = "fuel_curve.tanks"
GUIDE = "fuel_curve.step"

PRACTICE = Basis(BasisKind.COMMON_PRACTICE, "Fuel curves by throttle steps at a steady engine speed, both ways")
FUEL_TABLE = Basis(BasisKind.METHOD, "Fuel property comparison, US Department of Energy, Alternative Fuels Data Center")
THIRDS = Basis(
    BasisKind.COMMON_PRACTICE, "Rule of thirds: one third of the fuel out, one third back, one third in reserve"
)
FIVE_MODE_CYCLE = Basis(
    BasisKind.REGULATION,
    "40 CFR 1045 Appendix II, five-mode duty cycle",
    "a cycle for certifying engines; here only its speeds and weights are used, to average fuel over mixed use",
)
ORDINARY = Basis(
    BasisKind.COMMON_PRACTICE, "Fuel flow at full throttle reckoned from 0.50 lb/(hp h), diesel 0.40 lb/(hp h)"
)
BEST_EFFICIENCY = Basis(
    BasisKind.COMMON_PRACTICE,
    "No engine of this size turns more than about 40 % (diesel 45 %) of the fuel's heat into power",
    "these are the best operating points published for car and truck engines; full throttle is poorer",
)
OTHER_READINGS = Basis(
    BasisKind.COMMON_PRACTICE,
    "One boat has one speed at one engine speed: readings of one job that contradict are looked at again",
)
PROPAGATION = Basis(BasisKind.METHOD, "JCGM 100 and 101, uncertainty of measurement")

REFUELLING = Caution(
    "Refuel with engines off and portable tanks ashore, and air the boat before you start: gasoline vapour burns in "
    "air from 1.4 to 7.6 % and lies low in the boat. Local rules and the fuel dock's come first.",
    Basis(BasisKind.METHOD, FUEL_TABLE.text, "that it lies low, and how to refuel, is common practice"),
    fuels=(GASOLINE,),
    to_owner="Refuel with engines off and portable tanks ashore, then air the boat before you start.",
)
REFUELLING_DIESEL = Caution(
    "Refuel with engines and heaters off, no flame or smoking, the nozzle against the filler. Stop short of full: "
    "diesel swells and foams. Mop up before you start. Local rules and the fuel dock's come first.",
    Basis(BasisKind.COMMON_PRACTICE, "refuelling a diesel boat"),
    fuels=(DIESEL,),
    to_owner="Refuel with engines and heaters off. Stop short of full, and mop up before you start.",
)

STEPS_STEP = Step(
    key=STEPS,
    title="Throttle steps for the fuel curve",
    phase=Phase.UNDER_WAY,
    order=530,  # after the full-throttle runs: another propeller gives another curve
    guide=GUIDE,
    cautions=(FULL_THROTTLE, CUT_OFF_LINK, LOOK_OUT, FUEL_VAPOUR, FUEL_FIRE),
    at_hand=(
        "room for a straight run both ways in deep, sheltered water",
        "a second person to read and type",
        "the maker's engine speed at full throttle",
    ),
    fields=(
        Field(
            name="fuel",
            title="Fuel",
            kind=Kind.CHOICE,
            choices=("gasoline", "diesel"),
        ),
        amount_field(
            "fuel_density", "Density of the fuel, if known", "density", "lb/gal", (6.0, 7.4), (5.0, 8.5), required=False
        ),
        Field(
            name="water_state",
            title="Water",
            kind=Kind.CHOICE,
            choices=WATER,
            former=("flat", "ripple"),
            required=False,
        ),
        Field(
            name="load",
            title="Load as run",
            kind=Kind.TEXT,
            offers=LOAD,
            required=False,
            help="The curve holds for this load. Who is aboard may be typed too.",
        ),
        Field(
            name="steps",
            title="Throttle steps",
            kind=Kind.TABLE,
            required=False,
            help="From idle to full throttle, at most 600 rev/min apart, closer around the hump. Trim for best speed "
            "at each.",
            columns=(
                amount_field(
                    "nominal_engine_speed",
                    "Throttle step",
                    "engine speed",
                    "rev/min",
                    (500, 7000),
                    (100, 15000),
                    heard="engine_speed",
                ),
                amount_field(
                    "speed_out",
                    "Speed over ground out",
                    "speed",
                    "kn",
                    (1, 75),
                    (0, 200),
                    heard="speed_over_ground",
                    plausible_for=usual_speed,
                ),
                amount_field(
                    "speed_back",
                    "Speed over ground back",
                    "speed",
                    "kn",
                    (1, 75),
                    (0, 200),
                    heard="speed_over_ground",
                    plausible_for=usual_speed,
                    required=False,
                    help="The opposite way at the same step takes out a steady current.",
                ),
                amount_field(
                    "engine_speed",
                    "Engine speed",
                    "engine speed",
                    "rev/min",
                    (500, 7000),
                    (100, 15000),
                    heard="engine_speed",
                    each="engines",
                    required=False,
                    help="As read, where it differs from the throttle step.",
                ),
                amount_field(
                    "fuel_flow",
                    "Fuel flow",
                    "fuel flow",
                    "gal/h",
                    (0.1, 70),
                    (0, 1000),
                    heard="fuel_flow",
                    plausible_for=usual_flow,
                    each="engines",
                ),
                *columns_of_a_run("prop_check.conditions"),
            ),
        ),
        Field(
            name="recording",
            title="Recording with the throttle held in steps",
            kind=Kind.RECORDING,
            required=False,
            help="Used when fewer steps are typed than make a curve.",
        ),
        propeller_of_recording("recording"),
    ),
)

TANKS_STEP = Step(
    key=TANKS,
    title="Refill, fuel meter and range",
    phase=Phase.HAND_OVER,
    order=710,
    cautions=(REFUELLING, REFUELLING_DIESEL, FUEL_VAPOUR, FUEL_FIRE),
    at_hand=("fuel filled to a mark you can find again before the run", "the pump's receipt"),
    fields=(
        amount_field(
            "usable_fuel",
            "Usable fuel of all tanks together",
            "volume",
            "gal",
            (3, 600),
            (0, 5000),
            help="What the engines can draw with the boat level, less than the tanks hold.",
        ),
        amount_field(
            "cruise",
            "Engine speed the owner means to cruise at",
            "engine speed",
            "rev/min",
            (600, 7000),
            (100, 15000),
            required=False,
            help="Left empty, range is worked out at the best-economy cruise.",
        ),
        Field(
            name="same_mark",
            title="Filled to the same mark before and after, boat level",
            kind=Kind.YES_NO,
            required=False,
        ),
        amount_field("refilled", "Fuel put back after the run", "volume", "gal", (5, 500), (0, 5000), required=False),
        amount_field(
            "metered",
            "Fuel burned by the meter",
            "volume",
            "gal",
            (1, 500),
            (0, 5000),
            each="engines",
            required=False,
            help="From fill to refill, for each engine; or the total below.",
        ),
        amount_field(
            "metered_total",
            "Fuel burned by the meter, all engines",
            "volume",
            "gal",
            (1, 500),
            (0, 5000),
            required=False,
        ),
        amount_field(
            "present_factor",
            "Factor set in the meter now",
            "number",
            "",
            (0.5, 2.0),
            (0.01, 100.0),
            required=False,
            help="Left empty, 1 is taken.",
        ),
    ),
)


def _amount(
    name: str,
    title: str,
    quantity: str,
    unit: str,
    default: str,
    hard: tuple[float, float],
    basis: Basis | str,
    stricter: str = "",
    at_most: tuple[str, ...] = (),
    note: str = "",
) -> Setting:
    """A setting; a basis given as text is common practice without a source."""
    given = Basis(BasisKind.COMMON_PRACTICE, basis, note) if isinstance(basis, str) else basis
    return amount_setting("fuel_curve", name, title, quantity, unit, default, hard, given, stricter, at_most)


BOUND = "a bound, the same in every reading"
HOLDS_95 = "holds 95 %, the same in every reading"
DEVIATION = "of each reading by itself, taken as known to 30 %"


# The ranges are common practice, no source: wide enough for any outboard boat, narrow enough to refuse a slip.
SETTINGS = (
    _amount(
        "fewest_steps",
        "Fewest steps that make a curve",
        "number",
        "",
        "6",
        (3, 30),
        "fewer steps tell a hump from a slip of reading too seldom",
    ),
    _amount(
        "widest_gap",
        "Widest gap between steps where a hump could hide",
        "engine speed",
        "rev/min",
        "600 rev/min",
        (100, 3000),
        "a planing hump spans several hundred rev/min",
    ),
    _amount(
        "same_step",
        "Readings closer than this are one step",
        "engine speed",
        "rev/min",
        "100 rev/min",
        (10, 500),
        "readings this close are one throttle position read twice",
    ),
    _amount(
        "steady_seconds",
        "A reading is steady when held for",
        "time",
        "s",
        "20 s",
        (2, 300),
        "long enough for boat speed and meter to settle after a change of throttle",
    ),
    _amount(
        "steady_engine_speed",
        "Steady engine speed keeps within ±",
        "engine speed",
        "rev/min",
        "50 rev/min",
        (5, 500),
        "what an outboard holds at a fixed throttle in calm water",
    ),
    _amount(
        "steady_fuel_flow",
        "Steady fuel flow keeps within ±",
        "fuel flow",
        "gal/h",
        "0.5 gal/h",
        (0.01, 20),
        "what a fuel flow display wanders by at a fixed throttle",
    ),
    _amount(
        "steady_speed",
        "Steady speed keeps within ±",
        "speed",
        "kn",
        "0.7 kn",
        (0.05, 5),
        "what a planing boat holds in calm water",
    ),
    _amount(
        "steady_course",
        "Steady course over ground keeps within ±",
        "angle",
        "deg",
        "20 deg",
        (1, 90),
        "what a helmsman holds on a straight run",
    ),
    _amount(
        "engine_speed_accuracy",
        "Tachometers are right within ±",
        "engine speed",
        "rev/min",
        "20 rev/min",
        (0, 500),
        "digital tachometer of an outboard",
        note=BOUND,
    ),
    _amount(
        "engine_speed_resolution",
        "Smallest step of the engine speed on the display",
        "engine speed",
        "rev/min",
        "10 rev/min",
        (0, 500),
        "digital displays step by 10 rev/min; set 50 or 100 for a dial",
        note="a reading lies within half a step",
    ),
    _amount(
        "speed_accuracy",
        "Speed over ground is right within ±",
        "speed",
        "kn",
        "0.1 kn",
        (0, 5),
        "satellite receiver at a steady speed",
        note=BOUND,
    ),
    _amount(
        "run_to_run_speed",
        "Speed differs from run to run by, standard deviation",
        "speed",
        "kn",
        "0.12 kn",
        (0.01, 5),
        "boat speed from one run to the next at one throttle step in calm water",
        note=DEVIATION,
    ),
    _amount(
        "by_eye_speed",
        "Speed read by eye differs by, standard deviation",
        "speed",
        "kn",
        "0.05 kn",
        (0, 5),
        "a person reads a speed that moves a little",
        note=DEVIATION,
    ),
    _amount(
        "unknown_current",
        "One-way runs allow for a current of ±",
        "speed",
        "kn",
        "1 kn",
        (0, 10),
        "tide or wind drift that nobody notices in sheltered water",
        note=BOUND,
    ),
    _amount(
        "flow_meter_accuracy",
        "Flow meters are right within ±",
        "share",
        "%",
        "3 %",
        (0, 25),
        "fuel flow meters before they are set against a refill",
        note=HOLDS_95,
    ),
    _amount(
        "flow_scatter",
        "Flow readings repeat within ±",
        "share",
        "%",
        "1.6 %",
        (0, 25),
        "the same throttle read again gives about the same flow",
        note="holds 95 %, for each reading by itself; taken as known to 30 %",
    ),
    _amount(
        "largest_current",
        "Strongest current or wind that two opposite runs may show",
        "speed",
        "kn",
        "4 kn",
        (0.5, 15),
        "a current that would be felt and seen; speeds that need a stronger one are misread",
    ),
    _amount(
        "planing_recovery",
        "Planing begins when economy has regained",
        "share",
        "%",
        "50 %",
        (1, 100),
        "halfway back from the hump the boat is over its bow wave",
    ),
    _amount(
        "reserve",
        "Fuel kept in reserve",
        "share",
        "%",
        "20 %",
        (0, 80),
        "a fifth of the fuel is kept back; many keep a third",
        stricter="higher",
    ),
    _amount(
        "idle_at_most",
        "Idle is at or below",
        "engine speed",
        "rev/min",
        "1000 rev/min",
        (300, 2000),
        "outboards idle in gear below this engine speed",
    ),
    _amount(
        "full_throttle_from",
        "Full throttle begins at, of rated speed or of the full-throttle runs",
        "share",
        "%",
        "95 %",
        (70, 100),
        "within a twentieth of the engine speed it reaches the throttle is as good as open",
    ),
    _amount(
        "lowest_exponent",
        "Fuel follows engine speed to the power of at least",
        "number",
        "",
        "1",
        (0.5, 3),
        "with the throttle less open an engine takes less fuel for each turn, so flow falls faster than engine speed; "
        "the hump of a planing boat brings the power down to about 1.3",
        at_most=("highest_exponent",),
    ),
    _amount(
        "highest_exponent",
        "Fuel follows engine speed to the power of at most",
        "number",
        "",
        "3.5",
        (1, 6),
        "the propeller law asks for the power of 3; a fuel curve steeper than this has a wrong reading",
    ),
    _amount(
        "meter_off_by",
        "Correct the flow meter when off by more than",
        "share",
        "%",
        "3 %",
        (0.1, 25),
        "a meter this close is as good as the refill that checks it",
        stricter="lower",
    ),
    _amount(
        "smallest_refill",
        "Smallest refill that can check a meter",
        "volume",
        "gal",
        "10 gal",
        (0.5, 200),
        "a refill this large makes the error of filling up small",
    ),
    _amount(
        "fill_repeatability",
        "Filling to the same mark repeats within ±",
        "volume",
        "gal",
        "0.5 gal",
        (0, 10),
        "filling to the same mark with the boat level",
        note="holds 95 %, for each filling by itself",
    ),
    _amount(
        "pump_accuracy",
        "The fuel dock's pump is right within ±",
        "share",
        "%",
        "0.5 %",
        (0, 5),
        "pumps that sell fuel are checked to about this",
        note="a bound",
    ),
    _amount("gasoline_density", "Density of gasoline", "density", "lb/gal", "6.1 lb/gal", (5.5, 6.7), FUEL_TABLE),
    _amount("diesel_density", "Density of diesel", "density", "lb/gal", "7.2 lb/gal", (6.5, 7.6), FUEL_TABLE),
    _amount(
        "density_tolerance",
        "Density not measured is right within ±",
        "share",
        "%",
        "4 %",
        (0, 15),
        "seasons and blends differ by as much",
        note=BOUND,
    ),
    _amount(
        "power_tolerance",
        "Engines make their rated power within ±",
        "share",
        "%",
        "10 %",
        (0, 30),
        "engines differ from their rated power by as much",
        note="a bound",
    ),
    _amount("best_gasoline", "Best believable efficiency, gasoline", "share", "%", "40 %", (20, 60), BEST_EFFICIENCY),
    _amount("best_diesel", "Best believable efficiency, diesel", "share", "%", "45 %", (20, 60), BEST_EFFICIENCY),
    _amount(
        "poorest",
        "Poorest believable efficiency at full throttle",
        "share",
        "%",
        "15 %",
        (1, 30),
        "an engine that burns more for its power than this has a wrong reading, or does not run right",
        at_most=("best_gasoline", "best_diesel"),
    ),
)

_BY_KEY = {setting.key: setting for setting in SETTINGS}


def efficiency_basis(fuel: str, percent: float) -> Basis:
    """Where the best believable efficiency of an engine comes from; gasoline or diesel [%]."""
    text = f"No {fuel} engine of this size turns more than {in_full(percent)} % of the fuel's heat into power"
    return basis_used(text, (_BY_KEY[f"fuel_curve.best_{fuel}"], percent))
