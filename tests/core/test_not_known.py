"""What a job holds that nothing here reads is asked about, with its line and what it may be meant for."""

import json
from pathlib import Path
from typing import Any

import pytest

import small_plugin
from garboard.disk.clock import HybridClock
from garboard.disk.hullfile import HullFolder
from garboard.history import exchange
from garboard.history.authoring import Author
from garboard.job_files.job_file import read_job_file
from garboard.judging.assessing import assess_hulls, assess_job_file

GOOD: dict[str, Any] = {
    "format": "garboard job",
    "version": 1,
    "vessel": {"hull_number": "ABC12345C393", "engines": [{"position": "port"}]},
    "job": {"id": "J-1", "opened": "2026-05-14"},
    "measurements": [{"step": "small.horn", "field": "heard", "value": True}],
}


def questions(tmp_path: Path, **changed: Any) -> tuple[str, ...]:
    file = tmp_path / "job.json"
    plain = {**GOOD, **changed}
    plain["measurements"] = [{"by": "R. Vane", **one} for one in plain["measurements"]]
    file.write_text(json.dumps(plain, indent=1), encoding="utf-8")
    return assess_job_file(file, small_plugin.small_host()).questions


def test_a_job_that_is_wholly_known_raises_no_question(tmp_path: Path) -> None:
    assert questions(tmp_path) == ()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (
            {"measurements": [{"step": "small.hron", "field": "heard", "value": True}]},
            ("measurements[0].step: no plugin here knows the step 'small.hron'; its heard is kept, not judged.",),
        ),
        (
            {"steps": [{"step": "small.horm", "state": "done"}]},
            ("steps[0].step: no plugin here knows the step 'small.horm'", "Did you mean small.horn?"),
        ),
        (
            {"vessel": {"hull_number": "ABC12345C393", "engines": [{"position": "port", "colour": "red"}]}},
            (
                "vessel.engines[0].colour: this key is not known here; kept, not used. Keys known here: position, ",
                "rated_power",
            ),
        ),
        (
            {"vessel": {"hull_number": "ABC12345C393", "lenght": "21 ft"}},
            ("vessel.lenght: this key is not known here", "Did you mean length?"),
        ),
        ({"measurment": []}, ("measurment: this key is not known here", "Did you mean measurements?")),
        (
            {"settings": {"small.loud": "3"}},
            ("settings.small.loud: no plugin here knows this setting", "'garboard settings list --all' shows those"),
        ),
        (
            {"job": {"id": "J-1", "opened": "14/05/2026"}},
            ("job.opened: '14/05/2026' is no date that is read here. Write it like 2026-05-14.",),
        ),
    ],
)
def test_what_nothing_here_reads_is_one_question(
    tmp_path: Path, changed: dict[str, Any], said: tuple[str, ...]
) -> None:
    (question,) = questions(tmp_path, **changed)
    for part in said:
        assert part in question


def test_the_question_has_the_line_a_text_search_finds(tmp_path: Path) -> None:
    (question,) = questions(tmp_path, vessel={"hull_number": "ABC12345C393", "lenght": "21 ft"})
    text = (tmp_path / "job.json").read_text()
    line = text[: text.index('"lenght"')].count("\n") + 1
    assert question.startswith(f"Line {line}, ")


def test_many_values_of_a_step_nobody_knows_are_one_question(tmp_path: Path) -> None:
    values = [{"step": "other.checks", "field": "level", "row": str(n), "value": "1"} for n in range(40)]
    (question,) = questions(tmp_path, measurements=values)
    assert "its level, row 0 and 39 more are kept, not judged." in question


def test_in_a_folder_of_hull_files_it_is_asked_too(tmp_path: Path) -> None:
    questions(tmp_path, measurements=[{"step": "small.hron", "field": "heard", "value": True}])
    with HullFolder(tmp_path / "hulls") as hulls:
        author = Author("T1", "A. Tester", HybridClock(), {})
        exchange.import_job(hulls, read_job_file(tmp_path / "job.json"), tmp_path, author)
    (job,) = assess_hulls(tmp_path / "hulls", small_plugin.small_host())
    assert any("no plugin here knows the step 'small.hron'" in question for question in job.questions)
