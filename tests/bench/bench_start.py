"""Import time of garboard against its libraries alone, and what assessing one job costs.

Run:  python tests/bench/bench_start.py

Import: in fresh interpreters, alternating, medians of 9. Assess: of one sample job, plugins loaded, warm; the
reference is reading and decoding the same job file and recordings and nothing more.
"""

from __future__ import annotations

import json
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
JOB = ROOT / "sample_jobs" / "kittiwake" / "job.json"


def imported(code: str) -> float:
    """Milliseconds an interpreter takes for an import, its own start excluded."""
    timed = f"import time; start = time.perf_counter(); {code}; print(time.perf_counter() - start)"
    done = subprocess.run([sys.executable, "-c", timed], capture_output=True, text=True, check=True)
    return float(done.stdout) * 1000


def median_of(rounds: int, *measured: Callable[[], float]) -> list[float]:
    """Medians, taken in turns so that a busy machine troubles all alike."""
    taken = [[one() for one in measured] for _ in range(rounds)]
    return [statistics.median(column) for column in zip(*taken, strict=True)]


def assessing() -> float:
    """Milliseconds to read, check and assess one job."""
    from garboard.hosting.host import make_host
    from garboard.judging.assessing import assess_job_file

    host = make_host()
    start = time.perf_counter()
    assess_job_file(JOB, host)
    return (time.perf_counter() - start) * 1000


def reading() -> float:
    """Milliseconds to decode the job file and its recordings."""
    from garboard.recordings import load_recording

    start = time.perf_counter()
    json.loads(JOB.read_text(encoding="utf-8"))
    for log in sorted(JOB.parent.glob("*.csv")):
        load_recording(log)
    return (time.perf_counter() - start) * 1000


def main() -> None:
    """Print the table."""
    libraries, ours = median_of(
        9, lambda: imported("import attrs, cattrs, pluggy"), lambda: imported("import garboard")
    )
    least, whole = median_of(5, reading, assessing)
    print(f"{platform.machine()}, Python {platform.python_version()}")
    print(f"import garboard: {ours:.0f} ms, {ours / libraries:.2f} of attrs, cattrs and pluggy ({libraries:.0f} ms)")
    print(f"assess one job: {whole:.0f} ms, {whole / least:.2f} of decoding its files ({least:.0f} ms)")


if __name__ == "__main__":
    main()
