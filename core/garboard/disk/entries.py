"""Entries: immutable facts about a hull, each named by the hash of its own bytes.

An entry is one JSON object in canonical form. Its bytes are the truth: they are stored, sent and hashed as they
are, and never written again from what was read out of them, so that a field this version does not know survives.

[1] RFC 8785, JSON Canonicalization Scheme: sorted keys, no spaces, UTF-8. Entries keep to the part of it where
    every encoder agrees: ASCII keys, no floats, integers within 2^53.
[2] Unicode Standard Annex 15: normalisation form C, so that one text has one spelling.
[3] FIPS 180-4: SHA-256.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import cache, cached_property, lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

import attrs

from garboard import __version__, hull_number
from garboard.disk.clock import ZERO, Stamp
from garboard.disk.formats import Format
from garboard.disk.json_text import read_json_by
from garboard.faults import Fault, InputError, shown

if TYPE_CHECKING:  # the records are many, and the app's first frame needs none of them
    from garboard.records import JsonValue

ENTRY = Format("garboard entry")
LARGEST_ENTRY = 64 * 1024
"""More than any form a person fills [bytes]; what is larger (a photo, a recording) is an attachment."""
LARGEST_INTEGER = 2**53 - 1
LONGEST_HULL_NUMBER = 64
DEEPEST = 16

SHOP_RECORD = hull_number.NO_BOAT
"""Hull number, and key, under which the shop's own settings are kept."""


def file_in_words(hull: str) -> str:
    """What a person calls the file of a hull's key: "hull QQZ04417D626", or the shop's record of settings."""
    return "the shop's record of settings" if hull == SHOP_RECORD else f"hull {hull}"


STRAY = "stray"
"""Kind of the entry in which bytes travel that are no entry themselves; see `stray_of`."""

TEMPLATE = "template"
"""Kind of the entries, in the shop's record, that keep a boat's facts under a name; see `history.like`."""

FORECAST = "forecast"
"""Kind of the entries that keep what was foreseen of a propeller before it was run; see `records.Forecast`."""

ALIKE = "alike"
"""Kind of the entries, in the shop's record, that say what boats of each kind kept; see `history.boats_alike`."""

PLAN = "plan"
"""Kind of the entries that say what a manager plans for a job; see `history.plans`."""
VIEW = "view"
"""Kind of the entries, in the shop's record, that keep a view of the board under a name; see `history.board_views`."""
ISSUED = "issued"
"""Kind of the entries that say which handover books were issued; see `history.proof`."""

KINDS = frozenset(
    {
        "measure",
        "step",
        "field",
        "note",
        "retract",
        "signoff",
        "alias",
        "move",
        "job",
        "run",
        "setting",
        TEMPLATE,
        FORECAST,
        ALIKE,
        PLAN,
        VIEW,
        ISSUED,
        STRAY,
    }
)
"""The kinds this version understands. Entries of any other kind are kept and passed on byte for byte."""

_ID = re.compile(r"[0-9a-f]{32}")
_HALF_OF_A_PAIR = rb"\ud"
"""How JSON may spell half of a surrogate pair, which is no text."""
_TEXT_FIELDS = ("kind", "hull", "job", "dev", "by", "at", "program")
_WHOLE_BELOW = 10**15
"""Whole numbers of fewer digits are of the plain shape."""
_TEXT = {str}
_ENCODER = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))
_FIELDS = frozenset({*_TEXT_FIELDS, "v", "subject", "value", "replaces", "clock", "plugins"})


