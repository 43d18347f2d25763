"""Promises 3, 4, 6 and 7 once more, with a shop server and the network between.

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
from garboard.clock import Stamp
from garboard.entries import Entry, canonical_bytes, make_entry, read_entry
from garboard.fold import fold
from garboard.hullfile import HullFolder
from garboard.merge import state_digest
from garboard.pairing import PairedShop
from garboard.sync import bring_ashore
from histories import DAY, HULL, history, union
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


@pytest.mark.parametrize("seed", SEEDS)
def test_p3_any_order_and_any_repetition_of_coming_ashore_gives_the_same(tmp_path: Path, seed: int) -> None:
    """Against the plain union and its fold, made without any network."""
    chance = random.Random(seed)
    digests = set()
    for run in range(3):
        with yard(tmp_path / str(run), seed) as (shop, tablets, everything):
            for folder, paired in chance.choices(tablets, k=5) + tablets + tablets[:-1]:
                bring_ashore(folder, paired)
            assert shop.store.ids(HULL) == everything.keys()
            assert all(folder.ids(HULL) == everything.keys() for folder, _ in tablets)
            digests |= {state_digest(folder, HULL) for folder in (shop.store.hulls, *(one for one, _ in tablets))}
    assert len(digests) == 1, f"seed {seed}"
    by_hand = canonical_bytes(fold(HULL, everything.values()).summary())
    assert canonical_bytes(fold(HULL, shop_entries(tmp_path / "0")).summary()) == by_hand


def shop_entries(where: Path) -> tuple[Entry, ...]:
    with HullFolder(where / "shop", read_only=True) as hulls:
        return hulls.entries(HULL)


@pytest.mark.parametrize("seed", SEEDS)
def test_p4_every_value_a_person_entered_stands_or_was_replaced_by_someone_who_saw_it(
    tmp_path: Path, seed: int
) -> None:
    """At the shop after everyone came ashore: each entry is a head of its slot, or some entry names it as replaced."""
    with yard(tmp_path, seed) as (shop, tablets, everything):
        for folder, paired in tablets:
            bring_ashore(folder, paired)
        state = fold(HULL, shop.store.hulls.entries(HULL))
        heads = {name for slot in state.slots.values() for name in slot.head_ids}
        replaced = {name for entry in everything.values() for name in entry.replaces}
        known = {name for slot in state.slots.values() for name in slot.entries}
        assert known <= everything.keys()
        assert known - heads - replaced == set()
        assert len(known) + len(state.unknown) == len(everything)


@pytest.mark.parametrize("ahead", [DAY, -DAY])
def test_p5_a_shop_whose_clock_is_a_day_off_changes_nothing(tmp_path: Path, ahead: int) -> None:
    states = set()
    for run, offset in enumerate((0, ahead)):
        with yard(tmp_path / str(run), 7) as (shop, tablets, _):
            shop.clock_ahead = offset
            for folder, paired in tablets:
                bring_ashore(folder, paired)
            states.add((shop.store.hulls.digests()[HULL], state_digest(shop.store.hulls, HULL)))
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
        assert dict(shop.store.hulls.get(HULL)) == dict(two.get(HULL))


def test_p7_a_connection_cut_at_any_byte_leaves_both_sides_good_and_the_next_time_finishes(tmp_path: Path) -> None:
    """Every 7th byte of a sync both ways with an attachment each way; the campaign's long form cuts at every one."""
    tally = cut_campaign.cut_everywhere(tmp_path, every=7)
    assert tally.cuts > 500
    assert tally.ended >= 1
    assert (tally.wrong, tally.undone) == (0, 0), tally


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing a child at a random moment needs fork")
def test_p7_server_and_tablets_killed_at_random_lose_nothing_and_end_equal(tmp_path: Path) -> None:
    """A short run of the campaign: real processes, real TLS, SIGKILL, old copies put back, clones."""
    tally = sync_campaign.campaign(5, 20260514, tmp_path)
    assert tally.saved > 20
    assert tally.tablet_kills == 15
    assert tally.is_good, tally
