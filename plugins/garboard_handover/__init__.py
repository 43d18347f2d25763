"""Everything aboard tried once, the owner briefed, the punch list worked off: what a hand over rests on."""

from garboard.hooks import each_of
from garboard_handover import places
from garboard_handover.calculators import CALCULATORS
from garboard_handover.report import SECTIONS
from garboard_handover.steps import SETTINGS, STEPS

__version__ = "1"
written_for = 1

register_steps = each_of((*STEPS, places.STEP))
register_calculators = each_of(CALCULATORS)
register_report_sections = each_of((*SECTIONS, *places.SECTIONS))
register_settings = each_of((*SETTINGS, *places.SETTINGS))