@attrs.frozen(repr=False, eq=False)
class Entry:
    """One entry: its id, its bytes, and a view of what stands in them. Equal ids are equal entries.

    The view is for reading. Nothing writes an entry from it; `raw` is what is stored and sent. What replaying and
    viewing a hull ask of every entry is worked out once, when the entry is made; the rest when it is asked for.

    kind          : one of KINDS, or one this version does not know; "" for bytes that are no entry
    hull          : the hull number as typed
    job           : the job's id; "" for facts about the vessel
    subject       : what the entry is about: ("prop_check", "full_throttle", "engine_speed")
    replaces      : ids of the entries the person saw and replaced with this one
    clock         : for order on screen only
    at            : wall time with UTC offset, for people to read
    is_understood : whether this version knows the kind and the format; if not, the entry is only kept and passed on
    has_lists     : whether subject and replaces are the lists of text they should be, none of it left out here
    """

    id: str
    raw: bytes
    kind: str = ""
    hull: str = ""
    job: str = ""
    subject: tuple[str, ...] = ()
    replaces: tuple[str, ...] = ()
    value: JsonValue = None
    clock: Stamp = ZERO
    at: str = ""
    by: str = ""
    tablet: str = ""
    instrument: str = ""
    is_understood: bool = False
    has_lists: bool = False
    _fields: Mapping[str, JsonValue] | None = None
    _checked: bytes | None = attrs.field(default=None, init=False)

    def __eq__(self, other: object) -> bool:
        return self.id == other.id if isinstance(other, Entry) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.id)

    def __repr__(self) -> str:
        return f"Entry(id={self.id!r})"

    @cached_property
    def fields(self) -> Mapping[str, JsonValue]:
        """Everything that stands in it, by name."""
        return MappingProxyType(_members(self.raw) if self._fields is None else self._fields)

    @property
    def is_checked(self) -> bool:
        """Whether it was made here, where its bytes were held against all that an entry must be; an altered copy of
        one was not.
        """
        return self._checked is self.raw

    @property
    def format(self) -> int:
        return _integer(self.fields.get("v"))

    @property
    def hull_key(self) -> str:
        """The hull number everything merges by; "" for bytes that are no entry."""
        return _hull_key(self.hull) if self.hull else ""

    @property
    def program(self) -> str:
        return _text(self.fields.get("program"))

    @property
    def plugins(self) -> Mapping[str, JsonValue]:
        found = self.fields.get("plugins")
        return MappingProxyType(found) if isinstance(found, dict) else MappingProxyType({})

    @property
    def more(self) -> Mapping[str, JsonValue]:
        """Fields a plugin or a newer version added."""
        return MappingProxyType({name: value for name, value in self.fields.items() if name not in _FIELDS})


def make_entry(
    kind: str,
    hull: str,
    *,
    dev: str,
    by: str,
    clock: Stamp,
    at: str,
    job: str = "",
    subject: Sequence[str] = (),
    value: JsonValue = None,
    replaces: Iterable[str] = (),
    plugins: Mapping[str, str] | None = None,
    more: Mapping[str, JsonValue] | None = None,
) -> Entry:
    """State one fact.

    kind     : one of KINDS, or a plugin's own
    hull     : the hull number as typed, 1 to 64 characters
    dev      : the tablet's id
    by       : who states it
    clock    : the tablet's clock reading, for order on screen
    at       : wall time with UTC offset ("2026-05-14T09:30:00+02:00")
    job      : the job's id; empty for facts about the vessel
    subject  : what it is about, from the general to the particular
    value    : JSON without floats: a decimal is written as text ("38.2 kn")
    replaces : ids of the entries the person saw and replaces
    plugins  : version of each plugin that had a part in it
    more     : further fields
    returns  : the entry; text is in normalisation form C [2]
    errors   : InputError with every fault: which field, what is allowed
    """
    about, replaced, versions, further = [*subject], sorted({*replaces}), plugins or {}, more or {}
    plain = _plainly_made(kind, hull, dev, by, clock, at, job, about, value, replaced, versions, further)
    if plain is not None:
        return plain
    fields: dict[str, JsonValue] = {
        "v": ENTRY.version,
        "kind": kind,
        "hull": hull,
        "job": job,
        "subject": [*about],
        "value": value,
        "replaces": [*replaced],
        "dev": dev,
        "by": by,
        "clock": [clock[0], clock[1]],
        "at": at,
        "program": __version__,
        "plugins": {**versions},
    }
    taken = sorted(_FIELDS & further.keys())
    faults = [
        Fault(name, "a name of its own for a further field", "the name of a field every entry has") for name in taken
    ]
    tidy = _tidied({**further, **fields}, "", 0, faults)
    if not isinstance(tidy, dict):
        raise InputError("entry", faults)
    faults += [*_envelope_faults(tidy), *_faults_of_a_new_entry(tidy)]
    if faults:
        raise InputError("entry", faults)
    raw = canonical_bytes(tidy)
    _refuse_too_large(raw)
    return _plain(entry_id(raw), raw) or _entry(entry_id(raw), raw, tidy)


