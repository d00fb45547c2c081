"""Samples: distributions with units, even points, correlated chemistry, the ranges of a grade and of a certificate."""

from __future__ import annotations

import json
import pickle

import numpy as np
import pytest
import scipy.stats
from scipy.constants import bar

import heatq as hq
from heatq.boundaries import GasCrossflow, Insulated
from heatq.errors import InputError
from heatq.studies.sampling import CorrelatedNormals, Distribution, draw, heat_distributions, sample

TWO = {"a": Distribution.uniform(0.0, 1.0, units="K", long_name="first"), "b": Distribution.normal(5.0, 2.0)}


@pytest.mark.parametrize(
    ("distribution", "reference"),
    [
        (Distribution.uniform(2.0, 5.0), scipy.stats.uniform(2.0, 3.0)),
        (Distribution.normal(10.0, 2.0), scipy.stats.norm(10.0, 2.0)),
        (Distribution.truncated_normal(1.0, 0.5, 0.2, 1.5), scipy.stats.truncnorm(-1.6, 1.0, 1.0, 0.5)),
        (Distribution.lognormal(3.0, 1.2), scipy.stats.lognorm(np.log(1.2), scale=3.0)),
        (Distribution.triangular(1.0, 2.0, 5.0), scipy.stats.triang(0.25, 1.0, 4.0)),
        (Distribution(scipy.stats.weibull_min(2.0, scale=3.0)), scipy.stats.weibull_min(2.0, scale=3.0)),
    ],
    ids=lambda d: repr(d)[:30],
)
@pytest.mark.parametrize("method", ["sobol", "latin hypercube", "random"])
def test_a_sample_has_its_distribution(distribution, reference, method):
    values = sample({"x": distribution}, 512, method, seed=4).x.values
    statistic = scipy.stats.kstest(values, reference.cdf).statistic
    assert statistic < {"sobol": 0.004, "latin hypercube": 0.004, "random": 0.07}[method]


def test_lognormal_and_factor_mean_what_they_say():
    deviation = Distribution.lognormal(3.0, 1.2)
    assert deviation.at([0.5, scipy.stats.norm.cdf(1.0)]) == pytest.approx([3.0, 3.6])
    factor = Distribution.factor(0.25)
    assert factor.at(scipy.stats.norm.cdf([-2.0, 2.0])) == pytest.approx([0.8, 1.25])
    gas = GasCrossflow("nitrogen", velocity=10.0, pressure=bar, temperature=25.0)
    assert repr(Distribution.factor(gas)) == repr(Distribution.factor(gas.relative_uncertainty))


def test_the_sample_is_labelled_and_says_how_it_was_made():
    points = sample(TWO, 16, seed=3)
    assert points.a.attrs == {"units": "K", "long_name": "first"}
    assert points.b.attrs == {"units": "1", "long_name": "b"}
    assert json.loads(points.attrs["parameters"]) == ["a", "b"]
    assert points.attrs["sampling"] == "sobol"
    assert points.attrs["seed"] == 3
    assert "mean 5" in json.loads(points.attrs["distributions"])["b"]


@pytest.mark.parametrize("method", ["sobol", "latin hypercube", "random"])
def test_a_seed_gives_one_sample(method):
    one, again, other = (sample(TWO, 32, method, seed=seed) for seed in (1, 1, 2))
    assert one.identical(again)
    assert not np.any(one.a.values == other.a.values)


def test_replicates_are_independent_samples_each_even():
    points = sample({"a": Distribution.uniform(0.0, 1.0)}, 64, seed=5, replicates=4).a.values.reshape(4, 16)
    for replicate in points:
        assert sorted(np.floor(16 * replicate)) == list(range(16))  # one point in every sixteenth
    assert len(np.unique(points)) == 64


def test_points_stay_off_the_edge():
    assert np.isfinite(sample({"x": Distribution.normal(0.0, 1.0)}, 2**14, seed=0).x.values).all()
    points = draw(2, 8, "random", 0)
    assert points.min() > 0.0
    assert points.max() < 1.0


def test_correlated_normals_have_their_covariance():
    covariance = np.array([[4e-4, 6e-4, 0.0], [6e-4, 2.5e-3, -5e-4], [0.0, -5e-4, 1e-3]])
    chemistry = CorrelatedNormals({"C": 0.4, "Mn": 0.8, "Cr": 1.0}, covariance, units="%")
    points = sample({"heat": chemistry, "velocity": Distribution.uniform(5.0, 10.0)}, 4096, seed=2)
    got = np.cov([points[name].values for name in ("C", "Mn", "Cr")])
    assert got == pytest.approx(covariance, abs=1.5e-5)
    assert points.Mn.values.mean() == pytest.approx(0.8, abs=1e-3)
    assert points.Mn.attrs["units"] == "%"
    assert np.corrcoef(points.C.values, points.velocity.values)[0, 1] == pytest.approx(0.0, abs=0.01)
    # heats that differ along one line only
    line = CorrelatedNormals({"C": 0.4, "Mn": 0.8}, [[1e-4, 2e-4], [2e-4, 4e-4]], units={"C": "%"})
    points = sample({"heat": line}, 64)
    assert points.Mn.values - 0.8 == pytest.approx(2.0 * (points.C.values - 0.4))
    assert points.Mn.attrs["units"] == "1"


