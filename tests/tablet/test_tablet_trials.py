"""Run, swap, run, by touch, beside a tablet that does not know of the swap: each run keeps its propeller."""

from __future__ import annotations

import time
from functools import partial
from pathlib import Path
from typing import Any

import attrs

from garboard.disk.clock import HybridClock
from garboard.disk.hullfile import HullFolder
from garboard.fittings import CAME_WITH, of_fitting
from garboard.history.boats_alike import KindOfBoat, kinds_entry
from garboard.history.merge import merge
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey
from garboard.records import ExpectedOf, Forecast, JsonValue
from garboard.units import Amount
from garboard_tablet.models.asks import asks_of_piece, asks_of_step
from garboard_tablet.models.like import kept_by_boats_alike, shop_record
from garboard_tablet.models.session import HOME
from garboard_tablet.models.tablet import Tablet, open_tablet
from tablet.driver import Drive, Driver, declared, view_of
from tablet.layout_lint import faults

RUNS, CONDITIONS = "prop_check.full_throttle", "prop_check.conditions"
TWO_HOURS = 2 * 3_600_000
PLUGINS = partial(make_host, ("garboard_prop_check",), entry_points=False)


def first_tablet(folder: Path) -> tuple[Tablet, str, str]:
    """A tablet whose clock is two hours ahead, with a boat of one engine and two runs; hull and job."""
    tablet = open_tablet(folder, PLUGINS)
    tablet.clock = HybridClock(wall=lambda: round(time.time() * 1000) + TWO_HOURS)
    hull, job = tablet.open_job("XYZAB123F526")
    tablet.add_piece(hull, ("engines", "centre"))
    facts = {
        ("engines", "centre", "full_throttle_low"): "5400 rev/min",
        ("engines", "centre", "full_throttle_high"): "6000 rev/min",
        ("engines", "centre", "gear_ratio"): "1.85",
        ("engines", "centre", "propeller", "pitch"): "19 in",
        ("hull_form",): "planing",
    }
    tablet.save(*(tablet.author().write(tablet.boat(hull).state, "field", *fact) for fact in facts.items()))
    conditions: dict[str, JsonValue] = {"trim": "at best", "load": "half", "water": "calm", "persons": 2}
    for field, value in conditions.items():
        enter(tablet, hull, job, (CONDITIONS, field, "", ""), value)
    return tablet, hull, job


def enter(tablet: Tablet, hull: str, job: str, place: FieldKey, value: JsonValue) -> None:
    asks = asks_of_step(declared(tablet, place[0]), tablet.view(hull, job), open_tables=("runs",), aside=True)
    like = next(ask for ask in asks if (ask.place[1], ask.of) == (place[1], place[3]))
    tablet.enter(hull, job, attrs.evolve(like, key=like.key._replace(subject=place)), value)


def run(tablet: Tablet, hull: str, job: str, row: str, side: str, speed: str) -> None:
    values = {("direction", ""): side, ("speed", ""): speed, ("engine_speed", "centre"): "5150 rev/min"}
    for (field, of), value in values.items():
        enter(tablet, hull, job, (RUNS, field, row, of), value)


def test_a_fact_changed_after_a_signature_makes_it_stale_and_one_of_another_job_does_not(tmp_path: Path) -> None:
    """Of its engine's window, of a piece, of what is taken back: a check judged by them, and the signer saw them."""
    tablet, hull, job = first_tablet(tmp_path)
    window = ("engines", "centre", "full_throttle_low")
    asked = next(one for one in asks_of_piece(window[:2], tablet.host.equipment) if one.key.subject == window)
    tablet.enter(hull, job, asked, "5400 rev/min")

    def missed(of: str = job) -> list[tuple[str, ...]]:
        return [one.not_covered for one in tablet.view(hull, of).sign_offs]

    def signed(of: str = job) -> None:
        tablet.sign(hull, of, "owner", "A. Marsh", b"strokes")
        assert not any(missed(of))

    signed()
    tablet.enter(hull, job, asked, "5500 rev/min")
    assert missed() == [("vessel/engines/centre/full_throttle_low",)]
    signed()
    tablet.take_back(hull, job, asked, "misread")
    assert missed() == [("vessel/engines/centre/full_throttle_low",)]
    tablet.enter(hull, job, asked, "5500 rev/min")
    signed()
    tablet.add_piece(hull, ("propellers", "17 steel"), job)
    tablet.fit_propellers(hull, ["17 steel"], job)
    assert missed() == [("vessel/engines/centre/fitted", "vessel/propellers/17 steel/name")]
    signed()
    _, later = tablet.open_job(hull)
    tablet.enter(hull, later, asked, "5300 rev/min")
    assert missed() == [()]


