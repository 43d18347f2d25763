"""Entries: one spelling, one id, and nothing lost that this version does not know."""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Iterable
from typing import Any

import attrs
import orjson
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from garboard.disk import entries
from garboard.disk.clock import Stamp
from garboard.disk.entries import (
    DEEPEST,
    KINDS,
    LARGEST_ENTRY,
    LARGEST_INTEGER,
    Entry,
    canonical_bytes,
    entry_id,
    head_of,
    hull_key_of,
    make_entry,
    parts_of_lines,
    plain_parts,
    read_entry,
    view,
)
from garboard.faults import InputError
from garboard.records import JsonValue

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
ASCII = st.text(st.characters(max_codepoint=127), max_size=8)
VALUES: st.SearchStrategy[JsonValue] = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST_INTEGER, LARGEST_INTEGER) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(ASCII, inner, max_size=4),
    max_leaves=12,
)
IDS = st.text("0123456789abcdef", min_size=32, max_size=32)


def make(**changes: Any) -> Entry:
    fields: dict[str, Any] = {
        "kind": "measure",
        "hull": "ABC00001A526",
        "dev": "tablet-07",
        "by": "Ines",
        "clock": Stamp(1_778_752_800_000, 0),
        "at": "2026-05-14T12:00:00+02:00",
        "job": "j1",
        "subject": ["prop_check", "full_throttle", "boat_speed"],
        "value": "38.2 kn",
    }
    return make_entry(**{**fields, **changes})


