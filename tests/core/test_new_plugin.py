"""`garboard new-plugin` writes what works at once: into an empty folder, checked and tested there."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from garboard.commands.cli import program
from garboard.commands.new_plugin import files_of
from garboard.testing import as_data, job_from, judge, load


def run(*words: object) -> Result:
    return CliRunner().invoke(program, [str(word) for word in words])


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One of each form in an empty folder."""
    folder = tmp_path_factory.mktemp("empty")
    for words in (["reel_fit"], ["tow", "--package"]):
        assert run("new-plugin", *words, "--folder", folder).exit_code == 0
    return folder


def test_a_file_or_a_package_is_written_with_its_test_and_a_sample_job(written: Path) -> None:
    assert sorted(one.relative_to(written).as_posix() for one in written.rglob("*") if one.is_file()) == [
        "reel_fit.py",
        "reel_fit_job.json",
        "test_reel_fit.py",
        "tow/pyproject.toml",
        "tow/tests/test_tow.py",
        "tow/tests/tow_job.json",
        "tow/tow/__init__.py",
        "tow/tow/py.typed",
    ]
    assert not [one for one in written.rglob("*.*") if one.is_file() and "my_checks" in one.read_text()]


def test_its_own_tests_pass_in_both_forms_and_it_is_free_of_faults_to_ruff(written: Path) -> None:
    tests = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(written)]
    by_itself = any(one.value == "garboard.pytest_plugin" for one in entry_points(group="pytest11"))
    named = [] if by_itself else ["-p", "garboard.pytest_plugin"]  # a checkout installed before it was there
    ended = subprocess.run([*tests, *named], cwd=written, capture_output=True, text=True)
    assert ended.stdout.splitlines()[-1].startswith("8 passed")
    linted = subprocess.run(["ruff", "check", "--isolated", "--no-cache", written], capture_output=True, text=True)
    assert (linted.returncode, linted.stdout.strip()) == (0, "All checks passed!")


def test_what_is_written_is_sound_and_its_sample_job_passes(written: Path) -> None:
    result = run("check-plugin", written / "reel_fit.py", "--on", written / "reel_fit_job.json")
    assert (result.exit_code, result.stdout.splitlines()[-1]) == (0, "reel_fit.py is sound.")
    host = load(written / "tow" / "tow")
    (found,) = as_data(judge(job_from(written / "tow" / "tests" / "tow_job.json", host), host, "tow.bilge"))
    assert found["verdict"] == "pass"


def test_the_package_names_the_entry_point_by_which_it_is_found(written: Path) -> None:
    project = tomllib.loads((written / "tow" / "pyproject.toml").read_text())["project"]
    ((group, entries),) = project["entry-points"].items()
    (entry,) = (EntryPoint(name, value, group) for name, value in entries.items())
    assert (project["name"], entry.name, entry.module, group) == ("tow", "tow", "tow", "garboard.plugins")


def test_nothing_that_is_there_is_written_over(tmp_path: Path) -> None:
    (tmp_path / "test_reel_fit.py").write_text("mine")
    result = run("new-plugin", "reel_fit", "--folder", tmp_path)
    assert (result.exit_code, [one.name for one in tmp_path.iterdir()]) == (2, ["test_reel_fit.py"])
    assert "one that is there already" in result.stderr
    assert (tmp_path / "test_reel_fit.py").read_text() == "mine"


@pytest.mark.parametrize(("name", "better"), [("Reel-Fit", "reel_fit"), ("garboard_shop", "own_garboard_shop")])
def test_a_name_that_no_plugin_can_have_is_refused_with_a_better_one(tmp_path: Path, name: str, better: str) -> None:
    result = run("new-plugin", name, "--folder", tmp_path)
    assert (result.exit_code, [*tmp_path.iterdir()]) == (2, [])
    assert f"call it {better}" in " ".join(result.stderr.split())
    assert files_of(better)
