"""Jobs nobody would enter on purpose: every calculator answers, and none crashes."""

from typing import Any

import attrs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.fields import check_value
from garboard.findings import NotEnoughData, Verdict
from garboard.job_files.job_file import JobFile, check
from garboard.job_view import Disagreement, JobView, place_of
from garboard.records import Engine, Job, Measurement, Propeller, Vessel
from garboard.samples import Recording
from garboard.steps import Field, Kind
from garboard.units import UNITS_OF, Amount
from garboard_prop_check.weight_and_power import unlikely_weight
from prop_check_jobs import (
    CAPACITY,
    CONDITIONS,
    GOOD_CONDITIONS,
    PROPELLER,
    RUNS,
    host,
    job,
    recorded,
    two_ways,
    vessel,
)

HOST = host()
TEXTS = ("0", "-1", "0.0001", "1", "2", "7.5", "19", "26", "150", "1013", "5800", "99999", "9" * 120, "9" * 400)


def amounts(quantity: str) -> st.SearchStrategy[Amount | None]:
    made = st.builds(Amount, st.sampled_from(TEXTS), st.sampled_from(UNITS_OF[quantity]))
    return st.none() | made


def values(field: Field) -> st.SearchStrategy[Any]:
    if field.kind is Kind.AMOUNT:
        return amounts(field.quantity).map(lambda amount: None if amount is None else str(amount))
    if field.kind is Kind.CHOICE:
        return st.sampled_from((*field.choices, "", "something else"))
    if field.kind is Kind.YES_NO:
        return st.sampled_from((True, False, None))
    if field.kind is Kind.RECORDING:
        return st.sampled_from((None, {"file": "trial"}, {"file": "lost"}, {}, "trial"))
    return st.sampled_from((None, 0, 2, -3, 10**9))


GOOD: dict[str, Any] = {
    **GOOD_CONDITIONS,
    "label_read": True,
    "stamp_read": True,
    "nut_secured": True,
    "blades_sound": True,
    "speed": "38.2 kn",
    "engine_speed": "5300 rev/min",
}


def mostly(draw: st.DrawFn, good: Any, odd: st.SearchStrategy[Any]) -> Any:
    """A good value nineteen times out of twenty, so that odd ones get past the first check."""
    return good if draw(st.integers(0, 19)) != 13 else draw(odd)


@st.composite
def odd_vessels(draw: st.DrawFn) -> Vessel:
    good = vessel(draw(st.sampled_from((0, 1, 2, 3))), displacement_as_run="6000 lb", plate_power="200 hp", **SMALL)
    return attrs.evolve(
        good,
        engines=tuple(odd_engine(draw, engine) for engine in good.engines),
        hull_form=mostly(draw, "planing", st.sampled_from(("", "flat bottom hard chine", "displacement", "multihull"))),
        steering=mostly(draw, "remote", st.sampled_from(("", "tiller"))),
        plate_power=mostly(draw, good.plate_power, amounts("power")),
        displacement_as_run=mostly(draw, good.displacement_as_run, amounts("weight")),
        **{
            name: mostly(draw, getattr(good, name), amounts("length"))
            for name in ("length", "transom_width", "transom_height")
        },
    )


SMALL: dict[str, Any] = {"length": "19 ft", "transom_width": "7 ft", "transom_height": "20 in"}


def odd_engine(draw: st.DrawFn, good: Engine) -> Engine:
    fields = {
        "rated_power": "power",
        "full_throttle_low": "engine speed",
        "full_throttle_high": "engine speed",
        "limiter_speed": "engine speed",
        "gear_ratio": "number",
    }
    return attrs.evolve(
        good,
        propeller=mostly(draw, good.propeller, st.none() | st.builds(Propeller, pitch=amounts("length"))),
        network_instance=draw(st.none() | st.integers(0, 3)),
        hours=draw(st.none() | st.just(Amount("3.2", "h"))),
        **{field: mostly(draw, getattr(good, field), amounts(quantity)) for field, quantity in fields.items()},
    )


