"""Throttle steps that the rest of the job contradicts: the full-throttle runs, the limiter, the meters, the tanks."""

import attrs
import pytest

from builders import boat, job_view
from fuel_curve_jobs import HOST, PLANING, STEPS, TANKS, Row, recorded, typed
from garboard.findings import Finding, Lack, Number, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue, Propeller, Tank, Vessel
from garboard.samples import gather
from garboard.units import Amount
from garboard_fuel_curve.report import FUEL_SECTION

RUNS = "prop_check.full_throttle"
SINGLE = boat(
    1,
    rated_power=Amount.parse("350 hp"),
    rated_speed=Amount.parse("6000 rev/min"),
    limiter_speed=Amount.parse("6200 rev/min"),
)
TWINS = boat(2, rated_power=Amount.parse("200 hp"), rated_speed=Amount.parse("6000 rev/min"))
Values = dict[FieldKey, JsonValue]
USABLE: Values = {(TANKS, "usable_fuel", "", ""): "90.0 gal"}
RESTING_ON_SPEED = ("best_cruise", "planing_hump", "range", "curve")


def judged(view: JobView) -> dict[str, Finding]:
    """Each calculator's first finding by its name."""
    return {one.calculator.partition(".")[2]: one.finding for one in reversed(HOST.assess(view))}


def scaled(speed: float = 1.0, engine_speed: float = 1.0) -> list[Row]:
    return [(engine_speed * e, speed * s, f) for e, s, f in PLANING]


def runs(out: str = "43.1 kn", back: str = "41.9 kn", engine_speed: str = "6010 rev/min") -> Values:
    values: Values = {}
    for row, (side, speed) in enumerate((("with", out), ("against", back)), 1):
        values[RUNS, "direction", str(row), ""] = side
        values[RUNS, "speed", str(row), ""] = speed
        values[RUNS, "engine_speed", str(row), "centre"] = engine_speed
    return values


@pytest.mark.parametrize(("wrong", "current"), [(0.5, 0.4), (0.87, 0.4), (1.15, 0.4), (1.852, 0.4), (0.5, None)])
def test_steps_at_another_speed_than_the_full_throttle_runs_doubt_both(wrong: float, current: float | None) -> None:
    found = judged(job_view(SINGLE, {**typed(scaled(wrong), current=current), **USABLE, **runs()}))
    said = found["against_others"]
    assert (said.code, said.verdict) == ("fuel_curve.against_others.full_throttle_speed", Verdict.ADVISE)
    doubted = {(one.step, one.field, one.row) for one in said.doubts}
    assert {(STEPS, "speed_out", "12"), (RUNS, "speed", "1"), (RUNS, "speed", "2")} <= doubted
    assert not any(found[name].verdict is Verdict.PASS for name in RESTING_ON_SPEED)


@pytest.mark.parametrize(
    ("rows", "entered"),
    [
        (scaled(), runs()),
        (scaled(1.05), runs()),  # a lighter boat
        (scaled()[:10], runs()),  # no step near full throttle
        (scaled(), runs(engine_speed="5600 rev/min")),  # the steps reached more engine speed and no more speed
        (scaled(), runs("46.1 kn", "38.9 kn")),  # 3.6 kn of current
        (scaled(0.93), {key: value for key, value in runs().items() if key[2] != "2"}),  # one run, with a current
        (scaled(0.5), runs("43.1 kn", "4.19 kn")),  # the runs contradict each other, and their own check says so
        (scaled(0.5), {}),  # no runs
    ],
)
def test_steps_that_the_runs_bear_out_or_say_nothing_of_are_not_doubted(rows: list[Row], entered: Values) -> None:
    assert "against_others" not in judged(job_view(SINGLE, {**typed(rows), **USABLE, **entered}))


