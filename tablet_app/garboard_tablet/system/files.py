"""How files come in and go out: the camera, the system's picker, a folder the person chose.

One small interface of our own. What comes in is copied into a folder of the app before anything is done with it;
what goes out is read back before it is called saved. `desk_files.py` answers on an ordinary computer,
`android_files.py` on Android.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from threading import Lock
from typing import IO, Protocol

import attrs

from garboard.disk import storage
from garboard.disk.storage import NotSaved
from garboard.faults import GarboardError, in_words
from garboard_tablet.language import phrase

_CHUNK = 1 << 20
_LONGEST_NAME = 160
"""Of what comes in [bytes]; a card takes 255, and a number and a mark may come before and behind it."""


class How(Enum):
    """How it ended when something was asked of the system."""

    DONE = "done"
    CANCELLED = "cancelled"
    NOTHING = "nothing came"
    FAILED = "failed"


@attrs.frozen(kw_only=True)
class Got:
    """What came in.

    path : the app's own copy; None unless something came
    name : what the person calls it
    why  : what failed, in words
    """

    how: How
    path: Path | None = None
    name: str = ""
    why: str = ""


@attrs.frozen(kw_only=True)
class Put:
    """What became of a file that was to go out.

    where : the folder in words a person knows
    why   : what failed, in words
    """

    how: How
    where: str = ""
    why: str = ""


@attrs.frozen(kw_only=True)
class Place:
    """A folder the person chose.

    key   : names it to the system, and still does after a restart
    title : what a person calls it
    """

    key: str
    title: str


CANCELLED = Got(how=How.CANCELLED)


class Files(Protocol):
    """Every call returns at once; what comes of it is told later, on the drawing thread, exactly once.

    An app that is ended meanwhile is told nothing. What the camera wrote lies where it was told to write all the same.
    """

    @property
    def has_camera(self) -> bool:
        """Whether a picture can be taken."""

    @property
    def has_picker(self) -> bool:
        """Whether a file, or a folder, can be chosen."""

    def take_picture(self, target: Path, done: Callable[[Got], object]) -> None:
        """Have the camera write a picture there."""

    def pick(
        self, folder: Path, done: Callable[[Got], object], *, pictures: bool = False, is_backup: bool = False
    ) -> None:
        """Have the person choose a file; it is copied into a folder of the app.

        pictures  : offer nothing else
        is_backup : it may be as large as the space that is free; any other file must be able to reach the shop
        """

    def choose_folder(self, done: Callable[[Place | None], object]) -> None:
        """Have the person choose a folder to write into; None where nobody chose."""

    def put(self, file: Path, name: str, place: Place, done: Callable[[Put], object]) -> None:
        """Copy a file into a folder under a name that is free there, and read it back."""


def own_name(name: str) -> str:
    """The name of a file that came from elsewhere, without what leads into another folder or hides anything.

    >>> own_name("../../etc/pass wd.jpg"), own_name("..\\\\"), own_name("a" * 90 + ".jpg")[-7:]
    ('pass wd.jpg', 'file', 'aaa.jpg')
    """
    last = re.split(r"[/\\]", name)[-1]
    plain = re.sub(r"[^\w .()+-]", "_", last).strip(" .")
    end = plain.encode("utf-8", "replace")[-_LONGEST_NAME:].decode("utf-8", "ignore")  # no half letter at its start
    return end.strip(" .") or "file"


def copy_in(source: IO[bytes], folder: Path, name: str, *, is_backup: bool = False) -> Got:
    """Copy what comes in as a file of the app, whole or not at all. It may come from a stick, a network, a stranger.

    A system may call a picture "IMG_1234" or "1000004711": the copy of a picture is named as one.
    """
    from garboard.report.photo_files import with_ending  # here: the app's first frame waits for it otherwise

    try:
        storage.make_folder(folder)
        storage.remove_unfinished(folder)  # of a copy in whose midst the app was ended
        piece = source.read(_CHUNK)
        if not piece:
            return Got(how=How.NOTHING, name=name)
        name_here = with_ending(own_name(name), piece)
        with _claimed(folder, name_here) as target, storage.whole_file(target) as (_, file):
            _pour(source, piece, file, is_backup=is_backup)
    except _TooLarge as failure:
        return Got(how=How.FAILED, why=in_words(failure))
    except OSError as failure:
        return Got(
            how=How.FAILED,
            name=name,
            why=phrase("{name} could not be copied: {reason}.", name=name, reason=in_words(failure)),
        )
    return Got(how=How.DONE, path=target, name=target.name)


class _TooLarge(GarboardError):
    pass


def _pour(source: IO[bytes], piece: bytes, file: IO[bytes], *, is_backup: bool) -> None:
    """Copy a file whose first piece was read."""
    from garboard.shop_link.wire import LARGEST_ATTACHMENT

    size = 0
    while piece:
        size += len(piece)
        if size > LARGEST_ATTACHMENT and not is_backup:
            most = LARGEST_ATTACHMENT >> 20
            raise _TooLarge(phrase("The file is larger than {most} MB. Keep it elsewhere, and note where.", most=most))
        file.write(piece)
        piece = source.read(_CHUNK)


def free_name(folder: Path, name: str) -> Path:
    """A name in a folder that nothing has yet."""
    path, number = folder / name, 1
    while path.exists() or path.is_symlink() or path in _claims:
        number += 1
        path = folder / f"{Path(name).stem} {number}{Path(name).suffix}"
    return path


_claims: set[Path] = set()
_claiming = Lock()


@contextmanager
def _claimed(folder: Path, name: str) -> Iterator[Path]:
    """A free name that no other copy takes until this one has: two may come in at once."""
    with _claiming:
        path = free_name(folder, name)
        _claims.add(path)
    try:
        yield path
    finally:
        _claims.discard(path)


def digest_of(source: IO[bytes]) -> str:
    """What proves that a copy is the same as what was copied."""
    digest = hashlib.sha256()
    while piece := source.read(_CHUNK):
        digest.update(piece)
    return digest.hexdigest()


def copy_out(file: Path, target: Path) -> None:
    """Copy a file out: the target is as before or whole, and was read back.

    errors : NotSaved
    """
    with file.open("rb") as source:
        storage.write_whole(target, iter(lambda: source.read(_CHUNK), b""), mode=0o666)
        source.seek(0)
        wanted = digest_of(source)
    _forget_cached(target)
    try:
        with target.open("rb") as copied:
            found = digest_of(copied)
    except OSError as failure:
        raise NotSaved(
            phrase("{name} cannot be read back: {reason}", name=target.name, reason=in_words(failure))
        ) from failure
    if found != wanted:
        target.unlink(missing_ok=True)
        raise NotSaved(
            phrase("{name} does not read back as it was written: look at its disk or card", name=target.name)
        )


def _forget_cached(path: Path) -> None:
    """Have the system read the file from its disk or card, where it can be asked to."""
    if hasattr(os, "posix_fadvise"):
        descriptor = os.open(path, os.O_RDONLY)
        try:
            os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
        finally:
            os.close(descriptor)