def test_heats_of_a_grade_stay_in_its_ranges():
    found = heat_distributions("4140")
    points = sample(found, 256, seed=1)
    for element, (low, high) in hq.grade_ranges("4140").items():
        values = points[element].values
        assert low <= values.min()
        assert values.max() <= high
        assert values.mean() == pytest.approx(0.5 * (low + high), abs=0.005)
        assert values.std() == pytest.approx(0.22 * (high - low), rel=0.05)  # a quarter, less what is cut off
        assert points[element].attrs["units"] == "%"
    assert points.grain_size.values.std() == pytest.approx(0.75, rel=0.03)
    assert repr(heat_distributions(hq.grade("4140"))) == repr(found)


def test_a_certificate_varies_by_its_product_analysis():
    heat = hq.demo_heat()
    points = sample(heat_distributions(heat), 256)
    assert points.Mn.values.std() == pytest.approx(0.02, rel=0.05)
    assert points.Mn.values.mean() == pytest.approx(heat.Mn, abs=1e-3)
    assert points.V.values.min() >= 0.0  # 0.004 +- 0.01 %
    assert points.grain_size.values.std() == pytest.approx(0.5, rel=0.05)
    assert list(heat_distributions(heat, elements=["C", "grain_size"])) == ["C", "grain_size"]


def test_distributions_travel_to_other_processes():
    for distribution in (*TWO.values(), CorrelatedNormals({"C": 0.4}, [[1e-4]])):
        assert repr(pickle.loads(pickle.dumps(distribution))) == repr(distribution)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Distribution(3.0), "is not a frozen distribution of scipy.stats"),
        (lambda: Distribution(scipy.stats.norm(), units=3), "units = 3 of a Distribution is not text"),
        (lambda: Distribution.uniform(2.0, 1.0), "uniform: low = 2.0 must lie below high = 1.0"),
        (lambda: Distribution.uniform("a", 1.0), "uniform: low = 'a' must lie below"),
        (lambda: Distribution.normal(1.0, 0.0), "deviation = 0 must be above 0"),
        (lambda: Distribution.truncated_normal(0.0, 1.0, 20.0, 30.0), "holds nothing of mean 0"),
        (lambda: Distribution.lognormal(1.0, 0.2), "1.2 for 20 %"),
        (lambda: Distribution.triangular(1.0, 6.0, 5.0), "likeliest = 6 is outside 1 to 5"),
        (lambda: Distribution.factor(Insulated()), "states no relative_uncertainty"),
        (lambda: CorrelatedNormals({}, []), "must be a dict from name to mean"),
        (lambda: CorrelatedNormals({"C": 0.4}, [[1.0, 2.0]]), "is a symmetric 1 x 1 matrix"),
        (lambda: CorrelatedNormals({"a": 0, "b": 0}, [[1.0, 2.0], [2.0, 1.0]]), "has a negative eigenvalue"),
        (lambda: sample({}, 8), "must be a dict from name to Distribution"),
        (lambda: sample({"a": (1, 2)}, 8), "'a' is .1, 2.; give a Distribution"),
        (lambda: sample({**TWO, "h": CorrelatedNormals({"a": 0.0}, [[1.0]])}, 8), "a is given twice"),
        (lambda: sample(TWO, 100), "take 64 or 128, or method='latin hypercube'"),
        (lambda: sample(TWO, 96, replicates=4), "in each replicate; take 64 or 128"),
        (lambda: sample(TWO, 64, replicates=5), "replicates = 5 must divide count = 64"),
        (lambda: sample(TWO, 1.5), "count = 1.5 must be a whole number"),
        (lambda: sample(TWO, 8, "halton"), "unknown method of sampling 'halton'"),
        (lambda: sample(TWO, 8, seed=-1), "seed = -1 must be a whole number"),
        (lambda: heat_distributions(3), "is neither a Steel nor the name of a grade"),
        (lambda: heat_distributions("4140", elements=["W"]), "unknown element that varies 'W'"),
    ],
)
def test_messages(call, words):
    with pytest.raises(InputError, match=words):
        call()
