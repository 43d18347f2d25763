"""Lines of a recording with things done to them: cut, joined, swapped, filled with odd numbers and bytes."""

from __future__ import annotations

import random
from collections.abc import Sequence
from functools import reduce

ODD = (
    "",
    "-",
    "nan",
    "inf",
    "1e999",
    "999999999999",
    "-0",
    "0x1f",
    "٣",
    "\x00",
    "\udcff",
    ",",
    "*",
    "$",
    "9" * 400,
    "A",
    "V",
)


def printed_sum(body: str) -> str:
    """The checksum of what stands between "$" and "*", computed without the program."""
    return f"{reduce(lambda one, byte: one ^ byte, body.encode('utf-8', 'surrogateescape'), 0):02X}"


def summed(line: str) -> str:
    """A sentence with the checksum that fits it; a line that is no sentence as it is."""
    start = line.find("$")
    body = line[start + 1 :].partition("*")[0]
    return f"{line[: start + 1]}{body}*{printed_sum(body)}" if start >= 0 else line


def altered(line: str, draw: random.Random, others: Sequence[str]) -> str:
    """The line with one to three things done to it."""
    for _ in range(draw.randint(1, 3)):
        at = draw.randrange(len(line) + 1)
        what = draw.randrange(8)
        fields = line.split(",")
        if what == 0:
            line = line[:at]
        elif what == 1:
            line = line[at:]
        elif what == 2:
            line = line[:at] + chr(draw.choice((draw.randrange(128), draw.randrange(0xD800)))) + line[at + 1 :]
        elif what == 3:
            line = line[:at] + draw.choice(others)[draw.randrange(20) :]
        elif what == 4:
            fields[draw.randrange(len(fields))] = draw.choice(ODD)
            line = ",".join(fields)
        elif what == 5:
            del fields[draw.randrange(len(fields)) :]
            line = ",".join(fields)
        elif what == 6:
            draw.shuffle(fields)
            line = ",".join(fields)
        else:
            line = line[:at] + line[max(0, at - draw.randrange(12)) :]
    return (summed(line) if draw.random() < 0.5 else line).replace("\n", " ").replace("\r", " ")
