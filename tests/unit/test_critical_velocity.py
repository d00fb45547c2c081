"""Critical velocities of Maynier, Dollet and Bastien."""

from __future__ import annotations

import numpy as np
import pytest

from heatq.errors import InputError, ValidityWarning, collect_validity
from heatq.steels import Steel
from heatq.transformation.critical_velocity import (
    COEFFICIENTS,
    austenitization_parameter,
    critical_velocities,
    fractions_from_rate,
    in_published_range,
)

# Leaving a published range is on purpose here.
quiet = pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")

H = {
    "1045": Steel(C=0.45, Mn=0.75, Si=0.25),
    "4130": Steel(C=0.33, Mn=0.53, Si=0.28, Cr=0.90, Mo=0.18),
    "4140": Steel(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21),
    "4340": Steel(C=0.42, Mn=0.78, Si=0.25, Ni=1.79, Cr=0.80, Mo=0.33),
    "8620": Steel(C=0.18, Mn=0.79, Si=0.25, Ni=0.52, Cr=0.56, Mo=0.19),
}
PA = austenitization_parameter(850.0, 1800.0)


@pytest.mark.parametrize(
    ("grade", "printed"),
    [
        ("4140", (35, 23, 14, 6.7, 0.27)),
        ("4130", (110, 68, 39, 21, 0.46)),
        ("8620", (220, 130, 65, 27, 0.18)),
        ("1045", (66, 68, 27, 27, None)),
    ],
)
def test_printed_rates(grade, printed):
    # Two digits printed: half of the last is at most 5 %.
    found = critical_velocities(H[grade], austenitizing_parameter=PA, enforce_order=False)
    values = (found.v1, found.v1_90, found.v1_50, found.v2, found.v3)
    for value, expected in zip(values, printed, strict=True):
        if expected is not None:
            assert value == pytest.approx(expected, rel=0.05)


def test_4340_against_published_ranges():
    found = critical_velocities(H["4340"], austenitizing_parameter=PA)
    assert found.v1 == pytest.approx(2.2, rel=0.05)
    assert found.v2 == pytest.approx(0.19, rel=0.05)
    # Callister, 4340: ferrite + pearlite only below 0.006 K/s (spot on); martensite only above 8.3 (4 times low here).
    assert found.v3 == pytest.approx(0.006, rel=0.1)
    assert 3 < 8.3 / found.v1 < 5


def test_order_is_enforced_and_named():
    raw = critical_velocities(H["1045"], austenitizing_parameter=PA, enforce_order=False)
    assert raw.v1_90 > raw.v1
    found = critical_velocities(H["1045"], austenitizing_parameter=PA)
    assert np.all(np.diff(found[:8]) < 0)
    assert "v1_90" in found.reordered
    assert critical_velocities(H["4140"], austenitizing_parameter=PA).reordered == ()


def test_austenitization_parameter():
    assert austenitization_parameter(845.0, 3600.0) == pytest.approx(845.0)
    assert austenitization_parameter(845.0, 1800.0) == pytest.approx(830, abs=0.6)


def test_parameter_is_in_degC():
    # Kelvin would lower every velocity by a factor of 2 to 12.
    right = critical_velocities(H["4140"], austenitizing_parameter=PA, enforce_order=False)
    wrong = critical_velocities(H["4140"], austenitizing_parameter=PA + 273.15, enforce_order=False)
    ratios = np.array(right[:8]) / np.array(wrong[:8])
    assert ratios.min() > 1.8
    assert ratios.max() < 13


def test_rates_are_per_second_outside():
    # log V of the source is in degC per hour.
    row = COEFFICIENTS["v1"]
    heat = H["4140"]
    log = row[0] - (row[1] * heat.C + row[2] * heat.Mn + row[4] * heat.Cr + row[5] * heat.Mo + row[6] * PA)
    assert critical_velocities(heat, austenitizing_parameter=PA).v1 == pytest.approx(10**log / 3600)


def test_fractions_at_the_critical_velocities():
    velocities = critical_velocities(H["4140"], austenitizing_parameter=PA)
    found = fractions_from_rate(H["4140"], velocities[:8], austenitizing_parameter=PA)
    assert found.martensite == pytest.approx([1, 0.9, 0.5, 0, 0, 0, 0, 0], abs=1e-9)
    assert found.bainite == pytest.approx([0, 0.1, 0.5, 1, 0.9, 0.5, 0.1, 0], abs=1e-9)
    assert found.ferrite_pearlite == pytest.approx([0, 0, 0, 0, 0.1, 0.5, 0.9, 1], abs=1e-9)
    assert found.is_in_range


def test_fractions_sum_to_one_and_are_logarithmic_between():
    rates = np.geomspace(1e-4, 1e4, 300)
    found = fractions_from_rate(H["8620"], rates)
    assert found.martensite + found.bainite + found.ferrite_pearlite == pytest.approx(np.ones(300))
    assert np.all(np.diff(found.martensite) >= -1e-12)
    v = critical_velocities(H["8620"])
    half = fractions_from_rate(H["8620"], np.sqrt(v.v1_50 * v.v2))
    assert float(half.martensite) == pytest.approx(0.25)
    assert np.isnan(fractions_from_rate(H["8620"], [np.nan]).bainite).all()


def test_range_flags():
    assert in_published_range(H["4140"]) == (True, "")
    assert in_published_range(H["8620"])[0]
    assert in_published_range(H["1045"]) == (False, "Mn + Ni + Cr + Mo = 0.75 % is below 1.2 %")
    assert "0.1 to 0.5" in in_published_range(Steel(C=0.60, Mn=0.875, Si=0.25, Cr=0.80))[1]
    assert "alloying" in in_published_range(Steel(C=0.40, Mn=1.5))[1]
    with pytest.warns(ValidityWarning, match="critical velocities"):
        found = fractions_from_rate(H["1045"], [10.0])
    assert not found.is_in_range


@quiet
def test_refuses():
    with pytest.raises(InputError, match="rate_700 must be above 0"):
        fractions_from_rate(H["4140"], [-1.0])
    with pytest.raises(InputError, match="kelvin"):
        critical_velocities(H["4140"], austenitizing_parameter=1500.0)
    with collect_validity(), pytest.raises(InputError, match="duration"):
        austenitization_parameter(845.0, 0.0)
