"""What saving one entry costs is counted, not timed; and what is noted later is missed by nobody."""

from __future__ import annotations

import errno
import os
import random
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import pytest

from campaigns.writers import HULLS, entry_number
from counted import calls_of
from garboard.disk import entries, hullfile
from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, hull_key_and_parts, make_entry, read_entry, view
from garboard.disk.hullfile import HullFile, HullFolder
from garboard.disk.journal import file_name
from garboard.disk.sizes import FileSizes, Noted
from garboard.disk.storage import NotSaved
from garboard.faults import InputError
from tablet_entries import PLUGINS, tablet_entry

HERE, OTHER, _ = HULLS
BEGIN = "posix_fadvise"
"""What has the system begin to write; not every system has it."""
MOST_CALLS = 86
"""Functions called for one save, with those that count here. Called after a flush one costs three times as much."""


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often the system was asked for what, and how often a digest was made."""
    count: Counter[str] = Counter()

    def counted(place: object, name: str) -> None:
        work: Callable[..., Any] = getattr(place, name)

        def counting(*arguments: Any, **options: Any) -> Any:
            count[name] += 1
            return work(*arguments, **options)

        monkeypatch.setattr(place, name, counting)

    for name in ("open", "close", "stat", "lstat", "fstat", "write", "fsync", "ftruncate", "replace", "utime", BEGIN):
        if hasattr(os, name):
            counted(os, name)
    counted(HullFile, "digest")
    return count


def test_a_save_is_one_flush_and_three_writes_however_much_the_boat_has(tmp_path: Path, asked: Counter[str]) -> None:
    """The entry is written, begun to be flushed, and flushed; then two notes are written. Before, the lock and the file
    are looked at.
    """
    calls = []
    for many in (20, 2000):
        with HullFolder(tmp_path / str(many)) as hulls:
            hulls.put_if_absent(HERE, [tablet_entry(number, HERE) for number in range(many)])
            for number in (-1, -2):
                hulls.save(tablet_entry(number, HERE))
            entry = tablet_entry(-3, HERE)
            asked.clear()
            calls.append(calls_of(lambda hulls=hulls, entry=entry: hulls.save(entry)))  # type: ignore[misc]
            assert asked == {"stat": 2, "write": 3, "fstat": 1, "fsync": 1} | dict.fromkeys({BEGIN} & {*dir(os)}, 1)
    assert calls[0] == calls[1] <= MOST_CALLS, calls


def test_nothing_is_noted_of_what_the_disk_does_not_hold_yet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After a power cut, or a flush the disk refuses, no note says more than is there."""
    seen: list[tuple[int, bytes, bytes]] = []
    real, is_refused = os.fsync, [False]

    def flush(descriptor: int) -> None:
        seen.append((os.fstat(descriptor).st_size, *notes()))
        if is_refused[0]:
            raise OSError(errno.EIO, "refused")
        real(descriptor)

    def notes() -> tuple[bytes, bytes]:
        return (tmp_path / "hulls.sizes").read_bytes(), (tmp_path / "hulls.ids").read_bytes()

    with HullFolder(tmp_path) as hulls:
        hulls.put_if_absent(HERE, [entry_number(number, HERE) for number in range(20)])
        path = hulls.hull(HERE).journal.path
        monkeypatch.setattr(os, "fsync", flush)
        for is_refused[0] in (False, True, False):
            before = path.stat().st_size, *notes()
            seen.clear()
            if is_refused[0]:
                with pytest.raises(NotSaved):
                    hulls.save(entry_number(-1, HERE))
                assert (path.stat().st_size, *notes()) == before
            else:
                hulls.save(entry_number(len(hulls.ids(HERE)), HERE))
                assert notes()[0] != before[1]
                assert notes()[1] != before[2]
            assert [noted[1:] for noted in seen] == [before[1:]]
            assert seen[0][0] > before[0]
        assert len(hulls.ids(HERE)) == 22
    with HullFolder(tmp_path, read_only=True) as hulls:
        assert (len(hulls.ids(HERE)), hulls.damage()) == (22, ())


def test_the_digest_of_a_boat_is_noted_once_another_is_worked_on_and_at_the_end(tmp_path: Path) -> None:
    """Of all but the boat in hand it is noted at any time."""
    chance, names = random.Random(5), {hull: file_name(hull) for hull in HULLS}
    with HullFolder(tmp_path) as hulls:
        for number in range(60):
            hull = chance.choice(HULLS)
            match chance.randrange(4):
                case 0:
                    hulls.put_if_absent(hull, [entry_number(number, hull), entry_number(-number, hull)])
                case 1:
                    with hulls.batch():
                        hulls.save(entry_number(number, hull))
                        hulls.hold_only([])
                case 2:
                    hulls.hold_only([hull])
                case _:
                    hulls.save(entry_number(number, hull))
            noted = FileSizes(tmp_path, writing=False)
            late = [name for name in names.values() if noted.check(name)]
            assert len(late) <= 1
            for one, digest in HullFolder(tmp_path, read_only=True).digests().items():
                assert noted.digest(names[one]) == ("" if names[one] in late else digest)
    noted = FileSizes(tmp_path, writing=False)
    assert {hull: noted.digest(name) for hull, name in names.items()} == HullFolder(tmp_path, read_only=True).digests()


