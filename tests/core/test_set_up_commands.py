"""A boat set up in the office: begun from a template or another boat, its circuits from a table."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from garboard.commands import templates
from garboard.demo.samples_folder import sample_jobs_folder
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError, in_words
from garboard.history.authoring import Author
from garboard.history.boat import open_hull
from garboard.history.exchange import import_job
from garboard.job_files.job_file import read_job_file
from garboard.records import Vessel
from garboard.report.terminal import Tools
from run_program import run as run_program

SALTGRASS, NEW = "QQZ04417D626", "XYZAB123F526"


def run(command: str, *arguments: object) -> str:
    found = getattr(templates, command)
    result = CliRunner().invoke(found, [*map(str, arguments)], obj=Tools(), catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    job = sample_jobs_folder() / "saltgrass" / "job.json"
    with HullFolder(tmp_path / "boats") as hulls:
        import_job(hulls, read_job_file(job), job.parent, Author("office", "T. Quill"))
    return tmp_path / "boats"


def vessel(folder: Path, hull: str) -> Vessel:
    with HullFolder(folder, read_only=True) as hulls:
        return open_hull(hulls, hull).vessel()


def entries(folder: Path) -> int:
    with HullFolder(folder, read_only=True) as hulls:
        return sum(hulls.count(hull) for hull in hulls.hulls())


def names(folder: Path, hull: str) -> list[str]:
    return [one.name for one in vessel(folder, hull).circuits]


def test_a_boat_begun_from_a_template_and_one_begun_like_the_boat_have_the_same_equipment(folder: Path) -> None:
    assert "No template is kept" in run("command", "list", folder)
    assert "Bay boat is kept" in run("command", "keep", folder, SALTGRASS, "Bay boat", "--by", "M. Office")
    assert "kept already" in run("command", "keep", folder, SALTGRASS, "Bay  boat", "--by", "M. Office")
    assert "kept by M. Office" in run("command", "list", folder)
    said = run("begin", folder, NEW, "--template", "bay boat", "--by", "M. Office", "--owner", "A. Marsh")
    assert "is open" in said
    run("begin", folder, "XYZAB124F526", "--like", SALTGRASS, "--by", "M. Office")
    assert names(folder, NEW) == names(folder, "XYZAB124F526") == names(folder, SALTGRASS)
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, NEW)
        (job,) = boat.jobs
        assert boat.view(job).job.owner == "A. Marsh"
    assert run("begin", folder, NEW, "--template", "Bay boat", "--by", "M. Office").endswith(
        "it has a job already; 0 facts taken over\n"
    )
    assert "taken back" in run("command", "drop", folder, "Bay boat", "--reason", "sold no more", "--by", "M. Office")
    assert names(folder, NEW) == names(folder, SALTGRASS)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((NEW,), "one of the two, got neither"),
        ((NEW, "--template", "x", "--like", SALTGRASS), "one of the two, got both"),
        ((NEW, "--template", "Bay boat"), "none is kept"),
        ((NEW, "--like", "QQZ09999A626"), SALTGRASS),
        (("XYZ", "--like", SALTGRASS), "12 characters"),
    ],
)
def test_what_cannot_be_begun_is_refused_and_nothing_is_written(
    folder: Path, arguments: tuple[str, ...], told: str
) -> None:
    before = entries(folder)
    with pytest.raises(InputError) as refused:
        run("begin", folder, *arguments, "--by", "M. Office")
    assert told in in_words(refused.value)
    assert entries(folder) == before


def test_circuits_go_out_as_a_table_and_come_back_changed(folder: Path, tmp_path: Path) -> None:
    table, before = tmp_path / "circuits.csv", entries(folder)
    assert "7 circuits" in run("circuits", folder, SALTGRASS, "-o", table)
    assert "0 facts changed" in run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert entries(folder) == before
    table.write_bytes("name;length\r\nVHF radio;8 ft\r\nHorn\u2019s relay;3 ft\r\n".encode("cp1252"))
    assert "2 circuits in the table; 3 facts changed" in run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    found = {one.name: one for one in vessel(folder, SALTGRASS).circuits}
    assert (str(found["VHF radio"].length), found["VHF radio"].conductor_awg) == ("8 ft", "14")
    assert str(found["Horn\u2019s relay"].length) == "3 ft"


@pytest.mark.parametrize("spelled", ["vhf radio", "VHF  radio", "VHF\u00a0radio", '"VHF\nradio"', "\uff36HF radio"])
def test_a_circuit_a_spreadsheet_spelled_in_another_way_is_no_new_one(
    folder: Path, tmp_path: Path, spelled: str
) -> None:
    table, before = tmp_path / "circuits.csv", names(folder, SALTGRASS)
    table.write_text(f"name,length\n{spelled},8 ft\n", encoding="utf-8")
    run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert names(folder, SALTGRASS) == before
    assert str(vessel(folder, SALTGRASS).pieces["circuits"]["VHF radio"].length) == "8 ft"


def test_one_circuit_in_two_spellings_is_told_and_two_of_the_boat_stay_two(folder: Path, tmp_path: Path) -> None:
    table, before = tmp_path / "circuits.csv", entries(folder)
    for rows in ("VHF radio,8 ft\nvhf radio,9 ft", "Ku\u0308hler,1 ft\nK\u00fchler,2 ft", "horn,1 ft\nHorn,2 ft"):
        table.write_text(f"name,length\n{rows}\n", encoding="utf-8")
        with pytest.raises(InputError, match="each circuit once, in one spelling"):
            run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert entries(folder) == before
    with HullFolder(folder) as hulls:
        state = open_hull(hulls, SALTGRASS).state
        hulls.save(Author("a", "a").write(state, "field", ("circuits", "vhf radio", "length"), "1 ft"))
    table.write_text("name,length\nVHF radio,8 ft\nvhf radio,9 ft\n")
    run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    found = vessel(folder, SALTGRASS).pieces["circuits"]
    assert [str(found[name].length) for name in ("VHF radio", "vhf radio")] == ["8 ft", "9 ft"]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be", "utf-8-sig"])
def test_a_spreadsheets_unicode_text_is_read(folder: Path, tmp_path: Path, encoding: str) -> None:
    """Tabs between the cells, two bytes a letter and a mark in front (RFC 2781, 3.2)."""
    table = tmp_path / "circuits.txt"
    mark = "\ufeff" if encoding == "utf-16-be" else ""
    table.write_bytes(f"{mark}name\tlength\r\nVHF radio\t8 ft\r\n".encode(encoding))
    run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert str(vessel(folder, SALTGRASS).pieces["circuits"]["VHF radio"].length) == "8 ft"


def test_a_table_with_a_fault_changes_nothing(folder: Path, tmp_path: Path) -> None:
    table, before = tmp_path / "circuits.csv", entries(folder)
    table.write_text("name,length\nVHF radio,8 ft\nHorn,seven\n")
    with pytest.raises(InputError) as refused:
        run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert "line 3, length (Horn)" in in_words(refused.value)
    assert entries(folder) == before


def test_a_file_that_is_no_text_is_refused_and_no_name_is_made_up(folder: Path, tmp_path: Path) -> None:
    """81 and 8D stand for nothing in Windows-1252 (its table, from memory), nor in UTF-8 where they are."""
    table, before = tmp_path / "circuits.csv", entries(folder)
    table.write_bytes(b"name,length\nH\x81\x8drn,8 ft\n")
    with pytest.raises(InputError, match="bytes that are none of them"):
        run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert entries(folder) == before


def test_a_table_decides_nothing_that_disagrees(folder: Path, tmp_path: Path) -> None:
    subject = ("circuits", "VHF radio", "length")
    with HullFolder(folder) as hulls:
        state = open_hull(hulls, SALTGRASS).state
        two = [
            Author(name, name).write(state, "field", subject, length) for name, length in (("a", "5 ft"), ("b", "6 ft"))
        ]
        hulls.put_if_absent(SALTGRASS, two)
    table, before = tmp_path / "circuits.csv", entries(folder)
    table.write_text("name,length\nVHF radio,8 ft\nHorn,3 ft\n")
    with pytest.raises(InputError, match="settle them first"):
        run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert entries(folder) == before


def test_a_removed_circuit_that_stands_in_the_table_comes_back(folder: Path, tmp_path: Path) -> None:
    with HullFolder(folder) as hulls:
        state = open_hull(hulls, SALTGRASS).state
        hulls.save(Author("a", "a").write(state, "field", ("circuits", "VHF radio", "removed"), True))
    assert "VHF radio" not in names(folder, SALTGRASS)
    table = tmp_path / "circuits.csv"
    table.write_text("name,length\nVHF radio,8 ft\n")
    run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    assert "VHF radio" in names(folder, SALTGRASS)
    assert "0 facts changed" in run("circuits", folder, SALTGRASS, table, "--by", "M. Office"), "it is back already"


def test_a_table_of_another_boat_prints_no_label_here(folder: Path, tmp_path: Path) -> None:
    """Else what was never printed is said to be, and an older table would take a newer label back."""
    table = tmp_path / "circuits.csv"
    table.write_text("name,label\nVHF radio,4 | VHF radio | breaker 10 A\nBilge pump,my own words\n")
    run("circuits", folder, SALTGRASS, table, "--by", "M. Office")
    found = {one.name: one.label for one in vessel(folder, SALTGRASS).circuits}
    assert (found["VHF radio"], found["Bilge pump"]) == ("", "my own words")


@pytest.mark.parametrize(
    ("key", "told"),
    [("wiring_audit.circuts", "perhaps wiring_audit.circuits"), ("zzz", "'garboard steps' lists them")],
)
def test_a_misspelled_step_is_told_with_those_nearly_so(key: str, told: str) -> None:
    """All the keys there are stood in one line of a thousand letters."""
    (fault,) = [line for line in run_program("steps", key).stderr.splitlines() if "STEP" in line]
    assert told in fault
    assert len(fault) < 200
