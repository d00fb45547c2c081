"""Three conduction problems and their reference solutions, by a method that shares no code with heatq.

Properties: carbon steel by EN 1993-1-2:2005, 3.4.1 (7850 kg/m3), written out here once more.

* P1: end-quench bar 25.4 x 101.6 mm from 860 degC; end face h = 15 kW/m2K to 24 degC; side and top 10 W/m2K plus
  radiation with emissivity 0.8 to 24 degC; 0 to 600 s; probes on the cylindrical surface at 1/16, 1/8, 1/4, 1/2, 1 and 2 in
  from the end, 200 times spaced logarithmically from 0.1 s.
* P1L: the same with 80 kJ/kg released evenly between 700 and 650 degC.
* P2: round bar 76.2 x 609.6 mm from 845 degC; h = 500 W/m2K to 40 degC all over; 0 to 3600 s; probes at the centre and at 3/4
  radius of the middle, 200 times spaced logarithmically from 1 s. Half of the bar is modelled here, with a plane of symmetry.

Method: spectral elements. The unknown is the volumetric enthalpy at the Gauss-Lobatto-Legendre points of elements of
degree 4 in z and in s = r^2 (the axis is an ordinary end there: the volume element is pi ds dz, and div k grad is
4 d/ds(s k d/ds)). The conductivity enters through the Kirchhoff potential, the integral of k, so the stiffness matrix is
constant and the mass matrix diagonal. In time: `scipy.integrate.solve_ivp`, BDF, exact sparse Jacobian. Probes are nodes.

The stored histories (references/*.csv) carry in their heads how they were made and how far they are from the next
coarser grid and the next coarser tolerance. ``python benchmarks/reference.py`` makes them again (minutes; P1L hours).
"""

from __future__ import annotations

import dataclasses
import pathlib
import sys
import time

import numpy as np
import numpy.typing as npt
from scipy import constants, integrate, sparse

Array = npt.NDArray[np.float64]

DENSITY = 7850.0
#: J/kg, and the temperatures between which it is released.
LATENT_HEAT, SOLID, FULL = 80e3, 650.0, 700.0
FOLDER = pathlib.Path(__file__).parent / "references"
DEGREE = 4


# ------------------------------------------------------------------------------------------------------ properties


def specific_heat(t: Array, latent: bool = False) -> Array:
    """J/kgK."""
    with np.errstate(divide="ignore"):
        plain = np.select(
            [t < 600.0, t < 735.0, t < 900.0],
            [
                425.0 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3,
                666.0 + 13002.0 / (738.0 - t),
                545.0 + 17820.0 / (t - 731.0),
            ],
            650.0,
        )
    return plain + np.where((t >= SOLID) & (t < FULL), LATENT_HEAT / (FULL - SOLID), 0.0) if latent else plain


def enthalpy(t: Array, latent: bool = False) -> Array:
    """Volumetric enthalpy (J/m3) above 0 degC: the specific heat integrated by hand."""

    def low(x):
        return 425.0 * x + 0.773 / 2 * x**2 - 1.69e-3 / 3 * x**3 + 2.22e-6 / 4 * x**4

    at_600 = low(600.0)
    at_735 = at_600 + 666.0 * 135.0 + 13002.0 * np.log(138.0 / 3.0)
    at_900 = at_735 + 545.0 * 165.0 + 17820.0 * np.log(169.0 / 4.0)
    middle = at_600 + 666.0 * (t - 600.0) + 13002.0 * np.log(138.0 / np.maximum(738.0 - t, 1e-9))
    high = at_735 + 545.0 * (t - 735.0) + 17820.0 * np.log(np.maximum(t - 731.0, 1e-9) / 4.0)
    h = np.select([t < 600.0, t < 735.0, t < 900.0], [low(t), middle, high], at_900 + 650.0 * (t - 900.0))
    if latent:
        h = h + LATENT_HEAT * np.clip((t - SOLID) / (FULL - SOLID), 0.0, 1.0)
    return DENSITY * h


def conductivity(t: Array) -> Array:
    """W/mK."""
    return np.where(t < 800.0, 54.0 - 3.33e-2 * t, 27.3)


def potential(t: Array) -> Array:
    """Kirchhoff potential, W/m."""
    return np.where(
        t < 800.0, 54.0 * t - 3.33e-2 / 2 * t**2, 54.0 * 800.0 - 3.33e-2 / 2 * 800.0**2 + 27.3 * (t - 800.0)
    )


_NODES = np.unique(np.concatenate([np.linspace(-50.0, 1000.0, 21001), np.linspace(730.0, 740.0, 10001)]))
_ENTHALPY = {latent: enthalpy(_NODES, latent) for latent in (False, True)}


