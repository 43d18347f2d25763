"""The engines from the hoist to the service calendar: as rigged, first start, data, under load, what the law names."""

from garboard.hooks import each_of
from garboard_engine_trial.calculators import CALCULATORS
from garboard_engine_trial.owner import SECTIONS as OWNERS
from garboard_engine_trial.report import SECTIONS
from garboard_engine_trial.settings import SETTINGS
from garboard_engine_trial.steps import STEPS

__version__ = "1"
written_for = 1

register_steps = each_of(STEPS)
register_calculators = each_of(CALCULATORS)
register_report_sections = each_of((*SECTIONS, *OWNERS))
register_settings = each_of(SETTINGS)
