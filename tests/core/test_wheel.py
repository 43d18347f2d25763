"""The wheel holds our packages and nothing beside them; the documents in the source folders stay out of it."""

from __future__ import annotations

import shutil
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
def paths(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Paths in a wheel built from a copy, in which every source folder has a README of its own."""
    copy = tmp_path_factory.mktemp("source")
    for folder in FOLDERS:
        shutil.copytree(ROOT / folder, copy / folder, ignore=shutil.ignore_patterns("__pycache__"))
        (copy / folder / "README.md").write_text("# A document for developers\n", encoding="utf-8")
    (copy / "plugins" / "garboard_shop" / "README.md").write_text("# Run the server\n", encoding="utf-8")
    for file in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / file, copy / file)
    (built,) = WheelBuilder(str(copy)).build(directory=str(copy / "dist"), versions=["standard"])
    with zipfile.ZipFile(built) as wheel:
        return wheel.namelist()


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
