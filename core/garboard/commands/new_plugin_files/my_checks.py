"""Our shop's own checks. First one: the bilge after an hour afloat. Write your own in its place."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from garboard import hookimpl
from garboard.cautions import FUEL_FIRE, FUEL_VAPOUR
from garboard.fields import Field, Kind
from garboard.findings import Basis, BasisKind, Finding, Limit, Number, Verdict
from garboard.job_view import JobView
from garboard.settings import Setting
from garboard.steps import Calculator, Phase, Step

__version__ = "1"
written_for = 1  # the garboard.API_VERSION it was written for

AFLOAT = "my_checks.afloat"
MOST_WATER = "my_checks.most_water"
OURS = Basis(BasisKind.SHOP_RULE, "the bilge stays dry for an hour afloat")


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    """What a manager may decide."""
    most = Field(name="most_water", title="Most water", kind=Kind.AMOUNT, quantity="length", unit="mm", hard=(0, 100))
    register(Setting(key=MOST_WATER, field=most, default="5 mm", basis=OURS, stricter="lower"))


@hookimpl
def register_steps(register: Callable[[Step], None]) -> None:
    """What a technician is asked."""
    water = Field(
        name="water", title="Water in the bilge", kind=Kind.AMOUNT, quantity="length", unit="mm", hard=(0, 1000)
    )
    found = Field(name="found", title="Leak found and closed", kind=Kind.YES_NO)
    register(
        Step(
            key=AFLOAT,
            title="An hour afloat",
            phase=Phase.ALONGSIDE,
            order=390,
            fields=(water, found),
            cautions=(FUEL_VAPOUR, FUEL_FIRE),
        )
    )


def bilge(view: JobView) -> Iterator[Finding]:
    """Judge the water."""
    asking = view.asking()
    water = asking.amount(AFLOAT, "water", "mm")
    found = asking.yes(AFLOAT, "found")
    asking.check()  # "not enough data", naming all that is missing
    most = view.setting_value(MOST_WATER, "mm")
    if water <= most:
        verdict, sentence = Verdict.PASS, "The bilge stays dry."
    elif found:
        verdict, sentence = Verdict.ADVISE, "Leave it afloat for another hour, now that the leak is closed."
    else:
        verdict, sentence = Verdict.FAIL, "Find the leak, then leave the boat afloat again."
    yield Finding(
        code=f"my_checks.bilge.{verdict.name.lower()}",
        verdict=verdict,
        about="bilge",
        sentence=sentence,
        basis=(OURS,),
        numbers=(Number("water", water, "mm", decimals=0),),
        limits=(Limit("water", high=most),),
    )


@hookimpl
def register_calculators(register: Callable[[Calculator], None]) -> None:
    """What is made of it."""
    register(Calculator(key="my_checks.bilge", title="Bilge after an hour", step=AFLOAT, compute=bilge, basis=(OURS,)))
