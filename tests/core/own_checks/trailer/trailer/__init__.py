"""The check trailer.toml as a plugin in Python: it finds the same."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

import attrs

from garboard import hookimpl
from garboard.fields import Field, Kind
from garboard.findings import (
    OF_VESSEL,
    Basis,
    BasisKind,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Verdict,
    not_enough_data,
)
from garboard.hooks import each_of
from garboard.job_view import FieldKey, InputCollector, JobView
from garboard.settings import amount_setting
from garboard.steps import Calculator, Caution, EquipmentKind, Phase, Step, has_none

__version__ = "4"

WEIGHTS, TRAILERS = "trailer.weights", "trailer.trailers"
PRACTICE = Basis(
    BasisKind.COMMON_PRACTICE,
    "boat and gear weigh no more than the trailer's plate says",
    "the maker's plate and the law of the road come first",
)
CHOCKS = Caution("Chock the wheels before you lift the tongue.", Basis(BasisKind.COMMON_PRACTICE, "a trailer rolls"))


def pounds(name: str, title: str, low: float, high: float, **more: Any) -> Field:
    return Field(name=name, title=title, kind=Kind.AMOUNT, quantity="weight", unit="lb", hard=(low, high), **more)


register_equipment = each_of(
    [
        EquipmentKind(
            key=TRAILERS,
            title="Trailer",
            one="trailer",
            only_one=True,
            fields=(
                pounds("gvwr", "Most weight (GVWR)", 200, 40000, help="By its plate, with the boat on it."),
                pounds("gawr", "Most on its axles (GAWR)", 200, 40000, help="By its plate, all axles together."),
                Field(name="tyres", title="Tyres on the road", kind=Kind.COUNT, hard=(2, 12)),
                pounds("tyre_load", "Most load of a tyre", 100, 8000, help="By its sidewall."),
            ),
        )
    ]
)
register_steps = each_of(
    [
        Step(
            key=WEIGHTS,
            title="Weights of the trailer",
            phase=Phase.HAND_OVER,
            order=840,
            cautions=(CHOCKS,),
            fields=(
                pounds("on_axles", "Weight on all its axles", 0, 40000, each=TRAILERS),
                pounds("tongue", "Weight on the tongue", 0, 4000, each=TRAILERS),
            ),
        )
    ]
)


@hookimpl
def register_settings(register: Callable[[Any], None]) -> None:
    share = partial(amount_setting, "trailer", quantity="share", unit="%", basis=PRACTICE)
    title = "Least share of the weight on the tongue"
    register(share("least_tongue", title, default="10 %", hard=(3, 15), stricter="higher"))
    title = "Most share of the weight on the tongue"
    register(share("most_tongue", title, default="15 %", hard=(5, 20), stricter="lower"))


def fact(name: str, of: str) -> FieldKey:
    return OF_VESSEL, f"{TRAILERS}.{name}", "", of


def entered(name: str, of: str) -> FieldKey:
    return WEIGHTS, name, "", of


Values = Mapping[str, float]
Judged = tuple[Verdict, str, str, Number, tuple[Limit, ...]]
"""What one trailer's weights come to: verdict, code, sentence, number and limits."""


def each_trailer(
    judge: Callable[[JobView, Values], Judged], result: str, places: Sequence[Callable[[str], FieldKey]], view: JobView
) -> Iterator[Finding]:
    """One finding for each trailer aboard. A value is known by its field's own name [lb]."""
    names = list(view.vessel.of_kind(TRAILERS))
    if not names:
        raise NotEnoughData("Trailer: none is entered", lack=Lack.NOT_ENTERED, field=TRAILERS)
    for of in names:
        asking, here = view.asking(), [place(of) for place in places]
        values = {place[1].rpartition(".")[2]: asked(asking, place) for place in here}
        if asking.missing:
            yield attrs.evolve(not_enough_data(of, asking.missing, (PRACTICE,)), of=of)
            continue
        try:
            verdict, code, sentence, number, limits = judge(view, values)
        except ZeroDivisionError:
            text = f"Share on the tongue, {of} divides by nothing: Whole weight comes to 0"
            missing = Missing(text, lack=Lack.UNSUITABLE, step=WEIGHTS, field="on_axles", of=of)
            yield attrs.evolve(not_enough_data(of, [missing], (PRACTICE,)), of=of)
            continue
        yield Finding(
            code=f"trailer.{result}.{code}",
            verdict=verdict,
            about=of,
            of=of,
            sentence=sentence,
            basis=(PRACTICE,),
            numbers=(number,),
            limits=limits,
            places=tuple(here),
        )


