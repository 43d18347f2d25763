"""Promise 10: the core imports no plugin, no Kivy and no server; a plugin imports no other plugin."""

import ast
import json
import os
import pkgutil
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path

import pytest

import garboard
from garboard.hosting.host import BUILT_IN

ROOT = Path(__file__).parents[2]
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LOADED_LATE = ("numpy", "pint", "rich", "click", "matplotlib", "fpdf", "fontTools", "typst", "pygeomag", "pynmeagps")
"""What a tablet must not pay for at its first frame."""
NEVER_IN_THE_CORE = ("kivy", "garboard_tablet", "garboard_shop", "uvicorn", "starlette", "psycopg", *BUILT_IN)
OFFICE_ONLY = (
    "garboard.commands.cli",
    "garboard.__main__",
    "garboard.commands",
    "garboard.report.label_sheets",
    "garboard.hosting.own_commands",
)
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
    assert "garboard.report.job_report" in modules
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


def test_every_plugin_that_ships_is_loaded() -> None:
    """A new plugin is one folder and its name in this list; everything else finds it by its folder."""
    folders = {folder.name for folder in (ROOT / "plugins").glob("garboard_*")}
    assert folders
    assert set(BUILT_IN) == folders, "host.py: BUILT_IN"


PLUGINS_THAT_JUDGE = "A plugin that judges imports what lies flat in the core, no room and no Kivy"


def contracts_over(plugins: Iterable[str]) -> str:
    """The import contracts of pyproject.toml with every plugin in them, as a file of import-linter."""
    judging = sorted(set(plugins) - {"garboard_shop"})
    config = PYPROJECT["tool"]["importlinter"]
    (beside,) = (one for one in config["contracts"] if one["name"].startswith("The core imports no plugin"))
    tablet_and_shop, core = beside["layers"]
    contracts = [
        *(one for one in config["contracts"] if one is not beside),
        {**beside, "layers": [" | ".join([tablet_and_shop, *judging]), core]},
        {
            "name": PLUGINS_THAT_JUDGE,
            "type": "forbidden",
            "source_modules": judging,
            "forbidden_modules": ["garboard.*.*", "garboard.testing", "garboard.pytest_plugin", "kivy"],
        },
    ]
    head = {**config, "root_packages": [*config["root_packages"], *judging]}
    del head["contracts"]
    tables = [("[tool.importlinter]", head), *(("[[tool.importlinter.contracts]]", one) for one in contracts)]
    # A value of these tables reads the same in JSON and in TOML.
    lines = [[title, *(f"{key} = {json.dumps(value)}" for key, value in table.items())] for title, table in tables]
    return "\n".join(line for table in lines for line in table)


