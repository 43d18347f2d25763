"""Where the planing hump lies, and the slowest planing speed."""

from __future__ import annotations

import attrs

from garboard.findings import Basis, BasisKind, Finding, Number, Verdict, rounded
from garboard.job_view import JobView
from garboard_fuel_curve.believed import begins_in_a_gap, believable_curve, hump_found
from garboard_fuel_curve.steps import PRACTICE, PROPAGATION
from garboard_fuel_curve.wording import number, shown, speeds_told, tens

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
                sentence=f"No hump between {rounded(curve.lowest)} and {rounded(curve.highest)} rev/min that stands "
                "clear of the readings' uncertainty, so no slowest planing speed is given.",
                basis=(PRACTICE, METHOD, PROPAGATION),
            )
        ]
    low, high = curve.steps_around(hump.planing)
    slow, fast = curve.speed_at(low), curve.speed_at(high)
    begins = () if begins_in_a_gap(view, curve, hump) else _ends("hump begins", curve.steps_around(hump.start))
    before = f"From about {tens(hump.start)} rev/min up to there" if begins else "Below that"
    deepest = min(curve.steps_around(hump.bottom.engine_speed), key=lambda at: curve.economy_at(at).value)
    worst = curve.economy_at(deepest)
    only_if = found.only_if(worst, slow, fast)
    recovered = view.setting_value("fuel_curve.planing_recovery", "%")
    return [
        Finding(
            code="fuel_curve.planing_hump.one_way" if only_if else "fuel_curve.planing_hump.found",
            verdict=Verdict.ADVISE if only_if else Verdict.PASS,
            about="planing hump",
            sentence=f"Planing begins between the steps at {tens(low)} and {tens(high)} rev/min, "
            f"{speeds_told(view, ' and ', slow, fast)}. {before} the boat climbs its bow wave, and economy drops to "
            f"{shown(view, worst, 2)} at {tens(deepest)} rev/min. Run through it, do not stay in it."
            f"{only_if}",
            basis=(
                attrs.evolve(
                    PRACTICE,
                    text=f"Planing begins where economy has regained {rounded(recovered)} % of its rise from the hump "
                    "to the best cruise",
                ),
                METHOD,
                PROPAGATION,
            ),
            numbers=(
                *_ends("planing begins", (low, high)),
                number("speed at the step that planes", fast),
                *begins,
                Number("hump deepest", deepest, "rev/min", decimals=0),
                number("economy in the hump", worst, 2),
            ),
        )
    ]


def _ends(name: str, steps: tuple[float, float]) -> tuple[Number, ...]:
    """The steps around a place: what lies between them is not known, so no one engine speed is told."""
    ends = zip(("from", "to"), steps, strict=True)
    return tuple(Number(f"{name}, {end}", at, "rev/min", decimals=0) for end, at in ends)
