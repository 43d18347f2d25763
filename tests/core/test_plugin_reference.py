"""`garboard plugins --reference` says what the code does: each thing it lists is tried on the code itself."""

from __future__ import annotations

import ast
import inspect
import json
import re
from collections.abc import Callable
from enum import Enum
from importlib import import_module
from pathlib import Path
from typing import Any

import attrs
import pytest
from click.testing import CliRunner

import garboard
import small_plugin
from garboard import hooks
from garboard.commands.cli import program
from garboard.commands.plugin_reference import FORMER_NAMES, MODULES, as_text, reference
from garboard.faults import ValueRefused
from garboard.fields import Field, Kind, check_value
from garboard.findings import Finding
from garboard.testing import made_recording

CORE = Path(garboard.__file__).parent


@pytest.fixture(scope="module")
def found() -> dict[str, Any]:
    return reference(small_plugin.small_host())


def test_the_command_prints_it_as_text_and_as_data() -> None:
    plain = json.loads(CliRunner().invoke(program, ["plugins", "--reference", "--json"]).stdout)
    assert CliRunner().invoke(program, ["plugins", "--reference"]).stdout == as_text(plain) + "\n"
    documented = (CORE.parent / "README.md").read_text(encoding="utf-8").split("reference keys -->\n```text\n")[1]
    flat = " ".join(documented.split("```")[0].split())
    assert flat == ", ".join(f"{key}{_keys_of(value)}" for key, value in plain.items()).replace("example{}", "example")


