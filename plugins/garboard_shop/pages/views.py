"""The pages themselves: what each address answers."""

from __future__ import annotations

import ipaddress
import mimetypes
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from functools import partial
from urllib.parse import quote

import attrs
from starlette.responses import Response, StreamingResponse
from starlette.routing import BaseRoute

from garboard import hull_number
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.photo_words import BEGINNING, LARGEST_PHOTO, is_photo, without_words
from garboard.disk.storage import NewerFormat
from garboard.faults import Fault, InputError, in_words
from garboard.findings import Table
from garboard.history.boat import register_named
from garboard.history.like import LONGEST_NAME, templates_in
from garboard.history.past import history_of
from garboard.history.proof import proof_of
from garboard.hosting.host import PluginHost
from garboard.job_files.circuit_table import circuits_as_csv
from garboard.job_view import JobView
from garboard.labels import labels_digest, labels_of, stale_labels
from garboard.report import type_faces
from garboard.report.data_files import ENDINGS
from garboard.report.data_tables import TABLES
from garboard.report.drawn_signatures import files_of_signatures
from garboard.report.equipment import equipment_tables, vessel_facts
from garboard.report.photo_files import PictureRefused, drawn
from garboard.report.trials import foreseen_of, table_of_trials, trials_of, which_stays
from garboard.shop_link.wire import LARGEST_PIECE
from garboard.steps import Assessed
from garboard_shop.boat_rows import Row
from garboard_shop.job_rows import JobRow, state_of
from garboard_shop.memory import JUDGED_FROM, Kept, Memory, row_of
from garboard_shop.naming import UNNAMED, keep_name
from garboard_shop.own_plugins import as_seen, keep_in_store, mark_of, put_back, withdraw
from garboard_shop.pages import (
    board,
    check_form,
    decisions,
    exports,
    looks,
    own_views,
    people,
    plugins,
    settings,
    sheet,
    wording,
)
from garboard_shop.pages import boat_page as glance
from garboard_shop.pages.consequences import by_hull
from garboard_shop.pages.desk import FOLDER, ShopDesk
from garboard_shop.pages.drawing import STATE_MARKS, colours_as_css, photo_name
from garboard_shop.pages.index import MOST_SHOWN
from garboard_shop.pages.plugins import content_of
from garboard_shop.pages.summaries import (
    BoatSummary,
    JobSummary,
    is_held,
    jobs_of,
    open_boat,
    register_in_words,
)
from garboard_shop.pages.visits import (
    HEADERS,
    LARGEST_FORM,
    Answer,
    NotHere,
    Visit,
    marked,
    page_route,
    refuse_hurry,
    routes,
    signed_in,
    signed_out,
)
from garboard_shop.store import MANAGER, MINUTES_A_CODE_WORKS, ROLES, Store, Tablet, in_order, names_of_tablets

NOBODY = "nobody"
OWN_PASSWORD = "old password"
"""Stands for the browser where somebody signed in guesses the password."""
CHANGES_ON_A_PAGE = 200
MOST_TO_CHOOSE = 12
"""Boats offered for a job to be moved to."""
LARGEST_WITH_A_PICTURE = 5_100_000
"""Of a form with a picture, the fields beside it included [bytes]."""
FIRST_DAY, LAST_DAY = date(1970, 1, 2), date(2999, 12, 30)
STATIC = {path.name: path for folder in (FOLDER / "static", type_faces.FOLDER) for path in folder.iterdir()}
_CACHED = {**HEADERS, "Cache-Control": "max-age=3600"}