def lint_imports(root: Path, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run import-linter over the sources under a root; its file of contracts is written into a folder."""
    config = folder / "contracts.toml"
    config.write_text(contracts_over(one.name for one in (root / "plugins").glob("garboard_*")), encoding="utf-8")
    sources = os.pathsep.join(str(root / name) for name in ("core", "plugins", "tablet_app"))
    return subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache", "--config", str(config)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": sources},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_import_contracts_are_kept(tmp_path: Path) -> None:
    """import-linter, with the contracts in pyproject.toml over every plugin in plugins/."""
    ended = lint_imports(ROOT, tmp_path)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert f"{PLUGINS_THAT_JUDGE} KEPT" in ended.stdout


def test_a_new_folder_in_plugins_stands_inside_the_import_contracts(tmp_path: Path) -> None:
    for name in ("core", "plugins", "tablet_app"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    added = tmp_path / "plugins" / "garboard_of_nobody"
    added.mkdir()
    (added / "__init__.py").write_text("import garboard_handover\nfrom garboard.disk import storage\n")
    ended = lint_imports(tmp_path, tmp_path)
    assert ended.returncode == 1, ended.stdout + ended.stderr
    assert "garboard_of_nobody -> garboard_handover" in ended.stdout
    assert "garboard_of_nobody -> garboard.disk.storage" in ended.stdout


def modules_of(*folders: Path) -> dict[str, Path]:
    """Every module under some folders, by its name."""
    found = {}
    for folder in folders:
        for path in folder.rglob("*.py"):
            parts = path.relative_to(folder).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imported_by(name: str, modules: Mapping[str, Path]) -> set[str]:
    """The modules among these that one imports anywhere in it: at its top, in a function, or for its types alone."""
    found: set[str] = set()
    package = name if modules[name].name == "__init__.py" else name.rpartition(".")[0]
    for node in ast.walk(ast.parse(modules[name].read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            source = ".".join([*above, *filter(None, [node.module])])
            names = {f"{source}.{alias.name}" for alias in node.names}
            inside = names & modules.keys()
            found |= inside
            found |= {source} if inside != names else set()  # a name of the package itself
    return (found & modules.keys()) - {name}


def circles(arrows: Mapping[str, set[str]]) -> list[list[str]]:
    """What is left when everything is taken away that, in the end, imports nothing or that nothing imports."""
    left = {name: set(to) for name, to in arrows.items()}
    while True:
        imported = set().union(*left.values())
        free = {name for name, to in left.items() if not to or name not in imported}
        if not free:
            return [sorted(left)] if left else []
        left = {name: to - free for name, to in left.items() if name not in free}


def test_no_import_goes_in_a_circle() -> None:
    """In the core, the plugins and the tablet app; imports for types alone and inside functions count."""
    modules = modules_of(ROOT / "core", ROOT / "plugins", ROOT / "tablet_app")
    assert {"garboard", "garboard_shop", "garboard_tablet.app"} <= modules.keys()
    arrows = {name: imported_by(name, modules) for name in modules}
    assert arrows["garboard_tablet.app"] > {"garboard_tablet.ui.context", "garboard_tablet.models.tablet"}
    assert circles(arrows) == []


def test_a_circle_is_found(tmp_path: Path) -> None:
    sources = {
        "one": "def f():\n    from house import two\n",
        "two": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from .three import x\n",
        "three": "import house.one\n",
        "four": "from . import one\n",
        "five": "",
    }
    (tmp_path / "house").mkdir()
    (tmp_path / "house/__init__.py").write_text("")
    for name, text in sources.items():
        (tmp_path / f"house/{name}.py").write_text(text)
    modules = modules_of(tmp_path)
    arrows = {name: imported_by(name, modules) for name in modules}
    assert arrows["house.four"] == {"house.one"}
    assert circles(arrows) == [["house.one", "house.three", "house.two"]]


def test_pages_know_a_context_and_never_the_app() -> None:
    modules = modules_of(ROOT / "tablet_app")
    pages = [name for name in modules if name.startswith(("garboard_tablet.pages", "garboard_tablet.ui"))]
    assert len(pages) > 15
    assert [name for name in pages if "garboard_tablet.app" in imported_by(name, modules)] == []


def test_the_app_puts_parts_together_and_is_none_of_them() -> None:
    tree = ast.parse((ROOT / "tablet_app/garboard_tablet/app.py").read_text(encoding="utf-8"))
    (app,) = (node for node in tree.body if isinstance(node, ast.ClassDef))
    assert 0 < sum(isinstance(node, ast.FunctionDef) for node in app.body) < 15


def test_the_models_of_the_tablet_app_import_no_kivy_and_no_page() -> None:
    above = ("kivy", "garboard_tablet.pages", "garboard_tablet.ui", "garboard_tablet.app")
    for name, path in modules_of(ROOT / "tablet_app").items():
        if name.startswith("garboard_tablet.models"):
            tree = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            imports = [node.module or "" for node in tree if isinstance(node, ast.ImportFrom)]
            assert not [one for one in imports if one.startswith(above)]
