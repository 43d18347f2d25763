"""Roles over the sync: what a technician's tablet may bring ashore, and what happens to the rest. Over real TLS."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner, Result

from garboard.commands import hulls
from garboard.commands.ashore import readable_report
from garboard.commands.cli import program
from garboard.disk.entries import Entry, canonical_bytes, read_entry
from garboard.disk.hullfile import HullFolder
from garboard.disk.shop_document import FILE
from garboard.faults import InputError
from garboard.history.authoring import Author, measure, move_job, retract, same_boat, settle, sign_off
from garboard.history.authority import AT_THE_DESK, ON_THE_PAGE
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.shop_link import pairing, wire
from garboard.shop_link.ashore import bring_ashore_where_it_is
from garboard.shop_link.pairing import PairedShop
from garboard.shop_link.sync import bring_ashore
from garboard_shop.embedded import EmbeddedStore, FileRegister
from garboard_shop.store import MANAGER, TECHNICIAN, Tablet, names_of_devices
from shop_rig import RunningShop, ask_raw, server_log

HULL, OTHER = "ABC00001A526", "XYZHJKLMF626"
SPEED = RegisterKey("measure", "j", ("run", "speed", "", ""))
KIM = Author("kims tablet", "Kim")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[RunningShop]:
    with RunningShop(tmp_path / "shop") as running, server_log() as failures:
        yield running
        assert failures == []


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[HullFolder]:
    """A tablet's folder in which two values disagree."""
    with HullFolder(tmp_path / "tablet") as made:
        for dev, value in (("t1", "1 kn"), ("t2", "2 kn")):
            made.save(measure(Author(dev, dev), HullState(HULL), "j", "run", "speed", value))
        yield made


def state(folder: HullFolder, hull: str = HULL) -> HullState:
    return replay(hull, folder.entries(hull))


def every_decision(folder: HullFolder, dev: str) -> list[Entry]:
    """One of each sort that is a manager's, written on a tablet."""
    author, here, there = Author(dev, "Kim"), state(folder), HullState(OTHER)
    settled = settle(author, here, SPEED, "2 kn", "read again")
    after = replay(HULL, [*folder.entries(HULL), settled])
    return [
        settled,
        retract(author, after, SPEED, "not so"),
        sign_off(author, here, "j", "manager", "Kim"),
        *same_boat(author, here, there, "a zero for an O"),
        *move_job(author, here, there, "j", "wrong boat"),
    ]


def keep(folder: HullFolder, entries: list[Entry]) -> None:
    for entry in entries:
        folder.put_if_absent(entry.hull_key, [entry])


def refused(shop: RunningShop, paired: PairedShop, entries: list[Entry]) -> set[str]:
    """Ids of the entries the shop would not take from a tablet."""
    body = wire.lines_of([entry.raw for entry in entries])
    heard = ask_raw(shop.port, "POST", "/v1/entries", body, {wire.DEVICE: paired.device}, paired.token)
    return {name for name, _ in json.loads(heard.text)["refused"]}


def test_what_a_manager_decides_is_refused_by_name_and_stays_until_the_tablet_is_a_managers(
    shop: RunningShop, folder: HullFolder
) -> None:
    paired = shop.paired()
    pairing.keep(folder.folder, paired)
    decided = every_decision(folder, paired.device)
    keep(folder, decided)
    report = bring_ashore_where_it_is(folder, paired)
    assert {name for name, _ in report.refused} == {entry.id for entry in decided}
    assert len(shop.store.ids(HULL)) == 2
    assert shop.store.ids(OTHER) == frozenset()
    assert report.differing == (HULL, OTHER)
    why = dict(report.refused)[decided[0].id]
    assert f"hull {HULL}, the value run/speed: only a manager's tablet settles a disagreement." in why
    assert "Ask for the manager's role, or let the manager decide it on the day sheet" in why
    assert why in readable_report(report)
    assert readable_report(report).endswith("NOT the same yet, see to what was refused above, then bring ashore again")
    assert all(entry.id in folder.ids(entry.hull_key) for entry in decided)

    assert shop.store.register.change_role(paired.tablet, MANAGER, "M. Office", shop.now())
    again = bring_ashore_where_it_is(folder, paired)
    assert (again.refused, again.equal, again.sent) == ((), True, len(decided))
    kept = pairing.kept(folder.folder)
    assert kept is not None
    assert kept.role == MANAGER


