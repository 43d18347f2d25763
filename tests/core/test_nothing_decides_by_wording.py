"""Programs decide by codes and kinds: the list of codes is true, and rewording every sentence changes no verdict."""

from __future__ import annotations

import ast
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

import garboard
import prop_check_jobs
from garboard.findings import Basis, BasisKind, Finding, Lack, Missing, NotEnoughData, Verdict, not_enough_data
from garboard.hosting.codes import written_in
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.judging.assessing import assess_job_file
from garboard.records import JsonValue
from garboard.steps import Calculator, Phase, Step
from garboard_wiring_audit.circuit_rules import CircuitResult

ROOT = Path(garboard.__file__).parents[2]
SAMPLES = sorted((ROOT / "sample_jobs").glob("*/job.json"))
BASIS = (Basis(BasisKind.SHOP_RULE, "ours"),)

WORDING = {"sentence", "sentences", "reason", "reasons", "said", "told", "short"}
DECIDES = {
    "endswith",
    "startswith",
    "partition",
    "rpartition",
    "replace",
    "removeprefix",
    "removesuffix",
    "find",
    "index",
}


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


def _name(node: ast.expr) -> str:
    if isinstance(node, ast.Subscript):
        return _name(node.value)
    if isinstance(node, ast.Attribute):
        return node.attr
    return node.id if isinstance(node, ast.Name) else ""


def _words_of_an_exception(node: ast.expr, caught: set[str]) -> bool:
    """Whether an expression is `str` of a caught exception, or something a text method made of it."""
    if not isinstance(node, ast.Call):
        return False
    if isinstance(node.func, ast.Name) and node.func.id == "str":
        return any(isinstance(one, ast.Name) and one.id in caught for one in node.args)
    return isinstance(node.func, ast.Attribute) and _words_of_an_exception(node.func.value, caught)


def decides_by_wording(source: str) -> Iterator[int]:
    """Lines that look into a sentence: a call such as .startswith on it, or a search for a piece of it.

    The words of an exception are a sentence too: `str(failure).partition(", got ")`.
    """
    tree = ast.parse(source)
    caught = {node.name for node in ast.walk(tree) if isinstance(node, ast.ExceptHandler) and node.name}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in DECIDES:
            by_lines = [getattr(one, "value", None) for one in node.args] == ["\n"]  # to show the first line of it
            of_exception = _words_of_an_exception(node.func.value, caught) and not by_lines
            if _name(node.func.value) in WORDING or of_exception:
                yield node.lineno
        elif isinstance(node, ast.Compare):
            texts = [isinstance(one, ast.Constant) and isinstance(one.value, str) for one in (node.left,)]
            for operator, right in zip(node.ops, node.comparators, strict=True):
                is_search = isinstance(operator, ast.In | ast.NotIn) and _name(right) in WORDING - {"told"}
                same = isinstance(operator, ast.Eq | ast.NotEq) and _name(right) in WORDING and texts[0]
                told = isinstance(right, ast.Constant) and _name(node.left) in WORDING
                if (
                    is_search
                    or same
                    or (told and isinstance(right, ast.Constant) and isinstance(right.value, str) and right.value != "")
                ):
                    yield node.lineno


@pytest.mark.parametrize(
    "line",
    [
        "finding.sentence.removeprefix('Not enough data: ')",
        "reasons[0].endswith('is not entered')",
        "'window' in finding.sentence",
        "said.partition('. ')[0]",
        "state.reason == 'look again'",
        "try: read()\nexcept ValueError as failure: str(failure).partition(', got ')",
        "try: read()\nexcept ValueError as failure: str(failure).lower().removeprefix('expected ')",
    ],
)
def test_the_search_finds_what_it_looks_for(line: str) -> None:
    assert len(set(decides_by_wording(line))) == 1


def test_no_program_looks_into_a_sentence() -> None:
    sources = [file for room in ("core", "plugins", "tablet_app") for file in (ROOT / room).rglob("*.py")]
    assert len(sources) > 150
    found = {str(file): lines for file in sources if (lines := [*decides_by_wording(file.read_text(encoding="utf-8"))])}
    assert found == {}


Shape = list[tuple[str, str, str, str, tuple[float, ...], tuple[Lack, ...]]]


@pytest.fixture(scope="module")
def views(host: PluginHost) -> list[JobView]:
    return _views(host)


@pytest.fixture(scope="module")
def judged(host: PluginHost, views: list[JobView]) -> Shape:
    return _judged(host, views)


def _judged(host: PluginHost, views: list[JobView]) -> Shape:
    return [
        (
            one.calculator,
            one.finding.code,
            one.finding.verdict.value,
            one.finding.about,
            tuple(number.value for number in one.finding.numbers),
            tuple(item.lack for item in one.finding.missing),
        )
        for view in views
        for one in host.assess(view)
    ]


def _views(host: PluginHost) -> list[JobView]:
    """The samples, each also with every seventh measurement gone, so that much is missing; and typed runs with a gap
    that a recording fills."""
    whole = [assess_job_file(path, host).view for path in SAMPLES]
    gaps = [
        attrs.evolve(view, measurements=tuple(m for n, m in enumerate(view.measurements) if n % 7 != left_out))
        for view in whole
        for left_out in range(7)
    ]
    runs: list[dict[str, JsonValue]] = [
        {"recording": {"file": "trial"}, "course": course} for course in ("15 deg", "185 deg")
    ]
    trial = prop_check_jobs.recorded(
        [(15, 41.0, 10, (5810, 5790)), (20, 5.0, 100, (900, 900)), (12, 39.0, 190, (5790, 5770))]
    )
    filled = prop_check_jobs.job(prop_check_jobs.vessel(2), runs, recordings={"trial": trial})
    return [*whole, *gaps, filled]