def _plainly_made(
    kind: str,
    hull: str,
    dev: str,
    by: str,
    clock: Stamp,
    at: str,
    job: str,
    subject: list[str],
    value: JsonValue,
    replaces: list[str],
    plugins: Mapping[str, str],
    more: Mapping[str, JsonValue],
) -> Entry | None:
    """A new entry with one plain value, as nearly all are, in half the time; None for one that must be looked through.

    Its bytes are put together here as the encoder does it. That they are an entry is asked of what they are made of,
    in half the time it takes to look at the bytes (`hull_key_of`); what this does not take is no worse for it.
    """
    versions = _versions_spelt(plugins)
    if versions is None or (more and [*more] != ["instrument"]):
        return None
    texts = [at, by, dev, hull, job, kind, *subject, *replaces, *more.values()]
    if type(value) is str:
        texts.append(value)
        stated = f'"{value}"'
    elif value is None or type(value) is bool or (type(value) is int and -_WHOLE_BELOW < value < _WHOLE_BELOW):
        stated = _ENCODER.encode(value)
    else:
        return None
    if not (_stand_as_they_are(texts) and by and dev and kind and hull and not hull.isspace()):
        return None
    if not hull.isascii() or len(hull) > LONGEST_HULL_NUMBER:
        return None
    moment, count = clock[0], clock[1]
    if not (type(moment) is type(count) is int and 0 <= moment < _WHOLE_BELOW and 0 <= count < _WHOLE_BELOW):
        return None
    if replaces and not all(map(_ID.fullmatch, replaces)):
        return None
    instrument = f'"instrument":"{more["instrument"]}",' if more else ""
    raw = (
        f'{{"at":"{at}","by":"{by}","clock":[{moment},{count}],"dev":"{dev}","hull":"{hull}",{instrument}'
        f'"job":"{job}","kind":"{kind}","plugins":{versions}{_OF_PROGRAM}{_listed(replaces)},'
        f'"subject":{_listed(subject)}{_OF_VERSION}{stated}}}'
    ).encode()
    if len(raw) > LARGEST_ENTRY or not (raw.isascii() or _is_of_one_spelling(raw)) or not _is_wall_time(at):
        return None
    name, stamp = entry_id(raw), tuple.__new__(Stamp, (moment, count))
    about, instead, meter = (*subject,), (*replaces,), _text(more["instrument"]) if more else ""
    made = Entry(name, raw, kind, hull, job, about, instead, value, stamp, at, by, dev, meter, kind in KINDS, True)
    object.__setattr__(made, "_checked", raw)  # no argument: `attrs.evolve` would hand it on
    return made


def _stand_as_they_are(texts: list[Any]) -> bool:
    """Whether all of these are text, with no quote or escape in it, and nothing that is not seen in print."""
    if {*map(type, texts)} - _TEXT:
        return False
    joined = "".join(texts)
    return joined.isprintable() and '"' not in joined and "\\" not in joined


_OF_PROGRAM = f',"program":"{__version__}","replaces":'
_OF_VERSION = f',"v":{ENTRY.version},"value":'
_last_versions: list[tuple[dict[str, str], str]] = [({}, "{}")]
"""The plugins of the entry made last, and how they are spelt: a tablet names the same in each."""


def _versions_spelt(plugins: Mapping[str, str]) -> str | None:
    """The versions of plugins as they stand in an entry; None where one must be looked through."""
    last, spelt = _last_versions[0]
    if plugins == last:
        return spelt
    named = {**plugins}  # first: who named them may change them meanwhile, on another thread
    if not (_stand_as_they_are([*named, *named.values()]) and "".join(named).isascii()):
        return None
    spelt = "{" + ",".join([f'"{name}":"{version}"' for name, version in sorted(named.items())]) + "}"
    _last_versions[0] = named, spelt
    return spelt


def _listed(texts: list[str]) -> str:
    return '["' + '","'.join(texts) + '"]' if texts else "[]"


