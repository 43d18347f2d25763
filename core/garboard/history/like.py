"""A boat begun like another: everything that boats of one model share, and nothing that is one boat's own.

Of what was entered in steps that is what a field declares as of the model, such as the maker's limits of an engine.

What is shared comes from a boat, or from a template: a boat's facts kept under a name in the shop's record, where they
merge and travel like the shop's settings. A program that does not know templates passes them on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING
from uuid import uuid4

import attrs

from garboard.disk.clock import moment_in_words
from garboard.disk.entries import TEMPLATE
from garboard.faults import Fault, InputError
from garboard.history.authoring import vessel_fields
from garboard.history.registers import Register, RegisterKey
from garboard.history.values import same_value
from garboard.records import EQUIPMENT, JsonValue, Vessel, fact_of, is_equipment, is_own_kind

if TYPE_CHECKING:
    from garboard.disk.clock import Stamp
    from garboard.disk.entries import Entry
    from garboard.history.authoring import Author
    from garboard.history.replay import HullState
    from garboard.job_view import JobView
    from garboard.steps import EquipmentKind, Field, Step

    Kinds = Mapping[str, EquipmentKind]

Path = tuple[str, ...]
Facts = Mapping[Path, JsonValue]
"""Facts about a vessel, each by its path: ("circuits", "VHF radio", "conductor_awg").

What was entered in a step stands with the piece it is of: ("engines", "port", "entered", step, field, row), or without
one with the boat itself: ("entered", step, field, row).
"""
_NO_KINDS: Kinds = {}
ENTERED = "entered"
USUAL = "usual"
"""Stands before the last word of a fact that no boat takes over: ("circuits", "VHF radio", "usual", "length").

It is what was measured on the model, shown where the same is measured anew.
"""

ASKED_OF_EACH: Mapping[str, frozenset[str]] = {
    "": frozenset({"name"}),
    "engines": frozenset({"serial_number", "hours"}),
    "circuits": frozenset({"length", "protection_distance"}),
    "networks": frozenset({"backbone_length", "drop_length", "distance_from_power"}),
}
"""Facts that every boat has of its own, by the kind of equipment; "" is the boat itself."""
_FOUND_ON_EACH: Mapping[str, frozenset[str]] = {
    "": frozenset({"hull_number", "displacement_as_run"}),
    "engines": frozenset({"network_instance", "fitted", "mounting_height", "pitch_measured", "stock_number"}),
    "circuits": frozenset({"label"}),
    "heading_sensors": frozenset({"source"}),
    "networks": frozenset({"terminators", "supply_voltage"}),
}
"""Facts that are read, heard or printed on each boat. They are not copied either; who needs one asks for it there."""
_TELL_WHICH: Mapping[str, tuple[Path, ...]] = {
    "": (("maker",), ("model",)),
    "engines": (("maker",), ("model",), ("rated_power",)),
    "propeller": (("propeller", "maker_text"), ("propeller", "diameter"), ("propeller", "pitch")),
    "batteries": (("chemistry",), ("nominal_voltage",)),
    "protection_rating": (("protection",),),
}
"""Facts that tell what others are about, by kind of equipment or by part of it. Where the boat says otherwise, those
others are of another engine, propeller or battery: its power with this one's full-throttle range judges neither."""
_INSTEAD = {"conductor_awg": "conductor_area", "conductor_area": "conductor_awg"}
"""Facts that stand one for the other; a boat that has one is not given the other."""
LONGEST_NAME = 60
_KEEP = "keep"
"""Further field of a template's entries: the id of the keep they were written in."""


@attrs.frozen
class Template:
    """A boat's facts kept under a name.

    name       : what it is called: the name it is kept under, and who kept it where another has that name
    by         : who kept it last
    kept_under : the name somebody gave
    keep       : id of the keep; "" where an older program wrote it
    """

    name: str
    facts: Facts
    by: str
    at: str
    kept_under: str
    keep: str = ""


def is_one_boats(path: Path) -> bool:
    """Whether a fact is one boat's own, so that it is not taken over.

    >>> is_one_boats(("engines", "port", "serial_number")), is_one_boats(("engines", "port", "propeller", "pitch"))
    (True, False)
    """
    kind = path[0] if is_equipment(path[0]) else ""
    return any(path[-1] in own.get(kind, ()) for own in (ASKED_OF_EACH, _FOUND_ON_EACH))


