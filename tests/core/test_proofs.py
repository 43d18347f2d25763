"""Of many hull files a server and `garboard digest` take what was proved today; whatever is in doubt is read again."""

from __future__ import annotations

import errno
import json
import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest
from click.testing import CliRunner, Result

from campaigns.writers import entry_number
from garboard.commands.cli import program
from garboard.disk import hullfile, proofs, storage
from garboard.disk.hullfile import Holding, HullFolder, digest_of
from garboard.disk.journal import file_name, read
from garboard.disk.proofs import FILE, LONGEST
from garboard.history.merge import state_digest

HULLS = [f"ABC{number:05d}A526" for number in range(6)]
HELD = {hull: Holding(digest_of(entry_number(number, hull).id for number in range(2)), 2) for hull in HULLS}


@pytest.fixture(autouse=True)
def _few_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hullfile, "MOST_IN_MEMORY", 0)


@pytest.fixture
def folder(tmp_path: Path, proved: list[int], monkeypatch: pytest.MonkeyPatch) -> Path:
    """Whose files were all proved by a program that has ended, some seconds after they were written."""
    with HullFolder(tmp_path / "shop") as hulls, hulls.batch():
        for hull in HULLS:
            hulls.put_if_absent(hull, [entry_number(number, hull) for number in range(2)])
    with monkeypatch.context() as later:
        later.setattr(proofs, "COARSEST_CLOCK", -60_000_000_000)
        with HullFolder(tmp_path / "shop") as hulls:
            assert hulls.holdings() == HELD
    assert len(proved) == len(HULLS)
    proved.clear()
    return tmp_path / "shop"


def server(folder: Path) -> HullFolder:
    return HullFolder(folder, read_only=True, of_today=True)


