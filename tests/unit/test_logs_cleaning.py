"""What a log shows, and what is done to it: explicit, counted, nothing else touched."""

from __future__ import annotations

import json

import numpy as np
import pytest

import heatq as hq
from heatq.errors import InputError, ValidityWarning
from heatq.files import save_netcdf
from heatq.history import cooling_rate
from heatq.logs import (
    align_starts,
    cut_log,
    drop_dead_channels,
    fill_gaps,
    join_logs,
    log_dataset,
    log_report,
    log_report_text,
    lumped_coefficient,
    read_log,
    remove_spikes,
    resample_log,
    smooth_log,
    start_of_quench,
)

TIME = np.arange(0.0, 200.0)


def curve(start=20.0, rate=5.0):
    return np.where(start > TIME, 850.0, 850.0 - rate * (TIME - start)).clip(30.0)


@pytest.fixture
def log():
    return log_dataset(TIME, np.column_stack([curve(), curve(24.0, 4.0)]), ["core", "skin"])


def steps(log):
    return json.loads(log.attrs["cleaning"])


def broken(log, **places):
    out = log.copy(deep=True)
    for name, entries in places.items():
        for n, value in entries.items():
            out["temperature"].loc[{"probe": name, "time": TIME[n]}] = value
    return out


# ------------------------------------------------------------------------------------------------------ what it shows


def test_report_of_a_clean_log(log):
    report = log_report(log)
    assert report.attrs["interval"] == 1.0
    assert report["gaps"].values.tolist() == [0, 0]
    assert report["spikes"].values.tolist() == [0, 0]
    assert report["state"].values.tolist() == ["ok", "ok"]
    assert report["start_of_quench"].values.tolist() == [21.0, 25.0]  # 5 K below the hold, at 5 and 4 K/s
    assert report["resolution"].values.tolist() == [5.0, 4.0]
    assert "interval 1 s" in log_report_text(report)


def test_report_finds_gaps_spikes_and_missing_rows(log):
    bad = broken(log, core={50: 400.0, 60: np.nan, 61: np.nan}, skin={0: np.nan, 199: np.nan})
    bad = bad.isel(time=np.delete(np.arange(200), [100, 101]))
    report = log_report(bad)
    assert report["spikes"].values.tolist() == [1, 0]
    assert report["gaps"].values.tolist() == [2, 2]
    assert report["longest_gap"].values.tolist() == [3.0, 1.0]
    assert json.loads(report.attrs["missing_rows"]) == [{"from": 99.0, "to": 102.0}]
    assert "rows missing at 1 place" in log_report_text(report)


def test_noise_is_found_within_a_tenth():
    rng = np.random.default_rng(1)
    log = log_dataset(np.arange(5000.0), (800.0 - 0.1 * np.arange(5000.0) + rng.normal(0.0, 1.5, 5000))[:, None], ["a"])
    assert float(log_report(log)["noise"][0]) == pytest.approx(1.5, rel=0.1)


def test_dead_channels_are_told_from_live_ones():
    values = np.column_stack([curve(), np.full(200, 25.0), np.full(200, np.nan), np.where(TIME < 60, curve(), 650.0)])
    report = log_report(log_dataset(TIME, values, ["core", "loose", "open", "stuck"]))
    assert report["state"].values.tolist() == ["ok", "does not move", "no readings", "stuck at 650 degC"]
    alone = log_report(log_dataset(TIME, np.full((200, 1), 850.0), ["holding"]))
    assert alone["state"].values.tolist() == ["ok"]  # nothing moves: a hold, not a broken couple


def test_start_of_quench_needs_a_quench_and_survives_gaps_and_noise(log):
    rng = np.random.default_rng(2)
    noisy = broken(log + rng.normal(0.0, 0.5, (200, 2)), core={10: np.nan, 5: 950.0})
    np.testing.assert_allclose(start_of_quench(noisy).values, [21.0, 25.0], atol=1.0)
    flat = log_dataset(TIME, np.column_stack([850.0 - 0.1 * TIME, np.full(200, np.nan)]), ["a", "b"])
    assert np.isnan(start_of_quench(flat).values).all()


