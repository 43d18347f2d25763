"""Every command that writes, and every way the tablet's app writes, each on a small folder made for it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.commands.cli import program
from garboard.disk.entries import Entry, entry_id
from garboard.disk.hullfile import ATTACHMENTS_FOLDER, HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.history.authoring import Author, measure, move_job
from garboard.history.boat import attach
from garboard.history.replay import HullState, replay
from garboard.shop_link import pairing
from garboard_shop.store import MANAGER, TECHNICIAN, Tablet
from shop_rig import RunningShop

if TYPE_CHECKING:
    from garboard_tablet.models.asks import Ask

HERE, THERE, THIRD = "QQZ04417D626", "QQZ04418D626", "QQZ04419D626"
JOB, OTHER_JOB = "job-1", "job-2"
STEP, FIELD = "trial", "speed"
DROP = "wiring_audit.drop_other"
SIGNED = ("--by", "M. Office", "--reason", "as decided")
TABLET = "00000000000a"


@attrs.frozen(kw_only=True)
class Case:
    """One way to write.

    make   : fills the folder it is given with what the command needs
    run    : does it, in a child process; what it prints is what a person reads
    claims : what is printed only when all of it is done
    fails_in : the part of the folder on the disk that fails; "" for all of it
    status   : with which it ends on a sound disk: 1 where something was wrong before
    """

    name: str
    make: Callable[[Path], None]
    run: Callable[[Path], None]
    claims: tuple[str, ...]
    fails_in: str = ""
    status: int = 0


def hand(name: str) -> Author:
    return Author(name, f"tech {name}")


def value(author: Author, hull: str, job: str, text: str, row: str = "") -> Entry:
    return measure(author, HullState(hull), job, STEP, FIELD, text, row=row)


def keep(folder: Path, entries: Iterable[Entry]) -> None:
    with HullFolder(folder) as hulls:
        for entry in entries:
            hulls.save(entry)


def two_boats(folder: Path) -> None:
    """Two boats, one with two jobs, a disagreement and a recording."""
    one, other = hand("a"), hand("b")
    keep(
        folder / "shop",
        [
            *(value(one, HERE, job, f"{number} kn", row) for job in (JOB, OTHER_JOB) for number, row in ((30, "1"),)),
            value(one, HERE, JOB, "31 kn"),
            value(other, HERE, JOB, "33 kn"),
            value(other, THERE, "job-3", "28 kn"),
        ],
    )
    photo = folder / "photo.jpg"
    photo.write_bytes(b"\xff\xd8\xff a photo" * 50)
    with HullFolder(folder / "shop") as hulls:
        hulls.save(attach(hulls, one, replay(HERE, hulls.entries(HERE)), JOB, STEP, photo))


def with_a_stick(folder: Path) -> None:
    """A shop, and a stick with a boat it knows, one it does not, and a photo."""
    two_boats(folder)
    shutil.copytree(folder / "shop", folder / "stick")
    keep(folder / "stick", [value(hand("c"), hull, "job-4", "27 kn") for hull in (HERE, THIRD)])
    with HullFolder(folder / "stick") as hulls:
        hulls.attachments.put(b"another photo" * 40)


def with_a_damaged_photo(folder: Path) -> None:
    """The same, and a photo in the shop's folder is damaged."""
    with_a_stick(folder)
    for photo in (folder / "shop" / ATTACHMENTS_FOLDER).iterdir():
        photo.write_bytes(b"\xff\xd8\xff a pho")


def with_a_job_file(folder: Path) -> None:
    """A job file with a recording beside it, and a shop to import it into."""
    two_boats(folder)
    (folder / "job").mkdir()
    (folder / "job" / "run.jpg").write_bytes(b"a picture" * 30)
    plain = {
        "format": "garboard job",
        "version": 1,
        "vessel": {"hull_number": THIRD},
        "job": {"id": "job-9"},
        "measurements": [
            {"step": STEP, "field": FIELD, "value": "26 kn"},
            {"step": STEP, "field": "photo", "value": {"file": "run.jpg"}},
        ],
    }
    (folder / "job" / "job.json").write_text(json.dumps(plain))