def temperature(h: Array, latent: bool = False) -> Array:
    """Temperature of an enthalpy: look-up, then two Newton steps to round-off (convex or concave by piece)."""
    t = np.interp(h, _ENTHALPY[latent], _NODES)
    for _ in range(2):
        t = t + (h - enthalpy(t, latent)) / (DENSITY * specific_heat(t, latent))
    return t


# -------------------------------------------------------------------------------------------------------- problems


@dataclasses.dataclass(frozen=True)
class Face:
    """Convection and radiation to surroundings at one temperature."""

    coefficient: float = 0.0
    fluid: float = 24.0
    emissivity: float = 0.0

    def flux(self, t: Array) -> tuple[Array, Array]:
        """Flux out of the piece (W/m2) and its slope."""
        k, surroundings = t + constants.zero_Celsius, self.fluid + constants.zero_Celsius
        sigma = self.emissivity * constants.Stefan_Boltzmann
        return self.coefficient * (t - self.fluid) + sigma * (k**4 - surroundings**4), (
            self.coefficient + 4 * sigma * k**3
        )


@dataclasses.dataclass(frozen=True)
class Problem:
    """A round bar, or the half of one; ``probes`` are (r, z) in m."""

    name: str
    radius: float
    length: float
    start: float
    times: Array = dataclasses.field(repr=False)
    probes: Array = dataclasses.field(repr=False)
    bottom: Face
    side: Face
    top: Face
    latent: bool = False

    @property
    def end_time(self) -> float:
        """s."""
        return float(self.times[-1])


_BAR, _AIR = 0.0127, Face(10.0, 24.0, 0.8)
_P1_PROBES = np.array([(_BAR, constants.inch * x) for x in (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0)])
_P1_TIMES = np.geomspace(0.1, 600.0, 200)
_ROUND, _HALF, _OIL = 0.0381, 0.3048, Face(500.0, 40.0)
PROBLEMS = {
    "P1": Problem("P1", _BAR, 0.1016, 860.0, _P1_TIMES, _P1_PROBES, Face(15e3), _AIR, _AIR),
    "P1L": Problem("P1L", _BAR, 0.1016, 860.0, _P1_TIMES, _P1_PROBES, Face(15e3), _AIR, _AIR, latent=True),
    "P2": Problem(
        "P2", _ROUND, _HALF, 845.0, np.geomspace(1.0, 3600.0, 200), np.array([(0.0, _HALF), (0.75 * _ROUND, _HALF)]),
        _OIL, _OIL, Face(),
    ),
}  # fmt: skip


def graded(cells: int, ratio: float) -> Array:
    """Points 0 to 1, the last cell ``ratio`` times the first."""
    width = np.geomspace(1.0, ratio, cells)
    return np.concatenate([[0.0], np.cumsum(width) / width.sum()])


# ------------------------------------------------------------------------------------------------ spectral elements


def gauss_lobatto(degree: int) -> tuple[Array, Array, Array]:
    """Points on [-1, 1], weights, and the matrix of derivatives at the points."""
    legendre = np.polynomial.legendre.Legendre.basis(degree)
    x = np.concatenate([[-1.0], np.sort(legendre.deriv().roots().real), [1.0]])
    weights = 2.0 / (degree * (degree + 1) * legendre(x) ** 2)
    slope = np.empty((degree + 1, degree + 1))
    for j in range(degree + 1):
        basis = np.polynomial.Polynomial.fromroots(np.delete(x, j))
        slope[:, j] = basis.deriv()(x) / basis(x[j])
    return x, weights, slope


def line(edges: Array, weight) -> tuple[Array, Array, sparse.csr_matrix]:
    """Nodes, diagonal mass, and stiffness of the integral of weight(x) u' v' over a line of elements."""
    x, w, slope = gauss_lobatto(DEGREE)
    count = DEGREE * (len(edges) - 1) + 1
    nodes, mass = np.empty(count), np.zeros(count)
    stiffness = sparse.lil_matrix((count, count))
    for e, (a, b) in enumerate(zip(edges[:-1], edges[1:], strict=True)):
        here = slice(DEGREE * e, DEGREE * (e + 1) + 1)
        nodes[here] = 0.5 * (a + b) + 0.5 * (b - a) * x
        mass[here] += 0.5 * (b - a) * w
        stiffness[here, here] += slope.T @ np.diag(w * weight(nodes[here])) @ slope * (2.0 / (b - a))
    return nodes, mass, stiffness.tocsr()


def snapped(edges: Array, points: Array) -> Array:
    """Edges with the nearest one moved to each point."""
    out = edges.copy()
    for p in points:
        out[np.argmin(np.abs(edges - p))] = p
    return out