@pytest.mark.parametrize("bad", [3.0, hq, log_dataset([0.0, 1.0], [[1.0], [2.0]], ["a"]).rename(temperature="T")])
def test_what_is_no_log(bad):
    with pytest.raises(InputError, match="log needs temperature"):
        log_report(bad)


def test_a_log_needs_times_that_increase():
    with pytest.raises(InputError, match="two times in seconds, increasing"):
        fill_gaps(log_dataset([1.0, 0.0], [[1.0], [2.0]], ["a"]), 1.0)


# ----------------------------------------------------------------------------------------------------------- cleaning


def test_each_step_counts_what_it_did_and_leaves_the_rest(log):
    bad = broken(log, core={50: 400.0, 60: np.nan, 61: np.nan}, skin={100: np.nan})
    before = bad.copy(deep=True)
    out = fill_gaps(remove_spikes(bad, 20.0), 2.0)
    assert bad.identical(before)  # the log that came in is untouched
    np.testing.assert_allclose(
        out["temperature"].sel(probe="skin").values, log["temperature"].sel(probe="skin").values, atol=1e-9
    )
    core = out["temperature"].sel(probe="core").values
    assert np.flatnonzero(np.isnan(core)).tolist() == [60, 61]  # 3 s between the readings beside it
    assert core[50] == pytest.approx(700.0)
    assert steps(out) == [
        {"step": "remove_spikes", "threshold": 20.0, "width": 5, "removed": {"core": 1, "skin": 0}},
        {"step": "fill_gaps", "longest": 2.0, "method": "monotone", "filled": {"core": 1, "skin": 1}, "left": {"core": 2, "skin": 0}},
    ]  # fmt: skip
    whole = fill_gaps(out, 3.0, "linear")
    np.testing.assert_allclose(whole["temperature"].values, log["temperature"].values, atol=1e-9)
    assert len(steps(whole)) == 3


def test_a_steep_quench_and_its_corner_are_no_spikes():
    steep = log_dataset(TIME, np.where(TIME < 20, 850.0, 30.0 + 820.0 * np.exp(-(TIME - 20.0) / 2.0))[:, None], ["a"])
    assert steps(remove_spikes(steep, 1.0))[0]["removed"] == {"a": 0}


def test_open_ends_are_not_filled(log):
    bad = broken(log, core={0: np.nan, 199: np.nan})
    out = fill_gaps(bad, 1e6)
    assert steps(out)[0]["left"] == {"core": 2, "skin": 0}
    assert np.isnan(out["temperature"].values).sum() == 2


def test_dropping_channels(log):
    values = np.column_stack([curve(), np.full(200, 25.0)])
    dead = log_dataset(TIME, values, ["core", "loose"]).assign_coords(r=("probe", [0.0, 0.01]))
    assert drop_dead_channels(dead)["r"].values.tolist() == [0.0]
    assert drop_dead_channels(log)["probe"].values.tolist() == ["core", "skin"]
    assert steps(drop_dead_channels(log, "skin")) == [{"step": "drop_dead_channels", "dropped": {"skin": "named"}}]
    with pytest.raises(InputError, match="no channel would be left"):
        drop_dead_channels(log, ["core", "skin"])
    with pytest.raises(InputError, match="unknown channels 'kern'"):
        drop_dead_channels(log, ["kern"])


def test_starts_are_aligned_by_temperature_start_or_known_shifts(log):
    by = align_starts(log, temperature=800.0)
    at = by.interp(time=0.0)["temperature"].values
    np.testing.assert_allclose(at, [800.0, 800.0], atol=1e-6)
    assert steps(by)[0]["shift"] == {"core": 30.0, "skin": 36.5}
    assert steps(align_starts(log))[0]["shift"] == {"core": 21.0, "skin": 25.0}
    known = align_starts(log, shifts={"core": 20.0, "skin": 24.0})
    np.testing.assert_allclose(known["temperature"].sel(time=10.0).values, [800.0, 810.0])
    assert np.isnan(known["temperature"].sel(probe="skin").values).sum() == 4  # no readings there; not made up
    with pytest.raises(InputError, match="channel 'skin' shows no start"):
        align_starts(log.where(log["probe"] == "core", 25.0))
    with pytest.raises(InputError, match="shifts: channel 'skin' is missing"):
        align_starts(log, shifts={"core": 0.0})


