"""The published cases: each function computes what heatq gives, for the tests and for docs/generate.py alike.

Every case has a passport in ``data/`` (source, status, set-up, tolerance and why). Numbers of a passport are used here,
never typed again. A case with a tolerance returns `Check` rows; `ALL` lists the cases.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import pathlib
import tomllib
import warnings
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import xarray as xr
from scipy.constants import atm, inch, milli, mph

import heatq as hq
from heatq.boundaries.gas_flow import Scaled
from heatq.hardness.conversion import E140, hb_from_hv, hrc_from_hb, hrc_from_hv, hv_from_hrc
from heatq.hardness.equal_cooling import JOMINY_RATE_TABLE
from heatq.hardness.hardenability import endquench_from_chemistry, ideal_diameter
from heatq.steels.grades import grade_ranges, h_band
from heatq.units import sixteenths

Array = npt.NDArray[np.float64]

DATA = pathlib.Path(__file__).parent / "data"


@dataclasses.dataclass(frozen=True)
class Check:
    """One number held against its tolerance; ``at_least`` turns the comparison round."""

    quantity: str
    allowed: float
    achieved: float
    unit: str
    at_least: bool = False

    @property
    def passed(self) -> bool:
        """Whether the achieved number is within the allowed one (a NaN is not)."""
        return bool(self.achieved >= self.allowed if self.at_least else self.achieved <= self.allowed)


@functools.cache
def passport(case: str) -> dict[str, Any]:
    """Passport of a case."""
    return tomllib.loads((DATA / f"{case}.toml").read_text(encoding="utf-8"))


def run(specimen: Any, steel: Any, boundaries: Mapping[str, Any], **settings: Any) -> xr.Dataset:
    """Make a trial whose validity notes stay in the result instead of being said."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        return hq.trial(specimen, steel, boundaries, progress=False, **settings)


def notes(result: xr.Dataset) -> list[str]:
    """Validity notes of a run."""
    return list(json.loads(result.attrs["warnings"]))


def air(temperature: float, emissivity: float) -> Any:
    """Still air with radiation to surroundings of the same temperature."""
    return hq.StillAir(temperature=temperature) + hq.Radiation(emissivity, surroundings_temperature=temperature)


def end_quench(steel: Any, jet: Any, setup: Mapping[str, Any], positions: Any, **settings: Any) -> xr.Dataset:
    """Quench the standard bar with a jet on its end; air temperature and emissivity of the side from a passport."""
    side = air(setup["air_temperature"], setup["emissivity"])
    probes = [f"J{j:g}" for j in positions]
    return run(hq.EndQuenchBar(), steel, {"jet": jet, "side": side, "top": side}, probes=probes, **settings)


def hrc(result: xr.Dataset) -> Array:
    """HRC, continued below 20 along the bracketed rows of older tables, where it is no Rockwell hardness any more."""
    return np.asarray(hrc_from_hv(result["hardness_hv"].values, extrapolate=True))


# --------------------------------------------------------------------------------- cooling rate along the bar

QUICK: dict[str, Any] = {"accuracy": 1.0, "estimate_error": False}
RATE_POSITIONS = np.array([float(row.position) for row in JOMINY_RATE_TABLE])
RATES = np.array([row.rate_degF / 1.8 for row in JOMINY_RATE_TABLE])
RATE_READ = np.array([row.status.startswith("rate read") for row in JOMINY_RATE_TABLE])


@dataclasses.dataclass(frozen=True)
class WeakWater:
    """The water jet with its critical heat flux changed: what the counter-test uses, and an own boundary class."""

    water: Any
    factor: float

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        return np.minimum(self.factor * self.water.plateau, self.water.heat_flux(surface_temperature))


@functools.cache
def cooling_rates(plateau: float = 1.0, quick: bool = False, **changes: float) -> Array:
    """Cooling rate at 704 degC (K/s) at the positions of the published table; ``changes`` replace set-up values.

    ``quick``: to 1 K without an estimate of the error, for counter-tests, which look for much larger differences.
    """
    setup = passport("cooling_rates")["setup"] | changes
    water = hq.WaterJet(temperature=setup["water_temperature"])
    result = end_quench(
        hq.grade(setup["grade"]),
        water if plateau == 1.0 else WeakWater(water, plateau),
        setup,
        RATE_POSITIONS,
        initial_temperature=setup["initial_temperature"],
        **(QUICK if quick else {}),
    )
    return result["cooling_rate_704"].values


