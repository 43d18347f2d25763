"""Every run names its propeller: a swap never touches an earlier run, whatever the clocks of two tablets say."""

from __future__ import annotations

import json
from pathlib import Path

import attrs

from builders import job_view
from garboard.disk.entries import Entry
from garboard.fields import Field, Kind
from garboard.fittings import (
    CAME_WITH,
    fitted_now,
    fitting_named,
    fittings_of,
    next_row,
    of_fitting,
    propeller_named,
    value_to_begin,
)
from garboard.history.authoring import measure
from garboard.history.like import shared_facts
from garboard.history.replay import HullState, replay
from garboard.hosting.watching import watched
from garboard.job_files.job_file import job_file_text, parse_job_file
from garboard.job_view import JobView
from garboard.records import Engine, JsonValue, NamedPropeller, Propeller, Vessel
from garboard.units import Amount
from histories import DAY, HULL, JOB, Tablet, tablet

RUNS, CURVE = "prop_check.full_throttle", "fuel_curve.steps"
STEPS = (RUNS, CURVE)
TWO_HOURS = DAY // 12

STEEL = NamedPropeller(name="17 steel", pitch=Amount("17", "in"), diameter=Amount("14.5", "in"), stock_number="S-17")
TWINS = Vessel(
    hull_number=HULL,
    engines=tuple(
        Engine(position=position, propeller=Propeller(pitch=Amount("19", "in"))) for position in ("port", "starboard")
    ),
    propellers=(STEEL,),
)


def fitted(vessel: Vessel, *names: str) -> Vessel:
    engines = (attrs.evolve(engine, fitted=name) for engine, name in zip(vessel.engines, names, strict=True))
    return attrs.evolve(vessel, engines=tuple(engines))


def one_run(row: str, *names: str) -> dict[tuple[str, str, str, str], JsonValue]:
    named = dict(zip(("port", "starboard"), names, strict=False))
    return {(RUNS, "speed", row, ""): "40 kn", **{(RUNS, "propeller", row, of): name for of, name in named.items()}}


def rows(view: JobView) -> tuple[str, ...]:
    return view.rows(RUNS, "speed")


def test_a_job_that_names_no_propeller_is_the_same_job() -> None:
    view = job_view(attrs.evolve(TWINS, propellers=()), one_run("1"))
    assert of_fitting(view, fitted_now(view.vessel), STEPS) is view
    assert fittings_of(view, STEPS) == (("", ""),)


def test_runs_are_told_apart_by_what_they_name() -> None:
    vessel = fitted(TWINS, "17 steel", "17 steel")
    runs = one_run("1") | one_run("2", CAME_WITH, CAME_WITH) | one_run("3", "17 steel", "17 steel")
    view = job_view(vessel, runs | one_run("4", "17 steel") | {("steering.feel", "play", "1", ""): "fine"})
    assert fittings_of(view, STEPS) == (("", ""), ("17 steel", "17 steel"), ("17 steel", ""))
    now = of_fitting(view, fitted_now(vessel), STEPS)
    assert rows(now) == ("3",)
    assert [engine.propeller for engine in now.vessel.engines] == [STEEL, STEEL]
    before = of_fitting(view, ("", ""), STEPS)
    assert rows(before) == ("1", "2")
    assert [engine.propeller for engine in before.vessel.engines] == [engine.propeller for engine in TWINS.engines]
    assert now.value("steering.feel", "play", row="1") == "fine"
    assert propeller_named(vessel, vessel.engines[0], "nobody entered it") is None


def test_a_run_whose_propeller_disagrees_is_of_no_fitting() -> None:
    disputed = (RUNS, "propeller", "1", "port")
    runs = one_run("1", "17 steel", "17 steel") | one_run("2")
    view = job_view(TWINS, runs, disagreements=[disputed])
    assert fitting_named(view, RUNS, "1") is None
    assert fittings_of(view, STEPS) == (("", ""),)
    assert rows(of_fitting(view, ("", ""), STEPS)) == ("2",)
    assert rows(of_fitting(view, ("17 steel", "17 steel"), STEPS)) == ()


def test_a_recording_beside_the_rows_is_of_the_propeller_it_names() -> None:
    values: dict[tuple[str, str, str, str], JsonValue] = {
        (CURVE, "recording", "", ""): {"file": "a.log"},
        (CURVE, "recording_propeller", "", "port"): "17 steel",
        (CURVE, "recording_propeller", "", "starboard"): "17 steel",
        (CURVE, "fuel", "", ""): "gasoline",
        (RUNS, "all_runs", "", ""): {"file": "b.log"},
    }
    view = job_view(fitted(TWINS, "17 steel", "17 steel"), values)
    assert fittings_of(view, STEPS) == (("17 steel", "17 steel"), ("", ""))
    now, before = of_fitting(view, ("17 steel", "17 steel"), STEPS), of_fitting(view, ("", ""), STEPS)
    assert now.value(CURVE, "recording") == {"file": "a.log"}
    assert before.value(CURVE, "recording") is None
    assert (now.value(RUNS, "all_runs"), before.value(RUNS, "all_runs")) == (None, {"file": "b.log"})
    assert now.value(CURVE, "fuel") == before.value(CURVE, "fuel") == "gasoline"


