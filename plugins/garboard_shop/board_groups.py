"""Rows of the board in groups of those that are alike in what the board filters and counts by.

How many rows a group has is kept as rows come and go. So a filter costs a look at each group, not at each row.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

NONE = 0
"""The group of a place that holds no row."""


class Groups:
    """Which group each place is in, and how many are in each.

    names : of what makes a group, each a number from 0
    """

    def __init__(self, names: Sequence[str]) -> None:
        import numpy as np

        self._names = tuple(names)
        self._number: dict[tuple[int, ...], int] = {}
        self._known = np.zeros((len(self._names), 0), dtype=np.int64)
        self._counts: list[int] = [0]
        self.of: np.ndarray[Any, Any] = np.zeros(0, dtype=np.int32)
        """Of each place its group."""

    def grow(self, size: int) -> None:
        """Make room for so many places."""
        import numpy as np

        longer: np.ndarray[Any, Any] = np.zeros(size, dtype=np.int32)
        longer[: len(self.of)] = self.of
        self.of = longer

    def put(self, place: int, said: Mapping[str, int]) -> None:
        """Put the row of a place into its group, out of the one it was in."""
        key = tuple(said[name] for name in self._names)
        number = self._number.setdefault(key, len(self._number) + 1)
        if number == len(self._counts):
            self._counts.append(0)
        self._move(place, number)

    def drop(self, place: int) -> None:
        """The place holds no row any more."""
        self._move(place, NONE)

    def _move(self, place: int, number: int) -> None:
        before = int(self.of[place])
        if before != NONE:
            self._counts[before] -= 1
        self._counts[number] += number != NONE
        self.of[place] = number

    def column(self, name: str) -> Any:
        """What each group says of one name; -1 for the group of no row."""
        return self._columns()[self._names.index(name)]

    def _columns(self) -> Any:
        import numpy as np

        if self._known.shape[1] != len(self._counts):
            keys = [(-1,) * len(self._names), *self._number]
            self._known = np.ascontiguousarray(np.array(keys, dtype=np.int64).T)
        return self._known

    def counts(self, places: Any = None) -> Any:
        """How many rows are in each group; how many of some places, where these are given."""
        import numpy as np

        if places is None:
            return np.array(self._counts, dtype=np.int64)
        return np.bincount(self.of[places], minlength=len(self._counts))
