"""What was tried: the propellers of a job side by side, each with its own runs, and which stays.

Each is judged as if it were the one fitted and only its own runs had been made. Nothing here is stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.findings import Finding, Limit, NotEnoughData, Number, Table, Verdict, end_beside, rounded
from garboard.fittings import (
    Fitting,
    check_fitted,
    fitted_now,
    fittings_of,
    is_of_runs,
    name_of_fitting,
    of_fitting,
    with_fitting,
)
from garboard.hosting.host import PluginHost
from garboard.job_view import Disagreement, JobView
from garboard.record_types import frozen
from garboard.records import Engine, Measurement, Vessel
from garboard.report.as_typed import as_typed
from garboard.report.outline import first_sentence, result_of
from garboard.steps import Assessed

ENGINE_SPEED = "engine speed"
LAUNCH = "time_to_plane"
"""The column of a run that says how long the boat took to plane."""

_WORST_FIRST = (Verdict.FAIL, Verdict.NOT_ENOUGH_DATA, Verdict.ADVISE, Verdict.PASS)


_LOADS = (
    ("persons", "{} on board", "", 1.0),
    ("fuel_level", "fuel {}", "%", 20.0),
    ("gear", "gear {}", "lb", 100.0),
)
"""What a row says was aboard, its words, its unit, and what is told as unlike: one person, or so much of fuel or gear;
common practice, no source."""


@frozen(kw_only=True)
class Told:
    """A number of a trial: what it is, of which piece, as told, and what its verdict holds it against."""

    number: Number
    of: str
    limit: Limit | None
    is_doubted: bool

    @property
    def text(self) -> str:
        return "in doubt" if self.is_doubted else str(self.number)


@frozen(kw_only=True)
class Trial:
    """One fitting that was tried.

    name    : of its propellers ("17 steel"; "port 17 steel, starboard 17 brass" where engines differ)
    sizes   : of each propeller, in words
    stays   : it is the one fitted now
    rows    : names of its runs, by step
    loads   : what its rows say was aboard, by field
    told    : figures to compare, by what they are
    finding : the worst of those that judge it, which gives its verdict; None where nothing does
    why     : what that says first
    """

    fitting: Fitting
    name: str
    sizes: str
    stays: bool
    rows: Mapping[str, tuple[str, ...]]
    load: str
    loads: Mapping[str, tuple[tuple[float, str], ...]]
    mounting: str
    time_to_plane: str
    told: Mapping[str, tuple[Told, ...]]
    finding: Finding | None
    verdict: Verdict
    why: str

    def cell(self, what: str) -> str:
        """A figure in words, engine by engine; "" where there is none."""
        found = self.told.get(what, ())
        several = len(found) > 1
        return ", ".join(f"{one.of} {one.text}" if several and one.of else one.text for one in found)

    def window(self, what: str = ENGINE_SPEED) -> str:
        """What a figure is held against, in words."""
        limits = dict.fromkeys(_in_words(one) for one in self.told.get(what, ()) if one.limit)
        return ", ".join(limits)


def trials_of(view: JobView, host: PluginHost) -> tuple[Trial, ...]:
    """Every fitting of a job, in the order they were tried; none where there was only the one fitted now."""
    steps = tuple(step.key for step in host.steps if is_of_runs(field.name for field in step.all_fields()))
    now = _on_the_boat(view)
    tried = fittings_of(view, steps)
    if not set(tried) - {now}:
        return ()
    fittings = tried if now is None or now in tried else (*tried, now)
    return tuple(_trial(view, host, fitting, steps, stays=fitting == now) for fitting in fittings)


def _on_the_boat(view: JobView) -> Fitting | None:
    """The fitting that is on it now; None where values disagree about it."""
    try:
        check_fitted(view)
    except NotEnoughData:
        return None
    return fitted_now(view.vessel)


def foreseen_of(host: PluginHost, assessed: Iterable[Assessed]) -> tuple[str, ...]:
    """What the shop foresaw of propellers, run or not: a sentence each. Not for the owner's book."""
    of_shop = {one.key for one in host.calculators if one.of_shop}
    found = [one.finding for one in assessed if one.calculator in of_shop]
    return tuple(f"{_as_begun(one.about)}: {result_of(one)}" for one in found)


