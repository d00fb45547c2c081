"""The compiled kernels against the plain numpy twin and against their definitions."""

from __future__ import annotations

import numpy as np
import pytest
import twin
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from heatq import _kernels
from heatq.conduction.tables import packed
from heatq.transformation.kinetics import TEMPERATURE_GRID as NODES
from heatq.transformation.kinetics import kinetic_tables, no_kinetics

TWIN = 1e-10  # rtol of the tolerance ladder: compiled kernel against plain numpy


def random_problem(seed, shape):
    """A small piece with random sizes, properties, temperatures and boundaries on each face."""
    random = np.random.default_rng(seed)
    nz, nr = shape
    hollow = random.random() < 0.5
    r_faces = (0.005 if hollow else 0.0) + np.concatenate([[0.0], np.cumsum(random.uniform(0.5e-3, 3e-3, nr))])
    z_faces = np.concatenate([[0.0], np.cumsum(random.uniform(0.5e-3, 5e-3, nz))])
    density = random.uniform(2e3, 9e3)
    heat = (
        600.0 + 150.0 * np.sin(NODES / random.uniform(50.0, 200.0)) + 2000.0 * np.exp(-(((NODES - 700.0) / 30.0) ** 2))
    )
    enthalpy = np.concatenate([[0.0], np.cumsum(0.5 * (heat[1:] + heat[:-1]))]) * density
    conductivity = random.uniform(10.0, 60.0) + 8.0 * np.cos(NODES / random.uniform(100.0, 400.0))
    temperature = random.uniform(200.0, 800.0) + random.uniform(-40.0, 40.0, shape)
    tables = []
    for _ in range(6):
        slope = 10.0 ** random.uniform(0.0, 4.5)
        table = slope * (NODES - random.uniform(0.0, 100.0))
        # a hump with a falling side, kept gentle enough for one surface temperature only
        tables.append(table + 200.0 * random.uniform(0.0, 1.0) * 300.0 * np.exp(-(((NODES - 400.0) / 150.0) ** 2)))
    used = random.random(4) < 0.8
    if not hollow:
        used[3] = False
    if nz == 1:
        used[:2] = False
    if not used.any():
        used[2] = True
    # a step over which the fastest cell (or the mean) would change by 10 to 200 K if all else stood still
    flux = [tables[2 * (face % 2)] if used[face] else None for face in range(4)]
    k = np.interp(temperature, NODES, conductivity)
    heat, _, _, out = twin.heat_balance(temperature, k, r_faces, z_faces, NODES, flux)
    capacity = density * 600.0 * np.outer(np.diff(z_faces), np.pi * np.diff(r_faces**2)).ravel()
    dt = random.uniform(10.0, 200.0) / max(np.abs(heat / capacity).max(), np.abs(out).max() / capacity.sum())
    return r_faces, z_faces, enthalpy, conductivity, temperature, np.array(tables), used, dt


def run_kernel(r_faces, z_faces, enthalpy_table, conductivity_table, temperature, tables, used, dt, motion):
    """One accepted step of the compiled kernel; faces share one zone with flux linear in time between two knots each."""
    nz, nr = temperature.shape
    r = 0.5 * (r_faces[1:] + r_faces[:-1])
    ring = np.pi * (r_faces[1:] ** 2 - r_faces[:-1] ** 2)
    grid_r = np.array([r, r_faces[:-1], r_faces[1:], ring])
    width = np.diff(z_faces)
    grid_z = np.array([0.5 * width, width])
    volume = np.outer(ring, width)  # the kernel has the axial index fastest
    thermal = packed(np.column_stack([enthalpy_table] * 5 + [conductivity_table] * 5))
    temp = np.ascontiguousarray(temperature.T)
    enthalpy = np.interp(temp, NODES, enthalpy_table)
    zones = np.full((4, max(nz, nr)), -1, np.int64)
    for face in range(4):
        if used[face]:
            zones[face, : nr if face < 2 else nz] = face % 2
    zone_start = np.array([0, 2, 4], np.int64)
    knot_time = np.array([0.0, 3.0 * dt, 0.0, 3.0 * dt])
    flux = np.ascontiguousarray(tables[:4])
    clock = np.array([0.0, dt, 0.0, 0.0, temperature.max(), temperature.min(), dt, -1e9, 0.0, 0.0])
    record = np.zeros((1, 10))
    surface, energy_out = np.full((4, max(nz, nr)), temperature.mean()), np.zeros(4)
    kinetics = no_kinetics()
    memory = np.zeros((5, nr, nz))
    memory[:2] = motion.transpose(0, 2, 1)
    run = (
        clock, 3.0 * dt, 1e9, 1e9, 0,
        enthalpy, temp, np.empty((nr, nz)), np.empty((nr, nz)), np.zeros((4, nr, nz)), np.zeros((3, nr, nz)), np.zeros((3, nr, nz)),
        memory, surface, energy_out, grid_r, grid_z, volume, zones, zone_start, knot_time, flux, thermal,
        kinetics.rates, kinetics.scalars, kinetics.s_table, kinetics.s_inverse_step,
        np.zeros(1, np.int64), np.ones(1, np.int64), np.zeros((1, 4)), np.zeros((1, 4)), np.zeros((1, 6)), record,
        np.full((_kernels.WORK_ROWS, nr * nz), np.nan), np.zeros((3, 4, max(nz, nr))), np.zeros((4, 4)),
    )  # fmt: skip
    _kernels.advance((run, (clock, 0.0, *run[2:])))
    assert clock[8:].tolist() == [_kernels.BUFFER_FULL, 1]
    assert clock[2:4].tolist() == [1.0, 0.0]
    assert clock[0] == pytest.approx(dt, rel=1e-15)
    return enthalpy.T, temp.T, energy_out, volume.T


