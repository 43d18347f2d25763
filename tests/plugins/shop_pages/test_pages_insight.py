"""The page of insight over rows with known answers: every mark leads to as many rows as it says."""

from __future__ import annotations

import random
import re
import sys
from collections.abc import Callable, Sequence
from urllib.parse import parse_qsl, urlsplit

import attrs
import pytest

from boat_rows import CODES, MODELS, NOW, RIGGERS, jobs
from garboard.hosting.host import PluginHost
from garboard_shop.board import Asked, Board, Times
from garboard_shop.boat_rows import DEVIATION, ECONOMY, FORECAST, SLIP, Row, Seen
from garboard_shop.insight import Dot, Insight, insight_from
from garboard_shop.insight_counts import FACETS, Counts, at_place
from garboard_shop.job_rows import A_DAY, JobRow
from garboard_shop.memory import Memory, Score, as_text, of_text
from garboard_shop.pages import charts, insights
from garboard_shop.pages.charts import dot_in_words
from garboard_shop.pages.insights import Insights, charts_of, code_in_words
from garboard_shop.pages.wording import limits_of
from pages_rig import SALTGRASS, Browser, Pages, tags_in, words_of

MANY = 720


def as_failed(job: JobRow, number: int) -> JobRow:
    """Of the jobs handed over, every other failed once and was mended."""
    return attrs.evolve(job, ever_failed=(CODES[1],)) if job.is_handed_over and number % 4 == 1 else job


JOBS = tuple(as_failed(job, number) for number, job in enumerate(jobs(MANY)))


def row(number: int, job: JobRow) -> Row:
    seen = [Seen(SLIP, 10.0 + number % 5, 5.0, 13.5), Seen(ECONOMY, 2.0 + number % 3)]
    if number < 4:
        seen += [Seen(DEVIATION, 2.5), Seen(FORECAST, 5400.0 + 300 * (number == 3), 5300.0, 5600.0)]
    return Row(hull=job.hull, jobs=(job,), seen=tuple(seen))


def insight_of(rows: Sequence[Row], score: Score, now: int) -> Insight:
    return insight_from(Counts(rows), score, now)


ROWS = tuple(row(number, job) for number, job in enumerate(JOBS))
COUNTED = insight_of(ROWS, Score(4, 3), NOW)
BOARD, TIMES = Board(JOBS), Times(now=NOW, limits=limits_of)


def listed(address: str) -> int:
    """How many rows the board lists at an address."""
    parts = urlsplit(address)
    assert parts.path == "/board"
    asked = Asked.of(dict(parse_qsl(parts.query)))
    assert dict(parse_qsl(urlsplit(asked.address()).query)) == dict(parse_qsl(parts.query)), "all of it was understood"
    return BOARD.find(asked, TIMES).total


def hrefs(drawing: str) -> list[tuple[str, str]]:
    """Every link of a chart: where it leads, and what it says."""
    return [(of["href"], of["aria-label"]) for tag, of in tags_in(drawing) if tag == "a"]


