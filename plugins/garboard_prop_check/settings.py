"""What a shop may decide about propeller checks, and how calculators read it."""

from __future__ import annotations

from functools import partial

import attrs

from garboard.findings import Basis, BasisKind, in_full
from garboard.settings import amount_setting, basis_used
from garboard.steps import Field, Kind, Setting
from garboard_prop_check import shelf

_PRACTICE = BasisKind.COMMON_PRACTICE


_amount = partial(amount_setting, "prop_check")


BOUND_OF_ALL_RUNS = "a bound, the same in every run"
DEVIATION_OF_EACH_RUN = "of each run by itself, known to 30 % (6 degrees of freedom)"


USUAL_SLIP: dict[str, tuple[str, str]] = {
    "planing": ("5 %", "20 %"),
    "flat bottom hard chine": ("10 %", "25 %"),
    "multihull": ("5 %", "20 %"),
    "displacement": ("20 %", "45 %"),
}
"""Usual slip at full throttle and best trim by hull form; common practice, no source."""


def slip_setting(hull_form: str, end: str) -> str:
    """Name of the setting for one end ("low" or "high") of the usual slip of a hull form."""
    return f"slip_{end}_{hull_form.replace(' ', '_')}"


def _slip_settings() -> tuple[Setting, ...]:
    basis = Basis(_PRACTICE, "slip usual for this hull form at full throttle and best trim")
    return tuple(
        _amount(
            slip_setting(form, end),
            f"Usual slip, {form}, {end} end",
            "share",
            "%",
            default,
            (0.1, 90),
            basis,
            at_most=(slip_setting(form, "high"),) if end == "low" else (),
        )
        for form, ends in USUAL_SLIP.items()
        for end, default in zip(("low", "high"), ends, strict=True)
    )


