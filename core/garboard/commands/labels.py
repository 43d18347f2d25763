"""`garboard labels`: labels for circuits, the panel's schedule and the boat's sticker, as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from garboard.commands.hulls import author_of, known_in, save_all, tablet_option, tell_not_read, writing_in
from garboard.commands.tools import need_office, refuse_unless_a_pdf_can_stand_there, write_file
from garboard.faults import Fault, InputError
from garboard.units import in_full

if TYPE_CHECKING:
    from garboard.labels import CircuitLabel
    from garboard.records import Vessel

LABELS = ("sheet", "tape")
FORMS = (*LABELS, "schedule", "sticker")

HELP = """Labels for the circuits of a boat, as PDF. JOB is a job file or a folder of hull files.

Each circuit has two labels, one for each end. Print without scaling. When they are printed, say so with --printed: from
then on a label whose circuit was changed is named.
"""


@click.command("labels", help=HELP, short_help="Write labels for circuits, a panel schedule or the boat's sticker.")
@click.argument("job", metavar="JOB", type=click.Path(path_type=Path))
@click.option("--hull", default="", help="Hull number, for a folder of hull files.")
@click.option("--job", "job_id", default="", help="Job id. Not needed if the boat has one job.")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The PDF to write.")
@click.option("--form", type=click.Choice(FORMS), default="sheet", show_default=True, help="What to write.")
@click.option(
    "--paper",
    type=click.Choice(["letter", "A4"], case_sensitive=False),
    default="letter",
    show_default=True,
    help="Paper size.",
)
@click.option("--size", default="60x20", show_default=True, help="Width and height of a label on a sheet, in mm.")
@click.option(
    "--tape", type=click.Choice(["9", "12", "18", "24"]), default="12", show_default=True, help="Width of tape, in mm."
)
@click.option("--address", default="", help="For the sticker: address of the boat's page at the shop.")
@click.option("--stale", is_flag=True, help="Only labels that were printed and say what is no longer so.")
@click.option("--printed", is_flag=True, help="Keep what the labels say: they are printed.")
@click.option("--by", default="", help="Who printed them; needed with --printed.")
@tablet_option
def command(
    job: Path,
    hull: str,
    job_id: str,
    out: Path | None,
    form: str,
    paper: str,
    size: str,
    tape: str,
    address: str,
    stale: bool,
    printed: bool,
    by: str,
    tablet: str,
) -> None:
    """Write the labels, keep that they are printed, or both."""
    from garboard.labels import labels_digest

    if out is None and not printed:
        raise InputError("labels", [Fault("--out", "a PDF to write, or --printed", "neither")])
    if printed and not by.strip():
        raise InputError("labels", [Fault("--by", "who printed the labels", "nothing")])
    if printed and form not in LABELS:
        expected = f"{' or '.join(LABELS)}: those are the labels"
        raise InputError("labels", [Fault("--form", expected, form, cure="leave --printed out")])
    if stale and form not in LABELS:
        expected = f"{' or '.join(LABELS)}: a schedule has every circuit, and a sticker none"
        raise InputError("labels", [Fault("--form", expected, form, cure="leave --stale out")])
    drawn = ""
    if out is not None:
        need_office()
        refuse_unless_a_pdf_can_stand_there(out)
        vessel = _vessel(job, hull, job_id)
        drawn = labels_digest(vessel)
        write_file(out, _pdf(vessel, form, paper, _size(size), int(tape), address, stale))
        click.echo(f"Wrote {out}")
        _tell_boxes(vessel)
        if form == "sheet":
            _tell_cut(_wanted(vessel, only_stale=stale), _size(size))
    if printed:
        _keep_printed(job, hull, job_id, by, tablet, stale, drawn)


def _vessel(job: Path, hull: str, job_id: str) -> Vessel:
    """The vessel of a job file, or of a boat in a folder."""
    from garboard.disk.hullfile import HullFolder
    from garboard.history.boat import open_hull
    from garboard.job_files.job_file import read_job_file
    from garboard.judging.assessing import is_hull_folder

    if not is_hull_folder(job):
        return read_job_file(job).vessel
    with HullFolder(job, read_only=True) as hulls:
        number = _hull(hull, [*hulls.boats()])
        boat = open_hull(hulls, number)
        if not len(boat.state):
            raise InputError(str(job), [Fault("--hull", known_in(hulls), repr(number))])
        tell_not_read(hulls)
        return boat.vessel(job_id)


def _hull(hull: str, there: list[str]) -> str:
    """The boat a person means: the one named, or the folder's only one."""
    if not hull and len(there) != 1:
        named = f"none, and this folder has {len(there)} boats"
        raise InputError("--hull", [Fault("--hull", "a boat's hull number", named, cure="name one with --hull")])
    return hull or there[0]


