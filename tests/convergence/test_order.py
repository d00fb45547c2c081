"""Observed order in space and time, and the symmetries a wrong face area or half cell would break.

Order in space: errors against the exact solution on three grids, time steps so small that they do not show. Order in
time: steps are adaptive, so it is the slope of the error against the mean step, end_time / n_steps; the reference is the
same grid with a step tolerance some thousand times smaller.
"""

from __future__ import annotations

import cases
import numpy as np
import pytest

import heatq as hq
from heatq.units import kelvin

METAL = hq.Material.constant(**cases.BAR_PROPERTIES)
DIFFUSIVITY = 30.0 / (7700.0 * 600.0)
SMALL_STEPS = 1e-4

#: (problem, "space" or "time") -> observed orders between successive runs
OBSERVED: dict[tuple[str, str], list[float]] = {}


def radial(cells, step_tolerance):
    """25.4 mm bar, h = 2000 W/m2K, at the five printed times."""
    times = [fourier * 0.0127**2 / DIFFUSIVITY for fourier in cases.BAR_FOURIER]
    run = hq.simulate(
        hq.RoundBar(diameter=0.0254),
        METAL,
        {"side": hq.Convection(coefficient=2000.0, fluid_temperature=20.0)},
        initial_temperature=850.0,
        end_time=times[-1],
        output_times=times,
        probes=["centre", "mid-radius", "surface"],
        cells=(cells, 1),
        step_tolerance=step_tolerance,
    )
    return run.temperature.values, np.array(cases.BARS[0.0254, 2000.0]), run.n_steps


def axial(cells, step_tolerance):
    """End quench with an insulated side."""
    still = hq.Insulated()
    run = hq.simulate(
        hq.RoundBar(diameter=0.0254, length=0.15),
        METAL,
        {"bottom": hq.Convection(coefficient=2e4, fluid_temperature=24.0), "side": still, "top": still},
        initial_temperature=845.0,
        end_time=20.0,
        output_times=cases.END_TIMES[1:],
        probes={str(depth): (0.01, depth * 1e-3) for depth in cases.END_QUENCH},
        cells=(1, cells),
        step_tolerance=step_tolerance,
    )
    return run.temperature.values.T, np.array(list(cases.END_QUENCH.values()))[:, 1:], run.n_steps


def two_dimensional(cells, step_tolerance):
    """Short cylinder 80 x 60 mm as the product of cylinder and wall, at three times."""
    bath, times = hq.Convection(coefficient=500.0, fluid_temperature=kelvin(300.0)), [30.0, 90.0, 180.0]
    places = {"centre": (0.0, 0.03), "face": (0.0, 0.06), "side": (0.04, 0.03), "corner": (0.04, 0.06)}
    run = hq.simulate(
        hq.RoundBar(diameter=0.08, length=0.06),
        hq.Material.constant(**cases.SHORT_PROPERTIES),
        {"bottom": bath, "side": bath, "top": bath},
        initial_temperature=kelvin(600.0),
        end_time=180.0,
        output_times=times,
        probes=places,
        cells=(cells, 2 * cells),
        step_tolerance=step_tolerance,
    )
    alpha = 17.4 / (7900.0 * 526.0)

    def theta(r, z, t):
        radius = cases.cylinder(r / 0.04, alpha * t / 0.04**2, 500.0 * 0.04 / 17.4)
        return radius * cases.wall((z - 0.03) / 0.03, alpha * t / 0.03**2, 500.0 * 0.03 / 17.4)

    exact = np.array([[300.0 + 300.0 * theta(r, z, t) for r, z in places.values()] for t in times])
    return run.temperature.values, kelvin(exact), run.n_steps


def rms(difference):
    return float(np.sqrt(np.mean(np.square(difference))))


@pytest.fixture(scope="module", autouse=True)
def report():
    yield
    for (name, kind), orders in OBSERVED.items():
        print(f"\nobserved order in {kind}, {name:16s}: {', '.join(f'{p:.3f}' for p in orders)}", end="")
    print()


@pytest.mark.parametrize(
    ("problem", "grids"), [(radial, (20, 40, 80)), (axial, (64, 128, 256)), (two_dimensional, (20, 40, 80))]
)
def test_second_order_in_space(problem, grids):
    errors = [rms(np.subtract(*problem(cells, SMALL_STEPS)[:2])) for cells in grids]
    orders = [float(np.log2(a / b)) for a, b in zip(errors[:-1], errors[1:], strict=True)]
    OBSERVED[problem.__name__, "space"] = orders
    assert min(orders) >= 1.9


@pytest.mark.parametrize(("problem", "cells"), [(radial, 20), (axial, 64), (two_dimensional, 12)])
def test_second_order_in_time(problem, cells):
    reference = problem(cells, 5e-6)[0]
    runs = [problem(cells, tolerance) for tolerance in (0.025, 0.00625, 0.0015625)]
    errors, steps = [rms(values - reference) for values, _, _ in runs], [n for *_, n in runs]
    orders = [
        float(np.log(errors[k] / errors[k + 1]) / np.log(steps[k + 1] / steps[k])) for k in range(len(errors) - 1)
    ]
    OBSERVED[problem.__name__, "time"] = orders
    assert min(orders) >= 1.9


