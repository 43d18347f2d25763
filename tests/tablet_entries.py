"""Entries as tablets write them: each names the plugins at work, and half of them hold text beyond ASCII."""

from __future__ import annotations

from collections.abc import Mapping

from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, make_entry
from garboard.hosting.host import BUILT_IN

PLUGINS = dict.fromkeys(BUILT_IN, "1")
"""As delivered, in the order a tablet loads them."""

_TYPED = (
    ("Zoë", "prop_check.full_throttle", "speed_over_ground", "kn"),
    ("Ines", "prop_check.full_throttle", "engine_speed", "rpm"),
    ("Ines", "heading_calibration.swing", "compass_heading", "°"),
    ("Ines", "fuel_curve.steps", "fuel_flow", "L/h"),
)


def tablet_entry(number: int, hull: str, tablet: str = "tablet-07", plugins: Mapping[str, str] | None = None) -> Entry:
    """One invented measurement."""
    by, step, field, unit = _TYPED[number % len(_TYPED)]
    return make_entry(
        "measure",
        hull,
        dev=tablet,
        by=by,
        clock=Stamp(1_778_752_800_000 + number, 0),
        at="2026-05-14T12:00:00+02:00",
        job="j1",
        subject=[step, field, str(number), ""],
        value=f"{number}.5 {unit}",
        plugins=PLUGINS if plugins is None else plugins,
    )
