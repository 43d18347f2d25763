"""The check reels.toml as a plugin in Python: it finds the same."""

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any

import attrs

from garboard import hookimpl
from garboard.fields import Field, Kind
from garboard.findings import (
    OF_VESSEL,
    Axis,
    Basis,
    BasisKind,
    Figure,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Series,
    Verdict,
    not_enough_data,
)  # fmt: skip
from garboard.hooks import each_of
from garboard.job_view import FieldKey, JobView
from garboard.settings import amount_setting
from garboard.steps import Assessed, Block, Calculator, Caution, EquipmentKind, Phase, ReportSection, Step, has_none

__version__ = "2"

FIT = "reels.fit"
DOWNRIGGERS = "reels.downriggers"
OURS = Basis(BasisKind.SHOP_RULE, "lines stay clear of each other and of the propellers")
CABLE = Caution(
    "Keep hands off a downrigger's cable while the weight hangs on it.",
    Basis(BasisKind.COMMON_PRACTICE, "a weight on a thin cable"),
)


def amount(name: str, title: str, quantity: str, unit: str, hard: tuple[float, float], **more: Any) -> Field:
    return Field(name=name, title=title, kind=Kind.AMOUNT, quantity=quantity, unit=unit, hard=hard, **more)


COLUMNS = (
    amount("station", "Distance from the transom", "length", "in", (0, 400)),
    amount("reach", "Reach over the side", "length", "in", (0, 120)),
    amount("drag", "Drag set", "weight", "lb", (0, 200)),
    amount("base_load", "Load its base takes", "weight", "lb", (1, 500)),
)


register_equipment = each_of(
    [
        EquipmentKind(
            key=DOWNRIGGERS,
            title="Downriggers",
            one="downrigger",
            named_by="Where does it stand?",
            names=("port", "starboard", "stern"),
            fields=(
                amount("boom", "Length of its boom", "length", "in", (10, 120), of_model=True),
                amount("mount_load", "Load its mount takes", "weight", "lb", (1, 500), of_model=True),
            ),
        )
    ]
)


@hookimpl
def register_settings(register: Callable[[Any], None]) -> None:
    register(
        amount_setting(
            "reels", "least_gap", "Least gap between two rods", "length", "in", "12 in", (4, 40), OURS, "higher"
        )
    )
    register(
        amount_setting("reels", "most_drag", "Most drag for its base", "share", "%", "80 %", (20, 100), OURS, "lower")
    )


@hookimpl
def register_steps(register: Callable[[Any], None]) -> None:
    register(
        Step(
            key=FIT,
            title="Fit of reels and downriggers",
            phase=Phase.ALONGSIDE,
            order=395,
            at_hand=("Tape measure",),
            cautions=(CABLE,),
            fields=(
                Field(name="rods", title="Rods", kind=Kind.TABLE, columns=COLUMNS),
                amount("hung", "Weight hung on it", "weight", "lb", (0, 60), each=DOWNRIGGERS),
                Field(name="release", title="It lets go by hand", kind=Kind.YES_NO, each=DOWNRIGGERS),
            ),
        )
    )


def rows_of(view: JobView) -> list[str]:
    rows = [
        row for row in view.rows(FIT) if any(view.value(FIT, column.name, row=row) is not None for column in COLUMNS)
    ]
    if not rows:
        raise NotEnoughData(Missing("Rods: no row is entered", lack=Lack.NOT_ENTERED, step=FIT, field="rods"))
    return rows


def places(rows: list[str], *names: str) -> tuple[FieldKey, ...]:
    return tuple((FIT, name, row, "") for name in names for row in rows)


def bases(view: JobView) -> Iterator[Finding]:
    for row in rows_of(view):
        asking = view.asking()
        drag, load = (asking.amount(FIT, name, "lb", row=row) for name in ("drag", "base_load"))
        if asking.missing:
            yield not_enough_data(f"rod {row}", asking.missing, (OURS,))
            continue
        most, share = view.setting_value("reels.most_drag", "%"), drag / load * 100
        is_over = share > most
        told = f"{view.told(drag, 'lb')} is {view.told(share, '%', 0)} of what the base takes."
        yield Finding(
            code="reels.base.too_strong" if is_over else "reels.base.holds",
            verdict=Verdict.FAIL if is_over else Verdict.PASS,
            about=f"rod {row}",
            sentence=f"{told} Set less drag or fit a stronger base." if is_over else told,
            basis=(OURS,),
            numbers=(Number("Drag of what the base takes", share, "%", decimals=0),),
            limits=(Limit("Drag of what the base takes", high=most),),
            places=places([row], "drag", "base_load"),
        )


