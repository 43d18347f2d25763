"""A blank job file explains every key and reads back; the steps are listed as a job file names them."""

from __future__ import annotations

import ast
import json
import math
from pathlib import Path
from typing import Any

import attrs
import pytest

from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.fields import Field, Kind
from garboard.history.boat import open_hull
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.blank import takes
from garboard.job_files.job_file import job_file_text, read_job_file
from garboard.judging.assessing import assess_job_file
from garboard.records import Engine, Job, Vessel
from garboard.units import UNITS_OF

HULL = "QQZ04417D626"


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host()


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("blank") / "job.json"
    program(["new-job", str(file), HULL, "--engines", "2", "--battery", "house"], standalone_mode=False)
    return file


def test_every_choice_can_be_told_from_the_next_one(host: PluginHost) -> None:
    """A comma in a choice looked like the end of it: "one of first, when something is wrong, good to know"."""
    fields = [one for step in host.steps for one in step.all_fields() if one.kind is Kind.CHOICE]
    told = {takes(one): one.choices for one in fields}
    told |= {one.allowed: one.field.choices for one in host.settings if one.field.choices}
    parted = {words: choices for words, choices in told.items() if any("," in one for one in choices)}
    assert len(parted) >= 3
    for words, choices in parted.items():
        assert ast.literal_eval(f"({words.removeprefix('one of ')})") == choices


def test_a_blank_file_reads_back_and_nothing_is_entered(blank: Path, host: PluginHost) -> None:
    found = assess_job_file(blank, host)
    assert {one.finding.verdict.value for one in found.assessed} == {"not enough data"}
    assert found.view.measurements == ()
    assert found.questions == ()
    assert [engine.position for engine in found.view.vessel.engines] == ["port", "starboard"]


def test_every_key_is_explained(blank: Path, host: PluginHost) -> None:
    plain = json.loads(blank.read_text(encoding="utf-8"))
    explained = plain["explained"]
    keys = {f"vessel.{field.name}" for field in attrs.fields(Vessel)} | {
        f"job.{field.name}" for field in attrs.fields(Job)
    }
    lists = {"engines", "propellers", "tanks", "batteries", "circuits", "heading_sensors", "networks"}
    keys -= {"vessel.more", "job.more", *(f"vessel.{one}" for one in lists)}
    keys |= {f"engines.{field.name}" for field in attrs.fields(Engine)} - {"engines.more", "engines.propeller"}
    assert keys <= set(explained)
    assert {f"{one['step']} {one['field']}" for one in plain["measurements"]} <= set(explained)
    assert all(explained.values())


def test_what_is_filled_in_is_judged_and_kept(blank: Path, host: PluginHost, tmp_path: Path) -> None:
    plain = json.loads(blank.read_text(encoding="utf-8"))
    plain["vessel"]["engines"][0]["gear_ratio"] = "1.85"
    for one in plain["measurements"]:
        if (one["step"], one["field"], one.get("of")) == ("prop_check.full_throttle", "engine_speed", "port"):
            one["value"] = "5600 rpm"
    file, folder = tmp_path / "job.json", tmp_path / "boats"
    file.write_text(json.dumps(plain), encoding="utf-8")
    program(["import", str(file), "--into", str(folder), "--by", "T. Ryggare", "--anyway"], standalone_mode=False)
    with HullFolder(folder) as hulls:
        view = open_hull(hulls, HULL).view("1")
    assert [(one.field, one.value) for one in view.measurements] == [("engine_speed", "5600 rev/min")]
    assert str(view.vessel.engines[0].gear_ratio) == "1.85"
    assert "null" not in job_file_text(read_job_file(file)).partition("measurements")[0]


