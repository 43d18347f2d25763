"""The wheel holds our packages and nothing beside them; the documents in the source folders stay out of it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

import garboard
from garboard.hosting.host import BUILT_IN

ROOT = Path(garboard.__file__).parents[2]
FOLDERS = ("core", "plugins", "tablet_app", "sample_jobs")
OURS = {"garboard", "garboard_tablet", *BUILT_IN}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel built from a copy, in which every source folder has a README of its own."""
    copy = tmp_path_factory.mktemp("source")
    for folder in FOLDERS:
        shutil.copytree(ROOT / folder, copy / folder, ignore=shutil.ignore_patterns("__pycache__"))
        (copy / folder / "README.md").write_text("# A document for developers\n", encoding="utf-8")
    (copy / "plugins" / "garboard_shop" / "README.md").write_text("# Run the server\n", encoding="utf-8")
    for file in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / file, copy / file)
    (built,) = WheelBuilder(str(copy)).build(directory=str(copy / "dist"), versions=["standard"])
    return Path(built)


@pytest.fixture(scope="module")
def paths(wheel: Path) -> list[str]:
    with zipfile.ZipFile(wheel) as packed:
        return packed.namelist()


def test_every_path_in_the_wheel_begins_with_a_package_of_ours_or_the_metadata(paths: list[str]) -> None:
    tops = {path.split("/")[0] for path in paths}
    assert tops - OURS == {f"garboard-{garboard.__version__}.dist-info"}


def test_the_wheel_holds_every_module_but_the_developers_own(paths: list[str]) -> None:
    modules = {
        file.relative_to(ROOT / folder).as_posix()
        for folder in FOLDERS[:3]
        for file in (ROOT / folder).glob("garboard*/**/*.py")
    }
    assert len({path.split("/")[0] for path in modules}) == len(OURS)
    assert modules - set(paths) == {"garboard_tablet/gallery.py"}
    assert {f"{package}/py.typed" for package in OURS} - set(paths) == set()
    assert {"garboard/sample_jobs/kittiwake/job.json", "garboard_shop/PROTOCOL.md"} - set(paths) == set()
    assert len(set(paths)) == len(paths)
    assert any(path.endswith(".dist-info/licenses/LICENSE") for path in paths)


def test_no_document_for_developers_is_in_the_wheel(paths: list[str]) -> None:
    assert [path for path in paths if path.endswith("README.md") or "/pictures/" in path] == []


def block(document: str, marker: str) -> str:
    """What stands in a document under a marker."""
    text = (ROOT / "plugins" / document).read_text(encoding="utf-8")
    (found,) = re.findall(rf"<!-- {marker} -->\n```\w+\n(.*?)```", text, re.S)
    return str(found)


@pytest.mark.long
def test_the_tutorial_is_followed_from_an_empty_folder_with_the_wheel_installed(wheel: Path, tmp_path: Path) -> None:
    """Every command as it is written, by the program of the wheel and by nothing of the source folders."""
    installed, folder = tmp_path / "installed", tmp_path / "empty"
    folder.mkdir()
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--target", str(installed)]
    subprocess.run([*pip, str(wheel)], check=True, capture_output=True)
    path = os.pathsep.join([str(installed / "bin"), str(Path(sys.executable).parent), os.environ["PATH"]])
    env = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "GARBOARD"))}
    env |= {"PATH": path, "PYTHONPATH": str(installed)}

    def run(command: str) -> str:
        ended = subprocess.run(command, shell=True, cwd=folder, env=env, capture_output=True, text=True)
        assert ended.returncode == 0, (command, ended.stdout, ended.stderr)
        return ended.stdout

    where = run("python -c 'import garboard, garboard_handover; print(garboard.__file__, garboard_handover.__file__)'")
    assert where.count(str(installed)) == 2
    commands = block("README.md", "tutorial").splitlines()
    said = {command: run(command) for command in commands}
    assert len(said) == 5
    written = (folder / "test_our_bilge.py").read_text(encoding="utf-8").count("def test_")
    tested = next(text for command, text in said.items() if command.startswith("pytest"))
    assert f"{written} passed" in tested
    assert said[commands[-1]].splitlines()[-1] == "our_bilge.py is sound."
    (folder / "rail.toml").write_text(block("CHECKS.md", "check example"), encoding="utf-8")
    assert run("garboard check-plugin rail.toml").splitlines()[-1] == "rail.toml is sound."
