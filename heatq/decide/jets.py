"""The gas end-quench test against the water one: which gas jet duplicates the water curve of a heat, from where on."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.constants import bar

from heatq._version import __version__
from heatq.boundaries import WaterJet
from heatq.boundaries.gas import gas_name
from heatq.boundaries.timeline import for_piece, uncertainty_of
from heatq.decide.enough import check_span
from heatq.decide.quenches import BathQuench, GasQuench
from heatq.decide.runs import run_many
from heatq.errors import InputError, check_name, check_number, collect_validity
from heatq.hardness.equal_cooling import JOMINY_RATE_TABLE
from heatq.specimens import EndQuenchBar
from heatq.transformation.options import DEFAULT
from heatq.units import sixteenths

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["match_endquench"]

Array = npt.NDArray[np.float64]

_POSITIONS = tuple(float(row.position) for row in JOMINY_RATE_TABLE)
_SETTINGS: dict[str, tuple[str, str, tuple[float, float]]] = {
    "velocity": ("m/s", "velocity at the nozzle", (20.0, 200.0)),
    "pressure": ("Pa", "pressure of the chamber, absolute", (1.0 * bar, 25.0 * bar)),
}


def match_endquench(
    steel: Any,
    quench: Any = None,
    *,
    vary: str = "velocity",
    within: float = 3.0,
    lowest: float | None = None,
    highest: float | None = None,
    runs: int = 6,
    positions: Sequence[float] = _POSITIONS,
    water_temperature: float = 24.0,
    air_emissivity: float = 0.3,
    initial_temperature: float | None = None,
    accuracy: float = 2.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Compare the end-quench curve of a gas jet with that of the water jet, on the ASTM A255 bar, for this heat.

    Parameters
    ----------
    steel : Steel
        The heat.
    quench : GasQuench, optional
        The gas, its temperature, and the setting that is not varied; default nitrogen at 1 bar and 25 degC. On the bar it is a
        `heatq.GasJet` on the end; sides and top see the gas of the chamber at rest.
    vary : {"velocity", "pressure"}
        What goes from ``lowest`` to ``highest``.
    within : float
        How near is near enough, HRC.
    lowest, highest : float, optional
        Default 20 to 200 m/s at the nozzle, or 1 to 25 bar.
    runs : int
        Number of settings that are run, evenly spaced in the logarithm, each a 2-D simulation. Six are a survey: a window
        between two of them is missed; take 30 for a figure to quote.
    positions : sequence of float
        Distances from the quenched end, 1/16 in; default J1 to J32 as published.
    water_temperature, air_emissivity : float
        Of the water (degC), and of the bar in the air of the water test.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    accuracy : float
        Of the histories, K.
    kinetics : str or Kinetics
        As in `heatq.simulate`.

    Returns
    -------
    Dataset
        ``water_hardness(position)``, ``gas_hardness(velocity, position)`` and ``difference`` (gas minus water), HRC;
        ``is_matched(velocity, position)``; ``matched_from(velocity)``: first position from which on all are matched, NaN if
        the last one is not. Over ``position``: ``least_velocity`` at which the gas is no more than ``within`` softer, and
        ``most_velocity`` at which it is no more than ``within`` harder, both linear in the logarithm between the two runs in
        ``least_velocity_bracket(bound)``; ``status``: "at every setting", "from least on", "up to most", "from least to most"
        or "never"; ``best_difference`` the smallest difference run. Below 20 HRC the Rockwell scale ends and hardness is
        compared after conversion from Vickers as far as it reaches: such positions are NaN and never count as matched.

    Notes
    -----
    The correlations for gas jets spread by +-35 % in h at this geometry, and h rises with the velocity slower than the
    velocity does, so that the setting is known much worse than h: ``velocity_factor`` is (1 / (1 - u)) to the power of 1/n,
    with the stated u and the exponent n of h that the jet has at the geometric mean of the limits (attribute
    ``h_exponent``; where two correlations are joined, at 1 bar and some 60 m/s, n is as low as 0.3). Near the speed of sound
    (350 m/s in nitrogen) nothing here holds. Notes of ranges passed are in the attribute ``warnings``.

    Examples
    --------
    >>> import heatq as hq
    >>> found = match_endquench(hq.grade("4340"), lowest=40.0, highest=120.0, runs=2, positions=[1, 8, 16])
    >>> found.difference.round(0).dims
    ('velocity', 'position')
    """
    made, limits = _checked(quench, vary, within, lowest, highest, runs, positions)
    settings = np.geomspace(*limits, runs)
    settings[[0, -1]] = limits
    piece, water = EndQuenchBar(), BathQuench(WaterJet(water_temperature), "water jet", emissivity=air_emissivity)
    probes = [f"J{one:g}" for one in positions]
    cases = [(piece, steel, water), *((piece, steel, made.replace(**{vary: float(x)})) for x in settings)]
    run = {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics}
    found = run_many(
        cases, lambda one: (one["hardness_hrc"].values, one["cooling_time_800_500"].values), probes=probes, **run
    )
    hrc, times = (np.array([one[n] for one in found]) for n in (0, 1))
    result = _compared(hrc, times, settings, np.array(positions, dtype=float), vary, within)
    _add_factor(result, made, vary)
    result.attrs |= {
        "heatq_version": __version__,
        "within": within,
        "searched": vary,
        "gas": gas_name(made.gas),
        "steel": str(getattr(steel, "name", "")),
        "lowest": limits[0],
        "highest": limits[1],
        ("pressure" if vary == "velocity" else "velocity"): made.pressure if vary == "velocity" else made.velocity,
        "settings": json.dumps(
            {
                "steel": repr(steel),
                "gas": repr(made),
                "water": repr(water),
                **{k: v if v is None or isinstance(v, int | float) else str(v) for k, v in run.items()},
            }
        ),
    }
    return result


