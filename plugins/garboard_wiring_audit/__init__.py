"""Checks every circuit, battery and instrument network of a newly rigged boat, and says what would cure a fault.

The US electrical subpart (33 CFR 183, subpart I) is written for boats with gasoline inboard or sterndrive engines.
On an outboard boat it is practice, not law, and the findings say so.
"""

from garboard.hooks import each_of
from garboard_wiring_audit.calculators import CALCULATORS
from garboard_wiring_audit.owner import SECTIONS as OWNERS
from garboard_wiring_audit.report import SECTION
from garboard_wiring_audit.rules import SETTINGS
from garboard_wiring_audit.steps import STEPS

__version__ = "1"
written_for = 1

register_steps = each_of(STEPS)
register_calculators = each_of(CALCULATORS)
register_report_sections = each_of((SECTION, *OWNERS))
register_settings = each_of(SETTINGS)
