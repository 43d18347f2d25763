"""Some system calls of every command that writes are refused; tests/campaigns/error_campaign.py refuses every one."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CAMPAIGN = Path(__file__).parents[1] / "campaigns" / "error_campaign.py"


@pytest.mark.long
@pytest.mark.skipif(not (sys.platform == "linux" and shutil.which("cc")), reason="needs Linux and a C compiler")
def test_what_is_said_is_so_when_the_disk_refuses() -> None:
    """One run of 200, drawn by the seed; each case undisturbed, and about thirty with a call refused."""
    said = subprocess.run(
        [sys.executable, str(CAMPAIGN), "--every", "200"], capture_output=True, text=True, check=False
    )
    assert "0 lost, 0 untrue, 0 not flushed, 0 speechless, 0 hidden, 0 stuck" in said.stdout, said.stdout + said.stderr
    assert said.returncode == 0
