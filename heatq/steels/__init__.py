"""Steels and other metals: composition, grades, certificates, thermal properties."""

from heatq.steels.certificate import read_certificate, read_certificates
from heatq.steels.grades import demo_heat, grade, grade_ranges, h_band, list_grades, list_h_bands
from heatq.steels.material import Material
from heatq.steels.properties import alloy_600, fire_code_steel, stainless_316, steel_material, titanium_6al4v
from heatq.steels.steel import Steel

__all__ = [
    "Material",
    "Steel",
    "alloy_600",
    "demo_heat",
    "fire_code_steel",
    "grade",
    "grade_ranges",
    "h_band",
    "list_grades",
    "list_h_bands",
    "read_certificate",
    "read_certificates",
    "stainless_316",
    "steel_material",
    "titanium_6al4v",
]