def _checked(
    quench: Any,
    vary: str,
    within: float,
    lowest: float | None,
    highest: float | None,
    runs: int,
    positions: Sequence[float],
) -> tuple[GasQuench, tuple[float, float]]:
    made = GasQuench("nitrogen", velocity=60.0, temperature=25.0) if quench is None else quench
    if not isinstance(made, GasQuench):
        raise InputError(f"quench = {quench!r} must be a GasQuench: its gas is blown at the end of the bar.")
    check_name("vary", vary, _SETTINGS)
    check_number("within", within, low=0.1, high=20.0, unit="HRC")
    if not isinstance(runs, int) or not 2 <= runs <= 40:
        raise InputError(f"runs = {runs!r} must be a whole number from 2 to 40; each is a simulation of the bar.")
    limits = _SETTINGS[vary][2]
    limits = (limits[0] if lowest is None else lowest, limits[1] if highest is None else highest)
    check_span(limits, vary)
    steps = np.diff(np.array(positions, dtype=float))
    if not len(positions) or not (steps > 0.0).all() or not 0.0 < positions[0] <= positions[-1] < 64.0:
        raise InputError(
            f"positions = {positions!r}: sixteenths of an inch, rising, above 0 and below 64 (4 in of bar)."
        )
    return made, limits


def _crossed(x: Array, excess: Array) -> tuple[float, tuple[float, float]]:
    """First setting at which a value that should rise passes zero, linear in ln x, and the two runs around it."""
    up = np.flatnonzero((excess[:-1] < 0.0) & (excess[1:] >= 0.0))
    if not up.size:
        return float("nan"), (float("nan"), float("nan"))
    k = int(up[0])
    share = -excess[k] / (excess[k + 1] - excess[k])
    return float(x[k] * (x[k + 1] / x[k]) ** share), (float(x[k]), float(x[k + 1]))


def _in_words(matched: Array, comparable: bool, has_least: bool, has_most: bool) -> str:
    if not comparable:
        return "below 20 HRC"
    if has_least and has_most:
        return "from least to most"
    if matched.all():
        return "at every setting"
    if has_least:
        return "from least on"
    if has_most:
        return "up to most"
    return "at some settings" if matched.any() else "never"