def test_a_file_that_is_there_is_left_as_it_is(blank: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = blank.read_bytes()
    with pytest.raises(SystemExit) as ended:
        program(["new-job", str(blank), HULL])
    assert (ended.value.code, blank.read_bytes()) == (2, before)
    assert "which is there already" in capsys.readouterr().err


def test_the_steps_are_listed_with_every_field_unit_and_choice(
    host: PluginHost, capsys: pytest.CaptureFixture[str]
) -> None:
    program(["steps"], standalone_mode=False)
    text = capsys.readouterr().out
    program(["steps", "--json"], standalone_mode=False)
    listed: dict[str, Any] = {one["step"]: one for one in json.loads(capsys.readouterr().out)["steps"]}
    assert list(listed) == [step.key for step in host.steps]
    for step in host.steps:
        assert step.key in text
        for field in step.all_fields():
            assert f"{field.name}: {field.title}" in text
            assert field.kind is not Kind.AMOUNT or UNITS_OF[field.quantity][0] in text
            assert all(choice in text for choice in field.choices)


def test_a_step_nobody_knows_is_refused_with_those_that_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        program(["steps", "prop_check.full"])
    assert ended.value.code == 2
    assert "prop_check.full_throttle" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["H\udcff"],
        [" "],
        ["H", "--battery", ""],
        ["H", "--battery", "a", "--battery", "a"],
        ["H", "--circuit", "a\udcff"],
    ],
)
def test_names_a_job_file_cannot_have_are_refused_and_nothing_is_left(tmp_path: Path, words: list[str]) -> None:
    file = tmp_path / "job.json"
    with pytest.raises(SystemExit) as ended:
        program(["new-job", str(file), *words])
    assert ended.value.code == 2
    assert not file.exists()


@pytest.mark.parametrize("name", ["the measurements", '"measurements": []', '\n "measurements": []'])
def test_a_blank_file_reads_back_whatever_a_piece_is_called(tmp_path: Path, host: PluginHost, name: str) -> None:
    file = tmp_path / "job.json"
    program(["new-job", str(file), HULL, "--battery", name], standalone_mode=False)
    read = read_job_file(file, host)
    assert [battery.name for battery in read.vessel.batteries] == [name]
    assert len(read.measurements) > 50


def test_a_broken_plugin_is_told_where_its_step_is_missing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = tmp_path / "broken.py"
    broken.write_text("raise ValueError('worn out')\n")
    for words in (["steps"], ["new-job", str(tmp_path / "job.json"), HULL]):
        program(["--plugin", str(broken), *words], standalone_mode=False)
        captured = capsys.readouterr()
        assert "Plugin broken is not at work" in captured.err
        assert "worn out" in captured.err
        program(words if words == ["steps"] else ["new-job", str(tmp_path / "other.json"), HULL], standalone_mode=False)
        assert capsys.readouterr().err == ""


INF = math.inf
TABLE = Field(name="rows", title="Rows", kind=Kind.TABLE, columns=(Field(name="n", title="N", kind=Kind.COUNT),))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"hard": (-INF, INF)}, "hard is −inf to inf"),
        ({"hard": (0, INF)}, "two finite numbers"),
        ({"plausible": (-INF, 1)}, "plausible is −inf to 1"),
        ({"hard": (10, 1)}, "low first"),
        ({"plausible": (10, 1)}, "low first"),
        ({"kind": Kind.TABLE, "columns": (TABLE,)}, "a table holds no other table"),
        ({"kind": Kind.AMOUNT, "quantity": "lenght"}, "quantity must be one of speed, .*, got 'lenght'"),
        ({"kind": Kind.AMOUNT, "quantity": "time"}, "unit of time must be one of 's', 'min', 'h', got ''"),
        ({"kind": Kind.AMOUNT, "quantity": "number", "unit": "x"}, "unit of number must be one of '', got 'x'"),
    ],
)
def test_a_field_no_file_can_hold_is_refused(given: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        Field(**{"name": "speed", "title": "Speed", "kind": Kind.COUNT, **given})
    assert Field(name="speed", title="Speed", kind=Kind.COUNT, hard=(1, 1), plausible=(-1, 10)).hard == (1, 1)
