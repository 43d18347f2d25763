"""What any store of a shop must do: entries, attachments, deliveries and the register. The embedded one does it."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import attrs
import pytest

from campaigns.writers import entry_number
from garboard.commands.repair import _noted_by_the_shop
from garboard.disk import storage
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.documents import DurableStorage, Kind
from garboard.disk.entries import Entry, make_entry
from garboard.disk.formats import Format
from garboard.disk.hullfile import CheckedEntries
from garboard.disk.partial_upload import OutOfPlace
from garboard.disk.storage import NotSaved, WriterLock
from garboard.findings import NotEnoughData
from garboard.history.authority import keep_managers, managers_of
from garboard.history.halves import TOGETHER_FOLDER
from garboard.shop_link.pairing import SECRET_BYTES, PairedShop
from garboard_shop.access import admit, open_code
from garboard_shop.embedded import DELIVERIES_FOLDER, ROWS_FILE, SHOP_FOLDER, EmbeddedStore, FileRegister
from garboard_shop.postgres import PostgresStore
from garboard_shop.store import (
    MANAGER,
    MINUTES_A_CODE_WORKS,
    MINUTES_AN_ASKER_WAITS,
    MOST_DEVICES,
    TECHNICIAN,
    TRIES_A_CODE_HAS,
    TRIES_AN_ASKER_HAS,
    Change,
    Delivery,
    Holding,
    KeptRow,
    KeptToFinish,
    MustWait,
    Pairing,
    ShopPlugin,
    Store,
    Tablet,
    WebUser,
    in_order,
)
from histories import DAY

HULL, OTHER = "ABC00001A526", "XYZHJKLMF626"
NOON = 1_778_752_800_000
TABLET = Tablet(id="t1", name="dock", role=TECHNICIAN, token_hash="h1", paired_at=NOON)
CODE = Pairing(secret_hash="s1", role=TECHNICIAN, until=NOON + 1000)


@pytest.fixture(params=["folder", "cluster", "spread"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    if request.param == "folder":
        made: Store = EmbeddedStore(tmp_path / "shop")
    else:
        new_yard: Callable[[str], str] = request.getfixturevalue("new_yard")
        made = PostgresStore(new_yard(request.param))
    yield made
    made.close()


def knock(store: Store, secret: str, token: str, address: str = "10.0.0.1") -> Tablet | None:
    """A tablet asks to be paired."""
    return admit(store.register, secret, token, "tablet", NOON + 1, device="d", address=address)


def checked(*entries: Entry) -> CheckedEntries:
    return CheckedEntries((entry.id, entry.raw) for entry in entries)


def put(store: Store, hull: str, *numbers: int, tablet: str = "t1", at: int = NOON) -> tuple[str, ...]:
    entries = [entry_number(number, hull) for number in numbers]
    return store.put_if_absent({hull: checked(*entries)}, tablet, at, 0).added


def test_what_is_put_is_there_once_and_byte_for_byte(store: Store) -> None:
    entry = entry_number(1, HULL)
    assert put(store, HULL, 1) == (entry.id,)
    assert put(store, HULL, 1) == ()
    assert store.ids(HULL) == {entry.id}
    assert dict(store.get(HULL, [entry.id, "0" * 32])) == {entry.id: entry.raw}
    assert store.ids(OTHER) == frozenset()


def test_a_digest_is_sha256_over_the_sorted_ids_run_together(store: Store) -> None:
    """As PROTOCOL.md says, computed here by hand with hashlib."""
    put(store, HULL, 1, 2, 3)
    put(store, OTHER, 4)
    ids = sorted(entry_number(number, HULL).id for number in (1, 2, 3))
    by_hand = hashlib.sha256("".join(ids).encode()).hexdigest()
    assert dict(store.digests())[HULL] == Holding(by_hand, 3)
    assert sorted(store.digests()) == [HULL, OTHER]


def test_several_hulls_are_put_at_once(store: Store) -> None:
    offered = {hull: checked(*(entry_number(number, hull) for number in range(5))) for hull in (HULL, OTHER)}
    assert len(store.put_if_absent(offered, "t1", NOON, 0).added) == 10
    assert [holding.entries for holding in store.digests().values()] == [5, 5]


def test_kinds_are_counted_and_keep_up(store: Store) -> None:
    put(store, HULL, 1, 2)
    assert dict(store.kinds(HULL)) == {"measure": 2}
    strange = make_entry(
        "shop_paint", HULL, dev="t", by="I", clock=entry_number(1, HULL).clock, at="2026-05-14T12:00:00+02:00",
        more={"aa": {"kind": "measure"}},
    )  # fmt: skip
    store.put_if_absent({HULL: checked(strange)}, "t1", NOON, 0)
    put(store, HULL, 2, 3)
    assert dict(store.kinds(HULL)) == {"measure": 3, "shop_paint": 1}
    assert dict(store.kinds(OTHER)) == {}


def test_a_delivery_says_who_brought_what_first_and_when(store: Store) -> None:
    first = put(store, HULL, 1, 2, tablet="t1", at=NOON)
    put(store, HULL, 2, 3, tablet="t2", at=NOON + 5)
    put(store, HULL, 1, 2, 3, tablet="t3", at=NOON + 6)
    delivered = list(store.deliveries(NOON, NOON + 10))
    assert [(one.at, one.tablet) for one in delivered] == [(NOON, "t1"), (NOON + 5, "t2")]
    assert set(delivered[0].ids[HULL]) == set(first)
    assert delivered[1].ids == {HULL: (entry_number(3, HULL).id,)}


def test_deliveries_are_found_over_days_and_only_within_the_time_asked_for(store: Store) -> None:
    for day in range(3):
        put(store, HULL, day, at=NOON + day * DAY)
    assert len(list(store.deliveries(0, NOON + 9 * DAY))) == 3
    assert [one.at for one in store.deliveries(NOON + 1, NOON + DAY)] == [NOON + DAY]


def test_many_threads_put_at_once_and_nothing_is_lost_or_doubled(store: Store) -> None:
    added: list[tuple[str, ...]] = []

    def bring(tablet: int) -> None:
        for number in range(20):
            added.append(put(store, HULL, number, 1000 + number * 10 + tablet, tablet=f"t{tablet}"))

    threads = [threading.Thread(target=bring, args=(tablet,)) for tablet in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    names = [name for one in added for name in one]
    assert len(names) == len(set(names)) == len(store.ids(HULL)) == 100


def test_an_attachment_arrives_in_pieces_and_is_whole_or_absent(store: Store) -> None:
    content = bytes(range(256)) * 10
    name = hashlib.sha256(content).hexdigest()
    assert store.attachments.held(name) == 0
    assert store.attachments.add(name, 0, content[:1000], len(content)) == 1000
    assert store.attachments.sizes() == {}
    with pytest.raises(OutOfPlace) as elsewhere:
        store.attachments.add(name, 0, content[:1000], len(content))
    assert elsewhere.value.held == store.attachments.held(name) == 1000
    assert store.attachments.add(name, 1000, content[1000:], len(content)) == len(content)
    assert dict(store.attachments.sizes()) == {name: len(content)}
    assert store.attachments.read(name, 0, 100) + store.attachments.read(name, 100, 9999) == content
    assert store.attachments.add(name, 0, content, len(content)) == len(content)


def test_an_attachment_with_another_content_than_its_name_says_is_dropped(store: Store) -> None:
    name = hashlib.sha256(b"a run").hexdigest()
    with pytest.raises(AttachmentDamaged):
        store.attachments.add(name, 0, b"a rum", 5)
    assert store.attachments.held(name) == 0
    with pytest.raises(KeyError):
        store.attachments.read(name, 0, 5)
    with pytest.raises(KeyError):
        store.attachments.held("../" + name)


def test_an_attachment_spoilt_on_the_shops_disk_is_set_aside_and_can_come_again(tmp_path: Path) -> None:
    shop = EmbeddedStore(tmp_path)
    name = shop.hulls.attachments.put(b"a run")
    (shop.hulls.attachments.folder / name).write_bytes(b"a rum")
    with pytest.raises(AttachmentDamaged):
        shop.attachments.read(name, 0, 5)
    assert shop.attachments.held(name) == 0
    assert [damage.set_aside is not None for damage in shop.hulls.damage()] == [True]
    assert shop.attachments.add(name, 0, b"a run", 5) == 5
    assert shop.attachments.read(name, 0, 5) == b"a run"
    shop.close()


def test_a_tablet_takes_part_until_it_is_removed_and_stays_listed(store: Store) -> None:
    register = store.register
    assert register.tablet_of("h1") is None
    register.add_tablet(TABLET)
    assert register.tablet_of("h1") == TABLET
    assert register.remove_tablet("t1", "M. Office", NOON + 5)
    assert not register.remove_tablet("t1", "someone else", NOON + 6)
    assert not register.remove_tablet("nobody", "M. Office", NOON)
    (gone,) = register.tablets()
    assert gone.is_removed
    assert (gone.removed_at, gone.removed_by) == (NOON + 5, "M. Office")
    found = register.tablet_of("h1")
    assert found is not None
    assert found.is_removed


def test_a_token_belongs_to_one_tablet_however_often_it_asks_at_once(store: Store) -> None:
    """An answer lost on the way makes a tablet ask again while its first question is still being answered."""
    code = open_code(store.register, "technician", "127.0.0.1", 1, "0" * 64, NOON, "Ines")
    token = "t" * 43
    with ThreadPoolExecutor(8) as crowd:
        asked = [crowd.submit(knock, store, code.secret, token) for _ in range(16)]
        admitted = {tablet.id for one in asked if (tablet := one.result()) is not None}
    (listed,) = store.register.tablets()
    assert admitted == {listed.id}
    assert store.register.remove_tablet(listed.id, "M. Office", NOON + 2)
    assert knock(store, code.secret, token) is None
    assert len(store.register.tablets()) == 1


def test_a_contact_is_shown_at_once(store: Store) -> None:
    store.register.add_tablet(TABLET)
    for at in (NOON + 100_000, NOON + 100_001):
        store.register.note_contact("t1", at, -7)
        (listed,) = store.register.tablets()
        assert (listed.last_contact, listed.clock_offset) == (at, -7)


def test_a_code_works_for_one_token_and_again_for_that_one(store: Store) -> None:
    register = store.register
    register.open_pairing(CODE, "Ines", NOON)
    used = register.use_pairing("s1", "token a", NOON, "10.0.0.1")
    assert used is not None
    assert used.role == TECHNICIAN
    assert register.use_pairing("s1", "token b", NOON, "10.0.0.1") is None
    assert register.use_pairing("s1", "token a", NOON + 999, "10.0.0.1") is not None
    assert register.use_pairing("s1", "token a", NOON + 1000, "10.0.0.1") is None


def test_a_wrong_guess_costs_every_open_code_a_try_and_the_last_closes_it(store: Store) -> None:
    register = store.register
    register.open_pairing(attrs.evolve(CODE, tries=2), "Ines", NOON)
    register.open_pairing(attrs.evolve(CODE, secret_hash="s2", tries=3), "Ines", NOON)
    for _ in range(2):
        assert register.use_pairing("wrong", "token", NOON, "10.0.0.1") is None
    assert sorted(one.tries for one in register.pairings()) == [0, 1]
    assert register.use_pairing("s1", "token", NOON, "10.0.0.1") is None
    assert register.use_pairing("s2", "token", NOON, "10.0.0.1") is None


def test_old_codes_are_forgotten_when_a_new_one_is_opened(store: Store) -> None:
    store.register.open_pairing(CODE, "Ines", NOON)
    store.register.open_pairing(attrs.evolve(CODE, secret_hash="s2", until=NOON + 3 * DAY), "Ines", NOON)
    assert [one.secret_hash for one in store.register.pairings()] == ["s2"]


def test_who_may_sign_in_on_the_page_is_kept(store: Store) -> None:
    store.register.put_user(WebUser(name="M. Office", role=MANAGER, password_hash="one"), "Ines", NOON)
    store.register.put_user(WebUser(name="M. Office", role=MANAGER, password_hash="two"), "Ines", NOON)
    assert [(user.name, user.password_hash) for user in store.register.users()] == [("M. Office", "two")]


def test_a_change_of_a_person_does_not_write_over_another_change(store: Store) -> None:
    first = WebUser(name="M. Office", role=MANAGER, password_hash="one")
    removed = attrs.evolve(first, removed_at=NOON)
    assert store.register.put_user(first, "Ines", NOON)
    assert store.register.put_user(removed, "Ines", NOON, instead_of=first)
    assert not store.register.put_user(attrs.evolve(first, password_hash="two"), "M. Office", NOON, instead_of=first)
    assert store.register.users() == (removed,)


def test_the_last_word_on_a_plugin_stands(store: Store) -> None:
    one = ShopPlugin(name="my_checks", sha256="0" * 64, approved_by="M. Office", approved_at=NOON)
    other = attrs.evolve(one, name="a_first")
    withdrawn = attrs.evolve(one, withdrawn_at=NOON + 1, withdrawn_by="R. Vane")
    for said in (one, other, withdrawn):
        store.register.put_plugin(said)
    assert store.register.plugins() == (other, withdrawn)
    assert withdrawn.is_withdrawn
    assert not other.is_withdrawn


def test_everything_is_there_after_the_store_was_closed_and_opened_again(tmp_path: Path) -> None:
    before = EmbeddedStore(tmp_path)
    put(before, HULL, 1)
    before.register.add_tablet(TABLET)
    before.register.open_pairing(attrs.evolve(CODE, tries=0), "Ines", NOON)
    held = before.digests(), before.register.tablets(), before.register.pairings(), list(before.deliveries(0, 2 * NOON))
    before.close()
    after = EmbeddedStore(tmp_path)
    assert held == (
        after.digests(), after.register.tablets(), after.register.pairings(), list(after.deliveries(0, 2 * NOON))
    )  # fmt: skip
    assert after.register.pairings()[0].tries == 0
    after.close()


def test_a_delivery_cut_off_by_a_power_cut_costs_no_other(tmp_path: Path) -> None:
    shop = EmbeddedStore(tmp_path)
    put(shop, HULL, 1)
    (day,) = (tmp_path / SHOP_FOLDER / DELIVERIES_FOLDER).iterdir()
    with day.open("ab") as file:
        file.write(b'{"at":17787528')
    put(shop, HULL, 2, at=NOON + 1)
    assert [one.at for one in shop.deliveries(0, 2 * NOON)] == [NOON, NOON + 1]
    assert all(isinstance(one, Delivery) for one in shop.deliveries(0, 2 * NOON))
    shop.close()


def test_two_programs_change_the_register_and_neither_undoes_the_other(tmp_path: Path) -> None:
    one, other = FileRegister(tmp_path), FileRegister(tmp_path)

    def pair_many(register: FileRegister, name: str) -> None:
        for number in range(15):
            register.add_tablet(attrs.evolve(TABLET, id=f"{name}{number}", token_hash=f"{name}{number}"))

    threads = [threading.Thread(target=pair_many, args=pair) for pair in ((one, "a"), (other, "b"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(one.tablets()) == len(other.tablets()) == len(FileRegister(tmp_path).tablets()) == 30


def test_who_may_decide_is_kept_as_the_register_says_whoever_else_opens_it_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that opens the register keeps the list of managers: not the one from before another's change."""
    register, waited = FileRegister(tmp_path), threading.Event()
    register.add_tablet(attrs.evolve(TABLET, writes_as=("dev",)))
    threads = list[threading.Thread]()

    def kept_late(folder: Path, devices: Iterable[str]) -> None:
        if not threads:  # between reading and keeping another program makes the tablet a manager's
            threads.append(threading.Thread(target=make_a_manager))
            threads[0].start()
            waited.wait(0.1)
        keep_managers(folder, devices)

    def make_a_manager() -> None:
        FileRegister(tmp_path, reading=True).change_role("t1", MANAGER, "the office", NOON)
        waited.set()

    monkeypatch.setattr("garboard_shop.embedded.keep_managers", kept_late)
    FileRegister(tmp_path)
    threads[0].join(60)
    assert "dev" in (managers_of(tmp_path) or ())