@st.composite
def odd_jobs(draw: st.DrawFn) -> JobView:
    boat = draw(odd_vessels())
    measurements: list[Measurement] = []
    rows = ("1", "2", "3")[: draw(st.sampled_from((3, 2, 1, 0)))]
    for step in HOST.steps:
        for field in step.all_fields():
            if field.kind is Kind.TABLE:
                continue
            in_table = step.key == RUNS and field.name != "all_runs"
            for row in rows if in_table else ("",):
                for of in tuple(engine.position for engine in boat.engines) if field.each else ("",):
                    good = ("with", "against")[row == "2"] if field.name == "direction" else GOOD.get(field.name)
                    value = mostly(draw, good, values(field))
                    measurements.append(Measurement(step=step.key, field=field.name, row=row, of=of, value=value))
    disputed = draw(st.sets(st.integers(0, 200), max_size=2))
    return JobView(
        vessel=boat,
        job=Job(id="J1"),
        measurements=tuple(m for n, m in enumerate(measurements) if n not in disputed and m.value is not None),
        disagreements=tuple(Disagreement(place_of(m), (m, m)) for n, m in enumerate(measurements) if n in disputed),
        load_recording=load,
        settings=draw(st.sampled_from(({}, {}, {"prop_check.break_in": "10 h"}))),
    )


TRIAL = recorded([(10, 41, 10, (5800, 5790)), (10, 39, 190, (5800, 5790))])


def load(reference: str) -> Recording:
    if reference == "trial":
        return TRIAL
    raise NotEnoughData(f"recording {reference!r} is not here")


@settings(
    max_examples=examples(150), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(odd_jobs())
def test_no_odd_job_stops_a_calculator(view: JobView) -> None:
    """Missing, zero, negative, huge and disputed values give findings with a basis, or say what is missing."""
    for assessed in HOST.assess(view):
        finding = assessed.finding
        assert finding.basis
        assert "failed in" not in finding.sentence, finding.sentence
        if finding.verdict is Verdict.NOT_ENOUGH_DATA:
            assert finding.sentence.startswith("Not enough data: ")
    view = HOST.with_defaults(view)
    for section in HOST.report_sections:
        section.build(view, HOST.assess(view))
    guide = HOST.live_guides["prop_check.full_throttle"]
    assert guide.show(guide.begin(view)).word


def test_a_rev_limiter_that_no_engine_has_is_not_drawn() -> None:
    boat = vessel(1)
    limited = tuple(attrs.evolve(one, limiter_speed=Amount("9" * 400, "rev/min")) for one in boat.engines)
    found = HOST.assess(job(attrs.evolve(boat, engines=limited), two_ways(boat)))
    assert [one.finding.sentence for one in found if "failed in" in one.finding.sentence] == []
    drawn = [band.name for one in found for figure in one.finding.figures for band in figure.bands]
    assert "aim" in drawn
    assert "rev limiter" not in drawn


@pytest.mark.parametrize("length", ["9" * 400, "9" * 120, "0." + "0" * 107 + "1"])
def test_a_length_that_no_boat_has_fails_no_check_of_the_weight(length: str) -> None:
    boat = attrs.evolve(vessel(1), length=Amount(length, "ft"), displacement_as_run=Amount("6000", "lb"))
    assert unlikely_weight(boat) == ""
    found = HOST.assess(job(boat, two_ways(boat)))
    assert [one.finding.sentence for one in found if "failed in" in one.finding.sentence] == []


def test_the_fields_take_what_the_tests_enter() -> None:
    """A complete job has no fault against the declared steps, so the tests speak the language of the tablet."""
    boat = vessel(2)
    more: dict[Any, Any] = {
        (CAPACITY, "label_read", "", ""): True,
        (CONDITIONS, "hull_kind", "", ""): "race boat",
        (RUNS, "all_runs", "", ""): {"file": "trial"},
        **{(PROPELLER, f, "", p): True for f in ("stamp_read", "nut_secured", "blades_sound") for p in ("port",)},
    }
    runs = [{**run, "course": "10 deg", "recording": {"file": "trial"}} for run in two_ways(boat)]
    view = job(boat, runs, more=more)
    assert check(JobFile(vessel=view.vessel, job=view.job, measurements=view.measurements), HOST) == ()


def test_every_default_of_a_setting_is_one_the_shop_could_enter() -> None:
    """Defaults lie inside the ranges they are held to."""
    assert HOST.settings
    for setting in HOST.settings:
        check_value(setting.field, setting.default)


def test_odd_jobs_reach_every_verdict() -> None:
    """The jobs drawn above are odd, not hopeless: calculators get past their first check."""

    @settings(max_examples=100, deadline=None, database=None, derandomize=True)
    @given(odd_jobs())
    def collect(view: JobView) -> None:
        reached.update((a.calculator, a.finding.verdict) for a in HOST.assess(view))

    reached: set[tuple[str, Verdict]] = set()
    collect()
    assert {calculator for calculator, verdict in reached if verdict is not Verdict.NOT_ENOUGH_DATA} == {
        calculator.key for calculator in HOST.calculators
    } - {"prop_check.forecast"}, "of a forecast that was kept, which test_prop_check_foreseen holds against runs"
    assert {verdict for _, verdict in reached} == set(Verdict)