def stray_of(hull: str, raw: bytes) -> Entry | None:
    """The entry that carries bytes which are none: a line under a hull that another program wrote, or mangled.

    Equal bytes make equal entries, whoever meets them and whenever, so that merging stays a union.

    hull    : the hull's key
    returns : None where the bytes are too many for an entry
    """
    fields: dict[str, JsonValue] = {
        **dict.fromkeys(_TEXT_FIELDS, ""),
        "v": ENTRY.version,
        "kind": STRAY,
        "hull": hull,
        "subject": [entry_id(raw)],
        "value": {"bytes": base64.b64encode(raw).decode()},
        "replaces": [],
        "clock": [0, 0],
        "plugins": {},
    }
    carried = canonical_bytes(fields)
    return _entry(entry_id(carried), carried, fields) if len(carried) <= LARGEST_ENTRY else None


def carried_by(entry: Entry) -> bytes | None:
    """The bytes an entry of kind STRAY carries; None where it is none, or is spoilt itself."""
    text = entry.value.get("bytes") if entry.kind == STRAY and isinstance(entry.value, dict) else None
    try:
        raw = base64.b64decode(text, validate=True) if isinstance(text, str) else None
    except (binascii.Error, ValueError):
        return None
    return raw if raw is not None and entry.subject == (entry_id(raw),) else None


def read_entry(raw: bytes) -> Entry:
    """Read an entry's bytes as they came.

    raw     : canonical bytes; an entry of a newer format needs only `v`, `kind` and `hull` to be kept
    returns : the entry, its id computed from the bytes
    errors  : InputError with the reason when the bytes are not canonical, not an entry, or too large
    """
    _refuse_too_large(raw)
    fields = _loads(raw)
    faults: list[Fault] = []
    tidy = _tidied(fields, "", 0, faults)
    if faults:
        raise InputError("entry", faults)
    if not isinstance(tidy, dict):
        raise InputError("entry", [Fault("entry", "a JSON object", type(fields).__name__)])
    if canonical_bytes(tidy) != raw:
        canonical = Fault("entry", "canonical JSON: sorted keys, no spaces, UTF-8, text in form C", "another spelling")
        raise InputError("entry", [canonical])
    if faults := _envelope_faults(tidy):
        raise InputError("entry", faults)
    return _entry(entry_id(raw), raw, tidy)


def view(entry_id: str, raw: bytes) -> Entry:
    """A view of bytes stored under their id. Without any fields where they are no entry: this program never stores
    such bytes, but they can stand in a file that came from elsewhere.
    """
    if len(raw) <= LARGEST_ENTRY and (plain := _plain(entry_id, raw)):
        return plain
    try:
        if len(raw) > LARGEST_ENTRY or _HALF_OF_A_PAIR in raw:
            return read_entry(raw)
        fields = _loads(raw)
    except InputError:
        return Entry(entry_id, raw, fields={})
    if isinstance(fields, dict) and _has_an_address(fields):
        return _entry(entry_id, raw, fields)
    return Entry(entry_id, raw, fields={})


def _has_an_address(fields: Mapping[str, JsonValue]) -> bool:
    """Whether it says which format, kind and hull it is of: the least an entry of any version needs to be kept."""
    version, kind, hull = (fields.get(name) for name in ("v", "kind", "hull"))
    is_sized = isinstance(hull, str) and 0 < len(hull) <= LONGEST_HULL_NUMBER
    return type(version) is int and version > 0 and isinstance(kind, str) and kind != "" and is_sized


def _entry(entry_id: str, raw: bytes, stored: dict[str, JsonValue]) -> Entry:
    """An entry seen as this version has it; its bytes stay as they came."""
    fields = ENTRY.brought_up(stored, _integer(stored["v"]))
    kind = _text(fields.get("kind"))
    return Entry(
        entry_id,
        raw,
        kind,
        _text(fields.get("hull")),
        _text(fields.get("job")),
        _texts(fields.get("subject")),
        _texts(fields.get("replaces")),
        fields.get("value"),
        _stamp(fields.get("clock")),
        _text(fields.get("at")),
        _text(fields.get("by")),
        _text(fields.get("dev")),
        _text(fields.get("instrument")),
        kind in KINDS and ENTRY.reads(_integer(fields.get("v"))),
        is_list_of_text(fields.get("subject")) and is_list_of_text(fields.get("replaces")),
        fields,
    )


