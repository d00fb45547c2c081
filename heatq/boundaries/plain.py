"""Boundaries that need no correlation: a coefficient, a flux, radiation, a fixed temperature, measured tables."""

from __future__ import annotations

import dataclasses
import math
import pathlib
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.constants import Stefan_Boltzmann

from heatq.boundaries.timeline import Boundary
from heatq.errors import DataError, InputError, check_number, note_validity
from heatq.files import number_in, read_text, split_rows
from heatq.units import to_kelvin

__all__ = ["CoefficientTable", "Convection", "FixedTemperature", "FluxTable", "HeatFlux", "Insulated", "Radiation"]

Array = npt.NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class Convection(Boundary):
    """Constant heat-transfer coefficient: Newton's law, q = h (Ts - T_fluid).

    Parameters
    ----------
    coefficient : float
        h, W/m2K.
    fluid_temperature : float
        degC.

    Examples
    --------
    >>> Convection(coefficient=500.0, fluid_temperature=20.0).heat_flux(np.array([20.0, 820.0]))
    array([     0., 400000.])
    """

    coefficient: float
    fluid_temperature: float

    def __post_init__(self) -> None:
        """Check the numbers."""
        check_number("coefficient", self.coefficient, "coefficient")
        check_number("fluid_temperature", self.fluid_temperature, "temperature")

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        return self.coefficient * (np.asarray(surface_temperature, dtype=float) - self.fluid_temperature)


