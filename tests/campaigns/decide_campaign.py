"""Kill a program that moves jobs, joins them and says which hull numbers are one boat: no job may be out of sight.

What was called saved is looked for by reading the hull files line by line, without the program.

Of four kills three come at a system call on a file of the folder, drawn by the seed, some of them half-way through a
write (disk_errors.c, compiled when it begins; needs Linux and cc). The others come at a random moment, as do all where
the library is not loaded: on a busy machine most of those come before the program has done anything.

Run:  python tests/campaigns/decide_campaign.py --kills 2000
      python tests/campaigns/decide_campaign.py --kills 500 --broken saved     must find faults: see broken.py
"""

from __future__ import annotations

import argparse
import ctypes
import functools
import gc
import hashlib
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from itertools import count
from pathlib import Path

import attrs
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns import writers
from campaigns.broken import BROKEN
from campaigns.disk_errors import KILLED, KILLED_HALF_WAY, KINDS, in_memory, is_preloaded, preload
from garboard.commands.cli import program
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.history.authoring import Author, measure
from garboard.history.boat import open_hull
from garboard.history.halves import missing_halves
from garboard.history.replay import replay

HULLS = ("QQZ04417D626", "QQZ04418D626", "QQZ04419D626")
JOBS = ("job-1", "job-2", "job-3", "job-4")
KILLS_A_FOLDER = 25
LONGEST = 0.08
"""So long a program runs at most before it is killed at a moment [s]."""
MOST_CALLS = 200
"""So many system calls it makes at most before it is killed at one; a decision takes from 20 to 60."""

SIGNED = ("--by", "M. Office", "--reason", "as decided")


@attrs.define
class Tally:
    """What a campaign counted.

    saved      : entries called saved
    lost       : of those, how many are in no hull file
    invisible  : times a job was shown under no number
    halves     : kills that left a decision in one file alone
    left       : of those, how many the repair did not end
    ended      : programs that ended by themselves, which none may
    """

    seed: int
    kills: int = 0
    at_a_call: int = 0
    ended: int = 0
    saved: int = 0
    lost: int = 0
    invisible: int = 0
    halves: int = 0
    left: int = 0

    def __str__(self) -> str:
        return (
            f"deciding: {self.kills} kills, {self.at_a_call} of them at a system call, {self.saved} called saved, "
            f"{self.lost} lost, {self.invisible} jobs out of sight, {self.halves} left in one file alone, "
            f"{self.left} of them not ended by a repair, {self.ended} programs ended by themselves (seed {self.seed})"
        )


def kill_while_deciding(kills: int, seed: int, where: Path) -> Tally:
    """Kill a program that decides, at random moments; sometimes let the repair end what it left."""
    tally, rng = Tally(seed), random.Random(seed)
    while tally.kills < kills:
        folder = Path(tempfile.mkdtemp(dir=where))
        notebook = folder / "called_saved"
        for _ in range(min(KILLS_A_FOLDER, kills - tally.kills)):
            tally.ended += not _kill(folder / "shop", notebook, rng, tally)
            tally.kills += 1
            if (folder / "shop" / HULLS_FOLDER).is_dir():
                _look(folder / "shop", tally)
                if rng.random() < 0.3:
                    _repair(folder / "shop", tally)
        called_saved = {*writers.noted(notebook)}
        tally.saved += len(called_saved)
        tally.lost += len(called_saved - _held(folder / "shop").keys())
        shutil.rmtree(folder)
        if tally.kills % 500 == 0:
            print(tally, file=sys.stderr, flush=True)
    return tally


def _kill(folder: Path, notebook: Path, rng: random.Random, tally: Tally) -> bool:
    """Let a program decide until it is killed; False where it ended before."""
    decide = functools.partial(_decide, folder, rng.randrange(1 << 30))
    if at_a_call := is_preloaded() and rng.random() < 0.75:
        number, way = rng.randint(1, MOST_CALLS), rng.choice((KILLED, KILLED_HALF_WAY))
        child = writers.start(functools.partial(_armed, decide, folder, number, way), notebook)
    else:
        child = writers.start(decide, notebook)
        time.sleep(rng.choice([LONGEST / 10, LONGEST]) * rng.random())
        os.kill(child, signal.SIGKILL)
    tally.at_a_call += at_a_call
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL


def _armed(decide: writers.Work, folder: Path, number: int, way: int, saved: writers.Saved) -> None:
    ctypes.CDLL(None).disk_errors(os.fsencode(folder), (1 << len(KINDS)) - 1, number, 0, way, -1)
    decide(saved)


def _decide(folder: Path, seed: int, saved: writers.Saved) -> None:
    rng = random.Random(seed)
    for number in count():
        if rng.random() < 0.2:
            hull = rng.choice(HULLS)
            with HullFolder(folder) as files:
                author, state = Author("tablet-07", "A. Hand"), replay(hull, files.entries(hull))
                saved(files.save(measure(author, state, rng.choice(JOBS), "trial", "speed", f"{number} kn")))
            continue
        _run(rng)(folder)


def _run(rng: random.Random) -> functools.partial[None]:
    here, there = rng.sample(HULLS, 2)
    job, into = rng.sample(JOBS, 2)
    name, *rest = rng.choice(
        [
            ("move-job", here, job, "--to", there),
            ("move-job", here, job, "--to", there),
            ("same-boat", here, there),
            ("same-boat", here, there, "--undo"),
            ("join-job", here, job, "--into", into),
            ("join-job", here, job, "--undo"),
        ]
    )
    return functools.partial(_invoke, name, (*rest, *SIGNED))


def _invoke(command: str, arguments: tuple[str, ...], folder: Path) -> None:
    result = CliRunner().invoke(program, [command, str(folder), *arguments])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception


def _load(where: Path) -> None:
    """Do everything once, so that no child loads it anew."""
    rng, folder = random.Random(0), where / "once"
    with HullFolder(folder) as files:
        author = Author("tablet-07", "A. Hand")
        files.save(measure(author, replay(HULLS[0], ()), JOBS[0], "trial", "speed", "1 kn"))
    for _ in range(20):
        _run(rng)(folder)
    _repair(folder, Tally(0))
    gc.collect()
    gc.freeze()


def _held(folder: Path) -> dict[str, dict[str, object]]:
    """Every whole entry in the hull files, by id, read without the program."""
    found: dict[str, dict[str, object]] = {}
    for path in (folder / HULLS_FOLDER).glob("[A-Z]*.hull"):  # not one still unfinished
        for line in path.read_bytes().split(b"\n")[1:]:
            name, _, raw = line.partition(b" ")
            if raw and hashlib.sha256(raw).hexdigest()[:32] == name.decode():
                found[name.decode()] = json.loads(raw)
    return found


def _look(folder: Path, tally: Tally) -> None:
    jobs = {str(entry["job"]) for entry in _held(folder).values() if entry["kind"] == "measure"}
    with HullFolder(folder, read_only=True) as files:
        boats = [open_hull(files, hull) for hull in files.hulls()]
        tally.invisible += sum(not any(boat.joined(job) in boat.jobs for boat in boats) for job in jobs)
        tally.halves += any(missing_halves(files.entries, hull) for hull in files.hulls())


def _repair(folder: Path, tally: Tally) -> None:
    _invoke("repair", (), folder)
    with HullFolder(folder, read_only=True) as files:
        tally.left += sum(len(missing_halves(files.entries, hull)) for hull in files.hulls())


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--kills", type=int, default=200)
    options.add_argument("--seed", type=int, default=20260514)
    options.add_argument("--broken", choices=BROKEN, help="a program broken on purpose, which must be found out")
    chosen = options.parse_args()
    preload()
    if chosen.broken:
        BROKEN[chosen.broken]()
    with tempfile.TemporaryDirectory(dir=in_memory()) as where:
        _load(Path(where))
        tally = kill_while_deciding(chosen.kills, chosen.seed, Path(where))
    print(tally)
    return int(bool(tally.lost or tally.invisible or tally.left or tally.ended))


if __name__ == "__main__":
    sys.exit(main())