def gaps(view: JobView) -> Iterator[Finding]:
    rows, asking = rows_of(view), view.asking()
    stations = [asking.amount(FIT, "station", "in", row=row) for row in rows]
    reaches = [asking.amount(FIT, "reach", "in", row=row) for row in rows]
    asking.check()
    if len(rows) < 2:
        text = "Mean gap between rods divides by nothing: Distance from the transom comes to 0"
        raise NotEnoughData(Missing(text, lack=Lack.UNSUITABLE, step=FIT, field="station", row=rows[0]))
    least, gap = view.setting_value("reels.least_gap", "in"), (max(stations) - min(stations)) / (len(rows) - 1)
    is_near, told = gap < least, f"Rods stand {view.told(gap, 'in', 1)} apart on the mean."
    points = sorted(zip(stations, reaches, strict=True))
    series = Series("Over the side", tuple(x for x, _ in points), tuple(y for _, y in points))
    yield Finding(
        code="reels.gaps.too_near" if is_near else "reels.gaps.clear",
        verdict=Verdict.ADVISE if is_near else Verdict.PASS,
        about="rods",
        sentence=f"{told} Move them until it is {view.told(least, 'in')}." if is_near else told,
        basis=(OURS,),
        numbers=(Number("Mean gap between rods", gap, "in"),),
        limits=(Limit("Mean gap between rods", low=least),),
        figures=(Figure("Rods from above", Axis("From the transom", "in"), Axis("Over the side", "in"), (series,)),),
        places=(*places(rows, "station"), *places(rows, "reach")),
    )


def aboard(view: JobView) -> list[str]:
    names = list(view.vessel.of_kind(DOWNRIGGERS))
    if not names:
        raise NotEnoughData("Downriggers: none is entered", lack=Lack.NOT_ENTERED, field=DOWNRIGGERS)
    return names


def mounts(view: JobView) -> Iterator[Finding]:
    for name in aboard(view):
        asking, about = view.asking(), f"downrigger {name}"
        hung = asking.amount(FIT, "hung", "lb", of=name)
        load = asking.amount(OF_VESSEL, f"{DOWNRIGGERS}.mount_load", "lb", of=name)
        if asking.missing:
            yield attrs.evolve(not_enough_data(about, asking.missing, (OURS,)), of=name)
            continue
        most, share = view.setting_value("reels.most_drag", "%"), hung / load * 100
        is_over = share > most
        told = f"{view.told(hung, 'lb')} is {view.told(share, '%', 0)} of what its mount takes."
        yield Finding(
            code="reels.mount.too_heavy" if is_over else "reels.mount.holds",
            verdict=Verdict.FAIL if is_over else Verdict.PASS,
            about=about,
            of=name,
            sentence=f"{told} Hang less or fit a stronger mount." if is_over else told,
            basis=(OURS,),
            numbers=(Number("Weight of what the mount takes", share, "%", decimals=0),),
            limits=(Limit("Weight of what the mount takes", high=most),),
            places=((FIT, "hung", "", name), (OF_VESSEL, f"{DOWNRIGGERS}.mount_load", "", name)),
        )


def release(view: JobView) -> Iterator[Finding]:
    for name in aboard(view):
        asking, about = view.asking(), f"downrigger {name}"
        is_free = asking.yes(FIT, "release", of=name)
        if asking.missing:
            yield attrs.evolve(not_enough_data(about, asking.missing, (OURS,)), of=name)
            continue
        yield Finding(
            code="reels.release.free" if is_free else "reels.release.stuck",
            verdict=Verdict.PASS if is_free else Verdict.FAIL,
            about=about,
            of=name,
            sentence="It lets go by hand." if is_free else "It does not let go by hand. Free it.",
            basis=(OURS,),
            places=((FIT, "release", "", name),),
        )


def is_fitted(view: JobView) -> bool:
    return view.state_of(FIT) != "not fitted"


def has_downriggers(view: JobView) -> bool:
    return is_fitted(view) and not has_none(view, DOWNRIGGERS, FIT)


@hookimpl
def register_calculators(register: Callable[[Any], None]) -> None:
    offered = partial(Calculator, step=FIT, basis=(OURS,), applies=is_fitted)
    register(offered(key="reels.gaps", title="Gaps between rods", compute=gaps, order=10))
    register(offered(key="reels.base", title="Load on the bases", compute=bases, order=20))
    register(offered(key="reels.mount", title="Load on the mounts", compute=mounts, order=25, applies=has_downriggers))
    register(offered(key="reels.release", title="Release", compute=release, order=30, applies=has_downriggers))


def section(view: JobView, found: Sequence[Assessed]) -> Sequence[Block]:
    own = [one.finding for one in found if one.calculator.startswith("reels.")]
    return ("Keep the drag at or below what is told here.", *own) if own else ()


@hookimpl
def register_report_sections(register: Callable[[Any], None]) -> None:
    register(ReportSection(key="reels.rods_and_reels", title="Rods and reels", order=450, build=section))
