"""A run that begins and ends by itself: armed at rest, begun when it is seen, kept aside when the throttle drops."""

from __future__ import annotations

import enum

import attrs

from garboard.steps import Guidance

SEEN_AFTER = 2.0
"""A run is begun once it has been seen for so long [s]."""
OVER_AFTER = 2.0
"""It has ended once nothing of it has been seen for so long [s]."""


class Phase(enum.Enum):
    """How far an armed guide is."""

    WAITING = "waiting for the run"
    RECORDING = "recording"


class Turn(enum.Enum):
    """What has just happened."""

    NOTHING = ""
    BEGUN = "recording"
    ENDED = "kept aside, now the other way"


def is_under_way(guidance: Guidance) -> bool:
    """Whether the run that is guided goes on now; of a guide that does not tell, whether its number is in the band."""
    return guidance.on_target if guidance.under_way is None else guidance.under_way


@attrs.define
class Watch:
    """Watches for a run. Its clock is that of the live guide [s].

    phase : WAITING until the run is seen
    """

    phase: Phase = Phase.WAITING
    _since: float | None = None

    def see(self, now: float, guidance: Guidance | None) -> Turn:
        """Look at what the guide shows; None where nothing fresh is shown: that neither begins nor ends a run."""
        if guidance is None:
            return Turn.NOTHING
        waiting = self.phase is Phase.WAITING
        if is_under_way(guidance) is not waiting:  # as it was
            self._since = None
            return Turn.NOTHING
        if self._since is None:
            self._since = now
        if now - self._since < (SEEN_AFTER if waiting else OVER_AFTER):
            return Turn.NOTHING
        self._since = None
        self.phase = Phase.RECORDING if waiting else Phase.WAITING
        return Turn.BEGUN if waiting else Turn.ENDED
