"""What an import takes in is what its step's fields take; what came in by another way is kept, and asked about."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import small_plugin
from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.judging.assessing import assess_hulls, assess_job_file

VALUES: list[dict[str, Any]] = [
    {"step": "small.run", "field": "speed", "of": "port", "value": "10000 rpm"},
    {"step": "small.horn", "field": "heard", "value": "loud"},
    {"step": "small.horn", "field": "colour", "value": "red"},
    {"step": "another.shops", "field": "level", "value": "what only its plugin knows"},
]
JOB: dict[str, Any] = {
    "format": "garboard job",
    "version": 1,
    "vessel": {"hull_number": "QQZ01234A626", "engines": [{"position": "port"}]},
    "job": {"id": "J-1"},
}
PLUGIN = Path(small_plugin.__file__)


def run(*words: object) -> Result:
    return CliRunner().invoke(program, ["--plugin", str(PLUGIN), *map(str, words)])


def imported(folder: Path, measurements: list[dict[str, Any]], *options: str, **more: Any) -> Result:
    file = folder / "job.json"
    file.write_text(json.dumps({**JOB, **more, "measurements": measurements}, indent=1), encoding="utf-8")
    return run("import", file, "--into", folder / "boats", "--by", "M. Office", *options)


def test_every_value_that_does_not_fit_is_refused_at_once_and_nothing_is_kept(tmp_path: Path) -> None:
    ended = imported(tmp_path, VALUES, settings={"small.patience": "3 kn"})
    text = (tmp_path / "job.json").read_text(encoding="utf-8")
    assert ended.exit_code == 2
    assert f"{tmp_path / 'job.json'}: 4 faults" in ended.stderr
    for index, (word, key, said) in enumerate(
        (
            ('"10000 rpm"', "measurements[0].value (small.run, speed, port)", "expected between 0 and 9000 rev/min"),
            ('"loud"', "measurements[1].value (small.horn, heard)", "expected true or false, got 'loud'"),
            ('"colour"', "measurements[2].field (small.horn, colour)", "expected a field of step small.horn: "),
        )
    ):
        line = text[: text.index(word)].count("\n") + 1
        assert f"line {line}, {key}: {said}" in ended.stderr, index
    assert "settings.small.patience" in ended.stderr
    assert "--anyway" in ended.stderr
    assert not (tmp_path / "boats").exists()


def test_they_are_kept_when_asked_for_and_each_is_asked_about(tmp_path: Path) -> None:
    ended = imported(tmp_path, VALUES, "--anyway")
    assert ended.exit_code == 0, ended.stderr
    assert "keeping 3 values that do not fit their fields" in ended.stderr
    (job,) = assess_hulls(tmp_path / "boats", small_plugin.small_host())
    kept = [question for question in job.questions if question.endswith("Kept as it is; correct it.")]
    assert len(kept) == 3
    assert any("got '10000 rev/min'" in question for question in kept)
    spelled = {"10000 rpm": "10000 rev/min"}
    assert {(one.field, one.value) for one in job.view.measurements} == {
        (one["field"], spelled.get(one["value"], one["value"])) for one in VALUES
    }


def test_values_that_fit_and_those_of_another_shops_step_come_in_unasked(tmp_path: Path) -> None:
    fitting: list[dict[str, Any]] = [
        {"step": "small.run", "field": "speed", "of": "port", "value": "3000 rpm"},
        {"step": "small.horn", "field": "heard", "value": True},
        VALUES[3],
    ]
    ended = imported(tmp_path, fitting)
    assert (ended.exit_code, ended.stderr) == (0, "")
    (job,) = assess_hulls(tmp_path / "boats", small_plugin.small_host())
    assert not any("Kept as it is" in question for question in job.questions)


def test_what_an_export_carries_comes_in_as_it_was_entered(tmp_path: Path) -> None:
    assert imported(tmp_path, VALUES, "--anyway").exit_code == 0
    assert run("export", tmp_path / "boats", "QQZ01234A626", "-o", tmp_path / "out").exit_code == 0
    ended = run("import", tmp_path / "out" / "job.json", "--into", tmp_path / "there", "--by", "M. Office")
    assert (ended.exit_code, ended.stderr) == (0, "")
    with HullFolder(tmp_path / "boats") as here, HullFolder(tmp_path / "there") as there:
        assert here.ids("QQZ01234A626") == there.ids("QQZ01234A626")


@pytest.mark.parametrize("options", [(), ("--anyway",)])
def test_a_setting_no_boat_could_be_judged_by_is_refused_either_way(tmp_path: Path, options: tuple[str, ...]) -> None:
    ended = imported(tmp_path, [], *options, settings={"small.patience": "3 kn"})
    assert ended.exit_code == 2
    assert "settings.small.patience" in ended.stderr


def test_a_photo_that_is_not_beside_its_job_is_no_value(tmp_path: Path) -> None:
    measurement = {"step": "small.horn", "field": "attached", "value": {"file": "horn.jpg"}, "by": "A. Hand"}
    ended = imported(tmp_path, [measurement])
    assert (ended.exit_code, "horn.jpg, which is not there" in ended.stderr) == (2, True)
    assert not (tmp_path / "boats").exists()
    assert imported(tmp_path, [measurement], "--anyway").exit_code == 0
    host = small_plugin.small_host()
    (kept,) = assess_hulls(tmp_path / "boats", host)
    read = assess_job_file(tmp_path / "job.json", host)
    for one in (kept, read):
        assert one.view.measurements == ()
        assert [(lacks.place[:2], lacks.got) for lacks in one.view.unreadable] == [
            (("small.horn", "attached"), "horn.jpg")
        ]
    (tmp_path / "horn.jpg").write_bytes(b"as a camera writes it")
    assert len(assess_job_file(tmp_path / "job.json", host).view.measurements) == 1
