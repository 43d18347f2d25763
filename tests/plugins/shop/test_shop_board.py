"""The board over rows with known answers: facets, views, search, order, the headline, and the work of a page."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from datetime import date
from urllib.parse import parse_qsl, urlsplit

import attrs
import numpy as np
import pytest

from boat_rows import CODES, MODELS, NOW, RIGGERS, STATES, job, jobs
from garboard_shop.board import NOBODY, SORTS, VIEWS, Asked, Board, Times, handed_within, shares
from garboard_shop.board_words import Parts, Words
from garboard_shop.boat_rows import Row
from garboard_shop.insight_counts import Counts
from garboard_shop.job_rows import A_DAY, JobRow
from garboard_shop.pages.index import Card, Wanted

MANY = 720
ROWS = tuple(jobs(MANY))
TIMES = Times(
    now=NOW,
    looked=NOW - 3 * A_DAY,
    sunday=date(2026, 11, 29),
    weeks=tuple(NOW + 1 - (8 - week) * 7 * A_DAY for week in range(9)),
    heard={"tablet 1": NOW - 4 * A_DAY, "tablet 2": NOW - 2 * A_DAY},
)
WHOLE = Board(ROWS)
EVERY = Asked(view="all")


def having(fits: Callable[[JobRow], object]) -> set[str]:
    return {row.job for row in ROWS if fits(row)}


def listed(asked: Asked, board: Board = WHOLE) -> list[JobRow]:
    """All rows that fit, page by page."""
    pages = board.find(asked, TIMES).pages
    return [row for page in range(1, pages + 1) for row in board.find(attrs.evolve(asked, page=page), TIMES).rows]


def found(asked: Asked, board: Board = WHOLE) -> set[str]:
    return {row.job for row in listed(asked, board)}


VIEW_SAYS: dict[str, Callable[[JobRow], object]] = {
    "open": lambda row: row.state != "handed over",
    "all": lambda row: True,
    "stuck": lambda row: row.state != "handed over" and row.since < NOW - 14 * A_DAY,
    "due": lambda row: row.state != "handed over" and "" < row.promised <= "2026-11-29",
    "late": lambda row: row.state not in ("handed over", "ready") and "" < row.promised <= "2026-11-29",
    "changed": lambda row: row.changed > NOW - 3 * A_DAY,
    "open-fails": lambda row: row.state == "handed over" and row.points,
    "silent": lambda row: row.state != "handed over" and row.tablet == "tablet 1",
    "stale": lambda row: row.stale,
}


@pytest.mark.parametrize("view", VIEWS)
def test_a_view_has_the_jobs_it_says_and_no_other(view: str) -> None:
    wanted = having(VIEW_SAYS[view])
    assert found(Asked(view=view)) == wanted
    assert wanted or view in ("open-fails", "stale")


def test_a_boat_handed_over_with_a_point_open_is_listed_and_one_without_is_not() -> None:
    over = [row for row in ROWS if row.state == "handed over"]
    board = Board([attrs.evolve(over[0], points=1, stale=("technician R. Vane",)), *over[1:]])
    assert found(Asked(view="open-fails"), board) == found(Asked(view="stale"), board) == {over[0].job}
    board.take(over[0].hull, [over[0]])
    assert found(Asked(view="open-fails"), board) == found(Asked(view="stale"), board) == set()


def test_facets_count_what_each_choice_would_show() -> None:
    shown = WHOLE.find(EVERY, TIMES).facets
    assert shown["state"] == tuple((state, MANY // 6) for state in STATES)
    assert dict(shown["technician"]) == dict.fromkeys(RIGGERS, MANY // 3)
    assert dict(shown["model"]) == dict.fromkeys(MODELS, MANY // 4)
    waits = Counter(row.waiting_for for row in ROWS)
    assert dict(shown["waiting"]) == {name or NOBODY: count for name, count in waits.items()}
    assert all(sum(count for _, count in shown[name]) == MANY for name in shown), "each facet counts every job"
    chosen = WHOLE.find(attrs.evolve(EVERY, state="failing"), TIMES)
    assert chosen.facets["state"] == shown["state"], "the others of a facet can still be chosen"
    assert chosen.facets["technician"] == ((RIGGERS[2], MANY // 6),)
    for name, values in chosen.facets.items():
        for value, count in values:
            assert len(found(Asked.of({"view": "all", "state": "failing", name: value}))) == count


def test_counts_after_many_changes_are_those_of_the_rows_there_are() -> None:
    board, rows = Board(ROWS[:90]), {row.hull: row for row in ROWS[:90]}
    for number, row in enumerate(ROWS[:60]):
        changed = attrs.evolve(row, state=STATES[number % 5], assigned="N. Sorrel", stale=("owner",) * (number % 2))
        board.take(row.hull, [changed] if number % 4 else [])
        rows |= {row.hull: changed}
        if not number % 4:
            del rows[row.hull]
    anew = Board(rows.values())
    for view in VIEWS:
        one, other = (which.find(Asked(view=view), TIMES) for which in (board, anew))
        assert (one.total, dict(one.facets)) == (other.total, dict(other.facets)), view
    assert board.headline(TIMES) == anew.headline(TIMES)


def test_a_failing_job_is_found_by_its_code_and_a_mended_one_only_by_what_ever_failed() -> None:
    failing = next(row for row in ROWS if row.failing)
    code = failing.failing[0]
    board = Board(ROWS)
    assert found(attrs.evolve(EVERY, failing=code), board) == having(lambda row: code in row.failing)
    board.take(failing.hull, [attrs.evolve(failing, failing=(), state="ready")])
    assert failing.job not in found(attrs.evolve(EVERY, failing=code), board)
    assert failing.job in found(attrs.evolve(EVERY, failed=code), board)
    assert found(attrs.evolve(EVERY, failing="no.such"), board) == set()


@pytest.mark.parametrize(
    ("typed", "fits"),
    [
        ("vane", lambda row: row.technician == "R. Vane"),
        ("R. Vane, kestrel", lambda row: row.technician == "R. Vane" and "Kestrel" in row.name),
        ("kestrle", lambda row: "Kestrel" in row.name),
        ("15.3 x 19", lambda row: True),
        ("0042", lambda row: "0042" in row.hull),
        ("a626", lambda row: True),
        ("z00017a6", lambda row: "Z00017A6" in row.hull),
        ("qqz00017a626", lambda row: row.hull == "QQZ00017A626"),
        ("00017a627", lambda row: False),
        ("marsh 17", lambda row: row.model == "Low Marsh 17"),
        ("wiring_audit.labels", lambda row: any(code.startswith("wiring_audit.labels") for code in row.failing)),
        ("unlabelled", lambda row: any("unlabelled" in code for code in row.failing)),
        ("nothing like it", lambda row: False),
        ("owner-7", lambda row: row.hull == "QQZ00007A626"),
    ],
)
def test_a_search_finds_each_word_with_one_slip_forgiven(typed: str, fits: Callable[[JobRow], bool]) -> None:
    board = Board(ROWS, lambda hull: ["Owner-7"] if hull == "QQZ00007A626" else [])
    assert found(attrs.evolve(EVERY, q=typed), board) == having(fits)


@pytest.mark.parametrize("typed", ["too_much", "too much", "drop measured", "wiring_audit.drop_measured.too_much"])
def test_a_failure_is_found_by_its_code_and_by_the_words_that_insight_tells_it_by(typed: str) -> None:
    board = Board([attrs.evolve(ROWS[3], failing=(CODES[0],)), ROWS[4]])
    assert found(attrs.evolve(EVERY, q=typed), board) == {ROWS[3].job}


@pytest.mark.parametrize("typed", ["zoe", "ZOE", "zo\u00eb", "zoe\u0308", "gro\u00dfe", "GROSSE", "istanbul"])
def test_a_search_minds_neither_accents_nor_how_they_were_typed(typed: str) -> None:
    for name in ("Zo\u00eb Gro\u00dfe \u0130stanbul", "Zoe\u0308 Grosse ISTANBUL"):
        board = Board([attrs.evolve(ROWS[3], name=name)])
        assert found(attrs.evolve(EVERY, q=typed), board) == {ROWS[3].job}
        assert not board.find(attrs.evolve(EVERY, q=typed), TIMES).instead
        hull = ROWS[3].hull
        card = Card(hull=hull, numbers=(), names=(name,), owners=(), propellers=(), days=frozenset(), entries=1)
        assert Wanted.typed(typed).fits(card)


def test_a_row_that_changes_while_words_are_put_in_order_is_found_by_its_own() -> None:
    waiting = [attrs.evolve(ROWS[5], name="Aardvark")]

    def also(hull: str) -> tuple[str, ...]:
        if is_learning and waiting:
            board.take(ROWS[5].hull, [waiting.pop()])
        return ()

    is_learning = False
    board = Board(ROWS[:50], also)
    is_learning = True
    board.learn_words()
    assert found(attrs.evolve(EVERY, q="aardvark"), board) == {ROWS[5].job}
    assert ROWS[5].job not in found(attrs.evolve(EVERY, q=ROWS[5].name), board)
    for row in ROWS[50:300]:
        board.take(row.hull, [row])
    assert board.words_are_due
    board.learn_words()
    assert not board.words_are_due
    assert found(EVERY, board) == {row.job for row in ROWS[:300]}


def test_a_slip_is_told_and_only_where_nothing_has_the_word() -> None:
    assert dict(WHOLE.find(Asked(q="kestrle"), TIMES).instead) == {"kestrle": ("kestrel",)}
    assert dict(WHOLE.find(Asked(q="kest"), TIMES).instead) == {}


def test_a_part_of_a_hull_number_is_found_wherever_it_stands() -> None:
    chance = random.Random(4)

    def text(longest: int) -> str:
        return "".join(chance.choice("ab01") for _ in range(chance.randint(4, longest)))

    for _ in range(100):
        hulls, part = [text(20) for _ in range(chance.choice((0, 1, 40, 200)))], text(16)
        assert list(Parts(hulls).having(part)) == [at for at, hull in enumerate(hulls) if part in hull], part


@pytest.mark.parametrize(
    ("typed", "is_near"),
    [("tern", False), ("kestrels", True), ("estrel", True), ("ketsrel", True), ("kistrel", True), ("kestrlee", False)],
)
def test_one_slip_is_a_letter_more_or_less_or_other_or_two_swapped(typed: str, is_near: bool) -> None:
    assert Words([(0, ("hull", "kestrel"))]).having(typed, 1)[0][0] == is_near
    newer = Words([(0, ("hull", "plover"))])
    newer.put(0, ("hull", "kestrel"))
    assert newer.having(typed, 1)[0][0] == is_near
    assert not newer.having("plover", 1)[0][0]


@pytest.mark.parametrize("sort", SORTS)
def test_pages_in_an_order_have_every_job_once_also_after_a_change(sort: str) -> None:
    board = Board(ROWS)
    board.find(attrs.evolve(EVERY, sort=sort), TIMES)
    board.take(ROWS[3].hull, [attrs.evolve(ROWS[3], name="Aardvark", promised="2026-01-01", since=1, changed=NOW + 1)])
    forwards = listed(attrs.evolve(EVERY, sort=sort), board)
    assert [*map(SORTS[sort], forwards)] == sorted(map(SORTS[sort], forwards))
    assert len({row.job for row in forwards}) == len(forwards) == MANY
    assert listed(attrs.evolve(EVERY, sort=f"-{sort}"), board) == forwards[::-1]


def test_a_page_says_which_it_is_and_one_too_many_is_the_last() -> None:
    page = WHOLE.find(attrs.evolve(EVERY, page=99), TIMES)
    assert (page.first, page.last, page.total, page.page, page.pages) == (701, 720, 720, 15, 15)
    none = WHOLE.find(Asked(q="nothing at all"), TIMES)
    assert (none.first, none.last, none.total, none.pages) == (0, 0, 0, 1)


def test_the_headline_counts_what_its_lists_hold() -> None:
    told = WHOLE.headline(TIMES)
    assert (told.to_settle, told.failing, told.ready) == (MANY // 6,) * 3
    assert told.late == len(found(Asked(view="late")))
    assert (told.whole.jobs, told.whole.right, told.whole.days) == (MANY // 6, MANY // 6, 10.0)
    assert sum(week.jobs for week in told.weeks) == told.whole.jobs
    over = [row for row in ROWS if row.state == "handed over"]
    once = [attrs.evolve(row, ever_failed=("a.b",), known=row.handed - 4 * A_DAY) for row in over[:60]]
    told = Board([*once, *over[60:]]).headline(TIMES)
    assert (told.whole.jobs, told.whole.right, told.whole.days, shares(told.whole)) == (120, 60, 7.0, 50)


def test_of_fewer_than_five_jobs_no_per_cent_is_told() -> None:
    over = [row for row in ROWS if row.state == "handed over"]
    assert shares(Board(over[:4]).headline(TIMES).whole) is None
    assert shares(Board(over[:5]).headline(TIMES).whole) == 100
    assert Board().headline(TIMES).whole.jobs == 0


def test_what_was_handed_over_in_a_span_is_listed() -> None:
    wanted = having(lambda row: row.handed and row.handed > NOW - 6.5 * A_DAY)
    assert found(attrs.evolve(EVERY, handed="2026-11-19+7")) == wanted
    assert found(attrs.evolve(EVERY, handed="2026-11", right="no")) == set()
    assert handed_within("2026-12", TIMES)[1] + 1 == handed_within("2027-01-01", TIMES)[0]
    for wrong in ("soon", "2026-13", "9999-12", "2026-11-19+", ""):
        low, high = handed_within(wrong, TIMES)
        assert low > high or wrong in ("9999-12", "2026-11-19+")


def test_an_address_says_what_is_asked_and_unknown_things_are_left_out() -> None:
    asked = Asked(view="stuck", technician="R. Vane", q="a&b", sort="-boat", page=3)
    address = asked.address(page=3)
    assert Asked.of(dict(parse_qsl(urlsplit(address).query))) == asked
    assert Asked.of({"view": "x", "sort": "x", "page": "-1", "other": "y"}) == Asked()
    assert (Asked().address(), asked.address().count("page")) == ("/board", 0)


class Counted(list[JobRow | None]):
    """Rows that count how often one is looked at."""

    looks = 0

    def __getitem__(self, at):  # type: ignore[no-untyped-def]
        self.looks += 1
        return super().__getitem__(at)

    def __iter__(self):  # type: ignore[no-untyped-def]
        self.looks += len(self)
        return super().__iter__()


class Looked(np.ndarray):
    """A column that counts of how many rows it is asked."""

    at = 0

    def __getitem__(self, place):  # type: ignore[no-untyped-def]
        found = np.asarray(self)[place]
        Looked.at += np.size(found)
        return found

    def __array_ufunc__(self, ufunc, method, *inputs, **more):  # type: ignore[no-untyped-def]
        Looked.at += self.size
        return getattr(ufunc, method)(*map(np.asarray, inputs), **more)


def test_a_filter_looks_at_groups_of_rows_and_not_at_every_row() -> None:
    looked = []
    for number in (5_000, 10_000):
        board = Board(map(job, range(number)))
        board._groups.of = board._groups.of.view(Looked)
        for name, column in board._columns.items():
            board._columns[name] = column.view(Looked)
        here: dict[str, int] = {}
        for path in PLAIN:
            Looked.at = 0
            board.find(Asked.of(dict(parse_qsl(path))), TIMES)
            here[path] = Looked.at
        looked.append(here)
    assert looked[0] == looked[1]
    assert max(looked[1].values()) <= 2 * 4096
    board.find(Asked(view="changed"), TIMES)
    assert Looked.at > 10_000, "a look at a whole column is counted"


PLAIN = (
    "",
    "view=all&sort=boat&page=2",
    "technician=T. Quill&state=failing",
    "waiting=parts",
    "sort=-days&state=ready",
)


def test_a_page_looks_at_its_own_rows_however_many_there_are() -> None:
    looks = []
    for number in (120, 5_000):
        board = Board(map(job, range(number)))
        asked = [Asked(), Asked(view="stuck"), Asked(q="vane"), Asked(q="kestrle"), Asked(failing=CODES[0], page=2)]
        for one in asked:
            board.find(one, TIMES)
        board.rows = counted = Counted(board.rows)
        for one in asked:
            board.find(one, TIMES)
        board.headline(TIMES)
        looks.append(counted.looks)
    assert max(looks) <= 5 * 50
    board.learn_words()
    assert counted.looks > 5_000, "looks at all rows are counted"


def test_a_job_set_aside_is_in_its_own_list_and_counted_nowhere_else() -> None:
    """Set aside, each in turn of every state: the board and Insight are as if there were no such job."""
    aside = [attrs.evolve(row, state="set aside", stale=("owner",)) for row in ROWS[:6]]
    board, without = Board([*aside, *ROWS[6:]]), Board(ROWS[6:])
    named = {row.job for row in aside}
    assert found(Asked(view="all", state="set aside"), board) == named
    assert dict(board.find(EVERY, TIMES).facets["state"])["set aside"] == 6
    assert not board.find(Asked(view="all", state="set aside", waiting="parts"), TIMES).total, "it waits for nobody"
    for view in VIEWS:
        if view not in ("all", "changed"):
            assert found(Asked(view=view), board) == found(Asked(view=view), without), view
    for code in CODES:
        for asked in (attrs.evolve(EVERY, failing=code), attrs.evolve(EVERY, failed=code)):
            assert found(asked, board) == found(asked, without)
    assert board.headline(TIMES) == without.headline(TIMES)
    counts = Counts([Row(hull=row.hull, jobs=(row,)) for row in (*aside, *ROWS[6:])])
    others = Counts([Row(hull=row.hull, jobs=(row,)) for row in ROWS[6:]])
    first = date(2026, 11, 1)
    for one, other in ((counts.whole, others.whole), (counts.since(first), others.since(first))):
        assert (one.jobs, one.ever, one.still, one.by) == (other.jobs, other.ever, other.still, other.by)
    assert counts.waits == others.waits
    counts.put(Row(hull=ROWS[0].hull, jobs=(ROWS[0],)))
    assert counts.whole.jobs == others.whole.jobs + 1, "taken up again"
