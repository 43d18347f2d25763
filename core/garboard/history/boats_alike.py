"""What boats of each kind kept, in short: the shop writes it into its own record, and its tablets have it offline.

It says how many boats it rests on and how far they spread, and nothing of any one of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import attrs

from garboard.disk.entries import ALIKE
from garboard.history.registers import RegisterKey
from garboard.records import JsonValue, Vessel

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.history.authoring import Author
    from garboard.history.replay import HullState

REGISTER = RegisterKey(ALIKE, "", ("propellers",))
NEAR = 0.18
"""By so much power and length may differ from a kind's middle, as logarithms [-]; assumed."""


@attrs.frozen
class KindOfBoat:
    """Boats of one hull form and as many engines, near each other in power and length, and what they kept.

    power, length    : in their middle [kW], of all engines, and [m]
    pitch, low, high : in the middle, and from where to where 8 of 10 lie [in]
    size             : the commonest, diameter x pitch [in]
    """

    hull_form: str
    engines: int
    power: float
    length: float
    boats: int
    pitch: float
    low: float
    high: float
    size: str


def kinds_entry(author: Author, shop: HullState, kinds: Iterable[KindOfBoat]) -> Entry:
    """What boats of each kind kept, in the place of what was told before."""
    return author.write(shop, ALIKE, REGISTER.subject, lines_of(kinds))


def lines_of(kinds: Iterable[KindOfBoat]) -> list[JsonValue]:
    """As an entry holds them: numbers as text."""
    return [[str(value) if isinstance(value, float) else value for value in attrs.astuple(one)] for one in kinds]


def kinds_in(shop: HullState) -> tuple[KindOfBoat, ...]:
    """The kinds the shop told last; what cannot be read is left out."""
    newest = max(shop.current(REGISTER), key=lambda entry: (entry.clock, entry.id), default=None)
    lines = newest.value if newest is not None and isinstance(newest.value, list) else []
    return tuple(one for one in map(_kind, lines) if one is not None)


def _kind(line: JsonValue) -> KindOfBoat | None:
    if not isinstance(line, list) or len(line) != len(attrs.fields(KindOfBoat)):
        return None
    form, engines, power, length, boats, pitch, low, high, size = line
    try:
        kilowatts, metres, middle, least, most = (float(str(one)) for one in (power, length, pitch, low, high))
        made = KindOfBoat(
            str(form), int(str(engines)), kilowatts, metres, int(str(boats)), middle, least, most, str(size)
        )
        numbers = (made.engines, made.power, made.length, made.boats, made.pitch, made.low, made.high)
        return made if all(math.isfinite(one) and one > 0 for one in numbers) else None
    except (ValueError, OverflowError):  # no number, or one of more digits than a number has
        return None


def kind_of(vessel: Vessel, kinds: Sequence[KindOfBoat]) -> KindOfBoat | None:
    """The kind a vessel is nearest to; None where too little of it is known, or none is near."""
    powers = [engine.rated_power.to("kW") for engine in vessel.engines if engine.rated_power]
    length = vessel.length.to("m") if vessel.length else 0.0
    power = math.fsum(powers)
    if not (power > 0 and length > 0 and len(powers) == len(vessel.engines)):
        return None

    def away(one: KindOfBoat) -> float:
        return max(abs(math.log(power / one.power)), abs(math.log(length / one.length)))

    like = [one for one in kinds if (one.hull_form, one.engines) == (vessel.hull_form, len(powers))]
    nearest = min(like, key=away, default=None)
    return nearest if nearest is not None and away(nearest) <= NEAR else None
