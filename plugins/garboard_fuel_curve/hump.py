"""Where the planing hump lies, and the slowest planing speed."""

from __future__ import annotations

import attrs

from garboard.findings import Basis, BasisKind, Finding, Number, Verdict
from garboard.job_view import JobView
from garboard_fuel_curve.believed import begins_in_a_gap, believable_curve, hump_found
from garboard_fuel_curve.curve import Curve, Hump
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION
from garboard_fuel_curve.wording import number, shown, tens

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
    planing, numbers = _planing(curve, hump)
    begins = () if begins_in_a_gap(view, curve, hump) else _begins(curve, hump)
    before = f"From about {tens(hump.start)} rev/min up to there" if begins else "Below that"
    deepest = min(curve.steps_around(hump.bottom.engine_speed), key=lambda at: curve.economy_at(at).value)
    worst = curve.economy_at(deepest)
    recovered = view.setting_value("fuel_curve.planing_recovery", "%")
    return [
        Finding(
            code="fuel_curve.planing_hump.found",
            verdict=Verdict.PASS,
            about="planing hump",
            sentence=f"{planing} {before} the boat climbs its bow wave, and economy drops to {shown(worst, 2)} nm/gal "
            f"at {tens(deepest)} rev/min. Run through it, do not stay in it.{found.corrected_by}",
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
                *numbers,
                *begins,
                Number("hump deepest", deepest, "rev/min", decimals=0),
                number("economy in the hump", worst, 2),
            ),
        )
    ]


def _planing(curve: Curve, hump: Hump) -> tuple[str, tuple[Number, ...]]:
    """Where planing begins: a place where steps stand close, else the steps around it."""
    if curve.has_fine_steps(hump.planing):
        speed = curve.slowest_planing
        numbers = (
            Number.of("slowest planing engine speed", curve.of_hump(lambda one: one.planing), 0),
            number("slowest planing speed", speed),
        )
        return f"Slowest planing {shown(speed)} kn at {tens(hump.planing)} rev/min.", numbers
    low, high = curve.steps_around(hump.planing)
    slow, fast = curve.speed_at(low), curve.speed_at(high)
    between = f"{tens(low)} and {tens(high)} rev/min, {slow.value:.1f} and {fast.value:.1f} kn"
    says = f"Planing begins between the steps at {between}."
    return says, (
        Number("planing begins, from", low, "rev/min", decimals=0),
        Number("planing begins, to", high, "rev/min", decimals=0),
        number("speed at the step that planes", fast),
    )


def _begins(curve: Curve, hump: Hump) -> tuple[Number, ...]:
    if curve.has_fine_steps(hump.start):
        return (Number.of("hump begins", curve.of_hump(lambda one: one.start), 0),)
    low, high = curve.steps_around(hump.start)
    ends = ("hump begins, from", low), ("hump begins, to", high)
    return tuple(Number(name, at, "rev/min", decimals=0) for name, at in ends)
