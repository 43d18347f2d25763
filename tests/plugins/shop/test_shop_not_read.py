"""Coming ashore says what could not be read here, and mends what is damaged on one side from the other."""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import redirect_stderr
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk import attachments
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.history.authoring import measure
from garboard.history.replay import HullState
from garboard.shop_link import pairing
from garboard.shop_link.sync import bring_ashore
from garboard_shop.commands import _tell_not_read
from garboard_shop.embedded import EmbeddedStore
from histories import HULL, JOB, tablet
from shop_rig import shop_and_tablets

OTHER = "QQZ04418D626"
PHOTO = b"a photo of the helm" * 100
NAME = hashlib.sha256(PHOTO).hexdigest()
HARMS: dict[str, bytes] = {"empty": b"", "cut off": PHOTO[:-1], "longer": PHOTO + b"!", "one bit": b"b" + PHOTO[1:]}


def test_a_newer_hull_here_that_the_shop_does_not_know_is_not_called_ashore(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path) as (_, [(folder, paired)]):
        for hull in (HULL, OTHER):
            folder.save(measure(tablet("a").author, HullState(hull), JOB, "prop_check.runs", "speed", "30 kn", row="1"))
        folder.close()
        path = folder.folder / HULLS_FOLDER / file_name(OTHER)
        first = f"garboard hull 2 {OTHER}".encode()
        path.write_bytes(first + b" " + hashlib.sha256(first).hexdigest()[:8].encode() + b"\n")
        pairing.keep(folder.folder, paired)
        result = CliRunner().invoke(program, ["ashore", "--folder", str(folder.folder)])
        assert result.exit_code == 1
        assert f"not read, so not sent: {path}" in result.stdout
        assert "both sides hold the same" not in result.stdout
        path.unlink()
        result = CliRunner().invoke(program, ["ashore", "--folder", str(folder.folder)])
        assert (result.exit_code, "both sides hold the same" in result.stdout) == (
            1,
            False,
        )
        CliRunner().invoke(program, ["repair", str(folder.folder), "--forget", OTHER])
        result = CliRunner().invoke(program, ["ashore", "--folder", str(folder.folder)])
        assert (result.exit_code, "both sides hold the same" in result.stdout) == (0, True)


@pytest.mark.parametrize("harm", HARMS)
def test_an_attachment_damaged_on_this_side_is_fetched_again(tmp_path: Path, harm: str) -> None:
    with shop_and_tablets(tmp_path) as (_, [(folder, paired)]):
        folder.attachments.put(PHOTO)
        assert bring_ashore(folder, paired).attachments_sent == 1
        (folder.attachments.folder / NAME).write_bytes(HARMS[harm])
        report = bring_ashore(folder, paired, prove=True)
        assert report.attachments_received == 1
        assert folder.attachments.get(NAME) == PHOTO
        assert not bring_ashore(folder, paired, prove=True).attachments_received


def test_an_attachment_changed_since_it_was_proved_is_seen_though_length_and_time_are_as_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that nobody changed is not read again, by the next program neither."""
    monkeypatch.setattr(attachments, "COARSEST_CLOCK", 0)
    read: list[str] = []
    really = hashlib.file_digest

    def reading(file: Any, kind: str) -> object:
        read.append(file.name)
        return really(file, kind)

    monkeypatch.setattr(hashlib, "file_digest", reading)
    with shop_and_tablets(tmp_path) as (_, [(folder, paired)]):
        path = folder.attachments.folder / NAME
        folder.attachments.put(PHOTO)
        bring_ashore(folder, paired)
        assert read.count(str(path)) == 1
        folder.close()
        with HullFolder(folder.folder) as again:
            bring_ashore(again, paired)
            assert read.count(str(path)) == 1
            before = path.stat()
            path.write_bytes(PHOTO[:-1] + bytes([PHOTO[-1] ^ 1]))
            os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
            assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
            assert bring_ashore(again, paired).attachments_received == 1
            assert again.attachments.get(NAME) == PHOTO


@pytest.mark.parametrize("harm", ["empty", "cut off", "longer"])
def test_an_attachment_of_another_length_is_seen_without_reading_them_all(tmp_path: Path, harm: str) -> None:
    """Both sides hold a file of each name then, and not the same: one of them was called safe at the shop."""
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.attachments.put(PHOTO)
        bring_ashore(folder, paired)
        for side in (folder.attachments, shop.hulls.attachments):
            (side.folder / NAME).write_bytes(HARMS[harm])
            bring_ashore(folder, paired)
            assert side.get(NAME) == PHOTO


@pytest.mark.parametrize("harm", ["empty", "cut off", "longer"])
def test_an_attachment_damaged_at_the_shop_is_sent_again(tmp_path: Path, harm: str) -> None:
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.attachments.put(PHOTO)
        bring_ashore(folder, paired)
        (shop.hulls.attachments.folder / NAME).write_bytes(HARMS[harm])
        report = bring_ashore(folder, paired)
        assert report.attachments_sent == 1
        assert shop.hulls.attachments.get(NAME) == PHOTO
        assert not report.refused


def test_a_shop_names_the_hull_files_it_cannot_read_when_it_starts(tmp_path: Path) -> None:
    store = EmbeddedStore(tmp_path)
    store.hulls.save(measure(tablet("a").author, HullState(HULL), JOB, "prop_check.runs", "speed", "30 kn", row="1"))
    (tmp_path / HULLS_FOLDER / file_name(OTHER)).mkdir()
    told = StringIO()
    with redirect_stderr(told):
        _tell_not_read(store)
    store.close()
    assert [line.split(": ")[2] for line in told.getvalue().splitlines()] == [
        "a folder, where a hull file should stand"
    ]


@pytest.mark.parametrize("is_ashore", [True, False])
def test_what_a_ruined_hull_file_here_lost_is_named_unless_the_shop_gives_it_back(
    tmp_path: Path, is_ashore: bool
) -> None:
    with shop_and_tablets(tmp_path) as (_, [(folder, paired)]):
        for row in ("1", "2", "3"):
            folder.save(measure(tablet("a").author, HullState(HULL), JOB, "prop_check.runs", "speed", "30 kn", row=row))
        if is_ashore:
            assert bring_ashore(folder, paired).complete
        folder.close()
        path = folder.folder / HULLS_FOLDER / file_name(HULL)
        path.write_bytes(path.read_bytes().replace(b"speed", b"sp~ed", 2))
        pairing.keep(folder.folder, paired)
        result = CliRunner().invoke(program, ["ashore", "--folder", str(folder.folder), "--json"])
        told = json.loads(result.stdout)
        assert (result.exit_code, told["complete"], told["equal"]) == (int(not is_ashore), is_ashore, True)
        assert [one["entries"] for one in told["lost"]] == ([] if is_ashore else [2])
