"""Findings on pieces of equipment, each judged on its own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeVar

import attrs

from garboard.findings import Basis, Finding, NotEnoughData, not_enough_data

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
        except NotEnoughData as lacking:
            name = getattr(piece, "name", "")  # the engines together have none
            missing = [attrs.evolve(one, of=one.of or name) for one in lacking.missing]
            yield not_enough_data(about(piece), missing, basis)