def test_to_list_who_takes_part_changes_nothing_in_a_folder(tmp_path: Path) -> None:
    """A tablet's folder does not become a shop's by it, and a copy on a protected card can be looked at."""
    assert FileRegister(tmp_path, reading=True).tablets() == ()
    assert not [*tmp_path.iterdir()]
    FileRegister(tmp_path).add_tablet(TABLET)
    before = {path: path.stat() for path in tmp_path.rglob("*")}
    assert FileRegister(tmp_path, reading=True).tablets() == (TABLET,)
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == {
        path: found.st_mtime_ns for path, found in before.items()
    }


def test_an_announced_shop_is_found_on_the_network_by_its_fingerprint_only() -> None:
    """On loopback only. The name and address announced are trusted no further than to be tried."""
    pytest.importorskip("zeroconf")
    from garboard.shop_link.discovery import look_for
    from garboard_shop.announce import announced

    paired = PairedShop(name="s", host="old", port=1, fingerprint="ab" * 32, token="t", tablet="i")
    stranger = attrs.evolve(paired, fingerprint="cd" * 32)
    with announced("127.0.0.1", 4711, paired.fingerprint) as is_announced:
        assert is_announced
        found = look_for(paired, 60, only_on="127.0.0.1")
        assert found == attrs.evolve(paired, host="127.0.0.1", port=4711)
        assert look_for(stranger, 0.5, only_on="127.0.0.1") is None


