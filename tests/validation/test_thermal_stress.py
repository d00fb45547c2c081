"""Elastic stress against closed forms of the long cylinder and tube, and the ranking of quenches."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import bar
from scipy.special import j0, j1, jn_zeros

import heatq as hq
from heatq.distortion import compare_distortion, distortion_figures, distortion_probes, long_cylinder_stress

E, NU, ALPHA = 210e9, 0.3, 2.0e-5
UNIT = E * ALPHA / (1.0 - NU)
B = 0.025


def stress(temperature, r):
    return long_cylinder_stress(ALPHA * temperature, r, modulus=E, poisson=NU) / UNIT


def chebyshev(inner, outer, count):
    """The nodes of `distortion_probes`."""
    s = np.linspace(0.0, 1.0, count)
    return outer * np.sin(0.5 * np.pi * s) if inner == 0.0 else inner + (outer - inner) * 0.5 * (1 - np.cos(np.pi * s))


def test_parabola_is_exact():
    """T = D (1 - r^2/b^2): radial -D/4 (1 - x^2), hoop -D/4 (1 - 3 x^2), axial -D/2 (1 - 2 x^2), times E alpha/(1 - nu)."""
    r = np.sort(np.r_[0.0, np.random.default_rng(1).uniform(0.0, B, 17), B])
    x2 = (r / B) ** 2
    found = stress(100.0 * (1.0 - x2), r)
    expected = -100.0 * np.stack([(1 - x2) / 4, (1 - 3 * x2) / 4, (1 - 2 * x2) / 2])
    assert np.abs(found - expected).max() < 1e-11


def steady_tube(r, a, b, inner_temperature):
    """Timoshenko and Goodier 1970, art. 151: outer face at 0, bore at Ti, T = Ti ln(b/r) / ln(b/a)."""
    log, ratio = np.log(b / r), a**2 / (b**2 - a**2)
    whole = np.log(b / a)
    factor = inner_temperature / (2.0 * whole)
    radial = factor * (-log - ratio * (1 - b**2 / r**2) * whole)
    hoop = factor * (1 - log - ratio * (1 + b**2 / r**2) * whole)
    axial = factor * (1 - 2 * log - 2 * ratio * whole)
    return np.stack([radial, hoop, axial])


@pytest.mark.parametrize("inner", [0.3 * B, 0.7 * B])
def test_steady_tube_converges_with_second_order(inner):
    errors = []
    for count in (11, 21, 41, 81):
        r = chebyshev(inner, B, count)
        found = stress(100.0 * np.log(B / r) / np.log(B / inner), r)
        errors.append(np.abs(found - steady_tube(r, inner, B, 100.0)).max())
    order = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert (np.abs(order - 2.0) < 0.1).all()
    assert errors[1] < 0.5  # K of 100 K with 21 nodes


def sudden(r, fourier):
    """Temperature and stress of a cylinder from 1, surface at 0 from t = 0 (Bi infinite), from the series term by term.

    T = sum 2/(z J1(z)) J0(z x) exp(-z^2 Fo); int_0^x J0(z s) s ds = x J1(z x)/z.
    """
    z = jn_zeros(0, 400)[:, None]
    x = r / B
    c = 2.0 / (z * j1(z)) * np.exp(-(z**2) * fourier)
    temperature = (c * j0(z * x)).sum(axis=0)
    mean = 2.0 * (c * j1(z) / z).sum()
    with np.errstate(invalid="ignore", divide="ignore"):
        inside = (c * np.where(x > 0.0, j1(z * x) / (z * x), 0.5)).sum(axis=0)
    return temperature, np.stack([0.5 * mean - inside, 0.5 * mean + inside - temperature, mean - temperature])


@pytest.mark.parametrize("fourier", [0.003, 0.02, 0.1, 0.4])
def test_suddenly_cooled_cylinder(fourier):
    errors = []
    for count in (21, 41, 81):
        r = chebyshev(0.0, B, count)
        temperature, exact = sudden(r, fourier)
        errors.append(np.abs(stress(temperature, r) - exact).max())
    assert errors[0] < 5e-3  # of E alpha dT/(1 - nu), 21 nodes
    assert (np.log2(np.array(errors[:-1]) / np.array(errors[1:])) > 1.8).all()


def test_sudden_cooling_begins_with_the_full_stress_at_the_surface():
    """Hoop and axial at the surface tend to E alpha dT/(1 - nu) as t -> 0, by 1 - 4 sqrt(Fo/pi)."""
    r = chebyshev(0.0, B, 81)
    for fourier in (1e-3, 3e-4):
        temperature, _ = sudden(r, fourier)
        radial, hoop, axial = stress(temperature, r)[:, -1]
        leading = 1.0 - 4.0 * np.sqrt(fourier / np.pi) + 2.0 * fourier
        assert hoop == pytest.approx(leading, abs=3e-3)
        assert axial == pytest.approx(hoop, abs=1e-12)
        assert abs(radial) < 1e-12
    start = np.where(r < B, 1.0, 0.0)  # t = 0: a jump at the surface
    fine = np.r_[r[:-1], B * (1 - 1e-9), B]
    assert stress(np.r_[start[:-1], 1.0, 0.0], fine)[1, -1] == pytest.approx(1.0, abs=1e-8)


@pytest.mark.parametrize("inner", [0.0, 0.4 * B])
def test_equilibrium(inner):
    """Axial resultant zero to round-off, integral of hoop over r zero with second order, d(r radial)/dr = hoop."""
    sums = []
    for count in (21, 41, 81):
        r = chebyshev(inner, B, count)
        radial, hoop, axial = stress(100.0 * np.cos(3.0 * r / B) * np.exp(r / B), r)
        assert abs(np.trapezoid(axial, r**2)) < 1e-12 * B**2 * np.abs(axial).max()
        sums.append(abs(np.trapezoid(hoop, r)) / B)
    assert (np.log2(np.array(sums[:-1]) / np.array(sums[1:])) > 1.8).all()
    assert np.gradient(r * radial, r)[5:-5] == pytest.approx(hoop[5:-5], abs=0.5)


def test_simulated_sudden_cooling_has_the_stress_of_the_series():
    """heatq's own temperatures under a very strong h (Bi 400) on a plain metal, against Bi infinite."""
    metal = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
    piece = hq.RoundBar(diameter=2 * B)
    diffusivity = 30.0 / (7700.0 * 600.0)
    bath = {"side": hq.Convection(coefficient=400.0 * 30.0 / B, fluid_temperature=20.0)}
    times = np.array([0.01, 0.02, 0.1, 0.4]) * B**2 / diffusivity
    run = hq.simulate(
        piece, metal, bath, initial_temperature=820.0, end_time=float(times[-1]), output_times=times, accuracy=0.5,
        probes=distortion_probes(piece, 41), estimate_error=False,
    )  # fmt: skip
    found = distortion_figures(run, piece, ms=300.0).stress.sel(part="thermal").values
    unit = 210e9 * 2.24e-5 * 800.0 / 0.7
    for n, fourier in enumerate((0.01, 0.02, 0.1, 0.4)):
        _, exact = sudden(run.r.values, fourier)
        assert found[:, n] / unit == pytest.approx(exact, abs=0.012)  # the finite Bi takes up to 0.01