def test_a_technician_measures_again_takes_back_signs_and_takes_the_owners_signature(
    shop: RunningShop, folder: HullFolder
) -> None:
    paired = shop.paired()
    author, here = Author(paired.device, "Kim"), state(folder)
    keep(
        folder,
        [
            measure(author, here, "j", "run", "speed", "2.1 kn"),
            retract(author, here, SPEED, "measured in the lock"),
            sign_off(author, here, "j", "technician", "Kim"),
            sign_off(author, here, "j", "owner", "A. Marsh"),
        ],
    )
    report = bring_ashore(folder, paired)
    assert (report.refused, report.equal) == ((), True)


@pytest.mark.parametrize("writer", ["the manager's tablet", ON_THE_PAGE, AT_THE_DESK])
def test_a_restored_shop_gets_a_managers_decisions_back_from_a_technicians_tablet(
    shop: RunningShop, folder: HullFolder, tmp_path: Path, writer: str
) -> None:
    technician, manager = shop.paired("one"), shop.paired("two", MANAGER)
    decided = every_decision(folder, manager.device if writer == "the manager's tablet" else writer)
    keep(folder, decided)
    shop.use(EmbeddedStore(tmp_path / "restored"))
    report = bring_ashore(folder, technician)
    assert (report.refused, report.equal) == ((), True)
    assert len(shop.store.ids(HULL)) == 2 + 5


def test_a_decision_of_a_tablet_nobody_made_a_managers_is_refused_whoever_brings_it(
    shop: RunningShop, folder: HullFolder
) -> None:
    one, two, manager = shop.paired("one"), shop.paired("two"), shop.paired("three", MANAGER)
    decided = every_decision(folder, one.device)
    assert refused(shop, two, decided) == {entry.id for entry in decided}
    assert refused(shop, manager, decided) == set()


def test_a_copy_of_the_managers_tablet_paired_as_a_technicians_decides_nothing(
    shop: RunningShop, folder: HullFolder
) -> None:
    """It writes under the manager's name, since its settings came along."""
    manager = shop.paired("first", MANAGER)
    copy = attrs.evolve(shop.paired("copy"), device=manager.device)
    decided = every_decision(folder, manager.device)
    assert refused(shop, copy, decided) == {entry.id for entry in decided}
    assert refused(shop, manager, decided) == set()


def test_a_managers_tablet_that_lost_its_settings_is_known_by_its_new_name_too(
    shop: RunningShop, folder: HullFolder, tmp_path: Path
) -> None:
    technician, manager = shop.paired("one"), shop.paired("two", MANAGER)
    renamed = attrs.evolve(manager, device="a new name")
    keep(folder, every_decision(folder, renamed.device))
    with HullFolder(tmp_path / "empty") as empty:
        bring_ashore(empty, renamed)
    (known,) = [one for one in shop.store.register.tablets() if one.role == MANAGER]
    assert known.writes_as == (manager.device, "a new name")
    assert bring_ashore(folder, technician).refused == ()


def test_a_demoted_tablet_decides_no_more_and_a_removed_managers_decisions_stand(
    shop: RunningShop, folder: HullFolder
) -> None:
    technician, one, two = shop.paired("t"), shop.paired("m1", MANAGER), shop.paired("m2", MANAGER)
    settled = [settle(Author(paired.device, "Kim"), state(folder), SPEED, "2 kn", "r") for paired in (one, two)]
    shop.store.register.change_role(one.tablet, TECHNICIAN, "M. Office", shop.now())
    shop.store.register.remove_tablet(two.tablet, "M. Office", shop.now())
    assert refused(shop, one, settled[:1]) == {settled[0].id}
    assert refused(shop, technician, settled[1:]) == set()


def test_a_technicians_tablet_that_writes_anothers_name_is_not_found_out(shop: RunningShop, folder: HullFolder) -> None:
    """As PROTOCOL.md says: entries are not signed. It holds so that the page says no more than is true."""
    technician, manager = shop.paired("t"), shop.paired("m", MANAGER)
    forged = settle(Author(manager.device, "Kim"), state(folder), SPEED, "2 kn", "r")
    assert refused(shop, technician, [forged]) == set()


def test_a_retraction_is_judged_by_what_it_takes_back_here_or_on_the_way(shop: RunningShop, folder: HullFolder) -> None:
    technician, manager = shop.paired("t"), shop.paired("m", MANAGER)
    settled, taken_back = every_decision(folder, technician.device)[:2]
    for entries in ([settled, taken_back], [taken_back, settled]):
        assert refused(shop, technician, entries) == {settled.id, taken_back.id}
    assert refused(shop, manager, [settled]) == set()
    assert refused(shop, technician, [taken_back]) == {taken_back.id}