def test_rewording_every_sentence_changes_no_verdict(
    host: PluginHost, views: list[JobView], judged: Shape, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = judged
    reworded: Counter[str] = Counter()
    for kind, texts in ((Missing, ("text",)), (Finding, ("sentence", "short")), (CircuitResult, ("sentence",))):
        _reword(monkeypatch, kind, texts, reworded)
    after = _judged(host, views)
    assert {verdict for _, _, verdict, *_ in before} == {verdict.value for verdict in Verdict}
    assert min(reworded[kind] for kind in ("Missing", "Finding", "CircuitResult")) > 100
    assert after == before


def _reword(monkeypatch: pytest.MonkeyPatch, kind: type, texts: tuple[str, ...], reworded: Counter[str]) -> None:
    made, names = vars(kind)["__init__"], [field.name for field in attrs.fields(kind)]

    def init(self: object, *given: object, **named: object) -> None:
        named |= dict(zip(names, given, strict=False))
        for name in texts:
            if named.get(name):
                named[name] = f"Otherwise put {hash(str(named[name])) % 9973}"
                reworded[kind.__name__] += 1
        made(self, **named)

    monkeypatch.setattr(kind, "__init__", init)


def test_every_code_that_comes_out_is_listed_and_is_its_calculators_alone(host: PluginHost, judged: Shape) -> None:
    of_code = defaultdict(set)
    for calculator, code, *_ in judged:
        of_code[code].add(calculator)
    assert len(of_code) > 60
    assert set(of_code) - host.codes() == set()
    steps_checked = {code for code in of_code if code.startswith("handover.check.")}  # one check over many steps
    assert {code: of for code, of in of_code.items() if len(of) > 1 and code not in steps_checked} == {}


def test_each_code_is_written_in_one_place(host: PluginHost) -> None:
    written = Counter(code for plugin in host.plugins for code, _ in written_in(plugin.name, plugin.module))
    assert len(written) > 80
    assert [code for code, times in written.items() if times > 1] == []


def test_every_finding_of_a_built_in_plugin_names_its_code(host: PluginHost) -> None:
    bare = [
        f"{file}:{node.lineno}"
        for plugin in host.plugins
        for file in Path(str(plugin.module.__file__)).parent.rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and _name(node.func) == "Finding"
        if "code" not in {keyword.arg for keyword in node.keywords}
    ]
    assert bare == []


@pytest.mark.parametrize("code", ["Window", "window", "prop_check.", "prop check.a.b", "prop_check..above"])
def test_a_code_that_cannot_be_read_is_refused(code: str) -> None:
    with pytest.raises(ValueError, match="code must read"):
        Finding(code=code, verdict=Verdict.PASS, about="horn", sentence="Loud.", basis=BASIS)


def test_only_what_lacks_data_names_what_is_missing() -> None:
    with pytest.raises(ValueError, match="may name what is missing"):
        Finding(verdict=Verdict.PASS, about="horn", sentence="Loud.", basis=BASIS, missing=(Missing("air"),))


def test_a_finding_without_a_code_gets_its_calculators_key_and_verdict(views: list[JobView]) -> None:
    """A shop's plugin written before findings had codes; one that fails, and one that lacks data, among them."""
    codes = []
    for result in (
        Finding(verdict=Verdict.ADVISE, about="horn", sentence="Faint.", basis=BASIS),
        NotEnoughData("horn is not tried"),
        RuntimeError("broken"),
    ):
        own = make_host([], entry_points=False)
        own.load("ours", lambda result=result: _plugin(result))  # type: ignore[misc, arg-type]
        (one,) = own.assess(views[0])
        codes.append(one.finding.code)
    assert codes == ["ours.horn.advise", "ours.horn.not_enough_data", "ours.horn.plugin_failed"]


def _plugin(result: Finding | Exception) -> object:
    class Plugin:
        @garboard.hookimpl
        def register_steps(self, register) -> None:  # type: ignore[no-untyped-def]
            register(Step(key="ours.horn", title="Horn", phase=Phase.ALONGSIDE, order=1))

        @garboard.hookimpl
        def register_calculators(self, register) -> None:  # type: ignore[no-untyped-def]
            register(Calculator(key="ours.horn", title="Horn", step="ours.horn", compute=_compute, basis=BASIS))

    def _compute(_view: JobView) -> list[Finding]:
        if isinstance(result, Exception):
            raise result
        return [result]

    return Plugin()


def test_what_is_missing_is_carried_as_data(host: PluginHost) -> None:
    view = assess_job_file(SAMPLES[0], host).view
    asking = attrs.evolve(view, measurements=(), disagreements=()).asking()
    asking.amount("a.step", "speed", "kn", row="2", of="port")
    with pytest.raises(NotEnoughData) as raised:
        asking.check()
    (item,) = raised.value.missing
    assert item == Missing(
        "speed (port), row 2 is not entered",
        lack=Lack.NOT_ENTERED,
        step="a.step",
        field="speed",
        row="2",
        of="port",
    )
    assert not_enough_data("horn", ["air", item], BASIS).missing[0].lack is Lack.OTHER
