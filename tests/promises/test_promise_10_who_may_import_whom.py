"""Promise 10: the core imports no plugin, no Kivy and no server; a plugin imports no other plugin."""

import pkgutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import garboard
from garboard.hosting.host import BUILT_IN

ROOT = Path(__file__).parents[2]
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LOADED_LATE = ("numpy", "pint", "rich", "click", "matplotlib", "fpdf", "pygeomag", "pynmeagps")
"""What a tablet must not pay for at its first frame."""
NEVER_IN_THE_CORE = ("kivy", "garboard_tablet", "garboard_shop", "uvicorn", "starlette", "psycopg", *BUILT_IN)
OFFICE_ONLY = ("garboard.commands.cli", "garboard.__main__", "garboard.commands", "garboard.report.paper")
"""Modules only the command line or the book loads; they may import click and fpdf2 at their top."""


def loaded_by(code: str) -> set[str]:
    """Top-level packages a fresh interpreter has after running some code."""
    script = f"{code}\nimport sys\nprint(*sorted({{name.partition('.')[0] for name in sys.modules}}))"
    ended = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(ended.stdout.split())


def core_modules() -> list[str]:
    return [module.name for module in pkgutil.walk_packages(garboard.__path__, "garboard.")]


def is_office_only(module: str) -> bool:
    return any(module == name or module.startswith(f"{name}.") for name in OFFICE_ONLY)


def test_importing_the_core_loads_no_plugin_no_kivy_and_no_server() -> None:
    assert loaded_by("import garboard").isdisjoint({*NEVER_IN_THE_CORE, *LOADED_LATE})


def test_importing_every_module_of_the_core_loads_no_plugin_no_kivy_and_no_server() -> None:
    everything = "\n".join(f"import {module}" for module in core_modules() if module != "garboard.__main__")
    loaded = loaded_by(everything)
    assert "garboard" in loaded
    assert loaded.isdisjoint(NEVER_IN_THE_CORE)


def test_what_a_tablet_imports_of_the_core_loads_nothing_heavy() -> None:
    modules = [module for module in core_modules() if not is_office_only(module)]
    assert "garboard.report.account" in modules
    loaded = loaded_by("\n".join(f"import {module}" for module in modules))
    assert loaded.isdisjoint(LOADED_LATE)


@pytest.mark.parametrize("plugin", BUILT_IN)
def test_loading_a_plugin_loads_no_other_and_nothing_heavy(plugin: str) -> None:
    loaded = loaded_by(
        f"from garboard.hosting.host import make_host\nhost = make_host(({plugin!r},), entry_points=False)\n"
        "assert not host.problems, host.problems"
    )
    assert plugin in loaded
    assert loaded.isdisjoint({*BUILT_IN, "kivy", *LOADED_LATE} - {plugin})


def test_every_plugin_that_ships_is_loaded_and_stands_inside_the_import_contracts() -> None:
    """A new plugin is one folder and its name in these lists; this says which list lacks it."""
    folders = {folder.name for folder in (ROOT / "plugins").glob("garboard_*")}
    config = PYPROJECT["tool"]["importlinter"]
    contracts = {contract["name"]: contract for contract in config["contracts"]}
    (beside,) = (one for name, one in contracts.items() if name.startswith("The core imports no plugin"))
    (judging,) = (one for name, one in contracts.items() if name.startswith("A plugin that judges"))
    tablet_and_plugins, core = beside["layers"]
    apart = {"garboard_tablet", *folders}
    assert folders
    assert set(BUILT_IN) == folders, "host.py: BUILT_IN"
    assert set(config["root_packages"]) == {"garboard", *apart}, "pyproject.toml: root_packages"
    assert ({name.strip() for name in tablet_and_plugins.split("|")}, core) == (apart, "garboard"), beside["name"]
    assert set(judging["source_modules"]) == folders - {"garboard_shop"}, judging["name"]


def test_the_import_contracts_are_kept() -> None:
    """import-linter, with the contracts in pyproject.toml."""
    command = [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stdout + ended.stderr
