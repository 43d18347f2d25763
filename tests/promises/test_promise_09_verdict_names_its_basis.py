"""Promise 9: a verdict names its basis and its uncertainty; outside its valid range a calculator gives no number."""

import math
import re

import pytest

from garboard.findings import Basis, BasisKind, Finding, Number, Verdict
from garboard.hosting.host import BUILT_IN, PluginHost, make_host
from garboard.job_view import JobView
from garboard.records import (
    ENGINE_POSITIONS,
    Battery,
    Circuit,
    Engine,
    HeadingSensor,
    Job,
    NetworkBus,
    NetworkDevice,
    Propeller,
    Tank,
    Vessel,
)
from garboard.steps import Kind

JUDGING = tuple(name for name in BUILT_IN if name != "garboard_shop")
"""Every plugin that ships judges something; the shop server alone only carries entries."""
BASIS = (Basis(BasisKind.SHOP_RULE, "Invented rule"),)


def built_in(name: str) -> PluginHost:
    host = make_host((name,), entry_points=False)
    assert host.problems == []
    return host


def bare_vessel() -> Vessel:
    """A vessel with one of everything and nothing entered about any of it."""
    return Vessel(
        hull_number="ABC12345C393",
        engines=tuple(Engine(position=position, propeller=Propeller()) for position in ENGINE_POSITIONS[2]),
        tanks=(Tank(name="main"),),
        batteries=(Battery(name="house"),),
        circuits=(Circuit(name="Bilge pump"),),
        heading_sensors=(HeadingSensor(name="A"),),
        networks=(NetworkBus(name="backbone", devices=(NetworkDevice(name="display"),)),),
    )


EMPTY_JOBS = {
    "a hull number alone": JobView(vessel=Vessel(hull_number="ABC12345C393"), job=Job(id="J-1")),
    "equipment nobody described": JobView(vessel=bare_vessel(), job=Job(id="J-1")),
}


@pytest.mark.parametrize("verdict", Verdict)
def test_no_finding_is_made_without_a_basis(verdict: Verdict) -> None:
    with pytest.raises(ValueError, match="has no basis"):
        Finding(verdict=verdict, about="Horn", sentence="Loud.", basis=())


def test_not_enough_data_cannot_carry_a_number() -> None:
    with pytest.raises(ValueError, match="must not give a number"):
        Finding(
            verdict=Verdict.NOT_ENOUGH_DATA, about="Horn", sentence="?", basis=BASIS, numbers=(Number("loud", 1.0),)
        )


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_and_its_uncertainty_are_finite(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        Number("slip", value)
    with pytest.raises(ValueError, match="finite"):
        Number("slip", 1.0, expanded_uncertainty=value)


def test_an_uncertainty_is_never_negative_and_is_shown_with_its_number() -> None:
    with pytest.raises(ValueError, match="zero or above"):
        Number("slip", 1.0, expanded_uncertainty=-0.1)
    assert str(Number("slip", 12.44, "%", 1.06)) == "12.4 ± 1.1 %"


@pytest.mark.parametrize("job", EMPTY_JOBS.values(), ids=EMPTY_JOBS)
@pytest.mark.parametrize("plugin", JUDGING)
def test_on_an_empty_job_every_calculator_says_not_enough_data_and_gives_no_number(plugin: str, job: JobView) -> None:
    host = built_in(plugin)
    assert host.calculators
    for one in host.assess(job):
        assert one.finding.verdict is Verdict.NOT_ENOUGH_DATA, one
        assert one.finding.numbers == ()
        assert one.finding.figures == ()
        cells = [cell for table in one.finding.tables for row in table.rows for cell in row]
        assert not any(re.search(r"\d", cell) for cell in cells), "a table may list what is missing, no number"
        assert one.finding.basis
        assert "failed in" not in one.finding.sentence, "a crash is not an honest 'not enough data'"


@pytest.mark.parametrize("plugin", JUDGING)
def test_every_calculator_names_a_basis_and_a_step_that_is_there(plugin: str) -> None:
    host = built_in(plugin)
    for calculator in host.calculators:
        assert calculator.basis
        assert host.step(calculator.step) is not None, calculator.key


@pytest.mark.parametrize("plugin", JUDGING)
def test_every_caution_and_every_default_names_its_basis(plugin: str) -> None:
    host = built_in(plugin)
    bases = [caution.basis for step in host.steps for caution in step.cautions]
    bases += [setting.basis for setting in host.settings]
    assert all(len(basis.text) > 3 for basis in bases)


@pytest.mark.parametrize("plugin", JUDGING)
def test_a_report_section_of_an_empty_job_holds_no_number(plugin: str) -> None:
    host = built_in(plugin)
    job = host.with_defaults(EMPTY_JOBS["equipment nobody described"])
    for section in host.report_sections:
        for block in section.build(job, host.assess(job)):
            if isinstance(block, Finding):
                assert block.verdict is Verdict.NOT_ENOUGH_DATA
            elif isinstance(block, str):
                assert not re.search(r"\bnan\b|\binf\b", block)


@pytest.mark.parametrize("plugin", JUDGING)
def test_every_amount_a_person_may_enter_has_a_hard_range(plugin: str) -> None:
    """Outside it the tablet refuses; without one any slip of the thumb would be taken for a reading."""
    fields = [field for step in built_in(plugin).steps for field in step.all_fields()]
    without = [field.name for field in fields if field.kind is Kind.AMOUNT and field.hard is None]
    assert without == []
