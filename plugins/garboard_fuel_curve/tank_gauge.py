"""What the tank gauge shows of the usable fuel: the fuel no engine can draw is in its reading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from garboard.findings import NotEnoughData, Verdict
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.steps import Assessed

GAUGE = "engine_trial.data"
"""The step in which a gauge is read against what is in its tank."""
_SENDERS = "engine_trial.senders"
_LEAST_KEPT = 0.5  # less fuel than this below the pick-up is not told [gal]


@frozen
class Tanks:
    """All tanks together.

    holds   : [gal]; None where a capacity is not entered
    usable  : of it the engines can draw, the boat level [gal]
    readings: in the tank [gal] and on the gauge [%], rising; none where there is not one tank with a sound gauge
    """

    holds: float | None
    usable: float
    readings: tuple[tuple[float, float], ...] = ()

    @property
    def kept(self) -> float:
        """What no engine can draw [gal]."""
        below = self.holds - self.usable if self.holds is not None else 0.0
        return below if below >= _LEAST_KEPT else 0.0

    def gauge_at(self, share: float) -> float | None:
        """What the gauge shows with a share of the usable fuel left [%]; None outside what was read."""
        inside = self.kept + self.usable * share
        for (low, from_gauge), (high, to_gauge) in pairwise(self.readings):
            if low - 1e-6 <= inside <= high + 1e-6 and high > low:
                return from_gauge + (inside - low) / (high - low) * (to_gauge - from_gauge)
        return None


def tanks_of(view: JobView, assessed: Sequence[Assessed], usable: float) -> Tanks:
    """The tanks with their gauge, as it was read while they were filled."""
    capacities = [tank.capacity.to("gal") for tank in view.vessel.tanks if tank.capacity is not None]
    holds = math.fsum(capacities) if capacities and len(capacities) == len(view.vessel.tanks) else None
    sound = any(
        one.calculator == _SENDERS and one.finding.verdict is Verdict.PASS and not one.finding.doubted
        for one in assessed
    )
    if holds is None or len(capacities) != 1 or not sound:
        return Tanks(holds, usable)
    tank = view.vessel.tanks[0].name
    try:
        read = [
            (view.amount(GAUGE, "in_tank", "gal", row=row, of=tank), view.amount(GAUGE, "gauge", "%", row=row, of=tank))
            for row in view.rows(GAUGE, "in_tank")
        ]
    except NotEnoughData:
        return Tanks(holds, usable)
    readings = sorted((inside, shown) for inside, shown in read if inside is not None and shown is not None)
    return Tanks(holds, usable, tuple(readings))
