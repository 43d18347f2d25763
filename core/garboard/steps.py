"""What a plugin declares: steps with their fields and cautions, calculators, live guides, report sections.

A plugin draws nothing. It declares data and computes; the tablet, the report and the page draw.
"""

from __future__ import annotations

import enum
import re
from collections.abc import Callable, Iterable, Sequence, Set
from typing import Generic, TypeVar

from garboard.fields import Field, Kind
from garboard.findings import OF_VESSEL, Basis, Figure, Finding, Number, Table
from garboard.job_view import JobView, place_of
from garboard.owner_pages import OwnerBlock
from garboard.record_types import frozen, typed
from garboard.records import EQUIPMENT, is_own_kind
from garboard.samples import UNIT_OF_QUANTITY, Recording, Sample
from garboard.settings import Setting, SettingUsed

__all__ = [
    "BEHIND",
    "COVER",
    "DIESEL",
    "DONE_STATES",
    "GASOLINE",
    "LEFT_OUT",
    "NOT_ABOARD",
    "NOT_NEEDED",
    "RECORD",
    "YOUR_BOAT",
    "Assessed",
    "Block",
    "Calculator",
    "Caution",
    "EquipmentKind",
    "Field",
    "Guidance",
    "Kind",
    "LiveGuide",
    "Phase",
    "RecordingJudge",
    "ReportSection",
    "Setting",
    "Step",
    "describing_run",
    "has_none",
    "is_open",
    "not_aboard",
    "state_shown",
]
# Field, Kind and Setting stood here once: plugins written then import them from here.


GASOLINE, DIESEL = "gasoline", "diesel"
"""Fuels a caution may hold for, as the answer to a field of the name `fuel` has them."""


class Phase(enum.Enum):
    """Where in the job a step belongs. The value is the word shown."""

    ALONGSIDE = "alongside"
    UNDER_WAY = "under way"
    HAND_OVER = "hand over"


@frozen(field_transformer=typed)
class Caution:
    """What a person must be shown before the step, and where that comes from.

    fuels : those it holds for ("gasoline", "diesel"); without any it holds whatever the boat burns. Where nobody has
            said which of the two it burns, what holds for gasoline is shown
    to_owner : the same in words for the boat's owner; without any it is for those at work alone
    """

    text: str
    basis: Basis
    fuels: tuple[str, ...] = ()
    to_owner: str = ""

    def holds_for(self, fuel: str) -> bool:
        """Whether it is shown on a boat that burns a fuel; "" where that is not known."""
        return not self.fuels or (fuel if fuel in (GASOLINE, DIESEL) else GASOLINE) in self.fuels


@frozen(kw_only=True, field_transformer=typed)
class Step:
    """One thing to do in a job.

    key       : "<plugin>.<step>", never changes once jobs hold it
    order     : place on screen within its phase; smaller comes first
    at_hand   : what to have ready before starting
    guide     : key of the live guide offered with it, if any
    spared_by : keys of other ways to do the same: once one of those steps is done, this one need not be
    """

    key: str
    title: str
    phase: Phase
    order: int
    fields: tuple[Field, ...] = ()
    cautions: tuple[Caution, ...] = ()
    at_hand: tuple[str, ...] = ()
    guide: str = ""
    spared_by: tuple[str, ...] = ()

    def cautions_for(self, fuel: str) -> tuple[Caution, ...]:
        """The cautions shown on a boat that burns a fuel; "" where that is not known."""
        return tuple(caution for caution in self.cautions if caution.holds_for(fuel))

    def all_fields(self) -> Iterable[Field]:
        """Fields and the columns of tables, in order."""
        for field in self.fields:
            yield field
            yield from field.columns

    def field(self, name: str) -> Field | None:
        """The field or column of a name, or the one that had it once."""
        fields = [*self.all_fields()]
        former = (field for field in fields if name in field.renamed_from)
        return next((field for field in fields if field.name == name), None) or next(former, None)

    def __attrs_post_init__(self) -> None:
        if "." not in self.key:
            raise ValueError(f"step {self.title!r}: key must read '<plugin>.<step>', got {self.key!r}")
        names = [field.name for field in self.all_fields()]
        names += [former for field in self.all_fields() for former in field.renamed_from]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"step {self.key!r}: field names used twice: {', '.join(twice)}")
        runs = {field.name for field in self.all_fields() if field.kind is Kind.RECORDING}
        for field in self.all_fields():
            if field.of_run and field.of_run not in runs:
                raise ValueError(f"step {self.key!r}: {field.name!r} is of run {field.of_run!r}, which is no recording")


