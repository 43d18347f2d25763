"""Where a tablet keeps its data: where the system says, never inside the folder the program lies in.

An update of a packaged app empties the program's folder. Older versions kept the data in a folder named OLD in the
folder they were started in, which for a packaged app is the program's own. What lies there is moved over once: copied
to a name of its own, compared byte for byte, renamed, and only then is the old folder marked as moved. It is left as it
is, so nothing is lost however the move ends; a move that was cut short begins anew.
"""

from __future__ import annotations

import filecmp
import logging
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import attrs

import garboard_tablet
from garboard.disk import storage
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.faults import Fault, InputError, in_words

log = logging.getLogger("garboard.tablet")

OLD = "garboard-tablet"
"""Name of the folder older versions kept the data in."""
NAME = "tablet"
MOVED = "moved.txt"
"""Stands in an old folder once all of it is where the system says."""


@attrs.frozen(kw_only=True)
class DataFolder:
    """Where the data is, and what a person should know about it.

    moved_from : the old folder, where it was moved over just now
    problem    : why the data is not where it should be; "" where it is
    """

    folder: Path
    moved_from: Path | None = None
    problem: str = ""


def program_folder() -> Path:
    """The folder the program lies in."""
    return Path(garboard_tablet.__file__).resolve().parents[1]


def of_a_desk() -> Path:
    """Where an ordinary computer keeps an application's data for its user."""
    import platformdirs

    return Path(platformdirs.user_data_path("garboard", appauthor=False))


def is_inside_program(folder: Path, program: Path) -> bool:
    """Whether an update of the program may empty a folder."""
    return folder.resolve().is_relative_to(program.resolve())


def find_data_folder(
    ask_system: Callable[[], Path], program: Path | None = None, started_in: Path | None = None
) -> DataFolder:
    """The folder of this tablet's data, with an old one moved over.

    ask_system : where the system keeps an application's data
    program    : the folder the program lies in
    started_in : the folder the program was started in
    errors     : FolderInUse when another program writes in an old folder; InputError when the system's folder is no
                 safe place
    """
    program = program or program_folder()
    folder = ask_system() / NAME
    if is_inside_program(folder, program):
        expected = "a folder outside the program's own, which an update empties; start with --folder and name one"
        raise InputError("tablet", [Fault("data folder", expected, str(folder))])
    old = next(_old_folders(program, started_in or Path.cwd(), folder), None)
    if old is None:
        return DataFolder(folder=folder)
    try:
        move_over(old, folder)
    except (OSError, storage.NotSaved) as failure:
        log.exception("the old data folder could not be moved over")
        problem = f"The data could not be moved to {folder}: {in_words(failure)}. It is still here."
        return DataFolder(folder=old, problem=problem)
    return DataFolder(folder=folder, moved_from=old)


def _old_folders(program: Path, started_in: Path, folder: Path) -> Iterator[Path]:
    """Old folders with hull files that are not moved yet."""
    for place in dict.fromkeys((started_in, program)):
        old = place / OLD
        if (old / HULLS_FOLDER).is_dir() and not (old / MOVED).exists() and old.resolve() != folder.resolve():
            yield old


def move_over(old: Path, folder: Path) -> None:
    """Move an old folder over. Where the system's folder holds boats already, the old one's are merged into it.

    errors : FolderInUse when another program writes in either; OSError when the disk refuses, the old folder as before
    """
    lock = storage.WriterLock(old)
    try:
        if folder.exists():
            _merge(old, folder)
        else:
            _copy(old, folder)
        note = f"Moved to {folder}. Nothing here is used any more; it may be deleted.\n"
        storage.write_whole(old / MOVED, [note.encode()])
    finally:
        lock.release()


def _copy_file(source: str, target: str) -> None:
    """Copy a file. `copytree` gathers every OSError into one without words; another kind of error ends it at once."""
    try:
        shutil.copy2(source, target)
    except OSError as failure:
        raise storage.NotSaved(in_words(failure)) from failure


def _copy(old: Path, folder: Path) -> None:
    """Copy all of it under a name of its own, and give it its name only once every byte is proved."""
    coming = folder.with_name(f"{folder.name}.coming")
    if coming.exists():
        shutil.rmtree(coming)  # a move that was cut short
    storage.make_folder(folder.parent)
    shutil.copytree(old, coming, ignore=shutil.ignore_patterns(storage.LOCK_NAME), copy_function=_copy_file)
    files = _files(old)
    _, differ, missing = filecmp.cmpfiles(old, coming, files, shallow=False)
    if differ or missing:
        shutil.rmtree(coming)
        raise OSError(f"{(differ or missing)[0]} did not arrive as it was")
    for name in files:
        _flush_file(coming / name)
    for path in (coming, *(path for path in coming.rglob("*") if path.is_dir())):
        storage.flush_folder(path)
    coming.rename(folder)
    storage.flush_folder(folder.parent)


def _merge(old: Path, folder: Path) -> None:
    """Both hold boats: every entry and attachment of the old folder comes in, and each file that is only there."""
    from garboard.history.merge import merge

    with HullFolder(old, read_only=True) as source, HullFolder(folder) as target:
        report = merge([source], target)
    if not report.complete or report.refused or report.damage:
        raise OSError("not every entry could be read")
    for name in _files(old):
        if not (folder / name).exists():
            storage.make_folder((folder / name).parent)
            storage.write_whole(folder / name, [(old / name).read_bytes()])


def _files(folder: Path) -> Sequence[str]:
    """Names of the files in a folder and those beneath it; the lock is nobody's data."""
    paths = (path for path in sorted(folder.rglob("*")) if path.is_file() and path.name != storage.LOCK_NAME)
    return [str(path.relative_to(folder)) for path in paths]


def _flush_file(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        storage.flush(descriptor)
    finally:
        os.close(descriptor)
