"""Promise 1 once more, for a shop kept in PostgreSQL: what the shop called saved survives a power cut.

The long campaign:
python tests/campaigns/database_power_cut.py --cuts 30
"""

from __future__ import annotations

from pathlib import Path

import pytest

from campaigns import database_power_cut


@pytest.fixture(scope="module", autouse=True)
def _power_can_be_cut() -> None:
    if reason := database_power_cut.why_not_here():
        pytest.skip(reason)


def test_p1_nothing_the_shop_called_saved_is_lost_when_its_databases_power_is_cut(tmp_path: Path) -> None:
    """Three cuts one after the other, on a server set up to answer before it flushes, as the hardest case."""
    tally = database_power_cut.cut_while_putting(3, 6, tmp_path, database_power_cut.FLUSHES_LATER)
    assert tally.cuts == 3
    assert tally.is_good, str(tally)


def test_p1_a_power_cut_under_the_database_is_seen_where_nothing_is_flushed(tmp_path: Path) -> None:
    """The same cut loses entries when flushing is switched off behind the store's back: the test above can fail."""
    tally = database_power_cut.cut_without_flushing(7, tmp_path)
    assert tally.saved > 0
    assert tally.lost > 0, str(tally)
