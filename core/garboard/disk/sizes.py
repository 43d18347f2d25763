"""How long each hull file was when it was last flushed.

Every line of a hull file proves itself, so one that lost its last lines looks sound: only its length tells. A length is
noted after the file was flushed and is not flushed itself. After a power cut the note says too little, never too much.

A file whose time of change is the one noted is as this program left it: it need not be opened to learn which hull it
belongs to. One that besides is the same file, of the noted length, was proved, and need not be opened to learn what it
holds. Whatever changed, was copied or put back since has another time, and is opened.

The notes of many hulls have an index (hull_index.py), so that those of a few are found without reading all.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from garboard.disk import hull_index, storage
from garboard.disk.hull_index import NEVER, Found, HullIndex, IndexDoubted, Noted, digest_in, read_fields
from garboard.disk.storage import NotSaved

FILE = "hulls.sizes"

_LINE = re.compile(
    r"^([A-Z0-9]+-[0-9a-f]{16}\.hull(?:\.damaged-[0-9]{1,9})?) "
    r"([0-9]{1,15}|[0-9a-f]{64}|[#*][0-9]{1,9}|=[0-9]{1,20}|@[0-9]{1,20}\.[0-9]{1,20}\.[0-9]{1,20})\n",
    re.MULTILINE,
)
"""A length in one line; in others, which older versions pass over, digest and number of the entries, time of change,
how many ids were noted (known_ids.py), and times and number of the file as it was when its digest was proved.

