"""How wide the hardness interval must be and what it covers: python benchmarks/interval.py, about 2 minutes.

Model error: deviations d of ln HV (data of benchmarks/prediction.py) are taken as normal with variance s(M)^2 + v, v being what
chemistry, grain and boundary contribute by `heatq.hardness.interval` (nothing for the middles of bands, which stand for the
middle of the chemistry); s at 0, 50 and 100 % martensite by maximum likelihood. Coverage leaves the judged family out of s.
"""

from __future__ import annotations

import functools
import time
import warnings
from typing import Any

import numpy as np
import numpy.typing as npt
import prediction as p
from scipy.optimize import minimize
from scipy.special import ndtr, ndtri

import heatq as hq
from heatq.hardness.conversion import hv_from_hb, hv_from_hrc
from heatq.hardness.equal_cooling import equivalent_distance, rate_at_distance, second_opinion
from heatq.hardness.hardenability import just_1969
from heatq.hardness.interval import MODEL_ERROR, hardness_interval
from heatq.transformation.kinetics import kinetic_tables
from heatq.transformation.options import Kinetics
from heatq.units import sixteenths

Array = npt.NDArray[np.float64]

#: Boundary uncertainty of the cases: the water jet's and still air's own, oil and water baths as their presets.
UNCERTAINTY = {"J": 0.10, "N": 0.25, "oil": 0.4, "water": 0.5}
#: Kinetics chosen without the family, from ``prediction.py grid``; without any other the choice is that of all.
LEFT_OUT = {"4130": (1.0, 1.4, 1.6, 0.6, 4.0)}
KNOTS = [0.0, 0.5, 1.0]
#: Deviations of ln HV count up to this (about 8 HRC), as in the calibration: a few points of Q are beyond any oil.
CLIP = 0.25


def rows(kinetics_of: Any, name: str) -> list[tuple[str, str, Array, Array, Array, Array, Array]]:
    """Family, kind, ln HV predicted, ln HV published, martensite, variance downwards and upwards of every case."""
    found = []
    for case in p.cases():
        kinetics = kinetics_of(case.family)
        (result,) = p.simulate(functools.partial(kinetic_tables, kinetics=kinetics), [case])
        result = result.merge(hq.hardness_of(result, case.steel))
        u = (
            UNCERTAINTY[case.kind]
            if case.kind in UNCERTAINTY
            else UNCERTAINTY["water" if case.grade == "4130" else "oil"]
        )
        steel = hq.grade(case.grade)
        if case.kind == "J":
            steel = hq.grade(case.grade + "H")
        steel = steel.replace(name=case.grade if case.kind != "J" else case.grade + "H")
        full = hardness_interval(result, steel, level=0.6826894921, boundary=u, kinetics=kinetics)
        hv = result["hardness_hv"].values
        low, high = full["hardness_interval_hv"].values
        own = full["hardness_deviation"].sel(source="model").values / hv
        down = np.maximum(np.log(hv / low) ** 2 - own**2, 0.0)
        up = np.maximum(np.log(high / hv) ** 2 - own**2, 0.0)
        with np.errstate(invalid="ignore"):
            target = hv_from_hb(case.target) if case.kind == "N" else np.full(hv.shape, np.nan)
            if case.kind != "N":
                good = np.isfinite(case.target) & (case.target >= 20.0)
                target[good] = hv_from_hrc(case.target[good])
        martensite = result["fraction"].sel(phase=["martensite", "austenite"]).sum("phase").values
        found.append((case.family, case.kind, np.log(hv), np.log(target), martensite, down, up, case))
    return found


def fit(data: Any) -> Array:
    """Model error s at the knots by maximum likelihood."""
    d, m, v = [], [], []
    for _, kind, predicted, target, martensite, down, up, _case in data:
        good = np.isfinite(target)
        difference = np.clip((target - predicted)[good], -CLIP, CLIP)
        d.append(difference)
        m.append(martensite[good])
        v.append(np.zeros(good.sum()) if kind == "J" else np.where(difference > 0, up[good], down[good]))
    d, m, v = np.concatenate(d), np.concatenate(m), np.concatenate(v)

    def loss(log_s: Array) -> float:
        variance = np.interp(m, KNOTS, np.exp(log_s)) ** 2 + v
        return float(np.sum(np.log(variance) + d**2 / variance))

    return np.exp(minimize(loss, np.log([0.06, 0.1, 0.04]), method="Nelder-Mead").x)


