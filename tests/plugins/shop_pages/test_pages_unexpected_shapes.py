"""An entry of a shape nobody expected closes no page: it is counted and named with its boat, the others are shown."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from tempfile import mkdtemp
from urllib.parse import quote

import pytest

from examples import few
from garboard.disk.clock import Stamp
from garboard.disk.entries import SHOP_RECORD, entry_id, make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.history.registers import name_of
from garboard.hosting.host import PluginHost
from garboard.records import JsonValue
from garboard_shop.pages import summaries
from garboard_shop.pages.summaries import BoatSummary, make_summary, open_boat
from hostile_entries import FORMS, NO_LIST, SOUND_FORM, TAKEN_BACK, culprit, every_shape, hostile
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


OF_FORM = {NO_LIST: KITTIWAKE, **{form: f"QQZ0883{number}B626" for number, form in enumerate(FORMS) if form != NO_LIST}}
"""A boat for each form: what is strange is alone in its register. One of them has a day's work."""


def with_every_shape(pages: Pages, forms: Sequence[str] = FORMS, only: Sequence[bytes] | None = None) -> dict[str, str]:
    """Deliver each form's entries to its boat, or only those; returns each boat's job."""
    jobs = {}
    for form in forms:
        hull = OF_FORM[form]
        here = pages.desk.summaries.of(hull)
        jobs[hull] = here.jobs[0].id if here is not None else "job-1"
        deliver(pages, hull, *(every_shape(hull, jobs[hull], form) if only is None else only))
    pages.desk.index.refresh()
    pages.desk.remembering.bring_up_to_date()
    return jobs


def not_shown(manager: Browser, addresses: Iterable[str]) -> list[str]:
    """Those of some pages that do not open, and those that tell of a mistake of the program."""
    answers = {address: manager.get(address) for address in addresses}
    is_page = {address: "text/html" in answer.headers["content-type"] for address, answer in answers.items()}
    return [
        address
        for address, answer in answers.items()
        if answer.status_code != 200 or (is_page[address] and "made a mistake" in words_of(answer.text))
    ]


def pages_of(pages: Pages, hull: str, job: str) -> tuple[str, ...]:
    """The pages of a boat, and the histories of what names nothing it is about."""
    boat, _, _ = open_boat(pages.store, hull)
    names = {name_of(key) for _, key in boat.registers(job) if not key.subject}
    job = quote(job, safe="")
    return (
        *(f"/boats/{hull}/jobs/{job}/history?of={quote(name, safe='')}" for name in sorted(names)),
        f"/boats/{hull}",
        f"/boats/{hull}/plan?job={job}",
        f"/boats/{hull}/move?job={job}",
        f"/boats/{hull}/circuits.csv",
        f"/boats/{hull}/jobs/{job}/book.pdf",
        f"/measurements.csv?hull={hull}",
    )


def test_each_kind_with_a_subject_of_any_length_closes_no_page(
    pages: Pages, manager: Browser, delivered_day: Path, plugins: PluginHost, tmp_path: Path
) -> None:
    """Also where it stands alone in its register, and a signature does not cover it."""
    jobs = with_every_shape(pages)
    of_boats = {hull: pages_of(pages, hull, job) for hull, job in jobs.items()}
    closed = not_shown(manager, (DAY, "/boats", "/board?view=all", "/insight", "/measurements.xlsx"))
    for form, hull in OF_FORM.items():
        for address in (*not_shown(manager, of_boats[hull]), *closed):

            def fails(raws: Sequence[bytes], form: str = form, address: str = address) -> bool:
                folder = Path(mkdtemp(dir=tmp_path)) / "shop"
                shutil.copytree(delivered_day, folder)
                with Pages(folder, plugins) as anew:
                    with_every_shape(anew, [form], raws)
                    return bool(not_shown(anew.signed_in(), [address]))

            named = culprit([*every_shape(hull, jobs[hull], form)], fails)
            pytest.fail(f"{address}, entries of form {form}: {named}")
    for form, hull in OF_FORM.items():
        summary = pages.desk.summaries.of(hull)
        assert summary is not None
        (job,) = [one for one in summary.jobs if one.id == jobs[hull]]
        told = [name for one in job.stale for name in one.not_covered]
        assert told, form
        assert all(name.strip(" :,") for name in told), form


def test_each_kind_in_the_shops_record_closes_no_page(pages: Pages, manager: Browser) -> None:
    """Of the shop's own settings, templates and views, also where one names a job."""
    for form, job in ((SOUND_FORM, ""), (SOUND_FORM, "job-1"), (TAKEN_BACK, "")):
        deliver(pages, SHOP_RECORD, *every_shape(SHOP_RECORD, job, form))
    pages.desk.remembering.bring_up_to_date()
    addresses = (DAY, "/boats", "/board", "/settings", "/insight", f"/boats/{KITTIWAKE}")
    assert not_shown(manager, addresses) == []


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
