"""People who may sign in, looked after from the terminal."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from garboard.commands.cli import program
from garboard_shop.embedded import FileRegister
from garboard_shop.pages import people
from garboard_shop.store import MANAGER, TECHNICIAN
from pages_rig import PASSWORD


def run(*words: str, typed: str = "") -> Result:
    return CliRunner().invoke(program, ["shop-people", *words], input=typed)


@pytest.fixture(autouse=True)
def _no_store_is_named_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GARBOARD_SHOP_STORE", raising=False)


def test_a_manager_is_added_with_a_password_typed_twice_and_not_shown(tmp_path: Path) -> None:
    told = run("add", "M. Office", "--folder", str(tmp_path), typed=f"{PASSWORD}\n{PASSWORD}\n")
    assert told.exit_code == 0, told.output
    assert PASSWORD not in told.output
    assert f"{people.SHORTEST_PASSWORD} characters or more" in told.output
    user = people.find(FileRegister(tmp_path), "m. office")
    assert user is not None
    assert (user.name, user.role) == ("M. Office", MANAGER)
    assert people.is_right(user, PASSWORD)
    assert run("list", "--folder", str(tmp_path)).output == "M. Office, manager\n"


def test_someone_added_again_keeps_the_name_and_gets_the_new_role_and_password(tmp_path: Path) -> None:
    run("add", "R. Vane", "--folder", str(tmp_path), "--password", PASSWORD)
    run("add", "r. vane", "--folder", str(tmp_path), "--role", TECHNICIAN, "--password", PASSWORD + " again")
    (user,) = people.taking_part(FileRegister(tmp_path))
    assert (user.name, user.role) == ("R. Vane", TECHNICIAN)
    assert people.is_right(user, PASSWORD + " again")


@pytest.mark.parametrize("role", [TECHNICIAN, MANAGER])
def test_a_new_password_alone_leaves_the_role_as_it_is(tmp_path: Path, role: str) -> None:
    run("add", "R. Vane", "--folder", str(tmp_path), "--role", role, "--password", PASSWORD)
    again = run("add", "r. vane", "--folder", str(tmp_path), "--password", PASSWORD + " again")
    (user,) = people.taking_part(FileRegister(tmp_path))
    assert (user.role, again.output) == (role, f"R. Vane may sign in as {role}\n")
    assert people.is_right(user, PASSWORD + " again")


def test_someone_removed_can_sign_in_no_more_and_a_name_nobody_has_is_refused(tmp_path: Path) -> None:
    run("add", "R. Vane", "--folder", str(tmp_path), "--password", PASSWORD)
    assert run("remove", "R. Vane", "--folder", str(tmp_path)).exit_code == 0
    assert run("list", "--folder", str(tmp_path)).output == "Nobody may sign in yet.\n"
    again = run("remove", "R. Vane", "--folder", str(tmp_path))
    assert again.exit_code == 2
    assert "one who may sign in: nobody" in again.output


@pytest.mark.parametrize("password", ["too short", "x" * 500])
def test_a_password_too_short_or_too_long_is_refused(tmp_path: Path, password: str) -> None:
    told = run("add", "R. Vane", "--folder", str(tmp_path), "--password", password)
    assert told.exit_code == 2
    assert "password: expected 15 to 200 characters" in told.output
    assert people.taking_part(FileRegister(tmp_path)) == ()
