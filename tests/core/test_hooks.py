"""The plugin contract: every hook, what happens to plugins that break, and what assessing does with crashes."""

import ast
import inspect
from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import attrs
import pytest

import garboard
import small_plugin
from garboard import hooks
from garboard.commands.new_plugin import files_of
from garboard.findings import Basis, BasisKind, Finding, NotEnoughData, Verdict
from garboard.hooks import each_of, hookimpl
from garboard.hosting.apart import MAKERS
from garboard.hosting.host import BUILT_IN, PluginHost, empty_host, make_host
from garboard.job_view import JobView
from garboard.samples import Sample, gather
from garboard.steps import Calculator, EquipmentKind, Field, Guidance, Kind, LiveGuide, Phase, Step

BASIS = (Basis(BasisKind.SHOP_RULE, "Invented rule"),)
HOOKS = [name for name, hook in vars(hooks).items() if hasattr(hook, f"{hooks.PROJECT}_spec")]


def plugin(**hook_functions: Callable[..., object]) -> ModuleType:
    """A module with hook implementations of its own."""
    module = ModuleType("invented")
    for name, function in hook_functions.items():
        setattr(module, name, hookimpl(function))
    return module


def host_of(**modules: ModuleType) -> PluginHost:
    return make_host((), entry_points=False, modules=modules)


def step(key: str, phase: Phase = Phase.ALONGSIDE, order: int = 1) -> Step:
    return Step(key=key, title=key, phase=phase, order=order)


def offering_steps(*steps: Step) -> ModuleType:
    def register_steps(register: Callable[[Step], None]) -> None:
        for each in steps:
            register(each)

    return plugin(register_steps=register_steps)


def computing(compute: Callable[[JobView], Iterable[Finding]], key: str = "a.b", **more: Any) -> ModuleType:
    """A plugin with one calculator."""
    calculator = Calculator(key=key, title="Invented", step="a.step", compute=compute, basis=BASIS, **more)
    return plugin(register_calculators=lambda register: register(calculator))


def finding(sentence: str = "Fine.") -> Finding:
    return Finding(verdict=Verdict.PASS, about="Horn", sentence=sentence, basis=BASIS)


def assessed(tmp_path: Path, **modules: ModuleType) -> list[Finding]:
    return [one.finding for one in host_of(**modules).assess(small_plugin.small_view(tmp_path))]


# Every hook


def test_there_are_hooks() -> None:
    assert "register_steps" in HOOKS
    assert len(HOOKS) >= 7


