"""The program in a process of its own that need not load it first: forked off one that holds it, and can be killed.

`python -m garboard shop` takes 0.7 s of the processor to load. That it loads is for the tests of the command.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
from multiprocessing.connection import Connection
from typing import TextIO

LOADED = (
    "cryptography.x509",
    "garboard.commands.cli",
    "garboard.hosting.apart",
    "garboard_engine_trial.calculators",
    "garboard_fuel_curve.calculators",
    "garboard_handover.calculators",
    "garboard_heading_calibration.calculators",
    "garboard_prop_check.calculators",
    "garboard_wiring_audit.calculators",
    "garboard_shop.announce",
    "garboard_shop.app",
    "garboard_shop.certificate",
    "garboard_shop.commands",
    "garboard_shop.embedded",
    "garboard_shop.pages.desk",
    "garboard_shop.pages.views",
    "garboard_shop.postgres",
    "garboard_shop.serve",
    "numpy",
    "segno",
    "uvicorn.loops.asyncio",
    "uvicorn.protocols.http.h11_impl",
)
"""What a start would load. One that is not here, or named another way, is loaded at each start."""
_FORKS = multiprocessing.get_context("forkserver")  # one that runs no threads: these could hold a lock for good
_FORKS.set_forkserver_preload(["__main__", *LOADED])


class ForkedProgram:
    """A running `garboard`, with what it prints to be read; as much of `subprocess.Popen` as a test of kills asks."""

    def __init__(self, arguments: list[str], environment: dict[str, str]) -> None:
        reading, writing = _FORKS.Pipe(duplex=False)
        self._process = _FORKS.Process(target=_run, args=(arguments, environment, writing), daemon=True)
        self._process.start()
        writing.close()
        self.stdout: TextIO = os.fdopen(os.dup(reading.fileno()), encoding="utf-8")
        reading.close()

    @property
    def pid(self) -> int:
        assert self._process.pid is not None
        return self._process.pid

    def poll(self) -> int | None:
        return self._process.exitcode

    def kill(self) -> None:
        self._process.kill()

    def wait(self) -> None:
        self._process.join()


def _run(arguments: list[str], environment: dict[str, str], told: Connection) -> None:
    from garboard.commands.cli import main

    os.environ.clear()
    os.environ.update(environment)
    time.tzset()
    os.dup2(told.fileno(), 1)
    told.close()
    sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
    sys.argv = ["garboard", *arguments]
    main()
