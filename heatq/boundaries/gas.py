"""Properties of quench gases in closed form: nitrogen, argon, helium, hydrogen, air and their mixtures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.constants import R, bar

from heatq.errors import InputError, check_name, check_number, note_validity
from heatq.units import to_kelvin

__all__ = ["GASES", "Gas", "GasProperties", "check_gas", "gas_name", "gas_properties"]

Array = npt.NDArray[np.float64]
Gas = str | Mapping[str, float]


class _Coefficients(NamedTuple):
    molar_mass: float  # kg/mol
    log_viscosity: tuple[float, float, float, float]
    log_conductivity: tuple[float, float, float, float]


#: Fits to CoolProp 8.0 (N2: Span 2000; Ar: Tegeler 1999; He; H2: Leachman; air: Lemmon 2000) at 1 bar, 290 to 1300 K:
#: ln y = c0 + c1 x + c2 x^2 + c3 x^3, x = ln(T/300 K); viscosity in Pa s, conductivity in W/mK. Own computation; the
#: largest errors of the fit are N2 0.03/0.02 %, Ar 0.03/0.03 %, He 0.00/0.00 %, H2 0.02/0.16 %, air 0.02/0.01 %.
_FITS: dict[str, _Coefficients] = {
    "nitrogen": _Coefficients(
        28.0134e-3, (-10.93146, 0.77587, -0.08586, 0.01897), (-3.65101, 0.83556, -0.08377, 0.02218)
    ),
    "argon": _Coefficients(39.948e-3, (-10.69153, 0.83629, -0.09357, 0.01410), (-4.02667, 0.83740, -0.09630, 0.01434)),
    "helium": _Coefficients(
        4.002602e-3, (-10.8233, 0.684389, 0.0137825, -0.00231708), (-1.85808, 0.691326, 0.00510376, -0.000933524)
    ),
    "hydrogen": _Coefficients(
        2.01588e-3, (-11.6250, 0.689325, 0.00767876, -0.000154033), (-1.67722, 0.75573, -0.09169, 0.07102)
    ),
    "air": _Coefficients(28.96546e-3, (-10.89579, 0.78244, -0.08729, 0.01867), (-3.63503, 0.84614, -0.07760, 0.02054)),
}

#: Names of the gases.
GASES = tuple(_FITS)

#: NIST (Shomate) heat capacity, J/mol K: A + B t + C t^2 + D t^3 + E/t^2, t = T/1000 K: limit between the two ranges,
#: then A to E of each. Checked against CoolProp at 1 bar, 290 to 1300 K: within 0.17 % (N2) and 0.10 % (H2).
_SHOMATE = {
    "nitrogen": (
        500.0,
        (28.98641, 1.853978, -9.647459, 16.63537, 0.000117),
        (19.50583, 19.88705, -8.598535, 1.369784, 0.527601),
    ),
    "hydrogen": (
        1000.0,
        (33.066178, -11.363417, 11.432816, -2.772874, -0.158558),
        (18.563083, 12.257357, -2.859786, 0.268238, 1.977990),
    ),
}

#: Dry air, J/kgK, polynomial in x = ln(T/300 K): own fit to CoolProp at 1 bar, 290 to 1410 K, within 0.09 %.
_AIR_HEAT = (1006.804972, 3.81478238, 51.01102363, 81.40842067, -41.17320269)

#: Mason & Saxena (1958) factor of the Wassiljewa equation; Poling et al. (5th ed., 10-6) use 1.0.
MASON_SAXENA = 1.065


class GasProperties(NamedTuple):
    """Properties of a gas at one or many temperatures."""

    density: Array
    """kg/m3."""
    viscosity: Array
    """Dynamic viscosity, Pa s."""
    conductivity: Array
    """W/mK."""
    specific_heat: Array
    """At constant pressure, J/kgK."""
    prandtl: Array
    """Viscosity times specific heat over conductivity."""

    @property
    def kinematic_viscosity(self) -> Array:
        """Viscosity over density, m2/s."""
        return self.viscosity / self.density


def check_gas(gas: Gas) -> dict[str, float]:
    """Return the mole fractions of a gas or mixture, or raise an `InputError`.

    Examples
    --------
    >>> check_gas("helium")
    {'helium': 1.0}
    >>> check_gas({"helium": 0.6, "argon": 0.4})
    {'helium': 0.6, 'argon': 0.4}
    """
    if isinstance(gas, str):
        return {check_name("gas", gas, GASES): 1.0}
    if not isinstance(gas, Mapping) or not gas:
        raise InputError(
            f"gas = {gas!r}: give a name such as 'nitrogen' or mole fractions such as {{'helium': 0.6, 'argon': 0.4}}."
        )
    if "hydrogen" in gas and ("air" in gas or "oxygen" in gas):
        raise InputError(
            f"gas = {dict(gas)!r} mixes hydrogen with air or oxygen: it explodes, so heatq does not compute it. "
            "Hydrogen may be mixed with nitrogen, argon or helium."
        )
    fractions: dict[str, float] = {}
    for name, fraction in gas.items():
        check_name("gas", name, GASES)
        fractions[name] = check_number(f"mole fraction of {name}", fraction, low=0.0, high=1.0, unit="1")
    total = sum(fractions.values())
    if abs(total - 1.0) > 1e-3:
        hint = " For percent divide by 100." if abs(total - 100.0) < 1.0 else ""
        raise InputError(f"gas = {dict(gas)!r}: the mole fractions add up to {total:g}, not 1.{hint}")
    return {name: fraction / total for name, fraction in fractions.items() if fraction > 0.0}


def gas_name(gas: Gas) -> str:
    """Name of a gas or mixture for messages and tables.

    Examples
    --------
    >>> gas_name({"helium": 0.6, "argon": 0.4})
    'helium 60 % + argon 40 %'
    """
    if isinstance(gas, str):
        return gas
    return " + ".join(f"{name} {100 * fraction:g} %" for name, fraction in gas.items())


def molar_mass(gas: Gas) -> float:
    """Molar mass, kg/mol (mole-weighted)."""
    return sum(fraction * _FITS[name].molar_mass for name, fraction in check_gas(gas).items())


def _cubic(c: tuple[float, float, float, float], x: Array) -> Array:
    return np.exp(((c[3] * x + c[2]) * x + c[1]) * x + c[0])


def _molar_heat(name: str, kelvin: Array) -> Array:
    """Heat capacity at constant pressure, J/mol K."""
    if name in ("argon", "helium"):
        return np.full_like(kelvin, 2.5 * R)
    if name == "air":
        x = np.log(kelvin / 300.0)
        c = _AIR_HEAT
        return ((((c[4] * x + c[3]) * x + c[2]) * x + c[1]) * x + c[0]) * _FITS["air"].molar_mass
    limit, low, high = _SHOMATE[name]
    t = kelvin / 1000.0
    square = t**2
    below = ((low[3] * t + low[2]) * t + low[1]) * t + low[0] + low[4] / square
    above = ((high[3] * t + high[2]) * t + high[1]) * t + high[0] + high[4] / square
    return np.where(kelvin < limit, below, above)


def wilke_factor(viscosity_i: Array, viscosity_j: Array, mass_i: float, mass_j: float) -> Array:
    """Wilke's interaction factor phi_ij of two gases.

    phi_ij = [1 + (mu_i/mu_j)^0.5 (M_j/M_i)^0.25]^2 / [8 (1 + M_i/M_j)]^0.5. Wilke, J. Chem. Phys. 18 (1950) 517; from
    memory of a standard formula, not verified in the paper.
    """
    return (1.0 + np.sqrt(viscosity_i / viscosity_j) * (mass_j / mass_i) ** 0.25) ** 2 / np.sqrt(
        8.0 * (1.0 + mass_i / mass_j)
    )


def gas_properties(gas: Gas, temperature: Array | float, pressure: float) -> GasProperties:
    """Density, viscosity, conductivity, heat capacity and Prandtl number of a quench gas.

    Parameters
    ----------
    gas : str or mapping
        "nitrogen", "argon", "helium", "hydrogen", "air", or mole fractions of several: ``{"helium": 0.6, "argon":
        0.4}``. Hydrogen with air is refused.
    temperature : float or array
        degC.
    pressure : float
        Absolute, Pa.

    Returns
    -------
    GasProperties
        Named tuple ``(density, viscosity, conductivity, specific_heat, prandtl)``.

    Notes
    -----
    Density: ideal gas. Viscosity and conductivity: own log-cubic fits to CoolProp 8.0 at 1 bar. Heat capacity: 5/2 R
    for argon and helium, NIST (Shomate) polynomials for nitrogen and hydrogen, own fit for air.

    Validity: 290 to 1300 K and 0.1 to 25 bar. The fits hold to 0.15 % (hydrogen's conductivity 0.8 %) down to 250 K
    and up to 1500 K as well, so only beyond these is the user told.

    Pressure is neglected except in the density (errors grow about in proportion to it). Largest error against
    CoolProp at 20 bar, near 290 K (it fades to below 1.3 % above 500 K): density N2 0.9, Ar 1.4, He 1.0, H2 1.2, air
    0.8 %; viscosity 1.7, 1.7, 0.4, 0.2, 1.7 %; conductivity 3.1, 4.0, 0.9, 1.3, 2.7 %; heat capacity 3.2, 4.8, 0.03,
    0.4, 3.3 %. The effect on h (k Re^0.6 Pr^0.36) stays below 2.4 % for nitrogen and 4.2 % for argon at 20 bar: far
    below the +-15 to 30 % scatter of the correlations, so the compressibility factor is left out on purpose. Textbook
    Sutherland constants would err by up to 11 % (viscosity of helium) and 17 % (conductivity of hydrogen) at 1300 K.

    Mixtures: density and heat capacity by mole fraction (exact for ideal gases); viscosity by Wilke (1950),
    conductivity by Wassiljewa's equation with Mason & Saxena's (Phys. Fluids 1, 1958, 361) factor 1.065. Both are
    standard formulas from memory; expected accuracy, also from memory: viscosity 1 to 3 % (up to 5 % with helium or
    hydrogen), conductivity 3 to 8 %.

    Examples
    --------
    Nitrogen at 300 K and 1 bar; CoolProp: 1.1233 kg/m3, 1.789e-5 Pa s, 0.0260 W/mK, 1041.3 J/kgK, Pr 0.717:

    >>> from scipy.constants import bar, zero_Celsius
    >>> n2 = gas_properties("nitrogen", 300.0 - zero_Celsius, 1 * bar)
    >>> [float(f"{value:.4g}") for value in n2]
    [1.123, 1.789e-05, 0.02596, 1040.0, 0.7162]
    """
    fractions = check_gas(gas)
    check_number("pressure", pressure, "pressure")
    name = gas_name(gas)
    kelvin = to_kelvin(np.asarray(temperature, dtype=float))
    note_validity(
        f"properties of {name}", "gas temperature", kelvin, 250.0, 1500.0, "K", "fits to CoolProp, 290 to 1300 K"
    )
    note_validity(f"properties of {name}", "pressure", pressure / bar, 0.1, 25.0, "bar", "ideal-gas density")
    x = np.log(kelvin / 300.0)
    mass = sum(fraction * _FITS[one].molar_mass for one, fraction in fractions.items())
    density = pressure * mass / (R * kelvin)
    viscosities = {one: _cubic(_FITS[one].log_viscosity, x) for one in fractions}
    conductivities = {one: _cubic(_FITS[one].log_conductivity, x) for one in fractions}
    if len(fractions) == 1:
        (one,) = fractions
        specific_heat, viscosity, conductivity = _molar_heat(one, kelvin) / mass, viscosities[one], conductivities[one]
    else:
        molar_heat = sum(
            (fraction * _molar_heat(one, kelvin) for one, fraction in fractions.items()), np.zeros_like(kelvin)
        )
        specific_heat = molar_heat / mass
        viscosity, conductivity = np.zeros_like(kelvin), np.zeros_like(kelvin)
        for i, share in fractions.items():
            sum_viscosity, sum_conductivity = np.full_like(kelvin, share), np.full_like(kelvin, share)
            for j, other in fractions.items():
                if j != i:
                    phi = other * wilke_factor(viscosities[i], viscosities[j], _FITS[i].molar_mass, _FITS[j].molar_mass)
                    sum_viscosity = sum_viscosity + phi
                    sum_conductivity = sum_conductivity + MASON_SAXENA * phi
            viscosity = viscosity + share * viscosities[i] / sum_viscosity
            conductivity = conductivity + share * conductivities[i] / sum_conductivity
    return GasProperties(density, viscosity, conductivity, specific_heat, viscosity * specific_heat / conductivity)
