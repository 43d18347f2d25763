"""What the documents show works as shown: README.md, DEVELOPERS.md and the README.md of each folder."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import Any

import attrs
import click
import pytest
from click.testing import CliRunner

from builders import boat, job_view
from documents import DOCUMENTS
from garboard.commands.ashore import plain_report as plain_ashore
from garboard.commands.cli import program
from garboard.commands.hulls import plain_report
from garboard.disk.hullfile import HullFolder
from garboard.findings import Verdict
from garboard.history.authoring import measure
from garboard.history.merge import HullMerge, MergeReport
from garboard.history.plans import SetAside
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState
from garboard.hosting.host import make_host
from garboard.job_files.job_file import check, parse_job_file, view_of
from garboard.job_view import FieldKey, JobView
from garboard.records import Job, JsonValue
from garboard.report.json_out import assessed_job
from garboard.report.terminal import Tools
from garboard.shop_link.shop_plugins import ApprovedPlugin
from garboard.shop_link.sync import bring_ashore
from histories import HULL, JOB, tablet
from setting_jobs import DROP, set_for_job, set_for_shop, sign, take_in
from shop_rig import shop_and_tablets
from small_plugin import small_host, small_view

ROOT = Path(__file__).parents[2]


def _block(document: str, marker: str) -> str:
    text = (ROOT / document).read_text(encoding="utf-8")
    found = re.search(rf"<!-- {marker} -->\n```\w+\n(.*?)```", text, re.S)
    assert found, f"{document} has no block marked {marker!r}"
    return found[1]


def test_the_job_file_in_the_cores_readme_is_judged_without_a_fault() -> None:
    job_file = parse_job_file(_block("core/README.md", "job file"), "core/README.md")
    host = make_host()
    assert check(job_file, host) == ()
    findings = {
        one.title: one.finding for one in host.assess(view_of(job_file, ROOT)) if one.step.startswith("prop_check")
    }
    # By hand: (33.9 + 33.1) / 2 = 33.5 kn; 5615 / 2.08 x 17 x 60 / 72913.386 = 37.76 kn; 1 - 33.5 / 37.76 = 11.3 %.
    slip = next(number for f in findings.values() for number in f.numbers if number.name == "slip")
    assert slip.value == pytest.approx(11.3, abs=0.05)


@pytest.mark.parametrize(
    ("dry", "verdict"), [(True, Verdict.PASS), (False, Verdict.FAIL), (None, Verdict.NOT_ENOUGH_DATA)]
)
def test_the_shop_plugin_in_the_plugins_readme_loads_and_judges(
    tmp_path: Path, dry: bool | None, verdict: Verdict
) -> None:
    file = tmp_path / "my_checks.py"
    file.write_text(_block("plugins/README.md", "plugin example"))
    host = make_host((), entry_points=False, files=[file])
    assert host.problems == []
    values: dict[FieldKey, JsonValue] = {} if dry is None else {("my_checks.afloat", "dry", "", ""): dry}
    (assessed,) = host.assess(job_view(boat(), values))
    assert assessed.finding.verdict is verdict


def test_the_test_in_the_plugins_readme_passes_beside_its_plugin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    plugin, test = (_block("plugins/README.md", f"plugin {part}") for part in ("example", "test"))
    _run_beside(plugin, test)
    with pytest.raises(AssertionError):
        _run_beside(plugin.replace("Verdict.FAIL", "Verdict.ADVISE"), test)


def _run_beside(plugin: str, test: str) -> None:
    Path("my_checks.py").write_text(plugin)
    written: dict[str, Any] = {}
    exec(compile(test, "test_my_checks.py", "exec"), written)
    written["test_a_wet_bilge_fails"]()


def test_the_setting_in_the_plugins_readme_loads_and_is_read(tmp_path: Path) -> None:
    file = tmp_path / "my_checks.py"
    file.write_text(_block("plugins/README.md", "setting example"))
    host = make_host((), entry_points=False, files=[file])
    assert host.problems == []
    view = host.with_defaults(job_view(boat(), {}, settings={"my_checks.least_afloat": "120 min"}))
    unset = host.with_defaults(JobView(vessel=boat(), job=Job(id="one")))
    assert [one.setting_value("my_checks.least_afloat", "h") for one in (view, unset)] == [2.0, 1.0]


def test_the_readme_says_the_job_first_and_names_its_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert text.split("\n\n")[1].startswith("A rigging technician")
    assert "garboard demo" in text
    assert ".ci/check" in _block("README.md", "test command")


def test_the_readmes_commands_are_all_typed_the_same_way_once_the_environment_is_entered() -> None:
    first, _, after = (ROOT / "README.md").read_text(encoding="utf-8").partition(". .venv/bin/activate && ")
    rest = after.replace(_block("README.md", "test command"), "")
    assert ".venv/bin/" not in first
    assert [line for line in rest.splitlines() if re.search(r"\.venv/bin/(?!activate`)", line)] == []


@pytest.mark.parametrize("document", ["README.md", "tablet_app/README.md"])
def test_the_pictures_of_the_readmes_are_there(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    shown = re.findall(r'<img src="([^"]+)" [^>]*alt="[^"]+"', text)
    assert len(shown) == text.count("<img ") > 0
    folder = (ROOT / document).parent
    assert [name for name in shown if not (folder / name).read_bytes().startswith(b"\x89PNG")] == []


@pytest.mark.parametrize("document", [*DOCUMENTS, "CHANGELOG.md"])
def test_every_link_of_a_document_leads_to_a_file_or_a_heading_of_one(document: str) -> None:
    links = re.findall(r"\]\(([^)#]+)(?:#([^)]+))?\)", (ROOT / document).read_text(encoding="utf-8"))
    lost = []
    for name, heading in links:
        file = (ROOT / document).parent / name
        if not file.is_file() or (heading and heading not in _headings(file)):
            lost.append((name, heading))
    assert lost == []


def _headings(file: Path) -> set[str]:
    lines = file.read_text(encoding="utf-8").splitlines()
    return {re.sub(r"[^\w-]", "", line.lstrip("# ").lower().replace(" ", "-")) for line in lines if line[:1] == "#"}


@pytest.mark.parametrize(("document", "limit"), [("README.md", 130), ("DEVELOPERS.md", 200)])
def test_the_first_documents_stay_short(document: str, limit: int) -> None:
    assert len((ROOT / document).read_text(encoding="utf-8").splitlines()) < limit


def test_the_cores_readme_gives_a_reason_for_every_library_in_use() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = [
        re.split(r"[\[<>=]", line)[0] for line in [*project["dependencies"], *chain.from_iterable(extras.values())]
    ]
    decisions = (ROOT / "core/README.md").read_text(encoding="utf-8").split("## Decisions")[1].split("\n## ")[0]
    named = {name.strip() for bold in re.findall(r"\*\*(.+?)\*\*", decisions, re.S) for name in bold.split(",")}
    assert {name for name in wanted if name != "garboard"} - named == set()


JSON_OF_COMMANDS = {
    "assess": [
        ["--plugin", "README.md", "assess", "sample_jobs", "sample_jobs/broken/jobs"],
        ["assess", "FOLDER"],
        ["assess", "sample_jobs/kittiwake", "--only", "garboard_prop_check", "--explain"],
    ],
    "recording": [
        ["recording", "sample_jobs/kittiwake/turn.n2k.csv", "--turns"],
        ["recording", "sample_jobs/broken/recordings/bad_checksum.log"],
    ],
    "plugins": [["--plugin", "README.md", "plugins"]],
    "steps": [["steps"]],
    "digest": [["digest", "FOLDER"], ["digest", "FOLDER", "--state"]],
}
"""Runs that between them fill every list; FOLDER stands for a folder of hull files."""


@pytest.mark.parametrize("command", JSON_OF_COMMANDS)
def test_the_keys_of_json_are_those_the_cores_readme_lists(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.chdir(ROOT)
    with HullFolder(tmp_path) as folder:
        folder.save(measure(tablet("a").author, HullState(HULL), JOB, "prop_check.runs", "speed", "30.0 kn", row="1"))
        _with_a_setting_changed_after_signing(folder)
    printed: set[str] = set()
    for run in JSON_OF_COMMANDS[command]:
        words = [str(tmp_path) if word == "FOLDER" else word for word in run]
        printed |= _paths(json.loads(CliRunner().invoke(program, [*words, "--json"]).stdout), _own_names(command))
    if command == "assess":  # no sample's figure has a point marked in it
        view, host = small_view(tmp_path), small_host()
        aside = SetAside(by="M. Office", at="", reason="sold unrigged", came=0, holds=True)
        plain = {"jobs": [assessed_job("", view, host, host.assess(view), (), aside)]}
        printed |= _paths(json.loads(json.dumps(plain)), _own_names(command))
    assert printed == _documented_paths(command)


def _with_a_setting_changed_after_signing(folder: HullFolder) -> None:
    """A boat signed under one value, with another in its job that is out of range, and the shop's changed since."""
    hull = take_in(folder, signed=False)
    set_for_shop(folder, {DROP: "5 %"})
    set_for_job(folder, hull, DROP, "90 %")
    sign(folder, hull, make_host())
    set_for_shop(folder, {DROP: "7 %"})