def routes_of(desk: ShopDesk) -> list[BaseRoute]:
    """Everything the pages answer to, for `make_app`."""
    table: list[tuple[str, Answer, str, str]] = [
        ("/", home, "GET", ""),
        ("/sign-in", sign_in_page, "GET", NOBODY),
        ("/sign-in", sign_in, "POST", NOBODY),
        ("/sign-out", sign_out, "POST", ""),
        ("/first", first_page, "GET", NOBODY),
        ("/first", first, "POST", NOBODY),
        ("/days", to_day, "GET", ""),
        ("/days/{day}", day_page, "GET", ""),
        ("/board", board.board_page, "GET", ""),
        ("/board/several", board.plan_several, "POST", MANAGER),
        ("/board/looked", board.looked, "POST", ""),
        (own_views.OWN_VIEWS, own_views.views_page, "GET", MANAGER),
        (own_views.OWN_VIEWS, own_views.save, "POST", MANAGER),
        (f"{own_views.OWN_VIEWS}/rename", own_views.rename, "POST", MANAGER),
        (f"{own_views.OWN_VIEWS}/remove", own_views.remove, "POST", MANAGER),
        ("/boats/{hull}/plan", board.plan_page, "GET", ""),
        ("/boats/{hull}/plan", board.plan, "POST", MANAGER),
        ("/boats/{hull}/set-aside", partial(decide, decisions.put_aside), "POST", MANAGER),
        ("/boats/{hull}/take-up", partial(decide, decisions.take_up), "POST", MANAGER),
        ("/boats", boats_page, "GET", ""),
        ("/boats/new", begin_boat, "POST", MANAGER),
        ("/boats/{hull}", boat_page, "GET", ""),
        ("/boats/{hull}/jobs/{job:text}/history", history_page, "GET", ""),
        ("/boats/{hull}/jobs/{job:text}/book.pdf", book, "GET", ""),
        ("/boats/{hull}/labels/{form}.pdf", labels, "GET", ""),
        ("/boats/{hull}/template", partial(decide, decisions.keep_template), "POST", MANAGER),
        ("/boats/{hull}/circuits", partial(decide, decisions.take_in_circuits), "POST", MANAGER),
        ("/boats/{hull}/circuits.csv", circuits_table, "GET", ""),
        ("/boats/{hull}/labels/printed", partial(decide, decisions.labels_printed), "POST", MANAGER),
        ("/boats/{hull}/figures/{name}.svg", figure, "GET", ""),
        ("/boats/{hull}/files/{name}", attached, "GET", ""),
        ("/boats/{hull}/photos/{name}.jpg", photo, "GET", ""),
        ("/boats/{hull}/choose", partial(decide, partial(decisions.choose, desk.host.settings)), "POST", MANAGER),
        (
            "/boats/{hull}/choose-several",
            partial(decide, partial(decisions.choose_several, desk.host.settings)),
            "POST",
            MANAGER,
        ),
        ("/boats/{hull}/take-back", partial(decide, decisions.take_all_back), "POST", MANAGER),
        ("/boats/{hull}/both-count", partial(decide, decisions.count_both), "POST", MANAGER),
        ("/boats/{hull}/sign", partial(decide, decisions.sign), "POST", MANAGER),
        ("/boats/{hull}/same-boat", partial(decide, decisions.join), "POST", MANAGER),
        ("/boats/{hull}/two-boats", partial(decide, decisions.part), "POST", MANAGER),
        ("/boats/{hull}/move", move_page, "GET", MANAGER),
        ("/boats/{hull}/move", partial(decide, decisions.move), "POST", MANAGER),
        ("/boats/{hull}/join-jobs", partial(decide, decisions.join_jobs), "POST", MANAGER),
        ("/boats/{hull}/part-jobs", partial(decide, decisions.part_jobs), "POST", MANAGER),
        ("/measurements.csv", measurements_csv, "GET", ""),
        ("/measurements.xlsx", measurements_workbook, "GET", ""),
        ("/data", data_page, "GET", MANAGER),
        ("/data/make", make_tables, "POST", MANAGER),
        ("/data/tables", tables_file, "GET", MANAGER),
        ("/tablets", tablets_page, "GET", ""),
        ("/tablets/pair", pair_tablet, "POST", MANAGER),
        ("/tablets/{tablet}/role", change_role, "POST", MANAGER),
        ("/tablets/{tablet}/remove", remove_tablet, "POST", MANAGER),
        ("/changes", changes_page, "GET", ""),
        ("/memory", memory_page, "GET", ""),
        ("/insight", insight_page, "GET", ""),
        ("/settings", settings_page, "GET", ""),
        ("/settings/{key}", setting_page, "GET", ""),
        ("/settings/{key}/look", look_at_change, "POST", MANAGER),
        ("/settings/{key}/set", change_setting, "POST", MANAGER),
        ("/settings/{key}/picture", shown_picture, "GET", ""),
        ("/plugins", plugins_page, "GET", ""),
        ("/plugins/approve", approve_plugin, "POST", MANAGER),
        ("/plugins/try", try_waiting_plugin, "POST", MANAGER),
        ("/plugins/withdraw", withdraw_plugin, "POST", MANAGER),
        ("/plugins/put-back", put_back_plugin, "POST", MANAGER),
        ("/plugins/new-check", new_check_page, "GET", MANAGER),
        ("/people", people_page, "GET", ""),
        ("/people/add", add_person, "POST", MANAGER),
        ("/people/remove", remove_person, "POST", MANAGER),
        ("/people/password", change_password, "POST", ""),
        ("/static/{name}", static, "GET", NOBODY),
    ]
    whole_check = 3 * check_form.LARGEST + LARGEST_FORM  # each byte of it may come as three
    large = [
        ("/settings/{key}/picture", set_picture, LARGEST_WITH_A_PICTURE),
        ("/plugins/new-check/look", look_at_check, whole_check),
        ("/plugins/new-check/approve", approve_check, whole_check),
    ]
    return [
        *routes(desk, table),
        *(page_route(desk, path, answer, "POST", MANAGER, largest) for path, answer, largest in large),
    ]


def home(visit: Visit) -> Response:
    """Today's sheet."""
    return visit.go(f"/days/{wording.day_of(visit.desk.now())}")


def sign_in_page(visit: Visit) -> Response:
    """Name and password."""
    if not people.taking_part(visit.desk.store.register):
        return visit.go("/first")
    return visit.page("sign_in.html", wanted=visit.asked("next"), name="", sentence="")


def sign_in(visit: Visit) -> Response:
    """Prove who one is."""
    desk, name, address = visit.desk, visit.form.get("name", ""), visit.address
    user = people.find(desk.store.register, name)
    browser = people.known_by(user, visit.marks)
    refuse_hurry(desk.attempts.begin(name, address, desk.now(), browser))
    if not people.is_right(user, visit.form.get("password", "")) or user is None:
        sentence = "The name or the password is wrong."
        return visit.page("sign_in.html", 403, wanted=visit.form.get("next", ""), name=name, sentence=sentence)
    desk.attempts.succeeded(name, address, browser)
    desk.sessions.close(visit.secret)
    return signed_in(visit, user, visit.form.get("next") or "/")


def sign_out(visit: Visit) -> Response:
    """End the session."""
    visit.desk.sessions.close(visit.secret)
    return signed_out(visit.go("/sign-in"))


def first_page(visit: Visit) -> Response:
    """The first manager, made at the shop machine itself."""
    _need_first(visit)
    named = visit.desk.shop_name()
    return visit.page("first.html", shortest=people.SHORTEST_PASSWORD, named="" if named == UNNAMED else named)


def first(visit: Visit) -> Response:
    """Make the first manager."""
    _need_first(visit)
    user = people.make_user(visit.form.get("name", ""), MANAGER, _new_password(visit))
    with visit.desk.store.register.alone():  # of two who are made the first at once, one is
        _need_first(visit)
        if visit.desk.folder:
            keep_name(visit.desk.folder, visit.form.get("shop", ""))
        visit.desk.store.register.put_user(user, user.name, visit.desk.now())
    return signed_in(visit, user, "/")


