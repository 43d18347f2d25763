"""Forecasts of the balance of power, and what boats of other laws then did: counted by what was asked of them.

Run by hand:  python tests/intervals/pitch_forecast_trials.py [--seeds 1 2 3] [--boats 500] [--write]
"""

from __future__ import annotations

import argparse
import functools
import itertools
import math
import random
import statistics
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

import attrs
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard_prop_check.power_balance import Candidate, Foreseen, Model, Tried, fit
from intervals.other_laws import (
    ENGINE_RUN_TO_RUN,
    PITCH_TOLERANCE,
    SPEED_SHOWN,
    OtherBoat,
    Propeller,
    Shown,
    drawn,
    how_far,
    read,
)

SEEDS, BOATS, CHOICES = (101, 102, 103), 500, 700
CHANGES = (-4, -3, -2, -1, 1, 2, 3, 4)
HEAVIER = 1.15
DISPLAY = 10 / math.sqrt(12)
"""Standard uncertainty of a display that steps by 10 rev/min."""

RULE, RULE_BY_BOAT, RULE_BY_PROPELLER = 200.0, 60.0, 90.0
"""The trade's rule, and how far it is off from boat to boat and from propeller to propeller [rev/min]."""


@attrs.frozen(kw_only=True)
class Outcome:
    """A forecast, and what the boat did.

    is_limited : the forecast lies above the limiter, so it has no interval
    by_rule    : chance by 200 rev/min an inch given its own spread
    rule_lands : whether 200 rev/min an inch says it lands
    """

    change: int
    runs: int
    weight: float
    slip: float
    ratio: float
    is_limited: bool
    foreseen: Foreseen
    shown: Shown
    chance: float
    landed: bool
    by_rule: float
    rule_lands: bool

    @property
    def engine_speed_held(self) -> bool:
        """Whether the engine speed lay inside its interval."""
        return abs(self.shown.engine_speed - self.foreseen.engine_speed) <= self.foreseen.expanded_uncertainty

    @property
    def speed_held(self) -> bool:
        """Whether the boat speed lay inside its interval."""
        assert self.foreseen.speed is not None
        half_width = 1.96 * self.foreseen.speed_standard_uncertainty
        return abs(self.shown.speed - self.foreseen.speed) <= half_width


@attrs.frozen(kw_only=True)
class Choice:
    """Whether what was tried first landed: by the best chance, by two rules, by somebody who knows how each ends.

    is_below : its first run was below its window
    by_law   : by somebody who knows every law and the propeller it has; None where nobody asked
    """

    is_below: bool
    smallest: bool
    middle: bool
    by_chance: bool
    by_law: bool | None
    perfect: bool


# --- one boat


@attrs.frozen
class Trial:
    """A boat, whether its diameters are known, and what it showed with the propeller it had."""

    boat: OtherBoat
    knows_diameter: bool
    first: Shown
    chance: random.Random

    def tried(self, stamped: float, shown: Shown) -> Tried:
        """What a run says."""
        theory = attrs.evolve(self.boat.boat, pitch=stamped).theoretical_speed_at(shown.engine_speed)
        return Tried(
            engine_speed=shown.engine_speed,
            doubt=DISPLAY,
            pitch=stamped,
            diameter=self.boat.diameter_for(stamped) if self.knows_diameter else None,
            speed=shown.speed,
            speed_doubt=SPEED_SHOWN,
            slip=1 - shown.speed / theory,
        )

    def candidate(self, change: int, weight: float = 1.0) -> Candidate:
        """Another propeller of the make."""
        stamped = self.boat.stamped + change
        diameter = self.boat.diameter_for(stamped) if self.knows_diameter else None
        return Candidate(pitch=stamped, diameter=diameter, weight=weight)

    def fitted(self, *more: Tried) -> Model:
        """What the first run and others teach."""
        return fit([self.tried(self.boat.stamped, self.first), *more], self.boat.rated, PITCH_TOLERANCE)

    def shows(self, propeller: Propeller, weight: float = 1.0) -> Shown:
        """What a run with it shows."""
        return read(*self.boat.runs(propeller, weight), self.chance)

    def lands(self, shown: Shown) -> bool:
        """Whether that is in the window."""
        return self.boat.low <= shown.engine_speed <= self.boat.high

    @property
    def is_out(self) -> bool:
        """Whether the first run was out of it."""
        return not self.lands(self.first)


def _trial(chance: random.Random) -> Trial:
    boat = drawn(chance)
    return Trial(boat, chance.random() < 0.5, read(*boat.runs(boat.fitted), chance), chance)


