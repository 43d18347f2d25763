"""What programs read of findings: every code is listed, and every missing thing has a kind and a place.

The sample jobs as they stand, with each value struck in turn, with values altered, struck and in dispute at random,
and the jobs of the demo's day.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

import small_plugin
from altered_jobs import SAMPLES, findings_of_altered, sample_views
from examples import examples
from garboard.demo.demo_day import make_day
from garboard.findings import Basis, BasisKind, Finding, Lack, Limit, Missing, NotEnoughData, Number, Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.judging.assessing import assess_path
from garboard.records import EQUIPMENT, Vessel
from garboard.steps import Assessed


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


def _everything(host: PluginHost, demo: Path) -> Iterator[Assessed]:
    for _, found in findings_of_altered():
        yield from found
    for view in sample_views(host):
        yield from host.assess(attrs.evolve(view, measurements=(), vessel=Vessel(hull_number="QQZ00001A626")))
    jobs = {path.parent.name: path for path in SAMPLES}
    day = make_day(jobs, demo)
    for folder in (*day.tablets, day.shop):
        for job in assess_path(folder, host):
            assert not isinstance(job, Exception)
            yield from job.assessed


@pytest.fixture(scope="module")
def everything(host: PluginHost, tmp_path_factory: pytest.TempPathFactory) -> tuple[Assessed, ...]:
    found = tuple(_everything(host, tmp_path_factory.mktemp("day")))
    findings_of_altered.cache_clear()
    assert len(found) > examples(30_000)
    return found


def test_every_code_that_comes_out_is_listed(host: PluginHost, everything: tuple[Assessed, ...]) -> None:
    seen = {one.finding.code for one in everything}
    assert len(seen) > 120
    assert seen - host.codes() == set()
    assert {
        one.finding.sentence for one in everything if one.finding.code.rpartition(".")[2] == "plugin_failed"
    } == set()


WITHOUT_A_KIND: dict[str, str] = {}
"""Calculators that may still lack something of no kind or of no step, each with its reason. None is left."""


def test_every_missing_thing_has_a_kind_and_a_place(host: PluginHost, everything: tuple[Assessed, ...]) -> None:
    kinds, faults = set(), {}
    for one in everything:
        for item in one.finding.missing:
            kinds.add(item.lack)
            if one.calculator not in WITHOUT_A_KIND and (fault := _without_a_place(host, item)):
                faults[one.calculator, item.text] = fault
    assert faults == {}
    assert len(kinds) >= 8


def _without_a_place(host: PluginHost, item: Missing) -> str:
    """What is wrong with a missing thing as data; empty where nothing is."""
    step = host.step(item.step)
    if item.lack is Lack.OTHER:
        return "no kind"
    if step is None:
        return f"no step {item.step!r}"
    names = {field.name for field in step.all_fields()}
    if item.field and item.field not in names and not _is_a_fact_of_the_vessel(item.field):
        return f"no field {item.field!r} in {item.step}"
    return ""


def _is_a_fact_of_the_vessel(field: str) -> bool:
    """Whether a name is a record and its keys, such as "engines.rated_power"."""
    first, _, rest = field.partition(".")
    attrs.resolve_types(Vessel)
    known: type[attrs.AttrsInstance] = Vessel
    for name in (first, *filter(None, rest.split("."))):
        fields = attrs.fields_dict(known)
        if name not in fields:
            return False
        inner = next((one for one in _records_in(fields[name].type) if attrs.has(one)), None)
        known = inner or known
    return True


def _records_in(annotation: object) -> Iterator[type]:
    if isinstance(annotation, type):
        yield annotation
    for inner in getattr(annotation, "__args__", ()):
        yield from _records_in(inner)


def test_the_search_for_places_finds_what_it_looks_for(host: PluginHost) -> None:
    keys = ("engines.rated_power", "plate_power", "networks.devices.drop_length", "engines.propeller.pitch")
    for good in (*keys, *EQUIPMENT):
        assert _is_a_fact_of_the_vessel(good), good
    for bad in ("rated_power", "engines.speed", "networks.devices.pitch"):
        assert not _is_a_fact_of_the_vessel(bad), bad
    place = Missing("rest voltage", lack=Lack.NOT_ENTERED, step="wiring_audit.batteries", field="rest_voltage")
    assert _without_a_place(host, place) == ""
    assert _without_a_place(host, attrs.evolve(place, lack=Lack.OTHER)) == "no kind"
    assert _without_a_place(host, attrs.evolve(place, step="")) == "no step ''"
    assert _without_a_place(host, attrs.evolve(place, field="volts")) == "no field 'volts' in wiring_audit.batteries"


def test_a_shops_own_plugin_has_its_codes_listed_too(tmp_path: Path) -> None:
    """Codes the host makes where the plugin gives none, under whatever name the plugin's file has."""
    own = make_host([], entry_points=False, modules={"our_checks": small_plugin.small_module()})
    seen = {one.finding.code for one in own.assess(small_plugin.small_view(tmp_path))}
    assert seen == {"small.run.advise", "small.run.pass", "small.horn.fail"}
    assert seen - own.codes() == set()
    assert {f"small.steady.{verdict.name.lower()}" for verdict in Verdict} - own.codes() == set()


