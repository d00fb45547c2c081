"""Kinetic tables of a steel on the solver's temperature grid."""

from __future__ import annotations

import functools
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.errors import hold_validity, repeat_notes
from heatq.transformation.additivity import S_COMPLETE, s_inverse_table
from heatq.transformation.options import DEFAULT, Kinetics, drag_divisor, kinetics_named
from heatq.transformation.rates import fade_out, rate_tables

__all__ = ["PHASES", "TEMPERATURE_GRID", "KineticTables", "kinetic_tables", "no_kinetics", "transformed_fraction_table"]

#: Order of the phases everywhere.
PHASES = ("ferrite", "pearlite", "bainite", "martensite", "austenite")

#: Temperatures (degC) of every table the kernels read; beyond its ends tables continue linearly.
TEMPERATURE_GRID = -100.0 + np.arange(1551.0)


class KineticTables(NamedTuple):
    """What the kernels read.

    ``rates``: columns ferrite, pearlite, bainite (1/s), ferrite limit and exp(alpha T) over `TEMPERATURE_GRID`.
    ``scalars``: Ms (degC), Koistinen-Marburger coefficient alpha (1/K), carbon (mass %), dMs/dC (K per mass %),
    temperature above which nothing forms, exp(-alpha Ms), temperature below which no rate is left. ``s_table``: X over uniform y from 0 (to S(1) for a uniform
    steel); ``s_inverse_step``: its rows per unit y.
    """

    rates: npt.NDArray[np.float64]
    scalars: npt.NDArray[np.float64]
    s_table: npt.NDArray[np.float64]
    s_inverse_step: float


@functools.lru_cache(maxsize=32)
def transformed_fraction_table(spread: float = 0.0) -> tuple[npt.NDArray[np.float64], float]:
    """Transformed fraction over the rate integral y, uniform in y from 0, and its rows per unit y.

    Parameters
    ----------
    spread : float
        Standard deviation of ln(rate) from place to place; the fraction is the mean of S^-1(y exp(spread xi)) over normally
        distributed xi (trapezoid rule, 101 points over +-5), on to where 3.5 standard deviations are complete.

    Examples
    --------
    Half the steel is done at the same y, but the first and the last percent lie further apart:

    >>> import numpy as np
    >>> for spread in (0.0, 0.6):
    ...     fraction, rows = transformed_fraction_table(spread)
    ...     print((np.interp([0.01, 0.5, 0.99], fraction, np.arange(len(fraction))) / rows).round(2))
    [0.1  1.03 1.95]
    [0.08 0.95 5.07]
    """
    uniform = s_inverse_table()
    if spread == 0.0:
        return np.array(uniform), (len(uniform) - 1) / S_COMPLETE
    nodes = np.linspace(-5.0, 5.0, 101)
    weights = np.exp(-0.5 * nodes**2)
    top = S_COMPLETE * np.exp(3.5 * spread)
    y = np.linspace(0.0, top, 8 * (len(uniform) - 1) + 1)
    own = np.linspace(0.0, S_COMPLETE, len(uniform))
    weights = weights / weights.sum()
    x = sum(w * np.interp(y * np.exp(spread * node), own, uniform) for node, w in zip(nodes, weights, strict=True))
    x[0], x[-1] = 0.0, 1.0
    return x, (len(y) - 1) / float(top)


def kinetic_tables(steel: Any, kinetics: str | Kinetics = DEFAULT) -> KineticTables:
    """Tables of one steel (cached per steel and kinetics).

    Ferrite and pearlite fade out at the bainite start that belongs to the bainite rate, bainite at Ms; see
    `heatq.transformation.rates`. ``kinetics`` is a name or an own `heatq.transformation.options.Kinetics`.
    """
    tables, notes = _cached_tables(steel, kinetics_named(kinetics))
    repeat_notes(notes)
    return tables


@functools.lru_cache(maxsize=256)
def _cached_tables(steel: Any, kinetics: Kinetics) -> tuple[KineticTables, dict[str, str]]:
    with hold_validity() as notes:
        return _build_tables(steel, kinetics), notes


def _build_tables(steel: Any, kinetics: Kinetics) -> KineticTables:
    tables = rate_tables(steel, TEMPERATURE_GRID, (kinetics.ferrite, kinetics.pearlite, kinetics.bainite))
    slower = drag_divisor(steel, TEMPERATURE_GRID, kinetics.drag)
    bainite = tables.bainite * fade_out(TEMPERATURE_GRID, tables.ms)
    top = max(tables.ae3, tables.ae1, tables.bs)
    rates = np.ascontiguousarray(
        np.stack(
            [
                tables.ferrite / slower,
                tables.pearlite / slower,
                bainite,
                tables.ferrite_limit,
                np.exp(tables.alpha * TEMPERATURE_GRID),
            ],
            axis=1,
        )
    )
    active = np.flatnonzero((rates[:, :3] > 0.0).any(axis=1))
    bottom = TEMPERATURE_GRID[max(active[0] - 1, 0)] if active.size else top
    scalars = np.array(
        [tables.ms, tables.alpha, tables.carbon, tables.ms_per_carbon, top, np.exp(-tables.alpha * tables.ms), bottom]
    )
    return KineticTables(rates, scalars, *transformed_fraction_table(float(kinetics.spread)))


def no_kinetics() -> KineticTables:
    """Tables of a material that does not transform."""
    scalars = np.array([-1e6, 0.011, 0.0, 0.0, -1e6, 0.0, 1e6])
    return KineticTables(np.zeros((len(TEMPERATURE_GRID), 5)), scalars, np.array([0.0, 1.0]), 1.0)
