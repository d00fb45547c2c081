"""Thermal properties that heatq ships: the five phases of low-alloy steel, fire-code steel and a few other metals.

**Why phases.** Austenite conducts 15 to 26 W/mK where ferrite-pearlite conducts 27 to 54. The one-curve properties of
fire codes describe heating: their specific-heat peak at 735 degC is the heat that ferrite and pearlite take up on the
way to austenite. On a quench nothing is released there, the heat comes out where austenite transforms. heatq therefore
keeps one curve per phase and carries the heats of transformation as differences of enthalpy.

**Why one density.** Mass and volume of every cell are fixed, and positions are measured on the cold bar. In cold-bar
coordinates the density is the cold 7850 kg/m3; a linear expansion e of the hot austenite enters as k (1 + e), since
the area grows with (1 + e)^2 and the gradient falls with 1 + e. Dividing by 1 + e, that is the same as k unchanged with
a density of 7850/(1 + e). With e = 1.2 % this gives 7757 kg/m3 [computed]. EN 1993-1-2 has e = 1.1 % at 850 degC and
1.2 % at 910 degC; densities of austenite from memory (8100 - 0.506 T, less 118 to 146 per % C) give 1.0 % at 850 degC
for 0.4 % C. The choice thus moves rates by a few tenths of a per cent; as product phases shrink back to the cold size,
they cool up to 1.2 % too fast, and face fluxes, which also act on the grown area, are 1.2 % low while it is hot.
"""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from scipy.constants import zero_Celsius

from heatq.steels.material import PHASES, Curve, Material

__all__ = [
    "alloy_600",
    "fire_code_steel",
    "latent_heats",
    "stainless_316",
    "steel_material",
    "titanium_6al4v",
]

#: kg/m3, one value for all phases; see the head of this module.
STEEL_DENSITY = 7757.0

# EN 1993-1-2:2005, 3.4.1.2: specific heat of carbon steel below 600 degC, J/kgK over degC (formula read).
_EN_SPECIFIC_HEAT = (425.0, 0.773, -1.69e-3, 2.22e-6)
# EN 1993-1-2:2005, 3.4.1.3: conductivity, W/mK (the text read prints 3.3e-2; 3.33e-2 is from memory, and makes the
# step to the 27.3 above 800 degC small: 27.36).
_EN_CONDUCTIVITY = (54.0, -3.33e-2)
_EN_CONDUCTIVITY_HOT = (27.3,)


def latent_heats() -> dict[str, tuple[float, float]]:
    """Heat of the transformation of austenite to each phase: name -> (J/kg, temperature in degC at which it holds).

    ========== ============== =========== ==================================================================
    to         given as       at          source
    ========== ============== =========== ==================================================================
    ferrite    5.9e8 J/m3     675 degC    from memory, not verified (pure iron: 16 kJ/kg at 912 degC, about 68
                                          at 727 and 84 at 627 degC, estimated from specific heats, from memory)
    pearlite   82.0 kJ/kg     727 degC    Hagel, Pound & Mehl, Acta Met. (1956, year from memory), calorimetry,
                                          19.6 cal/g +-5 %, read as quoted; 75 kJ/kg with 1.85 Mn or 0.51 Mo
    bainite    6.2e8 J/m3     500 degC    from memory, not verified
    martensite 6.5e8 J/m3     300 degC    from memory, not verified; 80 to 90 kJ/kg usual, 70 to 100 in print
    ========== ============== =========== ==================================================================

    J/m3 are divided by the fixed density 7757 kg/m3. Away from the stated temperature the heat changes with the
    difference of the specific heats (`Material.latent_heat`). For pearlite that gives 99 kJ/kg at 600 degC; numbers
    from memory are 92 kJ/kg at 600 degC, and a rise of 0.2 to 0.25 kJ/kg per kelvin of undercooling, which would be
    107 to 114: they do not agree with one another, and the curve lies between them. For ferrite the curve gives 82 and
    70 kJ/kg at 627 and 727 degC, as pure iron, but 58 at 912 degC, where pure iron has 16: the specific heat near the
    Curie point (770 degC) is smoothed away. Quenched steel forms little ferrite up there.

    Examples
    --------
    >>> {phase: heat / 1e3 for phase, (heat, _) in latent_heats().items()}
    {'ferrite': 76.1, 'pearlite': 82.0, 'bainite': 79.9, 'martensite': 83.8}
    """
    return {
        "ferrite": (5.9e8 / STEEL_DENSITY, 675.0),
        "pearlite": (82.0e3, 727.0),
        "bainite": (6.2e8 / STEEL_DENSITY, 500.0),
        "martensite": (6.5e8 / STEEL_DENSITY, 300.0),
    }


