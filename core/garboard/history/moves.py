"""What an alias, a move or a joining names: another hull, or another job."""

from __future__ import annotations

from collections.abc import Mapping

from garboard import hull_number
from garboard.disk.entries import Entry
from garboard.history.values import member

JOINING = ("into",)
"""Subject of a move that joins its job into another job of the boat."""

LEAVING = ("to",)
"""Subject of the half of a move that stands with the job's entries; the other stands where the job arrives."""


def target(entry: Entry) -> str:
    """The key of the hull an alias or a move names, or the job a joining names."""
    joins = entry.kind == "move" and entry.subject == JOINING and entry.job != ""
    return named_job(entry) if joins else named_hull(entry)


def named_job(entry: Entry) -> str:
    """The job a joining names; "" when it names none."""
    job = member(entry.value, "job")
    return job if isinstance(job, str) else ""


def named_hull(entry: Entry) -> str:
    """The key of the hull an alias or a move names; "" when it names none."""
    hull = member(entry.value, "hull")
    return hull_number.key(hull) if isinstance(hull, str) and hull else ""


def joined_jobs(into: Mapping[str, str]) -> dict[str, str]:
    """For each job joined into another, the one its entries are in.

    into : for each job that is joined, the job its joining names

    >>> joined_jobs({"c": "b", "b": "a"}), joined_jobs({"b": "a", "a": "b"})
    ({'c': 'a', 'b': 'a'}, {'b': 'a'})
    """
    return {job: whole for job in into if (whole := _end_of(job, into)) != job}


def _end_of(job: str, into: Mapping[str, str]) -> str:
    """Where joining after joining leads. Jobs joined in a ring are all in the one whose id comes first."""
    way = [job]
    while (following := into.get(way[-1])) is not None:
        if following in way:
            return min(way[way.index(following) :])
        way.append(following)
    return way[-1]
