"""A shop's check as a file of data: it judges as the same plugin in Python, and a wrong one is told and harms none."""

from __future__ import annotations

import json
import sys
from collections.abc import Collection, Mapping
from functools import cache
from itertools import product
from pathlib import Path
from shutil import copytree, ignore_patterns

import attrs
import pytest
from click.testing import CliRunner
from hatchling.builders.wheel import WheelBuilder

from garboard.checks.changes import changes
from garboard.checks.file import check_of
from garboard.checks.lines import lines_of
from garboard.checks.module import is_check
from garboard.checks.refused import CheckRefused
from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.fields import check_value
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.sources import plugins_beside, refused_beside
from garboard.job_view import Disagreement, FieldKey, JobView, Unreadable, place_of
from garboard.records import JsonValue, Measurement
from garboard.settings import SettingSet
from garboard.shop_link.shop_plugins import ApprovedPlugin, files_to_run, keep
from garboard.testing import as_data, job_from, judge, load
from histories import HULL, JOB
from hostile_checks import GOOD, HOSTILE

FOLDER = Path(__file__).parent / "own_checks"
Rows = Mapping[str, Mapping[str, JsonValue]]


@cache
def host_of(name: str) -> PluginHost:
    """A check file, or the package beside it."""
    return load(FOLDER / name.partition(".")[0] / name, built_in=False)


def job(step: str, rows: Rows, **once: JsonValue) -> dict[str, JsonValue]:
    values: list[JsonValue] = [{"step": step, "field": field, "value": value} for field, value in once.items()]
    for row, columns in rows.items():
        values += [{"step": step, "field": field, "value": value, "row": row} for field, value in columns.items()]
    return {"vessel": {"hull_number": HULL}, "job": {"id": JOB}, "measurements": values}


def rod(station: str, reach: str = "20 in", drag: str = "20 lb", load: str = "35 lb") -> dict[str, JsonValue]:
    given = {"station": station, "reach": reach, "drag": drag, "base_load": load}
    return {name: value for name, value in given.items() if value}


def aboard(job: dict[str, JsonValue], kind: str, pieces: Rows, **each: Mapping[str, JsonValue]) -> dict[str, JsonValue]:
    """The job of a boat with these pieces; `each` has the values of a step's fields by piece."""
    step, values = {"reels.downriggers": "reels.fit"}.get(kind, "trailer.weights"), job["measurements"]
    assert isinstance(values, list)
    of_each: list[JsonValue] = [
        {"step": step, "field": field, "of": of, "value": value}
        for field, of_pieces in each.items()
        for of, value in of_pieces.items()
    ]
    listed: list[JsonValue] = [{"name": name, **facts} for name, facts in pieces.items()]
    return {**job, "vessel": {"hull_number": HULL, kind: listed}, "measurements": [*values, *of_each]}


def reels(rows: Rows, pieces: Rows, **each: Mapping[str, JsonValue]) -> dict[str, JsonValue]:
    return aboard(job("reels.fit", rows), "reels.downriggers", pieces, **each)


BOTH: Rows = {"port": {"mount_load": "15 lb"}, "starboard": {"mount_load": "10 kg", "boom": "4 ft"}}
REELS = [
    reels({"1": rod("10 in"), "2": rod("60 cm"), "3": rod("9 ft", drag="34 lb")}, BOTH),
    reels(
        {"1": rod("10 in"), "2": rod("15 in", "1 ft", "10 kg")},
        BOTH,
        release={"port": True, "starboard": False},
        hung={"port": "12.5 lb", "starboard": "10 lb"},
    ),
    reels({"1": rod("10 in")}, BOTH, hung={"port": "12 lb", "starboard": "0 lb"}),
    reels({}, {}),
    reels({"1": rod("", drag="30 lb", load=""), "2": rod("1 in", "")}, {"stern": {}}, hung={"stern": "8 lb"}),
]


def trailer(on_axles: str, tongue: str, **facts: JsonValue) -> dict[str, JsonValue]:
    given: dict[str, JsonValue] = {"gvwr": "5000 lb", "gawr": "4400 lb", "tyres": 4, "tyre_load": "1000 lb"}
    known = {name: value for name, value in {**given, **facts}.items() if value is not None}
    of_step = {name: {"road": value} for name, value in (("on_axles", on_axles), ("tongue", tongue)) if value}
    return aboard(job("trailer.weights", {}), "trailer.trailers", {"road": known}, **of_step)


