"""What a shop may decide about the engine trial."""

from __future__ import annotations

from garboard.fields import Field, Kind
from garboard.settings import Setting, amount_setting
from garboard_engine_trial.bases import practice

PLUGIN = "engine_trial"
ENGINE_SPEED_WITHIN = f"{PLUGIN}.engine_speed_within"
LENGTH_WITHIN = f"{PLUGIN}.length_within"
TOE = f"{PLUGIN}.toe"
AGREE_SPEED = f"{PLUGIN}.agree_speed"
AGREE_TEMPERATURE = f"{PLUGIN}.agree_temperature"
AGREE_VOLTAGE = f"{PLUGIN}.agree_voltage"
SENDER = f"{PLUGIN}.sender"
DEPTH = f"{PLUGIN}.depth"
RADAR = f"{PLUGIN}.radar"
STANDING_WAVE = f"{PLUGIN}.standing_wave"
WATTMETER_WITHIN = f"{PLUGIN}.wattmeter_within"
PUMP_FLOW = f"{PLUGIN}.pump_flow"
PILOT = f"{PLUGIN}.pilot"
TEMPERATURE_WITHIN = f"{PLUGIN}.temperature_within"
PRESSURE_WITHIN = f"{PLUGIN}.pressure_within"
VOLTAGE_WITHIN = f"{PLUGIN}.voltage_within"
FIRST_CHECK = f"{PLUGIN}.first_check"
FUEL_PRESSURE = f"{PLUGIN}.fuel_pressure"
PRESSURE_LOST = f"{PLUGIN}.pressure_lost"
FUEL_MINUTES = f"{PLUGIN}.fuel_minutes"
FIT_OUT_LIST = f"{PLUGIN}.fit_out_list"


def _amount(
    key: str,
    title: str,
    quantity: str,
    unit: str,
    default: str,
    hard: tuple[float, float],
    why: str,
    stricter: str = "",
) -> Setting:
    name = key.removeprefix(f"{PLUGIN}.")
    return amount_setting(PLUGIN, name, title, quantity, unit, default, hard, practice(why), stricter)


# The ranges are common practice, no source: wide enough for any outboard boat, narrow enough to refuse a slip.
SETTINGS: tuple[Setting, ...] = (
    _amount(
        ENGINE_SPEED_WITHIN,
        "Engine speed on a display is right within ±",
        "engine speed",
        "rev/min",
        "20 rev/min",
        (0, 200),
        "a digital display of an outboard's engine speed, taken as a bound",
    ),
    _amount(
        LENGTH_WITHIN,
        "Lengths by tape are right within ±",
        "length",
        "in",
        "0.1 in",
        (0, 1),
        "a tape held to an engine, taken as a bound",
    ),
    _amount(
        TOE,
        "Toe of twins, ahead against aft, within ±",
        "length",
        "in",
        "0.5 in",
        (0, 6),
        "two engines stand parallel or nearly so, unless the maker says otherwise",
        "lower",
    ),
    _amount(
        AGREE_SPEED,
        "Engine speed shown agrees with the engine's own within ±",
        "engine speed",
        "rev/min",
        "50 rev/min",
        (1, 500),
        "two displays of one engine differ by no more at a steady speed",
        "lower",
    ),
    _amount(
        AGREE_TEMPERATURE,
        "Temperature shown agrees with the engine's own within ±, °C",
        "number",
        "",
        "3",
        (0.1, 50),
        "two displays of one sensor differ by rounding",
        "lower",
    ),
    _amount(
        AGREE_VOLTAGE,
        "Voltage shown agrees with the meter within ±",
        "voltage",
        "V",
        "0.3 V",
        (0.01, 5),
        "an engine's own voltmeter is right to about this",
        "lower",
    ),
    _amount(
        SENDER,
        "Tank gauges are right within ±, of a full tank",
        "share",
        "%",
        "10 %",
        (1, 50),
        "a gauge further off needs a calibration table",
        "lower",
    ),
    _amount(
        DEPTH,
        "Depth shown is right within ±",
        "length",
        "ft",
        "0.5 ft",
        (0.05, 10),
        "a lead line in calm water tells a depth to about this",
        "lower",
    ),
    _amount(
        RADAR,
        "Radar heading line is right within ±",
        "angle",
        "deg",
        "1 deg",
        (0.1, 20),
        "a heading line further off puts targets on the wrong bow",
        "lower",
    ),
    _amount(
        STANDING_WAVE,
        "Highest standing wave ratio of the VHF antenna",
        "number",
        "",
        "2",
        (1.05, 10),
        "above it look at the connectors, the cable and the antenna",
        "lower",
    ),
    _amount(
        WATTMETER_WITHIN,
        "Wattmeters are right within ±",
        "share",
        "%",
        "5 %",
        (0, 30),
        "a directional wattmeter at its own full scale, taken as a bound",
    ),
    _amount(
        PUMP_FLOW,
        "Bilge pumps give at least, of the flow on the label",
        "share",
        "%",
        "40 %",
        (1, 100),
        "hose, bends and lift take half of a pump's open flow and more",
        "higher",
    ),
    _amount(
        PILOT,
        "Pilots hold their order within ±, on average",
        "angle",
        "deg",
        "3 deg",
        (0.5, 20),
        "a pilot whose compass and rudder are set holds its order to about this",
        "lower",
    ),
    _amount(
        TEMPERATURE_WITHIN,
        "Engine temperature is right within ±, °C",
        "number",
        "",
        "2",
        (0, 20),
        "an engine's own temperature sensor, taken as a bound",
    ),
    _amount(
        PRESSURE_WITHIN,
        "Water pressure is right within ±",
        "pressure",
        "psi",
        "1 psi",
        (0, 10),
        "a water pressure gauge of an outboard, taken as a bound",
    ),
    _amount(
        VOLTAGE_WITHIN,
        "Voltage is right within ±",
        "voltage",
        "V",
        "0.1 V",
        (0, 2),
        "an engine's voltage on a display, taken as a bound",
    ),
    _amount(
        FIRST_CHECK,
        "First check of a new engine by",
        "time",
        "h",
        "20 h",
        (1, 200),
        "a new engine is checked after about 20 hours",
        "lower",
    ),
    _amount(
        FUEL_PRESSURE,
        "Pressure of the fuel system's test, at least",
        "pressure",
        "psi",
        "3 psi",
        (0.5, 10),
        "3 psi, which the law asks of inboards, is used on outboard boats too",
        "higher",
    ),
    _amount(
        PRESSURE_LOST,
        "Pressure a fuel system may lose in its test",
        "pressure",
        "psi",
        "0.1 psi",
        (0, 2),
        "a small gauge tells no less",
        "lower",
    ),
    _amount(
        FUEL_MINUTES,
        "Shortest test of a fuel system",
        "time",
        "min",
        "5 min",
        (1, 240),
        "a small leak shows after minutes",
        "higher",
    ),
    Setting(
        key=FIT_OUT_LIST,
        field=Field(
            name="fit_out_list",
            title="What is looked at in every fit-out, with semicolons between",
            kind=Kind.TEXT,
            help="The shop's own list. Each is an item of the step, in these words.",
        ),
        default="Seats; Cleats; Hatches and doors",
        basis=practice("what moves, holds or is loaded is looked at on every boat"),
    ),
)
