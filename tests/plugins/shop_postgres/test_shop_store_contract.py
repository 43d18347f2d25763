"""What any store of a shop must do: the same tests over the folder, one database, and a shop over two servers."""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Callable, Iterable, Iterator
from itertools import count as numbers_from
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from campaigns.writers import entry_number
from examples import examples
from garboard.disk import partial_upload
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, canonical_bytes, entry_id, make_entry, read_entry
from garboard.disk.hullfile import CheckedEntries, PutResult
from garboard.disk.partial_upload import OutOfPlace
from garboard.disk.storage import NotSaved
from garboard.shop_link.wire import Question
from garboard_shop import app
from garboard_shop.brake import after_the_right_one, count
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.postgres import PostgresStore
from garboard_shop.postgres.database import Database
from garboard_shop.store import (
    MANAGER,
    TECHNICIAN,
    TRIES_A_CODE_HAS,
    Delivery,
    Holding,
    Pairing,
    ShopPlugin,
    Store,
    Tablet,
    WebUser,
    counted_as,
)
from postgres_cluster import why_not_here

ONE, TWO, THREE = "ABC00001A526", "ABC00002A526", "XYZHJKLMF626"
DAY = 24 * 60 * 60 * 1000
NOON = 1_778_752_800_000
Opener = Callable[[], Store]


@pytest.fixture(params=["folder", "cluster", "spread"])
def reopen(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Opener]:
    """Opens one and the same store, first empty; what was opened before is closed."""
    if request.param == "folder":
        yield from _closing_the_last(lambda: EmbeddedStore(tmp_path / "shop"))
        return
    if reason := why_not_here():
        pytest.skip(reason)
    new_yard: Callable[[str], str] = request.getfixturevalue("new_yard")
    url = new_yard(request.param)
    yield from _closing_the_last(lambda: PostgresStore(url))


def _closing_the_last(opened: Opener) -> Iterator[Opener]:
    last: list[Store] = []

    def anew() -> Store:
        for store in last:
            store.close()
        last[:] = [opened()]
        return last[0]

    yield anew
    for store in last:
        store.close()


@pytest.fixture
def store(reopen: Opener) -> Store:
    return reopen()


def and_again(store: Store, reopen: Opener) -> Iterator[Store]:
    """The store as it is, then opened anew."""
    yield store
    yield reopen()


def checked(*entries: Entry) -> CheckedEntries:
    return CheckedEntries((entry.id, entry.raw) for entry in entries)


def some(hull: str, numbers: range) -> CheckedEntries:
    return checked(*(entry_number(number, hull) for number in numbers))


def put(store: Store, *hulls: str, numbers: range = range(10), at: int = NOON, tablet: str = "t1") -> set[str]:
    return set(store.put_if_absent({hull: some(hull, numbers) for hull in hulls}, tablet, at, 0).added)


def test_an_empty_store_holds_nothing(store: Store) -> None:
    assert store.digests() == {}
    assert store.ids(ONE) == frozenset()
    assert store.get(ONE, ["0" * 32, "no id"]) == {}
    assert store.kinds(ONE) == {}
    assert list(store.deliveries(0, 10 * NOON)) == []
    assert store.attachments.sizes() == {}
    register = store.register
    assert (register.tablets(), register.pairings(), register.users()) == ((), (), ())


