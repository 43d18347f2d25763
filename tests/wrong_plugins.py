"""Wrong plugins, each a small source text with the code by which its author is told. Careless ones, and worse.

`bodies` gives what stands in compute, `sources` whole files.
"""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import dedent, indent

PROBLEM, FAULT, FINDING, SHORTENED, BOOK = "not loaded", "told of one at work", "finding", "shortened", "in the book"

_HEAD = """\
from garboard import hookimpl
from garboard.fields import Field, Kind
from garboard.findings import *
from garboard.settings import Setting
from garboard.steps import *

BASIS = (Basis(BasisKind.SHOP_RULE, "our list"),)
KEPT = []
DRY = Field(name="dry", title="Dry", kind=Kind.YES_NO)

def found(**more):
    return Finding(**{"verdict": Verdict.FAIL, "about": "pump", "sentence": "It is dead.", "basis": BASIS, **more})

def step(**more):
    return Step(**{"key": "NAME.step", "title": "Look", "phase": Phase.ALONGSIDE, "order": 1, "fields": (DRY,), **more})

def calculator(**more):
    return Calculator(**{"key": "NAME.check", "title": "Check", "step": "NAME.step", "compute": compute,
                         "basis": BASIS, **more})

def setting(default="1 h", hard=(0.5, 4), kind=Kind.AMOUNT, **field):
    own = {"name": "time", "title": "Time", "kind": kind, "quantity": "time", "unit": "h", "hard": hard, **field}
    return Setting(key="NAME.time", field=Field(**own), default=default, basis=BASIS[0])

def kind(**more):
    return EquipmentKind(**{"key": "NAME.reels", "title": "Reels", "one": "reel", "fields": (DRY,), **more})

def compute(view):
    yield found()

"""
_STEPS = "@hookimpl\ndef register_steps(register):\n    register(step())\n\n"
_CALCULATORS = "@hookimpl\ndef register_calculators(register):\n    register(calculator())\n\n"

Told = tuple[str, str]
"""How it is told, and the code."""


def _offering(hook: str, what: str) -> str:
    return f"@hookimpl\ndef register_{hook}(register):\n    register({what})\n"


def _computing(body: str) -> str:
    return _STEPS + _CALCULATORS + "def compute(view):\n" + indent(dedent(body), "    ") + "\n"


def _section(build: str) -> str:
    made = 'ReportSection(key="NAME.part", title="Part", order=1, build=build)'
    return _offering("report_sections", made) + f"def build(view, assessed):\n    {build}\n"


def _kind(what: str) -> str:
    return _offering("equipment", what)