@functools.cache
def _low_alloy_steel() -> Material:
    # Ferrite and pearlite: EN 1993-1-2 without its 735 degC peak. From 600 degC a straight line to the 650 J/kgK of the
    # code at 900 degC; it starts at the value of the formula below (759.9), so that the curve has no step.
    at_600 = float(np.polynomial.polynomial.polyval(600.0, _EN_SPECIFIC_HEAT))
    slope = (650.0 - at_600) / 300.0
    ferrite_heat = Curve((0.0, 600.0, 900.0), (_EN_SPECIFIC_HEAT, (at_600 - 600.0 * slope, slope), (650.0,)))
    ferrite_conductivity = Curve((0.0, 800.0), (_EN_CONDUCTIVITY, _EN_CONDUCTIVITY_HOT))
    # Bainite: conductivity 5 to 10 % below ferrite-pearlite (from memory); the middle.
    bainite_conductivity = Curve(
        (0.0, 800.0), (tuple(0.925 * c for c in _EN_CONDUCTIVITY), tuple(0.925 * c for c in _EN_CONDUCTIVITY_HOT))
    )
    # Martensite (from memory, +-20 %); above 400 degC, where it does not exist on cooling, its specific heat is held.
    martensite_heat = Curve((0.0, 400.0), ((450.0, 0.45), (630.0,)))
    martensite_conductivity = Curve((0.0,), ((43.0, -0.018),))
    # Austenite (from memory, typical of low-alloy steel; head of this module and steel_material).
    austenite_heat = Curve((0.0,), ((535.0, 0.10),))
    austenite_conductivity = Curve((0.0,), ((15.0, 0.0124),))
    return Material(
        name="low-alloy steel",
        phases=PHASES,
        density=STEEL_DENSITY,
        conductivity_curves=(
            ferrite_conductivity,
            ferrite_conductivity,
            bainite_conductivity,
            martensite_conductivity,
            austenite_conductivity,
        ),
        specific_heat_curves=(ferrite_heat, ferrite_heat, ferrite_heat, martensite_heat, austenite_heat),
        transformation=(*latent_heats().values(), (0.0, 0.0)),
        sources=(
            "ferrite, pearlite: EN 1993-1-2:2005, 3.4.1, without the 735 degC peak",
            "austenite, martensite, bainite: fits typical of low-alloy steel (from memory, not verified)",
            "heat of pearlite: Hagel, Pound & Mehl 1956 (82.0 kJ/kg at 727 degC, +-5 %, as quoted); others from memory",
        ),
        temperature_range=(0.0, 1200.0),
    )


def steel_material(steel: Any = None) -> Material:
    """Five-phase properties of carbon and low-alloy steel; the same for every composition for now.

    Parameters
    ----------
    steel : Steel, optional
        Not used yet: no composition dependence is shipped.

    Notes
    -----
    T in degC, k in W/mK, cp in J/kgK:

    ================= ======================================= =============================================
    phase             k                                       cp
    ================= ======================================= =============================================
    austenite         15.0 + 0.0124 T                         535 + 0.10 T
    ferrite, pearlite 54 - 0.0333 T (T < 800), 27.3 above     425 + 0.773 T - 1.69e-3 T^2 + 2.22e-6 T^3
                                                              (T < 600), straight line to 650 at 900, 650 above
    bainite           0.925 times that of ferrite             as ferrite
    martensite        43 - 0.018 T                            450 + 0.45 T (T < 400), 630 above
    ================= ======================================= =============================================

    Source: ferrite and pearlite EN 1993-1-2:2005, 3.4.1 (formulas read; last digit of 0.0333 from memory) without the
    735 degC peak, which is the heat of the transformation and is carried as such (`latent_heats`); all else from
    memory, not verified: austenite is typical of low-alloy steel in finite-element literature (530 to 580 J/kgK at 300
    and 600 to 650 at 900 degC are in use), martensite +-20 %, bainite 5 to 10 % below ferrite-pearlite.

    Agreement: steel is austenite above 900 degC, where EN 1993-1-2 has k = 27.3 and cp = 650; the austenite lines are
    off by -4.2 % (k) and -3.8 % (cp) at 900 degC, by +0.4 % and -2.3 % at 1000 degC. A second set of numbers in use for
    quenching (from memory) agrees for austenite within 4.5 % in k and 1.5 % in density times cp; for ferrite-pearlite
    it has k 49.0/41.7/34.3/27.0 at 0/300/600/900 degC, up to 9 % below the line used here, and density times cp 15 %
    above at 0 and 14 % below at 600 degC (its straight line leaves out the rise towards the Curie point at 770 degC).

    Validity: 0 to 1200 degC (EN prints its formulas from 20 degC on); carbon and low-alloy steel. Alloyed product
    phases conduct less than this: 4140 42.6 W/mK at 20 degC (supplier data sheet, read) against 53.3 here, as-quenched
    alloy martensite 25 to 35 (from memory) against 42.6, and a 5 % Cr tool steel is outside altogether. During a quench
    austenite decides; where product conductivity matters, use `Material.with_phase`.

    Examples
    --------
    >>> steel = steel_material()
    >>> float(steel.conductivity(850.0)[-1]), float(steel.specific_heat(850.0)[-1])
    (25.54, 620.0)
    >>> steel.specific_heat([20.0, 500.0])[0].tolist()          # EN 1993-1-2: 439.8 and 666.5 J/kgK
    [439.8, 666.5]
    """
    return _low_alloy_steel()


