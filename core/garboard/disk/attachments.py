"""Recordings and photos: kept whole, named by the hash of their content, checked each time they are read."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import re
import time
from collections.abc import Callable, Collection, Iterator
from pathlib import Path
from typing import Any, BinaryIO

from garboard.disk import storage
from garboard.disk.folder_names import COARSEST_CLOCK
from garboard.disk.sizes import changed
from garboard.disk.storage import Damage, NotSaved, what_else
from garboard.faults import GarboardError, refuse_endless

NAME_OF_NOTHING = hashlib.sha256(b"").hexdigest()
"""Name of the attachment that is rightly empty."""

_NAME = re.compile(r"[0-9a-f]{64}")
_CHUNK = 1 << 20

PROVED = "attachments.proved"
"""Notes beside the folder what the system said of each attachment before it was read through and found sound. Whatever
changes a file through the system changes that. What a disk loses beneath it, only reading shows. It may be removed at
any time: attachments are read through again then.
"""
_LINE = re.compile(r"^([0-9a-f]{64}) ([0-9]+ [0-9]+ -?[0-9]+ -?[0-9]+)$", re.MULTILINE)


def is_attachment_name(reference: str) -> bool:
    """Whether a reference can name a file that was kept: it is the hash of its content."""
    return _NAME.fullmatch(reference) is not None


def is_content_of(path: Path, name: str) -> bool:
    """Whether a file is what an attachment's name says; read through, however large."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == name


class InPieces(io.RawIOBase):
    """What is kept elsewhere than in a file, read as one.

    read : gives what begins at a place, at most so long [bytes]
    size : of all of it [bytes]
    """

    def __init__(self, read: Callable[[int, int], bytes], size: int) -> None:
        self._read, self._size, self._at = read, size, 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        self._at = max(0, offset + (0, self._at, self._size)[whence])
        return self._at

    def readinto(self, buffer: Any) -> int:
        piece = self._read(self._at, len(buffer))
        buffer[: len(piece)] = piece
        self._at += len(piece)
        return len(piece)


class AttachmentDamaged(GarboardError):
    """An attachment's content is not what its name says; it was set aside and can be fetched again."""