SETTINGS: tuple[Setting, ...] = (
    _amount(
        "full_throttle_limit",
        "Longest time at full throttle in one go",
        "time",
        "s",
        "20 s",
        (5, 300),
        Basis(_PRACTICE, "full throttle only as long as a reading takes", "the maker's running-in rules come first"),
        stricter="lower",
    ),
    _amount(
        "steady_seconds",
        "Shortest steady stretch that counts",
        "time",
        "s",
        "8 s",
        (2, 120),
        Basis(_PRACTICE, "long enough to read, shorter than full throttle may be held"),
    ),
    _amount(
        "steady_speed",
        "Speed counts as steady within plus or minus",
        "speed",
        "kn",
        "0.5 kn",
        (0.05, 5),
        Basis(_PRACTICE, "what a planing boat holds in calm water"),
    ),
    _amount(
        "steady_engine_speed",
        "Engine speed counts as steady within plus or minus",
        "engine speed",
        "rev/min",
        "50 rev/min",
        (5, 500),
        Basis(_PRACTICE, "what an outboard holds at full throttle in calm water"),
    ),
    _amount(
        "speed_uncertainty",
        "Speed over ground is right within plus or minus",
        "speed",
        "kn",
        "0.1 kn",
        (0, 5),
        Basis(_PRACTICE, "satellite receiver at a steady speed", BOUND_OF_ALL_RUNS),
    ),
    _amount(
        "run_to_run_speed",
        "Speed differs from run to run by, standard deviation",
        "speed",
        "kn",
        "0.12 kn",
        (0.01, 5),
        Basis(_PRACTICE, "boat speed from one full-throttle run to the next in calm water", DEVIATION_OF_EACH_RUN),
    ),
    _amount(
        "by_eye_speed",
        "Speed read by eye differs by, standard deviation",
        "speed",
        "kn",
        "0.05 kn",
        (0, 5),
        Basis(_PRACTICE, "a person reads a speed that moves a little", DEVIATION_OF_EACH_RUN),
    ),
    _amount(
        "engine_speed_uncertainty",
        "Tachometers are right within plus or minus",
        "engine speed",
        "rev/min",
        "20 rev/min",
        (0, 500),
        Basis(_PRACTICE, "digital tachometer of an outboard", BOUND_OF_ALL_RUNS),
    ),
    _amount(
        "run_to_run_engine_speed",
        "Engine speed differs from run to run by, standard deviation",
        "engine speed",
        "rev/min",
        "11 rev/min",
        (1, 500),
        Basis(_PRACTICE, "engine speed from one full-throttle run to the next in calm water", DEVIATION_OF_EACH_RUN),
    ),
    _amount(
        "by_eye_engine_speed",
        "Engine speed read by eye differs by, standard deviation",
        "engine speed",
        "rev/min",
        "8 rev/min",
        (0, 500),
        Basis(_PRACTICE, "a person reads an engine speed that moves a little", DEVIATION_OF_EACH_RUN),
    ),
    _amount(
        "engine_speed_resolution",
        "Smallest step of the engine speed on the display",
        "engine speed",
        "rev/min",
        "10 rev/min",
        (0, 500),
        Basis(
            _PRACTICE,
            "digital displays step by 10 rev/min; set 50 or 100 for a dial",
            "a reading lies within half a step, each by itself",
        ),
    ),
    _amount(
        "largest_current",
        "Strongest current a trial is run in",
        "speed",
        "kn",
        "4 kn",
        (0.5, 15),
        Basis(_PRACTICE, "a current that would be felt and seen; speeds that need a stronger one are misread"),
    ),
    _amount(
        "same_way_difference",
        "Largest difference between speeds the same way",
        "speed",
        "kn",
        "2 kn",
        (0.2, 20),
        Basis(_PRACTICE, "full-throttle runs the same way within 2 kn of each other"),
    ),
    _amount(
        "run_difference",
        "Largest difference of an engine's speed between runs",
        "engine speed",
        "rev/min",
        "150 rev/min",
        (20, 2000),
        Basis(_PRACTICE, "full-throttle runs of one engine within 150 rev/min of each other"),
    ),
    _amount(
        "pitch_tolerance",
        "Real pitch lies within plus or minus of the stamped pitch",
        "share",
        "%",
        "3 %",
        (0, 20),
        Basis(
            BasisKind.STANDARD,
            "ISO 484-2:1981, mean pitch of a propeller: class S 0.5 %, I 0.75 %, II 1 %, III 3 %",
            "as restated by propeller works; for diameters from 0.80 m, so a guide; a bound, the same in every run",
        ),
    ),
    _amount(
        "measured_pitch_tolerance",
        "Real pitch lies within plus or minus of a measured pitch",
        "share",
        "%",
        "1 %",
        (0, 20),
        Basis(_PRACTICE, "a pitch gauge read on every blade, at its usual radius", "a bound, the same in every run"),
    ),
    _amount(
        "opposite_within",
        "Courses count as opposite, or as the same, within",
        "angle",
        "deg",
        "20 deg",
        (1, 45),
        Basis(_PRACTICE, "20 degrees off leaves 3 % of the current in the mean"),
    ),
    _amount(
        "engine_difference",
        "Largest difference between engines at full throttle",
        "engine speed",
        "rev/min",
        "100 rev/min",
        (10, 1000),
        Basis(_PRACTICE, "engines on one boat within about 100 rev/min of each other"),
        stricter="lower",
    ),
    _amount(
        "limiter_margin",
        "Distance to keep from the rev limiter",
        "engine speed",
        "rev/min",
        "100 rev/min",
        (0, 1000),
        Basis(_PRACTICE, "close to the limiter a reading says where the limiter is, not what the propeller does"),
        stricter="higher",
    ),
    _amount(
        "per_inch_low",
        "Engine speed lost for an inch more pitch, at least",
        "engine speed",
        "rev/min",
        "150 rev/min",
        (20, 1000),
        Basis(_PRACTICE, "300 rev/min for 2 in of pitch"),
        at_most=("per_inch_high",),
    ),
    _amount(
        "per_inch_high",
        "Engine speed lost for an inch more pitch, at most",
        "engine speed",
        "rev/min",
        "200 rev/min",
        (20, 1000),
        Basis(_PRACTICE, "400 rev/min for 2 in of pitch"),
    ),
    _amount(
        "per_inch_deviation",
        "Engine speed lost for an inch differs from boat to boat by, standard deviation",
        "engine speed",
        "rev/min",
        "60 rev/min",
        (1, 500),
        Basis(_PRACTICE, "200 rev/min for each inch, 60 more or less", "tried on simulated boats, not measured"),
    ),
    _amount(
        "forecast_deviation",
        "Engine speed after a change of propeller differs by, standard deviation",
        "engine speed",
        "rev/min",
        "90 rev/min",
        (1, 1000),
        Basis(
            _PRACTICE,
            "two propellers of one stamped pitch come out within about 90 rev/min",
            "tried on simulated boats, not measured",
        ),
    ),
    _amount(
        "aim_in_window",
        "Where in the window to aim from a run on the rev limiter, from low end to high end",
        "share",
        "%",
        "50 %",
        (10, 90),
        Basis(_PRACTICE, "the middle of the window is missed least often", "tried on simulated boats, not measured"),
    ),
    _amount(
        "largest_pitch_change",
        "Largest change of pitch to advise",
        "length",
        "in",
        "4 in",
        (1, 12),
        Basis(_PRACTICE, "the rules are for small changes; a large one points to another cause"),
    ),
    _amount(
        "full_throttle_from",
        "Engine speed that counts as full throttle when no window is entered",
        "engine speed",
        "rev/min",
        "4500 rev/min",
        (1000, 10000),
        Basis(_PRACTICE, "most outboards turn faster than this only near full throttle"),
    ),
    _amount(
        "slip_beyond_usual",
        "Slip this far above the usual means a wrong reading",
        "share",
        "%",
        "30 %",
        (5, 90),
        Basis(_PRACTICE, "a boat with so much slip would not move so well; one of its readings is wrong"),
    ),
    _amount(
        "highest_theory",
        "A theoretical speed above this means a wrong reading",
        "speed",
        "kn",
        "120 kn",
        (20, 300),
        Basis(_PRACTICE, "no outboard boat a shop hands over goes so fast"),
    ),
    _amount(
        "crouch_within",
        "Crouch's formula is right within plus or minus",
        "share",
        "%",
        "10 %",
        (0, 50),
        Basis(_PRACTICE, "a rule of thumb for speed; weight and power as run are seldom known closer", "a bound"),
    ),
    _amount(
        "break_in",
        "Engine hours before full throttle, as the engine's maker asks",
        "time",
        "h",
        "0 h",
        (0, 200),
        Basis(_PRACTICE, "the engine's manual says how long it runs in; 0 h asks for no hours"),
        stricter="higher",
    ),
    _amount(
        "break_in_share",
        "Engine speed allowed until then, of the low end of the window",
        "share",
        "%",
        "75 %",
        (20, 100),
        Basis(_PRACTICE, "three quarters while an engine runs in", "the maker's manual comes first"),
        stricter="lower",
    ),
    *_slip_settings(),
    Setting(
        key="prop_check.shelf",
        field=Field(
            name="shelf",
            title="Propellers the shop keeps",
            kind=Kind.TEXT,
            pattern=shelf.SHELF,
            offers=(shelf.EXAMPLE,),
            help="Diameter x pitch in inches; after commas blades, material, cup, stock number. A semicolon or a new "
            "line before the next. The advice tries these first; with none here it tries whole inches of pitch.",
        ),
        default="",
        basis=Basis(_PRACTICE, "a propeller that is here is tried before one that has to be bought"),
    ),
)

_BY_KEY = {setting.key: setting for setting in SETTINGS}


def per_inch_basis(low: float, high: float) -> Basis:
    """Where the engine speed lost for an inch of pitch comes from, low to high [rev/min]."""
    default = Basis(_PRACTICE, f"{in_full(low)} to {in_full(high)} rev/min for each inch of pitch")
    named = (_BY_KEY[f"prop_check.per_inch_{end}"] for end in ("low", "high"))
    used = [(attrs.evolve(setting, basis=default), value) for setting, value in zip(named, (low, high), strict=True)]
    return basis_used(default.text, *used)


def engine_difference_basis(limit: float) -> Basis:
    """Where the difference between engines that is let pass comes from [rev/min]."""
    setting = _BY_KEY["prop_check.engine_difference"]
    return basis_used(f"engines on one boat within {in_full(limit)} rev/min of each other", (setting, limit))


def basis_of(name: str) -> Basis:
    """Where a setting's default comes from."""
    return _BY_KEY[f"prop_check.{name}"].basis
