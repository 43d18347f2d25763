"""What the fault campaigns interrupt: a program that saves or merges without pause and notes what was called saved."""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, make_entry
from garboard.disk.hullfile import HullFolder
from garboard.history.merge import merge

HULLS = ("ABC00001A526", "ABC00002A526", "XYZHJKLMF626")
ATTACHMENT = "attachment "
PATIENCE = 120.0
"""So long nothing may be called saved [s]: longer means that nothing ever will be."""

Saved = Callable[[str], None]
Work = Callable[[Saved], None]


def entry_number(number: int, hull: str, tablet: str = "tablet-07") -> Entry:
    """One invented measurement."""
    return make_entry(
        "measure",
        hull,
        dev=tablet,
        by="Ines",
        clock=Stamp(1_778_752_800_000 + number, 0),
        at="2026-05-14T12:00:00+02:00",
        job="j1",
        subject=["prop_check.full_throttle", "speed_over_ground", str(number), ""],
        value=f"{number}.5 kn",
    )


def save_without_pause(folder: Path, saved: Saved, rng: random.Random) -> None:
    """Save entry after entry, now and then an attachment; report each once it is called saved."""
    with HullFolder(folder) as hulls:
        for _ in count():
            if rng.random() < 0.03:
                content = rng.randbytes(rng.choice([10, 5_000, 100_000]))
                saved(ATTACHMENT + hulls.attachments.put(content))
            else:
                saved(hulls.save(entry_number(rng.randrange(1 << 40), rng.choice(HULLS))))


def merge_without_pause(source: Path, folder: Path, saved: Saved, rng: random.Random) -> None:
    """Merge a source folder in batches of a few hulls; report a batch's entries once it is called saved."""
    with HullFolder(source, read_only=True) as theirs, HullFolder(folder) as ours:
        for _ in count():
            put: list[str] = []
            with ours.batch():
                for hull in rng.sample(theirs.hulls(), rng.randint(1, 4)):
                    missing = theirs.offer(hull, ours.held(hull)).unknown
                    some = list(missing)[: rng.randint(1, 40)]
                    ours.put_if_absent(hull, theirs.get(hull, some))
                    put += some
            for name in put:
                saved(name)


def merge_whole_again_and_again(source: Path, where: Path, saved: Saved) -> None:
    """Merge a source folder into one new folder after another; report each folder once its merge has ended."""
    with HullFolder(source, read_only=True) as theirs:
        for number in count():
            with HullFolder(where / f"shop-{number}") as ours:
                merge([theirs], ours)
            saved(f"shop-{number}")


def source_folder(where: Path, hulls: int = 12, entries: int = 400) -> Path:
    """A folder of hulls with so many entries each, to be merged."""
    folder = Path(tempfile.mkdtemp(dir=where))
    with HullFolder(folder) as held, held.batch():
        for hull in (f"ABC{number:05d}A526" for number in range(hulls)):
            held.put_if_absent(hull, [entry_number(number, hull) for number in range(entries)])
    return folder


def start(work: Work, notebook: Path) -> int:
    """Run work in a child process; what it reports as saved stands in the notebook, a line each.

    returns : the child's process number
    """
    child = os.fork()
    if child:
        return child
    try:
        notes = os.open(notebook, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        work(lambda name: _write(notes, name))
    except BaseException:
        traceback.print_exc(file=sys.__stderr__)
    finally:
        os._exit(1)


def wait_for_a_note(notebook: Path, after: int = 0) -> None:
    """Wait until something was called saved: how soon that is, the machine decides, and not a time that is given.

    after : size of the notebook before [byte]
    """
    end = time.monotonic() + PATIENCE
    while not notebook.exists() or notebook.stat().st_size <= after:
        if time.monotonic() > end:
            raise RuntimeError("nothing was called saved; see the writers' message above")
        time.sleep(0.002)


def noted(notebook: Path) -> Iterator[str]:
    """What the child called saved before it was stopped."""
    if notebook.exists():
        yield from (line for line in notebook.read_text().split("\n")[:-1] if line)


def lost(folder: HullFolder, saved: set[str]) -> set[str]:
    """What was called saved and is not in the folder, or not as it was."""
    held = {name for hull in folder.hulls() for name in folder.ids(hull)}
    entries = {name for name in saved if not name.startswith(ATTACHMENT)}
    attachments = {name.removeprefix(ATTACHMENT) for name in saved - entries}
    sound = {name for name in attachments if name in folder.attachments and folder.attachments.get(name)}
    return (entries - held) | (attachments - sound)


def _write(notes: int, name: str) -> None:
    os.write(notes, name.encode() + b"\n")
