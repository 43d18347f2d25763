"""What a forecast of pitch costs: one fit and nine candidates, against the limit of 20 ms a page may take for it.

Run:  python tests/bench/bench_pitch.py

Median of 101, pure Python; that numpy is not loaded is checked.
"""

from __future__ import annotations

import statistics
import sys
import time

from garboard_prop_check.power_balance import Candidate, Tried, fit

ROUNDS, LIMIT = 101, 20.0
FIRST = Tried(engine_speed=5150, doubt=2.9, pitch=19, diameter=14.5, speed=37.5, speed_doubt=0.15, slip=0.1384)
SECOND = Tried(engine_speed=5560, doubt=2.9, pitch=17, diameter=14.5, speed=37.9, speed_doubt=0.15)


def forecast(*tried: Tried) -> float:
    """Milliseconds for one fit and nine candidates."""
    start = time.perf_counter()
    model = fit(tried, 5500, 0.02)
    for change in range(-4, 5):
        model.foresee(Candidate(pitch=FIRST.pitch + change))
    return (time.perf_counter() - start) * 1000


def main() -> None:
    """Prints both medians."""
    for name, tried in (("one propeller tried", (FIRST,)), ("two tried", (FIRST, SECOND))):
        taken = statistics.median(forecast(*tried) for _ in range(ROUNDS))
        print(f"| fit and nine candidates, {name} | {taken:.2f} ms | {taken / LIMIT:.3f} |")
    print("numpy was loaded" if "numpy" in sys.modules else "numpy was not loaded")


if __name__ == "__main__":
    main()