def rate_deviation(rates: Array) -> Array:
    """Deviation from the published table, %."""
    return 100.0 * (rates / RATES - 1.0)


def rate_checks(rates: Array) -> list[Check]:
    """Root mean square over all positions, and the largest deviation in the middle and at the ends."""
    allowed = passport("cooling_rates")["tolerance"]
    deviation = rate_deviation(rates)
    middle = (RATE_POSITIONS >= 2) & (RATE_POSITIONS <= 20)
    return [
        Check("rms, J1 to J32", allowed["rms"], float(np.sqrt(np.mean(deviation**2))), "%"),
        Check("largest, J2 to J20", allowed["middle"], float(np.abs(deviation[middle]).max()), "%"),
        Check("largest, J1, J24, J32", allowed["ends"], float(np.abs(deviation[~middle]).max()), "%"),
    ]


def rate_variants() -> dict[str, Array]:
    """How the rates move: one changed value of the set-up at a time."""
    names = {
        "emissivity": "emissivity {:g}",
        "initial_temperature": "start {:g} degC",
        "water_temperature": "water {:g} degC",
    }
    return {
        names[name].format(value): cooling_rates(**{name: value})
        for name, values in passport("cooling_rates")["variants"].items()
        for value in values
    }


# ------------------------------------------------------------------------------------------- hardenability bands


@dataclasses.dataclass(frozen=True)
class Band:
    """Predicted hardness of one grade beside its band."""

    grade: str
    position: Array
    hrc: Array
    low: Array
    high: Array
    martensite: Array

    @property
    def deviation(self) -> Array:
        """Prediction less mid-band, HRC; NaN where a limit is missing."""
        return self.hrc - 0.5 * (self.low + self.high)

    @property
    def rms(self) -> float:
        """Root mean square deviation from mid-band, HRC."""
        return float(np.sqrt(np.nanmean(self.deviation**2)))

    @property
    def bias(self) -> float:
        """Mean deviation from mid-band, HRC."""
        return float(np.nanmean(self.deviation))

    @property
    def is_inside(self) -> npt.NDArray[np.bool_]:
        """Which points lie inside the band."""
        setup = passport("h_bands")["setup"]
        low = np.where(np.isfinite(self.low), self.low - setup["slack"], setup["floor"])
        high = np.where(np.isfinite(self.high), self.high + setup["slack"], np.inf)
        return (self.hrc >= low) & (self.hrc <= high)

    @property
    def inside(self) -> float:
        """Share of points inside, %."""
        return float(100.0 * np.mean(self.is_inside))


@functools.cache
def band(name: str, other: str | None = None) -> Band:
    """Hardness of the middle of a grade (or, quickly, of another grade) on the end-quench bar in water, beside the band."""
    setup = passport("h_bands")["setup"]
    published = h_band(name)
    position = published["distance_sixteenths"]
    whole = (position == np.round(position)) & (position >= 1) & (position <= 32)
    steel = dataclasses.replace(hq.grade(other or name), grain_size=setup["grain_size"])
    jet = hq.WaterJet(temperature=setup["water_temperature"])
    result = end_quench(steel, jet, setup, position[whole], **(QUICK if other else {}))
    martensite = result["fraction"].sel(phase=["martensite", "austenite"]).sum("phase").values
    return Band(name, position[whole], hrc(result), published["low"][whole], published["high"][whole], martensite)


def bands() -> list[Band]:
    """All bands of the case."""
    return [band(name) for name in passport("h_bands")["setup"]["grades"]]


def band_checks(found: list[Band]) -> list[Check]:
    """Mean rms and share inside, the mean over the grades of each."""
    allowed = passport("h_bands")["tolerance"]
    return [
        Check("mean rms from mid-band", allowed["mean_rms"], float(np.mean([b.rms for b in found])), "HRC"),
        Check(
            "points inside the band", allowed["inside"], float(np.mean([b.inside for b in found])), "%", at_least=True
        ),
    ]


