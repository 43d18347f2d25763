"""Kill the shop server and tablets at random while tablets come ashore; restore and clone some of them between.

Real processes, real TLS on loopback, SIGKILL. Nothing called saved may be missing on its tablet, nothing called
ashore may be missing at the shop, and once nobody is killed any more all hold the same.

Run:  python tests/campaigns/sync_campaign.py --rounds 200
"""

from __future__ import annotations

import argparse
import functools
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns import writers
from forked_program import ForkedProgram
from garboard.commands.cli import program
from garboard.disk.clock import wall_milliseconds
from garboard.disk.hullfile import HullFolder
from garboard.shop_link import pairing, sync
from garboard.shop_link.pairing import PairedShop
from histories import DAY

TABLETS = 3
ASHORE = "ashore "
SAVED_BEFORE = 5
"""So much one tablet at least has saved before the first is killed, round by round."""
BEFORE_IT_IS_SAVED = "cut off before it was saved"


@attrs.define
class Tally:
    """What a campaign counted."""

    seed: int
    rounds: int = 0
    server_kills: int = 0
    tablet_kills: int = 0
    restored_tablets: int = 0
    cloned_tablets: int = 0
    restored_shops: int = 0
    saved: int = 0
    ashore: int = 0
    gone_with_a_restore: int = 0
    lost: int = 0
    damaged: int = 0
    unequal: int = 0

    @property
    def is_good(self) -> bool:
        return not (self.lost or self.damaged or self.unequal)

    def __str__(self) -> str:
        return (
            f"{self.rounds} rounds: {self.server_kills} server kills, {self.tablet_kills} tablet kills, "
            f"{self.restored_tablets} tablets restored, {self.cloned_tablets} cloned, "
            f"{self.restored_shops} shops restored; {self.saved} called saved, {self.ashore} called ashore, "
            f"{self.gone_with_a_restore} only ever on what a restore threw away, {self.lost} lost, "
            f"{self.damaged} files damaged, {self.unequal} unequal in the end (seed {self.seed})"
        )


class Server:
    """`garboard shop` as a process of its own, where it is about noon: what comes ashore stays today's.

    forked : off a process that holds the program, so that it need not be loaded at each start
    """

    def __init__(self, folder: Path, *, forked: bool = False) -> None:
        self.folder = folder
        self._zone = f"NOON{time.gmtime().tm_hour - 12:+d}"
        self.port = 0
        self.first_code = ""
        self._forked = forked
        self._process: subprocess.Popen[str] | ForkedProgram | None = None

    def start(self) -> str:
        """Start, or start again at the same port; the first pairing code."""
        arguments = ["shop", "--host", "127.0.0.1", "--port", str(self.port), "--folder", str(self.folder)]
        self._process = self._begin([*arguments, "--no-announce"], {**os.environ, "TZ": self._zone})
        assert self._process.stdout is not None
        for line in self._process.stdout:
            if line.startswith("    127.0.0.1:"):
                code = line.strip()
                self.port = pairing.read_code(code).port
                return code
        raise RuntimeError("the shop server ended before it printed a code; see its message above")

    def _begin(self, arguments: list[str], environment: dict[str, str]) -> subprocess.Popen[str] | ForkedProgram:
        if self._forked:
            return ForkedProgram(arguments, environment)
        command = [sys.executable, "-m", "garboard", *arguments]
        return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)

    def new_code(self) -> str:
        """A further code, from the command that gives one while the server runs."""
        asked = ["shop-tablets", "pair", "--folder", str(self.folder)]
        told = CliRunner().invoke(program, asked, catch_exceptions=False).stdout
        return next(line.strip() for line in told.splitlines() if line.startswith("    127.0.0.1:"))

    def kill(self) -> bool:
        """Kill it; False when it is not running."""
        if self._process is None:
            return False
        if self._process.poll() is not None:
            raise RuntimeError(f"the shop server ended by itself with {self._process.poll()}")
        self._process.kill()
        self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._process = None
        return True

    @property
    def process(self) -> int:
        """Its process number."""
        assert self._process is not None
        return self._process.pid

    @property
    def is_running(self) -> bool:
        return self._process is not None


