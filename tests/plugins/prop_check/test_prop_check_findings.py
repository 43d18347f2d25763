"""What the calculators say, at and around every limit."""

from collections.abc import Sequence
from typing import Any

import attrs
import pytest

from builders import findings_of
from garboard.findings import BasisKind, Finding, Lack, Verdict
from garboard.job_view import JobView
from garboard.records import Engine, Propeller, Vessel
from garboard.report.as_typed import finding_as_typed
from garboard.uncertainty import MeasuredValue
from garboard_prop_check.power_balance import Candidate, Tried, fit
from garboard_prop_check.slip_findings import reading_is_wrong
from prop_check_jobs import CAPACITY, GOOD_CONDITIONS, PROPELLER, RUNS, amount, host, job, two_ways, vessel

HOST = host()
BOAT = vessel(1)
TWIN = vessel(2)
MISSING = Verdict.NOT_ENOUGH_DATA


def say(view: JobView, calculator: str) -> list[Finding]:
    return findings_of(HOST, view, f"prop_check.{calculator}")


def one(view: JobView, calculator: str) -> Finding:
    (finding,) = say(view, calculator)
    return finding


def number(finding: Finding, name: str) -> float:
    return next(number.value for number in finding.numbers if number.name == name)


def runs_at(boat: Vessel, turns: str, speeds: Sequence[str] = ("41.0 kn", "39.0 kn"), **conditions: Any) -> JobView:
    return job(boat, two_ways(boat, turns, speeds), GOOD_CONDITIONS | conditions)


def test_the_plugin_loads_whole() -> None:
    """Nothing is withdrawn, and every calculator shows under a step of the plugin."""
    assert HOST.problems == []
    steps = {step.key for step in HOST.steps}
    assert {calculator.step for calculator in HOST.calculators} <= steps
    assert len(HOST.calculators) == 12


def test_full_throttle_cautions_come_first() -> None:
    """Look-out, cut-off link, speed limits and not holding full throttle are shown before the runs."""
    step = HOST.step(RUNS)
    assert step is not None
    told = " ".join(caution.text for caution in step.cautions)
    for word in ("look-out", "cut-off link", "speed limits", "full throttle", "running-in", "capacity label"):
        assert word in told, word
    assert step.guide in HOST.live_guides


# Speed and slip.


def test_speed_with_table_and_figure() -> None:
    """The speed, how it was averaged, the current, and the runs as table and figure."""
    finding = one(job(TWIN, two_ways(TWIN)), "speed")
    assert (
        finding.sentence == "40.0 ± 0.3 kn, mean of two opposite runs (two runs only). Current along the runs: 1.0 kn."
    )
    (table,) = finding.tables
    assert table.rows == (("1", "with", "41.0", "5800", "5800"), ("2", "against", "39.0", "5800", "5800"))
    (figure,) = finding.figures
    assert [(series.name, series.x, series.y) for series in figure.series] == [
        ("port engine", (1, 2), (5800, 5800)),
        ("starboard engine", (1, 2), (5800, 5800)),
    ]
    assert figure.x.whole
    assert (figure.y.low, figure.y.high) == (5300, 6400)  # a hundred clear of window and limiter
    assert [(band.name, band.low, band.high) for band in figure.bands] == [
        ("full-throttle window", 5400, 6000),
        ("aim", 5700, 5700),  # in the middle of the window
        ("rev limiter", 6250, 6250),
    ]


def test_slip_by_hand() -> None:
    """5800 / 1.85 x 19 x 60 / 72 913.386 = 49.018 kn; 40 kn is 18.4 %. Standard uncertainties: engine 15.2 / 5800 of
    81.6 is 0.21, speed 0.110 / 49.018 is 0.23, together 0.31; the pitch, 3 % of 81.6 at most, is 1.41."""
    finding = one(runs_at(BOAT, "5800 rev/min"), "slip")
    assert finding.verdict is Verdict.PASS
    assert finding.sentence == "Slip 18.4 ± 0.6 % by the stamped pitch; 5 to 20 % is usual for this hull."
    slip, by_stamp, theory = finding.numbers
    assert (slip.name, by_stamp.name) == ("slip", "slip by the stamped pitch")
    assert (str(slip), str(by_stamp)) == ("18.4 ± 2.5 %", "18.4 ± 0.6 %")
    assert by_stamp.coverage_factor is not None
    assert by_stamp.expanded_uncertainty == pytest.approx(0.31 * by_stamp.coverage_factor, abs=0.01)
    assert theory.value == pytest.approx(49.018, abs=0.001)
    assert theory.expanded_uncertainty == pytest.approx(1.43, abs=0.02)  # 95 % of a bound of 1.47, a little widened
    assert any(basis.kind is BasisKind.COMMON_PRACTICE for basis in finding.basis)


def test_the_worked_example_of_slip() -> None:
    """5500 and 5510 rev/min, 31.2 and 28.8 kn, ratio 1.85, 14 in: 34.3 +- 1.0 kn in theory, slip 12.5 +- 2.7 %."""
    boat = vessel(1, pitch="14 in")
    runs = two_ways(boat, speeds=("31.2 kn", "28.8 kn"))
    for run, turns in zip(runs, (5500, 5510), strict=True):
        run["centre"] = f"{turns} rev/min"
    slip, by_stamp, theory = one(job(boat, runs), "slip").numbers
    assert (str(slip), str(by_stamp), str(theory)) == ("12.5 ± 2.7 %", "12.5 ± 0.9 %", "34.3 ± 1.0 kn")


@pytest.mark.parametrize(
    ("speeds", "verdict", "words"),
    [
        (("50.0 kn", "50.0 kn"), Verdict.ADVISE, "too little to believe"),
        (
            ("52.0 kn", "52.0 kn"),
            Verdict.FAIL,
            "Check the gear ratio, the stamped pitch and diameter, and the unit of speed",
        ),
        (("48.9 kn", "48.9 kn"), Verdict.ADVISE, "too little to believe"),
        (("47.0 kn", "47.0 kn"), Verdict.ADVISE, "less than usual"),  # 4.1 +- 0.7 % by the stamped pitch
        (("46.5 kn", "46.5 kn"), Verdict.PASS, "is usual for this hull"),
        (("39.0 kn", "39.0 kn"), Verdict.PASS, "is usual for this hull"),
        (("38.0 kn", "38.0 kn"), Verdict.ADVISE, "more than usual"),
        (("36.0 kn", "36.0 kn"), Verdict.ADVISE, "more than usual"),
    ],
)
def test_slip_around_its_limits(speeds: tuple[str, str], verdict: Verdict, words: str) -> None:
    """Below zero a reading is wrong; outside the usual range by more than the interval is advice, never a fail."""
    finding = one(runs_at(BOAT, "5800 rev/min", speeds), "slip")
    assert (finding.verdict, words in finding.sentence) == (verdict, True)


@pytest.mark.parametrize(
    ("changed", "speeds", "verdict", "words"),
    [
        # A ratio that is asked about itself fails nothing.
        # 5800 / 0.54 x 19 x 60 / 72 913.386 = 167.93 kn in theory; 40 kn is a slip of 76.2 %
        ({"ratio": "0.54"}, ("40.0 kn", "40.0 kn"), Verdict.ADVISE, "a reading is wrong. Check gear ratio 0.54"),
        ({"ratio": "0.54", "hull_form": ""}, ("40.0 kn", "40.0 kn"), Verdict.ADVISE, "168 kn in theory"),
        ({"ratio": "0.54"}, ("160.0 kn", "160.0 kn"), Verdict.ADVISE, "a reading is wrong"),
        # 49.018 kn in theory: 24 kn is 51.0 %, the interval 1.8 %; 25 kn is 49.0 %
        ({}, ("23.0 kn", "23.0 kn"), Verdict.FAIL, "Check gear ratio 1.85, pitch 19 in, 5800 rev/min and 23.0 kn."),
        ({}, ("24.0 kn", "24.0 kn"), Verdict.ADVISE, "more than usual"),
        ({"hull_form": ""}, ("23.0 kn", "23.0 kn"), Verdict.ADVISE, "Enter the hull form"),
        ({"hull_form": "displacement"}, ("23.0 kn", "23.0 kn"), Verdict.ADVISE, "more than usual"),
        ({"hull_form": "displacement"}, ("11.0 kn", "11.0 kn"), Verdict.FAIL, "a reading is wrong"),
    ],
)
def test_a_slip_that_cannot_be_is_a_wrong_reading(
    changed: dict[str, Any], speeds: tuple[str, str], verdict: Verdict, words: str
) -> None:
    """A third more slip than usual, or a theoretical speed no boat has, names the readings; common practice."""
    finding = one(runs_at(vessel(1, **changed), "5800 rev/min", speeds), "slip")
    assert (finding.verdict, words in finding.sentence) == (verdict, True), finding.sentence


