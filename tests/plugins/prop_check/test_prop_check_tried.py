"""Run, swap, run: each propeller is judged by its own runs, and what is fitted now by no other's."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import attrs
import pytest
from rich.console import Console

from garboard.findings import Finding, Lack
from garboard.fittings import CAME_WITH, fitting_named
from garboard.hosting.host import make_host
from garboard.job_view import Disagreement, FieldKey, JobView, Unreadable
from garboard.records import JsonValue, NamedPropeller, Vessel
from garboard.report.book import handover_book
from garboard.report.job_report import print_report
from garboard.report.json_out import assessed_job
from garboard.report.trials import lines_of_trials, trials_of, which_stays
from garboard.samples import Sample
from garboard.units import Amount
from garboard.verdict import Verdict
from printed import printed_words
from prop_check_jobs import GOOD_CONDITIONS, PROPELLER, RUNS, job, two_ways, vessel

HOST = make_host(("garboard_prop_check", "garboard_fuel_curve"), entry_points=False)
STEEL = NamedPropeller(name="17 steel", pitch=Amount("17", "in"), diameter=Amount("14.5", "in"))
BEFORE = two_ways(vessel(), "5150 rev/min", ("37.8 kn", "37.2 kn"))
AFTER = two_ways(vessel(), "5560 rev/min", ("38.1 kn", "37.7 kn"))


def boat(fitted: str = "", *propellers: NamedPropeller) -> Vessel:
    made = vessel()
    return attrs.evolve(
        made, propellers=propellers or (STEEL,), engines=(attrs.evolve(made.engines[0], fitted=fitted),)
    )


def named(name: str, *rows: str) -> dict[FieldKey, JsonValue]:
    return {(RUNS, "propeller", row, "centre"): name for row in rows}


def swapped(
    fitted: str = "17 steel", name: str = "17 steel", more: Mapping[FieldKey, JsonValue] | None = None
) -> JobView:
    """Two runs, a swap, two runs."""
    return job(boat(fitted), BEFORE + AFTER, more={**named(name, "3", "4"), **(more or {})})


def findings(view: JobView, *calculators: str) -> list[Finding]:
    wanted = {f"prop_check.{name}" for name in calculators}
    return [one.finding for one in HOST.assess(view) if one.calculator in wanted]


JUDGING = ("window", "slip", "speed", "reference_air")


def test_the_first_propeller_is_judged_after_the_swap_as_before_it() -> None:
    """Its runs are the same, and so are all findings of it, whatever was run and fitted since. The advice alone has
    learned: what the other propeller turned tells what the next one will, and leaves less doubt."""
    alone = job(vessel(), BEFORE)
    put_back = job(boat(""), BEFORE + AFTER, more=named("17 steel", "3", "4"))
    assert findings(put_back, *JUDGING) == findings(alone, *JUDGING)
    (advice,) = findings(put_back, "pitch")
    assert (advice.code, advice.verdict) == ("prop_check.pitch.put_back", Verdict.ADVISE)
    assert advice.sentence == "Put 17 steel back on: it turned 5560 ± 30 rev/min, inside the window."


def test_what_another_propeller_turned_leaves_less_doubt_of_the_next() -> None:
    """Run with 17 in and still below its window: 16 in is foreseen closer, and both runs stand in the figure."""
    again = two_ways(vessel(), "5300 rev/min", ("38.1 kn", "37.7 kn"))
    (before,) = findings(job(vessel(), BEFORE), "pitch")
    (after,) = findings(job(boat(""), BEFORE + again, more=named("17 steel", "3", "4")), "pitch")
    widths = []
    for found in (after, before):
        (of,) = next(one for one in found.forecasts if str(one.pitch) == "16 in").expected
        assert of.low is not None
        assert of.high is not None
        widths.append(of.high.to("rev/min") - of.low.to("rev/min"))
    assert 0 < widths[0] < 0.9 * widths[1]
    assert [series.x for series in after.figures[0].series if series.name == "as run"] == [(19, 17)]


@pytest.mark.parametrize(
    "amiss",
    [
        {(PROPELLER, "propeller", "1", "centre"): "17 steel", (PROPELLER, "blades_sound_again", "1", "centre"): False},
        {
            (RUNS, "mounting_height", row, "centre"): f"hole {hole}"
            for row, hole in zip("1234", (2, 2, 4, 4), strict=True)
        },
    ],
)
def test_what_was_damaged_or_hung_higher_is_not_put_back_on(amiss: dict[FieldKey, JsonValue]) -> None:
    """Its figure inside the window is none of a sound propeller at this height."""
    runs = job(boat(""), BEFORE + AFTER, more={**named("17 steel", "3", "4"), **amiss})
    assert [one.code for one in findings(runs, "pitch")] == ["prop_check.pitch.try_first"]


def test_a_load_that_only_one_of_two_says_makes_no_difference() -> None:
    """Four aboard in the later runs, nobody said how many before: the boat did not gain 660 lb. Where both say it, it
    did."""
    low = two_ways(vessel(), "5300 rev/min", ("38.1 kn", "37.7 kn"))
    made = attrs.evolve(boat(""), displacement_as_run=Amount("2000", "lb"))
    unsaid = {key: value for key, value in GOOD_CONDITIONS.items() if key not in ("persons", "fuel_level")}

    def foreseen(**rows: int) -> list[str]:
        more: dict[FieldKey, JsonValue] = {(RUNS, "persons", row[1:], ""): people for row, people in rows.items()}
        (advice,) = findings(job(made, BEFORE + low, unsaid, more={**named("17 steel", "3", "4"), **more}), "pitch")
        return [row[2] for row in advice.tables[0].rows]

    assert foreseen(_3=4, _4=4) == foreseen()
    assert foreseen(_1=2, _2=2, _3=4, _4=4) != foreseen()


def test_the_load_a_run_names_is_held_against_the_load_said() -> None:
    """Nine aboard in one run are no light load, though the conditions say two; the book tells what the runs had."""
    made = attrs.evolve(vessel(), displacement_as_run=Amount("2600", "lb"))

    def told(*people: int) -> tuple[list[str], str]:
        rows: dict[FieldKey, JsonValue] = {(RUNS, "persons", str(n), ""): one for n, one in enumerate(people, 1)}
        view = job(made, BEFORE, {**GOOD_CONDITIONS, "load": "light"}, more=rows)
        (section,) = [one for one in HOST.report_sections if one.key == "prop_check.result"]
        words = next(one for one in section.build(view, HOST.assess(view)) if str(one).startswith("As run"))
        return [one.sentence for one in findings(view, "readings")], str(words)

    (asked,), words = told(2, 9)
    assert "with 9 persons aboard in run 2" in asked
    assert "2 or 9 on board" in words
    assert told(2, 2) == told()


@pytest.mark.parametrize(
    ("turned", "code"), [("6030 rev/min", "prop_check.pitch.between"), ("5390 rev/min", "prop_check.pitch.try_first")]
)
def test_a_pitch_that_was_run_is_not_told_to_be_tried(turned: str, code: str) -> None:
    """18 in turned too fast and 19 in too slow: no whole inch lies between. Both too slow: 17 in, not 18 again."""
    made = boat("", attrs.evolve(STEEL, name="18", pitch=Amount("18", "in")))
    low = two_ways(made, "5350 rev/min", ("37.8 kn", "37.2 kn"))
    again = two_ways(made, turned, ("38.1 kn", "37.7 kn"))
    made = attrs.evolve(made, engines=(attrs.evolve(made.engines[0], limiter_speed=Amount("6500", "rev/min")),))
    (advice,) = findings(job(made, low + again, more=named("18", "3", "4")), "pitch")
    assert advice.code == code
    if code.endswith("between"):
        assert "with 18 in 6030 rev/min was run, with the one now fitted 5350" in advice.sentence
        assert advice.forecasts == ()
    else:
        assert advice.sentence.startswith(f"Try {advice.forecasts[0].propeller} in first")
        assert not advice.sentence.startswith("Try 18")


def test_another_cup_is_another_propeller_to_try() -> None:
    """18 in with a heavy cup was run, and turned too slow; 18 in without one is still to try."""
    for cup, is_told in (("heavy", True), ("", False)):
        made = boat("", attrs.evolve(STEEL, name="18", pitch=Amount("18", "in"), cup=cup))
        again = two_ways(made, "5200 rev/min", ("38.1 kn", "37.7 kn"))
        (advice,) = findings(job(made, BEFORE + again, more=named("18", "3", "4")), "pitch")
        assert (Amount("18", "in") in [one.pitch for one in advice.forecasts]) is is_told


def test_a_damaged_propeller_teaches_the_forecast_nothing() -> None:
    """A dent or a misread stamp is no property of boat or engine: the advice is that of a job without its runs."""
    after = two_ways(vessel(), "5250 rev/min", ("36.0 kn", "35.4 kn"))
    alone = job(boat("17 steel"), after, more=named("17 steel", "1", "2"))

    def forecast(view: JobView) -> list[tuple[float, float | None]]:
        (advice,) = findings(view, "pitch")
        return [(one.value, one.expanded_uncertainty) for one in advice.numbers]

    def after_a_swap(**found: bool) -> JobView:
        said: dict[FieldKey, JsonValue] = {(PROPELLER, field, "", "centre"): value for field, value in found.items()}
        return job(boat("17 steel"), BEFORE + after, more=named("17 steel", "3", "4") | said)

    assert forecast(after_a_swap(blades_sound=False)) == forecast(alone)
    assert forecast(after_a_swap(stamp_read=False)) == forecast(alone)
    assert forecast(after_a_swap(blades_sound=True, stamp_read=True)) == forecast(after_a_swap()) != forecast(alone)


def test_an_earlier_propeller_with_a_cup_teaches_as_the_pitch_its_cup_acts_as() -> None:
    """150 rev/min slower on the same stamp, as with an inch more: that says nothing against the next inch less."""

    def foreseen(*tried: NamedPropeller) -> dict[str, tuple[float, float]]:
        later = two_ways(vessel(), "5000 rev/min", ("36.9 kn", "36.3 kn")) if tried else []
        names = named("19", "3", "4") if tried else {}
        (advice,) = findings(job(boat("", *tried), BEFORE + later, more=names), "pitch")
        cells = ((row[1], row[2].split(" ± ")) for row in advice.tables[0].rows)
        return {pitch: (float(cell[0]), float(cell[1])) for pitch, cell in cells if len(cell) > 1}

    plain = NamedPropeller(name="19", pitch=Amount("19", "in"), diameter=Amount("15", "in"))
    cupped = attrs.evolve(plain, cup="heavy")
    alone, as_like, as_cupped = foreseen(), foreseen(plain), foreseen(cupped)
    inch = "17 (-2)"
    assert as_like[inch][0] < alone[inch][0] - 30, "the same stamp turned slower: the boat takes more power"
    assert abs(as_cupped[inch][0] - alone[inch][0]) < 30
    assert as_cupped[inch][1] < alone[inch][1], "it teaches all the same"
    other = foreseen(attrs.evolve(cupped, material="composite"))
    assert other == as_cupped, "of the one now fitted nobody said what it is made of"


def test_the_second_propeller_is_judged_as_if_no_other_had_been_run() -> None:
    alone = job(vessel(pitch="17 in"), AFTER)
    now = findings(swapped(), "window", "slip", "speed")
    expected = findings(alone, "window", "slip", "speed")
    assert [(one.code, one.verdict, one.numbers) for one in now] == [
        (one.code, one.verdict, one.numbers) for one in expected
    ]
    assert {place[2] for one in now for place in one.places if place[0] == RUNS} == {"3", "4"}
    (advice,) = findings(swapped(), "pitch")
    assert advice.code == "prop_check.pitch.keep"
    assert ("vessel", "propellers.pitch", "", "17 steel") in advice.places


def test_a_fitting_without_a_run_says_which_is_missing_and_takes_no_other_s() -> None:
    found = findings(job(boat("17 steel"), BEFORE), *JUDGING)
    assert {one.verdict for one in found} == {Verdict.NOT_ENOUGH_DATA}
    assert "with the propeller 17 steel" in found[0].sentence


def test_a_run_of_a_propeller_nobody_entered_is_said_and_changes_no_verdict() -> None:
    view = swapped(more=named("16 brass", "2") | named(CAME_WITH, "1"))
    (said,) = (one for one in findings(view, "readings") if one.verdict is Verdict.NOT_ENOUGH_DATA)
    assert "'16 brass', which is not in the list of propellers" in said.sentence
    assert (said.missing[0].field, said.missing[0].row, said.missing[0].of) == ("propeller", "2", "centre")
    assert findings(view, *JUDGING) == findings(swapped(), *JUDGING)
    assert not [one for one in findings(swapped(), "readings") if one.verdict is Verdict.NOT_ENOUGH_DATA]


def test_what_is_fitted_and_in_no_list_is_not_judged() -> None:
    found = findings(swapped("16 brass", "16 brass"), "pitch", "slip")
    assert {one.verdict for one in found} == {Verdict.NOT_ENOUGH_DATA}
    assert all("'16 brass'" in one.sentence for one in found)


def test_two_tablets_that_say_another_propeller_is_on_judge_none_until_one_is_chosen() -> None:
    view = swapped()
    on = Disagreement(("vessel", "engines/centre/fitted", "", ""), ())
    found = findings(attrs.evolve(view, disagreements=(on,)), *JUDGING)
    assert {one.verdict for one in found} == {Verdict.NOT_ENOUGH_DATA}
    assert {one.missing[0].lack for one in found} == {Lack.DISAGREES}
    trials = trials_of(attrs.evolve(view, disagreements=(on,)), HOST)
    assert [(one.name, one.stays, one.verdict) for one in trials] == [
        (CAME_WITH, False, Verdict.FAIL),
        ("17 steel", False, Verdict.PASS),
    ]


def test_a_measured_pitch_stands_before_the_stamp() -> None:
    gauged = attrs.evolve(STEEL, pitch_measured=Amount("17.5", "in"))
    view = job(boat("17 steel", gauged), AFTER, more=named("17 steel", "1", "2"))
    (measured,), (stamped,) = findings(view, "slip"), findings(job(vessel(pitch="17.5 in"), AFTER), "slip")
    (gauge, stamp) = (next(one for one in found.numbers if one.name == "slip") for found in (measured, stamped))
    assert gauge.value == stamp.value
    assert "by the measured pitch" in measured.sentence
    assert (gauge.expanded_uncertainty or 9) < (stamp.expanded_uncertainty or 0)


def test_the_nut_is_looked_at_again_after_each_change() -> None:
    """Before the change it was in order: that says nothing of the propeller now on the shaft."""
    first = {(PROPELLER, field, "", "centre"): True for field in ("stamp_read", "nut_secured", "blades_sound")}
    again: dict[FieldKey, Any] = {
        (PROPELLER, "propeller", "1", "centre"): "17 steel",
        (PROPELLER, "nut_secured_again", "1", "centre"): True,
        (PROPELLER, "blades_sound_again", "1", "centre"): True,
    }
    loose = again | {(PROPELLER, "nut_secured_again", "1", "centre"): False}
    back = {(key[0], key[1], "2", key[3]): CAME_WITH if key[1] == "propeller" else True for key in again}
    said = {
        "never changed": job(vessel(), BEFORE, more=first),
        "changed": swapped(more=first),
        "looked at": swapped(more=first | again),
        "loose": swapped(more=first | loose),
        "changed back": swapped("", more=first | again),
        "looked at again": swapped("", more=first | again | back),
    }
    verdicts = {what: findings(view, "propeller")[0].verdict for what, view in said.items()}
    ready, missing = Verdict.PASS, Verdict.NOT_ENOUGH_DATA
    assert list(verdicts.values()) == [ready, missing, ready, Verdict.FAIL, missing, ready]
    lacking = findings(said["changed"], "propeller")[0].missing[0]
    assert (lacking.step, lacking.field, lacking.row, lacking.of) == (PROPELLER, "nut_secured_again", "1", "centre")
    damaged = swapped(more=again | {(PROPELLER, "blades_sound_again", "1", "centre"): False})
    assert "damaged" in findings(damaged, "pitch")[0].sentence


def test_which_look_at_a_propeller_counts_is_no_matter_of_a_clock() -> None:
    """Put on again and found damaged, by a tablet two hours behind: its values come first in the order of time."""
    looks: dict[FieldKey, JsonValue] = {}
    for row, is_sound in (("10", False), ("2", True)):
        looks[PROPELLER, "propeller", row, "centre"] = "17 steel"
        looks[PROPELLER, "blades_sound_again", row, "centre"] = is_sound
    for order in (looks, dict(reversed(looks.items()))):
        assert "damaged" in findings(swapped(more=order), "pitch")[0].sentence


def throttle_steps(**names: str) -> JobView:
    """Eight throttle steps of the propeller now fitted, but of rows "r1" to "r8" that name another."""
    steps: dict[FieldKey, JsonValue] = {}
    for row, turns in enumerate((800, 1500, 2200, 2900, 3600, 4300, 5000, 5600), start=1):
        steps |= {
            ("fuel_curve.steps", "nominal_engine_speed", str(row), ""): f"{turns} rev/min",
            ("fuel_curve.steps", "speed_out", str(row), ""): f"{turns / 150:.1f} kn",
            ("fuel_curve.steps", "speed_back", str(row), ""): f"{turns / 150:.1f} kn",
            ("fuel_curve.steps", "fuel_flow", str(row), "centre"): f"{turns**2 / 2e6:.1f} gal/h",
            ("fuel_curve.steps", "propeller", str(row), "centre"): names.get(f"r{row}", "17 steel"),
        }
    return job(boat("17 steel"), AFTER, more=named("17 steel", "1", "2") | steps)


def of_steps(view: JobView, calculator: str) -> list[Finding]:
    return [one.finding for one in HOST.assess(view) if one.calculator == f"fuel_curve.{calculator}"]


def test_throttle_steps_of_another_propeller_are_of_another_curve() -> None:
    before = throttle_steps(**{f"r{row}": CAME_WITH for row in range(1, 9)})
    assert [one.verdict for one in of_steps(before, "curve")] == [Verdict.NOT_ENOUGH_DATA]
    assert Verdict.NOT_ENOUGH_DATA not in {one.verdict for one in of_steps(throttle_steps(), "curve")}


def test_a_throttle_step_of_a_propeller_nobody_entered_is_said() -> None:
    """It is of no curve; a step of another propeller that was entered is of that one's, and nothing is said of it."""
    (said,) = of_steps(throttle_steps(r6="17 stel", r7="17 stel"), "against_others")
    assert (said.verdict, said.about) == (Verdict.NOT_ENOUGH_DATA, "rows 6 and 7")
    assert "'17 stel', which is not in the list of propellers" in said.sentence
    places = [(one.step, one.field, one.row, one.of) for one in said.missing]
    assert places == [("fuel_curve.steps", "propeller", row, "centre") for row in ("6", "7")]
    assert not of_steps(throttle_steps(r6=CAME_WITH, r7=CAME_WITH), "against_others")
    assert not of_steps(throttle_steps(), "against_others")


