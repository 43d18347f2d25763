"""Tablet and command line stop at the same hull numbers, and both go on when a person says so."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard_tablet.models.vessels import check_hull

JOB = {"format": "garboard job", "version": 1, "job": {"id": "J-1"}}


@pytest.mark.parametrize("number", ["hello", "ABC12345C39", "ABC1I345C393", "ABC12345C393", "US-ABC12345C393"])
def test_what_the_tablet_asks_about_the_command_refuses_until_told(tmp_path: Path, number: str) -> None:
    file = tmp_path / "job.json"
    file.write_text(json.dumps({**JOB, "vessel": {"hull_number": number}}), encoding="utf-8")
    words = ["import", str(file), "--into", str(tmp_path / "new"), "--by", "M. Office"]
    refused = CliRunner().invoke(program, words).exit_code != 0
    on_the_tablet = check_hull(number, ())
    assert refused == bool(on_the_tablet.faults or on_the_tablet.lacks)
    assert CliRunner().invoke(program, [*words, "--anyway"]).exit_code == 0