def shared_facts(vessel: Vessel, kinds: Kinds = _NO_KINDS) -> dict[Path, JsonValue]:
    """What boats of this one's model share, in the vessel's order. A network a person chose for a boat is its own.

    kinds : those that plugins declare, which say of each fact whether it is of the model
    """
    return {path: value for path, value in vessel_fields(vessel) if _is_shared(path, kinds)}


def _is_shared(path: Path, kinds: Kinds) -> bool:
    if not is_own_kind(path[0]):
        return path[0] in _KNOWN and not is_one_boats(path)
    of_model = {field.name for field in kinds[path[0]].fields if field.of_model} if path[0] in kinds else set[str]()
    return bool(of_model) and path[-1] in {"name", *of_model}


def usual_lengths(vessel: Vessel) -> dict[Path, JsonValue]:
    """Lengths of cable as measured on this boat: see `USUAL`."""
    own = ("circuits", "networks")
    return {
        (*path[:-1], USUAL, path[-1]): value
        for path, value in vessel_fields(vessel)
        if path[0] in own and path[-1] in ASKED_OF_EACH[path[0]]
    }


def shared_entries(view: JobView, steps: Iterable[Step]) -> dict[Path, JsonValue]:
    """What was entered in steps that boats of one model share, as facts: see `Field.of_model`.

    A field that begins with a fact of its piece says it, also where nobody entered it: limits say of which engine.
    """
    found: dict[Path, JsonValue] = {}
    for step, table, field in _of_model(steps):
        each = field.each or (table.each if table else "")
        for one in view.measurements:
            if (one.step, one.field) == (step.key, field.name) and bool(one.of) == bool(each):
                found[_path_of(each, one.of, step.key, field.name, one.row)] = one.value
        if table and table.each and field.begins and field.begins[0] == table.each:
            for of, piece in view.vessel.of_kind(table.each).items():
                path = _path_of(each, of, step.key, field.name, "")
                fact = fact_of(piece, field.begins[1])
                if fact and any(other[:4] == path[:4] for other in found):
                    found.setdefault(path, fact)
    return found


def _of_model(steps: Iterable[Step]) -> Iterator[tuple[Step, Field | None, Field]]:
    for step in steps:
        for field in step.fields:
            yield from ((step, field, column) for column in field.columns if column.of_model)
            if field.of_model:
                yield step, None, field


def _path_of(kind: str, of: str, step: str, field: str, row: str) -> Path:
    return (*((kind, of) if kind else ()), ENTERED, step, field, row)


_KNOWN = frozenset(field.name for field in attrs.fields(Vessel)) - {"more", "propellers"}
"""Propellers that were tried are of the boat they were tried on."""


def begin_like(author: Author, state: HullState, facts: Facts, hull: str = "", job: str = "") -> list[Entry]:
    """Give a boat every fact it has nothing entered for. Pieces that were removed from it stay removed.

    What is about another engine or propeller than the boat has is not taken over: see `left_out`.

    state : of the hull that holds what is known of the boat
    hull  : its number as typed, where nothing is entered for it yet
    job   : the one that takes what was entered in steps; without it nothing of that is taken over
    """
    written = []
    for path, value in facts.items():
        key = _key(path, job)
        if key is not None and _is_free(state, path, key) and not _is_of_another(state, facts, path):
            written.append(author.write(state, key.kind, key.subject, value, job=key.job, hull=hull))
    return written


def left_out(state: HullState, facts: Facts, job: str = "") -> tuple[str, ...]:
    """What is not taken over as the boat has another, in words: "engine centre", "circuit Radar"; "the boat" itself."""
    pieces = dict.fromkeys(
        path[:2] if is_equipment(path[0]) else ()
        for path in facts
        if (key := _key(path, job)) and _is_free(state, path, key) and _is_of_another(state, facts, path)
    )
    return tuple(f"{_ONE_OF.get(piece[0], '')} {piece[1]}".strip() if piece else "the boat" for piece in pieces)


_ONE_OF = {kind: kind.removesuffix("s").replace("_", " ").replace("batterie", "battery") for kind in EQUIPMENT}


def _is_free(state: HullState, path: Path, key: RegisterKey) -> bool:
    """Whether nothing was ever entered for a fact, and its piece was not removed."""
    return not state.register(key).entries and not _is_removed(state, path[:2])


def _is_removed(state: HullState, piece: Path) -> bool:
    """A piece that was removed and came back is there."""
    return any(entry.value is True for entry in state.current(_field((*piece, "removed"))))