def fire_code_steel() -> Material:
    """Carbon steel of EN 1993-1-2: a heating law, with the transformation as a specific-heat peak at 735 degC.

    Returns
    -------
    Material
        One phase; density 7850 kg/m3.

    Notes
    -----
    cp, J/kgK: T < 600: 425 + 0.773 T - 1.69e-3 T^2 + 2.22e-6 T^3; 600 to 735: 666 + 13002/(738 - T); 735 to 900:
    545 + 17820/(T - 731); above: 650. k, W/mK: T < 800: 54 - 3.33e-2 T; above: 27.3. The enthalpy is the closed-form
    integral.

    Use: normalizing and other slow cooling, tests. On a quench it is wrong: k at 600 degC is 1.5 times that
    of austenite, and the peak acts where nothing transforms; end-quench cooling rates come out 25 % and more off the
    published ones, whatever the boundary.

    Validity: 20 to 1200 degC, taken down to 0 degC here. Source: EN 1993-1-2:2005, 3.4.1 (formulas read; the last digit
    of 3.33e-2 and the density, 3.2.2, from memory).

    Examples
    --------
    The table of the code, and the heat of the peak above 650 J/kgK from 600 to 900 degC (kJ/kg):

    >>> steel = fire_code_steel()
    >>> steel.specific_heat([20.0, 600.0, 734.9999999, 735.0, 800.0, 900.0])[0].tolist()
    [439.8, 760.2, 5000.0, 5000.0, 803.3, 650.0]
    >>> h20, h600, h850, h900 = (steel.enthalpy([20.0, 600.0, 850.0, 900.0])[0] / 1e3).tolist()
    >>> h900 - h600 - 650.0 * 300.0 / 1e3, h850 - h20, h600 - h20
    (101.3, 598.6, 335.7)
    """
    return Material(
        name="carbon steel, EN 1993-1-2",
        phases=("solid",),
        density=7850.0,
        conductivity_curves=(Curve((0.0, 800.0), (_EN_CONDUCTIVITY, _EN_CONDUCTIVITY_HOT)),),
        specific_heat_curves=(
            Curve(
                (0.0, 600.0, 735.0, 900.0),
                (_EN_SPECIFIC_HEAT, (666.0,), (545.0,), (650.0,)),
                ((0.0, 0.0), (-13002.0, 738.0), (17820.0, 731.0), (0.0, 0.0)),
            ),
        ),
        transformation=((0.0, 0.0),),
        sources=("EN 1993-1-2:2005, 3.4.1: carbon steel on heating",),
        temperature_range=(0.0, 1200.0),
    )


def _from_kelvin(*coefficients: float) -> tuple[float, ...]:
    """Turn a polynomial in kelvin (ascending powers) into one in degC."""
    shifted: Any = np.polynomial.Polynomial(coefficients)(np.polynomial.Polynomial([zero_Celsius, 1.0]))
    return tuple(float(c) for c in shifted.coef)


def stainless_316() -> Material:
    """Austenitic stainless steel AISI 316, no transformation.

    Notes
    -----
    With T in kelvin: k = 6.308 + 0.02716 T - 7.301e-6 T^2 W/mK; cp = 428.46 + 0.1816 T J/kgK;
    rho = 8089.4 - 0.4297 T - 4.454e-5 T^2 kg/m3, of which the value at 20 degC is used (mass and volume are fixed, and
    positions refer to the cold piece; neglecting 1.8 % of linear expansion at 850 degC makes hot rates 1.8 % low).

    Validity: 298 to 1573 K, taken down to 0 degC here; stated uncertainty 10 % (k), 5 % (cp), 3 % (rho). Source: Mills,
    Recommended Values of Thermophysical Properties for Selected Commercial Alloys (2002), read in the documentation of
    an open finite-element code.

    Examples
    --------
    k at 300, 800 and 1100 K, from the formula:

    >>> from heatq.units import kelvin
    >>> stainless_316().conductivity(kelvin(np.array([300.0, 800.0, 1100.0])))
    array([[13.8, 23.4, 27.3]])
    """
    density = _from_kelvin(8089.4, -0.4297, -4.454e-5)
    return Material(
        name="stainless steel 316",
        phases=("solid",),
        density=float(np.polynomial.polynomial.polyval(20.0, density)),
        conductivity_curves=(Curve((0.0,), (_from_kelvin(6.308, 0.02716, -7.301e-6),)),),
        specific_heat_curves=(Curve((0.0,), (_from_kelvin(428.46, 0.1816),)),),
        transformation=((0.0, 0.0),),
        sources=("stainless steel 316: Mills 2002, as quoted (k 10 %, cp 5 %)",),
        temperature_range=(0.0, 1300.0),
    )


