"""Entries of shapes nobody expects end no view model of the tablet. No Kivy, no window."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from garboard.disk.entries import SHOP_RECORD
from garboard.history.registers import name_of
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.titles import names_in_words
from garboard.steps import Kind
from garboard_tablet.models import ashore, covered, like, pages, vessels
from garboard_tablet.models.entry import enter
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import open_tablet
from hostile_entries import DISAGREEING, FORMS, NO_LIST, SOUND_FORM, every_shape

HULL, JOB = "QQZ08832B626", "job-1"


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


@pytest.mark.parametrize("form", FORMS)
def test_each_kind_with_a_subject_of_any_length_closes_no_page(tmp_path: Path, host: PluginHost, form: str) -> None:
    """Its day, its punch list, what a signature covers, bringing ashore, and the entry page of each of its values."""
    with closing(open_tablet(tmp_path, lambda: host)) as tablet:
        for hull in (HULL, SHOP_RECORD):
            tablet.files.put_if_absent(hull, every_shape(hull, JOB, form))
            if form == SOUND_FORM:
                tablet.files.put_if_absent(hull, every_shape(hull, JOB, DISAGREEING))
        state, route = tablet.state_of(HULL, JOB), Route(page="job", hull=HULL, job=JOB)
        found = tablet.assess(HULL, JOB)
        assert pages.steps_by_phase(tablet, HULL, JOB, found)
        lines = [*pages.to_put_right(tablet, HULL, JOB, found), *pages.what_is_missing(tablet, HULL, JOB, found)]
        asked = [line.target(route) for line in (*lines, *pages.asked(tablet, HULL, JOB))]
        assert 0 < covered.coverage(tablet, HULL, JOB).count <= len(state.coverage(JOB)) or form != SOUND_FORM
        assert vessels.vessel_line(tablet, HULL).hull == HULL
        like.templates(tablet)
        like.facts_of(tablet, HULL, JOB)
        for key in sorted(state.registers):
            to = Route(page="entry", hull=HULL, job=JOB, step=key.first, subject=(key.kind, *key.subject))
            form_there = enter(tablet, to)
            assert form_there is None or form_there.ask.key.subject == key.subject, key
            assert tablet.home_of(HULL, key) is state
            assert ashore._disagreement(HULL, key, may_decide=True).text
        for to in asked:
            assert to.page != "entry" or to.subject
        names = [name_of(state.register_of(one)) for stale in state.stale(JOB) for one in stale.not_covered]
        assert names or form == NO_LIST  # those are kept as bytes, and are of no job
        assert all(names_in_words([name], host).strip(" :,") for name in names)


def test_a_run_comes_to_count_beside_what_names_no_field(tmp_path: Path, host: PluginHost) -> None:
    with closing(open_tablet(tmp_path, lambda: host)) as tablet:
        tablet.files.put_if_absent(HULL, every_shape(HULL, JOB, SOUND_FORM))
        view = tablet.view(HULL, JOB)
        asks = [ask for step in host.steps for ask in pages.asks_here(tablet, HULL, JOB, step)]
        ask = next(one for one in asks if one.field.kind is Kind.RECORDING)
        for file in ("cd" * 32, "ef" * 32):
            tablet.let_count(HULL, JOB, ask, {"file": file, "name": "run.log"})
        assert len(tablet.view(HULL, JOB).measurements) > len(view.measurements)
