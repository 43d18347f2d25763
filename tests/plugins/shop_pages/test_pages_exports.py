"""What leaves the pages: measurements for a spreadsheet, and the handover book."""

from __future__ import annotations

import csv
from decimal import Decimal
from io import BytesIO, StringIO

import pytest
from pypdf import PdfReader

from garboard.disk.clock import Stamp
from garboard.disk.entries import make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.report.visible import visible
from garboard_shop.pages.exports import HEADINGS, as_csv, as_workbook
from pages_rig import KITTIWAKE, NOON, SALTGRASS, Browser, Pages, words_of
from printed import printed_words

FORMULAS = (
    "=HYPERLINK(1)",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\tx",
    " =1+1",
    "\u00a0\u3000+1+1",
    "\n=1+1",
    "\u200b=1+1",
    "\ufeff@SUM(A1)",
    "\uff1d1+1",
    " \uff0b1+1",
    "\uff0d1+1",
    "\uff20SUM(A1)",
    "\ufe66 1",
)
HARMLESS = ("-4.5 deg", " -4.5 deg", "5 + 3 = 8", "(=1)", "Anna@bow", "a-b", "\u22124 deg", "12 V; 3 A", "")


def rows_in(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(text, newline="")))


def put_value(
    pages: Pages, value: str, step: str = "shop.own", field: str = "remark", row: str = "", of: str = ""
) -> None:
    entry = make_entry(
        "measure",
        SALTGRASS,
        dev="tablet 9",
        by="=A. Hand",
        clock=Stamp(NOON, 0),
        at="2026-11-25T11:00:00+00:00",
        job="saltgrass-2026-05",
        subject=(step, field, row, of),
        value=value,
    )
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)


def test_a_boats_measurements_come_as_csv_with_number_and_unit_apart(manager: Browser) -> None:
    """The values are those typed in the sample job file; RFC 4180 for the form."""
    answer = manager.get(f"/measurements.csv?hull={SALTGRASS}")
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.text.splitlines()[0] == ",".join(HEADINGS)
    speeds = [
        row for row in rows_in(answer.text) if (row["step"], row["field"]) == ("prop_check.full_throttle", "speed")
    ]
    second = {
        (row["value"], row["number"], row["unit"], row["state"], row["by"]) for row in speeds if row["row"] == "2"
    }
    assert second == {
        ("31.9 kn", "31.9", "kn", "disagrees", "R. Vane"),
        ("31.4 kn", "31.4", "kn", "disagrees", "N. Sorrel"),
    }
    assert {row["state"] for row in speeds if row["row"] == "1"} == {"stands"}
    assert {row["vessel"] for row in speeds} == {"Saltgrass"}


def test_a_days_measurements_and_those_of_all_boats_hold_as_many_as_stand(pages: Pages, manager: Browser) -> None:
    today = rows_in(manager.text("/measurements.csv?day=2026-11-25&by=came"))
    everything = rows_in(manager.text("/measurements.csv"))
    standing = [
        entry
        for hull in pages.store.hulls.hulls()
        for state in [pages.desk.summaries.of(hull).boat.state]  # type: ignore[union-attr]
        for key in state.registers
        if key.kind == "measure"
        for entry in state.current(key)
    ]
    assert len(today) == len(everything) == len(standing) > 300
    entered = rows_in(manager.text("/measurements.csv?day=2026-05-14&by=entered"))
    assert {row["entered at"][:10] for row in entered} == {"2026-05-14"}


def test_text_that_a_spreadsheet_would_run_stays_text(pages: Pages, manager: Browser) -> None:
    for number, text in enumerate(FORMULAS):
        put_value(pages, text, row=str(number))
    rows = {
        row["row"]: row
        for row in rows_in(manager.text(f"/measurements.csv?hull={SALTGRASS}"))
        if row["step"] == "shop.own"
    }
    assert len(rows) == len(FORMULAS)
    from openpyxl import load_workbook

    sheet = load_workbook(BytesIO(manager.get(f"/measurements.xlsx?hull={SALTGRASS}").content)).active
    named = [dict(zip(HEADINGS, cells, strict=True)) for cells in sheet.iter_rows(min_row=2)]
    cells = {one["row"].value: one["value"] for one in named if one["step"].value == "shop.own"}
    for number, text in enumerate(FORMULAS):
        assert rows[str(number)]["value"] == f"'{text}", ascii(text)
        assert rows[str(number)]["by"] == "'=A. Hand"
        assert (cells[str(number)].data_type, cells[str(number)].value) == ("s", text), ascii(text)


