"""Situations that a person of the trade judged before the program did, as variations of two sample jobs.

A trap must be named; an innocent case must not be accused. Only codes and verdicts are held to.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import attrs
import pytest

from altered_jobs import SAMPLES
from garboard.findings import Finding, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.judging.assessing import assess_job_file
from garboard.records import Engine, JsonValue, Measurement, Propeller, Vessel
from prop_check_jobs import CONDITIONS, RUNS, amount, host, recorded

HOST = host()
PASS, ADVISE, FAIL, MISSING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA
ALL_RUNS: FieldKey = (RUNS, "all_runs", "", "")


@cache
def sample(name: str) -> JobView:
    (path,) = (path for path in SAMPLES if path.parent.name == name)
    return assess_job_file(path, HOST).view


def changed(view: JobView, values: Mapping[FieldKey, JsonValue]) -> JobView:
    """The view with values put at their places."""
    kept = tuple(one for one in view.measurements if (one.step, one.field, one.row, one.of) not in values)
    put = (Measurement(step=at[0], field=at[1], row=at[2], of=at[3], value=value) for at, value in values.items())
    return attrs.evolve(view, measurements=(*kept, *put))


def with_runs(view: JobView, *runs: tuple[str, str, *tuple[int, ...]]) -> JobView:
    """The view with these runs alone: with, against or a course; speed; engine speed of every engine [rev/min]."""
    kept = tuple(one for one in view.measurements if one.step != RUNS)
    values: dict[FieldKey, JsonValue] = {}
    for number, (way, speed, *turns) in enumerate(runs, start=1):
        row = str(number)
        values[(RUNS, "course" if way.endswith("deg") else "direction", row, "")] = way
        values[(RUNS, "speed", row, "")] = speed
        for engine, value in zip(view.vessel.engines, turns, strict=True):
            values[(RUNS, "engine_speed", row, engine.position)] = f"{value} rev/min"
    return changed(attrs.evolve(view, measurements=kept), values)


def with_propeller(view: JobView, pitch: str, diameter: str = "14.5 in", of: int = 0) -> JobView:
    engines = list(view.vessel.engines)
    engines[of] = attrs.evolve(engines[of], propeller=Propeller(pitch=amount(pitch), diameter=amount(diameter)))
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, engines=tuple(engines)))


def single(pitch: str = "17 in", diameter: str = "14.5 in", **conditions: JsonValue) -> JobView:
    """150 hp, window 5000 to 6000 rev/min, limiter 6200, gear 2.08: 33.5 kn and 11 % slip with 17 in."""
    view = with_propeller(sample("saltgrass"), pitch, diameter)
    view = changed(view, {(CONDITIONS, field, "", ""): value for field, value in conditions.items()})
    return with_runs(view, ("with", "33.9 kn", 5620), ("against", "33.1 kn", 5600))


def facts(view: JobView, **known: str) -> JobView:
    """The view with other facts of the boat."""
    vessel: Vessel = attrs.evolve(view.vessel, **{name: amount(value) for name, value in known.items()})
    return attrs.evolve(view, vessel=vessel)


def diesel() -> JobView:
    """150 hp at 4050 rev/min, gear 1.62, 19 in."""
    view = single("19 in")
    given = {"full_throttle_low": "3800 rev/min", "full_throttle_high": "4200 rev/min", "gear_ratio": "1.62"}
    engine: Engine = attrs.evolve(
        view.vessel.engines[0],
        limiter_speed=amount("4300 rev/min"),
        **{name: amount(value) for name, value in given.items()},
    )
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, engines=(engine,)))


def flare() -> JobView:
    """One engine of two races for 4 s in a passing wave, and the boat loses a knot: run 1 falls in two parts."""
    made = (
        (12, 46.1, 70, (5850, 5825)),
        (4, 45.0, 70, (5850, 6150)),
        (11, 46.1, 70, (5850, 5825)),
        (10, 8.0, 150, (1200, 1200)),
        (20, 44.9, 250, (5850, 5825)),
    )
    view = changed(with_runs(sample("kittiwake")), {ALL_RUNS: {"file": "flare"}})
    return attrs.evolve(view, load_recording={"flare": recorded(made)}.__getitem__)


def told(view: JobView) -> dict[str, list[Finding]]:
    """Findings by calculator, without the plugin's name."""
    findings: dict[str, list[Finding]] = {}
    for one in HOST.assess(view):
        findings.setdefault(one.calculator.removeprefix("prop_check."), []).append(one.finding)
    return findings


def judged(view: JobView) -> dict[str, tuple[tuple[str, Verdict], ...]]:
    """Code and verdict of every finding, by calculator."""
    return {
        name: tuple((one.code.removeprefix("prop_check."), one.verdict) for one in found)
        for name, found in told(view).items()
    }


def test_a_wave_that_breaks_a_run_makes_no_second_run_of_it() -> None:
    """Two opposite runs, both engines and slip as without the wave."""
    found = told(flare())
    assert [one.verdict for one in (*found["speed"], *found["window"], *found["slip"])] == [PASS] * 5
    assert len(found["speed"][0].tables[0].rows) == 2
    assert found["speed"][0].numbers[0].value == pytest.approx(45.5, abs=0.05)


def test_a_turn_between_two_stretches_makes_two_runs_of_them() -> None:
    """The same with the throttle held through the turn; and back on the first course they are two again."""
    made = (
        (12, 46.1, 70, (5850, 5825)),
        (4, 40.0, 160, (5700, 5700)),
        (12, 44.9, 250, (5850, 5825)),
        (10, 8.0, 150, (1200, 1200)),
        (12, 44.9, 250, (5850, 5825)),
    )
    view = changed(with_runs(sample("kittiwake")), {ALL_RUNS: {"file": "turned"}})
    view = attrs.evolve(view, load_recording={"turned": recorded(made)}.__getitem__)
    assert len(told(view)["speed"][0].tables[0].rows) == 3


def test_two_runs_at_unlike_engine_speed_give_no_speed() -> None:
    """Run 2 is 480 rev/min faster and 7 kn slower: it let go, and run 1 alone is one-way."""
    found = judged(with_runs(single(), ("with", "33.9 kn", 5620), ("against", "26.5 kn", 6090)))
    assert found["readings"] == (("readings.runs_differ", ADVISE),)
    assert {found[name][0][1] for name in ("speed", "crouch", "window", "slip", "pitch")} == {MISSING}


def test_two_runs_whose_engine_speed_the_current_loads_give_a_speed() -> None:
    """120 rev/min apart is one throttle."""
    found = judged(with_runs(single(), ("with", "34.4 kn", 5670), ("against", "32.6 kn", 5550)))
    assert "readings" not in found
    assert found["speed"] == (("speed.measured", PASS),)