@settings(max_examples=100)
@example(seed=0, shape=(1, 1)).via("a single cell")
@example(seed=1, shape=(1, 6)).via("a long bar")
@example(seed=2, shape=(6, 1)).via("one cell across")
@given(seed=st.integers(0, 2**31), shape=st.tuples(st.integers(1, 6), st.integers(1, 6)))
def test_one_step_agrees_with_the_numpy_twin(seed, shape):
    problem = random_problem(seed, shape)
    r_faces, z_faces, enthalpy_table, conductivity_table, temperature, tables, used, dt = problem
    start = np.interp(temperature, NODES, enthalpy_table)

    def flux_at(time):
        share = time / (3.0 * dt)
        zone = [tables[2 * n] + share * (tables[2 * n + 1] - tables[2 * n]) for n in range(2)]
        return [zone[face % 2] if used[face] else None for face in range(4)]

    # what the step before left: some cells at rest, some that moved by up to 60 K, some that released heat
    random = np.random.default_rng(seed + 1)
    motion = random.uniform(-1.0, 1.0, (2, *shape)) * (random.random((2, *shape)) < 0.7)
    motion *= np.array([60.0 * enthalpy_table[-1] / NODES[-1], 20.0])[:, None, None] / dt
    expected, expected_temperature = twin.step(
        dt, start, r_faces, z_faces, NODES, enthalpy_table, conductivity_table, flux_at, *motion
    )
    assume(expected_temperature.min() > NODES[0])  # the twin's tables end, those of the kernel go on
    enthalpy, temp, energy_out, volume = run_kernel(*problem, motion)
    np.testing.assert_allclose(enthalpy, expected, rtol=TWIN, atol=TWIN * np.abs(start).max())
    np.testing.assert_allclose(temp, expected_temperature, rtol=TWIN, atol=TWIN * 1e3)
    moved = np.abs(energy_out).sum() + 1e-9 * np.abs(start * volume).sum()
    assert abs(((enthalpy - start) * volume).sum() + energy_out.sum()) <= 1e-9 * moved


def test_the_twin_is_second_order_itself():
    """The twin is not a copy of a mistake: its step error on a lumped cell falls as dt^3."""
    faces, z = np.array([0.0, 1e-3]), np.array([0.0, 1e-3])
    table, conductivity = 4e6 * (NODES - NODES[0]), np.full(len(NODES), 400.0)
    q = 2000.0 * (NODES - 20.0)
    start = np.interp(np.array([[850.3]]), NODES, table)
    effective = 1.0 / (1.0 / 2000.0 + 0.5e-3 / 400.0)  # the half cell is in series with h
    errors = []
    for dt in (0.1, 0.05):
        _, temp = twin.step(dt, start, faces, z, NODES, table, conductivity, lambda time: [None, None, q, None])
        errors.append(abs(temp[0, 0] - 20.0 - 830.3 * np.exp(-effective * dt / (4e6 * 0.5e-3))))
    assert 7.0 < errors[0] / errors[1] < 9.0


@pytest.mark.parametrize("name", ["4140", "1045", "8620", "4340"])
@pytest.mark.parametrize("seed", range(3))
def test_transformation_along_a_history_agrees_with_the_numpy_twin(name, seed):
    from heatq.steels import grade

    kinetics = kinetic_tables(grade(name))
    random = np.random.default_rng(seed)
    time = np.concatenate([[0.0], np.cumsum(10.0 ** random.uniform(-1.0, 1.5, 60))])
    temperature = 860.0 * np.exp(-np.cumsum(random.uniform(0.0, 0.1, 61)))
    temperature[20:25] += 30.0  # a recalescence, and with it a rise
    fractions, sums = np.zeros((4, 61)), np.zeros(3)
    _kernels.transform_history(time, temperature, 1.5, *kinetics, fractions, sums)
    expected, expected_sums = twin.transform_history(time, temperature, 1.5, kinetics, NODES)
    assert fractions[:, -1].sum() > 0.5
    np.testing.assert_allclose(fractions, expected, rtol=TWIN, atol=TWIN)
    np.testing.assert_allclose(sums, expected_sums, rtol=TWIN, atol=1e-8)


