"""One boat in short: the row that the shop's memory, its board and its insight look at."""

from __future__ import annotations

import attrs

from garboard_shop.job_rows import JobRow

SLIP, ECONOMY, DEVIATION, FORECAST = "slip", "economy", "deviation", "forecast"


@attrs.frozen
class Seen:
    """A number that was found of a boat.

    what      : SLIP [%], ECONOMY at best cruise [nm/gal], DEVIATION, the size of the largest of its compasses [deg],
                or FORECAST, the engine speed reached with a propeller that was foreseen [rev/min]
    low, high : what its check takes for usual, of a forecast what was foreseen; None for an open end
    is_beyond : whether another number of the same check lies outside its limits, as a deviation beside its constant
    """

    what: str
    value: float
    low: float | None = None
    high: float | None = None
    is_beyond: bool = False

    @property
    def is_outside(self) -> bool:
        below = self.low is not None and self.value < self.low
        return self.is_beyond or below or (self.high is not None and self.value > self.high)


@attrs.frozen(kw_only=True)
class Row:
    """One boat in short.

    hull         : key of its hull number
    length, weight, power : [m], as run [kg], of all engines [kW]; 0 where nobody entered it
    pitch, diameter : stamped on the propeller it kept [in]
    engine_speed : reached with it at full throttle, mean of its engines [rev/min]; 0 where nobody ran it
    is_kept      : whether the advice is to keep it: inside the window as run alone may be light, or labour fully laden
    codes        : of what fails or advises, each once
    forecasts, held : how many were put to the test, and how many of them held
    jobs         : a row for each of its jobs
    seen         : numbers that were found of it, in the job opened last that gave any
    """

    hull: str
    hull_form: str = ""
    length: float = 0.0
    weight: float = 0.0
    power: float = 0.0
    engines: int = 0
    gear_ratio: float = 0.0
    pitch: float = 0.0
    diameter: float = 0.0
    blades: int = 0
    engine_speed: float = 0.0
    is_kept: bool = False
    state: str = ""
    codes: tuple[str, ...] = ()
    forecasts: int = 0
    held: int = 0
    jobs: tuple[JobRow, ...] = ()
    seen: tuple[Seen, ...] = ()
