"""Where the rules of the engine trial come from."""

from __future__ import annotations

from garboard.findings import Basis, BasisKind


def practice(text: str, note: str = "") -> Basis:
    """A fact of the trade without a source: alone it advises."""
    return Basis(BasisKind.COMMON_PRACTICE, text, note)


MAKER = Basis(BasisKind.MANUAL, "the engine maker's window, as entered for this engine")
TRIED = practice("each point of an engine is tried before the boat is signed over", "the engine maker's manual decides")
START_IN_GEAR = Basis(
    BasisKind.REGULATION,
    "33 CFR 183.710",
    "United States, outboards of 115 lb static thrust or more; a dealer who installs one is named in it",
)
CUT_OFF = Basis(
    BasisKind.REGULATION,
    "46 U.S.C. 4312",
    "United States, boats under 26 ft with 115 lb static thrust or more; trying it is common practice",
)
