"""heatq: will this steel, in this section, reach its hardness in this quench?

The public names; each loads its module on first use, so that ``import heatq`` costs next to nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from heatq._version import __version__
from heatq.errors import AccuracyWarning, DataError, InputError, SolverError, ValidityWarning

_HOME = {
    "CoefficientTable": "boundaries",
    "Convection": "boundaries",
    "EndQuenchBar": "specimens",
    "FluxTable": "boundaries",
    "GasAlong": "boundaries",
    "GasCrossflow": "boundaries",
    "GasJet": "boundaries",
    "HeatFlux": "boundaries",
    "Insulated": "boundaries",
    "Material": "steels",
    "Probe": "specimens",
    "Radiation": "boundaries",
    "RoundBar": "specimens",
    "Stages": "boundaries",
    "Steel": "steels",
    "StillAir": "boundaries",
    "Tube": "specimens",
    "WaterJet": "boundaries",
    "cooling_rate": "history",
    "cooling_time": "history",
    "crossing_time": "history",
    "demo_heat": "steels",
    "grade": "steels",
    "hardness_of": "hardness",
    "ideal_diameter": "hardness",
    "list_grades": "steels",
    "read_certificate": "steels",
    "read_certificates": "steels",
    "simulate": "conduction",
    "transform": "transformation",
    "trial": "trials",
}

__all__ = [
    "AccuracyWarning",
    "DataError",
    "InputError",
    "SolverError",
    "ValidityWarning",
    "__version__",
    *_HOME,
]


def __getattr__(name: str) -> Any:
    """Load a public name from its module on first use."""
    home = _HOME.get(name)
    if home is None:
        try:
            return importlib.import_module(f"heatq.{name}")
        except ModuleNotFoundError as error:
            if error.name != f"heatq.{name}":
                raise
        raise AttributeError(f"module 'heatq' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"heatq.{home}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """All public names, for tab completion."""
    return sorted(__all__)


if TYPE_CHECKING:
    from heatq.boundaries import (
        CoefficientTable,
        Convection,
        FluxTable,
        GasAlong,
        GasCrossflow,
        GasJet,
        HeatFlux,
        Insulated,
        Radiation,
        Stages,
        StillAir,
        WaterJet,
    )
    from heatq.conduction import simulate
    from heatq.hardness import hardness_of, ideal_diameter
    from heatq.history import cooling_rate, cooling_time, crossing_time
    from heatq.specimens import EndQuenchBar, Probe, RoundBar, Tube
    from heatq.steels import Material, Steel, demo_heat, grade, list_grades, read_certificate, read_certificates
    from heatq.transformation import transform
    from heatq.trials import trial
