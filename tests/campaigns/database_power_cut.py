"""Cut the power under the database a shop is kept in: nothing the shop called saved may be missing.

The database's folder lies on a file system in an image file. At a random moment its server and the shop's writers are
killed and the image is copied: what was never flushed is not in the copy, as after a power cut. The copy takes the
image's place, the database recovers on it, everything called saved so far is looked for and put once more, and the
work goes on there. Needs root and loop devices.

Run:  python tests/campaigns/database_power_cut.py --cuts 30
"""

from __future__ import annotations

import argparse
import functools
import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import closing, suppress
from pathlib import Path
from types import TracebackType

import attrs
import psycopg

sys.path.insert(0, str(Path(__file__).parents[1]))

import postgres_cluster
from campaigns import power_cut, writers
from garboard.disk.hullfile import CheckedEntries
from garboard_shop.postgres import PostgresStore
from postgres_cluster import Cluster

IMAGE_BYTES = 400 * 1024 * 1024
WRITERS = 3
"""So long the writers may take to begin [s]."""
NOON = 1_778_752_800_000
AS_IT_COMES = {"max_wal_size": "64MB", "min_wal_size": "32MB"}
FLUSHES_LATER = {**AS_IT_COMES, "synchronous_commit": "off", "wal_writer_delay": "10s", "wal_writer_flush_after": "1GB"}
"""A server set up to answer before anything is on the disk; the shop has to ask for more than that."""


@attrs.define
class Tally:
    """What a campaign counted."""

    name: str
    seed: int
    cuts: int = 0
    saved: int = 0
    lost: int = 0
    added_again: int = 0
    not_started: int = 0

    @property
    def is_good(self) -> bool:
        return self.saved > 0 and not (self.lost or self.added_again or self.not_started)

    def __str__(self) -> str:
        return (
            f"{self.name}: {self.cuts} power cuts, {self.saved} called saved, {self.lost} lost, "
            f"{self.added_again} new when put again, {self.not_started} times the database did not start "
            f"(seed {self.seed})"
        )


def why_not_here() -> str:
    """Why no database's power can be cut on this machine; empty when it can."""
    return postgres_cluster.why_not_here() or power_cut.why_not_here()


class ClusterOnDisk(Cluster):
    """A database server whose data is on a file system in an image file."""

    def __init__(self, settings: dict[str, str], where: Path) -> None:
        self._where = where
        self._disk = Path(tempfile.mkdtemp(prefix="gb-disk-", dir="/tmp"))
        self._disk.chmod(0o755)
        self._image = power_cut.new_image(where, IMAGE_BYTES)
        self._mount()
        self._disk.chmod(0o777)  # the server runs as a user of its own
        super().__init__(settings)

    @property
    def data(self) -> Path:
        return self._disk / "data"

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        super().__exit__(kind, error, trace)
        self._unmount()
        self._disk.rmdir()
        self._image.unlink()

    def flush(self) -> None:
        """Everything so far is on the disk."""
        subprocess.run(["sync", "--file-system", self._disk], check=True, capture_output=True)

    def cut_power(self) -> None:
        """Stop it at this moment, and lose what is only in the machine's memory."""
        self.kill()
        after_the_cut = self._where / "after_the_cut.img"
        subprocess.run(["cp", "--sparse=always", self._image, after_the_cut], check=True, capture_output=True)
        self._unmount()
        after_the_cut.replace(self._image)
        self._mount()
        (self.data / "postmaster.pid").unlink(missing_ok=True)  # no process outlives a power cut
        (self.data / "postgresql.auto.conf").write_text("")  # where `put_without_flushing` switched flushing off

    def _mount(self) -> None:
        """The journal is written when someone asks for it, not by the clock while the image is being copied."""
        options = ("-o", "loop,commit=3600")
        subprocess.run(["mount", *options, self._image, self._disk], check=True, capture_output=True)

    def _unmount(self) -> None:
        subprocess.run(["umount", "--lazy", self._disk], check=True, capture_output=True)


def cut_while_putting(cuts: int, seed: int, where: Path, settings: dict[str, str] | None = None) -> Tally:
    """Cut the power under writers that put entries and attachments into the shop's store, again and again."""
    name = "flushed later by the server's settings" if settings else "as it comes"
    return _campaign(Tally(name, seed), cuts, where, settings or AS_IT_COMES, put_without_pause)


def cut_without_flushing(seed: int, where: Path) -> Tally:
    """One cut with flushing switched off behind the store's back, to show that the campaign sees loss."""
    return _campaign(Tally("flushing switched off", seed), 1, where, AS_IT_COMES, put_without_flushing)


def put_without_pause(url: str, seed: float, saved: writers.Saved) -> None:
    """Put entries and attachments by several threads at once; report each when the store has answered."""
    with closing(PostgresStore(url)) as store:
        _put_by_all(store, seed, saved)


