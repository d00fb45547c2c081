"""Phase fractions over any history: bookkeeping, step size, and agreement with the coupled simulation."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

import heatq as hq
from heatq.errors import InputError

PHASES = ["ferrite", "pearlite", "bainite", "martensite", "austenite"]


def history(time, *columns):
    values = np.stack([np.asarray(column, dtype=float) for column in columns], axis=1)
    return xr.Dataset(
        {"temperature": (("time", "probe"), values)},
        coords={"time": np.asarray(time, dtype=float), "probe": [f"p{n}" for n in range(len(columns))]},
    )


def newton(rate_704, bath=25.0, start=850.0):
    """Newtonian cooling with this rate at 704 degC, down to 60 degC."""
    tau = (704.4 - bath) / rate_704
    time = np.linspace(0.0, tau * np.log((start - bath) / (60.0 - bath)), 400)
    return time, bath + (start - bath) * np.exp(-time / tau)


#: steps of a random history: (temperature reached, seconds taken); equal temperatures make holds, rises make reheating
SEGMENTS = st.lists(
    st.tuples(st.floats(20.0, 900.0), st.floats(0.5, 2000.0)),
    min_size=1,
    max_size=6,
)


# 52100 leaves the published range of Ac1; the bookkeeping must hold there too
@pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")
@settings(max_examples=60)
@given(SEGMENTS, st.sampled_from(["1045", "4140", "4340", "8620", "52100"]), st.booleans())
def test_fractions_stay_between_0_and_1_and_sum_to_1(segments, name, hold):
    points = [(0.0, 860.0)]
    for temperature, duration in segments:
        points.append((points[-1][0] + duration, temperature))
        if hold:
            points.append((points[-1][0] + duration, temperature))
    time, temperature = np.array(points).T
    result = hq.transform(history(time, temperature), hq.grade(name))
    along = result["fraction_history"]
    assert list(result["phase"].values) == PHASES
    assert float(along.min()) >= 0.0
    assert float(along.max()) <= 1.0 + 1e-12
    np.testing.assert_allclose(along.sum("phase"), 1.0, rtol=1e-12)
    np.testing.assert_array_equal(result["fraction"], along.isel(time=-1))
    grown = along.sel(phase=PHASES[:4]).diff("time")
    assert float(grown.min()) >= -1e-12  # products never shrink: reheating into austenite is not modelled


@pytest.mark.parametrize("name", ["1045", "4140", "4340", "5160"])
def test_half_the_step_changes_little(name):
    steel = hq.grade(name)
    for rate in (0.3, 2.0, 8.0, 30.0, 100.0):
        data = history(*newton(rate))
        coarse = hq.transform(data, steel)["fraction"]
        fine = hq.transform(data, steel, largest_change=0.5)["fraction"]
        assert float(abs(coarse - fine).max()) < 0.005, (name, rate)


def test_slow_cooling_ends_in_ferrite_and_pearlite_and_fast_cooling_in_martensite():
    time_slow, slow = newton(0.05)
    time_fast, fast = newton(300.0)
    steel = hq.grade("4140")
    slow = hq.transform(history(time_slow, slow), steel)["fraction"].isel(probe=0)
    fast = hq.transform(history(time_fast, fast), steel)["fraction"].isel(probe=0)
    assert float(slow.sel(phase=["ferrite", "pearlite"]).sum()) > 0.9
    assert float(fast.sel(phase=["martensite", "austenite"]).sum()) > 0.98


def test_more_time_at_a_hold_transforms_more():
    steel = hq.grade("4140")
    bainite = []
    for hold in (1.0, 30.0, 300.0, 3000.0):
        data = history([0.0, 5.0, 5.0 + hold], [850.0, 450.0, 450.0])
        bainite.append(float(hq.transform(data, steel)["fraction"].sel(phase="bainite")[0]))
    assert bainite == sorted(bainite)
    assert bainite[-1] > bainite[0] + 0.2


def test_nothing_happens_above_the_critical_temperature():
    data = history([0.0, 1000.0, 2000.0], [900.0, 860.0, 900.0])
    result = hq.transform(data, hq.grade("4140"))
    assert float(result["fraction"].sel(phase="austenite")[0]) == 1.0
    assert np.isnan(result["formation_temperature"]).all()


def test_probes_do_not_influence_one_another():
    time, first = newton(5.0)
    second = np.interp(time, time, first) + 10.0 * np.exp(-time / 50.0)
    steel = hq.grade("4140")
    both = hq.transform(history(time, first, second), steel)["fraction"]
    alone = hq.transform(history(time, second), steel)["fraction"]
    np.testing.assert_array_equal(both.isel(probe=1), alone.isel(probe=0))


def test_formation_temperatures_lie_in_the_range_of_the_phase():
    result = hq.transform(history(*newton(2.0)), hq.grade("4140"))
    formed = result["formation_temperature"].isel(probe=0)
    ferrite, pearlite, bainite = (float(formed.sel(phase=phase)) for phase in PHASES[:3])
    assert 800.0 > ferrite > pearlite > bainite > 250.0


def test_fractions_of_a_typed_in_history_feed_the_hardness():
    steel = hq.grade("4140")
    hardness = hq.hardness_of(hq.transform(history(*newton(100.0)), steel), steel)
    assert 52.0 < float(hardness["hardness_hrc"][0]) < 60.0
    with pytest.raises(InputError, match="fractions has no variable 'fraction'"):
        hq.hardness_of(history(*newton(100.0)), steel)


def test_the_coupled_simulation_and_the_history_agree():
    """The kernel inside the conduction step and the one over histories are two codes for one model."""
    steel = hq.grade("4140H")
    air = hq.StillAir(temperature=25.0) + hq.Radiation(emissivity=0.3)
    run = hq.simulate(
        hq.EndQuenchBar(),
        steel,
        {"jet": hq.WaterJet(temperature=24.0), "side": air, "top": air},
        initial_temperature=845.0,
        end_time=900.0,
        accuracy=1.0,  # both read the same history
        estimate_error=False,
        progress=False,
    )
    after = hq.transform(run, steel)
    assert float(abs(run["fraction"] - after["fraction"]).max()) < 0.01


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (np.zeros((4, 1)), "history needs a variable temperature"),
        (history([0.0, 1.0, 1.0], [850.0, 800.0, 700.0]), "time must increase strictly"),
        (history([0.0, 1.0, 2.0], [850.0, np.nan, 700.0]), "gaps"),
    ],
    ids=["array", "time", "gap"],
)
def test_bad_histories(data, message):
    with pytest.raises(InputError, match=message):
        hq.transform(data, hq.grade("4140"))


def test_bad_step():
    with pytest.raises(InputError, match="largest_change = 0 K is outside"):
        hq.transform(history(*newton(5.0)), hq.grade("4140"), largest_change=0.0)
