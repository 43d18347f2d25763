"""Fields that had another name: what a job holds under it counts as entered under the name of today."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs

from garboard.job_view import Disagreement, FieldKey, JobView, place_of
from garboard.steps import Step

_Names = Mapping[tuple[str, str], str]


def former_names(steps: Iterable[Step]) -> _Names:
    """The name of today, by step and former name."""
    return {
        (step.key, former): field.name for step in steps for field in step.all_fields() for former in field.renamed_from
    }


def with_names_of_today(view: JobView, names: _Names) -> JobView:
    """The view with former names brought up to date; what was entered under the name of today comes first.

    Nothing that is kept is changed: an older program finds it under the name it knows.
    """
    if not any((step, field) in names for step, field, _, _ in _places(view)):
        return view
    taken = set(_places(view))

    def today(place: FieldKey) -> FieldKey:
        step, field, row, of = place
        moved = (step, names.get((step, field), field), row, of)
        return place if moved in taken else moved

    measurements = tuple(attrs.evolve(one, field=today(place_of(one))[1]) for one in view.measurements)
    disagreements = tuple(Disagreement(today(one.place), one.values) for one in view.disagreements)
    unreadable = tuple(attrs.evolve(one, place=today(one.place)) for one in view.unreadable)
    return attrs.evolve(view, measurements=measurements, disagreements=disagreements, unreadable=unreadable)


def _places(view: JobView) -> Iterable[FieldKey]:
    yield from map(place_of, view.measurements)
    yield from (one.place for one in view.disagreements)
    yield from (one.place for one in view.unreadable)
