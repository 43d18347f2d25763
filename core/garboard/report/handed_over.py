"""What a boat is called that was handed over: the same words on the board, the pages, the tablet and in the book."""

from __future__ import annotations

from garboard.faults import in_number


def handed_over_in_words(points: int) -> str:
    """That a boat is handed over, and with how much open.

    points : open on its punch list, fails among them

    >>> handed_over_in_words(0), handed_over_in_words(1), handed_over_in_words(3)
    ('handed over', 'handed over with 1 point open', 'handed over with 3 points open')
    """
    return f"handed over with {in_number(points, 'point')} open" if points else "handed over"
