"""Lays the program out as the packager wants it: one folder with a main.py and every package beside it.

Run:  python tablet_app/package/lay_out.py [FOLDER]
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
MAIN = '''"""Where Android's package begins."""

from garboard_tablet.app import run

run()
'''


def packages(root: Path = ROOT) -> Iterator[Path]:
    """The folders of the program's packages."""
    yield root / "core" / "garboard"
    yield root / "tablet_app" / "garboard_tablet"
    yield from sorted(path for path in (root / "plugins").glob("garboard_*") if path.is_dir())


def lay_out(folder: Path, root: Path = ROOT) -> None:
    """Make the folder anew."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for package in packages(root):
        shutil.copytree(package, folder / package.name, ignore=shutil.ignore_patterns("__pycache__", "tests"))
    (folder / "main.py").write_text(MAIN)


if __name__ == "__main__":
    lay_out(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "program")
