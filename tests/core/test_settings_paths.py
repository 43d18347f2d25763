"""A setting holds whichever way it came: job file, import, command, the shop's record; and says who set it."""

import json
import random
import subprocess
import sys
from pathlib import Path
from shutil import copytree

import attrs
import pytest

from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.fields import Kind
from garboard.history.authoring import Author
from garboard.history.authority import managers_part
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import merge
from garboard.history.replay import replay
from garboard.history.setting_entries import set_setting
from garboard.hosting.host import make_host
from garboard.job_files.job_file import JobFile, job_file_text, read_job_file
from garboard.judging.assessing import AssessedJob, assess_hulls, assess_job_file
from garboard.records import JsonValue
from garboard.settings import Setting

SAMPLES = sorted((Path(__file__).parents[2] / "sample_jobs").glob("*/*.json"))
HOST = make_host(entry_points=False)
AUTHOR = Author("tablet-1", "Office")
DRAWS = 200
DROP = "wiring_audit.drop_other"


def drawn(setting: Setting, draw: random.Random) -> JsonValue:
    if setting.field.kind is Kind.CHOICE:
        return draw.choice(setting.field.choices)
    low, high = setting.field.hard or (0, 0)
    return f"{draw.uniform(low, high):.3g} {setting.field.unit}".strip()


def random_settings(draw: random.Random) -> dict[str, JsonValue]:
    chosen = draw.sample(HOST.settings, draw.randint(1, 12))
    values = {setting.key: drawn(setting, draw) for setting in chosen}
    return {setting.key: values[setting.key] for setting in chosen if setting.takes(values[setting.key])}


def judged(job: AssessedJob) -> list[tuple[object, ...]]:
    """Every finding, with the settings it used; who took them in is not the file's to know."""
    return [
        (one.calculator, one.finding, [(used.key, used.value, used.state) for used in one.settings_used])
        for one in job.assessed
    ]


def jobs_with(settings: dict[str, JsonValue], sample: Path, into: Path) -> Path:
    """A copy of a sample's folder whose job file states the settings."""
    copytree(sample.parent, into)
    path = into / sample.name
    path.write_text(job_file_text(attrs.evolve(read_job_file(sample), settings=settings)), encoding="utf-8")
    return path


def imported(path: Path, folder: Path, *, signed: bool = True) -> AssessedJob:
    read = read_job_file(path) if signed else attrs.evolve(read_job_file(path), sign_offs=())
    with HullFolder(folder) as hulls:
        import_job(hulls, read, path.parent, AUTHOR)
    (found,) = assess_hulls(folder, HOST)
    return found


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.parent.name + "/" + path.stem)
def test_a_file_its_import_and_the_export_of_that_agree(sample: Path, tmp_path: Path) -> None:
    draw = random.Random(sample.name)
    path = jobs_with(random_settings(draw), sample, tmp_path / "job")
    by_file = assess_job_file(path, HOST)
    by_import = imported(path, tmp_path / "shop")
    assert judged(by_import) == judged(by_file)
    with HullFolder(tmp_path / "shop", read_only=True) as hulls:
        (key,) = hulls.boats()
        boat = open_hull(hulls, key)
        exported = export_job(hulls, boat, boat.jobs[0], tmp_path / "out")
    assert judged(assess_job_file(exported, HOST)) == judged(by_file)
    assert judged(imported(exported, tmp_path / "other")) == judged(by_file)


def test_two_hundred_random_settings_hold_by_every_path(tmp_path: Path) -> None:
    """The values by file, by the job's entries and by the shop's record are the same, setting by setting."""
    draw = random.Random(20260514)
    sample = read_job_file(SAMPLES[0])
    read = JobFile(vessel=attrs.evolve(sample.vessel, circuits=(), networks=()), job=sample.job)
    for number in range(DRAWS):
        settings = random_settings(draw)
        with HullFolder(tmp_path / str(number)) as hulls:
            import_job(hulls, attrs.evolve(read, settings=settings), tmp_path, AUTHOR)
            (key,) = hulls.boats()
            boat = open_hull(hulls, key)
            job = HOST.with_defaults(boat.view(boat.jobs[0]))
        with HullFolder(tmp_path / f"{number} shop") as hulls:
            import_job(hulls, attrs.evolve(read, settings={}), tmp_path, AUTHOR)
            put_in_record(hulls, settings)
            shop = HOST.with_defaults(open_hull(hulls, key).view(boat.jobs[0]))
        for setting in HOST.settings:
            wanted = settings.get(setting.key, setting.default)
            assert setting.same(job.settings[setting.key], wanted)
            assert setting.same(shop.settings[setting.key], wanted)
        changed = {s.key for s in HOST.settings if s.key in settings and not s.same(settings[s.key], s.default)}
        assert set(job.settings_used) == set(shop.settings_used) == changed


