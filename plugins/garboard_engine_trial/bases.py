"""Where the rules of the engine trial come from."""

from __future__ import annotations

from garboard.findings import Basis, BasisKind


def practice(text: str, note: str = "") -> Basis:
    """A fact of the trade without a source: alone it advises."""
    return Basis(BasisKind.COMMON_PRACTICE, text, note)


MAKER = Basis(BasisKind.MANUAL, "the engine maker's window, as entered for this engine")
TRIED = practice("each point of an engine is tried before the boat is signed over", "the engine maker's manual decides")
