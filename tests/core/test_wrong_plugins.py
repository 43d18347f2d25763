"""Wrong plugins on an office machine: none of them ends anything, and each is told by its code."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

import wrong_plugins
from garboard.findings import Verdict
from garboard.hosting.apart import Apart, Limits
from garboard.hosting.failures import PluginProblem
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.records import Job, Measurement, Vessel
from garboard.report.book import _blocks
from garboard.steps import Assessed
from wrong_plugins import BOOK, FAULT, PROBLEM, SHORTENED

VIEW = JobView(vessel=Vessel(hull_number="QQZ04417D626"), job=Job(id="one", opened="2026-05-14"))
SOURCES = wrong_plugins.sources()
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="posix and signals")


@attrs.frozen
class Run:
    host: PluginHost
    found: tuple[Assessed, ...]

    def told(self, name: str, how: str) -> list[str]:
        """The codes, or what stands in the book, by which one plugin is told."""
        if how == PROBLEM:
            return [one.code for one in self.host.problems if one.name == name]
        if how == FAULT:
            return [one.code for one in self.host.faults if one.name == name and one.at_work]
        if how == BOOK:
            (section,) = [one for one in self.host.report_sections if one.key == f"{name}.part"]
            problems: list[PluginProblem] = []
            _blocks(section, self.host, VIEW, (), problems.append)
            return [one.in_words for one in problems]
        found = [one for one in self.found if one.plugin == name]
        if how == SHORTENED:
            return ["" for one in found if one.shortened]
        return [one.finding.code.removeprefix(f"{name}.check.") for one in found]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    """All of them in one host, first and last one that is right; one job."""
    folder = tmp_path_factory.mktemp("wrong")
    texts = {"first": wrong_plugins.good("first"), **{name: text for name, (_, text) in SOURCES.items()}}
    host = make_host((), entry_points=False)
    host.apart = Apart(Limits(processor=0.3, wall=5.0, memory=1 << 28, answer=8 << 20))
    for name, text in (*texts.items(), ("last", wrong_plugins.good("last"))):
        (folder / f"{name}.py").write_text(text, encoding="utf-8")
        host.load_file(folder / f"{name}.py")
    yield Run(host, host.assess(VIEW))
    host.apart.close()


def test_there_are_enough_of_them() -> None:
    assert len(SOURCES) >= 60


@pytest.mark.parametrize("name", SOURCES)
def test_each_is_told_by_its_code(run: Run, name: str) -> None:
    (how, code), _ = SOURCES[name]
    told = run.told(name, how)
    if how == BOOK:
        assert code in told[0]
    else:
        assert code in told, (told, [one for one in run.host.faults if one.name == name])


def test_a_refused_finding_is_told_by_the_line_that_gives_it(run: Run) -> None:
    for name in ("passes_beyond_its_limit", "code_of_another", "cells_missing", "limit_of_nothing"):
        (found,) = [one.finding for one in run.found if one.plugin == name]
        line = len(SOURCES[name][1].rstrip().splitlines())
        assert f"({name}.py, line {line})" in found.sentence


@pytest.mark.parametrize("name", ["first", "last"])
def test_those_that_are_right_are_judged_and_accused_of_nothing(run: Run, name: str) -> None:
    (one,) = [one for one in run.found if one.plugin == name]
    assert (one.finding.verdict, one.finding.sentence, one.shortened) == (Verdict.FAIL, "It is dead.", False)
    assert [fault for fault in run.host.faults if fault.name == name] == []


def test_whoever_is_told_learns_the_file_and_what_to_do(run: Run) -> None:
    assert all(fault.cure and Path(fault.file).stem == fault.name for fault in run.host.faults)
    lines = {fault.name: fault.line for fault in run.host.faults}
    assert (lines["syntax"], lines["divides"], lines["leaves"]) == (1, 1, 2)
    for name, text in (("not_marked", "def register_calculators"), ("key_of_another", "register(calculator(key")):
        source = SOURCES[name][1].splitlines()
        assert text in source[lines[name] - 1]


def test_the_careless_authors_learn_the_line_and_what_to_do(run: Run) -> None:
    """By the words of the line that is told."""
    told = {
        ("lambda_in_a_loop", "same_function"): "compute=lambda view",
        ("singular_hook", "wrong_hook"): "@hookimpl",
        ("singular_hook_of_each", "wrong_hook"): "register_step = each_of",
        ("helper_beside", "no_module"): "from shop_helpers",
        ("quotes_of_a_letter", "syntax_error"): "Bilge",
        ("everything_caught_told", "swallows_errors"): "except:",
        ("kept_told", "keeps_state"): "KEPT.append",
        ("set_in_no_order", "order_by_chance"): "for about in",
        ("stops_to_look_told", "waits_for_input"): "breakpoint()",
        ("yields_steps", "hook_returns"): "@hookimpl",
        ("kept_as_a_default_told", "keeps_state"): "kept.append",
        ("if_check", "check_gives_nothing"): "if asking.check()",
        ("not_entered_fails", "not_entered_is_no"): "if view.value",
    }
    found = {(fault.name, fault.code): fault for fault in run.host.faults}
    for (name, code), words in told.items():
        assert words in SOURCES[name][1].splitlines()[found[name, code].line - 1], name
    sentences = {one.plugin: one.finding.sentence for one in run.found}
    for name, words in {
        "check_forgotten": "it gives a finding although “Dry” is not entered, and does not call check()",
        "everything_caught": "it passes although “Dry” is not entered",
        "kept_as_a_default": "it keeps its findings in the default 1",
        "waits_for_input": "it calls builtins.input, which waits for somebody to answer",
        "stops_to_look": "it calls builtins.breakpoint, which waits for somebody to answer",
        "computes_later": "'coroutine' object is not iterable",
        "takes_two": "missing 1 required positional argument",
        "kept_findings": "it keeps its findings in KEPT, so the next boat would get them as well",
        "setting_misspelt": "no plugin at work declares the setting 'setting_misspelt.gome'",
        "gives_nothing": "write 'yield' before each Finding(...)",
        "gives_one": "write 'yield' in place of 'return'",
    }.items():
        assert words in sentences[name]
        assert f"({name}.py, line " in sentences[name]


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"x = 1\ny = 'rake 3\xb0'\n", 2),
        (b"\n\n# \xe4\n", 3),
        ("x = 1".encode("utf-16"), 0),
        (b"\xfe\xff\x00x", 0),
    ],
)
def test_a_file_that_is_not_saved_as_utf_8_is_told_by_its_line(tmp_path: Path, content: bytes, line: int) -> None:
    (tmp_path / "rake.py").write_bytes(content)
    (problem,) = make_host((), entry_points=False, files=[tmp_path / "rake.py"]).problems
    assert (problem.code, problem.line, Path(problem.file).name) == ("not_utf8", line, "rake.py")
    assert "UTF-8" in problem.cure


def test_a_file_that_states_its_encoding_is_read_by_it(tmp_path: Path) -> None:
    text = wrong_plugins.good("rake").replace("It is dead.", "3\N{DEGREE SIGN} off")
    for number, content in enumerate((b"# coding: cp1252\n" + text.encode("cp1252"), text.encode("utf-8-sig"))):
        file = tmp_path / f"rake{number}.py"
        file.write_bytes(content)
        assert make_host((), entry_points=False, files=[file]).problems == []


INNOCENT = """
TABLE = {"a": 1}
NAMES = {"bow", "stern"}

