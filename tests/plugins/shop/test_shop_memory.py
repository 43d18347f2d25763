"""The shop's memory: one row a boat, what boats alike kept, and how forecasts did."""

from __future__ import annotations

import json
import statistics
from types import SimpleNamespace
from typing import cast

import attrs
import pytest

from boat_rows import rows
from garboard.findings import Basis, BasisKind, Finding, Number, Verdict
from garboard.records import Engine, Vessel
from garboard_shop.boat_rows import ECONOMY, Row
from garboard_shop.memory import FEWEST, MADE_AS, Memory, Score, as_text, kinds_of, of_text, row_of
from garboard_shop.pages.summaries import BoatSummary

ONE = Row(hull="ONE", hull_form="planing", length=6.0, weight=1000.0, power=110.0, engines=1, gear_ratio=1.85)
ALIKE = tuple(
    attrs.evolve(ONE, hull=f"B{number}", pitch=float(pitch), diameter=14.5, engine_speed=5500.0 + number, is_kept=True)
    for number, pitch in enumerate((15, 17, 17, 17, 19, 17))
)


def test_a_row_is_kept_as_text_and_read_back() -> None:
    for row in (ONE, *ALIKE, attrs.evolve(ONE, codes=("a.b", "c.d"), forecasts=3, held=2)):
        assert of_text(as_text(row)) == row


@pytest.mark.parametrize("made_as", [0, MADE_AS - 1, MADE_AS + 1])
def test_a_row_made_by_another_version_is_made_again(made_as: int) -> None:
    assert of_text(json.dumps({**json.loads(as_text(ONE)), "made_as": made_as})) is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"pitch": "nan"},
        {"pitch": "1e999"},
        {"pitch": "-19.0"},
        {"pitch": 19},
        {"pitch": "15 x 19"},
        {"is_kept": "no"},
        {"engines": "2"},
        {"engines": True},
        {"hull": None},
        {"hull_form": 7},
        {"codes": "prop_check.window.below"},
        {"codes": [1]},
        {"forecasts": 3, "held": 4},
        {"held": -1},
        {"made_as": "2"},
        {"made_as": None},
        {"more": "of it"},
    ],
)
def test_a_damaged_row_is_refused(wrong: dict[str, object]) -> None:
    """Whatever its types say: "no" would be a boat that was kept, and a pitch of nan every boat's."""
    with pytest.raises(ValueError, match=r"expected|convert"):
        of_text(json.dumps({**json.loads(as_text(ONE)), **wrong}))


@pytest.mark.parametrize("text", ["", "{}", "[]", "null", f'{{"made_as": {MADE_AS}, "hull": "X"}}'])
def test_a_row_that_is_cut_off_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"expected|Expecting|JSON|empty"):
        of_text(text)


def test_what_boats_alike_kept_says_on_how_many_it_rests() -> None:
    found = Memory(ALIKE).kept_by_boats_like(ONE)
    assert found is not None
    assert (found.boats, found.pitch.middle, found.sizes[0]) == (6, 17, ("14.5 x 17", 4))
    assert (found.pitch.low, found.pitch.high) == (16, 18)
    assert 5500 < found.engine_speed.middle < 5506


@pytest.mark.parametrize(
    "other",
    [
        {"hull_form": "multihull"},
        {"engines": 2},
        {"power": 200.0},
        {"length": 9.0},
        {"weight": 2500.0},
        {"is_kept": False},
        {"pitch": 0.0},
    ],
)
def test_boats_that_are_not_alike_or_kept_nothing_do_not_count(other: dict[str, object]) -> None:
    """One of the six is: then five are left, which is the fewest; two of them, and nothing is said."""
    for number in (1, 2):
        memory = Memory((*ALIKE[number:], *(attrs.evolve(one, **other) for one in ALIKE[:number])))  # type: ignore[arg-type]
        found = memory.kept_by_boats_like(ONE)
        assert (found.boats if found else None) == (FEWEST if number == 1 else None)


@pytest.mark.parametrize(
    ("advice", "is_kept"),
    [
        ("prop_check.pitch.keep", True),
        ("prop_check.pitch.laden_below", False),
        ("prop_check.pitch.not_enough_data", False),
    ],
)
def test_a_propeller_is_kept_where_the_advice_is_to_keep_it(advice: str, is_kept: bool) -> None:
    """Inside its window a boat may have run light, or labour once it is laden: nobody is told to begin from that."""
    vessel = Vessel(hull_number="QQZ00001A626", engines=(Engine(position="centre"),))
    found = [
        Finding(
            code=code, verdict=Verdict.PASS, about="a", sentence="b", basis=(Basis(BasisKind.COMMON_PRACTICE, "c"),)
        )
        for code in ("prop_check.window.inside", advice)
    ]
    view = SimpleNamespace(job=SimpleNamespace(opened=""))
    job = SimpleNamespace(
        judged=[SimpleNamespace(calculator="", finding=one) for one in found],
        is_ready=True,
        is_set_aside=False,
        view=view,
    )
    boat = SimpleNamespace(vessel=lambda: vessel, state=SimpleNamespace(hull_keys={"QQZ00001A626"}))
    assert row_of(cast(BoatSummary, SimpleNamespace(jobs=[job], boat=boat))).is_kept is is_kept


