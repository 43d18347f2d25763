"""A setting holds whichever way it came: job file, import, command, the shop's record; and says who set it."""

import json
import random
from collections.abc import Sequence
from pathlib import Path

import attrs
from click.testing import CliRunner, Result

from campaigns.settings_campaign import random_settings
from garboard import hull_number
from garboard.commands.cli import program
from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.disk.hullfile import HullFolder
from garboard.history import authoring
from garboard.history.authoring import Author
from garboard.history.authority import managers_part
from garboard.history.boat import open_entries, open_hull
from garboard.history.exchange import import_job
from garboard.history.merge import merge
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import set_setting, setting_register
from garboard.hosting.host import make_host
from garboard.job_files.job_file import JobFile, read_job_file
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from setting_jobs import DROP, OFFICE, SAMPLES, set_for_shop, take_in

HOST = make_host(entry_points=False)
DRAWS = 200


def take_in_entries(author: Author, job_file: JobFile) -> list[Entry]:
    return authoring.take_in(author, HullState(hull_number.key(job_file.vessel.hull_number)), job_file)


def view_of(entries: Sequence[Entry]) -> JobView:
    """The job of some entries, the shop's record among them."""
    hull = next(entry.hull_key for entry in entries if entry.hull_key != SHOP_RECORD)
    boat = open_entries(lambda key: [entry for entry in entries if entry.hull_key == key], hull)
    return boat.view(boat.jobs[0])


def test_two_hundred_random_settings_hold_by_every_path() -> None:
    """The values by the job's entries and by the shop's record are those drawn, setting by setting."""
    draw = random.Random(20260514)
    read = JobFile(vessel=Vessel(hull_number="QQZ04417D626"), job=Job(id="one"))
    for _ in range(DRAWS):
        settings = random_settings(HOST, draw)
        job = HOST.with_defaults(view_of(take_in_entries(OFFICE, attrs.evolve(read, settings=settings))))
        record = HullState(SHOP_RECORD)
        shops = [set_setting(OFFICE, record, key, value, "a rule") for key, value in settings.items()]
        shop = HOST.with_defaults(view_of([*take_in_entries(OFFICE, read), *shops]))
        for setting in HOST.settings:
            wanted = settings.get(setting.key, setting.default)
            assert setting.same(job.settings[setting.key], wanted)
            assert setting.same(shop.settings[setting.key], wanted)
        changed = {s.key for s in HOST.settings if s.key in settings and not s.same(settings[s.key], s.default)}
        assert set(job.settings_used) == set(shop.settings_used) == changed


UNSIGNED = next(path for path in SAMPLES if not read_job_file(path).sign_offs)
"""A signed job keeps what it was signed under."""


def test_two_managers_who_differ_leave_the_stricter_in_force_and_it_is_said(tmp_path: Path) -> None:
    for by, value in (("Office", "5 %"), ("Yard", "7 %")):
        with HullFolder(tmp_path / by) as hulls:
            import_job(hulls, read_job_file(UNSIGNED), UNSIGNED.parent, OFFICE)
            set_for_shop(hulls, {DROP: value}, attrs.evolve(OFFICE, tablet=by, by=by))
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
    entry = set_setting(OFFICE, record, DROP, "5 %", "a rule")
    record.add(entry)
    back = OFFICE.write(record, "retract", (DROP,), {"kind": "setting", "reason": "no more"}, replaces=(entry.id,))
    assert managers_part(entry) == "sets a shop setting"
    assert managers_part(back, [entry]) == managers_part(back) == "takes back a manager's decision"


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(program, ["--no-color", *map(str, words)])


