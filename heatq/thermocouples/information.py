"""How many couples a calibration of h is worth: information about h(T) that readings carry, couple by couple."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import Boundary, at, for_piece, over_time
from heatq.conduction.tables import material_of
from heatq.errors import hold_validity
from heatq.steels.material import Curve
from heatq.thermocouples.reading import Well, deviations
from heatq.thermocouples.section import Section, cool_section
from heatq.thermocouples.sensor import Thermocouple, first_order

__all__ = ["ChangedNear", "choose_couples", "faces_to_calibrate", "information", "sensitivities"]

Array = npt.NDArray[np.float64]

#: Readings of a couple that count, spread evenly over the time steps of the run.
SAMPLES = 60
#: Relative change of h in a perturbed run; the derivative is a forward difference.
CHANGE = 0.1
#: Relative standard deviations of what else is unknown, common to all couples (estimates): the steel's heat content and
#: conductivity, on which sources differ by about this, and how much of the effect of its transformation heat is in doubt. Without
#: them any number of digits of h could be had, since a log shows little more than h over heat content.
STEEL_UNKNOWN = {"heat content": 0.03, "conductivity": 0.05, "transformation": 0.2}
#: Share of the lag that stays unknown after it was allowed for (published lags are known to a factor of about 2).
LAG_UNKNOWN = 0.5


@dataclasses.dataclass(frozen=True)
class ChangedNear(Boundary):
    """A boundary whose flux is changed near one surface temperature: times 1 + amount x a hat over the knots.

    Parameters
    ----------
    boundary : boundary
        What is changed.
    knots : tuple of float
        Rising surface temperatures, degC. Beyond the outermost the hat stays at its value there.
    index : int
        Knot at which the hat is 1; 0 at all others, linear between.
    amount : float
        Relative change at the knot.
    """

    boundary: Any
    knots: tuple[float, ...]
    index: int
    amount: float

    def _around(self, other: Any) -> ChangedNear:
        return self if other is self.boundary else dataclasses.replace(self, boundary=other)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        hat = np.interp(surface_temperature, self.knots, np.eye(len(self.knots))[self.index])
        return np.asarray(self.boundary.heat_flux(surface_temperature) * (1.0 + self.amount * hat))

    def over_time(self, end_time: float) -> list[tuple[float, Any]]:
        """Knots in time of what is changed."""
        return [(time, self._around(stage)) for time, stage in over_time(self.boundary, end_time)]

    def at(self, position: float) -> Any:
        """What acts at one place of the face."""
        return self._around(at(self.boundary, position))

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Boundary that knows the piece."""
        return self._around(for_piece(self.boundary, specimen, face))


def faces_to_calibrate(section: Section, boundaries: Mapping[str, Any]) -> list[str]:
    """Face through which most heat leaves, and all with the same boundary."""
    removed = section.run["heat_removed"].isel(time=-1)
    main = str(removed["face"].values[int(removed.values.argmax())])
    return [face for face in section.specimen.faces if boundaries[face] == boundaries[main]]


def _changed_steel(steel: Any, density: float = 1.0, conductivity: float = 1.0) -> Any:
    """Steel or material with factors on its density (that is, its heat content) and conductivity."""
    material = material_of(steel)
    curves = tuple(
        Curve(
            curve.starts,
            tuple(tuple(conductivity * c for c in piece) for piece in curve.coefficients),
            tuple((conductivity * a, b) for a, b in curve.poles),
        )
        for curve in material.conductivity_curves
    )
    changed = dataclasses.replace(material, density=density * material.density, conductivity_curves=curves)
    return changed if material is steel else steel.replace(properties=changed)


