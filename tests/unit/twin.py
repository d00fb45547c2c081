"""One time step of heatq's conduction solver in plain numpy, straight from the equations, for a material that does not
transform: finite volumes in (r, z), enthalpy as the unknown, the second-order W-method ROS2, approximately factorised.

    (1 - g dt A_z)(1 - g dt A_r) (k1 + S) = dt F(H, t) + S
    (1 - g dt A_z)(1 - g dt A_r) (k2 - S) = dt F(H + k1, t + dt) - 2 k1 - S          g = 1 - 1/sqrt(2)
    H_new = H + 3/2 k1 + 1/2 k2

Dense matrices and no speed: this is the text to read, `heatq._kernels.advance` is the code to run.
"""

from __future__ import annotations

import numpy as np

GAMMA = 1.0 - 1.0 / np.sqrt(2.0)


def heat_balance(temperature, conductivity, r_faces, z_faces, nodes, flux):
    """Heat into every cell (W), and the matrices of its conduction and boundary terms in z and in r (W/K).

    ``flux[face]`` is None (no heat flow) or q over ``nodes`` (W/m2); faces are bottom, top, outer, bore.
    """
    nz, nr = temperature.shape
    r, dz = 0.5 * (r_faces[1:] + r_faces[:-1]), np.diff(z_faces)
    ring = np.pi * np.diff(r_faces**2)
    cell = np.arange(nz * nr).reshape(nz, nr)
    t, k = temperature.ravel(), conductivity.ravel()
    heat, matrix_z, matrix_r = np.zeros(nz * nr), np.zeros((nz * nr,) * 2), np.zeros((nz * nr,) * 2)
    links = [
        (matrix_z, cell[j, i], cell[j + 1, i], ring[i], dz[j] / 2, dz[j + 1] / 2)
        for j in range(nz - 1)
        for i in range(nr)
    ]
    for j in range(nz):
        for i in range(nr - 1):
            area = 2.0 * np.pi * r_faces[i + 1] * dz[j]
            links.append((matrix_r, cell[j, i], cell[j, i + 1], area, r_faces[i + 1] - r[i], r[i + 1] - r_faces[i + 1]))
    for matrix, a, b, area, to_face, from_face in links:
        g = area / (to_face / k[a] + from_face / k[b])  # two resistances in series
        heat[[a, b]] += g * (t[b] - t[a]) * np.array([1.0, -1.0])
        matrix[np.ix_([a, b], [a, b])] += g * np.array([[-1.0, 1.0], [1.0, -1.0]])
    side = 2.0 * np.pi * dz
    faces = (
        (flux[0], cell[0], ring, np.full(nr, dz[0] / 2), matrix_z),
        (flux[1], cell[-1], ring, np.full(nr, dz[-1] / 2), matrix_z),
        (flux[2], cell[:, -1], side * r_faces[-1], np.full(nz, r_faces[-1] - r[-1]), matrix_r),
        (flux[3], cell[:, 0], side * r_faces[0], np.full(nz, r[0] - r_faces[0]), matrix_r),
    )
    out = np.zeros(4)
    for n, (q, cells, areas, distances, matrix) in enumerate(faces):
        for c, area, distance in zip(cells, areas, distances, strict=True) if q is not None else ():
            g = k[c] / distance  # the surface has no heat capacity: g (T - Ts) = q(Ts)
            surface = np.interp(0.0, q - g * (t[c] - nodes), nodes)
            m = np.searchsorted(nodes, surface) - 1
            slope = (q[m + 1] - q[m]) / (nodes[m + 1] - nodes[m])
            out[n] += area * g * (t[c] - surface)
            heat[c] -= area * g * (t[c] - surface)
            matrix[c, c] -= area / (1.0 / g + 1.0 / slope) if slope > 0.0 else 0.0
    return heat, matrix_z, matrix_r, out


