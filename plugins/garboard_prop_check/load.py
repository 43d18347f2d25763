"""Whether the load said can be true of the people and the fuel entered beside it."""

from __future__ import annotations

from collections.abc import Iterator

from garboard.fields import LOAD
from garboard.findings import Basis, BasisKind, Doubt, Finding, Number, Verdict
from garboard.job_view import FieldKey, JobView
from garboard_prop_check.averages import held
from garboard_prop_check.steps import CONDITIONS, THROTTLE_STEPS
from garboard_prop_check.weight_and_power import unlikely_weight

PERSON = 165.0
"""Weight of one person [lb]: the 75 kg that ISO 14946 counts with; from memory."""

GALLON = 6.1
"""Weight of a gallon of gasoline [lb]: Fuel property comparison, US Department of Energy; 6.0 to 6.5."""

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
    f"people and fuel of more than {100 * LIGHT_UP_TO:.0f} % of the weight as run are no light load, of less than "
    f"{100 * FULL_FROM:.0f} % no full one, of less than {100 * HALF_FROM:.0f} % no half one; above "
    f"{100 * NO_BOAT_ABOVE:.0f} % none at all",
    f"{PERSON:.0f} lb a person, {GALLON:g} lb a gallon",
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
    """What the load said leaves to ask; nothing where it may be true, or too little is entered to tell."""
    load, persons = view.value(CONDITIONS, "load"), view.value(CONDITIONS, "persons")
    whole = view.vessel.displacement_as_run.to("lb") if view.vessel.displacement_as_run else 0.0
    if load not in ("light", "half", "full") or not isinstance(persons, int) or not whole > 0:
        return
    if unlikely_weight(view.vessel):
        return  # the weight itself is asked about
    fuel = _fuel(view)
    weight = PERSON * persons + (fuel or 0.0)
    share = weight / whole
    may_be = {
        "light": persons <= CREW or share <= LIGHT_UP_TO,
        "half": (fuel is None or share >= HALF_FROM) and share <= NO_BOAT_ABOVE,
        "full": (fuel is None or share >= FULL_FROM) and share <= NO_BOAT_ABOVE,
    }
    if may_be[load]:
        return
    aboard = f"{persons} person{'s' if persons > 1 else ''}"
    aboard += "" if fuel is None else f" and {view.value(CONDITIONS, 'fuel_level')} of fuel"
    text = f"the load is said to be {load}, with {aboard} aboard"
    ballast = " Ballast that stood for people may explain it." if load != "light" and share < FULL_FROM else ""
    places = held(view, [(CONDITIONS, field, "", "") for field in ("load", "persons", "fuel_level")])
    yield Finding(
        code=f"prop_check.readings.load_not_{load}",
        verdict=Verdict.ADVISE,
        about="load as run",
        sentence=(
            f"T{text[1:]}: about {view.told(weight, 'lb', 0)}, {100 * share:.0f} % of the boat's "
            f"{view.told(whole, 'lb', 0)}. Which of them is "
            f"right? Correct the other.{ballast}"
        ),
        basis=(LOAD_SAID,),
        numbers=(Number("people and fuel", weight, "lb", decimals=0),),
        places=places,
        doubts=tuple(_doubt(text, place) for place in places if place[1] == "load"),
    )


def _fuel(view: JobView) -> float | None:
    """Weight of the fuel aboard [lb]; None where it cannot be told."""
    fuel = gallons(view, view.amount(CONDITIONS, "fuel_level", "%"))
    return None if fuel is None else GALLON * fuel


def gallons(view: JobView, level: float | None) -> float | None:
    """The fuel in the tanks at a level [%], in gallons; None where it cannot be told."""
    capacities = [tank.capacity.to("gal") for tank in view.vessel.tanks if tank.capacity]
    if level is None or not capacities or len(capacities) < len(view.vessel.tanks):
        return None
    return level / 100 * sum(capacities)


def _doubt(text: str, place: FieldKey) -> Doubt:
    step, field, row, of = place
    return Doubt(text, step=step, field=field, row=row, of=of)
