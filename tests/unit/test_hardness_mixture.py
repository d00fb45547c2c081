"""The mixture rule: floors, clamps, and what counts as martensite."""

from __future__ import annotations

import numpy as np
import pytest

from heatq.errors import InputError, collect_validity
from heatq.hardness.conversion import hrc_from_hv
from heatq.hardness.mixture import mixture_hardness, phase_hardness
from heatq.hardness.phases import (
    auto_tempering,
    hv_bainite_maynier_1978,
    hv_ferrite,
    hv_ferrite_pearlite_maynier_1978,
    hv_martensite,
    hv_pearlite,
    solid_solution,
)
from heatq.steels import Steel
from heatq.transformation.formulas import ae1_grange_1961

# Leaving a published range is on purpose here.
quiet = pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")

HEAT = Steel(C=0.405, Mn=0.875, Si=0.25, Ni=0.10, Cr=0.975, Mo=0.20, Cu=0.10)
PLAIN = Steel(C=0.465, Mn=0.75, Si=0.25, Ni=0.08, Cr=0.08, Mo=0.02, Cu=0.10)


def structure(*columns):
    """Fractions from columns (ferrite, pearlite, bainite, martensite, austenite); all formed at 620 degC."""
    fractions = np.array(columns, dtype=float).T
    return fractions, np.where(fractions > 0, 620.0, np.nan)


def test_pure_constituents():
    fractions, formed = structure((0, 0, 0, 1, 0), (0, 0, 1, 0, 0), (0, 1, 0, 0, 0))
    found = mixture_hardness(fractions, formed, [50.0, 20.0, 5.0], HEAT)
    assert found[0] == pytest.approx(float(hv_martensite(0.405) - auto_tempering(50.0)))
    assert found[1] == pytest.approx(float(hv_bainite_maynier_1978(HEAT, 20.0)))
    softer = hv_pearlite(ae1_grange_1961(HEAT) - 620.0, HEAT.C, hv_ferrite(HEAT, 5.0))
    assert found[2] == pytest.approx(float(softer) + solid_solution(HEAT))


def test_martensite_tempers_itself_the_more_the_slower_it_cools():
    fractions, formed = structure(*[(0, 0, 0, 1, 0)] * 4)
    found = mixture_hardness(fractions, formed, [1000.0, 27.2, 2.72, 1e-6], HEAT)
    assert found[0] == pytest.approx(float(hv_martensite(0.405)))
    assert found[0] - found[1] == pytest.approx(21.0, abs=0.1)  # Maynier's slope, decimal logarithm
    assert found[1] - found[2] == pytest.approx(21.0)
    # however slow: never softer than bainite
    assert found[3] >= phase_hardness(fractions, formed, np.full(4, 1e-6), HEAT).bainite[0]


def test_retained_austenite_is_lumped_with_martensite():
    fractions, formed = structure((0, 0, 0, 0.9, 0.1), (0, 0, 0, 1, 0))
    found = mixture_hardness(fractions, formed, [50.0, 50.0], HEAT)
    assert found[0] == pytest.approx(found[1])


def test_mixed_linearly_in_hv():
    fractions, formed = structure((0, 0, 0.4, 0.6, 0))
    expected = 0.4 * hv_bainite_maynier_1978(HEAT, 20.0) + 0.6 * (hv_martensite(0.405) - auto_tempering(20.0))
    assert mixture_hardness(fractions, formed, [20.0], HEAT) == pytest.approx(expected)


def test_fast_pearlite_is_much_harder_than_maynier():
    # 1045 at J8 (18.3 K/s): Maynier gives 14 HRC, the H-band has 27 in the middle; formation near 600 degC.
    fractions = np.array([[0.1], [0.9], [0], [0], [0]])
    formed = np.array([[650.0], [605.0], [np.nan], [np.nan], [np.nan]])
    found = mixture_hardness(fractions, formed, [18.3], PLAIN)
    textbook = hv_ferrite_pearlite_maynier_1978(PLAIN, 18.3)
    assert float(hrc_from_hv(textbook, extrapolate=True)) == pytest.approx(14, abs=3)
    assert found[0] > float(textbook[()]) + 80


