"""Live guide for a full-throttle run: when to hold, when it has settled, when to ease off."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from garboard.findings import in_full, rounded
from garboard.job_view import JobView, in_unit
from garboard.record_types import frozen
from garboard.records import Engine
from garboard.samples import Sample
from garboard.series import engine_instance
from garboard.steps import Guidance, LiveGuide
from garboard_prop_check.break_in import running_in

SILENT_AFTER = 3.0
"""A reading older than this is no longer shown or used [s]."""

FROM_SHARE = 0.9
"""Full throttle counts from this share of the window's low end, so that a laboured engine counts too."""

SPEED = "speed"
EASE_OFF = "ease off"
RUNNING_IN = "still running in"


@frozen(kw_only=True)
class Limits:
    """What the guide holds a run against, read from the job once.

    position_of : engine position by the network's instance
    full_from   : engine speed that counts as full throttle, by position [rev/min]
    ease_at     : engine speed to stay below, by position where known [rev/min]
    window      : where every engine should be [rev/min], None when unknown
    tolerance   : half width within which a reading counts as steady, by position or "speed"
    told_in     : the unit to tell speed in
    """

    position_of: Mapping[str, str]
    full_from: Mapping[str, float]
    ease_at: Mapping[str, float]
    window: tuple[float, float] | None
    tolerance: Mapping[str, float]
    steady_seconds: float
    full_seconds: float
    told_in: str = "kn"
    running_in: frozenset[str] = frozenset()


@frozen(kw_only=True)
class State:
    """What has been heard so far.

    now, heard       : latest reading of each engine and of speed, and when it came
    full_since       : when the first engine reached full throttle, None when none is there
    steady_since     : when readings were last outside tolerance, None when not at full throttle
    lowest, highest  : of each reading since then
    longest          : longest steady stretch so far [s]
    """

    limits: Limits
    time: float = 0.0
    now: Mapping[str, float] = attrs.field(factory=dict)
    heard: Mapping[str, float] = attrs.field(factory=dict)
    full_since: float | None = None
    steady_since: float | None = None
    lowest: Mapping[str, float] = attrs.field(factory=dict)
    highest: Mapping[str, float] = attrs.field(factory=dict)
    longest: float = 0.0


def begin(view: JobView) -> State:
    """The state before the first sample."""
    engines = view.vessel.engines
    windows = [window for window in map(_window, engines) if window is not None]
    low, high = max((w[0] for w in windows), default=0.0), min((w[1] for w in windows), default=0.0)
    held = {one.engine.position: one.up_to for one in running_in(view)}
    by_engine = view.setting_value("prop_check.steady_engine_speed", "rev/min")
    return State(
        limits=Limits(
            position_of={
                str(number if engine.network_instance is None else engine.network_instance): engine.position
                for number, engine in enumerate(engines)
            },
            full_from={engine.position: _full_from(view, engine) for engine in engines},
            ease_at={
                engine.position: engine.limiter_speed.to("rev/min")
                - view.setting_value("prop_check.limiter_margin", "rev/min")
                for engine in engines
                if engine.limiter_speed is not None
            }
            | held,
            window=(low, high) if 0 < low < high else None,
            tolerance={
                SPEED: view.setting_value("prop_check.steady_speed", "kn"),
                **{engine.position: by_engine for engine in engines},
            },
            steady_seconds=view.setting_value("prop_check.steady_seconds", "s"),
            full_seconds=view.setting_value("prop_check.full_throttle_limit", "s"),
            told_in=view.unit_to_tell("kn"),
            running_in=frozenset(held),
        )
    )


def _window(engine: Engine) -> tuple[float, float] | None:
    low, high = engine.full_throttle_low, engine.full_throttle_high
    return None if low is None or high is None else (low.to("rev/min"), high.to("rev/min"))


def _full_from(view: JobView, engine: Engine) -> float:
    window = _window(engine)
    return (
        FROM_SHARE * window[0]
        if window and window[0] > 0
        else view.setting_value("prop_check.full_throttle_from", "rev/min")
    )


def take(state: State, sample: Sample) -> State:
    """The state after one more sample."""
    name = _name(state.limits, sample)
    if name is None:
        return state
    if sample.time < state.time - SILENT_AFTER:
        state = State(limits=state.limits)  # the clock was set back, or another recording began
    time = max(sample.time, state.time)
    fresh = {key: seen for key, seen in state.heard.items() if time - seen <= SILENT_AFTER}
    now = {key: state.now[key] for key in fresh} | {name: sample.value}
    state = attrs.evolve(state, time=time, now=now, heard=fresh | {name: time})
    return _watch_steadiness(_watch_throttle(state), name)


def _name(limits: Limits, sample: Sample) -> str | None:
    if sample.quantity == "speed_over_ground":
        return SPEED
    if sample.quantity != "engine_speed":
        return None
    return limits.position_of.get(engine_instance(sample.instance, len(limits.full_from)))