def _need_first(visit: Visit) -> None:
    """Only while there is nobody, and only from this machine, by a name of this machine: no other site's script."""
    if people.taking_part(visit.desk.store.register):
        raise NotHere(403, "There already is a manager. Sign in.")
    host = visit.request.headers.get("host", "")
    name = host[: host.rfind("]") + 1] or host.partition(":")[0]
    if not (_is_loopback(visit.address) and (name == "localhost" or _is_loopback(name.strip("[]")))):
        raise NotHere(
            403,
            "Nobody can sign in yet. Create the first manager on the shop machine: open this page there as "
            "https://localhost, or run: garboard shop-people add NAME --role manager",
        )


def _is_loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _new_password(visit: Visit) -> str:
    password = visit.form.get("password", "")
    if password != visit.form.get("again", ""):
        raise InputError("password", [Fault("again", "the same password a second time", "another")])
    return password


def day_page(visit: Visit) -> Response:
    """The day sheet."""
    desk, day = visit.desk, _day(visit.request.path_params["day"])
    asked = sheet.ENTERED if visit.asked("by") == sheet.ENTERED else sheet.RECEIVED
    found = sheet.day_sheet(desk.store, desk.summaries, desk.index, day, asked, _page_asked(visit))
    return visit.page(
        "day.html",
        sheet=found,
        consequences=desk.consequences.of_sheet([(boat.summary, boat.jobs) for boat in found.boats]),
        day=day,
        asked=asked,
        today=wording.day_of(desk.now()),
        before=_one_day(day, -1),
        after=_one_day(day, 1),
        last_day="" if found.boats else desk.index.last_day(before=str(_one_day(wording.day_of(desk.now()), 1))),
        reading=not desk.index.is_complete,
    )


def _page_asked(visit: Visit) -> int:
    page = visit.asked("page")
    return max(1, int(page)) if page.isascii() and page.isdigit() and len(page) < 6 else 1


def to_day(visit: Visit) -> Response:
    """From a form that asks for a day to its sheet."""
    asked = f"?by={sheet.ENTERED}" if visit.asked("by") == sheet.ENTERED else ""
    return visit.go(f"/days/{_day(visit.asked('day'))}{asked}")


def _one_day(day: date, by: int) -> date | None:
    other = day + timedelta(days=by)
    return other if FIRST_DAY <= other <= LAST_DAY else None


def boats_page(visit: Visit) -> Response:
    """Search."""
    words, day = visit.asked("q"), visit.asked("day")
    if day:
        _day(day)
    index = visit.desk.index
    found = index.search(words, day, MOST_SHOWN + 1)
    are_more, reading = len(found) > MOST_SHOWN, not index.is_complete
    return visit.page(
        "boats.html",
        to_come=wording.day_to_come(visit.desk.now()),
        words=words,
        day=day,
        found=found[:MOST_SHOWN],
        are_more=are_more,
        reading=reading,
        templates=templates_in(settings.record_of(visit.desk.store)),
    )


def boat_page(visit: Visit) -> Response:
    """Everything of one boat."""
    summary = _boat(visit)
    vessel, desk, row = summary.boat.vessel(), visit.desk, row_of(summary)
    judged = {job.id: desk.consequences.of(summary, job) for job in summary.jobs}
    looked = looks.last_look(visit.request.cookies.get(looks.COOKIE, ""), summary.key, desk.now())
    page = visit.page(
        "boat.html",
        summary=summary,
        consequences={name: one for of_job in judged.values() for name, one in by_hull(summary, of_job).items()},
        figures={
            job.id: glance.large_figures(job.assessed, judged[job.id].outcomes, are_all=judged[job.id].is_whole)
            for job in summary.jobs
        },
        glances={job.id: glance.phases_at_a_glance(job) for job in summary.jobs},
        days={job.id: _days(summary, job) for job in summary.jobs},
        rows=_rows_of_jobs(desk, summary),
        marks=STATE_MARKS,
        now=desk.now(),
        shortened=glance.shortened,
        recordings={job.id: glance.recordings_in(job) for job in summary.jobs},
        looked=looked,
        days_back=looks.DAYS_BACK if looked and desk.now() - looked > looks.LONGEST_BACK else 0,
        changed=looks.changed_since(desk.store, summary, looked, desk.now(), visit.who) if looked else (),
        unfolded=visit.asked("open") == "all",
        look_alikes=desk.index.to_ask_about(summary.boat.state.hull_keys),
        told_apart=desk.index.told_apart(summary.boat.state.hull_keys),
        back=f"/boats/{summary.key}",
        vessel_facts=vessel_facts(vessel),
        equipment=tuple(equipment_tables(vessel, desk.host.equipment)),
        alike=_kept_by_boats_like(desk, row),
        was_run=row.engine_speed > 0,
        tried={job.id: _tried(visit.desk.host, job.view, job.assessed) for job in summary.jobs},
        model=" ".join(filter(None, (vessel.maker, vessel.model)))[:LONGEST_NAME],
        stale_labels=stale_labels(vessel),
        labels_seen=labels_digest(vessel),
        circuits_seen=decisions.circuits_seen(vessel),
        has_circuits=bool(vessel.circuits),
    )
    looks.note(page, visit.request.cookies.get(looks.COOKIE, ""), summary.key, desk.now())
    return page


def _rows_of_jobs(desk: ShopDesk, summary: BoatSummary) -> dict[str, JobRow]:
    """The board's rows of a boat's jobs, by job; none of one that the board does not have yet.

    A row is made a moment after the page: until then it has the state that the page shows, since now.
    """
    rows = desk.remembering.board
    found = (rows.jobs_of(hull) for hull in sorted(summary.boat.state.hull_keys)) if rows is not None else ()
    states = {job.id: state_of(job).value for job in summary.jobs}
    return {
        row.job: row
        if states.get(row.job, row.state) == row.state
        else attrs.evolve(row, state=states[row.job], since=desk.now())
        for of_one in found
        for row in of_one
    }


