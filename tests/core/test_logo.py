"""A shop's logo: what is taken, how it is bounded, and what never reaches a typesetter."""

from __future__ import annotations

import base64
import os
import random
from io import BytesIO
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner
from PIL import Image
from pypdf import PdfReader

import small_plugin
from book_tags import structure_of
from garboard.commands.cli import program
from garboard.hosting.host import make_host
from garboard.job_view import JobView
from garboard.report.book import handover_book
from garboard.report.logo import HIGHEST, LARGEST, WIDEST, LogoRefused, logo_as_kept, logo_to_print
from garboard.report.press import BookRefused
from garboard.settings import picture_in

HOST = make_host(entry_points=False)
LOGO = "handover.shop_logo"
DRAWING = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 20">'
    '<defs><linearGradient id="a"><stop offset="0" stop-color="#0b4f5c"/></linearGradient></defs>'
    '<g style="fill: url(#a); stroke: none"><path d="M0 0h60v20H0z"/></g></svg>'
)


def picture(width: int, height: int, form: str = "PNG", mode: str = "RGB") -> bytes:
    dots = random.Random(7).randbytes(width * height * len(mode))
    made = BytesIO()
    Image.frombytes(mode, (width, height), dots).save(made, form)
    return made.getvalue()


def drawing(inside: str = "", head: str = "", root: str = 'viewBox="0 0 60 20"') -> bytes:
    return f'{head}<svg xmlns="http://www.w3.org/2000/svg" {root}>{inside}</svg>'.encode()


def ground(*colour: int) -> bytes:
    """One colour all over: white, or clear."""
    made = BytesIO()
    Image.new("RGBA", (300, 100), colour).save(made, "PNG")
    return made.getvalue()


def content_of(text: str) -> bytes:
    found = picture_in(text)
    assert found is not None
    return base64.b64decode(found[1])


@pytest.mark.parametrize(
    ("content", "ending"),
    [
        (picture(1800, 600), "png"),
        (picture(1800, 600, "JPEG"), "png"),
        (picture(300, 300, "PNG", "RGBA"), "png"),
        (DRAWING.encode(), "svg"),
        (b"\xef\xbb\xbf<?xml version='1.0'?><!DOCTYPE svg>" + DRAWING.encode(), "svg"),
    ],
)
def test_a_logo_fits_an_entry_and_its_place_on_paper(content: bytes, ending: str) -> None:
    text = logo_as_kept(content)
    assert len(content_of(text)) <= LARGEST
    logo = logo_to_print(text)
    assert logo is not None
    assert logo.ending == ending
    assert logo.width <= WIDEST + 1e-9
    assert logo.height <= HIGHEST + 1e-9
    assert logo_as_kept(content_of(text)) == text or ending == "png", "a drawing written anew stays as it is"


def test_nothing_but_dots_is_kept_of_a_picture() -> None:
    made = BytesIO()
    image = Image.open(BytesIO(picture(80, 40, "JPEG")))
    exif = Image.Exif()
    exif[0x010F] = "a secret place"
    image.save(made, "JPEG", exif=exif, comment=b"a secret word")
    assert b"secret" in made.getvalue()
    assert b"secret" not in content_of(logo_as_kept(made.getvalue()))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"no picture", "no picture that can be read"),
        (picture(200, 100)[:2000], "cut off"),
        (b"\x89PNG" + bytes(6_000_000), "larger than 5 MB"),
        (picture(2100, 100), "20 times"),
        (drawing("<script>alert(1)</script>"), "<script>"),
        (drawing('<image width="1" height="1" href="/etc/passwd"/>'), "<image>"),
        (drawing('<image xmlns:x="http://www.w3.org/1999/xlink" x:href="file:///etc/passwd"/>'), "<image>"),
        (drawing('<use href="#a"/>'), "<use>"),
        (drawing("<foreignObject/>"), "<foreignObject>"),
        (drawing("<style>@import url(x.css)</style>"), "<style>"),
        (drawing("<text>font</text>"), "<text>"),
        (drawing('<filter id="f"/>'), "<filter>"),
        (drawing('<path d="M0 0" onload="x()"/>'), "'onload'"),
        (drawing('<path d="M0 0" fill="url(http://x/y#z)"/>'), "loads something in 'fill'"),
        (drawing('<path d="M0 0" style="fill:url(data:image/png;base64,AA)"/>'), "loads something in 'fill'"),
        (drawing('<linearGradient id="a" href="#a"/>'), "'href'"),
        (drawing(head='<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;">]>'), "entities"),
        (drawing(head='<!DOCTYPE svg SYSTEM "file:///etc/passwd" [ <!ENTITY x SYSTEM "y"> ]>'), "entities"),
        (drawing(head='<?xml-stylesheet href="a.css"?>'), "style sheets"),
        (drawing("<g>" * 40 + "</g>" * 40), "groups more than 24 deep"),
        (drawing("<g/>" * 2001), "more than 2000 parts"),
        (drawing(f'<path d="{"M0 0 " * 8000}"/>'), "30000 fit"),
        (drawing(root=""), "how wide"),
        (drawing(root='viewBox="0 0 0 20"'), "how wide"),
        (drawing(root='viewBox="0 0 1e9 nan"'), "how wide"),
        (drawing(root='viewBox="0 0 999 2"'), "20 times"),
        (DRAWING.encode("utf-16"), "UTF-8"),
        (b"<svg", "cannot be read"),
        (b"<html/>", "no SVG drawing"),
        (ground(255, 255, 255, 255), "white paper"),
        (ground(0, 0, 0, 0), "white paper"),
    ],
)
def test_what_cannot_be_a_logo_is_refused_and_printed_by_no_book(content: bytes, says: str) -> None:
    with pytest.raises(LogoRefused, match=says.replace("(", r"\(")):
        logo_as_kept(content)
    for kind in ("svg+xml", "png"):  # as another program may have written it
        assert logo_to_print(f"data:image/{kind};base64,{base64.b64encode(content[:40_000]).decode()}") is None


