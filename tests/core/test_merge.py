"""Merging folders: the union, what it reports, what a dry run leaves alone; and jobs in and out of hull files."""

from __future__ import annotations

import json
from contextlib import ExitStack
from pathlib import Path
from pkgutil import resolve_name as import_string

import pytest

from garboard.disk.entries import canonical_bytes, entry_id, make_entry, read_entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import measure, move_job, retract, same_boat, sign_off
from garboard.history.boat import Boat, open_hull, register_named
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import merge, state_digest
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.job_files.job_file import parse_job_file, read_job_file
from histories import HULL, JOB, history, tablet, union

STEP, FIELD = "prop_check.runs", "speed"


def _folder(path: Path, entries: object) -> HullFolder:
    folder = HullFolder(path)
    for entry in entries:  # type: ignore[attr-defined]
        folder.save(entry)
    return folder


def test_a_merge_reports_what_came_what_was_there_what_disagrees_and_what_went_stale(tmp_path: Path) -> None:
    one, two = tablet("a"), tablet("b")
    first = measure(one.author, HullState(HULL), JOB, STEP, FIELD, "30.0 kn", row="1")
    signature = sign_off(one.author, replay(HULL, [first]), JOB, "technician", "R. Vane")
    other = measure(two.author, HullState(HULL), JOB, STEP, FIELD, "31.5 kn", row="1")
    with (
        _folder(tmp_path / "shop", [first, signature]) as shop,
        _folder(tmp_path / "a", [first, other]) as source,
    ):
        report = merge([source], shop)
    (hull,) = report.hulls
    assert (hull.hull, hull.received, hull.existing) == (HULL, 1, 1)
    assert [key.subject for key in hull.disagreeing] == [(STEP, FIELD, "1", "")]
    assert hull.stale == ((f"technician R. Vane, job {JOB}", (f"{STEP}/{FIELD}/1",)),)
    assert report.complete


@pytest.mark.parametrize(
    ("call", "at"),
    [
        ("garboard.disk.hullfile.Journal", "shop"),
        ("pathlib.Path.read_bytes", "a/hulls"),
    ],
)
def test_a_file_that_the_disk_refused_once_is_not_called_merged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, at: str
) -> None:
    """It can be read again before the merge ends: what was passed over meanwhile is told all the same."""
    entries = list(union(history(11)).values())
    for name, held in (("a", entries), ("shop", entries[::2])):
        _folder(tmp_path / name, held).close()
        (tmp_path / name / "hulls.sizes").unlink()
    there = import_string(call)
    refused: list[Path] = []

    def once(path: Path, *arguments: object, **named: object) -> object:
        if f"/{at}/" in str(path) and not refused:
            refused.append(path)
            raise OSError(5, "Input/output error")
        return there(path, *arguments, **named)

    monkeypatch.setattr(call, once)
    with HullFolder(tmp_path / "a", read_only=True) as source, HullFolder(tmp_path / "shop") as shop:
        report = merge([source], shop)
        assert not report.complete
        assert len(refused) == 1
        assert [Path(file).name for file, _ in report.not_read] == [refused[0].name]
        assert merge([source], shop).received + report.received == len(entries) - len(entries[::2])


def test_a_folder_that_cannot_be_listed_is_not_called_empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _folder(tmp_path / "a", union(history(7)).values()).close()

    def refuse(folder: Path) -> None:
        raise PermissionError(13, "Permission denied", str(folder))

    with HullFolder(tmp_path / "a", read_only=True) as source, HullFolder(tmp_path / "shop") as shop:
        monkeypatch.setattr("garboard.disk.hullfile.os.scandir", refuse)
        with pytest.raises(PermissionError):
            merge([source], shop)


def test_merging_again_changes_nothing(tmp_path: Path) -> None:
    entries = union(history(7)).values()
    with _folder(tmp_path / "a", entries) as source, HullFolder(tmp_path / "shop") as shop:
        merge([source], shop)
        before = shop.digests(), state_digest(shop, HULL)
        report = merge([source], shop)
        assert report.received == 0
        assert (shop.digests(), state_digest(shop, HULL)) == before


