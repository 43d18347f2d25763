"""Promise 6: entries of unknown kinds, of newer versions or of plugins not installed here pass through untouched."""

from __future__ import annotations

import json
import tempfile
import unicodedata
from functools import partial
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.disk.clock import Stamp
from garboard.disk.entries import canonical_bytes, entry_id, make_entry, read_entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure, sign_off
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import merge
from garboard.history.replay import HullState
from garboard.job_files.job_file import read_job_file
from garboard.records import JsonValue
from histories import JOB, tablet

HULL = "ABC00001A526"
NAMES = st.text("abcdefghijklmnopqrstuvwxyz_", min_size=1, max_size=10)
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=10).map(partial(unicodedata.normalize, "NFC"))
VALUES: st.SearchStrategy[JsonValue] = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**40), 2**40) | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=8,
)
UNKNOWN_KIND = st.builds(
    lambda kind, value, more, plugins: (
        make_entry(
            kind,
            HULL,
            dev="tablet-07",
            by="Ines",
            clock=Stamp(1, 0),
            at="2026-05-14T12:00:00+02:00",
            value=value,
            more=more,
            plugins=plugins,
        ).raw
    ),
    NAMES.map("plugin_".__add__),
    VALUES,
    st.dictionaries(NAMES.map("x_".__add__), VALUES, max_size=3),
    st.dictionaries(NAMES, TEXT, max_size=2),
)
NEWER_FORMAT = st.builds(
    lambda version, kind, fields: canonical_bytes({**fields, "v": version, "kind": kind, "hull": HULL}),
    st.integers(2, 99),
    NAMES,
    st.dictionaries(NAMES, VALUES, max_size=6),
)


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(UNKNOWN_KIND | NEWER_FORMAT, min_size=1, max_size=5, unique=True))
def test_p6_what_is_not_understood_is_kept_and_passed_on_byte_for_byte(entries: list[bytes]) -> None:
    """From a tablet to the shop and on to another tablet, over disk each time, nothing changes."""
    with tempfile.TemporaryDirectory() as where:
        with HullFolder(Path(where) / "tablet") as tablet:
            assert tablet.put_if_absent(HULL, entries).refused == ()
        with HullFolder(Path(where) / "tablet") as tablet, HullFolder(Path(where) / "shop") as shop:
            shop.put_if_absent(HULL, tablet.get(HULL))
        with HullFolder(Path(where) / "shop") as shop, HullFolder(Path(where) / "second") as second:
            second.put_if_absent(HULL, shop.get(HULL).values())
            assert sorted(second.get(HULL).values()) == sorted(entries)
            assert second.digests() == shop.digests()
            assert len(second.hull(HULL).entries()) == len(entries)


@settings(max_examples=examples(40), deadline=None)
@given(st.lists(UNKNOWN_KIND | NEWER_FORMAT, min_size=1, max_size=5, unique=True), st.sampled_from(["", JOB]))
def test_p6_merge_export_and_import_pass_on_what_is_not_understood(entries: list[bytes], job: str) -> None:
    """Through a merge, into a job file, out of it on another machine, and merged again: the same ids, the same bytes,
    counted, and no sign-off claims to cover them."""
    known = measure(tablet("a").author, HullState(HULL), JOB, "prop_check.runs", "speed", "30.0 kn")
    strange = [canonical_bytes({**json.loads(raw), "job": job}) for raw in entries]
    with (
        tempfile.TemporaryDirectory() as where,
        HullFolder(Path(where) / "tablet") as source,
        HullFolder(Path(where) / "shop") as shop,
        HullFolder(Path(where) / "second") as second,
        HullFolder(Path(where) / "third") as third,
    ):
        source.put_if_absent(HULL, [*strange, known])
        report = merge([source], shop)
        assert (report.received, report.refused) == (len({*strange}) + 1, ())
        boat = open_hull(shop, HULL)
        assert boat.state.unknown.keys() == {entry_id(raw) for raw in strange}
        exported = export_job(shop, boat, JOB, Path(where) / "out")
        import_job(second, read_job_file(exported), exported.parent, tablet("b").author)
        merge([second], third)
        assert sorted(third.get(HULL).values()) == sorted({*strange, known.raw})
        state = open_hull(third, HULL).state
        state.add(sign_off(tablet("b").author, state, JOB, "technician", "R. Vane"))
        missed = {entry.id for stale in state.stale(JOB) for entry in stale.not_covered}
        assert missed == (state.unknown.keys() if job else set())


@given(UNKNOWN_KIND | NEWER_FORMAT)
def test_p6_what_is_not_understood_says_so(raw: bytes) -> None:
    """Its view can be asked for every common field without failing, and tells that this version only keeps it."""
    entry = read_entry(raw)
    assert not entry.is_understood
    assert entry.hull_key == HULL
    assert entry.raw == raw
    common = (entry.kind, entry.job, entry.tablet, entry.by, entry.at, entry.program)
    assert all(isinstance(text, str) for text in common)
    assert isinstance(entry.clock, Stamp)
    assert all(isinstance(item, str) for item in (*entry.subject, *entry.replaces))
    assert entry.more.keys() <= entry.fields.keys()
    assert entry.plugins is not None
