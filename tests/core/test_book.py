"""The handover book: everything the owner needs, on pages that hold together."""

import itertools
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import attrs
import pytest
from PIL import ImageFont
from pypdf import PdfReader

import small_plugin
from book_tags import structure_of
from garboard.commands.book import photos_at
from garboard.demo.samples_folder import sample_job_files
from garboard.faults import InputError
from garboard.findings import (
    Axis,
    Band,
    Basis,
    BasisKind,
    Figure,
    Finding,
    Limit,
    Marker,
    Number,
    Series,
    Table,
    Verdict,
)
from garboard.history.plans import SetAside
from garboard.hooks import hookimpl
from garboard.hosting.cut import LONGEST_NAME, LONGEST_TEXT, MOST_COLUMNS
from garboard.hosting.failures import PluginProblem
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.titles import place_in_words
from garboard.job_view import JobView
from garboard.judging.assessing import AssessedJob, assess_job_file
from garboard.owner_pages import REFERENCE as REFERENCE_MARK
from garboard.owner_pages import Digits, card_of, key_of, page_of
from garboard.records import Measurement, Note, SignOff, StepState
from garboard.report import press
from garboard.report.as_typed import block_as_typed
from garboard.report.book import handover_book
from garboard.report.drawn_signatures import DrawnSignatures
from garboard.report.outline import HandOver, cautions, date_in_words, still_aside
from garboard.report.owner import card_sheets
from garboard.report.photos import no_photo
from garboard.report.press import BookRefused, NotTypeset, pressed
from garboard.report.record import _runs, _signatures
from garboard.report.type_faces import FOLDER, breakable, held, printable
from garboard.steps import COVER, YOUR_BOAT, Assessed, Block, Calculator, ReportSection
from printed import Piece, page_texts, pieces_of

POINTS_PER_MILLIMETRE = 72 / 25.4
HULL = "ABC12345C393"
SECTIONS = 22


def book_of(view: JobView, host: PluginHost | None = None, size: str = "letter") -> bytes:
    host = host or small_plugin.small_host()
    return handover_book(view, host, host.assess(view), size)


@lru_cache(maxsize=1)
def small_book() -> bytes:
    return book_of(small_plugin.small_view(Path()))


def reader_of(content: bytes) -> PdfReader:
    return PdfReader(BytesIO(content))


def on_one_line(text: str) -> str:
    return " ".join(text.replace("\u200b", "").split())


def whole(content: bytes) -> str:
    return on_one_line(" ".join(page_texts(content)))


@pytest.fixture
def view(tmp_path: Path) -> JobView:
    return small_plugin.small_view(tmp_path)


@pytest.mark.parametrize(
    "expected",
    [
        *("HANDOVER BOOK", "Señora Åse", HULL, "An Owner", "14 May 2026", "Dock 3", "Test shop", "T. Ryggare"),
        *("Contents", "How to read it", "Cautions", "Cover your ears before the horn sounds."),
        *("Vessel and equipment", "Engines", "150 hp", "Propellers", "14.5 x 17 in", "Batteries", "AGM", "14 AWG"),
        *("Speed", "How fast it goes", "4800 ± 20 rev/min", "Runs"),
        *("Sound the horn", "Not heard from the dock. Look at its fuse first."),
        *("battery at rest 12.65 ± 0.05 V", "Punch list", "Fog came in. (look again)", "Signatures"),
        *("Technician, T. Ryggare, signed on screen, 15 May 2026", "Owner, An Owner, signature and date"),
        *("What this book rests on", "An invented rule of the test shop (common practice, no source)", "small 3"),
    ],
)
def test_the_book_says(expected: str) -> None:
    assert expected in whole(small_book())


def test_the_hull_number_is_on_every_page_and_pages_are_numbered() -> None:
    pages = page_texts(small_book())
    assert len(pages) > 3
    assert HULL in pages[0]
    for number, page in enumerate(pages[1:], start=2):
        foot = on_one_line(page)
        assert f"Hull number {HULL}" in foot
        assert f"page {number} of {len(pages)}" in foot


def test_the_contents_name_every_chapter_with_its_page() -> None:
    reader: Any = reader_of(small_book())
    page = next(page for page in page_texts(small_book()) if page.startswith("Contents"))
    contents = re.sub(r"(\. )+", "", on_one_line(page))
    chapters = chapters_of(reader)
    assert len(chapters) >= 7
    for chapter in chapters:
        assert f"{chapter.title} {reader.get_destination_page_number(chapter) + 1}" in contents


def chapters_of(reader: Any) -> list[Any]:
    """The bookmarks of chapters of the Record, the second part."""
    return [entry for entry in reader.outline[-1] if not isinstance(entry, list)]


def test_bookmarks_lead_to_the_page_the_chapter_stands_on() -> None:
    reader: Any = reader_of(small_book())
    for entry in chapters_of(reader):
        assert entry.title in page_texts(small_book())[reader.get_destination_page_number(entry)]


def test_cautions_come_before_everything_done_on_the_water() -> None:
    assert chapters_of(reader_of(small_book()))[0].title == "1 Cautions"


def test_the_document_has_title_language_author_and_the_jobs_date() -> None:
    reader: Any = reader_of(small_book())
    assert reader.metadata.title == "Handover book of Señora Åse, draft"
    assert reader.metadata.author == "Test shop"
    assert HULL in reader.metadata.subject
    assert reader.metadata.creation_date == datetime(2026, 5, 14, tzinfo=UTC)
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/DisplayDocTitle"]


def test_the_book_is_tagged_whole_headings_tables_with_heads_and_figures_in_words() -> None:
    tree = structure_of(small_book())
    counted = Counter(tag for tag, _, _ in tree)
    assert counted["/H1"] == 2, "the boat's name, and Record"
    assert counted["/H2"] >= 7
    assert min(counted["/P"], counted["/Table"], counted["/TD"]) > 1
    assert all(scope == "/Column" for tag, _, scope in tree if tag == "/TH")
    assert counted["/TH"] > counted["/Table"]
    assert counted["/L"] >= 2, "the cautions, and what the book rests on"
    assert (
        counted["/LI"]
        == counted["/Lbl"]
        == counted["/LBody"]
        >= len(cautions(small_plugin.small_view(Path()), small_plugin.small_host()))
    )
    assert all(alt for tag, alt, _ in tree if tag == "/Figure")
    said = "Speed by engine speed. Speed over ground [kn] against Engine speed [rev/min]"
    assert sum(said in alt for _, alt, _ in tree) == 1, "the section prints it, and both findings carry the same one"


def test_every_table_has_heads_with_a_column_each() -> None:
    heads: list[int] = []
    for tag, _, scope in sample_tags():
        if tag == "/Table":
            heads.append(0)
        elif tag == "/TH":
            assert scope == "/Column"
            heads[-1] += 1
    assert len(heads) > 40
    assert min(heads) >= 2


def test_days_are_printed_in_one_form() -> None:
    assert not re.findall(r"\b\d{4}-\d\d-\d\d\b", whole(sample_book()))
    assert "15 June 2026" in whole(sample_book())