@pytest.mark.parametrize(("wrong", "doubted"), [(1.0, False), (0.5, True), (1.15, True)])
def test_recorded_steps_are_held_against_recorded_runs(wrong: float, doubted: bool) -> None:
    values: Values = {
        (STEPS, "recording", "", ""): {"file": "steps.log"},
        (RUNS, "all_runs", "", ""): {"file": "runs.log"},
    }
    recordings = {
        "steps.log": gather("steps.log", recorded(scaled(wrong)[4:], current=0.4)),
        "runs.log": gather("runs.log", recorded(PLANING[-1:], current=0.6)),
    }
    found = judged(job_view(SINGLE, values, recordings=recordings))
    assert ("against_others" in found) is doubted
    if doubted:
        fields = {(one.step, one.field) for one in found["against_others"].doubts}
        assert fields == {(STEPS, "recording"), (RUNS, "all_runs")}
        assert not any(found[name].verdict is Verdict.PASS for name in RESTING_ON_SPEED)


def test_a_boat_adrift_in_the_recording_of_the_runs_makes_no_run() -> None:
    values: Values = {**typed(PLANING), (RUNS, "all_runs", "", ""): {"file": "runs.log"}}
    adrift = {"runs.log": gather("runs.log", recorded([(0.0, 1.5, 0.0)]))}
    assert "against_others" not in judged(job_view(SINGLE, values, recordings=adrift))


def own_engine_speeds(off: float) -> Values:
    return {
        (STEPS, "engine_speed", str(n), "centre"): f"{row[0] + off:.0f} rev/min" for n, row in enumerate(PLANING, 1)
    }


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({**typed(PLANING), **own_engine_speeds(1000)}, "far_from_step"),
        ({**typed(PLANING), (STEPS, "engine_speed", "3", "centre"): "5100 rev/min"}, "far_from_step"),
        (typed(scaled(engine_speed=1.15)), "over_limiter"),
        ({**typed(scaled(engine_speed=1.03)), **runs(engine_speed="5600 rev/min")}, "full_throttle_engine_speed"),
        ({**typed(PLANING), **own_engine_speeds(-200)}, ""),
        ({**typed(scaled(engine_speed=1.04)), **runs()}, ""),  # it hunts about its limiter
    ],
)
def test_engine_speeds_that_were_never_there_are_doubted(values: Values, code: str) -> None:
    found = judged(job_view(SINGLE, {**values, **USABLE}))
    assert ("against_others" in found) is bool(code)
    if code:
        assert found["against_others"].code == f"fuel_curve.against_others.{code}"
        assert not any(found[name].verdict is Verdict.PASS for name in (*RESTING_ON_SPEED, "mixed_use"))


# --- a refill, the meters and the tanks


def refilled(refill: str, *metered: str, vessel: Vessel = SINGLE) -> dict[str, Finding]:
    positions = [engine.position for engine in vessel.engines]
    values: Values = {**typed(PLANING, len(positions)), **USABLE, (TANKS, "same_mark", "", ""): True}
    values[TANKS, "refilled", "", ""] = refill
    values |= {(TANKS, "metered", "", of): one for of, one in zip(positions, metered, strict=True)}
    return judged(job_view(vessel, values))


@pytest.mark.parametrize(
    ("refill", "metered", "contradicts"),
    [
        ("0.5 gal", "30.7 gal", True),
        ("9.9 gal", "30.7 gal", True),
        ("8 gal", "5 gal", True),
        ("5 gal", "6.5 gal", False),
    ],
)
def test_a_refill_too_small_to_check_a_meter_may_still_contradict_it(
    refill: str, metered: str, contradicts: bool
) -> None:
    """Two fillings may be 0.7 gal off together: 5 gal and 6.5 of a meter that reads a fifth high go together."""
    found = refilled(refill, metered)
    for name in ("best_cruise", "range", "mixed_use"):
        assert [one.lack for one in found[name].missing] == ([Lack.CONTRADICTS] if contradicts else []), name
    assert (found["curve"].code == "fuel_curve.curve.refill_contradicts") is contradicts
    assert [one.lack for one in found["flow_meter"].missing] == ([] if contradicts else [Lack.TOO_LITTLE])


