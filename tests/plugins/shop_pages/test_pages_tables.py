"""Everything of the shop as tables, made on the page: it says how far they are, and what is not in them."""

from __future__ import annotations

import errno
import threading
from pathlib import Path
from typing import Any

import pytest

from garboard.judging.assessing import assess_hulls
from garboard_shop.pages import taking_away
from pages_rig import HAND, KITTIWAKE, LONG_REACH, SALTGRASS, Browser, Pages, form_to, words_of

LONG = 120.0


def make(pages: Pages, browser: Browser, ending: str = ".duckdb") -> str:
    """Press the button, wait until they are made; what the page then says."""
    form = form_to(browser.text("/data"), "/data/make")
    form.inputs = [one for one in form.inputs if one.get("type") != "checkbox"]  # nobody ticked it
    browser.send(form, ending=ending)
    thread = pages.desk.tables._thread
    assert thread is not None
    thread.join(LONG)
    return words_of(browser.text("/data"))


def test_the_tables_hold_what_the_pages_judge_and_say_what_is_lacking(
    pages: Pages, manager: Browser, tmp_path: Path
) -> None:
    summary = pages.desk.summaries.of(SALTGRASS)
    assert summary is not None
    [lost] = [
        str(one.value["file"])
        for one in summary.jobs[0].view.measurements
        if one.field == "turn_recording" and isinstance(one.value, dict)
    ]
    (pages.store.hulls.attachments.folder / lost).unlink()
    said = make(pages, manager)
    assert "without owners' names. tables.duckdb" in said
    assert f"recording {lost}: it is not here" in said
    answer = manager.get("/data/tables")
    assert answer.headers["content-disposition"].endswith("tables.duckdb")
    (tmp_path / "t.duckdb").write_bytes(answer.content)
    judged = [*assess_hulls(pages.store.hulls.folder, pages.desk.host)]
    import duckdb

    with duckdb.connect(str(tmp_path / "t.duckdb"), read_only=True) as base:
        boats = base.execute("SELECT hull FROM boats ORDER BY hull").fetchall()
        assert {hull for (hull,) in boats} >= {SALTGRASS, KITTIWAKE, LONG_REACH}
        findings = base.execute("SELECT hull, count(*), count(*) FILTER (verdict = 'fail') FROM findings GROUP BY 1")
        counted = {hull: (count, fails) for hull, count, fails in findings.fetchall()}
        [saltgrass] = [one for one in judged if one.view.vessel.hull_number == SALTGRASS]
        fails = sum(one.finding.verdict.value == "fail" for one in saltgrass.assessed)
        assert counted[SALTGRASS] == (len(saltgrass.assessed), fails)
        assert base.execute("SELECT what FROM left_out").fetchall() == [(f"recording {lost}",)]
        numbers = base.execute("SELECT name, value, unit FROM numbers WHERE hull = ?", [SALTGRASS]).fetchall()
        found = [
            (number.name, number.value, number.unit) for one in saltgrass.assessed for number in one.finding.numbers
        ]
        assert sorted(numbers) == sorted(found), "in the units of the calculators, as the command's tables"
        tablets = base.execute("SELECT DISTINCT tablet FROM measurements").fetchall()
        assert "" not in {tablet for (tablet,) in tablets}
        owners = base.execute("SELECT DISTINCT owner FROM jobs UNION SELECT name FROM signatures WHERE role = 'owner'")
        assert {name for (name,) in owners.fetchall()} <= {"owner", ""}


def test_only_a_manager_makes_them_and_one_file_at_a_time(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    technician = pages.signed_in(HAND)
    assert technician.get("/data").status_code == 403
    assert manager.get("/data/tables").status_code == 404
    assert manager.post("/data/make", {"csrf": manager.csrf(), "ending": ".exe"}).status_code == 400
    going_on, begun = threading.Event(), threading.Event()

    def slow(*_: Any) -> None:
        begun.set()
        assert going_on.wait(LONG)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(taking_away, "write_tables", slow)
    form = form_to(manager.text("/data"), "/data/make")
    manager.send(form, ending=".zip")
    assert begun.wait(LONG)
    assert "Being made: 0 of" in words_of(manager.text("/data"))
    assert pages.desk.tables.made is not None
    assert pages.desk.tables.made.with_owners
    manager.send(form, ending=".zip")
    assert "They are being made already" in words_of(manager.text("/data"))
    assert manager.get("/data/tables").status_code == 404
    going_on.set()
    thread = pages.desk.tables._thread
    assert thread is not None
    thread.join(LONG)
    assert "They were not made: no space left" in words_of(manager.text("/data"))


def test_where_there_is_no_room_to_begin_that_is_told_and_it_can_be_tried_again(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(taking_away, "ScratchFolder", full)
    for _ in range(2):
        assert "They were not made: read-only file system" in make(pages, manager)


def test_a_file_that_was_cleared_away_is_not_offered(pages: Pages, manager: Browser, tmp_path: Path) -> None:
    """It stands among temporary files. The page offered it, and the offer led back to the page."""
    pages.desk.tables._made = taking_away.Made(ending=".zip", at=pages.at, of=1, done=1, file=tmp_path / "tables.zip")
    said = manager.text("/data")
    assert "was cleared away from this machine. Make it again." in words_of(said)
    assert "/data/tables" not in said
    assert manager.get("/data/tables").status_code == 404