@pytest.mark.parametrize("step", [RUNS, "fuel_curve.steps"])
def test_a_name_that_cannot_be_read_is_no_name_of_the_propeller_the_engine_came_with(step: str) -> None:
    misfit = Unreadable(place=(step, "propeller", "2", "centre"), expected="text in quotes", got="17")
    view = throttle_steps()
    kept = tuple(one for one in view.measurements if (one.step, one.field, one.row, one.of) != misfit.place)
    view = attrs.evolve(view, measurements=kept, unreadable=(misfit,))
    assert fitting_named(view, step, "2") is None
    calculator = "prop_check.readings" if step == RUNS else "fuel_curve.against_others"
    said = [one.finding for one in HOST.assess(view) if one.calculator == calculator]
    assert misfit.place in [(one.step, one.field, one.row, one.of) for found in said for one in found.missing]


# Side by side


def trial(row: str, **values: JsonValue) -> dict[FieldKey, JsonValue]:
    each = ("propeller", "mounting_height", "engine_speed")
    return {(RUNS, field, row, "centre" if field in each else ""): value for field, value in values.items()}


@pytest.fixture(scope="module")
def tried() -> JobView:
    """Three propellers: the first below its window, the second in it, the third named by nobody's list."""
    aboard: dict[str, JsonValue] = {"persons": 2, "fuel_level": "50 %", "mounting_height": "hole 2"}
    more = trial("1", **aboard, time_to_plane="6 s") | trial("2", time_to_plane="7 s") | trial("3", gear="200 lb")
    third = trial("5", speed="36.0 kn", engine_speed="5700 rev/min", direction="with", propeller="16 brass")
    return swapped(more=more | third | trial("6", time_to_plane="4.4 s", propeller="17 steel"))


