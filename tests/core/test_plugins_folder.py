"""A folder `plugins` beside the data is read by every command, and by none where others may write in it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import small_plugin
import wrong_plugins
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure, sign_off
from garboard.hosting.apart import Apart
from garboard.hosting.sources import plugins_beside, refused_beside
from garboard.recordings.encode import csv_series
from garboard.samples import Sample
from garboard.shop_link.shop_plugins import ApprovedPlugin, keep
from histories import JOB, Tablet, tablet
from hostile_checks import GOOD
from run_program import run


@pytest.fixture(scope="module")
def apart() -> Iterator[Apart]:
    """The plugins' own process, started once for this file."""
    one = Apart()
    yield one
    one.close()


@pytest.fixture(autouse=True)
def one_process(apart: Apart, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("garboard.hosting.apart.Apart", lambda: apart)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A job file and a recording with plugins beside them."""
    (tmp_path / "plugins").mkdir()
    (tmp_path / "plugins" / "small_own.py").write_bytes(Path(small_plugin.__file__).read_bytes())
    (tmp_path / "job.json").write_text(small_plugin.JOB, encoding="utf-8")
    (tmp_path / "day.csv").write_bytes(csv_series(Sample(float(at), "heading", 10.0, "20") for at in range(5)))
    return tmp_path


def test_every_command_reads_it(data: Path) -> None:
    judged = json.loads(run("assess", data / "job.json", "--json").stdout)
    assert "small_own" in [plugin["name"] for plugin in judged["plugins"]]
    assert "small.horn" in [found["calculator"] for found in judged["jobs"][0]["findings"]]
    assert "small.horn" in run("steps", "--beside", data).stdout
    assert "small_own" in run("plugins", "--beside", data / "job.json").stdout
    assert "Held steady." in run("recording", data / "day.csv", "--steady").stdout
    assert "small.horn" in run("new-job", data / "new.json", "XYZAB123F526").stdout + (data / "new.json").read_text()
    imported = run("import", data / "job.json", "--into", data / "hulls", "--by", "Robin")
    assert imported.exit_code == 0, imported.output


def test_a_folder_of_hull_files_has_its_own(data: Path) -> None:
    assert run("import", data / "job.json", "--into", data / "hulls", "--by", "Robin", "--anyway").exit_code == 0
    assert "small_own" not in run("assess", data / "hulls").stdout
    (data / "plugins").rename(data / "hulls" / "plugins")
    assert "Sound the horn" in run("assess", data / "hulls").stdout


def test_one_named_on_the_command_line_runs_instead_and_is_not_a_clash(data: Path) -> None:
    (data / "other").mkdir()
    (data / "other" / "small_own.py").write_text(wrong_plugins.good("small_own"), encoding="utf-8")
    listed = run("--plugin", data / "other" / "small_own.py", "plugins", "--json", "--beside", data)
    plain = json.loads(listed.stdout)
    assert plain["faults"] == []
    assert [one["calculators"] for one in plain["plugins"] if one["name"] == "small_own"] == [["small_own.check"]]


def test_a_merge_names_values_by_the_plugins_that_the_folders_shop_approved(tmp_path: Path) -> None:
    """As `assess` there and the shop's pages do: a check's field has its title, not its key."""
    here, tablet_a = tmp_path / "shop", tablet("a")
    tablet_a.write(measure(tablet_a.author, tablet_a.state, JOB, "rail.look", "height", "30 in"))
    tablet_a.write(sign_off(tablet_a.author, tablet_a.state, JOB, "technician", "Robin"))
    saved(here, tablet_a)
    with HullFolder(here) as hulls:
        keep(here, [ApprovedPlugin("rail", hulls.attachments.put(GOOD.encode()), "M. Office", 1)])
    tablet_a.write(measure(tablet_a.author, tablet_a.state, JOB, "rail.look", "height", "31 in"))
    saved(tmp_path / "stick", tablet_a)
    for options in (["--dry-run"], []):
        said = run("merge", tmp_path / "stick", "--into", here, *options).stdout
        assert "Changed: Look at the rail: Height" in said
    nowhere = run("merge", tmp_path / "stick", "--into", tmp_path / "none" / "new", "--dry-run")
    assert nowhere.exit_code == 0


def saved(folder: Path, one: Tablet) -> None:
    with HullFolder(folder) as hulls:
        for entry in one.held.values():
            hulls.save(entry)


def test_what_a_manager_approved_is_not_replaced_by_what_lies_there(data: Path) -> None:
    assert run("import", data / "job.json", "--into", data / "hulls", "--by", "Robin", "--anyway").exit_code == 0
    (data / "approved").mkdir()
    (data / "approved" / "small_own.py").write_text(wrong_plugins.good("small_own"), encoding="utf-8")
    with HullFolder(data / "hulls") as hulls:
        sha256 = hulls.attachments.put((data / "approved" / "small_own.py").read_bytes())
        keep(data / "hulls", [ApprovedPlugin("small_own", sha256, "M. Office", 1)])
    (data / "plugins").rename(data / "hulls" / "plugins")
    plain = json.loads(run("plugins", "--json", "--beside", data / "hulls").stdout)
    assert plain["faults"] == []
    assert [one["calculators"] for one in plain["plugins"] if one["name"] == "small_own"] == [["small_own.check"]]


def test_the_tablet_gets_those_of_the_command_line_and_those_beside_its_data(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[Any] = []
    app = SimpleNamespace(run=lambda *arguments: given.extend(arguments))
    monkeypatch.setattr("garboard.commands.tablet.import_module", lambda _name: app)
    chosen = Path(small_plugin.__file__)
    assert run("--plugin", chosen, "tablet", "--folder", data).exit_code == 0
    assert given[0] == data
    assert given[4:] == [(chosen, data / "plugins" / "small_own.py"), (), ()]
    given.clear()
    (data / "plugins" / "my-checks.py").touch()
    told = run("--without", "garboard_handover", "tablet", "--folder", data)
    assert told.exit_code == 0
    own, refused, without = given[4:]
    assert (own, refused[0].code, without) == (
        (data / "plugins" / "small_own.py",),
        "wrong_name",
        ("garboard_handover",),
    )


def test_nothing_runs_from_a_folder_that_others_may_change(data: Path) -> None:
    (data / "plugins").chmod(0o777)
    result = run("plugins", "--beside", data)
    assert "small_own" not in result.stdout
    assert "is not yours alone to change, so no plugin in it ran" in result.stderr


def test_what_is_no_plugin_and_what_comes_with_the_program_is_passed_over(tmp_path: Path) -> None:
    place = tmp_path / "plugins"
    (place / "package").mkdir(parents=True)
    (place / "garboard_shop").mkdir()
    (place / "old").mkdir()
    (place / "garboard_handover").mkdir()
    for name in ("package/__init__.py", "garboard_shop/__init__.py", "one.py", "notes.txt", ".one.py", "old/two.py"):
        (place / name).touch()
    for name in ("garboard_handover/__init__.py", "garboard_handover/py.typed"):
        (place / name).touch()
    assert [path.name for path in plugins_beside(tmp_path, ("garboard_shop", "garboard_handover"))] == [
        "one.py",
        "package",
    ]
    assert plugins_beside(tmp_path / "elsewhere" / "job.json") == ()
    assert [one.name for one in refused_beside(tmp_path, ("garboard_shop", "garboard_handover"))] == ["garboard_shop"]
    assert refused_beside(tmp_path / "elsewhere" / "job.json", ()) == ()


NO_NAMES = {
    "my-checks.py": ("wrong_name", "call it my_checks.py"),
    "bilge check.py": ("wrong_name", "call it bilge_check.py"),
    "1st.py": ("wrong_name", "call it own_1st.py"),
    "X.PY": ("wrong_name", "call it X.py"),
    "a package/__init__.py": ("wrong_name", "call it a_package"),
    "garboard_handover.py": ("name_taken", "call the plugin's file something else"),
}


def test_what_does_not_run_for_its_name_is_named_wherever_plugins_are(data: Path) -> None:
    (data / "plugins" / "a package").mkdir()
    for name in NO_NAMES:
        (data / "plugins" / name).write_text(wrong_plugins.good("some_checks"), encoding="utf-8")
    judged = run("assess", data / "job.json", "--json")
    plain = json.loads(judged.stdout)
    assert "small_own" in [plugin["name"] for plugin in plain["plugins"]]
    told = {(one["code"], one["cure"]) for one in plain["broken_plugins"]}
    assert told == set(NO_NAMES.values())
    listed = run("plugins", "--beside", data)
    assert listed.exit_code == 1
    faults = json.loads(run("plugins", "--json", "--beside", data).stdout)["faults"]
    for name, (code, cure) in NO_NAMES.items():
        path = str(data / "plugins" / name.removesuffix("/__init__.py"))
        assert (path, code, cure) in [(one["file"], one["code"], one["cure"]) for one in faults]
        for said in (judged.stderr, listed.stdout):
            assert f"{path}] ({code}). To do: {cure}." in said
    without = [part for one in plain["broken_plugins"] for part in ("--without", one["name"])]
    assert "is not at work" not in run(*without, "assess", data / "job.json").stderr