def with_a_setting(folder: Path) -> None:
    two_boats(folder)
    say("settings", "set", folder / "shop", DROP, "7 %", *SIGNED)


def joined(folder: Path) -> None:
    two_boats(folder)
    say("join-job", folder / "shop", HERE, OTHER_JOB, "--into", JOB, *SIGNED)


def one_boat(folder: Path) -> None:
    two_boats(folder)
    say("same-boat", folder / "shop", HERE, THERE, *SIGNED)


def in_trouble(folder: Path) -> None:
    """A decision written by half, a damaged photo, and a hull file cut off within a line."""
    two_boats(folder)
    shop = folder / "shop"
    with HullFolder(shop) as hulls:
        home, there = (replay(hull, hulls.entries(hull)) for hull in (HERE, THERE))
        hulls.save(move_job(hand("a"), home, there, OTHER_JOB, "typed wrongly")[0])
    for photo in (shop / ATTACHMENTS_FOLDER).iterdir():
        photo.write_bytes(b"\xff\xd8\xff a pho")
    with (shop / HULLS_FOLDER / file_name(THERE)).open("ab") as file:
        file.write(b"0123456789abcdef half a li")


def with_a_register(folder: Path) -> None:
    """A shop's folder that knows a tablet."""
    from garboard_shop.embedded import EmbeddedStore

    two_boats(folder)
    with closing(EmbeddedStore(folder / "shop")) as store:
        one = Tablet(id=TABLET, name="Tablet 1", role=TECHNICIAN, token_hash="1" * 64, paired_at=1_795_608_000_000)
        store.register.add_tablet(one)


def with_people(folder: Path) -> None:
    """A shop's folder that knows a person; the passwords cost what they cost a shop."""
    two_boats(folder)
    words = ("--password", "a short sentence", "--by", "M. Office")
    say("shop-people", "add", "--folder", folder / "shop", "R. Vane", *words)


GADGET = """from garboard.hooks import hookimpl


@hookimpl
def register_steps():
    return []
"""


def with_a_plugin(folder: Path) -> None:
    """A shop's folder, and a plugin of its own beside it."""
    two_boats(folder)
    (folder / "gadget.py").write_text(GADGET)


def with_an_approved_plugin(folder: Path) -> None:
    with_a_plugin(folder)
    say("shop-plugins", "approve", "--folder", folder / "shop", folder / "gadget.py", "--by", "M. Office")


def with_the_book_at_hand(folder: Path) -> None:
    """Two boats, and what draws a book loaded, so that no child process loads it anew."""
    from garboard.hosting.host import make_host
    from garboard.judging.assessing import assess_one
    from garboard.report.book import handover_book

    two_boats(folder)
    (folder / "out").mkdir()
    host = make_host()
    one = assess_one(folder / "shop", host, HERE, JOB)
    handover_book(one.view, host, one.assessed)


def with_an_empty_folder(folder: Path) -> None:
    (folder / "out").mkdir()


def paired(folder: Path) -> None:
    """A tablet and a shop it is paired with; each has a boat and a photo the other lacks."""
    keep(folder / "tablet", [value(hand("a"), HERE, JOB, "31 kn"), value(hand("a"), THIRD, "job-4", "25 kn")])
    with HullFolder(folder / "tablet") as hulls:
        hulls.attachments.put(b"taken on board" * 30)
    with RunningShop(folder / "office") as shop:
        shop.hulls.save(value(hand("b"), HERE, JOB, "33 kn"))
        shop.hulls.save(value(hand("b"), THERE, "job-3", "28 kn"))
        shop.hulls.attachments.put(b"taken in the yard" * 30)
        pairing.keep(folder / "tablet", shop.paired(role=MANAGER))