def test_a_finding_that_a_section_tells_is_not_told_again_under_its_step() -> None:
    assert whole(sample_book()).count("gal/h (40 % of the time idling)") == 1


@pytest.mark.parametrize("sign", [r"\bdeg[CF]?\b", r"(?<![\w.,-])-\d", r"[-+\u2212]0\.0+(?!\d)"])
def test_signs_are_those_people_write(sign: str) -> None:
    """Degrees, a real minus, no sign before zero; "2-3" in a book's pages is a range."""
    assert not re.findall(sign, whole(sample_book()))


def test_fuses_and_breakers_are_told_in_one_form() -> None:
    text = whole(sample_book())
    for circuit in sample_job()[0].view.vessel.circuits:
        assert text.count(f"{circuit.protection_rating} {circuit.protection}") >= 3, circuit.name
        assert f"{circuit.protection} {circuit.protection_rating}" not in text, circuit.name


def test_nothing_in_the_record_is_smaller_than_eight_points_but_the_foot() -> None:
    for page in pieces_of(sample_book())[8:]:
        small = {(on_one_line(piece.text), piece.size) for piece in page if piece.text.strip() and piece.size < 8}
        assert {size for _, size in small} == {7.5}, small
        assert len(small) <= 4, small


def test_a_number_its_sentence_names_is_not_printed_again(view: JobView) -> None:
    def finding(sentence: str) -> Finding:
        numbers = (
            Number("drop", 2.79, "%", 0.21),
            Number("loss", -3.84, "deg", 2.4),
            Number("most", 10.0, "%", decimals=0),
        )
        basis = (small_plugin.PRACTICE,)
        return Finding(verdict=Verdict.ADVISE, about="pump", sentence=sentence, basis=basis, numbers=numbers)

    text = whole(
        book_of(view, host_with_section(lambda view, assessed: [], finding("Drop 2.8 ± 0.2 %, 10 % allowed.")))
    )
    assert "10 % allowed. loss −3.8 ± 2.4°" in text
    assert "drop 2.8 ± 0.2 %" not in text
    text = whole(book_of(view, host_with_section(lambda view, assessed: [], finding("Drop 2.8 %, 110 % of it."))))
    assert "of it. drop 2.8 ± 0.2 %; loss −3.8 ± 2.4°; most 10 %" in text


def test_what_is_numbered_is_a_list_to_a_reader_that_speaks_it() -> None:
    """Cautions for the owner and in the Record, what to try, two lists of places, call-outs of two photos, bases."""
    tags = [tag for tag, _, _ in sample_tags()]
    assert tags.count("/L") == 8
    assert tags.count("/LI") > 150


def test_headings_go_down_a_level_at_a_time() -> None:
    """ISO 14289-1:2014, 7.4.2: no level is left out."""
    levels = [int(tag[2:]) for tag, _, _ in sample_tags() if re.fullmatch(r"/H\d", tag)]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_a_shops_own_typeface_sets_what_the_books_lack(view: JobView, tmp_path: Path) -> None:
    from fontTools.ttLib import TTFont

    made = TTFont(FOLDER / "Roboto-Regular.ttf")
    letter = made.getBestCmap()[ord("A")]
    for table in made["cmap"].tables:
        table.cmap = {0x4E2D: letter} if table.isUnicode() else table.cmap
    for name in made["name"].names:
        name.string = "Shop" if name.nameID in (1, 4, 6, 16) else name.string
    made.save(tmp_path / "shop.ttf")
    named = attrs.evolve(view, vessel=attrs.evolve(view.vessel, name="\u4e2d"))
    host = small_plugin.small_host()
    text = whole(handover_book(named, host, (), fonts=tmp_path))
    assert "\u4e2d" in text
    assert "[U+4E2D]" not in text
    assert "[U+4E2D]" in whole(handover_book(named, host, ())), "the next book has none"
    (tmp_path / "broken.otf").write_bytes(b"no typeface")
    with pytest.raises(InputError, match=r"broken\.otf"):
        handover_book(named, host, (), fonts=tmp_path)


@pytest.mark.parametrize(
    "name", ["\u4e2d\u6587\u8239", "\U0001f6a4 Fast", "Bell\x07", "\ufeff", "#let x = [*", "\ud800"]
)
def test_no_book_fails_for_a_name(view: JobView, name: str) -> None:
    named = attrs.evolve(view, vessel=attrs.evolve(view.vessel, name=name), job=attrs.evolve(view.job, owner=name))
    text = whole(book_of(named))
    assert on_one_line(printable(name)) in text
    assert {"\u4e2d\u6587\u8239": "[U+4E2D][U+6587][U+8239]", "#let x = [*": "#let x = [*"}.get(name, "") in text


def test_the_number_of_a_section_is_printed_large() -> None:
    sizes = {
        on_one_line(piece.text): piece.size for page in reversed(pieces_of(small_book())) for piece in reversed(page)
    }
    assert sizes["40.0 ± 0.4 kn"] == 15
    assert sizes["at full throttle"] == 8


def test_the_fonts_travel_with_the_book() -> None:
    reader: Any = reader_of(small_book())
    fonts = {name: font.get_object() for page in reader.pages for name, font in page["/Resources"]["/Font"].items()}
    assert fonts
    for font in fonts.values():
        assert "Roboto" in font["/BaseFont"] or "B612" in font["/BaseFont"]
        described = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        assert "/FontFile2" in described or "/FontFile3" in described


def test_the_same_job_gives_the_same_bytes(view: JobView) -> None:
    assert book_of(view) == small_book()


def test_another_job_gives_other_bytes(view: JobView) -> None:
    assert book_of(attrs.evolve(view, job=attrs.evolve(view.job, owner="Somebody"))) != small_book()


@pytest.mark.parametrize(("size", "points"), [("letter", (612, 792)), ("A4", (595.28, 841.89))])
def test_paper_sizes(view: JobView, size: str, points: tuple[float, ...]) -> None:
    page = reader_of(book_of(view, size=size)).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(points, abs=0.5)


# Nothing outside the margins


@lru_cache
def _font(bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(FOLDER / ("Roboto-Bold.ttf" if bold else "Roboto-Regular.ttf")), 1000)


@lru_cache(maxsize=8)
def boxes(content: bytes) -> tuple[list[tuple[str, float, float, float, float]], ...]:
    """Words, left, top, right and baseline [mm from the upper left] of each piece of text, page by page.

    Places come from the file's matrices (ISO 32000-1:2008, 8.3.4), widths from the typeface, none from the book's code.
    """
    heights = [float(page.mediabox.height) for page in reader_of(content).pages]
    return tuple(
        [_box(piece, height) for piece in page if piece.text.strip()]
        for page, height in zip(pieces_of(content), heights, strict=True)
    )


def _box(piece: Piece, height: float) -> tuple[str, float, float, float, float]:
    text, size = piece.text, piece.size
    face = _font("Bold" in piece.typeface)
    x = piece.left + face.getlength(" " * (len(text) - len(text.lstrip(" ")))) * size / 1000
    width = face.getlength(text.strip()) * size / 1000
    sides = (x, height - piece.baseline - 0.7 * size, x + width, height - piece.baseline)
    return text.strip(), *(side / POINTS_PER_MILLIMETRE for side in sides)  # type: ignore[return-value]


