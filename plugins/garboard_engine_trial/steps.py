"""What a technician is asked about the engines, and what to be careful of."""

from __future__ import annotations

from garboard.cautions import BATTERY_OFF, CUT_OFF_LINK, DEFER, FUEL_FIRE, FUEL_VAPOUR, PROPELLERS
from garboard.steps import Caution, Field, Kind, Phase, Step
from garboard_engine_trial.bases import practice

MAKERS_WINDOW = "engine_trial.makers_window"
AS_RIGGED = "engine_trial.as_rigged"
FIRST_START = "engine_trial.first_start"

WATER_FIRST = Caution(
    "Cooling water before the start: afloat, or with the maker's flushing adapter and the tap open. Stop at once when "
    "none comes out.",
    practice("no outboard runs dry", "the engine maker's manual decides how it may run out of the water"),
)
LIFTED = Caution(
    "Nobody under an engine that hangs or is tilted: lock it, and keep the hoist on until the bolts are tight.",
    practice("people clear of hoisted and tilted engines", "the makers of engine and hoist come first"),
)


def _yes(name: str, title: str, *, required: bool = True, each: str = "", help: str = "") -> Field:
    return Field(name=name, title=title, kind=Kind.YES_NO, required=required, each=each, help=help)


def _text(name: str, title: str, *, required: bool = False, help: str = "", offers: tuple[str, ...] = ()) -> Field:
    return Field(name=name, title=title, kind=Kind.TEXT, required=required, help=help, offers=offers)


def _amount(
    name: str,
    title: str,
    quantity: str,
    unit: str,
    plausible: tuple[float, float],
    hard: tuple[float, float],
    *,
    required: bool = False,
    each: str = "",
    heard: str = "",
    help: str = "",
) -> Field:
    """An amount; its plausible range is common practice, no source."""
    return Field(
        name=name,
        title=title,
        kind=Kind.AMOUNT,
        quantity=quantity,
        unit=unit,
        plausible=plausible,
        hard=hard,
        required=required,
        each=each,
        heard=heard,
        help=help,
    )


def _table(name: str, title: str, *columns: Field, each: str = "", required: bool = True, help: str = "") -> Field:
    return Field(name=name, title=title, kind=Kind.TABLE, each=each, columns=columns, required=required, help=help)


_HEIGHT = ((-2.0, 8.0), (-24.0, 48.0))
_IDLE = ((450.0, 1000.0), (100.0, 3000.0))
_HOT = ((40.0, 110.0), (0.0, 300.0))
_WATER = ((1.0, 40.0), (0.0, 200.0))
_VOLTS = ((11.0, 16.0), (1.0, 100.0))

STEPS = (
    Step(
        key=MAKERS_WINDOW,
        title="Maker's limits of each engine",
        phase=Phase.ALONGSIDE,
        order=80,
        cautions=(DEFER,),
        at_hand=("engine maker's rigging and owner's manuals",),
        fields=(
            _table(
                "window",
                "Limits by the maker's manual",
                _amount("idle_low", "Idle speed in neutral, lowest", "engine speed", "rev/min", *_IDLE),
                _amount("idle_high", "Idle speed in neutral, highest", "engine speed", "rev/min", *_IDLE),
                _amount("height_low", "Mounting height over the keel, lowest", "length", "in", *_HEIGHT),
                _amount("height_high", "Mounting height over the keel, highest", "length", "in", *_HEIGHT),
                _amount("temperature_high", "Engine temperature, highest", "temperature", "degC", *_HOT),
                _amount("water_low", "Water pressure at full throttle, lowest", "pressure", "psi", *_WATER),
                _amount("voltage_low", "Voltage while running, lowest", "voltage", "V", *_VOLTS),
                _amount("voltage_high", "Voltage while running, highest", "voltage", "V", *_VOLTS),
                each="engines",
                help="Leave out what the manual does not give: what is read then is kept and not judged.",
            ),
        ),
    ),
    Step(
        key=AS_RIGGED,
        title="Engines as rigged, before launch",
        phase=Phase.ALONGSIDE,
        order=85,
        cautions=(LIFTED, BATTERY_OFF, PROPELLERS, DEFER),
        at_hand=("tape measure", "straight edge", "torque wrench"),
        fields=(
            _table(
                "rigged",
                "Engines",
                _amount(
                    "height",
                    "Antiventilation plate over the keel",
                    "length",
                    "in",
                    *_HEIGHT,
                    required=True,
                    help="Straight edge along the keel; below the keel counts as less than zero.",
                ),
                _yes("bolted", "Through-bolted and tightened as the maker says"),
                _text("torque", "Torque set on the wrench", help="With its unit."),
                _yes("oils", "Engine oil and gear oil to the mark"),
                _yes("serial_read", "Serial number on the plate is the one entered"),
                _text("software", "Software of the engine"),
                _text("key_number", "Key number"),
                each="engines",
            ),
            _amount("spacing", "Between the outer engines, centre to centre", "length", "in", (18, 120), (1, 400)),
            _amount(
                "toe_ahead",
                "Between the outer gearcases, leading edges",
                "length",
                "in",
                (18, 120),
                (1, 400),
                help="Two or more engines, steered straight ahead. Same height as the trailing edges.",
            ),
            _amount("toe_aft", "Between the outer gearcases, trailing edges", "length", "in", (18, 120), (1, 400)),
        ),
    ),
    Step(
        key=FIRST_START,
        title="First start: controls, protection, cut-off",
        phase=Phase.ALONGSIDE,
        order=125,  # after the fuel system and the steering
        cautions=(WATER_FIRST, PROPELLERS, CUT_OFF_LINK, FUEL_VAPOUR, FUEL_FIRE),
        at_hand=("cooling water", "cut-off link", "a second person at the engine"),
        fields=(
            _table(
                "started",
                "Engines",
                _yes("throttle_travel", "Throttle lever reaches both stops freely, engine off"),
                _yes("starts_in_neutral_only", "Starts in neutral, and in no gear"),
                _yes("cut_off_stops", "Stops when the cut-off link is pulled, and does not start without it"),
                _yes("alarms_sound", "Alarm and warning lamps show at key-on"),
                _yes("tell_tale", "Tell-tale runs within a minute of the start"),
                _yes("shifts_right", "Ahead and astern as the lever says"),
                _amount(
                    "idle",
                    "Idle speed in neutral, warm",
                    "engine speed",
                    "rev/min",
                    *_IDLE,
                    required=True,
                    heard="engine_speed",
                ),
                each="engines",
            ),
            _yes(
                "levers_level",
                "Levers side by side give one engine speed",
                required=False,
                help="Two or more engines.",
            ),
        ),
    ),
)
