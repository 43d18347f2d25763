"""The command line: what it prints, and how it ends."""

import gzip
import importlib.metadata
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

import small_plugin
from garboard.commands.cli import COMMANDS, program
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure
from garboard.history.replay import HullState
from garboard.hosting.apart import Apart
from garboard.hosting.host import BUILT_IN
from garboard.hosting.sources import installed_plugins
from garboard.recordings import load_recording, watching
from garboard.report.terminal import Tools
from histories import HULL, JOB, tablet

SAMPLES = Path(__file__).parents[2] / "sample_jobs"
BROKEN = SAMPLES / "broken" / "recordings"
PLUGIN = Path(small_plugin.__file__)
BUILT_IN_OFF = [word for name in BUILT_IN for word in ("--without", name)]


@pytest.fixture(scope="module")
def apart() -> Iterator[Apart]:
    """The small plugin's own process, started once for this file."""
    one = Apart()
    yield one
    one.close()


@pytest.fixture(autouse=True)
def one_process(apart: Apart, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("garboard.hosting.apart.Apart", lambda: apart)


def run(*arguments: object, **extra: Any) -> Result:
    """Run in this process, with the small plugin alone."""
    return CliRunner().invoke(program, [*BUILT_IN_OFF, "--plugin", str(PLUGIN), *map(str, arguments)], **extra)


def run_apart(*arguments: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run as a person would, in a process of its own."""
    command = [sys.executable, "-m", "garboard", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", cwd=cwd, check=False)


def job_with(folder: Path, name: str = "job.json", **changes: object) -> Path:
    """The small job as a file, with top-level keys changed."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps({**json.loads(small_plugin.JOB), **changes}), encoding="utf-8")
    return path


def measured(**values: object) -> list[dict[str, object]]:
    """Measurements of the horn step."""
    return [{"step": "small.horn", "field": field, "value": value} for field, value in values.items()]


@pytest.fixture
def passing(tmp_path: Path) -> Path:
    return job_with(tmp_path, measurements=measured(heard=True, battery="12.65 V"))


def test_nothing_fails_ends_with_0_though_data_is_missing(passing: Path) -> None:
    result = run("assess", passing)
    assert result.exit_code == 0, result.output
    assert "✔ pass" in result.output
    assert "○ not enough data" in result.output


def test_a_failure_ends_with_1(tmp_path: Path) -> None:
    result = run("assess", job_with(tmp_path))
    assert result.exit_code == 1
    assert "■ fail" in result.output


def test_a_faulty_file_ends_with_2_and_lists_every_fault_with_its_place(tmp_path: Path) -> None:
    file = job_with(tmp_path, measurements=measured(heard="loud", battery="12.65 kn"))
    result = run("assess", file)
    assert result.exit_code == 2
    assert f"{file}: 2 faults" in result.stderr
    assert "line 1, measurements[0].value (small.horn, heard): expected true or false, got 'loud'" in result.stderr
    assert "measurements[1].value (small.horn, battery): expected a voltage in V or mV" in result.stderr


def test_a_value_outside_its_hard_range_is_bad_input(tmp_path: Path) -> None:
    result = run("assess", job_with(tmp_path, measurements=measured(battery="126.5 V")))
    assert result.exit_code == 2
    assert "measurements[0].value (small.horn, battery): expected between 0 and 60 V, got '126.5 V'" in result.stderr


def test_an_unusual_value_is_a_question_and_no_fault(tmp_path: Path) -> None:
    result = run("assess", job_with(tmp_path, measurements=measured(heard=True, battery="11.2 V")))
    assert result.exit_code == 0
    assert "Sound the horn: Battery at rest: 11.2 V is outside the usual 12 to 13.2 V. Is it right?" in result.output


def test_a_hull_number_that_is_not_well_formed_is_a_question(tmp_path: Path) -> None:
    vessel = {"hull_number": "ABC1I345C393"}
    result = run("assess", job_with(tmp_path, vessel=vessel, measurements=measured(heard=True)))
    assert result.exit_code == 0
    assert "Hull number ABC1I345C393: position 5: expected a letter or numeral of the serial" in result.output


def test_a_measurement_of_a_piece_the_vessel_has_not_is_a_question(tmp_path: Path) -> None:
    run_measured = [{"step": "small.run", "field": "speed", "of": "prot", "value": "5500 rev/min"}]
    result = run("assess", job_with(tmp_path, measurements=[*measured(heard=True, battery="12.6 V"), *run_measured]))
    assert result.exit_code == 0
    said = " ".join(result.output.split())
    assert "prot: Engines aboard: port, starboard. 'prot' is not used. Is it right?" in said


def test_a_measurement_of_a_piece_where_none_is_asked_for_is_a_question(tmp_path: Path) -> None:
    of_port = [{**measured(heard=True)[0], "of": "port"}]
    result = run("assess", job_with(tmp_path, measurements=of_port))
    assert "It is asked once. 'port' is not used" in " ".join(result.output.split())


def test_settings_are_checked_against_what_plugins_declare(tmp_path: Path) -> None:
    result = run("assess", job_with(tmp_path, settings={"small.patience": "10 kn"}))
    assert result.exit_code == 2
    assert "settings.small.patience" in result.stderr


def test_full_shows_the_numbers_of_what_passes(passing: Path) -> None:
    short, full = run("assess", passing), run("assess", passing, "--full")
    assert short.exit_code == full.exit_code == 0
    assert "battery at rest 12.65 ± 0.05 V" not in short.output
    assert "battery at rest 12.65 ± 0.05 V" in full.output


def test_the_other_files_of_a_folder_are_assessed_all_the_same(tmp_path: Path) -> None:
    job_with(tmp_path, "a/job.json", measurements=measured(heard=True, battery="12.65 V"))
    (tmp_path / "b.json").write_text("{", encoding="utf-8")
    job_with(tmp_path, "c/job.json")
    result = run("assess", tmp_path)
    assert result.exit_code == 2
    assert result.output.count("hull number ABC12345C393") == 2
    assert "b.json: 1 fault" in result.stderr


def test_findings_written_by_the_program_are_not_taken_for_a_job(tmp_path: Path, passing: Path) -> None:
    (tmp_path / "findings.json").write_text(run("assess", passing, "--json").stdout, encoding="utf-8")
    assert run("assess", tmp_path).exit_code == 0


def test_an_empty_folder_is_bad_input(tmp_path: Path) -> None:
    result = run("assess", tmp_path)
    assert result.exit_code == 2
    assert "at least one job file" in result.output


def test_a_missing_file_is_bad_input_without_a_traceback(tmp_path: Path) -> None:
    ended = run_apart("assess", tmp_path / "nowhere.json")
    assert ended.returncode == 2
    assert "nowhere.json: 1 fault" in ended.stderr
    assert "Traceback" not in ended.stderr


def test_exit_codes_reach_the_shell(tmp_path: Path, passing: Path) -> None:
    options = [*BUILT_IN_OFF, "--plugin", PLUGIN]
    assert run_apart(*options, "assess", passing).returncode == 0
    assert run_apart(*options, "assess", job_with(tmp_path, "failing.json")).returncode == 1
    (tmp_path / "bad.json").write_text("[]", encoding="utf-8")
    assert run_apart(*options, "assess", tmp_path / "bad.json").returncode == 2


def test_json_keys_and_their_order_are_as_documented(tmp_path: Path) -> None:
    plain = json.loads(run("assess", job_with(tmp_path), "--json").stdout)
    assert list(plain) == ["format", "version", "program", "plugins", "broken_plugins", "jobs"]
    assert (plain["format"], plain["version"]) == ("garboard findings", 1)
    job = plain["jobs"][0]
    assert list(job) == [
        *("source", "faults", "hull_number", "vessel", "job", "set_aside", "questions", "counts", "findings"),
        *("punch_list", "trials"),
    ]
    assert list(job["findings"][0]) == [
        *("phase", "step", "calculator", "title", "plugin", "plugin_version", "code", "verdict", "about", "sentence"),
        *("numbers", "basis", "tables", "figures", "forecasts", "missing", "places", "limits", "doubts", "doubted"),
        *("settings_used", "shortened"),
    ]
    assert job["counts"] == {"pass": 1, "advise": 1, "fail": 1, "not enough data": 0}
    horn = next(finding for finding in job["findings"] if finding["about"] == "Horn")
    assert horn["verdict"] == "fail"
    assert horn["numbers"] == [
        {
            "name": "battery at rest",
            "value": 12.65,
            "unit": "V",
            "uncertainty": 0.05,
            "decimals": 2,
            "expanded_uncertainty": 0.05,
            "coverage_factor": None,
            "degrees_of_freedom": None,
        }
    ]
    assert horn["basis"] == [
        {"kind": "common practice, no source", "text": "An invented rule of the test shop", "note": ""}
    ]
    assert [item["why"] for item in job["punch_list"]] == ["fails", "look again", "noted"]


def test_json_of_a_faulty_file_has_the_same_keys_and_its_faults(tmp_path: Path) -> None:
    good = json.loads(run("assess", job_with(tmp_path), "--json").stdout)["jobs"][0]
    faulty = run("assess", job_with(tmp_path, measurements=measured(heard="loud")), "--json")
    bad = json.loads(faulty.stdout)["jobs"][0]
    assert list(bad) == list(good)
    (fault,) = bad["faults"]
    assert [*fault] == ["where", "expected", "got", "line", "about", "cure"]
    assert fault["where"] == "measurements[0].value"
    assert fault["about"] == "small.horn, heard"


def test_a_broken_plugin_is_told_so_that_its_silence_is_not_taken_for_a_pass(tmp_path: Path, passing: Path) -> None:
    broken = tmp_path / "broken_one.py"
    broken.write_text("import no_such_module_anywhere", encoding="utf-8")
    result = run("--plugin", broken, "assess", passing)
    assert result.exit_code == 0
    assert "Plugin broken_one is not at work, its checks did not run: ModuleNotFoundError" in result.stderr


def test_plugins_lists_what_each_offers_and_ends_with_0() -> None:
    result = run("plugins")
    assert result.exit_code == 0
    assert "2 steps" in result.output
    assert "steps: small.horn, small.run" in result.output
    assert "setting small.patience: 10 s, between 0 and 60 s" in result.output
    assert "10 s of the processor" in result.output
    built_in = [CliRunner().invoke(program, ["plugins", *full]).output for full in ((), ("--full",))]
    assert ["prop_check.full_throttle" in text for text in built_in] == [False, True]
    assert "Commands of plugins: whistle" in result.output


def test_plugins_lists_broken_ones_with_the_reason_and_ends_with_1(tmp_path: Path) -> None:
    broken = tmp_path / "broken_one.py"
    broken.write_text("import no_such_module_anywhere", encoding="utf-8")
    result = run("--plugin", broken, "plugins", "--json")
    assert result.exit_code == 1
    plain = json.loads(result.stdout)
    assert [problem["name"] for problem in plain["broken_plugins"]] == ["broken_one"]
    assert "no_such_module_anywhere" in plain["broken_plugins"][0]["reason"]
    (fault,) = plain["faults"]
    assert {**fault, "reason": "", "cure": ""} == {
        "plugin": "broken_one",
        "name": "broken_one",
        "at_work": False,
        "reason": "",
        "code": "no_module",
        "file": str(broken),
        "line": 1,
        "cure": "",
    }
    assert fault["cure"]
    assert plain["limits"]["processor"] == 10
    assert [one["allowed"] for one in plain["plugins"][0]["settings_offered"]] == ["between 0 and 60 s"]
    assert plain["plugins"][0]["calculators"] == ["small.horn", "small.run"]


def test_a_name_that_is_no_plugin_cannot_be_left_out() -> None:
    result = CliRunner().invoke(program, ["--without", "prop_chekc", "plugins"])
    assert result.exit_code == 2
    assert "--without: expected one of" in result.stderr


def test_a_plugin_command_runs_and_is_listed_in_the_help() -> None:
    assert run("whistle").output == "wheet\n"
    assert "whistle" in run("--help").output


def test_a_plugin_cannot_take_the_name_of_one_of_the_programs_commands(tmp_path: Path) -> None:
    plugin = tmp_path / "taker.py"
    plugin.write_text(
        "from garboard import hookimpl\n"
        "@hookimpl\n"
        "def register_commands(register):\n"
        "    import click\n"
        "    register(click.Command('assess'))\n",
        encoding="utf-8",
    )
    result = run("--plugin", plugin, "plugins")
    assert result.exit_code == 1
    assert "'assess' is offered by both the program and taker" in result.output


def test_hull_explains_well_formed_numbers() -> None:
    result = run("hull", "abc12345c393")
    assert result.exit_code == 0
    assert "ABC12345C393: well formed" in result.output
    assert "March of a year ending 3, model year 1993" in result.output


def test_hull_says_why_a_number_is_not_well_formed_and_still_reads_the_others() -> None:
    result = run("hull", "ABC1I345C393", "ABC12345C393")
    assert result.exit_code == 2
    assert "position 5" in result.stderr
    assert "perhaps ABC11345C393: compare it with the transom" in result.stderr
    assert "ABC12345C393: well formed" in result.stdout


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Ten headings a second apart, the sixth line damaged."""
    lines = [f"{second},{90 + second * 0.1:.1f}" for second in range(10)]
    lines[5] = "5,north"
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time,heading magnetic [deg]", *lines]) + "\n", encoding="utf-8")
    return path


def test_recording_says_what_is_in_a_log(log: Path) -> None:
    result = run("recording", log)
    assert result.exit_code == 0, result.output
    assert "heading" in result.output
    assert "damaged" in result.output
    plain = json.loads(run("recording", log, "--json").stdout)
    (stream,) = plain["streams"]
    assert (stream["quantity"], stream["unit"], stream["count"]) == ("heading", "deg", 9)
    assert plain["notes"]["damaged_count"] == 1
    assert plain["judged"] == []


def test_who_watches_a_terminal_sees_that_a_recording_is_being_read_and_json_stays_alone(log: Path) -> None:
    watched = run("recording", log, "--json", env={"FORCE_COLOR": "1", "TERM": "xterm"})
    assert "Reading log.csv" in watched.stderr
    assert json.loads(watched.stdout)["name"] == "log.csv"
    assert run("recording", log, "--json", env={"FORCE_COLOR": None}).stderr == ""


def test_who_watches_sees_how_far_a_large_recording_is_read(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As if a second went by between two pieces of it. What is plain and what is packed are told alike."""
    monkeypatch.setattr("garboard.commands.tools.time", SimpleNamespace(monotonic=count(step=2).__next__))
    packed = log.with_name("packed.gz")
    packed.write_bytes(gzip.compress(log.read_bytes()))
    for path in (log, packed):
        watched = run("recording", path, "--json", env={"FORCE_COLOR": "1", "TERM": "xterm"})
        assert f"Reading {path.name}: 100%, 11 lines" in re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", watched.stderr)
        assert json.loads(watched.stdout)["name"] == path.name
        assert run("recording", path, "--json", env={"FORCE_COLOR": None}).stderr == ""


def test_a_recording_that_a_check_asks_for_is_told_too_and_a_quick_one_shows_nothing(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[tuple[str, float, int]] = []
    with watching(lambda name, share, lines: told.append((name, share, lines))):
        load_recording(log)
    load_recording(log)
    assert told == [("log.csv", 1.0, 11)]
    terminal = {"FORCE_COLOR": "1", "TERM": "xterm"}
    assert "Reading" not in run("assess", job_with(log.parent), "--json", env=terminal).stderr


def test_recording_offers_the_judges_of_plugins_and_fails_when_they_do(log: Path, tmp_path: Path) -> None:
    assert "--steady" in run("recording", "--help").output
    steady = run("recording", log, "--steady")
    assert (steady.exit_code, "Held steady." in steady.output) == (0, True)
    log.write_text(log.read_text(encoding="utf-8").replace("9,90.9", "9,120.0"), encoding="utf-8")
    moved = run("recording", log, "--steady", "--json")
    assert moved.exit_code == 1
    assert json.loads(moved.stdout)["judged"][0]["findings"][0]["verdict"] == "fail"


def test_a_judge_without_its_data_says_so_and_does_not_fail(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("time,rate_of_turn [deg/s]\n0,1\n1,1\n", encoding="utf-8")
    result = run("recording", log, "--steady")
    assert result.exit_code == 0
    assert "not enough data Steady heading: No heading in the recording." in result.output


def test_a_file_that_is_no_recording_is_bad_input(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear owner,\n", encoding="utf-8")
    ended = run_apart("recording", path)
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr
    assert str(path) in ended.stderr


def test_book_writes_a_pdf(tmp_path: Path, passing: Path) -> None:
    out = tmp_path / "its folder" / "book.pdf"
    out.parent.mkdir()
    result = run("book", passing, "-o", out)
    assert result.exit_code == 0, result.output
    assert out.read_bytes().startswith(b"%PDF-")


def test_book_of_a_faulty_job_writes_nothing(tmp_path: Path) -> None:
    out = tmp_path / "book.pdf"
    assert run("book", job_with(tmp_path, measurements=measured(heard="loud")), "-o", out).exit_code == 2
    assert not out.exists()


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path, passing: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    result = run("book", passing, "-o", tmp_path / "file" / "book.pdf")
    assert result.exit_code == 2
    assert "an existing folder; make it first" in result.stderr


def test_a_book_is_a_pdf_in_a_folder_that_is_there(tmp_path: Path, passing: Path) -> None:
    result = run("book", passing, "-o", tmp_path / "new" / "book.doc")
    assert result.exit_code == 2
    assert "expected a name that ends in .pdf, such as book.pdf, got book.doc" in result.stderr
    assert "make it first" in result.stderr
    assert not (tmp_path / "new").exists()


def test_the_papers_name_is_read_in_small_letters_too(tmp_path: Path, passing: Path) -> None:
    assert run("book", passing, "-o", tmp_path / "book.pdf", "--paper", "a4").exit_code == 0


def test_what_the_system_refuses_is_told_without_its_number(tmp_path: Path, passing: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    refused = run("import", passing, "--into", tmp_path / "file" / "shop", "--by", "M. Office")
    assert refused.exit_code == 2
    assert "[Errno" not in refused.stderr
    assert str(tmp_path / "file") in refused.stderr


def test_a_recording_of_which_nothing_can_be_used_ends_with_2() -> None:
    result = run("recording", BROKEN / "no_values.log")
    assert result.exit_code == 2
    assert "No value in this recording can be used." in result.output


def test_a_recording_without_times_shows_no_rate() -> None:
    result = run("recording", BROKEN / "no_time.log")
    assert result.exit_code == 0
    assert "not known" in result.output
    assert "The log has no times" in result.output


def test_a_damaged_line_is_told_once() -> None:
    result = run("recording", BROKEN / "bad_cells.csv")
    assert result.exit_code == 0
    for line in (3, 4, 5, 6):
        assert result.output.count(f"line {line}:") == 1


def test_one_is_not_spoken_of_as_many() -> None:
    said = run("recording", BROKEN / "cut_short.log.gz").output
    assert "1 sentence carries no checksum; it was used as it stands." in said
    assert "The recording is damaged: the compressed file ends too early; what came before is used." in said


def commands_of(group: click.Group, context: click.Context, path: str = "") -> Iterator[tuple[str, click.Command]]:
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield f"{path} {name}".strip(), command
        if isinstance(command, click.Group):
            yield from commands_of(command, context, f"{path} {name}")


def test_every_option_of_every_command_says_what_it_is_for() -> None:
    context = click.Context(program)
    silent = [
        f"{name} {option.opts[0]}"
        for name, command in commands_of(program, context)
        for option in command.params
        if isinstance(option, click.Option) and not option.help
    ]
    assert silent == []


def test_every_command_calls_how_it_ends_its_exit_status() -> None:
    helps = {name: command.help or "" for name, command in commands_of(program, click.Context(program))}
    assert [name for name, said in helps.items() if "exit code" in said.lower()] == []


def test_demo_merges_three_tablets_prints_accounts_and_writes_books_and_findings(tmp_path: Path) -> None:
    result = run("demo", "--all", "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "both sides counted" in result.output
    for hull in ("QQZ04417D626", "QQZ08832B626", "QQZ01209A626"):
        assert f"hull number {hull}" in result.output
    for evening in ("decided: QQZ04417D626", "signed again: QQZ08832B626: technician N. Sorrel"):
        assert evening in result.output
    last = result.output[result.output.index("Wrote 3 handover books") - 400 :]
    for name in ("Saltgrass (", "Kittiwake (", "Long Reach ("):
        assert name in last
    assert f"garboard shop --folder {tmp_path / 'out' / 'shop'}" in last
    assert sorted(file.name for file in (tmp_path / "out").iterdir()) == [
        "findings.json",
        "kittiwake-2026-05-handover-book.pdf",
        "long-reach-2026-05-handover-book.pdf",
        "saltgrass-2026-05-handover-book.pdf",
        "shop",
        "tablets",
    ]
    assert len(json.loads((tmp_path / "out" / "findings.json").read_text(encoding="utf-8"))["jobs"]) == 3


def test_demo_prints_a_line_a_boat_ends_with_a_finished_one_and_names_its_book(tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = run("demo", "--out", out)
    assert result.exit_code == 0, result.output
    boats, next_things = (part.splitlines() for part in result.output.split("\n\n"))
    assert [line.split(" (")[0] for line in boats] == ["Long Reach", "Saltgrass", "Kittiwake"]
    assert [", handed over, 2 not judged" in line for line in boats] == [False, False, True], (
        "two checks here are not judged, and it says so"
    )
    assert f"open the file {out / 'kittiwake-2026-05-handover-book.pdf'}" in next_things[1]
    assert "garboard demo --all" in result.output
    assert len(result.output.splitlines()) < 12
    title = PdfReader(out / "kittiwake-2026-05-handover-book.pdf").metadata
    assert title is not None
    assert title.title == "Handover book of Kittiwake, draft"  # values wait for the check that is not judged here


HEAVY = frozenset({"matplotlib", "fpdf", "numpy", "pint", "kivy", "starlette"})
NOT_OF_A_JOB_FILE = frozenset({
    "garboard.disk.storage", "garboard.disk.attachments", "secrets",  # what keeps data
    "garboard.hosting.apart", "subprocess", "logging", "importlib.metadata", "email",  # plugins from elsewhere
    "tinydb",  # documents of a folder
    "garboard.history.replay", "garboard.history.boat", "garboard.disk.hullfile",  # hull files
    "garboard.report.json_out",  # what other programs read
    "garboard.recordings.nmea0183", "garboard.recordings.deltas", "garboard.recordings.csv_series",  # other forms
    "garboard.hosting.explaining",
})  # fmt: skip


def modules_after(*words: str) -> set[str]:
    """Modules a fresh process has after a command."""
    code = f"from garboard.commands.cli import program\nimport sys\nprogram({[*words]}, standalone_mode=False)\n"
    command = [sys.executable, "-c", f"{code}print(*sys.modules)"]
    return {*subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()[-1].split()}


@pytest.fixture(scope="module")
def loaded() -> tuple[set[str], set[str]]:
    """Modules a fresh process has after the help, and another after it assessed a sample job."""
    return modules_after("--help"), modules_after("assess", str(SAMPLES / "long_reach" / "job.json"))


def test_a_digest_loads_no_history_and_nothing_that_judges(tmp_path: Path) -> None:
    (tmp_path / "hulls").mkdir()
    of_digest = modules_after("digest", str(tmp_path))
    assert "garboard.disk.hullfile" in of_digest
    others = {"tinydb", "cattrs", "rich", "socket", "garboard.records", "garboard.findings", "garboard.hosting.host"}
    assert not others & of_digest
    assert not {name for name in of_digest if name.startswith("garboard.history")}


def test_help_does_not_load_what_only_some_commands_need(loaded: tuple[set[str], set[str]]) -> None:
    of_help, _ = loaded
    assert "garboard" in of_help
    assert of_help.isdisjoint(HEAVY | {"rich", "pygeomag"})


def test_assessing_a_job_loads_neither_pint_nor_numpy(loaded: tuple[set[str], set[str]]) -> None:
    _, of_assess = loaded
    assert {"rich", *BUILT_IN} <= of_assess
    assert of_assess.isdisjoint(HEAVY)


def test_assessing_a_job_file_loads_no_history_and_only_the_form_its_recordings_have(
    loaded: tuple[set[str], set[str]],
) -> None:
    _, of_assess = loaded
    assert "garboard.recordings.comma_columns" in of_assess
    assert of_assess.isdisjoint(NOT_OF_A_JOB_FILE)


@pytest.mark.parametrize(("states", "times"), [("[garboard.plugins]", 1), ("[console_scripts]", 0), (None, 0)])
def test_what_is_installed_is_listed_once_for_a_host_and_not_where_none_offers_a_plugin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, states: str | None, times: int
) -> None:
    (tmp_path / "shop-1.0.dist-info").mkdir()
    if states is not None:
        (tmp_path / "shop-1.0.dist-info" / "entry_points.txt").write_text(f"{states}\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    listed: list[str] = []
    entry_points = importlib.metadata.entry_points

    def counted(**group: str) -> object:
        listed.append(group["group"])
        return entry_points(**group)

    monkeypatch.setattr(importlib.metadata, "entry_points", counted)
    assert Tools().host.plugins
    assert len(listed) == times


def test_a_plugin_is_found_wherever_python_finds_what_is_installed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A place may be no text, an egg spelt otherwise, or known to a finder alone; and what is spoilt stops nothing."""
    for inner in ("here/own-1.0.dist-info", "Own.EGG/EGG-INFO", "bad/own-1.0.dist-info/entry_points.txt"):
        (tmp_path / inner).mkdir(parents=True)
    for folder in (tmp_path / "here" / "own-1.0.dist-info", tmp_path / "Own.EGG" / "EGG-INFO"):
        (folder / "entry_points.txt").write_text("[garboard.plugins]\nown = own\n", encoding="utf-8")
        (folder / "METADATA").write_text("Metadata-Version: 2.1\nName: own\nVersion: 1.0\n", encoding="utf-8")
        (folder / "PKG-INFO").write_text("Metadata-Version: 2.1\nName: own\nVersion: 1.0\n", encoding="utf-8")

    def found() -> list[str]:
        return [one.name for one in installed_plugins() if one.name == "own"]

    for place in (tmp_path / "here", str(tmp_path / "Own.EGG")):
        with monkeypatch.context() as patched:
            patched.setattr(sys, "path", [place, *sys.path])
            assert found() == ["own"], place
    with monkeypatch.context() as patched:
        patched.setattr(sys, "path", [str(tmp_path / "bad"), *sys.path])
        assert found() == []
    finder = SimpleNamespace(
        find_spec=lambda *_: None,
        find_distributions=lambda _context: [importlib.metadata.PathDistribution(tmp_path / "here/own-1.0.dist-info")],
    )
    monkeypatch.setattr(sys, "meta_path", [*sys.meta_path, finder])
    assert found() == ["own"]


def test_help_is_there_without_docstrings() -> None:
    """Python run with -OO drops docstrings; the help is not one."""
    command = [sys.executable, "-OO", "-m", "garboard", "assess", "--help"]
    ended = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "Exit status 0" in ended.stdout


@pytest.mark.parametrize("words", [(), ("settings",), ("templates",)])
def test_no_command_is_listed_with_half_a_sentence(words: tuple[str, ...]) -> None:
    listed = run(*words, "--help").stdout.partition("Commands:")[2]
    assert listed
    assert "..." not in listed


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command: str) -> None:
    result = run(command, "--help")
    assert result.exit_code == 0
    assert len(result.output.splitlines()) > 3


NO_TEXT = b"Q\xff".decode("utf-8", "surrogateescape")


@pytest.mark.parametrize(
    "arguments",
    [
        ("move-job", "{}", HULL, JOB, "--to", NO_TEXT, "--by", "R. Vane", "--reason", "wrong transom"),
        ("same-boat", "{}", HULL, NO_TEXT, "--by", "R. Vane", "--reason", "one transom"),
        ("settings", "set", "{}", NO_TEXT, "3", "--by", "R. Vane", "--reason", "ours"),
        ("take-back", "{}", HULL, "a", "--by", NO_TEXT, "--reason", "wrong"),
        ("hull", NO_TEXT),
    ],
    ids=lambda one: one[0],
)
def test_bytes_that_are_no_text_are_refused_wherever_a_command_takes_text(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    folder = tmp_path / "shop"
    result = CliRunner().invoke(program, [one.format(folder) for one in arguments])
    assert result.exit_code == 2
    assert r"expected text, got 'Q\xff'" in " ".join(result.stderr.split())
    assert not folder.exists()


def test_a_folder_may_be_called_by_any_bytes_and_text_may_be_of_any_letters(tmp_path: Path) -> None:
    folder = tmp_path / NO_TEXT
    with HullFolder(folder) as hulls:
        hulls.save(measure(tablet("a").author, HullState(HULL), JOB, "prop_check.runs", "speed", "30 kn", row="1"))
    signed = ("--by", "Jörg Fältskog", "--reason", "wróng ⚓")
    result = CliRunner().invoke(program, ["take-back", str(folder), HULL, "prop_check.runs/speed/1", *signed])
    assert result.exit_code == 0
