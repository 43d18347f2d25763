"""Fuel curve: throttle steps into speed, economy, best cruise and range, with the meter and the engine checked."""

from garboard.hooks import each_of
from garboard_fuel_curve.calculators import CALCULATORS
from garboard_fuel_curve.guide import STEADY
from garboard_fuel_curve.owner import SECTIONS as OWNERS
from garboard_fuel_curve.report import FUEL_SECTION
from garboard_fuel_curve.steps import SETTINGS, STEPS_STEP, TANKS_STEP

__version__ = "1"
written_for = 1

register_steps = each_of((STEPS_STEP, TANKS_STEP))
register_calculators = each_of(CALCULATORS)
register_live_guides = each_of((STEADY,))
register_report_sections = each_of((FUEL_SECTION, *OWNERS))
register_settings = each_of(SETTINGS)
