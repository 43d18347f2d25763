"""Propellers to try: the shop's shelf, what the boat has beside, whole inches; as run and fully laden."""

import re
from typing import Any

import attrs
import pytest

from builders import findings_of
from garboard.faults import ValueRefused
from garboard.fields import check_value
from garboard.findings import Finding, Verdict
from garboard.job_view import JobView
from garboard.records import JsonValue, NamedPropeller, Propeller, Vessel
from garboard_prop_check.change import MOST_AT_HAND
from garboard_prop_check.power_balance import Candidate, Tried, fit
from garboard_prop_check.settings import SETTINGS
from garboard_prop_check.shelf import EXAMPLE, SHELF, Kept, read_shelf
from prop_check_jobs import GOOD_CONDITIONS, amount, host, job, two_ways, vessel

(SHELF_SETTING,) = [setting for setting in SETTINGS if setting.key == "prop_check.shelf"]


HOST = host()


def one(view: JobView) -> Finding:
    """The advice."""
    (finding,) = findings_of(HOST, view, "prop_check.pitch")
    return finding


def number(finding: Finding, name: str) -> float:
    return next(each.value for each in finding.numbers if each.name == name)


def boat(**facts: Any) -> Vessel:
    """One engine with a rated speed, 14.5 x 19 in aluminium with three blades."""
    found = vessel(1, **facts)
    propeller = Propeller(diameter=amount("14.5 in"), pitch=amount("19 in"), blades=3, material="aluminium")
    return attrs.evolve(
        found, engines=(attrs.evolve(found.engines[0], propeller=propeller, rated_speed=amount("5700 rev/min")),)
    )


def advised(
    vessel: Vessel,
    shelf: str = "",
    turns: str = "5200 rev/min",
    speeds: tuple[str, str] = ("36.0 kn", "35.0 kn"),
) -> Finding:
    settings: dict[str, JsonValue] | None = {"prop_check.shelf": shelf} if shelf else None
    return one(job(vessel, two_ways(vessel, turns, speeds), settings=settings))


# --- what stands on the shelf


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("", ()),
        (" \n", None),
        ("14.5 x 17", (Kept(diameter=14.5, pitch=17),)),
        ("14.5x17 in\n14 x 19, cup;", (Kept(diameter=14.5, pitch=17), Kept(diameter=14, pitch=19, cup="heavy"))),
        ("14 x 19, no cup, 4 blades, A-12", (Kept(diameter=14, pitch=19, cup="none", blades=4, name="A-12"),)),
        ("14 x", None),
        ("17", None),
        ("14.5 x 17,; 14 x 19", None),
        ("145 x 17", None),
        ("14.5 x 0", None),
    ],
)
def test_a_shelf_is_read_as_it_is_typed(text: str, kept: tuple[Kept, ...] | None) -> None:
    """One propeller after the other; what cannot be read is refused where it is typed, with how it reads."""
    if kept is None:
        with pytest.raises(ValueRefused, match=re.escape(EXAMPLE)):
            check_value(SHELF_SETTING.field, text)
    else:
        check_value(SHELF_SETTING.field, text)
        assert read_shelf(text) == kept


@pytest.mark.parametrize("piece", ["14 x 17, cup ;", "14 x 17 in   ;", "14 x 17, a, b;", "\n", " "])
def test_a_long_shelf_is_looked_at_in_a_moment(piece: str) -> None:
    """However it goes on and whatever is wrong at its end. What looks at each place from each other would not end."""
    assert not re.fullmatch(SHELF, "14 x 17" + piece * 200_000 + "!!")


# --- what is tried first


def test_a_propeller_on_the_shelf_is_tried_before_one_that_has_to_be_bought() -> None:
    """16 in of the shop's before the 17 in nobody has; without a shelf, 17 in."""
    assert advised(boat()).sentence.startswith("Try 17 in first: 2 in less pitch.")
    found = advised(boat(), "14.5 x 16, 3 blades, aluminium, A-12; 14.5 x 21")
    assert found.sentence.startswith("Try 14.5 x 16, 3 blades, aluminium, A-12 first, on the shop's shelf: 3 in less")
    assert number(found, "change of pitch to try first") == -3
    model = fit([Tried(engine_speed=5200, doubt=15.3, pitch=19, diameter=14.5)], 5700, 0.03)
    expected = model.foresee(Candidate(pitch=16, diameter=14.5))
    assert expected is not None
    assert number(found, "engine speed to expect") == pytest.approx(expected.engine_speed, abs=3)
    rows = [row[1] for row in found.tables[0].rows]
    assert rows == ["18 (-1)", "17 (-2)", "16 (-3)", "15 (-4)", "14.5 x 16, 3 blades, aluminium, A-12 (-3)"]


