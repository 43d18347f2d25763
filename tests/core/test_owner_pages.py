"""What stands on an owner's page: each block goes over as data and is drawn within its measures."""

import itertools
import math
from collections.abc import Sequence
from itertools import combinations
from typing import Any

import attrs
import pytest

from garboard.hosting.exact import exact
from garboard.hosting.plain import as_bytes, block_of, from_bytes, plain_block
from garboard.hosting.sections import checked_blocks
from garboard.owner_pages import (
    Bar,
    Bars,
    Digits,
    OwnerBlock,
    Photographs,
    Place,
    Plan,
    Pointer,
    Ruler,
    RulerStep,
    Span,
    Steps,
)
from garboard.report.blocks import TEXT_WIDTH, big_digits
from garboard.report.owner import in_owners_words
from garboard.report.owner_drawings import bars_drawn, plan_drawn, ruler_drawn
from garboard.report.type_faces import width_of
from garboard.steps import COVER, RECORD, YOUR_BOAT, ReportSection

RULER = Ruler(
    spans=(Span(name="slow", low=650, high=2100), Span(name="run through", low=2100, high=3090, look="avoid")),
    steps=tuple(RulerStep(at=float(at), cells=(f"{at}", "5.3")) for at in range(600, 6001, 100)),
    rows=("rev/min", "kn"),
    pointers=(Pointer(name="usual 4200", at=4200.0), Pointer(name="highest tried 4300", at=4300.0)),
    alt="A ruler.",
)
PLACES = (
    Place(name="Battery switch", along=0.1, across=0.5, is_first=True),
    Place(name="Fuel shut-off", along=0.1, across=0.5, is_first=True),
    Place(name="Anchor", along=1.0, across=1.0),
    Place(name="First aid kit"),
)
PLAN = Plan(places=PLACES, hull_form="planing", length=26.4, beam=9.0)
BARS = Bars(bars=(Bar(name="slowly", value=149.0, text="149 nm out, 149 back"),), alt="Bars.")
BLOCKS = (
    Digits("85 nm", "out", ("from 170 gal",)),
    RULER,
    BARS,
    PLAN,
    Steps(("Stop.",), "If"),
    Photographs("a.b", "c"),
)


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: type(block).__name__)
def test_a_block_comes_over_from_another_process_as_it_was(block: OwnerBlock) -> None:
    assert block_of(from_bytes(as_bytes(plain_block(block)))) == block
    assert checked_blocks([block]) == [block]
    assert exact(block) is block


def test_a_section_stands_in_the_record_unless_it_says_otherwise() -> None:
    section = ReportSection(key="a.b", title="B", order=1, build=lambda view, assessed: [])
    assert section.part == RECORD
    assert {attrs.evolve(section, part=part).part for part in (YOUR_BOAT, COVER)} == {YOUR_BOAT, COVER}
    with pytest.raises(ValueError, match="part is one of record, your boat, cover, got 'owner'"):
        attrs.evolve(section, part="owner")


