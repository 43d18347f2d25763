"""Propeller check: full-throttle runs both ways, slip, the maker's window, and what pitch to try first."""

from garboard.hooks import each_of
from garboard_prop_check.calculators import CALCULATORS
from garboard_prop_check.guide import GUIDE
from garboard_prop_check.owner import SECTIONS as OWNERS
from garboard_prop_check.report import SECTION
from garboard_prop_check.settings import SETTINGS
from garboard_prop_check.steps import STEPS

__version__ = "1"
written_for = 1

register_steps = each_of(STEPS)
register_calculators = each_of(CALCULATORS)
register_live_guides = each_of((GUIDE,))
register_report_sections = each_of((SECTION, *OWNERS))
register_settings = each_of(SETTINGS)
