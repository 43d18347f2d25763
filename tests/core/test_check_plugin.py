"""`garboard check-plugin` says what approval and a tablet's loader say, with file, line, code and what to do."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import wrong_plugins
from builders import boat, job_view
from garboard.commands.cli import program
from garboard.demo import samples_folder
from garboard.faults import InputError
from garboard.hosting.host import make_host
from garboard_shop.own_plugins import approve
from garboard_shop.store import ShopPlugin
from hostile_checks import GOOD

SOUND = wrong_plugins.computing("own", "yield found(about=view.vessel.hull_number)")
BY_CHANCE = wrong_plugins.computing("own", "import random\nyield found()")
FAILING = wrong_plugins.computing("own", "yield found(about=1 / len(view.measurements[10_000:]))")


@pytest.fixture(autouse=True)
def one_sample(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    """Three samples are no better a proof than one."""
    (first, *_) = samples_folder.sample_job_files()
    if "named_too" not in request.node.name:
        monkeypatch.setattr(samples_folder, "sample_job_files", lambda: (first,))


def checked(*words: object) -> Result:
    return CliRunner().invoke(program, ["check-plugin", *map(str, words)])


def written(place: Path, text: str, name: str = "own.py") -> Path:
    file = place / name
    file.parent.mkdir(exist_ok=True)
    file.write_text(text, encoding="utf-8")
    return file


def test_a_check_that_fails_a_boat_on_which_nobody_has_begun_is_told_to_its_author(tmp_path: Path) -> None:
    photo = '[[step.field]]\nname = "photo"\ntitle = "Photo"\nkind = "photo"\n\n[[value]]'
    asked = GOOD.replace("[[value]]", photo, 1).replace('when = "over < 0"', 'when = "not given(photo)"')
    asked = asked.replace('numbers = ["over"]\n', "").replace("{height}", "low").replace("{least}", "high")
    (tmp_path / "rail.toml").write_text(asked)
    told = CliRunner().invoke(program, ["check-plugin", str(tmp_path / "rail.toml")])
    assert "'Height of the rail' (rail.height.low) fails a boat on which nothing of it is entered" in told.output
    assert "name in needs what must be entered before it is judged" in told.output
    assert told.exit_code == 1


def test_one_that_is_right_is_sound_and_was_tried_on_the_jobs_named_too(tmp_path: Path) -> None:
    job = {"format": "garboard job", "version": 1, "vessel": {"hull_number": "QQZ04417D626"}, "job": {"id": "one"}}
    (tmp_path / "job.json").write_text(json.dumps(job))
    result = checked(written(tmp_path, SOUND), "--on", tmp_path / "job.json")
    assert result.exit_code == 0
    assert result.stdout.splitlines() == ["It was tried on 4 jobs and failed in none.", "own.py is sound."]


def test_what_leaves_it_at_work_is_told_with_its_line(tmp_path: Path) -> None:
    file = written(tmp_path, BY_CHANCE)
    result = checked(file, "--json")
    plain = json.loads(result.stdout)
    line = BY_CHANCE.splitlines().index("    import random") + 1
    (fault,) = plain["faults"]
    assert (result.exit_code, plain["verdict"], fault["code"], fault["line"]) == (1, "works", "uses_chance", line)
    assert (fault["file"], fault["at_work"]) == (str(file), True)
    assert fault["cure"]
    keys = ", ".join([*plain, *fault]).replace("faults, ", "faults[") + "]"
    assert f"check-plugin: {keys}\n" in (Path(__file__).parents[2] / "core" / "README.md").read_text(encoding="utf-8")


OF_WATER = """
from garboard import hookimpl
from garboard.fields import Field, Kind
from garboard.findings import Basis, BasisKind, Finding, Number, Verdict
from garboard.hooks import each_of
from garboard.settings import Setting
from garboard.steps import Calculator, Phase, Step

__version__ = "1"
RULE = Basis(BasisKind.SHOP_RULE, "our rule")
WATER = Field(name="water", title="Water", kind=Kind.AMOUNT, quantity="volume", unit="gal", hard=(0, 100))
FLOW = Field(name="least", title="Least flow", kind=Kind.AMOUNT, quantity="fuel flow", unit="gal/h", hard=(1, 100))
register_settings = each_of((Setting(key="own.least", field=FLOW, default="5 gal/h", basis=RULE, stricter="higher"),))
register_steps = each_of((Step(key="own.step", title="Water", phase=Phase.ALONGSIDE, order=391, fields=(WATER,)),))


def judge(view):
    asking = view.asking()
    value = {asked}
    {check}
    yield Finding(verdict=Verdict.ADVISE, about="water", sentence="It is so.", basis=(RULE,))


