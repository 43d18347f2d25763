"""Facts of a vessel that cannot be are refused, those that are unusual asked about, those that contradict doubted."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_type_hints

import attrs
import pytest

from garboard.faults import InputError
from garboard.history.vessel import assemble_vessel
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.vessel_facts import doubts_of, unusual_facts
from garboard.hosting.watching import watched
from garboard.job_files.convert import structure, unstructure
from garboard.job_files.job_file import JobFile, read_job_file, view_of
from garboard.judging.assessing import questions
from garboard.records import NEW_BOAT, RECORD_OF, JsonValue, Vessel
from garboard.testing import job_from
from garboard.units import Amount
from garboard.verdict import Verdict

SAMPLE = Path(__file__).parents[2] / "sample_jobs" / "kittiwake"


def numbers() -> Iterator[tuple[str, attrs.Attribute[Any]]]:
    """Every attribute of a record of facts that holds a number."""
    for kind, record in RECORD_OF.items():
        hints = get_type_hints(record)
        for field in attrs.fields(record):
            if "quantity" in field.metadata or hints[field.name] in (int, float, int | None, float | None):
                yield kind, field


@pytest.mark.parametrize(("kind", "field"), [pytest.param(k, f, id=f"{k}.{f.name}") for k, f in numbers()])
def test_a_number_of_a_vessel_has_its_ranges(kind: str, field: attrs.Attribute[Any]) -> None:
    """Without a range, whatever is typed is taken. The usual range lies within the hard one."""
    (low, high), (least, most) = field.metadata["plausible"], field.metadata["hard"]
    assert 0 <= least <= low < high <= most, f"{kind}.{field.name}"


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


@pytest.fixture(scope="module")
def sample(host: PluginHost) -> JobFile:
    return read_job_file(SAMPLE / "job.json", host, SAMPLE)


def changed(sample: JobFile, *path: str | int, value: JsonValue) -> dict[str, JsonValue]:
    """The sample's vessel with one fact changed, as plain data."""
    plain: Any = json.loads(json.dumps(unstructure(sample.vessel)))
    inner = plain
    for name in path[:-1]:
        inner = inner[name]
    inner[path[-1]] = value
    return dict(plain)


CANNOT_BE: list[tuple[tuple[str | int, ...], JsonValue]] = [
    (("beam",), "-9 ft"),
    (("deadrise",), "210 deg"),
    (("transom_height",), "-30 in"),
    (("engines", 0, "hours"), "-3.2 h"),
    (("engines", 0, "full_throttle_high"), "15000 rev/min"),
    (("engines", 0, "full_throttle_low"), "540 rev/min"),
    (("engines", 0, "limiter_speed"), "62000 rev/min"),
    (("engines", 0, "propeller", "blades"), 0),
    (("engines", 0, "propeller", "diameter"), "-15.3 in"),
    (("circuits", 0, "design_current"), "0 A"),
    (("circuits", 0, "design_current"), "-6.5 A"),
    (("circuits", 0, "insulation_temperature"), "1050 degC"),
    (("circuits", 0, "bundled_conductors"), 0),
    (("batteries", 1, "capacity"), "0.1 Ah"),
]


@pytest.mark.parametrize(("path", "value"), CANNOT_BE)
def test_what_no_boat_has_is_refused_where_it_is_entered(
    sample: JobFile, path: tuple[str | int, ...], value: JsonValue
) -> None:
    with pytest.raises(InputError) as refused:
        structure(changed(sample, *path, value=value), Vessel, "job")
    (fault,) = refused.value.faults
    assert str(path[-1]) in fault.where
    assert "between" in fault.expected


def test_an_entry_of_old_with_such_a_value_leaves_the_rest() -> None:
    """A hull file that holds one still opens: the fact is not used, and a fault names it."""
    fields: list[tuple[tuple[str, ...], JsonValue]] = [(("beam",), "-9 ft"), (("length",), "24 ft")]
    vessel, faults = assemble_vessel(fields, "QQZ08832B626")
    assert vessel.beam is None
    assert str(vessel.length) == "24 ft"
    assert [fault.where for fault in faults] == ["beam"]


