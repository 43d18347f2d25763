"""What the program says of the sample jobs, as JSON: the same lines run on the desk's Python and in WebAssembly.

Run:  python tests/webassembly/judge.py      (in the root of a checkout)
"""

from __future__ import annotations

import io
import json
import sys
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from typing import Any

JUDGING = ("wiring_audit", "heading_calibration", "prop_check", "fuel_curve", "engine_trial", "handover")
LEVELS = 1000


def said() -> dict[str, Any]:  # JSON
    """Findings of all sample jobs as data and as printed, what is said of broken files, and what can be imported."""
    from rich.console import Console

    from garboard.faults import InputError
    from garboard.hosting.host import make_host
    from garboard.judging.assessing import assess_path
    from garboard.recordings import load_recording
    from garboard.report import json_out
    from garboard.report.job_report import print_report

    host = make_host(entry_points=False)
    jobs, printed, recordings = [], io.StringIO(), {}
    for one in assess_path(Path("sample_jobs"), host):
        if isinstance(one, InputError):
            jobs.append(json_out.faulty_job(one.source, one.faults))
        else:
            jobs.append(json_out.assessed_job(one.source, one.view, host, one.assessed, one.questions))
            print_report(Console(file=printed, width=100), one.view, host, one.assessed, one.questions, full=True)
    for path in sorted(Path("sample_jobs/broken/recordings").iterdir()):
        try:
            recording, notes = load_recording(path)
            recordings[path.name] = [repr(recording.streams.keys()), repr(notes)]
        except InputError as failure:
            recordings[path.name] = [str(failure)]
    return {
        "python": list(sys.version_info[:2]),
        "platform": sys.platform,
        "findings": json.loads(json_out.document(host, jobs)),
        "printed": printed.getvalue().splitlines(),
        "recordings": recordings,
        "nested": _of_many_levels(),
        "modules": _imported(),
    }


def _of_many_levels() -> str:
    from garboard.faults import InputError
    from garboard.job_files.job_file import parse_job_file

    try:
        parse_job_file('{"format": "garboard job", "deep": ' + "[" * LEVELS + "]" * LEVELS + "}", "deep.json")
    except InputError as failure:
        return str(failure)
    return "nothing was said"


def _imported() -> list[str]:
    """Every module of the core, but for its main program, and of the plugins that judge."""
    names = ["garboard", *(f"garboard_{name}" for name in JUDGING)]
    found = [one.name for name in names for one in walk_packages(import_module(name).__path__, f"{name}.")]
    modules = [name for name in found if not name.endswith("__main__")]
    for name in modules:
        import_module(name)
    return modules


if __name__ == "__main__":
    print(json.dumps(said()))
