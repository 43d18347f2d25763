"""A damaged hull file: every command that reads it says so, and nothing calls its lost entries 'not entered' alone."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest

from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name, read
from garboard.disk.sizes import FILE as SIZES
from garboard.history.authoring import measure
from garboard.history.replay import HullState
from garboard.records import JsonValue
from histories import HULL, JOB, tablet
from run_program import run as _run

SOUND = "QQZ04419D626"


def _cut(data: bytes) -> bytes:
    return data[:-40]


def _one_byte(data: bytes) -> bytes:
    middle = data.index(b"speed", len(data) // 2)
    return data[:middle] + b"~" + data[middle + 1 :]


@pytest.fixture(params=[_cut, _one_byte], ids=["cut off", "one byte"])
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """Two boats; the file of one is damaged."""
    folder = tmp_path / "shop"
    with HullFolder(folder) as hulls:
        for number in (HULL, SOUND):
            author, state = tablet("a").author, HullState(number)
            for row in ("1", "2", "3", "4"):
                hulls.save(
                    measure(author, state, f"{JOB}-{number}", "prop_check.full_throttle", "speed", "30 kn", row=row)
                )
    (path,) = (folder / HULLS_FOLDER).glob(f"{HULL}*")
    path.write_bytes(request.param(path.read_bytes()))
    assert len(read(path.read_bytes()).entries) == 3
    return folder


def test_assess_names_the_damage_and_ends_with_two(shop: Path) -> None:
    result = _run("assess", shop)
    assert result.exit_code == 2
    (path,) = (shop / HULLS_FOLDER).glob(f"{HULL}*")
    assert f"{path.name}: 1 entry could not be read" in " ".join(result.stdout.split())
    assert f"{path.name}: " in result.stderr
    assert "3 of 4 entries kept, 1 place unreadable" in result.stderr


def test_json_carries_the_damage_for_the_boat_it_is_of(shop: Path) -> None:
    result = _run("assess", shop, "--json")
    assert result.exit_code == 2
    jobs = json.loads(result.stdout)["jobs"]
    (fault,) = [fault for job in jobs for fault in job["faults"]]
    assert "1 place unreadable" in fault["got"]
    doubted = [job["hull_number"] for job in jobs if any("could not be read" in one for one in job["questions"])]
    assert doubted == [HULL]


def test_the_book_says_on_its_first_page_that_an_entry_could_not_be_read(shop: Path, tmp_path: Path) -> None:
    from pypdf import PdfReader

    said = {}
    for number in (HULL, SOUND):
        out = tmp_path / f"{number}.pdf"
        result = _run("book", shop, "--hull", number, "-o", out)
        assert result.exit_code == 0
        page = PdfReader(BytesIO(out.read_bytes())).pages[0].extract_text()
        said[number] = "1 entry could not be read" in page, "damage: " in result.stderr
    assert said == {HULL: (True, True), SOUND: (False, False)}


@pytest.mark.parametrize("command", ["show", "digest", "export", "settings"])
def test_every_command_that_reads_names_the_damage(shop: Path, tmp_path: Path, command: str) -> None:
    arguments = {
        "show": ("show", shop, HULL),
        "digest": ("digest", shop),
        "export": ("export", shop, HULL, "-o", tmp_path / "out"),
        "settings": ("settings", "list", shop, "--hull", HULL),
    }
    result = _run(*arguments[command])
    assert "1 place unreadable" in result.stderr
    assert result.exit_code == (1 if command in ("digest", "export") else 0)


def test_repair_says_what_is_missing_until_it_is_back(shop: Path) -> None:
    (path,) = (shop / HULLS_FOLDER).glob(f"{SOUND}*")
    whole = path.read_bytes()
    assert _run("repair", shop).exit_code == 1  # the other boat's file
    path.write_bytes(_cut(whole))
    for _ in range(3):
        result = _run("repair", shop)
        assert result.exit_code == 1
        assert "Everything" not in result.stdout
    assert "missing: 1 entry, of a file found" in result.stdout
    assert f"{path.name}.damaged-1" in result.stdout
    path.write_bytes(whole)
    result = _run("repair", shop)
    assert f"{path.name}.damaged-1" not in result.stdout
    (other,) = (shop / HULLS_FOLDER).glob(f"{HULL}*.damaged-1")
    assert str(other) in result.stdout
    other.unlink()
    assert _run("repair", shop).exit_code == 0


def test_repair_names_a_recording_that_an_entry_names_and_that_is_not_here(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    with HullFolder(folder) as hulls:
        name = hulls.attachments.put(b"a recording")
        value: JsonValue = {"file": name, "name": "turn.csv"}
        author = tablet("a").author
        hulls.save(measure(author, HullState(HULL), JOB, "heading_calibration.steady_turn", "turn_recording", value))
    assert _run("repair", folder).exit_code == 0
    (folder / "attachments" / name).write_bytes(b"another")
    for _ in range(2):
        result = _run("repair", folder)
        assert result.exit_code == 1
        assert f"missing: turn.csv ({name[:12]}), which an entry names" in result.stdout
        assert "Everything" not in result.stdout
    with HullFolder(folder) as hulls:
        hulls.attachments.put(b"a recording")
    assert _run("repair", folder).exit_code == 0


def _emptied(_data: bytes) -> bytes:
    return b""


def _two_lines_ruined(data: bytes) -> bytes:
    return data.replace(b"speed", b"sp~ed", 2)


def _last_lines_gone(data: bytes) -> bytes:
    return b"".join(data.splitlines(keepends=True)[:2])


def _all_zeros(data: bytes) -> bytes:
    return bytes(len(data))


Harm = Callable[[bytes], bytes]

HARMS: dict[Harm, str] = {
    _emptied: "bytes at its end, which held 4 entries",
    _two_lines_ruined: ": 2 entries",
    _last_lines_gone: "bytes at its end, which held 3 entries",
    _all_zeros: ": all it held",
    _cut: ": 1 entry",
}


def _stick(folder: Path) -> Path:
    with HullFolder(folder) as hulls:
        author = tablet("a").author
        for row in ("1", "2", "3", "4"):
            hulls.save(measure(author, HullState(HULL), JOB, "prop_check.full_throttle", "speed", "30 kn", row=row))
    (path,) = (folder / HULLS_FOLDER).glob("*.hull")
    return path


def _merged(source: Path, target: Path) -> tuple[int, bool, bool, str]:
    """Exit status, "complete" of the JSON, whether words call everything merged, and the words; of two merges alike."""
    said, plain = _run("merge", source, "--into", target), _run("merge", source, "--into", target, "--json")
    assert said.exit_code == plain.exit_code
    told = "everything is merged" in said.stdout and "NOT everything" not in said.stdout
    return said.exit_code, json.loads(plain.stdout)["complete"], told, said.stdout


@pytest.mark.parametrize("harm", HARMS)
def test_words_json_and_exit_status_say_that_something_of_a_source_is_lost(tmp_path: Path, harm: Harm) -> None:
    path = _stick(tmp_path / "stick")
    path.write_bytes(harm(path.read_bytes()))
    *outcome, words = _merged(tmp_path / "stick", tmp_path / "shop")
    assert outcome == [1, False, False]
    assert f"lost in its file, and not in the target: {path.name}" in words
    assert HARMS[harm] in words
    for _ in range(2):
        repaired = _run("repair", tmp_path / "shop")
        assert (repaired.exit_code, "nothing is missing" in repaired.stdout) == (1, False)
    digest = _run("digest", tmp_path / "stick", "--json")
    assert (digest.exit_code, json.loads(digest.stdout)["complete"]) == (1, False)


def test_of_a_damaged_source_nothing_is_lost_that_the_target_holds(tmp_path: Path) -> None:
    path = _stick(tmp_path / "stick")
    assert _merged(tmp_path / "stick", tmp_path / "shop")[:3] == (0, True, True)
    whole = path.read_bytes()
    path.write_bytes(_two_lines_ruined(whole))
    assert _merged(tmp_path / "stick", tmp_path / "shop")[1:3] == (True, True)
    path.write_bytes(whole)
    path.with_name("a copy.hull").write_bytes(whole)
    assert _merged(tmp_path / "stick", tmp_path / "shop")[1:3] == (True, True)
    path.with_name("a copy.hull").unlink()
    path.with_name("._" + path.name).write_bytes(b"what another system keeps beside it")
    assert _merged(tmp_path / "stick", tmp_path / "shop")[1:3] == (True, True)


def test_a_source_damaged_in_what_the_target_holds_is_told_though_length_and_time_are_as_before(tmp_path: Path) -> None:
    """Nothing is lost, but who trusts that disk or card should know."""
    path = _stick(tmp_path / "stick")
    assert _merged(tmp_path / "stick", tmp_path / "shop")[0] == 0
    before = path.stat()
    path.write_bytes(_one_byte(path.read_bytes()))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    status, complete, told, words = _merged(tmp_path / "stick", tmp_path / "shop")
    assert (status, complete, told) == (1, True, True)
    assert f"damage: {path.name}" in words or f"damage: {path}" in words
    assert "look at its disk or card" in words


def test_of_a_file_whose_only_entry_is_damaged_nothing_is_lost_that_the_target_holds(tmp_path: Path) -> None:
    """All it held was called lost, where the entry's id says that the target holds it; no notes came with it."""
    path = tmp_path / "stick" / HULLS_FOLDER / file_name(HULL)
    author, step = tablet("a").author, "prop_check.full_throttle"
    entry = measure(author, HullState(HULL), JOB, step, "speed", "30 kn", row="1")
    for name in ("stick", "shop"):
        with HullFolder(tmp_path / name) as hulls:
            hulls.save(entry)
    (tmp_path / "stick" / SIZES).unlink()
    for damaged in (_one_byte(path.read_bytes()), _one_byte(path.read_bytes().replace(b"hull", b"hall", 1))):
        path.write_bytes(damaged)
        with HullFolder(tmp_path / "stick", read_only=True) as hulls:
            assert hulls.readable() == ()
            assert not hulls.losses({entry.id})
            assert len(hulls.losses(())) == 1
        assert _merged(tmp_path / "stick", tmp_path / "shop")[1] is True


