"""For the author of a shop's own checks: make a job, judge it as the program does, read the findings as data.

A plugin never imports this; the tests of a plugin do. It opens no window and needs no test framework.

    from garboard.testing import as_data, job_from, judge, load

    host = load(Path("my_checks.py"))
    job = job_from({"vessel": {...}, "job": {...}, "measurements": [...]}, host)
    (found,) = as_data(judge(job, host, "my_checks.dry"))
    assert found["verdict"] == "pass"

Where no host is given, the built-in plugins judge:

>>> job = job_from({"vessel": {"hull_number": "XYZAB123F526"}, "job": {"id": "J1"}})
>>> sorted({found["verdict"] for found in as_data(judge(job))})
['not enough data']
"""

from __future__ import annotations

import json
import warnings
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

from garboard.disk.hullfile import HullFolder
from garboard.faults import Fault, InputError
from garboard.hosting.host import BUILT_IN, PluginHost, make_host
from garboard.job_files import job_file
from garboard.job_view import JobView
from garboard.judging.assessing import jobs_in, read_checked
from garboard.records import JsonValue
from garboard.report.json_out import assessed_as_plain
from garboard.steps import Assessed

__all__ = ["as_data", "job_from", "judge", "load", "open_folder"]


def load(*plugins: Path | str | ModuleType, built_in: bool = True) -> PluginHost:
    """Load plugins, each a Python file, a package's folder or an imported module.

    built_in : whether the plugins that come with the program judge too
    Raises ValueError that names each plugin which could not be loaded, and why.
    """
    files = [Path(plugin) for plugin in plugins if not isinstance(plugin, ModuleType)]
    host = make_host(
        BUILT_IN if built_in else (),
        entry_points=False,
        files=files,
        modules={plugin.__name__: plugin for plugin in plugins if isinstance(plugin, ModuleType)},
    )
    if host.problems:
        raise ValueError("; ".join(f"plugin {problem.name}: {problem.reason}" for problem in host.problems))
    return host


def job_from(
    source: Path | Mapping[str, JsonValue], host: PluginHost | None = None, folder: Path | None = None
) -> JobView:
    """A job ready to be judged, from a job file or from the same as a dict.

    source : a dict may leave out "format" and "version"
    folder : where the recordings of a dict lie; those of a file lie beside it
    Raises InputError with every fault, as the program does.
    """
    plugins = host or _built_in()
    if isinstance(source, Path):
        return job_file.view_of(read_checked(source, plugins), source.parent)
    if not isinstance(source, Mapping):
        raise InputError(
            "job", [Fault("job", "the path of a job file, or its content as a dict", type(source).__name__)]
        )
    whole = {**job_file.JOB_FILE.heading, **source}
    try:
        text = json.dumps(whole)
    except (TypeError, ValueError) as failure:
        raise InputError(
            "job", [Fault("job", "only what JSON holds: text, numbers, lists, dicts", str(failure))]
        ) from None
    read = job_file.parse_job_file(text, "job", plugins)
    faults = [*job_file.check(read, plugins, folder), *job_file.settings_faults(read.settings, plugins)]
    if faults:
        raise InputError("job", faults)
    return job_file.view_of(read, folder or Path())


@contextmanager
def open_folder(folder: Path) -> Iterator[tuple[JobView, ...]]:
    """The jobs in a tablet's or a shop's folder of hull files, which is only read.

    A hull file that cannot be read is passed over with a warning. Recordings are read when a check asks for them, so
    judge before the folder is closed.
    """
    with HullFolder(folder, read_only=True) as hulls:
        found = tuple(view for _, view in jobs_in(hulls))
        for path, reason in hulls.left_alone.items():
            warnings.warn(f"not read, so its jobs are not among these: {path}: {reason}", stacklevel=3)
        yield found


def judge(job: JobView, host: PluginHost | None = None, calculator: str = "") -> tuple[Assessed, ...]:
    """What the checks say of a job, in the order people read it.

    calculator : the key of one, to have only its findings
    Raises ValueError for a key no loaded plugin offers.
    """
    plugins = host or _built_in()
    known = [one.key for one in plugins.calculators]
    if calculator and calculator not in known:
        raise ValueError(f"no loaded plugin offers calculator {calculator!r}; there are {', '.join(known)}")
    found = plugins.assess(job)
    return tuple(one for one in found if calculator in ("", one.calculator))


def as_data(assessed: Iterable[Assessed]) -> list[dict[str, Any]]:
    """Findings as plain data, with the keys `garboard assess --json` prints."""
    plain: list[dict[str, Any]] = json.loads(json.dumps([assessed_as_plain(one) for one in assessed]))
    return plain  # through JSON, so that its lists are lists here too


@lru_cache(maxsize=1)
def _built_in() -> PluginHost:
    return load()
