"""The sample jobs with something struck, altered or in dispute: checks must not contradict themselves on them.

Every change is drawn from a seed or made in turn, so that a run can be repeated.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import attrs

import garboard
from examples import LONG, few
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import Disagreement, JobView, place_of
from garboard.judging.assessing import assess_job_file
from garboard.records import EQUIPMENT, JsonValue, Measurement
from garboard.steps import Assessed
from garboard.units import Amount

SAMPLES = sorted((Path(garboard.__file__).parents[2] / "sample_jobs").glob("*/job.json"))
SEED, CHANGES = 1852, few(250)
FACTORS = (0.0, 0.5, 0.9, 1.1, 2.0, 10.0, -1.0)
"""What an amount is multiplied by: a slip of the finger, another unit, a probe turned round."""


def sample_views(host: PluginHost) -> list[JobView]:
    """The sample jobs as they stand."""
    return [assess_job_file(path, host).view for path in SAMPLES]


def findings_of_plugin(host: PluginHost, view: JobView, plugin: str) -> Sequence[Assessed]:
    """What the checks of one plugin say; a change of its own steps leaves the others as they are."""
    return host.assess(view, [step.key for step in host.steps if plugin_of(step.key) == plugin])


def plugin_of(key: str) -> str:
    """The plugin a step or calculator belongs to."""
    return key.partition(".")[0]


@cache
def findings_of_altered() -> tuple[tuple[JobView, Sequence[Assessed]], ...]:
    """The sample jobs and what is found in them; altered ones, and what the plugin whose values were altered finds.

    Two files of tests look at it. The one that comes second lets it go: see SLOW in conftest.py.
    """
    return tuple(_findings_of_altered(make_host(entry_points=False)))


def _findings_of_altered(host: PluginHost) -> Iterator[tuple[JobView, Sequence[Assessed]]]:
    for number, view in enumerate(sample_views(host)):
        yield view, host.assess(view)
        for plugin, other in (*each_struck(view), *at_random(view, random.Random(SEED + number), CHANGES)):
            yield other, findings_of_plugin(host, other, plugin)


def one_of_each_field(view: JobView) -> Iterator[Measurement]:
    """All values in a long run; otherwise the first of each field, as its further rows are judged alike."""
    seen = set[tuple[str, str]]()
    for one in view.measurements:
        if LONG in os.environ or (one.step, one.field) not in seen:
            yield one
        seen.add((one.step, one.field))


def each_struck(view: JobView) -> Iterator[tuple[str, JobView]]:
    """The job with one value gone, each in turn, with the plugin the value belongs to."""
    for gone in one_of_each_field(view):
        rest = tuple(one for one in view.measurements if one is not gone)
        yield plugin_of(gone.step), attrs.evolve(view, measurements=rest)


def at_random(view: JobView, draw: random.Random, times: int) -> Iterator[tuple[str, JobView]]:
    """The job with one to four changes at once, and the plugin they belong to."""
    plugins = sorted({plugin_of(one.step) for one in view.measurements})
    for _ in range(times):
        plugin = draw.choice(plugins)
        own = [one for one in view.measurements if plugin_of(one.step) == plugin]
        changed = view
        for one in draw.sample(own, min(len(own), draw.randint(1, 4))):
            changed = _changed(changed, one, draw)
        if draw.random() < 0.3:
            changed = _without_a_fact(changed, draw)
        yield plugin, changed


def _changed(view: JobView, one: Measurement, draw: random.Random) -> JobView:
    rest = tuple(other for other in view.measurements if other is not one)
    what = draw.choice(("struck", "altered", "in dispute"))
    if what == "struck":
        return attrs.evolve(view, measurements=rest)
    other = attrs.evolve(one, value=_otherwise(one, draw))
    if what == "altered":
        return attrs.evolve(view, measurements=(*rest, other))
    dispute = Disagreement(place_of(one), (one, other))
    return attrs.evolve(view, measurements=rest, disagreements=(*view.disagreements, dispute))


def _otherwise(one: Measurement, draw: random.Random) -> JsonValue:
    if isinstance(one.value, bool):
        return not one.value
    if isinstance(one.value, int):
        return max(0, one.value + draw.choice((-1, 1)))
    try:
        amount = Amount.parse(str(one.value))
    except ValueError:
        return one.value
    value = float(amount.text) * draw.choice(FACTORS)
    return str(attrs.evolve(amount, text=f"{value:.{len(amount.text.partition('.')[2])}f}"))


def _without_a_fact(view: JobView, draw: random.Random) -> JobView:
    """The job without one fact of the vessel that may be left open."""
    kind = draw.choice([kind for kind in EQUIPMENT if getattr(view.vessel, kind)])
    pieces = list(getattr(view.vessel, kind))
    number = draw.randrange(len(pieces))
    open_fields = [field for field in attrs.fields(type(pieces[number])) if field.default in (None, "")]
    if open_fields:
        field = draw.choice(open_fields)
        pieces[number] = attrs.evolve(pieces[number], **{field.name: field.default})
    changed: Any = {kind: tuple(pieces)}
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, **changed))


def each_in_dispute(view: JobView, draw: random.Random) -> Iterator[tuple[str, JobView]]:
    """The job with one value in dispute with another, each in turn, with the plugin the value belongs to."""
    for one in one_of_each_field(view):
        rest = tuple(other for other in view.measurements if other is not one)
        dispute = Disagreement(place_of(one), (one, attrs.evolve(one, value=_otherwise(one, draw))))
        yield plugin_of(one.step), attrs.evolve(view, measurements=rest, disagreements=(dispute,))
