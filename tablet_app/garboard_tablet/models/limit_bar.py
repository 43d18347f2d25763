"""Where a value and its ± lie against the limits it is judged by, as shares of a bar's length."""

from __future__ import annotations

import attrs

MARGIN = 0.18
"""Share of the bar left free beyond the outermost mark at each end."""


@attrs.frozen(kw_only=True)
class LimitScale:
    """A value on a bar with its limits.

    low, high  : the limits; None where there is none on that side
    value      : None where none is entered yet
    half_width : of the value's ±
    told       : the limits as they are written, where that is said
    """

    low: float | None
    high: float | None
    value: float | None = None
    half_width: float = 0.0
    told: tuple[str, ...] = attrs.field(default=(), eq=False)

    @property
    def texts(self) -> tuple[str, ...]:
        """The limits as they are written, the low one first."""
        return self.told or tuple(said(limit) for limit in (self.low, self.high) if limit is not None)

    @property
    def ends(self) -> tuple[float, float]:
        """The values at the left and right end of the bar.

        >>> LimitScale(low=10, high=20).ends
        (7.1875, 22.8125)
        """
        marks = [mark for mark in (self.low, self.high) if mark is not None]
        if self.value is not None:
            marks += [self.value - self.half_width, self.value + self.half_width]
        left, right = min(marks, default=0.0), max(marks, default=1.0)
        room = (right - left) or abs(right) or 1.0
        margin = room * MARGIN / (1 - 2 * MARGIN)
        return left - margin, right + margin

    def share(self, value: float) -> float:
        """Where a value lies, 0 at the left end and 1 at the right."""
        left, right = self.ends
        return (value - left) / (right - left)

    @property
    def allowed(self) -> tuple[float, float]:
        """Where the allowed range begins and ends; it runs to the end of the bar where there is no limit."""
        low = 0.0 if self.low is None else self.share(self.low)
        high = 1.0 if self.high is None else self.share(self.high)
        return low, high

    @property
    def spread(self) -> tuple[float, float] | None:
        """Where the value's ± begins and ends; None where there is no value."""
        if self.value is None:
            return None
        return self.share(self.value - self.half_width), self.share(self.value + self.half_width)


def said(limit: float) -> str:
    """A limit as people write it.

    >>> said(10.0), said(-2.5), said(12345678.0)
    ('10', '−2.5', '12345678')
    """
    from garboard.findings import plain_text  # here: the app's first frame draws no limit

    return plain_text(limit).replace("-", "−")


def apart(first: tuple[float, float], second: tuple[float, float], gap: float) -> bool:
    """Whether two stretches of a line, each from one end to the other, leave a gap between them.

    >>> apart((0, 10), (15, 20), 4), apart((0, 10), (12, 20), 4)
    (True, False)
    """
    return second[0] - first[1] >= gap or first[0] - second[1] >= gap
