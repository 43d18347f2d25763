"""Readings of equipment that the vessel does not have: kept, shown and not used, said alike wherever values stand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping

from garboard.faults import in_number
from garboard.findings import row_in_words
from garboard.hosting.equipment import facts_without_plugin, piece_title, plugin_needed
from garboard.hosting.host import PluginHost
from garboard.job_view import FieldKey, JobView, place_of
from garboard.record_types import frozen
from garboard.records import Measurement, Vessel
from garboard.steps import Step

_ASKED_ONCE: Mapping[str, object] = {"": None}


def pieces_asked_of(field_name: str, step: Step, vessel: Vessel) -> tuple[str, Mapping[str, object]]:
    """The kind of equipment a field is asked for each of, "" for none; and the names its values may stand under."""
    kind = _equipment_of(field_name, step)
    return kind, vessel.of_kind(kind) if kind else _ASKED_ONCE


def row_misfits(field_name: str, row: str, step: Step) -> str:
    """What is wrong with the row a value stands in, "" where nothing is: only a column of a table has rows.

    Where a table's rows are the pieces of equipment, the piece tells the row.
    """
    for field in step.fields:
        if field.name == field_name and row:
            return f"it has no rows, so row {row}"
        if not field.each and not row and any(column.name == field_name for column in field.columns):
            return f"it is a column of {field.title}, so a value without a row"
    return ""


def why_not_used(place: FieldKey, vessel: Vessel, host: PluginHost) -> str:
    """Why a value is not used: its equipment is not on the boat, or it stands in no row of its table.

    "" for one that is used, and where no plugin knows it.
    """
    step_key, field_name, row, of = place
    step = host.step(step_key)
    if step is None or not any(field.is_called(field_name) for field in step.all_fields()):
        return ""
    kind, pieces = pieces_asked_of(field_name, step, vessel)
    if of in pieces:
        return "not used: it does not stand in its row" if row_misfits(field_name, row, step) else ""
    if not kind:
        return f"not used: it is asked once, not for {of}"
    return (
        f"not used: no {piece_title(kind, of, host.equipment)} on this boat"
        if of
        else "not used: it does not say of which piece"
    )


@frozen(kw_only=True)
class NotUsed:
    """Readings of a step that are not used for one reason.

    kind : the kind of equipment they name, "" for values that are asked once
    said : each reading with its value
    """

    step: str
    why: str
    kind: str
    said: tuple[str, ...]

    @property
    def in_words(self) -> str:
        """Why, and what was read."""
        return f"{self.why[:1].upper()}{self.why[1:]}. Kept: {'; '.join(self.said)}."


def not_used(view: JobView, host: PluginHost, step_key: str = "") -> list[NotUsed]:
    """Readings that are not used, in a step or in all, those of one reason together."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for one in view.measurements:
        step = host.step(one.step)
        if step is not None and step_key in ("", one.step) and (why := why_not_used(place_of(one), view.vessel, host)):
            kind, _ = pieces_asked_of(one.field, step, view.vessel)
            found.setdefault((one.step, why, kind), []).append(_said(one, step))
    return [NotUsed(step=step, why=why, kind=kind, said=tuple(said)) for (step, why, kind), said in found.items()]


def waiting_for(view: JobView, host: PluginHost) -> dict[str, int]:
    """What the entries wait for that nothing at work here reads, each with how many: "the plugin gadget"."""
    at_work = {plugin.name for plugin in host.plugins}
    found = Counter[str]()
    for one in view.waiting:
        lacking = [name for name in one.plugins if name not in at_work]
        found[f"the plugin {' or '.join(lacking)}" if lacking else f"what reads {one.kind!r}"] += 1
    without = facts_without_plugin(view.vessel, host.equipment)
    found.update(f"the plugin {plugin_needed(kind, host.equipment)}" for kind, *_ in without)
    found.update(_reader_of(one.step, at_work) for one in view.measurements if host.step(one.step) is None)
    awaited = (host.check_awaited(one.step, one.field) for one in view.measurements)
    found.update(f"the check {check}" for check in awaited if check)
    return dict(sorted(found.items()))


def _reader_of(step: str, at_work: Collection[str]) -> str:
    """What declares a step that nothing here does: a key begins with its plugin's name."""
    plugin, _, name = step.partition(".")
    return f"the plugin {plugin}" if name and plugin not in at_work else f"the plugin of the step {step!r}"


def waiting_in_words(view: JobView, host: PluginHost) -> str:
    """What is kept and not used as nothing here reads it; "" where all is read."""
    found = waiting_for(view, host)
    if not found:
        return ""
    count = sum(found.values())
    return f"{in_number(count, 'entry waits', 'entries wait')} for {' and '.join(found)}, not at work here"


def _said(one: Measurement, step: Step) -> str:
    title = next(field.title for field in step.all_fields() if field.is_called(one.field))
    value = one.value.get("name") or "a file" if isinstance(one.value, dict) else one.value
    value = {True: "yes", False: "no"}[value] if isinstance(value, bool) else value
    return f"{title}{f', {row_in_words(one.row)}' if one.row else ''} {value}"


def _equipment_of(field_name: str, step: Step) -> str:
    """The kind of equipment a field is asked for each of, or nothing."""
    for field in step.fields:
        for inner in (field, *field.columns):
            if inner.is_called(field_name):
                return inner.each or field.each
    return ""
