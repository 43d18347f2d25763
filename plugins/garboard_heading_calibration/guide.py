"""The live guide of the steady turn: turn faster, turn slower, hold it here."""

from __future__ import annotations

import math

import attrs

from garboard.findings import NotEnoughData, in_full
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.samples import Sample
from garboard.series import signed_angle
from garboard.steps import Guidance, LiveGuide

from .rates import LONGEST_GAP, LOW_PASS
from .settings import USUAL_TURN, Wanted, wanted_turn
from .steps import STEADY_TURN
from .turns import STRAIGHT_BELOW

SILENCE = 3.0  # another source may take over after this [s]


@frozen(kw_only=True)
class TurnSoFar:
    """What has been turned.

    wanted       : what the turn has to reach
    source       : quantity, source and reference followed: the first that spoke; rate of turn goes before heading
    at, value    : its last sample [s], [deg/s] or [deg]
    rate         : low-passed rate of turn [deg/s]; None before it can be told
    degrees      : turned, starboard positive [deg]
    turning      : time spent turning [s]
    in_band      : of which inside the band [s]
    """

    wanted: Wanted
    source: tuple[str, str, str] | None = None
    at: float = 0.0
    value: float = 0.0
    rate: float | None = None
    degrees: float = 0.0
    turning: float = 0.0
    in_band: float = 0.0

    @property
    def share(self) -> float:
        """Share of the turning time inside the band, 0 to 1 [-]."""
        return self.in_band / self.turning if self.turning > 0 else 0.0


def begin(view: JobView) -> TurnSoFar:
    """Nothing turned yet. Where the shop's settings cannot be read, the usual turn is guided."""
    try:
        return TurnSoFar(wanted=wanted_turn(view))
    except (KeyError, NotEnoughData):
        return TurnSoFar(wanted=USUAL_TURN)


def take(state: TurnSoFar, sample: Sample) -> TurnSoFar:
    """The state after one more sample; samples of other sources, and ones out of order, change nothing."""
    source = (sample.quantity, sample.source, sample.reference)
    if sample.quantity not in ("rate_of_turn", "heading") or not math.isfinite(sample.value):
        return state
    if source != state.source and not _may_take_over(state, sample):
        return state
    step = sample.time - state.at
    if source != state.source or step > LONGEST_GAP:
        rate = sample.value if sample.quantity == "rate_of_turn" else None
        return attrs.evolve(state, source=source, at=sample.time, value=sample.value, rate=rate)
    if step <= 0:
        return state
    if sample.quantity == "rate_of_turn":
        rate, degrees = sample.value, step * (state.value + sample.value) / 2
    else:
        degrees = signed_angle(sample.value - state.value)
        rate = degrees / step
    weight = 1 - math.exp(-step / LOW_PASS)
    smooth = rate if state.rate is None else state.rate + weight * (rate - state.rate)
    turning = abs(smooth) >= STRAIGHT_BELOW
    # a heading's rate is too rough from sample to sample to be held against the band
    judged = abs(rate if sample.quantity == "rate_of_turn" else smooth)
    return attrs.evolve(
        state,
        at=sample.time,
        value=sample.value,
        rate=smooth,
        degrees=state.degrees + degrees,
        turning=state.turning + (step if turning else 0.0),
        in_band=state.in_band + (step if turning and state.wanted.low <= judged <= state.wanted.high else 0.0),
    )


def _may_take_over(state: TurnSoFar, sample: Sample) -> bool:
    better = state.source is not None and (state.source[0], sample.quantity) == ("heading", "rate_of_turn")
    return state.source is None or better or sample.time - state.at > SILENCE


def show(state: TurnSoFar) -> Guidance:
    """The rate of turn now, what to do, and how far the turn has come."""
    wanted = state.wanted
    rate = None if state.rate is None else abs(state.rate)
    turned = abs(state.degrees)
    done = turned >= wanted.degrees and state.share >= wanted.share
    return Guidance(
        number=rate,
        unit="deg/s",
        word=_word(rate, wanted, done),
        on_target=rate is not None and wanted.low <= rate <= wanted.high,
        scale=(0.0, 2 * wanted.high),
        band=wanted.band,
        progress=min(turned / wanted.degrees, 1.0),
        lines=(
            f"{math.floor(round(turned, 6))} of {in_full(wanted.degrees)} degrees to "
            f"{'starboard' if state.degrees >= 0 else 'port'}",
            f"{math.floor(round(100 * state.share, 6))} % of the time in the band, {in_full(100 * wanted.share)} % "
            f"wanted",
        ),
        done=done,
        under_way=rate is not None and rate >= STRAIGHT_BELOW,
    )


def _word(rate: float | None, wanted: Wanted, done: bool) -> str:
    if rate is None:
        return "waiting for the sensor"
    if done:
        return "turn complete"
    if rate < wanted.low:
        return "turn faster"
    return "turn slower" if rate > wanted.high else "hold it here"


GUIDE = LiveGuide(
    key=STEADY_TURN,
    title="Steady turn",
    quantities=("rate_of_turn", "heading"),
    begin=begin,
    take=take,
    show=show,
)
