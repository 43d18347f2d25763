"""Steps of the propeller check: capacity and propeller alongside, conditions and full-throttle runs under way."""

from __future__ import annotations

from garboard import cautions
from garboard.fields import LOAD, WATER, amount_field
from garboard.findings import Basis, BasisKind
from garboard.fittings import columns_of_a_run, propeller_named_in_a_row, propeller_of_recording
from garboard.steps import Caution, Field, Kind, Phase, Step
from garboard_prop_check.crouch import CONSTANTS

CAPACITY = "prop_check.capacity"
PROPELLER = "prop_check.propeller"
CONDITIONS = "prop_check.conditions"
FULL_THROTTLE = "prop_check.full_throttle"

THROTTLE_STEPS = "fuel_curve.steps"
"""Of the fuel curve: what its steps say is held against the runs."""

TRIM_AT_BEST = "at best"
RUNS_AT, AT_THE_SURFACE = "runs_at", "at the surface"
TOO_ROUGH = ("chop", "rough")
SIDES = ("with", "against")

_CAUTIONS_UNDER_WAY = (
    cautions.LOOK_OUT,
    cautions.CUT_OFF_LINK,
    cautions.FULL_THROTTLE,
    Caution(
        "Obey local speed limits and no-wake zones; run where full speed is allowed.",
        Basis(BasisKind.REGULATION, "local law"),
    ),
    cautions.CAPACITY_LABEL,
)

STEPS = (
    Step(
        key=CAPACITY,
        title="Read the capacity label",
        phase=Phase.ALONGSIDE,
        order=360,
        at_hand=("capacity label", "tape measure"),
        fields=(
            Field(
                name="label_read",
                title="Power on the capacity label is the one entered for this vessel",
                kind=Kind.YES_NO,
                help="A boat of 20 ft or more may carry no label: answer no and say so in a note.",
            ),
        ),
    ),
    Step(
        key=PROPELLER,
        title="Check the propeller as fitted",
        phase=Phase.ALONGSIDE,
        order=370,
        at_hand=("torque wrench", "engine maker's fitting instructions"),
        cautions=(cautions.PROPELLERS,),
        fields=(
            Field(
                name="stamp_read",
                title="Pitch and diameter entered are the ones stamped on the propeller",
                kind=Kind.YES_NO,
                each="engines",
            ),
            Field(
                name="nut_secured",
                title="Nut tightened and locked as the maker says",
                kind=Kind.YES_NO,
                each="engines",
            ),
            Field(
                name="blades_sound",
                title="Blades free of dents, bends and line",
                kind=Kind.YES_NO,
                each="engines",
            ),
            Field(
                name=RUNS_AT,
                title="Where the propeller runs at full speed",
                kind=Kind.CHOICE,
                choices=("under water", AT_THE_SURFACE),
                each="engines",
                required=False,
                help="At the surface where its upper blades are in the air: then nothing is foreseen of another one.",
            ),
            Field(
                name="changed",
                title="After each change of propeller",
                kind=Kind.TABLE,
                required=False,
                columns=(
                    propeller_named_in_a_row(),
                    Field(
                        name="nut_secured_again",
                        title="Nut tightened and locked as the maker says",
                        kind=Kind.YES_NO,
                        each="engines",
                        required=False,
                        aside=True,
                    ),
                    Field(
                        name="blades_sound_again",
                        title="Blades free of dents, bends and line",
                        kind=Kind.YES_NO,
                        each="engines",
                        required=False,
                        aside=True,
                    ),
                ),
            ),
        ),
    ),
    Step(
        key=CONDITIONS,
        title="Note the conditions of the run",
        phase=Phase.UNDER_WAY,
        order=400,  # before any run: load, people and fuel are those of all of them
        at_hand=("thermometer", "barometer or the airfield's station pressure"),
        fields=(
            Field(
                name="trim",
                title="Trim",
                kind=Kind.CHOICE,
                choices=(TRIM_AT_BEST, "not at best", "unknown"),
                help="At best: trimmed out until speed stops rising, without the propeller letting go.",
            ),
            Field(name="load", title="Load as run", kind=Kind.CHOICE, choices=LOAD),
            amount_field(
                "fuel_level",
                "Fuel on board",
                "share",
                "%",
                (2, 100),  # less is a share typed for a percentage, or a tank nobody runs a trial on
                (0, 100),
                heard="tank_level",
            ),
            Field(name="persons", title="Persons on board", kind=Kind.COUNT, plausible=(1, 12), hard=(1, 100)),
            Field(name="water", title="Water", kind=Kind.CHOICE, choices=WATER),
            amount_field(
                "air_temperature", "Air temperature", "temperature", "degC", (0, 40), (-40, 60), heard="air_temperature"
            ),
            amount_field(
                "air_pressure",
                "Air pressure at the water",
                "pressure",
                "hPa",
                (850, 1050),
                (500, 1100),
                heard="air_pressure",
                help="As it is here, not brought to sea level.",
            ),
            amount_field("humidity", "Relative humidity", "share", "%", (5, 100), (0, 100), heard="humidity"),
            Field(
                name="hull_kind",
                title="Kind of hull, for the speed estimate",
                kind=Kind.CHOICE,
                choices=tuple(CONSTANTS),
                required=False,
            ),
        ),
    ),
    Step(
        key=FULL_THROTTLE,
        title="Full-throttle runs both ways",
        phase=Phase.UNDER_WAY,
        order=510,
        cautions=_CAUTIONS_UNDER_WAY,
        at_hand=("engine cut-off link", "speed over ground on a display", "a second person to read"),
        guide="prop_check.full_throttle",
        fields=(
            Field(
                name="runs",
                title="Runs, in the order they were made",
                kind=Kind.TABLE,
                help="At least one run each way; with and against by turns, evenly spaced in time.",
                columns=(
                    Field(
                        name="direction",
                        title="Wind and current",
                        kind=Kind.CHOICE,
                        choices=SIDES,
                        required=False,
                    ),
                    amount_field(
                        "course",
                        "Course",
                        "angle",
                        "deg",
                        None,
                        (0, 360),
                        heard="course_over_ground",
                        required=False,
                        help="Or say with or against; one of the two is enough.",
                    ),
                    amount_field(
                        "speed",
                        "Speed over ground",
                        "speed",
                        "kn",
                        (10, 80),
                        (0, 200),
                        heard="speed_over_ground",
                        required=False,
                        help="Leave it empty when the run has a recording.",
                    ),
                    amount_field(
                        "engine_speed",
                        "Engine speed",
                        "engine speed",
                        "rev/min",
                        (3000, 7500),
                        (0, 15000),
                        heard="engine_speed",
                        each="engines",
                        required=False,
                    ),
                    Field(name="recording", title="Recording", kind=Kind.RECORDING, required=False),
                    amount_field(
                        "time_to_plane",
                        "Time to plane",
                        "time",
                        "s",
                        (1.5, 30),
                        (0, 600),
                        required=False,
                        aside=True,
                        help="From idle, full throttle at once, until the bow comes down.",
                    ),
                    *columns_of_a_run(CONDITIONS),
                ),
            ),
            Field(
                name="all_runs",
                title="One recording of all runs",
                kind=Kind.RECORDING,
                required=False,
                help="Used when no run is entered above: every full-throttle run in it counts.",
            ),
            propeller_of_recording("all_runs"),
        ),
    ),
)
