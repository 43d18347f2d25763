"""The readable report: by phase and step, verdict by word and shape, numbers with their spread and basis."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs
import pytest
from rich.console import Console

import small_plugin
from garboard.findings import Basis, BasisKind, Verdict
from garboard.hosting.host import PluginHost
from garboard.job_view import Disagreement, JobView
from garboard.judging.assessing import questions
from garboard.records import Measurement, Note, StepState
from garboard.report.job_report import print_report
from garboard.report.outline import by_phase, cautions, nothing_to_put_right, numbered_bases, punch_list
from garboard.steps import Phase


def report(
    view: JobView,
    host: PluginHost | None = None,
    width: int = 100,
    questions: Sequence[str] = (),
    full: bool = False,
    **console: Any,
) -> str:
    host = host or small_plugin.small_host()
    paper = Console(width=width, record=True, highlight=False, markup=False, file=Nowhere(), **console)
    print_report(paper, view, host, host.assess(view), questions, full=full)
    return paper.export_text(styles=bool(console.get("force_terminal")))


class Nowhere(io.StringIO):
    encoding = "utf-8"


@pytest.fixture
def view(tmp_path: Path) -> JobView:
    return small_plugin.small_view(tmp_path)


def test_the_account_goes_from_phase_to_step_to_finding(view: JobView) -> None:
    lines = report(view).splitlines()
    order = ["ALONGSIDE", "Sound the horn", "  ■ fail", "UNDER WAY", "Full-throttle run", "  ▲ advise", "  ✔ pass"]
    places = [next(n for n, line in enumerate(lines) if line.startswith(start)) for start in order]
    assert places == sorted(places)


def test_a_verdict_has_shape_word_sentence_numbers_with_spread_and_basis(view: JobView) -> None:
    text = report(view)
    assert "■ fail" in text
    assert "Horn: Not heard from the dock. Look at its fuse first." in text
    assert "battery at rest 12.65 ± 0.05 V" in text
    assert "basis 1" in text
    assert "1    An invented rule of the test shop (common practice, no source)" in text


def test_what_passes_takes_one_line_without_numbers_or_basis(view: JobView) -> None:
    lines = report(view).splitlines()
    place = next(n for n, line in enumerate(lines) if "✔ pass" in line)
    assert lines[place] == "  ✔ pass            starboard engine: 5650 rev/min at full throttle."
    assert lines[place + 1 :][:2] == ["", "PUNCH LIST"]
    assert "garboard assess --full" in lines[-1]


def test_the_full_account_gives_what_passes_its_numbers_and_basis(view: JobView) -> None:
    text = report(view, full=True)
    line = text.index("starboard engine: 5650 rev/min at full throttle.")
    assert "engine speed 5650 ± 20 rev/min; basis 1, 2" in text[line:]
    assert "--full" not in text


def test_only_what_is_cited_stands_in_the_list_of_bases(view: JobView) -> None:
    """With both engines in order only the horn, which fails, cites its basis."""
    values = tuple(attrs.evolve(m, value="5650 rev/min") if m.field == "speed" else m for m in view.measurements)
    passing = attrs.evolve(view, measurements=values)
    assert "Invented engine manual" not in report(passing)
    assert "Invented engine manual" in report(passing, full=True)
    assert "An invented rule of the test shop" in report(passing).partition("BASIS")[2]


def test_findings_that_say_the_same_of_several_things_are_told_once(view: JobView) -> None:
    values = tuple(attrs.evolve(m, value="5650 rev/min") if m.field == "speed" else m for m in view.measurements)
    assert "port engine, starboard engine: 5650 rev/min" in report(attrs.evolve(view, measurements=values))


def test_missing_data_is_said_once_in_a_line(view: JobView) -> None:
    bare = report(attrs.evolve(view, measurements=()))
    assert "○ not enough data Horn: “Battery" in bare
    assert "Not enough data:" not in bare


@pytest.mark.parametrize("full", [False, True])
def test_no_line_ends_in_spaces(view: JobView, full: bool) -> None:
    lines = report(view, width=60, full=full, questions=["Is it right? " * 9]).splitlines()
    assert len(lines) > 20
    assert [line for line in lines if line != line.rstrip()] == []


def test_a_note_that_a_failing_check_tells_is_on_the_punch_list_once(view: JobView) -> None:
    """The horn is noted by hand and fails its check in the same words."""
    words = "Not heard from the dock. Look at its fuse first."
    noted = attrs.evolve(view, notes=(Note(text=words, by="T. Ryggare", punch_list=True),))
    host = small_plugin.small_host()
    assert [item.text for item in punch_list(noted, host, host.assess(noted))].count(words) == 1


def test_two_notes_in_the_same_words_are_two_on_the_punch_list(view: JobView) -> None:
    note = Note(text="Cleat loose", by="T. Ryggare", punch_list=True)
    items = punch_list(attrs.evolve(view, notes=(note, note)), small_plugin.small_host(), ())
    assert [item.text for item in items].count("Cleat loose") == 2


def test_steps_show_how_far_they_are(view: JobView) -> None:
    text = report(view)
    assert "Sound the horn  ● done" in text
    assert "Full-throttle run  ▲ look again" in text


def test_the_punch_list_stands_at_the_end_and_leaves_out_what_is_settled(view: JobView) -> None:
    text = report(view)
    rest = text.partition("PUNCH LIST")[2]
    assert "1    Horn: Not heard from the dock. Look at its fuse first. (fails)" in rest
    assert "Fog came in. (look again)" in rest
    assert "Cleat loose at the bow. (noted)" in rest
    assert "Fender" not in text


def test_an_empty_punch_list_says_so(view: JobView) -> None:
    clean = attrs.evolve(view, notes=(), steps=(), measurements=())
    assert "Nothing that was checked is left to put right; 2 checks were not made for want of data." in report(clean)


def test_an_empty_punch_list_of_a_job_that_was_judged_whole_says_just_that() -> None:
    assert nothing_to_put_right(()) == "Nothing left to put right."


def test_an_empty_punch_list_counts_the_advice_above_it(view: JobView) -> None:
    (one, *_) = small_plugin.small_host().assess(view)
    advised = attrs.evolve(one, finding=attrs.evolve(one.finding, verdict=Verdict.ADVISE))
    assert nothing_to_put_right([advised]) == "Nothing that was checked is left to put right; 1 piece of advice."
    assert nothing_to_put_right([advised, advised]).endswith("; 2 pieces of advice.")


def test_values_that_disagree_are_on_the_punch_list(view: JobView) -> None:
    place = ("small.run", "speed", "", "port")
    values = tuple(
        Measurement(step="small.run", field="speed", of="port", value=value)
        for value in ("4800 rev/min", "5100 rev/min")
    )
    disagreeing = attrs.evolve(view, disagreements=(Disagreement(place, values),))
    items = punch_list(disagreeing, small_plugin.small_host(), ())
    assert items[0].about == "Full-throttle run: Engine speed, port"
    assert items[0].text == "4800 rev/min against 5100 rev/min: choose the right one."


def test_the_question_about_values_that_disagree_gives_date_and_time_in_words(view: JobView) -> None:
    """As every other place does; a date without a time gets none, and who is not known is not named."""
    facts = (("Kim", "2026-11-29T21:00:06+00:00"), ("Lee", "2026-11-29"), ("", ""))
    values = tuple(
        Measurement(step="small.run", field="speed", of="port", value=f"{4800 + at} rev/min", by=by, at=when)
        for at, (by, when) in enumerate(facts)
    )
    disagreeing = attrs.evolve(view, disagreements=(Disagreement(("small.run", "speed", "", "port"), values),))
    (asked,) = [one.text for one in questions(disagreeing, small_plugin.small_host()) if "Neither is used" in one.text]
    told = "4800 rev/min (Kim, 29 November 2026, 21:00) or 4801 rev/min (Lee, 29 November 2026) or 4802 rev/min?"
    assert told in asked


def test_a_step_looked_at_again_and_done_is_no_longer_on_the_punch_list(view: JobView) -> None:
    settled = attrs.evolve(view, steps=(*view.steps, StepState(step="small.run", state="done")), notes=())
    assert punch_list(settled, small_plugin.small_host(), ()) == ()


def test_questions_are_asked(view: JobView) -> None:
    assert "?  Battery at rest: 11.2 V. Is it right?" in report(
        view, questions=["Battery at rest: 11.2 V. Is it right?"]
    )


@pytest.mark.parametrize("width", [40, 60, 80, 132])
def test_no_line_is_wider_than_the_terminal(view: JobView, width: int) -> None:
    text = report(view, width=width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "Not heard" in text


def test_there_is_no_colour_where_there_is_no_terminal(view: JobView, capsys: pytest.CaptureFixture[str]) -> None:
    host = small_plugin.small_host()
    from garboard.report.job_report import make_console

    print_report(make_console(), view, host, host.assess(view))
    text = capsys.readouterr().out
    assert "■ fail" in text
    assert "\x1b" not in text


def test_a_terminal_gets_colour_unless_told_otherwise(view: JobView) -> None:
    coloured: dict[str, Any] = {"force_terminal": True, "color_system": "truecolor"}
    assert "\x1b[38;2;" in report(view, **coloured)
    assert "\x1b[38;2;" not in report(view, no_color=True, **coloured)


def test_square_brackets_in_what_people_typed_are_kept(view: JobView) -> None:
    noted = attrs.evolve(view, vessel=attrs.evolve(view.vessel, name="[bold]Brackets[/bold]"))
    assert "[bold]Brackets[/bold]" in report(noted)


def test_phases_come_in_the_order_of_the_work(view: JobView) -> None:
    host = small_plugin.small_host()
    assert [phase.phase for phase in by_phase(view, host, host.assess(view))] == [Phase.ALONGSIDE, Phase.UNDER_WAY]


def test_bases_are_numbered_once_in_the_order_of_their_use() -> None:
    one, two = Basis(BasisKind.MANUAL, "One"), Basis(BasisKind.MANUAL, "Two")
    assert numbered_bases([], [two, one, two]) == {two: 1, one: 2}


def test_a_caution_of_several_steps_is_shown_once(view: JobView) -> None:
    assert [caution.text for caution in cautions(view, small_plugin.small_host())] == [
        "Cover your ears before the horn sounds.",
        "Keep clear of the bow.",
    ]


def test_units_stand_as_people_write_them(view: JobView) -> None:
    asked = report(view, questions=["52 degC is outside the usual 0 to 40 degC, and 2.4 deg too."])
    assert "52 °C is outside the usual 0 to 40 °C, and 2.4° too." in asked
