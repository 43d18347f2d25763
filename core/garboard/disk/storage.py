"""Files that survive a power cut: flushed before anything is called saved, old or new and never between.

[1] POSIX.1-2017: fsync, rename, and short counts of write.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO, BinaryIO

import attrs

from garboard import __version__
from garboard.disk.clock import wall_text
from garboard.faults import GarboardError, in_number, refusal

HULLS_FOLDER = "hulls"
"""In a folder of hull files, the folder they are in."""
LOCK_NAME = "writer.lock"
OWNER_ONLY = 0o600
"""Mode of a new file: only who runs the program may read it."""
_EVERYONES = 0o666
OWNERS_FOLDER = 0o700
EVERYONES_FOLDER = 0o777
"""Mode of a new folder for whoever may read in the one above it, less what the user's mask takes."""
UNFINISHED = ".unfinished-"
"""Name of a file not yet whole. Nothing in it was ever called saved."""
SET_ASIDE = ".damaged-"
"""Stands in the name of a file that was found damaged, before a number."""

_APPEND = os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
_APPEND |= getattr(os, "O_NONBLOCK", 0)  # a pipe is refused, where it would wait for a reader
_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)
_WRITE_AND_READ = os.O_RDWR | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
_LOCKED_BYTE = 1 << 30
_LESS_THAN_A_PAGE = 1 << 12
_CAN_BEGIN = hasattr(os, "posix_fadvise")
NOT_ALLOWED = (errno.EROFS, errno.EACCES, errno.EPERM)
"""What the system says where writing is not allowed."""
NOT_THERE_ANY_MORE = "is not there any more: it was moved away while in use, or its disk or card was taken out"
_FULL = (errno.ENOSPC, errno.EDQUOT)
_IN_USE = (errno.EACCES, errno.EAGAIN, errno.EDEADLK)


class NotSaved(GarboardError):
    """What was to be kept is not on the disk, and nothing of it was kept in part."""


class FolderInUse(GarboardError):
    """Another program, or another window of this one, writes in the folder."""


class FolderClosed(GarboardError):
    """A folder was given up: another program may write in it by now."""


class NotWritable(GarboardError, OSError):
    """A folder was to be written in and the system lets nobody, or not this user; nothing was changed."""

    def __init__(self, folder: Path, error: OSError) -> None:
        super().__init__(
            f"{folder} cannot be written: {refusal(error)}. Expected a folder this user can write in: name another, or "
            "allow writing in this one (a card's switch, the folder's owner). Nothing was changed"
        )
        self.errno = error.errno


class FolderGone(NotSaved):
    """What a program writes in is not where it was: moved away, or its disk was taken out."""

    def __init__(self, place: Path) -> None:
        super().__init__(f"{place} {NOT_THERE_ANY_MORE}. Bring it back to its place, then do this again")


class NotReadable(GarboardError, OSError):
    """A file the system does not let this user read, or whose disk fails; it is left as it is."""

    def __init__(self, path: Path, error: OSError) -> None:
        super().__init__(f"{path} cannot be read: {refusal(error)}. {_what_to_do('read', error)}")
        self.errno = error.errno


class NewerFormat(GarboardError):
    """A file was written by a newer version; it is left as it is."""


@attrs.frozen
class Damage:
    """A file that was not as it was left.

    file      : where it stood
    set_aside : the whole damaged file as found; None when the folder was opened for reading only
    recovered : entries read out of it and kept
    lost      : places in it that could not be read
    reason    : what was wrong
    cut       : how much shorter it was than when it was last saved [bytes]; 0 where that is not known
    size      : how long it was as found [bytes]
    held      : the digest of its entries when it was last saved; "" where that is not known
    had       : how many entries it held when it was last saved; 0 where that is not known
    is_gone   : whether the whole file is not there any more, or was not before others brought something of it back
    """

    file: Path
    set_aside: Path | None
    recovered: int
    lost: int
    reason: str
    cut: int = 0
    size: int = 0
    held: str = ""
    had: int = 0
    is_gone: bool = False

    def __str__(self) -> str:
        if self.is_gone:
            return f"{self.file.name}: {self.reason}"
        kept = f"; kept whole as {self.set_aside.name}" if self.set_aside else ""
        of_all = f"{self.recovered} of {in_number(self.had, 'entry', 'entries')}"
        entries = of_all if self.had > self.recovered else in_number(self.recovered, "entry", "entries")
        places = in_number(self.lost, "place")
        return f"{self.file.name}: {self.reason}. {entries} kept, {places} unreadable{kept}"


