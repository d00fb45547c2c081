"""Rounds quenched in an agitated bath: one setting for all grades. See the passport: this is a fence, not a pass."""

from __future__ import annotations

import functools

import checks
import media_checks
import pytest

from heatq.boundaries import OilBath


@functools.cache
def rows():
    return media_checks.quenched()


@pytest.mark.parametrize("bath", ["oil", "water"])
def test_rms_by_position(bath):
    fence = checks.passport("mass_quenched")["fence"][bath]
    for position, (rms, _) in media_checks.error_by_position(rows(), bath).items():
        assert rms <= fence[position], position


def test_the_middle_of_all_points_is_not_biased():
    """The errors go both ways: the mean over all points is within the fair tolerance of one, 4 HRC."""
    for bath in ("oil", "water"):
        bias = [mean for _, mean in media_checks.error_by_position(rows(), bath).values()]
        assert abs(sum(bias) / len(bias)) <= 4.0


def test_thicker_rounds_are_softer_in_the_centre():
    for grade in ("1060", "4130", "4140", "8620"):
        centre = [row["computed"]["centre"] for row in rows() if row["grade"] == grade]
        assert all(b <= a + 0.5 for a, b in zip(centre[:-1], centre[1:], strict=True)), grade


def test_a_tenth_of_the_oil_is_noticed():
    """Counter-test: oil of a tenth of the coefficient leaves the fence at every position."""
    weak = OilBath(
        "conventional", vapour_coefficient=45.0, peak_coefficient=185.0, convection_coefficient=30.0, agitation="none"
    )
    found = media_checks.error_by_position(media_checks.quenched({"oil": weak}), "oil")
    fence = checks.passport("mass_quenched")["fence"]["oil"]
    assert all(rms > fence[position] for position, (rms, _) in found.items())
