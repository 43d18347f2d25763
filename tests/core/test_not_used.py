"""Readings of equipment the boat does not have are marked so wherever values stand; readings of what it has are not."""

from __future__ import annotations

from pathlib import Path

import attrs
import pytest

from garboard.fields import Field, Kind
from garboard.hosting.unused import not_used, row_misfits, why_not_used
from garboard.job_view import FieldKey, JobView, place_of
from garboard.judging.assessing import questions
from garboard.records import Engine, Measurement
from garboard.report.book import handover_book
from garboard.steps import Phase, Step
from printed import printed_words
from small_plugin import small_host, small_view

HOST = small_host()


@pytest.fixture
def twin(tmp_path: Path) -> JobView:
    return small_view(tmp_path)


def single(view: JobView) -> JobView:
    """The job moved to a boat with one engine."""
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, engines=(Engine(position="centre"),)))


def words_of(view: JobView) -> str:
    return printed_words(handover_book(view, HOST, HOST.assess(view), "letter"))


@pytest.mark.parametrize(
    ("place", "why"),
    [
        (("small.run", "speed", "", "port"), "not used: no port engine on this boat"),
        (("small.run", "speed", "", ""), "not used: it does not say of which piece"),
        (("small.horn", "heard", "", "port"), "not used: it is asked once, not for port"),
        (("small.run", "speed", "", "centre"), ""),
        (("small.horn", "heard", "", ""), ""),
        (("small.horn", "heard", "3", ""), "not used: it does not stand in its row"),
        (("small.run", "of another plugin", "", "port"), ""),
        (("other.step", "speed", "", "port"), ""),
    ],
)
def test_why_a_value_is_not_used(twin: JobView, place: FieldKey, why: str) -> None:
    assert why_not_used(place, single(twin).vessel, HOST) == why


def test_a_column_has_a_row_and_nothing_else_has_one() -> None:
    speed = Field(name="speed", title="Speed", kind=Kind.AMOUNT, quantity="speed", unit="kn", hard=(0, 90))
    runs = Field(name="runs", title="Runs", kind=Kind.TABLE, columns=(speed,))
    by_engine = Field(name="rigged", title="As rigged", kind=Kind.TABLE, each="engines", columns=(speed,))
    for table, row, is_wrong in ((runs, "", True), (runs, "2", False), (by_engine, "", False), (by_engine, "1", False)):
        step = Step(key="a.b", title="B", phase=Phase.ALONGSIDE, order=1, fields=(table,))
        assert bool(row_misfits("speed", row, step)) is is_wrong


def test_a_value_in_a_wrong_row_is_asked_about(twin: JobView) -> None:
    horn = Measurement(step="small.horn", field="heard", row="3", value=True, by="A. Hand")
    told = [
        one.words for one in questions(attrs.evolve(twin, measurements=(horn,)), HOST) if one.place == place_of(horn)
    ]
    assert told == ["it has no rows, so row 3 is not used. Is it right?"]


def test_a_twins_readings_on_a_single_are_said_in_its_book_and_on_a_twin_they_are_not(twin: JobView) -> None:
    found = not_used(single(twin), HOST)
    assert [(one.step, one.kind) for one in found] == [("small.run", "engines")] * 2
    assert {one.why for one in found} == {f"not used: no {side} engine on this boat" for side in ("port", "starboard")}
    assert not_used(twin, HOST) == []
    said = words_of(single(twin))
    assert all(one.in_words in said for one in found)
    assert "not used" not in words_of(twin).lower()
