"""Specification windows: margins against numbers worked out by hand, and no pass by default."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from matplotlib import pyplot as plt

from heatq.errors import InputError
from heatq.metrics import history_metrics, metrics_table
from heatq.plot_logs import log_readings, rate_curves, window_curves
from heatq.windows import (
    CurveWindow,
    RateWindow,
    TimeWindow,
    check_windows,
    windows_table,
)

TIME = np.linspace(0.0, 100.0, 401)


def lines(*rates, start=850.0, time=TIME):
    values = start - time[:, None] * np.array(rates)
    names = [f"p{n}" for n in range(len(rates))]
    return xr.Dataset({"temperature": (("time", "probe"), values)}, coords={"time": time, "probe": names})


def one(history, window):
    """Found, margin, verdict, remark of the first place."""
    result = check_windows(history, window)
    keys = ("found", "margin", "verdict", "remark")
    return tuple(result[key].values[0, 0].item() for key in keys)


def test_margins_of_straight_lines_by_hand():
    history = lines(6.0, 4.0)
    result = check_windows(
        history, [TimeWindow(800.0, 500.0, at_most=60.0), TimeWindow(800.0, 500.0, at_least=60.0), RateWindow(800.0, 500.0, at_least=5.0)]
    )  # fmt: skip
    np.testing.assert_allclose(result["found"].values, [[50.0, 75.0], [50.0, 75.0], [6.0, 4.0]])
    np.testing.assert_allclose(result["margin"].values, [[10.0, -15.0], [-10.0, 15.0], [1.0, -1.0]])
    np.testing.assert_allclose(result["relative_margin"].values[0], [10 / 60, -15 / 60])
    assert result["verdict"].values.tolist() == [["pass", "fail"], ["fail", "pass"], ["pass", "fail"]]
    assert result["window_unit"].values.tolist() == ["s", "s", "K/s"]


def test_a_rate_may_hold_on_the_mean_and_not_everywhere():
    time = np.linspace(0.0, 100.0, 2001)
    values = np.where(time < 30.0, 850.0 - 10.0 * time, 550.0 - 2.0 * (time - 30.0))
    history = xr.Dataset({"temperature": (("time", "probe"), values[:, None])}, coords={"time": time, "probe": ["a"]})
    mean = one(history, RateWindow(800.0, 500.0, at_least=5.0))
    assert mean[1] == pytest.approx(300.0 / 50.0 - 5.0)
    assert mean[2] == "pass"
    everywhere = one(history, RateWindow(800.0, 500.0, at_least=5.0, basis="everywhere"))
    assert everywhere[0] == pytest.approx(2.0, rel=1e-3)
    assert everywhere[2] == "fail"
    fastest = one(history, RateWindow(800.0, 500.0, at_most=9.0, basis="everywhere"))
    assert fastest[0] == pytest.approx(10.0, rel=1e-3)
    assert fastest[2] == "fail"


def test_nothing_passes_by_default():
    slow = lines(2.0)  # ends at 650 degC
    assert one(slow, TimeWindow(800.0, 500.0, at_most=60.0))[2:] == ("fail", "ends at 650 degC after 75 s")
    assert one(slow, TimeWindow(800.0, 500.0, at_most=90.0))[2:] == ("not judged", "ends at 650 degC")
    assert one(slow, TimeWindow(800.0, 500.0, at_least=60.0))[2] == "pass"  # it has already taken 75 s
    assert one(slow, RateWindow(800.0, 500.0, at_least=5.0))[2] == "fail"  # 4 K/s at best
    assert one(slow, RateWindow(800.0, 500.0, at_least=3.0))[2] == "not judged"
    assert one(slow, RateWindow(800.0, 500.0, at_most=5.0))[2] == "pass"
    assert one(slow, RateWindow(800.0, 500.0, at_least=3.0, basis="everywhere"))[2] == "not judged"
    cold = lines(2.0, start=700.0)
    for window in (
        TimeWindow(800.0, 500.0, at_most=60.0),
        RateWindow(800.0, 500.0, at_least=1.0),
        CurveWindow([0, 60], [800, 500]),
    ):
        assert one(cold, window)[2] == "not judged"
        assert "starts at 700 degC" in one(cold, window)[3]


def test_no_slower_than_a_curve():
    curve = CurveWindow([0.0, 20.0, 60.0], [800.0, 700.0, 500.0])  # 5 K/s throughout
    faster = check_windows(lines(6.0), curve)
    assert faster["verdict"].values[0, 0] == "pass"
    assert float(faster["margin"][0, 0]) == pytest.approx(20.0 - 100.0 / 6.0)  # at 700 degC, the first point after 800
    assert float(faster["margin_kelvin"][0, 0]) == pytest.approx(20.0, abs=0.5)  # after 20 s
    assert float(faster["found"][0, 0]) == pytest.approx(50.0)
    slower = check_windows(lines(4.0), curve)
    assert float(slower["margin"][0, 0]) == pytest.approx(60.0 - 75.0)
    assert slower["remark"].values[0, 0] == "at 500 degC"
    assert float(slower["margin_kelvin"][0, 0]) == pytest.approx(-60.0, abs=1.0)  # 60 s at 1 K/s less
    assert slower["verdict"].values[0, 0] == "fail"


def test_noise_where_both_begin_is_not_judged_but_a_breach_between_the_points_is():
    time = np.linspace(0.0, 100.0, 2001)

    def history(values):
        return xr.Dataset({"temperature": (("time", "probe"), values[:, None])}, coords={"time": time, "probe": ["a"]})

    curve = CurveWindow([0.0, 60.0], [800.0, 500.0])
    slow_first = np.where(time < 1.0, 805.0 - 4.0 * time, 801.0 - 2.0 * (time - 1.0))  # 2 K/s from 801 to 799 degC
    slow_first = np.where(time < 2.0, slow_first, 799.0 - 8.0 * (time - 2.0))
    assert one(history(slow_first), curve)[2] == "pass"
    late = np.where(
        time < 40.0, 800.0 - 2.5 * time, 700.0 - 20.0 * (time - 40.0)
    )  # too slow in between, in time at the end
    found, margin, verdict, remark = one(history(late), curve)
    assert verdict == "fail"
    assert margin == pytest.approx(-20.0, abs=0.2)
    assert remark.startswith("at 70")
    assert found == pytest.approx(50.0, abs=0.1)


def test_a_bend_of_the_curve_is_what_counts_where_it_is_tightest():
    curve = CurveWindow([0.0, 10.0, 90.0], [800.0, 700.0, 500.0])  # 10 K/s, then 2.5 K/s
    found = check_windows(lines(5.0), curve)
    assert float(found["margin"][0, 0]) == pytest.approx(-10.0)  # 700 degC after 20 s instead of 10
    assert found["remark"].values[0, 0] == "at 700 degC"


def test_a_curve_from_the_start_counts_transfer_too():
    time = np.linspace(0.0, 120.0, 481)
    history = lines(5.0, time=time)
    history["temperature"] = history["temperature"].where(history["time"] > 20.0, 850.0)
    late = xr.Dataset(
        {"temperature": (("time", "probe"), np.where(time < 20.0, 850.0, 850.0 - 6.0 * (time - 20.0))[:, None])},
        coords={"time": time, "probe": ["a"]},
    )
    curve = {"time": [0.0, 60.0], "temperature": [800.0, 500.0]}
    assert one(late, CurveWindow(**curve))[2] == "pass"
    judged = one(late, CurveWindow(**curve, from_start=True))
    assert judged[2] == "fail"
    assert judged[1] == pytest.approx(-(20.0 + 50.0 / 6.0), abs=0.01)  # at 800 degC: allowed 0, taken 28.33 s


def test_no_faster_than_a_curve():
    curve = CurveWindow([0.0, 60.0], [800.0, 500.0], no_faster=True)
    assert one(lines(6.0), curve)[2] == "fail"
    assert one(lines(6.0), curve)[1] == pytest.approx(50.0 - 60.0)
    assert one(lines(4.0), curve)[2] == "pass"
    assert one(lines(2.0), curve)[2] == "pass"  # never down to 500 degC, and the curve is over
    assert one(lines(3.0, time=np.linspace(0.0, 40.0, 161)), curve)[2] == "not judged"


def test_a_log_that_ends_while_the_curve_runs():
    curve = CurveWindow([0.0, 60.0], [800.0, 500.0])
    short = np.linspace(0.0, 40.0, 161)
    assert one(lines(6.0, time=short), curve)[2:] == ("not judged", "ends at 610 degC, kept so far")
    assert one(lines(4.0, time=short), curve)[2] == "fail"
    stuck = one(lines(2.0), curve)
    assert stuck[2] == "fail"
    assert "not down to" in stuck[3]


def test_a_users_own_window():
    class Cold:
        label, unit, required = "cold at the end", "degC", 100.0

        def judge(self, history):
            from heatq.windows import Verdict

            last = float(history["temperature"].values[-1, 0])
            return Verdict(last, 100.0 - last, np.nan, "pass" if last <= 100.0 else "fail")

    assert check_windows(lines(8.0, 4.0), [Cold()])["verdict"].values.tolist() == [["pass", "fail"]]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: TimeWindow(500.0, 800.0, at_most=1.0), "lower = 800 degC must lie below upper = 500 degC"),
        (lambda: TimeWindow(800.0, 500.0), "TimeWindow: give at_least or at_most, one of them"),
        (lambda: RateWindow(800.0, 500.0, at_least=1.0, at_most=2.0), "RateWindow: give at_least or at_most"),
        (lambda: RateWindow(800.0, 500.0, at_least=-1.0), "at_least = -1 K/s is outside"),
        (lambda: RateWindow(800.0, 500.0, at_least=1.0, basis="each"), "basis = 'each' must be"),
        (lambda: RateWindow(1885.0, 1000.0, at_least=1.0), "upper = 1885 degC is outside .*Fahrenheit"),
        (lambda: CurveWindow([0.0], [800.0]), "1 times and 1 temperatures; as many of both, at least two"),
        (lambda: CurveWindow([0.0, 1.0], [500.0, 800.0]), "time must rise and temperature fall"),
        (lambda: check_windows(lines(5.0), []), "windows is empty"),
        (lambda: check_windows(lines(5.0), [5.0]), "windows: 5.0 is no window"),
    ],
)
def test_windows_that_cannot_be(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_gaps_are_refused():
    history = lines(5.0)
    history["temperature"][5, 0] = np.nan
    with pytest.raises(InputError, match="holds gaps"):
        check_windows(history, TimeWindow(800.0, 500.0, at_most=60.0))


def test_the_table_says_what_was_found_required_and_left():
    text = windows_table(check_windows(lines(6.0, 2.0), TimeWindow(800.0, 500.0, at_most=60.0)))
    assert text.splitlines()[0] == "800 to 500 °C: at most 60 s"
    assert text.splitlines()[3].split() == ["p0", "50", "60", "+10", "+17", "pass"]
    assert text.splitlines()[4].split(maxsplit=5) == ["p1", "-", "60", "-", "-", "fail (ends at 650 °C after 75 s)"]


def test_metrics_by_hand():
    metrics = history_metrics(lines(6.0, 4.0), [700.0, 400.0])
    np.testing.assert_allclose(metrics["cooling_rate"].values, [[6.0, 4.0], [6.0, np.nan]])
    np.testing.assert_allclose(metrics["time_to"].values[0], [25.0, 37.5])
    np.testing.assert_allclose(metrics["cooling_time_800_500"].values, [50.0, 75.0])
    np.testing.assert_allclose(metrics["rate_spread"].values, [1.5, np.nan])
    assert metrics.attrs["largest_spread"] == pytest.approx(200.0)
    text = metrics_table(metrics)
    assert "rate at 700 °C  K/s          6         4       1.5" in text
    assert "largest spread between places 200.0 K at 100 s" in text
    assert all(metrics[name].attrs["units"] for name in metrics.data_vars)


def test_figures():
    history = lines(6.0, 4.0)
    windows = [TimeWindow(800.0, 500.0, at_most=60.0), CurveWindow([0, 60], [800, 500], from_start=True)]
    ax = window_curves(history, windows)
    assert ax.get_xlabel() == "time, s"
    assert [text.get_text() for text in ax.get_legend().get_texts()] == [
        *("p0", "p1", "800 to 500 °C: at most 60 s"),
        windows[1].label.replace("degC", "°C"),
    ]
    ends = [tuple(line.get_xdata()) for line in ax.lines if line.get_marker() == "v" and len(line.get_xdata()) == 2]
    np.testing.assert_allclose(ends[0], [50 / 6, 50 / 6 + 60.0], atol=1e-6)
    ax = rate_curves(history_metrics(history, np.arange(500.0, 800.0, 20.0)))
    np.testing.assert_allclose(ax.lines[1].get_ydata(), 4.0)
    ax = log_readings(history, probes=["p1"])
    np.testing.assert_array_equal(ax.lines[0].get_ydata(), history["temperature"].values[:, 1])
    assert not plt.get_fignums()
    with pytest.raises(InputError, match="8 channels in one figure"):
        log_readings(lines(*range(1, 9)))
    with pytest.raises(InputError, match="needs the result of history_metrics"):
        rate_curves(history)
