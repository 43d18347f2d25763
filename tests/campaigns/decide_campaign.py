"""Kill a program that moves jobs, joins them and says which hull numbers are one boat: no job may be out of sight.

What was called saved is looked for by reading the hull files line by line, without the program.

Run:  python tests/campaigns/decide_campaign.py --kills 2000
"""

from __future__ import annotations

import argparse
import functools
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
import click
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns import writers
from garboard.commands import hulls as commands
from garboard.commands import repair
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.storage import NotSaved
from garboard.faults import InputError
from garboard.history.authoring import Author, measure
from garboard.history.boat import open_hull
from garboard.history.halves import missing_halves
from garboard.history.replay import replay

HULLS = ("QQZ04417D626", "QQZ04418D626", "QQZ04419D626")
JOBS = ("job-1", "job-2", "job-3", "job-4")
KILLS_A_FOLDER = 25
LONGEST = 0.08
"""So long a program runs at most before it is killed [s]."""

SIGNED = ("--by", "M. Office", "--reason", "as decided")


@attrs.define
class Tally:
    """What a campaign counted.

    saved      : entries called saved
    lost       : of those, how many are in no hull file
    invisible  : times a job was shown under no number
    halves     : kills that left a decision in one file alone
    left       : of those, how many the repair did not end
    """

    seed: int
    kills: int = 0
    saved: int = 0
    lost: int = 0
    invisible: int = 0
    halves: int = 0
    left: int = 0

    def __str__(self) -> str:
        return (
            f"deciding: {self.kills} kills, {self.saved} called saved, {self.lost} lost, {self.invisible} jobs out of "
            f"sight, {self.halves} left in one file alone, {self.left} of them not ended by a repair (seed {self.seed})"
        )


def kill_while_deciding(kills: int, seed: int, where: Path) -> Tally:
    """Kill a program that decides, at random moments; sometimes let the repair end what it left."""
    tally, rng = Tally(seed), random.Random(seed)
    while tally.kills < kills:
        folder = Path(tempfile.mkdtemp(dir=where))
        notebook = folder / "called_saved"
        for _ in range(min(KILLS_A_FOLDER, kills - tally.kills)):
            child = writers.start(functools.partial(_decide, folder / "shop", rng.randrange(1 << 30)), notebook)
            time.sleep(rng.choice([LONGEST / 10, LONGEST]) * rng.random())
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            tally.kills += 1
            if (folder / "shop" / HULLS_FOLDER).is_dir():
                _look(folder / "shop", tally)
                if rng.random() < 0.3:
                    _repair(folder / "shop", tally)
        called_saved = {*writers.noted(notebook)}
        tally.saved += len(called_saved)
        tally.lost += len(called_saved - _held(folder / "shop").keys())
        shutil.rmtree(folder)
    return tally


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
    chosen: tuple[click.Command, tuple[str, ...]] = rng.choice(
        [
            (commands.move_job, (here, job, "--to", there)),
            (commands.move_job, (here, job, "--to", there)),
            (commands.same_boat, (here, there)),
            (commands.same_boat, (here, there, "--undo")),
            (commands.join_job, (here, job, "--into", into)),
            (commands.join_job, (here, job, "--undo")),
        ]
    )
    return functools.partial(_invoke, *chosen)


def _invoke(command: click.Command, arguments: tuple[str, ...], folder: Path) -> None:
    result = CliRunner().invoke(command, [str(folder), *arguments, *SIGNED])
    if result.exception and not isinstance(result.exception, SystemExit | InputError | NotSaved):
        raise result.exception


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
    CliRunner().invoke(repair.command, [str(folder)])
    with HullFolder(folder, read_only=True) as files:
        tally.left += sum(len(missing_halves(files.entries, hull)) for hull in files.hulls())


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--kills", type=int, default=200)
    options.add_argument("--seed", type=int, default=20260514)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as where:
        tally = kill_while_deciding(chosen.kills, chosen.seed, Path(where))
    print(tally)
    return int(bool(tally.lost or tally.invisible or tally.left))


if __name__ == "__main__":
    sys.exit(main())
