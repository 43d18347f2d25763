"""A forecast that was kept is held against what its propeller then turned; it can be wrong, and says so."""

import io
from pathlib import Path
from typing import Any

import attrs
import pytest
from click.testing import CliRunner
from rich.console import Console

from builders import findings_of
from garboard.commands.try_next import command
from garboard.disk.hullfile import HullFolder
from garboard.findings import Finding
from garboard.history.authoring import Author, keep_forecast, take_in
from garboard.history.boat import open_hull
from garboard.history.exchange import job_file_of
from garboard.history.replay import replay
from garboard.job_files.job_file import job_file_text, parse_job_file
from garboard.job_view import FieldKey, JobView
from garboard.records import ExpectedOf, Forecast, JsonValue, Measurement, NamedPropeller
from garboard.report.book import handover_book
from garboard.report.job_report import print_report
from garboard.report.terminal import Tools
from garboard.units import Amount
from garboard.verdict import Verdict
from printed import printed_words
from prop_check_jobs import RUNS, amount, host, job, two_ways, vessel

HOST = host()
STEEL = NamedPropeller(name="17 steel", pitch=Amount("17", "in"), diameter=Amount("14.5", "in"))
FORECAST = Forecast(
    propeller="17",
    pitch=Amount("17", "in"),
    expected=(ExpectedOf(of="centre", low=Amount("5300", "rev/min"), high=Amount("5850", "rev/min"), chance=90),),
    made_by="prop_check, balance of power 1",
)


def after(
    turned: str,
    forecast: Forecast = FORECAST,
    fitted: str = "17 steel",
    tried: NamedPropeller = STEEL,
    speeds: tuple[str, str] = ("37.0 kn", "36.0 kn"),
) -> JobView:
    """Run with 19 in, foreseen of 17 in, then run with that."""
    made = vessel()
    boat = attrs.evolve(made, propellers=(tried,), engines=(attrs.evolve(made.engines[0], fitted=fitted),))
    runs = two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn")) + two_ways(boat, turned, speeds)
    more = {(RUNS, "propeller", row, "centre"): fitted for row in ("3", "4")}
    return attrs.evolve(job(boat, runs, more=more), forecasts=(forecast,))


def all_told(view: JobView) -> list[Finding]:
    return findings_of(HOST, view, "prop_check.forecast")


def told(view: JobView) -> list[Finding]:
    """Of those that were put to the test."""
    return [one for one in all_told(view) if one.code.endswith(("held", "missed"))]


@pytest.mark.parametrize(
    ("turned", "code"),
    [
        ("5570 rev/min", "prop_check.forecast.held"),
        ("5300 rev/min", "prop_check.forecast.held"),
        ("5290 rev/min", "prop_check.forecast.missed"),
        ("5900 rev/min", "prop_check.forecast.missed"),
    ],
)
def test_the_runs_with_its_propeller_say_whether_a_forecast_held(turned: str, code: str) -> None:
    (found,) = told(after(turned))
    assert found.code == code
    assert found.verdict is (Verdict.PASS if code.endswith("held") else Verdict.ADVISE)
    assert found.bounded[0][1] == attrs.evolve(found.limits[0], low=5300, high=5850)


def test_a_forecast_is_of_a_propeller_by_its_name_or_its_sizes() -> None:
    """Of another pitch, another diameter it says nothing. What came with the engine is not taken for it."""
    assert told(after("5570 rev/min", attrs.evolve(FORECAST, propeller="17 steel", pitch=None)))
    for other in (Amount("16", "in"), Amount("17.5", "in")):
        assert told(after("5570 rev/min", attrs.evolve(FORECAST, pitch=other))) == []
    assert told(after("5570 rev/min", attrs.evolve(FORECAST, diameter=Amount("15", "in")))) == []
    assert told(after("5570 rev/min", fitted="")) == []
    alone = after("5570 rev/min")
    assert told(attrs.evolve(alone, forecasts=())) == []


@pytest.mark.parametrize(
    ("more", "counts"),
    [
        ({}, True),
        ({"blades": 4}, False),
        ({"blades": 3}, True),
        ({"cup": "heavy"}, False),
        ({"cup": "none"}, True),
        ({"diameter": amount("14.25 in")}, True),
        ({"diameter": amount("13.5 in")}, False),
        ({"pitch_measured": amount("16.8 in")}, True),
        ({"name": "17", "pitch": amount("15 in")}, False),
    ],
)
def test_another_propeller_of_the_pitch_is_not_the_one_foreseen(more: dict[str, Any], counts: bool) -> None:
    """Of other blades, another cup, a diameter no maker gives that pitch; and a name makes it no other size."""
    like: dict[str, Any] = {
        "diameter": amount("14.5 in"),
        "diameter_within": amount("0.25 in"),
        "blades": 3,
        "cup": "none",
    }
    run = attrs.evolve(STEEL, **more)
    view = after("5570 rev/min", attrs.evolve(FORECAST, **like), fitted=run.name, tried=run)
    assert bool(told(view)) is counts