@attrs.define
class Yard:
    """A shop and its tablets, with what each is known to have kept.

    saved  : by tablet, what it called saved and still must hold
    ashore : what some tablet called ashore and the shop still must hold
    """

    where: Path
    server: Server
    tally: Tally
    rng: random.Random
    tablets: list[Path]
    saved: list[set[str]]
    ashore: set[str] = attrs.field(factory=set)
    ever_saved: set[str] = attrs.field(factory=set)
    gone: set[str] = attrs.field(factory=set)


def campaign(rounds: int, seed: int, where: Path) -> Tally:
    """So many rounds of work, kills and mishaps; then peace, and the count."""
    tally, server = Tally(seed), Server(where / "shop", forked=True)
    tablets = [where / f"tablet{number}" for number in range(TABLETS)]
    yard = Yard(where, server, tally, random.Random(seed), tablets, [set() for _ in tablets])
    try:
        codes = [server.start(), *(server.new_code() for _ in tablets[1:])]
        for number, (folder, code) in enumerate(zip(tablets, codes, strict=True)):
            pairing.keep(folder, sync.pair(code, f"tablet {number}"))
            shutil.copytree(folder, _backup_of(folder))
        for _ in range(rounds):
            _round(yard)
            _mishap(yard)
        _peace(yard)
    finally:
        server.kill()
    tally.saved, tally.ashore, tally.gone_with_a_restore = len(yard.ever_saved), len(yard.ashore), len(yard.gone)
    return tally


def _round(yard: Yard) -> None:
    """Every tablet saves and comes ashore without pause; the server and the tablets are killed at random moments."""
    if not yard.server.is_running:
        yard.server.start()
    notebooks = [yard.where / f"notebook{number}" for number in range(TABLETS)]
    children = []
    for number, folder in enumerate(yard.tablets):
        notebooks[number].unlink(missing_ok=True)
        work = functools.partial(_save_and_come_ashore, folder, yard.rng.randrange(1 << 30), number == TABLETS - 1)
        children.append(writers.start(work, notebooks[number]))
    for _ in range(SAVED_BEFORE):  # a busy machine may let no tablet save anything before it is killed
        writers.wait_for_a_note(notebooks[0], notebooks[0].stat().st_size if notebooks[0].exists() else 0)
    victims: list[int | None] = [*children, None]  # None stands for the server
    yard.rng.shuffle(victims)
    for victim in victims:
        time.sleep(yard.rng.choice([0.02, 0.2, 0.5]) * yard.rng.random())
        if victim is not None:
            _kill(victim)
            yard.tally.tablet_kills += 1
        elif yard.rng.random() < 0.6:
            yard.tally.server_kills += yard.server.kill()
            if yard.rng.random() < 0.5:
                yard.server.start()
    yard.tally.rounds += 1
    for number, notebook in enumerate(notebooks):
        noted = set(writers.noted(notebook))
        saved = {name for name in noted if not name.startswith(ASHORE)}
        yard.saved[number] |= saved
        yard.ever_saved |= saved
        yard.ashore |= {name.removeprefix(ASHORE) for name in noted - saved}
    _check(yard)


def _save_and_come_ashore(folder: Path, seed: int, clock_a_day_off: bool, saved: writers.Saved) -> None:
    """What a tablet does all day, in a process of its own."""
    rng = random.Random(seed)
    if clock_a_day_off:
        pytest.MonkeyPatch().setattr(
            "garboard.shop_link.shop_line.wall_milliseconds", lambda: wall_milliseconds() + DAY
        )
    shop = _kept(folder)
    with HullFolder(folder) as hulls:
        while True:
            for _ in range(rng.randint(1, 30)):
                offset = DAY if clock_a_day_off else 0
                entry = writers.entry_number(rng.randrange(1 << 40) + offset, rng.choice(writers.HULLS))
                saved(hulls.save(entry))
            if rng.random() < 0.3:
                saved(writers.ATTACHMENT + hulls.attachments.put(rng.randbytes(rng.choice([10, 5_000, 1_500_000]))))
            before = {name for hull in hulls.hulls() for name in hulls.ids(hull)}
            report = sync.keep_trying(
                functools.partial(sync.bring_ashore, hulls, shop), threading.Event(), first_wait=0.02, longest_wait=0.1
            )
            if report is not None:
                for name in before:
                    saved(ASHORE + name)