def asked(asking: InputCollector, place: FieldKey) -> float:
    step, field, _, of = place
    return asking.count(step, field, of=of) if field.endswith("tyres") else asking.amount(step, field, "lb", of=of)


def plate(view: JobView, values: Values) -> Judged:
    total, most = values["on_axles"] + values["tongue"], values["gvwr"]
    told, limit = view.told(total, "lb", 0), view.told(most, "lb")
    number, limits = Number("Whole weight", total, "lb", decimals=0), (Limit("Whole weight", high=most),)
    if total > most:
        sentence = f"It weighs {told}, and its plate says {limit}. Take gear out or use a stronger trailer."
        return Verdict.ADVISE, "too_heavy", sentence, number, limits
    return Verdict.PASS, "within", f"It weighs {told} of the {limit} on its plate.", number, limits


def axles(view: JobView, values: Values) -> Judged:
    carried, most, tyres_take = values["on_axles"], values["gawr"], values["tyres"] * values["tyre_load"]
    name, told = "Weight on all its axles", view.told(carried, "lb")
    number, limits = Number(name, carried, "lb"), (Limit(name, high=most), Limit(name, high=tyres_take))
    if carried > most:
        return (
            Verdict.ADVISE,
            "axles",
            f"The axles carry {told}, and may carry {view.told(most, 'lb')}.",
            number,
            limits,
        )
    if carried > tyres_take:
        take = view.told(tyres_take, "lb", 0)
        sentence = f"The tyres carry {told}, and take {take}. Fit tyres that take more."
        return Verdict.ADVISE, "tyres", sentence, number, limits
    return Verdict.PASS, "carried", f"Axles and tyres carry {told}.", number, limits


def tongue(view: JobView, values: Values) -> Judged:
    share = values["tongue"] / (values["on_axles"] + values["tongue"]) * 100
    low, high = (view.setting_value(f"trailer.{which}_tongue", "%") for which in ("least", "most"))
    told = f"The tongue carries {view.told(share, '%', 1)} of the weight."
    number, limits = Number("Share on the tongue", share, "%"), (Limit("Share on the tongue", low, high),)
    if share < low:
        return Verdict.ADVISE, "light", f"{told} Move the boat forward.", number, limits
    if share > high:
        return Verdict.ADVISE, "heavy", f"{told} Move the boat aft.", number, limits
    return Verdict.PASS, "balanced", told, number, limits


def is_there(view: JobView) -> bool:
    return view.state_of(WEIGHTS) != "not fitted" and not has_none(view, TRAILERS, WEIGHTS)


ON_AXLES, TONGUE = partial(entered, "on_axles"), partial(entered, "tongue")
GVWR, GAWR, TYRES, TYRE_LOAD = (partial(fact, name) for name in ("gvwr", "gawr", "tyres", "tyre_load"))


@hookimpl
def register_calculators(register: Callable[[Any], None]) -> None:
    offered = partial(Calculator, step=WEIGHTS, basis=(PRACTICE,), applies=is_there)
    for order, title, judge, places in (
        (10, "Weight and plate", plate, (ON_AXLES, TONGUE, GVWR)),
        (20, "Axles and tyres", axles, (ON_AXLES, GAWR, TYRES, TYRE_LOAD)),
        (30, "Weight on the tongue", tongue, (TONGUE, ON_AXLES)),
    ):
        compute = partial(each_trailer, judge, judge.__name__, places)
        register(offered(key=f"trailer.{judge.__name__}", title=title, compute=compute, order=order))
