"""The propeller page of the handover book."""

from garboard.findings import Figure, Finding, Number, Table, Verdict
from garboard.job_view import JobView
from garboard.steps import RECORD, Block
from prop_check_jobs import GOOD_CONDITIONS, host, job, two_ways, vessel

HOST = host()
TWIN = vessel(2)


def page(view: JobView) -> list[Block]:
    (section,) = [one for one in HOST.report_sections if one.part == RECORD]
    return list(section.build(view, HOST.assess(view)))


def test_no_runs_no_page() -> None:
    """A boat that was not run has no propeller page, nor has one with rows but no engine speed."""
    assert page(job(TWIN)) == []
    assert page(job(TWIN, [{"direction": "with"}])) == []


def test_the_page_of_a_finished_check() -> None:
    """Words for the owner, the result of every engine, the figure, and the findings that matter to him."""
    blocks = page(job(TWIN, two_ways(TWIN)))
    text = " ".join(block for block in blocks if isinstance(block, str))
    assert "Full speed was 40.0 kn (46.0 mph, 74.1 km/h)" in text
    assert "As run: trim at best, load half, fuel 50 %, 2 on board, water calm, air 25 degC" in text
    table, made = (block for block in blocks if isinstance(block, Table))
    assert [row[:3] for row in made.rows] == [("1", "with", "41.0"), ("2", "against", "39.0")]
    assert isinstance(blocks[0], Number)
    assert str(blocks[0]) == "40.0 ± 0.3 kn"
    engine = ("15 in x 19 in, 3 blades", "1.85", "5800 ± 30", "5400 to 6000", "18.4 ± 0.6")
    assert table.rows == (("port", *engine), ("starboard", *engine))
    assert sum(isinstance(block, Figure) for block in blocks) == 1
    findings = [block for block in blocks if isinstance(block, Finding)]
    assert [finding.about for finding in findings] == ["pitch"]


def test_the_speed_is_told_first_in_the_unit_it_was_typed_in() -> None:
    """47 and 45 mph: 46 mph are 39.97 kn and 74.03 km/h, by 1609.344 m to the mile."""
    first, *blocks = page(job(TWIN, two_ways(TWIN, speeds=("47.0 mph", "45.0 mph"))))
    assert isinstance(first, Number)
    assert (first.unit, round(first.value, 1)) == ("mph", 46.0)
    assert any("Full speed was 46.0 mph (40.0 kn, 74.0 km/h)" in block for block in blocks if isinstance(block, str))


def test_the_page_tells_what_is_not_in_order() -> None:
    """5000 rev/min is below the window: the window and the advice are told, what is in order stands in the table."""
    findings = [
        block
        for block in page(job(TWIN, two_ways(TWIN, "5000 rev/min"), GOOD_CONDITIONS))
        if isinstance(block, Finding)
    ]
    assert {finding.verdict for finding in findings if finding.about == "port engine"} == {Verdict.FAIL}
    assert "pitch" in {finding.about for finding in findings}
    assert Verdict.NOT_ENOUGH_DATA not in {finding.verdict for finding in findings}


def test_the_page_leaves_out_what_is_not_known() -> None:
    """Runs one way, no window and no propeller: engine speed is shown, speed and slip are not made up."""
    bare = vessel(1, window=None, pitch=None, ratio=None)
    blocks = page(job(bare, two_ways(bare)[:1], {}))
    assert not any("Full speed was" in block for block in blocks if isinstance(block, str))
    table = next(block for block in blocks if isinstance(block, Table))
    assert table.rows == (("centre", "15 in, 3 blades", "", "5800 ± 40", "", ""),)


def test_the_page_gives_no_slip_from_a_wrong_reading() -> None:
    """The owner is not told a slip that cannot be."""
    blocks = page(job(vessel(1, ratio="0.54"), two_ways(vessel(1)), GOOD_CONDITIONS))
    table = next(block for block in blocks if isinstance(block, Table))
    assert table.rows[0][-1] == "a reading is wrong"


def test_conditions_partly_noted() -> None:
    """Only what was noted is told."""
    conditions = {"trim": GOOD_CONDITIONS["trim"]}
    blocks = page(job(TWIN, two_ways(TWIN), conditions))
    assert "As run: trim at best." in blocks


def test_a_run_that_is_not_counted_is_marked_and_told() -> None:
    """The book shows every run as made, and says which one let go."""
    boat = vessel(1)
    runs = two_ways(boat, speeds=("41.0 kn", "39.0 kn") * 2)
    runs[2] |= {"speed": "37.5 kn", "centre": "6200 rev/min"}
    blocks = page(job(boat, runs))
    made = next(block for block in blocks if isinstance(block, Table) and block.title == "Full-throttle runs")
    assert made.rows[2] == ("3", "with", "37.5, not counted", "6200, not counted")
    assert "not counted" not in str([*made.rows[:2], made.rows[3]])
    told = [block.code for block in blocks if isinstance(block, Finding)]
    assert "prop_check.readings.ventilated" in told
    assert "18.4 ± 0.6" in next(block for block in blocks if isinstance(block, Table)).rows[0]


def test_the_book_gives_no_speed_that_is_in_doubt() -> None:
    """48 kn typed for 48 mph: no large number, no slip; the engine speed rests on no speed and stands."""
    boat = vessel(1)
    blocks = page(job(boat, two_ways(boat, speeds=("48.5 kn", "47.5 kn"))))
    assert not any(isinstance(block, Number) for block in blocks)
    assert any("Full speed is not given" in block for block in blocks if isinstance(block, str))
    assert next(block for block in blocks if isinstance(block, Table)).rows[0][3:] == (
        "5800 ± 30",
        "5400 to 6000",
        "in doubt",
    )