def test_what_was_tried_stands_side_by_side(tried: JobView) -> None:
    """Each by its own runs: engine speed against its window, speed, slip, load, time to plane, verdict, and why."""
    first, second, third = trials_of(tried, HOST)
    assert [(one.name, one.stays, one.verdict) for one in (first, second, third)] == [
        (CAME_WITH, False, Verdict.FAIL),
        ("17 steel", True, Verdict.PASS),
        ("16 brass", False, Verdict.NOT_ENOUGH_DATA),
    ]
    lines = dict(lines_of_trials((first, second, third)))
    assert lines["Propeller"] == ("15 in x 19 in, 3 blades", "14.5 in x 17 in", "not entered")
    assert lines["Load"] == ("2 on board, fuel 50 %", "gear 200 lb", "")
    assert lines["Time to plane"] == ("6.5 s, mean of 2", "4.4 s", "")
    assert [cell.split()[0] for cell in lines["Engine speed"][:2]] == ["5150", "5560"]
    assert lines["Window"][0] == "5400 to 6000 rev/min"
    assert [cell.split()[0] for cell in lines["Speed"][:2]] == ["37.5", "37.9"]
    said = list(which_stays((first, second, third)))
    assert said[0].startswith("17 steel stays: 5560 ± 30 rev/min")
    assert "'16 brass' of the centre engine is not in the list of propellers" in said[2]