def coverage(data: Any, errors: Any, level: float = 0.90, show: bool = False) -> dict[str, float]:
    """Share covered of N and Q points, of the middles of bands, and of the heats that a band's limits describe."""
    t = float(ndtri(0.5 + 0.5 * level))
    hits: dict[str, list[Array]] = {}
    for family, kind, predicted, target, martensite, down, up, case in data:
        s = np.interp(martensite, KNOTS, errors(family)) ** 2
        low, high = predicted - t * np.sqrt(s + down), predicted + t * np.sqrt(s + up)
        good = np.isfinite(target)
        hit = (target >= low) & (target <= high)
        hits.setdefault(kind, []).append(hit[good].astype(float))
        if kind == "Q" and show:
            for n in np.flatnonzero(good & ~hit):
                print(
                    "    outside:",
                    case.grade,
                    f"{1e3 * case.piece.diameter:g} mm",
                    case.probes[n],
                    case.target[n],
                    p.hrc(np.exp(np.array([low[n], high[n]]))).round(1),
                )
        if kind == "J":  # heats: normal in HRC, 94 % of them between the limits
            both = np.isfinite(case.low) & np.isfinite(case.high)
            sigma = (case.high - case.low)[both] / (2 * ndtri(0.97))
            ends = [p.hrc(np.minimum(np.exp(x[both]), 940.0)) for x in (low, high)]
            z = [(end - case.target[both]) / sigma for end in ends]
            hits.setdefault("heats of the bands", []).append(ndtr(z[1]) - ndtr(z[0]))
            hits.setdefault("width, HRC", []).append((ends[1] - ends[0]) / 100.0)
    return {kind: 100.0 * float(np.mean(np.concatenate(v))) for kind, v in hits.items()}


def routes() -> None:
    """Deviation of the chemistry routes from the middles of the bands."""
    for name in ("A255", "Just"):
        deviations = []
        for case in (c for c in p.cases() if c.kind == "J"):
            distance = np.array([float(label[1:]) for label in case.probes])
            rate = rate_at_distance(sixteenths(distance))
            found = (
                second_opinion(case.steel, rate) if name == "A255" else just_1969(case.steel, equivalent_distance(rate))
            )
            deviations.append((np.asarray(found) - case.target)[np.isfinite(found) & np.isfinite(case.target)])
        print(
            name,
            "rms from mid-band, HRC:",
            [round(p.rms(d), 1) for d in deviations if d.size],
            "all",
            round(p.rms(np.concatenate(deviations)), 2),
        )


def main() -> None:
    """Print model errors and coverage."""
    warnings.simplefilter("ignore", hq.ValidityWarning)
    started = time.perf_counter()
    left = {family: Kinetics("calibrated", *values) for family, values in LEFT_OUT.items()}
    for name, of in (
        ("published", lambda family: p.PUBLISHED),
        ("calibrated", lambda family: left.get(family, p.CALIBRATED)),
    ):
        data = rows(of, name)
        everything = fit(data)
        families = sorted({row[0] for row in data})
        without = {f: fit([row for row in data if row[0] != f]) for f in families}
        print(
            name,
            "model error at 0, 50, 100 % martensite:",
            everything.round(3),
            {f: s.round(3).tolist() for f, s in without.items()},
        )
        known = np.array(MODEL_ERROR[name])
        for level in (0.80, 0.90, 0.95):
            print(
                f"  heatq's own, {100 * level:g} %:",
                {k: round(v, 1) for k, v in coverage(data, lambda _, known=known: known, level).items()},
            )
            print(
                f"  coverage at {100 * level:g} %:",
                {k: round(v, 1) for k, v in coverage(data, without.get, level, level == 0.9).items()},
            )
    routes()
    print(f"{time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
