"""Depth, radar, VHF antenna and bilge pump flow: each from a few readings, judged where they are all there."""

from __future__ import annotations

import math
from collections.abc import Iterator

from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Lack,
    Limit,
    NotEnoughData,
    Number,
    Verdict,
    in_full,
    not_enough_data,
    rounded,
)
from garboard.job_view import InputCollector, JobView, in_unit
from garboard.series import signed_angle
from garboard.steps import Calculator
from garboard.uncertainty import MeasuredValue, Part
from garboard.units import Amount, convert
from garboard_engine_trial.alongside_steps import INSTRUMENTS
from garboard_engine_trial.bases import practice
from garboard_engine_trial.points import is_entered, row_name, rows_of, settled
from garboard_engine_trial.settings import DEPTH, PUMP_FLOW, RADAR, STANDING_WAVE, WATTMETER_WITHIN
from garboard_engine_trial.steps import table_of

BY_LEAD = practice("a depth sounder is compared with a lead line, its offset with a tape")
ONE_OBJECT = practice("a radar's heading line is aligned on one object seen by eye and on the screen")
TWO_POWERS = Basis(BasisKind.METHOD, "standing wave ratio from forward and reflected power")
WELL_MATCHED = practice("a VHF antenna stays below this standing wave ratio", "the radio's maker decides")
BUCKET = practice("a bilge pump's flow by bucket and watch, against its label")
LEAST_FORWARD = 0.5
"""Less forward power tells no ratio: a radio on low power gives 1 W; common practice, no source [W]."""
SHORTEST = 5.0
"""A pump timed for less tells no flow; common practice, no source [s]."""
MOST_OF_LABEL = 120.0
"""A label says a pump's open flow, and a charged battery adds a little; common practice, no source [%]."""
_LITRES_IN_GALLON = 3.785411784


_POWERS = ("power_forward", "power_reflected")
_FORMERLY = {
    "power_forward": "forward_power",
    "power_reflected": "reflected_power",
    "pumped": "collected",
    "label_flow": "rated",
}
"""Where a field's value stood once, as a plain number in W, L and gal/h: jobs of then still hold it."""


def _amount(asking: InputCollector, view: JobView, field: str, unit: str, row: str = "") -> float:
    """The amount in a field [unit], or where none is the plain number of then."""
    if is_entered(view, INSTRUMENTS, field, row=row) or not _stands_as_then(view, field, row):
        return asking.amount(INSTRUMENTS, field, unit, row=row)
    formerly = _FORMERLY[field]
    if _disagrees_as_then(view, field, row):  # no field of now: nobody can ask the view for it
        text = f"{formerly.replace('_', ' ')}: its values disagree; choose one, or enter it anew"
        asking.need(False, text, lack=Lack.DISAGREES, step=INSTRUMENTS, field=formerly, row=row)
        return math.nan
    return asking.amount(INSTRUMENTS, formerly, "", row=row)


def _stands_as_then(view: JobView, field: str, row: str = "") -> bool:
    place = (INSTRUMENTS, _FORMERLY[field], row)
    stands = any((one.step, one.field, one.row) == place for one in view.measurements)
    return stands or _disagrees_as_then(view, field, row)


def _disagrees_as_then(view: JobView, field: str, row: str) -> bool:
    return any(one.place == (INSTRUMENTS, _FORMERLY[field], row, "") for one in view.disagreements)


def _is_asked(view: JobView, *fields: str) -> bool:
    """Whether anything of an instrument is entered: one that is not fitted, or not tried, is not asked for."""
    return is_entered(view, INSTRUMENTS, *fields)


