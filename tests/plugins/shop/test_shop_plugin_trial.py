"""Before a plugin is approved it judges the shop's own jobs, in a process of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

import small_plugin
import wrong_plugins
from garboard.commands.cli import program
from garboard.hosting.apart import Apart, Limits
from garboard.hosting.plugin_trial import Trial, try_plugin
from garboard.job_view import JobView
from garboard.records import Job, Measurement, Vessel
from hostile_checks import GOOD


def views(count: int = 3) -> Iterator[JobView]:
    for number in range(count):
        yield JobView(vessel=Vessel(hull_number=f"QQZ0{number:04}D626"), job=Job(id=f"J-{number}"))


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A loop is cut sooner than at work."""
    monkeypatch.setattr("garboard.hosting.apart.Apart", lambda: Apart(Limits(processor=0.3)))


def trial_of(folder: Path, body: str, count: int = 3) -> Trial:
    file = folder / "own.py"
    file.write_text(wrong_plugins.computing("own", body), encoding="utf-8")
    return try_plugin(file, views(count))


def test_one_that_is_right_is_tried_on_every_job(tmp_path: Path) -> None:
    trial = trial_of(tmp_path, "yield found(about=view.vessel.hull_number)")
    assert (trial.problems, trial.remarks, trial.jobs, trial.is_whole) == ((), (), 3, True)
    assert trial.sentences == (
        "It was tried on 3 jobs of the shop's own and failed in none.",
        "3 boats get 'fail'.",
        "It changes no verdict of other checks.",
    )


def test_a_check_file_is_tried_alike_and_the_boats_it_fails_are_counted(tmp_path: Path) -> None:
    (tmp_path / "rail.toml").write_text(GOOD, encoding="utf-8")
    rails = [
        attrs.evolve(view, measurements=(Measurement(step="rail.look", field="height", value=f"{height} in"),))
        for height, view in zip((10, 20, 30), views(), strict=True)
    ]
    trial = try_plugin(tmp_path / "rail.toml", rails)
    assert trial.problems == ()
    assert trial.sentences[1:] == ("2 boats get 'fail', 1 boat gets 'pass'.", "It changes no verdict of other checks.")


@pytest.mark.parametrize(
    ("body", "code", "said"),
    [
        ("if view.job.id == 'J-2': while_ = 1 / 0\nyield found()", "judges_badly", "division by zero"),
        ("if view.job.id == 'J-1':\n    while True: pass\nyield found()", "judges_badly", "took too long"),
        ("import random\nyield found(sentence=str(random.random()))", "differs", "of a job, then"),
        ("yield found(sentence=str(hash('x')))", "differs", "of a job, then"),
        (
            "kept = globals().setdefault('kept', [])\nkept.append(view)\nfor _ in kept: yield found()",
            "differs",
            "findings of a job, then",
        ),
    ],
    ids=["fails in one job", "loops in one job", "by chance", "by hashes", "keeping what was before"],
)
def test_one_that_fails_in_a_job_or_finds_otherwise_the_second_time_is_told(
    tmp_path: Path, body: str, code: str, said: str
) -> None:
    trial = trial_of(tmp_path, body)
    assert [one.code for one in trial.problems] == [code]
    assert said in trial.problems[0].reason
    assert trial.sentences == ()


def test_what_is_no_reason_to_refuse_it_is_said(tmp_path: Path) -> None:
    trial = trial_of(tmp_path, "import time\nbegan = time.time()\nyield found()")
    assert trial.problems == ()
    assert "It works, but it uses time.time()" in trial.sentences[3]


def test_without_a_job_that_is_said_and_without_time_how_far_it_came(tmp_path: Path) -> None:
    assert trial_of(tmp_path, "yield found()", 0).sentences == ("There was no job to try it on.",)
    file = tmp_path / "own.py"
    assert try_plugin(file, views(), longest=-1).is_whole is False


def test_a_section_that_fails_is_told(tmp_path: Path) -> None:
    _, text = wrong_plugins.sources()["section_of_numbers"]
    (tmp_path / "section_of_numbers.py").write_text(text, encoding="utf-8")
    (problem,) = try_plugin(tmp_path / "section_of_numbers.py", views()).problems
    assert problem.code == "judges_badly"


def test_the_command_tries_it_on_the_folders_jobs_and_refuses_it_with_the_reason(tmp_path: Path) -> None:
    job, shop = tmp_path / "job.json", tmp_path / "shop"
    job.write_text(small_plugin.JOB, encoding="utf-8")
    run = CliRunner().invoke
    assert run(program, ["import", str(job), "--into", str(shop), "--by", "Robin", "--anyway"]).exit_code == 0
    (tmp_path / "own.py").write_text(wrong_plugins.computing("own", "yield found(sentence=5)"), encoding="utf-8")
    approve = ["shop-plugins", "approve", "--folder", str(shop), str(tmp_path / "own.py"), "--by", "M. Office"]
    refused = run(program, approve)
    assert (refused.exit_code, "sentence of a finding is text" in refused.stderr) == (2, True)
    (tmp_path / "own.py").write_text(wrong_plugins.good("own"), encoding="utf-8")
    taken = run(program, approve)
    assert taken.exit_code == 0, taken.output
    assert "It was tried on 1 job of the shop's own and failed in none." in taken.output
