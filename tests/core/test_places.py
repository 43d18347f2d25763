"""A finding carries the values it rests on, as data: what its calculator read on the way to it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from types import ModuleType

import pytest

from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, NotEnoughData, Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import FieldKey, JobView
from garboard.records import Job, Measurement, Vessel
from garboard.steps import Calculator, Phase, Step

BASIS = (Basis(BasisKind.COMMON_PRACTICE, "a rule"),)
VALUES = (("load", "", "VHF"), ("drop", "", "VHF"), ("load", "", "Horn"), ("drop", "", "Horn"), ("water", "", ""))
VIEW = JobView(
    vessel=Vessel(hull_number="XYZAB123F526"),
    job=Job(id="a"),
    measurements=tuple(Measurement(step="p.s", field=f, row=row, of=of, value="1 V") for f, row, of in VALUES),
)


Compute = Callable[[JobView], Iterable[Finding]]


def finding(about: str, of: str = "", places: tuple[FieldKey, ...] = ()) -> Finding:
    return Finding(verdict=Verdict.FAIL, about=about, sentence="Bad.", basis=BASIS, of=of, places=places)


def host_with(compute: Compute) -> PluginHost:
    module = ModuleType("p")

    @hookimpl
    def register_steps(register: Callable[[Step], None]) -> None:
        register(Step(key="p.s", title="S", phase=Phase.ALONGSIDE, order=1))

    @hookimpl
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        register(Calculator(key="p.c", title="C", step="p.s", compute=compute, basis=BASIS))

    vars(module).update(register_steps=register_steps, register_calculators=register_calculators, __version__="1")
    return make_host((), entry_points=False, modules={"p": module})


def places_of(compute: Compute) -> list[list[str]]:
    found = host_with(compute).assess(VIEW)
    return [[f"{field} {of}".strip() for _, field, _, of in one.finding.places] for one in found]


def test_each_finding_rests_on_what_was_read_since_the_one_before() -> None:
    """One after the other, a value read for both among them."""

    def compute(view: JobView) -> Iterator[Finding]:
        for of in ("VHF", "Horn"):
            view.amount("p.s", "load", "V", of=of)
            view.value("p.s", "water")
            yield finding(of)

    assert places_of(compute) == [["load VHF", "water"], ["load Horn", "water"]]


def test_findings_worked_out_together_rest_on_all_that_was_read() -> None:
    def compute(view: JobView) -> tuple[Finding, ...]:
        view.value("p.s", "load", of="VHF")
        view.value("p.s", "drop", of="Horn")
        return finding("a"), finding("b")

    assert places_of(compute) == [["load VHF", "drop Horn"]] * 2


def test_a_finding_about_a_piece_rests_on_what_was_read_of_it() -> None:
    """And on what is of no piece; whatever else was read on the way."""

    def compute(view: JobView) -> tuple[Finding, ...]:
        for field, row, of in VALUES:
            view.value("p.s", field, row=row, of=of)
        return finding("circuit VHF", of="VHF"), finding("circuit Horn", of="Horn")

    assert places_of(compute) == [["load VHF", "drop VHF", "water"], ["load Horn", "drop Horn", "water"]]


def test_what_holds_no_value_is_no_place() -> None:
    """It is said to be missing where it matters."""

    def compute(view: JobView) -> Iterator[Finding]:
        view.value("p.s", "load", of="Radar")
        view.value("p.s", "water")
        yield finding("a")

    assert places_of(compute) == [["water"]]


def test_a_plugin_may_name_the_places_itself() -> None:
    def compute(view: JobView) -> Iterator[Finding]:
        view.value("p.s", "water")
        yield finding("a", places=(("p.s", "drop", "", "VHF"),))

    assert places_of(compute) == [["drop VHF"]]


def test_not_enough_data_names_what_is_missing_instead() -> None:
    def compute(view: JobView) -> Iterator[Finding]:
        view.value("p.s", "water")
        raise NotEnoughData("no load")

    assert places_of(compute) == [[]]


@pytest.mark.parametrize("vessel", ["kittiwake", "saltgrass", "long_reach"])
def test_every_fail_of_the_sample_jobs_leads_to_a_value_or_a_piece(vessel: str) -> None:
    """With the real plugins: no fail without a way to what it rests on, but one about what is not there."""
    from garboard.demo.samples_folder import sample_jobs_folder
    from garboard.job_files.job_file import read_job_file, view_of

    folder = sample_jobs_folder() / vessel
    view = view_of(read_job_file(folder / "job.json"), folder)
    fails = [one for one in make_host(entry_points=False).assess(view) if one.finding.verdict is Verdict.FAIL]
    told = [one for one in fails if not one.finding.notes]  # a remark is no value: it is its own place
    bare = [(one.calculator, one.finding.about) for one in told if not one.finding.places and not one.finding.of]
    assert bare == []
