"""Names that others wrote reach the terminal as text, and cannot steer it."""

from __future__ import annotations

import io
import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from garboard.commands.cli import program
from garboard.disk.clock import Stamp
from garboard.disk.entries import make_entry
from garboard.disk.hullfile import HullFolder
from garboard.findings import Axis, Band, Figure, Marker, Series
from garboard.hosting.host import make_host
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from garboard.report.book import handover_book
from garboard.report.figures import figure_bytes
from garboard.report.terminal import Tools
from garboard.report.visible import visible, visible_name, visible_output

JOB = {
    "format": "garboard job",
    "version": 1,
    "vessel": {"hull_number": "QQZ04417D626"},
    "job": {"id": "J-1"},
}

TITLE, CLEAR = "\x1b]0;gone\x07", "\x9b2J"
STEERING = ["\x1b", "\x07", "\x08", "\r", "\x7f", "\x9b", "\u202e", "\u2066"]


@pytest.mark.parametrize("character", STEERING)
def test_what_steers_a_terminal_becomes_a_mark(character: str) -> None:
    shown = visible(f"Salt{character}grass")
    assert character not in shown
    assert shown.startswith("Salt")
    assert len(shown) > len("Saltgrass")


def test_other_text_is_left_as_it_is_and_a_name_stands_on_one_line() -> None:
    assert visible("15.6 °C, “fair”\n\tline two") == "15.6 °C, “fair”\n\tline two"
    assert visible_name("Salt\ngrass") == "Salt␤grass"


def test_paper_shows_marks_that_its_typeface_has_in_the_text_and_in_what_the_document_is_called() -> None:
    """No glyph for control pictures, so a mark is spelled out."""
    job = JobView(
        vessel=Vessel(hull_number="QQZ\x00", name="Salt\x1b\ngrass"),
        job=Job(id="j", shop="\u202eshop", owner="Salt\x1b[2Jgrass\u202e", technicians=("Tag\x9b2J",)),
    )
    read = PdfReader(io.BytesIO(handover_book(job, make_host((), entry_points=False), ())))
    text = read.pages[0].extract_text().replace("\u200b", "")  # where a long word may be broken
    assert "Salt\\u001b[2Jgrass\\u202e" in text
    assert "Tag\\u009b2J" in text
    assert "QQZ\\u0000" in text
    assert read.metadata is not None
    assert read.metadata.title == "Handover book of Salt\\u001b grass, draft"
    assert read.metadata.author == "\\u202eshop"


def test_a_figure_is_drawn_whatever_a_name_in_it_holds() -> None:
    """A dollar sign begins no formula of the drawing library, and nothing stands in the SVG that XML forbids."""
    name = "$\\bad{$ Salt\x1b\u202egrass \x00"
    one = Series(name, (1.0, 2.0), (3.0, 4.0))
    bands, markers = (Band(name, "x", 1.0, 2.0),), (Marker(name, 1.0, 3.0),)
    figure = Figure(name, Axis("x"), Axis("y"), (one, one), bands=bands, markers=markers)
    drawn = figure_bytes(figure, "svg").decode()
    assert len(ElementTree.fromstring(drawn)) > 0
    assert not {"\x1b", "\u202e", "\x00"}.intersection(drawn)


def test_a_line_break_in_a_value_forges_no_line_of_a_listing(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as folder:
        folder.save(
            make_entry(
                "field",
                "QQZ04417D626",
                dev="a",
                by="Ines",
                clock=Stamp(1, 0),
                at="2026-05-14T12:00:00+02:00",
                job="",
                subject=["name"],
                value="Saltgrass\n  signed by manager/Ines",
            )
        )
        folder.save(
            make_entry(
                "job",
                "QQZ04417D626",
                dev="a",
                by="Ines",
                clock=Stamp(2, 0),
                at="2026-05-14T12:00:00+02:00",
                job="J-1",
                subject=["kind"],
                value="new rigging",
            )
        )
    done = CliRunner().invoke(program, ["show", str(tmp_path), "QQZ04417D626"])
    assert done.exit_code == 0, done.output
    assert "Saltgrass\u2424  signed by manager/Ines" in done.output
    assert not [line for line in done.output.splitlines() if line.startswith("  signed by")]


def test_the_console_shows_the_marks_and_keeps_its_own_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    console = Tools().console()
    console.file = out = io.StringIO()
    console.print("Salt\x1b[2Jgrass", style="bold")
    assert out.getvalue() == "\x1b[1mSalt␛[2Jgrass\x1b[0m\n"


def test_what_is_printed_within_is_visible(capsys: pytest.CaptureFixture[str]) -> None:
    with visible_output():
        print(f"Salt{TITLE}grass")
    print("\x1b")
    assert capsys.readouterr().out == "Salt␛]0;gone␇grass\n\x1b\n"


@pytest.mark.parametrize("place", ["name", "hull_number"])
def test_assess_shows_a_name_that_steers_by_its_marks(tmp_path: Path, place: str) -> None:
    plain = json.loads(json.dumps(JOB))
    plain["vessel"][place] = f"Salt{TITLE}{CLEAR}\ngrass"
    (tmp_path / "job.json").write_text(json.dumps(plain), encoding="utf-8")
    done = CliRunner().invoke(program, ["assess", str(tmp_path / "job.json")])
    assert "Salt␛]0;gone␇\\u009b2J␤grass" in done.output
    assert not {"\x1b", "\x07", "\x9b"} & set(done.output)


def test_a_fault_shows_the_name_of_its_file_by_its_marks(tmp_path: Path) -> None:
    done = CliRunner().invoke(program, ["assess", str(tmp_path / f"no{TITLE}.json")])
    assert done.exit_code == 2
    assert "no␛]0;gone␇.json" in done.stderr
