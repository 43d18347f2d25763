"""A boat whose file is damaged, or gone: every page says it, the tables say it, and nothing says it once it is back."""

from __future__ import annotations

import shutil
from csv import DictReader
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk.hullfile import HULLS_FOLDER, CheckedEntries, HullFolder
from garboard.disk.journal import file_name
from garboard.hosting.host import PluginHost
from garboard.report import data_files
from garboard.report.data_tables import LEFT_OUT
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.pages import taking_away
from garboard_shop.pages.index import Index
from pages_rig import HAND, KITTIWAKE, SALTGRASS, Pages, words_of


def flip_a_bit(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def mend(folder: Path) -> None:
    """Once a program has opened it, a damaged file reads well; what it lost is still lost."""
    with HullFolder(folder) as hulls:
        assert hulls.hull(SALTGRASS).journal.damage


def test_every_page_and_the_tables_name_a_boat_whose_file_is_not_whole(
    delivered_day: Path, plugins: PluginHost, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(delivered_day, folder)
    store = EmbeddedStore(folder)
    whole = {hull: store.get(hull, store.ids(hull)) for hull in (SALTGRASS, KITTIWAKE)}
    store.close()
    harmed, gone = (folder / HULLS_FOLDER / file_name(hull) for hull in whole)
    flip_a_bit(harmed)
    gone.unlink()
    mend(folder)

    kept: list[Any] = []
    monkeypatch.setattr(taking_away, "write_tables", lambda rows, *_: kept.extend(rows))
    monkeypatch.setattr(data_files, "write_tables", lambda rows, *_: kept.extend(rows))
    lost = {SALTGRASS: "1 entry not readable", KITTIWAKE: f"{len(whole[KITTIWAKE])} entries not readable"}
    told = [f"{hull} : {why}" for hull, why in lost.items()]
    with Pages(folder, plugins) as pages:
        hand = pages.signed_in(HAND)
        for path in ("/board", "/insight", "/days/2026-11-25", f"/boats/{SALTGRASS}", f"/boats/{KITTIWAKE}"):
            said = words_of(hand.get(path).text)
            assert all(one in said for one in told), path
        for asked in ("", "?day=2026-11-25&by=came", "?day=2026-05-14&by=entered", f"?hull={SALTGRASS}"):
            table = hand.text(f"/measurements.csv{asked}")
            rows = {row["hull number"]: row["state"] for row in DictReader(StringIO(table)) if not row["job"]}
            ours = {hull: why for hull, why in lost.items() if "hull" not in asked or hull in asked}
            assert {hull: why.removesuffix(", not back") for hull, why in rows.items()} == {
                hull: f"not here, or not whole: {why}" for hull, why in ours.items()
            }
        whole_index, pages.desk.index = pages.desk.index, Index(pages.store)
        assert hand.get("/measurements.csv?day=2026-05-14&by=entered").status_code == 503
        assert SALTGRASS in hand.text("/measurements.csv"), "also before the boats are read for the search"
        pages.desk.index = whole_index
        pages.desk.tables.begin(".zip", pages.at)
        assert pages.desk.tables._thread is not None
        pages.desk.tables._thread.join()
        assert {(row[0], row[1].partition(",")[0]) for table, row in kept if table is LEFT_OUT} == {*lost.items()}
        for hull, entries in whole.items():
            assert not pages.store.put_if_absent({hull: CheckedEntries(entries)}, "1" * 12, pages.at, 0).refused
        pages.desk.remembering.bring_up_to_date()
        assert "not whole here" not in hand.text("/board")


def test_tables_made_by_the_command_name_what_a_file_lost_before_it_was_mended(
    delivered_day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(delivered_day, folder)
    harmed = folder / HULLS_FOLDER / file_name(SALTGRASS)
    flip_a_bit(harmed)
    for path in (folder / HULLS_FOLDER).iterdir():
        if path != harmed:
            path.unlink()
    mend(folder)
    monkeypatch.setattr(data_files, "write_tables", lambda rows, *_: [*rows])
    told = CliRunner().invoke(program, ["export", str(folder), "-o", str(tmp_path / "t.zip")])
    assert f"{file_name(SALTGRASS)}: 1 entry not readable" in told.stderr
    assert told.exit_code == 1