def _plain(entry_id: str, raw: bytes) -> Entry | None:
    """The same entry as `_entry` makes of bytes of the one plain shape, in a third of the time; None for others."""
    try:
        plain = _plain_text().fullmatch(raw.decode())
    except UnicodeDecodeError:
        return None
    if plain is None:
        return None
    at, by, moment, count, tablet, hull, instrument, job, kind, _, replaces, subject, value = plain.groups()
    return Entry(
        entry_id,
        raw,
        kind,
        hull,
        job[1:-1],
        _plain_texts(subject),
        () if replaces == "[]" else _plain_texts(replaces),
        value[1:-1] if value[0] == '"' else _loads(value.encode()),
        tuple.__new__(Stamp, (int(moment), int(count))),
        at,
        by,
        tablet,
        instrument or "",
        kind in KINDS,
        True,
    )


def _plain_texts(listed: str) -> tuple[str, ...]:
    """The texts of a list, none of which holds a quote."""
    return tuple(listed[2:-2].split('","')) if listed != "[]" else ()


def entry_id(raw: bytes) -> str:
    """The first 128 bits of SHA-256 [3] over an entry's bytes, as 32 hexadecimal characters."""
    return hashlib.sha256(raw).hexdigest()[:32]


def canonical_bytes(value: JsonValue) -> bytes:
    """The one spelling of a JSON value that keeps to the rules in this module's heading.

    >>> canonical_bytes({"b": [1, None], "a": "38.2 kn"})
    b'{"a":"38.2 kn","b":[1,null]}'
    """
    return _ENCODER.encode(value).encode()


def hull_key_of(raw: bytes) -> str:
    """Check an entry's bytes as `read_entry` does, and tell which hull it belongs to.

    raw     : canonical bytes
    returns : the hull's key
    errors  : as read_entry

    Most entries are of one plain shape, which a pattern recognises six times faster than parsing; a merge of a
    day's tablets is bound by this. Whatever the pattern does not recognise is read in full.
    """
    return hull_key_and_parts(raw)[0]


Parts = tuple[bytes, bytes, bytes]
"""Of an entry of the plain shape: its head, which is all from the tablet to its plugins, its subject and its value, as
they are spelt. A tablet spells the head alike in many entries, so what stands in it is looked up: `head_of`.
"""


class Head(NamedTuple):
    """What a head says: the hull's key; job and kind as they are spelt."""

    hull_key: str
    job: bytes
    kind: bytes


def hull_key_and_parts(raw: bytes) -> tuple[str, Parts | None]:
    """`hull_key_of` and `plain_parts` in one look."""
    parts = _parts_of_sound(raw)
    return (head_of(parts[0]).hull_key, parts) if parts else (read_entry(raw).hull_key, None)


def _parts_of_sound(raw: bytes) -> Parts | None:
    """Of bytes of the plain shape that are an entry; None where that is not seen in one look."""
    parts = plain_parts(raw) if len(raw) <= LARGEST_ENTRY else None
    return parts if parts and _keys_are_sorted(parts[-1]) else None


def _is_of_one_spelling(raw: bytes) -> bool:
    """Whether text is UTF-8 of form C. The quotes around each keep its characters from joining those of another."""
    try:
        text = raw.decode()
    except UnicodeDecodeError:
        return False
    try:
        text.encode("latin-1")  # each of these stays as it is in form C, whatever stands beside it: 20 times as fast
    except UnicodeEncodeError:
        return unicodedata.is_normalized("NFC", text)
    return True


def parts_of_lines(lines: bytes, hull_key: str) -> list[Parts]:
    """`plain_parts` of checked entries that `hull_key_of` would take, in one search; of the others nothing.

    lines    : of a hull file, each an id, a space and the entry's bytes
    hull_key : of the hull that all of them belong to; nothing where one does not
    """
    if len(lines) > LARGEST_ENTRY and max(map(len, lines.split(b"\n"))) > LARGEST_ENTRY:
        return []
    if not (lines.isascii() or _is_of_one_spelling(lines)):
        return []
    found: list[Parts] = _plain_lines(lines)
    if any(head is None or head.hull_key != hull_key for head in map(_head_of, {head for head, _, _ in found})):
        return []
    return found if all(_keys_are_sorted(value) for _, _, value in found if value[0] == _BEGINS_AN_OBJECT) else []


