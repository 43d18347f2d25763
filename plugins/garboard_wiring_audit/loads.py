"""Direct-current load of circuits that run together."""

from __future__ import annotations

from collections.abc import Sequence

PLAIN_SUM = "sum of circuits that run together"
COLUMNS = "columns A and B of small-craft standard E-11 (from memory)"


def load_sum(rule: str, together: Sequence[float], others: Sequence[float]) -> float:
    """Load to size supply and charging for.

    rule     : `PLAIN_SUM` or `COLUMNS` [-]
    together : currents of circuits that may run together for long, column A [A]
    others   : currents of circuits used now and then, column B [A]
    returns  : column A alone, or column A and the larger of 10 % of column B and its largest item [A]

    >>> load_sum(COLUMNS, [2.0, 4.0, 5.0, 3.0], [6.0, 5.0, 9.0, 20.0])
    34.0

    [1] Load worksheet of small-craft standard E-11, from memory; the plain sum is common practice, no source.
    """
    if rule == PLAIN_SUM:
        return float(sum(together))
    return float(sum(together) + max(0.1 * sum(others), max(others, default=0.0)))
