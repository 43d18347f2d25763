"""What several tests of the core count."""

from __future__ import annotations

from typing import Any

import pytest

from garboard.disk import hullfile
from garboard.disk.journal import read


@pytest.fixture
def proved(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How long each file was that was read and proved without its journal."""
    lengths: list[int] = []

    def counted(data: bytes) -> Any:
        lengths.append(len(data))
        return read(data)

    monkeypatch.setattr(hullfile, "read", counted)
    return lengths
