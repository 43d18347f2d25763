"""Wherever a job is judged, the settings that hold are the same: a short run of campaigns/settings_campaign.py."""

from pathlib import Path

import pytest

from campaigns.settings_campaign import campaign
from garboard.hosting.host import make_host
from setting_jobs import SALTGRASS, SAMPLES


@pytest.mark.parametrize(
    "sample",
    [pytest.param(path, marks=[] if path == SALTGRASS else [pytest.mark.long]) for path in SAMPLES],
    ids=lambda path: path.parent.name,
)
def test_file_import_tablet_page_and_book_judge_the_same(sample: Path) -> None:
    tally = campaign(make_host(entry_points=False), [sample], 2)
    assert tally.different == []
    assert (tally.jobs, tally.judgements) == (4, 28)
    assert tally.changed > 0
