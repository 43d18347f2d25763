"""`garboard new-plugin` writes what works at once: into an empty folder, checked and tested there."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path

import pytest

from garboard.commands.new_plugin import files_of
from garboard.findings import Table
from garboard.samples import Sample
from garboard.testing import as_data, job_from, job_of, judge, judged, load
from run_program import run


def block(marker: str, manual: str = "README.md") -> str:
    """What stands in the plugin writer's manual under a marker, all its pieces together."""
    text = (Path(__file__).parents[2] / "plugins" / manual).read_text(encoding="utf-8")
    found = re.findall(rf"<!-- {marker} -->\n```\w+\n(.*?)```", text, re.S)
    assert found
    return "\n\n".join(found)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One of each form in an empty folder."""
    folder = tmp_path_factory.mktemp("empty")
    for words in (["reel_fit"], ["tow", "--package"]):
        assert run("new-plugin", *words, "--folder", folder).exit_code == 0
    return folder


def test_a_file_or_a_package_is_written_with_its_test_and_a_sample_job(written: Path) -> None:
    assert sorted(
        one.relative_to(written).as_posix() for one in written.rglob("*") if one.is_file() and one.suffix != ".pyc"
    ) == [
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


def test_the_readmes_tutorial_works_from_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    commands = block("tutorial").splitlines()
    ran = {line.split()[1] for line in commands if line.startswith("garboard ")}
    assert ran == {"new-plugin", "--plugin", "check-plugin"}
    for line in commands:
        first, *words = line.split()
        if first == "garboard":
            result = run(*words)
            assert result.exit_code == 0, (line, result.output)
    assert result.stdout.splitlines()[-1] == "our_bilge.py is sound."


def test_its_own_tests_and_those_of_the_readme_pass_and_ruff_finds_no_fault(written: Path, tmp_path: Path) -> None:
    """`pytest our_bilge.py` of the tutorial, too: its file is the same but for the name."""
    written = Path(shutil.copytree(written, tmp_path / "written"))  # others look at what was written, and at no more
    (written / "how_to.py").write_text(block("how-to file"))
    (written / "test_how_to.py").write_text(block("how-to test"))
    (written / "rail.toml").write_text(block("check example", "CHECKS.md"))
    (written / "test_rail.py").write_text(block("check test", "CHECKS.md"))
    by_itself = any(one.value == "garboard.pytest_plugin" for one in entry_points(group="pytest11"))
    named = [] if by_itself else ["-p", "garboard.pytest_plugin"]  # a checkout installed before it was there
    tests = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *named, str(written)]
    ended = subprocess.run(tests, cwd=written, capture_output=True, text=True)
    assert ended.stdout.splitlines()[-1].startswith("15 passed"), ended.stdout
    ours = [*written.glob("*reel_fit.py"), written / "tow"]
    linted = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "--isolated", "--no-cache", *ours], capture_output=True, text=True
    )
    assert (linted.returncode, linted.stdout.strip()) == (0, "All checks passed!")


def test_the_package_judges_its_sample_job(written: Path) -> None:
    host = load(written / "tow" / "tow")
    (found,) = as_data(judge(job_from(written / "tow" / "tests" / "tow_job.json", host), host, "tow.bilge"))
    assert found["verdict"] == "pass"


def test_what_the_readmes_how_tos_offer_is_offered_and_judged(tmp_path: Path) -> None:
    file = tmp_path / "how_to.py"
    file.write_text(block("how-to file"))
    host = load(file, built_in=False)
    assert host.faults == ()
    assert ([*host.live_guides], [one.key for one in host.report_sections]) == (["how_to.idle"], ["how_to.cleats"])
    guide, (section,) = host.live_guides["how_to.idle"], host.report_sections
    shown = guide.show(guide.take(guide.begin(job_from(job_of({}), host)), Sample(0.0, "engine_speed", 700.0)))
    assert (shown.number, shown.on_target) == (700.0, True)
    view = job_from(job_of({"how_to.pulls/cleat/1": "bow", "how_to.pulls/tension/1": "120 kg"}), host)
    (table,) = section.build(view, ())
    assert isinstance(table, Table)
    assert table.rows == (("bow", "120 kg"),)
    assert [found["verdict"] for found in judged("how_to.seal", {"how_to.seal/photo": {"file": "a.jpg"}}, host)] == [
        "pass"
    ]


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