class Attachments:
    """The attachments of a folder of hull files.

    folder  : where they lie; made with the first one
    odd     : what has an attachment's name and is no file, found so far, each with what it is; never opened
    writing : whether attachments may be added and damaged ones set aside
    before_writing : raises NotSaved where the folder is not in its place any more
    """

    def __init__(self, folder: Path, *, writing: bool, before_writing: Callable[[], None] = lambda: None) -> None:
        self.folder = folder
        self.damage: list[Damage] = []
        self.odd: dict[Path, str] = {}
        self._writing = writing
        self._before_writing = before_writing
        self._proved: dict[str, str] | None = None
        if writing and folder.is_dir():
            storage.remove_unfinished(folder)

    def put(self, content: bytes) -> str:
        """Keep content; saved when this returns.

        returns : its name, SHA-256 in hexadecimal
        errors  : NotSaved
        """
        return self._keep(hashlib.sha256(content).hexdigest(), iter([content]))

    def put_file(self, path: Path) -> str:
        """Keep a copy of a file, however large; saved when this returns.

        returns : its name, SHA-256 in hexadecimal
        errors  : NotSaved, also when the file changed while it was copied; InputError for a pipe or a device
        """
        refuse_endless(path, "a photo or a recording")
        with path.open("rb") as file:
            name = hashlib.file_digest(file, "sha256").hexdigest()
        return self._keep(name, _chunks_of(path))

    def take_from(self, source: Attachments, name: str) -> None:
        """Keep a copy of what another folder holds and has proved, however large; saved when this returns.

        errors : NotSaved, also when it changed since it was proved; KeyError when the other folder does not hold it
        """
        self._keep(name, source.pieces(name))

    def take_over(self, path: Path, name: str) -> bool:
        """Make a file on the same disk the attachment of that name; kept when this returns.

        returns : False when its content is not what the name says; it stays where it is
        errors  : NotSaved
        """
        if not self._writing:
            raise NotSaved("the folder is open for reading only")
        self._before_writing()
        if not is_content_of(path, name):
            return False
        try:
            storage.make_folder(self.folder)
            path.replace(self._path(name))
            storage.flush_folder(self.folder)
        except OSError as error:
            raise storage.not_saved(self._path(name), error) from error
        return True

    def take_in_misplaced(self, lacking: Collection[str]) -> Iterator[tuple[str, Path]]:
        """Keep copies of what lies here under names that are no attachments': a person or a sync program renamed it, or
        it was set aside under the name of another.

        lacking : names of those that are looked for
        yields  : each that is back, and where it lay
        errors  : NotSaved
        """
        paths = sorted(self.folder.iterdir()) if self.folder.is_dir() else []
        for path in [path for path in paths if path.name not in self and not what_else(path)]:
            name = ""
            with contextlib.suppress(OSError), path.open("rb") as file:  # the disk refuses: it is passed over
                name = hashlib.file_digest(file, "sha256").hexdigest()
            if name in lacking and name not in self:
                yield self.put_file(path), path

    def read(self, name: str, start: int, most: int) -> bytes:
        """A piece of an attachment, not proved: whoever puts the pieces together proves the whole.

        start  : where the piece begins [bytes]
        most   : its greatest length [bytes]
        errors : KeyError when it is not here
        """
        try:
            with self._file(name).open("rb") as file:
                file.seek(start)
                return file.read(most)
        except FileNotFoundError:
            raise KeyError(f"attachment {name} is not on this machine") from None

    def pieces(self, name: str) -> Iterator[bytes]:
        """The content of an attachment, piece by piece; prove it first.

        errors : KeyError when it is no file
        """
        return _chunks_of(self._file(name))

    def get(self, name: str) -> bytes:
        """The content of an attachment.

        errors : KeyError when it is not here; AttachmentDamaged when its content is not what its name says
        """
        path = self._file(name)
        try:
            content = path.read_bytes()
        except FileNotFoundError:
            raise KeyError(f"attachment {name} is not on this machine; merge with the shop to fetch it") from None
        if hashlib.sha256(content).hexdigest() != name:
            raise AttachmentDamaged(self._report(path))
        return content

    def opened(self, name: str) -> BinaryIO:
        """An attachment as a file to read, proved just now; whoever asks for it closes it.

        errors : as `get`
        """
        self.prove(name)
        return self._file(name).open("rb")

    def prove(self, name: str) -> None:
        """Read an attachment through, however large, without holding it in memory.

        errors : as `get`
        """
        path = self._file(name)
        try:
            before, now = path.stat(), time.time_ns()
            with path.open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except FileNotFoundError:
            raise KeyError(f"attachment {name} is not on this machine") from None
        if found != name:
            raise AttachmentDamaged(self._report(path))
        self._note_proved(name, before, now)

    def not_proved(self) -> list[str]:
        """Names of the attachments here that nobody read through since they were changed, or none noted it."""
        return sorted(name for name in self.names() if self._proved_ones().get(name) != self._marks_of(name))

    def _marks_of(self, name: str) -> str:
        with contextlib.suppress(OSError):
            return _marks(self._path(name).stat())
        return ""

    def _proved_ones(self) -> dict[str, str]:
        if self._proved is None:
            self._proved = {}
            with contextlib.suppress(OSError):
                self._proved = dict(_LINE.findall(storage.content_of(self.folder.parent / PROVED).decode("latin-1")))
        return self._proved

    def _note_proved(self, name: str, found: os.stat_result, now: int) -> None:
        """Note it, unless the file changed just before: it may have changed once more and show the same time."""
        marks, proved = _marks(found), self._proved_ones()
        if proved.get(name) == marks or not (self._writing and now - changed(found) > COARSEST_CLOCK):
            return
        proved[name] = marks
        with contextlib.suppress(NotSaved):  # a line's end first: one that a power cut left costs no other
            storage.append_saved(self.folder.parent / PROVED, f"\n{name} {marks}\n".encode(), flushed=False)

    def names(self) -> frozenset[str]:
        """Names of the attachments here."""
        if not self.folder.is_dir():
            return frozenset()
        named = [path for path in self.folder.iterdir() if _NAME.fullmatch(path.name)]
        self.odd = {
            path: f"{what}, where a file should stand; it was passed over"
            for path in named
            if (what := what_else(path))
        }
        return frozenset(path.name for path in named if path not in self.odd)

    def __contains__(self, name: str) -> bool:
        if not _NAME.fullmatch(name):
            return False
        path = self._path(name)
        return path.is_file() and not what_else(path)

    def size(self, name: str) -> int:
        """Size of an attachment [bytes]; KeyError when it is not here."""
        if name not in self:
            raise KeyError(f"attachment {name} is not on this machine")
        return self._path(name).stat().st_size

    def _keep(self, name: str, chunks: Iterator[bytes]) -> str:
        if not self._writing:
            raise NotSaved("the folder is open for reading only")
        self._before_writing()
        if name in self and self._is_sound(name):
            return name
        try:
            storage.make_folder(self.folder)
        except OSError as error:
            raise storage.not_saved(self._path(name), error) from error
        storage.write_whole(self._path(name), _proved(name, chunks))
        return name

    def _is_sound(self, name: str) -> bool:
        with contextlib.suppress(AttachmentDamaged, OSError):  # what cannot be read is written anew
            self.prove(name)
            storage.flush_folder(self.folder)
            return True
        return False

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise KeyError(f"{name!r} names no attachment: expected 64 hexadecimal characters")
        return self.folder / name

    def _file(self, name: str) -> Path:
        """Where an attachment is read from: never a pipe, which never ends, nor a link to somewhere else."""
        path = self._path(name)
        if what := what_else(path):
            raise KeyError(f"attachment {name} is {what} on this machine, not a file")
        return path

    def _report(self, path: Path) -> str:
        kept = None
        if self._writing:
            kept = storage.set_aside(path)
            path.unlink()
            storage.flush_folder(self.folder)
        self.damage.append(Damage(path, kept, 0, 1, "the content is not what its name says"))
        return f"attachment {path.name} was damaged on the disk; merge with the shop to fetch it again"


def _marks(found: os.stat_result) -> str:
    """What changes with a file, and not where a disk is put in anew."""
    return f"{found.st_ino} {found.st_size} {found.st_mtime_ns} {found.st_ctime_ns}"


def _chunks_of(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            yield chunk


def _proved(name: str, chunks: Iterator[bytes]) -> Iterator[bytes]:
    digest = hashlib.sha256()
    for chunk in chunks:
        digest.update(chunk)
        yield chunk
    if digest.hexdigest() != name:
        raise NotSaved("the file changed while it was copied; copy it again once nothing writes to it")
