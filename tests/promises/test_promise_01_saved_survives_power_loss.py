"""Promise 1: a saved value survives power loss at any instant after the app said "saved".

The long campaigns:
python tests/campaigns/kill_campaign.py --kills 2000
python tests/campaigns/power_cut.py --cuts 100
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from campaigns import kill_campaign, power_cut

needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="killing a child at a random moment needs fork")


@pytest.fixture(scope="module")
def _power_can_be_cut() -> None:
    if reason := power_cut.why_not_here():
        pytest.skip(reason)


@needs_fork
def test_p1_nothing_saved_is_lost_when_the_program_is_killed(tmp_path: Path) -> None:
    """Entries and attachments called saved are there after kill -9, and no file is damaged."""
    tally = kill_campaign.kill_while_saving(15, seed=1, where=tmp_path)
    assert tally.saved > 0
    assert (tally.lost, tally.damaged) == (0, 0), str(tally)


@needs_fork
def test_p1_nothing_merged_is_lost_when_the_merge_is_killed(tmp_path: Path) -> None:
    """Batches called saved are there after kill -9, and the next merge ends with both sides equal."""
    tally = kill_campaign.kill_while_merging(15, seed=2, where=tmp_path)
    assert tally.saved > 0
    assert (tally.lost, tally.damaged, tally.unequal) == (0, 0, 0), str(tally)


@needs_fork
@pytest.mark.usefixtures("_power_can_be_cut")
def test_p1_nothing_saved_is_lost_when_the_power_is_cut(tmp_path: Path) -> None:
    """What was called saved is on the disk, not only in the machine's memory."""
    tally = power_cut.cut_while_saving(4, seed=3, where=tmp_path)
    assert tally.saved > 0
    assert tally.lost == 0, str(tally)


@needs_fork
@pytest.mark.usefixtures("_power_can_be_cut")
def test_p1_nothing_merged_is_lost_when_the_power_is_cut(tmp_path: Path) -> None:
    """A batch called saved is on the disk, with the names of its new files."""
    tally = power_cut.cut_while_merging(4, seed=4, where=tmp_path)
    assert tally.saved > 0
    assert tally.lost == 0, str(tally)


@needs_fork
@pytest.mark.usefixtures("_power_can_be_cut")
def test_p1_a_power_cut_is_seen_where_nothing_is_flushed(tmp_path: Path) -> None:
    """The same cut loses entries when flushing is switched off: the test above can fail."""
    tally = power_cut.cut_without_flushing(2, seed=5, where=tmp_path)
    assert tally.lost > 0, str(tally)