TRAILER = [
    *(
        trailer(on_axles, tongue, gvwr=gvwr)
        for on_axles, gvwr, tongue in product(
            ("1900 kg", "1200 lb", "4200 lb", "4600 lb"), ("4000 lb", "9000 lb"), ("80 lb", "190 lb", "900 lb")
        )
    ),
    trailer("0 lb", "0 lb"),
    trailer("", "300 lb", tyres=None, gawr=None),
    job("trailer.weights", {}),
]


@pytest.mark.parametrize(("name", "jobs"), [("reels", REELS), ("trailer", TRAILER)])
def test_a_check_file_finds_what_the_same_plugin_in_python_finds(name: str, jobs: list[dict[str, JsonValue]]) -> None:
    table, python = host_of(f"{name}.toml"), host_of(name)
    seen = set()
    for each in jobs:
        found, expected = (as_data(judge(job_from(each, host), host)) for host in (table, python))
        assert found == expected
        seen |= {str(one["code"]) for one in found}
    assert {code for code in table.codes() if code.count(".") == 2} >= seen
    assert seen >= set(check_of((FOLDER / name / f"{name}.toml").read_bytes()).codes())  # each case was met


@pytest.mark.parametrize(("name", "jobs"), [("reels", REELS), ("trailer", TRAILER)])
def test_a_distribution_of_its_own_finds_the_same(
    name: str, jobs: list[dict[str, JsonValue]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Built as a wheel from its own folder, and found by its entry point: nothing of it lies beside the program."""
    copied = copytree(FOLDER / name, tmp_path / name, ignore=ignore_patterns("__pycache__"))
    (wheel,) = WheelBuilder(str(copied)).build(directory=str(tmp_path), versions=["standard"])
    monkeypatch.syspath_prepend(wheel)
    monkeypatch.delitem(sys.modules, name, raising=False)
    installed = make_host(())
    (plugin,) = (one for one in installed.plugins if one.name == name)
    assert plugin.file.startswith(wheel)
    for each in (jobs[0], jobs[-1]):
        table = host_of(f"{name}.toml")
        assert as_data(judge(job_from(each, installed), installed)) == as_data(judge(job_from(each, table), table))


@pytest.mark.parametrize("name", ["reels", "trailer"])
def test_a_check_file_declares_what_the_same_plugin_in_python_declares(name: str) -> None:
    table, python = host_of(f"{name}.toml"), host_of(name)
    assert table.equipment == python.equipment
    assert table.steps == python.steps
    assert table.settings == python.settings
    for one, other in zip(table.calculators, python.calculators, strict=True):
        left_out = {"compute": None, "applies": None}
        assert {**attrs.asdict(one), **left_out} == {**attrs.asdict(other), **left_out}
    assert [(one.key, one.title) for one in table.report_sections] == [
        (one.key, one.title) for one in python.report_sections
    ]
    assert table.plugins[0].version == python.plugins[0].version


def test_the_book_has_its_section_and_a_step_that_is_not_fitted_says_nothing() -> None:
    host = host_of("reels.toml")
    view = job_from(REELS[0], host)
    (section,) = host.report_sections
    blocks = section.build(host.with_defaults(view), host.assess(view))
    assert blocks[0] == "Keep the drag at or below what is told here."
    assert len(blocks) == 1 + len(host.assess(view))
    off = job_from({**REELS[0], "steps": [{"step": "reels.fit", "state": "not fitted"}]}, host)
    assert not host.assess(off)


def test_a_limit_follows_the_shops_setting_and_the_finding_names_it() -> None:
    host = host_of("reels.toml")
    view = attrs.evolve(job_from(REELS[0], host), settings_set=(SettingSet(key="reels.most_drag", value="40 %"),))
    found = [one for one in host.assess(view) if one.calculator == "reels.base"]
    assert [one.finding.code for one in found] == ["reels.base.too_strong"] * 3
    assert [one.key for one in found[0].settings_used] == ["reels.most_drag"]


def test_a_value_out_of_its_range_is_never_a_number(tmp_path: Path) -> None:
    text = GOOD.replace('formula = "height - least"', 'formula = "height - least"\nrange = [-30, 30]')
    text = text.replace('kind = "amount"\nunit = "in"', 'kind = "amount"\nunit = "in"\nhard = [0, 500]')
    (tmp_path / "rail.toml").write_text(text)
    host = load(tmp_path / "rail.toml", built_in=False)
    (found,) = as_data(judge(job_from(job("rail.look", {}, height="300 in"), host), host))
    assert (found["verdict"], found["numbers"], found["missing"][0]["lack"]) == ("not enough data", [], "out of range")
    assert found["missing"][0]["field"] == "height"


def test_a_value_out_of_its_range_says_what_its_author_says_of_it(tmp_path: Path) -> None:
    text = GOOD.replace(
        'formula = "height - least"', 'formula = "height - least"\nrange = [-5, 30]\noutside = "Measure."'
    )
    (tmp_path / "rail.toml").write_text(text)
    host = load(tmp_path / "rail.toml", built_in=False)
    (found,) = as_data(judge(job_from(job("rail.look", {}, height="18 in"), host), host))
    assert (found["verdict"], found["missing"][0]["lack"]) == ("not enough data", "out of range")
    assert found["sentence"] == "Not enough data: Over the least: −6.0 in. Measure."
    with pytest.raises(CheckRefused) as refused:
        check_of(text.replace("range = [-5, 30]\n", "").encode())
    assert [one.fault.where for one in refused.value.faults] == ["value[1].outside"]


def test_a_value_that_can_hardly_be_is_doubted_as_its_author_says(tmp_path: Path) -> None:
    amount = 'kind = "amount"\nunit = "in"'
    text = GOOD.replace(amount, f"{amount}\nplausible = [20, 40]\ndoubted_outside = [10, 100]")
    (tmp_path / "rail.toml").write_text(text)
    host = load(tmp_path / "rail.toml", built_in=False)
    for height, verdict, doubts in (("90 in", "pass", 0), ("110 in", "advise", 1)):
        (found,) = as_data(judge(job_from(job("rail.look", {}, height=height), host), host))
        assert (found["verdict"], len(found["doubted"])) == (verdict, doubts)
    assert "110 in, where 10 to 100 in can be right" in found["doubted"][0]["text"]
    with pytest.raises(CheckRefused) as refused:
        check_of(text.replace("[20, 40]", "[5, 40]").encode())
    (told,) = refused.value.faults  # and no formula that names the field
    assert "doubted_outside must hold all of plausible, 5 to 40 in" in str(told.fault)


HOSTILE_NAMES = [one[0] for one in HOSTILE]


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> tuple[PluginHost, Path]:
    """All wrong files and the right one, loaded together."""
    folder = tmp_path_factory.mktemp("checks")
    for name, what, instead, _, _ in HOSTILE:
        assert what in GOOD, name
        (folder / f"{name}.toml").write_text(GOOD.replace(what, instead, 1))
    (folder / "rail.toml").write_text(GOOD)
    (folder / "cut.toml").write_bytes(GOOD.encode()[:200] + b"\xff\xfe")
    return make_host((), entry_points=False, files=sorted(folder.iterdir())), folder


@pytest.mark.parametrize(("name", "what", "instead", "code", "place"), HOSTILE, ids=HOSTILE_NAMES)
def test_every_wrong_file_is_told_with_its_place_and_a_cure(
    hostile: tuple[PluginHost, Path], name: str, what: str, instead: str, code: str, place: str
) -> None:
    host, folder = hostile
    told = [one for one in host.problems if one.name == name]
    assert told
    first = told[0]
    assert (first.code, first.file) == (code, str(folder / f"{name}.toml"))
    assert place in first.reason
    assert "expected" in first.reason
    assert first.cure
    is_shown = place not in ("file", "basis", "name")
    assert first.line > 0 or not is_shown
    assert max(len(one.in_words) for one in told) < 1500


def test_none_of_them_takes_the_others_down(hostile: tuple[PluginHost, Path]) -> None:
    host, _ = hostile
    assert [plugin.name for plugin in host.plugins] == ["rail"]
    assert {problem.name for problem in host.problems} == {*HOSTILE_NAMES, "cut"}
    assert len(HOSTILE) >= 30
    (found,) = as_data(judge(job_from(job("rail.look", {}, height="20 in"), host), host))
    assert (found["code"], found["verdict"]) == ("rail.height.low", "fail")
    assert found["sentence"] == "The rail is 20 in high. Make it 24 in."


def test_a_fault_is_told_with_the_line_it_stands_in(hostile: tuple[PluginHost, Path]) -> None:
    host, folder = hostile
    for name, text in (("unknown_name", "hight"), ("unknown_key", "ordre"), ("wrong_unit", 'unit = "lb"\n')):
        (first, *_) = [one for one in host.problems if one.name == name]
        lines = (folder / f"{name}.toml").read_text().splitlines(keepends=True)
        assert text in lines[first.line - 1], name


_FIGURE = """
[result.figure]
title = "Pull"
rows = "posts"
x = "pull"
y = ["pull"]
labels = ["Pull", "Pull"]
"""


@pytest.mark.parametrize(
    ("what", "instead", "place"),
    [
        ('x = "pull"', 'x = "pulll"', "result[1].figure.x"),
        ('x = "pull"', 'x = "pull > 3"', "result[1].figure.x"),
        ('y = ["pull"]', "y = [\"pull > '3 lb'\"]", "result[1].figure.y"),
    ],
)
def test_a_wrong_axis_of_a_figure_is_told_once_and_by_its_own_name(what: str, instead: str, place: str) -> None:
    with pytest.raises(CheckRefused) as refused:
        check_of((GOOD + _FIGURE.replace(what, instead)).encode())
    assert [one.fault.where for one in refused.value.faults] == [place]


def test_a_unit_of_two_quantities_takes_the_units_of_both() -> None:
    text = GOOD.replace('unit = "in"\nrange', 'unit = "gal/h"\nrange').replace("height - least", "height")
    (setting,) = check_of(text.replace(" Make it {least}.", "").encode()).settings
    check_value(setting.field, "0.5 gal/min")


def test_a_file_is_called_by_its_name_and_so_is_its_successor(tmp_path: Path) -> None:
    """A new version in a file of another name would stand beside the old one, and one of the two would not run."""
    for file in ("rail.toml", "rail_2.toml"):
        (tmp_path / file).write_text(GOOD)
    host = make_host((), entry_points=False, files=sorted(tmp_path.iterdir()))
    (told,) = host.problems
    assert ([one.name for one in host.plugins], told.name, told.code, told.line) == (
        ["rail"],
        "rail_2",
        "wrong_name",
        3,
    )
    assert told.reason == "name: expected the name of its file, 'rail_2', got 'rail'"
    assert told.cure == 'call the file rail.toml, or write name = "rail_2" if no job has used it yet'


def test_all_faults_of_a_file_are_told_at_once(tmp_path: Path) -> None:
    text = GOOD.replace('kind = "amount"', 'kind = "amuont"').replace("default = 24", "default = 400")
    (tmp_path / "rail.toml").write_text(text)
    host = make_host((), entry_points=False, files=[tmp_path / "rail.toml"])
    assert {"setting[1]", "step[1].field[1].kind"} <= {problem.reason.split(":")[0] for problem in host.problems}


def test_a_photo_that_a_result_needs_is_waited_for_and_fails_nobody(tmp_path: Path) -> None:
    photo = '[[step.field]]\nname = "photo"\ntitle = "Photo of the rail"\nkind = "photo"\n\n[[value]]'
    text = GOOD.replace("[[value]]", photo, 1)
    text += '[[result]]\nname = "seen"\ntitle = "Photo"\nstep = "look"\nabout = "photo"\nneeds = ["photo"]\n'
    text += '[[result.case]]\nverdict = "pass"\ncode = "there"\nsentence = "It is on record."\n'
    with pytest.raises(CheckRefused, match=r"result\[2\].needs: expected fields of height, photo, got 'least'"):
        check_of(text.replace('["photo"]', '["least"]').encode())
    (tmp_path / "rail.toml").write_text(text)
    host = load(tmp_path / "rail.toml", built_in=False)
    without = job_from(job("rail.look", {}), host)
    (found,) = as_data(judge(without, host, "rail.seen"))
    assert (found["verdict"], found["missing"][0]["field"]) == ("not enough data", "photo")
    taken = Measurement(step="rail.look", field="photo", value={"file": "rail.jpg"})
    (found,) = as_data(judge(attrs.evolve(without, measurements=(taken,)), host, "rail.seen"))
    assert (found["code"], found["places"][0]["field"]) == ("rail.seen.there", "photo")


def test_limits_that_leave_no_room_are_told(tmp_path: Path) -> None:
    """Where the file says so with its line; where the shop's settings do in the finding. It is no failed plugin."""

    def bounded(ends: str) -> str:
        return GOOD.replace('numbers = ["over"]', f'numbers = ["over"]\n[[result.limit]]\nnumber = "over"\n{ends}', 1)

    for ends in ("low = 5\nhigh = -5", 'low = "least"\nhigh = 5'):
        with pytest.raises(CheckRefused) as refused:
            check_of(bounded(ends).encode())
        (told,) = refused.value.faults
        assert (told.fault.where, told.fault.expected[:12]) == ("result[1].limit[1].low", "at most the ")
    (tmp_path / "rail.toml").write_text(bounded('low = "least"\nhigh = 30'))
    host = load(tmp_path / "rail.toml", built_in=False)
    view = job_from(job("rail.look", {}, height="50 in"), host)
    (found,) = as_data(judge(attrs.evolve(view, settings_set=(SettingSet(key="rail.least", value="40 in"),)), host))
    assert (found["code"], found["missing"][0]["lack"]) == (
        "rail.height.not_enough_data",
        "readings contradict each other",
    )
    assert found["missing"][0]["text"].startswith("Over the least: at least 40, at most 30 in, and nothing is both")


@pytest.mark.parametrize(
    ("changed", "height", "told"),
    [
        (('when = "over < 0"', 'when = "over > 0"'), "20 in", "at least 0.0 in, and it passes"),
        (('when = "over < 0"', 'when = "over + least < 0"'), "20 in", "at least 0.0 in, and it passes"),
        (("low = 0", "low = 0\nhigh = 3"), "30 in", "at most 3.0 in, and it passes"),
    ],
)
def test_a_check_that_passes_what_its_own_limit_does_not_allow_passes_nothing(
    tmp_path: Path, changed: tuple[str, str], height: str, told: str
) -> None:
    """The sign turned round, as people do: a rail far too low passed, and the limit it broke was left out."""
    text = GOOD.replace('numbers = ["over"]', 'numbers = ["over"]\n[[result.limit]]\nnumber = "over"\nlow = 0', 1)
    (tmp_path / "rail.toml").write_text(text.replace(*changed))
    host = load(tmp_path / "rail.toml", built_in=False)
    (found,) = as_data(judge(job_from(job("rail.look", {}, height=height), host), host))
    assert (found["verdict"], found["missing"][0]["lack"]) == ("not enough data", "readings contradict each other")
    assert told in found["sentence"]


def test_a_setting_of_a_unit_that_none_has_is_one_fault(tmp_path: Path) -> None:
    """What the program did not look at for it is not told as a word that it does not know."""
    head, setting, rest = GOOD.partition("[[setting]]")
    (tmp_path / "rail.toml").write_text(head + setting + rest.replace('unit = "in"', 'unit = "1/h"', 1))
    told = [one.reason for one in make_host((), entry_points=False, files=[tmp_path / "rail.toml"]).problems]
    assert [one.split(":")[0] for one in told if one.startswith("setting")] == ["setting[1].unit"]
    units = told[0].split("one of ")[1].split(", got")[0].split(", ")
    assert len(units) == len(set(units))


def test_work_grows_with_the_rows_and_not_with_their_square(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each value is looked up a few times, however many rows a sum goes over."""
    host, asked, look = host_of("reels.toml"), list[str](), JobView.value

    def counting(view: JobView, step: str, field: str, *, row: str = "", of: str = "") -> JsonValue:
        asked.append(field)
        return look(view, step, field, row=row, of=of)

    rows = {str(number): rod(f"{number} in") for number in range(1, 101)}
    view = job_from(job("reels.fit", rows), host)
    monkeypatch.setattr(JobView, "value", counting)
    assert len(host.assess(view)) == 101
    assert 400 < len(asked) < 20 * 400


def test_the_unit_to_tell_is_looked_for_once_and_not_in_every_row(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sentence of each row names amounts: their unit is the one most values of the job were typed in."""
    host, looked, look = host_of("reels.toml"), list[str](), JobView.unit_as_typed

    def counting(view: JobView, quantity: str, places: Collection[FieldKey] = ()) -> str:
        looked.append(quantity)
        return look(view, quantity, places)

    monkeypatch.setattr(JobView, "unit_as_typed", counting)
    for size in (10, 100):
        looked.clear()
        host.assess(job_from(job("reels.fit", {str(number): rod(f"{number} in") for number in range(1, size)}), host))
        assert 0 < len(looked) < 10


def test_the_command_line_takes_it_and_starts_no_process_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("garboard.hosting.apart.Apart.load", None)  # a plugin with code would ask for it
    (tmp_path / "rail.toml").write_text(GOOD)
    heading = {"format": "garboard job", "version": 1}
    (tmp_path / "job.json").write_text(json.dumps({**heading, **job("rail.look", {}, height="20 in")}))
    plugin, path = str(tmp_path / "rail.toml"), str(tmp_path / "job.json")
    judged = CliRunner().invoke(program, ["--plugin", plugin, "assess", path, "--json"])
    codes = [found["code"] for found in json.loads(judged.stdout)["jobs"][0]["findings"]]
    assert "rail.height.low" in codes
    (tmp_path / "rail.toml").write_text(GOOD.replace("height - least", "height - leest"))
    told = CliRunner().invoke(program, ["--plugin", plugin, "assess", path]).output
    assert "Plugin rail is not at work" in told
    line = GOOD[: GOOD.index("height - least")].count("\n") + 1
    assert f"{plugin}, line {line}]" in told


def test_a_check_beside_the_data_is_found_and_a_badly_named_one_is_told(tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    for name in ("rail.toml", "my-rail.toml", "prop_check.toml"):
        (folder / name).write_text(GOOD)
    assert [path.name for path in plugins_beside(tmp_path)] == ["prop_check.toml", "rail.toml"]
    (told,) = refused_beside(tmp_path, ())
    assert (told.code, told.cure) == ("wrong_name", "call it my_rail.toml")


def test_a_check_is_known_by_its_first_line_and_lines_are_found() -> None:
    assert is_check(GOOD.encode())
    assert is_check(b"# of our shop\n\nformat='garboard check'\n")
    assert not is_check(b'"""format = "garboard check"."""\n')
    lines = lines_of(GOOD)
    written = GOOD.splitlines()
    assert written[lines["result", 0, "case", 1, "code"] - 1] == 'code = "high"'
    assert lines_of('a = """\nb = 1\n"""\nc = 2\n') == {("a",): 1, ("c",): 4}


def test_the_example_in_the_manual_works(tmp_path: Path) -> None:
    manual = (Path(__file__).parents[2] / "plugins" / "CHECKS.md").read_text(encoding="utf-8")
    example = manual.partition("<!-- check example -->\n```toml\n")[2].partition("```")[0]
    (tmp_path / "rail.toml").write_text(example, encoding="utf-8")
    host = load(tmp_path / "rail.toml", built_in=False)
    posts: Rows = {"1": {"height": "25 in"}, "2": {"height": "50 cm"}}
    (found,) = as_data(judge(job_from(job("rail.rail", posts), host), host))
    assert (found["code"], found["limits"][0]["low"]) == ("rail.height.low", 24.0)


def test_the_equipment_in_the_manual_is_asked_and_judged(tmp_path: Path) -> None:
    manual = (Path(__file__).parents[2] / "plugins" / "CHECKS.md").read_text(encoding="utf-8")
    example, equipment = (
        manual.partition(f"<!-- {name} -->\n```toml\n")[2].partition("```")[0]
        for name in ("check example", "equipment of a check")
    )
    begin, found, rest = example.partition("[[value]]")
    case = 'verdict = "fail"\ncode = "over"\nwhen = "room < 0"\nsentence = "{row} weighs {weight}."'
    last = 'verdict = "pass"\ncode = "light"\nsentence = "It is light."'
    result = 'name = "load"\ntitle = "Load"\nstep = "rail"\nrows = "trailers"\nabout = "trailer {row}"'
    cases = f"[[result]]\n{result}\n[[result.case]]\n{case}\n[[result.case]]\n{last}\n"
    (tmp_path / "rail.toml").write_text(f"{begin}{equipment}\n{found}{rest}\n{cases}", encoding="utf-8")
    host = load(tmp_path / "rail.toml", built_in=False)
    weighed: list[JsonValue] = [{"step": "rail.rail", "field": "weight", "of": "road", "value": "2100 lb"}]
    vessel: dict[str, JsonValue] = {"hull_number": HULL, "rail.trailers": [{"name": "road", "plate": "2000 lb"}]}
    view = job_from({"vessel": vessel, "job": {"id": JOB}, "measurements": weighed}, host)
    (told,) = as_data(judge(view, host, "rail.load"))
    assert (told["code"], told["sentence"]) == ("rail.load.over", "road weighs 2100 lb.")


def test_a_field_is_asked_of_each_engine_and_each_is_judged(tmp_path: Path) -> None:
    """Kinds of the program's own need no [[equipment]]; without an engine the finding says where to enter one."""
    text = GOOD.replace('unit = "in"\n\n[[step.field]]', 'unit = "in"\neach = "engines"\n\n[[step.field]]', 1)
    text = text.replace('title = "Over the least"\n', 'title = "Over the least"\nrows = "engines"\n')
    text = text.replace('about = "rail"\n', 'about = "{row}"\nrows = "engines"\n')
    (tmp_path / "rail.toml").write_text(text)
    host = load(tmp_path / "rail.toml", built_in=False)
    heights: list[JsonValue] = [{"step": "rail.look", "field": "height", "of": "port", "value": "20 in"}]
    boat: JsonValue = {"hull_number": HULL, "engines": [{"position": "port"}, {"position": "starboard"}]}
    port, starboard = as_data(
        judge(job_from({"vessel": boat, "job": {"id": JOB}, "measurements": heights}, host), host)
    )
    assert (port["code"], port["about"]) == ("rail.height.low", "port")
    assert port["sentence"] == "The rail is 20 in high. Make it 24 in."
    assert (starboard["verdict"], starboard["missing"][0]["of"]) == ("not enough data", "starboard")
    (none,) = as_data(judge(job_from(job("rail.look", {}), host), host))
    assert (none["missing"][0]["text"], none["missing"][0]["field"]) == ("Engines: none is entered", "engines")


@pytest.mark.parametrize(
    ("about", "row", "told"),
    [
        ("post", "2", "post, row 2"),
        ("post {row}", "2", "post 2"),
        ("{pull}", "2", "7 lb"),
        ("post", "aft", "post, aft"),
    ],
)
def test_a_judgement_of_each_row_names_the_row(tmp_path: Path, about: str, row: str, told: str) -> None:
    case = 'verdict = "pass"\ncode = "held"\nsentence = "It holds."\n'
    result = f'[[result]]\nname = "pull"\ntitle = "Pull"\nstep = "look"\nrows = "posts"\nabout = "{about}"\n'
    (tmp_path / "rail.toml").write_text(f'{GOOD}\n{result}numbers = ["pull"]\n[[result.case]]\n{case}')
    host = load(tmp_path / "rail.toml", built_in=False)
    found = judge(job_from(job("rail.look", {"1": {"pull": "9 lb"}, row: {"pull": "7 lb"}}), host), host, "rail.pull")
    assert [one.finding.about for one in found][1] == told


def test_it_travels_to_a_tablet_by_its_content_and_is_back_when_it_is_put_back(tmp_path: Path) -> None:
    """Taken away, its step needs the plugin and its values stay; put back, it judges them as before."""
    content = GOOD.encode()
    with HullFolder(tmp_path) as folder:
        sha256 = folder.attachments.put(content)
        keep(tmp_path, [ApprovedPlugin("rail", sha256, "M. Office", 1)])
        (file,) = files_to_run(folder)
        assert (file.name, file.read_bytes()) == ("rail.toml", content)
    at_work, without = load(file, built_in=False), load(built_in=False)
    data = job("rail.look", {}, height="20 in")
    before = as_data(judge(job_from(data, at_work), at_work))
    gone = job_from(data, without)
    assert (judge(gone, without), without.step("rail.look"), len(gone.measurements)) == ((), None, 1)
    assert as_data(judge(gone, at_work)) == before


def test_a_renamed_field_keeps_its_values_and_what_was_entered_since_comes_first(tmp_path: Path) -> None:
    renamed = 'name = "rail_height"\nrenamed_from = ["height"]\ntitle = "Height"'
    text = GOOD.replace('name = "height"\ntitle = "Height"\n', f"{renamed}\n", 1)
    text = text.replace("height - least", "rail_height - least").replace("{height}", "{rail_height}")
    (tmp_path / "rail.toml").write_text(text)
    host = load(tmp_path / "rail.toml", built_in=False)
    old = job_from(job("rail.look", {}, height="20 in"), host)
    (found,) = as_data(judge(old, host))
    assert found["sentence"] == "The rail is 20 in high. Make it 24 in."
    assert [place["field"] for place in found["places"]] == ["rail_height"]
    assert host.with_defaults(old).value("rail.look", "rail_height") == "20 in"
    both = job_from(job("rail.look", {}, height="20 in", rail_height="30 in"), host)
    assert [one["verdict"] for one in as_data(judge(both, host))] == ["pass"]
    told = changes(GOOD.encode(), text.encode())
    assert "step Look at the rail (look), field Height (height) is now called rail_height, and keeps its values" in told


def test_what_a_later_version_changes_is_told_by_name() -> None:
    later = GOOD.replace("default = 24", "default = 26").replace('when = "over < 0"', "when = \"over < '-1 in'\"")
    later = later.replace('code = "high"', 'code = "high_enough"')
    assert changes(GOOD.encode(), later.encode()) == (
        "setting Least height (least), default was 24 and is 26",
        "result Height of the rail (height), case low, when was 'over < 0' and is \"over < '-1 in'\"",
        "result Height of the rail (height), case high_enough is new",
        "result Height of the rail (height), case high is gone",
    )
    assert changes(GOOD.encode(), GOOD.encode()) == changes(b"[[", b"") == ()


TWO_TABLETS = """format = "garboard check"
version = 1
name = "posts"
title = "Posts"
edition = "1"
basis = {kind = "shop rule", text = "ours"}
[[step]]
name = "fit"
title = "Posts"
phase = "alongside"
order = 5
[[step.field]]
name = "play"
title = "Play"
kind = "amount"
unit = "in"
required = false
[[step.field]]
name = "posts"
title = "Posts"
kind = "table"
[[step.field.column]]
name = "lean"
title = "Lean"
kind = "amount"
unit = "in"
required = false
[[step.field.column]]
name = "height"
title = "Height"
kind = "amount"
unit = "in"
"""
ASKED = {"play": "given(play) and play > '1 in'", "lean": "any(lean > '1 in')", "height": "any(height > '9 in')"}


def test_what_two_tablets_disagree_about_is_not_judged_as_if_it_were_left_open(tmp_path: Path) -> None:
    """One of the two values fails. A field that may be left open was passed over, as was a row of nothing else."""
    results = "".join(
        f"""[[result]]
name = "{name}"
step = "fit"
title = "{name}"
about = "{name}"
[[result.case]]
when = "{when}"
verdict = "fail"
code = "bad"
sentence = "Too much."
[[result.case]]
verdict = "pass"
code = "good"
sentence = "Good."
"""
        for name, when in ASKED.items()
    )
    (tmp_path / "posts.toml").write_text(TWO_TABLETS + results)
    host = load(tmp_path / "posts.toml", built_in=False)
    rows = {"a": {"lean": "0.5 in", "height": "3 in"}, "b": {"lean": "0.2 in", "height": "3 in"}}
    sound = job_from(job("posts.fit", rows, play="0.5 in"), host)

    def verdicts(*disputed: tuple[str, str], unreadable: bool = False) -> dict[str, str]:
        of_both = [one for one in sound.measurements if (one.field, one.row) in disputed]
        rest = tuple(one for one in sound.measurements if one not in of_both)
        two = tuple(
            Disagreement(place=place_of(one), values=(one, attrs.evolve(one, value="20 in"))) for one in of_both
        )
        misfits = tuple(Unreadable(place=place_of(one), expected="an amount", got="{}") for one in of_both)
        asked = {"unreadable": misfits} if unreadable else {"disagreements": two}
        found = judge(attrs.evolve(sound, measurements=rest, **asked), host)
        return {one.finding.code.split(".")[1]: one.finding.verdict.value for one in found}

    assert verdicts() == dict.fromkeys(ASKED, "pass")
    lacking, passed = "not enough data", "pass"
    for unreadable in (False, True):
        assert verdicts(("play", ""), unreadable=unreadable) == {"play": lacking, "lean": passed, "height": passed}
        assert verdicts(("lean", "b"), unreadable=unreadable) == {"play": passed, "lean": lacking, "height": passed}
        whole_row = verdicts(("lean", "b"), ("height", "b"), unreadable=unreadable)
        assert whole_row == {"play": passed, "lean": lacking, "height": lacking}


def test_what_is_missing_is_named_as_a_person_sees_it() -> None:
    """By its title; programs find it by its step and field."""
    host = host_of("reels.toml")
    found = as_data(judge(job_from(job("reels.fit", {"1": rod("10 in", reach="")}), host), host))
    (lack,) = {(one["text"], one["field"]) for each in found for one in each["missing"] if one["row"]}
    assert lack == ("“Reach over the side”, row 1 is not entered", "reach")


def test_a_result_that_rests_on_too_many_values_says_so_and_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is no failure of the check: whoever entered the rows reads how many there may be. Others are judged."""
    monkeypatch.setattr("garboard.checks.judging.MOST_PLACES", 9)
    host = host_of("reels.toml")
    rods = {str(number): rod(f"{number} ft") for number in range(1, 6)}
    found = as_data(judge(job_from(job("reels.fit", rods), host), host))
    (lack,) = (one for each in found for one in each["missing"] if one["lack"] == "method does not reach so far")
    assert "rests on 10 values, and one result rests on 9 at most; take rows of " in lack["text"]
    assert (lack["field"], lack["row"]) == ("station", "1")
    assert [each["verdict"] for each in found if each["calculator"] == "reels.base"] == ["pass"] * 5
