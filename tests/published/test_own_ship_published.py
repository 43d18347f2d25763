"""The boat's own AIS identity against outside programs: pyais for VDO sentences, nmea2000 for static data."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from garboard.recordings import ReadingNotes, comma_lines, nmea0183
from garboard.recordings.bus import BusDecoder

# What a six-bit text can hold, and no blank at its ends.
TEXT = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./&", min_size=1, max_size=20)
CALL_SIGN = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=1, max_size=7)
MMSI = st.integers(201_000_000, 775_999_999)


def decoded(line: str) -> Any:
    """As nmea2000 reads it. Loaded here: a worker that runs other files is free of its 27 MB."""
    from nmea2000.decoder import NMEA2000Decoder

    return NMEA2000Decoder().decode(line)


def encode_dict(told: dict[str, Any], **how: Any) -> list[str]:
    """As pyais writes it."""
    import pyais

    return pyais.encode_dict(told, **how)


def own_ship_of(*sentences: str) -> dict[str, str]:
    notes = ReadingNotes()
    list(nmea0183.read(sentences, notes))
    assert notes.damaged == []
    return notes.own_ship


@settings(max_examples=60, deadline=None)
@given(mmsi=MMSI, name=TEXT, call_sign=CALL_SIGN, kind=st.sampled_from(["5", "18", "19", "24A", "24B"]))
def test_an_own_ship_sentence_is_read_as_pyais_reads_it(mmsi: int, name: str, call_sign: str, kind: str) -> None:
    told: dict[str, Any] = {"type": int(kind[:2].rstrip("AB")), "mmsi": mmsi}
    told |= {"shipname": name, "callsign": call_sign, "partno": 1 if kind == "24B" else 0}
    sentences = encode_dict(told, radio_channel="A", talker_id="AI", sentence_type="VDO")
    from pyais.stream import IterMessages

    [message] = list(IterMessages(line.encode() for line in sentences))
    theirs = message.decode().asdict()
    expected = {"mmsi": str(theirs["mmsi"]), "name": theirs.get("shipname"), "call_sign": theirs.get("callsign")}
    assert own_ship_of(*sentences) == {what: text for what, text in expected.items() if text}


def test_another_ship_is_not_read() -> None:
    sentences = encode_dict({"type": 24, "mmsi": 230_000_001, "shipname": "OTHER"}, talker_id="AI", sentence_type="VDM")
    assert own_ship_of(*sentences) == {}


def test_a_message_with_a_sentence_missing_or_characters_of_no_use_gives_nothing() -> None:
    told: dict[str, Any] = {"type": 5, "mmsi": 230_000_001, "shipname": "OWN"}
    first, second = encode_dict(told, talker_id="AI", sentence_type="VDO")
    notes = ReadingNotes()
    list(nmea0183.read([second, first, "!AIVDO,1,1,,A,Hw~,2", "!AIVDO,1,2,,A,H4,2", "!AIVDO,1,1,,A,1,0"], notes))
    assert notes.own_ship == {}
    assert notes.damaged_count == 4


def static_data(pgn: int, mmsi: int, name: str, call_sign: str, sender: int) -> bytes:
    """Static data of class A and B, as nmea2000 reads them."""
    padded, called = name.ljust(20, "@").encode(), call_sign.ljust(7, "@").encode()
    head = b"\x18" + mmsi.to_bytes(4, "little")
    if pgn == 129794:
        return head + bytes(4) + called + padded + bytes(38) + bytes([sender, 0])
    if pgn == 129809:
        return head + padded + bytes([0xE0 | sender, 0])
    return head + bytes(8) + called + bytes(13) + bytes([0xE0 | sender, 0])


@settings(max_examples=40, deadline=None)
@given(
    mmsi=MMSI, name=TEXT, call_sign=CALL_SIGN, sender=st.integers(0, 7), pgn=st.sampled_from([129794, 129809, 129810])
)
def test_static_data_are_the_own_ships_where_this_unit_sent_them(
    mmsi: int, name: str, call_sign: str, sender: int, pgn: int
) -> None:
    data = static_data(pgn, mmsi, name, call_sign, sender)
    line = f"2026-05-04T09:30:00.000Z,6,{pgn},43,255,{len(data)},{data.hex(',')}"
    fields = {field.id: field.value for field in decoded(line).fields}
    notes = ReadingNotes()
    assert list(comma_lines.read([line], notes)) == []
    said = str(fields["aisTransceiverInformation"] or "")
    if "transmission" in said or "Own information" in said:
        expected = {"mmsi": str(fields["userId"]), "name": fields.get("name"), "call_sign": fields.get("callsign")}
        assert notes.own_ship == {what: text for what, text in expected.items() if text}
    else:
        assert notes.own_ship == {}


@settings(max_examples=40, deadline=None)
@given(data=st.binary(min_size=8, max_size=8))
def test_a_claim_keeps_the_name_whose_parts_nmea2000_reads(data: bytes) -> None:
    line = f"2026-05-04T09:30:00.000Z,6,60928,43,255,8,{data.hex(',')}"
    fields = {field.id: field.raw_value for field in decoded(line).fields}
    notes = ReadingNotes()
    list(comma_lines.read([line], notes))
    [name] = notes.claims["43"]
    number = int(name, 16)
    assert number & 0x1FFFFF == fields["uniqueNumber"]
    assert number >> 21 & 0x7FF == fields["manufacturerCode"]
    assert number >> 40 & 0xFF == fields["deviceFunction"]


@pytest.mark.parametrize(("pgn", "needed"), [(60928, 8), (129794, 75), (129809, 26), (129810, 34)])
def test_a_message_cut_short_is_refused_and_names_nothing(pgn: int, needed: int) -> None:
    """Of bytes that say "this unit sent it"."""
    notes = ReadingNotes()
    decoder = BusDecoder(notes)
    with pytest.raises(ValueError, match=f"PGN {pgn}: expected {needed} bytes or more"):
        decoder.take(0.0, str(pgn), "43", b"\x03" * (needed - 1), 1, is_whole=True)
    assert (notes.own_ship, notes.claims) == ({}, {})
    decoder.take(0.0, str(pgn), "43", b"\x03" * needed, 1, is_whole=True)
    assert bool(notes.own_ship or notes.claims)
