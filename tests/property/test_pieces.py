"""Properties of the pieces: stronger cooling, vanishing bores, long bars, mirror images."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import heatq as hq

METAL = hq.Material.constant(conductivity=25.0, density=7700.0, specific_heat=620.0)
START, FLUID = 850.0, 20.0
ACCURACY = 0.5

diameters = st.floats(0.008, 0.150)
coefficients = st.floats(20.0, 20000.0)


def cool(piece, boundaries, times, probes=None, steel=METAL, **settings):
    """Temperature (time, probe)."""
    end = float(times[-1])
    run = hq.simulate(
        piece, steel, boundaries, initial_temperature=START, end_time=end, output_times=times, probes=probes,
        accuracy=ACCURACY, progress=False, **settings,
    )  # fmt: skip
    return run["temperature"].values


def times_of(diameter, coefficient):
    """Ten times that cover the cooling of a round, s."""
    lumped = METAL.density * 620.0 * diameter / 4.0 / coefficient
    inside = (diameter / 2.0) ** 2 * METAL.density * 620.0 / 25.0 / 5.8
    return np.linspace(0.1, 1.0, 10) * 2.0 * (lumped + inside)


@settings(max_examples=25)
@given(diameter=diameters, coefficient=coefficients, factor=st.floats(1.0, 10.0))
def test_more_h_never_cools_slower(diameter, coefficient, factor):
    times = times_of(diameter, coefficient)
    weak, strong = (
        cool(hq.RoundBar(diameter), {"side": hq.Convection(h, FLUID)}, times)
        for h in (coefficient, factor * coefficient)
    )
    assert (strong <= weak + 2.0 * ACCURACY).all()


@pytest.mark.slow
@settings(max_examples=10)
@given(coefficient=st.floats(50.0, 5000.0), factor=st.floats(1.2, 5.0))
def test_more_h_never_cools_slower_in_two_dimensions(coefficient, factor):
    times = times_of(0.04, coefficient)
    probes = [hq.Probe(0.0, 0.03), hq.Probe(0.02, 0.03), hq.Probe(0.02, 0.0), hq.Probe(0.01, 0.055)]

    def run(side):
        faces = {"bottom": hq.Convection(coefficient, FLUID), "side": side, "top": hq.Insulated()}
        return cool(hq.RoundBar(0.04, 0.06), faces, times, probes)

    weak, strong = run(hq.Convection(coefficient, FLUID)), run(hq.Convection(factor * coefficient, FLUID))
    assert (strong <= weak + 2.0 * ACCURACY).all()


@settings(max_examples=10)
@given(coefficient=st.floats(100.0, 10000.0), factor=st.floats(1.1, 5.0))
def test_more_h_never_cools_a_steel_slower(coefficient, factor):
    """With transformation and its heat: time to 704 degC, above the transformation of a hardenable steel."""
    probes = ["centre", "surface"]

    def reached(h):
        run = hq.simulate(
            hq.RoundBar(0.03), hq.grade("4340"), {"side": hq.Convection(h, FLUID)}, initial_temperature=START,
            end_time=4000.0, stop_below=650.0, probes=probes, accuracy=ACCURACY, progress=False,
        )  # fmt: skip
        return hq.crossing_time(run, 704.0).values

    weak, strong = reached(coefficient), reached(factor * coefficient)
    assert (strong <= weak * 1.001 + 1e-3).all()


@settings(max_examples=15)
@given(diameter=st.floats(0.01, 0.15), coefficient=coefficients)
def test_a_tube_with_a_vanishing_bore_is_a_solid_bar(diameter, coefficient):
    times = times_of(diameter, coefficient)
    side = hq.Convection(coefficient, FLUID)
    places = [hq.Probe(share * diameter / 2, name=f"{share:g}") for share in (0.25, 0.5, 1.0)]
    solid = cool(hq.RoundBar(diameter), {"side": side}, times, places)
    tube = hq.Tube(diameter, 2e-3 * diameter)
    hollow = cool(tube, {"side": side, "bore": hq.Insulated()}, times, places)
    assert np.abs(solid - hollow).max() <= 2.0 * ACCURACY
    # the bore's surface is small: even the same medium in it changes little at mid-radius
    cooled = cool(tube, {"side": side, "bore": hq.Convection(min(coefficient, 500.0), FLUID)}, times, places)
    assert (cooled <= hollow + 2.0 * ACCURACY).all()
    assert np.abs(cooled - hollow)[:, 1].max() < 0.02 * (START - FLUID)


@pytest.mark.parametrize("coefficient", [200.0, 2000.0])
def test_both_faces_of_a_thin_tube_cool_it_like_a_plate(coefficient):
    """Wall of 4 mm, 120 mm across: the exact series of a plate of that wall, curvature 3 % of the radius."""
    wall, diameter = 0.004, 0.124
    biot = coefficient * wall / 2.0 / 25.0
    from scipy.optimize import brentq

    roots = [brentq(lambda x: x * np.sin(x) - biot * np.cos(x), n * np.pi, n * np.pi + np.pi / 2) for n in range(20)]
    zeta = np.array(roots)
    weight = 4.0 * np.sin(zeta) / (2.0 * zeta + np.sin(2.0 * zeta))
    times = np.linspace(0.2, 1.0, 5) * METAL.density * 620.0 * wall / 2.0 / coefficient
    fourier = 25.0 / (METAL.density * 620.0) * times / (wall / 2.0) ** 2
    exact = FLUID + (START - FLUID) * (weight * np.exp(-np.outer(fourier, zeta**2))).sum(axis=1)
    both = hq.Convection(coefficient, FLUID)
    found = cool(hq.Tube(diameter, diameter - 2 * wall), {"side": both, "bore": both}, times, ["mid-wall"])[:, 0]
    assert found == pytest.approx(exact, abs=2.0)


@settings(max_examples=8)
@given(diameter=st.floats(0.01, 0.1), coefficient=st.floats(50.0, 5000.0))
def test_a_very_long_bar_is_one_dimensional(diameter, coefficient):
    """Very long: four diffusion lengths sqrt(alpha t) from the middle to either end; erfc(2) = 0.5 % of their cooling."""
    times = times_of(diameter, coefficient)
    reach = float(np.sqrt(25.0 / (METAL.density * 620.0) * times[-1]))
    side = hq.Convection(coefficient, FLUID)
    long = cool(hq.RoundBar(diameter), {"side": side}, times)
    finite = hq.RoundBar(diameter, 8.0 * reach + 2.0 * diameter)
    faces = {"bottom": side, "side": side, "top": side}
    assert np.abs(cool(finite, faces, times) - long).max() <= 2.0 * ACCURACY


@settings(max_examples=8)
@given(
    diameter=st.floats(0.01, 0.1),
    slenderness=st.floats(0.5, 4.0),
    end=st.floats(50.0, 10000.0),
    side=st.floats(50.0, 10000.0),
)
def test_mirror_images(diameter, slenderness, end, side):
    """Equal ends give a field that is its own mirror image; exchanged ends give the mirrored field."""
    length = slenderness * diameter
    piece = hq.RoundBar(diameter, length)
    times = times_of(diameter, max(end, side))

    def field(bottom, top):
        faces = {
            "bottom": hq.Convection(bottom, FLUID),
            "side": hq.Convection(side, FLUID),
            "top": hq.Convection(top, FLUID),
        }
        run = hq.simulate(
            piece, METAL, faces, initial_temperature=START, end_time=float(times[-1]), fields_at=[float(times[4])],
            accuracy=ACCURACY, estimate_error=False, progress=False,
        )  # fmt: skip
        return run["temperature_field"].values[0]

    equal = field(end, end)
    assert equal == pytest.approx(equal[::-1], abs=1e-6)
    assert field(end, 0.3 * end) == pytest.approx(field(0.3 * end, end)[::-1], abs=1e-6)
