"""Heading calibration: steady turns, the swing and its deviation card, variation, sensors compared.

It records and judges; it adjusts no compass and replaces no sensor's own calibration.
"""

from garboard.hooks import each_of
from garboard_heading_calibration.calculators import CALCULATORS, JUDGES
from garboard_heading_calibration.guide import GUIDE
from garboard_heading_calibration.owner import SECTIONS as OWNERS
from garboard_heading_calibration.report import SECTION
from garboard_heading_calibration.settings import SETTINGS
from garboard_heading_calibration.steps import STEPS

__version__ = "1"
written_for = 1

register_steps = each_of(STEPS)
register_calculators = each_of(CALCULATORS)
register_live_guides = each_of((GUIDE,))
register_report_sections = each_of((SECTION, *OWNERS))
register_settings = each_of(SETTINGS)
register_recording_judges = each_of(JUDGES)