def _hull_merge() -> HullMerge:
    """A hull of which there is something of everything to tell."""
    key = RegisterKey("measure", JOB, ("prop_check.runs", "speed", "1", ""))
    return HullMerge(hull=HULL, received=2, existing=1, disagreeing=(key,), stale=(("owner", ("speed",)),))


def test_the_keys_of_a_merges_json_are_those_the_cores_readme_lists() -> None:
    report = MergeReport(
        target=Path("shop"),
        sources=(Path("a"),),
        dry_run=False,
        hulls=(_hull_merge(),),
        attachments=0,
        refused=(("an id", "too large"),),
        damage=(),
        complete=True,
    )
    assert _paths(plain_report(report), set()) == _documented_paths("merge")


def test_the_keys_of_coming_ashores_json_are_those_the_cores_readme_lists_and_as_a_merge_prints_them(
    tmp_path: Path,
) -> None:
    with shop_and_tablets(tmp_path) as (_, [(folder, paired)]):
        report = bring_ashore(folder, paired)
    full = attrs.evolve(
        report,
        hulls=(_hull_merge(),),
        refused=(("an id", "too large"),),
        not_kept=(("a hash", "damaged"),),
        approved=(ApprovedPlugin("our_checks", "00", "the manager", 1),),
        here={HULL: 1},
        there={HULL: 1},
    )
    assert _paths(plain_ashore(full), _own_names("ashore")) == _documented_paths("ashore")
    assert {path for path in _documented_paths("ashore") if path.startswith(("hulls.", "refused."))} == {
        path for path in _documented_paths("merge") if path.startswith(("hulls.", "refused."))
    }


