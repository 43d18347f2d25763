"""A basis that quotes a figure quotes the one in force, and is a rule of the shop once that is not the default."""

import re
from collections.abc import Callable

import attrs
import pytest

from garboard.findings import Basis, BasisKind
from garboard.hosting.host import make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.settings import basis_used
from garboard_fuel_curve.steps import efficiency_basis
from garboard_heading_calibration.settings import circles_basis, clearance_basis, deviation_basis
from garboard_prop_check.settings import engine_difference_basis, per_inch_basis
from garboard_wiring_audit.rules import charge_basis, usable_basis
from setting_jobs import SAMPLES

HOST = make_host(entry_points=False)
DECLARED = {setting.key: setting for setting in HOST.settings}
JOBS = [path for path in SAMPLES if path.name == "job.json"]


def bases(settings: dict[str, JsonValue]) -> set[Basis]:
    jobs = (view_of(read_job_file(path), path.parent) for path in JOBS)
    views: list[JobView] = [attrs.evolve(job, settings=settings, settings_set=(), sign_offs=()) for job in jobs]
    return {basis for view in views for one in HOST.assess(view) for basis in one.finding.basis}


@pytest.mark.parametrize(
    ("settings", "default", "in_force"),
    [
        (
            {"heading_calibration.band_low": "2.5 deg/s", "heading_calibration.band_high": "4 deg/s"},
            "at 2 to 3 degrees a second",
            "slow, even circles at 2.5 to 4 degrees a second in calm water",
        ),
        (
            {"prop_check.per_inch_low": "100 rev/min", "prop_check.per_inch_high": "250 rev/min"},
            "150 to 200 rev/min for each inch",
            "100 to 250 rev/min for each inch of pitch",
        ),
        ({"heading_calibration.deviation_limit": "4 deg"}, "above 5 degrees", "above 4 degrees of deviation"),
        ({"heading_calibration.clearance": "2 m"}, "a metre or more", "2 m or more from anything magnetic"),
        ({"wiring_audit.charge_least": "95 %"}, "three quarters", "handed over at 95 % of its charge"),
        ({"prop_check.engine_difference": "60 rev/min"}, "about 100 rev/min", "within 60 rev/min of each other"),
    ],
)
def test_the_basis_says_the_value_that_is_used(settings: dict[str, JsonValue], default: str, in_force: str) -> None:
    before, after = bases({}), bases(settings)
    usual = [basis for basis in before if default in basis.text]
    assert usual, "no sample rests on it"
    assert all(basis.kind is BasisKind.COMMON_PRACTICE for basis in usual)
    rested = [basis for basis in after if in_force in basis.text]
    assert rested
    assert all(basis.kind is BasisKind.SHOP_RULE for basis in rested)


@pytest.mark.parametrize(
    ("make", "values"),
    [
        (circles_basis, (2.0, 3.0)),
        (per_inch_basis, (150.0, 200.0)),
        (deviation_basis, (5.0,)),
        (clearance_basis, (1.0,)),
        (charge_basis, (75.0,)),
        (engine_difference_basis, (100.0,)),
        (lambda percent: usable_basis("usable_lead", percent), (50.0,)),
        (lambda percent: efficiency_basis("diesel", percent), (45.0,)),
    ],
)
def test_only_another_value_is_a_rule_of_the_shop(make: Callable[..., Basis], values: tuple[float, ...]) -> None:
    assert make(*values).kind is not BasisKind.SHOP_RULE
    others = [value + 1 for value in values]
    assert make(*others).kind is BasisKind.SHOP_RULE
    assert [float(figure) for figure in re.findall(r"[0-9.]*[0-9]", make(*others).text)] == others


def test_a_basis_used_keeps_the_note_of_the_default() -> None:
    setting = DECLARED["heading_calibration.clearance"]
    assert basis_used("2 m", (setting, 2.0)) == Basis(BasisKind.SHOP_RULE, "2 m", setting.basis.note)
    assert basis_used("1 m", (setting, 1.0)) is setting.basis
