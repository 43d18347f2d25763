"""Where full throttle begins: by the maker's statement, or by the boat's own runs where it reaches less."""

from __future__ import annotations

import attrs

from garboard.job_view import JobView
from garboard.records import Engine
from garboard.series import mean

RUNS = "prop_check.full_throttle"
"""The full-throttle runs of the propeller check. They are read by their key, so neither plugin needs the other."""

LOWEST = 0.75
"""Down to this share of the stated engine speed a propeller with too much pitch holds an outboard that runs right; its
torque is then at least that of its rated speed (common practice, no source)."""


@attrs.frozen(kw_only=True)
class FullThrottle:
    """Where full throttle begins.

    stated : low end of the maker's window, else the shop's share of rated speed [rev/min]
    begins : the same, or less where the boat's own runs reach less [rev/min]
    run    : whether the boat's own runs were looked up and told it
    """

    stated: float
    begins: float
    run: bool = False

    @property
    def hint(self) -> str:
        """What to do where the boat reaches less; "" where its runs told it."""
        return "" if self.run else "; where the boat reaches less, enter the engine speed of its full-throttle runs"

    def power_kept(self, engine_speed: float) -> float:
        """The least share of its rated power an engine makes, held at full throttle at an engine speed [rev/min].

        Below the stated engine speed torque is at least what it is there, so power falls no faster than engine speed.
        """
        return min(1.0, engine_speed / self.stated)


def full_throttle(view: JobView, engine: Engine, highest: float) -> FullThrottle | None:
    """Where full throttle of an engine begins; None where the maker's statement is not entered.

    highest : engine speed of the highest step; only where that falls short do the boat's own runs matter [rev/min]
    """
    if engine.full_throttle_low is not None:
        stated = engine.full_throttle_low.to("rev/min")
    elif engine.rated_speed is not None:
        stated = _share(view) * engine.rated_speed.to("rev/min")
    else:
        return None
    own = _own(view, engine) if highest < stated else None
    if own is None:
        return FullThrottle(stated=stated, begins=stated)
    return FullThrottle(stated=stated, begins=min(stated, max(_share(view) * own, LOWEST * stated)), run=True)


def _share(view: JobView) -> float:
    return view.setting_value("fuel_curve.full_throttle_from", "%") / 100


def _own(view: JobView, engine: Engine) -> float | None:
    """Engine speed of the boat's full-throttle runs [rev/min]; None without two, and where they do not agree."""
    rows = view.rows(RUNS, "engine_speed")
    runs = [view.amount(RUNS, "engine_speed", "rev/min", row=row, of=engine.position) for row in rows]
    known = [run for run in runs if run is not None]
    return mean(known) if len(known) > 1 and min(known) >= _share(view) * max(known) else None
