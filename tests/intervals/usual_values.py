"""The usual values of the balance of power, derived once more from the B-series of propellers.

Run by hand:  python tests/intervals/usual_values.py [--seed 7] [--number 20000]

Draws propellers, slips and hulls, and asks of each how the power it takes goes with pitch, diameter and drag once the
boat has found its speed anew, over how it goes with engine speed, times three; and how its efficiency goes with pitch
at one power. Differentiated by hand, with n the turns and m the exponent of the hull's drag by speed:

    thrust:  ln KT(J, P/D) + 2 ln n + 4 ln D = m (ln J + ln n + ln D) + ln drag
    power:   ln KQ(J, P/D) + 3 ln n + 5 ln D
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import attrs
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard_prop_check.open_water import open_water

SEED, NUMBER = 20261130, 4000
DRAG_BY_WEIGHT = 0.8
"""Drag goes with weight to this power [-]; assumed."""


@attrs.frozen
class Usual:
    """What a draw gives: c, d and l of the balance, and E, the efficiency's exponent by pitch, at its slip [-]."""

    pitch: float
    diameter: float
    weight: float
    efficiency: float
    slip: float


def _one(chance: random.Random) -> Usual | None:
    """None where the polynomials give no thrust or torque, or more efficiency than there can be."""
    blades, area = chance.choice((3, 4)), chance.uniform(0.45, 0.75)
    ratio, slip = chance.uniform(0.8, 1.4), chance.uniform(0.05, 0.22)
    by_speed = chance.uniform(0.8, 2.0)
    advance, step = ratio * (1 - slip), 0.005

    def logarithms(more_advance: float, more_ratio: float) -> tuple[float, float]:
        thrust, torque = open_water(
            blades, area, min(1.4, ratio * math.exp(more_ratio)), advance * math.exp(more_advance)
        )
        return math.log(thrust), math.log(torque)

    try:
        (t_up, q_up), (t_down, q_down) = logarithms(step, 0), logarithms(-step, 0)
        (t_here, q_here), (t_less, q_less) = logarithms(0, 0), logarithms(0, -step)
    except ValueError:  # a logarithm of no thrust
        return None
    t_advance, q_advance = (t_up - t_down) / (2 * step), (q_up - q_down) / (2 * step)
    t_ratio, q_ratio = (t_here - t_less) / step, (q_here - q_less) / step
    stiff = by_speed - t_advance
    advance_by_pitch = t_ratio / stiff
    advance_by_diameter = (4 - by_speed - t_ratio) / stiff
    advance_by_drag, advance_by_turns = -1 / stiff, (2 - by_speed) / stiff
    by_turns = 3 + q_advance * advance_by_turns
    by_pitch = q_advance * advance_by_pitch + q_ratio
    advance_at_one_power = advance_by_pitch - advance_by_turns * by_pitch / by_turns
    thrust, torque = math.exp(t_here), math.exp(q_here)
    if advance * thrust / (2 * math.pi * torque) > 0.85:
        return None
    return Usual(
        pitch=3 * by_pitch / by_turns,
        diameter=3 * (q_advance * advance_by_diameter + 5 - q_ratio) / by_turns,
        weight=3 * DRAG_BY_WEIGHT * q_advance * advance_by_drag / by_turns,
        efficiency=t_ratio - q_ratio + (1 + t_advance - q_advance) * advance_at_one_power,
        slip=slip,
    )


def drawn(seed: int = SEED, number: int = NUMBER) -> list[Usual]:
    """So many draws of one seed."""
    chance = random.Random(seed)
    return [one for one in (_one(chance) for _ in range(number)) if one is not None]


def derived(found: Sequence[Usual]) -> Mapping[str, tuple[float, float]]:
    """Mean and deviation of c, d and l; the correlation of c and d; E as a line of slip: at none, and by slip."""
    pitch, diameter = [one.pitch for one in found], [one.diameter for one in found]
    by_slip, at_none = np.polyfit([one.slip for one in found], [one.efficiency for one in found], 1)
    return {
        "c": (statistics.fmean(pitch), statistics.stdev(pitch)),
        "d": (statistics.fmean(diameter), statistics.stdev(diameter)),
        "l": (statistics.fmean(one.weight for one in found), statistics.stdev(one.weight for one in found)),
        "correlation of c and d": (statistics.correlation(pitch, diameter), 0.0),
        "E": (float(at_none), float(by_slip)),
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Prints what is derived."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--number", type=int, default=NUMBER)
    said = parser.parse_args(arguments)
    for name, (first, second) in derived(drawn(said.seed, said.number)).items():
        print(f"{name}: {first:.2f}, {second:.2f}")


if __name__ == "__main__":
    main()