def _outcomes(trial: Trial) -> Iterator[Outcome]:
    boat, model = trial.boat, trial.fitted()
    real = {change: boat.another(change, trial.chance) for change in CHANGES}
    shown = {change: trial.shows(propeller) for change, propeller in real.items()}
    for change in CHANGES:
        yield from _outcome(trial, model, change, shown[change], runs=1)
    change = trial.chance.choice((-2, -1, 1, 2))
    yield from _outcome(trial, model, change, trial.shows(real[change], HEAVIER), runs=1, weight=HEAVIER)
    second = _best(trial, model)
    after = trial.fitted(trial.tried(boat.stamped + second, shown[second]))
    for change in CHANGES:
        if change != second:
            yield from _outcome(trial, after, change, shown[change], runs=2)


def _best(trial: Trial, model: Model) -> int:
    chances = {}
    for change in CHANGES:
        found = model.foresee(trial.candidate(change))
        if found:
            chances[change] = found.chance(trial.boat.low, trial.boat.high)
    good = [change for change, one in chances.items() if one >= max(chances.values()) - 0.01]
    return min(good, key=abs)


def _outcome(
    trial: Trial, model: Model, change: int, shown: Shown, *, runs: int, weight: float = 1.0
) -> Iterator[Outcome]:
    """None where the model does not reach so far."""
    boat = trial.boat
    foreseen = model.foresee(trial.candidate(change, weight))
    if foreseen is None:
        return
    rule = trial.first.engine_speed - RULE * change
    slip = trial.tried(boat.stamped, trial.first).slip
    assert slip is not None
    yield Outcome(
        change=change,
        runs=runs,
        weight=weight,
        slip=slip,
        ratio=boat.stamped / boat.fitted.diameter,
        is_limited=foreseen.engine_speed > boat.boat.limiter,
        foreseen=foreseen,
        shown=shown,
        chance=foreseen.chance(boat.low, boat.high),
        landed=trial.lands(shown),
        by_rule=_chance_by_rule(rule, change, boat),
        rule_lands=boat.low <= rule <= boat.high,
    )


def _chance_by_rule(rule: float, change: int, boat: OtherBoat) -> float:
    spread = statistics.NormalDist(rule, math.hypot(change * RULE_BY_BOAT, RULE_BY_PROPELLER))
    return spread.cdf(boat.high) - spread.cdf(boat.low)


def _choice(trial: Trial, with_law: bool) -> Choice:
    boat, turned = trial.boat, trial.first.engine_speed
    lands = {change: trial.lands(trial.shows(boat.another(change, trial.chance))) for change in CHANGES}
    way = 1 if turned > boat.high else -1
    middle, three_quarters = (boat.low + share * (boat.high - boat.low) for share in (0.5, 0.75))
    above = turned - three_quarters
    rules = (above / 200, above / 150, boat.stamped * above / three_quarters)
    smallest = way * min(4, max(1, min(abs(round(one)) for one in rules)))
    return Choice(
        is_below=way < 0,
        smallest=lands[smallest],
        middle=lands[way * min(4, max(1, abs(round((turned - middle) / RULE))))],
        by_chance=lands[_best(trial, trial.fitted())],
        by_law=lands[_best_by_law(boat)] if with_law else None,
        perfect=any(lands.values()),
    )


def _best_by_law(boat: OtherBoat) -> int:
    """The change that ends furthest inside the window, were every propeller as its stamp and its series say."""

    def inside(change: int) -> float:
        stamped = boat.stamped + change
        takes = math.pow(stamped / boat.stamped, boat.series)
        turned, _ = boat.runs(Propeller(stamped, boat.diameter_for(stamped), takes))
        return min(turned - boat.low, boat.high - turned)

    return max(CHANGES, key=inside)


# --- many boats


@functools.lru_cache(maxsize=4)
def outcomes(seeds: tuple[int, ...] = SEEDS, boats: int = BOATS) -> tuple[Outcome, ...]:
    """Every forecast of so many boats a seed, and what came of it."""
    return tuple(
        one for seed in seeds for boat in range(boats) for one in _outcomes(_trial(random.Random(f"{seed} {boat}")))
    )


@functools.lru_cache(maxsize=4)
def choices(seeds: tuple[int, ...] = SEEDS, boats: int = CHOICES, with_law: bool = False) -> tuple[Choice, ...]:
    """What was tried first on so many boats a seed that were out of their windows.

    with_law : also what somebody would try who knows every law, which takes as long again
    """
    return tuple(itertools.chain.from_iterable(_choices_of(seed, boats, with_law) for seed in seeds))


