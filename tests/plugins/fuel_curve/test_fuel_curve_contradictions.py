"""Readings that others contradict: said by name, and nothing rests on them; and those that contradict nobody."""

import math
import random
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from itertools import combinations
from types import FrameType

import attrs
import pytest

from builders import boat, findings_of, job_view
from fuel_curve_jobs import DISPLACEMENT, HOST, PLANING, STEPS, TANKS, Row, recorded, typed
from garboard.fields import implausible
from garboard.findings import Finding, Lack, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.judging.assessing import questions
from garboard.recordings.simulated_boat import Boat
from garboard.records import JsonValue, Propeller, Vessel
from garboard.samples import Sample, gather
from garboard.units import Amount, convert
from garboard_fuel_curve import odd
from garboard_fuel_curve.stands_out import Made, standing_out

TWINS = boat(2, rated_power=Amount.parse("200 hp"), rated_speed=Amount.parse("6000 rev/min"))
SINGLE = boat(1, rated_power=Amount.parse("350 hp"), rated_speed=Amount.parse("6000 rev/min"))
RESTING_ON_THE_CURVE = ("best_cruise", "planing_hump", "range", "mixed_use")
USABLE: dict[FieldKey, JsonValue] = {(TANKS, "usable_fuel", "", ""): "90.0 gal"}


def finding(view: JobView, calculator: str) -> Finding:
    return findings_of(HOST, view, f"fuel_curve.{calculator}")[0]


def mistyped(field: str, row: int, text: str, of: str = "", vessel: Vessel = SINGLE) -> JobView:
    values = {**typed(PLANING, len(vessel.engines)), **USABLE}
    values[STEPS, field, str(row), of] = text
    return job_view(vessel, values)


# --- one mistyped step: named by leaving each reading out in turn


@pytest.mark.parametrize(
    ("field", "row", "text"),
    [
        ("fuel_flow", 8, "3.2 gal/h"),  # 13.2 with its first digit lost: no row above falls below it but this one
        ("fuel_flow", 11, "72.0 gal/h"),  # 27.0: above the highest step
        ("fuel_flow", 9, "61.2 gal/h"),  # 16.2 with two digits swapped
        ("fuel_flow", 12, "3.30 gal/h"),  # the highest step itself: every row but five stands above it
        ("fuel_flow", 1, "6.0 gal/h"),  # the lowest
        ("speed_out", 8, "72.9 kn"),  # 27.9
        ("speed_back", 7, "32.6 kn"),  # 22.6: below the row after it, and still unlike the others
        ("speed_out", 10, "3.59 kn"),  # 35.9
    ],
)
def test_one_mistyped_value_is_named_and_no_other_row(field: str, row: int, text: str) -> None:
    view = mistyped(field, row, text, "centre" if field == "fuel_flow" else "")
    curve = finding(view, "curve")
    assert (curve.verdict, curve.code) == (Verdict.ADVISE, "fuel_curve.curve.repeat_steps")
    assert [(one.row, one.field.partition("_")[0]) for one in curve.doubts] == [(str(row), field.partition("_")[0])]
    assert f"Repeat row {row}:" in curve.sentence
    for calculator in RESTING_ON_THE_CURVE:
        withheld = finding(view, calculator)
        assert [(one.lack, one.row) for one in withheld.missing] == [(Lack.CONTRADICTS, str(row))], calculator


def test_of_twins_the_engine_is_named_too() -> None:
    (doubt,) = finding(mistyped("fuel_flow", 8, "16.6 gal/h", "starboard", TWINS), "curve").doubts
    assert (doubt.row, doubt.field, doubt.of) == ("8", "fuel_flow", "starboard")


def test_a_row_whose_speed_and_flow_are_both_out_has_its_engine_speed_misread() -> None:
    (doubt,) = finding(mistyped("nominal_engine_speed", 7, "5300 rev/min"), "curve").doubts  # 3500
    assert (doubt.row, doubt.field) == ("7", "nominal_engine_speed")


def test_speeds_out_and_back_that_no_current_explains_name_their_row() -> None:
    """10.4 and 9.6 kn typed as 10.4 and 1.6: in the hump a column alone would not show it."""
    (doubt,) = finding(mistyped("speed_back", 5, "4.6 kn"), "curve").doubts
    assert (doubt.row, doubt.field) == ("5", "speed_out")
    assert "10.4 kn out and 4.6 kn back" in doubt.text


def test_no_figure_is_drawn_as_found_on_a_curve_with_a_row_to_repeat() -> None:
    drawn = finding(mistyped("fuel_flow", 8, "3.2 gal/h", "centre"), "curve").figures[0]
    assert (drawn.bands, drawn.markers) == ((), ())
    assert [band.name for band in finding(mistyped("fuel_flow", 8, "13.3 gal/h", "centre"), "curve").figures[0].bands]


