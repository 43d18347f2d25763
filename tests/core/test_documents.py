"""What README.md and DEVELOPERS.md show works as shown."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from builders import boat, job_view
from garboard.findings import Verdict
from garboard.host import make_host
from garboard.job_file import check, parse_job_file, view_of
from garboard.job_view import Place
from garboard.records import JsonValue

ROOT = Path(__file__).parents[2]


def _block(document: str, marker: str) -> str:
    text = (ROOT / document).read_text(encoding="utf-8")
    found = re.search(rf"<!-- {marker} -->\n```\w+\n(.*?)```", text, re.S)
    assert found, f"{document} has no block marked {marker!r}"
    return found[1]


def test_the_job_file_in_the_readme_is_judged_without_a_fault() -> None:
    job_file = parse_job_file(_block("README.md", "job file"), "README.md")
    host = make_host()
    assert check(job_file, host) == ()
    findings = {
        one.title: one.finding for one in host.assess(view_of(job_file, ROOT)) if one.step.startswith("prop_check")
    }
    # By hand: (33.9 + 33.1) / 2 = 33.5 kn; 5615 / 2.08 x 17 x 60 / 72913.386 = 37.76 kn; 1 - 33.5 / 37.76 = 11.3 %.
    slip = next(number for f in findings.values() for number in f.numbers if number.name == "slip")
    assert slip.value == pytest.approx(11.3, abs=0.05)


@pytest.mark.parametrize(
    ("dry", "verdict"), [(True, Verdict.PASS), (False, Verdict.FAIL), (None, Verdict.NOT_ENOUGH_DATA)]
)
def test_the_shop_plugin_in_the_developers_page_loads_and_judges(
    tmp_path: Path, dry: bool | None, verdict: Verdict
) -> None:
    file = tmp_path / "my_checks.py"
    file.write_text(_block("DEVELOPERS.md", "plugin example"))
    host = make_host((), entry_points=False, files=[file])
    assert host.problems == []
    values: dict[Place, JsonValue] = {} if dry is None else {("my_checks.afloat", "dry", "", ""): dry}
    (assessed,) = host.assess(job_view(boat(), values))
    assert assessed.finding.verdict is verdict


def test_the_readme_says_the_job_first_and_names_its_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert text.split("\n\n")[1].startswith("A rigging technician")
    assert "garboard demo" in text
    assert ".ci/check" in _block("README.md", "test command")


def test_every_plugin_that_ships_stands_inside_the_import_walls() -> None:
    import tomllib

    from garboard.host import BUILT_IN

    walls = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
    assert set(BUILT_IN) <= set(walls["root_packages"])
    assert all(
        set(BUILT_IN) <= set(contract.get("modules", contract.get("forbidden_modules")))
        for contract in walls["contracts"][:2]
    )