@frozen(kw_only=True, field_transformer=typed)
class EquipmentKind:
    """A kind of equipment of a plugin's own: a trailer, reels, a generator, a tender.

    It stands on the boat's page of the tablet, in the job file, in the book and in the tables, as engines and batteries
    do. Its values merge by the name of each piece. A step asks once for each piece by `Field.each`.

    key      : "<plugin>.<kind>"; the vessel's list in a job file has that key, and it never changes once jobs hold it
    title    : of the list, as people read it ("Trailers")
    one      : a single piece, as a sentence names it ("trailer")
    fields   : what is entered of each: amounts, counts, choices, yes or no, and texts. With `of_model` a template
               keeps it, and a boat begun like another takes it over
    order    : place among the kinds of plugins, which stand behind the program's own; smaller comes first
    named_by : what a person is asked for to name one ("Where is it mounted?")
    names    : names to take with one press; any other can be typed
    only_one : a boat has one at most; it is called as `one` says
    """

    key: str
    title: str
    one: str
    fields: tuple[Field, ...]
    order: int = 500
    named_by: str = "What is it called?"
    names: tuple[str, ...] = ()
    only_one: bool = False

    @property
    def plugin(self) -> str:
        """The word its key begins with."""
        return self.key.partition(".")[0]

    def field(self, name: str) -> Field | None:
        return next((field for field in self.fields if field.name == name), None)

    def __attrs_post_init__(self) -> None:
        plugin, _, kind = self.key.partition(".")
        if not (plugin and is_own_kind(self.key) and re.fullmatch(r"[a-z][a-z0-9_]*", kind)):
            raise _refused(self, "key reads '<plugin>.<kind>' of small letters, digits and _", repr(self.key))
        if kind in EQUIPMENT:
            theirs = ", ".join(EQUIPMENT)
            raise _refused(self, f"a last word of its own, such as own_{kind}, and none of {theirs}", repr(kind))
        if not self.one.strip() or len(max(self.title, self.one, key=len)) > _LONGEST_TITLE:
            raise _refused(self, f"title and one of 1 to {_LONGEST_TITLE} letters", repr(self.one[:_LONGEST_TITLE]))
        if not 0 < len(self.fields) <= MOST_FACTS:
            raise _refused(self, f"1 to {MOST_FACTS} fields", str(len(self.fields)))
        names = [field.name for field in self.fields]
        if twice := sorted({name for name in names if names.count(name) > 1}):
            raise _refused(self, "field names each once", f"{', '.join(twice)} twice")
        for field in self.fields:
            self._check_field(field)

    def _check_field(self, field: Field) -> None:
        if not re.fullmatch(r"[a-z][a-z0-9_]{0,39}", field.name) or field.name in _WORDS_OF_PIECES:
            expected = f"field names of small letters, digits and _, and none of {', '.join(_WORDS_OF_PIECES)}"
            raise _refused(self, expected, repr(field.name))
        if field.kind not in _KINDS_OF_FACTS:
            words = ", ".join(kind.value for kind in _KINDS_OF_FACTS)
            raise _refused(self, f"fields of the kinds {words}", f"{field.name!r}, a {field.kind.value}")
        if used := [name for name in _OF_STEPS_ALONE if getattr(field, name)]:
            raise _refused(self, "fields without what only a step has", f"{used[0]} of {field.name!r}")


MOST_FACTS = 40
"""Fields of a kind of equipment: nobody enters more of one piece."""
_LONGEST_TITLE = 120
_KINDS_OF_FACTS = (Kind.AMOUNT, Kind.COUNT, Kind.CHOICE, Kind.YES_NO, Kind.TEXT)
_WORDS_OF_PIECES = ("name", "removed", "entered", "usual", "more")
"""What a piece's own record uses."""
_OF_STEPS_ALONE = (
    "each",
    "of_run",
    "aside",
    "begins",
    "of_several",
    "renamed_from",
    "plausible_for",
    "doubted_outside",
    "heard",
)


def _refused(kind: EquipmentKind, expected: str, got: str) -> ValueError:
    """What is wrong with a kind, for its author."""
    return ValueError(f"equipment {kind.key!r}: expected {expected}, got {got}")


def describing_run(step: Step, recording: str) -> frozenset[str]:
    """Names of the fields that describe the run in a recording field."""
    return frozenset(field.name for field in step.all_fields() if field.of_run == recording)