def test_a_dry_run_reports_the_same_and_writes_nothing(tmp_path: Path) -> None:
    entries = list(union(history(11)).values())
    with (
        _folder(tmp_path / "a", entries) as source,
        _folder(tmp_path / "shop", entries[::2]) as shop,
    ):
        before = shop.digests()
        planned = merge([source], shop, dry_run=True)
        assert shop.digests() == before
        assert merge([source], shop).hulls == planned.hulls


def test_what_comes_under_another_number_of_the_same_boat_is_held_against_all_of_it(tmp_path: Path) -> None:
    """The boat's beam disagrees across its two numbers, once they are known to be one boat."""
    author = tablet("a").author
    right, wrong = HullState("QQZ04417D626"), HullState("QQZO4417D626")
    beam = author.write(right, "field", ("beam",), "8 ft")
    other = author.write(wrong, "field", ("beam",), "9 ft")
    pair = same_boat(author, right, wrong, "letter for digit")
    with _folder(tmp_path / "a", [other]) as source, _folder(tmp_path / "shop", [beam, *pair]) as shop:
        (hull,) = merge([source], shop).hulls
        assert [key.subject for key in hull.disagreeing] == [("beam",)]
        assert hull.look_alikes == ()
    with _folder(tmp_path / "b", pair) as source, _folder(tmp_path / "office", [beam, other]) as shop:
        assert [[key.subject for key in hull.disagreeing] for hull in merge([source], shop).hulls] == [[("beam",)]] * 2


def test_a_hull_the_merge_brought_nothing_new_for_is_counted_and_nothing_is_said_of_it(tmp_path: Path) -> None:
    author = tablet("a").author
    right = measure(author, HullState("QQZ04417D626"), JOB, STEP, FIELD, "30 kn")
    wrong = measure(author, HullState("QQZO4417D626"), JOB, STEP, FIELD, "31 kn")
    with _folder(tmp_path / "a", [wrong, right]) as source, _folder(tmp_path / "shop", [right, wrong]) as shop:
        assert [(h.received, h.existing, h.look_alikes) for h in merge([source], shop).hulls] == [
            (0, 1, ()),
            (0, 1, ()),
        ]


@pytest.mark.parametrize("read_only", [False, True])
def test_what_is_here_twice_over_and_what_is_refused_is_counted_once(tmp_path: Path, read_only: bool) -> None:
    """Three sources: one entry is here, one comes from two of them, one cannot be kept."""
    author = tablet("a").author
    here, coming = (measure(author, HullState(HULL), JOB, STEP, FIELD, value) for value in ("30 kn", "31 kn"))
    foreign = canonical_bytes({**coming.fields, "hull": "QQZ04418D626"})
    for name in ("a", "b", "c"):
        with _folder(tmp_path / name, [here, coming]) as folder:
            folder.hull(HULL).append({entry_id(foreign): foreign} if name != "c" else {})
            folder.hull(HULL).journal.flush()
    with ExitStack() as stack:
        sources = [stack.enter_context(HullFolder(tmp_path / n, read_only=read_only)) for n in ("a", "b", "c")]
        shop = stack.enter_context(_folder(tmp_path / "shop", [here]))
        planned, report = merge(sources, shop, dry_run=True), merge(sources, shop)
    (hull,) = report.hulls
    assert (hull.received, hull.existing) == (1, 1)
    assert [name for name, _ in report.refused] == [entry_id(foreign)]
    assert not report.complete
    assert (planned.hulls, planned.refused) == (report.hulls, report.refused)


def test_an_entry_damaged_on_the_tablet_that_the_shop_lacks_is_reported(tmp_path: Path) -> None:
    entries = [measure(tablet("a").author, HullState(HULL), JOB, STEP, FIELD, f"{n} kn", row=str(n)) for n in range(3)]
    with _folder(tmp_path / "a", entries) as folder:
        path = folder.hull(HULL).journal.path
    path.write_bytes(path.read_bytes().replace(b'"value":"1 kn"', b'"value":"7 kn"'))
    with HullFolder(tmp_path / "a", read_only=True) as source, _folder(tmp_path / "shop", entries[:1]) as shop:
        report = merge([source], shop)
        assert shop.ids(HULL) == {entries[0].id, entries[2].id}
    assert [damage.lost for damage in report.damage] == [1]
    assert (report.received, report.hulls[0].existing) == (1, 1)


