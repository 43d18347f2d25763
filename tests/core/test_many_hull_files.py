"""A folder of many hull files: what each holds is told from its bytes, and what is noted of it is found at once."""

from __future__ import annotations

import contextlib
import io
import os
import random
import re
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

import pytest

from campaigns.writers import entry_number
from garboard.disk import hullfile, journal, proofs, sizes, sorted_notes, storage
from garboard.disk.hullfile import Holding, HullFolder, digest_of
from garboard.disk.journal import Journal, file_name, read
from garboard.disk.sizes import GONE, NOTHING, FileSizes, Noted

_AS_OLDER_PROGRAMS_READ = re.compile(r"[A-Z0-9]+-[0-9a-f]{16}\.hull [0-9]+ ([0-9a-f]{64}|-) [0-9]+ [0-9]+ [0-9]+")
HULLS = [f"ABC{number:05d}A526" for number in range(8)]
ENTRIES = {hull: [entry_number(number, hull) for number in range(2)] for hull in HULLS}


def holding(hull: str, entries: int) -> Holding:
    return Holding(digest_of(entry_number(number, hull).id for number in range(entries)), entries)


@pytest.fixture(autouse=True)
def _few_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hullfile, "MOST_IN_MEMORY", 0)
    monkeypatch.setattr(sorted_notes, "BLOCK", 500)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "shop"
    with HullFolder(folder) as hulls, hulls.batch():
        for hull, entries in ENTRIES.items():
            hulls.put_if_absent(hull, entries)
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "shop"))


