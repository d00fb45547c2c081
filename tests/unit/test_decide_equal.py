"""Equal quenches: what is searched, what is said where there is none, and the figures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import bar

import heatq as hq
from heatq.decide import BathQuench, GasQuench
from heatq.decide.equal import equal_quench, equal_settings
from heatq.decide.equal_search import _interval
from heatq.decide.jets import match_endquench
from heatq.errors import InputError, ValidityWarning
from heatq.plot_equal import endquench_match_chart, equal_settings_chart

PIECE, STEEL = hq.RoundBar(0.050), hq.grade("4140")
SLOW = GasQuench("nitrogen", velocity=15.0, pressure=10 * bar)
QUICK = {"accuracy": 4.0, "with_interval": False, "tolerance": 0.02}


@pytest.fixture(scope="module")
def to_helium():
    return equal_quench(PIECE, STEEL, SLOW, SLOW.replace(gas="helium"), accuracy=4.0, tolerance=0.02)


@pytest.fixture(scope="module")
def line():
    return equal_settings(PIECE, STEEL, SLOW, SLOW, along=[8.0, 30.0], gases=["nitrogen", "argon"], **QUICK)


@pytest.fixture(scope="module")
def jets():
    gas = GasQuench("nitrogen", velocity=60.0, temperature=25.0)
    with pytest.warns(ValidityWarning, match="gas jet: Re"):
        return match_endquench(
            hq.grade("4340"), gas, vary="pressure", lowest=1 * bar, highest=8 * bar, runs=3, positions=[1, 8, 32]
        )


def test_equal_by_the_measure_asked_for(to_helium):
    assert to_helium.status == "found"
    reference, candidate = to_helium.cooling_time_800_500.values
    assert candidate == pytest.approx(reference, rel=1e-3)
    assert float(to_helium.difference) == pytest.approx(candidate - reference)
    assert bar < to_helium.pressure < 10 * bar


def test_answer_lies_between_the_points_run(to_helium):
    low, high = to_helium.pressure_bracket.values
    assert low <= to_helium.pressure <= high <= 1.021 * low
    assert set(to_helium.pressure_bracket.values) <= set(to_helium.tried_pressure.values)
    assert (np.diff(to_helium.tried_measure) < 0.0).all()
    assert to_helium.is_monotone


@pytest.mark.slow
def test_band_is_where_the_difference_does_not_matter(to_helium):
    low, high = to_helium.pressure_band.values
    assert low < to_helium.pressure < high
    wanted = float(to_helium.cooling_time_800_500.sel(quench="reference"))
    for end, sign in ((low, 1.0), (high, -1.0)):
        run = equal_quench(
            PIECE, STEEL, SLOW.replace(gas="helium", pressure=float(end)), SLOW.replace(gas="helium"), **QUICK
        )
        found = float(run.cooling_time_800_500.sel(quench="reference"))
        assert np.log(found / wanted) == pytest.approx(sign * 0.02, abs=0.004)


def test_interval_covers_the_answer_and_is_wider_than_the_band(to_helium):
    low, high = to_helium.pressure_interval.values
    assert low < to_helium.pressure_band[0] < to_helium.pressure_band[1] < high
    assert to_helium.h_uncertainty.values == pytest.approx([0.25, 0.25])


def test_errors_in_common_cancel():
    apart, shared = (_interval(5.0, [4.0, 6.0], [4.0, 6.0], rho) for rho in (0.0, 1.0))
    assert shared == pytest.approx([5.0, 5.0])
    assert np.log(apart[1] / 5.0) == pytest.approx(np.sqrt(2.0) * np.log(1.2))
    assert _interval(5.0, None, None, 0.0) == pytest.approx([np.nan] * 2, nan_ok=True)


@pytest.mark.parametrize("by", ["cooling time", "cooling rate", "equivalent distance", "hardness"])
def test_a_quench_equals_itself(by):
    found = equal_quench(PIECE, STEEL, SLOW, SLOW, by=by, **QUICK)
    assert float(found.pressure) == pytest.approx(10 * bar, rel=1e-6)
    assert found.difference == pytest.approx(0.0, abs=1e-6)


def test_velocity_can_be_searched_for():
    found = equal_quench(PIECE, STEEL, SLOW, SLOW.replace(pressure=5 * bar), vary="velocity", **QUICK)
    assert float(found.velocity) == pytest.approx(30.0, rel=0.01)  # Re alone matters


def test_not_reachable_says_so_and_gives_the_best():
    water = BathQuench(hq.WaterBath(25.0, 1.0))
    found = equal_quench(PIECE, STEEL, water, SLOW, **QUICK)
    assert found.status == "not reachable: always weaker"
    assert not found.reachable
    assert np.isnan(found.pressure)
    assert float(found.judged_at) == pytest.approx(25 * bar)
    assert found.difference > 0.0  # s: it cools slower
    back = equal_quench(PIECE, STEEL, SLOW, SLOW.replace(velocity=60.0), lowest=5 * bar, **QUICK)
    assert back.status == "not reachable: always stronger"
    assert float(back.judged_at) == pytest.approx(5 * bar)


def test_hard_all_through_is_equal_in_many_quenches():
    thin = hq.RoundBar(0.020)
    found = equal_quench(thin, hq.grade("4340"), BathQuench(hq.OilBath("fast")), SLOW, by="hardness", **QUICK)
    assert found.reachable
    assert not found.is_sharp
    assert abs(float(found.difference)) < 0.021 * float(found.hardness_hv[0])
    assert found.cooling_time_800_500[1] > 1.5 * found.cooling_time_800_500[0]  # equal in hardness only


@pytest.mark.slow
def test_a_function_of_the_setting_as_candidate():
    bath = equal_quench(
        PIECE, STEEL, SLOW, lambda h: BathQuench(hq.Convection(h, 40.0)), vary="h", lowest=50.0, highest=5e3, **QUICK
    )
    assert bath.status == "found"
    falling = equal_quench(
        PIECE, STEEL, SLOW, lambda r: BathQuench(hq.Convection(1.0 / r, 40.0)), vary="resistance",
        lowest=1 / 5e3, highest=1 / 50.0, increasing=False, **QUICK,
    )  # fmt: skip
    assert float(falling.resistance) == pytest.approx(1.0 / float(bath.h), rel=0.01)


def test_lines_of_equal_settings(line):
    assert line.pressure.dims == ("gas", "velocity")
    nitrogen, argon = line.pressure.values / bar
    assert nitrogen == pytest.approx([18.75, 5.0], rel=0.01)  # p v is constant
    assert np.isnan(argon[0])
    assert argon[1] > nitrogen[1]
    assert set(line.cooling_time_800_500.dims) == {"quench", "gas", "velocity"}
    for name, variable in {**line.data_vars, **line.coords}.items():
        assert {"units", "long_name"} <= set(variable.attrs), name


def test_lines_figure(line):
    ax = equal_settings_chart(line)
    assert ax.get_xlabel() == "velocity of the gas, m/s"
    assert ax.get_ylabel() == "pressure, bar absolute"
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["nitrogen", "argon"]


def test_end_quench_comparison(jets):
    assert jets.difference.dims == ("pressure", "position")
    np.testing.assert_allclose(jets.difference, jets.gas_hardness - jets.water_hardness)
    assert (jets.is_matched == (abs(jets.difference) <= 3.0)).all()
    assert list(jets.status.values) == ["from least on"] * 3
    low, high = jets.least_pressure_bracket.values.T
    assert (low <= jets.least_pressure).all()
    assert (jets.least_pressure <= high).all()
    assert np.isnan(jets.matched_from[0])  # softer than water at 1 bar, everywhere
    assert jets.matched_from[-1] == jets.distance[0]  # 8 bar is enough for 4340 from J1 on
    assert 1.0 < jets.pressure_factor < 5.0


def test_end_quench_figure(jets):
    ax = endquench_match_chart(jets)
    assert ax.get_ylabel() == "hardness, HRC"
    assert len(ax.get_legend().get_texts()) == 5
    few = endquench_match_chart(jets, settings=[7 * bar])
    assert len(few.get_legend().get_texts()) == 3


def test_positions_never_matched_are_said():
    found = match_endquench(hq.grade("4130"), lowest=20.0, highest=100.0, runs=2, positions=[1, 48])
    assert list(found.status.values) == ["never", "below 20 HRC"]
    assert found.best_difference[0] < -20.0
    assert np.isnan(found.matched_from).all()


BAD = {
    "candidate": (lambda: equal_quench(PIECE, STEEL, SLOW, BathQuench(hq.OilBath())), "has no pressure to search for"),
    "function": (lambda: equal_quench(PIECE, STEEL, SLOW, lambda v: SLOW), "give lowest and highest"),
    "limits": (lambda: equal_quench(PIECE, STEEL, SLOW, lambda v: SLOW, lowest=2.0, highest=1.0), "below highest = 1"),
    "by": (lambda: equal_quench(PIECE, STEEL, SLOW, SLOW, by="colour"), "by"),
    "reference": (lambda: equal_quench(PIECE, STEEL, "oil", SLOW), "reference = 'oil' is no quench"),
    "cold": (lambda: equal_quench(PIECE, STEEL, SLOW, SLOW, initial_temperature=780.0), "start hotter"),
    "line": (lambda: equal_settings(PIECE, STEEL, SLOW, BathQuench(hq.OilBath())), "must be a GasQuench: a line"),
    "gases": (lambda: equal_settings(PIECE, STEEL, SLOW, SLOW, gases="helium"), "must be a list of at least one"),
    "along": (lambda: equal_settings(PIECE, STEEL, SLOW, SLOW, along=[]), "give at least one velocity"),
    "jet": (lambda: match_endquench(STEEL, BathQuench(hq.OilBath())), "must be a GasQuench: its gas is blown"),
    "runs": (lambda: match_endquench(STEEL, runs=1), "whole number from 2 to 40"),
    "positions": (lambda: match_endquench(STEEL, positions=[4, 2]), "sixteenths of an inch, rising"),
    "chart": (lambda: equal_settings_chart(None), "is not a line of settings"),
    "jet chart": (lambda: endquench_match_chart(None), "is not an end-quench comparison"),
}


@pytest.mark.parametrize("name", BAD)
def test_messages(name):
    call, text = BAD[name]
    with pytest.raises(InputError, match=text):
        call()
