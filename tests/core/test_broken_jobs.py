"""One deliberately broken job file for each known fault; each is refused for that fault and no other."""

from functools import lru_cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.demo.samples_folder import sample_jobs_folder
from garboard.faults import InputError
from garboard.hosting.host import PluginHost, make_host
from garboard.judging.assessing import assess_job_file

FOLDER = sample_jobs_folder() / "broken" / "jobs"

FAULTS = {
    "another_format": {"format": "expected \"garboard job\", got 'holiday photos'"},
    "amount_of_another_quantity": {"measurements[0].value": "a voltage in V or mV, such as '12.6 V', got '12.70 A'"},
    "battery_twice": {
        "vessel.batteries[1]": "expected each name once, got 'house' again, first in vessel.batteries[0]"
    },
    "beyond_hard_range": {"measurements[0].value": "expected between 0 and 70 V, got '1270 V'"},
    "comma_for_point": {"vessel.length": "such as '24.5 ft', got '21,5 ft': use a point, not a comma"},
    # Its 26th and last line, `  "id": "broken-2`, opens a text at column 9 and ends within it.
    "cut_short": {"column 9": "line 26, column 9: expected closing quotes: the text that starts here never ends"},
    "empty_hull_number": {"vessel.hull_number": "expected the hull number on the transom, got nothing"},
    "key_twice": {"vessel.name": "expected each key once in its object, got it again, first in line 6"},
    "list_for_an_object": {"settings": "expected an object, got []"},
    "measurement_twice": {"measurements[2]": "expected one value for each step, field, row and of"},
    "nested_without_end": {"file": "expected at most a few levels of nesting"},
    "newer_version": {"version": "expected 1 at most; update this program, the file was left alone, got 2"},
    "no_hull_number": {"vessel.hull_number": "expected a value, got nothing (the key is missing)"},
    "no_job_id": {"job.id": "expected a value, got nothing (the key is missing)"},
    "no_version": {"version": "expected a whole number, 1 at most, got nothing (the key is missing)"},
    "not_a_number": {"measurements[0].value": "expected a number; leave the key out when it is unknown, got NaN"},
    "not_utf8": {"file": "expected UTF-8 text, got other bytes: save the file as UTF-8"},
    "number_without_unit": {"measurements[0].value": 'text with number and unit, such as "12.7 V", got 12.7'},
    "object_for_a_list": {"vessel.engines": 'expected a list, got {"position": "centre"}'},
    "recording_elsewhere": {"measurements[2].value.file": "turn.nmea0183.log, which lies elsewhere"},
    "recording_not_there": {"measurements[2].value.file": "got lost_at_sea.log, which is not there"},
    "setting_of_another_quantity": {"settings.fuel_curve.diesel_density": "got '7.2 kn'"},
    "several_faults": {
        "vessel.length": "expected a number with its unit, such as '24.5 ft', got 'long'",
        "vessel.engines[0].rated_power": "expected a power in hp, kW or W",
        "steps[0].state": "expected one of to do, under way, done, look again, not fitted, got 'finished'",
        "measurements[1].field": "expected a value, got nothing (the key is missing)",
    },
    "unit_of_another_quantity": {"vessel.length": "expected a length in ft, in, m, cm or mm, such as '24.5 ft'"},
    "unknown_choice": {"vessel.batteries[0].chemistry": "expected one of flooded, AGM, gel, LiFePO4"},
    "unknown_field": {"measurements[0].field": "expected a field of step wiring_audit.batteries: rest_voltage"},
    "unknown_role": {"sign_offs[0].role": "expected one of technician, manager, owner, got 'cook'"},
    "unknown_step_state": {"steps[0].state": "expected one of to do, under way, done, look again, not fitted"},
    "unknown_unit": {
        "vessel.length": "in ft, in, m, cm or mm, such as '24.5 ft', got '12 furlong': unit 'furlong' is not known"
    },
    "words_for_a_count": {"vessel.engines[0].propeller.blades": "expected a whole number, got 'three'"},
    "words_for_yes_or_no": {"measurements[1].value": "expected true or false, got 'yes'"},
}


LINES = {
    # Counted in the files with a text editor; a missing key has the line of the object it is missing in.
    "amount_of_another_quantity": {"measurements[0].value": 40},
    "battery_twice": {"vessel.batteries[1]": 23},
    "key_twice": {"vessel.name": 7},
    "measurement_twice": {"measurements[2]": 48},
    "newer_version": {"version": 3},
    "no_hull_number": {"vessel.hull_number": 4},
    "not_utf8": {"file": 6},
    "setting_of_another_quantity": {"settings.fuel_curve.diesel_density": 50},
    "another_format": {"format": 2},
}


@lru_cache(maxsize=1)
def host() -> PluginHost:
    return make_host(entry_points=False)


def test_every_broken_file_is_known_and_every_known_fault_has_its_file() -> None:
    assert {path.stem for path in FOLDER.glob("*.json")} == set(FAULTS)


@pytest.mark.parametrize("name", FAULTS)
def test_the_file_is_refused_for_its_fault_and_no_other(name: str) -> None:
    path = FOLDER / f"{name}.json"
    before = path.read_bytes()
    with pytest.raises(InputError) as caught:
        assess_job_file(path, host())
    found = {fault.where: str(fault) for fault in caught.value.faults}
    assert set(found) == set(FAULTS[name])
    for where, said in FAULTS[name].items():
        assert said in found[where]
    assert caught.value.source == str(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", LINES)
def test_the_fault_has_its_line_in_the_file(name: str) -> None:
    with pytest.raises(InputError) as caught:
        assess_job_file(FOLDER / f"{name}.json", host())
    assert {fault.where: fault.line for fault in caught.value.faults} == LINES[name]


def test_a_fault_of_a_measurement_says_which_one_in_the_files_own_words() -> None:
    with pytest.raises(InputError) as caught:
        assess_job_file(FOLDER / "amount_of_another_quantity.json", host())
    (fault,) = caught.value.faults
    assert fault.about == "wiring_audit.batteries, rest_voltage, house"


def test_the_command_tells_all_of_them_and_ends_with_2() -> None:
    result = CliRunner().invoke(program, ["assess", str(FOLDER)])
    assert result.exit_code == 2
    for name in FAULTS:
        assert f"{Path(name + '.json')}: " in result.stderr
    assert "Traceback" not in result.stderr
