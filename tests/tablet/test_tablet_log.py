"""The log file, the file for whoever helps, and Python's own hooks for errors nobody caught."""

from __future__ import annotations

import ast
import logging
import re
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import garboard
import garboard_tablet
from garboard.hosting.host import make_host
from garboard_tablet.models import logbook
from garboard_tablet.models.help_file import make_help_file
from garboard_tablet.models.tablet import open_tablet
from garboard_tablet.models.uncaught import ShownOnce, Uncaught

DOCK = Path(__file__).with_name("dock_plugin.py")

log = logging.getLogger("garboard.tablet")


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Path]:
    """A tablet's folder in which a log is kept."""
    handler = logbook.keep_log(tmp_path)
    yield tmp_path
    logbook.close_log(handler)


def fail(text: str) -> None:
    raise ValueError(text)


def test_the_log_says_where_it_failed_and_nothing_that_was_measured_or_who_did(kept: Path) -> None:
    try:
        try:
            fail("12.64 V measured by Robin Vane")
        except ValueError as failure:
            raise OSError(28, "no space", "/home/robin/XYZAB123F526") from failure
    except OSError:
        log.exception("hull %s by %s reads %6.2f V", "XYZAB123F526", "Robin Vane", 12.64)
    text = logbook.kept_log(kept)
    assert "ERROR garboard.tablet: hull … by … reads … V" in text
    assert "OSError ENOSPC" in text
    assert "ValueError" in text
    assert f"{__name__}:" in text  # the lines of program it went through
    assert " fail\n" in text
    for private in ("Robin", "robin", "12.64", "XYZAB123F526", "/home"):
        assert private not in text


def test_every_message_of_the_program_is_fixed_words() -> None:
    """What is filled in is left out of the file; so nothing may be filled in before the log gets it."""
    calls = []
    for root in (Path(garboard.__file__).parent, Path(garboard_tablet.__file__).parent):
        texts = {path: path.read_text(encoding="utf-8") for path in root.rglob("*.py")}
        for path in [path for path, text in texts.items() if re.search(r"\blog\b", text)]:
            for node in ast.walk(ast.parse(texts[path])):
                if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                    continue
                of, name = node.func.value, node.func.attr
                if isinstance(of, ast.Name) and of.id == "log" and name in ("info", "warning", "error", "exception"):
                    calls.append((path.name, node.lineno, node.args[0]))
    assert len(calls) > 5
    assert [call[:2] for call in calls if not isinstance(call[2], ast.Constant)] == []


def test_the_log_stays_under_its_size(kept: Path) -> None:
    for _ in range(2_500):
        log.info("one line of the log that is long enough to fill files soon, and then some more words in it" * 8)
    files = list((kept / logbook.FOLDER).iterdir())
    assert len(files) == logbook.OLDER + 1
    assert sum(path.stat().st_size for path in files) <= logbook.LARGEST * (logbook.OLDER + 1)


def test_a_folder_that_takes_no_log_keeps_nobody_from_work(tmp_path: Path) -> None:
    (tmp_path / logbook.FOLDER).write_text("a file where the folder should be")
    handler = logbook.keep_log(tmp_path)
    log.error("this goes nowhere")
    logbook.close_log(handler)
    assert logbook.kept_log(tmp_path) == ""


def test_the_help_file_holds_versions_and_the_log_oldest_lines_first(kept: Path) -> None:
    tablet = open_tablet(kept / "tablet", lambda: make_host(built_in=(), entry_points=False, files=[DOCK]))
    handler = logbook.keep_log(tablet.folder)
    try:
        tablet.change_settings(tablet.settings.with_person("Robin Vane"))
        tablet.open_job("XYZAB123F526")
        log.error("first")
        log.error("second")
        text = make_help_file(tablet).read_text(encoding="utf-8")
    finally:
        logbook.close_log(handler)
        tablet.close()
    assert f"Python {sys.version.split()[0]}" in text
    assert "Hull files: 1, damaged: 0" in text
    assert all(f"  {plugin.name} {plugin.version}" in text for plugin in tablet.host.plugins)
    assert text.index("first") < text.index("second")
    assert "Robin" not in text
    assert "XYZAB123F526" not in text


def test_an_error_of_a_thread_is_logged_and_shown_on_the_drawing_thread(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before: list[object] = []
    monkeypatch.setattr(threading, "excepthook", before.append)
    waiting: list[Callable[[], object]] = []
    shown: list[BaseException] = []

    def later(work: Callable[[], object], after: float = 0.0, /) -> object:
        waiting.append(work)
        return None

    with Uncaught(later, shown.append):
        thread = threading.Thread(target=fail, args=("12.64 V",))
        thread.start()
        thread.join()
        assert shown == []
        waiting[0]()
    assert [type(failure) for failure in shown] == [ValueError]
    assert len(before) == 1  # what Python did before is done as well
    assert threading.excepthook == before.append
    assert "a thread ended by an error" in logbook.kept_log(kept)
    assert "12.64" not in logbook.kept_log(kept)


def test_an_error_that_ends_the_program_is_logged(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before: list[object] = []
    monkeypatch.setattr(sys, "excepthook", lambda *told: before.append(told[0]))
    with Uncaught(lambda work, after=0.0, /: None, lambda _failure: None):
        failure = ValueError("12.64 V")
        sys.excepthook(ValueError, failure, None)
        sys.excepthook(KeyboardInterrupt, KeyboardInterrupt(), None)
    assert before == [ValueError, KeyboardInterrupt]
    assert logbook.kept_log(kept).count("the program ended by an error") == 1


def test_an_error_is_shown_once_for_each_place_it_comes_from() -> None:
    shown = ShownOnce()

    def failure_of(do: Callable[[], object]) -> BaseException:
        with pytest.raises(Exception) as caught:  # noqa: PT011  # any
            do()
        return caught.value

    assert shown.is_new(failure_of(lambda: fail("one")))
    assert not shown.is_new(failure_of(lambda: fail("another")))
    assert shown.is_new(failure_of(lambda: 1 / 0))
