"""How figures of the fuel curve are written."""

from __future__ import annotations

from garboard.findings import Number, with_uncertainty
from garboard.uncertainty import MeasuredValue


def shown(measured: MeasuredValue, decimals: int = 1) -> str:
    return with_uncertainty(measured.value, measured.expanded_uncertainty, decimals)


def tens(engine_speed: float) -> str:
    """An engine speed to the nearest ten, as closely as anyone can set it."""
    return f"{round(engine_speed, -1):.0f}"


def rounded(name: str, engine_speed: MeasuredValue) -> Number:
    return Number.of(name, engine_speed, 0)