def test_what_the_shelf_has_is_not_tried_for_the_sake_of_it() -> None:
    """18 in leaves the engine below its window more likely than not: 17 in is told, and 18 in stands in the table."""
    found = advised(boat(), "14.5 x 18", turns="5140 rev/min")
    assert found.sentence.startswith("Try 16 in first")
    assert found.tables[0].rows[-1][1] == "14.5 x 18 (-1)"
    close = advised(boat(), "14.5 x 18", turns="5200 rev/min").sentence
    assert close.startswith("Try 14.5 x 18 first, on the shop's shelf")
    assert "17 in would have a chance of 90 in 100, and has to be found." in close


def test_a_propeller_that_is_on_the_shelf_twice_stands_once_in_the_table() -> None:
    """Two that differ in a stock number are two."""
    rows = advised(boat(), "14.5 x 16; 14.5 x 16, S-1; 14.5 x 16.0").tables[0].rows
    assert [row[1] for row in rows if "14.5 x 16" in row[1]] == ["14.5 x 16 (-3)", "14.5 x 16, S-1 (-3)"]


def test_another_series_and_a_cup_are_foreseen_with_more_doubt() -> None:
    """A cup acts as an inch more, give or take half of one; another material works as another pitch."""

    def told(shelf: str) -> tuple[float, float]:
        found = next(each for each in advised(boat(), shelf).numbers if each.name == "engine speed to expect")
        assert found.expanded_uncertainty is not None
        return found.value, found.expanded_uncertainty

    plain = told("14.5 x 17, aluminium")
    steel = told("14.5 x 17, stainless steel")
    cupped = told("14.5 x 16, aluminium, heavy cup")
    assert steel[0] == pytest.approx(plain[0])
    assert steel[1] > plain[1] + 10
    assert cupped[0] == pytest.approx(plain[0], abs=5)
    assert cupped[1] > plain[1] + 10


def test_a_four_blade_turns_slower_than_a_three_blade_of_its_size() -> None:
    """By half an inch of pitch each; where nobody said how many blades, as before."""

    def told(blades: str) -> float:
        return number(advised(boat(), f"14.5 x 16, aluminium{blades}"), "engine speed to expect")

    assert told("") == told(", 3 blades")
    assert 60 < told(", 3 blades") - told(", 4 blades") < 130


def test_without_its_cup_the_same_stamp_is_less_pitch() -> None:
    """A rigger has the cup taken out, or fits a smaller diameter: both are to try, and a rule counts the cup too."""
    cupped = Propeller(diameter=amount("14.5 in"), pitch=amount("19 in"), blades=3, cup="heavy")
    plain = boat()
    with_cup = attrs.evolve(plain, engines=(attrs.evolve(plain.engines[0], propeller=cupped),))
    shelf = "14.5 x 19, no cup; 14.5 x 19, heavy cup; 13.75 x 19; 15 x 19"
    rows = {row[1]: row for row in advised(with_cup, shelf).tables[0].rows}
    at_hand = [name for name in rows if " x " in name]
    assert at_hand == ["14.5 x 19 (same)", "13.75 x 19 (same)"]
    assert rows["14.5 x 19 (same)"][5] == rows["18 (-1)"][5] == "5350 to 5400"
    only = advised(with_cup, "14.5 x 19, no cup", turns="5290 rev/min")
    assert only.sentence.startswith("Try 14.5 x 19 first, on the shop's shelf: the same pitch.")


def test_sizes_to_try_are_those_that_are_stamped() -> None:
    """19 in that measures 19.6: nobody sells 17.6. What was measured says how far away 18 and 17 are."""
    plain = boat()
    propeller = plain.engines[0].propeller
    assert propeller is not None

    def rows(measured: str) -> list[str]:
        gauged = attrs.evolve(propeller, pitch_measured=amount(measured))
        vessel_ = attrs.evolve(plain, engines=(attrs.evolve(plain.engines[0], propeller=gauged),))
        return [row[1] for row in advised(vessel_).tables[0].rows]

    assert rows("19.6 in") == ["18 (-1.6)", "17 (-2.6)", "16 (-3.6)"]
    assert rows("18.5 in") == ["18 (-0.5)", "17 (-1.5)", "16 (-2.5)", "15 (-3.5)"]
    assert rows("17.8 in") == ["17 (-0.8)", "16 (-1.8)", "15 (-2.8)", "14 (-3.8)"]


