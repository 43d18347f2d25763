"""Labels on the boat's page: taken away as PDF, said to be printed, named when they are stale."""

from __future__ import annotations

from io import BytesIO

import pytest
from pypdf import PdfReader

from garboard.disk.clock import Stamp
from garboard.disk.entries import make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.history.registers import RegisterKey
from garboard_shop.pages.summaries import open_boat
from pages_rig import NOON, SALTGRASS, Browser, Pages, form_to, words_of

PRINTED = f"/boats/{SALTGRASS}/labels/printed"
BOAT = f"/boats/{SALTGRASS}"
BREAKER = ("circuits", "VHF radio", "protection_rating")


def change_breaker(pages: Pages, rating: str) -> None:
    boat = open_boat(pages.store, SALTGRASS)[0]
    entry = make_entry(
        "field",
        SALTGRASS,
        dev="tablet 9",
        by="N. Sorrel",
        clock=Stamp(NOON, 0),
        at="2026-11-25T11:00:00+00:00",
        subject=BREAKER,
        value=rating,
        replaces=boat.state.heads(RegisterKey("field", "", BREAKER)),
    )
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    pages.desk.index.refresh()


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ("sheet", "4 VHF radio"),
        ("tape12", "4 VHF radio"),
        ("schedule", "VHF radio breaker 10 A"),
        ("sticker", SALTGRASS),
    ],
)
def test_every_form_is_a_pdf_of_this_boat(manager: Browser, form: str, says: str) -> None:
    answer = manager.get(f"{BOAT}/labels/{form}.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages)
    assert says in " ".join(text.split())
    assert f'href="{BOAT}/labels/{form}.pdf"' in manager.text(BOAT)


def test_another_form_is_refused(manager: Browser) -> None:
    assert manager.get(f"{BOAT}/labels/tape10.pdf").status_code == 404


def test_printed_is_kept_and_a_later_change_names_the_label_as_stale(pages: Pages, manager: Browser) -> None:
    page = manager.text(BOAT)
    assert manager.send(form_to(page, PRINTED)).status_code == 303
    assert "The label of" not in words_of(manager.text(BOAT))
    change_breaker(pages, "15 A")
    said = words_of(manager.text(BOAT))
    assert "The label of VHF radio says “4 | VHF radio | breaker 10 A | 14 AWG | from panel, house”" in said
    assert "Print 1 label anew." in said


def test_what_was_changed_while_it_was_printed_is_not_said_to_be_printed(pages: Pages, manager: Browser) -> None:
    page, before = manager.text(BOAT), pages.entries()
    change_breaker(pages, "20 A")
    answer = manager.send(form_to(page, PRINTED))
    assert pages.entries() == before + 1
    assert "Print the labels again" in words_of(
        manager.text(answer.headers["location"]) if answer.status_code == 303 else answer.text
    )


def test_a_scanned_sticker_finds_the_boat(manager: Browser) -> None:
    found = words_of(manager.text(f"/boats?q=https://shop.test{BOAT}"))
    assert "Saltgrass" in found
    assert "Kittiwake" not in found
