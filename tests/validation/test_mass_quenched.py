"""Rounds quenched in an agitated bath: one setting for all grades. See the passport: this is a fence, not a pass."""

from __future__ import annotations

import functools
import warnings

import checks
import media_checks
import numpy as np
import pytest

import heatq as hq
from heatq.boundaries import OilBath
from heatq.hardness import endquench_from_chemistry, equivalent_distance, just_1969


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


@functools.cache
def from_chemistry():
    """Published HRC, and that of chemistry alone at equal rate and at equal time: (bath, position, route, by) in columns."""
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        for row in rows():
            steel = hq.grade(row["grade"])
            for by, cooling in row["cooling"].items():
                distance = equivalent_distance(cooling, by=by)
                known = np.isfinite(distance)
                a255 = np.where(known, endquench_from_chemistry(steel, np.where(known, distance, 0.0)).hrc, np.nan)
                just = just_1969(steel, distance)
                for n, (position, published) in enumerate(row["published"].items()):
                    found += [(row["bath"], position, "A255", by, published, a255[n])]
                    found += [(row["bath"], position, "Just", by, published, just[n])]
    return found


def rms_from_chemistry(route, **only):
    """By rate and by time, at the points of 20 HRC and more that both reach, and how many these are."""
    column = {"bath": 0, "position": 1}
    of = [row for row in from_chemistry() if row[2] == route and all(row[column[k]] == v for k, v in only.items())]
    miss = {by: np.array([row[5] - row[4] for row in of if row[3] == by]) for by in ("rate", "time")}
    both = np.isfinite(miss["rate"]) & np.isfinite(miss["time"])
    both &= np.array([row[4] for row in of if row[3] == "rate"]) >= 20.0
    return (*(float(np.sqrt((miss[by][both] ** 2).mean())) for by in ("rate", "time")), int(both.sum()))


def test_equal_time_is_the_better_place_for_a255():
    """Why `trial` goes by the time: better in both baths and at all positions. The numbers of heatq.hardness.second_routes."""
    for only in (
        {"bath": "oil"},
        {"bath": "water"},
        {"position": "surface"},
        {"position": "half_radius"},
        {"position": "centre"},
    ):
        by_rate, by_time, _ = rms_from_chemistry("A255", **only)
        assert by_time < 0.75 * by_rate, only
    assert rms_from_chemistry("A255") == pytest.approx((10.1, 6.8, 35), abs=0.1)


def test_equal_time_is_no_worse_place_for_just():
    """Not told apart: the scatter of 40 points is about 1 HRC."""
    assert rms_from_chemistry("Just") == pytest.approx((6.6, 7.1, 40), abs=0.1)


def test_by_rate_the_surface_in_oil_would_lie_behind_the_centre():
    """The vapour blanket at 704 degC: by rate most surfaces look slower than the centre, by time none does."""
    oil = [row["cooling"] for row in rows() if row["bath"] == "oil" and row["diameter"] < 0.04]
    assert sum(one["rate"][0] < one["rate"][2] for one in oil) >= 4
    assert all(one["time"][0] <= 1.01 * one["time"][2] for one in oil)