@attrs.frozen
class Loss:
    """What a hull file held once and nobody at hand holds.

    file    : the hull file
    entries : those known to be missing
    cut     : how much shorter the file is than when it was last saved [bytes]; 0 where that is not known
    tail    : how many entries stood in what was cut off, besides those known to be missing; None where nobody noted it
    gone    : how long the file was before it was gone [bytes]; 0 for one that is there, or kept as damaged
    """

    file: Path
    entries: int
    cut: int
    tail: int | None = None
    gone: int = 0

    @property
    def what(self) -> str:
        """What is missing, in words."""
        if self.gone:
            return f"what it held when it was last saved, {in_number(self.gone, 'byte')} in all"
        known = [in_number(self.entries, "entry", "entries")] if self.entries else []
        held = f"which held {in_number(self.tail, 'entry', 'entries')}" if self.tail else "in entries nobody can count"
        known += [f"{in_number(self.cut, 'byte')} at its end, {held}"] if self.cut and self.tail != 0 else []
        return " and ".join(known) or "all it held"

    def __str__(self) -> str:
        return f"{self.file.name}: {self.what}"


def not_saved(what: Path | str, error: OSError) -> NotSaved:
    """What to say of what the system did not let be written: which file, why, and what to do about it."""
    return NotSaved(f"{what} not saved: {refusal(error)}. {_what_to_do('write', error)}")


def _what_to_do(what: str, error: OSError) -> str:
    if error.errno in NOT_ALLOWED:
        return f"Let this user {what} it (its owner, its mode, a card's switch), then do this again"
    if error.errno in _FULL:
        return "Free some space, then do this again"
    if error.errno == errno.EIO:
        return "The disk or card is failing: copy its folder to another one, and go on there"
    return "Look at its disk or card, then do this again"


def is_users_own(folder: Path) -> bool:
    """Whether a folder is of the user who runs the program, and not everyone's to change: what it says may then be run.

    A stick that is formatted without owners counts as its user's own.
    """
    found = folder.stat()
    return not hasattr(os, "getuid") or (found.st_uid == os.getuid() and not found.st_mode & stat.S_IWOTH)


def what_else(path: Path) -> str:
    """What stands where a file should: "a folder", "a link", "a pipe or a device"; "" for a file, or nothing at all."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return ""
    if stat.S_ISREG(mode):
        return ""
    return "a folder" if stat.S_ISDIR(mode) else "a link" if stat.S_ISLNK(mode) else "a pipe or a device"


def opened_to_read(path: Path, buffering: int = -1) -> BinaryIO:
    """A file, buffered as by `open`. Raises OSError for what is none: a pipe would never open, and never end."""
    descriptor = os.open(path, _READ)
    if stat.S_ISREG(os.fstat(descriptor).st_mode):
        return os.fdopen(descriptor, "rb", buffering)
    os.close(descriptor)
    raise OSError(errno.EINVAL, "no file", str(path))


def content_of(path: Path) -> bytes:
    """What stands in a file. Errors as `opened_to_read`."""
    with opened_to_read(path, 0) as file:
        return file.read()


def flush(descriptor: int) -> None:
    """Return once the disk holds what was written [1]. Where the system offers to empty the drive's cache, do."""
    if sys.platform == "darwin":
        import fcntl

        fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
    else:
        os.fsync(descriptor)


