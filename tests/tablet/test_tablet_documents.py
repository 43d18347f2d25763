"""What the tablet keeps beside the boats' files: session, settings, vessel list, pairing."""

from __future__ import annotations

import json
import os
import shutil
from functools import partial
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

from garboard.disk.documents import DocumentDamaged
from garboard.disk.shop_document import FILE as SHOP_FILE
from garboard.disk.shop_document import is_paired
from garboard.disk.storage import NewerFormat
from garboard.hosting.host import make_host
from garboard_tablet.models import session, settings, vessels
from garboard_tablet.models.ashore import AshoreMarks
from garboard_tablet.models.session import HOME, Session, resume
from garboard_tablet.models.settings import read_settings, write_settings
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessels import VesselLine, VesselList
from tablet.driver import Drive, new_job

FORMER = Path(__file__).parents[1] / "core" / "former_documents" / "tablet"
"""What the program before documents wrote, byte for byte."""
HULL, OTHER = "XYZAB123F526", "ABC00001A526"
FILES = (session.FILE, settings.FILE, vessels.FILE, SHOP_FILE)

open_bare = partial(open_tablet, make_plugins=partial(make_host, (), entry_points=False))


def resumed(folder: Path) -> Session:
    """The session, of which nothing was damaged."""
    damaged: list[DocumentDamaged] = []
    found = resume(folder, damaged)
    assert damaged == []
    return found


def test_a_session_comes_back_as_it_was(tmp_path: Path) -> None:
    """Way and typed digits are on the disk after every change."""
    left = resumed(tmp_path)
    left.go(HOME.to("job", hull=HULL, job="j1"))
    left.type("XYZ/j1/measure/speed", "091.")
    again = resumed(tmp_path)
    assert (again.way, again.typed) == (left.way, left.typed)
    again.back()
    assert resumed(tmp_path).here == HOME


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"[]", b'{"format": 1}', b"\xff", b'{"format": "garboard session", "version": 2, "session": 1}'],
)
def test_a_session_that_cannot_be_read_begins_anew(tmp_path: Path, content: bytes) -> None:
    """Nothing of value is in it: confirmed values are in the hull files. What was found is kept, and it is told."""
    path = tmp_path / session.FILE
    path.parent.mkdir()
    path.write_bytes(content)
    damaged: list[DocumentDamaged] = []
    assert resume(tmp_path, damaged).way == [HOME]
    assert ["type again what was not yet saved" in str(one) for one in damaged] == [True]
    assert path.with_name("session.json.damaged-1").read_bytes() == content
    assert resumed(tmp_path).way == [HOME]


def test_settings_are_kept_and_unknown_ones_with_them(tmp_path: Path) -> None:
    """The tablet's id is made once; a later program's setting is neither read nor dropped."""
    first = read_settings(tmp_path, [])
    write_settings(tmp_path, first.with_person("Robin").with_person("Kim"))
    path = tmp_path / settings.FILE
    plain = json.loads(path.read_bytes())
    plain["tablet"]["1"]["later"] = 1
    path.write_text(json.dumps(plain))
    again = read_settings(tmp_path, [])
    assert (again.tablet, again.working, again.people) == (first.tablet, "Kim", ("Kim", "Robin"))
    write_settings(tmp_path, again)
    assert json.loads(path.read_bytes())["tablet"]["1"]["later"] == 1


@pytest.mark.parametrize("file", FILES)
def test_one_damaged_document_costs_no_other_and_is_told(tmp_path: Path, file: str) -> None:
    shutil.copytree(FORMER, tmp_path / "tablet")
    before = everything(tmp_path / "tablet", [])
    path = tmp_path / "tablet" / file
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"\0" * 512)
    damaged: list[DocumentDamaged] = []
    after = everything(tmp_path / "tablet", damaged)
    assert [one.path.name for one in damaged] == [Path(file).name]
    assert [name for name in before if before[name] != after[name]] == [Path(file).name]


def everything(folder: Path, damaged: list[DocumentDamaged]) -> dict[str, object]:
    """What each document says, by its file's name."""
    tablet = open_bare(folder)
    try:
        lines, marks = VesselList(tablet), AshoreMarks(VesselList(tablet))
        lines.read()
        marks.read()
        damaged += tablet.damaged
        said = tablet.session.way, tablet.session.typed
        known = attrs.asdict(tablet.settings)
        return {"session.json": said, "tablet.json": known, "vessels.json": (lines.lines, marks.stamps),
                "shop.json": is_paired(folder)}  # fmt: skip
    finally:
        tablet.close()


