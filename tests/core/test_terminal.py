"""Names that others wrote reach the terminal as text, and cannot steer it."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.report.terminal import Tools
from garboard.report.visible import visible, visible_name, visible_output

JOB = {
    "format": "garboard job",
    "version": 1,
    "vessel": {"hull_number": "QQZ04417D626"},
    "job": {"id": "J-1"},
}

TITLE, CLEAR = "\x1b]0;gone\x07", "\x9b2J"
STEERING = ["\x1b", "\x07", "\x08", "\r", "\x7f", "\x9b", "\u202e", "\u2066"]


@pytest.mark.parametrize("character", STEERING)
def test_what_steers_a_terminal_becomes_a_mark(character: str) -> None:
    shown = visible(f"Salt{character}grass")
    assert character not in shown
    assert shown.startswith("Salt")
    assert len(shown) > len("Saltgrass")


def test_other_text_is_left_as_it_is_and_a_name_stands_on_one_line() -> None:
    assert visible("15.6 °C, “fair”\n\tline two") == "15.6 °C, “fair”\n\tline two"
    assert visible_name("Salt\ngrass") == "Salt␤grass"


def test_the_console_shows_the_marks_and_keeps_its_own_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    console = Tools().console()
    console.file = out = io.StringIO()
    console.print("Salt\x1b[2Jgrass", style="bold")
    assert out.getvalue() == "\x1b[1mSalt␛[2Jgrass\x1b[0m\n"


def test_what_is_printed_within_is_visible(capsys: pytest.CaptureFixture[str]) -> None:
    with visible_output():
        print(f"Salt{TITLE}grass")
    print("\x1b")
    assert capsys.readouterr().out == "Salt␛]0;gone␇grass\n\x1b\n"


@pytest.mark.parametrize("place", ["name", "hull_number"])
def test_assess_shows_a_name_that_steers_by_its_marks(tmp_path: Path, place: str) -> None:
    plain = json.loads(json.dumps(JOB))
    plain["vessel"][place] = f"Salt{TITLE}{CLEAR}\ngrass"
    (tmp_path / "job.json").write_text(json.dumps(plain), encoding="utf-8")
    done = CliRunner().invoke(program, ["assess", str(tmp_path / "job.json")])
    assert "Salt␛]0;gone␇\\u009b2J␤grass" in done.output
    assert not {"\x1b", "\x07", "\x9b"} & set(done.output)


def test_a_fault_shows_the_name_of_its_file_by_its_marks(tmp_path: Path) -> None:
    done = CliRunner().invoke(program, ["assess", str(tmp_path / f"no{TITLE}.json")])
    assert done.exit_code == 2
    assert "no␛]0;gone␇.json" in done.stderr