def test_a_gap_stays_a_gap_when_channels_move(log):
    bad = broken(log, skin={100: np.nan})
    out = align_starts(bad, shifts={"core": 20.0, "skin": 23.5})
    assert np.isnan(out["temperature"].sel(probe="skin", time=[76.0, 77.0]).values).all()


def test_cutting(log):
    out = cut_log(log, 20.0, 60.0)
    assert (out["time"].values[0], out["time"].values[-1], out.sizes["time"]) == (0.0, 40.0, 41)
    assert steps(out)[0]["rows_left_out"] == 159
    assert cut_log(log, 20.0, rezero=False)["time"].values[0] == 20.0
    with pytest.raises(InputError, match="fewer than two rows lie between 300"):
        cut_log(log, 300.0, 400.0)


def test_resampling_keeps_lines_straight_and_means_lower_the_noise(log):
    out = resample_log(log, 0.25)
    at = out["time"].values
    straight = (np.abs(at - 20.0) > 1.0) & (np.abs(at - 184.0) > 1.0)  # a monotone cubic rounds corners off
    core = out["temperature"].sel(probe="core").values
    np.testing.assert_allclose(core[straight], np.interp(at, TIME, curve())[straight], atol=1e-9)
    np.testing.assert_allclose(core, np.interp(at, TIME, curve()), atol=1.0)
    assert steps(out)[0]["rows_after"] == 797
    rng = np.random.default_rng(3)
    noisy = log_dataset(np.arange(10000.0), rng.normal(500.0, 1.0, (10000, 1)), ["a"])
    mean = resample_log(noisy, 25.0, by="mean")
    assert float(mean["temperature"].std()) == pytest.approx(0.2, rel=0.2)
    holed = resample_log(broken(log, core={50: np.nan}), 0.5)
    assert np.flatnonzero(np.isnan(holed["temperature"].sel(probe="core").values)).tolist() == [99, 100, 101]
    with pytest.raises(InputError, match="gives 1 rows"):
        resample_log(log, 1000.0)


def test_smoothing_states_by_how_much_noise_shrinks():
    rng = np.random.default_rng(4)
    noisy = log_dataset(np.arange(5000.0), rng.normal(500.0, 1.0, (5000, 1)), ["a"])
    out = smooth_log(noisy, 11.0)
    factor = steps(out)[0]["noise_factor"]
    assert float(out["temperature"].std()) == pytest.approx(factor, rel=0.1)
    assert steps(out)[0]["readings"] == 11
    parabola = log_dataset(TIME, (850.0 - 0.01 * TIME**2)[:, None], ["a"])
    np.testing.assert_allclose(
        smooth_log(parabola, 11.0)["temperature"].values, parabola["temperature"].values, atol=1e-9
    )


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda log: smooth_log(log, 1.0), "spans 1 readings; order 2 needs at least 4"),
        (lambda log: smooth_log(log, 1000.0), "is longer than the log"),
        (lambda log: smooth_log(log, 9.0, order=7), "order = 7 must be"),
        (lambda log: smooth_log(log.isel(time=[0, 1, 2, 4, 5]), 4.0), "the interval is not fixed"),
        (lambda log: smooth_log(log.where(log.time != 7.0), 9.0), "has gaps; fill_gaps"),
        (lambda log: remove_spikes(log, 5.0, width=4), "width = 4 must be"),
        (lambda log: remove_spikes(log, 0.0), "threshold = 0 K is outside"),
        (lambda log: fill_gaps(log, 5.0, "cubic"), "unknown method 'cubic'"),
        (lambda log: resample_log(log, 1.0, by="median"), "unknown by 'median'"),
        (lambda log: join_logs([log]), "at least two logs"),
        (lambda log: join_logs([log, log], starts=[0.0]), "1 starts for 2 logs"),
        (lambda log: join_logs([log, log], starts=[0.0, 1.0]), "'core' stands in more than one log"),
        (lambda log: join_logs([log, log]), "not every log knows its date"),
    ],
)
def test_steps_that_cannot_be_done(log, call, message):
    with pytest.raises(InputError, match=message):
        call(log)


