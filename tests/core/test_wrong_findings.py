"""Findings no page could draw, or too much of them: told as the plugin's fault, or cut, and the verdict stands."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import small_plugin
from garboard import hookimpl
from garboard.findings import Axis, Band, Basis, BasisKind, Figure, Finding, Marker, Number, Series, Table, Verdict
from garboard.hosting.cut import LONGEST_TEXT, MOST_POINTS, MOST_ROWS, most_findings
from garboard.hosting.host import make_host
from garboard.job_view import JobView
from garboard.steps import Calculator

BASIS = (Basis(BasisKind.COMMON_PRACTICE, "An invented rule"),)
WRONG: Any = "12"
NO_TEXT: Any = 5
X = Axis("x")


def fails(**more: Any) -> Finding:
    return Finding(**{"verdict": Verdict.FAIL, "about": "pump", "sentence": "It is dead.", "basis": BASIS, **more})


def found_by(folder: Path, compute: Callable[[JobView], Iterable[Finding]]) -> list[Finding]:
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        register(Calculator(key="w.x", title="Pump", step="w.step", compute=compute, basis=BASIS))

    module = ModuleType("w")
    vars(module)["register_calculators"] = hookimpl(register_calculators)
    host = make_host((), entry_points=False, modules={"w": module})
    return [one.finding for one in host.assess(small_plugin.small_view(folder))]


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: Number("speed", WRONG), "value of Number 'speed'"),
        (lambda: Number(NO_TEXT, 12.0), "name of a Number"),
        (lambda: Number("speed", math.nan), "value of Number 'speed'"),
        (lambda: Basis(WRONG, "x"), "kind of a Basis"),
        (lambda: Table("t", ("a",), ((NO_TEXT,),)), "rows of a Table"),
        (lambda: Table("t", ("a", "b"), (("1",),)), "1 cells for 2 headings"),
        (lambda: Series("s", (1.0, math.nan), (1.0, 2.0)), "finite numbers, got nan"),
        (lambda: Series("s", (1.0, math.inf), (1.0, 2.0)), "finite numbers, got inf"),
        (lambda: Series("s", (WRONG, WRONG), (1.0, 2.0)), "finite numbers, got '12'"),
        (lambda: Axis("x", low=math.nan), "low of an Axis"),
        (lambda: Axis("x", high=math.inf), "high must be a finite number"),
        (lambda: Band("b", "x", math.nan, 2.0), "low of Band 'b'"),
        (lambda: Marker("m", 1.0, math.inf), "y must be a finite number"),
        (lambda: Figure(WRONG, WRONG, X, ()), "x of a Figure"),
    ],
)
def test_what_no_page_could_draw_is_the_plugins_fault(tmp_path: Path, make: Callable[[], object], told: str) -> None:
    def compute(_view: JobView) -> Iterator[Finding]:
        yield fails()
        make()

    stands, fault = found_by(tmp_path, compute)
    assert stands.verdict is Verdict.FAIL
    assert fault.code == "w.x.plugin_failed"
    assert told in fault.sentence


@pytest.mark.parametrize("given", [None, fails()])
def test_one_finding_or_none_instead_of_several_is_told(tmp_path: Path, given: Any) -> None:
    [fault] = found_by(tmp_path, lambda _view: given)
    assert "one after another" in fault.sentence


def test_a_sentence_of_millions_of_letters_is_cut_and_the_verdict_stands(tmp_path: Path) -> None:
    [finding] = found_by(tmp_path, lambda _view: [fails(sentence="word " * 1_000_000)])
    assert finding.verdict is Verdict.FAIL
    assert len(finding.sentence) < LONGEST_TEXT + 50
    assert "5000000 letters" in finding.sentence


def test_a_sentence_that_fits_is_left_alone(tmp_path: Path) -> None:
    [finding] = found_by(tmp_path, lambda _view: [fails(sentence="w" * LONGEST_TEXT)])
    assert finding.sentence == "w" * LONGEST_TEXT


def test_too_many_rows_points_and_numbers_are_cut_and_the_sentence_says_so(tmp_path: Path) -> None:
    table = Table("t", ("a",), tuple((str(row),) for row in range(20_000)))
    points = tuple(map(float, range(50_000)))
    figure = Figure("f", X, X, (Series("s", points, points),))
    numbers = tuple(Number(str(n), 1.0) for n in range(500))
    [finding] = found_by(tmp_path, lambda _view: [fails(tables=(table,), figures=(figure,), numbers=numbers)])
    assert len(finding.tables[0].rows) == MOST_ROWS
    assert MOST_POINTS // 2 <= len(finding.figures[0].series[0].x) <= MOST_POINTS
    assert len(finding.numbers) == 100
    assert finding.sentence == f"It is dead. Of 500 numbers 100 are shown. Of a table {MOST_ROWS} rows are shown."


def test_findings_without_end_are_stopped(tmp_path: Path) -> None:
    def compute(_view: JobView) -> Iterator[Finding]:
        while True:
            yield fails()

    found = found_by(tmp_path, compute)
    assert len(found) == most_findings(small_plugin.small_view(tmp_path)) + 1
    assert found[-1].code == "w.x.plugin_failed"
