"""Where full throttle begins: by the maker's statement, or by the boat's own runs where it reaches less."""

from __future__ import annotations

from collections.abc import Iterable

from garboard.job_view import JobView
from garboard.numeric import median
from garboard.record_types import frozen
from garboard.records import Engine
from garboard.series import mean
from garboard.units import Amount

RUNS = "prop_check.full_throttle"
"""The full-throttle runs of the propeller check. They are read by their key, so neither plugin needs the other."""

LOWEST = 0.75
"""Down to this share of the stated engine speed a propeller with too much pitch holds an outboard that runs right; its
torque is then at least that of its rated speed (common practice, no source)."""


@frozen(kw_only=True)
class FullThrottle:
    """Where full throttle begins.

    stated : low end of the maker's window, else the shop's share of rated speed [rev/min]
    begins : the same; less where the boat's own runs reach less, and more where no step comes near them [rev/min]
    rows   : the runs that told it; none where the maker's statement stands
    """

    stated: float
    begins: float
    rows: tuple[str, ...] = ()

    @property
    def hint(self) -> str:
        """What to do where the boat reaches less, or what told that it reaches more."""
        if self.begins > self.stated:
            return "; its own full-throttle runs turn faster than the highest step"
        return "" if self.rows else "; where the boat reaches less, enter the engine speed of its full-throttle runs"

    def power_kept(self, engine_speed: float) -> float:
        """The least share of its rated power an engine makes, held at full throttle at an engine speed [rev/min].

        Below the stated engine speed torque is at least what it is there, so power falls no faster than engine speed.
        """
        return min(1.0, engine_speed / self.stated)


def full_throttle(view: JobView, engine: Engine, highest: float) -> FullThrottle | None:
    """Where full throttle of an engine begins; None where the maker's statement is not entered.

    highest : engine speed of the highest step; only where that falls short of the maker's statement or of the boat's
              own runs do these matter [rev/min]
    """
    if engine.full_throttle_low is not None:
        stated = engine.full_throttle_low.to("rev/min")
    elif engine.rated_speed is not None:
        stated = _share(view) * engine.rated_speed.to("rev/min")
    else:
        return None
    alike = _alike(view, engine)
    begins = max(stated, _share(view) * mean(list(alike.values()))) if len(alike) > 1 else stated
    runs = _read(view, engine, alike) if highest < begins else {}
    if len(runs) < 2:
        return FullThrottle(stated=stated, begins=stated)
    own = max(_share(view) * mean(list(runs.values())), LOWEST * stated)
    return FullThrottle(stated=stated, begins=min(own, stated) if highest < stated else own, rows=tuple(runs))


def _share(view: JobView) -> float:
    return view.setting_value("fuel_curve.full_throttle_from", "%") / 100


def _alike(view: JobView, engine: Engine) -> dict[str, float]:
    """Engine speeds [rev/min] of the full-throttle runs that agree, by their rows."""
    entered = {
        one.row: Amount.parse(one.value).to("rev/min")
        for one in view.measurements
        if (one.step, one.field, one.of) == (RUNS, "engine_speed", engine.position) and isinstance(one.value, str)
    }
    middle = median(entered.values()) if entered else 0.0
    return {row: speed for row, speed in entered.items() if abs(speed - middle) <= (1 - _share(view)) * middle}


def _read(view: JobView, engine: Engine, alike: Iterable[str]) -> dict[str, float]:
    """The same of these rows, read through the view: a doubt about another run touches no figure of the fuel curve."""
    read = {row: view.amount(RUNS, "engine_speed", "rev/min", row=row, of=engine.position) for row in alike}
    return {row: speed for row, speed in read.items() if speed is not None}
