"""Whether the load said can be true of the people and the fuel entered beside it."""

from __future__ import annotations

from collections.abc import Iterator

from garboard.fields import LOAD
from garboard.findings import Basis, BasisKind, Doubt, Finding, Number, Verdict, in_full, rounded
from garboard.job_view import FieldKey, JobView
from garboard_prop_check.aboard import (
    GALLON,
    PERSON,
    fuel_level_in,
    fuel_weight,
    persons_in,
    place_of_load,
    weight_as_run,
)
from garboard_prop_check.averages import held
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE, THROTTLE_STEPS
from garboard_prop_check.weight_and_power import unlikely_weight

NOT_SO_LADEN = {
    "light": "prop_check.readings.load_not_light",
    "half": "prop_check.readings.load_not_half",
    "full": "prop_check.readings.load_not_full",
}
CREW = 2
"""A sea trial takes one to steer and one to read: with these aboard any boat may be light."""

LIGHT_UP_TO, FULL_FROM = 0.20, 0.08
"""People and fuel as a share of the boat's weight as run: a light boat carries no more than the one, a full one no less
than the other, for ballast may stand for people. Common practice, no source."""

HALF_FROM, NO_BOAT_ABOVE = FULL_FROM / 2, 0.75
"""A half loaded boat carries no less than half of a full one's least. No boat carries more than the other: even a small
tender weighs a quarter of what it is with people and fuel. Common practice, no source."""

LOAD_SAID = Basis(
    BasisKind.COMMON_PRACTICE,
    f"people and fuel of more than {rounded(100 * LIGHT_UP_TO)} % of the weight as run are no light load, of less than "
    f"{rounded(100 * FULL_FROM)} % no full one, of less than {rounded(100 * HALF_FROM)} % no half one; above "
    f"{rounded(100 * NO_BOAT_ABOVE)} % none at all",
    f"{rounded(PERSON)} lb a person, {in_full(GALLON)} lb a gallon",
)

ONE_LOAD = Basis(BasisKind.COMMON_PRACTICE, "one trial is run with one load")


def against_throttle_steps(view: JobView) -> Iterator[Finding]:
    """Whether the runs and the throttle steps were made with one load: each result holds for its own."""
    of_runs, of_steps = view.value(CONDITIONS, "load"), view.value(THROTTLE_STEPS, "load")
    known = [one for one in LOAD if one != "unknown"]
    if of_runs == of_steps or of_runs not in known or of_steps not in known:
        return
    yield Finding(
        code="prop_check.readings.loads_differ",
        verdict=Verdict.ADVISE,
        about="load as run",
        sentence=(
            f"The load is said to be {of_runs} for the full-throttle runs and {of_steps} for the throttle steps. Was "
            "it changed in between? Correct the wrong one; if both are right, propeller and fuel curve hold each for "
            "its own load."
        ),
        basis=(ONE_LOAD,),
        places=held(view, [(CONDITIONS, "load", "", ""), (THROTTLE_STEPS, "load", "", "")]),
    )


def against_people_and_fuel(view: JobView) -> Iterator[Finding]:
    """What the load said leaves to ask; nothing where it may be true, or too little is entered to tell.

    What a run says of its own load stands before the conditions; of several runs the first that does not fit is told.
    """
    rows = view.rows(FULL_THROTTLE) or ("",)
    found = (_of_people_and_fuel(view, row) for row in rows)
    yield from [one for one in found if one is not None][:1]


def _of_people_and_fuel(view: JobView, row: str) -> Finding | None:
    load, persons = view.value(CONDITIONS, "load"), persons_in(view, row)
    whole = weight_as_run(view)
    if load not in ("light", "half", "full") or persons is None or not whole > 0:
        return None
    if unlikely_weight(view.vessel):
        return None  # the weight itself is asked about
    fuel = fuel_weight(view, fuel_level_in(view, row))
    weight = PERSON * persons + (fuel or 0.0)
    share = weight / whole
    may_be = {
        "light": persons <= CREW or share <= LIGHT_UP_TO,
        "half": (fuel is None or share >= HALF_FROM) and share <= NO_BOAT_ABOVE,
        "full": (fuel is None or share >= FULL_FROM) and share <= NO_BOAT_ABOVE,
    }
    if may_be[load]:
        return None
    of_load = [place_of_load(view, field, row) for field in ("persons", "fuel_level")]
    step, field, of_row, _ = of_load[1]
    aboard = f"{persons} person{'s' if persons > 1 else ''}"
    aboard += "" if fuel is None else f" and {view.value(step, field, row=of_row)} of fuel"
    aboard += f" aboard in run {row}" if of_load[0][2] else " aboard"
    text = f"the load is said to be {load}, with {aboard}"
    ballast = " Ballast that stood for people may explain it." if load != "light" and share < FULL_FROM else ""
    places = held(view, [(CONDITIONS, "load", "", ""), *of_load])
    return Finding(
        code=NOT_SO_LADEN[load],
        verdict=Verdict.ADVISE,
        about="load as run",
        sentence=(
            f"T{text[1:]}: about {view.told(weight, 'lb', 0)}, {rounded(100 * share)} % of the boat's "
            f"{view.told(whole, 'lb', 0)}. Which of them is right? Correct the other.{ballast}"
        ),
        basis=(LOAD_SAID,),
        numbers=(Number("people and fuel", weight, "lb", decimals=0),),
        places=places,
        doubts=tuple(_doubt(text, place) for place in places if place[1] == "load"),
    )


def _doubt(text: str, place: FieldKey) -> Doubt:
    step, field, row, of = place
    return Doubt(text, step=step, field=field, row=row, of=of)