def _days(summary: BoatSummary, job: JobSummary) -> tuple[glance.WorkDay, ...]:
    home = summary.boat.state_of(job.id)
    return glance.days_of(job, summary.entries.values(), (job.id, *home.parts(job.id)))


def _kept_by_boats_like(desk: ShopDesk, row: Row) -> Kept | None:
    """What boats like one kept, as long as it does not keep its own propeller; None of too few."""
    memory = desk.remembering.at_hand
    return None if row.is_kept or memory is None else memory.kept_by_boats_like(row)


def _tried(host: PluginHost, job: JobView, assessed: Sequence[Assessed]) -> tuple[Table | None, tuple[str, ...]] | None:
    """The propellers that were tried side by side, and what is said of each; None where only one was.

    What was foreseen of propellers stands there too, run or not.
    """
    trials, foreseen = trials_of(job, host), foreseen_of(host, assessed)
    if not trials and not foreseen:
        return None
    return table_of_trials(trials) if trials else None, (*which_stays(trials), *foreseen)


def move_page(visit: Visit) -> Response:
    """Look for the boat a job belongs to, and see that it is the right one before the job is moved."""
    summary = _boat(visit)
    job = summary.job(visit.asked("job"))
    if job is None:
        raise NotHere(404, "This boat has no such job.")
    words, own, index = visit.asked("q").strip(), summary.boat.state.hull_keys, visit.desk.index
    found = [card for card in index.search(words, "", MOST_TO_CHOOSE + 2) if card.hull not in own] if words else []
    return visit.page(
        "move.html",
        summary=summary,
        job=job,
        words=words,
        found=found[:MOST_TO_CHOOSE],
        are_more=len(found) > MOST_TO_CHOOSE,
        alike={other for number in own for other in index.look_alikes(number)},
        reading=not index.is_complete,
    )


def history_page(visit: Visit) -> Response:
    """Everything ever entered for one value."""
    summary = _boat(visit)
    job = _job(visit, summary)
    try:
        state, key = register_named(summary.boat, job.id, visit.asked("of"))
    except KeyError:
        raise NotHere(404, "No value has this name.") from None
    steps = history_of(state, key)
    return visit.page(
        "history.html",
        summary=summary,
        job=job,
        place=register_in_words(key, visit.desk.host, job.view),
        steps=steps,
    )


def book(visit: Visit) -> Response:
    """The handover book. That it was issued is kept, with who asked for it."""
    from garboard.report.book import FONTS_FOLDER, PAPER_SIZES, handover_book
    from garboard.report.press import NoRoom, NotTypeset

    summary = _boat(visit)
    job = _job(visit, summary)
    size = visit.asked("paper") if visit.asked("paper") in PAPER_SIZES else PAPER_SIZES[0]
    unread = visit.desk.store.unread(summary.boat.hulls)
    here = _pictures_here(visit.desk, summary, job)
    proof = proof_of(summary.boat, job.id)
    issued = " ".join(one.root for one in proof.revisions)  # a tablet may have issued one that came since
    name = f"{summary.digest_of_book} {job.id} {size} {unread} {issued} {' '.join(here)}"
    host = visit.desk.host
    load = visit.desk.load_photo
    fonts = visit.desk.folder / FONTS_FOLDER if visit.desk.folder else None
    make = partial(
        handover_book, job.view, host, job.judged, size, unread=unread, load_photo=load, proof=proof, fonts=fonts
    )
    turned_away = host.apart.turned_away if host.apart else 0
    try:
        pdf = make() if summary.is_passing else visit.desk.books.get(name, make)
    except NotTypeset as failure:
        raise NotHere(503, f"{in_words(failure)}.", {"Retry-After": "60"}) from None
    except NoRoom as failure:
        room = "No book was made: the shop's machine has no room for its files. Free some space there, then try again."
        raise NotHere(507, f"{room} {failure.faults[0].where}: {failure.faults[0].got}.") from None
    if _pictures_here(visit.desk, summary, job) != here:  # one came, or was lost, while it was made
        visit.desk.books.forget(name)
    if host.apart and host.apart.turned_away != turned_away:  # a section may lack what the next one holds
        visit.desk.books.forget(name)
    elif not summary.is_passing:
        decisions.book_issued(visit.desk.store, summary, job.id, pdf, proof, visit.who, visit.desk.now())
    return _file(pdf, "application/pdf", f"{summary.key}-{job.id}-handover-book.pdf")


def _pictures_here(desk: ShopDesk, summary: BoatSummary, job: JobSummary) -> list[str]:
    files = [*(one.file for one in summary.photos_in(job)), *files_of_signatures(job.view)]
    return [file for file in files if is_held(desk.store.attachments, file)]


def begin_boat(visit: Visit) -> Response:
    """Open a job for a new boat."""
    with visit.desk.store.deciding():
        store, host = visit.desk.store, visit.desk.host
        hull, visit.kept = decisions.begin_boat(store, host, visit.form, visit.who, visit.desk.now())
    visit.desk.index.read(hull)
    visit.desk.remembering.look_soon()
    return visit.go(f"/boats/{hull}", visit.kept)


def circuits_table(visit: Visit) -> Response:
    """A boat's circuits, for a spreadsheet."""
    summary = _boat(visit)
    table = circuits_as_csv(summary.boat.vessel().circuits)
    return _file(table.encode(), "text/csv; charset=utf-8", f"{summary.key}-circuits.csv")