@pytest.mark.parametrize(
    ("slip", "half_width", "theory", "wrong"),
    [
        (-2, 2, 50, False),
        (-2.1, 2, 50, True),
        (52, 2, 50, False),  # 20 % is usual for a planing hull, 30 % more is allowed
        (52.1, 2, 50, True),
        (15, 2, 121, False),  # no boat has more than 120 kn in theory
        (15, 2, 121.1, True),
        (-0.1, 0, 50, True),
    ],
)
def test_a_reading_is_wrong_only_when_the_whole_interval_is_out(
    slip: float, half_width: float, theory: float, wrong: bool
) -> None:
    """An interval that just reaches a limit may be right."""
    found = MeasuredValue.of_expanded(slip, "%", half_width)
    of_theory = MeasuredValue.of_expanded(theory, "kn", 1)
    assert reading_is_wrong(job(BOAT), found, of_theory) is wrong


def test_a_slip_whose_interval_touches_what_is_usual_is_usual() -> None:
    """From below and from above; a tenth of a percent further away, which the page shows, it is not."""
    slip = one(runs_at(BOAT, "5800 rev/min"), "slip").numbers[1]
    assert slip.uncertainty is not None
    low, high = slip.value - slip.uncertainty, slip.value + slip.uncertainty

    def code(**usual: float) -> str:
        settings = {f"prop_check.slip_{end}_planing": f"{share!r} %" for end, share in usual.items()}
        return one(job(BOAT, two_ways(BOAT), settings=settings), "slip").code

    assert code(low=high, high=30) == code(low=5, high=low) == "prop_check.slip.usual"
    assert code(low=high + 0.1, high=30) == "prop_check.slip.less_than_usual"
    assert code(low=5, high=low - 0.1) == "prop_check.slip.more_than_usual"


@pytest.mark.parametrize(
    ("usual", "words", "keeps"),
    [
        ("16 %", "more than usual", False),
        ("17.8 %", "too close to 17.8 % to call", True),  # 18.4 ± 0.6: the band ends where the interval does
        ("18.2 %", "too close to 18.2 % to call", True),
        ("18.6 %", "too close to 18.6 % to call", True),
        ("20 %", "by the stamped pitch; 5 to 20 % is usual", True),
    ],
)
def test_slip_near_the_end_of_what_is_usual_is_too_close_to_call(usual: str, words: str, keeps: bool) -> None:
    """Advice only where it is clearly more; and then the propeller is not kept unseen."""
    view = job(BOAT, two_ways(BOAT), settings={"prop_check.slip_high_planing": usual})
    verdict, code = (Verdict.PASS, "keep") if keeps else (Verdict.ADVISE, "slip_above_usual")
    assert (one(view, "slip").verdict, words in one(view, "slip").sentence) == (verdict, True)
    assert (one(view, "pitch").verdict, one(view, "pitch").code) == (verdict, f"prop_check.pitch.{code}")


def test_no_slip_at_all_is_too_little_and_not_below_zero() -> None:
    """The speed typed is the theoretical one to the last digit."""
    theory = number(one(runs_at(BOAT, "5800 rev/min"), "slip"), "theoretical speed")
    finding = one(runs_at(BOAT, "5800 rev/min", [f"{theory!r} kn"] * 2), "slip")
    assert (number(finding, "slip"), finding.code) == (0, "prop_check.slip.about_zero")


def test_advice_does_not_jump_where_slip_crosses_zero() -> None:
    """One band from surely below zero to 3 %: the same code, the same uncertainty, and the propeller is not judged."""
    theory = number(one(runs_at(BOAT, "5800 rev/min"), "slip"), "theoretical speed")
    seen = {}
    for percent in (-1.5, -0.2, 0.1, 1.1, 2.8, 3.2, 4.0):
        view = runs_at(BOAT, "5800 rev/min", [f"{theory * (1 - percent / 100)!r} kn"] * 2)
        slip, advice = one(view, "slip"), one(view, "pitch")
        seen[percent] = (slip.code, slip.verdict, advice.code, advice.verdict)
        assert "± 0.7 % by the stamped pitch" in slip.sentence
        assert {doubt.field for doubt in slip.doubts} >= ({"speed"} if percent < 3 else set())
    low = ("prop_check.slip.about_zero", Verdict.ADVISE, "prop_check.pitch.slip_about_zero", Verdict.ADVISE)
    assert [found == low for found in seen.values()] == [True] * 5 + [False] * 2
    assert seen[4.0][0] == "prop_check.slip.less_than_usual"


@pytest.mark.parametrize(
    ("changed", "asked", "fact"),
    [
        ({"ratio": "0.54"}, "engine, gear ratio: 0.54 is outside the usual 1.2 to 3.5", "engines.gear_ratio"),
        ({"pitch": "19 mm"}, "propeller, pitch: 19 mm is outside the usual 127 to 1020 mm", "engines.propeller.pitch"),
    ],
)
def test_a_slip_by_a_fact_that_is_asked_about_names_that_fact_first(
    changed: dict[str, Any], asked: str, fact: str
) -> None:
    """The fact is in doubt and no reading is: a ratio entered the other way round (1 / 1.85 = 0.54), mm for in."""
    view = runs_at(vessel(1, **changed), "5800 rev/min")
    finding = one(view, "slip")
    assert finding.sentence.startswith(f"In doubt: centre {asked}. ")
    assert (finding.verdict, [doubt.field for doubt in finding.doubts]) == (Verdict.ADVISE, [fact])
    assert one(view, "speed").verdict is Verdict.PASS
    innocent = one(runs_at(vessel(1, ratio="3.6", pitch="37 in"), "5800 rev/min"), "slip")
    assert (innocent.verdict, innocent.doubts) == (Verdict.PASS, ())


@pytest.mark.parametrize(("power", "named"), [("846 kW", True), ("300 kW", False)])
def test_a_power_that_is_asked_about_is_named_before_the_speed(power: str, named: bool) -> None:
    """The power is in doubt, and no reading of speed is; a boat of 300 kW there is, so its own speed is looked at."""
    boat = vessel(1, power=power, displacement_as_run="2500 lb")
    finding = one(runs_at(boat, "5800 rev/min"), "crouch")
    assert finding.code == "prop_check.crouch.slower"
    assert finding.sentence.startswith("In doubt: centre engine, rated power: 846 kW is outside") is named
    assert [doubt.field for doubt in finding.doubts] == ["engines.rated_power"] * named


def test_slip_is_not_compared_without_hull_form_or_best_trim() -> None:
    """The usual range belongs to a hull form at best trim."""
    no_form = one(runs_at(vessel(1, hull_form=""), "5800 rev/min"), "slip")
    assert (
        no_form.sentence
        == "Slip 18.4 ± 0.6 % by the stamped pitch. Enter the hull form to compare it with what is usual."
    )
    badly_trimmed = one(runs_at(BOAT, "5800 rev/min", trim="not at best"), "slip")
    assert "is not compared" in badly_trimmed.sentence
    assert {no_form.verdict, badly_trimmed.verdict} == {Verdict.ADVISE}


def test_slip_names_everything_missing_for_its_engine_alone() -> None:
    """One engine without pitch and gear ratio does not silence the other."""
    bare = attrs.evolve(TWIN.engines[0], propeller=None, gear_ratio=None)
    boat = attrs.evolve(TWIN, engines=(bare, TWIN.engines[1]))
    port, starboard = say(runs_at(boat, "5800 rev/min"), "slip")
    assert port.verdict is Verdict.NOT_ENOUGH_DATA
    assert "pitch of the port propeller is not entered; read it off the hub" in port.sentence
    assert "gear ratio of the port engine is not entered" in port.sentence
    assert starboard.verdict is Verdict.PASS


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("pitch", "0 in", "reads 0 in"),
        ("pitch", "190 in", "reads 190 in"),
        ("ratio", "18.5", "reads 18.5"),
        ("ratio", "0", "reads 0"),
    ],
)
def test_slip_refuses_slips_of_the_finger(field: str, value: Any, words: str) -> None:
    """A pitch or gear ratio that cannot be is named, not used."""
    finding = one(runs_at(vessel(1, **{field: value}), "5800 rev/min"), "slip")
    assert (finding.verdict, words in finding.sentence) == (Verdict.NOT_ENOUGH_DATA, True)


@pytest.mark.parametrize(
    ("calculator", "at_most", "beyond", "words"),
    [
        ("slip", {"pitch": "60 in"}, {"pitch": "60.1 in"}, "reads 60.1 in"),
        ("slip", {"ratio": "10"}, {"ratio": "10.1"}, "reads 10.1"),
        (
            "window",
            {"window": ("5400 rev/min", "15000 rev/min")},
            {"window": ("5400 rev/min", "15001 rev/min")},
            "reads 5400 to 15001",
        ),
        ("crouch", {"power": "5000 hp"}, {"power": "5001 hp"}, "rated power must be above zero; correct it"),
        (
            "capacity",
            {"length": "14 ft", "transom_width": "50 ft"},
            {"length": "14 ft", "transom_width": "50.1 ft"},
            "length and transom width must be above zero",
        ),
        (
            "capacity",
            {"length": "14 ft", "transom_width": "0.5 ft"},
            {"length": "14 ft", "transom_width": "0 ft"},
            "length and transom width must be above zero",
        ),
        (
            "crouch",
            {"displacement_as_run": "1000000 lb"},
            {"displacement_as_run": "1000001 lb"},
            "displacement as run must be above zero; correct it",
        ),
    ],
)
def test_the_largest_value_believed_is_used_and_the_next_is_not(
    calculator: str, at_most: dict[str, Any], beyond: dict[str, Any], words: str
) -> None:
    """What lies beyond is a slip of the finger."""
    weighed = {"displacement_as_run": "6000 lb", "transom_height": "20 in", "steering": "remote"}
    assert say(runs_at(vessel(1, **(weighed | at_most)), "5800 rev/min"), calculator)[-1].verdict is not MISSING
    refused = say(runs_at(vessel(1, **(weighed | beyond)), "5800 rev/min"), calculator)[-1]
    assert (refused.verdict, words in refused.sentence) == (MISSING, True), refused.sentence


