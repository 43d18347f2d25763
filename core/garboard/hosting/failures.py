"""What is wrong with a plugin, as data: a code, the words, where in its file, and what to do."""

from __future__ import annotations

import traceback
from collections.abc import Mapping
from pathlib import Path

import attrs
from pluggy import PluginValidationError

import garboard
from garboard.checks.refused import CheckRefused
from garboard.faults import GarboardError, ValueRefused
from garboard.hosting.cut import told
from garboard.hosting.plugin_code import PluginEnded, PluginWaits
from garboard.record_types import WrongType, frozen
from garboard.settings import NoSuchSetting

FAILED = "failed"
"""The code of whatever has no other."""

_CURES = {
    "failed": "correct that line of the plugin's file",
    "syntax_error": "correct that line of the plugin's file",
    "not_utf8": "save the file as UTF-8: an editor asks for that as its encoding",
    "no_module": "put what it needs into the same file; it may import garboard and what comes with Python",
    "not_found": "name a Python file, a check file, or the folder of a package",
    "wrong_type": "give that field what it takes",
    "wrong_value": "correct that value in the plugin's file",
    "too_large": "make it shorter: a plugin holds checks, and no tables of data",
    "not_one_file": "put the Python file itself there, with all it needs in it",
    "name_taken": "call the plugin's file something else",
    "wrong_name": "call the plugin's file by letters, digits and _ alone, such as my_checks.py",
    "key_taken": "give it a key of its own that begins with the plugin's own name",
    "kind_taken": "call that kind of equipment by another title",
    "unknown_kind": "name a kind of the program, or register that kind of equipment in the same plugin",
    "other_version": "update the program, or get another version of the plugin",
    "offers_nothing": "mark a function with @garboard.hookimpl; what several plugins share goes into each of them",
    "hook_going": "use what is named in its place; it works until the next version of the front door",
    "hook_not_marked": "write @hookimpl on the line above it",
    "hook_without_register": "let it take one argument, register",
    "wrong_hook": "use a name that garboard.hooks documents, with one argument, register",
    "same_function": "write lambda view, name=name: ..., or functools.partial: a function keeps the loop's last value",
    "not_checked": "call asking.check() before the first finding, or look at asking.missing",
    "swallows_errors": "name the error that is expected; leave NotEnoughData to the program",
    "keeps_state": "make it inside the function: what is kept from one job is met in the next",
    "order_by_chance": "go through sorted(...) or a tuple: a set is in another order at each start",
    "no_title": "give it a title: people read that, not the key",
    "same_title": "give one of the two another title: people read that, not the name",
    "hook_returns": "call register(...) with each thing it offers",
    "check_gives_nothing": "call asking.check() on a line of its own: it raises where something is missing",
    "not_entered_is_no": "ask with view.asking() and check(), or look first whether it is None",
    "waits_for_input": "take it out: nobody can answer there",
    "unknown_setting": "use the key of a setting that a plugin registers",
    "unknown_step": "use the key of a step that a plugin registers",
    "wrong_unit": "ask in a unit of the same quantity as the field's own",
    "unknown_field": "ask for a field that the step declares",
    "others_key": "begin the key with the plugin's own name: jobs keep their values under it",
    "ended_the_program": "let the plugin return instead of ending the program",
    "process_ended": "let the plugin return instead of ending its process",
    "took_too_long": "end the loop, or compute less",
    "busy": "look again in a minute",
    "too_much_memory": "keep less in memory",
    "too_much_output": "give fewer and shorter findings",
    "uses_files": "compute from the job view alone",
    "uses_network": "compute from the job view alone",
    "starts_program": "compute from the job view alone",
    "starts_thread": "compute in compute itself",
    "fails_untouched": "name in needs what must be entered before it is judged",
    "judges_badly": "correct the calculator, then approve it anew",
    "not_here": "bring the tablet ashore, then start the app again; else approve it again at the shop",
    "left_out": "send its author the log; it runs again when the shop approves another version",
    "uses_chance": "use garboard.numeric, whose draws are seeded",
    "uses_clock": "compute from the dates in the job view",
    "differs": "use no clock, no chance and nothing kept from before",
}


class PluginFault(GarboardError):
    """A plugin did what a plugin must not do.

    code       : which fault it is, one of those with a cure
    file, line : of the plugin, where that is known
    """

    def __init__(self, reason: str, code: str = FAILED, *, cure: str = "", file: str = "", line: int = 0) -> None:
        self.code = code if code in _CURES else FAILED
        self.cure, self.file, self.line = cure or _CURES[self.code], file, line
        super().__init__(reason)


class NotJudgedHere(PluginFault):
    """The plugin's code was ended from outside, or ended its process: there is no finding, whatever it would be."""


