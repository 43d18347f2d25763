from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count

import pytest

from postgres_cluster import Cluster, SpreadClusters, why_not_here, why_not_spread


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL server for all tests of this folder; each takes a database of its own."""
    if reason := why_not_here():
        pytest.skip(reason)
    with Cluster() as running:
        yield running


@pytest.fixture(scope="session")
def spread() -> Iterator[SpreadClusters]:
    """A server in front of two others, for all tests of this folder."""
    if reason := why_not_spread():
        pytest.skip(reason)
    with SpreadClusters() as running:
        yield running


@pytest.fixture(scope="session")
def new_yard(request: pytest.FixtureRequest) -> Callable[[str], str]:
    """The address of an empty yard in the database of a fixture, "cluster" or "spread"; quicker than a new database for
    each test."""
    shops: dict[str, str] = {}
    yards = count(1)

    def address(over: str) -> str:
        if over not in shops:
            servers: Cluster | SpreadClusters = request.getfixturevalue(over)
            shops[over] = servers.database()
        return f"{shops[over]}&yard={next(yards)}"

    return address
