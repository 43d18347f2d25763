"""Change the program in one small way at a time: some test must fail each time.

Run:  python tests/campaigns/mutants.py WORK
      python tests/campaigns/mutants.py WORK --seed 7 --count 50

WORK is a folder for the copy of the project that is changed, for what each test runs through, and for results.jsonl.
Started again, the campaign goes on where it stopped.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import json
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import attrs
import pytest
from scipy.stats import beta

PROJECT = Path(__file__).parents[2]
PARTS = (
    "core/garboard/history",
    "core/garboard/disk",
    "plugins/garboard_wiring_audit",
    "plugins/garboard_heading_calibration",
    "plugins/garboard_prop_check",
    "plugins/garboard_fuel_curve",
)
NO_CALCULATION = ("__init__.py", "steps.py", "guide.py", "bases.py")
TESTS = (
    "tests/core",
    "tests/published",
    "tests/promises",
    *(f"tests/plugins/{name}" for name in ("wiring_audit", "heading_calibration", "prop_check", "fuel_curve")),
    "tests/plugins/handover",
    "tests/plugins/shop",
)
LEFT_OUT = ("tests/promises/test_promises_over_postgresql.py", "tests/promises/test_promises_over_the_network.py")

STAGES = ((0, 30, 4.0), (30, 400, 20.0))
"""Of the tests that run through a mutant, the quickest first: from which on, to which, and no longer than [s]. What
lives through the first stage is tried once more."""

OUT_OF_TIME, AT_IMPORT = "out of time", "at import"
FORK = multiprocessing.get_context("fork")
LIBRARIES = ("attrs", "cattrs", "click", "hypothesis", "numpy", "pint", "pluggy", "pygeomag", "rich.console", "tinydb")
"""Imported once for all: half of what a run of a few tests takes."""

OTHER: Mapping[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


@attrs.frozen
class Mutant:
    """One small change: the bytes from start to end of a file become `new`."""

    path: str
    line: int
    last_line: int
    start: int
    end: int
    old: str
    new: str


def mutants_of(path: str, source: str) -> list[Mutant]:
    """Every mutant of a file."""
    starts = [0]
    for row in source.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(row))
    found = []
    for node, new in _changes(ast.parse(source)):
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        start, end = starts[node.lineno - 1] + node.col_offset, starts[node.end_lineno - 1] + node.end_col_offset
        old = source.encode()[start:end].decode()
        found.append(Mutant(path, node.lineno, node.end_lineno, start, end, old, new))
    return found


def _changes(tree: ast.Module) -> Iterator[tuple[ast.expr | ast.stmt, str]]:
    """Each place that can be changed, and what it becomes. Text, annotations and declarations stay."""
    waiting: list[tuple[ast.AST, bool]] = [(node, False) for node in tree.body]
    while waiting:
        node, in_function = waiting.pop()
        if isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Call) and not in_function):
            continue
        if isinstance(node, ast.expr):
            yield from ((node, f"({ast.unparse(new)})") for new in _of_expression(node))
        elif isinstance(node, ast.stmt) and in_function:
            yield from ((node, new) for new in _of_statement(node))
        in_function = in_function or isinstance(node, ast.FunctionDef)
        for name, value in ast.iter_fields(node):
            if name not in ("annotation", "returns", "decorator_list", "bases"):
                parts = value if isinstance(value, list) else [value]
                waiting += [(part, in_function) for part in parts if isinstance(part, ast.AST)]
        if isinstance(node, ast.If | ast.While | ast.IfExp):
            yield node.test, f"(not ({ast.unparse(node.test)}))"
        elif isinstance(node, ast.comprehension):
            yield from ((test, f"(not ({ast.unparse(test)}))") for test in node.ifs)


def _of_expression(node: ast.expr) -> Iterator[ast.expr]:
    if isinstance(node, ast.Compare):
        for at, sign in enumerate(node.ops):
            ops = [*node.ops[:at], OTHER[type(sign)](), *node.ops[at + 1 :]]
            yield ast.Compare(node.left, ops, node.comparators)  # type: ignore[arg-type]
    elif isinstance(node, ast.BinOp) and type(node.op) in OTHER and not _is_text(node.left, node.right):
        yield ast.BinOp(node.left, OTHER[type(node.op)](), node.right)  # type: ignore[arg-type]
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(OTHER[type(node.op)](), node.values)  # type: ignore[arg-type]
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        yield ast.Constant(node.value + 1)


def _is_text(*sides: ast.expr) -> bool:
    return any(
        isinstance(s, ast.JoinedStr) or (isinstance(s, ast.Constant) and isinstance(s.value, str)) for s in sides
    )


def _of_statement(node: ast.stmt) -> Iterator[str]:
    """A statement dropped, or a value that is not given back."""
    if isinstance(node, ast.Return):
        if node.value is not None and not (isinstance(node.value, ast.Constant) and node.value.value is None):
            yield "return None"
    elif isinstance(node, ast.AugAssign | ast.Raise | ast.Continue | ast.Break):
        yield "pass"
    elif isinstance(node, ast.Assign):
        if not any(isinstance(target, ast.Name | ast.Tuple) for target in node.targets):
            yield "pass"
    elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        yield "pass"


def sample(count: int, seed: int) -> list[Mutant]:
    """So many mutants, drawn at random from all of them."""
    files = sorted(file for part in PARTS for file in (PROJECT / part).rglob("*.py") if file.name not in NO_CALCULATION)
    every = [one for file in files for one in mutants_of(str(file.relative_to(PROJECT)), file.read_text())]
    print(f"{len(every)} mutants in {len(files)} files")
    return random.Random(seed).sample(every, min(count, len(every)))


class Ways:
    """Which tests run through a line, found once by running them all under coverage."""

    def __init__(self, work: Path) -> None:
        report = work / "ways.json"
        if not report.exists():
            _measure_ways(work, report)
        found = json.loads(report.read_text())
        self._seconds: dict[str, float] = found["seconds"]
        self._lines: dict[str, dict[str, list[str]]] = found["lines"]

    def through(self, mutant: Mutant) -> list[str]:
        """The tests that run through a mutant, quickest first; those of its file for what runs at import."""
        lines = self._lines.get(mutant.path, {})
        tests = {test for line in range(mutant.line, mutant.last_line + 1) for test in lines.get(str(line), ())}
        if not tests - {""}:
            tests = {test for each in lines.values() for test in each}
        return sorted((test for test in tests if test in self._seconds), key=lambda test: (self._seconds[test], test))

    def up_to(self, tests: Sequence[str], seconds: float) -> list[str]:
        """The first of some tests, as far as the time goes; one at least."""
        chosen: list[str] = []
        for test in tests:
            seconds -= self._seconds[test]
            if chosen and seconds < 0:
                break
            chosen.append(test)
        return chosen


class Recorder:
    """A plugin of pytest: tells coverage which test is running, and keeps how long each took and whether it passed."""

    def __init__(self, switch: Callable[[str], object]) -> None:
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()
        self._switch = switch

    @pytest.hookimpl(wrapper=True, tryfirst=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Around each test."""
        started = time.monotonic()
        self._switch(item.nodeid)
        try:
            return (yield)
        finally:
            self._switch("")
            self.seconds[item.nodeid] = time.monotonic() - started

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """After each part of a test."""
        if not report.passed:
            self.failed.add(report.nodeid)


