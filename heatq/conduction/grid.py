"""The graded (r, z) grid and the interpolation from its cells to probes."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.specimens import EndQuenchBar

__all__ = ["Demand", "Grid", "make_grid", "probe_weights"]

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
#: The one cell along a long piece.
ONE_METRE = np.array([0.0, 1.0])


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

    @functools.cached_property
    def _tables(self) -> tuple[Array, Array, Array, Array, float]:
        from heatq.conduction._probe_kernels import cell_tables

        return cell_tables(self.r_faces, self.z_faces)

    @property
    def r(self) -> Array:
        """Cell centres in r, m."""
        return self._tables[0][0]

    @property
    def z(self) -> Array:
        """Cell centres in z, m."""
        return self._tables[1]

    @property
    def r_table(self) -> Array:
        """Rows for the kernel: centre, inner face, outer face, ring area."""
        return self._tables[0]

    @property
    def z_table(self) -> Array:
        """Rows for the kernel: half width, width."""
        return self._tables[2]

    @property
    def volume(self) -> Array:
        """Cell volumes (radial, axial), m3."""
        return self._tables[3]

    @property
    def thinnest(self) -> float:
        """Smallest width of a cell in either direction, m."""
        return self._tables[4]


def _uniform_growth(cells: int, strength: float) -> Array:
    """Points 0..1 with spacing growing exponentially by exp(strength) from the first to the last cell."""
    if strength == 0:
        return np.linspace(0.0, 1.0, cells + 1)
    s = np.arange(cells + 1.0) * (1.0 / cells)
    s[-1] = 1.0
    grown = np.expm1(strength * s)
    return grown / grown[-1]


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
    per_cell = float(np.log1p(growth))
    cells = math.ceil(float(np.log1p(length * growth / first)) / per_cell)
    return _uniform_growth(min(max(cells, FEWEST), MOST), cells * per_cell)


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
        return Grid(r, ONE_METRE)
    low, high = demands.get("bottom", none), demands.get("top", none)
    if not is_whole:
        low, high = (replace(e, span=e.span * _reach(specimen, demands, conductivity, e.nearest)) for e in (low, high))
    z = specimen.length * points(specimen.length, low, high, END_SHARE * outer)
    return Grid(r, z)


def probe_weights(grid: Grid, places: Array, solid: bool) -> tuple[Any, Any, Any, Any, Any]:
    """Interpolation tables of the kernel for places (rows r, z): first nodes and weights in r and z, and the linear set for fractions."""
    from heatq.conduction._probe_kernels import probe_tables

    return probe_tables(places, grid.r_faces, grid.r, grid.z_faces, grid.z, solid)
