"""One problem, and the arrays of a run on one grid, in the layout of the kernel."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.conduction.grid import Grid, make_grid, probe_weights
from heatq.conduction.tables import boundary_tables, grid_demands, kinetics_of, material_of, thermal_table
from heatq.errors import InputError
from heatq.transformation.formulas import ac1_andrews_1965
from heatq.transformation.kinetics import TEMPERATURE_GRID as GRID

__all__ = ["Job", "State"]

Array = npt.NDArray[np.float64]


class Job:
    """What stays the same when a run is repeated on another grid."""

    def __init__(
        self,
        specimen: Any,
        steel: Any,
        coupled: bool,
        kinetics: Any,
        sides: Mapping[str, Any],
        initial_temperature: float,
        end_time: float,
        places: list,
        is_whole: bool = False,
    ) -> None:
        self.specimen, self.places, self.sides = specimen, places, sides
        self.initial_temperature, self.end_time, self.is_whole = initial_temperature, end_time, is_whole
        self.material = material_of(steel)
        self.transforms, self.kinetics = kinetics_of(steel, coupled, kinetics)
        if self.transforms:
            ac1 = ac1_andrews_1965(steel)
            if initial_temperature < ac1:
                raise InputError(
                    f"initial_temperature = {initial_temperature:g} degC is below Ac1 = {ac1:.0f} degC of the steel: it would "
                    "not be austenite, and heating is not modelled. Start above Ac3, or pass a plain Material."
                )
        self.thermal = thermal_table(self.material)
        self.flux_tables: dict[int, tuple[Any, Array]] = {}
        row = int(np.clip(np.searchsorted(GRID, initial_temperature), 0, len(GRID) - 1))
        self.conductivity = float(self.thermal[row, 9])
        self.demands = grid_demands(specimen, sides, places, initial_temperature, end_time)

    def state(self, accuracy: float, cells: tuple[int, int] | None = None) -> State:
        """Start state on the grid for an accuracy."""
        grid = make_grid(
            self.specimen,
            accuracy,
            cells,
            demands=self.demands,
            conductivity=self.conductivity,
            is_transforming=bool(self.transforms),
            is_whole=self.is_whole,
        )
        return State(self, grid, boundary_tables(self.specimen, self.sides, grid, self.end_time, self.flux_tables))


class State:
    """Arrays of one run, in the layout of the kernel."""

    def __init__(self, job: Job, grid: Grid, tables: Any) -> None:
        self.grid, self.tables = grid, tables
        nr, nz = grid.shape
        self.transforms, self.kinetics, self.thermal = (
            job.transforms,
            job.kinetics,
            job.thermal,
        )
        start = job.initial_temperature
        self.temp = np.full((nr, nz), start)
        self.mass, self.cond = np.empty((nr, nz)), np.empty((nr, nz))
        self.fractions = np.zeros((4, nr, nz))
        self.sums = np.zeros((3, nr, nz))
        self.formation = np.zeros((3, nr, nz))
        self.memory = np.zeros((5, nr, nz))
        self.surface = np.full((4, max(nz, nr)), start)
        self.energy_out = np.zeros(4)
        self.volume = grid.volume
        self.enthalpy = self.mixture_enthalpy()
        self.energy_start = float((self.volume * self.enthalpy).sum())
        self.probe_tables = probe_weights(grid, job.places, job.specimen.inner_radius == 0.0)
        self.width = 5 + (5 if self.transforms else 1) * len(job.places)
        # time, next step, accepted, rejected, lowest and highest temperature, step after a jump, end below
        self.clock = np.array([0.0, 0.0, 0.0, 0.0, start, start, 0.0, -1e9])
        self.records: list[Array] = [self._first_row(len(job.places), start)]
        self.fields: list[tuple[float, Array, Array]] = []
        self.compile_seconds = 0.0
        self.solve_seconds = 0.0

    def _first_row(self, count: int, temperature: float) -> Array:
        row = np.zeros((1, self.width))
        row[0, 5 : 5 + count] = temperature
        return row

    def mixture_enthalpy(self) -> Array:
        """Enthalpy (J/m3) of every cell from its temperature and fractions, independent of the integrated state."""
        row = (self.temp - GRID[0]) / (GRID[1] - GRID[0])
        i = np.clip(row.astype(int), 0, len(self.thermal) - 2)
        w = row - i
        per_phase = [self.thermal[i, p] + w * (self.thermal[i + 1, p] - self.thermal[i, p]) for p in range(5)]
        austenite = 1.0 - self.fractions.sum(axis=0)
        return sum(f * h for f, h in zip([*self.fractions, austenite], per_phase, strict=True))

    def energy_residual(self) -> float:
        """Energy lost by the piece less energy out of its faces, relative to the larger of what moved and 1 J."""
        lost = self.energy_start - float((self.volume * self.mixture_enthalpy()).sum())
        moved = max(
            abs(lost),
            float(np.abs(self.energy_out).sum()),
            1e-9 * abs(self.energy_start),
            1e-300,
        )
        return abs(lost - float(self.energy_out.sum())) / moved

    def first_step(self, tolerance: float) -> float:
        """A step in which the hardest-quenched cell changes by about the tolerance."""
        flux = np.abs(self.tables.flux).max()
        smallest = min(np.diff(self.grid.r_faces).min(), np.diff(self.grid.z_faces).min())
        capacity = np.diff(self.thermal[:, 4]).min() / (GRID[1] - GRID[0])
        return float(np.clip(tolerance * capacity * smallest / max(flux, 1e-30), 1e-9, 1.0))