_MANY_FACTS = "tuple(Field(name=f'f{n}', title='F', kind=Kind.YES_NO) for n in range(10_000))"
_EQUIPMENT: Mapping[str, tuple[Told, str]] = {
    "kind_with_a_field_twice": ((PROBLEM, "wrong_value"), _kind("kind(fields=(DRY, DRY))")),
    "kind_without_fields": ((PROBLEM, "wrong_value"), _kind("kind(fields=())")),
    "kind_of_10000_fields": ((PROBLEM, "wrong_value"), _kind(f"kind(fields={_MANY_FACTS})")),
    "kind_of_the_program": ((PROBLEM, "wrong_value"), _kind("kind(key='NAME.engines')")),
    "kind_without_plugin": ((PROBLEM, "wrong_value"), _kind("kind(key='reels')")),
    "kind_called_batteries": ((PROBLEM, "kind_taken"), _kind("kind(title='batteries')")),
    "kind_twice": ((PROBLEM, "key_taken"), _kind("kind()") + "    register(kind())\n"),
    "kinds_of_one_title": ((PROBLEM, "kind_taken"), _kind("kind()") + "    register(kind(key='NAME.rods'))\n"),
    "facts_of_one_title": (
        (FAULT, "same_title"),
        _kind("kind(fields=(DRY, Field(name='b', title='Dry', kind=Kind.YES_NO)))"),
    ),
    "kind_of_no_unit": (
        (PROBLEM, "wrong_value"),
        _kind("kind(fields=(Field(name='load', title='Load', kind=Kind.AMOUNT, quantity='weight', unit='stone'),))"),
    ),
    "kind_with_a_table": (
        (PROBLEM, "wrong_value"),
        _kind("kind(fields=(Field(name='rows', title='Rows', kind=Kind.TABLE, columns=(DRY,)),))"),
    ),
    "kind_with_a_name": (
        (PROBLEM, "wrong_value"),
        _kind("kind(fields=(Field(name='name', title='Name', kind=Kind.TEXT),))"),
    ),
    "kind_of_text": ((PROBLEM, "wrong_type"), _kind("kind(fields='dry')")),
    "kind_without_title": ((PROBLEM, "no_title"), _kind("kind(title=' ')")),
    "twenty_one_kinds": (
        (PROBLEM, "too_large"),
        "@hookimpl\ndef register_equipment(register):\n    for n in range(21):\n"
        "        register(kind(key=f'NAME.reels{n}', title=f'Reels {n}'))\n",
    ),
    "each_of_no_kind": (
        (PROBLEM, "unknown_kind"),
        _offering("steps", "step(fields=(Field(name='dry', title='Dry', kind=Kind.YES_NO, each='NAME.reels'),))"),
    ),
}
"""Kinds of equipment."""

