"""What may vary in a study, and how: distributions with units, correlated ones, and those of a steel."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.errors import LIMITS, InputError, check_name, check_number
from heatq.hardness.interval import composition_tolerance
from heatq.steels.grades import grade, grade_ranges
from heatq.steels.steel import ELEMENTS

__all__ = ["CorrelatedNormals", "Distribution", "heat_distributions", "names_of"]

Array = npt.NDArray[np.float64]

#: Grain numbers that a sample may reach: heat treaters' charts end at 1, and the finest that a Steel takes.
_GRAINS = (1.0, LIMITS["grain_size"].high)


@dataclasses.dataclass(frozen=True)
class Distribution:
    """How one quantity varies: a distribution, its unit, and what it is.

    Make one with `uniform`, `normal`, `truncated_normal`, `lognormal`, `triangular` or `factor`, or from any frozen
    distribution of `scipy.stats`.

    Parameters
    ----------
    shape : frozen distribution
        With ``ppf`` and ``support``, such as ``scipy.stats.weibull_min(2.0, scale=3.0)``.
    units : str
        Unit of the quantity in heatq's system ("degC", "Pa", "m/s"; "1" for a pure number).
    long_name : str
        What it is, for axes and tables; the name of the parameter if empty.
    told : str
        The distribution in words; written into the sample.

    Examples
    --------
    >>> from scipy.constants import bar
    >>> pressure = Distribution.normal(10 * bar, 0.3 * bar, units="Pa", long_name="gas pressure")
    >>> pressure
    Distribution(normal, mean 1e+06, standard deviation 30000, Pa)
    >>> float(pressure.at(0.5)) == 10 * bar
    True
    """

    shape: Any
    units: str = "1"
    long_name: str = ""
    told: str = ""

    def __post_init__(self) -> None:
        """Check that the shape is one."""
        if not (callable(getattr(self.shape, "ppf", None)) and callable(getattr(self.shape, "support", None))):
            raise InputError(
                f"shape = {self.shape!r} is not a frozen distribution of scipy.stats; give its parameters, such as "
                "scipy.stats.norm(10.0, 0.5), or use Distribution.normal(10.0, 0.5)."
            )
        for name in ("units", "long_name"):
            if not isinstance(getattr(self, name), str):
                raise InputError(f"{name} = {getattr(self, name)!r} of a Distribution is not text.")
        if not self.told:
            low, high = self.shape.support()
            kind = getattr(getattr(self.shape, "dist", None), "name", type(self.shape).__name__)
            object.__setattr__(self, "told", f"{kind} from {float(low):g} to {float(high):g}")

    def __repr__(self) -> str:
        unit = "" if self.units == "1" else f", {self.units}"
        return f"Distribution({self.told}{unit})"

    @classmethod
    def uniform(cls, low: float, high: float, *, units: str = "1", long_name: str = "") -> Distribution:
        """Anything from ``low`` to ``high``, all alike.

        Parameters
        ----------
        low, high : float
            Limits.
        units, long_name : str
            As in the class.
        """
        from scipy.stats import uniform

        low, high = _rising("uniform", low=low, high=high)
        return cls(uniform(low, high - low), units, long_name, f"uniform from {low:g} to {high:g}")

    @classmethod
    def normal(cls, mean: float, deviation: float, *, units: str = "1", long_name: str = "") -> Distribution:
        """Gauss's distribution. It has no limits: for a quantity that has one take `truncated_normal`.

        Parameters
        ----------
        mean, deviation : float
            Mean and standard deviation.
        units, long_name : str
            As in the class.
        """
        from scipy.stats import norm

        mean, deviation = check_number("mean", mean), check_number("deviation", deviation, low=0.0, low_open=True)
        return cls(norm(mean, deviation), units, long_name, f"normal, mean {mean:g}, standard deviation {deviation:g}")

    @classmethod
    def truncated_normal(
        cls, mean: float, deviation: float, low: float, high: float, *, units: str = "1", long_name: str = ""
    ) -> Distribution:
        """Gauss's distribution between two limits; what lay outside is spread over what is inside.

        Parameters
        ----------
        mean, deviation : float
            Of the distribution before it is cut.
        low, high : float
            Limits; ``math.inf`` for none.
        units, long_name : str
            As in the class.
        """
        from scipy.stats import truncnorm

        mean, deviation = check_number("mean", mean), check_number("deviation", deviation, low=0.0, low_open=True)
        low, high = _rising("truncated_normal", low=low, high=high)
        if high < mean - 8.0 * deviation or low > mean + 8.0 * deviation:
            raise InputError(
                f"truncated_normal: {low:g} to {high:g} holds nothing of mean {mean:g} +- {deviation:g}; the limits "
                "must reach within eight standard deviations of the mean."
            )
        shape = truncnorm((low - mean) / deviation, (high - mean) / deviation, loc=mean, scale=deviation)
        told = f"normal, mean {mean:g}, standard deviation {deviation:g}, from {low:g}"
        told += f" to {high:g}" if np.isfinite(high) else " on"
        return cls(shape, units, long_name, told)

    @classmethod
    def lognormal(cls, median: float, factor: float, *, units: str = "1", long_name: str = "") -> Distribution:
        """Normal in the logarithm: two thirds lie between median / factor and median * factor.

        Parameters
        ----------
        median : float
            Above zero.
        factor : float
            One standard deviation of the logarithm as a factor: 1.2 for some 20 %.
        units, long_name : str
            As in the class.
        """
        from scipy.stats import lognorm

        median = check_number("median", median, low=0.0, low_open=True)
        factor = check_number("factor", factor, low=1.0, low_open=True, hint="One standard deviation: 1.2 for 20 %.")
        told = f"lognormal, median {median:g}, one standard deviation a factor {factor:g}"
        return cls(lognorm(np.log(factor), scale=median), units, long_name, told)

    @classmethod
    def triangular(
        cls, low: float, likeliest: float, high: float, *, units: str = "1", long_name: str = ""
    ) -> Distribution:
        """Between two limits, likeliest somewhere between: what an expert can state.

        Parameters
        ----------
        low, likeliest, high : float
            Rising.
        units, long_name : str
            As in the class.
        """
        from scipy.stats import triang

        low, high = _rising("triangular", low=low, high=high)
        likeliest = check_number("likeliest", likeliest, low=low, high=high)
        shape = triang((likeliest - low) / (high - low), low, high - low)
        return cls(shape, units, long_name, f"triangular from {low:g} over {likeliest:g} to {high:g}")

    @classmethod
    def factor(cls, uncertainty: Any, *, long_name: str = "factor of the heat-transfer coefficient") -> Distribution:
        """A factor around 1, such as that of h (``turbulence_factor`` of a gas stream).

        Parameters
        ----------
        uncertainty : float or boundary
            Relative, two standard deviations: 0.25 is +-25 %; of a boundary its own ``relative_uncertainty``.
        long_name : str
            As in the class.

        Notes
        -----
        Normal in the logarithm, with two standard deviations ln(1 + uncertainty): never negative, and to halve h is as
        likely as to double it.

        Examples
        --------
        >>> Distribution.factor(0.25)
        Distribution(lognormal, median 1, one standard deviation a factor 1.11803)
        """
        own = getattr(uncertainty, "relative_uncertainty", uncertainty)
        if own is None:
            raise InputError(f"{uncertainty!r} states no relative_uncertainty; give a number, such as 0.25 for +-25 %.")
        own = check_number("uncertainty", own, low=0.0, high=3.0, low_open=True, hint="0.25 is +-25 %.")
        return cls.lognormal(1.0, float(np.sqrt(1.0 + own)), units="1", long_name=long_name)

    def at(self, share: npt.ArrayLike) -> Array:
        """Value below which a share of all lies (the inverse distribution function).

        Parameters
        ----------
        share : float or array
            0 to 1.
        """
        return np.asarray(self.shape.ppf(np.asarray(share, dtype=float)), dtype=float)


@dataclasses.dataclass(frozen=True)
class CorrelatedNormals:
    """Quantities that vary together: means and a covariance, such as that of the chemistry of many heats.

    In a set of distributions its key is only a label; its quantities have their own names. There are no limits: where a
    value becomes impossible the case fails and says so.

    Parameters
    ----------
    mean : dict
        Name -> mean.
    covariance : array
        Square, in the order of the names, in the products of their units.
    units : str or dict
        Of all, or per name.

    Examples
    --------
    >>> import numpy as np
    >>> heats = np.array([[0.40, 0.85], [0.41, 0.90], [0.39, 0.84], [0.42, 0.88]])       # C and Mn of four heats
    >>> CorrelatedNormals(dict(zip(("C", "Mn"), heats.mean(axis=0))), np.cov(heats.T), units="%")
    CorrelatedNormals(C, Mn)
    """

    mean: Mapping[str, float]
    covariance: npt.ArrayLike
    units: str | Mapping[str, str] = "1"
    root: Array = dataclasses.field(init=False, repr=False, compare=False, default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        """Check the matrix and take its root."""
        if not isinstance(self.mean, Mapping) or not self.mean:
            raise InputError("mean of CorrelatedNormals must be a dict from name to mean, with at least one name.")
        for name, value in self.mean.items():
            check_number(f"mean of {name}", value)
        matrix = np.asarray(self.covariance, dtype=float)
        size = len(self.mean)
        if matrix.shape != (size, size) or not np.allclose(matrix, matrix.T):
            raise InputError(
                f"covariance has shape {matrix.shape}; for {size} quantities it is a symmetric {size} x {size} matrix."
            )
        values, vectors = np.linalg.eigh(matrix) if np.isfinite(matrix).all() else (np.array([-1.0]), matrix)
        if values.min() < -1e-9 * max(values.max(), 1e-300):
            raise InputError(
                "covariance is not that of any quantities: it has a negative eigenvalue, or a value that is no "
                "number. Take numpy.cov of the heats."
            )
        # Triangular, so that the first quantity takes the first coordinate of the points, the best spread one.
        upper: Any = np.linalg.qr((vectors * np.sqrt(np.maximum(values, 0.0))).T, mode="r")
        object.__setattr__(self, "root", (upper * np.where(np.diag(upper) < 0.0, -1.0, 1.0)[:, None]).T)

    def __repr__(self) -> str:
        return f"CorrelatedNormals({', '.join(self.mean)})"

    @property
    def told(self) -> str:
        """The distribution in words."""
        matrix = np.asarray(self.covariance, dtype=float)
        spread = np.sqrt(np.diag(matrix))
        parts = [f"{name} {mean:g} +- {s:g}" for (name, mean), s in zip(self.mean.items(), spread, strict=True)]
        return f"correlated normals, {', '.join(parts)}"

    def at(self, share: npt.ArrayLike) -> Array:
        """Values of all quantities (last axis) from independent shares.

        Parameters
        ----------
        share : array
            0 to 1, one per quantity along the last axis.
        """
        from scipy.special import ndtri

        return np.array(list(self.mean.values())) + ndtri(np.asarray(share, dtype=float)) @ self.root.T


def _rising(what: str, **limits: float) -> tuple[float, float]:
    (low_name, low), (high_name, high) = limits.items()
    try:
        pair = (float(low), float(high))
        if pair[0] < pair[1]:
            return pair
    except (TypeError, ValueError):
        pass
    raise InputError(f"{what}: {low_name} = {low!r} must lie below {high_name} = {high!r}.")


def names_of(distributions: Mapping[str, Any]) -> list[str]:
    """Names of the quantities, those of correlated ones included; checks the mapping."""
    if not isinstance(distributions, Mapping) or not distributions:
        raise InputError(
            "distributions must be a dict from name to Distribution, such as "
            '{"velocity": Distribution.uniform(5.0, 20.0)}.'
        )
    names: list[str] = []
    for name, distribution in distributions.items():
        if isinstance(distribution, CorrelatedNormals):
            names += list(distribution.mean)
        elif isinstance(distribution, Distribution):
            names.append(str(name))
        else:
            raise InputError(
                f"distributions: {name!r} is {distribution!r}; give a Distribution, such as Distribution.normal(10.0, 0.5), "
                "or for a frozen distribution of scipy.stats Distribution(that, units=...)."
            )
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"distributions: {', '.join(twice)} is given twice, alone and in correlated normals.")
    return names


def heat_distributions(steel: Any, *, elements: Sequence[str] | None = None) -> dict[str, Distribution]:
    """How the chemistry and the grain size of a steel vary, as distributions.

    Parameters
    ----------
    steel : Steel or str
        A grade by name, or its nominal steel: the heats of that grade, within its ranges. Any other steel, such as a
        heat with its certificate: what a product analysis may differ from the heat analysis.
    elements : sequence of str, optional
        Only these (and "grain_size" if it is named); by default all that vary.

    Returns
    -------
    dict
        Element (mass %) and ``grain_size`` (ASTM number) -> Distribution; ``steel.replace(**values)`` takes them.

    Notes
    -----
    Normal, as in `heatq.hardness_interval`: the range of a grade is +-2 standard deviations around its middle (mills
    aim there), cut at the range, since a heat outside is not sold as that grade. The product-analysis variation is
    +-2 standard deviations too, cut only at zero. Elements are taken as independent; for the covariance of your own
    heats use `CorrelatedNormals`.

    Examples
    --------
    >>> heat_distributions("4140")["Mn"]
    Distribution(normal, mean 0.875, standard deviation 0.0625, from 0.75 to 1, %)
    """
    if isinstance(steel, str):
        steel = grade(steel)
    if not isinstance(getattr(steel, "composition", None), dict):
        raise InputError(f"steel = {steel!r} is neither a Steel nor the name of a grade.")
    tolerance, basis = composition_tolerance(steel)
    ranges = grade_ranges(steel.name) if basis.startswith("range of") else {}
    found: dict[str, Distribution] = {}
    for symbol, two in tolerance.items():
        is_grain = symbol == "grain_size"
        low, high = _GRAINS if is_grain else ranges.get(symbol, (0.0, np.inf))
        found[symbol] = Distribution.truncated_normal(
            float(getattr(steel, symbol)),
            0.5 * two,
            low,
            high,
            units="ASTM number" if is_grain else "%",
            long_name="grain size" if is_grain else ELEMENTS[symbol].english,
        )
    if elements is None:
        return found
    for element in elements:
        check_name("elements", element, found, what="element that varies")
    return {element: found[element] for element in elements}
