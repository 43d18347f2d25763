"""A simulated run measures nothing: with one in its place a job is judged as if it had no recording at all."""

from __future__ import annotations

import attrs
import pytest

from garboard.demo.samples_folder import sample_job_files
from garboard.findings import NotEnoughData
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import JobView
from garboard.samples import SIMULATED, Recording, Stream

JOBS = [path.parent.name for path in sample_job_files()]


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


def sample_job(name: str) -> JobView:
    path = next(path for path in sample_job_files() if path.parent.name == name)
    return view_of(read_job_file(path), path.parent)


def as_simulated(recording: Recording) -> Recording:
    """The same samples, as the simulated boat would have sent them."""
    keys = {key: key._replace(source=f"{SIMULATED} {key.source}") for key in recording.streams}
    streams = {keys[key]: Stream(keys[key], one.times, one.values) for key, one in recording.streams.items()}
    return Recording(recording.name, streams)


@pytest.mark.parametrize("name", JOBS)
def test_every_check_refuses_a_simulated_run(host: PluginHost, name: str) -> None:
    """Every calculator comes to what it comes to without the recording, and one at least says why."""
    job = sample_job(name)

    def none_here(_reference: str) -> Recording:
        raise NotEnoughData("not here")

    with_simulated = attrs.evolve(job, load_recording=lambda reference: as_simulated(job.load_recording(reference)))
    without = attrs.evolve(job, load_recording=none_here)
    measured, simulated, missing = (
        [(one.calculator, one.finding.about, one.finding.verdict) for one in host.assess(view)]
        for view in (job, with_simulated, without)
    )
    assert simulated == missing
    assert simulated != measured, "the job does rest on its recordings"
    assert any("simulated run, not a measurement" in one.finding.sentence for one in host.assess(with_simulated))
