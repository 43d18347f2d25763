"""Which vessels are ashore, and what bringing ashore did, in words and places to go."""

from __future__ import annotations

import json
import logging
from typing import TYPE_CHECKING

import attrs

from garboard.disk import storage
from garboard_tablet.models.session import Route
from garboard_tablet.models.vessels import VesselLine, VesselList, stamp_of

if TYPE_CHECKING:
    from garboard.history.registers import RegisterKey
    from garboard.shop_link.ashore import State
    from garboard.shop_link.sync import SyncReport
    from garboard_tablet.models.tablet import Tablet

log = logging.getLogger("garboard.tablet")

FILE = "ashore.json"
PAIRED_FILE = "shop.json"


@attrs.define
class AshoreMarks:
    """For each hull, the stamp of its file when everything in it was last known to be at the shop."""

    tablet: Tablet
    stamps: dict[str, str] = attrs.field(factory=dict)

    def read(self) -> None:
        try:
            plain = json.loads((self.tablet.folder / FILE).read_bytes())
            self.stamps = {str(hull): str(stamp) for hull, stamp in plain.items()}
        except FileNotFoundError:
            self.stamps = {}
        except (OSError, ValueError, AttributeError):
            log.warning("which vessels are ashore cannot be read; the next merge says it anew", exc_info=True)
            self.stamps = {}

    def word(self, line: VesselLine) -> str:
        """How a vessel stands, for the list."""
        if not (self.tablet.folder / PAIRED_FILE).exists():
            return "only on this tablet"
        known = stamp_of(self.stamps.get(hull, "") for hull in line.files)
        return "ashore" if line.stamp and known == line.stamp else "not ashore yet"

    def note(self, report: SyncReport, vessels: VesselList) -> None:
        """Mark every hull of which the shop holds as much as stands here now."""
        for hull, here in report.here.items():
            stamp = vessels.stamp(hull)  # taken first: an entry saved meanwhile makes it out of date, never too new
            if hull not in report.differing and here == len(self.tablet.files.ids(hull)):
                self.stamps[hull] = stamp
        storage.write_whole(self.tablet.folder / FILE, [json.dumps(self.stamps).encode()])


@attrs.frozen
class ReportLine:
    """One thing to know about bringing ashore.

    urgent : a person has something to do
    route  : the page where it is done
    """

    text: str
    urgent: bool = False
    route: Route | None = None


def lines_of(state: State, may_decide: bool = True) -> list[ReportLine]:
    """What to show under a state.

    may_decide : whether this tablet may settle what disagrees
    """
    if state.report is None:
        return []
    report = state.report
    lines = [_disagreement(hull, key, may_decide) for hull, key in report.disagreeing]
    for hull, who, what in report.stale:
        text = f"{hull}: the signature of {who} no longer covers {', '.join(what[:3])}"
        lines.append(ReportLine(text + (f" and {len(what) - 3} more" if len(what) > 3 else ""), True))
    lines += [ReportLine(f"The shop would not take {name[:12]}: {reason}", True) for name, reason in report.refused]
    lines += [ReportLine(f"Could not be kept here: {name[:12]}: {reason}", True) for name, reason in report.not_kept]
    for merged in report.hulls:
        lines += [
            ReportLine(f"{merged.hull} looks like {other}. Check the transom.", True) for other in merged.look_alikes
        ]
    if report.clock_is_off:
        lines.append(ReportLine(f"This tablet's clock is {-report.clock_offset / 1000:+.0f} s off the shop's.", True))
    lines.append(ReportLine(f"Sent {report.sent} entries and {report.attachments_sent} files."))
    lines.append(ReportLine(f"Received {report.received} entries and {report.attachments_received} files."))
    held = f"{sum(report.here.values())} entries here, {sum(report.there.values())} at the shop"
    same = "Both hold the same." if report.equal else "Not the same yet; it is tried again."
    lines.append(ReportLine(f"{held}. {same}", not report.equal))
    return lines


def _disagreement(hull: str, key: RegisterKey, may_decide: bool) -> ReportLine:
    route = Route(page="entry", hull=hull, job=key.job, subject=(key.kind, *key.subject))
    if key.kind == "measure":
        route = attrs.evolve(route, step=key.subject[0])
    about = " ".join(filter(None, key.subject)).replace("_", " ")
    do = "choose" if may_decide else "measure again"
    return ReportLine(f"{hull}: two values for {about}. Press to {do}.", True, route if key.kind in _KINDS else None)


_KINDS = ("measure", "field")
