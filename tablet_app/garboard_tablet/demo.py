"""The sample jobs on a tablet, to try it out with."""

from __future__ import annotations

from garboard_tablet.models.tablet import Tablet

WORKING = "T. Quill"


def fill(tablet: Tablet) -> None:
    """Put the sample jobs on a tablet that holds nothing yet."""
    from garboard.demo.samples_folder import sample_job_files
    from garboard.history import exchange
    from garboard.job_files.job_file import read_job_file

    if tablet.files.boats():
        return
    if not tablet.settings.working:
        tablet.change_settings(tablet.settings.with_person(WORKING))
    for path in sample_job_files():
        exchange.import_job(tablet.files, read_job_file(path), path.parent, tablet.author())
