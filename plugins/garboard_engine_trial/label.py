"""What was rigged against the capacity label, and safety gear by length and waters, as far as the law names them.

The label is the boat maker's. It is read and added up, never worked out anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from garboard.faults import in_number
from garboard.findings import Basis, BasisKind, Finding, Lack, Limit, Missing, NotEnoughData, Number, Verdict, in_full
from garboard.job_view import InputCollector, JobView, nothing_at
from garboard.steps import Calculator
from garboard_engine_trial.fit_out_steps import COASTAL, LAW, OPEN
from garboard_engine_trial.law_texts import EXTINGUISHERS, FLOTATION, OPEN_BOAT, PERSONS, SIGNALS
from garboard_engine_trial.points import is_entered, is_left_out, rows_of, settled
from garboard_engine_trial.steps import table_of

LABEL = Basis(
    BasisKind.MANUAL,
    "the capacity label of the boat's maker",
    "33 CFR 183.35 and 183.41 say how its maker finds it, for monohull outboard boats under 20 ft",
)
LIGHTEST_ENGINE = 1.2
"""No outboard weighs less for each of its power [lb/hp]."""
ENGINES_WEIGH = Basis(
    BasisKind.COMMON_PRACTICE, f"an outboard weighs {in_full(LIGHTEST_ENGINE)} lb or more for each hp"
)
LABEL_BELOW, THROWABLE_FROM, OPEN_BELOW, SIGNALS_FROM = 20.0, 16.0, 26.0, 16.0
"""Lengths at which a rule begins or ends [ft]."""
_EXTINGUISHERS = ((26.0, 1), (40.0, 2), (math.nextafter(65.0, 66.0), 3))
"""How many below each length [ft]."""


MOST_FOR_EACH = 2.0
"""A label that names fewer persons than go with its weight, as it has seats for fewer, names half of them at least;
common practice, no source."""


def persons_of_weight(pounds: float) -> int:
    """How many persons go with a weight of persons [lb], to the nearest whole number; a half goes up.

    [1] 33 CFR 183.41(b): 32 lb added, divided by 141.

    >>> persons_of_weight(550.0)
    4
    """
    return math.floor((pounds + 32) / 141 + 0.5)


def is_labelled(view: JobView) -> bool:
    """Whether the law asks for a label: a monohull under 20 ft. Where that is not known, nothing is asked."""
    length = view.vessel.length
    return length is not None and length.to("ft") < LABEL_BELOW and view.vessel.hull_form != "multihull"


def _weights(view: JobView) -> Iterator[Finding]:
    is_read = is_entered(view, LAW, "label_weight", "label_persons_weight")
    if is_left_out(view, LAW) or not (is_read or is_labelled(view)):
        return
    asking = view.asking()
    label = asking.amount(LAW, "label_weight", "lb")
    persons = asking.amount(LAW, "label_persons_weight", "lb")
    rows = rows_of(view, LAW, table_of(LAW, "rigged_weights"))
    asking.need(
        bool(rows),
        "no weight of what was rigged is entered",
        lack=Lack.NOT_ENTERED,
        step=LAW,
        field="rigged_item",
        row="1",
    )
    for row in rows:
        asking.settled(LAW, "rigged_item", row=row)
    rigged = math.fsum(asking.amount(LAW, "item_weight", "lb", row=row) for row in rows)
    asking.need(
        not persons > label,
        "the label's weight of persons is more than that of persons, motors and gear; read it again",
        lack=Lack.CONTRADICTS,
        step=LAW,
        field="label_persons_weight",
    )
    asking.check()
    yield _against_label(view, label, persons, rigged)


def _against_label(view: JobView, label: float, persons: float, rigged: float) -> Finding:
    # Held against the label and not against nothing left: kilograms turned into pounds leave a trace of either sign.
    fitted = [one.rated_power.to("hp") for one in view.vessel.engines if one.rated_power]
    if rigged < LIGHTEST_ENGINE * math.fsum(fitted):
        return Finding(
            code="engine_trial.label.engines_left_out",
            verdict=Verdict.ADVISE,
            about="Rigged weight",
            sentence=f"What is listed weighs less than {view.told(math.fsum(fitted), 'hp', 0)} of engines. Add the "
            f"engines "
            "to the list, or correct a weight: the label counts motors in.",
            basis=(LABEL, ENGINES_WEIGH),
            numbers=(Number("rigged", rigged, "lb", decimals=0),),
        )
    holds_all = Limit("rigged, and persons", high=label).holds(rigged + persons)
    left = max(0.0, label - rigged - persons) if holds_all else label - rigged - persons
    numbers = (
        Number("rigged", rigged, "lb", decimals=0),
        Number("left for gear and fuel in portable tanks", left, "lb", decimals=0),
    )
    told = view.told(abs(left), "lb", 0)
    if not Limit("rigged", high=label).holds(rigged):
        code, verdict = "engine_trial.label.above", Verdict.FAIL
        sentence = "What was rigged weighs more than the label allows with nobody aboard. Ask the boat's maker."
        limits = (Limit("rigged", high=label),)
    elif not holds_all:
        code, verdict = "engine_trial.label.full", Verdict.ADVISE
        sentence = f"With the label's persons aboard it is {told} over the label. Tell the owner: fewer people or gear."
        limits = (Limit("left for gear and fuel in portable tanks", low=0.0),)
    else:
        code, verdict = "engine_trial.label.within", Verdict.PASS
        sentence = (
            f"The label allows {view.told(persons, 'lb', 0)} of persons and {view.told(label, 'lb', 0)} in all. "
            f"With its persons aboard {told} is left for gear."
        )
        limits = (Limit("left for gear and fuel in portable tanks", low=0.0),)
    return Finding(
        code=code,
        verdict=verdict,
        about="Rigged weight",
        sentence=sentence,
        basis=(LABEL,),
        numbers=numbers,
        limits=limits,
    )


def _label_read(view: JobView) -> Iterator[Finding]:
    """Whether the two figures of persons on a label go together; where they do not, it was misread."""
    if is_left_out(view, LAW) or not (is_entered(view, LAW, "label_persons") or is_labelled(view)):
        return
    if view.in_dispute(LAW, "label_persons"):
        raise NotEnoughData(nothing_at(view, LAW, "label_persons"))
    persons, pounds = view.value(LAW, "label_persons"), settled(view, LAW, "label_persons_weight", "lb")
    if not isinstance(persons, int) or pounds is None:
        return
    most = persons_of_weight(pounds)
    fewest = math.ceil(most / MOST_FOR_EACH)
    is_right = fewest <= persons <= most
    goes_with = in_number(most, "person")
    limit = Limit("persons on the label", low=fewest, high=most)
    yield Finding(
        code="engine_trial.label_read.agrees" if is_right else "engine_trial.label_read.misread",
        verdict=Verdict.PASS if is_right else Verdict.ADVISE,
        about="Persons on the label",
        sentence=(
            f"The label allows {in_number(persons, 'person')}, and {view.told(pounds, 'lb', 0)} of them: the two "
            f"go together."
            if is_right
            else f"The label's weight goes with {goes_with}{' at most' if persons > most else ''}. Read it again, or "
            f"ask the boat's maker."
        ),
        basis=(PERSONS.basis,),
        numbers=(Number("persons on the label", persons, decimals=0),),
        limits=(limit,),
    )


def _length(view: JobView) -> float:
    """Length of the boat [ft]. Raises NotEnoughData where it is not entered."""
    if view.vessel.length is None:
        raise NotEnoughData(Missing("length of the boat is not entered", lack=Lack.NOT_ENTERED, field="length"))
    return view.vessel.length.to("ft")


def _count(asking: InputCollector, field: str) -> int:
    """A count of the step; 0 stands in for one that is not there, which `check` then names."""
    value = asking.view.value(LAW, field)
    is_count = isinstance(value, int) and not isinstance(value, bool)
    asking.need(is_count, nothing_at(asking.view, LAW, field, expected="a whole number"))
    return int(value) if isinstance(value, int) and is_count else 0


def _flotation(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, LAW):
        return
    length = _length(view)
    asking = view.asking()
    persons, wearables = _count(asking, "most_persons"), _count(asking, "wearables")
    throwable = asking.yes(LAW, "throwable")
    asking.check()
    lacking = [
        *([f"{in_number(persons - wearables, 'life jacket')} to wear"] if wearables < persons else []),
        *(["a throwable flotation"] if length >= THROWABLE_FROM and not throwable else []),
    ]
    yield Finding(
        code="engine_trial.flotation.lacking" if lacking else "engine_trial.flotation.aboard",
        verdict=Verdict.FAIL if lacking else Verdict.PASS,
        about="Flotation",
        sentence=(
            f"Put aboard before anyone goes out: {' and '.join(lacking)}."
            if lacking
            else f"A life jacket for each of {persons}."
        ),
        basis=(FLOTATION.basis,),
        numbers=(Number("life jackets to wear", wearables, decimals=0),),
        limits=(Limit("life jackets to wear", low=persons),) if wearables < persons or not lacking else (),
    )


def extinguishers_wanted(length: float, is_open: bool) -> int | None:
    """Portable extinguishers on an outboard boat of a length [ft]; None above 65 ft, where tonnage decides.

    >>> extinguishers_wanted(19.5, True), extinguishers_wanted(19.5, False), extinguishers_wanted(26.0, True)
    (0, 1, 2)
    """
    if is_open and length < OPEN_BELOW:
        return 0
    return next((wanted for below, wanted in _EXTINGUISHERS if length < below), None)


def _fire_and_signals(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, LAW):
        return
    length = _length(view)
    asking = view.asking()
    aboard = _count(asking, "extinguishers")
    spaces, waters = asking.choice(LAW, "spaces"), asking.choice(LAW, "waters")
    asks_signals = waters == COASTAL and length >= SIGNALS_FROM
    signals = asking.yes(LAW, "distress_signals") if asks_signals else True
    wanted = extinguishers_wanted(length, spaces == OPEN)
    asking.need(
        wanted is not None,
        "above 65 ft the tonnage decides how many extinguishers are carried; read the law",
        lack=Lack.NOT_COVERED,
        field="length",
    )
    asking.check()
    wanted = wanted or 0
    # Not asked: a small boat may never be out at night.
    at_night = "; out at night it carries distress signals, too" if waters == COASTAL and not asks_signals else ""
    lacking = [
        *([in_number(wanted, "portable extinguisher")] if aboard < wanted else []),
        *([] if signals else ["visual distress signals for day and night"]),
    ]
    yield Finding(
        code="engine_trial.fire_and_signals.lacking" if lacking else "engine_trial.fire_and_signals.aboard",
        verdict=Verdict.ADVISE if lacking else Verdict.PASS,
        about="Extinguishers and distress signals",
        sentence=(
            f"Usual for its length and waters: {' and '.join(lacking)}. Check the law where it is used."
            if lacking
            else f"What is usual for its length and waters is aboard{at_night}. Check the law where it is used."
        ),
        basis=((OPEN_BOAT if wanted == 0 else EXTINGUISHERS).basis, *([SIGNALS.basis] if waters == COASTAL else [])),
        numbers=(Number("portable extinguishers", aboard, decimals=0),),
        limits=(Limit("portable extinguishers", low=wanted),),
    )


CALCULATORS = (
    Calculator(key="engine_trial.label", title="Rigged weight", step=LAW, order=200, compute=_weights, basis=(LABEL,)),
    Calculator(
        key="engine_trial.label_read",
        title="Persons on the label",
        step=LAW,
        order=300,
        compute=_label_read,
        basis=(PERSONS.basis,),
    ),
    Calculator(
        key="engine_trial.flotation",
        title="Flotation",
        step=LAW,
        order=400,
        compute=_flotation,
        basis=(FLOTATION.basis,),
    ),
    Calculator(
        key="engine_trial.fire_and_signals",
        title="Extinguishers and signals",
        step=LAW,
        order=500,
        compute=_fire_and_signals,
        basis=(EXTINGUISHERS.basis, SIGNALS.basis),
    ),
)
