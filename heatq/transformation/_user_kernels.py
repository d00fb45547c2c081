"""Compiled loop of user-supplied kinetics: arrays and scalars in, arrays out."""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

import numpy as np
from numba import njit

jit = njit(cache=True, nogil=True, error_model="numpy")


@jit
def look_up(temperature, knots, values):
    """Linear interpolation between ``knots`` (increasing); the end values are held."""
    n = knots.shape[0]
    if temperature <= knots[0]:
        return values[0]
    if temperature >= knots[n - 1]:
        return values[n - 1]
    i = np.searchsorted(knots, temperature, side="right") - 1
    w = (temperature - knots[i]) / (knots[i + 1] - knots[i])
    return values[i] + w * (values[i + 1] - values[i])


@jit
def advance_phase(temperature, dt, share, scheil, first, last, row, knots, log_b, exponent, log_tau, counts_after):
    """Normalised share and Scheil sum of one phase after ``dt`` at ``temperature``.

    ``knots[first:last]`` are the phase's own temperatures; outside them nothing happens. A phase without incubation
    starts with a Scheil sum of 1. ``counts_after[row]`` is the share at which growth starts when incubation ends: 0, or
    that of the start line.
    """
    if last - first < 1 or temperature < knots[first] or temperature > knots[last - 1]:
        return share, scheil
    here = knots[first:last]
    if scheil < 1.0:
        tau = np.exp(look_up(temperature, here, log_tau[first:last]))
        used = dt / tau
        if scheil + used < 1.0:
            return share, scheil + used
        dt *= 1.0 - (1.0 - scheil) / used
        scheil = 1.0
        share = max(share, counts_after[row])
    n = look_up(temperature, here, exponent[first:last])
    b = np.exp(look_up(temperature, here, log_b[first:last]))
    past = (-np.log1p(-share) / b) ** (1.0 / n) if share < 1.0 else np.inf
    return -np.expm1(-b * (past + dt) ** n), 1.0


@jit
def user_history(
    time, temperature, largest_change, first, last, knots, log_b, exponent, log_tau, waits,
    counts_after, limit_knots, limit_values, scalars, fractions, formation,
):  # fmt: skip
    """Fractions of ferrite, pearlite, bainite, martensite along one history by user-supplied kinetics.

    ``waits`` is 1 for a phase with an incubation, else 0; ``scalars``: Ms (degC) and the Koistinen-Marburger coefficient (1/K). ``fractions`` is (4, times), ``formation`` (3,) sums of temperature times fraction formed.
    """
    part_of = np.zeros(3)
    share = np.zeros(3)
    scheil = 1.0 - waits
    martensite = 0.0
    if temperature[0] < scalars[0]:
        martensite = 1.0 - np.exp(-scalars[1] * (scalars[0] - temperature[0]))
    for n in range(time.shape[0]):
        if n > 0:
            span = time[n] - time[n - 1]
            change = temperature[n] - temperature[n - 1]
            parts = max(1, int(np.ceil(abs(change) / largest_change)))
            dt = span / parts
            for part in range(parts):
                middle = temperature[n - 1] + change * (part + 0.5) / parts
                end = temperature[n - 1] + change * (part + 1.0) / parts
                available = 1.0
                for row in range(3):
                    share[row], scheil[row] = advance_phase(
                        middle, dt, share[row], scheil[row], first[row], last[row], row, knots, log_b, exponent,
                        log_tau, counts_after,
                    )  # fmt: skip
                    ceiling = available
                    if row == 0:
                        ceiling = look_up(end, limit_knots, limit_values)
                    free = 1.0 - part_of[0] - part_of[1] - part_of[2] - martensite
                    gain = min(max(share[row] * ceiling - part_of[row], 0.0), max(free, 0.0))
                    part_of[row] += gain
                    formation[row] += gain * middle
                    available -= part_of[row]
                if end < scalars[0]:
                    pool = 1.0 - part_of[0] - part_of[1] - part_of[2]
                    formed = pool * (1.0 - np.exp(-scalars[1] * (scalars[0] - end)))
                    martensite = max(martensite, formed)
        for row in range(3):
            fractions[row, n] = part_of[row]
        fractions[3, n] = martensite