def test_two_engines_are_one_change_of_propellers() -> None:
    """The first that tells counts, whatever the other does: the worse of two would hold less than 19 times of 20."""
    made = vessel(2)
    boat = attrs.evolve(
        made, propellers=(STEEL,), engines=tuple(attrs.evolve(one, fitted=STEEL.name) for one in made.engines)
    )
    runs = two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn")) + two_ways(
        boat, "5570 rev/min", ("37.0 kn", "36.0 kn")
    )
    more = {(RUNS, "propeller", row, of): STEEL.name for row in ("3", "4") for of in ("port", "starboard")}
    (port,) = FORECAST.expected
    for low, codes in (("5300 rev/min", ["held", "also_held"]), ("5600 rev/min", ["held", "also_missed"])):
        both = (attrs.evolve(port, of="port"), attrs.evolve(port, of="starboard", low=amount(low)))
        view = attrs.evolve(job(boat, runs, more=more), forecasts=(attrs.evolve(FORECAST, expected=both),))
        assert [one.code for one in told(view)] == [f"prop_check.forecast.{code}" for code in codes]


def test_the_advice_tells_stamps_that_are_sold_though_the_pitch_was_measured() -> None:
    """19 in that measures 18.6 is followed by 18 and 17, not by 17.6 and 16.6; the forecast knows the difference."""
    made = vessel()
    engine = made.engines[0]
    assert engine.propeller is not None
    measured = attrs.evolve(engine.propeller, pitch_measured=amount("18.6 in"))
    found = {}
    for propeller in (engine.propeller, measured):
        boat = attrs.evolve(made, engines=(attrs.evolve(engine, propeller=propeller),))
        runs = two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn"))
        (advice,) = findings_of(HOST, job(boat, runs), "prop_check.pitch")
        found[propeller] = {str(one.pitch): one.expected[0] for one in advice.forecasts}
    assert set(found[measured]) == set(found[engine.propeller]) == {"18 in", "17 in", "16 in", "15 in"}
    ends = [(one["17 in"].low, one["17 in"].high) for one in found.values()]
    by_stamp, as_measured = (sum(end.to("rev/min") for end in both if end) / 2 for both in ends)
    assert by_stamp - as_measured == pytest.approx(70, abs=30), "it has less pitch than its stamp to lose"


def test_runs_that_say_nothing_of_the_propeller_are_no_test_of_its_forecast() -> None:
    """On the limiter, out of its bite, damaged: neither a hit nor a miss."""
    limited = after("5900 rev/min")
    engine = attrs.evolve(limited.vessel.engines[0], limiter_speed=amount("5950 rev/min"))
    assert told(attrs.evolve(limited, vessel=attrs.evolve(limited.vessel, engines=(engine,)))) == []
    assert told(after("5570 rev/min", speeds=("20.0 kn", "19.0 kn"))) == []


def test_what_was_foreseen_is_told_before_it_is_run_and_not_to_the_owner() -> None:
    """On the shop's report with what was tried; the owner's book says nothing of forecasts, held, missed or waiting."""
    view = after("5900 rev/min")
    waiting = attrs.evolve(FORECAST, propeller="16", pitch=Amount("16", "in"))
    view = attrs.evolve(view, forecasts=(FORECAST, waiting))
    missed, found = all_told(view)
    assert missed.code == "prop_check.forecast.missed"
    assert (found.code, found.verdict) == ("prop_check.forecast.waiting", Verdict.PASS)
    assert found.sentence == "Foreseen: 5575 ± 275 rev/min, 90 in 100 to land in the window. Not run yet."
    assessed = HOST.assess(view)
    console = Console(file=io.StringIO(), width=400)
    print_report(console, view, HOST, assessed)
    assert isinstance(console.file, io.StringIO)
    report = console.file.getvalue().partition("WHAT WAS TRIED")[2]
    assert "Forecast of 16: Foreseen: 5575" in report
    assert "The forecast did not hold" in report
    book = printed_words(handover_book(view, HOST, assessed))
    assert "What was tried" in book
    assert "forecast" not in book.casefold()
    assert "foreseen" not in book.casefold()


def test_the_load_of_a_forecast_is_its_own() -> None:
    """Foreseen for two aboard and run with two it is a test, whatever other runs carried; run with five it is none."""
    kept = attrs.evolve(FORECAST, persons=2)
    view = after("5570 rev/min", kept)
    heavy = attrs.evolve(view, vessel=attrs.evolve(view.vessel, displacement_as_run=amount("2000 lb")))

    def aboard(before: int, then: int) -> list[str]:
        rows = {"1": before, "2": before, "3": then, "4": then}
        people = [Measurement(step=RUNS, field="persons", row=row, value=value) for row, value in rows.items()]
        return [one.code for one in all_told(attrs.evolve(heavy, measurements=(*heavy.measurements, *people)))]

    assert aboard(2, 2) == aboard(6, 2) == ["prop_check.forecast.held"]
    assert aboard(2, 5) == aboard(5, 5) == ["prop_check.forecast.no_test"]


