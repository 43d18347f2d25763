"""An invented day at an invented shop: the sample jobs on three tablets, with all that goes wrong on such days.

Two tablets measured one thing differently; one job's values were typed under a wrong hull number; something was
measured after a sign-off; one tablet's clock is a day off; one entry comes from a plugin that is not here.
In the evening the manager decides, and the boat that was measured again is signed again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from pathlib import Path

import attrs

from garboard import hull_number
from garboard.disk.clock import HybridClock, wall_milliseconds
from garboard.disk.entries import SHOP_RECORD, Entry, make_entry
from garboard.disk.hullfile import HullFolder
from garboard.history import exchange
from garboard.history.authoring import Author, measure, same_boat, settle, sign_off
from garboard.history.boat import author_for, open_hull
from garboard.history.merge import MergeReport, merge
from garboard.history.proof import Proof, issue
from garboard.history.registers import RegisterKey, name_of
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import set_setting, shop_settings
from garboard.job_files.job_file import JobFile, read_job_file
from garboard.job_view import JobView
from garboard.report.logo import logo_as_kept
from garboard.report.settings_used import value_in_words

_LOGO = b"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 66 22"><g fill="#0b4f5c">
<path d="M3 16q14-2 24-13q-3 9-9 12l12-1q-11 6-27 2z"/><path d="M33 16q8-9 16-6q-5 1-7 4l8 1q-8 3-17 1z"/>
<rect x="3" y="18" width="60" height="1.5"/></g></svg>"""
TELEPHONE = {"handover.shop_telephone": "555 0142", "handover.shop_hours": "Monday to Friday, 8 to 17"}
A_DAY = 24 * 60 * 60 * 1000
MANAGER = "M. Office"
EVENING = "2026-05-15T18:20:00-04:00"
SIGNED_AT = "2026-05-15T18:40:00-04:00"
OUT_AT = "2026-05-15T10:35:00-04:00"
RETESTED_AT = "2026-05-15T17:45:00-04:00"


@attrs.frozen
class Day:
    """Where the day's folders are, and what the evening's merge said."""

    tablets: tuple[Path, ...]
    shop: Path
    report: MergeReport


def make_day(jobs: Mapping[str, Path], out: Path) -> Day:
    """Put the sample jobs on three tablets, let the day happen, and merge it at the shop.

    jobs : job files by vessel: saltgrass, kittiwake and long_reach
    out  : gets the folders tablets/1, tablets/2, tablets/3 and shop; run again, nothing is added
    """
    read = {name: read_job_file(path) for name, path in jobs.items()}
    places = {name: path.parent for name, path in jobs.items()}
    folders = tuple(out / "tablets" / str(number) for number in (1, 2, 3))
    with HullFolder(folders[0]) as first, HullFolder(folders[1]) as second, HullFolder(folders[2]) as third:
        if not first.boats():
            _fill(first, second, third, read, places)
        with HullFolder(out / "shop") as shop:
            report = merge((first, second, third), shop)
    return Day(folders, out / "shop", report)


def _fill(
    first: HullFolder, second: HullFolder, third: HullFolder, read: Mapping[str, JobFile], places: Mapping[str, Path]
) -> None:
    vane = Author("tablet 1", "R. Vane", wall=lambda: OUT_AT)
    sorrel = Author("tablet 2", "N. Sorrel", wall=lambda: OUT_AT)
    quill = Author("tablet 3", "T. Quill", HybridClock(wall=lambda: wall_milliseconds() + A_DAY), wall=lambda: OUT_AT)
    exchange.import_job(first, read["saltgrass"], places["saltgrass"], vane)
    exchange.import_job(second, read["kittiwake"], places["kittiwake"], sorrel)
    exchange.import_job(third, read["long_reach"], places["long_reach"], quill)
    _measured_twice(first, second, read["saltgrass"], sorrel)
    _measured_after_the_sign_off(first, second, read["kittiwake"], vane)
    _typed_under_a_wrong_number(third, read["long_reach"], quill)
    _from_a_plugin_not_here(third, read["long_reach"], quill)


def _measured_twice(first: HullFolder, second: HullFolder, job_file: JobFile, author: Author) -> None:
    """The second tablet reads the same run without having seen the first tablet's number."""
    place = {"step": "prop_check.full_throttle", "field": "speed", "row": "2"}
    hull, job = job_file.vessel.hull_number, job_file.job.id
    held = [
        entry
        for entry in first.entries(hull)
        if not (entry.kind == "measure" and entry.subject == (*place.values(), "")) and entry.kind != "signoff"
    ]
    entry = measure(author, replay(hull, held), job, place["step"], place["field"], "31.4 kn", row=place["row"])
    second.put_if_absent(hull, [*held, entry])


def _measured_after_the_sign_off(first: HullFolder, second: HullFolder, job_file: JobFile, author: Author) -> None:
    """The first tablet measures a drop again, and reads another, after the second had the job signed."""
    hull, job = job_file.vessel.hull_number, job_file.job.id
    held = [entry for entry in second.entries(hull) if entry.kind != "signoff"]
    entry = attrs.evolve(author, wall=lambda: RETESTED_AT)
    again = measure(entry, replay(hull, held), job, "wiring_audit.circuits", "drop", "0.27 V", of="Bilge pump forward")
    first.put_if_absent(hull, [*held, again])
    for name in second.attachments.names():
        first.attachments.put(second.attachments.get(name))


