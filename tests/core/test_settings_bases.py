"""Where a setting's default comes from is said truly: a rule of the shop is one somebody there set."""

from garboard.findings import BasisKind
from garboard.hosting.host import make_host
from garboard.job_files.job_file import read_job_file, view_of
from setting_jobs import SAMPLES

HOST = make_host(entry_points=False)


def test_no_default_is_called_a_rule_of_the_shop() -> None:
    called = [setting.key for setting in HOST.settings if setting.basis.kind is BasisKind.SHOP_RULE]
    assert called == []
    assert [setting.key for setting in HOST.settings if "set by the shop" in str(setting.basis)] == []


def test_no_finding_rests_on_a_rule_of_the_shop_where_it_set_nothing() -> None:
    jobs = [view_of(read_job_file(path), path.parent) for path in SAMPLES if path.name == "job.json"]
    found = [one for job in jobs if not job.settings for one in HOST.assess(job)]
    assert found
    assert [one.finding.code for one in found for basis in one.finding.basis if basis.kind is BasisKind.SHOP_RULE] == []


def test_each_setting_has_a_basis_of_its_own() -> None:
    """One about throttle steps is no source of a fuel reserve: those that share a basis are of one unit."""
    units: dict[str, set[str]] = {}
    for setting in HOST.settings:
        units.setdefault(str(setting.basis), set()).add(setting.field.unit)
    assert {basis: found for basis, found in units.items() if len(found) > 1} == {}
