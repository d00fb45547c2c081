"""Rules of thumb for gas quenches, and how far heatq agrees."""

from __future__ import annotations

import checks
import media_checks
import pytest

GASES = ("nitrogen", "argon", "helium", "hydrogen")


@pytest.fixture
def rule():
    return checks.passport("trade_quench")["rule"]


@pytest.fixture
def setup():
    return checks.passport("trade_quench")["setup"]


@pytest.mark.parametrize("pressure", [2.0, 6.0, 10.0])
@pytest.mark.parametrize("velocity", [10.0, 20.0])
def test_twice_the_velocity_cools_half_faster(rule, setup, pressure, velocity):
    slow = media_checks.gas_quench("nitrogen", velocity, pressure, setup["diameter_mm"])[0]
    fast = media_checks.gas_quench("nitrogen", 2.0 * velocity, pressure, setup["diameter_mm"])[0]
    assert fast / slow == pytest.approx(rule["twice_the_velocity"], abs=rule["twice_the_velocity_slack"])


@pytest.mark.parametrize("velocity", [10.0, 20.0])
def test_twice_the_velocity_needs_half_the_pressure(rule, velocity):
    """Velocity and pressure enter through the Reynolds number alone, so 10 bar is worth exactly 5 bar at twice v."""
    found = media_checks.equal_pressure(velocity, 10.0, 75.0)
    low, high = rule["equal_pressure_bar"]
    assert low <= found <= high + 0.02
    assert found == pytest.approx(5.0, abs=0.02)


@pytest.mark.parametrize("gas", GASES)
@pytest.mark.parametrize("pressure", [1.0, 6.0, 10.0, 20.0])
@pytest.mark.parametrize("velocity", [10.0, 20.0, 40.0])
def test_pressure_and_velocity_have_one_exponent(gas, pressure, velocity):
    by_velocity = media_checks.exponent(gas, velocity, pressure, 25.0)
    assert by_velocity == pytest.approx(media_checks.exponent(gas, velocity, pressure, 25.0, by="pressure"), abs=1e-6)
    assert 0.49 < by_velocity < 0.79


@pytest.mark.parametrize(("pressure", "velocity"), [(6.0, 20.0), (6.0, 40.0), (10.0, 10.0), (10.0, 20.0), (20.0, 10.0)])
def test_exponent_of_nitrogen_where_it_is_quoted(rule, pressure, velocity):
    """25 mm bars at customary pressures and velocities: n between 0.6 and 0.75. Outside it leaves them, see the passport."""
    low, high = rule["exponent"]
    assert low <= media_checks.exponent("nitrogen", velocity, pressure, 25.0) <= high


def test_ranking_of_the_gases(setup):
    for diameter in (25.0, 75.0):
        rates = [
            media_checks.gas_quench(gas, 20.0, 10.0, diameter)[0] for gas in ("argon", "nitrogen", "helium", "hydrogen")
        ]
        assert rates == sorted(rates)


def test_helium_against_nitrogen(rule):
    """Said: 40 % faster at 10 bar, bar size unknown. heatq: 55 % at 25 mm, 33 % at 75 mm; the statement lies between."""
    thin, thick = (
        media_checks.gas_quench("helium", 20.0, 10.0, d)[0] / media_checks.gas_quench("nitrogen", 20.0, 10.0, d)[0]
        for d in (25.0, 75.0)
    )
    assert thick < rule["helium_to_nitrogen"] < thin
    assert (thin, thick) == pytest.approx((1.55, 1.33), abs=0.04)


def test_hydrogen_is_further_ahead_than_the_rule(rule):
    """A known deviation: 68 % and 26 % ahead of nitrogen and helium at 75 mm, where the rules have 50 and 17 %."""
    hydrogen, helium, nitrogen = (
        media_checks.gas_quench(g, 20.0, 10.0, 75.0)[0] for g in ("hydrogen", "helium", "nitrogen")
    )
    assert hydrogen / nitrogen == pytest.approx(1.68, abs=0.04)
    assert hydrogen / helium == pytest.approx(1.26, abs=0.03)
    assert hydrogen / nitrogen > rule["hydrogen_to_nitrogen"]
    assert hydrogen / helium > rule["hydrogen_to_helium"]
