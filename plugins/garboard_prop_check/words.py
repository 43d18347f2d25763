"""What the calculators share: where limits come from, one finding an engine, and what the vessel's records give."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import attrs

from garboard.findings import (
    OF_VESSEL,
    Basis,
    BasisKind,
    Doubt,
    Finding,
    Lack,
    Missing,
    NotEnoughData,
    in_full,
    not_enough_data,
    rounded,
    with_uncertainty,
)
from garboard.job_view import FieldKey, JobView, in_unit
from garboard.records import Engine, NamedPropeller, Vessel, outside_usual
from garboard_prop_check.averages import Average
from garboard_prop_check.settings import basis_of
from garboard_prop_check.steps import CONDITIONS, PROPELLER, TRIM_AT_BEST
from garboard_prop_check.window import above_limiter

_METHOD = BasisKind.METHOD
AVERAGING = Basis(
    _METHOD,
    "mean of means of opposite runs, Tupper, Introduction to Naval Architecture, pp. 243-245",
    "95 % interval after JCGM 100:2008",
)
READINGS = Basis(_METHOD, "two readings of one thing agree within what their instruments and readers may be off")
WINDOW = Basis(BasisKind.MANUAL, "engine maker's full-throttle window", "as entered for this engine")
LIMITER = basis_of("limiter_margin")
SLIP = Basis(_METHOD, "slip = 1 - speed / (engine speed / gear ratio x pitch)", "apparent slip, on the stamped pitch")
AIR = Basis(
    _METHOD,
    "SAE J1349 power factor (99 kPa dry, 25 degC) and propeller power as the cube of its speed",
    "an approximation, for engines without supercharging; never changes a verdict",
)
CROUCH = Basis(_METHOD, "Crouch's formula for planing boats, constants for knots", "a sanity check, not a promise")
CUP = Basis(BasisKind.COMMON_PRACTICE, "a cup acts as up to an inch of pitch, a light one as half of it")
STEP_RULE = Basis(BasisKind.COMMON_PRACTICE, "150 to 200 rev/min for each inch of pitch")
PROPORTION = Basis(BasisKind.COMMON_PRACTICE, "pitch x engine speed stays the same")
FORMULA = Basis(
    BasisKind.REGULATION,
    "33 CFR 183.53",
    "monohull outboard boats under 20 ft in the United States; it binds the boat's maker when marking the label",
)
LABEL = Basis(BasisKind.REGULATION, "capacity label, 33 CFR 183 subpart B", "local law may differ")
FITTING = Basis(BasisKind.MANUAL, "engine maker's propeller fitting instructions")

NO_ENGINE = "no engine is entered for this vessel"
PITCH = "engines.propeller.pitch"

FASTEST = 15_000
"""No outboard turns as fast: a limit above it is a slip of the keys [rev/min]."""
NARROWEST_WINDOW = 50.0
"""A full-throttle window less wide is misread: no propeller would land in it [rev/min]; makers give some 500."""
LARGEST_PITCH = 60.0
LARGEST_GEAR_RATIO = 10.0
LARGEST_POWER = 5000.0
"""Pitch [in], gear ratio and power [hp] beyond these are slips of the finger."""


def about(engine: Engine) -> str:
    """The engine in the trade's words."""
    return f"{engine.position} engine"


def for_each_engine(
    view: JobView, basis: tuple[Basis, ...], compute: Callable[[Engine], Finding], named: str = "engine"
) -> Iterator[Finding]:
    """One finding for every engine; what is missing for one does not silence the others."""
    if not view.vessel.engines:
        raise NotEnoughData(NO_ENGINE, lack=Lack.NOT_ENTERED, field="engines")
    for engine in view.vessel.engines:
        try:
            yield compute(engine)
        except NotEnoughData as lacking:
            yield not_enough_data(f"{engine.position} {named}", lacking.missing, basis)


def not_counted(missing: Iterable[Missing], basis: tuple[Basis, ...]) -> Iterator[Finding]:
    """One finding for every run that the averages leave out, with what is still to be entered of it."""
    by_row: dict[str, list[Missing]] = {}
    for one in missing:
        by_row.setdefault(one.row, []).append(one)
    for row, of_row in by_row.items():
        last = attrs.evolve(of_row[-1], text=f"{of_row[-1].text}. The run is incomplete and not counted")
        yield not_enough_data(f"run {row}", (*of_row[:-1], last), basis)