def _depth(view: JobView) -> Iterator[Finding]:
    if not _is_asked(view, "depth_by_lead", "depth_shown", "transducer_depth"):
        return
    asking = view.asking()
    lead = asking.amount(INSTRUMENTS, "depth_by_lead", "in")
    transducer = asking.amount(INSTRUMENTS, "transducer_depth", "in")
    shown = asking.amount(INSTRUMENTS, "depth_shown", "in")
    asking.need(
        not lead <= transducer,
        "the depth by lead line is no more than the transducer's; correct one",
        lack=Lack.CONTRADICTS,
        step=INSTRUMENTS,
        field="depth_by_lead",
    )
    asking.check()
    within = view.setting_value(DEPTH, "in")
    off = shown - (lead - transducer)
    limit = Limit("depth off by", -within, within)
    agrees = limit.holds(off)
    yield Finding(
        code="engine_trial.depth.agrees" if agrees else "engine_trial.depth.off",
        verdict=Verdict.PASS if agrees else Verdict.ADVISE,
        about="Depth",
        sentence=(
            "The sounder agrees with the lead line."
            if agrees
            else "The sounder differs from the lead line. Look at the transducer's seat, then sound again."
        ),
        basis=(BY_LEAD,),
        numbers=(Number("depth off by", off, "in"),),
        limits=(limit,),
    )


def offset_wanted(offset: float, transducer: float, keel: float | None) -> float | None:
    """The offset that would be right: above zero from the water line, below zero under the lowest point.

    offset     : as set, in any unit
    transducer : below the water line, in the same unit
    keel       : lowest point below the water line; None where it is not known
    returns    : in the same unit; None for an offset of zero, which shows the depth below the transducer, and where
                 the keel is not known

    >>> offset_wanted(1.0, 1.5, None), offset_wanted(-1.0, 1.5, 2.5)
    (1.5, -1.0)
    """
    if offset > 0:
        return transducer
    return -(keel - transducer) if offset < 0 and keel is not None else None


def _offset(view: JobView) -> Iterator[Finding]:
    offset = settled(view, INSTRUMENTS, "depth_offset", "in")
    if offset is None:
        return
    asking = view.asking()
    transducer = asking.amount(INSTRUMENTS, "transducer_depth", "in")
    keel = asking.amount(INSTRUMENTS, "keel_depth", "in") if offset < 0 else None
    asking.check()
    wanted = offset_wanted(offset, transducer, keel)
    if wanted is None:
        yield Finding(
            code="engine_trial.depth_offset.none",
            verdict=Verdict.ADVISE,
            about="Depth offset",
            sentence="No offset is set: displays show depth below the transducer. Tell the owner, or set one.",
            basis=(BY_LEAD,),
        )
        return
    within = view.setting_value(DEPTH, "in")
    limit = Limit("offset off by", -within, within)
    is_right = limit.holds(offset - wanted)
    from_where = "the water line" if offset > 0 else "the lowest point"
    yield Finding(
        code="engine_trial.depth_offset.set" if is_right else "engine_trial.depth_offset.wrong",
        verdict=Verdict.PASS if is_right else Verdict.ADVISE,
        about="Depth offset",
        sentence=(
            f"Displays show depth from {from_where}."
            if is_right
            else f"For depth from {from_where} the offset is {_as_offset(view, wanted)}. Set it, then read again."
        ),
        basis=(BY_LEAD,),
        numbers=(Number("offset off by", offset - wanted, "in"),),
        limits=(limit,),
    )


def _as_offset(view: JobView, inches: float) -> str:
    """An offset [in] in the unit the one set was typed in."""
    unit = view.unit_as_typed("length", {(INSTRUMENTS, "depth_offset", "", "")})
    return f"{rounded(in_unit(inches, 'in', unit), 1)} {unit}"


def _radar(view: JobView) -> Iterator[Finding]:
    if not _is_asked(view, "object_seen", "object_on_radar"):
        return
    asking = view.asking()
    seen = asking.amount(INSTRUMENTS, "object_seen", "deg")
    on_radar = asking.amount(INSTRUMENTS, "object_on_radar", "deg")
    asking.check()
    off = signed_angle(on_radar - seen)
    within = view.setting_value(RADAR, "deg")
    limit = Limit("heading line off by", -within, within)
    is_right = limit.holds(off)
    side = "starboard" if off > 0 else "port"
    yield Finding(
        code="engine_trial.radar.aligned" if is_right else "engine_trial.radar.off",
        verdict=Verdict.PASS if is_right else Verdict.ADVISE,
        about="Radar heading line",
        sentence=(
            "Radar and eye agree on the object."
            if is_right
            else f"Radar shows the object {rounded(abs(off), 1)} degrees to {side}. Align the heading line, then try "
            "it again."
        ),
        basis=(ONE_OBJECT,),
        numbers=(Number("heading line off by", off, "deg"),),
        limits=(limit,),
    )