def _is_of_another(state: HullState, facts: Facts, path: Path) -> bool:
    """Whether a fact is about another piece than the boat has in its place."""
    kind = path[0] if is_equipment(path[0]) else ""
    piece = path[:2] if kind else ()
    if kind == "engines" and _engines_in(state) - {other[1] for other in facts if other[0] == "engines"}:
        return True  # its engines stand elsewhere: one more would be one too many
    if kind == "circuits" and path[2] in _INSTEAD and state.current(_field((*piece, _INSTEAD[path[2]]))):
        return True
    if path[0] == ENTERED and any(
        _is_of_another(state, facts, other) for other in facts if other[0] == "engines" and other[2:3] != (ENTERED,)
    ):
        return True  # a service plan is of the engines
    telling = (*_TELL_WHICH.get(kind, ()), *(_TELL_WHICH.get(path[2], ()) if kind else ()))
    return any(_says_otherwise(state, facts, (*piece, *fact)) for fact in telling)


def _says_otherwise(state: HullState, facts: Facts, path: Path) -> bool:
    return path in facts and any(not _alike(entry.value, facts[path]) for entry in state.current(_field(path)))


def _alike(one: JsonValue, other: JsonValue) -> bool:
    texts = [" ".join(text.split()).casefold() if isinstance(text, str) else text for text in (one, other)]
    return texts[0] == texts[1] or same_value(one, other)


def _engines_in(state: HullState) -> set[str]:
    """Positions of the engines the boat has."""
    named = {key.subject[1] for key, one in state.registers.items() if _is_of_engine(key) and one.current}
    return {name for name in named if not _is_removed(state, ("engines", name))}


def _is_of_engine(key: RegisterKey) -> bool:
    return key.kind == "field" and len(key.subject) > 2 and key.subject[0] == "engines" and key.subject[2] != "removed"


def _field(path: Path) -> RegisterKey:
    return RegisterKey("field", "", path)


def _key(path: Path, job: str) -> RegisterKey | None:
    """Where a fact is kept on a boat; None for one that is not, or was entered in a step where no job can take it."""
    if path[-2:-1] == (USUAL,):
        return None
    piece, inner = (path[:2], path[2:]) if is_equipment(path[0]) else ((), path)
    if inner[:1] != (ENTERED,):
        return _field(path)
    if not job or len(inner) != _ENTERED_LONG:
        return None
    _, step, field, row = inner
    return RegisterKey("measure", job, (step, field, row, piece[1] if piece else ""))


_ENTERED_LONG = 4


def keep_template(author: Author, shop: HullState, name: str, facts: Facts) -> list[Entry]:
    """Keep facts under a name in the shop's record, in the place of what stood under it.

    Every piece is written, and carries the id of this keep: so what two people keep at once, or one drops while another
    keeps, stays whole.

    name   : as typed; one that differs in capitals alone from a name that is there is that name
    errors : InputError for a name that is empty or too long, and for facts without anything in them
    """
    name = " ".join(name.split())
    if not name or len(name) > LONGEST_NAME:
        expected = f"a name of 1 to {LONGEST_NAME} characters"
        raise InputError("template", [Fault("name", expected, repr(name) if name else "nothing")])
    if not facts:
        raise InputError("template", [Fault("boat", "one whose equipment is entered", "one without")])
    known = templates_in(shop)
    if there := template_named(known, name):
        name = there.kept_under
    if [dict(one.facts) for one in known if one.kept_under == name] == [dict(facts)]:
        return []
    wanted, keep = _by_piece(facts), uuid4().hex[:12]
    written = [
        author.write(shop, TEMPLATE, (name, *piece), lines, more={_KEEP: keep}) for piece, lines in wanted.items()
    ]
    gone = [key for key in _standing(shop, name) if key.subject[1:] not in wanted]
    return written + [_take_back(author, shop, key, "not on the boat it was made from") for key in gone]


def drop_template(author: Author, shop: HullState, name: str, reason: str) -> list[Entry]:
    """Take a template back: of several kept at once under its name the one named, or all. Boats keep what they have.

    errors : InputError for a name nothing stands under
    """
    known = templates_in(shop)
    found = template_named(known, name)
    if found is None:
        names = ", ".join(one.name for one in known) or "none is kept"
        raise InputError("template", [Fault("name", f"a template: {names}", repr(name))])
    whole = found.name == found.kept_under
    standing = _standing(shop, found.kept_under).items()
    wanted = {key: [entry.id for entry in heads if whole or _keep_of(entry) == found.keep] for key, heads in standing}
    return [_take_back(author, shop, key, reason, ids) for key, ids in wanted.items() if ids]


