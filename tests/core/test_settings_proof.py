"""A setting is a manager's to write, also when it comes by stick or came before the program knew the kind."""

from collections.abc import Callable
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import retract
from garboard.history.authority import MANAGERS_FILE, keep_managers, managers_of
from garboard.history.merge import merge
from garboard.history.replay import replay
from garboard.history.setting_entries import reset_setting, set_setting, setting_register
from garboard.hosting.host import make_host
from garboard.report.settings_used import setting_in_words
from garboard.shop_link import pairing
from setting_jobs import DROP, OFFICE, set_for_job, set_for_shop, take_in, view_in

HOST = make_host(entry_points=False)
STICK = attrs.evolve(OFFICE, tablet="stick of another yard", by="K. Lind")
MANAGERS_TABLET = attrs.evolve(OFFICE, tablet="a1b2c3")
PAIRED = pairing.PairedShop("Yard", "10.0.0.2", 8443, "ab" * 32, "token", "t1", "technician", "device-1")


def folder_of_a_shop(path: Path, *managers: str) -> Path:
    (path / "shop").mkdir(parents=True)
    keep_managers(path, managers)
    return path


def paired_folder(path: Path, role: str = "technician") -> Path:
    path.mkdir()
    pairing.keep(path, attrs.evolve(PAIRED, role=role))
    return path


def test_where_no_shop_says_who_may_everyone_may(tmp_path: Path) -> None:
    assert managers_of(tmp_path) is None
    keep_managers(tmp_path, ["left over"])
    assert managers_of(tmp_path) is None


def test_a_technicians_tablet_knows_the_shop_and_whom_it_was_told_of(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path / "t")
    assert managers_of(folder) == {"shop page", "shop desk"}
    keep_managers(folder, ["a1b2c3"])
    assert managers_of(folder) == {"shop page", "shop desk", "a1b2c3"}


def test_a_managers_tablet_counts_itself_before_the_shop_says_so(tmp_path: Path) -> None:
    assert "device-1" in (managers_of(paired_folder(tmp_path / "t", "manager")) or ())


def test_the_list_is_its_owners_alone(tmp_path: Path) -> None:
    keep_managers(tmp_path, ["a1b2c3"])
    assert (tmp_path / MANAGERS_FILE).stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b'{"devices": "all"}', b'{"devices": [1]}'])
def test_a_list_that_cannot_be_read_names_nobody(tmp_path: Path, content: bytes) -> None:
    folder = folder_of_a_shop(tmp_path / "s")
    (folder / MANAGERS_FILE).parent.mkdir(exist_ok=True)
    (folder / MANAGERS_FILE).write_bytes(content)
    assert managers_of(folder) == {"shop page", "shop desk"}


@pytest.mark.parametrize("folder_for", [folder_of_a_shop, paired_folder], ids=["shop", "technician"])
def test_what_comes_by_stick_is_shown_and_not_in_force(tmp_path: Path, folder_for: object) -> None:
    with HullFolder(tmp_path / "stick") as stick:
        hull = take_in(stick, signed=False)
        set_for_shop(stick, {DROP: "12 %"}, STICK)
    path = folder_for(tmp_path / "here")  # type: ignore[operator]
    with HullFolder(path) as here, HullFolder(tmp_path / "stick", read_only=True) as stick:
        merge([stick], here)
        view = view_in(here, hull, HOST)
    used = view.settings_used[DROP]
    assert (view.settings[DROP], used.state, used.set) == ("10 %", "default", ())
    assert [(one.value, one.proved) for one in used.not_used] == [("12 %", False)]
    assert "Not used: 12 %, set by K. Lind" in setting_in_words(used)


def test_a_managers_value_holds_on_whatever_others_put_in_its_place_or_take_back(tmp_path: Path) -> None:
    folder = folder_of_a_shop(tmp_path / "s", "a1b2c3")
    with HullFolder(folder) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "5 %"}, MANAGERS_TABLET)
        set_for_shop(hulls, {DROP: "12 %"}, STICK)
        assert view_in(hulls, hull, HOST).settings[DROP] == "5 %"
        record = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
        hulls.save(retract(STICK, record, setting_register(DROP), "not so"))
        assert view_in(hulls, hull, HOST).settings[DROP] == "5 %"
        record = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
        hulls.save(set_setting(OFFICE, record, DROP, "4 %", "stricter still", managers=managers_of(folder)))
        used = view_in(hulls, hull, HOST).settings_used[DROP]
        assert (used.value, used.state, used.not_used) == ("4 %", "set", ())
        record = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
        hulls.save(reset_setting(OFFICE, record, DROP, "as before", managers=managers_of(folder)))
        assert DROP not in view_in(hulls, hull, HOST).settings_used