CODED = """
from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, Missing, NotEnoughData, Lack, Verdict
from garboard.steps import Calculator

BASIS = (Basis(BasisKind.SHOP_RULE, "ours"),)

def loud(view):
    yield Finding(code="ours.horn.loud", verdict=Verdict.PASS, about="horn", sentence="Loud.", basis=BASIS)

def wet(view):
    raise NotEnoughData("horn is away", Missing("dock is wet", lack=Lack.UNSUITABLE, step="ours.dock"))

@hookimpl
def register_calculators(register):
    register(Calculator(key="ours.horn", title="Horn", step="ours.yard", compute=loud, basis=BASIS, order=1))
    register(Calculator(key="ours.dock", title="Dock", step="ours.yard", compute=wet, basis=BASIS, order=2))
"""


def test_codes_of_a_file_that_is_not_called_as_its_keys_begin_are_listed(tmp_path: Path) -> None:
    file = tmp_path / "winter_checks.py"
    file.write_text(CODED, encoding="utf-8")
    own = make_host([], entry_points=False, files=[file])
    assert "ours.horn.loud" in own.codes()


def test_the_host_fills_in_the_step_a_plugin_leaves_open(tmp_path: Path) -> None:
    file = tmp_path / "winter_checks.py"
    file.write_text(CODED, encoding="utf-8")
    own = make_host([], entry_points=False, files=[file])
    (_, lacking) = own.assess(small_plugin.small_view(tmp_path))
    found = [(item.text, item.lack, item.step) for item in lacking.finding.missing]
    assert found == [("horn is away", Lack.OTHER, "ours.yard"), ("dock is wet", Lack.UNSUITABLE, "ours.dock")]


def test_a_reason_given_as_text_takes_the_kind_and_place_beside_it(tmp_path: Path) -> None:
    place = {"step": "ours.dock", "field": "depth", "row": "2", "of": "port"}
    expected = Missing("too shallow", lack=Lack.UNSUITABLE, **place)
    assert NotEnoughData("too shallow", lack=Lack.UNSUITABLE, **place).missing == (expected,)
    asking = small_plugin.small_view(tmp_path).asking()
    asking.need(False, "too shallow", lack=Lack.UNSUITABLE, **place)
    asking.need(True, "too deep")
    asking.known(None, "hp", "power", field="engines.rated_power", of="port")
    power = Missing("power is not entered", lack=Lack.NOT_ENTERED, field="engines.rated_power", of="port")
    assert asking.missing == [expected, power]


POINTS_OR_NUMBERS = {"engine_trial.controls_under_way.failed", "engine_trial.flotation.lacking"}
"""Said of points, with no number, or of a number with its limit: `--long` has jobs of both."""

