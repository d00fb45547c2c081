"""Finite volumes of the three problems in numpy, as a careful user of SciPy would write them.

Graded grid, cells ordered with the short axis (radius) fastest so that the Jacobian is a narrow band, conductivity through
the Kirchhoff potential, surface temperatures from a Newton iteration, properties from uniform tables (one multiplication
and one gather), exact Jacobian in band or sparse form. The unknown is the enthalpy divided by a constant, in K, or the
temperature.
"""

from __future__ import annotations

import numpy as np
import reference
from reference import DENSITY, Array, Problem
from scipy import constants, sparse

#: J/m3K; makes the enthalpy a number of kelvins, so that one absolute tolerance serves both forms.
SCALE = DENSITY * 650.0


class Table:
    """Columns over a uniform grid; linear between its points."""

    def __init__(self, low: float, high: float, columns: Array) -> None:
        self.low, self.per_step = low, (columns.shape[1] - 1) / (high - low)
        self.last, self.columns, self.rises = columns.shape[1] - 2, columns, np.diff(columns, axis=1)

    def __call__(self, x: Array) -> Array:
        """Return all columns at ``x``."""
        place = (x - self.low) * self.per_step
        row = np.clip(place.astype(np.int64), 0, self.last)
        return self.columns[:, row] + self.rises[:, row] * (place - row)


