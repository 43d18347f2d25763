"""An entry of a shape nobody expected closes no page: it is counted and named with its boat, the others are shown."""

from __future__ import annotations

import random
from urllib.parse import quote

import pytest

from examples import few
from garboard.disk.clock import Stamp
from garboard.disk.entries import entry_id, make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.records import JsonValue
from garboard_shop.pages import summaries
from garboard_shop.pages.summaries import BoatSummary, make_summary
from hostile_entries import hostile
from pages_rig import KITTIWAKE, LONG_REACH, NOON, SALTGRASS, Browser, Pages, words_of

DAY = "/days/2026-11-25"
SEED = 20261129


def deliver(pages: Pages, hull: str, *raws: bytes) -> None:
    pages.store.put_if_absent({hull: CheckedEntries((entry_id(raw), raw) for raw in raws)}, "000000000001", NOON, 0)


def strange(pages: Pages, hull: str, kind: str, subject: tuple[str, ...], value: JsonValue) -> bytes:
    job = pages.desk.summaries.of(hull)
    assert job is not None
    return make_entry(
        kind,
        hull,
        dev="000000000001",
        by="R. Vane",
        clock=Stamp(NOON, 0),
        at="2026-11-25T12:00:00+01:00",
        job=job.jobs[0].id if kind != "field" else "",
        subject=subject,
        value=value,
    ).raw


@pytest.mark.parametrize(
    ("kind", "subject", "value"),
    [
        ("job", ("technicians",), [1, 2]),
        ("measure", ("prop_check.full_throttle", "engine_speed", "", "port"), ["5400 rpm"]),
        ("note", ("n1",), [["deep"]]),
        ("signoff", ("owner", "A"), {"role": "owner", "name": {"a": "b"}}),
        ("field", ("engines", "port"), ["outboard"]),
    ],
)
def test_it_is_counted_and_named_on_the_day_sheet_and_the_boats_page(
    pages: Pages, kind: str, subject: tuple[str, ...], value: JsonValue
) -> None:
    deliver(pages, KITTIWAKE, strange(pages, KITTIWAKE, kind, subject, value))
    browser = pages.signed_in()
    sheet = words_of(browser.text(DAY))
    assert "1 entry of this boat cannot be read" in sheet
    assert all(f"{hull}" in sheet for hull in (SALTGRASS, KITTIWAKE, LONG_REACH))
    assert "1 entry of this boat cannot be read" in words_of(browser.text(f"/boats/{KITTIWAKE}"))
    assert "cannot be read" not in words_of(browser.text(f"/boats/{SALTGRASS}"))


@pytest.mark.parametrize("job", ["é\n", "../x", "a/b\nc"])
def test_a_job_of_any_id_has_its_book_and_its_history(pages: Pages, manager: Browser, job: str) -> None:
    value = make_entry(
        "measure",
        KITTIWAKE,
        dev="000000000001",
        by="R. Vane",
        clock=Stamp(NOON, 0),
        at="2026-11-25T12:00:00+01:00",
        job=job,
        subject=("steering.feel", "play", "", ""),
        value="fine",
    )
    deliver(pages, KITTIWAKE, value.raw)
    address = f"/boats/{KITTIWAKE}/jobs/{quote(job, safe='')}"
    assert manager.get(f"{address}/book.pdf").content.startswith(b"%PDF")
    assert "fine" in words_of(manager.text(f"{address}/history?of=steering.feel/play"))


def test_hundreds_of_hostile_entries_close_no_page(pages: Pages, manager: Browser) -> None:
    """Every page of the boat, its book and its export open; another boat's page is as it was, to the letter."""
    before = manager.text(f"/boats/{SALTGRASS}")
    real = [*pages.store.get(KITTIWAKE, pages.store.ids(KITTIWAKE)).values()]
    deliver(pages, KITTIWAKE, *hostile(random.Random(SEED), KITTIWAKE, real, few(600)))
    pages.desk.index.refresh()
    assert "cannot be read" in words_of(manager.text(DAY))
    summary = pages.desk.summaries.of(KITTIWAKE)
    assert summary is not None
    addresses = [
        f"/boats/{KITTIWAKE}",
        "/boats?q=kittiwake",
        f"/measurements.csv?hull={KITTIWAKE}",
        "/measurements.csv",
    ]
    addresses += [f"/boats/{KITTIWAKE}/jobs/{quote(job.id, safe='')}/book.pdf" for job in summary.jobs[:2]]
    for address in (*addresses, f"/measurements.xlsx?hull={KITTIWAKE}"):
        assert manager.get(address).status_code == 200, address
    assert manager.text(f"/boats/{SALTGRASS}") == before


def test_a_mistake_of_the_program_over_one_boat_leaves_the_others_on_the_sheet(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: object) -> BoatSummary:
        if args[2] == KITTIWAKE:
            raise IndexError("whatever")
        return make_summary(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(summaries, "make_summary", broken)
    sheet = words_of(manager.text(DAY))
    assert f"Hull {KITTIWAKE}: the program made a mistake" in sheet
    assert SALTGRASS in sheet