def reworded(entry: Entry, **changes: Any) -> bytes:
    """The entry's fields with some changed, in canonical spelling unless the change breaks it."""
    return json.dumps({**entry.fields, **changes}, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


ENTRIES = st.builds(
    make,
    kind=st.sampled_from(["measure", "note", "tide_table"]),
    hull=st.sampled_from(["ABC00001A526", "abc-00001 a526", "GB-ABC00042-A3-99"]),
    by=TEXT.filter(bool),
    job=ASCII,
    subject=st.lists(TEXT, max_size=3),
    value=VALUES,
    replaces=st.lists(IDS, max_size=3),
    clock=st.builds(Stamp, st.integers(0, LARGEST_INTEGER), st.integers(0, 1000)),
    plugins=st.dictionaries(ASCII, ASCII, max_size=2),
    more=st.dictionaries(st.sampled_from(["instrument", "reading", "zeta"]), VALUES, max_size=2),
)


def test_an_entry_reads_as_it_was_made() -> None:
    """Each field comes back through the view."""
    entry = make(
        replaces=["b" * 32, "a" * 32, "b" * 32], more={"instrument": "gps puck"}, plugins={"prop_check": "1.0"}
    )
    read = read_entry(entry.raw)
    assert read == entry
    assert (read.kind, read.hull_key, read.job, read.value) == ("measure", "ABC00001A526", "j1", "38.2 kn")
    assert read.subject == ("prop_check", "full_throttle", "boat_speed")
    assert read.replaces == ("a" * 32, "b" * 32)
    assert (read.tablet, read.by, read.at) == ("tablet-07", "Ines", "2026-05-14T12:00:00+02:00")
    assert read.clock == Stamp(1_778_752_800_000, 0)
    assert dict(read.more) == {"instrument": "gps puck"}
    assert dict(read.plugins) == {"prop_check": "1.0"}
    assert read.program
    assert (read.format, read.is_understood) == (1, True)


def test_an_id_is_the_hash_of_the_bytes() -> None:
    """FIPS 180-4, example "abc": the first 128 bits of its SHA-256 digest as published."""
    assert entry_id(b"abc") == "ba7816bf8f01cfea414140de5dae2223"


def test_an_entry_cannot_be_changed() -> None:
    """Neither the entry nor the fields in its view."""
    entry = make()
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        entry.id = "0" * 32  # type: ignore[misc]
    with pytest.raises(TypeError):
        entry.fields["value"] = "40 kn"  # type: ignore[index]


@given(ENTRIES)
def test_every_entry_made_is_read_back(entry: Entry) -> None:
    """Its bytes are canonical, and its id is computed alike."""
    assert read_entry(entry.raw) == entry
    assert read_entry(entry.raw).fields == entry.fields
    assert view(entry.id, entry.raw).fields == entry.fields


@given(ENTRIES, st.data())
def test_a_view_says_what_stands_in_the_bytes(entry: Entry, data: st.DataObject) -> None:
    """Whichever way it is read, quick or in full, also where a byte is changed, put in or taken out."""
    raw = bytearray(entry.raw)
    place, width = data.draw(st.integers(0, len(raw) - 1)), data.draw(st.integers(0, 2))
    raw[place : place + width] = data.draw(
        st.sampled_from([b"", b",", b'"', b"7", b"-", b" ", b'","', b"\xc3\xa9", b"\xc3", b"\x7f", b"\t", b"[]"])
    )
    seen = view("0" * 32, bytes(raw))
    if not seen.kind:
        with pytest.raises(InputError):
            read_entry(bytes(raw))
        return
    fields = json.loads(bytes(raw))
    assert dict(seen.fields) == fields
    told = (seen.hull, seen.job, seen.at, seen.by, seen.tablet, seen.instrument)
    for name, text in zip(("hull", "job", "at", "by", "dev", "instrument"), told, strict=True):
        assert text == (fields[name] if isinstance(fields.get(name), str) else "")
    assert (seen.kind, seen.value) == (fields["kind"], fields.get("value"))
    for name, texts in (("subject", seen.subject), ("replaces", seen.replaces)):
        listed = fields[name] if isinstance(fields.get(name), list) else []
        assert [*texts] == [text for text in listed if isinstance(text, str)]
    assert seen.is_understood == (fields["v"] == 1 and fields["kind"] in KINDS)


@given(VALUES)
def test_encoders_agree_on_the_canonical_form(value: JsonValue) -> None:
    """An independent encoder that sorts keys, as RFC 8785 asks, writes the same bytes."""
    assert canonical_bytes(value) == orjson.dumps(value, option=orjson.OPT_SORT_KEYS)


def test_the_canonical_form_is_that_of_the_standard() -> None:
    """RFC 8785, section 3.2.3, its literals, integers and escapes; the sample's floats are outside our rules."""
    value: JsonValue = {"string": '€$\u000f\u000aA\'B"\\\\"/', "literals": [None, True, False]}
    expected = '{"literals":[null,true,false],"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    assert canonical_bytes(value) == expected.encode()


@given(ENTRIES)
def test_the_quick_look_agrees_with_reading_in_full(entry: Entry) -> None:
    """Both tell the same hull."""
    assert hull_key_of(entry.raw) == read_entry(entry.raw).hull_key


@given(ENTRIES, st.data())
def test_the_quick_look_refuses_what_reading_refuses(entry: Entry, data: st.DataObject) -> None:
    """Any byte changed, put in or taken out: both accept it, or both refuse it."""
    raw = bytearray(entry.raw)
    place = data.draw(st.integers(0, len(raw) - 1))
    width = data.draw(st.integers(0, 2))
    raw[place : place + width] = data.draw(
        st.sampled_from([b"", b",", b'"', b"{", b"}", b":", b"1", b".", b"-", b"e", b" ", b"\\", b"\xc3"])
    )
    assert _outcome(hull_key_of, bytes(raw)) == _outcome(lambda b: read_entry(b).hull_key, bytes(raw))


@given(st.lists(st.tuples(ASCII, ASCII | st.integers(-5, 5)), max_size=4))
@example([("b", 1), ("a", 2)])
@example([("a", 1), ("a", 2)])
@example([("a", 1), ("a b", 2)])
@example([("x", 'q,"y":'), ("a", 1)])
@example([("+", "q,"), (":b", 1), (",x", 2)])
def test_the_quick_look_sees_keys_out_of_order(pairs: list[tuple[str, str | int]]) -> None:
    """An object whose keys are unsorted or doubled is refused by both."""
    value = "{" + ",".join(f"{json.dumps(k)}:{json.dumps(v)}" for k, v in pairs) + "}"
    raw = make(value="HERE").raw.replace(b'"HERE"', value.encode())
    assert _outcome(hull_key_of, raw) == _outcome(lambda b: read_entry(b).hull_key, raw)
    named = "{" + ",".join(f"{json.dumps(k)}:{json.dumps(str(v))}" for k, v in pairs) + "}"
    raw = make(plugins={"HERE": "1"}).raw.replace(b'{"HERE":"1"}', named.encode())
    assert _outcome(hull_key_of, raw) == _outcome(lambda b: read_entry(b).hull_key, raw)


@pytest.mark.parametrize(
    "odd", ["e\u0301", "\u0301", "\u0301\u0323", "\u212b", "\x7f", "\u2028", "\ufeff", "\U0001f6a4"]
)
@pytest.mark.parametrize("name", ["by", "subject", "job", "value", "plugins"])
def test_the_quick_look_sees_text_of_another_spelling(name: str, odd: str) -> None:
    """An accent joins the letter before it, and the sign of another text never is one."""
    changed = {"subject": ["a", odd, "b"], "value": {"a": odd, "b": odd}, "plugins": {"a": odd, "b": "1"}}.get(
        name, odd
    )
    raw = reworded(make(), **{name: changed})
    assert _outcome(hull_key_of, raw) == _outcome(lambda b: read_entry(b).hull_key, raw)
    cut = raw.replace(odd.encode(), odd.encode()[:-1] or b"a")
    assert _outcome(hull_key_of, cut) == _outcome(lambda b: read_entry(b).hull_key, cut)
    is_odd = odd == "\x7f" or not unicodedata.is_normalized("NFC", odd)
    assert (plain_parts(raw) is None) == is_odd


def test_a_quick_look_is_enough_whatever_plugins_a_tablet_has_and_whoever_writes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A tablet writes all its plugins into every entry, and a name has any letters."""
    made = [make(plugins={f"garboard_{number}": "1.2.3" for number in range(count)}) for count in (0, 1, 7, 60)]
    made += [make(by="Zo\u00eb", value="21.5 \u00b0C"), make(by="\u30c6\u30b9\u30c8")]
    monkeypatch.setattr(entries, "_loads", lambda raw: pytest.fail(f"read in full: {raw!r}"))
    for entry in made:
        assert (hull_key_of(entry.raw), view(entry.id, entry.raw).value) == (entry.hull_key, entry.value)


def _lines(made: Iterable[Entry]) -> bytes:
    return b"".join(b"%b %b\n" % (entry.id.encode(), entry.raw) for entry in made)


@pytest.mark.parametrize("changed", [{"dev": "a}b"}, {"job": "}"}, {"kind": "}"}, {"plugins": {"a": "{}"}}])
def test_a_head_that_does_not_end_with_its_plugins_is_read_in_full(changed: dict[str, Any]) -> None:
    """The quick look takes the first brace that closes for the end of the plugins."""
    plain, odd = make(), make(**changed)
    assert plain_parts(plain.raw)
    assert (plain_parts(odd.raw), hull_key_of(odd.raw)) == (None, plain.hull_key)
    assert parts_of_lines(_lines([plain, odd]), plain.hull_key) == [plain_parts(plain.raw)]
    assert view(odd.id, odd.raw).job == read_entry(odd.raw).job


def test_what_many_entries_say_alike_is_looked_at_once() -> None:
    """Of a tablet's entries of one kind and job all but the subject and the value."""
    made = [make(subject=["a", "b", str(number), ""], plugins={"garboard_shop": "1"}) for number in range(50)]
    entries._head_of.cache_clear()
    parts = parts_of_lines(_lines(made), made[0].hull_key)
    assert [(head_of(head).job, subject, value) for head, subject, value in parts] == [
        (b'"j1"', canonical_bytes([*entry.subject]), b'"38.2 kn"') for entry in made
    ]
    assert entries._head_of.cache_info().misses == 1
    assert parts_of_lines(_lines(made), "XYZAB123F526") == []


def test_of_latin_letters_alone_no_spelling_is_looked_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """None of them joins another, or changes: the first character that form C may change is U+0300 [UAX 15]."""
    latin = [chr(number) for number in range(256)]
    assert all(unicodedata.is_normalized("NFC", one + other) for one in latin for other in latin)
    raw = make(by="Zo\u00eb", value="21.5 \u00b0C").raw
    with monkeypatch.context() as looking:
        looking.setattr(unicodedata, "is_normalized", lambda *_: pytest.fail("looked up"))
        assert hull_key_of(raw) == "ABC00001A526"
    assert _outcome(hull_key_of, raw.replace("\u00eb".encode(), "\u00ebe\u0301".encode())) == "refused"


@pytest.mark.parametrize(
    "value",
    [
        {"covers": [], "name": "Ines"},
        {"covers": ["0" * 32, "f" * 32], "name": "Ines", "role": "technician"},
        {"covers": ["0" * 31], "name": "Ines"},
        {"covers": ["0" * 32, 1], "name": "Ines"},
        {"covers": [["0" * 32]], "name": "Ines"},
    ],
)
@given(data=st.data())
def test_the_quick_look_at_a_signature_agrees_with_reading_it(value: JsonValue, data: st.DataObject) -> None:
    entry = make(kind="signoff", value=value)
    assert hull_key_of(entry.raw) == read_entry(entry.raw).hull_key
    place = data.draw(st.integers(entry.raw.index(b'"value"'), len(entry.raw)))
    width = data.draw(st.integers(0, 3))
    put_in = data.draw(st.sampled_from([b"", b",", b'"', b"[", b"]", b"}", b":", b"1", b" ", b'","', b'{"a":1}']))
    raw = entry.raw[:place] + put_in + entry.raw[place + width :]
    assert _outcome(hull_key_of, raw) == _outcome(lambda b: read_entry(b).hull_key, raw)


def _outcome(read: Any, raw: bytes) -> str:
    try:
        return str(read(raw))
    except InputError:
        return "refused"


@pytest.mark.parametrize("value", [1.5, float("nan"), [0, {"a": 2.0}]])
def test_floats_are_refused(value: Any) -> None:
    """A decimal is kept as text, exactly as typed."""
    with pytest.raises(InputError, match="a decimal as text"):
        make(value=value)


@pytest.mark.parametrize("number", [b"1.5", b"1e3", b"NaN", b"-Infinity", b"9007199254740993", b"-0", b"01"])
def test_numbers_that_encoders_spell_differently_are_refused_from_elsewhere(number: bytes) -> None:
    """They would be hashed differently by the next machine."""
    with pytest.raises(InputError):
        read_entry(make(value=7).raw.replace(b'"value":7', b'"value":' + number))


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"hull": ""}, "hull"),
        ({"hull": "   "}, "hull"),
        ({"hull": "A" * 65}, "hull"),
        ({"kind": ""}, "kind"),
        ({"by": ""}, "by"),
        ({"dev": ""}, "dev"),
        ({"at": "14 May, noon"}, "at"),
        ({"at": "2026-05-14T12:00:00"}, "at"),
        ({"clock": (-1, 0)}, "clock"),
        ({"replaces": ["b12"]}, "replaces"),
        ({"value": LARGEST_INTEGER + 1}, "value"),
        ({"value": {"tide height é": "1"}}, "value.tide height é"),
        ({"value": {1: "1"}}, "value.1"),
        ({"value": [b"bytes"]}, "value[0]"),
        ({"value": "\ud800"}, "value"),
        ({"more": {"by": "someone else"}}, "by"),
    ],
)
def test_a_fault_names_the_field(changes: dict[str, Any], where: str) -> None:
    """What cannot be an entry is refused where it is stated."""
    with pytest.raises(InputError) as refused:
        make(**changes)
    assert where in [fault.where for fault in refused.value.faults]