def test_a_jobs_own_setting_by_stick_is_not_in_force_either(tmp_path: Path) -> None:
    with HullFolder(folder_of_a_shop(tmp_path / "s")) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_job(hulls, hull, DROP, "12 %", STICK)
        view = view_in(hulls, hull, HOST)
        assert (view.settings[DROP], view.settings_used[DROP].state) == ("10 %", "default")
        set_for_job(hulls, hull, DROP, "11 %")
        assert view_in(hulls, hull, HOST).settings[DROP] == "11 %"


def test_every_verdict_that_read_it_says_that_two_values_stand(tmp_path: Path) -> None:
    with HullFolder(tmp_path / "one") as one, HullFolder(tmp_path / "other") as other:
        hull = take_in(one, signed=False)
        set_for_shop(one, {DROP: "5 %"})
        set_for_shop(other, {DROP: "7 %"}, MANAGERS_TABLET)
        merge([other], one)
        view = view_in(one, hull, HOST)
    assert view.settings[DROP] == "5 %", "the stricter"
    said = [used for found in HOST.assess(view) for used in found.settings_used]
    assert said
    assert {used.state for used in said} == {"unsettled"}
    words = setting_in_words(said[0])
    assert "5 %, the stricter while it is not settled between" in words
    assert "a manager chooses" in words


def _truncate(path: Path) -> None:
    path.write_bytes(b'{"format":"garboard mana')


def _make_newer(path: Path) -> None:
    path.write_bytes(b'{"format":"garboard managers","version":99,"rows":{}}')


def _put_a_folder_there(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.mkdir()


BROKEN = {"truncated": _truncate, "newer": _make_newer, "a folder": _put_a_folder_there}


@pytest.fixture(params=sorted(BROKEN))
def broken(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A technician's folder with a manager's setting, whose list of managers can no longer be read."""
    folder = paired_folder(tmp_path / "t")
    keep_managers(folder, ["a1b2c3"])
    with HullFolder(folder) as hulls:
        take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "5 %"}, MANAGERS_TABLET)
    BROKEN[request.param](folder / MANAGERS_FILE)
    return folder


def run(*words: object) -> tuple[str, int]:
    done = CliRunner().invoke(program, [*map(str, words)])
    return done.output, done.exit_code


def test_a_list_that_cannot_be_read_is_said_wherever_its_settings_are_not_used(broken: Path) -> None:
    printed, status = run("settings", "list", broken)
    assert status == 0
    assert "Not used: 5 %" in printed
    assert "the list of managers cannot be read; a tablet makes it again when it comes ashore" in printed
    assert "no manager is known" not in printed
    assert "managers.json cannot be read" in printed
    with HullFolder(broken, read_only=True) as hulls:
        used = view_in(hulls, hulls.boats()[0], HOST).settings_used[DROP]
    assert "the list of managers cannot be read" in setting_in_words(used)
    assert [one.is_list_read for one in used.not_used] == [False]


def test_no_other_command_stops_for_a_list_that_cannot_be_read(broken: Path) -> None:
    with HullFolder(broken, read_only=True) as hulls:
        (hull,) = hulls.boats()
    assert run("show", broken, hull)[1] == 0
    assert run("settings", "show", broken, DROP)[1] == 0


def test_repair_names_a_list_that_cannot_be_read(broken: Path) -> None:
    printed, status = run("repair", broken)
    assert status == 1
    assert "managers.json" in printed
    assert "Everything here can be read" not in printed


@pytest.mark.parametrize("devices", [["a1b2c3"], []])
def test_a_list_that_cannot_be_read_is_set_aside_and_made_again(broken: Path, devices: list[str]) -> None:
    """Also as one that names nobody: until it is made again, nobody could tell."""
    keep_managers(broken, devices)
    assert managers_of(broken) == {"shop page", "shop desk", *devices}
    assert (broken / f"{MANAGERS_FILE}.damaged-1").exists()
    if devices:
        with HullFolder(broken, read_only=True) as hulls:
            assert view_in(hulls, hulls.boats()[0], HOST).settings[DROP] == "5 %"
    assert "managers.json" not in run("settings", "list", broken)[0]


@pytest.mark.parametrize("break_it", [_truncate, _put_a_folder_there])
def test_repair_names_a_register_that_cannot_be_read(tmp_path: Path, break_it: Callable[[Path], None]) -> None:
    folder = folder_of_a_shop(tmp_path / "s", "a1b2c3")
    with HullFolder(folder) as hulls:
        take_in(hulls, signed=False)
    assert run("repair", folder)[1] == 0
    break_it(folder / "shop" / "register.json")
    printed, status = run("repair", folder)
    assert (status, "register.json" in printed) == (1, True)
