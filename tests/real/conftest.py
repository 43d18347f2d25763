"""Real recordings are not part of the project; they lie in a folder beside it or where GARBOARD_RECORDINGS says."""

import os
from pathlib import Path

import pytest

ONE_OF_THEM = "wide_turn_starboard.n2k.csv"


def _folder() -> Path | None:
    if named := os.environ.get("GARBOARD_RECORDINGS"):
        return Path(named)
    beside = Path(__file__).parents[2].parent
    return next((found.parent for found in beside.glob(f"*/recordings/{ONE_OF_THEM}")), None)


@pytest.fixture(scope="session")
def real_recordings() -> Path:
    folder = _folder()
    if folder is None or not folder.is_dir():
        pytest.skip("real recordings not found; set GARBOARD_RECORDINGS to their folder")
    return folder
