"""Where a tablet keeps its data: where the system says, never inside the folder the program lies in.

An update of a packaged app empties the program's folder. Older versions kept the data in a folder named OLD in the
folder they were started in, which for a packaged app is the program's own. What lies there is moved over once: copied
to a name of its own, compared byte for byte, renamed, and only then is the old folder marked as moved. It is left as it
is, so nothing is lost however the move ends; a move that was cut short begins anew. A damaged file in it holds up
nothing: what can be read of it is moved, and the file as found is kept beside that.
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
from garboard.disk import attachments, folder_names, known_ids, sizes, storage
from garboard.disk.entries import stray_of
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import SUFFIX, file_name
from garboard.faults import Fault, InputError, in_words, refusal

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
    problem    : why the data is not where it should be, or what of it could not be read; "" where all is well
    """

    folder: Path
    moved_from: Path | None = None
    problem: str = ""


@attrs.frozen(kw_only=True)
class Moved:
    """How a move ended.

    damaged : what could not be read in full and is kept whole in the new folder, a sentence each
    left    : what could be neither read nor copied, with the reason; it is only in the old folder
    """

    damaged: tuple[str, ...] = ()
    left: tuple[str, ...] = ()


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
    holds_boats = _holds_boats(folder)
    try:
        moved = move_over(old, folder)
    except (OSError, storage.NotSaved) as failure:
        log.exception("the old data folder could not be moved over")
        return _not_moved(old, folder, in_words(failure), holds_boats=holds_boats)
    for line in (*moved.damaged, *moved.left):
        log.warning("moving the old data folder over: %s", line)
    return DataFolder(folder=folder, moved_from=None if moved.left else old, problem=_in_words(moved, old))


def _holds_boats(folder: Path) -> bool:
    return any((folder / HULLS_FOLDER).glob(f"*{SUFFIX}"))


def _not_moved(old: Path, folder: Path, why: str, *, holds_boats: bool) -> DataFolder:
    """Where to work until the move can be done: where the boats are, and, with boats in both, where no update reaches.

    holds_boats : whether the system's folder held boats before the move was tried
    """
    if holds_boats:
        problem = f"Not everything in {old} could be brought in: {why}. Boats that are missing here are there. Keep it."
        return DataFolder(folder=folder, problem=f"{problem} Free some space. The next start tries again.")
    problem = f"The data could not be moved to {folder}: {why}. It is still here. The next start tries again."
    return DataFolder(folder=old, problem=problem)


def _in_words(moved: Moved, old: Path) -> str:
    """What a person should know about a move that is done; "" when everything was brought in."""
    parts = []
    if moved.damaged:
        parts.append(f"Not everything in {old} could be read. The rest was moved here. {' '.join(moved.damaged)}")
    if moved.left:
        parts.append(f"Keep {old}: {'; '.join(moved.left)}. The next start tries again.")
    return " ".join(parts)


def _old_folders(program: Path, started_in: Path, folder: Path) -> Iterator[Path]:
    """Old folders with hull files that are not moved yet."""
    for place in dict.fromkeys((started_in, program)):
        old = place / OLD
        if (old / HULLS_FOLDER).is_dir() and not (old / MOVED).exists() and old.resolve() != folder.resolve():
            yield old


def move_over(old: Path, folder: Path) -> Moved:
    """Move an old folder over. Where the system's folder holds boats already, the old one's are merged into it.

    returns : what could not be read, and what is not here yet; the old folder is marked only when nothing is
    errors  : FolderInUse when another program writes in either; OSError when the disk refuses, the old folder as before
    """
    lock = storage.WriterLock(old)
    try:
        moved = Moved()
        if folder.exists():
            moved = _merge(old, folder)
        else:
            _copy(old, folder)
        if not moved.left:
            note = [f"Moved to {folder}. Nothing here is used any more; it may be deleted.", *moved.damaged]
            storage.write_whole(old / MOVED, ["".join(f"{line}\n" for line in note).encode()])
        return moved
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


def _merge(old: Path, folder: Path) -> Moved:
    """Both hold boats: every entry and attachment of the old folder comes in, and each file that is only there.

    A file that could not be read in full is kept whole beside what was read out of it. One that cannot be copied
    either, on a bad card, keeps nobody from the rest: it is left, and the old folder is not marked.
    """
    from garboard.history.merge import merge

    with HullFolder(old, read_only=True) as source, HullFolder(folder) as target:
        if merge([source], target).not_read:  # what the disk refuses once it may give the second time
            merge([source], target)
        unread = _not_brought_in(source, target)
        gone = [str(damage) for damage in source.damage() if damage.is_gone]
        newer = set(source.left_alone)  # sound for the program that wrote it, so it keeps its name where that is free
    damaged, left = gone, []
    for name in _files(old):
        if name in (
            sizes.FILE,
            sizes.SORTED,
            known_ids.FILE,
            folder_names.FILE,
            attachments.PROVED,
        ):  # of the old folder's files, not of those here
            continue
        is_unread = old / name in unread
        is_beside = is_unread and not (old / name in newer and _is_free(folder / name, old / name))
        try:
            kept = (_keep_beside if is_beside else _keep_if_new)(old / name, folder / name)
        except (OSError, storage.NotSaved) as failure:
            reason = refusal(failure) if isinstance(failure, OSError) else in_words(failure)
            left.append(f"{name} cannot be copied: {reason}")
            continue
        if is_unread:
            damaged.append(f"{unread[old / name]}; kept whole as {kept}.")
    return Moved(damaged=tuple(damaged), left=tuple(left))


def _not_brought_in(source: HullFolder, target: HullFolder) -> dict[Path, str]:
    """Files of the source that hold something the target does not, or may have held it, each with what is wrong."""
    found = {Path(file): f"{Path(file).name}: {reason}" for file, reason in source.not_read()}
    for key in source.hulls():
        path = source.folder / HULLS_FOLDER / file_name(key)
        try:
            missing = source.get(key, source.ids(key) - target.ids(key))
            strays = (stray_of(key, raw) for raw in missing.values())
            is_in = all(stray is not None and stray.id in target.ids(key) for stray in strays)
        except (storage.NewerFormat, OSError) as failure:
            found.setdefault(path, f"{path.name}: {in_words(failure)}")
            continue
        if not is_in:
            found.setdefault(path, f"{path.name}: some of its entries cannot be taken in")
    for damage in source.damage():
        found[damage.file] = str(damage)
    return found


def _keep_beside(source: Path, target: Path) -> str:
    """Keep a file that cannot be read in full as it is, under a name that no program reads as data; that name."""
    storage.make_folder(target.parent)
    return storage.keep_beside(source.read_bytes(), target).name


def _is_free(target: Path, source: Path) -> bool:
    """Whether a file can have its own name here; it has where a move was cut short behind it."""
    return not target.exists() or filecmp.cmp(source, target, shallow=False)


def _keep_if_new(source: Path, target: Path) -> str:
    """Copy a file unless one of that name is here; the name it has."""
    if not target.exists():
        storage.make_folder(target.parent)
        storage.write_whole(target, [source.read_bytes()])
    return target.name


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
