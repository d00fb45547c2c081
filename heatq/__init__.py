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
    "FixedTemperature": "boundaries",
    "FluxTable": "boundaries",
    "GasAlong": "boundaries",
    "GasBank": "boundaries",
    "GasBasket": "boundaries",
    "GasCrossflow": "boundaries",
    "GasJet": "boundaries",
    "GrossmannQuench": "boundaries",
    "HeatFlux": "boundaries",
    "Immersion": "boundaries",
    "Insulated": "boundaries",
    "Material": "steels",
    "OilBath": "boundaries",
    "Probe": "specimens",
    "Radiation": "boundaries",
    "Ramp": "boundaries",
    "RoundBar": "specimens",
    "Stages": "boundaries",
    "Steel": "steels",
    "StillAir": "boundaries",
    "TransformationCurve": "transformation.user_kinetics",
    "Tube": "specimens",
    "UserKinetics": "transformation.user_kinetics",
    "WaterBath": "boundaries",
    "WaterJet": "boundaries",
    "Zones": "boundaries",
    "carbon_profile": "carburizing",
    "case_hardness": "carburizing",
    "cct": "diagrams",
    "check_titanium_gas": "titanium",
    "classify_titanium": "titanium",
    "compare_traverse": "hardness",
    "cooling_rate": "history",
    "cooling_time": "history",
    "critical_coefficient": "sections",
    "critical_diameter": "sections",
    "critical_rate": "diagrams",
    "crossing_time": "history",
    "demo_heat": "steels",
    "equal_cooling_distance": "hardness.equal_cooling",
    "fractions_by_critical_velocity": "transformation.by_critical_velocity",
    "grade": "steels",
    "grade_ranges": "steels",
    "grid_convergence": "conduction",
    "disagreements": "hardness.interval",
    "h_band": "steels",
    "hardness_interval": "hardness.interval",
    "Kinetics": "transformation.options",
    "half_martensite_distance": "sections",
    "hardness_from_curve": "hardness.equal_cooling",
    "hardness_of": "hardness",
    "ideal_diameter": "hardness",
    "list_grades": "steels",
    "media_table": "boundaries",
    "read_certificate": "steels",
    "read_certificates": "steels",
    "read_traverse": "hardness",
    "simulate": "conduction",
    "simulate_many": "conduction",
    "tempered_hardness": "hardness.tempering",
    "transform": "transformation",
    "transform_with": "transformation.user_kinetics",
    "trial": "trials",
    "ttt": "diagrams",
    "read_log": "logs",
    "log_report": "logs",
    "drop_dead_channels": "logs",
    "remove_spikes": "logs",
    "fill_gaps": "logs",
    "align_starts": "logs",
    "cut_log": "logs",
    "resample_log": "logs",
    "smooth_log": "logs",
    "join_logs": "logs",
    "lumped_coefficient": "logs",
    "history_metrics": "metrics",
    "RateWindow": "windows",
    "TimeWindow": "windows",
    "CurveWindow": "windows",
    "check_windows": "windows",
    "compare_histories": "comparison",
    "Thermocouple": "thermocouples",
    "sensor_response": "thermocouples",
    "recover_temperature": "thermocouples",
    "place_thermocouples": "thermocouples",
    "distinct_places": "thermocouples",
    "fit_boundary": "inverse",
    "fitted_boundary": "inverse",
    "CalibrationRun": "inverse",
    "calibrate": "inverse",
    "calibrated_factor": "inverse",
    "furnace_boundary": "inverse",
    "GasQuench": "decide",
    "BathQuench": "decide",
    "CalibratedFlow": "decide",
    "Requirement": "decide",
    "run_quench": "decide",
    "least_pressure": "decide",
    "least_velocity": "decide",
    "enough_quench": "decide",
    "largest_section": "decide",
    "section_chart": "decide",
    "sections_against_pressure": "decide",
    "decision_table": "decide",
    "decision_text": "decide",
    "quench_cautions": "decide",
    "answer_text": "decide",
    "equal_quench": "decide",
    "equal_settings": "decide",
    "match_endquench": "decide",
    "Fan": "decide",
    "Cooler": "decide",
    "Furnace": "decide",
    "Load": "decide",
    "quench_load": "decide",
    "motor_load": "decide",
    "read_survey": "decide",
    "velocity_survey": "decide",
    "quench_resources": "decide",
    "resources_for": "decide",
    "distortion_probes": "distortion",
    "distortion_figures": "distortion",
    "compare_distortion": "distortion",
    "distortion_table": "distortion",
    "study": "studies",
    "open_study": "studies",
    "Distribution": "studies",
    "CorrelatedNormals": "studies",
    "heat_distributions": "studies",
    "sample": "studies",
    "sobol_indices": "studies",
    "predicted_band": "studies",
    "show_versions": "environment",
    "EndWell": "thermocouples",
    "Filling": "thermocouples",
    "end_well_disturbance": "thermocouples",
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
        FixedTemperature,
        FluxTable,
        GasAlong,
        GasBank,
        GasBasket,
        GasCrossflow,
        GasJet,
        GrossmannQuench,
        HeatFlux,
        Immersion,
        Insulated,
        OilBath,
        Radiation,
        Ramp,
        Stages,
        StillAir,
        WaterBath,
        WaterJet,
        Zones,
        media_table,
    )
    from heatq.carburizing import carbon_profile, case_hardness
    from heatq.comparison import compare_histories
    from heatq.conduction import grid_convergence, simulate, simulate_many
    from heatq.decide import (
        BathQuench,
        CalibratedFlow,
        Cooler,
        Fan,
        Furnace,
        GasQuench,
        Load,
        Requirement,
        answer_text,
        decision_table,
        decision_text,
        enough_quench,
        equal_quench,
        equal_settings,
        largest_section,
        least_pressure,
        least_velocity,
        match_endquench,
        motor_load,
        quench_cautions,
        quench_load,
        quench_resources,
        read_survey,
        resources_for,
        run_quench,
        section_chart,
        sections_against_pressure,
        velocity_survey,
    )
    from heatq.diagrams import cct, critical_rate, ttt
    from heatq.distortion import compare_distortion, distortion_figures, distortion_probes, distortion_table
    from heatq.environment import show_versions
    from heatq.hardness import compare_traverse, hardness_of, ideal_diameter, read_traverse
    from heatq.hardness.equal_cooling import equal_cooling_distance, hardness_from_curve
    from heatq.hardness.interval import disagreements, hardness_interval
    from heatq.hardness.tempering import tempered_hardness
    from heatq.history import cooling_rate, cooling_time, crossing_time
    from heatq.inverse import (
        CalibrationRun,
        calibrate,
        calibrated_factor,
        fit_boundary,
        fitted_boundary,
        furnace_boundary,
    )
    from heatq.logs import (
        align_starts,
        cut_log,
        drop_dead_channels,
        fill_gaps,
        join_logs,
        log_report,
        lumped_coefficient,
        read_log,
        remove_spikes,
        resample_log,
        smooth_log,
    )
    from heatq.metrics import history_metrics
    from heatq.sections import critical_coefficient, critical_diameter, half_martensite_distance
    from heatq.specimens import EndQuenchBar, Probe, RoundBar, Tube
    from heatq.steels import (
        Material,
        Steel,
        demo_heat,
        grade,
        grade_ranges,
        h_band,
        list_grades,
        read_certificate,
        read_certificates,
    )
    from heatq.studies import (
        CorrelatedNormals,
        Distribution,
        heat_distributions,
        open_study,
        predicted_band,
        sample,
        sobol_indices,
        study,
    )
    from heatq.thermocouples import (
        EndWell,
        Filling,
        Thermocouple,
        distinct_places,
        end_well_disturbance,
        place_thermocouples,
        recover_temperature,
        sensor_response,
    )
    from heatq.titanium import check_titanium_gas, classify_titanium
    from heatq.transformation import transform
    from heatq.transformation.by_critical_velocity import fractions_by_critical_velocity
    from heatq.transformation.options import Kinetics
    from heatq.transformation.user_kinetics import TransformationCurve, UserKinetics, transform_with
    from heatq.trials import trial
    from heatq.windows import CurveWindow, RateWindow, TimeWindow, check_windows