def plain_parts(raw: bytes) -> Parts | None:
    """What a stored entry says, without parsing it; see `hull_key_of`.

    raw     : bytes already checked
    returns : equal bytes mean equal texts and values. None for an entry that must be read in full
    """
    plain = _is_plain(raw)
    if plain is None or not (raw.isascii() or _is_of_one_spelling(raw)):
        return None
    head, subject, value = plain.groups()
    return (head, subject, value) if _head_of(head) else None


def head_of(head: bytes) -> Head:
    """What stands in the head of an entry of the plain shape."""
    found = _head_of(head)
    if found is None:
        raise ValueError(f"no head of an entry: {head!r}")
    return found


@lru_cache(maxsize=1024)
def _head_of(head: bytes) -> Head | None:
    """The same; None for bytes that are none, or whose plugins are not sorted."""
    found = _is_head(head)
    if found is None or not _keys_are_sorted(found[4]):
        return None
    return Head(_hull_key(found[1].decode()), found[2], found[3])


_ASCII, _BYTE, _ANY = r"[ !#-\[\]-~]", r"[ !#-\[\]-~\x80-\xff]", r'[^"\\\x00-\x1f]'
"""Characters of a text without escapes; a byte of one in UTF-8."""
_WHOLE = r"(?:0|-?[1-9][0-9]{0,14})"
_IDS = r'\[(?:"[0-9a-f]{32}"(?:,"[0-9a-f]{32}")*+)?+\]'


def _simple(one: str) -> str:
    return rf'(?:"{one}*+"|{_WHOLE}|true|false|null)'


def _member(one: str) -> str:
    return rf"(?:{_simple(one)}|{_IDS})"


def _plain_head(one: str, of_name: str, group: str) -> str:
    """A pattern of the fields from the tablet to its plugins, as `_plain_entry`."""
    text, name = f'"{one}*+"', f'"{of_name}*+"'
    fields = {
        "dev": f'"{group}{one}*+)"',
        "hull": f'"({of_name}{{1,{LONGEST_HULL_NUMBER}}}+)"(?:,"instrument":"{group}{one}*+)")?',
        "job": f"({text})",
        "kind": f'"({one}++)"',
        "plugins": rf"(\{{(?:{name}:{text}(?:,{name}:{text})*+)?\}})",
    }
    return ",".join(f'"{name}":{shape}' for name, shape in fields.items())


def _plain_entry(one: str, head: str = "", group: str = "(") -> str:
    """A pattern of entries of this version: text free of escapes, no further field but the instrument, a value at most
    one object deep, in which only a signature's list of ids may stand besides. What `_plain` reads is in groups.

    one   : what a character of a text may be
    head  : a pattern of the fields from the tablet to its plugins; one that holds all of them unless given
    group : how a group begins that is none of `Parts`
    """
    text, told, member = f'"{one}*+"', f'"{group}{one}*+)"', _member(one)
    name, count = f'"{_ASCII if head else one}*+"', f"{group}0|[1-9][0-9]{{0,14}})"
    four_texts = ",".join([text] * 4)  # nearly all subjects; spelt out, they need no steps back
    first = {"at": told, "by": told, "clock": rf"\[{count},{count}\]"}
    last = {
        "program": text,
        "replaces": f"{group}{_IDS})",
        "subject": rf"(\[(?:{four_texts}|{text}(?:,{text})*)?\])",
        "v": str(ENTRY.version),
        "value": rf"({_simple(one)}|\{{(?:{name}:{member}(?:,{name}:{member})*)?\}})",
    }
    before, after = (",".join(f'"{name}":{shape}' for name, shape in fields.items()) for fields in (first, last))
    return rf"\{{{before},{head or _plain_head(one, one, group)},{after}\}}"