def test_full_throttle_is_judged_while_another_row_is_in_doubt_and_not_while_its_own_is() -> None:
    elsewhere = finding(mistyped("fuel_flow", 8, "3.2 gal/h", "centre"), "fuel_for_power")
    assert elsewhere.verdict is Verdict.PASS
    own = finding(mistyped("fuel_flow", 12, "18.0 gal/h", "centre"), "fuel_for_power")  # 33.0; row 10 burns 21.0
    assert [(one.lack, one.row) for one in own.missing] == [(Lack.CONTRADICTS, "12")]


@pytest.mark.parametrize(
    ("name", "rows"),
    [
        ("as it is", PLANING),
        ("never planes", DISPLACEMENT),
        ("every other step", PLANING[::2]),
        ("a deep hump", [(e, s, f * (1.25 if e == 2500 else 1.0)) for e, s, f in PLANING]),
        ("a late hump", [(e + 600, s, f) for e, s, f in PLANING]),
        ("thirsty at full throttle", [(e, s, f * (1.2 if e == 6000 else 1.0)) for e, s, f in PLANING]),
        ("porpoising at the top", [(e, s * (0.95 if e == 6000 else 1.0), f) for e, s, f in PLANING]),
        ("stopped while it climbs", PLANING[:6]),
        ("two readings of one step, one below the other", [*PLANING, (4050.0, 27.2, 13.0)]),
    ],
)
def test_an_uneven_boat_is_accused_of_nothing(name: str, rows: list[Row]) -> None:
    found = finding(job_view(boat(1), {**typed(rows), **USABLE}), "curve")
    assert found.doubts == (), name
    assert found.code == "fuel_curve.curve.in_order"


def test_a_strong_current_and_wind_at_speed_are_no_misreadings() -> None:
    """1.5 kn of tide, and a wind that adds a kn to the difference at full speed."""
    values = typed(PLANING)
    for row, (_, speed, _) in enumerate(PLANING, 1):
        half = 1.5 + speed / 42.5
        values[STEPS, "speed_out", str(row), ""] = f"{speed + half:.1f} kn"
        values[STEPS, "speed_back", str(row), ""] = f"{max(0.0, speed - half):.1f} kn"
    assert finding(job_view(SINGLE, values), "curve").doubts == ()


def column_of(rows: int, engine_speeds: Sequence[float], wrong: Sequence[int]) -> odd.Column:
    flows = [(engine_speed / 1000) ** 2 for engine_speed in engine_speeds]
    for row in wrong:
        flows[row] *= 0.5
    return odd.Column(
        engine_speeds=tuple(engine_speeds),
        values=tuple(flows),
        within=(0.1,) * rows,
        same=10.0,
        planing_from=3500.0,
        limits=odd.OF_FLOW,
    )


def evenly(rows: int) -> list[float]:
    return [700 + 5000 * row / rows for row in range(rows)]


