"""The decision: which gas, which pressure, which velocity, up to which section, in which furnace."""

from __future__ import annotations

from heatq.decide.costs import quench_resources, resources_for
from heatq.decide.enough import answer_text, enough_quench, least_pressure, least_velocity
from heatq.decide.equal import equal_quench, equal_settings
from heatq.decide.furnace import Cooler, Fan, Furnace, motor_load
from heatq.decide.jets import match_endquench
from heatq.decide.load import Load, quench_load
from heatq.decide.quenches import BathQuench, CalibratedFlow, GasQuench
from heatq.decide.requirements import Requirement
from heatq.decide.runs import run_quench
from heatq.decide.sections import largest_section, section_chart, sections_against_pressure
from heatq.decide.survey import read_survey, velocity_survey
from heatq.decide.table import decision_table, decision_text, quench_cautions

__all__ = [
    "BathQuench",
    "CalibratedFlow",
    "Cooler",
    "Fan",
    "Furnace",
    "GasQuench",
    "Load",
    "Requirement",
    "answer_text",
    "decision_table",
    "decision_text",
    "enough_quench",
    "equal_quench",
    "equal_settings",
    "largest_section",
    "least_pressure",
    "least_velocity",
    "match_endquench",
    "motor_load",
    "quench_cautions",
    "quench_load",
    "quench_resources",
    "read_survey",
    "resources_for",
    "run_quench",
    "section_chart",
    "sections_against_pressure",
    "velocity_survey",
]