COMPARES_NO_NUMBER = {
    "a point is tried, read or looked at: yes or no": (
        "engine_trial.after.failed",
        "engine_trial.after.in_order",
        "engine_trial.as_rigged.failed",
        "engine_trial.as_rigged.in_order",
        "engine_trial.controls_under_way.in_order",
        "engine_trial.data.failed",
        "engine_trial.data.in_order",
        "engine_trial.first_start.cut_off_dead",
        "engine_trial.first_start.failed",
        "engine_trial.first_start.in_order",
        "engine_trial.first_start.starts_in_gear",
        "engine_trial.fit_out.failed",
        "engine_trial.fit_out.in_order",
        "engine_trial.under_load.failed",
        "engine_trial.under_load.in_order",
        "handover.check.failed",
        "handover.check.fuel_leaks",
        "handover.check.in_order",
        "handover.check.vapour_found",
        "handover.radio_identity.faulty",
        "handover.radio_identity.one_identity",
        "heading_calibration.location.badly_mounted",
        "heading_calibration.location.moved_by_load",
        "heading_calibration.steady_turn.refused",
        "prop_check.propeller.as_entered",
        "prop_check.propeller.not_ready",
        "wiring_audit.battery_installation.faulty",
        "wiring_audit.battery_installation.in_order",  # a main fuse nobody measured
        "wiring_audit.network_supply.not_start_battery",
        "wiring_audit.terminations.faulty",
        "wiring_audit.terminations.passed",
    ),
    "a fault is open, or none is": (
        "handover.punch_list.nothing_open",
        "handover.punch_list.not_put_right",
        "handover.punch_list.try_again",
    ),
    "a result is given, and held against nothing": (
        "engine_trial.break_in.band",
        "engine_trial.calendar.complete",
        "engine_trial.planing.noted",
        "engine_trial.records.filed",
        "engine_trial.window.entered",
        "fuel_curve.best_cruise.planing",
        "fuel_curve.planing_hump.found",
        "fuel_curve.range.reckoned",
        "prop_check.speed.measured",
        "wiring_audit.load_sum.listed",  # with no load measured
    ),
    "many pieces pass, each by a number of its own, which the table shows": (
        "fuel_curve.curve.in_order",
        "prop_check.pitch.keep",
        "wiring_audit.ampacity.passed",
        "wiring_audit.drop_calculated.passed",
        "wiring_audit.drop_measured.passed",
        "wiring_audit.minimum_size.passed",
        "wiring_audit.overcurrent_distance.passed",
        "wiring_audit.overcurrent_rating.passed",
    ),
    "another finding holds the engine speed as run against the window": ("prop_check.reference_air.out_as_run",),
}
"""Why a finding that passes or fails may name no limit, with the codes of those findings."""

WITHOUT_ITS_AIR = {"prop_check.reference_air.as_run"}
"""Names a limit where the engine speed in reference air could be worked out; else the window's finding does."""

BENEFIT_OF_DOUBT = {
    "prop_check.slip.usual",
    "prop_check.crouch.believable",
    "prop_check.reference_air.as_run",
    "wiring_audit.load_sum.listed",
}
"""Findings that pass until the number is surely beyond its limit."""


def test_a_verdict_that_compares_a_number_names_the_limit(host: PluginHost, everything: tuple[Assessed, ...]) -> None:
    excused = {code for codes in COMPARES_NO_NUMBER.values() for code in codes}
    found = [one.finding for one in everything if one.finding.verdict in (Verdict.PASS, Verdict.FAIL)]
    bare = {finding.code for finding in found if not finding.limits}
    assert bare - excused - WITHOUT_ITS_AIR - POINTS_OR_NUMBERS == set()
    with_limit = {finding.code for finding in found if finding.limits}
    assert (excused & with_limit) - bare == set(), "these name a limit by now: take them out of the list"
    assert excused - host.codes() == set(), "these are no codes by now: take them out of the list"
    assert len(with_limit) > 40


def test_no_verdict_contradicts_its_limit(everything: tuple[Assessed, ...]) -> None:
    contradicted = {
        one.finding.code: (one.finding.verdict, one.finding.bounded)
        for one in everything
        if one.finding.limits and _contradicts_its_limit(one.finding)
    }
    assert contradicted == {}


def _contradicts_its_limit(finding: Finding) -> bool:
    if finding.verdict is Verdict.FAIL:
        return all(limit.holds(number.value, number.expanded_uncertainty or 0) for number, limit in finding.bounded)
    if finding.verdict is not Verdict.PASS:
        return False
    doubted = finding.code in BENEFIT_OF_DOUBT
    return not all(
        limit.reaches(number.value, (number.expanded_uncertainty or 0) if doubted else 0)
        for number, limit in finding.bounded
    )


@pytest.mark.parametrize(
    ("verdict", "value", "contradicts"),
    [(Verdict.PASS, 2.9, False), (Verdict.PASS, 3.1, True), (Verdict.FAIL, 2.5, True), (Verdict.FAIL, 2.9, False)],
)
def test_a_contradiction_is_seen(verdict: Verdict, value: float, contradicts: bool) -> None:
    basis = (Basis(BasisKind.COMMON_PRACTICE, "a rule"),)
    number, limit = Number("drop", value, "%", 0.2), Limit("drop", high=3.0)
    finding = Finding(verdict=verdict, about="a", sentence="b", basis=basis, numbers=(number,), limits=(limit,))
    assert _contradicts_its_limit(finding) is contradicts