# Window.


@pytest.mark.parametrize(
    ("turns", "verdict", "words"),
    [
        ("5000 rev/min", Verdict.FAIL, "5000 ± 30 rev/min (two runs only), 400 below the window 5400 to 6000."),
        ("5360 rev/min", Verdict.FAIL, "40 below"),
        ("5380 rev/min", Verdict.ADVISE, "too close to the low end to call"),
        ("5420 rev/min", Verdict.ADVISE, "too close to the low end to call"),
        ("5440 rev/min", Verdict.PASS, "in the window 5400 to 6000."),
        ("5960 rev/min", Verdict.PASS, "in the window"),
        ("6000 rev/min", Verdict.ADVISE, "too close to the high end to call"),
        ("6040 rev/min", Verdict.FAIL, "40 above the window 5400 to 6000. Do not hold full throttle"),
    ],
)
def test_window_around_its_ends(turns: str, verdict: Verdict, words: str) -> None:
    """Below and above fail, in passes, an interval over an end is advice."""
    finding = one(runs_at(BOAT, turns), "window")
    assert (finding.verdict, words in finding.sentence) == (verdict, True), finding.sentence
    assert finding.basis[0].kind is BasisKind.MANUAL


@pytest.mark.parametrize(
    ("turns", "words"),
    [("5372 rev/min", "Make two more runs."), ("5390 rev/min", "More runs will not settle it: hold the tachometer")],
)
def test_more_runs_are_asked_for_only_where_they_can_settle_it(turns: str, words: str) -> None:
    """28 off the end, four runs may; 10 off it, a tachometer right within 20 cannot, however many runs there are."""
    finding = one(runs_at(BOAT, turns), "window")
    assert (finding.code, words in finding.sentence) == ("prop_check.window.low_end_open", True), finding.sentence


@pytest.mark.parametrize(("limiter", "cautioned"), [("5920 rev/min", True), ("5940 rev/min", False), (None, False)])
def test_rev_limiter_caution(limiter: str | None, cautioned: bool) -> None:
    """5800 + 30 reaches 5920 - 100 and not 5940 - 100; a pass near the limiter becomes advice."""
    finding = one(runs_at(vessel(1, limiter=limiter), "5800 rev/min"), "window")
    assert ("rev limiter" in finding.sentence) is cautioned
    assert finding.verdict is (Verdict.ADVISE if cautioned else Verdict.PASS)


def test_bad_trim_judges_no_propeller_but_an_overspeed_stays_a_fail() -> None:
    """Not at best trim: low and in become advice; above the window is above it at any trim."""
    verdicts = {
        turns: one(runs_at(BOAT, f"{turns} rev/min", trim="unknown"), "window").verdict for turns in (5000, 5800, 6200)
    }
    assert verdicts == {5000: Verdict.ADVISE, 5800: Verdict.ADVISE, 6200: Verdict.FAIL}


def test_a_light_boat_is_mentioned() -> None:
    """In the window while light may be below it with the usual load."""
    assert "boat was light" in one(runs_at(BOAT, "5800 rev/min", load="light"), "window").sentence


@pytest.mark.parametrize("window", [None, ("6000 rev/min", "5400 rev/min"), ("0 rev/min", "6000 rev/min")])
def test_a_window_missing_or_impossible(window: tuple[str, str] | None) -> None:
    """No verdict without the maker's window."""
    finding = one(runs_at(vessel(1, window=window), "5800 rev/min"), "window")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "full-throttle window of the centre engine" in finding.sentence


# Engines against each other.


@pytest.mark.parametrize(
    ("starboard", "settings", "verdict", "code"),
    [
        (5800, {}, Verdict.PASS, "usual"),
        (5900, {}, Verdict.PASS, "usual"),
        (5905, {}, Verdict.ADVISE, "open"),
        (5940, {}, Verdict.ADVISE, "open"),
        (5945, {}, Verdict.ADVISE, "too_much"),
        (5945, {"prop_check.engine_difference": "90 rev/min"}, Verdict.FAIL, "too_much"),
        (5880, {"prop_check.engine_difference": "90 rev/min"}, Verdict.PASS, "usual"),
    ],
)
def test_difference_between_engines(starboard: int, settings: dict[str, str], verdict: Verdict, code: str) -> None:
    """Up to 100 rev/min as read passes; what the tachometers may add to it, 42, is not called. More is practice without
    a source and only advises; a limit of the shop's own fails."""
    runs = two_ways(TWIN)
    for run in runs:
        run["starboard"] = f"{starboard} rev/min"
    finding = one(job(TWIN, runs, settings=settings), "engine_difference")
    assert (finding.verdict, finding.code) == (verdict, f"prop_check.engine_difference.{code}")
    assert number(finding, "difference") == starboard - 5800
    assert ("starboard faster than port" in finding.sentence) is (starboard > 5800)


def test_the_difference_between_engines_is_read_to_the_whole_turn() -> None:
    """Each tachometer 20 at most and each reading 9.8: the one bound 20 exact, the rest 17.9, on 9 degrees, is 42."""
    runs = two_ways(TWIN, "5800 rev/min")
    for run in runs:
        run["starboard"] = "5820 rev/min"
    assert str(one(job(TWIN, runs), "engine_difference").numbers[0]) == "20 ± 42 rev/min"


def test_a_single_engine_differs_from_nothing() -> None:
    """There is no such finding for one engine."""
    assert say(runs_at(BOAT, "5800 rev/min"), "engine_difference") == []


# Air.


@pytest.mark.parametrize("partial", [{"direction": "with"}, {"direction": "with", "speed": "41 kn"}])
def test_a_run_not_yet_entered_withdraws_no_verdict(partial: dict[str, str]) -> None:
    """Two complete runs fail below the window. A third stands beside it and changes nothing before it is whole."""
    runs = two_ways(BOAT, "5245 rev/min")
    before = say(job(BOAT, runs), "window")
    found, beside = say(job(BOAT, [*runs, partial]), "window")
    assert before[0].verdict is Verdict.FAIL
    assert (found.code, found.sentence, found.numbers) == (before[0].code, before[0].sentence, before[0].numbers)
    assert (beside.about, beside.verdict, beside.missing[0].row) == ("run 3", MISSING, "3")
    assert beside.sentence.endswith(
        "“Engine speed” (centre), row 3 is not entered. The run is incomplete and not counted."
    )


def test_a_run_begun_withdraws_neither_speed_nor_slip_nor_advice() -> None:
    """Its speed, or which way it went, is still to be entered."""
    runs = two_ways(BOAT, "5245 rev/min")
    for partial in ({"direction": "with"}, {"speed": "41 kn"}, {"centre": "5250 rev/min"}):
        view = job(BOAT, [*runs, partial])
        speed, beside = say(view, "speed")
        assert speed.numbers == one(job(BOAT, runs), "speed").numbers
        assert (beside.about, beside.missing[0].row) == ("run 3", "3")
        assert one(view, "slip").verdict is not MISSING
        assert one(view, "pitch").verdict is not MISSING


def test_a_disputed_value_of_a_further_run_is_not_left_out() -> None:
    """What two tablets disagree about is settled, not dropped."""
    place = ("prop_check.full_throttle", "engine_speed", "3", "centre")
    view = job(BOAT, two_ways(BOAT, "5245 rev/min"), disagreements=[place])
    assert one(view, "window").verdict is MISSING


def test_reference_air_by_hand() -> None:
    """35 degC and half of 5.62 kPa vapour leave 96.0 kPa dry, factor 1.0571, so 5.4 % of power is lost. Speed
    5800 x 1.0571 ^ (1/3) = 5908; by the square root it would be 5963, 55 more, a bound; the engine speed adds 15.5.
    Together 65."""
    view = runs_at(BOAT, "5800 rev/min", air_temperature="35 degC", air_pressure="988.1 hPa", humidity="50 %")
    finding = one(view, "reference_air")
    assert finding.verdict is Verdict.PASS
    assert finding.sentence.startswith("5908 ± 65 rev/min to expect in reference air; today's air costs 5.4 %")


def test_air_that_was_not_noted_is_asked_for_all_at_once() -> None:
    """Temperature, pressure and humidity, each by its name."""
    finding = one(job(BOAT, two_ways(BOAT), {}), "reference_air")
    assert finding.verdict is MISSING
    assert [
        word in finding.sentence for word in ("“Air temperature”", "“Air pressure at the water”", "“Relative humidity”")
    ] == [True] * 3
    assert finding.sentence.count("is not entered") == 3


