"""Promise 2: a file is always the old state or the new state; a damaged file is set aside whole, reported, and
everything readable in it is recovered."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from campaigns.writers import entry_number
from garboard.disk import journal, storage
from garboard.disk.hullfile import HullFolder
from garboard.disk.storage import FolderInUse, NotSaved

HULL = "ABC00001A526"
ENTRIES = [entry_number(number, HULL) for number in range(3)]
LATER = entry_number(99, HULL)
SOUND = journal.heading(HULL) + b"".join(b"%b %b\n" % (entry.id.encode(), entry.raw) for entry in ENTRIES)
FILE = Path("hulls") / journal.file_name(HULL)
SIZES = range(len(SOUND))


def whole_lines(data: bytes) -> set[str]:
    return {line[:32].decode() for line in data.split(b"\n")[1:-1]}


def with_file(folder: Path, data: bytes) -> Path:
    (folder / FILE).parent.mkdir(parents=True, exist_ok=True)
    (folder / FILE).write_bytes(data)
    return folder


def set_aside_in(folder: Path) -> list[bytes]:
    return [path.read_bytes() for path in sorted((folder / "hulls").glob("*.damaged-*"))]


def test_p2_a_sound_file_reads_without_report(tmp_path: Path) -> None:
    """The file the tests below damage is sound to begin with."""
    with HullFolder(with_file(tmp_path, SOUND)) as hulls:
        assert hulls.ids(HULL) == {entry.id for entry in ENTRIES}
        assert hulls.damage() == ()


def test_p2_a_file_cut_at_any_byte_keeps_every_whole_line() -> None:
    """Cut anywhere, what stands whole before the cut is read, and the rest is seen to be missing."""
    for size in SIZES:
        reading = journal.read(SOUND[:size])
        whole = whole_lines(SOUND[:size])
        assert whole <= set(reading.entries), size
        at_a_line_end = SOUND[:size].endswith(b"\n")
        assert reading.is_sound == at_a_line_end, size


def test_p2_one_bit_flipped_anywhere_costs_at_most_one_entry() -> None:
    """Each bit of the file in turn: the others are read, the damage is seen, nothing false is read."""
    true_bytes = {entry.id: entry.raw for entry in ENTRIES}
    for place in SIZES:
        for bit in range(8):
            flipped = bytearray(SOUND)
            flipped[place] ^= 1 << bit
            reading = journal.read(bytes(flipped))
            assert reading.entries.items() <= true_bytes.items(), (place, bit)
            assert len(reading.entries) >= 2, (place, bit)
            assert not reading.is_sound, (place, bit)


@pytest.mark.parametrize("place", [*range(0, len(SOUND), 37), len(SOUND) - 1])
@pytest.mark.parametrize("harm", ["cut", "flip"])
def test_p2_a_damaged_file_is_set_aside_whole_and_work_goes_on(tmp_path: Path, place: int, harm: str) -> None:
    """The file as found is kept and reported; what is readable is in use; saving and reopening work."""
    damaged = SOUND[:place] if harm == "cut" else SOUND[:place] + bytes([SOUND[place] ^ 4]) + SOUND[place + 1 :]
    readable = set(journal.read(damaged).entries)
    with HullFolder(with_file(tmp_path, damaged)) as hulls:
        hulls.hulls()
        assert hulls.ids(HULL) == readable
        hulls.save(LATER)
        (report,) = hulls.damage()
        assert report.recovered == len(readable)
        assert report.set_aside is not None
        assert report.set_aside.name in str(report)
    assert set_aside_in(tmp_path) == [damaged]
    with HullFolder(tmp_path) as again:
        assert again.ids(HULL) == readable | {LATER.id}
        assert again.damage() == ()
        again.put_if_absent(HULL, ENTRIES)
        assert again.ids(HULL) == {entry.id for entry in [*ENTRIES, LATER]}


def test_p2_where_python_has_no_links_a_damaged_file_is_kept_as_a_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python on some tablets has no os.link. The file as found is kept, and what can be read of it is in use."""
    monkeypatch.delattr(os, "link")
    damaged = SOUND[:-20]
    with HullFolder(with_file(tmp_path, damaged)) as hulls:
        assert hulls.ids(HULL) == set(journal.read(damaged).entries)
    assert set_aside_in(tmp_path) == [damaged]


@pytest.mark.parametrize(
    "foreign", [b"", b"\0" * 4096, b"%PDF-1.7\n%\xe2\xe3\n", b'{"_default": {}}', b"\n", os.urandom(500), SOUND[:20]]
)
def test_p2_an_empty_or_foreign_file_is_never_taken_for_an_empty_job(tmp_path: Path, foreign: bytes) -> None:
    """It is reported and kept, however it is met first: listed, or asked for by its hull."""
    with HullFolder(with_file(tmp_path / "listed", foreign)) as hulls:
        assert hulls.hulls() == ()
        assert [damage.recovered for damage in hulls.damage()] == [0]
        hulls.save(LATER)
    with HullFolder(with_file(tmp_path / "asked", foreign)) as hulls:
        assert hulls.ids(HULL) == frozenset()
        assert [damage.recovered for damage in hulls.damage()] == [0]
        hulls.save(LATER)
    for folder in (tmp_path / "listed", tmp_path / "asked"):
        assert set_aside_in(folder) == [foreign]
        with HullFolder(folder) as again:
            assert again.ids(HULL) == {LATER.id}


