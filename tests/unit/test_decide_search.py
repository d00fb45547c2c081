"""Enough quench and largest section: answers against scans of the same simulations, outcomes, messages."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.constants import bar, milli

import heatq as hq
from heatq._roots import enclose, enclosing, root, run_side_by_side
from heatq.decide import (
    BathQuench,
    GasQuench,
    Requirement,
    answer_text,
    enough_quench,
    largest_section,
    least_pressure,
    least_velocity,
    run_quench,
    section_chart,
    sections_against_pressure,
)
from heatq.errors import InputError

STEEL = hq.grade("4340")
BAR = hq.RoundBar(0.050)
NITROGEN = GasQuench("nitrogen", velocity=20.0, pressure=5 * bar)
WANTED = Requirement(hardness_hrc=50.0)


# ------------------------------------------------------------------------------------------------ roots


@pytest.mark.parametrize("increasing", [True, False])
@pytest.mark.parametrize("guess", [0.02, 1.0, 3.0, 90.0])
@pytest.mark.parametrize(
    "shape", [lambda x: x - 3.0, lambda x: np.tanh(8.0 * np.log(x / 3.0)), lambda x: (x / 3.0) ** 9 - 1.0]
)
def test_the_root_is_enclosed_within_the_tolerance(increasing, guess, shape):
    sign = 1.0 if increasing else -1.0
    count = []

    def function(x):
        count.append(x)
        return sign * shape(x)

    found = enclose(function, (0.01, 100.0), guess, increasing, 0.01)
    assert function(found.fails) < 0.0 <= function(found.meets)
    assert abs(np.log(found.meets / found.fails)) <= 0.01 + 1e-12
    assert len(count) < 24
    assert root(function, (0.01, 100.0), guess, increasing, 1e-4) == pytest.approx(3.0, rel=1e-4)


@pytest.mark.parametrize("increasing", [True, False])
def test_no_root_ends_at_the_limit(increasing):
    meets = enclose(lambda x: 1.0, (0.5, 20.0), 3.0, increasing, 0.01)
    fails = enclose(lambda x: -1.0, (0.5, 20.0), 3.0, increasing, 0.01)
    assert np.isnan(meets.fails)
    assert np.isnan(fails.meets)
    assert meets.meets == pytest.approx(0.5 if increasing else 20.0)
    assert fails.fails == pytest.approx(20.0 if increasing else 0.5)
    assert np.isnan(root(lambda x: -1.0, (0.5, 20.0), 3.0, increasing, 0.01))


def test_zero_exactly_at_a_point_meets():
    for increasing in (True, False):
        sign = 1.0 if increasing else -1.0
        found = enclose(
            lambda x, sign=sign: sign * (np.sign(x - 1.0) if x != 1.0 else 0.0), (0.1, 10.0), 1.0, increasing, 0.01
        )
        assert found.meets == 1.0


def test_searches_side_by_side_give_what_they_give_alone():
    roots = (0.3, 3.0, 50.0, 1e4)
    seen = []

    def evaluate(points):
        seen.append(len(points))
        return [x - roots[n] for n, x in points]

    together = run_side_by_side([enclosing((0.1, 100.0), 1.0, True, 0.01) for _ in roots], evaluate)
    alone = [enclose(lambda x, r=r: x - r, (0.1, 100.0), 1.0, True, 0.01) for r in roots]
    assert seen[0] == len(roots)
    np.testing.assert_array_equal(np.array(together), np.array(alone))


# ------------------------------------------------------------------------------------------------ least setting


def centre_hardness(quench, specimen=BAR, steel=STEEL):
    return float(
        run_quench(specimen, steel, quench, probes=["centre"], second_opinions=False, accuracy=2.0).hardness_hv[0]
    )


@pytest.fixture(scope="module")
def found():
    return least_pressure(BAR, STEEL, NITROGEN, Requirement(hardness_hrc=45.0), accuracy=2.0)


def test_least_pressure_against_a_scan(found):
    """The first of 21 pressures, 2 % apart, that meets: it ends where the bracket is."""
    scan = 1.5 * bar * 1.02 ** np.arange(21)
    hv = np.array([centre_hardness(NITROGEN.replace(pressure=float(p))) for p in scan])
    first = int(np.argmax(hv >= 446.0))  # 45 HRC
    assert (np.diff(hv) > 0.0).all()
    fails, meets = found.pressure_bracket.values
    assert scan[first - 1] < meets
    assert fails < scan[first]
    assert 0.0 < np.log(meets / fails) <= 0.0101
    assert found.pressure == meets


def test_the_bracket_is_what_was_run(found):
    margin = found.bracket_margin.values
    assert margin[0] < 0.0 <= margin[1]
    tried = found.tried_pressure.values
    assert set(found.pressure_bracket.values) <= set(tried)
    assert str(found.status.values) == "found"
    assert bool(found.reachable)
    assert bool(found.is_monotone)
    assert float(found.margin[0]) == pytest.approx(margin[1], abs=1e-9)
    assert found.attrs["fixed_velocity"] == 20.0
    json.loads(found.attrs["settings"])


def test_the_range_of_the_answer_reaches_where_the_hardness_interval_says_so(found):
    low, high = found.pressure_interval.values
    assert low < float(found.pressure) < high
    assert float(found.pressure_for_confidence) == high
    chance = [
        float(Requirement(hardness_hrc=45.0).probability(
            run_quench(BAR, STEEL, NITROGEN.replace(pressure=float(p)), probes=["centre"], with_interval=True,
                       second_opinions=False)
        )[0])
        for p in (low, high)
    ]  # fmt: skip
    assert chance[0] < 0.06
    assert chance[1] > 0.94


def test_twice_the_velocity_needs_half_the_pressure(found):
    """Both enter through the Reynolds number alone."""
    other = least_pressure(BAR, STEEL, NITROGEN.replace(velocity=40.0), Requirement(hardness_hrc=45.0), confidence=None,
                           lowest=0.5 * bar)  # fmt: skip
    assert float(found.pressure / other.pressure) == pytest.approx(2.0, rel=0.02)
    back = least_velocity(
        BAR, STEEL, NITROGEN.replace(pressure=float(found.pressure)), Requirement(hardness_hrc=45.0), confidence=None
    )
    assert float(back.velocity) == pytest.approx(20.0, rel=0.02)
    assert float(back.attrs["fixed_pressure"]) == float(found.pressure)


def test_not_reachable_is_said_with_the_best_that_is():
    carbon = least_pressure(BAR, hq.grade("1045"), NITROGEN, WANTED)
    assert str(carbon.status.values) == "not reachable"
    assert not bool(carbon.reachable)
    assert np.isnan(carbon.pressure)
    assert float(carbon.judged_at) == pytest.approx(25 * bar)
    assert float(carbon.margin[0]) == pytest.approx(float(np.nanmax(carbon.tried_margin)))
    assert np.isnan(carbon.hardness_hrc[0])
    text = answer_text(carbon)
    assert "not reachable; the best is 25 bar" in text
    assert "never a release certificate" in text


def test_enough_at_the_lowest_is_said():
    easy = least_pressure(hq.RoundBar(0.010), STEEL, NITROGEN, WANTED, confidence=None)
    assert str(easy.status.values) == "enough at the lowest"
    assert float(easy.pressure) == pytest.approx(1 * bar)
    assert np.isnan(easy.pressure_bracket.sel(end="fails"))
    assert "enough at the lowest, 1 bar" in answer_text(easy)


@pytest.mark.slow
def test_gases_in_their_order():
    quick = {"confidence": None, "accuracy": 2.0, "tolerance": 0.03}
    table = enough_quench(BAR, STEEL, NITROGEN, Requirement(martensite=0.8), **quick)
    assert [str(name) for name in table.gas.values][-1] == "helium 60 % + argon 40 %"
    by = dict(zip([str(name) for name in table.gas.values], table.pressure.values, strict=True))
    assert by["argon"] > by["nitrogen"] > by["helium 60 % + argon 40 %"] > by["helium"] > by["hydrogen"]
    alone = least_pressure(BAR, STEEL, NITROGEN.replace(gas="argon"), Requirement(martensite=0.8), **quick)
    assert float(alone.pressure) == by["argon"]
    assert np.isnan(table.pressure_interval.values).all()
    assert len(answer_text(table).splitlines()) == 7


@pytest.mark.slow
def test_a_window_is_a_requirement_too():
    window = Requirement(window=hq.TimeWindow(800.0, 500.0, at_most=100.0))
    answer = least_pressure(BAR, STEEL, NITROGEN, window, accuracy=2.0)
    low, high = answer.pressure_interval.values  # of h alone, as good as: +-25 %
    assert 1.3 < high / low < 4.0
    at = run_quench(BAR, STEEL, NITROGEN.replace(pressure=float(answer.pressure)), probes=["centre"], second_opinions=False,
                    accuracy=2.0)  # fmt: skip
    assert 97.5 < float(at.cooling_time_800_500[0]) <= 100.0
    assert answer.margin.attrs["units"] == "s"
    assert np.isnan(answer.probability).all()


@pytest.mark.slow
def test_several_places_must_all_meet_it():
    both = Requirement(hardness_hrc=50.0, probes=("surface", "centre"))
    answer = least_pressure(BAR, STEEL, NITROGEN, both, confidence=None)
    one = least_pressure(BAR, STEEL, NITROGEN, WANTED, confidence=None)
    assert float(answer.pressure) == pytest.approx(float(one.pressure), rel=0.01)
    assert (answer.margin >= 0.0).all()


def test_no_monotone_margin_is_said(monkeypatch):
    from heatq.decide import search
    from heatq.decide.search import Wanted

    margins = {1.0: -5.0, 2.5: -8.0, 6.25: 1.0}

    def fake(cases, reduce, **_):
        return [margins.get(round(x, 3), x - 4.0) for (x,) in cases]

    monkeypatch.setattr(search, "run_many", fake)
    wanted = Wanted("pressure", "Pa", "", (0.5, 20.0), True, 0.5, WANTED, {})
    (one,) = search.find_settings([lambda x: (x,)], [1.0], wanted)
    assert "not monotone in the pressure" in one.notes[0]


# ------------------------------------------------------------------------------------------------ largest section


@pytest.mark.slow
def test_largest_section_and_least_pressure_are_inverse():
    section = largest_section(STEEL, NITROGEN, WANTED, confidence=None, tolerance=0.005)
    piece = hq.RoundBar(float(section.diameter))
    back = least_pressure(piece, STEEL, NITROGEN, WANTED, confidence=None, tolerance=0.005)
    assert float(back.pressure) == pytest.approx(
        5 * bar, rel=0.03
    )  # 1 % of the diameter is about 2.5 % of the pressure
    assert float(back.pressure) <= 5 * bar


@pytest.mark.slow
def test_largest_section_against_a_scan():
    section = largest_section(STEEL, NITROGEN, WANTED, confidence=None, accuracy=2.0)
    meets = [d for d in np.arange(56.0, 68.0, 1.0) if centre_hardness(NITROGEN, hq.RoundBar(d * milli)) >= 513.0]
    assert float(section.diameter) / milli == pytest.approx(max(meets) + 0.5, abs=1.0)
    assert float(section.diameter) < float(section.diameter_bracket.sel(end="fails"))


def test_sections_that_nothing_or_everything_hardens():
    none = largest_section(hq.grade("1045"), NITROGEN, WANTED, confidence=None, smallest=0.02)
    assert str(none.status.values) == "not reachable"
    assert np.isnan(none.diameter)
    every = largest_section(STEEL, NITROGEN, WANTED, confidence=None, largest=0.02)
    assert str(every.status.values) == "enough at the largest"
    assert float(every.diameter) == pytest.approx(0.02)
    assert "largest diameter" in answer_text(every)


@pytest.mark.slow
def test_the_section_in_oil_and_of_a_short_piece():
    oil = BathQuench(hq.OilBath("fast"))
    long = largest_section(STEEL, oil, WANTED, confidence=None, accuracy=2.0, tolerance=0.03)
    short = largest_section(
        STEEL,
        oil,
        WANTED,
        confidence=None,
        accuracy=4.0,
        tolerance=0.05,
        specimen=lambda d: hq.RoundBar(d, length=0.4 * d),
    )
    assert float(short.diameter) > float(long.diameter) > 0.08


def test_chart_rows_equal_single_answers():
    chart = section_chart(
        STEEL, GasQuench(), WANTED, pressures=[5 * bar, 10 * bar], velocities=[10.0, 20.0], accuracy=1.0
    )
    alone = largest_section(STEEL, NITROGEN, WANTED, confidence=None)
    assert float(chart.diameter.sel(pressure=5 * bar, velocity=20.0)) == float(alone.diameter)
    # pressure times velocity counts
    assert float(chart.diameter[0, 1]) == pytest.approx(float(chart.diameter[1, 0]), rel=0.011)
    lines = sections_against_pressure({"ours": STEEL}, NITROGEN, WANTED, pressures=[5 * bar], accuracy=1.0)
    assert float(lines.diameter[0, 0]) == float(alone.diameter)
    assert chart.diameter.attrs == {"units": "m", "long_name": "largest diameter"}


# ------------------------------------------------------------------------------------------------ messages


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: least_pressure(BAR, STEEL, BathQuench(hq.OilBath()), WANTED), "has no pressure to search for"),
        (lambda: least_pressure(BAR, STEEL, hq.OilBath(), WANTED), "is no quench"),
        (lambda: least_pressure(BAR, STEEL, NITROGEN, 50.0), "requirement = 50.0 is none"),
        (lambda: least_pressure(BAR, STEEL, NITROGEN, WANTED, lowest=10 * bar, highest=2 * bar), "must be below highest"),
        (lambda: least_pressure(BAR, STEEL, NITROGEN, WANTED, highest=25.0), "Pressures are absolute and in pascal"),
        (lambda: least_pressure(BAR, STEEL, NITROGEN, WANTED, confidence=95), "0.95, not 95"),
        (lambda: least_pressure(BAR, STEEL, NITROGEN, WANTED, tolerance=1), "It is relative"),
        (
            lambda: least_pressure(BAR, STEEL, NITROGEN, Requirement(window=hq.TimeWindow(800, 500, at_least=60.0))),
            "asks for slow cooling: the least quench",
        ),
        (
            lambda: least_pressure(BAR, STEEL, NITROGEN, Requirement(window=hq.TimeWindow(950, 500, at_most=60.0))),
            "cannot be judged at 'centre'",
        ),
        (
            lambda: least_pressure(BAR, hq.Material.constant(conductivity=30, density=7700, specific_heat=600), NITROGEN, WANTED),
            "does not transform: a decision",
        ),
        (lambda: least_pressure(BAR, hq.Steel(C=0.4, Mn=0.8), NITROGEN, WANTED), "initial_temperature is not given"),
        (lambda: least_pressure(BAR, STEEL, NITROGEN, Requirement(hardness_hrc=50, probes="core")), "unknown probe 'core'"),
        (lambda: enough_quench(BAR, STEEL, NITROGEN, WANTED, gases="nitrogen"), "give a list of at least one"),
        (lambda: enough_quench(BAR, STEEL, NITROGEN, WANTED, search="presure"), "unknown search 'presure'"),
        (lambda: largest_section(STEEL, NITROGEN, WANTED, specimen=BAR), "must make a piece from a diameter"),
        (lambda: largest_section(STEEL, NITROGEN, WANTED, smallest=0.3, largest=0.1), "must be below largest"),
        (
            lambda: largest_section(STEEL, NITROGEN, Requirement(window=hq.TimeWindow(800, 500, at_least=60.0))),
            "asks for slow cooling: the largest section",
        ),
        (
            lambda: section_chart(STEEL, BathQuench(hq.OilBath()), WANTED, pressures=[bar], velocities=[1.0]),
            "has no pressure and velocity to vary",
        ),
        (
            lambda: section_chart(STEEL, NITROGEN, WANTED, pressures=[2 * bar, bar], velocities=[1.0]),
            "pressures must rise",
        ),
        (lambda: sections_against_pressure([], NITROGEN, WANTED, pressures=[bar]), "steels: give at least one"),
        (lambda: answer_text(hq.RoundBar(0.05)), "result is not an answer"),
    ],
)  # fmt: skip
def test_messages(call, message):
    with pytest.raises(InputError, match=message):
        call()
