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

NEAR_RATIO = 0.08
"""By so much the gear ratio may, as a logarithm [-]; assumed."""
WITHOUT_RATIO = 9
"""Numbers and words of a line as it was written first."""


@attrs.frozen
class KindOfBoat:
    """Boats of one hull form and as many engines, near each other in power and length, and what they kept.

    power, length    : in their middle [kW], of all engines, and [m]
    pitch, low, high : in the middle, and from where to where 8 of 10 lie [in]
    size             : the commonest, diameter x pitch [in]
    gear_ratio       : in their middle, 0 where nobody entered it
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
    gear_ratio: float = 0.0


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
    if not isinstance(line, list) or len(line) not in (WITHOUT_RATIO, WITHOUT_RATIO + 1):
        return None
    form, engines, power, length, boats, pitch, low, high, size = line[:WITHOUT_RATIO]
    try:
        kilowatts, metres, middle, least, most = (float(str(one)) for one in (power, length, pitch, low, high))
        ratio = float(str(line[WITHOUT_RATIO])) if len(line) > WITHOUT_RATIO else 0.0
        made = KindOfBoat(
            str(form), int(str(engines)), kilowatts, metres, int(str(boats)), middle, least, most, str(size), ratio
        )
        numbers = (made.engines, made.power, made.length, made.boats, made.pitch, made.low, made.high)
        is_sound = math.isfinite(ratio) and ratio >= 0 and all(math.isfinite(one) and one > 0 for one in numbers)
        return made if is_sound else None
    except (ValueError, OverflowError):  # no number, or one of more digits than a number has
        return None


def kind_of(vessel: Vessel, kinds: Sequence[KindOfBoat]) -> KindOfBoat | None:
    """The kind a vessel is nearest to; None where too little of it is known, or none is near.

    A gear ratio that differs makes another kind: it takes another pitch. Of kinds as near the commonest counts.
    """
    powers = [engine.rated_power.to("kW") for engine in vessel.engines if engine.rated_power]
    length = vessel.length.to("m") if vessel.length else 0.0
    power = math.fsum(powers)
    if not (power > 0 and length > 0 and len(powers) == len(vessel.engines)):
        return None

    def away(one: KindOfBoat) -> float:
        return max(abs(math.log(power / one.power)), abs(math.log(length / one.length)))

    like = [one for one in kinds if (one.hull_form, one.engines) == (vessel.hull_form, len(powers))]
    ratio = vessel.engines[0].gear_ratio.to("") if vessel.engines[0].gear_ratio else 0.0
    if ratio > 0:
        like = [one for one in like if not one.gear_ratio or abs(math.log(ratio / one.gear_ratio)) <= NEAR_RATIO]
    nearest = min(like, key=lambda one: (round(away(one), 2), -one.boats), default=None)
    return nearest if nearest is not None and away(nearest) <= NEAR else None
