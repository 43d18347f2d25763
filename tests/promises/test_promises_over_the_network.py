"""Promises 2 to 7 once more, with a shop server and the network between.

Promise 1 is in 7: what was called ashore is there after every kill. Promise 8 is about the network from the start.
Promises 9 and 10, what a verdict names and who imports whom, are the same with a network or without one.

The long campaigns:
python tests/campaigns/cut_campaign.py --long
python tests/campaigns/sync_campaign.py --rounds 200
"""

from __future__ import annotations

import contextlib
import os
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from campaigns import cut_campaign, sync_campaign
from campaigns.writers import entry_number
from examples import every
from garboard.disk import journal
from garboard.disk.clock import Stamp, wall_milliseconds
from garboard.disk.entries import Entry, canonical_bytes, make_entry, read_entry
from garboard.disk.hullfile import HullFolder
from garboard.history.merge import state_digest
from garboard.history.replay import replay
from garboard.shop_link.pairing import PairedShop
from garboard.shop_link.sync import bring_ashore
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.store import Store
from histories import DAY, HULL, JOBS, Tablet, history, union, with_other_clocks
from promises.test_promise_05_no_clock_decides import decided, values_in
from shop_rig import RunningShop, shop_and_tablets

SEEDS = (1, 7, 20260514)


@contextlib.contextmanager
def yard(where: Path, seed: int) -> Iterator[tuple[RunningShop, list[tuple[HullFolder, PairedShop]], dict[str, Entry]]]:
    """A shop, and the three tablets of a random history, each with what it holds; and everything anyone holds."""
    tablets = history(seed)
    with shop_and_tablets(where, len(tablets)) as (shop, paired):
        for one, (folder, _) in zip(tablets, paired, strict=True):
            folder.put_if_absent(HULL, list(one.held.values()))
        yield shop, paired, union(tablets)


@pytest.mark.parametrize("harm", ["cut", "flip"])
def test_p2_damage_to_the_shops_file_is_set_aside_and_healed_by_the_next_sync(tmp_path: Path, harm: str) -> None:
    """Cut, or one bit flipped, in many places: the file as found is kept, and what it lost comes from the tablet."""
    ours = [entry_number(number, HULL) for number in range(4)]
    file = Path("hulls") / journal.file_name(HULL)
    sound = journal.heading(HULL) + b"".join(b"%b %b\n" % (entry.id.encode(), entry.raw) for entry in ours)
    lost = 0
    with RunningShop(tmp_path / "register") as shop, HullFolder(tmp_path / "tablet") as tablet:
        paired = shop.paired()
        tablet.put_if_absent(HULL, ours)
        for place in range(0, len(sound), 61):
            damaged = sound[:place] if harm == "cut" else sound[:place] + bytes([sound[place] ^ 4]) + sound[place + 1 :]
            path = tmp_path / str(place) / file
            path.parent.mkdir(parents=True)
            path.write_bytes(damaged)
            store = EmbeddedStore(tmp_path / str(place))
            shop.use(store)
            report = bring_ashore(tablet, paired)
            lost += report.sent
            assert (report.equal, report.received) == (True, 0)
            assert dict(store.hulls.get(HULL)) == {entry.id: entry.raw for entry in ours}
            set_aside = [found.read_bytes() for found in path.parent.glob("*.damaged-*")]
            looks_sound = harm == "cut" and damaged.endswith(b"\n")
            assert set_aside == ([] if looks_sound else [damaged]), place
            assert len(store.hulls.damage()) == len(set_aside)
            reading = journal.read(path.read_bytes())
            assert (reading.is_sound, len(reading.entries)) == (True, 4)
    assert lost > 10


@pytest.mark.parametrize("seed", SEEDS)
def test_p3_any_order_and_any_repetition_of_coming_ashore_gives_the_same(tmp_path: Path, seed: int) -> None:
    """Against the plain union and its state, made without any network."""
    chance = random.Random(seed)
    digests = set()
    for run in range(3):
        with yard(tmp_path / str(run), seed) as (shop, tablets, everything):
            for folder, paired in chance.choices(tablets, k=5) + tablets + tablets[:-1]:
                bring_ashore(folder, paired)
            assert shop.store.ids(HULL) == everything.keys()
            assert all(folder.ids(HULL) == everything.keys() for folder, _ in tablets)
            digests |= {state_digest(folder, HULL) for folder in (shop.hulls, *(one for one, _ in tablets))}
    assert len(digests) == 1, f"seed {seed}"
    by_hand = canonical_bytes(replay(HULL, everything.values()).summary())
    assert canonical_bytes(replay(HULL, shop_entries(tmp_path / "0")).summary()) == by_hand


def shop_entries(where: Path) -> tuple[Entry, ...]:
    with HullFolder(where / "shop", read_only=True) as hulls:
        return hulls.entries(HULL)


def check_everything_stands_or_was_seen(store: Store, everything: dict[str, Entry]) -> None:
    """At the shop after everyone came ashore: each entry is a head, or another names it as replaced."""
    state = replay(HULL, [read_entry(raw) for raw in store.get(HULL, store.ids(HULL)).values()])
    heads = {name for register in state.registers.values() for name in register.head_ids}
    replaced = {name for entry in everything.values() for name in entry.replaces}
    known = {name for register in state.registers.values() for name in register.entries}
    assert known <= everything.keys()
    assert known - heads - replaced == set()
    assert len(known) + len(state.unknown) == len(everything)


