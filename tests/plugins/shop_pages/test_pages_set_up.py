"""A boat set up on the shop's pages: begun like another, kept as a template, its circuits from a table."""

from __future__ import annotations

import csv
from io import StringIO

import pytest

from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import Author
from garboard.history.replay import HullState
from garboard_shop.pages.summaries import open_boat
from pages_rig import HAND, NOON, SALTGRASS, Browser, Pages, form_to, words_of

NEW, BOAT = "XYZAB123F526", f"/boats/{SALTGRASS}"


def names(pages: Pages, hull: str) -> list[str]:
    return [one.name for one in open_boat(pages.store, hull)[0].vessel().circuits]


def landed(manager: Browser, form: object, **fields: str) -> str:
    """What the page says after a form was sent, whether it was taken or not."""
    answer = manager.send(form, **{"anyway": "", **fields})  # type: ignore[arg-type]
    return words_of(manager.text(answer.headers["location"]) if answer.status_code == 303 else answer.text)


def test_a_new_boat_begins_like_another_or_like_a_template(pages: Pages, manager: Browser) -> None:
    said = landed(manager, form_to(manager.text(BOAT), f"{BOAT}/template"), name="Bay boat")
    assert "Kept as a template" in said
    page = manager.text("/boats")
    assert '<option value="Bay boat">' in page
    said = landed(manager, form_to(page, "/boats/new"), hull=NEW, like="bay boat", owner="A. Marsh")
    assert "A job is open" in said
    assert "A. Marsh" in said
    landed(manager, form_to(page, "/boats/new"), hull="XYZAB124F526", like=SALTGRASS)
    landed(manager, form_to(page, "/boats/new"), hull="XYZAB125F526", like="")
    assert names(pages, NEW) == names(pages, "XYZAB124F526") == names(pages, SALTGRASS)
    assert names(pages, "XYZAB125F526") == []


@pytest.mark.parametrize(
    ("hull", "like", "told"),
    [
        ("XYZ", SALTGRASS, "12 characters"),
        (NEW, "no such", "a template (none is kept)"),
        (SALTGRASS, "", "a boat without a job"),
    ],
)
def test_what_cannot_be_begun_is_refused_and_nothing_is_written(
    pages: Pages, manager: Browser, hull: str, like: str, told: str
) -> None:
    before = pages.entries()
    assert told in landed(manager, form_to(manager.text("/boats"), "/boats/new"), hull=hull, like=like)
    assert pages.entries() == before


def test_circuits_leave_as_a_table_and_come_back(pages: Pages, manager: Browser) -> None:
    table = manager.get(f"{BOAT}/circuits.csv").text
    assert [row["name"] for row in csv.DictReader(StringIO(table))] == names(pages, SALTGRASS)
    form, before = form_to(manager.text(BOAT), f"{BOAT}/circuits"), pages.entries()
    assert "7 circuits read, 0 facts changed" in landed(manager, form, table=table)
    assert "1 circuit read, 1 fact changed" in landed(manager, form, table="name\tlength\nVHF radio\t8 ft")
    older = manager.send(form, table=table)
    assert older.status_code == 409, "made before: it would take what was measured since away"
    form = form_to(manager.text(BOAT), f"{BOAT}/circuits")
    said = landed(manager, form, table="name,length\nVHF radio,seven")
    assert "line 2, length (VHF radio)" in said
    assert pages.entries() == before + 1


def test_a_technician_sets_nothing_up_here(pages: Pages) -> None:
    technician = pages.signed_in(HAND)
    before = pages.entries()
    csrf = technician.csrf()
    for address, more in (
        ("/boats/new", {"hull": NEW}),
        (f"{BOAT}/template", {"name": "x"}),
        (f"{BOAT}/circuits", {"table": "name\nx"}),
    ):
        assert technician.post(address, {"csrf": csrf, **more}).status_code == 403
    assert pages.entries() == before


def test_equipment_of_a_shops_own_kind_is_shown_and_names_the_plugin_it_needs(pages: Pages, manager: Browser) -> None:
    for field, value in (("name", "road"), ("gvwr", "5000 lb")):
        subject = ("trailer.trailers", "road", field)
        entry = Author("tablet 9", HAND).write(HullState(SALTGRASS), "field", subject, value)
        pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    said = words_of(manager.text(BOAT))
    assert "Trailers (needs the plugin trailer)" in said
    assert "Gvwr road 5000 lb" in said
