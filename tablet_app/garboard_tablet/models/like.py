"""A boat begun like another on the tablet: what there is to begin from, and what a length is on that one."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from typing import TYPE_CHECKING

import attrs

from garboard.disk.entries import SHOP_RECORD
from garboard.faults import ValueRefused, in_number
from garboard.fields import check_value
from garboard.records import JsonValue, Vessel
from garboard.steps import Kind
from garboard.units import in_full
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.tablet import Tablet

if TYPE_CHECKING:
    from garboard.history.like import Facts, Template
    from garboard.history.replay import HullState
    from garboard.hosting.equipment import Kinds
    from garboard_tablet.models.vessels import VesselLine

_COUNTED = {
    "engines": ("engine", "engines"),
    "circuits": ("circuit", "circuits"),
    "batteries": ("battery", "batteries"),
    "tanks": ("tank", "tanks"),
}


def shop_record(tablet: Tablet) -> HullState:
    """The shop's record as it stands on this tablet."""
    from garboard.history.replay import replay

    return replay(SHOP_RECORD, tablet.files.entries(SHOP_RECORD))


def templates(tablet: Tablet) -> tuple[Template, ...]:
    """Every template the shop keeps, by name."""
    from garboard.history.like import templates_in

    return templates_in(shop_record(tablet))


def kept_by_boats_alike(tablet: Tablet, hull: str, job: str) -> str:
    """What boats like one kept, as the shop told last, in words; "" where it told nothing of such boats."""
    from garboard.history.boats_alike import kind_of, kinds_in

    view = tablet.view(hull, job)
    kind = kind_of(view.vessel, kinds_in(shop_record(tablet)))
    if kind is None:
        return ""
    pitches = (view.told(one, "in", 1) for one in (kind.pitch, kind.low, kind.high))
    middle, low, high = pitches
    ratio = phrase(", geared {ratio},", ratio=in_full(kind.gear_ratio)) if kind.gear_ratio else ""
    return phrase(
        "{boats} boats of the shop like this one{ratio} kept a pitch of {middle}, 8 of 10 of them {low} "
        "to {high}; most often {size} in.",
        boats=kind.boats,
        ratio=ratio,
        middle=middle,
        low=low,
        high=high,
        size=kind.size,
    )


def boats_like(lines: Iterable[VesselLine], hull: str) -> tuple[VesselLine, ...]:
    """Other boats to begin from: those of the same maker first, then the one saved last.

    The maker is in the first letters of a well-formed hull number (33 CFR 181.25).
    """
    others = [line for line in lines if line.hull != hull and hull not in line.also]
    maker = hull[-12:-9]
    return tuple(sorted(others, key=lambda line: (line.hull[-12:-9] == maker, line.saved, line.hull), reverse=True))


def in_short(vessel: Vessel, kinds: Kinds) -> str:
    """What comes along from a boat, counted: "1 engine, 7 circuits, 2 batteries"; "" where nothing does."""
    words = _words_of(kinds)
    counted = {kind: len(vessel.of_kind(kind)) for kind in words}
    return ", ".join(in_number(count, *words[kind]) for kind, count in counted.items() if count)


def counted_facts(facts: Facts, kinds: Kinds) -> str:
    """The same of a template."""
    words = _words_of(kinds)
    named = {kind: len({path[1] for path in facts if path[0] == kind}) for kind in words}
    return ", ".join(in_number(count, *words[kind]) for kind, count in named.items() if count)


def _words_of(kinds: Kinds) -> dict[str, tuple[str, str]]:
    """One and several of each kind that comes along; of a plugin's kind where anything of it is of the model."""
    shared = {key: kind for key, kind in kinds.items() if any(field.of_model for field in kind.fields)}
    return {**_COUNTED, **{key: (kind.one, kind.title.lower()) for key, kind in shared.items()}}


def facts_of(tablet: Tablet, hull: str, job: str = "") -> Facts:
    """What boats of a boat's model share: its equipment, and what was entered of the model in its job.

    job : whose; "" for the boat's latest
    """
    from garboard.history.like import shared_entries, shared_facts, usual_lengths

    jobs = (job,) if job else tablet.boat(hull).jobs[-1:]
    vessel = tablet.boat(hull).vessel(job)
    facts = {**shared_facts(vessel, tablet.host.equipment), **usual_lengths(vessel)}
    for one in jobs:
        facts |= shared_entries(tablet.view(hull, one), tablet.host.steps)
    return facts


def begin_like(tablet: Tablet, hull: str, job: str, facts: Facts, name: str) -> tuple[str, ...]:
    """Give a boat what it has nothing entered for. Returns what it was not given, as it has another engine or such.

    name : of what it begins like, see `begun_key`
    """
    from garboard.history import like

    state = tablet.state_of(hull)
    author = attrs.evolve(tablet.author(), at_job=tablet.boat(hull).facts_of(job, state))
    others = like.left_out(state, facts, job)
    tablet.save(*like.begin_like(author, state, facts, job=job))
    tablet.session.type(begun_key(hull), name)
    return others


def keep_template(tablet: Tablet, hull: str, job: str, name: str) -> None:
    """Keep what boats of this one's model share under a name, for every tablet of the shop.

    errors : InputError for a name or a boat that makes no template
    """
    from garboard.history import like

    facts = facts_of(tablet, hull, job)
    tablet.save(*like.keep_template(tablet.author(), shop_record(tablet), name, facts))


def on_the_model(tablet: Tablet, hull: str, asks: Iterable[Ask]) -> tuple[tuple[Ask, JsonValue], ...]:
    """Lengths of cable as they are on what a boat was begun like, of the asks for which that is known.

    A boat begun in the office is like a template of its maker and model.
    """
    from garboard.history.like import USUAL

    lengths = [ask for ask in asks if ask.key.subject[0] in ("circuits", "networks") and ask.field.kind is Kind.AMOUNT]
    facts = _model_of(tablet, hull) if lengths else {}
    found = []
    for ask in lengths:
        path = ask.key.subject
        usual = facts.get((*path[:-1], USUAL, path[-1]))
        with suppress(ValueRefused):  # none, or one that another version took and this one does not
            check_value(ask.field, usual)
            found.append((ask, usual))
    return tuple(found)


def _model_of(tablet: Tablet, hull: str) -> Facts:
    """Facts of what a boat was begun like on this tablet, else of a template of its maker and model."""
    begun = tablet.session.typed.get(begun_key(hull), "")
    if begun and begun in tablet.files.boats():
        return facts_of(tablet, begun)
    vessel = tablet.boat(hull).vessel()
    said = {("maker",): vessel.maker, ("model",): vessel.model}
    for one in templates(tablet):
        if f"template {one.name}" == begun or (
            not begun and vessel.model and all(one.facts.get(path) == value for path, value in said.items())
        ):
            return one.facts
    return {}


def begun_key(hull: str) -> str:
    """Where the session keeps what a boat was begun like: another's key, or "template" and its name."""
    return f"begun like/{hull}"
