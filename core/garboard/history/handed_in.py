"""Entries handed in to the program of a shop that has its folder open: that a book was issued by command meanwhile.

A file an entry lies in the shop's folder; the shop's server keeps the entry, then takes the file away. Until then
nothing is lost: the file stays, also while no server runs.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from garboard.disk import storage
from garboard.disk.entries import ISSUED, Entry, read_entry
from garboard.faults import Fault, InputError
from garboard.history.authority import SHOP_FOLDER

FOLDER = f"{SHOP_FOLDER}/handed-in"
_ENDING, _REFUSED = ".entry", ".refused"
LARGEST = 4 << 20
"""Of one file [bytes]: an entry names what a book covers, 4 bytes an entry."""
PATIENCE = 15.0
"""A server looks every ten seconds [s]."""
_LOOK = 0.1


def hand_in(folder: Path, entry: Entry) -> Path:
    """Leave an entry for the program that has a shop's folder open; the file it lies in.

    errors : storage.NotSaved
    """
    path = folder / FOLDER / f"{entry.id}{_ENDING}"
    storage.make_folder(path.parent)
    storage.write_whole(path, [entry.raw])
    return path


def is_taken(path: Path) -> bool:
    """Whether what was handed in is taken; waits for it."""
    end = time.monotonic() + PATIENCE
    while path.exists():
        if time.monotonic() >= end:
            return False
        time.sleep(_LOOK)
    return not path.with_suffix(_REFUSED).exists()


def handed_in(folder: Path) -> Iterator[tuple[Path, Entry | InputError]]:
    """What waits in a shop's folder, each with its file; why, for what is no entry that is handed in. What cannot be
    read now waits on."""
    for path in sorted((folder / FOLDER).glob(f"*{_ENDING}")):
        try:
            yield path, _entry_in(path)
        except InputError as failure:
            yield path, failure
        except OSError:
            continue


def put_away(path: Path) -> None:
    """Keep what cannot be taken beside what waits, so that it is not read at each look."""
    path.replace(path.with_suffix(_REFUSED))


def _entry_in(path: Path) -> Entry:
    if not path.is_file() or path.stat().st_size > LARGEST:
        raise InputError(str(path), [Fault("", "a file with one entry", "something else")])
    entry = read_entry(path.read_bytes())
    if entry.kind != ISSUED:
        raise InputError(str(path), [Fault("kind", ISSUED, entry.kind)])
    return entry