_OF_BYTES = _plain_entry(_BYTE, r'("dev":[^}]*+\})', "(?:")
"""The head ends with the plugins' end, or is none."""
_is_plain = re.compile(_OF_BYTES.encode()).fullmatch
_is_head = re.compile(_plain_head(_BYTE, _ASCII, "(?:").encode()).fullmatch
_plain_lines = re.compile(rf"(?m)^.{{33}}{_OF_BYTES}$".encode()).findall


@cache
def _plain_text() -> re.Pattern[str]:
    """Text need not be of one spelling here, as where an entry is checked."""
    return re.compile(_plain_entry(_ANY))


_BEGINS_AN_OBJECT = ord("{")
_KEY_AND_REST = re.compile(rf'"([^"]*+)":{_member(_BYTE)},?'.encode())
"""A member of a flat object, all of it: else a text that ends in a comma would begin the next key."""


def _keys_are_sorted(value: bytes) -> bool:
    if value[0] != _BEGINS_AN_OBJECT:
        return True
    keys: list[bytes] = _KEY_AND_REST.findall(value)
    return keys == sorted(keys) and len(keys) == len(set(keys))


@lru_cache(maxsize=4096)
def _hull_key(hull: str) -> str:
    return hull_number.key(hull)


def _refuse_too_large(raw: bytes) -> None:
    if len(raw) > LARGEST_ENTRY:
        allowed = f"at most {LARGEST_ENTRY} bytes; a photo or a recording is kept as an attachment"
        raise InputError("entry", [Fault("entry", allowed, f"{len(raw)} bytes")])


def _loads(raw: bytes) -> JsonValue:
    try:
        found: JsonValue = read_json_by(_DECODER, raw.decode())
    except UnicodeDecodeError as error:
        raise InputError("entry", [Fault(f"byte {error.start}", "UTF-8 text", "bytes that are not")]) from error
    except json.JSONDecodeError as error:
        raise InputError("entry", [Fault(f"character {error.pos}", "one JSON object", error.msg)]) from error
    except InputError:
        raise
    except ValueError as error:
        raise InputError(
            "entry", [Fault("entry", f"at most {DEEPEST} levels and plain integers", str(error))]
        ) from error
    return found


def _members(raw: bytes) -> dict[str, JsonValue]:
    """The members of bytes known to be an object."""
    found = _loads(raw)
    return found if isinstance(found, dict) else {}


def _refuse_float(text: str) -> NoReturn:
    raise InputError("entry", [Fault("a number", 'a decimal as text, such as "38.2"', text)])


_DECODER = json.JSONDecoder(parse_float=_refuse_float, parse_constant=_refuse_float)