@pytest.mark.parametrize(
    ("wrong", "says"),
    [({"look": "red"}, "look is slow, avoid, best or full"), ({"low": 3000.0}, "low 3000 lies above high 2000")],
)
def test_a_stretch_that_cannot_be_drawn_is_refused(wrong: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Span(**{"name": "slow", "low": 1000.0, "high": 2000.0, **wrong})


def points_of(part: dict[str, Any]) -> Sequence[Sequence[float]]:
    box = part.get("box")
    return part.get("points") or ([box[:2], box[2:]] if box else [part["at"]])


@pytest.mark.parametrize(
    "drawn", [ruler_drawn(RULER), bars_drawn(BARS), plan_drawn(PLAN)], ids=["ruler", "bars", "plan"]
)
def test_nothing_is_drawn_outside_the_figure(drawn: dict[str, Any]) -> None:
    for part in drawn["parts"]:
        for x, y in points_of(part):
            assert -0.01 <= x <= drawn["width"] + 0.01, part
            assert -0.01 <= y <= drawn["height"] + 0.01, part


def test_figures_under_a_ruler_do_not_cover_each_other() -> None:
    """55 steps stand a hundred apart: the first, the last, and as many between as have room."""
    told = [part for part in ruler_drawn(RULER)["parts"] if part["kind"] == "text" and part["words"].isdecimal()]
    assert [told[0]["words"], told[-1]["words"]] == ["600", "6000"]
    assert len(told) > 10
    for one, other in combinations(told, 2):
        assert abs(one["at"][0] - other["at"][0]) > width_of("0000", 9.0, bold=True)


def test_names_of_pointers_that_stand_close_take_a_line_each() -> None:
    names = {part["words"]: part["at"] for part in ruler_drawn(RULER)["parts"] if part["kind"] == "text"}
    assert names["usual 4200"][1] != names["highest tried 4300"][1]


def test_pins_of_one_place_stand_beside_each_other_and_a_line_leads_to_it() -> None:
    drawn = plan_drawn(PLAN)
    assert drawn is not None
    pins = [part for part in drawn["parts"] if part["kind"] == "mark" and part["size"] > 2]
    assert [pin["form"] for pin in pins] == ["square", "square", "round"]
    for one, other in combinations(pins, 2):
        assert math.dist(one["at"], other["at"]) >= 2 * one["size"]
    assert sum(part["kind"] == "line" for part in drawn["parts"]) == 2, "the outline, and one leader"


def test_pins_do_not_touch_and_the_sides_are_named() -> None:
    """Squares side by side at a corner touch as well."""
    crowd = tuple(Place(name=f"{one}", along=0.5 + one / 200, across=0.6, is_first=one % 2 == 0) for one in range(9))
    drawn = plan_drawn(Plan(places=crowd, length=26.4, beam=9.0))
    assert drawn is not None
    pins = [part for part in drawn["parts"] if part["kind"] == "mark" and part["size"] > 2]
    for one, other in itertools.combinations(pins, 2):
        apart = max(abs(a - b) for a, b in zip(one["at"], other["at"], strict=True))
        assert apart >= one["size"] + other["size"] + 1
    assert {"bow", "port", "starboard"} <= {part["words"] for part in drawn["parts"] if part["kind"] == "text"}


def test_bars_say_what_filled_outlined_and_grey_mean() -> None:
    bars = (Bar(name="cruise", value=90.0, text="90 out"), Bar(name="top", value=60.0, text="60 out"))
    of_two, of_three = (bars_drawn(Bars(bars=bars, alt="", keeps_as_much=kept)) for kept in (False, True))
    boxes = [sum(part["kind"] == "area" for part in drawn["parts"]) for drawn in (of_two, of_three)]
    assert boxes == [4, 6]
    assert "Filled: out. Outlined: back. Grey: the third that is kept." in [
        part.get("words") for part in of_three["parts"]
    ]


def test_the_plan_has_the_boats_own_proportions() -> None:
    drawn = plan_drawn(PLAN)
    assert drawn is not None
    (outline,) = [part["points"] for part in drawn["parts"] if part["kind"] == "line" and len(part["points"]) > 9]
    across, along = ([point[axis] for point in outline] for axis in (0, 1))
    assert (max(across) - min(across)) / (max(along) - min(along)) == pytest.approx(9.0 / 26.4, rel=0.01)


@pytest.mark.parametrize("kept", [0, 2])
def test_under_three_places_there_is_no_plan(kept: int) -> None:
    assert plan_drawn(attrs.evolve(PLAN, places=(*PLACES[:kept], PLACES[-1]))) is None


@pytest.mark.parametrize("hull", ["", "displacement", "flat bottom hard chine", "multihull"])
def test_every_kind_of_hull_is_drawn_whether_or_not_its_measures_are_known(hull: str) -> None:
    drawn = plan_drawn(Plan(places=PLACES, hull_form=hull))
    assert drawn is not None
    assert drawn["width"] < TEXT_WIDTH / 2


def test_large_digits_stay_in_their_column() -> None:
    for text in ("85 nm", "3500–3930", "a telephone that is far too long for it"):
        made = big_digits([(text, "", ())] * 3)
        wide = width_of(text, made["size"], bold=True)
        assert wide <= TEXT_WIDTH / 3 or made["size"] == 14
    assert big_digits([("85 nm", "", ())])["size"] == 34


def test_an_owner_is_told_no_uncertainty_and_no_hyphen_for_a_minus() -> None:
    assert in_owners_words("1.72 ± 0.05 V at -4 degC, 12 ± 3 %") == "1.72\u00a0V at −4\u00a0°C, 12\u00a0%"
