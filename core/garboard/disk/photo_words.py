"""What a photo's file says besides its dots: where it was taken, with whose camera, words; and the file without that.

The dots stay byte for byte: parts of the file are left out, nothing is packed anew. So the same photo gives the same
bytes on every machine, and one without such words is itself.

[1] ITU-T T.81 (JPEG), annex B: markers and the parts behind them. From memory.
[2] W3C, Portable Network Graphics: chunks, and the check at the end of each. From memory.
[3] The container of WebP: RIFF chunks, and the flags of the chunk VP8X. From memory.
[4] Exif and TIFF 6.0: a directory is a count, then twelve bytes an entry. From memory.
"""

from __future__ import annotations

import hashlib
import re
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import attrs

from garboard.disk.attachments import Attachments
from garboard.faults import refuse_endless

LARGEST_PHOTO = 100_000_000
"""A larger file is no photo of a phone or a camera [bytes]."""
BEGINNING = 16
"""So much of a file tells what it is [bytes]."""
_JPEG, _PNG, _RIFF, _WEBP = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF", b"WEBP"
_CLOSED = re.compile(rb"....ftyp|II\*\0|MM\0\*", re.DOTALL)
"""How files begin that may say where they were taken and that are not looked into: HEIC, films, raw photos."""
_NEXT = re.compile(rb"\xff+([^\x00\xff\xd0-\xd7])", re.DOTALL)
"""Of a JPEG, the beginning of the next part after coded dots [1]."""
_END, _SCAN, _COMMENT = 0xD9, 0xDA, 0xFE
_APPLICATION = range(0xE0, 0xF0)
_SHOWN = {0xE0: b"JFIF\0", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}
"""Of the parts that programs add to a JPEG, those that tell how it is to be shown, by marker and first bytes."""
_CHUNKS = frozenset(b"IHDR PLTE IDAT IEND tRNS cHRM gAMA iCCP sBIT sRGB pHYs bKGD cICP".split())
_WEBP_CHUNKS = frozenset((b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP"))
_HAS_EXIF, _HAS_XMP = 0x08, 0x04
_EXIF = b"Exif\0\0"
_ORIENTATION, _DETAILS, _PLACE, _TAKEN = 0x0112, 0x8769, 0x8825, 0x9003
_SHORT, _LONG = 3, 4
_MOST_TAGS = 1000
_TURNED = re.compile(rb"tiff:Orientation(?:=[\"']|>)([1-8])")
_PLACE_WORD = b"GPSL"
"""How the names begin in XMP that say where a photo was taken: GPSLatitude, GPSLongitude."""


@attrs.frozen
class Photo:
    """A photo's file, looked into.

    bare      : the same without what it says besides; the very content given where it says nothing
    has_place : whether it says where it was taken
    taken     : when its camera says it was taken, "2026-05-14T09:12:33"; "" where it does not say
    """

    bare: bytes
    has_place: bool
    taken: str


@attrs.define
class _Said:
    """What was found in a photo so far, beside its dots."""

    turned: int = 1
    has_place: bool = False
    taken: str = ""

    def exif(self, content: bytes) -> None:
        """Read a part of Exif [4]; what is damaged in it says nothing."""
        tiff = content.removeprefix(_EXIF)
        order = {b"II*\0": "<", b"MM\0*": ">"}.get(tiff[:4])
        if order is None or len(tiff) < 8:
            return
        first = _directory(tiff, order, *struct.unpack(f"{order}I", tiff[4:8]))
        self.has_place = self.has_place or _PLACE in first
        turned = struct.unpack(f"{order}H", first.get(_ORIENTATION, b"\0\0\0\0")[:2])[0]
        self.turned = turned if 1 < turned <= 8 else self.turned
        if _DETAILS in first:
            details = _directory(tiff, order, *struct.unpack(f"{order}I", first[_DETAILS]))
            at = struct.unpack(f"{order}I", details.get(_TAKEN, b"\0\0\0\0"))[0]
            self.taken = self.taken or _moment(tiff[at : at + 19] if at else b"")

    def words(self, content: bytes) -> None:
        """Read XMP and other words."""
        self.has_place = self.has_place or _PLACE_WORD in content
        if self.turned == 1 and (found := _TURNED.search(content)):
            self.turned = int(found[1])

    @property
    def kept(self) -> bytes:
        """As Exif, how the camera was held and nothing else; b"" for upright."""
        if self.turned == 1:
            return b""
        return b"MM\0*\0\0\0\x08" + struct.pack(">HHHIHHI", 1, _ORIENTATION, _SHORT, 1, self.turned, 0, 0)


def _directory(tiff: bytes, order: str, at: int) -> dict[int, bytes]:
    """Of a directory, the four bytes of each tag that hold its value or say where it is."""
    count = int.from_bytes(tiff[at : at + 2], "little" if order == "<" else "big")
    entries = (tiff[at + 2 + 12 * number :][:12] for number in range(min(count, _MOST_TAGS)))
    return {struct.unpack(f"{order}H", entry[:2])[0]: entry[8:] for entry in entries if len(entry) == 12}


def _moment(said: bytes) -> str:
    found = re.fullmatch(rb"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", said)
    return "{}-{}-{}T{}".format(*(part.decode() for part in found.groups())) if found else ""


def is_photo(beginning: bytes) -> bool:
    """Whether a file is one that can be looked into here, by how it begins."""
    return beginning.startswith((_JPEG, _PNG)) or (beginning[:4] == _RIFF and beginning[8:12] == _WEBP)


def is_closed(beginning: bytes) -> bool:
    """Whether a file may say where it was taken and cannot be looked into here: HEIC, films, raw photos."""
    return _CLOSED.match(beginning) is not None


def looked_into(content: bytes) -> Photo | None:
    """A photo's file looked into; None for what is no photo, or is damaged so that its parts cannot be told apart."""
    said = _Said()
    try:
        if content.startswith(_JPEG):
            bare = _bare_jpeg(content, said)
        elif content.startswith(_PNG):
            bare = _bare_png(content, said)
        elif is_photo(content[:BEGINNING]):
            bare = _bare_webp(content, said)
        else:
            return None
    except (ValueError, struct.error):
        return None
    return Photo(content if bare == content else bare, said.has_place, said.taken)


def without_words(content: bytes) -> bytes:
    """A photo without what it says besides its dots; what is no photo, or damaged, as it is."""
    photo = looked_into(content)
    return content if photo is None else photo.bare


def keep_file(attachments: Attachments, path: Path) -> tuple[str, str]:
    """Keep a file that a person gives: a photo without what it says besides its dots, anything else as it is.

    A photo that is here as it is was kept by an earlier version; it stays, so that it is not here twice.

    returns : its name, as `Attachments.put_file` gives it; when a camera says it was taken, "" where none says
    errors  : as `Attachments.put_file`
    """
    refuse_endless(path, "a photo or a recording")
    with path.open("rb") as file:
        beginning = file.read(BEGINNING)
    if not is_photo(beginning) or path.stat().st_size > LARGEST_PHOTO:
        return attachments.put_file(path), ""
    content = path.read_bytes()
    photo = looked_into(content)
    if photo is None or photo.bare is content or hashlib.sha256(content).hexdigest() in attachments:
        return attachments.put(content), ""
    return attachments.put(photo.bare), photo.taken


def _bare_jpeg(content: bytes, said: _Said) -> bytes:
    """Of a JPEG what draws it, up to its end: what cameras put behind that is a second picture, or a film."""
    parts: list[bytes] = []
    for marker, part in _jpeg_parts(content):
        inner = part[4:]
        if marker in _APPLICATION or marker == _COMMENT:
            if inner.startswith(_EXIF):
                said.exif(inner)
            elif marker != 0xE0:
                said.words(inner)
            if not (marker in _SHOWN and inner.startswith(_SHOWN[marker])):
                continue
        parts.append(part)
    if said.kept:
        turned = _EXIF + said.kept
        after = 1 if parts and parts[0][1] == 0xE0 else 0
        parts.insert(after, b"\xff\xe1" + struct.pack(">H", len(turned) + 2) + turned)
    return b"\xff\xd8" + b"".join(parts)


def _jpeg_parts(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Each part of a JPEG with its marker; the coded dots come with the part before them."""
    at = 2
    while True:
        start = at
        while content[at : at + 1] == b"\xff":
            at += 1
        if at == start or at >= len(content):
            raise ValueError("no marker where a part begins")
        marker = content[at]
        if marker == _END:
            yield marker, b"\xff\xd9"
            return
        length = int.from_bytes(content[at + 1 : at + 3], "big")
        begins, at = at - 1, at + 1 + length
        if length < 2 or at > len(content):
            raise ValueError("a part longer than the file")
        if marker == _SCAN:
            found = _NEXT.search(content, at)
            if found is None:
                raise ValueError("no end")
            at = found.start()
        yield marker, content[begins:at]


def _bare_png(content: bytes, said: _Said) -> bytes:
    parts: list[bytes] = []
    at = len(_PNG)
    while True:
        size, name = struct.unpack(">I4s", content[at : at + 8])
        end = at + 12 + size
        if end > len(content):
            raise ValueError("a chunk longer than the file")
        if name == b"eXIf":
            said.exif(content[at + 8 : end - 4])
        elif name in _CHUNKS:
            parts.append(content[at:end])
        else:
            said.words(content[at + 8 : end - 4])
        at = end
        if name == b"IEND":
            break
    if said.kept:
        checked = b"eXIf" + said.kept
        parts.insert(1, struct.pack(">I", len(said.kept)) + checked + struct.pack(">I", zlib.crc32(checked)))
    return _PNG + b"".join(parts)


def _bare_webp(content: bytes, said: _Said) -> bytes:
    parts: list[bytes] = []
    at, whole = 12, int.from_bytes(content[4:8], "little") + 8
    if whole > len(content):
        raise ValueError("cut off")
    while at + 8 <= whole:
        name, size = struct.unpack("<4sI", content[at : at + 8])
        end = at + 8 + size + size % 2
        if at + 8 + size > whole:
            raise ValueError("a chunk longer than the file")
        if name == b"EXIF":
            said.exif(content[at + 8 : at + 8 + size])
        elif name in _WEBP_CHUNKS:
            parts.append(content[at:end])
        else:
            said.words(content[at + 8 : at + 8 + size])
        at = end
    if said.kept:
        parts.append(b"EXIF" + struct.pack("<I", len(said.kept)) + said.kept)
    if parts and parts[0].startswith(b"VP8X"):
        flags = parts[0][8] & ~(_HAS_EXIF | _HAS_XMP) | (_HAS_EXIF if said.kept else 0)
        parts[0] = parts[0][:8] + bytes([flags]) + parts[0][9:]
    inner = _WEBP + b"".join(parts)
    return _RIFF + struct.pack("<I", len(inner)) + inner
