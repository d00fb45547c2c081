"""How sure an answer is: the range of a setting that is searched for, from the uncertainty of heat, grain, h and model."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq._roots import Enclosure, enclosing, run_side_by_side
from heatq.decide.quenches import with_factor
from heatq.decide.requirements import Requirement
from heatq.decide.runs import run_many
from heatq.decide.search import Case, Found, Wanted, find_settings
from heatq.errors import LIMITS
from heatq.hardness.conversion import hrc_from_hv
from heatq.hardness.interval import composition_tolerance

__all__ = ["setting_range"]

Array = npt.NDArray[np.float64]
#: Quantile (standard deviations) beyond which a probability is 0 or 1 for the search.
_SURE = 8.0
#: How far beyond the limits the searches with changed inputs may go, as a factor.
_BEYOND = 20.0


def setting_range(
    cases: Sequence[Case], found: Sequence[Found], wanted: Wanted, confidence: float, runs: Sequence[Any]
) -> tuple[Array, Array]:
    """Range of each answer, shape (cases, 2), and the best probability that was run.

    Two estimates, the wider counts:

    * each uncertain input (the elements, the grain, h, and for a hardness the error of the model) is changed by one standard
      deviation up and down, the search is repeated, and the changes of the logarithm of the answer are added as squares, separately
      on both sides;
    * for a hardness: the settings at which the hardness interval gives the probabilities 1 - confidence and confidence.

    The first follows a heat out of its transition zone, where the interval at one fixed setting sees little change; the second sees
    that a hardness near the highest a steel reaches can never be sure.

    Parameters
    ----------
    cases, found, wanted
        The searches.
    confidence : float
        Probability at the sure end.
    runs : sequence of Dataset
        With hardness interval, at the answers.

    Returns
    -------
    (ndarray, ndarray)
        NaN at an end that lies nowhere in the limits.
    """
    from scipy.special import ndtri

    low, high = wanted.limits
    count = len(cases)
    ends, surest = np.full((count, 2), np.nan), np.full(count, np.nan)  # ends: unsure, sure
    if wanted.requirement.required_hv() is not None:
        ends, surest = _quantiles(cases, found, wanted, confidence)
    wide = _widened(wanted)
    middles = _middles(cases, found, wide)
    down, up = _reach(cases, middles, wide, runs)
    times = float(ndtri(confidence))
    for n, middle in enumerate(middles):
        if np.isnan(middle):
            continue
        at = np.log(middle)
        toward, back = (up[n], down[n]) if wanted.increasing else (-down[n], -up[n])
        unsure, sure = float(np.exp(at - times * back)), float(np.exp(at + times * toward))
        if wanted.requirement.required_hv() is not None:
            pick, other = (max, min) if wanted.increasing else (min, max)
            sure = pick(sure, float(ends[n, 1])) if np.isfinite(ends[n, 1]) else float("nan")
            unsure = other(unsure, float(ends[n, 0])) if np.isfinite(ends[n, 0]) else unsure
        outside = sure > high if wanted.increasing else sure < low
        ends[n] = float(np.clip(unsure, low, high)), float("nan") if outside else sure
    return (ends if wanted.increasing else ends[:, ::-1]), surest


def _widened(wanted: Wanted) -> Wanted:
    """The same search beyond its limits, a little coarser."""
    kind = LIMITS[wanted.setting]
    limits = (max(wanted.limits[0] / _BEYOND, kind.low, 1e-3), min(wanted.limits[1] * _BEYOND, kind.high))
    coarse = {**wanted.run, "accuracy": max(float(wanted.run.get("accuracy", 1.0)), 2.0)}
    return dataclasses.replace(wanted, limits=limits, tolerance=max(wanted.tolerance, 0.03), run=coarse)


def _middles(cases: Sequence[Case], found: Sequence[Found], wide: Wanted) -> Array:
    """The answers, and beyond the limits what would be the answer; NaN where there is none there either."""
    middles = np.array([one.enclosure.meets if np.isfinite(one.enclosure.fails) else np.nan for one in found])
    outside = [int(n) for n in np.flatnonzero(~np.isfinite(middles))]
    ends = [next(end for end in found[n].enclosure if np.isfinite(end)) for n in outside]
    for n, one in zip(outside, find_settings([cases[n] for n in outside], ends, wide), strict=True):
        if np.isfinite(one.enclosure.fails):
            middles[n] = one.enclosure.meets
    return middles


def _reach(cases: Sequence[Case], middles: Array, wide: Wanted, runs: Sequence[Any]) -> tuple[Array, Array]:
    """Standard deviations of the logarithm of each answer, downwards and upwards (both positive)."""
    changed: list[Case] = []
    asked: list[Requirement] = []
    guesses: list[float] = []
    owner: list[int] = []
    for n, (case, middle, run) in enumerate(zip(cases, middles, runs, strict=True)):
        if np.isnan(middle):
            continue
        for other, requirement in _variations(case, float(middle), wide.requirement, run):
            changed.append(other)
            asked.append(requirement)
            guesses.append(float(middle))
            owner.append(n)
    down, up = np.zeros(len(cases)), np.zeros(len(cases))
    if not changed:
        return down, up
    answers = find_settings(changed, guesses, wide, asked)
    for k in range(0, len(answers), 2):
        n = owner[k]
        shifts = [_at(one, wide.increasing) - np.log(middles[n]) for one in answers[k : k + 2]]
        up[n] += max(*shifts, 0.0) ** 2
        down[n] += min(*shifts, 0.0) ** 2
    return np.sqrt(down), np.sqrt(up)


def _at(one: Found, increasing: bool) -> float:
    """Logarithm of an answer; infinite where nothing is enough, the limit where everything is."""
    if np.isnan(one.enclosure.meets):
        return float("inf") if increasing else float("-inf")
    return float(np.log(one.enclosure.meets))


def _variations(case: Case, at: float, requirement: Requirement, run: Any) -> list[tuple[Case, Requirement]]:
    """Pairs of cases with one input down and up by one standard deviation, each with its requirement."""
    _, steel, quench = case(at)
    pairs: list[tuple[Case, Requirement]] = []
    tolerance, _ = composition_tolerance(steel)
    for name, two in tolerance.items():
        for sign in (-0.5, 0.5):
            value = max(float(getattr(steel, name)) + sign * two, 1.0 if name == "grain_size" else 0.0)
            heat = steel.replace(**{name: value})
            pairs.append((_with_heat(case, heat), requirement))
    uncertainty = quench.relative_uncertainty
    if uncertainty:
        for sign in (-0.5, 0.5):
            factor = float(np.exp(sign * uncertainty))
            pairs.append((_with_factor(case, factor), requirement))
    required = requirement.required_hv()
    if required is not None:
        hv = run["hardness_hv"].values
        own = float((run["hardness_deviation"].sel(source="model").values / hv).max())
        for sign in (-1.0, 1.0):
            moved = float(np.clip(required * np.exp(sign * own), 60.0, 940.0))
            pairs.append((case, _moved(requirement, moved)))
    return pairs


def _with_heat(case: Case, heat: Any) -> Case:
    def changed(x: float) -> tuple[Any, Any, Any]:
        specimen, _, quench = case(x)
        return specimen, heat, quench

    return changed


def _with_factor(case: Case, factor: float) -> Case:
    def changed(x: float) -> tuple[Any, Any, Any]:
        specimen, steel, quench = case(x)
        return specimen, steel, with_factor(quench, factor)

    return changed


def _moved(requirement: Requirement, hv: float) -> Requirement:
    """The same requirement with another hardness, in HV; in HRC where it was, so that the margin keeps its unit."""
    if requirement.hardness_hv is not None:
        return dataclasses.replace(requirement, hardness_hv=hv)
    hrc = float(hrc_from_hv(hv))
    if np.isfinite(hrc):
        return dataclasses.replace(requirement, hardness_hrc=hrc)
    return Requirement(hardness_hv=hv, probes=requirement.probes)


def _quantiles(cases: Sequence[Case], found: Sequence[Found], wanted: Wanted, confidence: float) -> tuple[Array, Array]:
    """Settings with probabilities 1 - confidence and confidence, NaN where none is; and the best probability run."""
    from scipy.special import ndtr, ndtri

    requirement = wanted.requirement
    edge = float(ndtri(confidence))
    known: list[dict[float, float]] = [{} for _ in cases]

    def quantile(result: Any) -> float:
        return float(np.clip(ndtri(requirement.probability(result).values.min()), -_SURE, _SURE))

    def evaluate(tried: list[tuple[int, float]]) -> list[float]:
        new = list(dict.fromkeys((n // 2, x) for n, x in tried if x not in known[n // 2]))
        for (n, x), value in zip(
            new,
            run_many([cases[n](x) for n, x in new], quantile, probes=list(requirement.probes), level=0.9, **wanted.run),
            strict=True,
        ):
            known[n][x] = value
        return [known[n // 2][x] + (edge if n % 2 == 0 else -edge) for n, x in tried]

    searches = []
    for one in found:
        ends = [end for end in one.enclosure if np.isfinite(end)]
        guess = float(np.exp(np.mean(np.log(ends))))
        searches += [enclosing(wanted.limits, guess, wanted.increasing, 2.0 * wanted.tolerance) for _ in range(2)]
    enclosures = run_side_by_side(searches, evaluate)
    at = np.array([_crossing(one) for one in enclosures])
    return at.reshape(-1, 2), ndtr([max(one.values()) for one in known])


def _crossing(enclosure: Enclosure) -> float:
    """Middle of an enclosure; the limit where it is met there already, NaN where it is met nowhere."""
    if np.isnan(enclosure.meets):
        return float("nan")
    return enclosure.meets if np.isnan(enclosure.fails) else float(np.sqrt(enclosure.fails * enclosure.meets))
