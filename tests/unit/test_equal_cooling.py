"""Equal cooling: tables both ways, published anchor points, hardness from a measured curve or a band."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.boundaries import GrossmannQuench
from heatq.errors import InputError
from heatq.hardness.equal_cooling import (
    ENDQUENCH_TIMES,
    JOMINY_RATE_TABLE,
    equal_cooling_distance,
    hardness_from_curve,
    measure_at_distance,
)
from heatq.sections import recompute_endquench_times
from heatq.steels import h_band
from heatq.units import sixteenths


def linear(*rates):
    time = np.unique(np.concatenate([np.geomspace(0.005, 900.0, 4000), [0.0]]))
    values = np.maximum(850.0 - np.outer(time, rates), 20.0)
    return xr.Dataset(
        {"temperature": (("time", "probe"), values)},
        coords={"time": time, "probe": [f"p{n}" for n in range(len(rates))]},
    )


def traverse(distance_mm, hrc):
    return xr.Dataset(
        {"measured_hrc": ("point", np.asarray(hrc, dtype=float))},
        coords={"distance": ("point", np.asarray(distance_mm) * 1e-3)},
        attrs={"source": "our laboratory"},
    )


def test_the_stored_table_is_what_heatq_computes():
    """Recomputed within 1 %: a change of the solver, the water jet or the steel's properties that moves it is noticed."""
    rows = [row for row in ENDQUENCH_TIMES if row.position in (1, 2, 4, 8, 12, 16, 24, 32, 48)]
    found = recompute_endquench_times([row.position for row in rows], accuracy=0.3)
    np.testing.assert_allclose(found["time"], [row.time for row in rows], rtol=0.01)
    np.testing.assert_allclose(found["rate"], [row.rate for row in rows], rtol=0.01)


def test_the_computed_rates_are_near_the_published_ones():
    """Within 10 %: what lets one believe the times, which nobody published."""
    computed = {row.position: row.rate for row in ENDQUENCH_TIMES}
    off = [computed[row.position] / (row.rate_degF / 1.8) - 1.0 for row in JOMINY_RATE_TABLE]
    assert np.abs(off).max() < 0.10
    assert np.sqrt(np.mean(np.square(off))) < 0.06


def test_times_lie_in_the_rough_bound_from_the_published_rates():
    """300 K over 0.6 to 0.8 times the rate at 704 degC: 5.4-7.2, 20-27, 67-90 s at J4, J8, J16."""
    times = {row.position: row.time for row in ENDQUENCH_TIMES}
    for position, rate in ((4, 69.4), (8, 18.3), (16, 5.56)):
        assert 300.0 / (0.8 * rate) < times[position] < 300.0 / (0.6 * rate)


def test_published_points_come_back():
    rates = [row.rate_degF / 1.8 for row in JOMINY_RATE_TABLE]
    found = equal_cooling_distance(linear(*rates))
    expected = [sixteenths(float(row.position)) for row in JOMINY_RATE_TABLE]
    np.testing.assert_allclose(found["equivalent_distance"], expected, rtol=0.01)


@pytest.mark.parametrize("by", ["rate", "time"])
def test_there_and_back(by):
    history = linear(100.0, 20.0, 5.0, 2.5)
    found = equal_cooling_distance(history, by=by)
    np.testing.assert_allclose(
        measure_at_distance(found["equivalent_distance"].values, by=by), found["cooling_measure"], rtol=1e-9
    )
    assert (found["equivalent_distance"].diff("probe") > 0).all()
    assert found["cooling_measure"].attrs["units"] == {"rate": "K/s", "time": "s"}[by]


def test_beyond_the_table_is_nan_and_faster_is_flagged():
    found = equal_cooling_distance(linear(1000.0, 20.0, 0.4))
    assert np.isnan(found["equivalent_distance"].values[[0, 2]]).all()
    assert found["is_faster"].values.tolist() == [True, False, False]


def centre(diameter, severity, conductivity):
    return hq.simulate(
        hq.RoundBar(diameter),
        hq.grade("4340"),
        {"side": GrossmannQuench(severity, 25.0, conductivity)},
        initial_temperature=845.0,
        end_time=3600.0,
        stop_below=300.0,
        probes=["centre"],
        progress=False,
    )


