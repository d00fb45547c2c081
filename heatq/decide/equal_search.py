"""The searches behind equal quenches: by what they are equal, the runs, the enclosures, and the range of the answer."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq._roots import Enclosure, enclosing, run_side_by_side
from heatq.boundaries.timeline import uncertainty_of
from heatq.decide.quenches import BathQuench, GasQuench, with_factor
from heatq.decide.runs import run_many
from heatq.errors import InputError
from heatq.hardness.equal_cooling import equivalent_distance
from heatq.history import cooling_rate, cooling_time
from heatq.specimens import EndQuenchBar

__all__ = ["KEPT", "MEASURES", "Answer", "Measure", "Runs", "Span", "find_answers"]

Array = npt.NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class Measure:
    """By what two quenches are called equal."""

    variable: str
    """Name in the results."""
    unit: str
    score: Callable[[Mapping[str, float]], float]
    """Rises with the strength of the quench; what the search works on."""
    resolution: float
    """Difference of the score that does not matter."""
    slack: float
    """Fall of the score with a stronger quench that is numerical noise."""


#: By what quenches can be called equal. The resolution is a choice: 2 % of a time, a rate, or of Vickers hardness (0.6 to 0.8
#: points of HRC between 300 and 600 HV).
MEASURES: dict[str, Measure] = {
    "cooling time": Measure(
        "cooling_time_800_500", "s", lambda m: -float(np.log(m["cooling_time_800_500"])), 0.02, 0.01
    ),
    "cooling rate": Measure("cooling_rate_704", "K/s", lambda m: float(np.log(m["cooling_rate_704"])), 0.02, 0.01),
    # the distance is a function of the rate alone; the search goes on where the published table ends
    "equivalent distance": Measure(
        "equivalent_distance", "m", lambda m: float(np.log(m["cooling_rate_704"])), 0.02, 0.01
    ),
    "hardness": Measure("hardness_hv", "HV", lambda m: float(np.log(m["hardness_hv"])), 0.02, 0.01),
}
KEPT = {
    "cooling_time_800_500": ("s", "cooling time 800 to 500 degC"),
    "cooling_rate_704": ("K/s", "cooling rate at 704 degC"),
    "equivalent_distance": ("m", "end-quench distance of the same cooling rate at 704 degC, by the published table"),
    "hardness_hv": ("HV", "Vickers hardness"),
    "hardness_hrc": ("HRC", "Rockwell C hardness"),
}


def _measured(probe: str) -> Callable[[Any], dict[str, float]]:
    def kept(result: Any) -> dict[str, float]:
        here = result.sel(probe=[probe])
        rate = float(cooling_rate(here)[0])
        return {
            "cooling_time_800_500": float(cooling_time(here)[0]),
            "cooling_rate_704": rate,
            "equivalent_distance": float(equivalent_distance(rate)) if np.isfinite(rate) else float("nan"),
            "hardness_hv": float(here["hardness_hv"][0]),
            "hardness_hrc": float(here["hardness_hrc"][0]),
        }

    return kept


def _scaled(made: Callable[[float], Any], factor: float) -> Callable[[float], Any]:
    """Family of quenches with h times a factor."""
    return lambda x: with_factor(made(x), factor)


def _uncertainty(quench: Any, specimen: Any) -> float | None:
    """Relative uncertainty of h, two standard deviations; None where it is not stated or h cannot be scaled."""
    if not isinstance(quench, GasQuench | BathQuench):
        return None
    if isinstance(quench, GasQuench) and isinstance(specimen, EndQuenchBar) and quench.uncertainty is None:
        return uncertainty_of(quench.boundaries(specimen))
    return quench.relative_uncertainty


class Runs:
    """Simulations of one piece; none is run twice."""

    def __init__(self, specimen: Any, steel: Any, probe: str, by: str, run: dict[str, Any]) -> None:
        self.specimen, self.steel, self.probe, self.run, self.by = specimen, steel, probe, run, by
        self.known: dict[str, dict[str, float]] = {}

    def of(self, quenches: Sequence[Any]) -> list[dict[str, float]]:
        """What each quench does."""
        names = [repr(quench) for quench in quenches]
        new = {name: quench for name, quench in zip(names, quenches, strict=True) if name not in self.known}
        cases = [(self.specimen, self.steel, quench) for quench in new.values()]
        found = run_many(cases, _measured(self.probe), probes=[self.probe], **self.run)
        self.known.update(zip(new, found, strict=True))
        for quench, name in zip(quenches, names, strict=True):
            if not np.isfinite(MEASURES[self.by].score(self.known[name])):
                raise InputError(
                    f"{self.probe!r} has no {self.by} in {quench.label}: it does not pass 800 and 500 degC, or 704 degC; "
                    "start hotter, or compare by 'hardness'."
                )
        return [self.known[name] for name in names]

    def scores(self, quenches: Sequence[Any]) -> list[float]:
        """Scores of the measure in use."""
        return [MEASURES[self.by].score(one) for one in self.of(quenches)]


@dataclasses.dataclass(frozen=True)
class Problem:
    """One search: at which setting the quench made of it reaches a score."""

    made: Callable[[float], Any]
    target: float
    guess: float


@dataclasses.dataclass(frozen=True)
class Span:
    """Between which settings, in which direction and how finely to search."""

    limits: tuple[float, float]
    increasing: bool
    tolerance: float


def _solve(
    problems: Sequence[Problem], span: Span, runs: Runs, looseness: float = 1.0
) -> list[tuple[Enclosure, dict[float, float]]]:
    """Enclosures of several searches run side by side, and the scores of the points each of them visited."""
    points: list[dict[float, float]] = [{} for _ in problems]

    def evaluate(tried: list[tuple[int, float]]) -> list[float]:
        scores = runs.scores([problems[n].made(x) for n, x in tried])
        for (n, x), score in zip(tried, scores, strict=True):
            points[n][x] = score
        return [score - problems[n].target for (n, _), score in zip(tried, scores, strict=True)]

    tolerance = span.tolerance * looseness
    searches = [enclosing(span.limits, one.guess, span.increasing, tolerance) for one in problems]
    return list(zip(run_side_by_side(searches, evaluate), points, strict=True))


def _crossing(found: Enclosure, points: Mapping[float, float], target: float) -> float:
    """Setting of the score inside the enclosure, linear between its ends in the logarithm; NaN where not enclosed."""
    if not np.isfinite(found).all():
        return float("nan")
    a, b = points[found.fails] - target, points[found.meets] - target
    share = -a / (b - a) if b > a else 0.5
    return float(np.exp(np.log(found.fails) + share * (np.log(found.meets) - np.log(found.fails))))


def _ends(low: float, high: float, increasing: bool) -> list[float]:
    return [low, high] if increasing else [high, low]


@dataclasses.dataclass(frozen=True)
class Answer:
    """One answer, as it goes into a Dataset."""

    setting: float
    judged_at: float
    status: str
    bracket: list[float]
    band: list[float]
    interval: list[float]
    points: dict[float, float]
    is_monotone: bool


def find_answers(
    made: Sequence[Callable[[float], Any]],
    guesses: Sequence[float],
    reference: Any,
    span: Span,
    runs: Runs,
    resolution: float,
    correlation: float,
    with_interval: bool,
) -> tuple[list[Answer], list[float | None]]:
    """Answers for several families of candidates against one reference, and the uncertainties of h of all of them."""
    target = runs.scores([reference])[0]
    first = _solve([Problem(one, target, guess) for one, guess in zip(made, guesses, strict=True)], span, runs)
    nominal = [_crossing(*one, target) for one in first]
    at = [
        x if np.isfinite(x) else next(end for end in found if np.isfinite(end))
        for x, (found, _) in zip(nominal, first, strict=True)
    ]
    ours = _uncertainty(reference, runs.specimen)
    theirs = [_uncertainty(one(x), runs.specimen) for one, x in zip(made, at, strict=True)]
    stated = [ours, *theirs]
    if not with_interval:
        ours, theirs = None, [None] * len(made)
    problems: list[Problem] = []
    for one, x, u in zip(made, at, theirs, strict=True):
        problems += [Problem(one, target + shift, x) for shift in (-resolution, resolution)]
        if ours is not None:
            weak, strong = runs.scores([with_factor(reference, 1.0 - ours), with_factor(reference, 1.0 + ours)])
            problems += [Problem(one, score, x) for score in (weak, strong)]
        if u is not None:
            # a candidate weaker than stated needs more of the setting: the order is low end of the answer first
            problems += [Problem(_scaled(one, 1.0 + sign * u), target, x) for sign in (1.0, -1.0)]
    rest = iter(zip(problems, _solve(problems, span, runs, 2.0), strict=True))

    def pair() -> list[float]:
        """Low and high end; a limit of the search that does not enclose the score counts as an open end, NaN."""
        ends = [_crossing(found, points, problem.target) for problem, (found, points) in (next(rest), next(rest))]
        return _ends(ends[0], ends[1], span.increasing)

    answers = []
    for n, (found, points) in enumerate(first):
        band = pair()
        from_reference = pair() if ours is not None else None
        from_candidate = pair() if theirs[n] is not None else None
        answers.append(
            _judged(found, points, nominal[n], at[n], band, target, resolution, span, runs.by)(
                _interval(nominal[n], from_reference, from_candidate, correlation)
            )
        )
    return answers, stated


def _interval(
    middle: float, from_reference: list[float] | None, from_candidate: list[float] | None, correlation: float
) -> list[float]:
    """Range of the setting: what each uncertainty of h alone makes of it, added in squares in the logarithm.

    Errors of h that both quenches share move the answer in opposite directions and cancel by the correlation.
    """
    if from_reference is None and from_candidate is None:
        return [float("nan")] * 2
    nothing = [middle, middle]
    ends = []
    for n, sign in ((0, -1.0), (1, 1.0)):
        a = np.log((from_reference or nothing)[n] / middle)
        b = np.log((from_candidate or nothing)[n] / middle)
        ends.append(float(middle * np.exp(sign * np.sqrt(max(a * a + b * b - 2.0 * correlation * a * b, 0.0)))))
    return ends


def _judged(
    found: Enclosure,
    points: dict[float, float],
    nominal: float,
    at: float,
    band: list[float],
    target: float,
    resolution: float,
    span: Span,
    by: str,
) -> Callable[[list[float]], Answer]:
    x = np.array(sorted(points))
    y = np.array([points[one] for one in x]) * (1.0 if span.increasing else -1.0)
    monotone = bool((np.maximum.accumulate(y) - y <= MEASURES[by].slack).all())
    setting, status = nominal, "found"
    if not np.isfinite(nominal):
        weaker = np.isnan(found.meets)
        if abs(points[at] - target) <= resolution:
            # the nearest end of the band is the answer: less (or more) than that would no longer do
            inner = band[0] if (weaker == span.increasing) else band[1]
            setting = at = inner if np.isfinite(inner) else at
            status = "within the resolution"
        else:
            status = "not reachable: always weaker" if weaker else "not reachable: always stronger"
    else:
        at = nominal
    bracket = sorted(found) if np.isfinite(found).all() else list(_ends(found.fails, found.meets, span.increasing))
    return lambda interval: Answer(setting, at, status, bracket, band, interval, points, monotone)