def in_steps(rows: int) -> list[float]:
    """Ten throttle steps, each read so many times."""
    return [700 + 500 * (10 * row // rows) for row in range(rows)]


def worked(column: odd.Column) -> tuple[int, tuple[tuple[int, ...], ...]]:
    """How many functions were called to find the odd rows, and what was found."""
    calls = 0

    def count(_frame: FrameType, event: str, _of: object) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    sys.setprofile(count)
    try:
        found = odd.stretches(column)
    finally:
        sys.setprofile(None)
    return calls, found


@pytest.mark.parametrize("engine_speeds", [evenly, in_steps])
def test_to_find_the_odd_row_of_many_takes_work_in_proportion(engine_speeds: Callable[[int], list[float]]) -> None:
    """Four times the rows take four times the work, and the logarithm of them; by pairs they would take sixteen."""
    few, found = worked(column_of(30, engine_speeds(30), [15]))
    many, in_many = worked(column_of(120, engine_speeds(120), [60]))
    assert (found, in_many) == (((15,),), ((60,),))
    assert many < 5.5 * few


def test_where_far_too_many_rows_are_odd_the_column_is_and_the_work_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 54 rows 27 at half their flow are no slip."""
    rounds, look = [], odd._worst

    def counted(left: odd._Left) -> list[int]:
        rounds.append(left)
        return look(left)

    monkeypatch.setattr(odd, "_worst", counted)
    assert odd.stretches(column_of(54, evenly(54), range(0, 54, 2))) == (tuple(range(54)),)
    assert len(rounds) <= odd.MOST_ODD + 1


def test_falling_pairs_are_counted_as_if_each_were_looked_at() -> None:
    chance = random.Random(4)
    for _ in range(20):
        engine_speeds = sorted(chance.uniform(700, 4500) for _ in range(30))
        column = column_of(30, engine_speeds, chance.sample(range(30), 9))
        column = attrs.evolve(column, within=tuple(chance.uniform(0, 0.5) for _ in range(30)), same=100.0)
        falls = [pair for pair in combinations(range(30), 2) if odd._falls(column, *pair)]
        of_each = Counter(place for pair in falls for place in pair)
        assert odd._in_falls(column, range(30)) == [of_each[place] for place in range(30)]


# --- several rows wrong: the stretch is named, and no true row alone


def rows_doubted(view: JobView) -> list[str]:
    return sorted({one.row for one in finding(view, "curve").doubts}, key=int)


def test_a_stretch_of_one_engine_is_told_by_its_twin() -> None:
    """Rows 7 to 9 of one engine at 0.6 of its flow: left to its own column the true row before them is blamed."""
    values = {**typed(PLANING, 2), **USABLE}
    for row in (7, 8, 9):
        values[STEPS, "fuel_flow", str(row), "starboard"] = f"{0.6 * PLANING[row - 1][2] / 2:.1f} gal/h"
    view = job_view(TWINS, values)
    assert rows_doubted(view) == ["7", "8", "9"]
    assert "Repeat rows 7 to 9: fuel flow port 5.5 and starboard 3.3 gal/h" in finding(view, "curve").sentence
    assert [one.lack for one in finding(view, "range").missing] == [Lack.CONTRADICTS]


def test_a_stretch_of_a_single_engine_is_doubted_as_a_whole() -> None:
    rows = [(e, s, f * (0.6 if 3500 <= e <= 4500 else 1.0)) for e, s, f in PLANING]
    view = job_view(SINGLE, typed(rows))
    assert rows_doubted(view) == ["5", "6", "7", "8", "9"]
    assert "cannot be believed, though some of it may be true" in finding(view, "curve").sentence


def test_both_speeds_of_a_row_a_little_low_doubt_its_stretch_and_no_true_row_alone() -> None:
    rows = [(e, s - (5.0 if e == 4000 else 0.0), f) for e, s, f in PLANING]
    view = job_view(SINGLE, typed(rows))
    assert rows_doubted(view) == ["7", "8"]
    assert "rows 7 and 8: speed from 3500 to 4000 rev/min cannot be believed" in finding(view, "curve").sentence


# --- errors that make a planing boat look better than it is, and so sit in the crest of its curve


IN_MPH: list[Row] = [
    (700, 3.1, 0.5),
    (1500, 5.5, 1.2),
    (2000, 6.9, 2.0),
    (2500, 10.7, 2.7),
    (3000, 17.7, 3.2),
    (3500, 22.6, 3.9),
    (4000, 26.9, 4.9),
    (4500, 30.7, 6.2),
    (5000, 34.2, 7.9),
    (5700, 38.4, 10.1),
]
"""An invented boat read in mph; its best economy lies at 3500 rev/min, the sixth row."""

SMALL = attrs.evolve(boat(1, rated_power=Amount.parse("115 hp")), length=Amount.parse("20 ft"))


def read_in_mph(*changed: tuple[str, int, str]) -> Finding:
    values = {
        place: value.replace("kn", "mph") if isinstance(value, str) else value
        for place, value in typed(IN_MPH, current=0.3).items()
    }
    for field, row, text in changed:
        values[STEPS, field, str(row), "centre" if field == "fuel_flow" else ""] = text
    view = job_view(SMALL, {**values, **USABLE})
    curve = finding(view, "curve")
    assert (finding(view, "range").verdict is Verdict.NOT_ENOUGH_DATA) == bool(curve.doubts)
    return curve


@pytest.mark.parametrize(
    ("changed", "row", "why"),
    [
        ([("fuel_flow", 6, "3.4 gal/h")], "6", "stands out from the steps beside it"),  # 3.9
        ([("fuel_flow", 6, "3.3 gal/h")], "6", "stands out from the steps beside it"),
        ([("fuel_flow", 7, "4.3 gal/h")], "7", "stands out from the steps beside it"),  # 4.9
        ([("fuel_flow", 7, "5.8 gal/h")], "7", "stands out from the steps beside it"),  # looks worse
        ([("speed_out", 6, "26.9 mph"), ("speed_back", 6, "25.3 mph")], "6", "stands out from the steps beside it"),
        ([("speed_out", 6, "26.3 mph")], "6", "26.3 mph out and 22.3 mph back, unlike the other steps"),  # 22.9
        ([("speed_out", 6, "22.9 kn")], "6", "speed out 22.9 kn, where all other rows are in mph"),
        ([("speed_out", 5, "18.0 kn"), ("speed_back", 5, "17.4 kn")], "5", "18.0 kn, where all other rows are in mph"),
        ([("speed_back", 8, "30.4 kn")], "8", "speed back 30.4 kn, where all other rows are in mph"),
    ],
)
def test_one_row_that_makes_a_planing_boat_look_better_is_named(
    changed: list[tuple[str, int, str]], row: str, why: str
) -> None:
    curve = read_in_mph(*changed)
    assert {one.row for one in curve.doubts} == {row}
    assert why in curve.sentence


@pytest.mark.parametrize(
    "changed",
    [
        [],
        [("fuel_flow", 6, "3.8 gal/h")],  # a digit on the display
        [("fuel_flow", 5, "12.1 L/h")],  # 3.2 gal/h: 12.1 gal/h would stand far above the rows around it
        [("speed_out", 6, "19.9 kn"), ("speed_back", 6, "19.4 kn"), ("fuel_flow", 6, "14.8 L/h")],  # another display
    ],
)
def test_a_true_row_of_a_planing_boat_is_accused_of_nothing(changed: list[tuple[str, int, str]]) -> None:
    assert read_in_mph(*changed).doubts == ()


def test_a_tide_that_turns_between_two_steps_is_no_misreading() -> None:
    values = typed(PLANING)
    for row, (_, speed, _) in enumerate(PLANING, 1):
        half = -1.2 if row > 8 else 1.2
        values[STEPS, "speed_out", str(row), ""] = f"{speed + half:.1f} kn"
        values[STEPS, "speed_back", str(row), ""] = f"{speed - half:.1f} kn"
    assert finding(job_view(SINGLE, values), "curve").doubts == ()


def test_of_simulated_boats_hardly_one_stands_out() -> None:
    """Humps anywhere, series that end anywhere from the sixth step; read to a tenth, with the scatter allowed for."""
    chance = random.Random(11)
    for _ in range(240):
        simulated = Boat(
            full_throttle=5700.0,
            hump=chance.uniform(2000, 3000),
            speed_per_rev=chance.uniform(0.0058, 0.0085),
            hull_speed=chance.uniform(5.5, 9.0),
            fuel_at_full=chance.uniform(30.0, 95.0),
            current_speed=0.0,
        )
        apart = chance.choice([300, 400, 500, 600])
        made = []
        for step in range(1200, 1200 + apart * chance.randint(6, 4500 // apart), apart):
            speed = simulated.speed_at(step) + chance.gauss(0, 0.13 / 2**0.5)
            flow = round(convert(simulated.fuel_at(step), "L/h", "gal/h") * (1 + chance.gauss(0, 0.008)), 1)
            unsure = math.hypot(0.13 / 2**0.5 / speed, 0.008, 0.1 / 12**0.5 / flow)
            made.append(Made(engine_speed=step, economy=speed / flow, unsure=unsure, planing=speed > 10.3))
        assert standing_out(made) == ()


# --- twins at one engine speed


def test_an_engine_that_burns_more_than_its_twin_throughout_is_named() -> None:
    values = typed(PLANING, 2)
    for row, (_, _, flow) in enumerate(PLANING, 1):
        values[STEPS, "fuel_flow", str(row), "starboard"] = f"{1.4 * flow / 2:.2f} gal/h"
    found = finding(job_view(TWINS, values), "curve")
    assert (found.code, found.verdict) == ("fuel_curve.curve.twins_differ", Verdict.ADVISE)
    assert {(one.field, one.of) for one in found.doubts} == {("fuel_flow", "port"), ("fuel_flow", "starboard")}
    assert "The starboard engine burns 1.40 times what the port engine does" in found.sentence


@pytest.mark.parametrize("times", [1.1, 0.92])
def test_twins_that_differ_as_twins_do_pass(times: float) -> None:
    values = typed(PLANING, 2)
    for row, (_, _, flow) in enumerate(PLANING, 1):
        values[STEPS, "fuel_flow", str(row), "port"] = f"{times * flow / 2:.1f} gal/h"
    assert finding(job_view(TWINS, values), "curve").code == "fuel_curve.curve.in_order"


def test_engines_that_idle_differently_are_accused_of_nothing() -> None:
    values = typed(PLANING, 2)
    values[STEPS, "fuel_flow", "1", "port"], values[STEPS, "fuel_flow", "1", "starboard"] = "0.30 gal/h", "0.45 gal/h"
    assert finding(job_view(TWINS, values), "curve").code == "fuel_curve.curve.in_order"


def test_engines_of_different_power_are_no_twins() -> None:
    values = typed(PLANING, 2)
    for row, (_, _, flow) in enumerate(PLANING, 1):
        values[STEPS, "fuel_flow", str(row), "starboard"] = f"{flow / 4:.2f} gal/h"
    port, starboard = TWINS.engines
    vessel = attrs.evolve(TWINS, engines=(port, attrs.evolve(starboard, rated_power=Amount.parse("90 hp"))))
    assert finding(job_view(vessel, values), "curve").code == "fuel_curve.curve.in_order"


# --- one throttle step read twice


@pytest.mark.parametrize(
    ("again", "field"),
    [((4000.0, 27.5, 15.6), "fuel_flow"), ((4000.0, 24.0, 13.2), "speed_out"), ((4000.0, 27.7, 13.6), "")],
)
def test_rows_at_one_engine_speed_that_disagree_are_both_named(again: Row, field: str) -> None:
    found = finding(job_view(SINGLE, typed([*PLANING, again])), "curve")
    assert [(one.row, one.field) for one in found.doubts] == ([("8", field), ("13", field)] if field else [])
    assert ("rows 8 and 13, both at about 4000 rev/min:" in found.sentence) is bool(field)


# --- what the engine cannot have


def test_more_fuel_than_the_engine_can_burn_is_named_where_the_highest_step_is_not_full_throttle() -> None:
    """By hand: 1.1 x 60 hp at 15 % of the fuel's heat is 66 x 0.917 / 6.1 = 9.9 gal/h; the last of six rows burns 9.5
    and typed in litres 36."""
    small = boat(1, rated_power=Amount.parse("60 hp"), rated_speed=Amount.parse("6000 rev/min"))
    sound = finding(job_view(small, typed(PLANING[:6])), "curve")
    assert sound.doubts == ()
    litres = finding(job_view(small, typed([(e, s, f * 3.785) for e, s, f in PLANING[:6]])), "curve")
    (doubt,) = litres.doubts
    assert (doubt.row, doubt.field) == ("6", "fuel_flow")
    assert "more than the engine can burn, 9.9 gal/h, and so in 2 other steps: check the unit" in doubt.text


def test_more_speed_than_the_propeller_advances_is_named() -> None:
    """By hand: 15 in of pitch at 3500 / 1.85 rev/min is 23.35 kn; 15 % more is 26.9. With 17 in 26.5 and 30.4 kn."""

    def of_pitch(pitch: str) -> Finding:
        propeller = Propeller(pitch=Amount.parse(pitch))
        vessel = boat(1, gear_ratio=Amount.parse("1.85"), propeller=propeller)
        rows = [(e, s * (1.19 if e == 3500 else 1.0), f) for e, s, f in PLANING]  # 27.4 kn, below the row after it
        return finding(job_view(vessel, typed(rows[:7])), "curve")

    (doubt,) = of_pitch("15 in").doubts
    assert (doubt.row, doubt.field) == ("7", "speed_out")
    assert "27.4 kn is more than the propeller advances, 23.4 kn" in doubt.text
    assert of_pitch("17 in").doubts == ()


@pytest.mark.parametrize(
    ("hull", "share", "is_told"),
    [("planing", 1.0, False), ("planing", 0.514, True), ("displacement", 0.514, False), ("", 0.514, False)],
)
def test_speeds_in_metres_a_second_taken_for_knots_give_no_range(hull: str, share: float, is_told: bool) -> None:
    """All planing steps show about half the speed. The slip was called impossible, and an owner's range passed."""
    vessel = boat(1, hull_form=hull, gear_ratio=Amount.parse("1.85"), propeller=Propeller(pitch=Amount.parse("19 in")))
    found = finding(job_view(vessel, typed([(e, s * share, f) for e, s, f in PLANING])), "curve")
    assert any("less than half of what the propeller advances" in doubt.text for doubt in found.doubts) is is_told
    cruise = finding(job_view(vessel, typed([(e, s * share, f) for e, s, f in PLANING])), "best_cruise")
    assert (cruise.verdict is Verdict.NOT_ENOUGH_DATA) is is_told


@pytest.mark.parametrize(
    ("rated", "ratio", "pitch", "asked_speed", "asked_flow"),
    [
        ("350 hp", "1.85", "17 in", "60 kn", "65 gal/h"),  # of a sound boat the readings are asked about
        ("350 hp", "18.5", "17 in", "", "65 gal/h"),
        ("350 hp", "1.85", "17 mm", "", "65 gal/h"),
        ("3500 hp", "1.85", "17 in", "60 kn", ""),
    ],
)
def test_no_reading_is_held_against_a_fact_of_the_engine_that_is_asked_about_itself(
    rated: str, ratio: str, pitch: str, asked_speed: str, asked_flow: str
) -> None:
    """A gear ratio of 18.5 made every speed faster than the propeller advances, and the owner got no range."""
    propeller = Propeller(pitch=Amount.parse(pitch))
    vessel = boat(
        1,
        rated_power=Amount.parse(rated),
        full_throttle_high=Amount.parse("6000 rev/min"),
        gear_ratio=Amount.parse(ratio),
        propeller=propeller,
    )
    step = HOST.step(STEPS)
    assert step is not None
    fields = {one.name: one for one in step.all_fields()}
    for name, of, value, asked in (
        ("speed_out", "", "60 kn", asked_speed),
        ("fuel_flow", "centre", "65 gal/h", asked_flow),
    ):
        assert bool(implausible(fields[name], value, vessel, of)) is bool(asked)
    view = job_view(vessel, typed(PLANING[:7]))
    assert finding(view, "curve").doubts == ()


@pytest.mark.parametrize(("rated", "judged"), [("350 hp", True), ("3500 hp", False), ("650 hp", True)])
def test_no_meter_is_blamed_where_the_rated_power_cannot_be(rated: str, judged: bool) -> None:
    """It says to correct the power; an engine of 650 hp there is, so its meter is judged by it."""
    vessel = boat(1, rated_power=Amount.parse(rated), rated_speed=Amount.parse("6000 rev/min"))
    found = finding(job_view(vessel, typed(PLANING)), "fuel_for_power")
    assert (found.verdict is not Verdict.NOT_ENOUGH_DATA) is judged
    assert ("rated power of the centre engine reads 3500 hp; correct it" in found.sentence) is not judged


# --- two senders of one quantity in a recording


def two_senders(quantity: str, change: Callable[[float], float], engines: int = 2, every: int = 1) -> JobView:
    """A recording of which one quantity comes from a second sender too, as changed, each so many seconds."""
    samples = recorded(PLANING, engines)
    second = [
        one._replace(source="99", value=change(one.value))
        for one in samples
        if one.quantity == quantity and int(one.time) % every == 0
    ]
    values: dict[FieldKey, JsonValue] = {
        (STEPS, "recording", "", ""): {"file": "run.log"},
        (STEPS, "fuel", "", ""): "gasoline",
        **USABLE,
    }
    return job_view(TWINS, values, recordings={"run.log": gather("run.log", [*samples, *second])})


@pytest.mark.parametrize("every", [1, 3])
def test_a_second_speed_ten_percent_high_is_said_and_no_figure_rests_on_speed(every: int) -> None:
    view = two_senders("speed_over_ground", lambda speed: 1.1 * speed, every=every)
    curve = finding(view, "curve")
    assert (curve.verdict, curve.code) == (Verdict.ADVISE, "fuel_curve.curve.speed_doubted")
    assert "speed over ground: source 7 shows 42.5 where source 99 shows 46." in curve.sentence
    for calculator in ("best_cruise", "planing_hump", "range"):
        assert finding(view, calculator).missing[0].lack is Lack.CONTRADICTS
    assert finding(view, "mixed_use").verdict is Verdict.PASS  # it rests on no speed


@pytest.mark.parametrize(
    ("quantity", "change"),
    [("fuel_flow", lambda flow: 1.1 * flow), ("engine_speed", lambda engine_speed: engine_speed - 90)],
)
def test_two_flows_or_engine_speeds_that_differ_carry_no_figure(
    quantity: str, change: Callable[[float], float]
) -> None:
    for calculator in (*RESTING_ON_THE_CURVE, "curve", "fuel_for_power"):
        found = finding(two_senders(quantity, change), calculator)
        assert {(one.lack, one.field) for one in found.missing} == {(Lack.CONTRADICTS, "recording")}, calculator
        assert "where source 99 shows" in found.sentence


@pytest.mark.parametrize(
    ("quantity", "change"),
    [
        ("speed_over_ground", lambda speed: speed + 0.2),  # two receivers, each 0.1 kn off
        ("speed_over_ground", round),  # a display of whole knots
        ("fuel_flow", lambda flow: 1.03 * flow),
        ("engine_speed", lambda engine_speed: engine_speed + 25),
    ],
)
def test_two_senders_within_what_sound_instruments_differ_by_agree(
    quantity: str, change: Callable[[float], float]
) -> None:
    view = two_senders(quantity, change)
    curve = finding(view, "curve")
    assert curve.code == "fuel_curve.curve.in_order"
    assert f"2 sources of {quantity.replace('_', ' ')} agree" in curve.sentence
    assert finding(view, "best_cruise").verdict is Verdict.PASS


def test_a_second_sender_heard_only_between_the_steps_contradicts_nobody() -> None:
    samples = recorded(PLANING, 2)
    between = [Sample(time, "speed_over_ground", 5.0, "99") for time in (0.0, 1.0, 36.0, 37.0)]
    values: dict[FieldKey, JsonValue] = {(STEPS, "recording", "", ""): {"file": "run.log"}}
    view = job_view(TWINS, values, recordings={"run.log": gather("run.log", [*samples, *between])})
    assert finding(view, "curve").code == "fuel_curve.curve.in_order"


def test_an_engine_heard_under_another_instance_is_said() -> None:
    heard = [one._replace(instance="1") if one.instance else one for one in recorded(PLANING, 1)]
    values: dict[FieldKey, JsonValue] = {(STEPS, "recording", "", ""): {"file": "run.log"}}
    recordings = {"run.log": gather("run.log", heard)}
    said = finding(job_view(boat(1), values, recordings=recordings), "curve")
    assert "no engine speed of the centre engine: instance 0 is not heard, 1 is" in said.sentence
    known = boat(1, network_instance=1)
    assert finding(job_view(known, values, recordings=recordings), "curve").code == "fuel_curve.curve.in_order"


@pytest.mark.parametrize(("entered", "sound"), [((0, 0), False), ((1, None), False), ((1, 0), True), ((0, 1), True)])
def test_engines_with_one_number_are_read_from_no_recording(
    entered: tuple[int | None, int | None], sound: bool
) -> None:
    numbered = zip(boat(2).engines, entered, strict=True)
    vessel = attrs.evolve(boat(2), engines=tuple(attrs.evolve(one, network_instance=its) for one, its in numbered))
    values: dict[FieldKey, JsonValue] = {(STEPS, "recording", "", ""): {"file": "run.log"}}
    recordings = {"run.log": gather("run.log", recorded(PLANING, 2))}
    view = job_view(vessel, values, recordings=recordings)
    said = finding(view, "curve")
    assert (said.verdict is Verdict.PASS) is sound
    assert [one.lack for one in said.missing] == [] if sound else [Lack.NOT_IN_RECORDING] * 2
    asked = [one.text for one in questions(view, HOST) if "number on the instrument network" in one.text]
    assert len(asked) == (not sound)


# --- what a refill says


def refilled(refill: str, metered: str = "30.0 gal") -> JobView:
    values = {**typed(PLANING), **USABLE}
    values[TANKS, "same_mark", "", ""] = True
    values[TANKS, "refilled", "", ""] = refill
    values[TANKS, "metered", "", "centre"] = metered
    return job_view(SINGLE, values)


def of(view: JobView, calculator: str, name: str) -> float:
    return next(one.value for one in finding(view, calculator).numbers if one.name == name)


def test_a_meter_that_reads_low_shortens_range_and_economy_and_says_so() -> None:
    plain, low = job_view(SINGLE, {**typed(PLANING), **USABLE}), refilled("33.0 gal")
    assert finding(low, "flow_meter").code == "fuel_curve.flow_meter.set_factor"
    for calculator, name, factor in (
        ("range", "out and back by thirds", 1 / 1.1),
        ("best_cruise", "economy", 1 / 1.1),
        ("mixed_use", "fuel flow over mixed use", 1.1),
    ):
        assert of(low, calculator, name) == pytest.approx(factor * of(plain, calculator, name))
        assert "corrected" not in finding(low, calculator).sentence, "the curve tells it, once for the boat"
    assert "corrected by the refill (x 1.100)" in finding(low, "curve").sentence
    assert "corrected" not in finding(plain, "curve").sentence
    table = finding(low, "curve").tables[0]
    assert "corrected by the refill" in table.title
    assert table.rows[7][2] == "14.5"  # 13.2 x 1.1


def test_a_refill_that_knows_less_than_the_meter_corrects_nothing() -> None:
    """10 gal with two fillings of 0.5 gal is unsure by 7 %, the meter by 3 %."""
    view = refilled("10.2 gal", "10.0 gal")
    assert "corrected" not in finding(view, "range").sentence
    assert finding(view, "range").verdict is Verdict.PASS


@pytest.mark.parametrize("refill", ["45.0 gal", "20.0 gal"])
def test_a_refill_no_meter_explains_withholds_every_figure_of_fuel(refill: str) -> None:
    view = refilled(refill)
    found = finding(view, "flow_meter")
    assert (found.code, found.verdict) == ("fuel_curve.flow_meter.entries_contradict", Verdict.ADVISE)
    for calculator in (*RESTING_ON_THE_CURVE, "fuel_for_power"):
        assert [(one.lack, one.field) for one in finding(view, calculator).missing] == [(Lack.CONTRADICTS, "refilled")]
    curve = finding(view, "curve")
    assert (curve.code, curve.verdict) == ("fuel_curve.curve.refill_contradicts", Verdict.ADVISE)
    assert curve.figures[0].bands == ()


@pytest.mark.parametrize("total", ["35.0 gal", "25.0 gal"])
def test_a_total_that_the_meters_contradict_withholds_every_figure_of_fuel(total: str) -> None:
    """14.1 and 14.6 gal are 28.7: nobody knows whether the flow is to be corrected by 31.2 / 28.7 or 31.2 / total."""

    def view(entered: str, refill: str = "31.2 gal") -> JobView:
        values: dict[FieldKey, JsonValue] = {**typed(PLANING, 2), **USABLE, (TANKS, "same_mark", "", ""): True}
        values |= {(TANKS, "refilled", "", ""): refill, (TANKS, "metered_total", "", ""): entered}
        values |= {(TANKS, "metered", "", "port"): "14.1 gal", (TANKS, "metered", "", "starboard"): "14.6 gal"}
        return job_view(TWINS, values)

    for calculator in (*RESTING_ON_THE_CURVE, "fuel_for_power", "flow_meter"):
        missing = finding(view(total), calculator).missing
        assert [(one.lack, one.field) for one in missing] == [(Lack.CONTRADICTS, "metered_total")], calculator
    assert finding(view(total), "curve").code == "fuel_curve.curve.refill_contradicts"
    assert finding(view("28.7 gal"), "range").verdict is Verdict.PASS
    assert finding(view(total, "3.0 gal"), "range").verdict is Verdict.PASS  # too small to correct anything


def test_a_flow_at_full_throttle_that_the_refill_halves_is_judged_as_corrected() -> None:
    """33 gal/h of 350 hp; the meter reads a fifth high, so the engine burns 27.5."""
    found = finding(refilled("25.0 gal"), "fuel_for_power")
    assert next(one.value for one in found.numbers if one.name == "fuel flow") == pytest.approx(27.5, abs=0.01)


# --- gaps between steps


def gap(*left_out: float, widest: str = "600 rev/min") -> JobView:
    rows = [row for row in PLANING if row[0] not in left_out]
    return job_view(SINGLE, {**typed(rows), **USABLE}, settings={"fuel_curve.widest_gap": widest})


def test_a_gap_between_two_steps_below_the_hump_withholds_no_cruise() -> None:
    """From 1000 to 2000 rev/min, where the hump begins: only where it begins is not told."""
    view = gap(1500)
    assert finding(view, "best_cruise").verdict is Verdict.PASS
    assert finding(view, "range").verdict is Verdict.PASS
    hump = finding(view, "planing_hump")
    assert hump.code == "fuel_curve.planing_hump.found"
    assert not any(one.name.startswith("hump begins") for one in hump.numbers)
    assert "planing hump" not in {band.name for band in finding(view, "curve").figures[0].bands}


def test_a_gap_at_the_best_cruise_withholds_it_and_its_mark() -> None:
    view = gap(3500, 4000, widest="1000 rev/min")
    assert "too far apart to place the best cruise; add one near" in finding(view, "best_cruise").sentence
    assert finding(view, "range").verdict is Verdict.NOT_ENOUGH_DATA
    assert "best cruise" not in {band.name for band in finding(view, "curve").figures[0].bands}


def test_a_gap_below_hull_speed_hides_no_hump_on_a_long_boat() -> None:
    """From 1200 to 2200 rev/min, 4.0 to 6.0 kn: a hull of 36 ft meets no hump below 7.2 kn, one of 20 ft may."""
    rows = [row for row in DISPLACEMENT if row[0] != 1700]
    for length, verdict in (("36 ft", Verdict.PASS), ("20 ft", Verdict.NOT_ENOUGH_DATA)):
        vessel = Vessel(hull_number="XYZ00001A626", engines=boat(1).engines, length=Amount.parse(length))
        assert finding(job_view(vessel, typed(rows)), "best_cruise").verdict is verdict


def test_a_curve_still_rising_draws_no_best_place() -> None:
    drawn = finding(job_view(SINGLE, typed(PLANING[:7])), "curve").figures[0]
    assert "best cruise" not in {band.name for band in drawn.bands}
    assert drawn.markers == ()


def test_how_economy_is_taken_in_the_hump_stands_on_its_finding() -> None:
    assert any("straight from step to step" in basis.note for basis in finding(gap(), "planing_hump").basis)


# --- asked about while it is typed


@pytest.mark.parametrize(
    ("field", "of", "value", "asked"),
    [
        # By hand: 60 hp at 15 % of the fuel's heat is 60 x 0.917 / 6.1 = 9.0 gal/h; a tenth more is 9.9.
        ("fuel_flow", "centre", "9.9 gal/h", False),
        ("fuel_flow", "centre", "10 gal/h", True),
        ("fuel_flow", "centre", "37 L/h", False),
        # 15 in of pitch at 6000 / 1.85 rev/min is 40.0 kn; 15 % more is 46.
        ("speed_out", "", "46 kn", False),
        ("speed_out", "", "47 kn", True),
        ("speed_back", "", "47 kn", True),
    ],
)
def test_what_the_engine_cannot_have_is_asked_about_when_it_is_typed(
    field: str, of: str, value: str, asked: bool
) -> None:
    vessel = boat(
        1,
        rated_power=Amount.parse("60 hp"),
        full_throttle_high=Amount.parse("6000 rev/min"),
        gear_ratio=Amount.parse("1.85"),
        propeller=Propeller(pitch=Amount.parse("15 in")),
    )
    step = HOST.step(STEPS)
    assert step is not None
    declared = next(one for one in step.all_fields() if one.name == field)
    assert bool(implausible(declared, value, vessel, of)) is asked
    assert implausible(declared, value) == ""  # of a boat nobody knows anything about
    assert implausible(declared, value, boat(1), of) == ""
