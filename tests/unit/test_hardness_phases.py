"""Phase hardness: Maynier with its unit traps, A255 martensite, pearlite by formation temperature."""

from __future__ import annotations

import numpy as np
import pytest

from heatq.errors import InputError, ValidityWarning, collect_validity
from heatq.hardness.phases import (
    A255_TABLE,
    auto_tempering,
    hrc_half_martensite_a255,
    hrc_half_martensite_a255_table,
    hrc_martensite_a255,
    hrc_martensite_a255_table,
    hrc_martensite_just,
    hv_bainite_maynier_1978,
    hv_ferrite,
    hv_ferrite_pearlite_maynier_1978,
    hv_martensite,
    hv_martensite_maynier_1978,
    hv_pearlite,
    solid_solution,
)
from heatq.steels import Steel

# Leaving a published range is on purpose here.
quiet = pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")

MID_4140H = Steel(C=0.405, Mn=0.875, Si=0.25, Ni=0.10, Cr=0.975, Mo=0.20, Cu=0.10)
MAYNIER = [
    (hv_martensite_maynier_1978, 646, 571, 779),
    (hv_bainite_maynier_1978, 398, 219, 717),
    (hv_ferrite_pearlite_maynier_1978, 249, 201, 334),
]


@pytest.mark.parametrize(("function", "right", "per_second", "natural"), MAYNIER)
def test_maynier_and_its_unit_traps(function, right, per_second, natural):
    # 4140 at 20 K/s; the wrong numbers are what degC/s or ln in place of degC/h and log10 would give.
    assert float(function(MID_4140H, 20.0)) == pytest.approx(right, abs=0.51)
    assert float(function(MID_4140H, 20.0 / 3600)) == pytest.approx(per_second, abs=0.51)
    as_if_natural = (20.0 * 3600) ** np.log(10) / 3600
    assert float(function(MID_4140H, as_if_natural)) == pytest.approx(natural, abs=0.51)


def test_maynier_is_linear_in_log_rate():
    slope = np.diff(hv_martensite_maynier_1978(MID_4140H, [1.0, 10.0, 100.0]))
    assert slope == pytest.approx([21.0, 21.0])


def test_impossible_martensite_is_refused():
    with pytest.raises(InputError, match="which cannot be"):
        hv_martensite_maynier_1978(Steel(C=0.50, Mn=0.875, Si=0.25, Cr=0.975), 1e12)


def test_rate_must_be_positive():
    with pytest.raises(InputError, match="above 0 K/s"):
        hv_bainite_maynier_1978(MID_4140H, [5.0, 0.0])
    assert np.isnan(hv_bainite_maynier_1978(MID_4140H, np.nan))


def test_maynier_range():
    with pytest.warns(ValidityWarning, match="C content = 0.6 % is outside 0.1 to 0.5"):
        hv_bainite_maynier_1978(Steel(C=0.60, Mn=0.8, Si=0.25), 10.0)


@quiet
def test_ferrite_is_the_regression_at_low_carbon():
    with collect_validity():
        low = Steel(C=0.02, Mn=0.875, Si=0.25, Ni=0.10, Cr=0.975, Mo=0.20)
        assert float(hv_ferrite(MID_4140H, 3.0)) == pytest.approx(float(hv_ferrite_pearlite_maynier_1978(low, 3.0)))


def test_a255_polynomials():
    carbon = [0.20, 0.30, 0.40, 0.45, 0.50, 0.60]
    assert hrc_martensite_a255(carbon) == pytest.approx([44.2, 50.3, 56.1, 58.6, 60.9, 64.3], abs=0.051)
    assert hrc_half_martensite_a255(carbon) == pytest.approx([31.8, 37.5, 42.4, 44.7, 46.8, 50.7], abs=0.051)
    assert hrc_martensite_just([0.20, 0.30, 0.40, 0.45, 0.50, 0.60]) == pytest.approx(
        [46.8, 52.9, 57.9, 60.2, 62.4, 66.5], abs=0.06
    )


