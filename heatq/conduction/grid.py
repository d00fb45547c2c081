"""The graded (r, z) grid and the interpolation from its cells to probes."""

from __future__ import annotations

import bisect
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.specimens import EndQuenchBar, Probe

__all__ = ["Demand", "Grid", "make_grid", "node_weights", "probe_weights"]

Array = npt.NDArray[np.float64]

#: Constants of the grid choice, measured on bars of Biot number 0.02 to 40 and on end-quench bars (see the page on time
#: stepping and error). The relative growth of neighbouring cells is sqrt(accuracy / (GROWTH * temperature span)); the first
#: cell at a quenched face is FIRST_CELL times what changes by the accuracy under the face's heat flux, or a share of the
#: distance to the nearest probe if that is larger.
GROWTH = {"plain": 0.5, "transforming": 1.0}
FIRST_CELL = 4.0
PROBE_SHARE = 0.7
FEWEST, MOST = 6, 600
#: No first cell at an end is thicker than this share of the radius, however far the probes are. Own choice: the heat through
#: the ends of three bars (4140; h = 500 W/m2K, gas, oil) stays within 0.5 % of that on the whole grid.
END_SHARE = 0.15
#: No first cell is thinner than this share of the length, however large the flux (a surface held at a temperature).
THINNEST = 1e-4


@dataclass(frozen=True)
class Demand:
    """What one side of the section asks of the grid.

    ``flux``: largest heat flux it will see, W/m2; ``span``: temperature from the start to where its flux ends, K; ``nearest``:
    distance of the nearest probe, m; ``least``: smallest coefficient it will have over that span, W/m2K.
    """

    flux: float = 0.0
    span: float = 0.0
    nearest: float = 0.0
    least: float = 0.0


@dataclass(frozen=True)
class Grid:
    """Cell faces in r and z (m)."""

    r_faces: Array
    z_faces: Array

    @property
    def shape(self) -> tuple[int, int]:
        """Cells (radial, axial)."""
        return len(self.r_faces) - 1, len(self.z_faces) - 1

    @property
    def r(self) -> Array:
        """Cell centres in r, m."""
        return 0.5 * (self.r_faces[1:] + self.r_faces[:-1])

    @property
    def z(self) -> Array:
        """Cell centres in z, m."""
        return 0.5 * (self.z_faces[1:] + self.z_faces[:-1])

    @property
    def r_table(self) -> Array:
        """Rows for the kernel: centre, inner face, outer face, ring area."""
        inner, outer = self.r_faces[:-1], self.r_faces[1:]
        return np.array([self.r, inner, outer, np.pi * (outer**2 - inner**2)])

    @property
    def z_table(self) -> Array:
        """Rows for the kernel: half width, width."""
        width = np.diff(self.z_faces)
        return np.array([0.5 * width, width])

    @property
    def volume(self) -> Array:
        """Cell volumes (radial, axial), m3."""
        return np.outer(self.r_table[3], np.diff(self.z_faces))


def _uniform_growth(cells: int, strength: float) -> Array:
    """Points 0..1 with spacing growing exponentially by exp(strength) from the first to the last cell."""
    s = np.linspace(0.0, 1.0, cells + 1)
    return s if strength == 0 else np.expm1(strength * s) / np.expm1(strength)


def _both_ends(half: Array) -> Array:
    """Points 0..1 made of a half that is fine at 0 and its mirror image."""
    return np.concatenate([0.5 * half, 1.0 - 0.5 * half[-2::-1]])


def _reach(specimen: Any, demands: Mapping[str, Demand], conductivity: float, nearest: float) -> float:
    """Share of what happens at an end that may arrive at the nearest probe: a fin cools along its way to it.

    3 exp(-m z), at most 1, with m^2 = sum of h x perimeter / (k x section) of a fin, held below (2.4 / radius)^2, the first root
    of J0 (a surface held at a temperature). The 3 is an own choice, a margin for what has not settled into the slowest mode.
    """
    inner, outer = specimen.inner_radius, specimen.outer_radius
    loss = outer * demands.get("outer", Demand()).least + inner * demands.get("bore", Demand()).least
    fin = 2.0 * loss / (conductivity * (outer**2 - inner**2))
    m = (fin / (1.0 + fin * (outer / 2.405) ** 2)) ** 0.5
    return min(1.0, 3.0 * math.exp(-m * nearest))


