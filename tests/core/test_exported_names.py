"""An exported job's files carry the names people gave them, and are found again by them."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

import small_plugin
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.findings import Lack, NotEnoughData
from garboard.history.boat import open_hull, recordings_of
from garboard.history.exchange import export_job, import_job
from garboard.job_files.job_file import check, exported_name, parse_job_file, read_job_file, view_of
from garboard.records import JsonValue
from histories import HULL, JOB, tablet

STEP, FIELD = "small.horn", "log"
LOG = b"time,engine_speed#0 [rev/min]\n0,5800\n1,5810\n"
HASH = hashlib.sha256(LOG).hexdigest()


def job_text(value: JsonValue) -> str:
    return json.dumps(
        {
            "format": "garboard job",
            "version": 1,
            "vessel": {"hull_number": HULL},
            "job": {"id": JOB},
            "measurements": [{"step": STEP, "field": FIELD, "value": value}],
        }
    )


@pytest.fixture
def exported(tmp_path: Path) -> Path:
    """A job with one recording, taken into hull files and exported again."""
    (tmp_path / "sea trial.csv").write_bytes(LOG)
    with HullFolder(tmp_path / "shop") as shop:
        import_job(shop, parse_job_file(job_text({"file": "sea trial.csv"}), "test"), tmp_path, tablet("a").author)
        return export_job(shop, open_hull(shop, HULL), JOB, tmp_path / "out")


def test_a_name_of_many_bytes_keeps_no_job_from_being_exported(tmp_path: Path) -> None:
    """80 letters of three bytes each are more than a file's name can have."""
    (tmp_path / "log.csv").write_bytes(LOG)
    with HullFolder(tmp_path / "shop") as shop:
        job = parse_job_file(job_text({"file": "log.csv", "name": "\u5199\u771f" * 60 + ".csv"}), "test")
        import_job(shop, job, tmp_path, tablet("a").author)
        exported = export_job(shop, open_hull(shop, HULL), JOB, tmp_path / "out")
    (file,) = (file for file in exported.parent.iterdir() if file != exported)
    assert (file.suffix, file.read_bytes()) == (".csv", LOG)
    assert check(read_job_file(exported), small_plugin.small_host(), exported.parent) == (), "it is found again"


def test_an_export_takes_no_file_away_that_holds_what_it_lacks(exported: Path, tmp_path: Path) -> None:
    """Another boat's export, one made before a hull file was damaged, and what a person typed, all called job.json."""
    with HullFolder(tmp_path / "shop") as shop:
        boat = open_hull(shop, HULL)
        assert export_job(shop, boat, JOB, exported.parent) == exported, "the same again"
        held = json.loads(exported.read_text())
        poorer = json.dumps({**held, "entries": held["entries"][1:]})
        for there, lost in ((poorer, ""), (job_text("typed"), "no export wrote"), ("{", "no export wrote")):
            exported.write_text(there)
            if not lost:
                export_job(shop, boat, JOB, exported.parent)
                assert json.loads(exported.read_text()) == held
                continue
            with pytest.raises(InputError, match=lost):
                export_job(shop, boat, JOB, exported.parent)
            assert exported.read_text() == there
    with HullFolder(tmp_path / "elsewhere") as shop:
        import_job(shop, parse_job_file(job_text("5"), "test"), tmp_path, tablet("b").author)
        exported.write_text(json.dumps(held))
        with pytest.raises(InputError, match=r"\d+ entries that this export lacks.*name another folder"):
            export_job(shop, open_hull(shop, HULL), JOB, exported.parent)
        assert json.loads(exported.read_text()) == held


def test_a_recording_is_exported_under_the_name_it_came_with(exported: Path) -> None:
    files = {file.name: file.read_bytes() for file in exported.parent.iterdir() if file != exported}
    assert files == {f"sea trial-{HASH[:8]}.csv": LOG}


def test_the_exported_job_is_judged_with_its_recording(exported: Path) -> None:
    job = read_job_file(exported)
    assert check(job, small_plugin.small_host(), exported.parent) == ()
    recording = view_of(job, exported.parent).recording(STEP, FIELD)
    assert recording is not None
    assert sum(map(len, recording.streams.values())) == 2


def test_taken_in_elsewhere_it_is_the_same_attachment(exported: Path, tmp_path: Path) -> None:
    with HullFolder(tmp_path / "there") as there:
        import_job(there, read_job_file(exported), exported.parent, tablet("office").author)
        assert there.attachments.get(HASH) == LOG


def test_taken_in_as_typed_anew_it_keeps_file_and_name(exported: Path, tmp_path: Path) -> None:
    plain = json.loads(exported.read_text(encoding="utf-8"))
    del plain["entries"]
    with HullFolder(tmp_path / "there") as there:
        import_job(there, parse_job_file(json.dumps(plain), "test"), exported.parent, tablet("office").author)
        (measurement,) = open_hull(there, HULL).view(JOB).measurements
        assert measurement.value == {"file": HASH, "name": "sea trial.csv"}
        assert there.attachments.get(HASH) == LOG


def test_taken_in_as_typed_anew_a_replay_keeps_its_mark(tmp_path: Path) -> None:
    (tmp_path / "sea trial.csv").write_bytes(LOG)
    text = job_text({"file": "sea trial.csv", "origin": "replay", "name": "a run of another boat"})
    with HullFolder(tmp_path / "shop") as shop:
        import_job(shop, parse_job_file(text, "test"), tmp_path, tablet("a").author)
        (measurement,) = open_hull(shop, HULL).view(JOB).measurements
        assert measurement.value == {"file": HASH, "origin": "replay", "name": "a run of another boat"}


def test_what_a_check_says_of_a_recording_names_it_as_the_person_does(exported: Path, tmp_path: Path) -> None:
    with HullFolder(tmp_path / "shop", read_only=True) as shop:
        recording = open_hull(shop, HULL).view(JOB, recordings_of(shop)).recording(STEP, FIELD)
    assert recording is not None
    assert recording.name == "sea trial.csv"


@pytest.mark.parametrize("name", ["../../etc/x.log", "C:\\x.log", "..", "", ".hidden", "a/b/c.log", "x" * 300 + ".log"])
def test_no_name_reaches_out_of_the_folder(name: str) -> None:
    """Names come from other people's tablets."""
    made = exported_name(HASH, name)
    assert Path(made).name == made
    assert made not in ("", ".", "..")
    assert not set(made) & set("/\\:")
    assert len(made) < 100


def test_a_recording_changed_on_the_disk_is_not_judged(exported: Path, tmp_path: Path) -> None:
    """With one digit changed it still reads, as another recording."""
    assert exported
    kept = tmp_path / "shop" / "attachments" / HASH
    kept.write_bytes(LOG.replace(b"5810", b"5910"))
    with HullFolder(tmp_path / "shop", read_only=True) as shop:
        with pytest.raises(NotEnoughData, match="was damaged on the disk") as told:
            recordings_of(shop)(HASH)
        assert [one.lack for one in told.value.missing] == [Lack.UNREADABLE]
        assert len(shop.attachments.damage) == 1
    with HullFolder(tmp_path / "shop") as shop, pytest.raises(NotEnoughData, match="was damaged"):
        recordings_of(shop)(HASH)
    assert not kept.exists(), "it is set aside, so that a merge brings it again"
