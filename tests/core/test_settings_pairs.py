"""The two ends of a range are never set the wrong way round: by the command, in a job file, or while settling."""

import json
from pathlib import Path

import attrs
import pytest

from garboard.disk.hullfile import HullFolder
from garboard.history.boat import open_hull
from garboard.hosting.host import make_host
from garboard.job_files.job_file import job_file_text, read_job_file
from run_program import outcome as run
from setting_jobs import SALTGRASS, set_for_job, take_in

HOST = make_host(entry_points=False)
DECLARED = {setting.key: setting for setting in HOST.settings}
PAIRS = [(low, high) for low in HOST.settings for high in low.at_most]
LOW, HIGH = "prop_check.slip_low_planing", "prop_check.slip_high_planing"


def put(folder: Path, key: str, value: str, *more: str) -> tuple[int, str]:
    return run("settings", "set", folder, key, value, "--by", "Office", "--reason", "ours", *more)


def test_every_setting_named_for_a_low_end_is_paired_with_its_high_end() -> None:
    """One declared later without its pair is found here."""
    paired = {(low.key, high) for low, high in PAIRS}
    for key in DECLARED:
        head, _, name = key.partition(".")
        other = f"{head}.{name.replace('low', 'high', 1)}"
        if "low" in name and other in DECLARED:
            assert (key, other) in paired
    assert len(paired) >= 8


@pytest.mark.parametrize(("low", "high"), PAIRS, ids=lambda one: getattr(one, "key", one))
def test_a_pair_is_declared_in_one_unit_and_right_by_default(low: object, high: str) -> None:
    setting = DECLARED[low.key]  # type: ignore[attr-defined]
    assert setting.field.unit == DECLARED[high].field.unit
    assert setting.number(setting.default) <= DECLARED[high].number(DECLARED[high].default)


@pytest.mark.parametrize("hull", [False, True])
def test_the_command_refuses_ends_the_wrong_way_round_and_names_the_other(tmp_path: Path, hull: bool) -> None:
    with HullFolder(tmp_path) as hulls:
        of_job = ["--hull", take_in(hulls, signed=False)] if hull else []
    status, said = put(tmp_path, LOW, "40 %", *of_job)
    assert status == 2
    assert HIGH in said
    assert "at most 20 %" in said
    assert put(tmp_path, HIGH, "2 %", *of_job)[0] == 2
    assert put(tmp_path, HIGH, "50 %", *of_job)[0] == 0
    assert put(tmp_path, LOW, "40 %", *of_job)[0] == 0
    status, said = run("settings", "reset", tmp_path, HIGH, "--by", "Office", "--reason", "back", *of_job)
    assert status == 2, "the default, 20 %, lies below the low end that is set"
    assert LOW in said


def test_ends_that_meet_are_taken(tmp_path: Path) -> None:
    with HullFolder(tmp_path):
        pass
    assert put(tmp_path, LOW, "20 %")[0] == 0


@pytest.mark.parametrize(
    ("settings", "fits"),
    [
        ({LOW: "40 %"}, False),
        ({LOW: "40 %", HIGH: "10 %"}, False),
        ({LOW: "40 %", HIGH: "50 %"}, True),
        ({LOW: "20 %"}, True),
    ],
)
def test_a_job_file_with_ends_the_wrong_way_round_is_refused(
    settings: dict[str, str], fits: bool, tmp_path: Path
) -> None:
    plain = json.loads(job_file_text(attrs.evolve(read_job_file(SALTGRASS), measurements=(), sign_offs=())))
    path = tmp_path / "job.json"
    path.write_text(json.dumps({**plain, "settings": settings}), encoding="utf-8")
    for words in (("assess", path), ("import", path, "--into", tmp_path / "shop", "--by", "Office")):
        status, said = run(*words)
        assert (status == 2) is not fits
        assert fits or HIGH in said


def test_settling_cannot_turn_a_pair_round_either(tmp_path: Path) -> None:
    """Two tablets set the low end of one job; the value chosen has to fit the high end."""
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_job(hulls, hull, LOW, "10 %")
        job = open_hull(hulls, hull).jobs[0]
    name = f"setting {LOW}"
    status, said = run(
        "settle", tmp_path, hull, name, "--value", "40 %", "--by", "Office", "--reason", "ours", "--job", job
    )
    assert status == 2
    assert HIGH in said
