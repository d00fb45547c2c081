"""General-purpose libraries on the problems of `reference`, each with the best set-up that was found.

A setting is (cells across, cells along, tolerance or the like of the peer, gradings across and along). Those listed are the
cheapest found by ``python benchmarks/bench_conduction.py --wide``, by the error they are for (K).
"""

from __future__ import annotations

import dataclasses
import importlib
import importlib.util
from typing import Any

#: Grids whose error in space is below the level: problem -> level -> grids (across, along, gradings).
GRIDS: dict[str, dict[float, tuple]] = {
    "P1": {
        5.0: ((2, 32, (4.0, 60.0)), (3, 32, (4.0, 60.0))),
        1.0: ((4, 84, (6.0, 60.0)), (4, 96, (6.0, 60.0))),
        0.1: ((10, 240, (6.0, 60.0)),),
    },
    "P1L": {
        5.0: ((2, 32, (4.0, 60.0)), (3, 36, (4.0, 60.0))),
        1.0: ((4, 96, (6.0, 60.0)), (5, 112, (6.0, 60.0))),
        0.1: ((12, 300, (6.0, 60.0)),),
    },
    "P2": {
        5.0: ((8, 4, (1.5, 10.0)), (6, 4, (1.5, 10.0))),
        1.0: ((16, 6, (1.5, 10.0)), (24, 8, (1.5, 10.0))),
        0.1: ((96, 10, (1.5, 10.0)),),
    },
}


@dataclasses.dataclass(frozen=True)
class Peer:
    """One solver of a library; ``tolerances`` by level, tried on every grid of the level unless ``grids`` says otherwise."""

    label: str
    function: str
    tolerances: dict[float, tuple[float, ...]]
    options: dict[str, Any] = dataclasses.field(default_factory=dict)
    needs: str = "scipy"
    problems: tuple[str, ...] = ("P1", "P1L", "P2")
    grids: dict[str, dict[float, tuple]] = dataclasses.field(default_factory=lambda: GRIDS)

    @property
    def is_slow(self) -> bool:
        """Whether its runs take seconds rather than milliseconds."""
        return self.needs not in ("scipy", "numba")

    def installed(self) -> bool:
        """Whether the library can be imported."""
        return importlib.util.find_spec(self.needs) is not None

    def run(self, problem, limit: float, nr: int, nz: int, tolerance: float, grading: tuple):
        """Temperatures (times, probes)."""
        module, name = self.function.split(".")
        call = getattr(importlib.import_module(f"peers.{module}"), name)
        options = self.options if self.needs == "pde" else self.options | {"grading": grading}
        return call(problem, limit, nr, nz, tolerance, **options)

    def settings(self, problem: str, level: float) -> list[tuple]:
        """(nr, nz, tolerance, grading) to try for a level."""
        grids = self.grids.get(problem, {}).get(level, ())
        return [(nr, nz, tol, grading) for nr, nz, grading in grids for tol in self.tolerances.get(level, ())]


#: scikit-fem: the consistent quadrature allows fewer cells, and every run is dear, so one setting per level.
ELEMENTS = {
    "P1": {5.0: ((3, 32, (3.0, 60.0)),), 1.0: ((4, 84, (6.0, 60.0)),), 0.1: ((8, 200, (6.0, 60.0)),)},
    "P1L": {5.0: ((3, 32, (3.0, 60.0)),), 1.0: ((4, 84, (6.0, 60.0)),)},
    "P2": {5.0: ((12, 6, (1.5, 10.0)),), 1.0: ((24, 6, (1.5, 10.0)),)},
}
#: Forms and methods that are slower still are not asked for P1L to 0.1 K, which takes the best ones ten seconds and more.
SHORTER = GRIDS | {"P1L": {level: grids for level, grids in GRIDS["P1L"].items() if level > 0.1}}
FIPY = {
    "P1": {5.0: ((2, 32, (4.0, 60.0)),), 1.0: ((4, 84, (6.0, 60.0)),)},
    "P1L": {5.0: ((2, 32, (4.0, 60.0)),), 1.0: ((4, 96, (6.0, 60.0)),)},
    "P2": {5.0: ((10, 4, (1.5, 10.0)),), 1.0: ((20, 6, (1.5, 10.0)),)},
}
_T = {"form": "temperature"}
PEERS = (
    Peer("SciPy odeint (LSODA), exact banded Jacobian, enthalpy", "integrators.odeint_banded",
         {5.0: (1e-2, 5e-3), 1.0: (2e-3, 1e-3), 0.1: (1e-4, 5e-5)}),
    Peer("the same, temperature", "integrators.odeint_banded", {5.0: (5e-3, 1e-3), 1.0: (5e-4, 1e-4), 0.1: (2e-5, 1e-5)}, _T,
         grids=SHORTER),
    Peer("the same, enthalpy, callbacks compiled with numba by hand", "compiled.odeint_compiled",
         {5.0: (1e-2, 5e-3), 1.0: (2e-3, 1e-3), 0.1: (1e-4, 5e-5)}, needs="numba"),
    Peer("SciPy solve_ivp LSODA, banded Jacobian by differences", "integrators.solve_ivp_lsoda",
         {5.0: (5e-3, 2e-3), 1.0: (1e-3, 5e-4), 0.1: (1e-4, 5e-5)}, grids=SHORTER),
    Peer("SciPy solve_ivp BDF, sparse Jacobian, enthalpy", "integrators.solve_ivp_sparse",
         {5.0: (5e-3, 2e-3), 1.0: (5e-4, 1e-4), 0.1: (2e-5,)}),
    Peer("SciPy solve_ivp BDF, sparse Jacobian, temperature", "integrators.solve_ivp_sparse",
         {5.0: (2e-3, 1e-3), 1.0: (1e-4, 3e-5), 0.1: (5e-6,)}, _T, grids=SHORTER),
    Peer("SciPy solve_ivp Radau, sparse Jacobian, enthalpy", "integrators.solve_ivp_sparse",
         {5.0: (1e-2, 3e-3), 1.0: (1e-3, 3e-4), 0.1: (1e-4,)}, {"method": "Radau"}, grids=SHORTER),
    Peer("SciPy solve_ivp Radau, sparse Jacobian, temperature", "integrators.solve_ivp_sparse",
         {5.0: (1e-2, 3e-3), 1.0: (1e-3,)}, _T | {"method": "Radau"}),
    Peer("scikit-fem, SDIRK2 and Newton", "elements.sdirk2", {5.0: (12.0,), 1.0: (3.0, 1.5), 0.1: (0.15,)}, needs="skfem",
         grids=ELEMENTS),
    Peer("FiPy, backward Euler with sweeps", "fipy_volumes.backward_euler", {5.0: (3.0,), 1.0: (0.5,)}, needs="fipy",
         grids=FIPY),
    Peer("py-pde, explicit, uniform grid", "pypde_grid.explicit", {5.0: (0.9,), 1.0: (0.9,)}, needs="pde",
         problems=("P1",), grids={"P1": {5.0: ((4, 200, ()),), 1.0: ((4, 400, ()),)}}),
)  # fmt: skip
