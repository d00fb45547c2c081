"""Thermocouples against independent answers: finite elements for blind wells, brute force for the placement."""

from __future__ import annotations

import numpy as np
import pytest

import heatq as hq
from heatq.thermocouples import Thermocouple, cross_hole_temperature, place_thermocouples
from heatq.thermocouples.disturbance import BLIND_END


def graded(start, stop, first, largest):
    points, step, sign = [start], first, np.sign(stop - start)
    while abs(stop - points[-1]) > 1.5 * step:
        points.append(points[-1] + sign * step)
        step = min(1.15 * step, largest)
    return [*points, stop]


def bottom_of_blind_hole(depth, finest=0.06):
    """Temperature in the middle of the bottom and its mean over it, less undisturbed; gradient 1, radius 1, hole from z = 0 up."""
    from skfem import Basis, BilinearForm, ElementQuad2, MeshQuad, condense, solve
    from skfem.helpers import dot, grad

    wide, below = 25.0, 30.0
    r = np.unique([*graded(1.0, 0.0, finest, 0.2), *graded(1.0, wide, finest, 2.0)])
    z = np.unique([*graded(0.0, -below, finest, 2.0), *graded(0.0, depth, finest, 1.0)])
    mesh = MeshQuad.init_tensor(r, z)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.flatnonzero(~((middle[0] < 1.0) & (middle[1] > 0.0))))
    basis = Basis(mesh, ElementQuad2())
    matrix = BilinearForm(lambda u, v, w: dot(grad(u), grad(v)) * w.x[0]).assemble(basis)
    x = basis.doflocs
    fixed = np.flatnonzero((np.abs(x[1] - depth) < 1e-9) | (np.abs(x[1] + below) < 1e-9))
    u = np.zeros(basis.N)
    u[fixed] = x[1, fixed]
    u = solve(*condense(matrix, x=u, D=fixed))
    face = np.flatnonzero((np.abs(x[1]) < 1e-9) & (x[0] <= 1 + 1e-9))
    face = face[np.argsort(x[0, face])]
    return u[face[0]], 2 * np.trapezoid(u[face] * x[0, face], x[0, face])


def test_blind_end_factor_is_what_finite_elements_give():
    middle, mean = bottom_of_blind_hole(20.0)
    assert -middle == pytest.approx(BLIND_END, abs=0.005)
    assert -mean == pytest.approx(0.65, abs=0.005)
    assert -bottom_of_blind_hole(20.0, finest=0.12)[0] == pytest.approx(-middle, abs=0.002)  # the mesh is fine enough
    for depth, factor in ((2.0, 0.79), (10.0, 0.82)):
        assert -bottom_of_blind_hole(depth)[0] == pytest.approx(factor, abs=0.005)


def test_cross_hole_is_what_finite_elements_give():
    """Plane field about an insulated hole in a ring out to 30 radii, far field as boundary value."""
    from skfem import Basis, BilinearForm, ElementQuad2, MeshQuad, condense, solve
    from skfem.helpers import dot, grad

    polar = MeshQuad.init_tensor(np.array(graded(1.0, 30.0, 0.05, 2.0)), np.linspace(0.0, np.pi, 41))
    radius, angle = polar.p
    mesh = MeshQuad(np.vstack([radius * np.cos(angle), radius * np.sin(angle)]), polar.t)
    basis = Basis(mesh, ElementQuad2())
    matrix = BilinearForm(lambda u, v, w: dot(grad(u), grad(v))).assemble(basis)
    x = basis.doflocs
    far = np.hypot(*x) > 29.9
    symmetric = (np.abs(x[0]) < 1e-9) & (np.abs(x[1]) > 0)  # the line across the gradient, where T = Tc
    fixed = np.flatnonzero(far | symmetric)
    u = np.where(far, x[0] * (1 + 1 / np.hypot(*x) ** 2), 0.0)
    u = solve(*condense(matrix, x=u, D=fixed))
    wall = np.flatnonzero(np.abs(np.hypot(*x) - 1) < 1e-6)
    exact = cross_hole_temperature(1.0, 0.05, 0.05, np.arctan2(x[1, wall], x[0, wall])) / 0.05
    np.testing.assert_allclose(u[wall], exact, atol=0.02)


