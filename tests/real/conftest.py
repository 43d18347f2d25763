"""Real recordings are not part of the project; they lie beside it or where GARBOARD_RECORDINGS says."""

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def real_recordings() -> Path:
    beside = Path(__file__).parents[2].parent / "shared" / "recordings"
    folder = Path(os.environ.get("GARBOARD_RECORDINGS") or beside)
    if not folder.is_dir():
        pytest.skip("real recordings not found; set GARBOARD_RECORDINGS")
    return folder
