"""Units as people type them: taken in a job file, kept in the program's own spelling, never guessed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import small_plugin
from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError, ValueRefused
from garboard.fields import Field, Kind, check_value, typed_value
from garboard.history.boat import open_hull
from garboard.job_files.job_file import parse_job_file
from garboard.units import in_own_spelling, parse_amount


@pytest.mark.parametrize(
    ("typed", "quantity", "kept"),
    [
        ("5600 rpm", "engine speed", "5600 rev/min"),
        ("22.40 gph", "fuel flow", "22.40 gal/h"),
        ("22.4 GPH", "fuel flow", "22.4 gal/h"),
        ("3 kohm", "resistance", "3 kohm"),
        ("3 k\u03a9", "resistance", "3 kohm"),
        ("3 \u2126", "resistance", "3 ohm"),
        ("38 MPH", "speed", "38 mph"),
        ("12.60 v", "voltage", "12.60 V"),
        ("38 kn", "speed", "38 kn"),
        # Not of the quantity, not a unit, or a thousand million times something else: as typed, and refused.
        ("5600 rpm", "speed", "5600 rpm"),
        ("5 cups", "volume", "5 cups"),
        ("2 Mohm", "resistance", "2 Mohm"),
        ("2 MA", "current", "2 MA"),
        ("38", "speed", "38"),
        ("7 M", "length", "7 m"),
        ("60 NM", "distance", "60 nm"),
        ("60 M", "distance", "60 M"),  # nautical miles on a chart: 1852 times a metre
        # as stamped on a hub, or read off a rule
        ("14 1/2 in", "length", "14.5 in"),
        ("14-1/2 inch", "length", "14.5 in"),
        ('9 1/4"', "length", "9.25 in"),
        ("9\u00bc in", "length", "9.25 in"),
        ("-3/4 in", "length", "-0.75 in"),
        ("\u22121\u00bd in", "length", "-1.5 in"),
        ("1 1/64 in", "length", "1.015625 in"),
        ("1/2 ft", "length", "0.5 ft"),
        ("24' 6\"", "length", "24.5 ft"),
        ("24 ft 6 in", "length", "24.5 ft"),
        ("24 ft 7 1/2 in", "length", "24.625 ft"),
        ("5 feet 9 inches", "length", "5.75 ft"),
        ("24 ft 4 in", "length", "292 in"),  # 24.3333... ft
        # no length, no part of an inch, or two lengths: as typed, and refused
        ("14 1/2 kn", "speed", "14 1/2 kn"),
        ("14 3/2 in", "length", "14 3/2 in"),
        ("14 1/3 in", "length", "14 1/3 in"),
        ("14 1/2/4 in", "length", "14 1/2/4 in"),
        ("131/32 in", "length", "131/32 in"),
        ("14.5 1/2 in", "length", "14.5 1/2 in"),
        ("24 ft 13 in", "length", "24 ft 13 in"),
    ],
)
def test_a_unit_is_spelled_as_here_where_it_is_certain(typed: str, quantity: str, kept: str) -> None:
    assert in_own_spelling(typed, quantity) == kept


def job(speed: str, gear_ratio: str = "1.85", length: str = "24.5 feet") -> str:
    return json.dumps(
        {
            "format": "garboard job",
            "version": 1,
            "vessel": {
                "hull_number": "ABC12345C393",
                "length": length,
                "engines": [{"position": "port", "gear_ratio": gear_ratio}],
            },
            "job": {"id": "J-1"},
            "measurements": [{"step": "small.run", "field": "speed", "of": "port", "value": speed}],
        }
    )


def test_a_job_file_may_spell_units_as_people_do() -> None:
    read = parse_job_file(job("4800 rpm"), "job.json", small_plugin.small_host())
    assert read.measurements[0].value == "4800 rev/min"
    assert str(read.vessel.length) == "24.5 ft"


def test_a_unit_of_another_quantity_is_refused_as_it_was_typed() -> None:
    with pytest.raises(InputError) as caught:
        parse_job_file(job("4800 rpm", length="24.5 rpm"), "job.json", small_plugin.small_host())
    [fault] = caught.value.faults
    assert "'24.5 rpm'" in str(fault)


def test_faults_of_the_vessel_do_not_hide_those_of_the_measurements() -> None:
    with pytest.raises(InputError) as caught:
        parse_job_file(job("4800 kn", gear_ratio="x"), "job.json", small_plugin.small_host())
    assert [fault.where for fault in caught.value.faults] == [
        "vessel.engines[0].gear_ratio",
        "measurements[0].value",
    ]


def test_what_an_import_keeps_is_in_the_programs_own_spelling(tmp_path: Path) -> None:
    """A tablet with an older program reads it too."""
    file, folder = tmp_path / "job.json", tmp_path / "boats"
    value = {"step": "prop_check.full_throttle", "field": "engine_speed", "row": "1", "of": "port", "value": "5600 rpm"}
    file.write_text(json.dumps({**json.loads(job("x")), "measurements": [value]}), encoding="utf-8")
    program(["import", str(file), "--into", str(folder), "--by", "T. Ryggare", "--anyway"], standalone_mode=False)
    with HullFolder(folder) as hulls:
        [kept] = open_hull(hulls, "ABC12345C393").view("J-1").measurements
    assert kept.value == "5600 rev/min"


@pytest.mark.parametrize("digits", ["9" * 400, "9" * 5000, "1" + "0" * 15, "0." + "1" * 40, "-" + "9" * 16])
def test_a_run_of_digits_no_boat_has_is_refused_and_never_infinite(digits: str) -> None:
    with pytest.raises(ValueRefused, match="write fewer digits") as caught:
        parse_amount(f"{digits} kn", "speed")
    assert len(str(caught.value)) < 200
    field = Field(name="blades", title="Blades", kind=Kind.COUNT)
    with pytest.raises(ValueRefused):
        check_value(field, typed_value(field, "9" * 5000))


def test_the_most_digits_anybody_types_are_kept() -> None:
    assert str(parse_amount("38.200000000000000001 kn", "speed")) == "38.200000000000000001 kn"
    assert parse_amount("99999999999999 kg", "weight").to("kg") == 99999999999999