def test_attachments_travel_and_a_damaged_one_is_named_not_copied(tmp_path: Path) -> None:
    with HullFolder(tmp_path / "a") as source, HullFolder(tmp_path / "shop") as shop:
        good, bad = source.attachments.put(b"a run"), source.attachments.put(b"another")
        (source.attachments.folder / bad).write_bytes(b"spoilt")
        report = merge([source], shop)
        assert shop.attachments.get(good) == b"a run"
        assert [name for name, _ in report.refused] == [bad]


def test_hull_numbers_that_look_alike_are_named_to_check(tmp_path: Path) -> None:
    author = tablet("a").author
    right = measure(author, HullState("QQZ04417D626"), JOB, STEP, FIELD, "30 kn")
    wrong = measure(author, HullState("QQZO4417D626"), JOB, STEP, FIELD, "31 kn")
    with _folder(tmp_path / "a", [wrong]) as source, _folder(tmp_path / "shop", [right]) as shop:
        (hull,) = merge([source], shop).hulls
    assert hull.look_alikes == ("QQZ04417D626",)


def test_two_numbers_of_one_boat_open_as_one_until_it_is_taken_back(tmp_path: Path) -> None:
    author = tablet("a").author
    right, wrong = HullState("QQZ04417D626"), HullState("QQZO4417D626")
    value = measure(author, wrong, JOB, STEP, FIELD, "31 kn")
    pair = same_boat(author, right, wrong, "letter for digit")
    with _folder(tmp_path / "shop", [value, *pair]) as shop:
        assert open_hull(shop, "QQZ04417D626").view(JOB).amount(STEP, FIELD, "kn") == 31
        for mine, entry in zip((right, wrong), pair, strict=True):
            mine.add(entry)
            shop.save(retract(author, mine, register_of_alias(mine), "two boats"))
        assert open_hull(shop, "QQZ04417D626").jobs == ()
        assert open_hull(shop, "QQZO4417D626").jobs == (JOB,)


def register_of_alias(state: HullState) -> RegisterKey:
    return next(key for key in state.registers if key.kind == "alias")


def test_a_moved_job_is_found_under_its_new_hull_with_that_vessel(tmp_path: Path) -> None:
    author = tablet("a").author
    here, there = HullState(HULL), HullState("QQZ04418D626")
    value = measure(author, here, JOB, STEP, FIELD, "31 kn")
    name = author.write(there, "field", ("name",), "Kittiwake")
    with _folder(tmp_path / "shop", [value, name, *move_job(author, here, there, JOB, "wrong boat")]) as shop:
        boat = open_hull(shop, "QQZ04418D626")
        assert boat.jobs == (JOB,)
        view = boat.view(JOB)
        assert view.vessel.name == "Kittiwake"
        assert view.amount(STEP, FIELD, "kn") == 31
        assert open_hull(shop, HULL).jobs == ()


def test_a_job_moved_between_two_numbers_of_one_boat_stays_and_one_moved_to_either_is_found_under_both(
    tmp_path: Path,
) -> None:
    author = tablet("a").author
    right, wrong, other = HullState("QQZ04417D626"), HullState("QQZO4417D626"), HullState("QQZ04418D626")
    values = [
        measure(author, wrong, "moved inside", STEP, FIELD, "31 kn"),
        measure(author, other, "moved here", STEP, FIELD, "32 kn"),
        *move_job(author, wrong, right, "moved inside", "wrong number"),
        *move_job(author, other, wrong, "moved here", "wrong boat"),
        *same_boat(author, right, wrong, "letter for digit"),
    ]
    with _folder(tmp_path / "shop", values) as shop:
        for number in (right.hull, wrong.hull):
            boat = open_hull(shop, number)
            assert set(boat.jobs) == {"moved inside", "moved here"}
            assert boat.view("moved inside").amount(STEP, FIELD, "kn") == 31
            assert boat.view("moved here").amount(STEP, FIELD, "kn") == 32
        assert open_hull(shop, other.hull).jobs == ()


