"""Labels of circuits: what they say, when they are stale, and how large they are on paper."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import attrs
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from garboard.commands.labels import command
from garboard.demo.samples_folder import sample_jobs_folder
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError, in_words
from garboard.history.authoring import Author, labels_printed
from garboard.history.boat import open_hull
from garboard.history.exchange import import_job
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.job_files.job_file import read_job_file
from garboard.labels import labels_digest, labels_of, stale_labels
from garboard.records import Circuit, Vessel
from garboard.report.label_sheets import (
    ENDS,
    LARGEST_TYPE,
    LEAST_TYPE,
    PAPERS,
    STICKER,
    TAPES,
    boat_sticker,
    label_sheet,
    label_tape,
    panel_schedule,
    without_type,
)
from garboard.report.terminal import Tools
from garboard.units import Amount, parse_amount
from wiring_boats import wiring_host

SALTGRASS = sample_jobs_folder() / "saltgrass" / "job.json"
HULL = "QQZ04417D626"
POINTS = 72 / 25.4


@pytest.fixture(scope="module")
def saltgrass() -> Vessel:
    return read_job_file(SALTGRASS).vessel


def with_labels(vessel: Vessel, labels: Mapping[str, str]) -> Vessel:
    circuits = tuple(attrs.evolve(one, label=labels.get(one.name, "")) for one in vessel.circuits)
    return attrs.evolve(vessel, circuits=circuits)


def printed(vessel: Vessel) -> Vessel:
    return with_labels(vessel, {label.name: label.text for label in labels_of(vessel)})


def changed(vessel: Vessel, name: str, **more: Any) -> Vessel:
    circuits = tuple(attrs.evolve(one, **more) if one.name == name else one for one in vessel.circuits)
    return attrs.evolve(vessel, circuits=circuits)


def boxes(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height of every page [mm]."""
    return [(float(page.mediabox.width) / POINTS, float(page.mediabox.height) / POINTS) for page in pages(pdf)]


def pages(pdf: bytes) -> Sequence[Any]:
    return PdfReader(io.BytesIO(pdf)).pages


def words(page: Any) -> str:
    return " ".join(page.extract_text().split())


def drawn(page: Any, operator: str) -> Iterator[tuple[float, ...]]:
    """What an operator of the page's content is given, time after time (ISO 32000-1, 8.5.2 and 9.3.1)."""
    content = page.get_contents().get_data().decode("latin-1")
    for match in re.finditer(rf"((?:-?[\d.]+ ){{1,4}}){operator}\b", content):
        yield tuple(map(float, match[1].split()))


# What a label says


def test_a_label_says_number_name_fuse_size_and_where_it_comes_from(saltgrass: Vessel) -> None:
    assert labels_of(saltgrass)[3].text == "4 | VHF radio | breaker 10 A | 14 AWG | from panel, house"
    bare = attrs.evolve(saltgrass, circuits=(Circuit(name="Horn"), Circuit(name="Bow light", protection="none")))
    assert [label.text for label in labels_of(bare)] == ["1 | Horn", "2 | Bow light | no fuse"]


def test_a_printed_number_stays_and_a_new_circuit_takes_the_next_free_one(saltgrass: Vessel) -> None:
    before = printed(saltgrass)
    first, *rest = before.circuits
    more = attrs.evolve(before, circuits=(Circuit(name="Horn"), *rest))  # the first is gone, another stands before all
    assert [(one.number, one.name) for one in labels_of(more)][:3] == [
        (1, "Horn"),
        (2, "Navigation lights"),
        (3, "Chart plotter"),
    ]
    again = attrs.evolve(before, circuits=(Circuit(name="Horn"), first, *rest))
    assert [one.number for one in labels_of(again)] == [8, 1, 2, 3, 4, 5, 6, 7]


def test_two_printed_under_one_number_get_two_and_one_is_stale(saltgrass: Vessel) -> None:
    """Two tablets' circuits, each printed as number 1 before they were merged."""
    one, two = Circuit(name="Horn", label="1 | Horn"), Circuit(name="Bow light", label="1 | Bow light")
    vessel = attrs.evolve(saltgrass, circuits=(one, two))
    assert [(label.number, label.is_stale) for label in labels_of(vessel)] == [(1, False), (2, True)]


