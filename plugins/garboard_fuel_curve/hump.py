"""Where the planing hump lies, and the slowest planing speed."""

from __future__ import annotations

import attrs

from garboard.findings import Finding, Number, Verdict
from garboard.job_view import JobView
from garboard_fuel_curve.believed import believable_curve, clear_hump
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION
from garboard_fuel_curve.wording import rounded, tens


def planing_hump(view: JobView) -> list[Finding]:
    """Where the hump lies and the slowest planing speed."""
    curve = believable_curve(view)
    hump = clear_hump(view, curve)
    if hump is None:
        return [
            Finding(
                code="fuel_curve.planing_hump.none",
                verdict=Verdict.PASS,
                about="planing hump",
                sentence=f"No hump between {curve.lowest:.0f} and {curve.highest:.0f} rev/min that stands clear of the "
                "readings' uncertainty, so no slowest planing speed is given.",
                basis=(PRACTICE, PROPAGATION),
            )
        ]
    planing = curve.of_hump(lambda one: one.planing)
    start = curve.of_hump(lambda one: one.start)
    bottom = curve.of_hump(lambda one: one.bottom.engine_speed)
    speed = curve.slowest_planing
    recovered = view.setting_value("fuel_curve.planing_recovery", "%")
    worst = curve.economy_at(hump.bottom.engine_speed)
    return [
        Finding(
            code="fuel_curve.planing_hump.found",
            verdict=Verdict.PASS,
            about="planing hump",
            sentence=f"Slowest planing {speed.value:.1f} kn at {tens(planing.value)} rev/min. "
            f"Between {tens(start.value)} and {tens(planing.value)} rev/min the boat climbs its bow wave and economy "
            f"drops to {worst.value:.2f} nm/gal; run through it, do not stay in it.",
            basis=(
                attrs.evolve(
                    PRACTICE,
                    text=f"Planing begins where economy has regained {recovered:.0f} % of its "
                    "rise from the hump to the best cruise",
                ),
                PROPAGATION,
            ),
            numbers=(
                rounded("slowest planing engine speed", planing),
                Number.of("slowest planing speed", speed),
                rounded("hump begins", start),
                rounded("hump deepest", bottom),
                Number.of("economy in the hump", worst, 2),
            ),
        )
    ]
