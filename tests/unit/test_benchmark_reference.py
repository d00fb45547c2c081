"""The stored references of the benchmark: held against finite volumes, and their method against an exact series."""

from __future__ import annotations

import dataclasses
import json
import pathlib
import sys

import numpy as np
import pytest

BENCHMARKS = pathlib.Path(__file__).parents[2] / "benchmarks"
sys.path.insert(0, str(BENCHMARKS))

import reference  # noqa: E402
import solver_page  # noqa: E402
from peers.integrators import odeint_banded  # noqa: E402


@pytest.mark.parametrize("name", ["P1", "P2", "P1L"])
def test_reference_is_converged_to_a_fiftieth_of_a_kelvin(name):
    history, distance = reference.load(name)
    problem = reference.PROBLEMS[name]
    assert history.shape == (len(problem.times), len(problem.probes))
    stored = np.loadtxt(reference.FOLDER / f"{name}.csv", delimiter=",")[:, 0]
    np.testing.assert_allclose(stored, problem.times, atol=1e-5)
    assert distance <= 0.02


@pytest.mark.parametrize(
    ("name", "grid", "allowed"),
    # spatial error of these grids, of second order: a grid of half the width is at a quarter of it
    [
        ("P1", (6, 140, 2e-4, (6.0, 60.0)), 0.4), ("P2", (40, 8, 1e-4, (1.5, 10.0)), 0.2),
        pytest.param("P1L", (6, 140, 2e-4, (6.0, 60.0)), 0.6, marks=pytest.mark.slow),
    ],
)  # fmt: skip
def test_finite_volumes_agree(name, grid, allowed):
    nr, nz, tolerance, grading = grid
    found = odeint_banded(reference.PROBLEMS[name], 60.0, nr, nz, tolerance, grading)
    assert np.abs(found - reference.load(name)[0]).max() < allowed


def test_spectral_elements_against_the_exact_series(monkeypatch):
    from scipy import optimize, special

    k, capacity, h, radius = 30.0, 7850.0 * 600.0, 2000.0, 0.0381
    monkeypatch.setattr(reference, "temperature", lambda u, latent=False: u / capacity)
    monkeypatch.setattr(reference, "enthalpy", lambda t, latent=False: t * capacity)
    monkeypatch.setattr(reference, "potential", lambda t: k * t)
    monkeypatch.setattr(reference, "conductivity", lambda t: np.full_like(t, k))
    monkeypatch.setattr(
        reference, "specific_heat", lambda t, latent=False: np.full_like(t, capacity / reference.DENSITY)
    )
    times = np.geomspace(5.0, 300.0, 12)
    long_bar = dataclasses.replace(
        reference.PROBLEMS["P2"], times=times, bottom=reference.Face(), side=reference.Face(h, 40.0)
    )
    found = reference.Spectral(long_bar, 4, 1).solve(1e-8)
    biot, fourier = h * radius / k, k / capacity * times / radius**2
    zeros = special.jn_zeros(0, 40)
    lows = np.concatenate([[1e-9], special.jn_zeros(1, 39)])
    roots = np.array(
        [
            optimize.brentq(lambda x: x * special.j1(x) - biot * special.j0(x), a, b)
            for a, b in zip(lows, zeros, strict=True)
        ]
    )
    weight = 2.0 * special.j1(roots) / (roots * (special.j0(roots) ** 2 + special.j1(roots) ** 2))
    for column, share in enumerate((0.0, 0.75)):
        exact = 40.0 + 805.0 * (weight * special.j0(share * roots) * np.exp(-np.outer(fourier, roots**2))).sum(axis=1)
        np.testing.assert_allclose(found[:, column], exact, atol=2e-3)


def test_page_is_rendered_from_the_stored_run():
    page = solver_page.render(json.loads(solver_page.RESULT.read_text(encoding="utf-8")))
    assert solver_page.PAGE.read_text(encoding="utf-8") == page
