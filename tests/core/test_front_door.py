"""The front door: what lies flat in the core says what it offers, and the plugins that judge take nothing else."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

import garboard
from garboard.hosting.host import BUILT_IN

CORE = Path(garboard.__file__).parent
PLUGINS = CORE.parents[1] / "plugins"
FLAT = sorted(file.stem for file in CORE.glob("*.py") if not file.stem.startswith("__"))
JUDGING = [name for name in BUILT_IN if name != "garboard_shop"]


def offered(name: str) -> set[str]:
    """What a module offers by its `__all__`."""
    return set(import_module(name).__all__)


@pytest.mark.parametrize("name", ["garboard", *(f"garboard.{flat}" for flat in FLAT)])
def test_a_flat_file_says_what_it_offers_and_has_it(name: str) -> None:
    module = import_module(name)
    assert module.__all__
    assert [word for word in module.__all__ if word.startswith("_") and word != "__version__"] == []
    assert [word for word in module.__all__ if not hasattr(module, word)] == []


def test_the_developers_table_names_every_flat_file() -> None:
    table = (CORE.parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8").split("| front door |")[1].split("\n\n")[0]
    assert sorted(re.findall(r"`(\w+)`", "".join(row.split("|")[1] for row in table.splitlines()[2:]))) == FLAT


def taken_by(file: Path) -> Iterator[tuple[str, str]]:
    """What a file takes from the core: (module, name), also where it imports a module and asks it for a name."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    modules: dict[str, str] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "garboard":
            for one in node.names:
                if node.module == "garboard" and one.name in FLAT:
                    modules[one.asname or one.name] = f"garboard.{one.name}"
                else:
                    yield node.module, one.name
        elif isinstance(node, ast.Import):
            assert not any(one.name.split(".")[0] == "garboard" for one in node.names), f"{file}: write from ... import"
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            yield modules[node.value.id], node.attr


@pytest.mark.parametrize("plugin", JUDGING)
def test_a_plugin_that_judges_takes_only_what_the_front_door_offers(plugin: str) -> None:
    taken = {one for file in (PLUGINS / plugin).rglob("*.py") for one in taken_by(file)}
    flat = {"garboard", *(f"garboard.{name}" for name in FLAT)}
    assert ("garboard.hooks", "each_of") in taken
    assert {module for module, _ in taken} <= flat
    assert sorted((module, name) for module, name in taken if name not in offered(module)) == []


@pytest.mark.parametrize("name", FLAT)
def test_a_flat_file_states_what_it_offers_once(name: str) -> None:
    """A second `__all__` would silently take the place of the first."""
    tree = ast.parse((CORE / f"{name}.py").read_text(encoding="utf-8"))
    assigned = [target for node in tree.body if isinstance(node, ast.Assign) for target in node.targets]
    assert sum(isinstance(target, ast.Name) and target.id == "__all__" for target in assigned) == 1


def constants_of(file: Path) -> Iterator[tuple[str, float]]:
    """Numbers a file names for all of it."""
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant):
            value = node.value.value
            names = [one.id for one in node.targets if isinstance(one, ast.Name) and one.id.strip("_").isupper()]
            yield from ((name, float(value)) for name in names if isinstance(value, int | float))


ALIKE_BY_CHANCE = {
    ("SAME_THROTTLE", 0.03): "of one: full-throttle runs; of the other: a step beside them",
    ("UNDER_WAY", 1.0): "of one: a pilot is tried; of the other: a course tells where the boat points",
}
"""Constants of one name and value in two plugins that say different things."""


def test_a_constant_that_two_plugins_use_stands_in_the_core_once() -> None:
    """Plugins may not import each other, so one changed in the one would silently stay in the other."""
    where: dict[tuple[str, float], set[str]] = {}
    for plugin in JUDGING:
        for file in (PLUGINS / plugin).rglob("*.py"):
            for constant in constants_of(file):
                where.setdefault(constant, set()).add(plugin)
    assert len(where) > 100
    twice = {constant: sorted(plugins) for constant, plugins in where.items() if len(plugins) > 1}
    assert twice.keys() == ALIKE_BY_CHANCE.keys(), twice