def _wanted(vessel: Vessel, *, only_stale: bool) -> tuple[CircuitLabel, ...]:
    """The labels to print. Raises InputError where there are none."""
    from garboard.labels import labels_of, stale_labels

    labels = stale_labels(vessel) if only_stale else labels_of(vessel)
    if not labels:
        got = "none: every printed label says what is so" if only_stale and vessel.circuits else "none"
        raise InputError(vessel.name or vessel.hull_number, [Fault("circuits", "circuits to label", got)])
    return labels


def _pdf(
    vessel: Vessel, form: str, paper: str, size: tuple[float, float], tape: int, address: str, only_stale: bool
) -> bytes:
    from garboard.report import label_sheets

    title = vessel.name or vessel.hull_number
    if form == "sticker":
        return _sticker(vessel, address)
    labels = _wanted(vessel, only_stale=only_stale)
    if form == "schedule":
        return label_sheets.panel_schedule(title, vessel, labels, paper)
    if form == "tape":
        return label_sheets.label_tape(title, labels, tape)
    return label_sheets.label_sheet(title, labels, paper, size)


def _tell_boxes(vessel: Vessel) -> None:
    """Say which characters of the boat's name and its labels are empty boxes on paper."""
    from garboard.labels import labels_of
    from garboard.report.label_sheets import without_type

    if boxes := without_type([vessel.name, *(label.text for label in labels_of(vessel))]):
        click.echo(f"Printed as empty boxes, as the typeface has none of them: {' '.join(boxes)}", err=True)


def _tell_cut(labels: Sequence[CircuitLabel], size: tuple[float, float]) -> None:
    """Say which labels do not say all they should."""
    from garboard.report.label_sheets import cut_on_sheet

    if cut := cut_on_sheet(labels, size):
        named = ", ".join(str(label.number) for label in cut)
        click.echo(f"Too long for their label, and cut: {named}. Choose a larger --size, or --form tape.", err=True)


def _sticker(vessel: Vessel, address: str) -> bytes:
    """The boat's sticker. Raises InputError for more than a symbol of its size can hold."""
    from garboard.report import label_sheets

    try:
        return label_sheets.boat_sticker(vessel, address)
    except ValueError:
        length = len((address or vessel.hull_number).encode())
        expected = (
            f"short enough to be read by a camera from {in_full(label_sheets.STICKER[1])} mm of sticker: "
            f"about 300 letters"
        )
        raise InputError("labels", [Fault("--address", expected, f"{length}")]) from None


def _size(text: str) -> tuple[float, float]:
    """Width and height of a label [mm]. Raises InputError for what is no size, or none a label can have."""
    from garboard.report.label_sheets import LARGEST_LABEL, SMALLEST_LABEL

    wide, by, high = text.lower().replace(" ", "").removesuffix("mm").partition("x")
    try:
        size = float(wide), float(high)
    except ValueError:
        size = (0.0, 0.0)
    ends = zip(SMALLEST_LABEL, size, LARGEST_LABEL, strict=True)
    if not by or not all(low <= one <= high for low, one, high in ends):
        (low_w, low_h), (high_w, high_h) = SMALLEST_LABEL, LARGEST_LABEL
        expected = (
            f"width x height in mm, from {in_full(low_w)}x{in_full(low_h)} to "
            f"{in_full(high_w)}x{in_full(high_h)}, such as 60x20"
        )
        raise InputError("labels", [Fault("--size", expected, repr(text))])
    return size


def _keep_printed(folder: Path, hull: str, job_id: str, by: str, tablet: str, only_stale: bool, drawn: str) -> None:
    """Keep with each circuit what its label says.

    drawn : digest of the labels that were just written; "" where none were
    """
    from garboard.disk.hullfile import HullFolder
    from garboard.history.authoring import labels_printed
    from garboard.judging.assessing import is_hull_folder
    from garboard.labels import labels_digest

    if not is_hull_folder(folder):
        expected = "a folder of hull files: what is printed is kept with the boat, and a job file is never changed"
        raise InputError("labels", [Fault("--printed", expected, str(folder))])
    with HullFolder(folder, read_only=True) as hulls:
        number = _hull(hull, [*hulls.boats()])
    with writing_in(folder, number, job_id) as (hulls, boat, job):
        labels = _wanted(boat.vessel(job), only_stale=only_stale)
        if drawn and drawn != labels_digest(boat.vessel(job)):
            raise InputError("labels", [Fault("circuits", "as they were written", "changed", cure="write them again")])
        state = boat.vessel_home("circuits")
        entries = labels_printed(author_of(hulls, state, tablet, by), state, labels)
        save_all(hulls, entries)
    said = "label is" if len(labels) == 1 else "labels are"
    click.echo(f"Kept: {len(labels)} {said} printed, {len(entries)} of them anew")
