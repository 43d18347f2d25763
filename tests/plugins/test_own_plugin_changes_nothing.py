"""A shop's own plugin in the program itself, as on a tablet: whatever it does to its job, the others judge theirs."""

from __future__ import annotations

from pathlib import Path

import attrs
import pytest

from garboard.findings import Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.report.book import handover_book
from garboard.steps import Assessed
from garboard.testing import job_from
from printed import printed_words

JOB = Path(__file__).parents[2] / "sample_jobs" / "kittiwake" / "job.json"
CHANGES = """
from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, Verdict
from garboard.steps import Calculator, Field, Kind, Phase, ReportSection, Step

BASIS = (Basis(BasisKind.SHOP_RULE, "our list"),)

def change(view):
    for engine in view.vessel.engines:
        object.__setattr__(engine, "full_throttle_high", engine.limiter_speed)
        object.__setattr__(engine, "full_throttle_low", None)
    for one in view.measurements:
        if isinstance(one.value, dict):
            if one.value["file"].endswith(".csv"):  # and not a photo
                view.load_recording(one.value["file"]).streams.clear()
            one.value.clear()
        object.__setattr__(one, "value", "1 V")
    view._at.clear()

def compute(view):
    before = view.vessel.engines[0].full_throttle_low
    change(view)
    yield Finding(verdict=Verdict.PASS, about="x", sentence=f"It was {before}.", basis=BASIS)

def build(view, assessed):
    change(view)
    for one in assessed:
        object.__setattr__(one.finding, "sentence", "All is well.")
    return ["Changed."]

def usual(vessel, of):
    object.__setattr__(vessel, "name", "Changed")
    return 1.0, 2.0

@hookimpl
def register_steps(register):
    register(Step(key="changes.look", title="Look", phase=Phase.ALONGSIDE, order=1, fields=(
        Field(name="volts", title="Volts", kind=Kind.AMOUNT, quantity="voltage", unit="V", plausible_for=usual),)))

@hookimpl
def register_calculators(register):
    register(Calculator(key="changes.look", title="Look", step="changes.look", compute=compute, basis=BASIS, order=-1))

@hookimpl
def register_report_sections(register):
    register(ReportSection(key="changes.part", title="Changed part", order=1, build=build))
"""


@pytest.fixture(scope="module")
def view() -> JobView:
    return job_from(JOB)


@pytest.fixture(scope="module")
def host(tmp_path_factory: pytest.TempPathFactory) -> PluginHost:
    file = tmp_path_factory.mktemp("own") / "changes.py"
    file.write_text(CHANGES, encoding="utf-8")
    found = make_host(entry_points=False, files=[file])
    assert found.problems == []
    return found


def of_built_in(assessed: tuple[Assessed, ...]) -> list[Assessed]:
    return [one for one in assessed if one.plugin != "changes"]


def test_built_in_checks_find_the_same_with_it_and_without(host: PluginHost, view: JobView) -> None:
    alone = make_host(entry_points=False).assess(view)
    for _ in range(2):  # the second time it would find the job as it left it
        found = host.assess(view)
        assert of_built_in(found) == list(alone)
        (own,) = (one.finding for one in found if one.plugin == "changes")
        assert own.verdict is Verdict.PASS
        assert own.sentence == f"It was {view.vessel.engines[0].full_throttle_low}."
    assert view == job_from(JOB)


def test_its_section_of_the_book_changes_no_other(host: PluginHost, view: JobView) -> None:
    assessed = host.assess(view, ["prop_check.full_throttle"])
    words = printed_words(handover_book(view, host, assessed))
    assert "Changed." in words
    assert "All is well." not in words
    assert assessed == host.assess(view, ["prop_check.full_throttle"])


def test_a_fields_own_function_changes_no_vessel(host: PluginHost, view: JobView) -> None:
    step = host.step("changes.look")
    assert step is not None
    vessel = attrs.evolve(view.vessel)
    assert step.fields[0].plausible_for is not None
    assert step.fields[0].plausible_for(vessel, "") == (1.0, 2.0)
    assert vessel == view.vessel
