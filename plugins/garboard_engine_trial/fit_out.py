"""Fit-out by the shop's own list, the fuel system's pressure test, and shore power as a licensed person's record."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from garboard.findings import Basis, BasisKind, Finding, Lack, Limit, Missing, NotEnoughData, Number, Verdict, in_full
from garboard.job_view import JobView, nothing_at
from garboard.steps import Calculator
from garboard.units import day_in_words
from garboard_engine_trial.bases import practice
from garboard_engine_trial.fit_out_steps import FIT_OUT
from garboard_engine_trial.points import is_entered, is_left_out, long_ago, row_name, rows_of
from garboard_engine_trial.settings import FIT_OUT_LIST, FUEL_MINUTES, FUEL_PRESSURE, PRESSURE_LOST
from garboard_engine_trial.steps import table_of

LISTED = practice("the shop's own list of what is looked at in the fit-out")
PRESSURE_TEST = practice(
    "a fuel system holds pressure of air or inert gas",
    "33 CFR 183.542 asks 3 psi of inboards; its subpart excludes outboards",
)
LICENSED = Basis(
    BasisKind.STANDARD,
    "ISO 13297:2020, alternating and direct current installations",
    "licensed practice and local codes come first; here it is noted who checked it",
)


def _list(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, FIT_OUT):
        return
    wanted = [one.strip() for one in str(view.setting(FIT_OUT_LIST)).split(";") if one.strip()]
    fitted = table_of(FIT_OUT, "fitted")
    there = {row_name(view, FIT_OUT, fitted, row).casefold() for row in rows_of(view, FIT_OUT, fitted)}
    open_items = [one for one in wanted if one.casefold() not in there]
    if wanted:
        yield Finding(
            code="engine_trial.fit_out_list.open" if open_items else "engine_trial.fit_out_list.looked_at",
            verdict=Verdict.ADVISE if open_items else Verdict.PASS,
            about="The shop's list",
            sentence=(
                f"Of the shop's list nobody looked at: {', '.join(open_items)}."
                if open_items
                else "Everything on the shop's list was looked at."
            ),
            basis=(LISTED,),
            numbers=(Number("looked at", len(wanted) - len(open_items), decimals=0),),
            limits=(Limit("looked at", low=len(wanted)),),
        )


def _fuel_pressure(view: JobView) -> Iterator[Finding]:
    fields = ("test_pressure", "pressure_after", "test_minutes")
    if view.state_of(FIT_OUT) == "not fitted" or not is_entered(view, FIT_OUT, *fields):
        return
    asking = view.asking()
    before = asking.amount(FIT_OUT, "test_pressure", "psi")
    after = asking.amount(FIT_OUT, "pressure_after", "psi")
    minutes = asking.amount(FIT_OUT, "test_minutes", "min")
    asking.need(
        not after > before,
        "the pressure rose in the test: it warmed up, or a reading is wrong; test again",
        lack=Lack.CONTRADICTS,
        step=FIT_OUT,
        field="pressure_after",
    )
    shortest = view.setting_value(FUEL_MINUTES, "min")
    asking.need(
        not minutes < shortest,
        f"the test lasted less than {in_full(shortest)} min; test longer",
        lack=Lack.TOO_LITTLE,
        step=FIT_OUT,
        field="test_minutes",
    )
    asking.check()
    limits = (
        Limit("test pressure", low=view.setting_value(FUEL_PRESSURE, "psi")),
        Limit("pressure lost", high=view.setting_value(PRESSURE_LOST, "psi")),
    )
    has_pressure, holds = limits[0].holds(before), limits[1].holds(before - after)
    code = "engine_trial.fuel_pressure.held"
    sentence = f"It held for {in_full(minutes)} min."
    if not holds:
        code = "engine_trial.fuel_pressure.lost"
        sentence = "It lost pressure. Put no fuel in; find the leak with soap and water, then test again."
    elif not has_pressure:
        code = "engine_trial.fuel_pressure.low"
        sentence = "The test pressure is below the usual one. Test again if the makers of tank and hoses allow it."
    yield Finding(
        code=code,
        verdict=Verdict.PASS if holds and has_pressure else Verdict.ADVISE,
        about="Fuel system under pressure",
        sentence=sentence,
        basis=(PRESSURE_TEST,),
        numbers=(Number("test pressure", before, "psi"), Number("pressure lost", before - after, "psi", decimals=2)),
        limits=limits,
    )


def _shore_power(view: JobView) -> Iterator[Finding]:
    fields = ("shore_power_by", "shore_power_licence", "shore_power_on")
    if view.state_of(FIT_OUT) == "not fitted" or not is_entered(view, FIT_OUT, *fields):
        return
    by, licence, on = (view.value(FIT_OUT, one) for one in fields)
    lacking = [nothing_at(view, FIT_OUT, one) for one in fields if not str(view.value(FIT_OUT, one) or "").strip()]
    if lacking:
        raise NotEnoughData(*lacking)
    try:
        day = date.fromisoformat(str(on).strip())
    except ValueError:
        text = f"shore power: {str(on)[:40]!r} is no day; write it as 2027-05-01"
        raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE, step=FIT_OUT, field="shore_power_on")) from None
    told, is_old = f"Checked by {by}, licence {licence}, on {day_in_words(day)}.", long_ago(view, day)
    told += " That is years before this job was opened. Is the year right?" if is_old else ""
    yield Finding(
        code="engine_trial.shore_power.year_in_doubt" if is_old else "engine_trial.shore_power.noted",
        verdict=Verdict.ADVISE if is_old else Verdict.PASS,
        about="Shore power",
        sentence=f"{told} Nothing of it is judged here.",
        basis=(LICENSED,),
    )


CALCULATORS = (
    Calculator(
        key="engine_trial.fit_out_list",
        title="The shop's list",
        step=FIT_OUT,
        order=200,
        compute=_list,
        basis=(LISTED,),
    ),
    Calculator(
        key="engine_trial.fuel_pressure",
        title="Fuel system under pressure",
        step=FIT_OUT,
        order=300,
        compute=_fuel_pressure,
        basis=(PRESSURE_TEST,),
    ),
    Calculator(
        key="engine_trial.shore_power",
        title="Shore power",
        step=FIT_OUT,
        order=400,
        compute=_shore_power,
        basis=(LICENSED,),
    ),
)
