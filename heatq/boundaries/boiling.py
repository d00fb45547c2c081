"""Boiling of water at one atmosphere: critical flux, film, transition and nucleate boiling, rewetting."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.constants import Stefan_Boltzmann, g

from heatq.boundaries.water import SATURATED, Saturation, steam
from heatq.units import to_kelvin

__all__ = [
    "critical_flux_monde_jet",
    "critical_flux_zuber",
    "film_boiling_bromley",
    "minimum_flux_berenson",
    "minimum_temperature_berenson",
    "nucleate_flux_rohsenow",
    "rewetting_temperature_dhir_purohit",
    "rewetting_temperature_henry",
    "subcooling_factor_ivey_morris",
    "subcooling_factor_kutateladze",
    "subcooling_factor_zuber",
]

Array = npt.NDArray[np.float64]


def critical_flux_zuber(fluid: Saturation = SATURATED, constant: float = np.pi / 24.0) -> float:
    """Critical heat flux of a saturated pool, W/m2.

    Parameters
    ----------
    fluid : Saturation
        Saturated water at one atmosphere by default.
    constant : float
        K: pi/24 = 0.131 (Zuber), 0.149 (Lienhard & Dhir, large flat plate); Kutateladze 0.13 to 0.16.

    Notes
    -----
    q = K rho_v h_fg [sigma g (rho_l - rho_v)/rho_v^2]^(1/4). Zuber (1959); Lienhard & Dhir, NASA CR-2270 (1973).
    Equal to the `ht` library's. Validity: well-wetted horizontal surfaces much larger than the capillary length (2.5
    mm).

    Examples
    --------
    Water at one atmosphere: 1.108 MW/m2 (K = 0.131), 1.26 (K = 0.149; Incropera, Example 10.1, prints 1.26):

    >>> round(critical_flux_zuber() / 1e6, 3), round(critical_flux_zuber(constant=0.149) / 1e6, 2)
    (1.108, 1.26)
    """
    difference = fluid.liquid_density - fluid.vapour_density
    scale = (fluid.surface_tension * g * difference / fluid.vapour_density**2) ** 0.25
    return float(constant * fluid.vapour_density * fluid.latent_heat * scale)


def subcooling_factor_ivey_morris(subcooling: Array | float, fluid: Saturation = SATURATED) -> Array:
    """Factor by which subcooling raises the critical heat flux of a pool.

    Parameters
    ----------
    subcooling : float or array
        Saturation minus liquid temperature, K.
    fluid : Saturation
        Saturated water at one atmosphere by default.

    Notes
    -----
    1 + 0.1 (rho_l/rho_v)^0.75 c_pl dT/h_fg. Ivey & Morris, AEEW-R137 (1962); form and coefficient from memory (a
    second recollection has 0.102). Validity: water up to 70 or 80 K subcooling. At 76 K it gives 4.60; two other
    forms 4.38 and 4.96.

    Examples
    --------
    >>> float(subcooling_factor_ivey_morris(75.97))
    4.60
    """
    ratio = (fluid.liquid_density / fluid.vapour_density) ** 0.75
    return 1.0 + 0.1 * ratio * fluid.liquid_specific_heat * np.asarray(subcooling, dtype=float) / fluid.latent_heat


def subcooling_factor_zuber(subcooling: Array | float, fluid: Saturation = SATURATED) -> Array:
    """Factor by which subcooling raises the critical heat flux, by Zuber, Tribus & Westwater.

    Notes
    -----
    1 + 5.33 (k_l rho_l c_pl)^(1/2)/(rho_v h_fg) [rho_v^2/(sigma g drho)]^(1/8) [g drho/sigma]^(1/4) dT (1961; from
    memory). Kept for comparison with `subcooling_factor_ivey_morris`.

    Examples
    --------
    >>> float(subcooling_factor_zuber(75.97))
    4.96
    """
    difference = fluid.liquid_density - fluid.vapour_density
    storage = np.sqrt(fluid.liquid_conductivity * fluid.liquid_density * fluid.liquid_specific_heat)
    slope = (
        5.33
        * storage
        / (fluid.vapour_density * fluid.latent_heat)
        * (fluid.vapour_density**2 / (fluid.surface_tension * g * difference)) ** 0.125
        * (g * difference / fluid.surface_tension) ** 0.25
    )
    return 1.0 + slope * np.asarray(subcooling, dtype=float)


def subcooling_factor_kutateladze(subcooling: Array | float, fluid: Saturation = SATURATED) -> Array:
    """Factor by which subcooling raises the critical heat flux, by Kutateladze.

    Notes
    -----
    1 + 0.065 (rho_l/rho_v)^0.8 c_pl dT/h_fg; from memory. Kept for comparison with `subcooling_factor_ivey_morris`.

    Examples
    --------
    >>> float(subcooling_factor_kutateladze(75.97))
    4.38
    """
    ratio = (fluid.liquid_density / fluid.vapour_density) ** 0.8
    return 1.0 + 0.065 * ratio * fluid.liquid_specific_heat * np.asarray(subcooling, dtype=float) / fluid.latent_heat


def critical_flux_monde_jet(
    velocity: float, jet_diameter: float, face_diameter: float, fluid: Saturation = SATURATED
) -> float:
    """Critical heat flux of a disc cooled by a round free jet, W/m2.

    Parameters
    ----------
    velocity, jet_diameter : float
        Of the jet where it meets the disc, m/s and m.
    face_diameter : float
        Of the disc, m; larger than the jet.
    fluid : Saturation
        Saturated water at one atmosphere by default.

    Notes
    -----
    q/(rho_v h_fg u) = 0.221 (rho_l/rho_v)^0.645 [2 sigma/(rho_l u^2 (D - d))]^0.343 (1 + D/d)^-0.364. Monde (1987),
    from memory, not verified; another form (Monde & Katto 1978) gives half as much again for one case. Validity:
    saturated liquid; subcooled jets carry 1.5 to 2.5 times more (from memory). Kept for comparison with the pool
    limit; no default uses it.

    Examples
    --------
    The end-quench jet on a 25.4 mm bar, as if the water were saturated: 4.9 MW/m2:

    >>> critical_flux_monde_jet(1.0, 0.0134, 0.0254) / 1e6
    4.91
    """
    rho_l, rho_v = fluid.liquid_density, fluid.vapour_density
    weber = 2.0 * fluid.surface_tension / (rho_l * velocity**2 * (face_diameter - jet_diameter))
    ratio = 0.221 * (rho_l / rho_v) ** 0.645 * weber**0.343 * (1.0 + face_diameter / jet_diameter) ** -0.364
    return float(ratio * rho_v * fluid.latent_heat * velocity)


def minimum_flux_berenson(fluid: Saturation = SATURATED) -> float:
    """Smallest heat flux of stable film boiling in a saturated pool, W/m2.

    Notes
    -----
    q = 0.09 rho_v h_fg [g sigma (rho_l - rho_v)/(rho_l + rho_v)^2]^(1/4). Berenson, J. Heat Transfer 83 (1961) 351;
    standard textbook form. Validity: large horizontal surfaces, saturated; vapour density taken at saturation.

    Examples
    --------
    >>> round(minimum_flux_berenson())
    19011
    """
    rho_l, rho_v = fluid.liquid_density, fluid.vapour_density
    scale = (g * fluid.surface_tension * (rho_l - rho_v) / (rho_l + rho_v) ** 2) ** 0.25
    return float(0.09 * rho_v * fluid.latent_heat * scale)


def minimum_temperature_berenson(fluid: Saturation = SATURATED) -> float:
    """Wall temperature at the smallest flux of film boiling in a saturated pool, isothermal wall, degC.

    Notes
    -----
    T_B = T_sat + 0.127 (rho_v h_fg/k_v) [g drho/(rho_l + rho_v)]^(2/3) [sigma/(g drho)]^(1/2) [mu_v/(g drho)]^(1/3).
    Berenson (1961), from memory; vapour properties at saturation. With the vapour at saturation this
    is T_sat + 87 K for water; with the vapour at the film temperature about T_sat + 55 K (quoted from memory).

    Examples
    --------
    >>> minimum_temperature_berenson()
    187.3
    """
    rho_l, rho_v = fluid.liquid_density, fluid.vapour_density
    lift = g * (rho_l - rho_v)
    rise = (
        0.127
        * (rho_v * fluid.latent_heat / fluid.vapour_conductivity)
        * (lift / (rho_l + rho_v)) ** (2.0 / 3.0)
        * (fluid.surface_tension / lift) ** 0.5
        * (fluid.vapour_viscosity / lift) ** (1.0 / 3.0)
    )
    return float(fluid.temperature + rise)


def rewetting_temperature_henry(
    liquid_temperature: Array | float,
    isothermal_minimum: float = 155.0,
    wall_effusivity: float = 10700.0,
    wall_specific_heat: float = 620.0,
    fluid: Saturation = SATURATED,
) -> Array:
    """Wall temperature at which a vapour film collapses, with the wall's own conduction, degC.

    Parameters
    ----------
    liquid_temperature : float or array
        degC.
    isothermal_minimum : float
        T_B, the minimum for an isothermal wall, degC (`minimum_temperature_berenson`; 155 is quoted for water).
    wall_effusivity : float
        sqrt(k rho c) of the wall, W s^0.5/m2K; 10700 for austenite near 800 degC.
    wall_specific_heat : float
        J/kgK.
    fluid : Saturation
        Saturated water at one atmosphere by default.

    Notes
    -----
    T_min = T_B + 0.42 (T_B - T_l) [sqrt((k rho c)_l/(k rho c)_w) h_fg/(c_w (T_B - T_sat))]^0.6. Henry, AIChE Symp.
    Ser. 70, No. 138 (1974) 81; from memory, not verified. Validity: clean smooth walls; it does not know scale or
    roughness, and on steel in cold water the film is seen to collapse at 700 to 900 degC, hundreds of kelvin higher.

    Examples
    --------
    Steel in water of 24 and 60 degC:

    >>> [round(float(rewetting_temperature_henry(t))) for t in (24.0, 60.0)]
    [377, 316]
    """
    effusivity = np.sqrt(fluid.liquid_conductivity * fluid.liquid_density * fluid.liquid_specific_heat)
    ratio = (
        effusivity
        / wall_effusivity
        * fluid.latent_heat
        / (wall_specific_heat * (isothermal_minimum - fluid.temperature))
    )
    return isothermal_minimum + 0.42 * (isothermal_minimum - np.asarray(liquid_temperature, dtype=float)) * ratio**0.6


def rewetting_temperature_dhir_purohit(subcooling: Array | float, fluid: Saturation = SATURATED) -> Array:
    """Wall temperature at which a vapour film collapses in subcooled water, from quenched spheres, degC.

    Parameters
    ----------
    subcooling : float or array
        Saturation minus liquid temperature, K.
    fluid : Saturation
        Saturated water at one atmosphere by default.

    Notes
    -----
    T_min - T_sat = 101 + 8 dT_sub. Dhir & Purohit, Nucl. Eng. Design 47 (1978) 49; from memory, not verified: the
    formula is also quoted with T_min in degC on the left, which would put the collapse in saturated water 1 K above
    the boiling point, so it is read as a superheat here. It gives 810 degC in water of 24 degC; films were seen to
    collapse within a second on steel of 880 and 900 degC under cold jets (Leocadio et al. 2018, 2021).

    Validity: spheres of 19 to 25 mm, subcooling up to about 80 K (from memory).

    Examples
    --------
    >>> [round(float(rewetting_temperature_dhir_purohit(t))) for t in (0.0, 40.0, 75.97)]
    [201, 521, 809]
    """
    return fluid.temperature + 101.0 + 8.0 * np.asarray(subcooling, dtype=float)


def film_boiling_bromley(
    surface_temperature: Array | float, diameter: float, emissivity: float = 0.8, fluid: Saturation = SATURATED
) -> Array:
    """Coefficient of film boiling on a cylinder in saturated water, with radiation, on T_s - T_sat, W/m2K.

    Parameters
    ----------
    surface_temperature : float or array
        degC, above saturation.
    diameter : float
        m.
    emissivity : float
        Of the wall; the water is taken as black.
    fluid : Saturation
        Saturated water at one atmosphere by default; the vapour's properties are `heatq.boundaries.water.steam` at
        the film temperature.

    Notes
    -----
    h_c = 0.62 [k_v^3 rho_v drho g h_fg'/(mu_v D dT)]^(1/4), h_fg' = h_fg + 0.8 c_pv dT; with radiation h^(4/3) =
    h_c^(4/3) + h_r h^(1/3). Bromley, Chem. Eng. Prog. 46 (1950) 221; textbook form (Incropera uses 0.8 in h_fg').

    Validity: horizontal cylinders, laminar vapour, saturated liquid. Large cylinders and standing ones come out low.

    Examples
    --------
    25.4 mm at 500, 700 and 850 degC; without radiation 158, 159, 163 (from CoolProp's properties), with it:

    >>> [round(float(film_boiling_bromley(t, 0.0254))) for t in (500.0, 700.0, 850.0)]
    [187, 211, 238]
    """
    surface = np.maximum(np.asarray(surface_temperature, dtype=float), fluid.temperature + 1.0)
    rise = surface - fluid.temperature
    vapour = steam(0.5 * (surface + fluid.temperature))
    latent = fluid.latent_heat + 0.8 * vapour.specific_heat * rise
    buoyancy = vapour.density * (fluid.liquid_density - vapour.density) * g
    conduction = 0.62 * (vapour.conductivity**3 * buoyancy * latent / (vapour.viscosity * diameter * rise)) ** 0.25
    radiation = emissivity * Stefan_Boltzmann * (to_kelvin(surface) ** 4 - to_kelvin(fluid.temperature) ** 4) / rise
    root = np.cbrt(conduction + radiation)  # Newton for x = h^(1/3): x^4 - h_r x - h_c^(4/3) = 0
    target = conduction ** (4.0 / 3.0)
    for _ in range(6):
        root = root - (root**4 - radiation * root - target) / (4.0 * root**3 - radiation)
    return root**3


def nucleate_flux_rohsenow(
    superheat: Array | float,
    surface_constant: float = 0.0132,
    fluid: Saturation = SATURATED,
    prandtl: float | None = None,
) -> Array:
    """Heat flux of nucleate pool boiling, W/m2.

    Parameters
    ----------
    superheat : float or array
        Wall minus saturation temperature, K; below 0 the flux is 0.
    surface_constant : float
        C_sf: 0.0132 stainless steel, mechanically polished; 0.0133 chemically etched; 0.0080 ground and polished;
        copper 0.0128 polished, 0.0068 scored (from memory).
    fluid : Saturation
        Saturated water at one atmosphere by default.
    prandtl : float, optional
        Of the liquid; computed by default.

    Notes
    -----
    q = mu_l h_fg [g drho/sigma]^(1/2) [c_pl dT/(C_sf h_fg Pr^n)]^3, n = 1 for water. Rohsenow, Trans. ASME 74 (1952)
    969; equal to the `ht` library's. Validity: below the critical heat flux; +-100 % in q (+-25 % in dT) is
    customary.

    Kreith, 7th ed., Example 10.1 (6 K, C_sf 0.0132, rho_l 962, mu_l 2.77e-4, Pr 1.75) prints 29 669 W/m2; the formula
    with these data gives 28 674, 3.4 % less, so the book must have rounded on the way.

    Examples
    --------
    Superheat of 0.5, 1, 2 and 5 MW/m2: 15.5, 19.6, 24.7, 33.5 K:

    >>> [round(float(q) / 1e6, 2) for q in nucleate_flux_rohsenow(np.array([15.5, 19.6, 24.7, 33.5]))]
    [0.5, 1.0, 2.0, 5.0]
    """
    rise = np.maximum(np.asarray(superheat, dtype=float), 0.0)
    number = fluid.liquid_prandtl if prandtl is None else prandtl
    scale = np.sqrt(g * (fluid.liquid_density - fluid.vapour_density) / fluid.surface_tension)
    ratio = fluid.liquid_specific_heat * rise / (surface_constant * fluid.latent_heat * number)
    return fluid.liquid_viscosity * fluid.latent_heat * scale * ratio**3