def test_every_fault_is_reported_at_once() -> None:
    """Three wrong fields, three faults."""
    with pytest.raises(InputError) as refused:
        make(by="", at="noon", value=[1.5])
    assert {fault.where for fault in refused.value.faults} == {"by", "at", "value[0]"}


@pytest.mark.parametrize(
    ("raw", "reason"),
    [
        (b"", "one JSON object"),
        (b"[]", "a JSON object"),
        (b'{"v":1', "one JSON object"),
        (b"\xff", "UTF-8"),
        (b"[" * 100_00, "levels"),
        (make().raw.replace(b":", b": ", 1), "canonical"),
        (make().raw + b"\n", "canonical"),
        (reworded(make(), v=0), "format"),
        (reworded(make(), v=True), "format"),
        (reworded(make(), kind=5), "kind"),
        (reworded(make(), hull=""), "hull"),
        (reworded(make(), clock=["1", "2"]), "clock"),
        (reworded(make(), plugins=[]), "plugins"),
        (reworded(make(), subject="prop_check/full_throttle"), "subject"),
        (reworded(make(), by="Ine\u0301s"), "canonical"),
        (b'{"b":1,"a":2}', "canonical"),
        (b'{"a":1,"a":2}', "canonical"),
        (b"9" * 5000, "integers"),
    ],
)
def test_bytes_that_are_no_entry_are_refused_with_the_reason(raw: bytes, reason: str) -> None:
    """The one who sent them can be told what is wrong."""
    with pytest.raises(InputError, match=reason):
        read_entry(raw)


