"""FiPy: cylindrical finite volumes, backward Euler, swept enthalpy (secant heat capacity), LU with a tight tolerance.

`TransientTerm(rho * cp(T))` would solve another equation; the secant between the old and the swept temperature conserves the
enthalpy. The default linear tolerance would make the error grow when the step is halved.
"""

from __future__ import annotations

import os
import time

import numpy as np
import reference
from reference import DENSITY, Array, Problem
from scipy import interpolate

from .integrators import TimeUp
from .volumes import Volumes

os.environ.setdefault("FIPY_SOLVERS", "scipy")


def backward_euler(
    problem: Problem, limit: float, nr: int, nz: int, change: float, grading: tuple = (3.0, 60.0)
) -> Array:
    """Steps that change no cell by more than about ``change`` K."""
    import fipy
    from fipy.solvers.scipy import LinearLUSolver

    p, end = problem, time.perf_counter() + limit
    v = Volumes(problem, nr, nz, *grading, form="temperature")
    r = p.radius * (1.0 - reference.graded(nr, grading[0])[::-1])
    z = p.length * reference.graded(nz, grading[1])
    mesh = fipy.CylindricalGrid2D(dx=np.diff(r), dy=np.diff(z))
    volume = v.volume / (2.0 * np.pi)
    t = fipy.CellVariable(mesh=mesh, value=p.start, hasOld=True)
    capacity, sink, source = (fipy.CellVariable(mesh=mesh, value=0.0) for _ in range(3))
    k = fipy.CellVariable(mesh=mesh, value=0.0)
    equation = (
        fipy.TransientTerm(coeff=capacity, var=t)
        == fipy.DiffusionTerm(coeff=k.arithmeticFaceValue, var=t) - fipy.ImplicitSourceTerm(coeff=sink, var=t) + source
    )
    solver = LinearLUSolver(tolerance=1e-12, iterations=10)
    now, step, record, best = 0.0, 1e-4, [v.sample(t.value[None])[0]], [0.0]
    while now < p.end_time:
        step = min(step, p.end_time - now)
        t.updateOld()
        old = t.value.copy()
        heat = reference.enthalpy(old, p.latent)
        for _ in range(30):
            if time.perf_counter() > end:
                raise TimeUp(now)
            here = t.value
            apart = np.abs(here - old) > 1e-6
            with np.errstate(divide="ignore", invalid="ignore"):
                secant = (reference.enthalpy(here, p.latent) - heat) / (here - old)
            capacity.setValue(np.where(apart, secant, DENSITY * reference.specific_heat(here, p.latent)))
            k.setValue(reference.conductivity(here))
            flux, slope, kf = v._surface(here[v.cells], reference.potential(here[v.cells]))
            slope = slope * reference.conductivity(here[v.cells]) / (kf + slope * v.distance)
            area = v.area / (2.0 * np.pi)
            sink.setValue(np.bincount(v.cells, area * slope, volume.size) / volume)
            source.setValue(np.bincount(v.cells, area * (slope * here[v.cells] - flux), volume.size) / volume)
            equation.sweep(var=t, dt=step, solver=solver)
            if np.abs(t.value - here).max() < 1e-3 * change:
                break
        else:
            t.setValue(old)
            step *= 0.5
            continue
        moved = np.abs(t.value - old).max()
        if moved > 2.0 * change:
            t.setValue(old)
            step *= 0.5
            continue
        now += step
        best.append(now)
        record.append(v.sample(t.value[None])[0])
        step *= min(2.0, max(0.5, change / max(moved, 1e-9)))
    return interpolate.PchipInterpolator(best, np.array(record))(p.times)
