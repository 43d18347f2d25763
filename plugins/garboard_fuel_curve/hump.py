"""Where the planing hump lies, and the slowest planing speed."""

from __future__ import annotations

import attrs

from garboard.findings import Basis, BasisKind, Finding, Number, Verdict
from garboard.job_view import JobView
from garboard_fuel_curve.believed import begins_in_a_gap, believable_curve, hump_found
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION
from garboard_fuel_curve.wording import tens

METHOD = Basis(
    BasisKind.METHOD,
    "Fritsch and Butland, shape-preserving cubics (1984), through speed and through fuel flow; economy is their ratio",
    "below the deepest place of the hump economy is taken straight from step to step, because the ratio of two smooth "
    "lines bulges there where nobody measured",
)


def planing_hump(view: JobView) -> list[Finding]:
    """Where the hump lies and the slowest planing speed."""
    found = believable_curve(view)
    curve = found.curve
    hump = hump_found(view, curve)
    if hump is None:
        return [
            Finding(
                code="fuel_curve.planing_hump.none",
                verdict=Verdict.PASS,
                about="planing hump",
                sentence=f"No hump between {curve.lowest:.0f} and {curve.highest:.0f} rev/min that stands clear of the "
                "readings' uncertainty, so no slowest planing speed is given.",
                basis=(PRACTICE, METHOD, PROPAGATION),
            )
        ]
    speed, worst = curve.slowest_planing, curve.economy_at(hump.bottom.engine_speed)
    recovered = view.setting_value("fuel_curve.planing_recovery", "%")
    begins = [] if begins_in_a_gap(view, curve, hump) else [curve.of_hump(lambda one: one.start)]
    before = f"Between {tens(hump.start)} and {tens(hump.planing)}" if begins else f"Below {tens(hump.planing)}"
    return [
        Finding(
            code="fuel_curve.planing_hump.found",
            verdict=Verdict.PASS,
            about="planing hump",
            sentence=f"Slowest planing {speed.value:.1f} kn at {tens(hump.planing)} rev/min. {before} rev/min the boat "
            f"climbs its bow wave and economy drops to {worst.value:.2f} nm/gal; run through it, do not stay in it."
            f"{found.corrected_by}",
            basis=(
                attrs.evolve(
                    PRACTICE,
                    text=f"Planing begins where economy has regained {recovered:.0f} % of its "
                    "rise from the hump to the best cruise",
                ),
                METHOD,
                PROPAGATION,
            ),
            numbers=(
                Number.of("slowest planing engine speed", curve.of_hump(lambda one: one.planing), 0),
                Number.of("slowest planing speed", speed),
                *(Number.of("hump begins", one, 0) for one in begins),
                Number.of("hump deepest", curve.of_hump(lambda one: one.bottom.engine_speed), 0),
                Number.of("economy in the hump", worst, 2),
            ),
        )
    ]
