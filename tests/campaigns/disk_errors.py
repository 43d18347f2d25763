"""The library disk_errors.c, loaded before a campaign's program, and where the campaign keeps its folders."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

SHIM = Path(__file__).with_name("disk_errors.c")
PRELOADED = "GARBOARD_DISK_ERRORS"
MEMORY, ROOM = "/dev/shm", 2_000_000_000

KINDS = (
    *("open", "create", "write", "read", "fsync", "rename", "link", "unlink"),
    *("mkdir", "ftruncate", "flock", "chmod", "opendir", "stat", "rmdir"),
)
"""As disk_errors.c numbers them."""
ONCE, FROM_THERE, SHORT, KILLED, KILLED_HALF_WAY = range(5)
"""How a call is refused, or the program killed at it; as disk_errors.c numbers them."""


def is_preloaded() -> bool:
    """Whether this program's calls go through the library."""
    return bool(os.environ.get(PRELOADED))


def in_memory() -> str | None:
    """A folder in memory where there is room: the campaign refuses calls, and waits for no disk."""
    has_room = os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ROOM
    return MEMORY if has_room else None


def preload() -> None:
    """Compile the library and begin anew with it, unless that is done."""
    if is_preloaded():
        return
    with tempfile.TemporaryDirectory() as place:
        library = Path(place) / "disk_errors.so"
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", str(library), str(SHIM), "-ldl"], check=True)
        with_it = {**os.environ, PRELOADED: "1", "LD_PRELOAD": str(library)}
        sys.exit(subprocess.run([sys.executable, *sys.argv], env=with_it, check=False).returncode)
