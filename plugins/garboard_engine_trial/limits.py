"""A reading held against limits, with the uncertainty of whatever it was read on."""

from __future__ import annotations

from garboard.findings import Limit, Number, Verdict
from garboard.record_types import frozen
from garboard.uncertainty import MeasuredValue, Part


@frozen
class Reading:
    """What was read, as a number with its uncertainty, and where it lies."""

    number: Number
    limit: Limit | None

    @property
    def verdict(self) -> Verdict:
        """PASS surely within, FAIL surely beyond, ADVISE too close to tell; PASS without a limit."""
        if self.limit is None:
            return Verdict.PASS
        within = self.number.expanded_uncertainty or 0.0
        if self.limit.holds(self.number.value, within):
            return Verdict.PASS
        return Verdict.ADVISE if self.limit.reaches(self.number.value, within) else Verdict.FAIL


def read(
    name: str,
    value: float,
    unit: str,
    bound: float,
    low: float | None = None,
    high: float | None = None,
    decimals: int = 1,
) -> Reading:
    """A reading that is right within a bound, against a low and a high limit; None leaves one open. All in one unit."""
    measured = MeasuredValue.of_parts(value, unit, [Part.bound("instrument", bound)])
    limit = None if low is None and high is None else Limit(name, low, high)
    return Reading(Number.of(name, measured, decimals), limit)
