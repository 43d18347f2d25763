"""Whatever one check of a plugin does, the others are worked out, and it is told which one failed."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from types import ModuleType
from typing import Any

import pytest

from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, NotEnoughData, Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from garboard.steps import Calculator

JOB = Job(id="one", kind="commissioning", opened="2026-05-14")
VIEW = JobView(vessel=Vessel(hull_number="QQZ04417D626"), job=JOB)
BASIS = (Basis(BasisKind.SHOP_RULE, "our list"),)


class Mute(NotEnoughData):
    def __init__(self) -> None:
        """Says nothing to the class it comes from."""


class Unspeakable(Exception):
    def __str__(self) -> str:
        raise RuntimeError("no words")


def finding(**more: Any) -> Finding:
    return Finding(**{"verdict": Verdict.PASS, "about": "horn", "sentence": "It sounds.", "basis": BASIS, **more})


def raising(failure: BaseException) -> Callable[[JobView], Iterable[Finding]]:
    def compute(_view: JobView) -> Iterable[Finding]:
        raise failure

    return compute


def giving(**more: Any) -> Callable[[JobView], Iterable[Finding]]:
    return lambda _view: [finding(**more)]


def adding_to_reasons(view: JobView) -> Iterable[Finding]:
    asking: Any = view.asking()
    asking.reasons.append("the horn was not sounded")
    asking.check()
    return [finding()]


def host_with(compute: Callable[[JobView], Iterable[Finding]], basis: tuple[Basis, ...]) -> PluginHost:
    module: Any = ModuleType("checks")

    def register_calculators(register: Callable[[Calculator], None]) -> None:
        register(Calculator(key="checks.bad", title="Bad", step="checks.x", compute=compute, basis=basis, order=1))
        register(Calculator(key="checks.good", title="Good", step="checks.x", compute=giving(), basis=BASIS, order=2))

    module.register_calculators = hookimpl(register_calculators)
    return make_host((), entry_points=False, modules={"checks": module})


@pytest.mark.parametrize("basis", [BASIS, ()], ids=["with a basis", "without"])
@pytest.mark.parametrize(
    "compute",
    [
        raising(RuntimeError("broken")),
        raising(NotEnoughData("the horn is not entered")),
        raising(Mute()),
        raising(Unspeakable()),
        raising(SystemExit(3)),
        raising(GeneratorExit()),
        raising(BaseException("bare")),
        giving(verdict="pass"),
        giving(basis="abc"),
        giving(numbers=(1.5,)),
        giving(verdict=Verdict.NOT_ENOUGH_DATA, missing=("x",)),
        giving(sentence=5),
        giving(sentence="half a \ud800"),
        adding_to_reasons,
    ],
    ids=[
        "error",
        "lack",
        "mute",
        "unspeakable",
        "exit",
        "generator exit",
        "bare",
        "verdict",
        "basis",
        "numbers",
        "missing",
        "sentence",
        "surrogate",
        "reasons",
    ],
)
def test_a_check_that_fails_gives_one_finding_and_the_next_is_worked_out(
    compute: Callable[[JobView], Iterable[Finding]], basis: tuple[Basis, ...]
) -> None:
    bad, good = host_with(compute, basis).assess(VIEW)
    assert (bad.calculator, bad.finding.verdict) == ("checks.bad", Verdict.NOT_ENOUGH_DATA)
    assert bad.finding.basis, "every finding has a basis"
    assert (good.calculator, good.finding.verdict) == ("checks.good", Verdict.PASS)


class Nameless:
    def __str__(self) -> str:
        raise ValueError("no version")


def doing(what: Callable[[], object]) -> ModuleType:
    module = ModuleType("broken")

    def register_steps(register: Callable[[object], None]) -> None:
        what()

    vars(module)["register_steps"] = hookimpl(register_steps)
    return module


def registering(failure: BaseException) -> ModuleType:
    def fail() -> None:
        raise failure

    return doing(fail)


@pytest.mark.parametrize(
    "failure", [BaseException("bare"), GeneratorExit(), SystemExit(0), KeyboardInterrupt(), Unspeakable()]
)
def test_whatever_a_plugin_raises_when_it_registers_it_alone_is_broken(failure: BaseException) -> None:
    host = make_host((), entry_points=False, modules={"broken": registering(failure)})
    assert [problem.name for problem in host.problems] == ["broken"]
    assert type(failure).__name__ in host.problems[0].reason


def test_a_person_who_interrupts_ends_the_program() -> None:
    """A program that a shell started in the background ignores the signal, so Python's own answer is set first."""
    of_the_run = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            make_host((), entry_points=False, modules={"broken": doing(lambda: signal.raise_signal(signal.SIGINT))})
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, of_the_run)


def test_an_interrupt_of_the_plugins_own_making_is_its_fault_in_every_thread() -> None:
    with ThreadPoolExecutor(1) as pool:
        bad, good = pool.submit(host_with(raising(KeyboardInterrupt()), BASIS).assess, VIEW).result()
    assert (bad.finding.code, good.finding.verdict) == ("checks.bad.plugin_failed", Verdict.PASS)
    assert "KeyboardInterrupt" in bad.finding.sentence


@pytest.mark.parametrize(("name", "given"), [("_exit", (0,)), ("abort", ())])
def test_a_plugin_does_not_end_the_program_at_once(name: str, given: tuple[int, ...]) -> None:
    before = getattr(os, name)

    def ending(_view: JobView) -> Iterable[Finding]:
        assert getattr(os, name) is not before, "it would end this test run"
        getattr(os, name)(*given)
        return [finding()]

    bad, good = host_with(ending, BASIS).assess(VIEW)
    assert (bad.finding.code, good.finding.verdict) == ("checks.bad.plugin_failed", Verdict.PASS)
    assert f"os.{name}" in bad.finding.sentence
    assert getattr(os, name) is before


@pytest.mark.parametrize("version", [Nameless(), "1\n2", "\x1b[31m1", "1\ud800"])
def test_a_version_that_cannot_be_shown_is_refused(version: object) -> None:
    module: Any = ModuleType("odd")
    module.register_steps = hookimpl(lambda register: None)
    module.__version__ = version
    host = make_host((), entry_points=False, modules={"odd": module})
    assert host.plugins == []
    assert [problem.name for problem in host.problems] == ["odd"]


def test_a_lack_without_a_reason_is_still_a_sentence() -> None:
    assert str(NotEnoughData("")) == str(NotEnoughData()) == "the check gives no reason"