def judge(view, name):
    asking = view.asking()
    dry = asking.yes("NAME.step", "dry")
    if asking.missing:
        yield not_enough_data(name, asking.missing, BASIS)
        return
    yield found(about=name)

def compute(view):
    own = []
    for name in sorted(NAMES):
        own.append(TABLE["a"])
        one = view.asking()
        one.yes("NAME.step", "dry")
        try:
            one.check()
        except NotEnoughData as lacking:
            yield not_enough_data(name, lacking.missing, BASIS)
            continue
    for row in ("1", "2", "3", "4"):  # those that are entered are judged, one after the other
        each = view.asking()
        each.yes("NAME.step", "here", row=row)
        each.yes("NAME.step", "tight", row=row)
        try:
            each.check()
        except NotEnoughData:
            continue
        yield found(verdict=Verdict.PASS, about=f"cleat {row}")
    photo = view.value("NAME.step", "dry")
    if photo:
        own.append(photo)
    reading = view.value("NAME.step", "dry")
    if reading is None:
        own.append(0)
    elif not reading:
        yield found(verdict=Verdict.FAIL)
    try:
        volts = float("x")
    except Exception:
        volts = sum(len(name) for name in NAMES)
    yield found(verdict=Verdict.PASS, about=str(volts))
    yield ALWAYS

ALWAYS = found(about="always")
LISTED = [ALWAYS]

@hookimpl
def register_steps(register):
    cleats = Field(name="cleats", title="Cleats", kind=Kind.TABLE, columns=(
        Field(name="here", title="Here", kind=Kind.YES_NO), Field(name="tight", title="Tight", kind=Kind.YES_NO)))
    register(step(fields=(DRY, cleats)))

@hookimpl
def register_calculators(register):
    from functools import partial
    register(calculator())
    register(calculator(key="NAME.listed", compute=lambda view: LISTED))
    for name in NAMES:
        register(calculator(key=f"NAME.{name}", compute=partial(judge, name=name)))
        register(calculator(key=f"NAME.{name}_too", compute=lambda view, name=name: judge(view, name)))
"""


def test_what_a_careful_author_writes_is_not_accused(tmp_path: Path) -> None:
    (tmp_path / "careful.py").write_text(wrong_plugins.made("careful", INNOCENT), encoding="utf-8")
    host = make_host((), entry_points=False, files=[tmp_path / "careful.py"])
    assert host.faults == ()
    entered = [("1", "here"), ("2", "here"), ("2", "tight"), ("3", "here"), ("4", "here"), ("4", "tight")]
    of_cleats = tuple(Measurement(step="careful.step", field=name, row=row, value=True) for row, name in entered)
    cleats = [
        one.finding.about
        for one in host.assess(attrs.evolve(VIEW, measurements=of_cleats))
        if one.finding.about.startswith("cleat")
    ]
    assert cleats == ["cleat 2", "cleat 4"]
    for _ in range(2):
        codes = {one.finding.code for one in host.assess(VIEW)}
        assert not any(code.endswith("plugin_failed") for code in codes), codes
    assert {"careful.check.pass", "careful.listed.fail", "careful.bow.not_enough_data"} <= codes


def test_no_more_processes_were_started_than_plugins_ended_theirs(run: Run) -> None:
    ended = {"took_too_long", "process_ended"}
    by_code = sum(code in ended for (_, code), _ in SOURCES.values())
    by_hand = sum(name in ("section_loops", "leaves_a_thread") for name in SOURCES)
    assert run.host.apart is not None
    assert run.host.apart.starts <= 1 + by_code + by_hand