def run_by_touch(d: Driver, side: str, speed: str, turns: str) -> None:
    """One run, as it is typed aboard: side, speed, engine speed; then back to the step."""
    while d.app.tablet.session.here.page != "step":
        d.press("back")
    d.seek("add row runs")
    d.press(f"choice {side}", "skip")  # the course: the side is said
    d.number(speed)
    d.number(turns)


def meet(source: Path, target: Path) -> None:
    with HullFolder(source) as here, HullFolder(target) as there:
        merge([here], there)


def speeds(d: Driver, name: str) -> list[JsonValue]:
    view = of_fitting(view_of(d), (name,), (RUNS,))
    return [view.value(RUNS, "speed", row=row) for row in view.rows(RUNS, "speed")]


def test_run_swap_run_and_two_tablets_that_meet(drive: Drive, tmp_path: Path) -> None:
    """By the clocks every run of the first tablet came after the swap on the second."""
    tablet, hull, job = first_tablet(tmp_path / "first")
    run(tablet, hull, job, "1", "with", "37.8 kn")
    run(tablet, hull, job, "2", "against", "37.2 kn")
    begun = {field: tablet.view(hull, job).value(RUNS, field, row="1") for field in ("persons", "fuel_level")}
    assert begun == {"persons": 2, "fuel_level": None}
    assert tablet.view(hull, job).value(RUNS, "propeller", row="2", of="centre") == CAME_WITH
    tablet.close()
    meet(tmp_path / "first", tmp_path / "second")

    d = drive(tmp_path / "second", make_host=PLUGINS)
    d.app.tablet.session.way = [HOME, HOME.to("job", hull=hull, job=job)]
    d.app.way.go(HOME.to("why", "0", "prop_check.pitch", "pitch", hull=hull, job=job, step=RUNS))
    d.step()
    assert not faults(d.app.shell, d.window)
    d.press("try next")
    (foreseen,) = view_of(d).forecasts
    assert (foreseen.propeller, str(foreseen.pitch), foreseen.by) == ("16", "16 in", d.app.tablet.settings.working)
    d.app.tablet.session.way = [HOME, HOME.to("job", hull=hull, job=job)]
    d.app.way.go(HOME.to("step", hull=hull, job=job, step=RUNS))
    d.step()
    d.seek("trials")
    assert any("Not run yet." in said for said in d.words())
    d.press("new trial")
    assert any(said.startswith("Forecast of 16: Foreseen:") for said in d.words())
    d.press("another")
    d.write("17 steel")
    d.press("save it")
    d.seek("value propellers/17 steel/pitch")
    d.number("17")
    while d.app.tablet.session.here.page != "new trial":
        d.press("back")
    assert not faults(d.app.shell, d.window)
    d.press("fit 17 steel")
    run_by_touch(d, "with", "38.1", "5560")
    run_by_touch(d, "against", "37.7", "5560")
    scored = [one.finding.code for one in d.app.tablet.assess(hull, job) if one.calculator == "prop_check.forecast"]
    assert scored == ["prop_check.forecast.waiting"], "it was foreseen of 16 in, and 17 in was run"
    while d.app.tablet.session.here.page != "step":
        d.press("back")
    d.seek("aside runs")
    assert not faults(d.app.shell, d.window)
    assert (speeds(d, ""), speeds(d, "17 steel")) == (["37.8 kn", "37.2 kn"], ["38.1 kn", "37.7 kn"])

    tablet = open_tablet(tmp_path / "first", PLUGINS)
    tablet.clock = HybridClock(wall=lambda: round(time.time() * 1000) + TWO_HOURS)
    run(tablet, hull, job, "5", "with", "37.9 kn")  # it has not heard of the swap
    entries = tablet.files.entries(hull)
    tablet.close()
    d.app.tablet.save(*entries)
    assert (speeds(d, ""), speeds(d, "17 steel")) == (["37.8 kn", "37.2 kn", "37.9 kn"], ["38.1 kn", "37.7 kn"])
    d.press("back")
    d.seek("trials")
    for words in ("17 steel, fitted", "As delivered", "5560", "5150"):
        assert any(words in said for said in d.words()), words
    assert not faults(d.app.shell, d.window)
    d.press(f"trial {CAME_WITH}")
    for words in ("17 steel stays: 5560", "As delivered was tried: 5150", "This propeller is not on the boat"):
        assert any(words in said for said in d.words()), words
    assert not faults(d.app.shell, d.window)
    d.press("fit it")
    assert d.app.tablet.view(hull, job).vessel.engines[0].fitted == CAME_WITH
    assert any("As delivered, fitted" in said for said in d.words())


