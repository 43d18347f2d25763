"""Findings alongside: power against the capacity label and the formula, propellers as fitted."""

from __future__ import annotations

from collections.abc import Iterator

from garboard.findings import Finding, Lack, Limit, Missing, NotEnoughData, Number, Verdict, not_enough_data, plain_text
from garboard.fittings import CAME_WITH, plain_name, propeller_named
from garboard.job_view import JobView, in_unit, nothing_at
from garboard.records import Engine
from garboard_prop_check import power_limit
from garboard_prop_check.steps import CAPACITY, PROPELLER
from garboard_prop_check.tried import row_after_change, row_to_begin, was_changed
from garboard_prop_check.words import (
    FITTING,
    FORMULA,
    LABEL,
    LARGEST_POWER,
    asked_powers,
    for_each_engine,
    named_first,
    pitch_of,
    total_power,
)


def capacity(view: JobView) -> Iterator[Finding]:
    """Power fitted against the capacity label and, for small monohulls, against the formula."""
    fitted = total_power(view)
    yield _against_label(view, fitted)
    if _formula_applies(view):
        try:
            yield _against_formula(view, fitted)
        except NotEnoughData as lacking:
            yield not_enough_data("maximum power by formula", lacking.missing, (FORMULA,))


def _against_label(view: JobView, fitted: float) -> Finding:
    label = view.vessel.plate_power.to("hp") if view.vessel.plate_power else None
    if label is None:
        text = "power on the capacity label is not entered; read the label"
        return not_enough_data("power fitted", [Missing(text, lack=Lack.NOT_ENTERED, field="plate_power")], (LABEL,))
    if not 0 < label <= LARGEST_POWER:
        text = f"power on the label reads {view.vessel.plate_power}; read the label again"
        return not_enough_data("power fitted", [Missing(text, lack=Lack.OUT_OF_RANGE, field="plate_power")], (LABEL,))
    if view.in_dispute(CAPACITY, "label_read"):
        return not_enough_data("power fitted", [nothing_at(view, CAPACITY, "label_read")], (LABEL,))
    if view.value(CAPACITY, "label_read") is not True:
        text = "the capacity label has not been read on this boat"
        unread = Missing(text, lack=Lack.NOT_ENTERED, step=CAPACITY, field="label_read")
        return not_enough_data("power fitted", [unread], (LABEL,))
    told = view.told(fitted, "hp")
    numbers = (_power(view, "power fitted", fitted), _power(view, "power on the label", label))
    if fitted <= label:
        code, verdict = "prop_check.capacity.within_label", Verdict.PASS
        sentence = f"{told} fitted; the capacity label allows {view.told(label, 'hp')}."
    elif fitted <= label * 1.015:
        code, verdict = "prop_check.capacity.within_unit_of_label", Verdict.ADVISE
        sentence = f"{told} fitted against {view.told(label, 'hp')} on the label. {_how_to_compare(view)}"
    else:
        code, verdict = "prop_check.capacity.above_label", Verdict.FAIL
        sentence = f"{told} fitted; the capacity label allows {view.told(label, 'hp')}. Do not run it at full throttle."
        sentence = f"{named_first(asked_powers(view.vessel))}{sentence}"
    return Finding(
        code=code,
        verdict=verdict,
        about="power fitted",
        sentence=sentence,
        basis=(LABEL,),
        numbers=numbers,
        limits=(Limit("power fitted", high=label),),
    )


def _power(view: JobView, name: str, horsepower: float) -> Number:
    """A power with as many digits as the sentence beside it: 500 hp, 147.5 hp, 14.91 kW."""
    digits = plain_text(in_unit(horsepower, "hp", view.unit_to_tell("hp")))
    return Number(name, horsepower, "hp", decimals=len(digits.partition(".")[2]))


def _how_to_compare(view: JobView) -> str:
    """What to do where the power fitted is above the label by less than two kinds of horsepower differ."""
    given = (view.vessel.plate_power, *(engine.rated_power for engine in view.vessel.engines))
    if {power.unit for power in given if power} == {"kW"}:
        return "Rounded kilowatts may add up to that: compare both to a tenth of a kW, as their makers state them."
    return "Metric and other horsepower differ by 1.4 %: compare both in kW."


def above_label(view: JobView) -> bool:
    """Whether more power is fitted than the capacity label allows: then nobody is sent out for another run."""
    try:
        return _against_label(view, total_power(view)).verdict is Verdict.FAIL
    except NotEnoughData:
        return False


def more_runs(view: JobView) -> str:
    """What to do where two more runs would settle it."""
    if above_label(view):
        return "Make no more runs before the power is within the capacity label."
    return "Make two more runs."


