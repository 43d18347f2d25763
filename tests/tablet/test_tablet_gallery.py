"""The pictures of the app's pages are whole."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from garboard_tablet.gallery import SIZES
from garboard_tablet.ui.theme import theme


@pytest.mark.parametrize(("width", "height"), [size[:2] for size in SIZES])
def test_a_picture_reaches_into_every_corner(tmp_path: Path, width: float, height: float) -> None:
    """Upright and lying across: ground colour at the edges all round, nothing left undrawn."""
    image = pytest.importorskip("matplotlib.image")
    size = f"{width}x{height}"
    subprocess.run([sys.executable, "-m", "garboard_tablet.gallery", str(tmp_path), "who", size], check=True)
    picture = image.imread(tmp_path / f"who_{size}.png")[..., :3]
    assert picture.shape == (height, width, 3)
    ground = pytest.approx(theme.ground[:3], abs=0.01)
    for row, column in ((3, 3), (3, width - 4), (height - 4, 3), (height - 4, width - 4), (height - 4, width // 2)):
        assert tuple(picture[row, column]) == ground, (row, column)
