"""Interval coverage: how often the truth of a simulated boat lies inside the ± that a plugin states.

A trial makes boats one after the other, each with its truths and with a job as a person or a recorder would have made
it. The job goes through the program's own loaders to the calculators. A figure is one number they state. It holds when
the share of truths inside its ± is 95 %, as far as so many boats can tell.
"""

from __future__ import annotations

import enum
import math
import random
import statistics
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from typing import Any

import attrs
from scipy.stats import beta

from garboard.findings import Finding, NotEnoughData
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue, Measurement
from garboard.samples import Recording
from garboard.testing import job_from

LOW, HIGH = 0.90, 0.98
"""A figure fails when the 99 % interval of its coverage lies wholly outside."""
SAFE_SIDE_LOW = 0.95
"""A figure meant to be on the safe side holds at least this share."""
MOST_WITHHELD = 0.10
SURE = 0.99
FIGURES_FOR_LESS = 50  # a trial of fewer boats says nothing


class Says(enum.Enum):
    """What a figure claims of the truth."""

    WITHIN = "within ±"
    AT_LEAST = "at least"
    BETWEEN = "from, to"
    FACTOR = "× or ÷"


@attrs.frozen
class Stated:
    """What a plugin stated of one boat: a value, and the ends of what it may be."""

    value: float
    low: float
    high: float


@attrs.frozen(kw_only=True)
class Figure:
    """One figure with a ± of one plugin.

    name       : as in the tables
    calculator : that states it
    number     : name of its Number; ignored where `read` is given
    of         : whose number it is, such as an engine's position; empty for the first finding that has it
    truth      : key among the case's truths; the number's name where empty
    read       : takes it from the findings where a Number's ± is not all there is to it; None where it is withheld
    safe_side  : why it is meant to hold more than 95 %; empty for a figure meant to hold 95 %
    """

    name: str
    calculator: str
    number: str = ""
    of: str = ""
    truth: str = ""
    says: Says = Says.WITHIN
    read: Callable[[Iterable[Finding]], Stated | None] | None = None
    safe_side: str = ""

    def stated(self, findings: Iterable[Finding]) -> Stated | None:
        """What the findings say of it, None where they say nothing or name no ±."""
        if self.read is not None:
            return self.read(findings)
        for finding in findings:
            for number in finding.numbers:
                if number.name == self.number and self.of in ("", finding.of):
                    half = number.expanded_uncertainty
                    if self.says is Says.AT_LEAST:
                        return Stated(number.value, number.value, math.inf)
                    if half is not None:
                        return Stated(number.value, number.value - half, number.value + half)
        return None


@attrs.frozen
class Case:
    """One simulated boat: its job, and what is true of it."""

    job: JobView
    truths: Mapping[str, float]


@attrs.frozen(kw_only=True)
class Trial:
    """Simulated boats of one kind, and the figures read from their jobs.

    make  : a case from a source of chance and how many times the usual noise it has
    boats : how many of them are tried; 500, or 2000 where one is cheap
    """

    name: str
    make: Callable[[random.Random, float], Case]
    figures: tuple[Figure, ...]
    boats: int = 500


@attrs.frozen(kw_only=True)
class Coverage:
    """How a figure did.

    boats    : tried
    withheld : of which the figure was not stated
    inside   : truths inside what was stated
    bias     : mean of value less truth; of their logarithms for a factor
    bias_error : standard error of the bias
    half_width : mean of the stated half widths
    """

    boats: int
    withheld: int
    inside: int
    bias: float
    bias_error: float
    half_width: float

    @property
    def stated(self) -> int:
        """Boats of which it was stated."""
        return self.boats - self.withheld

    @property
    def share(self) -> float:
        """Of the truths inside what was stated."""
        return self.inside / self.stated if self.stated else 0.0

    @property
    def interval(self) -> tuple[float, float]:
        """99 % interval of that share, by Clopper and Pearson."""
        rest = (1 - SURE) / 2
        low = beta.ppf(rest, self.inside, self.stated - self.inside + 1) if self.inside else 0.0
        high = beta.ppf(1 - rest, self.inside + 1, self.stated - self.inside) if self.inside < self.stated else 1.0
        return float(low), float(high)