def test_text_has_one_spelling() -> None:
    """An e with its accent typed apart is the same text, and the same entry (Unicode Annex 15, form C)."""
    assert make(by="Ine\u0301s") == make(by="In\u00e9s")
    assert make(by="In\u00e9s").by == "In\u00e9s"


def test_an_entry_too_large_is_refused_with_what_to_do() -> None:
    """A recording belongs into an attachment."""
    with pytest.raises(InputError, match="attachment"):
        make(value="x" * LARGEST_ENTRY)
    with pytest.raises(InputError, match="attachment"):
        read_entry(reworded(make(), value="x" * LARGEST_ENTRY))


def test_nesting_has_a_limit() -> None:
    """A value nested past any form a person fills is refused, made or read."""
    deep: JsonValue = "x"
    for _ in range(DEEPEST):
        deep = [deep]
    with pytest.raises(InputError, match="levels"):
        make(value=deep)
    with pytest.raises(InputError, match="levels"):
        read_entry(reworded(make(), value=deep))


def test_a_careless_date_from_elsewhere_is_kept() -> None:
    """What another tablet's person stated is not dropped for a date this version would not write."""
    assert read_entry(reworded(make(), at="noon", by="")).at == "noon"


@pytest.mark.parametrize("clock", ["a new sort", [], [7], [7, 8, 9], [7, "8"], [True, 8], {"ms": 7}])
def test_a_clock_of_a_newer_format_counts_as_the_earliest(clock: JsonValue) -> None:
    raw = canonical_bytes({"v": 2, "kind": "measure", "hull": "ABC00001A526", "clock": clock})
    assert read_entry(raw).clock == Stamp(0, 0)


def test_an_entry_of_a_newer_format_is_kept_as_it_is() -> None:
    """It needs only format, kind and hull; the rest may have changed its meaning."""
    raw = canonical_bytes(
        {"v": 2, "kind": "measure", "hull": "ABC00001A526", "clock": "a new sort", "subject": {"a": 1}}
    )
    entry = read_entry(raw)
    assert entry.raw == raw
    assert hashlib.sha256(raw).hexdigest().startswith(entry.id)
    assert (entry.is_understood, entry.subject, entry.clock) == (False, (), Stamp(0, 0))
