"""A server whose program is updated beneath it says so, and does not call it a failure of its own."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from garboard.hosting.host import make_host
from garboard.shop_link import wire
from garboard_shop.app import make_app
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.pages import views
from garboard_shop.pages.desk import FOLDER, ShopDesk
from garboard_shop.pages.views import routes_of
from garboard_shop.program_files import ProgramFiles, program_folders


@pytest.fixture
def program(tmp_path: Path) -> Path:
    """Stands for a package of the program."""
    folder = tmp_path / "garboard_x"
    (folder / "pages").mkdir(parents=True)
    (folder / "pages" / "day.html").write_text("the day")
    (folder / "code.py").write_text("ONE = 1\n")
    return folder


def again(file: Path) -> None:
    """Written with the same bytes, a second later: as an update does with a file that it changes nothing of."""
    known = file.stat()
    os.utime(file, ns=(known.st_atime_ns, known.st_mtime_ns + 10**9))


CHANGES: dict[str, Callable[[Path], object]] = {
    "longer": lambda folder: (folder / "code.py").write_text("ONE = 11\n"),
    "written again": lambda folder: again(folder / "pages" / "day.html"),
    "new": lambda folder: (folder / "more.py").write_text(""),
    "gone": lambda folder: (folder / "pages" / "day.html").unlink(),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_of_the_program_is_seen_and_stays(program: Path, what: str) -> None:
    seen = ProgramFiles([program])
    (program / "__pycache__").mkdir()
    (program / "__pycache__" / "code.pyc").write_bytes(b"made by Python itself")
    assert not seen.are_changed_now()
    before = (program / "code.py").read_text()
    CHANGES[what](program)
    assert not seen.are_changed(), "it was looked at a moment ago"
    assert seen.are_changed_now()
    assert seen.are_changed()
    (program / "code.py").write_text(before)
    assert seen.are_changed_now(), "some of the other program may be loaded"


def test_the_folders_are_those_of_the_program_alone() -> None:
    assert {folder.name for folder in program_folders()} >= {"garboard", "garboard_shop"}
    assert all((folder / "py.typed").is_file() for folder in program_folders())


def test_what_fails_after_an_update_says_to_restart_the_shop(
    program: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store, files = EmbeddedStore(tmp_path / "office"), ProgramFiles([program])
    desk = ShopDesk(store, make_host((), entry_points=False), program=files)
    app = make_app(store, routes=routes_of(desk), program=files)
    browser = TestClient(app, base_url="https://shop.test", client=("192.0.2.7", 50000))
    monkeypatch.setattr(wire, "PROTOCOL", object())  # an answer that cannot be made
    monkeypatch.setitem(views.STATIC, "gone.js", program / "gone.js")
    notice = desk.templates.from_string('{% import "parts.html" as parts with context %}{{ parts.restart() }}')
    for is_changed, status, said in ((False, 500, "log has the cause"), (True, 503, "Restart the shop server")):
        if is_changed:
            CHANGES["longer"](program)
        tablets, page = browser.get("/versions"), browser.get("/static/gone.js")
        assert (tablets.status_code, page.status_code) == (status, status)
        assert said in tablets.json()["refused"]
        assert said in page.text
        assert ("Restart the server: the program" in notice.render()) is is_changed
    assert browser.get("/sign-in").status_code < 500, "what is loaded goes on"
    store.close()


def test_templates_stay_as_they_were_when_the_server_began(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One of another version names what this program does not give it."""
    store = EmbeddedStore(tmp_path / "office")
    desk = ShopDesk(store, make_host((), entry_points=False))
    monkeypatch.setattr(Path, "read_text", lambda *_args, **_named: "{{ nothing_gives_this }}")
    monkeypatch.setattr(Path, "open", lambda *_args, **_named: pytest.fail("it is not read again"))
    assert sorted(desk.templates.list_templates()) == sorted(path.name for path in (FOLDER / "templates").iterdir())
    desk.templates.get_template("day.html")
    store.close()
