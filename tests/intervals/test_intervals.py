"""Every ± holds: 95 % of simulated truths lie inside what the plugins state.

Not among the tests of the README's command: `.ci/run` runs it beside them, and so does a person:

    pytest tests/intervals -n 2 --dist loadgroup            # all of it
    pytest tests/intervals -k "slip" -s                     # one figure
    python tests/intervals/tables.py --seed 7               # other boats, and the table of noise halved and doubled
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import pytest

from intervals.harness import Coverage, Figure, Trial, coverage, shortcomings
from intervals.tables import row
from intervals.trials import KNOWN, TRIALS


@lru_cache
def _found(name: str) -> dict[str, Coverage]:
    return coverage(next(trial for trial in TRIALS if trial.name == name))


def _cases() -> list[object]:
    return [
        pytest.param(
            trial,
            figure,
            id=figure.name,
            marks=[
                pytest.mark.xdist_group(trial.name),  # figures of one trial share its boats
                *([pytest.mark.xfail(reason=KNOWN[figure.name], strict=True)] if figure.name in KNOWN else []),
            ],
        )
        for trial in TRIALS
        for figure in trial.figures
    ]


@pytest.mark.parametrize(("trial", "figure"), _cases())
def test_the_interval_holds(trial: Trial, figure: Figure, record_property: Callable[[str, object], None]) -> None:
    found = _found(trial.name)[figure.name]
    record_property("interval coverage", row(figure, found))
    assert not shortcomings(figure, found)


def test_every_figure_has_a_name_of_its_own_and_what_is_known_names_one() -> None:
    names = [figure.name for trial in TRIALS for figure in trial.figures]
    assert sorted(set(names)) == sorted(names)
    assert set(KNOWN) <= set(names)