@pytest.mark.parametrize("hook", HOOKS)
def test_every_hook_is_tested(hook: str) -> None:
    names = [
        node.name
        for node in ast.walk(ast.parse(Path(__file__).read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
    ]
    assert any(name.startswith(f"test_hook_{hook}") for name in names), f"write a test named test_hook_{hook}..."


@pytest.mark.parametrize("hook", HOOKS)
def test_every_hook_is_documented_with_its_argument(hook: str) -> None:
    function = getattr(hooks, hook)
    text = inspect.getdoc(function) or ""
    assert len(text.splitlines()[0]) > 10
    for argument in inspect.signature(function).parameters:
        assert f":param {argument}:" in text


def test_every_hook_is_offered_and_what_it_gives_comes_over_from_the_other_process() -> None:
    assert set(HOOKS) - set(hooks.__all__) == set()
    assert set(HOOKS) - set(MAKERS) == {"register_commands"}  # those are declared apart, by name


@pytest.mark.parametrize("hook", HOOKS)
def test_the_small_plugin_or_a_test_here_uses_every_hook(hook: str) -> None:
    """A hook nobody implements is a hook nobody tried."""
    assert hasattr(small_plugin, hook) or hook in ("register_live_guides", "register_equipment")


def test_hook_register_steps_are_ordered_by_phase_then_order_then_key() -> None:
    shown = [
        step("a.late", Phase.HAND_OVER, 1),
        step("a.second", Phase.ALONGSIDE, 2),
        step("b.first", Phase.ALONGSIDE, 1),
        step("a.first", Phase.ALONGSIDE, 1),
        step("a.run", Phase.UNDER_WAY, 0),
    ]
    host = host_of(one=offering_steps(*shown))
    assert [each.key for each in host.steps] == ["a.first", "b.first", "a.second", "a.run", "a.late"]
    assert host.step("a.run") is shown[4]
    assert host.step("nobody.knows") is None


def test_hook_register_calculators_run_in_the_order_of_their_steps(tmp_path: Path) -> None:
    host = small_plugin.small_host()
    assert [calculator.key for calculator in host.calculators] == ["small.horn", "small.run"]
    first = host.assess(small_plugin.small_view(tmp_path))[0]
    assert (first.calculator, first.step, first.phase) == ("small.horn", "small.horn", Phase.ALONGSIDE)
    assert (first.plugin, first.plugin_version) == ("small", "3")


def test_the_main_result_of_a_step_comes_first() -> None:
    """Calculators of one step come by their order, then by key, whatever they are called."""
    keys = {"a.late": 900, "b.main": 100, "a.usual": 500, "c.usual": 500}
    offered = [
        Calculator(key=key, title=key, step="small.run", compute=lambda view: (), basis=BASIS, order=order)
        for key, order in keys.items()
    ]

    def offer(register: Callable[[Calculator], None]) -> None:
        for each in offered:
            register(each)

    host = host_of(one=plugin(register_calculators=offer))
    assert [each.key for each in host.calculators] == ["b.main", "a.usual", "c.usual", "a.late"]


def test_hook_register_live_guides_are_found_by_key() -> None:
    def shown(_: object) -> Guidance:
        raise AssertionError("nothing is shown here")

    guide = LiveGuide(
        key="a.guide", title="Guide", quantities=("heading",), begin=lambda view: 0, take=lambda s, _: s + 1, show=shown
    )
    host = host_of(one=plugin(register_live_guides=lambda register: register(guide)))
    assert host.live_guides == {"a.guide": guide}


def test_hook_register_equipment_is_ordered_and_each_of_it_is_of_its_own_plugin() -> None:
    dry = Field(name="dry", title="Dry", kind=Kind.YES_NO)

    def kind(key: str, order: int) -> EquipmentKind:
        return EquipmentKind(key=key, title=key, one="piece", fields=(dry,), order=order)

    reels, tender = kind("a.reels", 20), kind("a.tender", 10)
    asking = Step(
        key="b.look", title="Look", phase=Phase.ALONGSIDE, order=1, fields=(attrs.evolve(dry, each="a.reels"),)
    )
    own = plugin(
        register_equipment=each_of((reels, tender)), register_steps=each_of((attrs.evolve(asking, key="a.look"),))
    )
    host = host_of(one=own, two=plugin(register_steps=each_of((asking,))))
    assert list(host.equipment.values()) == [tender, reels]
    assert [one.key for one in host.steps] == ["a.look"]
    assert [(one.name, one.code) for one in host.problems] == [("two", "unknown_kind")]


def test_hook_register_report_sections_are_built_from_findings(tmp_path: Path) -> None:
    host = small_plugin.small_host()
    view = small_plugin.small_view(tmp_path)
    (section,) = host.report_sections
    blocks = section.build(view, host.assess(view))
    assert blocks[2] is small_plugin.FIGURE
    assert [block.about for block in blocks[3:] if isinstance(block, Finding)] == ["port engine", "starboard engine"]
    assert len(blocks) == 5
    assert section.build(view, ()) == []


def test_hook_register_settings_give_calculators_the_default_until_the_shop_decides(tmp_path: Path) -> None:
    host = small_plugin.small_host()
    view = small_plugin.small_view(tmp_path)
    assert host.with_defaults(view).setting_amount("small.patience", "s") == 10
    decided = small_plugin.with_settings(view, {"small.patience": "1 min"})
    assert host.with_defaults(decided).setting_amount("small.patience", "s") == 60


def test_hook_register_recording_judges_judge_a_recording_alone() -> None:
    (judge,) = small_plugin.small_host().recording_judges
    (found,) = judge.judge(gather("log", [Sample(0, "heading", 10.0), Sample(1, "heading", 40.0)]))
    assert found.verdict is Verdict.FAIL


def test_hook_register_commands_are_found_by_name() -> None:
    assert list(small_plugin.small_host().commands()) == ["whistle"]


def test_hook_register_commands_that_fail_are_a_problem_and_the_others_stay() -> None:
    def register_commands(register: Callable[[object], None]) -> None:
        raise RuntimeError("no commands today")

    host = host_of(bad=plugin(register_commands=register_commands), small=small_plugin.small_module())
    assert list(host.commands()) == ["whistle"]
    assert [(problem.name, "no commands today" in problem.reason) for problem in host.problems] == [("bad", True)]


# Plugins that break


def test_a_plugin_that_cannot_be_imported_is_listed_with_the_reason_while_others_load() -> None:
    host = make_host(("no_such_plugin_anywhere",), entry_points=False, modules={"small": small_plugin.small_module()})
    assert [problem.name for problem in host.problems] == ["no_such_plugin_anywhere"]
    assert "No module named 'no_such_plugin_anywhere'" in host.problems[0].reason
    assert [loaded.name for loaded in host.plugins] == ["small"]


def test_what_a_plugin_registered_before_it_failed_is_withdrawn() -> None:
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        raise ZeroDivisionError("on purpose")

    bad = plugin(register_steps=lambda register: register(step("bad.step")), register_calculators=register_calculators)
    host = host_of(bad=bad, good=offering_steps(step("good.step")))
    assert [each.key for each in host.steps] == ["good.step"]
    assert host.problems[0].reason == "ZeroDivisionError: on purpose in register_calculators"


def test_a_misspelt_hook_is_caught() -> None:
    host = host_of(bad=plugin(register_stepz=lambda register: None))
    assert "register_stepz" in host.problems[0].reason
    assert host.plugins == []


def test_a_hook_with_a_wrong_argument_is_caught() -> None:
    host = host_of(bad=plugin(register_steps=lambda registrar: None))
    assert "registrar" in host.problems[0].reason


def test_a_plugin_that_offers_nothing_is_caught() -> None:
    """Most likely its functions are not marked as hooks."""
    module = ModuleType("unmarked")
    vars(module)["register_steps"] = lambda register: register(step("a.b"))
    host = host_of(unmarked=module)
    assert "marked @garboard.hookimpl" in host.problems[0].reason


def test_a_clash_names_both_plugins_and_the_first_one_stays() -> None:
    host = host_of(one=offering_steps(step("a.same")), two=offering_steps(step("a.same"), step("a.other")))
    assert [loaded.name for loaded in host.plugins] == ["one"]
    assert [each.key for each in host.steps] == ["a.same"]
    assert "'a.same' is offered by both one and two" in host.problems[0].reason


def test_registering_the_wrong_kind_of_thing_names_what_was_expected() -> None:
    host = host_of(bad=plugin(register_steps=lambda register: register("a step")))
    assert "register takes a Step, got 'a step'" in host.problems[0].reason


def test_a_plugin_switched_off_by_name_is_not_even_looked_for() -> None:
    host = make_host(("no_such_plugin_anywhere",), entry_points=False, without=("no_such_plugin_anywhere",))
    assert (host.plugins, host.problems) == ([], [])


def test_two_hosts_share_nothing() -> None:
    assert len(small_plugin.small_host().steps) == 2
    assert host_of().steps == ()


# The version of the front door


def written_for(version: object) -> ModuleType:
    module = offering_steps(step("own.step"))
    vars(module)["written_for"] = version
    return module


@pytest.fixture
def third_version(monkeypatch: pytest.MonkeyPatch) -> None:
    """A program at version 3 that promises to accept plugins from version 2."""
    monkeypatch.setattr(garboard, "API_VERSION", 3)
    monkeypatch.setattr(garboard, "OLDEST_API_VERSION", 2)


@pytest.mark.usefixtures("third_version")
@pytest.mark.parametrize("version", [2, 3])
def test_a_plugin_written_for_a_version_within_the_promise_loads(version: int) -> None:
    host = host_of(own=written_for(version))
    assert ([one.name for one in host.plugins], host.problems) == (["own"], [])


@pytest.mark.usefixtures("third_version")
def test_a_plugin_written_for_a_newer_version_is_refused_and_told_to_update_the_program() -> None:
    host = host_of(own=written_for(4), other=written_for(3))
    assert [one.name for one in host.plugins] == ["other"]
    assert [one.name for one in host.problems] == ["own"]
    assert "written for version 4 of the plugin interface, and this program has version 3" in host.problems[0].reason
    assert "update the program" in host.problems[0].reason


@pytest.mark.usefixtures("third_version")
def test_a_plugin_older_than_the_promise_is_refused_and_told_to_get_a_newer_one() -> None:
    (problem,) = host_of(own=written_for(1)).problems
    assert "written for version 1 of the plugin interface, and this program accepts 2 to 3" in problem.reason
    assert "get a newer version of the plugin" in problem.reason


def test_a_plugin_that_states_no_version_counts_as_written_for_the_first(monkeypatch: pytest.MonkeyPatch) -> None:
    assert host_of(own=offering_steps(step("own.step"))).problems == []
    monkeypatch.setattr(garboard, "API_VERSION", 2)
    assert host_of(own=offering_steps(step("own.step"))).problems == []
    monkeypatch.setattr(garboard, "OLDEST_API_VERSION", 2)
    (problem,) = host_of(own=offering_steps(step("own.step"))).problems
    assert "written for version 1" in problem.reason


@pytest.mark.parametrize("version", ["1", 1.0, True, 0, -1, None])
def test_what_is_no_version_is_refused_and_told_what_to_state(version: object) -> None:
    (problem,) = host_of(own=written_for(version)).problems
    assert f"written_for must be a whole number from 1 to 9999, got {version!r}" in problem.reason


class Unprintable:
    def __repr__(self) -> str:
        raise RuntimeError("no")


@pytest.mark.parametrize(
    ("version", "got"),
    [
        (10**30, f"{10**30}"),
        (10**5000, "a number too long to show"),
        (-(10**5000), "a number too long to show"),
        (float("nan"), "nan"),
        ("9" * 5000, "'" + "9" * 56 + "..."),
        ([1] * 50, "[" + "1, " * 18 + "1," + "..."),
        (Unprintable(), f"something of {Unprintable}"),
    ],
    ids=["large", "huge", "huge below nought", "no number", "long text", "long list", "unprintable"],
)
def test_a_huge_or_odd_version_is_refused_in_a_short_sentence_that_says_what_to_state(
    version: object, got: str
) -> None:
    (problem,) = host_of(own=written_for(version)).problems
    assert f"from 1 to 9999, got {got}; state the garboard.API_VERSION it was written against" in problem.reason


def test_a_number_too_long_for_python_is_refused_in_the_same_sentence(tmp_path: Path) -> None:
    file = tmp_path / "shop.py"
    file.write_text(f"written_for = {'1' * 5000}\n", encoding="utf-8")
    (problem,) = make_host((), entry_points=False, files=(file,)).problems
    assert "got a number too long to show; state the garboard.API_VERSION it was written against" in problem.reason
    assert "set_int_max_str_digits" not in problem.reason


@pytest.mark.parametrize("line", ["written_for = 99", "written_for: int = 99"])
def test_a_file_for_a_newer_program_is_refused_by_its_version_and_never_run(tmp_path: Path, line: str) -> None:
    file = tmp_path / "shop.py"
    file.write_text(f"from garboard.steps import NotInventedYet\n{line}\n", encoding="utf-8")
    (problem,) = make_host((), entry_points=False, files=(file,)).problems
    assert "written for version 99" in problem.reason
    assert "NotInventedYet" not in problem.reason


@pytest.mark.parametrize("name", BUILT_IN)
def test_every_built_in_plugin_is_written_for_the_version_of_this_program(name: str) -> None:
    assert import_module(name).written_for == garboard.API_VERSION


# Plugins in files


FILE = """
from garboard import hookimpl
from garboard.steps import Phase, Step
__version__ = "7"
@hookimpl
def register_steps(register):
    register(Step(key="shop.plug", title="Plug in", phase=Phase.ALONGSIDE, order=1))
"""


def test_a_plugin_is_loaded_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "shop.py"
    file.write_text(FILE, encoding="utf-8")
    host = make_host((), entry_points=False, files=(file,))
    assert [(loaded.name, loaded.version) for loaded in host.plugins] == [("shop", "7")]
    assert [each.key for each in host.steps] == ["shop.plug"]


def test_a_plugin_is_loaded_from_a_folder(tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "__init__.py").write_text(FILE, encoding="utf-8")
    host = make_host((), entry_points=False, files=(tmp_path / "shop",))
    assert [each.key for each in host.steps] == ["shop.plug"]


def test_a_folder_may_import_its_own_modules(tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "words.py").write_text("TITLE = 'Plug in'\n", encoding="utf-8")
    text = FILE.replace('"Plug in"', "TITLE").replace("__version__", "from .words import TITLE\n__version__")
    (tmp_path / "shop" / "__init__.py").write_text(text, encoding="utf-8")
    host = make_host((), entry_points=False, files=(tmp_path / "shop",))
    assert host.problems == []
    assert [each.title for each in host.steps] == ["Plug in"]


def test_a_file_named_like_a_module_does_not_stand_in_for_it(tmp_path: Path) -> None:
    import json

    file = tmp_path / "json.py"
    file.write_text(FILE, encoding="utf-8")
    make_host((), entry_points=False, files=(file,))
    assert json.loads("[1]") == [1]
    import sys

    assert sys.modules["json"] is json


@pytest.mark.parametrize("text", ["def broken(:", "raise SystemExit(3)", "1/0"])
def test_a_file_that_cannot_run_is_listed_and_the_program_goes_on(tmp_path: Path, text: str) -> None:
    file = tmp_path / "shop.py"
    file.write_text(text, encoding="utf-8")
    host = make_host((), entry_points=False, files=(file,), modules={"small": small_plugin.small_module()})
    assert [problem.name for problem in host.problems] == ["shop"]
    assert [loaded.name for loaded in host.plugins] == ["small"]


def test_a_file_that_is_not_there_is_listed(tmp_path: Path) -> None:
    host = make_host((), entry_points=False, files=(tmp_path / "gone.py",))
    assert "gone.py" in host.problems[0].reason


# Assessing


def test_not_enough_data_becomes_a_finding_with_every_reason_and_no_number(tmp_path: Path) -> None:
    def compute(view: JobView) -> Iterator[Finding]:
        raise NotEnoughData("pitch is not entered", "gear ratio is not entered")

    (found,) = assessed(tmp_path, one=computing(compute))
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert found.sentence == "Not enough data: pitch is not entered; gear ratio is not entered."
    assert (found.numbers, found.basis) == ((), BASIS)


def test_a_calculator_that_crashes_is_reported_and_the_others_run(tmp_path: Path) -> None:
    def crash(view: JobView) -> Iterator[Finding]:
        raise ZeroDivisionError("on purpose")

    first, second = assessed(
        tmp_path, bad=computing(crash, "a.bad"), good=computing(lambda view: [finding()], "b.good")
    )
    assert first.verdict is Verdict.NOT_ENOUGH_DATA
    assert "Plugin bad failed in a.bad: ZeroDivisionError: on purpose" in first.sentence
    assert second.sentence == "Fine."


@pytest.mark.parametrize("failure", [ZeroDivisionError("halfway"), SystemExit(3), NotEnoughData("no horn")])
def test_a_fault_found_before_a_crash_stands_and_the_rest_is_said_to_be_missing(
    tmp_path: Path, failure: BaseException
) -> None:
    def half(view: JobView) -> Iterator[Finding]:
        yield Finding(verdict=Verdict.FAIL, about="Horn", sentence="It leaks.", basis=BASIS)
        raise failure

    leak, rest = assessed(tmp_path, one=computing(half))
    assert (leak.verdict, leak.sentence) == (Verdict.FAIL, "It leaks.")
    assert rest.verdict is Verdict.NOT_ENOUGH_DATA
    if not isinstance(failure, NotEnoughData):
        assert "What it found before stands, the rest was not judged." in rest.sentence


@pytest.mark.parametrize("code", ["prop_check.slip.usual", "wiring_audit.x.y"])
def test_the_code_of_a_built_in_plugin_is_refused_from_another(tmp_path: Path, code: str) -> None:
    given = Finding(verdict=Verdict.PASS, about="Slip", sentence="Usual.", basis=BASIS, code=code)
    (found,) = assessed(tmp_path, ours=computing(lambda view: [given]))
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert f"'{code}', which is garboard_{code.partition('.')[0]}'s" in found.sentence


def test_what_a_plugin_prints_goes_to_the_error_output(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def printing(view: JobView) -> list[Finding]:
        print("from the check")
        return [finding()]

    module = computing(printing)
    offer = module.register_calculators

    def register_calculators(register: Callable[[Calculator], None]) -> None:
        print("from the hook")
        offer(register)

    module.register_calculators = hookimpl(register_calculators)  # type: ignore[attr-defined]
    assert [one.sentence for one in assessed(tmp_path, one=module)] == ["Fine."]
    print("from the program")
    printed = capsys.readouterr()
    assert printed.out == "from the program\n"
    assert printed.err == "from the hook\nfrom the check\n"


def test_a_calculator_with_nothing_to_say_about_the_vessel_is_left_out(tmp_path: Path) -> None:
    assert assessed(tmp_path, one=computing(lambda view: [finding()], applies=lambda view: False)) == []


def test_a_calculator_returning_something_else_than_findings_is_reported(tmp_path: Path) -> None:
    (found,) = assessed(tmp_path, one=computing(lambda view: ["all is well"]))  # type: ignore[list-item]
    assert found.verdict is Verdict.NOT_ENOUGH_DATA
    assert "failed in a.b" in found.sentence


def test_only_the_calculators_of_some_steps_run_when_asked(tmp_path: Path) -> None:
    host = small_plugin.small_host()
    found = host.assess(small_plugin.small_view(tmp_path), steps=["small.run"])
    assert {one.calculator for one in found} == {"small.run"}


def test_assessing_twice_gives_the_same(tmp_path: Path) -> None:
    host = small_plugin.small_host()
    view = small_plugin.small_view(tmp_path)
    assert host.assess(view) == host.assess(view)


def test_a_hook_that_is_to_go_is_told_with_its_line_and_works_until_then(tmp_path: Path) -> None:
    """The mark is pluggy's `warn_on_impl`. No hook of this version has it, so one is marked here."""
    file = tmp_path / "own.py"
    file.write_text(files_of("own")["own.py"])
    marked, plain = empty_host(), empty_host()
    spec = marked.manager.hook.register_settings.spec
    assert spec is not None
    spec.warn_on_impl = DeprecationWarning("register_settings goes in version 2; take register_choices")
    for host in (marked, plain):
        host.load_file(file)
    (fault,) = marked.faults
    line = (
        file.read_text().splitlines().index("def register_settings(register: Callable[[Setting], None]) -> None:") + 1
    )
    assert (fault.code, fault.file, fault.at_work) == ("hook_going", str(file), True)
    assert fault.line in (line, line - 1)  # Python before 3.13 counts a function from its first decorator on
    assert fault.reason == "register_settings goes in version 2; take register_choices"
    assert [one.key for one in marked.settings] == ["own.most_water"]
    assert plain.faults == ()