DONE_STATES = ("done", "not fitted")
NOT_NEEDED = "not needed"
"""Shown for a step that another way spares."""
LEFT_OUT = "left out"
"""Shown for a step that the shop leaves out of such a job and nobody has begun."""
NOT_ABOARD = "does not apply"
"""Shown for a step that asks only of equipment which the boat does not have."""
BEHIND = (*DONE_STATES, NOT_NEEDED, LEFT_OUT, NOT_ABOARD)
"""States of a step in which nothing is to be done any more."""


def has_none(view: JobView, kind: str, *steps: str) -> bool:
    """Whether a boat has no equipment of a kind that a plugin declares, and nobody has entered anything of a piece.

    Never of the program's own kinds: every boat has engines, and where none is entered somebody has yet to do so.

    steps : keys of those that ask of each piece; what is entered in them may be of one that is not entered
    """
    if not is_own_kind(kind) or view.vessel.of_kind(kind):
        return False
    places = [*map(place_of, view.measurements), *(one.place for one in view.disagreements)]
    places += [one.place for one in view.unreadable]
    is_entered = any(place[0] in steps and place[3] for place in places)
    return not is_entered and not any(place[1].startswith(f"{kind}/") for place in places if place[0] == OF_VESSEL)


def not_aboard(view: JobView, step: Step) -> tuple[str, ...]:
    """The kinds of equipment that are all a step asks of, where the boat has none of them; none where it applies."""
    kinds = dict.fromkeys(kind for field in step.fields for kind in _asked_of(field))
    return tuple(kinds) if kinds and all(has_none(view, kind, step.key) for kind in kinds) else ()


def _asked_of(field: Field) -> tuple[str, ...]:
    """The kind of equipment a field is asked of, "" of none; of a table that of each column."""
    return (field.each,) if field.each or not field.columns else tuple(column.each for column in field.columns)


def state_shown(view: JobView, step: Step) -> str:
    """The state of a step; "left out" where the shop does so, "not needed" where another way was done instead, "does
    not apply" where the boat has nothing of what it asks of."""
    state = view.state_of(step.key)
    if state == "to do" and step.key in view.left_out:
        return LEFT_OUT
    if state == "to do" and not_aboard(view, step):
        return NOT_ABOARD
    is_spared = any(view.state_of(other) == "done" for other in step.spared_by)
    return NOT_NEEDED if is_spared and state not in DONE_STATES else state


def is_open(view: JobView, step: Step) -> bool:
    """Whether a step is still to be done: neither done nor not fitted, left out nor spared by another way."""
    return state_shown(view, step) not in BEHIND


@frozen(kw_only=True, field_transformer=typed)
class Calculator:
    """A pure function from a job view to findings.

    key     : "<plugin>.<calculator>"
    step    : key of the step its findings are shown under
    order   : place within its step; smaller comes first, so the main result has the smallest
    compute : may raise NotEnoughData; anything else it raises is reported as a fault of the plugin
    basis   : used for the finding the host makes when `compute` raises NotEnoughData
    applies : says whether the calculator has anything to say about this vessel at all
    leads   : its findings say what to do about the others of the step, so where they ask for anything they stand first
    of_shop : its findings are about the shop's own work, not about the boat: the owner's book leaves them out
    compared : names of its numbers that stand side by side where several propellers were tried
    may_doubt : its findings may doubt values that others rest on, so it runs wherever any of them does
    doubts_in : the plugins in whose steps these values stand ("prop_check"), and `OF_VESSEL` for facts of the vessel;
                it runs where a finding rests on a value of theirs. With none, it runs where one rests on any value
    """

    key: str
    title: str
    step: str
    compute: Callable[[JobView], Iterable[Finding]]
    basis: tuple[Basis, ...]
    applies: Callable[[JobView], bool] = lambda _view: True
    order: int = 500
    leads: bool = False
    of_shop: bool = False
    compared: tuple[str, ...] = ()
    may_doubt: bool = False
    doubts_in: tuple[str, ...] = ()

    def may_doubt_of(self, owners: Set[str]) -> bool:
        """Whether its findings may doubt a value of any of these: plugins, or `OF_VESSEL`."""
        return self.may_doubt and bool(owners & set(self.doubts_in) if self.doubts_in else owners)