def _measure_ways(work: Path, report: Path) -> None:
    import coverage

    measuring = coverage.Coverage(data_file=None, source=[str(PROJECT / part) for part in PARTS])
    measuring.start()
    recorder = Recorder(measuring.switch_context)
    os.chdir(PROJECT)
    pytest.main(["-q", "-p", "no:cacheprovider", *TESTS, *(f"--ignore={path}" for path in LEFT_OUT)], [recorder])
    measuring.stop()
    data = measuring.get_data()
    lines = {
        str(Path(file).relative_to(PROJECT)): {
            str(line): sorted(tests) for line, tests in data.contexts_by_lineno(file).items()
        }
        for file in data.measured_files()
    }
    seconds = {test: took for test, took in recorder.seconds.items() if test not in recorder.failed}
    report.write_text(json.dumps({"seconds": seconds, "lines": lines}))


class Copy:
    """A copy of the project in which one file at a time is changed."""

    def __init__(self, work: Path) -> None:
        self.place = work / "copy"
        shutil.rmtree(self.place, ignore_errors=True)  # a campaign that was stopped left its mutant there
        shutil.copytree(PROJECT, self.place, ignore=shutil.ignore_patterns(".*", "__pycache__"))
        self._changes = 0

    def killer(self, mutant: Mutant, tests: Sequence[str], seconds: float) -> str:
        """The first of some tests that fails with a mutant; "" when it lives."""
        file, original = self.place / mutant.path, (PROJECT / mutant.path).read_bytes()
        self._write(file, original[: mutant.start] + mutant.new.encode() + original[mutant.end :])
        try:
            return self.failing(tests, 10 * seconds + 60)
        finally:
            self._write(file, original)

    def _write(self, file: Path, content: bytes) -> None:
        """Each content with a time of its own: Python knows a compiled file by the time and size of its source."""
        file.write_bytes(content)
        self._changes += 1
        stamp = int(time.time()) - 1_000_000 + 10 * self._changes
        os.utime(file, (stamp, stamp))

    def failing(self, tests: Sequence[str], longest: float) -> str:
        """The first of some tests that fails; "" when all pass."""
        with tempfile.TemporaryFile("w+") as told:
            child = FORK.Process(target=_test_here, args=(self.place, tests, told.fileno()))
            child.start()
            child.join(longest)
            if child.exitcode is None:
                child.kill()
                child.join()
                return OUT_OF_TIME
            if child.exitcode == 0:
                return ""
            told.seek(0)
            lines = [line.rstrip() for line in told if line.startswith(("FAILED ", "ERROR "))]
        names = (test for test in tests if any(f"{line} - ".startswith(f"FAILED {test} - ") for line in lines))
        return next(names, AT_IMPORT)


