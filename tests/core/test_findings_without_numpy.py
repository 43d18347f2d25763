"""A tablet judges without numpy: every finding of every sample reads the same with it and without."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import garboard

ROOT = Path(garboard.__file__).parents[2]
JUDGING = ("wiring_audit", "heading_calibration", "prop_check", "fuel_curve", "engine_trial", "handover")
SAMPLES = sorted(str(path) for path in (ROOT / "sample_jobs").glob("*/job.json"))

SAYS_IT_ALL = """
import sys
{numpy}
from pathlib import Path
from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_job_file
from garboard.report.json_out import assessed_job, document
host = make_host(entry_points=False)
for path in {samples}:
    job = assess_job_file(Path(path), host)
    print(document(host, [assessed_job(path, job.view, host, job.assessed, job.questions)]))
print("numpy is here" if sys.modules.get("numpy") else "numpy is away", file=sys.stderr)
"""


def _findings(numpy: str) -> tuple[str, str]:
    code = SAYS_IT_ALL.format(numpy=numpy, samples=SAMPLES)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout, done.stderr.strip().splitlines()[-1]


def test_all_findings_of_all_samples_are_the_same_without_numpy() -> None:
    with_it, here = _findings("import numpy")
    without, away = _findings("sys.modules['numpy'] = None")
    assert (here, away) == ("numpy is here", "numpy is away")
    assert len(SAMPLES) >= 3
    assert with_it.count('"code":') > 100
    assert "plugin_failed" not in without
    assert without == with_it


def test_nothing_that_judges_imports_numpy() -> None:
    flat = sorted((ROOT / "core" / "garboard").glob("*.py"))
    plugins = [file for name in JUDGING for file in (ROOT / "plugins" / f"garboard_{name}").rglob("*.py")]
    assert len(flat) > 10
    assert len(plugins) > 50
    found = [
        f"{file.name}:{node.lineno}"
        for file in (*flat, *plugins)
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if (isinstance(node, ast.Import) and any(alias.name.split(".")[0] == "numpy" for alias in node.names))
        or (isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "numpy")
    ]
    assert found == []
