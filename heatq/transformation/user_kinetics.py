"""Your own diagram in place of the model: TTT points or JMAK constants per phase.

Each phase has a `TransformationCurve`; a phase without one does not form. Along a history the incubation is summed by
Scheil's rule, sum of dt / tau(T) = 1, and growth follows the Avrami law with a fictitious time: at every step the time
that would have given the present share at the present temperature, t* = (-ln(1 - X) / b(T))^(1/n), is continued by dt,
X = 1 - exp[-b (t* + dt)^n]. X is continuous across a change of temperature, the fictitious time is not. With one n for
all temperatures the law is isokinetic and this is exact; where n changes with temperature it is the usual approximation.

Shares are *normalised*, as in the built-in kinetics: of the lever-rule limit for ferrite, of what ferrite left for
pearlite, of what both left for bainite. A printed diagram usually states shares of the whole structure: for
proeutectoid ferrite divide them by the limit first.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import InputError, check_name, check_number
from heatq.history import check_history, cooling_rate
from heatq.transformation.additivity import s_integral
from heatq.transformation.critical import critical_temperatures, dissolved_carbon
from heatq.transformation.kinetics import PHASES, TEMPERATURE_GRID, kinetic_tables
from heatq.transformation.rates import ferrite_limit

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["TransformationCurve", "UserKinetics", "transform_with"]

Array = npt.NDArray[np.float64]
Points = Sequence[tuple[float, float]]

#: Phases that take a curve, in the order of the bookkeeping.
DIFFUSIONAL = ("ferrite", "pearlite", "bainite")


def _column(name: str, values: npt.ArrayLike, unit: str, positive: bool = True) -> Array:
    array = np.atleast_1d(np.asarray(values, dtype=float))
    if array.ndim != 1 or not np.isfinite(array).all() or (positive and not (array > 0.0).all()):
        raise InputError(f"{name} must be finite{' positive' if positive else ''} numbers in {unit}.")
    return array


def _points(name: str, points: Points) -> tuple[Array, Array]:
    """Temperatures (increasing) and logarithms of the times of one line of a TTT diagram."""
    array = np.asarray(points, dtype=float)
    if array.ndim != 2 or array.shape[1] != 2 or len(array) < 2:
        raise InputError(f"{name} must be at least two pairs (temperature in degC, time in s), such as (600, 1.5).")
    order = np.argsort(array[:, 0])
    temperature = _column(f"{name}: temperatures", array[order, 0], "degC", positive=False)
    if not (np.diff(temperature) > 0.0).all():
        raise InputError(f"{name}: a temperature is given twice; a line has one time per temperature.")
    return temperature, np.log(_column(f"{name}: times", array[order, 1], "s"))


@dataclasses.dataclass(frozen=True)
class TransformationCurve:
    """Isothermal transformation of one phase over temperature; make it with a ``from_...`` method.

    Parameters
    ----------
    temperature : tuple of float
        degC, increasing; outside this range the phase does not form.
    log_b, exponent : tuple of float
        ln b (b in s^-n) and n of X = 1 - exp(-b t^n) at these temperatures; linear between them.
    log_incubation : tuple of float or None
        ln of the incubation time (s); None: growth begins at once.
    share_after_incubation : float
        Share reached when the incubation ends: 0, or the share of the start line.
    """

    temperature: tuple[float, ...]
    log_b: tuple[float, ...]
    exponent: tuple[float, ...]
    log_incubation: tuple[float, ...] | None = None
    share_after_incubation: float = 0.0

    @classmethod
    def from_jmak(
        cls, temperature: npt.ArrayLike, b: npt.ArrayLike, n: npt.ArrayLike, incubation: npt.ArrayLike | None = None
    ) -> TransformationCurve:
        """Johnson-Mehl-Avrami-Kolmogorov constants: X = 1 - exp(-b t^n).

        Parameters
        ----------
        temperature : array_like
            degC, increasing.
        b : array_like
            s^-n, one per temperature. Mind the unit: the form exp[-(k t)^n] has b = k^n.
        n : float or array_like
            Avrami exponent.
        incubation : array_like, optional
            Incubation time, s, after which t starts to count.

        Examples
        --------
        >>> curve = TransformationCurve.from_jmak([600.0, 700.0], b=[1e-2, 1e-4], n=2.0)
        >>> round(float(curve.share(600.0, 10.0)), 4)
        0.6321
        """
        grid = _column("temperature", temperature, "degC", positive=False)
        if len(grid) < 2 or not (np.diff(grid) > 0.0).all():
            raise InputError("temperature must be at least two increasing numbers in degC.")
        columns = [_column("b", b, "s^-n"), _column("n", np.broadcast_to(n, grid.shape), "1")]
        columns += [] if incubation is None else [_column("incubation", incubation, "s")]
        for name, column in zip(("b", "n", "incubation"), columns, strict=False):
            if len(column) != len(grid):
                raise InputError(f"{name} has {len(column)} values, temperature {len(grid)}; give one per temperature.")
        if not ((columns[1] >= 0.3) & (columns[1] <= 10.0)).all():
            raise InputError(f"n = {n!r} is outside 0.3 to 10; Avrami exponents lie between about 0.5 and 4.")
        return cls(
            tuple(grid.tolist()),
            tuple(np.log(columns[0]).tolist()),
            tuple(columns[1].tolist()),
            None if incubation is None else tuple(np.log(columns[2]).tolist()),
        )

    @classmethod
    def from_points(
        cls, start: Points, finish: Points, *, start_share: float = 0.01, finish_share: float = 0.99
    ) -> TransformationCurve:
        """Start and finish lines of a TTT diagram.

        Incubation lasts to the start line; n and b follow from the two lines, with time counted from zero:
        n = ln[ln(1 - Xf) / ln(1 - Xs)] / ln(tf / ts), b = -ln(1 - Xs) / ts^n.

        Parameters
        ----------
        start, finish : list of (temperature, time)
            degC and s; times are interpolated in their logarithm. Only the temperatures both lines cover are used.
        start_share, finish_share : float
            Normalised shares the lines stand for.

        Examples
        --------
        >>> curve = TransformationCurve.from_points([(700, 10.0), (600, 1.0)], [(700, 200.0), (600, 10.0)])
        >>> curve.share(600.0, [1.0, 10.0]).round(4)
        array([0.01, 0.99])
        """
        check_number("start_share", start_share, low=1e-6, high=0.5, hint="Write 0.01, not 1 %.")
        check_number("finish_share", finish_share, low=0.5, high=1.0 - 1e-6, hint="Write 0.99, not 99 %.")
        early, late = _points("start", start), _points("finish", finish)
        low, high = max(early[0][0], late[0][0]), min(early[0][-1], late[0][-1])
        if not low < high:
            raise InputError("start and finish share no range of temperature; a curve needs both lines.")
        grid = np.unique(np.concatenate([early[0], late[0], [low, high]]))
        grid = grid[(grid >= low) & (grid <= high)]
        first, last = np.interp(grid, *early), np.interp(grid, *late)
        if not (last > first).all():
            worst = grid[np.argmin(last - first)]
            raise InputError(f"finish comes before start at {worst:g} degC; have the two lines been exchanged?")
        n = np.log(np.log1p(-finish_share) / np.log1p(-start_share)) / (last - first)
        log_b = np.log(-np.log1p(-start_share)) - n * first
        return cls(
            tuple(grid.tolist()), tuple(log_b.tolist()), tuple(n.tolist()), tuple(first.tolist()), float(start_share)
        )

    @classmethod
    def from_model(cls, steel: Any, phase: str) -> TransformationCurve:
        """The built-in isothermal rates of a steel, as an Avrami law through 5 and 95 %.

        So that one phase can be replaced by a measured curve and the others kept. The shape differs from the built-in
        law, so that fractions differ by up to 0.1.

        Parameters
        ----------
        steel : Steel
            The heat.
        phase : {"ferrite", "pearlite", "bainite"}
        """
        row = DIFFUSIONAL.index(check_name("phase", phase, DIFFUSIONAL))
        rate = kinetic_tables(steel).rates[:, row]
        running = rate > 0.0
        grid, speed = TEMPERATURE_GRID[running], rate[running]
        if grid.size < 2:
            raise InputError(f"{phase} does not form in {steel!r}.")
        early, late = (float(s_integral(x)) for x in (0.05, 0.95))
        n = np.log(np.log1p(-0.95) / np.log1p(-0.05)) / np.log(late / early)
        log_b = np.log(-np.log1p(-0.05)) - n * np.log(early / speed)
        return cls(tuple(grid.tolist()), tuple(log_b.tolist()), (float(n),) * grid.size)

    def share(self, temperature: float, time: npt.ArrayLike) -> Array:
        """Normalised share after holding at a temperature (degC) for a time (s)."""
        t = np.asarray(time, dtype=float)
        if not self.temperature[0] <= temperature <= self.temperature[-1]:
            return np.zeros(t.shape)
        n = np.interp(temperature, self.temperature, self.exponent)
        b = np.exp(np.interp(temperature, self.temperature, self.log_b))
        if self.log_incubation is None:
            return -np.expm1(-b * t**n)
        tau = np.exp(np.interp(temperature, self.temperature, self.log_incubation))
        if self.share_after_incubation > 0.0:
            return np.where(t >= tau * (1.0 - 1e-12), -np.expm1(-b * t**n), 0.0)
        return -np.expm1(-b * np.maximum(t - tau, 0.0) ** n)


@dataclasses.dataclass(frozen=True)
class UserKinetics:
    """Kinetics of a heat from its own diagram.

    Parameters
    ----------
    ferrite, pearlite, bainite : TransformationCurve, optional
        A phase without a curve does not form.
    ms : float, optional
        Martensite start, degC; default Andrews 1965 from the steel.
    alpha : float
        Koistinen-Marburger coefficient, 1/K.
    ferrite_limit : float, optional
        Largest proeutectoid ferrite fraction; default the lever rule of the steel over temperature.
    source : str
        Where the diagram comes from; kept in the result.

    Examples
    --------
    >>> nose = TransformationCurve.from_points([(700, 30.0), (600, 1.0), (560, 2.0)], [(700, 900.0), (600, 9.0), (560, 20.0)])
    >>> UserKinetics(pearlite=nose, ms=210.0, source="our dilatometer").ms
    210.0
    """

    ferrite: TransformationCurve | None = None
    pearlite: TransformationCurve | None = None
    bainite: TransformationCurve | None = None
    ms: float | None = None
    alpha: float = 0.011
    ferrite_limit: float | None = None
    source: str = ""

    def __post_init__(self) -> None:
        """Check what was given."""
        for phase in DIFFUSIONAL:
            curve = getattr(self, phase)
            if curve is not None and not isinstance(curve, TransformationCurve):
                raise InputError(
                    f"{phase} = {curve!r} is not a TransformationCurve; make one with TransformationCurve.from_points()"
                    " or from_jmak()."
                )
        if self.ms is not None:
            check_number("ms", self.ms, "temperature", high=700.0)
        check_number("alpha", self.alpha, low=1e-4, high=0.1, unit="1/K")
        if self.ferrite_limit is not None:
            check_number(
                "ferrite_limit", self.ferrite_limit, low=0.0, high=1.0, hint="It is a fraction, not a percentage."
            )


def transform_with(
    history: xr.Dataset, steel: Any, kinetics: UserKinetics, *, largest_change: float = 1.0
) -> xr.Dataset:
    """Phase fractions along temperature histories by user-supplied kinetics; result as `heatq.transform` returns it.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` in degC over ``time`` in s, starting in austenite.
    steel : Steel
        Its lever rule and Ms are used where ``kinetics`` does not say otherwise.
    kinetics : UserKinetics
        The curves.
    largest_change : float
        Largest temperature change of one step, K.

    Examples
    --------
    Held at 600 degC after a drop in no time, the Avrami law comes out as it went in:

    >>> import numpy as np, xarray as xr, heatq as hq
    >>> curve = TransformationCurve.from_jmak([500.0, 700.0], b=[1e-2, 1e-2], n=2.0)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), [[850.0], [600.0], [600.0]])},
    ...                      coords={"time": [0.0, 1e-9, 10.0], "probe": ["a"]})
    >>> result = transform_with(history, hq.grade("1075"), UserKinetics(pearlite=curve, ms=200.0))
    >>> round(float(result.fraction.sel(phase="pearlite")[0]), 4)
    0.6321
    """
    import xarray as xr

    from heatq.transformation import _user_kernels

    if not isinstance(kinetics, UserKinetics):
        raise InputError(f"kinetics = {kinetics!r} is not a UserKinetics.")
    temperature = check_history(history)
    check_number("largest_change", largest_change, low=0.01, high=50.0, unit="K")
    tables = _tables(steel, kinetics)
    run: Any = _user_kernels.user_history
    time = np.ascontiguousarray(history["time"].values, dtype=float)
    count = temperature.sizes["probe"]
    parts = np.zeros((5, len(time), count))
    formation = np.full((5, count), np.nan)
    for n in range(count):
        fractions, sums = np.zeros((4, len(time))), np.zeros(3)
        values = np.ascontiguousarray(temperature.values[:, n], dtype=float)
        run(time, values, float(largest_change), *tables, fractions, sums)
        parts[:4, :, n] = fractions
        some = fractions[:3, -1] > 1e-9
        formation[:3, n][some] = sums[some] / fractions[:3, -1][some]
    parts[4] = np.clip(1.0 - parts[:4].sum(axis=0), 0.0, 1.0)
    unit = {"units": "1", "long_name": "phase fraction"}
    return xr.Dataset(
        {
            "fraction": (("phase", "probe"), parts[:, -1], unit),
            "fraction_history": (("phase", "time", "probe"), parts, unit),
            "formation_temperature": (
                ("phase", "probe"),
                formation,
                {"units": "degC", "long_name": "mean temperature of formation"},
            ),
            "cooling_rate_700": cooling_rate(history, 700.0).drop_vars("probe"),
        },
        coords={
            **history["temperature"].coords,
            "phase": ("phase", list(PHASES), {"units": "1", "long_name": "phase"}),
        },
        attrs={
            "heatq_version": __version__,
            "steel": repr(steel),
            "kinetics": f"user-supplied, {kinetics.source or 'source not stated'}",
            "settings": json.dumps({"largest_change": largest_change}),
        },
    )


def _tables(steel: Any, kinetics: UserKinetics) -> tuple[Any, ...]:
    """Arrays in the order of the kernel's arguments."""
    curves = [getattr(kinetics, phase) for phase in DIFFUSIONAL]
    sizes = [0 if curve is None else len(curve.temperature) for curve in curves]
    last = np.cumsum(sizes)

    def joined(name: str, missing: float = 0.0) -> Array:
        parts: list[float] = []
        for curve, size in zip(curves, sizes, strict=True):
            column = None if curve is None else getattr(curve, name)
            parts += [missing] * size if column is None else list(column)
        return np.array(parts)

    ms = kinetics.ms
    if ms is None:
        given = getattr(steel, "austenitizing_temperature", None)
        carbon = dissolved_carbon(steel, 845.0 if given is None else given)
        ms = critical_temperatures(steel, carbon=carbon).ms
    grid = TEMPERATURE_GRID
    if kinetics.ferrite_limit is not None:
        limit = np.full(grid.shape, kinetics.ferrite_limit)
    else:
        limit = ferrite_limit(steel, grid) if kinetics.ferrite is not None else np.zeros(grid.shape)
    return (
        last - np.array(sizes),
        last,
        joined("temperature"),
        joined("log_b"),
        joined("exponent"),
        joined("log_incubation"),
        np.array([0.0 if c is None or c.log_incubation is None else 1.0 for c in curves]),
        np.array([0.0 if c is None else c.share_after_incubation for c in curves]),
        grid,
        np.ascontiguousarray(limit),
        np.array([ms, kinetics.alpha]),
    )
