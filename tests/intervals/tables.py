"""Prints the tables of interval coverage in Markdown: as the settings declare, and with noise halved and doubled.

Run by hand:  python tests/intervals/tables.py [--seed 7] [--boats 500] [--only "slip"] [--noise] [--write]
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from intervals.harness import SEED, Coverage, Figure, Says, coverage, shortcomings
from intervals.trials import TRIALS

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
        Says.BETWEEN: f"from, to: {2 * found.half_width:.3g} apart",
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


README = Path(__file__).parents[1] / "README.md"
BEGIN, END = "<!-- interval coverage -->", "<!-- end of interval coverage -->"


def main(arguments: Sequence[str] | None = None) -> None:
    """Prints both tables, or one; puts them into the README when asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--boats", type=int, default=0, help="of each trial, as many as it says where left out")
    parser.add_argument("--only", default="", help="trials with this in their name, or in that of a figure")
    parser.add_argument("--noise", action="store_true", help="the second table too: noise halved and doubled")
    parser.add_argument("--write", action="store_true", help="both tables, into tests/README.md")
    said = parser.parse_args(arguments)
    lines = []
    for line in _lines(said.seed, said.boats, said.only, said.noise or said.write):
        print(line, flush=True)
        lines.append(line)
    if said.write:
        before, rest = README.read_text(encoding="utf-8").split(BEGIN)
        _, after = rest.split(END)
        README.write_text("\n".join([before + BEGIN, *lines, END + after]), encoding="utf-8")


def _lines(seed: int, boats: int, only: str, noise: bool) -> Iterator[str]:
    chosen = [one for one in TRIALS if only in one.name or any(only in figure.name for figure in one.figures)]
    with ProcessPoolExecutor() as pool:
        of_trial = partial(_found, seed=seed, boats=boats)
        usual, halved, doubled = (
            pool.map(of_trial, [trial.name for trial in chosen], [times] * len(chosen)) if times == 1.0 or noise else ()
            for times in (1.0, 0.5, 2.0)
        )
        yield from HEADING
        as_declared = []
        for trial, found in zip(chosen, usual, strict=True):
            as_declared.append(found)
            yield from (row(figure, found[figure.name]) for figure in trial.figures)
        if not noise:
            return
        yield from ("", "| figure | noise halved | as declared | doubled |", "| --- | --- | --- | --- |")
        for trial, *of_each in zip(chosen, halved, as_declared, doubled, strict=True):
            for figure in trial.figures:
                yield f"| {figure.name} | {' | '.join(_share(found[figure.name]) for found in of_each)} |"


def _found(name: str, noise: float, seed: int, boats: int) -> dict[str, Coverage]:
    return coverage(next(trial for trial in TRIALS if trial.name == name), noise, seed, boats)


def _share(found: Coverage) -> str:
    withheld = f", {100 * found.withheld / found.boats:.0f} % withheld" if found.withheld > 0.005 * found.boats else ""
    return f"{100 * found.share:.1f} %{withheld}"


if __name__ == "__main__":
    main()
