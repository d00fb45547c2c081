"""Cooling rates and times, against curves whose answer is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from heatq.errors import InputError
from heatq.history import RATE_TEMPERATURE, check_history, cooling_rate, cooling_time, crossing_time

START, BATH = 850.0, 25.0


def history(time, *columns):
    values = np.stack([np.asarray(column, dtype=float) for column in columns], axis=1)
    names = [f"p{n}" for n in range(len(columns))]
    return xr.Dataset({"temperature": (("time", "probe"), values)}, coords={"time": time, "probe": names})


def exponential(tau, time):
    return BATH + (START - BATH) * np.exp(-time / tau)


def crossing(tau, level):
    return tau * np.log((START - BATH) / (level - BATH))


@pytest.mark.parametrize("tau", [2.0, 30.0, 400.0])
@pytest.mark.parametrize("level", [800.0, RATE_TEMPERATURE, 500.0, 120.0])
def test_crossing_of_an_exponential(tau, level):
    time = np.linspace(0.0, 4 * tau, 401)
    found = float(crossing_time(history(time, exponential(tau, time)), level)[0])
    assert found == pytest.approx(crossing(tau, level), rel=1e-4)


def test_cooling_time_and_rate_of_an_exponential():
    time = np.geomspace(0.1, 300.0, 600)
    taus = [5.0, 20.0, 60.0]
    data = history(time, *[exponential(tau, time) for tau in taus])
    np.testing.assert_allclose(cooling_time(data), [tau * np.log(775.0 / 475.0) for tau in taus], rtol=1e-4)
    # the rate is defined as the mean slope over +-6 K; against the tangent it is off by (6 / 679)^2 / 3 = 3e-5
    tangent = [(RATE_TEMPERATURE - BATH) / tau for tau in taus]
    np.testing.assert_allclose(cooling_rate(data), tangent, rtol=1e-3)
    low, high = RATE_TEMPERATURE - 6.0, RATE_TEMPERATURE + 6.0
    exact = [12.0 / (tau * np.log((high - BATH) / (low - BATH))) for tau in taus]
    np.testing.assert_allclose(cooling_rate(data), exact, rtol=1e-3)
    fine = np.linspace(0.0, 30.0, 20001)
    dense = history(fine, *[exponential(tau, fine) for tau in taus])
    np.testing.assert_allclose(cooling_rate(dense), exact, rtol=1e-4)


@given(st.lists(st.floats(0.5, 60.0), min_size=3, max_size=12), st.floats(350.0, 840.0))
def test_crossing_lies_between_its_two_samples(drops, level):
    values = 850.0 - np.cumsum([0.0, *drops])
    time = np.arange(len(values), dtype=float)
    found = float(crossing_time(history(time, values), level)[0])
    if values[-1] > level:
        assert np.isnan(found)
    else:
        k = int(np.argmax(values <= level))
        assert time[k - 1] <= found <= time[k]


def test_never_reached_and_started_below_are_nan():
    time = np.linspace(0.0, 10.0, 11)
    data = history(time, 850.0 - 10.0 * time, 600.0 - 50.0 * time)
    np.testing.assert_array_equal(np.isnan(cooling_time(data)), [True, True])
    np.testing.assert_array_equal(np.isnan(cooling_rate(data)), [True, True])
    assert float(crossing_time(data, 500.0)[1]) == pytest.approx(2.0)


def test_a_history_that_starts_at_the_level_crosses_it_there():
    time = np.linspace(0.0, 10.0, 11)
    assert float(crossing_time(history(time, 800.0 - 50.0 * time), 800.0)[0]) == 0.0
    assert float(cooling_time(history(time, 800.0 - 50.0 * time))[0]) == pytest.approx(6.0)


def test_first_crossing_counts_when_latent_heat_reheats_the_piece():
    time = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    data = history(time, [700.0, 660.0, 670.0, 640.0, 600.0])
    assert 0.0 < float(crossing_time(data, 665.0)[0]) < 1.0


def test_results_carry_units_and_probe_names():
    time = np.linspace(0.0, 10.0, 11)
    data = history(time, 850.0 - 50.0 * time)
    assert cooling_rate(data).units == "K/s"
    assert cooling_time(data).units == crossing_time(data, 600.0).units == "s"
    assert list(cooling_time(data)["probe"].values) == ["p0"]


def test_dimensions_in_either_order():
    time = np.linspace(0.0, 10.0, 11)
    data = history(time, 850.0 - 50.0 * time, 850.0 - 60.0 * time)
    np.testing.assert_array_equal(cooling_time(data), cooling_time(data.transpose("probe", "time")))


def good():
    time = np.linspace(0.0, 10.0, 11)
    return history(time, 850.0 - 50.0 * time)


def with_gap():
    data = good().copy(deep=True)
    data["temperature"][3, 0] = np.nan
    return data


BAD = [
    (np.zeros((5, 2)), "history needs a variable temperature.*got ndarray"),
    (good().rename(temperature="T"), r"got Dataset with \['T'\]"),
    (good().rename(probe="channel"), "history needs a variable temperature"),
    (good().drop_vars("time"), "coordinate time in seconds.*missing"),
    (good().assign_coords(time=np.arange(11).astype("datetime64[s]")), "coordinate time in seconds.*datetime64"),
    (good().isel(time=[0]), "fewer than two times"),
    (good().isel(time=[0, 2, 1]), "time must increase strictly"),
    (good().assign_coords(time=[np.nan, *range(1, 11)]), "time must increase strictly"),
    (with_gap(), r"temperature of probe 'p0' holds gaps \(NaN\)"),
]


@pytest.mark.parametrize(("bad", "message"), BAD, ids=range(len(BAD)))
def test_bad_histories(bad, message):
    with pytest.raises(InputError, match=message):
        check_history(bad)
    with pytest.raises(InputError, match=message):
        cooling_time(bad)


def test_bad_levels():
    with pytest.raises(InputError, match="temperature = 1550 degC is outside"):
        crossing_time(good(), 1550.0)
    with pytest.raises(InputError, match="lower = 900 degC is outside.*lower must lie below upper"):
        cooling_time(good(), 800.0, 900.0)
    with pytest.raises(InputError, match="window = 0 K"):
        cooling_rate(good(), window=0.0)
