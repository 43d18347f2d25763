"""Jobs and shops with settings, for the tests of settings."""

from __future__ import annotations

from pathlib import Path

import attrs

from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, sign_off, signed_under
from garboard.history.boat import open_hull, recordings_of
from garboard.history.exchange import import_job
from garboard.history.replay import replay
from garboard.history.setting_entries import set_setting
from garboard.hosting.host import PluginHost
from garboard.job_files.job_file import read_job_file
from garboard.job_view import JobView
from garboard.records import JsonValue

SAMPLES = sorted((Path(__file__).parents[1] / "sample_jobs").glob("*/*.json"))
SALTGRASS = next(path for path in SAMPLES if path.parent.name == "saltgrass")
OFFICE = Author("shop page", "Office", wall=lambda: "2026-05-12T09:30:00-04:00")
DROP = "wiring_audit.drop_other"
"""A setting that most samples' wiring is judged by: 10 % by default, the lower the stricter."""


def take_in(hulls: HullFolder, sample: Path = SALTGRASS, *, signed: bool = True) -> str:
    """A sample in a folder; returns the boat's key."""
    job_file = read_job_file(sample)
    job_file = job_file if signed else attrs.evolve(job_file, sign_offs=())
    return import_job(hulls, job_file, sample.parent, OFFICE)[0]


def set_for_shop(hulls: HullFolder, settings: dict[str, JsonValue], author: Author = OFFICE) -> None:
    record = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
    for key, value in settings.items():
        hulls.save(set_setting(author, record, key, value, "a rule of the shop"))


def set_for_job(hulls: HullFolder, hull: str, key: str, value: JsonValue, author: Author = OFFICE) -> None:
    boat = open_hull(hulls, hull)
    job = boat.jobs[0]
    hulls.save(set_setting(author, boat.state_of(job), key, value, "this boat's own rule", job))


def view_in(hulls: HullFolder, hull: str, host: PluginHost) -> JobView:
    """The boat's first job, with the settings that hold."""
    boat = open_hull(hulls, hull)
    return host.with_defaults(boat.view(boat.jobs[0], recordings_of(hulls)))


def sign(hulls: HullFolder, hull: str, host: PluginHost, name: str = "R. Vane") -> None:
    """A technician signs the boat's first job, under the settings that hold."""
    boat = open_hull(hulls, hull)
    job = boat.jobs[0]
    settings = signed_under(view_in(hulls, hull, host))
    author = Author("tablet-1", name, wall=lambda: "2026-05-14T18:00:00-04:00")
    hulls.save(sign_off(author, boat.state_of(job), job, "technician", name, settings=settings))
