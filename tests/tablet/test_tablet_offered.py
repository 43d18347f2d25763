"""What is offered to take with one press, and what is not asked at all."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import attrs
import pytest

from builders import boat, job_view
from garboard.disk.clock import Stamp
from garboard.disk.entries import make_entry
from garboard.fields import IN_A_YEAR, PEOPLE, TODAY, Field, Kind
from garboard.records import Engine
from garboard.steps import Phase, Step
from garboard_engine_trial.alongside_steps import AS_RIGGED, MAKERS_WINDOW
from garboard_engine_trial.steps import step_of
from garboard_tablet.models.asks import Ask, asks_of_step
from garboard_tablet.models.begun import begun_with
from garboard_tablet.models.offered import keep_word, with_offers
from garboard_tablet.models.settings import read_settings
from garboard_tablet.models.tablet import Tablet, open_tablet


def text(name: str, **more: tuple[str, ...]) -> Field:
    return Field(name=name, title=name.capitalize(), kind=Kind.TEXT, **more)  # type: ignore[arg-type]  # of words


STEP = Step(
    key="trial.after",
    title="After",
    phase=Phase.HAND_OVER,
    order=1,
    fields=(
        Field(
            name="items",
            title="Items",
            kind=Kind.TABLE,
            columns=(text("item", offers=("Seats",), offers_from=("trial.list",)), text("note")),
        ),
        text("by", offers_from=(PEOPLE,)),
        text("on", offers_from=(TODAY,)),
        text("due", offers_from=(IN_A_YEAR,)),
        text("tank", offers_from=("tanks",)),
    ),
)
VIEW = job_view(boat(1), {("trial.after", "item", "1", ""): "cleats"}, settings={"trial.list": "Cleats; Ladder "})


@pytest.fixture
def tablet(tmp_path: Path) -> Tablet:
    made = open_tablet(tmp_path / "tablet")
    made.change_settings(made.settings.with_person("Robin"))
    return made


def offered(tablet: Tablet, name: str, row: str = "") -> tuple[str, ...]:
    return with_offers(tablet, ask(name, row), STEP, VIEW).field.offers


def ask(name: str, row: str = "") -> Ask:
    asks = asks_of_step(STEP, VIEW, open_tables=("items",))
    return next(one for one in asks if (one.field.name, one.row) == (name, row))


def test_the_shops_list_stands_first_and_what_a_row_has_is_not_offered_again(tablet: Tablet) -> None:
    assert offered(tablet, "item", "1") == ("Cleats", "Ladder", "Seats")
    assert offered(tablet, "item", "2") == ("Ladder", "Seats")


def test_a_list_grows_by_what_was_entered_and_a_remark_is_no_list(tablet: Tablet) -> None:
    for word in ("Outrigger base", "Rod locker", "outrigger base"):
        keep_word(tablet, ask("item", "2"), STEP, word)
    assert offered(tablet, "item", "2") == ("Ladder", "Seats", "outrigger base", "Rod locker")
    keep_word(tablet, ask("note", "2"), STEP, "scratched")
    keep_word(tablet, ask("item", "2"), STEP, "x" * 41)
    assert offered(tablet, "note", "2") == ()
    kept = read_settings(tablet.folder, [])
    assert kept.words == tablet.settings.words, "on the disk"
    keep_word(tablet, ask("item", "2"), STEP, "Seats")
    assert kept.words == tablet.settings.words, "what is offered anyway is not kept"


def test_a_day_people_and_equipment_are_offered(tablet: Tablet) -> None:
    assert offered(tablet, "by")[0] == "Robin"
    today, due = (date.fromisoformat(offered(tablet, name)[0]) for name in ("on", "due"))
    assert 364 <= (due - today).days <= 366
    assert offered(tablet, "tank") == tuple(one.name for one in VIEW.vessel.tanks)


@pytest.mark.parametrize("wrong", [("nothing",), ("engine",)])
def test_what_offers_from_nowhere_is_refused(wrong: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="offers_from must be"):
        text("by", offers_from=wrong)


def test_a_single_is_not_asked_for_the_toe_of_twins() -> None:
    asked = [{one.field.name for one in asks_of_step(step_of(AS_RIGGED), job_view(boat(n), {}))} for n in (1, 2)]
    assert asked[1] - asked[0] == {"spacing", "toe_ahead", "toe_aft"}
    entered = job_view(boat(1), {(AS_RIGGED, "toe_aft", "", ""): "28 in"})
    assert "toe_aft" in {one.field.name for one in asks_of_step(step_of(AS_RIGGED), entered)}, "it can be taken back"


def test_limits_say_of_which_model_as_the_first_is_entered() -> None:
    vessel = attrs.evolve(boat(1), engines=(Engine(position="centre", model="FW150"),))
    first = make_entry(
        "measure",
        "QRB20417A626",
        dev="one",
        by="Kim",
        clock=Stamp(1, 0),
        at="2026-05-14T09:30:00+02:00",
        job="J-1",
        subject=(MAKERS_WINDOW, "idle_low", "", "centre"),
        value="600 rev/min",
    )
    begun = list(begun_with(lambda _key: step_of(MAKERS_WINDOW), job_view(vessel, {}), [first]))
    assert begun == [((MAKERS_WINDOW, "limits_of", "", "centre"), "FW150")]
    there = job_view(vessel, {(MAKERS_WINDOW, "idle_high", "", "centre"): "750 rev/min"})
    assert list(begun_with(lambda _key: step_of(MAKERS_WINDOW), there, [first])) == []