def old_and_new(folder: Path) -> None:
    """A data folder as older versions kept it, and the system's, with boats in both."""
    two_boats(folder)
    (folder / "started").mkdir()
    (folder / "shop").rename(folder / "started" / "garboard-tablet")
    keep(folder / "system" / "tablet", [value(hand("c"), THIRD, "job-4", "27 kn")])


def old_alone(folder: Path) -> None:
    old_and_new(folder)
    shutil.rmtree(folder / "system")


def say(*arguments: object) -> None:
    """Run a command as a terminal does; ends with SystemExit unless its status is 0."""
    try:
        program.main([*map(str, arguments)], standalone_mode=True)
    except SystemExit as ended:
        if ended.code:
            raise


def command(*arguments: str) -> Callable[[Path], None]:
    """A command; words that begin with a slash name what lies in the folder."""

    def run(folder: Path) -> None:
        say(*(f"{folder}{word}" if word.startswith("/") else word for word in arguments))

    return run


def ashore(folder: Path) -> None:
    with RunningShop(folder / "office") as shop:
        say("ashore", "--folder", folder / "tablet", "--at", f"127.0.0.1:{shop.port}")


def on_the_tablet(work: Callable[[Path], None]) -> Callable[[Path], None]:
    """What the app does when somebody presses: it says "saved" once it is."""

    def run(folder: Path) -> None:
        work(folder)
        click.echo("saved")

    return run


def with_a_tablet(folder: Path) -> None:
    """Two boats on a tablet whose owner has put a name to it."""
    two_boats(folder)
    change_tablet_settings(folder)


def save_a_value(folder: Path) -> None:
    from garboard_tablet.models.tablet import open_tablet

    with closing(open_tablet(folder / "shop")) as tablet:
        state = tablet.state_of(HERE, JOB)
        tablet.save(measure(tablet.author("A. Hand"), state, JOB, STEP, FIELD, "34 kn", row="2"))
        tablet.set_state(HERE, JOB, STEP, "done")


def open_a_job(folder: Path) -> None:
    from garboard_tablet.models.tablet import open_tablet

    with closing(open_tablet(folder / "shop")) as tablet:
        tablet.open_job(THIRD)


def keep_a_photo(folder: Path) -> None:
    from garboard_tablet.models.tablet import open_tablet

    with closing(open_tablet(folder / "shop")) as tablet:
        kept = tablet.keep_file(b"from the camera" * 60, "hose.jpg")
        state = tablet.state_of(HERE, JOB)
        tablet.save(measure(tablet.author("A. Hand"), state, JOB, STEP, "photo", kept))


def change_tablet_settings(folder: Path) -> None:
    from garboard_tablet.models.tablet import open_tablet

    with closing(open_tablet(folder / "shop")) as tablet:
        tablet.change_settings(tablet.settings.with_person("A. Hand"))


def asked(row: str = "") -> Ask:
    """The speed, as a tablet asks for it."""
    from garboard.history.registers import RegisterKey
    from garboard.steps import Field, Kind
    from garboard_tablet.models.asks import Ask

    field = Field(name=FIELD, title="Speed", kind=Kind.AMOUNT, quantity="speed", unit="kn")
    return Ask(key=RegisterKey("measure", "", (STEP, FIELD, row, "")), field=field)


def settle_on_a_tablet(folder: Path) -> None:
    from garboard_tablet.models.tablet import open_tablet

    with closing(open_tablet(folder / "shop")) as tablet:
        tablet.choose(HERE, JOB, asked(), "33 kn", "read again")


def take_back_on_a_tablet(folder: Path) -> None:
    from garboard_tablet.models.tablet import open_tablet

    with closing(open_tablet(folder / "shop")) as tablet:
        tablet.take_back(HERE, JOB, asked(row="1"), "mistyped")