def begin_flush(descriptor: int, start: int, size: int) -> None:
    """Have the system write what was appended while this program works on: the shorter `flush` waits for it.

    In Python a program asks for that by saying that it needs the bytes in memory no more. Linux begins to write then,
    and forgets whole pages only: of less than a page none.

    start, size : of what was appended [bytes]
    """
    if not (_CAN_BEGIN and 1 < size <= _LESS_THAN_A_PAGE):
        return
    try:
        os.posix_fadvise(descriptor, start, size - 1, os.POSIX_FADV_DONTNEED)
    except OSError:  # nothing depends on it
        return


def flush_folder(folder: Path) -> None:
    """Return once the disk holds the folder's names. Windows has no such call and writes them through."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path, mode: int = OWNERS_FOLDER) -> None:
    """Make a folder and those above it, so that they are still there after a power cut.

    mode : of a new one; its owner's alone unless given
    """
    if folder.is_dir():
        return
    make_folder(folder.parent, mode)
    folder.mkdir(mode, exist_ok=True)
    flush_folder(folder.parent)


def make_folder_of(path: Path) -> None:
    """Make the folder that a file is to be kept in. Raises NotSaved, naming the file: a full disk holds no new folder
    either."""
    try:
        make_folder(path.parent)
    except OSError as error:
        raise not_saved(path, error) from error


def open_for_append(path: Path, *, create: bool = False, mode: int = OWNER_ONLY) -> int:
    """A descriptor that writes at the end of the file only. A new file is its owner's alone."""
    return os.open(path, _APPEND | (os.O_CREAT | os.O_TRUNC if create else 0), mode)


def _open_to_write_and_read(path: Path, mode: int) -> int:
    return os.open(path, _WRITE_AND_READ, mode)


def append(descriptor: int, data: bytes, size_before: int | None = None) -> None:
    """Write at the end, all or nothing.

    size_before : where the file ends now [bytes]; None has the system say so, should it be needed
    errors      : OSError; the file was cut back to size_before
    """
    written = 0
    try:
        written = os.write(descriptor, data)
        if written != len(data):
            raise OSError(errno.ENOSPC, f"the disk took {written} of {len(data)} bytes; it is full")
    except OSError:
        with contextlib.suppress(OSError):
            before = os.fstat(descriptor).st_size - written if size_before is None else size_before
            os.ftruncate(descriptor, before)
        raise


def append_saved(path: Path, data: bytes, *, flushed: bool = True) -> None:
    """Write at the end of a file, made when it is not there; on the disk when this returns.

    flushed : otherwise the system has it: there it outlives this program, but not a dead battery
    errors : NotSaved; the file is as before
    """
    is_new = not path.exists()
    try:
        descriptor = open_for_append(path, create=is_new)
        try:
            size = os.fstat(descriptor).st_size
            append(descriptor, data, size)
            try:
                if flushed:
                    flush(descriptor)
            except OSError:
                os.ftruncate(descriptor, size)
                raise
        finally:
            os.close(descriptor)
        if is_new:
            flush_folder(path.parent)
    except OSError as error:
        raise not_saved(path, error) from error


def unfinished(path: Path) -> Path:
    """Where a file is written until it is whole, by the one program that may write in its folder."""
    return path.with_name(f"{UNFINISHED}{path.name}")


def _unfinished_of_ours(path: Path) -> Path:
    """The same where others may write the file at this moment: two would put each other's half into its place."""
    return path.with_name(f"{UNFINISHED}{secrets.token_hex(4)}-{path.name}")