def test_a_negative_value_is_a_value_and_a_line_break_within_one_is_a_space(tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    with HullFolder(shop) as hulls:
        take_in(hulls, SAMPLES[0], signed=False)
    who = ("--by", "Office", "--reason", "our rule")
    for value in ("-400 degC", "-.5 %", "-3"):
        refused = run("settings", "set", shop, DROP, value, *who)
        assert refused.exit_code == 2
        assert "No such option" not in refused.stderr
        assert f"got '{value}" in refused.stderr
    misspelt = run("settings", "set", shop, DROP, "7 %", "--reasn", "x", *who)
    assert "No such option" in misspelt.stderr
    assert run("settings", "set", shop, DROP, "7\n%", *who).stdout == f"{DROP} is 7 % for the shop\n"
    with HullFolder(shop, read_only=True) as hulls:
        assert b"7\\n" not in b"".join(entry.raw for entry in hulls.entries(SHOP_RECORD))


def test_the_command_sets_shows_refuses_and_resets(tmp_path: Path) -> None:
    sample = next(path for path in SAMPLES if "wiring" in path.read_text(encoding="utf-8"))
    shop = tmp_path / "shop"
    with HullFolder(shop) as hulls:
        take_in(hulls, sample, signed=False)
    who = ("--by", "Office", "--reason", "our rule")
    refused = run("settings", "set", shop, DROP, "50 %", *who)
    assert refused.exit_code == 2
    assert "between 0.5 and 20 %" in refused.stderr
    unknown = run("settings", "set", shop, "wiring_audit.drop_othr", "5 %", *who)
    assert unknown.exit_code == 2
    assert DROP in unknown.stderr
    assert run("settings", "set", shop, DROP, "7 %", *who).exit_code == 0
    shown = run("settings", "show", shop, DROP).stdout
    assert "7 %" in shown
    assert "set by Office" in shown
    plain = json.loads(run("assess", shop, "--json").stdout)
    marked = [f for job in plain["jobs"] for f in job["findings"] if f["settings_used"]]
    assert marked
    assert all(f["settings_used"][0]["set"][0]["by"] == "Office" for f in marked)
    assert "set by Office" in run("assess", shop).stdout
    assert run("settings", "reset", shop, DROP, *who).exit_code == 0
    assert "Every setting is at its default." in run("settings", "list", shop).stdout


def test_a_jobs_setting_stays_with_it_when_two_numbers_prove_to_be_two_boats(tmp_path: Path) -> None:
    """Set, and taken back, by the other number while they were one."""
    who = ("--by", "Office", "--reason", "our rule")
    with HullFolder(tmp_path) as hulls:
        one, other = (take_in(hulls, sample, signed=False) for sample in SAMPLES[:2])
        job = open_hull(hulls, one).jobs[0]

    def value_and_reset(between: Sequence[str]) -> JobView:
        assert run("same-boat", tmp_path, one, other, *who).exit_code == 0
        assert run("settings", between[0], tmp_path, *between[1:], "--hull", other, "--job", job, *who).exit_code == 0
        assert run("same-boat", tmp_path, one, other, "--undo", *who).exit_code == 0
        with HullFolder(tmp_path, read_only=True) as hulls:
            assert job not in open_hull(hulls, other).jobs
            return HOST.with_defaults(open_hull(hulls, one).view(job))

    assert value_and_reset(("set", DROP, "7 %")).settings[DROP] == "7 %"
    assert DROP not in value_and_reset(("reset", DROP)).settings_used


def test_equal_amounts_in_other_units_are_no_disagreement(tmp_path: Path) -> None:
    """They ask the same: the merge reports none, and one more second is one."""
    hold = "handover.hold_seconds"
    for by, value in (("a", "90 s"), ("b", "1.5 min"), ("c", "91 s")):
        with HullFolder(tmp_path / by) as hulls:
            set_for_shop(hulls, {hold: value}, attrs.evolve(OFFICE, tablet=by, by=by))
    with HullFolder(tmp_path / "a") as here:
        for by, expected in (("b", ()), ("c", (setting_register(hold),))):
            with HullFolder(tmp_path / by, read_only=True) as there:
                (report,) = merge([there], here).hulls
            assert report.disagreeing == expected


def test_what_was_set_stays_readable(tmp_path: Path) -> None:
    """For the shop and for a job: replaced, taken back, and set to the very default."""
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
    assert "set for" not in run("settings", "show", tmp_path, DROP).stdout
    for of in ((), ("--hull", hull)):
        for value, by in (("7 %", "Kim"), ("5 %", "Lee")):
            run("settings", "set", tmp_path, DROP, value, *of, "--by", by, "--reason", f"why {value}")
        run("settings", "reset", tmp_path, DROP, *of, "--by", "Max", "--reason", "no longer")
        run("settings", "set", tmp_path, DROP, "10.0 %", *of, "--by", "Ann", "--reason", "as the default")
        shown = run("settings", "show", tmp_path, DROP, *of).stdout
        scope = "for this job" if of else "for the shop"
        told = [line.split(" on ")[0].strip() for line in shown.splitlines() if scope in line]
        assert told == [
            f"10.0 %, set {scope} by Ann",
            f"taken back {scope} by Max",
            f"5 %, set {scope} by Lee",
            f"7 %, set {scope} by Kim",
        ]
        assert ": why 5 % (taken back since)" in shown
        assert ": why 7 % (replaced since)" in shown
        assert ": no longer" in shown
        listed = run("settings", "list", tmp_path, *of).stdout
        assert f"10.0 %, set {scope} by Ann" in listed
        assert ": as the default" in listed
        assert "Every setting" not in listed


def test_the_history_says_whom_the_shop_does_not_know_as_a_manager(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        set_for_shop(hulls, {DROP: "7 %"}, attrs.evolve(OFFICE, tablet="stick"))
    (tmp_path / "shop").mkdir()
    assert "(no manager is known to have set it)" in run("settings", "show", tmp_path, DROP).stdout
