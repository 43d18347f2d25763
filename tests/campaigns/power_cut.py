"""Cut the power under a saving program: nothing called saved may be missing from the disk.

A file system lives in an image file. The program writing to it is stopped at a random moment and the image copied:
what was never flushed is not in the copy, as after a power cut. The copy is mounted, repaired by its own journal,
and read. Needs root and loop devices.

Run:  python tests/campaigns/power_cut.py --cuts 100
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns import writers
from garboard.disk import storage
from garboard.disk.hullfile import HullFolder

IMAGE_BYTES = 48 * 1024 * 1024
CUTS_AN_IMAGE = 5


@attrs.define
class Tally:
    """What a campaign counted."""

    name: str
    seed: int
    cuts: int = 0
    saved: int = 0
    lost: int = 0
    set_aside: int = 0

    def __str__(self) -> str:
        return (
            f"{self.name}: {self.cuts} power cuts, {self.saved} called saved, {self.lost} lost, "
            f"{self.set_aside} files set aside (seed {self.seed})"
        )


def why_not_here() -> str:
    """Why no power can be cut on this machine; empty when it can."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return "mounting a file system image needs root"
    if not (shutil.which("mkfs.ext4") and shutil.which("mount")):
        return "mkfs.ext4 and mount are not installed"
    with tempfile.TemporaryDirectory() as where:
        try:
            image = new_image(Path(where))
            with _mounted(image):
                return ""
        except subprocess.CalledProcessError as error:
            return f"no file system image can be mounted here: {error.stderr.decode().strip()}"


def cut_while_saving(cuts: int, seed: int, where: Path) -> Tally:
    """Cut the power under a program that saves entries and attachments."""
    return _cut_power(Tally("saving", seed), cuts, where, _save)


def cut_while_merging(cuts: int, seed: int, where: Path) -> Tally:
    """Cut the power under a program that merges a folder into another."""
    source = writers.source_folder(where)
    return _cut_power(Tally("merging", seed), cuts, where, functools.partial(_merge, source))


def cut_without_flushing(cuts: int, seed: int, where: Path) -> Tally:
    """The same with flushing switched off, to show that the campaign sees loss."""
    return _cut_power(Tally("saving with flushing switched off", seed), cuts, where, _save_without_flushing)


def _cut_power(
    tally: Tally, cuts: int, where: Path, work: Callable[[Path, random.Random, writers.Saved], None]
) -> Tally:
    rng = random.Random(tally.seed)
    while tally.cuts < cuts:
        folder = Path(tempfile.mkdtemp(dir=where))
        image, notebook = new_image(folder), folder / "called_saved"
        with _mounted(image) as disk:
            own_rng = random.Random(rng.random())
            child = writers.start(functools.partial(work, disk / "tablet", own_rng), notebook)
            try:
                for number in range(min(CUTS_AN_IMAGE, cuts - tally.cuts)):
                    if number:  # the first cut comes at any moment, the others once something was called saved
                        writers.wait_for_a_note(notebook)
                    _cut(child, image, notebook, rng, tally)
            finally:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(child, signal.SIGKILL)
                    os.waitpid(child, 0)
        shutil.rmtree(folder)
    return tally


def _save(folder: Path, rng: random.Random, saved: writers.Saved) -> None:
    writers.save_without_pause(folder, saved, rng)


def _merge(source: Path, folder: Path, rng: random.Random, saved: writers.Saved) -> None:
    writers.merge_without_pause(source, folder, saved, rng)


def _save_without_flushing(folder: Path, rng: random.Random, saved: writers.Saved) -> None:
    storage.flush = storage.flush_folder = lambda _: None  # type: ignore[assignment]
    writers.save_without_pause(folder, saved, rng)


def _cut(child: int, image: Path, notebook: Path, rng: random.Random, tally: Tally) -> None:
    time.sleep(rng.uniform(0.005, 0.15))
    os.kill(child, signal.SIGSTOP)
    _, status = os.waitpid(child, os.WUNTRACED)
    if not os.WIFSTOPPED(status):
        raise RuntimeError("the program ended by itself; see its message above")
    saved = set(writers.noted(notebook))
    after_the_cut = image.with_name("after_the_cut")
    subprocess.run(["cp", "--sparse=always", image, after_the_cut], check=True, capture_output=True)
    os.kill(child, signal.SIGCONT)
    with _mounted(after_the_cut) as disk:
        (disk / "tablet").mkdir(exist_ok=True)
        with HullFolder(disk / "tablet") as hulls:
            tally.lost += len(writers.lost(hulls, saved))
            tally.set_aside += len(hulls.damage())
    tally.cuts += 1
    tally.saved += len(saved)


def new_image(folder: Path, size: int = IMAGE_BYTES) -> Path:
    """A new file system in an image file; size in [byte]."""
    image = folder / "disk.img"
    with image.open("wb") as file:
        file.truncate(size)
    subprocess.run(["mkfs.ext4", "-q", image], check=True, capture_output=True)
    return image


@contextmanager
def _mounted(image: Path) -> Iterator[Path]:
    point = Path(tempfile.mkdtemp(dir=image.parent))
    subprocess.run(["mount", "-o", "loop", image, point], check=True, capture_output=True)
    try:
        yield point
    finally:
        subprocess.run(["umount", "--lazy", point], check=True, capture_output=True)
        point.rmdir()


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--cuts", type=int, default=100, help="cuts of each sort")
    options.add_argument("--seed", type=int, default=20260514)
    chosen = options.parse_args()
    if reason := why_not_here():
        print(f"power cuts: not done, {reason}")
        return 2
    with tempfile.TemporaryDirectory() as where:
        saving = cut_while_saving(chosen.cuts, chosen.seed, Path(where))
        merging = cut_while_merging(chosen.cuts, chosen.seed, Path(where))
        control = cut_without_flushing(3, chosen.seed, Path(where))
    print(saving, merging, control, sep="\n")
    return int(bool(saving.lost or merging.lost) or not control.lost)


if __name__ == "__main__":
    sys.exit(main())