def _cut(path: Path, _: Path) -> None:
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))


def _gone(path: Path, _: Path) -> None:
    path.unlink()


def _another(path: Path, other: Path) -> None:
    shutil.copy(other, path)


def _nothing(_path: Path, _other: Path) -> None:
    pass


@pytest.mark.parametrize("harm", [_cut, _gone, _another, _nothing])
def test_a_program_killed_before_it_noted_a_digest_misses_nothing(
    tmp_path: Path, harm: Callable[[Path, Path], None]
) -> None:
    """What a folder tells of a harmed file is the same, and so is what brings it back."""
    told, folders = [], (tmp_path / "closed", tmp_path / "killed")
    with HullFolder(tmp_path / "other") as hulls:
        hulls.put_if_absent(HERE, [entry_number(number, HERE) for number in range(10, 19)])
    with HullFolder(folders[0]) as hulls:
        for number in range(4):
            hulls.save(entry_number(number, HERE))
        shutil.copytree(folders[0], folders[1])  # as a killed program leaves it
    shutil.copytree(folders[0], tmp_path / "whole")
    assert FileSizes(folders[1], writing=False).check(file_name(HERE))
    for folder in folders:
        path = folder / "hulls" / file_name(HERE)
        harm(path, tmp_path / "other" / "hulls" / path.name)
        with HullFolder(folder, read_only=True) as hulls:
            read_only = hulls.digests(), [one.reason for one in hulls.damage()]
        with HullFolder(folder) as hulls:
            writing = hulls.digests(), [(one.reason, one.had) for one in hulls.damage()]
            hulls.put_if_absent(HERE, HullFolder(tmp_path / "whole", read_only=True).get(HERE))
            after = hulls.digests()
        with HullFolder(folder, read_only=True) as hulls:
            back = hulls.digests(), [one.reason for one in hulls.damage()]
        assert FileSizes(folder, writing=False).digest(path.name) == after[HERE]
        told.append(str((read_only, writing, after, back)).replace(str(folder), "folder"))
        assert bool(writing[1]) == (harm is not _nothing)
        assert back[1] == []
    assert told[0] == told[1]


ODD = ["38.2 kn", "", " ", "Zoë", "a\tb", 'a"b', "\\", "\ud800", "e\u0301", 7, -0, 10**15, 2**60, True, None, 1.5,
       ("a",), {"file": "a" * 64}, {1: "a"}, b"a", float("nan"), "x" * 70_000]  # fmt: skip


