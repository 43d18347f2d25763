"""What comes along with a job that is moved to another hull number, and what stays where it was."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Mapping, Sequence
from typing import TYPE_CHECKING

from garboard.faults import in_number
from garboard.fields import Kind
from garboard.history.runs import RUN, file_of
from garboard.judging.assessing import equipment_lacking
from garboard.record_types import frozen

if TYPE_CHECKING:
    from garboard.history.boat import Boat
    from garboard.history.registers import RegisterKey
    from garboard.history.replay import HullState
    from garboard.hosting.host import PluginHost

_CALLED = {"note": "remark", "signoff": "signature", "setting": "setting"}
_FILES = {Kind.RECORDING: "recording", Kind.PHOTO: "photo"}
_ORDER = ("value", "recording", "photo", "attached file", "setting", "remark", "signature")


@frozen(kw_only=True)
class CameAlong:
    """What came with a job that stands under another hull number than it was written under.

    counts : how many of each came with it: values, recordings, photos, attached files, settings, remarks, signatures
    facts  : kinds of facts about the vessel that came, as the boat has none of its own
    stayed : kinds of facts that stayed with the old number: what is entered for the boat holds
    unused : readings that name equipment the boat has not, by its kind
    """

    counts: Mapping[str, int]
    facts: Sequence[str]
    stayed: Sequence[str]
    unused: Mapping[str, Sequence[str]]

    @property
    def counted(self) -> str:
        """ "12 values, 1 recording"; "nothing but that it was opened" for a job with nothing in it."""
        found = ", ".join(in_number(self.counts[what], what) for what in _ORDER if self.counts.get(what))
        return found or "nothing but that it was opened"


def came_along(boat: Boat, job: str, old: HullState, host: PluginHost) -> CameAlong | None:
    """What came with a job to a boat; None where the job stands under the number it was written under.

    old : the state it was moved out of
    """
    home = boat.state_of(job)
    if home is boat.state:
        return None
    of_vessel = {key.subject[0] for key in old.registers if key.kind == "field" and old.current(key)}
    brought = boat.brought(job)
    return CameAlong(
        counts=_counted(home, job, boat.state.hull_keys, host),
        facts=[*map(_plain, brought)],
        stayed=[*map(_plain, sorted(of_vessel - {"hull_number", *brought}))],
        unused={_plain(kind): names for kind, names in equipment_lacking(boat.view(job), host).items()},
    )


def _plain(kind: str) -> str:
    return kind.replace("_", " ")


def _counted(home: HullState, job: str, here: Container[str], host: PluginHost) -> Counter[str]:
    """What stands in the job and was written elsewhere: part of it may have been under the right number all along."""
    counts: Counter[str] = Counter()
    files: dict[str, str] = {}
    for key in home.registers:
        current = [e for e in home.current(key) if e.hull_key not in here] if key.job == home.joined(job) else []
        if key.kind in _CALLED:
            counts[_CALLED[key.kind]] += bool(current)
        elif key.kind in ("measure", RUN):
            named = {file: _file_in_words(key, host) for entry in current if (file := file_of(entry.value))}
            files = {**named, **files} if key.kind == RUN else {**files, **named}
            counts["value"] += key.kind == "measure" and bool(current) and not named
    return counts + Counter(files.values())


def _file_in_words(key: RegisterKey, host: PluginHost) -> str:
    if key.kind == RUN:
        return "recording"
    step = host.step(key.subject[0]) if key.is_measurement else None
    field = next((one for one in step.all_fields() if one.name == key.subject[1]), None) if step else None
    return _FILES.get(field.kind, "attached file") if field else "attached file"
