"""Rows of the shop's memory by a generator: invented boats whose propellers follow from weight and power."""

from __future__ import annotations

import random
from collections.abc import Iterator

from garboard_shop.memory import Row

FORMS = ("planing", "planing", "planing", "flat bottom hard chine", "multihull")


def rows(number: int, seed: int = 15) -> Iterator[Row]:
    """So many boats of one seed: the longer the heavier and stronger, the faster the more pitch."""
    chance = random.Random(seed)
    for each in range(number):
        length = chance.uniform(4.5, 9.5)
        engines = 2 if length > 7.5 and chance.random() < 0.5 else 1
        weight = 20 * length**2.2 * chance.uniform(0.85, 1.2)
        power = chance.choice((30, 45, 60, 75, 85, 110, 150, 190, 220)) * float(engines)
        pitch = round(8 + 8 * (power / weight * 10) ** 0.5 + chance.gauss(0, 0.8))
        yield Row(
            hull=f"QQZ{each:05d}A626",
            hull_form=chance.choice(FORMS),
            length=round(length, 2),
            weight=round(weight, 1),
            power=power,
            engines=engines,
            gear_ratio=chance.choice((1.75, 1.85, 2.0, 2.33)),
            pitch=float(pitch),
            diameter=round(16 - pitch / 8, 2),
            blades=chance.choice((3, 3, 4)),
            engine_speed=chance.uniform(5200, 6000),
            is_kept=chance.random() < 0.9,
        )
