"""Import time of garboard against the least that gives its names, and what assessing one job costs.

Run:  python tests/bench/bench_start.py

Import: in fresh interpreters that keep byte code, as installed programs do, medians of five taken in turns. The limit
is the file `garboard/__init__.py` written with nothing of ours: pluggy, and the mark and the version made from it.
Assess: of one sample job, plugins loaded, warm; the limit is decoding the same job file and recordings, nothing more.
"""

from __future__ import annotations

import json
import os
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import gettempdir

ROUNDS = 5
ROOT = Path(__file__).parents[2]
JOB = ROOT / "sample_jobs" / "kittiwake" / "job.json"
LEAST = 'import pluggy; hookimpl = pluggy.HookimplMarker("garboard"); version = "0.1.0"'
"""The least work that gives what `import garboard` gives: its mark for hooks, and a version."""


def imported(code: str) -> float:
    """Milliseconds an interpreter takes for an import, its own start excluded."""
    timed = f"import time; start = time.perf_counter(); {code}; print(time.perf_counter() - start)"
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    env = kept | {"PYTHONPYCACHEPREFIX": str(Path(gettempdir()) / "bench_start byte code")}
    done = subprocess.run([sys.executable, "-c", timed], capture_output=True, text=True, check=True, env=env)
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
    imports = [lambda: imported(LEAST), lambda: imported("import garboard")]
    median_of(1, *imports)  # which makes the byte code
    limit, ours = median_of(ROUNDS, *imports)
    least, whole = median_of(ROUNDS, reading, assessing)
    print(f"{platform.machine()}, Python {platform.python_version()}")
    print(f"import garboard: {ours:.1f} ms, {ours / limit:.2f} of the same names without it ({limit:.1f} ms)")
    print(f"assess one job: {whole:.0f} ms, {whole / least:.2f} of decoding its files ({least:.0f} ms)")


if __name__ == "__main__":
    main()
