"""Findings on pieces of equipment, each judged on its own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeVar

from garboard.findings import Basis, Finding, NotEnoughData, Verdict

Piece = TypeVar("Piece")


def each_piece(
    pieces: Sequence[Piece],
    about: Callable[[Piece], str],
    judge: Callable[[Piece], Iterable[Finding]],
    basis: tuple[Basis, ...],
) -> Iterator[Finding]:
    """Judge every piece; one that lacks data gets its own finding and leaves the others standing."""
    for piece in pieces:
        try:
            yield from tuple(judge(piece))
        except NotEnoughData as missing:
            yield _lacking(about(piece), missing.reasons, basis)


def _lacking(about: str, reasons: tuple[str, ...], basis: tuple[Basis, ...]) -> Finding:
    return Finding(
        verdict=Verdict.NOT_ENOUGH_DATA, about=about, sentence=f"Not enough data: {'; '.join(reasons)}.", basis=basis
    )