@pytest.mark.parametrize(
    "change",
    [
        {"protection_rating": parse_amount("15 A", "current")},
        {"protection": "fuse"},
        {"conductor_awg": "12"},
        {"fed_from": "battery terminal"},
        {"battery": "start"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_whatever_stands_on_a_label_makes_it_stale_when_it_changes(saltgrass: Vessel, change: dict[str, Any]) -> None:
    before = printed(saltgrass)
    assert stale_labels(before) == ()
    assert [label.name for label in stale_labels(changed(before, "VHF radio", **change))] == ["VHF radio"]


def test_what_is_not_on_a_label_and_words_of_ones_own_make_none_stale(saltgrass: Vessel) -> None:
    before = printed(saltgrass)
    assert stale_labels(changed(before, "VHF radio", critical=True, length=None)) == ()
    assert stale_labels(saltgrass) == ()
    assert (
        stale_labels(with_labels(saltgrass, {"VHF radio": "radio", "Livewell pump": "7", "Bilge pump": "x | y"})) == ()
    )


@given(st.lists(st.text(max_size=12), max_size=6))
def test_whatever_a_label_was_said_to_say_numbers_differ(texts: list[str]) -> None:
    circuits = tuple(Circuit(name=str(number), label=text) for number, text in enumerate(texts))
    numbers = [label.number for label in labels_of(Vessel(name="", hull_number=HULL, circuits=circuits))]
    assert len({*numbers}) == len(numbers)
    assert all(number > 0 for number in numbers)


# On paper


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_a_sheet_has_its_paper_and_labels_their_size_to_a_fifth_of_a_millimetre(saltgrass: Vessel, paper: str) -> None:
    """Letter 8.5 x 11 in, A4 210 x 297 mm (ISO 216)."""
    pdf = label_sheet("Saltgrass", labels_of(saltgrass), paper, (38.0, 12.0))
    ((wide, high),) = boxes(pdf)
    assert (wide, high) == pytest.approx({"A4": (210, 297), "letter": (8.5 * 25.4, 11 * 25.4)}[paper], abs=0.2)
    outlines = [*drawn(pages(pdf)[0], "re")]
    assert len(outlines) == 2 * len(saltgrass.circuits)
    for x, y, across, down in outlines:
        assert (across / POINTS, abs(down) / POINTS) == pytest.approx((38, 12), abs=0.2)
        assert x / POINTS >= 9.8
        assert (x + across) / POINTS <= wide - 9.8
        assert min(y, y + down) / POINTS >= 9.8


@pytest.mark.parametrize("width", TAPES)
def test_a_strip_is_as_high_as_its_tape(saltgrass: Vessel, width: int) -> None:
    pdf = label_tape("Saltgrass", labels_of(saltgrass), width)
    assert len(pages(pdf)) == 2 * len(saltgrass.circuits)
    assert {round(high, 1) for _, high in boxes(pdf)} == {float(width)}
    assert words(pages(pdf)[6]) == " ".join(["4 VHF radio breaker 10 A 14 AWG", f"{ENDS[0]}: panel, house → VHF radio"])


def test_no_text_is_smaller_than_six_points_however_much_there_is(saltgrass: Vessel) -> None:
    long = attrs.evolve(saltgrass, circuits=tuple(Circuit(name=f"{'Very long name ' * 9}{n}") for n in range(3)))
    made = [label_sheet("x" * 300, labels_of(long), "A4", (20.0, 8.0)), panel_schedule("x", long, labels_of(long))]
    made += [label_tape("x", labels_of(long), width) for width in TAPES]
    made.append(boat_sticker(attrs.evolve(long, name="x" * 90)))
    sizes = {size for pdf in made for page in pages(pdf) for (size,) in drawn_sizes(page)}
    assert min(sizes) >= LEAST_TYPE
    assert max(sizes) <= LARGEST_TYPE


def drawn_sizes(page: Any) -> Iterator[tuple[float]]:
    content = page.get_contents().get_data().decode("latin-1")
    yield from ((float(match[1]),) for match in re.finditer(r"/F\d+ ([\d.]+) Tf", content))


def test_the_schedule_has_every_circuit_by_its_number(saltgrass: Vessel) -> None:
    many = attrs.evolve(saltgrass, circuits=tuple(Circuit(name=f"Load {number}") for number in range(1, 121)))
    text = " ".join(words(page) for page in pages(panel_schedule("Saltgrass", many, labels_of(many), "A4")))
    assert all(f"{number} Load {number}" in text for number in range(1, 121))
    assert f"Hull number {HULL}" in text


@pytest.mark.parametrize(
    "address", ["", f"https://shop.example:8443/boats/{HULL}", f"https://{'shop.' * 60}example/boats/{HULL}"]
)
def test_the_stickers_symbol_is_read_back(saltgrass: Vessel, address: str, tmp_path: Path) -> None:
    """By another program: zxing-cpp, an open reader of such symbols (ISO/IEC 18004)."""
    import zxingcpp

    pdf = boat_sticker(saltgrass, address)
    assert boxes(pdf) == [pytest.approx(STICKER, abs=0.2)]
    (symbol,) = zxingcpp.read_barcodes(picture(pdf))
    assert symbol.text == (address or HULL)


@pytest.mark.parametrize("name", ["", " "])
def test_a_boat_without_a_name_has_a_sticker_too(saltgrass: Vessel, name: str) -> None:
    """Its page answered that the server had made a mistake."""
    assert words(pages(boat_sticker(attrs.evolve(saltgrass, name=name)))[0]) == HULL


def picture(pdf: bytes) -> Any:
    """The dark squares of a page, a dot for every twentieth of a millimetre."""
    import numpy as np

    (page,) = pages(pdf)
    high = float(page.mediabox.height)
    dots = np.full((int(STICKER[1] * 20), int(STICKER[0] * 20)), 255, dtype=np.uint8)
    for x, y, across, down in drawn(page, "re"):
        left, right = (round(end / POINTS * 20) for end in (x, x + across))
        top, bottom = (round((high - end) / POINTS * 20) for end in (max(y, y + down), min(y, y + down)))
        dots[top:bottom, left:right] = 0
    return dots


# By command


def run(*arguments: object) -> str:
    """What the command says; a refusal is raised."""
    result = CliRunner().invoke(command, [*map(str, arguments)], obj=Tools(), catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with HullFolder(tmp_path / "boats") as hulls:
        import_job(hulls, read_job_file(SALTGRASS), SALTGRASS.parent, Author("office", "T. Quill"))
    return tmp_path / "boats"


def vessel_in(folder: Path) -> Vessel:
    with HullFolder(folder, read_only=True) as hulls:
        return open_hull(hulls, HULL).vessel()


def change_breaker(folder: Path) -> None:
    with HullFolder(folder) as hulls:
        state = open_hull(hulls, HULL).state
        subject = ("circuits", "VHF radio", "protection_rating")
        hulls.save(Author("tablet", "N. Sorrel").write(state, "field", subject, "15 A"))


def test_printed_then_changed_then_printed_anew(folder: Path) -> None:
    assert "7 labels are printed, 7 of them anew" in run(folder, "--printed", "--by", "T. Quill")
    change_breaker(folder)
    assert [label.name for label in stale_labels(vessel_in(folder))] == ["VHF radio"]
    out = folder.parent / "labels.pdf"
    said = run(folder, "--stale", "-o", out, "--form", "tape", "--tape", "9", "--printed", "--by", "N. Sorrel")
    assert "1 label is printed, 1 of them anew" in said
    assert words(pages(out.read_bytes())[0]).startswith("4 VHF radio breaker 15 A")
    assert {round(high) for _, high in boxes(out.read_bytes())} == {9}
    assert stale_labels(vessel_in(folder)) == ()
    with pytest.raises(InputError, match="every printed label says what is so"):
        run(folder, "--stale", "-o", out)


@pytest.mark.parametrize(
    ("asked", "cure"),
    [
        ((), "--printed"),
        (("--printed", "--by", "T. Quill", "--form", "sticker", "-o", "x.pdf"), "sheet or tape"),
        (("--printed", "--by", "T. Quill", "--form", "schedule"), "sheet or tape"),
        (("-o", "x.pdf", "--form", "sticker", "--address", "x" * 400), "about 300 letters"),
        (("-o", "x.pdf", "--form", "sticker", "--address", "x" * 4000), "about 300 letters"),
        (("--printed",), "who printed"),
        (("-o", "labels.txt"), "ends in .pdf"),
        (("-o", "x.pdf", "--size", "60"), "width x height in mm"),
        (("-o", "x.pdf", "--size", "nanx20"), "width x height in mm"),
        (("-o", "x.pdf", "--size", "5x5"), "from 20x8"),
        (("-o", "x.pdf", "--form", "schedule", "--stale"), "leave --stale out"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(asked: tuple[str, ...], cure: str) -> None:
    with pytest.raises(InputError) as refused:
        run(SALTGRASS, *asked)
    assert cure in in_words(refused.value)


def test_a_circuit_changed_while_its_labels_are_written_is_not_said_to_be_printed(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def write(out: Path, content: bytes) -> None:
        change_breaker(folder)  # as another program does meanwhile

    monkeypatch.setattr("garboard.commands.labels.write_file", write)
    with pytest.raises(InputError, match="write them again"):
        run(folder, "-o", folder.parent / "labels.pdf", "--printed", "--by", "T. Quill")
    assert not any(one.label for one in vessel_in(folder).circuits)


def test_a_name_on_two_lines_is_one_line_of_a_label(saltgrass: Vessel) -> None:
    vessel = attrs.evolve(saltgrass, circuits=(Circuit(name="VHF\nradio", conductor_area=Amount("2.5", "mm2")),))
    page = pages(label_tape("Saltgrass", labels_of(vessel), 9))[0]
    assert words(page).startswith("1 VHF radio")
    assert "2.5 mm²" in words(page)


def test_what_prints_as_an_empty_box_is_told() -> None:
    assert without_type(["VHF radio", "Positionslicht ö", "\x01"]) == ""
    assert without_type(["船灯 1", "船"]) == "船灯"


def test_characters_of_a_battery_and_labels_that_are_cut_are_told(folder: Path) -> None:
    with HullFolder(folder) as hulls:
        state = open_hull(hulls, HULL).vessel_home("circuits")
        hulls.save(Author("t", "T").write(state, "field", ("circuits", "VHF radio", "battery"), "船"))
    small = run(folder, "-o", folder.parent / "small.pdf", "--size", "30x12")
    assert "the typeface has none of them: 船" in small
    assert "Too long for their label, and cut: " in small
    assert "cut" not in run(folder, "-o", folder.parent / "large.pdf", "--size", "120x30")


def test_a_name_of_pages_is_shortened_on_the_schedule(saltgrass: Vessel) -> None:
    long = attrs.evolve(saltgrass, circuits=(Circuit(name="A" * 1500), Circuit(name="Horn")))
    text = words(pages(panel_schedule("x", long, labels_of(long)))[0])
    assert "…" in text
    assert "2 Horn" in text


def test_a_label_too_short_for_its_text_still_says_which_end_it_is_for(saltgrass: Vessel) -> None:
    long = attrs.evolve(
        saltgrass, circuits=(Circuit(name="Navigation lights of the hard top, port", fed_from="panel"),)
    )
    text = words(pages(label_sheet("x", labels_of(long), "A4", (30.0, 12.0)))[0])
    assert all(f"{end}: panel" in text for end in ENDS)


def fused(state: HullState, by: str, rating: str) -> list[Entry]:
    author, of = Author(by, by), ("circuits", "VHF radio")
    return [
        author.write(state, "field", (*of, "protection"), "fuse"),
        author.write(state, "field", (*of, "protection_rating"), rating),
    ]


def print_all(by: str, entries: Sequence[Entry]) -> list[Entry]:
    state = replay(HULL, entries)
    return [*entries, *labels_printed(Author(by, by), state, labels_of(state.vessel()[0]))]


def test_two_machines_print_apart_and_the_label_that_is_no_longer_so_is_stale() -> None:
    """One prints, the other changes the fuse and prints: both labels may be on the boat, and nobody has to choose."""
    first = fused(replay(HULL, []), "one", "10 A")
    one = print_all("one", first)
    two = print_all("two", [*first, *fused(replay(HULL, first), "two", "15 A")])
    both = [*{entry.id: entry for entry in [*two, *one]}.values()]
    for entries in (both, both[::-1]):
        state = replay(HULL, entries)
        (stale,) = stale_labels(state.vessel()[0])
        assert (stale.printed, stale.text) == ("1 | VHF radio | fuse 10 A", "1 | VHF radio | fuse 15 A")
        assert not state.disagrees(RegisterKey("field", "", ("circuits", "VHF radio", "label")))
    assert stale_labels(replay(HULL, print_all("one", both)).vessel()[0]) == ()


def test_two_machines_print_the_same_and_nothing_is_stale_nor_changed_and_changed_back() -> None:
    first = fused(replay(HULL, []), "one", "10 A")
    entries = [*print_all("one", first), *print_all("two", first)[len(first) :]]
    assert stale_labels(replay(HULL, entries).vessel()[0]) == ()
    changed_once = [*entries, *fused(replay(HULL, entries), "two", "15 A")]
    assert len(stale_labels(replay(HULL, changed_once).vessel()[0])) == 1
    back = [*changed_once, *fused(replay(HULL, changed_once), "one", "10 A")]
    assert stale_labels(replay(HULL, back).vessel()[0]) == ()


def test_both_change_a_circuit_apart_and_print_and_its_number_stays() -> None:
    first = print_all("one", fused(replay(HULL, []), "one", "10 A"))
    parts = [
        print_all(by, [*first, *fused(replay(HULL, first), by, size)])
        for by, size in (("one", "15 A"), ("two", "20 A"))
    ]
    state = replay(HULL, {entry.id: entry for part in parts for entry in part}.values())
    horn = Author("one", "one").write(state, "field", ("circuits", "Horn", "protection"), "fuse")
    state.add(horn)
    labels = labels_of(state.vessel()[0])
    assert {(one.name, one.number, one.is_stale) for one in labels} == {("VHF radio", 1, True), ("Horn", 2, False)}


def test_labels_in_words_of_ones_own_disagree_as_any_fact_does() -> None:
    key = RegisterKey("field", "", ("circuits", "Horn", "label"))
    empty = replay(HULL, [])
    own = [Author(by, by).write(empty, "field", key.subject, text) for by, text in (("a", "horn"), ("b", "1 | Horn"))]
    state = replay(HULL, own)
    assert state.disagrees(key)
    assert state.vessel()[0].pieces["circuits"].get("Horn", Circuit(name="Horn")).label == ""


def test_a_job_file_is_never_changed() -> None:
    with pytest.raises(InputError, match="never changed"):
        run(SALTGRASS, "--printed", "--by", "T. Quill")


def test_the_audit_names_a_stale_label_and_no_other(folder: Path) -> None:
    host = wiring_host()
    run(folder, "--printed", "--by", "T. Quill")

    def said() -> list[str]:
        with HullFolder(folder, read_only=True) as hulls:
            boat = open_hull(hulls, HULL)
            assessed = host.assess(boat.view(boat.jobs[0]))
        return [one.finding.sentence for one in assessed if one.finding.code == "wiring_audit.labels.stale"]

    assert said() == []
    change_breaker(folder)
    (sentence,) = said()
    assert "4 | VHF radio | breaker 10 A" in sentence
    assert "4 | VHF radio | breaker 15 A" in sentence


def test_what_all_labels_say_is_told_apart(saltgrass: Vessel) -> None:
    assert labels_digest(saltgrass) == labels_digest(printed(saltgrass))
    assert labels_digest(saltgrass) != labels_digest(changed(saltgrass, "VHF radio", protection="fuse"))