def sign_on_a_tablet(folder: Path) -> None:
    from garboard_tablet.models.tablet import open_tablet

    with closing(open_tablet(folder / "shop")) as tablet:
        tablet.sign(HERE, OTHER_JOB, "owner", "A. Marsh", b"<svg>a stroke</svg>" * 20)


def move_data_over(folder: Path) -> None:
    from garboard_tablet.models.data_folder import find_data_folder

    found = find_data_folder(lambda: folder / "system", program=folder / "program", started_in=folder / "started")
    if found.problem or found.folder != folder / "system" / "tablet":
        click.echo(found.problem, err=True)
        raise SystemExit(1)


CASES = (
    Case(name="tablet: save a value", make=with_a_tablet, run=on_the_tablet(save_a_value), claims=("saved",)),
    Case(name="tablet: open a job", make=with_a_tablet, run=on_the_tablet(open_a_job), claims=("saved",)),
    Case(name="tablet: keep a photo", make=with_a_tablet, run=on_the_tablet(keep_a_photo), claims=("saved",)),
    Case(name="tablet: settle", make=with_a_tablet, run=on_the_tablet(settle_on_a_tablet), claims=("saved",)),
    Case(name="tablet: take back", make=with_a_tablet, run=on_the_tablet(take_back_on_a_tablet), claims=("saved",)),
    Case(name="tablet: sign", make=with_a_tablet, run=on_the_tablet(sign_on_a_tablet), claims=("saved",)),
    Case(name="tablet: settings", make=two_boats, run=on_the_tablet(change_tablet_settings), claims=("saved",)),
    Case(name="tablet: move its data", make=old_alone, run=on_the_tablet(move_data_over), claims=("saved",)),
    Case(name="tablet: merge its data", make=old_and_new, run=on_the_tablet(move_data_over), claims=("saved",)),
    Case(
        name="merge",
        make=with_a_stick,
        run=command("merge", "/stick", "--into", "/shop"),
        claims=("counted: everything is merged",),
    ),
    Case(
        name="merge and mend",
        make=with_a_damaged_photo,
        run=command("merge", "/stick", "--into", "/shop"),
        claims=("counted: everything is merged",),
        status=1,
    ),
    Case(
        name="merge both ways",
        make=with_a_stick,
        run=command("merge", "/stick", "--into", "/shop", "--both-ways"),
        claims=(),  # what one way did is said before the other begins
    ),
    Case(
        name="merge into a new folder",
        make=with_a_stick,
        run=command("merge", "/stick", "--into", "/new/place"),
        claims=("counted: everything is merged",),
    ),
    Case(
        name="import",
        make=with_a_job_file,
        run=command("import", "/job/job.json", "--into", "/shop", "--by", "M. Office"),
        claims=("new entries",),
    ),
    Case(
        name="attach",
        make=two_boats,
        run=command("attach", "/shop", HERE, STEP, "/photo.jpg", "--by", "R. Vane", "--job", OTHER_JOB),
        claims=("is attached",),
    ),
    Case(
        name="settle",
        make=two_boats,
        run=command("settle", "/shop", HERE, f"{STEP}/{FIELD}", "--value", "33 kn", "--job", JOB, *SIGNED),
        claims=("is 33 kn",),
    ),
    Case(
        name="take-back",
        make=two_boats,
        run=command("take-back", "/shop", HERE, f"{STEP}/{FIELD}/1", "--job", JOB, *SIGNED),
        claims=("taken back",),
    ),
    Case(
        name="move-job",
        make=two_boats,
        run=command("move-job", "/shop", HERE, OTHER_JOB, "--to", THERE, *SIGNED),
        claims=("belongs to",),
    ),
    Case(
        name="join-job",
        make=two_boats,
        run=command("join-job", "/shop", HERE, OTHER_JOB, "--into", JOB, *SIGNED),
        claims=("is joined",),
    ),
    Case(
        name="join-job --undo",
        make=joined,
        run=command("join-job", "/shop", HERE, OTHER_JOB, "--undo", *SIGNED),
        claims=("separate job again",),
    ),
    Case(
        name="same-boat",
        make=two_boats,
        run=command("same-boat", "/shop", HERE, THERE, *SIGNED),
        claims=("are one boat",),
    ),
    Case(
        name="same-boat --undo",
        make=one_boat,
        run=command("same-boat", "/shop", HERE, THERE, "--undo", *SIGNED),
        claims=("are two boats",),
    ),
    Case(
        name="settings set",
        make=two_boats,
        run=command("settings", "set", "/shop", DROP, "7 %", *SIGNED),
        claims=("for the shop",),
    ),
    Case(
        name="settings reset",
        make=with_a_setting,
        run=command("settings", "reset", "/shop", DROP, *SIGNED),
        claims=("no longer set",),
    ),
    Case(
        name="settings set for a job",
        make=two_boats,
        run=command("settings", "set", "/shop", DROP, "7 %", "--hull", HERE, "--job", JOB, *SIGNED),
        claims=("for job",),
    ),
    Case(
        name="book",
        make=with_the_book_at_hand,
        run=command("book", "/shop", "--hull", HERE, "--job", JOB, "-o", "/out/book.pdf"),
        claims=("Kept: issued",),
    ),
    Case(
        name="new-job",
        make=with_an_empty_folder,
        run=command("new-job", "/out/job.json", THIRD),
        claims=("fill it in",),
    ),
    Case(
        name="shop-people add",
        make=with_people,
        run=command("shop-people", "add", "--folder", "/shop", "M. Hand", "--password", "x" * 20, "--by", "M. Office"),
        claims=("may sign in",),
    ),
    Case(
        name="shop-people remove",
        make=with_people,
        run=command("shop-people", "remove", "--folder", "/shop", "R. Vane", "--by", "M. Office"),
        claims=("no longer sign in",),
    ),
    Case(
        name="shop-plugins approve",
        make=with_a_plugin,
        run=command("shop-plugins", "approve", "--folder", "/shop", "/gadget.py", "--by", "M. Office"),
        claims=("is approved",),
    ),
    Case(
        name="shop-plugins withdraw",
        make=with_an_approved_plugin,
        run=command("shop-plugins", "withdraw", "--folder", "/shop", "gadget", "--by", "M. Office"),
        claims=("is withdrawn",),
    ),
    Case(
        name="repair",
        make=in_trouble,
        run=command("repair", "/shop"),
        claims=("Everything here can be read",),
        status=1,
    ),
    Case(
        name="shop-tablets remove",
        make=with_a_register,
        run=command("shop-tablets", "remove", "--folder", "/shop", TABLET, "--by", "M. Office"),
        claims=("is removed",),
    ),
    Case(
        name="shop-tablets role",
        make=with_a_register,
        run=command("shop-tablets", "role", "--folder", "/shop", TABLET, MANAGER, "--by", "M. Office"),
        claims=("is now a",),
    ),
    Case(
        name="export",
        make=two_boats,
        run=command("export", "/shop", HERE, "--job", JOB, "--out", "/out"),
        claims=(),
    ),
    Case(name="ashore", make=paired, run=ashore, claims=("both sides hold the same",), fails_in="tablet"),
    Case(
        name="ashore, errors at the shop",
        make=paired,
        run=ashore,
        claims=("both sides hold the same",),
        fails_in="office",
    ),
)


def entries_in(folder: Path) -> dict[str, dict[str, object]]:
    """Every whole entry in hull files below a folder, by place and id, read without the program."""
    found: dict[str, dict[str, object]] = {}
    for path in folder.rglob(f"{HULLS_FOLDER}/[A-Z_]*.hull"):
        for line in path.read_bytes().split(b"\n")[1:]:
            name, _, raw = line.partition(b" ")
            if raw and entry_id(raw).encode() == name:
                found[f"{path.parent.parent.relative_to(folder)} {name.decode()}"] = json.loads(raw)
    return found
