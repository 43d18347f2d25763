"""A job written under a wrong hull number, moved to the right one: it is judged with its boat's equipment as before."""

from __future__ import annotations

import json
from pathlib import Path

import attrs
import pytest

from garboard.demo.samples_folder import sample_job_files
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure, sign_off
from garboard.history.boat import Boat, open_hull
from garboard.history.replay import HullState
from garboard.hosting.host import PluginHost, make_host
from garboard.judging.assessing import AssessedJob, assess_one
from histories import tablet
from run_program import run as _run

JOB = "saltgrass-2026-05"
NEW = "QQZ05555E626"
SIGNED = ("--by", "M. Office", "--reason", "typed wrongly")


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host()


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A shop's folder with one sample job."""
    (file,) = (file for file in sample_job_files() if file.parent.name == "saltgrass")
    assert not _run("import", file, "--into", tmp_path / "shop", "--by", "M. Office").exit_code
    return tmp_path / "shop"


def _hull(shop: Path) -> str:
    with HullFolder(shop, read_only=True) as hulls:
        return next(hull for hull in hulls.boats() if hull != NEW)


def _boat(shop: Path, hull: str) -> Boat:
    with HullFolder(shop, read_only=True) as hulls:
        return open_hull(hulls, hull)


def _judged(shop: Path, host: PluginHost) -> AssessedJob:
    return assess_one(shop, host, job=JOB)


def test_a_job_moved_to_a_new_number_is_judged_as_before(shop: Path, host: PluginHost) -> None:
    before = _judged(shop, host)
    moved = _run("move-job", shop, _hull(shop), JOB, "--to", NEW, *SIGNED)
    assert moved.exit_code == 0
    after = _judged(shop, host)
    assert after.view.vessel.hull_number == NEW
    assert [one.finding for one in after.assessed] == [one.finding for one in before.assessed]
    assert after.view.vessel.engines == before.view.vessel.engines != ()
    assert _boat(shop, NEW).vessel().name == before.view.vessel.name


def test_the_move_says_what_came_along_and_that_the_number_is_new(shop: Path) -> None:
    hull = _hull(shop)
    moved = _run("move-job", shop, hull, JOB, "--to", NEW, *SIGNED)
    (came,) = [line for line in moved.stdout.splitlines() if line.startswith("came along")]
    assert all(kind in came for kind in ("engines", "batteries", "circuits", "name"))
    view = _boat(shop, NEW).view(JOB)
    values = sum(not isinstance(one.value, dict) for one in view.measurements)
    recordings = {one.value["file"] for one in view.measurements if isinstance(one.value, dict)}
    signed, remarks = len(view.sign_offs), len(view.notes)
    (counted,) = [line for line in moved.stdout.splitlines() if line.startswith("with it: ")]
    assert counted.startswith(f"with it: {values} values, {len(recordings)} recording")
    assert (f"{signed} signature" in counted, f"{remarks} remark" in counted) == (signed > 0, remarks > 0)
    assert f"No boat of number {NEW} was here before" in moved.stderr
    back = _run("move-job", shop, NEW, JOB, "--to", hull, *SIGNED)
    assert back.stdout == f"job {JOB} belongs to {hull}\n"
    assert back.stderr == ""


def test_a_boat_with_its_own_engines_keeps_them_and_says_which_readings_they_leave_out(
    shop: Path, host: PluginHost
) -> None:
    before = _judged(shop, host).view.vessel
    with HullFolder(shop) as hulls:
        author, there = tablet("c").author, HullState(NEW)
        hulls.save(author.write(there, "field", ("engines", "bow", "position"), "bow"))
    moved = _run("move-job", shop, _hull(shop), JOB, "--to", NEW, *SIGNED)
    vessel = _judged(shop, host).view.vessel
    assert [(engine.position, engine.gear_ratio) for engine in vessel.engines] == [("bow", None)]
    assert vessel.batteries == before.batteries != ()
    assert f"as entered for {NEW}: engines\n" in moved.stdout
    positions = [engine.position for engine in before.engines]
    assert f"not used: readings of {', '.join(sorted(positions))}, which are not among the engines" in moved.stderr
    assert "was here before" not in moved.stderr


def test_a_file_imported_under_the_new_number_joins_the_job_where_it_stands(
    shop: Path, tmp_path: Path, host: PluginHost
) -> None:
    """One reading, imported after the move, took every engine from the boat and every verdict that rests on one."""
    before = _judged(shop, host).view.vessel
    _run("move-job", shop, _hull(shop), JOB, "--to", NEW, *SIGNED)
    late = {"format": "garboard job", "version": 1, "vessel": {"hull_number": NEW, "beam": "7 ft"}, "job": {"id": JOB}}
    reading = {"step": "fuel_curve.tanks", "field": "present_factor", "value": "1.07", "by": "R. Vane"}
    (tmp_path / "late.json").write_text(json.dumps({**late, "measurements": [reading]}), encoding="utf-8")
    said = []
    for _ in range(2):
        said.append(_run("import", tmp_path / "late.json", "--into", shop, "--by", "R. Vane").stdout)
        judged = _judged(shop, host)
        vessel = judged.view.vessel
        assert (vessel.name, vessel.engines, vessel.batteries) == (before.name, before.engines, before.batteries)
        assert (str(vessel.beam), vessel.hull_number) == ("7 ft", NEW)
        assert any(one.value == "1.07" for one in judged.view.measurements)
    assert said == [f"{NEW}: 3 new entries\n", f"{NEW}: 0 new entries\n"]