def brute_force(piece, steel, boundaries, places, sensor, window, point):
    """Error at every place from a direct simulation of the place and its neighbours at +- the tolerance; no splines."""
    from scipy.signal import lfilter

    shift = sensor.position_tolerance
    probes, rows = {"point": point}, []
    for n, (r, z) in enumerate(places):
        around = [(r, z), (r + shift, z), (abs(r - shift), z), (r, z + shift), (r, z - shift)]
        rows.append([f"{n}.{k}" for k in range(5)])
        probes.update(zip(rows[-1], around, strict=True))
    run = hq.simulate(
        piece, steel, boundaries, initial_temperature=steel.austenitizing_temperature, end_time=3600.0, stop_below=400.0,
        probes=probes, accuracy=0.5, estimate_error=False, progress=False,
    )  # fmt: skip
    time = run.time.values
    fine = np.linspace(0.0, time[-1], 10001)

    def of(name):
        return np.interp(fine, time, run.temperature.sel(probe=name).values)

    def between(values, about):
        """Root mean square over equal steps of the temperature ``about``."""
        levels = np.linspace(window[0], window[1], 101)
        when = np.interp(-levels, -np.minimum.accumulate(about), fine)
        return float(np.sqrt(np.mean(np.interp(when, fine, values) ** 2)))

    errors = []
    for names in rows:
        here = [of(name) for name in names]
        a = fine[1] / sensor.lag  # backward Euler, fine steps
        lagged = here[0][0] + lfilter([a / (1 + a)], [1.0, -1 / (1 + a)], here[0] - here[0][0])
        parts = [
            between(here[0] - of("point"), of("point")),
            between(lagged - here[0], here[0]),
            max(between(here[1] - here[0], here[0]), between(here[2] - here[0], here[0])),
            max(between(here[3] - here[0], here[0]), between(here[4] - here[0], here[0])),
            between(np.asarray(sensor.calibration_tolerance(here[0])), here[0]),
        ]
        errors.append(np.sqrt(np.sum(np.square(parts))))
    return np.array(errors)


@pytest.mark.slow
def test_ranking_by_brute_force_over_the_section():
    """A 60 x 120 mm bar in oil for 3/4 radius: same order, same errors (without well and stem) as simulated one by one."""
    piece, steel = hq.RoundBar(diameter=0.06, length=0.12), hq.demo_heat()
    oil = hq.Convection(coefficient=900.0, fluid_temperature=60.0)
    boundaries = dict.fromkeys(piece.faces, oil)
    sensor, window = Thermocouple(sheath_diameter=1.5e-3, time_constant=0.8), (800.0, 500.0)
    net = {
        f"{r:g} {z:g}": (float(r), float(z)) for r in np.linspace(0.0, 0.0275, 12) for z in np.linspace(0.01, 0.11, 11)
    }
    ranked = place_thermocouples(
        piece,
        steel,
        boundaries,
        purpose="three-quarter radius",
        sensor=sensor,
        window=window,
        places=net,
        entries=("side",),
    )
    parts = ranked.error_temperature.sel(component=["representation", "lag", "position", "calibration"])
    ours = np.sqrt((parts**2).sum("component")).values
    places = list(zip(ranked.r.values.tolist(), ranked.z.values.tolist(), strict=True))
    theirs = brute_force(piece, steel, boundaries, places, sensor, window, (0.0225, 0.06))
    assert len(places) == 132
    np.testing.assert_allclose(ours, theirs, rtol=0.02, atol=0.15)
    best = places[int(theirs.argmin())]
    assert best[0] == pytest.approx(0.0225)
    assert places[0][0] == pytest.approx(0.0225)
    assert (
        theirs[0] < theirs.min() + 0.1
    )  # flat along the bar: which of the middle ones comes first is within the noise
