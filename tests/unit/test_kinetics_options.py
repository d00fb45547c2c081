"""Published and calibrated kinetics, factors of one's own, and the rate that hardness takes."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.errors import InputError
from heatq.hardness.predict import rate_for_hardness
from heatq.transformation.additivity import S_COMPLETE, s_inverse
from heatq.transformation.kinetics import kinetic_tables, transformed_fraction_table
from heatq.transformation.options import CALIBRATED, DEFAULT, KINETICS, PUBLISHED, Kinetics, kinetics_named
from heatq.transformation.rates import rate_tables

# Leaving a published range is on purpose here.
quiet = pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")


def cooling(rate, start=850.0, end=20.0, points=800):
    time = np.linspace(0.0, (start - end) / rate, points)
    return xr.Dataset({"temperature": (("time", "probe"), start - rate * time[:, None])},
                      coords={"time": time, "probe": ["a"]})  # fmt: skip


def test_published_is_the_default_and_changes_nothing():
    steel = hq.grade("4140")
    assert DEFAULT == "published"
    tables = kinetic_tables(steel)
    assert tables is kinetic_tables(steel, "published")
    plain = rate_tables(steel, -100.0 + np.arange(1551.0))
    assert tables.rates[:, 0] == pytest.approx(plain.ferrite)
    assert tables.rates[:, 1] == pytest.approx(plain.pearlite)
    y = np.linspace(0.0, 2.0, 50)
    index = y * tables.s_inverse_step
    assert np.interp(index, np.arange(len(tables.s_table)), tables.s_table) == pytest.approx(s_inverse(y), abs=1e-6)


def test_factors_reach_the_rates():
    steel = hq.grade("4140")
    own = Kinetics("own", ferrite=0.5, pearlite=2.0, bainite=3.0)
    ratio = kinetic_tables(steel, own).rates[:, :3].max(axis=0) / kinetic_tables(steel).rates[:, :3].max(axis=0)
    assert ratio == pytest.approx([0.5, 2.0, 3.0])
    parts = {k: hq.transform(cooling(5.0), steel, kinetics=k).fraction for k in ("published", own)}
    assert float(parts[own].sel(phase="bainite")[0]) != pytest.approx(float(parts["published"].sel(phase="bainite")[0]))


@pytest.mark.parametrize("spread", [0.0, 0.3, 0.6, 1.0])
def test_spread_table_is_a_distribution_of_rates(spread):
    fraction, rows = transformed_fraction_table(spread)
    assert fraction[0] == 0.0
    assert fraction[-1] == 1.0
    assert (np.diff(fraction) >= 0.0).all()
    # against a plain sum over many equally likely rates
    from scipy.special import ndtri

    xi = ndtri((np.arange(4000) + 0.5) / 4000)
    for y in (0.1, 0.5, 1.0, 2.0):
        mean = s_inverse(y * np.exp(spread * xi)).mean()
        found = np.interp(y * rows, np.arange(len(fraction)), fraction)
        assert found == pytest.approx(mean, abs=2e-3)


def test_spread_makes_the_transition_wider():
    steel = hq.grade("5160")
    rates = np.geomspace(1.0, 60.0, 25)

    def width(kinetics):
        left = [
            float(
                hq.transform(cooling(r), steel, kinetics=kinetics).fraction.sel(phase=["martensite", "austenite"]).sum()
            )
            for r in rates
        ]
        return np.interp([0.1, 0.9], left, np.log(rates)) @ [-1.0, 1.0]

    assert width(Kinetics("wide", spread=0.6)) > 1.3 * width(PUBLISHED)


@quiet
def test_fractions_sum_to_one_with_every_kinetics():
    for kinetics in KINETICS:
        for grade in ("1045", "4140", "8620", "52100"):
            for rate in (0.1, 3.0, 40.0):
                parts = hq.transform(cooling(rate), hq.grade(grade), kinetics=kinetics)
                assert parts.fraction_history.sum("phase").values == pytest.approx(1.0)
                assert float(parts.fraction.min()) >= 0.0


def test_halving_the_step_changes_little_when_calibrated():
    steel = hq.grade("4140")
    for rate in (1.0, 8.0):
        coarse, fine = (hq.transform(cooling(rate), steel, kinetics="calibrated", largest_change=d) for d in (1.0, 0.5))
        assert np.abs(coarse.fraction - fine.fraction).max() < 0.005


def test_names_and_refusals():
    assert kinetics_named("calibrated") is CALIBRATED
    own = Kinetics("own")
    assert kinetics_named(own) is own
    with pytest.raises(InputError, match="kinetics"):
        kinetics_named("calibratd")
    with pytest.raises(InputError, match="must be one of"):
        kinetics_named(1.2)
    with pytest.raises(InputError, match="ferrite"):
        Kinetics("own", ferrite=-1.0)
    with pytest.raises(InputError, match="standard deviation of ln"):
        Kinetics("own", spread=5.0)


def test_the_run_says_which_kinetics():
    import json

    parts = hq.transform(cooling(5.0), hq.grade("4140"), kinetics="calibrated")
    assert json.loads(parts.attrs["settings"])["kinetics"] == "calibrated"


def test_rate_for_hardness_is_not_held_up_by_recalescence():
    # 2 K/s throughout, with a plateau of 100 s at 701 degC, as in a normalized round
    time = np.concatenate([np.arange(0.0, 75.0), 174.0 + np.arange(0.0, 300.0)])
    temperature = np.concatenate([850.0 - 2.0 * np.arange(75.0), 701.0 - 2.0 * np.arange(300.0)])
    history = xr.Dataset({"temperature": (("time", "probe"), temperature[:, None])},
                         coords={"time": time, "probe": ["a"]})  # fmt: skip
    parts = hq.transform(history, hq.grade("1040"))
    assert float(parts.cooling_rate_700[0]) < 0.2
    assert float(parts.cooling_rate_800_700[0]) < float(rate_for_hardness(parts)[0]) + 1e-9
    assert rate_for_hardness(parts.drop_vars("cooling_rate_800_700")) == pytest.approx(parts.cooling_rate_700.values)
    # the same whether it comes as a variable or from the temperature
    assert rate_for_hardness(history.merge(parts).drop_vars("cooling_rate_800_700")) == pytest.approx(
        rate_for_hardness(parts)
    )


@quiet
def test_history_that_starts_below_800_uses_the_rate_at_700():
    parts = hq.transform(cooling(4.0, start=780.0), hq.grade("1075"))
    assert not np.isfinite(parts.cooling_rate_800_700.values).any()
    assert rate_for_hardness(parts) == pytest.approx([4.0], rel=0.01)


def test_unit_trap_spread_of_log10():
    """A spread given as decimal logarithm (0.26 for a factor of 1.8) is not the same as 0.6."""
    wide, narrow = (transformed_fraction_table(s)[0] for s in (0.6, 0.26))
    assert len(wide) == len(narrow)
    assert not np.allclose(wide, narrow, atol=0.01)
    assert pytest.approx(2.0518, abs=1e-4) == S_COMPLETE