def shortcomings(figure: Figure, found: Coverage) -> list[str]:
    """Why a figure does not hold what it says; nothing where it does."""
    low, high = found.interval
    wrong = []
    if found.withheld > MOST_WITHHELD * found.boats:
        wrong.append(f"withheld for {found.withheld} of {found.boats} boats")
    if found.stated < FIGURES_FOR_LESS:
        return [*wrong, f"stated for {found.stated} boats, too few to tell"]
    told = f"{100 * found.share:.1f} % of the truths inside (99 % sure of {100 * low:.1f} to {100 * high:.1f} %)"
    if high < LOW:
        wrong.append(f"too narrow: {told}")
    if figure.safe_side and high < SAFE_SIDE_LOW:
        wrong.append(f"not on the safe side: {told}")
    if low > HIGH and not figure.safe_side:
        wrong.append(f"too wide: {told}")
    claims_a_value = figure.says not in (Says.AT_LEAST, Says.BETWEEN)
    if claims_a_value and abs(found.bias) > found.half_width / 10 + 2 * found.bias_error:
        wrong.append(f"biased by {found.bias:+.3g}, a tenth of its ± is {found.half_width / 10:.2g}")
    return wrong


@lru_cache(maxsize=1)
def host() -> PluginHost:
    """The built-in plugins."""
    return make_host(entry_points=False)


SEED = 20261129


def coverage(trial: Trial, noise: float = 1.0, seed: int = SEED, boats: int = 0) -> dict[str, Coverage]:
    """How every figure of a trial did, by its name.

    noise : times the usual noise; tolerances of instruments stay as they are
    seed  : other boats
    boats : how many, those of the trial where 0
    """
    number = boats or trial.boats
    found: dict[str, list[tuple[Stated | None, float]]] = {figure.name: [] for figure in trial.figures}
    for boat in range(number):
        case = trial.make(random.Random(f"{seed} {trial.name} {boat}"), noise)
        job = host().with_defaults(case.job)
        findings = {key: _findings(key, job) for key in dict.fromkeys(one.calculator for one in trial.figures)}
        for figure in trial.figures:
            truth = case.truths[figure.truth or figure.number]
            found[figure.name].append((figure.stated(findings[figure.calculator]), truth))
    return {figure.name: _summed_up(figure, found[figure.name]) for figure in trial.figures}


def _findings(key: str, job: JobView) -> tuple[Finding, ...]:
    calculator = next(one for one in host().calculators if one.key == key)
    try:
        return tuple(calculator.compute(job))
    except NotEnoughData:
        return ()


def _summed_up(figure: Figure, found: Iterable[tuple[Stated | None, float]]) -> Coverage:
    everything = list(found)
    told = [(stated, truth) for stated, truth in everything if stated is not None]
    scale = math.log if figure.says is Says.FACTOR else float
    off = [scale(stated.value) - scale(truth) for stated, truth in told]
    widths = [(scale(stated.high) - scale(stated.low)) / 2 for stated, _ in told if figure.says is not Says.AT_LEAST]
    return Coverage(
        boats=len(everything),
        withheld=len(everything) - len(told),
        inside=sum(stated.low <= truth <= stated.high for stated, truth in told),
        bias=statistics.fmean(off) if off else 0.0,
        bias_error=statistics.stdev(off) / math.sqrt(len(off)) if len(off) > 1 else 0.0,
        half_width=statistics.fmean(widths) if widths else 0.0,
    )


# --- jobs through the loaders


def typed_job(vessel: Mapping[str, Any], values: Mapping[FieldKey, JsonValue], **settings: JsonValue) -> JobView:
    """A job as its file holds it, read and checked as the program reads one. Settings as plugin__name="1 kn"."""
    measurements: list[JsonValue] = [
        {"step": step, "field": field, "row": row, "of": of, "value": value}
        for (step, field, row, of), value in values.items()
    ]
    return job_from(
        {
            "vessel": {"hull_number": "XYZ00001A626", **vessel},
            "job": {"id": "J1"},
            "measurements": measurements,
            "settings": {key.replace("__", ".", 1): value for key, value in settings.items()},
        },
        host(),
    )


def with_recording(job: JobView, step: str, field: str, recording: Recording) -> JobView:
    """A job with a recording in a field of a step, as if its file had been read."""
    held = Measurement(step=step, field=field, value={"file": recording.name})
    others = job.load_recording

    def load(reference: str) -> Recording:
        return recording if reference == recording.name else others(reference)

    return attrs.evolve(job, measurements=(*job.measurements, held), load_recording=load)


def bounded(chance: random.Random, half_width: float) -> float:
    """An error that may lie anywhere within a bound."""
    return chance.uniform(-half_width, half_width)


def at_95(chance: random.Random, half_width: float) -> float:
    """A normal error whose 95 % half width is given."""
    return chance.gauss(0.0, half_width / 1.96)


def typed(value: float, digit: float, unit: str) -> str:
    """A reading as a person types it, to the last digit the display shows."""
    decimals = max(0, math.ceil(-math.log10(digit) - 1e-9))
    return f"{round(value / digit) * digit:.{decimals}f} {unit}"