def test_economy_of_a_boat_in_litres_is_remembered_in_the_unit_of_all() -> None:
    """It was looked for in nm/gal among figures told in nm/L: no boat typed in litres was in Memory or Insight."""
    basis = (Basis(BasisKind.COMMON_PRACTICE, "c"),)
    economy = Finding(
        verdict=Verdict.PASS, about="a", sentence="b", basis=basis, numbers=(Number("economy", 2.5, "nm/gal"),)
    )
    told = attrs.evolve(economy, numbers=(Number("economy", 0.66, "nm/L"),))
    judged, assessed = ([SimpleNamespace(calculator="fuel_curve.best_cruise", finding=one)] for one in (economy, told))
    view = SimpleNamespace(job=SimpleNamespace(opened=""))
    job = SimpleNamespace(judged=judged, assessed=assessed, is_ready=True, is_set_aside=False, view=view)
    boat = SimpleNamespace(
        vessel=lambda: Vessel(hull_number="QQZ00001A626"), state=SimpleNamespace(hull_keys={"QQZ00001A626"})
    )
    row = row_of(cast(BoatSummary, SimpleNamespace(jobs=[job], boat=boat)))
    assert [(one.what, one.value) for one in row.seen] == [(ECONOMY, 2.5)]


def test_kinds_of_boats_are_told_apart_by_their_gear_ratio() -> None:
    """The same hull and power behind 2.08 takes another pitch: one middle of both would be nobody's."""
    fast = [attrs.evolve(one, hull=f"F{one.hull}", gear_ratio=2.08, pitch=one.pitch + 2) for one in ALIKE]
    kinds = kinds_of([*ALIKE, *fast])
    assert [(one.boats, one.gear_ratio, one.pitch) for one in kinds] == [(6, 1.85, 17.0), (6, 2.08, 19.0)]


def test_a_boat_does_not_count_for_itself_and_a_new_row_takes_the_place_of_the_old() -> None:
    memory = Memory(ALIKE)
    known = memory.kept_by_boats_like(ALIKE[0])
    assert known is not None
    assert known.boats == 5
    for one in ALIKE:
        memory.take(attrs.evolve(one, pitch=13.0))
    after = memory.kept_by_boats_like(ONE)
    assert after is not None
    assert (len(memory), after.pitch.middle) == (6, 13)


@pytest.mark.parametrize("lacking", [{"power": 0.0}, {"engines": 0}, {"hull_form": ""}])
def test_of_a_boat_nobody_described_nothing_is_said(lacking: dict[str, object]) -> None:
    assert Memory(ALIKE).kept_by_boats_like(attrs.evolve(ONE, **lacking)) is None  # type: ignore[arg-type]


def test_among_many_boats_those_alike_are_found_and_their_pitch_is_nearer_than_that_of_all() -> None:
    """20 000 by a generator: what boats alike kept is nearer to each boat's own than the middle of all."""
    drawn = tuple(rows(20_000))
    memory, kept = Memory(drawn), [row for row in drawn if row.is_kept]
    middle = statistics.median(row.pitch for row in kept)
    near, far = [], []
    for row in kept[:60]:
        found = memory.kept_by_boats_like(row)
        if found:
            near.append(abs(found.pitch.middle - row.pitch))
            far.append(abs(middle - row.pitch))
    assert len(near) > 50
    assert statistics.fmean(near) < 0.7 * statistics.fmean(far)


@pytest.mark.parametrize(
    ("forecasts", "held", "is_judged", "is_too_narrow"),
    [
        (19, 10, False, False),
        (20, 16, True, True),
        (20, 17, True, False),
        (40, 34, True, True),
        (40, 35, True, False),
        (100, 89, True, True),
        (100, 90, True, False),
        (1000, 934, True, True),
        (1000, 935, True, False),
        (100_000, 94_000, True, True),
        (100_000, 100_000, True, False),
    ],
)
def test_the_score_is_told_from_twenty_forecasts_on(
    forecasts: int, held: int, is_judged: bool, is_too_narrow: bool
) -> None:
    """16 or fewer of 20 inside means too narrow; of more, as few as come about as seldom. Found with scipy's binom."""
    row = attrs.evolve(ONE, forecasts=forecasts, held=held)
    score = Memory((row, attrs.evolve(ONE, hull="TWO"))).score()
    assert score == Score(forecasts, held)
    assert (score.is_judged, score.is_too_narrow) == (is_judged, is_too_narrow)
