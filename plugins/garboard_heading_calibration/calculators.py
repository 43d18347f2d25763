"""The calculators of heading calibration and where each finding belongs."""

from __future__ import annotations

from garboard.steps import Calculator, RecordingJudge

from . import sensor_findings, swing_finding, turn_findings, two_ways
from .sensors import begun, has_sensors
from .steps import COMPARISON, LOCATION, MAGNETOMETER, PLACE, STEADY_TURN, STRAIGHT_RUNS, SWING

CALCULATORS = (
    Calculator(
        key=LOCATION,
        title="Where the heading sensors sit",
        step=LOCATION,
        compute=sensor_findings.compute_location,
        basis=sensor_findings.LOCATION_BASIS,
        applies=has_sensors,
    ),
    Calculator(
        key="heading_calibration.variation",
        title="Magnetic variation",
        step=PLACE,
        compute=sensor_findings.compute_variation,
        basis=sensor_findings.VARIATION_BASIS,
        applies=lambda view: has_sensors(view) or begun(PLACE)(view),
        may_doubt=True,
        doubts_in=("heading_calibration",),
    ),
    Calculator(
        key=STEADY_TURN,
        title="Steady turn",
        step=STEADY_TURN,
        compute=turn_findings.compute,
        basis=turn_findings.BASIS,
        applies=lambda view: has_sensors(view) or begun(STEADY_TURN)(view),
    ),
    Calculator(
        key=MAGNETOMETER,
        title="Raw magnetometer circle",
        step=MAGNETOMETER,
        compute=sensor_findings.compute_magnetometer,
        basis=sensor_findings.MAGNETOMETER_BASIS,
        applies=begun(MAGNETOMETER),
    ),
    Calculator(
        key=SWING,
        title="Swing",
        step=SWING,
        compute=two_ways.compute_swing,
        basis=swing_finding.BASIS,
        applies=lambda view: begun(SWING)(view) or (has_sensors(view) and not begun(STRAIGHT_RUNS)(view)),
        may_doubt=True,
        doubts_in=("heading_calibration",),
    ),
    Calculator(
        key=STRAIGHT_RUNS,
        title="Swing from straight runs",
        step=STRAIGHT_RUNS,
        compute=two_ways.compute_straight_runs,
        basis=swing_finding.BASIS,
        applies=begun(STRAIGHT_RUNS),
        may_doubt=True,
        doubts_in=("heading_calibration",),
    ),
    Calculator(
        key=COMPARISON,
        title="Heading sensors compared",
        step=COMPARISON,
        compute=sensor_findings.compute_comparison,
        basis=sensor_findings.COMPARISON_BASIS,
        applies=lambda view: begun(COMPARISON)(view) or len(view.vessel.heading_sensors) > 1,
    ),
)

JUDGES = (
    RecordingJudge(
        key="heading_calibration.turns",
        title="Steady turns",
        option="turns",
        judge=turn_findings.judge_recording,
    ),
)