def test_the_sample_is_asked_about_nothing(sample: JobFile) -> None:
    assert not list(unusual_facts(sample.vessel))
    assert watched(view_of(sample, SAMPLE)).vessel is sample.vessel


DOUBTED: list[tuple[tuple[str | int, ...], str, str]] = [
    (("engines", 0, "full_throttle_high"), "6900 rev/min", "prop_check.window"),  # above the limiter, 6200
    (("engines", 0, "limiter_speed"), "5800 rev/min", "prop_check.window"),
    (("engines", 0, "full_throttle_low"), "4000 rev/min", "prop_check.window"),  # 2000 wide
    (("engines", 0, "full_throttle_low"), "6100 rev/min", "prop_check.window"),
    (("batteries", 1, "capacity"), "9.5 Ah", "wiring_audit.battery_charge"),
    (("engines", 0, "hours"), "54000 h", "engine_trial.break_in"),
]

OF_THE_BOAT: list[tuple[tuple[str | int, ...], str, str, tuple[str, str]]] = [
    (("engines", 0, "charging_current"), "250 A", "wiring_audit.load_sum", ("Charging", "engines.charging_current")),
    (("tanks", 0, "capacity"), "9 L", "fuel_curve.range", ("Range", "tanks.capacity")),
    (("plate_power",), "5000 hp", "prop_check.capacity", ("power fitted", "plate_power")),
]
"""What is said of a piece and judged of the boat: 250 hp charge 202.5 A at most, 500 hp burn 41 gal/h."""


@pytest.mark.parametrize(
    ("rating", "asked"), [("105 degC", 0), ("221 degF", 0), ("85 degC", 0), ("95 degC", 1), ("150 degC", 1)]
)
def test_an_insulation_rating_that_no_cable_bears_is_asked_about(sample: JobFile, rating: str, asked: int) -> None:
    """105 degC is 221 degF. The table's next lower row counts, so nothing is in doubt."""
    vessel = structure(changed(sample, "circuits", 0, "insulation_temperature", value=rating), Vessel, "job")
    assert len(list(unusual_facts(vessel))) == asked
    assert not list(doubts_of(vessel))


@pytest.mark.parametrize(("rating", "doubted"), [("200 degC", 0), ("392 degF", 0), ("210 degC", 1), ("290 degC", 1)])
def test_an_insulation_rating_above_all_that_are_printed_is_doubted(sample: JobFile, rating: str, doubted: int) -> None:
    """The table's highest row would count, which lets the cable carry the most. 392 degF is 200 degC."""
    vessel = structure(changed(sample, "circuits", 0, "insulation_temperature", value=rating), Vessel, "job")
    named = [(one.field, one.of) for one in doubts_of(vessel)]
    assert named == [("circuits.insulation_temperature", vessel.circuits[0].name)] * doubted


@pytest.mark.parametrize(("hours", "asked"), [("324 h", 1), ("40 h", 0)])
def test_engines_that_ran_far_apart_are_asked_about(sample: JobFile, hours: str, asked: int) -> None:
    vessel = structure(changed(sample, "engines", 0, "hours", value=hours), Vessel, "job")
    told = ["port engine has run 324 h, starboard engine 5.4 h. Is it right?"]
    assert list(unusual_facts(vessel)) == told * asked
    assert not list(doubts_of(vessel)), "one may be newer"


def test_engines_of_one_serial_number_are_asked_about(sample: JobFile) -> None:
    """One was typed twice. Nothing is judged by it, so nothing is in doubt."""
    other = sample.vessel.engines[1].serial_number
    vessel = structure(changed(sample, "engines", 0, "serial_number", value=f" {other.lower()}"), Vessel, "job")
    assert list(unusual_facts(vessel)) == [
        f"port engine and starboard engine have one serial number, {other}. Is it right?"
    ]
    assert not list(doubts_of(vessel))