def titanium_6al4v() -> Material:
    """Titanium alloy Ti-6Al-4V, with the heat of its transformation spread over 827 to 995 degC.

    Notes
    -----
    Table of recommended values, linear between its points, with the jump of k and cp from alpha to beta at 995 degC.
    The alpha to beta heat of 48 kJ/kg is added evenly between 1100 and 1268 K (827 to 995 degC): right for the sum,
    wrong for the place on a fast quench, where beta lasts to lower temperatures. Density: the cold 4420 kg/m3.

    Validity: 25 to 1200 degC, taken down to 0 degC here. Source: Mills, Recommended Values of Thermophysical Properties
    for Selected Commercial Alloys (2002), from memory, not verified. Supplier data sheets (read) give k 6.6 to 7.2
    W/mK, cp 526 to 586 J/kgK and 4420 to 4430 kg/m3 at room temperature, which the table's first row agrees with.

    Examples
    --------
    >>> alloy = titanium_6al4v()
    >>> alloy.conductivity([25.0, 500.0])[0], alloy.specific_heat([25.0, 500.0])[0]
    (array([ 7. , 12.6]), array([546., 651.]))
    """
    temperature = [25.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 800.0, 900.0, 995.0, 995.0, 1100.0, 1200.0]
    heat = [546.0, 562.0, 584.0, 606.0, 629.0, 651.0, 673.0, 694.0, 714.0, 734.0, 753.0, 641.0, 660.0, 678.0]
    conductivity = [7.0, 7.45, 8.75, 10.15, 11.35, 12.6, 14.2, 15.5, 17.8, 20.2, 22.7, 19.3, 21.0, 22.9]
    start, end = 1100.0 - zero_Celsius, 995.0
    extra = 48e3 / (end - start)
    at_start = float(np.interp(start, temperature[:11], heat[:11]))
    with_peak = [
        *zip(temperature[:9], heat[:9], strict=True),
        (start, at_start),
        (start, at_start + extra),
        (900.0, 734.0 + extra),
        (995.0, 753.0 + extra),
        *zip(temperature[11:], heat[11:], strict=True),
    ]
    return Material(
        name="Ti-6Al-4V",
        phases=("solid",),
        density=4420.0,
        conductivity_curves=(Curve.linear(temperature, conductivity),),
        specific_heat_curves=(Curve.linear([t for t, _ in with_peak], [c for _, c in with_peak]),),
        transformation=((0.0, 0.0),),
        sources=("Ti-6Al-4V: Mills 2002 (from memory, not verified)",),
        temperature_range=(0.0, 1200.0),
    )


def alloy_600() -> Material:
    """Nickel alloy 600 (UNS N06600), the metal of the standard quenchant probe (12.5 mm by 60 mm, ISO 9950).

    Notes
    -----
    k from 14.8 W/mK at 20 to 27.5 at 800 degC and cp from 444 J/kgK at 20 to 625 at 800 degC, straight lines between
    and beyond to 0 degC; end values held above. Density 8420 kg/m3.

    Validity: 20 to 800 degC, taken from 0 to 900 degC here (probes start at 850 degC). Source: common data-sheet
    values, from memory, not verified; intermediate values, as remembered, lie within about 3 % of the straight lines.

    Examples
    --------
    >>> alloy_600().conductivity([20.0, 410.0, 800.0])
    array([[14.8 , 21.15, 27.5 ]])
    """
    k = (27.5 - 14.8) / 780.0
    c = (625.0 - 444.0) / 780.0
    return Material(
        name="alloy 600",
        phases=("solid",),
        density=8420.0,
        conductivity_curves=(Curve((0.0, 800.0), ((14.8 - 20.0 * k, k), (27.5,))),),
        specific_heat_curves=(Curve((0.0, 800.0), ((444.0 - 20.0 * c, c), (625.0,))),),
        transformation=((0.0, 0.0),),
        sources=("alloy 600: data-sheet values (from memory, not verified)",),
        temperature_range=(0.0, 900.0),
    )
