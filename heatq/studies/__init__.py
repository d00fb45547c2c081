"""Studies: many trials over grids and samples, resumable, with uncertainty and sensitivity.

The package is not called ``study``, because importing it would replace the function `heatq.study`.
"""

from heatq.studies.bands import predicted_band
from heatq.studies.run import open_study, study
from heatq.studies.sampling import CorrelatedNormals, Distribution, heat_distributions, sample
from heatq.studies.sensitivity import sobol_indices
from heatq.studies.uncertainty import summary

__all__ = [
    "CorrelatedNormals",
    "Distribution",
    "heat_distributions",
    "open_study",
    "predicted_band",
    "sample",
    "sobol_indices",
    "study",
    "summary",
]
