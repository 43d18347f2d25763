"""The sample jobs are found, here and in an installed program."""

import tomllib
from pathlib import Path

import pytest

import garboard
from garboard.demo import samples_folder
from garboard.faults import InputError
from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_job_file

ROOT = Path(__file__).parents[2]


def test_there_is_a_boat_with_one_two_and_three_engines_and_each_can_be_assessed() -> None:
    host = make_host(entry_points=False)
    jobs = [assess_job_file(path, host) for path in samples_folder.sample_job_files()]
    assert sorted(len(job.view.vessel.engines) for job in jobs) == [1, 2, 3]
    assert all(job.assessed for job in jobs)
    assert not any("failed in" in one.finding.sentence for job in jobs for one in job.assessed)


def test_broken_jobs_are_not_among_the_sample_jobs() -> None:
    assert not any("broken" in path.parts for path in samples_folder.sample_job_files())


def test_an_installed_program_carries_the_sample_jobs_where_they_are_looked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    packed = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    target = packed["tool"]["hatch"]["build"]["targets"]["wheel"]["sources"]["sample_jobs"]
    package = tmp_path / "lib" / "site-packages" / "garboard"
    installed = package.parent / target
    installed.mkdir(parents=True)
    monkeypatch.setattr(samples_folder, "__file__", str(package / "demo" / "samples_folder.py"))
    assert samples_folder.sample_jobs_folder() == installed


def test_a_program_without_them_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(samples_folder, "__file__", str(tmp_path / "lib" / "garboard" / "demo" / "samples_folder.py"))
    with pytest.raises(InputError, match="install again"):
        samples_folder.sample_jobs_folder()


def test_in_a_checkout_they_are_found_beside_the_core() -> None:
    assert samples_folder.sample_jobs_folder() == Path(garboard.__file__).parents[2] / "sample_jobs"
