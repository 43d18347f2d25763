"""Readings held against each other before anything is built on them: two sources, and runs that contradict."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

import attrs

from garboard.findings import (
    OF_VESSEL,
    Basis,
    BasisKind,
    Doubt,
    Finding,
    NotEnoughData,
    Verdict,
    in_full,
    rounded,
    rounded_beside,
)
from garboard.job_view import FieldKey, JobView
from garboard.series import LOG_WITHIN, mean
from garboard_prop_check.agreement import Agreement, OddRun, is_any_made_twice, limits_of, most_unlike
from garboard_prop_check.averages import (
    Average,
    agreement_among,
    average_engine_speed,
    average_speed,
    held,
    labels_contradicted,
    ways_or_none,
)
from garboard_prop_check.load import against_people_and_fuel, against_throttle_steps
from garboard_prop_check.runs import (
    ALL_RUNS,
    ROUNDING,
    SPEED,
    Reading,
    Run,
    instrument_bound,
    runs_of,
    runs_of_recording,
)
from garboard_prop_check.settings import basis_of
from garboard_prop_check.steps import FULL_THROTTLE, SIDES
from garboard_prop_check.words import READINGS, about, engine_speed_words, is_above_limiter, speed_words

LEAST_DIGIT, DIGITS_MOVED = 0.1, 5.0
"""A speed that engine speed would have moved by so many of its last digits, at least a tenth of a knot, and that did
not move is asked about; common practice, no source [kn], [-]."""


PLANES_FROM = 3.0
"""A hull that is faster than so many times the root of its length rides over its own wave [kn/ft^(1/2)]; common
practice, no source: its wave is as long as a displacement hull at 1.34."""

_PRACTICE = BasisKind.COMMON_PRACTICE
WAVE = Basis(_PRACTICE, f"a hull faster than {in_full(PLANES_FROM)} knots for each root of a foot of length planes")
SAME_SPEED = Basis(
    _PRACTICE, "a speed that stays the same to its last digit at unlike engine speed comes from a display that hung"
)
LOG = Basis(_PRACTICE, f"a log is set by the speed over ground of opposite runs, to {in_full(100 * LOG_WITHIN)} %")


def against_each_other(view: JobView) -> Iterator[Finding]:
    """What contradicts what among the runs and the conditions they were made in; nothing where nothing does."""
    yield from against_people_and_fuel(view)
    yield from against_throttle_steps(view)
    try:
        runs = view.once(runs_of)
    except NotEnoughData:
        return  # the figures of the runs say what is missing
    yield from _odd_run(view, runs)
    yield from _labels_contradicted(view, runs)
    yield from _labels_swapped(view, runs)
    yield from _same_speed_at_unlike_engine_speed(view, runs)
    for run in runs:
        yield from _typed_against_recorded(view, run)
    yield from _typed_against_all_runs(view, runs)
    yield from _above_limiter(view, runs)
    yield from _too_fast_for_its_hull(view, runs)
    yield from _water_log(view, runs)


_ODD = {
    OddRun.VENTILATED: (
        "prop_check.readings.ventilated",
        "its engine ran faster and the boat slower than in the others, so the propeller let go",
        "Trim in a little, look how high the engine is mounted, and make the run again.",
    ),
    OddRun.NOT_FULL_THROTTLE: (
        "prop_check.readings.not_full_throttle",
        "its engine and the boat ran slower than in the others, so the throttle was not fully open",
        "Make the run again.",
    ),
    OddRun.ENGINE_SPEED: (
        "prop_check.readings.odd_engine_speed",
        "its engine speed contradicts the others",
        "Read it again. If it was right, the propeller let go or the throttle moved: make the run again.",
    ),
    OddRun.SPEED: (
        "prop_check.readings.odd_speed",
        "its speed contradicts the others",
        "Look at its unit and read it again, or make the run again.",
    ),
}


def _odd_run(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    found = agreement_among(view, runs)
    if found.odd is None or found.kind is None:
        for fault in found.faults:
            yield _finding(
                "prop_check.readings.runs_differ",
                "full-throttle runs",
                f"{fault.text[0].upper()}{fault.text[1:]}. {_until_then(fault.what)} is worked out until then.",
                [place for run in fault.runs for place in _places(run, fault.what)],
                fault.text,
            )
        return
    code, what, to_do = _ODD[found.kind]
    yield _finding(
        code,
        found.odd.name,
        f"{found.odd.name.capitalize()} ({_as_run(view, found.odd)}): {what}, and {_not_counted(found)}. {to_do}",
        [place for spoilt in found.spoilt for place in _places(found.odd, spoilt)],
        f"{found.odd.name}: {what}",
    )


def _until_then(what: str) -> str:
    return "No speed" if what == SPEED else "No speed and no engine speed"


def _labels_contradicted(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    """Runs labelled with and against on courses that are not opposite; not where one file stands for both."""
    found = labels_contradicted(runs, view.setting_value("prop_check.opposite_within", "deg"))
    if found is None or is_any_made_twice(runs):
        return
    places = held(
        view, [(FULL_THROTTLE, field, run.row, "") for run in found.runs for field in ("direction", "course")]
    )
    sentence = (
        f"{found.text[0].upper()}{found.text[1:]}. No speed is worked out until then. If both runs went one way, make "
        "one the other way."
    )
    yield _finding("prop_check.readings.label_and_course", "with and against", sentence, places, found.text)


def _labels_swapped(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    """Runs with wind and current that are slower than those against. The speed does not change by it: no doubt."""
    agreed = agreement_among(view, runs)
    if agreed.faults or ways_or_none(view, runs) is None or not all(run.side for run in runs):
        return
    speeds: dict[str, list[float]] = {side: [] for side in SIDES}
    for run in runs:
        if isinstance(run.speed, Reading) and agreed.counts(run, SPEED):
            speeds[run.side].append(run.speed.value)
    if not all(speeds.values()):
        return
    helped, hindered = (mean(speeds[side]) for side in SIDES)
    if hindered - helped <= limits_of(view).speed:
        return
    yield Finding(
        code="prop_check.readings.labels_swapped",
        verdict=Verdict.ADVISE,
        about="with and against",
        sentence=(
            f"Runs with wind and current made {view.told(helped, 'kn', 1)}, those against "
            f"{view.told(hindered, 'kn', 1)}. Are the labels "
            "swapped? Correct them, or look whether wind and current ran opposite ways. The mean stays the same."
        ),
        basis=(READINGS, basis_of("same_way_difference")),
        places=held(view, [(FULL_THROTTLE, "direction", run.row, "") for run in runs]),
    )


def _above_limiter(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    """Engine speeds that no limiter lets an engine reach: either entry may be wrong."""
    for engine in view.vessel.engines:
        average = _average(view, runs, engine.position)
        if average is None or not is_above_limiter(view, engine, average) or engine.limiter_speed is None:
            continue
        limiter = engine.limiter_speed.to("rev/min")
        text = (
            f"{about(engine)} at {rounded_beside(average.value, [limiter])} rev/min, and its rev limiter is entered as "
            f"{rounded(limiter)}"
        )
        sentence = (
            f"The {about(engine)} cannot turn {rounded_beside(average.value, [limiter])} rev/min: its rev limiter is "
            f"entered as {rounded(limiter)}. One of the two is wrong. Look up the limiter and read the tachometer "
            "again."
        )
        yield _finding("prop_check.readings.above_limiter", about(engine), sentence, average.places, text)


def _too_fast_for_its_hull(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    """A displacement hull stays in its own wave: where one is faster, form, length or speed is entered wrong."""
    vessel = view.vessel
    if vessel.hull_form != "displacement" or vessel.length is None:
        return
    try:
        speed = average_speed(view, runs)
    except NotEnoughData:
        return  # the figures of the runs say what is missing
    most = PLANES_FROM * math.sqrt(vessel.length.to("ft"))
    if speed.value <= most:
        return
    told = speed_words(view, speed)
    text = f"a displacement hull of {vessel.length} does not run {told}"
    sentence = f"A displacement hull of {vessel.length} does not run {told}. See hull form, length and unit of speed."
    places = [(OF_VESSEL, "hull_form", "", "")]
    yield _finding("prop_check.readings.faster_than_its_hull", "hull form", sentence, places, text, WAVE)


def _same_speed_at_unlike_engine_speed(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    """One speed to its last digit in all runs although an engine turned unlike: the display may have hung."""
    speeds = [run.speed for run in runs if isinstance(run.speed, Reading)]
    if len(speeds) < max(2, len(runs)) or any(one.deviation for one in speeds):
        return
    value, digit = speeds[0].value, max(LEAST_DIGIT, *(one.digit for one in speeds))
    low, high = most_unlike(runs)
    moved = value * (high - low) / high if high else 0.0
    if any(abs(one.value - value) > ROUNDING for one in speeds) or moved < DIGITS_MOVED * digit:
        return
    text = (
        f"every run shows {view.told(value, 'kn', 1)}, while an engine turned from {rounded(low)} to {rounded(high)} "
        "rev/min"
    )
    sentence = (
        f"E{text[1:]}: that is worth about {view.told(moved, 'kn', 1)}. The display of the speed may have hung, or "
        "the engine speed "
        "is misread. Look at both while you change the throttle, then make the runs again."
    )
    places = [place for run in runs for place in _places(run, SPEED)]
    yield _finding("prop_check.readings.same_speed", "full-throttle speed", sentence, places, text, SAME_SPEED)


def _water_log(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    """A log that reads otherwise than the receiver does over opposite runs, where the current drops out of both.

    The speed over ground stands: over opposite runs it is what a log is set by.
    """
    logged = [attrs.evolve(run, speed=run.through_water) for run in runs if run.through_water]
    average, through = (_average(view, each, SPEED) for each in (runs, logged)) if logged else (None, None)
    if average is None or through is None or through.runs < average.runs:
        return
    off = 100 * (through.value / average.value - 1)
    if abs(off) <= 100 * LOG_WITHIN:
        return
    yield Finding(
        code="prop_check.readings.water_log",
        verdict=Verdict.ADVISE,
        about="speed through water",
        sentence=(
            f"Over opposite runs the log shows {view.told(through.value, 'kn', 1)} through the water and the receiver "
            f"{view.told(average.value, 'kn', 1)} over ground: the log reads {rounded(abs(off))} % "
            f"{'high' if off > 0 else 'low'}. Look for weed on it and set it. No figure here rests on it."
        ),
        basis=(LOG,),
        places=average.places,
    )


def _not_counted(found: Agreement) -> str:
    if SPEED not in found.spoilt:
        return "its engine speed is not counted"
    return "its speed is not counted" if found.spoilt == (SPEED,) else "it is not counted"


def _as_run(view: JobView, run: Run) -> str:
    engines = [f"{rounded(read.value)} rev/min" for read in run.engine_speed.values() if isinstance(read, Reading)]
    return ", ".join([*engines, *([view.told(run.speed.value, "kn", 1)] if isinstance(run.speed, Reading) else [])])


def _reading(run: Run, what: str) -> Reading | None:
    found = run.speed if what == SPEED else run.engine_speed.get(what)
    return found if isinstance(found, Reading) else None


def _places(run: Run, what: str) -> tuple[FieldKey, ...]:
    found = _reading(run, what)
    return (found.place,) if found else ()


def _typed_against_recorded(view: JobView, run: Run) -> Iterator[Finding]:
    """A reading that was typed and agrees with no source of the run's own recording."""
    for what, heard in run.heard.items():
        typed = _reading(run, what)
        if typed is None or not heard or not typed.is_typed:
            continue
        if all(typed.read_off(view).differs_from(one, instrument_bound(view, what)) for one in heard):
            text = f"{run.name}: {_told(view, what, typed)} was typed and {_told(view, what, heard[0])} recorded"
            yield _two_sources(run.name, text, [typed.place])


