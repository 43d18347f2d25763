"""`garboard assess --only P --explain`: each value a plugin's calculators asked for, given or missing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from garboard.commands.cli import program
from garboard.commands.new_plugin import files_of
from garboard.hosting.explaining import Asked, explained
from garboard.hosting.host import PluginHost, make_host
from garboard.records import JsonValue
from garboard.testing import job_from, job_of, load

AFLOAT = "own.afloat"


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The plugin that `new-plugin` writes, with a second calculator that asks for more, in vain, and then fails."""
    text = files_of("own")["own.py"]
    second = (
        "\n\ndef leak(view: JobView) -> Iterator[Finding]:\n"
        '    view.value(AFLOAT, "found", of="port")\n'
        '    view.rows(AFLOAT, "water")\n'
        "    yield from [1 / 0]\n"
    )
    register = '    register(Calculator(key="own.leak", title="Leak", step=AFLOAT, compute=leak, basis=(OURS,)))\n'
    path = tmp_path_factory.mktemp("own") / "own.py"
    path.write_text(
        text.replace("\n\n@hookimpl\ndef register_calculators", f"{second}\n\n@hookimpl\ndef register_calculators")
        + register
    )
    return path


def told(host: PluginHost, **entered: str | bool) -> dict[str, tuple[Asked, ...]]:
    view = job_from(job_of({f"{AFLOAT}/{name}": value for name, value in entered.items()}), host)
    return {one.calculator.key: one.asked for one in explained(host, "own", view)}


def test_each_value_is_given_or_missing_alike_where_the_plugin_runs_apart(file: Path) -> None:
    wanted = {
        "own.bilge": (
            Asked((AFLOAT, "water", "", ""), lacks="water is not entered"),
            Asked((AFLOAT, "found", "", ""), False),
        ),
        "own.leak": (
            Asked((AFLOAT, "found", "", "port"), lacks="found (port) is not entered"),
            Asked((AFLOAT, "water", "", ""), lacks="water is not entered"),
        ),
    }
    here = load(file)
    apart = make_host(entry_points=False, files=[file], apart=True)
    assert told(here, found=False) == told(apart, found=False) == wanted
    whole = told(here, found=False, water="2 mm")
    assert whole == told(apart, found=False, water="2 mm")
    assert whole["own.bilge"] == (Asked((AFLOAT, "water", "", ""), "2 mm"), Asked((AFLOAT, "found", "", ""), False))


def test_settings_findings_and_missing_facts_are_told_too(file: Path) -> None:
    host = load(file)
    view = job_from(job_of({f"{AFLOAT}/found": True, f"{AFLOAT}/water": "9 mm"}), host)
    bilge, leak = explained(host, "own", view)
    assert (bilge.settings, [one.code for one in bilge.findings]) == (
        (("own.most_water", "5 mm"),),
        ["own.bilge.advise"],
    )
    assert [one.code for one in leak.findings] == ["own.leak.plugin_failed"]
    one_engine: dict[str, JsonValue] = {"engines": [{"position": "port"}]}
    of_boat = job_from(job_of({}, vessel=one_engine), host)
    facts = [lack.field for one in explained(host, "garboard_prop_check", of_boat) for lack in one.lacks]
    assert "engines.rated_power" in facts


def run(*words: object) -> Result:
    return CliRunner().invoke(program, ["assess", *map(str, words)])


def test_only_one_plugins_findings_are_printed_and_a_wrong_name_is_refused() -> None:
    sample = Path(__file__).parents[2] / "sample_jobs" / "saltgrass"
    plain = json.loads(run(sample, "--only", "garboard_handover", "--json").stdout)
    assert {one["plugin"] for one in plain["jobs"][0]["findings"]} == {"garboard_handover"}
    assert "explained" not in plain["jobs"][0]
    result = run(sample, "--only", "garboard_handower")
    assert (result.exit_code, "a plugin at work: garboard_wiring_audit" in result.stderr) == (2, True)
    assert run(sample, "--explain").exit_code == 2
    two = run(sample, sample.parent / "kittiwake", "--only", "garboard_shop", "--explain").stdout
    assert [name for name in ("Saltgrass", "Kittiwake") if f"{name}  hull number" in two] == ["Saltgrass", "Kittiwake"]