_WHOLE: dict[str, tuple[Told, str]] = {
    # when it is imported
    "syntax": ((PROBLEM, "syntax_error"), "def broken(:\n"),
    "divides": ((PROBLEM, "failed"), "1 / 0\n"),
    "imports_nothing": ((PROBLEM, "no_module"), "import no_such_module_anywhere\n"),
    "leaves": ((PROBLEM, "ended_the_program"), "import sys\nsys.exit(0)\n"),
    "leaves_at_once": ((PROBLEM, "ended_the_program"), "import os\nos._exit(0)\n"),
    "leaves_by_posix": ((PROBLEM, "process_ended"), "import posix\nposix._exit(0)\n"),
    "bare": ((PROBLEM, "ended_the_program"), "raise BaseException('bare')\n"),
    "interrupts": ((PROBLEM, "ended_the_program"), "raise KeyboardInterrupt\n"),
    "loops_at_once": ((PROBLEM, "took_too_long"), "while True: pass\n"),
    "hoards_at_once": ((PROBLEM, "too_much_memory"), "kept = bytearray(1 << 40)\n"),
    "recurses": ((PROBLEM, "failed"), "def f(): return f()\nf()\n"),
    "later": ((PROBLEM, "other_version"), "written_for = 99\n"),
    "version_in_words": ((PROBLEM, "wrong_type"), 'written_for = "1"\n' + _STEPS),
    "version_of_two_lines": ((PROBLEM, "wrong_value"), '__version__ = "1\\n2"\n' + _STEPS),
    # what it offers
    "offers_nothing": ((PROBLEM, "offers_nothing"), "def register_steps(register):\n    register(step())\n"),
    "not_marked": (
        (FAULT, "hook_not_marked"),
        _STEPS + "def register_calculators(register):\n    register(calculator())\n",
    ),
    "no_register": (
        (FAULT, "hook_without_register"),
        _STEPS + "@hookimpl\ndef register_calculators():\n    return []\n",
    ),
    "misspelt_hook": ((PROBLEM, "wrong_hook"), "@hookimpl\ndef register_stepz(register):\n    pass\n"),
    "other_argument": ((PROBLEM, "wrong_hook"), "@hookimpl\ndef register_steps(registrar):\n    pass\n"),
    "aborts": ((PROBLEM, "ended_the_program"), "@hookimpl\ndef register_steps(register):\n    import os; os.abort()\n"),
    "breaks": (
        (PROBLEM, "process_ended"),
        "@hookimpl\ndef register_steps(register):\n    import ctypes; ctypes.string_at(0)\n",
    ),
    "order_in_words": ((PROBLEM, "wrong_type"), _offering("steps", 'step(order="first")')),
    "phase_in_words": ((PROBLEM, "wrong_type"), _offering("steps", 'step(phase="alongside")')),
    "kind_in_words": (
        (PROBLEM, "wrong_type"),
        _offering("steps", 'step(fields=(Field(name="a", title="A", kind="yes or no"),))'),
    ),
    "basis_alone": ((PROBLEM, "wrong_type"), _STEPS + _offering("calculators", "calculator(basis=BASIS[0])")),
    "basis_in_words": ((PROBLEM, "wrong_type"), _STEPS + _offering("calculators", 'calculator(basis="ours")')),
    "compute_in_words": ((PROBLEM, "wrong_type"), _STEPS + _offering("calculators", 'calculator(compute="compute")')),
    "choices_in_brackets": (
        (PROBLEM, "wrong_type"),
        _offering("steps", 'step(fields=(Field(name="a", title="A", kind=Kind.CHOICE, choices=("yes")),))'),
    ),
    "no_comma": ((PROBLEM, "wrong_type"), _offering("steps", "step(fields=(DRY))")),
    "unknown_unit": ((PROBLEM, "wrong_value"), _offering("settings", 'setting(unit="fathom")')),
    "unknown_quantity": ((PROBLEM, "wrong_value"), _offering("settings", 'setting(quantity="luck")')),
    "default_in_another_unit": ((PROBLEM, "wrong_value"), _offering("settings", 'setting(default="1 V")')),
    "default_as_number": ((PROBLEM, "wrong_value"), _offering("settings", "setting(default=1)")),
    "default_out_of_range": ((PROBLEM, "wrong_value"), _offering("settings", 'setting(default="9 h")')),
    "no_range": ((PROBLEM, "wrong_value"), _offering("settings", "setting(hard=None)")),
    "range_upside_down": ((PROBLEM, "wrong_value"), _offering("settings", "setting(hard=(4, 0.5))")),
    "offers_a_dict": ((PROBLEM, "wrong_type"), _offering("steps", '{"key": "a.b"}')),
    "offers_a_class": ((PROBLEM, "wrong_type"), _offering("steps", "Step")),
    "key_without_a_dot": ((PROBLEM, "wrong_value"), _offering("steps", 'step(key="look")')),
    "key_of_two_lines": ((PROBLEM, "wrong_value"), _offering("steps", 'step(key="NAME.a\\nb")')),
    "key_of_another": ((PROBLEM, "key_taken"), _STEPS + _offering("calculators", 'calculator(key="prop_check.mine")')),
    "key_twice": ((PROBLEM, "key_taken"), _offering("steps", "step()); register(step()")),
    "field_twice": ((PROBLEM, "wrong_value"), _offering("steps", "step(fields=(DRY, DRY))")),
    "table_without_columns": (
        (PROBLEM, "wrong_value"),
        _offering("steps", 'step(fields=(Field(name="a", title="A", kind=Kind.TABLE),))'),
    ),
    "guide_of_nothing": (
        (PROBLEM, "wrong_value"),
        _offering(
            "live_guides",
            'LiveGuide(key="NAME.guide", title="G", quantities=("luck",), begin=len, take=max, show=len)',
        ),
    ),
    "option_of_two_words": (
        (PROBLEM, "wrong_value"),
        _offering("recording_judges", 'RecordingJudge(key="NAME.judge", title="J", option="Two words", judge=len)'),
    ),
    "unknown_step": ((FAULT, "unknown_step"), _STEPS + _offering("calculators", 'calculator(step="NAME.stepp")')),
    "step_of_another": ((FAULT, "others_key"), _offering("steps", 'step(key="prop_check.own_step")')),
    # what careless authors wrote, who had read plugins/README.md alone
    "function_called": (
        (PROBLEM, "wrong_type"),
        _STEPS + _offering("calculators", "calculator(compute=compute(None))"),
    ),
    "singular_hook": ((PROBLEM, "wrong_hook"), "@hookimpl\ndef register_step(register):\n    register(step())\n"),
    "singular_hook_of_each": (
        (PROBLEM, "wrong_hook"),
        "from garboard.hooks import each_of\n\nregister_step = each_of((step(),))\n",
    ),
    "lambda_in_a_loop": (
        (PROBLEM, "same_function"),
        _STEPS
        + "@hookimpl\ndef register_calculators(register):\n    for name in ('bow', 'stern'):\n"
        + "        register(calculator(key=f'NAME.{name}', compute=lambda view: [found(about=name)]))\n",
    ),
    "kept_as_a_default": (
        (FINDING, "plugin_failed"),
        _STEPS + _CALCULATORS + "def compute(view, kept=[]):\n    kept.append(found())\n    return kept\n",
    ),
    "kept_as_a_default_told": (
        (FAULT, "keeps_state"),
        _STEPS + _CALCULATORS + "def compute(view, kept=[]):\n    kept.append(found())\n    return kept\n",
    ),
    "computes_later": ((FINDING, "plugin_failed"), _STEPS + _CALCULATORS + "async def compute(view):\n    return []\n"),
    "takes_two": ((FINDING, "plugin_failed"), _STEPS + _CALCULATORS + "def compute(self, view):\n    yield found()\n"),
    "helper_beside": ((PROBLEM, "no_module"), "from shop_helpers import word\n" + _STEPS),
    "quotes_of_a_letter": ((PROBLEM, "syntax_error"), "NAME_OF_IT = \u201cBilge\u201d\n"),
    "yields_steps": ((PROBLEM, "hook_returns"), "@hookimpl\ndef register_steps(register):\n    yield step()\n"),
    "returns_steps": ((PROBLEM, "hook_returns"), "@hookimpl\ndef register_steps(register):\n    return [step()]\n"),
    "no_title": ((FAULT, "no_title"), _offering("steps", 'step(title=" ")')),
    "field_without_title": (
        (FAULT, "no_title"),
        _offering("steps", 'step(fields=(Field(name="a", title="", kind=Kind.YES_NO),))'),
    ),
    "fields_of_one_title": (
        (FAULT, "same_title"),
        _offering("steps", 'step(fields=(DRY, Field(name="b", title="dry ", kind=Kind.YES_NO)))'),
    ),
    "log_file": ((PROBLEM, "uses_files"), "import logging\nlogging.basicConfig(filename='own.log')\n" + _STEPS),
    # its book
    "section_in_words": ((BOOK, "TypeError"), _section('return "all is well"')),
    "section_of_numbers": ((BOOK, "TypeError"), _section("return [1, 2]")),
    "section_of_nothing": ((BOOK, "TypeError"), _section("return None")),
    "section_loops": ((BOOK, "took too long"), _section("while True: pass")),
    "section_leaves": ((BOOK, "SystemExit"), _section("raise SystemExit")),
}

