"""Where things are aboard: the step in which places are entered, and what the owner reads of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from garboard.findings import Basis, BasisKind
from garboard.job_view import JobView
from garboard.owner_pages import (
    BEFORE_YOU_GO,
    IN_THE_DARK,
    WHERE_THINGS_ARE,
    Digits,
    Logo,
    Photographs,
    Place,
    Plan,
    Steps,
    page_of,
)
from garboard.steps import COVER, YOUR_BOAT, Assessed, Block, Field, Kind, Phase, ReportSection, Setting, Step

PLACES = "handover.places"
CUT_OFF, FUEL_SHUT_OFF, BATTERY_SWITCH = "engine cut-off switch", "fuel shut-off", "battery switch"
MAIN_FUSE, PANEL, EXTINGUISHER = "main fuse", "fuse panel", "fire extinguisher"
THINGS = (
    CUT_OFF,
    FUEL_SHUT_OFF,
    BATTERY_SWITCH,
    MAIN_FUSE,
    PANEL,
    EXTINGUISHER,
    "bilge pump",
    "distress signals",
    "life jackets",
    "first aid kit",
    "seacock",
    "anchor",
    "fuel filter",
    "fuel fill",
    "tools and spares",
    "wheel",
    "something else",
)
FIRST, GOOD_TO_KNOW = "first, when something is wrong", "good to know"

STEP = Step(
    key=PLACES,
    title="Where things are",
    phase=Phase.HAND_OVER,
    order=840,
    fields=(
        Field(name="boat_photo", title="Photo of the boat, for the cover", kind=Kind.PHOTO, required=False),
        Field(
            name="places",
            title="Places aboard",
            kind=Kind.TABLE,
            required=False,
            help="What the owner looks for in the dark. A photo kept with this step, with arrows that say what they "
            "point at, stands in the book.",
            columns=(
                Field(name="thing", title="What", kind=Kind.CHOICE, choices=THINGS),
                Field(
                    name="called",
                    title="In words, with where",
                    kind=Kind.TEXT,
                    required=False,
                    help="As the owner would look for it: port battery switch, in the aft hatch.",
                ),
                Field(
                    name="along",
                    title="Along, from the transom",
                    kind=Kind.AMOUNT,
                    quantity="share",
                    unit="%",
                    hard=(0, 100),
                    required=False,
                    help="0 % at the transom, 100 % at the bow.",
                ),
                Field(
                    name="across",
                    title="Across, from the port side",
                    kind=Kind.AMOUNT,
                    quantity="share",
                    unit="%",
                    hard=(0, 100),
                    required=False,
                    help="0 % at the port side, 50 % in the middle, 100 % at the starboard side.",
                ),
                Field(name="kind", title="Looked for", kind=Kind.CHOICE, choices=(FIRST, GOOD_TO_KNOW), required=False),
            ),
        ),
    ),
)

_OWN = Basis(BasisKind.COMMON_PRACTICE, "an owner knows whom to call", "each shop enters its own")
TELEPHONE, HOURS, LOGO = "handover.shop_telephone", "handover.shop_hours", "handover.shop_logo"
SETTINGS = tuple(
    Setting(
        key=key,
        field=Field(name=key.partition(".")[2], title=title, kind=Kind.TEXT, required=False, help=help),
        default="",
        basis=_OWN,
        is_picture=key == LOGO,
    )
    for key, title, help in (
        (TELEPHONE, "The shop's telephone", "It stands in the owner's book."),
        (HOURS, "When somebody answers it", "Such as: Monday to Friday, 8 to 17."),
        (
            LOGO,
            "The shop's logo",
            "It stands on the cover of the owner's book. The shop's pages take a file, and so does the command "
            "garboard settings picture.",
        ),
    )
)


def places(view: JobView) -> tuple[Place, ...]:
    """Places aboard, those needed first before the others, as entered."""
    found = [place for row in view.rows(PLACES, "thing") if (place := _place(view, row)) is not None]
    return tuple(sorted(found, key=lambda one: not one.is_first))


def _place(view: JobView, row: str) -> Place | None:
    thing, called = (str(view.value(PLACES, field, row=row) or "").strip() for field in ("thing", "called"))
    if not thing or (thing == THINGS[-1] and not called):
        return None
    along, across = (view.amount(PLACES, field, "%", row=row) for field in ("along", "across"))
    return Place(
        name=in_words(thing, called),
        along=None if along is None else along / 100,
        across=None if across is None else across / 100,
        is_first=view.value(PLACES, "kind", row=row) == FIRST,
    )


def in_words(thing: str, called: str) -> str:
    """A place as an owner looks for it: in the words given, and what it is in front where they say only where.

    >>> in_words("battery switch", "port battery switch, in the aft hatch"), in_words("battery switch", "")
    ('port battery switch, in the aft hatch', 'Battery switch')
    >>> in_words("battery switch", "aft locker, port"), in_words("something else", "scuba bottles, under the bench")
    ('Battery switch: aft locker, port', 'scuba bottles, under the bench')
    """
    if thing == THINGS[-1] or thing.split()[-1].removesuffix("s") in called.casefold():
        return called
    return f"{thing.capitalize()}: {called}" if called else thing.capitalize()


def _numbered(view: JobView, thing: str) -> str:
    """ " (3 on the plan)" for a thing whose place is entered."""
    called = [
        place.name
        for row in view.rows(PLACES, "thing")
        if view.value(PLACES, "thing", row=row) == thing and (place := _place(view, row)) is not None
    ]
    numbers = [f"{number}" for number, one in enumerate(places(view), 1) if one.name in called]
    return f" ({', '.join(numbers)} on {page_of(WHERE_THINGS_ARE)})" if numbers else ""


def where(view: JobView, _assessed: Sequence[Assessed]) -> Iterator[Block]:
    """The plan of the boat."""
    found = places(view)
    if found:
        length, beam = (one.to("ft") if one else 0.0 for one in (view.vessel.length, view.vessel.beam))
        yield Plan(places=found, hull_form=view.vessel.hull_form, length=length, beam=beam)
        yield from _extinguishers_left_out(view)


def _extinguishers_left_out(view: JobView) -> Iterator[str]:
    """How many extinguishers are aboard that the plan does not show."""
    aboard = view.value("engine_trial.label_and_gear", "extinguishers")
    shown = [row for row in view.rows(PLACES, "thing") if view.value(PLACES, "thing", row=row) == EXTINGUISHER]
    if isinstance(aboard, int) and aboard > len(shown):
        yield f"Fire extinguishers aboard: {aboard}. Shown here: {len(shown)}. Ask us where the others are."


def in_the_dark(_view: JobView, _assessed: Sequence[Assessed]) -> Iterator[Block]:
    """Photos kept with the step whose arrows have words."""
    yield Photographs(PLACES)


def not_starting(view: JobView, _assessed: Sequence[Assessed]) -> Iterator[Block]:
    """What to try, one after the other, and whom to call."""
    yield Steps(
        (
            "Do you smell fuel? Then stop: nobody touches a switch, not even the blower's, until the boat is aired "
            "and the leak found.",
            "Put every engine in neutral.",
            f"Clip the cut-off link in, and look at its switch{_numbered(view, CUT_OFF)}.",
            f"Turn the battery switches on{_numbered(view, BATTERY_SWITCH)}. If an engine turns slowly, the battery "
            "is low.",
            f"Open the fuel shut-off{_numbered(view, FUEL_SHUT_OFF)}, look at the fuel gauge, and squeeze the primer "
            "bulb where there is one.",
            "Is there no power at all? Turn key and battery switches off, then look at the main "
            f"fuse{_numbered(view, MAIN_FUSE)}. Replace it only by one of the same size; its place stays live. If it "
            "blows again, leave it and call for help.",
        ),
        "If an engine will not start",
    )
    telephone, hours = (_of_today(view, key) for key in (TELEPHONE, HOURS))
    if telephone:
        yield "If it still does not start, call us:"
        yield Digits(telephone, view.job.shop or "our telephone", (hours,) if hours else ())


def _of_today(view: JobView, key: str) -> str:
    """The shop's setting as it is now: whoever calls needs the telephone of today, not that of the signing."""
    used = view.settings_used.get(key)
    now = used.shop_now if used else ()
    return str((now[0].value if len(now) == 1 else view.setting(key)) or "").strip()


def photo_of_the_boat(_view: JobView, _assessed: Sequence[Assessed]) -> Iterator[Block]:
    """For the cover."""
    yield Photographs(PLACES, "boat_photo")


def logo_of_the_shop(view: JobView, _assessed: Sequence[Assessed]) -> Iterator[Block]:
    """For the cover, as it is now."""
    if picture := _of_today(view, LOGO):
        yield Logo(picture)


SECTIONS = (
    ReportSection(
        key="handover.not_starting",
        title=BEFORE_YOU_GO,
        order=100,
        part=YOUR_BOAT,
        build=lambda v, a: [*not_starting(v, a)],
    ),
    ReportSection(
        key="handover.places", title=WHERE_THINGS_ARE, order=400, part=YOUR_BOAT, build=lambda v, a: [*where(v, a)]
    ),
    ReportSection(
        key="handover.in_the_dark",
        title=IN_THE_DARK,
        order=500,
        part=YOUR_BOAT,
        build=lambda v, a: [*in_the_dark(v, a)],
    ),
    ReportSection(
        key="handover.cover",
        title="Cover",
        order=10,
        part=COVER,
        build=lambda v, a: [*photo_of_the_boat(v, a), *logo_of_the_shop(v, a)],
    ),
)