def test_fields_mirror_at_mid_length():
    """Same boundary above and below: the field is its own mirror image to round-off."""
    bath = hq.Convection(coefficient=1500.0, fluid_temperature=40.0)
    run = hq.simulate(
        hq.RoundBar(diameter=0.05, length=0.08),
        METAL,
        {"bottom": bath, "side": hq.Convection(coefficient=300.0, fluid_temperature=20.0), "top": bath},
        initial_temperature=850.0,
        end_time=30.0,
        fields_at=[1.0, 30.0],
    )
    field = run.temperature_field.values
    assert np.ptp(field[0]) > 100.0
    np.testing.assert_allclose(field, field[:, ::-1, :], rtol=1e-9)
    np.testing.assert_allclose(run.heat_removed.sel(face="bottom"), run.heat_removed.sel(face="top"), rtol=1e-9)


def test_turning_the_piece_over_changes_nothing():
    hot, cold = (
        hq.Convection(coefficient=100.0, fluid_temperature=20.0),
        hq.Convection(coefficient=3000.0, fluid_temperature=20.0),
    )
    side = hq.Insulated()
    up, down = (
        hq.simulate(
            hq.RoundBar(diameter=0.05, length=0.08),
            METAL,
            {"bottom": bottom, "side": side, "top": top},
            initial_temperature=850.0,
            end_time=30.0,
            output_times=[3.0, 30.0],
            probes={"place": (0.0125, z)},
        )
        for bottom, top, z in ((hot, cold, 0.07), (cold, hot, 0.01))
    )
    np.testing.assert_allclose(up.temperature.values, down.temperature.values, rtol=1e-9)


def test_insulated_side_keeps_the_end_quench_one_dimensional():
    """With no flow through the side nothing depends on r, and the answer is that of the half space."""
    still = hq.Insulated()
    run = hq.simulate(
        hq.EndQuenchBar(),
        METAL,
        {"jet": hq.Convection(coefficient=2e4, fluid_temperature=24.0), "side": still, "top": still},
        initial_temperature=845.0,
        end_time=5.0,
        fields_at=[5.0],
    )
    field = run.temperature_field.values[0]
    assert np.ptp(field, axis=1).max() < 1e-9
    exact = [24.0 + 821.0 * cases.half_space(z, 5.0, 2e4, 30.0, DIFFUSIVITY) for z in run.cell_z.values]
    assert np.abs(field[:, 0] - exact).max() < 0.1


def test_insulated_ends_keep_the_bar_one_dimensional():
    bath, still = hq.Convection(coefficient=2000.0, fluid_temperature=20.0), hq.Insulated()
    times = [1.0, 10.0, 25.0]
    options = {"initial_temperature": 850.0, "end_time": 25.0, "output_times": times, "step_tolerance": 1e-3}
    short = hq.simulate(
        hq.RoundBar(diameter=0.0254, length=0.05),
        METAL,
        {"bottom": still, "side": bath, "top": still},
        cells=(24, 10),
        fields_at=[25.0],
        **options,
    )
    long = hq.simulate(hq.RoundBar(diameter=0.0254), METAL, {"side": bath}, cells=(24, 1), **options)
    assert np.ptp(short.temperature_field.values[0], axis=0).max() < 1e-8
    np.testing.assert_allclose(short.temperature.values, long.temperature.values, atol=2e-3)
    # heat of a long bar is per metre
    np.testing.assert_allclose(
        short.heat_removed.sel(face="side"), 0.05 * long.heat_removed.sel(face="side"), rtol=2e-5
    )


def test_tube_with_equal_faces_has_no_memory_of_r_when_thin():
    """A thin wall of large radius with the same h on both faces cools like a wall from both sides."""
    bath = hq.Convection(coefficient=2000.0, fluid_temperature=20.0)
    run = hq.simulate(
        hq.Tube(outer_diameter=2.01, inner_diameter=1.99),
        METAL,
        {"bore": bath, "side": bath},
        initial_temperature=850.0,
        end_time=5.0,
        output_times=[5.0],
        accuracy=0.05,
    )
    biot, fourier = 2000.0 * 0.005 / 30.0, DIFFUSIVITY * 5.0 / 0.005**2
    values = run.temperature.values[0]
    for name, position in (("bore", 1.0), ("mid-wall", 0.0), ("surface", 1.0)):
        exact = 20.0 + 830.0 * cases.wall(position, fourier, biot)
        # curvature is worth some 0.5 % of the wall-to-surface difference
        assert float(run.temperature.sel(probe=name)[0]) == pytest.approx(exact, abs=1.0)
    assert abs(values[0] - values[2]) < 1.0
