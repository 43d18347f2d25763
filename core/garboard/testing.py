"""For the author of a shop's own checks: make a job, judge it as the program does, read the findings as data.

A plugin never imports this; the tests of a plugin do. It opens no window and needs no test framework.

    from garboard.testing import judged, load

    HOST = load(Path("my_checks.py"))

    def test_a_wet_bilge_fails():
        (found,) = judged("my_checks.dry", {"my_checks.afloat/dry": False}, HOST)
        assert found["verdict"] == "fail"

With pytest the fixture `garboard_judge` does the same and finds the plugin beside the test: see `pytest_plugin`.

A value stands under the name the program tells it by: step/field, step/field/row, step/field/row/piece. Bytes are a
recording, such as `made_recording` makes. What `judged` does in one line is `job_of`, `job_from`, `judge`, `as_data`:

>>> made_recording({"engine_speed#0": 5800.0, "heading true": lambda time: 340 + time}, seconds=1, rate=2).splitlines()
[b'time,engine_speed#0 [rev/min],heading true [deg]', b'0.000,5800,340', b'0.500,5800,340.5', b'1.000,5800,341']

Where no host is given, the built-in plugins judge:

>>> job = job_from({"vessel": {"hull_number": "XYZAB123F526"}, "job": {"id": "J1"}})
>>> sorted({found["verdict"] for found in as_data(judge(job))})
['not enough data']
"""

from __future__ import annotations

import json
import re
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

from garboard.disk.hullfile import HullFolder
from garboard.disk.scratch import ScratchFolder
from garboard.disk.storage import write_whole
from garboard.faults import Fault, InputError
from garboard.hosting.host import BUILT_IN, PluginHost, make_host
from garboard.hosting.unused import why_not_used
from garboard.job_files import job_file
from garboard.job_files.unrecognised import unrecognised
from garboard.job_view import JobView, place_of
from garboard.judging.assessing import jobs_in, read_checked
from garboard.records import JsonValue
from garboard.report.json_out import assessed_as_plain
from garboard.samples import UNIT_OF_QUANTITY
from garboard.steps import Assessed

__all__ = [
    "HULL_NUMBER",
    "Judge",
    "PluginHost",
    "as_data",
    "job_from",
    "job_of",
    "judge",
    "judged",
    "load",
    "made_recording",
    "open_folder",
]

Judge = Callable[..., list[dict[str, Any]]]
"""The type of the fixture `garboard_judge`."""

HULL_NUMBER = "XYZAB123F526"
"""Of an invented boat, for a test that names none."""


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


def job_of(
    values: Mapping[str, JsonValue | bytes],
    *,
    vessel: Mapping[str, JsonValue] | None = None,
    settings: Mapping[str, JsonValue] | None = None,
    folder: Path | None = None,
) -> dict[str, JsonValue]:
    """A job as a dict, for `job_from`.

    values   : by the names the program tells them by, "step/field/row/piece"; bytes are a recording
    vessel   : as in a job file ({"engines": [{"position": "port"}]})
    settings : by their keys, as in a job file
    folder   : where recordings are written, and where `job_from` then looks for them

    >>> job_of({"my_checks.runs/speed/2": "30 kn"})["measurements"]
    [{'step': 'my_checks.runs', 'field': 'speed', 'row': '2', 'of': '', 'value': '30 kn'}]

    Raises ValueError for a name that is none, and for a recording without a folder.
    """
    measurements: list[JsonValue] = []
    for name, value in values.items():
        step, field, row, of = _parts_of(name)
        if isinstance(value, bytes):
            if folder is None:
                raise ValueError(f"{name!r} is a recording, so give the folder it is written to")
            file = folder / f"recording {len(measurements) + 1}.csv"
            write_whole(file, [value])
            value = {"file": file.name}
        measurements.append({"step": step, "field": field, "row": row, "of": of, "value": value})
    boat: dict[str, JsonValue] = {"hull_number": HULL_NUMBER, **(vessel or {})}
    whole: dict[str, JsonValue] = {"vessel": boat, "job": {"id": "test"}, "measurements": measurements}
    return {**whole, "settings": dict(settings)} if settings else whole


