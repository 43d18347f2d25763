"""The program, run in this process with words as a terminal gives them."""

from __future__ import annotations

from click.testing import CliRunner, Result

from garboard.commands.cli import program


def run(*words: object) -> Result:
    """What it says, and its exit code."""
    return CliRunner().invoke(program, [*map(str, words)])


def outcome(*words: object) -> tuple[int, str]:
    """Its exit code, and all that it says."""
    ended = run(*words)
    return ended.exit_code, ended.output
