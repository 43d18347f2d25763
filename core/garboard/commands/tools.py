"""What several commands share: their exit statuses, a file written where a person named it, what the book needs."""

from __future__ import annotations

import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from garboard.faults import Fault, InputError, ValueRefused, in_words, shown
from garboard.hull_number import NO_BOAT

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence

    from rich.status import Status

    from garboard.fields import Field
    from garboard.history.registers import RegisterKey
    from garboard.hosting.host import PluginHost
    from garboard.records import JsonValue
    from garboard.settings import Setting

SOMETHING_FAILS = 1
BAD_INPUT = 2


def beside_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """For a command that names no data: the folder whose `plugins` are read too."""
    import click

    option: Callable[[Callable[..., Any]], Callable[..., Any]] = click.option(
        "--beside",
        default=Path(),
        type=click.Path(path_type=Path, exists=True),
        help="A job file or a folder: plugins in the folder 'plugins' beside it are read too. Default: this folder.",
    )
    return option(command)


@contextmanager
def reading_shown(begins: str = "") -> Iterator[None]:
    """Show on a terminal how far a large recording is read. Nothing is printed where nobody watches.

    begins : what is shown at once; else nothing is before a second has gone by
    """
    from rich.console import Console
    from rich.markup import escape

    from garboard.recordings import watching

    console = Console(stderr=True)
    if not console.is_terminal:
        yield
        return
    status = console.status(escape(begins))
    if begins:
        status.start()
    try:
        with watching(_Shown(status)):
            yield
    finally:
        status.stop()


class _Shown:
    """Shows how far a recording is read, four times a second."""

    def __init__(self, status: Status) -> None:
        from rich.text import Text

        self._status, self._text = status, Text
        self._next = time.monotonic() + 1

    def __call__(self, name: str, share: float, lines: int) -> None:
        now = time.monotonic()
        if now >= self._next:
            self._next = now + 0.25
            count = f"{lines:,}".replace(",", " ")
            self._status.update(self._text(f"Reading {name[:40]}: {min(share, 1.0):.0%}, {count} lines"))
            self._status.start()


def record_in_words(hull: str) -> str:
    """What a person calls what is kept under a hull's key: the hull number, or the shop's settings."""
    return "the shop's settings" if hull == NO_BOAT else hull


def write_file(path: Path, content: bytes | Iterable[bytes]) -> None:
    """Write a file the person named; its folder is made. One that was there is as before until the new one is whole.

    Raises InputError when that cannot be done.
    """
    from garboard.disk.storage import NotSaved, write_out

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_out(path, content)
    except (OSError, NotSaved) as failure:
        raise InputError(str(path), [Fault("file", "a place that can be written", in_words(failure))]) from None


def need_office() -> None:
    """Raise InputError unless what draws the handover book is installed."""
    from importlib.util import find_spec

    from garboard.report.press import NEEDED

    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        raise InputError(
            "handover book", [Fault("packages", "the office part: pip install 'garboard[office]'", ", ".join(missing))]
        )


def declared_setting(host: PluginHost, key: str) -> Setting:
    """The setting of a key. Raises InputError, with keys that are near, when no plugin at work declares it."""
    from difflib import get_close_matches

    declared = {setting.key: setting for setting in host.settings}
    if key not in declared:
        near = get_close_matches(key, declared, n=3)
        perhaps = f", perhaps {' or '.join(near)}" if near else ""
        expected = f"a key as `garboard settings list --all` shows it{perhaps}"
        raise InputError("settings", [Fault("KEY", expected, shown(key))])
    return declared[key]


def checked_value(setting: Setting, text: str) -> JsonValue:
    """What a person typed, as the kind of value the setting takes. Raises InputError where it cannot be used."""
    from garboard.fields import check_value

    value = setting.typed(text)
    try:
        check_value(setting.field, value)
    except ValueRefused as refused:
        raise InputError("settings", [refused.at(setting.key)]) from None
    return value


def refuse_crossed(host: PluginHost, values: Mapping[str, JsonValue], key: str) -> None:
    """Raise InputError where a setting and one it is paired with would be the wrong way round, and for what is looser
    than a check of the shop's asks; see `check_pairs` and `refuse_looser`."""
    from garboard.settings import check_pairs, refuse_looser

    try:
        refuse_looser(host.settings, values[key], key)
        check_pairs(host.settings, values, key)
    except ValueRefused as refused:
        raise InputError("settings", [refused.at(key)]) from None


def settled_value(host: PluginHost, key: RegisterKey, text: str, held: Sequence[JsonValue]) -> JsonValue:
    """What a person typed as another value of a register, as its field takes it and in the program's own spelling.

    held : the values that stand there
    Raises InputError where it cannot be used: it would take the place of values that can.
    """
    if key.kind == "setting":
        return text
    if key.is_measurement:
        step, name = key.subject[:2]
        field = next((one for one in _fields_of(host, step) if one.name == name), None)
        if field is not None:
            return _of_field(field, text)
    if key.kind == "field":
        return _of_vessel(key.subject, text)
    there = " or ".join(shown(value) for value in held)
    raise InputError("settle", [Fault("--value", f"one of those that disagree, {there}", shown(text))])


def _fields_of(host: PluginHost, step: str) -> Sequence[Field]:
    declared = host.step(step)
    return tuple(declared.all_fields()) if declared else ()


def _of_field(field: Field, text: str) -> JsonValue:
    from garboard.fields import check_value, typed_value

    value = typed_value(field, text)
    try:
        check_value(field, value)
    except ValueRefused as refused:
        raise InputError("settle", [refused.at("--value")]) from None
    return value


def _of_vessel(path: tuple[str, ...], text: str) -> JsonValue:
    from garboard.fields import SAID
    from garboard.history.vessel import assemble_vessel
    from garboard.units import UNITS_OF, in_own_spelling

    spelled = [own for quantity in UNITS_OF if (own := in_own_spelling(text, quantity)) != text]
    plain: list[JsonValue] = [int(text)] if len(text) < 20 and text.strip().isdecimal() else []
    plain += [SAID.get(text.strip().casefold(), text)]
    faults: Sequence[Fault] = ()
    for value in (*spelled, *plain, text):
        _, faults = assemble_vessel([(path, value)], "A")
        if not faults:
            return value
    raise InputError("settle", faults)


def refuse_unless_a_pdf_can_stand_there(out: Path) -> None:
    """Raises InputError for a name that is no PDF's, or in a folder that does not exist."""
    faults = []
    if out.suffix.lower() != ".pdf":
        faults.append(Fault("--out", f"a name that ends in .pdf, such as {out.with_suffix('.pdf').name}", out.name))
    if not out.parent.is_dir():
        faults.append(Fault("--out", "an existing folder; make it first", f"{out.parent}, which does not exist"))
    if faults:
        raise InputError(str(out), faults)


def no_step(where: str, key: str, known: Collection[str]) -> Fault:
    """What is wrong with the key of a step that nobody knows: those that are spelled nearly so, not all of them."""
    from difflib import get_close_matches  # here: nearly all words are known

    near = get_close_matches(key, known, n=3)
    cure = f"perhaps {' or '.join(near)}" if near else "'garboard steps' lists them"
    return Fault(where, "the key of a step", shown(key), cure=cure)