def test_p2_blocks_of_zeros_cost_only_what_they_cover(tmp_path: Path) -> None:
    """A power cut can leave zeros where data was to come; the lines around them are read."""
    start = SOUND.index(ENTRIES[1].raw)
    zeroed = SOUND[: start + 10] + b"\0" * 64 + SOUND[start + 74 :]
    with HullFolder(with_file(tmp_path, zeroed)) as hulls:
        assert hulls.ids(HULL) == {ENTRIES[0].id, ENTRIES[2].id}
        assert [damage.lost for damage in hulls.damage()] == [1]


def test_p2_a_repair_that_cannot_be_written_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a full disk the readable entries can be used, the file stays as found, and a later save repairs it."""
    damaged = SOUND.replace(b'"value":"1.5 kn"', b'"value":"8.5 kn"')

    def full(*_arguments: object) -> None:
        raise NotSaved("the disk is full")

    with HullFolder(with_file(tmp_path, damaged)) as hulls:
        monkeypatch.setattr(storage, "write_whole", full)
        assert hulls.ids(HULL) == {ENTRIES[0].id, ENTRIES[2].id}
        assert (tmp_path / FILE).read_bytes() == damaged
        monkeypatch.undo()
        assert set_aside_in(tmp_path) == [damaged]
        hulls.save(LATER)
    reading = journal.read((tmp_path / FILE).read_bytes())
    assert set(reading.entries) == {ENTRIES[0].id, ENTRIES[2].id, LATER.id}
    assert reading.is_sound
    assert set_aside_in(tmp_path) == [damaged]


def test_p2_a_file_never_finished_is_cleared_away(tmp_path: Path) -> None:
    """A new hull's file gets its name only once it is whole; what a power cut left before that is no hull."""
    unfinished = storage.unfinished(tmp_path / FILE)
    with_file(tmp_path, b"").joinpath(FILE).unlink()
    unfinished.write_bytes(SOUND[:50])
    with HullFolder(tmp_path) as hulls:
        assert hulls.hulls() == ()
        assert hulls.damage() == ()
    assert not unfinished.exists()


def _save_until_refused(folder: Path) -> tuple[set[str], int]:
    saved: set[str] = set()
    with HullFolder(folder) as hulls:
        for number in range(2_000):
            try:
                saved.add(hulls.save(entry_number(number, HULL)))
            except NotSaved:
                return saved, number
    raise AssertionError("the disk never filled")


def _check_after_full_disk(folder: Path, saved: set[str], refused: int) -> None:
    with HullFolder(folder) as hulls:
        assert hulls.ids(HULL) == saved
        assert hulls.damage() == ()
        hulls.save(entry_number(refused, HULL))
        assert len(hulls.ids(HULL)) == len(saved) + 1


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a limit on file size is set in a child process")
def test_p2_a_file_that_may_grow_no_further_refuses_and_stays_sound(tmp_path: Path) -> None:
    """A write cut short by a limit is not called saved and leaves no half line; with room again it is saved."""
    import resource

    answer_from, answer_to = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (20_011, 20_011))
            kept, refused = _save_until_refused(tmp_path)
            os.write(answer_to, f"{refused} {' '.join(kept)}".encode())
        finally:
            os._exit(0)
    os.close(answer_to)
    with os.fdopen(answer_from) as pipe:
        first_refused, *saved = pipe.read().split()
    os.waitpid(child, 0)
    assert len(saved) > 10
    _check_after_full_disk(tmp_path, set(saved), int(first_refused))


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or not shutil.which("mount"):
        pytest.skip("mounting a small disk needs root")
    point = tmp_path / "small_disk"
    point.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", point], capture_output=True)
    if mounted.returncode:
        pytest.skip(f"no small disk can be mounted here: {mounted.stderr.decode().strip()}")
    yield point
    subprocess.run(["umount", "--lazy", point], check=True)


def test_p2_a_full_disk_refuses_and_stays_sound(small_disk: Path) -> None:
    """Saving stops with a refusal, nothing saved is lost, and with space again work goes on."""
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"x" * 8192)
    saved, refused = _save_until_refused(small_disk / "tablet")
    assert len(saved) > 10
    ballast.unlink()
    _check_after_full_disk(small_disk / "tablet", saved, refused)


HOLD = """
import sys, time
from pathlib import Path
from garboard.disk.hullfile import HullFolder
with HullFolder(Path(sys.argv[1])):
    print("holding", flush=True)
    time.sleep(60)
"""


def test_p2_two_programs_never_write_in_one_folder(tmp_path: Path) -> None:
    """The second is refused naming the first; when the first is killed, the folder is free."""
    holder = subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "holding\n"
        with pytest.raises(FolderInUse, match=f"process {holder.pid} on .*close it there first"):
            HullFolder(tmp_path)
    finally:
        holder.send_signal(signal.SIGKILL)
        holder.wait()
    with HullFolder(tmp_path) as hulls:
        hulls.save(LATER)
