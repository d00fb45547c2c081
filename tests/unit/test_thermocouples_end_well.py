"""A well on the axis resolved on a grid: limits with a known answer, bookkeeping, and its way into the placement."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

import heatq as hq
from heatq.errors import InputError, SolverError
from heatq.thermocouples import EndWell, Filling, Thermocouple, end_well_disturbance, place_thermocouples
from heatq.thermocouples.conduction_with_holes import points
from heatq.thermocouples.disturbance import BLIND_END

BAR = hq.RoundBar(diameter=0.03, length=0.08)
METAL = hq.Material.constant(conductivity=25.0, density=7800.0, specific_heat=600.0)
OIL = dict.fromkeys(BAR.faces, hq.Convection(coefficient=1500.0, fluid_temperature=60.0))


def drilled(well, steel=METAL, bar=BAR, boundaries=OIL, end_time=24.0, **more):
    settings = {"initial_temperature": 850.0, "cells": 3, "accuracy": 2.0, "estimate_error": False} | more
    return end_well_disturbance(bar, steel, boundaries, well, end_time=end_time, **settings)


@pytest.fixture(scope="module")
def empty():
    return drilled(EndWell(0.02, 3e-3))


def test_energy_is_kept(empty):
    assert empty.attrs["energy_residual"] < 1e-12
    full = drilled(EndWell(0.02, 3e-3, sheath_diameter=2e-3, filling=Filling(0.06, 450.0)), steel=hq.demo_heat())
    assert full.attrs["energy_residual"] < 1e-12


@pytest.mark.parametrize("filling", [METAL, Filling(25.0, 7800.0 * 600.0)])
@pytest.mark.parametrize("sheath", [None, 1.5e-3])
def test_filling_of_the_same_metal_changes_nothing(filling, sheath):
    run = drilled(EndWell(0.02, 3e-3, filling=filling, sheath_diameter=sheath, sheath=filling), end_time=12.0)
    assert float(abs(run.error).max()) < 1e-9
    assert float(abs(run.error_steady).max()) > 1.0  # there is a gradient


def test_steel_filled_with_its_own_steel():
    run = drilled(EndWell(0.02, 3e-3, filling=hq.demo_heat()), steel=hq.demo_heat(), phase="bainite")
    assert float(abs(run.error).max()) == 0.0


def test_no_well_and_a_tiny_well(empty):
    nothing = drilled(EndWell(0.0, 3e-3))
    assert float(abs(nothing.error).max()) == 0.0
    narrow = drilled(EndWell(0.02, 0.3e-3), end_time=5.0)
    assert 0.0 < float(abs(narrow.error).max()) < 0.05 * float(abs(empty.error.sel(time=slice(0.0, 5.0))).max())


def test_either_end_is_the_same(empty):
    other = drilled(EndWell(0.02, 3e-3, face="bottom"))
    np.testing.assert_allclose(other.error, empty.error, atol=1e-8)
    np.testing.assert_allclose(other.temperature_without, empty.temperature_without, atol=1e-8)


def test_without_the_well_it_is_what_simulate_says(empty):
    times = np.linspace(1.0, 20.0, 20)
    ours = drilled(EndWell(0.02, 3e-3), end_time=20.0, accuracy=1.0, cells=6, output_times=times).temperature_without
    run = hq.simulate(
        BAR, METAL, OIL, initial_temperature=850.0, end_time=20.0, probes={"a": (0.0, 0.06)}, output_times=times,
        accuracy=0.2, progress=False,
    )  # fmt: skip
    assert float(abs(ours.values - run.temperature.values[:, 0]).max()) < 0.5


def test_jump_in_the_boundary_is_met():
    air, oil = hq.Convection(coefficient=20.0, fluid_temperature=20.0), OIL["side"]
    stages = dict.fromkeys(BAR.faces, hq.Stages([(3.0, air), (None, oil)]))
    run = drilled(EndWell(0.02, 3e-3), boundaries=stages, end_time=12.0)
    assert float(abs(run.time - 3.0).min()) == 0.0
    assert float(abs(run.error.sel(time=slice(0.0, 3.0))).max()) < 0.2 < float(abs(run.error).max())


def uniform_gradient(a, **well):
    """Steady, in a bar 25 radii wide between two films; disturbance over G a, in the middle and in the mean."""
    bar = hq.RoundBar(50 * a, 50 * a)
    films = {f: hq.Convection(coefficient=1e5, fluid_temperature=t) for f, t in (("bottom", 100.0), ("top", 20.0))}
    cells = well.pop("cells")
    run = drilled(
        EndWell(diameter=2 * a, **well), bar=bar, boundaries=films | {"side": hq.Insulated()}, end_time=2000.0,
        initial_temperature=60.0, cells=cells, accuracy=5.0,
    )  # fmt: skip
    unit = float(run.error_steady[-1]) / BLIND_END
    assert unit == pytest.approx(80.0 / 0.0755 * a, rel=2e-3)  # each film is worth 0.25 mm of metal
    return float(run.error[-1]) / unit, float(run.error_mean[-1]) / unit


@pytest.mark.parametrize("kf", [2.5, 11.0])
def test_filling_shrinks_the_steady_part_by_the_factor_that_the_formula_takes_over(kf):
    """(k - kf)/(k + kf), exact across a well, holds along it within 6 % for fillings that conduct less than the metal."""
    (empty, _), (filled, _) = (
        uniform_gradient(1.5e-3, depth=0.03, filling=filling, cells=3) for filling in (None, Filling(kf, 4.68e6))
    )
    assert filled / empty == pytest.approx((25.0 - kf) / (25.0 + kf), rel=0.06)


def test_missing_metal_makes_the_bottom_colder_where_there_is_no_gradient_along_the_axis():
    """A bar insulated at its ends: the steady formula says nothing, the transient well takes its heat content with it."""
    ends = OIL | {"bottom": hq.Insulated(), "top": hq.Insulated()}
    run = drilled(EndWell(0.04, 3e-3), boundaries=ends)
    assert float(abs(run.error_steady).max()) < 1e-6
    assert float(run.error.min()) < -1.0
    assert float(run.error.max()) < 1e-6


def test_well_of_a_couple():
    couple = Thermocouple(sheath_diameter=1.5e-3, fit="gap")
    well = EndWell.holding(couple, 0.02)
    assert well.diameter == pytest.approx(1.6e-3)
    assert (well.sheath_diameter, well.filling.conductivity) == (1.5e-3, pytest.approx(0.06, abs=0.01))
    assert EndWell.holding(Thermocouple(fit="filled"), 0.02).filling.conductivity == 1.0
    assert EndWell.holding(Thermocouple(), 0.02).filling is None


def test_result_tells_its_numbers(empty):
    assert empty.temperature_with.attrs["units"] == "degC"
    np.testing.assert_allclose(empty.temperature_with - empty.temperature_without, empty.error, atol=1e-9)
    assert abs(float(empty.largest_error)) == float(abs(empty.error).max())
    assert float(empty.largest_error) in empty.error.values
    time = empty.cooling_time_800_500
    assert float(empty.error_cooling_time_800_500) == pytest.approx(float(time[1] - time[0]))
    assert float(empty.error_cooling_rate_704) != 0.0
    short = drilled(EndWell(0.02, 3e-3), stop_below=700.0, estimate_error=True, cells=4)
    assert short.temperature_with[-1] < 700.0 < short.temperature_with[-2]
    assert 0.0 < short.attrs["numerical_error"] < 0.5
    assert np.isnan(float(short.error_cooling_time_800_500))


def test_points_start_and_end_as_asked():
    x = points(0.1, 1e-3, 4e-3, 0.1)
    assert (x[0], x[-1]) == (0.0, 0.1)
    assert np.diff(x)[0] == pytest.approx(1e-3, rel=0.15)
    assert np.diff(x)[-1] == pytest.approx(4e-3, rel=0.15)


def test_placement_takes_it_on_request():
    couple = Thermocouple(sheath_diameter=3e-3)
    places = {"near": (0.0, 0.065), "far": (0.01, 0.065)}
    both = [
        place_thermocouples(
            BAR, hq.demo_heat(), OIL, purpose="slowest point", sensor=couple, places=places, entries=["end"],
            resolved=resolved, accuracy=5.0,
        ).error_temperature.sel(component="well")
        for resolved in (False, True)
    ]  # fmt: skip
    steady, resolved = ({p: float(parts.sel(place=f"{p}, end")) for p in places} for parts in both)
    assert resolved["far"] == steady["far"]  # only wells on the axis are resolved
    assert resolved["near"] != steady["near"]
    assert 0.2 * steady["near"] < resolved["near"] < 3.0 * steady["near"]
    with pytest.raises(InputError, match="name the places"):
        place_thermocouples(BAR, hq.demo_heat(), OIL, purpose="slowest point", resolved=True)


def test_a_very_thin_well_has_the_steady_error_but_for_the_missing_metal():
    """What is missing is a share of the section, and that share of all that the metal can lose bounds its effect."""
    run = drilled(EndWell(0.02, 0.1e-3))
    missing = (0.1 / 30.0) ** 2 * (850.0 - 60.0)
    np.testing.assert_allclose(run.error, run.error_steady, rtol=0.05, atol=missing)
    assert float(run.error_steady.max()) > 10.0 * missing


def test_a_boundary_says_nothing_about_surfaces_that_were_not_met():
    """Its tables reach to temperatures where the fit for the gas does not; the run does not (notes are errors here)."""
    gas = hq.GasQuench("nitrogen", velocity=15.0, pressure=10e5).boundaries(BAR)
    run = drilled(EndWell(0.02, 3e-3), boundaries=gas, cells=2)
    assert run.attrs["warnings"] == "[]"


@dataclasses.dataclass(frozen=True)
class Wavy:
    factor: float = 1.0

    def heat_flux(self, surface_temperature):
        return self.factor * 1500.0 * (surface_temperature - 60.0)

    def over_time(self, end_time):
        return [(t, Wavy(1.0 + 0.3 * np.sin(t))) for t in np.linspace(0.0, end_time, 51).tolist()]


def test_knots_without_a_jump_cost_no_small_steps():
    run = drilled(EndWell(0.02, 3e-3), boundaries=dict.fromkeys(BAR.faces, Wavy()), cells=2)
    assert 51 < run.sizes["time"] < 150
    assert run.attrs["energy_residual"] < 1e-12


JET = hq.EndQuenchBar()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: drilled(0.02), "an EndWell, such as"),
        (lambda: drilled(EndWell(0.02, 3e-3), bar=hq.Tube(0.05, 0.01, 0.1)), "a solid piece with ends"),
        (lambda: drilled(EndWell(0.02, 3e-3), bar=hq.RoundBar(0.05)), "a solid piece with ends"),
        (lambda: drilled(EndWell(0.02, 3e-3, face="jet"), bar=JET), "the jet would fill a well"),
        (lambda: drilled(EndWell(0.02, 3e-3, face="side")), "unknown well.face 'side'"),
        (lambda: drilled(EndWell(0.08, 3e-3)), "metal beyond its bottom"),
        (lambda: drilled(EndWell(0.02, 0.02)), "well.diameter = 0.02"),
        (lambda: EndWell(20.0, 3e-3), "depth = 20"),
        (lambda: EndWell(0.02, 3e-3, sheath_diameter=4e-3), "must not be wider"),
        (lambda: Filling(0.0, 1e6), "conductivity = 0"),
        (lambda: Filling(1.0, 500e7), "density times specific heat"),
        (lambda: drilled(EndWell(0.02, 3e-3), cells=1), "a whole number from 2 to 64"),
        (lambda: drilled(EndWell(0.02, 3e-3), output_times=[3.0, 2.0]), "increase strictly"),
        (lambda: drilled(EndWell(0.02, 3e-3), output_times=[30.0]), "beyond end_time"),
        (lambda: drilled(EndWell(0.02, 3e-3), steel=hq.demo_heat(), phase="ferite"), "unknown phase"),
        (lambda: drilled(EndWell(0.02, 3e-3), boundaries={}), "no boundary for face"),
    ],
)
def test_impossible_wells(call, message):
    with pytest.raises(InputError, match=message):
        call()


@pytest.mark.slow
@pytest.mark.parametrize(("depth", "factor"), [(20.0, BLIND_END), (2.0, 0.79)])
def test_steady_limit_is_what_finite_elements_give(depth, factor):
    """Uniform gradient past an empty well in a bar 25 radii wide; the factors are those of tests/validation."""
    a = 1.5e-3
    middle, mean = zip(*(uniform_gradient(a, depth=depth * a, cells=cells) for cells in (4, 8, 16)), strict=True)
    assert abs(middle[2] - middle[1]) < 0.5 * abs(middle[1] - middle[0])  # at least first order at the edge
    assert middle[2] == pytest.approx(factor, rel=0.015)
    if depth == 20.0:
        assert mean[2] == pytest.approx(0.65, rel=0.03)


@pytest.mark.slow
def test_error_settles_with_the_grid_and_hardly_knows_the_step():
    steel, well = hq.demo_heat(), EndWell(0.02, 3e-3)
    times = np.linspace(0.5, 20.0, 40)
    runs = {
        (cells, accuracy): drilled(well, steel, cells=cells, accuracy=accuracy, output_times=times)
        for cells, accuracy in ((4, 0.5), (8, 0.5), (16, 0.5), (8, 4.0))
    }
    apart = [float(abs(runs[2 * n, 0.5].error - runs[n, 0.5].error).max()) for n in (4, 8)]
    unit = (
        float(abs(runs[16, 0.5].error_steady).max()) / BLIND_END
    )  # G a; the error itself is what two large parts leave
    assert apart[1] < 0.4 * apart[0]  # order 1.4: the edge of the bottom
    assert apart[1] < 0.015 * unit
    assert float(abs(runs[8, 4.0].error - runs[8, 0.5].error).max()) < 0.1  # steps cancel in the difference


@pytest.mark.slow
@pytest.mark.parametrize(
    "boundary", [hq.Convection(coefficient=500.0, fluid_temperature=20.0), hq.OilBath("conventional")]
)
def test_temperature_dependent_steel_against_simulate(boundary):
    bar, times = hq.RoundBar(0.06, 0.5), np.linspace(2.0, 120.0, 60)
    faces, steel = dict.fromkeys(bar.faces, boundary), hq.demo_heat()
    run = hq.simulate(
        bar, steel, faces, initial_temperature=850.0, end_time=120.0, probes={"a": (0.0, 0.38)}, output_times=times,
        accuracy=0.1, coupled=False, estimate_error=False, progress=False,
    )  # fmt: skip
    worst = []
    for cells in (4, 8):
        ours = drilled(
            EndWell(0.12, 3e-3), steel, bar, faces, end_time=120.0, cells=cells, accuracy=1.0, output_times=times
        )
        worst.append(float(abs(ours.temperature_without.values - run.temperature.values[:, 0]).max()))
    assert worst[1] < 0.5  # the default number of cells
    assert worst[1] < 0.4 * worst[0]


def test_a_step_that_becomes_too_small_says_where_and_when(monkeypatch):
    from heatq.thermocouples import end_well

    def refusing(fields, end_time, tolerance, *rest):
        return march(fields, end_time, 0.0, *rest)  # no step is good enough

    march = end_well.march
    monkeypatch.setattr(end_well, "march", refusing)
    with pytest.raises(SolverError) as caught:
        drilled(EndWell(0.02, 3e-3))
    said = re.search(r"near r = (\S+) m, z = (\S+) m, where the temperature is 850 degC", str(caught.value))
    assert said is not None
    assert "the time step became too small at t = 0 s (step " in str(caught.value)
    # in one step from one temperature everywhere the fastest place lies in a corner
    assert float(said[1]) > 0.8 * BAR.outer_radius
    assert min(float(said[2]), BAR.length - float(said[2])) < 0.2 * BAR.length