def test_ferrite_and_pearlite_are_floored_by_maynier_at_the_own_rate():
    # Coarse: formed just below Ae1, where ferrite and pearlite alone would be softer than normalized steel is.
    fractions = np.array([[0.5], [0.5], [0], [0], [0]])
    formed = np.array([[720.0], [705.0], [np.nan], [np.nan], [np.nan]])
    for rate in (0.35, 3.1):
        floor = float(hv_ferrite_pearlite_maynier_1978(PLAIN, rate))
        raw = 0.5 * float(hv_ferrite(PLAIN, rate)) + 0.5 * float(hv_pearlite(ae1_grange_1961(PLAIN) - 705.0))
        assert raw < floor
        assert mixture_hardness(fractions, formed, [rate], PLAIN)[0] == pytest.approx(floor)
        assert phase_hardness(fractions, formed, [rate], PLAIN).is_floored.tolist() == [True]


def test_bainite_lies_between_ferrite_pearlite_and_martensite():
    rates = np.geomspace(0.01, 3000.0, 60)
    for heat in (HEAT, PLAIN, Steel(C=0.20, Mn=0.775, Si=0.25, Ni=0.55, Cr=0.50, Mo=0.20)):
        fractions = np.repeat(np.array([[0.1], [0.2], [0.4], [0.3], [0.0]]), len(rates), axis=1)
        formed = np.full(fractions.shape, 560.0)
        found = phase_hardness(fractions, formed, rates, heat)
        assert np.all(found.bainite <= found.martensite + 1e-9)
        assert np.all(found.bainite >= np.minimum(found.ferrite_pearlite, found.martensite) - 1e-9)
        hv = mixture_hardness(fractions, formed, rates, heat)
        assert np.all(hv <= found.martensite + 1e-9)


def test_bainite_floor_without_ferrite_and_pearlite():
    fractions, formed = structure((0, 0, 1, 0, 0))
    raw = float(hv_bainite_maynier_1978(PLAIN, 0.02))
    floor = float(hv_ferrite_pearlite_maynier_1978(PLAIN, 0.02))
    assert raw < floor
    assert mixture_hardness(fractions, formed, [0.02], PLAIN)[0] == pytest.approx(floor)


@quiet
def test_dissolved_carbon_sets_martensite():
    bearing = Steel(C=1.0, Mn=0.35, Si=0.25, Cr=1.4)
    fractions, formed = structure((0, 0, 0, 1, 0))
    with collect_validity():
        found = mixture_hardness(fractions, formed, [50.0], bearing, carbon=0.62)
        assert found[0] == pytest.approx(float(hv_martensite(0.62) - auto_tempering(50.0)))


def test_unknown_rate_is_nan_only_where_it_matters():
    fractions, formed = structure((0, 0, 0, 1, 0), (0, 0, 1, 0, 0))
    found = mixture_hardness(fractions, formed, [np.nan, np.nan], HEAT)
    assert found[0] == pytest.approx(float(hv_martensite(0.405)))
    assert np.isnan(found[1])


def test_refusals():
    fractions, formed = structure((0, 0, 0, 1, 0))
    with pytest.raises(InputError, match="first axis must be the phases"):
        mixture_hardness(fractions[:4], formed[:4], [10.0], HEAT)
    with pytest.raises(InputError, match="sum to 1"):
        mixture_hardness(100 * fractions, formed, [10.0], HEAT)
    with pytest.raises(InputError, match="must be the same"):
        mixture_hardness(fractions, formed[:, :0], [10.0], HEAT)
    with pytest.raises(InputError, match="above 0 K/s"):
        mixture_hardness(fractions, formed, [-10.0], HEAT)
