"""What every boat has of its own, asked one after the other across its equipment."""

from __future__ import annotations

from collections.abc import Iterator

import attrs

from garboard.records import EQUIPMENT, Vessel
from garboard_tablet.models.asks import Ask, asks_of_piece, asks_of_vessel, pieces

OWN = "own facts"
"""Stands for the step of a route while what each boat has of its own is asked for."""


def asks_of_own(vessel: Vessel) -> tuple[Ask, ...]:
    """What every boat has of its own, the boat itself first, then piece by piece."""
    return tuple(_asks_of_own(vessel))


def _asks_of_own(vessel: Vessel) -> Iterator[Ask]:
    from garboard.history.like import ASKED_OF_EACH

    yield from (ask for ask in asks_of_vessel() if ask.key.subject[-1] in ASKED_OF_EACH[""])
    for kind in EQUIPMENT:
        for name in pieces(vessel, kind):
            yield from _of_piece((kind, name))
            if kind == "networks":
                for device in vessel.pieces[kind][name].devices:
                    yield from _of_piece((kind, name, "devices", device.name))


def _of_piece(path: tuple[str, ...]) -> Iterator[Ask]:
    from garboard.history.like import ASKED_OF_EACH

    own = ASKED_OF_EACH.get(path[0], frozenset())
    return (attrs.evolve(ask, context=path[-1]) for ask in asks_of_piece(path, {}) if ask.key.subject[-1] in own)