_BODIES: dict[str, tuple[Told, str]] = {
    "verdict_in_words": ((FINDING, "plugin_failed"), 'yield found(verdict="pass")'),
    "basis_of_text": ((FINDING, "plugin_failed"), 'yield found(basis="ours")'),
    "basis_not_tuple": ((FINDING, "plugin_failed"), "yield found(basis=BASIS[0])"),
    "no_basis": ((FINDING, "plugin_failed"), "yield found(basis=())"),
    "sentence_a_number": ((FINDING, "plugin_failed"), "yield found(sentence=5)"),
    "half_a_letter": ((FINDING, "plugin_failed"), "yield found(sentence=chr(0xd800))"),
    "nan_in_a_figure": (
        (FINDING, "plugin_failed"),
        'yield found(figures=(Figure("f", Axis("x"), Axis("y"), (Series("s", (1.0,), (float("nan"),)),)),))',
    ),
    "nan_in_a_number": ((FINDING, "plugin_failed"), 'yield found(numbers=(Number("n", float("nan")),))'),
    "cells_missing": ((FINDING, "plugin_failed"), 'yield found(tables=(Table("t", ("a", "b"), (("1",),)),))'),
    "passes_beyond_its_limit": (
        (FINDING, "plugin_failed"),
        'yield found(verdict=Verdict.PASS, numbers=(Number("n", 9.0),), limits=(Limit("n", high=3.0),))',
    ),
    "limit_of_nothing": (
        (FINDING, "plugin_failed"),
        'yield found(numbers=(Number("n", 9.0),), limits=(Limit("m", high=3.0),))',
    ),
    "code_of_another": ((FINDING, "plugin_failed"), 'yield found(code="prop_check.window.above")'),
    "doubts_unasked": (
        (FINDING, "plugin_failed"),
        'yield found(doubts=(Doubt("no", step="NAME.step", field="dry"),))',
    ),
    "gives_nothing": ((FINDING, "plugin_failed"), "return None"),
    "gives_one": ((FINDING, "plugin_failed"), "return found()"),
    "gives_dicts": ((FINDING, "plugin_failed"), 'yield {"verdict": "fail"}'),
    "gives_without_end": ((FINDING, "plugin_failed"), "while True: yield found()"),
    "asks_misspelt": ((FINDING, "plugin_failed"), 'yield found(about=str(view.value("NAME.step", "drie")))'),
    "asks_misspelt_step": ((FINDING, "plugin_failed"), 'yield found(about=str(view.value("NAME.stepp", "dry")))'),
    "asks_unknown_setting": ((FINDING, "plugin_failed"), 'yield found(about=str(view.setting("NAME.gone")))'),
    "leaves_computing": ((FINDING, "plugin_failed"), "raise SystemExit(0)"),
    "leaves_computing_at_once": ((FINDING, "plugin_failed"), "import os; os._exit(0)"),
    "leaves_computing_by_posix": ((FINDING, "process_ended"), "import posix; posix._exit(0)"),
    "bare_computing": ((FINDING, "plugin_failed"), "raise BaseException"),
    "says_nothing": (
        (FINDING, "plugin_failed"),
        """
        class Mute(NotEnoughData):
            def __init__(self): pass
        raise Mute
        """,
    ),
    "loops": ((FINDING, "took_too_long"), "while True: pass"),
    "breaks_computing": ((FINDING, "process_ended"), "import ctypes; ctypes.string_at(0)"),
    "hoards": ((FINDING, "too_much_memory"), "yield found(about=str(len(bytearray(1 << 40))))"),
    "shouts": ((FINDING, "too_much_output"), "yield found(sentence='x' * 9_000_000)"),
    "recurses_computing": ((FINDING, "plugin_failed"), "yield from compute(view)"),
    "reads_a_file": ((FINDING, "plugin_failed"), "yield found(about=open('/etc/hostname').read())"),
    "writes_a_file": ((FINDING, "plugin_failed"), "open('/tmp/of_a_plugin', 'w').write('x')"),
    "opens_a_connection": ((FINDING, "plugin_failed"), "import socket; socket.create_connection(('127.0.0.1', 9))"),
    "starts_a_program": ((FINDING, "plugin_failed"), "import subprocess; subprocess.run(['true'])"),
    "ends_the_parent": ((FINDING, "plugin_failed"), "import os; os.kill(os.getppid(), 9)"),
    "leaves_a_thread": (
        (FINDING, "plugin_failed"),
        """
        import threading, time
        threading.Thread(target=time.sleep, args=(60,), daemon=True).start()
        yield found()
        """,
    ),
    "waits_for_input": ((FINDING, "plugin_failed"), "yield found(about=input('Which? '))"),
    "by_chance": ((FAULT, "uses_chance"), "import random; yield found(about=str(random.random()))"),
    "by_the_clock": ((FAULT, "uses_clock"), "import time; yield found(about=str(time.time()))"),
    # what careless authors wrote, who had read plugins/README.md alone
    "check_forgotten": (
        (FINDING, "plugin_failed"),
        "dry = view.asking().yes('NAME.step', 'dry')\nyield found(verdict=Verdict.PASS if dry else Verdict.FAIL)",
    ),
    "everything_caught": (
        (FINDING, "plugin_failed"),
        """
        verdict = Verdict.PASS
        try:
            asking = view.asking()
            dry = asking.yes("NAME.step", "dry")
            asking.check()
            verdict = Verdict.PASS if dry else Verdict.FAIL
        except Exception:
            pass
        yield found(verdict=verdict)
        """,
    ),
    "everything_caught_told": (
        (FAULT, "swallows_errors"),
        "try:\n    dry = view.asking().yes('NAME.step', 'dry')\nexcept:\n    dry = True\nyield found()",
    ),
    "kept_findings": ((FINDING, "plugin_failed"), "KEPT.append(found())\nreturn KEPT"),
    "kept_told": ((FAULT, "keeps_state"), "KEPT.append(1)\nyield found()"),
    "counted_in_a_global": ((FAULT, "keeps_state"), "global COUNT\nCOUNT = 1\nyield found()"),
    "set_in_no_order": ((FAULT, "order_by_chance"), "for about in {'bow', 'stern'}:\n    yield found(about=about)"),
    "says_neither": ((FINDING, "plugin_failed"), "yield found(about='', sentence=' ')"),
    "comma_too_many": ((FINDING, "plugin_failed"), "yield found(),"),
    "check_not_called": (
        (FINDING, "plugin_failed"),
        "asking = view.asking()\nasking.yes('NAME.step', 'dry')\nasking.check\nyield found()",
    ),
    "if_check": (
        (FAULT, "check_gives_nothing"),
        "asking = view.asking()\nif asking.check():\n    yield found()",
    ),
    "not_entered_fails": (
        (FAULT, "not_entered_is_no"),
        "yield found(verdict=Verdict.PASS if view.value('NAME.step', 'dry') else Verdict.FAIL)",
    ),
    "stops_to_look": ((FINDING, "plugin_failed"), "breakpoint()\nyield found()"),
    "stops_to_look_told": ((FAULT, "waits_for_input"), "breakpoint()\nyield found()"),
    "setting_misspelt": ((FINDING, "plugin_failed"), "yield found(about=str(view.setting_value('NAME.gome', 'h')))"),
    "rows_without_end": (
        (SHORTENED, ""),
        'yield found(tables=(Table("t", ("a",), tuple((str(n),) for n in range(20_000))),))',
    ),
    "runs_off_the_page": ((SHORTENED, ""), "yield found(sentence='word ' * 220)"),
    "a_million_letters": ((SHORTENED, ""), "yield found(sentence='word ' * 200_000)"),
}


def sources() -> dict[str, tuple[Told, str]]:
    """Every wrong plugin by name: how it is told and by which code, and its file."""
    whole = {**_WHOLE, **_EQUIPMENT, **{name: (told, _computing(body)) for name, (told, body) in _BODIES.items()}}
    return {name: (told, _file(name, text)) for name, (told, text) in whole.items()}


def computing(name: str, body: str) -> str:
    """One whose compute is of these lines."""
    return _file(name, _computing(body))


def offering(name: str, hook: str, what: str) -> str:
    """One that offers a thing by a hook."""
    return _file(name, _offering(hook, what))


def made(name: str, text: str) -> str:
    """One of this text, after what stands before each."""
    return _file(name, text)


def good(name: str) -> str:
    """One that nothing is wrong with."""
    return _file(name, _STEPS + _CALCULATORS)


def _file(name: str, text: str) -> str:
    is_alone = not ("step(" in text or "hookimpl" in text)
    return text if is_alone else (_HEAD + text).replace("NAME", name)
