"""Conduction in a solid of revolution whose cells may hold different stuff or nothing; fields advanced with common steps.

The scheme is the two-stage Rosenbrock method ROS2 (Verwer, Spee, Blom and Hundsdorfer 1999, from memory): second order whatever
matrix stands in for the Jacobian, L-stable with gamma = 1 - 1/sqrt 2. Here the matrix is the true one but for the change of
the conductivity with temperature, solved by a sparse factorisation, one for both stages.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.conduction.grid import Grid
from heatq.errors import SolverError
from heatq.transformation.kinetics import TEMPERATURE_GRID as GRID

__all__ = ["GRID", "Field", "march", "points"]

Array = npt.NDArray[np.float64]

GAMMA = 1.0 - 0.5 * 2.0**0.5


def points(length: float, first: float, last: float, growth: float) -> Array:
    """Points 0 .. length with cells of about ``first`` at 0 and ``last`` at the end, growing towards the middle."""
    x = length * (0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, 4001)))
    size = np.minimum(first + growth * x, last + growth * (length - x))
    number = np.concatenate([[0.0], np.cumsum(np.diff(x) * 0.5 * (1.0 / size[1:] + 1.0 / size[:-1]))])
    count = max(int(np.ceil(number[-1] - 1e-6)), 2)
    found = np.interp(np.linspace(0.0, number[-1], count + 1), number, x)
    found[0], found[-1] = 0.0, length
    return found


class Field:
    """Temperatures of one piece on a grid, ``tables[kind]`` (enthalpy J/m3, conductivity W/mK over `GRID`) or None for nothing."""

    def __init__(self, grid: Grid, kind: Any, tables: list[Any], outside: Any, start: float) -> None:
        self.grid, self.outside = grid, outside
        self.parts = [(kind == n, table) for n, table in enumerate(tables) if table is not None and (kind == n).any()]
        self.solid = np.zeros(grid.shape, bool)
        for cells, _ in self.parts:
            self.solid |= cells
        self.volume = grid.volume
        self.temp = np.full(grid.shape, start)
        self.surface = np.full((4, max(grid.shape)), start)
        enthalpy = np.zeros(grid.shape)
        for cells, table in self.parts:
            enthalpy[cells] = np.interp(start, GRID, table[0])
        self.energy = enthalpy * self.volume
        self.energy_start, self.energy_out = self.energy.copy(), 0.0
        dr, dz = np.diff(grid.r_faces), np.diff(grid.z_faces)
        self.half_r, self.half_z = 0.5 * dr[:, None], 0.5 * dz[None, :]
        self.area_r = 2.0 * np.pi * grid.r_faces[1:-1, None] * dz[None, :]
        self.area_z = grid.r_table[3][:, None] * np.ones(max(len(dz) - 1, 0))[None, :]
        self.sides = [n for n in range(4) if (outside.zones[n] >= 0).any()]
        self.lowest = self.highest = start
        self.worst = 0

    def properties(self, energy: Array) -> tuple[Array, Array, Array]:
        """Temperature, heat capacity (J/K) and conductivity of the cells; 1 J/K and no conductivity where nothing is."""
        temp, capacity, k = self.temp.copy(), np.ones_like(energy), np.zeros_like(energy)
        for cells, (enthalpy, conductivity) in self.parts:
            h = energy[cells] / self.volume[cells]
            i = np.clip(np.searchsorted(enthalpy, h) - 1, 0, len(GRID) - 2)
            rise = enthalpy[i + 1] - enthalpy[i]
            w = (h - enthalpy[i]) / rise
            step = GRID[i + 1] - GRID[i]
            temp[cells] = GRID[i] + w * step
            capacity[cells] = self.volume[cells] * rise / step
            k[cells] = conductivity[i] + w * (conductivity[i + 1] - conductivity[i])
        return temp, capacity, k

    def balance(self, time: float, side: int, temp: Array, k: Array, surface: Array) -> tuple[Any, ...]:
        """Heat into every cell (W), conductances in r and z, slopes of the boundary (W/K), heat out of the faces (W)."""
        from heatq import _kernels

        with np.errstate(divide="ignore"):
            resistance_r, resistance_z = self.half_r / k, self.half_z / k
        g_r = self.area_r / (resistance_r[:-1] + resistance_r[1:])
        g_z = self.area_z / (resistance_z[:, :-1] + resistance_z[:, 1:])
        rate = np.zeros_like(temp)
        flow = g_r * (temp[1:] - temp[:-1])
        rate[:-1] += flow
        rate[1:] -= flow
        flow = g_z * (temp[:, 1:] - temp[:, :-1])
        rate[:, :-1] += flow
        rate[:, 1:] -= flow
        lost, bound, slopes = np.zeros_like(temp), np.zeros_like(surface), np.zeros_like(temp)
        o, (nr, nz) = self.outside, temp.shape
        conducting = np.where(self.solid, k, 1.0)
        for face in self.sides:
            _kernels.boundary_balance(
                face, time, side, temp, conducting, surface, self.grid.r_table, self.grid.z_table, o.zones, o.zone_start,
                o.knot_time, o.flux, lost, bound,
            )  # fmt: skip
            if face < 2:
                slopes[:, 0 if face == 0 else nz - 1] += bound[face, :nr]
            else:
                slopes[nr - 1 if face == 2 else 0] += bound[face, :nz]
        lost, slopes = np.where(self.solid, lost, 0.0), np.where(self.solid, slopes, 0.0)
        return rate + lost, g_r, g_z, slopes, -float(lost.sum())

    def try_step(self, time: float, step: float) -> tuple[Any, ...]:
        """New energies, surface temperatures and heat out; largest difference (K) to the first-order solution."""
        from scipy.sparse import diags
        from scipy.sparse.linalg import splu

        surface = self.surface.copy()
        temp, capacity, k = self.properties(self.energy)
        first, g_r, g_z, slopes, out = self.balance(time, 0, temp, k, surface)
        nr, nz = temp.shape
        s = GAMMA * step
        main = capacity + s * slopes
        main[:-1] += s * g_r
        main[1:] += s * g_r
        main[:, :-1] += s * g_z
        main[:, 1:] += s * g_z
        beside = np.zeros_like(temp)
        beside[:, :-1] = -s * g_z
        along = (-s * g_r).ravel()
        near = beside.ravel()[:-1]
        matrix = diags([main.ravel(), near, near, along, along], [0, 1, -1, nz, -nz], format="csc")
        solve = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}, diag_pivot_thresh=0.0).solve
        x1 = solve(first.ravel()).reshape(nr, nz)
        k1 = capacity * x1
        out1 = out + s * float((slopes * x1).sum())
        temp2, _, conductivity2 = self.properties(self.energy + step * k1)
        second, *_, out = self.balance(time + step, 1, temp2, conductivity2, surface)
        right = second - 2.0 * k1
        x2 = solve(right.ravel()).reshape(nr, nz)
        k2 = capacity * x2
        out2 = out - 2.0 * out1 + s * float((slopes * x2).sum())
        moved = np.where(self.solid, np.abs(x1 + x2), 0.0)
        self.worst = int(moved.argmax())  # also of what is not a number
        apart = 0.5 * step * float(moved.flat[self.worst])
        energy = self.energy + step * (1.5 * k1 + 0.5 * k2)
        return energy, surface, step * (1.5 * out1 + 0.5 * out2), apart

    def accept(self, new: tuple[Any, ...]) -> None:
        """Take a step."""
        self.energy, self.surface = new[0], new[1]
        self.energy_out += new[2]
        self.temp = self.properties(self.energy)[0]
        self.lowest = min(self.lowest, float(self.surface.min()))
        self.highest = max(self.highest, float(self.surface.max()))

    def visit_boundaries(self) -> None:
        """Ask the boundaries for the surface temperatures that were met, so that they say which of them they do not cover."""
        for _, boundary in self.outside.boundaries:
            boundary.heat_flux(np.linspace(self.lowest, self.highest, 50))

    def between(self, columns: tuple[int, int]) -> Array:
        """Temperatures of the plane between two neighbouring axial cells, from the flux through it; insulated: of the first."""
        _, _, k = self.properties(self.energy)
        a, b = (k[:, j] / self.half_z[0, j] for j in columns)
        return np.asarray((a * self.temp[:, columns[0]] + b * self.temp[:, columns[1]]) / (a + b))

    def energy_residual(self) -> float:
        """Energy lost by the cells less heat out of the faces, over what moved."""
        lost = float((self.energy_start - self.energy)[self.solid].sum())
        return abs(lost - self.energy_out) / max(
            abs(lost), abs(self.energy_out), 1e-9 * float(self.energy_start.sum()), 1e-300
        )


def march(
    fields: list[Field], end_time: float, tolerance: float, read: Callable[[], Array], stop_below: float | None
) -> tuple[Array, Array]:
    """Advance fields with common steps; times and ``read()`` after each. ``tolerance`` K per step to the first-order solution.

    ``stop_below``: end when the first two values read are below it.
    """
    knot_time = fields[0].outside.knot_time
    knots, jumps = np.unique(knot_time), set(knot_time[1:][np.diff(knot_time) == 0.0].tolist())
    stops = [*knots[(knots > 0.0) & (knots < end_time)].tolist(), end_time]
    smallest = end_time * 1e-14
    fresh = 1e-5 * end_time
    time, step = 0.0, fresh
    times, rows = [0.0], [read()]
    for stop in stops:
        while time < stop - smallest:
            left, now = stop - time, min(step, end_time / 50.0)
            if now > 0.5 * left:  # to the knot in one step or two
                now = 0.5 * left if now < left * (1 - 1e-9) else left
            tried = [field.try_step(time, now) for field in fields]
            apart = max(new[3] for new in tried)
            if not apart <= tolerance:  # also where it is not a number
                step = now * (max(0.2, 0.9 * (tolerance / apart) ** 0.5) if np.isfinite(apart) else 0.2)
                if step < smallest:
                    worst = int(np.argmax([new[3] for new in tried]))
                    raise SolverError(_failure(fields[worst], time, now))
                continue
            for field, new in zip(fields, tried, strict=True):
                field.accept(new)
            time = stop if now == left else time + now
            step = now * min(2.0, 0.9 * (tolerance / max(apart, 1e-12)) ** 0.5)
            times.append(time)
            rows.append(read())
            if stop_below is not None and (rows[-1][:2] < stop_below).all():
                return np.array(times), np.array(rows)
        if stop in jumps:
            step = max(fresh, 1e-3 * step)
    return np.array(times), np.array(rows)


def _failure(field: Field, time: float, step: float) -> str:
    """What went wrong, where and when, and two things to try."""
    i, j = np.unravel_index(field.worst, field.temp.shape)
    return (
        f"the time step became too small at t = {time:.6g} s (step {step:.3g} s) near r = {field.grid.r[i]:.4g} m, "
        f"z = {field.grid.z[j]:.4g} m, where the temperature is {field.temp[i, j]:.6g} degC; try a larger accuracy (K), or look "
        "at the boundary's heat_flux for jumps."
    )
