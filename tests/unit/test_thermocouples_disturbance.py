"""Hole and sheath: the exact steady solutions, checked against their differential equations and boundary conditions."""

from __future__ import annotations

import numpy as np
import pytest

from heatq.errors import InputError
from heatq.thermocouples import blind_hole_disturbance, cross_hole_temperature, stem_conduction_error

G, A = 2e5, 0.5e-3  # 5 MW/m2 into 25 W/mK; hole of 1 mm


def test_hole_wall_shows_twice_the_undisturbed_field():
    angle = np.linspace(0.0, 2 * np.pi, 9)
    np.testing.assert_allclose(cross_hole_temperature(G, A, A, angle), 2 * G * A * np.cos(angle), atol=1e-9)
    assert float(cross_hole_temperature(G, A, A)) == pytest.approx(200.0)
    undisturbed = G * A
    assert float(cross_hole_temperature(G, A, A)) - undisturbed == pytest.approx(
        float(blind_hole_disturbance(0.0, G, A))
    )  # +-100 K


@pytest.mark.parametrize("ratio", [0.0, 0.3, 1.0, 4.0])
def test_field_about_a_hole_is_harmonic_and_its_flux_continuous(ratio):
    step = 1e-7

    def field(x, y):
        return cross_hole_temperature(G, A, np.hypot(x, y), np.arctan2(y, x), ratio)

    for x, y in ((0.9e-3, 0.4e-3), (0.1e-3, 0.2e-3)):  # outside and inside
        around = field(x + step, y) + field(x - step, y) + field(x, y + step) + field(x, y - step)
        assert abs(around - 4 * field(x, y)) < 1e-6 * G * A
    angle, inside, outside = 0.7, A - step, A + step
    out = (
        cross_hole_temperature(G, A, outside + step, angle, ratio) - cross_hole_temperature(G, A, outside, angle, ratio)
    ) / step
    into = (
        cross_hole_temperature(G, A, inside, angle, ratio) - cross_hole_temperature(G, A, inside - step, angle, ratio)
    ) / step
    assert out == pytest.approx(ratio * into, rel=2e-3, abs=2e-3 * G)  # k dT/dr continuous
    far = 100 * A
    assert float(cross_hole_temperature(G, A, far, 0.0, ratio)) == pytest.approx(G * far, rel=2e-4)


def test_filled_hole_of_the_same_metal_disturbs_nothing():
    assert float(blind_hole_disturbance(1e4, 1e5, A, 1.0)) == 0.0
    assert float(blind_hole_disturbance(1e4, 1e5, A, 0.4)) < float(blind_hole_disturbance(1e4, 1e5, A))


@pytest.mark.parametrize("contact", [200.0, 7000.0])
def test_stem_error_solves_the_fin_equation(contact):
    """theta'' = m2 (theta - Tw), wall linear: against scipy's boundary-value solver."""
    from scipy.integrate import solve_bvp

    depth, d, k, slope, mouth = 12e-3, 1.5e-3, 11.0, 8000.0, -350.0
    m2 = 4 * contact / (k * d)

    def wall(x):
        return 600.0 + slope * (x - depth)

    x = np.linspace(0.0, depth, 201)
    solved = solve_bvp(
        lambda x, y: np.vstack([y[1], m2 * (y[0] - wall(x))]),
        lambda a, b: np.array([a[0] - wall(0.0) - mouth, b[1]]),
        x, np.vstack([wall(x), np.full_like(x, slope)]), tol=1e-6, max_nodes=100000,
    )  # fmt: skip
    expected = solved.sol(depth)[0] - wall(depth)
    assert float(stem_conduction_error(depth, d, contact, mouth, slope, k)) == pytest.approx(expected, rel=1e-4)


def test_stem_error_falls_with_depth_and_needs_no_overflow():
    errors = [abs(float(stem_conduction_error(depth, 1.5e-3, 1200.0, -600.0))) for depth in (2e-3, 5e-3, 10e-3, 5.0)]
    m = np.sqrt(4 * 1200.0 / (11.0 * 1.5e-3))
    np.testing.assert_allclose(errors[:3], 600.0 / np.cosh(m * np.array([2e-3, 5e-3, 10e-3])))  # textbook fin
    assert errors[3] < 1e-200


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: cross_hole_temperature(G, 0.0, A), "radius = 0 m"),
        (lambda: blind_hole_disturbance(G, G, 0.5), "radius = 0.5 m"),
        (lambda: blind_hole_disturbance(G, G, A, -1.0), "conductivity_ratio = -1"),
        (lambda: stem_conduction_error(12.0e2, 1.5e-3, 1e3, 1.0), "depth"),
        (lambda: stem_conduction_error(0.01, 1.5e-3, 0.0, 1.0), "contact_coefficient"),
        (lambda: stem_conduction_error(0.01, 1.5e-3, 1e3, 1.0, 0.0, 0.0), "sheath_conductivity"),
    ],
)
def test_impossible_wells(call, message):
    with pytest.raises(InputError, match=message):
        call()
