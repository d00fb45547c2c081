"""Austenite grain size."""

from __future__ import annotations

import numpy as np
import pytest

from heatq.errors import InputError, ValidityWarning
from heatq.steels import Steel
from heatq.transformation.grain import (
    astm_number,
    grain_diameter_lee_lee_2008,
    grain_size_from_austenitizing,
    mean_intercept,
)

HEAT = Steel(C=0.40, Mn=0.85, Si=0.25, Cr=0.95, Mo=0.20)


def test_astm_numbers_of_the_standards_table():
    # ASTM E112 prints mean intercepts of 320.0, 80.0, 20.0 micrometres for G = 0, 4, 8 (from memory).
    assert astm_number([320.0e-6, 80.0e-6, 20.0e-6]) == pytest.approx([0.0, 4.0, 8.0], abs=0.01)


def test_inverse():
    numbers = np.linspace(0.0, 12.0, 13)
    assert astm_number(mean_intercept(numbers)) == pytest.approx(numbers, abs=1e-12)
    assert np.all(np.diff(mean_intercept(numbers)) < 0)


def test_growth_law():
    # By hand: Q = 89098 + 3581 x 0.40 + 1443 x 0.95 + 4031 x 0.20 = 92707 J/mol; 860 degC; 1800 s.
    expected = 76671 * np.exp(-92707.45 / (8.314462618 * 1133.15)) * 1800**0.211
    assert grain_diameter_lee_lee_2008(HEAT, 860.0, 1800.0) == pytest.approx(expected * 1e-6, rel=1e-6)
    # Kelvin instead of degC in the exponential would give a grain of a millimetre and more.
    assert 10e-6 < grain_diameter_lee_lee_2008(HEAT, 860.0, 1800.0) < 40e-6


def test_hotter_and_longer_is_coarser():
    fine = grain_size_from_austenitizing(HEAT, 850.0, 1800.0)
    assert 7.0 < fine < 9.5
    assert grain_size_from_austenitizing(HEAT, 950.0, 1800.0) < fine - 1.0
    assert grain_size_from_austenitizing(HEAT, 850.0, 18000.0) < fine


def test_refuses():
    with pytest.raises(InputError, match="micro"):
        astm_number(20.0)
    with pytest.raises(InputError, match="temperature = 1560"):
        grain_diameter_lee_lee_2008(HEAT, 1560.0, 1800.0)
    with pytest.raises(InputError, match="duration = 0"):
        grain_diameter_lee_lee_2008(HEAT, 860.0, 0.0)
    with pytest.warns(ValidityWarning, match="grain growth"):
        grain_diameter_lee_lee_2008(HEAT, 1200.0, 600.0)