@pytest.fixture(scope="module")
def ranking():
    piece, steel = hq.RoundBar(diameter=0.05), hq.grade("4340")
    quenches = {
        "nitrogen, 6 bar": hq.GasCrossflow("nitrogen", 20.0, 6 * bar, 40.0),
        "oil": hq.OilBath("conventional"),
        "water": hq.WaterBath(25.0, 0.0, diameter=0.05),
    }
    found = {}
    for name, medium in quenches.items():
        run = hq.simulate(
            piece, steel, {"side": medium}, initial_temperature=845.0, end_time=3000.0, stop_below=60.0, accuracy=2.0,
            probes=distortion_probes(piece), estimate_error=False,
        )  # fmt: skip
        found[name] = distortion_figures(run, piece, steel, {"side": medium})
    return found


@pytest.mark.parametrize(
    "by", ["largest_difference", "thermal_tension_surface", "h_ratio_regimes", "difference_at_core_ms"]
)
@pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")
def test_oil_is_worse_than_gas_and_water_worse_than_oil(ranking, by):
    assert compare_distortion(ranking, by=by).quench.values.tolist() == ["nitrogen, 6 bar", "oil", "water"]


@pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")
def test_a_vapour_blanket_is_uneven_and_gas_is_not(ranking):
    ratio = {name: float(one.h_ratio_regimes) for name, one in ranking.items()}
    assert 1.0 <= ratio["nitrogen, 6 bar"] < 1.3
    assert ratio["oil"] > 3.0
    assert ratio["water"] > 10.0


@pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")
def test_transformation_turns_the_core_into_tension(ranking):
    for one in ranking.values():
        axial = one.stress.sel(part="transformation", direction="axial")
        assert axial[:, 0].max() > 2e8  # the shell has grown, the core has not
        assert abs(axial[-1, 0]) < 0.5 * axial[:, 0].max()