def test_reference_air_never_hides_a_failure() -> None:
    """An engine below its window stays failed there, whatever it would do elsewhere."""
    view = runs_at(BOAT, "5350 rev/min", air_temperature="35 degC", air_pressure="988.1 hPa", humidity="50 %")
    assert one(view, "window").verdict is Verdict.FAIL
    finding = one(view, "reference_air")
    assert finding.verdict is Verdict.ADVISE
    assert "verdict on the window stays with the engine speed as run" in finding.sentence


def test_reference_air_is_a_note_where_it_leaves_the_engine_out_of_its_window_all_the_same() -> None:
    """5000 rev/min is below the window 5400 to 6000 in any air: nothing more to do than the window's finding says."""
    finding = one(runs_at(BOAT, "5000 rev/min"), "reference_air")
    assert finding.verdict is Verdict.PASS
    assert "The verdict on the window stays with the engine speed as run." in finding.sentence
    assert one(runs_at(BOAT, "5000 rev/min"), "window").verdict is Verdict.FAIL


@pytest.mark.parametrize(
    ("weight", "length", "is_asked"),
    [
        ("235 lb", "19.1 ft", True),  # 2350 without its last digit
        ("23500 lb", "19.1 ft", True),
        ("2350 lb", "19.1 ft", False),
        ("900 lb", "18 ft", False),  # a light racing hull
        ("250 kg", "2.5 m", False),  # a full tender
        ("13000 kg", "12 m", False),
        ("235 lb", None, False),
    ],
)
def test_a_weight_that_no_boat_of_that_length_has_is_asked_about(
    weight: str, length: str | None, is_asked: bool
) -> None:
    boat = vessel(1, displacement_as_run=weight, length=length)
    finding = one(runs_at(boat, "5800 rev/min"), "crouch")
    assert (finding.code == "prop_check.crouch.weight_in_doubt") is is_asked
    if is_asked:
        assert finding.verdict is Verdict.ADVISE
        assert not finding.numbers
        assert f"{weight} as run is entered for {length} of length" in finding.sentence
    weight_and_length = {("vessel", "displacement_as_run", "", ""), ("vessel", "length", "", "")}
    assert weight_and_length <= {one.place for one in finding.doubts} or not is_asked


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("air_pressure", "25.1 inHg", "is at 24.6 inHg, and the method holds from 26.6 to 31.0 inHg"),
        ("air_pressure", "850 hPa", "is at 834 hPa, and the method holds from 900 to 1050 hPa"),
        ("air_temperature", "104 degF", "is at 104 degF, and the method holds from 59.0 to 95.0 degF"),
        ("air_temperature", "5 degC", "is at 5.0 degC, and the method holds from 15.0 to 35.0 degC"),
    ],
)
def test_air_the_method_does_not_cover_is_told_in_the_unit_typed(field: str, typed: str, words: str) -> None:
    (missing,) = one(runs_at(BOAT, "5800 rev/min", **{field: typed}), "reference_air").missing
    assert (missing.lack, missing.field) == (Lack.NOT_COVERED, field)
    assert words in missing.text


@pytest.mark.parametrize(
    ("turns", "limiter", "code", "verdict"),
    [
        ("6195 rev/min", "6500 rev/min", "out_as_run", Verdict.ADVISE),
        ("6195 rev/min", "6250 rev/min", "out_as_run", Verdict.ADVISE),
        ("5700 rev/min", "5820 rev/min", "at_limiter", Verdict.ADVISE),
        ("5700 rev/min", "6250 rev/min", "as_run", Verdict.PASS),
        ("5700 rev/min", None, "as_run", Verdict.PASS),
    ],
)
def test_no_engine_speed_in_reference_air_passes_above_the_window_or_at_the_limiter(
    turns: str, limiter: str | None, code: str, verdict: Verdict
) -> None:
    finding = one(runs_at(vessel(1, limiter=limiter), turns), "reference_air")
    assert (finding.code, finding.verdict) == (f"prop_check.reference_air.{code}", verdict)
    assert ("limiter" in finding.sentence) is (limiter in ("6250 rev/min", "5820 rev/min") and verdict != Verdict.PASS)


def test_reference_air_warns_of_an_overspeed_on_a_better_day() -> None:
    """In the window today, above it in reference air."""
    hot = {"air_temperature": "35 degC", "air_pressure": "988.1 hPa", "humidity": "50 %"}
    for turns, words in (("5980 rev/min", "above the window"), ("5950 rev/min", "too close to the high end to call")):
        finding = one(runs_at(BOAT, turns, **hot), "reference_air")
        assert (finding.verdict, words in finding.sentence) == (Verdict.ADVISE, True)


@pytest.mark.parametrize(
    ("turns", "window", "words"),
    [
        ("5410 rev/min", Verdict.ADVISE, "Against the window that is too close to the low end to call."),
        ("5395 rev/min", Verdict.ADVISE, "Against the window that is too close to the low end to call."),
        ("5480 rev/min", Verdict.PASS, "of power."),
    ],
)
def test_reference_air_follows_the_same_rule_of_uncertainty_as_the_window(
    turns: str, window: Verdict, words: str
) -> None:
    """Cool, dense air takes about 26 rev/min: neither is below the window before its whole interval is."""
    view = runs_at(BOAT, turns, air_temperature="22 degC", air_pressure="1013 hPa", humidity="60 %")
    finding = one(view, "reference_air")
    assert one(view, "window").verdict is window
    assert finding.verdict is Verdict.PASS
    assert finding.sentence.endswith(words), finding.sentence


@pytest.mark.parametrize(
    "conditions",
    [{"air_temperature": "8 degC"}, {"air_pressure": "850 hPa"}, {"humidity": None}, {"humidity": "130 %"}],
)
def test_air_outside_the_method(conditions: dict[str, Any]) -> None:
    """Outside its range, or with something missing, the method gives no number."""
    finding = one(runs_at(BOAT, "5800 rev/min", **conditions), "reference_air")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA


# Crouch.


@pytest.mark.parametrize(
    ("speeds", "verdict", "words"),
    [
        (("40.2 kn", "40.2 kn"), Verdict.PASS, "fits weight and power"),
        (("33.0 kn", "33.0 kn"), Verdict.PASS, "fits weight and power"),
        (("29.5 kn", "29.5 kn"), Verdict.ADVISE, "slower than expected"),
        (("56.0 kn", "56.0 kn"), Verdict.PASS, "fits weight and power"),
        (("60.0 kn", "60.0 kn"), Verdict.ADVISE, "Was it read in mph?"),
        (("69.0 mph", "69.0 mph"), Verdict.ADVISE, "Check weight, power and the unit"),
        (("70.0 kn", "70.0 kn"), Verdict.ADVISE, "Check weight, power and the unit"),
    ],
)
def test_crouch_as_a_sanity_check(speeds: tuple[str, str], verdict: Verdict, words: str) -> None:
    """3000 lb and 150 hp: 33.54 to 51.43 kn for constants 150 to 230 by hand, 30.2 to 56.6 with the tenth that a rule
    of thumb may be off. 60 is past it, and fits as mph: 52.1 kn, 12 % slip with 23 in."""
    boat = vessel(1, power="150 hp", displacement_as_run="3000 lb", length="19 ft", pitch="23 in")
    finding = one(runs_at(boat, "5800 rev/min", speeds), "crouch")
    assert (finding.verdict, words in finding.sentence) == (verdict, True), finding.sentence
    by_hand = "38.6 to 59.2 mph" if "mph" in speeds[0] else "33.5 to 51.4 kn"
    assert f"{by_hand} for 3000 lb and 150 hp; 10 % either way, " in finding.sentence
    assert ("34.7 to 65.1 mph" if "mph" in speeds[0] else "30.2 to 56.6 kn") in finding.sentence


def test_crouch_with_the_kind_of_hull_chosen() -> None:
    """A cruiser's range is narrower: 33.54 to 40.25 kn."""
    boat = vessel(1, power="150 hp", displacement_as_run="3000 lb", length="19 ft")
    finding = one(runs_at(boat, "5800 rev/min", hull_kind="cruiser or average runabout"), "crouch")
    assert "33.5 to 40.2 kn" in finding.sentence


@pytest.mark.parametrize(
    ("changes", "speed", "words"),
    [
        ({"hull_form": "displacement"}, "40 kn", "holds for planing monohulls; the hull form entered is displacement"),
        ({"hull_form": ""}, "40 kn", "hull form is not entered"),
        ({"displacement_as_run": None}, "40 kn", "displacement as run is not entered"),
        ({"displacement_as_run": "0 lb"}, "40 kn", "displacement as run must be above zero"),
        ({"power": None}, "40 kn", "rated power of the centre engine is not entered"),
        ({"power": "0 hp"}, "40 kn", "rated power must be above zero"),
        ({"length": "36 ft"}, "14.9 kn", "is not planing speed"),
    ],
)
def test_crouch_outside_its_range(changes: dict[str, Any], speed: str, words: str) -> None:
    """The formula is for planing monohulls with weight and power known, at planing speed (2.5 x sqrt 36 ft = 15)."""
    boat = vessel(1, **({"power": "150 hp", "displacement_as_run": "3000 lb", "length": "19 ft"} | changes))
    finding = one(runs_at(boat, "5800 rev/min", (speed, speed)), "crouch")
    assert (finding.verdict, words in finding.sentence) == (Verdict.NOT_ENOUGH_DATA, True), finding.sentence


