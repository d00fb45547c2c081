"""The exact solutions themselves against printed values: series evaluated with 30 digits, rounded as printed."""

import cases
import numpy as np
import pytest
from scipy.special import erf

ALPHA = 30.0 / (7700.0 * 600.0)


@pytest.mark.parametrize(("biot", "printed"), cases.CYLINDER_FIRST.items())
def test_cylinder_eigenvalues(biot, printed):
    assert cases.cylinder_roots(biot)[0] == pytest.approx(printed[0], abs=6e-8)
    assert cases.cylinder_coefficients(biot)[0] == pytest.approx(printed[1], abs=6e-8)


@pytest.mark.parametrize(("biot", "printed"), cases.WALL_FIRST.items())
def test_wall_eigenvalues(biot, printed):
    assert cases.wall_roots(biot)[0] == pytest.approx(printed[0], abs=6e-8)
    assert cases.wall_coefficients(biot)[0] == pytest.approx(printed[1], abs=6e-8)


@pytest.mark.parametrize(("bar", "table"), cases.BARS.items())
def test_quenched_bars(bar, table):
    diameter, coefficient = bar
    biot = coefficient * diameter / 2.0 / 30.0
    for fourier, row in zip(cases.BAR_FOURIER, table, strict=True):
        for position, printed in zip((0.0, 0.5, 1.0), row, strict=True):
            assert 20.0 + 830.0 * cases.cylinder(position, fourier, biot) == pytest.approx(printed, abs=6e-5)


def test_half_space():
    for depth, row in cases.END_QUENCH.items():
        for time, printed in zip(cases.END_TIMES, row, strict=True):
            theta = cases.half_space(depth * 1e-3, time, cases.END_COEFFICIENT, 30.0, ALPHA)
            assert 24.0 + 821.0 * theta == pytest.approx(printed, abs=6e-5)


def test_textbook_rod():
    biot, fourier = 525.0 * 0.025 / 215.0, 8.4e-5 * 60.0 / 0.025**2
    assert (biot, fourier) == (pytest.approx(0.061047, abs=1e-6), pytest.approx(8.064))
    assert cases.cylinder(0.5, fourier, biot) == pytest.approx(0.3820431543, abs=1e-10)
    assert 70.0 + 130.0 * cases.cylinder(0.5, fourier, biot) == pytest.approx(cases.ROD["temperature"], abs=6e-5)
    assert cases.cylinder_heat(fourier, biot) == pytest.approx(cases.ROD["heat_share"], abs=6e-6)


def test_textbook_short_cylinder():
    alpha = 17.4 / (7900.0 * 526.0)
    radius = (500.0 * 0.04 / 17.4, alpha * 180.0 / 0.04**2)
    length = (500.0 * 0.03 / 17.4, alpha * 180.0 / 0.03**2)
    for name, r, z in (("centre", 0.0, 0.0), ("face", 0.0, 1.0), ("side", 1.0, 0.0), ("corner", 1.0, 1.0)):
        theta = cases.cylinder(r, radius[1], radius[0]) * cases.wall(z, length[1], length[0])
        assert 300.0 + 300.0 * theta == pytest.approx(cases.SHORT_CYLINDER[name], abs=6e-5)


def test_textbook_wall_and_frost():
    biot, fourier = 500.0 * 0.04 / 63.9, 18.8e-6 * 480.0 / 0.04**2
    assert 60.0 - 80.0 * cases.wall(0.0, fourier, biot) == pytest.approx(cases.WALL["middle"], abs=6e-5)
    assert 60.0 - 80.0 * cases.wall(1.0, fourier, biot) == pytest.approx(cases.WALL["surface"], abs=6e-5)
    reach = 2.0 * np.sqrt(0.138e-6 * 60.0 * 86400.0)
    assert erf(cases.FROST_DEPTH / reach) == pytest.approx(15.0 / 35.0, abs=5e-5)


def test_kirchhoff_cylinder():
    p = cases.KIRCHHOFF
    low, high = (cases.kirchhoff(p[name], p["slope"]) for name in ("surface", "start"))
    for position, row in cases.KIRCHHOFF_TABLE.items():
        for time, printed in zip(cases.KIRCHHOFF_TIMES, row, strict=True):
            fourier = p["conductivity"] / p["capacity"] * time / p["radius"] ** 2
            u = low + (high - low) * cases.cylinder_fixed(position, fourier)
            # the printed times are rounded at 5e-6 s, which moves the coolest row by up to 6e-4 K
            assert cases.kirchhoff_inverse(u, p["slope"]) == pytest.approx(printed, abs=1e-3)


def test_neumann():
    front = cases.neumann_lambda(**cases.NEUMANN)
    assert front == pytest.approx(cases.NEUMANN_LAMBDA, abs=6e-9)
    levels = [cases.NEUMANN[name] for name in ("start", "change", "surface")]
    for time, (depth, row) in cases.NEUMANN_TABLE.items():
        assert 2e3 * front * np.sqrt(cases.NEUMANN_DIFFUSIVITY * time) == pytest.approx(depth, abs=6e-6)
        for z, printed in zip(cases.NEUMANN_DEPTHS, row, strict=True):
            assert cases.neumann(z, time, front, *levels, cases.NEUMANN_DIFFUSIVITY) == pytest.approx(printed, abs=6e-4)


def test_constant_flux_cylinder_keeps_the_energy():
    """The mean over the section falls as 2 Fo, and the series satisfies -dT/dx = q at the surface."""
    x = np.linspace(0.0, 1.0, 2001)
    for fourier in (0.01, 0.1, 1.0):
        drop = np.array([cases.cylinder_flux(p, fourier) for p in x])
        assert 2.0 * np.trapezoid(drop * x, x) == pytest.approx(2.0 * fourier, abs=1e-6)
    assert (cases.cylinder_flux(1.0, 0.5) - cases.cylinder_flux(0.999, 0.5)) / 0.001 == pytest.approx(1.0, abs=2e-3)


def test_hollow_cylinder_limits():
    """A thin tube with insulated bore is a wall; a pin-hole bore is a solid cylinder; early the middle is one."""
    alpha = 6.5e-6
    thin = cases.hollow_cylinder(1.005, 4.0, 1.0, 1.01, 0.0, 100.0, alpha)
    assert thin == pytest.approx(cases.wall(0.5, alpha * 4.0 / 1e-4, 1.0), abs=2e-3)
    pin = cases.hollow_cylinder(0.005, 2.0, 1e-5, 0.01, 0.0, 100.0, alpha)
    assert pin == pytest.approx(cases.cylinder(0.5, alpha * 2.0 / 1e-4, 1.0), abs=1e-4)
    assert cases.hollow_cylinder(0.015, 0.02, 0.01, 0.02, 50.0, 80.0, alpha) == pytest.approx(1.0, abs=1e-6)


def test_steady_tube_with_constant_conductivity_is_logarithmic():
    ends = [cases.tube_steady(r, 0.01, 0.02, 30.0, 1e-12, (1e3, 500.0), (1e3, 100.0)) for r in (0.01, 0.02)]
    resistance = 1.0 / (1e3 * 0.01) + np.log(2.0) / 30.0 + 1.0 / (1e3 * 0.02)
    power = 400.0 / resistance
    assert ends[0] == pytest.approx(500.0 - power / 10.0, abs=0.05)
    assert ends[1] == pytest.approx(100.0 + power / 20.0, abs=0.05)
