"""Rounds in baths and gas: what heatq gives for the published cases, for the tests and docs/make_media.py alike.

The passports are ``data/equal_cooling.toml``, ``mass_quenched.toml`` and ``trade_quench.toml``.
"""

from __future__ import annotations

import functools
import warnings
from collections.abc import Callable
from typing import Any

import checks
import numpy as np
import numpy.typing as npt
from scipy.constants import bar, milli

import heatq as hq
from heatq.boundaries import FixedTemperature, GasCrossflow, GrossmannQuench, OilBath, WaterBath
from heatq.trials import COLD, LONGEST

Array = npt.NDArray[np.float64]

# ------------------------------------------------------------------------------------------------ equal cooling

#: Places on the end-quench bar between which equal cooling is interpolated, m.
PLACES = np.geomspace(4.0, 40.0, 40) * milli

#: Alloy families scaled until the round has 50 % martensite in its centre; fixed before any of these was computed.
FAMILIES: dict[str, Callable[[float], hq.Steel]] = {
    "Cr-Mo": lambda x: hq.Steel(C=0.40, Mn=0.8 * x, Si=0.25, Cr=1.0 * x, Mo=0.2 * x, Ni=0.1, Cu=0.1),
    "Mn": lambda x: hq.Steel(C=0.40, Mn=1.2 * x, Si=0.25, Cr=0.1, Mo=0.02, Ni=0.1, Cu=0.1),
    "Cr": lambda x: hq.Steel(C=0.45, Mn=0.8 * x, Si=0.25, Cr=0.8 * x, Mo=0.02, Ni=0.1, Cu=0.1),
    "Ni-Cr-Mo": lambda x: hq.Steel(C=0.40, Mn=0.8 * x, Si=0.25, Cr=0.5 * x, Mo=0.2 * x, Ni=0.55 * x, Cu=0.1),
}


def anchors() -> list[dict[str, Any]]:
    """Published anchors."""
    return list(checks.passport("equal_cooling")["anchor"])


def medium_of(name: str) -> Any:
    """Medium of an anchor."""
    water = checks.passport("equal_cooling")["setup"]["water_temperature"]
    return {
        "ideal": FixedTemperature(water),
        "oil": OilBath("conventional", agitation="none"),
        "severity": GrossmannQuench(0.3, fluid_temperature=60.0, conductivity=25.0),
        "water": WaterBath(25.0, velocity=1.0),
    }[name]


def end_quench_case() -> dict[str, Any]:
    """The end-quench bar at `PLACES`, without its steel."""
    setup = checks.passport("equal_cooling")["setup"]
    side = checks.air(setup["air_temperature"], setup["emissivity"])
    jet = hq.WaterJet(temperature=setup["water_temperature"])
    boundaries = {"jet": jet, "side": side, "top": side}
    probes = [f"{place / milli:.4f} mm" for place in PLACES]
    return {"specimen": hq.EndQuenchBar(), "boundaries": boundaries, "probes": probes}


def centre_of(diameter: float, steel: hq.Steel, medium: Any) -> Any:
    """Centre of a long round."""
    start = checks.passport("equal_cooling")["setup"]["initial_temperature"]
    return checks.run(hq.RoundBar(diameter), steel, {"side": medium}, initial_temperature=start, probes=["centre"])


@functools.cache
def reference() -> Any:
    """The end-quench bar of the reference grade."""
    setup = checks.passport("equal_cooling")["setup"]
    start = setup["initial_temperature"]
    return checks.run(steel=hq.grade(setup["grade"]), initial_temperature=start, **end_quench_case())


def equivalent(diameter: float, medium: Any) -> dict[str, float]:
    """Equivalent distance (m) of the centre of a round, by rate at 704 degC and by t8/5."""
    round_bar = centre_of(diameter, hq.grade(checks.passport("equal_cooling")["setup"]["grade"]), medium)
    found = {}
    for measure, name, order in (("rate", "cooling_rate_704", -1), ("cooling time", "cooling_time_800_500", 1)):
        along = np.log(reference()[name].values[::order])
        assert (np.diff(along) > 0).all()
        value = np.interp(np.log(float(round_bar[name][0])), along, np.log(PLACES[::order]))
        found[measure] = float(np.exp(value))
    return found