A file kept beside as damaged is noted with what it once had; so is one that is gone, as if it were kept under GONE,
which is no file.
"""
GONE = f"{storage.SET_ASIDE}0"
_DIGEST_LENGTH = 64
_LONGEST_KEPT = 1 << 16
"""A longer file of notes is written anew when the folder is opened for writing [bytes]."""
_SHARE_NOT_INDEXED = 16
"""The index is made again when more than one part in so many of the notes was added since."""


_FEW = 200
"""Of so many hull files each is looked up; of more the whole index is read."""


class FileSizes:
    """The lengths noted in a folder.

    folder  : of the hull files' folder
    writing : whether lengths may be noted
    """

    def __init__(self, folder: Path, *, writing: bool) -> None:
        self._path = folder / FILE
        self._index_path = folder / hull_index.FILE
        self._writing = writing
        self._notes: dict[str, Noted] | None = None
        self._index: HullIndex | None = None
        self._is_whole = True
        """Whether index and notes in memory are all there is; not once the index was given back."""
        self._descriptor: int | None = None

    def least(self, name: str) -> int:
        """How long a hull file must be at least [bytes]; 0 where nothing is noted."""
        return self._of(name).size or 0

    def of_kept(self) -> dict[str, int]:
        """How long each file kept beside as damaged once was [bytes], by the name it is kept under."""
        return {name: self.least(name) for name in self._kept_beside()}

    def hulls_not_among(self, here: Collection[str]) -> list[str]:
        """Names of hull files that something is noted of, but for those that are here."""
        newer = self._loaded()
        found = {name for name in newer if name not in here}
        if self._index is not None:
            try:
                found |= {name for name, _ in self._index.lines() if name not in here}
            except (IndexDoubted, OSError):
                found = {name for name in self._read_all() if name not in here}
        return sorted(name for name in found if storage.SET_ASIDE not in name and self.least(name))

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
        return self._of(name).digest or ""

    def count(self, name: str) -> int:
        """How many entries a file held when its length was noted; 0 where nobody noted it."""
        return self._of(name).entries or 0

    def known(self, name: str) -> int:
        """How many entries a file held when the ids of all of them were noted; 0 where nobody noted them."""
        return self._of(name).known or 0

    def unchanged(self, files: Mapping[str, Found | None]) -> Iterator[tuple[str, str, int]]:
        """Hull files that are as they were when they were last noted to be of their names. Of those that are as they
        were when what they hold was proved, its digest and number of entries too; of others "" and 0.
        """
        newer = self._loaded()
        try:
            lines = self._index.lines() if self._index is not None and len(files) > _FEW else None
            for name, fields in lines or ():
                if not (found := files.get(name)) or name in newer:
                    continue
                if as_it_was := digest_in(fields, found):
                    yield name, *as_it_was
                else:
                    yield from _unchanged(name, read_fields(fields), found)
            looked_up = [name for name in newer if name in files] if lines is not None else files
        except (IndexDoubted, OSError):
            looked_up = files
        for name in looked_up:
            if found := files[name]:
                yield from _unchanged(name, self._of(name), found)

    def note_found(self, files: Mapping[str, Found]) -> None:
        """Note files that were found to be hull files of their names, with the time each was last changed."""
        self._note({name: Noted(changed=found.changed) for name, found in files.items()})

    def note_known(self, counts: Mapping[str, int]) -> None:
        """Note that the ids of all entries of files were noted, and how many those are."""
        self._note({name: Noted(known=count) for name, count in counts.items()})

    def note(
        self,
        sizes: Mapping[str, int],
        digests: Mapping[str, str] = MappingProxyType({}),
        counts: Mapping[str, int] = MappingProxyType({}),
        proved: Mapping[str, Found] = MappingProxyType({}),
    ) -> None:
        """Note the lengths of files that were flushed. What cannot be noted, on a full disk, is only told later.

        digests : of the entries in those files, where they are known
        counts  : how many entries those are, where that is known
        proved  : files that hold just that, as the system says they are now
        """
        shrunk = any(size < self.least(name) for name, size in sizes.items())
        stamps = {name: found.stamp for name, found in proved.items() if found.is_file and found.size == sizes[name]}
        self._note(
            {
                name: Noted(size, digests.get(name, ""), counts.get(name, 0), proved=stamps.get(name, NEVER))
                for name, size in sizes.items()
            },
            at_once=shrunk,  # a note that says too much would call a sound file cut off
        )

    def close(self) -> None:
        """Give the files back."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None
        if self._index is not None:
            self._index.close()
            self._index = None
            self._is_whole = False

    def _note(self, new: Mapping[str, Noted], *, at_once: bool = False) -> None:
        notes = self._loaded()
        for name, noted in new.items():
            notes[name] = noted.over(notes.get(name, Noted()))
        if not new or not self._writing:
            return
        with contextlib.suppress(OSError):
            os.write(self._opened(), "".join(_lines(name, noted) for name, noted in new.items()).encode())
            if at_once:
                storage.flush(self._opened())

    def _opened(self) -> int:
        if self._descriptor is None:
            self._descriptor = storage.open_for_append(self._path, create=not self._path.exists())
        return self._descriptor

    def _of(self, name: str) -> Noted:
        noted = self._loaded().get(name, Noted())
        if self._index is not None and None in noted:
            try:
                noted = noted.over(self._index.of(name))
            except (IndexDoubted, OSError):
                return self._read_all().get(name, Noted())
            self._loaded()[name] = noted
        return noted

    def _kept_beside(self) -> list[str]:
        notes = self._loaded()
        found = dict.fromkeys(name for name in notes if storage.SET_ASIDE in name)
        if self._index is not None:
            try:
                found |= dict.fromkeys(self._index.kept_beside())
            except (IndexDoubted, OSError):
                return [name for name in self._read_all() if storage.SET_ASIDE in name]
        return [*found]

    def _loaded(self) -> dict[str, Noted]:
        """What was noted since the index was made, or all where there is none."""
        if self._notes is None:
            self._index = HullIndex.opened(self._index_path, self._path)
            start = self._index.until if self._index else 0
            data = self._read_from(start)
            is_long = len(data) > max(_LONGEST_KEPT, start // _SHARE_NOT_INDEXED)
            if self._writing and (is_long or (data and not data.endswith(b"\n"))):
                return self._read_all()
            self._notes = _read_notes(data)
        return self._notes if self._is_whole else self._read_all()

    def _read_from(self, start: int) -> bytes:
        with contextlib.suppress(OSError), self._path.open("rb") as file:
            file.seek(start)
            return file.read()
        return b""

    def _read_all(self) -> dict[str, Noted]:
        """All that is noted, without the index; it is made again where that may be done."""
        if self._index is not None:
            self._index.close()
            self._index = None
        data, newer = self._read_from(0), self._notes or {}
        self._notes, self._is_whole = _read_notes(data), True
        for name, noted in newer.items():
            self._notes[name] = noted.over(self._notes.get(name, Noted()))
        if self._writing:
            kept = sum(_lines(name, noted).count("\n") for name, noted in self._notes.items())
            is_long = len(data) > _LONGEST_KEPT and data.count(b"\n") > 2 * kept  # of many hulls once each is long
            if is_long or (data and not data.endswith(b"\n")):
                data = self._write_anew(self._notes)
            if len(data) > _LONGEST_KEPT:
                hull_index.write(self._index_path, self._path, len(data), self._notes)
        return self._notes

    def _write_anew(self, notes: Mapping[str, Noted]) -> bytes:
        """What the file of notes holds now; nothing where it could not be written."""
        data = "".join(_lines(name, noted) for name, noted in notes.items()).encode()
        if self._descriptor is not None:  # of the file that another takes the place of
            os.close(self._descriptor)
            self._descriptor = None
        with contextlib.suppress(NotSaved):
            storage.write_whole(self._path, (data,))
            return data
        return b""


def _unchanged(name: str, noted: Noted, found: Found) -> Iterator[tuple[str, str, int]]:
    if noted.proved == found.stamp and noted.size == found.size and noted.digest and found.is_file:
        yield name, noted.digest, noted.entries or 0
    elif noted.changed == found.changed:
        yield name, "", 0


def _read_notes(data: bytes) -> dict[str, Noted]:
    """What lines of notes say, the last of a kind of each hull."""
    found: dict[str, list[Any]] = {}
    for line in _LINE.finditer(data.decode("latin-1")):  # no line with another letter is one of these
        name, what = line.groups()
        of = found.setdefault(name, [None] * len(Noted._fields))
        if what.startswith("="):
            of[4] = int(what[1:])
        elif what.startswith("@"):
            mtime, ctime, inode = map(int, what[1:].split("."))
            of[5] = mtime, ctime, inode
        elif len(what) == _DIGEST_LENGTH:
            of[1] = what
        elif what.startswith("*"):
            of[3] = int(what[1:])
        elif what.startswith("#"):
            of[2] = int(what[1:])
        else:  # a length alone makes digest and number before it void
            of[0], of[1], of[2], of[5] = int(what), "", 0, NEVER
    return {name: Noted(*of) for name, of in found.items()}


def _lines(name: str, noted: Noted) -> str:
    """What is noted of a file: its length before its digest and number, which a length makes void."""
    size, digest, count, known, changed, proved = noted
    lines = [] if size is None else [f"{name} {size}\n"]
    lines += [f"{name} {digest}\n"] if digest else []
    lines += [f"{name} #{count}\n"] if count else []
    lines += [f"{name} *{known}\n"] if known is not None else []
    lines += [f"{name} ={changed}\n"] if changed else []
    lines += [f"{name} @{'.'.join(map(str, proved))}\n"] if proved and proved != NEVER else []
    return "".join(lines)
