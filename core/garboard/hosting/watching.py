"""Which values a finding rests on: the places a calculator read on the way to it. What several ask for is kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Concatenate, ParamSpec, TypeVar

import attrs

from garboard.findings import NotEnoughData
from garboard.job_view import FieldKey, JobView
from garboard.records import Measurement
from garboard.settings import ReadSettings

T = TypeVar("T")
P = ParamSpec("P")


@attrs.frozen
class _Done:
    """What a work gave, or what it lacked, and the places and settings it read on the way.

    asked : kept as long as this, so that nothing else is met under its identity
    """

    asked: tuple[object, ...]
    result: Any
    lacked: NotEnoughData | None
    seen: tuple[FieldKey, ...]
    read: frozenset[str]


@attrs.frozen(kw_only=True)
class WatchedView(JobView):
    """A job view that notes what is read in it.

    seen : places that hold a value, in the order they were read, as often as they were
    """

    seen: list[FieldKey] = attrs.field(factory=list, eq=False, repr=False)
    _done: dict[object, _Done] = attrs.field(init=False, factory=dict, eq=False, repr=False)
    """Of this view alone: `attrs.evolve` gives one with other values, which begins anew."""

    def find(self, step: str, field: str, *, row: str = "", of: str = "") -> Measurement | None:
        found = JobView.find(self, step, field, row=row, of=of)
        if found is not None:
            self.seen.append((step, field, row, of))
        return found

    def once(self, work: Callable[Concatenate[JobView, P], T], *asked: P.args, **named: P.kwargs) -> T:
        key = (work, *map(id, asked), *((name, id(one)) for name, one in named.items()))
        done = self._done.get(key)
        if done is None:
            done = self._done[key] = self._do(work, *asked, **named)
        else:
            self.seen.extend(done.seen)
            self._read.update(done.read)
        if done.lacked is not None:
            raise NotEnoughData(*done.lacked.missing)
        result: T = done.result
        return result

    def _do(self, work: Callable[Concatenate[JobView, P], T], *asked: P.args, **named: P.kwargs) -> _Done:
        """Do a work and note what it alone reads; to whoever asked for it that counts as read, too."""
        before, read = len(self.seen), set(self._read)
        self._read.clear()
        result, lacked = None, None
        try:
            result = work(self, *asked, **named)
        except NotEnoughData as lacking:
            lacked = lacking
        finally:
            its_own, its_settings = tuple(dict.fromkeys(self.seen[before:])), frozenset(self._read)
            self._read.update(read)
        return _Done((*asked, *named.values()), result, lacked, its_own, its_settings)

    @property
    def _read(self) -> set[str]:
        """Keys of the settings read."""
        return self.settings.read if isinstance(self.settings, ReadSettings) else set()


def watched(view: JobView) -> WatchedView:
    """The same job, watched, with nothing worked out yet."""
    made = {name.name: getattr(view, name.name) for name in attrs.fields(JobView) if name.init}
    return WatchedView(**made)