def noted(store: Store) -> list[tuple[str, str, str]]:
    return [(one.who, one.what, one.about) for one in store.register.changes()]


def test_every_change_of_who_takes_part_is_noted_with_who(store: Store) -> None:
    """One of each, in order; what changes nothing is not noted."""
    register, office = store.register, WebUser(name="M. Office", role=MANAGER, password_hash="one")
    plugin = ShopPlugin(name="ours", sha256="ab" * 32, approved_by="M. Office", approved_at=NOON)
    register.put_user(office, "root", NOON)
    register.put_user(attrs.evolve(office, password_hash="two"), "M. Office", NOON)
    register.put_user(attrs.evolve(office, password_hash="two", role=TECHNICIAN), "R. Vane", NOON)
    register.put_user(attrs.evolve(office, password_hash="two", role=TECHNICIAN), "R. Vane", NOON)
    register.put_user(attrs.evolve(office, removed_at=NOON), "R. Vane", NOON)
    register.put_user(office, "R. Vane", NOON)
    register.open_pairing(attrs.evolve(CODE, role=MANAGER), "R. Vane", NOON)
    register.add_tablet(TABLET)
    register.add_tablet(attrs.evolve(TABLET, id="t2"))
    register.note_device("t1", "a1", NOON)
    register.note_device("t1", "a1", NOON)
    assert register.change_role("t1", MANAGER, "R. Vane", NOON)
    assert register.change_role("t1", MANAGER, "R. Vane", NOON)
    assert register.remove_tablet("t1", "R. Vane", NOON)
    assert not register.remove_tablet("t1", "R. Vane", NOON)
    assert not register.change_role("t1", TECHNICIAN, "R. Vane", NOON)
    register.note_device("t1", "a2", NOON)
    register.put_plugin(plugin)
    register.put_plugin(attrs.evolve(plugin, withdrawn_at=NOON, withdrawn_by="R. Vane"))
    assert noted(store) == [
        ("root", "person added", "M. Office, manager"),
        ("M. Office", "password changed", "M. Office"),
        ("R. Vane", "person's role changed", "M. Office: manager, now technician"),
        ("R. Vane", "person removed", "M. Office"),
        ("R. Vane", "person added", "M. Office, manager"),
        ("R. Vane", "pairing code made", "for one tablet, manager"),
        ("dock (t1)", "tablet paired", "dock (t1)"),
        ("dock (t1)", "tablet writes under another name", "dock (t1): a1"),
        ("R. Vane", "tablet's role changed", "dock (t1): technician, now manager"),
        ("R. Vane", "tablet removed", "dock (t1)"),
        ("M. Office", "plugin approved", "ours abababababab"),
        ("R. Vane", "plugin withdrawn", "ours abababababab"),
    ]
    assert {one.at for one in register.changes()} == {NOON}