class Spectral:
    """A problem on a mesh of ``across`` x ``along`` elements; nodes ordered with the radius fastest."""

    def __init__(self, problem: Problem, across: int, along: int) -> None:
        self.problem = p = problem
        r = p.radius * (1.0 - graded(across, 6.0)[::-1])
        z = p.length * graded(along, 60.0 if p.name != "P2" else 30.0)
        inside = p.probes[(p.probes[:, 0] > 0) & (p.probes[:, 0] < p.radius), 0]
        s, mass_s, stiff_s = line(snapped(r, inside) ** 2, lambda s: 4.0 * np.pi * s)
        self.z, mass_z, stiff_z = line(snapped(z, p.probes[:, 1]), np.ones_like)
        self.r, ring = np.sqrt(s), np.pi * mass_s
        self.volume = np.kron(mass_z, ring)
        self.exchange = -sparse.kron(sparse.diags(mass_z), stiff_s) - sparse.kron(stiff_z, sparse.diags(ring))
        self.exchange = self.exchange.tocsr()
        index = np.arange(self.volume.size).reshape(len(self.z), len(s))
        self.faces = (
            (index[0], ring, p.bottom),
            (index[-1], ring, p.top),
            (index[:, -1], 2 * np.pi * p.radius * mass_z, p.side),
        )
        self.probes = [index[np.abs(self.z - b).argmin(), np.abs(self.r - a).argmin()] for a, b in p.probes]

    def rate(self, _time: float, h: Array) -> Array:
        """Rate of change of enthalpy."""
        t = temperature(h, self.problem.latent)
        out = self.exchange @ potential(t)
        for nodes, area, face in self.faces:
            out[nodes] -= area * face.flux(t[nodes])[0]
        return out / self.volume

    def jacobian(self, _time: float, h: Array) -> sparse.csc_matrix:
        """Exact Jacobian of `rate`."""
        t = temperature(h, self.problem.latent)
        loss = np.zeros_like(h)
        for nodes, area, face in self.faces:
            loss[nodes] += area * face.flux(t[nodes])[1]
        inside = self.exchange @ sparse.diags(conductivity(t)) - sparse.diags(loss)
        capacity = DENSITY * specific_heat(t, self.problem.latent)
        return sparse.csc_matrix(sparse.diags(1.0 / self.volume) @ inside @ sparse.diags(1.0 / capacity))

    def solve(self, tolerance: float, method: str = "BDF") -> Array:
        """Temperatures (times, probes)."""
        p = self.problem
        start = np.full(self.volume.size, float(enthalpy(np.array(p.start), p.latent)))
        found = integrate.solve_ivp(
            self.rate, (0.0, p.end_time), start, method=method, t_eval=p.times, jac=self.jacobian,
            rtol=tolerance, atol=tolerance * DENSITY * 650.0 * 100.0,
        )  # fmt: skip
        if not found.success:
            raise RuntimeError(found.message)
        return temperature(found.y[self.probes].T, p.latent)


#: Elements across and along of the reference and of the grid it is held against; tolerance likewise.
MESHES = {"P1": ((3, 256), (2, 180)), "P1L": ((2, 512), (2, 360)), "P2": ((40, 8), (28, 6))}
TOLERANCES = {"P1": (1e-6, 4e-6), "P1L": (1e-6, 4e-6), "P2": (1e-6, 4e-6)}


def make(name: str) -> None:
    """Solve and store one reference, with how far it is from coarser ones."""
    problem, (fine, coarse), (tight, loose) = PROBLEMS[name], MESHES[name], TOLERANCES[name]
    begin = time.perf_counter()
    found = Spectral(problem, *fine).solve(tight)
    space = np.abs(Spectral(problem, *coarse).solve(tight) - found).max()
    in_time = np.abs(Spectral(problem, *fine).solve(loose) - found).max()
    note = (
        f"{name}: spectral elements of degree {DEGREE}, {fine[0]} across x {fine[1]} along, scipy BDF rtol {tight:g}; "
        f"{time.perf_counter() - begin:.0f} s\n"
        f"largest difference to {coarse[0]} x {coarse[1]} elements: {space:.4f} K\n"
        f"largest difference to rtol {loose:g}: {in_time:.4f} K\n"
        "time s, then degC at the probes (r, z) mm: "
        + ", ".join(f"({1e3 * r:g}, {1e3 * z:g})" for r, z in problem.probes)
    )
    print(note, flush=True)
    FOLDER.mkdir(exist_ok=True)
    np.savetxt(FOLDER / f"{name}.csv", np.column_stack([problem.times, found]), "%.5f", ",", header=note)


def load(name: str) -> tuple[Array, float]:
    """Reference temperatures (times, probes), and the larger of their two distances from coarser solutions, K."""
    file = FOLDER / f"{name}.csv"
    head = [text for text in file.read_text().splitlines()[:5] if "largest difference" in text]
    return np.loadtxt(file, delimiter=",")[:, 1:], max(float(text.split(":")[1].split()[0]) for text in head)


if __name__ == "__main__":
    for problem_name in sys.argv[1:] or PROBLEMS:
        make(problem_name)
