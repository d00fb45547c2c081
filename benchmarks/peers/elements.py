"""scikit-fem: bilinear quadrilaterals, enthalpy form with consistent quadrature, SDIRK2, Newton.

The forms are assembled in every Newton iteration, as the library's examples do. The step size follows the difference of the
two stages (largest value, K); between accepted steps the histories are interpolated by monotone cubics, as heatq does.
"""

from __future__ import annotations

import time

import numpy as np
import reference
from reference import DENSITY, Array, Problem
from scipy import interpolate
from scipy.sparse.linalg import splu

from .integrators import TimeUp
from .volumes import Table

GAMMA = 1.0 - 0.5**0.5


def sdirk2(problem: Problem, limit: float, nr: int, nz: int, tolerance: float, grading: tuple = (3.0, 60.0)) -> Array:
    """Temperatures (times, probes)."""
    from skfem import Basis, BilinearForm, ElementQuad1, FacetBasis, LinearForm, MeshQuad
    from skfem.helpers import dot, grad

    p, end = problem, time.perf_counter() + limit
    inside = p.probes[(p.probes[:, 0] > 0) & (p.probes[:, 0] < p.radius), 0]
    r = reference.snapped(p.radius * (1.0 - reference.graded(nr, grading[0])[::-1]), inside)
    z = reference.snapped(p.length * reference.graded(nz, grading[1]), p.probes[:, 1])
    mesh = MeshQuad.init_tensor(r, z)
    basis = Basis(mesh, ElementQuad1(), intorder=3)
    where = {"bottom": lambda x: x[1] == 0.0, "top": lambda x: x[1] == z[-1], "side": lambda x: x[0] == r[-1]}
    edges = [
        (FacetBasis(mesh, ElementQuad1(), facets=mesh.facets_satisfying(pick)), getattr(p, name))
        for name, pick in where.items()
        if getattr(p, name).coefficient > 0.0
    ]
    at = [int(np.argmin(np.hypot(mesh.p[0] - a, mesh.p[1] - b))) for a, b in p.probes]
    grid = np.linspace(0.0, 900.0, 90_001)
    heat = reference.enthalpy(grid, p.latent)
    table = Table(
        0.0, 900.0, np.array([heat, np.gradient(heat, grid), reference.conductivity(grid), np.gradient(reference.conductivity(grid), grid)])
    )  # fmt: skip

    @LinearForm
    def residual(v, w):
        return w.x[0] * ((w.heat - w.base) * v + w.tau * w.k * dot(grad(w.t), grad(v)))

    @BilinearForm
    def tangent(u, v, w):
        return w.x[0] * (w.capacity * u * v + w.tau * dot(w.k * grad(u) + w.bend * u * grad(w.t), grad(v)))

    @LinearForm
    def loss(v, w):
        return w.x[0] * w.q * v

    @BilinearForm
    def loss_slope(u, v, w):
        return w.x[0] * w.q * u * v

    def stage(t: Array, base: Array, tau: float, small: float) -> tuple[Array, Array] | None:
        for _ in range(12):
            field = basis.interpolate(t)
            heat, capacity, k, bend = table(np.asarray(field))
            right = residual.assemble(basis, heat=heat, base=base, tau=tau, k=k, t=field)
            left = tangent.assemble(basis, capacity=capacity, tau=tau, k=k, bend=bend, t=field)
            for edge, face in edges:
                q, slope = face.flux(np.asarray(edge.interpolate(t)))
                right += tau * loss.assemble(edge, q=q)
                left += tau * loss_slope.assemble(edge, q=slope)
            change = splu(left.tocsc()).solve(right)
            t = t - change
            if not np.all(np.isfinite(t)) or t.min() < 0.0 or t.max() > 900.0:
                return None
            if np.abs(change).max() < small:
                return t, table(np.asarray(basis.interpolate(t)))[0]
        return None

    t = np.full(basis.N, p.start)
    heat = table(np.asarray(basis.interpolate(t)))[0]
    now, step, record = 0.0, 1e-4, [(0.0, *t[at])]
    while now < p.end_time:
        if time.perf_counter() > end:
            raise TimeUp(now)
        step = min(step, p.end_time - now)
        first = stage(t, heat, GAMMA * step, 0.02 * tolerance)
        second = first and stage(
            first[0], heat + (1 - GAMMA) / GAMMA * (first[1] - heat), GAMMA * step, 0.02 * tolerance
        )
        if not second:
            step *= 0.25
            continue
        # gamma step (f2 - f1) at the nodes, from the enthalpies of the stages
        h0, h1, h2 = (table(x)[0] for x in (t, first[0], second[0]))
        f1 = (h1 - h0) / GAMMA
        error = np.abs((h2 - h0 - (1 - GAMMA) * f1) - GAMMA * f1).max() / (DENSITY * 650.0)
        factor = min(4.0, max(0.2, 0.9 * (tolerance / max(error, 1e-12)) ** 0.5))
        if error <= tolerance:
            now, t, heat = now + step, *second
            record.append((now, *t[at]))
        step *= factor
    rows = np.array(record)
    return interpolate.PchipInterpolator(rows[:, 0], rows[:, 1:])(p.times)