def test_polynomials_agree_with_the_table():
    low = np.array([c / 100 for c in A255_TABLE if c <= 50])
    # Within 1 HRC to 0.50 % C (1.2 at single rounded rows), then the table is capped at 60.
    assert np.abs(hrc_martensite_a255(low) - hrc_martensite_a255_table(low)).max() < 1.2
    whole = np.array([c / 100 for c in A255_TABLE])
    assert np.abs(hrc_half_martensite_a255(whole) - hrc_half_martensite_a255_table(whole)).max() < 1.5
    assert float(hrc_martensite_a255(0.60) - hrc_martensite_a255_table(0.60)) == pytest.approx(4.3, abs=0.1)


def test_table_is_monotone():
    assert np.all(np.diff([row[0] for row in A255_TABLE.values()]) >= 0)
    assert np.all(np.diff([row[1] for row in A255_TABLE.values()]) >= 0)


@quiet
def test_constant_above_0_7_percent():
    with collect_validity() as notes:
        assert float(hrc_martensite_a255(1.0)) == float(hrc_martensite_a255(0.70))
    assert notes


def test_j1_of_h_bands():
    # Middle of J1 of the H-bands (from memory) against carbon alone, HRC.
    bands = {0.405: 56.5, 0.20: 44.5, 0.465: 58.5}
    for carbon, middle in bands.items():
        assert float(hrc_martensite_a255(carbon)) == pytest.approx(middle, abs=1.3)
    assert float(hrc_martensite_a255(0.30)) == pytest.approx(52.5, abs=2.3)


def test_martensite_in_hv():
    # 42CrMo4, 10 mm rounds quenched in oil, tempered at 100 degC: 57 HRC (633 HV) in a supplier data sheet.
    assert float(hv_martensite(0.415)) == pytest.approx(633, abs=15)
    with pytest.raises(InputError, match="write 0.40, not 40"):
        hv_martensite(40.0)


def test_pearlite():
    # Hardness column of the isothermal diagram of eutectoid steel: 11, 32, 38, 40 HRC at 704, 663, 620, 580 degC.
    formed = np.array([704.0, 663.0, 620.0, 580.0])
    assert hv_pearlite(723.0 - formed) == pytest.approx([198, 316, 365, 382], abs=0.51)
    assert hv_pearlite([-50.0, 0.0, 15.0]).tolist() == [180.0, 180.0, 180.0]
    assert float(hv_pearlite(1e4)) == pytest.approx(395.0)


def test_auto_tempering_counts_from_the_rate_at_j1():
    assert auto_tempering([490 / 1.8, 5000.0]).tolist() == [0.0, 0.0]
    assert float(auto_tempering(490 / 1.8 / 100.0)) == pytest.approx(42.0)
    assert float(auto_tempering(np.nan)) == 0.0
    # the same slope as in the whole equation of the source, whose rate is in degC/h
    whole = hv_martensite_maynier_1978(MID_4140H, 50.0) - hv_martensite_maynier_1978(MID_4140H, 5.0)
    assert float(auto_tempering(5.0) - auto_tempering(50.0)) == pytest.approx(float(whole))
    with pytest.raises(InputError, match="above 0 K/s"):
        auto_tempering(-1.0)


def test_solid_solution_is_that_of_maynier_beyond_the_eutectoid_steel():
    from types import SimpleNamespace

    eutectoid = SimpleNamespace(C=0.5, Si=0.25, Mn=0.76)
    assert solid_solution(eutectoid) == 0.0
    alloyed = SimpleNamespace(C=0.5, Si=0.25, Mn=0.96, Ni=1.0, Mo=0.2)
    rate = 1.0 / 3600.0  # 1 degC/h: its logarithm and with it the rate terms vanish
    with collect_validity():
        more = hv_ferrite_pearlite_maynier_1978(alloyed, rate) - hv_ferrite_pearlite_maynier_1978(eutectoid, rate)
    assert solid_solution(alloyed) == pytest.approx(float(more))