def test_runs_that_were_not_made_with_one_load_are_told_as_such(tried: JobView) -> None:
    """Fuel burnt from run to run is one load; a load that one run alone says is compared with none."""
    assert not [said for said in which_stays(trials_of(tried, HOST)) if "load" in said]
    like = trial("1", persons=2, fuel_level="50 %") | trial("3", persons=2, fuel_level="42 %")
    assert len(list(which_stays(trials_of(swapped(more=like), HOST)))) == 2
    unlike = trial("1", persons=6, gear="800 lb") | trial("3", persons=2, gear="100 kg")
    *_, said = which_stays(trials_of(swapped(more=unlike), HOST))
    assert said.startswith("Not all runs had one load (2 to 6 on board, gear 100 kg to 800 lb)")


def test_of_several_engines_each_trial_says_which_has_which_propeller() -> None:
    """Three engines, two of them changed, first these, then those: two names, and the engine that decides named."""
    made = vessel(3)
    runs = two_ways(made, "5160 rev/min", ("37.8 kn", "37.2 kn"))
    steel = {("1", "port"), ("1", "centre"), ("2", "port"), ("2", "centre"), ("3", "port"), ("4", "port")}
    names: dict[FieldKey, JsonValue] = {(RUNS, "propeller", row, of): "17 steel" for row, of in steel}
    view = job(attrs.evolve(made, propellers=(STEEL,)), runs * 2, more=names)
    trials = trials_of(view, HOST)
    assert [one.name for one in trials] == [
        "port and centre 17 steel, starboard as delivered",
        "port 17 steel, centre and starboard as delivered",
        CAME_WITH,
    ]
    assert "was tried. Port engine: 5160 ± 30 rev/min" in list(which_stays(trials))[1]
    slips = dict(lines_of_trials(trials))["Slip"]
    assert [part.split()[0] for part in slips[0].split(", ")] == ["port", "centre", "starboard"]


