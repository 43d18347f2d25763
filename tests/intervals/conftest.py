"""Prints how every figure did, whether it held or not."""

import pytest

from intervals.tables import HEADING


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The table of coverage, from what the tests recorded."""
    reports = [
        report for kind in ("passed", "failed", "xfailed", "xpassed") for report in terminalreporter.getreports(kind)
    ]
    rows = [value for report in reports for key, value in report.user_properties if key == "interval coverage"]
    if rows:
        terminalreporter.write_line("\n".join([*HEADING, *sorted(rows)]))