def table_of_trials(trials: Sequence[Trial]) -> Table:
    """The trials side by side: a row for each thing to compare, a column for each fitting."""
    rows = [(title, *cells) for title, cells in lines_of_trials(trials) if any(cells)]
    return Table("Side by side", ("", *(heading_of(one) for one in trials)), tuple(rows))


def heading_of(trial: Trial) -> str:
    """What a fitting is called, and whether it stays."""
    return f"{trial.name}, fitted" if trial.stays else trial.name


def lines_of_trials(trials: Sequence[Trial]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """What is compared, line by line, with a cell for each trial."""
    yield "Propeller", tuple(one.sizes for one in trials)
    yield "Load", tuple(one.load for one in trials)
    yield "Mounting height", tuple(one.mounting for one in trials)
    for what in dict.fromkeys((ENGINE_SPEED, *(what for one in trials for what in one.told))):
        yield what[:1].upper() + what[1:], tuple(one.cell(what) for one in trials)
        if any(one.window(what) for one in trials) and what == ENGINE_SPEED:
            yield "Window", tuple(one.window(what) for one in trials)
    yield "Time to plane", tuple(one.time_to_plane for one in trials)
    yield "Verdict", tuple(one.verdict.value for one in trials)


def which_stays(trials: Sequence[Trial]) -> Iterator[str]:
    """Which stays and why, then what the others came to: a sentence for each."""
    for one in sorted(trials, key=lambda one: not one.stays):
        keeps = "stays" if one.verdict in (Verdict.PASS, Verdict.ADVISE) else "is on the boat now"
        yield f"{_as_begun(one.name)} {keeps if one.stays else 'was tried'}{_of_which(one)}: {one.why}"
    yield from _unlike_loads(trials)


def _of_which(trial: Trial) -> str:
    """Which of several engines is spoken of; "" where there is one, or all are."""
    found = trial.finding
    return f". {_as_begun(found.about)}" if found and found.of and len(trial.fitting) > 1 else ""


def _as_begun(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _unlike_loads(trials: Sequence[Trial]) -> Iterator[str]:
    """Where the runs were not made with one load, a figure may owe to that what seems the propeller's."""
    told = []
    for field, words, _, apart in _LOADS:
        aboard = [one for trial in trials for one in trial.loads.get(field, ())]
        told.append(_unlike(words, aboard, apart))
    if any(told):
        yield f"Not all runs had one load ({', '.join(filter(None, told))}): a lighter boat turns and runs faster."


def _unlike(words: str, aboard: Sequence[tuple[float, str]], apart: float) -> str:
    """The least and the most of what was aboard as typed, where they are so far apart."""
    if not aboard:
        return ""
    low, high = min(aboard), max(aboard)
    return words.format(f"{low[1]} to {high[1]}") if high[0] - low[0] >= apart else ""


def _trial(view: JobView, host: PluginHost, fitting: Fitting, steps: Sequence[str], *, stays: bool) -> Trial:
    its = of_fitting(attrs.evolve(view, disagreements=_but_of_the_fitted(view)), fitting, steps)
    vessel = with_fitting(view.vessel, fitting)
    assessed = as_typed(its, host.assess(its, steps), host)
    compared = {calculator.key: calculator.compared for calculator in host.calculators if calculator.compared}
    led = {one.step for one in host.calculators if one.leads and one.step in steps}
    judging = {one.key for one in host.calculators if one.step in led and (one.leads or one.compared)}
    found = [one.finding for one in assessed if one.calculator in judging]
    worst = min(found, key=lambda one: (_WORST_FIRST.index(one.verdict), not one.limits), default=None)
    return Trial(
        fitting=fitting,
        name=name_of_fitting(vessel, fitting),
        sizes=_sizes(vessel),
        stays=stays,
        rows={step: its.rows(step) for step in steps},
        load=_load(its, steps),
        loads=_loads(its, steps),
        mounting=_mounting(its, steps),
        time_to_plane=_time_to_plane(its, steps),
        told=_told(assessed, compared),
        finding=worst,
        verdict=worst.verdict if worst else Verdict.NOT_ENOUGH_DATA,
        why=_why(worst),
    )


def _but_of_the_fitted(view: JobView) -> tuple[Disagreement, ...]:
    """Which propeller is on the boat now is no question of a trial: each is judged as if it were the one."""
    return tuple(one for one in view.disagreements if not one.place[1].endswith("/fitted"))


def _why(worst: Finding | None) -> str:
    return first_sentence(result_of(worst)) if worst else "nothing of it was judged."


def _sizes(vessel: Vessel) -> str:
    """Diameter by pitch of each propeller, once where all are alike."""
    found = [(engine.position, _size(engine)) for engine in vessel.engines]
    if len({size for _, size in found}) < 2:
        return found[0][1] if found else ""
    return ", ".join(f"{position} {size}" for position, size in found)


def _size(engine: Engine) -> str:
    fitted = engine.propeller
    if fitted is None:
        return "not entered"
    sizes = " x ".join(str(length) for length in (fitted.diameter, fitted.working_pitch) if length)
    lacks = [name for name, size in (("diameter", fitted.diameter), ("pitch", fitted.working_pitch)) if size is None]
    more = (
        f"{' and '.join(lacks)} not entered" if lacks else "",
        f"{fitted.blades} blades" if fitted.blades else "",
        fitted.material,
        fitted.cup and f"cup {fitted.cup}",
    )
    return ", ".join(filter(None, (sizes, *more)))


def _told(assessed: Sequence[Assessed], compared: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[Told, ...]]:
    told: dict[str, tuple[Told, ...]] = {}
    for one in assessed:
        for number in one.finding.numbers:
            if number.name in compared.get(one.calculator, ()):
                limit = next((limit for limit in one.finding.limits if limit.number == number.name), None)
                doubted = bool(one.finding.doubted)
                entry = Told(number=number, of=one.finding.of, limit=limit, is_doubted=doubted)
                told[number.name] = (*told.get(number.name, ()), entry)
    return told


def _in_words(told: Told) -> str:
    limit, unit = told.limit, told.number.unit
    if limit is None:
        return ""
    ends = [end_beside(told.number, end) for end in (limit.low, limit.high) if end is not None]
    return f"{' to '.join(ends)} {unit}".rstrip()


def _values(view: JobView, steps: Sequence[str], field: str) -> tuple[str, ...]:
    """What the rows of steps say of a thing, each once."""
    found = (str(one.value) for one in view.measurements if one.step in steps and one.field == field and one.row)
    return tuple(dict.fromkeys(found))


def _load(view: JobView, steps: Sequence[str]) -> str:
    said = ((words, " or ".join(_values(view, steps, field))) for field, words, _, _ in _LOADS)
    return ", ".join(words.format(text) for words, text in said if text)


def _loads(view: JobView, steps: Sequence[str]) -> dict[str, tuple[tuple[float, str], ...]]:
    """What the rows say was aboard, each in the unit of `_LOADS` and as typed."""
    said = [one for one in view.measurements if one.step in steps and one.row]
    loads = {}
    for field, _, unit, _ in _LOADS:
        found = ((_aboard(view, one, unit), str(one.value)) for one in said if one.field == field)
        loads[field] = tuple((amount, text) for amount, text in found if amount is not None)
    return loads


def _aboard(view: JobView, one: Measurement, unit: str) -> float | None:
    if not unit:
        return one.value if isinstance(one.value, int) else None
    return view.amount(one.step, one.field, unit, row=one.row)


def _mounting(view: JobView, steps: Sequence[str]) -> str:
    return " or ".join(_values(view, steps, "mounting_height"))


def _time_to_plane(view: JobView, steps: Sequence[str]) -> str:
    """The mean of its launches, with how many."""
    found = [
        view.amount(one.step, LAUNCH, "s", row=one.row)
        for one in view.measurements
        if one.step in steps and one.field == LAUNCH
    ]
    times = [time for time in found if time is not None]
    if not times:
        return ""
    mean = sum(times) / len(times)
    return f"{rounded(mean, 1)} s" if len(times) == 1 else f"{rounded(mean, 1)} s, mean of {len(times)}"