def test_what_fails_first_is_counted_and_each_bar_and_cell_lists_its_jobs(plugins: PluginHost) -> None:
    assert [(one.code, one.ever, one.still) for one in COUNTED.whole.failures] == [
        (CODES[2], MANY // 6, MANY // 6),
        (CODES[1], MANY // 12, 0),
    ]
    chart, lately, *_ = charts_of(COUNTED, plugins)
    assert chart.sentence.startswith("Labels: unlabelled fails most: in 120 of 720 jobs, and in 120 it still does.")
    assert [listed(href) for href, _ in hrefs(chart.drawing)] == [120, 60]
    assert [table.title for table in chart.tables] == ["By model", "By engine", "By rigger"]
    cells = [cell for table in (*chart.tables, *lately.tables) for _, row in table.rows for cell in row if cell.number]
    assert len(cells) > 6
    assert [cell.number for cell in cells] == [listed(cell.href) for cell in cells]
    (by_rigger,) = [grid for grid in COUNTED.whole.grids if grid.facet == "technician"]
    assert dict(zip(by_rigger.names, by_rigger.rows, strict=True))[RIGGERS[2]] == (120, 0)
    assert set(FACETS) == {"model", "engine", "technician"}
    assert set(COUNTED.whole.grids[0].names) <= set(MODELS)


def test_what_fails_in_jobs_of_the_last_three_months_leaves_out_older_ones(plugins: PluginHost) -> None:
    older = [attrs.evolve(job, known=job.known - 91 * A_DAY) for job in JOBS[:360]]
    jobs_now = [*older, *JOBS[360:]]
    counted = insight_of([row(number, job) for number, job in enumerate(jobs_now)], Score(0, 0), NOW)
    lately = charts_of(counted, plugins)[1]
    assert (counted.whole.failures[0].ever, counted.lately.failures[0].ever) == (120, 60)
    at_board = Board(jobs_now)
    (bar, *_), said = hrefs(lately.drawing), lately.sentence
    assert at_board.find(Asked.of(dict(parse_qsl(urlsplit(bar[0]).query))), TIMES).total == 60
    assert said.startswith("Labels: unlabelled fails most: in 60 of 360 jobs")


def test_right_the_first_time_tells_no_per_cent_of_fewer_than_five(plugins: PluginHost) -> None:
    chart = next(one for one in charts_of(COUNTED, plugins) if one.title == "Right the first time")
    counted = {span.key: (span.right, span.jobs) for span in COUNTED.months if span.jobs}
    assert sum(jobs for _, jobs in counted.values()) == MANY // 6
    assert [listed(href) for href, _ in hrefs(chart.drawing)] == [jobs for _, jobs in counted.values()]
    both = [number for right, jobs in counted.values() for number in (right, jobs - right) if number]
    assert [listed(one.href) for one in chart.listed] == both
    four = insight_of([row(0, job) for job in [one for one in JOBS if one.is_handed_over][:4]], Score(0, 0), NOW)
    assert {span.share for span in four.months} == {None}
    chart = next(one for one in charts_of(four, plugins) if one.title == "Right the first time")
    assert "No month has five, so no per cent is told." in chart.sentence
    assert "Under each month stands how many" in chart.sentence
    assert "%" not in chart.sentence


def test_days_and_waits_list_what_they_count(plugins: PluginHost) -> None:
    by_title = {one.title: one for one in charts_of(COUNTED, plugins)}
    days = by_title["Days to hand over"]
    weeks = [span for span in COUNTED.by_week if span.jobs]
    assert sum(span.jobs for span in weeks) == MANY // 6
    assert {span.median for span in weeks} == {10.0}  # each took ten days
    medians = [href for href, _ in hrefs(days.drawing) if href.startswith("/board")]
    assert [listed(href) for href in medians] == [span.jobs for span in weeks]
    waits = by_title["Where days go"]
    assert {one.waits_for for one in COUNTED.waits} == {"manager", "rigger", "parts", "owner", "nobody"}
    assert [listed(href) for href, _ in hrefs(waits.drawing)] == [one.jobs for one in COUNTED.waits]
    whole = sum(job.days_in_state(NOW) for job in JOBS if not job.is_handed_over)
    assert sum(one.days for one in COUNTED.waits) == pytest.approx(whole)


def test_numbers_of_boats_show_where_most_lie_and_a_square_where_one_is_unusual(plugins: PluginHost) -> None:
    slip, economy, deviation = COUNTED.spreads
    assert (slip.boats, slip.outside, slip.low, slip.middle, slip.high) == (720, 144, 10.0, 12.0, 14.0)
    assert (economy.outside, deviation.boats, deviation.middle) == (0, 4, None)
    by_title = {one.title: one for one in charts_of(COUNTED, plugins)}
    assert "144 lie outside what the check takes for usual" in by_title["Slip"].sentence
    assert by_title["Slip"].sentence.endswith("Drawn are 80, the newest and what is unusual first.")
    assert sum(dot.seen.is_outside for dot in slip.dots) == 40
    assert "Drawn are" not in by_title["Largest compass deviation"].sentence
    assert by_title["Slip"].drawing.count('class="outside"') == sum(dot.seen.is_outside for dot in slip.dots)
    assert "4 boats so far: too few for a usual range." in by_title["Largest compass deviation"].sentence
    forecasts = by_title["Propellers, foreseen and reached"]
    assert forecasts.sentence.startswith("3 of 4 forecasts held; 19 of 20 should. Too few to judge")
    assert (forecasts.drawing.count('class="outside"'), forecasts.drawing.count('class="dot"')) == (1, 3)


@pytest.mark.parametrize(
    ("seen", "unit", "said"),
    [
        (Seen(DEVIATION, 2.432), "°", "2.4°"),
        (Seen(ECONOMY, 1.639), "nm/gal", "1.64 nm/gal"),
        (Seen(SLIP, -2.532, -2.0, 20.0), "%", "−2.5 %, outside"),
        (Seen(SLIP, 20.04, 0.0, 20.0), "%", "20.04 %, outside"),
    ],
)
def test_a_boats_number_has_the_digits_of_its_own_page(seen: Seen, unit: str, said: str) -> None:
    """2.432° where the boat's page says 2.4 ± 0.9°; a number outside its limit is not rounded onto it."""
    assert dot_in_words(Dot("QQZ00001A626", "Petrel", seen), unit) == f"Petrel: {said}"


def test_what_is_not_by_time_is_drawn_again_for_a_phone_with_every_mark(plugins: PluginHost) -> None:
    """Of a wide chart a phone shows the left half, and nothing says that the rest lies beside the screen."""
    drawn = [one for one in charts_of(COUNTED, plugins) if one.drawing and not one.is_by_time]
    assert {"Slip", "Propellers, foreseen and reached"} <= {one.title for one in drawn}
    for one in drawn:
        assert one.narrow is not None
        (box,) = [of["viewbox"] for tag, of in tags_in(one.narrow) if tag == "svg"]
        assert int(box.split()[2]) <= charts.NARROW
        assert [words for _, words in hrefs(one.narrow)] == [words for _, words in hrefs(one.drawing)]
        marks = [float(of["cx"]) for tag, of in tags_in(one.narrow) if tag == "circle"]
        assert all(0 < x < charts.NARROW for x in marks)


def test_a_chart_is_a_group_of_links_and_a_name_in_it_is_no_markup(plugins: PluginHost) -> None:
    evil = attrs.evolve(JOBS[2], name="<b>\u202egnorw", model='"><script>', ever_failed=("<i>.x.y",))
    counted = insight_of([row(2, evil)], Score(0, 0), NOW)
    for chart in charts_of(counted, plugins):
        assert "<b>" not in chart.drawing
        assert "<i>" not in chart.drawing
        assert "\u202e" not in chart.drawing, "no name turns the writing around"
        for tag, of in tags_in(chart.drawing):
            assert of.get("role") != "img"
            assert tag != "svg" or (of["role"], bool(of["aria-label"])) == ("group", True)
    assert code_in_words("no.such.code", plugins) == "no.such.code"
    assert code_in_words("handover.check.failed", plugins) == "Handover check: failed"
    assert code_in_words("handover.punch_list.not_put_right", plugins) == "Faults found: not put right"
    cut_off = code_in_words("engine_trial.first_start.cut_off_dead", plugins)
    assert cut_off == "First start: controls, protection, cut-off: cut off dead"
    short = code_in_words("engine_trial.first_start.cut_off_dead", plugins, 46)
    assert (short, len(short)) == ("First start: controls, protecti…: cut off dead", 46)


def test_no_bar_takes_the_room_of_the_numbers_behind_it() -> None:
    """A letter of the charts' type, 15 px, is under 9 wide on average."""
    drawn = charts.bars("Days", [charts.Bar("nobody", "/board", 150177, 1, "150177 d, 2000 jobs")])
    (behind,) = [of for tag, of in tags_in(drawn) if tag == "text" and float(of["x"]) > 0]
    assert float(behind["x"]) + 9 * len("150177 d, 2000 jobs") <= charts.WIDTH


def test_an_empty_shop_and_one_with_little_have_their_sentences(plugins: PluginHost) -> None:
    for counted in (insight_of([], Score(0, 0), NOW), insight_of([Row(hull="A")], Score(0, 0), NOW)):
        told = [chart.sentence for chart in charts_of(counted, plugins)]
        assert "There is no job to count." in told
        assert "Nothing was handed over in twelve months." in told[2]
        assert "No job is open." in told
        assert all(told)


def half_days(counted: Insight) -> str:
    """What the chart of days says of the last week."""
    found = re.search(r"median [\d.]+ days, \d+ jobs?", charts.days_by_week("Days", [counted.by_week[-1]]))
    return found[0] if found else ""


def test_one_job_is_one_job_and_its_days_are_those_the_board_tells(plugins: PluginHost) -> None:
    half_a_day = 43_200_000
    over = JobRow(hull="A", job="a", state="handed over", known=NOW - 30 * half_a_day, handed=NOW - half_a_day)
    waits = JobRow(hull="B", job="b", state="ready", known=NOW - 7 * half_a_day, since=NOW - 7 * half_a_day)
    counted = insight_of([Row(hull="A", jobs=(over,)), Row(hull="B", jobs=(waits,))], Score(0, 0), NOW)
    by_title = {one.title: one for one in charts_of(counted, plugins)}
    assert by_title["Days to hand over"].sentence.startswith(
        "From first ashore to handed over, the one job took 14 days."
    )
    assert "median 14 days, 1 job" in by_title["Days to hand over"].drawing
    quicker = attrs.evolve(over, hull="C", known=NOW - 28 * half_a_day)
    both = insight_of([Row(hull="A", jobs=(over,)), Row(hull="C", jobs=(quicker,))], Score(0, 0), NOW)
    assert (both.by_week[-1].median, half_days(both)) == (13.5, "median 13.5 days, 2 jobs")
    half_up = charts.days_by_week("Days", [attrs.evolve(counted.by_week[-1], longest=1.0)])
    assert [half_up.count(f">{level} d<") for level in ("0", "0.5", "1")] == [1, 1, 1], "no two levels are told as one"
    assert "owner: 3 d, 1 job" in by_title["Where days go"].drawing
    assert int(waits.days_in_state(NOW)) == 3, "as the board has it"
    new = attrs.evolve(waits, since=NOW - half_a_day // 2)
    first = charts_of(insight_of([Row(hull="B", jobs=(new,))], Score(0, 0), NOW), plugins)
    (told,) = [one for one in first if one.title == "Where days go"]
    assert told.sentence == "No open jobs have waited for a whole day together."
    assert "owner: under 1 d, 1 job" in told.drawing
    assert {of["width"] for tag, of in tags_in(told.drawing) if tag == "rect"} == {"1.0"}, "no full bar beside no day"
    assert not any("1 jobs" in f"{one.sentence} {one.drawing}" for one in by_title.values())


def test_the_page_shows_the_shops_own_boats_and_counts_again_when_one_changes(pages: Pages, manager: Browser) -> None:
    assert "0 jobs, counted" in words_of(manager.text("/insight"))
    pages.desk.remembering.bring_up_to_date()
    text = manager.text("/insight")
    assert "4 jobs, counted" in words_of(text)
    assert f"/boats/{SALTGRASS}" in text
    (kept,) = [one for one in pages.desk.remembering.memory.rows() if one.hull == SALTGRASS]
    assert [seen.what for seen in kept.seen] == [ECONOMY]  # of slip, disagreeing speeds keep it from saying anything
    assert kept.seen[0].value == pytest.approx(3.36, abs=0.005)


def test_over_many_boats_no_page_waits_for_the_count(plugins: PluginHost, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(insights, "COUNTED_AT_ONCE", 3)
    memory, at = Memory(ROWS[:5]), [NOW]
    kept = Insights(plugins, lambda: at[0])
    kept.of(memory)
    kept.wait()
    first = kept.of(memory)
    assert first is not None
    assert first.counted.whole.jobs == 5
    assert kept.of(memory) is first
    memory.take(ROWS[6])
    again = kept.of(memory)
    assert again is not None
    assert again.counted.whole.jobs == 6


def test_counts_that_are_kept_are_those_of_all_rows_after_any_changes_and_days() -> None:
    chance, counts, rows, now = random.Random(17), Counts(ROWS[:200]), {one.hull: one for one in ROWS[:200]}, NOW
    for number in range(600):
        one = chance.choice(ROWS)
        job = attrs.evolve(
            chance.choice(JOBS),
            hull=one.hull,
            known=NOW - chance.randrange(120) * A_DAY,
            handed=chance.choice((0, NOW)),
        )
        if number % 7:
            rows[one.hull] = attrs.evolve(one, jobs=(job, *one.jobs)[: number % 3], seen=chance.choice(ROWS).seen)
            counts.put(rows[one.hull])
        else:
            rows.pop(one.hull, None)
            counts.drop(one.hull)
        if not number % 50:
            now = NOW + chance.randrange(-20, 60) * A_DAY
            assert insight_from(counts, Score(0, 0), now) == insight_of([*rows.values()], Score(0, 0), now)


def test_what_stands_at_a_place_of_several_lists_is_what_stands_there_in_all() -> None:
    lists = [sorted(number * 7 % 11 for number in range(size)) for size in (0, 1, 9, 30)]
    together = sorted(one for each in lists for one in each)
    assert [at_place(lists, place) for place in range(len(together))] == together


class Counted(dict[str, Row]):
    """Rows that count how often one is asked for."""

    looks = 0

    def __getitem__(self, hull: str) -> Row:
        self.looks += 1
        return super().__getitem__(hull)

    def __iter__(self):  # type: ignore[no-untyped-def]
        self.looks += len(self)
        return super().__iter__()

    def values(self):  # type: ignore[no-untyped-def]
        self.looks += len(self)
        return super().values()


def test_a_change_counts_its_own_row_and_the_page_looks_at_those_it_draws(plugins: PluginHost) -> None:
    looks, calls = [], []
    for number in (1_000, 4_000):
        memory = Memory(row(each, job) for each, job in enumerate(jobs(number)))
        counts = memory.count()
        insight_from(counts, memory.score(), NOW)
        counts.rows = counted = Counted(counts.rows)
        changed = attrs.evolve(ROWS[5], jobs=(attrs.evolve(ROWS[5].jobs[0], state="ready", failing=()),))
        made = calls_of(lambda memory=memory, changed=changed: memory.take(changed))  # type: ignore[misc]
        charts_of(insight_from(memory.count(), memory.score(), NOW + A_DAY), plugins)
        looks.append(counted.looks)
        calls.append(made)
    assert looks[0] <= looks[1] <= 4 * 80 + 1
    assert calls[0] == calls[1] < 200
    assert memory.count() is counts


def calls_of(work: Callable[[], object]) -> int:
    """How many functions are called for something."""
    made = 0

    def count(_frame: object, event: str, _what: object) -> None:
        nonlocal made
        made += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        work()
    finally:
        sys.setprofile(before)
    return made


@pytest.mark.parametrize("seen", [(), (Seen(SLIP, -2.5, None, 20.0), Seen(FORECAST, 5400.0, 5300.0, 5600.0))])
def test_a_row_keeps_what_was_seen_and_a_damaged_one_is_refused(seen: tuple[Seen, ...]) -> None:
    one = Row(hull="QQZ00001A626", seen=seen)
    assert of_text(as_text(one)) == one
    with pytest.raises(ValueError, match="expected"):
        of_text(as_text(one).replace('"seen":[', '"seen":[["slip","nan","",""],' if seen else '"seen":[["slip"]'))