CHECK = Calculator(key="own.check", title="Water", step="own.step", compute=judge, basis=(RULE,))
register_calculators = each_of((CHECK,))
"""


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ('asking.amount("own.step", "water", "s")', "'water' of own.step in s, which is entered in gal"),
        ('asking.amount("own.step", "water", "gal") * 0', "does not call check()"),
        ('view.setting_value("own.least", "gal")', "gal/h cannot be given in gal"),
    ],
)
def test_what_can_never_judge_is_found_on_jobs_made_up_of_its_fields(tmp_path: Path, asked: str, told: str) -> None:
    check = "" if "* 0" in asked else "asking.check()"
    text = OF_WATER.format(asked=asked, check=check)
    result = checked(written(tmp_path, text), "--json")
    plain = json.loads(result.stdout)
    assert (result.exit_code, plain["verdict"]) == (2, "refused"), plain
    assert told in plain["faults"][0]["reason"]
    right = OF_WATER.format(asked='asking.amount("own.step", "water", "L")', check="asking.check()")
    assert "is sound" in checked(written(tmp_path, right)).stdout


def test_a_package_is_checked_too_and_told_that_tablets_take_one_file(tmp_path: Path) -> None:
    written(tmp_path / "own", SOUND, "__init__.py")
    plain = json.loads(checked(tmp_path / "own", "--json").stdout)
    assert ([one["code"] for one in plain["faults"]], plain["jobs"]) == (["not_one_file"], 1)


@pytest.mark.parametrize(
    ("text", "name"),
    [(FAILING, "own.py"), ("def broken(", "own.py"), (SOUND, "Own-Checks.py"), (SOUND, "own.toml"), (GOOD, "rail.py")],
    ids=["fails in a job", "does not load", "cannot be called so", "is no check", "is a check"],
)
def test_approval_refuses_for_the_same_reasons(tmp_path: Path, text: str, name: str) -> None:
    file = written(tmp_path, text, name)
    result = checked(file, "--json")
    faults = json.loads(result.stdout)["faults"]
    assert (result.exit_code, {one["at_work"] for one in faults}) == (2, {False})
    with pytest.raises(InputError) as refused:
        approve(_Nowhere(), lambda _name, _content: None, file, "M. Office", 1, jobs=[job_view(boat(), {})])  # type: ignore[arg-type]
    said = str(refused.value)
    assert all(one["reason"] in said and one["cure"] in said for one in faults[:1])


def test_a_section_that_fails_as_its_calculator_does_is_told_once(tmp_path: Path) -> None:
    part = 'ReportSection(key="own.part", title="Part", order=1, build=lambda view, _: tuple(compute(view)))'
    text = f"{FAILING}\n@hookimpl\ndef register_report_sections(register):\n    register({part})\n"
    (fault,) = json.loads(checked(written(tmp_path, text), "--json").stdout)["faults"]
    assert fault["code"] == "judges_badly"


def test_a_tablets_loader_refuses_for_the_same_reason(tmp_path: Path) -> None:
    file = written(tmp_path, "def broken(")
    (problem,) = make_host((), entry_points=False, files=[file]).problems
    (fault,) = json.loads(checked(file, "--json").stdout)["faults"]
    told = (problem.reason, problem.code, problem.file, problem.line, problem.cure)
    assert told == tuple(fault[key] for key in ("reason", "code", "file", "line", "cure"))


def test_a_check_file_is_checked_alike(tmp_path: Path) -> None:
    sound = checked(written(tmp_path, GOOD, "rail.toml"))
    assert (sound.exit_code, sound.stdout.splitlines()[-1]) == (0, "rail.toml is sound.")
    wrong = written(tmp_path, GOOD.replace('unit = "in"', 'unit = "furlong"'), "rail.toml")
    faults = json.loads(checked(wrong, "--json").stdout)["faults"]
    (first, *_) = make_host((), entry_points=False, files=[wrong]).problems
    assert {one["at_work"] for one in faults} == {False}
    assert (first.reason, first.line) == (faults[0]["reason"], faults[0]["line"])
    assert first.line == 1 + wrong.read_text().splitlines().index('unit = "furlong"')
    misnamed = checked(written(tmp_path, GOOD, "rail.py"), "--json")
    assert (misnamed.exit_code, json.loads(misnamed.stdout)["faults"][0]["cure"]) == (2, "call it rail.toml")


@pytest.mark.parametrize(
    ("name", "text", "cure"),
    [
        ("own_job.json", "{}", "name a Python file, a check file, or the folder of a package"),
        ("rail.txt", GOOD, "call it rail.toml"),
        ("own.txt", SOUND, "call it own.py"),
        ("rail", GOOD, "call it rail.toml"),
    ],
)
def test_a_file_called_otherwise_is_told_once_and_what_to_call_it(
    tmp_path: Path, name: str, text: str, cure: str
) -> None:
    (fault,) = json.loads(checked(written(tmp_path, text, name), "--json").stdout)["faults"]
    assert (fault["code"], fault["cure"], fault["at_work"]) == ("wrong_name", cure, False)


class _Nowhere:
    """A register that nothing may reach, and that has nothing."""

    def plugins(self) -> tuple[ShopPlugin, ...]:
        return ()

    def put_plugin(self, plugin: ShopPlugin) -> None:
        raise AssertionError(f"{plugin.name} was approved")
