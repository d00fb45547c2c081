"""User-supplied diagrams: isothermal laws reproduce themselves, additivity, bookkeeping, messages."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

import heatq as hq
from heatq.errors import InputError
from heatq.transformation.by_critical_velocity import fractions_by_critical_velocity
from heatq.transformation.user_kinetics import TransformationCurve, UserKinetics, transform_with

JUMP = 1e-9
STEEL = hq.grade("1075")


def history(points):
    time, temperature = np.array(points, dtype=float).T
    return xr.Dataset({"temperature": (("time", "probe"), temperature[:, None])}, coords={"time": time, "probe": ["a"]})


def held(temperature, times):
    """A drop from 850 degC in no time, and a hold with the given times as samples."""
    return history([(0.0, 850.0), (JUMP, temperature), *((JUMP + t, temperature) for t in times)])


def cooled(rate, start=850.0):
    time = np.linspace(0.0, (start - 20.0) / rate, 900)
    return history(np.stack([time, start - rate * time], axis=1))


def share(result, phase):
    return result["fraction_history"].sel(phase=phase, probe="a").values


TIMES = np.array([1.0, 2.0, 5.0, 10.0, 30.0, 100.0])


@pytest.mark.parametrize("n", [0.5, 1.0, 2.3, 4.0])
def test_an_isothermal_jmak_law_reproduces_itself(n):
    curve = TransformationCurve.from_jmak([500.0, 600.0, 700.0], b=[1e-3, 1e-2, 1e-5], n=n)
    for level in (500.0, 563.0, 600.0, 671.0):
        found = share(transform_with(held(level, TIMES), STEEL, UserKinetics(pearlite=curve, ms=100.0)), "pearlite")[2:]
        np.testing.assert_allclose(found, curve.share(level, TIMES), rtol=1e-8, atol=1e-12)


def test_start_and_finish_points_come_out_where_they_were_put_in():
    curve = TransformationCurve.from_points(
        [(700, 30.0), (650, 4.0), (600, 1.0), (560, 2.0)], [(700, 900.0), (600, 9.0), (560, 20.0)]
    )
    for level, start, finish in ((700.0, 30.0, 900.0), (600.0, 1.0, 9.0), (560.0, 2.0, 20.0)):
        times = [0.99 * start, 1.001 * start, finish]
        found = share(transform_with(held(level, times), STEEL, UserKinetics(pearlite=curve, ms=100.0)), "pearlite")[2:]
        assert found[0] == 0.0
        assert found[1:] == pytest.approx([0.01, 0.99], abs=3e-5)


def test_jmak_with_incubation_starts_counting_after_it():
    curve = TransformationCurve.from_jmak([500.0, 700.0], b=[1e-2, 1e-2], n=2.0, incubation=[4.0, 4.0])
    found = share(
        transform_with(held(600.0, [3.9, 5.0, 14.0]), STEEL, UserKinetics(pearlite=curve, ms=100.0)), "pearlite"
    )
    np.testing.assert_allclose(found[2:], -np.expm1(-1e-2 * np.array([0.0, 1.0, 10.0]) ** 2), atol=1e-9)


def two_steps(first, second):
    (t1, level1), (t2, level2) = first, second
    return history(
        [(0.0, 850.0), (JUMP, level1), (JUMP + t1, level1), (2 * JUMP + t1, level2), (2 * JUMP + t1 + t2, level2)]
    )


def test_two_steps_are_continued_with_the_fictitious_time():
    """X is continuous, the clock is not: after t1 at 650 the law at 550 goes on from t* = (-ln(1 - X)/b)^(1/n)."""
    curve = TransformationCurve.from_jmak([550.0, 650.0], b=[1e-2, 1e-4], n=[2.0, 3.0])
    run = transform_with(two_steps((12.0, 650.0), (6.0, 550.0)), STEEL, UserKinetics(pearlite=curve, ms=100.0))
    middle = -np.expm1(-1e-4 * 12.0**3)
    past = (-np.log1p(-middle) / 1e-2) ** 0.5
    assert share(run, "pearlite")[2] == pytest.approx(middle, rel=1e-6)
    assert share(run, "pearlite")[-1] == pytest.approx(-np.expm1(-1e-2 * (past + 6.0) ** 2), rel=1e-6)


def test_incubation_adds_by_scheil():
    """Half the incubation at one temperature leaves half of it at the other."""
    curve = TransformationCurve.from_jmak([550.0, 650.0], b=[1e-2, 1e-2], n=1.0, incubation=[4.0, 40.0])
    kinetics = UserKinetics(pearlite=curve, ms=100.0)
    assert share(transform_with(two_steps((20.0, 650.0), (1.99, 550.0)), STEEL, kinetics), "pearlite")[-1] == 0.0
    found = share(transform_with(two_steps((20.0, 650.0), (7.0, 550.0)), STEEL, kinetics), "pearlite")[-1]
    assert found == pytest.approx(-np.expm1(-1e-2 * 5.0), rel=1e-6)


def test_one_exponent_is_isokinetic_so_cooling_follows_the_integral():
    """With constant n, X = 1 - exp(-(integral of b^(1/n) dt)^n) along any path."""
    curve = TransformationCurve.from_jmak(
        np.arange(500.0, 701.0), b=np.exp(-0.0004 * (np.arange(201) - 100.0) ** 2 - 6), n=2.5
    )
    run = transform_with(cooled(4.0), STEEL, UserKinetics(pearlite=curve, ms=100.0), largest_change=0.25)
    level = np.linspace(500.0, 700.0, 200001)
    speed = np.exp(np.interp(level, curve.temperature, curve.log_b)) ** (1 / 2.5)
    y = np.trapezoid(speed, level) / 4.0 if hasattr(np, "trapezoid") else np.trapz(speed, level) / 4.0  # noqa: NPY201
    assert float(run["fraction"].sel(phase="pearlite")[0]) == pytest.approx(-np.expm1(-(y**2.5)), rel=2e-4)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.floats(20.0, 900.0), st.floats(0.5, 2000.0)), min_size=1, max_size=6),
)
def test_fractions_stay_between_0_and_1_and_sum_to_1(segments):
    nose = TransformationCurve.from_points(
        [(720, 900.0), (600, 1.0), (540, 2.0)], [(720, 9000.0), (600, 9.0), (540, 30.0)]
    )
    upper = TransformationCurve.from_jmak([600.0, 780.0], b=[1e-2, 1e-5], n=1.5)
    lower = TransformationCurve.from_jmak([300.0, 540.0], b=[1e-4, 1e-2], n=2.0, incubation=[20.0, 5.0])
    kinetics = UserKinetics(ferrite=upper, pearlite=nose, bainite=lower, ms=280.0)
    points, now = [(0.0, 860.0)], 0.0
    for temperature, duration in segments:
        now += duration
        points.append((now, temperature))
    along = transform_with(history(points), hq.grade("1045"), kinetics)["fraction_history"]
    assert float(along.min()) >= 0.0
    np.testing.assert_allclose(along.sum("phase"), 1.0, rtol=1e-12)
    assert float(along.sel(phase=["ferrite", "pearlite", "bainite", "martensite"]).diff("time").min()) >= -1e-12


def test_half_the_step_changes_little():
    nose = TransformationCurve.from_points(
        [(720, 900.0), (600, 1.0), (540, 2.0)], [(720, 9000.0), (600, 9.0), (540, 30.0)]
    )
    for rate in (5.0, 20.0, 60.0):
        one, half = (
            transform_with(cooled(rate), STEEL, UserKinetics(pearlite=nose, ms=210.0), largest_change=step)["fraction"]
            for step in (1.0, 0.5)
        )
        assert float(abs(one - half).max()) < 0.005


def test_the_built_in_model_as_curves_is_near_the_built_in_model():
    """Another shape of the law (Avrami through 5 and 95 %) along the same rates: at most 0.1 in any fraction."""
    for name in ("1045", "4140", "4340"):
        steel = hq.grade(name)
        kinetics = UserKinetics(
            **{p: TransformationCurve.from_model(steel, p) for p in ("ferrite", "pearlite", "bainite")}
        )
        for rate in (0.3, 3.0, 30.0):
            own = transform_with(cooled(rate), steel, kinetics)["fraction"]
            assert float(abs(own - hq.transform(cooled(rate), steel)["fraction"]).max()) < 0.1, (name, rate)


def test_the_result_goes_into_the_hardness():
    curve = TransformationCurve.from_points([(700, 30.0), (600, 1.0)], [(700, 300.0), (600, 9.0)])
    run = transform_with(cooled(20.0), STEEL, UserKinetics(pearlite=curve, ms=210.0, source="our dilatometer"))
    assert "our dilatometer" in run.attrs["kinetics"]
    with hq.errors.hold_validity():
        hard = hq.hardness_of(run, STEEL)
    assert 200.0 < float(hard["hardness_hv"][0]) < 900.0


def test_ferrite_stops_at_its_limit():
    curve = TransformationCurve.from_jmak([600.0, 780.0], b=[1.0, 1.0], n=2.0)
    for given_limit, expected in ((0.3, 0.3), (None, 0.38)):
        kinetics = UserKinetics(ferrite=curve, ms=100.0, ferrite_limit=given_limit)
        found = share(transform_with(held(650.0, [100.0]), hq.grade("1045"), kinetics), "ferrite")[-1]
        assert found == pytest.approx(expected, abs=0.03)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: TransformationCurve.from_points([(600, 10.0), (700, 20.0)], [(600, 1.0), (700, 2.0)]),
            "been exchanged",
        ),
        (lambda: TransformationCurve.from_points([(600, 1.0)], [(600, 2.0), (700, 2.0)]), "at least two pairs"),
        (lambda: TransformationCurve.from_points([(600, 1), (700, 1)], [(400, 9), (500, 9)]), "share no range"),
        (lambda: TransformationCurve.from_points([(600, 1), (700, 1)], [(600, 9), (700, 9)], start_share=1), "not 1 %"),
        (lambda: TransformationCurve.from_jmak([600.0, 700.0], b=[1e-2], n=2.0), "one per temperature"),
        (lambda: TransformationCurve.from_jmak([600.0, 700.0], b=[1e-2, -1.0], n=2.0), "b must be finite positive"),
        (lambda: TransformationCurve.from_jmak([700.0, 600.0], b=[1e-2, 1e-2], n=2.0), "increasing"),
        (lambda: TransformationCurve.from_jmak([600.0, 700.0], b=[1e-2, 1e-2], n=20.0), "Avrami exponents"),
        (lambda: UserKinetics(pearlite="fast"), "is not a TransformationCurve"),
        (lambda: UserKinetics(ms=1200.0), "ms = 1200"),
        (lambda: UserKinetics(ferrite_limit=40.0), "not a percentage"),
        (lambda: transform_with(cooled(5.0), STEEL, "mine"), "is not a UserKinetics"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(InputError, match=message):
        call()


# ------------------------------------------------------------------------------------------- critical velocities


def test_critical_velocities_give_the_schema_of_transform():
    steel = hq.Steel(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21)
    theirs, ours = fractions_by_critical_velocity(cooled(14.0), steel), hq.transform(cooled(14.0), steel)
    assert set(ours.data_vars) - set(theirs.data_vars) == {"fraction_history", "cooling_rate_800_700"}
    assert theirs["fraction"].dims == ours["fraction"].dims
    assert float(theirs["fraction"].sum()) == pytest.approx(1.0)
    assert float(theirs["fraction"].sel(phase="martensite")[0]) == pytest.approx(0.51, abs=0.03)  # V1(50) is 13.7 K/s
    assert bool(theirs["is_in_range"])


def test_outside_its_range_it_says_so():
    found = fractions_by_critical_velocity(cooled(14.0), hq.grade("1045"))
    assert np.isnan(found["fraction"]).all()
    assert not bool(found["is_in_range"])
    assert "1.2 %" in found.attrs["reason"]
    with pytest.warns(hq.ValidityWarning, match="Maynier"):
        found = fractions_by_critical_velocity(cooled(14.0), hq.grade("1045"), out_of_range="compute")
    assert np.isfinite(found["fraction"]).all()


def test_a_probe_that_never_passes_700_degrees_has_no_structure():
    assert np.isnan(
        fractions_by_critical_velocity(history([(0.0, 860.0), (10.0, 720.0)]), hq.grade("4140"))["fraction"]
    ).all()