def test_a_fact_entered_in_a_moved_job_makes_its_signatures_stale(shop: Path) -> None:
    """The boat had engines of its own: a fact about them named no job, so a signed job could change unseen."""
    first, position, author = _hull(shop), ("engines", "port", "position"), tablet("c").author
    with HullFolder(shop) as hulls:
        hulls.save(author.write(HullState(NEW), "field", position, "port"))
    _run("move-job", shop, first, JOB, "--to", NEW, *SIGNED)
    with HullFolder(shop) as hulls:
        boat = open_hull(hulls, NEW)
        hulls.save(sign_off(author, boat.state_of(JOB), JOB, "owner", "A. Marsh"))
        assert not _missed(open_hull(hulls, NEW))
        home = boat.vessel_home("engines")
        assert (home, boat.facts_of(JOB, home)) == (boat.state, JOB)
        there = attrs.evolve(author, at_job=JOB)
        hulls.save(there.write(home, "field", ("engines", "port", "gear_ratio"), "2.0"))
    boat = _boat(shop, NEW)
    assert "vessel/engines/port/gear_ratio" in _missed(boat)
    assert boat.jobs == (JOB,)
    with HullFolder(shop) as hulls:
        hulls.save(sign_off(author, boat.state_of(JOB), JOB, "owner", "A. Marsh"))
    assert not _missed(_boat(shop, NEW)), "signed anew, it stands for the fact"
    assert _run("move-job", shop, NEW, JOB, "--to", first, *SIGNED).exit_code == 0
    assert (_boat(shop, NEW).jobs, _boat(shop, first).jobs) == ((), (JOB,))


def _missed(boat: Boat) -> tuple[str, ...]:
    """What the owner's signature does not cover."""
    return next(one.not_covered for one in boat.view(JOB).sign_offs if one.name == "A. Marsh")


def test_a_job_written_under_two_numbers_moves_on_whole(shop: Path) -> None:
    """What was read under the first number, signatures too, stayed with the second, and the job was on two boats."""
    first, third = _hull(shop), "QQZ07777E626"
    _run("move-job", shop, first, JOB, "--to", NEW, *SIGNED)
    with HullFolder(shop) as hulls:
        author = tablet("c").author
        hulls.save(measure(author, HullState(NEW), JOB, "fuel_curve.tanks", "present_factor", "1.07"))
    before = _boat(shop, NEW).view(JOB)
    for number in (third, first, NEW):
        here = next(hull for hull in (NEW, third, first) if JOB in _boat(shop, hull).jobs)
        assert _run("move-job", shop, here, JOB, "--to", number, *SIGNED).exit_code == 0
        assert [hull for hull in (first, NEW, third) if JOB in _boat(shop, hull).jobs] == [number]
        after = _boat(shop, number).view(JOB)
        assert {one.id for one in after.measurements} == {one.id for one in before.measurements}
        assert {one.name for one in after.sign_offs} == {one.name for one in before.sign_offs}
        assert after.vessel.engines == before.vessel.engines != ()


def test_what_came_along_is_corrected_where_it_stands_and_the_rest_of_it_stays(shop: Path, host: PluginHost) -> None:
    before = _judged(shop, host).view.vessel
    _run("move-job", shop, _hull(shop), JOB, "--to", NEW, *SIGNED)
    name = f"vessel/engines/{before.engines[0].position}/gear_ratio"
    assert before.engines[0].gear_ratio is not None
    assert not _run("take-back", shop, NEW, name, "--job", JOB, *SIGNED).exit_code
    after = _judged(shop, host).view.vessel
    assert after.engines[0].gear_ratio is None
    assert [one.position for one in after.engines] == [one.position for one in before.engines]


def test_a_moved_job_comes_whole_out_of_an_export(shop: Path, tmp_path: Path, host: PluginHost) -> None:
    _run("move-job", shop, _hull(shop), JOB, "--to", NEW, *SIGNED)
    before = _judged(shop, host)
    assert not _run("export", shop, NEW, "-o", tmp_path / "out").exit_code
    assert not _run(
        "import", tmp_path / "out" / "job.json", "--into", tmp_path / "other", "--by", "M. Office"
    ).exit_code
    after = _judged(tmp_path / "other", host)
    assert [one.finding for one in after.assessed] == [one.finding for one in before.assessed]


def test_the_number_a_job_left_says_where_it_went(shop: Path, tmp_path: Path) -> None:
    hull = _hull(shop)
    _run("move-job", shop, hull, JOB, "--to", NEW, *SIGNED)
    shown = _run("show", shop, hull)
    assert shown.stdout == f"{hull}, job {JOB}: moved to {NEW}: garboard show {shop} {NEW}\n"
    assert _run("show", shop, hull, "--job", JOB).stdout == shown.stdout
    for command in (
        ("book", shop, "--hull", hull, "-o", tmp_path / "a.pdf"),
        ("export", shop, hull, "-o", tmp_path / "out"),
        ("export", shop, hull, "--job", JOB, "-o", tmp_path / "out"),
        ("take-back", shop, hull, "vessel/name", *SIGNED),
        ("move-job", shop, hull, JOB, "--to", hull, *SIGNED),
    ):
        refused = _run(*command)
        assert refused.exit_code == 2
        assert f"job {JOB} moved to {NEW}" in refused.stderr
        assert "none, got" not in refused.stderr
        assert "got nothing" not in refused.stderr


def test_a_boat_with_several_jobs_asks_for_one_by_name(shop: Path, tmp_path: Path) -> None:
    with HullFolder(shop) as hulls:
        hulls.save(tablet("c").author.write(HullState(_hull(shop)), "job", ("kind",), "repair", job="job-2"))
    refused = _run("export", shop, _hull(shop), "-o", tmp_path / "out").stderr
    assert f"got none, and this boat has 2 jobs: name job-2 or {JOB} with --job" in refused
    refused = _run("book", shop, "-o", tmp_path / "a.pdf").stderr
    assert "expected one job, got 2 jobs: name one with --hull" in refused