def martensite(result: Any) -> Array:
    """Martensite with the austenite it retains, at every probe."""
    return result["fraction"].sel(phase=["martensite", "austenite"]).sum("phase").values


def fractions_of(cases: list[dict[str, Any]]) -> list[Array]:
    """Martensite of many pieces, each ``simulate``'s arguments; to 1 K."""
    start = checks.passport("equal_cooling")["setup"]["initial_temperature"]
    common = {"initial_temperature": start, "end_time": LONGEST, "stop_below": COLD}
    common |= {"accuracy": 1.0, "estimate_error": False}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        return list(hq.simulate_many([common | case for case in cases], martensite))


@functools.cache
def half_martensite(diameter: float, medium_name: str) -> dict[str, float]:
    """By alloy family: distance (m) of 50 % martensite on the bar of the steel whose round has it in the centre."""
    side = {"side": medium_of(medium_name)}
    piece = {"specimen": hq.RoundBar(diameter), "boundaries": side, "probes": ["centre"]}
    makers = list(FAMILIES.values())
    low, high = np.full(len(makers), 0.3), np.full(len(makers), 2.5)
    for _ in range(10):  # all families in step, so that they share the cores
        middle = 0.5 * (low + high)
        found = fractions_of([piece | {"steel": make(x)} for make, x in zip(makers, middle, strict=True)])
        enough = np.array([share[0] >= 0.5 for share in found])
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    bar_ = end_quench_case()
    found = fractions_of([bar_ | {"steel": make(x)} for make, x in zip(makers, 0.5 * (low + high), strict=True)])
    places = [float(np.interp(-0.5, -np.minimum.accumulate(share), PLACES)) for share in found]
    return dict(zip(FAMILIES, places, strict=True))


def deviations(anchor: dict[str, Any], with_structure: bool = True) -> dict[str, float]:
    """Deviation from an anchor by every measure, %."""
    diameter = anchor["diameter_mm"] * milli
    found = equivalent(diameter, medium_of(anchor["medium"]))
    if with_structure:
        found["half martensite"] = float(np.mean(list(half_martensite(diameter, anchor["medium"]).values())))
    return {measure: 100.0 * (value / (anchor["distance_mm"] * milli) - 1.0) for measure, value in found.items()}


def exact_equal_rate(radius: float, start: float, surface: float, level: float = 704.4) -> float:
    """Depth (m) in a half-space that passes ``level`` at the same rate as the axis of a cylinder.

    Both start at one temperature and have their surface held at another, properties constant: textbook solutions
    (Carslaw & Jaeger). The diffusivity cancels.
    """
    from scipy.optimize import brentq
    from scipy.special import erfinv, j1, jn_zeros

    theta = (level - surface) / (start - surface)
    zeros = jn_zeros(0, 60)
    weight = 2.0 / (zeros * j1(zeros))
    fourier = brentq(lambda fo: float((weight * np.exp(-(zeros**2) * fo)).sum()) - theta, 0.01, 1.0)
    cylinder = float((weight * zeros**2 * np.exp(-(zeros**2) * fourier)).sum())  # -d theta/d Fo
    eta = float(erfinv(theta))
    half_space = 4.0 * eta**3 * np.exp(-(eta**2)) / np.sqrt(np.pi)  # -d theta/d(alpha t/z2)
    return float(radius * np.sqrt(half_space / cylinder))


# ---------------------------------------------------------------------------------------------- effect of mass

POSITIONS = {"surface": "surface", "half_radius": "mid-radius", "centre": "centre"}