def test_a_history_that_starts_below_ms_is_martensite_at_once():
    from heatq.steels import grade

    kinetics = kinetic_tables(grade("4140"))
    ms, alpha = kinetics.scalars[:2]
    fractions = np.zeros((4, 2))
    _kernels.transform_history(np.array([0.0, 1.0]), np.full(2, ms - 100.0), 1.0, *kinetics, fractions, np.zeros(3))
    assert fractions[3, 0] == pytest.approx(1.0 - np.exp(-100.0 * alpha), rel=1e-12)


@given(st.floats(-90.0, 1440.0), st.floats(-90.0, 1440.0))
def test_temperature_of_an_enthalpy_is_found_from_any_guess(temperature, guess):
    random = np.random.default_rng(5)
    table = np.concatenate([[0.0], np.cumsum(random.uniform(1e5, 5e7, len(NODES) - 1))])
    thermal = np.column_stack([table] * 5 + [np.linspace(50.0, 20.0, len(NODES))] * 5)
    found, capacity, conductivity = _kernels.plain_temperature(
        np.interp(temperature, NODES, table), guess, packed(thermal)
    )
    assert found == pytest.approx(temperature, abs=1e-8)
    assert conductivity == pytest.approx(np.interp(temperature, NODES, thermal[:, 9]), rel=1e-10)
    assert np.abs(np.diff(table) - capacity).min() <= 1e-6 * capacity


@given(
    st.floats(-80.0, 900.0),
    st.floats(-80.0, 900.0),
    st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3),
    st.floats(0.0, 1.0),
)
def test_temperature_of_a_transforming_mixture_closes_the_enthalpy(temperature, guess, shares, already):
    from heatq.conduction.tables import thermal_table
    from heatq.steels import grade

    steel = grade("4140")
    kinetics, thermal = kinetic_tables(steel), thermal_table(steel.material)
    ferrite, pearlite, bainite = (0.3 * share for share in shares)
    pool = 1.0 - ferrite - pearlite - bainite
    ms = _kernels.martensite_start(ferrite, kinetics.scalars)
    exp_ms = np.exp(-kinetics.scalars[1] * ms)
    # Koistinen and Marburger's exponential, linear between the rows of the table
    forming = pool * (1.0 - exp_ms * np.interp(temperature, NODES, kinetics.rates[:, 4]))
    if temperature < ms:
        assert forming == pytest.approx(pool * -np.expm1(-kinetics.scalars[1] * (ms - temperature)), abs=2e-5)
    martensite = max(forming, pool * already)
    per_phase = [np.interp(temperature, NODES, thermal[:, p]) for p in range(5)]
    parts = [ferrite, pearlite, bainite, martensite, pool - martensite]
    enthalpy = float(np.dot(parts, per_phase))
    found, formed, capacity, _ = _kernels.mixture_temperature(
        enthalpy, guess, ferrite, pearlite, bainite, pool * already, ms, exp_ms, kinetics.rates, packed(thermal)
    )
    assert found == pytest.approx(temperature, abs=1e-6)
    assert formed == pytest.approx(martensite, abs=1e-6)
    assert formed >= pool * already
    assert capacity > 0.0
    # and no heat is lost: what is returned has the enthalpy that went in
    per_phase = [np.interp(found, NODES, thermal[:, p]) for p in range(5)]
    assert np.dot([ferrite, pearlite, bainite, formed, pool - formed], per_phase) == pytest.approx(
        enthalpy, rel=1e-12, abs=1e-3
    )


@given(st.floats(0.0, 1400.0), st.floats(1e3, 1e6), st.floats(0.0, 1400.0), st.floats(0.0, 1.0))
def test_surface_balance_finds_a_root(cell, conductance, guess, weight):
    lower, upper = 500.0 * (NODES - 20.0), 2e4 * (NODES - 30.0) + 3e5 * np.sin(NODES / 40.0)
    surface, flux, slope = _kernels.surface_balance(cell, conductance, guess, np.array([lower, upper]), 0, 1, weight)
    q = lower + weight * (upper - lower)
    assert flux == pytest.approx(np.interp(surface, NODES, q), rel=1e-9, abs=1e-3)
    if slope > -0.99 * conductance:
        assert conductance * (cell - surface) == pytest.approx(flux, rel=1e-9, abs=1e-2)