@pytest.mark.parametrize(
    ("inside", "says"),
    [
        ("", "white paper"),
        ('<rect width="60" height="20" fill="white"/>', "white paper"),
        ('<rect x="99" width="9" height="9"/>', "white paper"),
        ('<rect width="9" height="9" opacity="0.01"/>', "white paper"),
        ('<rect width="9" height="9"/><rect width="60" height="20" fill="#fff"/>', "white paper"),
        ('<rect width="9" height="9" fill="white"/><rect x="30" width="1" height="1"/>', ""),
    ],
)
def test_a_drawing_of_which_nothing_is_seen_on_paper_is_refused_where_it_is_set(inside: str, says: str) -> None:
    if says:
        with pytest.raises(LogoRefused, match=says):
            logo_as_kept(drawing(inside))
    else:
        assert logo_as_kept(drawing(inside))


def test_a_drawing_that_no_book_can_print_is_refused_where_it_is_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """It was taken, and each book left it out without a word."""

    def refuse(*_: object) -> bytes:
        raise BookRefused("no size")

    monkeypatch.setattr("garboard.report.logo.on_paper", refuse)
    with pytest.raises(LogoRefused, match="No book can print"):
        logo_as_kept(DRAWING.encode())


@pytest.mark.parametrize("value", ["", None, 7, "555 0142", "data:image/png;base64,", "data:text/html;base64,AAAA"])
def test_what_is_no_picture_is_no_logo(value: object) -> None:
    assert logo_to_print(value) is None


def test_what_belongs_to_a_drawing_program_is_left_out() -> None:
    kept = content_of(
        logo_as_kept(
            drawing(
                '<x:view xmlns:x="http://a.invalid/x"><x:grid/></x:view><title>Secret</title>'
                '<rect x:label="a" xmlns:x="http://a.invalid/x" width="9" height="9" style="fill:red;-x-y:1"/>'
            )
        )
    )
    assert kept == drawing('<rect width="9" height="9" fill="red" />').replace(
        b'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 20"',
        b'viewBox="0 0 60 20" xmlns="http://www.w3.org/2000/svg"',
    )


def with_logo(view: JobView, text: str) -> JobView:
    return attrs.evolve(view, settings={**view.settings, LOGO: text})


def alternatives(book: bytes) -> list[str]:
    return [alt for tag, alt, _ in structure_of(book) if tag == "/Figure"]


@pytest.mark.parametrize("content", [picture(600, 200), DRAWING.encode()])
def test_the_logo_stands_on_the_cover_with_its_words(tmp_path: Path, content: bytes) -> None:
    view = small_plugin.small_view(tmp_path)
    book = handover_book(with_logo(view, logo_as_kept(content)), HOST, ())
    assert alternatives(book)[0] == "Logo of Test shop."
    assert "Logo of Test shop." not in alternatives(handover_book(view, HOST, ()))


def test_no_book_fails_for_a_logo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture that its own check lets pass and the typesetter refuses: the book is made without."""
    from garboard.report import book as made
    from garboard.report.logo import Logo

    monkeypatch.setattr(made, "logo_to_print", lambda text: Logo(b"no picture", "png", 10.0, 10.0))
    view = with_logo(small_plugin.small_view(tmp_path), "any")
    pages = PdfReader(BytesIO(handover_book(view, HOST, ()))).pages
    assert "HANDOVER BOOK" in pages[0].extract_text()


def test_a_manager_sets_the_logo_from_a_file_and_no_command_prints_its_bytes(tmp_path: Path) -> None:
    shop, file = tmp_path / "shop", tmp_path / "logo.png"
    shop.mkdir()
    file.write_bytes(picture(300, 100))
    by = ("--by", "M. Office", "--reason", "new sign")

    def run(*words: str) -> tuple[int, str]:
        done = CliRunner().invoke(program, ["settings", *words])
        return done.exit_code, done.output

    status, said = run("picture", str(shop), LOGO, str(file), *by)
    assert status == 0
    assert said.startswith(f"{LOGO} is a picture (JPEG, ")
    for words in (("list", str(shop)), ("show", str(shop), LOGO)):
        status, said = run(*words)
        assert status == 0
        assert "a picture (" in said
        assert "base64" not in said
    file.write_bytes(drawing("<script/>"))
    assert run("picture", str(shop), LOGO, str(file), *by)[0] != 0
    assert "key of a setting that is a picture" in run("picture", str(shop), "handover.shop_hours", str(file), *by)[1]
    assert "garboard settings picture" in run("set", str(shop), LOGO, "my words", *by)[1]
    (tmp_path / "link.png").symlink_to(file)
    file.write_bytes(picture(300, 100))
    assert run("picture", str(shop), LOGO, str(tmp_path / "link.png"), *by)[0] == 0, "a link to a picture is one"
    os.mkfifo(tmp_path / "pipe")
    with (tmp_path / "endless").open("wb") as endless:
        endless.truncate(3_000_000_000)
    for odd, says in (("pipe", "no file"), ("endless", "larger than 5 MB"), ("shop", "no file"), ("none", "no file")):
        status, said = run("picture", str(shop), LOGO, str(tmp_path / odd), *by)
        assert (status != 0, says in said) == (True, True), said
