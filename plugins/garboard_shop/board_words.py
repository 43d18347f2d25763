"""Words that rows are found by: a row has a word when one of its own begins with it. One slip in a word is forgiven.

Words are kept in order, so that all that begin alike stand side by side, and with each the places of its rows. What
changed since they were put in order stands apart, until there is much of it.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable, Sequence
from itertools import accumulate
from typing import Any

MOST_NEWER = 200
"""Rows that stand apart, or a fiftieth of all."""
FEWEST_TO_FORGIVE = 4
"""Letters: in a shorter word a slip makes another word of it."""
FEWEST_OF_A_NUMBER = 4
"""Letters and numerals of a part of a hull number, which may stand anywhere in it."""
MOST_LOOKED_AT = 20
"""Of so many hull numbers one is looked at by itself; of more, all are at once."""
LONGEST = 20
"""Letters of a word that are compared for a slip."""
MOST_INSTEAD = 12


class Words:
    """Which rows have a word.

    listed : for each place of a row its words, the first of them the key of its hull number
    """

    def __init__(self, listed: Iterable[tuple[int, Sequence[str]]]) -> None:
        import numpy as np

        places: dict[str, list[int]] = {}
        hulls: list[tuple[int, str]] = []
        for place, words in listed:
            for word in words:
                places.setdefault(word, []).append(place)
            if words:
                hulls.append((place, words[0]))
        self._all = sorted(places)
        self._ends = np.array([0, *accumulate(len(places[word]) for word in self._all)], dtype=np.int64)
        self._places = np.array([place for word in self._all for place in places[word]], dtype=np.int32)
        self._hull_places = np.array([place for place, _ in hulls], dtype=np.int32)
        self._parts = Parts([word for _, word in hulls])
        self._by_length: dict[int, tuple[Any, list[int]]] | None = None
        self._newer: dict[int, tuple[str, ...]] = {}
        self._newer_words: list[tuple[str, int]] = []
        """Each word of a newer row with its place, in order."""

    @property
    def is_due(self) -> bool:
        """Whether so much stands apart that they should be put in order anew."""
        return len(self._newer) > max(MOST_NEWER, len(self._hull_places) // 50)

    def put(self, place: int, words: Sequence[str]) -> None:
        """The words of a row from now on; none for a place without one."""
        for word in self._newer.get(place, ()):
            del self._newer_words[bisect_left(self._newer_words, (word, place))]
        self._newer[place] = tuple(words)
        for word in words:
            insort(self._newer_words, (word, place))

    def having(self, word: str, size: int) -> tuple[Any, tuple[str, ...]]:
        """Which of so many places have a word; and the words one slip away that stand for it where none has it."""
        has = self._beginning(word, size)
        if has.any():
            return has, ()
        instead = self._one_slip_away(word)
        for other in instead:
            has |= self._beginning(other, size, is_whole=True)
        return has, instead

    def _beginning(self, word: str, size: int, is_whole: bool = False) -> Any:
        import numpy as np

        has: np.ndarray[Any, Any] = np.zeros(size, dtype=bool)
        low = bisect_left(self._all, word)
        high = bisect_left(self._all, word + ("\0" if is_whole else "\U0010ffff"))
        has[self._places[self._ends[low] : self._ends[high]]] = True
        is_part = not is_whole and len(word) >= FEWEST_OF_A_NUMBER and word.isalnum() and not word.isalpha()
        if is_part and word.isascii():
            has[self._hull_places[self._parts.having(word)]] = True
        has[[*self._newer]] = False
        for place in self._newer_beginning(word, is_whole=is_whole):
            has[place] = True
        if is_part:
            has[[place for place, words in self._newer.items() if words and word in words[0]]] = True
        return has

    def _newer_beginning(self, word: str, *, is_whole: bool) -> list[int]:
        last = word + ("\0" if is_whole else "\U0010ffff")
        low, high = (bisect_left(self._newer_words, (end,)) for end in (word, last))
        return [place for _, place in self._newer_words[low:high]]

    def _one_slip_away(self, word: str) -> tuple[str, ...]:
        if not FEWEST_TO_FORGIVE <= len(word) <= LONGEST:
            return ()
        if self._by_length is None:
            self._by_length = {}
            for at, one in enumerate(self._all):
                if len(one) <= LONGEST + 1:
                    self._by_length.setdefault(len(one), (None, []))[1].append(at)
        found: list[str] = []
        for length in (len(word) - 1, len(word), len(word) + 1):
            letters, numbers = self._by_length.get(length, (None, []))
            if not numbers:
                continue
            if letters is None:
                letters = letters_of([self._all[at] for at in numbers], length)
                self._by_length[length] = letters, numbers
            found += [self._all[numbers[at]] for at in one_slip(letters, word)]
        near = [one for one in dict.fromkeys(one for one, _ in self._newer_words) if abs(len(one) - len(word)) <= 1]
        for length in sorted({*map(len, near)}):
            alike = [one for one in near if len(one) == length]
            found += [alike[at] for at in one_slip(letters_of(alike, length), word)]
        return tuple(dict.fromkeys(found))[:MOST_INSTEAD]


def letters_of(words: Sequence[str], width: int) -> Any:
    """Words as rows of letters by number, zero behind the last."""
    import numpy as np

    return np.array(words, dtype=f"<U{width}").view(np.uint32).reshape(len(words), width)


def _fours(hulls: Sequence[str]) -> Any:
    """Of each hull number all four letters that follow each other, as one number: a row for each place of the first."""
    import numpy as np

    letters = np.array([hull.encode("ascii", "replace")[:LONGEST] for hull in hulls], dtype=f"S{LONGEST}")
    wide = letters.view(np.uint8).reshape(len(hulls), LONGEST).T.astype(np.uint32)
    return np.ascontiguousarray(wide[:-3] << 24 | wide[1:-2] << 16 | wide[2:-1] << 8 | wide[3:])


class Parts:
    """Hull numbers, to be found by a part of one: every four letters that follow each other are kept in order."""

    def __init__(self, hulls: Sequence[str]) -> None:
        import numpy as np

        self._fours = _fours(hulls)
        order = np.argsort(self._fours, axis=None, kind="stable")
        self._sorted = self._fours.ravel()[order]
        self._hulls = (order % max(1, len(hulls))).astype(np.int32)

    def having(self, part: str) -> Any:
        """Which have a part of four letters or more: of those with the rarest four of its letters, each looked at."""
        import numpy as np

        ends = [np.array((four, four + 1), dtype=np.uint32) for four in _fours_in(part).values()]
        low, high = min((np.searchsorted(self._sorted, end) for end in ends), key=lambda span: int(span[1] - span[0]))
        if high - low > self._fours.shape[1] // MOST_LOOKED_AT:
            return np.flatnonzero(_with_part(self._fours, part))
        near = np.unique(self._hulls[low:high])
        return near[_with_part(self._fours[:, near], part)]


def _fours_in(part: str) -> dict[int, int]:
    """The fours of letters that a part is made of, by their place in it."""
    last = len(part) - FEWEST_OF_A_NUMBER
    places = (*range(0, last, FEWEST_OF_A_NUMBER), last)
    return {at: int.from_bytes(part[at : at + FEWEST_OF_A_NUMBER].encode(), "big") for at in places}


def _with_part(fours: Any, part: str) -> Any:
    """Which of some hull numbers have a part, anywhere: each four of its letters where they follow."""
    import numpy as np

    last, wanted = len(part) - FEWEST_OF_A_NUMBER, _fours_in(part)
    found: np.ndarray[Any, Any] = np.zeros(fours.shape[1], dtype=bool)
    for start in range(len(fours) - last):
        here = fours[start] == wanted[0]
        if here.any():
            for at, letters in wanted.items():
                here &= fours[start + at] == letters
            found |= here
    return found


def one_slip(letters: Any, word: str) -> list[int]:
    """Which words of one length are a slip away from a word: a letter another, left out, too many, or two swapped.

    >>> one_slip(letters_of(["saltgrass", "northligh"], 9), "slatgrass")
    [0]
    """
    import numpy as np

    typed = np.array([ord(letter) for letter in word], dtype=np.uint32)
    shorter = min(letters.shape[1], len(typed))
    before = letters[:, :shorter] == typed[:shorter]
    behind = letters[:, letters.shape[1] - shorter :] == typed[len(typed) - shorter :]
    alike_first = np.cumprod(before, axis=1).sum(axis=1)
    alike_last = np.cumprod(behind[:, ::-1], axis=1).sum(axis=1)
    if letters.shape[1] != len(typed):
        return [int(at) for at in np.flatnonzero(alike_first + alike_last >= shorter)]
    near = alike_first + alike_last >= shorter - 1
    two = np.flatnonzero(alike_first + alike_last == shorter - 2)
    first = alike_first[two]
    swapped = (letters[two, first] == typed[first + 1]) & (letters[two, first + 1] == typed[first])
    return [int(at) for at in np.flatnonzero(near)] + [int(at) for at in two[swapped]]