def standing_wave_ratio(forward: float, reflected: float) -> float:
    """Standing wave ratio of a cable and its antenna.

    forward   : power towards the antenna, above 0 [W]
    reflected : power that comes back, from 0 to below `forward` [W]
    returns   : ratio, 1 or above [-]
    Raises ValueError outside.

    >>> round(standing_wave_ratio(100.0, 5.0), 2)
    1.58
    """
    if not (forward > 0 and 0 <= reflected < forward):
        raise ValueError(f"expected 0 <= reflected < forward, got {reflected} and {forward}")
    reflection = math.sqrt(reflected / forward)
    return (1 + reflection) / (1 - reflection)


def _standing_wave(view: JobView) -> Iterator[Finding]:
    if not (_is_asked(view, *_POWERS) or any(_stands_as_then(view, field) for field in _POWERS)):
        return
    asking = view.asking()
    forward, reflected = (_amount(asking, view, field, "W") for field in _POWERS)
    asking.need(
        not forward < LEAST_FORWARD,
        f"forward power below {in_full(LEAST_FORWARD)} W tells no ratio; transmit at high power",
        lack=Lack.OUT_OF_RANGE,
        step=INSTRUMENTS,
        field="power_forward",
    )
    asking.need(
        not reflected >= forward,
        "as much power comes back as goes out; turn the meter round, or read again",
        lack=Lack.CONTRADICTS,
        step=INSTRUMENTS,
        field="power_reflected",
    )
    asking.need(
        not reflected < 0,
        "reflected power is below zero; read it again",
        lack=Lack.OUT_OF_RANGE,
        step=INSTRUMENTS,
        field="power_reflected",
    )
    asking.check()
    ratio = _ratio(forward, reflected, view.setting_value(WATTMETER_WITHIN, "%") / 100)
    limit = Limit("standing wave ratio", high=view.setting_value(STANDING_WAVE))
    if limit.holds(ratio.value, ratio.expanded_uncertainty):
        verdict, code, sentence = Verdict.PASS, "engine_trial.standing_wave.low", "Cable and antenna take the power."
    elif limit.reaches(ratio.value, ratio.expanded_uncertainty):
        verdict, code = Verdict.ADVISE, "engine_trial.standing_wave.close"
        sentence = "About as much power comes back as may. Read both again at high power."
    else:
        verdict, code = Verdict.ADVISE, "engine_trial.standing_wave.high"
        sentence = "Too much power comes back. Look at connectors, cable and antenna; transmit as little as you can."
    yield Finding(
        code=code,
        verdict=verdict,
        about="VHF antenna",
        sentence=sentence,
        basis=(WELL_MATCHED, TWO_POWERS),
        numbers=(Number.of("standing wave ratio", ratio, decimals=2),),
        limits=(limit,),
    )


def _ratio(forward: float, reflected: float, within: float) -> MeasuredValue:
    """The ratio, where a meter is right within a share [-] of its full scale.

    Its full scale is no less than the forward power, so what comes back may be off by that share of the forward power:
    a needle at zero tells no perfect antenna. The forward power tells the reflection by half its own share.
    """
    value = standing_wave_ratio(forward, reflected)
    reflection = math.sqrt(reflected / forward)
    slope = 2 / (1 - reflection) ** 2  # of the ratio with the reflection
    # The ratio bends, and at zero has no slope: so it is worked out again with the most that may come back.
    most = min(reflected + within * forward, (reflected + forward) / 2)
    parts = [
        Part.bound("forward power", slope * reflection * within / 2),
        Part.bound("reflected power", standing_wave_ratio(forward, most) - value),
    ]
    return MeasuredValue.of_parts(value, "", parts)


