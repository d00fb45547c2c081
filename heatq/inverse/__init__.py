"""From recorder logs to boundaries: h or q at the surface of one piece, the calibration of a furnace over several logs."""

from heatq.inverse.fit import fit_boundary
from heatq.inverse.furnace import CalibrationRun, calibrate
from heatq.inverse.laws import calibrated_factor, furnace_boundary
from heatq.inverse.result import fitted_boundary

__all__ = [
    "CalibrationRun",
    "calibrate",
    "calibrated_factor",
    "fit_boundary",
    "fitted_boundary",
    "furnace_boundary",
]
