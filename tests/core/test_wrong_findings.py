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
from garboard.findings import (
    Axis,
    Band,
    Basis,
    BasisKind,
    Doubt,
    Figure,
    Finding,
    Limit,
    Marker,
    Number,
    Series,
    Table,
    Verdict,
)
from garboard.hosting.cut import (
    DOUBTS_A_PLACE,
    LONGEST_NAME,
    LONGEST_TEXT,
    MOST_COLUMNS,
    MOST_POINTS,
    MOST_ROWS,
    most_findings,
)
from garboard.hosting.exact import exact
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.steps import Calculator

BASIS = (Basis(BasisKind.COMMON_PRACTICE, "An invented rule"),)
WRONG: Any = "12"
NO_TEXT: Any = 5
X = Axis("x")


def fails(**more: Any) -> Finding:
    return Finding(**{"verdict": Verdict.FAIL, "about": "pump", "sentence": "It is dead.", "basis": BASIS, **more})


def host_of(compute: Callable[[JobView], Iterable[Finding]], key: str = "w.x", **more: Any) -> PluginHost:
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        register(Calculator(key=key, title="Pump", step="w.step", compute=compute, basis=BASIS, **more))

    module = ModuleType("w")
    vars(module)["register_calculators"] = hookimpl(register_calculators)
    return make_host((), entry_points=False, modules={"w": module})


def found_by(folder: Path, compute: Callable[[JobView], Iterable[Finding]], **more: Any) -> list[Finding]:
    host = host_of(compute, **more)
    return [one.finding for one in host.assess(small_plugin.small_view(folder))]


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: Number("speed", WRONG), "value of Number 'speed'"),
        (lambda: Number(NO_TEXT, 12.0), "name of a Number"),
        (lambda: Number("speed", math.nan), "value of Number 'speed'"),
        (lambda: Number("speed", 12.0, decimals=-1), "from 0 to 9, got −1"),
        (lambda: Number("speed", 12.0, decimals=10**9), "from 0 to 9"),
        (lambda: Doubt(" ", step="a.b", field="c"), "must say what contradicts the value"),
        (lambda: Basis(WRONG, "x"), "kind of a Basis"),
        (lambda: Table("t", ("a",), ((NO_TEXT,),)), "rows of a Table"),
        (lambda: Table("t", ("a", "b"), (("1",),)), "1 cells for 2 headings"),
        (lambda: Series("s", (1.0, math.nan), (1.0, 2.0)), "finite numbers up to 1e+30, got nan"),
        (lambda: Series("s", (1.0, math.inf), (1.0, 2.0)), "finite numbers up to 1e+30, got inf"),
        (lambda: Series("s", (1.0, 1e300), (1.0, 2.0)), "up to 1e+30"),
        (lambda: Band("b", "x", -1e300, 1e300), "low must be a finite number up to 1e+30"),
        (lambda: Series("s", (WRONG, WRONG), (1.0, 2.0)), "finite numbers up to 1e+30, got '12'"),
        (lambda: Axis("x", low=math.nan), "low of an Axis"),
        (lambda: Axis("x", high=math.inf), "high must be a finite number up to"),
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


class Mute(Number):
    def __str__(self) -> str:
        raise RuntimeError("no words")


class MuteText(str):
    def __str__(self) -> str:
        raise RuntimeError("no words")

    __format__ = __str__  # type: ignore[assignment]


class MuteFinding(Finding):
    @property
    def bounded(self) -> Any:
        raise RuntimeError("no limits")


def test_nothing_of_a_plugins_own_classes_is_left_in_a_finding(tmp_path: Path) -> None:
    parts: dict[str, Any] = {
        "numbers": (Mute(MuteText("speed"), 12.0, "kn"),),
        "tables": (Table("t", ("a",), [[MuteText("cell")]]),),  # type: ignore[arg-type]
    }
    made = MuteFinding(
        verdict=Verdict.FAIL, about="pump", sentence=MuteText("It is dead."), basis=BASIS, of=MuteText(""), **parts
    )
    [finding] = found_by(tmp_path, lambda _view: [made])
    assert type(finding) is Finding
    assert f"{finding.sentence} {finding.numbers[0]}" == "It is dead. 12.0 kn"
    assert type(finding.numbers[0].name) is str
    assert finding.tables[0].rows == (("cell",),)