def digest(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(program, ["digest", str(folder), *options])


def told(result: Result) -> dict[str, str]:
    """The digests a command printed as JSON."""
    return {hull: one["entries"] for hull, one in json.loads(result.stdout)["hulls"].items()}


DIGESTS = {hull: held.digest for hull, held in HELD.items()}


def test_a_server_opens_no_file_that_was_proved_today_and_another_command_opens_each(
    folder: Path, proved: list[int]
) -> None:
    with server(folder) as hulls:
        assert (hulls.holdings(), proved, hulls._open) == (HELD, [], {})
    with HullFolder(folder, read_only=True) as hulls:
        assert (hulls.holdings(), len(proved), hulls._open) == (HELD, len(HULLS), {})


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every hull file that is opened in any way."""
    names: list[str] = []

    def opening(path: Any, *how: Any, **more: Any) -> int:
        if str(path).endswith(".hull"):
            names.append(Path(path).name)
        return really(path, *how, **more)

    def reading(self: Path) -> bytes:
        if self.suffix == ".hull":
            names.append(self.name)
        return read_bytes(self)

    really, read_bytes = os.open, Path.read_bytes
    monkeypatch.setattr(os, "open", opening)
    monkeypatch.setattr(Path, "read_bytes", reading)
    return names


def test_digest_opens_no_file_that_was_proved_today_and_says_since_when(folder: Path, opened: list[str]) -> None:
    result = digest(folder, "--json")
    plain = json.loads(result.stdout)
    first = min(int(line.split()[6]) for line in (folder / FILE).read_text().splitlines()[1:-1])
    assert (result.exit_code, opened, told(result)) == (0, [], DIGESTS)
    assert (plain["taken"], plain["proved_at"]) == (len(HULLS), first * 1000)
    assert "6 files were not read again: proved since " in result.stderr
    assert digest(folder).stdout == "".join(f"{hull}  entries {held.digest[:16]}\n" for hull, held in HELD.items())
    assert opened == []


@pytest.mark.parametrize("option", ["--prove", "--state"])
def test_digest_opens_every_file_where_it_is_asked_to(folder: Path, opened: list[str], option: str) -> None:
    result = digest(folder, option, "--json")
    assert (result.exit_code, told(result), result.stderr) == (0, DIGESTS, "")
    assert {*opened} == {file_name(hull) for hull in HULLS}
    assert json.loads(result.stdout)["taken"] == 0
    if option == "--state":
        with HullFolder(folder, read_only=True) as hulls:
            states = {hull: state_digest(hulls, hull) for hull in HULLS}
        assert {hull: one["state"] for hull, one in json.loads(result.stdout)["hulls"].items()} == states


def test_digest_reads_every_file_of_a_small_folder(
    folder: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hullfile, "MOST_IN_MEMORY", len(HULLS))
    assert (told(digest(folder, "--json")), {*opened}) == (DIGESTS, {file_name(hull) for hull in HULLS})


@pytest.mark.parametrize("option", [[], ["--prove"]])
def test_what_digest_read_it_need_not_read_again_the_same_day(
    folder: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch, option: list[str]
) -> None:
    (folder / FILE).unlink()
    others = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    opened.clear()
    with monkeypatch.context() as later:
        later.setattr(proofs, "COARSEST_CLOCK", -60_000_000_000)
        assert told(digest(folder, *option, "--json")) == DIGESTS
    assert len(opened) == len(HULLS)
    opened.clear()
    assert (told(digest(folder, "--json")), opened) == (DIGESTS, [])
    now = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert {*now} - {*others} == {folder / FILE}
    assert others.items() <= now.items()


def test_digest_notes_nothing_where_it_may_not_write_or_another_program_noted_meanwhile(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(proofs, "COARSEST_CLOCK", -60_000_000_000)
    with HullFolder(folder, read_only=True, proving=True) as hulls:
        with HullFolder(folder) as other:  # which has none of a file that the disk just refused
            other.holdings()
            other._proofs.forget(file_name(HULLS[1]))
        noted = (folder / FILE).read_bytes()
        assert hulls.holdings() == HELD
    assert (folder / FILE).read_bytes() == noted
    assert HULLS[1].encode() not in noted
    (folder / FILE).unlink()

    def refused(path: Path, *_: object) -> None:
        raise storage.not_saved(path, OSError(errno.EROFS, os.strerror(errno.EROFS)))

    monkeypatch.setattr(storage, "write_whole", refused)
    assert told(digest(folder, "--json")) == DIGESTS
    assert not (folder / FILE).exists()


def test_what_a_killed_program_left_of_its_proofs_is_cleared_away(folder: Path) -> None:
    left = storage.unfinished(folder / FILE)
    left.write_bytes(b"half of it")
    with HullFolder(folder, of_today=True) as hulls:
        hulls._proofs.forget(file_name(HULLS[1]))
    assert not left.exists()


def test_of_a_restored_backup_nothing_is_taken_as_proved(folder: Path, opened: list[str], tmp_path: Path) -> None:
    """Every file is as it was and has its old time, in the same places on the disk: also that of the proofs."""
    shutil.copytree(folder, tmp_path / "backup")
    with HullFolder(folder) as hulls:
        hulls.save(entry_number(2, HULLS[2]))
    time.sleep(0.02)
    for path in [path for path in (tmp_path / "backup").rglob("*") if path.is_file()]:
        place = folder / path.relative_to(tmp_path / "backup")
        place.write_bytes(path.read_bytes())
        shutil.copystat(path, place)
    opened.clear()
    result = digest(folder, "--json")
    assert (told(result), json.loads(result.stdout)["taken"]) == (DIGESTS, 0)
    assert {*opened} == {file_name(hull) for hull in HULLS}


def test_what_was_saved_since_is_opened_and_nothing_else(folder: Path, proved: list[int]) -> None:
    third = entry_number(2, HULLS[2])
    with HullFolder(folder) as hulls:
        hulls.save(third)
    with server(folder) as hulls:
        held = hulls.holdings()
    assert held.pop(HULLS[2]).entries == 3
    assert held == {hull: one for hull, one in HELD.items() if hull != HULLS[2]}
    assert len(proved) == 1


def test_the_lines_are_gone_through_and_not_taken_apart(folder: Path) -> None:
    with server(folder) as hulls:
        assert hulls.holdings() == HELD
        assert hulls._proofs._lines == {}


def test_of_boats_that_came_and_went_since_the_others_are_not_opened(
    folder: Path, proved: list[int], opened: list[str]
) -> None:
    new = "ABC00002B526"
    with HullFolder(folder) as hulls:
        hulls.save(entry_number(0, new))
    for gone in (HULLS[0], HULLS[3], HULLS[5]):
        (folder / "hulls" / file_name(gone)).unlink()
    opened.clear()
    with server(folder) as hulls:
        assert [*hulls.holdings()] == [HULLS[1], HULLS[2], new, HULLS[4]]
    assert {*opened} == {file_name(new)}


def test_lines_that_an_older_program_did_not_sort_are_sorted_when_files_are_read_again(
    folder: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    first, *lines, _ = (folder / FILE).read_bytes().splitlines(keepends=True)
    (folder / FILE).write_bytes(resealed([first, *lines[2:], *lines[:2]]))
    monkeypatch.setattr(proofs, "COARSEST_CLOCK", -60_000_000_000)
    assert (told(digest(folder, "--json")), {*opened}) == (DIGESTS, {file_name(hull) for hull in HULLS[:2]})
    assert [line.split()[0] for line in (folder / FILE).read_bytes().splitlines()[1:-1]] == [
        file_name(hull).encode() for hull in HULLS
    ]
    opened.clear()
    assert (told(digest(folder, "--json")), opened) == (DIGESTS, [])


def resealed(lines: list[bytes]) -> bytes:
    return b"".join(lines) + b"= %08x\n" % crc32(b"".join(lines))


LAST_LINE = len(b"= 00000000\n")
DOUBTS: dict[str, Callable[[bytes], bytes]] = {
    "gone": lambda _: b"",
    "half written": lambda whole: whole[: len(whole) // 2],
    "cut at a line": lambda whole: b"".join(whole.splitlines(keepends=True)[:4]),
    "without its end": lambda whole: whole[:-LAST_LINE],
    "with more behind": lambda whole: whole + b"more\n",
    "one digit flipped": lambda whole: whole[:-100] + bytes([whole[-100] ^ 1]) + whole[-99:],
    "of a newer version": lambda whole: resealed(
        [whole.replace(b"proofs 1", b"proofs 2", 1)[:-LAST_LINE]],
    ),
    "of an earlier start": lambda whole: resealed([whole[:17] + bytes([whole[17] ^ 1]) + whole[18:-LAST_LINE]]),
    "of other words": lambda whole: resealed([whole[:-LAST_LINE].replace(b" 2 ", b" two ")]),
    "no text": lambda whole: bytes(len(whole)),
}


@pytest.mark.parametrize("doubt", DOUBTS)
def test_proofs_that_are_in_doubt_are_made_again(folder: Path, proved: list[int], doubt: str) -> None:
    whole = (folder / FILE).read_bytes()
    harmed = DOUBTS[doubt](whole)
    assert harmed != whole
    (folder / FILE).write_bytes(harmed)
    with server(folder) as hulls:
        assert hulls.holdings() == HELD
    assert len(proved) == len(HULLS)


def _in_its_place(path: Path) -> None:
    """Another file of that length, put back with the time the first one had."""
    before, other = path.stat(), entry_number(7, HULLS[0])
    kept, _, last = path.read_bytes().rstrip(b"\n").rpartition(b"\n")
    new = b"%b %b" % (other.id.encode(), other.raw)
    assert len(new) == len(last)
    time.sleep(0.02)  # a tick of the clock: of its two times nobody can set one
    path.write_bytes(kept + b"\n" + new + b"\n")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def _renamed_over(path: Path) -> None:
    copy = path.with_name("copy")
    shutil.copy2(path, copy)
    _in_its_place(copy)
    copy.replace(path)


def _cut(path: Path) -> None:
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))


@pytest.mark.parametrize("change", [_in_its_place, _renamed_over, _cut])
def test_of_a_file_that_is_another_the_proof_does_not_hold(
    folder: Path, proved: list[int], change: Callable[[Path], None]
) -> None:
    path = folder / "hulls" / file_name(HULLS[0])
    change(path)
    ids = read(path.read_bytes()).entries
    with server(folder) as hulls:
        held = hulls.holdings()
        assert held.pop(HULLS[0]) == (digest_of(ids), len(ids)) != HELD[HULLS[0]]
        assert held == {hull: one for hull, one in HELD.items() if hull != HULLS[0]}
    assert told(digest(folder, "--json")) == {**DIGESTS, HULLS[0]: digest_of(ids)}


@pytest.mark.parametrize("ahead", [LONGEST, -3600])
def test_a_proof_holds_for_a_day_and_not_where_the_clock_was_set_back(
    folder: Path, proved: list[int], monkeypatch: pytest.MonkeyPatch, ahead: int
) -> None:
    now = time.time_ns() + ahead * 1_000_000_000
    monkeypatch.setattr(time, "time_ns", lambda: now)
    with server(folder) as hulls:
        assert hulls.holdings() == HELD
    assert len(proved) == len(HULLS)
    result = digest(folder, "--json")
    assert (told(result), json.loads(result.stdout)["taken"], len(proved)) == (DIGESTS, 0, 2 * len(HULLS))


def test_a_file_that_the_disk_refuses_is_not_held_whatever_was_proved_of_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that fails leaves the times of its files as they were."""
    refused = str(folder / "hulls" / file_name(HULLS[1]))

    def failing(path: str, flags: int, *more: Any, **others: Any) -> int:
        if str(path) == refused and not flags & os.O_APPEND:
            raise OSError(errno.EIO, os.strerror(errno.EIO), path)
        return opened(path, flags, *more, **others)

    def of_pathlib(self: Path) -> bytes:
        os.close(os.open(self, os.O_RDONLY))
        return read_bytes(self)

    opened, read_bytes = os.open, Path.read_bytes
    monkeypatch.setattr(os, "open", failing)
    monkeypatch.setattr(Path, "read_bytes", of_pathlib)
    rest = {hull: one for hull, one in HELD.items() if hull != HULLS[1]}
    with HullFolder(folder, of_today=True) as hulls:
        assert hulls.holdings() == HELD  # nobody has asked for it
        with pytest.raises(OSError, match="input/output"):
            hulls.ids(HULLS[1])
        assert (hulls.holdings(), len(hulls.not_read())) == (rest, 1)
    with server(folder) as hulls:
        assert (hulls.holdings(), len(hulls.not_read())) == (rest, 1)


def test_a_proof_made_before_the_system_knew_the_time_runs_out_as_any_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A small computer without a battery begins in 1970: so few digits do not sort as numbers do."""
    path = tmp_path / "file.hull"
    path.write_bytes(b"of 1970")
    monkeypatch.setattr(proofs, "changed", lambda _: 0)
    found = path.stat()
    one = proofs.Proofs(tmp_path, noting=True, alone=True, of_today=False)
    one.add(path.name, found, ("0" * 64, 2), 1000 * 1_000_000_000)
    of_a_minute_later, today = f"{1060:010d}", proofs.seconds_now()
    assert one.looked_up(of_a_minute_later)(path.name, found) == ("0" * 64, 2, f"{1000:010d}")
    assert one.looked_up(today)(path.name, found) is None


def test_not_all_proofs_run_out_at_once(folder: Path) -> None:
    made_until = [line.split()[6:8] for line in (folder / FILE).read_text().splitlines()[1:-1]]
    lasting = [int(until) - int(made) for made, until in made_until]
    assert all(LONGEST // 2 < one <= LONGEST for one in lasting)
    assert len({*lasting}) == len(HULLS)


def test_a_copy_of_the_folder_proves_nothing_of_itself(folder: Path, proved: list[int], tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "copy")
    path = tmp_path / "copy" / "hulls" / file_name(HULLS[0])
    _in_its_place(path)
    with server(tmp_path / "copy") as hulls:
        assert hulls.holdings()[HULLS[0]] != HELD[HULLS[0]]
    assert len(proved) == len(HULLS)


def test_where_the_system_does_not_tell_its_starts_nothing_is_noted_or_taken(
    folder: Path, proved: list[int], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(proofs, "_BOOT", tmp_path / "nothing")
    before = (folder / FILE).read_bytes()
    for one in (server(folder), HullFolder(folder)):
        with one as hulls:
            assert hulls.holdings() == HELD
    assert len(proved) == 2 * len(HULLS)
    assert (folder / FILE).read_bytes() == before


def test_a_file_that_changed_just_now_is_proved_for_no_other_program(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls, hulls.batch():
        for hull in HULLS:
            hulls.save(entry_number(1, hull))
    with HullFolder(tmp_path) as hulls:
        hulls.holdings()
    assert not (tmp_path / FILE).exists()
