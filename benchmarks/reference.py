"""An independent solution of the end-quench conduction problem: own properties, own finite volumes, SciPy's integrator.

Shares no code with heatq. Unknown: volumetric enthalpy of every cell. The conductivity enters through the Kirchhoff
potential, the integral of k, so that the flux between two cells is exact for k(T); a face temperature comes from a
Newton iteration. Used as reference (fine) and as competitor (`scipy.integrate.solve_ivp`, BDF, analytic sparse
Jacobian).

Problem: end-quench bar 25.4 x 101.6 mm of carbon steel by EN 1993-1-2:2005, 3.4.1 (7850 kg/m3), from 860 degC; end face
h = 15 kW/m2K to 24 degC; side and top 10 W/m2K plus radiation with emissivity 0.8 to 24 degC; 0 to 600 s; probes on the
cylindrical surface at 1/16, 1/8, 1/4, 1/2, 1 and 2 in from the end, 200 times spaced logarithmically from 0.1 s.
"""

from __future__ import annotations

import dataclasses
import pathlib
import time

import numpy as np
import numpy.typing as npt
from scipy import constants, integrate, interpolate, sparse

Array = npt.NDArray[np.float64]

RADIUS, LENGTH = 0.0127, 0.1016
START, FLUID = 860.0, 24.0
END_COEFFICIENT, SIDE_COEFFICIENT, EMISSIVITY = 15e3, 10.0, 0.8
DENSITY = 7850.0
PROBES = constants.inch * np.array([1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0])
TIMES = np.geomspace(0.1, 600.0, 200)
OUT = pathlib.Path(__file__).parent / "out"


def specific_heat(t: Array) -> Array:
    """J/kgK."""
    with np.errstate(divide="ignore"):
        return np.select(
            [t < 600.0, t < 735.0, t < 900.0],
            [
                425.0 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3,
                666.0 + 13002.0 / (738.0 - t),
                545.0 + 17820.0 / (t - 731.0),
            ],
            650.0,
        )


def enthalpy(t: Array) -> Array:
    """Volumetric enthalpy (J/m3) above 0 degC: the specific heat integrated by hand."""

    def low(x):
        return 425.0 * x + 0.773 / 2 * x**2 - 1.69e-3 / 3 * x**3 + 2.22e-6 / 4 * x**4

    at_600 = low(600.0)
    at_735 = at_600 + 666.0 * 135.0 + 13002.0 * np.log(138.0 / 3.0)
    at_900 = at_735 + 545.0 * 165.0 + 17820.0 * np.log(169.0 / 4.0)
    middle = at_600 + 666.0 * (t - 600.0) + 13002.0 * np.log(138.0 / np.maximum(738.0 - t, 1e-9))
    high = at_735 + 545.0 * (t - 735.0) + 17820.0 * np.log(np.maximum(t - 731.0, 1e-9) / 4.0)
    return DENSITY * np.select([t < 600.0, t < 735.0, t < 900.0], [low(t), middle, high], at_900 + 650.0 * (t - 900.0))


def conductivity(t: Array) -> Array:
    """W/mK."""
    return np.where(t < 800.0, 54.0 - 3.33e-2 * t, 27.3)


def potential(t: Array) -> Array:
    """Kirchhoff potential, W/m."""
    return np.where(
        t < 800.0, 54.0 * t - 3.33e-2 / 2 * t**2, 54.0 * 800.0 - 3.33e-2 / 2 * 800.0**2 + 27.3 * (t - 800.0)
    )


_NODES = np.unique(np.concatenate([np.linspace(-50.0, 1000.0, 21001), np.linspace(730.0, 740.0, 10001)]))
_ENTHALPY = enthalpy(_NODES)


def temperature(h: Array) -> Array:
    """Temperature of an enthalpy: look-up, then two Newton steps to round-off (the curve is convex or concave by piece)."""
    t = np.interp(h, _ENTHALPY, _NODES)
    for _ in range(2):
        t = t + (h - enthalpy(t)) / (DENSITY * specific_heat(t))
    return t


def side_flux(t: Array) -> tuple[Array, Array]:
    """Flux and its slope at the side and the top."""
    k = t + constants.zero_Celsius
    surroundings = FLUID + constants.zero_Celsius
    sigma = EMISSIVITY * constants.Stefan_Boltzmann
    return SIDE_COEFFICIENT * (t - FLUID) + sigma * (k**4 - surroundings**4), SIDE_COEFFICIENT + 4 * sigma * k**3


def end_flux(t: Array) -> tuple[Array, Array]:
    """Flux and its slope at the quenched end."""
    return END_COEFFICIENT * (t - FLUID), np.full_like(t, END_COEFFICIENT)


def face(cell: Array, distance: float, flux) -> tuple[Array, Array, Array]:
    """Face temperature, flux and d flux/d cell: potential(cell) - potential(face) = flux(face) distance."""
    t = cell.copy()
    inside = potential(cell)
    for _ in range(30):
        q, slope = flux(t)
        k = conductivity(t)
        step = (inside - potential(t) - q * distance) / (k + slope * distance)
        t = t + step
        if np.abs(step).max() < 1e-10:
            break
    q, slope = flux(t)
    return t, q, slope * conductivity(cell) / (conductivity(t) + slope * distance)