def test_the_keys_of_a_shops_lists_as_json_are_those_the_cores_readme_lists(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path) as (shop, _):
        for words in (["shop-tablets", "list"], ["shop-changes"]):
            printed = CliRunner().invoke(program, [*words, "--folder", str(shop.folder), "--json"]).stdout
            assert _paths(json.loads(printed), set()) == _documented_paths(" ".join(words))


def test_the_cores_readme_lists_the_keys_of_every_command_that_prints_json() -> None:
    printing = {
        name for name, command in _commands(program) if any("--json" in option.opts for option in command.params)
    }
    listed = {line.split(": ", 1)[0] for line in _block("core/README.md", "json keys").splitlines() if line[:1] != " "}
    assert listed == printing


def _commands(group: click.Group, above: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command with its whole name; those that plugins bring, too."""
    context = click.Context(group, obj=Tools())
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if isinstance(command, click.Group):
            yield from _commands(command, f"{above}{name} ")
        elif command is not None:
            yield f"{above}{name}", command


def _own_names(command: str) -> set[str]:
    """Paths of objects whose keys are names of the data."""
    found = re.findall(r"(\w+)\{\}", _json_keys(command))
    assert len({*found}) == len(found)
    return set(found)


def _json_keys(command: str) -> str:
    text = re.sub(r"\n  +", " ", _block("core/README.md", "json keys"))
    return next(keys for name, keys in (line.split(": ", 1) for line in text.splitlines()) if name == command)


def _documented_paths(command: str) -> set[str]:
    above: list[str] = []
    found, last = set(), ""
    for token in re.findall(r"\w+|[\[\]]", _json_keys(command).replace("{}", "")):
        if token == "[":
            above.append(last)
        elif token == "]":
            above.pop()
        else:
            last = token
            found.add(".".join([*above, token]))
    return found


def _paths(plain: JsonValue, own_names: set[str], above: str = "") -> set[str]:
    if isinstance(plain, list):
        return set().union(*(_paths(one, own_names, above) for one in plain))
    if not isinstance(plain, dict):
        return set()
    found = set()
    for key, value in plain.items():
        found |= {above + key} | (set() if key in own_names else _paths(value, own_names, f"{above}{key}."))
    return found


def test_every_part_of_the_bench_results_names_a_script_that_is_there() -> None:
    results = (ROOT / "tests" / "bench" / "RESULTS.md").read_text(encoding="utf-8")
    for part in results.split("\n## ")[1:]:
        named = re.findall(r"tests/(?:bench|campaigns)/\w+\.py", part)
        assert named, part.splitlines()[0]
        assert [name for name in named if not (ROOT / name).is_file()] == []