def test_a_moved_job_written_under_two_numbers_of_one_boat_comes_whole(tmp_path: Path) -> None:
    author = tablet("a").author
    one, other, target = HullState("QQZ04417D626"), HullState("QQZO4417D626"), HullState("QQZ04418D626")
    values = [
        measure(author, one, JOB, STEP, FIELD, "31 kn", row="1"),
        measure(author, other, JOB, STEP, FIELD, "32 kn", row="2"),
        *same_boat(author, one, other, "letter for digit"),
        *move_job(author, one, target, JOB, "wrong boat"),
    ]
    with _folder(tmp_path / "shop", values) as shop:
        assert [m.row for m in open_hull(shop, target.hull).view(JOB).measurements] == ["1", "2"]


def test_a_slot_named_wrongly_lists_what_is_there(tmp_path: Path) -> None:
    state = replay(HULL, [measure(tablet("a").author, HullState(HULL), JOB, STEP, FIELD, "31 kn", row="1")])
    boat = Boat(state, {})
    assert register_named(boat, JOB, f"{STEP}/{FIELD}/1") == (
        state,
        RegisterKey("measure", JOB, (STEP, FIELD, "1", "")),
    )
    with pytest.raises(KeyError, match=f"{STEP}/{FIELD}/1"):
        register_named(boat, JOB, "nonsense")


JOB_FILE = """{"format": "garboard job", "version": 1, "job": {"id": "job-1"},
 "vessel": {"hull_number": "QQZ04417D626", "name": "Saltgrass", "engines": [{"position": "centre"}]},
 "measurements": [
  {"step": "a.b", "field": "speed", "value": "30.10 kn", "by": "R. Vane", "at": "2026-05-14T09:30:00+02:00"},
  {"step": "a.b", "field": "log", "value": {"file": "turn.log"}}],
 "sign_offs": [{"role": "technician", "name": "R. Vane"}]}"""


def test_an_exported_job_taken_in_elsewhere_keeps_every_id_and_every_byte(tmp_path: Path) -> None:
    (tmp_path / "turn.log").write_text("a log")
    with HullFolder(tmp_path / "here") as here, HullFolder(tmp_path / "there") as there:
        author = tablet("a").author
        hull, added = import_job(here, parse_job_file(JOB_FILE, "test"), tmp_path, author)
        assert added
        path = export_job(here, open_hull(here, hull), "job-1", tmp_path / "out")
        exported = read_job_file(path)
        assert import_job(there, exported, path.parent, author) == (hull, added)
        assert there.get(hull) == here.get(hull)
        assert there.attachments.names() == here.attachments.names()
        assert export_job(there, open_hull(there, hull), "job-1", tmp_path / "again").read_bytes() == path.read_bytes()


def _worked_on(tmp_path: Path) -> HullFolder:
    """One job written under two numbers of a boat and moved to a third, with everything a job can hold."""
    author = tablet("a").author
    one, other, target = HullState("QQZ04417D626"), HullState("QQZO4417D626"), HullState("QQZ04418D626")
    folder = HullFolder(tmp_path / "here")
    photos = [folder.attachments.put(text) for text in (b"a run", b"first", b"second", b"tagged", b"of another job")]
    disputed = [
        measure(author, HullState(one.hull), JOB, STEP, "photo", {"file": photo}, row="2") for photo in photos[1:3]
    ]
    tag = make_entry(
        "shop_photo_tag",
        other.hull,
        dev="a",
        by="R. Vane",
        clock=author.clock.now(),
        at=author.wall(),
        job=JOB,
        value=[{"tagged": photos[3]}],
    )
    newer = canonical_bytes({"v": 9, "kind": "sketch", "hull": one.hull, "job": JOB, "lines": [[1, 2]]})
    for entry in (
        measure(author, one, JOB, STEP, "log", {"file": photos[0]}, row="1"),
        *disputed,
        measure(author, other, JOB, STEP, FIELD, "32 kn", row="2"),
        author.write(target, "field", ("name",), "Kittiwake"),
        author.write(one, "field", ("name",), "Typed on the wrong boat"),
        *same_boat(author, one, other, "letter for digit"),
        *move_job(author, one, target, JOB, "wrong boat"),
        tag,
        read_entry(newer),
    ):
        folder.save(entry)
    folder.save(measure(author, one, "another job", STEP, "photo", {"file": photos[4]}))
    return folder