def write_whole(path: Path, chunks: Iterable[bytes], *, private: bool = False, mode: int = OWNER_ONLY) -> None:
    """Write a file so that after any power cut it is either as before or whole, whoever else writes it meanwhile.

    private : its owner's alone from its first byte on, also where others could read the one before
    mode    : of a new file, less what the user's mask takes

    errors : NotSaved, naming the file; the file is as before
    """
    new = _unfinished_of_ours(path)
    try:
        with contextlib.ExitStack() as closing:
            descriptor = _begin(new, mode, lambda path, mode: open_for_append(path, create=True, mode=mode))
            closing.callback(os.close, descriptor)
            size = 0
            for chunk in chunks:
                append(descriptor, chunk, size)
                size += len(chunk)
            flush(descriptor)
            if os.name == "nt":  # which renames no open file
                closing.close()
            if not private:
                with contextlib.suppress(OSError):  # who could read it before still can; a new one is its owner's alone
                    new.chmod(stat.S_IMODE(path.stat().st_mode))
            new.replace(path)
        flush_folder(path.parent)
    except (NotSaved, OSError) as error:
        with contextlib.suppress(OSError):
            new.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise not_saved(path, error) from error
        raise


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[tuple[Path, IO[bytes]]]:
    """A new file that takes its place once the block around it has ended: it is as before or whole, as `write_whole`.

    yields  : where it lies until then, and the file: to write, and to read what was written
    errors  : OSError; what the block raises. The file is as before then
    """
    new = _unfinished_of_ours(path)
    try:
        with os.fdopen(_begin(new, OWNER_ONLY, _open_to_write_and_read), "w+b") as file:
            yield new, file
            file.flush()
            flush(file.fileno())
            if os.name == "nt":  # which renames no open file
                file.close()
            new.replace(path)
        flush_folder(path.parent)
    except BaseException:
        with contextlib.suppress(OSError):
            new.unlink(missing_ok=True)
        raise


def _begin(new: Path, mode: int, open_new: Callable[[Path, int], int]) -> int:
    """A new file, locked while it is written: whoever clears away what was left behind leaves this one."""
    while True:
        descriptor = open_new(new, mode)
        with contextlib.suppress(OSError):  # a share without locks
            lock(descriptor)
        if new.exists():  # else it was cleared away before it was locked
            return descriptor
        os.close(descriptor)


def write_out(path: Path, content: bytes | Iterable[bytes]) -> None:
    """Write a file for whoever may read files in its folder: a book, an export. It is as before or whole.

    content : its bytes, or pieces of them one after another
    A link is followed. A pipe or a device has no "before" and takes the bytes as they come.

    errors : NotSaved, naming the file; OSError from a pipe or a device
    """
    place, pieces = path.resolve(), [content] if isinstance(content, bytes) else content
    if place.exists() and what_else(place):
        with place.open("wb") as out:
            out.writelines(pieces)
        return
    remove_unfinished(place.parent, of=place.name)
    write_whole(place, pieces, mode=_EVERYONES)


def remove_unfinished(folder: Path, *, of: str = "") -> None:
    """Clear away files that a power cut or a killed program left unfinished; one being written stays.

    of : the name that they were to have; of any name unless given
    """
    for leftover in [name for name in _names_in(folder) if name.startswith(UNFINISHED) and name.endswith(of)]:
        with contextlib.suppress(OSError):  # a folder of that name, a card that lets nothing be removed
            if not _is_locked(folder / leftover):
                (folder / leftover).unlink(missing_ok=True)


def _names_in(folder: Path) -> Iterator[str]:
    """What lies in a folder, as `Path.glob` finds it, which takes three times as long of 100 000 names."""
    with contextlib.suppress(OSError), os.scandir(folder) as files:
        for file in files:
            yield file.name


def is_being_written(folder: Path) -> bool:
    """Whether a program writes in a folder at this moment, as far as this user can know."""
    with contextlib.suppress(OSError):
        return _is_locked(folder / LOCK_NAME)
    return False


def _is_locked(path: Path) -> bool:
    """Whether a program holds the lock of a file."""
    if what_else(path):  # a pipe never opens
        return False
    descriptor = os.open(path, os.O_RDONLY)
    try:
        lock(descriptor)
    except OSError as error:
        return error.errno in _IN_USE
    finally:
        os.close(descriptor)
    return False