def test_an_older_tablet_that_does_not_say_who_writes_is_told_what_to_do(shop: RunningShop) -> None:
    paired = shop.paired()
    for method, path in (("GET", "/v1/digests"), ("POST", "/v1/entries")):
        told = ask_raw(shop.port, method, path, fields={wire.DEVICE: ""}, token=paired.token)
        assert (told.status, "install the shop's version" in told.text) == (400, True)
    question = wire.plain({"secret": shop.code().secret, "token": "t" * 43, "tablet": "old"})
    told = ask_raw(shop.port, "POST", "/v1/pair", question)
    assert (told.status, "install the shop's version" in told.text) == (400, True)
    assert len(shop.store.register.tablets()) == 1


@pytest.mark.parametrize("device", ["x" * 65, "ta\tb", "caf\xe9"])
def test_a_name_to_write_under_that_is_no_plain_text_is_refused(shop: RunningShop, device: str) -> None:
    question = wire.plain({"secret": shop.code().secret, "token": "t" * 43, "tablet": "t", "device": device})
    assert ask_raw(shop.port, "POST", "/v1/pair", question).status == 400


def test_the_role_reaches_a_tablet_that_holds_the_same_as_the_shop(shop: RunningShop, folder: HullFolder) -> None:
    """Also the shortest coming ashore, answered 304 throughout, tells it."""
    paired = shop.paired()
    pairing.keep(folder.folder, paired)
    assert bring_ashore_where_it_is(folder, paired).role == TECHNICIAN
    shop.store.register.change_role(paired.tablet, MANAGER, "M. Office", shop.now())
    report = bring_ashore_where_it_is(folder, paired)
    assert (report.role, report.sent, report.received) == (MANAGER, 0, 0)
    assert pairing.may_decide(folder.folder)


def run(command: object, *arguments: object) -> Result:
    return CliRunner().invoke(command, [str(argument) for argument in arguments], catch_exceptions=True)  # type: ignore[arg-type]


def test_in_a_folder_paired_as_a_technicians_the_commands_leave_decisions_to_the_manager(
    shop: RunningShop, folder: HullFolder
) -> None:
    """Before anything is written; an unpaired folder does everything, and writes under the name it is paired by."""
    path, signed = folder.folder, ("--by", "Kim", "--reason", "read again")
    keep(folder, [measure(KIM, HullState(OTHER), "k", "run", "speed", "3 kn")])
    folder.close()
    paired = shop.paired()
    pairing.keep(path, paired)
    held = {file.name: file.read_bytes() for file in path.iterdir() if file.is_file()}
    for command, *arguments in (
        (hulls.settle, HULL, "run/speed", "--value", "2 kn"),
        (hulls.same_boat, HULL, OTHER),
        (hulls.move_job, HULL, "j", "--to", OTHER),
    ):
        refused = run(command, path, *arguments, *signed).exception
        assert isinstance(refused, InputError)
        assert "measure again, or leave it to the manager" in str(refused)
    assert {file.name: file.read_bytes() for file in path.iterdir() if file.is_file()} == held
    assert run(hulls.take_back, path, HULL, "run/speed", *signed).exit_code == 0
    pairing.keep(path, attrs.evolve(paired, role=MANAGER))
    assert run(hulls.same_boat, path, HULL, OTHER, *signed).exit_code == 0
    with HullFolder(path, read_only=True) as after:
        devs = {entry.kind: entry.tablet for entry in after.entries(HULL)}
    assert (devs["retract"], devs["alias"]) == (paired.device, paired.device)
    pairing.keep(path, attrs.evolve(paired, role=TECHNICIAN))
    assert isinstance(run(hulls.same_boat, path, HULL, OTHER, "--undo", *signed).exception, InputError)
    (path / FILE).unlink()
    assert run(hulls.same_boat, path, HULL, OTHER, "--undo", *signed).exit_code == 0


def test_what_is_written_by_command_in_the_shops_own_folder_is_the_shops(tmp_path: Path) -> None:
    assert pairing.writes_as(tmp_path) == "office"
    FileRegister(tmp_path)
    assert pairing.writes_as(tmp_path) == AT_THE_DESK


