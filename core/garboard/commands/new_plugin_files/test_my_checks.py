"""The tests of my_checks. Type `pytest` here: the fixtures come with garboard."""

from __future__ import annotations

from pathlib import Path

from garboard.testing import Judge, PluginHost, as_data, job_from, judge

WATER, FOUND = "my_checks.afloat/water", "my_checks.afloat/found"
BILGE = "my_checks.bilge"


def test_the_water_decides(garboard_judge: Judge) -> None:
    for water, found, verdict in [("5 mm", False, "pass"), ("6 mm", True, "advise"), ("6 mm", False, "fail")]:
        (finding,) = garboard_judge(BILGE, {WATER: water, FOUND: found})
        assert (finding["verdict"], finding["code"]) == (verdict, f"my_checks.bilge.{verdict}")


def test_what_is_missing_is_named(garboard_judge: Judge) -> None:
    (finding,) = garboard_judge(BILGE, {FOUND: False})
    assert (finding["verdict"], [one["field"] for one in finding["missing"]]) == ("not enough data", ["water"])


def test_the_shop_may_allow_more(garboard_judge: Judge) -> None:
    (finding,) = garboard_judge(BILGE, {WATER: "8 mm", FOUND: False}, settings={"my_checks.most_water": "1 cm"})
    assert finding["verdict"] == "pass"


def test_the_sample_job_passes(garboard_host: PluginHost) -> None:
    job = job_from(Path(__file__).parent / "my_checks_job.json", garboard_host)
    (finding,) = as_data(judge(job, garboard_host, BILGE))
    assert finding["verdict"] == "pass"