# Pitch.


def test_keep_the_propeller_in_the_window() -> None:
    """Inside its range by more than its interval."""
    finding = one(runs_at(BOAT, "5800 rev/min"), "pitch")
    assert (finding.code, finding.verdict) == ("prop_check.pitch.keep", Verdict.PASS)
    assert finding.sentence == "Keep this propeller. The engine is inside its full-throttle range."
    assert one(runs_at(TWIN, "5800 rev/min"), "pitch").sentence.startswith("Keep these propellers. Every engine")


@pytest.mark.parametrize("turns", ["5385 rev/min", "5415 rev/min", "5995 rev/min"])
def test_too_close_to_call_is_not_keep_the_propeller(turns: str) -> None:
    """It may be out of its window: the propeller is not passed, and nothing is changed."""
    finding = one(runs_at(BOAT, turns), "pitch")
    assert (finding.code, finding.verdict) == ("prop_check.pitch.too_close", Verdict.ADVISE)
    assert "Do not judge the propeller yet" in finding.sentence
    assert not finding.numbers


def test_an_engine_held_by_its_limiter_inside_its_window_is_not_keep_the_propeller() -> None:
    """The engine speed shows the limiter; without one entered there is nothing to say against it."""
    held = one(runs_at(vessel(1, limiter="5850 rev/min"), "5800 rev/min"), "pitch")
    assert (held.code, held.verdict) == ("prop_check.pitch.at_limiter", Verdict.ADVISE)
    assert one(runs_at(vessel(1, limiter=None), "5800 rev/min"), "pitch").code == "prop_check.pitch.keep"


def test_less_pitch_for_a_labouring_engine() -> None:
    """5200 rev/min with 19 in. By hand: 18 in would turn 5350 to 5400 by one rule, 5489 by the other; 17 in 5500 to
    5600 and 5812. The balance lies between the two, and its best chance is 17 in."""
    finding = one(runs_at(BOAT, "5200 rev/min", ("36.0 kn", "35.0 kn")), "pitch")
    assert finding.verdict is Verdict.ADVISE
    assert finding.sentence == (
        "Try 17 in first: 2 in less pitch. Chance to land in the window: 90 in 100. Expect 5576 ± 273 rev/min, then "
        "run again. The rated speed is not entered: the middle of the window stands for it. Boat speed 35.3 ± 2.0 kn: "
        "promise no gain or loss. Take it with about 15.25 in of diameter, less by 1/8 of what the pitch grows. With "
        "both pitches measured on a gauge it would be ± 210 rev/min."
    )
    (table,) = finding.tables
    assert [(row[1], *row[5:]) for row in table.rows[:2]] == [
        ("18 (-1)", "5350 to 5400", "5489"),
        ("17 (-2)", "5500 to 5600", "5812"),
    ]
    assert number(finding, "change of pitch to try first") == -2
    assert number(finding, "engine speed to expect") == pytest.approx(5576, abs=0.5)
    assert number(finding, "chance to land in the window") == 90


@pytest.mark.parametrize(
    ("pitch", "words", "shown"),
    [
        ("19 in", "Try 17 in first: 2 in less pitch.", "−2 in"),
        ("483 mm", "Try 432 mm first: 51 mm less pitch.", "−51 mm"),
        ("48 cm", "Try 43 cm first: 5 cm less pitch.", "−5 cm"),
        ("19.25 in", "Try 17.25 in first: 2 in less pitch.", "−2 in"),
    ],
)
def test_a_change_is_told_in_the_unit_the_pitch_was_typed_in(pitch: str, words: str, shown: str) -> None:
    """Whatever other small lengths of the boat were typed in: here the transom is in cm, the diameter in inches."""
    boat = vessel(1, pitch=pitch, transom_height="51 cm", length="5.8 m")
    view = runs_at(boat, "5200 rev/min", ("36.0 kn", "35.0 kn"))
    finding = finding_as_typed(view, one(view, "pitch"))
    assert finding.sentence.startswith(words)
    assert str(finding.numbers[0]) == shown
    assert f"pitch [{shown.partition(' ')[2]}]" in finding.tables[0].headings


RATED = attrs.evolve(
    BOAT, engines=tuple(attrs.evolve(each, rated_speed=amount("5700 rev/min")) for each in BOAT.engines)
)


def test_an_engine_with_a_rated_speed_is_foreseen_by_its_balance_of_power() -> None:
    """Engine speed and boat speed with their intervals, as the model by itself gives them."""
    finding = one(runs_at(RATED, "5200 rev/min", ("36.0 kn", "35.0 kn")), "pitch")
    (turned,) = [each for each in finding.numbers if each.name == "engine speed to expect"]
    (sailed,) = [each for each in finding.numbers if each.name == "boat speed to expect"]
    assert "The rated speed is not entered" not in finding.sentence
    assert number(finding, "change of pitch to try first") == -2
    run = Tried(engine_speed=5200, doubt=15.3, pitch=19, speed=35.5, speed_doubt=0.1, slip=0.19)
    expected = fit([run], 5700, 0.03).foresee(Candidate(pitch=17))
    assert expected is not None
    assert expected.speed is not None
    assert turned.value == pytest.approx(expected.engine_speed, abs=5)
    assert turned.expanded_uncertainty == pytest.approx(expected.expanded_uncertainty, abs=5)
    assert sailed.value == pytest.approx(expected.speed, abs=0.2)
    assert number(finding, "chance to land in the window") == pytest.approx(100 * expected.chance(5400, 6000), abs=1)


def test_a_pitch_that_reaches_the_limiter_gets_no_interval() -> None:
    """Four inches less of 16 in at 5350 rev/min turn beyond 6250; the chance to land in the window is told all the
    same."""
    finer = attrs.evolve(RATED, engines=(attrs.evolve(RATED.engines[0], propeller=Propeller(pitch=amount("16 in"))),))
    (table,) = one(runs_at(finer, "5350 rev/min", ("32.0 kn", "32.0 kn")), "pitch").tables
    assert [row[2] == "reaches the limiter" for row in table.rows] == [False, False, False, True]
    assert table.rows[3][3] == ""


def test_from_a_run_on_the_limiter_the_shop_says_where_in_the_window_to_aim() -> None:
    """6150 rev/min: 450 / 200 = 2.25 in to the middle of 5400 to 6000; 300 / 200 = 1.5 to three quarters, so 1 or 2."""
    rows = two_ways(BOAT, "6150 rev/min", ("44.0 kn", "43.0 kn"))
    for share, change in ((None, 2), ("90 %", 1)):
        settings = {"prop_check.aim_in_window": share} if share else None
        assert number(one(job(BOAT, rows, settings=settings), "pitch"), "change of pitch to try first") == change


HOT = {"air_temperature": "35 degC", "air_pressure": "988.1 hPa", "humidity": "50 %"}
"""Costs 5.4 % of power: 1.0571 ^ (1/3) is 1.0187, so 5200 rev/min would be 5297 in reference air."""


def test_the_advice_says_what_a_hot_day_explains() -> None:
    """97 of the 200 rev/min below the window; on a mild day it says nothing of the air."""
    hot = one(runs_at(BOAT, "5200 rev/min", ("36.0 kn", "35.0 kn"), **HOT), "pitch")
    assert hot.code == "prop_check.pitch.try_first"
    assert (
        "Today's air explains about 97 of the 200 rev/min that the centre engine is below its window." in hot.sentence
    )
    mild = one(runs_at(BOAT, "5200 rev/min", ("36.0 kn", "35.0 kn")), "pitch")
    assert "air" not in mild.sentence


def test_no_propeller_is_changed_for_what_a_hot_day_explains_alone() -> None:
    """5350 rev/min is 50 below its window and 5450 in reference air, inside it."""
    found = one(runs_at(BOAT, "5350 rev/min", ("37.0 kn", "37.0 kn"), **HOT), "pitch")
    assert (found.code, found.verdict) == ("prop_check.pitch.air_explains", Verdict.ADVISE)
    assert "centre engine 5450 rev/min. Run again on a cooler day" in found.sentence
    assert one(runs_at(BOAT, "5350 rev/min", ("37.0 kn", "37.0 kn"), **HOT), "window").verdict is Verdict.FAIL
    mild = one(runs_at(BOAT, "5350 rev/min", ("37.0 kn", "37.0 kn")), "pitch")
    assert mild.code == "prop_check.pitch.try_first"


def test_thin_air_is_not_answered_with_a_cooler_day() -> None:
    """91.5 kPa at 22 degC costs 8.6 % of power: the boat lies high, and the weather is not to blame."""
    thin = {"air_temperature": "22 degC", "air_pressure": "928 hPa", "humidity": "50 %"}
    found = one(runs_at(BOAT, "5350 rev/min", ("37.0 kn", "37.0 kn"), **thin), "pitch")
    assert found.code == "prop_check.pitch.air_explains"
    assert "Run again on lower water" in found.sentence


