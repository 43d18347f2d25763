"""A pipe or a device where a person names a file is refused at once: reading it would never end."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk.documents import DocumentDamaged, refuse_unreadable
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError, refuse_endless
from garboard.hosting.source_faults import faults_in_source
from garboard.hosting.sources import Source, find_module
from garboard.recordings import refuse_other_text

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pipes among its files")
TOLD = "got a pipe or a device: save what it gives as a file, and name that"


@pytest.fixture
def pipe(tmp_path: Path) -> Iterator[Path]:
    """A pipe into which nobody writes for long; opened here, so that a reader that is wrong ends and fails."""
    path = tmp_path / "pipe"
    os.mkfifo(path)
    held = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    writer = os.open(path, os.O_WRONLY)
    os.write(writer, b"{}")
    os.close(writer)
    yield path
    os.close(held)


def _run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(program, [*map(str, arguments)])
    return result.exit_code, " ".join(result.output.split())


@pytest.mark.parametrize("command", ["assess", "recording"])
@pytest.mark.parametrize("place", ["pipe", "/dev/zero"])
def test_a_command_names_the_pipe_and_says_what_to_do(pipe: Path, command: str, place: str) -> None:
    named = str(pipe) if place == "pipe" else place
    code, told = _run(command, named)
    assert code == 2
    assert TOLD in told
    assert named in told


def test_a_folder_of_job_files_with_a_pipe_in_it_is_told_as_well(pipe: Path) -> None:
    place = pipe.rename(pipe.with_suffix(".json"))
    code, told = _run("assess", place.parent)
    assert code == 2
    assert TOLD in told


def test_no_other_reader_of_a_named_path_opens_a_pipe(pipe: Path, tmp_path: Path) -> None:
    from garboard_shop.own_plugins import approve, keep_in_folder

    with pytest.raises(InputError, match="a pipe or a device"):
        refuse_other_text(pipe)
    with HullFolder(tmp_path / "tablet") as hulls, pytest.raises(InputError, match="a pipe or a device"):
        hulls.attachments.put_file(pipe)
    with pytest.raises(DocumentDamaged, match="a pipe or a device"):
        refuse_unreadable(pipe, None)
    with pytest.raises(InputError, match="a pipe or a device"):
        approve(None, keep_in_folder(tmp_path), pipe, "A", 0, jobs=(), tell=print)  # type: ignore[arg-type]
    assert not [*faults_in_source("x", pipe)]


def test_a_plugin_that_is_a_pipe_is_not_opened(pipe: Path, tmp_path: Path) -> None:
    (tmp_path / "plugins").mkdir()
    place = pipe.rename(tmp_path / "plugins" / "endless.py")
    with pytest.raises(InputError, match="a pipe or a device"):
        find_module(Source(file=str(place)))


def test_files_links_to_them_and_standard_input_are_let_pass(tmp_path: Path) -> None:
    file, link = tmp_path / "a.json", tmp_path / "b.json"
    file.write_text("{}")
    link.symlink_to(file)
    for path in (file, link, tmp_path, tmp_path / "none"):
        refuse_endless(path, "a job file")
    reading, writing = os.pipe()
    refuse_endless(Path(f"/dev/fd/{reading}"), "a job file", may_stream=True)
    with pytest.raises(InputError):
        refuse_endless(Path(f"/dev/fd/{reading}"), "a recording")
    os.close(reading)
    os.close(writing)
