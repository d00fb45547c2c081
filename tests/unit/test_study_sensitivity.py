"""Sobol' indices against exact ones, against scipy's, with failed cases, and through a study."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
import xarray as xr

from heatq.errors import InputError
from heatq.studies.sampling import CorrelatedNormals, Distribution
from heatq.studies.sensitivity import estimate_indices, indices_of, saltelli_sample, sobol_indices

ANGLE = Distribution.uniform(-np.pi, np.pi, units="1")
THREE = {"x1": ANGLE, "x2": ANGLE, "x3": ANGLE}
A, B = 7.0, 0.1


def ishigami(x1, x2, x3):
    return np.sin(x1) + A * np.sin(x2) ** 2 + B * x3**4 * np.sin(x1)


def exact_indices():
    """Closed form of T. Ishigami and T. Homma (1990): partial variances of the three terms."""
    first = 0.5 * (1.0 + B * np.pi**4 / 5.0) ** 2
    second = A**2 / 8.0
    together = B**2 * np.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    total = first + second + together
    return np.array([first, second, 0.0]) / total, np.array([first + together, second, together]) / total


def finished(count, seed=0):
    points = saltelli_sample(THREE, count, seed=seed)
    values = ishigami(*(points[name].values for name in THREE))
    points["y"] = ("case", values, {"units": "HV", "long_name": "result"})
    return points


def test_the_closed_form_is_the_published_one():
    first, total = exact_indices()
    assert first == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)


def test_ishigami():
    """Errors fall with the points, faster than one over the root of their number."""
    first, total = exact_indices()
    errors = []
    for count in (256, 4096):
        runs = [indices_of(finished(count, seed)) for seed in range(3)]
        miss = [np.abs(np.r_[run.y_first_order.values - first, run.y_total.values - total]) for run in runs]
        errors.append(np.mean(miss))
    assert np.max(miss) < 0.03
    assert errors[0] / errors[1] > 6.0


def test_intervals_hold_the_exact_indices():
    first, total = exact_indices()
    held = []
    for seed in range(12):
        run = indices_of(finished(128, seed))
        for exact, bounds in ((first, run.y_first_order_interval), (total, run.y_total_interval)):
            held.append((bounds[0].values <= exact) & (exact <= bounds[1].values))
            assert np.all(bounds[0] <= bounds[1])
    assert np.mean(held) > 0.9


def test_estimators_against_scipy():
    runs = ishigami(*(saltelli_sample(THREE, 128)[name].values for name in THREE)).reshape(5, 128)
    first, total = estimate_indices(runs[0], runs[1], runs[2:])
    reference = scipy.stats.sobol_indices(func={"f_A": runs[:1], "f_B": runs[1:2], "f_AB": runs[2:, None, :]}, n=128)
    assert first == pytest.approx(reference.first_order, abs=1e-10)
    assert total == pytest.approx(reference.total_order, abs=1e-10)


def test_a_result_that_does_not_vary_hangs_on_nothing():
    points = saltelli_sample(THREE, 16)
    points["y"] = ("case", np.full(80, 3.0), {"units": "HV"})
    assert indices_of(points).y_total.values.tolist() == [0.0, 0.0, 0.0]


def test_points_of_failed_cases_are_left_out():
    study = finished(256)
    status = np.full(study.sizes["case"], "ok", dtype="U6")
    status[[3, 300, 300 + 256]] = "failed"  # points 3, 44 and 44
    values = study.y.values.copy()
    values[status == "failed"] = np.nan
    study["y"] = ("case", values, study.y.attrs)
    study["status"] = ("case", status)
    run = indices_of(study)
    assert int(run.y_points) == 254
    assert run.attrs["failed"] == 3
    assert run.y_total.values == pytest.approx(exact_indices()[1], abs=0.1)


def test_the_sample_and_its_mixtures():
    points = saltelli_sample(THREE, 8)
    assert points.sizes["case"] == 8 * 5
    blocks = np.stack([points[name].values.reshape(5, 8) for name in THREE])
    for k in range(3):
        for other in range(3):
            assert np.array_equal(blocks[other, 2 + k], blocks[other, 1 if other == k else 0])
    assert saltelli_sample(THREE, 8).identical(points)


def test_sobol_indices_in_one_call():
    def build(x1, x2, x3):
        return xr.Dataset({"y": ((), ishigami(x1, x2, x3), {"units": "HV"})})

    run = sobol_indices(build, THREE, 64, progress=False)
    study = finished(64)
    assert run.y_total.values == pytest.approx(indices_of(study).y_total.values, abs=1e-12)
    assert run.parameter.values.tolist() == ["x1", "x2", "x3"]
    assert all("units" in run[name].attrs and "long_name" in run[name].attrs for name in run.variables)


def hrc():
    study = finished(16)
    values = study.y.values.copy()
    values[5] = np.nan
    study["y"] = ("case", values, {"units": "HRC"})
    return study


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: saltelli_sample({"x1": ANGLE}, 8), "only 'x1' varies"),
        (lambda: saltelli_sample({**THREE, "h": CorrelatedNormals({"C": 0.4}, [[1.0]])}, 8), "'h' is correlated"),
        (lambda: saltelli_sample(THREE, 100), "take 64 or 128"),
        (lambda: indices_of(finished(8).isel(case=slice(39))), "are not 5 blocks of equal size"),
        (lambda: indices_of(finished(8).assign_attrs(parameters=None)), "the study does not name them"),
        (lambda: indices_of(finished(8), ["x1", "q"]), "the study has no coordinate 'q'"),
        (lambda: indices_of(hrc()), "is below 20 HRC, where that scale ends, in 1 of 16 points"),
        (lambda: indices_of(finished(2)), "only 2 of 2 points came to an end"),
        (lambda: indices_of(finished(8), confidence=95.0), "0.95, not 95"),
    ],
)
def test_messages(call, words):
    with pytest.raises(InputError, match=words):
        call()