# ------------------------------------------------------------------------------------------- normalized rounds


@dataclasses.dataclass(frozen=True)
class Rounds:
    """Normalized rounds of one grade: published and computed HB, and what they consist of, over the diameter (m)."""

    grade: str
    diameter: Array
    published: Array
    hb: Array
    rate_700: Array
    fractions: Array

    @property
    def deviation(self) -> Array:
        """Deviation from the published value, %."""
        return 100.0 * (self.hb / self.published - 1.0)


def rounds(side: Any = None) -> list[Rounds]:
    """All normalized rounds; ``side`` replaces the still air."""
    setup = passport("normalized_rounds")["setup"]
    data = passport("effect_of_mass")
    diameter = np.array(data["diameter_mm"]) * milli
    if side is None:
        side = air(setup["air_temperature"], setup["emissivity"])
    found = []
    for row in data["normalized"]:
        steel = hq.grade(row["grade"])
        results = [
            run(
                hq.RoundBar(diameter=float(d)),
                steel,
                {"side": side},
                initial_temperature=row["from_temperature"],
                probes=["mid-radius"],
            )
            for d in diameter
        ]
        found.append(
            Rounds(
                row["grade"],
                diameter,
                np.array(row["hb"], dtype=float),
                np.array([float(hb_from_hv(r["hardness_hv"].values)[0]) for r in results]),
                np.array([float(r["cooling_rate_700"][0]) for r in results]),
                np.array([r["fraction"].values[:, 0] for r in results]),
            )
        )
    return found


def round_checks(found: list[Rounds]) -> list[Check]:
    """Mean absolute deviation over all grades and diameters."""
    allowed = passport("normalized_rounds")["tolerance"]["mean_absolute"]
    return [
        Check("mean absolute deviation", allowed, float(np.mean([np.abs(r.deviation).mean() for r in found])), "% HB")
    ]


# ----------------------------------------------------------------------------- worked examples and conversion


def worked_examples() -> dict[str, tuple[float, float, Array, Array, Array]]:
    """By grade: DI printed and computed (in); position, printed and computed HRC. The numbers are those of the test."""
    from test_hardenability import STEELS, WORKED

    found = {}
    for name, (diameter, curve) in WORKED.items():
        position = np.array(list(curve), dtype=float)
        computed = endquench_from_chemistry(STEELS[name], sixteenths(position)).hrc
        printed = np.array(list(curve.values()), dtype=float)
        found[name] = (diameter, float(ideal_diameter(STEELS[name]) / inch), position, printed, computed)
    return found


def worked_checks() -> list[Check]:
    """Largest deviation of DI and of HRC, the latter separately for values printed to 0.1 and whole."""
    allowed = passport("ideal_diameter")["tolerance"]
    found = worked_examples()
    printed = np.concatenate([row[3] for row in found.values()])
    deviation = np.abs(np.concatenate([row[4] for row in found.values()]) - printed)
    whole = printed == np.round(printed)
    return [
        Check("ideal diameter, largest", allowed["diameter"], max(abs(r[1] - r[0]) for r in found.values()), "in"),
        Check("HRC printed to 0.1, largest", allowed["hrc_tenths"], float(deviation[~whole].max()), "HRC"),
        Check("HRC printed whole, largest", allowed["hrc_whole"], float(deviation[whole].max()), "HRC"),
    ]