def set_aside(path: Path) -> Path:
    """Keep a file as found under another name. The first name still stands until it is replaced or removed.

    A folder where a file should stand has only the new name then: no file can take its place while it is there.

    returns : the name it is kept under, "<name>.damaged-1" or the next free number
    """
    number = 1
    while (kept := path.with_name(f"{path.name}{SET_ASIDE}{number}")).exists():
        if kept.samefile(path):
            return kept
        number += 1
    if path.is_dir() and not path.is_symlink():
        path.rename(kept)
        flush_folder(path.parent)
        return kept
    try:
        os.link(path, kept)
        flush_folder(path.parent)
    except (OSError, AttributeError):  # a card without links, or a tablet's Python without os.link: copy
        write_whole(kept, [path.read_bytes()])
    return kept


def keep_beside(content: bytes, path: Path) -> Path:
    """Keep bytes that no program can read as data, beside the file of their name; once, however often they come.

    returns : where they are kept
    errors  : NotSaved
    """
    number = 1
    while (kept := path.with_name(f"{path.name}{SET_ASIDE}{number}")).exists():
        with contextlib.suppress(OSError):  # no file, or not to be read: another one
            if content_of(kept) == content:
                return kept
        number += 1
    write_whole(kept, [content])
    return kept


def hold(path: Path) -> int:
    """Make a file in a folder and lock it: as long as its descriptor is open, or the program lives.

    errors : FolderInUse where another program locked it first; FileNotFoundError where the folder went meanwhile
    """
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), OWNER_ONLY)
    try:
        lock(descriptor)
    except OSError as error:
        if error.errno in _IN_USE:
            os.close(descriptor)
            raise FolderInUse(f"{path.parent} is in use by another program") from error
        path.unlink(missing_ok=True)  # a disk without locks: nobody could tell whether it is in use
    else:
        if not path.exists():
            os.close(descriptor)
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path))
    return descriptor


class WriterLock:
    """Lets one program at a time write in a folder. Given up when the program ends, however it ends.

    errors : FolderInUse, naming who holds it
    """

    def __init__(self, folder: Path) -> None:
        import socket  # here: to read a folder nobody is named

        self.path = folder / LOCK_NAME
        self._place = str(self.path)
        self._descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            lock(self._descriptor)
        except OSError as error:
            holder = os.pread(self._descriptor, 200, 0).decode(errors="replace") if hasattr(os, "pread") else ""
            os.close(self._descriptor)
            if error.errno not in _IN_USE:
                raise FolderInUse(
                    f"{folder} cannot be locked ({error.strerror}): keep it on this machine's own disk, "
                    "not on a network share"
                ) from error
            raise FolderInUse(
                f"{folder} is being written by {holder or 'another program'}. Close it there, "
                "or open the folder for reading only"
            ) from error
        who = f"process {os.getpid()} on {socket.gethostname()} (garboard {__version__}, since {wall_text()})"
        self._who = who.encode()
        with contextlib.suppress(OSError):  # a full disk: the lock holds, only nobody is named in it
            os.ftruncate(self._descriptor, 0)
            os.write(self._descriptor, self._who)
        self._held = os.fstat(self._descriptor)  # which file it is stays so while it is open

    @property
    def is_in_place(self) -> bool:
        """Whether the lock that this program holds is the one others would ask for."""
        try:
            found = os.stat(self._place)  # noqa: PTH116  # at each save, when the processor is cold
        except OSError:
            return False
        return found.st_ino == self._held.st_ino and found.st_dev == self._held.st_dev

    @property
    def names_us(self) -> bool:
        """Whether the lock that stands there says that this program holds it: not every disk numbers its files."""
        with contextlib.suppress(OSError):
            return self.path.read_bytes() == self._who
        return False

    def release(self) -> None:
        """Let others write."""
        with contextlib.suppress(OSError):
            os.ftruncate(self._descriptor, 0)
        os.close(self._descriptor)


def lock(descriptor: int) -> None:
    """Lock a file as long as it is open. Raises OSError where another has it locked, or the disk locks none."""
    if sys.platform == "win32":
        import msvcrt

        os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        os.lseek(descriptor, 0, os.SEEK_SET)
    else:
        import fcntl

        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
