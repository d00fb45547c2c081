"""Both regimes at once: bands, normalized and quenched rounds, published and calibrated kinetics, and the intervals.

The data and the scoring are those of benchmarks/prediction.py; the limits are the goals of the project where they are met,
and else what is reached, with the reason beside it.
"""

from __future__ import annotations

import functools
import pathlib
import sys
import warnings

import numpy as np
import pytest

import heatq as hq
from heatq.transformation.kinetics import kinetic_tables
from heatq.transformation.options import CALIBRATED, PUBLISHED, Kinetics

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "benchmarks"))
import prediction  # noqa: E402

pytestmark = pytest.mark.slow


@functools.cache
def scored(kinetics):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        cases = prediction.cases()
        results = prediction.simulate(functools.partial(kinetic_tables, kinetics=kinetics), cases)
        hardness = [hq.hardness_of(r, c.steel).hardness_hv.values for r, c in zip(results, cases, strict=True)]
    return prediction.score(cases, hardness)


def test_published_kinetics_in_the_fast_regime():
    found = prediction.summary(scored(PUBLISHED))
    assert found["J"] <= 2.3
    assert found["inside"] >= 98.0


def test_published_kinetics_in_the_gas_regime():
    found = prediction.summary(scored(PUBLISHED))
    assert found["N"] <= 6.0
    # the goal of 4.5 HRC is not reached: see the page "which model for which steel"
    assert found["Q"] <= 6.5


def test_calibrated_is_better_or_equal_in_both():
    published, calibrated = (prediction.summary(scored(k)) for k in (PUBLISHED, CALIBRATED))
    assert calibrated["J"] <= 1.4
    assert calibrated["inside"] >= 98.0
    assert calibrated["N"] <= min(6.0, published["N"])
    assert calibrated["Q"] <= min(5.6, published["Q"])


def test_the_scores_notice_wrong_kinetics():
    """Counter-test: ferrite and pearlite ten times slower fail every limit of the published kinetics."""
    found = prediction.summary(scored(Kinetics("wrong", ferrite=0.1, pearlite=0.1)))
    assert found["J"] > 2.3
    assert found["inside"] < 98.0
    assert found["N"] > 6.0


def test_hardness_of_the_script_is_that_of_the_library():
    case = prediction.cases()[1]
    (result,) = prediction.simulate(kinetic_tables, [case])
    own = prediction.Rule()(result, case.steel)
    assert own == pytest.approx(hq.hardness_of(result, case.steel).hardness_hv.values)


def test_drag_brings_bainite_where_diagrams_show_it():
    """4140 at 1 K/s: the critical velocities, an independent regression, give 43 % ferrite + pearlite and 57 % bainite."""
    rates = np.array([1.0])
    published, calibrated = (
        prediction.at_constant_rate(hq.grade("4140"), rates, k)[:, 0] for k in (PUBLISHED, CALIBRATED)
    )
    assert published[2] < 0.05
    assert 0.3 < calibrated[2] < 0.7


def test_4340_against_its_published_ranges():
    """Bainite and ferrite appear at 8.3 and 0.3 K/s, bainite is gone below 0.006 K/s (Callister, Fig. 11.29)."""
    steel = hq.Steel(C=0.42, Mn=0.78, Si=0.25, Ni=1.79, Cr=0.80, Mo=0.33)
    rates = np.geomspace(0.003, 100.0, 80)
    parts = prediction.at_constant_rate(steel, rates, CALIBRATED)
    ferrite = rates[np.flatnonzero(parts[0] >= 0.01)[-1]]
    bainite = rates[np.flatnonzero(parts[2] >= 0.01)[-1]]
    gone = rates[np.flatnonzero((parts[2] < 0.01) & (rates < 1.0))[-1]]
    assert 0.3 / 2 < ferrite < 0.3 * 2
    assert 8.3 / 2 < bainite < 8.3 * 2
    assert 0.006 / 2 < gone < 0.006 * 2