def baths() -> dict[str, Any]:
    """The one setting of each bath."""
    setup = checks.passport("mass_quenched")["setup"]
    return {"oil": OilBath(**setup["oil"]), "water": WaterBath(**setup["water"])}


def quenched(replace: dict[str, Any] | None = None) -> list[dict[str, Any]]:
    """Every row of the table: grade, bath, diameter (m), published and computed HRC by position; ``replace``: of these baths."""
    data = checks.passport("effect_of_mass")
    media = replace or baths()
    rows = []
    for entry in data["quenched"]:
        if entry["bath"] not in media:
            continue
        for n, diameter in enumerate(data["diameter_mm"]):
            result = checks.run(
                hq.RoundBar(diameter * milli),
                hq.grade(entry["grade"]),
                {"side": media[entry["bath"]]},
                initial_temperature=entry["from_temperature"],
                probes=list(POSITIONS.values()),
            )
            computed = dict(zip(POSITIONS, checks.hrc(result), strict=True))
            published = {position: float(entry[position][n]) for position in POSITIONS}
            cooling = {"rate": result["cooling_rate_704"].values, "time": result["cooling_time_800_500"].values}
            rows.append(
                {"grade": entry["grade"], "bath": entry["bath"], "diameter": diameter * milli}
                | {"published": published, "computed": computed, "cooling": cooling}
            )
    return rows


def error_by_position(rows: list[dict[str, Any]], bath: str) -> dict[str, tuple[float, float]]:
    """Root mean square and mean deviation (HRC) by position."""
    found = {}
    for position in POSITIONS:
        deviation = np.array([r["computed"][position] - r["published"][position] for r in rows if r["bath"] == bath])
        found[position] = (float(np.sqrt(np.nanmean(deviation**2))), float(np.nanmean(deviation)))
    return found


# ------------------------------------------------------------------------------------------------ gas quenches


def gas_flow(gas: str, velocity: float, pressure: float, **settings: Any) -> GasCrossflow:
    """Gas across the bar; pressure in bar."""
    return GasCrossflow(
        gas, velocity, pressure * bar, checks.passport("trade_quench")["setup"]["gas_temperature"], **settings
    )


@functools.cache
def gas_quench(gas: str, velocity: float, pressure: float, diameter_mm: float, **settings: Any) -> tuple[float, float]:
    """Cooling rate at 704 degC (K/s) and t8/5 (s) in the centre of a long round of 4340."""
    setup = checks.passport("trade_quench")["setup"]
    result = checks.run(
        hq.RoundBar(diameter_mm * milli),
        hq.grade(setup["grade"]),
        {"side": gas_flow(gas, velocity, pressure, **settings)},
        initial_temperature=setup["initial_temperature"],
        probes=["centre"],
    )
    return float(result["cooling_rate_704"][0]), float(result["cooling_time_800_500"][0])


def exponent(gas: str, velocity: float, pressure: float, diameter_mm: float, by: str = "velocity") -> float:
    """Local exponent of h over velocity or pressure, surface at 600 degC."""
    step = 1.01

    def coefficient(factor: float) -> float:
        v, p = (velocity * factor, pressure) if by == "velocity" else (velocity, pressure * factor)
        return float(gas_flow(gas, v, p, diameter=diameter_mm * milli).coefficient(np.array(600.0)))

    return float(np.log(coefficient(step) / coefficient(1.0 / step)) / np.log(step**2))


def equal_pressure(velocity: float, pressure: float, diameter_mm: float) -> float:
    """Pressure (bar) at which twice the velocity gives the same t8/5 in nitrogen; bisection."""
    wanted = gas_quench("nitrogen", velocity, pressure, diameter_mm)[1]
    low, high = 0.2 * pressure, pressure
    while high - low > 0.01:
        middle = 0.5 * (low + high)
        slower = gas_quench("nitrogen", 2.0 * velocity, middle, diameter_mm)[1] > wanted
        low, high = (middle, high) if slower else (low, middle)
    return 0.5 * (low + high)