@pytest.mark.parametrize(("drawn", "asked"), [("5.5 A", 1), ("180 A", 0)])
def test_a_cranking_motor_that_draws_too_little_is_asked_about(sample: JobFile, drawn: str, asked: int) -> None:
    """A VHF radio called a cranking motor was no more judged, and no word was lost of it."""
    radio: dict[str, JsonValue] = {
        "name": "VHF radio",
        "use": "cranking motor",
        "conductor_awg": "12",
        "design_current": drawn,
    }
    vessel = structure(changed(sample, "circuits", 4, value=radio), Vessel, "job")
    told = ["circuit VHF radio: design current 5.5 A is too little for a cranking motor. Is it one?"]
    assert list(unusual_facts(vessel)) == told * asked


def test_a_source_entered_for_two_sensors_is_doubted_for_both(host: PluginHost, sample: JobFile) -> None:
    """Its readings would be told of the first, and the second would not be told of at all."""
    vessel = structure(changed(sample, "heading_sensors", 0, "source", value="27, 21"), Vessel, "job")
    assert [doubt.of for doubt in doubts_of(vessel)] == ["pilot compass", "satellite compass"]
    view = view_of(attrs.evolve(sample, vessel=vessel), SAMPLE)
    found = [one.finding for one in host.assess(view, ["heading_calibration.straight_runs"])]
    assert found
    assert all(one.verdict is not Verdict.PASS for one in found)


@pytest.mark.parametrize(
    ("full", "asked"), [("5000 lb", 1), ("2300 kg", 1), ("6700 lb", 0), ("8100 lb", 0), ("28000 lb", 1)]
)
def test_a_weight_fully_laden_that_does_not_go_with_that_as_run_is_asked_about(
    sample: JobFile, full: str, asked: int
) -> None:
    """As run it weighs 6800 lb, which is 3084 kg. Both are weighed or reckoned, so they may differ by a little."""
    vessel = structure(changed(sample, "displacement_full_load", value=full), Vessel, "job")
    heavier = "many times as much as it was run" if full == "28000 lb" else "less than as run"
    told = [f"fully laden the boat weighs {full}, {heavier}, 6800 lb. Is it right?"]
    assert list(unusual_facts(vessel)) == told * asked
    assert not list(doubts_of(vessel))


@pytest.mark.parametrize(("path", "value", "calculator"), DOUBTED)
def test_nothing_passes_on_facts_that_contradict_each_other(
    host: PluginHost, sample: JobFile, path: tuple[str | int, ...], value: str, calculator: str
) -> None:
    """The piece it is about passes no more; the other one, whose facts agree, does."""
    vessel = structure(changed(sample, *path, value=value), Vessel, "job")
    assert list(unusual_facts(vessel))
    view = view_of(attrs.evolve(sample, vessel=vessel), SAMPLE)
    step = next(one.step for one in host.calculators if one.key == calculator)
    found = [one.finding for one in host.assess(view, [step]) if one.calculator == calculator]
    name = "port" if path[0] == "engines" else "start port"
    mine = [one for one in found if one.about.startswith(name)]
    others = [one for one in found if one.about.startswith(("starboard", "start starboard"))]
    assert mine
    assert all(one.verdict is not Verdict.PASS for one in mine)
    assert others
    assert all(one.verdict is Verdict.PASS for one in others)


@pytest.mark.parametrize(("path", "value", "calculator", "doubted"), OF_THE_BOAT)
def test_no_finding_on_the_boat_passes_on_a_fact_that_cannot_be(
    host: PluginHost,
    sample: JobFile,
    path: tuple[str | int, ...],
    value: str,
    calculator: str,
    doubted: tuple[str, str],
) -> None:
    vessel = structure(changed(sample, *path, value=value), Vessel, "job")
    about, field = doubted
    assert {one.field for one in doubts_of(vessel)} == {field}
    view = view_of(attrs.evolve(sample, vessel=vessel), SAMPLE)
    step = next(one.step for one in host.calculators if one.key == calculator)
    found = [one.finding for one in host.assess(view, [step]) if one.calculator == calculator]
    mine = [one for one in found if about in one.about]
    assert mine
    assert all(one.verdict is not Verdict.PASS for one in mine)


