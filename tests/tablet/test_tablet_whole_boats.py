"""Two boats commissioned whole by touch, from the hull number to both signatures, with every touch counted.

A digit, a letter and a stroke of the pen count as a touch each, and no reading comes from the network. Before, setting
up took 17 fields a circuit, and the readings of twenty circuits 148 touches alone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from garboard.findings import Verdict
from garboard.history import exchange
from garboard.hosting.host import make_host
from garboard.job_files.job_file import parse_job_file
from garboard.recordings.simulator import Boat, Compass, Order, simulate
from garboard.steps import Kind, is_open
from garboard_tablet.models.sources import Replay
from tablet.driver import Drive, Driver, sign, type_hull, view_of
from whole_boats import SINGLE, TWIN, Said, WholeBoat

NUMBERS = (Kind.AMOUNT, Kind.COUNT)
TURNING = Boat(
    full_throttle=5600,
    variation=-14.1,
    speed_per_rev=0.0067,
    compasses=(Compass(source="HC", constant=1.0, sine=2.0, cosine=-1.5, noise=0.4),),
)


TURN = (Order(seconds=20, engine_speed=1100), Order(seconds=185, engine_speed=1100, rate_of_turn=2.5))


class Rigger:
    """Answers whatever the app asks, with what is read on a boat; nothing else of the app is used."""

    def __init__(self, d: Driver, boat: WholeBoat) -> None:
        self.d, self.boat = d, boat
        self.by_step: Counter[str] = Counter()
        self.said_done: list[str] = []

    @property
    def page(self) -> str:
        return str(self.d.app.tablet.session.here.page)

    def begin(self, name: str) -> None:
        """The job, from the hull number on; equipment from a template or a boat, then what only this boat has."""
        d = self.d
        d.press("new job")
        type_hull(d, self.boat.hull)
        d.press("open job", name, "next own")
        d.write("Teal")
        d.touches += len("Teal")
        d.press("next")
        while self.page == "entry":
            field = d.app.shell.page.form.field
            if field.name == "serial_number":
                self._type("FW0042")
            elif field.name == "hours":
                d.number("2")
            else:
                before, kind = d.touches, d.app.shell.page.form.ask.key.subject[0]
                d.press("as on the model")
                self.by_step[kind] += d.touches - before
        d.press("to the job")

    def work(self) -> None:
        """Every step, in the order the app leads."""
        d, seen = self.d, ""
        while True:
            before = d.touches
            if self.page == "job":
                d.press("next step")
            step = d.app.tablet.session.here.step
            if self.page == "hand over":
                return
            self._step(step)
            assert step != seen, f"{step} does not end: {d.words()}"
            seen = step
            self.by_step[step] += d.touches - before

    def _step(self, key: str) -> None:
        d = self.d
        if key in self.boat.not_fitted:
            self._not_fitted()
            return
        while self.page == "cautions":
            d.press("begin")
        while self.page == "entry":
            self._answer(key)
        if self.page == "step" and d.has("continue"):  # a guide was between
            d.press("continue")
            while self.page == "entry":
                self._answer(key)
        if self.page == "step":
            ends = next(name for name in ("next step", "done", "step ended") if d.has(name))
            self.said_done += [key] if ends == "done" else []
            d.press(ends)

    def _not_fitted(self) -> None:
        d = self.d
        if d.has("not on this boat"):
            d.press("not on this boat")
            return
        while self.page != "step":
            d.press("begin" if self.page == "cautions" else "back")
        d.press("state", "mark not fitted")

    def _answer(self, key: str) -> None:
        d = self.d
        form = d.app.shell.page.form
        ask, field = form.ask, form.field
        said = self._said(key, field.name, ask.row, ask.of)
        if field.kind is Kind.RECORDING and key.endswith("steady_turn"):
            self._record()
        elif said is None and form.may_end_table and self._is_first(key, ask):
            d.press("no more rows")
        elif field.kind is Kind.YES_NO and (said is not None or field.required or field.each or ask.row):
            d.press("choice No" if said is False else "choice Yes")
        elif said is None:
            d.press("skip")
        elif d.has("same") and form.repeat == self._as_saved(form, said):
            d.press("same")
        elif field.kind in NUMBERS:
            self._number(str(said))
        elif said == "choice":
            d.press(f"choice {field.offers[0]}")
        elif d.has(f"choice {said}"):
            d.press(f"choice {said}")
        else:
            self._type(str(said))

    def _is_first(self, key: str, ask: Any) -> bool:
        table = next(one for one in self.d.app.tablet.step(key).fields if one.name == ask.table)
        return bool(table.columns[0].name == ask.field.name)

    def _as_saved(self, form: Any, said: Said) -> object:
        return f"{said} {form.unit}" if form.field.kind is Kind.AMOUNT else said

    def _number(self, digits: str) -> None:
        sign = ("key sign",) if digits.startswith("-") else ()
        self.d.press(*(f"key {digit}" for digit in digits.removeprefix("-")), *sign, "next")

    def _type(self, text: str) -> None:
        self.d.write(text)
        self.d.touches += len(text)
        self.d.press("next")

    def _said(self, key: str, field: str, row: str, of: str) -> Said | None:
        said: Said | None = self.boat.read.get(key, {}).get(field)
        if isinstance(said, Sequence) and not isinstance(said, str):
            at = int(row or 1) - 1
            said = said[at] if at < len(said) else None
        if isinstance(said, Mapping):
            said = said.get(of, said.get(""))
        return said

    def _record(self) -> None:
        d = self.d
        d.press("guide")
        now = [0.0]
        d.app.live.time = lambda: now[0]
        d.press("start")
        page = d.app.shell.page
        for _ in range(820):
            now[0] += 0.25
            page._tick(0.25)
        d.press("stop", "keep")

    def sign(self) -> None:
        d = self.d
        d.press("technician signs", "go on")
        sign(d)
        d.press("owner signs", "go on")
        d.write("Ida Marsh")
        d.touches += len("Ida Marsh")
        d.press("save it")
        sign(d)


@pytest.mark.long
@pytest.mark.parametrize(("boat", "most"), [(SINGLE, 960), (TWIN, 1230)], ids=["single", "twin"])
def test_a_boat_is_commissioned_whole_by_touch(drive: Drive, tmp_path: Path, boat: WholeBoat, most: int) -> None:
    """Twenty circuits are set up in under 40 touches; every step is dealt with, nothing fails, and both have signed."""
    d = drive(make_host=make_host)
    files = d.app.tablet.files
    exchange.import_job(files, parse_job_file(boat.model, "model"), tmp_path, d.app.tablet.author(by="Office"))
    (model,) = files.boats()
    d.app.vessels.refresh(model)
    d.app.screen.redraw()
    start = datetime.fromisoformat(d.app.tablet.author().wall()).timestamp()
    turning = simulate(TURNING, TURN, start=start, seed=14, rate=2, heading=40)
    d.app.live.source_for = lambda _guide: Replay("a boat", turning, origin="live")
    rigger = Rigger(d, boat)
    rigger.begin(f"like {model}")
    begun = d.touches
    rigger.work()
    worked = d.touches
    rigger.sign()
    job, touches = view_of(d).job.id, rigger.by_step
    print(f"begun with {begun} touches, worked with {worked - begun}, signed with {d.touches - worked}: {d.touches}")
    print(f"circuits: {touches['circuits'] + 1} to set them up, {touches['wiring_audit.circuits']} for their readings")
    print(f"confirmed by hand: {', '.join(rigger.said_done)}")

    view = d.app.tablet.view(boat.hull, job)
    open_steps = [step.key for step in d.app.tablet.host.steps if is_open(view, step)]
    found = [(one.calculator, one.finding) for one in d.app.tablet.assess(boat.hull, job)]
    assert open_steps == []
    assert [(key, one.sentence) for key, one in found if one.verdict is Verdict.FAIL] == []
    assert {(one.role, one.stale) for one in view.sign_offs} == {("technician", False), ("owner", False)}
    assert touches["circuits"] + 1 < 40
    assert d.touches <= most
