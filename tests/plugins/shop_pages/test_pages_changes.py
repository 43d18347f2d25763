"""Who changed what at the shop: on its page and by command; and a tablet's role changed there."""

from __future__ import annotations

import getpass
import json
from pathlib import Path

import attrs
import pytest

from garboard.shop_link.pairing import PairingCode
from garboard_shop import access
from garboard_shop.commands import ADDRESS_FILE
from garboard_shop.embedded import SHOP_FOLDER, FileRegister
from garboard_shop.pages.views import CHANGES_ON_A_PAGE
from garboard_shop.store import MANAGER, TECHNICIAN, Change, Tablet
from pages_rig import CHIEF, HAND, NOON, PASSWORD, Browser, Pages, fields_of, form_to, forms_in, words_of
from run_program import run

FIRST = "000000000001"


def test_tablets_are_called_by_name_and_by_id_only_where_two_share_one(pages: Pages, manager: Browser) -> None:
    register = pages.store.register
    twin = attrs.evolve(register.tablets()[1], id="00000000000f", name="Tablet 1", token_hash="f" * 64)
    for path in ("/tablets", "/changes"):
        said = words_of(manager.text(path))
        assert "Tablet 2" in said
        assert "000000000002" not in said
    register.add_tablet(twin)
    for path in ("/tablets", "/changes"):
        said = words_of(manager.text(path))
        assert "000000000001" in said
        assert "00000000000f" in said
        assert "000000000002" not in said


@pytest.fixture(autouse=True)
def _no_store_is_named_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GARBOARD_SHOP_STORE", raising=False)


def last_noted(pages: Pages, count: int) -> list[tuple[str, str, str]]:
    return [(one.who, one.what, one.about) for one in pages.store.register.changes()[-count:]]


def test_a_manager_changes_a_tablets_role_and_a_technician_cannot(pages: Pages, manager: Browser) -> None:
    form = form_to(manager.text("/tablets"), f"/tablets/{FIRST}/role")
    told = manager.send(form)
    assert (told.status_code, told.headers["location"]) == (303, "/tablets")
    roles = {one.id: one.role for one in pages.store.register.tablets()}
    assert roles == {FIRST: MANAGER, "000000000002": TECHNICIAN, "000000000003": TECHNICIAN}
    assert "It is now a manager's tablet" in words_of(manager.text("/tablets"))
    assert last_noted(pages, 1) == [(CHIEF, "tablet's role changed", f"Tablet 1 ({FIRST}): technician, now manager")]

    technician = pages.signed_in(HAND)
    assert not [one for one in forms_in(technician.text("/tablets")) if one.action.endswith("/role")]
    fields = {"csrf": fields_of(form_to(technician.text("/tablets"), "/sign-out"))["csrf"], "role": MANAGER}
    assert technician.post("/tablets/000000000002/role", fields).status_code == 403
    assert manager.send(form, role="owner").status_code == 400
    assert manager.post("/tablets/nobody/role", {"csrf": manager.csrf(), "role": MANAGER}).status_code == 404
    assert len([one for one in pages.store.register.tablets() if one.role == MANAGER]) == 1


def test_what_is_changed_on_the_pages_is_noted_under_who_is_signed_in(pages: Pages, manager: Browser) -> None:
    def pair(role: str, by: str) -> PairingCode:
        return access.open_code(pages.store.register, role, "shop.test", 1, "0" * 64, NOON, by)

    pages.desk.pair = pair
    csrf = manager.csrf()
    new = {"name": "T. Quill", "role": TECHNICIAN, "password": PASSWORD, "again": PASSWORD}
    for path, fields in (
        ("/tablets/pair", {"role": MANAGER}),
        (f"/tablets/{FIRST}/remove", {}),
        ("/people/add", new),
        ("/people/remove", {"name": "T. Quill"}),
        ("/people/password", {"old": PASSWORD, "password": PASSWORD + " again", "again": PASSWORD + " again"}),
    ):
        assert manager.post(path, {"csrf": csrf, **fields}).status_code in (200, 303), path
    assert last_noted(pages, 5) == [
        (CHIEF, "pairing code made", "for one tablet, manager"),
        (CHIEF, "tablet removed", f"Tablet 1 ({FIRST})"),
        (CHIEF, "person added", "T. Quill, technician"),
        (CHIEF, "person removed", "T. Quill"),
        (CHIEF, "password changed", CHIEF),
    ]