def _parts_of(name: str) -> tuple[str, str, str, str]:
    parts = name.split("/", 3)
    if len(parts) < 2 or not all(parts[:2]):
        raise ValueError(f"a value is named step/field, step/field/row or step/field/row/piece, got {name!r}")
    step, field, row, of = (*parts, "", "")[:4]
    return step, field, row, of


def made_recording(
    columns: Mapping[str, float | Callable[[float], float] | Sequence[float]], seconds: float = 60.0, rate: float = 10.0
) -> bytes:
    """A recording as a CSV series, in the unit that samples of each quantity have.

    columns : by quantity, with instance and reference as a recording has them ("engine_speed#0", "heading true");
              each a steady value, a function of the time [s], or the values themselves
    rate    : lines a second [1/s]
    Raises ValueError for a quantity that no recording can hold, and for values of another count than lines.
    """
    count = round(seconds * rate) + 1
    times = [number / rate for number in range(count)]
    unknown = [name for name in columns if _quantity_of(name) not in UNIT_OF_QUANTITY]
    if unknown:
        raise ValueError(f"no quantity is called {', '.join(unknown)}; there are {', '.join(UNIT_OF_QUANTITY)}")
    heads = [f"{name} [{UNIT_OF_QUANTITY[_quantity_of(name)]}]" for name in columns]
    series = [_values_of(name, one, times) for name, one in columns.items()]
    lines = (",".join([f"{times[at]:.3f}", *(f"{one[at]:.9g}" for one in series)]) for at in range(count))
    return ("\n".join([",".join(["time", *heads]), *lines]) + "\n").encode()


def _quantity_of(name: str) -> str:
    return re.split(r"[ #@]", name, maxsplit=1)[0]


def _values_of(
    name: str, given: float | Callable[[float], float] | Sequence[float], times: Sequence[float]
) -> Sequence[float]:
    if callable(given):
        return [given(time) for time in times]
    if isinstance(given, int | float):
        return [given] * len(times)
    if len(given) != len(times):
        raise ValueError(f"{name!r} has {len(given)} values for {len(times)} lines; give one for each")
    return given


def judged(
    calculator: str,
    values: Mapping[str, JsonValue | bytes],
    host: PluginHost | None = None,
    *,
    vessel: Mapping[str, JsonValue] | None = None,
    settings: Mapping[str, JsonValue] | None = None,
) -> list[dict[str, Any]]:
    """What one calculator finds of some values, as plain data: `job_of`, `job_from`, `judge` and `as_data` in one.

    Raises InputError with every fault, as the program does, and for what no check would read: a step or setting that
    no plugin here declares, a value in a wrong row.
    """
    with ScratchFolder("test") as place:  # a recording is read while it is judged
        whole = job_of(values, vessel=vessel, settings=settings, folder=Path(place))
        job = job_from(whole, host, Path(place))
        if misspelt := [*_read_by_nothing(job, host or _built_in())]:
            raise InputError("values", misspelt)
        return as_data(judge(job, host, calculator))


def _read_by_nothing(job: JobView, host: PluginHost) -> Iterator[Fault]:
    """What no check would read, which a job file may hold and a test does not mean: misspelt, or in a wrong row."""
    yield from (Fault(where, what) for where, what in unrecognised(job, host))
    for one in job.measurements:
        if why := why_not_used(place_of(one), job.vessel, host):
            name = "/".join(place_of(one)).rstrip("/")
            yield Fault(name, "a value that a check reads", why)


def job_from(
    source: Path | Mapping[str, JsonValue], host: PluginHost | None = None, folder: Path | None = None
) -> JobView:
    """A job ready to be judged, from a job file or from the same as a dict.

    source : a dict may leave out "format" and "version"
    folder : where the recordings of a dict lie; those of a file lie beside it. A photo of a dict need not be there
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
    return job_file.view_of(read, folder or Path(), names_suffice=True)


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
