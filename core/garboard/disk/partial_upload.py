"""Attachments on their way here: the bytes that have come so far, kept so that a cut costs only the piece cut."""

from __future__ import annotations

import contextlib
import re
import threading
from pathlib import Path

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

_NAME = re.compile(r"[0-9a-f]{64}")


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
            storage.make_folder(self.folder)
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
        """Drop unfinished attachments until a piece has room; whoever brings one of those begins it again.

        errors : NotSaved when the attachment alone is too large
        """
        held = {path: path.stat() for path in self.folder.iterdir() if _NAME.fullmatch(path.name) and path.is_file()}
        too_much = sum(found.st_size for found in held.values()) + needed - self._most
        others = sorted((path for path in held if path.name != name), key=lambda path: held[path].st_mtime_ns)
        too_many = len(others) + 1 - MOST_AT_ONCE
        for path in sorted(others, key=lambda path: held[path].st_size)[: max(0, too_many)]:
            others.remove(path)
            path.unlink(missing_ok=True)
            too_much -= held[path].st_size
        for path in others:
            if too_much <= 0:
                return
            path.unlink(missing_ok=True)
            too_much -= held[path].st_size
        if too_much > 0:
            raise NotSaved(f"attachment {name} is larger than the {self._most} bytes kept here for unfinished ones")

    def _finish(self, name: str) -> None:
        path = self._path(name)
        if not self._attachments.take_over(path, name):
            path.unlink()
            raise AttachmentDamaged(f"attachment {name}: what came is not what its name says; send it again")

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise KeyError(f"{name!r} names no attachment: expected 64 hexadecimal characters")
        return self.folder / name
