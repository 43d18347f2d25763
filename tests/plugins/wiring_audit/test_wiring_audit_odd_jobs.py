"""Odd jobs: whatever is missing, zero, negative, huge or in dispute, no calculator crashes."""

from typing import Any

import attrs
import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, given, settings

from examples import examples
from garboard.findings import Verdict
from garboard.job_view import JobView
from garboard.records import Battery, Circuit, Engine, JsonValue, NetworkBus, NetworkDevice
from garboard.units import UNITS_OF, Amount
from wiring_boats import HOST, READ_ON, Readings, battery, circuit, network, said, wired_job

ODD_NUMBERS = st.sampled_from(["0", "-3", "0.0000001", "1", "12", "105", "221", "9" * 30, "9" * 400, "-" + "9" * 400])


def amounts(quantity: str) -> st.SearchStrategy[Amount | None]:
    return st.none() | st.builds(Amount, ODD_NUMBERS, st.sampled_from(UNITS_OF[quantity]))


def odd(kind: type[Any], **fixed: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """A record with odd values in every field."""
    choices: dict[str, st.SearchStrategy[Any]] = {}
    for field in attrs.fields(kind):
        if "quantity" in field.metadata:
            choices[field.name] = amounts(field.metadata["quantity"])
        elif "choices" in field.metadata:
            choices[field.name] = st.sampled_from(["", *field.metadata["choices"]])
        elif field.type == "bool | None":
            choices[field.name] = st.sampled_from([None, True, False])
        elif field.type == "int | None":
            choices[field.name] = st.sampled_from([None, 0, -5, 3, 10**30])
    return st.builds(kind, **{**choices, **fixed})


CIRCUITS = odd(
    Circuit,
    name=st.just("Horn"),
    conductor_awg=st.sampled_from(["", "16", "2/0", "0000", "40", "x", "-1", "5/0"]),
    battery=st.sampled_from(["", "house", "gone"]),
)
BATTERIES = odd(type(battery()), name=st.just("house"))
NETWORKS = odd(
    type(network()),
    name=st.just("bridge"),
    devices=st.lists(odd(NetworkDevice, name=st.just("sounder")), max_size=3).map(tuple),
)
ENGINES = odd(Engine, position=st.just("centre"), propeller=st.none())
VALUES: st.SearchStrategy[JsonValue] = st.sampled_from(
    [
        None,
        True,
        False,
        "",
        "nonsense",
        7,
        "0 V",
        "-3 A",
        "12 V",
        "12 kn",
        "60 ohm",
        "5 h",
        "9" * 400 + " V",
        {"file": "x"},
    ]
)
READINGS = st.fixed_dictionaries(
    {
        (step, field, of): VALUES
        for step, of in (
            ("circuits", "Horn"),
            ("batteries", "house"),
            ("standing_current", "house"),
            ("loads", "house"),
            ("networks", "bridge"),
        )
        for field in READ_ON[step]
    }
)


def assert_speaks(view: JobView) -> None:
    """Every calculator answers, none by failing, and the owner's page can be built."""
    assessed = HOST.assess(view)
    assert assessed
    assert not [each.finding.sentence for each in assessed if "failed in" in each.finding.sentence]
    assert all(len(each.finding.sentence) < 2000 for each in assessed)
    for section in HOST.report_sections:
        section.build(view, assessed)


@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(CIRCUITS, BATTERIES, NETWORKS, ENGINES, READINGS)
def test_odd_equipment_and_readings_never_crash(
    horn: Circuit, house: Battery, bridge: NetworkBus, engine: Engine, readings: Readings
) -> None:
    """Everything odd at once."""
    assert_speaks(wired_job([horn, circuit()], [house], [bridge], engines=[engine], read=readings))


@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(CIRCUITS, BATTERIES, NETWORKS, st.data())
def test_one_odd_piece_among_sound_ones_never_crashes(
    horn: Circuit, house: Battery, bridge: NetworkBus, data: st.DataObject
) -> None:
    """Sound equipment, one odd piece and one odd reading, so that calculations get further before they stop."""
    which = data.draw(st.sampled_from(["circuit", "battery", "network"]))
    readings = data.draw(READINGS)
    key = data.draw(st.sampled_from(sorted(readings)))
    assert_speaks(
        wired_job(
            [horn if which == "circuit" else circuit("Horn")],
            [house if which == "battery" else battery()],
            [bridge if which == "network" else network()],
            read={key: readings[key]},
        )
    )


@settings(max_examples=examples(30), deadline=None)
@given(st.sets(st.sampled_from([(step, field) for step, fields in READ_ON.items() for field in fields])))
def test_disagreements_never_crash_and_are_said(fields: set[tuple[str, str]]) -> None:
    """Readings in dispute are used nowhere."""
    of = {"circuits": "Bilge pump", "networks": "bridge"}
    places = [(f"wiring_audit.{step}", field, "", of.get(step, "house")) for step, field in fields]
    view = wired_job(disagreements=places)
    assert_speaks(view)
    verdicts = {each.finding.verdict for each in HOST.assess(view)}
    assert (Verdict.NOT_ENOUGH_DATA in verdicts) == bool(set(fields) - {("networks", "spare_drops")})


@pytest.mark.parametrize(
    ("step", "field", "of", "calculator"),
    [
        ("circuits", "current", "Bilge pump", "ampacity"),
        ("circuits", "current", "Bilge pump", "drop_measured"),
        ("circuits", "supported", "Bilge pump", "terminations"),
        ("circuits", "source_voltage", "Bilge pump", "drop_measured"),
        ("batteries", "fuse_distance", "house", "battery_installation"),
        ("batteries", "temperature", "house", "battery_charge"),
        ("loads", "load_current", "house", "battery_reserve"),
    ],
)
def test_an_optional_reading_in_dispute_is_not_taken_as_absent(step: str, field: str, of: str, calculator: str) -> None:
    """Where values disagree nothing passes as if none had been read."""
    (finding,) = said(wired_job(disagreements=[(f"wiring_audit.{step}", field, "", of)]), calculator)
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "values disagree, choose one" in finding.sentence


def test_a_bank_of_hundreds_of_digits_of_volts_that_reads_low_is_no_fault_of_the_plugin() -> None:
    """Random jobs met it once in a thousand."""
    house = Battery(name="house", nominal_voltage=Amount("9" * 400, "V"))
    assert_speaks(wired_job([circuit()], [house], [], read={("batteries", "rest_voltage", "house"): "0 V"}))
