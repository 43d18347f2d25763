"""What a tablet and the shop server say to each other: the forms both sides share.

The whole protocol stands in plugins/garboard_shop/PROTOCOL.md.

[1] RFC 9530: the field Content-Digest.
[2] RFC 1952: gzip.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re
import zlib
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import NamedTuple
from urllib.parse import quote, unquote

from garboard.disk.json_text import read_json
from garboard.faults import GarboardError
from garboard.records import JsonValue

PROTOCOL = 1
SHORT_DIGITS = 6
"""Hexadecimal characters of an id in a first exchange. Two ids that begin alike are told apart in the next round."""
WHOLE_DIGITS = 32
DIGEST_DIGITS = 32
"""Characters of a hull's digest as sent: it tells hulls apart as surely as ids tell entries apart."""
BUCKETS = "0123456789abcdef"
"""Hash buckets: the ids of a hull fall into one for each character an id can begin with."""
BUCKET_DIGEST_DIGITS = 4
"""Hexadecimal characters of a bucket's digest. If two buckets share one, the digests of the whole hull differ."""

MOST_ENTRIES = 500
"""Entries in one request."""
LARGEST_BATCH = 2 << 20
"""Bytes of entries a tablet puts into one request, before compression."""
LARGEST_BODY = 4 << 20
"""Bytes of a request's or an answer's body as sent."""
LARGEST_TEXT = 16 << 20
"""Bytes of a body once decompressed."""
MOST_VALUES = 100_000
"""JSON values in one question: more than it has hulls. Parsed, a value takes thirty times the bytes it is spelt in."""
LARGEST_PIECE = 1 << 20
"""Bytes of an attachment in one request."""
LARGEST_ATTACHMENT = 512 << 20
"""Bytes of an attachment."""

TIME = "Garboard-Time"
"""Field: the sender's wall time since 1970-01-01 UTC [ms]."""
HELD = "Garboard-Held"
"""Field: how many bytes of an attachment the shop holds."""
DEVICE = "Garboard-Device"
"""Field: what stands for the tablet in the entries it writes."""
ROLE = "Garboard-Role"
"""Field: what the tablet may do, from the shop."""

MANAGERS = "Garboard-Managers"
"""Field: what stands in entries for those whose decisions hold, from the shop; each escaped as in an address."""

NOTHING: Mapping[str, str] = MappingProxyType({})

_COMPRESS_FROM = 200
_GZIP = 31
_HALF_A_CHARACTER = re.compile("[\ud800-\udfff]")
"""JSON can spell what UTF-8 cannot say."""


class Garbled(GarboardError, ValueError):
    """A body is not what the protocol says; nothing in it is used."""


class Differences(NamedTuple):
    """The shop's answer to the ids a tablet holds.

    needs : by hull, beginnings of the ids the shop does not hold
    left  : hulls there was no room for; ask for them again once these are kept. The number says how many entries
            of the hull at least
    lines : entries the tablet does not hold, as bytes
    """

    needs: dict[str, list[str]]
    left: dict[str, int]
    lines: list[bytes]


class Question(NamedTuple):
    """What a tablet holds of some hulls.

    held    : by hull, beginnings of its ids
    digits  : characters in each beginning
    buckets : by hull, first characters of the ids that are compared; a hull not named is compared whole
    """

    held: dict[str, frozenset[str]]
    digits: int
    buckets: dict[str, str]


def content_digest(body: bytes) -> str:
    """The field Content-Digest [1] of a body as sent."""
    return f"sha-256=:{base64.b64encode(hashlib.sha256(body).digest()).decode()}:"


def packed(body: bytes) -> tuple[bytes, dict[str, str]]:
    """A body ready to send, and the fields that go with it."""
    fields = {}
    if len(body) >= _COMPRESS_FROM:
        body = gzip.compress(body, compresslevel=6, mtime=0)
        fields["Content-Encoding"] = "gzip"
    return body, {**fields, "Content-Digest": content_digest(body)}


def unpacked(body: bytes, encoding: str, digest: str, most: int = LARGEST_TEXT) -> bytes:
    """A received body, proved and decompressed.

    encoding : the field Content-Encoding, "" or "gzip"
    digest   : the field Content-Digest
    most     : bytes it may have once decompressed
    Raises Garbled when it is cut, altered, too large, or packed in another way.
    """
    if digest != content_digest(body):
        raise Garbled("the body is not what its Content-Digest says")
    if encoding in ("", "identity"):
        return body
    if encoding != "gzip":
        raise Garbled("Content-Encoding is gzip or nothing")
    unpacking = zlib.decompressobj(_GZIP)
    try:
        text = unpacking.decompress(body, most)
    except zlib.error:
        raise Garbled("the body is not gzip") from None
    if unpacking.unconsumed_tail or not unpacking.eof or unpacking.unused_data:
        raise Garbled(f"the body is not one gzip piece of at most {most} bytes")
    return text


