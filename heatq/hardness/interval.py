"""An interval for every hardness: model, chemistry and grain, and boundary; and where two routes disagree.

What is combined, as standard deviations of ln HV (3 % of HV is about 1 HRC):

* **model**: what remains between prediction and published hardness after chemistry is taken out, by how martensitic the
  place is (`MODEL_ERROR`). Measured by benchmarks/interval.py on bands and tables; no rate constant of the default was
  fitted to them, and the figures leave the judged grade out;
* **chemistry and grain**: the steel is changed one element at a time and transformed along the same history. For a nominal
  grade the grade's range counts as +-2 standard deviations (heats aim at the middle), for a heat with a certificate the
  product-analysis variation does;
* **boundary**: the history is run faster and slower, by as much as the heat-transfer coefficient is uncertain and reaches
  the cooling rate.

Contributions are added as squares, separately upwards and downwards, since in the transition zone a steel has further to
fall than to rise. A heat is one draw: errors of neighbouring places go together, so that a whole curve may lie at one edge.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import uncertainty_of
from heatq.errors import InputError, check_name, check_number, hold_validity
from heatq.hardness.conversion import hrc_from_hv
from heatq.hardness.predict import hardness_of
from heatq.history import check_history
from heatq.steels.grades import grade, grade_ranges, list_grades
from heatq.transformation.fractions import transform
from heatq.transformation.options import DEFAULT, Kinetics

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "ANALYSIS_TOLERANCE",
    "GRAIN_TOLERANCE",
    "MODEL_ERROR",
    "ROUTE_ERROR",
    "composition_tolerance",
    "disagreements",
    "hardness_interval",
    "model_error",
]

Array = npt.NDArray[np.float64]

#: Standard deviation of ln HV left to the model, at 0, 50 and 100 % martensite (with retained austenite). Maximum likelihood
#: gives 0.063, 0.198, 0.036 and 0.051, 0.035, 0.041 (benchmarks/interval.py); rounded up, since normal tails left 24 % of
#: the quenched rounds outside a 90 % interval.
MODEL_ERROR: dict[str, tuple[float, float, float]] = {
    "published": (0.070, 0.200, 0.055),
    "calibrated": (0.065, 0.090, 0.055),
}
#: Product-analysis variation (+-, mass %) of alloy steel bars, two standard deviations: customary values of ASTM A29, from
#: memory, not verified; they depend on section and level, the middle is taken.
ANALYSIS_TOLERANCE = {"C": 0.02, "Mn": 0.04, "Si": 0.03, "Ni": 0.05, "Cr": 0.05, "Mo": 0.02, "V": 0.01, "Cu": 0.03}
#: Two standard deviations of the ASTM grain number: of a nominal grade (common 6 to 9), and of a stated one.
GRAIN_TOLERANCE = {"nominal": 1.5, "stated": 1.0}
#: Standard deviation of the second routes, HRC, against the middles of six H-bands (benchmarks/interval.py).
ROUTE_ERROR = {"hardness_hrc_chemistry": 3.3, "hardness_hrc_regression": 3.0}
_ROUTES = {
    "hardness_hrc_chemistry": "chemistry alone (ASTM A255)",
    "hardness_hrc_regression": "the regression of Just",
}


def model_error(martensite: npt.ArrayLike, kinetics: str = DEFAULT) -> Array:
    """Standard deviation of ln HV of the model alone, over the fraction of martensite; linear between 0, 0.5 and 1.

    Own `Kinetics` count as published.

    Examples
    --------
    >>> bool(model_error(0.5) > model_error(1.0))
    True
    """
    errors = MODEL_ERROR.get(kinetics, MODEL_ERROR["published"])
    return np.interp(np.asarray(martensite, dtype=float), [0.0, 0.5, 1.0], errors)


def composition_tolerance(steel: Any) -> tuple[dict[str, float], str]:
    """Two standard deviations (mass %, and "grain_size" in ASTM numbers) of a steel, and what they stand on.

    Half the range of every element for a nominal grade (a steel equal to what `heatq.grade` gives for its name); the
    product-analysis variation for anything else, since then somebody analysed it.

    Examples
    --------
    >>> import heatq as hq
    >>> tolerance, source = composition_tolerance(hq.grade("4140"))
    >>> round(tolerance["Mn"], 3), source
    (0.125, 'range of 4140')
    >>> composition_tolerance(hq.Steel(C=0.41, Mn=0.86, Cr=1.02))[1]
    'product analysis'
    """
    name = getattr(steel, "name", "")
    if name in list_grades() and grade(name).composition == steel.composition:
        tolerance = {element: 0.5 * (high - low) for element, (low, high) in grade_ranges(name).items()}
        return {**tolerance, "grain_size": GRAIN_TOLERANCE["nominal"]}, f"range of {name}"
    present = {element: part for element, part in steel.composition.items() if part > 0.0}
    known = {element: ANALYSIS_TOLERANCE[element] for element in present if element in ANALYSIS_TOLERANCE}
    return {**known, "grain_size": GRAIN_TOLERANCE["stated"]}, "product analysis"


def _uncertainty_of(boundary: Any) -> float | None:
    """Relative uncertainty of h: a number, what a boundary states, or the largest of those of a dict."""
    if isinstance(boundary, Mapping):
        known = [value for value in map(_uncertainty_of, boundary.values()) if value is not None]
        return max(known) if known else None
    if isinstance(boundary, int | float):
        return check_number("boundary", boundary, low=0.0, high=0.95, unit="1", hint="0.25 is +-25 % of h.")
    return uncertainty_of(boundary)


def _share_reaching(temperature: Array) -> Array:
    """Slope d ln(rate) / d ln(h) at every probe of a piece, from the spread of the probes against what drives the flux.

    With Bi as that ratio, when the mean of the probes passes 650 degC: 1 / (1 + Bi) at the hottest probe, where a thin
    piece follows h fully and in a thick one the steel's own conduction decides; 2 - 1 / (1 + Bi) at the coldest, since the
    surface of a thick piece cools in a time proportional to 1 / h^2; linear in temperature between. An estimate.
    """
    mean = temperature.mean(axis=1)
    at = temperature[np.argmax(mean <= 650.0)] if (mean <= 650.0).any() else temperature[-1]
    apart = float(at.max() - at.min())
    centre = 1.0 / (1.0 + apart / max(float(at.min() - temperature[-1].min()), 1.0))
    return centre + (2.0 - 2.0 * centre) * (at.max() - at) / max(apart, 1e-9)


def _at_other_rate(history: xr.Dataset, factor: float, share: Array) -> xr.Dataset:
    """The history with the time of every probe divided by factor^share."""
    import xarray as xr

    time, values = history["time"].values, history["temperature"].transpose("time", "probe").values
    speed = factor**share
    longer = time / min(float(speed.min()), 1.0)
    changed = [np.interp(longer * speed[n], time, values[:, n]) for n in range(values.shape[1])]
    return xr.Dataset(
        {"temperature": (("time", "probe"), np.stack(changed, axis=1))},
        coords={"time": longer, "probe": history["probe"].values},
    )


def _ln_hv(history: xr.Dataset, steel: Any, kinetics: str | Kinetics) -> tuple[Array, Array]:
    """Logarithm of HV, and the fraction of martensite (with austenite), along a history."""
    parts = transform(history, steel, kinetics=kinetics)
    hv = hardness_of(parts, steel)["hardness_hv"].values
    return np.log(hv), parts["fraction"].sel(phase=["martensite", "austenite"]).sum("phase").values


def hardness_interval(
    result: xr.Dataset,
    steel: Any,
    *,
    level: float = 0.90,
    boundary: Any = None,
    tolerance: Mapping[str, float] | None = None,
    kinetics: str | Kinetics = DEFAULT,
) -> xr.Dataset:
    """Interval that holds the hardness of a heat with a given probability.

    Parameters
    ----------
    result : xarray.Dataset
        Of `heatq.trial`, or ``temperature(time, probe)`` and ``hardness_hv(probe)``.
    steel : Steel
        The heat or nominal grade.
    level : float
        Probability, 0.5 to 0.999.
    boundary : float, boundary or dict, optional
        Relative uncertainty of the heat-transfer coefficient (0.25 is +-25 %, two standard deviations), a boundary that
        states its own (``relative_uncertainty``), or the dict of boundaries of the trial (the largest counts). Left out,
        the interval is for this very cooling history, and says so.
    tolerance : dict, optional
        Two standard deviations per element (mass %) and ``grain_size``; by default :func:`composition_tolerance`.
    kinetics : str or Kinetics
        As in the trial.

    Returns
    -------
    xarray.Dataset
        ``result`` with ``hardness_interval(bound, probe)`` in HRC (NaN where a bound is below 20 HRC),
        ``hardness_interval_hv(bound, probe)`` and ``hardness_deviation(source, probe)``: one standard deviation in HV from
        model, chemistry and boundary. Attribute ``hardness_interval_basis``: level and what the parts stand on.

    Notes
    -----
    Normal distributions in ln HV; one-at-a-time changes of one standard deviation along the same history (the latent heat
    of the changed steel is not followed up); rates change by (1 +- u/2)^m, with m between 0 and 2 estimated from how far the
    probes differ.

    Examples
    --------
    >>> import numpy as np, xarray as xr, heatq as hq
    >>> time = np.linspace(0.0, 60.0, 600)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 13.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> steel = hq.grade("4140")
    >>> result = history.merge(hq.hardness_of(hq.transform(history, steel), steel))
    >>> low, high = hardness_interval(result, steel).hardness_interval.values[:, 0]
    >>> bool(low < float(result.hardness_hrc[0]) < high)
    True
    """
    from scipy.special import ndtri

    check_number("level", level, low=0.5, high=0.999, unit="1", hint="It is a probability: 0.9, not 90.")
    temperature = check_history(result)
    if "hardness_hv" not in result:
        raise InputError("result has no hardness_hv: pass the result of trial(), or add that of hardness_of().")
    chosen, basis = composition_tolerance(steel)
    if tolerance is not None:
        for name in tolerance:
            check_name("tolerance", name, [*steel.composition, "grain_size"])
        chosen, basis = dict(tolerance), "given"
    history = result[["temperature"]]
    with hold_validity():
        centre, martensite = _ln_hv(history, steel, kinetics)
        up, down = np.zeros_like(centre), np.zeros_like(centre)
        for name, two in chosen.items():
            value = float(getattr(steel, name))
            sides = []
            for sign in (-1.0, 1.0):
                changed = max(value + 0.5 * sign * two, 1.0 if name == "grain_size" else 0.0)
                sides.append(_ln_hv(history, steel.replace(**{name: changed}), kinetics)[0] - centre)
            up += np.maximum(np.maximum(*sides), 0.0) ** 2
            down += np.minimum(np.minimum(*sides), 0.0) ** 2
        chemistry_up, chemistry_down = up.copy(), down.copy()
        uncertainty = None if boundary is None else _uncertainty_of(boundary)
        boundary_up, boundary_down = np.zeros_like(up), np.zeros_like(up)
        if uncertainty:
            share = _share_reaching(temperature.values)
            sides = []
            for factor in (1.0 - 0.5 * uncertainty, 1.0 + 0.5 * uncertainty):
                sides.append(_ln_hv(_at_other_rate(history, factor, share), steel, kinetics)[0] - centre)
            boundary_up = np.maximum(np.maximum(*sides), 0.0) ** 2
            boundary_down = np.minimum(np.minimum(*sides), 0.0) ** 2
    own = model_error(martensite, kinetics if isinstance(kinetics, str) else kinetics.name)
    times = float(ndtri(0.5 + 0.5 * level))
    ln_hv = np.log(result["hardness_hv"].values)
    low = np.exp(ln_hv - times * np.sqrt(own**2 + chemistry_down + boundary_down))
    high = np.exp(ln_hv + times * np.sqrt(own**2 + chemistry_up + boundary_up))
    hv = result["hardness_hv"].values
    parts = [
        own,
        np.sqrt(0.5 * (chemistry_up + chemistry_down)),
        np.sqrt(0.5 * (boundary_up + boundary_down)),
    ]
    both = np.stack([low, high])
    result = result.copy()
    result.coords["bound"] = ("bound", ["low", "high"], {"units": "1", "long_name": "bound of the interval"})
    result.coords["source"] = (
        "source",
        ["model", "chemistry", "boundary"],
        {"units": "1", "long_name": "source of uncertainty"},
    )
    name = f"hardness, {100 * level:g} % interval"
    result["hardness_interval"] = (
        ("bound", "probe"),
        np.asarray(hrc_from_hv(both)),
        {"units": "HRC", "long_name": name},
    )
    result["hardness_interval_hv"] = (("bound", "probe"), both, {"units": "HV", "long_name": name})
    result["hardness_deviation"] = (
        ("source", "probe"),
        np.stack(parts) * hv,
        {"units": "HV", "long_name": "standard deviation of the hardness"},
    )
    spread = "not included" if not uncertainty else f"h +-{100 * uncertainty:g} %"
    result.attrs["hardness_interval_basis"] = (
        f"{100 * level:g} %; model: measured on bands and tables; chemistry: {basis}; boundary: {spread}"
    )
    return result


def disagreements(result: xr.Dataset) -> list[str]:
    """Where the second routes disagree with the kinetics beyond both intervals, in words.

    Parameters
    ----------
    result : xarray.Dataset
        Of `heatq.trial`; with :func:`hardness_interval` its interval is used, else the model's own error.

    Returns
    -------
    list of str
        One sentence per route and run of neighbouring probes; empty where they agree.

    Examples
    --------
    >>> import xarray as xr
    >>> result = xr.Dataset({"hardness_hrc": ("probe", [55.0, 50.0]), "hardness_hrc_chemistry": ("probe", [55.0, 30.0]),
    ...                      "hardness_interval": (("bound", "probe"), [[53.0, 46.0], [57.0, 54.0]])},
    ...                     coords={"probe": ["J1", "J8"]})
    >>> print(disagreements(result)[0])
    At J8 the kinetics give 50 HRC (46 to 54) but chemistry alone (ASTM A255) gives 30 HRC (25 to 35): more than their
    intervals allow; do not trust either there without a measured curve of the heat.
    """
    from scipy.special import ndtri

    if "hardness_hrc" not in result:
        raise InputError("result has no hardness_hrc: pass the result of trial().")
    times = float(ndtri(0.95))
    hrc = result["hardness_hrc"].values
    if "hardness_interval" in result:
        low, high = result["hardness_interval"].transpose("bound", "probe").values
    else:
        low, high = hrc - 2.0 * times, hrc + 2.0 * times
    low, high = np.where(np.isfinite(low), low, 20.0), np.where(np.isfinite(high), high, 20.0)  # below the scale
    shown = np.where(np.isfinite(hrc), hrc, 20.0)
    labels = [str(p) for p in result["probe"].values]
    sentences = []
    for route, words in _ROUTES.items():
        if route not in result:
            continue
        other, half = result[route].values, times * ROUTE_ERROR[route]
        with np.errstate(invalid="ignore"):
            apart = (other - half > high) | (other + half < low)
        n = 0
        while n < len(labels):
            if not apart[n]:
                n += 1
                continue
            last = n
            while last + 1 < len(labels) and apart[last + 1]:
                last += 1
            worst = n + int(np.argmax(np.abs(other - shown)[n : last + 1]))
            value = f"{hrc[worst]:.0f}" if np.isfinite(hrc[worst]) else "less than 20"
            where = f"At {labels[n]}" if last == n else f"From {labels[n]} to {labels[last]} (here {labels[worst]})"
            sentences.append(
                f"{where} the kinetics give {value} HRC ({low[worst]:.0f} to {high[worst]:.0f}) but {words} gives "
                f"{other[worst]:.0f} HRC ({other[worst] - half:.0f} to {other[worst] + half:.0f}): more than their "
                "intervals allow; do not trust either there without a measured curve of the heat."
            )
            n = last + 1
    return sentences