def need_all(*questions: Callable[[], object]) -> None:
    """Ask everything; raises NotEnoughData once, with all that is missing."""
    missing: list[Missing] = []
    for question in questions:
        try:
            question()
        except NotEnoughData as lacking:
            missing += lacking.missing
    if missing:
        raise NotEnoughData(*missing)


def window_of(engine: Engine) -> tuple[float, float]:
    """Low and high end of an engine's full-throttle window [rev/min]. Raises NotEnoughData."""
    low, high = engine.full_throttle_low, engine.full_throttle_high
    if low is None or high is None:
        text = f"full-throttle window of the {about(engine)} is not entered; it is in the engine's manual"
        raise NotEnoughData(text, lack=Lack.NOT_ENTERED, field="engines.full_throttle_low", of=engine.position)
    ends = low.to("rev/min"), high.to("rev/min")
    if not (ends[0] > 0 and ends[1] - ends[0] >= NARROWEST_WINDOW and ends[1] <= FASTEST):
        raise NotEnoughData(
            f"full-throttle window of the {about(engine)} reads {in_full(ends[0])} to {in_full(ends[1])} rev/min; "
            f"correct it",
            lack=Lack.OUT_OF_RANGE,
            field="engines.full_throttle_low",
            of=engine.position,
        )
    return ends


def pitch_of(engine: Engine) -> float:
    """Pitch of an engine's propeller [in], as measured or else as stamped. Raises NotEnoughData."""
    known = engine.propeller.working_pitch if engine.propeller else None
    _, field, _, of = pitch_place(engine)
    if known is None and engine.fitted and engine.propeller is None:
        text = f"the propeller {engine.fitted!r} of the {about(engine)} is not in the list of propellers; enter it"
        raise NotEnoughData(text, lack=Lack.NOT_ENTERED, field="engines.fitted", of=engine.position)
    if known is None:
        text = f"pitch of the {engine.position} propeller is not entered; read it off the hub"
        raise NotEnoughData(text, lack=Lack.NOT_ENTERED, field=field, of=of)
    stamped = known.to("in")
    if not 0 < stamped <= LARGEST_PITCH:
        text = f"pitch of the {engine.position} propeller reads {known}; read the stamp again"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field=field, of=of)
    return stamped


def is_measured(engine: Engine) -> bool:
    """Whether the pitch of an engine's propeller was measured, not read off its stamp."""
    return engine.propeller is not None and engine.propeller.pitch_measured is not None


def by_pitch(engines: Iterable[Engine]) -> str:
    """By which pitch slip is told."""
    return "by the measured pitch" if any(map(is_measured, engines)) else "by the stamped pitch"


def tolerance_setting(engine: Engine) -> str:
    """The setting that says how far the real pitch may be off the one worked with."""
    return "measured_pitch_tolerance" if is_measured(engine) else "pitch_tolerance"


def pitch_tolerance(view: JobView, engine: Engine) -> float:
    """How far the real pitch may be off the one worked with, as a share of it."""
    return view.setting_value(f"prop_check.{tolerance_setting(engine)}", "%") / 100


def stamped_pitch(view: JobView, engine: Engine) -> float:
    """Pitch of an engine's propeller [in], unless its stamp was read and says otherwise. Raises NotEnoughData."""
    pitch = pitch_of(engine)
    if is_measured(engine) or engine.fitted:
        return pitch  # the stamp that was read is of the propeller the engine came with
    asking = view.asking()
    asking.settled(PROPELLER, "stamp_read", of=engine.position)
    says_otherwise = view.value(PROPELLER, "stamp_read", of=engine.position) is False
    text = f"pitch of the {engine.position} propeller is not the one stamped on it; correct it"
    place = {"step": PROPELLER, "field": "stamp_read", "of": engine.position}
    asking.need(not says_otherwise, text, lack=Lack.CONTRADICTS, **place)
    asking.check()
    return pitch


def gear_ratio_of(engine: Engine) -> float:
    """Engine turns per propeller turn. Raises NotEnoughData."""
    if engine.gear_ratio is None:
        text = f"gear ratio of the {about(engine)} is not entered"
        raise NotEnoughData(text, lack=Lack.NOT_ENTERED, field="engines.gear_ratio", of=engine.position)
    ratio = engine.gear_ratio.to("")
    if not 0 < ratio <= LARGEST_GEAR_RATIO:
        text = f"gear ratio of the {about(engine)} reads {in_full(ratio)}; correct it"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field="engines.gear_ratio", of=engine.position)
    return ratio