def test_diameter_and_boat_speed_are_told_with_what_is_tried() -> None:
    """Which diameter was counted with, and that the boat's speed is hardly foreseeable."""
    words = advised(boat()).sentence
    assert "Take it with about 14.75 in of diameter, less by 1/8 of what the pitch grows." in words
    assert "Boat speed 35.3 ± 2.0 kn: promise no gain or loss." in words
    assert "diameter" not in advised(boat(), "14.5 x 16").sentence
    without = attrs.evolve(
        boat(), engines=(attrs.evolve(boat().engines[0], propeller=Propeller(pitch=amount("19 in"))),)
    )
    assert "Its diameter is not known" in advised(without).sentence


def test_a_propeller_of_the_boat_that_nobody_ran_is_one_to_try() -> None:
    """It lies aboard: before what has to be bought."""
    spare = NamedPropeller(name="spare", diameter=amount("14.5 in"), pitch=amount("17 in"))
    found = advised(attrs.evolve(boat(), propellers=(spare,)))
    assert found.sentence.startswith("Try 14.5 x 17, spare first, on board: 2 in less pitch.")


def laden(run: str, full: str) -> Vessel:
    return boat(displacement_as_run=run, displacement_full_load=full, length="20 ft")


def test_where_the_full_load_is_known_the_smaller_chance_counts() -> None:
    """15 % heavier: an inch less is tried than for the load as run, and both chances are told."""
    as_run, full = advised(boat(), turns="5260 rev/min"), advised(laden("3000 lb", "3450 lb"), turns="5260 rev/min")
    assert (number(as_run, "change of pitch to try first"), number(full, "change of pitch to try first")) == (-2, -3)
    model = fit([Tried(engine_speed=5260, doubt=15.3, pitch=19, diameter=14.5)], 5700, 0.03)
    expected = model.foresee(Candidate(pitch=16, weight=1.15))
    assert expected is not None
    assert number(full, "engine speed to expect fully laden") == pytest.approx(expected.engine_speed, abs=3)
    assert "Fully laden:" in full.sentence
    assert full.tables[0].headings[-2:] == ("fully laden [rev/min]", "chance fully laden [%]")
    assert "laden" not in as_run.sentence


def test_a_propeller_that_labours_fully_laden_is_not_passed() -> None:
    """5450 rev/min as run is inside; with half as much weight again it is not. 5 % more leaves it there."""
    heavy, light = (
        advised(laden("3000 lb", full), turns="5450 rev/min", speeds=("40.0 kn", "39.0 kn"))
        for full in ("4500 lb", "3050 lb")
    )
    assert (heavy.code, heavy.verdict) == ("prop_check.pitch.laden_below", Verdict.ADVISE)
    assert "below its range from 5400: run it laden before you keep the propeller" in heavy.sentence
    assert number(heavy, "engine speed to expect fully laden, centre") < 5400
    assert (light.code, light.verdict) == ("prop_check.pitch.keep", Verdict.PASS)


def test_a_boat_that_was_run_with_its_full_load_is_not_laden_once_more() -> None:
    """Whatever its weights say: what it turned then is told as run. With half its load both are told."""
    vessel_ = laden("3000 lb", "3450 lb")
    runs = two_ways(vessel_, "5260 rev/min", ("36.0 kn", "35.0 kn"))
    full, half = (one(job(vessel_, runs, {**GOOD_CONDITIONS, "load": load})) for load in ("full", "half"))
    assert "laden" not in full.sentence
    assert "Fully laden:" in half.sentence


def test_no_chance_is_told_as_certain() -> None:
    """Just below a window of 1300 rev/min two inches less land for sure, as far as the balance says: 99 in 100."""
    wide = attrs.evolve(boat().engines[0], full_throttle_low=amount("4700 rev/min"), rated_speed=amount("5350 rev/min"))
    found = advised(attrs.evolve(boat(), engines=(wide,)), turns="4650 rev/min", speeds=("31.5 kn", "31.0 kn"))
    chances = [int(row[4]) for row in found.tables[0].rows]
    assert max(chances) == 99


def test_blades_and_cup_that_are_counted_with_are_told() -> None:
    """17 in with the four blades and the cup of now; three blades without a cup go without saying."""
    fitted = Propeller(diameter=amount("14.5 in"), pitch=amount("19 in"), blades=4, cup="light")
    unusual = attrs.evolve(boat(), engines=(attrs.evolve(boat().engines[0], propeller=fitted),))
    assert "of what the pitch grows, and with 4 blades and a light cup as now." in advised(unusual).sentence
    assert "as now" not in advised(boat()).sentence