@pytest.fixture
def journals(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Keys of the hulls whose journals were opened, to be held in memory."""
    keys: list[str] = []

    class Counted(Journal):
        def __init__(self, path: Path, key: str, *, writing: bool, least: int = 0) -> None:
            keys.append(key)
            super().__init__(path, key, writing=writing, least=least)

    monkeypatch.setattr(hullfile, "Journal", Counted)
    return keys


def long_ago(folder: Path) -> None:
    """Give every hull file a time at which nothing can change any more."""
    for path in (folder / "hulls").iterdir():
        os.utime(path, (1_500_000_000, 1_500_000_000))


@pytest.mark.parametrize("read_only", [True, False])
def test_what_is_as_it_was_noted_is_proved_and_not_held_in_memory(
    folder: Path, read_only: bool, journals: list[str], proved: list[int]
) -> None:
    with HullFolder(folder, read_only=read_only) as hulls:
        assert hulls.holdings() == {hull: holding(hull, 2) for hull in HULLS}
        assert (journals, len(proved)) == ([], len(HULLS))
        assert hulls.hulls() == hulls.readable() == tuple(HULLS)
        assert not hulls.damage()


def test_what_did_not_change_is_proved_once(folder: Path, proved: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(proofs, "COARSEST_CLOCK", -(1 << 62))
    with HullFolder(folder) as hulls:
        before = hulls.holdings()
        proved.clear()
        hulls.save(entry_number(2, HULLS[3]))
        assert hulls.holdings() == {**before, HULLS[3]: holding(HULLS[3], 3)}
        assert proved == []


def test_what_changed_just_now_is_proved_again(folder: Path, proved: list[int]) -> None:
    """By a clock that ticks every two seconds it could change once more and show the same time."""
    with HullFolder(folder) as hulls:
        for _ in range(2):
            hulls.holdings()
    assert len(proved) == 2 * len(HULLS)


def test_a_file_that_can_be_read_again_is_named_no_more(folder: Path) -> None:
    path = folder / "hulls" / file_name(HULLS[0])
    path.rename(folder / "kept")
    path.mkdir()
    with HullFolder(folder, read_only=True) as hulls:
        assert (HULLS[0] in hulls.holdings(), [*hulls.left_alone]) == (False, [path])
        path.rmdir()
        (folder / "kept").rename(path)
        assert (hulls.holdings()[HULLS[0]], hulls.left_alone) == (holding(HULLS[0], 2), {})


def _cut(path: Path) -> None:
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))


def _flipped(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"0.5 kn", b"9.5 kn"))


def _grown(path: Path) -> None:
    third = entry_number(2, HULLS[0])
    path.write_bytes(path.read_bytes() + f"{third.id} ".encode() + third.raw + b"\n")


HARMS: dict[str, tuple[Callable[[Path], object], int]] = {
    "cut": (_cut, 1),
    "flipped": (_flipped, 1),
    "grown": (_grown, 3),
}


@pytest.mark.parametrize("harm", HARMS)
@pytest.mark.parametrize("asked_before", [True, False])
def test_a_file_that_is_not_as_noted_is_opened_whatever_its_times_say(
    folder: Path, harm: str, asked_before: bool, journals: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path, (change, left) = folder / "hulls" / file_name(HULLS[0]), HARMS[harm]
    monkeypatch.setattr(hullfile, "changed", lambda _: 0)
    with HullFolder(folder) as hulls:
        if asked_before:
            hulls.holdings()
        before = path.stat()
        change(path)
        os.utime(path, ns=(before.st_mtime_ns, before.st_mtime_ns))
        held = hulls.holdings()
        assert journals == [HULLS[0]]
        assert held[HULLS[0]].entries == len(read(path.read_bytes()).entries) == left
        assert held[HULLS[0]].digest == digest_of(read(path.read_bytes()).entries)
        assert bool(hulls.damage()) == (harm != "grown")


@pytest.mark.parametrize("seed", range(4))
def test_never_is_told_what_a_folder_does_not_hold_however_coarse_its_clock(
    folder: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The system shows times in steps of up to two seconds, which also run backwards; no two files have a number of
    their own. Files grow, and are written over with others of the same length, between one question and the next.
    """
    chance, now = random.Random(seed), [1_800_000_000_000_000_000]
    step = chance.choice([1, 4_000_000, 1_000_000_000, 2_000_000_000])
    times: dict[str, int] = {}
    really = os.lstat

    def coarse(path: str | Path) -> os.stat_result:
        found = really(path)
        shown = times.get(Path(path).name, now[0] - 10**12) // step * step
        return os.stat_result(
            (found.st_mode, 1, 1, 1, 0, 0, found.st_size, 0, 0, 0),
            {
                "st_mtime_ns": shown,
                "st_ctime_ns": shown,
            },
        )

    monkeypatch.setattr(os, "lstat", coarse)
    monkeypatch.setattr("garboard.disk.hullfile.time.time_ns", lambda: now[0])
    reader = HullFolder(folder, read_only=True, of_today=True)
    taken = 0
    for _ in range(150):
        hull = chance.choice(HULLS)
        path = folder / "hulls" / file_name(hull)
        if chance.random() < 0.3:  # a folder opened for reading holds on to what it has in memory
            reader._proofs._noting = reader._proofs._alone = True
            reader._proofs.write()
            reader = HullFolder(folder, read_only=True, of_today=True)
            taken += proofs._read(folder / proofs.FILE).count("\n")
        if hull not in reader._open:
            last = chance.choice([ENTRIES[hull][1], entry_number(3, hull)])
            path.write_bytes(
                path.read_bytes().rpartition(b"\n")[0].rpartition(b"\n")[0]
                + b"\n%b %b\n" % (last.id.encode(), last.raw)
            )
            times[path.name] = now[0]
        now[0] += chance.choice([0, 1, 10**6, 10**9, 3 * 10**9])
        if chance.random() < 0.1:  # the clock is set back, to a time it never showed
            now[0] -= chance.randrange(1, 10**4) * 10**10 + 7
        held = reader.holdings()
        for other in HULLS:
            names = read((folder / "hulls" / file_name(other)).read_bytes()).entries
            assert held[other] == (digest_of(names), len(names)), other
    assert taken


@pytest.mark.parametrize("read_only", [True, False])
def test_who_asks_while_others_save_is_told_no_less_than_was_saved_before(folder: Path, read_only: bool) -> None:
    """Entries of a hull come in one order, so their number tells which they are. Threads save; one and the same folder
    is asked, or the files are read by another who has not locked them.
    """
    saved = dict.fromkeys(HULLS, 2)
    with HullFolder(folder) as hulls:

        def save(mine: list[str]) -> None:
            for number in range(2, 12):
                for hull in mine:
                    hulls.save(entry_number(number, hull))
                    saved[hull] = number + 1

        threads = [threading.Thread(target=save, args=(HULLS[part::3],)) for part in range(3)]
        for thread in threads:
            thread.start()
        rounds = 0
        while any(thread.is_alive() for thread in threads) or rounds < 2:
            before, rounds = {**saved}, rounds + 1
            asked = HullFolder(folder, read_only=True) if read_only else contextlib.nullcontext(hulls)
            with asked as asking:
                held = asking.holdings()
            for hull in HULLS:
                assert held[hull].entries >= before[hull]
                assert held[hull] == holding(hull, held[hull].entries)
        assert {hull: held.entries for hull, held in hulls.holdings().items()} == dict.fromkeys(HULLS, 12)


def noted_by(notes: FileSizes, names: list[str]) -> dict[str, Noted]:
    return {
        name: Noted(
            notes.least(name),
            notes.digest(name) or notes.check(name),
            notes.count(name),
            notes.known(name),
            notes._of(name).changed,
        )
        for name in names
    }


@pytest.mark.parametrize("seed", range(3))
def test_what_was_noted_is_read_again_wherever_it_was_sorted_in(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Held against a table in memory; the folder is opened again at any time, for writing or not.

    Whatever stands among the sorted lines, older programs read as well: they pass over a line of another form, and told
    nobody of a file that was cut off, or gone, whose line held a check.
    """
    monkeypatch.setattr(sizes, "_LONGEST_UNSORTED", 300)
    chance = random.Random(seed)
    hulls = [file_name(f"ABC{number:05d}A526") for number in range(30)]
    names = [*hulls, *(f"{name}.damaged-{chance.randrange(1, 3)}" for name in hulls[::5]), f"{hulls[1]}{GONE[0]}"]
    true: dict[str, Noted] = dict.fromkeys(names, NOTHING)
    notes = FileSizes(tmp_path, writing=True)
    for turn in range(300):
        name, number = chance.choice(names), chance.randrange(1, 1000)
        match chance.randrange(6):
            case 5:
                true[name] = Noted(number, f"~{number:08x}", number, number, number)
                notes.note_saved({name: true[name]})
            case 0:
                notes.note({name: number}, {name: f"{number:064x}"}, {name: number})
                true[name] = true[name]._replace(size=number, digest=f"{number:064x}", entries=number)
            case 1:
                notes.note({name: number % 3})
                true[name] = true[name]._replace(size=number % 3, digest="", entries=0)
            case 2:
                notes.note_known({name: number})
                true[name] = true[name]._replace(known=number)
            case 3:
                notes.note_found({name: number})
                true[name] = true[name]._replace(changed=number)
            case _:
                notes.close()
                notes = FileSizes(tmp_path, writing=turn % 2 == 0)
                asked = sorted(names)
                assert dict(notes.of_each(asked)) == true
                assert noted_by(FileSizes(tmp_path, writing=False), names) == true
                here = {*hulls[::2]}
                gone = [name for name in hulls if true[name].size and name not in here]
                assert notes.hulls_not_among(here) == gone
                assert notes.of_kept() == {name: true[name].size for name in names[30:] if true[name].size}
                notes = FileSizes(tmp_path, writing=True)
    notes.close()
    heading, *lines = (tmp_path / sizes.SORTED).read_text().splitlines()
    assert heading.startswith("garboard notes 2 ")
    assert {line.split()[0] for line in lines if _AS_OLDER_PROGRAMS_READ.fullmatch(line)} == {*hulls}


def test_damaged_notes_say_too_little_and_never_what_was_not_noted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sizes, "_LONGEST_UNSORTED", 0)
    names = [file_name(f"ABC{number:05d}A526") for number in range(20)]
    true = {name: Noted(600, f"{number:064x}", 7, 7, 5) for number, name in enumerate(names)}
    for _ in range(2):
        notes = FileSizes(tmp_path, writing=True)
        notes.note(dict.fromkeys(names, 600), {n: one.digest for n, one in true.items()}, dict.fromkeys(names, 7))
        notes.note_known(dict.fromkeys(names, 7))
        notes.note_found(dict.fromkeys(names, 5))
        notes.close()
    FileSizes(tmp_path, writing=True).least("")
    whole, chance = (tmp_path / sizes.SORTED).read_bytes(), random.Random(3)
    assert noted_by(FileSizes(tmp_path, writing=False), names) == true
    for _ in range(150):
        at, length = chance.randrange(len(whole)), chance.randrange(1, 200)
        (tmp_path / sizes.SORTED).write_bytes(whole[:at] + chance.choice([b"", bytes(length) + whole[at + length :]]))
        notes = FileSizes(tmp_path, writing=chance.random() < 0.3)
        for name, noted in (*notes.of_each(names), *noted_by(notes, names).items()):
            assert noted in (NOTHING, true[name])


@pytest.mark.parametrize("wrong", [b"Z", b"0", b"\0", b"\xff"])
def test_one_damaged_letter_in_the_notes_hides_no_other_file_and_ends_no_merge(
    tmp_path: Path, wrong: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a file that is noted among sorted names a search passes by a wrong name; `gone` then told of no file at all,
    and of a name that is none the merge ended.
    """
    monkeypatch.setattr(sizes, "_LONGEST_UNSORTED", 0)
    folder = tmp_path / "shop"
    names = [file_name(f"ABC{number:05d}A526") for number in range(20)]
    with HullFolder(folder) as hulls, hulls.batch():
        for number in range(20):
            hulls.save(entry_number(1, f"ABC{number:05d}A526"))
    with HullFolder(folder) as hulls:
        assert hulls.damage() == ()
    whole = (folder / sizes.SORTED).read_bytes()
    for damaged in names:
        at = whole.index(damaged.encode())
        (folder / sizes.SORTED).write_bytes(whole[:at] + wrong + whole[at + 1 :])
        notes = FileSizes(folder, writing=False)
        assert [name for name in names if not notes.least(name)] == [damaged]
        with HullFolder(folder, read_only=True) as hulls:
            assert [one.file.name for one in hulls.damage()] in ([], [(wrong + damaged.encode()[1:]).decode("latin-1")])


def test_what_an_older_program_writes_anew_costs_no_note(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It keeps of `hulls.sizes` the lines of one word each, and knows of no other file."""
    monkeypatch.setattr(sizes, "_LONGEST_UNSORTED", 0)
    folder, kept = tmp_path / "shop", f"{file_name(HULLS[2])}.damaged-1"
    with HullFolder(folder) as hulls, hulls.batch():
        for hull in HULLS:
            hulls.put_if_absent(hull, ENTRIES[hull])
        hulls._sizes.note({kept: 700}, {kept: "0" * 64}, {kept: 3})
    HullFolder(folder).close()
    lines = (folder / sizes.FILE).read_bytes().splitlines(keepends=True)
    (folder / sizes.FILE).write_bytes(b"".join(line for line in lines if len(line.split()) == 2))
    gone, short = (folder / "hulls" / file_name(hull) for hull in HULLS[:2])
    gone.unlink()
    _cut(short)
    with HullFolder(folder) as hulls:
        assert hulls.holdings().keys() == {*HULLS[1:]}
        assert {one.file: one.cut > 0 for one in hulls.damage()} == {gone: True, short: True}
        assert hulls._sizes.of_kept()[kept] == 700


@pytest.fixture
def bytes_read(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How much was read at a time of files that are read as they are: of the sorted notes, that is."""
    amounts: list[int] = []

    class Counted(io.FileIO):
        def read(self, size: int | None = -1, /) -> bytes:
            amounts.append(len(found := super().read(-1 if size is None else size)))
            return found

    monkeypatch.setattr(sorted_notes, "opened_to_read", lambda path, _buffering: Counted(path))
    return amounts


def test_a_few_of_many_are_found_without_reading_the_others(
    tmp_path: Path, bytes_read: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read are a hundredth of the file for its index, and a block for each asked for; nothing twice."""
    monkeypatch.setattr(sorted_notes, "BLOCK", 1 << 13)
    names = sorted(file_name(f"ABC{number:05d}A526") for number in range(10_000))
    lines = b"".join(sizes._line(name, Noted(600, f"{at:064x}", 1, 1, 10**18)) for at, name in enumerate(names))
    (tmp_path / sizes.SORTED).write_bytes(b"".join(sorted_notes.pieces(lines, "0a1b2c3d")))
    notes = FileSizes(tmp_path, writing=True)
    for at in [*range(0, 10_000, 500), 0, 9_999]:
        assert notes._of(names[at]) == Noted(600, f"{at:064x}", 1, 1, 10**18)
    assert notes.least(file_name("ABC00000A527")) == 0
    heading, index, *blocks = bytes_read
    assert heading <= 100
    assert index < len(lines) // 100
    assert (len(blocks), max(blocks) < (1 << 13) + 200) == (21, True)
    bytes_read.clear()
    assert [notes.least(name) for name in names[::500]] == [600] * 20
    assert bytes_read == []


def test_notes_that_another_wrote_anew_meanwhile_are_read_as_they_are_now(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who only reads holds an index in memory. What it finds in the new file by that is no block of its own."""
    monkeypatch.setattr(sizes, "_LONGEST_UNSORTED", 0)
    names, chance = [file_name(f"ABC{number:05d}A526") for number in range(40)], random.Random(4)
    true = dict.fromkeys(names, 0)
    for turn in range(1, 12):
        writer = FileSizes(tmp_path, writing=True)
        writer.note(changed := {name: turn * 10 ** chance.randrange(6) for name in chance.sample(names, 15)})
        writer.close()
        true |= changed
        FileSizes(tmp_path, writing=True).least("")
        reader = FileSizes(tmp_path, writing=False)
        told = {name: reader.least(name) for name in chance.sample(names, 5)}
        assert told == {name: true[name] for name in told}
        writer = FileSizes(tmp_path, writing=True)
        writer.note(more := {name: turn * 10 ** chance.randrange(6) + 1 for name in chance.sample(names, 15)})
        writer.close()
        FileSizes(tmp_path, writing=True).least("")
        for name in names:
            assert reader.least(name) in (true[name], more.get(name)), name
        true |= more
        assert {name: FileSizes(tmp_path, writing=False).least(name) for name in names} == true


@pytest.mark.parametrize("at_once", [True, False])
def test_notes_that_the_disk_refuses_are_not_written_over(
    tmp_path: Path, at_once: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sizes, "_LONGEST_UNSORTED", 0)
    names = [file_name(f"ABC{number:05d}A526") for number in range(40)]
    writer = FileSizes(tmp_path, writing=True)
    writer.note(dict.fromkeys(names, 600))
    writer.close()
    FileSizes(tmp_path, writing=True).least("")
    path = tmp_path / sizes.SORTED
    whole = path.read_bytes()
    with monkeypatch.context() as refused:
        notes, really = FileSizes(tmp_path, writing=True), storage.opened_to_read
        if not at_once:
            assert notes.least(names[0]) == 600

        def refuse(file: Path, buffering: int = -1) -> BinaryIO:
            if file == path:
                raise OSError(5, "Input/output error")
            return really(file, buffering)

        for module in (storage, sorted_notes):
            refused.setattr(module, "opened_to_read", refuse)
        assert notes.least(names[30]) == 0
        notes.note({names[0]: 700})
        notes.close()
    assert path.read_bytes() == whole
    assert [FileSizes(tmp_path, writing=False).least(name) for name in names] == [700] + [600] * 39


def test_a_note_that_a_full_disk_took_half_of_costs_no_note_after_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole, first = os.write, file_name(HULLS[0]).encode()

    def half(descriptor: int, data: bytes) -> int:
        return whole(descriptor, data[: len(data) // 3] if data.startswith(first) else data)

    monkeypatch.setattr(os, "write", half)
    with HullFolder(tmp_path) as hulls:
        hulls.save(entry_number(1, HULLS[0]))
        for number in range(2):
            hulls.save(entry_number(number, HULLS[1]))
            hulls.save(entry_number(number + 2, HULLS[0]))
    _cut(tmp_path / "hulls" / file_name(HULLS[1]))
    with HullFolder(tmp_path, read_only=True) as hulls:
        hulls.holdings()
        assert [one.cut > 0 for one in hulls.damage()] == [True]


def test_a_file_taken_out_of_use_is_told_once_and_not_as_one_that_cannot_be_read(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        hulls.save(entry_number(1, HULLS[0]))
    (tmp_path / "hulls" / "copy.hull").write_bytes(b"a letter")
    with HullFolder(tmp_path) as hulls:
        assert hulls.hulls() == (HULLS[0],)
        assert [one.file.name for one in hulls.damage()] == ["copy.hull"]
        assert hulls.not_read() == ()


def test_what_is_written_over_within_one_tick_of_a_coarse_clock_is_not_told_as_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a card the file keeps the time it had; what is in memory is written again before it is told."""
    monkeypatch.setattr(journal, "_marks", lambda found: (found.st_ino, found.st_mtime_ns))
    path, ids = tmp_path / "hulls" / file_name(HULLS[0]), set[str]()
    with HullFolder(tmp_path) as hulls:
        hulls.save(entry_number(1, HULLS[0]))
        ids.update(hulls.ids(HULLS[0]))
        second = time.time_ns() // 1_000_000_000 * 1_000_000_000
        os.utime(path, ns=(second, second))
        hulls.holdings()
        whole = path.read_bytes()
        path.write_bytes(whole[:-20] + bytes([whole[-20] ^ 1]) + whole[-19:])
        os.utime(path, ns=(second, second))
        assert hulls.holdings()[HULLS[0]].entries == 1
        assert read(path.read_bytes()).entries.keys() == ids
