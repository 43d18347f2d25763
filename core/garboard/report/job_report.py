"""A readable report of a job's findings, for a terminal or a plain file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from garboard import hull_number
from garboard.findings import Basis, Finding, Verdict
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.report.as_typed import as_typed
from garboard.report.outline import (
    PhaseOutline,
    PunchItem,
    StepOutline,
    alike_together,
    by_phase,
    counts,
    first_sentence,
    is_handed_over,
    nothing_to_put_right,
    numbered_bases,
    punch_list,
    references,
    result_of,
)
from garboard.report.palette import DAY, NIGHT, STEP_MARKS, VERDICT_MARKS, Colours, Mark
from garboard.report.settings_used import settings_in_words
from garboard.report.trials import Trial, foreseen_of, heading_of, table_of_trials, trials_of, which_stays
from garboard.report.unit_signs import with_signs
from garboard.report.visible import visible, visible_name
from garboard.steps import Assessed

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from garboard.history.plans import SetAside

WIDTH_OF_PLAIN_TEXT = 100
_WIDTH_OF_MARK = 19


def make_console(*, colour: bool = True) -> Console:
    """A console as wide as the terminal; plain text of a fixed width when the output goes elsewhere."""
    from rich.console import Console, ConsoleDimensions, ConsoleOptions, RenderableType
    from rich.segment import Segment

    class VisibleConsole(Console):
        """Its own colours reach the terminal, and what steers one within the text does not."""

        def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
            for text, style, control in super().render(renderable, options):
                yield Segment(text if control else visible(text), style, control)

    console = VisibleConsole(no_color=not colour, highlight=False, markup=False, emoji=False)
    if not console.is_terminal:
        console.size = ConsoleDimensions(WIDTH_OF_PLAIN_TEXT, 25)  # with both stated no line asks the system for them
    return console


def print_report(
    console: Console,
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    questions: Sequence[str] = (),
    *,
    full: bool = False,
    aside: SetAside | None = None,
) -> None:
    """Print a job's findings by phase and step, then what to put right and what the findings rest on.

    questions : measurements to be looked at again, each one sentence
    full      : what passes too with all it says, its numbers and its basis; else one line
    aside     : that a manager set the job aside; said before all else
    """
    assessed = as_typed(view, assessed, host)
    numbers = numbered_bases(one.finding for one in assessed if full or not _passes(one.finding))
    print_heading(console, view, aside)
    for phase in by_phase(view, host, assessed):
        _phase(console, phase, numbers, full)
    _tried(console, trials_of(view, host), foreseen_of(host, assessed))
    if questions:
        _title(console, "Unusual values")
        for question in questions:
            _hanging(console, "?", question, width=2)
    _punch_list(console, punch_list(view, host, assessed), nothing_to_put_right(assessed))
    _bases(console, numbers)
    console.print()
    console.print(summary(assessed))
    if not full and any(_passes(one.finding) for one in assessed):
        console.print("Numbers and basis of passes: garboard assess --full PATH")


def print_findings(console: Console, title: str, findings: Sequence[Finding]) -> None:
    """Print findings that belong to no job."""
    numbers = numbered_bases(findings)
    _title(console, title)
    for finding in findings:
        _finding(console, finding, numbers)
    _bases(console, numbers)


def summary(assessed: Sequence[Assessed]) -> str:
    """How many findings came out each way, in one sentence."""
    return ", ".join(f"{number} {verdict.value}" for verdict, number in counts(assessed).items()) + "."


def print_heading(console: Console, view: JobView, aside: SetAside | None = None) -> None:
    """Which boat and job it is about, and that nobody will finish it, where a manager said so."""
    from rich.text import Text

    vessel, job = view.vessel, view.job
    console.print()
    console.print(
        Text.assemble(
            (visible_name(vessel.name) or "Vessel without a name", "bold"),
            f"  hull number {visible_name(hull_number.printed(vessel.hull_number))}",
        )
    )
    about = [job.kind, job.id, job.opened, job.place, job.shop]
    console.print(", ".join(map(visible_name, filter(None, about))))
    if aside is not None and not is_handed_over(view):
        console.print(Text(aside.in_words, style="bold"))


def _title(console: Console, text: str) -> None:
    from rich.text import Text

    console.print()
    console.print(Text(text.upper(), style="bold"))


def _phase(console: Console, phase: PhaseOutline, numbers: Mapping[Basis, int], full: bool) -> None:
    _title(console, phase.phase.value)
    for step in phase.steps:
        _step(console, step)
        for finding in alike_together(one.finding for one in step.found):
            if _passes(finding) and not full:
                _one_line(console, finding)
            else:
                _finding(console, finding, numbers)
        for sentence in (*([step.lacks] if step.lacks else []), *step.said, *settings_in_words(step.found)):
            _hanging(console, "", sentence, _WIDTH_OF_MARK)


def _passes(finding: Finding) -> bool:
    return finding.verdict is Verdict.PASS


def _step(console: Console, step: StepOutline) -> None:
    from rich.text import Text

    mark = STEP_MARKS[step.state]
    style = "bold" if step.found else ""
    console.print(Text.assemble((step.title, style), "  ", _mark(console, mark)))


def _one_line(console: Console, finding: Finding) -> None:
    """What it is about and the result, without what to make of it."""
    from rich.text import Text

    line = Text.assemble((f"{visible_name(finding.about)}: ", "bold"), with_signs(first_sentence(result_of(finding))))
    _beside(console, Text.assemble("  ", _mark(console, VERDICT_MARKS[finding.verdict])), [line], _WIDTH_OF_MARK)


def _finding(console: Console, finding: Finding, numbers: Mapping[Basis, int]) -> None:
    from rich.text import Text

    said = with_signs("; ".join(f"{number.name} {number}" for number in finding.numbers))
    lines = [
        Text.assemble((f"{visible_name(finding.about)}: ", "bold"), with_signs(result_of(finding))),
        Text.assemble(f"{said}; " if said else "", (references(finding.basis, numbers), _style(console, "quiet"))),
    ]
    mark = Text.assemble("  ", _mark(console, VERDICT_MARKS[finding.verdict]))
    _beside(console, mark, lines, _WIDTH_OF_MARK)


def _tried(console: Console, trials: Sequence[Trial], foreseen: Sequence[str]) -> None:
    """The propellers that were tried: what each came to, then which stays, and what was foreseen."""
    if not trials and not foreseen:
        return
    _title(console, "What was tried")
    for name, *cells in table_of_trials(trials).rows if trials else ():
        each = (f"{heading_of(one)} {cell}" for one, cell in zip(trials, cells, strict=True) if cell)
        _hanging(console, "", f"{name}: {'; '.join(each)}", width=2)
    for sentence in (*which_stays(trials), *foreseen):
        _hanging(console, "", sentence, width=2)


def _punch_list(console: Console, items: Sequence[PunchItem], when_empty: str) -> None:
    _title(console, "Punch list")
    if not items:
        console.print(when_empty)
    for number, item in enumerate(items, start=1):
        about = f"{visible_name(item.about)}: " if item.about else ""
        _hanging(console, f"{number}", f"{about}{item.text} ({item.why})", width=4)


def _bases(console: Console, numbers: Mapping[Basis, int]) -> None:
    if numbers:
        _title(console, "Basis")
    for basis, number in numbers.items():
        _hanging(console, f"{number}", str(basis), width=4)


def _hanging(console: Console, label: str, text: str, width: int) -> None:
    from rich.text import Text

    _beside(console, Text(label), [Text(with_signs(text))], width)


def _beside(console: Console, left: Text, right: Sequence[Text], width: int) -> None:
    """Paragraphs beside a word that hangs to their left; no line ends in spaces.

    width : kept free for the word
    """
    from rich.text import Text

    indent = " " * (width + 1)
    room = max(console.width - len(indent), 1)
    lines = [line for paragraph in right for line in paragraph.wrap(console, room, overflow="fold")]
    for number, line in enumerate(lines):
        line.rstrip()
        start = Text.assemble(left, " " * (len(indent) - left.cell_len)) if number == 0 else indent
        console.print(Text.assemble(start, line), soft_wrap=True)


def _mark(console: Console, mark: Mark) -> Text:
    from rich.text import Text

    return Text(mark.as_text(console.encoding), style=_style(console, mark.colour))


def _style(console: Console, role: str) -> str:
    """A colour that keeps its contrast on most dark terminals; none where there is no colour."""
    return str(getattr(_colours(), role)) if console.is_terminal and not console.no_color else ""


def _colours() -> Colours:
    """Terminals tell their ground in COLORFGBG, where they tell it: 7 and 15 are light."""
    import os

    return DAY if os.environ.get("COLORFGBG", "").rpartition(";")[2] in ("7", "15") else NIGHT
