"""LSODA once more, with the right-hand side and the banded Jacobian of `volumes` compiled by the user with numba.

Not what a general library gives by itself: some sixty lines of loops have to be written and compiled. It shows what is left of
the difference when the cost of numpy calls on short arrays is taken away.
"""

from __future__ import annotations

import numba
import numpy as np
from reference import Array, Problem
from scipy import constants, integrate

from .integrators import guarded
from .volumes import Volumes

ZERO = constants.zero_Celsius


@numba.njit(cache=True)
def face_flux(t, potential, distance, h, fluid, sigma):
    """Flux and d flux/d potential of one face."""
    kelvin_sink = (fluid + ZERO) ** 4
    face = t
    for _ in range(6):
        kelvin = face + ZERO
        flux = h * (face - fluid) + sigma * (kelvin**4 - kelvin_sink)
        slope = h + 4.0 * sigma * kelvin**3
        if face < 800.0:
            k, inside = 54.0 - 3.33e-2 * face, (54.0 - 1.665e-2 * face) * face
        else:
            k, inside = 27.3, 54.0 * 800.0 - 1.665e-2 * 640000.0 + 27.3 * (face - 800.0)
        step = (potential - inside - flux * distance) / (k + slope * distance)
        face += step
        if abs(step) < 1e-6:
            break
    return flux + slope * step, slope / (k + slope * distance)


@numba.njit(cache=True)
def fill(u, table, low, per_step, bands_r, bands_z, nr, inverse, cells, faces, rate, jacobian, wants_jacobian):
    """Enthalpy form: the rate of every cell, and on demand the band matrix."""
    n = u.size
    potential, slope = np.empty(n), np.empty(n)
    t = np.empty(n)
    for i in range(n):
        place = (u[i] - low) * per_step
        row = min(max(int(place), 0), table.shape[0] - 2)
        share = place - row
        t[i] = table[row, 0] + share * (table[row + 1, 0] - table[row, 0])
        potential[i] = table[row, 1] + share * (table[row + 1, 1] - table[row, 1])
        slope[i] = (table[row + 1, 1] - table[row, 1]) * per_step
    rate[:] = 0.0
    if wants_jacobian:
        jacobian[:] = 0.0
    for i in range(n):
        for step, g in ((1, bands_r[i]), (nr, bands_z[i])):
            if g > 0.0:
                j = i + step
                flow = g * (potential[j] - potential[i])
                rate[i] += flow
                rate[j] -= flow
                if wants_jacobian:
                    jacobian[nr, i] -= g * slope[i] * inverse[i]
                    jacobian[nr, j] -= g * slope[j] * inverse[j]
                    jacobian[nr - step, j] += g * slope[j] * inverse[i]
                    jacobian[nr + step, i] += g * slope[i] * inverse[j]
    for f in range(cells.size):
        i, area = cells[f], faces[0, f]
        flux, per_potential = face_flux(t[i], potential[i], faces[1, f], faces[2, f], faces[3, f], faces[4, f])
        rate[i] -= area * flux
        if wants_jacobian:
            jacobian[nr, i] -= area * per_potential * slope[i] * inverse[i]
    for i in range(n):
        rate[i] *= inverse[i]


def odeint_compiled(
    problem: Problem, limit: float, nr: int, nz: int, tolerance: float, grading: tuple = (3.0, 60.0)
) -> Array:
    """LSODA, exact banded Jacobian, both callbacks compiled."""
    v = Volumes(problem, nr, nz, *grading)
    bands_r, bands_z = np.append(v.bands[3], 0.0), np.append(v.bands[4], np.zeros(nr))
    table = np.ascontiguousarray(v.state.columns[:2].T)
    faces = np.array([v.area, v.distance, v.h, v.fluid, v.sigma])
    fixed = (table, v.state.low, v.state.per_step, bands_r, bands_z, nr, v.inverse, v.cells, faces)
    nothing, scratch = np.zeros((1, 1)), np.empty(v.volume.size)

    def rate(_t, u):
        out = np.empty(u.size)
        fill(u, *fixed, out, nothing, False)
        return out

    def banded(_t, u):
        out = np.empty((2 * nr + 1, u.size))
        fill(u, *fixed, scratch, out, True)
        return out

    found, info = integrate.odeint(
        guarded(rate, limit), v.first, [0.0, *problem.times], Dfun=banded, ml=nr, mu=nr, tfirst=True,
        rtol=tolerance, atol=100.0 * tolerance, mxstep=1_000_000, full_output=True,
    )  # fmt: skip
    if "successful" not in info["message"]:
        raise RuntimeError(info["message"])
    return v.sample(found[1:])