def test_to_put_another_propeller_on_reads_no_doubted_fact() -> None:
    """A finding is in doubt for what it reads: what is copied on the way is not read, what is read later still is."""
    wrong = attrs.evolve(
        TWINS.engines[0], full_throttle_high=Amount("5500", "rev/min"), limiter_speed=Amount("4000", "rev/min")
    )
    view = watched(job_view(attrs.evolve(TWINS, engines=(wrong, TWINS.engines[1])), one_run("1", "17 steel", "")))
    other = of_fitting(view, ("17 steel", ""), STEPS)
    assert not view.facts
    assert other.vessel.engines[0].limiter_speed == Amount("4000", "rev/min")
    assert list(view.facts) == [("vessel", "engines.limiter_speed", "", "port")]


# Two tablets


def equip(one: Tablet, *facts: tuple[tuple[str, ...], JsonValue]) -> None:
    for path, value in facts:
        one.write(one.author.write(one.state, "field", path, value))


def run(one: Tablet, row: str, speed: str) -> None:
    """As a tablet begins a row: it names what is fitted as this tablet knows it."""
    name = one.state.vessel()[0].engines[0].fitted or CAME_WITH
    one.write(measure(one.author, one.state, JOB, RUNS, "propeller", name, row=row, of="centre"))
    one.write(measure(one.author, one.state, JOB, RUNS, "speed", speed, row=row))


def speeds(state: HullState, name: str) -> list[JsonValue]:
    view = of_fitting(state.view(JOB), (name,), STEPS)
    return [view.value(RUNS, "speed", row=row) for row in view.rows(RUNS, "speed")]


def merged(*tablets: Tablet) -> list[HullState]:
    """What both hold, in either order."""
    entries: list[Entry] = list({entry.id: entry for one in tablets for entry in one.held.values()}.values())
    return [replay(HULL, entries), replay(HULL, entries[::-1])]


def test_no_clock_decides_which_propeller_a_run_was_made_with() -> None:
    """Tablets two hours apart: the one that swapped is behind, so by the clocks the swap came before every run."""
    first, second = tablet("a", TWO_HOURS), tablet("b")
    equip(first, (("engines", "centre", "position"), "centre"), (("engines", "centre", "propeller", "pitch"), "19 in"))
    second.held |= first.held
    run(first, "1", "40.0 kn")
    second.held |= first.held
    equip(second, (("propellers", "17 steel", "pitch"), "17 in"), (("engines", "centre", "fitted"), "17 steel"))
    run(second, "2", "38.0 kn")
    run(first, "3", "40.4 kn")  # this tablet has not heard of the swap: its run was before it
    for state in merged(first, second):
        assert fitted_now(state.vessel()[0]) == ("17 steel",)
        assert speeds(state, "") == ["40.0 kn", "40.4 kn"]
        assert speeds(state, "17 steel") == ["38.0 kn"]


def test_two_runs_under_one_row_are_of_no_propeller_until_a_person_chooses() -> None:
    first, second = tablet("a"), tablet("b")
    equip(first, (("engines", "centre", "position"), "centre"))
    second.held |= first.held
    equip(second, (("propellers", "17 steel", "pitch"), "17 in"), (("engines", "centre", "fitted"), "17 steel"))
    run(first, "1", "40.0 kn")
    run(second, "1", "38.0 kn")
    for state in merged(first, second):
        assert (speeds(state, ""), speeds(state, "17 steel")) == ([], [])
        assert {found.place[1] for found in state.view(JOB).disagreements} == {"propeller", "speed"}


def test_a_boat_begun_like_another_takes_over_no_trial() -> None:
    paths = {path[0] for path in shared_facts(fitted(TWINS, "17 steel", ""))}
    assert "engines" in paths
    assert "propellers" not in paths
    assert not any(path[-1] == "fitted" for path in shared_facts(fitted(TWINS, "17 steel", "")))


def test_a_boat_of_before_opens_and_a_new_one_is_written_and_read(tmp_path: Path) -> None:
    old = {"format": "garboard job", "version": 1, "vessel": {"hull_number": HULL}, "job": {"id": "1"}}
    before = parse_job_file(json.dumps(old), "job.json")
    assert before.vessel.propellers == ()
    assert "propellers" not in job_file_text(before)
    now = attrs.evolve(before, vessel=fitted(TWINS, "17 steel", ""))
    assert parse_job_file(job_file_text(now), "job.json").vessel == now.vessel


def test_a_row_that_is_begun_takes_what_the_last_row_says_whatever_the_clocks() -> None:
    gear = Field(name="gear", title="Gear", kind=Kind.AMOUNT, quantity="weight", unit="lb", begins=("", "gear"))
    said: dict[tuple[str, str, str, str], JsonValue] = {
        (RUNS, "gear", row, ""): f"{row}0 lb" for row in ("3", "10", "2")
    }
    assert value_to_begin(job_view(TWINS, said), gear, RUNS, "") == "100 lb"


def test_the_next_row_has_a_number_whatever_rows_are_called() -> None:
    """A job file may name them so: a superscript is a digit and no number, and Python reads no 5000 digits."""
    assert next_row(("1", "²", "9" * 5000, "calm")) == "2"
