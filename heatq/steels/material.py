"""`Material`: conductivity, specific heat and enthalpy over temperature, for one phase or for the five phases of steel.

Every property is a `Curve` (piecewise polynomial in degC), so the enthalpy is the exact integral of the specific heat,
h' = cp by construction, and 0 degC is the reference of the enthalpy. The data that heatq ships are in
`heatq.steels.properties`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name, check_number, note_validity

__all__ = ["PHASES", "Curve", "Material"]

Array = npt.NDArray[np.float64]

#: Order of the phases in every array of a steel; austenite, the parent, comes last.
PHASES = ("ferrite", "pearlite", "bainite", "martensite", "austenite")

#: Temperature (degC) of the piece whose mass and volume are kept: the cold bar.
COLD = 20.0

# Plausible ranges (low, high, unit, cure). They catch unit slips, not bad data.
_LIMITS = {
    # Gases in pores to silver.
    "conductivity": (0.1, 500.0, "W/mK", "Conductivities are in W/mK: multiply W/cmK by 100."),
    # Lead 130, lithium 3600; apparent peaks of fire-code steel reach 5000.
    "specific_heat": (50.0, 20000.0, "J/kgK", "Specific heats are in J/kgK: multiply kJ/kgK or J/gK by 1000."),
    # Light porous solids to osmium.
    "density": (100.0, 23000.0, "kg/m3", "Densities are in kg/m3: multiply g/cm3 by 1000."),
}


@dataclasses.dataclass(frozen=True)
class Curve:
    """Piecewise function of temperature T (degC) with an exact integral.

    Piece i holds from ``starts[i]`` up to ``starts[i + 1]`` and is the polynomial ``coefficients[i]`` (ascending powers
    of T) plus, where ``poles`` are given, a / (T - b) with (a, b) = ``poles[i]``. The first piece also holds below its
    start, the last one upwards without end. A jump between pieces is allowed.

    Examples
    --------
    >>> ramp = Curve.linear([0.0, 100.0], [1.0, 3.0])
    >>> ramp(np.array([-50.0, 50.0, 200.0]))
    array([1., 2., 3.])
    >>> ramp.integral(np.array([100.0, 200.0]))
    array([200., 500.])
    """

    starts: tuple[float, ...]
    coefficients: tuple[tuple[float, ...], ...]
    poles: tuple[tuple[float, float], ...] = ()

    @classmethod
    def constant(cls, value: float) -> Curve:
        """Curve with one value everywhere."""
        return cls((0.0,), ((float(value),),))

    @classmethod
    def linear(cls, temperature: Iterable[float], values: Iterable[float]) -> Curve:
        """Straight lines between points, end values held beyond; two points at one temperature make a jump."""
        t, v = [float(x) for x in temperature], [float(x) for x in values]
        starts, coefficients = [t[0]], [(v[0], 0.0)]
        for i in range(len(t) - 1):
            if t[i + 1] > t[i]:
                slope = (v[i + 1] - v[i]) / (t[i + 1] - t[i])
                starts.append(t[i])
                coefficients.append((v[i] - slope * t[i], slope))
        return cls((*starts, t[-1]), (*coefficients, (v[-1], 0.0)))

    def _piece(self, temperature: Array) -> npt.NDArray[np.intp]:
        found = np.searchsorted(np.array(self.starts), temperature, side="right") - 1
        return np.maximum(found, 0)

    def __call__(self, temperature: npt.ArrayLike) -> Array:
        """Value at ``temperature`` (degC)."""
        t = np.asarray(temperature, dtype=float)
        piece = self._piece(t)
        result = np.zeros(t.shape)
        for i, coefficients in enumerate(self.coefficients):
            here = piece == i
            local = t[here]
            value = np.polynomial.polynomial.polyval(local, coefficients)
            if self.poles and self.poles[i][0]:
                value = value + self.poles[i][0] / (local - self.poles[i][1])
            result[here] = value
        return result

    def _antiderivative(self, i: int, temperature: Array | float) -> Any:
        value = np.polynomial.polynomial.polyval(temperature, np.polynomial.polynomial.polyint(self.coefficients[i]))
        if self.poles and self.poles[i][0]:
            value = value + self.poles[i][0] * np.log(np.abs(np.asarray(temperature) - self.poles[i][1]))
        return value

    def integral(self, temperature: npt.ArrayLike) -> Array:
        """Exact integral from 0 degC to ``temperature``."""
        t = np.asarray(temperature, dtype=float)
        constants = [0.0]
        for i in range(1, len(self.starts)):
            edge = self.starts[i]
            before = constants[-1] + float(self._antiderivative(i - 1, edge))
            constants.append(before - float(self._antiderivative(i, edge)))
        origin = int(self._piece(np.zeros(1))[0])
        zero = constants[origin] + float(self._antiderivative(origin, 0.0))
        piece = self._piece(t)
        result = np.zeros(t.shape)
        for i, constant in enumerate(constants):
            here = piece == i
            result[here] = constant + self._antiderivative(i, t[here]) - zero
        return result


@dataclasses.dataclass(frozen=True, repr=False)
class Material:
    """Thermal properties over temperature, one row per phase.

    Use the constructors :meth:`constant` and :meth:`from_tables` for a plain material, `heatq.Steel` (attribute
    ``material``) for the five phases of a steel, and :meth:`with_phase` to put measured tables in place of one phase.

    Parameters
    ----------
    name : str
        For messages and results.
    phases : tuple of str
        ``("solid",)``, or `PHASES` for a steel. The last one is the parent that the others form from.
    density : float
        kg/m3, one number: mass and volume of every part of the piece are fixed (see `heatq.steels.properties`).
    conductivity_curves, specific_heat_curves : tuple of Curve
        W/mK and J/kgK, one per phase.
    transformation : tuple of (float, float)
        Per phase the heat (J/kg) released when it forms from the last phase, and the temperature (degC) at which that
        number holds; (0, 0) for the last phase.
    sources : tuple of str
        Where the numbers come from.
    temperature_range : (float, float)
        degC covered by the sources.
    """

    name: str
    phases: tuple[str, ...]
    density: float
    conductivity_curves: tuple[Curve, ...]
    specific_heat_curves: tuple[Curve, ...]
    transformation: tuple[tuple[float, float], ...]
    sources: tuple[str, ...] = ()
    temperature_range: tuple[float, float] = (-np.inf, np.inf)

    def __post_init__(self) -> None:
        """One entry per phase, or the rows of the arrays would not mean what they say."""
        for argument in ("conductivity_curves", "specific_heat_curves", "transformation"):
            if len(getattr(self, argument)) != len(self.phases):
                raise InputError(
                    f"{argument} of {self.name!r} has {len(getattr(self, argument))} entries; the material has "
                    f"{len(self.phases)} phases ({', '.join(self.phases)}) and needs one for each."
                )

    def __getstate__(self) -> dict[str, Any]:
        """Copied and sent without the tables that the solver keeps with it."""
        return {name: value for name, value in vars(self).items() if not name.startswith("_")}

    def __repr__(self) -> str:
        return f"<Material {self.name!r}: {', '.join(self.phases)}; density {self.density:g} kg/m3>"

    @classmethod
    def constant(
        cls, *, conductivity: float, density: float, specific_heat: float, name: str = "constant properties"
    ) -> Material:
        """Material with constant properties and no transformation.

        Parameters
        ----------
        conductivity : float
            W/mK.
        density : float
            kg/m3.
        specific_heat : float
            J/kgK.
        name : str, optional
            For messages and results.

        Examples
        --------
        >>> metal = Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
        >>> metal.enthalpy(100.0)
        array([60000.])
        """
        return cls(
            name=str(name),
            phases=("solid",),
            density=_check("density", density),
            conductivity_curves=(Curve.constant(_check("conductivity", conductivity)),),
            specific_heat_curves=(Curve.constant(_check("specific_heat", specific_heat)),),
            transformation=((0.0, 0.0),),
            sources=(f"{name}: constants given by the user",),
        )

    @classmethod
    def from_tables(
        cls,
        temperature: npt.ArrayLike,
        conductivity: npt.ArrayLike,
        specific_heat: npt.ArrayLike,
        density: npt.ArrayLike,
        *,
        name: str = "tabulated properties",
        source: str = "given by the user",
    ) -> Material:
        """Material from tables over temperature, linear between the points, end values held beyond.

        Parameters
        ----------
        temperature : 1-D array
            degC, strictly increasing, at least two points.
        conductivity, specific_heat : number or array like ``temperature``
            W/mK and J/kgK.
        density : number or array like ``temperature``
            kg/m3. Mass and volume of a part of the piece do not change in heatq, so of an array only the value at
            20 degC (or at the lowest temperature of the table, if that is higher) is used: the density of the cold
            piece, to which the positions refer.
        name, source : str, optional
            For messages and results.

        Notes
        -----
        The enthalpy is the exact integral of the piecewise linear specific heat from 0 degC. A run that goes beyond the
        table says so (:meth:`check_range`). A transformation may be put into the specific heat as a peak; it then acts
        at the same temperature on heating and on cooling, which is wrong for steel (use `heatq.Steel`).

        Examples
        --------
        >>> metal = Material.from_tables([0.0, 100.0], [50.0, 40.0], [400.0, 600.0], 7800.0)
        >>> metal.conductivity(50.0), metal.enthalpy([100.0, 200.0])
        (array([45.]), array([[ 50000., 110000.]]))
        """
        t = _temperatures(temperature)
        dense = _column("density", density, t)
        return cls(
            name=str(name),
            phases=("solid",),
            density=float(np.interp(max(COLD, t[0]), t, dense)),
            conductivity_curves=(Curve.linear(t, _column("conductivity", conductivity, t)),),
            specific_heat_curves=(Curve.linear(t, _column("specific_heat", specific_heat, t)),),
            transformation=((0.0, 0.0),),
            sources=(f"{name}: {source}",),
            temperature_range=(float(t[0]), float(t[-1])),
        )

    def with_phase(
        self,
        phase: str,
        *,
        temperature: npt.ArrayLike,
        conductivity: npt.ArrayLike | None = None,
        specific_heat: npt.ArrayLike | None = None,
        source: str = "given by the user",
    ) -> Material:
        """Copy with measured tables in place of one phase's curves; what is not given stays.

        Heats of transformation keep their value at their reference temperature.

        Parameters
        ----------
        phase : str
            One of ``phases``.
        temperature : 1-D array
            degC, strictly increasing.
        conductivity, specific_heat : array, optional
            W/mK and J/kgK over ``temperature``.
        source : str, optional
            Where the numbers come from.

        Examples
        --------
        >>> from heatq.steels import grade
        >>> own = grade("4140").material.with_phase("austenite", temperature=[300, 900], conductivity=[19.5, 26.5])
        >>> float(own.conductivity(600.0)[-1]), float(own.latent_heat("martensite", 300.0)) / 1e3
        (23.0, 83.8)
        """
        index = self._index(phase)
        t = _temperatures(temperature)
        low, high = self.temperature_range
        changes: dict[str, Any] = {"sources": (*self.sources, f"{phase}: {source}")}
        for argument, field, values in (
            ("conductivity", "conductivity_curves", conductivity),
            ("specific_heat", "specific_heat_curves", specific_heat),
        ):
            if values is not None:
                curves = list(getattr(self, field))
                curves[index] = Curve.linear(t, _column(argument, values, t))
                changes[field] = tuple(curves)
        if len(self.phases) == 1:
            changes["temperature_range"] = (max(low, float(t[0])), min(high, float(t[-1])))
        return dataclasses.replace(self, **changes)

    def conductivity(self, temperature: npt.ArrayLike) -> Array:
        """Thermal conductivity, W/mK; one row per phase."""
        return np.stack([curve(temperature) for curve in self.conductivity_curves])

    def specific_heat(self, temperature: npt.ArrayLike) -> Array:
        """Specific heat, J/kgK; one row per phase. Heats of transformation are not in it, they are in the enthalpy."""
        return np.stack([curve(temperature) for curve in self.specific_heat_curves])

    def enthalpy(self, temperature: npt.ArrayLike) -> Array:
        """Specific enthalpy, J/kg, zero for the last phase (austenite) at 0 degC; one row per phase.

        The row of phase j is h_j(T) = h_A(Tref_j) - L_j + integral of cp_j from Tref_j to T, where L_j is the heat
        released at Tref_j; so the difference between the last row and row j is the heat of that transformation.
        """
        rows = []
        parent = self.specific_heat_curves[-1]
        for curve, (heat, at) in zip(self.specific_heat_curves, self.transformation, strict=True):
            anchor = float(parent.integral(at)) - heat - float(curve.integral(at))
            rows.append(anchor + curve.integral(temperature))
        return np.stack(rows)

    def latent_heat(self, phase: str, temperature: npt.ArrayLike) -> Array:
        """Heat released when ``phase`` forms from the last phase (austenite) at ``temperature``, J/kg.

        Examples
        --------
        >>> from heatq.steels import grade
        >>> grade("1075").material.latent_heat("pearlite", [727.0, 600.0]) / 1e3
        array([82. , 99.2])
        """
        index = self._index(phase)
        enthalpy = self.enthalpy(temperature)
        return np.asarray(enthalpy[-1] - enthalpy[index])

    def check_range(self, low: float, high: float) -> None:
        """Note (`heatq.errors.note_validity`) if ``low`` to ``high`` (degC) leaves the range that the sources cover."""
        source = self.sources[0] if self.sources else "no source given"
        note_validity(f"properties of {self.name}", "temperature", [low, high], *self.temperature_range, "degC", source)

    def _index(self, phase: str) -> int:
        return self.phases.index(check_name("phase", phase, self.phases, what=f"phase of {self.name!r}"))


def _check(argument: str, value: Any, where: str = "") -> float:
    low, high, unit, hint = _LIMITS[argument]
    return check_number(argument + where, value, low=low, high=high, unit=unit, hint=hint)


def _temperatures(temperature: npt.ArrayLike) -> Array:
    """Check the temperatures of a table."""
    try:
        t = np.asarray(temperature, dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"temperature = {temperature!r} is not an array of numbers (degC).") from None
    if t.ndim != 1 or t.size < 2:
        raise InputError(
            f"temperature has shape {t.shape}: a table needs a 1-D array of at least two temperatures (degC); "
            "for constant properties use Material.constant()."
        )
    for value in t:
        check_number("temperature", value, "temperature", high=3000.0)
    falls = np.flatnonzero(np.diff(t) <= 0)
    if falls.size:
        i = int(falls[0])
        raise InputError(
            f"temperature must grow strictly: entry {i + 1} is {t[i]:g} degC and entry {i + 2} is {t[i + 1]:g} degC. "
            "Sort the table, and keep one row per temperature."
        )
    return t


def _column(argument: str, values: npt.ArrayLike, temperature: Array) -> Array:
    """Check one column of a table; a number stands for the whole column."""
    try:
        column = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"{argument} = {values!r} is not a number or an array of numbers.") from None
    if column.ndim == 0:
        _check(argument, column)
        return np.full(temperature.shape, float(column))
    if column.shape != temperature.shape:
        raise InputError(
            f"{argument} has shape {column.shape}, temperature has shape {temperature.shape}: "
            "a table needs one value per temperature."
        )
    for t, value in zip(temperature, column, strict=True):
        _check(argument, value, f" at {t:g} degC")
    return column
