from __future__ import annotations

from collections.abc import Iterator

import pytest

from postgres_cluster import Cluster, why_not_here


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL server for all tests of this folder; each takes a database of its own."""
    if reason := why_not_here():
        pytest.skip(reason)
    with Cluster() as running:
        yield running