WIDTH, HEIGHT = 215.9, 279.4
LEFT, TOP = 19.95, 17.0
"""Letter, and its margins [mm]."""


def assert_inside(content: bytes) -> None:
    for number, pieces in enumerate(boxes(content), start=1):
        assert pieces
        for text, left, top, right, bottom in pieces:
            assert left >= LEFT - 0.5, (number, text, left)
            assert right <= WIDTH - LEFT + 1.0, (number, text, right)
            assert top >= TOP - 1.5, (number, text, top)
            assert bottom <= HEIGHT - 10, (number, text, bottom)


def test_no_text_stands_outside_the_margins() -> None:
    assert_inside(small_book())


def many_words(count: int) -> str:
    return " ".join(f"word{number}" for number in range(count))


@lru_cache(maxsize=1)
def crowded_book() -> bytes:
    return book_of(crowded_view(small_plugin.small_view(Path())), crowded_host())


def crowded_view(view: JobView) -> JobView:
    """Long names everywhere, long words, many notes."""
    long_word = "Donaudampfschifffahrtsgesellschaftskapitänsmützenfabrikantenverein" * 3
    vessel = attrs.evolve(view.vessel, name=f"The {long_word} {many_words(20)}", maker=many_words(30))
    job = attrs.evolve(view.job, owner=many_words(40), technicians=tuple(f"Technician {n}" for n in range(30)))
    notes = tuple(Note(text=f"{number} {many_words(60)} {long_word}", punch_list=True) for number in range(40))
    sign_offs = tuple(SignOff(role="technician", name=many_words(12), stale=True) for _ in range(9))
    return attrs.evolve(view, vessel=vessel, job=job, notes=notes, sign_offs=sign_offs)


def crowded_host() -> PluginHost:
    module = ModuleType("crowded")
    basis = (small_plugin.PRACTICE,)
    wide = Table(
        "Wide",
        tuple(f"Heading number {number} [rev/min]" for number in range(9)),
        tuple(tuple(f"{row} {many_words(column)}" for column in range(9)) for row in range(12)),
    )
    findings = [
        Finding(
            verdict=verdict,
            about=many_words(9),
            sentence=many_words(150),
            basis=basis,
            numbers=() if verdict is Verdict.NOT_ENOUGH_DATA else tuple(Number(f"n{n}", 1.0, "kn") for n in range(12)),
            tables=(wide,),
        )
        for verdict in Verdict
        for _ in range(2)
    ]

    @hookimpl
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        register(Calculator(key="c.c", title="C", step="small.run", compute=lambda view: findings, basis=basis))

    @hookimpl
    def register_report_sections(register: Callable[[ReportSection], None]) -> None:
        for number in range(SECTIONS):
            register(
                ReportSection(
                    key=f"c.{number}", title=f"Section {number}", order=20, build=lambda v, a: [many_words(900), wide]
                )
            )

    vars(module).update(register_report_sections=register_report_sections, register_calculators=register_calculators)
    return make_host((), entry_points=False, modules={"small": small_plugin.small_module(), "crowded": module})


def test_no_text_stands_outside_the_margins_however_much_there_is() -> None:
    assert_inside(crowded_book())
    assert whole(crowded_book()).count("word899") == SECTIONS


def test_headings_of_a_table_repeat_on_every_page_it_reaches() -> None:
    """Twenty rows of words, too tall for a page."""
    tall = Table("Tall", ("Number", "What was seen"), tuple((f"row {n}", many_words(120)) for n in range(20)))
    book = book_of(small_plugin.small_view(Path()), host_with_section(lambda view, assessed: [tall]))
    with_rows = [on_one_line(text) for text in page_texts(book) if "row 1" in text or "row 19" in text]
    assert len(with_rows) >= 2
    for text in with_rows:
        assert "Number What was seen" in text


def test_a_long_narrow_table_is_set_in_groups_side_by_side() -> None:
    """80 rows of three short columns stand on one page, its headings over every group."""
    (page,) = [text for text in page_texts(small_book()) if "3950" in text]
    assert {"1050", "4000"} <= set(page.split())
    assert on_one_line(page).count("Run Engine speed") == 3


def test_a_card_stands_in_a_frame_of_its_own_with_the_vessels_name(view: JobView) -> None:
    """24 headings in two groups: 000 to 165 and 180 to 345 on the same lines."""
    rows = tuple((f"{heading:03d}", "+1.0") for heading in range(0, 360, 15))
    card = Table("Deviation card: helm", ("Compass", "East +"), rows, card=True)
    content = book_of(view, host_with_section(lambda view, assessed: [card]))
    reader: Any = reader_of(content)
    [place] = [place for place, text in enumerate(page_texts(content)) if card.title in text]
    base = {text.strip(): bottom for text, _, _, _, bottom in boxes(content)[place]}
    assert base["000"] == base["180"]
    assert base["165"] == base["345"]
    assert f"Señora Åse, hull number {HULL}, 14 May 2026" in on_one_line(page_texts(content)[place])
    drawn = reader.pages[place].get_contents().get_data()
    assert re.search(rb"\[5\.669\d* 4\.251\d*\]\s*0", drawn)  # dashes of 2 mm, 1.5 mm apart


def test_a_check_that_passes_takes_one_line(view: JobView) -> None:
    values = tuple(attrs.evolve(m, value=True) if m.field == "heard" else m for m in view.measurements)
    text = whole(book_of(attrs.evolve(view, measurements=values)))
    assert "pass Horn Heard from the dock. [1]" in text
    assert "battery at rest" not in text


def test_tables_no_section_shows_come_last_and_only_when_they_hold_a_number(view: JobView) -> None:
    words = Table("All tight", ("Circuit", "Tight"), (("Horn", "yes"),))
    numbers = Table("Drop", ("Circuit", "Drop [V]"), (("Horn", "0.21"),))
    finding = Finding(
        verdict=Verdict.PASS,
        about="Wiring",
        sentence="In order.",
        basis=(small_plugin.PRACTICE,),
        tables=(words, numbers),
    )
    text = whole(book_of(view, host_with_section(lambda view, assessed: [], finding)))
    assert "0.21" in text.partition("In order.")[2].partition("Table 3.1 Drop")[2]
    assert "All tight" not in text


def host_with_section(
    build: Callable[[JobView, Sequence[Assessed]], Sequence[Block]], *findings: Finding
) -> PluginHost:
    module = ModuleType("extra")

    @hookimpl
    def register_report_sections(register: Callable[[ReportSection], None]) -> None:
        register(ReportSection(key="extra.section", title="Extra", order=1, build=build))

    @hookimpl
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        basis = (small_plugin.PRACTICE,)
        register(Calculator(key="e.e", title="E", step="small.horn", compute=lambda view: findings, basis=basis))

    vars(module).update(register_report_sections=register_report_sections, register_calculators=register_calculators)
    return make_host((), entry_points=False, modules={"small": small_plugin.small_module(), "extra": module})