def test_a_note_from_elsewhere_is_noted_once(store: Store) -> None:
    store.register.add_tablet(TABLET)
    (mine,) = store.register.changes()
    other = Change(NOON - 1, "R. Vane", "shop copied", "from here to there")
    for _ in range(2):
        store.register.note_changes([mine, other])
    assert store.register.changes() == (mine, other)
    assert in_order(store.register.changes()) == (mine, other)
    assert in_order([other, mine]) == (mine, other)


def test_a_change_that_is_not_saved_is_not_noted_and_a_note_that_is_not_saved_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a folder both are one file, written whole."""
    register = FileRegister(tmp_path)
    register.add_tablet(TABLET)
    before = register.tablets(), register.changes()

    def full(*_: object, **_more: object) -> None:
        raise NotSaved("the disk is full")

    monkeypatch.setattr(storage, "write_whole", full)
    with pytest.raises(NotSaved):
        register.remove_tablet("t1", "R. Vane", NOON)
    assert (register.tablets(), register.changes()) == before
    assert (FileRegister(tmp_path).tablets(), FileRegister(tmp_path).changes()) == before


def test_a_note_a_database_cannot_keep_keeps_the_change_from_being_made(new_yard: Callable[[str], str]) -> None:
    """One transaction: the note is refused (no text may hold a zero byte), and the tablet stays."""
    with closing(PostgresStore(new_yard("cluster"))) as made:
        made.register.add_tablet(TABLET)
        for change in (
            lambda by: made.register.remove_tablet("t1", by, NOON),
            lambda by: made.register.change_role("t1", MANAGER, by, NOON),
            lambda by: made.register.put_user(WebUser(name="N", role=MANAGER, password_hash="x"), by, NOON),
            lambda by: made.register.open_pairing(CODE, by, NOON),
        ):
            with pytest.raises(NotSaved):
                change("R.\0Vane")
        assert made.register.tablets() == (TABLET,)
        assert (made.register.users(), made.register.pairings()) == ((), ())
        assert len(made.register.changes()) == 1


def test_a_tablet_says_so_often_under_what_it_writes_and_no_oftener(store: Store) -> None:
    store.register.add_tablet(TABLET)
    for number in range(MOST_DEVICES + 5):
        store.register.note_device("t1", f"d{number}", NOON)
    (listed,) = store.register.tablets()
    assert listed.writes_as == tuple(f"d{number}" for number in range(MOST_DEVICES))


def test_wrong_guesses_count_by_address_and_it_waits_while_others_go_on(store: Store) -> None:
    register = store.register
    register.open_pairing(attrs.evolve(CODE, until=NOON + MINUTES_A_CODE_WORKS * 60_000), "R. Vane", NOON)
    for number in range(TRIES_AN_ASKER_HAS):
        assert register.use_pairing("wrong", "token", NOON + number, "10.0.0.66") is None
    last, wait = NOON + TRIES_AN_ASKER_HAS - 1, MINUTES_AN_ASKER_WAITS * 60_000
    for secret in ("wrong", "s1"):
        with pytest.raises(MustWait) as told:
            register.use_pairing(secret, "token", last + wait - 1, "10.0.0.66")
        assert told.value.until == last + wait
    (code,) = register.pairings()
    assert (code.tries, code.used_by) == (TRIES_A_CODE_HAS - TRIES_AN_ASKER_HAS, "")
    assert register.use_pairing("wrong", "token", last + wait, "10.0.0.66") is None
    assert register.use_pairing("s1", "token", last + wait, "10.0.0.7") is not None


def test_while_no_code_is_open_a_guess_costs_nothing(store: Store) -> None:
    """Nothing can be guessed then; the next code finds nobody shut out."""
    register = store.register
    for _ in range(3 * TRIES_AN_ASKER_HAS):
        assert register.use_pairing("wrong", "token", NOON, "10.0.0.66") is None
    register.open_pairing(CODE, "R. Vane", NOON)
    assert register.use_pairing("s1", "token", NOON, "10.0.0.66") is not None


def test_a_guess_that_changes_nothing_waits_for_no_writer_and_keeps_none_waiting(tmp_path: Path) -> None:
    """While no code is open, and from an address that must wait: strangers go on asking, and tablets write."""
    register = FileRegister(tmp_path)
    with written_in(tmp_path):
        assert register.use_pairing("wrong", "token", NOON, "10.0.0.66") is None
    register.open_pairing(attrs.evolve(CODE, until=NOON + MINUTES_A_CODE_WORKS * 60_000), "R. Vane", NOON)
    for _ in range(TRIES_AN_ASKER_HAS):
        assert register.use_pairing("wrong", "token", NOON, "10.0.0.66") is None
    with written_in(tmp_path), pytest.raises(MustWait):
        register.use_pairing("wrong", "token", NOON, "10.0.0.66")


@contextmanager
def written_in(folder: Path) -> Iterator[None]:
    """Another program writes in the register."""
    lock = WriterLock(folder / SHOP_FOLDER)
    try:
        yield
    finally:
        lock.release()


def test_servers_on_one_database_count_wrong_guesses_together(new_yard: Callable[[str], str]) -> None:
    """Also when they are asked at once, from one address and from many."""
    url = new_yard("cluster")
    with closing(PostgresStore(url)) as one, closing(PostgresStore(url)) as other, ThreadPoolExecutor(8) as crowd:
        one.register.open_pairing(CODE, "R. Vane", NOON)

        def guess(number: int, address: str) -> bool:
            """Whether the guess was looked at."""
            server = (one, other)[number % 2]
            try:
                assert server.register.use_pairing(f"wrong {number}", "token", NOON, address) is None
            except MustWait:
                return False
            return True

        looked_at = list(crowd.map(lambda number: guess(number, "10.0.0.66"), range(24)))
        assert sum(looked_at) == TRIES_AN_ASKER_HAS
        many = [f"10.0.1.{number // TRIES_AN_ASKER_HAS}" for number in range(TRIES_A_CODE_HAS - TRIES_AN_ASKER_HAS - 1)]
        assert all(crowd.map(guess, range(len(many)), many))
        (code,) = other.register.pairings()
        assert code.tries == 1
        assert guess(1, "10.0.2.1")
        assert one.register.use_pairing("s1", "token", NOON, "10.0.3.1") is None


def test_all_guesses_together_find_one_code_in_thousands_of_millions() -> None:
    """Odds by hand: a secret is one of 2^40 = 1 099 511 627 776; 50 are tried; 2.2e10 codes for one guessed."""
    assert 256**SECRET_BYTES == 1_099_511_627_776
    assert 256**SECRET_BYTES // TRIES_A_CODE_HAS == 21_990_232_555


def test_rows_of_the_memory_are_kept_beside_the_entries(store: Store) -> None:
    """The last of a boat counts, whatever stands in it; another shop's are not seen."""
    assert store.rows() == {}
    first = {HULL: KeptRow("d1", "one"), OTHER: KeptRow("d2", 'a "quoted" line\nand another')}
    store.put_rows(first)
    assert store.rows() == first
    store.put_rows({HULL: KeptRow("d3", "")})
    assert store.rows() == {**first, HULL: KeptRow("d3", "")}
    assert store.digests() == {}


