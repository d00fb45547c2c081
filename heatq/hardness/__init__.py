"""Hardness: phases, mixture, conversion, hardenability from chemistry, equal cooling."""

from __future__ import annotations

from heatq.hardness.conversion import (
    hb_from_hv,
    hrc_from_hb,
    hrc_from_hv,
    hv_from_hb,
    hv_from_hrc,
    tensile_strength_from_hrc,
)
from heatq.hardness.equal_cooling import JOMINY_RATE_TABLE, equivalent_distance, rate_at_distance, second_opinion
from heatq.hardness.hardenability import (
    EndQuenchEstimate,
    distance_of_half_martensite,
    endquench_from_chemistry,
    ideal_diameter,
    ideal_diameter_of_distance,
    just_1969,
)
from heatq.hardness.mixture import mixture_hardness, phase_hardness
from heatq.hardness.phases import (
    hrc_half_martensite_a255,
    hrc_martensite_a255,
    hv_bainite_maynier_1978,
    hv_ferrite,
    hv_ferrite_pearlite_maynier_1978,
    hv_martensite,
    hv_martensite_maynier_1978,
    hv_pearlite,
)
from heatq.hardness.predict import hardness_of
from heatq.hardness.traverse import compare_traverse, read_traverse

__all__ = [
    "EndQuenchEstimate",
    "JOMINY_RATE_TABLE",
    "compare_traverse",
    "distance_of_half_martensite",
    "endquench_from_chemistry",
    "equivalent_distance",
    "hardness_of",
    "hb_from_hv",
    "hrc_from_hb",
    "hrc_from_hv",
    "hrc_half_martensite_a255",
    "hrc_martensite_a255",
    "hv_bainite_maynier_1978",
    "hv_ferrite",
    "hv_ferrite_pearlite_maynier_1978",
    "hv_from_hb",
    "hv_from_hrc",
    "hv_martensite",
    "hv_martensite_maynier_1978",
    "hv_pearlite",
    "ideal_diameter",
    "ideal_diameter_of_distance",
    "just_1969",
    "mixture_hardness",
    "phase_hardness",
    "rate_at_distance",
    "read_traverse",
    "second_opinion",
    "tensile_strength_from_hrc",
]
