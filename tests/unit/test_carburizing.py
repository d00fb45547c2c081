"""Carburized cases: diffusivities, profiles against the exact solution, hardness over depth, 8620 and 9310."""

from __future__ import annotations

import functools

import numpy as np
import pytest
import xarray as xr
from scipy.special import erfc

import heatq as hq
from heatq import carburizing
from heatq.carburizing import carbon_profile, case_depth, case_hardness
from heatq.errors import InputError, hold_validity

HOURS = 3600.0
PLACES = (0.0, 0.5, 0.8, 0.9, 0.95, 1.0)


@functools.cache
def quenched(name, diameter, coefficient=1500.0):
    steel = hq.grade(name)
    run = hq.simulate(
        hq.RoundBar(diameter),
        steel,
        {"side": hq.Convection(coefficient, 60.0)},
        initial_temperature=845.0,
        end_time=3600.0,
        stop_below=65.0,
        probes={f"{part:g}": (part * diameter / 2, 0.0) for part in PLACES},
        accuracy=1.0,
        estimate_error=False,
        progress=False,
    )
    return steel, run


def case(name, diameter, **changes):
    steel, run = quenched(name, diameter)
    profile = carbon_profile(0.85, steel.C, **{"temperature": 925.0, "duration": 6 * HOURS, **changes})
    with hold_validity():  # a case leaves the carbon range of most formulas
        return case_hardness(run, steel, profile)


@pytest.mark.parametrize("diffusivity", ["agren_1986", "tibbetts_1980"])
def test_the_profile_grows_with_the_root_of_time(diffusivity):
    depth = np.linspace(0.0, 2e-3, 60)
    once = carbon_profile(0.9, 0.2, temperature=925.0, duration=2 * HOURS, depth=depth, diffusivity=diffusivity)
    more = carbon_profile(0.9, 0.2, temperature=925.0, duration=8 * HOURS, depth=2 * depth, diffusivity=diffusivity)
    np.testing.assert_allclose(once["carbon"], more["carbon"], atol=1e-6)


def test_with_constant_diffusivity_it_is_the_error_function(monkeypatch):
    constant = 1.5e-11
    monkeypatch.setitem(carburizing._DIFFUSIVITIES, "agren_1986", lambda carbon, _: np.full(np.shape(carbon), constant))
    depth = np.linspace(0.0, 1.5e-3, 40)
    found = carbon_profile(0.9, 0.2, temperature=925.0, duration=4 * HOURS, depth=depth)
    exact = 0.2 + 0.7 * erfc(depth / (2.0 * np.sqrt(constant * 4 * HOURS)))
    np.testing.assert_allclose(found["carbon"], exact, atol=2e-5)


@pytest.mark.parametrize("diffusivity", ["agren_1986", "tibbetts_1980"])
def test_carbon_that_entered_is_carbon_that_is_there(diffusivity):
    """Against a plain explicit finite-difference solution of dC/dt = d/dx(D dC/dx)."""
    law, hours = carburizing._DIFFUSIVITIES[diffusivity], 1.0
    x = np.linspace(0.0, 1.6e-3, 161)
    carbon = np.full(x.size, 0.2)
    carbon[0] = 0.9
    dx = x[1] - x[0]
    steps = int(np.ceil(hours * HOURS / (0.4 * dx**2 / float(law(0.9, 925.0)))))
    for _ in range(steps):
        flux = law(0.5 * (carbon[1:] + carbon[:-1]), 925.0) * np.diff(carbon) / dx
        carbon[1:-1] += hours * HOURS / steps * np.diff(flux) / dx
    found = carbon_profile(0.9, 0.2, temperature=925.0, duration=hours * HOURS, depth=x, diffusivity=diffusivity)
    np.testing.assert_allclose(found["carbon"], carbon, atol=2e-3)


def test_the_total_depth_follows_the_rule_of_thumb():
    """0.635 mm per root of an hour at 925 degC (from memory): 0.04 % above the core's carbon lies within 10 % of it."""
    for hours in (2.0, 4.0, 9.0):
        profile = carbon_profile(0.9, 0.2, temperature=925.0, duration=hours * HOURS)
        depth = float(np.interp(-0.24, -profile["carbon"], profile["depth"]))
        assert depth == pytest.approx(0.635e-3 * np.sqrt(hours), rel=0.10)


