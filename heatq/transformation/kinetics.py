"""Kinetic tables of a steel on the solver's temperature grid."""

from __future__ import annotations

import functools
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.errors import hold_validity, repeat_notes
from heatq.transformation.rates import S_COMPLETE, rate_tables, s_inverse_table

__all__ = ["PHASES", "TEMPERATURE_GRID", "KineticTables", "kinetic_tables", "no_kinetics"]

#: Order of the phases everywhere.
PHASES = ("ferrite", "pearlite", "bainite", "martensite", "austenite")

#: Temperatures (degC) of every table the kernels read; beyond its ends tables continue linearly.
TEMPERATURE_GRID = -100.0 + np.arange(1551.0)


class KineticTables(NamedTuple):
    """What the kernels read.

    ``rates``: columns ferrite, pearlite, bainite (1/s), ferrite limit and exp(alpha T) over `TEMPERATURE_GRID`. ``scalars``: Ms (degC),
    Koistinen-Marburger coefficient alpha (1/K), carbon (mass %), dMs/dC (K per mass %), temperature above which nothing
    forms, exp(-alpha Ms).
    ``s_table``: X over uniform y from 0 to S(1); ``s_inverse_step``: its rows per unit y.
    """

    rates: npt.NDArray[np.float64]
    scalars: npt.NDArray[np.float64]
    s_table: npt.NDArray[np.float64]
    s_inverse_step: float


@functools.lru_cache(maxsize=1)
def _s_table() -> tuple[npt.NDArray[np.float64], float]:
    x = np.array(s_inverse_table())
    return x, (len(x) - 1) / S_COMPLETE


def kinetic_tables(steel: Any) -> KineticTables:
    """Tables of one steel (cached per steel).

    Ferrite and pearlite are frozen below the bainite start that belongs to the bainite rate, bainite below Ms; see
    `heatq.transformation.rates`.
    """
    tables, notes = _cached_tables(steel)
    repeat_notes(notes)
    return tables


@functools.lru_cache(maxsize=256)
def _cached_tables(steel: Any) -> tuple[KineticTables, dict[str, str]]:
    with hold_validity() as notes:
        return _build_tables(steel), notes


def _build_tables(steel: Any) -> KineticTables:
    tables = rate_tables(steel, TEMPERATURE_GRID)
    bainite = np.array(tables.bainite)
    bainite[tables.ms > TEMPERATURE_GRID] = 0.0
    top = max(tables.ae3, tables.ae1, tables.bs)
    scalars = np.array(
        [tables.ms, tables.alpha, tables.carbon, tables.ms_per_carbon, top, np.exp(-tables.alpha * tables.ms)]
    )
    rates = np.ascontiguousarray(
        np.stack(
            [tables.ferrite, tables.pearlite, bainite, tables.ferrite_limit, np.exp(tables.alpha * TEMPERATURE_GRID)],
            axis=1,
        )
    )
    return KineticTables(rates, scalars, *_s_table())


def no_kinetics() -> KineticTables:
    """Tables of a material that does not transform."""
    scalars = np.array([-1e6, 0.011, 0.0, 0.0, -1e6, 0.0])
    return KineticTables(np.zeros((len(TEMPERATURE_GRID), 5)), scalars, np.array([0.0, 1.0]), 1.0)