def test_the_propeller_to_try_next_is_put_on_by_one_touch(drive: Drive, tmp_path: Path) -> None:
    """With the pitch that was foreseen; what the forecast only supposed of it is not entered. Its runs test it."""
    tablet, hull, job = first_tablet(tmp_path)
    supposed: dict[str, Any] = {"diameter": Amount("14.5", "in"), "blades": 4, "cup": "light"}
    expected = (ExpectedOf(of="centre", low=Amount("5400", "rev/min"), high=Amount("5900", "rev/min"), chance=90),)
    inch = Forecast(
        propeller="17", pitch=Amount("17", "in"), diameter_within=Amount("0.25", "in"), expected=expected, **supposed
    )
    shelf = attrs.evolve(inch, propeller="14.5 x 17, A-1", diameter_within=None)
    for one in (inch, shelf):
        tablet.keep_forecast(hull, job, one)
    tablet.close()
    d = drive(tmp_path, make_host=PLUGINS)
    for name in ("14.5 x 17, A-1", "17"):
        d.app.tablet.session.way = [HOME, HOME.to("job", hull=hull, job=job)]
        d.app.way.go(HOME.to("new trial", hull=hull, job=job, step=RUNS))
        d.step()
        assert not faults(d.app.shell, d.window)
        d.press(f"fit {name}")
        assert d.app.tablet.view(hull, job).vessel.engines[0].fitted == name
    at_hand, to_find = d.app.tablet.view(hull, job).vessel.propellers
    assert (str(at_hand.pitch), str(at_hand.diameter), at_hand.blades, at_hand.cup) == ("17 in", "14.5 in", 4, "light")
    assert (str(to_find.pitch), to_find.diameter, to_find.blades, to_find.cup) == ("17 in", None, None, "")


def test_a_recording_names_the_propellers_it_was_made_with_whenever_it_comes_to_count(tmp_path: Path) -> None:
    """Kept beside before a swap and chosen after it, a recording is still of the propeller of then."""
    tablet, hull, job = first_tablet(tmp_path / "first")
    tablet.add_piece(hull, ("propellers", "17 steel"))
    step = declared(tablet, RUNS)
    before, after = ({"file": tablet.files.attachments.put(name), "name": "trial"} for name in (b"before", b"after"))

    def named_when(recording: JsonValue) -> JsonValue:
        asks = asks_of_step(step, tablet.view(hull, job))
        tablet.enter(hull, job, next(ask for ask in asks if ask.place[1] == "all_runs"), recording)
        view = tablet.view(hull, job)
        assert not view.disagreements
        return view.value(RUNS, "all_runs_propeller", of="centre")

    then: JsonValue = {**before, "propellers": {"centre": CAME_WITH}}
    assert named_when(then) == CAME_WITH
    tablet.fit_propellers(hull, ["17 steel"])
    now: JsonValue = {**after}
    assert named_when(now) == "17 steel"
    assert named_when(then) == CAME_WITH
    tablet.close()


def test_a_tablet_says_what_boats_like_this_one_kept(tmp_path: Path) -> None:
    """As the shop told last; of a boat nobody described it says nothing."""
    tablet, hull, job = first_tablet(tmp_path)
    kind = KindOfBoat("planing", 1, 112.0, 5.9, 23, 17.0, 15.0, 19.0, "14.5 x 17")
    other = attrs.evolve(kind, gear_ratio=2.3, size="15 x 21", boats=90)
    told = kinds_entry(tablet.author(), shop_record(tablet), [other, attrs.evolve(kind, gear_ratio=1.85)])
    tablet.save(told)
    assert kept_by_boats_alike(tablet, hull, job) == ""
    for path, value in ((("length",), "19.5 ft"), (("engines", "centre", "rated_power"), "150 hp")):
        tablet.save(tablet.author().write(tablet.boat(hull).state, "field", path, value))
    assert kept_by_boats_alike(tablet, hull, job) == (
        "23 boats of the shop like this one, geared 1.85, kept a pitch of 17.0 in, 8 of 10 of them 15.0 in to 19.0 in; "
        "most often 14.5 x 17 in."
    )
    tablet.close()