def _test_here(place: Path, tests: Sequence[str], told: int) -> None:
    """In a process of its own, which has the libraries already and takes the program from the copy."""
    os.dup2(told, sys.stdout.fileno())
    parts = [str(place / part) for part in ("core", "plugins", "tablet_app", "tests")]
    os.environ |= {"CI": "1", "PYTHONPATH": os.pathsep.join(parts)}
    sys.path[:0] = parts
    os.chdir(place)
    code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--tb=no", *tests])
    sys.stdout.flush()
    os._exit(code)  # some tests leave threads that would be waited for


def run(work: Path, count: int, seed: int) -> None:
    """Try each mutant of the sample that has no result yet, the nearest tests first."""
    results = work / f"results-{seed}.jsonl"
    ways, copy, mutants = Ways(work), Copy(work), sample(count, seed)
    for library in LIBRARIES:
        importlib.import_module(library)
    for stage, (first, most, seconds) in enumerate(STAGES):
        done = outcomes(results)
        for number, mutant in enumerate(mutants):
            if number in done and (done[number]["killer"] or done[number]["stage"] >= stage):
                continue
            started = time.monotonic()
            tests = ways.up_to(ways.through(mutant)[first:most], seconds)
            killer = copy.killer(mutant, tests, seconds) if tests else ""
            took = round(time.monotonic() - started, 1)
            told = {"number": number, "stage": stage, "killer": killer, "tests": len(tests), "seconds": took}
            with results.open("a") as out:
                out.write(json.dumps({**told, **attrs.asdict(mutant)}) + "\n")
    report(copy, [*outcomes(results).values()])


def outcomes(results: Path) -> dict[int, dict[str, Any]]:
    """The last outcome of each mutant, by its number."""
    lines = results.read_text().splitlines() if results.exists() else []
    return {outcome["number"]: outcome for outcome in map(json.loads, lines)}


def report(copy: Copy, results: Sequence[Mapping[str, Any]]) -> None:
    """Prove that the killers pass on the program as it is, and say what lived."""
    killers = sorted({result["killer"] for result in results} - {"", OUT_OF_TIME, AT_IMPORT})
    if wrong := copy.failing(killers, 3600):
        raise SystemExit(f"{wrong} fails without a mutant, too: what it killed does not count")
    lived = [result for result in results if not result["killer"]]
    for result in lived:
        print(f"{result['number']}: {result['path']}:{result['line']}: {result['old']} -> {result['new']}")
    bound = beta.ppf(0.95, len(lived) + 1, len(results) - len(lived)) if len(lived) < len(results) else 1
    print(f"{len(results)} mutants, {len(lived)} lived; with 95 % confidence under {bound:.1%} live")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("work", type=Path)
    options.add_argument("--count", type=int, default=400)
    options.add_argument("--seed", type=int, default=20261129)
    chosen = options.parse_args()
    chosen.work.mkdir(parents=True, exist_ok=True)
    run(chosen.work, chosen.count, chosen.seed)


if __name__ == "__main__":
    main()
