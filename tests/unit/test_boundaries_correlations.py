"""Nusselt correlations against the `ht` library and printed worked examples; gas boundaries against computed tables."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import bar, inch, mph

from heatq.boundaries import GasAlong, GasBank, GasBasket, GasCrossflow, GasJet, StillAir, for_piece
from heatq.boundaries.forced import (
    bank_maximum_velocity,
    nusselt_bank_zukauskas,
    nusselt_cylinder_churchill_bernstein,
    nusselt_cylinder_hilpert,
    nusselt_cylinder_zukauskas,
    nusselt_packed_bed_gnielinski,
    nusselt_plate_blended,
    nusselt_plate_laminar,
    nusselt_plate_mixed,
    nusselt_plate_turbulent,
)
from heatq.boundaries.jets import (
    nusselt_jet_array_martin,
    nusselt_jet_combined,
    nusselt_jet_goldstein,
    nusselt_jet_huang,
    nusselt_jet_huang_local,
    nusselt_jet_lytle_webb,
    nusselt_jet_martin,
    nusselt_jet_stagnation,
)
from heatq.boundaries.natural import (
    nusselt_horizontal_cylinder,
    nusselt_horizontal_plate_down,
    nusselt_horizontal_plate_up,
    nusselt_vertical_plate,
    thin_cylinder_factor,
)
from heatq.errors import InputError, ValidityWarning, hold_validity
from heatq.specimens import EndQuenchBar, RoundBar, Tube

ht = pytest.importorskip("ht")

REYNOLDS = [50.0, 500.0, 5e3, 5e4, 2.5e5, 9e5]


@pytest.mark.parametrize("re", REYNOLDS)
@pytest.mark.parametrize("pr", [0.67, 0.71, 5.0])
def test_cylinder_against_ht(re, pr):
    ours = float(nusselt_cylinder_churchill_bernstein(re, pr))
    assert ours == pytest.approx(ht.conv_external.Nu_cylinder_Churchill_Bernstein(re, pr), rel=1e-6)
    theirs = ht.conv_external.Nu_cylinder_Zukauskas(re, pr, pr)
    assert float(nusselt_cylinder_zukauskas(re, pr, pr)) == pytest.approx(theirs, rel=1e-9)


def test_cylinder_incropera_example_7_4():
    # 12.7 mm cylinder in 10 m/s air; h printed: 105, 96.0, 88; to half the last digit
    assert float(nusselt_cylinder_zukauskas(7992, 0.707, 0.690)) * 0.0263 / 0.0127 == pytest.approx(105, abs=0.5)
    assert float(nusselt_cylinder_churchill_bernstein(6071, 0.700)) * 0.030 / 0.0127 == pytest.approx(96.0, abs=0.05)
    assert float(nusselt_cylinder_hilpert(6071, 0.700)) * 0.030 / 0.0127 == pytest.approx(88, abs=0.5)


@pytest.mark.parametrize(
    ("re", "values"),
    [(1e4, (53.6, 57.5, 51.0)), (1e5, (215, 229, 255)), (4e5 - 1, (587, 559, None)), (1e6 - 1, (1234, 1061, None))],
)
def test_cylinder_spread(re, values):
    ours = (
        nusselt_cylinder_churchill_bernstein(re, 0.71),
        nusselt_cylinder_zukauskas(re, 0.71),
        None if values[2] is None else nusselt_cylinder_hilpert(re, 0.71),
    )
    for mine, theirs in zip(ours, values, strict=True):
        if theirs is not None:
            assert float(mine) == pytest.approx(theirs, rel=3e-3)


@pytest.mark.parametrize("re", [6e5, 1e6, 5e6])
def test_plate_against_ht(re):
    assert float(nusselt_plate_turbulent(re, 0.71)) == pytest.approx(
        ht.conv_external.Nu_horizontal_plate_turbulent_Schlichting(re, 0.71), rel=1e-9
    )
    assert float(nusselt_plate_laminar(1e5, 0.71)) == pytest.approx(
        ht.conv_external.Nu_horizontal_plate_laminar_Baehr(1e5, 0.71), rel=5e-3
    )


def test_plate_examples():
    assert float(nusselt_plate_mixed(1e6, 0.71)) == pytest.approx(1305.6, abs=0.05)
    assert float(nusselt_plate_mixed(3.6364e6, 0.705)) * 0.026 / 2 == pytest.approx(65.793, abs=0.003)
    # Incropera, Example 7.1: Re 9597, h 4.18 W/m2K, 570 W per metre of width on 0.5 m, 273 K apart; from memory
    h = float(nusselt_plate_laminar(9597.0, 0.687)) * 0.0364 / 0.5
    assert h == pytest.approx(4.18, abs=0.005)
    laminar, turbulent = float(nusselt_plate_laminar(5e5, 0.71)), float(nusselt_plate_turbulent(5e5, 0.71))
    assert float(nusselt_plate_blended(5e5, 0.71)) == pytest.approx(np.hypot(laminar, turbulent))


def test_bank():
    # Incropera, Example 7.6: S_T 31.3, S_L 34.3; V_max 12.6 m/s and Re 13943 follow from these and not from the reverse
    assert bank_maximum_velocity(6.0, 0.0164, 0.0313, 0.0343, True) == pytest.approx(12.6, abs=0.05)
    ours = float(nusselt_bank_zukauskas(13943, 0.71, 0.70, rows=7, pitch_ratio=31.3 / 34.3))
    # the book rounds C1 = 0.3437 to 0.34 and prints Nu 87.9, h 135.6; undo that rounding: within half a digit
    assert ours * 0.34 / (0.35 * (31.3 / 34.3) ** 0.2) == pytest.approx(87.9, abs=0.1)
    # `ht` uses other row factors (fits to the chart): 1 %
    theirs = ht.conv_tube_bank.Nu_Zukauskas_Bejan(
        Re=13943, Pr=0.71, tube_rows=7, pitch_parallel=0.0343, pitch_normal=0.0313, Pr_wall=0.70
    )
    assert ours == pytest.approx(theirs, rel=0.01)
    for staggered in (True, False):
        few, many = (nusselt_bank_zukauskas(1e4, 0.71, rows=n, staggered=staggered) for n in (2, 25))
        assert few < many
    with pytest.raises(InputError, match="no gap"):
        bank_maximum_velocity(6.0, 0.03, 0.025, 0.05, True)
    with pytest.raises(InputError, match="diagonal"):
        bank_maximum_velocity(6.0, 0.03, 0.031, 0.005, True)


@pytest.mark.parametrize("re", [50.0, 2e3, 5e4, 1.9e5, 5e5])
@pytest.mark.parametrize("staggered", [True, False])
def test_bank_against_ht(re, staggered):
    # `ht` counts equal pitches as aligned. Its constants (Bejan) are ours between Re 1e3 and 2e5; elsewhere they are
    # another fit to the same chart: 10 to 16 %. Its range 100 to 1000 is left out: the exponent there reads 0.05.
    normal = 0.06 if staggered else 0.05
    ours = float(nusselt_bank_zukauskas(re, 0.71, 0.70, rows=30, staggered=staggered, pitch_ratio=normal / 0.05))
    theirs = ht.conv_tube_bank.Nu_Zukauskas_Bejan(re, 0.71, 30, 0.05, normal, 0.70)
    assert ours == pytest.approx(theirs, rel=1e-9 if 1e3 < re < 2e5 else 0.16)


def test_packed_bed_against_ht():
    args = {"dp": 8e-4, "voidage": 0.4, "vs": 1.0, "rho": 1e3, "mu": 1e-3, "Pr": 0.7}
    theirs = ht.conv_packed_bed.Nu_packed_bed_Gnielinski(**args)
    assert float(nusselt_packed_bed_gnielinski(8e-4 * 1e6 / 0.4, 0.7, 0.4)) == pytest.approx(theirs, rel=1e-12)
    assert theirs == pytest.approx(61.37823202546954, rel=1e-12)


@pytest.mark.parametrize("gr", [1e4, 1e7, 1e9])
def test_natural_convection_against_ht(gr):
    free = ht.conv_free_immersed
    pr = 0.70
    assert float(nusselt_vertical_plate(gr * pr, pr)) == pytest.approx(
        free.Nu_vertical_plate_Churchill(pr, gr), rel=1e-9
    )
    assert float(nusselt_horizontal_cylinder(gr * pr, pr)) == pytest.approx(
        free.Nu_horizontal_cylinder_Churchill_Chu(pr, gr), rel=1e-9
    )
    slender = float(nusselt_vertical_plate(gr * pr, pr) * thin_cylinder_factor(gr, pr, 4.0))
    assert slender == pytest.approx(free.Nu_vertical_cylinder_Popiel_Churchill(pr, gr, 4.0, 1.0), rel=1e-9)
    up, down = (free.Nu_horizontal_plate_McAdams(pr, gr, hot) for hot in (True, False))
    # between Ra 4.7e6 and 1e7 ours is up to 6 % above the source's step
    assert float(nusselt_horizontal_plate_up(gr * pr)) == pytest.approx(up, rel=0.06 if gr == 1e7 else 1e-9)
    assert float(nusselt_horizontal_plate_down(gr * pr)) == pytest.approx(down, rel=1e-9)


def test_vertical_plate_incropera_example_9_2():
    nu = float(nusselt_vertical_plate(1.813e9, 0.690))
    assert nu == pytest.approx(147, abs=0.5)
    assert nu * 0.0338 / 0.71 == pytest.approx(7.0, abs=0.05)


#: Re -> Lytle & Webb, Huang & El-Genk, Goldstein, laminar stagnation at r/D = H/D = 1, Pr 0.71, computed elsewhere.
JETS = {2.5e4: (136, 98, 66, 105), 5e4: (202, 166, 111, 149), 1e5: (300, 282, 189, 210), 4e5: (662, 808, 541, 421)}


@pytest.mark.parametrize("re", JETS)
def test_jet_formulas(re):
    with hold_validity():
        ours = (
            nusselt_jet_lytle_webb(re, 1.0, 1.0),
            nusselt_jet_huang(re, 0.71, 1.0, 1.0),
            nusselt_jet_goldstein(re, 1.0, 1.0),
            nusselt_jet_stagnation(re, 0.71),
        )
    for mine, theirs in zip(ours, JETS[re], strict=True):
        assert float(mine) == pytest.approx(theirs, abs=0.6)


def test_martin_turns_negative_and_is_refused_near_the_nozzle():
    for radius, height in ((1.0, 2.0), (1.1, 2.0), (2.4, 4.0), (3.0, 1.0)):
        with pytest.raises(InputError, match="turns negative"):
            nusselt_jet_martin(5e4, 0.71, radius, height)
    # away from it: the compact form with Ar = D^2/(4 r^2)
    root = np.sqrt(1.0 / (4 * 4.0**2))
    geometry = 2 * root * (1 - 2.2 * root) / (1 + 0.2 * (6.0 - 6.0) * root)
    other = geometry * 2 * np.sqrt(5e4 * (1 + 0.005 * 5e4**0.55)) * 0.71**0.42
    assert float(nusselt_jet_martin(5e4, 0.71, 4.0, 6.0)) == pytest.approx(other, rel=1e-12)


def test_combined_jet_follows_its_sources_and_is_smooth():
    re = np.geomspace(3.7e3, 5.9e4, 400)
    nu = nusselt_jet_combined(re, 0.71, 1.0, 1.0)
    low, high = re < 1.24e4, re > 5.01e4
    assert np.allclose(nu[low], nusselt_jet_lytle_webb(re[low], 1.0, 1.0))
    assert np.allclose(nu[high], nusselt_jet_huang(re[high], 0.71, 1.0, 1.0))
    slope = np.diff(np.log(nu)) / np.diff(np.log(re))
    assert (slope > 0.1).all()
    assert (slope < 1.0).all()
    assert float(nusselt_jet_combined(2e4, 0.71, 4.0, 2.0)) == pytest.approx(
        float(nusselt_jet_huang(2e4, 0.71, 4.0, 2.0))
    )


def test_local_jet_has_the_published_mean():
    x = np.linspace(0.0, 3.0, 3001)
    local = nusselt_jet_huang_local(3e4, 0.71, x, 2.0)
    mean = 2.0 / 3.0**2 * np.trapezoid(local * x, x)
    assert mean == pytest.approx(float(nusselt_jet_huang(3e4, 0.71, 3.0, 2.0)), rel=1e-5)
    assert (nusselt_jet_huang_local(3e4, 0.71, np.linspace(0, 10, 101), 2.0) > 0).all()


def test_jet_array():
    assert float(nusselt_jet_array_martin(2e4, 0.71, 0.02, 4.0)) > float(nusselt_jet_array_martin(1e4, 0.71, 0.02, 4.0))
    with pytest.raises(InputError, match="nozzle area over the face area"):
        nusselt_jet_array_martin(1e4, 0.71, 0.25, 4.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: nusselt_cylinder_churchill_bernstein(2e7, 0.7), "Churchill-Bernstein: Re"),
        (lambda: nusselt_cylinder_zukauskas(2e6, 0.7), "Zukauskas cylinder: Re"),
        (lambda: nusselt_cylinder_hilpert(5e5, 0.7), "Hilpert: Re"),
        (lambda: nusselt_plate_laminar(6e5, 0.7), "laminar plate: Re"),
        (lambda: nusselt_plate_turbulent(1e5, 0.7), "turbulent plate: Re"),
        (lambda: nusselt_plate_mixed(2e8, 0.7), "mixed plate: Re"),
        (lambda: nusselt_plate_blended(2e7, 0.7), "blended plate: Re"),
        (lambda: nusselt_bank_zukauskas(3e6, 0.7), "Zukauskas bank: Re"),
        (lambda: nusselt_packed_bed_gnielinski(3e4, 0.7, 0.4), "packed bed: Re"),
        (lambda: nusselt_jet_lytle_webb(4e4, 1.0, 1.0), "Lytle-Webb jet: Re"),
        (lambda: nusselt_jet_huang(7e4, 0.7, 1.0, 1.0), "Huang-El-Genk jet: Re"),
        (lambda: nusselt_jet_goldstein(5e4, 1.0, 7.0), "Goldstein jet: Re"),
        (lambda: nusselt_jet_martin(5e5, 0.7, 4.0, 4.0), "Martin jet: Re"),
        (lambda: nusselt_jet_combined(1e5, 0.7, 1.0, 1.0), "gas jet: Re"),
        (lambda: nusselt_jet_array_martin(2e5, 0.7, 0.02, 4.0), "Martin jet array: Re"),
        (lambda: nusselt_vertical_plate(1e13, 0.7), "Churchill-Chu plate: Ra"),
    ],
)
def test_one_step_outside_the_range_is_said(call, message):
    with pytest.warns(ValidityWarning, match=message):
        call()


@pytest.mark.parametrize("formula", [nusselt_jet_huang, nusselt_jet_huang_local, nusselt_jet_combined])
def test_jets_refuse_faces_where_the_polynomial_turns(formula):
    """Beyond r/D = 12 the fit of Huang & El-Genk rises again, and it is negative from r/D = 15 on."""
    with hold_validity(), pytest.raises(InputError, match="r/D = 15 is beyond 12.*wider nozzle_diameter"):
        formula(3e4, 0.71, 15.0, 1.0)


#: Bar of 25 mm, gas 60 degC, surface 600 degC, 20 m/s; h by Churchill-Bernstein (film), Zukauskas (gas), plate 0.1 m
#: (mixed formula), computed once elsewhere from CoolProp's properties.
CROSS = {
    ("nitrogen", 1): (93, 115, 51),
    ("nitrogen", 6): (267, 339, 126),
    ("nitrogen", 10): (372, 471, 163),
    ("nitrogen", 20): (600, 774, 392),
    ("argon", 10): (261, 345, 113),
    ("helium", 10): (594, 779, 325),
    ("hydrogen", 20): (1170, 1551, 603),
}


@pytest.mark.parametrize(("gas", "pressure"), CROSS)
def test_gas_across_and_along(gas, pressure):
    stream = {"gas": gas, "velocity": 20.0, "pressure": pressure * bar, "temperature": 60.0}
    surface = np.array([600.0])
    churchill, zukauskas, plate = CROSS[gas, pressure]
    with hold_validity():
        ours = (
            GasCrossflow(**stream, diameter=0.025).coefficient(surface)[0],
            GasCrossflow(**stream, diameter=0.025, correlation="zukauskas").coefficient(surface)[0],
            GasAlong(**stream, length=0.1, correlation="mixed").coefficient(surface)[0],
        )
    # closed-form gas properties against CoolProp's: 1 % (3 % at 20 bar); the wall Prandtl number adds 1 % for Zukauskas
    allowed = 0.03 if pressure == 20 else 0.02
    assert ours[0] == pytest.approx(churchill, rel=allowed)
    assert ours[1] == pytest.approx(zukauskas, rel=allowed)
    assert ours[2] == pytest.approx(plate, rel=allowed)


def test_helium_beats_nitrogen_and_exponents():
    def h(gas, velocity, pressure):
        return GasCrossflow(gas, velocity, pressure * bar, 60.0, diameter=0.025).coefficient(np.array([600.0]))[0]

    assert 1.3 < h("helium", 20.0, 10) / h("nitrogen", 20.0, 10) < 1.9
    for pressure, velocity in ((6, 20.0), (10, 50.0), (12, 20.0)):
        n_velocity = np.log(h("nitrogen", 2 * velocity, pressure) / h("nitrogen", velocity, pressure)) / np.log(2)
        n_pressure = np.log(h("nitrogen", velocity, 2 * pressure) / h("nitrogen", velocity, pressure)) / np.log(2)
        assert n_velocity == pytest.approx(n_pressure, rel=1e-9)  # p and v act through Re alone
        assert 0.6 <= n_velocity <= 0.78


def test_turbulence_factor_multiplies():
    one, more = (
        GasCrossflow("nitrogen", 20.0, bar, 25.0, diameter=0.05, turbulence_factor=f).coefficient(np.array([700.0]))[0]
        for f in (1.0, 1.4)
    )
    assert more == pytest.approx(1.4 * one)


def test_trade_jet_is_far_from_water():
    # 200 mph nitrogen at one atmosphere on the end of the bar: published correlations give 300 to 600 W/m2K
    jet = for_piece(GasJet("nitrogen", velocity=200 * mph, pressure=bar, temperature=25.0), EndQuenchBar(), "jet")
    h = jet.coefficient(np.array([300.0, 800.0]))
    assert (h > 300).all()
    assert (h < 600).all()


def test_jet_correlations_within_their_spread():
    surface = np.array([600.0])
    with hold_validity():
        values = [
            GasJet("nitrogen", 60.0, bar, 25.0, face_diameter=inch, correlation=name).coefficient(surface)[0]
            for name in ("combined", "huang", "lytle-webb", "stagnation")
        ]
    assert max(values) / min(values) < 1.35 / 0.65
    with pytest.raises(InputError, match="turns negative"):
        GasJet("nitrogen", 60.0, bar, 25.0, face_diameter=inch, correlation="martin")


def test_jet_profile_keeps_the_mean():
    jet = GasJet("nitrogen", 60.0, bar, 25.0, face_diameter=inch, profile=True)
    r = np.linspace(0.0, inch / 2, 201)
    factors = np.array([jet.at(float(x)).factor for x in r])
    assert factors[0] > 1.0 > factors[-1]
    assert 2.0 / (inch / 2) ** 2 * np.trapezoid(factors * r, r) == pytest.approx(1.0, rel=1e-4)
    flat = GasJet("nitrogen", 60.0, bar, 25.0, face_diameter=inch)
    assert flat.at(0.005) is flat


def test_sizes_come_from_the_piece():
    bar_ = EndQuenchBar()
    assert GasJet("argon", 30.0, bar, 25.0).for_piece(bar_, "jet").face_diameter == pytest.approx(inch)
    cross = GasCrossflow("argon", 30.0, bar, 25.0)
    assert cross.for_piece(bar_, "side").diameter == pytest.approx(inch)
    end = cross.for_piece(bar_, "top")
    assert isinstance(end, GasAlong)
    assert end.length == pytest.approx(inch)
    along = GasAlong("argon", 30.0, bar, 25.0)
    assert along.for_piece(bar_, "side").length == pytest.approx(4 * inch)
    assert along.for_piece(Tube(outer_diameter=0.06, inner_diameter=0.03, length=0.2), "bore").length == 0.2
    bank = GasBank("argon", 5.0, bar, 25.0, transverse_pitch=0.06, longitudinal_pitch=0.06)
    assert bank.for_piece(bar_, "side").diameter == pytest.approx(inch)
    assert isinstance(bank.for_piece(bar_, "top"), GasAlong)
    basket = GasBasket("argon", 2.0, bar, 25.0).for_piece(bar_, "side")
    assert np.pi * basket.diameter**2 == pytest.approx(2 * np.pi * (inch / 2) * (inch / 2 + 4 * inch))


def test_a_given_size_is_kept():
    assert GasCrossflow("argon", 30.0, bar, 25.0, diameter=0.1).for_piece(EndQuenchBar(), "side").diameter == 0.1


def test_still_air_by_face():
    standing, lying = EndQuenchBar(), RoundBar(diameter=0.05)
    air = StillAir(24.0)
    assert [air.for_piece(standing, face).surface for face in ("jet", "side", "top")] == [
        "facing down",
        "vertical cylinder",
        "facing up",
    ]
    assert air.for_piece(lying, "side").surface == "horizontal cylinder"
    assert StillAir(24.0, axis="horizontal").for_piece(standing, "top").surface == "vertical plate"
    tube = Tube(outer_diameter=0.06, inner_diameter=0.03, length=0.2)
    assert air.for_piece(tube, "bore").diameter == pytest.approx(0.03)


@pytest.mark.parametrize(
    ("surface", "plate", "thin"),
    [(150, 7.9, 9.0), (300, 9.0, 10.3), (500, 9.6, 11.0), (704, 9.8, 11.5), (845, 9.9, 11.7)],
)
def test_still_air_on_the_end_quench_bar(surface, plate, thin):
    # computed once elsewhere for the side of the standard bar in air of 24 degC; half the last digit plus the air fit
    args = {"temperature": 24.0, "length": 0.1016, "diameter": 0.0254}
    hot = np.array([float(surface)])
    assert StillAir(surface="vertical plate", **args).coefficient(hot)[0] == pytest.approx(plate, abs=0.12)
    assert StillAir(surface="vertical cylinder", **args).coefficient(hot)[0] == pytest.approx(thin, abs=0.15)


def test_cold_piece_in_hot_air_mirrors():
    up = StillAir(600.0, surface="facing up", diameter=0.05)
    down = StillAir(600.0, surface="facing down", diameter=0.05)
    cold = np.array([20.0])
    assert -up.heat_flux(cold)[0] < -down.heat_flux(cold)[0]  # a cold face sheds its air downwards
    assert up.heat_flux(cold)[0] < 0


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: GasCrossflow("nitrogen", 20.0, -1e6, 25.0), r"pressure = -1e\+06"),
        (lambda: GasCrossflow("nitrogen", 20.0, 10.0, 25.0), r"10\*bar"),
        (lambda: GasCrossflow("nitrogen", 3600.0, bar, 25.0), r"velocity = 3600 m/s.*mph"),
        (lambda: GasCrossflow("nitrogen", -5.0, bar, 25.0), "velocity = -5"),
        (lambda: GasCrossflow("nitrogen", 0.0, bar, 25.0), "velocity = 0"),
        (lambda: GasCrossflow("neon", 20.0, bar, 25.0), "unknown gas 'neon'"),
        (lambda: GasCrossflow({"hydrogen": 0.5, "air": 0.5}, 20.0, bar, 25.0), "hydrogen with air"),
        (lambda: GasCrossflow("nitrogen", 20.0, bar, 1500.0), "temperature = 1500"),
        (lambda: GasCrossflow("nitrogen", 20.0, bar, 25.0, correlation="bernstein"), "unknown correlation"),
        (lambda: GasCrossflow("nitrogen", 20.0, bar, 25.0, diameter=25.0), "25 mm write 0.025"),
        (lambda: GasCrossflow("nitrogen", 20.0, bar, 25.0, turbulence_factor=0.0), "turbulence_factor"),
        (lambda: GasJet("nitrogen", 20.0, bar, 25.0, nozzle_diameter=0.0), "nozzle_diameter = 0"),
        (lambda: GasJet("nitrogen", 20.0, bar, 25.0, standoff=-0.01), "standoff = -0.01"),
        (lambda: GasCrossflow("nitrogen", 20.0, bar, 25.0).heat_flux(np.array([500.0])), "needs diameter"),
        (lambda: GasAlong("nitrogen", 20.0, bar, 25.0).heat_flux(np.array([500.0])), "needs length"),
        (lambda: GasJet("nitrogen", 20.0, bar, 25.0).heat_flux(np.array([500.0])), "needs face_diameter"),
        (lambda: StillAir().heat_flux(np.array([500.0])), "does not know the piece"),
        (lambda: GasJet("nitrogen", 20.0, bar, 25.0).for_piece(EndQuenchBar(), "side"), "flat end"),
        (lambda: GasAlong("nitrogen", 20.0, bar, 25.0).for_piece(RoundBar(diameter=0.05), "side"), "long bar"),
        (lambda: GasBasket("nitrogen", 2.0, bar, 25.0).for_piece(RoundBar(diameter=0.05), "side"), "finite length"),
        (
            lambda: GasCrossflow("nitrogen", 20.0, bar, 25.0).for_piece(
                Tube(outer_diameter=0.06, inner_diameter=0.03), "bore"
            ),
            "bore",
        ),
        (lambda: GasCrossflow("nitrogen", 20.0, bar, 25.0).for_piece(EndQuenchBar(), "botom"), "unknown face"),
        (lambda: StillAir(axis="upright"), "unknown axis"),
        (lambda: GasBank("argon", 5.0, bar, 25.0), "transverse_pitch = 0"),
    ],
)
def test_bad_gas_flow(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_still_air_with_a_stated_surface_takes_its_sizes_from_the_piece():
    stated = StillAir(24.0, surface="horizontal cylinder").for_piece(RoundBar(diameter=0.05), "side")
    own = StillAir(24.0).for_piece(RoundBar(diameter=0.05), "side")
    assert stated == own
    assert (
        StillAir(24.0, surface="horizontal cylinder", diameter=0.1).for_piece(RoundBar(diameter=0.05), "side").diameter
        == 0.1
    )
