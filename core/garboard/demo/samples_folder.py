"""Where the sample jobs lie, in an installed program and in a checkout."""

from __future__ import annotations

from pathlib import Path

from garboard.faults import Fault, InputError

NAME = "sample_jobs"


def sample_jobs_folder() -> Path:
    """The folder of sample jobs. Raises InputError when it is in neither place."""
    package = Path(__file__).parents[1]
    installed, checkout = package / NAME, package.parents[1] / NAME
    for folder in (installed, checkout):
        if folder.is_dir():
            return folder
    raise InputError(NAME, [Fault("folder", f"sample jobs in {installed} or {checkout}; install again", "neither")])


def sample_job_files() -> tuple[Path, ...]:
    """The job files of the sample vessels, by folder name. The broken ones are not among them."""
    return tuple(sorted(sample_jobs_folder().glob("*/job.json")))
