"""The decisions against scans, perturbed inputs, and rules of thumb, which have no source.

Trade statements (common practice, no source): in one furnace family twice the velocity raised the cooling speed by about half;
fully hardening 75 mm bars of 4140 and 4340 in nitrogen is feasible in a 10 to 20 bar chamber with about 90 m/s at the nozzles, of
4130 doubtful. How heatq compares is written at each test.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import bar, milli

import heatq as hq
from heatq.decide import (
    GasQuench,
    Requirement,
    largest_section,
    least_pressure,
    run_quench,
    section_chart,
)
from heatq.decide.runs import run_many
from heatq.hardness.interval import composition_tolerance

pytestmark = pytest.mark.slow

BAR75 = hq.RoundBar(75 * milli)


def centres(steel, quenches, piece=BAR75, what="hardness_hv"):
    return np.array(
        run_many([(piece, steel, quench) for quench in quenches], lambda r: float(r[what][0]), probes=["centre"])
    )


def martensite(result):
    return float(result.fraction.sel(phase=["martensite", "austenite"], probe="centre").sum())


def dip(grade, gas, diameter):
    """Largest fall of the hardness at the centre while the pressure rises from 1 to 25 bar, and the hardest place of it, HV."""
    steps = np.geomspace(1.0, 25.0, 25)
    hv = centres(hq.grade(grade), [GasQuench(gas, pressure=float(p) * bar) for p in steps], hq.RoundBar(diameter))
    falls = np.maximum.accumulate(hv) - hv
    return float(falls.max()), float(np.maximum.accumulate(hv)[falls.argmax()])


@pytest.mark.parametrize("grade", ["1045", "4130", "4140", "4340", "5160"])
@pytest.mark.parametrize("gas", ["nitrogen", "hydrogen"])
@pytest.mark.parametrize("diameter", [20 * milli, 75 * milli])
def test_more_pressure_never_gives_less_hardness_at_the_centre(grade, gas, diameter):
    """1 to 25 bar in steps of 14 %. Slack: 2 HV (0.1 to 0.3 HRC), what the error of a run is worth."""
    assert dip(grade, gas, diameter)[0] <= 2.0


@pytest.mark.parametrize(("gas", "diameter"), [("nitrogen", 20 * milli), ("hydrogen", 75 * milli)])
def test_the_exception_where_bainite_takes_over_from_pearlite(gas, diameter):
    """8620 in the ferrite and pearlite range: the regressions call the first bainite 0.2 % C softer than fine pearlite.

    A fall of 6 to 9 HV from 207 to 214 HV (far below 20 HRC), the same with a fifth of the error: it is the hardness formulas,
    not the solver. A search for a requirement there says that the margin is not monotone.
    """
    fall, level = dip("8620", gas, diameter)
    assert 3.0 < fall < 10.0
    assert level < 220.0


@pytest.mark.parametrize(("grade", "diameter", "wanted"), [
    ("4340", 75.0, Requirement(hardness_hrc=50.0)),
    ("4140", 40.0, Requirement(martensite=0.5)),
    ("42CrMo4", 30.0, Requirement(hardness_hv=450.0, probes=("mid-radius", "centre"))),
    ("4140", 30.0, Requirement(window=hq.TimeWindow(800.0, 500.0, at_most=45.0))),
])  # fmt: skip
def test_least_pressure_against_a_scan(grade, diameter, wanted):
    piece, steel, quench = hq.RoundBar(diameter * milli), hq.grade(grade), GasQuench(velocity=20.0)
    found = least_pressure(piece, steel, quench, wanted, confidence=None)
    scan = np.geomspace(1.0, 25.0, 162)[1:-1] * bar  # 2 % apart
    margin = np.array(
        run_many(
            [(piece, steel, quench.replace(pressure=float(p))) for p in scan],
            lambda r: float(wanted.margin(r).min()),
            probes=list(wanted.probes),
        )
    )
    assert (margin < 0.0).any()
    first = scan[int(np.argmax(margin >= 0.0))]
    assert float(found.pressure) == pytest.approx(first, rel=0.021)
    assert float(found.pressure) <= first * 1.0101


@pytest.mark.parametrize(
    ("grade", "gas"), [("4140", "helium"), ("4340", "nitrogen"), ("4340", "argon"), ("42CrMo4", "hydrogen")]
)
def test_largest_section_and_least_pressure_are_inverse(grade, gas):
    """The section of the least pressure of a section: the same within both tolerances (0.5 % each) and the slack of runs."""
    size = 50 * milli if grade == "4340" else 25 * milli
    steel, wanted, start = hq.grade(grade), Requirement(martensite=0.8), hq.RoundBar(size)
    tight = {"tolerance": 0.005, "confidence": None}
    pressure = least_pressure(start, steel, GasQuench(gas), wanted, **tight)
    assert str(pressure.status.values) == "found"
    back = largest_section(steel, GasQuench(gas, pressure=float(pressure.pressure)), wanted, **tight)
    assert float(back.diameter) == pytest.approx(size, rel=0.008)


def test_the_chart_rises_with_pressure_and_velocity():
    chart = section_chart(
        hq.grade("4340"), GasQuench(), Requirement(martensite=0.9), pressures=np.array([1.0, 4.0, 20.0]) * bar,
        velocities=[5.0, 20.0, 60.0],
    )  # fmt: skip
    assert (chart.diameter.diff("pressure") > 0.0).all()
    assert (chart.diameter.diff("velocity") > 0.0).all()
    # equal products of pressure and velocity, equal sections: 4 bar at 5 m/s and 1 bar at 20 m/s
    assert float(chart.diameter[1, 0]) == pytest.approx(float(chart.diameter[0, 1]), rel=0.011)


def perturbed(steel, quench, rng):
    """A heat and a quench drawn from what the interval counts as two standard deviations; h by its factor."""
    tolerance, _ = composition_tolerance(steel)
    changed = {
        name: max(float(getattr(steel, name)) + 0.5 * two * rng.normal(), 1.0 if name == "grain_size" else 0.0)
        for name, two in tolerance.items()
    }
    h = float(np.exp(0.5 * quench.relative_uncertainty * rng.normal()))
    return steel.replace(**changed), quench.replace(factor=h)


@pytest.mark.parametrize(("grade", "wanted", "diameter"), [("4340", 45.0, 60.0), ("4140", 40.0, 30.0)])
def test_the_range_of_the_answer_covers_perturbed_inputs(grade, wanted, diameter):
    """25 draws of chemistry, grain and h: of the true least pressures, nine in ten lie in the range of the answer.

    The range also holds the error of the model, which cannot be drawn here, so it must cover more than its 90 %, not less. With 60
    draws 95 and 98 % lay inside; of the hardness interval alone (40 draws), looked at from setting to setting, only 80 and 68 % did, since at
    one setting far from the transition zone it sees no way into it. That is why the searches are repeated with changed inputs.
    """
    steel, quench, piece = hq.grade(grade), GasQuench(velocity=20.0, pressure=4 * bar), hq.RoundBar(diameter * milli)
    limits = {"lowest": 0.2 * bar, "highest": 60 * bar}
    answer = least_pressure(piece, steel, quench, Requirement(hardness_hrc=wanted), **limits)
    low, high = answer.pressure_interval.values
    rng = np.random.default_rng(20260725)
    draws = []
    for _ in range(25):
        heat, other = perturbed(steel, quench, rng)
        one = least_pressure(
            piece,
            heat,
            other,
            Requirement(hardness_hrc=wanted),
            confidence=None,
            tolerance=0.05,
            accuracy=4.0,
            **limits,
        )
        reached = float(one.pressure)
        draws.append(np.inf if np.isnan(reached) else reached)
    draws = np.array(draws)
    low, high = np.nan_to_num(low, nan=0.0), np.nan_to_num(high, nan=np.inf)
    inside = float(np.mean((draws >= low) & (draws <= high)))
    assert inside >= 0.9
    assert high / low < 15.0  # not idle either
    assert float(np.quantile(draws, 0.5)) == pytest.approx(float(answer.pressure), rel=0.35)


# ------------------------------------------------------------------------------------------------ trade


@pytest.mark.parametrize("velocity", [10.0, 20.0, 30.0])
def test_twice_the_velocity_cools_75_mm_about_half_faster(velocity):
    """Said: about half. heatq, nitrogen 10 bar across 75 mm, radiation included."""
    rates = centres(
        hq.grade("4340"),
        [GasQuench(pressure=10 * bar, velocity=v) for v in (velocity, 2.0 * velocity)],
        what="cooling_time_800_500",
    )
    assert 1.3 < rates[0] / rates[1] < 1.6


#: Velocity at the piece, m/s: with 90 m/s at the nozzles of a chamber the free stream between the pieces has a third to a half of
#: it or less; nothing that heatq knows gives the ratio, so both ends are judged and 90 m/s as the impossible best.
LOCAL = (20.0, 45.0, 90.0)


def fully(grade, pressure, velocity, kinetics="published"):
    quench = GasQuench(pressure=pressure * bar, velocity=velocity)
    result = run_quench(BAR75, hq.grade(grade), quench, probes=["centre"], kinetics=kinetics, second_opinions=False)
    return martensite(result), float(result.hardness_hrc[0])


def test_4340_hardens_through_75_mm_as_practice_has_it():
    """Said: feasible at 10 to 20 bar. heatq: 83 to 95 % martensite and 51.6 to 53.6 HRC at 10 to 20 bar, 20 to 30 m/s: agrees.

    With the calibrated kinetics less (44 to 83 %, 46 to 52 HRC at 20 to 30 m/s): agrees at 20 bar or 45 m/s and more.
    """
    for pressure in (10.0, 20.0):
        part, hrc = fully("4340", pressure, LOCAL[0])
        assert part > 0.8
        assert hrc > 51.0
    assert fully("4340", 20.0, LOCAL[1], "calibrated")[0] > 0.85
    assert fully("4340", 10.0, LOCAL[0], "calibrated")[0] < 0.5


def test_4140_does_not_harden_through_75_mm_as_practice_has_it():
    """Said: feasible. heatq disagrees for the middle of the grade: 66 % martensite and 49 HRC at 20 bar and 45 m/s, 82 % at 90 m/s.

    Why, as far as it can be told: the middle of the grade is meant (a heat at the upper end of every element has far more), and
    'fully hardened' in the shop is a hardness, often half martensite, which the middle has from 21 bar at 30 m/s, 14 at 45 on.
    """
    assert fully("4140", 20.0, LOCAL[1])[0] == pytest.approx(0.66, abs=0.05)
    assert fully("4140", 20.0, LOCAL[2])[0] < 0.9
    half = least_pressure(
        BAR75, hq.grade("4140"), GasQuench(velocity=LOCAL[1]), Requirement(martensite=0.5), confidence=None
    )
    assert 12.0 < float(half.pressure) / bar < 16.0
    upper = hq.grade("4140").replace(**{name: high for name, (_, high) in hq.grade_ranges("4140").items()})
    quench = GasQuench(pressure=20 * bar, velocity=LOCAL[1])
    rich = run_quench(BAR75, upper, quench, probes=["centre"], second_opinions=False)
    assert martensite(rich) > 0.9


def test_4130_is_doubtful_as_practice_has_it():
    """heatq: not doubtful but out of reach, no martensite in the centre of 75 mm even at 20 bar and 90 m/s."""
    part, _ = fully("4130", 20.0, LOCAL[2])
    assert part < 0.02
    largest = largest_section(
        hq.grade("4130"), GasQuench(pressure=20 * bar, velocity=LOCAL[1]), Requirement(martensite=0.5), confidence=None
    )
    assert float(largest.diameter) < 40 * milli