class Volumes:
    """A problem on ``nr`` x ``nz`` cells; ``form`` is "enthalpy" or "temperature"."""

    def __init__(
        self, problem: Problem, nr: int, nz: int, across: float = 3.0, along: float = 60.0, form: str = "enthalpy"
    ) -> None:
        self.problem, self.nr, self.nz, self.form = problem, nr, nz, form
        r = problem.radius * (1.0 - reference.graded(nr, across)[::-1])
        z = problem.length * reference.graded(nz, along)
        self.r, self.z = 0.5 * (r[1:] + r[:-1]), 0.5 * (z[1:] + z[:-1])
        dr, dz = np.diff(r), np.diff(z)
        ring = np.pi * (r[1:] ** 2 - r[:-1] ** 2)
        self.volume = np.outer(dz, ring).ravel()
        # conductances to the next cell in r and in z, zero where there is none
        across_ = np.zeros((nz, nr))
        across_[:, :-1] = np.outer(dz, 2 * np.pi * r[1:-1] / np.diff(self.r))
        along_ = np.zeros((nz, nr))
        along_[:-1] = np.outer(1.0 / np.diff(self.z), ring)
        in_r, in_z = across_.ravel(), along_.ravel()
        diagonal = -in_r - in_z
        diagonal[1:] -= in_r[:-1]
        diagonal[nr:] -= in_z[:-nr]
        self.bands = (in_z[:-nr], in_r[:-1], diagonal, in_r[:-1], in_z[:-nr])
        self.offsets = (-nr, -1, 0, 1, nr)
        self.exchange = sparse.diags(self.bands, self.offsets, format="csr")
        self._faces(dr, dz, ring)
        self._tables()
        self._sampler()

    def _faces(self, dr: Array, dz: Array, ring: Array) -> None:
        """All boundary faces in one row: cell, area, distance, coefficient, fluid, emissivity x sigma."""
        p, index = self.problem, np.arange(self.volume.size).reshape(self.nz, self.nr)
        sides = (
            (p.side, index[:, -1], 2 * np.pi * p.radius * dz, dr[-1] / 2),
            (p.bottom, index[0], ring, dz[0] / 2),
            (p.top, index[-1], ring, dz[-1] / 2),
        )
        live = [side for side in sides if side[0].coefficient > 0]
        self.cells = np.concatenate([cells for _, cells, _, _ in live])

        def spread(pick) -> Array:
            return np.concatenate([np.broadcast_to(pick(side), side[1].shape) for side in live]).astype(float)

        self.area, self.distance = spread(lambda s: s[2]), spread(lambda s: s[3])
        self.h, self.fluid = spread(lambda s: s[0].coefficient), spread(lambda s: s[0].fluid)
        self.sigma = spread(lambda s: s[0].emissivity * constants.Stefan_Boltzmann)
        self.sink = (self.fluid + constants.zero_Celsius) ** 4

    def _tables(self, count: int = 20001) -> None:
        """T, potential, and for the Jacobian d potential/d unknown, heat capacity, d capacity/d unknown."""
        latent = self.problem.latent
        if self.form == "enthalpy":
            low, high = (float(reference.enthalpy(np.array(t), latent)) / SCALE for t in (0.0, 900.0))
            t = reference.temperature(np.linspace(low, high, count) * SCALE, latent)
            capacity = DENSITY * reference.specific_heat(t, latent) / SCALE
            slope = reference.conductivity(t) / capacity
        else:
            low, high = 0.0, 900.0
            t = np.linspace(low, high, count)
            capacity = np.gradient(reference.enthalpy(t, latent), t) / SCALE
            slope = reference.conductivity(t)
        self.state = Table(low, high, np.array([t, reference.potential(t), capacity]))
        self.slopes = Table(low, high, np.array([t, slope, capacity, np.gradient(capacity, t)]))
        start = self.problem.start
        first = start if self.form == "temperature" else float(reference.enthalpy(np.array(start), latent)) / SCALE
        self.first = np.full(self.volume.size, first)
        self.inverse = 1.0 / (SCALE * self.volume)

    def _surface(self, t: Array, potential: Array) -> tuple[Array, Array, Array]:
        """Flux, its slope and the conductivity at the faces: potential - potential(face) = flux distance."""
        face = t.copy()
        for _ in range(4):
            kelvin = face + constants.zero_Celsius
            cube = self.sigma * kelvin**3
            flux = self.h * (face - self.fluid) + cube * kelvin - self.sigma * self.sink
            slope, k = self.h + 4.0 * cube, np.where(face < 800.0, 54.0 - 3.33e-2 * face, 27.3)
            inside = np.where(
                face < 800.0,
                (54.0 - 1.665e-2 * face) * face,
                54.0 * 800.0 - 1.665e-2 * 640000.0 + 27.3 * (face - 800.0),
            )
            step = (potential - inside - flux * self.distance) / (k + slope * self.distance)
            face = face + step
            if np.abs(step).max() < 1e-6:
                break
        self.face = face
        return flux + slope * step, slope, k

    def rate(self, _time: float, u: Array) -> Array:
        """Rate of change of the unknown."""
        t, potential, capacity = self.state(u)
        out = self.exchange @ potential
        flux, _, _ = self._surface(t[self.cells], potential[self.cells])
        out -= np.bincount(self.cells, self.area * flux, out.size)
        out *= self.inverse
        return out if self.form == "enthalpy" else out / capacity

    def _parts(self, u: Array) -> tuple[Array, Array]:
        """Factor of every column (d potential/d unknown) and what the diagonal gets besides."""
        t, slope, capacity, bend = self.slopes(u)
        potential = self.state(u)[1]
        flux, loss, k = self._surface(t[self.cells], potential[self.cells])
        loss = np.bincount(self.cells, self.area * loss / (k + loss * self.distance), u.size)
        extra = -loss * slope
        if self.form == "temperature":
            gain = (self.exchange @ potential - np.bincount(self.cells, self.area * flux, u.size)) * bend
            extra = extra - gain / capacity
        return slope, extra

    def banded(self, _time: float, u: Array) -> Array:
        """Exact Jacobian in LAPACK band storage, bandwidth nr (rows i - j + nr)."""
        slope, extra = self._parts(u)
        row = self.inverse if self.form == "enthalpy" else self.inverse / self.state(u)[2]
        out = np.zeros((2 * self.nr + 1, u.size))
        for offset, band in zip(self.offsets, self.bands, strict=True):
            if offset > 0:
                out[self.nr - offset, offset:] = row[:-offset] * band * slope[offset:]
            elif offset < 0:
                out[self.nr - offset, :offset] = row[-offset:] * band * slope[:offset]
            else:
                out[self.nr] += row * (band * slope + extra)
        return out

    def jacobian(self, time: float, u: Array) -> sparse.csc_matrix:
        """Exact Jacobian, sparse."""
        band = self.banded(time, u)
        rows = [band[self.nr - offset] for offset in self.offsets]
        return sparse.dia_matrix((rows, self.offsets), shape=(u.size, u.size)).tocsc()

    def _sampler(self) -> None:
        """Cubic Lagrange weights at the probes: along the side surface, or along the plane of symmetry at the top."""
        p = self.problem
        self.on_side = bool(np.all(p.probes[:, 0] == p.radius))
        nodes, points = (self.z, p.probes[:, 1]) if self.on_side else (self.r**2, p.probes[:, 0] ** 2)
        self.weights = np.zeros((len(points), len(nodes)))
        for n, x in enumerate(points):
            first = min(max(int(np.searchsorted(nodes, x)) - 2, 0), len(nodes) - 4)
            for a in range(first, first + 4):
                others = np.delete(nodes[first : first + 4], a - first)
                self.weights[n, a] = np.prod((x - others) / (nodes[a] - others))

    def sample(self, history: Array) -> Array:
        """Temperatures (times, probes) of unknowns (times, cells)."""
        out = np.empty((len(history), len(self.weights)))
        for n, u in enumerate(history):
            t, potential, _ = self.state(u)
            if self.on_side:
                self._surface(t[self.cells], potential[self.cells])
                out[n] = self.weights @ self.face[: self.nz]
            else:
                last, before = t[-self.nr :], t[-2 * self.nr : -self.nr]
                a, b = self.problem.length - self.z[-1], self.problem.length - self.z[-2]
                out[n] = self.weights @ (last + (last - before) * a**2 / (b**2 - a**2))
        return out
