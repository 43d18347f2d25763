"""What could not be read is named, nothing says that everything is in, and what can be mended is."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.faults import InputError
from garboard.history.authoring import measure, same_boat
from garboard.history.boat import open_hull
from garboard.history.replay import HullState
from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_one
from garboard.testing import open_folder
from histories import HULL, JOB, tablet
from run_program import run as _run

OTHER = "QQZ04418D626"
STEP, FIELD = "prop_check.runs", "speed"
PHOTO = b"a photo of the helm" * 100
NAME = hashlib.sha256(PHOTO).hexdigest()


def _folder(path: Path, name: str = "a", hulls: tuple[str, ...] = (HULL, OTHER)) -> Path:
    with HullFolder(path) as folder:
        for hull in hulls:
            folder.save(measure(tablet(name).author, HullState(hull), JOB, STEP, FIELD, "30.0 kn", row=name))
        folder.attachments.put(PHOTO)
    return path


def _of(folder: Path, hull: str) -> Path:
    return folder / HULLS_FOLDER / file_name(hull)


Harm = Callable[[Path], str]


@pytest.fixture(params=["no permission", "the disk fails", "newer", "a pipe", "a folder"])
def harm(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Harm:
    """Makes a hull file one that cannot be read; the words that are to say so."""

    def refuse(path: Path, number: int) -> str:
        for name in ("open", "read_bytes"):
            true = getattr(Path, name)

            def instead(here: Path, *arguments: object, true: Callable[..., object] = true, **named: object) -> object:
                if here == path:
                    raise OSError(number, os.strerror(number), str(path))
                return true(here, *arguments, **named)

            monkeypatch.setattr(Path, name, instead)
        return os.strerror(number).lower()

    def do(path: Path) -> str:
        if request.param == "no permission":
            return refuse(path, errno.EACCES)
        if request.param == "the disk fails":
            return refuse(path, errno.EIO)
        if request.param == "newer":
            first = b"garboard hull 2 " + path.read_bytes().split(b" ")[3]
            path.write_bytes(first + b" " + hashlib.sha256(first).hexdigest()[:8].encode() + b"\n")
            return "newer version"
        path.unlink()
        if request.param == "a pipe":
            os.mkfifo(path)
            return "a pipe"
        path.mkdir()
        return "a folder"

    return do


def test_a_merge_names_the_hull_file_of_a_source_that_it_could_not_read(tmp_path: Path, harm: Harm) -> None:
    source, shop = _folder(tmp_path / "stick"), tmp_path / "shop"
    reason = harm(_of(source, OTHER))
    result = _run("merge", source, "--into", shop)
    assert result.exit_code == 1
    assert "NOT everything is merged" in result.stdout
    assert str(_of(source, OTHER)) in result.stdout
    assert reason in result.stdout
    with HullFolder(shop, read_only=True) as folder:
        assert folder.hulls() == (HULL,)
    report = json.loads(_run("merge", source, "--into", shop, "--json").stdout)
    assert not report["complete"]
    assert [*report["not_read"]] == [str(_of(source, OTHER))]
    assert _run("merge", source, "--into", shop, "--dry-run").exit_code == 1


def test_a_merge_into_a_folder_with_a_file_that_cannot_be_read_brings_the_others(tmp_path: Path, harm: Harm) -> None:
    source, shop = _folder(tmp_path / "stick", "b"), _folder(tmp_path / "shop")
    harm(_of(shop, OTHER))
    result = _run("merge", source, "--into", shop, "--both-ways")
    assert result.exit_code == 1
    assert result.stdout.count("NOT everything is merged") == 2
    for folder in (source, shop):
        with HullFolder(folder, read_only=True) as files:
            assert files.count(HULL) == 2


def test_digest_and_assess_and_repair_name_what_they_could_not_read(tmp_path: Path, harm: Harm) -> None:
    folder = _folder(tmp_path / "shop")
    path = _of(folder, OTHER)
    reason = harm(path)
    result = _run("digest", folder)
    assert result.exit_code == 1
    assert f"{path}: " in result.stderr
    assert reason in result.stderr
    assert result.stdout.startswith(HULL)
    assert [*json.loads(_run("digest", folder, "--json").stdout)["not_read"]] == [str(path)]
    result = _run("assess", folder)
    assert result.exit_code == 2
    assert reason in result.stderr
    assert HULL in result.stdout
    result = _run("repair", folder)
    assert result.exit_code == 1
    assert f"not mended: {path}" in result.stdout


def test_a_boat_whose_other_numbers_file_cannot_be_read_is_shown_and_says_so(tmp_path: Path, harm: Harm) -> None:
    folder = _folder(tmp_path / "shop")
    with HullFolder(folder) as files:
        for entry in same_boat(tablet("a").author, HullState(HULL), HullState(OTHER), "one boat"):
            files.save(entry)
    reason = harm(_of(folder, OTHER))
    result = _run("show", folder, HULL)
    assert result.exit_code == 0
    assert reason in result.stderr
    assert "30.0 kn" in result.stdout


def test_no_book_is_made_of_one_boat_by_chance_or_of_half_a_boat(tmp_path: Path, harm: Harm) -> None:
    folder = _folder(tmp_path / "shop")
    host = make_host()
    assert assess_one(folder, host, HULL).view.job.id == JOB
    reason = harm(_of(folder, OTHER))
    with pytest.raises(InputError, match=reason):
        assess_one(folder, host)
    assert assess_one(folder, host, HULL).view.job.id == JOB
    with pytest.warns(UserWarning, match=reason), open_folder(folder) as jobs:
        assert [job.vessel.hull_number for job in jobs] == [HULL]


JPEG = b"\xff\xd8\xff\xda\x00\x02 the helm\xff\xd9"


@pytest.mark.parametrize("content", [None, b"spoilt"], ids=["not here", "damaged"])
def test_an_export_names_the_photo_that_is_not_in_it(tmp_path: Path, content: bytes | None) -> None:
    folder, photo = _folder(tmp_path / "shop"), tmp_path / "helm.jpg"
    photo.write_bytes(JPEG)
    assert _run("attach", folder, HULL, STEP, photo, "--by", "A. Hand").exit_code == 0
    whole = _run("export", folder, HULL, "-o", tmp_path / "whole")
    assert (whole.exit_code, whole.stderr) == (0, "")
    kept = folder / "attachments" / hashlib.sha256(JPEG).hexdigest()
    kept.unlink() if content is None else kept.write_bytes(content)
    result = _run("export", folder, HULL, "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert "not in it: helm" in result.stderr
    assert not list((tmp_path / "out").glob("helm*"))
    assert (tmp_path / "out" / "job.json").is_file()


def test_digest_and_show_say_that_a_file_lost_its_end(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "shop")
    _of(folder, HULL).write_bytes(_of(folder, HULL).read_bytes().splitlines(keepends=True)[0])
    result = _run("digest", folder)
    assert (result.exit_code, "nothing but its heading" in result.stderr) == (1, True)
    assert HULL not in result.stdout
    assert _run("show", folder, HULL).exit_code == 2


def test_everything_readable_is_said_to_be_in_with_status_nought(tmp_path: Path) -> None:
    source, shop = _folder(tmp_path / "stick"), tmp_path / "shop"
    result = _run("merge", source, "--into", shop, "--both-ways")
    assert result.exit_code == 0
    assert result.stdout.count("everything is merged") == 2
    assert _run("digest", shop).exit_code == _run("repair", shop).exit_code == 0


HARMS: dict[str, bytes] = {"empty": b"", "cut off": PHOTO[:-1], "one bit": b"b" + PHOTO[1:], "longer": PHOTO + b"!"}


@pytest.mark.parametrize("harm", HARMS)
def test_an_attachment_damaged_in_the_target_is_taken_anew_from_the_source(tmp_path: Path, harm: str) -> None:
    source, shop = _folder(tmp_path / "stick"), _folder(tmp_path / "shop")
    (shop / "attachments" / NAME).write_bytes(HARMS[harm])
    assert _run("merge", source, "--into", shop, "--dry-run").exit_code == 1
    assert (shop / "attachments" / NAME).read_bytes() == HARMS[harm]
    result = _run("merge", source, "--into", shop)
    assert f"damaged here, replaced by a sound copy: attachment {NAME}" in result.stdout
    assert result.exit_code == 1  # the disk damaged a file: a person should look, though everything is in
    with HullFolder(shop, read_only=True) as folder:
        assert folder.attachments.get(NAME) == PHOTO
    assert HARMS[harm] in [path.read_bytes() for path in (shop / "attachments").glob("*.damaged-*")]
    again = _run("merge", source, "--into", shop)
    assert (again.exit_code, "everything is merged" in again.stdout) == (0, True)


def test_an_attachment_damaged_in_every_folder_is_named_as_not_in(tmp_path: Path) -> None:
    source, shop = _folder(tmp_path / "stick"), _folder(tmp_path / "shop")
    for folder in (source, shop):
        (folder / "attachments" / NAME).write_bytes(b"spoilt")
    result = _run("merge", source, "--into", shop)
    assert result.exit_code == 1
    assert f"refused, still in its source: {NAME}" in result.stdout
    third = _folder(tmp_path / "third")
    result = _run("merge", source, third, "--into", shop)
    assert NAME not in [line.split(": ")[1] for line in result.stdout.splitlines() if line.startswith("  refused")]
    with HullFolder(shop, read_only=True) as files:
        assert files.attachments.get(NAME) == PHOTO


def test_an_attachment_damaged_on_the_stick_alone_takes_nothing_from_the_sound_one(tmp_path: Path) -> None:
    source, shop = _folder(tmp_path / "stick"), _folder(tmp_path / "shop")
    (source / "attachments" / NAME).write_bytes(b"")
    assert _run("merge", source, "--into", shop).exit_code == 0
    with HullFolder(shop, read_only=True) as files:
        assert files.attachments.get(NAME) == PHOTO


@pytest.mark.parametrize("oddity", ["folder", "pipe", "link to a device", "link to a file"])
def test_what_is_no_file_among_a_sticks_attachments_is_passed_over_with_a_word(tmp_path: Path, oddity: str) -> None:
    source, shop = _folder(tmp_path / "stick"), tmp_path / "shop"
    odd = source / "attachments" / hashlib.sha256(oddity.encode()).hexdigest()
    {
        "folder": lambda: odd.mkdir(),
        "pipe": lambda: os.mkfifo(odd),
        "link to a device": lambda: odd.symlink_to("/dev/zero"),
        "link to a file": lambda: odd.symlink_to(source / "attachments" / NAME),
    }[oddity]()
    result = _run("merge", source, "--into", shop)
    assert result.exit_code == 1
    assert f"not read, so not merged: {odd}: a {oddity.split()[0]}" in result.stdout
    with HullFolder(shop, read_only=True) as files:
        assert files.attachments.names() == {NAME}
        assert open_hull(files, HULL).jobs == (JOB,)
    assert not _run("merge", shop, "--into", tmp_path / "clean").exit_code
    with HullFolder(source, read_only=True) as files:
        assert odd.name not in files.attachments
        held = files.attachments
        for reading in (held.get, held.prove, lambda name: held.read(name, 0, 9)):
            with pytest.raises(KeyError):
                reading(odd.name)