def test_two_recorders_on_one_clock(tmp_path):
    for name, second in (("a", 0), ("b", 30)):
        rows = "".join(f"2024-05-13 12:00:{second + n:02d};{850 - n}\n" for n in range(20))
        (tmp_path / f"{name}.csv").write_text(f"Time;{name} [°C]\n{rows}", encoding="utf-8")
    logs = [read_log(tmp_path / f"{name}.csv", places={name: (0.0, 0.01)}) for name in "ab"]
    both = join_logs(logs)
    assert both["time"].values[[0, 19, 20, 39]].tolist() == [0.0, 19.0, 30.0, 49.0]
    assert float(both["temperature"].sel(probe="b", time=30.0)) == 850.0
    assert np.isnan(float(both["temperature"].sel(probe="a", time=30.0)))
    assert both["z"].values.tolist() == [0.01, 0.01]
    assert steps(both)[0]["starts"] == [0.0, 30.0]


def test_a_cleaned_log_goes_through_netcdf(log, tmp_path):
    import xarray as xr

    out = fill_gaps(broken(log, core={50: np.nan}), 2.0)
    save_netcdf(out, tmp_path / "a.nc")
    again = xr.load_dataset(tmp_path / "a.nc", engine="scipy")
    assert steps(again) == steps(out)
    np.testing.assert_array_equal(cooling_rate(again).values, cooling_rate(out).values)


# ------------------------------------------------------------------------------------------------- Newtonian estimate


def test_newtonian_estimate_gives_back_h_of_a_thin_rod_that_was_solved():
    metal = hq.Material.constant(conductivity=30.0, density=7800.0, specific_heat=600.0)
    run = hq.simulate(
        hq.RoundBar(0.01), metal, {"side": hq.Convection(200.0, 30.0)}, initial_temperature=850.0, end_time=200.0,
        output_times=np.linspace(0.0, 200.0, 801), probes=["centre"], accuracy=0.05, progress=False,
    )  # fmt: skip
    found = lumped_coefficient(run, metal, diameter=0.01, fluid_temperature=30.0, temperatures=[700.0, 400.0, 200.0])
    np.testing.assert_allclose(found["coefficient"].values[:, 0], 200.0, rtol=0.012)  # Bi = 0.017
    np.testing.assert_allclose(found["biot"].values[:, 0], 200.0 * 0.0025 / 30.0, rtol=0.012)


def test_newtonian_estimate_warns_where_the_piece_has_no_one_temperature():
    metal = hq.Material.constant(conductivity=30.0, density=7800.0, specific_heat=600.0)
    log = log_dataset(TIME, curve()[:, None], ["core"])
    with pytest.warns(ValidityWarning, match="Biot number"):
        thick = lumped_coefficient(log, metal, diameter=0.1, fluid_temperature=20.0, temperatures=[600.0])
    assert float(thick["coefficient"][0, 0]) == pytest.approx(7800.0 * 600.0 * 0.025 * 5.0 / 580.0, rel=1e-3)
    short = lumped_coefficient(log, metal, diameter=0.005, length=0.005, fluid_temperature=20.0, temperatures=[600.0])
    assert float(short["coefficient"][0, 0]) == pytest.approx(7800.0 * 600.0 * 0.005 / 6.0 * 5.0 / 580.0, rel=1e-3)


def test_newtonian_estimate_of_a_steel_uses_austenite_and_wants_temperatures_above_the_fluid(log):
    steel = hq.demo_heat()
    found = lumped_coefficient(log, steel, diameter=0.003, fluid_temperature=20.0, temperatures=[700.0])
    c = steel.material.specific_heat(np.array([700.0]))[-1, 0]
    assert found.attrs["phase"] == "austenite"
    expected = steel.material.density * c * 0.003 / 4.0 * np.array([5.0, 4.0]) / 680.0
    np.testing.assert_allclose(found["coefficient"].values[0], expected, rtol=1e-6)
    with pytest.raises(InputError, match="more than 10 K above the fluid"):
        lumped_coefficient(log, steel, diameter=0.003, fluid_temperature=20.0, temperatures=[25.0])
    with pytest.raises(InputError, match="steel = float: pass a Steel or a Material"):
        lumped_coefficient(log, 3.0, diameter=0.003, fluid_temperature=20.0)
    with pytest.raises(InputError, match="unknown phase 'perlite'"):
        lumped_coefficient(log, steel, diameter=0.003, fluid_temperature=20.0, phase="perlite")