def test_lines_of_rows_that_were_replaced_do_not_heap_up(tmp_path: Path) -> None:
    """And a line cut off by a power cut costs its own row alone."""
    with closing(EmbeddedStore(tmp_path)) as kept:
        for number in range(3):
            kept.put_rows({f"H{each}": KeptRow(str(number), "row") for each in range(700)})
        path = tmp_path / SHOP_FOLDER / ROWS_FILE
        assert len(path.read_bytes().splitlines()) == 2_100
        path.write_bytes(path.read_bytes()[:-5])
        found = kept.rows()
        assert {one.digest for hull, one in found.items() if hull != "H699"} == {"2"}
        assert found["H699"].digest == "1"
        for number in range(3, 5):
            kept.put_rows({f"H{each}": KeptRow(str(number), "row") for each in range(700)})
        assert len(kept.rows()) == 700
        assert len(path.read_bytes().splitlines()) == 700


def test_a_row_with_a_digit_otherwise_is_none_and_one_of_an_earlier_program_is(tmp_path: Path) -> None:
    path = tmp_path / SHOP_FOLDER / ROWS_FILE
    with closing(EmbeddedStore(tmp_path)) as kept:
        kept.put_rows({HULL: KeptRow("d1", "5800 rev/min"), OTHER: KeptRow("d2", "5600 rev/min")})
        assert len(kept.rows()) == 2
        path.write_bytes(path.read_bytes().replace(b"5800", b"5900"))
        assert kept.rows() == {OTHER: KeptRow("d2", "5600 rev/min")}
        path.write_text(json.dumps({"hull": HULL, "digest": "d1", "row": "5800 rev/min"}) + "\n")
        assert kept.rows() == {HULL: KeptRow("d1", "5800 rev/min")}


