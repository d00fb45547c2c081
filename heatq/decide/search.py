"""Searches for a setting by simulation: the least that meets a requirement, the largest section that does."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq._roots import Enclosure, enclosing, run_side_by_side
from heatq.decide.requirements import Requirement
from heatq.decide.runs import run_many
from heatq.errors import InputError

__all__ = ["TOLERANCE", "Case", "Found", "Wanted", "find_settings"]

Array = npt.NDArray[np.float64]

#: Relative tolerance of a setting that is searched for.
TOLERANCE = 0.01
#: A case: setting -> (specimen, steel, quench).
Case = Callable[[float], tuple[Any, Any, Any]]


@dataclasses.dataclass(frozen=True)
class Wanted:
    """What is searched for and how."""

    setting: str
    """Name: "pressure", "velocity", "diameter"."""
    unit: str
    long_name: str
    limits: tuple[float, float]
    increasing: bool
    """Whether a larger setting gives more margin."""
    tolerance: float
    requirement: Requirement
    run: dict[str, Any]
    """initial_temperature, accuracy, kinetics."""


@dataclasses.dataclass(frozen=True)
class Found:
    """One search: the enclosed answer, and every point that was run, in rising order."""

    enclosure: Enclosure
    settings: Array
    margins: Array
    notes: tuple[str, ...] = ()

    @property
    def best(self) -> int:
        """Which point had the best margin."""
        return int(np.argmax(self.margins))


def _worst(requirement: Requirement) -> Callable[[Any], float]:
    def margin(result: Any) -> float:
        values = requirement.margin(result).values
        if not np.isfinite(values).all():
            where = requirement.probes[int(np.flatnonzero(~np.isfinite(values))[0])]
            raise InputError(
                f"the requirement {requirement.label!r} cannot be judged at {where!r} in {result.attrs['quench']}: the "
                "place does not pass the temperatures of the window; start hotter, or choose another window."
            )
        return float(values.min())

    return margin


def find_settings(
    cases: Sequence[Case], guesses: Sequence[float], wanted: Wanted, requirements: Sequence[Requirement] | None = None
) -> list[Found]:
    """Search for all cases side by side, on all cores; each point is one simulation.

    Parameters
    ----------
    cases : sequence of case
        Setting -> (specimen, steel, quench).
    guesses : sequence of float
        Where to begin.
    wanted : Wanted
        What for.
    requirements : sequence of Requirement, optional
        One for each case, instead of that of ``wanted``.
    """
    judges = [_worst(one) for one in requirements or [wanted.requirement] * len(cases)]
    points: list[dict[float, float]] = [{} for _ in cases]

    def evaluate(tried: list[tuple[int, float]]) -> list[float]:
        margins = run_many(
            [cases[n](x) for n, x in tried],
            [judges[n] for n, _ in tried],
            probes=list(wanted.requirement.probes),
            **wanted.run,
        )
        for (n, x), margin in zip(tried, margins, strict=True):
            points[n][x] = margin
        return margins

    searches = [enclosing(wanted.limits, guess, wanted.increasing, wanted.tolerance) for guess in guesses]
    enclosures = run_side_by_side(searches, evaluate)
    return [
        Found(enclosure, np.array(sorted(tried)), np.array([tried[x] for x in sorted(tried)]), _notes(tried, wanted))
        for enclosure, tried in zip(enclosures, points, strict=True)
    ]


def _notes(tried: dict[float, float], wanted: Wanted) -> tuple[str, ...]:
    """Where more of the setting gave less margin than the accuracy allows."""
    x = np.array(sorted(tried))
    y = np.array([tried[one] for one in x]) * (1.0 if wanted.increasing else -1.0)
    drop = np.maximum.accumulate(y) - y
    slack = wanted.requirement.slack * max(float(wanted.run.get("accuracy", 1.0)), 0.5)
    if not (drop > slack).any():
        return ()
    k = int(np.argmax(drop))
    return (
        f"the margin is not monotone in the {wanted.setting}: at {x[k]:.4g} {wanted.unit} it is {drop[k]:.2g} "
        f"{wanted.requirement.unit} worse than nearer to the {'lower' if wanted.increasing else 'upper'} end; the answer is one "
        "crossing, there may be others",
    )