def labels(visit: Visit) -> Response:
    """Labels of the boat's circuits, the panel's schedule, or the boat's sticker, which opens this page."""
    from garboard.report import label_sheets

    summary, form = _boat(visit), visit.request.path_params["form"]
    vessel = summary.boat.vessel()
    of_all, title = labels_of(vessel), vessel.name or summary.number
    page = visit.request.url.replace(path=f"/boats/{summary.key}", query="")
    paper = visit.asked("paper") if visit.asked("paper") in label_sheets.PAPERS else "letter"
    makes: Mapping[str, Callable[[], bytes]] = {
        "sheet": lambda: label_sheets.label_sheet(title, of_all, paper),
        "schedule": lambda: label_sheets.panel_schedule(title, vessel, of_all, paper),
        "sticker": lambda: label_sheets.boat_sticker(vessel, str(page)),
        **{f"tape{wide}": partial(label_sheets.label_tape, title, of_all, wide) for wide in label_sheets.TAPES},
    }
    if form not in makes or not (of_all or form == "sticker"):
        raise NotHere(404, "There is no such sheet of labels, or this boat has no circuits to label.")
    return _file(makes[form](), "application/pdf", f"{summary.key}-{form}.pdf")


def figure(visit: Visit) -> Response:
    """A figure of a boat."""
    summary = _boat(visit)
    name = visit.request.path_params["name"]
    if name not in summary.figures:
        raise NotHere(404, "This figure no longer exists. Open the boat's page again.")
    svg = visit.desk.drawn.figure(name, summary.figures[name])
    return Response(svg, 200, {**HEADERS, "Cache-Control": "private, max-age=3600"}, "image/svg+xml")


def photo(visit: Visit) -> Response:
    """A photo of a boat with its arrows, drawn anew: nothing that somebody wrote into the file reaches the browser."""
    summary, name = _boat(visit), visit.request.path_params["name"]
    found = next((one for one in summary.photos if photo_name(one) == name), None)
    if found is None:
        raise NotHere(404, "This photo no longer exists. Open the boat's page again.")
    try:
        jpeg = visit.desk.photos.get(name, lambda: drawn(visit.desk.load_photo(found), found.arrows).content)
    except PictureRefused as refused:
        raise NotHere(404, in_words(refused)) from None
    return Response(jpeg, 200, {**HEADERS, "Cache-Control": "private, max-age=3600"}, "image/jpeg")


def attached(visit: Visit) -> Response:
    """A photo or a recording of a boat, piece by piece. It is saved, never shown by the browser: anyone may have
    written what is in it. A photo is given without what its file says besides its dots, as in the book."""
    summary, name = _boat(visit), visit.request.path_params["name"]
    called = summary.files.get(name)
    held = visit.desk.store.attachments
    size = held.sizes().get(name)
    if called is None or size is None:
        raise NotHere(404, "This file is not here yet. It arrives when the tablet that holds it next comes ashore.")
    try:
        first = held.read(name, 0, LARGEST_PIECE)
    except AttachmentDamaged as damaged:
        raise NotHere(404, f"This file cannot be given out: {in_words(damaged)}.") from None

    headers = {**HEADERS, **_download(called)}
    if is_photo(first[:BEGINNING]) and size <= LARGEST_PHOTO:
        content = content_of(visit.desk.store, name)
        if not content:
            raise NotHere(
                404, "This file is damaged at the shop. It arrives again when a tablet that holds it comes ashore."
            )
        photo = without_words(content)
        return Response(photo, headers=headers, media_type="application/octet-stream")

    def pieces() -> Iterator[bytes]:
        yield first
        for start in range(len(first), size, LARGEST_PIECE):
            yield held.read(name, start, LARGEST_PIECE)

    headers["Content-Length"] = str(size)
    return StreamingResponse(pieces(), headers=headers, media_type="application/octet-stream")


Decision = Callable[[Store, BoatSummary, Mapping[str, str], str, int], str]


def decide(decision: Decision, visit: Visit) -> Response:
    """Let a manager decide; back to where it was decided."""
    with visit.desk.store.deciding():
        summary = _boat(visit)
        visit.kept = decision(visit.desk.store, summary, visit.form, visit.who, visit.desk.now())
    decisions.end_unfinished(visit.desk.store, _boat(visit), visit.desk.now())
    for hull in sorted(summary.boat.hulls | _boat(visit).boat.hulls):
        visit.desk.index.read(hull)
    visit.desk.remembering.look_soon()
    return visit.back(f"/boats/{summary.key}", visit.kept)


def measurements_csv(visit: Visit) -> Response:
    """Measurements as CSV: of a boat, of a day, or all."""
    name, rows = _measurements(visit)
    headers = {**HEADERS, **_download(f"{name}.csv")}
    return StreamingResponse(exports.as_csv(rows), headers=headers, media_type="text/csv; charset=utf-8")


def measurements_workbook(visit: Visit) -> Response:
    """The same as a workbook."""
    name, rows = _measurements(visit)
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return _file(exports.as_workbook(rows), kind, f"{name}.xlsx")


def _measurements(visit: Visit) -> tuple[str, Iterator[exports.Row]]:
    desk, hull, day = visit.desk, visit.asked("hull"), visit.asked("day")
    if hull:
        key = hull_number.key(hull)
        return f"measurements-{key}", _rows_of(desk, [key])
    if not day:
        return "measurements", _rows_of(desk, sorted(desk.store.digests().keys() - {SHOP_RECORD}), are_all=True)
    _day(day)
    if visit.asked("by") == sheet.ENTERED:
        if not desk.index.is_complete:
            raise NotHere(503, "The boats are still being read. Try again in a moment.", {"Retry-After": "10"})
        return f"measurements-{day}", _rows_of(desk, desk.index.hulls_on(day), day, are_all=True)
    return f"measurements-{day}", _rows_of(desk, sheet.hulls_received(desk.store, _day(day)), are_all=True)