ASKED: list[tuple[tuple[str | int, ...], str, str]] = [
    (("engines", 0, "propeller", "diameter"), "10.5 in", "port engine: a propeller of 10.5 in on 250 hp. Is it right?"),
    (("engines", 0, "propeller", "diameter"), "11 in", ""),
    (
        ("circuits", 0, "length"),
        "80 ft",
        "circuit Bilge pump forward: 80 ft of cable on a boat of 26.4 ft. Is it right?",
    ),
    (("circuits", 0, "length"), "79 ft", ""),  # 3 times 26.4 ft is 79.2 ft
    (("networks", 0, "backbone_length"), "50 m", "network main: 50 m of backbone on a boat of 26.4 ft. Is it right?"),
    (("networks", 0, "backbone_length"), "48 m", ""),  # 6 times 26.4 ft is 48.3 m
    (("transom_width",), "103 in", ""),
    (("engines", 0, "charging_current"), "202 A", ""),
    (("tanks", 0, "capacity"), "11 gal", ""),  # 16 minutes
    (("plate_power",), "1500 hp", ""),
]


def test_a_transom_wider_than_the_boat_allows_no_power(host: PluginHost, sample: JobFile) -> None:
    """The formula goes by length times transom width: 170 in, typed for 70 in, allowed more than twice as much."""
    plain = changed(sample, "transom_width", value="170 in")
    vessel = structure({**plain, "length": "19.5 ft", "plate_power": None}, Vessel, "job")
    weaker = tuple(attrs.evolve(one, rated_power=Amount("150", "hp")) for one in vessel.engines)
    vessel = attrs.evolve(vessel, engines=weaker)
    assert {one.field for one in doubts_of(vessel)} == {"transom_width", "beam"}
    view = view_of(attrs.evolve(sample, vessel=vessel), SAMPLE)
    step = next(one.step for one in host.calculators if one.key == "prop_check.capacity")
    found = [one.finding for one in host.assess(view, [step]) if one.finding.about == "maximum power by formula"]
    assert [(one.code, one.verdict) for one in found] == [("prop_check.capacity.within_formula", Verdict.ADVISE)]


@pytest.mark.parametrize(("path", "value", "told"), ASKED)
def test_what_a_sound_boat_may_have_is_asked_about_at_most(
    sample: JobFile, path: tuple[str | int, ...], value: str, told: str
) -> None:
    vessel = structure(changed(sample, *path, value=value), Vessel, "job")
    assert list(unusual_facts(vessel)) == ([told] if told else [])
    assert not list(doubts_of(vessel))


@pytest.mark.parametrize(
    ("kind", "hours", "asked"), [(NEW_BOAT, "5000 h", 1), (NEW_BOAT, "90 h", 0), ("repair", "5000 h", 0)]
)
def test_an_engine_that_ran_for_long_on_a_newly_rigged_boat_is_asked_about(
    host: PluginHost, kind: str, hours: str, asked: int
) -> None:
    engine: JsonValue = {"position": "centre", "hours": hours}
    vessel: JsonValue = {"hull_number": "ABC12345C393", "engines": [engine]}
    view = job_from({"vessel": vessel, "job": {"id": "J-1", "kind": kind}}, host)
    assert sum("and the boat is newly rigged" in one.text for one in questions(view, host)) == asked


def test_a_small_battery_that_starts_nothing_is_only_asked_about(sample: JobFile) -> None:
    vessel = structure(changed(sample, "batteries", 0, value={"name": "radio", "capacity": "9 Ah"}), Vessel, "job")
    (asked,) = unusual_facts(vessel)
    assert "outside the usual" in asked


def test_a_vessel_that_notes_its_reads_is_the_same_vessel(sample: JobFile) -> None:
    """Equal, of the same kind and written alike; a doubted fact is noted when it is read, another is not."""
    vessel = structure(changed(sample, "engines", 0, "limiter_speed", value="5800 rev/min"), Vessel, "job")
    view = watched(attrs.evolve(view_of(sample, SAMPLE), vessel=vessel))
    port = view.vessel.engines[0]
    assert port.rated_power == vessel.engines[0].rated_power
    assert not view.facts
    assert port.limiter_speed == vessel.engines[0].limiter_speed
    assert list(view.facts) == [("vessel", "engines.limiter_speed", "", "port")]
    assert view.vessel == vessel
    assert vessel == view.vessel
    assert unstructure(view.vessel) == unstructure(vessel)
    assert view.vessel.pieces["engines"]["port"] is port