@pytest.mark.parametrize(("speed", "said"), [("36.0 kn", True), ("43.0 kn", False)])
def test_no_more_pitch_for_a_propeller_that_does_not_bite(speed: str, said: bool) -> None:
    """6150 rev/min and 31 % slip: it lets go, and pitch is no cure; at 17 % more pitch is."""
    boat = vessel(1, limiter=None)
    found = one(runs_at(boat, "6150 rev/min", (speed, speed)), "pitch")
    assert (found.verdict is MISSING) is said, found.sentence
    assert ("more pitch does not cure them" in found.sentence) is said


def test_unlike_propellers_explain_engines_that_turn_unlike() -> None:
    """19 in at 5800 beside 21 in at 5400; alike, nothing is said of them."""

    def told(pitch: str) -> str:
        other = attrs.evolve(TWIN.engines[1], propeller=Propeller(pitch=amount(pitch)))
        boat = attrs.evolve(TWIN, engines=(TWIN.engines[0], other))
        runs = two_ways(boat)
        for run in runs:
            run["starboard"] = "5400 rev/min"
        return one(job(boat, runs), "engine_difference").sentence

    assert "unlike pitch (19 in port and 21 in starboard)" in told("21 in")
    assert "unlike" not in told("19 in")


def test_more_pitch_for_an_overspeeding_engine() -> None:
    """6150 by hand: 450 / 200 = 2.25 to the middle of the window; 21 in is tried first."""
    finding = one(runs_at(BOAT, "6150 rev/min", ("44.0 kn", "43.0 kn")), "pitch")
    assert finding.sentence.startswith("Try 21 in first: 2 in more pitch")
    assert "may have held the engine" in finding.sentence
    assert [number.name for number in finding.numbers] == ["change of pitch to try first"], (
        "no forecast off the limiter"
    )
    assert "Expect" not in finding.sentence


def test_twins_get_the_same_change() -> None:
    """One change for both engines, with what to expect of either, and each pitch in reach for each."""
    runs = two_ways(TWIN, "5200 rev/min", ("36.0 kn", "35.0 kn"))
    for run in runs:
        run["starboard"] = "5260 rev/min"
    finding = one(job(TWIN, runs), "pitch")
    assert "2 in less pitch, the same on every engine" in finding.sentence
    assert "Expect 5576 ± 273 rev/min (port) and 5632 ± 270 rev/min (starboard)" in finding.sentence
    assert "(port) and 95 in 100 (starboard)" in finding.sentence
    assert len(finding.tables[0].rows) == 8


def test_a_change_that_may_overshoot_says_so() -> None:
    """A narrow window: even one inch may come out on the other side."""
    boat = vessel(1, window=("5400 rev/min", "5500 rev/min"))
    finding = one(runs_at(boat, "5350 rev/min"), "pitch")
    assert "It may come out above the window (centre engine)" in finding.sentence


def test_the_largest_change_is_still_advised() -> None:
    """4620 + 4 x 200 = 5420 rev/min is inside, with as much as the shop allows."""
    assert one(runs_at(BOAT, "4620 rev/min", ("34.0 kn", "34.0 kn")), "pitch").sentence.startswith("Try 15 in first")


@pytest.mark.parametrize(
    ("window", "words"),
    [
        ((4900, 5500), ()),
        ((4900, 5340), ("above the window",)),
        ((5090, 5700), ("below the window",)),
    ],
)
def test_the_advice_warns_of_coming_out_at_the_other_end(window: tuple[int, int], words: tuple[str, ...]) -> None:
    """5141 ± 238 rev/min with 20 in, as far as the shop goes. Above is warned of from the upper end of the interval;
    below, which harms less at once, from one standard uncertainty, 121 below."""
    engine = attrs.evolve(
        vessel(1, pitch="22 in", window=(f"{window[0]} rev/min", f"{window[1]} rev/min")).engines[0],
        rated_speed=amount("5300 rev/min"),
    )
    boat = attrs.evolve(BOAT, engines=(engine,))
    sentence = one(
        job(boat, two_ways(boat, "4850 rev/min"), settings={"prop_check.largest_pitch_change": "2 in"}), "pitch"
    ).sentence
    assert "Expect 5141 ± 238 rev/min" in sentence
    assert tuple(each for each in ("above the window", "below the window") if each in sentence) == words


def test_a_change_that_leaves_no_pitch_is_not_advised() -> None:
    """An inch less of 1 in is nothing; of 2 in it is 1 in. Without a gear ratio no slip speaks against the pitch."""
    none_left = one(runs_at(vessel(1, pitch="1 in", ratio=None), "5200 rev/min"), "pitch")
    assert none_left.verdict is Verdict.NOT_ENOUGH_DATA
    assert "1 in less pitch leaves no pitch; read the stamp again" in none_left.sentence
    assert one(runs_at(vessel(1, pitch="2 in", ratio=None), "5200 rev/min"), "pitch").sentence.startswith("Try 1 in")


def test_too_large_a_change_points_elsewhere() -> None:
    """25 in to 21 in: 5000 rev/min by proportion, and no rule gives the 1200 that lack; something else is wrong."""
    boat = vessel(1, pitch="25 in")
    finding = one(runs_at(boat, "4200 rev/min", ("35.0 kn", "35.0 kn")), "pitch")
    assert (finding.code, finding.verdict) == ("prop_check.pitch.change_too_large", Verdict.FAIL)
    assert "Even 4 in less pitch would leave the centre engine at 4894 rev/min, out of its window." in finding.sentence


@pytest.mark.parametrize(("pitch", "turns", "first"), [(8, 4100, 6), (7, 4300, 5), (6, 4400, 5), (9, 4600, 7)])
def test_less_pitch_of_a_small_propeller_never_turns_slower(pitch: int, turns: int, first: int) -> None:
    """Beyond 30 % of the pitch the balance says nothing; the rule goes on from there. Begun from the run it left 8 in
    at 4100 rev/min out of a window that 6 in reach, and sent the technician to look for what is wrong."""
    boat = vessel(1, pitch=f"{pitch} in", ratio="2.08", window=("5000 rev/min", "6000 rev/min"), limiter=None)
    speed = f"{turns / 2.08 * pitch * 0.000823 * 0.88:.1f} kn"
    finding = one(runs_at(boat, f"{turns} rev/min", (speed, speed)), "pitch")
    assert finding.sentence.startswith(f"Try {first} in first: ")
    (table,) = finding.tables
    turned = [int(row[2].partition(" ")[0]) for row in table.rows if row[2] != "reaches the limiter"]
    assert turned == sorted(turned)
    assert turned[0] > turns


def test_a_diameter_no_outboard_has_is_left_out_of_the_forecast() -> None:
    """1.45 in for 14.5: its logarithm over that of the next propeller would decide alone."""
    said = {}
    for diameter in (None, "1.45 in", "15 ft"):
        boat = attrs.evolve(BOAT, engines=(_with_propeller(diameter),))
        said[diameter] = one(runs_at(boat, "5200 rev/min", ("38.0 kn", "37.0 kn")), "pitch").numbers
    assert said[None] == said["1.45 in"] == said["15 ft"]


def _with_propeller(diameter: str | None) -> Engine:
    return attrs.evolve(BOAT.engines[0], propeller=Propeller(pitch=amount("19 in"), diameter=amount(diameter)))


def test_a_pitch_typed_in_centimetres_beside_inches_is_told_in_few_digits() -> None:
    fitted = Propeller(pitch=amount("48 cm"), diameter=amount("15 in"))
    boat = attrs.evolve(BOAT, engines=(attrs.evolve(BOAT.engines[0], propeller=fitted),))
    finding = one(runs_at(boat, "5100 rev/min", ("36.0 kn", "35.0 kn")), "pitch")
    told = finding.sentence + str(finding.tables)
    assert finding.sentence.startswith("Try 40 cm first: 8 cm less pitch")
    assert "15.897" not in told


@pytest.mark.parametrize(("other", "is_advised"), [("5350 rev/min", True), ("5650 rev/min", False)])
def test_engines_no_one_pitch_suits_get_no_advice(other: str, is_advised: bool) -> None:
    """Windows of 5000 to 5400 and from 5600: any pitch leaves one engine out of its own."""
    low = amount("5000 rev/min"), amount("5400 rev/min")
    port = attrs.evolve(TWIN.engines[0], full_throttle_low=low[0], full_throttle_high=low[1])
    starboard = attrs.evolve(TWIN.engines[1], full_throttle_low=amount(other))
    boat = attrs.evolve(TWIN, engines=(port, starboard))
    finding = one(runs_at(boat, "5200 rev/min", ("37.0 kn", "36.0 kn")), "pitch")
    assert (finding.verdict is Verdict.ADVISE) == is_advised
    assert ("so no one pitch suits both" in finding.sentence) != is_advised


@pytest.mark.parametrize(
    ("conditions", "words"),
    [
        ({"trim": "not at best"}, "trim was not at best; repeat the runs at best trim"),
        ({"trim": "unknown"}, "trim was not at best"),
        ({"trim": None}, "“Trim” is not entered"),
        ({"load": "unknown"}, "load is unknown"),
        ({"load": None}, "“Load as run” is not entered"),
        ({"water": "rough"}, "the water was rough"),
        ({"water": "chop"}, "the water was rough"),
        ({"water": None}, "“Water” is not entered"),
    ],
)
def test_no_pitch_advice_from_poor_runs(conditions: dict[str, Any], words: str) -> None:
    """Each condition that spoils the advice is named."""
    finding = one(runs_at(BOAT, "5200 rev/min", **conditions), "pitch")
    assert (finding.verdict, words in finding.sentence) == (Verdict.NOT_ENOUGH_DATA, True)


