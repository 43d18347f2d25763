"""Plausible ranges of what is known of a vessel."""

import json
from pathlib import Path

import pytest

from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_job_file
from garboard.records import Engine, Propeller, Vessel, unusual_in, unusual_of
from garboard.units import Amount


@pytest.mark.parametrize(
    ("engine", "asked"),
    [
        (Engine(position="port", gear_ratio=Amount("1.85")), ()),
        (Engine(position="port", gear_ratio=Amount("18.5")), ("gear ratio: 18.5",)),
        (Engine(position="port", gear_ratio=Amount("0.54")), ("gear ratio: 0.54",)),
        # 1 in = 2.54 cm exactly (NIST SP 811, B.8): 48 cm is 18.9 in, 190 cm 74.8 in
        (Engine(position="port", propeller=Propeller(pitch=Amount("48", "cm"))), ()),
        (Engine(position="port", propeller=Propeller(pitch=Amount("190", "cm"))), ("pitch: 190 cm",)),
        (
            Engine(position="port", propeller=Propeller(pitch=Amount("15", "ft"), diameter=Amount("150", "in"))),
            ("diameter: 150 in", "pitch: 15 ft"),
        ),
    ],
)
def test_an_unusual_ratio_pitch_or_diameter_is_asked_about(engine: Engine, asked: tuple[str, ...]) -> None:
    """The usual ranges are common practice, no source; lengths are compared whatever their unit."""
    questions = list(unusual_of(engine))
    assert len(questions) == len(asked)
    assert all(part in question for part, question in zip(asked, questions, strict=True))


@pytest.mark.parametrize(
    ("length", "usual"), [("6 ft", "7 to 70 ft"), ("58 m", "2.13 to 21.3 m"), ("900 in", "84 to 840 in"), ("6.1 m", "")]
)
def test_the_usual_range_is_told_in_the_unit_typed(length: str, usual: str) -> None:
    asked = [text for _, text in unusual_in(Vessel(hull_number="QQZ04417D626", length=Amount.parse(length)))]
    assert asked == [f"length: {length} is outside the usual {usual}. Is it right?"] * bool(usual)


def test_the_question_stands_among_the_unusual_values(tmp_path: Path) -> None:
    """A job file with a gear ratio the wrong way round is assessed, and the ratio asked about."""
    job = {
        "format": "garboard job",
        "version": 1,
        "vessel": {"hull_number": "QQZ04417D626", "engines": [{"position": "centre", "gear_ratio": "0.48"}]},
        "job": {"id": "a-job"},
    }
    file = tmp_path / "job.json"
    file.write_text(json.dumps(job), encoding="utf-8")
    (question,) = (
        text for text in assess_job_file(file, make_host(entry_points=False)).questions if "gear ratio" in text
    )
    assert question == "centre engine, gear ratio: 0.48 is outside the usual 1.2 to 3.5. Is it right?"
