"""py-pde: cylindrical grid (uniform: the library has no graded ones), enthalpy form, explicit.

Its mixed boundary condition is linear in the field and fixed in time, so the nonlinear boundary is added to the outermost cells as
a source; the Laplacian of the Kirchhoff potential is the library's.
"""

from __future__ import annotations

import numpy as np
from reference import DENSITY, Array, Problem

from .integrators import guarded
from .volumes import SCALE, Volumes


def explicit(problem: Problem, limit: float, nr: int, nz: int, safety: float) -> Array:
    """Explicit Euler with ``safety`` times the largest stable step; the grid is given as (radius, length)."""
    import pde

    p = problem
    v = Volumes(problem, nr, nz, 1.0, 1.0)
    grid = pde.CylindricalSymGrid(p.radius, (0.0, p.length), [nr, nz])
    diffusivity = 54.0 / (DENSITY * 425.0)
    step = safety / (2.0 * diffusivity * ((nr / p.radius) ** 2 + (nz / p.length) ** 2))
    per_volume = v.area / v.volume[v.cells]

    class Bar(pde.PDEBase):
        """Rate of change of the scaled enthalpy."""

        def evolution_rate(self, state, t=0):
            u = state.data.T.ravel()
            temperature, potential, _ = v.state(u)
            flux, _, _ = v._surface(temperature[v.cells], potential[v.cells])
            inside = pde.ScalarField(grid, potential.reshape(nz, nr).T).laplace({"derivative": 0})
            out = inside.data.T.ravel() - np.bincount(v.cells, per_volume * flux, u.size)
            return pde.ScalarField(grid, (out / SCALE).reshape(nz, nr).T)

    bar = Bar()
    bar.evolution_rate = guarded_rate(bar.evolution_rate, limit)
    kept = pde.MemoryStorage()
    bar.solve(
        pde.ScalarField(grid, v.first.reshape(nz, nr).T), t_range=p.end_time, dt=step, solver="euler", backend="numpy",
        tracker=kept.tracker(list(p.times)),
    )  # fmt: skip
    times = np.array(kept.times)
    found = v.sample(np.array([np.asarray(u).T.ravel() for u in kept.data]))
    return np.array([np.interp(p.times, times, column) for column in found.T]).T


def guarded_rate(function, limit: float):
    """Keep the argument order of py-pde for the guard of the integrators."""
    watched = guarded(lambda t, state: function(state, t), limit)
    return lambda state, t=0: watched(t, state)
