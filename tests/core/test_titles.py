"""Places of measurements in the words a person saw: rows of tables by name, not by number alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from garboard.history.registers import RegisterKey, name_of
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.titles import name_in_words, place_in_words
from garboard.job_view import FieldKey, JobView
from garboard.records import Job, JsonValue, Measurement, Vessel
from garboard.report.data_tables import Collector, JobToExport

RUNS, PUMPS, STEPS = "prop_check.full_throttle", "handover.bilge_pumps", "fuel_curve.steps"
ENTERED: dict[FieldKey, JsonValue] = {
    (RUNS, "direction", "2", ""): "against",
    (RUNS, "speed", "2", ""): "31.9 kn",
    (RUNS, "speed", "3", ""): "32.0 kn",
    (PUMPS, "pump", "1", ""): "Forward",
    (STEPS, "nominal_engine_speed", "4", ""): "2500 rev/min",
}
VIEW = JobView(
    vessel=Vessel(hull_number="XYZAB123F526"),
    job=Job(id="a"),
    measurements=tuple(Measurement(step=s, field=f, row=r, of=o, value=v) for (s, f, r, o), v in ENTERED.items()),
)


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ((RUNS, "speed", "2", ""), "Speed over ground, run 2, against"),
        ((RUNS, "engine_speed", "2", "port"), "Engine speed, port, run 2, against"),
        ((RUNS, "direction", "2", ""), "Wind and current, run 2"),  # its value says the rest
        ((RUNS, "speed", "3", ""), "Speed over ground, run 3"),
        ((PUMPS, "by_hand", "1", ""), "Forward"),
        ((PUMPS, "by_hand", "2", ""), "pump 2"),
        ((STEPS, "speed_out", "4", ""), "step 4, 2500 rev/min"),
        (("shop.own", "remark", "7", ""), "remark, 7"),
        ((RUNS, "no_such_field", "7", ""), "no such field, 7"),
        ((RUNS, "all_runs", "", ""), "One recording of all runs"),
    ],
)
def test_a_row_is_called_by_what_stands_first_in_it(host: PluginHost, place: FieldKey, words: str) -> None:
    said = place_in_words(place, host, VIEW)
    assert said.endswith(words)


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (("vessel", "beam", "", ""), "Vessel: beam"),
        (("vessel", "engines/centre/serial_number", "", ""), "centre engine: serial number"),
        (("vessel", "engines.serial_number", "", "centre"), "centre engine: serial number"),  # as a doubt names it
        (("vessel", "engines/port/propeller/pitch_measured", "", ""), "port engine: propeller, pitch as measured"),
        (("vessel", "circuits/Fore/aft pump/conductor_awg", "", ""), "circuit Fore/aft pump: conductor size, AWG"),
        (("vessel", "circuits/Pump/unheard_of", "", ""), "circuit Pump: unheard of"),  # of a newer version
    ],
)
def test_a_fact_of_the_boat_is_called_as_people_call_it(host: PluginHost, place: FieldKey, words: str) -> None:
    """An owner's book said "Vessel: engines/centre/serial number"."""
    assert place_in_words(place, host) == words
    if not place[3]:
        assert name_in_words(name_of(RegisterKey("field", "", tuple(place[1].split("/")))), host) == words


def test_without_the_job_a_row_is_its_number(host: PluginHost) -> None:
    assert place_in_words((RUNS, "speed", "2", ""), host).endswith("Speed over ground, 2")


def test_an_entry_of_a_plugin_that_is_not_here_says_its_name_once(host: PluginHost) -> None:
    name = name_of(RegisterKey("paint_check", "a", ("paint_check", "dry_film")))
    assert name_in_words(name, host) == "Paint check dry film"
    assert name_in_words(name_of(RegisterKey("signoff", "a", ("owner", "A. Marsh"))), host) == "Signoff owner A. Marsh"


RENAMED = """
format = "garboard check"
version = 1
name = "well"
title = "Livewell"
edition = "2"
basis = {kind = "shop rule", text = "ours"}

[[step]]
name = "flow"
title = "Livewell flow"
phase = "alongside"
order = 396

[[step.field]]
name = "pumps"
title = "Pumps"
kind = "table"

[[step.field.column]]
name = "pump"
title = "Pump"
kind = "text"

[[step.field.column]]
name = "seconds"
renamed_from = ["took"]
title = "Time it took"
kind = "amount"
unit = "s"

[[value]]
name = "longest"
title = "Longest"
formula = "max(seconds)"
unit = "s"

[[result]]
name = "longest"
title = "Longest"
step = "flow"
about = "pumps"
numbers = ["longest"]

[[result.case]]
verdict = "pass"
code = "told"
sentence = "The slowest took {longest}."
"""


def test_what_was_entered_under_a_former_name_and_a_steps_state_are_told_by_title(tmp_path: Path) -> None:
    """A later version of a check calls a field otherwise: pages and book still name it as the tablet does."""
    (tmp_path / "well.toml").write_text(RENAMED)
    host = make_host(entry_points=False, files=[tmp_path / "well.toml"])
    pump = Measurement(step="well.flow", field="pump", row="1", value="port")
    view = JobView(vessel=Vessel(hull_number="XYZAB123F526"), job=Job(id="a"), measurements=(pump,))
    assert place_in_words(("well.flow", "took", "1", ""), host, view) == "Livewell flow: Time it took, port"
    assert name_in_words("well.flow/took/1", host, view) == "Livewell flow: Time it took, port"
    assert name_in_words("step well.flow", host) == "Livewell flow: state"


def test_a_value_under_a_former_name_keeps_its_number_in_the_tables(tmp_path: Path) -> None:
    """The number, unit and quantity of what was typed before a field was renamed stand beside it as before."""
    (tmp_path / "well.toml").write_text(RENAMED)
    host = make_host(entry_points=False, files=[tmp_path / "well.toml"])
    took = Measurement(step="well.flow", field="took", row="1", value="9 s")
    job = JobToExport(
        view=JobView(vessel=Vessel(hull_number="XYZAB123F526"), job=Job(id="a"), measurements=(took,)), assessed=()
    )
    cells = next(row for table, row in Collector(host).rows_of(job) if table.name == "measurements")
    assert [one for one in cells if one in ("9 s", 9.0, "s", "time")][:4] == ["9 s", 9.0, "s", "time"]
    assert name_in_words("gone.flow/took/1", host) == "gone.flow: took, 1"  # as the page says it