def template_named(templates: Iterable[Template], name: str) -> Template | None:
    """The template of a name: as it is spelled, else in other capitals."""
    known = tuple(templates)
    wanted = " ".join(name.split())
    as_spelled = (one for one in known if one.name == wanted)
    return next(as_spelled, next((one for one in known if one.name.casefold() == wanted.casefold()), None))


def templates_in(shop: HullState) -> tuple[Template, ...]:
    """Every template of the shop's record, by name.

    Of two that were kept at once under one name the later has it; the other stands beside it with who kept it, whole.
    Older programs wrote a keep without its id, and only what it changed: there, of each piece the later counts.
    """
    found: list[Template] = []
    for name in sorted({key.subject[0] for key, _ in _registers(shop)}, key=lambda one: (one.casefold(), one)):
        found += _kept_under(shop, name)
    return tuple(found)


def _kept_under(shop: HullState, name: str) -> Iterator[Template]:
    """What stands under a name: each keep that nobody replaced, the latest first."""
    heads = [(key.subject[1:], entry) for key, several in _standing(shop, name).items() for entry in several]
    latest = max((entry for _, entry in heads), key=_moment, default=None)
    is_whole = latest is not None and _keep_of(latest) != ""
    keeps: dict[str, list[tuple[Path, Entry]]] = defaultdict(list)
    for piece, entry in sorted(heads, key=lambda one: _moment(one[1])):
        keeps[_keep_of(entry) if is_whole else ""].append((piece, entry))
    told: list[Facts] = []
    for keep, kept in sorted(keeps.items(), key=lambda one: _moment(one[1][-1][1]), reverse=True):
        facts = _facts_of(kept if is_whole else _as_first_written(shop, name, kept))
        if facts not in told:
            last = kept[-1][1]
            told.append(facts)
            called = name if len(told) == 1 else f"{name} ({last.by or last.tablet}, {moment_in_words(last.at)})"
            yield Template(called, facts, last.by, last.at, kept_under=name, keep=keep)


def _facts_of(kept: Iterable[tuple[Path, Entry]]) -> Facts:
    """Facts of a keep's pieces; of two that say something of one piece the later."""
    lines = dict(kept)  # the later of a piece in the place of the earlier
    return {(*piece, *path): value for piece, entry in lines.items() for path, value in _facts_in(entry.value)}


def _as_first_written(shop: HullState, name: str, kept: list[tuple[Path, Entry]]) -> list[tuple[Path, Entry]]:
    return sorted(kept, key=lambda one: (shop.written(RegisterKey(TEMPLATE, "", (name, *one[0]))), _moment(one[1])))


def _moment(entry: Entry) -> tuple[Stamp, str]:
    return entry.clock, entry.id


def _keep_of(entry: Entry) -> str:
    """The id of the keep an entry belongs to; "" where an older program wrote it."""
    keep = entry.more.get(_KEEP)
    return keep if isinstance(keep, str) else ""


def _registers(shop: HullState) -> Iterator[tuple[RegisterKey, Register]]:
    """Those of templates, which belong to no job."""
    return ((key, one) for key, one in shop.registers.items() if key.kind == TEMPLATE and key.subject and not key.job)


def _standing(shop: HullState, name: str) -> dict[RegisterKey, list[Entry]]:
    """What nobody replaced or took back of each piece under a name, and can be read."""
    found = {key: _readable(register) for key, register in _registers(shop) if key.subject[0] == name}
    return {key: heads for key, heads in found.items() if heads}


def _readable(register: Register) -> list[Entry]:
    return [entry for entry in register.heads if entry.kind == TEMPLATE and entry.id not in register.misfits]


def _take_back(
    author: Author, shop: HullState, key: RegisterKey, reason: str, replaced: Iterable[str] | None = None
) -> Entry:
    ids = shop.heads(key) if replaced is None else tuple(replaced)
    return author.write(shop, "retract", key.subject, {"kind": TEMPLATE, "reason": reason}, replaces=ids)


def _by_piece(facts: Facts) -> dict[Path, JsonValue]:
    """Facts as they are kept: for the boat itself, and for each piece, its lines of path and value."""
    found: dict[Path, list[JsonValue]] = defaultdict(list)
    for path, value in facts.items():
        piece = path[:2] if is_equipment(path[0]) else ()
        found[piece].append([*path[len(piece) :], value])
    return {piece: [*lines] for piece, lines in found.items()}


def _facts_in(lines: JsonValue) -> Iterator[tuple[Path, JsonValue]]:
    """Path and value of each line; what cannot be read is not current: see `shapes`."""
    for line in lines if isinstance(lines, list) else ():
        if isinstance(line, list):
            yield tuple(map(str, line[:-1])), line[-1]