def _rows_of(desk: ShopDesk, hulls: Iterable[str], day: str = "", *, are_all: bool = False) -> Iterator[exports.Row]:
    """Rows of boats, read one after another: nothing is assessed for them. Last, what of them cannot be read.

    are_all : whether what cannot be read would be among them, whatever boat it is of
    """
    seen: set[str] = set()
    lacking: dict[str, str] = {}
    for hull in hulls:
        if hull not in seen:
            try:
                boat = open_boat(desk.store, hull)[0]
            except NewerFormat as failure:
                lacking[hull] = in_words(failure)
                continue
            seen |= boat.state.hull_keys | boat.hulls
            yield from exports.measurement_rows(boat, desk.host, day)
    lacking |= {what: why for what, why in desk.store.not_whole().items() if are_all or what in seen}
    yield from (exports.row_not_whole(what, why) for what, why in sorted(lacking.items()))


def data_page(visit: Visit) -> Response:
    """Everything of the shop as tables: how far they are, and what their columns mean."""
    return visit.page("data.html", made=visit.desk.tables.made, tables=TABLES)


def make_tables(visit: Visit) -> Response:
    """Begin to make them."""
    ending = visit.form.get("ending", "")
    if ending not in ENDINGS:
        raise NotHere(400, f"Expected one of {', '.join(ENDINGS)} as the kind of file.")
    begun = visit.desk.tables.begin(ending, visit.desk.now(), with_owners=visit.form.get("names") == "yes")
    return visit.go("/data", "" if begun else "They are being made already. Look again in a moment.")


def tables_file(visit: Visit) -> Response:
    """The file that was made last."""
    made = visit.desk.tables.made
    if made is None or made.file is None:
        raise NotHere(404, "No tables are ready. Make them on the page Data.")
    try:
        size, file = made.file.stat().st_size, made.file.open("rb")
    except OSError:  # another was made meanwhile, or it was cleared away
        raise NotHere(404, "These tables are not here any more. Look at the page Data again.") from None
    pieces = iter(partial(file.read, LARGEST_PIECE), b"")
    headers = {**HEADERS, **_download(made.file.name), "Content-Length": str(size)}
    return StreamingResponse(pieces, headers=headers, media_type="application/octet-stream")


def tablets_page(visit: Visit) -> Response:
    """Who takes part."""
    listed = sorted(visit.desk.store.register.tablets(), key=lambda one: (one.is_removed, -one.last_contact, one.name))
    return visit.page(
        "tablets.html",
        tablets=listed,
        told=_without_ids(listed),
        silent=board.days_silent(listed, visit.desk.now()),
        roles=ROLES,
        can_pair=visit.desk.pair is not None,
        code=None,
    )


def pair_tablet(visit: Visit) -> Response:
    """A new code, shown once."""
    import segno
    from markupsafe import Markup

    role = visit.form.get("role", "")
    if visit.desk.pair is None or role not in ROLES:
        raise NotHere(400, "Run this on the shop machine: garboard shop-tablets pair")
    code = visit.desk.pair(role, visit.who)
    picture = segno.make(code.scanned, error="m", micro=False).svg_inline(
        scale=5, dark="#10202B", light="#FFFFFF", omitsize=True, title="The pairing code as a picture"
    )
    return visit.page("code.html", typed=code.typed, picture=Markup(picture), role=role, minutes=MINUTES_A_CODE_WORKS)


def change_role(visit: Visit) -> Response:
    """Make a tablet a technician's or a manager's."""
    tablet, role = visit.request.path_params["tablet"], visit.form.get("role", "")
    if role not in ROLES:
        raise NotHere(400, f"Expected one of {', '.join(ROLES)}.")
    if not visit.desk.store.register.change_role(tablet, role, visit.who, visit.desk.now()):
        raise NotHere(404, "No paired tablet has this id.")
    return visit.go("/tablets", f"It is now a {role}'s tablet. It learns of it when it next comes ashore.")


def remove_tablet(visit: Visit) -> Response:
    """Shut a tablet out."""
    tablet = visit.request.path_params["tablet"]
    if not visit.desk.store.register.remove_tablet(tablet, visit.who, visit.desk.now()):
        raise NotHere(404, "No paired tablet has this id.")
    return visit.go("/tablets", "The tablet is removed. It can no longer read or write.")