def test_a_finding_of_the_programs_own_types_is_left_alone() -> None:
    finding = fails(numbers=(Number("speed", 12.0, "kn", decimals=9),), tables=(Table("t", ("a",), (("1",),)),))
    assert exact(finding) is finding


@pytest.mark.parametrize(
    ("verdict", "value", "told"),
    [
        (Verdict.PASS, 99.0, "a pass has no number surely beyond its limit"),
        (Verdict.FAIL, 1.0, "a fail has a number that is not surely within"),
        (Verdict.PASS, 3.1, ""),
        (Verdict.PASS, 1.0, ""),
        (Verdict.FAIL, 2.9, ""),
        (Verdict.FAIL, 99.0, ""),
    ],
)
def test_a_verdict_against_its_own_numbers_is_not_shown(
    tmp_path: Path, verdict: Verdict, value: float, told: str
) -> None:
    limited: dict[str, Any] = {"numbers": (Number("drop", value, "%", 0.2),), "limits": (Limit("drop", high=3.0),)}
    [finding] = found_by(tmp_path, lambda _view: [fails(verdict=verdict, **limited)])
    assert finding.verdict is (Verdict.NOT_ENOUGH_DATA if told else verdict)
    assert told in finding.sentence


@pytest.mark.parametrize("key", ["prop_check.Window", "Prop Check.mine", "handover.radio_identity.one"])
def test_a_key_that_gives_codes_of_a_built_in_plugin_is_refused(key: str) -> None:
    [problem] = host_of(lambda _view: [], key).problems
    assert "begin the key with another word" in problem.reason
    assert (
        host_of(lambda _view: [], key.replace("_", "").replace(" ", "").replace("handover", "handing")).problems == []
    )


def test_columns_names_and_what_was_raised_are_cut_and_it_is_told(tmp_path: Path) -> None:
    cells = tuple(f"h{column}" for column in range(300))
    long = Number("n" * 3000, 1.0, "u" * 3000)

    def compute(_view: JobView) -> Iterator[Finding]:
        yield fails(tables=(Table("t", cells, (cells,)),), numbers=(long,), limits=(Limit(long.name, high=0.5),))
        raise ValueError("y" * 1_000_000)

    finding, fault = found_by(tmp_path, compute)
    assert [len(row) for row in (finding.tables[0].headings, *finding.tables[0].rows)] == [MOST_COLUMNS] * 2
    assert finding.sentence == f"It is dead. Of 300 columns of a table {MOST_COLUMNS} are shown."
    [(number, _limit)] = finding.bounded
    assert max(len(number.name), len(number.unit)) < LONGEST_NAME + 30
    assert len(fault.sentence) < LONGEST_TEXT + 200
    assert "1000012 letters" in fault.sentence


def test_one_who_doubts_floods_nothing(tmp_path: Path) -> None:
    places = small_plugin.small_view(tmp_path).measurements[:2]
    doubts = [
        Doubt(f"{number} {'x' * 2000}", step=one.step, field=one.field, row=one.row, of=one.of)
        for one in places
        for number in range(300)
    ]
    [finding] = found_by(tmp_path, lambda _view: [fails(doubts=tuple(doubts))], may_doubt=True)
    assert len({one.place for one in finding.doubts}) == len(places), "every value stays in doubt"
    assert len(finding.doubts) == DOUBTS_A_PLACE * len(places)
    assert max(len(one.text) for one in finding.doubts) < LONGEST_TEXT + 30


@pytest.mark.parametrize("places", [(("a", "b", "c", "d"),) * 20_000, (("a" * 5000, "b", "c", "d"),)])
def test_places_no_job_has_are_the_plugins_fault(tmp_path: Path, places: Any) -> None:
    [fault] = found_by(tmp_path, lambda _view: [fails(places=places)])
    assert (fault.code, len(fault.sentence) < LONGEST_TEXT) == ("w.x.plugin_failed", True)
