"""Few new entries among full hulls: only the hash buckets of a hull that differ are compared."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterable
from pathlib import Path

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.writers import entry_number
from garboard.disk.hullfile import HullFolder
from garboard.shop_link import wire
from garboard.shop_link.shop_line import ShopAway, ShopLine
from garboard.shop_link.sync import bring_ashore
from garboard_shop.app import Limits
from shop_rig import RunningShop, Wire, shop_and_tablets

HULLS = [f"ABC{number:05}A526" for number in range(20)]
ALIKE = 120
"""Entries of each hull that both sides hold."""
IDS = st.frozensets(st.text("0123456789abcdef", min_size=32, max_size=32), max_size=40)


def put(folder: HullFolder, numbers: Iterable[int]) -> int:
    """Entries of every hull; their bytes."""
    size, wanted = 0, list(numbers)
    with folder.batch():
        for hull in HULLS:
            made = [entry_number(number, hull) for number in wanted]
            folder.put_if_absent(hull, made)
            size += sum(len(one.raw) for one in made)
    return size


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What is asked of the shop."""
    paths: list[str] = []
    ask = ShopLine.ask

    def noted(line: ShopLine, method: str, path: str, *more: object, **fields: object):  # type: ignore[no-untyped-def]
        paths.append(path)
        return ask(line, method, path, *more, **fields)  # type: ignore[arg-type]

    monkeypatch.setattr(ShopLine, "ask", noted)
    return paths


def mark_of(ids: Iterable[str], first: str) -> str:
    """As PROTOCOL.md says: SHA-256 over the sorted ids of a sixteenth run together, its first four characters."""
    return hashlib.sha256("".join(sorted(name for name in ids if name[0] == first)).encode()).hexdigest()[:4]


@given(IDS, IDS, IDS)
def test_buckets_differ_where_their_digests_do(
    both: frozenset[str], mine: frozenset[str], theirs: frozenset[str]
) -> None:
    mine, theirs = both | mine, both | theirs
    assert wire.bucket_digests(mine) == "".join(mark_of(mine, first) for first in "0123456789abcdef")
    differing = wire.differing_buckets(wire.bucket_digests(mine), wire.bucket_digests(theirs))
    assert differing == "".join(first for first in "0123456789abcdef" if mark_of(mine, first) != mark_of(theirs, first))
    assert {name[0] for name in mine ^ theirs} >= {*differing}


def test_one_new_entry_a_hull_on_both_sides_costs_less_than_these_entries(tmp_path: Path, asked: list[str]) -> None:
    """Everything on the wire counted, TLS included, against the new entries' own bytes."""
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        put(folder, range(ALIKE))
        put(shop.hulls, range(ALIKE))
        new = put(folder, [1000]) + put(shop.hulls, [2000])
        with Wire(shop.port) as counted:
            report = bring_ashore(folder, attrs.evolve(paired, port=counted.port))
            assert (report.sent, report.received, report.equal) == (len(HULLS), len(HULLS), True)
            assert counted.passed < new
        assert asked.count("/v1/sixteenths") == 1


def test_a_full_day_and_small_hulls_are_brought_without_asking_about_buckets(tmp_path: Path, asked: list[str]) -> None:
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        put(folder, range(ALIKE))
        assert bring_ashore(folder, paired).equal
        day = entry_number(0, "XYZ00001A526")
        folder.put_if_absent(day.hull, [day])
        shop.hulls.put_if_absent(day.hull, [entry_number(1, day.hull)])
        assert bring_ashore(folder, paired).equal
        assert "/v1/sixteenths" not in asked


@pytest.mark.parametrize("digits", [0, 1, 2])
def test_buckets_with_one_digest_by_chance_are_told_apart_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, digits: int
) -> None:
    """With digests of no character all are alike, with one every sixteenth pair is."""
    monkeypatch.setattr("garboard.shop_link.wire.BUCKET_DIGEST_DIGITS", digits)
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        put(folder, range(ALIKE + 4))
        put(shop.hulls, [*range(ALIKE), *range(1000, 1004)])
        report = bring_ashore(folder, paired)
        assert (report.sent, report.received, report.equal) == (4 * len(HULLS), 4 * len(HULLS), True)


@pytest.mark.parametrize("seed", range(4))
def test_whatever_each_side_lacks_both_hold_the_same_in_the_end(tmp_path: Path, seed: int) -> None:
    """Hulls of every size and difference, and answers too small for what is missing."""
    chance = random.Random(seed)
    with RunningShop(tmp_path / "shop", Limits(answer=4000)) as shop, HullFolder(tmp_path / "tablet") as folder:
        held: dict[str, set[str]] = {}
        for hull in HULLS[:8]:
            made = [entry_number(number, hull) for number in range(chance.choice([3, 60, 150, 300]))]
            few = chance.choice([0.005, 0.03, 0.5])
            sides = [[one for one in made if chance.random() > few] for _ in range(2)]
            for side, kept in zip((folder, shop.hulls), sides, strict=True):
                side.put_if_absent(hull, kept)
            held[hull] = {one.id for side in sides for one in side}
        report = bring_ashore(folder, shop.paired())
        assert report.equal
        for hull, ids in held.items():
            assert folder.ids(hull) == shop.store.ids(hull) == ids


def test_buckets_of_a_large_hull_come_in_as_many_answers_as_they_need(tmp_path: Path, asked: list[str]) -> None:
    """What an answer has no room for is asked for again, in the same buckets."""
    with RunningShop(tmp_path / "shop", Limits(answer=1000)) as shop, HullFolder(tmp_path / "tablet") as folder:
        made = [entry_number(number, HULLS[0]) for number in range(600)]
        folder.put_if_absent(HULLS[0], made[:590])
        shop.hulls.put_if_absent(HULLS[0], made)
        report = bring_ashore(folder, shop.paired())
        assert (report.received, report.equal) == (10, True)
        assert asked.count("/v1/sixteenths") == 1
        assert asked.count("/v1/diff") > 1


def test_cut_anywhere_while_buckets_are_compared_the_next_time_ends_equal(tmp_path: Path) -> None:
    """Each time one new entry a hull on both sides, and the connection cut a little later than the time before."""
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        put(folder, range(ALIKE))
        put(shop.hulls, range(ALIKE))
        interrupted = 0
        for number, cut in enumerate(range(1200, 9000, 260)):
            put(folder, [1000 + number])
            put(shop.hulls, [2000 + number])
            with Wire(shop.port, cut) as cutting:
                try:
                    bring_ashore(folder, attrs.evolve(paired, port=cutting.port))
                except ShopAway:
                    interrupted += 1
            assert bring_ashore(folder, paired).equal
            assert folder.digests() == shop.hulls.digests()
        assert interrupted > 20