def test_published_equivalence_of_the_centre_of_a_51_mm_round_in_still_oil():
    """19.0 mm at H = 0.3 (a secondary text, read). By time 19.6 mm if H was made with k = 35; the rate gives 22.2 mm."""
    run = centre(0.051, 0.30, 35.0)
    by_time, by_rate = (
        float(equal_cooling_distance(run, by=by)["equivalent_distance"][0]) * 1e3 for by in ("time", "rate")
    )
    assert by_time == pytest.approx(19.0, rel=0.08)
    assert by_rate == pytest.approx(19.0, rel=0.25)  # found 17 % too far


def test_published_equivalence_of_the_centre_of_a_75_mm_round_in_an_ideal_quench():
    """12.5 mm at H = infinity (read). Found 14.7 mm by time, 16.7 mm by rate: too far by 17 and 34 %.

    At the centre 704 degC is passed early, while the wave from the surface is still arriving, so the rate at that one
    temperature is low for what follows. docs/media/equal-cooling.md shows that no model can mend this.
    """
    run = centre(0.075, 100.0, 25.0)
    by_time, by_rate = (
        float(equal_cooling_distance(run, by=by)["equivalent_distance"][0]) * 1e3 for by in ("time", "rate")
    )
    assert by_time == pytest.approx(12.5, rel=0.25)
    assert by_rate == pytest.approx(12.5, rel=0.45)
    assert by_time < by_rate


def bar():
    air = hq.StillAir(temperature=25.0) + hq.Radiation(emissivity=0.3)
    return hq.simulate(
        hq.EndQuenchBar(),
        hq.grade("4340"),
        {"jet": hq.WaterJet(temperature=24.0), "side": air, "top": air},
        initial_temperature=845.0,
        end_time=600.0,
        probes=["J2", "J4", "J8", "J16", "J32"],
        accuracy=1.0,
        progress=False,
    )


@pytest.mark.parametrize("by", ["rate", "time"])
def test_an_own_bar_as_reference_maps_onto_itself(by):
    run = bar()
    found = equal_cooling_distance(run, by=by, reference=run)
    np.testing.assert_allclose(found["equivalent_distance"], run["distance"], rtol=1e-6)


def test_hardness_from_a_measured_curve():
    curve = traverse([1.5, 6.35, 12.7, 26.0], [56.0, 54.0, 50.0, 40.0])
    found = hardness_from_curve(linear(1000.0, 125 / 1.8, 33 / 1.8, 10 / 1.8, 7 / 1.8), curve)
    np.testing.assert_allclose(found["hardness_hrc"].values, [[56.0, 54.0, 50.0, 40.45, np.nan]], atol=0.1)
    assert found.attrs["curve"] == "our laboratory"
    assert found["hardness_hv"].values[0, 2] == pytest.approx(513.0, abs=2.0)


def test_two_flats_at_one_distance_are_averaged_and_gaps_left_out():
    curve = traverse([1.5, 1.5, 6.0, 12.7], [56.0, 54.0, np.nan, 45.0])
    assert hardness_from_curve(linear(1000.0), curve)["hardness_hrc"].values[0, 0] == pytest.approx(55.0)


def test_hardness_from_a_band_has_three_bounds_and_no_limit_is_nan():
    found = hardness_from_curve(linear(33 / 1.8, 3.6), h_band("8620H"))
    assert found["bound"].values.tolist() == ["low", "middle", "high"]
    assert np.isnan(found["hardness_hrc"].sel(bound="low")).all()  # no lower limit at J8 and beyond
    np.testing.assert_allclose(found["hardness_hrc"].sel(bound="high", probe="p0"), 30.0, atol=0.1)


def test_a_place_between_the_end_and_the_first_point_has_its_hardness():
    curve = traverse([6.0, 12.7], [50.0, 40.0])
    assert hardness_from_curve(linear(200.0), curve)["hardness_hrc"].values[0, 0] == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: equal_cooling_distance(linear(5.0), by="speed"), "Known: rate, time"),
        (lambda: equal_cooling_distance(linear(5.0), reference=linear(5.0)), "end-quench bar"),
        (lambda: hardness_from_curve(linear(5.0), 3), "read_traverse"),
        (lambda: hardness_from_curve(linear(5.0), linear(5.0)), "measured_hrc"),
        (lambda: hardness_from_curve(linear(5.0), traverse([1.5], [50.0])), "fewer than two"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(InputError, match=message):
        call()