def _mishap(yard: Yard) -> None:
    """Now and then a tablet or the shop goes back to an old copy, or two tablets become one."""
    number = yard.rng.randrange(TABLETS)
    folder = yard.tablets[number]
    chance = yard.rng.random()
    before = _all_held(yard)
    if chance < 0.2:
        _replace(folder, _backup_of(folder))
        yard.tally.restored_tablets += 1
    elif chance < 0.3:
        other = yard.tablets[(number + 1) % TABLETS]
        _replace(folder, other)
        yard.tally.cloned_tablets += 1
    elif chance < 0.5:
        _replace(_backup_of(folder), folder)
    elif chance < 0.7:
        yard.tally.server_kills += yard.server.kill()
        old = _backup_of(yard.server.folder)
        if old.exists() and yard.rng.random() < 0.5:
            _replace(yard.server.folder, old)
            yard.tally.restored_shops += 1
        else:
            _replace(old, yard.server.folder)
    after = _all_held(yard)
    yard.gone |= (before - after) & yard.ever_saved
    yard.saved[number] &= _held(folder)
    yard.ashore &= _held(yard.server.folder)


def _peace(yard: Yard) -> None:
    """Nobody is killed any more: everyone comes ashore twice, and all must hold the same and everything."""
    if not yard.server.is_running:
        yard.server.start()
    for _ in range(2):
        for folder in yard.tablets:
            with HullFolder(folder) as hulls:
                report = sync.bring_ashore(hulls, _kept(folder))
                yard.tally.unequal += not report.equal or bool(report.refused or report.not_kept)
    yard.server.kill()
    wanted = yard.ever_saved - yard.gone
    held = [_held(folder) for folder in (yard.server.folder, *yard.tablets)]
    yard.tally.unequal += sum(one != held[0] for one in held[1:])
    yard.tally.lost += len(wanted - held[0])


def _check(yard: Yard) -> None:
    """What was called saved or ashore is there, and no file is damaged otherwise than by an unsaved write cut off."""
    for number, folder in enumerate(yard.tablets):
        with HullFolder(folder) as hulls:
            yard.tally.lost += len(writers.lost(hulls, yard.saved[number]))
            yard.tally.damaged += sum(BEFORE_IT_IS_SAVED not in damage.reason for damage in hulls.damage())
    with HullFolder(yard.server.folder, read_only=True) as hulls:
        yard.tally.lost += len(writers.lost(hulls, yard.ashore))
        yard.tally.damaged += sum(BEFORE_IT_IS_SAVED not in damage.reason for damage in hulls.damage())


def _held(folder: Path) -> set[str]:
    """Everything a folder holds, named as the notebooks name it."""
    with HullFolder(folder, read_only=True) as hulls:
        entries = {name for hull in hulls.hulls() for name in hulls.ids(hull)}
        return entries | {writers.ATTACHMENT + name for name in hulls.attachments.names()}


def _all_held(yard: Yard) -> set[str]:
    return set[str]().union(*(_held(folder) for folder in (yard.server.folder, *yard.tablets)))


def _kept(folder: Path) -> PairedShop:
    shop = pairing.kept(folder)
    assert shop is not None
    return shop


def _backup_of(folder: Path) -> Path:
    return folder.with_name(f"{folder.name} old copy")


def _replace(folder: Path, source: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(source, folder)
    (folder / "hulls").mkdir(exist_ok=True)


def _kill(child: int) -> None:
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise RuntimeError("a tablet's program ended before it was killed; see its message above")


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rounds", type=int, default=20)
    options.add_argument("--seed", type=int, default=20260514)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as where:
        tally = campaign(chosen.rounds, chosen.seed, Path(where))
    print(tally)
    return int(not tally.is_good)


if __name__ == "__main__":
    sys.exit(main())