def _at_full(state: State) -> list[str]:
    return [p for p, lowest in state.limits.full_from.items() if p in state.now and state.now[p] >= lowest]


def _watch_throttle(state: State) -> State:
    if not _at_full(state):
        return attrs.evolve(state, full_since=None)
    if state.full_since is not None:
        return state
    return attrs.evolve(state, full_since=state.time, longest=0.0)  # the next run begins


def _watch_steadiness(state: State, name: str) -> State:
    tolerance = state.limits.tolerance
    if set(state.now) != set(tolerance) or len(_at_full(state)) < len(state.limits.full_from):
        return attrs.evolve(state, steady_since=None, lowest={}, highest={})
    value = state.now[name]
    lowest = {**state.now, **state.lowest, name: min(state.lowest.get(name, value), value)}
    highest = {**state.now, **state.highest, name: max(state.highest.get(name, value), value)}
    if state.steady_since is None or highest[name] - lowest[name] > 2 * tolerance[name]:
        return attrs.evolve(state, steady_since=state.time, lowest=state.now, highest=state.now)
    longest = max(state.longest, state.time - state.steady_since)
    return attrs.evolve(state, lowest=lowest, highest=highest, longest=longest)


def show(state: State) -> Guidance:
    """What the person steering sees: the slowest engine, large, and one thing to do."""
    limits = state.limits
    engines = {position: state.now[position] for position in limits.full_from if position in state.now}
    lowest = min(engines, key=engines.__getitem__, default=None)
    is_whole = len(engines) == len(limits.full_from)  # no number stands for an engine that is not heard
    slowest = engines[lowest] if lowest is not None and is_whole else None
    ease_off = _ease_off(state)
    high = limits.window[1] if limits.window else 6000.0
    return Guidance(
        number=slowest,
        unit="rev/min",
        decimals=0,
        word=f"{EASE_OFF}: {ease_off}" if ease_off else _word(state),
        on_target=slowest is not None and limits.window is not None and _all_inside(engines, limits.window),
        scale=(0.0, 1.1 * high),
        band=limits.window,
        progress=min(1.0, state.longest / limits.steady_seconds),
        lines=_lines(state, engines),
        done=state.longest >= limits.steady_seconds,
        of=f"lowest: {lowest}" if len(limits.full_from) > 1 and slowest is not None else "",
        urgent=bool(ease_off),
        under_way=state.full_since is not None,
        columns=tuple((position, engines.get(position)) for position in limits.full_from)
        if len(limits.full_from) > 1
        else (),
    )


def _all_inside(engines: Mapping[str, float], window: tuple[float, float]) -> bool:
    return all(window[0] <= engine_speed <= window[1] for engine_speed in engines.values())


def _full_time(state: State) -> float:
    return 0.0 if state.full_since is None else state.time - state.full_since


def _ease_off(state: State) -> str:
    """Why to ease off now; "" while there is no reason to."""
    limits = state.limits
    fast = {position for position, ease in limits.ease_at.items() if state.now.get(position, 0.0) >= ease}
    if fast & limits.running_in:
        return RUNNING_IN
    if fast:
        return "near the rev limiter"
    if _full_time(state) >= limits.full_seconds:
        return f"{in_full(limits.full_seconds)} s reached"
    return "run done" if state.longest >= limits.steady_seconds and state.full_since is not None else ""


def _word(state: State) -> str:
    limits = state.limits
    silent = [position for position in limits.full_from if position not in state.now]
    if state.longest >= limits.steady_seconds:
        return "run done"
    if not limits.full_from:
        return "no engine entered"
    if limits.running_in:
        return f"{RUNNING_IN}: no full throttle"
    if silent:
        return f"no engine speed: {', '.join(silent)}"
    if SPEED not in state.now:
        return "no speed over ground"
    if len(_at_full(state)) < len(limits.full_from):
        return "open up when clear"
    steady = 0.0 if state.steady_since is None else state.time - state.steady_since
    return "hold it" if steady >= min(2.0, limits.steady_seconds / 2) else "settling"


def _lines(state: State, engines: Mapping[str, float]) -> tuple[str, ...]:
    lines = []
    for position in sorted(state.limits.running_in):
        lines.append(f"{position}: up to {rounded(state.limits.ease_at[position])} rev/min until it is run in")
    if engines and len(state.limits.full_from) > 1:
        lines.append(", ".join(f"{position} {rounded(engine_speed)}" for position, engine_speed in engines.items()))
    if SPEED in state.now:
        lines.append(
            f"{rounded(in_unit(state.now[SPEED], 'kn', state.limits.told_in), 1)} {state.limits.told_in} over ground"
        )
    full, most = _full_time(state), state.limits.full_seconds
    lines.append(f"{rounded(full)} s at full throttle, ease off at {in_full(most)} s")
    return tuple(lines[:3])


GUIDE = LiveGuide(
    key="prop_check.full_throttle",
    title="Full-throttle run",
    quantities=("engine_speed", "speed_over_ground"),
    begin=begin,
    take=take,
    show=show,
)
