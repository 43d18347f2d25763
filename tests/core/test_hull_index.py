"""The index of what is noted of hull files: it saves work, and nobody ever believes it against a hull file."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
from pathlib import Path

import pytest

from campaigns.writers import entry_number
from garboard.disk import hull_index, hullfile, sizes
from garboard.disk.hull_index import FILE, HullIndex, IndexDoubted, Noted, read_fields
from garboard.disk.hullfile import HullFolder, digest_of
from garboard.disk.journal import Journal, file_name
from garboard.history.merge import merge

HULLS = [f"ABC{number:05d}A526" for number in range(12)]
ENTRIES = {hull: [entry_number(number, hull) for number in range(2)] for hull in HULLS}
TRUE = {hull: digest_of(entry.id for entry in entries) for hull, entries in ENTRIES.items()}


@pytest.fixture(autouse=True)
def _few_hulls_have_one_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sizes, "_LONGEST_KEPT", 0)
    monkeypatch.setattr(sizes, "_SHARE_NOT_INDEXED", 1)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "shop"
    with HullFolder(folder) as hulls, hulls.batch():
        for hull, entries in ENTRIES.items():
            hulls.put_if_absent(hull, entries)
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """A copy: its files have other numbers and times than those noted, so they are read, and noted, once."""
    shutil.copytree(made, tmp_path / "shop")
    for _ in range(2):
        with HullFolder(tmp_path / "shop") as hulls:
            assert hulls.digests() == TRUE
    assert (tmp_path / "shop" / FILE).exists()
    return tmp_path / "shop"


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Keys of the hull files opened."""
    keys: list[str] = []

    class Counted(Journal):
        def __init__(self, path: Path, key: str, *, writing: bool, least: int = 0) -> None:
            keys.append(key)
            super().__init__(path, key, writing=writing, least=least)

    monkeypatch.setattr(hullfile, "Journal", Counted)
    return keys


@pytest.mark.parametrize("read_only", [True, False])
def test_what_every_hull_holds_is_told_without_opening_a_file(folder: Path, opened: list[str], read_only: bool) -> None:
    with HullFolder(folder, read_only=read_only) as hulls:
        assert hulls.digests() == TRUE
        assert {held.entries for held in hulls.holdings().values()} == {2}
    assert opened == []


def test_what_was_saved_needs_no_file_opened_either(folder: Path, opened: list[str]) -> None:
    new = entry_number(7, HULLS[3])
    with HullFolder(folder) as hulls:
        hulls.save(new)
    opened.clear()
    with HullFolder(folder, read_only=True) as hulls:
        assert hulls.holdings()[HULLS[3]] == (digest_of({entry.id for entry in (*ENTRIES[HULLS[3]], new)}), 3)
    assert opened == []


def test_a_merge_opens_the_hull_files_of_what_it_brings(folder: Path, tmp_path: Path, opened: list[str]) -> None:
    with HullFolder(tmp_path / "tablet") as tablet, tablet.batch():
        for hull in HULLS[4:6]:
            tablet.save(entry_number(7, hull))
    opened.clear()
    with HullFolder(tmp_path / "tablet", read_only=True) as tablet, HullFolder(folder) as shop:
        report = merge([tablet], shop)
    assert (report.received, report.complete) == (2, True)
    assert opened == HULLS[4:6]


def test_a_file_changed_to_the_same_length_is_opened_and_its_damage_told(folder: Path, opened: list[str]) -> None:
    path = folder / "hulls" / file_name(HULLS[0])
    path.write_bytes(path.read_bytes().replace(b'"0.5 kn"', b'"9.5 kn"'))
    os.utime(path, (0, 0))  # a coarse clock could show two writes of one moment as one
    with HullFolder(folder, read_only=True) as hulls:
        held = hulls.holdings()
        assert [damage.file for damage in hulls.damage_found()] == [path]
    assert opened == [HULLS[0]]
    assert held[HULLS[0]] == (digest_of([ENTRIES[HULLS[0]][1].id]), 1)
    with HullFolder(folder) as hulls:
        assert hulls.readable() == tuple(HULLS)


def test_an_older_file_put_back_with_its_old_time_is_opened(folder: Path, opened: list[str]) -> None:
    path = folder / "hulls" / file_name(HULLS[0])
    found = path.stat()
    Path(shutil.copy2(path, folder / "copy")).replace(path)
    assert path.stat().st_mtime_ns == found.st_mtime_ns
    with HullFolder(folder, read_only=True) as hulls:
        assert hulls.digests() == TRUE
    assert opened == [HULLS[0]]


@pytest.mark.parametrize("which", [(FILE,), (FILE, sizes.FILE), (sizes.FILE,)])
def test_notes_of_yesterday_put_back_are_not_believed(folder: Path, tmp_path: Path, which: tuple[str, ...]) -> None:
    for name in which:
        shutil.copy2(folder / name, tmp_path / name)
    new = {hull: entry_number(7, hull) for hull in HULLS[2:]}
    for entry in new.values():
        with HullFolder(folder) as hulls:
            hulls.save(entry)
    for name in which:
        shutil.copy2(tmp_path / name, folder / name)
    now = {hull: digest_of({e.id for e in (*ENTRIES[hull], *[new[h] for h in [hull] if h in new])}) for hull in HULLS}
    with HullFolder(folder) as hulls:
        assert hulls.digests() == now
        assert hulls.damage() == ()