@dataclasses.dataclass(frozen=True)
class Insulated(Boundary):
    """No heat flow: a protected face or a plane of symmetry.

    Examples
    --------
    >>> Insulated().heat_flux(np.array([20.0, 820.0]))
    array([0., 0.])
    """

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Zero, W/m2."""
        return np.zeros_like(np.asarray(surface_temperature, dtype=float))


@dataclasses.dataclass(frozen=True)
class HeatFlux(Boundary):
    """Constant heat flux whatever the surface temperature.

    Parameters
    ----------
    flux : float
        W/m2, positive out of the piece, negative into it.

    Examples
    --------
    >>> HeatFlux(1e6).heat_flux(np.array([20.0, 820.0]))
    array([1000000., 1000000.])
    """

    flux: float

    def __post_init__(self) -> None:
        """Check the flux."""
        hint = "Heat fluxes are in W/m2: for 5 MW/m2 write 5*mega with scipy.constants."
        check_number("flux", self.flux, low=-1e9, high=1e9, unit="W/m2", hint=hint)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        return np.full_like(np.asarray(surface_temperature, dtype=float), self.flux)


@dataclasses.dataclass(frozen=True)
class Radiation(Boundary):
    """Grey radiation to large surroundings: q = eps sigma (Ts^4 - Tsur^4), temperatures in kelvin inside.

    Parameters
    ----------
    emissivity : float
        0 to 1. Supplier tables of total emissivity: steel oxidised 0.8 (125 to 600 degC), oxidised strongly up to 0.98,
        polished 0.14 to 0.38, hot rolled 0.6. Customary: 0.8 for a scaled bar, 0.3 to 0.5 for a protected bright one.
    surroundings_temperature : float
        degC. Walls hotter than the piece heat it (negative flux); that is allowed, a furnace does it.

    Notes
    -----
    Exact for a small grey convex piece in a large closed space; a piece in a load sees its neighbours instead.
    sigma is the CODATA value of `scipy.constants`.

    Examples
    --------
    Coefficient of radiation at 704 degC in surroundings of 24 degC for eps = 0.8, W/m2K (hand value 60.3):

    >>> float(Radiation(emissivity=0.8, surroundings_temperature=24.0).heat_flux(np.array(704.0)) / 680.0)
    60.3
    """

    emissivity: float
    surroundings_temperature: float = 20.0

    def __post_init__(self) -> None:
        """Check the numbers."""
        check_number("emissivity", self.emissivity, "emissivity")
        check_number("surroundings_temperature", self.surroundings_temperature, "temperature")

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        surface = to_kelvin(np.asarray(surface_temperature, dtype=float))
        return self.emissivity * Stefan_Boltzmann * (surface**4 - to_kelvin(self.surroundings_temperature) ** 4)


@dataclasses.dataclass(frozen=True)
class FixedTemperature(Boundary):
    """Surface held at a temperature, as very stiff convection.

    Parameters
    ----------
    temperature : float
        degC.
    coefficient : float
        Stiffness, W/m2K. At the default 1e7 the surface is off by q/1e7: 0.5 K at 5 MW/m2.

    Examples
    --------
    >>> FixedTemperature(100.0).heat_flux(np.array([100.0, 101.0]))
    array([       0., 10000000.])
    """

    temperature: float
    coefficient: float = 1e7

    def __post_init__(self) -> None:
        """Check the numbers."""
        check_number("temperature", self.temperature, "temperature")
        check_number("coefficient", self.coefficient, low=1e4, high=1e10, unit="W/m2K")

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        return self.coefficient * (np.asarray(surface_temperature, dtype=float) - self.temperature)


def _columns(temperature: Any, value: Any, name: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Check a table over temperature and return it as tuples."""
    try:
        x = np.asarray(temperature, dtype=float)
        y = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"temperature and {name} must be sequences of numbers.") from None
    if x.ndim != 1 or x.shape != y.shape or x.size < 2:
        raise InputError(
            f"temperature and {name} must be two sequences of equal length, at least two entries; "
            f"they have the shapes {x.shape} and {y.shape}."
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputError(f"temperature and {name} must be finite numbers.")
    falling = np.flatnonzero(np.diff(x) <= 0.0)
    if falling.size:
        n = int(falling[0]) + 1
        raise InputError(
            f"temperature is not rising at entry {n + 1}: {x[n]:g} degC follows {x[n - 1]:g} degC. "
            "Sort the table by rising surface temperature, each temperature once."
        )
    for entry in x:
        check_number("temperature", entry, "temperature")
    return tuple(x.tolist()), tuple(y.tolist())


def read_table(path: str | pathlib.Path, columns: tuple[str, str]) -> tuple[list[float], list[float]]:
    """Read two named columns of a CSV file; lines that start with # are comments.

    Raises
    ------
    DataError
        Naming file and line, if the file is missing, empty, lacks a column or holds text where a number belongs.
    """
    file = pathlib.Path(path)
    try:
        rows, delimiter = split_rows(read_text(file), file)
    except DataError as error:
        raise DataError(f"cannot read the columns {', '.join(columns)}: {error}") from None
    header = rows[0].cells
    for name in columns:
        if name not in header:
            raise DataError(f"{file}, line {rows[0].line}: no column {name!r}; the header reads {', '.join(header)}.")
    where = [header.index(name) for name in columns]
    found: tuple[list[float], list[float]] = ([], [])
    for row in rows[1:]:
        for name, index, column in zip(columns, where, found, strict=True):
            text = row.cells[index] if index < len(row.cells) else ""
            number = number_in(text, "," if delimiter != "," and "," in text else ".")
            if math.isnan(number):
                raise DataError(f"{file}, line {row.line}, column {name!r}: {text!r} is not a number.")
            column.append(number)
    if len(found[0]) < 2:
        raise DataError(f"{file} has {len(found[0])} data row; at least two are needed.")
    return found


@dataclasses.dataclass(frozen=True)
class CoefficientTable(Boundary):
    """Measured heat-transfer coefficient over surface temperature: q = h(Ts) (Ts - T_fluid).

    Parameters
    ----------
    temperature : sequence of float
        Surface temperatures, degC, rising.
    coefficient : sequence of float
        h at these, W/m2K; linear between, constant outside.
    fluid_temperature : float
        degC.

    Notes
    -----
    As in `Convection`, the attribute ``coefficient`` is what was given: the entries, not a function of the surface
    temperature, as it is in a correlation. h between them is ``numpy.interp(Ts, table.temperature, table.coefficient)``.

    Examples
    --------
    >>> measured = CoefficientTable([100.0, 500.0, 850.0], [300.0, 2000.0, 500.0], fluid_temperature=60.0)
    >>> measured.heat_flux(np.array([60.0, 300.0]))
    array([     0., 276000.])
    """

    temperature: Sequence[float]
    coefficient: Sequence[float]
    fluid_temperature: float

    def __post_init__(self) -> None:
        """Check the table."""
        temperature, coefficient = _columns(self.temperature, self.coefficient, "coefficient")
        for entry in coefficient:
            check_number("coefficient", entry, "coefficient")
        check_number("fluid_temperature", self.fluid_temperature, "temperature")
        object.__setattr__(self, "temperature", temperature)
        object.__setattr__(self, "coefficient", coefficient)

    @classmethod
    def read(
        cls,
        path: str | pathlib.Path,
        *,
        fluid_temperature: float,
        columns: tuple[str, str] = ("temperature", "coefficient"),
    ) -> CoefficientTable:
        """Read temperature (degC) and coefficient (W/m2K) from a CSV file with a header line."""
        temperature, coefficient = read_table(path, columns)
        return cls(temperature, coefficient, fluid_temperature)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        surface = np.asarray(surface_temperature, dtype=float)
        return np.interp(surface, self.temperature, self.coefficient) * (surface - self.fluid_temperature)


@dataclasses.dataclass(frozen=True)
class FluxTable(Boundary):
    """Measured heat flux over surface temperature, q(Ts).

    Parameters
    ----------
    temperature : sequence of float
        Surface temperatures, degC, rising.
    flux : sequence of float
        Heat flux out of the piece at these, W/m2; linear between, constant outside (and outside is noted: a constant
        flux below the fluid's temperature would cool without end).

    Examples
    --------
    >>> FluxTable([20.0, 200.0, 850.0], [0.0, 4e6, 2e6]).heat_flux(np.array([20.0, 110.0, 525.0]))
    array([      0., 2000000., 3000000.])
    """

    temperature: Sequence[float]
    flux: Sequence[float]

    def __post_init__(self) -> None:
        """Check the table."""
        temperature, flux = _columns(self.temperature, self.flux, "flux")
        object.__setattr__(self, "temperature", temperature)
        object.__setattr__(self, "flux", flux)

    @classmethod
    def read(cls, path: str | pathlib.Path, *, columns: tuple[str, str] = ("temperature", "flux")) -> FluxTable:
        """Read temperature (degC) and flux (W/m2) from a CSV file with a header line."""
        return cls(*read_table(path, columns))

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        surface = np.asarray(surface_temperature, dtype=float)
        low, high = self.temperature[0], self.temperature[-1]
        note_validity("FluxTable", "surface temperature", surface, low, high, "degC", "the table's own range")
        return np.interp(surface, self.temperature, self.flux)
