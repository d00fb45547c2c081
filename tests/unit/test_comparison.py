"""Measured against predicted: errors worked out by hand, alignment that finds the shift that was put in."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from heatq.comparison import compare_histories, comparison_table
from heatq.errors import InputError
from heatq.plot_logs import measured_and_predicted


def history(function, time, names=("core",)):
    values = np.column_stack([function(time, n) for n in range(len(names))])
    return xr.Dataset({"temperature": (("time", "probe"), values)}, coords={"time": time, "probe": list(names)})


def straight(rate, start=0.0):
    return lambda time, n: 850.0 - (rate + n) * (time - start)


def cooling(tau, start=0.0):
    def at(time, n):
        return 30.0 + 820.0 * np.exp(-np.clip(time - start, 0.0, None) / (tau * (1 + n)))

    return at


TIME = np.linspace(0.0, 100.0, 201)


def test_errors_of_straight_lines_by_hand():
    result = compare_histories(history(straight(5.0), TIME), history(straight(5.5), TIME), temperatures=[600.0])
    assert float(result["largest_error"][0]) == pytest.approx(-50.0)
    assert float(result["largest_error_time"][0]) == 100.0
    assert float(result["rms_error"][0]) == pytest.approx(np.sqrt((0.25 * TIME**2).mean()))
    assert float(result["mean_error"][0]) == pytest.approx(-25.0)
    assert float(result["time_error"][0, 0]) == pytest.approx(250.0 / 5.5 - 50.0)
    assert float(result["relative_time_error"][0, 0]) == pytest.approx(5.0 / 5.5 - 1.0)
    assert float(result["rate_error"][0, 0]) == pytest.approx(0.5)
    assert float(result["relative_rate_error"][0, 0]) == pytest.approx(0.1)
    assert all("units" in result[name].attrs for name in result.data_vars)


def test_a_history_compared_with_itself_on_other_times():
    measured = history(cooling(20.0), np.linspace(0.0, 100.0, 77), ("a", "b"))
    predicted = history(cooling(20.0), TIME, ("a", "b"))
    result = compare_histories(measured, predicted)
    assert np.abs(result["error"].values).max() < 0.05
    assert np.nanmax(np.abs(result["relative_rate_error"].values)) < 0.01
    assert result.attrs["time_shift"] == 0.0


@pytest.mark.parametrize("align", [700.0, "best"])
@pytest.mark.parametrize("late", [7.3, -4.1])
def test_alignment_finds_the_shift_and_states_it(align, late):
    time = np.linspace(-20.0, 120.0, 1401)
    measured = history(cooling(20.0, late), time, ("a", "b"))
    result = compare_histories(measured, history(cooling(20.0), TIME, ("a", "b")), align=align)
    assert result.attrs["time_shift"] == pytest.approx(late, abs=0.05)
    assert float(result["rms_error"].max()) < 1.0
    assert f"measured clock shifted by {-result.attrs['time_shift']:+.4g} s (aligned: {align})" in comparison_table(
        result
    )
    raw = compare_histories(measured, history(cooling(20.0), TIME, ("a", "b")))
    assert float(raw["rms_error"].max()) > 20.0


def test_channels_are_matched_by_name_or_by_mapping():
    measured, predicted = history(straight(5.0), TIME, ("TC1", "core")), history(straight(5.0), TIME, ("core", "skin"))
    by_name = compare_histories(measured, predicted)
    assert by_name["probe"].values.tolist() == ["core"]
    assert by_name.attrs["not_compared"] == "TC1"
    assert "not compared: TC1" in comparison_table(by_name)
    mapped = compare_histories(measured, predicted, probes={"TC1": "core", "core": "skin"})
    assert np.abs(mapped["error"].values).max() < 1e-9
    assert mapped["predicted_probe"].values.tolist() == ["core", "skin"]


def test_only_times_that_both_cover_count():
    result = compare_histories(history(straight(5.0), np.linspace(0.0, 150.0, 301)), history(straight(5.0), TIME))
    assert result.attrs["rows_outside"] == 100
    assert result["time"].values[-1] == 100.0


def test_the_table():
    result = compare_histories(history(straight(5.0), TIME), history(straight(5.5), TIME), temperatures=[600.0, 100.0])
    lines = comparison_table(result).splitlines()
    assert lines[3].split() == ["core", "28.90", "-25.00", "-50.00", "100"]
    assert lines[6].split() == ["core", "600", "50", "-4.55", "-9.1", "5", "+0.5", "+10.0"]
    assert len(lines) == 7  # 100 degC is reached by neither


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"probes": {"kern": "core"}}, "unknown measured channel 'kern'"),
        ({"probes": {"core": "kern"}}, "unknown predicted probe 'kern'"),
        ({"probes": {}}, "probes is empty"),
        ({"align": "start"}, "align = 'start': None, 'best', or a temperature"),
        ({"align": 20.0}, "align = 20 degC: no channel falls through it"),
    ],
)
def test_what_cannot_be_compared(options, message):
    with pytest.raises(InputError, match=message):
        compare_histories(history(straight(5.0), TIME), history(straight(5.5), TIME), **options)


def test_names_that_do_not_match_and_times_that_do_not_overlap():
    with pytest.raises(InputError, match=r"measured TC1; predicted core\. Say which"):
        compare_histories(history(straight(5.0), TIME, ("TC1",)), history(straight(5.5), TIME))
    with pytest.raises(InputError, match="do not overlap in time"):
        compare_histories(history(straight(5.0), TIME + 500.0), history(straight(5.5), TIME))
    gappy = history(straight(5.0), TIME)
    gappy["temperature"][3, 0] = np.nan
    with pytest.raises(InputError, match="holds gaps"):
        compare_histories(gappy, history(straight(5.5), TIME))


def test_the_figure():
    result = compare_histories(history(straight(5.0), TIME), history(straight(5.5), TIME))
    upper, lower = measured_and_predicted(result)
    assert upper.get_legend().get_texts()[0].get_text() == "core, rms 28.9 K"
    np.testing.assert_array_equal(lower.lines[0].get_ydata(), result["error"].values[:, 0])
    with pytest.raises(InputError, match="needs the result of compare_histories"):
        measured_and_predicted(history(straight(5.0), TIME))