@frozen(kw_only=True)
class Guidance:
    """What to show a person who is steering.

    number, unit : the one big number
    word         : two or three words that say what to do ("turn faster")
    on_target    : whether the number is where it should be
    scale        : ends of the scale the number is drawn on, same unit
    band         : where the number should be, same unit
    progress     : share of the whole done, 0 to 1
    lines        : small print, at most three
    done         : enough has been collected
    of           : what the number is of, where several are read ("lowest: starboard")
    urgent       : what to do is for safety: it has a shape and a sound of its own, and is sounded until it is done
    under_way    : whether the run it guides goes on now, so that it is begun and ended by itself; None where the
                   guide does not tell: then it is while the number is where it should be
    columns      : the number of each of several, by name, in order; None for one that is not heard
    """

    number: float | None
    unit: str
    word: str
    on_target: bool = False
    decimals: int = 1
    scale: tuple[float, float] | None = None
    band: tuple[float, float] | None = None
    progress: float | None = None
    lines: tuple[str, ...] = ()
    done: bool = False
    of: str = ""
    urgent: bool = False
    under_way: bool | None = None
    columns: tuple[tuple[str, float | None], ...] = ()


State = TypeVar("State")


@frozen(kw_only=True, field_transformer=typed)
class LiveGuide(Generic[State]):
    """Guides a step done while steering. Pure: each sample gives a new state, each state one guidance.

    quantities : keys of `samples.UNIT_OF_QUANTITY` it wants to see
    begin      : the state before the first sample, from the job
    take       : the state after one more sample
    show       : what to show in a state
    """

    key: str
    title: str
    quantities: tuple[str, ...]
    begin: Callable[[JobView], State]
    take: Callable[[State, Sample], State]
    show: Callable[[State], Guidance]

    def __attrs_post_init__(self) -> None:
        unknown = [quantity for quantity in self.quantities if quantity not in UNIT_OF_QUANTITY]
        if unknown:
            raise ValueError(f"live guide {self.key!r}: unknown quantities {', '.join(unknown)}")


@frozen(kw_only=True, field_transformer=typed)
class RecordingJudge:
    """A judgement of a recording on its own: no vessel, no job, the shop's settings at their defaults.

    key    : "<plugin>.<judge>"
    option : one word; `garboard recording FILE --<option>` runs it
    judge  : may raise NotEnoughData
    """

    key: str
    title: str
    option: str
    judge: Callable[[Recording], Iterable[Finding]]

    def __attrs_post_init__(self) -> None:
        if not re.fullmatch(r"[a-z][a-z-]*", self.option):
            raise ValueError(f"recording judge {self.key!r}: option must be lower-case letters, got {self.option!r}")


@frozen(kw_only=True)
class Assessed:
    """A finding with the calculator and the plugin version that produced it.

    calculator    : its key, by which a section finds what it prints ("rail.height")
    title         : of the calculator
    step, phase   : the step it stands under
    finding       : what was found, doubts of others counted in
    settings_used : settings the calculator read that are not at their default, or in doubt
    shortened     : whether the host cut something of the finding that no page can hold
    """

    calculator: str
    title: str
    step: str
    phase: Phase
    plugin: str
    plugin_version: str
    finding: Finding
    settings_used: tuple[SettingUsed, ...] = ()
    shortened: bool = False


Block = str | Table | Figure | Finding | Number | OwnerBlock
"""What a report section is made of. A str is a paragraph; a Number is printed large, one on a page at most. What is
`OwnerBlock` stands in Your boat alone."""


RECORD, YOUR_BOAT, COVER = "record", "your boat", "cover"
"""Parts of the handover book a section may stand in."""


@frozen(kw_only=True, field_transformer=typed)
class ReportSection:
    """A section of the handover book. `build` returns its blocks; no blocks, no section.

    The Record prints the figures of a pass only where a section returns the finding; of other verdicts always.

    part  : of `garboard.steps`: RECORD, with verdicts and bases. YOUR_BOAT, a page for the owner: sections of one title
           share that page. COVER, sentences that say on the cover how the boat did
    steps : keys of the steps whose checks stand with it in the Record; those no section names stand with the first
            section of their plugin
    """

    key: str
    title: str
    order: int
    build: Callable[[JobView, Sequence[Assessed]], Sequence[Block]]
    part: str = RECORD
    steps: tuple[str, ...] = ()

    def __attrs_post_init__(self) -> None:
        if self.part not in (RECORD, YOUR_BOAT, COVER):
            raise ValueError(f"section {self.key!r}: part is one of {RECORD}, {YOUR_BOAT}, {COVER}, got {self.part!r}")