@pytest.mark.parametrize("reopen", ["folder", "spread"], indirect=True)  # one database keeps them in one transaction
def test_what_belongs_together_is_kept_to_its_end_by_the_next_start(
    reopen: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A server ends after it kept the entries of one hull of three."""
    store, hulls = reopen(), (ONE, TWO, THREE)
    offered = {hull: some(hull, range(2)) for hull in hulls}
    keep = store.put_if_absent

    def ends_after_one(given: dict[str, CheckedEntries], *by: Any) -> None:
        keep({ONE: given[ONE]}, *by)
        raise KeyboardInterrupt

    monkeypatch.setattr(store, "put_if_absent", ends_after_one)
    with pytest.raises(KeyboardInterrupt):
        store.put_together(offered, "page", NOON)
    assert [store.ids(hull) for hull in hulls] == [offered[ONE].keys(), frozenset(), frozenset()]
    for again in (reopen() for _ in range(2)):
        assert {hull: one.entries for hull, one in again.digests().items()} == dict.fromkeys(hulls, 2)
        noted = [name for one in again.deliveries(0, NOON) for names in one.ids.values() for name in names]
        assert sorted(noted) == sorted(name for entries in offered.values() for name in entries)
        assert again.put_together(offered, "page", NOON + 1) == PutResult()


def test_what_was_put_is_held_and_comes_back_byte_for_byte(reopen: Opener) -> None:
    store = reopen()
    offered = {hull: some(hull, range(40)) for hull in (THREE, ONE, TWO)}
    added = store.put_if_absent(offered, "t1", NOON, 0)
    assert set(added.added) == {name for entries in offered.values() for name in entries}
    assert added.refused == ()
    for held in and_again(store, reopen):
        for hull, entries in offered.items():
            assert held.ids(hull) == entries.keys()
            assert held.get(hull, entries) == entries
            assert held.kinds(hull) == {"measure": 40}


def test_ids_asked_for_come_in_the_order_asked_and_unknown_ones_are_left_out(store: Store) -> None:
    put(store, ONE)
    wanted = sorted(some(ONE, range(10)), reverse=True)
    assert list(store.get(ONE, [wanted[0], "f" * 32, *wanted[1:]])) == wanted
    assert store.get(TWO, wanted) == {}


def test_hulls_nobody_has_cost_one_question_however_many_are_named(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    added = put(store, ONE)
    asked: list[str] = []
    ask = Database.ask

    def counted(self: Database, verb: str, *values: object) -> list[tuple[Any, ...]]:
        asked.append(verb)
        return ask(self, verb, *values)

    monkeypatch.setattr(Database, "ask", counted)
    unknown = [f"ABC{number:05d}B526" for number in range(1000)]
    held = frozenset({"00" * 4})
    named = Question(dict.fromkeys([*unknown, "abc-00001-a5-26"], held), 8, {})
    found = app.differences_of(store, named, 10_000_000)
    assert found.needs.keys() == {*unknown, "abc-00001-a5-26"}  # the shop has no entry of that beginning
    assert {entry_id(raw) for raw in found.lines} == added  # of the one hull it has, however it is written
    assert asked in ([], ["digests", "ids", "entries"])
    marked = dict.fromkeys(unknown, "f" * 16)
    assert app.differing_buckets_of(store, marked).keys() == set(unknown)
    assert asked in ([], ["digests", "ids", "entries", "digests"])
    assert store.digests().keys() == {ONE}


def test_tries_to_sign_in_count_together_and_over_a_restart(reopen: Opener) -> None:
    store = reopen()
    counts = [count(("own",), 2, 1000), count(("shared",), 3, 9000)]
    assert [store.register.count_try(counts, NOON + ms) for ms in (0, 1)] == [0, 0]
    store = reopen()
    assert store.register.count_try(counts, NOON + 10) == 990  # until the first of two counts no more
    assert store.register.count_try([count(("another",), 2, 1000), counts[1]], NOON + 10) == 0
    assert store.register.count_try([counts[1]], NOON + 1001) == 7999
    store.register.forget(after_the_right_one(store.register.askers(), counts))
    assert store.register.count_try(counts, NOON + 20) == 0
    tries = [
        threading.Thread(target=store.register.count_try, args=([count(("at once",), 3, 500)], NOON + 30))
        for _ in range(8)
    ]
    for one in tries:
        one.start()
    for one in tries:
        one.join()
    at_once = count(("at once",), 3, 500).what
    assert sum(at_once in one.address for one in store.register.askers()) == 3


def test_a_digest_is_sha_256_over_the_sorted_ids_run_together(reopen: Opener) -> None:
    """As PROTOCOL.md says; computed here by hand from the ids."""
    store = reopen()
    for numbers in (range(10), range(5, 30)):
        put(store, ONE, TWO, numbers=numbers)
        expected = {
            hull: Holding(
                hashlib.sha256("".join(sorted(some(hull, range(numbers.stop)))).encode()).hexdigest(), numbers.stop
            )
            for hull in (ONE, TWO)
        }
        assert store.digests() == store.digests() == expected
        store = reopen()
        assert store.digests() == expected


def test_putting_again_adds_nothing_and_notes_no_delivery(store: Store) -> None:
    first = put(store, ONE, TWO)
    assert len(first) == 20
    before = store.digests(), list(store.deliveries(0, 10 * NOON))
    assert put(store, ONE, TWO, at=NOON + 1) == set()
    assert (store.digests(), list(store.deliveries(0, 10 * NOON))) == before


def test_only_what_is_absent_is_added(store: Store) -> None:
    put(store, ONE, numbers=range(10))
    assert put(store, ONE, numbers=range(5, 15)) == set(some(ONE, range(10, 15)))
    assert store.kinds(ONE) == {"measure": 15}


def test_an_entry_of_another_hull_is_refused_by_name_and_the_rest_is_kept(store: Store) -> None:
    stray = entry_number(1, TWO)
    answer = store.put_if_absent({ONE: CheckedEntries({**some(ONE, range(3)), stray.id: stray.raw})}, "t1", NOON, 0)
    ((name, reason),) = answer.refused
    assert name == stray.id
    assert TWO in str(reason)
    assert set(answer.added) == store.ids(ONE) == set(some(ONE, range(3)))
    assert store.digests().keys() == {ONE}


def test_when_all_is_refused_nothing_is_noted(store: Store) -> None:
    stray = entry_number(1, TWO)
    assert store.put_if_absent({ONE: checked(stray)}, "t1", NOON, 0).added == ()
    assert store.digests() == {}
    assert store.ids(TWO) == frozenset()


def test_kinds_are_counted_whatever_their_name(reopen: Opener) -> None:
    store = reopen()
    odd = ['a "kind"', "nul\x00byte", "ünïcode 🛥", "measure"]
    long = "".join(map(chr, range(0x1F300, 0x1F300 + 3000)))  # nothing in it repeats, so that it cannot be packed
    made = [
        make_entry(kind, ONE, dev="t", by="Ines", clock=Stamp(1, 0), at="2026-05-14T12:00:00+02:00", value=number)
        for kind in (*odd, long)
        for number in range(3)
    ]
    store.put_if_absent({ONE: checked(*made)}, "t1", NOON, 0)
    counted = dict.fromkeys((*odd, counted_as(long)), 3)
    assert store.kinds(ONE) == counted
    again = reopen()
    assert again.kinds(ONE) == counted
    assert again.get(ONE, again.ids(ONE)) == checked(*made)


def test_deliveries_tell_who_brought_what_in_order_of_time(reopen: Opener) -> None:
    store = reopen()
    for number, at in enumerate((NOON, NOON + 5, NOON + DAY, NOON + 3 * DAY)):
        entries = {hull: some(hull, range(10 * number, 10 * number + 3)) for hull in (ONE, TWO)}
        store.put_if_absent(entries, f"t{number}", at, number)
    for held in and_again(store, reopen):
        found = _together(held.deliveries(NOON, NOON + DAY))
        assert [(one.at, one.tablet, one.clock_offset) for one in found] == [
            (NOON, "t0", 0),
            (NOON + 5, "t1", 1),
            (NOON + DAY, "t2", 2),
        ]
        assert {hull: set(names) for hull, names in found[1].ids.items()} == {
            hull: set(some(hull, range(10, 13))) for hull in (ONE, TWO)
        }
        assert _together(held.deliveries(NOON + 1, NOON + DAY - 1)) == found[1:2]


def _together(deliveries: Iterable[Delivery]) -> list[Delivery]:
    """Several databases each note their share of a request."""
    found: dict[tuple[int, str, int], Delivery] = {}
    for one in deliveries:
        key = one.at, one.tablet, one.clock_offset
        before = found.get(key)
        found[key] = attrs.evolve(one, ids={**one.ids, **before.ids}) if before else one
    return [attrs.evolve(one, ids=dict(sorted(one.ids.items()))) for one in found.values()]


def test_more_deliveries_than_are_read_at_once_come_whole_and_once(store: Store) -> None:
    """Many at one and the same moment among them."""
    for number in range(520):
        put(store, ONE, numbers=range(number, number + 1), at=NOON + number // 260)
    names = [name for one in store.deliveries(NOON, NOON + 1) for name in one.ids[ONE]]
    assert len(names) == 520
    assert set(names) == store.ids(ONE)


def test_many_who_put_the_same_entries_at_once_add_each_once(store: Store) -> None:
    """Hulls and entries in another order for each; no one is refused, and none is counted twice."""
    hulls = [f"ABC{number:05d}A526" for number in range(12)]
    added: list[tuple[str, ...]] = []
    failed: list[BaseException] = []

    def put_all(seed: int) -> None:
        try:
            for start in range(0, 40, 10):
                turned = [*hulls[seed:], *hulls[:seed]]
                offered = {
                    hull: CheckedEntries(list(some(hull, range(start, start + 15)).items())[:: 1 if seed % 2 else -1])
                    for hull in turned
                }
                added.append(store.put_if_absent(offered, f"t{seed}", NOON, 0).added)
        except BaseException as failure:
            failed.append(failure)

    threads = [threading.Thread(target=put_all, args=(seed,)) for seed in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert failed == []
    every = [name for names in added for name in names]
    assert len(every) == len(set(every)) == 12 * 45
    assert {hull: held.entries for hull, held in store.digests().items()} == dict.fromkeys(hulls, 45)
    assert all(store.kinds(hull) == {"measure": 45} for hull in hulls)
    assert sorted(every) == sorted(
        name for one in store.deliveries(0, NOON) for names in one.ids.values() for name in names
    )


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
numbered = numbers_from()


@pytest.mark.parametrize("reopen", ["folder", "cluster"], indirect=True)
@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(TEXT, min_size=1, max_size=5), version=st.integers(1, 9))
def test_any_text_comes_back_byte_for_byte(store: Store, texts: list[str], version: int) -> None:
    """Every character that may stand in an entry, and entries of newer versions (promise 6)."""
    made = [
        make_entry(
            f"kind {text}",
            ONE,
            dev="t",
            by="Ines",
            clock=Stamp(next(numbered), 0),
            at="2026-05-14T12:00:00+02:00",
            value=text,
        )
        for text in texts
    ]
    newer = [
        read_entry(canonical_bytes({**entry.fields, "v": version + 1, "x_more": [*entry.subject, version]}))
        for entry in made
    ]
    offered = checked(*made, *newer)
    assert set(store.put_if_absent({ONE: offered}, "t1", NOON, 0).added) == offered.keys()
    assert store.get(ONE, offered) == offered


def add_all(store: Store, content: bytes, piece: int) -> str:
    name = hashlib.sha256(content).hexdigest()
    held = store.attachments.held(name)
    while True:
        held = store.attachments.add(name, held, content[held : held + piece], len(content))
        if held >= len(content):
            return name


@pytest.mark.parametrize("size", [0, 1, 1000, 4096, 10_001])
def test_an_attachment_comes_back_whole_and_in_any_piece(reopen: Opener, size: int) -> None:
    store = reopen()
    content = os.urandom(size)
    name = add_all(store, content, 1000)
    for held in and_again(store, reopen):
        assert held.attachments.sizes() == {name: size}
        assert held.attachments.held(name) == size
        assert held.attachments.read(name, 0, size + 5) == content
        for start, most in ((0, 10), (5, 1000), (999, 2), (1000, 1000), (max(0, size - 1), 10), (size + 3, 5)):
            assert held.attachments.read(name, start, most) == content[start : start + most]


def test_an_unfinished_attachment_is_gone_on_with_and_is_not_among_the_finished(reopen: Opener) -> None:
    content = os.urandom(3000)
    name = hashlib.sha256(content).hexdigest()
    store = reopen()
    assert store.attachments.add(name, 0, content[:1000], 3000) == 1000
    store = reopen()
    assert store.attachments.sizes() == {}
    assert store.attachments.held(name) == 1000
    with pytest.raises(KeyError):
        store.attachments.read(name, 0, 10)
    with pytest.raises(OutOfPlace) as elsewhere:
        store.attachments.add(name, 2000, content[2000:], 3000)
    assert elsewhere.value.held == 1000
    with pytest.raises(OutOfPlace):
        store.attachments.add(name, 1000, content[1000:], 2999)
    assert store.attachments.add(name, 1000, content[1000:], 3000) == 3000
    assert store.attachments.add(name, 0, content[:10], 3000) == 3000
    assert store.attachments.read(name, 0, 3000) == content


def test_an_attachment_that_is_not_what_its_name_says_is_dropped_and_can_come_again(store: Store) -> None:
    content = os.urandom(2000)
    name = hashlib.sha256(content).hexdigest()
    store.attachments.add(name, 0, content[:1000], 2000)
    with pytest.raises(AttachmentDamaged):
        store.attachments.add(name, 1000, os.urandom(1000), 2000)
    assert store.attachments.held(name) == 0
    assert store.attachments.sizes() == {}
    assert add_all(store, content, 1000) == name
    assert store.attachments.read(name, 0, 2000) == content


def test_unfinished_attachments_have_a_quota_whatever_keeps_them(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A paired tablet that begins many and finishes none takes no more than that; a finished one is never dropped."""
    kept: Any = store.attachments
    monkeypatch.setattr(partial_upload, "MOST_AT_ONCE", 4)
    monkeypatch.setattr(getattr(kept, "_arriving", kept), "_most", 100)
    whole = add_all(store, os.urandom(90), 90)
    names = [f"{number:064x}" for number in range(8)]
    for name in names:
        kept.add(name, 0, b"x" * 30, 1000)
        assert sum(map(kept.held, names)) <= 100
    assert [kept.held(name) for name in names[-3:]] == [30, 30, 30]
    for number in range(8, 14):
        kept.add(f"{number:064x}", 0, b"x", 1000)
    assert sum(bool(kept.held(f"{number:064x}")) for number in range(14)) == 4
    assert kept.held(names[-1]) == 30
    with pytest.raises(NotSaved, match="Carry it over on a stick"):
        kept.add(names[-1], 30, b"x" * 80, 1000)
    assert kept.sizes() == {whole: 90}


@pytest.mark.parametrize("name", ["", "x", "../../etc/passwd", "A" * 64, "0" * 63])
def test_what_is_no_attachments_name_is_refused(store: Store, name: str) -> None:
    with pytest.raises(KeyError):
        store.attachments.held(name)
    with pytest.raises(KeyError):
        store.attachments.add(name, 0, b"x", 1)
    with pytest.raises(KeyError):
        store.attachments.read(name, 0, 1)


def test_two_who_bring_one_attachment_at_once_end_with_it_whole(store: Store) -> None:
    content = os.urandom(50_000)
    name = hashlib.sha256(content).hexdigest()

    def bring() -> None:
        held = store.attachments.held(name)
        while held < len(content):
            try:
                held = store.attachments.add(name, held, content[held : held + 1000], len(content))
            except OutOfPlace as elsewhere:
                held = elsewhere.held

    threads = [threading.Thread(target=bring) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert store.attachments.read(name, 0, len(content)) == content


def tablet(number: int, **more: Any) -> Tablet:
    return attrs.evolve(
        Tablet(id=f"id{number}", name=f"tablet {number}", role=TECHNICIAN, token_hash=f"hash{number}", paired_at=NOON),
        **more,
    )


def test_tablets_are_kept_found_by_token_and_removed_for_good(reopen: Opener) -> None:
    store = reopen()
    for number in (1, 2):
        store.register.add_tablet(tablet(number, role=MANAGER if number == 2 else TECHNICIAN))
    assert store.register.tablet_of("hash1") == tablet(1)
    assert store.register.tablet_of("hash3") is None
    assert store.register.remove_tablet("id1", "Ines", NOON + 9)
    assert not store.register.remove_tablet("id1", "Bo", NOON + 10)
    assert not store.register.remove_tablet("id3", "Bo", NOON + 10)
    gone = tablet(1, removed_at=NOON + 9, removed_by="Ines")
    for held in and_again(store, reopen):
        assert held.register.tablets() == (gone, tablet(2, role=MANAGER))
        assert held.register.tablet_of("hash1") == gone


def test_the_last_contact_is_told_at_once_and_kept(reopen: Opener) -> None:
    store = reopen()
    store.register.add_tablet(tablet(1))
    store.register.note_contact("id1", NOON + 1, 77)
    store.register.note_contact("nobody", NOON + 1, 77)
    assert store.register.tablets() == (tablet(1, last_contact=NOON + 1, clock_offset=77),)
    store.register.note_contact("id1", NOON + 2, 78)
    assert store.register.tablets() == (tablet(1, last_contact=NOON + 2, clock_offset=78),)
    (kept,) = reopen().register.tablets()
    assert kept.last_contact >= NOON + 1


def pairing(secret: str, until: int = NOON + 1000) -> Pairing:
    return Pairing(secret_hash=secret, role=MANAGER, until=until)


def test_a_code_is_used_up_by_one_token_which_may_ask_again(reopen: Opener) -> None:
    store = reopen()
    store.register.open_pairing(pairing("s1"), "Ines", NOON)
    assert store.register.use_pairing("s1", "tok1", NOON, "10.0.0.1") == pairing("s1")
    store = reopen()
    assert store.register.use_pairing("s1", "tok2", NOON, "10.0.0.1") is None
    again = store.register.use_pairing("s1", "tok1", NOON, "10.0.0.1")
    assert again is not None
    assert again.role == MANAGER
    assert store.register.use_pairing("s1", "tok1", NOON + 1000, "10.0.0.1") is None


def test_a_wrong_secret_costs_every_open_code_a_try(reopen: Opener) -> None:
    store = reopen()
    for secret in ("s1", "s2"):
        store.register.open_pairing(pairing(secret), "Ines", NOON)
    for number in range(TRIES_A_CODE_HAS - 1):
        assert store.register.use_pairing("guess", "tok", NOON, f"10.0.1.{number}") is None
    store = reopen()
    assert store.register.use_pairing("s1", "tok", NOON, "10.0.0.1") is not None
    assert store.register.use_pairing("guess", "tok", NOON, "10.0.0.1") is None
    assert store.register.use_pairing("s2", "tok", NOON, "10.0.0.1") is None


def test_old_codes_are_forgotten_when_a_new_one_is_opened(store: Store) -> None:
    store.register.open_pairing(pairing("old", NOON), "Ines", NOON)
    store.register.open_pairing(pairing("new", NOON + 2 * DAY), "Ines", NOON)
    assert [one.secret_hash for one in store.register.pairings()] == ["new"]


def test_of_many_who_use_one_code_at_once_one_is_let_in(store: Store) -> None:
    store.register.open_pairing(attrs.evolve(pairing("s1"), tries=100), "Ines", NOON)
    found: list[Pairing | None] = []
    threads = [
        threading.Thread(
            target=lambda number=number: found.append(store.register.use_pairing("s1", f"t{number}", NOON, "10.0.0.1"))
        )
        for number in range(12)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(found) == 12
    assert sum(one is not None for one in found) == 1


def test_people_who_sign_in_are_added_and_changed(reopen: Opener) -> None:
    store = reopen()
    ines, bo = (WebUser(name=name, role=MANAGER, password_hash="x") for name in ("Ines", "Bo"))
    for user in (ines, bo, attrs.evolve(ines, password_hash="y")):
        store.register.put_user(user, "Ines", NOON)
    assert not store.register.put_user(attrs.evolve(ines, removed_at=NOON), "Bo", NOON, instead_of=ines)
    assert not store.register.put_user(WebUser(name="Al", role=MANAGER, password_hash="x"), "Bo", NOON, instead_of=ines)
    for held in and_again(store, reopen):
        assert set(held.register.users()) == {attrs.evolve(ines, password_hash="y"), bo}


def test_the_last_word_on_each_of_the_shops_own_plugins_stands(reopen: Opener) -> None:
    store = reopen()
    checks, paint = (
        ShopPlugin(name=name, sha256="0" * 64, approved_by="Ines", approved_at=NOON) for name in ("checks", "paint")
    )
    withdrawn = attrs.evolve(paint, withdrawn_at=NOON + 1, withdrawn_by="Bo")
    for plugin in (paint, checks, withdrawn):
        store.register.put_plugin(plugin)
    for held in and_again(store, reopen):
        assert held.register.plugins() == (checks, withdrawn)