def step(dt, enthalpy, r_faces, z_faces, nodes, enthalpy_table, conductivity_table, flux_at, heating=0.0, release=0.0):
    """Enthalpy (J/m3) and temperature (degC) after one step; ``flux_at(time)`` gives the flux tables, time from 0.

    From the last step: ``heating`` is the rate of the enthalpy (W/m3), ``release`` the temperature rate by growth (K/s).
    """
    volume = np.outer(np.diff(z_faces), np.pi * np.diff(r_faces**2))

    def state(h):
        t = np.interp(h, enthalpy_table, nodes)
        return t, np.interp(t, nodes, conductivity_table)

    t, k = state(enthalpy)
    below = np.searchsorted(nodes, t) - 1
    tangent = (np.diff(enthalpy_table) / np.diff(nodes))[below]
    ahead = state(enthalpy + dt * heating)[0] - t  # the secant where the cell is expected to move
    moves = np.minimum(np.abs(dt * heating / tangent), np.abs(ahead)) > 1e-3
    capacity = (np.where(moves, dt * heating / np.where(moves, ahead, 1.0), tangent) * volume).ravel()
    source = dt * capacity * np.ravel(release)  # what the matrix does not know: k - source is what conduction does
    heat, matrix_z, matrix_r, _ = heat_balance(t, k, r_faces, z_faces, nodes, flux_at(0.0))
    one = np.eye(t.size)
    along_z, along_r = one - GAMMA * dt * matrix_z / capacity, one - GAMMA * dt * matrix_r / capacity
    k1 = np.linalg.solve(along_r, np.linalg.solve(along_z, dt * heat + source))
    k1 = (k1 - source) / volume.ravel()
    predicted = enthalpy + k1.reshape(t.shape)
    heat, *_ = heat_balance(*state(predicted), r_faces, z_faces, nodes, flux_at(dt))
    right = dt * heat - 2.0 * k1 * volume.ravel()
    k2 = np.linalg.solve(along_r, np.linalg.solve(along_z, right - source))
    k2 = (k2 + source) / volume.ravel()
    new = enthalpy + (1.5 * k1 + 0.5 * k2).reshape(t.shape)
    return new, state(new)[0]


def transform_history(time, temperature, largest_change, kinetics, nodes):
    """Fractions (4, times) and sums of formation temperature (3,) along a history, by the rules of the documentation.

    ``kinetics``: rates (columns ferrite, pearlite, bainite, limit over ``nodes``), scalars (Ms, alpha, carbon, dMs/dC,
    temperature above which nothing forms), X over uniform y, and its rows per unit y.
    """
    rates, (ms, alpha, carbon, per_carbon, top, *_), s_table, s_rows = kinetics
    k = [lambda t, column=column: np.interp(t, nodes, rates[:, column]) for column in range(4)]

    def start_of_martensite(ferrite):
        if ferrite <= 0.0 or carbon <= 0.02:
            return ms
        return ms + per_carbon * ((carbon - 0.02 * ferrite) / max(1.0 - ferrite, 0.02) - carbon)

    def transformed(y):
        return (
            np.interp(y * s_rows, np.arange(len(s_table)), s_table, right=1.0) if y * s_rows < len(s_table) - 1 else 1.0
        )

    x, sums, martensite, y = np.zeros(3), np.zeros(3), 0.0, np.zeros(3)
    history = np.zeros((4, len(time)))
    for n in range(len(time)):
        if n > 0:
            rise = temperature[n] - temperature[n - 1]
            parts = max(1, int(np.ceil(abs(rise) / largest_change)))
            ends = temperature[n - 1] + rise * np.arange(parts + 1) / parts
            dt = (time[n] - time[n - 1]) / parts
        else:
            ends, dt = np.array([temperature[0]] * 2), 0.0
        for a, b in zip(ends[:-1], ends[1:], strict=True):
            if min(a, b) < top and x.sum() + martensite < 0.999999999 and n > 0:
                y += [0.5 * dt * (k[j](a) + k[j](b)) for j in range(3)]
                old = x.copy()
                for j in range(3):
                    share = k[3](b) if j == 0 else 1.0 - x[:j].sum()
                    free = 1.0 - x.sum() - martensite
                    x[j] += np.clip(transformed(y[j]) * share - x[j], 0.0, max(free, 0.0))
                sums += (x - old) * 0.5 * (a + b)
            below = start_of_martensite(x[0]) - b
            if below > 0.0:
                martensite = max(martensite, (1.0 - x.sum()) * -np.expm1(-alpha * below))
        history[:, n] = [*x, martensite]
    return history, sums