def test_a_forecast_is_kept_with_the_load_of_its_runs() -> None:
    """What the runs say themselves before the conditions; nothing of what nobody entered."""
    boat = vessel()
    runs = two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn"))
    own: dict[FieldKey, JsonValue] = {(RUNS, "persons", row, ""): 4 for row in ("1", "2")}
    (with_own,) = findings_of(HOST, job(boat, runs, more=own), "prop_check.pitch")
    (of_day,) = findings_of(HOST, job(boat, runs), "prop_check.pitch")
    assert [(one.persons, str(one.fuel_level), one.gear) for one in with_own.forecasts[:1]] == [(4, "50 %", None)]
    assert of_day.forecasts[0].persons == 2


def test_what_was_run_already_is_not_foreseen() -> None:
    """The forecast would have learned from the very runs that are to prove it."""
    run = after("5250 rev/min")
    back = attrs.evolve(run.vessel, engines=(attrs.evolve(run.vessel.engines[0], fitted=""),))
    (advice,) = findings_of(HOST, attrs.evolve(run, vessel=back), "prop_check.pitch")
    assert advice.forecasts
    assert Amount("17", "in") not in [one.pitch for one in advice.forecasts]


def test_the_first_forecast_of_a_propeller_counts() -> None:
    """Whoever asks again after the runs gets no second try."""
    surer = attrs.evolve(FORECAST, expected=(attrs.evolve(FORECAST.expected[0], low=amount("5560 rev/min")),))
    view = after("5500 rev/min")
    assert [one.code for one in told(attrs.evolve(view, forecasts=(FORECAST, surer)))] == ["prop_check.forecast.held"]


def test_the_advice_gives_its_forecasts_as_they_are_kept() -> None:
    """The best first, each with the interval it tells; none of one that reaches the limiter."""
    boat = vessel()
    (advice,) = findings_of(HOST, job(boat, two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn"))), "prop_check.pitch")
    assert len({advice, advice}) == 1, "a book keeps in a set which findings it has printed"
    first, *others = advice.forecasts
    assert (first.propeller, str(first.pitch)) == ("17", "17 in")
    assert [str(one.pitch) for one in others] == ["16 in", "15 in", "18 in"]
    expected = next(one for one in advice.numbers if one.name == "engine speed to expect")
    (of,) = first.expected
    assert of.low is not None
    assert of.low.to("rev/min") == pytest.approx(expected.value - (expected.expanded_uncertainty or 0), abs=0.6)
    assert of.chance == next(one.value for one in advice.numbers if one.name == "chance to land in the window")


def test_a_forecast_is_kept_merged_and_written_into_a_job_file() -> None:
    """An entry of its own; two stand side by side, each with who kept it; a job file has them and gives them back."""
    author, state = Author(tablet="t1", by="Robin"), replay("QQZ01234A626", ())
    entries = [keep_forecast(author, state, "J1", FORECAST) for _ in range(2)]
    view = replay("QQZ01234A626", entries).view("J1")
    assert [(attrs.evolve(one, by="", at=""), one.by) for one in view.forecasts] == [(FORECAST, "Robin")] * 2
    assert view.disagreements == ()
    again = parse_job_file(job_file_text(job_file_of(view)), "job.json")
    assert again.forecasts == view.forecasts
    taken = take_in(author, replay("QQZ01234A626", ()), again)
    assert len(replay("QQZ01234A626", taken).view("J1").forecasts) == 2


def test_the_command_keeps_what_the_advice_would_try_first(tmp_path: Path) -> None:
    """By name another; what nobody foresees is refused."""
    boat = vessel()
    view = job(boat, two_ways(boat, "5200 rev/min", ("36.0 kn", "35.0 kn")))
    with HullFolder(tmp_path) as hulls:
        state = replay(boat.hull_number, ())
        for entry in take_in(Author(tablet="t1", by="Robin"), state, job_file_of(view)):
            hulls.save(entry)

    def run(*arguments: str) -> str:
        said = [str(tmp_path), boat.hull_number, "--by", "Robin", *arguments]
        result = CliRunner().invoke(command, said, obj=Tools())
        return result.output if result.exception is None or result.exit_code == 0 else str(result.exception)

    assert "17, centre engine: 5303 rev/min to 5849 rev/min, chance 90 %. It is kept." in run()
    assert "16, centre engine" in run("--propeller", "16")
    assert "'17'" in run("--propeller", "12")
    with HullFolder(tmp_path, read_only=True) as hulls:
        kept = open_hull(hulls, boat.hull_number)
        assert [one.propeller for one in kept.view(kept.jobs[0]).forecasts] == ["17", "16"]