def _formula_applies(view: JobView) -> bool:
    length = view.vessel.length
    small = length is None or length.to("ft") < power_limit.LENGTH_BELOW
    return small and view.vessel.hull_form != "multihull"


def _against_formula(view: JobView, fitted: float) -> Finding:
    vessel, asking = view.vessel, view.asking()
    length = asking.known(vessel.length, "ft", "length of the boat", field="length")
    width = asking.known(vessel.transom_width, "ft", "transom width", field="transom_width")
    height = asking.known(vessel.transom_height, "in", "transom height", field="transom_height")
    steering = "steering (remote or tiller) is not entered"
    asking.need(bool(vessel.steering), steering, lack=Lack.NOT_ENTERED, field="steering")
    asking.need(bool(vessel.hull_form), "hull form is not entered", lack=Lack.NOT_ENTERED, field="hull_form")
    fits = not length <= 0 and not width <= 0 and not width > 50
    asking.need(fits, "length and transom width must be above zero", lack=Lack.OUT_OF_RANGE, field="transom_width")
    asking.check()
    remote = vessel.steering == "remote" and height >= 20
    try:
        found = power_limit.power_limit(length * width, remote, vessel.hull_form == "flat bottom hard chine")
    except ValueError as outside:
        raise NotEnoughData(f"{outside}; ask the boat's maker", lack=Lack.NOT_COVERED, field="length") from None
    numbers = (
        Number("length x transom width", length * width, "", decimals=1),
        _power(view, "power by formula", found.computed),
        _power(view, "power the formula may be raised to", found.allowed),
        _power(view, "power fitted", fitted),
    )
    raised = (
        f", raised to {plain_text(in_unit(found.allowed, 'hp', view.unit_to_tell('hp')))}"
        if found.allowed != found.computed
        else ""
    )
    formula = f"Formula: {view.told(found.computed, 'hp')}{raised}"
    over = fitted > found.allowed
    return Finding(
        code="prop_check.capacity.above_formula" if over else "prop_check.capacity.within_formula",
        verdict=Verdict.ADVISE if over else Verdict.PASS,
        about="maximum power by formula",
        sentence=f"{named_first(asked_powers(vessel))}{formula}. {view.told(fitted, 'hp')} is more: ask the boat's "
        "maker what the label rests on."
        if over
        else f"{formula}. {view.told(fitted, 'hp')} fitted.",
        basis=(FORMULA,),
        numbers=numbers,
        limits=(Limit("power fitted", high=found.allowed),),
    )


def propeller_fitted(view: JobView) -> Iterator[Finding]:
    """Whether each propeller is the one entered, sound, and held on."""
    return for_each_engine(view, (FITTING,), lambda engine: _propeller_fitted(view, engine), "propeller")


_FITTED = {
    "nut_secured": "tighten and lock the nut",
    "blades_sound": "repair or change the propeller",
    "stamp_read": "read the stamp and correct the entry",
}


_FITTED_AGAIN = {f"{field}_again": _FITTED[field] for field in ("nut_secured", "blades_sound")}


def _propeller_fitted(view: JobView, engine: Engine) -> Finding:
    """After a change what was said of the propeller before says nothing of this one: nut and blades are seen again."""
    at = [one.position for one in view.vessel.engines].index(engine.position)
    changed = was_changed(view, at)
    row = row_after_change(view, engine, plain_name(engine.fitted)) if changed else ""
    asking = view.asking()
    if changed and not row:
        name = engine.fitted or CAME_WITH
        text = f"nut and blades of the {engine.position} propeller, {name}, were not looked at since it was put on"
        next_row = row_to_begin(view)
        place = {"step": PROPELLER, "field": "nut_secured_again", "row": next_row, "of": engine.position}
        asking.need(False, text, lack=Lack.NOT_ENTERED, **place)
        asking.check()
    asked = _FITTED_AGAIN if changed else _FITTED
    to_do = [what for field, what in asked.items() if not asking.yes(PROPELLER, field, row=row, of=engine.position)]
    asking.check()
    entered = "Propeller as entered, sound and secured."
    fitted = propeller_named(view.vessel, engine, engine.fitted)
    if fitted is not None and fitted.working_pitch is not None:
        pitch_of(engine)  # a stamp nobody can have read is not "as entered"
    if changed and fitted is not None and fitted.diameter is None:
        entered += " Enter its diameter too: engine speed depends on it as on the pitch."
    sentence = f"Not ready to run: {' and '.join(to_do)}." if to_do else entered
    return Finding(
        code="prop_check.propeller.not_ready" if to_do else "prop_check.propeller.as_entered",
        verdict=Verdict.FAIL if to_do else Verdict.PASS,
        about=f"{engine.position} propeller",
        sentence=sentence,
        basis=(FITTING,),
    )