def test_one_propeller_that_is_fitted_is_no_trial() -> None:
    assert trials_of(job(vessel(), BEFORE), HOST) == ()
    assert trials_of(job(boat("17 steel"), AFTER, more=named("17 steel", "1", "2")), HOST) == ()


def test_report_book_and_json_tell_what_was_tried(tried: JobView) -> None:
    assessed = HOST.assess(tried)
    printed = printed_words(handover_book(HOST.with_defaults(tried), HOST, assessed))
    report = io.StringIO()
    print_report(Console(file=report, width=200), tried, HOST, assessed)
    for text in (printed, " ".join(report.getvalue().split())):
        assert "17 steel stays: 5560 ± 30 rev/min" in text
        assert "As delivered was tried: 5150 ± 30 rev/min" in text
        assert "6.5 s, mean of 2" in text
    plain = assessed_job("job.json", tried, HOST, assessed, ())["trials"]
    assert [(one["fitting"], one["stays"], one["verdict"]) for one in plain] == [
        ([""], False, "fail"),
        (["17 steel"], True, "pass"),
        (["16 brass"], False, "not enough data"),
    ]
    assert {"engine speed", "speed", "slip"} <= {number["name"] for number in plain[1]["numbers"]}


# Running in


def running(hours: str | None, asked: str = "10 h") -> JobView:
    made = vessel()
    engine = attrs.evolve(made.engines[0], hours=Amount.parse(hours) if hours else None)
    return job(attrs.evolve(made, engines=(engine,)), AFTER, GOOD_CONDITIONS, settings={"prop_check.break_in": asked})


