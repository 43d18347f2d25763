"""What a technician is asked under way: the controls, then every gauge at each throttle step."""

from __future__ import annotations

from garboard.cautions import CUT_OFF_LINK, FULL_THROTTLE, LOOK_OUT
from garboard.steps import Caution, Phase, Step
from garboard_engine_trial.alongside_steps import usual_voltage
from garboard_engine_trial.asked import amount, table, text, yes
from garboard_engine_trial.bases import practice

CONTROLS = "engine_trial.controls_under_way"
UNDER_LOAD = "engine_trial.under_load"

HARD_TURN = Caution(
    "Hard turns: begin slowly, everyone seated. Ease off when the propeller lets go.",
    practice("hard turns are begun slowly", "the boat maker's manual comes first"),
    to_owner="Begin a hard turn slowly, everyone seated and holding on.",
)

_TURNS = ((500.0, 7000.0), (0.0, 15000.0))
_FULL = ((3000.0, 7500.0), (0.0, 15000.0))
_PLANING, _NO_PLANING = ((6.0, 35.0), (0.0, 100.0)), (3.0, 50.0)

STEPS = (
    Step(
        key=CONTROLS,
        title="Controls under way",
        phase=Phase.UNDER_WAY,
        order=402,
        cautions=(LOOK_OUT, CUT_OFF_LINK),
        fields=(
            yes("warm_up", "Throttle-only warm-up: engine speeds up out of gear, then shifts again"),
            yes(
                "transfer_running",
                "Station transfer with engines running: gear and engine speed stay",
                required=False,
                help="Where there is a second station.",
            ),
            yes(
                "re_engage",
                "Pilot engages again on the heading steered, without a jump",
                required=False,
                help="Where there is a pilot.",
            ),
        ),
    ),
    Step(
        key=UNDER_LOAD,
        title="Under load: gauges at each throttle step",
        phase=Phase.UNDER_WAY,
        order=535,  # after the throttle steps of the fuel curve
        cautions=(FULL_THROTTLE, CUT_OFF_LINK, LOOK_OUT, HARD_TURN),
        at_hand=("a second person to read and type", "weight or people for the loaded run"),
        fields=(
            table(
                "loads",
                "Throttle steps",
                amount(
                    "step_speed",
                    "Throttle step",
                    "engine speed",
                    "rev/min",
                    *_TURNS,
                    required=True,
                    heard="engine_speed",
                ),
                amount(
                    "temperature",
                    "Engine temperature",
                    "temperature",
                    "degC",
                    (30, 110),
                    (-40, 300),
                    each="engines",
                    heard="engine_temperature",
                ),
                amount(
                    "water_pressure",
                    "Water pressure",
                    "pressure",
                    "psi",
                    (0, 45),
                    (0, 300),
                    each="engines",
                    heard="coolant_pressure",
                ),
                amount(
                    "voltage",
                    "Voltage",
                    "voltage",
                    "V",
                    (11, 16),
                    (0, 100),
                    each="engines",
                    plausible_for=usual_voltage,
                    heard="alternator_voltage",
                ),
                amount(
                    "charge",
                    "Charge current, into the battery",
                    "current",
                    "A",
                    (-5, 150),
                    (-2000, 2000),
                    doubted_outside=(-300.0, 300.0),
                    each="batteries",
                    heard="battery_current",
                ),
                help="From idle to full throttle. Leave out what has no gauge.",
            ),
            yes("no_alarm", "No alarm in the whole run"),
            text("alarms", "Alarms that came"),
            yes("holds_in_turn", "Holds its grip in a hard turn, trimmed in", each="engines"),
            amount(
                "planing_light",
                "Lowest speed that planes, light",
                "speed",
                "kn",
                *_PLANING,
                doubted_outside=_NO_PLANING,
                heard="speed_over_ground",
            ),
            amount(
                "planing_loaded",
                "Lowest speed that planes, loaded",
                "speed",
                "kn",
                *_PLANING,
                doubted_outside=_NO_PLANING,
                heard="speed_over_ground",
            ),
            amount(
                "full_light",
                "Engine speed at full throttle, light",
                "engine speed",
                "rev/min",
                *_FULL,
                each="engines",
                heard="engine_speed",
            ),
            amount(
                "full_loaded",
                "Engine speed at full throttle, loaded",
                "engine speed",
                "rev/min",
                *_FULL,
                each="engines",
                heard="engine_speed",
            ),
        ),
    ),
)
