"""Arithmetic on many numbers at once, by numpy where it is at hand, by Python alone otherwise; equal to the last bit.

A tablet has no numpy. Both ways add and multiply the same numbers in the same order, so that a recording read on a
tablet and one read at a desk are the same.
"""

from __future__ import annotations

import sys
from array import array
from collections.abc import Callable, Sequence
from itertools import groupby, islice
from typing import Any, ClassVar, Protocol

from garboard.faults import GarboardError

MINUTE = 17  # characters of a date and time before its seconds

Scale = tuple[int, int, float, float]
"""Smallest step, first step too large, unit of the quantity per step, and what is added."""


class Unlike(GarboardError):
    """Among texts read at once is one that is not written as the others are."""


class Arithmetic(Protocol):
    """One of the two ways."""

    def times(self, texts: Sequence[str], minute: Callable[[str], float]) -> Sequence[float]:
        """Times written alike, as `2026-05-04T09:30:00.25`, in seconds since 1970.

        minute : when the minute of such a text begins [s]; raises for one that cannot be
        Raises Unlike where a second has other characters than digits and a point.
        """

    def values(self, steps: bytes, code: str, scale: Scale) -> tuple[Sequence[float], Sequence[int] | None]:
        """Values of steps, and the rows of those that lie within the limits; None where all do.

        code : of a step, as the module struct writes it
        """


class Plain:
    """By Python alone."""

    def times(self, texts: Sequence[str], minute: Callable[[str], float]) -> Sequence[float]:
        seconds = [text[MINUTE:] for text in texts]
        _refuse_unlike("".join(seconds), len(seconds[0]), len(texts))
        if max(seconds) >= "61":
            raise Unlike
        times, parts = list[float](), map(float, seconds)
        for begin, run in groupby([text[:MINUTE] for text in texts]):
            start = minute(begin)
            times += [start + part for part in islice(parts, len(list(run)))]
        return times

    def values(self, steps: bytes, code: str, scale: Scale) -> tuple[Sequence[float], Sequence[int] | None]:
        low, high, by, offset = scale
        found = array(code)
        found.frombytes(steps)
        if sys.byteorder == "big":
            found.byteswap()
        numbers = found.tolist()
        rows = None
        if not (low <= min(numbers) and max(numbers) < high):
            rows = [row for row, number in enumerate(numbers) if low <= number < high]
            numbers = [numbers[row] for row in rows]
        return [number * by + offset for number in numbers] if offset else [number * by for number in numbers], rows


class WithNumpy(Plain):
    """By numpy, where it is at hand."""

    _FEWEST = 100
    """For fewer numbers Python alone is quicker."""
    _CODES: ClassVar = {"b": "i1", "h": "<i2", "H": "<u2", "i": "<i4", "I": "<u4", "q": "<i8"}

    def times(self, texts: Sequence[str], minute: Callable[[str], float]) -> Sequence[float]:
        if len(texts) < self._FEWEST:
            return super().times(texts, minute)
        import numpy as np

        width = len(texts[0])
        text = "".join(texts)
        if not text.isascii() or len(text) != width * len(texts):
            raise Unlike
        rows = np.frombuffer(text.encode("ascii"), np.uint8).reshape(len(texts), width)
        seconds = rows[:, MINUTE:]
        digits = seconds if width == MINUTE + 2 else np.delete(seconds, 2, axis=1)
        digits = digits - np.uint8(48)  # what is below "0" wraps to far above 9
        if (digits > 9).any() or (digits[:, 0] > 6).any() or (width > MINUTE + 2 and (seconds[:, 2] != 46).any()):
            raise Unlike
        parts = digits.astype(np.int64) @ (10 ** np.arange(digits.shape[1] - 1, -1, -1, dtype=np.int64))
        whole = 10 ** (digits.shape[1] - 2)
        if (parts >= 61 * whole).any():
            raise Unlike
        minutes = rows[:, :MINUTE]
        changes = np.flatnonzero((minutes[1:] != minutes[:-1]).any(axis=1)) + 1
        begins = np.concatenate(([0], changes))
        starts = np.array([minute(minutes[begin].tobytes().decode("ascii")) for begin in begins.tolist()])
        times: Any = np.repeat(starts, np.diff(np.concatenate((begins, [len(texts)])))) + parts / whole
        return times.tolist()  # type: ignore[no-any-return]

    def values(self, steps: bytes, code: str, scale: Scale) -> tuple[Sequence[float], Sequence[int] | None]:
        if len(steps) < 4 * self._FEWEST:
            return super().values(steps, code, scale)
        import numpy as np

        low, high, by, offset = scale
        numbers: Any = np.frombuffer(steps, self._CODES[code])
        within = (numbers >= low) & (numbers < high)
        rows = None
        if not within.all():
            rows = np.flatnonzero(within).tolist()
            numbers = numbers[within]
        return (numbers * by + offset).tolist(), rows


def _refuse_unlike(text: str, width: int, count: int) -> None:
    """Raise Unlike unless a text is that many seconds of the same width, of digits and a point each."""
    digits = text if width == 2 else text.replace(".", "")
    if not (digits.isascii() and digits.isdigit()) or len(text) != width * count:
        raise Unlike
    if width > 2 and (text[2::width] != "." * count or len(digits) != (width - 1) * count):
        raise Unlike