def put_in_record(hulls: HullFolder, settings: dict[str, JsonValue], by: str = "Office") -> None:
    record = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
    author = attrs.evolve(AUTHOR, by=by, tablet=by)
    for key, value in settings.items():
        hulls.save(set_setting(author, record, key, value, "a rule of the shop"))


def test_two_managers_who_differ_leave_the_stricter_in_force_and_it_is_judged(tmp_path: Path) -> None:
    for by, value in (("Office", "5 %"), ("Yard", "7 %")):
        with HullFolder(tmp_path / by) as hulls:
            import_job(hulls, read_job_file(SAMPLES[0]), SAMPLES[0].parent, AUTHOR)
            put_in_record(hulls, {DROP: value}, by)
    with HullFolder(tmp_path / "Office") as here, HullFolder(tmp_path / "Yard", read_only=True) as there:
        merge([there], here)
        (key,) = here.boats()
        boat = open_hull(here, key)
        view = HOST.with_defaults(boat.view(boat.jobs[0]))
    assert view.settings[DROP] == "5 %"
    assert view.settings_used[DROP].state == "unsettled"
    assert {(one.value, one.by) for one in view.settings_used[DROP].set} == {("5 %", "Office"), ("7 %", "Yard")}


def test_a_setting_and_taking_it_back_are_a_managers(tmp_path: Path) -> None:
    record = replay(SHOP_RECORD, [])
    entry = set_setting(AUTHOR, record, DROP, "5 %", "a rule")
    record.add(entry)
    back = AUTHOR.write(record, "retract", (DROP,), {"kind": "setting", "reason": "no more"}, replaces=(entry.id,))
    assert managers_part(entry) == "sets a shop setting"
    assert managers_part(back, [entry]) == managers_part(back) == "takes back a manager's decision"


def run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "garboard", "--no-color", *map(str, words)], capture_output=True, text=True, check=False
    )


def test_the_command_sets_shows_refuses_and_resets(tmp_path: Path) -> None:
    sample = next(path for path in SAMPLES if "wiring" in path.read_text(encoding="utf-8"))
    shop = tmp_path / "shop"
    imported(sample, shop, signed=False)
    who = ("--by", "Office", "--reason", "our rule")
    refused = run("settings", "set", shop, DROP, "50 %", *who)
    assert refused.returncode == 2
    assert "between 0.5 and 20 %" in refused.stderr
    unknown = run("settings", "set", shop, "wiring_audit.drop_othr", "5 %", *who)
    assert unknown.returncode == 2
    assert DROP in unknown.stderr
    assert run("settings", "set", shop, DROP, "7 %", *who).returncode == 0
    shown = run("settings", "show", shop, DROP).stdout
    assert "7 %" in shown
    assert "set by Office" in shown
    plain = json.loads(run("assess", shop, "--json", "-").stdout or run("assess", shop, "--json").stdout)
    marked = [f for job in plain["jobs"] for f in job["findings"] if f["settings_used"]]
    assert marked
    assert all(f["settings_used"][0]["set"][0]["by"] == "Office" for f in marked)
    assert "set by Office" in run("assess", shop).stdout
    assert run("settings", "reset", shop, DROP, *who).returncode == 0
    assert "Every setting is at its default." in run("settings", "list", shop).stdout


def test_an_import_with_a_setting_out_of_range_is_refused(tmp_path: Path) -> None:
    path = jobs_with({"fuel_curve.reserve": "-50 %"}, SAMPLES[0], tmp_path / "job")
    with pytest.raises(InputError, match=r"fuel_curve\.reserve"):
        assess_job_file(path, HOST)
    refused = run("import", path, "--into", tmp_path / "shop", "--by", "Office")
    assert refused.returncode == 2
    assert "fuel_curve.reserve" in refused.stderr