def _told(view: JobView, what: str, reading: Reading) -> str:
    return view.told(reading.value, "kn", 1) if what == SPEED else f"{rounded(reading.value)} rev/min ({what})"


def _typed_against_all_runs(view: JobView, runs: Sequence[Run]) -> Iterator[Finding]:
    """Typed runs beside the recording of all runs, which is used only where none is typed."""
    if not any(run.row for run in runs):
        return
    try:
        recording = view.recording(FULL_THROTTLE, ALL_RUNS)
        recorded = runs_of_recording(view, recording) if recording is not None else ()
    except NotEnoughData:
        return
    for what in (SPEED, *(engine.position for engine in view.vessel.engines)):
        typed, heard = (_average(view, each, what) for each in (runs, recorded))
        if typed is None or heard is None:
            continue
        if abs(typed.value - heard.value) > math.hypot(typed.expanded_uncertainty, heard.expanded_uncertainty):
            words = [speed_words(view, one) if what == SPEED else engine_speed_words(one) for one in (typed, heard)]
            text = f"the typed runs give {words[0]}, the recording of all runs {words[1]}"
            named = "full-throttle speed" if what == SPEED else f"{what} engine"
            yield _two_sources(named, text, [place for run in runs for place in _places(run, what)])


def _two_sources(named: str, text: str, places: Iterable[FieldKey]) -> Finding:
    sentence = f"{text[0].upper()}{text[1:]}. Find out which is right, then correct the entry or take it out."
    return _finding("prop_check.readings.typed_and_recorded", named, sentence, places, text)


def _average(view: JobView, runs: Sequence[Run], what: str) -> Average | None:
    try:
        return view.once(average_speed, runs) if what == SPEED else view.once(average_engine_speed, runs, what)
    except NotEnoughData:
        return None


def _finding(code: str, about: str, sentence: str, places: Iterable[FieldKey], text: str, *basis: Basis) -> Finding:
    """What is found, with the readings in doubt. A recording of all runs is not doubted whole for one of them."""
    in_doubt = tuple(place for place in dict.fromkeys(places) if place[1] != ALL_RUNS)
    return Finding(
        code=code,
        verdict=Verdict.ADVISE,
        about=about,
        sentence=sentence,
        basis=(READINGS, *(basis or map(basis_of, ("run_difference", "same_way_difference", "largest_current")))),
        places=in_doubt,
        doubts=tuple(Doubt(text, step=step, field=field, row=row, of=of) for step, field, row, of in in_doubt),
    )