@pytest.mark.parametrize("text", HARMLESS)
def test_text_that_begins_no_formula_is_left_as_it_is(text: str) -> None:
    assert "".join(as_csv([(text,)])).partition("\r\n")[2] in (f"{text}\r\n", '""\r\n')


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Salt\x1b[2Jgrass", "Salt\u241b[2Jgrass"),
        ("\r=1+1", "\u240d=1+1"),
        ("\x00=1+1", "\u2400=1+1"),
        ("gone \u202exet", "gone \\u202exet"),
        ("a\u2028b\x85", "a\\u2028b\\u0085"),
        ("x;=1+1", "x;'=1+1"),
        ("x; @SUM(A1)", "x; '@SUM(A1)"),
        ("two\nlines", "two\nlines"),
    ],
)
def test_what_steers_is_a_mark_in_a_table_and_a_semicolon_begins_no_formula(text: str, shown: str) -> None:
    """The marks are those of Unicode's block of control pictures, from U+2400."""
    assert next(csv.reader(StringIO("".join([*as_csv([(text,)])][1:]), newline=""))) == [shown]
    from openpyxl import load_workbook

    cell = load_workbook(BytesIO(as_workbook([(text,)]))).active["A2"]
    assert cell.value == visible(text)


def test_a_negative_amount_is_no_formula(pages: Pages, manager: Browser) -> None:
    put_value(pages, "-4.5 deg")
    (row,) = [one for one in rows_in(manager.text(f"/measurements.csv?hull={SALTGRASS}")) if one["step"] == "shop.own"]
    assert (row["value"], row["number"], row["unit"]) == ("-4.5 deg", "-4.5", "deg")


def test_the_workbook_holds_numbers_as_numbers(manager: Browser) -> None:
    """Read back with openpyxl, which reads the workbook form of ISO/IEC 29500."""
    from openpyxl import load_workbook

    workbook = load_workbook(BytesIO(manager.get(f"/measurements.xlsx?hull={SALTGRASS}").content))
    rows = list(workbook.active.iter_rows(values_only=True))
    assert rows[0] == HEADINGS
    named = [dict(zip(HEADINGS, row, strict=True)) for row in rows[1:]]
    speeds = [one["number"] for one in named if (one["field"], one["row"]) == ("speed", "2")]
    assert sorted(map(Decimal, map(str, speeds))) == [Decimal("31.4"), Decimal("31.9")]
    assert all(isinstance(speed, int | float) for speed in speeds)


def test_the_handover_book_is_a_pdf_of_this_boat(manager: Browser) -> None:
    answer = manager.get(f"/boats/{KITTIWAKE}/jobs/kittiwake-2026-05/book.pdf?paper=A4")
    assert answer.headers["content-type"] == "application/pdf"
    assert "kittiwake-2026-05-handover-book.pdf" in answer.headers["content-disposition"]
    book = PdfReader(BytesIO(answer.content))
    assert "Kittiwake" in book.pages[0].extract_text()
    assert KITTIWAKE in book.pages[0].extract_text()
    width, height = (float(side) / 72 * 25.4 for side in book.pages[0].mediabox[2:])
    assert (round(width), round(height)) == (210, 297)  # ISO 216


def test_the_book_changes_with_the_boat_and_what_steers_is_a_mark_in_it_and_on_the_page(
    pages: Pages, manager: Browser
) -> None:
    path = f"/boats/{SALTGRASS}/jobs/saltgrass-2026-05/book.pdf"
    before = manager.get(path).content
    assert manager.get(path).content == before
    put_value(pages, "x")
    entry = make_entry(
        "note",
        SALTGRASS,
        dev="tablet 9",
        by="A. Hand",
        clock=Stamp(NOON, 0),
        at="2026-11-25T11:00:00+00:00",
        job="saltgrass-2026-05",
        subject=("n1",),
        value={"text": "Loose\x1b[2J cleat \u202eforward", "punch_list": True},
    )
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    printed = printed_words(manager.get(path).content)
    assert "Loose\\u001b[2J cleat \\u202eforward" in printed
    shown = manager.text(f"/boats/{SALTGRASS}")
    assert "Loose\u241b[2J cleat \\u202eforward" in words_of(shown)
    assert not {"\x1b", "\u202e"}.intersection(shown)


def test_a_reading_of_an_engine_the_boat_does_not_have_is_marked(pages: Pages, manager: Browser) -> None:
    """In the table and on the boat's page; the others stand as before."""
    place = ("prop_check.full_throttle", "engine_speed", "1", "port")
    put_value(pages, "5800 rev/min", *place)
    rows = rows_in(manager.text(f"/measurements.csv?hull={SALTGRASS}"))
    marked = {row["of"]: row["state"] for row in rows if "not used" in row["state"]}
    assert marked == {"port": "not used: no port engine on this boat"}
    assert manager.text(f"/boats/{SALTGRASS}").count("not used: no port engine on this boat") == 1
