"""Published cases against their passports, and for each a counter-test: the same case, wrapped, must fail."""

import checks
import numpy as np
import pytest

import heatq as hq

PASSPORT_KEYS = {
    "title", "source", "where", "how_obtained", "quantity", "tolerance_reason", "known_deviation",
}  # fmt: skip


def failures(found):
    return [f"{c.quantity}: {c.achieved:.4g} {c.unit}, allowed {c.allowed:g}" for c in found if not c.passed]


@pytest.mark.parametrize("case", [*checks.ALL, "gas_against_water"])
def test_passport_is_complete(case):
    assert set(checks.passport(case)) >= PASSPORT_KEYS


@pytest.mark.slow
@pytest.mark.parametrize("case", checks.ALL)
def test_case(case):
    found = checks.ALL[case]()
    assert found
    assert not failures(found)


def test_not_a_number_never_passes():
    assert not checks.Check("x", 1.0, np.nan, "").passed
    assert not checks.Check("x", 1.0, np.nan, "", at_least=True).passed


def test_cooling_rates_notice_a_weaker_plateau():
    """A fifth less critical heat flux: J1 and J2 leave their tolerances, positions that conduction governs do not move."""
    deviation = checks.rate_deviation(checks.cooling_rates(plateau=0.8, quick=True))
    allowed = checks.passport("cooling_rates")["tolerance"]
    assert abs(deviation[checks.RATE_POSITIONS == 1][0]) > allowed["ends"]
    assert abs(deviation[checks.RATE_POSITIONS == 2][0]) > allowed["middle"]
    assert failures(checks.rate_checks(checks.cooling_rates(plateau=0.8, quick=True)))
    far = checks.RATE_POSITIONS >= 8
    ratio = checks.cooling_rates(plateau=0.8, quick=True)[far] / checks.cooling_rates(quick=True)[far]
    assert ratio == pytest.approx(1.0, abs=0.02)


def test_cooling_rates_notice_an_unprotected_side():
    """A black side instead of a protected one takes J24 and J32 out of their tolerance."""
    assert failures(checks.rate_checks(checks.cooling_rates(emissivity=0.9, quick=True)))


def test_cooling_rates_move_as_they_should():
    base = checks.cooling_rates(quick=True)
    near, far = checks.RATE_POSITIONS <= 2, checks.RATE_POSITIONS >= 24
    assert (checks.cooling_rates(water_temperature=30.0, quick=True)[near] < 0.96 * base[near]).all()
    assert checks.cooling_rates(water_temperature=30.0, quick=True)[far] == pytest.approx(base[far], rel=0.01)
    assert (checks.cooling_rates(emissivity=0.8, quick=True)[far] > 1.1 * base[far]).all()
    assert checks.cooling_rates(emissivity=0.8, quick=True)[near] == pytest.approx(base[near], rel=0.02)


@pytest.mark.parametrize(("grade", "other"), [("4140H", "4130H"), ("4130H", "4140H"), ("1045H", "5160H")])
def test_bands_notice_another_grade(grade, other):
    """The hardness of another grade fails the rms and the share inside of this grade's band."""
    assert len(failures(checks.band_checks([checks.band(grade, other)]))) == 2


def test_normalized_rounds_notice_a_fan():
    """Moving air of 200 W/m2K in place of still air takes the mean deviation out of its tolerance."""
    assert failures(checks.round_checks(checks.rounds(hq.Convection(200.0, 25.0))))


@pytest.mark.slow
@pytest.mark.parametrize("heat", ["middle", "rich"])
def test_nitrogen_against_water_keeps_the_order_of_the_grades(heat):
    """Common practice: 4340 loses least and 4130 most when nitrogen replaces water. No number is known to hold it to."""
    setup = checks.passport("gas_against_water")["setup"]
    loss = [checks.compare(grade, heat).at(setup["positions"]).shortfall for grade in setup["grades"]]
    at_the_end = [float(s[0]) for s in loss]
    mean = [float(s.mean()) for s in loss]
    assert at_the_end == sorted(at_the_end)
    assert mean == sorted(mean)


def test_slower_nitrogen_is_softer():
    for share in checks.passport("gas_against_water")["setup"]["slower"]:
        assert (checks.compare("4140", "middle", share).gas < checks.compare("4140", "middle").gas).all()