def test_the_page_tells_the_latest_first_to_everyone_signed_in(pages: Pages, manager: Browser) -> None:
    manager.send(form_to(manager.text("/tablets"), f"/tablets/{FIRST}/role"))
    for browser in (manager, pages.signed_in(HAND)):
        words = words_of(browser.text("/changes"))
        assert words.index("tablet's role changed") < words.index("person added") < words.index("tablet paired")
        assert "November 2026" in words
    assert manager.text("/people").count('href="/changes"') == 1
    assert pages.browser().get("/changes").status_code == 303


def test_many_changes_are_turned_over_page_by_page_and_none_is_left_out(pages: Pages, manager: Browser) -> None:
    many = [Change(NOON + number, "R. Vane", "plugin approved", f"check {number}.") for number in range(450)]
    pages.store.register.note_changes(many)
    shown = [words_of(manager.text(f"/changes?page={number}")) for number in (1, 2, 3)]
    assert [one.count("plugin approved") for one in shown] == [CHANGES_ON_A_PAGE, CHANGES_ON_A_PAGE, 50]
    assert "check 449." in shown[0]
    assert "check 0." in shown[2]
    assert "Later" not in shown[0]
    assert "Earlier" not in shown[2]
    for odd in ("0", "-1", "9999", "x", "²"):
        assert manager.get(f"/changes?page={odd}").status_code == 200


def test_what_a_person_named_is_shown_as_text(pages: Pages, manager: Browser) -> None:
    pages.store.register.note_changes([Change(NOON, "<b>R. Vane", "tablet removed", "<script>x()</script>")])
    assert "<script>x()" not in manager.text("/changes")
    assert "<script>x()</script>" in words_of(manager.text("/changes"))


def test_by_command_a_role_is_changed_and_told_and_noted_under_the_name_given(tmp_path: Path) -> None:
    register = FileRegister(tmp_path)
    register.add_tablet(Tablet(id="t1", name="dock", role=TECHNICIAN, token_hash="h", paired_at=1))
    place = ("--folder", str(tmp_path))
    printed = run("shop-tablets", "role", *place, "t1", MANAGER, "--by", "R. Vane").output
    assert printed.startswith("t1 is now a manager's tablet.\n")
    assert register.tablets()[0].role == MANAGER
    refused = run("shop-tablets", "role", *place, "t9", MANAGER)
    assert refused.exit_code == 2
    assert "the id of one that takes part: t1" in refused.output
    assert run("shop-tablets", "role", *place, "t1", "owner").exit_code == 2
    lines = run("shop-changes", *place).output.splitlines()
    assert lines[0].endswith("  R. Vane: tablet's role changed, dock (t1): technician, now manager")
    assert lines[1].endswith("  dock (t1): tablet paired, dock (t1)")
    plain = json.loads(run("shop-changes", *place, "--json").output)
    assert [one["who"] for one in plain["changes"]] == ["R. Vane", "dock (t1)"]


def test_by_command_each_change_is_noted_and_without_a_name_under_who_this_machine_knows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(getpass, "getuser", lambda: "root")
    assert run("shop-changes", "--folder", str(tmp_path)).output == "Nothing has been changed yet.\n"
    FileRegister(tmp_path)
    (tmp_path / SHOP_FOLDER / ADDRESS_FILE).write_text('{"host": "shop.test", "port": 1}')
    place = ("--folder", str(tmp_path))
    for words in (
        ("shop-people", "add", "N. Sorrel", *place, "--password", PASSWORD),
        ("shop-people", "add", "N. Sorrel", *place, "--password", PASSWORD + " again", "--role", TECHNICIAN),
        ("shop-people", "remove", "N. Sorrel", *place, "--by", "R. Vane"),
        ("shop-tablets", "pair", *place),
    ):
        told = run(*words)
        assert told.exit_code == 0, told.output
    assert [(one.who, one.what) for one in FileRegister(tmp_path).changes()] == [
        ("root", "person added"),
        ("root", "person's role changed"),
        ("root", "password changed"),
        ("R. Vane", "person removed"),
        ("root", "pairing code made"),
    ]


def test_where_the_machine_knows_no_name_the_machine_itself_stands_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As in a container whose user has no line in its list."""

    def unknown() -> str:
        raise KeyError("getpwuid(): uid not found: 4711")

    monkeypatch.setattr(getpass, "getuser", unknown)
    assert run("shop-people", "add", "N. Sorrel", "--folder", str(tmp_path), "--password", PASSWORD).exit_code == 0
    assert [one.who for one in FileRegister(tmp_path).changes()] == ["the shop machine"]