@pytest.mark.parametrize(
    ("hours", "asked", "codes"),
    [
        ("3.2 h", "10 h", ["prop_check.break_in.running_in"]),
        ("10 h", "10 h", []),
        ("3.2 h", "0 h", []),
        (None, "0 h", []),
        (None, "10 h", ["prop_check.break_in.not_enough_data"]),
    ],
)
def test_full_throttle_waits_for_the_hours_the_maker_asks_for(hours: str | None, asked: str, codes: list[str]) -> None:
    view = running(hours, asked)
    assert [one.code for one in findings(view, "break_in")] == codes
    (advice,) = findings(view, "pitch")
    held = bool(codes)
    assert (advice.verdict is Verdict.NOT_ENOUGH_DATA) is held
    assert hours is None or not held or "up to 4050 rev/min" in findings(view, "break_in")[0].sentence


def test_the_guide_holds_back_while_an_engine_runs_in() -> None:
    guide = HOST.live_guides["prop_check.full_throttle"]
    for hours, words, urgent in (("3.2 h", "ease off: still running in", True), ("12 h", "settling", False)):
        state = guide.begin(HOST.with_defaults(running(hours)))
        for tenth in range(10):
            state = guide.take(state, Sample(tenth / 10, "engine_speed", 5560, "10", "0"))
            state = guide.take(state, Sample(tenth / 10, "speed_over_ground", 38, "35"))
        shown = guide.show(state)
        assert (shown.word, shown.urgent) == (words, urgent)
    state = guide.begin(HOST.with_defaults(running("3.2 h")))
    assert guide.show(state).word == "still running in: no full throttle"
    assert "up to 4050 rev/min" in guide.show(state).lines[0]