@pytest.mark.parametrize("file", FILES)
def test_a_document_of_a_newer_program_keeps_the_tablet_from_opening_and_stays(tmp_path: Path, file: str) -> None:
    """Nothing is written down by an older program, and the folder is free for the newer one."""
    everything(tmp_path, [])
    path = tmp_path / file
    path.parent.mkdir(exist_ok=True)
    kind = {session.FILE: session.SESSION, settings.FILE: settings.SETTINGS, vessels.FILE: vessels.VESSELS}.get(file)
    name = kind.form.name if kind else "garboard shop of a tablet"
    newer = json.dumps({"format": name, "version": 3, "new": {"1": {}}}).encode()
    path.write_bytes(newer)
    for _ in range(2):
        with pytest.raises(NewerFormat, match=r"has version 3 .* Install the newer version"):
            everything(tmp_path, [])
    assert path.read_bytes() == newer


def test_what_the_program_before_documents_wrote_is_taken_over_once(tmp_path: Path) -> None:
    """Its files stay as they were, and what it writes into them afterwards is not taken for news."""
    folder = tmp_path / "tablet"
    shutil.copytree(FORMER, folder)
    written = {path.name: json.loads(path.read_bytes()) for path in sorted(FORMER.iterdir())}
    tablet = open_bare(folder)
    vessel_list = VesselList(tablet)
    vessel_list.read()
    marks = AshoreMarks(vessel_list)
    marks.read()
    del written["tablet.json"]["unit_of"]  # a unit stays with its boat now; the key waits in the document
    assert written["tablet.json"].items() <= json.loads(json.dumps(attrs.asdict(tablet.settings))).items()
    assert [attrs.asdict(route) | {"subject": list(route.subject)} for route in tablet.session.way] == (
        written["session.json"]["way"]
    )
    assert tablet.session.typed == written["session.json"]["typed"]
    # Newer than that program. So is what is next: each line is worked out anew.
    counted = {"fails": 0, "left": 0, "undone": 0, "open": 1, "people": [], "failing": {}}
    counted |= {"day": "", "next_step": "", "stamp": "", "plugins": "", "rules": 0, "lacking": []}
    assert json.loads(json.dumps([attrs.asdict(line) for line in vessel_list.lines.values()])) == [
        line | counted for line in written["summaries.json"]
    ]
    assert marks.stamps == written["ashore.json"]
    assert not tablet.may_decide
    tablet.session.type("a", "1")
    tablet.change_settings(tablet.settings.with_person("Robin"))
    vessel_list.lines.pop(OTHER)
    vessel_list.keep()
    tablet.close()
    assert {path.name: path.read_bytes() for path in folder.glob("*.json")} == {
        path.name: path.read_bytes() for path in FORMER.iterdir()
    }
    for name in ("session.json", "tablet.json", "summaries.json"):
        (folder / name).write_text("{}")
    again = open_bare(folder)
    lines = VesselList(again)
    lines.read()
    assert (again.settings.working, again.session.typed["a"], list(lines.lines)) == ("Robin", "1", [HULL])
    again.close()


def test_a_line_another_version_kept_is_made_anew_and_ones_own_is_not(tmp_path: Path) -> None:
    """Such as one that says when the boat was saved by the former rules."""
    tablet = open_bare(tmp_path / "tablet")
    hull, _ = tablet.open_job(HULL)
    lines = VesselList(tablet)
    lines.refresh(hull)
    mine = lines.lines[hull]
    for kept, wanted in ((mine, mine.stamp), (attrs.evolve(mine, rules=mine.rules - 1, saved="2001-01-01 00:00"), "")):
        lines.lines = {hull: kept}
        lines.keep()
        again = VesselList(tablet)
        again.read()
        assert again.lines[hull].stamp == wanted
        for stale in again.stale():
            again.refresh(stale)
        assert again.lines == {hull: mine}
    tablet.close()


