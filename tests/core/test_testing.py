"""What the author of a shop's own checks tests with: the same judging as the program's, as plain data."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from click.testing import CliRunner

import small_plugin
from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.exchange import import_job
from garboard.hosting.host import PluginHost
from garboard.job_files.job_file import read_job_file
from garboard.records import JsonValue
from garboard.testing import as_data, job_from, job_of, judge, judged, load, made_recording, open_folder
from histories import tablet

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_jobs" / "kittiwake" / "job.json"
LOG = "time,engine_speed#0 [rev/min]\n0,5800\n1,5810\n"


def of_horn(**values: JsonValue | bytes) -> dict[str, JsonValue | bytes]:
    return {f"small.horn/{field}": value for field, value in values.items()}


HEARD = of_horn(battery="12.6 V", heard=True)


@pytest.fixture
def host() -> PluginHost:
    return load(small_plugin.small_module(), built_in=False)


def test_a_job_from_a_dict_is_judged(host: PluginHost) -> None:
    (found,) = as_data(judge(job_from(job_of(HEARD), host), host, "small.horn"))
    assert (found["verdict"], found["about"]) == ("pass", "Horn")
    assert found["numbers"] == [
        {
            "name": "battery at rest",
            "value": 12.6,
            "unit": "V",
            "uncertainty": 0.05,
            "decimals": 2,
            "expanded_uncertainty": 0.05,
            "coverage_factor": None,
            "degrees_of_freedom": None,
        }
    ]
    assert json.loads(json.dumps(found)) == found


def test_every_fault_of_a_dict_is_told_as_of_a_file(host: PluginHost) -> None:
    with pytest.raises(InputError) as told:
        job_from(job_of(of_horn(battery="99 V", heard="yes")), host)
    assert [fault.where for fault in told.value.faults] == ["measurements[0].value", "measurements[1].value"]


def test_a_dicts_recordings_lie_in_the_folder_given(host: PluginHost, tmp_path: Path) -> None:
    recorded = job_of(of_horn(log={"file": "run.csv"}))
    with pytest.raises(InputError):
        job_from(recorded, host, tmp_path)
    (tmp_path / "run.csv").write_text(LOG)
    recording = job_from(recorded, host, tmp_path).recording("small.horn", "log")
    assert recording is not None
    assert sum(map(len, recording.streams.values())) == 2


def test_values_are_judged_in_one_line_with_vessel_and_settings(host: PluginHost) -> None:
    (found,) = judged("small.horn", HEARD, host)
    assert (found["verdict"], found["about"]) == ("pass", "Horn")
    twin: dict[str, JsonValue] = {"engines": [{"position": "port"}, {"position": "starboard"}]}
    each = {f"small.run/speed//{one}": "5800 rev/min" for one in ("port", "starboard")}
    assert [found["about"] for found in judged("small.run", each, host, vessel=twin)] == [
        "port engine",
        "starboard engine",
    ]
    assert job_of({}, settings={"small.way": "louder"})["settings"] == {"small.way": "louder"}


@pytest.mark.parametrize(
    ("values", "settings", "told"),
    [
        ({"small.hron/heard": True}, {}, "no plugin here knows the step 'small.hron'"),
        ({"small.horn/heard": True}, {"small.patienc": "2 min"}, "no plugin here knows this setting"),
        ({"small.horn/heard/1": True}, {}, "it does not stand in its row"),
        ({"small.run/speed//prot": "3000 rpm"}, {}, "no prot engine on this boat"),
    ],
)
def test_what_no_check_would_read_is_refused(
    host: PluginHost, values: dict[str, Any], settings: dict[str, Any], told: str
) -> None:
    with pytest.raises(InputError, match=told):
        judged("small.judge", values, host, settings=settings)


def test_a_recording_that_was_made_is_read_as_it_was_meant(host: PluginHost, tmp_path: Path) -> None:
    made = made_recording({"engine_speed#0": 5800.0, "roll": [1.0, 2.0, 3.0], "heading true": abs}, seconds=1, rate=2)
    whole = job_of(of_horn(log=made), folder=tmp_path)
    recording = job_from(whole, host, tmp_path).recording("small.horn", "log")
    assert recording is not None
    streams = {(key.quantity, key.instance, key.reference): [*one.values] for key, one in recording.streams.items()}
    assert streams == {
        ("engine_speed", "0", ""): [5800.0] * 3,
        ("roll", "", ""): [1.0, 2.0, 3.0],
        ("heading", "", "true"): [0.0, 0.5, 1.0],
    }
    assert {tuple(one.times) for one in recording.streams.values()} == {(0.0, 0.5, 1.0)}


def test_what_cannot_be_made_says_what_to_give(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="step/field/row/piece, got 'speed'"):
        job_of({"speed": "30 kn"})
    with pytest.raises(ValueError, match="give the folder"):
        job_of(of_horn(log=b"time\n"))
    with pytest.raises(ValueError, match="no quantity is called enigne_speed#0; there are heading"):
        made_recording({"enigne_speed#0": 1.0})
    with pytest.raises(ValueError, match="'roll' has 2 values for 3 lines"):
        made_recording({"roll": [1.0, 2.0]}, seconds=1, rate=2)


def test_a_job_file_is_judged_as_the_program_judges_it() -> None:
    printed = json.loads(CliRunner().invoke(program, ["assess", str(SAMPLE), "--json"]).stdout)
    found = as_data(judge(job_from(SAMPLE)))
    assert len(found) > 10
    assert found == printed["jobs"][0]["findings"]


def test_a_file_with_faults_is_refused_as_by_the_program() -> None:
    broken = sorted((ROOT / "sample_jobs" / "broken" / "jobs").glob("*.json"))
    refused = []
    for file in broken:
        try:
            job_from(file)
        except InputError as told:
            refused.append((file.name, told.faults))
    assert refused
    assert all(faults for _, faults in refused)


def test_a_folder_of_hull_files_gives_its_jobs_and_is_only_read(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        import_job(hulls, read_job_file(SAMPLE), SAMPLE.parent, tablet("a").author)
    before = {file: file.read_bytes() for file in tmp_path.rglob("*") if file.is_file()}
    with open_folder(tmp_path) as jobs:
        (one,) = jobs
        found = as_data(judge(one))
    assert {file: file.read_bytes() for file in tmp_path.rglob("*") if file.is_file()} == before
    assert [(one["calculator"], one["verdict"]) for one in found] == [
        (one["calculator"], one["verdict"]) for one in as_data(judge(job_from(SAMPLE)))
    ]


def test_a_plugin_that_does_not_load_stops_the_test_with_its_reason(tmp_path: Path) -> None:
    file = tmp_path / "my_checks.py"
    file.write_text("1/0")
    with pytest.raises(ValueError, match="plugin my_checks: ZeroDivisionError"):
        load(file)
    with pytest.raises(ValueError, match="plugin empty: it offers nothing"):
        load(ModuleType("empty"))


def test_it_loads_neither_a_window_nor_a_test_framework() -> None:
    code = "import garboard.testing, sys; garboard.testing.load(); print(*sys.modules)"
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.partition(".")[0] for name in ended.stdout.split()}
    assert "garboard_prop_check" in loaded
    assert loaded.isdisjoint({"kivy", "garboard_tablet", "pytest"})