def _pumps(view: JobView) -> Iterator[Finding]:
    pumps = table_of(INSTRUMENTS, "pumps")
    for row in rows_of(view, INSTRUMENTS, pumps):
        name = row_name(view, INSTRUMENTS, pumps, row)
        try:
            yield _pump(view, row, name)
        except NotEnoughData as lacking:
            yield not_enough_data(_about(name), lacking.missing, (BUCKET,))


def _about(name: str) -> str:
    """What a person calls a pump may be its place alone: "Forward" pumps nothing."""
    return name if "pump" in name.casefold() else f"bilge pump {name}"


def _pump(view: JobView, row: str, name: str) -> Finding:
    asking = view.asking()
    asking.settled(INSTRUMENTS, "pump_tried", row=row)
    litres = _amount(asking, view, "pumped", "L", row)
    seconds = asking.amount(INSTRUMENTS, "seconds", "s", row=row)
    rated = _amount(asking, view, "label_flow", "gal/h", row)
    asking.need(
        not seconds < SHORTEST,
        f"{name}: timed for less than {rounded(SHORTEST)} s; pump longer",
        lack=Lack.TOO_LITTLE,
        step=INSTRUMENTS,
        field="seconds",
        row=row,
    )
    asking.need(
        not rated <= 0,
        f"{name}: the flow on its label is zero; read it again",
        lack=Lack.OUT_OF_RANGE,
        step=INSTRUMENTS,
        field="label_flow",
        row=row,
    )
    asking.check()
    flow = pump_flow(litres, seconds)
    share = 100 * flow / rated
    if share > MOST_OF_LABEL:
        text = f"{name}: {rounded(share)} % of the flow on its label, and no pump gives that; see water, time and label"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=INSTRUMENTS, field="pumped", row=row)
    unit = _unit_of_label(view, row)
    in_its_unit = convert(flow, "gal/h", unit)
    told = view.told(in_its_unit, unit, 0)
    limit = Limit("share of the label", low=view.setting_value(PUMP_FLOW, "%"))
    is_enough = limit.holds(share)
    return Finding(
        code="engine_trial.pump_flow.enough" if is_enough else "engine_trial.pump_flow.low",
        verdict=Verdict.PASS if is_enough else Verdict.ADVISE,
        about=_about(name),
        sentence=(
            f"It pumps {told}." if is_enough else f"It pumps {told}. Look at hose, strainer, check valve and voltage."
        ),
        basis=(BUCKET,),
        numbers=(Number("share of the label", share, "%", decimals=0), Number("flow", in_its_unit, unit, decimals=0)),
        limits=(limit,),
    )


def _unit_of_label(view: JobView, row: str) -> str:
    """The unit the flow on a pump's label was typed in, so that the two are compared at a glance."""
    said = view.value(INSTRUMENTS, "label_flow", row=row)
    return Amount.parse(said).unit if isinstance(said, str) else "gal/h"


def pump_flow(litres: float, seconds: float) -> float:
    """Flow of a pump [gal/h] from what it moved [L] in a time [s], above 0.

    >>> round(pump_flow(3.785411784, 3.6))
    1000
    """
    return litres / _LITRES_IN_GALLON / (seconds / 3600)


CALCULATORS = (
    Calculator(key="engine_trial.depth", title="Depth", step=INSTRUMENTS, order=510, compute=_depth, basis=(BY_LEAD,)),
    Calculator(
        key="engine_trial.depth_offset",
        title="Depth offset",
        step=INSTRUMENTS,
        order=520,
        compute=_offset,
        basis=(BY_LEAD,),
    ),
    Calculator(
        key="engine_trial.radar",
        title="Radar heading line",
        step=INSTRUMENTS,
        order=530,
        compute=_radar,
        basis=(ONE_OBJECT,),
    ),
    Calculator(
        key="engine_trial.standing_wave",
        title="VHF standing wave",
        step=INSTRUMENTS,
        order=540,
        compute=_standing_wave,
        basis=(WELL_MATCHED, TWO_POWERS),
    ),
    Calculator(
        key="engine_trial.pump_flow",
        title="Bilge pump flow",
        step=INSTRUMENTS,
        order=550,
        compute=_pumps,
        basis=(BUCKET,),
    ),
)