def _compared(hrc: Array, times: Array, x: Array, positions: Array, vary: str, within: float) -> xr.Dataset:
    import xarray as xr

    unit, words, _ = _SETTINGS[vary]
    difference = hrc[1:] - hrc[0]
    matched, comparable = np.abs(difference) <= within, np.isfinite(hrc[0])
    # a gas bar below 20 HRC, where the scale ends, is softer than 20: enough to know on which side of the limit it is
    floor = 20.0 - hrc[0] + np.zeros_like(difference)
    sided = np.where(np.isnan(difference) & (floor < -within), floor, difference)
    first = np.full(len(x), np.nan)
    for n, row in enumerate(matched):
        bad = np.flatnonzero(~row & comparable)
        after = np.flatnonzero(comparable)
        after = after[after > bad[-1]] if bad.size else after
        if after.size:
            first[n] = sixteenths(positions[after[0]])
    least, most = np.full(len(positions), np.nan), np.full(len(positions), np.nan)
    bracket = np.full((len(positions), 2), np.nan)
    status = []
    for j, column in enumerate(sided.T):
        least[j], bracket[j] = _crossed(x, column + within)
        most[j] = _crossed(x, column - within)[0]
        status.append(_in_words(matched[:, j], comparable[j], np.isfinite(least[j]), np.isfinite(most[j])))
    nearest = np.array([c[np.nanargmin(np.abs(c))] if np.isfinite(c).any() else np.nan for c in difference.T])
    mark, d = {"units": "1"}, ("position",)
    data: dict[str, Any] = {
        "water_hardness": (d, hrc[0], {"units": "HRC", "long_name": "hardness after the water end quench"}),
        "gas_hardness": (
            (vary, "position"),
            hrc[1:],
            {"units": "HRC", "long_name": "hardness after the gas end quench"},
        ),
        "difference": ((vary, "position"), difference, {"units": "HRC", "long_name": "gas minus water"}),
        "is_matched": ((vary, "position"), matched, {**mark, "long_name": f"within {within:g} HRC"}),
        "matched_from": (vary, first, {"units": "m", "long_name": "distance from which on all positions are matched"}),
        f"least_{vary}": (
            d,
            least,
            {"units": unit, "long_name": f"{words}: above it no more than {within:g} HRC softer"},
        ),
        f"most_{vary}": (
            d,
            most,
            {"units": unit, "long_name": f"{words}: up to it no more than {within:g} HRC harder"},
        ),
        f"least_{vary}_bracket": ((*d, "bound"), bracket, {"units": unit, "long_name": "settings run around it"}),
        "status": (d, status, {**mark, "long_name": "where the position is matched"}),
        "best_difference": (d, nearest, {"units": "HRC", "long_name": "smallest difference of the settings run"}),
        "water_cooling_time": (d, times[0], {"units": "s", "long_name": "cooling time 800 to 500 degC, water"}),
        "gas_cooling_time": (
            (vary, "position"),
            times[1:],
            {"units": "s", "long_name": "cooling time 800 to 500 degC, gas"},
        ),
    }
    return xr.Dataset(
        data,
        coords={
            "position": ("position", positions, {"units": "1/16 in", "long_name": "distance from the quenched end"}),
            "distance": (
                "position",
                sixteenths(positions),
                {"units": "m", "long_name": "distance from the quenched end"},
            ),
            vary: (vary, x, {"units": unit, "long_name": words}),
            "bound": ("bound", ["low", "high"], {**mark, "long_name": "end of the range"}),
        },
    )


def _add_factor(result: xr.Dataset, quench: GasQuench, vary: str) -> None:
    """Factor within which settings are known, and the ranges that the jet leaves at the settings run."""
    piece, hot = EndQuenchBar(), np.array(600.0)

    def flux(setting: float) -> float:
        jet = quench.replace(**{vary: setting}).boundaries(piece)["jet"]
        return float(for_piece(jet, piece, "jet").heat_flux(hot))

    x = result[vary].values
    middle = float(np.sqrt(x[0] * x[-1]))
    with collect_validity() as notes:
        for setting in x:
            flux(float(setting))
        exponent = float(np.log(flux(1.05 * middle) / flux(middle / 1.05)) / np.log(1.05**2))
        stated = uncertainty_of(quench.boundaries(piece)["jet"]) if quench.uncertainty is None else quench.uncertainty
        said = list(notes.values())
    known = float("nan") if stated is None else stated
    result[f"{vary}_factor"] = (
        (),
        (1.0 / (1.0 - known)) ** (1.0 / exponent),
        {"units": "1", "long_name": f"factor within which the {vary} is known, from the stated uncertainty of h"},
    )
    result.attrs |= {"h_exponent": exponent, "h_uncertainty": known, "warnings": json.dumps(said)}
