"""A plugin tried on jobs, in a process of its own: before a manager approves it, and while its author writes it."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path

import attrs

from garboard.faults import in_number
from garboard.findings import Finding, NotEnoughData, Verdict
from garboard.hosting.codes import NOT_JUDGED, PLUGIN_FAILED, code_for
from garboard.hosting.failures import PluginProblem, cure_of, problem_of
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.sources import CHECK
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.steps import Assessed

LONGEST = 60.0
"""A trial takes at most about so long, however many jobs there are [s]."""
TWICE = 20
"""So many jobs are judged a second time, by a process that is started anew."""


@frozen(kw_only=True)
class Trial:
    """How a plugin did.

    problems : what keeps it from being approved
    remarks  : what is wrong with it all the same
    jobs     : how many it judged
    is_whole : whether these were all there are
    version  : what it says of itself
    offers   : what it offers, by what it is ("steps"): each by its key, with its title
    boats    : how many boats get which verdict: of each boat the gravest, and the gravest first
    may_doubt : whether it may doubt what other checks rest on
    changed   : on how many boats it changes what others find; None for what changes nothing of the program's own
    """

    problems: tuple[PluginProblem, ...] = ()
    remarks: tuple[PluginProblem, ...] = ()
    jobs: int = 0
    is_whole: bool = True
    version: str = ""
    offers: Mapping[str, Mapping[str, str]] = attrs.field(factory=dict)
    boats: Mapping[Verdict, int] = attrs.field(factory=dict)
    may_doubt: bool = False
    changed: int | None = None

    def of_file(self, tried: str, known_as: str) -> Trial:
        """The same, told of the file as the manager knows it, where a copy of it was tried."""

        def told(found: Iterable[PluginProblem]) -> tuple[PluginProblem, ...]:
            return tuple(attrs.evolve(one, file=known_as) if one.file == tried else one for one in found)

        return attrs.evolve(self, problems=told(self.problems), remarks=told(self.remarks))

    @property
    def sentences(self) -> tuple[str, ...]:
        """What to say of it, where it may be approved."""
        if self.problems:
            return ()
        tried = f"It was tried on {in_number(self.jobs, 'job')} of the shop's own and failed in none."
        return (self._how_far(tried), *self._would_find, *(f"It works, but {one.in_words}" for one in self.remarks))

    @property
    def tried(self) -> tuple[str, ...]:
        """The same to its author, without what is wrong with it."""
        changed = [f"It changes what other checks find on {in_number(self.changed, 'boat')}."] if self.changed else []
        return (self._how_far(f"It was tried on {in_number(self.jobs, 'job')} and failed in none."), *changed)

    @property
    def _would_find(self) -> tuple[str, ...]:
        """What the shop would see of it on the boats it holds."""
        if not self.jobs:
            return ()
        found = ", ".join(
            f"{in_number(count, 'boat gets', 'boats get')} {verdict.value!r}" for verdict, count in self.boats.items()
        )
        others = "may doubt what other checks rest on" if self.may_doubt else "changes no verdict of other checks"
        if self.changed:
            others = f"changes what other checks find on {in_number(self.changed, 'boat')}"
        return (f"{found or 'No boat gets a verdict of it'}.", f"It {others}.")

    def _how_far(self, tried: str) -> str:
        if not self.jobs:
            return "There was no job to try it on."
        return tried if self.is_whole else f"{tried} There was no time for the others."


def try_plugin(file: Path, jobs: Iterable[JobView], longest: float = LONGEST, *, beside: Iterable[Path] = ()) -> Trial:
    """Load a plugin and have it judge jobs, each at most as long as it may take at work.

    longest : no new job is begun after so long [s]
    beside  : files of the plugins it is to work beside: it must share no key and no code with one
    """
    return try_with(file, lambda _: jobs, longest, beside=beside)


def try_with(
    file: Path,
    jobs: Callable[[PluginHost], Iterable[JobView]],
    longest: float = LONGEST,
    *,
    beside: Iterable[Path] = (),
) -> Trial:
    """The same, with jobs that are read with the plugin loaded: they hold values of its own steps."""
    others = [one for one in beside if one.stem != file.stem]  # of its own name it takes the place
    host, without = make_host(entry_points=False, files=[*others, file], apart=True), None
    try:
        if problems := tuple(one for one in host.problems if one.name == file.stem):
            return Trial(problems=problems)
        remarks = tuple(one for one in host.faults if one.name == file.stem and one.at_work)
        (version,) = (one.version for one in host.plugins if one.name == file.stem)
        if host.changes_of(file.stem):
            without = make_host(entry_points=False, files=others, apart=True)
        judged = _judged(host, file, jobs(host), time.monotonic() + longest, without)
        remarks = (*remarks, *judged.remarks)
        return attrs.evolve(judged, remarks=remarks, version=version, offers=host.offers_of(file.stem))
    finally:
        for one in (host, without):
            if one is not None and one.apart is not None:
                one.apart.close()


def _judged(host: PluginHost, file: Path, jobs: Iterable[JobView], until: float, without: PluginHost | None) -> Trial:
    """without : the same without that plugin, where it changes what others ask and find"""
    first: list[tuple[JobView, tuple[Assessed, ...]]] = []
    problems: dict[str, PluginProblem] = {}
    remarks: dict[str, PluginProblem] = {}
    count, is_whole, found_of = 0, True, dict[str, set[Verdict]]()
    changed: set[str] = set()
    for view in jobs:
        if time.monotonic() > until:
            is_whole = False
            break
        count += 1
        found = host.assess_with(file.stem, view)
        found_of.setdefault(view.vessel.hull_number, set()).update(one.finding.verdict for one in found)
        if without is not None and _of_others(host, view, file) != _of_others(without, view, file):
            changed.add(view.vessel.hull_number)
        remarks.update((one.reason, one) for one in _untouched(found, file))
        failed = [*_failed(found, file)]  # a section often computes the same: that fault is told once
        for problem in failed or _failed_sections(host, view, found, file):
            problems.setdefault(problem.reason, problem)
        if len(first) < TWICE:
            first.append((view, found))
    if not problems:
        problems = {one.reason: one for one in _differing(host, file, first, until)}
    gravest = Counter(min(verdicts, key=_GRAVEST.index) for verdicts in found_of.values() if verdicts)
    boats = {verdict: gravest[verdict] for verdict in _GRAVEST if gravest[verdict]}
    own = (one for one in host.calculators if host.owner_of("register_calculators", one.key) == file.stem)
    may_doubt = any(one.may_doubt for one in own)
    return Trial(
        problems=tuple(islice(problems.values(), TWICE)),
        remarks=tuple(remarks.values()),
        jobs=count,
        is_whole=is_whole,
        boats=boats,
        may_doubt=may_doubt,
        changed=len(changed) if without is not None else None,
    )


def _of_others(host: PluginHost, view: JobView, file: Path) -> list[tuple[str, Verdict, str]]:
    found = (one.finding for one in host.assess(view) if one.plugin != file.stem)
    return [(one.code, one.verdict, one.about) for one in found]


_GRAVEST = (Verdict.FAIL, Verdict.ADVISE, Verdict.NOT_ENOUGH_DATA, Verdict.PASS)
"""From what asks for most to what asks for nothing."""


def _failed(found: Sequence[Assessed], file: Path) -> Iterator[PluginProblem]:
    for one in found:
        if one.finding.code in {code_for(one.calculator, what) for what in (PLUGIN_FAILED, *NOT_JUDGED)}:
            yield _problem(file, one.finding.sentence, "judges_badly")


def _untouched(found: Sequence[Assessed], file: Path) -> Iterator[PluginProblem]:
    """What a check file fails though nothing was entered that it rests on. Of code nobody knows what it rests on."""
    for one, finding in [(one, one.finding) for one in found] if file.suffix == CHECK else ():
        if finding.verdict is Verdict.FAIL and not finding.places:
            reason = f"{one.title!r} ({finding.code}) fails a boat on which nothing of it is entered"
            yield attrs.evolve(_problem(file, reason, "fails_untouched"), file=str(file), at_work=True)


def _failed_sections(host: PluginHost, view: JobView, found: Sequence[Assessed], file: Path) -> Iterator[PluginProblem]:
    own = [one for one in host.report_sections if host.owner_of("register_report_sections", one.key) == file.stem]
    assessed = host.assess(view) if own else found  # a section may look for what other plugins find
    for section in own:
        try:
            section.build(host.with_defaults(view), assessed)
        except NotEnoughData:
            continue
        except Exception as failure:
            yield attrs.evolve(problem_of(failure, file.stem, str(file)), code="judges_badly")


def _differing(
    host: PluginHost, file: Path, first: Sequence[tuple[JobView, tuple[Assessed, ...]]], until: float
) -> Iterator[PluginProblem]:
    """What is found otherwise by a process that was started anew, with the jobs in another order.

    It has other hashes, another clock and other chance, and nothing kept from the jobs before.
    """
    if host.apart is not None:
        host.apart.close()
    for view, found in reversed(first):
        if time.monotonic() > until:
            return
        again = host.assess_with(file.stem, view)
        for one, other in zip(found, again, strict=False):
            if one != other:
                before, now = (_short(each.finding) for each in (one, other))
                reason = f"{one.title!r} ({one.calculator}) finds {before!r} of a job, then {now!r}"
                yield _problem(file, reason, "differs")
                return
        if len(found) != len(again):
            yield _problem(file, f"it gives {len(found)} findings of a job, then {len(again)}", "differs")
            return


def _short(finding: Finding) -> str:
    return finding.sentence[:120]


def _problem(file: Path, reason: str, code: str) -> PluginProblem:
    return PluginProblem(name=file.stem, reason=reason, code=code, file=file.name, cure=cure_of(code))
