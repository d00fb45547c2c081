"""The graded (r, z) grid and the interpolation from its cells to probes."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.specimens import EndQuenchBar, Probe

__all__ = ["Grid", "make_grid", "node_weights", "probe_weights"]

Array = npt.NDArray[np.float64]

#: Cells across the radius and along the length at accuracy 0.5 K, by kind of piece; their number grows with the inverse
#: square root of the accuracy, as the scheme is of second order in space. Chosen on the reference problems of
#: benchmarks/, checked on random cases in tests/property.
CELLS = {"end quench": (8, 150), "bar": (24, 72), "long bar": (40, 1)}


@dataclasses.dataclass(frozen=True)
class Grid:
    """Cell faces in r and z (m)."""

    r_faces: Array
    z_faces: Array

    @property
    def shape(self) -> tuple[int, int]:
        """Cells (axial, radial)."""
        return len(self.z_faces) - 1, len(self.r_faces) - 1

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
        """Cell volumes (axial, radial), m3."""
        return np.outer(np.diff(self.z_faces), self.r_table[3])


def _graded(cells: int, strength: float) -> Array:
    """Points 0..1 with spacing growing exponentially by exp(strength) from the first to the last cell."""
    s = np.linspace(0.0, 1.0, cells + 1)
    return s if strength == 0 else np.expm1(strength * s) / np.expm1(strength)


def _graded_both_ends(cells: int, strength: float) -> Array:
    """Points 0..1, symmetric, fine at both ends (even number of cells)."""
    half = 0.5 * _graded(cells // 2, strength)
    return np.concatenate([half, 1.0 - half[-2::-1]])


def make_grid(specimen: Any, accuracy: float, cells: tuple[int, int] | None = None) -> Grid:
    """Grid for a piece: graded towards the faces that are quenched.

    Parameters
    ----------
    specimen : EndQuenchBar, RoundBar, Tube
        The piece.
    accuracy : float
        Wanted accuracy of the histories, K.
    cells : (int, int), optional
        Cells across the radius and along the length, instead of the choice by accuracy.
    """
    long_bar = specimen.length is None
    end_quench = isinstance(specimen, EndQuenchBar)
    kind = "end quench" if end_quench else "long bar" if long_bar else "bar"
    if cells is None:
        finer = (0.5 / accuracy) ** 0.5
        nr, nz = (max(4, round(n * finer)) for n in CELLS[kind])
        if long_bar:
            nz = 1
    else:
        nr, nz = cells
    inner, outer = specimen.inner_radius, specimen.outer_radius
    if inner > 0.0:
        r = inner + (outer - inner) * _graded_both_ends(nr + nr % 2, 1.5)
    else:
        r = outer * (1.0 - _graded(nr, 1.0 if end_quench else 2.0)[::-1])
    if long_bar:
        z = np.array([0.0, 1.0])
    elif end_quench:
        z = specimen.length * _graded(nz, 4.0)
    else:
        z = specimen.length * _graded_both_ends(nz + nz % 2, 3.0)
    return Grid(r, z)


def node_weights(position: float, nodes: np.ndarray, is_axis: bool) -> tuple[int, np.ndarray]:
    """First node and four Lagrange weights that interpolate at ``position`` among cell centres and faces.

    ``nodes`` holds the lower face, the cell centres and the upper face. ``is_axis``: the lower face is the axis, which has
    no value of its own; the first cell is mirrored instead.
    """
    count = len(nodes)
    if count <= 3:
        # one cell: quadratic through face, centre, face is not meaningful on an axis; fall back to linear
        weights = np.zeros(4)
        first = 0 if position <= nodes[1] and not is_axis else 1
        a, b = nodes[first], nodes[first + 1]
        share = np.clip((position - a) / (b - a), 0.0, 1.0)
        if is_axis and position <= nodes[1]:
            first, share = 1, 0.0
        weights[0], weights[1] = 1.0 - share, share
        return first, weights
    low = 1 if is_axis else 0
    right = int(np.searchsorted(nodes, position, side="right"))
    first = min(max(right - 2, low), max(count - 4, low))
    size = min(4, count - first)
    if is_axis and first == low:
        # even in r: interpolate in r squared, which is exact for the symmetry at the axis
        points, x = nodes[first : first + size] ** 2, position**2
    else:
        points, x = nodes[first : first + size], position
    weights = np.zeros(4)
    for a in range(size):
        others = np.delete(points, a)
        weights[a] = np.prod((x - others) / (points[a] - others))
    return first, weights


def _linear(position: float, centres: Array) -> tuple[int, int, float]:
    """Two neighbouring cells and the weight of the second, held beyond the outermost centres."""
    if len(centres) == 1 or position <= centres[0]:
        return 0, 0, 0.0
    if position >= centres[-1]:
        return len(centres) - 1, len(centres) - 1, 0.0
    k = int(np.searchsorted(centres, position))
    return k - 1, k, float((position - centres[k - 1]) / (centres[k] - centres[k - 1]))


def probe_weights(grid: Grid, probes: list[Probe], solid: bool) -> tuple[Any, Any, Any, Any, Any]:
    """Interpolation tables of the kernel: first nodes and weights in r and z, and the linear set for fractions."""
    count = len(probes)
    first_r, first_z = np.zeros(count, np.int64), np.zeros(count, np.int64)
    weight_r, weight_z, linear = np.zeros((count, 4)), np.zeros((count, 4)), np.zeros((count, 6))
    r_nodes = np.concatenate([grid.r_faces[:1], grid.r, grid.r_faces[-1:]])
    z_nodes = np.concatenate([grid.z_faces[:1], grid.z, grid.z_faces[-1:]])
    for n, probe in enumerate(probes):
        first_r[n], weight_r[n] = node_weights(probe.r, r_nodes, is_axis=solid)
        if grid.shape[0] == 1:
            first_z[n], weight_z[n] = 1, (1.0, 0.0, 0.0, 0.0)
        else:
            first_z[n], weight_z[n] = node_weights(probe.z, z_nodes, is_axis=False)
        j0, j1, wj = _linear(probe.z, grid.z)
        i0, i1, wi = _linear(probe.r, grid.r)
        linear[n] = (j0, j1, i0, i1, wj, wi)
    return first_r, first_z, weight_r, weight_z, linear
