"""Engines as rigged: the maker's limits, mounting height, toe of twins, idle speed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from garboard.findings import Finding, Lack, NotEnoughData, Number, Verdict, not_enough_data
from garboard.fittings import propeller_named
from garboard.job_view import JobView, nothing_at
from garboard.record_types import frozen
from garboard.steps import Calculator
from garboard_engine_trial.alongside_steps import AS_RIGGED, FIRST_START, MAKERS_WINDOW
from garboard_engine_trial.bases import MAKER, practice
from garboard_engine_trial.limits import read
from garboard_engine_trial.points import engines, is_left_out, settled
from garboard_engine_trial.settings import ENGINE_SPEED_WITHIN, LENGTH_WITHIN, TOE

PARALLEL = practice("two engines stand parallel or nearly so", "the engine maker's manual decides")
_PAIRS = (
    ("idle_low", "idle_high", "rev/min"),
    ("height_low", "height_high", "in"),
    ("voltage_low", "voltage_high", "V"),
)
_NAMES = (*(name for low, high, _ in _PAIRS for name in (low, high)), "temperature_high", "water_low")
"""Every limit of an engine."""


def _window(view: JobView) -> Iterator[Finding]:
    """Whether the limits of each engine can be used: entered, and low below high."""
    if is_left_out(view, MAKERS_WINDOW):
        return
    for position in engines(view):
        try:
            yield _window_of(view, position)
        except NotEnoughData as lacking:
            yield not_enough_data(f"{position} engine", lacking.missing, (MAKER,))


def _given(view: JobView, position: str, limits: Sequence[str] = _NAMES) -> list[str]:
    """Those of the limits that are entered for an engine."""
    return [name for name in limits if view.value(MAKERS_WINDOW, name, of=position) is not None]


def is_without_limit(view: JobView, position: str, *limits: str) -> bool:
    """Whether these limits are left out on purpose: the engine has others, and its manual does not give them.

    The others are read only where none of these is here: a finding does not rest on what it is not held against.
    """
    if any(view.in_dispute(MAKERS_WINDOW, one, of=position) for one in limits):
        return False
    return not set(limits) & set(_given(view, position, limits)) and bool(_given(view, position))


def no_window(position: str, field: str) -> NotEnoughData:
    """What to raise for an engine of which something is read, and no limit can be used."""
    text = "the maker's limits are not entered"
    return NotEnoughData(text, lack=Lack.NOT_ENTERED, step=MAKERS_WINDOW, field=field, of=position)


def _window_of(view: JobView, position: str) -> Finding:
    asking = view.asking()
    for name in _NAMES:
        asking.settled(MAKERS_WINDOW, name, of=position)
    asking.check()
    given = _given(view, position)
    see_of_this_engine(view, position)
    for low, high, unit in _PAIRS:
        see_low_below_high(position, *limits_of(view, position, low, high, unit), low)
    if not given:
        raise no_window(position, _NAMES[0])
    return Finding(
        code="engine_trial.window.entered",
        verdict=Verdict.PASS,
        about=f"{position} engine",
        sentence=f"{len(given)} of {len(_NAMES)} limits entered. What has none is kept and not judged.",
        basis=(MAKER,),
        of=position,
    )


def see_low_below_high(position: str, low: float | None, high: float | None, field: str) -> None:
    """Raise NotEnoughData for limits of an engine that are the wrong way round; `field` is the low one's."""
    if low is not None and high is not None and low > high:
        what = field.removesuffix("_low").replace("_", " ")
        text = f"the lowest {what} lies above the highest; correct one"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=MAKERS_WINDOW, field=field, of=position)


def see_of_this_engine(view: JobView, position: str) -> None:
    """Raise NotEnoughData where the limits are said to be of another model than the engine is.

    Taken over from a template they were right for its engine; where another was hung since, they judge nothing.
    """
    if view.in_dispute(MAKERS_WINDOW, "limits_of", of=position):
        raise NotEnoughData(nothing_at(view, MAKERS_WINDOW, "limits_of", of=position))
    said, engine = view.value(MAKERS_WINDOW, "limits_of", of=position), view.vessel.pieces["engines"].get(position)
    if not isinstance(said, str) or engine is None or not _plain(said) or not _plain(engine.model):
        return
    if _plain(said) not in (_plain(engine.model), _plain(engine.maker + engine.model)):
        text = f"the limits are of {said}, and the engine is {engine.model}; enter its own"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=MAKERS_WINDOW, field="limits_of", of=position)


def _plain(model: str) -> str:
    """A model without what people write in many ways: "NL-150 x" is "nl150x"."""
    return "".join(filter(str.isalnum, model)).casefold()


def limits_of(view: JobView, position: str, low: str, high: str, unit: str) -> tuple[float | None, float | None]:
    """The maker's limits of an engine [unit]; None where one is not entered.

    Raises NotEnoughData for a dispute, and for limits of another engine.
    """
    see_of_this_engine(view, position)
    return (
        settled(view, MAKERS_WINDOW, low, unit, of=position) if low else None,
        settled(view, MAKERS_WINDOW, high, unit, of=position) if high else None,
    )


@frozen(kw_only=True)
class Held:
    """One reading of each engine that is held against the maker's limits.

    field         : in the step; `low`, `high` name its limits
    name          : of the number
    setting       : what says how right it is
    codes         : of within, too close to tell, beyond
    what_to_do    : where it lies beyond
    """

    step: str
    field: str
    low: str
    high: str
    unit: str
    name: str
    setting: str
    decimals: int
    codes: tuple[str, str, str]
    what_to_do: str