def graded(cells: int, ratio: float) -> Array:
    """Points 0 to 1, the last cell ``ratio`` times the first."""
    width = np.geomspace(1.0, ratio, cells)
    return np.concatenate([[0.0], np.cumsum(width) / width.sum()])


@dataclasses.dataclass
class Bar:
    """Finite volumes of the bar; cells ordered with the radius fastest."""

    nr: int
    nz: int
    grading: float = 3.0

    def __post_init__(self) -> None:
        r = RADIUS * (1.0 - graded(self.nr, self.grading)[::-1])
        z = LENGTH * graded(self.nz, 60.0)
        self.r, self.z = 0.5 * (r[1:] + r[:-1]), 0.5 * (z[1:] + z[:-1])
        dr, dz = np.diff(r), np.diff(z)
        self.ring = np.pi * (r[1:] ** 2 - r[:-1] ** 2)
        self.volume = np.outer(dz, self.ring)
        self.side_area = 2 * np.pi * RADIUS * dz
        self.distance = {"end": dz[0] / 2, "top": dz[-1] / 2, "side": dr[-1] / 2}
        across = 2 * np.pi * r[1:-1] / np.diff(self.r)
        along = 1.0 / np.diff(self.z)
        index = np.arange(self.nr * self.nz).reshape(self.nz, self.nr)
        g = np.concatenate([np.outer(dz, across).ravel(), np.outer(along, self.ring).ravel()])
        a = np.concatenate([index[:, :-1].ravel(), index[:-1].ravel()])
        b = np.concatenate([index[:, 1:].ravel(), index[1:].ravel()])
        n = index.size
        rows, columns = np.concatenate([a, b, a, b]), np.concatenate([b, a, a, b])
        self.exchange = sparse.csr_matrix((np.concatenate([g, g, -g, -g]), (rows, columns)), shape=(n, n))
        self.index = index

    def faces(self, t: Array):
        """Boundary faces: cells, areas, and what `face` gives for them."""
        for name, cells, area, flux in (
            ("end", self.index[0], self.ring, end_flux),
            ("top", self.index[-1], self.ring, side_flux),
            ("side", self.index[:, -1], self.side_area, side_flux),
        ):
            yield cells, area, face(t[cells], self.distance[name], flux)

    def rate(self, _time: float, h: Array) -> Array:
        """Rate of change of enthalpy."""
        t = temperature(h)
        out = self.exchange @ potential(t)
        for cells, area, (_, q, _) in self.faces(t):
            np.subtract.at(out, cells, area * q)
        return out / self.volume.ravel()

    def jacobian(self, _time: float, h: Array) -> sparse.csc_matrix:
        """Exact Jacobian of `rate`."""
        t = temperature(h)
        capacity = DENSITY * specific_heat(t)
        inside = self.exchange @ sparse.diags(conductivity(t) / capacity)
        loss = np.zeros_like(h)
        for cells, area, (_, _, slope) in self.faces(t):
            np.add.at(loss, cells, area * slope / capacity[cells])
        return sparse.csc_matrix(sparse.diags(1.0 / self.volume.ravel()) @ (inside - sparse.diags(loss)))

    def solve(self, tolerance: float, method: str = "BDF") -> tuple[Array, float, int]:
        """Temperatures (times, probes), seconds, and steps."""
        begin = time.perf_counter()
        h0 = np.full(self.index.size, float(enthalpy(np.array(START))))
        capacity = DENSITY * 650.0
        found = integrate.solve_ivp(
            self.rate, (0.0, TIMES[-1]), h0, method=method, t_eval=TIMES, jac=self.jacobian,
            rtol=tolerance, atol=tolerance * capacity * 100.0,
        )  # fmt: skip
        if not found.success:
            raise RuntimeError(found.message)
        out = np.empty((TIMES.size, PROBES.size))
        for n, h in enumerate(found.y.T):
            t = temperature(h)
            side = face(t[self.index[:, -1]], self.distance["side"], side_flux)[0]
            out[n] = interpolate.CubicSpline(self.z, side)(PROBES)
        return out, time.perf_counter() - begin, found.nfev


def reference() -> tuple[Array, float]:
    """Reference temperatures and their difference (K) to those of a grid 1.4 times coarser; cached in out/.

    No extrapolation: the peak of the specific heat moves through the cells, so that the error does not fall smoothly. In
    time both are converged to 0.01 K (checked against tolerances of 1e-8, and with Radau).
    """
    file = OUT / "reference_p1.npz"
    if not file.exists():
        OUT.mkdir(exist_ok=True)
        print("making the reference solution (some minutes, once) ...", flush=True)
        coarse = Bar(14, 380, 10.0).solve(1e-6)[0]
        fine = Bar(20, 540, 10.0).solve(1e-6)[0]
        np.savez(file, temperature=fine, change=np.abs(fine - coarse).max())
    with np.load(file) as data:
        return data["temperature"], float(data["change"])
