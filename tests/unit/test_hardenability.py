"""DI and end-quench curve from chemistry, Just's regression, equal cooling."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.constants import inch

from heatq.errors import InputError, collect_validity
from heatq.hardness.equal_cooling import JOMINY_RATE_TABLE, equivalent_distance, rate_at_distance, second_opinion
from heatq.hardness.hardenability import (
    DI_AT_DISTANCE,
    DIVIDING_FACTORS,
    carbon_factor,
    distance_of_half_martensite,
    dividing_factor,
    endquench_from_chemistry,
    ideal_diameter,
    ideal_diameter_of_distance,
    just_1969,
    multiplying_factors,
)
from heatq.hardness.phases import hrc_half_martensite_a255_table
from heatq.steels import Steel
from heatq.units import sixteenths

# Leaving a published range is on purpose here.
quiet = pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")

STEELS = {
    "4118": Steel(C=0.22, Mn=0.80, Si=0.18, Ni=0.10, Cr=0.43, Mo=0.25, Cu=0.10),
    "4140": Steel(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20),
    "8620": Steel(C=0.20, Mn=0.80, Si=0.25, Ni=0.55, Cr=0.50, Mo=0.20),
    "4130": Steel(C=0.30, Mn=0.50, Si=0.25, Cr=0.95, Mo=0.20),
}
# Worked examples: DI in inches; HRC by position.
WORKED = {
    "4118": (1.78, {1: 45, 2: 44, 3: 40.5, 4: 32.5, 6: 23, 8: 21, 12: 18}),
    "4140": (4.80, {2: 56, 3: 56, 4: 56, 6: 54.3, 8: 51.6, 12: 45.8, 14: 44.4, 16: 42.3}),
    "8620": (1.86, {2: 43.2, 3: 40.1, 4: 32.7, 6: 23.4, 8: 21.3}),
    "4130": (2.48, {2: 50, 4: 42.7, 6: 33, 8: 30}),
}


@pytest.mark.parametrize("grade", WORKED)
def test_worked_examples(grade):
    diameter, curve = WORKED[grade]
    assert ideal_diameter(STEELS[grade]) / inch == pytest.approx(diameter, abs=0.0051)
    found = endquench_from_chemistry(STEELS[grade], sixteenths(np.array(list(curve), dtype=float)))
    assert set(found.method) == {"formula"}
    for value, (position, printed) in zip(found.hrc, curve.items(), strict=True):
        # Half of the last printed digit: some are printed whole, some to 0.1 HRC.
        assert value == pytest.approx(printed, abs=0.51 if isinstance(printed, int) else 0.051), position


def test_factors_of_the_4118_example():
    found = multiplying_factors(STEELS["4118"])
    printed = {"C": 0.119, "Mn": 3.667, "Si": 1.126, "Ni": 1.036, "Cr": 1.929, "Mo": 1.750, "Cu": 1.037}
    for element, factor in printed.items():
        assert found[element] == pytest.approx(factor, abs=0.00051), element
    # Adding 0.05 V multiplies by 1.087 and gives 1.93 in.
    with_vanadium = Steel(C=0.22, Mn=0.80, Si=0.18, Ni=0.10, Cr=0.43, Mo=0.25, Cu=0.10, V=0.05)
    assert ideal_diameter(with_vanadium) / inch == pytest.approx(1.93, abs=0.0051)


def test_carbon_factor():
    printed = {
        0.10: 0.0540, 0.20: 0.1080, 0.22: 0.1188, 0.30: 0.1620, 0.39: 0.2106, 0.40: 0.2138, 0.45: 0.2251, 0.50: 0.2378,
        0.55: 0.2517, 0.60: 0.2621, 0.65: 0.2731, 0.70: 0.2830, 0.75: 0.2930, 0.80: 0.3028, 0.90: 0.3207,
    }  # fmt: skip
    for carbon, factor in printed.items():
        assert carbon_factor(carbon) == pytest.approx(factor, abs=5.1e-5), carbon
    for joint in (0.39, 0.55, 0.65, 0.75):
        assert abs(carbon_factor(joint + 1e-9) - carbon_factor(joint)) < 0.0011


def test_manganese_pieces_join():
    low, high = (multiplying_factors(Steel(C=0.4, Mn=mn))["Mn"] for mn in (1.20, 1.2000001))
    assert low == pytest.approx(5.0, abs=1e-4)
    assert high == pytest.approx(low, abs=1e-4)


# Dividing factors by diameter in inches, positions 2, 3, 4, 6, 8, 12, 14, 16.
DF = {
    1.0: (1.15, 1.50, 2.14, 2.72, 2.92, 3.49, 3.62, 3.75),
    1.2: (1.10, 1.35, 1.85, 2.48, 2.69, 3.20, 3.32, 3.44),
    1.4: (1.07, 1.24, 1.64, 2.27, 2.47, 2.95, 3.06, 3.17),
    1.6: (1.04, 1.16, 1.49, 2.09, 2.28, 2.73, 2.83, 2.94),
    1.8: (1.02, 1.11, 1.37, 1.92, 2.11, 2.53, 2.63, 2.73),
    2.0: (1.01, 1.08, 1.29, 1.78, 1.95, 2.35, 2.45, 2.55),
    2.5: (1.00, 1.05, 1.17, 1.50, 1.65, 2.00, 2.09, 2.19),
    3.0: (1.00, 1.02, 1.10, 1.31, 1.44, 1.73, 1.82, 1.92),
    3.5: (1.00, 1.00, 1.05, 1.19, 1.30, 1.53, 1.61, 1.71),
    4.0: (1.00, 1.00, 1.02, 1.11, 1.20, 1.38, 1.45, 1.54),
    4.5: (1.00, 1.00, 1.00, 1.06, 1.12, 1.27, 1.32, 1.40),
    5.0: (1.00, 1.00, 1.00, 1.01, 1.06, 1.20, 1.23, 1.28),
}


@pytest.mark.parametrize("diameter", DF)
def test_dividing_factors(diameter):
    found = [dividing_factor(position, diameter * inch) for position in (2, 3, 4, 6, 8, 12, 14, 16)]
    assert found == pytest.approx(DF[diameter], abs=0.0051)


def test_dividing_factors_reach_one_at_their_limit():
    for position, (limit, _) in DIVIDING_FACTORS.items():
        just_above = dividing_factor(position, (limit + 1e-6) * inch)
        assert just_above == 1.0
        if position < 12:
            assert 1.0 <= dividing_factor(position, (limit - 1e-6) * inch) < 1.03


def test_runaway_polynomials_are_capped():
    # The polynomial of J2 is negative at 3 in already.
    limit, coefficients = DIVIDING_FACTORS[2]
    assert np.polynomial.polynomial.polyval(3.0, coefficients) < 0
    assert dividing_factor(2, 3.0 * inch) == 1.0
    assert limit == 2.1


def test_far_positions_only_for_one_to_five_inches():
    for position in (12, 14, 16):
        assert np.isnan(dividing_factor(position, 0.9 * inch))
        assert np.isnan(dividing_factor(position, 5.5 * inch))
        assert dividing_factor(position, 7.0 * inch) == 1.0
    assert np.isnan(dividing_factor(4, 0.5 * inch))
    with pytest.raises(InputError, match="position = J5 has no dividing factor"):
        dividing_factor(5, 2.0 * inch)


def test_interpolation_is_flagged_and_nothing_beyond_j16():
    found = endquench_from_chemistry(
        STEELS["4140"], sixteenths(np.array([0.5, 1.0, 5.0, 6.0, 7.0, 16.0, 17.0, np.nan]))
    )
    assert found.method.tolist() == [
        "interpolated", "formula", "interpolated", "formula", "interpolated", "formula", "none", "none",
    ]  # fmt: skip
    assert np.isnan(found.hrc[-2:]).all()
    four, six = endquench_from_chemistry(STEELS["4140"], sixteenths(np.array([4.0, 6.0]))).hrc
    assert found.hrc[2] == pytest.approx((four + six) / 2)
    assert found.hrc[0] == 56.0


def test_refused_stretch_is_nan():
    # DI between 5 in and the limit of J12: J10 is given, J12 is not, nor anything between them.
    heat = Steel(C=0.40, Mn=1.05, Si=0.25, Cr=0.98, Mo=0.20)
    assert 5.0 < ideal_diameter(heat) / inch < 6.0
    found = endquench_from_chemistry(heat, sixteenths(np.array([8.0, 10.0, 11.0, 12.0, 13.0, 16.0])))
    assert np.isfinite(found.hrc).tolist() == [True, True, False, False, False, False]
    assert found.method.tolist() == ["formula", "formula", "none", "none", "none", "none"]


@quiet
def test_4340_is_outside_the_range_but_hard_throughout():
    heat = Steel(C=0.405, Mn=0.75, Si=0.25, Ni=1.775, Cr=0.80, Mo=0.25, Cu=0.10)
    with collect_validity() as notes:
        found = endquench_from_chemistry(heat, sixteenths(np.array([1.0, 8.0, 16.0])))
    assert any("Ni content" in note for note in notes.values())
    assert found.ideal_diameter / inch > 6.9
    assert found.hrc == pytest.approx([56.5, 56.5, 56.5])


def test_residuals_matter():
    bare = Steel(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20)
    whole = Steel(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20, Ni=0.10, Cu=0.10)
    assert ideal_diameter(whole) / ideal_diameter(bare) == pytest.approx(1.0363 * 1.0365)


def test_grain_size():
    assert ideal_diameter(STEELS["4140"], grain_size=8.0) == pytest.approx(0.92 * ideal_diameter(STEELS["4140"]))
    # Grossmann's base diameters for numbers 4 to 8, in, read in a laboratory report.
    base = np.array([0.306, 0.282, 0.260, 0.240, 0.222])
    assert 0.92 ** np.arange(5) * base[0] == pytest.approx(base, abs=0.003)


def test_boron_needs_its_factor():
    heat = Steel(C=0.30, Mn=1.0, Si=0.25, B=0.002)
    with pytest.raises(InputError, match="boron_factor"):
        ideal_diameter(heat)
    assert ideal_diameter(heat, boron_factor=2.0) == pytest.approx(2.0 * ideal_diameter(heat, boron_factor=1.0))
    with pytest.raises(InputError, match="boron_factor"):
        endquench_from_chemistry(heat, [0.01])
    assert ideal_diameter(Steel(C=0.30, Mn=1.0, Si=0.25, B=0.0002)) > 0


def test_half_martensite_table_both_ways():
    positions = np.array(list(DI_AT_DISTANCE))
    diameters = np.array(list(DI_AT_DISTANCE.values())) * inch
    assert np.all(np.diff(diameters) > 0)
    assert distance_of_half_martensite(diameters) == pytest.approx(sixteenths(positions))
    assert ideal_diameter_of_distance(sixteenths(positions)) == pytest.approx(diameters)
    assert np.isnan(distance_of_half_martensite([0.1 * inch, 7.0 * inch])).all()
    # A secondary text: centre of a 75 mm round at H = infinity is 12.5 mm on the bar.
    assert float(distance_of_half_martensite(0.075)) == pytest.approx(0.0125, rel=0.02)


def test_8620_half_martensite_agrees_with_the_dividing_factors():
    # DI 1.86 in puts 50 % martensite at J 4.3; the dividing factors give 32.7 HRC at J4 and 50 % martensite has 32.
    position = float(distance_of_half_martensite(ideal_diameter(STEELS["8620"]))) / sixteenths(1.0)
    assert position == pytest.approx(4.3, abs=0.05)
    curve = endquench_from_chemistry(STEELS["8620"], sixteenths(np.array([4.0, position]))).hrc
    assert curve[0] > float(hrc_half_martensite_a255_table(0.20)) > curve[1]


def test_just():
    positions = sixteenths(np.array([4.0, 6.0, 8.0, 12.0, 16.0, 24.0, 32.0]))
    found = just_1969(STEELS["4140"], positions)
    assert found == pytest.approx([56.0, 55.2, 51.4, 46.3, 43.1, 39.4, 37.0], abs=0.051)
    assert np.isnan(just_1969(STEELS["4140"], sixteenths(np.array([1.0, 3.9])))).all()


def test_three_recollections_of_4140_agree():
    # A255, Just and the middle of the 4140H band (from memory), HRC at J6, 8, 12, 16.
    positions = sixteenths(np.array([6.0, 8.0, 12.0, 16.0]))
    band = np.array([54.0, 52.0, 47.0, 44.0])
    factors = endquench_from_chemistry(STEELS["4140"], positions).hrc
    regression = just_1969(STEELS["4140"], positions)
    for one, other in ((factors, band), (regression, band), (factors, regression)):
        assert np.abs(one - other).max() < 2.0


def test_distance_in_wrong_unit():
    with pytest.raises(InputError, match="sixteenths"):
        endquench_from_chemistry(STEELS["4140"], [12.7])


# ------------------------------------------------------------------------------------------------- equal cooling


def test_rate_table():
    printed = {1: 272, 2: 169, 3: 108, 4: 69.4, 6: 31.1, 8: 18.3, 12: 9.06, 16: 5.56, 20: 3.9, 24: 2.8, 32: 1.9}
    for position, rate in printed.items():
        assert float(rate_at_distance(sixteenths(float(position)))) == pytest.approx(
            rate, rel=0.025 if rate < 2 else 0.013
        )
    rates = [row.rate_degF for row in JOMINY_RATE_TABLE]
    assert np.all(np.diff(rates) < 0)
    # Rates read beside the Fahrenheit ones in degC/s: they must be the same to their two digits.
    read = [row for row in JOMINY_RATE_TABLE if row.status.startswith("rate read")]
    celsius = [270, 170, 70, 31, 18, 9, 5.6, 3.9, 2.8, 2]
    assert [row.rate_degF / 1.8 for row in read] == pytest.approx(celsius, rel=0.03)


def test_equivalent_distance_inverts():
    distance = sixteenths(np.linspace(1.0, 32.0, 50))
    assert equivalent_distance(rate_at_distance(distance)) == pytest.approx(distance)
    assert np.isnan(equivalent_distance([300.0, 1.9, 0.0, np.nan])).all()
    assert np.isnan(rate_at_distance([0.001, 0.06])).all()
    with pytest.raises(InputError, match="cooling rate = -5"):
        equivalent_distance(-5.0)


def test_interpolation_is_logarithmic():
    between = float(equivalent_distance(np.sqrt(10.0 * 7.0) / 1.8))
    assert between == pytest.approx(sixteenths(np.sqrt(16.0 * 20.0)))


@quiet
@pytest.mark.parametrize("wrong", ["fast", {}, [-1.0]])
def test_what_is_no_cooling_is_refused(wrong):
    with pytest.raises(InputError, match="must be positive"):
        equivalent_distance(wrong)


def test_second_opinion():
    rates = np.array([272.0, 18.333, 9.056, 5.5556, 3.0])
    found = second_opinion(STEELS["4140"], rates)
    expected = endquench_from_chemistry(STEELS["4140"], sixteenths(np.array([1.0, 8.0, 12.0, 16.0]))).hrc
    assert found[:4] == pytest.approx(expected, abs=0.01)
    assert np.isnan(found[4])
    assert float(second_opinion(STEELS["4140"], 2000.0)) == 56.0
    with collect_validity():
        assert np.isnan(second_opinion(STEELS["4140"], [np.nan])).all()


def test_effect_of_mass_data_is_complete():
    data = tomllib.loads((Path(__file__).parents[1] / "validation" / "data" / "effect_of_mass.toml").read_text())
    count = len(data["diameter_mm"])
    assert [row["grade"] for row in data["normalized"]] == ["1040", "1095", "4130", "4140", "4340", "5160", "8620"]
    for row in data["normalized"]:
        assert len(row["hb"]) == count
        assert np.all(np.diff(row["hb"]) <= 0), row["grade"]
    for row in data["quenched"]:
        places = np.array([row["surface"], row["half_radius"], row["centre"]])
        assert places.shape == (3, count)
        known = np.nan_to_num(places, nan=20.0)
        assert np.all(np.diff(known, axis=0) <= 0), row["grade"]
        assert np.all(np.diff(known, axis=1) <= 0), row["grade"]
    assert "memory" in data["how_obtained"]
