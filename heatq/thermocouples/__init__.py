"""Thermocouples: what a couple in a drilled well reads, how wrong it is, and where it should sit."""

from heatq.thermocouples.disturbance import blind_hole_disturbance, cross_hole_temperature, stem_conduction_error
from heatq.thermocouples.end_well import EndWell, Filling, end_well_disturbance
from heatq.thermocouples.placement import place_thermocouples
from heatq.thermocouples.published import calibration_tolerance, sheath_time_constant
from heatq.thermocouples.ranking import distinct_places
from heatq.thermocouples.sensor import Thermocouple, recover_temperature, sensor_response

__all__ = [
    "EndWell",
    "Filling",
    "Thermocouple",
    "blind_hole_disturbance",
    "calibration_tolerance",
    "cross_hole_temperature",
    "distinct_places",
    "end_well_disturbance",
    "place_thermocouples",
    "recover_temperature",
    "sensor_response",
    "sheath_time_constant",
    "stem_conduction_error",
]
