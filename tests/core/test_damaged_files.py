"""Damage to a file of any kind costs what is damaged. The whole campaign: tests/campaigns/readers_campaign.py."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from campaigns import readers_campaign
from garboard.disk.documents import DocumentDamaged
from garboard.samples import Sample
from garboard_shop.embedded import EmbeddedStore
from garboard_tablet.models.live import read_recorded, sample_line
from garboard_tablet.models.runs import read_pending
from garboard_tablet.models.settings import FILE, read_settings, write_settings

SOUND = Sample(12.5, "engine_speed", 5600.0, "27", "0")


def test_damaged_files_take_nothing_else_down() -> None:
    lines, read, faults = readers_campaign.run(700)
    assert faults == []
    assert lines.keys() == readers_campaign.readers().keys()
    assert min(lines.values()) > 50
    assert read["hull file"] > 0


def test_the_campaign_tells_a_reader_that_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else it could not fail."""

    def careless(data: bytes, folder: Path) -> str:
        return "" if len(data) < 400 else str(data.decode("ascii")[:0])

    spoilt = {"careless": readers_campaign.Reader([b'{"a": "b"}\n' * 40], careless)}
    monkeypatch.setattr(readers_campaign, "readers", lambda: spoilt)
    _, _, faults = readers_campaign.run(300)
    assert any("UnicodeDecodeError" in fault for fault in faults)


def test_the_damage_is_the_same_each_time() -> None:
    sound = b'{"a": [1, "b"]}\n{"c": 2}'
    one, other = (readers_campaign.damaged(sound, random.Random(7)) for _ in range(2))
    assert one == other
    assert any(readers_campaign.damaged(sound, random.Random(seed))[0] != sound for seed in range(3))


@pytest.mark.parametrize(
    "odd",
    [
        '[1, {}, 5600.0, "27", "0", ""]',
        '[1, "engine_speed", "fast", "27", "0", ""]',
        '[NaN, "engine_speed", 1.0, "27", "0", ""]',
        f'[{"9" * 400}, "engine_speed", 1.0, "27", "0", ""]',
        '[1, "engine_speed", 5600.0, "27", null, ""]',
        '[1, "loudness", 5600.0, "27", "0", ""]',
        '[1, "engine_speed"]',
        "7",
        "[" * 1000,
    ],
)
def test_a_damaged_line_of_a_tablets_run_costs_itself(odd: str) -> None:
    _, samples = read_recorded(sample_line(SOUND) + odd + "\n" + sample_line(SOUND))
    assert samples == [SOUND, SOUND]


def test_a_run_with_bytes_that_are_no_text_is_read(tmp_path: Path) -> None:
    (tmp_path / "run").write_bytes(b"\xff\xfe\n" + sample_line(SOUND).encode() + b"\xd9\n")
    assert read_pending(tmp_path, "run", {}).samples() == [SOUND]


@pytest.mark.parametrize(
    "odd", [b"\xff\xfe", b'{"at": "soon", "tablet": "t", "clock_offset": 0, "ids": {}}', b'{"at": 1}', b"[1]", b"\xd9{"]
)
def test_a_damaged_line_of_the_deliveries_costs_itself(odd: bytes, tmp_path: Path) -> None:
    sound = {"at": 1778752800000, "tablet": "t1", "clock_offset": 0, "ids": {"QQZ01234A626": ["a"]}}
    store = EmbeddedStore(tmp_path)
    try:
        store._deliveries.mkdir(parents=True, exist_ok=True)
        text = json.dumps(sound).encode()
        (store._deliveries / "2026-05-14.jsonl").write_bytes(text + b"\n" + odd + b"\n" + text + b"\n")
        assert [one.tablet for one in store.deliveries(0, 1778752800001)] == ["t1", "t1"]
    finally:
        store.close()


def test_a_tablets_setting_of_another_kind_is_not_set_and_the_others_stay(tmp_path: Path) -> None:
    damaged: list[DocumentDamaged] = []
    before = read_settings(tmp_path, damaged).with_person("R. Vane")
    write_settings(tmp_path, before)
    plain = json.loads((tmp_path / FILE).read_text())
    row = plain["tablet"]["1"]
    row |= {"units": None, "dark": "yes", "always": ["m"], "network": "10110"}
    (tmp_path / FILE).write_text(json.dumps(plain))
    assert (read_settings(tmp_path, damaged), damaged) == (before, [])
    row["tablet"] = 7
    (tmp_path / FILE).write_text(json.dumps(plain))
    anew = read_settings(tmp_path, damaged)
    assert len(damaged) == 1
    assert read_settings(tmp_path, damaged).tablet == anew.tablet != before.tablet