def total_power(view: JobView) -> float:
    """Rated power of all engines [hp]. Raises NotEnoughData."""
    engines = view.vessel.engines
    asking = view.asking()
    asking.need(bool(engines), NO_ENGINE, lack=Lack.NOT_ENTERED, field="engines")
    field = "engines.rated_power"
    powers = [
        asking.known(one.rated_power, "hp", f"rated power of the {about(one)}", field=field, of=one.position)
        for one in engines
    ]
    fits = not any(power <= 0 or power > LARGEST_POWER for power in powers)
    asking.need(fits, "rated power must be above zero; correct it", lack=Lack.OUT_OF_RANGE, field=field)
    asking.check()
    return sum(powers)


def is_above_limiter(view: JobView, engine: Engine, average: Average) -> bool:
    """Whether an engine reads surely above its rev limiter: then the reading or the limiter is wrong."""
    margin = view.setting_value("prop_check.limiter_margin", "rev/min")
    limiter = engine.limiter_speed
    return limiter is not None and above_limiter(
        average.value, average.expanded_uncertainty, limiter.to("rev/min"), margin
    )


def trim_at_best(view: JobView) -> bool:
    """Whether the runs were made at best trim."""
    return view.value(CONDITIONS, "trim") == TRIM_AT_BEST


def runs_only(average: Average) -> str:
    """Says so where the runs are too few to show how much they scatter."""
    return {1: " (one run only)", 2: " (two runs only)"}.get(average.runs, "")


def speed_words(view: JobView, average: Average) -> str:
    """A speed with its interval."""
    return view.told(average.value, "kn", 1, average.expanded_uncertainty)


def inches_told(view: JobView, value: float, engine: Engine) -> str:
    """A pitch or a diameter [in] as the sizes of an engine's propeller were typed; "15 in" where in inches."""
    unit = inches_told_in(view, engine)
    shown = in_unit(value, "in", unit)
    digits = in_full(float(rounded(shown, 2))) if unit == "in" else rounded(shown)
    return f"{digits} {unit}"


def inches_told_in(view: JobView, engine: Engine) -> str:
    """The unit an engine's pitch was typed in; without a pitch, that of the other size of its propeller."""
    pitch = engine.propeller.working_pitch if engine.propeller else None
    step, field, row, of = pitch_place(engine)
    place = (step, field, row, of) if pitch else (step, f"{field.rpartition('.')[0]}.diameter", row, of)
    return view.unit_to_tell("in", [place])


def pitch_place(engine: Engine) -> FieldKey:
    """Where an engine's pitch stands in the job."""
    key = "pitch_measured" if is_measured(engine) else "pitch"
    if isinstance(engine.propeller, NamedPropeller):
        return OF_VESSEL, f"propellers.{key}", "", engine.propeller.name
    return OF_VESSEL, f"engines.propeller.{key}", "", engine.position


def asked_about(record: attrs.AttrsInstance | None, what: str, *fields: str, of: str = "") -> tuple[Doubt, ...]:
    """Facts that are asked about themselves, each as a doubt: what does not fit one of them is no fault of the rest.

    what   : whose they are, as the question about them says it ("port propeller")
    fields : by record and key ("engines.propeller.pitch")
    """
    said = {field: outside_usual(record, field.rpartition(".")[2]) for field in fields if record is not None}
    return tuple(Doubt(f"{what}, {text}", step=OF_VESSEL, field=field, of=of) for field, text in said.items() if text)


def asked_powers(vessel: Vessel) -> tuple[Doubt, ...]:
    """Rated powers that are asked about themselves."""
    field = "engines.rated_power"
    engines = ((one, f"{one.position} engine", one.position) for one in vessel.engines)
    return tuple(doubt for one, what, of in engines for doubt in asked_about(one, what, field, of=of))


def named_first(odd: Sequence[Doubt]) -> str:
    """The facts that are asked about themselves, before what is said of what does not fit them."""
    return "".join(f"In doubt: {one.text}. " for one in odd)


def engine_speed_words(average: Average) -> str:
    """An engine speed with its interval."""
    return f"{with_uncertainty(average.value, average.expanded_uncertainty, 0)} rev/min"
