"""What several calculators ask for is worked out once while a job is assessed, and no finding shows the difference."""

from __future__ import annotations

import cProfile
import pstats
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import ModuleType

import attrs
import pytest

import small_plugin
from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, Lack, NotEnoughData, Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import JobView
from garboard.steps import Assessed, Calculator

SAMPLE = Path(__file__).parents[2] / "sample_jobs" / "kittiwake" / "job.json"
OTHER_SAMPLE = SAMPLE.parents[1] / "long_reach" / "job.json"
BASIS = (Basis(BasisKind.COMMON_PRACTICE, "An invented rule"),)
FIELD = "battery"


class Work:
    """Reads one value and one setting, and counts how often it is done."""

    def __init__(self, lacks: bool = False) -> None:
        self.done = 0
        self.lacks = lacks

    def __call__(self, view: JobView, field: str) -> str:
        self.done += 1
        value = view.value("small.horn", field)
        view.setting_value("small.patience", "s")
        if self.lacks:
            raise NotEnoughData("too few", lack=Lack.TOO_LITTLE, step="small.horn", field=field)
        return str(value)


def found(about: str, sentence: str) -> Finding:
    return Finding(verdict=Verdict.PASS, about=about, sentence=sentence, basis=BASIS)


def asks(key: str, *questions: Callable[[JobView], str]) -> Calculator:
    def compute(view: JobView) -> Iterator[Finding]:
        for question in questions:
            yield found(key, question(view))

    return Calculator(key=key, title=key, step="small.horn", compute=compute, basis=BASIS)


def host_of(*calculators: Calculator) -> PluginHost:
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        for calculator in calculators:
            register(calculator)

    module = ModuleType("asker")
    vars(module)["register_calculators"] = hookimpl(register_calculators)
    return make_host((), entry_points=False, modules={"small": small_plugin.small_module(), "asker": module})


def patient(folder: Path) -> JobView:
    return small_plugin.with_settings(small_plugin.small_view(folder), {"small.patience": "12 s"})


def of_asker(assessed: Iterable[Assessed]) -> list[Assessed]:
    return [one for one in assessed if one.plugin == "asker"]


@pytest.mark.parametrize("lacks", [False, True])
def test_two_calculators_share_one_work_and_tell_the_same_as_if_each_had_done_it(tmp_path: Path, lacks: bool) -> None:
    shared, own = Work(lacks), Work(lacks)
    view = patient(tmp_path)

    def told(*questions: Callable[[JobView], str]) -> list[Assessed]:
        first, second = asks("a.first", *questions), asks("a.second", *questions)
        return of_asker(host_of(first, second).assess(view))

    together = told(lambda view: view.once(shared, FIELD), lambda view: view.once(shared, FIELD))
    apart = told(lambda view: own(view, FIELD), lambda view: own(view, FIELD))
    assert (shared.done, own.done) == (1, 2 if lacks else 4)
    assert together == apart
    assert [one.key for assessed in together for one in assessed.settings_used] == ["small.patience"] * len(together)
    if not lacks:
        assert all(("small.horn", FIELD, "", "") in one.finding.places for one in together)


def test_asked_of_another_thing_it_is_another_work(tmp_path: Path) -> None:
    work = Work()
    calculator = asks("a.first", *(lambda view, field=field: view.once(work, field) for field in (FIELD, "heard")))
    assert [one.finding.sentence for one in of_asker(host_of(calculator).assess(patient(tmp_path)))] == [
        "12.65 V",
        "False",
    ]
    assert work.done == 2


def test_another_run_and_a_changed_view_begin_anew(tmp_path: Path) -> None:
    work, view = Work(), patient(tmp_path)
    host = host_of(asks("a.first", lambda view: view.once(work, FIELD)))
    assert of_asker(host.assess(view)) == of_asker(host.assess(view))
    assert work.done == 2

    def of_changed(view: JobView) -> str:
        before = view.once(work, FIELD)
        return f"{before}, {attrs.evolve(view, measurements=()).once(work, FIELD)}"

    (changed,) = of_asker(host_of(asks("a.first", of_changed)).assess(view))
    assert changed.finding.sentence == "12.65 V, None"


