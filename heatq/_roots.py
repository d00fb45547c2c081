"""Search for the setting at which a monotone function of it passes zero, one search or many side by side."""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Sequence
from typing import NamedTuple

__all__ = ["Enclosure", "enclose", "enclosing", "root", "run_side_by_side"]

#: How far the next point lies from the guess while the root is not enclosed yet.
STEP = math.log(2.5)


class Enclosure(NamedTuple):
    """Two settings between which the function passes zero: the nearest that fails and the nearest that meets."""

    fails: float
    """Nearest setting at which the function is negative; NaN if it never is in the limits."""
    meets: float
    """Nearest setting at which it is zero or positive; NaN if it never is in the limits."""


Search = Generator[float, float, Enclosure]


def enclosing(limits: tuple[float, float], guess: float, increasing: bool, tolerance: float) -> Search:
    """Enclose the root of a monotone function of a positive number: yields where to evaluate it, is sent the value.

    Works in the logarithm; ends when the two ends differ by at most ``tolerance`` (relative), or at a limit. From the guess it
    goes on in steps of 2.5 until the sign changes; then by secants, laid a little beyond the expected root so that both ends move,
    and by halving where a secant did not.

    Parameters
    ----------
    limits : (float, float)
        Between which to search.
    guess : float
        Where to begin.
    increasing : bool
        Whether the function rises.
    tolerance : float
        Relative.
    """
    low, high = (math.log(limit) for limit in limits)

    def judged(value: float) -> float:
        return value if increasing else -value

    def setting(logarithm: float) -> float:  # never beyond the limits by rounding
        return min(max(math.exp(logarithm), limits[0]), limits[1])

    here = min(max(math.log(guess), low), high)
    value = judged((yield setting(here)))
    # an exact zero meets: it counts as above for a rising function and as below for a falling one
    above = value >= 0.0 if increasing else value > 0.0
    while True:
        there = min(max(here + (-STEP if above else STEP), low), high)
        if there == here:
            at_limit = setting(here)
            meets = above == increasing
            return Enclosure(math.nan, at_limit) if meets else Enclosure(at_limit, math.nan)
        new = judged((yield setting(there)))
        new_above = new >= 0.0 if increasing else new > 0.0
        if new_above != above:
            break
        here, value = there, new
    (a, fa), (b, fb) = sorted([(here, value), (there, new)])
    halve = False
    while b - a > tolerance:
        width = b - a
        share = 0.5 if halve or not fb > fa else -fa / (fb - fa)
        if not halve:
            share += 0.3 * tolerance / width * (1.0 if share < 0.5 else -1.0)
        x = a + width * min(max(share, 0.02), 0.98)
        fx = judged((yield setting(x)))
        if fx >= 0.0 if increasing else fx > 0.0:
            b, fb = x, fx
        else:
            a, fa = x, fx
        halve = b - a > 0.5 * width
    fails, meets_at = (setting(a), setting(b)) if increasing else (setting(b), setting(a))
    return Enclosure(fails, meets_at)


def enclose(
    function: Callable[[float], float], limits: tuple[float, float], guess: float, increasing: bool, tolerance: float
) -> Enclosure:
    """Enclose the root of one function, see :func:`enclosing`.

    Examples
    --------
    >>> found = enclose(lambda x: x - 3.0, (0.1, 100.0), 1.0, True, 0.01)
    >>> found.fails < 3.0 <= found.meets, found.meets / found.fails < 1.0101
    (True, True)
    """
    search = enclosing(limits, guess, increasing, tolerance)
    return run_side_by_side([search], lambda points: [function(x) for _, x in points])[0]


def root(
    function: Callable[[float], float], limits: tuple[float, float], guess: float, increasing: bool, tolerance: float
) -> float:
    """Root of a monotone function of a positive number, to ``tolerance`` (relative); NaN if there is none in the limits."""
    found = enclose(function, limits, guess, increasing, tolerance)
    return math.sqrt(found.fails * found.meets)


def run_side_by_side(
    searches: Sequence[Search], evaluate: Callable[[list[tuple[int, float]]], Sequence[float]]
) -> list[Enclosure]:
    """Run searches in step, so that all points wanted at one time can be computed together.

    Parameters
    ----------
    searches : sequence of search
        Of :func:`enclosing`.
    evaluate : callable
        Gets a list of (number of the search, setting), returns the values in the same order.
    """
    found: dict[int, Enclosure] = {}
    wanted = [(n, next(search)) for n, search in enumerate(searches)]
    while wanted:
        values = evaluate(wanted)
        following = []
        for (n, _), value in zip(wanted, values, strict=True):
            try:
                following.append((n, searches[n].send(float(value))))
            except StopIteration as end:
                found[n] = end.value
        wanted = following
    return [found[n] for n in range(len(searches))]