def plain(value: JsonValue) -> bytes:
    """A JSON value as bytes, in one line."""
    return json.dumps(value, separators=(",", ":")).encode()


def read_object(text: bytes) -> dict[str, JsonValue]:
    """A JSON object out of bytes. Raises Garbled."""
    try:
        found = read_json(text)
    except ValueError:
        raise Garbled("expected JSON") from None
    if not isinstance(found, dict):
        raise Garbled("expected a JSON object")
    return found


def text_in(fields: Mapping[str, JsonValue], name: str, longest: int = 200) -> str:
    """A text in a JSON object. Raises Garbled when there is none, or it is longer than it may be."""
    found = fields.get(name)
    if not isinstance(found, str) or len(found) > longest or _HALF_A_CHARACTER.search(found):
        raise Garbled(f"{name}: expected text of at most {longest} characters")
    return found


def lines_of(entries: Iterable[bytes]) -> bytes:
    """Entries, one a line. A canonical entry holds no line end."""
    return b"".join(raw + b"\n" for raw in entries)


def read_lines(text: bytes) -> list[bytes]:
    """Entries as they came, one a line. Raises Garbled when the last line has no end."""
    *lines, rest = text.split(b"\n")
    if rest:
        raise Garbled("the last line has no end")
    return lines


def whole_state(digests: Mapping[str, tuple[str, int]]) -> str:
    """One tag over everything held: equal on two machines exactly when they hold the same entries."""
    lines = (f"{hull} {digest}\n" for hull, (digest, _) in sorted(digests.items()))
    return f'"{hashlib.sha256("".join(lines).encode()).hexdigest()}"'


def sizes_tag(sizes: Mapping[str, int]) -> str:
    """One tag over the names and sizes of all attachments held: one cut short has its name still."""
    lines = "".join(f"{name} {size}\n" for name, size in sorted(sizes.items()))
    return f'"{hashlib.sha256(lines.encode()).hexdigest()}"'


def names(texts: Iterable[str]) -> str:
    """Texts as a field carries them.

    >>> names(["shop page", "a,b"]), read_names("a%2Cb,shop%20page")
    ('a%2Cb,shop%20page', ('a,b', 'shop page'))
    """
    return ",".join(quote(text, safe="") for text in sorted(texts))


def read_names(field: str) -> tuple[str, ...]:
    """Texts out of a field."""
    return tuple(unquote(text) for text in field.split(",") if text)


def plugins_tag(plugins: Iterable[tuple[str, str]]) -> str:
    """One tag over the names and hashes of the plugins approved."""
    lines = (f"{name} {sha256}\n" for name, sha256 in sorted(plugins))
    return f'"{hashlib.sha256("".join(lines).encode()).hexdigest()}"'


def digests_to_plain(digests: Mapping[str, tuple[str, int]]) -> JsonValue:
    """Each hull's digest and count of entries."""
    return {"hulls": {hull: [digest, count] for hull, (digest, count) in digests.items()}}


def read_digests(text: bytes) -> dict[str, tuple[str, int]]:
    """Each hull's digest and count of entries. Raises Garbled."""
    hulls = read_object(text).get("hulls")
    found: dict[str, tuple[str, int]] = {}
    for hull, pair in (hulls if isinstance(hulls, dict) else {}).items():
        match pair:
            case [str(digest), int(count)]:
                found[hull] = (digest, count)
            case _:
                raise Garbled("hulls: expected [digest, count] for each")
    return found


def bucket_digests(ids: Iterable[str]) -> str:
    """A digest of each hash bucket of a hull, run together: the first characters of SHA-256 over its sorted ids."""
    parts: dict[str, list[str]] = {first: [] for first in BUCKETS}
    for name in sorted(ids):
        parts[name[0]].append(name)
    return "".join(hashlib.sha256("".join(part).encode()).hexdigest()[:BUCKET_DIGEST_DIGITS] for part in parts.values())


def differing_buckets(one: str, other: str) -> str:
    """First characters of the buckets whose digests differ."""
    cuts = [slice(place * BUCKET_DIGEST_DIGITS, (place + 1) * BUCKET_DIGEST_DIGITS) for place in range(len(BUCKETS))]
    return "".join(first for first, cut in zip(BUCKETS, cuts, strict=True) if one[cut] != other[cut])