@lru_cache(maxsize=1)
def sample_job() -> tuple[AssessedJob, PluginHost, Path]:
    """The sample job with every check done."""
    file = next(file for file in sample_job_files() if file.parent.name == "kittiwake")
    host = make_host(entry_points=False)
    return assess_job_file(file, host), host, file


@lru_cache(maxsize=2)
def sample_book(size: str = "letter") -> bytes:
    job, host, file = sample_job()
    return handover_book(job.view, host, job.assessed, size, load_photo=photos_at(file))


@lru_cache(maxsize=1)
def sample_tags() -> list[tuple[str, str, str]]:
    return structure_of(sample_book())


OWNERS_PAGES = (
    "Before you go, and if it will not start",
    "At the helm",
    "Fuel and range",
    "Where things are",
    "Find these in the dark",
    "Care, and what you signed for",
    "Cards to cut out",
)


@lru_cache(maxsize=1)
def your_boat() -> Mapping[str, str]:
    """The text of the owner's pages of the sample book, by title; that of the cover under ""."""
    reader: Any = reader_of(sample_book())
    entries = {entry.title: reader.get_destination_page_number(entry) for entry in reader.outline[1]}
    return {title: on_one_line(page_texts(sample_book())[page]) for title, page in {"": 0, **entries}.items()}


def test_your_boat_comes_first_a_page_each_and_then_the_record() -> None:
    reader: Any = reader_of(sample_book())
    assert tuple(your_boat()) == ("", *OWNERS_PAGES)
    assert [reader.get_destination_page_number(entry) for entry in reader.outline[1]] == [2, 3, 4, 5, 6, 7, 8]
    assert (reader.outline[2].title, reader.get_destination_page_number(reader.outline[2])) == ("Record", 10)


@pytest.mark.parametrize("count", [1, 9, 24])
def test_cards_are_printed_on_the_front_of_a_sheet_whose_back_is_empty(count: int) -> None:
    """Printed on both sides, nothing is cut through: each sheet begins on an odd page, and the next holds nothing."""
    rows = tuple((f"{row}", "1") for row in range(10))
    sheets = [*card_sheets([Table(f"Card {one}", ("A", "B"), rows, card=True) for one in range(count)], "aboard")]
    assert sum(len(column) for sheet in sheets for part in sheet for column in part["columns"]) == count
    for sheet in sheets:
        assert all(sum(len(card["rows"]) + 6 for card in column) <= 50 for part in sheet for column in part["columns"])
    pages = [on_one_line(page) for page in page_texts(sample_book())]
    front = next(number for number, page in enumerate(pages, 1) if page.startswith("Cards to cut out"))
    assert front % 2 == 1
    assert pages[front].startswith("This page stays empty")


def test_a_card_of_many_long_rows_is_several_and_loses_none() -> None:
    """Of 43 rows of two lines the last ran over the foot and off the sheet."""
    rows = tuple((f"Circuit {row} of the after cockpit and all of its lights", "7.5 A") for row in range(43))
    sheets = [*card_sheets([Table("Fuses", ("Circuit", "Size"), rows, card=True)], "aboard")]
    cards = [card for sheet in sheets for part in sheet for column in part["columns"] for card in column]
    assert [card["title"] for card in cards] == [f"Fuses, {one} of {len(cards)}" for one in range(1, len(cards) + 1)]
    assert {card["key"] for card in cards} == {key_of("Fuses")}, "a reference leads to the first"
    found = Counter(cell for card in cards for row in card["rows"] for cell in row if cell.startswith("Circuit"))
    assert len(found) == 43
    assert set(found.values()) == {1}


def test_long_names_on_cards_are_counted_as_the_lines_they_take() -> None:
    """Titles and notes of four lines moved the last cards onto the back of their sheet."""
    rows = tuple((f"{row}", "1") for row in range(10))
    title = "Deviation card: the satellite compass on the hard top over the helm, " * 4
    long, short = ([Table(f"{name}{one}", ("A", "B"), rows, card=True) for one in range(6)] for name in (title, "C"))
    assert [len([*card_sheets(cards, "aboard")]) for cards in (long, short)] == [2, 1]


def test_many_sheets_of_cards_come_to_rest(view: JobView) -> None:
    """Sheets that each asked for their own page made the typesetter give up, and the boat had no book."""
    module = ModuleType("many")
    rows = tuple((f"{row}", "1") for row in range(12))
    cards = [Table(f"Card {one}", ("A", "B"), rows, card=True) for one in range(24)]

    @hookimpl
    def register_report_sections(register: Callable[[ReportSection], None]) -> None:
        told: list[Block] = [f"See {card_of('Card 0')} and {card_of('Card 23')}.", *cards]
        register(
            ReportSection(key="many.cards", title="Helm", order=1, part=YOUR_BOAT, build=lambda view, assessed: told)
        )

    vars(module).update(register_report_sections=register_report_sections)
    book = book_of(view, make_host((), entry_points=False, modules={"many": module}))
    pages = [on_one_line(page) for page in page_texts(book)]
    helm = next(page for page in pages if page.startswith("Helm See"))
    for card, page in re.findall(r"\u201c(Card \d+)\u201d on page (\d+)", helm):
        assert f"{card} Señora" in pages[int(page) - 1]
    fronts = [number for number, page in enumerate(pages, 1) if "Card 1" in page and "A B" in page]
    assert fronts
    assert all(number % 2 for number in fronts)


def test_hundreds_of_references_and_units_in_one_text_are_set(view: JobView) -> None:
    """A boat of 1600 circuits had 610 things in doubt, and a step referred to each: there was no book of it."""
    module = ModuleType("many")

    @hookimpl
    def register_report_sections(register: Callable[[ReportSection], None]) -> None:
        told: list[Block] = [f"See {card_of('Card 0')}. " * 600, "5 rev/min " * 600, Table("Card 0", ("A",), (("1",),))]
        register(
            ReportSection(key="many.cards", title="Helm", order=1, part=YOUR_BOAT, build=lambda view, assessed: told)
        )

    vars(module).update(register_report_sections=register_report_sections)
    book = book_of(view, make_host((), entry_points=False, modules={"many": module}))
    text = on_one_line(" ".join(page_texts(book)))
    assert (text.count("See \u201cCard 0\u201d"), text.count("5 rev/min")) == (600, 600)


def test_many_findings_that_follow_one_another_are_referred_to_by_the_first_and_the_last() -> None:
    runs = [*_runs(f"3.{number}" for number in (*range(2, 30), 31, 32))]
    assert [re.sub(r", page.*?(?=, to|$)", "", run) for run in runs] == ["3.2, to 3.29", "3.31", "3.32"]


def test_a_book_that_does_not_come_to_rest_is_made_without_numbers_of_pages(
    view: JobView, monkeypatch: pytest.MonkeyPatch
) -> None:
    from garboard.report import book as book_module

    def restless(data: Mapping[str, Any], *more: Any) -> bytes:
        if not data["calm"]:
            raise BookRefused("document did not converge within five attempts")
        return pressed(data, *more)

    monkeypatch.setattr(book_module, "pressed", restless)
    assert "The Record says more of each: page \u2013, \u201cPunch list\u201d." in whole(book_of(view))


