"""Where a plugin comes from: its module found and imported, unless it was written for another program."""

from __future__ import annotations

import ast
import importlib.util
import os
import re
import sys
import tokenize
from collections.abc import Collection, Iterable
from importlib.machinery import PathFinder
from io import BytesIO
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import garboard
from garboard.checks.module import is_check
from garboard.faults import refuse_endless
from garboard.hosting.failures import PluginFault, PluginProblem, cure_of
from garboard.record_types import frozen

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

ENTRY_POINT_GROUP = "garboard.plugins"

WRITTEN_FOR = "written_for"
UNSTATED = 1
"""Counts as `written_for` of a plugin that states none: the first plugins stated nothing."""
LARGEST_VERSION = 9999
"""A larger `written_for` is a slip of the keyboard: no update of the program would ever cure it."""
LONGEST_SHOWN = 60
_TOO_LONG_FOR_PYTHON = re.compile(rb"^%s\b[^=\n]*=\s*(\d{5,})" % WRITTEN_FOR.encode(), re.MULTILINE)


@frozen
class Source:
    """Where a plugin comes from.

    file  : a Python file or a package's folder; "" for an installed one
    entry : the name of its entry point; "" for a file
    """

    file: str = ""
    entry: str = ""


class WrittenForAnotherVersion(PluginFault, ValueError):
    """A plugin was written for a version of the front door that this program does not have."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason, "other_version")


PLUGINS_FOLDER = "plugins"
CHECK = ".toml"
"""How the name of a check file ends: a plugin that is data, and holds no code."""


def suffix_of(content: bytes) -> str:
    """How the name of a plugin's file ends, by its content: what travels to a tablet is the content and the name."""
    return CHECK if is_check(content) else ".py"


def plugins_beside(data: Path, but: Collection[str] = ()) -> tuple[Path, ...]:
    """The plugins in the folder `plugins` beside a job file, or in a folder of hull files or jobs.

    but : names that are left out
    """
    place = (data if data.is_dir() else data.parent) / PLUGINS_FOLDER
    found = sorted(place.iterdir()) if place.is_dir() else []
    return tuple(path for path in found if _is_plugin(path) and path.stem not in but)


def refused_beside(data: Path, taken: Collection[str]) -> tuple[PluginProblem, ...]:
    """What lies there as a plugin and does not run for its name alone: nobody must take its silence for a pass.

    taken : names of the plugins that come with the program
    """
    place = (data if data.is_dir() else data.parent) / PLUGINS_FOLDER
    found = sorted(place.iterdir()) if place.is_dir() else []
    return tuple(_refused(path, taken) for path in found if _is_meant(path) and not _runs(path, taken))


def _runs(path: Path, taken: Collection[str]) -> bool:
    """Whether it runs, or is the program's own: a folder of the program's source holds those."""
    return _is_plugin(path) and (path.stem not in taken or (path / "py.typed").is_file())


def _refused(path: Path, taken: Collection[str]) -> PluginProblem:
    if _is_plugin(path):
        reason, code = f"{path.stem} is the name of a plugin that comes with the program", "name_taken"
        return PluginProblem(name=path.stem, reason=reason, code=code, file=str(path), cure=cure_of(code))
    stem = re.sub(r"\W", "_", path.stem)
    stem = stem if stem.isidentifier() and stem not in taken else f"own_{stem}"
    suffix = path.suffix.lower() if path.suffix.lower() in (".py", CHECK) else ""
    name = path.name if suffix else f"the folder {path.name}"
    return PluginProblem(
        name=path.stem,
        reason=f"it is called {name!r}; a plugin's name has letters, digits and _ alone, and no digit first",
        code="wrong_name",
        file=str(path),
        cure=f"call it {stem}{suffix}",
    )


def _is_plugin(path: Path) -> bool:
    return path.stem.isidentifier() and (path.suffix in (".py", CHECK) or (path / "__init__.py").is_file())


def _is_meant(path: Path) -> bool:
    """Whether somebody put it there as a plugin. What a system hides is not theirs."""
    return path.name[0] != "." and (path.suffix.lower() in (".py", CHECK) or (path / "__init__.py").is_file())


def installed_plugins() -> Iterable[EntryPoint]:
    """Plugins that were installed as distributions."""
    others = (finder for finder in sys.meta_path if finder is not PathFinder)
    if not (any(map(_may_offer, sys.path)) or any(hasattr(finder, "find_distributions") for finder in others)):
        return ()
    from importlib.metadata import entry_points  # here: with it an assessment takes 3 % longer

    return entry_points(group=ENTRY_POINT_GROUP)


