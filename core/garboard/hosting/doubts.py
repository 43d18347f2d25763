"""Nothing passes that rests on a doubted value."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.faults import in_number
from garboard.fields import Field, doubtful
from garboard.findings import Doubt, Finding, Verdict
from garboard.records import Measurement, Vessel
from garboard.steps import Assessed

MOST_SAID = 10
"""Doubts told of one finding: whoever looks into these sees the rest."""
_Place = tuple[str, str, str, str]


def doubts_of_values(
    measurements: Iterable[Measurement], fields: Mapping[tuple[str, str], Field], vessel: Vessel | None = None
) -> Iterator[Doubt]:
    """A doubt about every value that lies where nothing in order does, whatever a person insisted on.

    fields : those that say where that is, by step and name
    vessel : that the values are of, where it is known
    """
    for one in measurements:
        field = fields.get((one.step, one.field))
        if field is not None and (why := doubtful(field, one.value, vessel, one.of)):
            named = ", ".join(filter(None, (field.title, one.of)))
            yield Doubt(f"{named}: {why}", step=one.step, field=one.field, row=one.row, of=one.of)


def with_doubts(assessed: Sequence[Assessed], besides: Iterable[Doubt] = ()) -> list[Assessed]:
    """The findings, each with the doubts that others have about the values it rests on.

    besides : doubts that no finding has: facts of the vessel that contradict each other, values that cannot be right
    """
    about: dict[_Place, list[tuple[Finding | None, Doubt]]] = defaultdict(list)
    for doubt in besides:
        about[doubt.place].append((None, doubt))
    for one in assessed:
        for doubt in one.finding.doubts:
            about[doubt.place].append((one.finding, doubt))
    return [_doubted(one, about) for one in assessed] if about else list(assessed)


def _doubted(one: Assessed, about: dict[_Place, list[tuple[Finding | None, Doubt]]]) -> Assessed:
    finding = one.finding
    if finding.verdict is Verdict.NOT_ENOUGH_DATA:
        return one
    doubts = (doubt for place in finding.places for by, doubt in about.get(place, ()) if by is not finding)
    texts = {doubt.text: doubt for doubt in doubts}  # one cause may doubt many values; it is said once
    # What a finding says itself of a value need not be said to it again.
    own = {doubt.text for doubt in finding.doubts}
    others = tuple(doubt for text, doubt in texts.items() if text not in own)
    return attrs.evolve(one, finding=_rests_on(_without_advice(finding), others)) if others else one


def _without_advice(finding: Finding) -> Finding:
    """What stands in the place of advice that nobody should follow while a value it rests on is in doubt.

    It says not to judge yet, so it fails nothing: what does fail, such as an engine speed, says so in its own finding.
    """
    if not finding.sentence_in_doubt:
        return finding
    return attrs.evolve(
        finding,
        code=finding.code_in_doubt,
        verdict=Verdict.ADVISE,
        sentence=finding.sentence_in_doubt,
        short="",
        numbers=(),
        limits=(),
        tables=(),
        figures=(),
        forecasts=(),
    )


def _rests_on(finding: Finding, doubted: tuple[Doubt, ...]) -> Finding:
    """The doubts stand first: what a finding says to do ("Keep the card aboard.") is read after them."""
    said = " ".join(f"In doubt: {doubt.text.rstrip('.')}." for doubt in doubted[:MOST_SAID])
    if len(doubted) > MOST_SAID:
        said += f" In doubt for {in_number(len(doubted) - MOST_SAID, 'other reason')} too."
    return attrs.evolve(
        finding,
        verdict=Verdict.ADVISE if finding.verdict is Verdict.PASS else finding.verdict,
        sentence=f"{said} {finding.sentence}",
        short=f"{said} {finding.short}" if finding.short else "",
        doubted=doubted[:MOST_SAID],
    )
