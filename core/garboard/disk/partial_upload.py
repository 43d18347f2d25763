"""Attachments on their way here: the bytes that have come so far, kept so that a cut costs only the piece cut."""

from __future__ import annotations

import contextlib
import re
import shutil
import threading
from collections.abc import Mapping
from pathlib import Path
from stat import S_ISREG

from garboard.disk import storage
from garboard.disk.attachments import AttachmentDamaged, Attachments
from garboard.disk.storage import NotSaved
from garboard.faults import GarboardError

FOLDER = "arriving"
MOST_UNFINISHED = 4 << 30
"""Bytes of unfinished attachments a folder keeps: eight of the largest. The one longest untouched goes first."""
MOST_AT_ONCE = 200
"""Unfinished attachments a folder keeps: a tablet brings one after another, and each piece looks at all of them. The
smallest goes first, so that many that were only begun end none that is well on its way."""
LEFT_FREE = 64 << 20
"""Attachments never take the last of a disk [bytes]: readings and signatures need it."""

_NAME = re.compile(r"[0-9a-f]{64}")


def to_drop(arriving: Mapping[str, tuple[int, int]], name: str, needed: int, most: int, lacking: int = 0) -> list[str]:
    """Which unfinished attachments go so that a piece of one has room; whoever brings one of those begins it again.

    arriving : bytes held of each, and when it was last added to
    name     : the one that the piece belongs to
    needed   : size of the piece [bytes]
    most     : how much all may take together [bytes]
    lacking  : how much the disk lacks [bytes]
    errors   : NotSaved when the attachment alone is too large, or the disk too full
    """
    held = {one: size for one, (size, _) in arriving.items()}
    too_much = max(sum(held.values()) + needed - most, lacking)
    others = sorted((one for one in arriving if one != name), key=lambda one: arriving[one][1])
    too_many = len(others) + 1 - MOST_AT_ONCE
    dropped = sorted(others, key=held.__getitem__)[: max(0, too_many)]
    freed = sum(map(held.__getitem__, dropped))
    for one in others:
        if freed < too_much and one not in dropped:
            dropped.append(one)
            freed += held[one]
    if freed < too_much and lacking > freed:
        raise NotSaved(
            f"photo or recording {name[:12]}: the disk has less than {LEFT_FREE >> 20} MB free; readings need it. "
            "Free some space there, then do this again"
        )
    if freed < too_much:
        raise NotSaved(
            f"photo or recording {name[:12]} is larger than the {most} bytes kept there for unfinished ones. Carry it "
            "over on a stick"
        )
    return dropped


class OutOfPlace(GarboardError):
    """A piece does not follow what is held.

    held : bytes held, where the next piece must start
    """

    def __init__(self, held: int) -> None:
        self.held = held
        super().__init__(f"{held} bytes are held; the next piece starts there")


class Arriving:
    """Unfinished attachments beside a folder's finished ones.

    folder      : where they lie; made with the first one
    attachments : where a finished one goes
    most        : how much the unfinished ones may take together [bytes]
    """

    def __init__(self, folder: Path, attachments: Attachments, most: int = MOST_UNFINISHED) -> None:
        self.folder = folder
        self._most = most
        self._attachments = attachments
        self._guard = threading.Lock()

    def held(self, name: str) -> int:
        """Bytes of an unfinished attachment held [bytes]."""
        path = self._path(name)
        return path.stat().st_size if path.exists() else 0

    def add(self, name: str, start: int, piece: bytes, total: int) -> int:
        """Keep the next piece; saved when this returns. With the last one the attachment is proved and finished.

        name    : SHA-256 of the whole content, in hexadecimal
        start   : where the piece belongs [bytes]
        total   : size of the whole content [bytes]
        returns : bytes now held
        errors  : OutOfPlace; NotSaved; AttachmentDamaged when the whole is not what its name says, and is dropped
        """
        with self._guard:
            if self._is_here(name, total):
                return total
            held = self.held(name)
            if start != held or start + len(piece) > total:
                raise OutOfPlace(held)
            storage.make_folder_of(self._path(name))
            self._make_room(name, len(piece))
            storage.append_saved(self._path(name), piece)
            if held + len(piece) == total:
                self._finish(name)
            return held + len(piece)

    def _is_here(self, name: str, total: int) -> bool:
        """Whether it is finished. One of another length is damaged: it is set aside, and comes again."""
        if name not in self._attachments:
            return False
        if self._attachments.size(name) == total:
            return True
        with contextlib.suppress(AttachmentDamaged):
            self._attachments.prove(name)
            raise OutOfPlace(self._attachments.size(name))  # it is sound: what comes is not of this name
        return False

    def _make_room(self, name: str, needed: int) -> None:
        """Drop unfinished attachments until a piece has room.

        errors : NotSaved when the attachment alone is too large, or the disk too full
        """
        held = {path.name: path.stat() for path in self.folder.iterdir() if _NAME.fullmatch(path.name)}
        arriving = {one: (found.st_size, found.st_mtime_ns) for one, found in held.items() if S_ISREG(found.st_mode)}
        lacking = needed + LEFT_FREE - shutil.disk_usage(self.folder).free
        for one in to_drop(arriving, name, needed, self._most, lacking):
            self._path(one).unlink(missing_ok=True)

    def _finish(self, name: str) -> None:
        path = self._path(name)
        if not self._attachments.take_over(path, name):
            path.unlink()
            raise AttachmentDamaged(f"attachment {name}: what came is not what its name says; send it again")

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise KeyError(f"{name!r} names no attachment: expected 64 hexadecimal characters")
        return self.folder / name
