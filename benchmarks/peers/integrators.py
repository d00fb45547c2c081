"""SciPy's stiff integrators on the finite volumes of `volumes`."""

from __future__ import annotations

import time

from reference import Array, Problem
from scipy import integrate

from .volumes import Volumes


class TimeUp(RuntimeError):
    """The limit of seconds was reached at ``where`` s of simulated time."""

    def __init__(self, where: float) -> None:
        super().__init__(f"stopped at {where:.3g} s")
        self.where = where


def guarded(function, limit: float):
    """Raise `TimeUp` when ``limit`` seconds have passed."""
    end = time.perf_counter() + limit

    def call(t, u):
        if time.perf_counter() > end:
            raise TimeUp(t)
        return function(t, u)

    return call


def odeint_banded(problem: Problem, limit: float, nr: int, nz: int, tolerance: float, grading: tuple = (3.0, 60.0),
                  form: str = "enthalpy") -> Array:  # fmt: skip
    """LSODA through `scipy.integrate.odeint`: no Python between the steps but the right-hand side; exact banded Jacobian."""
    v = Volumes(problem, nr, nz, *grading, form=form)
    found, info = integrate.odeint(
        guarded(v.rate, limit), v.first, [0.0, *problem.times], Dfun=v.banded, ml=nr, mu=nr, tfirst=True,
        rtol=tolerance, atol=100.0 * tolerance, mxstep=1_000_000, full_output=True,
    )  # fmt: skip
    if "successful" not in info["message"]:
        raise RuntimeError(info["message"])
    return v.sample(found[1:])


def solve_ivp_sparse(problem: Problem, limit: float, nr: int, nz: int, tolerance: float, grading: tuple = (3.0, 60.0),
                     form: str = "enthalpy", method: str = "BDF") -> Array:  # fmt: skip
    """BDF or Radau through `scipy.integrate.solve_ivp`, exact sparse Jacobian."""
    v = Volumes(problem, nr, nz, *grading, form=form)
    found = integrate.solve_ivp(
        guarded(v.rate, limit), (0.0, problem.end_time), v.first, method=method, t_eval=problem.times, jac=v.jacobian,
        rtol=tolerance, atol=100.0 * tolerance,
    )  # fmt: skip
    if not found.success:
        raise RuntimeError(found.message)
    return v.sample(found.y.T)


def solve_ivp_lsoda(problem: Problem, limit: float, nr: int, nz: int, tolerance: float, grading: tuple = (3.0, 60.0),
                    form: str = "enthalpy") -> Array:  # fmt: skip
    """LSODA through `scipy.integrate.solve_ivp`, banded Jacobian by differences: the usual set-up."""
    v = Volumes(problem, nr, nz, *grading, form=form)
    found = integrate.solve_ivp(
        guarded(v.rate, limit), (0.0, problem.end_time), v.first, method="LSODA", t_eval=problem.times,
        lband=nr, uband=nr, rtol=tolerance, atol=100.0 * tolerance,
    )  # fmt: skip
    if not found.success:
        raise RuntimeError(found.message)
    return v.sample(found.y.T)