@pytest.mark.parametrize("seed", SEEDS)
def test_p4_every_value_a_person_entered_stands_or_was_replaced_by_someone_who_saw_it(
    tmp_path: Path, seed: int
) -> None:
    with yard(tmp_path, seed) as (shop, tablets, everything):
        for folder, paired in tablets:
            bring_ashore(folder, paired)
        check_everything_stands_or_was_seen(shop.store, everything)


def check_no_clock_decides(
    store: Store, paired: list[tuple[HullFolder, PairedShop]], told: list[Tablet], seed: int
) -> None:
    """The tablets tell the same facts by other clocks, months off, and the clocks they come ashore with are days off.

    Against the state of the history as it was told first, made without any network.
    """
    chance = random.Random(seed)
    everything = union(told)
    again = with_other_clocks(everything, chance)
    for one, (folder, _) in zip(told, paired, strict=True):
        folder.put_if_absent(HULL, [again[name] for name in one.held])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "garboard.shop_link.shop_line.wall_milliseconds", lambda: wall_milliseconds() + chance.randint(-9, 9) * DAY
        )
        for folder, pairing in [*paired, *paired[:-1]]:
            bring_ashore(folder, pairing)
    assert {one.clock_offset // DAY for one in store.register.tablets()} != {0}, "the shop heard no scrambled clock"
    first = replay(HULL, [read_entry(entry.raw) for entry in everything.values()])
    by_first_clocks = decided(first, {name: name for name in everything})
    names = {entry.id: name for name, entry in again.items()}
    for held in (store.get(HULL, store.ids(HULL)), *(folder.get(HULL) for folder, _ in paired)):
        state = replay(HULL, [read_entry(raw) for raw in held.values()])
        assert decided(state, names) == by_first_clocks, f"seed {seed}"
        assert values_in(state) == values_in(first), f"seed {seed}"


@pytest.mark.parametrize("seed", SEEDS)
def test_p5_tablets_whose_clocks_are_days_off_leave_the_same_heads_and_disagreements_at_the_shop(
    tmp_path: Path, seed: int
) -> None:
    told = history(seed)
    with shop_and_tablets(tmp_path, len(told)) as (shop, paired):
        check_no_clock_decides(shop.store, paired, told, seed)


def test_p5_the_histories_that_come_ashore_here_do_disagree() -> None:
    states = [replay(HULL, union(history(seed)).values()) for seed in SEEDS]
    assert all(any(state.disagreements(job) for job in JOBS) for state in states)


@pytest.mark.parametrize("ahead", [DAY, -DAY])
def test_p5_a_shop_whose_clock_is_a_day_off_changes_nothing(tmp_path: Path, ahead: int) -> None:
    states = set()
    for run, offset in enumerate((0, ahead)):
        with yard(tmp_path / str(run), 7) as (shop, tablets, _):
            shop.clock_ahead = offset
            for folder, paired in tablets:
                bring_ashore(folder, paired)
            states.add((shop.hulls.digests()[HULL], state_digest(shop.hulls, HULL)))
    assert len(states) == 1


def test_p6_what_nobody_here_understands_crosses_the_network_byte_for_byte(tmp_path: Path) -> None:
    """From a tablet through the shop to another tablet: an unknown kind, a newer format, further fields."""
    strange = [
        make_entry(
            "shop_paint", HULL, dev="t", by="Ines", clock=Stamp(1, 0), at="2026-05-14T12:00:00+02:00", value={"a": [1]},
            more={"x_gloss": "87 \u00e9 \U0001f6a4"}, plugins={"shop_paint": "3"},
        ),
        read_entry(canonical_bytes({"v": 99, "kind": "later", "hull": HULL, "anything": {"deep": [None, True]}})),
    ]  # fmt: skip
    with shop_and_tablets(tmp_path, 2) as (shop, [(one, first), (two, second)]):
        one.put_if_absent(HULL, strange)
        bring_ashore(one, first)
        report = bring_ashore(two, second)
        assert (report.received, report.not_kept) == (2, ())
        assert dict(two.get(HULL)) == {entry.id: entry.raw for entry in strange}
        assert dict(shop.hulls.get(HULL)) == dict(two.get(HULL))


def test_p7_a_connection_cut_at_any_byte_leaves_both_sides_good_and_the_next_time_finishes(tmp_path: Path) -> None:
    """Every 21st byte of a sync both ways with an attachment each way: in each record of TLS at least once.

    None is shorter than 22 bytes: head, kind and seal (RFC 8446, 5.2). The campaign's long form cuts at every byte; the
    README's run at each third of those places: see `examples.every`.
    """
    tally = cut_campaign.cut_everywhere(tmp_path, every=every(21))
    assert tally.cuts > 100
    assert tally.ended >= 1
    assert (tally.wrong, tally.undone) == (0, 0), tally


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing a child at a random moment needs fork")
def test_p7_server_and_tablets_killed_at_random_lose_nothing_and_end_equal(tmp_path: Path) -> None:
    """A short run of the campaign: real processes, real TLS, SIGKILL, old copies put back, clones."""
    tally = sync_campaign.campaign(5, 20260514, tmp_path)
    assert tally.saved > 20
    assert tally.tablet_kills == 15
    assert tally.is_good, tally
