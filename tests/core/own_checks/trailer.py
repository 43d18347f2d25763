"""The check trailer.toml as a plugin in Python: it finds the same."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from garboard import hookimpl
from garboard.fields import Field, Kind
from garboard.findings import Basis, BasisKind, Finding, Lack, Limit, Missing, NotEnoughData, Number, Verdict
from garboard.job_view import FieldKey, InputCollector, JobView
from garboard.settings import amount_setting
from garboard.steps import Calculator, Caution, Phase, Step

__version__ = "3"

WEIGHTS = "trailer.weights"
OURS = Basis(
    BasisKind.SHOP_RULE,
    "boat and gear weigh no more than the trailer's plate says",
    "the plate and local road rules come first",
)
CHOCKS = Caution("Chock the wheels before you lift the tongue.", Basis(BasisKind.COMMON_PRACTICE, "a trailer rolls"))


def pounds(name: str, title: str, low: float, high: float) -> Field:
    return Field(name=name, title=title, kind=Kind.AMOUNT, quantity="weight", unit="lb", hard=(low, high))


AXLE = pounds("axle_weight", "Weight on the axle", 0, 20000)


@hookimpl
def register_settings(register: Callable[[Any], None]) -> None:
    share = partial(amount_setting, "trailer", quantity="share", unit="%", basis=OURS)
    title = "Least share of the weight on the tongue"
    register(share("least_tongue", title, default="5 %", hard=(3, 15), stricter="higher"))
    title = "Most share of the weight on the tongue"
    register(share("most_tongue", title, default="15 %", hard=(5, 20), stricter="lower"))


@hookimpl
def register_steps(register: Callable[[Any], None]) -> None:
    register(
        Step(
            key=WEIGHTS,
            title="Weights of the trailer",
            phase=Phase.HAND_OVER,
            order=840,
            cautions=(CHOCKS,),
            fields=(
                pounds("rating", "Most weight on its plate", 200, 40000),
                pounds("tongue", "Weight on the tongue", 0, 4000),
                Field(name="axles", title="Axles", kind=Kind.TABLE, columns=(AXLE,)),
            ),
        )
    )


def weighed(view: JobView, asking: InputCollector) -> tuple[float, float, list[FieldKey]]:
    """The whole weight and that on the tongue, and the places they were read from."""
    rows = view.rows(WEIGHTS, "axle_weight")
    asking.need(bool(rows), "Axles: no row is entered", lack=Lack.NOT_ENTERED, step=WEIGHTS, field="axles")
    axles = [asking.amount(WEIGHTS, "axle_weight", "lb", row=row) for row in rows]
    tongue = asking.amount(WEIGHTS, "tongue", "lb")
    places = [*((WEIGHTS, "axle_weight", row, "") for row in rows), (WEIGHTS, "tongue", "", "")]
    return sum(axles) + tongue, tongue, places


def rating(view: JobView) -> Iterator[Finding]:
    asking = view.asking()
    total, _, places = weighed(view, asking)
    most = asking.amount(WEIGHTS, "rating", "lb")
    asking.check()
    told, plate, is_over = view.told(total, "lb", 0), view.told(most, "lb"), total > most
    advice = f"It weighs {told}, and its plate says {plate}. Take gear out or use a stronger trailer."
    yield Finding(
        code="trailer.rating.too_heavy" if is_over else "trailer.rating.within",
        verdict=Verdict.FAIL if is_over else Verdict.PASS,
        about="trailer",
        sentence=advice if is_over else f"It weighs {told} of the {plate} on its plate.",
        basis=(OURS,),
        numbers=(Number("Whole weight", total, "lb", decimals=0),),
        limits=(Limit("Whole weight", high=most),),
        places=(*places, (WEIGHTS, "rating", "", "")),
    )


def tongue(view: JobView) -> Iterator[Finding]:
    asking = view.asking()
    total, carried, places = weighed(view, asking)
    asking.check()
    if not total:
        text = "Share on the tongue divides by nothing: Whole weight comes to 0"
        raise NotEnoughData(Missing(text, lack=Lack.UNSUITABLE, step=WEIGHTS, field="axle_weight", row=places[0][2]))
    share = carried / total * 100
    low, high = (view.setting_value(f"trailer.{which}_tongue", "%") for which in ("least", "most"))
    told = f"The tongue carries {view.told(share, '%', 1)} of the weight."
    verdict, code, advice = Verdict.PASS, "balanced", ""
    if share < low:
        verdict, code, advice = Verdict.ADVISE, "light", " Move the boat forward."
    elif share > high:
        verdict, code, advice = Verdict.ADVISE, "heavy", " Move the boat aft."
    yield Finding(
        code=f"trailer.tongue.{code}",
        verdict=verdict,
        about="trailer",
        sentence=told + advice,
        basis=(OURS,),
        numbers=(Number("Share on the tongue", share, "%"),),
        limits=(Limit("Share on the tongue", low, high),),
        places=(places[-1], *places[:-1]),
    )


def is_there(view: JobView) -> bool:
    return view.state_of(WEIGHTS) != "not fitted"


@hookimpl
def register_calculators(register: Callable[[Any], None]) -> None:
    offered = partial(Calculator, step=WEIGHTS, basis=(OURS,), applies=is_there)
    register(offered(key="trailer.rating", title="Weight and plate", compute=rating, order=10))
    register(offered(key="trailer.tongue", title="Weight on the tongue", compute=tongue, order=20))