def test_a_typesetter_that_comes_to_no_end_makes_no_book_of_another_kind(
    view: JobView, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Killed half-way, or out of memory, it refuses nothing: a book without its logo is no answer.
    What stands of its output is no book either."""
    script, runs = tmp_path / "ends.py", tmp_path / "runs"
    begin = f"import os, sys; open({str(runs)!r}, 'a').write('1'); "
    monkeypatch.setattr(press, "TYPESETTER", script)
    for end, said in (
        ('sys.stdout.write(\'{"refused": ""}\\n%PDF-1.7\'); sys.stdout.flush(); os.kill(os.getpid(), 9)', "status -9"),
        ("sys.stdout.write('{\"refu'); sys.exit('no memory left')", "no memory left"),
    ):
        script.write_text(begin + end)
        with pytest.raises(NotTypeset, match=f"No book was made.*{said}"):
            book_of(view)
    script.write_text("import time; time.sleep(60)")
    monkeypatch.setattr(press, "LONGEST", 0.1)
    with pytest.raises(NotTypeset, match=r"0\.1 s"):
        book_of(view)
    assert runs.read_text() == "11", "asked once for each"


def test_no_code_of_a_letter_is_broken_in_the_middle() -> None:
    code = printable("\u05e1\u05e4\u05d9\u05e0\u05d4" * 4)
    assert printable(breakable(code)) == code


@pytest.mark.parametrize(
    ("page", "answer"),
    [
        ("", "All 111 checks passed, and nothing is open."),
        ("At the helm", "most a compass is off give or take 0.9° “Deviation card: pilot compass” on page 9"),
        ("", "At 4200 rev/min a full tank takes you 85 nm out and 85 back, with a third left."),
        ("At the helm", "4200 rev/min, your usual cruise"),
        ("At the helm", "2.4° most a compass is off"),
        ("At the helm", "Add what stands beside it"),
        ("Where things are", "3 Battery switches, in the aft hatch, starboard side"),
        ("Before you go, and if it will not start", "1 Do you smell fuel? Then stop"),
        ("Care, and what you signed for", "A signature says that its writer has seen this book"),
        ("Fuel and range", "a quarter, 42.5 gal 31 % 37 23 21 15"),
        ("Fuel and range", "3590 24.4 28.0 15.0 1.63 1.87"),
        ("At the helm", "Between 2100 and 3090 rev/min the boat climbs its own bow wave."),
        ("At the helm", "Propellers 15.3 x 19 in, 3 blades."),
        ("Cards to cut out", "VHF radio 10 A breaker at the panel"),
        ("Cards to cut out", "090 +2.1"),
        ("Care, and what you signed for", "20 h or 15 June 2026 next service, whichever comes first 20 hour check"),
        ("Care, and what you signed for", "Loose clamp on the port fuel hose"),
        ("Care, and what you signed for", "Owner J. Ashdown 15 May 2026"),
        ("Care, and what you signed for", "Engine warranty N. Sorrel 15 May 2026"),
        ("Cards to cut out", "Main fuse, house 100 A fuse at the battery"),
        ("Where things are", "4 Fire extinguisher, inside the cabin door"),
        ("Find these in the dark", "1 VHF radio, 10 A breaker"),
        ("Before you go, and if it will not start", "(3 on page 6, \u201cWhere things are\u201d)"),
    ],
)
def test_an_owner_finds_the_answer_on_its_page(page: str, answer: str) -> None:
    assert answer in your_boat()[page]


def test_a_distance_is_rounded_down_and_a_third_is_kept() -> None:
    """170 gal, a third each way, at 4200 rev/min: 30.8 kn for 20.4 gal/h, by the throttle steps' own page."""
    speed, flow = 30.8, 20.4
    assert 85 <= 170 / 3 * speed / flow < 86
    assert "Your usual cruise, 4200 rev/min 85 nm out, 85 back" in your_boat()["Fuel and range"]


@pytest.mark.parametrize("word", ["±", "basis", "from memory", "no source", "oefficient", "-0.0", "−0.0"])
def test_your_boat_holds_nothing_for_its_author(word: str) -> None:
    assert word in " ".join(page_texts(sample_book())) or word in ("from memory", "-0.0", "−0.0")
    assert not [title for title, text in your_boat().items() if word in text]


def test_every_reference_names_the_page_it_leads_to() -> None:
    """Pages, cards and findings: the number printed is the page on which the thing stands, in a book of any length."""
    pages = [on_one_line(page) for page in page_texts(sample_book())]
    said = [(at, *one) for at, page in enumerate(pages, 1) for one in REFERENCE.findall(page)]
    assert len(said) > 15
    for at, finding, number, page, title, card, of_card in said:
        there = pages[int(number or page or of_card) - 1]
        if finding:
            assert re.search(rf"(?:^| ){re.escape(finding)} (?:pass|advise|fail|not enough)", there), (at, finding)
        else:
            assert (title or card) in there, (at, title or card)
    assert not [page for page in pages if "page \u2013" in page or "\ue000" in page]


REFERENCE = re.compile(
    r"(\d+\.\d+), page (\d+)|page (\d+), \u201c([^\u201d]+)\u201d|\u201c([^\u201d]+)\u201d on page (\d+)"
)


@pytest.mark.parametrize("typed", [page_of("Nowhere"), page_of("Nowhere")[:9], "\ue000\ue001", "\ue001a\ue000"])
def test_no_name_is_a_reference_that_breaks_a_book(typed: str) -> None:
    """A reference leads somewhere or has a dash for its number; half of one is printed as its codes."""
    assert set(printable(typed)) - set("\ue000\ue001") <= held()
    assert ("\ue000" in printable(typed)) == bool(REFERENCE_MARK.search(typed))


def test_engine_speed_is_spelled_one_way_all_through() -> None:
    """Common practice, no source: a shop's paper has one unit for one thing."""
    text = whole(sample_book())
    assert text.count("rev/min") > 20
    assert not re.findall(r"\b(?:rpm|RPM|r/min)\b", text)


def test_nothing_an_owner_reads_is_smaller_than_nine_points_but_the_foot() -> None:
    for page in pieces_of(sample_book())[1:9]:
        small = [(piece.text.strip(), piece.size) for piece in page if piece.text.strip() and piece.size < 9]
        assert {size for _, size in small} == {7.5}, small
        assert len(small) <= 4, small


def test_letter_and_a4_break_into_the_same_pages() -> None:
    assert page_texts(sample_book("A4")) == page_texts(sample_book())


def test_a_cover_keeps_to_its_page_however_long_the_name_is() -> None:
    job, host, file = sample_job()
    vessel = attrs.evolve(job.view.vessel, name="Grandmother Wilhelmina of the Outer Ledge and of the Harbour Wall")
    book = handover_book(attrs.evolve(job.view, vessel=vessel), host, job.assessed, load_photo=photos_at(file))
    cover, _, third = map(on_one_line, page_texts(book)[:3])
    assert "111 pass 0 advise 0 fail 0 not enough data" in cover
    assert third.startswith("Before you go")


def test_a_cover_says_everything_however_wide_the_names_are(view: JobView) -> None:
    """A name of 300 letters pushed all but the eyebrow off the cover."""
    wide = "W" * 300
    vessel, job = attrs.evolve(view.vessel, name=wide), attrs.evolve(view.job, owner=wide)
    book = book_of(attrs.evolve(view, vessel=vessel, job=job))
    cover, *others = [page.replace("\n", "").replace("\u200b", "") for page in page_texts(book)]
    assert cover.count("W" * 71 + "…") == 2
    assert "not enough data" in cover
    assert wide in "".join(others), "the Record has the whole"


def test_a_hull_number_with_its_country_stands_on_one_line_of_the_cover(view: JobView) -> None:
    wide = "MW-MWWMWWMM-M6-26"
    book = book_of(attrs.evolve(view, vessel=attrs.evolve(view.vessel, hull_number=wide)))
    assert any(line.startswith(wide) for line in page_texts(book)[0].splitlines())


def test_advice_is_counted_on_the_cover_and_told_to_the_owner(view: JobView) -> None:
    """A boat whose battery gave out too soon had "nothing left to put right", and its owner read of nothing else."""
    host = small_plugin.small_host()
    (first, *others) = host.assess(attrs.evolve(view, notes=(), steps=()))
    advice = attrs.evolve(
        first.finding,
        verdict=Verdict.ADVISE,
        about="start battery",
        sentence="2.7 h (2.2 to 3.3 h) from full, at 2.8 ± 0.1 A. 4 h wanted. Fit more capacity.",
    )
    passing = [attrs.evolve(one, finding=attrs.evolve(one.finding, verdict=Verdict.PASS)) for one in others]
    pages = page_texts(handover_book(view, host, [attrs.evolve(first, finding=advice), *passing]))
    assert f"{len(others)} of {len(others) + 1} checks passed. 1 piece of advice." in on_one_line(pages[0])
    care = next(on_one_line(page) for page in pages if page.startswith("Care, and what you signed for"))
    assert "Advice \u2022 Start battery: 2.7 h from full, at 2.8 A. The Record says what to do about each" in care
    assert "Fit more capacity" not in care


def test_what_nobody_entered_has_no_page_of_the_owners() -> None:
    reader: Any = reader_of(small_book())
    assert [entry.title for entry in reader.outline[1]] == ["Care, and what you signed for"]


def test_sections_of_one_title_share_a_page_their_digits_at_its_head(view: JobView) -> None:
    module = ModuleType("two")

    def section(key: str, part: str, *blocks: Block) -> ReportSection:
        return ReportSection(key=f"two.{key}", title="Helm", order=1, part=part, build=lambda view, assessed: blocks)

    @hookimpl
    def register_report_sections(register: Callable[[ReportSection], None]) -> None:
        register(section("words", YOUR_BOAT, "One paragraph."))
        register(section("digits", YOUR_BOAT, Digits("42 kn", "full speed"), Number("slow", -0.04, "kn")))
        register(section("cover", COVER, "It ran well."))

    vars(module).update(register_report_sections=register_report_sections)
    pages = page_texts(book_of(view, make_host((), entry_points=False, modules={"two": module})))
    assert "It ran well." in pages[0]
    assert "Helm 42 kn full speed 0.0 kn slow One paragraph." in on_one_line(pages[2])


def test_the_book_of_a_whole_commissioning_is_short_enough_to_be_read() -> None:
    assert len(reader_of(sample_book()).pages) <= 26, "8 of them Your boat"
    assert_inside(sample_book())


def test_all_cautions_stand_on_one_page() -> None:
    reader: Any = reader_of(sample_book())
    pages = {e.title: reader.get_destination_page_number(e) for e in chapters_of(reader)}
    text = on_one_line(page_texts(sample_book())[pages["1 Cautions"]])
    job, host, _ = sample_job()
    for caution in cautions(job.view, host):
        assert caution.text in text


def test_no_heading_stands_last_on_its_page() -> None:
    reader: Any = reader_of(crowded_book())
    for entry in chapters_of(reader):
        pieces = boxes(crowded_book())[reader.get_destination_page_number(entry)]
        heading = next(
            bottom for text, _, top, _, bottom in pieces if entry.title.startswith(text.strip()) and bottom - top > 3
        )
        below = [bottom for _, _, _, _, bottom in pieces if bottom > heading + 3]
        assert len(below) > 2, entry.title


# Handed over or not


OPEN_BESIDES = "Open besides: 1 fail; 1 step to look at again; 1 noted on the punch list."
WHY_A_DRAFT = (
    "DRAFT: NOT YET HANDED OVER This is a draft because the technician has not signed and the owner has not signed. "
    f"{OPEN_BESIDES}"
)
SIGNED = tuple(SignOff(role=role, name="Somebody", at="2026-05-15") for role in ("technician", "owner"))


def test_a_book_of_a_boat_nobody_has_signed_for_is_a_draft_and_says_what_is_open(view: JobView) -> None:
    unsigned = book_of(attrs.evolve(view, sign_offs=()))
    cover, *others = map(on_one_line, page_texts(unsigned))
    assert WHY_A_DRAFT in cover
    assert all(re.search("Señora Åse, (Your boat|Record), draft, not handed over", page) for page in others)
    assert "To be handed over after commissioning" in whole(unsigned)


def test_a_book_that_both_have_signed_is_no_draft_and_still_says_what_is_open(view: JobView) -> None:
    signed = book_of(attrs.evolve(view, sign_offs=SIGNED))
    assert "Handed over with 3 points open: 1 fail; 1 step to look at again; 1 noted on the punch list." in on_one_line(
        page_texts(signed)[0]
    )
    assert "draft" not in whole(signed)
    assert "NOT YET" not in whole(signed)


def test_a_signed_book_is_a_draft_while_an_entry_cannot_be_read(view: JobView) -> None:
    """What could not be read may be a fault, or a change after the signature: nobody knows that nothing is open."""
    host = small_plugin.small_host()
    signed = attrs.evolve(view, sign_offs=SIGNED, steps=(), notes=())
    passed = [one for one in host.assess(signed) if one.finding.verdict is Verdict.PASS]
    assert "The one check passed, and nothing is open" in whole(handover_book(signed, host, passed))
    book = handover_book(signed, host, passed, unread=1)
    cover, *others = map(on_one_line, page_texts(book))
    assert "DRAFT: NOT ALL OF IT WAS READ 1 entry could not be read" in cover
    assert "nothing is open" not in cover
    assert "Not everything was read or judged." in cover
    assert all(re.search("Señora Åse, (Your boat|Record), draft, not all of it read", page) for page in others)
    assert "draft" in str(reader_of(book).metadata.title)  # type: ignore[union-attr]


def test_a_book_of_a_job_set_aside_says_so_first(view: JobView) -> None:
    aside = SetAside(by="M. Office", at="2026-05-14", reason="sold unrigged", came=0, holds=True)
    cover, *others = map(on_one_line, page_texts(handover_book(view, small_plugin.small_host(), (), aside=aside)))
    assert (
        "SET ASIDE: THIS JOB WILL NOT BE FINISHED Set aside by M. Office: sold unrigged. DRAFT: NOT YET HANDED OVER"
        in cover
    )
    assert all("draft, set aside" in page for page in others)
    signed = attrs.evolve(view, sign_offs=SIGNED, steps=(), notes=())
    assert still_aside(aside, signed) is None, "what is handed over was finished"
    assert still_aside(attrs.evolve(aside, holds=False), view) is None


def test_a_managers_signature_is_asked_for_only_while_the_boat_is_not_handed_over(view: JobView) -> None:
    assert "Manager, signature and date" in whole(book_of(view))
    signed = whole(book_of(attrs.evolve(view, sign_offs=SIGNED)))
    assert "Handed over" in signed
    assert "Manager, signature and date" not in signed


@pytest.mark.parametrize("role", ["technician", "owner"])
def test_a_signature_before_later_changes_hands_nothing_over(view: JobView, role: str) -> None:
    signed = tuple(attrs.evolve(one, stale=one.role == role) for one in SIGNED)
    cover = on_one_line(page_texts(book_of(attrs.evolve(view, sign_offs=signed)))[0])
    assert f"This is a draft because the {role} signed before later changes. {OPEN_BESIDES}" in cover


def test_a_signature_before_later_changes_names_what_it_does_not_cover(view: JobView) -> None:
    first = view.measurements[0]
    names = ("/".join((first.step, first.field)), "vessel/beam", "note 12")
    signed = (SignOff(role="owner", name="An Owner", at=SIGNED[0].at, stale=True, not_covered=names),)
    text = whole(book_of(attrs.evolve(view, sign_offs=signed)))
    words = place_in_words((first.step, first.field, "", ""), small_plugin.small_host())
    assert f"Sign again. Not covered: {words}; Vessel: beam; Note 12." in text


def test_cautions_of_what_is_not_fitted_are_left_out(view: JobView) -> None:
    host = small_plugin.small_host()
    cautioned = next(step for step in host.steps if step.cautions)
    others = {caution.text for step in host.steps if step is not cautioned for caution in step.cautions}
    left_out = {caution.text for caution in cautioned.cautions} - others
    without = attrs.evolve(view, steps=(StepState(step=cautioned.key, state="not fitted"),))
    assert left_out
    assert left_out & {caution.text for caution in cautions(view, host)} == left_out
    assert not left_out & {caution.text for caution in cautions(without, host)}


def test_bases_are_numbered_in_the_order_they_are_met() -> None:
    pages = page_texts(sample_book())
    cautions_page = next(page for page in pages if "1 Cautions These held" in on_one_line(page))
    assert "(basis 1)" in on_one_line(cautions_page)


# What may be missing or broken


def test_a_job_with_nothing_in_it_still_gives_a_book(view: JobView) -> None:
    bare = attrs.evolve(
        view,
        vessel=type(view.vessel)(hull_number=HULL),
        job=type(view.job)(id="J"),
        measurements=(),
        notes=(),
        steps=(),
        sign_offs=(),
    )
    text = whole(book_of(bare))
    assert "Vessel without a name" in text
    assert "Nothing that was checked is left to put right; " in text


def test_a_date_that_is_none_is_printed_as_it_was_typed(view: JobView) -> None:
    text = whole(book_of(attrs.evolve(view, job=attrs.evolve(view.job, opened="last Tuesday"))))
    assert "last Tuesday" in text


@pytest.mark.parametrize(
    ("typed", "printed"),
    [("2026-05-14", "14 May 2026"), ("2026-12-01T08:00:00Z", "1 December 2026"), ("soon", "soon"), ("", "")],
)
def test_dates_are_printed_as_people_write_them(typed: str, printed: str) -> None:
    assert date_in_words(typed) == printed


def test_a_section_that_fails_says_so_and_the_book_is_made(view: JobView) -> None:
    module = ModuleType("bad")

    def build(view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
        raise ZeroDivisionError("on purpose")

    @hookimpl
    def register_report_sections(register: Callable[[ReportSection], None]) -> None:
        register(ReportSection(key="bad.section", title="Bad luck", order=1, build=build))
        register(ReportSection(key="bad.page", title="Yours", order=2, build=build, part=YOUR_BOAT))

    vars(module).update(register_report_sections=register_report_sections)
    host = make_host((), entry_points=False, modules={"bad": module})
    failed: list[PluginProblem] = []
    text = whole(handover_book(view, host, host.assess(view), failed=failed.append))
    assert "could not write this section" in text
    assert "ZeroDivisionError" not in text
    told = "section 'Bad luck' of the book: ZeroDivisionError: on purpose"
    assert [(one.name, one.reason) for one in failed] == [("bad", told), ("bad", told.replace("Bad luck", "Yours"))]
    assert "Yours" not in text  # an owner's page has no section that failed


def test_what_a_section_makes_itself_is_told_in_the_units_that_were_typed(view: JobView) -> None:
    flow = Figure(
        "Flow of the pump", Axis("Run", ""), Axis("Flow", "gal/h", 0.0), (Series("flow", (1.0, 2.0), (545.0, 500.0)),)
    )
    water = Measurement(step="any.step", field="volume", value="20 L", by="A. Hand")
    in_litres = attrs.evolve(view, measurements=(water,))
    told = block_as_typed(in_litres, flow)
    assert isinstance(told, Figure)
    assert (told.y.unit, [round(one) for one in told.series[0].y]) == ("L/h", [2063, 1893])
    number = block_as_typed(in_litres, Number("flow", 545.0, "gal/h", 16.0, 0))
    assert str(number) == "2063 ± 61 L/h"


def test_a_signature_given_before_later_changes_says_so(view: JobView) -> None:
    stale = attrs.evolve(view, sign_offs=(SignOff(role="owner", name="An Owner", at="2026-05-14", stale=True),))
    text = whole(book_of(stale))
    assert "signed on screen, 14 May 2026" in text
    assert "Stale: signed before later changes. Sign again." in text
    assert "That signature does not cover the change" in text
    assert "That signature does not cover the change" not in whole(small_book())


def test_who_signed_on_screen_has_no_empty_line_to_sign_on(view: JobView) -> None:
    by = SignOff(role="owner", name="An Owner", at="2026-05-14")
    for sign_offs, lines in (((by,), 0), ((attrs.evolve(by, stale=True),), 1), ((attrs.evolve(by, at=""),), 1)):
        signed = attrs.evolve(view, sign_offs=(*SIGNED[:1], *sign_offs))
        host = small_plugin.small_host()
        parts = _signatures(signed, host, HandOver(True, ()), DrawnSignatures(no_photo), has_entries=True)
        assert sum(part.get("to_sign", False) for part in parts) == lines


def test_the_checks_of_the_cover_are_those_the_record_numbers() -> None:
    """What the cover counts and the numbers of the Record differ: the book says why, with both counts."""
    text = on_one_line(" ".join(page_texts(sample_book())))
    job, _, _ = sample_job()
    (checks, numbered) = re.search(r"The (\d+) checks of the cover stand under (\d+) numbers", text).groups()  # type: ignore[union-attr]
    printed = set(re.findall(r"(?<![\d.])(\d{1,2}\.\d{1,2}) pass ", text))
    in_clauses = (itertools.takewhile(printed.__contains__, (f"{n}.{m}" for m in range(1, 99))) for n in range(1, 13))
    assert (int(checks), int(numbered)) == (len(job.assessed), sum(len([*found]) for found in in_clauses))


def test_the_signatures_say_what_they_cover() -> None:
    text = whole(small_book()).partition("To be handed over")[2]
    assert f"Señora Åse, hull number {HULL}" in text
    assert "what was checked and measured, what is still open on the punch list, and the cautions" in text


def test_verdicts_are_drawn_as_shapes_beside_their_words() -> None:
    """On the cover each word stands with its shape, both in its own colour: no word is told by colour alone."""
    from garboard.report.palette import DAY, VERDICT_MARKS, rgb

    reader: Any = reader_of(small_book())
    drawn = reader.pages[0].get_contents().get_data().decode("latin-1")
    inks = {
        tuple(round(float(one), 3) for one in ink) for ink in re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) scn", drawn, re.I)
    }
    for mark in VERDICT_MARKS.values():
        assert mark.word in on_one_line(page_texts(small_book())[0])
        assert tuple(round(level / 255, 3) for level in rgb(getattr(DAY, mark.colour))) in inks, mark.word
    used = {part.form for mark in VERDICT_MARKS.values() for part in mark.parts}
    assert used == {"disc", "ring", "area", "stroke"}


def _as_wide_as_may_be() -> Finding:
    """A finding at every bound of the host: words that do not break, columns of them, numbers of 300 digits."""
    word, cells = "w" * LONGEST_TEXT, tuple(f"{'c' * LONGEST_TEXT}" for _ in range(MOST_COLUMNS))
    headings, name = tuple(f"{'h' * (LONGEST_NAME - 2)}{n:02}" for n in range(MOST_COLUMNS)), "n" * LONGEST_NAME
    huge = 1.7e308
    odd = (Table("", (), ((), ())), Table("none", ("a",), ()))
    far = 1e30
    axis = Axis(name, name, 0.0, far)
    line = Series(name, (0.0, far), (-far, far))
    return Finding(
        verdict=Verdict.FAIL,
        about=name,
        sentence=word,
        short=word,
        basis=(Basis(BasisKind.MANUAL, word, word),),
        numbers=(Number(name, -huge, name, huge, 9),),
        limits=(Limit(name, high=-huge),),
        tables=(Table(name, headings, (cells,)), Table(name, headings, (cells,), card=True), *odd),
        figures=(Figure(name, axis, axis, (line,), axis, (Band(name, "x", 0.0, far),), (Marker(name, far, far),)),),
        notes=(word,),
    )


def test_the_book_survives_a_finding_at_every_bound() -> None:
    finding = _as_wide_as_may_be()
    module: Any = ModuleType("wide")

    def register_calculators(register: Callable[[Calculator], None]) -> None:
        register(
            Calculator(
                key="wide.x", title="Wide", step="small.horn", compute=lambda _view: [finding], basis=finding.basis
            )
        )

    module.register_calculators = hookimpl(register_calculators)
    host = make_host((), entry_points=False, modules={"small": small_plugin.small_module(), "wide": module})
    assert "ww" in whole(book_of(small_plugin.small_view(Path()), host))


# Measures


def test_a_few_readings_in_a_window_are_one_strip_and_lines_are_a_chart() -> None:
    from garboard.report.chart import chart, is_strip

    readings = tuple(Series(name, (1.0, 2.0), (5850.0, 5840.0), line=False) for name in ("port", "starboard"))
    bands = (Band("window", "y", 5400.0, 6000.0), Band("aim", "y", 5800.0, 5800.0))
    axes = Axis("Run", whole=True), Axis("Engine speed", "rev/min", 5300.0, 6300.0)
    few = Figure("Full throttle", *axes, readings, bands=bands)
    assert is_strip(few)
    assert not is_strip(attrs.evolve(few, series=tuple(attrs.evolve(one, line=True) for one in readings)))
    assert not is_strip(attrs.evolve(few, bands=()))
    drawn = chart(few, 176.0, 50.0)
    words = {part["words"] for part in drawn["parts"] if part["kind"] == "text"}
    assert {"window 5400 to 6000", "aim 5800", "port", "starboard"} <= words
    (window,) = [part["box"] for part in drawn["parts"] if part["kind"] == "band"]
    marks = [part["at"] for part in drawn["parts"] if part["kind"] == "mark"]
    assert len(marks) == 4
    assert all(window[0] < x < window[2] and window[1] < y < window[3] for x, y in marks)
    assert min(x for x, _ in marks) >= 0
    assert max(part["box"][2] for part in drawn["parts"] if part["kind"] == "band") <= 176.0


@lru_cache(maxsize=1)
def record_pages() -> tuple[str, ...]:
    """The text of the sample book's Record, page by page."""
    pages = page_texts(sample_book())
    first = next(place for place, text in enumerate(pages) if text.lstrip().startswith("Record"))
    return tuple(pages[first:])


def test_findings_that_go_on_over_a_page_stand_under_their_steps_title_again() -> None:
    """A row at the top of a page that names no step tells nobody what was done."""
    heads = [
        re.search(r"No\.\s+Verdict\s+Check\s+Finding\s+Basis\s+(.{60})", page, re.DOTALL) for page in record_pages()
    ]
    begun = [head[1] for page, head in zip(record_pages(), heads, strict=True) if head and head.start() < 5]
    assert begun
    assert [text for text in begun if re.match(r"\d+\.(?!1\b)\d+", text)] == []  # the first of a clause begins it


def test_a_verdict_stands_on_the_line_of_its_row() -> None:
    """The mark before it is higher than a capital, and must not push the word down."""
    numbered = [
        (page, piece) for page in boxes(sample_book())[9:] for piece in page if re.fullmatch(r"\d+\.\d+", piece[0])
    ]
    told = 0
    for page, (_, left, _, _, baseline) in numbered:
        beside = [b for text, x, _, _, b in page if text == "pass" and 0 < x - left < 20 and abs(b - baseline) < 2]
        told += len(beside)
        assert all(abs(one - baseline) < 0.1 for one in beside), (baseline, beside)
    assert told > 50


def test_no_unit_over_a_column_is_torn_apart() -> None:
    assert [page for page in record_pages() if re.search(r"\[[^\]\n]{0,12}/\s*\n", page)] == []


def test_every_mark_of_the_record_is_in_its_key() -> None:
    """ "done" beside a step is a mark as "pass" beside a finding is."""
    key = record_pages()[0].partition("How to read it")[2]
    assert [mark for mark in ("pass", "advise", "fail", "not enough data", "done") if mark not in key] == []