def in_buckets(ids: frozenset[str], buckets: str) -> frozenset[str]:
    """Ids that begin with one of some characters; all of them when none is given."""
    return frozenset(name for name in ids if name[0] in buckets) if buckets else ids


def by_hull(texts: Mapping[str, str]) -> bytes:
    """A text for each hull."""
    return plain({"hulls": {**texts}})


def read_bucket_digests(text: bytes) -> dict[str, str]:
    """By hull, the digests of its buckets. Raises Garbled."""
    found = _texts(_read_asked(text), "hulls")
    if any(len(run) != BUCKET_DIGEST_DIGITS * len(BUCKETS) for run in found.values()):
        raise Garbled(f"hulls: expected {len(BUCKETS)} bucket digests of {BUCKET_DIGEST_DIGITS} characters each")
    return found


def _read_asked(text: bytes) -> dict[str, JsonValue]:
    """A question's JSON object, parsed only when it has no more values than a question needs. Raises Garbled."""
    if sum(map(text.count, (b",", b"[", b"{"))) > MOST_VALUES:
        raise Garbled(f"expected at most {MOST_VALUES} values in one question")
    return read_object(text)


def read_buckets(text: bytes) -> dict[str, str]:
    """By hull, first characters of the buckets that differ. Raises Garbled."""
    return _buckets(read_object(text), "hulls")


def _buckets(fields: Mapping[str, JsonValue], name: str) -> dict[str, str]:
    found = _texts(fields, name)
    if any(len({*run} & {*BUCKETS}) != len(run) for run in found.values()):
        raise Garbled(f"{name}: expected first characters of ids, each once")
    return found


def _texts(fields: Mapping[str, JsonValue], name: str) -> dict[str, str]:
    found = fields.get(name)
    if not isinstance(found, dict):
        raise Garbled(f"{name}: expected an object")
    texts = {hull: text for hull, text in found.items() if isinstance(text, str)}
    if len(texts) < len(found):
        raise Garbled(f"{name}: expected a text for each")
    return texts


def question(ids: Mapping[str, Iterable[str]], digits: int, buckets: Mapping[str, str] = NOTHING) -> bytes:
    """The ids held of some hulls, each cut to so many characters, sorted and run together.

    buckets : by hull, first characters of the ids compared, where not all are
    """
    hulls: dict[str, JsonValue] = {
        hull: "".join(sorted({name[:digits] for name in held})) for hull, held in ids.items()
    }
    return plain({"digits": digits, "hulls": hulls, **({"sixteenths": {**buckets}} if buckets else {})})


def read_question(text: bytes) -> Question:
    """What a tablet holds. Raises Garbled."""
    fields = _read_asked(text)
    digits = fields.get("digits")
    if type(digits) is not int or not SHORT_DIGITS <= digits <= WHOLE_DIGITS:
        raise Garbled(f"digits: expected {SHORT_DIGITS} to {WHOLE_DIGITS}")
    runs = _texts(fields, "hulls")
    if any(len(run) % digits for run in runs.values()):
        raise Garbled("hulls: expected beginnings of ids run together")
    held = {
        hull: frozenset(run[start : start + digits] for start in range(0, len(run), digits))
        for hull, run in runs.items()
    }
    return Question(held, digits, _buckets({"sixteenths": {}, **fields}, "sixteenths"))


def answer(differences: Differences) -> bytes:
    """Differences: one line of JSON, then the entries."""
    needs: dict[str, JsonValue] = {hull: [*found] for hull, found in differences.needs.items()}
    left: dict[str, JsonValue] = {**differences.left}
    return plain({"needs": needs, "left": left}) + b"\n" + lines_of(differences.lines)


def read_answer(text: bytes) -> Differences:
    """Differences as `answer` writes them. Raises Garbled."""
    first, *lines = read_lines(text) or [b""]
    fields = read_object(first)
    needs, left = fields.get("needs"), fields.get("left")
    if not isinstance(needs, dict) or not isinstance(left, dict):
        raise Garbled("expected needs and left")
    counted: dict[str, int] = {}
    wanted: dict[str, list[str]] = {}
    for hull, number in left.items():
        if type(number) is not int:
            raise Garbled("left: expected whole numbers")
        counted[hull] = number
    for hull, names in needs.items():
        if not isinstance(names, list):
            raise Garbled("needs: expected lists of ids")
        wanted[hull] = [str(name) for name in names]
    return Differences(wanted, counted, lines)