def _growth(length: float, demand: Demand, accuracy: float, conductivity: float, weight: float) -> float:
    """Relative growth of neighbouring cells that one face asks for."""
    span = max(demand.span, 1.0)
    biot = demand.flux * length / (conductivity * span)
    return min(0.5, (accuracy / (weight * span * max(biot / (1.0 + biot), 1e-9))) ** 0.5)


def _spacing(
    length: float, demand: Demand, accuracy: float, conductivity: float, growth: float, thickest: float
) -> Array:
    """Points 0..1 over ``length``, first cells at the demanding face at 0, the first not above ``thickest``."""
    first = FIRST_CELL * accuracy * conductivity / max(demand.flux, 1e-30)
    first = max(first, PROBE_SHARE * growth * demand.nearest, THINNEST * length)
    first = min(first, length * growth / 2.0, length / FEWEST, thickest)
    cells = int(np.ceil(np.log1p(length * growth / first) / np.log1p(growth)))
    return _uniform_growth(min(max(cells, FEWEST), MOST), cells * np.log1p(growth))


def make_grid(
    specimen: Any,
    accuracy: float,
    cells: tuple[int, int] | None = None,
    *,
    demands: Mapping[str, Demand] | None = None,
    conductivity: float = 25.0,
    is_transforming: bool = False,
    is_whole: bool = False,
) -> Grid:
    """Grid for a piece: graded towards the faces that are quenched.

    Parameters
    ----------
    specimen : EndQuenchBar, RoundBar, Tube
        The piece.
    accuracy : float
        Wanted accuracy of the histories, K.
    cells : (int, int), optional
        Cells across the radius and along the length, with a fixed grading, instead of the choice by accuracy and demands.
    demands : mapping, optional
        Side (bottom, top, outer, bore) -> `Demand`.
    conductivity : float
        Lowest conductivity at the start temperature, W/mK.
    is_transforming : bool
        Whether latent heat makes moving fronts.
    is_whole : bool
        The whole field is wanted, not only the probes: ends far from every probe are resolved too.
    """
    inner, outer = specimen.inner_radius, specimen.outer_radius
    end_quench = isinstance(specimen, EndQuenchBar)
    if cells is not None:
        nr, nz = cells
        if inner > 0.0:
            r = inner + (outer - inner) * _both_ends(_uniform_growth((nr + 1) // 2, 1.5))
        else:
            r = outer * (1.0 - _uniform_growth(nr, 1.0 if end_quench else 2.0)[::-1])
        if specimen.length is None:
            z = np.array([0.0, 1.0])
        elif end_quench:
            z = specimen.length * _uniform_growth(nz, 4.0)
        else:
            z = specimen.length * _both_ends(_uniform_growth((nz + 1) // 2, 3.0))
        return Grid(r, z)
    demands = demands or {}
    weight = GROWTH["transforming" if is_transforming else "plain"]
    none = Demand()

    def points(length: float, low: Demand, high: Demand, thickest: float = math.inf) -> Array:
        if low.flux == 0.0 and high.flux == 0.0:
            return np.linspace(0.0, 1.0, FEWEST + 1)
        # what the harder face sends in passes the whole section, so its growth rules on both sides
        growth = min(_growth(length, face, accuracy, conductivity, weight) for face in (low, high) if face.flux > 0.0)
        if low.flux == 0.0:
            return 1.0 - _spacing(length, high, accuracy, conductivity, growth, thickest)[::-1]
        if high.flux == 0.0 or (end_quench and high.flux * 20.0 < low.flux):
            return _spacing(length, low, accuracy, conductivity, growth, thickest)
        near = _spacing(length / 2.0, low, accuracy, conductivity, growth, thickest)
        far = _spacing(length / 2.0, high, accuracy, conductivity, growth, thickest)
        return np.concatenate([0.5 * near, 1.0 - 0.5 * far[-2::-1]])

    bore = demands.get("bore", none) if inner > 0.0 else none
    r = inner + (outer - inner) * points(outer - inner, bore, demands.get("outer", none))
    r[-1] = outer
    if specimen.length is None:
        return Grid(r, np.array([0.0, 1.0]))
    low, high = demands.get("bottom", none), demands.get("top", none)
    if not is_whole:
        low, high = (replace(e, span=e.span * _reach(specimen, demands, conductivity, e.nearest)) for e in (low, high))
    z = specimen.length * points(specimen.length, low, high, END_SHARE * outer)
    return Grid(r, z)


def node_weights(position: float, nodes: Sequence[float], is_axis: bool) -> tuple[int, tuple[float, ...]]:
    """First node and four Lagrange weights that interpolate at ``position`` among cell centres and faces.

    ``nodes`` holds the lower face, the cell centres and the upper face. ``is_axis``: the lower face is the axis, which has
    no value of its own; the first cell is mirrored instead.
    """
    count = len(nodes)
    if count <= 3:
        # one cell: quadratic through face, centre, face is not meaningful on an axis; fall back to linear
        first = 0 if position <= nodes[1] and not is_axis else 1
        a, b = nodes[first], nodes[first + 1]
        share = min(max((position - a) / (b - a), 0.0), 1.0)
        if is_axis and position <= nodes[1]:
            first, share = 1, 0.0
        return first, (1.0 - share, share, 0.0, 0.0)
    low = 1 if is_axis else 0
    right = bisect.bisect_right(nodes, position)
    first = min(max(right - 2, low), max(count - 4, low))
    points = [float(x) for x in nodes[first : first + 4]]
    x = position
    if is_axis and first == low:
        # even in r: interpolate in r squared, which is exact for the symmetry at the axis
        points, x = [point**2 for point in points], position**2
    weights = []
    for a, own in enumerate(points):
        weight = 1.0
        for b, other in enumerate(points):
            if a != b:
                weight *= (x - other) / (own - other)
        weights.append(weight)
    return first, (*weights, *[0.0] * (4 - len(points)))


def _linear(position: float, centres: Sequence[float]) -> tuple[int, int, float]:
    """Two neighbouring cells and the weight of the second, held beyond the outermost centres."""
    if len(centres) == 1 or position <= centres[0]:
        return 0, 0, 0.0
    if position >= centres[-1]:
        return len(centres) - 1, len(centres) - 1, 0.0
    k = bisect.bisect_left(centres, position)
    return k - 1, k, float((position - centres[k - 1]) / (centres[k] - centres[k - 1]))


def probe_weights(grid: Grid, probes: list[Probe], solid: bool) -> tuple[Any, Any, Any, Any, Any]:
    """Interpolation tables of the kernel: first nodes and weights in r and z, and the linear set for fractions."""
    count = len(probes)
    first_r, first_z = np.zeros(count, np.int64), np.zeros(count, np.int64)
    weight_r, weight_z, linear = (
        np.zeros((count, 4)),
        np.zeros((count, 4)),
        np.zeros((count, 6)),
    )
    r, z = grid.r.tolist(), grid.z.tolist()  # plain numbers: a few probes at a time are quicker without arrays
    r_nodes = [float(grid.r_faces[0]), *r, float(grid.r_faces[-1])]
    z_nodes = [float(grid.z_faces[0]), *z, float(grid.z_faces[-1])]
    for n, probe in enumerate(probes):
        first_r[n], weight_r[n] = node_weights(probe.r, r_nodes, is_axis=solid)
        if grid.shape[1] == 1:
            first_z[n], weight_z[n] = 1, (1.0, 0.0, 0.0, 0.0)
        else:
            first_z[n], weight_z[n] = node_weights(probe.z, z_nodes, is_axis=False)
        j0, j1, wj = _linear(probe.z, z)
        i0, i1, wi = _linear(probe.r, r)
        linear[n] = (j0, j1, i0, i1, wj, wi)
    return first_r, first_z, weight_r, weight_z, linear