def test_work_that_fails_otherwise_is_done_again(tmp_path: Path) -> None:
    """Only what a job lacks is kept: a fault of the plugin is told where it happens, each time."""
    done = []

    def fails(_view: JobView) -> str:
        done.append(1)
        raise ValueError("broken")

    once = [asks(key, lambda view: view.once(fails)) for key in ("a.first", "a.second")]
    codes = [one.finding.code for one in of_asker(host_of(*once).assess(patient(tmp_path)))]
    assert codes == ["a.first.plugin_failed", "a.second.plugin_failed"]
    assert len(done) == 2


def test_outside_a_run_the_work_is_done_each_time(tmp_path: Path) -> None:
    work, view = Work(), small_plugin.small_host().with_defaults(patient(tmp_path))
    assert view.once(work, FIELD) == view.once(work, FIELD) == "12.65 V"
    assert work.done == 2


@pytest.mark.parametrize(("doubts_in", "runs"), [((), 1), (("small",), 1), (("other", "vessel"), 0)])
def test_a_step_alone_runs_only_checks_that_may_doubt_its_values(
    tmp_path: Path, doubts_in: tuple[str, ...], runs: int
) -> None:
    """A tablet judges one step after each value saved: a check that reads long recordings is not run for nothing."""
    doubter, rests = Work(), Work()
    asked = asks("a.doubter", lambda view: doubter(view, FIELD))
    asked = attrs.evolve(asked, step="another.step", may_doubt=True, doubts_in=doubts_in)
    resting = asks("a.rests", lambda view: rests(view, FIELD))
    host = host_of(asked, resting)
    assert [one.calculator for one in of_asker(host.assess(patient(tmp_path), ["small.horn"]))] == ["a.rests"]
    assert (doubter.done, rests.done) == (runs, 1)
    host.assess(attrs.evolve(patient(tmp_path), measurements=()), ["small.horn"])
    assert (doubter.done, rests.done) == (runs, 2)  # nothing is entered, so nothing can be doubted


def test_each_step_of_a_sample_job_alone_is_found_as_in_the_whole_job() -> None:
    host = make_host()
    view = view_of(read_job_file(OTHER_SAMPLE, host), OTHER_SAMPLE.parent)
    wrong = [attrs.evolve(one, value="25.4 V") if one.field == "rest_voltage" else one for one in view.measurements]
    view = attrs.evolve(view, measurements=tuple(wrong))
    whole = host.assess(view)
    assert any(one.finding.doubted for one in whole)
    for step in host.steps:
        assert host.assess(view, [step.key]) == tuple(one for one in whole if one.step == step.key)


def test_of_a_sample_job_what_is_shared_is_worked_out_once() -> None:
    """Every calculator of a subject asks for it: without sharing, the time of all of them would multiply."""
    host = make_host()
    view = view_of(read_job_file(SAMPLE, host), SAMPLE.parent)
    host.assess(view)  # what every process does once
    profile = cProfile.Profile()
    profile.runcall(host.assess, view)
    calls: Counter[str] = Counter()
    for (file, _, function), (_, count, *_) in pstats.Stats(profile).stats.items():  # type: ignore[attr-defined]
        calls[f"{Path(file).parent.name}.{function}"] += count
    circuits = len(view.vessel.circuits)
    assert circuits > 5
    assert calls["garboard_wiring_audit.outcome_of"] == 7  # one a rule
    assert calls["garboard_wiring_audit.facts_of"] == 2 * circuits  # with what the current meter adds, and without
    assert calls["garboard_wiring_audit._contradiction"] == circuits
    assert calls["garboard_fuel_curve.curve_of"] == 1
    assert calls["garboard_fuel_curve.readings"] == 1
    assert calls["garboard_fuel_curve.contradictions"] == 1
    assert calls["garboard_prop_check.runs_of"] == 1
    assert calls["garboard_prop_check.average_engine_speed"] == len(view.vessel.engines)
    assert calls["garboard_heading_calibration.variation_at"] == 1