@pytest.mark.parametrize(("refill", "verdict"), [("300 gal", Verdict.ADVISE), ("190 gal", Verdict.PASS)])
def test_more_fuel_put_back_than_the_tanks_hold_carries_no_figure(refill: str, verdict: Verdict) -> None:
    tank = Tank(name="main", capacity=Amount.parse("188 gal"))
    vessel = Vessel(hull_number="XYZ00001A626", engines=SINGLE.engines, tanks=(tank,))
    found = refilled(refill, refill, vessel=vessel)
    assert (found["flow_meter"].verdict, found["curve"].verdict) == (verdict, verdict)
    assert (found["best_cruise"].verdict is Verdict.PASS) is (verdict is Verdict.PASS)


@pytest.mark.parametrize(
    ("port", "starboard", "doubted"),
    [("29 gal", "1.5 gal", True), ("16 gal", "14.5 gal", False), ("18 gal", "12 gal", False)],
)
def test_meters_of_twins_that_split_the_fuel_unlike_the_steps_are_doubted(
    port: str, starboard: str, doubted: bool
) -> None:
    found = refilled("30.5 gal", port, starboard, vessel=TWINS)
    assert ("against_others" in found) is doubted
    for name in ("best_cruise", "range", "curve", "flow_meter"):
        assert (found[name].verdict is Verdict.PASS) is not doubted, name


TRIPLE = boat(3, rated_power=Amount.parse("150 hp"), rated_speed=Amount.parse("6000 rev/min"))
RESTING_ON_FLOW = ("best_cruise", "planing_hump", "range", "mixed_use")


def metered(vessel: Vessel, of_centre: float, refill: str, *totals: str) -> dict[str, Finding]:
    """Alike engines, but for the flow of the middle or last one in each step; a refill; meters' totals where given."""
    positions = [engine.position for engine in vessel.engines]
    values: Values = {**typed(PLANING, len(positions)), **USABLE, (TANKS, "same_mark", "", ""): True}
    for row, (_, _, flow) in enumerate(PLANING, 1):
        values[STEPS, "fuel_flow", str(row), positions[1]] = f"{of_centre * flow / len(positions):.2f} gal/h"
    values[TANKS, "refilled", "", ""] = refill
    values |= {(TANKS, "metered", "", of): one for of, one in zip(positions, totals, strict=False)}
    return judged(job_view(vessel, values))


@pytest.mark.parametrize("of_centre", [0.75, 0.87, 1.2])
@pytest.mark.parametrize("totals", [(), ("20.8 gal", "20.8 gal", "20.8 gal")])
def test_a_flow_meter_unlike_the_others_is_doubted_and_no_economy_rests_on_it(
    of_centre: float, totals: tuple[str, ...]
) -> None:
    found = metered(TRIPLE, of_centre, "63.1 gal", *totals)
    assert {(one.field, one.of) for one in found["curve"].doubts} == {("fuel_flow", "centre")}
    assert {found[name].verdict for name in RESTING_ON_FLOW} == {Verdict.ADVISE}
    if totals:  # the refill agrees with them, whatever the steps show
        assert found["flow_meter"].verdict is Verdict.PASS


@pytest.mark.parametrize(
    ("vessel", "of_centre", "totals"),
    [
        (TWINS, 1.03, ("30.0 gal", "30.9 gal")),
        (TWINS, 1.03, ()),
        (TRIPLE, 1.0, ("20.8 gal", "20.8 gal", "20.8 gal")),
        (TRIPLE, 0.97, ("20.8 gal", "20.1 gal", "20.8 gal")),
        (TRIPLE, 1.0, ("24.0 gal", "18.0 gal", "20.4 gal")),  # one ran alone for a while; the refill agrees
    ],
)
def test_engines_and_meters_that_differ_as_they_do_are_not_doubted(
    vessel: Vessel, of_centre: float, totals: tuple[str, ...]
) -> None:
    together = sum(float(one.removesuffix(" gal")) for one in totals) or 60.0
    found = metered(vessel, of_centre, f"{1.01 * together:.1f} gal", *totals)
    assert {found[name].verdict for name in (*RESTING_ON_FLOW, "curve")} == {Verdict.PASS}
    assert not any(one.doubts for one in found.values())


