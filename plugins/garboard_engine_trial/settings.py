"""What a shop may decide about the engine trial."""

from __future__ import annotations

from garboard.settings import Setting, amount_setting
from garboard_engine_trial.bases import practice

PLUGIN = "engine_trial"
ENGINE_SPEED_WITHIN = f"{PLUGIN}.engine_speed_within"
LENGTH_WITHIN = f"{PLUGIN}.length_within"
TOE = f"{PLUGIN}.toe"


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
)
