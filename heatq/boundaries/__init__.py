"""Heat flux from a face: plain laws, gas flows, still air, boiling, oil, measured tables, stages and zones.

A boundary is anything with ``heat_flux(surface_temperature) -> W/m2``; see `heatq.boundaries.timeline`. One small
function per published model lives in `gas`, `forced`, `jets`, `natural`, `water` and `boiling`; the objects here are
built from them.
"""

from __future__ import annotations

from heatq.boundaries.gas import gas_properties
from heatq.boundaries.gas_flow import GasAlong, GasCrossflow, GasJet
from heatq.boundaries.gas_load import GasBank, GasBasket
from heatq.boundaries.immersion import WaterBath
from heatq.boundaries.media import media_table
from heatq.boundaries.oil import OilBath
from heatq.boundaries.plain import (
    CoefficientTable,
    Convection,
    FixedTemperature,
    FluxTable,
    HeatFlux,
    Insulated,
    Radiation,
)
from heatq.boundaries.ramps import Ramp, gas_temperature_of_load
from heatq.boundaries.severity import GrossmannQuench, coefficient_of_severity, severity_of_coefficient
from heatq.boundaries.stages import Stages
from heatq.boundaries.still_air import StillAir
from heatq.boundaries.timeline import Blend, Boundary, Sum, at, for_piece, over_time
from heatq.boundaries.water_jet import WaterJet
from heatq.boundaries.zones import Immersion, Zones

__all__ = [
    "Blend",
    "Boundary",
    "CoefficientTable",
    "Convection",
    "FixedTemperature",
    "FluxTable",
    "GasAlong",
    "GasBank",
    "GasBasket",
    "GasCrossflow",
    "GasJet",
    "GrossmannQuench",
    "HeatFlux",
    "Immersion",
    "Insulated",
    "OilBath",
    "Radiation",
    "Ramp",
    "Stages",
    "StillAir",
    "Sum",
    "WaterBath",
    "WaterJet",
    "Zones",
    "at",
    "coefficient_of_severity",
    "for_piece",
    "gas_properties",
    "gas_temperature_of_load",
    "media_table",
    "over_time",
    "severity_of_coefficient",
]
