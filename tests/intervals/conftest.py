"""Prints how every figure did, whether it held or not."""

import pytest

from intervals import pitch_forecast_trials, tables


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The table of coverage, from what the tests recorded."""
    reports = [
        report for kind in ("passed", "failed", "xfailed", "xpassed") for report in terminalreporter.getreports(kind)
    ]
    told = [one for report in reports for one in report.user_properties]
    for name, heading in (("interval coverage", tables.HEADING), ("pitch forecasts", pitch_forecast_trials.HEADING)):
        rows = [str(value) for key, value in told if key == name]
        if rows:
            terminalreporter.write_line("\n".join([*heading, *(sorted(rows) if name == "interval coverage" else rows)]))