@frozen(kw_only=True)
class PluginProblem:
    """One thing wrong with a plugin.

    code     : which fault it is ("wrong_type")
    file     : of the plugin, or the line's; "" where there is none
    line     : from 1; 0 where it is not known
    cure     : what its author can do
    at_work  : whether the plugin works all the same

    >>> PluginProblem(name="a", reason="it uses random", code="uses_chance", file="a.py", line=3, cure="draw").in_words
    'it uses random [a.py, line 3] (uses_chance). To do: draw.'
    """

    name: str
    reason: str
    code: str = FAILED
    file: str = ""
    line: int = 0
    cure: str = ""
    at_work: bool = False

    @property
    def in_words(self) -> str:
        """What is wrong, where, and what to do."""
        return self._told(self.file)

    @property
    def on_a_page(self) -> str:
        """The same with the file's name alone: the folders before it would fill a page."""
        return self._told(Path(self.file).name)

    def _told(self, file: str) -> str:
        line = f", line {self.line}" if self.line else ""
        where = f" [{file}{line}]" if file else ""
        return f"{self.reason}{where} ({self.code}). To do: {self.cure}."


def problem_of(failure: BaseException, plugin: str, file: str) -> PluginProblem:
    """What a plugin raised, or what was found wrong with it.

    file : of the plugin: a line is told where the failure passed through it, or through its folder
    """
    code = code_of(failure)
    found, line = place_of_failure(failure, file)
    cure = failure.cure if isinstance(failure, PluginFault) else _CURES[code]
    reason = "it uses more memory than it may" if isinstance(failure, MemoryError) else told(failure)
    return PluginProblem(name=plugin, reason=reason, code=code, file=found, line=line, cure=cure)


def problems_of(failure: BaseException, plugin: str, file: str) -> list[PluginProblem]:
    """The same of a failure that may carry several faults: a check file is told all of them."""
    faults = failure.faults if isinstance(failure, CheckRefused) else ()
    return [
        PluginProblem(
            name=plugin,
            reason=f"{one.fault.where}: {attrs.evolve(one.fault, cure='').in_words}",
            code=one.code,
            file=file,
            line=one.fault.line,
            cure=one.fault.cure or "write there what is expected",
        )
        for one in faults
    ] or [problem_of(failure, plugin, file)]


def code_of(failure: BaseException) -> str:
    """Which fault it is: by the exception's type, and by whether the program's own record refused; never by words."""
    if isinstance(failure, PluginFault):
        return failure.code
    for kind, code in _OF_TYPE.items():
        if isinstance(failure, kind):
            return code
    if isinstance(failure, ValueError | TypeError) and _was_refused(failure):
        return "wrong_type" if isinstance(failure, TypeError) else "wrong_value"
    return FAILED


_OF_TYPE: Mapping[type[BaseException], str] = {
    MemoryError: "too_much_memory",
    ModuleNotFoundError: "no_module",
    NoSuchSetting: "unknown_setting",
    SyntaxError: "syntax_error",
    FileNotFoundError: "not_found",
    WrongType: "wrong_type",
    ValueRefused: "wrong_value",
    PluginWaits: "waits_for_input",
    PluginEnded: "ended_the_program",
    PluginValidationError: "wrong_hook",
}
_PROGRAM = Path(garboard.__file__).parent


def _was_refused(failure: BaseException) -> bool:
    """Whether the innermost line that failed is the program's own: it refused what it was given."""
    frames = _frames(failure)
    return bool(frames) and is_of_program(frames[-1][0])


def is_of_program(file: str) -> bool:
    """Whether a file is one of the program's core."""
    return _PROGRAM in Path(file).parents


def place_of_failure(failure: BaseException, file: str) -> tuple[str, int]:
    """The innermost line of the plugin's own code that a failure passed through."""
    if isinstance(failure, PluginFault) and failure.line:
        return failure.file or file, failure.line
    if isinstance(failure, SyntaxError) and failure.filename:
        return failure.filename, failure.lineno or 0
    if not file:
        return "", 0
    own = Path(file).parent if Path(file).name == "__init__.py" else Path(file)
    lines = [place for place in _frames(failure) if _is_of(place[0], own)]
    return lines[-1] if lines else (file, 0)


def _frames(failure: BaseException) -> list[tuple[str, int]]:
    """File and line of each frame it passed through; of one that ended the program, of what it ended by."""
    found = failure.__cause__ if isinstance(failure, PluginEnded) and failure.__cause__ else failure
    return [(frame.f_code.co_filename, line) for frame, line in traceback.walk_tb(found.__traceback__)]


def _is_of(file: str, own: Path) -> bool:
    return Path(file) == own or own in Path(file).parents


def cure_of(code: str) -> str:
    """What a plugin's author does about a fault."""
    return _CURES[code]


def cures() -> Mapping[str, str]:
    """What a plugin's author does, by the code of each fault there is."""
    return dict(_CURES)
