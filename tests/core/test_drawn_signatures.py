"""Strokes drawn on a tablet stand in the book as lines, with who signed, in which role, when, and what it covers."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import attrs
import pytest
from pypdf import PdfReader

import small_plugin
from garboard.commands.book import photos_at
from garboard.disk.hullfile import HullFolder
from garboard.job_view import JobView
from garboard.records import SignOff
from garboard.report.book import handover_book
from garboard.report.drawn_signatures import LARGEST, MOST_DRAWN, DrawnSignatures, strokes_in
from garboard.report.outline import HandOver
from garboard.report.photo_files import LARGEST_FILE
from garboard.report.photos import Photo, no_photo
from garboard.report.record import _signatures
from printed import printed_words

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 200" fill="none" stroke="#10202B" stroke-width="4">'


def pad(*strokes: str) -> bytes:
    """A file as the tablet writes it; `tests/tablet` holds the tablet's own against this reader."""
    lines = "".join(f'<polyline points="{one}"/>' for one in strokes)
    return f"{HEAD}{lines}</svg>\n".encode()


SIGNED = pad("100.0,150.0 150.0,60.0 200.0,150.0", "220.0,100.0")
BY = SignOff(role="owner", name="An Owner", at="2026-05-15", more={"signature": {"file": "a" * 64}})


def book_with(view: JobView, *sign_offs: SignOff, file: bytes = SIGNED) -> bytes:
    def load(photo: Photo) -> bytes:
        return file if photo.file == "a" * 64 else b""

    host = small_plugin.small_host()
    view = attrs.evolve(view, sign_offs=sign_offs)
    return handover_book(view, host, host.assess(view), load_photo=load)


def curves_in(book: bytes) -> Iterator[str]:
    """The drawing of each page that has round ends of lines: nothing else in a book of this boat does."""
    for page in PdfReader(BytesIO(book)).pages:
        text = page.extract_text()
        if "Technician, " in text or "Owner, " in text:
            yield page.get_contents().get_data().decode("latin-1")  # type: ignore[union-attr]


def test_strokes_are_loaded_from_a_folder_as_from_a_job_file_and_a_picture_in_their_place_draws_nothing(
    tmp_path: Path,
) -> None:
    """What loads photos looks at a file's beginning, and takes a large one for a recording."""
    with HullFolder(tmp_path / "kept") as folder:
        kept = folder.attachments.put(SIGNED)
    (tmp_path / kept).write_bytes(SIGNED)
    by = attrs.evolve(BY, more={"signature": {"file": kept}})
    for place in (tmp_path / "kept", tmp_path / "job.json"):
        drawn = DrawnSignatures(photos_at(place)).of(by)
        assert drawn is not None
        assert len(drawn["strokes"]) == 2
    (tmp_path / kept).write_bytes(b"\xff\xd8\xff\xe0" + bytes(20))
    with (tmp_path / kept).open("r+b") as file:
        file.truncate(LARGEST_FILE + 1)
    assert DrawnSignatures(photos_at(tmp_path / "job.json")).of(by) is None


def test_strokes_are_cut_out_around_their_ink_to_the_scale_of_the_pad() -> None:
    """600 units of the pad are 60 mm: from 100 to 220 across and 60 to 150 down are 12 by 9 mm and the ink."""
    found = strokes_in(SIGNED)
    assert found is not None
    assert (found.width, found.height) == (12.8, 9.8)
    assert found.strokes[0] == ((0.4, 9.4), (5.4, 0.4), (10.4, 9.4))
    assert found.strokes[1] == ((12.4, 4.4), (12.45, 4.4)), "a dot is a short stroke"


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x89PNG\r\n\x1a\n",
        pad(),
        pad(""),
        SIGNED + b"<script>alert(1)</script>",
        SIGNED.replace(b"<polyline", b'<image href="/etc/passwd"/><polyline', 1),
        b"<!DOCTYPE svg [<!ENTITY a 'b'>]>" + SIGNED,
        SIGNED.replace(b"100.0", b"1e300"),
        SIGNED.replace(b"0 0 600 200", b"0 0 6 2"),
        pad("1.0,1.0 " * LARGEST),
    ],
)
def test_a_file_of_any_other_form_draws_nothing(content: bytes) -> None:
    assert strokes_in(content) is None


def test_points_nobody_could_tell_apart_are_one() -> None:
    found = strokes_in(pad(" ".join(f"{100 + step / 10:.1f},100.0" for step in range(1000))))
    assert found is not None
    assert len(found.strokes[0]) < 100


def test_the_book_draws_a_signature_and_says_what_it_covers(tmp_path: Path) -> None:
    view = small_plugin.small_view(tmp_path)
    drawn, plain = (book_with(view, BY, file=file) for file in (SIGNED, b""))
    (with_strokes,), (without,) = curves_in(drawn), curves_in(plain)
    assert with_strokes.count("1 J") == without.count("1 J") + 2, "two strokes with round ends"
    text = printed_words(drawn)
    assert "Owner, An Owner, signed on screen, 15 May 2026 The job file does not tell which entries it covers." in text
    assert "Its drawing is not here whole." in printed_words(plain)


def test_a_stale_signature_says_so_on_the_spot(tmp_path: Path) -> None:
    stale = attrs.evolve(BY, stale=True, not_covered=("small.horn/heard",))
    book = book_with(small_plugin.small_view(tmp_path), stale)
    text = printed_words(book)
    assert "It covers what was entered until then. Stale: signed before later changes. Sign again. Not covered:" in text
    assert "Nothing was changed since" not in text


def test_of_very_many_signatures_the_first_are_drawn() -> None:
    drawn = DrawnSignatures(lambda _photo: SIGNED)
    assert [drawn.of(BY) is not None for _ in range(MOST_DRAWN + 3)] == [True] * MOST_DRAWN + [False] * 3


def told_of(view: JobView, *sign_offs: SignOff, has_entries: bool = True) -> list[str]:
    """What stands under each signature."""
    view = attrs.evolve(view, sign_offs=sign_offs)
    parts = _signatures(
        view, small_plugin.small_host(), HandOver(True, ()), DrawnSignatures(no_photo), has_entries=has_entries
    )
    return [part["covers"] for part in parts if part["kind"] == "signature" and not part["to_sign"]]


def test_what_a_signature_covers_is_said_as_far_as_it_is_known(tmp_path: Path) -> None:
    view = small_plugin.small_view(tmp_path)
    by = attrs.evolve(BY, at="2026-05-15T18:00:00-04:00", more={})
    (said,) = told_of(view, by)
    assert said == "It covers all that was entered in this job until then. Nothing was changed since."
    assert told_of(view, by, has_entries=False) == ["The job file does not tell which entries it covers."]
    later = attrs.evolve(view.measurements[0], at="2026-05-15T22:30:00+00:00")
    (said,) = told_of(attrs.evolve(view, measurements=(later,)), by)
    assert said == "By the clocks of the tablets it was given before the rest: 1 value has a later time."


def test_a_name_that_stands_twice_or_is_not_the_owners_is_told_on_the_spot(tmp_path: Path) -> None:
    view = small_plugin.small_view(tmp_path)
    names = [("technician", "N. Sorrel"), ("owner", "n.  sorrel"), ("manager", "M. Office")]
    rigger, _, owner = told_of(view, *(SignOff(role=role, name=name, at="2026-05-15") for role, name in names))
    assert rigger.endswith("The same name stands for the owner.")
    assert owner.endswith("The same name stands for the technician. The owner of the job is entered as An Owner.")
