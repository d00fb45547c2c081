"""Hardenability numbers by root finding on simulations."""

from __future__ import annotations

import numpy as np
import pytest

import heatq as hq
from heatq.boundaries import GrossmannQuench
from heatq.errors import InputError
from heatq.hardness import ideal_diameter
from heatq.sections import critical_coefficient, critical_diameter, half_martensite_distance, martensite_at_centre


def test_the_critical_coefficient_leaves_just_that_fraction():
    steel = hq.grade("4140")
    for wanted in (0.5, 0.9):
        found = critical_coefficient(steel, martensite=wanted)
        at = martensite_at_centre(steel, 0.025, hq.Convection(found, 25.0))
        assert at == pytest.approx(wanted, abs=0.01)


def test_the_critical_diameter_leaves_just_that_fraction():
    steel, oil = hq.grade("4140"), GrossmannQuench(0.35, 60.0, 25.0)
    found = critical_diameter(steel, oil)
    assert martensite_at_centre(steel, found, oil) == pytest.approx(0.5, abs=0.01)
    assert critical_diameter(steel, oil, martensite=0.9) < found


def test_the_richer_the_steel_the_gentler_the_quench_it_needs():
    found = [critical_coefficient(hq.grade(name), tolerance=0.02, accuracy=2.0) for name in ("4130", "4140", "4340")]
    assert found[0] > 3.0 * found[1] > 6.0 * found[2] > 0.0


def test_carbon_steel_is_out_of_reach_in_25_mm():
    """1045 has 50 % martensite to 4 mm from the water-quenched end: no constant h does that at 12.5 mm."""
    assert np.isnan(critical_coefficient(hq.grade("1045"), tolerance=0.02, accuracy=2.0))
    assert half_martensite_distance(hq.grade("1045")) * 1e3 == pytest.approx(4.0, abs=1.0)


def test_half_martensite_distance_against_the_bands():
    """Where mid-band falls to the 50 % hardness: 4130H J6.6 (4.1 to 10.3), 5160H J9.6 (7.3 to 16.6); 4340H never."""
    found = {name: half_martensite_distance(hq.grade(name)) / (0.0254 / 16) for name in ("4130H", "5160H", "4340H")}
    assert 4.1 < found["4130H"] < 10.3
    assert 7.3 < found["5160H"] < 16.6
    assert np.isnan(found["4340H"])


def test_an_ideal_quench_gives_about_the_ideal_diameter_of_the_chemistry():
    """Two independent routes: 5160 91 mm by kinetics, 98 mm by A255; 4140 148 against 132 mm."""
    ideal = hq.Convection(1e5, 25.0)
    for name in ("5160", "4140"):
        steel = hq.grade(name)
        found = critical_diameter(steel, ideal, tolerance=0.02, accuracy=3.0)
        assert found == pytest.approx(ideal_diameter(steel), rel=0.25)


def test_a_boundary_may_depend_on_the_diameter():
    steel = hq.grade("4340")
    fixed = critical_diameter(steel, hq.Convection(100.0, 25.0), tolerance=0.02, accuracy=3.0)
    moving = critical_diameter(
        steel, lambda diameter: hq.Convection(100.0 * (0.05 / diameter) ** 0.4, 25.0), tolerance=0.02, accuracy=3.0
    )
    assert (moving - 0.05) * (fixed - 0.05) > 0.0
    assert abs(moving - 0.05) < abs(fixed - 0.05)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: critical_coefficient(hq.grade("4140"), martensite=50), "Write 0.5, not 50 %"),
        (lambda: critical_coefficient(hq.grade("4140"), diameter=25.0), "Lengths are in metres"),
        (lambda: critical_coefficient(hq.Steel(C=0.4, Mn=0.8)), "no austenitizing_temperature"),
        (lambda: critical_diameter(hq.grade("4140"), hq.Insulated(), largest=80.0), "Lengths are in metres"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(InputError, match=message):
        call()
