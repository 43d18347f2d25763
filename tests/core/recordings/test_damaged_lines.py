"""Damaged lines cost themselves and nothing else. The whole campaign: tests/campaigns/lines_campaign.py."""

from __future__ import annotations

import random
from functools import reduce
from operator import xor
from pathlib import Path

import pytest

import altered_lines
from campaigns import forms_campaign, lines_campaign
from garboard.faults import InputError
from garboard.recordings import csv_series, load_recording, nmea0183
from garboard.recordings.notes import ReadingNotes

SOUND = "$HEHDT,46,T*03"


@pytest.mark.parametrize("cut", ["$GPZDA", "$GPZDA*48", "$GPRMC", "$GPGLL", "$GPGGA", "$GPZDA,", "$GPZDA,093000"])
def test_a_sentence_of_time_cut_short_leaves_the_rest(cut: str) -> None:
    lines = [lines_campaign.DATED, cut, SOUND]
    found = [sample.value for samples in nmea0183.read(lines, ReadingNotes()) for sample in samples]
    assert found == [46.0]


def test_a_number_that_python_alone_reads_is_none_however_many_lines_are_read_at_once(tmp_path: Path) -> None:
    def log(heading: str) -> str:
        body = f"HEHDT,{heading},T"
        return f"${body}*{reduce(xor, body.encode()):02X}\n"

    (tmp_path / "a.log").write_text(log("46") * 300 + log("4_6") * 5 + log("46") * 300)
    recording, notes = load_recording(tmp_path / "a.log")
    assert ([len(stream) for stream in recording.streams.values()], notes.damaged_count) == ([600], 5)


def test_a_heading_that_cannot_be_taken_apart_is_a_fault_of_the_file() -> None:
    with pytest.raises(InputError, match="names of columns"):
        list(csv_series.read(["time,head\ring [deg]", "0,1"], ReadingNotes(), "turn.csv"))


def test_damaged_lines_take_nothing_else_down() -> None:
    read, faults = lines_campaign.run(6000)
    assert faults == []
    assert min(read.values()) > 1000  # of each form


def test_damaged_recordings_of_every_form_take_nothing_else_down() -> None:
    read, faults = forms_campaign.run(360)
    assert faults == []
    assert min(read.values()) >= 360
    assert read.keys() == forms_campaign.ALL.keys()


def test_the_oracle_sees_a_wrong_checksum() -> None:
    """Else the campaign could not fail."""
    wrong = SOUND.replace("46", "47")
    assert lines_campaign.is_wrong(wrong)
    assert not lines_campaign.is_wrong(SOUND)
    damaged = [altered_lines.altered(SOUND, random.Random(seed), [SOUND]) for seed in range(50)]
    assert any(map(lines_campaign.is_wrong, damaged))
