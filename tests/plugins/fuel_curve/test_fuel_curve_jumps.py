"""A fuel meter that jumps in mid-run while engine and boat do not carries no figure; what is innocent does."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable

import pytest

from builders import findings_of, job_view
from fuel_curve_jobs import HOST, PLANING, STEPS, TANKS, recorded, typed
from garboard.findings import Finding, Lack, Verdict
from garboard.job_view import FieldKey
from garboard.records import ENGINE_POSITIONS, Engine, JsonValue, Vessel
from garboard.samples import Sample, gather
from garboard.units import Amount

ROWS = [(e, s, f) for e, s, f in PLANING if e in (650, 1500, 2000, 2500, 3000, 3500, 4000)]
LEG = 46.0
"""Seconds a step takes each way in these recordings; the fourth step, the hump, is run out from here [s]."""
IN_A_RUN = 4 * 2 * LEG + 26.0
"""A moment in the middle of the way out at 3000 rev/min [s]."""

Change = Callable[[Sample], float]


def judged(change: Change, *, engines: int = 2, seed: int = 1, noise: float = 0.01) -> dict[str, Finding]:
    """What is said of figures of a recording whose fuel flow is changed so, after noise of its own."""
    chance = random.Random(seed)
    samples = [_changed(one, change, chance, noise) for one in recorded(ROWS, engines, current=0.8, hold=40)]
    values: dict[FieldKey, JsonValue] = {
        (STEPS, "recording", "", ""): {"file": "run.log"},
        (STEPS, "fuel", "", ""): "gasoline",
        (TANKS, "usable_fuel", "", ""): "60 gal",
    }
    vessel = Vessel(
        hull_number="ABC12345C393",
        engines=tuple(Engine(position=p, rated_power=Amount.parse("200 hp")) for p in ENGINE_POSITIONS[engines]),
    )
    view = job_view(vessel, values, recordings={"run.log": gather("run.log", samples)})
    return {name: findings_of(HOST, view, f"fuel_curve.{name}")[0] for name in ("curve", "best_cruise", "range")}


def _changed(one: Sample, change: Change, chance: random.Random, noise: float) -> Sample:
    if one.quantity != "fuel_flow":
        return one
    return one._replace(value=change(one._replace(value=one.value * (1 + chance.gauss(0, noise)))))


def times(factor: float, spans: Iterable[tuple[float, float]], instances: str = "01") -> Change:
    """Flow so many times what it was within spans of time, of some engines."""
    of = tuple(spans)

    def change(one: Sample) -> float:
        hit = one.instance in instances and any(start <= one.time < end for start, end in of)
        return factor * one.value if hit else one.value

    return change


@pytest.mark.parametrize("factor", [0.5, 2.0])
@pytest.mark.parametrize("instances", ["01", "1"])
@pytest.mark.parametrize("spans", [[(IN_A_RUN, 1e9)], [(0, IN_A_RUN)], [(IN_A_RUN, IN_A_RUN + 15)]])
def test_a_meter_that_jumps_in_a_run_carries_no_figure(
    factor: float, instances: str, spans: list[tuple[float, float]]
) -> None:
    """By hand: 9.5 gal/h of two engines at 3000 rev/min is 4.75 of each."""
    for found in judged(times(factor, spans, instances)).values():
        assert {(one.lack, one.field) for one in found.missing} == {(Lack.CONTRADICTS, "recording")}
        assert all("while engine speed and speed held, 6 min" in one.text for one in found.missing)
        said = " ".join(one.text for one in found.missing)
        assert "of the starboard engine went from" in said
        assert ("of the port engine went from" in said) is (instances == "01")


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_meter_that_jumps_as_the_boat_turns_round_carries_no_figure(factor: float) -> None:
    """While the throttle is off nothing shows it; the way out and the way back do not agree."""
    turning = 4 * 2 * LEG + LEG + 3.0
    for found in judged(times(factor, [(turning, turning + LEG)])).values():
        assert {(one.lack, one.field) for one in found.missing} == {(Lack.CONTRADICTS, "recording")}
        assert "at one engine speed, 7 min" in found.missing[0].text


@pytest.mark.parametrize("step", range(2, len(ROWS)))
def test_a_meter_that_halves_at_a_change_of_throttle_tells_no_range(step: int) -> None:
    """Not the first: where only idle was read right, nothing in the recording says so."""
    since = step * 2 * LEG + 3.0
    found = judged(times(0.5, [(since, 1e9)]), engines=1)["range"]
    assert (found.verdict, found.missing[0].lack) == (Verdict.NOT_ENOUGH_DATA, Lack.CONTRADICTS)


def digits(step: float) -> Change:
    return lambda one: round(one.value / step) * step


INNOCENT: dict[str, Change] = {
    "noise": lambda one: one.value,
    "a display of tenths of a gallon": digits(0.3785),
    "an engine that warms up": lambda one: one.value * (1.3 - 0.3 * min(one.time / 300, 1)),
    "a burst of one reading": lambda one: one.value * (2.0 if round(one.time) == round(IN_A_RUN) else 1.0),
    "an alternator at idle": lambda one: one.value * (1.4 if 30 <= one.time < LEG else 1.0),
    "a paddle wheel that stands still at idle": lambda one: one.value * (0.0 if 20 <= one.time < LEG else 1.0),
    "a meter that averages": lambda one: one.value * (1 + 0.1 * ((one.time // 10) % 2)),
}


@pytest.mark.parametrize("name", INNOCENT)
def test_what_every_meter_does_is_no_jump(name: str) -> None:
    for calculator, found in judged(INNOCENT[name], seed=3).items():
        assert found.verdict is not Verdict.NOT_ENOUGH_DATA, (calculator, found.sentence)


def test_a_flow_sent_seldom_is_judged_by_more_seconds() -> None:
    """Each three seconds: eight seconds would hold too few readings to tell."""
    kept: dict[str, float] = {}

    def seldom(factor: float) -> Change:
        def change(one: Sample) -> float:
            if round(one.time) % 3 == 0 or one.instance not in kept:
                kept[one.instance] = one.value * (factor if one.time >= IN_A_RUN else 1.0)
            return kept[one.instance]

        return change

    assert judged(seldom(1.0), noise=0.02)["range"].verdict is Verdict.PASS
    kept.clear()
    assert judged(seldom(0.5), noise=0.02)["range"].missing[0].lack is Lack.CONTRADICTS


def test_a_throttle_really_moved_is_no_jump() -> None:
    """Engine speed, flow and speed step up together, within what one throttle setting holds."""
    chance = random.Random(5)

    def moved(one: Sample) -> Sample:
        more = 1.02 if one.time >= IN_A_RUN else 1.0
        power = {"engine_speed": 1.0, "speed_over_ground": 1.2, "fuel_flow": 2.5}.get(one.quantity, 0.0)
        noise = chance.gauss(0, 0.003) if power else 0.0
        return one._replace(value=one.value * (more**power + noise))

    samples = [moved(one) for one in recorded(ROWS, 1, current=0.8, hold=40)]
    values: dict[FieldKey, JsonValue] = {
        (STEPS, "recording", "", ""): {"file": "run.log"},
        (TANKS, "usable_fuel", "", ""): "60 gal",
    }
    engine = Engine(position="centre", rated_power=Amount.parse("200 hp"))
    vessel = Vessel(hull_number="ABC12345C393", engines=(engine,))
    view = job_view(vessel, values, recordings={"run.log": gather("run.log", samples)})
    assert findings_of(HOST, view, "fuel_curve.range")[0].verdict is Verdict.PASS


def test_rows_typed_off_a_meter_that_jumps_in_the_recording_beside_them_carry_no_figure() -> None:
    """The rows are sound by themselves, and so is the curve beside a recording that does not jump."""

    def found(factor: float) -> dict[str, Finding]:
        chance = random.Random(2)
        change = times(factor, [(IN_A_RUN, 1e9)])
        samples = [_changed(one, change, chance, 0.01) for one in recorded(ROWS, 1, current=0.8, hold=40)]
        values: dict[FieldKey, JsonValue] = {**typed(PLANING), (STEPS, "recording", "", ""): {"file": "run.log"}}
        values[TANKS, "usable_fuel", "", ""] = "60 gal"
        engine = Engine(position="centre", rated_power=Amount.parse("350 hp"))
        vessel = Vessel(hull_number="ABC12345C393", engines=(engine,))
        view = job_view(vessel, values, recordings={"run.log": gather("run.log", samples)})
        return {name: findings_of(HOST, view, f"fuel_curve.{name}")[0] for name in ("curve", "best_cruise", "range")}

    sound, jumping = found(1.0), found(0.5)
    assert sound["range"].verdict is Verdict.PASS
    assert (jumping["curve"].code, jumping["curve"].verdict) == ("fuel_curve.curve.meter_jumps", Verdict.ADVISE)
    for name in ("best_cruise", "range"):
        assert jumping[name].missing[0].lack is Lack.CONTRADICTS