def test_a_refill_bears_out_twins_that_burn_unlike_each_other_by_their_meters_too() -> None:
    """The sum is right then, whichever of them burns more."""
    found = metered(TWINS, 1.25, "45.4 gal", "20.0 gal", "25.0 gal")
    assert (found["curve"].code, found["curve"].doubts) == ("fuel_curve.curve.twins_differ", ())
    assert found["range"].verdict is Verdict.PASS
    off = metered(TWINS, 0.8, "40.0 gal", "20.0 gal", "16.0 gal")["flow_meter"]
    assert (off.code, off.verdict) == ("fuel_curve.flow_meter.meters_differ", Verdict.ADVISE)
    assert [one.name for one in off.numbers] == ["refill over meter"]


def test_unequal_propellers_are_no_reason_to_doubt_the_flows() -> None:
    port, starboard = TWINS.engines
    pitched = [Propeller(pitch=Amount.parse(pitch)) for pitch in ("17 in", "21 in")]
    engines = tuple(attrs.evolve(one, propeller=of) for one, of in zip((port, starboard), pitched, strict=True))
    found = metered(attrs.evolve(TWINS, engines=engines), 1.2, "60 gal")
    assert (found["curve"].code, found["curve"].doubts) == ("fuel_curve.curve.twins_differ", ())


def test_a_meter_total_unlike_the_others_gives_no_factor() -> None:
    found = metered(TRIPLE, 1.0, "63.1 gal", "20.8 gal", "15.2 gal", "20.8 gal")
    said = found["flow_meter"]
    assert (said.code, said.verdict) == ("fuel_curve.flow_meter.meters_disagree", Verdict.ADVISE)
    assert [(one.field, one.of) for one in said.doubts] == [("metered", "centre")]
    assert [one.name for one in said.numbers] == ["refill over meter"]
    assert found["range"].verdict is Verdict.ADVISE
    assert "corrected by the refill" not in found["curve"].sentence


def test_a_factor_for_several_meters_names_them() -> None:
    found = metered(TRIPLE, 1.0, "63.1 gal", "18.8 gal", "18.9 gal", "18.8 gal")
    assert found["flow_meter"].code == "fuel_curve.flow_meter.set_factor"
    assert "Set the factor of the port, centre and starboard meters to 1.117" in found["flow_meter"].sentence
    assert "corrected by the refill (x 1.117)" in found["curve"].sentence


@pytest.mark.parametrize("wrong", [0.5, 1.0])
def test_the_owner_is_told_that_the_readings_are_in_doubt(wrong: float) -> None:
    view = job_view(SINGLE, {**typed(scaled(wrong)), **USABLE, **runs()})
    blocks = FUEL_SECTION.build(view, HOST.assess(view))
    told = any(isinstance(block, str) and "Do not plan on them" in block for block in blocks)
    assert (told, isinstance(blocks[0], Number)) == ((True, False) if wrong < 1 else (False, True))


@pytest.mark.parametrize(("times", "field"), [((1.0, 1.0), ""), ((0.8, 1.0), "speed_out"), ((1.0, 1.3), "fuel_flow")])
def test_a_row_typed_beside_a_recording_that_gives_the_curve_is_held_against_it(
    times: tuple[float, float], field: str
) -> None:
    engine_speed, speed, flow = PLANING[7]
    values = {**typed([(engine_speed, speed * times[0], flow * times[1])]), **USABLE}
    values[STEPS, "recording", "", ""] = {"file": "run.log"}
    found = judged(job_view(SINGLE, values, recordings={"run.log": gather("run.log", recorded(PLANING))}))
    said = found.get("against_others")
    assert (said is not None) == bool(field)
    assert (found["range"].verdict is Verdict.PASS) == (not field)
    if said:
        assert said.code == "fuel_curve.against_others.typed_and_recorded"
        assert {(one.field, one.row) for one in said.doubts} == {(field, "1"), ("recording", "")}