def _tidied(value: object, where: str, depth: int, faults: list[Fault]) -> JsonValue:
    """The value with its text in form C; what may not stand in an entry is added to the faults."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _tidied_text(value, where, faults)
    if isinstance(value, int):
        if abs(value) > LARGEST_INTEGER:
            faults.append(Fault(where, "a whole number within 2^53, or text", shown(value)))
        return value
    if depth == DEEPEST:
        faults.append(Fault(where, f"at most {DEEPEST} levels", "more"))
        return None
    if isinstance(value, Mapping):
        return dict(_tidied_items(value, where, depth, faults))
    if isinstance(value, list | tuple):
        return [_tidied(item, f"{where}[{place}]", depth + 1, faults) for place, item in enumerate(value)]
    allowed = 'a decimal as text, such as "38.2"' if isinstance(value, float) else "text, a whole number, yes or no"
    faults.append(Fault(where, allowed, repr(value)))
    return None


def _tidied_items(
    value: Mapping[object, object], where: str, depth: int, faults: list[Fault]
) -> Iterator[tuple[str, JsonValue]]:
    for name, item in value.items():
        inside = f"{where}.{name}" if where else str(name)
        if isinstance(name, str) and name.isascii():
            yield name, _tidied(item, inside, depth + 1, faults)
        else:
            faults.append(Fault(inside, "a name of plain ASCII characters", repr(name)))


def _tidied_text(text: str, where: str, faults: list[Fault]) -> str:
    if text.isascii():
        return text
    if any("\ud800" <= character <= "\udfff" for character in text):
        faults.append(Fault(where, "text of whole characters", "half of a surrogate pair"))
    return unicodedata.normalize("NFC", text)


def _envelope_faults(fields: Mapping[str, JsonValue]) -> list[Fault]:
    """What every reader may rely on. A newer format owes us only what is needed to keep the entry."""
    version = fields.get("v")
    if type(version) is not int or version < 1:
        return [Fault("v", "the entry's format, a whole number from 1", repr(version))]
    needed = _TEXT_FIELDS if ENTRY.reads(version) else ("kind", "hull")
    faults = [Fault(name, "text", repr(fields.get(name))) for name in needed if type(fields.get(name)) is not str]
    faults += [Fault(name, "text that is not empty", "''") for name in ("kind", "hull") if fields.get(name) == ""]
    hull = fields.get("hull")
    if isinstance(hull, str) and len(hull) > LONGEST_HULL_NUMBER:
        faults.append(Fault("hull", f"at most {LONGEST_HULL_NUMBER} characters", f"{len(hull)}"))
    if ENTRY.reads(version):
        faults += _faults_of_this_format(fields)
    return faults


def _faults_of_this_format(fields: Mapping[str, JsonValue]) -> Iterator[Fault]:
    if "value" not in fields:
        yield Fault("value", "a value, null where there is none", "nothing")
    if not is_list_of_text(fields.get("subject")):
        yield Fault("subject", 'a list of text, such as ["prop_check", "full_throttle"]', repr(fields.get("subject")))
    replaces = fields.get("replaces")
    if not (is_list_of_text(replaces) and all(_ID.fullmatch(target) for target in _texts(replaces))):
        yield Fault("replaces", "a list of entry ids, 32 hexadecimal characters each", repr(replaces))
    clock = fields.get("clock")
    if not (isinstance(clock, list) and len(clock) == 2 and all(type(n) is int and n >= 0 for n in clock)):
        yield Fault("clock", "[milliseconds, counter], both from 0", repr(clock))
    plugins = fields.get("plugins")
    if not (isinstance(plugins, dict) and all(isinstance(version, str) for version in plugins.values())):
        yield Fault("plugins", "a version for each plugin's name", repr(plugins))


def _faults_of_a_new_entry(fields: Mapping[str, JsonValue]) -> Iterator[Fault]:
    """Stricter than reading: what came from elsewhere is never refused for a careless date or an empty name."""
    for name, what in (("by", "who states it"), ("dev", "the tablet's id")):
        if fields[name] == "":
            yield Fault(name, what, "nothing")
    hull = fields["hull"]
    if isinstance(hull, str) and not hull.strip():
        yield Fault("hull", "the number on the transom", repr(hull))
    yield from faults_of_time(str(fields["at"]), "at")


def faults_of_value(value: JsonValue, where: str) -> list[Fault]:
    """What of a value may not stand in an entry, each with its place below `where`."""
    faults: list[Fault] = []
    tidy = _tidied(value, where, 1, faults)
    if not faults and (size := len(canonical_bytes(tidy))) > LARGEST_ENTRY:
        faults.append(Fault(where, f"at most {LARGEST_ENTRY} bytes", f"{size} bytes"))
    return faults


def faults_of_time(at: str, where: str) -> list[Fault]:
    """What is wrong with the wall time of a new entry."""
    expected = "wall time with UTC offset, such as 2026-05-14T09:30:00+02:00"
    return [] if _is_wall_time(at) else [Fault(where, expected, shown(at))]


def _is_wall_time(value: JsonValue) -> bool:
    try:
        return datetime.fromisoformat(str(value)).tzinfo is not None
    except ValueError:
        return False


def is_list_of_text(value: JsonValue) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _text(value: JsonValue) -> str:
    return value if isinstance(value, str) else ""


def _texts(value: JsonValue) -> tuple[str, ...]:
    return tuple([item for item in value if isinstance(item, str)]) if isinstance(value, list) and value else ()


def _stamp(value: JsonValue) -> Stamp:
    numbers = [number for number in value if type(number) is int] if isinstance(value, list) else []
    return Stamp(numbers[0], numbers[1]) if len(numbers) == 2 else ZERO


def _integer(value: JsonValue) -> int:
    return value if type(value) is int else 0