def _keys_of(value: object) -> str:
    if isinstance(value, dict):
        return "{}"
    rows = [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []
    fullest = max(rows, key=lambda one: len(json.dumps(one)), default={})
    return f"[{', '.join(f'{key}{_keys_of(one)}' for key, one in fullest.items())}]" if fullest else ""


def named(qualified: str) -> object:
    """What a qualified name stands for; of a class, one of its attributes."""
    parts = qualified.split(".")
    of: object = import_module(".".join(parts[:2]))
    for part in parts[2:]:
        of = getattr(of, part) if hasattr(of, part) else attrs.fields_dict(of)[part]  # type: ignore[arg-type]
    return of


def test_a_former_name_works_and_nobody_is_led_to_it(found: dict[str, Any]) -> None:
    """What they give is tried in test_findings.py; here, that each is told with what to write now."""
    assert {one["name"]: one["now"] for one in found["former_names"]} == FORMER_NAMES
    listed = {f"{one['module']}.{name}" for one in found["modules"] for name in one["names"]}
    for former, now in FORMER_NAMES.items():
        assert named(former) is not None
        assert named(now) is not None
        assert former not in listed


def test_two_names_of_one_thing_are_one_of_today_and_a_former_one() -> None:
    for module in MODULES:
        of_today: dict[int, str] = {}
        for name in module.__all__:
            one = getattr(module, name)
            if callable(one) and f"{module.__name__}.{name}" not in FORMER_NAMES:
                assert of_today.setdefault(id(one), name) == name, module.__name__


def test_no_built_in_plugin_and_no_document_uses_a_former_name() -> None:
    root = CORE.parents[1]
    files = [*root.glob("plugins/**/*.py"), root / "DEVELOPERS.md", *root.glob("plugins/*.md")]
    words = re.compile(r"\b(with_spread|Asking|setting_amount|amount_or_fault)\b")
    assert len(files) > 100
    assert [file.name for file in files if words.search(file.read_text("utf-8"))] == []


def test_every_hook_is_there_and_takes_what_it_says(found: dict[str, Any]) -> None:
    names = {name for name in hooks.__all__ if name.startswith("register_")}
    assert {one["hook"]: one["takes"] for one in found["hooks"]} == {name: ["register"] for name in names}


def test_a_value_of_each_kind_is_one_that_a_field_of_it_takes(found: dict[str, Any]) -> None:
    examples = {Kind[one["kind"]]: one["example"] for one in found["kinds"]}
    assert {*examples} == {*Kind}
    for kind, example in examples.items():
        column = Field(name="a", title="A", kind=Kind.TEXT)
        field = Field(
            name="b",
            title="B",
            kind=kind,
            quantity="voltage" if kind is Kind.AMOUNT else "",
            unit="V" if kind is Kind.AMOUNT else "",
            choices=("calm", "chop") if kind is Kind.CHOICE else (),
            columns=(column,) if kind is Kind.TABLE else (),
        )
        if example is not None:
            check_value(field, example)
        if kind not in (Kind.TABLE, Kind.SIGNATURE):
            with pytest.raises(ValueRefused):
                check_value(field, ["of no kind"])


def test_every_unit_listed_is_one_a_field_takes_and_its_example_is_read(found: dict[str, Any]) -> None:
    for one in found["units"]:
        for unit in one["units"]:
            field = Field(name="a", title="A", kind=Kind.AMOUNT, quantity=one["quantity"], unit=unit)
            check_value(field, f"1 {unit}".strip())
            check_value(field, one["example"])
    with pytest.raises(
        ValueError, match="quantity must be one of " + ", ".join(one["quantity"] for one in found["units"])
    ):
        Field(name="a", title="A", kind=Kind.AMOUNT, quantity="none", unit="V")


def test_every_quantity_listed_can_be_recorded_in_its_unit(found: dict[str, Any]) -> None:
    for one in found["recorded"]:
        head = made_recording({one["quantity"]: one["range"][0]}, seconds=0).splitlines()[0].decode()
        assert head == f"time,{one['quantity']} [{one['unit']}]"


def test_the_orders_taken_are_those_of_the_plugins_at_work(found: dict[str, Any]) -> None:
    taken = [(one["of"], one["in"], one["order"], one["key"]) for one in found["orders_taken"]]
    assert ("step", "ALONGSIDE", 10, "small.horn") in taken
    assert ("step", "UNDER_WAY", 10, "small.run") in taken
    assert ("calculator", "small.horn", 500, "small.horn") in taken


def test_every_class_that_a_plugin_makes_or_is_given_is_listed(found: dict[str, Any]) -> None:
    listed = {(one["from"], one["class"]) for one in found["classes"]}
    given = ("steps", "findings", "owner_pages")
    classes = [
        one
        for name in given
        for one in map(vars(import_module(f"garboard.{name}")).get, import_module(f"garboard.{name}").__all__)
    ]
    made = {(one.__module__, one.__name__) for one in classes if inspect.isclass(one) and not issubclass(one, Enum)}
    assert len(made) > 30
    assert made - listed == set()


def test_every_name_of_a_module_can_be_imported_from_it(found: dict[str, Any]) -> None:
    modules = {one["module"]: one["names"] for one in found["modules"]}
    assert "YOUR_BOAT" in modules["garboard.steps"]
    assert {one["from"] for one in found["classes"]} <= {*modules}
    assert [
        (name, one) for name, names in modules.items() for one in names if not hasattr(import_module(name), one)
    ] == []


def test_every_fault_that_the_host_tells_is_listed(found: dict[str, Any]) -> None:
    """Codes as the sources write them: the second argument of a PluginFault, and those of the reader of sources."""
    listed = {one["code"] for one in found["faults"]}
    written = set()
    for file in (CORE / "hosting").glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            name = getattr(getattr(node, "func", None), "id", "")
            if isinstance(node, ast.Call) and name in ("PluginFault", "NotJudgedHere"):
                written |= {one.value for one in node.args[1:2] if isinstance(one, ast.Constant)}
    assert len(written) > 10
    assert written - listed == set()


def test_the_arguments_of_a_class_are_those_it_takes_and_a_wrong_one_is_none(found: dict[str, Any]) -> None:
    takes = {one["class"]: one["takes"] for one in found["classes"]}
    assert takes["Step"][:5] == ["*", "key", "title", "phase", "order"]
    names = {one.split("=")[0] for one in takes["Finding"]} - {"*"}
    make: Callable[..., Finding] = Finding
    for name in names:
        with pytest.raises(TypeError) as lacking:
            make(**{name: ()})
        assert "unexpected" not in str(lacking.value)
    with pytest.raises(TypeError, match="unexpected"):
        make(colour=())
    methods = {(one["class"], method["method"]) for one in found["classes"] for method in one["methods"]}
    assert {("JobView", "asking"), ("InputCollector", "check"), ("Number", "of"), ("Part", "bound")} <= methods