def _may_offer(place: object) -> bool:
    """Whether a distribution in a place that Python imports from may offer a plugin. What is no folder may.

    place : as it stands in `sys.path`, where others put paths that are no text
    """
    try:
        with os.scandir(str(place) or os.curdir) as found:
            folders = [one.path for one in found if one.name.lower().endswith((".dist-info", ".egg-info"))]
    except FileNotFoundError:
        return False
    except (OSError, ValueError):
        return True
    return str(place).lower().endswith(".egg") or any(map(_states_group, folders))


def _states_group(folder: str) -> bool:
    try:
        descriptor = os.open(f"{folder}{os.sep}entry_points.txt", os.O_RDONLY)
        with os.fdopen(descriptor, "rb") as file:
            return ENTRY_POINT_GROUP.encode() in file.read()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        return True


def find_module(source: Source) -> ModuleType:
    """A plugin's module, imported."""
    if source.file:
        return _import_file(Path(source.file))
    (entry,) = (one for one in installed_plugins() if one.name == source.entry)
    module: ModuleType = entry.load()
    return module


def _import_file(path: Path) -> ModuleType:
    file = path / "__init__.py" if path.is_dir() else path
    name = f"garboard_shop_file_{path.stem}"  # a shop's "json.py" must not stand in for the real one
    spec = importlib.util.spec_from_file_location(name, file)
    if spec is None or spec.loader is None or not file.exists():
        raise FileNotFoundError(f"{file} is not a Python file")
    refuse_other_versions(_stated_in(file))
    _refuse_other_encodings(file)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module


def _refuse_other_encodings(file: Path) -> None:
    """Raise PluginFault for a file that an editor saved in another form than Python reads. One may state its own."""
    content = file.read_bytes()
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise PluginFault("it is saved as UTF-16, which Python does not read", "not_utf8", file=str(file))
    try:
        content.decode(_encoding_of(content))
    except UnicodeDecodeError as fault:
        line = content.count(b"\n", 0, fault.start) + 1
        reason = f"byte {content[fault.start]:#04x} in it is no letter in {fault.encoding}"
        raise PluginFault(reason, "not_utf8", file=str(file), line=line) from None


def _encoding_of(content: bytes) -> str:
    """As the file states it; UTF-8 where it states none, or one that Python has not: running it says so."""
    try:
        return tokenize.detect_encoding(BytesIO(content).readline)[0]
    except SyntaxError:
        return "utf-8"


def refuse_other_versions(written_for: object) -> None:
    """Raise unless a plugin written for this `garboard.API_VERSION` works here."""
    newest, oldest = garboard.API_VERSION, garboard.OLDEST_API_VERSION
    if type(written_for) is not int or not 1 <= written_for <= LARGEST_VERSION:
        raise TypeError(
            f"{WRITTEN_FOR} must be a whole number from 1 to {LARGEST_VERSION}, got {_in_short(written_for)}; "
            f"state the garboard.API_VERSION it was written against, such as {newest}"
        )
    if written_for > newest:
        raise WrittenForAnotherVersion(
            f"it is written for version {written_for} of the plugin interface, and this program has version {newest}; "
            "update the program, or use an older version of the plugin"
        )
    if written_for < oldest:
        raise WrittenForAnotherVersion(
            f"it is written for version {written_for} of the plugin interface, and this program accepts {oldest} to "
            f"{newest}; get a newer version of the plugin, or ask its author for one"
        )


def _in_short(stated: object) -> str:
    """What a plugin states, as its author finds it. It may be anything: too long to print, or of a broken class."""
    try:
        text = repr(stated)
    except Exception:
        return "a number too long to show" if isinstance(stated, int) else f"something of {type(stated)}"
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 3]}..."


def _stated_in(file: Path) -> object:
    """What a plugin's file states as `written_for`, read without running it.

    A plugin for a newer program may import what is not there yet; its own failure would not say what to do.
    """
    refuse_endless(file, "a Python file")
    source = file.read_bytes()
    try:
        body = ast.parse(source).body
    except (SyntaxError, ValueError):
        if too_long := _TOO_LONG_FOR_PYTHON.search(source):
            return 10 ** len(too_long[1])  # Python's own words would be about a setting of its interpreter
        return UNSTATED  # running it says what is wrong with it
    for line in body:
        if isinstance(line, ast.Assign | ast.AnnAssign) and isinstance(line.value, ast.Constant):
            targets = line.targets if isinstance(line, ast.Assign) else [line.target]
            if any(isinstance(target, ast.Name) and target.id == WRITTEN_FOR for target in targets):
                return line.value.value
    return UNSTATED