def put_without_flushing(url: str, seed: float, saved: writers.Saved) -> None:
    """The same on a server that is told to flush nothing once the store has been opened, which would refuse it."""
    with closing(PostgresStore(url)) as store:
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("alter system set fsync = off")
            connection.execute("select pg_reload_conf()")
            while connection.execute("show fsync").fetchone() != ("off",):
                time.sleep(0.01)
        _put_by_all(store, seed, saved)


def _put_by_all(store: PostgresStore, seed: float, saved: writers.Saved) -> None:
    with ThreadPoolExecutor(WRITERS) as pool:
        working = [
            pool.submit(_put, store, f"tablet {number}", random.Random(seed + number), saved)
            for number in range(WRITERS)
        ]
        for ended in as_completed(working):
            ended.result()


def _put(store: PostgresStore, tablet: str, rng: random.Random, saved: writers.Saved) -> None:
    while True:
        if rng.random() < 0.05:
            content = rng.randbytes(rng.choice([10, 5_000, 200_000]))
            name, half = hashlib.sha256(content).hexdigest(), len(content) // 2
            store.attachments.add(name, 0, content[:half], len(content))
            if store.attachments.add(name, half, content[half:], len(content)) == len(content):
                saved(writers.ATTACHMENT + name)
            continue
        notes = [f"{rng.randrange(1 << 40)} {rng.choice(writers.HULLS)}" for _ in range(rng.randint(1, 20))]
        if store.put_if_absent(_by_hull(notes), tablet, NOON, 0).refused:
            raise RuntimeError("the store refused an entry")
        for note in notes:
            saved(note)


def _by_hull(notes: Iterable[str]) -> dict[str, CheckedEntries]:
    """The entries that notes such as "17 ABC00001A526" stand for."""
    made: dict[str, CheckedEntries] = {}
    for note in notes:
        number, hull = note.split()
        entry = writers.entry_number(int(number), hull)
        made.setdefault(hull, CheckedEntries())[entry.id] = entry.raw
    return made


def _campaign(
    tally: Tally, cuts: int, where: Path, settings: dict[str, str], work: Callable[[str, float, writers.Saved], None]
) -> Tally:
    rng = random.Random(tally.seed)
    called_saved: set[str] = set()
    where = Path(tempfile.mkdtemp(dir=where))
    with ClusterOnDisk(settings, where) as cluster:
        url = cluster.database()
        PostgresStore(url).close()
        cluster.flush()
        while tally.cuts < cuts:
            notebook = where / f"called_saved_{tally.cuts}"
            child = writers.start(functools.partial(work, url, rng.random()), notebook)
            try:
                writers.wait_for_a_note(notebook)
                time.sleep(rng.uniform(0, 0.5))
            finally:
                _end(child)
            cluster.cut_power()
            called_saved |= set(writers.noted(notebook))
            tally.cuts += 1
            tally.saved = len(called_saved)
            try:
                cluster.start()
            except RuntimeError:
                tally.not_started += 1
                tally.lost += len(called_saved)
                break
            _look_for(called_saved, url, tally)
    return tally


def _end(child: int) -> None:
    if os.waitpid(child, os.WNOHANG) != (0, 0):
        raise RuntimeError("the writers ended by themselves; see their message above")
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def _look_for(called_saved: set[str], url: str, tally: Tally) -> None:
    """Count what is missing or not as it was, and what is new to the store when it is all put once more."""
    attachments = {
        note.removeprefix(writers.ATTACHMENT) for note in called_saved if note.startswith(writers.ATTACHMENT)
    }
    entries = _by_hull(note for note in called_saved if not note.startswith(writers.ATTACHMENT))
    with closing(PostgresStore(url)) as store:
        for hull, made in entries.items():
            held = store.get(hull, made)
            tally.lost += sum(held.get(name) != raw for name, raw in made.items())
        tally.lost += sum(not _is_whole(store, note.removeprefix(writers.ATTACHMENT)) for note in attachments)
        tally.added_again += len(store.put_if_absent(entries, "after the cut", NOON, 0).added)


def _is_whole(store: PostgresStore, name: str) -> bool:
    """Whether an attachment is there, and its bytes are those it is named after."""
    read = bytearray()
    with suppress(KeyError):
        while piece := store.attachments.read(name, len(read), 1 << 20):
            read += piece
    return hashlib.sha256(read).hexdigest() == name


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--cuts", type=int, default=30, help="a third of them on a server set up to flush later")
    options.add_argument("--seed", type=int, default=20260514)
    chosen = options.parse_args()
    if reason := why_not_here():
        print(f"power cuts under a database: not done, {reason}")
        return 2
    with tempfile.TemporaryDirectory() as where:
        later = chosen.cuts // 3
        usual = cut_while_putting(chosen.cuts - later, chosen.seed, Path(where))
        careless = cut_while_putting(later, chosen.seed, Path(where), FLUSHES_LATER)
        control = cut_without_flushing(chosen.seed, Path(where))
    print(usual, careless, control, sep="\n")
    return int(not usual.is_good or not careless.is_good or not control.lost)


if __name__ == "__main__":
    sys.exit(main())