def test_an_entry_of_the_plain_shape_is_the_one_that_is_looked_through(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same bytes, the same view, and the same faults, whatever stands in which field."""
    chance = random.Random(8)

    def made(fields: dict[str, Any]) -> object:
        try:
            entry = make_entry(fields.pop("kind"), fields.pop("hull"), **fields)
        except (InputError, TypeError, ValueError, AttributeError, RecursionError) as error:
            return type(error), str(error)
        read = view(entry.id, entry.raw)
        names = [one.name for one in attrs.fields(Entry) if not one.name.startswith("_")]
        assert [(type(getattr(entry, name)), getattr(entry, name)) for name in names] == [
            (type(getattr(read, name)), getattr(read, name)) for name in names
        ]
        return entry.id, entry.raw, {**entry.fields}

    plainly = 0
    for _ in range(1200):
        fields: dict[str, Any] = {
            "kind": "measure",
            "hull": HERE,
            "dev": "tablet-07",
            "by": "Ines",
            "clock": Stamp(5, 0),
        }
        fields |= {"at": "2026-05-14T12:00:00+02:00", "job": "j1", "subject": ["a.b", "c", "1", ""], "value": "38.2 kn"}
        for name in chance.sample(sorted(fields), chance.randrange(3)):
            odd = chance.choice(ODD)
            fields[name] = {"subject": [odd], "clock": [odd, 0]}.get(name, odd)
        fields["plugins"] = chance.choice(
            [
                None,
                {},
                {"b": "1.0", "a": "2"},
                {"prop": chance.choice(ODD)},
                {1: "1"},
                {chance.choice(ODD[:9]): "1"},
            ]
        )
        fields["replaces"] = chance.choice([[], ["a" * 32], ["b" * 32, "a" * 32, "a" * 32], [chance.choice(["", "x"])]])
        fields["more"] = chance.choice(
            [None, None, {}, {"extra": 1}, {"instrument": "m1"}, {"instrument": chance.choice(ODD)}]
        )
        shortly = made({**fields})
        with monkeypatch.context() as slow:
            slow.setattr(entries, "_plainly_made", lambda *_: None)
            assert shortly == made({**fields}) or "nan" in str(fields), fields
        plainly += not isinstance(shortly[0], type)  # type: ignore[index]
    assert 200 < plainly < 1000


def test_the_plugins_of_a_tablet_are_spelt_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """It names the same in each entry, in the order they were loaded; what another named in between is not taken."""
    sets = [PLUGINS, {}, {"b": "1", "a": "2"}, {"a": "2", "b": "1"}, {"a": "2"}, {"a": 'q"'}]
    made = [tablet_entry(1, HERE, plugins=plugins) for plugins in (*sets, *reversed(sets))]
    assert [one.plugins for one in made] == [*sets, *reversed(sets)]
    assert all(read_entry(one.raw).id == one.id for one in made)
    first, again = tablet_entry(2, HERE), {**PLUGINS}
    monkeypatch.setattr(entries, "sorted", lambda some: some and pytest.fail("spelt anew"), raising=False)
    assert tablet_entry(2, HERE, plugins=again).raw == first.raw


def test_plugins_that_change_while_an_entry_names_them_are_not_kept_under_what_they_were() -> None:
    class Changing(dict[str, str]):
        """As another thread may change them: once they were looked at."""

        def items(self) -> Any:
            found = [*super().items()]
            self["prop"] = "later"
            return found

    tablet_entry(1, HERE, plugins=Changing(prop="before"))
    assert tablet_entry(2, HERE, plugins={"prop": "later"}).plugins == {"prop": "later"}


def test_what_was_checked_when_it_was_made_is_not_looked_at_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read, and what is no longer what was made, is."""
    looked: list[bytes] = []

    def look(raw: bytes) -> Any:
        looked.append(raw)
        return hull_key_and_parts(raw)

    monkeypatch.setattr(hullfile, "hull_key_and_parts", look)
    one, other, changed = (tablet_entry(number, HERE) for number in range(3))
    with HullFolder(tmp_path) as hulls:
        hulls.save(tablet_entry(9, HERE))
        looked.clear()
        hulls.save(one)
        assert looked == []
        hulls.save(view(other.id, other.raw))
        hulls.save(attrs.evolve(changed, raw=changed.raw[:-1]))
        assert looked == [other.raw, changed.raw[:-1]]
        assert changed.id not in hulls.ids(HERE)


def test_an_altered_copy_of_an_entry_is_kept_by_what_its_bytes_say(tmp_path: Path) -> None:
    """Under no other boat, and under no other name: it would be lost when the file is read."""
    there = HERE[:-1] + ("6" if HERE[-1] != "6" else "5")
    made = tablet_entry(1, HERE)
    with HullFolder(tmp_path) as hulls:
        hulls.save(tablet_entry(9, HERE))
        hulls.save(tablet_entry(9, there))
        with pytest.raises(InputError, match="hull"):
            hulls.save(attrs.evolve(made, hull=there))
        other = tablet_entry(2, HERE)
        assert hulls.save(attrs.evolve(made, id="0" * 32)) == made.id
        assert hulls.save(attrs.evolve(made, raw=other.raw)) == other.id
    with HullFolder(tmp_path) as hulls:
        assert {made.id, other.id} < hulls.ids(HERE)
        assert hulls.count(there) == 1
        assert not hulls.damage_found()


def test_a_note_the_disk_refused_half_is_written_with_the_next(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a line costs no other, and the two boats are noted as they are."""
    real, sizes = os.write, FileSizes(tmp_path, writing=True)
    notes = {file_name(hull): Noted(500 + len(hull), "~0123abcd", 2, 2, 77) for hull in (HERE, OTHER)}
    sizes.note_saved(dict.fromkeys(notes, Noted(9, "", 1, 1, 5)))
    monkeypatch.setattr(os, "ftruncate", lambda *_: None)
    for (name, noted), is_whole in zip(notes.items(), (False, True), strict=True):
        monkeypatch.setattr(os, "write", real if is_whole else lambda file, data: real(file, data[: len(data) // 2]))
        sizes.note_grown(name, noted, sizes.grown(name, noted))
    sizes.close()
    read = FileSizes(tmp_path, writing=False)
    for name, noted in notes.items():
        found = Noted(read.least(name), read.check(name), read.count(name), read.known(name))
        assert found == noted._replace(changed=0)