HEIGHT = Held(
    step=AS_RIGGED,
    field="height",
    low="height_low",
    high="height_high",
    unit="in",
    name="mounting height",
    setting=LENGTH_WITHIN,
    decimals=1,
    codes=("engine_trial.height.within", "engine_trial.height.close", "engine_trial.height.beyond"),
    what_to_do="Remount it, or ask the maker",
)
IDLE = Held(
    step=FIRST_START,
    field="idle",
    low="idle_low",
    high="idle_high",
    unit="rev/min",
    name="idle speed",
    setting=ENGINE_SPEED_WITHIN,
    decimals=0,
    codes=("engine_trial.idle.within", "engine_trial.idle.close", "engine_trial.idle.beyond"),
    what_to_do="Warm it up and read again; then see the maker's manual",
)


def _held(what: Held, view: JobView) -> Iterator[Finding]:
    if is_left_out(view, what.step):
        return
    asking = view.asking()
    read_of = {one: asking.amount(what.step, what.field, what.unit, of=one) for one in engines(view)}
    asking.check()
    for position, value in read_of.items():
        if is_without_limit(view, position, what.low, what.high):
            continue
        try:
            yield _held_of(what, view, position, value)
        except NotEnoughData as lacking:
            yield not_enough_data(f"{position} engine", lacking.missing, (MAKER,))


def _held_of(what: Held, view: JobView, position: str, value: float) -> Finding:
    low, high = limits_of(view, position, what.low, what.high, what.unit)
    if low is None and high is None:
        raise no_window(position, what.low)
    see_low_below_high(position, low, high, what.low)
    bound = view.setting_value(what.setting, what.unit)
    reading = read(what.name, value, what.unit, bound, low, high, what.decimals)
    words = {
        Verdict.PASS: (what.codes[0], "within the maker's limits."),
        Verdict.ADVISE: (what.codes[1], "too close to the maker's limit to tell. Read it again."),
        Verdict.FAIL: (what.codes[2], f"beyond the maker's limits. {what.what_to_do}."),
    }
    code, said = words[reading.verdict]
    told = view.told(value, what.unit, what.decimals, reading.number.expanded_uncertainty)
    return Finding(
        code=code,
        verdict=reading.verdict,
        about=f"{position} engine",
        sentence=f"{what.name[0].upper()}{what.name[1:]} {told}: {said}",
        basis=(MAKER,),
        numbers=(reading.number,),
        limits=tuple(filter(None, (reading.limit,))),
        of=position,
    )


def toe_of(ahead: float, aft: float) -> float:
    """Toe of two engines: how much closer their leading edges are than their trailing edges; in any unit of length.

    >>> round(toe_of(28.0, 28.25), 2)
    0.25
    """
    return aft - ahead


def _toe(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, AS_RIGGED) or len(view.vessel.engines) < 2:
        return
    asking = view.asking()
    ahead = asking.amount(AS_RIGGED, "toe_ahead", "in")
    aft = asking.amount(AS_RIGGED, "toe_aft", "in")
    asking.check()
    bound = view.setting_value(LENGTH_WITHIN, "in") * math.sqrt(2)
    most = view.setting_value(TOE, "in")
    reading = read("toe", toe_of(ahead, aft), "in", bound, -most, most)
    assert reading.limit is not None
    words = {
        Verdict.PASS: ("engine_trial.toe.within", "The engines stand parallel or nearly so."),
        Verdict.ADVISE: ("engine_trial.toe.close", "Too close to what is usual to tell. Measure both again."),
        Verdict.FAIL: (
            "engine_trial.toe.apart",
            "The engines toe further than usual. Adjust the tie bar, or see the maker's manual.",
        ),
    }
    code, sentence = words[reading.verdict]
    yield Finding(
        code=code,
        verdict=Verdict.PASS if reading.verdict is Verdict.PASS else Verdict.ADVISE,
        about="Toe of the engines",
        sentence=sentence,
        basis=(PARALLEL,),
        numbers=(reading.number, *_spacing(view)),
        limits=(reading.limit,),
    )


def _spacing(view: JobView) -> tuple[Number, ...]:
    spacing = settled(view, AS_RIGGED, "spacing", "in")
    if spacing is None:
        return ()
    widest = view.vessel.transom_width or view.vessel.beam
    fitted = (propeller_named(view.vessel, engine, engine.fitted) for engine in view.vessel.engines)
    smallest = min((one.diameter for one in fitted if one and one.diameter), key=lambda one: one.to("in"), default=None)
    text = ""
    if widest is not None and spacing > widest.to("in"):
        text = f"the engines stand further apart than the boat is wide, {widest}; correct one"
    elif smallest is not None and spacing < smallest.to("in"):
        text = f"the engines stand so near that propellers of {smallest} would strike each other; correct one"
    if text:
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=AS_RIGGED, field="spacing")
    return (Number("centre to centre", spacing, "in"),)


CALCULATORS = (
    Calculator(key="engine_trial.window", title="Maker's limits", step=MAKERS_WINDOW, compute=_window, basis=(MAKER,)),
    Calculator(
        key="engine_trial.height",
        title="Mounting height",
        step=AS_RIGGED,
        order=200,
        compute=lambda view: _held(HEIGHT, view),
        basis=(MAKER,),
    ),
    Calculator(
        key="engine_trial.toe", title="Toe of the engines", step=AS_RIGGED, order=300, compute=_toe, basis=(PARALLEL,)
    ),
    Calculator(
        key="engine_trial.idle",
        title="Idle speed",
        step=FIRST_START,
        order=200,
        compute=lambda view: _held(IDLE, view),
        basis=(MAKER,),
    ),
)
