"""Cut a small sync at every byte that passes, both ways: both sides stay good, and the next time finishes it.

Run:  python tests/campaigns/cut_campaign.py --long
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path
from unittest import mock

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.writers import entry_number
from garboard.disk.hullfile import HullFolder
from garboard.shop_link import sync
from garboard.shop_link.pairing import PairedShop
from garboard_shop.embedded import EmbeddedStore
from shop_rig import RunningShop, Wire

HULLS = ("ABC00001A526", "XYZHJKLMF626")
OURS = {hull: [entry_number(number, hull) for number in range(3)] for hull in HULLS}
THEIRS = {hull: [entry_number(number, hull, "tablet-08") for number in range(2, 5)] for hull in HULLS}
OUR_RUN, THEIR_RUN = b"a run of ours" * 20, b"a run of theirs" * 20


@attrs.define
class Tally:
    """What a campaign counted.

    cuts   : syncs cut
    ended  : how many of them had ended for the tablet before the cut
    wrong  : what was on either side after the cut and was never written, or was damaged
    undone : syncs not finished by the next one
    """

    cuts: int = 0
    ended: int = 0
    wrong: int = 0
    undone: int = 0
    bytes: int = 0

    def __str__(self) -> str:
        return (
            f"cut at {self.cuts} places of {self.bytes} bytes: {self.ended} had ended before, "
            f"{self.wrong} left something wrong, {self.undone} not finished by the next sync"
        )


def cut_everywhere(where: Path, every: int = 1) -> Tally:
    """Cut one sync after each number of bytes that is a multiple of `every`. Nobody cuts the power meanwhile, so the
    disk is not asked to flush."""
    tally = Tally()
    with mock.patch("os.fsync"), RunningShop(where / "register") as shop:
        paired = shop.paired()
        cut = 0
        while not tally.bytes or cut <= tally.bytes:
            place = Path(tempfile.mkdtemp(dir=where))
            tally.bytes = max(tally.bytes, _cut_once(place, shop, paired, cut, tally))
            cut += every
    return tally


def _cut_once(place: Path, shop: RunningShop, paired: PairedShop, cut: int, tally: Tally) -> int:
    """Cut one sync, look at both sides, sync again; the bytes a whole sync needs, once one came through."""
    store = EmbeddedStore(place / "shop")
    with HullFolder(place / "tablet") as tablet:
        for hull in HULLS:
            tablet.put_if_absent(hull, OURS[hull])
            store.hulls.put_if_absent(hull, THEIRS[hull])
        tablet.attachments.put(OUR_RUN)
        store.hulls.attachments.put(THEIR_RUN)
        shop.use(store)
        with Wire(shop.port, cut) as wire:
            whole = 0
            try:
                if sync.bring_ashore(tablet, attrs.evolve(paired, port=wire.port)).equal:
                    whole, tally.ended = wire.passed, tally.ended + 1
            except sync.ShopAway:
                tally.cuts += 1
    _look_at(place / "tablet", OURS, tally)
    shop.use(EmbeddedStore(place / "aside"))
    _look_at(place / "shop", THEIRS, tally)
    shop.use(EmbeddedStore(place / "shop"))
    with HullFolder(place / "tablet") as tablet:
        report = sync.bring_ashore(tablet, paired)
        everything = all(tablet.ids(hull) == {entry.id for entry in (*OURS[hull], *THEIRS[hull])} for hull in HULLS)
        attachments = tablet.attachments.names() == frozenset(shop.store.attachments.sizes())
        tally.undone += not (report.equal and everything and attachments and len(tablet.attachments.names()) == 2)
    return whole


def _look_at(folder: Path, before: dict[str, list], tally: Tally) -> None:  # type: ignore[type-arg]
    """A side after a cut, opened anew: what it had is there, and nothing that neither side ever wrote."""
    with HullFolder(folder) as hulls:
        for hull in HULLS:
            written = {entry.id: entry.raw for entry in (*OURS[hull], *THEIRS[hull])}
            held = hulls.get(hull)
            tally.wrong += not ({entry.id for entry in before[hull]} <= held.keys() <= written.keys())
            tally.wrong += any(written.get(name) != raw for name, raw in held.items())
        tally.wrong += any(
            hulls.attachments.get(name) not in (OUR_RUN, THEIR_RUN) for name in hulls.attachments.names()
        )
        tally.wrong += len(hulls.damage())


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--long", action="store_true", help="cut at every byte, not at every 7th")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as where:
        tally = cut_everywhere(Path(where), 1 if chosen.long else 7)
    print(tally)
    return int(bool(tally.wrong or tally.undone))


if __name__ == "__main__":
    sys.exit(main())