def test_the_surface_stays_on_its_branch_of_a_boiling_curve():
    """Three surface temperatures balance this curve; coming from above the hot one holds, from below the cold one."""
    curve = np.interp(NODES, [100.0, 250.0, 400.0, 1400.0], [0.0, 3e6, 2e5, 4e5])
    conductance, cell = 5e3, 600.0
    hot, flux_hot, _ = _kernels.surface_balance(cell, conductance, 800.0, curve[None, :], 0, 0, 0.0)
    cold, flux_cold, _ = _kernels.surface_balance(cell, conductance, 110.0, curve[None, :], 0, 0, 0.0)
    assert hot > 450.0
    assert cold < 250.0
    for surface, flux in ((hot, flux_hot), (cold, flux_cold)):
        assert conductance * (cell - surface) == pytest.approx(flux, rel=1e-9)


def test_knots_take_the_right_side_of_a_jump():
    zone_start, times = np.array([0, 4], np.int64), np.array([0.0, 5.0, 5.0, 9.0])
    assert _kernels.knot_rows(2.0, 0, 0, zone_start, times) == (0, 1, pytest.approx(0.4))
    assert _kernels.knot_rows(5.0, 0, 0, zone_start, times) == (2, 3, 0.0)
    before, after, weight = _kernels.knot_rows(5.0, 0, 1, zone_start, times)
    assert (before if weight == 0.0 else after if weight == 1.0 else -1) == 1
    assert _kernels.knot_rows(20.0, 0, 0, zone_start, times)[0] == 3


def test_fractions_never_shrink_and_never_exceed_one():
    random = np.random.default_rng(7)
    s_table = np.linspace(0.0, 1.0, 50) ** 0.5
    for _ in range(300):
        ferrite, pearlite, bainite = random.dirichlet(np.ones(5))[:3]
        martensite = random.uniform(0.0, 1.0 - ferrite - pearlite - bainite)
        y = random.uniform(0.0, 2.0, 3)
        gains = y * random.integers(0, 2, 3)
        limit = random.uniform(0.0, 1.0)
        grown = _kernels.grow(*y, *gains, ferrite, pearlite, bainite, martensite, limit, s_table, 49.0)
        assert all(
            new == old for new, old, gain in zip(grown, (ferrite, pearlite, bainite), gains, strict=True) if gain == 0.0
        )
        assert (np.array(grown) >= [ferrite, pearlite, bainite]).all()
        assert sum(grown) + martensite <= 1.0 + 1e-12


@pytest.mark.parametrize("name", ["1045", "4130", "8620"])
def test_the_coupled_limit_is_the_ferrite_that_agrees_with_its_own_heat(name):
    from scipy.optimize import brentq

    from heatq.conduction.tables import thermal_table
    from heatq.steels import grade

    steel = grade(name)
    tables, thermal = kinetic_tables(steel), packed(thermal_table(steel.material))
    kinetic, s = tables.rates, (tables.s_table, tables.s_inverse_step)
    slope = np.diff(kinetic[:, 3])
    row = int(np.flatnonzero(slope < 0.0).mean())  # between Ae1 and Ae3
    start, ferrite, y = NODES[row] + 0.5, 0.02, 1.6
    share = _kernels.inverse_s(y, *s)
    limit = 0.5 * (kinetic[row, 3] + kinetic[row + 1, 3])

    def lack(grown):
        at_its_own_temperature = limit + slope[row] * _kernels.warming(start, thermal) * (grown - ferrite)
        return share * at_its_own_temperature - grown

    found = share * _kernels.coupled_limit(y, limit, start, ferrite, kinetic, *s, thermal)
    assert ferrite < found < share * limit
    assert found == pytest.approx(brentq(lack, 0.0, 1.0, xtol=1e-14), rel=1e-9)
    assert _kernels.coupled_limit(y, limit, 500.0, ferrite, kinetic, *s, thermal) == limit  # below Ae1 it is constant


def test_no_cell_is_below_its_start_above_the_highest():
    """Ferrite enriches the austenite: where carbon lowers Ms, that of the steel is the highest; else nothing is known."""
    falls = np.array([300.0, 0.011, 0.4, -420.0, 800.0, 0.03, 100.0])
    assert _kernels.highest_start(falls) == 300.0
    assert all(_kernels.martensite_start(ferrite, falls) <= 300.0 for ferrite in np.linspace(0.0, 0.98, 50))
    rises = np.where(falls == -420.0, 50.0, falls)
    assert _kernels.martensite_start(0.5, rises) > 300.0
    assert _kernels.highest_start(rises) > 2000.0
