"""Water properties against IAPWS, boiling pieces against `ht` and printed values, the water jet and the water bath."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import atm, mega, zero_Celsius

from heatq.boundaries import WaterBath, WaterJet
from heatq.boundaries.boiling import (
    critical_flux_monde_jet,
    critical_flux_zuber,
    film_boiling_bromley,
    minimum_flux_berenson,
    nucleate_flux_rohsenow,
    rewetting_temperature_henry,
    subcooling_factor_ivey_morris,
    subcooling_factor_kutateladze,
    subcooling_factor_zuber,
)
from heatq.boundaries.water import SATURATED, liquid_water, steam
from heatq.errors import InputError, ValidityWarning
from heatq.specimens import EndQuenchBar, RoundBar

iapws = pytest.importorskip("iapws")
ht = pytest.importorskip("ht")


@pytest.fixture(scope="module")
def liquid():
    return iapws.IAPWS97(P=atm / mega, x=0)


@pytest.fixture(scope="module")
def vapour():
    return iapws.IAPWS97(P=atm / mega, x=1)


def test_saturation_against_iapws(liquid, vapour):
    assert SATURATED.temperature == pytest.approx(liquid.T - zero_Celsius, abs=0.01)
    assert SATURATED.liquid_density == pytest.approx(liquid.rho, rel=1e-4)
    assert SATURATED.vapour_density == pytest.approx(vapour.rho, rel=5e-4)
    assert SATURATED.latent_heat == pytest.approx((vapour.h - liquid.h) * 1e3, rel=2e-4)
    assert SATURATED.surface_tension == pytest.approx(liquid.sigma, rel=1e-3)
    assert SATURATED.liquid_conductivity == pytest.approx(liquid.k, rel=4e-3)
    assert SATURATED.liquid_viscosity == pytest.approx(liquid.mu, rel=2e-3)
    assert SATURATED.liquid_specific_heat == pytest.approx(liquid.cp * 1e3, rel=1e-3)
    assert SATURATED.vapour_conductivity == pytest.approx(vapour.k, rel=0.02)
    assert SATURATED.vapour_viscosity == pytest.approx(vapour.mu, rel=5e-3)
    assert SATURATED.vapour_specific_heat == pytest.approx(vapour.cp * 1e3, rel=5e-3)


@pytest.mark.parametrize("temperature", [5.0, 24.0, 45.0, 60.0, 80.0, 98.0])
def test_liquid_against_iapws(temperature):
    theirs, ours = iapws.IAPWS97(P=atm / mega, T=temperature + zero_Celsius), liquid_water(temperature)
    assert float(ours.density) == pytest.approx(theirs.rho, rel=4e-4)
    assert float(ours.viscosity) == pytest.approx(theirs.mu, rel=5e-3)
    assert float(ours.conductivity) == pytest.approx(theirs.k, rel=5e-3)
    assert float(ours.specific_heat) == pytest.approx(theirs.cp * 1e3, rel=1e-3)
    assert float(ours.expansion) == pytest.approx(theirs.alfav, abs=6e-6)


@pytest.mark.parametrize("temperature", [150.0, 300.0, 475.0, 600.0, 750.0])
def test_steam_against_iapws(temperature):
    theirs, ours = iapws.IAPWS97(P=atm / mega, T=temperature + zero_Celsius), steam(temperature)
    assert float(ours.density) == pytest.approx(theirs.rho, rel=2e-3)
    assert float(ours.viscosity) == pytest.approx(theirs.mu, rel=3e-3)
    assert float(ours.conductivity) == pytest.approx(theirs.k, rel=1e-2)
    assert float(ours.specific_heat) == pytest.approx(theirs.cp * 1e3, rel=1e-2)


def test_critical_flux():
    ours = critical_flux_zuber()
    assert ours / 1e6 == pytest.approx(1.108, abs=5e-4)
    s = SATURATED
    theirs = ht.boiling_nucleic.Zuber(
        s.surface_tension, s.latent_heat, s.liquid_density, s.vapour_density, K=np.pi / 24
    )
    assert ours == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize(
    ("temperature", "factor", "flux"),
    [(20, 4.79, 5.31), (24, 4.60, 5.10), (40, 3.84, 4.26), (60, 2.89, 3.21), (80, 1.95, 2.16)],
)
def test_subcooled_critical_flux(temperature, factor, flux):
    # computed from CoolProp's saturated water with T_sat = 100 degC; ours is 99.97: half a digit more room
    ours = float(subcooling_factor_ivey_morris(SATURATED.temperature - temperature))
    assert ours == pytest.approx(factor, abs=0.0075)
    assert critical_flux_zuber() * ours / 1e6 == pytest.approx(flux, abs=0.0105)


def test_other_subcooling_factors_and_the_jet_limit():
    rise = SATURATED.temperature - 24.0
    assert float(subcooling_factor_zuber(rise)) == pytest.approx(4.96, abs=0.01)
    assert float(subcooling_factor_kutateladze(rise)) == pytest.approx(4.38, abs=0.01)
    assert critical_flux_monde_jet(1.0, 0.0134, 0.0254) / 1e6 == pytest.approx(4.91, abs=0.005)
    assert minimum_flux_berenson() / 1e3 == pytest.approx(19.0, abs=0.05)


@pytest.mark.parametrize("superheat", [3.0, 10.0, 25.0])
def test_rohsenow_against_ht(superheat):
    s = SATURATED
    h = ht.boiling_nucleic.Rohsenow(
        rhol=s.liquid_density, rhog=s.vapour_density, mul=s.liquid_viscosity, kl=s.liquid_conductivity,
        Cpl=s.liquid_specific_heat, Hvap=s.latent_heat, sigma=s.surface_tension, Te=superheat, Csf=0.0132, n=1.0,
    )  # fmt: skip
    assert float(nucleate_flux_rohsenow(superheat)) == pytest.approx(h * superheat, rel=1e-9)


def test_rohsenow_incropera_example_10_1():
    # saturated water of the book's table: q'' = 836 kW/m2 at 18 K, C_sf 0.0128, Pr 1.76
    book = SATURATED._replace(
        liquid_density=957.9, vapour_density=0.5955, latent_heat=2257e3, surface_tension=58.9e-3,
        liquid_viscosity=279e-6, liquid_specific_heat=4217.0,
    )  # fmt: skip
    assert float(nucleate_flux_rohsenow(18.0, 0.0128, book, prandtl=1.76)) / 1e3 == pytest.approx(836, abs=0.5)


def test_rohsenow_kreith_example_10_1():
    # the book prints 29 669; its data (latent heat rounded to 2.25 MJ/kg) give 28 674, 3.4 % less; see the docstring
    book = SATURATED._replace(
        liquid_density=962.0, vapour_density=0.5977, latent_heat=2.25e6, surface_tension=58.8e-3,
        liquid_viscosity=2.77e-4, liquid_specific_heat=4211.0,
    )  # fmt: skip
    assert float(nucleate_flux_rohsenow(6.0, 0.0132, book, prandtl=1.75)) == pytest.approx(28674, rel=1e-3)


def test_film_boiling():
    hot = np.array([500.0, 700.0, 850.0])
    bare = film_boiling_bromley(hot, 0.0254, emissivity=0.0)
    assert bare == pytest.approx([158, 159, 163], abs=0.6)
    total = film_boiling_bromley(hot, 0.0254, emissivity=0.8)
    assert total == pytest.approx([187, 211, 238], abs=0.6)
    # the root really solves h^(4/3) = h_c^(4/3) + h_r h^(1/3)
    radiation = (
        0.8
        * 5.670374e-8
        * ((hot + 273.15) ** 4 - (SATURATED.temperature + 273.15) ** 4)
        / (hot - SATURATED.temperature)
    )
    assert total ** (4 / 3) == pytest.approx(bare ** (4 / 3) + radiation * total ** (1 / 3), rel=1e-6)


def test_henry_rises_with_subcooling():
    values = rewetting_temperature_henry(np.array([90.0, 60.0, 24.0]))
    assert (np.diff(values) > 0).all()


def test_jet_of_the_standard():
    jet = WaterJet(temperature=24.0)
    assert jet.plateau / 1e6 == pytest.approx(5.10, abs=0.01)
    assert jet.impact_velocity == pytest.approx(0.998, abs=1e-3)
    assert jet.impact_diameter == pytest.approx(13.43e-3, abs=5e-6)
    assert 7.4e3 < jet.single_phase_coefficient < 7.6e3


def test_jet_flux_by_regime():
    jet = WaterJet(temperature=24.0)
    flux = jet.heat_flux(np.array([4.0, 24.0, 64.0, 99.0, 800.0, 1200.0]))
    h = jet.single_phase_coefficient
    assert flux[:4] == pytest.approx([-20 * h, 0.0, 40 * h, 75 * h])
    assert flux[4] == flux[5] == jet.plateau
    surface = np.linspace(0.0, 1200.0, 4001)
    assert (np.diff(jet.heat_flux(surface)) >= 0.0).all()


def test_colder_water_carries_more():
    hot = np.array([700.0])
    fluxes = [WaterJet(temperature=t).heat_flux(hot)[0] for t in (10.0, 20.0, 30.0)]
    assert fluxes[0] > fluxes[1] > fluxes[2]
    # 10 to 30 degC moves the limit by about 18 %
    assert fluxes[2] / fluxes[0] == pytest.approx(0.82, abs=0.02)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"temperature": 96.0}, "temperature = 96 degC is outside 0 to 95"),
        ({"temperature": 75.0 * 1.8 + 32.0}, "degF"),
        ({"orifice_diameter": 12.7}, "orifice_diameter = 12.7 m"),
        ({"orifice_diameter": 0.0}, "orifice_diameter = 0"),
        ({"free_height": 0.01}, "does not reach the bar"),
    ],
)
def test_bad_jet(arguments, message):
    with pytest.raises(InputError, match=message):
        WaterJet(**arguments)


def test_warm_water_is_said():
    with pytest.warns(ValidityWarning, match="water temperature = 70 degC"):
        WaterJet(temperature=70.0).heat_flux(np.array([500.0]))


def test_bath_curve_is_continuous_and_has_one_peak():
    bath = WaterBath(temperature=24.0, velocity=0.5, diameter=0.05)
    surface = np.linspace(0.0, 1200.0, 24001)
    flux = bath.heat_flux(surface)
    peak = int(np.argmax(flux))
    assert flux.max() == pytest.approx(bath.critical_flux, rel=1e-3)
    assert surface[peak] == pytest.approx(bath.critical_temperature, abs=0.1)
    assert (np.diff(flux[: peak + 1]) > 0).all()
    between = (surface > bath.critical_temperature) & (surface < bath.rewetting_temperature)
    assert (np.diff(flux[between]) < 0).all()
    for edge in (bath.critical_temperature, bath.rewetting_temperature):
        below, above = bath.heat_flux(np.array([edge - 1e-6, edge + 1e-6]))
        assert above == pytest.approx(below, rel=1e-4)


def test_bath_peak_coefficient_is_near_the_published_one():
    # steel probes in cold water: 9 to 14 kW/m2K near 200 to 300 degC (from memory); the object states +-50 %
    bath = WaterBath(temperature=25.0, diameter=0.05, length=0.2)
    surface = np.array([200.0, 300.0])
    h = bath.heat_flux(surface) / (surface - 25.0)
    assert (h > 7e3).all()
    assert (h < 21e3).all()


def test_bath_moves_and_warms():
    hot = np.array([850.0])
    still, moving = (WaterBath(25.0, v, diameter=0.05).heat_flux(hot)[0] for v in (0.0, 1.0))
    assert moving > 1.5 * still
    assert WaterBath(60.0, diameter=0.05).rewetting_temperature < WaterBath(25.0, diameter=0.05).rewetting_temperature
    assert WaterBath(25.0, rewetting=500.0, diameter=0.05).rewetting_temperature == 500.0
    assert WaterBath(25.0, rewetting="henry", diameter=0.05).rewetting_temperature == pytest.approx(376, abs=1)


def test_bath_takes_its_sizes_from_the_piece():
    bath = WaterBath(25.0).for_piece(RoundBar(diameter=0.05, length=0.3), "side")
    assert (bath.diameter, bath.length) == (0.05, 0.3)
    assert WaterBath(25.0).for_piece(RoundBar(diameter=0.05), "side").length is None
    assert WaterBath(25.0, diameter=0.02).for_piece(EndQuenchBar(), "jet").diameter == 0.02
    with pytest.raises(InputError, match="WaterBath needs diameter"):
        WaterBath(25.0).heat_flux(np.array([100.0]))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"temperature": 100.5}, "liquid"),
        ({"velocity": -1.0}, "velocity = -1"),
        ({"rewetting": "leiden"}, "unknown rewetting"),
        ({"rewetting": 80.0}, "rewetting = 80"),
        ({"emissivity": 1.2}, "emissivity = 1.2"),
        ({"surface_constant": 0.5}, "surface_constant"),
    ],
)
def test_bad_bath(arguments, message):
    with pytest.raises(InputError, match=message):
        WaterBath(**arguments)


def test_bath_without_room_for_a_film():
    with pytest.raises(InputError, match="below the critical point"):
        WaterBath(95.0, rewetting=150.0, surface_constant=0.05, diameter=0.05).heat_flux(np.array([300.0]))