def sensitivities(
    section: Section,
    steel: Any,
    boundaries: Mapping[str, Any],
    faces: list[str],
    knots: tuple[float, ...],
    accuracy: float,
) -> tuple[list[Section], list[float]]:
    """Change of temperature by ln h at each knot of the surface temperature, then by each unknown of the steel.

    One simulation for each, and one for the base. Returns the changes as sections, and the standard deviations of the unknowns
    of the steel in the same units.
    """
    start, end = float(section.temperature[0].max()), float(section.time[-1])
    count = (len(section.r), max(len(section.z), 2))

    def cooled(metal: Any, changed: Mapping[str, Any], coupled: bool = True) -> Array:
        return cool_section(
            section.specimen, metal, changed, initial_temperature=start, stop_below=None, end_time=end, coupled=coupled,
            accuracy=accuracy, output_times=section.time, lines=count, estimate_error=False,
        ).temperature  # fmt: skip

    with hold_validity():  # the run itself has said what there is to say
        base = cooled(steel, boundaries)
        found = []
        for index in range(len(knots)):
            changed = {
                face: ChangedNear(boundary, knots, index, CHANGE) if face in faces else boundary
                for face, boundary in boundaries.items()
            }
            found.append((cooled(steel, changed) - base) / CHANGE)
        deviations_of_steel = [STEEL_UNKNOWN["heat content"], STEEL_UNKNOWN["conductivity"]]
        found.append((cooled(_changed_steel(steel, density=1.0 + CHANGE), boundaries) - base) / CHANGE)
        found.append((cooled(_changed_steel(steel, conductivity=1.0 + CHANGE), boundaries) - base) / CHANGE)
        if len(material_of(steel).phases) > 1:
            found.append(base - cooled(steel, boundaries, coupled=False))
            deviations_of_steel.append(STEEL_UNKNOWN["transformation"])
    return [dataclasses.replace(section, temperature=field) for field in found], deviations_of_steel


def information(
    section: Section,
    derivatives: list[Section],
    wells: list[Well],
    sensor: Thermocouple,
    boundaries: Mapping[str, Any],
    noise: float,
) -> Array:
    """Fisher information (place, parameter, parameter) of one couple at each place about ln h at the knots and, last, the steel.

    Readings = truth + noise (independent from sample to sample) + each part of the error in full, with an unknown factor of
    standard deviation 1 that is the same throughout a run: C = noise2 1 + B B'. F = J' C^-1 J (Woodbury).
    """
    kept = np.linspace(0, len(section.time) - 1, SAMPLES).astype(int)
    _, parts = deviations(section, wells, sensor, boundaries)
    columns = [LAG_UNKNOWN * parts["lag"][0], *parts["position"], *parts["calibration"], *parts["well"], *parts["stem"]]
    unknown = np.stack([column[kept] for column in columns], axis=-1).transpose(1, 0, 2)  # place, sample, cause
    r, z = np.array([well.r for well in wells]), np.array([well.z for well in wells])
    lag = np.full(len(wells), sensor.lag)
    shown = [first_order(section.time, derivative.at(r, z), lag)[kept] for derivative in derivatives]
    jacobian = np.stack(shown, axis=-1).transpose(1, 0, 2)  # place, sample, parameter
    across = unknown.transpose(0, 2, 1)
    inner = noise**2 * np.eye(unknown.shape[2]) + across @ unknown
    coupling = across @ jacobian
    plain = jacobian.transpose(0, 2, 1) @ jacobian
    return np.asarray((plain - coupling.transpose(0, 2, 1) @ np.linalg.solve(inner, coupling)) / noise**2)


def choose_couples(
    fisher: Array, wells: list[Well], prior: float, steel: list[float], couples: int, apart: float
) -> tuple[list[int], Array, Array, Array]:
    """Pick couples greedily, each adding most to log det of the information (D-optimal).

    Returns
    -------
    tuple
        Chosen places; bits that each adds; relative standard deviation of h (couple, knot) once it is there; bits that each place
        gives alone. A bit halves the volume of the region of uncertainty.
    """
    sought = fisher.shape[1] - len(steel)
    known = np.diag([prior**-2] * sought + [deviation**-2 for deviation in steel])
    alone = _bits(known, fisher, sought)
    chosen: list[int] = []
    gains, spread = [], []
    free = np.ones(len(wells), dtype=bool)
    for _ in range(couples):
        if not free.any():
            break
        gain = np.where(free, _bits(known, fisher, sought), -np.inf)
        best = int(gain.argmax())
        chosen.append(best)
        gains.append(gain[best])
        known = known + fisher[best]
        spread.append(np.sqrt(np.diag(np.linalg.inv(known))[:sought]))
        here = wells[best]
        free &= np.array([np.hypot(well.r - here.r, well.z - here.z) >= apart for well in wells])
    return chosen, np.array(gains), np.array(spread), alone


def _bits(known: Array, fisher: Array, sought: int) -> Array:
    """Bits about h that each couple adds, the steel being uncertain: log det of all less that of the steel's part."""

    def about_h(matrix: Array) -> Array:
        rest = matrix[..., sought:, sought:]
        return np.asarray(np.linalg.slogdet(matrix)[1] - np.linalg.slogdet(rest)[1])

    return (about_h(known + fisher) - about_h(known)) / (2.0 * np.log(2.0))
