"""Kill a saving or merging program again and again: nothing called saved may be missing.

Run:  python tests/campaigns/kill_campaign.py --kills 2000
"""

from __future__ import annotations

import argparse
import functools
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns import writers
from garboard.disk.hullfile import HullFolder
from garboard.history.merge import merge

KILLS_A_FOLDER = 25
LONGEST = 0.06
"""So long a program runs at most before it is killed [s]; longer where a merge takes longer on this machine."""
AFTER_A_SAVE = 3
"""One kill in so many waits until something was called saved: a busy machine may let no program get so far in time."""


@attrs.define
class Tally:
    """What a campaign counted."""

    name: str
    seed: int
    kills: int = 0
    saved: int = 0
    lost: int = 0
    unfinished: int = 0
    damaged: int = 0
    unequal: int = 0

    def __str__(self) -> str:
        return (
            f"{self.name}: {self.kills} kills, {self.saved} called saved, {self.lost} lost, "
            f"{self.unfinished} files cut off in an unsaved write, {self.damaged} damaged otherwise, "
            f"{self.unequal} merges that ended unequal (seed {self.seed})"
        )


def kill_while_saving(kills: int, seed: int, where: Path) -> Tally:
    """Kill a program that saves entries and attachments, at random moments."""
    tally, rng = Tally("saving", seed), random.Random(seed)
    while tally.kills < kills:
        folder = Path(tempfile.mkdtemp(dir=where))
        notebook = folder / "called_saved"
        for number in range(min(KILLS_A_FOLDER, kills - tally.kills)):
            work = functools.partial(_save, folder / "tablet", rng.randrange(1 << 30))
            _start_and_kill(work, notebook, rng, after_a_save=not number % AFTER_A_SAVE)
            _check(folder / "tablet", notebook, tally)
        tally.saved += len(set(writers.noted(notebook)))
    return tally


def kill_while_merging(kills: int, seed: int, where: Path) -> Tally:
    """Kill a program that merges a folder into another, at random moments; then let the merge end."""
    tally, rng = Tally("merging", seed), random.Random(seed)
    source = writers.source_folder(where)
    while tally.kills < kills:
        folder = Path(tempfile.mkdtemp(dir=where))
        notebook = folder / "called_saved"
        for number in range(min(KILLS_A_FOLDER, kills - tally.kills)):
            work = functools.partial(_merge, source, folder / "shop", rng.randrange(1 << 30))
            _start_and_kill(work, notebook, rng, after_a_save=not number)  # later all of it may be merged
            _check(folder / "shop", notebook, tally)
        tally.saved += len(set(writers.noted(notebook)))
        tally.unequal += not _ends_equal(source, folder / "shop")
    return tally


def kill_whole_merges(kills: int, seed: int, where: Path) -> Tally:
    """Kill a program that merges a folder into new ones, one after another; then let the merge end that was killed."""
    tally, rng = Tally("whole merges", seed), random.Random(seed)
    source = writers.source_folder(where, hulls=4, entries=50)
    begun = time.monotonic()
    _ends_equal(source, where / "undisturbed")
    longest = max(LONGEST, 3 * (time.monotonic() - begun))
    while tally.kills < kills:
        folder = Path(tempfile.mkdtemp(dir=where))
        notebook = folder / "called_saved"
        work = functools.partial(writers.merge_whole_again_and_again, source, folder)
        _start_and_kill(work, notebook, rng, longest, after_a_save=not tally.kills % AFTER_A_SAVE)
        tally.kills += 1
        called_merged = set(writers.noted(notebook))
        for shop in folder.glob("shop-*"):
            with HullFolder(shop) as ours, HullFolder(source, read_only=True) as theirs:
                if shop.name in called_merged:
                    tally.saved += sum(len(theirs.ids(hull)) for hull in theirs.hulls())
                    tally.lost += sum(len(theirs.ids(hull) - ours.ids(hull)) for hull in theirs.hulls())
                ours.digests()
                _count_damage(ours, tally)
            tally.unequal += not _ends_equal(source, shop)
        shutil.rmtree(folder)
    return tally


def _save(folder: Path, seed: int, saved: writers.Saved) -> None:
    writers.save_without_pause(folder, saved, random.Random(seed))


def _merge(source: Path, folder: Path, seed: int, saved: writers.Saved) -> None:
    writers.merge_without_pause(source, folder, saved, random.Random(seed))


def _start_and_kill(
    work: writers.Work, notebook: Path, rng: random.Random, longest: float = LONGEST, *, after_a_save: bool
) -> None:
    before = notebook.stat().st_size if notebook.exists() else 0
    child = writers.start(work, notebook)
    if after_a_save:
        writers.wait_for_a_note(notebook, before)
    time.sleep(rng.choice([longest / 30, longest / 3, longest]) * rng.random())
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise RuntimeError("the program ended before it was killed; see its message above")


def _check(folder: Path, notebook: Path, tally: Tally) -> None:
    tally.kills += 1
    with HullFolder(folder) as hulls:
        tally.lost += len(writers.lost(hulls, set(writers.noted(notebook))))
        _count_damage(hulls, tally)


def _count_damage(hulls: HullFolder, tally: Tally) -> None:
    for damage in hulls.damage():
        if "cut off before it was saved" in damage.reason:
            tally.unfinished += 1
        else:
            tally.damaged += 1


def _ends_equal(source: Path, folder: Path) -> bool:
    with HullFolder(source, read_only=True) as theirs, HullFolder(folder) as ours:
        return merge([theirs], ours).complete and ours.digests() == theirs.digests()


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--kills", type=int, default=200, help="kills of each sort")
    options.add_argument("--seed", type=int, default=20260514)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as where:
        tallies = [
            campaign(chosen.kills, chosen.seed, Path(where))
            for campaign in (kill_while_saving, kill_while_merging, kill_whole_merges)
        ]
    print("\n".join(map(str, tallies)))
    return int(any(tally.lost or tally.damaged or tally.unequal for tally in tallies))


if __name__ == "__main__":
    sys.exit(main())