def conversion_checks() -> list[Check]:
    """E140 rows through HV and back, through HB and back, and the standard's example."""
    case = passport("hardness_conversion")
    allowed, setup = case["tolerance"], case["setup"]
    rows = np.array(sorted(E140), dtype=float)
    with_hb = np.array([row for row in sorted(E140) if np.isfinite(E140[row][1])], dtype=float)
    hv, hb = np.array([E140[int(row)][0] for row in rows]), np.array([E140[int(row)][1] for row in with_hb])
    back = max(np.abs(hrc_from_hv(hv) - rows).max(), np.abs(hv_from_hrc(rows) - hv).max())
    back_hb = np.abs(hrc_from_hb(hb) - with_hb).max()
    example = abs(float(hrc_from_hb(setup["example_hb"])) - setup["example_hrc"])
    return [
        Check("rows HRC to HV and back", allowed["round_trip"], float(back), "HRC, HV"),
        Check("rows HB to HRC", allowed["round_trip"], float(back_hb), "HRC"),
        Check(f"{setup['example_hb']:g} HBW is about {setup['example_hrc']:g} HRC", allowed["example"], example, "HRC"),
    ]


# --------------------------------------------------------------------------------------- nitrogen against water

HEATS = ("lean", "middle", "rich")


@dataclasses.dataclass(frozen=True)
class Comparison:
    """HRC of one heat in water and under a nitrogen jet."""

    grade: str
    heat: str
    velocity: float
    position: Array
    water: Array
    gas: Array
    notes: tuple[str, ...]

    def at(self, position: Any) -> Comparison:
        """Return the comparison at some of its positions."""
        keep = np.isin(self.position, position)
        return dataclasses.replace(self, position=self.position[keep], water=self.water[keep], gas=self.gas[keep])

    @property
    def shortfall(self) -> Array:
        """Water less gas, HRC."""
        return self.water - self.gas


def heat_of(grade: str, kind: str) -> hq.Steel:
    """Middle of a grade's ranges, or the low (lean) or high (rich) end of every range."""
    steel = hq.grade(grade)
    if kind == "middle":
        return steel
    ends = {element: limits[0 if kind == "lean" else 1] for element, limits in grade_ranges(grade).items()}
    return dataclasses.replace(steel, **ends, name=f"{grade} {kind}")


def nitrogen(velocity: float) -> hq.GasJet:
    """Nitrogen jet at atmospheric pressure on the end of the bar."""
    setup = passport("gas_against_water")["setup"]
    face = hq.EndQuenchBar().diameter
    return hq.GasJet("nitrogen", velocity, atm, setup["gas_temperature"], face_diameter=face)


@functools.cache
def gas_trial(grade: str, heat: str, jet: Any) -> xr.Dataset:
    """One heat under one jet."""
    setup = passport("gas_against_water")["setup"]
    return end_quench(heat_of(grade, heat), jet, setup, setup["drawn"])


def compare(grade: str, heat: str, share: float = 1.0, factor: float = 1.0) -> Comparison:
    """One heat in water and in nitrogen of a share of the velocity, h of the jet times a factor; all drawn positions."""
    setup = passport("gas_against_water")["setup"]
    velocity = share * setup["velocity_mph"] * mph
    jet = nitrogen(velocity)
    water = gas_trial(grade, heat, hq.WaterJet(temperature=setup["water_temperature"]))
    gas = gas_trial(grade, heat, jet if factor == 1.0 else Scaled(jet, factor))
    position = np.array(setup["drawn"], dtype=float)
    return Comparison(grade, heat, velocity, position, hrc(water), hrc(gas), tuple(notes(gas)))


def needed_coefficient(grade: str, heat: str) -> float:
    """Constant h (W/m2K) on the end at which the shortfall at J1 is just close; bisection to 2 %."""
    setup = passport("gas_against_water")["setup"]
    water = hrc(gas_trial(grade, heat, hq.WaterJet(temperature=setup["water_temperature"])))[0]
    low, high = 50.0, 20000.0
    while high / low > 1.02:
        middle = float(np.sqrt(low * high))
        gas = hrc(gas_trial(grade, heat, hq.Convection(middle, setup["gas_temperature"])))[0]
        low, high = (low, middle) if water - gas <= setup["close"] else (middle, high)
    return float(np.sqrt(low * high))


ALL: dict[str, Callable[[], list[Check]]] = {
    "cooling_rates": lambda: rate_checks(cooling_rates()),
    "h_bands": lambda: band_checks(bands()),
    "normalized_rounds": lambda: round_checks(rounds()),
    "ideal_diameter": worked_checks,
    "hardness_conversion": conversion_checks,
}
