"""The app as a tablet's package would lay it out: byte code of -OO only, no metadata, no tests, no sources."""

from __future__ import annotations

import compileall
import json
import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

import garboard
import garboard_tablet

PROGRAM = """
import json, os, sys
for name, value in (("SDL_VIDEODRIVER", "offscreen"), ("KIVY_NO_ARGS", "1"), ("KIVY_NO_FILELOG", "1"),
                    ("KIVY_NO_CONFIG", "1"), ("KIVY_LOG_MODE", "PYTHON")):
    os.environ[name] = value
from pathlib import Path
from garboard_tablet.app import GarboardApp
from garboard_tablet.models.tablet import open_tablet
from garboard_tablet.ui.widgets import Press
tablet = open_tablet(Path(sys.argv[1]))
tablet.change_settings(tablet.settings.with_person("Robin"))
app = GarboardApp(tablet, threads=False)
from kivy.base import EventLoop, runTouchApp
app._run_prepare()
runTouchApp(embedded=True)
EventLoop.idle()
hull, job = tablet.open_job("XYZAB123F526")
from garboard_tablet.models.session import Route
route = Route(page="job", hull=hull, job=job)
app.way.go(route)
EventLoop.idle()
for position in ("port", "starboard"):
    tablet.add_piece(hull, ("engines", position))
drawn = []
for step in tablet.host.steps:
    app.way.open_step(route, step.key)
    EventLoop.idle()
    drawn.append(step.key)
    app.way.back_to("job")
app.findings.now(route)
import garboard
print(json.dumps({
    "plugins": [plugin.name for plugin in tablet.host.plugins],
    "problems": [[problem.name, problem.reason] for problem in tablet.host.problems],
    "steps": len(drawn),
    "docstrings": garboard.__doc__ is not None,
    "file": garboard.__file__,
}))
"""


@pytest.fixture
def package(tmp_path: Path) -> tuple[Path, Path]:
    """The program as byte code in one folder, and the libraries beside it without their metadata."""
    program, libraries = tmp_path / "program", tmp_path / "libraries"
    program.mkdir()
    libraries.mkdir()
    ignored = shutil.ignore_patterns("__pycache__", "tests")
    root = Path(garboard.__file__).parents[2]
    packages = [Path(garboard.__file__).parent, Path(garboard_tablet.__file__).parent, *root.glob("plugins/garboard_*")]
    for source in packages:
        shutil.copytree(source, program / source.name, ignore=ignored)
    compileall.compile_dir(program, optimize=2, legacy=True, quiet=2)
    for source_file in program.rglob("*.py"):
        source_file.unlink()
    for folder in {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}:
        for item in Path(folder).iterdir():
            if item.suffix not in (".dist-info", ".pth") and "editable" not in item.name:
                (libraries / item.name).symlink_to(item)
    return program, libraries


def test_the_app_works_without_sources_metadata_and_asserts(package: tuple[Path, Path], tmp_path: Path) -> None:
    """Every built-in plugin for the tablet loads by name, and every step of them is drawn."""
    from garboard.hosting.host import BUILT_IN

    program, libraries = package
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join((str(program), str(libraries)))}
    done = subprocess.run(
        [sys.executable, "-OO", "-S", "-c", PROGRAM, str(tmp_path / "tablet")],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["file"].endswith(".pyc")
    assert told["docstrings"] is False
    assert told["problems"] == []
    assert set(told["plugins"]) == set(BUILT_IN)
    assert told["steps"] > 20
