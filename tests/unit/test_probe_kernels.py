"""The compiled small work around a run, each against numpy, scipy or the plain version of the same formula."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

import heatq as hq
from heatq.conduction import _probe_kernels as kernels
from heatq.conduction.outcome import between_steps
from heatq.conduction.tables import COARSE_GRID, Known
from heatq.transformation.kinetics import TEMPERATURE_GRID


def history(seed, steps=40, columns=5):
    """Uneven times, columns that rise, fall, stand still and turn."""
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(0.01, 1.0, steps))
    values = np.cumsum(rng.normal(-10.0, 20.0, (steps, columns)) * (rng.uniform(size=(steps, columns)) > 0.2), axis=0)
    return np.column_stack([time, 850.0 + values])


@pytest.mark.parametrize("steps", [2, 3, 4, 40])
def test_monotone_cubics_are_those_of_scipy(steps):
    rows = history(steps, steps)
    times = np.unique(np.concatenate([rows[:, 0], np.linspace(rows[0, 0], rows[-1, 0], 333)]))
    expected = PchipInterpolator(rows[:, 0], rows, axis=0)(times)
    np.testing.assert_allclose(between_steps(rows, times, np.zeros(1)), expected, rtol=1e-13)
    two = between_steps(rows, times, np.zeros(1), (2, 4))
    np.testing.assert_array_equal(two, between_steps(rows, times, np.zeros(1))[:, 2:4])


def test_between_steps_breaks_at_the_knots():
    rows = history(7)
    knot = rows[17, 0]
    times = np.linspace(rows[0, 0], rows[-1, 0], 333)
    parts = rows[:18], rows[17:]
    expected = [PchipInterpolator(part[:, 0], part, axis=0)(times[here]) for part, here in
                zip(parts, (times <= knot, times > knot), strict=True)]  # fmt: skip
    np.testing.assert_allclose(between_steps(rows, times, np.array([0.0, knot])), np.concatenate(expected), rtol=1e-13)


def test_phase_fractions_add_austenite():
    rows = np.random.default_rng(1).uniform(0.0, 0.4, (6, 3 + 8))
    out = kernels.phase_fractions(rows, 3, 2)
    np.testing.assert_array_equal(out[:4], rows[:, 3:].reshape(6, 4, 2).transpose(1, 0, 2))
    np.testing.assert_allclose(out[4], np.clip(1.0 - out[:4].sum(axis=0), 0.0, 1.0), atol=1e-15)


@pytest.mark.parametrize(("initial", "fluid"), [(860.0, 40.0), (20.0, 900.0), (860.0, 860.0), (1500.0, 20.0)])
def test_demand_of_a_face(initial, fluid):
    flux = 500.0 * (COARSE_GRID - fluid) * (1.0 + 0.001 * np.abs(COARSE_GRID - fluid))
    largest, span, least = kernels.face_demand(COARSE_GRID, flux, initial)
    side = (COARSE_GRID - fluid) * (1.0 if initial >= fluid else -1.0) > 0.0
    crossed = COARSE_GRID[side & ((initial >= COARSE_GRID) if initial >= fluid else (initial <= COARSE_GRID))]
    if initial == fluid:
        assert (largest, span, least) == (0.0, 0.0, np.inf)
        return
    assert largest == pytest.approx(np.abs(np.interp(initial, COARSE_GRID, flux)), rel=1e-12)
    end = crossed[np.argmin(np.abs(crossed - fluid))]
    assert span == abs(initial - end)
    far = crossed[np.abs(crossed - end) > 0.2 * span]
    assert least == pytest.approx((np.abs(flux[np.isin(COARSE_GRID, far)]) / np.abs(far - end)).min())


def test_a_face_without_flux_asks_for_nothing():
    assert kernels.face_demand(COARSE_GRID, np.zeros(len(COARSE_GRID)), 850.0) == (0.0, 0.0, np.inf)


def test_enthalpy_of_a_mixture():
    rng = np.random.default_rng(2)
    thermal = np.cumsum(rng.uniform(1.0, 2.0, (1551, 10)), axis=0)
    temp, fractions = rng.uniform(-150.0, 1500.0, (4, 3)), rng.uniform(0.0, 0.25, (4, 4, 3))
    out = kernels.mixture_enthalpy(temp, fractions, thermal, -100.0, 1.0)
    inside = (temp > -100.0) & (temp < 1450.0)
    per_phase = [np.interp(temp, TEMPERATURE_GRID, thermal[:, phase]) for phase in range(5)]
    expected = sum(f * h for f, h in zip([*fractions, 1.0 - fractions.sum(axis=0)], per_phase, strict=True))
    np.testing.assert_allclose(out[inside], expected[inside], rtol=1e-13)


def test_what_was_sampled_outside_a_range_is_known_by_temperature():
    known = Known()
    gas = hq.GasCrossflow("nitrogen", velocity=20.0, pressure=1e6, temperature=40.0, diameter=0.05)
    known.flux("side", gas)  # film below 250 K for a surface below -86 degC, see gas_properties
    assert known.is_outside(-100.0, -90.0)
    assert not known.is_outside(-50.0, 860.0)
    assert known.is_outside(-150.0, 860.0)  # beyond the table
    known.flux("side", hq.GasCrossflow("nitrogen", velocity=20.0, pressure=5e6, temperature=40.0, diameter=0.05))
    assert known.is_outside(100.0, 200.0)  # a pressure above the range is outside at any temperature


def test_cubics_between_nodes_are_exact_for_cubics():
    x = np.linspace(0.0, 12.0, 61)
    cubic = 3.0 - 2.0 * x + 0.5 * x**2 - 0.1 * x**3
    np.testing.assert_allclose(kernels.through_cubics(cubic[::5], 5), cubic, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("gas", ["nitrogen", "argon", "helium", "hydrogen", {"nitrogen": 0.4, "helium": 0.6}])
@pytest.mark.parametrize(
    ("velocity", "pressure", "temperature"), [(1.0, 1e5, 20.0), (30.0, 1e6, 40.0), (80.0, 2.5e6, 120.0)]
)
def test_a_smooth_boundary_loses_nothing_by_being_sampled_less(gas, velocity, pressure, temperature):
    flow = hq.GasCrossflow(gas, velocity=velocity, pressure=pressure, temperature=temperature, diameter=0.03)
    assert flow.is_smooth
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        known, direct = Known(), flow.heat_flux(TEMPERATURE_GRID.copy())
    table = known.flux("side", flow)
    scale = np.abs(direct) + 1e-3 * np.abs(direct).max()  # near the gas temperature against a thousandth of the largest
    apart = np.sort(np.abs(table - direct) / scale)
    assert (
        apart[-1] < 3e-5
    )  # where the pieces of a gas's molar heat meet, film at 500 or 1000 K: hydrogen 2e-5, nitrogen 3e-6
    assert apart[-12] < 2e-6  # beyond the two intervals around such a place


def test_only_what_is_known_to_be_smooth_is_sampled_less():
    class Mine(hq.GasCrossflow):
        """A kink in somebody's own flux."""

        def heat_flux(self, surface_temperature):
            return np.where(surface_temperature > 502.0, 2.0, 1.0) * super().heat_flux(surface_temperature)

    given = {"velocity": 30.0, "pressure": 1e6, "temperature": 40.0, "diameter": 0.03}
    mine = Mine("nitrogen", **given)
    assert not mine.is_smooth
    assert not hq.GasCrossflow("nitrogen", **given, correlation="hilpert").is_smooth
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        direct = mine.heat_flux(TEMPERATURE_GRID.copy())
    np.testing.assert_array_equal(Known().flux("side", mine), direct)
