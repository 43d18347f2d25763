from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count

import pytest

from postgres_cluster import Cluster, why_not_here


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL server for all tests of this folder; each takes a database of its own."""
    if reason := why_not_here():
        pytest.skip(reason)
    with Cluster() as running:
        yield running


@pytest.fixture(scope="session")
def new_yard(cluster: Cluster) -> Callable[[int], str]:
    """The address of an empty yard on one database or on two; quicker than a new database for each test."""
    databases = {1: cluster.database(), 2: f"{cluster.database()} {cluster.database()}"}
    yards = count(1)

    def address(over: int) -> str:
        yard = next(yards)
        return " ".join(f"{one}&yard={yard}" for one in databases[over].split())

    return address