def test_case_and_core_of_8620_and_9310():
    """The trade's check: large sections of 8620 are limited by core hardness, 9310 is not."""
    small, large = {}, {}
    for name in ("8620", "9310"):
        for section, found in ((small, case(name, 0.025)), (large, case(name, 0.100))):
            section[name] = found
            assert 0.5e-3 < float(found["case_depth"]) < 1.3e-3
            assert 700.0 < float(found["hardness_hv"][0]) < 900.0
            assert float(found["ms"][0]) < float(found["ms"][-1]) - 150.0
    cores = {name: float(large[name]["core_hardness_hv"]) for name in large}
    assert cores["8620"] < 238.0  # below 20 HRC
    assert cores["9310"] > 285.0  # about 28 HRC or more
    lost = {name: float(small[name]["core_hardness_hv"]) - cores[name] for name in large}
    assert lost["9310"] / float(small["9310"]["core_hardness_hv"]) < 0.25
    assert float(large["9310"]["core_fraction"].sel(phase=["ferrite", "pearlite"]).sum()) < 0.2


def test_longer_carburizing_makes_a_deeper_case():
    short, long = (float(case("8620", 0.025, duration=hours * HOURS)["case_depth"]) for hours in (2.0, 8.0))
    assert long == pytest.approx(2.0 * short, rel=0.15)


def test_a_profile_without_added_carbon_is_the_core():
    steel, run = quenched("9310", 0.025)
    flat = xr.Dataset({"carbon": ("depth", np.full(5, steel.C))}, coords={"depth": np.linspace(0.0, 1e-3, 5)})
    found = case_hardness(run, steel, flat)
    own = hq.hardness_of(run, steel)["hardness_hv"]
    assert float(found["core_hardness_hv"]) == pytest.approx(float(own.sel(probe="0")), rel=0.01)
    assert float(found["hardness_hv"][0]) == pytest.approx(float(own.sel(probe="1")), rel=0.01)
    assert np.isnan(float(found["case_depth"]))


def test_case_depth_is_read_between_points():
    traverse = xr.Dataset({"hardness_hv": ("depth", [700.0, 600.0, 500.0])}, coords={"depth": [0.0, 5e-4, 1e-3]})
    assert case_depth(traverse) == pytest.approx(7.5e-4)
    assert case_depth(traverse, 650.0) == pytest.approx(2.5e-4)
    assert np.isnan(case_depth(traverse, 400.0))


def test_bad_input_is_named():
    steel, run = quenched("8620", 0.025)
    profile = carbon_profile(0.85, 0.2, temperature=925.0, duration=HOURS)
    deep = profile.assign_coords(depth=profile["depth"] * 100.0)
    for call, message in (
        (lambda: carbon_profile(0.2, 0.9, temperature=925.0, duration=HOURS), "must be above core_carbon"),
        (lambda: carbon_profile(0.9, 0.2, temperature=1700.0, duration=HOURS), "degrees Celsius"),
        (lambda: carbon_profile(0.9, 0.2, temperature=925.0, duration=0.5), "Times are in seconds"),
        (lambda: carbon_profile(0.9, 0.2, temperature=925.0, duration=HOURS, depth=[0.0, 1.0]), "for 1 mm write 0.001"),
        (lambda: carbon_profile(0.9, 0.2, temperature=925.0, duration=HOURS, diffusivity="agren"), "agren_1986"),
        (lambda: case_hardness(run.drop_vars("r"), steel, profile), "no coordinate r"),
        (lambda: case_hardness(run, steel, deep), "more than the radius"),
        (lambda: case_hardness(run.sel(probe=["0.9", "1"]), steel, profile), "the centre"),
        (lambda: case_hardness(run, steel, run), "carbon\\(depth\\)"),
    ):
        with pytest.raises(InputError, match=message):
            call()
