"""Kill the shop server and its database at random while tablets come ashore: what was called ashore stays.

Real processes, real TLS on loopback, SIGKILL of the server, of every process of the database, or of both at once. With
--spread the shop lies on two database servers behind a third, and one of the three is killed.

Run:  python tests/campaigns/database_kills.py --rounds 100 [--spread]
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.sync_campaign import Server
from campaigns.writers import HULLS, entry_number
from garboard.disk.hullfile import HullFolder
from garboard.shop_link import sync
from garboard.shop_link.pairing import PairedShop
from garboard.shop_link.sync import ShopAway, ShopRefused, bring_ashore
from garboard_shop.postgres import PostgresStore
from postgres_cluster import Cluster, Servers, SpreadClusters, why_not_here, why_not_spread

TABLETS = 3
STORE = "GARBOARD_SHOP_STORE"


@attrs.define
class Tally:
    """What a campaign counted."""

    seed: int
    rounds: int = 0
    server_kills: int = 0
    database_kills: int = 0
    came_ashore: int = 0
    cut: int = 0
    ashore: int = 0
    lost: int = 0
    unequal: int = 0

    @property
    def is_good(self) -> bool:
        return not (self.lost or self.unequal)

    def __str__(self) -> str:
        return (
            f"{self.rounds} rounds: {self.server_kills} server kills, {self.database_kills} database kills, "
            f"{self.came_ashore} syncs ended and {self.cut} cut, {self.ashore} entries called ashore, "
            f"{self.lost} lost, {self.unequal} unequal in the end (seed {self.seed})"
        )


@attrs.define
class Boatyard:
    """A shop server over a database, and tablets with what was called ashore of theirs."""

    cluster: Servers
    server: Server
    tablets: list[tuple[HullFolder, PairedShop]]
    tally: Tally
    ashore: set[str] = attrs.field(factory=set)
    guard: threading.Lock = attrs.field(factory=threading.Lock)

    def come_ashore_until(self, stop: threading.Event, number: int, seed: int) -> None:
        """A tablet: save a few entries, bring them ashore, again and again."""
        rng = random.Random(seed)
        folder, paired = self.tablets[number]
        while not stop.is_set():
            new = {
                folder.save(entry_number(rng.randrange(1 << 40), rng.choice(HULLS))) for _ in range(rng.randint(1, 8))
            }
            try:
                bring_ashore(folder, paired)
            except (ShopAway, ShopRefused):
                self.tally.cut += 1
                time.sleep(0.1)  # the server is starting, and needs the processor
                continue
            with self.guard:
                self.tally.came_ashore += 1
                self.ashore |= new

    def _wait_until_one_came_ashore(self) -> None:
        before, end = self.tally.came_ashore, time.monotonic() + 120
        while self.tally.came_ashore == before:
            if time.monotonic() > end:
                raise RuntimeError("no tablet comes ashore although server and database are there")
            time.sleep(0.005)

    def round(self, rng: random.Random) -> None:
        """Tablets at work, then a kill, then all is started again."""
        stop = threading.Event()
        threads = [
            threading.Thread(target=self.come_ashore_until, args=(stop, number, rng.randrange(1 << 30)))
            for number in range(TABLETS)
        ]
        for thread in threads:
            thread.start()
        if not self.tally.rounds % 2:  # on a busy machine none may come ashore before the kill
            self._wait_until_one_came_ashore()
        time.sleep(rng.choice((0.1, 0.5, 1.5)) * rng.random())
        kill = rng.choice(("server", "database", "both"))
        database = rng.choice(self.cluster.all) if isinstance(self.cluster, SpreadClusters) else self.cluster
        if kill != "server":
            database.kill()
            self.tally.database_kills += 1
        if kill != "database":
            self.server.kill()
            self.tally.server_kills += 1
        if kill != "server":
            database.start()
        if kill != "database":
            self.server.start()
        stop.set()
        for thread in threads:
            thread.join(120)
        if any(thread.is_alive() for thread in threads):
            raise RuntimeError("a tablet hangs although server and database are back")
        self.tally.rounds += 1


@contextmanager
def boatyard(where: Path, tally: Tally, servers: type[Servers]) -> Iterator[Boatyard]:
    before = os.environ.get(STORE)
    with servers() as cluster:
        os.environ[STORE] = cluster.database()
        server = Server(where / "office", forked=True)
        try:
            codes = [server.start(), *(server.new_code() for _ in range(TABLETS - 1))]
            tablets = [
                (HullFolder(where / f"tablet{number}"), sync.pair(code, f"tablet {number}"))
                for number, code in enumerate(codes)
            ]
            yield Boatyard(cluster, server, tablets, tally)
            for folder, _ in tablets:
                folder.close()
        finally:
            if server.is_running:
                server.kill()
            del os.environ[STORE]
            if before is not None:
                os.environ[STORE] = before


def campaign(rounds: int, seed: int, where: Path, servers: type[Servers] = Cluster) -> Tally:
    """So many rounds, then everyone comes ashore in peace and all is compared."""
    tally, rng = Tally(seed), random.Random(seed)
    with boatyard(where, tally, servers) as yard:
        for _ in range(rounds):
            yard.round(rng)
        for folder, paired in [*yard.tablets, *yard.tablets]:
            bring_ashore(folder, paired)
        tally.ashore = len(yard.ashore)
        with closing(PostgresStore(os.environ[STORE])) as store:
            held = {hull: store.ids(hull) for hull in store.digests()}
            tally.lost = len(yard.ashore - frozenset[str]().union(*held.values()))
            digests = {hull: holding.digest for hull, holding in store.digests().items()}
            tally.unequal = sum(folder.digests() != digests for folder, _ in yard.tablets)
            tally.unequal += sum(len(names) != store.digests()[hull].entries for hull, names in held.items())
    return tally


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rounds", type=int, default=100)
    options.add_argument("--seed", type=int, default=20260514)
    options.add_argument("--spread", action="store_true")
    chosen = options.parse_args()
    if reason := why_not_spread() if chosen.spread else why_not_here():
        print(reason)
        return 1
    with tempfile.TemporaryDirectory() as where:
        tally = campaign(chosen.rounds, chosen.seed, Path(where), SpreadClusters if chosen.spread else Cluster)
    print(tally)
    return int(not tally.is_good)


if __name__ == "__main__":
    sys.exit(main())