def changes_page(visit: Visit) -> Response:
    """Who changed what at the shop, page by page."""
    changes = in_order(visit.desk.store.register.changes())
    pages = max(1, -(-len(changes) // CHANGES_ON_A_PAGE))
    page = min(_page_asked(visit), pages)
    told = _without_ids(visit.desk.store.register.tablets())
    shown = [
        attrs.evolve(change, who=told(change.who), about=told(change.about))
        for change in changes[(page - 1) * CHANGES_ON_A_PAGE : page * CHANGES_ON_A_PAGE]
    ]
    return visit.page("changes.html", changes=shown, number=len(changes), page=page, pages=pages)


def _without_ids(tablets: Iterable[Tablet]) -> Callable[[str], str]:
    """What tells tablets by their names alone, where a name means one tablet."""
    names = names_of_tablets(tablets)
    ids = {one.in_words: names[one.id] for one in tablets if one.in_words != names[one.id]}

    def told(text: str) -> str:
        for full, name in ids.items():
            text = text.replace(full, name)
        return text

    return told


def plugins_page(visit: Visit) -> Response:
    """The shop's own plugins: approved, withdrawn, waiting; and what this server runs."""
    return _plugins_page(visit, None)


def try_waiting_plugin(visit: Visit) -> Response:
    """The same page, with what a plugin that waits would add and find."""
    desk, form = visit.desk, visit.form
    name, sha256 = form.get("name", ""), form.get("sha256", "")
    return _plugins_page(visit, plugins.dry_run(desk.drop, desk.store, desk.host, name, sha256, jobs_of(desk.store)))


def _plugins_page(visit: Visit, dry_run: plugins.DryRun | None) -> Response:
    desk = visit.desk
    known = sorted(desk.store.register.plugins(), key=lambda one: (one.is_withdrawn, one.name))
    faults = desk.host.faults
    return visit.page(
        "plugins.html",
        known=known,
        was={one.name: mark_of([one]) for one in known},
        at_work=[one for one in known if not one.is_withdrawn],
        waiting=plugins.waiting(desk.drop, desk.store),
        passed_over=plugins.passed_over(desk.drop),
        folder=str(desk.drop or ""),
        host=desk.host,
        faults=faults,
        stopped={fault.name for fault in faults if not fault.at_work},
        dry_run=dry_run,
    )


def approve_plugin(visit: Visit) -> Response:
    """Let the shop's tablets run a file the manager has read."""
    desk, form = visit.desk, visit.form
    name, sha256 = form.get("name", ""), form.get("sha256", "")
    said: list[str] = []
    jobs = jobs_of(desk.store)
    seen = as_seen(desk.store.register, name, form.get("was"))
    plugins.approve(desk.drop, desk.store, name, sha256, visit.who, desk.now(), jobs=jobs, tell=said.append, seen=seen)
    done = f"{name} is approved. Every tablet receives it when it next comes ashore."
    return visit.go("/plugins", " ".join((done, *said)))


def withdraw_plugin(visit: Visit) -> Response:
    """Take one back from them."""
    register, name = visit.desk.store.register, visit.form.get("name", "")
    as_seen(register, name, visit.form.get("was"))
    plugin = withdraw(register, name, visit.who, visit.desk.now())
    return visit.go("/plugins", f"{plugin.name} is withdrawn. Each tablet stops running it when it next comes ashore.")


def put_back_plugin(visit: Visit) -> Response:
    """Let them run a withdrawn one again, as it was."""
    store, said = visit.desk.store, list[str]()
    name, former = visit.form.get("name", ""), partial(plugins.content_of, store)
    as_seen(store.register, name, visit.form.get("was"))
    jobs, keep = jobs_of(store), keep_in_store(store)
    put_back(store.register, keep, name, visit.who, visit.desk.now(), former, jobs=jobs, tell=said.append)
    return visit.go(
        "/plugins", " ".join((f"{name} is back. Every tablet receives it when it next comes ashore.", *said))
    )


def new_check_page(visit: Visit) -> Response:
    """A form for a check; with the name of one that is approved, that one to write its next version."""
    store, name = visit.desk.store, visit.asked("check")
    known = next((one for one in store.register.plugins() if one.name == name), None)
    text = plugins.content_of(store, known.sha256).decode(errors="replace") if known else ""
    return _check_page(visit, {}, check_form.Look(text=text) if text else None)


def look_at_check(visit: Visit) -> Response:
    """The check as the tablet asks it, and what it finds on the shop's boats, before it is approved."""
    store, form = visit.desk.store, visit.form
    today = str(wording.day_of(visit.desk.now()))
    text = form.get("text", "") or check_form.text_of_form(form, visit.who, today)
    seen = check_form.look(text, store, visit.desk.host, jobs_of(store))
    return _check_page(visit, form, seen)


def _check_page(visit: Visit, typed: Mapping[str, str], seen: check_form.Look | None) -> Response:
    built_in = visit.desk.host.built_in
    return visit.page(
        "new_check.html",
        typed=typed,
        seen=seen,
        asks=check_form.asked(seen.check) if seen and seen.check else {},
        limits={one.key: one.field.title for one in built_in.settings.values() if one.stricter},
        titles={step.key: step.title for step in visit.desk.host.steps if step.key in built_in.steps},
        rows=check_form.ROWS_OF_FORM,
        words=check_form.WORDS,
        on_form=check_form.on_form,
        largest=check_form.LARGEST,
    )


def approve_check(visit: Visit) -> Response:
    """Let the shop's tablets run a check that was written on the page."""
    store, said = visit.desk.store, list[str]()
    text, was = visit.form.get("text", ""), visit.form.get("was")
    found = check_form.approve(
        text, store, visit.desk.host, visit.who, visit.desk.now(), jobs_of(store), said.append, was
    )
    done = f"{found.name} is approved. Every tablet receives it when it next comes ashore."
    return visit.go("/plugins", " ".join((done, *said)))


def memory_page(visit: Visit) -> Response:
    """What the shop remembers of its boats: how many, and how its forecasts did."""
    memory = visit.desk.remembering.at_hand
    return visit.page(
        "memory.html",
        boats=None if memory is None else len(memory),
        score=(memory or Memory()).score(),
        judged_from=JUDGED_FROM,
        progress=visit.desk.remembering.progress,
    )


def insight_page(visit: Visit) -> Response:
    """What the shop's jobs teach, counted over their rows."""
    desk = visit.desk
    memory = desk.remembering.at_hand
    shown = None if memory is None else desk.insights.of(memory)
    return visit.page("insight.html", shown=shown, progress=desk.remembering.progress)


def settings_page(visit: Visit) -> Response:
    """What the shop decides."""
    return visit.page("settings.html", shown=settings.shown_settings(visit.desk))


def setting_page(visit: Visit) -> Response:
    """One setting: what holds, who set it and why, what it was, and the forms to change it."""
    record = settings.record_of(visit.desk.store)
    shown = _setting(visit)
    key = shown.setting.key
    return visit.page("setting.html", one=shown, history=settings.history(record, key), saw=settings.saw(record, key))


def look_at_change(visit: Visit) -> Response:
    """What a change would do, before it is made."""
    shown, form = _setting(visit), visit.form
    value = settings.value_wanted(visit.desk, shown.setting, form)
    return visit.page(
        "setting_change.html",
        one=shown,
        value=value,
        reset=form.get("reset", ""),
        typed=form.get("value", ""),
        reason=form.get("reason", ""),
        saw=form.get("saw", ""),
        effect=settings.effect_of(visit.desk, shown.setting, value),
    )


def change_setting(visit: Visit) -> Response:
    """Change one of the shop's settings."""
    desk, shown = visit.desk, _setting(visit)
    settings.value_wanted(desk, shown.setting, visit.form)
    with desk.store.deciding():
        notice = decisions.set_for_shop(desk.store, shown.setting, visit.form, visit.who, desk.now())
    desk.remembering.look_soon()
    return visit.go(f"/settings/{shown.setting.key}", notice)


def set_picture(visit: Visit) -> Response:
    """Set a setting that is a picture from a file. It changes no verdict."""
    desk, shown = visit.desk, _setting(visit)
    picture = settings.picture_sent(shown.setting, visit.files.get("file", b""))
    with desk.store.deciding():
        notice = decisions.set_for_shop(desk.store, shown.setting, visit.form, visit.who, desk.now(), picture)
    return visit.go(f"/settings/{shown.setting.key}", notice)


def shown_picture(visit: Visit) -> Response:
    """The picture a setting holds, made anew as it is printed."""
    from garboard.report.logo import logo_to_print

    logo = logo_to_print(_setting(visit).value)
    if logo is None:
        raise NotHere(404, "This setting holds no picture.")
    kind = "image/svg+xml" if logo.ending == "svg" else "image/png"
    return Response(logo.content, 200, HEADERS, kind)


def _setting(visit: Visit) -> settings.ShownSetting:
    found = settings.shown_setting(visit.desk, visit.request.path_params["key"])
    if found is None:
        raise NotHere(404, "No plugin at work here has a setting of this name.")
    return found


def people_page(visit: Visit) -> Response:
    """Who may sign in."""
    listed = people.taking_part(visit.desk.store.register)
    return visit.page("people.html", people=listed, roles=ROLES, shortest=people.SHORTEST_PASSWORD)


def add_person(visit: Visit) -> Response:
    """Let someone sign in."""
    register, name = visit.desk.store.register, visit.form.get("name", "")
    user = people.make_user(name, visit.form.get("role", ""), _new_password(visit))
    with register.alone():
        if people.find(register, user.name):
            raise InputError("person", [Fault("name", "one that nobody here has", repr(user.name))])
        register.put_user(user, visit.who, visit.desk.now())
    return visit.go("/people", f"{user.name} can now sign in as {user.role}.")


def remove_person(visit: Visit) -> Response:
    """Let someone sign in no more. The last manager stays."""
    register = visit.desk.store.register
    with register.alone():  # two managers who remove each other leave one
        user = people.find(register, visit.form.get("name", ""))
        if user is None:
            raise NotHere(404, "No person with this name can sign in.")
        managers = [one for one in people.taking_part(register) if one.role == MANAGER]
        if user in managers and len(managers) == 1:
            raise NotHere(409, "This is the last manager. Add another manager first.")
        now = visit.desk.now()
        register.put_user(attrs.evolve(user, removed_at=now), visit.who, now)
    return visit.go("/people", f"{user.name} can no longer sign in.")


def change_password(visit: Visit) -> Response:
    """A new password of one's own."""
    desk, user, session = visit.desk, visit.user, visit.session
    if user is None or session is None:
        raise NotHere(403, "Sign in first.")
    refuse_hurry(desk.attempts.begin(user.name, "", desk.now(), OWN_PASSWORD))
    if not people.is_right(user, visit.form.get("old", "")):
        raise NotHere(403, "The old password is wrong. Nothing was changed.")
    desk.attempts.succeeded(user.name, "", OWN_PASSWORD)
    changed = people.make_user(user.name, user.role, _new_password(visit))
    if not desk.store.register.put_user(changed, user.name, desk.now(), instead_of=user):
        raise NotHere(409, "Somebody removed you, or changed your role or password, meanwhile. Nothing was changed.")
    session.password_hash = changed.password_hash
    response = visit.go("/people", "Your password is changed. You are signed out everywhere else.")
    return marked(visit, changed, response)


def static(visit: Visit) -> Response:
    """Style, script and letters."""
    name = visit.request.path_params["name"]
    if name == "look.css":
        return Response(colours_as_css(), 200, _CACHED, "text/css")
    path = STATIC.get(name)  # by name alone: whatever else is asked for is no path of this machine
    if path is None:
        raise NotHere(404, "There is no page at this address.")
    kind = "font/otf" if path.suffix == ".otf" else mimetypes.guess_type(name)[0] or "application/octet-stream"
    return Response(path.read_bytes(), 200, _CACHED, kind)


def _boat(visit: Visit) -> BoatSummary:
    return _summary(visit.desk, visit.request.path_params["hull"])


def _summary(desk: ShopDesk, hull: str) -> BoatSummary:
    summary = desk.summaries.of(hull_number.key(hull))
    if summary is None:
        raise NotHere(404, "No boat has this hull number here.")
    return summary


def _job(visit: Visit, summary: BoatSummary) -> JobSummary:
    job = summary.job(visit.request.path_params["job"])
    if job is None:
        raise NotHere(404, "This boat has no such job.")
    return job


def _day(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise NotHere(404, "Expected a day such as 2026-05-14.") from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise NotHere(404, f"Expected a day from {FIRST_DAY} to {LAST_DAY}.")
    return day


def _file(content: bytes, kind: str, name: str) -> Response:
    return Response(content, 200, {**HEADERS, **_download(name)}, kind)


def _download(name: str) -> dict[str, str]:
    return {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name, safe='')}"}