def test_a_recording_that_a_store_gives_otherwise_is_not_judged() -> None:
    """With one digit changed it still reads, as another recording."""
    from garboard_shop.pages.summaries import _Recordings

    log = b"time,engine_speed#0 [rev/min]\n0,5800\n"
    name = hashlib.sha256(log).hexdigest()

    class Changed:
        content = log

        def read(self, _name: str, start: int, most: int) -> bytes:
            return self.content[start : start + most]

    store: Any = Changed()
    assert _Recordings(store).load(name).streams
    store.content = log.replace(b"5800", b"5900")
    changed = _Recordings(store)
    with pytest.raises(NotEnoughData):
        changed.load(name)
    assert changed.lacking == {name}


def test_a_disk_too_full_for_a_folder_is_told_as_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first thing brought ashore needs one. Told as a mistake of the program, a tablet did not try again."""
    name = hashlib.sha256(b"photo").hexdigest()

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with closing(EmbeddedStore(tmp_path / "shop")) as store:
        entry = entry_number(1, HULL)
        document = DurableStorage(tmp_path / "new" / "told.json", Kind(Format("told"), cure=""))
        monkeypatch.setattr(Path, "mkdir", full)
        for keeps in (
            lambda: store.put_if_absent({HULL: CheckedEntries({entry.id: entry.raw})}, "1" * 12, NOON, 0),
            lambda: store.attachments.add(name, 0, b"photo", 5),
            lambda: document.write({"one": {"1": {}}}),
        ):
            with pytest.raises(NotSaved, match=r"no space left.*Free some space"):
                keeps()


@pytest.mark.parametrize("call", ["write", "fsync", "replace", "fstat", "stat"])
@pytest.mark.parametrize("lasting", [False, True])
def test_what_is_said_of_a_decision_over_several_hulls_is_so_whichever_call_the_disk_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, lasting: bool
) -> None:
    """Not saved is nothing, for good; saved is all, at once or after the next question."""
    offered = {
        hull: checked(*(entry_number(number, hull) for number in range(2))) for hull in ("ABC00001A526", "ABC00002A526")
    }
    said: list[str] = []
    for refused in count():
        folder, calls = tmp_path / str(refused), count()
        with closing(EmbeddedStore(folder)) as store, monkeypatch.context() as patch:
            put(store, "ABC00001A526", 9)  # the file of one is there, of the other not
            patch.setattr(os, call, _refused_at(getattr(os, call), calls, refused, lasting))
            try:
                store.put_together(offered, "page", NOON)
                said.append("saved")
            except KeptToFinish:
                said.append("follows")
            except NotSaved:
                said.append("not saved")
        with closing(EmbeddedStore(folder)) as store:
            store.digests()
            held = [store.ids(hull) >= entries.keys() for hull, entries in offered.items()]
            assert set(held) == {said[-1] != "not saved"}, (refused, said[-1])
            assert not [*folder.glob("shop/together/*")]
        if next(calls) <= refused:
            break
    assert set(said) == {"saved", "follows", "not saved"}


def test_a_decision_that_waits_for_a_file_nobody_can_read_holds_up_no_question(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    offered = {hull: checked(entry_number(1, hull)) for hull in ("ABC00001A526", "ABC00002A526")}
    with closing(EmbeddedStore(tmp_path)) as store:
        with monkeypatch.context() as failing:
            failing.setattr(store, "put_if_absent", Mock(side_effect=OSError(errno.EIO, "Input/output error")))
            failing.setattr(store, "ids", Mock(side_effect=OSError(errno.EIO, "Input/output error")))
            with pytest.raises(KeptToFinish):
                store.put_together(offered, "page", NOON)
            assert store.digests() == {}
        assert store.digests().keys() == offered.keys()


def test_a_note_that_a_killed_server_began_is_no_decision(tmp_path: Path) -> None:
    begun = tmp_path / "shop" / TOGETHER_FOLDER / ".unfinished-1-2.json"
    begun.parent.mkdir(parents=True)
    begun.write_text('{"at": 1, "ent')
    assert not [*_noted_by_the_shop(tmp_path)]
    with closing(EmbeddedStore(tmp_path)) as store:
        assert store.digests() == {}
        assert not store._together._is_waiting
    assert not begun.exists()


def test_a_note_that_another_thread_ends_meanwhile_keeps_nobody_from_asking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(EmbeddedStore(tmp_path)) as store:
        notes = store._together._notes
        name = notes.add("{}")
        listed = Path.glob

        def then_gone(folder: Path, pattern: str) -> list[Path]:
            found = [*listed(folder, pattern)]
            notes.drop(name)
            return found

        monkeypatch.setattr(Path, "glob", then_gone)
        assert notes.noted() == {}
        assert store.digests() == {}


def _refused_at(real: Callable[..., Any], calls: Iterator[int], refused: int, lasting: bool) -> Callable[..., Any]:
    def call(*arguments: Any, **named: Any) -> Any:
        number = next(calls)
        if number == refused or (lasting and number > refused):
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(*arguments, **named)

    return call
