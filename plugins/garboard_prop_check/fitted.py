"""An engine with the propeller it ran, and where its engine speed came out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

from garboard.findings import NotEnoughData
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import Engine
from garboard.uncertainty import MeasuredValue
from garboard_prop_check.averages import Average, average_engine_speed
from garboard_prop_check.engine_speed import engine_speed_there, nearest_air
from garboard_prop_check.runs import Run
from garboard_prop_check.window import WindowPosition, near_limiter, position_in_window
from garboard_prop_check.words import pitch_of, window_of

BESIDE_STAMP = 0.12
"""A measured pitch lies beside its stamp by no more, as a share [-]; common practice, no source."""


@frozen
class Fitted:
    """An engine with the propeller it ran, and where it came out.

    pitch : of that propeller, as measured or else as stamped [in]
    """

    engine: Engine
    engine_speed: Average
    pitch: float
    low: float
    high: float

    @property
    def stamp(self) -> float:
        """Its stamped pitch, or without a stamp that can be true the one worked with [in]."""
        propeller = self.engine.propeller
        stamped = propeller.pitch.to("in") if propeller and propeller.pitch else self.pitch
        return stamped if abs(stamped - self.pitch) <= BESIDE_STAMP * self.pitch else self.pitch

    @property
    def position(self) -> WindowPosition:
        """Where it came out against its window."""
        return self.position_at(self.engine_speed.measured)

    def position_at(self, engine_speed: MeasuredValue) -> WindowPosition:
        """Where another engine speed would come out."""
        return position_in_window(engine_speed.value, engine_speed.expanded_uncertainty, self.low, self.high)

    @property
    def way(self) -> int:
        """+1 when it needs more pitch, -1 less, 0 when it is in its window or too close to an end to call."""
        return {WindowPosition.ABOVE: 1, WindowPosition.BELOW: -1}.get(self.position, 0)

    @property
    def beyond(self) -> float:
        """How far out of its window, 0 inside [rev/min]."""
        return max(self.low - self.engine_speed.value, self.engine_speed.value - self.high, 0.0)

    def held_by_limiter(self, margin: float) -> bool:
        """Whether the engine might have turned faster without its limiter."""
        limiter = self.engine.limiter_speed
        return limiter is not None and near_limiter(
            self.engine_speed.value, self.engine_speed.expanded_uncertainty, limiter.to("rev/min"), margin
        )


def fitted_of(view: JobView, engine: Engine, runs: Sequence[Run]) -> Fitted:
    """Raises NotEnoughData where the window, the pitch or the engine speed is not known."""
    low, high = window_of(engine)
    return Fitted(engine, view.once(average_engine_speed, runs, engine.position), pitch_of(engine), low, high)


@frozen
class Air:
    """What the air of the runs does.

    engine_speeds : of each engine in reference air, by its position [rev/min]; empty where the air is not known
    further       : +1 where the true ones lie higher, since the air lies beyond the method, -1 lower, 0 otherwise
    """

    engine_speeds: Mapping[str, MeasuredValue] = attrs.field(factory=dict)
    further: int = 0

    @property
    def is_known(self) -> bool:
        """Whether anything can be said of it."""
        return bool(self.engine_speeds)


def in_reference_air(view: JobView, out: Sequence[Fitted]) -> Air:
    """What each engine would turn there; nothing where the air of the runs is not known."""
    try:
        factor, further = nearest_air(view)
    except NotEnoughData:
        return Air()
    return Air({one.engine.position: engine_speed_there(one.engine_speed, factor) for one in out}, further)