def a_line(number: int) -> VesselLine:
    hull = f"QQZ{number:05d}A626"
    return VesselLine(
        hull=hull, hull_number=hull, name=f"Boat {number}", job="j", phase="alongside", done=1, total=30,
        saved="2026-05-14 09:30", stamp="864",
    )  # fmt: skip


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Bytes the tablet hands to the disk, write by write."""
    sizes: list[int] = []
    real = os.write

    def counted(descriptor: int, data: bytes) -> int:
        sizes.append(len(data))
        return real(descriptor, data)

    monkeypatch.setattr(os, "write", counted)
    return sizes


def bytes_of_keys(folder: Path, boats: int, written: list[int]) -> tuple[Tablet, int]:
    """What ten keys, one confirmed value and the list put right after it write on a tablet with so many boats."""
    tablet = open_bare(folder)
    hull, job = tablet.open_job(HULL)
    lines = VesselList(tablet, {line.hull: line for line in map(a_line, range(boats))})
    lines.keep()
    written.clear()
    for length in range(1, 11):
        tablet.session.type("speed", "1" * length)
    tablet.set_state(hull, job, "dock.full", "under way")
    lines.refresh(hull)
    return tablet, sum(written)


def test_the_bytes_a_key_press_writes_do_not_grow_with_the_number_of_boats(tmp_path: Path, written: list[int]) -> None:
    few, of_few = bytes_of_keys(tmp_path / "few", 10, written)
    many, of_many = bytes_of_keys(tmp_path / "many", 500, written)
    assert few.folder.joinpath(vessels.FILE).stat().st_size * 10 < many.folder.joinpath(vessels.FILE).stat().st_size
    assert 0 < of_few == of_many
    few.close()
    many.close()


def test_no_page_writes_the_list_of_vessels_at_a_press(drive: Drive, written: list[int]) -> None:
    """Two numbers typed and confirmed by touch, with 10 boats listed and with 500."""
    d = drive()
    new_job(d)
    d.press("tab vessel", "Equipment", "kind engines", "2 engines", "back", "back", "tab under way", "step dock.full")
    d.press("begin")
    d.wait(lambda: d.app.vessels.is_looked_through and not d.app.vessels.to_read)  # which keeps the list once
    totals = []
    for boats, number in ((10, "5840"), (500, "5790")):
        d.app.vessels.lines.update({line.hull: line for line in map(a_line, range(boats))})
        written.clear()
        d.number(number)
        totals.append(sum(written))
    assert abs(totals[0] - totals[1]) < 1_000, "one entry says that the step is under way; 490 lines take 100 000 bytes"


def test_the_settings_page_says_which_document_was_damaged_and_what_to_do(drive: Drive, tmp_path: Path) -> None:
    open_bare(tmp_path / "tablet").close()
    (tmp_path / "tablet" / settings.FILE).write_bytes(b"{")
    d = drive(tmp_path / "tablet")
    d.press("settings")
    assert d.says("tablet.json cannot be read")
    assert d.says("Nothing else is lost. Set who is working, the colours and the units again.")


def test_the_command_refuses_a_folder_of_a_newer_program_in_words(tmp_path: Path) -> None:
    from garboard.commands.cli import program

    path = tmp_path / session.FILE
    path.parent.mkdir()
    path.write_text('{"format": "garboard session", "version": 99}')
    done = CliRunner().invoke(program, ["tablet", "--folder", str(tmp_path)])
    assert (done.exit_code, "Install the newer version" in done.stderr) == (2, True), done.output


@pytest.mark.parametrize("file", ["session.json", "tablet.json"])
def test_a_folder_in_the_place_of_a_document_is_set_aside_like_damage(tmp_path: Path, file: str) -> None:
    open_tablet(tmp_path).close()
    path = tmp_path / "documents" / file
    path.unlink(missing_ok=True)
    path.mkdir()
    (path / "inside").write_text("somebody's")
    tablet = open_tablet(tmp_path)
    assert [document.path for document in tablet.damaged] == [path]
    tablet.close()
    assert path.is_file()
    assert (path.with_name(f"{file}.damaged-1") / "inside").read_text() == "somebody's"


def test_a_list_of_managers_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    open_tablet(tmp_path).close()
    path = tmp_path / "documents" / "managers.json"
    path.write_bytes(b'{"format":"garb')
    tablet = open_tablet(tmp_path)
    assert [document.path for document in tablet.damaged] == [path]
    assert "when it comes ashore" in str(tablet.damaged[0])
    tablet.close()
