"""What each calculator of a plugin asks of a job: each value, given or missing, for the author who wonders why."""

from __future__ import annotations

from collections.abc import Iterator

from garboard.findings import Finding, Missing
from garboard.hosting.host import PluginHost
from garboard.job_view import FieldKey, JobView, nothing_at
from garboard.record_types import frozen
from garboard.records import JsonValue
from garboard.steps import Calculator


@frozen
class Asked:
    """One value that a calculator asked for.

    value : what stands there; None where nothing can be used
    lacks : why not; "" where something can
    """

    place: FieldKey
    value: JsonValue = None
    lacks: str = ""


@frozen(kw_only=True)
class Explained:
    """A calculator, what it asked for, and what it found.

    lacks    : what it names as missing besides, such as facts of the vessel
    settings : those it read, with the values that hold
    """

    calculator: Calculator
    asked: tuple[Asked, ...]
    lacks: tuple[Missing, ...]
    settings: tuple[tuple[str, JsonValue], ...]
    findings: tuple[Finding, ...]


def explained(host: PluginHost, plugin: str, view: JobView) -> Iterator[Explained]:
    """What each calculator of a plugin asks of a job, in the order its findings are shown."""
    ready = host.with_defaults(view)
    found = host.assess_with(plugin, ready)
    for calculator in host.calculators:
        if host.owner_of("register_calculators", calculator.key) != plugin:
            continue
        noted, settings = host.asked_by(calculator, ready)
        own = tuple(one.finding for one in found if one.calculator == calculator.key)
        missing = dict.fromkeys(lack for finding in own for lack in finding.missing)
        yield Explained(
            calculator=calculator,
            asked=tuple(_asked(ready, place, is_given) for place, is_given in noted.items()),
            lacks=tuple(one for one in missing if (one.step, one.field, one.row, one.of) not in noted),
            settings=tuple((key, ready.settings.get(key)) for key in settings),
            findings=own,
        )


def _asked(view: JobView, place: FieldKey, is_given: bool) -> Asked:
    step, field, row, of = place
    if is_given:
        return Asked(place, view.value(step, field, row=row, of=of))
    if not field:
        return Asked(place, lacks="no row is entered")
    return Asked(place, lacks=nothing_at(view, step, field, row=row, of=of).text)
