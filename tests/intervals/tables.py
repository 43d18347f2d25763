"""Prints the tables of interval coverage in Markdown: as the settings declare, and with noise halved and doubled.

Run by hand:  python tests/intervals/tables.py [--seed 7] [--boats 500] [--only "slip"] [--noise]
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from intervals.harness import SEED, Coverage, Figure, Says, coverage, shortcomings

HEADING = (
    "| figure | boats | withheld | mean ± | bias | truths inside | verdict |",
    "| --- | --- | --- | --- | --- | --- | --- |",
)


def row(figure: Figure, found: Coverage) -> str:
    """A figure's line of the first table."""
    low, high = found.interval if found.stated else (0.0, 1.0)
    width = {
        Says.WITHIN: f"{found.half_width:.3g}",
        Says.AT_LEAST: "at least",
        Says.FACTOR: f"× or ÷ {2.718281828**found.half_width:.3g}",
    }[figure.says]
    verdict = "does not hold yet" if shortcomings(figure, found) else "holds"
    cells = (
        figure.name + (" (safe side)" if figure.safe_side else ""),
        f"{found.boats}",
        f"{100 * found.withheld / found.boats:.1f} %",
        width,
        f"{found.bias:+.2g}",
        f"{100 * found.share:.1f} % ({100 * low:.1f} to {100 * high:.1f})",
        verdict,
    )
    return f"| {' | '.join(cells)} |"


def main(arguments: Sequence[str] | None = None) -> None:
    """Prints both tables, or one."""
    from intervals.trials import TRIALS

    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--boats", type=int, default=0, help="of each trial, as many as it says where left out")
    parser.add_argument("--only", default="", help="trials with this in their name, or in that of a figure")
    parser.add_argument("--noise", action="store_true", help="the second table too: noise halved and doubled")
    said = parser.parse_args(arguments)
    chosen = [one for one in TRIALS if said.only in one.name or any(said.only in figure.name for figure in one.figures)]
    print("\n".join(HEADING))
    usual = {}
    for trial in chosen:
        usual[trial.name] = coverage(trial, seed=said.seed, boats=said.boats)
        for figure in trial.figures:
            print(row(figure, usual[trial.name][figure.name]), flush=True)
    if not said.noise:
        return
    print("\n| figure | noise halved | as declared | doubled |\n| --- | --- | --- | --- |")
    for trial in chosen:
        halved, doubled = (coverage(trial, times, said.seed, said.boats) for times in (0.5, 2.0))
        for figure in trial.figures:
            shares = (one[figure.name] for one in (halved, usual[trial.name], doubled))
            print(f"| {figure.name} | {' | '.join(_share(one) for one in shares)} |", flush=True)


def _share(found: Coverage) -> str:
    withheld = f", {100 * found.withheld / found.boats:.0f} % withheld" if found.withheld > 0.005 * found.boats else ""
    return f"{100 * found.share:.1f} %{withheld}"


if __name__ == "__main__":
    main()