def test_a_role_is_kept_for_the_pairing_it_was_told_to_and_no_other(tmp_path: Path) -> None:
    before = PairedShop(name="s", host="h", port=1, fingerprint="f", token="old", tablet="t", device="d")
    pairing.keep(tmp_path, attrs.evolve(before, token="new"))
    pairing.keep_told(tmp_path, attrs.evolve(before, role=MANAGER))
    kept = pairing.kept(tmp_path)
    assert kept is not None
    assert kept.role == TECHNICIAN


def test_what_a_manager_decides_is_no_technicians_either_in_a_format_only_a_later_program_reads(
    shop: RunningShop, folder: HullFolder
) -> None:
    """Kept unread it would decide on the day the shop's program is brought up to it."""
    technician, manager = shop.paired("t"), shop.paired("m", MANAGER)
    decided = every_decision(folder, technician.device)
    later = [read_entry(canonical_bytes({**entry.fields, "v": 2})) for entry in decided]
    measured = measure(Author(technician.device, "Kim"), state(folder), "j", "run", "speed", "2.1 kn")
    of_anyone = read_entry(canonical_bytes({**measured.fields, "v": 2}))
    of_a_plugin = read_entry(canonical_bytes({**decided[0].fields, "kind": "torque"}))
    assert refused(shop, manager, decided[:1]) == set()
    assert refused(shop, technician, [*later, of_anyone, of_a_plugin]) == {entry.id for entry in later}
    assert refused(shop, manager, later) == set()


def _run(*words: object) -> str:
    done = CliRunner().invoke(program, [*map(str, words)])
    assert done.exit_code == 0, done.output
    return done.output


def _shop_with_a_tablet_that_set(folder: Path, role: str) -> None:
    """A shop's folder in which a tablet of that role set the reserve."""
    HullFolder(folder).close()
    paired = Tablet(id="t1", name="dock", role=role, token_hash="x", paired_at=1, writes_as=("dev1",))
    FileRegister(folder).add_tablet(paired)
    _run("settings", "set", folder, "fuel_curve.reserve", "40 %", "--by", "Kim", "--reason", "ours", "--tablet", "dev1")


def test_a_change_of_role_says_what_it_does_to_the_settings_the_tablet_set(tmp_path: Path) -> None:
    _shop_with_a_tablet_that_set(tmp_path, MANAGER)
    printed = _run("shop-tablets", "role", "t1", TECHNICIAN, "--folder", tmp_path)
    assert "no longer hold.\n  holds no longer: fuel_curve.reserve: 40 %\n" in printed
    assert "Not used: 40 %" in _run("settings", "list", tmp_path)
    printed = _run("shop-tablets", "role", "t1", MANAGER, "--folder", tmp_path)
    assert "hold now.\n  holds now: fuel_curve.reserve: 40 %\n" in printed
    assert "40 %, our limit" in _run("settings", "list", tmp_path)


def test_a_tablet_that_states_another_ones_name_takes_over_none_of_its_entries(tmp_path: Path) -> None:
    """Nor the shop's own. Who paired anew and writes as before is named once."""
    register = FileRegister(tmp_path)
    for tablet, name, *devices in (
        ("t1", "office", "m1"),
        ("t2", "dock", "d1"),
        ("t3", "thief", "t1", "m1", ON_THE_PAGE, AT_THE_DESK),
        ("t4", "dock", "d1"),
    ):
        register.add_tablet(
            Tablet(id=tablet, name=name, role=TECHNICIAN, token_hash=tablet, paired_at=1, writes_as=devices)
        )
    assert names_of_devices(register) == {"m1": "office or thief", "d1": "dock (t4)", "t1": "thief"}


@pytest.mark.parametrize("name", [ON_THE_PAGE, AT_THE_DESK, " Shop Desk "])
def test_nobody_writes_as_the_shop_outside_its_own_folder(tmp_path: Path, name: str) -> None:
    """What stands under its name counts as a manager's wherever the entries are brought."""
    away, shop = tmp_path / "away", tmp_path / "shop"
    HullFolder(away).close()
    words = ["fuel_curve.reserve", "40 %", "--by", "Kim", "--reason", "ours", "--tablet", name]
    refused = CliRunner().invoke(program, ["settings", "set", str(away), *words])
    assert (refused.exit_code, "only its folder writes under it" in refused.output) == (2, True)
    with HullFolder(away, read_only=True) as files:
        assert files.hulls() == ()
    FileRegister(shop)
    HullFolder(shop).close()
    _run("settings", "set", shop, *words)