@pytest.mark.parametrize("turns", ["5800 rev/min", "5395 rev/min", "6200 rev/min"])
def test_no_pitch_advice_for_a_light_boat_that_its_usual_load_may_bring_right(turns: str) -> None:
    """In its window, too close to its low end to call, above it: more load changes what is found."""
    finding = one(runs_at(BOAT, turns, load="light"), "pitch")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "the boat was light; repeat the runs with its usual load" in finding.sentence


def test_a_light_boat_below_its_window_has_too_much_pitch_already() -> None:
    """More load would only slow it further; a hot day may still explain it, and then the load counts again."""
    finding = one(runs_at(BOAT, "5200 rev/min", load="light"), "pitch")
    assert (finding.code, finding.verdict) == ("prop_check.pitch.try_first", Verdict.ADVISE)
    assert "The pitch is too much already. Try" in finding.sentence
    assert "too much already" not in one(runs_at(BOAT, "5200 rev/min"), "pitch").sentence
    hot = {"air_temperature": "35 degC", "air_pressure": "988.1 hPa", "humidity": "50 %"}
    explained = one(runs_at(BOAT, "5350 rev/min", load="light", **hot), "pitch")
    assert "repeat the runs with its usual load" in explained.sentence


def test_pitch_advice_and_difference_call_the_same_difference() -> None:
    """120 ± 36 rev/min are too close to 100 for both; 150 are more for both."""
    for port, words in (("5300 rev/min", "too close to 100 to call"), ("5200 rev/min", "more than 100")):
        twin = vessel(2)
        rows = [run | {"port": port, "starboard": "5420 rev/min"} for run in two_ways(twin)]
        told = [one(job(twin, rows), calculator).sentence for calculator in ("pitch", "engine_difference")]
        assert [words in sentence for sentence in told] == [True, True], told


def test_no_pitch_advice_without_window_and_pitch_all_named() -> None:
    """Everything missing is said at once."""
    finding = one(runs_at(vessel(1, window=None, pitch=None), "5200 rev/min", trim="unknown"), "pitch")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    for words in ("trim was not at best", "full-throttle window", "pitch of the centre propeller is not entered"):
        assert words in finding.sentence


@pytest.mark.parametrize(
    ("port", "starboard", "words"),
    [(5200, 5350, "engines differ by 150"), (5380, 6020, "engines differ"), (5300, 5390, "Try")],
)
def test_engines_that_disagree_get_no_pitch(port: int, starboard: int, words: str) -> None:
    """A difference between engines is found first; up to 100 rev/min is none."""
    runs = two_ways(TWIN, f"{port} rev/min", ("37.0 kn", "37.0 kn"))
    for run in runs:
        run["starboard"] = f"{starboard} rev/min"
    assert words in one(job(TWIN, runs), "pitch").sentence


def test_engines_that_need_opposite_changes_get_none() -> None:
    """With windows of their own, one below and one above."""
    high = attrs.evolve(
        TWIN.engines[1], full_throttle_low=amount("5000 rev/min"), full_throttle_high=amount("5300 rev/min")
    )
    boat = attrs.evolve(TWIN, engines=(TWIN.engines[0], high))
    assert "one engine needs more pitch and another less" in one(runs_at(boat, "5350 rev/min"), "pitch").sentence


def test_no_pitch_advice_from_a_wrong_reading() -> None:
    """A slip below zero may mean that the pitch entered is wrong; nothing is built on it."""
    finding = one(runs_at(BOAT, "5200 rev/min", ("46.0 kn", "46.0 kn")), "pitch")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "slip of the centre engine comes out below zero" in finding.sentence


def test_no_pitch_advice_from_a_gear_ratio_the_wrong_way_round() -> None:
    """A slip of 76 % says that pitch, ratio or speed is wrong; the advice would rest on it."""
    finding = one(runs_at(vessel(1, ratio="0.54"), "5200 rev/min", ("36.0 kn", "36.0 kn")), "pitch")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "a reading is wrong, find out which first" in finding.sentence


def test_no_pitch_advice_where_the_speed_is_the_theoretical_one_and_none_has_it() -> None:
    """A ratio the wrong way round and a speed to match: the slip is zero, not below it, and all the same wrong."""
    boat = vessel(1, ratio="0.54")
    theory = number(one(runs_at(boat, "5200 rev/min"), "slip"), "theoretical speed")
    finding = one(runs_at(boat, "5200 rev/min", [f"{theory!r} kn"] * 2), "pitch")
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "slip of the centre engine comes out at 0.0" in finding.sentence


def test_no_change_of_pitch_is_advised_on_a_slip_about_zero() -> None:
    """44.5 of 43.95 kn is -1.3 % with an interval of 3.6 %: the pitch it would be changed from may be misread."""
    finding = one(runs_at(BOAT, "5200 rev/min", ("44.5 kn", "44.5 kn")), "pitch")
    assert finding.code == "prop_check.pitch.slip_about_zero"
    assert one(runs_at(BOAT, "5200 rev/min", ("39.0 kn", "39.0 kn")), "pitch").code == "prop_check.pitch.try_first"


IN_WINDOW = two_ways(BOAT, "5800 rev/min")


@pytest.mark.parametrize(
    ("field", "calculators", "words"),
    [
        ("blades_sound", ("pitch",), "the centre propeller is damaged; repair or change it"),
        ("stamp_read", ("pitch", "slip"), "pitch of the centre propeller is not the one stamped on it"),
    ],
)
@pytest.mark.parametrize("answer", [False, None])
def test_nothing_rests_on_a_propeller_that_is_not_as_entered(
    field: str, calculators: Sequence[str], words: str, answer: bool | None
) -> None:
    """Told no, or told both: "keep the propeller" beside "change the propeller" would be no advice."""
    place = (PROPELLER, field, "", "centre")
    disputed = [place] if answer is None else []
    view = job(BOAT, IN_WINDOW, more={} if answer is None else {place: answer}, disagreements=disputed)
    for calculator in calculators:
        (found,) = say(view, calculator)
        assert found.verdict is Verdict.NOT_ENOUGH_DATA
        assert (words if answer is False else "values disagree") in found.sentence
    assert one(job(BOAT, IN_WINDOW), "pitch").verdict is Verdict.PASS


def test_nobody_is_sent_out_again_with_more_power_than_the_label_allows() -> None:
    """ "Do not run it at full throttle" stands alone: no pitch to try, no runs to make."""
    engine = attrs.evolve(BOAT.engines[0], rated_power=amount("150 hp"))
    boat = attrs.evolve(BOAT, plate_power=amount("100 hp"), engines=(engine,))
    label = {(CAPACITY, "label_read", "", ""): True}
    labouring = job(boat, two_ways(boat, "4900 rev/min"), more=label)
    assert "Do not run it at full throttle" in say(labouring, "capacity")[0].sentence
    assert "make no full-throttle run before that is put right" in one(labouring, "pitch").sentence
    at_the_end = job(boat, two_ways(boat, str(engine.full_throttle_low)), more=label)
    found = one(at_the_end, "window")
    assert found.code == "prop_check.window.low_end_open"
    assert "Make no more runs before the power is within the capacity label." in found.sentence
    assert "Make two more runs" not in found.sentence


def test_propellers_of_different_pitch_change_by_the_same() -> None:
    """Both new pitches are named; the gear ratio makes up for the difference."""
    other = attrs.evolve(TWIN.engines[1], propeller=Propeller(pitch=amount("18 in")), gear_ratio=amount("1.75"))
    boat = attrs.evolve(TWIN, engines=(TWIN.engines[0], other))
    sentence = one(runs_at(boat, "5200 rev/min", ("36.0 kn", "35.0 kn")), "pitch").sentence
    assert sentence.startswith("Try 17 in and 16 in first: 2 in less pitch, the same on every engine")


@pytest.mark.parametrize(
    ("port", "starboard", "told"),
    [
        (Propeller(pitch=amount("19 in")), Propeller(pitch=amount("18 in")), "19 in port and 18 in starboard"),
        (Propeller(pitch=amount("26 in")), Propeller(pitch=amount("25 in")), "26 in port and 25 in starboard"),
        (
            Propeller(pitch=amount("19 in"), blades=3),
            Propeller(pitch=amount("19 in"), blades=4),
            "19 in, 3 blades port and 19 in, 4 blades starboard",
        ),
        (
            Propeller(pitch=amount("19 in"), diameter=amount("15 in")),
            Propeller(pitch=amount("19 in"), diameter=amount("14 in")),
            "19 in, diameter 15 in port and 19 in, diameter 14 in starboard",
        ),
        (Propeller(pitch=amount("19 in"), blades=3), Propeller(pitch=amount("19 in")), ""),
        (Propeller(pitch=amount("19 in")), Propeller(pitch=amount("19 in"), pitch_measured=amount("19.2 in")), ""),
    ],
)
def test_unlike_propellers_of_twins_are_not_changed_alike(port: Propeller, starboard: Propeller, told: str) -> None:
    """Behind one gear ratio whatever is foreseen of the one is not of the other. What nobody entered, and a pitch
    measured beside its stamp, makes no two unlike."""
    engines = (attrs.evolve(one, propeller=its) for one, its in zip(TWIN.engines, (port, starboard), strict=True))
    mixed = attrs.evolve(TWIN, engines=tuple(engines))
    runs = [{"direction": side, "port": "5200 rev/min", "starboard": "5200 rev/min"} for side in ("with", "against")]
    found = one(job(mixed, runs), "pitch")  # without a speed, so that no slip says it first
    assert (found.verdict is MISSING) is bool(told)
    assert (f"the engines carry unlike propellers ({told})" in found.sentence) is bool(told)