def _choices_of(seed: int, boats: int, with_law: bool) -> Iterator[Choice]:
    drawn_boats = (_trial(random.Random(f"choice {seed} {boat}")) for boat in itertools.count())
    out = itertools.islice((one for one in drawn_boats if one.is_out), boats)
    return (_choice(trial, with_law) for trial in out)


@functools.lru_cache(maxsize=1)
def distances(seed: int = SEEDS[0], boats: int = BOATS) -> dict[str, tuple[float, float]]:
    """How far the laws are from what the balance takes as usual: mean and deviation of its numbers, by name."""
    return dict(how_far([drawn(random.Random(f"{seed} {boat}")) for boat in range(boats)]))


@attrs.frozen
class Held:
    """How often intervals of a group held."""

    forecasts: int
    engine_speed: float
    speed: float
    half_width: float


def held(found: Iterable[Outcome]) -> Held:
    """Of a group of forecasts, under the limiter."""
    group = [one for one in found if not one.is_limited]
    return Held(
        len(group),
        statistics.fmean(one.engine_speed_held for one in group),
        statistics.fmean(one.speed_held for one in group),
        statistics.median(one.foreseen.expanded_uncertainty for one in group),
    )


GROUPS: dict[str, Callable[[Outcome], bool]] = {
    "slip under 9 %": lambda one: one.slip < 0.09,
    "slip 9 to 13 %": lambda one: 0.09 <= one.slip < 0.13,
    "slip 13 to 17 %": lambda one: 0.13 <= one.slip < 0.17,
    "slip from 17 %": lambda one: one.slip >= 0.17,
    "pitch ratio under 1.2": lambda one: one.ratio < 1.2,
    "pitch ratio 1.2 to 1.4": lambda one: 1.2 <= one.ratio <= 1.4,
    "pitch ratio over 1.4": lambda one: one.ratio > 1.4,
    "change of 1 in": lambda one: abs(one.change) == 1,
    "change of 2 in": lambda one: abs(one.change) == 2,
    "change of 3 in": lambda one: abs(one.change) == 3,
    "change of 4 in": lambda one: abs(one.change) == 4,
}


def as_run(found: Iterable[Outcome], runs: int = 1) -> list[Outcome]:
    """The forecasts after so many runs, with the weight of those."""
    return [one for one in found if one.runs == runs and one.weight == 1]


def table(found: Sequence[Outcome]) -> dict[str, Held]:
    """By group, pooled over the seeds; every one has more than 200 forecasts."""
    first = as_run(found)
    groups = {name: held(filter(is_in, first)) for name, is_in in GROUPS.items()}
    return {
        "all, after one run": held(first),
        **groups,
        "all, after two runs": held(as_run(found, runs=2)),
        "15 % heavier": held(one for one in found if one.weight != 1),
    }


@attrs.frozen
class Decile:
    """Forecasts of a tenth of the chances: how often they landed, and between what shares that may lie."""

    forecasts: int
    told: float
    landed: float
    least: float
    most: float

    @property
    def holds(self) -> bool:
        """Whether the share lies inside its binomial band, widened by 5 points."""
        return self.least <= self.landed <= self.most


def deciles(found: Sequence[Outcome]) -> list[Decile]:
    """Those with any forecast, from the least chance up."""
    filled = []
    for tenth in range(10):
        group = [one for one in as_run(found) if tenth == min(9, int(10 * one.chance))]
        if group:
            told, number = statistics.fmean(one.chance for one in group), len(group)
            least, most = (float(binom.ppf(end, number, told)) / number for end in (0.025, 0.975))
            landed = statistics.fmean(one.landed for one in group)
            filled.append(Decile(number, told, landed, least - 0.05, most + 0.05))
    return filled


def brier(found: Sequence[Outcome]) -> tuple[float, float, float]:
    """Of the balance, of 200 rev/min an inch given its own spread, and of the same as yes or no."""
    group = as_run(found)
    return (
        statistics.fmean((one.chance - one.landed) ** 2 for one in group),
        statistics.fmean((one.by_rule - one.landed) ** 2 for one in group),
        statistics.fmean((one.rule_lands - one.landed) ** 2 for one in group),
    )