def _typed_under_a_wrong_number(third: HullFolder, job_file: JobFile, author: Author) -> None:
    wrong = job_file.vessel.hull_number.replace("0", "O", 1)
    state = HullState(hull_number.key(wrong))
    third.save(measure(author, state, job_file.job.id, "fuel_curve.tanks", "usable_fuel", "270 gal"))


def _from_a_plugin_not_here(third: HullFolder, job_file: JobFile, author: Author) -> None:
    entry: Entry = make_entry(
        "paint_check",
        job_file.vessel.hull_number,
        dev=author.tablet,
        by=author.by,
        clock=author.clock.now(),
        at=author.wall(),
        job=job_file.job.id,
        subject=("paint_check", "gloss"),
        value="87",
        plugins={"shop_paint": "3"},
    )
    third.save(entry)


def settle_day(shop: Path) -> tuple[str, ...]:
    """What the manager decides in the evening, in words. Decided already, nothing is decided again."""
    with HullFolder(shop) as hulls:
        return (*_choose_the_speed(hulls), *_join_the_numbers(hulls), *_enter_the_telephone(hulls))


def _enter_the_telephone(hulls: HullFolder) -> Iterator[str]:
    """The shop's own settings: whom an owner calls, and the logo on the cover."""
    known = {one.key for one in shop_settings(hulls.entries(SHOP_RECORD))}
    theirs = {**TELEPHONE, "handover.shop_logo": logo_as_kept(_LOGO)}
    unset = {key: value for key, value in theirs.items() if key not in known}
    for key, value in unset.items():
        state = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
        hulls.save(set_setting(_manager(hulls, state), state, key, value, "it stands in the owners' books"))
    if unset:
        yield f"for the owners' books: {', '.join(map(value_in_words, unset.values()))}"


def _is_the_speed_measured_twice(key: RegisterKey) -> bool:
    return name_of(key) == "prop_check.full_throttle/speed/2"


def _choose_the_speed(hulls: HullFolder) -> Iterator[str]:
    for hull in hulls.boats():
        boat = open_hull(hulls, hull)
        for job in boat.jobs:
            state = boat.state_of(job)
            for key in filter(_is_the_speed_measured_twice, state.disagreements(job)):
                right = next((entry for entry in state.current(key) if entry.tablet == "tablet 1"), None)
                if right is None:
                    continue
                author = _manager(hulls, state)
                hulls.save(settle(author, state, key, right.value, "read at the plotter during the run"))
                yield f"{state.hull_number}: {name_of(key)} is {right.value}"


def _join_the_numbers(hulls: HullFolder) -> Iterator[str]:
    known = hulls.boats()
    for hull in known:
        for other in hull_number.look_alikes(hull, known):
            state, there = (replay(number, hulls.entries(number)) for number in (hull, other))
            if other not in state.aliases and "O" in hull:
                author = _manager(hulls, state)
                for entry in same_boat(author, state, there, "letter for a digit"):
                    hulls.save(entry)
                yield f"{hull} and {other} are one boat"


def sign_day(day: Day) -> tuple[str, ...]:
    """Whoever signed before a later change signs again, on the second tablet. Returns who signed for which boat.

    The tablet takes the shop's record first: a signature covers only what the signer's own tablet holds.
    """
    with HullFolder(day.tablets[1]) as second, HullFolder(day.shop) as shop:
        merge((shop,), second)
        signed = tuple(_sign_again(second))
        merge((second,), shop)
    return signed


def _sign_again(tablet: HullFolder) -> Iterator[str]:
    for hull in tablet.boats():
        boat = open_hull(tablet, hull)
        for job in boat.jobs:
            for stale in boat.state_of(job).stale(job):
                if any(entry.at != RETESTED_AT for entry in stale.not_covered):
                    continue  # somebody went on with the boat: the sample day signs for no one but itself
                role, name = stale.sign_off.subject
                state = open_hull(tablet, hull).state_of(job)  # read anew: it holds the signature before this one
                author = attrs.evolve(author_for(tablet, state, "tablet 2", name), wall=lambda: SIGNED_AT)
                tablet.save(sign_off(author, state, job, role, name, drawn=tablet.attachments.put(_drawn(name))))
                yield f"{state.hull_number}: {role} {name}"


def _drawn(name: str) -> bytes:
    """An invented hand: a wave that rises with the letters of a name, as the tablet's pad writes it."""
    letters = [ord(letter) for letter in name if letter.isalpha()]
    points = [
        (90 + 44 * (at + step / 12), 120 - (letter % 9) * 7 * math.sin(math.pi * step / 6) - 2 * at)
        for at, letter in enumerate(letters)
        for step in range(12)
    ]
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    head = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 200" fill="none" stroke="#10202B" stroke-width="4">'
    )
    return f'{head}<polyline points="{line}"/></svg>\n'.encode()


def keep_issued(shop: Path, view: JobView, book: bytes, proof: Proof, plugins: Mapping[str, str]) -> None:
    """The shop keeps that the manager issued a boat's book, a draft as a draft; once for the same file."""
    with HullFolder(shop) as hulls:
        boat = open_hull(hulls, view.vessel.hull_number)
        author = attrs.evolve(_manager(hulls, boat.state), plugins=plugins)
        if entry := issue(author, boat, view.job.id, book, proof):
            hulls.save(entry)


def _manager(hulls: HullFolder, state: HullState) -> Author:
    return attrs.evolve(author_for(hulls, state, "office", MANAGER), wall=lambda: EVENING)