def test_however_much_there_is_to_say_the_caution_is_not_cut_off() -> None:
    """Twins in warm air, fully laden told, blades and cup unusual, no rated speed: more than a text may hold before."""
    made = vessel(2, displacement_as_run="3100 lb", displacement_full_load="3900 lb", length="21 ft")
    fitted = Propeller(diameter=amount("14.25 in"), pitch=amount("21 in"), blades=4, cup="light")
    made = attrs.evolve(made, engines=tuple(attrs.evolve(one, propeller=fitted) for one in made.engines))
    warm = {**GOOD_CONDITIONS, "air_temperature": "38 degC", "air_pressure": "985 hPa"}
    found = one(job(made, two_ways(made, "5180 rev/min", ("44.0 kn", "43.0 kn")), warm))
    words = found.sentence
    assert "(cut: " not in words
    assert any(row[0].startswith("By proportion it would be") for row in found.tables[-1].rows), "nothing is lost"
    assert "open the throttle with care" in words
    assert "Fully laden: 78 in 100 each." in words


def test_what_a_rule_says_of_both_engines_is_said_once() -> None:
    """Twins that turned alike."""
    twin = vessel(2)
    words = one(job(twin, two_ways(twin, "5100 rev/min", ("36.0 kn", "35.0 kn")))).sentence
    assert words.count("By proportion") == 1
    assert "outside that interval." in words


@pytest.mark.parametrize("full", ["1000 lb", "2900 lb", "30000 lb"])
def test_a_full_load_that_cannot_be_is_not_counted_with(full: str) -> None:
    """Lighter than as run, or ten times as heavy: one of the two is wrong. It may be named as a doubt."""
    found = advised(laden("3000 lb", full))
    assert "Fully laden:" not in found.sentence
    assert "engine speed to expect fully laden" not in {number.name for number in found.numbers}


# --- beside it


def test_a_rule_that_says_otherwise_is_named() -> None:
    """16 in by proportion: 5200 x 19 / 16 is 6175 rev/min, more than the balance holds possible."""
    found = advised(boat(), "14.75 x 16")
    assert "By proportion it would be 6175 rev/min, outside that interval." in found.sentence
    assert found.tables[0].rows[-1][6] == "6175 (outside)"
    assert "proportion" not in advised(boat(), "14.5 x 17").sentence


def test_the_figure_shows_run_window_interval_and_rules() -> None:
    """One for each engine; lines begin at the run."""
    (figure,) = advised(boat()).figures
    assert [band.name for band in figure.bands] == ["full-throttle window"]
    lines = {series.name: series for series in figure.series}
    assert lines["as run"].x == (19,)
    assert lines["expected"].x[:2] == (19, 18)
    assert all(
        low < middle < high
        for low, middle, high in list(zip(lines["at least"].y, lines["expected"].y, lines["at most"].y, strict=True))[
            1:
        ]
    )
    assert lines["by proportion"].y[1] == pytest.approx(5200 * 19 / 18)


def test_where_the_propeller_does_not_bite_the_trades_rule_alone_foresees() -> None:
    """38 % slip: no balance holds, and 200 rev/min an inch is told with the doubt it has."""
    vessel_ = boat(hull_form="displacement")
    found = one(job(vessel_, two_ways(vessel_, "5200 rev/min", ("27.0 kn", "27.0 kn"))))
    assert number(found, "engine speed to expect") == pytest.approx(5200 + 200 * 2, abs=5)
    assert "boat speed to expect" not in [each.name for each in found.numbers]


def test_of_a_shelf_of_hundreds_the_likeliest_are_told_and_the_best_is_tried() -> None:
    """10 000 made a table of 2 000 lines, and a tablet wait a quarter of a minute."""
    sizes = [f"{across / 4:g} x {pitch / 4:g}, NR{across}" for pitch in range(62, 76) for across in range(54, 62)]
    found = advised(boat(), "; ".join(sizes))
    (table,) = found.tables
    chances = [int(row[4]) for row in table.rows if "NR" in row[1]]
    assert len(chances) == MOST_AT_HAND
    assert min(chances) >= 95, "the likeliest of 112"
    assert len(found.forecasts) <= MOST_AT_HAND + 4
    alone = advised(boat(), found.sentence.removeprefix("Try ").split(" first")[0])
    assert alone.numbers == found.numbers