def test_an_exported_job_carries_every_number_it_was_written_under_unknown_entries_and_attachments(
    tmp_path: Path,
) -> None:
    with _worked_on(tmp_path) as here, HullFolder(tmp_path / "there") as there:
        boat = open_hull(here, "QQZ04418D626")
        path = export_job(here, boat, JOB, tmp_path / "out")
        author = tablet("b").author
        import_job(there, read_job_file(path), path.parent, author)
        assert there.hulls() == here.hulls()
        for hull in here.hulls():
            kept = {name: raw for name, raw in here.get(hull).items() if read_entry(raw).job in ("", JOB)}
            assert there.get(hull) == kept
        assert len(there.attachments.names()) == 4
        again = open_hull(there, "QQZ04418D626")
        assert again.view(JOB) == boat.view(JOB)
        assert again.view(JOB).vessel.name == "Kittiwake"
        assert len(again.view(JOB).disagreements) == 1
        assert len(again.state_of(JOB).unknown) == 2


def test_a_job_file_cannot_reach_for_files_outside_its_folder(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("not for the job")
    (tmp_path / "job").mkdir()
    reaching = JOB_FILE.replace("turn.log", "../secret")
    with HullFolder(tmp_path / "here") as here:
        with pytest.raises(InputError, match="beside the job file"):
            import_job(here, parse_job_file(reaching, "test"), tmp_path / "job", tablet("a").author)
        assert here.attachments.names() == frozenset()


def test_an_exported_job_changed_by_hand_is_refused_and_says_how_to_take_it_in(tmp_path: Path) -> None:
    (tmp_path / "turn.log").write_text("a log")
    with HullFolder(tmp_path / "here") as here, HullFolder(tmp_path / "there") as there:
        author = tablet("a").author
        hull, _ = import_job(here, parse_job_file(JOB_FILE, "test"), tmp_path, author)
        path = export_job(here, open_hull(here, hull), "job-1", tmp_path / "out")
        plain = json.loads(path.read_text())
        plain["vessel"]["name"] = "Other"
        with pytest.raises(InputError, match="delete the key 'entries'"):
            import_job(there, parse_job_file(json.dumps(plain), "test"), path.parent, author)
        assert there.hulls() == ()


def test_an_exported_job_whose_entries_were_deleted_changes_what_it_showed_and_leaves_what_came_meanwhile(
    tmp_path: Path,
) -> None:
    """The file was changed at a desk while another tablet corrected one of its two values."""
    one, two = tablet("a").author, tablet("b").author
    values = [measure(one, HullState(HULL), JOB, STEP, FIELD, value, row=value[0]) for value in ("1 kn", "2 kn")]
    with _folder(tmp_path / "here", values) as here:
        path = export_job(here, open_hull(here, HULL), JOB, tmp_path / "out")
        here.save(measure(two, replay(HULL, values), JOB, STEP, FIELD, "9 kn", row="2"))
        plain = json.loads(path.read_text())
        del plain["entries"]
        for measured in plain["measurements"]:
            measured["value"] = measured["value"].replace(" kn", ".5 kn")
        import_job(here, parse_job_file(json.dumps(plain), "test"), path.parent, tablet("office").author)
        view = open_hull(here, HULL).view(JOB)
        assert view.value(STEP, FIELD, row="1") == "1.5 kn"
        assert [{value.value for value in one.values} for one in view.disagreements] == [{"2.5 kn", "9 kn"}]