def landed(found: Sequence[Choice]) -> dict[str, float]:
    """How often what was tried first landed, by who chose it."""
    asked = [name for name in WHO_CHOSE if getattr(found[0], name) is not None]
    return {name: statistics.fmean(getattr(one, name) for one in found) for name in asked}


WHO_CHOSE = {
    "smallest": "smallest change of the rules, aimed at three quarters: the advice before",
    "middle": "200 rev/min an inch, aimed at the middle",
    "by_chance": "best chance by the balance: the advice now",
    "by_law": "by somebody who knows every law, and not what a propeller differs from its stamp",
    "perfect": "by somebody who knows how each would end",
}


def floor(found: Sequence[Outcome]) -> float:
    """Median half width [rev/min] of somebody who knows every law, but neither propeller's pitch: both are within 2 %
    of their stamps and each outing differs."""
    c, s = (distances()[name][0] for name in ("c", "s"))
    for_pitch = c / (3 - s) * PITCH_TOLERANCE * math.sqrt(2 / 3)
    share = 1.96 * math.hypot(for_pitch, math.sqrt(2) * ENGINE_RUN_TO_RUN)
    return share * statistics.median(one.foreseen.engine_speed for one in as_run(found) if not one.is_limited)


# --- printed

README = Path(__file__).parents[1] / "README.md"
BEGIN, END = "<!-- pitch forecasts -->", "<!-- end of pitch forecasts -->"


HEADING = ("| forecasts | number | engine speed held | boat speed held | median ± [rev/min] |", f"|{' --- |' * 5}")


def row(name: str, one: Held) -> str:
    """A group's line of the first table."""
    shares = " | ".join(f"{100 * each:.1f} %" for each in (one.engine_speed, one.speed))
    return f"| {name} | {one.forecasts} | {shares} | {one.half_width:.0f} |"


def lines(seeds: tuple[int, ...], boats: int) -> Iterator[str]:
    """The tables in Markdown."""
    found = outcomes(seeds, boats)
    yield from HEADING
    yield from (row(name, one) for name, one in table(found).items())
    yield from ("", "| chance told | forecasts | landed | may lie within |", "| --- | --- | --- | --- |")
    for each in deciles(found):
        told = f"{100 * each.told:.0f} % | {each.forecasts} | {100 * each.landed:.0f} %"
        yield f"| {told} | {100 * each.least:.0f} to {100 * each.most:.0f} % |"
    balance, rule, yes_or_no = brier(found)
    yield from (
        "",
        f"Brier score {balance:.4f}; 200 rev/min an inch with its spread {rule:.4f}, as yes or no {yes_or_no:.4f}.",
    )
    yield from _first_choices(choices(seeds, CHOICES if boats == BOATS else boats, with_law=True))
    yield f"Floor that the pitch tolerance sets: ± {floor(found):.0f} rev/min."
    far = ", ".join(f"{name} {mean:.2f} ± {deviation:.2f}" for name, (mean, deviation) in distances().items())
    yield f"The laws of these boats, as the balance would call them: {far}."


def _first_choices(found: Sequence[Choice]) -> Iterator[str]:
    """How often the first choice landed, by who made it, and how much more often it could have."""
    groups = [list(found), [one for one in found if one.is_below], [one for one in found if not one.is_below]]
    shares = [landed(group) for group in groups]
    yield from ("", f"| the first choice lands, of {len(found)} boats out of their windows | all | below | above |")
    yield f"|{' --- |' * 4}"
    for name, words in WHO_CHOSE.items():
        yield f"| {words} | {' | '.join(f'{100 * one[name]:.1f} %' for one in shares)} |"
    before, now, most = (100 * shares[0][name] for name in ("smallest", "by_chance", "perfect"))
    yield ""
    yield f"The advice now lands {now - before:.1f} points more often than the one before. No choice could land"
    yield f"more than {most - before:.1f} points more often."


def main(arguments: Sequence[str] | None = None) -> None:
    """Prints the tables; puts them into the README when asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seeds", type=int, nargs="+", default=list(SEEDS))
    parser.add_argument("--boats", type=int, default=BOATS, help="of each seed")
    parser.add_argument("--write", action="store_true", help="into tests/README.md")
    said = parser.parse_args(arguments)
    told = list(lines(tuple(said.seeds), said.boats))
    print("\n".join(told))
    if said.write:
        before, rest = README.read_text(encoding="utf-8").split(BEGIN)
        _, after = rest.split(END)
        README.write_text("\n".join([before + BEGIN, *told, END + after]), encoding="utf-8")


if __name__ == "__main__":
    main()