def test_of_a_propeller_that_runs_at_the_surface_nothing_is_foreseen() -> None:
    """Under water, or where nobody said, as before; one that suits is kept all the same."""

    def advice(answer: str, turns: str) -> Finding:
        said = {(PROPELLER, "runs_at", "", "centre"): answer} if answer else {}
        return one(job(BOAT, two_ways(BOAT, turns, ("39.0 kn", "38.0 kn")), more=said), "pitch")

    low = advice("at the surface", "5200 rev/min")
    assert (low.verdict, low.tables) == (MISSING, ())
    assert "the centre propeller runs at the surface, so nothing can be foreseen of it" in low.sentence
    assert advice("under water", "5200 rev/min").sentence == advice("", "5200 rev/min").sentence
    assert advice("at the surface", "5450 rev/min").code == "prop_check.pitch.keep"


def test_both_rules_are_named_as_common_practice() -> None:
    """Neither rule has a source worth the name, and the finding says so."""
    finding = one(runs_at(BOAT, "5200 rev/min"), "pitch")
    assert sum(basis.kind is BasisKind.COMMON_PRACTICE for basis in finding.basis) >= 2


# Alongside.


@pytest.mark.parametrize(
    ("fitted", "label", "read", "verdict", "words"),
    [
        ("150 hp", "150 hp", True, Verdict.PASS, "150 hp fitted; the capacity label allows 150 hp."),
        ("151 hp", "150 hp", True, Verdict.ADVISE, "compare both in kW"),
        ("112.4 kW", "112 kW", True, Verdict.ADVISE, "to a tenth of a kW"),
        ("153 hp", "150 hp", True, Verdict.FAIL, "Do not run it at full throttle"),
        ("150 hp", "0 hp", True, Verdict.NOT_ENOUGH_DATA, "read the label again"),
        ("150 hp", None, True, Verdict.NOT_ENOUGH_DATA, "is not entered; read the label"),
        ("150 hp", "150 hp", False, Verdict.NOT_ENOUGH_DATA, "has not been read on this boat"),
    ],
)
def test_power_against_the_label(fitted: str, label: str | None, read: bool, verdict: Verdict, words: str) -> None:
    """The label is the limit; a hair over may be metric horsepower."""
    boat = vessel(1, power=fitted, plate_power=label, length="22 ft")
    (finding,) = say(job(boat, more={(CAPACITY, "label_read", "", ""): read}), "capacity")
    assert (finding.verdict, words in finding.sentence) == (verdict, True), finding.sentence


def test_powers_stand_beside_the_sentence_with_the_same_digits() -> None:
    """14.91 kW within 15 kW stood there as "power fitted 15 kW; power on the label 15.0 kW"."""
    view = job(
        vessel(1, power="20 hp", plate_power="15 kW", length="22 ft"), more={(CAPACITY, "label_read", "", ""): True}
    )
    (finding,) = [finding_as_typed(view, one) for one in say(view, "capacity")]
    assert finding.sentence == "14.91 kW fitted; the capacity label allows 15 kW."
    assert [str(one) for one in finding.numbers] == ["14.91 kW", "15 kW"]


SMALL = {
    "length": "16 ft",
    "transom_width": "6.5 ft",
    "transom_height": "20 in",
    "steering": "remote",
    "plate_power": "120 hp",
}


@pytest.mark.parametrize(
    ("power", "changes", "verdict", "words"),
    [
        ("120 hp", {}, Verdict.PASS, "Formula: 118 hp, raised to 120. 120 hp fitted."),
        ("121 hp", {}, Verdict.ADVISE, "121 hp is more"),
        ("60 hp", {"transom_height": "19 in"}, Verdict.PASS, "Formula: 58.2 hp, raised to 60"),
        ("60 hp", {"steering": "tiller"}, Verdict.PASS, "Formula: 58.2 hp, raised to 60"),
        ("41 hp", {"steering": "tiller", "hull_form": "flat bottom hard chine"}, Verdict.ADVISE, "37 hp, raised to 40"),
        ("40 hp", {"length": "12.5 ft", "transom_width": "4.2 ft"}, Verdict.NOT_ENOUGH_DATA, "ask the boat's maker"),
        ("40 hp", {"transom_width": "0 ft"}, Verdict.NOT_ENOUGH_DATA, "must be above zero"),
        ("40 hp", {"transom_width": None}, Verdict.NOT_ENOUGH_DATA, "transom width is not entered"),
        ("40 hp", {"steering": ""}, Verdict.NOT_ENOUGH_DATA, "steering (remote or tiller) is not entered"),
        ("40 hp", {"length": None}, Verdict.NOT_ENOUGH_DATA, "length of the boat is not entered"),
    ],
)
def test_power_against_the_formula(power: str, changes: dict[str, Any], verdict: Verdict, words: str) -> None:
    """16 ft by 6.5 ft is 104: 118 hp remote, 58.2 tiller, 37 flat bottom (33 CFR 183.53); over it is advice."""
    boat = vessel(1, power=power, **(SMALL | changes))
    finding = say(job(boat, more={(CAPACITY, "label_read", "", ""): True}), "capacity")[1]
    assert (finding.verdict, words in finding.sentence) == (verdict, True), finding.sentence


@pytest.mark.parametrize("changes", [{"length": "20 ft"}, {"hull_form": "multihull"}])
def test_the_formula_does_not_apply_to_larger_boats_and_multihulls(changes: dict[str, Any]) -> None:
    """There is one finding, about the label."""
    boat = vessel(1, **(SMALL | changes))
    assert [f.about for f in say(job(boat), "capacity")] == ["power fitted"]


def test_propeller_as_fitted() -> None:
    """Yes to all passes, a no says what to do, a gap says what is missing."""
    fields = ("stamp_read", "nut_secured", "blades_sound")
    good = {(PROPELLER, field, "", position): True for field in fields for position in ("port", "starboard")}
    assert {f.verdict for f in say(job(TWIN, more=dict(good)), "propeller")} == {Verdict.PASS}
    loose = good | {(PROPELLER, "nut_secured", "", "port"): False}
    port, starboard = say(job(TWIN, more=dict(loose)), "propeller")
    assert (port.verdict, port.sentence) == (Verdict.FAIL, "Not ready to run: tighten and lock the nut.")
    bent = loose | {(PROPELLER, "blades_sound", "", "port"): False}
    both = "Not ready to run: tighten and lock the nut and repair or change the propeller."
    assert say(job(TWIN, more=dict(bent)), "propeller")[0].sentence == both
    assert starboard.verdict is Verdict.PASS
    unread = attrs.evolve(BOAT.engines[0], propeller=Propeller(pitch=amount("0 in")))
    asked = {(PROPELLER, field, "", "centre"): True for field in fields}
    (flat,) = say(job(attrs.evolve(BOAT, engines=(unread,)), more=asked), "propeller")
    assert "reads 0 in; read the stamp again" in flat.sentence
    (missing,) = say(job(BOAT), "propeller")
    assert missing.about == "centre propeller"
    assert missing.verdict is Verdict.NOT_ENOUGH_DATA


@pytest.mark.parametrize("rated", ["1000 rev/min", "3500 rev/min", "9000 rev/min", "12000 rev/min"])
def test_a_rated_speed_far_from_its_window_is_not_foreseen_with(rated: str) -> None:
    """It foresaw 9051 rev/min, give or take 8903, and that no propeller brings an engine at 5200 above 0 rev/min."""
    told = {}
    for text in (None, "5500 rev/min", rated):
        made = vessel()
        boat = attrs.evolve(made, engines=(attrs.evolve(made.engines[0], rated_speed=amount(text)),))
        runs = two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn"))
        (told[text],) = findings_of(host(), job(boat, runs), "prop_check.pitch")
    assert told[rated].numbers == told[None].numbers
    assert (
        f"The rated speed {rated} does not fit the window: the middle of the window stands for it"
        in told[rated].sentence
    )
    assert "stands for it" not in told["5500 rev/min"].sentence


@pytest.mark.parametrize(("high", "is_one"), [("5401 rev/min", False), ("5500 rev/min", True)])
def test_a_window_that_no_propeller_can_hit_is_misread(high: str, is_one: bool) -> None:
    boat = vessel(window=("5400 rev/min", high))
    for key in ("window", "pitch"):
        (found,) = findings_of(
            host(), job(boat, two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn"))), f"prop_check.{key}"
        )
        assert (found.verdict is not Verdict.NOT_ENOUGH_DATA) is is_one