def test_a_program_killed_between_a_hull_file_and_its_note_costs_only_work(
    folder: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    new = entry_number(7, HULLS[5])
    with monkeypatch.context() as killed, HullFolder(folder) as hulls:
        killed.setattr(sizes.FileSizes, "_note", lambda *_, **__: None)
        hulls.save(new)
    opened.clear()
    with HullFolder(folder) as hulls:
        assert hulls.holdings()[HULLS[5]].entries == 3
        assert opened == [HULLS[5]]
    opened.clear()
    with HullFolder(folder, read_only=True) as hulls:
        assert hulls.holdings()[HULLS[5]].entries == 3
    assert opened == []


def test_what_another_program_writes_meanwhile_is_read_anew(folder: Path) -> None:
    with HullFolder(folder, read_only=True) as reader:
        assert reader.digests() == TRUE
        for number in range(7, 10):
            with HullFolder(folder) as writer:
                writer.save(entry_number(number, HULLS[1]))
                now = writer.digests()
        with HullFolder(folder, read_only=True) as later:
            assert later.digests() == now
        assert reader.digests() == now


@pytest.mark.parametrize("harm", ["gone", "cut", "empty", "newer", "flipped"])
def test_an_index_that_proves_nothing_is_passed_over_and_made_again(folder: Path, harm: str) -> None:
    index = folder / FILE
    before = index.read_bytes()
    index.write_bytes(
        {
            "gone": b"",
            "empty": b"",
            "cut": before[:-1],
            "newer": before.replace(b"index 1", b"index 2", 1),
            "flipped": before[:200] + bytes([before[200] ^ 1]) + before[201:],
        }[harm]
    )
    if harm == "gone":
        index.unlink()
    left = index.read_bytes() if index.exists() else None
    with HullFolder(folder, read_only=True) as hulls:
        assert hulls.digests() == TRUE
    assert (index.read_bytes() if index.exists() else None) == left, "who only reads writes nothing"
    with HullFolder(folder) as hulls:
        assert hulls.digests() == TRUE
        least = {hull: hulls._sizes.least(file_name(hull)) for hull in HULLS}
    assert least == {hull: (folder / "hulls" / file_name(hull)).stat().st_size for hull in HULLS}
    assert index.read_bytes() != left


def _noted(number: int) -> tuple[str, Noted]:
    hull = f"ABC{number:05d}A526"
    return file_name(hull), Noted(600 + number, f"{number:064x}", 2, 2, 1_796_010_219_945_793_896, (1, 2, number))


def _index(folder: Path, count: int) -> tuple[HullIndex, dict[str, Noted]]:
    folder.mkdir()
    notes = dict(map(_noted, range(count)))
    (folder / "notes").write_bytes(b"")
    hull_index.write(folder / "index", folder / "notes", 0, notes)
    index = HullIndex.opened(folder / "index", folder / "notes")
    assert index is not None
    return index, notes


def test_finding_one_costs_the_same_among_many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted in lines looked at: for ten times as many hulls it is three or four more."""
    looked: list[int] = []
    line_around = HullIndex._line_around

    def counted(self: HullIndex, place: int) -> tuple[int, bytes]:
        looked.append(place)
        return line_around(self, place)

    monkeypatch.setattr(HullIndex, "_line_around", counted)
    most = {}
    for count in (100, 1000):
        index, notes = _index(tmp_path / str(count), count)
        most[count] = 0
        for name in [*notes][:: count // 50]:
            looked.clear()
            assert index.of(name) == notes[name]
            most[count] = max(most[count], len(looked))
        for nobody in (file_name("ABC00000A527"), "A-0000000000000000.hull", "ZZ-0000000000000000.hull"):
            assert index.of(nobody) == Noted()
        index.close()
    assert most[1000] <= most[100] + 4 <= 16


def test_no_damage_of_the_index_makes_it_say_what_is_not_so(tmp_path: Path) -> None:
    """It says what was noted, or that it is in doubt: with a bit turned, a piece lost or written twice, or zeros."""
    index, notes = _index(tmp_path / "made", 20)
    index.close()
    path = tmp_path / "made" / "index"
    whole, chance = path.read_bytes(), random.Random(19)
    for _ in range(300):
        at, length = chance.randrange(len(whole)), chance.randrange(1, 400)
        path.write_bytes(
            chance.choice(
                [
                    whole[:at] + bytes([whole[at] ^ 1 << chance.randrange(8)]) + whole[at + 1 :],
                    whole[:at] + whole[at + length :],
                    whole[: at + length] + whole[at:],
                    whole[:at] + bytes(length) + whole[at + length :],
                ]
            )
        )
        if path.read_bytes() == whole or (harmed := HullIndex.opened(path, tmp_path / "made" / "notes")) is None:
            continue
        name = chance.choice([*notes])
        with contextlib.suppress(IndexDoubted):
            assert harmed.of(name) == notes[name]
        with contextlib.suppress(IndexDoubted):
            assert {name: read_fields(fields) for name, fields in harmed.lines()} == notes
        harmed.close()
