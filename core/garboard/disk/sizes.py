"""How long each hull file was when it was last flushed.

Every line of a hull file proves itself, so one that lost its last lines looks sound: only its length tells. A length is
noted after the file was flushed and is not flushed itself. After a power cut the note says too little, never too much.

A file whose time of change is the one noted is as this program left it: it need not be opened to learn which hull it
belongs to. Whatever changed, was copied or put back since has another time, and is opened.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from garboard.disk import storage
from garboard.disk.storage import NotSaved

FILE = "hulls.sizes"

_LINE = re.compile(
    r"^([A-Z0-9]+-[0-9a-f]{16}\.hull(?:\.damaged-[0-9]{1,9})?) "
    r"([0-9]{1,15}|[0-9a-f]{64}|[#*][0-9]{1,9}|=[0-9]{1,20})\n",
    re.MULTILINE,
)
"""A length in one line; in others, which older versions pass over, digest and number of the entries, time of change,
and how many ids were noted (known_ids.py).

A file kept beside as damaged is noted with what it once had; so is one that is gone, as if it were kept under GONE,
which is no file.
"""
GONE = f"{storage.SET_ASIDE}0"
_DIGEST_LENGTH = 64
_LONGEST_KEPT = 1 << 16
"""A longer file of notes is written anew when the folder is opened for writing [bytes]."""


class FileSizes:
    """The lengths noted in a folder.

    folder  : of the hull files' folder
    writing : whether lengths may be noted
    """

    def __init__(self, folder: Path, *, writing: bool) -> None:
        self._path = folder / FILE
        self._writing = writing
        self._noted: dict[str, int] | None = None
        self._digests: dict[str, str] = {}
        self._counts: dict[str, int] = {}
        self._changed: dict[str, int] = {}
        self._known: dict[str, int] = {}
        self._descriptor: int | None = None

    def least(self, name: str) -> int:
        """How long a hull file must be at least [bytes]; 0 where nothing is noted."""
        return self._all().get(name, 0)

    def of_kept(self) -> dict[str, int]:
        """How long each file kept beside as damaged once was [bytes], by the name it is kept under."""
        return {name: size for name, size in self._all().items() if storage.SET_ASIDE in name}

    def of_hulls(self) -> dict[str, int]:
        """How long each hull file was when it was last flushed [bytes], by its name."""
        return {name: size for name, size in self._all().items() if size and storage.SET_ASIDE not in name}

    def note_gone(self, name: str) -> None:
        """Remember a hull file that is not there any more, before another is begun under its name."""
        if size := self.least(name):
            gone, held, count = f"{name}{GONE}", self.digest(name), self.count(name)
            self.note_known({gone: self.known(name)})
            self.note({gone: size, name: 0}, {gone: held} if held else {}, {gone: count} if count else {})

    def forget(self, name: str, *, is_back: bool) -> None:
        """Of a hull file that was removed on purpose, or that is back as far as it can be, nobody is told any more."""
        self.note({f"{name}{GONE}": 0} if is_back else {f"{name}{GONE}": 0, name: 0})

    def digest(self, name: str) -> str:
        """The digest of the entries a file held when its length was noted; "" where nobody noted it."""
        self._all()
        return self._digests.get(name, "")

    def count(self, name: str) -> int:
        """How many entries a file held when its length was noted; 0 where nobody noted it."""
        self._all()
        return self._counts.get(name, 0)

    def known(self, name: str) -> int:
        """How many entries a file held when the ids of all of them were noted; 0 where nobody noted them."""
        self._all()
        return self._known.get(name, 0)

    def note_known(self, counts: Mapping[str, int]) -> None:
        """Note that the ids of all entries of files were noted, and how many those are."""
        self._all()
        self._known.update(counts)
        if counts and self._writing:
            with contextlib.suppress(OSError):
                os.write(self._opened(), _lines_of_known(counts))

    def is_unchanged(self, name: str, found: os.stat_result) -> bool:
        """Whether a hull file is as it was when it was last noted to be one."""
        self._all()
        return self._changed.get(name) == _changed(found)

    def note_found(self, files: Mapping[str, os.stat_result]) -> None:
        """Note files that were found to be hull files of their names, with the time each was last changed."""
        if not files or not self._writing:
            return
        self._all()
        changed = {name: _changed(found) for name, found in files.items()}
        self._changed.update(changed)
        with contextlib.suppress(OSError):
            os.write(self._opened(), _lines_of_changes(changed))

    def note(
        self,
        sizes: Mapping[str, int],
        digests: Mapping[str, str] = MappingProxyType({}),
        counts: Mapping[str, int] = MappingProxyType({}),
    ) -> None:
        """Note the lengths of files that were flushed. What cannot be noted, on a full disk, is only told later.

        digests : of the entries in those files, where they are known
        counts  : how many entries those are, where that is known
        """
        noted = self._all()
        shrunk = any(size < noted.get(name, 0) for name, size in sizes.items())
        noted.update(sizes)
        for name in sizes:
            self._digests.pop(name, "")
            self._counts.pop(name, 0)
        self._digests.update(digests)
        self._counts.update(counts)
        lines = _lines(sizes, digests, counts)
        if not lines or not self._writing:
            return
        with contextlib.suppress(OSError):
            os.write(self._opened(), lines)
            if shrunk:  # a note that says too much would call a sound file cut off
                storage.flush(self._opened())

    def close(self) -> None:
        """Give the file back."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _opened(self) -> int:
        if self._descriptor is None:
            self._descriptor = storage.open_for_append(self._path, create=not self._path.exists())
        return self._descriptor

    def _all(self) -> dict[str, int]:
        if self._noted is None:
            data = b""
            with contextlib.suppress(OSError):
                data = self._path.read_bytes()
            self._noted = {}
            for name, what in _LINE.findall(data.decode("latin-1")):  # no line with another letter is one of these
                if what.startswith("="):
                    self._changed[name] = int(what[1:])
                elif len(what) == _DIGEST_LENGTH:
                    self._digests[name] = what
                elif what.startswith("*"):
                    self._known[name] = int(what[1:])
                elif what.startswith("#"):
                    self._counts[name] = int(what[1:])
                else:
                    self._noted[name] = int(what)
                    self._digests.pop(name, "")
                    self._counts.pop(name, 0)
            kept = sum(len(one) for one in (self._noted, self._digests, self._counts, self._changed, self._known))
            is_long = len(data) > _LONGEST_KEPT and data.count(b"\n") > 2 * kept  # of many hulls once each is long
            if self._writing and (is_long or (data and not data.endswith(b"\n"))):
                self._write_anew(self._noted)
        return self._noted

    def _write_anew(self, noted: Mapping[str, int]) -> None:
        with contextlib.suppress(NotSaved):
            others = _lines_of_changes(self._changed) + _lines_of_known(self._known)
            storage.write_whole(self._path, (_lines(noted, self._digests, self._counts) + others,))


def _lines(sizes: Mapping[str, int], digests: Mapping[str, str], counts: Mapping[str, int]) -> bytes:
    """A length comes before its digest and number: a length alone makes earlier ones void."""
    lines = [f"{name} {size}\n" for name, size in sizes.items()]
    lines += [f"{name} {digest}\n" for name, digest in digests.items()]
    return "".join(lines + [f"{name} #{count}\n" for name, count in counts.items()]).encode()


def _lines_of_changes(changed: Mapping[str, int]) -> bytes:
    return "".join(f"{name} ={time}\n" for name, time in changed.items()).encode()


def _lines_of_known(counts: Mapping[str, int]) -> bytes:
    return "".join(f"{name} *{count}\n" for name, count in counts.items()).encode()


def _changed(found: os.stat_result) -> int:
    """The later of two times [ns]: one tells of a change on every system, the other also that a file was put back."""
    return max(found.st_mtime_ns, found.st_ctime_ns)
