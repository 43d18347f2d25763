"""Readings of equipment the boat does not have are marked so wherever values stand; readings of what it has are not."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import attrs
import pytest
from pypdf import PdfReader

from garboard.hosting.unused import not_used, why_not_used
from garboard.job_view import FieldKey, JobView
from garboard.records import Engine
from garboard.report.book import handover_book
from small_plugin import small_host, small_view

HOST = small_host()


@pytest.fixture
def twin(tmp_path: Path) -> JobView:
    return small_view(tmp_path)


def single(view: JobView) -> JobView:
    """The job moved to a boat with one engine."""
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, engines=(Engine(position="centre"),)))


def words_of(view: JobView) -> str:
    pages = PdfReader(BytesIO(handover_book(view, HOST, HOST.assess(view), "letter"))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize(
    ("place", "why"),
    [
        (("small.run", "speed", "", "port"), "not used: no port engine on this boat"),
        (("small.run", "speed", "", ""), "not used: it does not say of which piece"),
        (("small.horn", "heard", "", "port"), "not used: it is asked once, not for port"),
        (("small.run", "speed", "", "centre"), ""),
        (("small.horn", "heard", "", ""), ""),
        (("small.run", "of another plugin", "", "port"), ""),
        (("other.step", "speed", "", "port"), ""),
    ],
)
def test_why_a_value_is_not_used(twin: JobView, place: FieldKey, why: str) -> None:
    assert why_not_used(place, single(twin).vessel, HOST) == why


def test_a_twins_readings_on_a_single_are_said_in_its_book_and_on_a_twin_they_are_not(twin: JobView) -> None:
    found = not_used(single(twin), HOST)
    assert [(one.step, one.kind) for one in found] == [("small.run", "engines")] * 2
    assert {one.why for one in found} == {f"not used: no {side} engine on this boat" for side in ("port", "starboard")}
    assert not_used(twin, HOST) == []
    said = words_of(single(twin))
    assert all(one.in_words in said for one in found)
    assert "not used" not in words_of(twin).lower()
