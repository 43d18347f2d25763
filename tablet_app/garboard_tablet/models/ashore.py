"""Which vessels are ashore, and what bringing ashore did, in words and places to go."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

import attrs

from garboard.disk.entries import SHOP_RECORD
from garboard.disk.shop_document import paired_with
from garboard.faults import in_number
from garboard.verdict import Verdict
from garboard_tablet.language import phrase
from garboard_tablet.models.session import Route
from garboard_tablet.models.vessels import ASHORE, VesselLine, VesselList, stamp_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from garboard.history.registers import RegisterKey
    from garboard.shop_link.ashore import State
    from garboard.shop_link.sync import SyncReport


@attrs.define
class AshoreMarks:
    """For each hull, the stamp of its file when everything in it was last known to be at the shop.

    shop : SHA-256 of that shop's certificate; "" in what older programs kept
    """

    vessels: VesselList
    stamps: dict[str, str] = attrs.field(factory=dict)
    shop: str = ""

    def read(self) -> None:
        """Take the marks as they were kept. Without any, the next merge says it anew."""
        tablet, document = self.vessels.tablet, self.vessels.document

        def read() -> dict[str, str]:
            rows = document.rows(ASHORE)
            self.shop = next((str(row.get("shop", "")) for row in rows), "")
            return {str(row["hull"]): str(row["stamp"]) for row in rows}

        self.stamps = document.read_or_begin_anew(read, tablet.damaged)

    def word(self, line: VesselLine) -> str:
        """How a vessel stands, for the list."""
        paired = paired_with(self.vessels.tablet.folder)
        if not paired:
            return "only on this tablet"
        known = stamp_of(self.stamps.get(hull, "") for hull in line.files)
        is_known = self._is_of(paired) and line.stamp and known == line.stamp
        return "ashore" if is_known else "not ashore yet"

    def not_yet(self) -> int:
        """Boats of which the shop is not known to hold all that their files hold at this moment."""
        is_of_shop = self._is_of(paired_with(self.vessels.tablet.folder))
        boats = self.vessels.tablet.files.boats()
        return sum(not is_of_shop or self.stamps.get(hull) != self.vessels.stamp(hull) for hull in boats)

    def _is_of(self, paired: str) -> bool:
        return self.shop in ("", paired)

    def note(self, report: SyncReport) -> None:
        """Mark every hull of which the shop holds as much as stands here now, its photos and recordings too."""
        files, not_there = self.vessels.tablet.files, [name.encode() for name, _ in report.refused]
        known, self.stamps = (self.stamps if self._is_of(report.shop) else {}), {}
        self.shop = report.shop or self.shop
        for hull, here in report.here.items():
            stamp = self.vessels.stamp(hull)  # taken first: an entry saved meanwhile outdates it
            if hull in report.differing:
                continue  # also one that the shop held before: it may have been put back from an older copy
            if here + report.strays.get(hull, 0) != len(files.ids(hull)):
                self.stamps |= {hull: known[hull]} if hull in known else {}
            elif not (not_there and any(name in raw for raw in files.get(hull).values() for name in not_there)):
                self.stamps[hull] = stamp
        rows = ({"hull": hull, "stamp": stamp, "shop": self.shop} for hull, stamp in self.stamps.items())
        self.vessels.document.put_rows(ASHORE, "hull", rows)


@attrs.frozen
class ReportLine:
    """One thing to know about bringing ashore.

    urgent : a person has something to do
    route  : the page where it is done
    """

    text: str
    urgent: bool = False
    route: Route | None = None


STATES = {
    "resting": ("Nothing tried yet.", Verdict.NOT_ENOUGH_DATA),
    "under way": ("Under way.", Verdict.NOT_ENOUGH_DATA),
    "ashore": ("Everything is ashore.", Verdict.PASS),
    "away": ("The shop does not answer. The tablet retries automatically.", Verdict.ADVISE),
    "refused": ("Refused. Read the reason.", Verdict.FAIL),
}


def stands(state: State, not_yet: int) -> tuple[str, Verdict]:
    """How bringing ashore stands, in a sentence.

    not_yet : boats of which not everything is known to be at the shop; see `AshoreMarks.not_yet`
    """
    if state.of:
        doing = phrase("Under way: {done} of {of} {doing}.", done=state.done, of=state.of, doing=state.doing)
        return doing, Verdict.NOT_ENOUGH_DATA
    if state.word != "ashore" or state.report is None:
        return STATES[state.word]
    if not state.report.complete:
        return "Not everything is ashore. See below.", Verdict.ADVISE
    if not_yet:
        changed = phrase("{boats} changed since, not ashore yet.", boats=in_number(not_yet, "boat"))
        return changed, Verdict.ADVISE
    return STATES[state.word]


def lines_of(
    state: State,
    may_decide: bool = True,
    told: Callable[[Iterable[str]], str] = ", ".join,
    not_yet: int = 0,
) -> list[ReportLine]:
    """What to show under a state.

    may_decide : whether this tablet may settle what disagrees
    not_yet    : as for `stands`
    told       : names of values in words; see `titles.names_in_words`
    """
    report = state.report
    if report is None:
        return []
    return [
        *_to_look_at(report, may_decide, told),
        *_clock_told(report),
        *_exchanged(report, not_yet),
    ]


def has_findings(report: SyncReport) -> bool:
    """Whether it says anything of single boats or files that a person has to look at."""
    of_boats = any(one.stale or one.look_alikes for one in report.hulls) or any(report.disagreeing)
    return bool(of_boats or report.refused or report.not_read or report.lost or report.missing or report.not_kept)


def earlier_lines(
    state: State, shown: Iterable[str], may_decide: bool = True, told: Callable[[Iterable[str]], str] = ", ".join
) -> list[ReportLine]:
    """What to look at of an earlier time, but for what is shown already."""
    if state.report is None:
        return []
    return [one for one in _to_look_at(state.report, may_decide, told) if one.urgent and one.text not in set(shown)]


def _to_look_at(report: SyncReport, may_decide: bool, told: Callable[[Iterable[str]], str]) -> Iterator[ReportLine]:
    """What was found of single boats and files."""
    yield from (_disagreement(hull, key, may_decide) for hull, key in report.disagreeing)
    yield from _to_sign_again(report, told)
    yield from _not_exchanged(report)
    yield from _look_alikes(report)


def _to_sign_again(report: SyncReport, told: Callable[[Iterable[str]], str]) -> Iterator[ReportLine]:
    from garboard.history.merge import by_what_changed

    for merged in report.hulls:
        for names, who in by_what_changed(merged.stale).items():
            text = phrase(
                "{hull}: sign again: {who}. Changed: {changed}",
                hull=merged.hull,
                who="; ".join(who),
                changed=told(names),
            )
            yield ReportLine(text, True)


def _not_exchanged(report: SyncReport) -> Iterator[ReportLine]:
    """What was refused, is lost or missing, or could not be read or kept."""
    for name, reason in report.refused:
        yield ReportLine(phrase("The shop would not take {name}: {reason}", name=name[:12], reason=reason), True)
    if report.not_taken:
        from garboard.shop_link.sync import not_taken_in_words

        yield ReportLine(f"{not_taken_in_words(report)}.")
    for file, reason in report.not_read:
        name = PurePath(file).name
        yield ReportLine(phrase("Could not be read here: {name}: {reason}", name=name, reason=reason), True)
    for loss in report.lost:
        yield ReportLine(phrase("Lost here, and not at the shop: {loss}", loss=loss), True)
    for name, called in report.missing:
        text = phrase(
            "Missing here and at the shop: {called}. Merge with where it was taken.", called=called or name[:12]
        )
        yield ReportLine(text, True)
    for name, reason in report.not_kept:
        yield ReportLine(phrase("Could not be kept here: {name}: {reason}", name=name[:12], reason=reason), True)


def _look_alikes(report: SyncReport) -> Iterator[ReportLine]:
    for one in report.hulls:
        if one.look_alikes:
            text = phrase("{hull} looks like {other}. Check the transom.", hull=one.hull, other=one.alike_in_words)
            yield ReportLine(text, True)


def _clock_told(report: SyncReport) -> Iterator[ReportLine]:
    if report.clock_is_off:
        from garboard.findings import rounded, with_minus  # the first frame needs neither

        seconds = with_minus(rounded(-report.clock_offset / 1000, 0, "+z"))
        yield ReportLine(phrase("This tablet's clock is {seconds} s off the shop's.", seconds=seconds), True)


def _exchanged(report: SyncReport, not_yet: int) -> Iterator[ReportLine]:
    """What went each way, and whether both hold the same; of the last time where boats changed since."""
    yield ReportLine(phrase("Sent {amount}.", amount=_amount(report.sent, report.attachments_sent)))
    yield ReportLine(phrase("Received {amount}.", amount=_amount(report.received, report.attachments_received)))
    held = phrase(
        "{entries} here, {count} at the shop",
        entries=in_number(sum(report.here.values()), "entry", "entries"),
        count=sum(report.there.values()),
    )
    if not_yet:
        held = phrase("The last time: {held}", held=held)
    alike = "The shop holds all the others." if report.not_taken else "Both hold the same."
    if not_yet:
        alike = "The shop held all the others." if report.not_taken else "Both held the same."
    same = alike if report.equal else "Not the same yet; it is tried again."
    if report.not_kept and report.equal:
        same = "The same entries; not all that the shop gave could be kept here."
    if report.refused and report.equal:
        same = "The same entries; not every photo and recording."
    yield ReportLine(f"{held}. {same}", not report.equal or bool(report.not_kept or report.refused))


def _amount(entries: int, files: int) -> str:
    return phrase(
        "{entries} and {files}", entries=in_number(entries, "entry", "entries"), files=in_number(files, "file")
    )


def _disagreement(hull: str, key: RegisterKey, may_decide: bool) -> ReportLine:
    route = Route(page="entry", hull=hull, job=key.job, subject=(key.kind, *key.subject))
    if key.kind == "measure":
        route = attrs.evolve(route, step=key.first)
    if key.kind == "setting":
        whose = "the shop" if hull == SHOP_RECORD else phrase("a job of {hull}", hull=hull)
        return ReportLine(
            phrase(
                "Two values for the setting {setting} of {whose}. A manager chooses at the shop.",
                setting=key.first,
                whose=whose,
            ),
            True,
        )
    about = " ".join(filter(None, key.subject)).replace("_", " ")
    do = "choose" if may_decide else "measure again"
    return ReportLine(
        phrase("{hull}: two values for {about}. Press to {do}.", hull=hull, about=about, do=do),
        True,
        route if key.kind in _KINDS else None,
    )


_KINDS = ("measure", "field")