def test_of_a_cut_file_every_entry_that_is_not_back_is_counted(tmp_path: Path) -> None:
    """One place cannot be read, and behind it all the rest is missing: the book said 1 entry."""
    path = _stick(tmp_path / "stick")
    whole = path.read_bytes()
    with HullFolder(tmp_path / "stick", read_only=True) as hulls:
        (hull,) = hulls.hulls()
        held = hulls.count(hull)
        assert hulls.unread_of([hull]) == 0
    path.write_bytes(whole[: len(whole) // 2])
    with HullFolder(tmp_path / "stick") as hulls:
        left = hulls.count(hull)
        assert 0 < left < held - 2
        assert hulls.unread_of([hull]) == held - left
    path.write_bytes(whole)
    with HullFolder(tmp_path / "stick") as hulls:
        assert hulls.unread_of([hull]) == 0


@pytest.mark.parametrize("first", [0, 1])
def test_a_cut_source_loses_nothing_that_another_source_has_whole(tmp_path: Path, first: int) -> None:
    """In either order, and again; only where the other lacks an entry, something is lost."""
    path = _stick(tmp_path / "stick")
    assert _merged(tmp_path / "stick", tmp_path / "other")[0] == 0
    path.write_bytes(_last_lines_gone(path.read_bytes())[:-1])
    sources = [tmp_path / "stick", tmp_path / "other"]
    for _ in range(2):
        result = _run("merge", sources[first], sources[1 - first], "--into", tmp_path / "shop")
        assert ("lost in its file" in result.stdout, "NOT everything" in result.stdout) == (False, False)
        assert path.name in result.stdout  # its damage is told all the same
    assert "lost in its file" in _run("merge", tmp_path / "stick", "--into", tmp_path / "empty").stdout


def test_a_cut_target_that_the_source_makes_whole_is_whole(tmp_path: Path) -> None:
    path = _stick(tmp_path / "stick")
    assert _merged(tmp_path / "stick", tmp_path / "shop")[0] == 0
    here = tmp_path / "shop" / HULLS_FOLDER / path.name
    here.write_bytes(_last_lines_gone(here.read_bytes()))
    result = _run("merge", tmp_path / "stick", "--into", tmp_path / "shop")
    assert (result.exit_code, "NOT everything" in result.stdout, "named above: look" in result.stdout) == (
        1,
        False,
        True,
    )
    assert here.read_bytes() == path.read_bytes()
    assert _merged(tmp_path / "stick", tmp_path / "shop")[:3] == (0, True, True)
    with HullFolder(tmp_path / "shop") as hulls:  # what comes later does not hide that all came back
        hulls.save(
            measure(tablet("a").author, HullState(HULL), JOB, "prop_check.full_throttle", "speed", "9 kn", row="9")
        )
    assert (_run("repair", tmp_path / "shop").exit_code, _run("digest", tmp_path / "shop").exit_code) == (0, 0)
